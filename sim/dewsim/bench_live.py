"""The bench as its page drives it: speed, pause, people and faults; what the page shows as one frame of plain data."""

import asyncio
import time

from dewcore import readings as r
from dewcore.psychro import vapour_pa, wetting_point_c
from dewcore.settings import TABLE, SettingError, accepted
from dewsim import bench_inputs as inputs
from dewsim import bench_ledger
from dewsim.bench_house import DRIVEN, DrivingHouse
from dewsim.bench_script import LOOKS, REQUESTS, sentence
from dewsim.bench_world import BUTTONS, Bench
from dewsim.errors import InputError, shown

# simulated seconds per second, and what the page calls it
SPEEDS = (
    (1, "real time"), (10, "10 times"), (60, "a minute a second"), (600, "10 minutes a second"),
    (3600, "an hour a second"), (10080, "a week a minute"),
)  # fmt: skip
SLICE_S = 0.004  # of beats, then whoever else waits has its turn: a request takes some six of them
BEHIND_S = 0.3  # what cannot be made up within so long is left out, and told
POINT_S = 60
MOST_POINTS = 7 * 1440 + 1
MEASURED_S = 1.0
FITTED = tuple([row[0] for row in TABLE if row[0].startswith("has_")])
LONGEST_POWER_OFF_S = 3600
SAVE_BEATS = 5  # a setting is stored by one of the next beats


MOST_OFTEN_S = 0.1  # between two frames of one page


class Live:
    """One bench, its house, its speed; every method leaves it whole, so that whoever serves it needs no lock.

    on_board: which real board, "" for the virtual one; lacks: what that one cannot do: (id of the place that tells it,
    selector of the controls, orders, reason).  ended: why the bench is over, "" while it is not.
    """

    on_board = ""
    lacks: tuple = ()
    first_beats = 12  # up to the first scan that has heard from its sensors

    def __init__(self, house, sky, settings, bed=None):
        self.bench = Bench(settings, bed)
        self.house = DrivingHouse(house, sky)
        self.units = house.units  # what the page shows first; frames and orders are SI
        self.speed = 1
        self.paused = False
        self.debt = 0.0  # beats due
        self.last = time.monotonic()
        self.counted_since, self.counted, self.achieved = self.last, 0, 1.0
        self.steady: float | None = None  # the forecast by hand
        self.frames = 0
        self.points: list = []
        self.first_point = 0  # how many were dropped before
        self.switched = ()
        self.actions = {
            "set": self.set, "release": self.release, "fault": self.fault, "speed": self.set_speed, "pause": self.pause,
            "beat": self.one_beat, "scan": self.one_scan, "jump": self.jump, "house": self.house_drives,
            "renew": self.renew, "press": self.press, "power": self.power, "forecast": self.forecast,
            "fit": self.fit, "look": self.look, "ask": self.ask, "clock": self.clock,
        }  # fmt: skip
        self.ended = ""
        for _ in range(self.first_beats):
            self.step()

    # for whoever serves it

    async def do(self, order: object) -> str:
        """As act, once whatever carries it out has its turn."""
        return self.act(order)

    def newest(self) -> dict:
        """The frame of now."""
        return self.frame()

    def whole(self, at: int) -> dict:
        """The same with the charts' points from number `at` on."""
        first = max(at, self.first_point)
        points = self.points[first - self.first_point :]
        return {**self.frame(), "first": first, "points": points, "kept_from": self.first_point}

    async def run(self, publish) -> None:
        """The bench's time, for good; publish() at most every MOST_OFTEN_S."""
        told = 0.0
        while True:
            seconds = self.bench.seconds
            wait_s = self.slice()
            if self.bench.seconds != seconds and time.monotonic() - told >= MOST_OFTEN_S:
                told = time.monotonic()
                publish()
            await asyncio.sleep(min(wait_s, 0.02))

    # time

    def step(self) -> None:
        """One beat, and what the house makes of it."""
        self.bench.beat()
        self.house.second(self.bench)
        self.counted += 1
        controller = self.bench.app.controller
        decision = controller.decision
        if not self.points and not controller.judge.inputs.trusted:
            return  # nothing has been read yet
        state = (decision.valve, self.bench.world.contact_closed, decision.refusals)
        if self.bench.seconds % POINT_S == 0 or state != self.switched and self.speed <= 60:
            self.switched = state
            self._point()

    def slice(self) -> float:
        """The beats that are due, for SLICE_S at most; how long nothing is due after it [s], 0 for more at once."""
        now = time.monotonic()
        if self.paused:
            self.last = now
            return 1.0
        self.debt = min(self.debt + (now - self.last) * self.speed, 1.0 + self.speed * BEHIND_S)
        self.last = now
        if now - self.counted_since >= MEASURED_S:
            self.achieved = self.counted / (now - self.counted_since)
            self.counted_since, self.counted = now, 0
        while self.debt >= 1.0:
            self.step()
            self.debt -= 1.0
            if time.monotonic() - now > SLICE_S:
                return 0.0
        return (1.0 - self.debt) / self.speed

    def act(self, order: object) -> str:
        """Do what the page asks; "" or a refusal of one line."""
        if not isinstance(order, dict) or order.get("do") not in self.actions:
            return f"found {shown(repr(order), 60)}, allowed is an object whose do is one of {', '.join(self.actions)}"
        if self.ended:
            return self.ended
        for _, _, orders, reason in self.lacks:
            if any(lacking.items() <= order.items() for lacking in orders):
                return reason
        arguments = {name: value for name, value in order.items() if name != "do"}
        try:
            return self.actions[order["do"]](**arguments) or ""
        except InputError as refusal:
            return str(refusal)
        except TypeError:
            return f"{order['do']}: found {shown(repr(arguments), 60)}, which it does not take"

    def _hurry(self) -> None:
        """After a change: at once the beats up to the next scan, so that nobody waits for it; not while paused."""
        if not self.paused:
            for _ in range(20):
                before_s = self.bench.app.decided_s
                self.step()
                if self.bench.app.decided_s != before_s:
                    break
            self.debt = 0.0

    # what the page can ask for

    def set(self, name: str, value: str) -> None:
        """An input by hand; it is held until it is released."""
        self.bench.set(name, inputs.accepted(_text(name), _text(value)))
        self.house.held.add(name)
        self._hurry()

    def release(self, name: str) -> str:
        """An input back to the house."""
        if name not in DRIVEN:
            return f"{shown(_text(name), 40)}: no house drives it"
        self.house.held.discard(name)
        self._show_house()
        self._hurry()
        return ""

    def house_drives(self, on: bool) -> None:
        """The house drives everything it can, or nothing."""
        self.house.held = set() if on is True else set(DRIVEN)
        self._show_house()
        self._hurry()

    def _show_house(self) -> None:
        self.house.show(self.bench)
        self.bench.tell_time(self.house.utc_s, self.house.sky.utc_offset_s)

    def fault(self, name: str, on: bool) -> str:
        if name not in inputs.FAULTS:
            return f"found the fault {shown(repr(name), 40)}, allowed are {', '.join(inputs.FAULTS)}"
        self.bench.break_it(name, on is True)
        self._hurry()
        return ""

    def set_speed(self, factor: int) -> str:
        if factor not in [speed for speed, _ in SPEEDS]:
            return f"found the speed {shown(repr(factor), 40)}, allowed are {', '.join(str(s) for s, _ in SPEEDS)}"
        self.speed = factor
        self.debt = 0.0
        self.counted_since, self.counted = time.monotonic(), 0
        return ""

    def pause(self, on: bool) -> None:
        self.paused = on is True
        self.debt = 0.0

    def one_beat(self) -> None:
        self.step()

    def one_scan(self) -> None:
        """Beats up to the next scan, paused or not."""
        paused, self.paused = self.paused, False
        self._hurry()
        self.paused = paused

    def renew(self) -> None:
        """A board as new with the same settings, in a dry, heated house by hand."""
        self._as_new()
        self.house.held = set(DRIVEN)
        self._hurry()

    def jump(self) -> None:
        """A board as new at the noon before the house's coldest night, the week before it known; the house drives."""
        self._as_new()
        self.house.place(self.house.coldest_noon())
        self.house.held = set()
        self.house.remember_week(self.bench)
        self._show_house()
        self._hurry()

    def _as_new(self) -> None:
        settings = self.bench.app.settings
        self.bench.renew({row[0]: getattr(settings, row[0]) for row in TABLE})
        self.points, self.first_point = [], self.first_point + len(self.points)
        self.steady, self.house.follows_weather = None, False

    def press(self, button: str, seconds: float) -> str:
        if button not in BUTTONS or not isinstance(seconds, (int, float)) or not 0.1 <= seconds <= 60:
            return f"found {shown(repr((button, seconds)), 40)}, allowed is {', '.join(BUTTONS)} for 0.1 to 60 s"
        self.bench.press(button, seconds)
        self._hurry()
        return ""

    def power(self, seconds: int) -> str:
        if not isinstance(seconds, int) or not 1 <= seconds <= LONGEST_POWER_OFF_S:
            return f"found {shown(repr(seconds), 40)}, allowed are 1 to {LONGEST_POWER_OFF_S} whole seconds"
        self.bench.power_off(seconds)
        self._hurry()
        return ""

    def forecast(self, kind: str, outdoor_c: float = 0.0) -> str:
        """kind: "none", "steady" at outdoor_c, or "weather", what the house's winter will bring."""
        if kind not in ("none", "steady", "weather") or not isinstance(outdoor_c, (int, float)):
            return f"found {shown(repr(kind), 40)}, allowed is none, steady or weather"
        if not -70 <= outdoor_c <= 60:
            return f"outdoor_c: found {outdoor_c:g} °C, allowed is -70 to 60 °C"
        self.house.follows_weather = kind == "weather"
        self.steady = outdoor_c if kind == "steady" else None
        refusal = self.bench.forecast(self.steady)
        if kind == "weather":
            self.house.forecasts.rewind()
            self.house.forecasts.at_step(self.house.k, self.bench.app.readings)
        self._hurry()
        return refusal

    def fit(self, name: str, value: int) -> str:
        """What is wired in; the board restarts with it, for it counts from the start."""
        if name not in (*FITTED, "fan_grade", "window_test_allowed"):
            return f"found {shown(repr(name), 40)}, allowed are {', '.join(FITTED)}, fan_grade, window_test_allowed"
        try:
            accepted(name, value)
        except SettingError as refusal:
            return str(refusal)
        refusal = self.bench.change(name, value)
        if not refusal:
            for _ in range(SAVE_BEATS):
                self.step()
            self.bench.power_off(1)
            self._hurry()
        return refusal

    def look(self, what: str) -> str:
        if what not in LOOKS:
            return f"found {shown(repr(what), 40)}, allowed is fog or clear"
        self.bench.look(LOOKS[what])
        self._hurry()
        return ""

    def ask(self, what: str, seconds: int = 0) -> str:
        if what not in REQUESTS or not isinstance(seconds, int) or not 0 <= seconds <= 1800:
            return f"found {shown(repr(what), 40)}, allowed is {', '.join(REQUESTS)}, for 0 to 1800 s"
        self.bench.request(REQUESTS[what], seconds)
        self._hurry()
        return ""

    def clock(self, minute: int) -> str:
        """Tell the board the time of day, in minutes."""
        if not isinstance(minute, int) or not 0 <= minute < 1440:
            return f"found {shown(repr(minute), 40)}, allowed is a minute of the day, 0 to 1439"
        self.bench.tell_time(self.bench.utc_s - self.bench.utc_s % 86400 + 60 * minute)
        self._hurry()
        return ""

    # what the page shows

    def _point(self) -> None:
        """One more for the charts, and the oldest dropped."""
        self.points.append(self.point())
        if len(self.points) > MOST_POINTS:
            del self.points[0]
            self.first_point += 1

    def point(self) -> list:
        """What the board has: s; outdoor, glass, wetting point °C; humidity, target, ceiling %; fan, valve 0 or 1."""
        controller = self.bench.app.controller
        read, decision = controller.judge.inputs, controller.decision
        pa = vapour_pa(read.indoor_c, read.rh_pct)
        wetting_c = wetting_point_c(pa) if pa > 1.0 else None
        humidities = (read.rh_pct, decision.target_pct, decision.ceiling_pct)
        values = (read.outdoor_c, decision.coldest_c, wetting_c, *humidities)
        shown_values = [None if value is None else round(value, 2) for value in values]
        fan = int(self.bench.app.readings.fan.state == r.ON)
        return [self.bench.seconds, *shown_values, fan, int(decision.valve)]

    def lamps(self) -> list:
        """(name, what it says, whether it is lit, what the board reads of it)."""
        bench = self.bench
        readings, settings = bench.app.readings, bench.app.settings

        def read(contact: str) -> str:
            if not getattr(settings, "has_" + contact):
                return "no sense fitted"
            return "read: " + bench_ledger.contact_text(readings, contact)

        world = bench.world
        driven = "driven" if world.relay_pin else "not driven"
        closed, flows = world.contact_closed, world.valve_powered
        return [
            ("call", "heat is called for" if world.heat_call else "no call", world.heat_call, read("heat_call")),
            ("line", "24 V" if world.terminal_live else "dead", world.terminal_live, read("line_sense")),
            ("relay", "contact closed" if closed else "contact open", closed, driven),
            ("valve", "powered: open" if flows else "no power: shut", flows, read("load_sense")),
        ]

    def frame(self) -> dict:
        """Everything but the charts."""
        from dewboard.page_parts import why

        bench, house = self.bench, self.house
        app = bench.app
        self.frames += 1
        utc_s = app.utc_s()
        return {
            "n": self.frames,
            "ended": self.ended,
            "seconds": bench.seconds,
            "local_s": utc_s + app.wall.utc_offset_s if utc_s else None,
            "speed": self.speed,
            "achieved": round(self.achieved, 1),
            "paused": self.paused,
            "restarts": bench.restarts,
            "sentence": sentence(bench),
            "others": why(app),
            "safe": app.safe,
            "lamp": bench.lamp,
            "lamps": self.lamps(),
            "inputs": {name: inputs.shows(bench.world, name) for name in inputs.NAMES},
            "held": [name for name in DRIVEN if name in house.held],
            "faults": [name for name in inputs.FAULTS if inputs.is_broken(bench.world, name)],
            "fitted": {name: getattr(app.settings, name) for name in (*FITTED, "fan_grade", "window_test_allowed")},
            "forecast": "weather" if house.follows_weather else "none" if self.steady is None else "steady",
            "steady_c": self.steady,
            "ledger": bench_ledger.lines(app),
            "now": self.point(),
            "starts": app.counters.valve_starts,
            "open_s": app.counters.valve_open_s,
            "events": [text for _, text in app.events][:6],
        }


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise InputError(f"found {shown(repr(value), 40)}, allowed is a text; put it in quotes")
    return value


