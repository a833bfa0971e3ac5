"""Thermostat, furnace and heat loss of a house from its log: indoor and outdoor temperature, and the fan.

    tau dT/dt = F u - (T_in - T_out) + free        u: share of the time with heat, taken to be that of the fan

F and free are in kelvin above outdoors: the furnace over the heat loss.  A log tells these, not kilowatts.  The set
point is what fits best to when the fan starts and stops: it starts below, and stops above it by the thermostat's play.
"""

from typing import NamedTuple

import numpy as np
from scipy.ndimage import uniform_filter1d

from dewsim.fit_series import DAY_MIN, SMOOTH_MIN, Series
from dewsim.plant import AIRED_ABOVE_K, THERMOSTAT_K

HOUR_MIN = 60
LEAST_FAN_H = 10.0
ALWAYS = 0.98  # share of the time from which a fan counts as running without heat too
LEAST_HOURS = 48
PLAY_K = 0.15  # beyond the thermostat's own, before it counts as a misfit
SETS_C = np.arange(10.0, 28.05, 0.1)
SLOT_MIN = 30
FROM_SLOTS = range(40, 48)  # set back from 20:00 to 23:30
TO_SLOTS = range(8, 19)  # until 04:00 to 09:00
DEPTHS = np.arange(0, 51, 5)  # in steps of SETS_C, so up to 5 K
LEAST_BETTER = 0.05  # a set-back has to explain so large a share of the misfits without it


class Heat(NamedTuple):
    """What was found; spread: one standard deviation of the first three."""

    thermal_time_h: float
    furnace_k: float
    free_k: float
    set_c: float
    setback_k: float
    setback_from: str
    setback_to: str
    spread: tuple


def fan_always(series: Series) -> bool:
    """Whether the fan tells nothing about heat."""
    known = series.fan[np.isfinite(series.fan)]
    return len(known) > 0 and float(known.mean()) >= ALWAYS


def fit(series: Series) -> Heat | None:
    """None where the log cannot tell."""
    if fan_always(series) or not float(np.nansum(series.fan)) / 60.0 >= LEAST_FAN_H:
        return None
    set_c, depth_k, since, until = _thermostat(series)
    hours = _hours(series, set_c)
    if hours is None:
        return None
    rows, rise_k = hours
    if np.linalg.matrix_rank(rows) < rows.shape[1]:
        return None
    found = np.linalg.lstsq(rows, rise_k, rcond=None)[0]
    left = rise_k - rows @ found
    covariance = np.linalg.inv(rows.T @ rows) * float(left @ left) / (len(left) - 3)
    fan, loss, free = found
    if not (loss > 0.0 and fan > 0.0):
        return None
    # derivatives of (1/loss, fan/loss, free/loss) after (fan, loss, free)
    slopes = np.array([
        [0.0, -1.0 / loss**2, 0.0], [1.0 / loss, -fan / loss**2, 0.0], [0.0, -free / loss**2, 1.0 / loss]
    ])  # fmt: skip
    spread = np.sqrt(np.diag(slopes @ covariance @ slopes.T)).tolist()
    return Heat(1.0 / loss, fan / loss, free / loss, set_c, depth_k, since, until, tuple(spread))


def _hours(series: Series, set_c: float) -> tuple | None:
    """(share of fan, minus the difference, 1) and the rise of each whole hour; hours with windows open left out."""
    n = series.n // HOUR_MIN * HOUR_MIN
    moments = uniform_filter1d(series.indoor_bridged_c, SMOOTH_MIN)[:n:HOUR_MIN]

    def mean(column):
        return column[:n].reshape(-1, HOUR_MIN).mean(1)[:-1]

    fan, inside, outside = mean(series.fan), mean(series.indoor_c), mean(series.outdoor_c)
    whole = np.isfinite(fan + inside + outside) & np.isfinite(mean(series.indoor_c)) & (inside < set_c + AIRED_ABOVE_K)
    whole[:-1] &= whole[1:].copy()  # the rise reaches into the next hour
    if whole.sum() < LEAST_HOURS:
        return None
    rows = np.stack([fan, outside - inside, np.ones(len(fan))], 1)[whole]
    return rows, np.diff(moments)[whole]


def _thermostat(series: Series) -> tuple:
    """(set point, depth of the set-back, from, to) with the fewest minutes in which the fan should do otherwise."""
    misfits = _misfits(series)
    total = misfits.sum(0)
    plain = int(np.argmin(total))
    best = (float(total[plain]), plain, 0, 0, 0)
    summed = np.vstack([np.zeros(len(SETS_C)), np.cumsum(misfits, 0)])
    for since in FROM_SLOTS:
        for until in TO_SLOTS:
            night = summed[-1] - summed[since] + summed[until]
            for depth in DEPTHS[1:]:
                both = total[depth:] - night[depth:] + night[:-depth]
                least = int(np.argmin(both))
                if both[least] < best[0]:
                    best = (float(both[least]), least + int(depth), int(depth), since, until)
    if not best[0] < (1.0 - LEAST_BETTER) * total[plain]:
        best = (float(total[plain]), plain, 0, 0, 0)
    _, at, depth, since, until = best
    return float(SETS_C[at]), 0.1 * depth, _clock(since), _clock(until)


def _misfits(series: Series) -> np.ndarray:
    """Minutes that do not fit, by slot of the day and set point."""
    inside, fan = series.indoor_c, series.fan
    known = np.isfinite(inside + fan)
    slot = (series.minute % DAY_MIN // SLOT_MIN)[known]
    inside, fan = inside[known], fan[known]
    play = THERMOSTAT_K + PLAY_K
    found = np.zeros((DAY_MIN // SLOT_MIN, len(SETS_C)))
    for n in range(len(found)):
        mine = slot == n
        off = np.sort(inside[mine & (fan < 0.5)])  # too cold to be off where the set point is above this + play
        on = np.sort(inside[mine & (fan >= 0.5)])
        found[n] += np.searchsorted(off, SETS_C - play)
        found[n] += len(on) - np.searchsorted(on, SETS_C + play)
    return found


def _clock(slot: int) -> str:
    return f"{slot // 2:02}:{slot % 2 * SLOT_MIN:02}"
