"""Stands in for the board's `machine` with just the names that its program uses; driven by `dewsim.virtual`."""

import sys

if sys.platform not in ("linux", "darwin", "win32"):
    raise ImportError("this is the simulator's machine; here is a real one: remove sim/ from the board")

from dewsim.virtual import ADC, I2C, POWER, WATCHDOG, WDT, Pin, Timer, current

__all__ = ["ADC", "I2C", "PWRON_RESET", "Pin", "Timer", "WDT", "WDT_RESET", "reset", "reset_cause", "unique_id"]

PWRON_RESET = POWER
WDT_RESET = WATCHDOG


def reset() -> None:
    """Start the virtual chip afresh: raises BoardReset."""
    current().machine_reset()


def reset_cause() -> int:
    """PWRON_RESET or WDT_RESET."""
    return current().cause


def unique_id() -> bytes:
    """The virtual chip's number."""
    return b"\x00dewsim\x00"
