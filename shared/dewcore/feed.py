"""The outdoor feed's messages: checked strictly, taken whole or not at all, and the wall time they carry.

A message is the JSON already decoded; dewcore does no input.  Two kinds, epoch seconds UTC:
    {"schema": 1, "source": "...", "sent_s": 0, "utc_offset_s": 0, "observed_s": 0, "outdoor_c": -12.3}
    {"schema": 1, "source": "...", "sent_s": 0, "issued_s": 0, "start_s": 0, "step_s": 3600, "outdoor_c": [-12.3, null]}
Keys that are not named here are ignored: a source may serve others as well, and may grow.  source and
utc_offset_s may be absent from either, since no decision needs them; what is there has to be right.
"""

from dewcore.readings import FORECAST_HOURS, FORECAST_NONE, Readings
from dewcore.words import decimal

LARGEST_BYTES = 1000  # of a message as text; whoever decodes it refuses a longer one first
SCHEMA = 1
STEP_S = 3600
LOWEST_C = -70  # whole numbers, so that a number of any length can be compared; the range of the outdoor channel
HIGHEST_C = 60
EARLIEST_S = 946684800  # 2000-01-01: where clocks start that were never set
LATEST_S = 4102444800  # 2100-01-01
LOWEST_OFFSET_S = -43200
HIGHEST_OFFSET_S = 50400  # the time zones in use
AHEAD_S = 600  # a source's clock and the board's are never the same

NEAR_S = 60  # two wall times this close are the same one
CONFIRMATIONS = 3  # messages in a row that make an earlier wall time a fact


def accept(message: object, readings: "Readings", now_s: int, utc_s: int) -> str:
    """Take an observation into readings.outdoor_c or a forecast into the forecast fields.

    now_s: monotonic [s]; utc_s: epoch [s], 0 unknown.  Returns "", or why the message is refused; then nothing is
    changed.  An observation needs the wall time, for its age; a forecast can wait for it, as it may be retained
    and come before any other message.  What is older than what is held is refused: messages may overtake.
    """
    problem = _problem_of_any(message)
    if problem or not isinstance(message, dict):
        return problem
    if utc_s > 0 and not message["sent_s"] - utc_s <= AHEAD_S:
        return _refusal("sent_s", message["sent_s"], "ahead of the clock", "at most %d s ahead" % AHEAD_S)
    if "observed_s" in message:
        return _accept_observation(message, readings, now_s, utc_s)
    return _accept_forecast(message, readings, utc_s)


def _problem_of_any(message: object) -> str:
    """What is wrong with the parts that both kinds have; "" where nothing is."""
    if not isinstance(message, dict):
        return "message: found " + _shown(message) + "; allowed is one JSON object"
    if not (_is_whole(message.get("schema")) and message["schema"] == SCHEMA):
        return _refusal("schema", message.get("schema"), "not known", str(SCHEMA))
    if "source" in message and not isinstance(message["source"], str):
        return _refusal("source", message["source"], "no text", "a text")
    problem = _problem_of_time(message, "sent_s")
    if not problem and "utc_offset_s" in message:
        problem = _problem_of_whole(message, "utc_offset_s", LOWEST_OFFSET_S, HIGHEST_OFFSET_S)
    if not problem and ("observed_s" in message) == ("issued_s" in message):
        problem = "message: found observed_s and issued_s both or neither; allowed is one of them"
    return problem


def _accept_observation(message: dict, readings: "Readings", now_s: int, utc_s: int) -> str:
    problem = _problem_of_time(message, "observed_s")
    if problem:
        return problem
    value = message.get("outdoor_c")
    if value is None or not _is_temperature(value):
        return _refusal("outdoor_c", value, "no temperature", _range(LOWEST_C, HIGHEST_C) + " degrees C")
    if not utc_s > 0:
        return "observed_s: the wall time is not known yet, so the reading's age is not; send it again"
    age_s = utc_s - message["observed_s"]
    if not -AHEAD_S <= age_s:
        return _refusal("observed_s", message["observed_s"], "ahead of the clock", "at most %d s ahead" % AHEAD_S)
    at_s = now_s - max(0, age_s)
    if not at_s >= 0:
        return _refusal("observed_s", message["observed_s"], "before the board started", "a newer reading")
    if not at_s >= readings.outdoor_c.at_s:
        return _refusal("observed_s", message["observed_s"], "older than the one held", "a newer reading")
    readings.outdoor_c.set(float(value), at_s)
    return ""


def _accept_forecast(message: dict, readings: "Readings", utc_s: int) -> str:
    problem = _problem_of_time(message, "issued_s") or _problem_of_time(message, "start_s")
    if not problem:
        problem = _problem_of_whole(message, "step_s", STEP_S, STEP_S)
    if not problem:
        problem = _problem_of_values(message.get("outdoor_c"))
    if problem:
        return problem
    issued_s = message["issued_s"]
    held_s = readings.forecast_issued_s
    if utc_s > 0:
        if not issued_s - utc_s <= AHEAD_S:
            return _refusal("issued_s", issued_s, "ahead of the clock", "at most %d s ahead" % AHEAD_S)
        if not held_s - utc_s <= AHEAD_S:
            held_s = 0  # taken while the clock was wrong: it may not keep later ones out
    if not issued_s >= held_s:
        return _refusal("issued_s", issued_s, "older than the one held", "a newer one")
    values = message["outdoor_c"]
    for i in range(FORECAST_HOURS):
        value = values[i] if i < len(values) else None
        readings.forecast_dc[i] = FORECAST_NONE if value is None else _tenths(value)
    readings.forecast_issued_s = issued_s
    readings.forecast_start_s = message["start_s"]
    return ""


def _problem_of_values(values: object) -> str:
    """What is wrong with a forecast's hours; "" where nothing is."""
    if not isinstance(values, list):
        return _refusal("outdoor_c", values, "no list", "a list, as issued_s tells of a forecast")
    if not 1 <= len(values) <= FORECAST_HOURS:
        return _refusal("outdoor_c", len(values), "too few or too many hours", _range(1, FORECAST_HOURS))
    for i in range(len(values)):
        if not (values[i] is None or _is_temperature(values[i])):
            allowed = _range(LOWEST_C, HIGHEST_C) + " degrees C, or null"
            return _refusal("outdoor_c[%d]" % i, values[i], "no temperature", allowed)
    return ""


def _problem_of_time(message: dict, name: str) -> str:
    return _problem_of_whole(message, name, EARLIEST_S, LATEST_S)


def _problem_of_whole(message: dict, name: str, lowest: int, highest: int) -> str:
    value = message.get(name)
    if value is not None and _is_whole(value) and lowest <= value <= highest:
        return ""
    return _refusal(name, value, "no such whole number", _range(lowest, highest))


def _is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_temperature(value: object) -> bool:
    """A number inside the range: neither true nor false, NaN, infinite or endless."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and LOWEST_C <= value <= HIGHEST_C


def _tenths(value: float) -> int:
    """A temperature in 0.1 K, halves away from zero."""
    return int(value * 10.0 + 0.5) if value >= 0 else -int(0.5 - value * 10.0)


def _range(lowest: int, highest: int) -> str:
    return str(lowest) + " to " + str(highest) if lowest < highest else str(lowest)


def _refusal(name: str, found: object, what: str, allowed: str) -> str:
    return name + ": found " + _shown(found) + ", " + what + "; allowed is " + allowed


def _shown(value: object) -> str:
    """A value in few characters; of what is nested, or endlessly long, only what it is."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return repr(value[:20])
    if isinstance(value, float):
        return decimal(value, 1) if -1000.0 < value < 1000.0 else "a very large number or none"
    if isinstance(value, int):
        return str(value) if -LATEST_S <= value <= 2 * LATEST_S else "a very large number"
    return "a " + type(value).__name__


class WallTime:
    """The board's wall time from the sent_s of messages: what a delay or an old message can do to it.

    A message always comes after it was sent, so each tells a time that is late by its delay, and the earliest
    delivery is nearest to the truth.  Hence: retained messages, whose delay is unbounded, tell nothing; a message
    that is ahead counts at once; one that is behind only once three in a row agree with each other, as messages
    that waited in a queue, sent minutes apart and delivered together, do not.  A clock that a wrong source put
    ahead makes every reading look older, the safe side, and comes back with three messages of a right source.
    """

    __slots__ = ("set_utc_s", "set_at_s", "utc_offset_s", "behind_s", "behind_count")

    def __init__(self) -> None:
        self.set_utc_s: int = 0  # epoch seconds at set_at_s; 0 unknown
        self.set_at_s: int = 0
        self.utc_offset_s: int = 0
        self.behind_s: int = 0  # how far the last message behind was behind [s]
        self.behind_count: int = 0

    def utc_s(self, now_s: int) -> int:
        """Epoch seconds at now_s, monotonic [s]; 0 unknown."""
        return self.set_utc_s + (now_s - self.set_at_s) if self.set_utc_s > 0 else 0

    def take(self, message: object, is_retained: bool, now_s: int) -> str:
        """Take the time from a message received at now_s; "", or why the message is refused."""
        problem = _problem_of_any(message)
        if problem or is_retained or not isinstance(message, dict):
            return problem
        sent_s = message["sent_s"]
        behind_s = self.utc_s(now_s) - sent_s
        if behind_s > NEAR_S:
            agrees = -NEAR_S <= behind_s - self.behind_s <= NEAR_S
            self.behind_count = self.behind_count + 1 if agrees else 1
            self.behind_s = behind_s
            if self.behind_count < CONFIRMATIONS:
                return ""
        self.behind_count = 0
        if not 0 <= behind_s <= NEAR_S:
            self.set_utc_s = sent_s
            self.set_at_s = now_s
        self.utc_offset_s = message.get("utc_offset_s", self.utc_offset_s)
        return ""
