"""What is believed of the outdoor air: the rise limit, the last 168 hours, and what holds when no reading comes."""

from array import array

from dewcore.psychro import vapour_pa

HOUR_S = 3600
HOURS = 168  # EN ISO 13788's surfaces are judged on slow means; a week is what a wall's inner layers follow
RISE_K_PER_H = 3.0  # a belief rises no faster than this unless the warmth has lasted an hour
CONFIRM_S = 3600
# A reading that far above what was usual within the last hour is a moved sensor, another unit or the sun: it counts as
# no reading for two days; by then the heating has shown what it is (dewcore.doubts, 38 h in the slowest of 20 simulated
# houses).  The steepest warming of two measured winters and 87 invented ones was 6.5 K above that mean, from hourly
# values; within the hour air may do twice that.
JUMP_K = 14.0
JUMP_HELD_S = 172800
USUAL_EVERY_S = 60
MOST_DPA = 65535  # the array's largest, 6.55 kPa: only a thermometer in the sun exceeds it, out of season
SEASON_BAND_K = 1.0  # the season ends above its limit and begins again this far below
HOLD_S = 5400  # a reading older than this is no longer believed
WEEK_S = 604800  # HOURS in seconds: after so long without a reading no known hour lies in the last 168
DAY_LOWEST_S = 21600  # from HOLD_S to this age the lowest of the last day holds, then the design temperature


def dpa_of(mean_c: float, rh_pct: float) -> int:
    """Vapour pressure [0.1 Pa] of air at mean_c [°C] and rh_pct [% RH]."""
    dpa = int(vapour_pa(mean_c, rh_pct) * 10.0 + 0.5)
    return dpa if dpa < MOST_DPA else MOST_DPA


class OutdoorHistory:
    """Means of the hours known last, at most 168, in whole-number sums that never drift.

    hour_cc: hourly mean temperature [0.01 °C]; hour_dpa: vapour pressure [0.1 Pa] at the assumed outdoor RH.
    week_c, week_pa, day_c: their means [°C, Pa] over all hours and over the last 24, once there is an hour.
    fresh: hours since the last gap of a boot, at most 168; doubted: the hours before it may be long past, so the
    week counts as no warmer and no moister than what came since; joined: hours since the last gap of any kind.
    """

    __slots__ = (
        "hour_cc",
        "hour_dpa",
        "count",
        "next",
        "sum_cc",
        "sum_dpa",
        "part_c_s",
        "part_s",
        "week_c",
        "week_pa",
        "day_c",
        "fresh",
        "doubted",
        "joined",
    )

    def __init__(self) -> None:
        self.hour_cc = array("h", [0] * HOURS)
        self.hour_dpa = array("H", [0] * HOURS)
        self.count: int = 0
        self.next: int = 0
        self.sum_cc: int = 0
        self.sum_dpa: int = 0
        self.part_c_s: float = 0.0
        self.part_s: int = 0
        self.week_c: float = 0.0
        self.week_pa: float = 0.0
        self.day_c: float = 0.0
        self.fresh: int = 0
        self.doubted: bool = False
        self.joined: int = 0

    def note(self, outdoor_c: float, seconds: int, rh_pct: float) -> bool:
        """Add `seconds` at outdoor_c [°C]; True where that completed an hour."""
        self.part_c_s += outdoor_c * seconds
        self.part_s += seconds
        if self.part_s < HOUR_S:
            if self.doubted and self.fresh == 0:
                self._no_warmer(outdoor_c, vapour_pa(outdoor_c, rh_pct))
            return False
        mean_c = self.part_c_s / self.part_s
        self.part_c_s = 0.0
        self.part_s = 0
        i = self.next
        if self.count == HOURS:
            self.sum_cc -= self.hour_cc[i]
            self.sum_dpa -= self.hour_dpa[i]
        else:
            self.count += 1
        self.hour_cc[i] = int(mean_c * 100.0 + 0.5) if mean_c >= 0.0 else -int(0.5 - mean_c * 100.0)
        self.hour_dpa[i] = dpa_of(mean_c, rh_pct)
        self.sum_cc += self.hour_cc[i]
        self.sum_dpa += self.hour_dpa[i]
        self.next = i + 1 if i + 1 < HOURS else 0
        self.fresh = self.fresh + 1 if self.fresh < HOURS else HOURS
        self.joined = self.joined + 1 if self.joined < HOURS else HOURS
        self._renew_means()
        return True

    def _renew_means(self) -> None:
        """The means change only when an hour is complete, and are asked for at each scan."""
        self.week_c = 0.01 * self.sum_cc / self.count
        self.week_pa = 0.1 * self.sum_dpa / self.count
        n = self.count if self.count < 24 else 24
        total = 0
        for back in range(1, n + 1):
            total += self.hour_cc[self.next - back]  # a negative index wraps to the ring's end
        self.day_c = 0.01 * total / n
        if self.doubted and self.fresh > 0:
            cc = dpa = 0
            for back in range(1, self.fresh + 1):
                cc += self.hour_cc[self.next - back]
                dpa += self.hour_dpa[self.next - back]
            self._no_warmer(0.01 * cc / self.fresh, 0.1 * dpa / self.fresh)

    def _no_warmer(self, c: float, pa: float) -> None:
        self.week_c = min(self.week_c, c)
        self.week_pa = min(self.week_pa, pa)

    def resume(self, count: int, after: int, rh_pct: float) -> None:
        """After a boot: `count` kept hours stand in hour_cc, the next one comes at `after`; rh_pct: as of note."""
        self.forget()
        self.next = after
        for back in range(1, count + 1):
            self.hour_dpa[after - back] = dpa_of(0.01 * self.hour_cc[after - back], rh_pct)
        self.doubted = count > 0
        self._count_only(count)

    def settle(self, gap_s: int) -> None:
        """It is known by now how long before the boot the kept hours ended [s]: more than a week, and they are dropped.

        A gap shorter than an hour is none.
        """
        if self.doubted:
            self.doubted = False
            self._count_only(self.count if gap_s <= WEEK_S else self.fresh)
            if gap_s < HOUR_S:
                self.fresh = self.joined = self.count

    def _count_only(self, count: int) -> None:
        """Make the last `count` hours all that are known."""
        self.count = count
        self.sum_cc = 0
        self.sum_dpa = 0
        for back in range(1, count + 1):
            self.sum_cc += self.hour_cc[self.next - back]
            self.sum_dpa += self.hour_dpa[self.next - back]
        if count > 0:
            self._renew_means()

    def forget(self) -> None:
        """All hours are too old to count: as at the start."""
        self.count = 0
        self.sum_cc = 0
        self.sum_dpa = 0
        self.part_c_s = 0.0
        self.part_s = 0
        self.fresh = 0
        self.doubted = False
        self.joined = 0

    def interrupt(self) -> None:
        """No reading came for an hour or more: what fell meanwhile took longer than it looks."""
        self.joined = -1 if self.part_s > 0 else 0  # an hour that lies on both sides is no begin

    def back_cc(self, back: int) -> int:
        """Mean of a completed hour [0.01 °C]: back 1 the last one, up to `count`."""
        return self.hour_cc[self.next - back]

    def mean_c(self, now_c: float) -> float:
        """7-day mean [°C]; of fewer hours at the start, of none now_c."""
        return self.week_c if self.count else now_c

    def mean_vapour_pa(self, now_c: float, rh_pct: float) -> float:
        """7-day mean vapour pressure [Pa]; of fewer hours at the start, of none that of now_c."""
        return self.week_pa if self.count else vapour_pa(now_c, rh_pct)

    def season_over(self, was_over: bool, now_c: float, limit_c: float) -> bool:
        """Whether the day's mean is too mild for humidifying; limit_c [°C] less a band once it was over."""
        if was_over:
            limit_c -= SEASON_BAND_K
        return not (self.day_c if self.count else now_c) <= limit_c

    def day_lowest_c(self, now_c: float) -> float:
        """Lowest of the last 24 known hours and now_c [°C]."""
        n = self.count if self.count < 24 else 24
        lowest = now_c
        for back in range(1, n + 1):
            c = 0.01 * self.hour_cc[self.next - back]
            if c < lowest:
                lowest = c
        return lowest


class OutdoorBelief:
    """The outdoor temperature that the decision uses: down at once, up slowly or once it has lasted."""

    __slots__ = ("believed_c", "known", "rising_since_s", "rising_lowest_c", "at_s", "usual_c", "usual_s", "jumped_s")

    def __init__(self) -> None:
        self.believed_c: float = 0.0
        self.known: bool = False
        self.rising_since_s: int = -1  # -1: not rising
        self.rising_lowest_c: float = 0.0
        self.at_s: int = 0
        self.usual_c: float = 0.0  # what was read, as a mean of the last hour; stands still during a jump
        self.usual_s: int = 0
        self.jumped_s: int = -1  # when a reading jumped up, -1: none that still counts

    def _jumped(self, read_c: float, far: bool, at_s: int) -> bool:
        """Whether a jump upwards, now or within two days, forbids to follow this reading; far: from what was usual."""
        if self.jumped_s < 0:
            if far and self.known and 0 <= at_s - self.at_s <= HOLD_S:
                self.jumped_s = at_s
                return True
            since_s = at_s - self.usual_s
            share = since_s / HOUR_S if self.known and 0 <= since_s < HOUR_S else 1.0
            self.usual_c += (read_c - self.usual_c) * share
            self.usual_s = at_s
            return False
        if far and 0 <= at_s - self.jumped_s < JUMP_HELD_S:
            return True
        self.jumped_s = -1
        self.usual_c = read_c
        return False

    def take(self, read_c: float, at_s: int, trusted: bool = True) -> bool:
        """A reading [°C] at at_s [s], True where the belief is held below it; not trusted it may only end a jump."""
        if at_s < 0:  # after a boot amid a jump nothing was read yet
            return False
        far = read_c - self.usual_c > JUMP_K
        minute_over = not 0 <= at_s - self.usual_s < USUAL_EVERY_S
        if (far or minute_over or not self.known or self.jumped_s >= 0) and self._jumped(read_c, far, at_s):
            self.at_s = at_s
            self.rising_since_s = -1
            return True
        since_s = at_s - self.at_s
        if since_s > HOLD_S:
            self.rising_since_s = -1  # nobody knows whether the warmth lasted while no reading came
        if since_s > HOUR_S:
            since_s = HOUR_S
        self.at_s = at_s
        if not self.known or read_c <= self.believed_c:
            self.known = True
            self.believed_c = read_c
            self.rising_since_s = -1
            return False
        if not trusted:
            return True  # it warms nothing
        if self.rising_since_s < 0:
            self.rising_since_s = at_s
            self.rising_lowest_c = read_c
        elif read_c < self.rising_lowest_c:
            self.rising_lowest_c = read_c
        raised = self.believed_c + RISE_K_PER_H * since_s / HOUR_S
        if at_s - self.rising_since_s >= CONFIRM_S:
            if self.rising_lowest_c > raised:
                raised = self.rising_lowest_c
            self.rising_since_s = at_s
            self.rising_lowest_c = read_c
        if raised >= read_c:
            self.believed_c = read_c
            self.rising_since_s = -1
            return False
        self.believed_c = raised
        return True
