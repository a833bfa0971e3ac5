"""Demand and timers of the valve: safety shuts it at once, comfort waits; timers follow the contact read back."""

from array import array

from dewcore import words as w
from dewcore.readings import OFF, ON, Readings
from dewcore.settings import Settings

MOST_STARTS = 12  # the largest max_starts_per_h
WELD_TEST_S = 2  # before the contact closes, the load must have been dead this long under a live line
WELD_S = 5  # 24 V behind an open contact for this long: welded
FEEDBACK_S = 5  # no 24 V behind a closed contact for this long: relay or wiring
RETRY_S = 300
RETRIES = 3
NEVER = -1


class Valve:
    """Commanded and read-back state of the contact, its timers and the demand.

    open: the command (valve open, contact closed); contact: the contact read back, or the command where
    nothing reads it; changed_s: when that last changed [s].  A boot counts as a closing just now.
    followed_s: when the contact was first read closed under the present command; a flicker of the load sense
    after that neither prolongs the run nor counts as another start.
    """

    __slots__ = (
        "settings",
        "open",
        "contact",
        "changed_s",
        "commanded_s",
        "followed_s",
        "demand",
        "starts_s",
        "next_start",
        "rest_until_s",
        "retry_s",
        "failures",
        "live_since_s",
        "hold_s",
        "finishing",
    )

    def __init__(self, settings: "Settings | None" = None) -> None:
        if settings is None:
            settings = Settings()
        self.settings: "Settings" = settings
        self.open: bool = False
        self.contact: bool = False
        self.changed_s: int = NEVER
        self.commanded_s: int = NEVER
        self.followed_s: int = NEVER
        self.demand: bool = False
        self.starts_s = array("i", [NEVER] * MOST_STARTS)
        self.next_start: int = 0
        self.rest_until_s: int = NEVER
        self.retry_s: int = NEVER
        self.failures: int = 0
        self.live_since_s: int = NEVER
        self.hold_s: int = 0
        self.finishing: bool = False

    def want(self, rh_pct: float, target_pct: float) -> bool:
        """Too dry?  Opens below target - band, shuts at the target; NaN never asks."""
        if self.demand:
            self.demand = rh_pct < target_pct
        else:
            self.demand = rh_pct < target_pct - self.settings.band_pct
        return self.demand

    def read_back(self, readings: "Readings", now_s: int) -> int:
        """Follow the contact; refusals and latches that only the senses can tell."""
        s = self.settings
        sensed = False
        closed = self.open
        if self.changed_s == NEVER:
            self.changed_s = now_s
            self.commanded_s = now_s
        selector_away = s.has_off_switch and readings.off_switch.state != OFF
        if s.has_load_sense and not selector_away and readings.line_sense.state == ON:
            load = readings.load_sense.state
            if load == ON or load == OFF:
                sensed = True
                closed = load == ON
        if closed != self.contact:
            self.contact = closed
            self.changed_s = now_s
            if closed and not self.open:
                self._note_start(now_s)
        if closed and self.open and self.followed_s == NEVER:
            self.followed_s = now_s
            self.starts_s[self.next_start - 1] = now_s  # noted at the command; the hour counts from here
        if sensed:
            return self._judge_relay(readings, closed, now_s)
        self.live_since_s = NEVER
        return 0

    def _note_start(self, now_s: int) -> None:
        self.starts_s[self.next_start] = now_s
        self.next_start = self.next_start + 1 if self.next_start + 1 < MOST_STARTS else 0

    def _judge_relay(self, readings: "Readings", closed: bool, now_s: int) -> int:
        """Under a live line: welded, or closed without effect."""
        if self.live_since_s == NEVER:
            self.live_since_s = now_s
        # The line's own time, too: it may have died and come back between two scans.
        live_s = max(self.live_since_s, readings.line_sense.since_s)
        steady_s = now_s - max(self.commanded_s, live_s, readings.load_sense.since_s)
        if self.open:
            if closed:
                self.failures = 0
            elif steady_s >= FEEDBACK_S:
                self.failures += 1
                self.retry_s = now_s + RETRY_S
                return 1 << (w.RELAY_FAILED if self.failures >= RETRIES else w.RELAY_RETRY)
        elif closed:
            if steady_s >= WELD_S:
                return 1 << w.WELDED
            return 1 << w.WELD_TEST
        elif steady_s < WELD_TEST_S:
            return 1 << w.WELD_TEST
        return 0

    def decide(self, refusals: int, now_s: int) -> int:
        """The command from all refusals but the timers' own; returns them with the timers' added.

        Afterwards `open` is the command and is true exactly where the returned mask is 0; `hold_s` tells how
        long a timer keeps it so [s].
        """
        s = self.settings
        self.hold_s = 0
        self.finishing = False
        if self.open:
            lasted_s = now_s - (self.commanded_s if self.followed_s == NEVER else self.followed_s)
            if refusals == 1 << w.HUMID_ENOUGH and not lasted_s >= s.min_on_s:
                refusals = 0
                self.finishing = True
                self.hold_s = s.min_on_s - lasted_s
            if lasted_s >= s.max_run_s:
                self.rest_until_s = now_s + s.rest_s
                refusals |= 1 << w.LONGEST_RUN
        else:
            refusals |= self._timers(now_s)
        if (refusals == 0) != self.open:
            self.open = refusals == 0
            self.commanded_s = now_s
            self.followed_s = NEVER
            if self.open:
                self._note_start(now_s)
        return refusals

    def _timers(self, now_s: int) -> int:
        """What keeps a shut valve shut for now, and for how long."""
        s = self.settings
        # From the command, too: a contact that closed and opened between two scans was never read closed.
        lasted_s = now_s - max(self.changed_s, self.commanded_s)
        refusals = 0
        wait_s = self.rest_until_s - now_s
        if self.rest_until_s != NEVER and wait_s > 0:
            refusals |= 1 << w.LONGEST_RUN
            self.hold_s = wait_s
        if not lasted_s >= s.min_off_s or self.contact:
            refusals |= 1 << w.MIN_OFF
            self.hold_s = max(self.hold_s, s.min_off_s - lasted_s)
        if self.retry_s != NEVER and now_s < self.retry_s:
            refusals |= 1 << w.RELAY_RETRY
            self.hold_s = max(self.hold_s, self.retry_s - now_s)
        oldest_s = self.starts_s[self.next_start - s.max_starts_per_h]
        if oldest_s != NEVER and now_s - oldest_s < 3600:
            refusals |= 1 << w.STARTS_PER_HOUR
            self.hold_s = max(self.hold_s, oldest_s + 3600 - now_s)
        return refusals
