"""The shipped policy on the virtual board: the firmware's own app, beat by beat, in the simulated house.

Every second the house's state is what the virtual chips, wires and contacts show, the app's beat reads them as on a
real board, and what counts as water is the valve's 24 V behind the relay's contact.  Beside it runs the decision
alone on the very readings that the app had: where relay and decision ever differ, it is counted.
"""

import json
import sys
import tempfile
from math import isnan
from pathlib import Path

from dewcore.controller import Controller
from dewcore.settings import Settings
from dewsim import plant, policies

BEATS = 60  # in a house step
BEAT_US = 1_000_000
HOUR_STEPS = 60


class Check:
    """What a run on the board is judged by."""

    def __init__(self):
        self.beats = 0
        self.differences = 0
        self.first_difference = ""
        self.worst = {"indoor_c": 0.0, "rh_pct": 0.0, "outdoor_c": 0.0}

    def as_dict(self, app) -> dict:
        """For the result."""
        return {
            "beats": self.beats,
            "differences": self.differences,
            "first_difference": self.first_difference,
            "worst_reading_error": {name: round(value, 4) for name, value in self.worst.items()},
            **dict(app.counters.items()),
        }


class OnBoard:
    """A board in a house: course and sensors as for policies.run_controller."""

    def __init__(self, course, sensors, settings: Settings, clock, folder: str):
        from dewboard import start
        from dewboard.clock import Clock
        from dewboard.pins import open_pins
        from dewboard.store import Store, save_settings
        from dewsim.virtual import VirtualBoard, install

        self.course, self.sensors, self.clock = course, sensors, clock
        self.world = VirtualBoard()
        install(self.world)
        save_settings(Store(folder, "settings"), settings)
        Store(folder, "probes").save(json.dumps(self.world.rom_codes()).encode())
        self.pins = open_pins()
        self.app = start.build(self.pins, Clock(self.world), folder)
        self.alone = Controller(self.app.settings)
        self.check = Check()
        self.was_open = False
        self.switched: list = []  # pairs of second and 1 for closed, 0 for open

    def at_step(self, k: int, house) -> None:
        """The world as the house has it at step k; a reading that the sensor model drops is a chip that is silent."""
        c, world, sensors = self.course, self.world, self.sensors
        true_pct = house.rh_pct(k)
        indoor_c = sensors.indoor_c[k]
        rh_pct = true_pct if sensors.exact else sensors.rh(k, true_pct)
        outdoor_c = sensors.outdoor_c[k]
        world.humidity_fault = "nak" if isnan(indoor_c) or isnan(rh_pct) else ""
        if not world.humidity_fault:
            world.indoor_c, world.rh_pct = indoor_c, rh_pct
        world.thermometer_faults = {"outdoor_c": "nak"} if isnan(outdoor_c) else {}
        if not isnan(outdoor_c):
            world.outdoor_c = outdoor_c
        fan, heat = bool(c.fan[k]), bool(c.heat[k])
        if fan != world.fan_running:
            world.fan_running = world.terminal_live = fan
        if heat != world.heat_call:
            world.heat_call = heat
        self._others(k, house)

    def _others(self, k: int, house) -> None:
        c, world, s = self.course, self.world, self.app.settings
        if s.has_glass:
            world.glass_c = c.glass_c[k] - s.glass_offset_k
        if s.has_supply:
            world.supply_c = c.supply_c[k]
        if s.has_room:
            room_c = c.indoor_c[k] - c.house.room.colder_k
            world.room_c = room_c - s.room_offset_k
            room_pct = plant.rh_pct(policies.room_w_g_kg(c, k, house.w_g_kg), room_c, c.pressure_pa)
            world.room_rh_pct = min(99.0, room_pct)
        if s.has_drain_wet:
            world.drain = "wet" if world.valve_powered and c.fan[k] else "dry"

    def tell_time(self, k: int) -> None:
        """What a feed's message would tell of the time."""
        sent_s = self.clock[0] + self.course.dt_s * k
        message = {"schema": 1, "source": "replay", "sent_s": sent_s, "utc_offset_s": self.clock[1]}
        self.app.wall.take({**message, "issued_s": sent_s}, False, self.app.clock.now_s())

    def minute(self) -> int:
        """A minute of beats; in how many seconds of it water ran."""
        app, world, alone, check = self.app, self.world, self.alone, self.check
        count = 0
        for _ in range(BEATS):
            began_us = world.us
            app.beat()
            if alone.due(app.readings.contacts, app.now_s):
                alone.scan(app.readings, app.now_s)
            is_open = world.relay_pin
            if alone.decision.valve != is_open or alone.decision.refusals != app.controller.decision.refusals:
                self._differs(is_open)
            if is_open != self.was_open:
                self.switched.append((app.now_s, int(is_open)))
                self.was_open = is_open
            if world.valve_powered:
                count += 1
            check.beats += 1
            world.advance_us(BEAT_US - (world.us - began_us))
        return count

    def _differs(self, is_open: bool) -> None:
        check = self.check
        check.differences += 1
        if not check.first_difference:
            d = self.alone.decision
            check.first_difference = f"second {self.app.now_s}: contact {is_open}, decision {d.valve}, {d.refusals:x}"

    def note_errors(self) -> None:
        """How far the app's readings are from the world's, at the end of a minute."""
        readings, world, worst = self.app.readings, self.world, self.check.worst
        for name in worst:
            sample = getattr(readings, name)
            if sample.error == 0 and not (name != "outdoor_c" and world.humidity_fault):
                worst[name] = max(worst[name], abs(sample.value - getattr(world, name)))


def run_board(course, sensors, settings, clock, start_pct: float, progress=None, forecasts=None, steps=None, kind=None):
    """(policies.Run, Check as a dict) of the app in the course; steps: so many house steps only, None for all;
    kind: another class than OnBoard, for whoever looks over its shoulder.

    clock: (utc_s of step 0, utc_offset_s).  A winter takes some 20 minutes; progress(share) once a simulated hour.
    """
    n = course.n_steps if steps is None else min(steps + 1, course.n_steps)
    run = policies.Run(course.n_steps, BEATS)
    run.add_decisions(course.n_steps)
    house = run.end = plant.Moisture(course, start_pct)
    if forecasts is not None:
        forecasts.rewind()
    with tempfile.TemporaryDirectory() as folder:
        board = (kind or OnBoard)(course, sensors, settings, clock, folder)
        app = board.app
        run.learned = app.controller
        for k in range(n - 1):
            run.w_g_kg[k] = house.w_g_kg
            board.at_step(k, house)
            if k % HOUR_STEPS == 0:
                board.tell_time(k)
                if progress:
                    progress(k / n)
            if forecasts is not None:
                forecasts.at_step(k, app.readings)
            run.valve[k] = count = board.minute()
            board.note_errors()
            before_kg = house.evaporated_kg
            house.step(k, count / BEATS)
            run.evaporated_kg_h[k] = (house.evaporated_kg - before_kg) / course.dt_h
            policies.note(run, k, app.controller.decision)
        run.w_g_kg[n - 1] = house.w_g_kg
        policies.note(run, n - 1, app.controller.decision)
        run.valve_starts = app.counters.valve_starts
        return run, {"switches": len(board.switched), **board.check.as_dict(app)}


def needs_firmware() -> None:
    """Make the firmware importable where it lies beside the simulator in a checkout."""
    firmware = Path(__file__).resolve().parents[2] / "firmware"
    if (firmware / "dewboard").is_dir() and str(firmware) not in sys.path:
        sys.path.insert(0, str(firmware))
