"""Stands in for the board's `_onewire`; driven by `dewsim.virtual`."""

import sys

if sys.platform not in ("linux", "darwin", "win32"):
    raise ImportError("this is the simulator's 1-Wire; here is a real one: remove sim/ from the board")


def reset(pin: object) -> int:
    """Whether anybody is there."""
    return pin.board.wire.reset()


def writebyte(pin: object, value: int) -> None:
    """Send a byte."""
    pin.board.wire.write(value)


def readbyte(pin: object) -> int:
    """Receive a byte."""
    return pin.board.wire.read()


def writebit(pin: object, bit: int) -> None:
    """Send a bit."""
    pin.board.wire.write_bit(bit)


def readbit(pin: object) -> int:
    """Receive a bit."""
    return pin.board.wire.read_bit()
