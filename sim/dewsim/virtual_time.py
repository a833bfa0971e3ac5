"""Time of the virtual chip: its ticks, the timers and the watchdog that fire while it passes, and its resets.

us since the board was made; advance_us(n); block(seconds, irq=True): a call that does not come back for so long,
with interrupts on or off.  The lease's timer and the watchdog fire while time passes.  The watchdog's bite,
machine.reset() and power_cut() float all pins and raise BoardReset in whoever runs; soft_reset() keeps the pins,
forgets the timers and does not stop the watchdog.

Every look at the mains moves the time, 200 times a beat: so what has passed since base_us is kept apart and stays a
small number: on 32 bits one of more than 30 would be an object for the heap, 3 kB of them a beat.
"""

TICKS = 1 << 30  # ticks_ms starts again here, on boards and on no desktop
JUST_BEFORE_WRAP_MS = TICKS - 5000
NEVER = 1 << 60
WATCHDOG_MOST_MS = 8388
POWER = 1
WATCHDOG = 3
MOST_REST_US = 1 << 28  # as said above
SLOT_US = 100  # the grain of the mains' wave, whose place in its cycle passes with time


class BoardReset(BaseException):
    """The chip started afresh: whatever ran on it is gone.  args[0]: the cause."""


class VirtualTime:
    """Microseconds since the chip was made; the names of MicroPython's module `time`."""

    def __init__(self, start_ms: int) -> None:
        self.base_us = 0
        self.rest_us = 0
        self.next_rest_us = MOST_REST_US
        self.start_ms = start_ms
        self.cycle_us = SLOT_US
        self.phase_us = 0  # of base_us in the mains' cycle
        self.slot = 0  # of the mains' cycle; here, as every look at a sense asks for it
        self.next_us = NEVER  # the nearest of timers and watchdog
        self.timers = []
        self.dog_us = NEVER
        self.dog_ms = 0
        self.masked = False
        self.epoch = 0  # counts starts; a pin of an earlier one may not be used
        self.cause = POWER
        self.resets = []

    @property
    def us(self) -> int:
        return self.base_us + self.rest_us

    @us.setter
    def us(self, us: int) -> None:
        self.base_us = us
        self.rest_us = 0
        self.set_cycle(self.cycle_us)

    def set_cycle(self, cycle_us: int) -> None:
        """The mains' cycle from now on."""
        self.cycle_us = cycle_us
        self.phase_us = self.base_us % cycle_us
        self.slot = (self.rest_us + self.phase_us) % cycle_us // SLOT_US
        self.next_rest_us = min(self.next_us - self.base_us, MOST_REST_US)

    def ticks_ms(self) -> int:
        return (self.start_ms + self.us // 1000) % TICKS

    def ticks_us(self) -> int:
        return self.us % TICKS

    def ticks_diff(self, later: int, earlier: int) -> int:
        return (later - earlier + TICKS // 2) % TICKS - TICKS // 2

    def ticks_add(self, ticks: int, delta: int) -> int:
        return (ticks + delta) % TICKS

    def sleep_us(self, us: int) -> None:
        now = self.rest_us + us
        if now >= self.next_rest_us:
            self._pass(self.base_us + now)
            now = self.rest_us
        self.rest_us = now
        self.slot = (now + self.phase_us) % self.cycle_us // SLOT_US

    def sleep_ms(self, ms: int) -> None:
        self.sleep_us(ms * 1000)

    advance_us = sleep_us

    def block(self, seconds: float, irq: bool = True) -> None:
        """A call that does not come back for so long; without irq no timer fires meanwhile, the watchdog does."""
        self.masked = not irq
        self._schedule()
        try:
            self.sleep_us(int(seconds * 1000000))
        finally:
            self.masked = False
            self._schedule()
        self.sleep_us(0)

    def _schedule(self) -> None:
        nearest = self.dog_us
        if not self.masked:
            for timer in self.timers:
                nearest = min(nearest, timer.at_us)
        self.next_us = nearest
        self.next_rest_us = min(nearest - self.base_us, MOST_REST_US)

    def _pass(self, until: int) -> None:
        """Fire what is due up to `until`, in its order; then it is `until`."""
        while self.next_us <= until:
            self.us = max(self.us, self.next_us)
            if self.dog_us <= self.next_us:
                self._start_afresh(WATCHDOG)
                raise BoardReset(WATCHDOG)
            due = [timer for timer in self.timers if timer.at_us <= self.next_us]
            self.timers = [timer for timer in self.timers if timer not in due]
            self._schedule()
            for timer in due:
                timer.callback(timer)
        self.us = until

    # resets

    def _start_afresh(self, cause: int) -> None:
        self.resets.append((self.us, cause))
        self.cause = cause
        self.dog_us = NEVER
        self._forget()

    def _forget(self) -> None:
        self.epoch += 1
        self.timers = []
        self.masked = False
        self._schedule()

    def machine_reset(self) -> None:
        """The program asked for it; this chip does it by its watchdog."""
        self._start_afresh(WATCHDOG)
        raise BoardReset(WATCHDOG)

    def soft_reset(self) -> None:
        """The program ends and starts again; pins keep their levels, the watchdog runs on."""
        self._forget()

    def arm(self, timeout_ms: int) -> None:
        if not 0 < timeout_ms <= WATCHDOG_MOST_MS:
            raise ValueError("watchdog: at most %d ms on this chip" % WATCHDOG_MOST_MS)
        self.dog_ms = timeout_ms
        self.feed()

    def feed(self) -> None:
        self.dog_us = self.us + 1000 * self.dog_ms
        self._schedule()
