"""How a winter's temperature falls and varies: figures that hold invented winters against real ones."""

from math import sqrt

from dewsim.errors import InputError
from dewsim.weather import HOUR_S, Weather

FALL_HOURS = (1, 3, 6, 12, 24, 48)
COLD_C = 12.0  # falls count from hours below this
SMOOTH_DAYS = 71  # running mean taken as the season, shorter at the ends


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
