"""The virtual board: what its outputs are driven to, what is wired to its inputs, which chips it has.

What the world does is set as attributes.
    indoor_c, rh_pct, room_c, room_rh_pct, outdoor_c, glass_c, supply_c     °C, % RH
    leak, drain                      "dry", "wet", "open", "short", "live" (has voltage of its own)
    overflow, off_switch, absent     True: that loop is open
    look_pressed, alarm_pressed
    mains_hz, terminal_vac, terminal_live, fan_running, heat_call, stray_vac (what a dead sense still sees)
    half_wave, chatter, stuck_lit    names out of "line", "load", "fan", "heat": half a wave only; pulses that come and
                                     go; a shorted optocoupler
    relay_fault                      "", "welded", "failed" (never closes), "driver" (its transistor is open)
    dial_bridges                     the selector bridges the contact
    sense_part                       0 the most sensitive optocoupler of `dewboard.pin_table`, 1 the usual, 2 the least
    humidity_fault                   "", "nak", "crc", "stuck" (data line low for good), "busy", "frozen", "ends" (ones)
    hold_sda(clocks)                 a chip was cut off in mid-byte and lets go after so many clocks
    thermometer_faults               {"outdoor_c": "nak", "crc", "power_on" or "frozen"}; wire_low: the whole line low

What to look at: relay_pin (is it driven high), contact_closed, valve_powered, lamp_lit, probe_driven, bus_levels
[(pin, level) while it was freed last], heated [us of each heater pulse], resets [(us, cause)].
"""

from dewboard import pins as p

from .virtual_chips import Aht20Chip, Sht3xChip, Sht4xChip
from .virtual_mains import VirtualMains
from .virtual_time import JUST_BEFORE_WRAP_MS, POWER, BoardReset, VirtualTime
from .virtual_wire import VirtualWire


def _mains(name: str) -> property:
    """A part of the world that the pulses show: setting it redraws their waves."""

    def get(board: "VirtualBoard") -> object:
        return board.mains.state[name]

    def put(board: "VirtualBoard", value: object) -> None:
        board.mains.state[name] = value
        board.redraw()

    return property(get, put)


class VirtualBoard(VirtualTime):
    """One board, its wires, and what hangs on them."""

    mains_hz = _mains("mains_hz")
    terminal_vac = _mains("terminal_vac")
    stray_vac = _mains("stray_vac")
    terminal_live = _mains("terminal_live")
    fan_running = _mains("fan_running")
    heat_call = _mains("heat_call")
    half_wave = _mains("half_wave")
    chatter = _mains("chatter")
    stuck_lit = _mains("stuck_lit")
    relay_fault = _mains("relay_fault")
    dial_bridges = _mains("dial_bridges")
    sense_part = _mains("sense_part")

    def __init__(self, start_ms: int = JUST_BEFORE_WRAP_MS, mains_hz: int = 60, chip: str = "sht4x") -> None:
        super().__init__(start_ms)
        self.outputs = {}  # pin number to level, of pins that are driven
        self.ac_pins = {}
        self._air()
        self.leak = "dry"
        self.drain = "dry"
        self.overflow = False
        self.off_switch = False
        self.absent = False
        self.look_pressed = False
        self.alarm_pressed = False
        self.humidity_fault = ""
        self.sda_clocks = 0
        self.bus_levels = []
        self.bus_open = False
        self.heated = []
        self.thermometer_faults = {}
        self.wire_low = False
        self.mains = VirtualMains(mains_hz)
        self.levels = self.mains.levels
        self.redraw()
        self.chips = {}
        self._fit(chip)
        self.wire = VirtualWire(self)

    def _air(self) -> None:
        self.indoor_c = 20.0
        self.rh_pct = 30.0
        self.room_c = 19.0
        self.room_rh_pct = 32.0
        self.outdoor_c = 0.0
        self.glass_c = 12.0
        self.supply_c = 45.0

    def _fit(self, chip: str) -> None:
        """Put the humidity chip, and the room's, on the bus."""
        kinds = {"sht4x": (0x44, Sht4xChip), "sht3x": (0x44, Sht3xChip), "aht20": (0x38, Aht20Chip)}
        address, kind = kinds[chip]
        self.chips[address] = kind(self, "indoor_c", "rh_pct")
        self.chips[0x45] = Sht4xChip(self, "room_c", "room_rh_pct")

    def _start_afresh(self, cause: int) -> None:
        self.outputs = {}
        super()._start_afresh(cause)

    def _forget(self) -> None:
        super()._forget()
        self.ac_pins = {}
        self.redraw()

    def power_cut(self) -> None:
        """Supply gone and back: the chips forget as well."""
        self.sda_clocks = 0
        for chip in self.chips.values():
            chip.power_on()
        self.wire.power_on()
        self._start_afresh(POWER)
        raise BoardReset(POWER)

    @property
    def relay_pin(self) -> bool:
        return self.outputs.get(p.RELAY) == 1

    @property
    def lamp_lit(self) -> bool:
        return self.outputs.get(p.LAMP) == 1

    @property
    def probe_driven(self) -> bool:
        return self.outputs.get(p.PROBE_DRIVE) == 1

    @property
    def contact_closed(self) -> bool:
        return self.mains.contact_closed(self.relay_pin)

    @property
    def valve_powered(self) -> bool:
        return self.mains.valve_powered(self.relay_pin)

    def redraw(self) -> None:
        """The mains or the relay's pin changed: the senses' waves follow."""
        self.mains.redraw(self.relay_pin)
        self.set_cycle(self.mains.cycle_us)
        for number in self.ac_pins:
            self.ac_pins[number].levels = self.levels[number]

    def loop_level(self, number: int) -> int:
        """Level of a plain input: high where its loop is open or its button is up."""
        if number == p.OFF_SWITCH:
            return 1 if self.off_switch else 0
        if number == p.ABSENT:
            return 1 if self.absent else 0
        if number == p.OVERFLOW:
            return 1 if self.overflow else 0
        if number == p.LOOK_BUTTON:
            return 0 if self.look_pressed else 1
        if number == p.ALARM_BUTTON:
            return 0 if self.alarm_pressed else 1
        raise ValueError("nothing is wired to pin %d as an input" % number)

    def probe_level(self, number: int) -> int:
        """Counts of 65536 at a probe's pin: 100 kohm from the driven supply, the wire, 100 kohm at its end."""
        state = self.leak if number == p.LEAK else self.drain
        if state == "live":
            return 30000
        if not self.probe_driven:
            return 0
        if state == "open":
            return 65535
        ohms = {"dry": 100000.0, "wet": 1.0 / (1.0 / 100000.0 + 1.0 / 20000.0), "short": 1.0}[state]
        return int(65535 * ohms / (ohms + 100000.0))

    # chips

    def hold_sda(self, clocks: int) -> None:
        """A chip was cut off in mid-byte: it holds the data line until it has seen so many clocks."""
        self.sda_clocks = clocks

    def bus_level(self, number: int, level: int) -> None:
        """A level by hand on the freed bus; SCL going high is a clock."""
        rises = level == 1 and (number, 1) != ([(0, 0)] + [last for last in self.bus_levels if last[0] == number])[-1]
        self.bus_levels.append((number, level))
        if number == p.SCL and rises and self.sda_clocks:
            self.sda_clocks -= 1

    def rom_codes(self) -> dict:
        """The thermometers' codes by the sample they belong to, as 16 hex digits."""
        return {t.place: "".join(["%02X" % value for value in t.code]) for t in self.wire.thermometers}
