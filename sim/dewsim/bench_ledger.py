"""The forward pass as a ledger: a numbered line a step with its number and its reason, refused ones marked."""

from dewboard import page_parts
from dewcore import forecast as f
from dewcore import readings as r
from dewcore import words as w
from dewcore.ceiling import BINDS_NAMES
from dewcore.permit import PROOF_NAMES
from dewcore.words import decimal
from dewsim.bench_inputs import NUMBERS

CHANNELS = tuple([row[1:3] for name in r.SAMPLE_NAMES for row in NUMBERS if row[0] == name])
STATUS = ("trusted", *page_parts.STATUS[1:], "not fitted")
BASIS = ("as read", "reading too old: the coldest of the last day", "no reading for hours: the design temperature")
FORECAST = {
    f.FORECAST_NONE_YET: "no forecast: the largest known fall is feared",
    f.FORECAST_FRESH: "with the forecast",
    f.FORECAST_OLD: "the forecast is too old",
    f.FORECAST_NOT_DUE: "the forecast is from later than now",
    f.FORECAST_ELSEWHERE: "the forecast does not fit the reading",
    f.FORECAST_NO_CLOCK: "no time of day: no forecast counts",
    f.FORECAST_GAP: "the forecast has no value for now",
    f.FORECAST_UNCHECKED: "no outdoor reading to compare the forecast with",
}
BINDS = {
    "glass": "the glass", "outlook": "the look-ahead", "corner": "the opaque corner", "envelope": "walls and attic",
    "owner": "the owner's wish",
}  # fmt: skip
# what a contact's OFF and ON are called, and what else there is
CONTACTS = {
    "leak": ("dry", "wet"), "overflow": ("dry", "wet"), "drain_wet": ("dry", "wet"), "load_sense": ("dead", "live"),
    "off_switch": ("controller", "off or dial only"), "absent": ("home", "away"), "fan": ("still", "running"),
    "heat_call": ("no call", "call"), "line_sense": ("dead", "live"),
}  # fmt: skip
NOT_READ = {r.UNREADABLE: "unreadable", r.NOT_FITTED: "not read yet"}
# label, contact whose state is the line's number, setting that says whether it is fitted, its refusals
PERMITS = (
    ("Leak wire", "leak", "has_leak", (w.LEAK_WET, w.LEAK_WIRE)),
    ("Overflow switch", "overflow", "has_overflow", (w.OVERFLOW,)),
    ("Drain electrodes", "drain_wet", "has_drain_wet", (w.DRAIN_RUNS,)),
    ("Contact, no weld", "load_sense", "has_load_sense", (w.WELDED, w.RELAY_FAILED)),
    ("Selector at the unit", "off_switch", "has_off_switch", (w.SWITCH_OFF,)),
    ("Owner", "", "", (w.OWNER_OFF,)),
    ("Somebody home", "absent", "has_absent", (w.ABSENT,)),
    ("Season", "", "", (w.SEASON_OVER,)),
    ("Air indoors believed", "", "", (w.INDOOR_BAD, w.RH_BAD)),
    ("Every wire readable", "", "", (w.CONTACT_UNREADABLE,)),
    ("Fan proof", "fan", "", (w.FAN_UNFITTED, w.FAN_UNREADABLE, w.FAN_OFF, w.FAN_SETTLING)),
    ("Supply air warm", "", "has_supply", (w.SUPPLY_COLD,)),
    ("Heat", "heat_call", "", (w.HEAT_UNPROVABLE, w.HEAT_OFF)),
    ("Line", "line_sense", "has_line_sense", (w.LINE_DEAD,)),
)
VALVE = (
    ("Weld test", (w.WELD_TEST,)),
    ("Tries of the contact", (w.RELAY_RETRY,)),
    ("Longest run, rest", (w.LONGEST_RUN,)),
    ("Shortest pause", (w.MIN_OFF,)),
    ("Starts in an hour", (w.STARTS_PER_HOUR,)),
    ("Timed test run", (w.RUN_OVER,)),
    ("Board in service", (w.SAFE_MODE, w.BENCH_SHIM)),
)


class Ledger:
    """Collects lines: (number, step, what, value, reason, whether it is refused)."""

    def __init__(self):
        self.lines: list = []

    def add(self, step: str, what: str, value: str, reason: str, refused: bool = False) -> None:
        self.lines.append((len(self.lines) + 1, step, what, value, reason, refused))


def pct(value: float) -> str:
    return decimal(value, 1) + " %"


def lines(app) -> list:
    """The whole pass of the last scan; before the first the decision's own start values."""
    book = Ledger()
    controller = app.controller
    _judge(book, controller)
    _outlook(book, controller)
    _ceilings(book, controller)
    _target(book, controller)
    _demand(book, controller)
    _permit(book, app)
    _valve(book, app)
    return book.lines


def _judge(book: Ledger, controller) -> None:
    inputs = controller.judge.inputs
    for n, name in enumerate(r.SAMPLE_NAMES):
        status = inputs.status[n]
        label, unit = CHANNELS[n]
        if status == r.UNFITTED:
            continue
        believed = f"{decimal(getattr(inputs, name), 1)} {unit}"
        reason = STATUS[status]
        if n == r.OUTDOOR:
            basis = "rises too fast: believed slowly" if inputs.outdoor_held else BASIS[inputs.outdoor_basis]
            reason = basis if status == r.TRUSTED or inputs.outdoor_basis else f"{reason}, the last one holds"
        elif status and inputs.trusted >> n & 1:
            reason += ", the last one holds"
        book.add("judge", label, believed, reason, not inputs.trusted >> n & 1)


def _outlook(book: Ledger, controller) -> None:
    outlook, terms = controller.outlook, controller.terms
    if not controller.settings.look_ahead:
        book.add("outlook", "Look-ahead", "off", "switched off by its setting")
        return
    reason = FORECAST[outlook.forecast.status]
    if not outlook.known:
        book.add("outlook", "Look-ahead", "none", "not known yet, or too old; " + reason)
        return
    if controller.judge.inputs.outdoor_basis != r.OUTDOOR_READ:
        reason = "not used on an old outdoor reading"
    book.add("outlook", "Dries in time from", pct(terms.ahead_pct), reason)


def _ceilings(book: Ledger, controller) -> None:
    terms, decision = controller.terms, controller.decision
    rows = (
        ("Glass now", terms.glass_pct, f"wets the modelled coldest glass at {decimal(decision.coldest_c, 1)} °C"),
        ("Opaque corner", terms.corner_pct, "80 % at the corner, by the week's mean"),
        ("Walls and attic", terms.envelope_pct, "vapour pressure by the week's mean, and the cap"),
    )
    for label, value, reason in rows:
        book.add("ceiling", label, pct(value), reason)
    lowest = "the lowest of the three, margins not taken off"
    book.add("ceiling", "Ceiling", pct(decision.ceiling_pct), lowest)


def _target(book: Ledger, controller) -> None:
    terms, decision, settings = controller.terms, controller.decision, controller.settings
    tolerance = f"glass {settings.plain_margin_k:g} K colder, less {pct(controller.margin.total_pct)} tolerance"
    book.add("target", "Plain", pct(terms.plain_pct), tolerance)
    kept = "less room for a burst, tolerances and the model's own error"
    book.add("target", "Glass now, with margins", pct(terms.now_pct), kept)
    if controller.window.testing:
        book.add("target", "Window test", pct(terms.test_pct), "the owner stands at the window")
    book.add("target", "Wish", pct(terms.owner_pct), "the owner's")
    binds = BINDS[BINDS_NAMES[decision.binds]]
    reason = f"set by {binds}; there the glass is {decimal(decision.margin_k, 1)} K from wet"
    book.add("target", "Target", pct(decision.target_pct), reason)


def _demand(book: Ledger, controller) -> None:
    decision, valve = controller.decision, controller.valve
    read_pct = controller.judge.inputs.rh_pct
    limit_pct = decision.target_pct - (0.0 if valve.demand else controller.settings.band_pct)
    reason = f"wants water below {pct(limit_pct)}"
    refused = bool(decision.refusals >> w.HUMID_ENOUGH & 1)
    if decision.refusals & (1 << w.RH_BAD | 1 << w.INDOOR_BAD):
        reason = "not judged: the reading is not trusted"
    elif refused:
        reason = w.REFUSALS[w.HUMID_ENOUGH][1]
    book.add("demand", "Humidity", pct(read_pct), reason, refused)


def _told(refusals: int, codes: tuple) -> str:
    return " ".join(w.REFUSALS[code][1] for code in codes if refusals >> code & 1)


def contact_text(readings, name: str) -> str:
    """What a contact reads, in words."""
    state = getattr(readings, name).state
    return NOT_READ[state] if state in NOT_READ else CONTACTS[name][state == r.ON]


def _permit(book: Ledger, app) -> None:
    controller, settings = app.controller, app.settings
    refusals, latched = controller.decision.refusals, controller.permit.latched
    for label, contact, fitted, codes in PERMITS:
        told = _told(refusals, codes)
        if fitted and not getattr(settings, fitted):
            if told:  # told of by something else than its own wire
                book.add("permit", label, "not fitted", told, True)
            continue
        value = contact_text(app.readings, contact) if contact else "refused" if told else "given"
        if label == "Fan proof" and not told:
            value += f", {PROOF_NAMES[controller.decision.proof]}"
        if any(latched >> code & 1 for code in codes):
            told += " Latched."
        book.add("permit", label, value, told or "permits", bool(told))


def _valve(book: Ledger, app) -> None:
    decision, valve = app.controller.decision, app.controller.valve
    for label, codes in VALVE:
        told = _told(decision.refusals, codes)
        book.add("valve", label, "refused" if told else "free", told or "permits", bool(told))
    hold = f" A timer keeps it for {decision.hold_s} s." if decision.hold_s else ""
    if valve.finishing:
        hold = f" Its shortest run has {decision.hold_s} s to go."
    sentence = w.status_sentence(decision.refusals, decision.notices) + hold
    book.add("valve", "Valve", "open" if decision.valve else "shut", sentence)
