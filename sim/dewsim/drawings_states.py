"""Which 24 VAC terminal is live in which state, found by walking the branch as it is drawn, and as meter volts."""

from dewsim.drawings_table import Firmware

HOT = "supply"
LINE = "J1 line"
LOAD = "J1 load"
ACROSS = "across K1"
K1_IN = "K1's far side"

# (name of the state, what is true in it); what is not named is as usual: fuse whole, dial asking, selector at
# controller, contact open, no call, no fan.
STATES = (
    ("idle", set()),
    ("call, valve shut", {"call", "fan"}),
    ("call, valve open", {"call", "fan", "closed"}),
    ("selector at off", {"call", "fan", "off"}),
    ("dial only", {"call", "fan", "dial"}),
    ("old dial satisfied", {"call", "fan", "satisfied"}),
    ("fuse F1 out", {"call", "fan", "no fuse"}),
)


def _branch(facts: set, is_accessory: bool) -> list:
    """(from, to) of every piece of the valve branch that conducts."""
    pieces = []
    if "no fuse" not in facts:
        pieces.append((HOT, "behind F1"))
    if is_accessory or "fan" in facts:
        pieces.append(("behind F1", "behind the fan proof"))
    if "satisfied" not in facts:
        pieces.append(("behind the fan proof", LINE))
    if not facts & {"off", "dial"}:
        pieces.append((LINE, K1_IN))
    if "dial" in facts:
        pieces.append((LINE, LOAD))
    if "closed" in facts:
        pieces.append((K1_IN, LOAD))
    return pieces


def live(facts: set, is_accessory: bool) -> set:
    """Names of the places that have the supply's volts against common."""
    found = {HOT} if "call" in facts or not is_accessory else set()
    pieces = _branch(facts, is_accessory)
    while True:
        more = {b if a in found else a for a, b in pieces if (a in found) != (b in found)}
        if not more:
            break
        found |= more
    if is_accessory and "fan" in facts or "behind the fan proof" in found:
        found.add("J2 fan")
    if "call" in facts:
        found.add("J2 heat")
    return found


def places(fw: Firmware) -> list:
    """The terminals of the table's AC rows, in its order, after the supply itself."""
    senses = [row["terminal"] for row in fw.rows.values() if row["domain"] == "24 VAC"]
    return [HOT] + senses[:1] + [ACROSS] + senses[1:]


def volts(fw: Firmware, facts: set, place: str, is_accessory: bool) -> str:
    """What an AC volt meter reads against common, or across the contact."""
    found = live(facts, is_accessory)
    if place != ACROSS:
        return fw.live() if place in found else fw.dead()
    if facts & {"off", "dial"}:
        return "do not read"  # S3 has cut it off: the meter would read a floating wire
    if "closed" in facts:
        return f"below {fw.amount('CLOSED_VAC')} VAC"
    return fw.live() if K1_IN in found else fw.dead()


def matrix(fw: Firmware, is_accessory: bool) -> list:
    """Rows of cells for a page: a state a row, a place a column."""
    columns = places(fw)
    source = "accessory terminal" if is_accessory else "24 V supply"
    rows = [["state", source] + columns[1:]]
    for name, facts in STATES:
        rows.append([name] + [volts(fw, facts, place, is_accessory) for place in columns])
    return rows
