"""How a step of a commissioning goes: people told, seconds waited, what was expected and found written down."""

from dewcore import words
from dewcore.permit import LATCHING
from dewcore.valve import RETRY_S, WELD_TEST_S

# What is waited for before a test run, and how long it may take [s].
TIMERS = {
    "min_off": lambda s: s.min_off_s,
    "starts_per_hour": lambda s: 3600,
    "longest_run": lambda s: s.rest_s,
    "relay_retry": lambda s: RETRY_S,
}
LATCHED = [name for n, (name, _) in enumerate(words.REFUSALS) if LATCHING >> n & 1]
TIMERS_S = 3700  # the longest of them: starts within an hour
TOLD_S = 60  # how often a wait is told of
OPENS_S = 180  # from a request under heat: a slow blower, then the fan's steadiness and the weld test
AT_ONCE_S = 3
SOON_S = 20  # wires are read twice, a scan comes within ten seconds
HANDS_S = 120  # from an instruction to what it does, where nobody presses Enter
FURNACE_S = 420  # blowers start late and run on

# An input's state off and on, in words of the thing it watches.
STATES = {
    "line_sense": ("dead", "live"),
    "load_sense": ("dead", "live"),
    "fan": ("still", "running"),
    "heat_call": ("no call", "call"),
    "leak": ("dry", "wet"),
    "drain_wet": ("dry", "wet"),
    "overflow": ("dry", "wet"),
    "off_switch": ("controller", "off or dial only"),
    "absent": ("home", "away"),
}
DO = {
    ("furnace", "idle"): "End the call at the thermostat; wait until the blower stands.",
    ("furnace", "heat"): "Call for heat at the thermostat.",
    ("f1", "out"): "Furnace off at its switch; F1 out of its holder; furnace on.",
    ("f1", "in"): "Furnace off at its switch; F1 into its holder; furnace on.",
    ("f1", "meter"): "Furnace off at its switch; F1 out, meter in its largest fused AC current range in its "
    "place; furnace on. Hands away from both leads.",
    ("selector", "off"): "S3 to off.",
    ("selector", "controller"): "S3 to controller.",
    ("selector", "dial_only"): "S3 to dial only, for some seconds: the valve clicks.",
    ("stop_valve", "open"): "Stop valve open by hand. After an idle week the first water is the flush.",
    ("stop_valve", "shut"): "Close the stop valve by hand.",
    ("dial", "down"): "Turn the old dial H1 down until it clicks.",
    ("dial", "up"): "Old dial H1 back to 45 %.",
    ("leak", "open"): "Unplug the leak wire.",
    ("leak", "wet"): "Touch the leak wire with a damp cloth, away from everything that carries 24 VAC. No pouring.",
    ("leak", "dry"): "Leak wire plugged in and dry.",
    ("float", "lifted"): "Lift the float of the overflow switch.",
    ("float", "down"): "Let the float down.",
    ("absent", "away"): "Absence switch to away.",
    ("absent", "home"): "Absence switch to home.",
    ("hand", "outdoor_c"): "Warm the outdoor thermometer in the hand.",
    ("hand", "glass_c"): "Warm the glass thermometer in the hand.",
    ("hand", "supply_c"): "Warm the supply-air thermometer in the hand.",
    ("hand", ""): "Let it go.",
    ("breath", "on"): "Breathe on the humidity sensor a few times.",
    ("breath", "off"): "Leave the humidity sensor alone.",
    ("press", "look"): "Press the look button shortly.",
    ("press", "look_long"): "Hold the look button for 2 s.",
    ("press", "alarm"): "Hold the alarm button for 4 s.",
    ("supply", "out"): "Pull PS1 out, and a serial cable; look at the meter; plug them in again.",
}


class Failed(Exception):
    """What was expected was not found; args[0]: what to do."""


def in_words(name: str, state: str) -> str:
    """The state of an input as its own words: a leak wire is wet, not on."""
    return dict(zip(("off", "on"), STATES[name])).get(state, state)


class Run:
    """A commissioning under way.  answers: every answer so far; checks: those of the present step."""

    def __init__(self, seat, dialog, answers: dict):
        self.seat, self.dialog, self.answers = seat, dialog, answers
        self.checks: list = []
        self.stand: dict = {"hand": ""}  # where hands have left things; what is not known yet is told anew
        self.dead_s = 0  # so long a live line has had a dead load

    # people

    def place(self, **wanted) -> None:
        """Have everything named stand so; what stands so already is not told again."""
        for what, how in wanted.items():
            if self.stand.get(what) != how:
                self.dialog.ready(DO[what, how])
                self.seat.do(what, how)
                self.stand[what] = how

    def act(self, what: str, how: str) -> None:
        """Something that does not stay; told anew each time."""
        self.dialog.say("  > " + DO[what, how])
        self.seat.do(what, how)

    def yes(self, name: str, label: str = "", why: str = "Find the cause first.") -> None:
        """A question that has to be answered with yes."""
        said = self.dialog.ask(name)
        self.answers[name] = said
        self.check(label or name.replace("_", " "), "yes", "yes" if said else "no", said, why)

    def number(self, name: str, label: str, expected: str, good, why: str, unit: str = "VAC") -> float:
        """A number that was read, and has to be good."""
        value = self.dialog.ask(name)
        self.answers[name] = value
        self.check(label, expected, f"{value:g} {unit}", good(value), why)
        return value

    # the board

    def beat(self):
        """A second of the board."""
        seen = self.seat.beat()
        dead = seen.contacts["line_sense"] == "on" and seen.contacts["load_sense"] == "off"
        self.dead_s = self.dead_s + 1 if dead else 0
        return seen

    def wait(self, good, within_s: int):
        """(what was seen when it was good, None where it never was; seconds waited)."""
        for waited_s in range(1, within_s + 1):
            seen = self.beat()
            if good(seen):
                return seen, waited_s
        return None, within_s

    def contact(self, name: str, state: str, label: str, why: str, within_s: int = SOON_S) -> None:
        """An input has to be in this state."""
        seen, waited_s = self.wait(lambda s: s.contacts[name] == state, within_s)
        last = self.beat().contacts[name] if seen is None else state
        wanted, found = in_words(name, state), in_words(name, last)
        self.check(label, wanted, f"{found} {'after' if seen else 'for'} {waited_s} s", seen is not None, why)

    def stays(self, good, label: str, expected: str, why: str, seconds: int = AT_ONCE_S) -> None:
        """Has to hold for so many seconds on end."""
        for n in range(1, seconds + 1):
            seen = self.beat()
            if not good(seen):
                self.check(label, expected, f"not in second {n}", False, why)
        self.check(label, expected, f"for {seconds} s", True, why)

    def reason(self, name: str, label: str, there: bool = True, within_s: int = SOON_S) -> None:
        """The board has to say so, or to have stopped saying so."""
        seen, waited_s = self.wait(lambda s: (name in s.reasons) is there, within_s)
        expected = dict(words.REFUSALS)[name] if there else "no longer told"
        found = f"after {waited_s} s" if seen else f"not within {waited_s} s: {self.beat().sentence()}"
        self.check(label, expected, found, seen is not None, "Look the sentence up in hw_docs/trouble.md.")

    def pressed(self, button: str, label: str) -> None:
        """A button, held as told, has to be heard."""
        self.beat()  # what was pressed before does not count
        self.act("press", button)
        seen, waited_s = self.wait(lambda s: button in s.presses, HANDS_S if not self.seat.simulated else SOON_S)
        found = "heard" if seen else f"not heard within {waited_s} s"
        self.check(label, "heard", found, seen is not None, "Look at the button's wires.")

    def check(self, label: str, expected: str, found: str, passed: bool, why: str) -> None:
        """Write it down and say it; Failed where it did not pass."""
        self.checks.append({"what": label, "expected": expected, "found": found, "passed": passed})
        self.dialog.say(f"    {'ok' if passed else 'FAILED'}  {label}: {found}")
        if not passed:
            raise Failed(f"{label}: expected {expected}, found {found.removesuffix('.')}. {why}")

    # test runs

    def open_valve(self, seconds: int, from_idle: bool = False, f1: str = "in") -> None:
        """A timed test run up to the open valve; from_idle: called for before the heat, so that a weld test shows."""
        self.place(f1=f1, selector="controller", stop_valve="open", furnace="idle" if from_idle else "heat")
        self.calm()
        self._rested()
        self.seat.ask_run(seconds)
        self.dialog.say(f"  Timed test run, {seconds} s at most. Stand by and watch the drain for the whole run.")
        self.place(furnace="heat")
        tested_s = 0
        for _ in range(min(seconds, OPENS_S)):
            dead_s = self.dead_s
            seen = self.beat()
            if seen.closed:
                break
            tested_s += "weld_test" in seen.reasons
        found = "contact closed" if seen.closed else "contact open: " + seen.sentence()
        why = "Look the sentence up in hw_docs/trouble.md."
        self.check("test run closes the contact", "contact closed", found, seen.closed, why)
        if self.seat.settings.has_line_sense and self.seat.settings.has_load_sense:
            told = f", test told for {tested_s} s" if tested_s else ""
            found = f"line live and load dead for {dead_s} s before" + told
            good = dead_s >= WELD_TEST_S and (tested_s > 0 or not from_idle)
            self.check("weld test before it closes", f"load dead for {WELD_TEST_S} s or more", found, good, why)
            self.contact("load_sense", "on", "24 V behind the closed contact", "Look at K1 and its wires.")

    def end_run(self) -> None:
        """Whatever ran, the contact opens in this second."""
        self.seat.ask_run(0)
        self.beat()

    def calm(self) -> None:
        """No alarm may stand from before: what can be cleared at the board is, and told."""
        latched = [name for name in self.beat().reasons if name in LATCHED]
        if latched:
            self.check("alarms from before", "cleared", ", ".join(latched), True, "")
            self.pressed("alarm", "alarm button")
        for name in latched:
            self.reason(name, f"{name} cleared", there=False)

    def _rested(self) -> None:
        """Wait for the valve's own timers, and say so now and then."""
        for waited_s in range(TIMERS_S):
            seen = self.beat()
            if not TIMERS.keys() & set(seen.reasons):
                return
            if waited_s % TOLD_S == 0 and not self.seat.simulated or waited_s == 0:
                name = next(name for name in seen.reasons if name in TIMERS)
                most_min = -(-TIMERS[name](self.seat.settings) // 60)
                self.dialog.say(f"  Waiting, {most_min} min at most: {dict(words.REFUSALS)[name]}")
        self.check("valve rested", "within the hour", seen.sentence(), False, "Begin again later with --resume.")

    def shuts(self, label: str, within_s: int = AT_ONCE_S) -> None:
        """The contact has to open, and the load to be dead behind it."""
        seen, waited_s = self.wait(lambda s: not s.closed, within_s)
        found = f"open after {waited_s} s" if seen else f"closed for {waited_s} s"
        self.check(label, f"contact open within {within_s} s", found, seen is not None, "Close the water by hand.")
        if self.seat.settings.has_load_sense:
            why = "It may be welded: close the water by hand, replace K1."
            self.contact("load_sense", "off", "load dead after it", why, within_s=10)
