"""SenML (RFC 8428) of minute records: what boards send, read strictly, and what an export writes."""

import json
from typing import NamedTuple

from dewcore import words
from dewcore.record import FIELDS, REASON_OPEN

LARGEST_BYTES = 65536  # of a message; boards send less than a tenth of it
MOST_RECORDS = 240
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
        pack = json.loads(payload, parse_constant=_no_number)
    except RecursionError:
        raise ValueError("nested too deeply to be SenML") from None
    if not isinstance(pack, list) or not pack:
        raise ValueError("no JSON array with something in it")
    base: dict = {}
    head: dict = {}
    records: list = []
    entries = head
    for item in pack:
        name, value, time_s = _resolved(item, base, base_name(device))
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


def _resolved(item: object, base: dict, prefix: str) -> tuple:
    """(name without prefix, value, time [s] or None) of one entry; `base` carries bn, bt and bv along."""
    if not isinstance(item, dict):
        raise ValueError("an entry that is no JSON object")
    for label in item:
        if label in ("bn", "bt", "bv"):
            base[label] = item[label]
        elif label.endswith("_"):
            raise ValueError(f"label {label[:40]!r}, which has to be understood and is not")
    if _whole(item.get("bver", VERSION), "bver") > VERSION:
        raise ValueError(f"bver above {VERSION}")
    name = _text(base.get("bn", "")) + _text(item.get("n", ""))
    if not name.startswith(prefix):
        raise ValueError(f"the name {name[:60]!r}, allowed are names that begin with {prefix}")
    values = [item[label] for label in ("v", "vs", "vb", "vd") if label in item]
    if len(values) != 1:
        raise ValueError(f"{len(values)} values in the entry {name[-40:]!r}, allowed is one")
    value = values[0]
    if "v" in item and "bv" in base:
        value = _number(value, name) + _number(base["bv"], "bv")
    time_s = None
    if "bt" in base or "t" in item:
        time_s = _number(base.get("bt", 0), "bt") + _number(item.get("t", 0), "t")
    return name[len(prefix) :], value, time_s


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

