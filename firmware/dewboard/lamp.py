"""The status lamp: how far the permit got, told by long and short, not by counting and not by colour.

    rhythm_of(refusals)   LAMP_* of `dewcore.board` for a decision's refusals
    Lamp(pin)             .show(rhythm, ms): drives the pin; to be called every 20 to 100 ms

    mostly lit, short gaps        open: water runs
    long, long gap                waiting: dry enough to humidify, but heat, fan, line or a timer is awaited
    short, long gap               humid enough
    dark, a blink every 6 s       switched off by owner, selector, absence or season
    short and long, gap           fault: a reading or a wire cannot be trusted
    quick even flicker            alarm: somebody has to come
Dark or steadily lit for longer than 6 s: the board stands still.
"""

from dewcore import words as w
from dewcore.board import LAMP_ALARM, LAMP_FAULT, LAMP_HUMID, LAMP_OFF, LAMP_OPEN, LAMP_WAITING

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.pins import Pin

LAMP_PERIOD_S = 6  # the slowest rhythm

# Milliseconds lit, dark, lit, dark ..., in the order of LAMP_*.
RHYTHMS = (
    (1700, 300),
    (1000, 1000),
    (150, 1850),
    (150, 5850),
    (150, 350, 1000, 1000),
    (150, 150),
)
# Refusals are ranked: the most important one tells how far the permit got.
_UP_TO = (
    (w.RELAY_FAILED, LAMP_ALARM),
    (w.SEASON_OVER, LAMP_OFF),
    (w.HEAT_UNPROVABLE, LAMP_FAULT),
    (w.HUMID_ENOUGH, LAMP_HUMID),
)


def rhythm_of(refusals: int) -> int:
    """LAMP_* for a decision's refusals."""
    if refusals == 0:
        return LAMP_OPEN
    if refusals >> w.SAFE_MODE:  # out of service, whatever for
        return LAMP_ALARM
    rank = w.first_bit(refusals)
    for last, rhythm in _UP_TO:
        if rank <= last:
            return rhythm
    return LAMP_WAITING


class Lamp:
    """The lamp's pin, high lit."""

    __slots__ = ("pin",)

    def __init__(self, pin: "Pin") -> None:
        self.pin: "Pin" = pin

    def show(self, rhythm: int, ms: int) -> None:
        """Where the rhythm is at ms."""
        steps = RHYTHMS[rhythm]
        whole = 0
        for step in steps:
            whole += step
        ms %= whole
        lit = 1
        for step in steps:
            if ms < step:
                break
            ms -= step
            lit = 1 - lit
        self.pin.value(lit)
