"""The virtual board: time, wires, chips and relay behind the names of `machine`, byte for byte; CPython, MicroPython.

    board = VirtualBoard(start_ms=..., mains_hz=60, chip="sht4x")     "sht4x", "sht3x" or "aht20"
    install(board)     from now on `import machine` and `import _onewire` find sim/dewsim/fake, driven by this board
    Clock(board)       the board is the module `time` as well: ticks_ms, ticks_us, ticks_diff, ticks_add, sleep_us,
                       sleep_ms.  It starts 5 s before ticks_ms wraps unless told otherwise

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

Time.  us since the board was made; advance_us(n); block(seconds, irq=True): a call that does not come back for so long,
with interrupts on or off.  The lease's timer and the watchdog fire while time passes.  The watchdog's bite,
machine.reset() and power_cut() float all pins and raise BoardReset in whoever runs; soft_reset() keeps the pins,
forgets the timers and does not stop the watchdog.

What to look at: relay_pin (is it driven high), contact_closed, valve_powered, lamp_lit, probe_driven, bus_levels
[(pin, level) while it was freed last], heated [us of each heater pulse], resets [(us, cause)].
A name, keyword, pin or command that no real part here knows is an error by itself.
"""

import sys
from math import pi, sin

from dewboard import pins as p
from dewboard.pin_table import sense_threshold_v

TICKS = 1 << 30  # ticks_ms starts again here, on boards and on no desktop
JUST_BEFORE_WRAP_MS = TICKS - 5000
SLOT_US = 100  # the grain of the mains' wave
NEVER = 1 << 60
WATCHDOG_MOST_MS = 8388
POWER = 1
WATCHDOG = 3
EIO = 5
ETIMEDOUT = 110
WIRE_BIT_US = 70

AC = {p.LINE_SENSE: "line", p.LOAD_SENSE: "load", p.FAN: "fan", p.HEAT_CALL: "heat"}
DARK = bytes([1] * 256)
LIT = bytes(256)


class BoardReset(BaseException):
    """The chip started afresh: whatever ran on it is gone.  args[0]: the cause."""


def _crc_table(polynomial: int, reflected: bool) -> bytes:
    table = bytearray(256)
    for n in range(256):
        crc = n
        for _ in range(8):
            if reflected:
                crc = crc >> 1 ^ polynomial if crc & 1 else crc >> 1
            else:
                crc = (crc << 1 ^ polynomial) & 0xFF if crc & 0x80 else crc << 1
        table[n] = crc
    return bytes(table)


WORD_CRC = _crc_table(0x31, False)
WIRE_CRC = _crc_table(0x8C, True)


def with_crc(data: bytes, table: bytes, crc: int) -> bytes:
    """data and its CRC behind it."""
    for value in data:
        crc = table[crc ^ value]
    return data + bytes([crc])


def _mains(name: str) -> property:
    """A part of the world that the pulses show: setting it redraws their waves."""

    def get(board: "VirtualBoard") -> object:
        return board.mains[name]

    def put(board: "VirtualBoard", value: object) -> None:
        board.mains[name] = value
        board.redraw()

    return property(get, put)


class VirtualBoard:
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
        self.us = 0
        self.start_ms = start_ms
        self.slot = 0
        self.next_us = NEVER  # the nearest of timers and watchdog
        self.timers = []
        self.dog_us = NEVER
        self.dog_ms = 0
        self.masked = False
        self.epoch = 0  # counts starts; a pin of an earlier one may not be used
        self.cause = POWER
        self.resets = []
        self.outputs = {}  # pin number to level, of pins that are driven
        self.ac_pins = {}
        self.waves = {}
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
        self.mains = {
            "mains_hz": mains_hz,
            "terminal_vac": 24.0,
            "stray_vac": 0.0,
            "terminal_live": False,
            "fan_running": False,
            "heat_call": False,
            "half_wave": (),
            "chatter": (),
            "stuck_lit": (),
            "relay_fault": "",
            "dial_bridges": False,
            "sense_part": 1,
        }
        self.levels = {}
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

    # time, as the module `time` of MicroPython has it

    def ticks_ms(self) -> int:
        return (self.start_ms + self.us // 1000) % TICKS

    def ticks_us(self) -> int:
        return self.us % TICKS

    def ticks_diff(self, later: int, earlier: int) -> int:
        return (later - earlier + TICKS // 2) % TICKS - TICKS // 2

    def ticks_add(self, ticks: int, delta: int) -> int:
        return (ticks + delta) % TICKS

    def sleep_us(self, us: int) -> None:
        now = self.us + us
        if now >= self.next_us:
            self._pass(now)
        self.us = now
        self.slot = now % self.cycle_us // SLOT_US

    def sleep_ms(self, ms: int) -> None:
        self.sleep_us(ms * 1000)

    advance_us = sleep_us

    def block(self, seconds: float, irq: bool = True) -> None:
        """A call that does not come back for so long; without irq no timer fires meanwhile, the watchdog does."""
        self.masked = not irq
        self._schedule()
        try:
            self.sleep_us(int(seconds * 1000000))
        finally:
            self.masked = False
            self._schedule()
        self.sleep_us(0)

    def _schedule(self) -> None:
        nearest = self.dog_us
        if not self.masked:
            for timer in self.timers:
                nearest = min(nearest, timer.at_us)
        self.next_us = nearest

    def _pass(self, until: int) -> None:
        """Fire what is due up to `until`, in its order."""
        while self.next_us <= until:
            self.us = max(self.us, self.next_us)
            if self.dog_us <= self.next_us:
                self._start_afresh(WATCHDOG)
                raise BoardReset(WATCHDOG)
            due = [timer for timer in self.timers if timer.at_us <= self.next_us]
            self.timers = [timer for timer in self.timers if timer not in due]
            self._schedule()
            for timer in due:
                timer.callback(timer)

    # resets

    def _start_afresh(self, cause: int) -> None:
        self.resets.append((self.us, cause))
        self.cause = cause
        self.dog_us = NEVER
        self.outputs = {}
        self._forget()

    def _forget(self) -> None:
        self.epoch += 1
        self.timers = []
        self.masked = False
        self._schedule()
        self.ac_pins = {}
        self.redraw()

    def machine_reset(self) -> None:
        """The program asked for it; this chip does it by its watchdog."""
        self._start_afresh(WATCHDOG)
        raise BoardReset(WATCHDOG)

    def power_cut(self) -> None:
        """Supply gone and back: the chips forget as well."""
        self.sda_clocks = 0
        for chip in self.chips.values():
            chip.power_on()
        self.wire.power_on()
        self._start_afresh(POWER)
        raise BoardReset(POWER)

    def soft_reset(self) -> None:
        """The program ends and starts again; pins keep their levels, the watchdog runs on."""
        self._forget()

    def arm(self, timeout_ms: int) -> None:
        if not 0 < timeout_ms <= WATCHDOG_MOST_MS:
            raise ValueError("watchdog: at most %d ms on this chip" % WATCHDOG_MOST_MS)
        self.dog_ms = timeout_ms
        self.feed()

    def feed(self) -> None:
        self.dog_us = self.us + 1000 * self.dog_ms
        self._schedule()

    # relay and mains

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
        fault = self.mains["relay_fault"]
        return fault == "welded" or self.relay_pin and fault == ""

    @property
    def valve_powered(self) -> bool:
        return self.mains["terminal_live"] and (self.contact_closed or self.mains["dial_bridges"])

    def redraw(self) -> None:
        """Work out the four senses' waves over one cycle of the mains, in slots of SLOT_US; low is lit."""
        mains = self.mains
        self.cycle_us = 1000000 // mains["mains_hz"]
        live = {
            "line": mains["terminal_live"],
            "load": self.valve_powered,
            "fan": mains["fan_running"],
            "heat": mains["heat_call"],
        }
        for number in AC:
            name = AC[number]
            vac = mains["terminal_vac"] if live[name] else mains["stray_vac"]
            if name in mains["stuck_lit"]:
                wave = LIT
            else:
                wave = self._wave(vac, name in mains["half_wave"], live[name] and name in mains["chatter"])
            self.levels[number] = wave
            if number in self.ac_pins:
                self.ac_pins[number].levels = wave
        self.slot = self.us % self.cycle_us // SLOT_US

    def _wave(self, vac: float, half: bool, chatter: bool) -> bytes:
        key = (vac, half, chatter, self.cycle_us, self.mains["sense_part"])
        wave = self.waves.get(key)
        if wave is None:
            threshold = sense_threshold_v(self.mains["sense_part"])
            slots = self.cycle_us // SLOT_US + 1
            levels = bytearray(slots)
            for n in range(slots):
                volts = 2.0**0.5 * vac * sin(2.0 * pi * (n + 0.5) * SLOT_US / self.cycle_us)
                lit = volts > threshold or not half and -volts > threshold
                if chatter and n % 30 < 15:
                    lit = False
                levels[n] = 0 if lit else 1
            wave = self.waves[key] = bytes(levels)
        return wave

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
        return {t.role: "".join(["%02X" % value for value in t.code]) for t in self.wire.thermometers}


class WordChip:
    """What SHT3x and SHT4x share: words with a CRC, no answer while a conversion runs."""

    def __init__(self, board: "VirtualBoard", temperature: str, rh: str) -> None:
        self.board = board
        self.temperature = temperature
        self.rh = rh
        self.last = b""
        self.power_on()

    def power_on(self) -> None:
        self.answer = b""
        self.ready_us = 0

    def convert(self, us: int) -> None:
        """Latch the air as it is now; readable after `us`."""
        board = self.board
        fault = board.humidity_fault
        self.ready_us = NEVER if fault == "busy" else board.us + us
        if fault != "frozen" or not self.last:
            self.last = self.frame(getattr(board, self.temperature), getattr(board, self.rh))
        self.answer = self.last
        if fault == "ends":
            self.answer = self.ends()
        elif fault == "crc":
            self.answer = self.last[:-1] + bytes([self.last[-1] ^ 0x10])

    def frame(self, temperature_c: float, rh_pct: float) -> bytes:
        t = _word((temperature_c + 45.0) * 65535.0 / 175.0)
        rh = _word((rh_pct - self.RH_LOW) * 65535.0 / self.RH_SPAN)
        return _words(t, rh)

    def ends(self) -> bytes:
        return _words(0xFFFF, 0xFFFF)

    def read(self, buffer: bytearray) -> bool:
        if self.board.us < self.ready_us or len(self.answer) < len(buffer):
            return False
        buffer[:] = self.answer[: len(buffer)]
        self.answer = b""
        return True


def _word(counts: float) -> int:
    return max(0, min(0xFFFF, int(counts + 0.5)))


def _words(first: int, second: int) -> bytes:
    return with_crc(bytes([first >> 8, first & 0xFF]), WORD_CRC, 0xFF) + with_crc(
        bytes([second >> 8, second & 0xFF]), WORD_CRC, 0xFF
    )


class Sht4xChip(WordChip):
    """Its commands, one byte each; another is not acknowledged."""

    RH_LOW = -6.0
    RH_SPAN = 125.0

    def write(self, command: bytes) -> bool:
        if self.board.us < self.ready_us:
            return False
        if command == b"\xfd":
            self.convert(8300)
        elif command == b"\x89":
            self.answer = _words(0xDEAD, 0xBEEF)
            self.ready_us = self.board.us + 1000
        elif command == b"\x94":
            self.answer = b""
            self.ready_us = self.board.us + 1000
        elif command == b"\x2f":
            self.convert(1100000)
            self.board.heated.append(self.board.us)
        else:
            return False
        return True


class Sht3xChip(WordChip):
    """Its commands, two bytes each."""

    RH_LOW = 0.0
    RH_SPAN = 100.0

    def write(self, command: bytes) -> bool:
        if self.board.us < self.ready_us:
            return False
        if command == b"\x24\x00":
            self.convert(15500)
        elif command == b"\xf3\x2d":
            self.answer = with_crc(b"\x80\x10", WORD_CRC, 0xFF) + bytes(3)
            self.ready_us = 0
        elif command == b"\x30\xa2":
            self.answer = b""
            self.ready_us = self.board.us + 1500
        else:
            return len(command) == 1  # the first byte of a longer one, as far as it can know
        return True


class Aht20Chip(WordChip):
    """A status byte before the numbers; always answers, busy or not."""

    def power_on(self) -> None:
        self.ready_us = 0
        self.calibrated_us = NEVER
        self.answer = bytes(7)

    def frame(self, temperature_c: float, rh_pct: float) -> bytes:
        t = max(0, min(0xFFFFF, int((temperature_c + 50.0) * 1048576.0 / 200.0 + 0.5)))
        rh = max(0, min(0xFFFFF, int(rh_pct * 1048576.0 / 100.0 + 0.5)))
        return self._numbers(t, rh)

    def ends(self) -> bytes:
        return self._numbers(0xFFFFF, 0xFFFFF)

    def _numbers(self, t: int, rh: int) -> bytes:
        data = [0x1C, rh >> 12, rh >> 4 & 0xFF, (rh & 15) << 4 | t >> 16, t >> 8 & 0xFF, t & 0xFF]
        return with_crc(bytes(data), WORD_CRC, 0xFF)

    def write(self, command: bytes) -> bool:
        if command == b"\xac\x33\x00":
            self.convert(80000)
        elif command == b"\xbe\x08\x00":
            self.calibrated_us = self.board.us + 10000
        elif command == b"\xba":
            self.power_on()
            self.ready_us = self.board.us + 20000
        else:
            return False
        return True

    def read(self, buffer: bytearray) -> bool:
        buffer[:] = self.answer[: len(buffer)]
        now = self.board.us
        buffer[0] = 0x14 | (0x80 if now < self.ready_us else 0) | (0x08 if now >= self.calibrated_us else 0)
        return True


class Thermometer:
    """One DS18B20: scratchpad as at power-on until it is told to convert."""

    def __init__(self, role: str, number: int) -> None:
        self.role = role
        self.code = with_crc(bytes([0x28, number, 0x1E, 0x2C, 0x1D, 0x13, 0x02]), WIRE_CRC, 0)
        self.power_on()

    def power_on(self) -> None:
        self.raw = 0x0550
        self.next_raw = 0x0550
        self.ready_us = 0

    def pad(self, board: "VirtualBoard") -> bytes:
        """The nine bytes of the scratchpad now."""
        fault = board.thermometer_faults.get(self.role, "")
        if board.us >= self.ready_us:
            self.raw = self.next_raw
        raw = 0x0550 if fault == "power_on" else self.raw
        pad = with_crc(bytes([raw & 0xFF, raw >> 8 & 0xFF, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10]), WIRE_CRC, 0)
        return pad[:8] + bytes([pad[8] ^ 0x01]) if fault == "crc" else pad

    def convert(self, board: "VirtualBoard") -> None:
        if board.thermometer_faults.get(self.role, "") != "frozen":
            self.next_raw = int((getattr(board, self.role) + 256.0) * 16.0 + 0.5) - 4096
        self.ready_us = board.us + 750000


class VirtualWire:
    """The 1-Wire line: reset, ROM command, function command; bits for the search."""

    def __init__(self, board: "VirtualBoard") -> None:
        self.board = board
        serials = (("outdoor_c", 0xAA), ("glass_c", 0x5B), ("supply_c", 0x73))
        self.thermometers = [Thermometer(role, number) for role, number in serials]
        self.selected = []
        self.state = "idle"
        self.match = b""
        self.answer = b""
        self.bit = 0

    def power_on(self) -> None:
        for thermometer in self.thermometers:
            thermometer.power_on()

    def reset(self) -> int:
        board = self.board
        board.sleep_us(960)
        faults = board.thermometer_faults
        self.selected = [t for t in self.thermometers if faults.get(t.role) != "nak"] if faults else self.thermometers
        self.state = "rom"
        self.answer = b""
        return 1 if board.wire_low or self.selected else 0

    def write(self, value: int) -> None:
        self.board.sleep_us(8 * WIRE_BIT_US)
        if self.state == "rom":
            self.state = {0xCC: "function", 0x55: "match", 0xF0: "search"}[value]
            self.match = b""
            self.bit = 0
        elif self.state == "match":
            self.match += bytes([value])
            if len(self.match) == 8:
                self.selected = [t for t in self.selected if t.code == self.match]
                self.state = "function"
        elif self.state == "function":
            if value == 0x44:
                for thermometer in self.selected:
                    thermometer.convert(self.board)
            elif value == 0xBE:
                self.answer = self.selected[0].pad(self.board) if self.selected else b""
            else:
                raise ValueError("1-Wire: function 0x%02X is not known here" % value)
            self.state = "read"
        else:
            raise ValueError("1-Wire: byte 0x%02X in state %s" % (value, self.state))

    def read(self) -> int:
        self.board.sleep_us(8 * WIRE_BIT_US)
        if self.board.wire_low:
            return 0
        if not self.answer:
            return 0xFF
        value = self.answer[0]
        self.answer = self.answer[1:]
        return value

    def read_bit(self) -> int:
        """In a search: first the bit, then its complement, each pulled low by whoever has a 0."""
        self.board.sleep_us(WIRE_BIT_US)
        if self.state != "search":
            raise ValueError("1-Wire: bits are read in a search only")
        if self.board.wire_low:
            return 0
        complement = self.bit & 1
        place = self.bit >> 1
        self.bit += 1
        for thermometer in self.selected:
            if thermometer.code[place >> 3] >> (place & 7) & 1 == complement:
                return 0
        return 1

    def write_bit(self, bit: int) -> None:
        self.board.sleep_us(WIRE_BIT_US)
        place = (self.bit >> 1) - 1
        self.selected = [t for t in self.selected if t.code[place >> 3] >> (place & 7) & 1 == bit]


# The names of `machine`, as sim/dewsim/fake/machine.py hands them on.

_current = []


def current() -> "VirtualBoard":
    """The board that `import machine` means."""
    return _current[0]


def use(board: "VirtualBoard") -> None:
    """Pins, buses and timers made from now on belong to this board."""
    _current[:] = [board]


def install(board: "VirtualBoard") -> None:
    """Make `import machine` and `import _onewire` mean this board."""
    if sys.platform not in ("linux", "darwin", "win32"):
        raise ImportError("the virtual board does not run where `machine` is a real one")
    use(board)
    folder = __file__.replace("\\", "/").rsplit("/", 1)[0] + "/fake"
    if folder not in sys.path:
        sys.path.insert(0, folder)


class Pin:
    """One pin; what it reads is what is wired to it."""

    IN = 0
    OUT = 1
    OPEN_DRAIN = 2
    PULL_UP = 1

    def __init__(self, number: int, mode: int = -1, pull: int = -1, *, value: "int | None" = None) -> None:
        board = current()
        self.board = board
        self.number = number
        self.mode = mode
        self.epoch = board.epoch
        if mode == Pin.OUT:
            if number not in (p.RELAY, p.LAMP, p.PROBE_DRIVE):
                raise ValueError("pin %d is no output on this board" % number)
            self.value = self._output
            self._output(0 if value is None else value)
        elif number in AC:
            self.levels = board.levels[number]
            board.ac_pins[number] = self
            self.value = self._pulses
        elif number in (p.SDA, p.SCL, p.WIRE):
            if mode == Pin.OPEN_DRAIN and number != p.WIRE:
                if board.bus_open:
                    board.bus_levels = []
                board.bus_open = False
                board.bus_level(number, value)
            self.value = self._drain
        else:
            board.loop_level(number)  # ValueError where nothing is wired
            self.value = self._loop

    def _output(self, level: "int | None" = None) -> "int | None":
        board = self.board
        if self.epoch != board.epoch:
            raise RuntimeError("pin %d belongs to a program that was reset" % self.number)
        if level is None:
            return board.outputs[self.number]
        if board.outputs.get(self.number) != level:
            board.outputs[self.number] = 1 if level else 0
            if self.number == p.RELAY:
                board.redraw()
        return None

    def _pulses(self) -> int:
        return self.levels[self.board.slot]

    def _loop(self) -> int:
        return self.board.loop_level(self.number)

    def _drain(self, level: int) -> None:
        self.board.bus_level(self.number, level)


class ADC:
    """An analogue input: 0 to 65535."""

    def __init__(self, number: int) -> None:
        if number not in (p.LEAK, p.DRAIN):
            raise ValueError("nothing is wired to analogue pin %d" % number)
        self.board = current()
        self.number = number

    def read_u16(self) -> int:
        return self.board.probe_level(self.number)


class I2C:
    """The bus; OSError EIO where nobody acknowledges, ETIMEDOUT where the data line is held."""

    def __init__(self, number: int, *, scl: "Pin", sda: "Pin", freq: int, timeout: int) -> None:
        if (number, scl.number, sda.number) != (0, p.SCL, p.SDA):
            raise ValueError("I2C(%d) has no such pins" % number)
        self.board = current()
        self.board.bus_open = True
        self.byte_us = 9 * 1000000 // freq
        self.timeout_us = timeout

    def _chip(self, address: int, count: int) -> object:
        board = self.board
        if not board.bus_open:
            raise RuntimeError("I2C: its pins were taken for something else")
        fault = board.humidity_fault
        if fault == "stuck" or board.sda_clocks:
            board.sleep_us(self.timeout_us)
            raise OSError(ETIMEDOUT)
        if fault == "nak" or address not in board.chips:
            board.sleep_us(self.byte_us)
            raise OSError(EIO)
        board.sleep_us(self.byte_us * (count + 1))
        return board.chips[address]

    def writeto(self, address: int, buffer: bytes) -> int:
        if not self._chip(address, len(buffer)).write(bytes(buffer)):
            raise OSError(EIO)
        return len(buffer)

    def readfrom_into(self, address: int, buffer: bytearray) -> None:
        if not self._chip(address, len(buffer)).read(buffer):
            raise OSError(EIO)


class Timer:
    """A one-shot timer whose callback runs in the interrupt."""

    ONE_SHOT = 0

    def __init__(self, number: int) -> None:
        if number != -1:
            raise ValueError("Timer(%d) does not exist on this chip" % number)
        self.board = current()
        self.at_us = NEVER
        self.callback = None

    def init(self, *, mode: int, period: int, callback: object, hard: bool) -> None:
        if mode != Timer.ONE_SHOT or hard is not True:
            raise ValueError("only hard one-shot timers are known here")
        board = self.board
        self.at_us = board.us + 1000 * period
        self.callback = callback
        if self not in board.timers:
            board.timers.append(self)
        board._schedule()

    def deinit(self) -> None:
        board = self.board
        if self in board.timers:
            board.timers.remove(self)
            board._schedule()


class WDT:
    """The watchdog: armed for good."""

    def __init__(self, *, timeout: int) -> None:
        self.board = current()
        self.board.arm(timeout)

    def feed(self) -> None:
        self.board.feed()
