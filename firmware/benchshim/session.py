"""A bench on a real board: it lasts while a host renews it over the serial line, and while the real line is dead.

    serve(virtual, token)     from the board's prompt; comes back never: the board starts afresh, contact open

An order is a line of `benchshim.talk`: JSON [token, number, verb, what it needs ...].  Numbers count from 1; the
answer repeats token and number, then "told" and the bed's `told`, "seen" and what `benchshim.seen` makes of the app
with the relay's level behind it, "refused" and why, "failed" and what happened, or "latched" and what is wrong with the
real line.  The last number again gets the last answer again.  Anything else is nothing: it changes nothing and renews
nothing.

A second passes when its order is there and its time has come, never before.  Without a valid order for LEASE_MS the
contact opens and the board starts afresh; before that, no beat renews the relay's own lease of 5 s.
"""

import json
import select
import sys
import time

from benchshim.bed import ATTEND_US, ATTENDS_A_BEAT, BEAT_US, Bed
from benchshim.line import Line
from benchshim.seen import seen
from benchshim.talk import Ears, frame
from benchshim.wires import BenchPins
from dewboard.clock import Clock
from dewboard.lamp import Lamp
from dewboard.pins import open_pins
from dewboard.start import FOLDER, WATCHDOG_MS, keep_memory_tidy
from dewboard.store import Store, load_settings
from dewcore.board import LAMP_ALARM, LAMP_FAULT
from dewcore.settings import Settings
from dewcore.words import ON_BENCH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from benchshim.shapes import Virtual
    from dewboard.pins import Pins, Watchdog
    from dewboard.shapes import Callable

BENCH_FOLDER = "bench"  # what the app keeps there is the bench's; the board's own stays as it is
LEASE_MS = 5000
LOOK_MS = 1000  # from one look at the real line to the next
WAIT_MS = 20  # for an order
REST_MS = 50  # for a second's end: the lamp wants to be asked so often


class BoardBed(Bed):
    """The bed on the board's own relay."""

    def __init__(self, virtual: "Virtual", folder: str, real: "Pins", watchdog: "Watchdog") -> None:
        super().__init__(virtual, folder)
        self.real = real
        self.dog = watchdog

    def open_pins(self) -> "Pins":
        """Contact open before anything else is."""
        self.real.relay.value(0)
        self.real.timer.stop()
        self.dog.feed()  # a start takes its time, and beats feed it from then on
        self.pins = BenchPins(self.real, self.dog, self.world, self.virtual)
        return self.pins

    def read_back(self) -> None:
        """The real relay's pin."""
        self.pins.read_back()


class Session:
    """One host's bench.  run() says in the end why it ended."""

    def __init__(
        self,
        real: "Pins",
        clock: "Clock",
        ears: "Ears",
        say: "Callable[[str], object]",
        bed: "BoardBed",
        token: str,
        fitted: int,
    ) -> None:
        self.real = real
        self.clock = clock
        self.ears = ears
        self.say = say
        self.bed = bed
        self.token = token
        self.fitted = fitted
        self.line = Line(real, clock)
        self.lamp = Lamp(real.lamp)
        self.number = 0  # of the last order that was carried out
        self.answer = b""  # to it
        self.heard_ms = self.looked_ms = self.due_ms = clock.ticks_ms()
        self.is_made = False  # the bed has an app
        self.failed = ""

    def run(self) -> str:
        """Orders, one after the other."""
        self.watch()
        while True:
            order = self.next_order()
            if order is None:
                return "the host fell silent"
            if order[2] == "end":
                self.reply(["told", None])
                return "the host ended it"
            self.reply(self.carry_out(order))
            if self.failed:
                return self.failed

    # the line, and the lease

    def watch(self) -> bool:
        """A look at the real line; whether a bench may go on.  What it finds is latched."""
        if not self.line.wrong:
            fitted = self.fitted and (not self.is_made or self.bed.app.settings.has_line_sense)
            self.line.look(fitted)
        self.looked_ms = self.clock.ticks_ms()
        if self.line.wrong:
            self.open_contact()
        return not self.line.wrong

    def open_contact(self) -> None:
        """Now, whatever the app wants."""
        self.real.relay.value(0)
        self.real.timer.stop()

    def since_ms(self, ms: int) -> int:
        """From then to now."""
        return self.clock.ticks_diff(self.clock.ticks_ms(), ms)

    def pass_time(self) -> None:
        """What goes on while there is nothing to do: the lamp, and each second the real line."""
        self.lamp.show(LAMP_ALARM if self.line.wrong else LAMP_FAULT, self.clock.ticks_ms())
        if self.line.wrong:
            self.open_contact()
            self.bed.dog.feed()  # latched: only a person's reset ends it
        elif self.since_ms(self.looked_ms) >= LOOK_MS:
            self.watch()

    def next_order(self) -> "list | None":
        """The next valid order; None where the lease is over."""
        while True:
            text = self.ears.hear(WAIT_MS)
            order = self.valid(text) if text else None
            if order is not None:
                self.heard_ms = self.clock.ticks_ms()
                if order[1] != self.number:
                    return order
                self.send()  # again: it was lost on its way
            elif not self.line.wrong and self.since_ms(self.heard_ms) > LEASE_MS:
                self.open_contact()
                return None
            self.pass_time()

    def valid(self, text: str) -> "list | None":
        """The order in a line, where it is this host's, and the next or the last."""
        try:
            order = json.loads(text)
        except (ValueError, RuntimeError):  # the latter: nested too deeply
            return None
        if not isinstance(order, list) or len(order) < 3 or order[0] != self.token:
            return None
        return order if order[1] in (self.number, self.number + 1) and order[1] > 0 else None

    def reply(self, words: list) -> None:
        """The answer to the order that was just carried out."""
        self.number += 1
        self.answer = frame(json.dumps([self.token, self.number] + words))
        self.send()
        self.heard_ms = self.clock.ticks_ms()

    def send(self) -> None:
        """The last answer."""
        self.say(self.answer.decode())

    # orders

    def carry_out(self, order: list) -> list:
        """The answer to an order; whatever fails in it, the contact is open afterwards."""
        refusal = ""
        shown = None
        try:
            if not self.line.wrong:
                refusal = self.act(order[2], order[3:])
                if order[2] == "see":
                    shown = seen(self.bed.app) + [self.real.relay.value()]
        except Exception as problem:  # noqa: BLE001 - whatever it is: open first, then told
            self.open_contact()
            self.failed = repr(problem)
            return ["failed", self.failed]
        if self.line.wrong:
            return ["latched", self.line.wrong]
        if shown:
            return ["seen", shown]
        return ["refused", refusal] if refusal else ["told", self.bed.told() if self.is_made else None]

    def act(self, verb: str, values: list) -> str:
        """One order; "" or the board's refusal."""
        bed = self.bed
        if verb == "new":
            bed.renew(values[0], values[1], values[2])
            self.is_made = True
            self.due_ms = self.clock.ticks_ms()
        elif verb == "put":
            for name, value in values[0].items():
                bed.put(name, value)
        elif verb == "beat":
            self.wait_for(BEAT_US)
            if self.watch():
                bed.beat()
        elif verb == "attend":
            self.wait_for(ATTEND_US)
            if values[0] % ATTENDS_A_BEAT or self.watch():
                bed.attend(values[0], values[1])
        elif verb in ORDERS:
            return ORDERS[verb](bed, *values) or ""
        elif verb != "see":
            raise ValueError("no such order: " + verb)
        return ""

    def wait_for(self, step_us: int) -> None:
        """Until the next moment is due; one that is late by more than a beat is not made up for."""
        clock = self.clock
        if self.since_ms(self.due_ms) > BEAT_US // 1000:
            self.due_ms = clock.ticks_ms()
        while self.since_ms(self.due_ms) < 0:
            clock.sleep_us(1000 * min(REST_MS, -self.since_ms(self.due_ms)))
            self.pass_time()
        self.due_ms = clock.ticks_add(self.due_ms, step_us // 1000)


ORDERS = {
    "reach": Bed.reach,
    "power": Bed.power_off,
    "time": Bed.tell_time,
    "forecast": Bed.forecast,
    "change": Bed.change,
    "look": Bed.look,
    "request": Bed.request,
}


def serve(virtual: "Virtual", token: str) -> None:
    """From the prompt, at a host's word; what ends it opens the contact and starts the board afresh."""
    pins = open_pins()
    try:
        keep_memory_tidy()
        settings = Settings()
        load_settings(Store(FOLDER, "settings"), settings)
        dog = pins.watchdog(WATCHDOG_MS)
        poll = select.poll()
        poll.register(sys.stdin, select.POLLIN)
        print("dewmargin: " + ON_BENCH)
        bed = BoardBed(virtual, BENCH_FOLDER, pins, dog)
        ears = Ears(poll.poll, sys.stdin.buffer.read)
        why = Session(pins, Clock(time), ears, sys.stdout.write, bed, token, settings.has_line_sense).run()
        pins.relay.value(0)  # before a word goes out: the line may be slow
        print("dewmargin: the bench ends: " + why)
    except Exception as problem:  # noqa: BLE001 - told on the serial line, for whoever listens
        pins.relay.value(0)
        print("dewmargin: the bench stopped:", repr(problem))
    finally:
        pins.relay.value(0)
        pins.reset()
