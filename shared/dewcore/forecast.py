"""The forecast judged like any reading: whether it may be believed, and the coldest that it lets one expect."""

from array import array
from math import floor

from dewcore.readings import FORECAST_NONE, Readings

# Forecast.status
FORECAST_NONE_YET = 0
FORECAST_FRESH = 1  # the only one under which lowest_c tells anything
FORECAST_OLD = 2
FORECAST_NOT_DUE = 3  # issued, or beginning, later than now
FORECAST_ELSEWHERE = 4  # it has been too far from the outdoor reading, or has not yet shown that it is near
FORECAST_NO_CLOCK = 5
FORECAST_GAP = 6  # no value for now, so that nothing can be compared
FORECAST_UNCHECKED = 7  # no outdoor reading to compare it with

HOUR_S = 3600
HOURS_AHEAD = 48
NO_FORECAST = 1000.0  # lowest_c where nothing is known [°C]
# Three issues of six hours: two may be lost in a row; after the third the source has stopped, and what is left
# of a usual issue reaches no two days ahead.
MAX_AGE_S = 64800
CLOCK_SLACK_S = 600  # a source's clock and the board's are never the same
LOWEST_DC = -700  # the dry-bulb range that an outdoor reading is judged by, too; outside it the hour is missing
HIGHEST_DC = 600

# The forecast's own spread (standard deviation) by hours since the issue: 0.4 K at once, 1 K after 3 h, 2.5 K
# after 48 h and no wider.  An assumption about usual public forecasts.
# What the reading says of now is carried ahead and fades with the weather that made it.
FADE_PER_H = 0.8464817  # exp(-1/6)
# A reading so much colder is an ordinary error and fades.  What exceeds it stays at all hours: where the forecast is
# for a milder place, it is too warm tomorrow as well, and for the first hours nobody can tell the two apart.
COLD_FADES_K = 2.0
# A warmer reading raises the next hours by no more: further off is rarely the forecast's error but a thermometer
# in the sun or on a warm wall, and there the unsafe side is the warm one.
WARM_MOST_K = 3.0

# Another place: the running mean of |reading - forecast| over half a day.  In invented winters forecasts with the
# spread above, some of them shifted by hours, keep it at 0.9 K in the median and below 3.6 K for 99 % of the time.
# A place 8 K milder is found in 8 h.
MEAN_S = 43200
ELSEWHERE_K = 4.0
NEAR_K = 2.5  # believed again, and at first: below it
LONGEST_S = 3600  # one comparison after a pause weighs no more than an hour


def spread_k(lead_h: float) -> float:
    """Standard deviation [K] of a forecast lead_h hours (>= 0) after its issue."""
    if lead_h <= 3.0:
        return 0.4 + 0.2 * lead_h
    if lead_h < 48.0:
        return 1.0 + (lead_h - 3.0) / 30.0
    return 2.5


def hour_dc(values: "array", i: int) -> int:
    """Hour i of a forecast [0.1 °C]; FORECAST_NONE where it is missing or impossible.

    One or two missing hours between two that are there are bridged by the lower of these.
    """
    if _is_there(values, i):
        return values[i]
    left = i - 1 if _is_there(values, i - 1) else i - 2
    right = i + 1 if _is_there(values, i + 1) else i + 2
    if right - left <= 3 and _is_there(values, left) and _is_there(values, right):
        return min(values[left], values[right])
    return FORECAST_NONE


def _is_there(values: "array", i: int) -> bool:
    return 0 <= i < len(values) and LOWEST_DC <= values[i] <= HIGHEST_DC


class Forecast:
    """What is believed of the forecast.

    status: FORECAST_*; off_k: running mean of its distance from the outdoor reading [K]; elsewhere: whether that
    mean tells of another place (at first it does: a forecast has to show that it is near); age_h: since its issue;
    low_cc: the coldest expected in k hours [0.01 °C].
    """

    __slots__ = ("status", "off_k", "elsewhere", "compared_s", "age_h", "low_cc")

    def __init__(self) -> None:
        self.status: int = FORECAST_NONE_YET
        self.off_k: float = ELSEWHERE_K
        self.elsewhere: bool = True
        self.compared_s: int = -1  # never
        self.age_h: float = 0.0
        self.low_cc = array("h", [FORECAST_NONE] * (HOURS_AHEAD + 1))

    def judge(self, readings: "Readings", outdoor_c: float, outdoor_read: bool, now_s: int) -> int:
        """Judge the forecast in `readings` and, where it is fresh, look ahead from now; the status.

        outdoor_c: the believed outdoor temperature [°C]; outdoor_read: whether it is a trusted reading; now_s:
        monotonic [s].  Every ten minutes is often enough.
        """
        self.status = self._judged(readings, outdoor_c, outdoor_read, now_s)
        return self.status

    def lowest_c(self, k: int) -> float:
        """The coldest expected in k hours (0..48) from the last `judge` [°C]; NO_FORECAST where unknown."""
        if self.status != FORECAST_FRESH or not 0 <= k <= HOURS_AHEAD or self.low_cc[k] == FORECAST_NONE:
            return NO_FORECAST
        return 0.01 * self.low_cc[k]

    def _judged(self, readings: "Readings", outdoor_c: float, outdoor_read: bool, now_s: int) -> int:
        utc_s = readings.utc_s
        if not utc_s > 0:
            return FORECAST_NO_CLOCK
        if not readings.forecast_issued_s > 0:
            return FORECAST_NONE_YET
        age_s = utc_s - readings.forecast_issued_s  # from here on small numbers: a board's end at 2^30
        since_start_s = utc_s - readings.forecast_start_s
        if not (-CLOCK_SLACK_S <= age_s and -CLOCK_SLACK_S <= since_start_s):
            return FORECAST_NOT_DUE
        if not age_s <= MAX_AGE_S:
            return FORECAST_OLD
        since_start_s = max(0, since_start_s)
        i = since_start_s // HOUR_S
        part = (since_start_s % HOUR_S) / HOUR_S
        values = readings.forecast_dc
        before = hour_dc(values, i)
        after = hour_dc(values, i + 1)
        if before == FORECAST_NONE or after == FORECAST_NONE:
            return FORECAST_GAP
        if not (outdoor_read and LOWEST_DC <= 10.0 * outdoor_c <= HIGHEST_DC):
            return FORECAST_UNCHECKED
        off_k = outdoor_c - 0.1 * (before + (after - before) * part)
        self._compare(abs(off_k), now_s)
        if self.elsewhere:
            return FORECAST_ELSEWHERE
        self.age_h = max(0, age_s) / HOUR_S
        self._look_ahead(values, i, part, off_k)
        return FORECAST_FRESH

    def _compare(self, distance_k: float, now_s: int) -> None:
        """One more distance [K] into the running mean, by the time since the last."""
        since_s = now_s - self.compared_s if self.compared_s >= 0 else 0
        self.compared_s = now_s
        self.off_k += (distance_k - self.off_k) * max(0, min(since_s, LONGEST_S)) / MEAN_S
        if self.elsewhere:
            self.elsewhere = not self.off_k < NEAR_K
        else:
            self.elsewhere = not self.off_k <= ELSEWHERE_K

    def _look_ahead(self, values: "array", i: int, part: float, off_k: float) -> None:
        """Fill low_cc: i, part: the forecast's hour and part of an hour that is now; off_k: reading less forecast.

        Taken is the coldest from an hour before to an hour after each hour ahead, of the hours' values joined by
        straight lines: what falls is often early or late.  The past hour is not needed.
        """
        stays_k = min(0.0, off_k + COLD_FADES_K)
        fades_k = min(off_k - stays_k, WARM_MOST_K)
        low = self.low_cc
        first: float = float(hour_dc(values, i))
        second: float = float(hour_dc(values, i + 1))  # the window's two hours, its begin and end
        begin: float = first
        middle = first + (second - first) * part
        known_from = 0
        i += 2
        size = len(values)
        for k in range(HOURS_AHEAD + 1):
            third: float = float(values[i] if i < size else FORECAST_NONE)  # most are simply there; spared calls
            if not LOWEST_DC <= third <= HIGHEST_DC:
                third = float(hour_dc(values, i))
                if third == FORECAST_NONE:
                    known_from = k + 4  # all that a window touches have to be there
            i += 1
            end = second + (third - second) * part
            if k < known_from:
                low[k] = FORECAST_NONE
            else:
                coldest = begin
                if first < coldest:
                    coldest = first
                if second < coldest:
                    coldest = second
                if end < coldest:
                    coldest = end
                low[k] = floor(10.0 * coldest + 100.0 * (stays_k + fades_k))
            fades_k *= FADE_PER_H
            first, second = second, third
            begin, middle = middle, end
