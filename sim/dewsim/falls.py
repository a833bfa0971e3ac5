"""How a winter's temperature falls and varies: figures that hold invented winters against real ones."""

from math import sqrt

from dewsim.errors import InputError
from dewsim.weather import HOUR_S, Weather

FALL_HOURS = (1, 3, 6, 12, 24, 48)
COLD_C = 12.0  # falls count from hours below this
SMOOTH_DAYS = 71  # running mean taken as the season, shorter at the ends

# Lowest and highest figures of typical-year winters: 703165TY and 723170TYA, which lie beside the reference
# tests, three continental ones pooled, one of the mid-Atlantic and one of a mild coast.
MEASURED_FALLS_K = {  # hours: (median, 90 %, 99 %)
    1: ((0.0, 0.0), (0.8, 1.7), (1.6, 4.0)),
    3: ((0.0, 0.6), (1.1, 3.9), (2.8, 7.0)),
    6: ((0.4, 1.1), (2.0, 6.0), (4.0, 10.0)),
    12: ((1.0, 2.2), (3.0, 8.3), (6.0, 13.7)),
    24: ((1.1, 4.0), (4.0, 10.0), (7.8, 16.1)),
    48: ((2.0, 6.0), (6.0, 12.8), (8.4, 20.0)),
}
MEASURED = {
    **{
        f"{hours} h {share}": limits
        for hours, ranges in MEASURED_FALLS_K.items()
        for share, limits in zip(("median", "90 %", "99 %"), ranges)
    },
    "daily sd": (1.6, 5.3),
    "lag 1": (0.61, 0.78),
    "daily range": (3.4, 11.9),
}


class Statistics:
    """How a winter's temperature falls and varies.

    falls_k: {hours: (median, 90 %, 99 %, largest)} [K], from every hour below 12 °C to the lowest within so
    many hours; daily_sd_k, standard deviation [K] of daily means about a running mean of 71 days; lag_1,
    their autocorrelation at one day; daily_range_k, mean of highest less lowest of a day [K].
    """

    __slots__ = ("falls_k", "daily_sd_k", "lag_1", "daily_range_k")

    def __init__(self, falls_k, daily_sd_k, lag_1, daily_range_k) -> None:
        self.falls_k = falls_k
        self.daily_sd_k = daily_sd_k
        self.lag_1 = lag_1
        self.daily_range_k = daily_range_k


def statistics(weather: Weather) -> Statistics:
    """Statistics of a weather's hourly samples; days run from 01:00 to 24:00 local standard time.

    InputError for less than five days, or without an hour below 12 °C.
    """
    skip = HOUR_S // weather.step_s
    first = -(weather.start_utc_s + weather.utc_offset_s) % HOUR_S // weather.step_s
    values = weather.outdoor_c[first::skip]
    hour = (weather.start_utc_s + weather.utc_offset_s + first * weather.step_s) // HOUR_S % 24
    days = [values[i : i + 24] for i in range((1 - hour) % 24, len(values) - 23, 24)]
    cold = [i for i, value in enumerate(values) if value < COLD_C]
    if len(days) < 5 or not cold:
        raise InputError(
            f"{weather.name}: {len(days)} whole days, {len(cold)} hours below {COLD_C:g} °C; "
            "at least 5 days and one such hour are needed; use a longer winter"
        )
    falls = {}
    for k in FALL_HOURS:
        drops = sorted(values[i] - min(values[i : i + k + 1]) for i in cold)
        falls[k] = (*(drops[int(share * len(drops))] for share in (0.5, 0.9, 0.99)), drops[-1])
    sd_k, lag_1 = about_season([sum(day) / 24.0 for day in days])
    return Statistics(falls, sd_k, lag_1, sum(max(day) - min(day) for day in days) / len(days))


def figures(found: Statistics) -> "dict[str, float]":
    """The figures of `found` that MEASURED has limits for, under the same names."""
    out = {}
    for hours in MEASURED_FALLS_K:
        for share, value in zip(("median", "90 %", "99 %"), found.falls_k[hours]):
            out[f"{hours} h {share}"] = value
    return out | {"daily sd": found.daily_sd_k, "lag 1": found.lag_1, "daily range": found.daily_range_k}


def outside(found: Statistics) -> "list[str]":
    """Names of the figures that do not lie within MEASURED, its limits included."""
    return [
        name for name, value in figures(found).items() if not MEASURED[name][0] <= value <= MEASURED[name][1]
    ]


def about_season(means: "list[float]") -> "tuple[float, float]":
    """(standard deviation [K], autocorrelation at one day) of daily means about their running mean."""
    half, n = SMOOTH_DAYS // 2, len(means)
    rest = []
    for i in range(n):
        around = means[max(0, i - half) : i + half + 1]
        rest.append(means[i] - sum(around) / len(around))
    centre = sum(rest) / n
    rest = [value - centre for value in rest]
    square = sum(value * value for value in rest)
    if not square > 0.0:
        return 0.0, 0.0
    return sqrt(square / n), sum(a * b for a, b in zip(rest, rest[1:])) / square
