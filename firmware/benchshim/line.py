"""The real line: read each second, never replaced, and what is wrong with it once is wrong until a reset.

    Line(pins, clock)      the board's own pins
    .look(fitted)          "", or why there may be no bench here; 49 ms.  fitted: whether settings say it is wired

An optocoupler lights its pin, and a lit one is low.  Whatever is not dark in each of the reads is live: a whole wave,
half of one, direct current, a single pulse.  An idle line is dead as well: that is why it is looked at for good.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.clock import Clock
    from dewboard.pins import Pins

READS = 50
READ_US = 1000
DARK = 1
UNFITTED = "its line sense is not fitted, so nobody knows whether the line is dead"
LINE_LIVE = "24 V at its line sense: this board is wired to a furnace"
LOAD_LIVE = "24 V at its load sense: something gives the valve power"


class Line:
    """What stands before the contact, and what behind it."""

    __slots__ = ("line", "load", "sleep_us", "wrong")

    def __init__(self, pins: "Pins", clock: "Clock") -> None:
        self.line = pins.line_sense.value
        self.load = pins.load_sense.value
        self.sleep_us = clock.sleep_us
        self.wrong: str = ""

    def look(self, fitted: int) -> str:
        """One sample of both."""
        if self.wrong:
            return self.wrong
        if not fitted:
            self.wrong = UNFITTED
            return self.wrong
        line = self.line
        load = self.load
        sleep_us = self.sleep_us
        lines = loads = DARK
        for _ in range(READS):
            lines &= line()
            loads &= load()
            sleep_us(READ_US)
        if lines != DARK:
            self.wrong = LINE_LIVE
        elif loads != DARK:
            self.wrong = LOAD_LIVE
        return self.wrong
