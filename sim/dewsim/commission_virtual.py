"""A board and a technician to try a commissioning on: the app on the virtual board, a furnace, hands and a meter.

Faults: those of `dewsim.bench_inputs`, and FAULTS here, which are of house, wiring and hands.
"""

from benchshim.bed import ATTEND_US, ATTENDS_A_BEAT, BEAT_US
from dewcore.board import PRESS_ALARM
from dewcore.readings import REQUEST_CLEAR, REQUEST_NONE, REQUEST_TIMED_RUN
from dewsim import bench_inputs, commission_board, commission_onboard
from dewsim.bench_world import Bench
from dewsim.commission_board import HOLD_PCT, Seat, Seen
from dewsim.errors import InputError, shown
from dewsim.housefile import nearest

IDLE_VAC, CALL_VAC = 0.4, 25.8  # an unloaded 24 V supply reads high
VALVE_MA = 175.0
HAND_C = 31.0
BREATH_PCT = 85.0
PRESS_LOOKS = {"look": 10, "look_long": 40, "alarm": 80}  # of ATTEND_US
LET_GO = 12
THERMOMETERS = ("outdoor_c", "glass_c", "supply_c")
FAULTS = {
    "line_voltage": "the terminal carries line voltage",
    "dry_contact": "the terminal is a dry contact",
    "idle_live": "the terminal is live without a call",
    "not_isolated": "board and 24 VAC share a conductor",
    "fan_stuck": "the fan proof stays on",
    "fan_missing": "the fan proof never comes",
    "heat_missing": "the heat call is not wired",
    "line_missing": "no 24 V at the line although F1 is in",
    "selector_pole": "the selector's second pole is not wired",
    "dial_stuck": "the old dial never opens",
    "leak_deaf": "the leak wire never gets wet",
    "leak_broken": "the leak wire is broken",
    "float_stuck": "the float does not lift",
    "absent_deaf": "the absence switch is not wired",
    "look_dead": "the look button is dead",
    "alarm_dead": "the alarm button is dead",
    "thermometers_exchanged": "two thermometers are in each other's place",
    "humidity_off": "the humidity sensor reads 9 % too high",
    "heavy_valve": "the valve takes more than its fuse carries",
    "no_water": "the valve opens and no water comes",
    "water_runs": "the valve shuts and water runs on",
    "supply_cold": "the supply air stays cold",
}


def check_fault(name: str) -> str:
    """The name; InputError where there is no such fault."""
    known = [*FAULTS, *bench_inputs.FAULTS]
    if name not in known:
        raise InputError(f"--fault: found {shown(repr(name), 40)}, allowed is a fault's name; {nearest(name, known)}")
    return name


class VirtualSeat(Seat):
    """The board on the bench, and what the technician's hands have done to it."""

    name = "virtual board, in simulation"
    simulated = True

    def __init__(self, settings, fault: str = ""):
        self.bench = Bench(settings)
        self.settings = self.bench.settings
        self.fault = fault
        self.state = {
            "furnace": "idle", "f1": "out", "selector": "off", "stop_valve": "shut", "dial": "up", "leak": "dry",
            "float": "down", "absent": "home", "hand": "", "breath": "off",
        }  # fmt: skip
        self.presses: list = []
        if fault in bench_inputs.FAULTS:
            self.bench.break_it(fault, True)
        self._hold()
        self._wire()

    def _hold(self) -> None:
        """In memory only, so that the house never asks for water by itself."""
        self.bench.app.settings.change({"wish_pct": HOLD_PCT})

    # what the board does

    def beat(self) -> Seen:
        bench = self.bench
        bench.world.drain = "wet" if self.flows() else "dry"
        bench.world.rh_pct += 0.05 if bench.seconds % 2 else -0.05  # no real air reads the same for an hour
        bench.beat()
        presses, self.presses = self.presses, []
        return commission_board.seen(commission_onboard.told(bench.app), presses)

    def ask_run(self, seconds: int) -> None:
        self.bench.app.request(REQUEST_TIMED_RUN if seconds else REQUEST_NONE, seconds)

    def close(self) -> None:
        self.bench.app.hardware.drive(False)
        self.bench.close()

    # what the technician does

    def do(self, what: str, how: str) -> None:
        if what == "press":
            self._press(how)
        elif what == "supply":
            self.bench.power_off(10)
            self._hold()
        else:
            self.state[what] = how
            self._wire()

    def _press(self, button: str) -> None:
        """Hold it so long; what the board makes of it is told with the next beat, and only an alarm is acted upon."""
        bench = self.bench
        looks = PRESS_LOOKS[button]
        attribute = "look_pressed" if button.startswith("look") else "alarm_pressed"
        dead = self.fault == attribute.removesuffix("_pressed") + "_dead"
        until_us = bench.world.us
        for n in range(LET_GO + looks + LET_GO):
            setattr(bench.world, attribute, LET_GO <= n < LET_GO + looks and not dead)
            press = bench.app.hardware.buttons()
            if press:
                self.presses.append(press)
                if press == PRESS_ALARM:
                    bench.app.request(REQUEST_CLEAR)
            until_us += ATTEND_US
            bench.world.advance_us(max(0, until_us - bench.world.us))
            if n % ATTENDS_A_BEAT == ATTENDS_A_BEAT - 1:
                bench.app.beat()
        bench.world.advance_us(-bench.world.us % BEAT_US)

    def _wire(self) -> None:
        """Bring the wires and the air up to what hands and furnace have done."""
        state, fault = self.state, self.fault
        heat = state["furnace"] == "heat"
        blower = state["furnace"] in ("heat", "fan")
        through = state["f1"] in ("in", "meter") and (state["dial"] == "up" or fault == "dial_stuck")
        live = self._terminal_vac() > 16.0 and through and fault != "line_missing"
        wet = state["leak"] == "wet" and fault != "leak_deaf"
        leak = "open" if state["leak"] == "open" or fault == "leak_broken" else "wet" if wet else "dry"
        lifted = state["float"] == "lifted" and fault != "float_stuck"
        put = {
            "heat_call": "on" if heat and fault != "heat_missing" else "off",
            "fan": "on" if blower and fault != "fan_missing" or fault == "fan_stuck" else "off",
            "terminal": "live" if live else "dead",
            "selector": state["selector"],
            "leak": leak,
            "overflow": "wet" if lifted else "dry",
            "absent": "away" if state["absent"] == "away" and fault != "absent_deaf" else "home",
            "rh_pct": BREATH_PCT if state["breath"] == "on" else 24.0,
            "indoor_c": 21.0, "outdoor_c": 2.0, "glass_c": 12.0,
            "supply_c": 46.0 if heat and fault != "supply_cold" else 22.0,
        }  # fmt: skip
        if state["hand"]:
            held = THERMOMETERS.index(state["hand"]) - (fault == "thermometers_exchanged")
            put[THERMOMETERS[held]] = HAND_C
        for name, value in put.items():
            self.bench.set(name, value)
        if fault == "selector_pole":
            self.bench.world.off_switch = False

    # what the technician sees

    def _terminal_vac(self) -> float:
        called = self.state["furnace"] in ("heat", "fan") or self.fault == "idle_live"
        live = {"line_voltage": 121.0, "dry_contact": 0.2}.get(self.fault, CALL_VAC)
        return live if called else IDLE_VAC

    def flows(self) -> bool:
        """Whether water runs."""
        if self.state["stop_valve"] != "open" or self.fault == "no_water":
            return False
        return self.bench.world.valve_powered or self.fault == "water_runs"

    def shows(self, question: str) -> str:
        world = self.bench.world
        live = CALL_VAC if world.terminal_live else IDLE_VAC
        load = CALL_VAC if world.valve_powered else IDLE_VAC
        offset = 9.0 if self.fault == "humidity_off" else 0.0
        readings = {
            "terminal_idle_vac": self._terminal_vac(), "terminal_call_vac": self._terminal_vac(),
            "terminal_limit_ma": 500.0, "f1_ma": 250.0, "line_vac": live, "load_open_vac": load, "load_shut_vac": load,
            "k1_open_vac": max(0.1, live - load), "k1_closed_vac": max(0.1, live - load),
            "valve_ma": 420.0 if self.fault == "heavy_valve" else VALVE_MA if world.valve_powered else 0.0,
            "reference_rh_pct": 24.0 - offset,
        }  # fmt: skip
        if question in readings:
            return f"{readings[question]:.1f}"
        no = {
            "isolation_open": self.fault == "not_isolated",
            "water_flows": not self.flows(),
            "water_stops": self.flows(),
            "supply_out": world.valve_powered,
        }
        return "n" if no.get(question) else "y"
