"""A house whose wires, relay, valve, water and sensors can each be broken: the true state, and what the board reads.

Circuit: the furnace's terminal (line) is live while the fan runs; then come contact, load sense, valve.  The drain gets
wet `DRAIN_LAG_S` after water begins to flow and dry `DRAIN_KEEPS_S` after it ends.
A scan comes every ten seconds, where a contact has changed, and 1, 2 and 6 s after each switch of the valve, when a
board's beat would have seen what the contact did.
"""

from copy import deepcopy

from dewcore.controller import SCAN_S, Controller
from dewcore.readings import ERROR_NO_ANSWER, ERROR_OK, OFF, ON, Readings
from dewsim import plant, policies

STEP_S = 60
AFTER_SWITCH_S = (1, 2, 6)
DRAIN_LAG_S = 60
DRAIN_KEEPS_S = 300
LEASE_S = 5
SUPPLY_SETTLES_S = 120  # the thermometer in the duct is warm two minutes after the heat came on
FITTED = ("has_drain_wet", "has_supply", "has_glass", "has_room", "has_overflow")  # beyond the default


class World:
    """House, wires and one controller; `parts` are what a fault breaks, `inject` what it does to the readings.

    After each scan: command (contact told to close), closed, live (terminal), powered (24 V at the valve), flows.
    unproven_s: seconds the contact was told to be closed beyond the lease although the fan proof did not read ON;
    forced_s: with 24 V at the valve against the command; starts: commands to close.
    """

    def __init__(self, course, sensors, settings, clock, house):
        self.course, self.sensors, self.settings, self.house = course, sensors, settings, house
        self.utc_start_s, self.utc_offset_s = clock
        self.controller = Controller(settings)
        self.readings = Readings()
        self.readings.utc_offset_s = clock[1]
        self.inject = None
        self.kept: dict = {}  # what an injection keeps from one scan to the next
        self.chance = None
        self.begun_s = 0
        self.utc_shift_s = 0
        self.mend()
        self.command = self.closed = self.live = self.powered = self.flows = False
        self.k = self.now_s = 0
        self.fan = self.heat = -1
        self.fan_since_s = self.heat_since_s = 0
        self.flow_since_s = self.dry_since_s = 0
        self.unproven_since_s = -1
        self.unproven_s = self.forced_s = self.starts = 0
        for contact in (self.readings.leak, self.readings.overflow, self.readings.off_switch, self.readings.absent):
            contact.set(OFF, 0)

    def mend(self) -> None:
        """Every part whole."""
        self.welded = self.coil_open = self.terminal_dead = self.water_off = False
        self.stuck_valve = ""  # "shut" or "open"
        self.fan_reads = self.load_reads = None
        self.leak_reads = OFF

    def shared(self) -> dict:
        """deepcopy's memo of what no run changes: columns of the winter."""
        memo = {id(part): part for part in (self.course, self.sensors)}
        for part in (*vars(self.course).values(), self.sensors.indoor_c, self.sensors.outdoor_c):
            memo[id(part)] = part
        return memo

    def branch(self) -> "World":
        """A world that goes on from here by itself."""
        return deepcopy(self, self.shared())

    def break_parts(self, fault, chance) -> None:
        """The fault begins now."""
        self.chance = chance
        self.begun_s = self.now_s
        self.inject = fault.inject
        if fault.begin:
            fault.begin(self)

    @property
    def since_s(self) -> int:
        """How long the fault has been there."""
        return self.now_s - self.begun_s

    def minute(self, k: int, scan_s: int = SCAN_S, note=None) -> float:
        """House step k with its scans; the share of it in which water flowed."""
        self.k = k
        c = self.course
        if c.fan[k] != self.fan or c.heat[k] != self.heat:
            self.fan_since_s = self.now_s if c.fan[k] != self.fan else self.fan_since_s
            self.heat_since_s = self.now_s if c.heat[k] != self.heat else self.heat_since_s
            self.fan, self.heat = c.fan[k], c.heat[k]
        true_pct = self.house.rh_pct(k)
        self.read_pct = true_pct if self.sensors.exact else self.sensors.rh(k, true_pct)
        flowed_s = 0
        end_s = STEP_S * (k + 1)
        times = list(range(STEP_S * k, end_s, scan_s))
        while times:
            self.now_s = now_s = times.pop(0)
            was = self.command
            self.scan(note)
            if self.command != was and scan_s == SCAN_S:
                times = sorted({*times, *(now_s + after for after in AFTER_SWITCH_S if now_s + after < end_s)})
            next_s = times[0] if times else end_s
            flowed_s += self.pass_time(next_s - now_s)
        self.now_s = end_s
        share = flowed_s / STEP_S
        self.house.step(k, share)
        return share

    def scan(self, note) -> None:
        """Show the world to the controller at now_s, and let the relay follow."""
        r, now_s = self.readings, self.now_s
        self._samples()
        self._contacts()
        if self.inject:
            self.inject(self)
        r.utc_s = self.utc_start_s + now_s + self.utc_shift_s
        if self.controller.due(r.contacts, now_s):
            is_open = self.controller.scan(r, now_s).valve
            if is_open and not self.command:
                self.starts += 1
            self.command = is_open
        self._follow()
        if self.command and r.fan.state != ON:
            self.unproven_since_s = now_s if self.unproven_since_s < 0 else self.unproven_since_s
        else:
            self.unproven_since_s = -1
        if note:
            note(self)

    def events(self) -> tuple:
        """A board's words beside the decision's: none here."""
        return ()

    def pass_time(self, seconds: int) -> int:
        """So long nothing changes; seconds in which water flowed."""
        if self.unproven_since_s >= 0:
            over_s = self.now_s + seconds - self.unproven_since_s - LEASE_S
            self.unproven_s += max(0, min(seconds, over_s))
        if self.powered and not self.command:
            self.forced_s += seconds
        return seconds if self.flows else 0

    def _samples(self) -> None:
        r, c, k, now_s = self.readings, self.course, self.k, self.now_s
        _read(r.indoor_c, self.sensors.indoor_c[k], now_s)
        _read(r.outdoor_c, self.sensors.outdoor_c[k], now_s)
        _read(r.rh_pct, self.read_pct, now_s)
        s = self.settings
        if s.has_glass:
            _read(r.glass_c, c.glass_c[k], now_s)
        if s.has_supply:
            _read(r.supply_c, self._supply_c(k), now_s)
        if s.has_room:
            room_c = c.indoor_c[k] - c.house.room.colder_k
            room_w = policies.room_w_g_kg(c, k, self.house.w_g_kg)
            _read(r.room_c, room_c, now_s)
            _read(r.room_rh_pct, min(99.0, plant.rh_pct(room_w, room_c, c.pressure_pa)), now_s)

    def _supply_c(self, k: int) -> float:
        """The duct's thermometer: warm some time after the heat came on, and so long after it went."""
        c = self.course
        settled = min(1.0, (self.now_s - self.heat_since_s) / SUPPLY_SETTLES_S)
        share = settled if self.heat else 1.0 - settled
        return c.indoor_c[k] + share * (c.house.heating.supply_c - c.indoor_c[k])

    def _contacts(self) -> None:
        r, now_s = self.readings, self.now_s
        self.live = bool(self.fan) and not self.terminal_dead
        self._follow()
        r.fan.set(self.fan if self.fan_reads is None else self.fan_reads, now_s)
        r.heat_call.set(self.heat, now_s)
        r.line_sense.set(ON if self.live else OFF, now_s)
        r.load_sense.set((ON if self.powered else OFF) if self.load_reads is None else self.load_reads, now_s)
        r.leak.set(self.leak_reads, now_s)
        if self.settings.has_drain_wet:
            wet = now_s - self.flow_since_s >= DRAIN_LAG_S if self.flows else now_s - self.dry_since_s < DRAIN_KEEPS_S
            r.drain_wet.set(ON if wet and self.flow_since_s > 0 else OFF, now_s)

    def _follow(self) -> None:
        """Relay, valve and water as told and as broken."""
        self.closed = self.welded or self.command and not self.coil_open
        self.powered = self.live and self.closed
        opened = self.powered and self.stuck_valve != "shut" or self.stuck_valve == "open"
        flows = opened and not self.water_off
        if flows and not self.flows:
            self.flow_since_s = self.now_s
        elif self.flows and not flows:
            self.dry_since_s = self.now_s
        self.flows = flows


def _read(sample, value: float, now_s: int) -> None:
    """A reading that arrived; NaN where the sensor model drops one."""
    if value == value:
        sample.value, sample.at_s, sample.error = value, now_s, ERROR_OK
    else:
        sample.error = ERROR_NO_ANSWER
