"""The bench without its page: the firmware's own app on the virtual board, whose wires and chips a person drives.

    bench = Bench(settings)      a dry house whose furnace heats, a board as new; each call of `renew` begins again
    .set(name, value)  .break_it(name, broken)  .ramp(name, value, seconds)     see `dewsim.bench_inputs`
    .beat()  .scan()  .press(buttons, seconds)  .power_off(seconds)             time passes in these only
    .tell_time(utc_s, offset_s)  .forecast(outdoor_c, issued_ago_s)  .change(name, value)
    .world  .app  .seconds                                                      what to look at
"""

import json
import shutil
import tempfile
from pathlib import Path

from dewcore.board import (
    LAMP_ALARM,
    LAMP_FAULT,
    LAMP_HUMID,
    LAMP_OFF,
    LAMP_OPEN,
    LAMP_WAITING,
)
from dewcore.feed import accept
from dewcore.readings import FORECAST_HOURS, FORECAST_NONE
from dewcore.settings import TABLE, Settings
from dewsim import bench_inputs as inputs
from dewsim import onboard

BEAT_US = 1_000_000
ATTEND_US = 50_000
ATTENDS_A_BEAT = BEAT_US // ATTEND_US
LET_GO = 10  # looks at the buttons before they are pressed: one held at the start does not count
MOST_BEATS_TO_SCAN = 11  # a scan comes at least every ten seconds
DAY_ONE_S = 1705276800  # Monday, 15 January 2024, 00:00 UTC: the bench's first day
LAMP_NAMES = {
    LAMP_OPEN: "open", LAMP_WAITING: "waiting", LAMP_HUMID: "humid", LAMP_OFF: "off", LAMP_FAULT: "fault",
    LAMP_ALARM: "alarm",
}  # fmt: skip
BUTTONS = {"look": ("look_pressed",), "alarm": ("alarm_pressed",), "both": ("look_pressed", "alarm_pressed")}
# How each bench begins: a furnace that heats, and a house dry enough to want water.
BEGIN = {"outdoor_c": 0.0, "indoor_c": 20.0, "rh_pct": 20.0, "fan": "on", "heat_call": "on", "terminal": "live"}


def remembering(world, pins, clock, settings):
    """The firmware's Contacts, counting the pulses of a wave that it has counted before out of memory.

    What 50 reads of a wave count follows from the wave and the place in it at which they begin: nothing else can
    differ while no timer fires among them, and where one would, they are read one by one.  It is half of a beat's work.
    """
    from dewboard.contacts import READ_US, READS, Contacts
    from dewsim.virtual import AC, SLOT_US

    numbers = tuple(AC)  # line, load, fan, heat: the order of Contacts
    known: dict = {}

    def counted(wave: bytes, us: int, cycle_us: int) -> int:
        levels = [wave[(us + n * READ_US) % cycle_us // SLOT_US] for n in range(READS)]
        changes = sum(a != b for a, b in zip(levels, levels[1:], strict=False))
        return changes if changes or levels[-1] else -1

    class Remembering(Contacts):
        __slots__ = ()

        def _pulses(self) -> None:
            took_us = (READS - 1) * READ_US
            if world.next_us <= world.us + took_us:
                Contacts._pulses(self)
                return
            place = world.us % world.cycle_us
            for n, number in enumerate(numbers):
                key = (world.levels[number], place, world.cycle_us)
                if key not in known:
                    known[key] = counted(*key)
                self.changes[n] = known[key]
            world.sleep_us(took_us)
            self.half_wave = 0

    return Remembering(pins, clock, settings)


class Bench:
    """One board on the bench; close() removes what it keeps on disk."""

    def __init__(self, settings: Settings | None = None) -> None:
        onboard.needs_firmware()
        self.settings = settings or Settings()
        self.folder = tempfile.mkdtemp(prefix="dewmargin-bench-")
        self.renew()

    def close(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)

    def renew(self, changes: dict | None = None, start_ms: int | None = None) -> None:
        """A board as new, in the world of BEGIN; changes: settings that it is installed with."""
        from dewboard.store import Store, save_settings
        from dewsim.virtual import VirtualBoard

        settings = Settings()
        settings.change({row[0]: getattr(self.settings, row[0]) for row in TABLE})
        settings.change(changes or {})
        for path in Path(self.folder).iterdir():
            path.unlink()
        self.world = VirtualBoard() if start_ms is None else VirtualBoard(start_ms)
        save_settings(Store(self.folder, "settings"), settings)
        Store(self.folder, "probes").save(json.dumps(self.world.rom_codes()).encode())
        self.ramps: dict = {}
        self.utc_zero_s = DAY_ONE_S
        self.restarts = 0
        self.pending = True  # something was changed that no beat has seen
        for name, value in BEGIN.items():
            inputs.put(self.world, name, value)
        self._start()

    def _start(self) -> None:
        """What main.py does after the serial window."""
        from dewboard import start
        from dewboard.clock import Clock
        from dewboard.pins import open_pins
        from dewsim.virtual import install

        install(self.world)
        self.pins = open_pins()
        self.app = start.build(self.pins, Clock(self.world), self.folder)
        hardware = self.app.hardware
        hardware.contacts = remembering(self.world, self.pins, self.app.clock, self.app.settings)

    # what a person does

    def set(self, name: str, value: object) -> None:
        """An input at once; it ends a ramp of the same name."""
        self.ramps.pop(name, None)
        inputs.put(self.world, name, value)
        self.pending = True

    def ramp(self, name: str, value: float, seconds: int) -> None:
        """A number that moves to its value evenly, from now on."""
        self.ramps[name] = (self.seconds, getattr(self.world, name), self.seconds + seconds, value)

    def break_it(self, name: str, broken: bool) -> None:
        """A fault, or its end."""
        inputs.break_it(self.world, name, broken)
        self.pending = True

    def change(self, name: str, value: object) -> str:
        """A setting, as from the board's page; "" or the refusal."""
        self.pending = True
        return self.app.change_settings({name: value})

    def tell_time(self, utc_s: int, offset_s: int = 0) -> None:
        """What a feed's messages tell of the time from now on; three, for one that sets the clock back."""
        self.utc_zero_s = utc_s - self.seconds
        message = {"schema": 1, "source": "bench", "sent_s": utc_s, "utc_offset_s": offset_s, "issued_s": utc_s}
        for _ in range(3):
            self.app.wall.take(message, False, self.app.clock.now_s())
        self.pending = True

    def forecast(self, outdoor_c: float | None, issued_ago_s: int = 0) -> str:
        """A message with 72 hours of one temperature, or no forecast any more; "" or the board's refusal."""
        readings = self.app.readings
        if outdoor_c is None:
            readings.forecast_issued_s = readings.forecast_start_s = 0
            for n in range(FORECAST_HOURS):
                readings.forecast_dc[n] = FORECAST_NONE
            return ""
        issued_s = self.utc_s - issued_ago_s
        message = {
            "schema": 1, "source": "bench", "sent_s": self.utc_s, "issued_s": issued_s, "start_s": issued_s,
            "step_s": 3600, "outdoor_c": [outdoor_c] * FORECAST_HOURS,
        }  # fmt: skip
        self.pending = True
        return accept(message, readings, self.app.now_s, self.app.utc_s())

    # time

    @property
    def seconds(self) -> int:
        """Since the bench began, the board's reboots included."""
        return self.world.us // BEAT_US

    @property
    def utc_s(self) -> int:
        """The bench's own wall time; the board knows it once it is told."""
        return self.utc_zero_s + self.seconds

    def beat(self) -> None:
        """A second; a board whose watchdog bites starts again by itself."""
        from dewsim.virtual import BoardReset

        world = self.world
        until_us = (self.seconds + 1) * BEAT_US
        if self.ramps:
            self._move()
        self.pending = False
        try:
            self.app.beat()
            world.advance_us(until_us - world.us)
        except BoardReset:
            self.restarts += 1
            self._start()
            world.advance_us(max(0, until_us - world.us))

    def scan(self) -> None:
        """Beats up to the next complete scan."""
        for _ in range(MOST_BEATS_TO_SCAN):
            before_s = self.app.decided_s
            self.beat()
            if self.app.decided_s != before_s:
                return

    def _move(self) -> None:
        """Each ramp to where it is by now."""
        for name, (from_s, begin, to_s, end) in list(self.ramps.items()):
            share = min(1.0, (self.seconds + 1 - from_s) / max(1, to_s - from_s))
            inputs.put(self.world, name, begin + (end - begin) * share)
            if share >= 1.0:
                del self.ramps[name]

    def press(self, buttons: str, seconds: float) -> None:
        """Hold "look", "alarm" or "both" for so long, and go on to a whole second after it; the beat runs meanwhile."""
        looks = int(seconds * BEAT_US) // ATTEND_US
        end = LET_GO + looks + LET_GO
        end += -end % ATTENDS_A_BEAT
        world, began_us = self.world, self.world.us
        for n in range(end + 1):
            world.advance_us(max(0, began_us + n * ATTEND_US - world.us))
            if n == end:
                break
            for name in BUTTONS[buttons]:
                setattr(world, name, LET_GO <= n < LET_GO + looks)
            self.app.attend()
            if n % ATTENDS_A_BEAT == 0:
                self.app.beat()
        self.pending = False

    def power_off(self, seconds: int) -> None:
        """The board's 5 V gone for so long; whatever it did not store is lost."""
        from dewsim.virtual import BoardReset

        try:
            self.world.power_cut()
        except BoardReset:
            self.restarts += 1
        self.world.advance_us(seconds * BEAT_US)
        self._start()
        self.pending = True

    # what is seen

    @property
    def lamp(self) -> str:
        """What the lamp on the board says."""
        from dewboard.lamp import rhythm_of

        return LAMP_NAMES[rhythm_of(self.app.controller.decision.refusals)]
