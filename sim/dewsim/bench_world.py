"""The bench without its page: the firmware's own app on the virtual board, whose wires and chips a person drives.

    bench = Bench(settings)      a dry house whose furnace heats, a board as new; each call of `renew` begins again
                                 given a bed, that is where the board is: `benchshim.bed`, or `dewsim.bench_board`
    .set(name, value)  .break_it(name, broken)  .ramp(name, value, seconds)     see `dewsim.bench_inputs`
    .beat()  .scan()  .press(buttons, seconds)  .power_off(seconds)             time passes in these only
    .tell_time(utc_s, offset_s)  .forecast(outdoor_c, issued_ago_s)  .change(name, value)  .look(code) .request(code, s)
    .world  .app  .seconds                                                      what to look at
"""

import shutil
import tempfile

from benchshim.bed import ALARM, ATTEND_US, ATTENDS_A_BEAT, BEAT_US, LOOK, Bed
from dewcore.board import (
    LAMP_ALARM,
    LAMP_FAULT,
    LAMP_HUMID,
    LAMP_OFF,
    LAMP_OPEN,
    LAMP_WAITING,
)
from dewcore.settings import TABLE, Settings
from dewsim import bench_inputs as inputs
from dewsim import onboard
from dewsim.virtual_time import JUST_BEFORE_WRAP_MS

LET_GO = 10  # looks at the buttons before they are pressed: one held at the start does not count
MOST_BEATS_TO_SCAN = 11  # a scan comes at least every ten seconds
LAMP_NAMES = {
    LAMP_OPEN: "open", LAMP_WAITING: "waiting", LAMP_HUMID: "humid", LAMP_OFF: "off", LAMP_FAULT: "fault",
    LAMP_ALARM: "alarm",
}  # fmt: skip
BUTTONS = {"look": LOOK, "alarm": ALARM, "both": LOOK | ALARM}


def remembering(world, pins, clock, settings):
    """The firmware's Contacts, counting the pulses of a wave that it has counted before out of memory.

    What 50 reads of a wave count follows from the wave and the place in it at which they begin: nothing else can
    differ while no timer fires among them, and where one would, they are read one by one.  It is half of a beat's work.
    """
    from dewboard.contacts import READ_US, READS, Contacts
    from dewsim.virtual_mains import AC
    from dewsim.virtual_time import SLOT_US

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


class VirtualBed(Bed):
    """On this computer, in a folder of its own.  name: for the sheet."""

    name = "the virtual board: the board's own program, simulated wires and chips"

    def __init__(self) -> None:
        from dewsim import virtual

        onboard.needs_firmware()
        super().__init__(virtual, tempfile.mkdtemp(prefix="dewmargin-bench-"))

    def open_pins(self):
        from dewboard.pins import open_pins

        self.virtual.install(self.world)
        self.pins = open_pins()
        return self.pins

    def start(self) -> None:
        super().start()
        self.app.hardware.contacts = remembering(self.world, self.pins, self.app.clock, self.app.settings)

    def close(self) -> None:
        """Nothing is left on the disk."""
        shutil.rmtree(self.folder, ignore_errors=True)


class Bench:
    """One board on the bench; close() lets go of its bed."""

    def __init__(self, settings: Settings | None = None, bed=None) -> None:
        self.settings = settings or Settings()
        self.bed = bed or VirtualBed()
        self.renew()

    def close(self) -> None:
        self.bed.close()

    def renew(
        self, changes: dict | None = None, known: dict | None = None, start_ms: int = JUST_BEFORE_WRAP_MS
    ) -> None:
        """A board as new, in a dry, heated house; changes: settings that it is installed with; known: what it learned
        before, by the names of dewcore.learned."""
        settings = Settings()
        settings.change({row[0]: getattr(self.settings, row[0]) for row in TABLE})
        settings.change(changes or {})
        self.bed.renew({row[0]: getattr(settings, row[0]) for row in TABLE}, start_ms, known or {})
        self.ramps: dict = {}
        self.pending = True  # something was changed that no beat has seen

    @property
    def world(self):
        """The wires, chips and contact."""
        return self.bed.world

    @property
    def app(self):
        """The board's program."""
        return self.bed.app

    @property
    def restarts(self) -> int:
        return self.bed.restarts

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
        return self.bed.change(name, value)

    def look(self, code: int) -> None:
        """SAW_*."""
        self.pending = True
        self.bed.look(code)

    def request(self, code: int, seconds: int = 0) -> None:
        """REQUEST_*."""
        self.pending = True
        self.bed.request(code, seconds)

    def tell_time(self, utc_s: int, offset_s: int = 0) -> None:
        """What a feed's messages tell of the time from now on."""
        self.pending = True
        self.bed.tell_time(utc_s, offset_s)

    def forecast(self, outdoor_c: float | None, issued_ago_s: int = 0) -> str:
        """72 hours of one temperature, or no forecast any more; "" or the board's refusal."""
        self.pending = self.pending or outdoor_c is not None
        return self.bed.forecast(outdoor_c, issued_ago_s)

    # time

    @property
    def seconds(self) -> int:
        """Since the bench began, the board's reboots included."""
        return self.bed.now_s()

    @property
    def utc_s(self) -> int:
        """The bench's own wall time; the board knows it once it is told."""
        return self.bed.utc_zero_s + self.seconds

    def beat(self) -> None:
        """A second; a board whose watchdog bites starts again by itself."""
        if self.ramps:
            self._move()
        self.pending = False
        self.bed.beat()

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
        for n in range(end):
            self.bed.attend(n, BUTTONS[buttons] if LET_GO <= n < LET_GO + looks else 0)
        self.bed.reach(end)
        self.pending = False

    def power_off(self, seconds: int) -> None:
        """The board's 5 V gone for so long; whatever it did not store is lost."""
        self.bed.power_off(seconds)
        self.pending = True

    # what is seen

    @property
    def lamp(self) -> str:
        """What the lamp on the board says."""
        from dewboard.lamp import rhythm_of

        return LAMP_NAMES[rhythm_of(self.app.controller.decision.refusals)]
