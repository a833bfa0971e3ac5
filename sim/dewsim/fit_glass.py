"""The glass factor of a house from the looks at its windows in a log: which factor makes them likeliest.

Each look bounds f from one side, by the same chance of fog as the board's (shared/dewcore/glass.py), by day and with
curtains drawn each by itself.  It counts as looked for where neither answer was sure beforehand: where the factor that
would just have fogged then lies near the f that is found.  Looks at any other moment say next to nothing.
"""

from typing import NamedTuple

import numpy as np

from dewcore import glass
from dewcore.psychro import sat_surface_slope_per_k, sat_water_pa, vapour_pa, wetting_point_c
from dewcore.readings import TAP_CLEAR, TAP_FOG
from dewsim.fit_series import DAY_MIN, Series
from dewsim.plant import clock_minute, in_window

FACTORS = np.arange(0.05, 0.9801, 0.005)
NEAR_F = 0.12  # looked for: so near to f that both answers could be
LEAST_LOOKS = 20
WIDEST_F = 0.012  # spread by the looks alone, above which f is not determined
SENSOR_F = 0.012  # what constant errors of 1 % RH and 0.5 K outdoors, uniform, put into f


class Factor(NamedTuple):
    """looks: all that count, near: those looked for; f and spread, NaN where not determined."""

    looks: int
    near: int
    f: float
    spread: float


NOTHING = Factor(0, 0, float("nan"), float("nan"))


def fit(series: Series, house) -> tuple:
    """(by day, with curtains drawn); curtains and the coldest room are those of the house file."""
    found: list = [[], []]
    drawn = (clock_minute(house.glass.curtains_from), clock_minute(house.glass.curtains_to))
    for k in np.flatnonzero(np.isin(series.look, (TAP_FOG, TAP_CLEAR)) & series.known):
        minute = int(series.minute[k]) % DAY_MIN
        if any((minute - edge + glass.NEAR_CURTAINS_MIN) % DAY_MIN <= 2 * glass.NEAR_CURTAINS_MIN for edge in drawn):
            continue
        night = in_window(minute, *drawn)
        look = _look(series, int(k), house.room, night)
        if look is not None:
            found[night].append(look)
    return tuple(_factor(looks) for looks in found)


def _look(series: Series, k: int, room, night: bool) -> tuple | None:
    """(whether fog, the factor that would just have fogged, how sharply) of one look; None where it says nothing."""
    indoor_c, outdoor_c, rh_pct = (float(column[k]) for column in (series.indoor_c, series.outdoor_c, series.rh_pct))
    room_c = indoor_c - room.colder_k
    if not (room_c - outdoor_c >= glass.LEAST_DIFFERENCE_K and rh_pct > 1.0):
        return None
    room_pa = vapour_pa(indoor_c, rh_pct)
    if night:
        room_pa *= 1.0 + room.excess_g_kg / float(series.w_g_kg[k])
    fx = glass.fogging_f(room_c, outdoor_c, room_pa)
    slope = room_pa * sat_surface_slope_per_k(wetting_point_c(room_pa)) * (room_c - outdoor_c)
    rh_f = 0.01 * glass.LOOK_RH_PCT * sat_water_pa(indoor_c) / slope
    return series.look[k] == TAP_FOG, fx, (glass.LOOK_F**2 + rh_f**2) ** 0.5


def _factor(looks: list) -> Factor:
    """The mean of f by all looks, every f being as likely beforehand."""
    if not looks:
        return NOTHING
    chance = np.zeros(len(FACTORS))
    for fog, fx, sharp in looks:
        fogs = np.array([glass.fog_chance(f, fx, sharp) for f in FACTORS])
        chance += np.log(fogs if fog else 1.0 - fogs)
    weight = np.exp(chance - chance.max())
    weight /= weight.sum()
    f = float(weight @ FACTORS)
    spread = float(np.sqrt(weight @ (FACTORS - f) ** 2))
    near = sum(abs(fx - f) <= NEAR_F for _, fx, _ in looks)
    if near < LEAST_LOOKS or spread > WIDEST_F:
        return Factor(len(looks), near, float("nan"), float("nan"))
    return Factor(len(looks), near, f, float(np.hypot(spread, SENSOR_F)))
