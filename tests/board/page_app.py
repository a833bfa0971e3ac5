"""A stand-in for the board's app: a real controller in a house at 20 °C, and what the page asks for besides."""

from array import array
from math import sin

from dewcore import readings as r
from dewcore.controller import Controller
from dewcore.record import SIZE, pack
from dewcore.settings import SettingError, Settings

BOOT_S = 100000
MOST = 1440  # records of a day
VALUES = {"indoor_c": 20.4, "rh_pct": 29.6, "outdoor_c": -6.3}
CONTACTS = {"fan": r.ON, "heat_call": r.ON, "line_sense": r.ON, "load_sense": r.OFF, "leak": r.OFF, "off_switch": r.OFF}


class Events:
    """The newest 20 events."""

    def __init__(self, app):
        self.app = app
        self.kept = []

    def add(self, text):
        self.kept.insert(0, (self.app.now_s, text))
        del self.kept[20:]

    def __iter__(self):
        return iter(self.kept)

    def texts(self):
        return [text for _, text in self.kept]


class History:
    """Records of the last day, all of this boot, in one piece of memory; the row is the same each time."""

    def __init__(self):
        self.boot = 7
        self.now_s = 0
        self.utc_s = 0
        self.data = b""
        self.times = array("i")
        self.packed = bytearray()
        self.count = 0

    def make_room(self, records):
        self.times = array("i", [0] * records)
        self.packed = bytearray(records * SIZE)

    def add(self, at_s, data):
        self.put(self.count, data)
        self.times[self.count] = at_s
        self.count += 1

    def put(self, n, data):
        self.packed[n * SIZE : (n + 1) * SIZE] = data

    def day(self, utc_s, now_s):
        for n in range(self.count):
            self.now_s = self.times[n]
            self.data = self.packed[n * SIZE : (n + 1) * SIZE]
            yield self


class App:
    """What a Page asks of the board's app; `calls` lists what it asked for; time stands where now_s is put."""

    def __init__(self):
        self.settings = Settings()
        self.controller = Controller(self.settings)
        self.readings = r.Readings()
        self.history = History()
        self.events = Events(self)
        self.counters = {"valve_starts": 1234, "valve_open_s": 987654, "boots": 7, "watchdog_resets": 0}
        self.version = "0.2.0-test"
        self.now_s = BOOT_S
        self.pressed_s = -1
        self.names = ("127.0.0.1", "dewmargin.local")
        self.image = None
        self.keep = self  # of the login's image
        self.calls = []
        self.forget = None
        self.safe = ""

    def hosts(self):
        return self.names

    def utc_s(self):
        return self.readings.utc_s

    def load_login(self):
        return self.image

    def store_login(self, image):
        self.image = image

    def look(self, code):
        self.calls.append(("look", code))
        self.readings.look = code

    def request(self, code, seconds=0):
        self.calls.append(("request", code, seconds))
        self.readings.request = code
        self.readings.request_until_s = self.now_s + seconds

    def end(self, code):
        self.calls.append(("end", code))

    def change_settings(self, values):
        self.calls.append(("settings", values))
        try:
            self.settings.change(values)
        except SettingError as error:
            return str(error)
        return ""

    def beat(self):
        """A second, and the scan where one is due."""
        self.now_s += 1
        readings = self.readings
        if self.controller.due(readings.contacts, self.now_s):
            for name in VALUES:
                getattr(readings, name).set(VALUES[name], self.now_s)
            live = self.controller.decision.valve
            readings.load_sense.set(r.ON if live else r.OFF, self.now_s)
            self.controller.scan(readings, self.now_s)

    def run(self, seconds):
        for _ in range(seconds):
            self.beat()

    def start(self):
        """Contacts as with a running furnace, and the first minutes."""
        for name in CONTACTS:
            getattr(self.readings, name).set(CONTACTS[name], self.now_s)
        self.run(400)


def fill(app):
    """A day of records before now, with a gap."""
    app.history.make_room(MOST)
    for minute in range(1440):
        if 600 <= minute < 660:
            continue
        wave = sin(minute / 230.0)
        values = {
            "outdoor_c": -6.0 - 5.0 * wave,
            "indoor_c": 20.4,
            "rh_pct": 29.0 + 2.0 * sin(minute / 97.0) - wave,
            "glass_c": 8.0,
            "ceiling_pct": 38.0 - 5.0 * wave,
            "target_pct": 31.0 - 3.0 * wave,
            "fan": 1.0 if minute % 30 < 14 else 0.0,
            "valve": 1.0 if minute % 30 < 11 and minute % 400 < 200 else 0.0,
            "reason": 31,
        }
        app.history.add(app.now_s - 60 * (1440 - minute), pack(values))
