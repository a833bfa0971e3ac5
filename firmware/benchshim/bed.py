"""A board as new, in a dry house whose furnace heats, on made-up wires: seconds pass only when asked for.

    Bed(virtual, folder)             virtual: the module dewsim.virtual, or its copy on a board; folder: what it keeps
    .renew(settings, start_ms, known)   everything begins again; settings, and what was learned before: each by its name
    .put(name, value)                an input of the virtual board (PUT)
    .beat() .attend(n, pressed) .power_off(seconds)             time passes in these only
    .tell_time(utc_s, offset_s) .forecast(outdoor_c, issued_ago_s) .change(name, value) .look(code) .request(code, s)
    .told()                          what the app decided and what its wires show, as plain values

The app runs as on any board, its drivers against virtual chips and waves.  CPython, MicroPython.
"""

import json
import os
import struct
from binascii import hexlify

from dewboard import start
from dewboard.clock import Clock
from dewboard.store import Store, make_folder, save_settings
from dewcore.controller import Controller
from dewcore.feed import accept
from dewcore.learned import pack, scalars
from dewcore.readings import FORECAST_HOURS, FORECAST_NONE
from dewcore.settings import Settings

TYPE_CHECKING = False
if TYPE_CHECKING:
    from benchshim.shapes import Told, Value, Virtual, World
    from dewboard.app import App
    from dewboard.pins import Pins

BEAT_US = 1000000
ATTEND_US = 50000
ATTENDS_A_BEAT = BEAT_US // ATTEND_US
DAY_ONE_S = 1705276800  # Monday, 15 January 2024, 00:00 UTC: the bench's first day
# How each bench begins: a furnace that heats, and a house dry enough to want water.
BEGIN = {
    "outdoor_c": 0.0,
    "indoor_c": 20.0,
    "rh_pct": 20.0,
    "fan_running": True,
    "heat_call": True,
    "terminal_live": True,
}
NUMBERS = ("outdoor_c", "indoor_c", "rh_pct", "glass_c", "supply_c", "room_c", "room_rh_pct", "terminal_vac")
FLAGS = ("fan_running", "heat_call", "terminal_live", "overflow", "off_switch", "absent", "dial_bridges", "wire_low")
OTHERS = ("leak", "drain", "mains_hz", "relay_fault", "humidity_fault", "thermometer_faults")
TUPLES = ("half_wave", "chatter", "stuck_lit")
PUT = NUMBERS + FLAGS + OTHERS + TUPLES
LOOK = 1  # bits of `pressed`
ALARM = 2


def image(settings: "Settings", known: dict) -> bytearray:
    """What a board has stored that knows so much of its house."""
    controller = Controller(settings)
    for part, rows in scalars(controller):
        for row in rows:
            if row[0] in known:
                setattr(part, row[0], known[row[0]])
    return pack(controller)


class Bed:
    """One app and its world; after renew both are there."""

    def __init__(self, virtual: "Virtual", folder: str) -> None:
        self.virtual = virtual
        self.folder = folder

    def renew(self, settings: dict, start_ms: int, known: dict) -> None:
        """A board as new, in the world of BEGIN, installed with these settings; known: as if restored from another."""
        make_folder(self.folder)
        for name in os.listdir(self.folder):
            os.remove(self.folder + "/" + name)
        self.world: "World" = self.virtual.VirtualBoard(start_ms)
        kept = Settings()
        kept.change(settings)
        save_settings(Store(self.folder, "settings"), kept)
        Store(self.folder, "probes").save(json.dumps(self.world.rom_codes()).encode())
        if known:
            Store(self.folder, "learned").save(bytes(image(kept, known)))
        self.utc_zero_s = DAY_ONE_S
        self.restarts = 0
        for name in BEGIN:
            self.put(name, BEGIN[name])
        self.start()

    def start(self) -> None:
        """What main.py does after the serial window."""
        self.app: "App" = start.build(self.open_pins(), Clock(self.world), self.folder)

    def open_pins(self) -> "Pins":
        """The pins of this world."""
        raise NotImplementedError

    def read_back(self) -> None:
        """After each beat: the world follows the outputs, where they are not its own."""

    # what a person does

    def put(self, name: str, value: "Value") -> None:
        """An input at once; a sequence where TUPLES has it."""
        if name not in PUT:
            raise ValueError("no such input: " + name)
        setattr(self.world, name, tuple(value) if name in TUPLES else value)

    def change(self, name: str, value: object) -> str:
        """A setting, as from the board's page; "" or the refusal."""
        return self.app.change_settings({name: value})

    def look(self, code: int) -> None:
        """A look at the window, SAW_*."""
        self.app.look(code)

    def request(self, code: int, seconds: int = 0) -> None:
        """REQUEST_*."""
        self.app.request(code, seconds)

    def tell_time(self, utc_s: int, offset_s: int = 0) -> None:
        """What a feed's messages tell of the time from now on; three, for one that sets the clock back."""
        self.utc_zero_s = utc_s - self.now_s()
        message = {"schema": 1, "source": "bench", "sent_s": utc_s, "utc_offset_s": offset_s, "issued_s": utc_s}
        for _ in range(3):
            self.app.wall.take(message, False, self.app.clock.now_s())

    def forecast(self, outdoor_c: "float | None", issued_ago_s: int = 0) -> str:
        """A message with 72 hours of one temperature, or no forecast any more; "" or the board's refusal."""
        readings = self.app.readings
        if outdoor_c is None:
            readings.forecast_issued_s = readings.forecast_start_s = 0
            for n in range(FORECAST_HOURS):
                readings.forecast_dc[n] = FORECAST_NONE
            return ""
        sent_s = self.utc_zero_s + self.now_s()
        message = {
            "schema": 1,
            "source": "bench",
            "sent_s": sent_s,
            "issued_s": sent_s - issued_ago_s,
            "start_s": sent_s - issued_ago_s,
            "step_s": 3600,
            "outdoor_c": [outdoor_c] * FORECAST_HOURS,
        }
        return accept(message, readings, self.app.now_s, self.app.utc_s())

    # time

    def now_s(self) -> int:
        """Seconds since the bench began, the board's restarts included."""
        return self.world.us // BEAT_US

    def beat(self) -> None:
        """A second; a board whose watchdog bites starts again by itself."""
        world = self.world
        until_us = (self.now_s() + 1) * BEAT_US
        try:
            self.app.beat()
            self.read_back()
            world.advance_us(until_us - world.us)
        except self.virtual.BoardReset:
            self.restarts += 1
            self.start()
            world.advance_us(max(0, until_us - world.us))

    def attend(self, n: int, pressed: int) -> None:
        """Look number n at the buttons since the first, number 0, with a beat each second; pressed: LOOK, ALARM."""
        world = self.world
        self.reach(n)
        world.look_pressed = bool(pressed & LOOK)
        world.alarm_pressed = bool(pressed & ALARM)
        self.app.attend()
        if n % ATTENDS_A_BEAT == 0:
            self.app.beat()
            self.read_back()

    def reach(self, n: int) -> None:
        """The moment of look number n."""
        world = self.world
        if n == 0:
            self.began_us = world.us
        world.advance_us(max(0, self.began_us + n * ATTEND_US - world.us))

    def power_off(self, seconds: int) -> None:
        """The board's 5 V gone for so long; whatever it did not store is lost."""
        try:
            self.world.power_cut()
        except self.virtual.BoardReset:
            self.restarts += 1
        self.world.advance_us(seconds * BEAT_US)
        self.start()

    # what is seen

    def told(self) -> "Told":
        """In the order of TOLD; the last is the numbers of TOLD_NUMBERS, whole to their last bit."""
        world = self.world
        controller = self.app.controller
        d = controller.decision
        i = controller.judge.inputs
        numbers = (d.target_pct, d.ceiling_pct, d.coldest_c, d.margin_k, i.rh_pct, i.indoor_c, i.outdoor_c)
        return [
            self.now_s(),
            self.restarts,
            int(d.valve),
            d.proof,
            d.binds,
            d.refusals,
            d.notices,
            controller.permit.latched,
            d.hold_s,
            self.app.counters.valve_starts,
            int(world.contact_closed),
            int(world.heat_call),
            int(world.terminal_live),
            int(world.valve_powered),
            hexlify(struct.pack("<7d", *numbers)).decode(),
        ]


TOLD = ("seconds", "restarts", "valve", "proof", "binds", "refusals", "notices", "latched", "hold_s", "starts",
        "contact_closed", "heat_call", "terminal_live", "valve_powered")  # fmt: skip
TOLD_NUMBERS = ("target_pct", "ceiling_pct", "coldest_c", "margin_k", "rh_pct", "indoor_c", "outdoor_c")
