"""What a commissioning asks of a board, virtual or on a line: seconds, a test run, an alarm cleared; never a pin.

A seat keeps the app in hold: `wish_pct` at its lowest, in memory only, so that the contact closes in a test run that
was asked for and at no other time.  Buttons are read and told, and do not teach the glass.
"""

from dewcore import words
from dewcore.readings import CONTACT_NAMES, OFF, ON, SAMPLE_NAMES, UNREADABLE
from dewcore.settings import row_of

HOLD_PCT = row_of("wish_pct")[3]
STATES = {OFF: "off", ON: "on", UNREADABLE: "unreadable"}
HALF_WAVES = ("line_sense", "load_sense", "fan", "heat_call")  # in the order of HALF_* of dewboard.contacts
PRESSES = ("", "look", "look_long", "alarm", "both")  # in the order of PRESS_* of dewcore.board


class Seen:
    """One second of a board, as plain values.

    contacts: name to "on", "off", "unreadable", "not fitted"; samples: name to value, None where there is none that
    can be believed; reasons, notices: names, the most important first; closed: the contact's command; presses: what the
    buttons said in this second; half_waves: senses that run on half a wave.
    """

    def __init__(self, contacts: dict, samples: dict, reasons: list, notices: list, closed: bool, presses: list,
                 half_waves: list):  # fmt: skip
        self.contacts, self.samples = contacts, samples
        self.reasons, self.notices, self.closed = reasons, notices, closed
        self.presses, self.half_waves = presses, half_waves

    def sentence(self) -> str:
        """The status sentence of the most important reason."""
        return dict(words.REFUSALS)[self.reasons[0]] if self.reasons else words.OPEN_SENTENCE


class Seat:
    """A board in commissioning."""

    name = ""  # for people and for the sheet
    simulated = False
    settings = None  # the board's own, dewcore.settings.Settings

    def beat(self) -> Seen:
        """Let a second pass; what the board saw in it."""
        raise NotImplementedError

    def ask_run(self, seconds: int) -> None:
        """Ask for a timed test run; 0 ends it at once."""
        raise NotImplementedError

    def do(self, what: str, how: str) -> None:
        """The person was told to do this.  Nothing here where a person does it; a virtual technician obeys."""

    def shows(self, question: str) -> str:
        """What a virtual technician reads or sees for a question; "" where a person has to look."""
        return ""

    def close(self) -> None:
        """Contact open, the board as it was."""
        raise NotImplementedError


def names(table: tuple, mask: int) -> list:
    """Names of the set bits of a mask of refusals or notices."""
    return [row[0] for n, row in enumerate(table) if mask >> n & 1]


def seen(told: tuple, presses: list) -> Seen:
    """What `commission_onboard` told of a second."""
    states, samples, refusals, notices, closed, half = told
    return Seen(
        {name: STATES.get(state, "not fitted") for name, state in zip(CONTACT_NAMES, states, strict=True)},
        {name: None if text is None else float(text) for name, text in zip(SAMPLE_NAMES, samples, strict=True)},
        names(words.REFUSALS, refusals), names(words.NOTICES, notices), closed, [PRESSES[n] for n in presses],
        [name for n, name in enumerate(HALF_WAVES) if half >> n & 1],
    )  # fmt: skip
