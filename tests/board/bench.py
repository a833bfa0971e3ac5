"""The firmware's drivers on a virtual board, beat by beat: a furnace that runs, everything fitted, ways to look."""

from dewboard.clock import Clock
from dewboard.hardware import Hardware
from dewboard.pins import open_pins
from dewcore.readings import Readings
from dewcore.settings import Settings
from dewsim.virtual import BoardReset, VirtualBoard, install

EVERYTHING = {
    "has_overflow": 1,
    "has_drain_wet": 1,
    "has_absent": 1,
    "has_glass": 1,
    "has_supply": 1,
    "has_room": 1,
}
BEAT_US = 1000000
__all__ = ["BoardReset", "Bench", "Clock", "Hardware", "VirtualBoard", "install", "open_pins"]


class Bench:
    """A board just powered, its program's first lines run: pins, clock, watchdog, hardware."""

    def __init__(self, changes=None, codes=None, **world):
        self.board = VirtualBoard(**world)
        install(self.board)
        self.settings = Settings()
        self.settings.change(EVERYTHING)
        self.settings.change(changes or {})
        self.codes = self.board.rom_codes() if codes is None else codes
        self.longest_us = 0
        self.start()

    def start(self):
        """What main.py does first."""
        self.pins = open_pins()
        self.clock = Clock(self.board)
        self.watchdog = self.pins.watchdog(7000)
        self.hardware = Hardware(self.pins, self.clock, self.settings, self.watchdog, self.codes)
        self.readings = Readings()

    def furnace(self, running=True):
        """Heat call, fan and the humidifier's terminal together."""
        self.board.terminal_live = running
        self.board.fan_running = running
        self.board.heat_call = running

    def beat(self, count=1, valve_open=None):
        """So many beats of a second each: read, drive if told to, feed; the readings."""
        for _ in range(count):
            began_us = self.board.us
            self.hardware.read(self.readings, self.clock.now_s())
            took_us = self.board.us - began_us
            self.longest_us = max(self.longest_us, took_us)
            if valve_open is not None:
                self.hardware.drive(valve_open)
            self.hardware.feed()
            self.board.advance_us(BEAT_US - took_us)
        return self.readings

    def states(self):
        """(fan, heat_call, line_sense, load_sense) as read last."""
        r = self.readings
        return (r.fan.state, r.heat_call.state, r.line_sense.state, r.load_sense.state)
