"""The 24 VAC and the furnace it tells of: what each of the four senses sees, as a wave over one cycle."""

from math import pi, sin

from dewboard import pins as p
from dewboard.pin_table import sense_threshold_v

from .virtual_time import SLOT_US

AC = {p.LINE_SENSE: "line", p.LOAD_SENSE: "load", p.FAN: "fan", p.HEAT_CALL: "heat"}
LIT = bytes(256)


class VirtualMains:
    """state: what a VirtualBoard lets one set; levels: the wave by pin, in slots of SLOT_US, low is lit."""

    def __init__(self, mains_hz: int) -> None:
        self.state = {
            "mains_hz": mains_hz,
            "terminal_vac": 24.0,
            "stray_vac": 0.0,
            "terminal_live": False,
            "fan_running": False,
            "heat_call": False,
            "half_wave": (),
            "chatter": (),
            "stuck_lit": (),
            "relay_fault": "",
            "dial_bridges": False,
            "sense_part": 1,
        }
        self.cycle_us = 0
        self.levels = {}
        self.known = {}

    def contact_closed(self, is_driven: bool) -> bool:
        fault = self.state["relay_fault"]
        return fault == "welded" or is_driven and fault == ""

    def valve_powered(self, is_driven: bool) -> bool:
        return self.state["terminal_live"] and (self.contact_closed(is_driven) or self.state["dial_bridges"])

    def redraw(self, is_driven: bool) -> None:
        """Work out the waves anew; is_driven: the relay's pin is high."""
        state = self.state
        self.cycle_us = 1000000 // state["mains_hz"]
        live = {
            "line": state["terminal_live"],
            "load": self.valve_powered(is_driven),
            "fan": state["fan_running"],
            "heat": state["heat_call"],
        }
        for number in AC:
            name = AC[number]
            vac = state["terminal_vac"] if live[name] else state["stray_vac"]
            if name in state["stuck_lit"]:
                self.levels[number] = LIT
            else:
                is_torn = live[name] and name in state["chatter"]
                self.levels[number] = self._wave(vac, name in state["half_wave"], is_torn)

    def _wave(self, vac: float, half: bool, chatter: bool) -> bytes:
        key = (vac, half, chatter, self.cycle_us, self.state["sense_part"])
        wave = self.known.get(key)
        if wave is None:
            threshold = sense_threshold_v(self.state["sense_part"])
            slots = self.cycle_us // SLOT_US + 1
            levels = bytearray(slots)
            for n in range(slots):
                volts = 2.0**0.5 * vac * sin(2.0 * pi * (n + 0.5) * SLOT_US / self.cycle_us)
                lit = volts > threshold or not half and -volts > threshold
                if chatter and n % 30 < 15:
                    lit = False
                levels[n] = 0 if lit else 1
            wave = self.known[key] = bytes(levels)
        return wave
