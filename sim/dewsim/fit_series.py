"""A season of a log as columns that a house is fitted to: what was measured a minute, and the means of half hours.

A log holds neither outdoor humidity nor wind.  The outdoor air's water is put at what the coldest and the mean of the
day around can hold, which in six invented and two typical winters was right to 0.5 to 0.7 g/kg (one standard
deviation), half of what a constant 85 % RH is wrong by; wind is put at 4 m/s.  Standard pressure everywhere.
"""

from math import exp

import numpy as np
from scipy.ndimage import minimum_filter1d, uniform_filter1d
from scipy.signal import lfilter

from dewcore.psychro import MOLAR_RATIO_G, STANDARD_PRESSURE_PA, sat_water_pa
from dewsim import plant

DAY_MIN = 1440
STEP_MIN = 30
STEP_H = STEP_MIN / 60.0
DAMP_LOWEST, DAMP_MEAN = 0.58, 0.40  # shares of what the day's lowest and its mean can hold, fitted to eight winters
SMOOTH_MIN = 11  # a humidity at one moment is the mean of so many minutes around it
LEAST_SHARE = 0.7  # of a half hour's minutes recorded, else it counts for nothing
WIND_M_S = 4.0
TABLE_C = np.linspace(-70.0, 60.0, 2601)
TABLE_PA = np.array([sat_water_pa(float(c)) for c in TABLE_C])
AVERAGED_DAYS = 2100  # of bursts, for their mean course of the day; whole weeks


def sat_pa(air_c):
    """Saturation over water [Pa] of an array of temperatures [°C]."""
    return np.interp(air_c, TABLE_C, TABLE_PA)


def ratio_g_kg(pa):
    """Humidity ratio [g/kg] at vapour pressures [Pa]."""
    return MOLAR_RATIO_G * pa / (STANDARD_PRESSURE_PA - pa)


def vapour_pa(w_g_kg):
    """Vapour pressures [Pa] of humidity ratios [g/kg]."""
    return STANDARD_PRESSURE_PA * w_g_kg / (MOLAR_RATIO_G + w_g_kg)


def outdoor_w_g_kg(outdoor_c):
    """The outdoor air's likely humidity ratio [g/kg] by its minutes' temperature [°C] alone."""
    sat = ratio_g_kg(sat_pa(outdoor_c))
    window = min(len(sat), DAY_MIN + 1)
    lowest_c = minimum_filter1d(uniform_filter1d(outdoor_c, STEP_MIN), window)
    damp = DAMP_LOWEST * ratio_g_kg(sat_pa(lowest_c)) + DAMP_MEAN * uniform_filter1d(sat, window)
    return np.minimum(sat, damp)


def wind_factor(house, difference_k):
    """Air changes at so many kelvin and the usual wind over those at 20 K and 4 m/s."""
    if house.air_change_model == "constant":
        return np.ones(len(difference_k))
    stack, wind = plant.STACK[house.storeys - 1], plant.WIND[house.shelter - 1][house.storeys - 1]
    windy = wind * WIND_M_S * WIND_M_S
    rated = stack * plant.RATED_K + wind * plant.RATED_M_S * plant.RATED_M_S
    return np.sqrt((stack * np.abs(difference_k) + windy) / rated)


def wetness(fan, valve, pad_min: float):
    """Evaporation of a minute over that of a wet pad, from shares of fan and valve [0..1]."""
    keep = exp(-1.0 / pad_min) if pad_min > 0.0 else 0.0
    mean = pad_min * (1.0 - keep)
    wet, out = 0.0, np.zeros(len(fan))
    for k, (runs, opens) in enumerate(zip(fan.tolist(), valve.tolist())):
        if runs > 0.0:
            top = min(1.0, opens / runs)
            over = wet - top
            out[k] = runs * (top + over * mean)
            wet = top + over * keep**runs
    return out


def people_kg_h(minute_of_week):
    """One person's steady moisture [kg/h], as the house model has it."""
    minute = minute_of_week % DAY_MIN
    asleep = (minute >= 1380) | (minute < 420)
    away = (minute_of_week < 5 * DAY_MIN) & (minute >= 480) & (minute < 1020)
    return np.where(asleep, plant.ASLEEP_KG_H, plant.AWAKE_KG_H) * np.where(away, plant.AT_WORK, 1.0)


class _Bursting:
    """As much of a house as `plant.bursts` asks for."""

    def __init__(self, people: int):
        self.people = people
        self.extraction = 1.0


def bursts_kg_h(people: int):
    """Mean moisture of showers, cooking and laundry [kg/h] by the minute of the day, nothing extracted."""
    total = np.zeros(DAY_MIN)
    for day in range(AVERAGED_DAYS):
        for start_min, minutes, kg in plant.bursts(_Bursting(people), 0, day):
            total[(int(start_min) + np.arange(minutes)) % DAY_MIN] += 60.0 * kg / minutes
    return uniform_filter1d(total / AVERAGED_DAYS, STEP_MIN, mode="wrap")


class Series:
    """What a season's minutes measured; NaN where nothing was recorded or trusted.

    start_local_s; indoor_c, outdoor_c, rh_pct, fan, valve; known: both humidity and temperature indoors measured;
    w_g_kg, sat_g_kg: of the indoor air, bridged over gaps.  ValueError where there is no reading at all.
    """

    def __init__(self, season):
        columns = {name: np.array(column, dtype=float) for name, column in season.columns.items()}
        read = np.isfinite(columns["indoor_c"] + columns["rh_pct"] + columns["outdoor_c"])
        if not read.any():
            raise ValueError("no minute with indoor temperature, humidity and outdoor temperature")
        first, last = np.argmax(read), len(read) - np.argmax(read[::-1])
        self.start_local_s = season.start_local_s + 60 * int(first)
        self.n = int(last - first)
        for name, column in columns.items():
            setattr(self, name, column[first:last])
        self.known = read[first:last]
        self.indoor_bridged_c = _bridged(self.indoor_c)
        self.outdoor_bridged_c = _bridged(self.outdoor_c)
        pa = 0.01 * _bridged(self.rh_pct) * sat_pa(self.indoor_bridged_c)
        self.w_g_kg = ratio_g_kg(pa)
        self.sat_g_kg = ratio_g_kg(sat_pa(self.indoor_bridged_c))
        self.minute = self.start_local_s // 60 + np.arange(self.n)

    def days(self) -> float:
        """Days' worth of minutes with every reading."""
        return float(self.known.sum()) / DAY_MIN

    def valve_hours(self) -> float:
        """Hours with the valve open."""
        return float(np.nansum(self.valve)) / 60.0


def _bridged(column):
    """Straight lines over what is missing."""
    at = np.flatnonzero(np.isfinite(column))
    return np.interp(np.arange(len(column)), at, column[at])


class Steps:
    """Half-hour means of a Series for one assumed house; step j begins at minute STEP_MIN * j.

    moment_g_kg: humidity ratio at a step's begin, NaN where not known, moment_sat_g_kg: saturation then; is_gap: too
    little of the step was recorded, so that the air may have gone its own way.
    """

    def __init__(self, series: Series, house):
        n = series.n // STEP_MIN * STEP_MIN
        self.count = n // STEP_MIN
        self.series = series

        def mean(column):
            return column[:n].reshape(self.count, STEP_MIN).mean(1)

        self.sat_g_kg = mean(series.sat_g_kg)
        self.outdoor_g_kg = mean(outdoor_w_g_kg(series.outdoor_bridged_c))
        self.wind_factor = wind_factor(house.house, mean(series.indoor_bridged_c - series.outdoor_bridged_c))
        week = (series.minute + 3 * DAY_MIN) % (7 * DAY_MIN)  # 1970-01-01 was a Thursday
        self.people = mean(people_kg_h(week))
        self.bursts = mean(bursts_kg_h(house.gains.people or 1)[series.minute % DAY_MIN])
        valve = np.nan_to_num(series.valve)
        fan = np.where(np.isfinite(series.fan), series.fan, valve > 0.0)  # no fan contact: the valve says enough
        # as the air at one moment is a mean over minutes, so is what wets it
        self.wetness = mean(uniform_filter1d(wetness(fan, valve, house.humidifier.pad_min), SMOOTH_MIN))
        self.hour = (series.minute[:n:STEP_MIN] // 60) % 24
        self.at_h = np.arange(self.count) * STEP_H
        share = mean(series.known.astype(float))
        self.is_gap = share < LEAST_SHARE
        self.moment_g_kg = uniform_filter1d(series.w_g_kg, SMOOTH_MIN)[:n:STEP_MIN]
        self.moment_sat_g_kg = uniform_filter1d(series.sat_g_kg, SMOOTH_MIN)[:n:STEP_MIN]
        around = uniform_filter1d(series.known.astype(float), SMOOTH_MIN)[:n:STEP_MIN]
        self.moment_g_kg[around < LEAST_SHARE] = np.nan
        self.degree_pct = 100.0 * series.w_g_kg / series.sat_g_kg
        self.first_pct = float(self.degree_pct[:120].mean())

    def stored_pct(self, tau_h: float):
        """RH that a slow store of this time constant [h] has followed at each step's begin, begun in balance."""
        return self.store_by_minute(tau_h)[: self.count * STEP_MIN : STEP_MIN]

    def store_by_minute(self, tau_h: float):
        """The same by the minute."""
        gain = 1.0 / 60.0 / tau_h
        followed, _ = lfilter([gain], [1.0, gain - 1.0], self.degree_pct, zi=[self.first_pct * (1.0 - gain)])
        return np.concatenate([[self.first_pct], followed[:-1]])
