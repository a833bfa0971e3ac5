"""A commissioning's questions: asked on the terminal until they can be taken, or answered from a file."""

import sys

from dewboard.pin_table import LIVE_VAC, MUST_OFF_VAC
from dewsim.errors import InputError, shown, shown_path
from dewsim.files import contents
from dewsim.housefile import nearest

MOST_BYTES = 100_000
LONGEST_REASON = 200
SHOWN = "seen"  # in simulation: take what the virtual technician reads
# name: (question, unit, lowest, highest) for a number, (question,) for yes or no
LIVE = f"{LIVE_VAC[0]:g} to {LIVE_VAC[2]:g} VAC"
DEAD = f"below {MUST_OFF_VAC:g} VAC"
VAC = ("VAC", 0.0, 600.0)
QUESTIONS = {
    "stop_read": ("Read, kept to, and local code allows you this work",),
    "co_alarm": ("A CO alarm works here, and someone else is in the house",),
    "terminal_idle_vac": ("Humidifier terminal against its common, furnace idle", *VAC),
    "terminal_call_vac": ("The same on a heat call", *VAC),
    "isolation_open": ("Power off: board ground to each screw of J1 and J2 is open on the ohm range",),
    "terminal_limit_ma": ("What the terminal may carry, from the furnace's sheet", "mA", 10.0, 5000.0),
    "f1_ma": ("Rating of F1, slow", "mA", 50.0, 5000.0),
    "f1_first": ("By the ratings: with a pinched valve cable F1 goes first, before the furnace's own fuse",),
    "old_dial": ("The old dial H1 clicked",),
    "reference_rh_pct": ("Humidity beside the sensor, after an hour side by side", "% RH", 1.0, 99.0),
    "line_vac": ("J1 line against common", *VAC),
    "k1_open_vac": ("Across K1, contact open", *VAC),
    "pipe_dry": ("Along the water pipe: no drop in ten minutes",),
    "load_open_vac": ("J1 load against common, now that the valve is open", *VAC),
    "k1_closed_vac": ("Across K1, contact closed", *VAC),
    "water_flows": ("Water flows, and it comes out at the drain",),
    "load_shut_vac": ("J1 load against common, now that the valve is shut", *VAC),
    "water_stops": ("The water stopped, and all of it drained",),
    "valve_ma": ("The meter in F1's place reads", "mA", 1.0, 20000.0),
    "meter_out": ("Power off, meter out, meter out of its current range, F1 back",),
    "supply_out": ("The contact opened, and stayed open when PS1 was back",),
    "draught": ("Draught of every fuel burner tested: blower on, doors shut, damper open",),
    "damper_winter": ("Damper at winter and marked, unit level, panel closed, door switch works",),
    "glass_entered": ("Coldest spot of the coldest window measured, its glass factor entered",),
    "owner_shown": ("The owner has seen S3 to off, the stop valve, the lamp, the alarm button; handover filled in",),
    "pad_new": ("New pad the right way up, strainer cleaned, drain flushed, air gap looked at",),
    "fuse_tight": ("Power off: F1 has the value on the sheet, terminals tight, relay starts within its rating",),
    "salts_done": ("Humidity sensor checked against a reference or two salts this autumn, the date written down",),
    "house_same": ("Windows, insulation, sensors as last winter, or what was learned of them forgotten on the page",),
    "water_shut": ("The stop valve is closed by hand",),
    "damper_summer": ("Damper at summer",),
    "pad_out": ("Water drained, pad out with gloves and mask, tray dry",),
}


class Ended(InputError):
    """No more answers: what is done is kept."""


class Skipped(Exception):
    """The step is skipped; args[0]: why."""


def read_answers(path: str) -> dict:
    """{question: answer} of a file with a question's name and its answer to a line; InputError."""
    if not path:
        raise InputError("--answers: found no name; name a file of answers")
    place = shown_path(path)
    data = contents(path, MOST_BYTES, "a file of answers")
    if len(data) > MOST_BYTES:
        raise InputError(f"{place}: found more than {MOST_BYTES} bytes, allowed is a line to a question; shorten it")
    try:
        lines = data.decode("utf-8").splitlines()
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        raise InputError(f"{place}: line {row}: found bytes that are not UTF-8; save it as UTF-8") from None
    answers: dict = {}
    for row, line in enumerate(lines, 1):
        name, _, answer = line.split("#")[0].strip().partition(" ")
        if not name:
            continue
        where = f"{place}: line {row}: "
        if name not in QUESTIONS:
            close = nearest(name, list(QUESTIONS))
            raise InputError(f"{where}found {shown(repr(name), 40)}, allowed is a question's name; {close}")
        if name in answers:
            raise InputError(f"{where}found {name} a second time; leave one of them out")
        if not answer.strip():
            raise InputError(f"{where}found no answer to {name}; write one behind it")
        answers[name] = answer.strip()
    return answers


def understood(name: str, text: str) -> object:
    """True or False, or a number within its bounds; Skipped; InputError in one line."""
    question = QUESTIONS[name]
    first, _, reason = text.strip().partition(" ")
    if first == "skip":
        if not 3 <= len(reason.strip()) <= LONGEST_REASON:
            raise InputError(
                f"{name}: found a skip with a reason of {len(reason.strip())} characters, allowed are 3 to "
                f"{LONGEST_REASON}; type skip and why"
            )
        raise Skipped(shown(reason.strip(), LONGEST_REASON))
    if len(question) == 1:
        if text.strip().lower() in ("y", "yes", "n", "no"):
            return text.strip().lower()[0] == "y"
        raise InputError(f"{name}: found {shown(repr(text), 40)}, allowed is y, n, or skip and why; type it")
    _, unit, low, high = question
    bare = text.strip().removesuffix(unit.split()[0]).strip()
    try:
        value = float(bare) if bare.isascii() and set(bare) <= set("+-.0123456789") else low - 1.0
    except ValueError:
        value = low - 1.0
    if not low <= value <= high:
        raise InputError(
            f"{name}: found {shown(repr(text), 40)}, allowed is {low:g} to {high:g} {unit}, or skip and why; type it"
        )
    return value


class Dialog:
    """Asks; answers: from a file, None for the keyboard; place: that file's name; seat: whose technician may see."""

    def __init__(self, seat, answers: "dict | None" = None, place: str = ""):
        self.seat, self.answers, self.place = seat, answers, place

    def say(self, text: str = "") -> None:
        """A line for the person."""
        print(text, flush=True)

    def ask(self, name: str) -> object:
        """The answer to a question of the table, as `understood` gives it."""
        hint = self.seat.shows(name)
        question = QUESTIONS[name]
        tail = f" [{question[1]}]" if len(question) > 1 else "? [y/n]"
        line = f"  {question[0]}{tail}"
        if self.answers is not None:
            return self._from_file(name, line + ": ", hint)
        line += f" (Enter: {hint}): " if hint else ": "
        while True:
            text = self._typed(line, name)
            try:
                return understood(name, text if text or not hint else hint)
            except InputError as error:
                self.say(f"  {error}")

    def _from_file(self, name: str, line: str, hint: str) -> object:
        if name not in self.answers:
            raise Ended(f"{self.place}: found no answer to {name}; add it, and go on with --resume")
        text = self.answers[name]
        if text == SHOWN:
            if not hint:
                raise InputError(f"{self.place}: {name}: '{SHOWN}' is for --simulated only; write what was measured")
            text = hint
        self.say(line + text)
        try:
            return understood(name, text)
        except InputError as error:
            raise InputError(f"{self.place}: {error}") from None

    def ready(self, text: str) -> None:
        """Tell a person what to do, and wait until it is done; a virtual technician needs no waiting for in a file."""
        if self.answers is not None and self.seat.simulated:
            self.say("  > " + text)
            return
        while True:
            typed = self._typed(f"  > {text}  Enter when done: ", text)
            if not typed:
                return
            try:
                understood("stop_read", typed)
            except InputError:
                self.say(f"  found {shown(repr(typed), 40)}, allowed is Enter, or skip and why; type it")

    def _typed(self, line: str, what: str) -> str:
        print(line, end="", flush=True)
        text = sys.stdin.readline()
        if not text:
            print(flush=True)
            raise Ended(f"commission: the answers ended at '{shown(what, 60)}'; go on with --resume")
        return text.strip()
