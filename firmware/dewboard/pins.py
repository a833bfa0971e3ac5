"""Which pin is which, and the only place (with main.py) that touches `machine`; and only once pins are opened.

The board: an RP2350-class Wi-Fi board with 520 kB of RAM; one of the RP2040 class with 264 kB has the same pins, but
room for the program only where it runs from flash (a ROMFS partition).  None of its pins is a strapping pin; at reset
all are inputs with a weak pull-down.  Circuit, levels and terminals of each net: `dewboard.pin_table`, which stays
off the board.

The lease of the relay needs a timer whose callback runs in the interrupt itself: MicroPython 1.26 or newer on this
chip (`hard=True`, micropython/micropython pull request 17363, 2025).  An older one refuses the word at the first
`LeaseTimer.start`, which `open_pins` makes once, so that such a board never gets as far as a relay.  A port whose
timers only run between bytecodes is not supported: there the watchdog alone (7 s) would end a lease.
"""

from dewcore.board import RESET_POWER, RESET_UNKNOWN, RESET_WATCHDOG

TYPE_CHECKING = False
if TYPE_CHECKING:
    from machine import ADC, Pin, Timer

    from dewboard.shapes import Callable

RELAY = 2
LAMP = 3
SDA = 4
SCL = 5
WIRE = 6
LOOK_BUTTON = 7
ALARM_BUTTON = 8
OFF_SWITCH = 9
ABSENT = 10
OVERFLOW = 11
LINE_SENSE = 12
LOAD_SENSE = 13
FAN = 14
HEAT_CALL = 15
PROBE_DRIVE = 16
LEAK = 26
DRAIN = 27

I2C_HZ = 100000  # long wires in a furnace room: the slowest standard speed
I2C_TIMEOUT_US = 5000  # the longest transfer here, 7 bytes, takes 0.8 ms
WATCHDOG_MOST_MS = 8388  # the chip's limit: 2**23 us


class Bus:
    """The I2C bus: writeto(address, buffer), readfrom_into(address, buffer); OSError where nobody answers."""

    __slots__ = ("machine", "writeto", "readfrom_into")

    def __init__(self) -> None:
        import machine

        self.machine = machine
        self._open()

    def _open(self) -> None:
        pin = self.machine.Pin
        i2c = self.machine.I2C(0, scl=pin(SCL), sda=pin(SDA), freq=I2C_HZ, timeout=I2C_TIMEOUT_US)
        self.writeto = i2c.writeto
        self.readfrom_into = i2c.readfrom_into

    def free(self) -> None:
        """Nine clocks and a stop: a chip that was cut off in mid-byte lets go of the data line; below 1 ms."""
        pin = self.machine.Pin
        sda = pin(SDA, pin.OPEN_DRAIN, value=1)
        scl = pin(SCL, pin.OPEN_DRAIN, value=1)
        for _ in range(9):
            scl.value(0)
            scl.value(1)
        scl.value(0)
        sda.value(0)
        scl.value(1)
        sda.value(1)
        self._open()


class Wire:
    """The 1-Wire bus, byte by byte (0.6 ms each) and, for the search, bit by bit."""

    __slots__ = ("pin", "driver")

    def __init__(self, pin: "Pin") -> None:
        import _onewire

        self.pin: "Pin" = pin
        self.driver = _onewire

    def reset(self) -> bool:
        """Whether anybody answered the reset pulse (1 ms); a line held low may also look like an answer."""
        return bool(self.driver.reset(self.pin))

    def write(self, value: int) -> None:
        """Send one byte."""
        self.driver.writebyte(self.pin, value)

    def read(self) -> int:
        """Receive one byte; 255 where nobody answers."""
        return self.driver.readbyte(self.pin)

    def write_bit(self, bit: int) -> None:
        """Send one bit."""
        self.driver.writebit(self.pin, bit)

    def read_bit(self) -> int:
        """Receive one bit; 1 where nobody answers."""
        return self.driver.readbit(self.pin)


class LeaseTimer:
    """One hard one-shot timer: start(period_ms, callback) begins afresh, stop() ends it without the callback."""

    __slots__ = ("timer", "mode")

    def __init__(self) -> None:
        import machine

        self.timer: "Timer" = machine.Timer(-1)
        self.mode: int = machine.Timer.ONE_SHOT

    def start(self, period_ms: int, callback: "Callable[[Timer], None]") -> None:
        """Call callback(timer) once in period_ms, in the interrupt: it may allocate nothing."""
        self.timer.init(mode=self.mode, period=period_ms, callback=callback, hard=True)

    def stop(self) -> None:
        """No callback any more."""
        self.timer.deinit()


class Watchdog:
    """The armed watchdog; nothing can stop it.  feed() within every timeout_ms."""

    __slots__ = ("timeout_ms", "feed")

    def __init__(self, timeout_ms: int) -> None:
        import machine

        if not 1000 <= timeout_ms <= WATCHDOG_MOST_MS:
            raise ValueError("watchdog: %r ms; allowed 1000 to %d" % (timeout_ms, WATCHDOG_MOST_MS))
        self.feed = machine.WDT(timeout=timeout_ms).feed
        self.timeout_ms: int = timeout_ms


class Pins:
    """Every pin, opened.  Inputs by value(): 1 high, 0 low; what that means stands in `dewboard.pin_table`."""

    __slots__ = (
        "machine",
        "relay",
        "lamp",
        "look_button",
        "alarm_button",
        "off_switch",
        "absent",
        "overflow",
        "line_sense",
        "load_sense",
        "fan",
        "heat_call",
        "probe_drive",
        "leak",
        "drain",
        "i2c",
        "wire",
        "timer",
    )

    def __init__(self) -> None:
        import machine

        pin = machine.Pin
        self.relay: "Pin" = pin(RELAY, pin.OUT, value=0)  # first of all: contact open
        self.machine = machine
        self.lamp: "Pin" = pin(LAMP, pin.OUT, value=0)
        self.probe_drive: "Pin" = pin(PROBE_DRIVE, pin.OUT, value=0)
        self.look_button: "Pin" = pin(LOOK_BUTTON, pin.IN, pin.PULL_UP)
        self.alarm_button: "Pin" = pin(ALARM_BUTTON, pin.IN, pin.PULL_UP)
        self.off_switch: "Pin" = pin(OFF_SWITCH, pin.IN, pin.PULL_UP)
        self.absent: "Pin" = pin(ABSENT, pin.IN, pin.PULL_UP)
        self.overflow: "Pin" = pin(OVERFLOW, pin.IN, pin.PULL_UP)
        self.line_sense: "Pin" = pin(LINE_SENSE, pin.IN, pin.PULL_UP)
        self.load_sense: "Pin" = pin(LOAD_SENSE, pin.IN, pin.PULL_UP)
        self.fan: "Pin" = pin(FAN, pin.IN, pin.PULL_UP)
        self.heat_call: "Pin" = pin(HEAT_CALL, pin.IN, pin.PULL_UP)
        self.leak: "ADC" = machine.ADC(LEAK)
        self.drain: "ADC" = machine.ADC(DRAIN)
        self.i2c: "Bus" = Bus()
        self.wire: "Wire" = Wire(pin(WIRE, pin.OPEN_DRAIN, pin.PULL_UP, value=1))
        self.timer: "LeaseTimer" = LeaseTimer()
        self.timer.start(1000, _nothing)  # is `hard` known here?
        self.timer.stop()

    def watchdog(self, timeout_ms: int) -> "Watchdog":
        """Arm the watchdog, for good."""
        return Watchdog(timeout_ms)

    def reset(self) -> None:
        """Start the chip afresh, all pins inputs; does not return."""
        self.machine.reset()

    def reset_cause(self) -> int:
        """Why the board started: RESET_* of `dewcore.board`."""
        cause = self.machine.reset_cause()
        if cause == self.machine.WDT_RESET:
            return RESET_WATCHDOG
        return RESET_POWER if cause == self.machine.PWRON_RESET else RESET_UNKNOWN

    def unique_id(self) -> bytes:
        """The chip's own number."""
        return self.machine.unique_id()


def _nothing(timer: "Timer") -> None:
    pass


def open_pins() -> "Pins":
    """Take hold of the hardware, the relay's pin first and low."""
    return Pins()
