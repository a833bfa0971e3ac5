"""The bench's bed on a real board at a serial port: orders to its bench shim, and what that tells of each second.

    bed = BoardBed(port)     as `benchshim.bed`; close() lets the board start afresh
    .name                    which board, for the sheet
    SeenBed(port)            the same, and after each second .app is all that a page shows of the board's own

Before it starts, the board's release has to be this one, file by file, with the bench shim.
"""

import json
import secrets
import struct
import time
from types import SimpleNamespace

from benchshim import bed as shim_bed
from benchshim.seen import rebuilt
from benchshim.session import LEASE_MS
from benchshim.talk import LONGEST, frame, unframe
from dewboard.release import LIST, RELEASES
from dewcore.feed import WallTime
from dewcore.settings import Settings
from dewcore.words import ON_BENCH
from dewsim.errors import InputError, shown
from dewsim.install_files import NUMBER, SHIM, build, number_of
from dewsim.install_link import TRY_S, Link
from dewsim.progress import Progress
from dewsim.virtual import VirtualBoard

CAUTION = (
    "The board makes up every reading from now on, and its relay is real: nothing but its own supply may be wired to "
    "it, the fuse of the valve branch is out, and a laptop runs on its battery. An idle line comes alive with the next "
    "call. Local code and licensed practice come first. Afterwards `dewmargin install` takes the bench shim off again."
)
FIRST_S = 20.0  # a new trial: the release is checked, its settings are stored
AGAIN_S = 1.5  # without an answer the order is sent again
SILENT_S = LEASE_MS / 1000 + 3.0
OPENS = f"its contact opens by itself within {LEASE_MS // 1000} s"
AGAIN = OPENS + "; plug it in anew and run the same command again"
SAID = b"dewmargin: "  # by a board that has no bench, or not any more
BENCH_SAYS = "the bench "
INSTALL = "run `dewmargin install --bench {port}` first"
START = """
import sys
sys.path.insert(0, {folder!r})
from benchshim import session, virtual
from binascii import hexlify
from machine import unique_id
print(hexlify(unique_id()).decode())
"""


class Wires:
    """The board's inputs as they were last put; a new value goes out with the next order."""

    def __init__(self) -> None:
        fresh = VirtualBoard()
        self.__dict__.update({name: getattr(fresh, name) for name in shim_bed.PUT})
        self.__dict__.update(shim_bed.BEGIN)
        self.__dict__["changed"] = {}

    def __setattr__(self, name: str, value: object) -> None:
        if name in shim_bed.PUT:
            self.changed[name] = value
        self.__dict__[name] = value


class BoardBed:
    """The board at a port."""

    def __init__(self, port: str) -> None:
        print(CAUTION)
        self.port = port
        self.token = secrets.token_hex(4)
        self.number = 0
        self.heard = b""
        self.link = Link(port, AGAIN)
        try:
            self.link.connect()
            self.name = self._begin()
        except BaseException:
            self.link.reset()
            raise

    def _begin(self) -> str:
        """The release looked at, the shim started; the board's name."""
        facts = self.link.facts()
        numbers = {folder: number_of(self.link.read(f"{folder}/{NUMBER}") or b"") for folder in RELEASES}
        folder = max(RELEASES, key=lambda name: numbers[name])
        listed = (self.link.read(f"{folder}/{LIST}") or b"") if numbers[folder] >= 0 else b""
        self._check_release(listed)
        told = self.link.run("starting the bench shim", START.format(folder=folder), FIRST_S).split()
        self.link.send_off(f"session.serve(virtual, {self.token!r})")
        self.link.transport.serial.timeout = TRY_S  # what is not heard is asked for again
        version = ".".join(map(str, facts[1]))
        return (
            f"the board {told[-1]} at {self.port}, {shown(facts[3])}, {facts[0]} {version}, with release "
            f"{numbers[folder]} and THE BENCH SHIM on it: its relay is real, its readings are made up"
        )

    def _check_release(self, listed: bytes) -> None:
        """What is on the board must be what the sheet lists."""
        todo = INSTALL.format(port=self.port)
        if b"  " + SHIM.encode() + b"/" not in listed:
            raise InputError(f"{self.port}: the bench shim is not on this board; {todo}")
        with Progress.on_terminal("bench") as progress:
            progress.stage("comparing the release", 0.0, 1.0)
            wanted = build(b".mpy\n" not in listed, progress.share, True)[LIST]
        if listed != wanted:
            raise InputError(f"{self.port}: another release than this one is on the board; {todo}")

    def close(self) -> None:
        """The board starts afresh, contact open."""
        if self.link.transport is not None:
            try:
                self.order("end")
            except InputError as problem:  # it is gone, or latched: it has opened the contact by itself
                print(problem)
        self.link.close()

    # orders

    def order(self, verb: str, *values: object) -> str:
        """One order carried out; "" or the board's refusal.  Inputs that were put go before it."""
        changed = self.world.changed if verb not in ("new", "put", "end") else {}
        if changed:
            self.world.__dict__["changed"] = {}
            self.order("put", changed)
        self.number += 1
        line = frame(json.dumps([self.token, self.number, verb, *values]))
        if len(line) > LONGEST:
            raise ValueError(f"an order of {len(line)} bytes")
        outcome, told = self._exchange(line, FIRST_S if verb == "new" else SILENT_S)
        if outcome == "latched":
            self.link.close()
            raise InputError(
                f"{self.port}: {shown(str(told), 200)}; the contact is open and stays so until the board is reset: "
                "take every wire but its own supply off it first"
            )
        if outcome == "failed":
            self.link.close()
            raise InputError(f"{self.port}: {verb} fails on the board ({shown(str(told))}); run it again")
        if outcome == "told" and told is not None:
            self._take(told)
        if outcome == "seen":
            self._see(told)
        return told if outcome == "refused" else ""

    def _exchange(self, line: bytes, silent_s: float) -> tuple:
        """(outcome, what is told) that answers the present order."""
        until_s = time.monotonic() + silent_s
        while time.monotonic() < until_s:
            self._write(line)
            again_s = min(until_s, time.monotonic() + AGAIN_S)
            while time.monotonic() < again_s:
                answer = self._answer(again_s)
                if answer is not None and answer[:2] == [self.token, self.number]:
                    return answer[2], answer[3]
        self.link.close()
        raise InputError(f"{self.port}: the board is silent; {OPENS}; run it again")

    def _write(self, line: bytes) -> None:
        self.link.ask("sending it an order", lambda: self.link.transport.serial.write(line))

    def _answer(self, until_s: float) -> "list | None":
        """The next whole line from the shim; None where it is something else, or nothing in time."""
        serial = self.link.transport.serial
        while b"\n" not in self.heard:
            if time.monotonic() > until_s:
                return None
            self.heard += self.link.ask("listening", lambda: serial.read(max(1, serial.inWaiting())))
        line, _, self.heard = self.heard.partition(b"\n")
        text = unframe(line.rstrip(b"\r"))
        if not text and line.startswith(SAID) and ON_BENCH.encode() not in line:
            said = line[len(SAID) :].decode("ascii", "replace").strip()
            why = f" ({shown(said, 200)})" if said.startswith(BENCH_SAYS) else ""
            self.link.close()
            raise InputError(f"{self.port}: the board started afresh{why}: its contact is open; run it again")
        return json.loads(text) if text else None

    def _take(self, told: list) -> None:
        """What the board tells, where the bench looks for it."""
        values = dict(zip(shim_bed.TOLD, told, strict=False))
        numbers = struct.unpack(f"<{len(shim_bed.TOLD_NUMBERS)}d", bytes.fromhex(told[-1]))
        values.update(zip(shim_bed.TOLD_NUMBERS, numbers, strict=True))
        all_of_it = SimpleNamespace(**values)
        self.seconds, self.restarts = values["seconds"], values["restarts"]
        for name in ("contact_closed", "valve_powered"):
            self.world.__dict__[name] = bool(values[name])
        self.app = SimpleNamespace(
            controller=SimpleNamespace(
                decision=all_of_it, permit=all_of_it, judge=SimpleNamespace(inputs=all_of_it)
            ),
            counters=SimpleNamespace(valve_starts=values["starts"]),
        )

    # as a bed

    def renew(self, settings: dict, start_ms: int, known: dict) -> None:
        self.world = Wires()
        self.utc_zero_s = shim_bed.DAY_ONE_S
        self.order("new", settings, start_ms, known)

    def now_s(self) -> int:
        return self.seconds

    def beat(self) -> None:
        self.order("beat")

    def attend(self, n: int, pressed: int) -> None:
        self.order("attend", n, pressed)

    def reach(self, n: int) -> None:
        self.order("reach", n)

    def power_off(self, seconds: int) -> None:
        self.order("power", seconds)

    def change(self, name: str, value: object) -> str:
        return self.order("change", name, value)

    def look(self, code: int) -> None:
        self.order("look", code)

    def request(self, code: int, seconds: int = 0) -> None:
        self.order("request", code, seconds)

    def tell_time(self, utc_s: int, offset_s: int = 0) -> None:
        self.utc_zero_s = utc_s - self.seconds
        self.order("time", utc_s, offset_s)

    def forecast(self, outdoor_c: "float | None", issued_ago_s: int = 0) -> str:
        return self.order("forecast", outdoor_c, issued_ago_s)


class SeenBed(BoardBed):
    """settings: those that its app runs with."""

    def renew(self, settings: dict, start_ms: int, known: dict) -> None:
        self.settings = Settings()
        self.settings.change(settings)
        super().renew(settings, start_ms, known)
        self.order("see")

    def change(self, name: str, value: object) -> str:
        refusal = super().change(name, value)
        if not refusal:
            self.settings.change({name: value})
        return refusal

    def beat(self) -> None:
        super().beat()
        self.order("see")

    def _take(self, told: list) -> None:
        """Of what scripts expect only the time and the contact: the app is seen as a whole."""
        kept = getattr(self, "app", None)
        super()._take(told)
        self.app = kept

    def _see(self, told: list) -> None:
        app = rebuilt(told)
        wall = WallTime()
        for name in ("set_utc_s", "set_at_s", "utc_offset_s"):
            setattr(wall, name, getattr(app.wall, name))
        app.utc_s = lambda: wall.utc_s(app.now_s)
        app.settings = app.controller.settings = self.settings
        self.app = app
        self.world.__dict__["relay_pin"] = bool(told[-1])


def check_line_sense(has_it: int, place: str) -> None:
    """What guards the board may not be taken away."""
    if not has_it:
        raise InputError(
            f"{place}: found has_line_sense 0, which on a board is no bench: its line has to be watched; leave it out"
        )


def check_trials(trials: list, place: str) -> None:
    """As check_line_sense, for each trial."""
    for trial in trials:
        check_line_sense({**trial.base, **trial.settings}["has_line_sense"], f"{place}: line {trial.line}")
