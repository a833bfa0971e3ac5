"""What a house's sensors make of the truth, seeded; runs on CPython and MicroPython."""

from array import array
from math import exp, isnan

from dewsim.plant import DAY_S, Chance, column

RH_STREAM, INDOOR_STREAM, OUTDOOR_STREAM = 2, 3, 4  # of chance; the bursts' is the plant's


class Sensors:
    """What the house's sensors read, a step at a time.

    indoor_c, outdoor_c: arrays as read [°C], NaN where a reading is missing (the course's own arrays where
    the thermometer is exact).  rh(k, true_rh_pct): the RH reading [%], called once a step, in order.  exact:
    True where RH is read without any error, so that a caller may skip the call.
    Order of errors: lag, offset and drift, noise, resolution, 0..100 %, dropout.  They are what is left after the
    correction that the house file's settings make: what is read is what that correction turns into them.
    """

    __slots__ = (
        "_error", "_gain", "_lagged", "_step", "correct_gain", "correct_pct", "exact", "indoor_c", "outdoor_c"
    )  # fmt: skip

    def __init__(self, house, course, seed):
        s = house.sensors
        n = course.n_steps
        self.exact = not (
            s.rh_error_pct or s.lag_min or s.noise or s.resolution or s.drift_pct_per_day or s.dropout
        )
        self.correct_pct = house.settings.get("rh_offset_pct", 0.0)
        self.correct_gain = house.settings.get("rh_gain", 1.0)
        kelvin = 0.1  # noise and resolution are given in % RH; thermometers have a tenth as many kelvin
        indoor_k = house.settings.get("indoor_offset_k", 0.0)
        outdoor_k = house.settings.get("outdoor_offset_k", 0.0)
        self.indoor_c = _read_c(course.indoor_c, n, s, s.indoor_error_k, kelvin, seed, INDOOR_STREAM, indoor_k)
        self.outdoor_c = _read_c(course.outdoor_c, n, s, s.outdoor_error_k, kelvin, seed, OUTDOOR_STREAM, outdoor_k)
        self._lagged = None
        self._gain = 1.0 - exp(-course.dt_s / 60.0 / s.lag_min) if s.lag_min > 0.0 else 1.0
        self._step = s.resolution
        self._error = None
        if self.correct_pct or self.correct_gain != 1.0:
            self.exact = False
        if not self.exact:
            per_step = s.drift_pct_per_day * course.dt_s / DAY_S
            self._error = _errors(n, s.rh_error_pct, per_step, s.noise, s.dropout, Chance(seed, RH_STREAM))

    def rh(self, k, true_rh_pct):
        """RH as read [%] at step k, NaN where missing."""
        if self.exact:
            return true_rh_pct
        lagged = self._lagged
        lagged = true_rh_pct if lagged is None else lagged + self._gain * (true_rh_pct - lagged)
        self._lagged = lagged
        read = _to_step(lagged + self._error[k], self._step)
        if not (0.0 <= read <= 100.0 or isnan(read)):
            read = 0.0 if read < 0.0 else 100.0
        return (read - self.correct_pct) / self.correct_gain


def _to_step(value, step):
    """value rounded to a multiple of step, halves up; step 0 leaves it, NaN stays NaN."""
    if step > 0.0:
        return (value / step + 0.5) // 1.0 * step
    return value


def _errors(n, offset, per_step, noise, dropout, chance):
    """Additive error a step: offset, drift and noise; NaN where the reading is missing."""
    out = column(n)
    nan = float("nan")
    for k in range(n):
        error = offset + per_step * k
        if noise:
            error += noise * chance.normal()
        if dropout and chance.share() < dropout:
            error = nan
        out[k] = error
    return out


def _read_c(true_c, n, s, error_k, kelvin, seed, stream, correct_k):
    """What a thermometer reads that is so far off; correct_k: what the settings add to it again."""
    read_c = _thermometer(true_c, n, s, error_k, kelvin, seed, stream)
    return array("d", (c - correct_k for c in read_c)) if correct_k else read_c


def _thermometer(true_c, n, s, offset_k, kelvin, seed, stream):
    if not (offset_k or s.noise or s.resolution or s.dropout):
        return true_c
    errors = _errors(n, offset_k, 0.0, s.noise * kelvin, s.dropout, Chance(seed, stream))
    step = s.resolution * kelvin
    return array("d", (_to_step(true_c[k] + errors[k], step) for k in range(n)))
