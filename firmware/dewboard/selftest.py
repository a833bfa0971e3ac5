"""The self-test of a release before it counts: everything loads, the pins open, one reading, one scan.

    run(folder)     prints lines "what: found", the last of them "self-test: passed" or "self-test: failed: why"

No watchdog is armed and no lease taken: the contact stays open.  What is not wired is told and is no failure, so
that a board may get its program before its wires.  Ten seconds: thermometers take that long.
"""

import gc
import sys
import time

from dewboard import VERSION, release
from dewboard.start import FOLDER

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.clock import Clock
    from dewboard.pins import Pins
    from dewcore.readings import Readings
    from dewcore.settings import Settings

BEATS = 8  # a conversion, and three thermometers read one after the other
BEAT_US = 1000000


def run(folder: str = FOLDER) -> None:
    """Print what is found, and whether it will do."""
    try:
        wrong = _load() or _try(folder)
    except Exception as problem:  # noqa: BLE001 - whatever it is, it is the result
        wrong = repr(problem)
    print("self-test: failed: " + wrong if wrong else "self-test: passed")


def _load() -> str:
    """Everything that the running program needs, in memory; what is wrong with the release."""
    wrong = release.problem()
    if wrong:
        return wrong
    from dewboard import app, guard, hardware, keep, page, tasks, wifi

    loaded = (app, guard, hardware, keep, page, tasks, wifi)
    gc.collect()
    print("version: " + VERSION + " in " + str(len(loaded)) + " parts, interpreter " + sys.version.split("; ")[-1])
    if hasattr(gc, "mem_free"):
        print("free memory with everything loaded: " + str(gc.mem_free()) + " bytes")
    return ""


def _try(folder: str) -> str:
    """Pins, thermometers, readings and a scan; what forbids this release."""
    from dewboard.clock import Clock
    from dewboard.pins import open_pins
    from dewcore.controller import Controller
    from dewcore.readings import ON, Readings
    from dewcore.settings import Settings
    from dewcore.words import sentences

    pins = open_pins()
    if pins.relay.value():
        return "the relay's pin does not go low"
    print("contact: open")
    settings = Settings()
    drivers = Drivers(pins, Clock(time), settings, _stored(folder, settings))
    drivers.tell_thermometers()
    readings = Readings()
    now_s = drivers.read(readings)
    drivers.tell(readings)
    if readings.load_sense.state == ON:
        return "the valve has power with the contact open; take the fuse of the valve branch out"
    controller = Controller(settings)
    controller.scan(readings, now_s)
    for sentence in sentences(controller.decision.refusals, controller.decision.notices):
        print("first scan: " + sentence)
    return "the first scan opens the valve" if controller.decision.valve else ""


def _stored(folder: str, settings: "Settings") -> dict:
    """The stored settings into `settings`; the stored thermometers, {place: code}.  Writes nothing."""
    import json

    from dewboard.store import Store, load_settings

    load_settings(Store(folder, "settings"), settings)
    payload = Store(folder, "probes").load()
    return json.loads(payload) if payload else {}


class Drivers:
    """The drivers of `dewboard.hardware` without relay, lease and watchdog."""

    def __init__(self, pins: "Pins", clock: "Clock", settings: "Settings", codes: dict) -> None:
        from dewboard.contacts import Contacts
        from dewboard.humidity import Humidity, main_chips, room_chips
        from dewboard.thermometers import Thermometers

        self.clock = clock
        self.contacts = Contacts(pins, clock, settings)
        self.humidity = Humidity(pins.i2c, clock, main_chips())
        self.room = Humidity(pins.i2c, clock, room_chips())
        self.thermometers = Thermometers(pins.wire, codes)

    def read(self, readings: "Readings") -> int:
        """So many beats that everything was read; the last one's second."""
        clock = self.clock
        now_s = clock.now_s()
        for _ in range(BEATS):
            clock.sleep_us(BEAT_US)
            now_s = clock.now_s()
            self.contacts.read(readings, now_s)
            self.humidity.step(readings.indoor_c, readings.rh_pct, now_s)
            self.room.step(readings.room_c, readings.room_rh_pct, now_s)
            self.thermometers.step(readings, now_s)
        return now_s

    def tell_thermometers(self) -> None:
        """Each one's code on the wire, and its place; then the places whose thermometer does not answer."""
        found = self.thermometers.search()
        places = {one.code: one.place for one in self.thermometers.assigned}
        for code in found:
            print("thermometer: " + "".join(["%02X" % value for value in code]) + " " + places.get(code, "no place"))
        for code in places:
            if code not in found:
                print("thermometer: none answers for " + places[code])
        if not found and not places:
            print("thermometer: none found")

    def tell(self, readings: "Readings") -> None:
        """Values that were read."""
        from dewcore.readings import SAMPLE_NAMES
        from dewcore.words import decimal

        print("humidity sensor: " + (self.humidity.name or "none found"))
        for name in SAMPLE_NAMES:
            sample = getattr(readings, name)
            if sample.at_s >= 0:
                print(name + ": " + decimal(sample.value, 1))
