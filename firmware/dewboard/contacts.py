"""What wires tell: AC senses by their pulses, dry contacts, leak wire and drain electrodes, and the two buttons.

    Contacts(pins, clock, settings)
    .read(readings, now_s)     once a beat: all fitted contacts from one sample of 50 reads, 1 ms apart (50 to 60 ms)
    .half_wave                 bits 1 line, 2 load, 4 fan, 8 heat: who ran on half a wave in the last sample
    Buttons(pins, clock)
    .poll()                    PRESS_* of `dewcore.board`; every 20 to 100 ms

AC senses.  An optocoupler pulls its pin low while the voltage, either way, is above its threshold: 100 or 120
pulses a second, 50 or 60 where only one half of the wave comes through.  The dark gap at each zero crossing is at
least 1.2 ms wide (`dewboard.pin_table`), so that reads 1 ms apart miss none.  Changes counted in 50 reads:

    0, dark    OFF             0, lit       UNREADABLE: direct current, or a shorted optocoupler
    4 to 7     ON, half wave   9 to 14      ON
    else       UNREADABLE: pulses come and go, or there are too many

The rest.  Closed loops, so that a broken wire reads as the safe side: overflow, off_switch, absent: open is ON.
Leak and drain wire end in a resistor: open UNREADABLE, the resistor OFF, water across it ON, short UNREADABLE, and
UNREADABLE where the wire has voltage of its own.

Debounce.  The safe side counts at once, the other after two equal beats: OFF and UNREADABLE of fan and line_sense; ON
and UNREADABLE of leak; ON of overflow and off_switch.  heat_call, load_sense, drain_wet and absent have no such side,
or nothing that hurries: two equal beats either way.
"""

from array import array

from dewcore.board import PRESS_ALARM, PRESS_BOTH, PRESS_LOOK_LONG, PRESS_LOOK_SHORT, PRESS_NONE
from dewcore.readings import NOT_FITTED, OFF, ON, UNREADABLE, Contact, Readings

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.clock import Clock
    from dewboard.pins import Pins
    from dewboard.shapes import Callable
    from dewcore.settings import Settings

READS = 50
READ_US = 1000
HALF_FROM = 4  # 50 Hz, half a wave: 4.9 changes in 49 ms, give or take one
HALF_TO = 7
FULL_FROM = 9  # 50 Hz: 9.8
FULL_TO = 14  # 60 Hz: 11.8, and 13 where each read takes 0.1 ms longer

# Share of the probes' supply (of 65536): 100 kohm to the supply, 100 kohm at the wire's end.
FOREIGN_ABOVE = 13107  # 20 % with the supply off: more than wet electrodes make by themselves
BROKEN_ABOVE = 49152  # 75 %
DRY_ABOVE = 27525  # 42 %: water of less than 260 kohm across the resistor
WET_ABOVE = 655  # 1 %: less than 1 kohm is a short, not water

_NOTHING = -2  # a read that tells nothing

# Contacts in the order of `candidates`.
_LINE = 0
_LOAD = 1
_FAN = 2
_HEAT = 3
_LEAK = 4
_DRAIN = 5
_OVERFLOW = 6
_SWITCH = 7
_ABSENT = 8
# Which states count at once, as bits.
_NOT_ON = 1 << OFF | 1 << UNREADABLE
_NOT_OFF = 1 << ON | 1 << UNREADABLE
_AT_ONCE = (_NOT_ON, 0, _NOT_ON, 0, _NOT_OFF, 0, 1 << ON, 1 << ON, 0)


class Contacts:
    """All contacts of one board."""

    __slots__ = (
        "settings",
        "sleep_us",
        "line",
        "load",
        "fan",
        "heat",
        "overflow",
        "off_switch",
        "absent",
        "leak",
        "drain",
        "drive",
        "candidates",
        "changes",
        "half_wave",
    )

    def __init__(self, pins: "Pins", clock: "Clock", settings: "Settings") -> None:
        self.settings: "Settings" = settings
        self.sleep_us = clock.sleep_us
        self.line = pins.line_sense.value
        self.load = pins.load_sense.value
        self.fan = pins.fan.value
        self.heat = pins.heat_call.value
        self.overflow = pins.overflow.value
        self.off_switch = pins.off_switch.value
        self.absent = pins.absent.value
        self.leak = pins.leak.read_u16
        self.drain = pins.drain.read_u16
        self.drive = pins.probe_drive.value
        self.candidates = array("b", [_NOTHING] * 9)
        self.changes = array("b", [0] * 4)  # of the last sample, -1 for steadily lit
        self.half_wave: int = 0

    def read(self, readings: "Readings", now_s: int) -> None:
        """One sample of everything into readings at now_s [s]."""
        s = self.settings
        has_leak = s.has_leak
        has_drain = s.has_drain_wet
        leak_before = self.leak() if has_leak else 0
        drain_before = self.drain() if has_drain else 0
        loops = self._loops()
        self.drive(1)  # current only while it is needed: a steady one eats the electrodes
        self._pulses()
        leak = _probe(self.leak, leak_before) if has_leak else 0
        drain = _probe(self.drain, drain_before) if has_drain else 0
        self.drive(0)
        steady = ~(loops ^ self._loops())
        self._settle(_FAN, readings.fan, 1, self._ac(_FAN), now_s)
        self._settle(_LINE, readings.line_sense, s.has_line_sense, self._ac(_LINE), now_s)
        self._settle(_LOAD, readings.load_sense, s.has_load_sense, self._ac(_LOAD), now_s)
        self._settle(_HEAT, readings.heat_call, s.has_heat_call, self._ac(_HEAT), now_s)
        self._settle(_LEAK, readings.leak, has_leak, leak, now_s)
        self._settle(_DRAIN, readings.drain_wet, has_drain, drain, now_s)
        self._settle(_OVERFLOW, readings.overflow, s.has_overflow, _loop(loops, steady, 1), now_s)
        self._settle(_SWITCH, readings.off_switch, s.has_off_switch, _loop(loops, steady, 2), now_s)
        self._settle(_ABSENT, readings.absent, s.has_absent, _loop(loops, steady, 4), now_s)

    def _loops(self) -> int:
        return self.overflow() | self.off_switch() << 1 | self.absent() << 2

    def _pulses(self) -> None:
        """Count the changes of all four AC senses in the same reads."""
        line = self.line
        load = self.load
        fan = self.fan
        heat = self.heat
        sleep_us = self.sleep_us
        lines = loads = fans = heats = 0
        last = line() | load() << 1 | fan() << 2 | heat() << 3
        for _ in range(READS - 1):
            sleep_us(READ_US)
            now = line() | load() << 1 | fan() << 2 | heat() << 3
            if now != last:
                changed = now ^ last
                last = now
                if changed & 1:
                    lines += 1
                if changed & 2:
                    loads += 1
                if changed & 4:
                    fans += 1
                if changed & 8:
                    heats += 1
        changes = self.changes
        changes[_LINE] = lines if lines or last & 1 else -1
        changes[_LOAD] = loads if loads or last & 2 else -1
        changes[_FAN] = fans if fans or last & 4 else -1
        changes[_HEAT] = heats if heats or last & 8 else -1
        self.half_wave = 0

    def _ac(self, n: int) -> int:
        """The state that a sense's changes tell."""
        changes = self.changes[n]
        if FULL_FROM <= changes <= FULL_TO:
            return ON
        if changes == 0:
            return OFF
        if HALF_FROM <= changes <= HALF_TO:
            self.half_wave |= 1 << n
            return ON
        return UNREADABLE

    def _settle(self, n: int, contact: "Contact", fitted: int, seen: int, now_s: int) -> None:
        """Debounce: take what was seen where it counts at once or was seen in the beat before as well."""
        if not fitted:
            contact.set(NOT_FITTED, now_s)
            self.candidates[n] = _NOTHING
        elif seen != _NOTHING:
            if seen != contact.state and (_AT_ONCE[n] >> seen & 1 or seen == self.candidates[n]):
                contact.set(seen, now_s)
            self.candidates[n] = seen


def _loop(loops: int, steady: int, bit: int) -> int:
    """ON where a closed loop was open before and after the sample; nothing where the two differ."""
    if not steady & bit:
        return _NOTHING
    return ON if loops & bit else OFF


def _probe(read_u16: "Callable[[], int]", before: int) -> int:
    """State of a wire with a resistor at its end; the middle of three reads, so that no spike latches an alarm."""
    a = read_u16()
    b = read_u16()
    c = read_u16()
    middle = max(min(a, b), min(max(a, b), c))
    if before > FOREIGN_ABOVE or middle > BROKEN_ABOVE or middle < WET_ABOVE:
        return UNREADABLE
    return OFF if middle > DRY_ABOVE else ON


LONG_MS = 1500
ALARM_MS = 3000
BOTH_MS = 10000
STUCK_MS = 30000  # held for longer: a short or a trapped object, not a finger

_LOOK = 1
_ALARM = 2


class Buttons:
    """Two buttons to ground.  One that is held while the board starts counts only after it was let go."""

    __slots__ = ("ticks_ms", "ticks_diff", "look", "alarm", "down", "seen", "since_ms", "pressed", "told")

    def __init__(self, pins: "Pins", clock: "Clock") -> None:
        self.ticks_ms = clock.ticks_ms
        self.ticks_diff = clock.ticks_diff
        self.look = pins.look_button.value
        self.alarm = pins.alarm_button.value
        self.down: int = _LOOK | _ALARM  # the debounced state; as if held at the start
        self.seen: int = _LOOK | _ALARM
        self.since_ms: int = 0
        self.pressed: int = 0  # every button that was down in this press
        self.told: bool = True  # nothing more is to come of this press

    def poll(self) -> int:
        """PRESS_* that has just become certain, else PRESS_NONE."""
        seen = (0 if self.look() else _LOOK) | (0 if self.alarm() else _ALARM)
        now_ms = self.ticks_ms()
        if seen != self.seen:  # bouncing: wait for a second equal look
            self.seen = seen
            return PRESS_NONE
        held_ms = self.ticks_diff(now_ms, self.since_ms)
        if seen != self.down:
            return self._changed(seen, now_ms, held_ms)
        if not self.told:
            if held_ms < 0 or held_ms >= STUCK_MS:
                self.told = True
            elif seen == _ALARM == self.pressed and held_ms >= ALARM_MS:
                self.told = True
                return PRESS_ALARM
            elif seen == _LOOK | _ALARM and held_ms >= BOTH_MS:
                self.told = True
                return PRESS_BOTH
        return PRESS_NONE

    def _changed(self, seen: int, now_ms: int, held_ms: int) -> int:
        was = self.down
        self.down = seen
        self.since_ms = now_ms
        if was == 0:
            self.pressed = seen
            self.told = False
            return PRESS_NONE
        self.pressed |= seen
        if seen == 0 and not self.told and self.pressed == _LOOK:
            return PRESS_LOOK_LONG if held_ms >= LONG_MS else PRESS_LOOK_SHORT
        return PRESS_NONE
