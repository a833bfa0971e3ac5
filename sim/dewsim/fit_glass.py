"""The glass factor of a house from the looks at its windows in a log: which factor makes them likeliest.

Each look bounds f from one side, by the same chance of fog as the board's (shared/dewcore/glass.py), by day and with
curtains drawn each by itself.  It counts as looked for where neither answer was sure beforehand: where the factor that
would just have fogged then lies near the f that is found.  Looks at any other moment say next to nothing.

A sensor that is wrong by a constant shifts what every look says: RH 1 % high and outdoors 0.5 K low make f 0.03 too
high.  So f and the three constant errors are tried together, all errors within their tolerances being as likely, and f
counts as determined where it is close enough at nearly all of what the looks leave likely.
"""

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from dewcore import glass
from dewcore.psychro import vapour_pa
from dewcore.readings import SAW_CLEAR, SAW_FOG
from dewsim.fit_series import DAY_MIN, Series
from dewsim.plant import clock_minute, in_window

FACTORS = np.arange(0.05, 0.9801, 0.005)
NEAR_F = 0.12  # looked for: so near to f that both answers could be
LEAST_LOOKS = 20
CLOSE_F = 0.03
LEAST_SURE = 0.95  # of f to lie within CLOSE_F of what is told, else it is not determined
USABLE_F = 0.03  # spread up to which the likeliest is a better guess than what was kept
ERRORS = (9, 3, 7)  # tried of RH, indoors, outdoors: the middles of so many equal parts of a tolerance


class Factor(NamedTuple):
    """looks: all that count, near: those looked for; f and spread: NaN where too little is known of it; determined."""

    looks: int
    near: int
    f: float
    spread: float
    determined: bool


class Look(NamedTuple):
    """fog; fx: the factor that would just have fogged; sharp: how sharply; shift: of fx by the errors tried."""

    fog: bool
    fx: float
    sharp: float
    shift: np.ndarray


NOTHING = Factor(0, 0, float("nan"), float("nan"), False)


def fit(series: Series, house) -> tuple:
    """(by day, with curtains drawn); curtains, coldest room and the sensors' tolerances are those of the house file."""
    found: list = [[], []]
    drawn = (clock_minute(house.glass.curtains_from), clock_minute(house.glass.curtains_to))
    errors = _errors(house.sensors)
    for k in np.flatnonzero(np.isin(series.look, (SAW_FOG, SAW_CLEAR)) & series.known):
        minute = int(series.minute[k]) % DAY_MIN
        if any((minute - edge + glass.NEAR_CURTAINS_MIN) % DAY_MIN <= 2 * glass.NEAR_CURTAINS_MIN for edge in drawn):
            continue
        night = in_window(minute, *drawn)
        look = _look(series, int(k), house.room, night, errors)
        if look is not None:
            found[night].append(look)
    return tuple(_factor(looks) for looks in found)


def _errors(sensors) -> np.ndarray:
    """A row for each combination of constant errors of RH [%], indoors and outdoors [K]: readings less the truth."""
    tolerances = (sensors.rh_tolerance_pct, sensors.indoor_tolerance_k, sensors.outdoor_tolerance_k)
    middles = [tolerance * ((2 * np.arange(n) + 1.0) / n - 1.0) for tolerance, n in zip(tolerances, ERRORS)]
    return np.stack(np.meshgrid(*middles), -1).reshape(-1, len(middles))


def _look(series: Series, k: int, room, night: bool, errors: np.ndarray) -> Look | None:
    """What one look says; None where that is nothing."""
    read = [float(column[k]) for column in (series.rh_pct, series.indoor_c, series.outdoor_c)]
    rh_pct, indoor_c, outdoor_c = read
    if not (indoor_c - room.colder_k - outdoor_c >= glass.LEAST_DIFFERENCE_K and rh_pct > 1.0):
        return None
    moister = 1.0 + room.excess_g_kg / float(series.w_g_kg[k]) if night else 1.0

    def fogging_f(rh_pct: float, indoor_c: float, outdoor_c: float) -> float:
        return glass.fogging_f(indoor_c - room.colder_k, outdoor_c, moister * vapour_pa(indoor_c, rh_pct))

    fx = fogging_f(*read)
    slopes = []
    for n in range(len(read)):
        above, below = read.copy(), read.copy()
        above[n] += 0.5
        below[n] -= 0.5
        slopes.append(fogging_f(*above) - fogging_f(*below))
    sharp = float(np.hypot(glass.LOOK_F, glass.LOOK_RH_PCT * slopes[0]))
    return Look(series.look[k] == SAW_FOG, fx, sharp, errors @ slopes)


def _factor(looks: list) -> Factor:
    """The mean of f by all looks, every f and every error being as likely beforehand."""
    if not looks:
        return NOTHING
    chance = np.zeros((len(looks[0].shift), len(FACTORS)))
    for look in looks:
        fogs = ndtr((look.fx - look.shift[:, None] - FACTORS) / look.sharp)
        fogs = glass.WRONG + (1.0 - 2.0 * glass.WRONG) * fogs
        chance += np.log(fogs if look.fog else 1.0 - fogs)
    weight = np.exp(chance - chance.max()).sum(0)
    weight /= weight.sum()
    f = float(weight @ FACTORS)
    spread = float(np.sqrt(weight @ (FACTORS - f) ** 2))
    near = sum(abs(look.fx - f) <= NEAR_F for look in looks)
    if near < LEAST_LOOKS or spread > USABLE_F:
        return NOTHING._replace(looks=len(looks), near=near)
    sure = float(weight[np.abs(FACTORS - f) <= CLOSE_F].sum())
    return Factor(len(looks), near, f, spread, sure >= LEAST_SURE)
