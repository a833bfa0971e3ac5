"""The relay's contact as a lease: closed only for the next 5 s, and only under an armed watchdog.

    Relay(pin, timer, watchdog)   pin: value(0 | 1), high pulls the relay; timer: start(ms, callback), stop();
                                  watchdog: the armed one of `dewboard.pins`.  ValueError without
    .close_contact()              closes, or renews: 5 s from now
    .open_contact()               opens at once
    .is_closed()                  what the pin is driven to

What opens it without the beat: the timer's interrupt after 5 s, the watchdog's reset after 7 s (interrupts off or the
chip hung), the pull-down at the driver whenever the pin is not driven.  Never a PWM: it runs on without the program.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.pins import LeaseTimer, Pin, Timer, Watchdog

LEASE_MS = 5000


class Relay:
    """The contact in series with the valve.  Nothing on the way to open allocates memory."""

    __slots__ = ("pin", "timer", "end")

    def __init__(self, pin: "Pin", timer: "LeaseTimer", watchdog: "Watchdog") -> None:
        pin.value(0)
        if not 0 < getattr(watchdog, "timeout_ms", 0) <= 8388:
            raise ValueError("relay: no armed watchdog; arm one with pins.watchdog(7000) and hand it over")
        self.pin: "Pin" = pin
        self.timer: "LeaseTimer" = timer
        self.end = self._end  # bound once: binding allocates, and the interrupt may not

    def close_contact(self) -> None:
        """Close the contact for 5 s from now.  The timer runs before the pin goes high."""
        self.timer.start(LEASE_MS, self.end)
        self.pin.value(1)

    def open_contact(self) -> None:
        """Open the contact now."""
        self.pin.value(0)
        self.timer.stop()

    def is_closed(self) -> bool:
        """Whether the pin drives the relay."""
        return self.pin.value() == 1

    def _end(self, timer: "Timer") -> None:
        """The lease is over; runs in the timer's interrupt."""
        self.pin.value(0)
