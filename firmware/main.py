"""Starts the board: contact open before anything else, then dewboard."""

from machine import Pin, reset

RELAY = Pin(2, Pin.OUT, value=0)  # contact open; 2 is dewboard.pins.RELAY

from dewboard.start import main  # noqa: E402

main(RELAY, reset)
