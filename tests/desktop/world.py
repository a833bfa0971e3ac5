"""A world done to a controller: readings, contacts, relay, clock, settings, reboots, by hand or at random.

`World.scan` makes one scan and lets `invariants.Watch` look at it.  `Episode` plays a random course that its
identity, "seed:index", gives again exactly.
"""

import random

from invariants import Watch

from dewcore import readings as r
from dewcore.controller import Controller
from dewcore.settings import TABLE, SettingError, Settings

NAN = float("nan")
INF = float("inf")
VALUES = {
    "indoor_c": 20.0,
    "rh_pct": 20.0,
    "outdoor_c": 0.0,
    "glass_c": 15.0,
    "supply_c": 45.0,
    "room_c": 19.0,
    "room_rh_pct": 22.0,
}
ALLOWING = {"fan": r.ON, "heat_call": r.ON, "line_sense": r.ON}
MODES = (
    "good",
    "nan",
    "inf",
    "minus_inf",
    "huge",
    "negative",
    "no_answer",
    "checksum",
    "range",
    "silent",
    "never",
    "old",
    "older",
    "future",
    "backwards",
)
AWAY_C = {"inf": INF, "minus_inf": -INF, "nan": NAN, "huge": 1e30, "negative": -999.0}
ERRORS = {"no_answer": r.ERROR_NO_ANSWER, "checksum": r.ERROR_CHECKSUM, "range": r.ERROR_RANGE}
AGES_S = {"old": 40, "older": 7300, "future": -100}
CLOCKS_S = (0, 1, 1766300000, 1766343200, 1766343200 - 946684800, 1766343200 + 946684800, 2147483647)


# Seconds from a forecast's issue, and from its first hour, to now.
ISSUED_S = (0, 0, 600, 7200, 7200, 30000, 64800, 65000, -500, -700, -7200, 10**9)
UNTIL_S = (0, 1, 60, 1200, 3600, 100000, -5)


CORRECTION = ("rh_offset_pct", "rh_gain")
OFFSETS = ("indoor_offset_k", "outdoor_offset_k", "glass_offset_k", "room_offset_k")
# Corrections have draws of their own: identities stay.
ROWS = [row for row in TABLE if row[0] not in CORRECTION + OFFSETS]


def random_correction(identity):
    """For one course in five a correction of the humidity sensor, by the course's identity alone.

    For as many, others, one of the thermometers.
    """
    changes = {}
    for word, names in (("correction ", CORRECTION), ("offsets ", OFFSETS)):
        rng = random.Random(word + identity)
        if rng.random() <= 0.2:
            for name, _, _, low, high in TABLE:
                if name in names:
                    changes[name] = rng.choice((low, high, rng.uniform(low, high)))
    return changes


def random_settings(rng, count):
    """So many random rows of the table, each within its bounds; which of them agree is for `change` to say."""
    changes = {}
    for name, _, default, low, high in rng.sample(ROWS, count):
        if isinstance(default, int):
            changes[name] = rng.choice((low, high, default, rng.randint(low, high)))
        else:
            changes[name] = rng.choice((low, high, default, rng.uniform(low, high)))
    return changes


class World:
    """Readings and contacts as they will be at the next scan, the relay behind the command, and the controller.

    modes: how each sample arrives; follows: whether the contact closes on command; welded: whether it is stuck
    closed; late: whether the load sense shows the contact a scan late; forced: a state of the load sense
    whatever the contact does, or None.
    """

    def __init__(self, changes=None, start_s=1000):
        self.settings = Settings()
        self.change(changes or {})
        self.now_s = start_s
        self.readings = r.Readings()
        self.values = dict(VALUES)
        self.modes = dict.fromkeys(VALUES, "good")
        self.follows = True
        self.welded = False
        self.late = False
        self.forced = None
        self.closed = False
        self.open_until_s = -(10**9)  # over reboots, too
        self.controller = Controller(self.settings)
        self.watch = Watch(self)
        for name in r.CONTACT_NAMES:
            if name == "fan" or getattr(self.settings, "has_" + name):
                self.contact(name, ALLOWING.get(name, r.OFF))

    def change(self, changes):
        """New settings, as far as they are accepted."""
        try:
            self.settings.change(changes)
        except SettingError:
            return False
        return True

    def contact(self, name, state):
        getattr(self.readings, name).set(state, self.now_s)

    def bounce(self, name):
        """The contact left its state and came back since the last scan."""
        getattr(self.readings, name).since_s = self.now_s

    def forecast(self, rng):
        """A forecast near the outdoor reading, far from it, with holes, or of no sense at all."""
        readings = self.readings
        readings.forecast_issued_s = max(0, readings.utc_s - rng.choice(ISSUED_S))
        readings.forecast_start_s = max(0, readings.forecast_issued_s - rng.choice((0, 0, 3600, -3600, -86400)))
        kind = rng.choice(("near", "near", "far", "holes", "nonsense", "none"))
        value = 10.0 * self.values["outdoor_c"] if self.values["outdoor_c"] == self.values["outdoor_c"] else 0.0
        value = min(600.0, max(-700.0, value)) + (rng.choice((-150.0, 150.0)) if kind == "far" else 0.0)
        for n in range(r.FORECAST_HOURS):
            value += rng.uniform(-15.0, 15.0)
            hour = min(32767, max(-32768, int(value)))
            if kind == "none" or kind == "holes" and rng.random() < 0.2:
                hour = r.FORECAST_NONE
            elif kind == "nonsense":
                hour = rng.choice((-32768, -32767, -701, -700, 0, 600, 601, 32767))
            readings.forecast_dc[n] = hour

    def heal(self):
        """Everything as it should be, for whatever is fitted now."""
        self.modes = dict.fromkeys(VALUES, "good")
        self.follows = True
        self.welded = self.late = False
        self.forced = None
        for name in r.CONTACT_NAMES:
            if name == "fan" or getattr(self.settings, "has_" + name):
                if name != "load_sense":
                    self.contact(name, ALLOWING.get(name, r.OFF))

    def reboot(self, keep=True):
        """A new controller; the board stores latched alarms and hands them back, unless it lost its storage."""
        if self.controller.decision.valve:
            self.open_until_s = self.now_s
        latched = self.controller.permit.latched if keep else 0
        self.controller = Controller(self.settings)
        self.controller.permit.latched = latched
        self.watch = Watch(self, latched)

    def is_night(self):
        utc_s = self.readings.utc_s
        if utc_s == 0:
            return True
        minute = (utc_s + self.readings.utc_offset_s) // 60 % 1440
        first, last = self.settings.curtains_from_min, self.settings.curtains_to_min
        return first <= minute < last if first <= last else not last <= minute < first

    def scan(self, seconds):
        """Let time pass, scan, and give the broken promises."""
        self.now_s += seconds
        if self.readings.utc_s:
            self.readings.utc_s += seconds
        for name, mode in self.modes.items():
            self._arrive(getattr(self.readings, name), self.values[name], mode)
        self._load()
        return self.again()

    def again(self):
        """A scan of the readings as they stand, without any time between; the broken promises."""
        was_open = self.controller.decision.valve
        is_open = self.controller.scan(self.readings, self.now_s).valve
        broken = self.watch.check()
        if is_open:
            if not was_open and not self.now_s - self.open_until_s >= self.settings.min_off_s:
                broken.append("V4 open %d s after it was last open" % (self.now_s - self.open_until_s))
            self.open_until_s = self.now_s
        return broken

    def _arrive(self, sample, value, mode):
        if mode == "good":
            sample.set(value, self.now_s)
        elif mode in AWAY_C:
            sample.set(AWAY_C[mode], self.now_s)
        elif mode in ERRORS:
            sample.error = ERRORS[mode]
        elif mode in AGES_S:
            sample.set(value, self.now_s - AGES_S[mode])
        elif mode == "never":
            sample.set(value, -1)
        elif mode == "backwards":
            sample.set(value, max(0, sample.at_s - 1))

    def _load(self):
        """What stands behind the contact, on a live line only."""
        if not self.settings.has_load_sense:
            return
        if self.forced is not None:
            self.contact("load_sense", self.forced)
            return
        closed = self.welded or self.controller.decision.valve and self.follows
        shown = self.closed if self.late else closed
        self.closed = closed
        self.contact("load_sense", r.ON if shown and self.readings.line_sense.state == r.ON else r.OFF)


# What an episode is about: seconds between its scans, share of scans at which something happens, what happens
# (weights of `Episode`'s actions), settings that are given.
EVERYTHING = {
    "heal": 6,
    "contact": 4,
    "bounce": 2,
    "mode": 4,
    "value": 4,
    "jump": 1,
    "walk": 6,
    "relay": 2,
    "clear": 1,
    "rearm": 1,
    "look": 1,
    "window": 1,
    "forecast": 1,
    "clock": 1,
    "settings": 1,
    "reboot": 1,
}
KINDS = (
    # name, steps [s], share, weights, settings
    ("everyday", (10,) * 8 + (1, 60), 0.15, EVERYTHING, {}),
    ("storm", (0, 1, 1, 2, 5, 10), 0.5, EVERYTHING, {}),
    ("gaps", (0, 1, 9, 10, 60, 299, 600, 3600, 7200, 86400, 400000), 0.4, EVERYTHING, {}),
    ("calm", (10, 30, 60), 0.03, {"walk": 20, "heal": 2, "mode": 1, "contact": 1, "value": 1}, {}),
    ("relay", (1, 1, 2, 5, 10), 0.2, {"relay": 8, "heal": 4, "clear": 2, "contact": 1, "bounce": 2, "walk": 2}, {}),
    ("tries", (5, 10), 0.01, {"relay": 1}, {"min_off_s": 60, "has_load_sense": 1, "has_line_sense": 1}),
    ("drain", (60,), 0.06, {"drain": 6, "walk": 2, "clear": 1, "heal": 1}, {"has_drain_wet": 1}),
    ("long", (60, 300), 0.01, {"walk": 1}, {"max_run_s": 1800, "min_on_s": 60, "has_drain_wet": 0}),
    ("starts", (10, 30), 0.2, {"heat": 8, "walk": 1}, {"min_off_s": 60, "max_starts_per_h": 2}),
    ("no_fan", (600, 3600), 0.05, {"walk": 2, "clock": 1}, {"has_heat_call": 1}),
    ("outdoor", (60, 300, 600), 0.2, {"outdoor": 8, "heal": 2, "outdoor_mode": 4}, {}),
    ("warm", (300, 600), 0.05, {"outdoor": 2, "walk": 1}, {}),
    ("humid", (60, 300), 0.05, {"walk": 1, "mode": 1, "heal": 1}, {}),
    ("supply", (10, 30), 0.15, {"supply": 6, "heat": 1, "contact": 1, "heal": 3}, {"has_supply": 1, "fan_grade": 1}),
    (
        "window",
        (10, 30, 60),
        0.08,
        {"look": 4, "window": 6, "walk": 3, "rearm": 1, "clock": 1},
        {"window_test_allowed": 1},
    ),
    ("looks", (60, 300), 0.3, {"look": 8, "humid": 4, "walk": 1}, {}),
    ("forecast", (60, 300, 600), 0.1, {"forecast": 3, "walk": 4, "outdoor": 2, "clock": 1}, {"look_ahead": 1}),
    ("doubt", (300,), 0.0, {"walk": 1}, {"look_ahead": 1, "has_absent": 0}),
)
# One course in six, by a draw of its own: a house that is known, and one thing about it that takes hours to tell.
LIVED_SHARE = 0.17
LIVED = ("lived", (300,), 0.0, {"walk": 1}, {"look_ahead": 1, "has_absent": 0, "has_heat_call": 1})
# what it is about: settings; what was learned; % RH in five minutes of water, and of none
ABOUT = {
    "dry": ({"has_drain_wet": 0}, {"strength": 1.0, "recent": 1.0}, 0.0, 0.0),
    "airless": ({"has_drain_wet": 1}, {"strength": 1.0, "recent": 1.0}, 0.0, 0.0),
    "leaks": ({"wish_pct": 10.0}, {"strength": 1.0, "recent": 1.0}, 0.5, -1.0),
    "worn": ({}, {"strength": 2.0, "recent": 0.9}, 0.25, -0.5),
    "low": ({}, {"usual": 2.0, "excess": 0.3}, 0.1, -0.2),
    "differ": ({"has_room": 1}, {}, 0.1, -0.2),
    "warm": ({}, {}, 0.1, -0.2),
    "half": ({}, {}, 0.1, -0.2),
}


class Episode:
    """A random course of scans; `play` gives the first broken promise, or None."""

    def __init__(self, identity, scans=400):
        self.rng = random.Random(identity)
        self.identity = identity
        self.scans = scans
        self.done = 0
        self.refusals = 0
        self.notices = 0
        self.opened = 0
        self.asking = 0  # scans for which the owner still confirms being at the window
        rng = self.rng
        own = random.Random("water %s" % identity)
        lived = own.random() < LIVED_SHARE
        self.about = own.choice(sorted(ABOUT)) if lived else ""
        kind = rng.choice(KINDS)
        self.kind, self.steps_s, self.share, weights, given = LIVED if lived else kind
        self.names = [name for name, weight in weights.items() for _ in range(weight)]
        changes = random_settings(rng, rng.choice((0, 0, 3, 8, len(ROWS))))
        changes.update(random_correction(str(identity)))
        if self.kind not in ("everyday", "storm", "gaps"):
            for name in ("owner_off", "has_leak", "has_overflow", "has_absent"):
                changes.pop(name, None)
        if lived:
            changes.update(ABOUT[self.about][0])
        world = self.world = World(changes, rng.choice((0, 5, 1000, 2**30 - 500)))
        world.change(given)
        world.heal()
        world.readings.utc_s = rng.choice(CLOCKS_S)
        self._begin(world)

    def _begin(self, world):
        rng = self.rng
        world.values["outdoor_c"] = rng.choice((-40.0, -20.0, -5.0, 0.0, 5.0, 10.0))
        world.values["rh_pct"] = rng.choice((12.0, 18.0, 20.0, 25.0, 33.0))
        if self.kind == "no_fan":
            world.contact("fan", r.OFF)
        elif self.kind == "warm":
            world.values["outdoor_c"] = rng.uniform(10.0, 25.0)
        elif self.kind == "humid":
            world.values["rh_pct"] = rng.uniform(60.0, 98.0)
        elif self.kind == "tries":
            world.follows = False
            world.values["rh_pct"] = 5.0
        elif self.kind == "long":
            world.values["rh_pct"] = 3.0
        elif self.kind in ("window", "looks", "forecast"):
            world.readings.utc_s = 1766275200 + rng.randint(3, 10) * 3600  # a morning in December
            world.values.update(rh_pct=rng.uniform(38.0, 52.0), outdoor_c=rng.choice((-8.0, 0.0, 3.0)))
        elif self.kind == "doubt":
            world.readings.utc_s = 1766275200
            world.values.update(rh_pct=20.0, outdoor_c=0.0)
        elif self.kind == "lived":
            world.values.update(rh_pct=15.0, outdoor_c=0.0)
            world.controller.outlook.house.hours = 300
            for name, value in ABOUT[self.about][1].items():
                setattr(world.controller.outlook.doubts, name, value)

    def play(self):
        """All scans, or up to the first broken promise: its text or None."""
        rng = self.rng
        world = self.world
        for n in range(self.scans):
            world.readings.request = r.REQUEST_WINDOW if self.asking else r.REQUEST_NONE
            self.asking = max(0, self.asking - 1)
            if self.kind == "doubt":  # a dry half day, then moisture that no rate explains
                world.values["rh_pct"] = min(70.0, max(20.0, 20.0 + (n - 144) / 2.4))
            elif self.kind == "lived":
                self._live(n)
            while rng.random() < self.share:
                getattr(self, "do_" + rng.choice(self.names))()
            broken = world.scan(rng.choice(self.steps_s))
            self.done = n + 1
            d = world.controller.decision
            self.refusals |= d.refusals
            self.notices |= d.notices
            self.opened += d.valve
            if broken:
                return "%s, %s, scan %d at %d s: %s" % (self.identity, self.kind, n, world.now_s, "; ".join(broken))
        return None

    def _live(self, n):
        """Five minutes of a furnace that heats 40 minutes of the hour, and of what this course is about."""
        world = self.world
        values = world.values
        heats = n % 12 < 8
        for name in ("fan", "heat_call", "line_sense"):
            if name == "fan" or getattr(world.settings, "has_" + name):
                world.contact(name, r.ON if heats else r.OFF)
        valve = world.controller.decision.valve
        if world.settings.has_drain_wet:
            world.contact("drain_wet", r.ON if valve and heats else r.OFF)
        _, _, wetter, drier = ABOUT[self.about]
        flows = heats and (valve or self.about == "leaks")
        values["rh_pct"] = min(60.0, max(12.0, values["rh_pct"] + (wetter if flows else drier)))
        values["indoor_c"] = 20.0 + (2.9 * min(2, n % 12, max(0, 9 - n % 12)) if self.about == "warm" else 0.0)
        values["room_rh_pct"] = values["rh_pct"] + (9.0 if self.about == "differ" else 0.0)
        values["room_c"] = values["indoor_c"]
        world.readings.half_wave = 1 if self.about == "half" else 0

    def do_heal(self):
        self.world.heal()
        self.world.values.update(supply_c=45.0, glass_c=15.0, room_c=19.0, room_rh_pct=22.0, indoor_c=20.0)

    def do_contact(self):
        rng = self.rng
        self.world.contact(rng.choice(r.CONTACT_NAMES), rng.choice((r.OFF, r.ON, r.ON, r.UNREADABLE, r.NOT_FITTED)))

    def do_bounce(self):
        self.world.bounce(self.rng.choice(r.CONTACT_NAMES))

    def do_heat(self):
        self.world.contact("heat_call", self.rng.choice((r.OFF, r.ON)))

    def do_mode(self):
        self.world.modes[self.rng.choice(r.SAMPLE_NAMES)] = self.rng.choice(MODES)

    def do_outdoor_mode(self):
        self.world.modes["outdoor_c"] = self.rng.choice(MODES)

    def do_outdoor(self):
        values = self.world.values
        step_k = self.rng.choice((0.0, 0.1, 0.5, 2.0, 15.0))
        values["outdoor_c"] = min(60.0, max(-70.0, values["outdoor_c"] + self.rng.uniform(-step_k, step_k)))

    def do_value(self):
        rng = self.rng
        name = rng.choice(r.SAMPLE_NAMES)
        low, high = {"rh_pct": (0.0, 101.0), "room_rh_pct": (0.0, 101.0), "outdoor_c": (-72.0, 62.0)}.get(
            name, (-2.0, 47.0)
        )
        self.world.values[name] = rng.choice((rng.uniform(low, high), rng.uniform(15.0, 30.0), low, high))

    def do_jump(self):
        name = self.rng.choice(r.SAMPLE_NAMES)
        self.world.values[name] += self.rng.choice((-20.0, -8.1, -3.1, 3.1, 8.1, 20.0))

    def do_walk(self):
        rng = self.rng
        values = self.world.values
        values["rh_pct"] = min(98.0, max(2.0, values["rh_pct"] + rng.uniform(-4.0, 4.0)))
        values["indoor_c"] = min(30.0, max(10.0, values["indoor_c"] + rng.uniform(-0.5, 0.5)))
        values["outdoor_c"] = min(30.0, max(-45.0, values["outdoor_c"] + rng.uniform(-1.0, 1.0)))

    def do_supply(self):
        self.world.values["supply_c"] = self.rng.choice((20.0, 27.9, 28.1, 45.0))
        if self.rng.random() < 0.2:
            self.world.modes["supply_c"] = self.rng.choice(MODES)

    def do_relay(self):
        rng = self.rng
        world = self.world
        world.follows = rng.random() < 0.5
        world.welded = rng.random() < 0.2
        world.late = rng.random() < 0.3
        world.forced = rng.choice((None, None, None, r.OFF, r.ON, r.UNREADABLE))

    def do_drain(self):
        self.world.contact("drain_wet", self.rng.choice((r.OFF, r.ON, r.ON, r.UNREADABLE)))

    def do_clear(self):
        self.world.readings.request = r.REQUEST_CLEAR

    def do_rearm(self):
        self.world.readings.request = self.rng.choice((r.REQUEST_REARM, r.REQUEST_WINDOW, r.REQUEST_TIMED_RUN, 99))
        self.world.readings.request_until_s = self.world.now_s + self.rng.choice(UNTIL_S)

    def do_look(self):
        self.world.readings.look = self.rng.choice((r.SAW_NOTHING, r.SAW_NOTHING, r.SAW_FOG, r.SAW_CLEAR, 99))

    def do_window(self):
        self.asking = self.rng.choice((1, 3, 20, 200))
        self.world.readings.request = r.REQUEST_WINDOW
        self.world.readings.request_until_s = self.world.now_s + self.rng.choice(UNTIL_S)

    def do_forecast(self):
        self.world.forecast(self.rng)

    def do_humid(self):
        self.world.values["rh_pct"] = self.rng.uniform(25.0, 65.0)

    def do_clock(self):
        readings = self.world.readings
        jump_s = self.rng.choice((0, 3600, -3600, 946684800, -946684800))
        readings.utc_s = max(1, readings.utc_s + jump_s) if jump_s else self.rng.choice(CLOCKS_S)
        readings.utc_offset_s = self.rng.choice((0, 0, -18000, 3600, 50400, 20700))

    def do_settings(self):
        self.world.change(random_settings(self.rng, self.rng.choice((1, 2, 5))))

    def do_reboot(self):
        self.world.reboot(self.rng.random() < 0.8)
