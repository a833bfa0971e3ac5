"""The campaign of faults, short: each reaction asserted in one house, two months without a false alarm, the command."""

import csv
import io
import json
from types import SimpleNamespace

import pytest

from dewboard import events
from dewcore import words
from dewsim import family, faults, faults_board, faults_command, faults_report, faults_run, houses, named, virtual
from dewsim.cli import main
from dewsim.errors import InputError

HOUSE = 8  # of the draw 1 in this winter: clear, binding
WINTER = "inland:2"
# (fault, right word, seconds after the onset by which it is told)
HEARD = (
    ("rh_crc_100", "rh_bad", 40),
    ("rh_garbage", "rh_bad", 40),
    ("indoor_garbage", "indoor_bad", 40),
    ("outdoor_lost", "outdoor_old", 5410),
    ("fan_contact_torn", "fan_unreadable", 0),
    ("supply_24v_lost", "line_dead", 0),
    ("leak_wet", "leak_wet", 0),
    ("leak_wire_cut", "leak_wire", 0),
    ("relay_open", "relay_retry", 10),
    ("load_reads_off", "relay_retry", 10),
)
SILENT = ("rh_crc_1", "rh_spikes", "clock_jumps", "fan_contact_on")


@pytest.fixture(scope="module")
def case():
    sky = named.winter(WINTER)
    return family.Case(sky, 1, HOUSE, houses.minutes_of(sky))


@pytest.fixture(scope="module")
def lived(case):
    """The house a day before its faults, known for two days only: none of these takes more."""
    before = faults_run.WARM_DAYS
    faults_run.WARM_DAYS = 2
    yield faults_run.House(case, faults.BARE, 3)
    faults_run.WARM_DAYS = before


@pytest.fixture(autouse=True)
def short(monkeypatch):
    """A few hours of each fault."""
    for fault in faults.FAULTS:
        monkeypatch.setattr(fault, "days", 0.1)


@pytest.mark.parametrize(("name", "word", "within_s"), HEARD)
def test_the_right_word_comes_in_time_and_the_glass_stays_dry(lived, name, word, within_s):
    fault = faults.BY_NAME[name]
    row = lived.row(fault)
    assert word in fault.right
    assert row["told"][word] <= within_s
    assert (row["added"], row["unproven_s"], row["wrong"] or []) == (0, 0, [])
    if fault.stops:
        assert row["open_after_s"] <= 20


@pytest.mark.parametrize("name", SILENT)
def test_what_changes_nothing_is_not_told(lived, name):
    row = lived.row(faults.BY_NAME[name])
    assert row["told"] == {}
    assert row["starts"] == row["starts_free"]


def test_a_weld_is_told_at_the_next_line_that_should_be_off(lived, monkeypatch):
    monkeypatch.setattr(faults.BY_NAME["welded"], "days", 2)
    row = lived.row(faults.BY_NAME["welded"])
    assert row["right_s"] is not None and row["wrong"] == []
    assert row["forced_s"] > 0 and row["unproven_s"] == 0


def test_a_board_that_hangs_lets_go_and_starts_again(lived):
    row = lived.row(faults.BY_NAME["hangs"])
    assert row["right_s"] == 0 and row["wrong"] == []
    assert (row["added"], row["unproven_s"]) == (0, 0)


def test_the_run_without_a_fault_is_the_same_as_a_fault_that_breaks_nothing(lived):
    nothing = faults.Fault("nothing", 0, "nothing", faults.NOTHING, kind=faults.ITSELF, days=0.2)
    _, track, world = lived.run(nothing)
    assert list(track.w_g_kg) == list(lived.free.w_g_kg[: len(track.w_g_kg)])
    assert world.unproven_s == world.forced_s == 0


def test_every_fault_that_breaks_parts_does(lived):
    for fault in faults.FAULTS:
        if fault.path == faults.DIRECT and fault.begin and fault.config == faults.BARE:
            world = lived.starts[faults.ANY].branch()
            before = dict(vars(world)), world.house._capacity
            fault.begin(world)
            assert (dict(vars(world)), world.house._capacity) != before, fault.name


def test_two_months_in_order_tell_of_nothing_broken(case):
    k = faults_run.onset_step(case, faults.MOST_DAYS) - 28 * faults_run.DAY
    world = faults_run.new_world(case, faults.FULL, k)
    world.now_s = 60 * k
    ear = faults_run.Ear(world.now_s)
    for step in range(k, k + 60 * faults_run.DAY):
        world.minute(step, 60, ear)
    assert [name for name in ear.first if name in faults.BROKEN] == []
    assert world.starts > 20


class Asleep:
    """A program that decides nothing any more."""

    def due(self, contacts, now_s):
        return False


def test_seconds_beyond_the_lease_without_proof_are_counted(lived):
    world = lived.starts[faults.OPEN].branch()
    world.controller = Asleep()
    world.fan_reads = 0
    world.minute(world.now_s // 60)
    assert world.unproven_s == 55


def test_water_against_the_command_is_counted_and_wets(lived):
    world = lived.starts[faults.OPEN].branch()
    world.welded = True
    world.controller = Asleep()
    world.command = False
    world.minute(world.now_s // 60)
    assert world.forced_s == 60 and world.flows


# -- the table


def test_right_words_are_known_or_the_boards_own():
    known = {row[0] for row in words.REFUSALS} | {row[0] for row in words.NOTICES} | set(faults_board.EVENTS.values())
    for fault in faults.FAULTS:
        if fault.right:
            assert set(fault.right) <= known, fault.name


def test_what_happens_on_a_board_is_told_once_and_when_it_happens():
    app = SimpleNamespace(now_s=0)
    app.events = events.Events(app)
    world = faults_board.BoardWorld.__new__(faults_board.BoardWorld)
    world.app, world.told = app, 0
    app.events.add("started again by the watchdog")
    app.events.add("wireless network lost")
    assert world.events() == ["watchdog_reset"]
    for n in range(2 * events.MOST):  # the list is bounded
        app.events.add(f"beat failed: {n}")
        assert world.events() == ["beat_failed"]
        assert world.events() == []
    app.events.add("not stored: x")
    app.events.add("safe mode: y")
    assert world.events() == ["not_stored", "safe_mode"]


def test_a_board_that_starts_again_is_heard_from_its_first_event(tmp_path):
    world = faults_board.BoardWorld.__new__(faults_board.BoardWorld)
    world.board, world.folder = virtual.VirtualBoard(), str(tmp_path)
    world.utc_start_s, world.utc_offset_s, world.now_s = 1_700_000_000, 0, 0
    virtual.install(world.board)
    world.start()
    for _ in range(3):  # more than the next start has
        world.app.events.add("wireless network lost")
    world.events()
    with pytest.raises(virtual.BoardReset):
        world.board.block(60.0, True)
    world.start()
    assert world.events() == ["watchdog_reset"]
    assert world.events() == []


def test_the_forty_are_simulated_or_tested_elsewhere():
    numbers = {fault.number for fault in faults.FAULTS} | set(faults.ELSEWHERE)
    assert numbers == set(range(1, 41)) - {18}  # the fan that stops is in every run
    from pathlib import Path

    root = Path(__file__).resolve().parents[2]
    assert all((root / test).is_file() for _, test in faults.ELSEWHERE.values())


def test_pairs_are_of_one_circuit_and_both_break(monkeypatch):
    monkeypatch.undo()
    names = faults.pairs()
    assert len(names) > 100 and len(set(names)) == len(names)
    fault = faults.found(["rh_garbage+leak_wet"])[0]
    assert set(fault.right) == {"rh_bad", "leak_wet"}


# -- the command


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (["--fault", "welde"], "--fault welde: no such fault"),
        (["--fault", "a+b+c"], "no such fault"),
        (["--case", "3"], "one --fault and one --weather"),
        (["--weather", "hard:1", "--weather", "hard:1"], "found it twice"),
        (["--out", ""], "--out"),
    ],
)
def test_bad_input_is_refused_in_one_line(arguments, what, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["faults", *arguments]) == 2
    told = capsys.readouterr().err
    assert what in told and told.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_the_list_names_every_fault(capsys):
    assert main(["faults", "--list"]) == 0
    told = capsys.readouterr().out
    assert all(f" {fault.name} " in told for fault in faults.FAULTS)


def test_a_house_left_out_has_no_row(case):
    with pytest.raises(InputError, match="left out"):
        faults_run.alone(case.sky, 1, 0, "welded")


def rows_of(lived):
    """A plan of one house and what it found, for the report."""
    sky = faults_command.family_run.Winter(WINTER, lived.case.sky)
    runs = {name: json.loads(json.dumps(lived.row(faults.BY_NAME[name]))) for name in ("leak_wet", "rh_spikes")}
    free = {"months": 6.9, "notices": {"outdoor_old": 2}, "latched": [], "lines": []}
    cases = {(0, HOUSE): {"index": HOUSE, "runs": {**runs, "none": free}}, (0, 1): {"index": 1, "rejected": "x"}}
    return faults_command.Plan([sky], 1, 1, list(runs)), cases


def test_the_report_has_every_row_with_its_command(lived, tmp_path):
    plan, cases = rows_of(lived)
    text = faults_report.write(plan, cases, tmp_path)
    found = list(csv.DictReader(io.StringIO((tmp_path / faults_report.TABLE).read_text("utf-8"))))
    assert [row["fault"] for row in found] == ["leak_wet", "rh_spikes"]
    assert found[0]["command"] == f"dewmargin faults --fault leak_wet --weather inland:2 --seed 1 --case {HOUSE}"
    assert "right cause was named in 100.0 %" in text
    assert "none: 1 winters, 7 months, 0 with a latched alarm; told: outdoor_old 2; at most 0.29 a month" in text
    page = (tmp_path / faults_report.PAGE).read_text("utf-8")
    assert "licensed practice" in page and "line voltage" in page
    assert words.REFUSALS[words.LEAK_WET][1] in page and "leak_wet" in page and "<script" not in page


def test_a_wrong_word_and_a_missing_one_are_no_right_cause():
    fault = faults.BY_NAME["leak_wet"]
    assert not faults_report.is_right(fault, {"right_s": None, "wrong": []})
    assert faults_report.is_right(fault, {"right_s": 0, "wrong": []})
    silent = faults.BY_NAME["rh_spikes"]
    assert not faults_report.is_right(silent, {"right_s": None, "wrong": ["rh_bad"]})
