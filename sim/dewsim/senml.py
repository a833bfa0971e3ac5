"""SenML (RFC 8428) of minute records: what boards send, read strictly, and what an export writes."""

import json
from typing import NamedTuple

from dewcore import words
from dewcore.record import FIELDS, REASON_OPEN

LARGEST_BYTES = 65536  # of a message; boards send less than a tenth of it
MOST_RECORDS = 120
MOST_ENTRIES = 20  # of one record
ABSOLUTE_FROM_S = 1 << 28  # RFC 8428 section 4.5.3: from here on seconds since 1970, below it relative to now
LATEST_S = 4102444800  # 2100-01-01
MOST = (1 << 30) - 2  # of a boot or a number: what the smallest board counts to
VERSION = 10
REASON = "reason"
REASON_NAMES = [name for name, _ in words.REFUSALS]
PACKED = tuple(row for row in FIELDS if row[2])
PACKED_AT = {row[4]: n for n, row in enumerate(PACKED)}
INT_RANGE = {"h": (-32767, 32767), "H": (0, 65534), "B": (0, 254)}  # without the sentinels of `none`
PLAIN = frozenset(("n", "u", "v", "ut"))  # labels of an entry that needs nothing but its name resolved
HEAD = ("done/boot", "done/seq", "after/boot", "after/seq")


class Record(NamedTuple):
    """One minute on its way: its key, when it ended, and its numbers.

    utc_s: epoch seconds, None where the board did not know them; then since_s is relative to the sending, at most 0.
    numbers: one for each packed field in the order of FIELDS, scaled whole numbers, None for none.
    """

    boot: int
    seq: int
    utc_s: int | None
    since_s: int
    numbers: tuple


class Batch(NamedTuple):
    """One message; done: the board's mark; after: key of the record before the first.  (-1, -1) for none."""

    done: tuple
    after: tuple
    records: list


def base_name(device: str) -> str:
    """What the SenML names of a board's records begin with."""
    return f"dewmargin/{device}/"


def read(payload: bytes, device: str) -> Batch:
    """The batch in a message of a board; ValueError with what was found and what is allowed."""
    if len(payload) > LARGEST_BYTES:
        raise ValueError(f"{len(payload)} bytes, allowed are {LARGEST_BYTES}")
    try:
        pack = json.loads(payload.decode(), parse_constant=_no_number)
    except RecursionError:
        raise ValueError("nested too deeply to be SenML") from None
    if not isinstance(pack, list) or not pack:
        raise ValueError("no JSON array with something in it")
    head: dict = {}
    records: list = []
    entries = head
    for name, value, time_s in _resolved(pack, base_name(device)):
        if name == "boot":
            entries = {}
            records.append((time_s, entries))
        if name in entries:
            raise ValueError(f"{name[:40]!r} twice in one record")
        entries[name] = value
        if len(entries) > MOST_ENTRIES:
            raise ValueError(f"more than {MOST_ENTRIES} entries in a record")
    if not 1 <= len(records) <= MOST_RECORDS:
        raise ValueError(f"{len(records)} records, allowed are 1 to {MOST_RECORDS}")
    return _batch(head, [_record(*record) for record in records])


def _no_number(text: str) -> None:
    raise ValueError(f"{text} is no number in JSON")


def _resolved(pack: list, prefix: str):
    """(name without prefix, value, time [s] or None) of each entry."""
    base = _Base()
    at = len(prefix)
    for item in pack:
        if not isinstance(item, dict):
            raise ValueError("an entry that is no JSON object")
        is_plain = item.keys() <= PLAIN
        if not is_plain:
            base.take(item)
        name = base.name + _text(item.get("n", ""))
        if not name.startswith(prefix):
            raise ValueError(f"the name {name[:60]!r}, allowed are names that begin with {prefix}")
        value = item.get("v") if is_plain else base.value(item, name)
        if type(value) not in (int, float) and not (isinstance(value, str) and "vs" in item):
            raise ValueError(f"{name[-40:]} has no usable value")
        yield name[at:], value, base.time_s if is_plain else base.time_of(item)


class _Base:
    """What an entry leaves for those after it (RFC 8428 section 4.1), and entries that have more than a plain value."""

    __slots__ = ("name", "plus", "time_s")

    def __init__(self) -> None:
        self.name = ""
        self.plus: float = 0
        self.time_s: float | None = None

    def take(self, item: dict) -> None:
        """Base fields, and what must not be there."""
        for label in item:
            if label.endswith("_"):
                raise ValueError(f"label {label[:40]!r}, which has to be understood and is not")
        if _whole(item.get("bver", VERSION), "bver") > VERSION:
            raise ValueError(f"bver above {VERSION}")
        self.name = _text(item.get("bn", self.name))
        self.plus = _number(item.get("bv", self.plus), "bv")
        if "bt" in item:
            self.time_s = _number(item["bt"], "bt")

    def value(self, item: dict, name: str) -> object:
        """The one value."""
        values = [item[label] for label in ("v", "vs", "vb", "vd") if label in item]
        if len(values) != 1:
            raise ValueError(f"{len(values)} values in the entry {name[-40:]!r}, allowed is one")
        return _number(values[0], name) + self.plus if "v" in item else values[0]

    def time_of(self, item: dict) -> float | None:
        """The entry's own time."""
        return (self.time_s or 0) + _number(item["t"], "t") if "t" in item else self.time_s


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("a name that is no text")
    return value


def _number(value: object, name: str) -> float:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not is_number or not -1e15 < value < 1e15:
        raise ValueError(f"{name[-40:]} is no usable number")
    return value


def _whole(value: object, name: str, least: int = 0) -> int:
    """A whole number least..MOST, also where it is written as 7.0."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= MOST:
        raise ValueError(f"{name} is missing or no whole number from {least} to {MOST}")
    return value


def _batch(head: dict, records: list) -> Batch:
    done_boot, done_seq, after_boot, after_seq = [_whole(head.get(name), name, -1) for name in HEAD]
    keys = [(after_boot, after_seq), *(record[:2] for record in records)]
    for before, now in zip(keys, keys[1:]):
        if not before < now:
            raise ValueError(f"record {now[0]}/{now[1]} after {before[0]}/{before[1]}: they have to rise")
    return Batch((done_boot, done_seq), keys[0], records)


def _record(time_s: float | None, entries: dict) -> Record:
    utc_s, since_s = None, 0
    if time_s is not None and time_s >= ABSOLUTE_FROM_S:
        if time_s > LATEST_S:
            raise ValueError("a time after the year 2099")
        utc_s = int(time_s)
    elif time_s is not None:
        if not -LATEST_S <= time_s <= 0:
            raise ValueError("a time in the future, allowed are seconds since 1970 or, up to 0, since the sending")
        since_s = int(time_s)
    numbers: list = [None] * len(PACKED)
    for name, value in entries.items():
        if name in PACKED_AT:
            numbers[PACKED_AT[name]] = _scaled(PACKED[PACKED_AT[name]], value)
    boot, seq = _whole(entries["boot"], "boot"), _whole(entries.get("seq"), "seq")
    return Record(boot, seq, utc_s, since_s, tuple(numbers))


def _scaled(row: tuple, value: object) -> int:
    """A field's value as the board packs it; reasons may come by name or by number."""
    name, _, code, scale, senml, _ = row
    if name == REASON and isinstance(value, str):
        if value not in REASON_NAMES and value != words.OPEN_NAME:
            raise ValueError(f"{senml}: {value[:40]!r} is no reason known here; a newer dewmargin may know it")
        return REASON_OPEN if value == words.OPEN_NAME else REASON_NAMES.index(value)
    number = _number(value, senml) * scale
    whole = int(number + 0.5) if number >= 0 else -int(0.5 - number)
    low, high = INT_RANGE[code]
    if not low <= whole <= high:
        raise ValueError(f"{senml} is {value}, allowed are {low / scale:g} to {high / scale:g}")
    return whole


# Writing


def decimals(scale: int) -> int:
    """How many places a value of a field has that is stored times `scale`."""
    places = 0
    while 10**places < scale:
        places += 1
    return places


PLACES = {row[0]: decimals(row[3]) for row in FIELDS}


def entries_of(base_name: str, utc_s: int, values: dict) -> list:
    """The SenML entries of one minute from {field: value or None}; the reason as text."""
    entries = []
    for name, _, _, _, senml, unit in FIELDS:
        value = values.get(name)
        if not senml or value is None:
            continue
        entry: dict = {"n": senml}
        if unit:
            entry["u"] = unit
        if isinstance(value, str):
            entry["vs"] = value
        else:
            entry["v"] = round(value, PLACES[name])
        entries.append(entry)
    if entries:
        entries[0] = {"bn": base_name, "bt": utc_s, **entries[0], "ut": 60}
    return entries

