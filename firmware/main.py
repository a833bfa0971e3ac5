"""Starts the board: contact open before anything else, then the newest whole release."""

from machine import Pin, reset

RELAY = Pin(2, Pin.OUT, value=0)  # contact open; 2 is dewboard.pins.RELAY

import sys  # noqa: E402


def number(folder: str) -> int:
    """The number of the release in a folder, -1 where it is not whole: its file `release` is written last."""
    try:
        with open(folder + "/release", "rb") as file:
            text = file.read(10)
    except OSError:
        return -1
    return int(text) if len(text) == 9 and text[:8].isdigit() and text[8:] == b"\n" else -1


newest = "b" if number("b") > number("a") else "a"
if number(newest) >= 0:
    sys.path.insert(0, newest)

from dewboard.start import main  # noqa: E402

main(RELAY, reset)
