"""The beat: read, decide, drive, feed, once a second; then at most one slow thing.  No network, no waiting in it."""

from dewboard.events import Counters, Events
from dewboard.keep import QUICK_BOOTS, Keep
from dewboard.lamp import rhythm_of
from dewboard.minutes import Minutes
from dewcore.board import PRESS_ALARM, PRESS_BOTH, PRESS_LOOK_LONG, PRESS_LOOK_SHORT
from dewcore.controller import Controller
from dewcore.feed import WallTime
from dewcore.readings import (
    REQUEST_CLEAR,
    REQUEST_NONE,
    REQUEST_TIMED_RUN,
    REQUEST_WINDOW,
    SAW_CLEAR,
    SAW_FOG,
    SAW_NOTHING,
    Readings,
)
from dewcore.settings import SettingError, Settings
from dewcore.timed_run import LONGEST_S as TIMED_RUN_S
from dewcore.window_test import LONGEST_S as WINDOW_S

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.clock import Clock
    from dewboard.hardware import Hardware
    from dewboard.shapes import Callable

DECISION_S = 15  # an older decision opens nothing
FAILURES = 3  # beats that may fail within TROUBLE_S
TROUBLE_S = 600
LONGEST_S = {REQUEST_WINDOW: WINDOW_S, REQUEST_TIMED_RUN: TIMED_RUN_S}  # of a request that lasts


class App:
    """One board's program over its hardware (`dewcore.board.Board`), a clock (`dewboard.clock`) and its Keep.

    decided_s: when the last complete scan was, -1 never; safe: why the board took itself out of service, "" while it
    has not; for_good: whether no button ends that; pressed_s: when a button was last pressed, -1 never; forget: called
    when both were held; leave: called at an orderly end, None where there is nobody to take leave of.
    """

    __slots__ = (
        "hardware",
        "clock",
        "version",
        "settings",
        "now_s",
        "beat_s",
        "decided_s",
        "pressed_s",
        "hurried",
        "was_open",
        "safe",
        "for_good",
        "failed_s",
        "readings",
        "wall",
        "controller",
        "counters",
        "events",
        "keep",
        "history",
        "minutes",
        "forget",
        "leave",
    )

    def __init__(self, hardware: "Hardware", clock: "Clock", settings: "Settings", keep: "Keep", version: str) -> None:
        hardware.drive(False)
        self.hardware = hardware
        self.clock = clock
        self.version: str = version
        self.settings: "Settings" = settings
        self.now_s: int = clock.now_s()
        self.beat_s: int = self.now_s
        self.decided_s: int = -1
        self.pressed_s: int = -1
        self.hurried: bool = False
        self.was_open: bool = False
        self.safe: str = ""
        self.for_good: bool = False
        self.failed_s: "list[int]" = []  # when beats failed lately
        self.readings: "Readings" = Readings()
        self.wall: "WallTime" = WallTime()
        self.controller: "Controller" = Controller(settings)
        self.counters: "Counters" = Counters()
        self.events: "Events" = Events(self)
        self.keep: "Keep" = keep
        self.history = keep.history
        self.minutes: "Minutes" = Minutes(self.now_s)
        self.forget = self._forget
        self.leave: "Callable[[], bool] | None" = None
        keep.restore(self)
        for problem in keep.problems:
            self.events.add(problem)
        if keep.was_safe:
            self.stand_down("it was before this start, and nobody has cleared it")
        elif keep.quick >= QUICK_BOOTS:
            self.stand_down("it restarted " + str(keep.quick) + " times in a row")

    def utc_s(self) -> int:
        """Wall time [s], 0 unknown."""
        return self.wall.utc_s(self.now_s)

    def beat(self) -> None:
        """One beat.  Whatever goes wrong in it, the contact is open afterwards, and the watchdog goes hungry."""
        try:
            self.now_s = self.clock.now_s()
            late_s = self.now_s - self.beat_s - 1
            self.beat_s = self.now_s
            self._decide()
            fresh = 0 <= self.now_s - self.decided_s <= DECISION_S and self.decided_s >= 0
            is_open = fresh and self.controller.decision.valve and not self.safe
            self.hardware.drive(is_open)
            if fresh:
                self.hardware.feed()
            self._count(is_open, late_s)
            self.minutes.beat(self, is_open)
            self.keep.beat(self)
        except Exception as problem:  # noqa: BLE001 - whatever it is: open first
            self.hardware.drive(False)
            self._failed(problem)

    def _decide(self) -> None:
        """Readings, and a scan where one is due."""
        readings = self.readings
        now_s = self.now_s
        self.hardware.read(readings, now_s)
        readings.utc_s = self.utc_s()
        readings.utc_offset_s = self.wall.utc_offset_s
        if readings.request in LONGEST_S and not now_s < readings.request_until_s:
            readings.request = REQUEST_NONE
            self.hurried = True
        if self.safe:
            self.controller.stand_down(now_s)
            self.decided_s = now_s
            readings.look = SAW_NOTHING  # said now, it is no longer true when the board is in service again
            readings.request = REQUEST_NONE
        elif self.hurried or self.controller.due(readings.contacts, now_s):
            self.controller.scan(readings, now_s)
            self.decided_s = now_s
            self.hurried = False
            readings.look = SAW_NOTHING
            if readings.request not in LONGEST_S:
                readings.request = REQUEST_NONE

    def _count(self, is_open: bool, late_s: int) -> None:
        counters = self.counters
        if late_s > 0:
            counters.missed_beats += late_s
        if is_open:
            counters.valve_open_s += 1
            if not self.was_open:
                counters.valve_starts += 1
        self.was_open = is_open

    def _failed(self, problem: Exception) -> None:
        """A beat failed: once is noted, often within ten minutes ends in safe mode."""
        self.counters.failed_beats += 1
        self.events.add("beat failed: " + repr(problem))
        while self.failed_s and self.now_s - self.failed_s[0] >= TROUBLE_S:
            del self.failed_s[0]
        self.failed_s.append(self.now_s)
        if len(self.failed_s) > FAILURES:
            del self.failed_s[0]
            self.stand_down("the beat failed too often")

    def stand_down(self, why: str, for_good: bool = False) -> None:
        """Safe mode from now on: contact open, valve shut, until a person clears it at the board, over all restarts.

        for_good: what no button mends, and each start looks at anew.
        """
        if not self.safe or for_good and not self.for_good:
            self.safe = why
            self.events.add("safe mode: " + why)
        self.for_good = self.for_good or for_good
        if not for_good:
            self.keep.stood_down()
        self.hardware.drive(False)
        self.controller.stand_down(self.now_s)

    # What people ask for

    def look(self, code: int) -> None:
        """"Fog now" or "clear now", for the next beat's scan."""
        self.readings.look = code
        self.minutes.look = code
        self.hurried = True

    def request(self, code: int, seconds: int = 0) -> None:
        """A request for the next beat's scan; one that lasts holds for so many seconds; REQUEST_NONE ends it."""
        self.readings.request = code
        self.readings.request_until_s = self.now_s + min(seconds, LONGEST_S.get(code, 0))
        self.hurried = True

    def end(self, code: int) -> None:
        """The request `code` is over, where that is the one under way."""
        if self.readings.request == code:
            self.request(REQUEST_NONE)

    def change_settings(self, values: dict) -> str:
        """All of the values or none; "" or why not.  Stored by a later beat.

        A contact that is fitted or not counts at once, a sensor at the next boot.
        """
        try:
            self.settings.change(values)
        except SettingError as refusal:
            return str(refusal)
        self.keep.settings_changed = True
        self.hurried = True
        return ""

    def attend(self) -> None:
        """Lamp and buttons, some ten times a second."""
        self.hardware.lamp(rhythm_of(self.controller.decision.refusals), self.clock.ticks_ms())
        press = self.hardware.buttons()
        if press:
            self.pressed_s = self.now_s
            if press == PRESS_LOOK_SHORT:
                self.look(SAW_CLEAR)
            elif press == PRESS_LOOK_LONG:
                self.look(SAW_FOG)
            elif press == PRESS_ALARM:
                self.leave_safe_mode()
                self.request(REQUEST_CLEAR)
                self.events.add("alarm button held")
            elif press == PRESS_BOTH:
                self.forget()

    def leave_safe_mode(self) -> None:
        """Back into service, as after a boot: a person at the board asked for it.  Not where that is for good."""
        self.failed_s = []
        self.keep.calm()
        if self.safe and not self.for_good:
            self.safe = ""
            self.events.add("safe mode left")

    def _forget(self) -> None:
        """Both buttons were held while no page is there: no password any more."""
        self.keep.store_login(b"")
