"""`dewmargin replay LOG`: the logged winter's weather through a house fitted to the log, and through a changed one.

What was recorded stands beside what the fitted house would have done in the same weather, which shows how far the fit
is to be trusted, and beside that the same house with what is asked to be otherwise.
"""

import time
import tomllib
from array import array
from math import isfinite
from pathlib import Path

from dewcore.psychro import STANDARD_PRESSURE_PA
from dewsim import fit_command, housefile, log_seasons, metrics, policies, replay, weather
from dewsim.errors import InputError, shown
from dewsim.log_source import season_of
from dewsim.progress import Progress
from dewsim.weather import Weather

SAMPLE_MIN = 10
DAMPEST_PCT, DRIEST_PCT = 100.0, 5.0
FITTED_SHARE = 0.2  # of the work, for the house as fitted
FIRST_MIN = 1440  # the house starts as humid as the log is in the mean of so many minutes
LEAST_DAYS = 1.0


def run(arguments) -> int:
    """A folder as of any replay, with the logged season beside it."""
    folder = Path(arguments.out)
    if not arguments.out:
        raise InputError("--out: found no name; name a folder to write")
    fit_command.needs_scipy()
    replay.check_folder(folder, tuple(path for path in (arguments.house, arguments.fitted) if path))
    season, source = season_of(arguments.house, arguments.device, arguments.season)
    given = housefile.load(arguments.fitted) if arguments.fitted else None
    with Progress.on_terminal("winter") as progress:
        house = given or fit_command.fit(season, source, None, progress).house
        changed = with_changes(house, arguments.change or [])
        sky, logged = logged_part(season, source)
        done = Beside(house, changed, sky, logged, arguments, progress)
        replay.write(done.replay, folder, arguments.all_records)
    print(replay.summary(done.replay.result))
    print("\n".join(done.lines()))
    print(f"report: {folder / 'report.html'}")
    return 0


def with_changes(house, changes: list):
    """A copy of house with each SECTION.KEY=VALUE taken, None for none; InputError."""
    if not changes:
        return None
    values = tomllib.loads(housefile.dump(house))
    for change in changes:
        place = f"--change {shown(change)}"
        name, equals, text = change.partition("=")
        section, dot, key = name.strip().partition(".")
        if not (equals and dot and key.isidentifier() and section.isidentifier()):
            raise InputError(f"{place}: allowed is SECTION.KEY=VALUE, as glass.f_day=0.7; correct it")
        try:
            value = tomllib.loads(f"value = {text.strip()}")["value"]
        except tomllib.TOMLDecodeError:
            raise InputError(f"{place}: found no number, true, false or quoted text behind =; correct it") from None
        values.setdefault(section, {})
        if not isinstance(values[section], dict):
            raise InputError(f"{place}: {shown(section)} is no section of the house file; correct it")
        values[section][key] = value
    return housefile.House(values, "--change")


def logged_part(season, source: str) -> tuple:
    """(weather, the season cut to it) of the longest winter in a season; InputError where it is less than a day."""
    from dewsim import fit_series

    try:
        series = fit_series.Series(season)
    except ValueError as problem:
        raise InputError(f"{source}: {problem}; give a log of a board whose sensors work") from None
    whole = weather_of(series, source)
    sky = weather.winter(whole)
    if sky.duration_s() < 86400 * LEAST_DAYS:
        raise InputError(f"{source}: covers {sky.duration_s() / 3600.0:.1f} h, needed are 24; let it log longer")
    start_s = sky.start_utc_s + sky.utc_offset_s
    return sky, log_seasons.part_of(season, start_s, start_s + sky.duration_s())


def weather_of(series, name: str) -> Weather:
    """The outdoor air of a log: measured temperature, and what a log does not hold as the fit has it."""
    from dewsim import fit_series

    outdoor_c = fit_series.uniform_filter1d(series.outdoor_bridged_c, SAMPLE_MIN)
    pa = fit_series.vapour_pa(fit_series.outdoor_w_g_kg(series.outdoor_bridged_c))
    rh_pct = (100.0 * pa / fit_series.sat_pa(outdoor_c)).clip(DRIEST_PCT, DAMPEST_PCT)
    columns = [array("d", column[::SAMPLE_MIN].tolist()) for column in (outdoor_c, rh_pct)]
    samples = len(columns[0])
    still = [array("d", [value] * samples) for value in (fit_series.WIND_M_S, STANDARD_PRESSURE_PA)]
    offset_s = -time.timezone
    gaps = 100.0 * (1.0 - float(series.known.mean()))
    notes = ["outdoor humidity judged by temperature, wind 4 m/s, standard pressure: a log holds none of them"]
    if gaps > 0.0:
        notes.append(f"{gaps:.1f} % of the minutes are not in the log and were bridged by straight lines")
    start_utc_s = series.start_local_s - offset_s
    return Weather(
        name, "log", f"log {name}", start_utc_s, offset_s, 60 * SAMPLE_MIN, *columns, *still, notes
    )


class Beside:
    """A replay of the changed house, or of the fitted one where nothing is changed; and what stands beside it.

    logged: counts of the log; fitted: the block of the house as fitted, None where the replay is its own.
    """

    def __init__(self, house, changed, sky, logged, arguments, progress):
        options = (sky, arguments.seed, "house", arguments.exact_sensors, progress, arguments.forecast)
        self.changes = list(arguments.change or [])
        self.logged = log_seasons.counted(logged)
        start_pct = first_pct(logged)
        self.replay = replay.Replay(changed or house, *options, start_pct=start_pct)
        self.fitted = None
        if changed is not None:
            progress.part = (0.0, FITTED_SHARE)
            self.fitted = shipped_block(replay.Replay(house, *options, start_pct=start_pct))
            progress.part = (FITTED_SHARE, 1.0)
        self.replay.run()
        self.replay.beside = self
        self.replay.result["logged"] = {
            name: round(value, 4) if isinstance(value, float) else value for name, value in self.logged.items()
        }
        if changed is not None:
            self.replay.result["changes"] = self.changes
            self.replay.result["fitted"] = self.fitted

    def columns(self) -> list:
        """(heading, block) of what is compared, the log first."""
        shipped = self.replay.result["policies"][self.replay.shipped]
        if self.fitted is None:
            return [("As logged", self.logged), ("Replayed", shipped)]
        return [("As logged", self.logged), ("Replayed", self.fitted), ("Changed", shipped)]

    def lines(self) -> list:
        """The same as text."""
        found = [f"  changed: {', '.join(self.changes)}"] if self.changes else []
        found += [f"  {line}" for line in factors_left(self.changes, self.replay.house)]
        for heading, block in self.columns():
            if block["mean_rh_pct"] is not None:
                found.append(
                    f"  {heading.lower():16} mean {block['mean_rh_pct']:.1f} % RH, {block['wet_minutes']} wet minutes, "
                    f"{block['valve_hours']:.0f} h of open valve"
                )
        return found


def factors_left(changes: list, house) -> list:
    """A sentence where one of the two glass factors was changed alone."""
    places = [change.partition("=")[0].strip() for change in changes]
    named = [name for name in ("f_day", "f_night") if f"glass.{name}" in places]
    if len(named) != 1:
        return []
    other = "f_night" if named == ["f_day"] else "f_day"
    part = "by night" if other == "f_night" else "by day"
    return [f"glass.{other} stayed {getattr(house.glass, other):g}: {part} the windows are as they were"]


def first_pct(logged) -> float:
    """Mean RH [%] of the first day that has a reading."""
    known = [rh for rh in logged.columns["rh_pct"] if isfinite(rh)][:FIRST_MIN]
    return min(policies.START_RH_PCT, sum(known) / len(known))


def shipped_block(run: replay.Replay) -> dict:
    """The block of what ships, alone."""
    run.progress.stage("as fitted", 0.02, 1.0)
    shut = policies.run_shut(run.course, run.start_pct)
    told = run.told() if run.shipped == "outlook" else None
    shipped = run.controlled(run.settings, told)
    return metrics.policy_block(run.course, shipped, shut, run.mask, run.caps_pct, run.house)

