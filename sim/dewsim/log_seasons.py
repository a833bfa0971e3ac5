"""The minutes of a log by season: what was recorded, on a grid of minutes, and what is counted of it.

A season runs from July to June, so that no winter is cut.  Times are this machine's standard time; there is no summer
time.  What was not recorded, or not trusted, is NaN on the grid and counts nowhere.
"""

import time
from array import array
from datetime import UTC, datetime
from math import isfinite, nan

from dewcore.psychro import vapour_pa, wetting_point_c
from dewsim import floor
from dewsim.metrics import DRY_PCT, SEASON_BELOW_C

MINUTE_S = 60
HOUR_MIN = 60
DAY_MIN = 1440
FIRST_MONTH = 7
MOST_MINUTES = 366 * DAY_MIN
COLUMNS = ("outdoor_c", "indoor_c", "rh_pct", "glass_c", "ceiling_pct", "target_pct", "fan", "valve", "look")
EMPTY = array("f", [nan])
WINDOW_MIN = 720  # half of so many minutes of the last day have to be recorded: else its mean is not known
LEAST_MIN = WINDOW_MIN // 2


class Season:
    """One season of one board: columns of minutes from start_local_s on, column k ends start + k minutes."""

    def __init__(self, year: int):
        self.year = year
        self.start_local_s = int(datetime(year, FIRST_MONTH, 1, tzinfo=UTC).timestamp())
        self.columns = {name: array("f") for name in COLUMNS}
        self.reasons: list = []  # the name of each minute's first reason, None for none
        self.records = 0
        self.wetting_c = array("f")
        self.heating = bytearray()

    def name(self) -> str:
        """As people call it."""
        return f"{self.year}/{(self.year + 1) % 100:02}"

    def put(self, local_s: int, values: dict) -> None:
        """A record that ended at local_s."""
        k = min(max(round((local_s - self.start_local_s) / MINUTE_S), 0), MOST_MINUTES)
        missing = k + 1 - len(self.reasons)
        if missing > 0:
            self.reasons += [None] * missing
            for column in self.columns.values():
                column.extend(EMPTY * missing)
        for name, column in self.columns.items():
            value = values[name]
            column[k] = nan if value is None else value
        self.reasons[k] = values["reason"]
        self.records += 1

    def close(self) -> None:
        """Cut what lies before the first record, and work out what is derived."""
        first = next((k for k, reason in enumerate(self.reasons) if reason is not None), 0)
        first -= first % DAY_MIN
        self.start_local_s += first * MINUTE_S
        self.reasons = self.reasons[first:]
        for name in COLUMNS:
            self.columns[name] = self.columns[name][first:]
        c = self.columns
        self.wetting_c = array("f", (_wetting_c(t, rh) for t, rh in zip(c["indoor_c"], c["rh_pct"])))
        self.heating = heating_mask(c["outdoor_c"])

    @property
    def n(self) -> int:
        """Minutes from the first day's midnight to the last record."""
        return len(self.reasons)

    def wet(self) -> list:
        """Minutes in which the glass, as the board models it, is at or past the dew or frost point."""
        return [k for k, (g, w) in enumerate(zip(self.columns["glass_c"], self.wetting_c)) if g <= w]


def _wetting_c(indoor_c: float, rh_pct: float) -> float:
    if not (isfinite(indoor_c) and isfinite(rh_pct) and rh_pct > 0.1):
        return nan
    return wetting_point_c(vapour_pa(indoor_c, rh_pct))


def seasons_of(base, device: str) -> list:
    """The seasons of a board, oldest first."""
    found: dict = {}
    offset_s = -time.timezone
    for utc_s, values in base.minutes(device):
        put(found, utc_s + offset_s, values)
    return closed(found)


def put(found: dict, local_s: int, values: dict) -> None:
    """A record into its season of {year: season}."""
    moment = datetime.fromtimestamp(local_s, UTC)
    year = moment.year - (moment.month < FIRST_MONTH)
    if year not in found:
        found[year] = Season(year)
    found[year].put(local_s, values)


def closed(found: dict) -> list:
    """All seasons that were put, oldest first, ready to be counted."""
    for season in found.values():
        season.close()
    return [found[year] for year in sorted(found)]


def part_of(season: Season, start_local_s: int, end_local_s: int) -> Season:
    """What was recorded from one second to another."""
    first = max(0, (start_local_s - season.start_local_s) // MINUTE_S)
    end = max(first, (end_local_s - season.start_local_s) // MINUTE_S)
    part = Season(season.year)
    part.start_local_s = season.start_local_s + first * MINUTE_S
    part.columns = {name: column[first:end] for name, column in season.columns.items()}
    part.reasons = season.reasons[first:end]
    part.records = sum(reason is not None for reason in part.reasons)
    part.wetting_c = season.wetting_c[first:end]
    part.heating = season.heating[first:end]
    return part


def heating_mask(outdoor_c) -> bytearray:
    """1 for each minute whose trailing 24 h mean outdoors is known and below 12 °C."""
    mask = bytearray(len(outdoor_c))
    total, count = 0.0, 0
    for k, value in enumerate(outdoor_c):
        if isfinite(value):
            total += value
            count += 1
        if k >= DAY_MIN and isfinite(outdoor_c[k - DAY_MIN]):
            total -= outdoor_c[k - DAY_MIN]
            count -= 1
        mask[k] = 2 * count >= min(k + 1, WINDOW_MIN) and total < SEASON_BELOW_C * count
    return mask


def counted(season: Season) -> dict:
    """What is told of a season: of the heating season, but for records, days and the floor."""
    c, mask = season.columns, season.heating
    rh = [v for v, counts in zip(c["rh_pct"], mask) if counts and isfinite(v)]
    outdoor = [v for v, counts in zip(c["outdoor_c"], mask) if counts and isfinite(v)]
    above = [
        a > b for a, b, counts in zip(c["rh_pct"], c["ceiling_pct"], mask) if counts and isfinite(a) and isfinite(b)
    ]
    valve = [v for v in c["valve"] if isfinite(v)]
    _, low, high = floor_track(season)
    return {
        "records": season.records,
        "logged_share": season.records / season.n if season.n else 0.0,
        "heating_days": sum(mask) / DAY_MIN,
        "mean_outdoor_c": _mean(outdoor),
        "lowest_outdoor_c": min(outdoor, default=None),
        "mean_rh_pct": _mean(rh),
        "hours_below_25_pct": sum(v < DRY_PCT for v in rh) / HOUR_MIN,
        "hours_above_ceiling": sum(above) / HOUR_MIN,
        "wet_minutes": len(season.wet()),
        "valve_hours": sum(valve) / HOUR_MIN,
        "valve_starts": sum(a == 0.0 < b for a, b in zip(c["valve"], c["valve"][1:])),
        "fan_hours": sum(v for v in c["fan"] if isfinite(v)) / HOUR_MIN,
        "floor_emc_min_pct": low,
        "floor_emc_max_pct": high,
    }


def _mean(values: list) -> float | None:
    return sum(values) / len(values) if values else None


def hourly(column) -> list:
    """Means of whole hours; None for an hour in which nothing was recorded."""
    means = []
    for a in range(0, len(column) - HOUR_MIN + 1, HOUR_MIN):
        known = [v for v in column[a : a + HOUR_MIN] if isfinite(v)]
        means.append(_mean(known))
    return means


def floor_track(season: Season) -> tuple:
    """(moisture content by the hour [%], lowest, highest); an hour without a record goes on with the last air."""
    air_c, air_pct = [], []
    last: tuple | None = None
    for c, rh in zip(hourly(season.columns["indoor_c"]), hourly(season.columns["rh_pct"])):
        if c is not None and rh is not None:
            last = (min(max(c, floor.LOWEST_C), floor.HIGHEST_C), min(rh, 100.0))
        if last is not None:
            air_c.append(last[0])
            air_pct.append(last[1])
    if not air_c:
        return [], None, None
    return floor.track(air_c, air_pct)
