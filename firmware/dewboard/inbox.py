"""What the broker brings: the outdoor feed, commands, and the logger's mark."""

import json

from dewboard.homie import Bucket, is_wiring, setting_row, value_of
from dewboard.senml import mark_of
from dewcore.feed import LARGEST_BYTES, accept
from dewcore.readings import SAW_CLEAR, SAW_FOG
from dewcore.settings import TABLE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewboard.homie import Homie
    from dewboard.outbox import Outbox
    from dewboard.shapes import Callable

COMMANDS = 20  # at once, then one in EVERY_S: each may cost a write to flash
EVERY_S = 10
MOST_ASKED = 8
SET = "/set"


class Inbox:
    """take() is the client's; say(level, text) goes to the log.

    asked: (row, payload) of accepted commands, which the sender echoes; has_thermometer: whether the outdoor
    temperature is measured here, so that the feed's is not taken.
    """

    __slots__ = ("app", "homie", "outbox", "say", "feed", "committed", "has_thermometer", "asked", "bucket")

    def __init__(
        self, app: "App", homie: "Homie", outbox: "Outbox", feed: str, say: "Callable[[str, str], None]"
    ) -> None:
        self.app = app
        self.homie = homie
        self.outbox = outbox
        self.say = say
        self.feed: str = feed
        self.committed: str = outbox.batch.base + "committed"
        self.has_thermometer: bool = "outdoor_c" in app.keep.codes
        self.asked: "list[tuple]" = []
        self.bucket: "Bucket" = Bucket(COMMANDS, EVERY_S)

    def topics(self) -> list:
        """What to subscribe to."""
        found = [self.feed + "/#", self.committed]
        if self.homie.takes:
            found.append(self.homie.base + "/+/+" + SET)
        return found

    def take(self, topic: str, payload: memoryview, is_retained: bool) -> None:
        """One message; nothing in it can do more than be refused."""
        if topic == self.committed:
            mark = mark_of(bytes(payload))
            said = "committed: no mark, {\"boot\":..., \"seq\":...} is one" if mark is None else self.outbox.hear(mark)
            if said:
                self.say("warn", said)
        elif topic == self.feed or topic.startswith(self.feed + "/"):
            problem = self._weather(payload, is_retained)
            if problem:
                self.say("warn", topic + ": " + problem)
        elif topic.startswith(self.homie.base) and topic.endswith(SET):
            path = topic[len(self.homie.base) + 1 : -len(SET)]
            refusal = self._order(path, bytes(payload), is_retained)
            if refusal:
                self.say("warn", "refused " + path + ": " + refusal)

    def _weather(self, payload: memoryview, is_retained: bool) -> str:
        """An observation or a forecast; "" or why it is refused."""
        if len(payload) > LARGEST_BYTES:
            return "found " + str(len(payload)) + " bytes, allowed " + str(LARGEST_BYTES)
        try:
            message = json.loads(bytes(payload))
        except (ValueError, RuntimeError):  # the latter: nested too deeply
            return "it is not JSON"
        app = self.app
        problem = app.wall.take(message, is_retained, app.now_s)
        if not problem and not (self.has_thermometer and "observed_s" in message):
            problem = accept(message, app.readings, app.now_s, app.utc_s())
        return problem

    def _order(self, path: str, payload: bytes, is_retained: bool) -> str:
        """A command; "" or why it is refused.  A retained one would be obeyed again at each start."""
        if is_retained:
            return "it is retained; publish commands without the retain flag, and clear this one"
        if not self.homie.takes:
            return "commands are turned off on this board"
        if len(self.asked) == MOST_ASKED or not self.bucket.take(self.app.now_s):
            return "too many commands; one in " + str(EVERY_S) + " s is taken"
        if path == "control/look":
            if payload not in (b"fog", b"clear"):
                return "a look is fog or clear"
            self.app.look(SAW_FOG if payload == b"fog" else SAW_CLEAR)
            return ""
        for row in TABLE:
            if path == "settings/" + row[0].replace("_", "-"):
                return self._setting(row, payload)
        return "nothing here can be set by that name"

    def _setting(self, row: tuple, payload: bytes) -> str:
        name = row[0]
        if is_wiring(name):
            return "what is wired is set on the board's own page only"
        value = value_of(row, payload)
        if value is None:
            return "the payload is no value of its type"
        refusal = self.app.change_settings({name: value})
        if not refusal:
            self.asked.append((setting_row(row), payload))
            self.app.events.add("setting changed at the broker: " + name)
        return refusal
