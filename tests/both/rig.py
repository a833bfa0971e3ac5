"""A controller with every reading good, a relay that obeys, and ways to break one thing at a time."""

from dewcore import readings as r
from dewcore.controller import Controller
from dewcore.settings import Settings

NAN = float("nan")
INF = float("inf")
BOOT_S = 1000
FITTED = {
    "fan": "",
    "heat_call": "has_heat_call",
    "leak": "has_leak",
    "overflow": "has_overflow",
    "line_sense": "has_line_sense",
    "load_sense": "has_load_sense",
    "drain_wet": "has_drain_wet",
    "off_switch": "has_off_switch",
    "absent": "has_absent",
}
NORMAL = {"fan": r.ON, "heat_call": r.ON, "line_sense": r.ON, "load_sense": r.OFF}  # all others off


class Rig:
    """A dry house at 20 °C and 20 % RH, 0 °C outdoors, furnace and fan running; the board was just started.

    values: what each sample will read (None: no answer); errors: a sample's error code; follows: whether the
    relay obeys; welded: whether its contact is stuck closed; ticks: whether the wall clock, once set, runs.
    """

    def __init__(self, changes=None):
        self.settings = Settings()
        self.settings.change(changes or {})
        self.controller = Controller(self.settings)
        self.readings = r.Readings()
        self.now_s = BOOT_S
        self.values = {
            "indoor_c": 20.0,
            "rh_pct": 20.0,
            "outdoor_c": 0.0,
            "glass_c": 15.0,
            "supply_c": 45.0,
            "room_c": 20.0,
            "room_rh_pct": 20.0,
        }
        self.errors = {}
        self.follows = True
        self.welded = False
        self.ticks = False
        self.decision = self.controller.decision
        for name in r.CONTACT_NAMES:
            setting = FITTED[name]
            if not setting or getattr(self.settings, setting):
                self.contact(name, NORMAL.get(name, r.OFF))

    def contact(self, name, state):
        """Put a contact into a state from now on."""
        getattr(self.readings, name).set(state, self.now_s)

    def scan(self, seconds=0):
        """The next scan after `seconds`, with fresh readings; the Decision."""
        self.now_s += seconds
        if self.ticks:
            self.readings.utc_s += seconds
        for name in self.values:
            sample = getattr(self.readings, name)
            value = self.values[name]
            if value is None:
                sample.error = r.ERROR_NO_ANSWER
            else:
                sample.set(value, self.now_s)
                sample.error = self.errors.get(name, r.ERROR_OK)
        if self.readings.load_sense.state in (r.ON, r.OFF):
            closed = self.welded or (self.decision.valve and self.follows)
            live = closed and self.readings.line_sense.state == r.ON
            self.contact("load_sense", r.ON if live else r.OFF)
        return self.controller.scan(self.readings, self.now_s)

    def run(self, seconds, step_s=10):
        """Scans every step_s for `seconds`; the last Decision."""
        for _ in range(seconds // step_s):
            self.scan(step_s)
        return self.decision

    def dries(self, rh_pct):
        """The humidity falls to rh_pct as fast as air can, 7 % a scan; a fall at once would be doubted."""
        while self.values["rh_pct"] > rh_pct:
            self.values["rh_pct"] = max(rh_pct, self.values["rh_pct"] - 7.0)
            self.scan(10)
        return self.decision

    def refused(self, code):
        """Whether the last Decision names this refusal, and the valve is shut."""
        return not self.decision.valve and self.decision.refusals >> code & 1 == 1

    def noticed(self, code):
        """Whether the last Decision names this notice."""
        return self.decision.notices >> code & 1 == 1


def opened(changes=None):
    """A rig whose valve has just opened, all by the normal course of things."""
    rig = Rig(changes)
    for _ in range(400):
        rig.scan(10)
        if rig.decision.valve:
            return rig
    raise AssertionError("the valve never opened, refusals %x" % rig.decision.refusals)


def ready(changes=None):
    """A rig in which nothing but the humidity keeps the valve shut; the rest after boot is over."""
    rig = Rig(changes)
    rig.values["rh_pct"] = 60.0
    rig.run(400)
    return rig
