"""Moist air: saturation, dew and frost point, humidity ratio, each with its source and range.

Saturation follows A. L. Buck, "New equations for computing vapor pressure and enhancement factor",
J. Appl. Meteorol. 20 (1981) 1527-1532, with the coefficients of the 1996 revision in the maker's
manual (equations ew6 and ei3 there, without the enhancement factor).  Against the IAPWS equations
R7-97 (water, 0..60 °C) and R14-08 (ice, -60..0 °C) they stay within 0.04 and 0.06 %; supercooled
water lies within 0.4 % of Murphy and Koop 2005 down to -40 °C (tests/reference/test_psychro.py).
Both have a closed inverse, so a dew point costs one
logarithm and one square root and needs no iteration.

RH means relative to liquid water at every temperature, as sensors and weather files give it (WMO-No. 8,
Guide to Instruments, part I chapter 4).  Only surfaces below 0 °C are judged over ice.
"""

from math import exp, log, sqrt

MOLAR_RATIO_G = 621.945  # g/kg; ASHRAE Handbook Fundamentals 2017, ch. 1 eq. 20 (0.621945)
STANDARD_PRESSURE_PA = 101325.0


def sat_water_pa(t_c: float) -> float:
    """Saturation vapour pressure over liquid (below 0 °C supercooled) water [Pa] at t_c [°C]."""
    return 611.21 * exp((18.678 - t_c / 234.5) * t_c / (257.14 + t_c))


def sat_surface_pa(t_c: float) -> float:
    """Vapour pressure [Pa] at which a surface at t_c [°C] gets wet: dew from 0 °C up, frost below, to -80 °C."""
    if t_c < 0.0:
        return 611.15 * exp((23.036 - t_c / 333.7) * t_c / (279.82 + t_c))
    return 611.21 * exp((18.678 - t_c / 234.5) * t_c / (257.14 + t_c))


def sat_water_slope_per_k(t_c: float) -> float:
    """Relative slope d(ln p)/dT [1/K] of sat_water_pa at t_c [°C]."""
    d = 257.14 + t_c
    return (18.678 * 257.14 - (2.0 * 257.14 * t_c + t_c * t_c) / 234.5) / (d * d)


def sat_surface_slope_per_k(t_c: float) -> float:
    """Relative slope d(ln p)/dT [1/K] of sat_surface_pa at t_c [°C]."""
    if t_c < 0.0:
        d = 279.82 + t_c
        return (23.036 * 279.82 - (2.0 * 279.82 * t_c + t_c * t_c) / 333.7) / (d * d)
    d = 257.14 + t_c  # as sat_water_slope_per_k, without the call: every target asks for it
    return (18.678 * 257.14 - (2.0 * 257.14 * t_c + t_c * t_c) / 234.5) / (d * d)


def wetting_point_c(vapour_pa: float) -> float:
    """Temperature [°C] below which a surface gets wet at vapour_pa [Pa] > 0: dew point, or frost point below 0 °C."""
    if vapour_pa < 611.15:  # each branch the inverse of one in sat_surface_pa
        s = log(vapour_pa / 611.15)
        b = 23.036 - s
        return 166.85 * (b - sqrt(b * b - 4.0 * 279.82 * s / 333.7))
    s = log(vapour_pa / 611.21)
    b = 18.678 - s
    return 117.25 * (b - sqrt(b * b - 4.0 * 257.14 * s / 234.5))


def vapour_pa(t_c: float, rh_pct: float) -> float:
    """Vapour pressure [Pa] of air at t_c [°C] and rh_pct [%], RH over liquid water."""
    return 0.01 * rh_pct * sat_water_pa(t_c)


def humidity_ratio_g_kg(vapour_pa: float, pressure_pa: float) -> float:
    """Humidity ratio [g water per kg dry air] from vapour and total pressure [Pa]; vapour below total."""
    return MOLAR_RATIO_G * vapour_pa / (pressure_pa - vapour_pa)


def vapour_from_ratio_pa(w_g_kg: float, pressure_pa: float) -> float:
    """Vapour pressure [Pa] from humidity ratio [g/kg] and total pressure [Pa]: inverse of the above."""
    return pressure_pa * w_g_kg / (MOLAR_RATIO_G + w_g_kg)
