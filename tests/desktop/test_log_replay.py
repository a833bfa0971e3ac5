"""`dewmargin replay LOG`: the logged winter through the fitted house and a changed one, and what is refused."""

import json

import pytest
from fitted import DAY_MIN, Lived, part_of

from dewsim import housefile, log_replay, log_source, winters
from dewsim.cli import main

DAYS = 4
CHANGES = ["humidifier.kg_h=1.5", "glass.f_day=0.85", "glass.f_night=0.8", "settings.wish_pct=30"]
HOUSE = {"house": {"air_changes_per_h": 0.6}, "sensors": {"noise": 0.2}}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """(a log of four cold days, the house it comes from)."""
    folder = tmp_path_factory.mktemp("logged")
    life = Lived(housefile.House(HOUSE), part_of(winters.invent(3, "hard"), 75, DAYS), 5)
    life.write_log(str(folder / "house.db"), DAYS * DAY_MIN - 1)
    (folder / "house.toml").write_text(housefile.dump(housefile.House(HOUSE)))
    return folder


@pytest.fixture(scope="module")
def done(made):
    """The result of a replay with a stronger humidifier."""
    out = made / "out"
    arguments = ["replay", str(made / "house.db"), "--fitted", str(made / "house.toml"), "--forecast", "none"]
    changes = [part for change in CHANGES for part in ("--change", change)]
    assert main([*arguments, *changes, "--out", str(out)]) == 0
    return json.loads((out / "result.json").read_text()), (out / "report.html").read_text()


def test_the_house_unchanged_does_nearly_what_was_logged(done):
    result, _ = done
    logged, fitted = result["logged"], result["fitted"]
    assert fitted["mean_rh_pct"] == pytest.approx(logged["mean_rh_pct"], abs=2.0)
    assert fitted["valve_hours"] == pytest.approx(logged["valve_hours"], rel=0.4) and logged["valve_hours"] > 5.0


def test_better_windows_and_a_stronger_humidifier_make_it_more_humid(done):
    result, page = done
    changed = result["policies"][result["shipped_policy"]]
    assert changed["mean_rh_pct"] > result["fitted"]["mean_rh_pct"] + 1.0
    litres = result["fitted"]["water_evaporated_litres"] / result["fitted"]["valve_hours"]
    assert changed["water_evaporated_litres"] / changed["valve_hours"] == pytest.approx(2.5 * litres, rel=0.05)
    assert result["changes"] == CHANGES
    for text in ("Beside what was logged", "As logged", "Replayed", "Changed", "humidifier.kg_h=1.5"):
        assert text in page


def test_the_weather_is_the_measured_one(made):
    season, source = log_source.season_of(str(made / "house.db"), None, None)
    sky, logged = log_replay.logged_part(season, source)
    measured = season.columns["outdoor_c"]
    assert sky.step_s == 600 and sky.start_utc_s + sky.utc_offset_s == logged.start_local_s
    k = (sky.start_utc_s + sky.utc_offset_s - season.start_local_s) // 60
    assert sky.outdoor_c[100] == pytest.approx(measured[k + 1000], abs=0.3)
    assert logged.records == pytest.approx(season.records, abs=10)


def test_a_record_csv_will_do(made, tmp_path):
    out = tmp_path / "minutes.csv"
    assert main(["log", str(made / "house.db"), "--export", "csv", "--out", str(out)]) == 0
    from_csv, _ = log_source.season_of(str(out), None, None)
    from_log, _ = log_source.season_of(str(made / "house.db"), None, None)
    assert from_csv.start_local_s == from_log.start_local_s
    assert from_csv.columns["rh_pct"].tobytes() == from_log.columns["rh_pct"].tobytes()


CASES = [
    (["--weather", "hard:3"], "--weather: not with a log"),
    (["--board"], "--board: not with a log"),
    (["--change", "glass.f_day"], "SECTION.KEY=VALUE"),
    (["--change", "glass.f_day=good"], "found no number"),
    (["--change", "glass.fday=0.7"], "did you mean f_day"),
    (["--change", "windows.f=0.7"], "not a section"),
    (["--change", "name.x=1"], "no section"),
    (["--change", "glass.f_day=7"], "0.05 to 0.98"),
    (["--change", "settings.cappct=40"], "no such setting"),
    (["--device", "roof"], "no board roof"),
    (["--season", "1999/00"], "allowed are"),
    (["--out", ""], "found no name"),
]


def test_a_glass_factor_that_stayed_is_told():
    house = housefile.House({"glass": {"f_day": 0.7, "f_night": 0.42}})
    (told,) = log_replay.factors_left(["glass.f_day=0.7"], house)
    assert told == "glass.f_night stayed 0.42: by night the windows are as they were"
    assert log_replay.factors_left(CHANGES, house) == log_replay.factors_left(["house.volume_m3=300"], house) == []


@pytest.mark.parametrize(("options", "words"), CASES, ids=[" ".join(options) for options, _ in CASES])
def test_bad_options_are_one_line_and_nothing_is_written(made, options, words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["replay", str(made / "house.db"), "--fitted", str(made / "house.toml"), *options]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and words in error, error
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["default"], "--weather: found none"),
        (["default", "--weather", "hard:3", "--change", "glass.f_day=0.7"], "--change: only where a log is replayed"),
        (["--houses", "2", "--device", "attic"], "--device: only where a log is replayed"),
    ],
)
def test_options_of_a_log_and_of_a_house_are_not_mixed(arguments, words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["replay", *arguments]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and words in error, error
