"""Invented winters: seeded, repeatable weather for where no measured winter is at hand.

Not a climate model.  Air masses follow one another with cold fronts, some of them sharp, and slower warm
ones; a daily cycle, weaker under cloud, a wandering hour-to-hour part, and cold, clear, calm spells are
added; humidity and wind follow from them.  What passes and the daily cycle are scaled to a spread and a
daily range drawn for the winter.  Falls and persistence come as they come: a winter that falls or varies
as none of the typical-year files of falls.MEASURED does is thrown away, and the seed's next candidate
drawn.  So these winters are picked: within those limits, and with fewer extremes than a plain draw has.
Values are rounded as a weather station reports them, which also makes a seed's winter the same on every
machine.
"""

from array import array
from math import cos, exp, pi, sqrt
from random import Random

from dewcore.psychro import sat_surface_pa, sat_water_pa
from dewsim.errors import InputError
from dewsim.falls import Statistics, about_season, outside, statistics
from dewsim.weather import HOUR_S, NOMINAL_YEAR, Weather
from dewsim.weather_formats import stamp_s

SEASON_DAYS = 212  # 1 October to 30 April
COLDEST_DAY = 108  # 17 January, counted from 1 October
LARGEST_FALL_6H_K = 20.0  # the steepest of seven typical-year winters fell 21.1 K in 6 h and 29.0 K in 48 h
LARGEST_FALL_48H_K = 29.0
UTC_OFFSET_S = 3600
SUNRISE_H = 7.0
WARMEST_H = 14.5
CLOUD_SHARE = 0.72  # of the daily range is lost under full cloud
SHARP_SHARE = 0.03  # of the cold fronts: they pass within a few hours
EVENING_H = 4.0  # how fast the evening's cooling slows down
CANDIDATES = 20  # of the hard ones about half lie outside the limits, of the others one in ten or fewer
SCALINGS = 5


__all__ = ["KINDS", "Statistics", "invent", "ostervale", "statistics"]


class Kind:
    """What one kind of invented winter is made of; temperatures and spreads in °C and K, times in h."""

    __slots__ = (
        "mean_c",
        "season_k",
        "daily_sd_k",
        "air_k",
        "drift_k",
        "front_gap_h",
        "cold_front_h",
        "daily_range_k",
        "daily_season",
        "wander_k",
        "cloud",
        "spells",
        "spell_k",
        "wind_m_s",
        "pressure_pa",
        "depression_k",
    )

    def __init__(self, **values) -> None:
        for name in self.__slots__:
            setattr(self, name, values.pop(name))
        if values:
            raise TypeError(f"no such part of a kind: {', '.join(values)}")

    def but(self, **values) -> "Kind":
        """The same kind with some parts changed."""
        return Kind(**{name: getattr(self, name) for name in self.__slots__} | values)


KINDS = {
    "hard": Kind(
        mean_c=0.0,  # mean of October to April
        season_k=17.0,  # half the difference between the season's ends and its middle, roughly
        daily_sd_k=(5.0, 5.3),  # of the daily means about the season; each winter draws its own
        air_k=5.4,  # spread of the air masses between fronts, before all that passes is scaled to daily_sd_k
        drift_k=2.0,  # spread of their slow drift, likewise
        front_gap_h=38.0,  # mean time from a front's passing to the next
        cold_front_h=(10.0, 36.0),  # how long a cold front takes to pass; a warm one takes half as long again
        daily_range_k=(11.4, 11.9),  # mean of a winter's daily ranges; each winter draws its own
        daily_season=0.65,  # how much less the daily cycle is in midwinter
        wander_k=0.35,  # spread of the hour-to-hour part
        cloud=0.5,  # mean cover
        spells=3,  # cold spells
        spell_k=6.0,  # how much colder they are, likewise before scaling
        wind_m_s=4.0,
        pressure_pa=95000.0,
        depression_k=3.5,  # mean distance of the dew point below the day's mean temperature
    ),
    "inland": Kind(
        mean_c=4.0,
        season_k=8.0,
        daily_sd_k=(3.3, 4.3),
        air_k=4.6,
        drift_k=2.0,
        front_gap_h=66.0,
        cold_front_h=(5.0, 18.0),
        daily_range_k=(9.0, 10.0),
        daily_season=0.25,
        wander_k=0.6,
        cloud=0.55,
        spells=2,
        spell_k=4.0,
        wind_m_s=3.6,
        pressure_pa=98500.0,
        depression_k=3.0,
    ),
    "maritime": Kind(
        mean_c=5.5,
        season_k=4.0,
        daily_sd_k=(2.1, 2.9),
        air_k=3.4,
        drift_k=1.1,
        front_gap_h=60.0,
        cold_front_h=(6.0, 20.0),
        daily_range_k=(6.1, 7.2),
        daily_season=0.2,
        wander_k=0.6,
        cloud=0.68,
        spells=1,
        spell_k=3.0,
        wind_m_s=5.5,
        pressure_pa=101000.0,
        depression_k=2.2,
    ),
}


def invent(seed: int, kind: str = "hard") -> Weather:
    """An invented winter, 1 October 2001 00:00 to 30 April 24:00 by the hour, always the same for a seed.

    kind "hard" (continental, with cold spells), "inland" or "maritime".  Every figure of its statistics() lies
    within falls.MEASURED: the first of up to CANDIDATES winters drawn for the seed that does is taken.
    InputError for another kind, for a seed that is not a whole number, and where none of them does.
    """
    if kind not in KINDS:
        raise InputError(f"invented winter: kind {kind!r}; allowed are {', '.join(KINDS)}; use one of them")
    if not isinstance(seed, int) or isinstance(seed, bool):
        raise InputError(f"invented winter: seed {seed!r}; a whole number is needed; use one")
    for number in range(CANDIDATES):
        drawn = candidate(seed, kind, number)
        if not outside(statistics(drawn)):
            return drawn
    raise InputError(
        f"invented winter: kind {kind}, seed {seed}: each of {CANDIDATES} candidates falls or varies in a way that "
        "no measured winter did; at least one has to lie within; use another seed"
    )


def candidate(seed: int, kind: str, number: int) -> Weather:
    """One winter drawn for a seed; its spread and daily range are as drawn, its falls and persistence as they come."""
    parts = KINDS[kind]
    rng = Random(f"{kind} {seed} {number}")
    n = SEASON_DAYS * 24 + 1
    sd_k, range_k = rng.uniform(*parts.daily_sd_k), rng.uniform(*parts.daily_range_k)
    air, cloud, front = air_masses(rng, parts, n)
    spell = cold_spells(rng, parts, n)
    wander, drift = wandering(rng, n, 4.0), wandering(rng, n, 36.0)
    season, passing, daily = (array("d", bytes(8 * n)) for _ in range(3))
    for i in range(n):
        cloud[i] = min(1.0, max(0.0, cloud[i] * (1.0 - 0.8 * spell[i])))
        away = cos(2.0 * pi * (i / 24.0 - COLDEST_DAY) / 365.0)
        season[i] = parts.mean_c - parts.season_k * (away - 0.53)  # 0.53: the cosine's mean
        passing[i] = air[i] - parts.spell_k * spell[i] + parts.drift_k * drift[i]
        clear = (1.0 - CLOUD_SHARE * cloud[i]) * (1.0 - parts.daily_season * away)
        daily[i] = clear * daily_shape(i % 24)
    season = array("d", [a + parts.wander_k * b for a, b in zip(season, wander)])
    temperature = scaled(season, passing, daily, sd_k, range_k)
    limit_falls(temperature)
    start_utc_s = stamp_s(NOMINAL_YEAR, 10, 1, 0) - UTC_OFFSET_S
    origin = f"invented winter, kind {kind}, seed {seed}: not measured anywhere"
    return finish(f"{kind} {seed}", origin, start_utc_s, parts, rng, temperature, cloud, front, spell)


def scaled(season: array, passing: array, daily: array, sd_k: float, range_k: float) -> array:
    """season + a passing + b daily [°C] of the spread and mean daily range asked for [K].

    a moves the range a little and b the spread, so that both are found by repeated correction.
    """
    a, b = 1.0, range_k
    for _ in range(SCALINGS):
        out = array("d", [s + a * p + b * d for s, p, d in zip(season, passing, daily)])
        days = [out[i : i + 24] for i in range(1, len(out) - 23, 24)]  # as statistics() has them
        spread, _ = about_season([sum(day) / 24.0 for day in days])
        a *= sd_k / spread
        b *= range_k * len(days) / sum(max(day) - min(day) for day in days)
    return array("d", [s + a * p + b * d for s, p, d in zip(season, passing, daily)])


def wandering(rng: Random, n: int, hours: float) -> array:
    """A wandering series of spread 1 that forgets within so many hours (first-order autoregression)."""
    keep = exp(-1.0 / hours)
    kick = sqrt(1.0 - keep * keep)
    out = array("d", bytes(8 * n))
    value = rng.gauss(0.0, 1.0)
    for i in range(n):
        out[i] = value
        value = keep * value + kick * rng.gauss(0.0, 1.0)
    return out


def air_masses(rng: Random, parts: Kind, n: int) -> "tuple[array, array, array]":
    """(temperature above the season [K], cloud cover [0..1], nearness of a front [0..1]) by the hour."""
    air, cloud, front = (array("d", bytes(8 * n)) for _ in range(3))
    now = rng.gauss(0.0, parts.air_k)
    cover = parts.cloud
    i = 0
    noise = wandering(rng, n, 16.0)
    while i < n:
        target = parts.air_k * rng.uniform(-1.7, 1.7) - 0.2 * now  # bounded: no front without end
        cold = target < now
        passing = rng.uniform(*parts.cold_front_h) * (1.0 if cold else 1.5)
        if cold and rng.random() < SHARP_SHARE:
            passing = rng.uniform(4.0, 7.0)
        until = passing + rng.uniform(0.3, 1.5) * parts.front_gap_h
        sky = parts.cloud + (rng.uniform(-0.5, 0.1) if cold else rng.uniform(-0.2, 0.5))
        begin, first = now, i
        while i < n and i - first < until:
            share = min(1.0, (i - first) / passing)
            share *= share * (3.0 - 2.0 * share)
            target *= 1.0 - 1.0 / 150.0  # an air mass takes on the season's temperature within a week
            now = begin + (target - begin) * share
            near = 1.0 - min(1.0, abs(i - first - 0.5 * passing) / (0.5 * passing + 5.0))
            cover += (sky + 0.6 * near - cover) / 7.0
            air[i], cloud[i], front[i] = now, cover + 0.35 * noise[i], near
            i += 1
    return air, cloud, front


def cold_spells(rng: Random, parts: Kind, n: int) -> array:
    """Share 0..1 of a cold, clear, calm spell by the hour: a few days each, between December and February."""
    out = array("d", bytes(8 * n))
    for _ in range(parts.spells):
        first = rng.uniform(62.0, 145.0) * 24.0
        length = rng.uniform(50.0, 130.0)
        for i in range(max(0, int(first) - 48), min(n, int(first + length) + 48)):
            edge = min(i - first, first + length - i) / 48.0 + 1.0
            share = min(1.0, max(0.0, edge))
            out[i] = max(out[i], share * share * (3.0 - 2.0 * share))
    return out


def daily_shape(hour: float) -> float:
    """The daily cycle, range 1 and mean 0: a half cosine up from sunrise, then cooling that slows down."""
    if SUNRISE_H <= hour < WARMEST_H:
        return 0.5 - 0.5 * cos(pi * (hour - SUNRISE_H) / (WARMEST_H - SUNRISE_H)) - 0.31
    night = 24.0 - WARMEST_H + SUNRISE_H
    last = exp(-night / EVENING_H)
    return (exp(-((hour - WARMEST_H) % 24.0) / EVENING_H) - last) / (1.0 - last) - 0.31  # the mean of both


def limit_falls(temperature: array) -> None:
    """Lifts hours that would lie too far below the warmest of the 6 or 48 hours before."""
    for i in range(1, len(temperature)):
        lowest = max(
            max(temperature[max(0, i - 6) : i]) - LARGEST_FALL_6H_K,
            max(temperature[max(0, i - 48) : i]) - LARGEST_FALL_48H_K,
        )
        if temperature[i] < lowest:
            temperature[i] = lowest


def finish(name, origin, start_utc_s, parts, rng, temperature, cloud, front, spell, per_k=2.0) -> Weather:
    """The Weather of a temperature [°C], with humidity, wind and pressure to match its cloud and fronts.

    Temperatures are reported to 1/per_k of a kelvin.  The dew point follows the day's mean temperature,
    closer under cloud, and air above saturation (over ice below 0 °C) loses the rest as fog or frost.
    """
    n = len(temperature)
    shown = array("d", [round(per_k * t) / per_k for t in temperature])
    dry, gust, mass = wandering(rng, n, 18.0), wandering(rng, n, 9.0), wandering(rng, n, 60.0)
    mean = day_mean(shown)
    rh, wind, pressure = (array("d", bytes(8 * n)) for _ in range(3))
    for i in range(n):
        t = shown[i]
        depression = parts.depression_k * (1.9 - 1.5 * cloud[i]) * exp(0.4 * dry[i])
        vapour = min(sat_water_pa(mean[i] - depression), 0.985 * sat_surface_pa(t))
        rh[i] = round(100.0 * vapour / sat_water_pa(t))
        blow = parts.wind_m_s * 1.1 * exp(0.42 * gust[i]) * (1.0 + 0.7 * front[i]) * (1.0 - 0.75 * spell[i])
        blow = blow * (1.0 + 0.5 * daily_shape(i % 24)) - 0.8
        wind[i] = 0.0 if blow < 0.5 else min(25.0, round(blow, 1))  # a cup anemometer stands still in less
        pressure[i] = round(parts.pressure_pa + 700.0 * mass[i] - 600.0 * front[i] + 500.0 * spell[i], -1)
    notes = ["invented weather: for trying the program, not for judging a real house"]
    return Weather(
        name, "invented", origin, start_utc_s, UTC_OFFSET_S, HOUR_S, shown, rh, wind, pressure, notes
    )


def day_mean(values: array) -> array:
    """Mean over the 25 hours around each hour, fewer at the ends."""
    n = len(values)
    total = array("d", [0.0])
    for value in values:
        total.append(total[-1] + value)
    spans = [(max(0, i - 12), min(n, i + 13)) for i in range(n)]
    return array("d", [(total[b] - total[a]) / (b - a) for a, b in spans])


# the demo's winter: (day from 1 December 00:00, mean temperature [°C], cloud cover; above 1 is fog)
OSTERVALE = (
    (0.0, 1.7, 0.7),
    (2.6, -0.9, 0.5),
    (4.9, 2.7, 0.9),
    (5.9, -2.9, 0.3),
    (9.5, -6.4, 0.25),
    (12.0, -1.4, 0.8),
    (14.2, -0.3, 0.9),
    (16.5, -8.4, 0.2),
    (19.0, -9.9, 0.15),
    (21.5, -1.9, 0.7),
    (25.0, -3.9, 0.4),
    (27.5, -0.4, 0.8),
    (29.4, 3.7, 0.95),
    (30.9, 6.9, 0.95),  # New Year's thaw
    (31.6, 6.3, 0.9),
    (33.2, -1.5, 0.75),
    (36.0, -3.4, 0.4),
    (39.0, -5.9, 0.3),
    (41.5, -1.4, 0.8),
    (43.3, 1.4, 0.95),
    (44.46, 1.6, 1.0),  # 14 January 11:00: the front
    (44.76, -16.9, 0.4),
    (45.5, -21.0, 0.15),
    (46.3, -26.0, 0.15),  # 30 hours of the deepest cold
    (47.65, -26.0, 0.15),
    (48.6, -14.0, 0.6),
    (49.6, -3.0, 1.0),
    (50.4, 1.8, 1.2),  # the damp thaw
    (53.4, 2.4, 1.2),
    (54.6, 0.2, 0.8),
    (57.0, -3.4, 0.4),
    (59.5, -5.4, 0.3),
    (62.0, -0.9, 0.8),
    (64.5, -7.4, 0.3),
    (67.0, -8.9, 0.2),
    (70.0, -2.4, 0.7),
    (73.0, 1.7, 0.9),
    (75.5, -0.9, 0.5),
    (78.0, -5.4, 0.3),
    (81.0, -1.4, 0.6),
    (84.0, 2.7, 0.9),
    (86.5, -0.8, 0.5),
    (88.5, 1.2, 0.8),
    (90.0, 1.7, 0.7),
)
OSTERVALE_QUIET_D = ((30.3, 32.0), (43.7, 54.0))  # its stated days are not blurred by the wandering parts
OSTERVALE_DAILY_K = 11.5
OSTERVALE_SEED = 7


def ostervale() -> Weather:
    """The demo's winter, invented: 1 December 2001 00:00 to 28 February 24:00 by the hour, an inland plateau.

    Mean -3 °C; a thaw to +8 °C at New Year, a front of 18 K in 6 h on 14 January, 30 h at about -26 °C
    after it, then a damp thaw.  Always the same.
    """
    parts = KINDS["inland"].but(pressure_pa=95000.0, wander_k=0.5, depression_k=2.6)
    n = 90 * 24 + 1
    rng = Random(OSTERVALE_SEED)
    wander, drift, sky = wandering(rng, n, 4.0), wandering(rng, n, 22.0), wandering(rng, n, 14.0)
    mean, cloud = curve(OSTERVALE, 1, n), curve(OSTERVALE, 2, n)
    temperature, front, spell = (array("d", bytes(8 * n)) for _ in range(3))
    for i in range(n):
        day = i / 24.0
        away = min(max(first - day, day - last, 0.0) for first, last in OSTERVALE_QUIET_D)
        free = 0.3 + 0.7 * min(1.0, away / 1.5)
        cloud[i] = max(0.0, cloud[i] + 0.2 * free * sky[i])
        daily = OSTERVALE_DAILY_K * (1.0 - CLOUD_SHARE * min(1.0, cloud[i])) * daily_shape(i % 24) * free
        temperature[i] = mean[i] + daily + free * (1.8 * drift[i] + parts.wander_k * wander[i])
        front[i] = min(1.0, abs(mean[min(n - 1, i + 3)] - mean[max(0, i - 3)]) / 9.0)
        spell[i] = min(1.0, max(0.0, (-14.0 - mean[i]) / 8.0))
    limit_falls(temperature)
    origin = "Ostervale, an invented place and winter: 1 December to 28 February on an inland plateau"
    start_utc_s = stamp_s(NOMINAL_YEAR, 12, 1, 0) - UTC_OFFSET_S
    return finish("Ostervale", origin, start_utc_s, parts, rng, temperature, cloud, front, spell, 10.0)


def curve(points: tuple, column: int, n: int) -> array:
    """Hourly values through points (day, ...) with level tangents at each of them."""
    out = array("d", bytes(8 * n))
    j = 0
    for i in range(n):
        day = i / 24.0
        while j + 2 < len(points) and day > points[j + 1][0]:
            j += 1
        a, b = points[j], points[j + 1]
        share = (day - a[0]) / (b[0] - a[0])
        out[i] = a[column] + (b[column] - a[column]) * share * share * (3.0 - 2.0 * share)
    return out
