"""What the board says of itself by the Homie convention, version 5.0 (11 May 2025): description, values, alerts.

A device `homie/5/<device>` with the nodes indoor, outdoor, control, valve, water, system and settings.  All but the
settings stand in homie.txt, one property a line, read from flash when needed, so that no heap holds the table:

    node  id  whose  kind  unit or names  attribute

    whose    where the attribute is, from the app on; `inputs`: a sample, while it is trusted; `own`: a method here
    kind     how many decimals; text, switch (true, false), enum (an index into the names), reason, event

The settings are rows of the same shape made from `dewcore.settings`.  A property's friendly name is its id.  A reading
that is not trusted, and a term that does not apply now, has no value: its topic is cleared, and `$alert` tells of a
fault.  What is not fitted is not described.
    control/target     value: the effective target; $target: the owner's wish
    settings/...       value: what counts; $target: what was asked for, byte for byte.  What is wired is not settable
    control/look       takes `fog` or `clear` as seen at the window; an event, never retained
"""

import asyncio
from array import array
from binascii import crc32

from dewboard.senml import short
from dewcore import words as w
from dewcore.psychro import wetting_point_c
from dewcore.readings import INDOOR, NOT_FITTED, RH, SAMPLE_NAMES, UNFITTED
from dewcore.settings import SWITCH, TABLE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewboard.mqtt import Client
    from dewboard.shapes import Any, Generator

# Bits of the refusals and notices that are a fault, and not just a reason to wait: an alert each
FAULTS = 0x3408FC3F
FAULT_NOTICES = 0x3FF787F6
PLACES = 4  # decimals of a setting; no bound of the table needs more
NONE_BELOW = -99  # of the terms: one that does not apply is -100

LEVELS = ("fatal", "error", "warn", "info", "debug")
MOST_LINES = 6
LINE_CHARS = 200


def is_wiring(name: str) -> bool:
    """Whether a setting tells what is wired, and so could lift an interlock: only the page changes it, after login."""
    return name[:4] == "has_" or name in ("water_needs_heat", "fan_grade")


def value_of(row: tuple, payload: bytes) -> "int | float | None":
    """What a payload asks a setting to be, None where the convention does not allow it: no plus, no space, no word."""
    whole = isinstance(row[2], int)
    if len(payload) > 24:
        return None
    if row[1] == SWITCH:
        return {b"true": 1, b"false": 0}.get(payload)
    for byte in payload:
        if byte not in (b"-0123456789" if whole else b"-0123456789.eE"):
            return None
    try:
        return int(payload.decode()) if whole else float(payload.decode())
    except ValueError:
        return None


def setting_row(row: tuple) -> list:
    """A setting as a line of homie.txt would say it, and its bounds."""
    kind = "switch" if row[1] == SWITCH else "0" if isinstance(row[2], int) else str(PLACES)
    name = row[0]
    bounds = short(row[3], PLACES) + ":" + short(row[4], PLACES)
    return ["settings", name.replace("_", "-"), "settings", kind, row[1], name, bounds]


class Homie:
    """The texts of one device.  takes: whether commands are taken; left_out: a bit for each row that is not fitted.

    sent: a sum of each value as it was last published, 0 for none yet.
    """

    __slots__ = ("app", "client", "device", "base", "takes", "path", "rows_here", "left_out", "sent", "tail")

    def __init__(self, app: "App", client: "Client", device: str, takes: bool) -> None:
        self.app = app
        self.client = client
        self.device: str = device
        self.base: str = "homie/5/" + device
        self.takes: bool = takes
        self.path: str = __file__.rpartition("/")[0] + "/homie.txt"
        self.left_out: int = 0
        self.tail: bytes = b""
        self.rows_here: int = 0
        with open(self.path, "rb") as file:
            for _ in file:
                self.rows_here += 1
        self.sent = array("i", [0] * (self.rows_here + len(TABLE)))

    def rows(self) -> "Generator[tuple[int, list]]":
        """Pairs (number, row) of all properties."""
        n = 0
        with open(self.path, "rb") as file:
            for line in file:
                yield n, line.decode().split()
                n += 1
        for row in TABLE:
            yield n, setting_row(row)
            n += 1

    # The description

    def fitted(self) -> int:
        """What `left_out` would have to be now."""
        mask = 0
        for n, row in self.rows():
            if n == self.rows_here:
                break
            if row[2] == "inputs":
                is_out = self.app.controller.judge.inputs.status[SAMPLE_NAMES.index(row[5])] == UNFITTED
            else:
                is_out = row[2][:9] == "readings." and self._found(row) == NOT_FITTED
            if is_out:
                mask |= 1 << n
        return mask

    async def describe(self) -> None:
        """Before the description is sent: what it leaves out, and its version, a sum of all the rest of it."""
        self.left_out = self.fitted()
        self.tail = b""
        total = 0
        for piece in self.description():
            total = crc32(piece, total)
            await asyncio.sleep(0)  # a beat may be due
        self.tail = (',"version":' + str(total & 0x3FFFFFFF) + "}").encode()

    def description(self) -> "Generator[bytes]":
        """The description as bytes, piece by piece."""
        yield ('{"homie":"5.0","name":"' + self.device + '","nodes":{').encode()
        before = node = ""
        for n, row in self.rows():
            if not self.left_out >> n & 1:
                if row[0] != node:
                    yield (("}}," if node else "") + '"' + row[0] + '":{"properties":{').encode()
                    before, node = "", row[0]
                yield (before + self._property(row)).encode()
                before = ","
        yield b"}}}"
        yield self.tail

    def _property(self, row: list) -> str:
        """A property's part of the description."""
        kind = row[3]
        is_setting = len(row) > 6
        unit = form = ""
        name = {"text": "string", "switch": "boolean", "0": "integer"}.get(kind, "float")
        if kind in ("enum", "event", "reason"):
            name = "enum"
            form = row[4] if kind != "reason" else ",".join([w.OPEN_NAME] + [reason[0] for reason in w.REFUSALS])
        elif name in ("integer", "float"):
            unit = row[4] if row[4] != "1" else ""
            form = row[6] if is_setting else ""
        text = '"' + row[1] + '":{"datatype":"' + name + '"'
        text += ',"unit":"' + unit + '"' if unit else ""
        text += ',"format":"' + form + '"' if form else ""
        text += ',"retained":false' if kind == "event" else ""
        if self.takes and (kind == "event" or is_setting and not is_wiring(row[5])):
            text += ',"settable":true'
        return text + "}"

    # Values

    def topic(self, row: list) -> str:
        """Where a row's value goes."""
        return self.base + "/" + row[0] + "/" + row[1]

    def value(self, row: list) -> bytes:
        """A row's value as its payload; b"" where there is none, one byte 0 for an empty text."""
        kind = row[3]
        if kind == "event":
            return b""
        value = self._found(row)
        if kind == "text":
            return value.encode() or b"\x00"
        if kind == "switch":
            return b"true" if value else b"false"
        if kind == "reason":
            return w.reason_name(value).encode()
        if kind == "enum":
            return row[4].split(",")[max(0, value)].encode()
        if value is None or not value - value == 0 or row[2][-5:] == "terms" and value < NONE_BELOW:
            return b""
        places = int(kind)
        return (short(value, places) if places == PLACES else w.decimal(value, places)).encode()

    def target(self, row: list) -> bytes:
        """What was asked of a row's value; b"" where nothing is asked."""
        if len(row) > 6:
            return self.value(row)
        return short(self.app.settings.wish_pct, PLACES).encode() if row[5] == "target_pct" else b""

    def changed(self, n: int, row: list) -> bool:
        """Whether the value of row n, or what was asked of it, is another one than at the last call."""
        total = crc32(self.target(row), crc32(self.value(row))) & 0x3FFFFFFE | 1
        if total == self.sent[n]:
            return False
        self.sent[n] = total
        return True

    def _found(self, row: list) -> "Any":
        """The attribute that a row speaks of; of a sample None where it is not trusted."""
        owner = self.app
        whose = row[2]
        name = row[5]
        if whose == "inputs":
            owner = owner.controller.judge.inputs
            if not owner.trusted >> SAMPLE_NAMES.index(name) & 1:
                return None
        elif whose == "own":
            owner = self
        elif whose == "client":
            owner = self.client
        elif whose != "app":
            for part in whose.split("."):
                owner = getattr(owner, part)
        value = getattr(owner, name)
        return value() if callable(value) else value

    def dew_point_c(self) -> "float | None":
        """Wetting point of the room's air."""
        inputs = self.app.controller.judge.inputs
        pressure_pa = 0.01 * inputs.rh_pct * inputs.indoor_sat_pa
        is_known = inputs.trusted >> INDOOR & inputs.trusted >> RH & 1
        return wetting_point_c(pressure_pa) if is_known and pressure_pa > 1.0 else None

    def status(self) -> str:
        """The one status sentence."""
        decision = self.app.controller.decision
        return w.status_sentence(decision.refusals, decision.notices)

    def clock_known(self) -> bool:
        """Whether there is a time of day, and the decision knows of it: no alert beside it says otherwise."""
        return self.app.utc_s() != 0 and not self.app.controller.decision.notices >> w.CLOCK_UNKNOWN & 1

    def alerts(self) -> tuple:
        """The faults that hold now, and the notices that are one, as masks."""
        decision = self.app.controller.decision
        return decision.refusals & FAULTS, decision.notices & FAULT_NOTICES


class Bucket:
    """So many at once, then one in every_s."""

    __slots__ = ("most", "every_s", "room", "room_s")

    def __init__(self, most: int, every_s: int) -> None:
        self.most: int = most
        self.every_s: int = every_s
        self.room: int = most
        self.room_s: int = 0

    def take(self, now_s: int) -> bool:
        """Whether there is room for one more."""
        more = (now_s - self.room_s) // self.every_s
        if more > 0:
            self.room = min(self.most, self.room + more)
            self.room_s += more * self.every_s
        if self.room == 0:
            return False
        self.room -= 1
        return True


class Log:
    """`$log`, throttled; what is left out is counted in the next line.  level: the least important that is told."""

    __slots__ = ("level", "lines", "bucket", "left_out")

    def __init__(self, level: str) -> None:
        self.level: int = LEVELS.index(level)
        self.lines: "list[tuple]" = []
        self.bucket: "Bucket" = Bucket(10, 30)
        self.left_out: int = 0

    def add(self, level: str, text: str, now_s: int) -> None:
        """A line for the broker, if there is room for it."""
        if LEVELS.index(level) > self.level:
            return
        if len(self.lines) == MOST_LINES or not self.bucket.take(now_s):
            self.left_out += 1
            return
        if self.left_out:
            text += " (and " + str(self.left_out) + " more before it)"
            self.left_out = 0
        self.lines.append((level, text[:LINE_CHARS]))
