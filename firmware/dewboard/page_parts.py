"""What the page tells: its figures, and the parts of its HTML that change, each a generator of small pieces.

The rest of the page is the file page.html, sent from flash line by line, so that no heap holds it.  Its lines that
begin with "~ " name a part of PARTS, and what follows is the part's argument; "~ when in out" and "~ always" enclose
what is only for who is logged in ("in"), who is not ("out"), or where no password is set ("none").  Numbers are in SI
with data-u as their unit; the page's script shows them otherwise where the owner wants °F.
"""

from json import dumps

from dewboard.chart import chart
from dewboard.lamp import rhythm_of
from dewboard.login import ROUNDS
from dewcore import words
from dewcore.board import LAMP_ALARM, LAMP_FAULT
from dewcore.ceiling import BINDS_NAMES
from dewcore.glass import DAY, NIGHT
from dewcore.readings import SAMPLE_NAMES, UNFITTED
from dewcore.settings import SWITCH, row_of
from dewcore.words import decimal, signed

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewboard.page import View
    from dewboard.shapes import Iterable, Iterator

BINDS = {
    "glass": "The coldest glass sets it, with its margins.",
    "outlook": "The look-ahead sets it: the house still dries before the cold to come.",
    "corner": "The coldest opaque corner sets it.",
    "envelope": "Walls and attic set it.",
    "owner": "Your wish sets it.",
}
# by status of a channel: trusted, missing, stale, out of range, frozen, jumping or doubted
STATUS = ("", "no reading", "old", "out of range", "frozen", "it cannot be right")
CONTACT = ("", "off", "on", "cannot be read")  # from NOT_FITTED on
CONTACTS = ("line_sense", "load_sense", "fan", "heat_call")
UNIT_OF_ENDING = {"pct": "%", "c": "°C", "k": "K"}


def esc(text: object) -> str:
    """Text for HTML, in quotes, too."""
    text = str(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return text.replace('"', "&quot;").replace("'", "&#39;")


def number(value: float, places: int) -> str:
    """A number as text; nothing for what is none."""
    return decimal(value, places) if value - value == 0 else ""


def quantity(text: str, unit: str) -> str:
    """A number and its unit as HTML that the page's script can convert."""
    if not text:
        return "–"
    shown = signed(text) + ("" if unit == "1" else " " + unit)
    return '<data value="' + text + '" data-u="' + unit + '">' + shown + "</data>"


def figure(app: "App", key: str) -> "tuple | None":
    """(number as text, note) of a figure by its name; None where no such sensor is fitted."""
    controller = app.controller
    if key in SAMPLE_NAMES:
        inputs = controller.judge.inputs
        status = inputs.status[SAMPLE_NAMES.index(key)]
        if status == UNFITTED:
            return None
        note = STATUS[status]
        if note and inputs.trusted >> SAMPLE_NAMES.index(key) & 1:
            note = "the last one holds: " + note
        elif note:
            note = "not trusted: " + note
        return number(getattr(inputs, key), 1), note
    if key == "coldest_c":
        return number(controller.decision.coldest_c, 1), ""
    owner = controller.decision if hasattr(controller.decision, key) else controller.terms
    return number(getattr(owner, key), 1), ""


def contact(app: "App", name: str) -> str:
    """What a contact shows, in a word; empty where none is fitted."""
    return CONTACT[getattr(app.readings, name).state + 1]


def unit_of(key: str) -> str:
    """Unit of a figure, by the end of its name."""
    return UNIT_OF_ENDING[key.split("_")[-1]]


FIGURES = ("target_pct", "rh_pct", "ceiling_pct", "coldest_c", "margin_k", "indoor_c", "outdoor_c", "glass_c")
FIGURES += ("room_c", "room_rh_pct", "supply_c")
FIGURES += ("glass_pct", "plain_pct", "ahead_pct", "now_pct", "corner_pct", "envelope_pct", "owner_pct")


def binds(app: "App") -> str:
    """What sets the target, in words."""
    return BINDS[BINDS_NAMES[app.controller.decision.binds]]


def status(app: "App") -> str:
    """The one status sentence; before the first scan the decision says so itself."""
    decision = app.controller.decision
    return words.status_sentence(decision.refusals, decision.notices)


def why(app: "App") -> list:
    """Every other sentence that holds; of a humidity that cannot be trusted nobody says that it is enough."""
    first = status(app)
    decision = app.controller.decision
    refusals = decision.refusals
    if refusals >> words.RH_BAD & 1 or refusals >> words.INDOOR_BAD & 1:
        refusals &= ~(1 << words.HUMID_ENOUGH)
    found = [text for text in words.sentences(refusals, decision.notices) if text != first]
    if refusals >> words.HUMID_ENOUGH & 1:
        found.append("The target is " + number(decision.target_pct, 1) + " % now. " + binds(app))
    return found


def grave(app: "App") -> str:
    """What the lamp says, where it says that something is wrong; else empty."""
    rhythm = rhythm_of(app.controller.decision.refusals)
    if rhythm == LAMP_ALARM:
        return "Alarm: somebody has to come."
    return "Fault: a reading or a wire cannot be trusted." if rhythm == LAMP_FAULT else ""


def hold(app: "App") -> str:
    """How long a timer keeps the valve as it is; empty where none does."""
    left_s = app.controller.decision.hold_s
    if left_s <= 0:
        return ""
    left = str(left_s) + " s" if left_s < 120 else str(left_s // 60) + " min"
    return " A timer keeps the valve as it is: " + left + " more."


def safe(app: "App") -> str:
    """Why the board took itself out of service, empty while it has not."""
    return "This board is out of service: " + app.safe + ". The valve is shut." if app.safe else ""


def age_s(app: "App") -> int:
    """Seconds since the last scan, -1 before the first."""
    scanned_s = app.controller.scanned_s
    return app.now_s - scanned_s if scanned_s >= 0 else -1


# -- parts


def safe_part(page: "View", _: str) -> "Iterator[str]":
    """The board took itself out of service: that comes before everything."""
    text = page.app.safe
    yield '<p id="safe" class="alarm" role="alert"' + ("" if text else " hidden") + ">" + esc(safe(page.app)) + "</p>\n"


def grave_part(page: "View", _: str) -> "Iterator[str]":
    text = grave(page.app)
    yield '<p id="grave" class="alarm" role="alert"' + ("" if text else " hidden") + ">" + text + "</p>\n"


def status_part(page: "View", _: str) -> "Iterator[str]":
    yield '<p id="status" aria-live="polite">' + esc(status(page.app)) + "</p>\n"


def why_part(page: "View", _: str) -> "Iterator[str]":
    for text in why(page.app):
        yield "<li>" + esc(text) + "</li>\n"


def asof_part(page: "View", _: str) -> "Iterator[str]":
    age = age_s(page.app)
    if age < 0:
        yield "Nothing has been decided yet."
    else:
        yield "Decided " + str(age) + " s before this page was sent." + hold(page.app)


def row_part(page: "View", argument: str) -> "Iterator[str]":
    key, _, label = argument.partition(" ")
    found = figure(page.app, key)
    if found is None:
        return
    note = "<small>" + esc(found[1]) + "</small>"
    yield '<tr data-k="' + key + '"><th scope="row">' + label + "</th><td>"
    yield quantity(found[0], unit_of(key)) + note + "</td></tr>\n"


def contact_part(page: "View", argument: str) -> "Iterator[str]":
    name, _, label = argument.partition(" ")
    found = contact(page.app, name)
    if found:
        yield '<tr data-c="' + name + '"><th scope="row">' + label + "</th><td>" + found + "</td></tr>\n"


def binds_part(page: "View", _: str) -> "Iterator[str]":
    yield '<tr class="whole"><td colspan="2" id="binds">' + esc(binds(page.app)) + "</td></tr>\n"


def house_part(page: "View", _: str) -> "Iterator[str]":
    house = page.app.controller.outlook.house
    halves_h = house.halves_h()
    yield "<p>With the valve shut this house dries by half in "
    yield ("more than 98" if halves_h >= 99 else str(halves_h)) + " h; an hour of open valve adds "
    yield number(house.valve_g_kg_h, 1) + " g of water to each kg of air. So it is taken, after "
    yield str(house.hours) + " h of its own record.</p>\n"


def window_part(page: "View", _: str) -> "Iterator[str]":
    controller = page.app.controller
    glass = controller.glass
    for part, name in ((DAY, "curtains open"), (NIGHT, "curtains drawn")):
        used = glass.factor(part == NIGHT)
        yield "<p>Glass factor, " + name + ": " + number(used, 2) + ", "
        if glass.determined(part == NIGHT):
            yield "found from the looks: " + str(glass.looks[part]) + ".</p>\n"
        elif used < (controller.settings.glass_f_night if part == NIGHT else controller.settings.glass_f_day):
            yield "lowered by what looks or a sensor showed; looks so far: " + str(glass.looks[part]) + ".</p>\n"
        else:
            yield "the setting; looks so far: " + str(glass.looks[part]) + ".</p>\n"


def setting_part(page: "View", argument: str) -> "Iterator[str]":
    name, _, label = argument.partition(" ")
    _, unit, default, low, high = row_of(name)
    value = getattr(page.app.settings, name)
    yield '<div class="setting"><label for="s-' + name + '">' + label + "</label>"
    if unit == SWITCH:
        yield '<input type="checkbox" id="s-' + name + '" name="' + name + '"' + (" checked" if value else "") + ">"
        yield "<small><code>" + name + "</code></small></div>\n"
        return
    if unit == "min":
        yield '<input type="time" id="s-' + name + '" name="' + name + '" value="' + of_day(value) + '" data-v="'
        yield str(value) + '" data-u="min"><small><code>' + name + "</code></small></div>\n"
        return
    places = 0 if isinstance(default, int) else 3
    texts = [trimmed(number(bound, places)) for bound in (value, low, high)]
    yield '<input type="number" id="s-' + name + '" name="' + name + '" value="' + texts[0] + '" data-v="' + texts[0]
    yield '" min="' + texts[1] + '" max="' + texts[2] + '" data-lo="' + texts[1] + '" data-hi="' + texts[2]
    yield '" data-u="' + unit + '" step="' + ("1" if places == 0 else "any") + '">'
    yield "<small><code>" + name + '</code> <span class="bounds">' + signed(texts[1] + " to " + texts[2])
    yield {"1": "", "1/h": ""}.get(unit, " " + unit) + "</span></small></div>\n"


def of_day(minute: int) -> str:
    """A minute of the day as the time that browsers take."""
    return "%02d:%02d" % (minute // 60, minute % 60)


def trimmed(text: str) -> str:
    """A decimal number without zeros at its end."""
    return text.rstrip("0").rstrip(".") if "." in text else text


def counters_part(page: "View", _: str) -> "Iterator[str]":
    for name, value in page.app.counters.items():
        if name.endswith("_s"):
            value //= 3600
        yield '<tr><th scope="row">' + COUNTED[name] + "</th><td>" + str(value) + "</td></tr>\n"


def events_part(page: "View", _: str) -> "Iterator[str]":
    for at_s, text in page.app.events:
        yield "<li>" + ago(page.app.now_s - at_s) + ": " + esc(text) + "</li>\n"


def ago(seconds: int) -> str:
    """How long ago, in the largest unit that says it."""
    for span, name in ((86400, " d"), (3600, " h"), (60, " min")):
        if seconds >= 2 * span:
            return str(seconds // span) + name + " ago"
    return str(seconds) + " s ago"


def about_part(page: "View", _: str) -> "Iterator[str]":
    yield "Version " + esc(page.app.version) + ", running for " + ago(page.app.now_s)[:-4] + "."


def rounds_part(page: "View", _: str) -> "Iterator[str]":
    yield '<form id="set" data-rounds="' + str(ROUNDS) + '">\n'


def chart_part(page: "View", _: str) -> "Iterator[str]":
    yield from chart(page.app)


COUNTED = {
    "boots": "Starts of the board",
    "watchdog_resets": "Restarts because it hung",
    "valve_starts": "Valve opened",
    "valve_open_s": "Valve open, hours",
    "missed_beats": "Missed seconds",
    "failed_beats": "Seconds in which something failed",
    "restarted_tasks": "Parts of the program started anew",
}
PARTS = {
    "safe": safe_part,
    "grave": grave_part,
    "status": status_part,
    "why": why_part,
    "asof": asof_part,
    "row": row_part,
    "contact": contact_part,
    "binds": binds_part,
    "chart": chart_part,
    "house": house_part,
    "window": window_part,
    "rounds": rounds_part,
    "counters": counters_part,
    "events": events_part,
    "setting": setting_part,
    "about": about_part,
}


def html(page: "View", template: "Iterable[str]") -> "Iterator[str]":
    """The whole page from an open template, piece by piece."""
    is_for_all = True
    for line in template:
        if line.startswith("~ "):
            name, _, argument = line[2:].strip().partition(" ")
            if name == "when":
                is_for_all = page.state in argument.split(" ")
            elif name == "always":
                is_for_all = True
            elif is_for_all:
                yield from PARTS[name](page, argument)
        elif is_for_all:
            yield line


def json_state(app: "App") -> "Iterator[str]":
    """The state as JSON, piece by piece; figures as decimal text, so that they are the same everywhere."""
    decision = app.controller.decision
    yield '{"safe":' + dumps(safe(app)) + ',"status":' + dumps(status(app)) + ',"binds":' + dumps(binds(app))
    yield ',"grave":' + dumps(grave(app)) + ',"hold":' + dumps(hold(app))
    yield ',"open":' + ("true" if decision.valve else "false") + ',"age_s":' + str(age_s(app)) + ',"why":['
    comma = ""
    for text in why(app):
        yield comma + dumps(text)
        comma = ","
    yield '],"look":' + str(app.controller.glass.said) + ',"test":' + str(app.controller.window.said)
    yield ',"figures":{'
    comma = ""
    for key in FIGURES:
        found = figure(app, key)
        if found is not None:
            yield comma + '"' + key + '":{"v":"' + found[0] + '","u":"' + unit_of(key) + '","note":"' + found[1] + '"}'
            comma = ","
    yield '},"contacts":{'
    comma = ""
    for name in CONTACTS:
        yield comma + '"' + name + '":"' + contact(app, name) + '"'
        comma = ","
    yield "}}"
