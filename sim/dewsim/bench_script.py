"""A bench script: text, line by line, to steps and expectations; and how each of them is done on a bench.

    trial "TITLE"                        a board as new in a dry, heated house; everything belongs to a trial
    setting NAME VALUE                   before any time passes: what the board is installed with; later: from its page
    learned NAME VALUE                   before any time passes: what the board knew of the house when switched on
    set INPUT VALUE [over 10 h]          an input, or its even drift
    fault NAME       mend NAME
    wait 300 s                           s, min, h or d
    clock 06:00                          a feed tells the board the time of day; without it it knows none
    forecast -5 [issued 20 h ago]        three days of one temperature;  forecast none
    look fog         look clear          told on the board's page
    ask window 20 min                    also  ask run 60 s,  ask clear,  ask rearm,  ask stop
    press alarm 4 s                      the board's buttons: look, alarm or both
    power off 10 s
    expect WHAT [within 20 s] [for 60 s]

WHAT is one of
    valve open|shut   contact open|closed   call on|off   line live|dead   load live|dead   lamp, proof or binds NAME
    [no] reason NAME  [no] notice NAME      [no] alarm NAME      sentence "..."
    target_pct|ceiling_pct|coldest_c|margin_k|hold_s|rh_pct|indoor_c|outdoor_c|starts  above N | below N | from N to N

It must come to hold within the time (15 s unless said), and with `for` hold from there on at every second.  A step
ends with its line or with ";", a comment begins with "#".
"""

import re
from dataclasses import dataclass, field

from dewcore import readings as r
from dewcore import words
from dewcore.ceiling import BINDS_NAMES
from dewcore.learned import SCALARS
from dewcore.permit import LATCHING, PROOF_NAMES
from dewcore.settings import TABLE, SettingError, Settings, row_of
from dewsim import bench_inputs as inputs
from dewsim.bench_world import BUTTONS, LAMP_NAMES
from dewsim.errors import InputError, shown

UNITS_S = {"s": 1, "min": 60, "h": 3600, "d": 86400}
LONGEST_S = 14 * 86400  # of one step
LONGEST_IN_ALL_S = 60 * 86400
DEFAULT_S = 15  # a scan comes within ten seconds, and a wire is read twice
MOST_BYTES = 500_000
MOST_STEPS = 20_000
TOKEN = re.compile(r'\s+|#.*|;|"[^"]*"|[^\s;"#]+|.')
REFUSALS = tuple([row[0] for row in words.REFUSALS])
NOTICES = tuple([row[0] for row in words.NOTICES])
ALARMS = tuple([name for n, name in enumerate(REFUSALS) if LATCHING >> n & 1])
REQUESTS = {"clear": r.REQUEST_CLEAR, "rearm": r.REQUEST_REARM, "window": r.REQUEST_WINDOW,
            "run": r.REQUEST_TIMED_RUN, "stop": r.REQUEST_NONE}  # fmt: skip
LOOKS = {"fog": r.SAW_FOG, "clear": r.SAW_CLEAR}
LEARNED = {row[0]: row for row in SCALARS}


def _either(yes: str, no: str, true) -> tuple:
    return (yes, no), lambda bench: yes if true(bench) else no


# What can be expected of: (words allowed, function that says which of them holds).
STATES = {
    "valve": _either("open", "shut", lambda bench: bench.app.controller.decision.valve),
    "contact": _either("closed", "open", lambda bench: bench.world.contact_closed),
    "call": _either("on", "off", lambda bench: bench.world.heat_call),
    "line": _either("live", "dead", lambda bench: bench.world.terminal_live),
    "load": _either("live", "dead", lambda bench: bench.world.valve_powered),
    "lamp": (tuple(LAMP_NAMES.values()), lambda bench: bench.lamp),
    "proof": (PROOF_NAMES, lambda bench: PROOF_NAMES[bench.app.controller.decision.proof]),
    "binds": (BINDS_NAMES, lambda bench: BINDS_NAMES[bench.app.controller.decision.binds]),
}
MASKS = {
    "reason": (REFUSALS, REFUSALS, lambda bench: bench.app.controller.decision.refusals),
    "notice": (NOTICES, NOTICES, lambda bench: bench.app.controller.decision.notices),
    "alarm": (ALARMS, REFUSALS, lambda bench: bench.app.controller.permit.latched),
}
NUMBERS = {
    "target_pct": lambda bench: bench.app.controller.decision.target_pct,
    "ceiling_pct": lambda bench: bench.app.controller.decision.ceiling_pct,
    "coldest_c": lambda bench: bench.app.controller.decision.coldest_c,
    "margin_k": lambda bench: bench.app.controller.decision.margin_k,
    "hold_s": lambda bench: bench.app.controller.decision.hold_s,
    "rh_pct": lambda bench: bench.app.controller.judge.inputs.rh_pct,
    "indoor_c": lambda bench: bench.app.controller.judge.inputs.indoor_c,
    "outdoor_c": lambda bench: bench.app.controller.judge.inputs.outdoor_c,
    "starts": lambda bench: bench.app.counters.valve_starts,
}


def sentence(bench) -> str:
    """The one status sentence that every surface shows."""
    decision = bench.app.controller.decision
    return words.status_sentence(decision.refusals, decision.notices)


@dataclass
class Step:
    """One step of a trial: where it stands, its own words, what it does; takes_s: how long it may take."""

    line: int
    text: str
    do: object
    takes_s: int = 0


@dataclass
class Expectation(Step):
    """do(bench) says whether it holds, and what is there."""

    within_s: int = DEFAULT_S
    for_s: int = 0
    subject: tuple = ()  # kind and name, for whoever counts what a script covers


@dataclass
class Trial:
    """Its title, the settings that its board is installed with, what it has learned, and its steps."""

    title: str
    line: int
    base: dict
    settings: dict = field(default_factory=dict)
    learned: dict = field(default_factory=dict)
    steps: list = field(default_factory=list)


class _Line:
    """One step's tokens, taken from the left; every refusal names file, line and column."""

    def __init__(self, place: str, row: int, tokens: list, end: int):
        self.place, self.row, self.tokens, self.end = place, row, tokens, end
        self.at = 0

    def refuse(self, what: str, back: int = 1) -> InputError:
        """An error at the token taken last, or with back 0 at the next."""
        n = self.at - back
        column = self.tokens[n][0] if n < len(self.tokens) else self.end
        return InputError(f"{self.place}: line {self.row}, column {column}: {what}")

    def more(self) -> bool:
        return self.at < len(self.tokens)

    def take(self, wanted: str) -> str:
        if not self.more():
            raise self.refuse(f"the step ends here, wanted is {wanted}; complete it", 0)
        self.at += 1
        return self.tokens[self.at - 1][1]

    def next_is(self, *allowed: str) -> bool:
        """Take the next token where it is one of these."""
        if self.more() and self.tokens[self.at][1] in allowed:
            self.at += 1
            return True
        return False

    def word(self, allowed, what: str) -> str:
        found = self.take(f"{what}: {' or '.join(allowed)}" if len(allowed) < 6 else what)
        if found not in allowed:
            hint = _near(found, allowed)
            raise self.refuse(f"found {shown(repr(found), 40)}, allowed as {what} is {hint}; correct it")
        return found

    def number(self, what: str, low: float = -1e6, high: float = 1e6) -> float:
        text = self.take(what)
        if re.fullmatch(r"[+-]?\d{1,9}(\.\d{1,9})?", text) and low <= float(text) <= high:
            return float(text)
        raise self.refuse(f"found {shown(repr(text), 40)}, allowed as {what} is {low:g} to {high:g}; correct it")

    def seconds(self, least_s: int = 1) -> int:
        count = self.number("a time", 0, 1e6)
        unit = self.word(tuple(UNITS_S), "unit of time")
        found = count * UNITS_S[unit]
        if found != int(found) or not least_s <= found <= LONGEST_S:
            raise self.refuse(
                f"found {found:g} s, allowed are {least_s} to {LONGEST_S} whole seconds (14 d); correct it", 2
            )
        return int(found)

    def quoted(self, what: str) -> str:
        text = self.take(f'{what} in "quotes"')
        if len(text) < 3 or text[0] != '"' or text[-1] != '"':
            raise self.refuse(f'found {shown(repr(text), 40)}, wanted is {what} in "quotes"; put it in quotes')
        return text[1:-1]

    def finish(self) -> None:
        if self.more():
            raise self.refuse(f"found {shown(repr(self.tokens[self.at][1]), 40)} after a whole step; remove it", 0)


def _near(found: str, allowed) -> str:
    """What is allowed, all of it where it is little, else what resembles the word found."""
    from difflib import get_close_matches

    if len(allowed) <= 12:
        return ", ".join(allowed)
    near = get_close_matches(found, allowed, 3)
    return f"one of {len(allowed)}" + (f", such as {' or '.join(near)}" if near else f": {', '.join(allowed)}")


def parse(text: str, place: str, settings: Settings | None = None) -> list:
    """The trials of a script; InputError at the first thing that is wrong.  settings: what boards start from."""
    settings = settings or Settings()
    base = {row[0]: getattr(settings, row[0]) for row in TABLE}
    trials: list = []
    total_s = count = 0
    for number, line in enumerate(text.splitlines(), 1):
        for step in _steps_of(place, number, line):
            verb = step.word(tuple(VERBS), "first word of a step")
            if verb == "trial":
                trials.append(Trial(step.quoted("a title"), number, base))
                step.finish()
                continue
            if not trials:
                raise step.refuse('found a step before the first trial; write trial "TITLE" above it')
            trial = trials[-1]
            made = VERBS[verb](step, trial)
            step.finish()
            if made is not None:
                made.line = number
                made.text = " ".join(token for _, token in step.tokens[isinstance(made, Expectation) :])
                trial.steps.append(made)
                total_s += made.takes_s
                count += 1
            if total_s > LONGEST_IN_ALL_S or count > MOST_STEPS:
                raise step.refuse(f"more than {MOST_STEPS} steps or {LONGEST_IN_ALL_S} s (60 d); split the script")
    if not any(isinstance(step, Expectation) for trial in trials for step in trial.steps):
        raise InputError(f"{place}: found no expectation, so nothing would be tested; add a line with expect")
    return trials


def _steps_of(place: str, number: int, line: str) -> list:
    """The steps of a line, each as a _Line."""
    parts: list = [[]]
    for match in TOKEN.finditer(line):
        token = match.group()
        column = match.start() + 1
        if token.isspace() or token[0] == "#":
            continue
        if token == '"':
            raise InputError(f"{place}: line {number}, column {column}: a quote that is never closed; close it")
        if token == ";":
            parts.append([])
        else:
            parts[-1].append((column, token))
    end = len(line.rstrip()) + 1
    return [_Line(place, number, tokens, end) for tokens in parts if tokens]


# -- steps.  Each takes its words and gives a Step, or None where it only changes the trial.


def _setting(step: _Line, trial: Trial):
    name = step.take("a setting's name")
    text = step.take("its value")
    try:
        row = row_of(name)
    except SettingError as refusal:
        raise step.refuse(str(refusal), 2) from None
    if not re.fullmatch(r"[+-]?\d{1,9}(\.\d{1,9})?", text):
        raise step.refuse(f"found {shown(repr(text), 40)}, allowed for {name} is a number; correct it")
    value = int(text) if isinstance(row[2], int) and "." not in text else float(text)
    try:
        Settings().change({**trial.base, **trial.settings, name: value})
    except SettingError as refusal:
        raise step.refuse(str(refusal)) from None
    if _is_new(trial):
        trial.settings[name] = value
        return Step(step.row, "", _nothing)

    def change(bench) -> str:
        return bench.change(name, value)

    return Step(step.row, "", change)


def _learned(step: _Line, trial: Trial):
    name = step.word(tuple(LEARNED), "what was learned")
    _, kind, low, high = LEARNED[name]
    value = step.number(f"value of {name}", low, high)
    if not _is_new(trial):
        raise step.refuse("found learned after time has passed; put it first in its trial", 3)
    trial.learned[name] = value if kind == "f" else int(value)
    return Step(step.row, "", _nothing)


def _nothing(_) -> str:
    return ""


def _is_new(trial: Trial) -> bool:
    """Whether no time has passed in a trial, and nothing was done."""
    return all(step.do is _nothing for step in trial.steps)


def _set(step: _Line, _):
    name = step.word(inputs.NAMES, "input")
    text = step.take("its value")
    try:
        value = inputs.accepted(name, text)
    except InputError as refusal:
        raise step.refuse(str(refusal)) from None
    if step.next_is("over"):
        if isinstance(value, str):
            raise step.refuse(f"found over, but {name} is no number that could drift; leave it out")
        seconds = step.seconds()

        def drift(bench) -> None:
            bench.ramp(name, value, seconds)

        return Step(step.row, "", drift)

    def put(bench) -> None:
        bench.set(name, value)

    return Step(step.row, "", put)


def _fault(step: _Line, _):
    return _break(step, True)


def _mend(step: _Line, _):
    return _break(step, False)


def _break(step: _Line, broken: bool):
    name = step.word(tuple(inputs.FAULTS), "fault")

    def do(bench) -> None:
        bench.break_it(name, broken)

    return Step(step.row, "", do)


def _wait(step: _Line, _):
    seconds = step.seconds()

    def wait(bench) -> None:
        for _ in range(seconds):
            bench.beat()

    return Step(step.row, "", wait, seconds)


def _clock(step: _Line, _):
    text = step.take("a time of day, such as 06:00")
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise step.refuse(f"found {shown(repr(text), 40)}, allowed is 00:00 to 23:59; correct it")
    of_day_s = 3600 * int(text[:2]) + 60 * int(text[3:])

    def tell(bench) -> None:
        bench.tell_time(bench.utc_s - bench.utc_s % 86400 + of_day_s)

    return Step(step.row, "", tell)


def _forecast(step: _Line, _):
    if step.next_is("none"):
        return Step(step.row, "", lambda bench: bench.forecast(None))
    outdoor_c = step.number("a temperature, or none", -70, 60)
    ago_s = 0
    if step.next_is("issued"):
        ago_s = step.seconds(0)
        step.word(("ago",), "word after it")

    def tell(bench) -> str:
        return bench.forecast(outdoor_c, ago_s)

    return Step(step.row, "", tell)


def _look(step: _Line, _):
    what = step.word(tuple(LOOKS), "look")

    def look(bench) -> None:
        bench.look(LOOKS[what])

    return Step(step.row, "", look)


def _ask(step: _Line, _):
    what = step.word(tuple(REQUESTS), "request")
    seconds = step.seconds() if what in ("window", "run") else 0

    def request(bench) -> None:
        bench.request(REQUESTS[what], seconds)

    return Step(step.row, "", request)


def _press(step: _Line, _):
    which = step.word(tuple(BUTTONS), "button")
    seconds = step.number("a time", 0.1, 60)
    step.word(("s",), "unit of time")

    def press(bench) -> None:
        bench.press(which, seconds)

    return Step(step.row, "", press, int(seconds) + 2)


def _power(step: _Line, _):
    step.word(("off",), "word after power")
    seconds = step.seconds()

    def off(bench) -> None:
        bench.power_off(seconds)

    return Step(step.row, "", off, seconds)


def _expect(step: _Line, _):
    absent = step.next_is("no")
    kinds = tuple(MASKS) if absent else (*STATES, *MASKS, *NUMBERS, "sentence")
    kind = step.word(kinds, "what to expect")
    if kind in STATES:
        check, subject = _expect_state(step, kind)
    elif kind in MASKS:
        check, subject = _expect_mask(step, kind, absent)
    elif kind == "sentence":
        wanted = step.quoted("a sentence")
        check, subject = _expect_sentence(wanted), (kind, wanted)
    else:
        check, subject = _expect_number(step, kind)
    within_s, for_s = DEFAULT_S, 0
    if step.next_is("within"):
        within_s = step.seconds()
    if step.next_is("for"):
        for_s = step.seconds()
    return Expectation(step.row, "", check, within_s + for_s, within_s, for_s, subject)


def _expect_state(step: _Line, kind: str) -> tuple:
    allowed, found_in = STATES[kind]
    wanted = step.word(allowed, f"state of {kind}")

    def check(bench) -> tuple:
        found = found_in(bench)
        return found == wanted, f"{kind} {found}"

    return check, (kind, wanted)


def _expect_mask(step: _Line, kind: str, absent: bool) -> tuple:
    allowed, names, mask_of = MASKS[kind]
    wanted = step.word(allowed, kind)
    bit = names.index(wanted)

    def check(bench) -> tuple:
        mask = mask_of(bench)
        told = ", ".join(name for n, name in enumerate(names) if mask >> n & 1)
        return bool(mask >> bit & 1) != absent, f"{kind}: {told or 'none'}"

    return check, ("no " + kind if absent else kind, wanted)


def _expect_sentence(wanted: str):
    def check(bench) -> tuple:
        found = sentence(bench)
        return found == wanted, f'"{found}"'

    return check


def _expect_number(step: _Line, kind: str) -> tuple:
    how = step.word(("above", "below", "from"), "comparison")
    low = step.number("a number")
    high = low
    if how == "from":
        step.word(("to",), "word after it")
        high = step.number("a number")

    def check(bench) -> tuple:
        found = NUMBERS[kind](bench)
        holds = found > low if how == "above" else found < low if how == "below" else low <= found <= high
        return holds, f"{kind} {words.decimal(found, 1)}"

    return check, (kind, how)


VERBS = {
    "trial": None, "setting": _setting, "learned": _learned, "set": _set, "fault": _fault, "mend": _mend,
    "wait": _wait, "clock": _clock, "forecast": _forecast, "look": _look, "ask": _ask, "press": _press,
    "power": _power, "expect": _expect,
}  # fmt: skip


# -- running


@dataclass
class Outcome:
    """What came of one expectation: at_s since the trial's begin; after_s: how long it was waited for."""

    line: int
    tried: str
    expected: str
    happened: str
    passed: bool
    at_s: int


@dataclass
class Result:
    """One trial's outcomes, and the best fan proof that it saw."""

    trial: Trial
    outcomes: list
    proof: int = 0

    @property
    def passed(self) -> bool:
        return all(outcome.passed for outcome in self.outcomes)


def run_trial(bench, trial: Trial, tell=None) -> Result:
    """All steps of a trial on a board as new; a refused step and a failed expectation do not end it."""
    bench.renew(trial.settings, trial.learned)
    result = Result(trial, [])
    tried: list = []
    for step in trial.steps:
        if tell:
            tell()
        if isinstance(step, Expectation):
            passed, happened = _await(bench, step)
            expected = step.text
        else:
            tried.append(step.text)
            happened = step.do(bench) or ""
            passed, expected = not happened, "the step is taken"
        result.proof = max(result.proof, bench.app.controller.decision.proof)
        if isinstance(step, Expectation) or not passed:
            outcome = Outcome(step.line, "; ".join(tried), expected, happened, passed, bench.seconds)
            result.outcomes.append(outcome)
            tried = []
    return result


def _await(bench, step: Expectation) -> tuple:
    """(whether it came to hold in time, and held; what happened)."""
    began_s = bench.seconds
    if bench.pending:
        bench.beat()
    holds, found = step.do(bench)
    while not holds and bench.seconds - began_s < step.within_s:
        bench.beat()
        holds, found = step.do(bench)
    after_s = bench.seconds - began_s
    if not holds:
        return False, f"{found}, still after {after_s} s. {sentence(bench)}"
    for lasted_s in range(step.for_s):
        bench.beat()
        holds, now = step.do(bench)
        if not holds:
            return False, f"{found} after {after_s} s, but only for {lasted_s} s: then {now}. {sentence(bench)}"
    when = f"after {after_s} s" if after_s else "at once"
    return True, f"{found}, {when}" + (f" and for {step.for_s} s" if step.for_s else "")
