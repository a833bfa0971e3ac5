"""Forecasts as a source would have sent them through a replayed winter: wrong, shifted, late, lost, with holes.

The error of a value k hours after its issue is bias * min(1, k / 3) + z(k) * sd(k): bias, normal with 0.5 K, is one
for the winter; z is a first-order autoregression with 0.93 an hour, begun afresh at each issue; sd is 0.4 K at once,
1 K after 3 h and 2.5 K from 48 h on, linear between.  These figures and the shifted issues are assumptions about a
usual public forecast; lost issues, outages and holes are assumptions about how it arrives.  A figure of the source
itself would replace them.

Hours that lie outside the weather are missing, whatever is asked for: nobody knows what came then, and a value held
from the last hour would be a forecast of calm.  So the last three days of a winter run without the far hours.
"""

from array import array
from math import ceil, sqrt
from random import Random

from dewcore.readings import FORECAST_HOURS, FORECAST_NONE, Readings

HOUR_S = 3600
ISSUE_S = 21600  # issued at 0, 6, 12 and 18 h UTC, the hours of the large weather models
HOURS = 72  # of an issue: two days ahead still after two lost ones
BIAS_K = 0.5
PER_HOUR = 0.93
SD_K = ((0.0, 0.4), (3.0, 1.0), (48.0, 2.5))  # hours, K
DELAY_S = (300, 2400)  # from issue to arrival, uniform
SHIFTED_SHARE = 0.08  # of issues: the whole curve so many hours early or late
SHIFT_H = (-6, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 6)
LOST_SHARE = 0.03  # of issues never arrive: the one before stays
OUTAGE_SHARE = 0.005  # of issues: from this one on nothing arrives, about four times in seven months
OUTAGE_S = (86400, 172800)
HOLES_SHARE = 0.05  # of issues: one to three single hours are missing, or as often everything from some hour on
TAIL_FROM_H = 12
NEVER = 1 << 62


def sd_k(lead_h: float) -> float:
    """Standard deviation [K] of the error lead_h hours (>= 0) after the issue, without the winter's bias."""
    for (h0, k0), (h1, k1) in zip(SD_K, SD_K[1:]):
        if lead_h < h1:
            return k0 + (k1 - k0) * (lead_h - h0) / (h1 - h0)
    return SD_K[-1][1]


class Fate:
    """What happens to one issue: delay_s; lost; outage_s [s, 0 none]; shift_h; missing, a set of hours."""

    __slots__ = ("delay_s", "lost", "missing", "outage_s", "shift_h")


class Forecasts:
    """Every issue of a winter, put into Readings when it arrives.

    outdoor_c: the true outdoor temperature [°C] at start_utc_s + i * dt_s; seed: any; bias_k: this winter's bias.
    hours: of an issue, 1..72.  Each share (0..1) may be set to 0.  perfect: the true hours, all of them, at once.
    Each issue draws from numbers of its own, in a fixed order: turning one trouble off leaves all others as they
    were.  Issues are made when they arrive, and never kept.
    """

    def __init__(
        self,
        outdoor_c: array,
        dt_s: int,
        start_utc_s: int,
        seed: int,
        perfect: bool = False,
        hours: int = HOURS,
        shifted_share: float = SHIFTED_SHARE,
        lost_share: float = LOST_SHARE,
        outage_share: float = OUTAGE_SHARE,
        holes_share: float = HOLES_SHARE,
    ) -> None:
        if not 1 <= hours <= FORECAST_HOURS:
            raise ValueError(f"hours: found {hours}, allowed is 1 to {FORECAST_HOURS}")
        self.outdoor_c = outdoor_c
        self.dt_s = dt_s
        self.start_utc_s = start_utc_s
        self.seed = seed
        self.perfect = perfect
        self.hours = hours
        self.shifted_share = shifted_share
        self.lost_share = lost_share
        self.outage_share = outage_share
        self.holes_share = holes_share
        self.bias_k = 0.0 if perfect else Random(f"forecast bias {seed}").gauss(0.0, BIAS_K)
        self._sd_k = [sd_k(k) for k in range(hours)]
        self.rewind()

    def rewind(self) -> None:
        """Back to the winter's start, for another house in the same weather."""
        self._number = self.start_utc_s // ISSUE_S - 1
        self._out_until_s = 0
        self._next()

    def at_step(self, k: int, readings: Readings) -> None:
        """Step k of the weather (rising from call to call): what has arrived by then stands in readings."""
        if k < self._next_step:
            return
        number = self._number
        while self._next_step <= k:
            number = self._number
            self._next()
        readings.forecast_issued_s = readings.forecast_start_s = number * ISSUE_S
        readings.forecast_dc[:] = self.issue_dc(number)

    def _next(self) -> None:
        """Find the next issue that arrives, and the step at which it is there."""
        end_s = self.start_utc_s + len(self.outdoor_c) * self.dt_s
        while True:
            self._number += 1
            issued_s = self._number * ISSUE_S
            if issued_s >= end_s:
                self._next_step = NEVER
                return
            fate = self.fate(self._number)
            if fate.outage_s:
                self._out_until_s = max(self._out_until_s, issued_s + fate.outage_s)
            if not fate.lost and issued_s >= self._out_until_s:
                arrives_s = issued_s + fate.delay_s - self.start_utc_s
                self._next_step = max(0, ceil(arrives_s / self.dt_s))
                return

    def _chance(self, what: str, number: int) -> Random:
        return Random(f"forecast {what} {self.seed} {number}")

    def fate(self, number: int) -> Fate:
        """What happens to the issue of epoch second number * 21600."""
        fate = Fate()
        if self.perfect:
            fate.delay_s = fate.outage_s = fate.shift_h = 0
            fate.lost = False
            fate.missing = frozenset()
            return fate
        chance = self._chance("fate", number)
        shares = [chance.random() for _ in range(5)]
        fate.delay_s = chance.randint(*DELAY_S)
        shift_h = chance.choice(SHIFT_H)
        outage_s = chance.randint(*OUTAGE_S)
        fate.shift_h = shift_h if shares[0] < self.shifted_share else 0
        fate.lost = shares[1] < self.lost_share
        fate.outage_s = outage_s if shares[2] < self.outage_share else 0
        missing = _tail(chance, self.hours) if shares[4] < 0.5 else _singles(chance, self.hours)
        fate.missing = missing if shares[3] < self.holes_share else frozenset()
        return fate

    def issue_dc(self, number: int) -> array:
        """The hours of an issue [0.1 °C], FORECAST_NONE where missing, always 72."""
        out = array("h", [FORECAST_NONE]) * FORECAST_HOURS
        fate = self.fate(number)
        first_s = number * ISSUE_S + fate.shift_h * HOUR_S
        errors_k = [0.0] * self.hours if self.perfect else self._errors_k(number)
        for k in range(self.hours):
            true_c = self._true_c(first_s + k * HOUR_S)
            if true_c is not None and k not in fate.missing:
                out[k] = round(10.0 * (true_c + errors_k[k]))
        return out

    def _errors_k(self, number: int) -> list:
        """Error [K] an hour of an issue's."""
        gauss = self._chance("error", number).gauss
        fresh = sqrt(1.0 - PER_HOUR * PER_HOUR)
        z = gauss(0.0, 1.0)
        errors = []
        for k, sd in enumerate(self._sd_k):
            errors.append(self.bias_k * min(1.0, k / 3.0) + z * sd)
            z = PER_HOUR * z + fresh * gauss(0.0, 1.0)
        return errors

    def _true_c(self, utc_s: int) -> float | None:
        """The weather at an epoch second [°C], straight between steps; None outside it."""
        k, rest_s = divmod(utc_s - self.start_utc_s, self.dt_s)
        if not 0 <= k < len(self.outdoor_c):
            return None
        if rest_s == 0:
            return self.outdoor_c[k]
        if k + 1 == len(self.outdoor_c):
            return None
        return self.outdoor_c[k] + (self.outdoor_c[k + 1] - self.outdoor_c[k]) * rest_s / self.dt_s


def _singles(chance: Random, hours: int) -> frozenset:
    """One to three single hours, the same one perhaps twice."""
    return frozenset(chance.randrange(hours) for _ in range(chance.randint(1, 3)))


def _tail(chance: Random, hours: int) -> frozenset:
    """Everything from some hour on."""
    return frozenset(range(chance.randrange(min(TAIL_FROM_H, hours - 1), hours), hours))
