"""Plays a recorded world to the firmware on the virtual board: main(world's file, settings' file, folder).

For tests/acceptance/board_month.py, which records it; runs on CPython and MicroPython.  Prints a line for each
switch of the relay (second, new state) and, last, the counters.
"""

import json
import struct

from dewboard import start
from dewboard.clock import Clock
from dewboard.pins import open_pins
from dewboard.store import Store
from dewsim.virtual import VirtualBoard, install

ROW = "<dddBBiii"
FORECAST = "<ii72h"
BEATS = 60
BEAT_US = 1000000


def main(world_path, settings_path, folder):
    """All minutes of the world."""
    world = VirtualBoard()
    install(world)
    with open(settings_path, "rb") as file:
        Store(folder, "settings").save(file.read())
    Store(folder, "probes").save(json.dumps(world.rom_codes()).encode())
    app = start.build(open_pins(), Clock(world), folder)
    was_open = False
    with open(world_path, "rb") as file:
        row = file.read(struct.calcsize(ROW) + 1)
        while row:
            show(world, app, row, file)
            for _ in range(BEATS):
                began_us = world.us
                app.beat()
                if world.relay_pin != was_open:
                    was_open = not was_open
                    print("switch", app.now_s, int(was_open))
                world.advance_us(BEAT_US - (world.us - began_us))
            row = file.read(struct.calcsize(ROW) + 1)
    print(app.counters.items())


def show(world, app, row, file):
    """One minute's state, and a forecast where one came."""
    indoor_c, rh_pct, outdoor_c, fan, heat, silent, utc_s, offset_s = struct.unpack_from(ROW, row)
    world.indoor_c, world.rh_pct, world.outdoor_c = indoor_c, rh_pct, outdoor_c
    world.humidity_fault = "nak" if silent & 1 else ""
    world.thermometer_faults = {"outdoor_c": "nak"} if silent & 2 else {}
    if bool(fan) != world.fan_running:
        world.fan_running = world.terminal_live = bool(fan)
    if bool(heat) != world.heat_call:
        world.heat_call = bool(heat)
    if utc_s:
        message = {"schema": 1, "source": "replay", "sent_s": utc_s, "utc_offset_s": offset_s, "issued_s": utc_s}
        app.wall.take(message, False, app.clock.now_s())
    if row[-1]:
        numbers = struct.unpack(FORECAST, file.read(struct.calcsize(FORECAST)))
        r = app.readings
        r.forecast_issued_s, r.forecast_start_s = numbers[0], numbers[1]
        for n in range(72):
            r.forecast_dc[n] = numbers[2 + n]
