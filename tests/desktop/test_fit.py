"""`dewmargin fit`: what it finds of a simulated house, what it leaves open, and what it refuses."""

import re
import sqlite3
import sys
from random import Random

import numpy as np
import pytest
from fitted import DAY_MIN, Lived, foretold_dry_downs, part_of

from dewcore.glass import fogging_f
from dewcore.psychro import vapour_pa
from dewcore.readings import SAW_CLEAR, SAW_FOG
from dewsim import fit_command, fit_glass, fit_heat, fit_series, housefile, winters
from dewsim.cli import main
from dewsim.logbase import LogBase

DAYS, ASIDE = 16, 4
OFF = {"rh_error_pct": -1.5, "indoor_error_k": 0.2, "outdoor_error_k": -0.3, "noise": 0.3}
TRUE = {
    "house": {"volume_m3": 350.0, "air_changes_per_h": 0.5, "setback_k": 2.0},
    "buffer": {"nodes": 2, "k": 1.6, "r": 12.0, "tau_b_h": 50.0},
    "sensors": OFF,
}


@pytest.fixture(scope="module")
def life():
    """A house that was lived in for twenty days from 10 December on."""
    return Lived(housefile.House(TRUE), part_of(winters.invent(3, "hard"), 70, DAYS + ASIDE), 5)


@pytest.fixture(scope="module")
def log(life, tmp_path_factory):
    """Sixteen of them in a log, with the board restarted, without its clock for a while, and off for seven hours."""
    path = str(tmp_path_factory.mktemp("fit") / "house.db")

    def change(k, record):
        if 9000 <= k < 9420:
            return None
        if k >= 12000:
            record = record._replace(boot=2, seq=k - 12000)
        return record._replace(utc_s=None) if 12000 <= k < 12090 else record

    life.write_log(path, DAYS * DAY_MIN, change=change)
    return path


@pytest.fixture(scope="module")
def fitted(life, log, tmp_path_factory):
    """(the house file's path, what was printed)."""
    known = tmp_path_factory.mktemp("known") / "known.toml"
    known.write_text("[house]\nvolume_m3 = 350.0\n[buffer]\nk = 1.6\n")
    season, source = fit_command.season_of(log, None, None)
    return fit_command.fit(season, source, housefile.load(known))


def test_the_balance_of_the_house_is_found(life, fitted):
    house = fitted.house
    assert house.house.air_changes_per_h == pytest.approx(0.5, rel=0.3)
    assert fitted.balance.valve_g_kg_h == pytest.approx(life.valve_g_kg_h(), rel=0.15)
    assert house.humidifier.kg_h == pytest.approx(0.6, rel=0.15)
    assert house.house.volume_m3 == 350.0 and house.buffer.k == 1.6
    assert house.sensors.rh_error_pct == pytest.approx(-1.5, abs=1.0) or house.sensors.rh_error_pct == 0.0


def test_thermostat_and_heat_are_found(fitted):
    house = fitted.house
    assert house.house.indoor_c == pytest.approx(21.2, abs=0.15)
    assert (house.house.setback_k, house.house.setback_to) == (2.0, "06:00")
    assert house.house.setback_from in ("22:00", "22:30", "23:00")
    assert house.heating.thermal_time_h == pytest.approx(40.0, rel=0.05)
    assert house.heating.ua_w_k == pytest.approx(200.0, rel=0.05)
    assert house.heating.free_heat_w == pytest.approx(600.0, rel=0.3)


def test_days_kept_aside_are_foretold(life, fitted):
    starts = [day * DAY_MIN for day in range(DAYS, DAYS + ASIDE - 1)]
    foretold = foretold_dry_downs(fitted, life.season(0, (DAYS + ASIDE) * DAY_MIN - 1), starts)
    errors = np.abs(np.array(foretold) - life.dry_downs(starts))
    assert np.median(errors) <= 0.3


def test_the_house_file_loads_and_says_what_is_known(fitted, tmp_path):
    text = fit_command.text_of(fitted)
    path = tmp_path / "house.toml"
    path.write_text(text)
    assert housefile.load(path) == fitted.house
    rows = {row.what: row for row in fitted.rows}
    assert rows["glass.f_day"].value == fit_command.NOT
    assert re.search(r"^# humidifier.kg_h +0\.[0-9]+ kg/h +0\.0[0-9]+ ", text, re.M)
    assert all(len(line) <= housefile.LONGEST_LINE for line in text.splitlines())


def test_gaps_are_told_from_minutes(fitted):
    series = fitted.series
    assert series.n == DAYS * DAY_MIN and series.days() == pytest.approx(DAYS - 420 / DAY_MIN)


# Looks


def looked(f: float, looks: int, near: bool, wrong_every: int = 0, coldest_c: float = -20.0, mildest_c: float = 5.0):
    """A series of mornings at 06:00, one look each, at a window of this f; near: so humid that it might fog."""
    chance = Random(f"{f} {looks}")
    n = looks * DAY_MIN
    series = object.__new__(fit_series.Series)
    series.minute = np.arange(n)
    series.indoor_c, series.outdoor_c = np.full(n, 20.0), np.full(n, -5.0)
    series.rh_pct, series.look = np.full(n, 30.0), np.full(n, np.nan)
    series.known = np.ones(n, dtype=bool)
    for k in range(360, n, DAY_MIN):
        series.outdoor_c[k] = chance.uniform(coldest_c, mildest_c)
        series.rh_pct[k] = chance.uniform(15.0, 45.0)
        fx = fogging_f(20.0, series.outdoor_c[k], vapour_pa(20.0, series.rh_pct[k]))
        while not (abs(fx - f) <= 0.05 if near else fx <= f - 0.15):
            series.rh_pct[k] = chance.uniform(5.0, 70.0)
            fx = fogging_f(20.0, series.outdoor_c[k], vapour_pa(20.0, series.rh_pct[k]))
        fog = (fx >= f) != (wrong_every > 0 and k // DAY_MIN % wrong_every == 0)
        series.look[k] = SAW_FOG if fog else SAW_CLEAR
    series.w_g_kg = np.full(n, 5.0)
    return series


CALIBRATED = {"sensors": {"rh_tolerance_pct": 0.5, "outdoor_tolerance_k": 0.2}}


@pytest.mark.parametrize("f", [0.42, 0.55, 0.68])
def test_looks_at_the_right_moments_tell_the_glass_factor(f):
    day, night = fit_glass.fit(looked(f, 24, True, 12), housefile.House(CALIBRATED))
    assert night.f == pytest.approx(f, abs=0.03) and night.near >= 20 and night.determined
    assert 0.006 <= night.spread <= 0.014
    assert np.isnan(day.f) and day.looks == 0 and not day.determined


def test_what_sensors_may_be_wrong_by_leaves_the_factor_open():
    series = looked(0.55, 30, True, 0, -6.0, -2.0)  # at one temperature looks do not tell one error from another
    series.rh_pct -= 1.9
    series.outdoor_c += 0.45
    night = fit_glass.fit(series, housefile.House())[1]
    assert night.near >= 20 and 0.03 < 0.55 - night.f < 3.0 * night.spread and not night.determined
    house = housefile.House()
    row = fit_command._take_glass(house, (fit_glass.NOTHING, night))[1]
    assert row.value == fit_command.NOT and f"likeliest {night.f:.2f}" in row.note
    assert house.glass.f_night == pytest.approx(night.f, abs=1e-4)


@pytest.mark.parametrize(("looks", "near"), [(40, False), (19, True)])
def test_looks_that_say_nothing_or_too_few_leave_it_open(looks, near):
    night = fit_glass.fit(looked(0.55, looks, near), housefile.House(CALIBRATED))[1]
    assert night.looks == looks and np.isnan(night.f) and not night.determined


# What a log cannot tell


def test_a_fan_that_always_runs_tells_no_heat(life):
    season = life.season(0, 2 * DAY_MIN)
    series = fit_series.Series(season)
    assert fit_heat.fit(series) is None  # two days are too few
    series.fan[:] = 1.0
    assert fit_heat.fan_always(series) and fit_heat.fit(series) is None


def test_a_valve_that_hardly_opened_tells_no_humidifier(fitted):
    house = housefile.House()
    row = fit_command._take_humidifier(house, fitted.balance, 800.0, 3.0)
    assert row.value == fit_command.NOT and house.humidifier.kg_h == 0.6 and "3.0 h" in row.note


# What is refused


def other_database(path):
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE cups (n INTEGER)")


def short_log(life, path):
    life.write_log(path, 3 * DAY_MIN)


def two_boards(life, path):
    life.write_log(path, 30)
    life.write_log(path, 30, device="cellar")


def blind(life, path):
    nothing = (None,) * 8 + (16, None)
    life.write_log(path, 30, change=lambda k, record: record._replace(numbers=nothing))


def stuck(life, path):
    def change(k, record):
        return record._replace(numbers=(*record.numbers[:2], 3000, *record.numbers[3:]))

    life.write_log(path, 8 * DAY_MIN, change=change)


CASES = [
    ("no file", None, [], ("no.db", "give a log")),
    ("no database", lambda _, p: open(p, "w").write("hello there, this is text"), [], ("not a database",)),
    ("another's", lambda _, p: other_database(p), [], ("another program's database",)),
    ("empty", lambda _, p: LogBase(p).close(), [], ("found no board in it yet",)),
    ("too short", short_log, [], ("3.0 days' worth", "needed are 7")),
    ("two boards", two_boards, [], ("found 2 boards", "--device", "attic, cellar")),
    ("no such board", short_log, ["--device", "roof"], ("no board roof",)),
    ("no such season", short_log, ["--season", "1999/00"], ("--season 1999/00", "allowed are")),
    ("no reading", blind, [], ("no minute with indoor temperature",)),
    ("a stuck sensor", stuck, [], ("moves by 0.00 % RH", "see to the sensor")),
    ("a csv of another kind", lambda _, p: open(p, "w").write("time_utc,a\n1,2\n"), [], ("line 1", "outdoor_c")),
    ("known is no house", short_log, ["--known", "no.toml"], ("no.toml", "cannot be read")),
]


@pytest.mark.parametrize(("make", "options", "words"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_bad_input_is_one_line_and_nothing_is_written(make, options, words, life, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    if make:
        make(life, "no.db")
    before = sorted(path.name for path in tmp_path.iterdir())
    assert main(["fit", "no.db", *options]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and error.startswith("dewmargin: "), error
    for word in words:
        assert word in error
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_a_file_that_is_there_is_not_written_over(log, tmp_path, capsys):
    out = tmp_path / "mine.toml"
    out.write_text("name = 'mine'\n")
    assert main(["fit", log, "--out", str(out)]) == 2
    assert "exists already" in capsys.readouterr().err and out.read_text() == "name = 'mine'\n"


def test_without_scipy_one_line_says_what_to_install(log, tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "scipy.optimize", None)
    assert main(["fit", log, "--out", str(tmp_path / "a.toml")]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and "scipy" in error and "'.[fit]'" in error
    assert not list(tmp_path.iterdir())
