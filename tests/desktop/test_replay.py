"""The whole way from a house and a winter to the folder: what is in it, what it says, and what is never left behind."""

import calendar
import csv
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from xml.etree import ElementTree

import pytest

from dewcore.record import FIELDS
from dewsim import cli, housefile, metrics, policies, replay, winters
from dewsim.errors import InputError

ROOT = Path(__file__).resolve().parents[2]
BLOCK_KEYS = {
    "wet_minutes",
    "added_wet_minutes",
    "test_wet_minutes",
    "mean_rh_pct",
    "hours_below_25_pct",
    "hours_above_cap",
    "valve_starts",
    "valve_hours",
    "water_evaporated_litres",
    "water_fed_litres",
    "floor_emc_min_pct",
    "floor_emc_max_pct",
    "floor_gap_mm",
    "share_of_best_pct",
}


def command(*arguments, **options):
    environment = dict(os.environ, PYTHONPATH=f"{ROOT / 'shared'}{os.pathsep}{ROOT / 'sim'}")
    return [sys.executable, "-m", "dewsim.cli", *map(str, arguments)], {"env": environment, "text": True, **options}


def run(*arguments, **options):
    line, options = command(*arguments, **options)
    return subprocess.run(line, capture_output=True, **options)


def write_week(path, rows=24 * 3, cold_c=-8.0):
    """A short winter of our own CSV: three days at falling temperature."""
    lines = ["time,outdoor_c"]
    for hour in range(rows):
        lines.append(f"2001-12-{1 + hour // 24:02}T{hour % 24:02}:00:00+01:00,{cold_c - hour * 0.1:.1f}")
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo as a user runs it, once for all tests here."""
    folder = tmp_path_factory.mktemp("demo") / "out"
    done = run("demo", "--out", folder)
    assert done.returncode == 0, done.stderr
    return folder, json.loads((folder / "result.json").read_text("utf-8")), done.stdout


def test_the_demo_ends_with_four_files_and_says_where_the_report_is(demo):
    folder, result, text = demo
    assert {path.name for path in folder.iterdir()} == {"result.json", "record.csv", "report.html", "season.svg"}
    assert str(folder / "report.html") in text and "Larch Terrace" in text
    assert (folder / "report.html").stat().st_size <= 1_000_000
    assert result["schema"] == 1 and result["shipped_policy"] == "outlook"
    assert result["forecast"] == "simulated"


def test_the_readmes_picture_is_the_one_that_the_demo_draws(demo):
    drawn = (demo[0] / "season.svg").read_text("utf-8")
    ElementTree.fromstring(drawn)
    assert drawn == (ROOT / "docs" / "larch_terrace.svg").read_text("utf-8"), "copy the demo's season.svg there"
    assert "](docs/larch_terrace.svg)" in (ROOT / "README.md").read_text("utf-8")


def test_every_policy_has_the_same_block_and_what_does_not_exist_is_absent(demo):
    result = demo[1]
    assert list(result["policies"]) == ["shut", "dial", "plain", "plain_no_margin", "outlook", "best"]
    decided = ("plain", "plain_no_margin", "outlook")
    for name, block in result["policies"].items():
        extra = {"setting_pct"} if name == "dial" else {"binds"} if name in decided else set()
        assert set(block) == BLOCK_KEYS | extra
        assert all(value is not None for value in block.values())
        if "binds" in block:
            assert sum(block["binds"].values()) == pytest.approx(1.0, abs=0.001)
            assert list(block["binds"]) == ["glass", "outlook", "corner", "envelope", "owner"]
            assert (block["binds"]["outlook"] > 0.02) == (name == "outlook")


def test_the_report_has_the_months_of_the_winter_and_no_other(demo):
    page = (demo[0] / "report.html").read_text("utf-8")
    months = re.findall(r'<th scope="row">([A-Z][a-z]+)</th>', page)
    assert [m for m in months if m in calendar.month_name] == ["December", "January", "February"]
    assert "1 December to 28 February" in page and "Mar, 00:01" not in page


def test_the_demo_shows_the_point_of_the_product(demo):
    result = demo[1]
    blocks = result["policies"]
    assert result["headroom_class"] == "clear" and result["binding"] is True
    assert blocks["plain_no_margin"]["added_wet_minutes"] > 0
    assert blocks["plain"]["added_wet_minutes"] == blocks["dial"]["added_wet_minutes"] == 0
    assert blocks["plain"]["mean_rh_pct"] >= blocks["dial"]["mean_rh_pct"] > blocks["shut"]["mean_rh_pct"] + 2.0
    assert blocks["plain"]["floor_gap_mm"] < blocks["shut"]["floor_gap_mm"]


def test_the_demo_shows_what_looking_ahead_gains(demo):
    _, result, text = demo
    blocks = result["policies"]
    ahead, plain, best = (blocks[name] for name in ("outlook", "plain", "best"))
    assert ahead["added_wet_minutes"] == best["added_wet_minutes"] == 0
    assert ahead["mean_rh_pct"] > plain["mean_rh_pct"] + 2.0 and ahead["mean_rh_pct"] < best["mean_rh_pct"]
    assert blocks["shut"]["share_of_best_pct"] == 0.0 and best["share_of_best_pct"] == 100.0
    assert 79.0 <= ahead["share_of_best_pct"] <= 101.0  # the share a clear, binding house is to reach in the median
    assert ahead["hours_below_25_pct"] < plain["hours_below_25_pct"]
    assert ahead["floor_gap_mm"] < plain["floor_gap_mm"]
    lines = text.splitlines()
    assert lines[0].endswith(": clear, binding") and [line.split()[0] for line in lines[1:7]] == list(blocks)
    shown = f"mean {ahead['mean_rh_pct']:.1f} % RH, 0 added wet minutes, {ahead['share_of_best_pct']:.0f} % of the best"
    assert shown in lines[5] and "of the best" not in lines[1] + lines[6]


def test_the_record_has_every_field_a_row_a_minute_and_carries_the_result(demo):
    folder, result, _ = demo
    block = result["policies"]["outlook"]
    with open(folder / "record.csv", newline="", encoding="ascii") as file:
        rows = list(csv.DictReader(file))
    header = "outdoor_c,indoor_c,rh_pct,humidity_ratio,glass_c,dew_point_c,ceiling_pct,target_pct,fan,valve"
    header += ",humidifier_kg_h,reason,look"
    assert list(rows[0]) == ["time_utc"] + [field[0] for field in FIELDS] == ["time_utc", *header.split(",")]
    assert len(rows) == 90 * 1440
    ran = result["policies"]
    assert all(block["valve_hours"] != ran[name]["valve_hours"] for name in ran if name != "outlook")
    stamps = [row["time_utc"] for row in rows]
    assert stamps == sorted(set(stamps)) and stamps[0].endswith(":01:00Z")
    wet = sum(1 for row in rows if float(row["glass_c"]) <= float(row["dew_point_c"]))
    assert wet == block["wet_minutes"]
    kg = sum(float(row["humidifier_kg_h"]) for row in rows) / 60.0
    assert kg == pytest.approx(block["water_evaporated_litres"], rel=1e-4)
    open_h = sum(float(row["valve"]) for row in rows) / 60.0
    assert open_h == pytest.approx(block["valve_hours"], abs=0.01)  # to the minute: same rows, same totals
    for row in rows:
        assert float(row["target_pct"]) <= float(row["ceiling_pct"])
        if float(row["valve"]) > 0:
            assert row["fan"] == "1"


def test_the_same_seed_gives_the_same_winter_to_the_last_digit(tmp_path):
    weather = write_week(tmp_path / "w.csv")
    for name in ("a", "b"):
        assert run("replay", "default", "--weather", weather, "--out", tmp_path / name).returncode == 0
    for file in ("result.json", "record.csv", "report.html", "season.svg"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()
    assert run("replay", "default", "--weather", weather, "--out", tmp_path / "c", "--seed", 2).returncode == 0
    assert (tmp_path / "a" / "record.csv").read_bytes() != (tmp_path / "c" / "record.csv").read_bytes()


def test_an_earlier_replay_is_replaced_and_all_records_are_written_when_asked_for(tmp_path):
    weather, out = write_week(tmp_path / "w.csv"), tmp_path / "out"
    assert run("replay", "default", "--weather", weather, "--out", out).returncode == 0
    done = run("replay", "default", "--weather", weather, "--out", out, "--all-records", "--exact-sensors")
    assert done.returncode == 0, done.stderr
    assert {p.name for p in out.iterdir()} == {
        "result.json",
        "record.csv",
        "record-plain.csv",
        "record-plain_no_margin.csv",
        "report.html",
        "season.svg",
    }
    assert {p.name for p in tmp_path.iterdir()} == {"w.csv", "out"}


@pytest.mark.parametrize("forecast", ["simulated", "perfect", "none"])
def test_the_forecast_told_is_an_option_and_stands_in_the_result(tmp_path, monkeypatch, forecast):
    told = []

    class Watched(replay.Replay):
        def run(self):
            told.append(self.forecast)
            return super().run()

    monkeypatch.setattr(replay, "Replay", Watched)
    out = tmp_path / "out"
    weather = write_week(tmp_path / "w.csv", rows=25)
    assert cli.main(["replay", "default", "--weather", str(weather), "--out", str(out), "--forecast", forecast]) == 0
    assert told == [json.loads((out / "result.json").read_text("utf-8"))["forecast"]] == [forecast]


def test_an_unknown_forecast_is_refused_with_the_known_ones(tmp_path):
    done = run("replay", "default", "--weather", "w.csv", "--forecast", "good", cwd=tmp_path)
    assert done.returncode == 2 and list(tmp_path.iterdir()) == []
    assert all(name in done.stderr for name in replay.FORECASTS)


@pytest.mark.parametrize("occupied", ["file", "foreign", "no parent"])
def test_a_folder_that_is_not_ours_is_refused_before_any_work(tmp_path, occupied):
    weather, out = write_week(tmp_path / "w.csv"), tmp_path / "out"
    if occupied == "file":
        out.write_text("mine")
    elif occupied == "foreign":
        out.mkdir()
        (out / "letter.txt").write_text("mine")
    else:
        out = tmp_path / "nowhere" / "out"
    done = run("replay", "default", "--weather", weather, "--out", out)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1 and "--out" in done.stderr and "Traceback" not in done.stderr
    if occupied == "foreign":
        assert (out / "letter.txt").read_text() == "mine" and len(list(out.iterdir())) == 1


@pytest.mark.parametrize(
    "house, weather, words",
    [
        ("[house]\nvolume_m3 = -3\n", None, ("house.toml", "volume_m3", "-3")),
        ("[settings]\nband_pct = 99\n", None, ("house.toml", "band_pct", "99", "0.5 to 5")),
        ("[settings]\nrh_tolerance_pct = nan\n", None, ("house.toml", "rh_tolerance_pct")),
        ("name = 'x'\n", "time,outdoor_c\n2001-12-01T00:00:00+01:00,-400\n", ("w.csv", "line 2", "-400")),
        ("name = 'x'\n", "", ("w.csv",)),
    ],
)
def test_bad_input_is_one_line_status_2_and_no_folder(tmp_path, house, weather, words):
    house_path = tmp_path / "house.toml"
    house_path.write_text(house)
    weather_path = tmp_path / "w.csv"
    write_week(weather_path) if weather is None else weather_path.write_text(weather)
    done = run("replay", house_path, "--weather", weather_path, "--out", tmp_path / "out")
    assert done.returncode == 2
    assert done.stdout == "" and done.stderr.count("\n") == 1 and "Traceback" not in done.stderr
    for word in words:
        assert word in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("sent, status", [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_an_interrupted_run_leaves_nothing_behind(tmp_path, sent, status):
    line, options = command("demo", "--out", tmp_path / "out")
    process = subprocess.Popen(
        line,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        preexec_fn=lambda: signal.signal(sent, signal.SIG_DFL),  # a run in the background inherits SIGINT ignored
        **options,
    )
    time.sleep(3.0)  # a real signal to a real process: the demo takes over ten seconds
    process.send_signal(sent)
    _, errors = process.communicate(timeout=30)
    assert process.returncode == status and "Traceback" not in errors
    assert list(tmp_path.iterdir()) == []


def test_a_failure_while_writing_leaves_the_earlier_result_whole(tmp_path, monkeypatch):
    house = housefile.House()
    sky = winters.ostervale()
    short = type(sky)(
        *(getattr(sky, name) for name in sky.__slots__[:6]),
        *(getattr(sky, name)[:49] for name in ("outdoor_c", "rh_pct", "wind_m_s", "pressure_pa")),
        [],
    )
    one = replay.Replay(house, short, 1, "house")
    one.run()
    replay.write(one, tmp_path / "out")
    before = (tmp_path / "out" / "record.csv").read_bytes()

    def fail(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(replay.report, "render", fail)
    with pytest.raises(KeyboardInterrupt):
        replay.write(one, tmp_path / "out")
    assert (tmp_path / "out" / "record.csv").read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_house_that_fogs_by_itself_is_told_so(tmp_path):
    house = tmp_path / "house.toml"
    house.write_text("[glass]\nf_day = 0.2\nf_night = 0.2\n[gains]\npeople = 8\nconstant_kg_h = 1.0\n")
    done = run("replay", house, "--weather", write_week(tmp_path / "w.csv", cold_c=-15.0), "--out", tmp_path / "out")
    assert done.returncode == 0
    result = json.loads((tmp_path / "out" / "result.json").read_text("utf-8"))
    assert result["headroom_class"] == "foggy" and result["policies"]["shut"]["wet_minutes"] > 0
    assert "fog by themselves" in done.stdout
    assert "fog by themselves" in (tmp_path / "out" / "report.html").read_text("utf-8")


def test_classes_and_season_follow_their_definitions():
    assert [metrics.headroom_class(r) for r in (0.5, 0.90, 0.901, 0.999, 1.0, 2.0)] == [
        "clear",
        "clear",
        "tight",
        "tight",
        "foggy",
        "foggy",
    ]

    class Air:
        n_steps = 2 * 1440
        dt_s = 60
        outdoor_c = [20.0] * 1440 + [0.0] * 1440

    mask = metrics.season_mask(Air)
    # The 24 h mean falls from 20 by 20/1440 a minute: below 12 after more than 576 minutes of the second day.
    assert mask.index(1) == 1440 + 576 and all(mask[1440 + 576 :])


def test_a_summer_is_told_as_one_and_not_as_fog(tmp_path):
    path = tmp_path / "w.csv"
    hours = [f"2001-07-0{1 + h // 24}T{h % 24:02}:00:00Z,36" for h in range(96)]
    path.write_text("\n".join(["time,outdoor_c", *hours]))
    done = run("replay", "default", "--weather", path, "--out", tmp_path / "out")
    assert done.returncode == 0 and "no heating season" in done.stdout and "fog" not in done.stdout
    assert "fog by themselves" not in (tmp_path / "out" / "report.html").read_text("utf-8")


def test_exact_sensors_changes_nothing_but_errors():
    house = housefile.House(
        {"sensors": {"rh_error_pct": 2.0, "noise": 0.5, "lag_min": 5.0, "dropout": 0.1, "drift_pct_per_day": 0.01}}
    )
    exact = replay.exact_sensors(house)
    changed = {name for name in vars(house.sensors) if getattr(house.sensors, name) != getattr(exact.sensors, name)}
    assert changed == {"rh_error_pct", "noise", "lag_min", "dropout", "drift_pct_per_day"}
    assert house.sensors.rh_error_pct == 2.0


def test_the_help_carries_the_cautions_of_every_command():
    for arguments in (["--help"], ["demo", "--help"], ["replay", "--help"]):
        done = run(*arguments)
        assert done.returncode == 0
        assert "licensed" in done.stdout and "local code" in done.stdout.lower()


def test_a_policy_without_any_dry_setting_is_reported_as_shut_and_not_invented():
    assert policies.settings_top([0.0]) == policies.DIAL_LOWEST_PCT


def test_refusals_name_the_folder():
    with pytest.raises(InputError, match="--out"):
        replay.check_folder(Path(__file__))


def test_the_benchmark_prints_the_speed_and_the_share_of_each_part_and_writes_nothing(tmp_path):
    weather = write_week(tmp_path / "w.csv")
    done = run("replay", "default", "--weather", weather, "--bench", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "simulated seconds per wall second" in done.stdout and "peak memory" in done.stdout
    shares = [float(line.split("%")[0].split()[-1]) for line in done.stdout.splitlines() if " % " in line]
    assert len(shares) == 4 and sum(shares) == pytest.approx(100.0, abs=0.3)
    assert [path.name for path in tmp_path.iterdir()] == ["w.csv"]
