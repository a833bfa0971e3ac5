"""Why not: every proof that the valve needs, as a mask of refusals; state is no more than timers and latches."""

from dewcore import words as w
from dewcore.readings import INDOOR, NOT_FITTED, OFF, ON, RH, SUPPLY, Inputs, Readings
from dewcore.settings import Settings
from dewcore.valve import Valve

FAN_STEADY_S = 10  # a bouncing proof never opens the valve
SUPPLY_RISE_K = 8.0  # supply above return air that proves moving, heated air
SUPPLY_RISE_S = 300  # within this time of the fan's start
DRAIN_RUNS_S = 1200  # drain wet this long after the valve shut: water runs by itself
DRAIN_DRY_S = 600  # drain dry this long after the valve opened: no water
BOTH_AIRS = (1 << SUPPLY) | (1 << INDOOR)
STUCK_OFF_S = 86400  # heat for so long without any fan proof

PROOF_NONE = 0
PROOF_COMMAND = 1
PROOF_MOTOR = 2
PROOF_AIRFLOW = 3
PROOF_NAMES = ("none", "command", "motor", "airflow")

LATCHING = (1 << w.LEAK_WET) | (1 << w.OVERFLOW) | (1 << w.WELDED) | (1 << w.DRAIN_RUNS) | (1 << w.RELAY_FAILED)


class Permit:
    """`refusals` of the last check, the proof's grade and the latched alarms (for the board to store)."""

    __slots__ = (
        "settings",
        "grade",
        "latched",
        "notices",
        "supply_rose",
        "heat_without_fan_s",
        "last_s",
    )

    def __init__(self, settings: "Settings | None" = None) -> None:
        if settings is None:
            settings = Settings()
        self.settings: "Settings" = settings
        self.grade: int = PROOF_NONE
        self.latched: int = 0
        self.notices: int = 0
        self.supply_rose: bool = False
        self.heat_without_fan_s: int = 0
        self.last_s: int = -1

    def check(self, readings: "Readings", inputs: "Inputs", valve: "Valve", now_s: int, clear: bool) -> int:
        """All refusals but the valve's own timers and the demand, as a mask; clear: the owner asks to, just now."""
        self.notices = 0
        refusals = self._water(readings, valve, now_s)
        if clear:
            self.latched &= refusals | self._not_gone(readings)
        refusals |= self.latched
        s = self.settings
        if s.owner_off:
            refusals |= 1 << w.OWNER_OFF
        if s.has_off_switch:
            state = readings.off_switch.state
            if state != OFF:
                refusals |= 1 << (w.SWITCH_OFF if state == ON else w.CONTACT_UNREADABLE)
        if s.has_absent:
            state = readings.absent.state
            if state != OFF:
                refusals |= 1 << (w.ABSENT if state == ON else w.CONTACT_UNREADABLE)
        if not inputs.trusted & (1 << INDOOR):
            refusals |= 1 << w.INDOOR_BAD
        if not inputs.trusted & (1 << RH):
            refusals |= 1 << w.RH_BAD
        warm = False
        if s.has_supply and inputs.trusted & BOTH_AIRS == BOTH_AIRS:
            warm = inputs.supply_c - inputs.indoor_c >= SUPPLY_RISE_K
        refusals |= self._fan(readings, inputs, warm, now_s)
        return refusals | self._heat(readings, warm)

    def _water(self, readings: "Readings", valve: "Valve", now_s: int) -> int:
        """Leak wire, overflow and drain; wet ones are latched."""
        s = self.settings
        refusals = 0
        if s.has_leak:
            state = readings.leak.state
            if state == ON:
                refusals |= 1 << w.LEAK_WET
            elif state != OFF:
                refusals |= 1 << w.LEAK_WIRE
        if s.has_overflow and readings.overflow.state != OFF:
            refusals |= 1 << w.OVERFLOW
        if s.has_drain_wet:
            refusals |= self._drain(readings, valve, now_s)
        latching = LATCHING
        if readings.overflow.state == NOT_FITTED:  # not read yet: it refuses, but nothing has happened
            latching &= ~(1 << w.OVERFLOW)
        self.latched |= refusals & latching
        return refusals

    def _not_gone(self, readings: "Readings") -> int:
        """Latched alarms that may not be cleared yet: nothing shows that their place is dry, or the contact open."""
        s = self.settings
        kept = 0
        if s.has_leak and readings.leak.state != OFF:
            kept |= 1 << w.LEAK_WET
        if s.has_drain_wet and readings.drain_wet.state != OFF:
            kept |= 1 << w.DRAIN_RUNS
        if s.has_load_sense:
            selector_away = s.has_off_switch and readings.off_switch.state != OFF  # then no load tells of the contact
            if selector_away or readings.line_sense.state != ON or readings.load_sense.state != OFF:
                kept |= 1 << w.WELDED
        return kept

    def _drain(self, readings: "Readings", valve: "Valve", now_s: int) -> int:
        drain = readings.drain_wet
        steady_s = now_s - max(drain.since_s, valve.changed_s)
        if drain.state == ON:
            if not valve.contact and steady_s >= DRAIN_RUNS_S:
                return 1 << w.DRAIN_RUNS
        elif drain.state == OFF:
            if valve.contact and steady_s >= DRAIN_DRY_S:
                self.notices |= 1 << w.NO_WATER
        else:
            return 1 << w.CONTACT_UNREADABLE
        return 0

    def _fan(self, readings: "Readings", inputs: "Inputs", warm: bool, now_s: int) -> int:
        """Fan proof by grade; below airflow a fitted supply thermometer must show the warm air within 5 minutes."""
        s = self.settings
        self.grade = PROOF_NONE
        fan = readings.fan
        state = fan.state
        if state != ON:
            self._watch_stuck_off(readings, now_s)
            self.supply_rose = False
            if state == OFF:
                return 1 << w.FAN_OFF
            return 1 << (w.FAN_UNFITTED if state == NOT_FITTED else w.FAN_UNREADABLE)
        self.last_s = now_s
        self.heat_without_fan_s = 0
        self.grade = s.fan_grade
        running_s = now_s - fan.since_s
        heated_s = running_s  # the supply air can only prove the fan while the furnace heats
        if s.has_heat_call:
            heated_s = min(running_s, now_s - readings.heat_call.since_s) if readings.heat_call.state == ON else -1
            if heated_s < 0:
                self.supply_rose = False
        refusals = 0
        if not running_s >= FAN_STEADY_S:
            refusals = 1 << w.FAN_SETTLING
        if s.has_supply:
            if not inputs.trusted & (1 << SUPPLY):
                self.notices |= 1 << w.SUPPLY_BAD
            if warm:
                self.supply_rose = True
                self.grade = PROOF_AIRFLOW
            elif s.fan_grade < PROOF_AIRFLOW and (self.supply_rose or heated_s > SUPPLY_RISE_S):
                refusals |= 1 << w.SUPPLY_COLD
        return refusals

    def _watch_stuck_off(self, readings: "Readings", now_s: int) -> None:
        """While the fan stands, only hours with a heat call count: a mild day without heat is no fault."""
        seconds = now_s - self.last_s if self.last_s >= 0 else 0
        self.last_s = now_s
        if self.settings.has_heat_call and readings.heat_call.state == ON and self.heat_without_fan_s < STUCK_OFF_S:
            self.heat_without_fan_s += seconds
        if self.heat_without_fan_s >= STUCK_OFF_S:
            self.notices |= 1 << w.FAN_STUCK_OFF

    def _heat(self, readings: "Readings", warm: bool) -> int:
        """Heat by the call, else by warm supply air; and the sensed line, without which water cannot flow."""
        s = self.settings
        refusals = 0
        call = readings.heat_call.state
        if s.has_heat_call and call != ON and call != OFF:
            refusals |= 1 << w.CONTACT_UNREADABLE
        if s.water_needs_heat:
            if not s.has_heat_call and not s.has_supply:
                refusals |= 1 << w.HEAT_UNPROVABLE
            elif not (s.has_heat_call and call == ON) and not warm:
                refusals |= 1 << w.HEAT_OFF
        if s.has_line_sense:
            line = readings.line_sense.state
            if line != ON:
                refusals |= 1 << (w.LINE_DEAD if line == OFF else w.CONTACT_UNREADABLE)
        if s.has_load_sense:
            load = readings.load_sense.state
            if load != ON and load != OFF:
                refusals |= 1 << w.CONTACT_UNREADABLE
        return refusals
