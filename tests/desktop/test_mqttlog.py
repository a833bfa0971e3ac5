"""The log: what a message may be, what is stored once, marks, old files, exports, the page."""

import csv
import json
import random
import re
import sqlite3
import time

import mqtt_rig as rig
import pytest

from dewcore.record import FIELDS, pack, unpack
from dewsim import log_report, log_seasons, logbase, senml
from dewsim.cli import main
from dewsim.errors import InputError
from dewsim.logbase import Conflict, LogBase

NONE = (-1, -1)
AHEAD_S = 5000


def batch(keys, done=NONE, after=NONE, device="attic", **more):
    """A batch as it is read."""
    return senml.read(rig.pack(device, keys, done, after, **more), device)


def add(base, *arguments, **options) -> int:
    """A batch stored and committed."""
    with base.transaction():
        return base.add("attic", batch(*arguments, **options), AHEAD_S)


@pytest.fixture
def base(tmp_path):
    """A new log."""
    made = LogBase(str(tmp_path / "log.db"))
    yield made
    made.close()


# Messages


def test_every_field_of_a_batch_arrives_as_the_board_packed_it():
    values = {row[0]: 1 + n if row[2] == "B" and row[3] == 1 else (1 + n) / row[3] for n, row in enumerate(FIELDS)}
    sent = pack(values)
    entries = [
        {"bn": "dewmargin/attic/", "n": "done/boot", "v": 2}, {"n": "done/seq", "v": 5}, {"n": "after/boot", "v": 2},
        {"n": "after/seq", "v": 6}, {"bt": rig.UTC_S, "n": "boot", "v": 2}, {"n": "seq", "v": 9, "ut": 60},
        *({"n": row[4], "u": row[5], "v": values[row[0]]} for row in FIELDS if row[2]),
    ]  # fmt: skip
    found = senml.read(json.dumps(entries).encode(), "attic")
    assert (found.done, found.after) == ((2, 5), (2, 6))
    record = found.records[0]
    assert record[:4] == (2, 9, rig.UTC_S, 0)
    back = {
        name: number if scale == 1 else number / scale
        for (name, _, _, scale, _, _), number in zip(senml.PACKED, record.numbers)
    }
    assert back == unpack(sent)


def test_times_of_senml():
    def times(*entries):
        head = json.loads(rig.pack("attic", []))
        return [r[2:4] for r in senml.read(json.dumps([*head, *entries]).encode(), "attic").records]

    boot = {"n": "boot", "v": 1}
    assert times({**boot, "bt": rig.UTC_S}, {"n": "seq", "v": 1}) == [(rig.UTC_S, 0)]
    assert times({**boot, "bt": rig.UTC_S, "t": 60}, {"n": "seq", "v": 1}) == [(rig.UTC_S + 60, 0)]
    assert times({**boot, "bt": -120}, {"n": "seq", "v": 1}) == [(None, -120)]
    assert times(boot, {"n": "seq", "v": 1}) == [(None, 0)]
    with pytest.raises(ValueError, match="future"):
        times({**boot, "bt": 5}, {"n": "seq", "v": 1})


GOOD = rig.pack("attic", [(1, 0), (1, 1)])


BAD = [
    (lambda _: b"", "Expecting value"),
    (lambda _: b"[]", "no JSON array"),
    (lambda _: b"{}", "no JSON array"),
    (lambda _: b"\xff\xfe", "codec"),
    (lambda _: b"[" * 50000, "nested"),
    (lambda _: b"[1]", "no JSON object"),
    (lambda g: g + b" " * 70000, "bytes"),
    (lambda g: g.replace(b"dewmargin/attic/", b"dewmargin/cellar/"), "dewmargin/attic/"),
    (lambda g: g.replace(b'"v":38.5', b'"v":NaN'), "NaN"),
    (lambda g: g.replace(b'"v":38.5', b'"v":1e9'), "allowed are"),
    (lambda g: g.replace(b'"v":38.5', b'"v":true'), "no usable value"),
    (lambda g: g.replace(b'"v":38.5', b'"vs":"38"'), "usable number"),
    (lambda g: g.replace(b'"v":38.5', b'"w":38.5'), "0 values"),
    (lambda g: g.replace(b'"v":38.5', b'"v":1,"vb":true'), "2 values"),
    (lambda g: g.replace(b'"v":38.5', b'"v":1,"x_":1'), "understood"),
    (lambda g: g.replace(b'"v":38.5', b'"v":1,"bver":11'), "bver"),
    (lambda g: g.replace(b'"n":"seq","v":0', b'"n":"seq","v":0.5'), "seq"),
    (lambda g: g.replace(b'"n":"seq","v":0', b'"n":"seq","v":-1'), "seq"),
    (lambda g: g.replace(b'"n":"seq","v":1', b'"n":"seq","v":0'), "rise"),
    (lambda g: g.replace(b'"n":"after/seq","v":-1', b'"n":"after/seq","v":-2'), "after/seq"),
    (lambda g: g.replace(b'"n":"after/seq"', b'"n":"other"'), "after/seq"),
    (lambda g: g.replace(b'"n":"in/rh"', b'"n":"in/t"'), "twice"),
    (lambda _: rig.pack("attic", [(1, n) for n in range(121)]), "121 records"),
    (lambda _: rig.pack("attic", []), "0 records"),
]


@pytest.mark.parametrize(("change", "words"), BAD, ids=[f"{n} {words}" for n, (_, words) in enumerate(BAD)])
def test_what_is_no_batch_is_refused(change, words):
    changed = change(GOOD)
    assert changed != GOOD
    with pytest.raises(ValueError, match=re.escape(words)):
        senml.read(changed, "attic")


def test_random_damage_is_refused_or_read_but_never_worse():
    rng = random.Random(1)
    read = 0
    for _ in range(3000):
        data = bytearray(GOOD)
        for _ in range(rng.randint(1, 4)):
            data[rng.randrange(len(data))] = rng.choice(b'0123456789"{}[],:.-eE \\nvt')
        try:
            senml.read(bytes(data), "attic")
            read += 1
        except ValueError:
            pass
    assert 0 < read < 3000


# The database


def test_each_record_once_and_in_its_units(base):
    assert add(base, [(1, 0), (1, 1), (2, 0)]) == 3
    assert add(base, [(1, 0), (1, 1), (2, 0)]) == 0
    rows = list(base.minutes("attic"))
    assert [utc_s for utc_s, _ in rows] == [rig.UTC_S, rig.UTC_S + 60, rig.UTC_S]
    for (_, values), key in zip(rows, [(1, 0), (1, 1), (2, 0)]):
        numbers = rig.numbers_of(*key)
        assert [values[name] for name in logbase.NAMES[:8]] == pytest.approx(numbers[:8], abs=0.005)
        assert logbase.REASONS[values["reason"]] == numbers[8]


def test_the_mark_moves_only_over_what_is_whole(base):
    for keys, done, after, mark in (
        ([(1, 0), (1, 1)], NONE, NONE, (1, 1)),
        ([(1, 4), (1, 5)], NONE, (1, 3), (1, 1)),  # 2 and 3 are missing: kept, but not told
        ([(1, 2), (1, 3)], (1, 1), (1, 1), (1, 3)),
        ([(1, 4), (1, 5)], (1, 3), (1, 3), (1, 5)),
        ([(1, 0), (1, 1)], NONE, NONE, (1, 5)),  # long ago
        ([(1, 9)], (1, 5), (1, 5), (1, 9)),  # 6 to 8 were thinned on the board
        ([(2, 3)], (2, 1), (2, 1), (2, 3)),  # what came between went to another log
    ):
        add(base, keys, done, after)
        assert base.mark("attic") == mark
    path = base.db.execute("PRAGMA database_list").fetchone()[2]
    again = LogBase(path)
    assert again.mark("attic") == (2, 3) and again.mark("cellar") == NONE
    again.close()


def test_two_writers_of_one_file_see_each_others_boards_and_marks(base):
    other = LogBase(base.db.execute("PRAGMA database_list").fetchone()[2])
    add(base, [(1, 0)])
    add(other, [(1, 1)], after=(1, 0))
    add(other, [(1, 2)], after=(1, 1))
    add(base, [(1, 1)], after=(1, 0))  # late: the mark does not go back
    assert base.mark("attic") == other.mark("attic") == (1, 2)
    other.close()


def test_a_key_that_comes_again_with_other_content_is_a_conflict(base):
    add(base, [(1, 0)])
    other = rig.pack("attic", [(1, 0), (1, 1)]).replace(b'"v":38.5', b'"v":37.5')
    with base.transaction():
        with pytest.raises(Conflict, match="1/0"):
            base.add("attic", senml.read(other, "attic"), 0)
        base.add("cellar", batch([(1, 0)], device="cellar"), 0)  # others go on
    assert [len(list(base.minutes(device))) for device in ("attic", "cellar")] == [1, 1]
    assert base.mark("attic") == (1, 0)


def test_what_fails_leaves_neither_records_nor_marks(base):
    add(base, [(1, 0)])
    with pytest.raises(KeyError), base.transaction():
        base.add("attic", batch([(1, 1)], after=(1, 0)), 0)
        base.add("cellar", batch([(1, 0)], device="cellar"), 0)
        raise KeyError
    assert base.mark("attic") == (1, 0) and base.devices() == ["attic"] and list(base.boards) == ["attic"]


def test_times_of_a_board_without_a_clock(base):
    def clockless(keys, ago):
        text = rig.pack("attic", keys).decode()
        return senml.read(re.sub(r'"bt":\d+', lambda _: f'"bt":{-ago.pop(0)}', text).encode(), "attic")

    with base.transaction():
        base.add("attic", clockless([(1, 0), (1, 1)], [600, 540]), rig.UTC_S)
    assert [utc_s for utc_s, _ in base.minutes("attic")] == [rig.UTC_S - 600, rig.UTC_S - 540]
    add(base, [(1, 5)])  # at UTC_S + 300: then they were at UTC_S and UTC_S + 60
    assert [utc_s for utc_s, _ in base.minutes("attic")] == [rig.UTC_S, rig.UTC_S + 60, rig.UTC_S + 300]
    add(base, [(1, 0)], utc_s=rig.UTC_S + 7)  # sent again, now with its time
    assert [utc_s for utc_s, _ in base.minutes("attic")][0] == rig.UTC_S + 7


def test_a_log_of_an_older_program_stays_readable(tmp_path, monkeypatch):
    path = str(tmp_path / "log.db")
    base = LogBase(path)
    add(base, [(1, 0), (1, 17)])
    with base.transaction():  # as if written with one field fewer, another scale, other numbers of reasons
        base.db.execute("DROP VIEW records")
        base.db.execute("ALTER TABLE minutes DROP COLUMN target_pct")
        base.db.execute("DELETE FROM fields WHERE name = 'target_pct'")
        base.db.execute("UPDATE minutes SET indoor_c = indoor_c / 10")
        base.db.execute("UPDATE fields SET scale = 10 WHERE name = 'indoor_c'")
        base.db.execute("DELETE FROM reasons WHERE id > 1")
        base.db.execute("UPDATE reasons SET name = 'fan_off' WHERE id = 0")
        base.db.execute("UPDATE reasons SET name = 'given_up' WHERE id = 1")
        base.db.execute("UPDATE minutes SET reason = seq % 2")
    base.close()
    base = LogBase(path)
    rows = [values for _, values in base.minutes("attic")]
    assert [values["reason"] for values in rows] == ["fan_off", "given_up"]
    assert [values["target_pct"] for values in rows] == [None, None]
    expected = [rig.numbers_of(1, seq)[1] for seq in (0, 17)]
    assert [values["indoor_c"] for values in rows] == pytest.approx(expected, abs=0.1)
    add(base, [(1, 18)])
    assert list(base.minutes("attic"))[2][1]["reason"] == "heat_off"
    base.close()
    assert LogBase(path)._is_of_today()


def test_what_is_no_log_is_refused(tmp_path):
    for name, make, words in (
        ("text", lambda path: path.write_text("no database, but longer than a header of one " * 9), "not usable"),
        ("other", lambda path: sqlite3.connect(path).executescript("CREATE TABLE t (x); "), "another program's"),
        ("newer", _newer, "newer dewmargin"),
        ("gone/log.db", lambda path: None, "not usable"),
    ):
        path = tmp_path / name
        make(path)
        with pytest.raises(InputError, match=words):
            LogBase(str(path))


def _newer(path) -> None:
    LogBase(str(path)).close()
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")


# Exports and the page


@pytest.fixture(scope="module")
def winter(tmp_path_factory):
    """A log of two short seasons, with a gap, of the board `attic`, and a second board."""
    path = tmp_path_factory.mktemp("winter") / "log.db"
    base = LogBase(str(path))
    with base.transaction():
        for boot, start_s in ((1, rig.UTC_S), (2, rig.UTC_S + 360 * 86400)):
            for n in range(0, 3000, 10):
                if not 600 <= n < 1000:
                    keys = [(boot, n + k) for k in range(10)]
                    base.add("attic", batch(keys, utc_s=start_s), 0)
        base.add("cellar", batch([(1, 0)], device="cellar"), 0)
    base.close()
    return path


def test_export_as_csv_and_senml_agree(winter, tmp_path, capsys):
    assert main(["log", str(winter), "--export", "csv", "--device", "attic", "--out", str(tmp_path / "a.csv")]) == 0
    assert main(["log", str(winter), "--export", "senml", "--device", "attic"]) == 0
    entries = json.loads(capsys.readouterr().out)
    with open(tmp_path / "a.csv", encoding="ascii", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["time_utc", *(row[0] for row in FIELDS)]
    assert len(rows) == 5200 and rows[0]["time_utc"] == "2026-01-15T00:00:00Z"
    minutes: list = []
    for entry in entries:
        if "bt" in entry:
            assert entry["bn"] == "dewmargin/attic/" and entry["ut"] == 60
            minutes.append({"bt": entry["bt"]})
        minutes[-1][entry["n"]] = entry.get("v", entry.get("vs"))
    assert len(minutes) == 5200
    for row, minute in zip(rows[::97], minutes[::97]):
        for name, _, _, _, label, _ in FIELDS:
            if label == "valve/reason":
                assert row[name] == minute[label]
            elif label and (row[name] or label in minute):
                assert float(row[name]) == pytest.approx(minute[label], abs=1e-9)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["{log}", "--export", "csv"], "--device"),
        (["{log}", "--export", "csv", "--device", "x"], "no board x"),
        (["{log}", "--export", "csv", "--device", "attic", "--out", "{log}"], "exists"),
        (["{log}", "--export", "csv", "--device", "attic", "--out", "/nowhere/a.csv"], "cannot be written"),
        (["nowhere.db", "--export", "csv"], "no such file"),
        (["report", "nowhere.db"], "no such file"),
        (["report", "{log}", "--device", "attic", "--out", "{log}"], "no page"),
        (["report", "{log}", "--device", "attic", "--out", "/nowhere/house"], "ends in .html"),
        (["report", "{log}", "--export", "csv"], "--export"),
        (["report"], "no database"),
        (["{log}", "--units", "us"], "--units"),
        (["{log}", "--broker", "http://x"], "mqtt://"),
        (["{log}", "--broker", "mqtt://u:secret@x"], "--password-file"),
        (["{log}", "--user", "x"], "--password-file"),
        (["{log}", "--ca", "x"], "mqtts"),
    ],
)
def test_errors_are_one_line(winter, capsys, words, told):
    before = winter.read_bytes()
    assert main(["log", *(word.replace("{log}", str(winter)) for word in words)]) == 2
    out, errors = capsys.readouterr()
    assert out == "" and errors.count("\n") == 1 and told in errors and "secret" not in errors
    assert winter.read_bytes() == before


def test_the_page_tells_what_was_recorded(winter, tmp_path, capsys):
    out = tmp_path / "page.html"
    for _ in range(2):  # the second replaces the first
        assert main(["log", "report", str(winter), "--device", "attic", "--out", str(out)]) == 0
    page = out.read_text()
    for words in ("2025/26", "2026/27", "Season against season", "Recorded from 10 January 2027", "cannot tell"):
        assert words in page
    assert "None" not in page and ">nan" not in page
    embedded = json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)[1])
    column = embedded["figures"]["season"]["levels"][0]["columns"]["rh"][1]
    assert column[11:16] == [None] * 5 and all(value is not None for value in column[17:40])


def test_a_cold_half_hour_is_no_mild_season(monkeypatch):
    monkeypatch.setattr(time, "timezone", 0)
    season = log_seasons.Season(2025)
    start_s = season.start_local_s + 200 * 86400
    values = dict.fromkeys(log_seasons.COLUMNS, None) | {"reason": "open", "outdoor_c": 0.0, "indoor_c": 20.0}
    values |= {"rh_pct": 20.0, "glass_c": 8.0, "valve": 1.0, "fan": 1.0}
    for k in range(186, 220):  # the record begins hours into its first day
        season.put(start_s + 60 * k, values)
    season.close()
    page = log_report.render("attic", [season], log_report.Units("si"))
    assert "34 minutes of this season are recorded, too few for a mean over a day" in page
    assert "nothing to humidify" not in page


def test_seasons_are_counted_by_hand(tmp_path, monkeypatch):
    monkeypatch.setattr(time, "timezone", 0)
    season = log_seasons.Season(2025)
    start_s = season.start_local_s + 200 * 86400
    for k in range(1, 2 * 1440 + 1):
        values = dict.fromkeys(log_seasons.COLUMNS, None) | {"reason": "fan_off"}
        values |= {"outdoor_c": -10.0, "indoor_c": 20.0, "rh_pct": 30.0, "glass_c": 5.0, "valve": 0.0, "fan": 1.0}
        if k <= 60:
            values |= {"rh_pct": 20.0, "valve": 0.5, "ceiling_pct": 19.0}
        if k == 100:
            values |= {"glass_c": 1.9}  # the dew point of 20 °C and 30 % is 1.9 °C
        season.put(start_s + 60 * k, values)
    season.close()
    found = log_seasons.counted(season)
    assert found["records"] == 2880 and found["heating_days"] == pytest.approx(2.0, abs=0.01)
    assert found["wet_minutes"] == 1 and season.wet() == [100]
    assert found["hours_below_25_pct"] == found["hours_above_ceiling"] == pytest.approx(1.0, abs=0.02)
    assert found["valve_hours"] == pytest.approx(0.5, abs=0.01) and found["valve_starts"] == 0
    assert found["mean_rh_pct"] == pytest.approx(30.0 - 10.0 * 60 / 2880, abs=0.01)
    assert found["fan_hours"] == 48.0 and found["lowest_outdoor_c"] == -10.0
    assert 5.0 < found["floor_emc_min_pct"] <= found["floor_emc_max_pct"] < 7.0
    assert log_report.TITLE in log_report.render("attic", [season], log_report.Units("us"))
