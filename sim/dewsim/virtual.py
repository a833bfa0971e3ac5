"""The virtual board behind the names of `machine`: pins, buses, timers, watchdog; CPython, MicroPython.

    board = VirtualBoard(start_ms=..., mains_hz=60, chip="sht4x")     "sht4x", "sht3x" or "aht20"
    install(board)     from now on `import machine` and `import _onewire` find sim/dewsim/fake, driven by this board
    Clock(board)       the board is also the module `time`; it starts 5 s before ticks_ms wraps unless told otherwise

A name, keyword, pin or command that no real part here knows is an error by itself.  Imports are relative, since
`install --bench` puts these files beside the bench shim.
"""

import sys

from dewboard import pins as p

from .virtual_board import VirtualBoard
from .virtual_mains import AC
from .virtual_time import NEVER, POWER, WATCHDOG, BoardReset

__all__ = [
    "ADC", "I2C", "POWER", "WATCHDOG", "WDT", "BoardReset", "Pin", "Timer", "VirtualBoard", "current", "install", "use",
]  # fmt: skip
EIO = 5
ETIMEDOUT = 110

_current = []


def current() -> "VirtualBoard":
    """The board that `import machine` means."""
    return _current[0]


def use(board: "VirtualBoard") -> None:
    """Pins, buses and timers made from now on belong to this board."""
    _current[:] = [board]


def install(board: "VirtualBoard") -> None:
    """Make `import machine` and `import _onewire` mean this board."""
    if sys.platform not in ("linux", "darwin", "win32"):
        raise ImportError("the virtual board does not run where `machine` is a real one")
    use(board)
    folder = __file__.replace("\\", "/").rsplit("/", 1)[0] + "/fake"
    if folder not in sys.path:
        sys.path.insert(0, folder)


class Pin:
    """One pin; what it reads is what is wired to it."""

    IN = 0
    OUT = 1
    OPEN_DRAIN = 2
    PULL_UP = 1

    def __init__(self, number: int, mode: int = -1, pull: int = -1, *, value: "int | None" = None) -> None:
        board = current()
        self.board = board
        self.number = number
        self.mode = mode
        self.epoch = board.epoch
        if mode == Pin.OUT:
            if number not in (p.RELAY, p.LAMP, p.PROBE_DRIVE):
                raise ValueError("pin %d is no output on this board" % number)
            self.value = self._output
            self._output(0 if value is None else value)
        elif number in AC:
            self.levels = board.levels[number]
            board.ac_pins[number] = self
            self.value = self._pulses
        elif number in (p.SDA, p.SCL, p.WIRE):
            if mode == Pin.OPEN_DRAIN and number != p.WIRE:
                if board.bus_open:
                    board.bus_levels = []
                board.bus_open = False
                board.bus_level(number, value)
            self.value = self._drain
        else:
            board.loop_level(number)  # ValueError where nothing is wired
            self.value = self._loop

    def _output(self, level: "int | None" = None) -> "int | None":
        board = self.board
        if self.epoch != board.epoch:
            raise RuntimeError("pin %d belongs to a program that was reset" % self.number)
        if level is None:
            return board.outputs[self.number]
        if board.outputs.get(self.number) != level:
            board.outputs[self.number] = 1 if level else 0
            if self.number == p.RELAY:
                board.redraw()
        return None

    def _pulses(self) -> int:
        return self.levels[self.board.slot]

    def _loop(self) -> int:
        return self.board.loop_level(self.number)

    def _drain(self, level: int) -> None:
        self.board.bus_level(self.number, level)


class ADC:
    """An analogue input: 0 to 65535."""

    def __init__(self, number: int) -> None:
        if number not in (p.LEAK, p.DRAIN):
            raise ValueError("nothing is wired to analogue pin %d" % number)
        self.board = current()
        self.number = number

    def read_u16(self) -> int:
        return self.board.probe_level(self.number)


class I2C:
    """The bus; OSError EIO where nobody acknowledges, ETIMEDOUT where the data line is held."""

    def __init__(self, number: int, *, scl: "Pin", sda: "Pin", freq: int, timeout: int) -> None:
        if (number, scl.number, sda.number) != (0, p.SCL, p.SDA):
            raise ValueError("I2C(%d) has no such pins" % number)
        self.board = current()
        self.board.bus_open = True
        self.byte_us = 9 * 1000000 // freq
        self.timeout_us = timeout

    def _chip(self, address: int, count: int) -> object:
        board = self.board
        if not board.bus_open:
            raise RuntimeError("I2C: its pins were taken for something else")
        fault = board.humidity_fault
        if fault == "stuck" or board.sda_clocks:
            board.sleep_us(self.timeout_us)
            raise OSError(ETIMEDOUT)
        if fault == "nak" or address not in board.chips:
            board.sleep_us(self.byte_us)
            raise OSError(EIO)
        board.sleep_us(self.byte_us * (count + 1))
        return board.chips[address]

    def writeto(self, address: int, buffer: bytes) -> int:
        if not self._chip(address, len(buffer)).write(bytes(buffer)):
            raise OSError(EIO)
        return len(buffer)

    def readfrom_into(self, address: int, buffer: bytearray) -> None:
        if not self._chip(address, len(buffer)).read(buffer):
            raise OSError(EIO)


class Timer:
    """A one-shot timer whose callback runs in the interrupt."""

    ONE_SHOT = 0

    def __init__(self, number: int) -> None:
        if number != -1:
            raise ValueError("Timer(%d) does not exist on this chip" % number)
        self.board = current()
        self.at_us = NEVER
        self.callback = None

    def init(self, *, mode: int, period: int, callback: object, hard: bool) -> None:
        if mode != Timer.ONE_SHOT or hard is not True:
            raise ValueError("only hard one-shot timers are known here")
        board = self.board
        self.at_us = board.us + 1000 * period
        self.callback = callback
        if self not in board.timers:
            board.timers.append(self)
        board._schedule()

    def deinit(self) -> None:
        board = self.board
        if self in board.timers:
            board.timers.remove(self)
            board._schedule()


class WDT:
    """The watchdog: armed for good."""

    def __init__(self, *, timeout: int) -> None:
        self.board = current()
        self.board.arm(timeout)

    def feed(self) -> None:
        self.board.feed()
