"""The pins that the app gets on the bench: made-up inputs, and the board's own relay, lease and watchdog."""

from dewboard.pins import (
    ABSENT,
    ALARM_BUTTON,
    DRAIN,
    FAN,
    HEAT_CALL,
    LAMP,
    LEAK,
    LINE_SENSE,
    LOAD_SENSE,
    LOOK_BUTTON,
    OFF_SWITCH,
    OVERFLOW,
    PROBE_DRIVE,
    RELAY,
    Bus,
    Pins,
)
from dewcore.board import RESET_POWER, RESET_WATCHDOG

TYPE_CHECKING = False
if TYPE_CHECKING:
    from benchshim.shapes import Virtual, World
    from dewboard.pins import Watchdog

INPUTS = (
    ("look_button", LOOK_BUTTON),
    ("alarm_button", ALARM_BUTTON),
    ("off_switch", OFF_SWITCH),
    ("absent", ABSENT),
    ("overflow", OVERFLOW),
    ("line_sense", LINE_SENSE),
    ("load_sense", LOAD_SENSE),
    ("fan", FAN),
    ("heat_call", HEAT_CALL),
)


class BenchBus(Bus):
    """The humidity chips' bus, in the virtual world."""

    __slots__ = ()

    def __init__(self, virtual: "Virtual") -> None:
        self.machine = virtual
        self._open()


class BenchPins(Pins):
    """real: the board's own, opened; watchdog: armed, and fed by the app's beats as ever."""

    __slots__ = ("world", "real", "armed")

    def __init__(self, real: "Pins", watchdog: "Watchdog", world: "World", virtual: "Virtual") -> None:
        virtual.use(world)
        self.world = world
        self.real: "Pins" = real
        self.armed: "Watchdog" = watchdog
        self.relay = real.relay
        self.timer = real.timer
        self.machine = virtual
        pin = virtual.Pin
        self.lamp = pin(LAMP, pin.OUT, value=0)
        self.probe_drive = pin(PROBE_DRIVE, pin.OUT, value=0)
        for name, number in INPUTS:
            setattr(self, name, pin(number, pin.IN, pin.PULL_UP))
        self.leak = virtual.ADC(LEAK)
        self.drain = virtual.ADC(DRAIN)
        self.i2c = BenchBus(virtual)
        self.wire = world.wire

    def watchdog(self, timeout_ms: int) -> "Watchdog":
        """The one that runs: nothing arms it twice."""
        return self.armed

    def reset(self) -> None:
        """The board's own."""
        self.real.reset()

    def reset_cause(self) -> int:
        """As the virtual world has it: a power cut there is none here."""
        return RESET_WATCHDOG if self.world.cause == self.machine.WATCHDOG else RESET_POWER

    def unique_id(self) -> bytes:
        """The board's own."""
        return self.real.unique_id()

    def read_back(self) -> None:
        """What the real relay's pin is driven to, into the world, whose load sense follows it."""
        level = self.relay.value()
        if self.world.outputs.get(RELAY) != level:
            self.world.outputs[RELAY] = level
            self.world.redraw()
