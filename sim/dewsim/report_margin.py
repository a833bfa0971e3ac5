"""What caution costs, and what the controller's decisions rested on: margins, binders, reasons."""

from dewcore import words
from dewcore.controller import Controller
from dewcore.readings import Readings
from dewcore.record import REASON_OPEN
from dewcore.settings import Settings
from dewsim import policies
from dewsim.report_tables import table
from dewsim.units import SPACE, Units, number

TOLERANCES = (
    ("rh_tolerance_pct", "humidity sensor", "rh_pct"),
    ("indoor_tolerance_k", "indoor thermometer", "indoor_pct"),
    ("outdoor_tolerance_k", "outdoor thermometer", "outdoor_pct"),
    ("f_tolerance", "glass factor", "factor_pct"),
)
BINDERS = {
    "glass": "the coldest glass, less its margins",
    "outlook": "the look-ahead: the coldest hours to come",
    "corner": "the coldest opaque corner of the walls",
    "envelope": "walls and attic, by vapour pressure over the outdoors' or by the building's cap",
    "owner": "the owner's wish",
}


def decided_at(settings: Settings, indoor_c: float, outdoor_c: float) -> Controller:
    """The decision code after one scan at one working point, clock unknown (curtains drawn), no history.

    indoor_c, outdoor_c: as believed, once corrected.
    """
    controller = Controller(settings)
    readings = Readings()
    readings.indoor_c.set(indoor_c - settings.indoor_offset_k, 0)
    readings.rh_pct.set(30.0, 0)
    readings.outdoor_c.set(outdoor_c - settings.outdoor_offset_k, 0)
    controller.scan(readings, 0)
    return controller


def working_points(replay) -> list:
    """(name, indoor_c, outdoor_c): the coldest hour and the mean of the heating season, or of all hours."""
    course = replay.course
    per_hour = 3600 // course.dt_s
    hours = range(0, max(1, course.n_steps - per_hour + 1), per_hour)
    at = min(hours, key=lambda k: sum(course.outdoor_c[k : k + per_hour]))
    span = slice(at, min(at + per_hour, course.n_steps))
    steps = [k for k in range(course.n_steps) if replay.mask[k]] or list(range(course.n_steps))

    def mean(values) -> float:
        return sum(values) / len(values)

    return [
        ("Coldest hour", mean(course.indoor_c[span]), mean(course.outdoor_c[span])),
        (
            "Season mean",
            mean([course.indoor_c[k] for k in steps]),
            mean([course.outdoor_c[k] for k in steps]),
        ),
    ]


def margin(replay, units: Units) -> str:
    """Fixed and tolerance margin at two working points, from the decision code itself."""
    settings = replay.settings
    fixed = units.difference_text(settings.plain_margin_k)
    text = (
        f"<p>The controller keeps two margins at the coldest glass. A fixed one, {fixed}, stands in for "
        "what the house does after the decision: cold fronts that outrun its drying, showers and cooking. "
        "The other stands for the sensors and the glass factor being wrong within their stated "
        "tolerances, joined as the root of the sum of their squares (JCGM 100:2008, eq. 10). Both are "
        "those of the decision code, at the night value of the glass.</p>"
    )
    points = working_points(replay)
    return text + ladder(settings, points, units) + "".join(parts(settings, point, units) for point in points)


def point_text(point: tuple, units: Units) -> str:
    """A working point in words."""
    name, indoor_c, outdoor_c = point
    return f"{name}: {units.temperature_text(outdoor_c)} outdoors, {units.temperature_text(indoor_c)} indoors"


def ladder(settings: Settings, points: list, units: Units) -> str:
    """From where the glass gets wet down to the plain reset's limit."""
    exact = policies.altered(settings, **policies.EXACT)
    bare = policies.without_margin(settings)
    columns = []
    for _, indoor_c, outdoor_c in points:
        wet = decided_at(bare, indoor_c, outdoor_c).terms.plain_pct
        fixed = decided_at(exact, indoor_c, outdoor_c).terms.plain_pct
        whole = decided_at(settings, indoor_c, outdoor_c)
        columns.append(
            [wet, fixed - wet, whole.terms.plain_pct - fixed, whole.terms.plain_pct, whole.margin.total_k]
        )
    labels = [
        "Glass gets wet at, % RH",
        f"Fixed margin of {units.difference_text(settings.plain_margin_k)}, % RH",
        "Tolerance margin, % RH",
        "The glass allows a target of, % RH",
        f"Tolerance margin at the glass, {units.difference_unit}",
    ]
    rows = []
    for i, label in enumerate(labels):
        show = units.difference if i == len(labels) - 1 else float
        rows.append([label, *(number(show(column[i])) for column in columns)])
    head = ["", *(point_text(point, units) for point in points)]
    return table(
        "From wet glass to the target that the glass allows; caps and wish come on top", head, rows, "numbers"
    )


def parts(settings: Settings, point: tuple, units: Units) -> str:
    """What each tolerance costs at a working point."""
    _, indoor_c, outdoor_c = point
    whole = decided_at(settings, indoor_c, outdoor_c)
    margin = whole.margin
    per_pct = margin.total_k / margin.total_pct if margin.total_pct > 0.0 else 0.0
    rows = []
    for name, label, attribute in TOLERANCES:
        part = getattr(margin, attribute)
        gained = decided_at(policies.altered(settings, **{name: 0.0}), indoor_c, outdoor_c).terms.plain_pct
        size = getattr(settings, name)
        if name == "rh_tolerance_pct":
            stated = f"{size:g}{SPACE}%"
        elif name == "f_tolerance":
            stated = f"{size:g}"
        else:
            stated = units.difference_text(size)
        rows.append(
            [
                f"{label}, within {stated}",
                number(part, 2),
                number(units.difference(part * per_pct), 2),
                number(gained - whole.terms.plain_pct, 2),
            ]
        )
    head = [
        "Tolerance",
        "Part, % RH",
        f"At the glass, {units.difference_unit}",
        "Target gained were it exact, % RH",
    ]
    return table(point_text(point, units), head, rows, "numbers")


# Reasons


def reasons(replay) -> str:
    """What bound the target, why the valve was shut, and the notices, as shares of the heating season."""
    run = replay.runs[replay.result["shipped_policy"]]
    counts: dict = {}
    notices: dict = {}
    total = 0
    for code, told, counted in zip(run.reason, run.notices, replay.mask):
        if counted:
            total += 1
            counts[code] = counts.get(code, 0) + 1
            notices[told] = notices.get(told, 0) + 1
    shares = replay.result["policies"][replay.result["shipped_policy"]]["binds"]
    binds = [[f"{name}: {BINDERS[name]}", number(100 * part)] for name, part in shares.items()]
    bound = table(
        "What set the target", ["Surface or person", "Share of the heating season, %"], binds, "numbers"
    )
    if not total:
        return bound + "<p>No heating season, so no reasons are counted.</p>"
    return bound + why_shut(counts, total) + noticed(notices, total)


def why_shut(counts: dict, total: int) -> str:
    """The first reason of each minute, most frequent first."""
    rows = []
    for code, count in sorted(counts.items(), key=lambda item: -item[1]):
        mask = 0 if code == REASON_OPEN else 1 << code
        name = words.reason_name(mask)
        rows.append([f"<code>{name}</code>", words.status_sentence(mask, 0), percent(count, total)])
    head = ["Reason", "In words", "Share of the heating season, %"]
    return table("Why the valve was open or shut, by the first reason of each minute", head, rows, "words")


def noticed(notices: dict, total: int) -> str:
    """How long each notice held."""
    rows = []
    for bit, (name, sentence) in enumerate(words.NOTICES):
        count = sum(n for told, n in notices.items() if told >> bit & 1)
        if count:
            rows.append([f"<code>{name}</code>", sentence, percent(count, total)])
    if not rows:
        return "<p>No notice was given in the heating season.</p>"
    head = ["Notice", "In words", "Share of the heating season, %"]
    return table("Notices: worth telling, but no reason for the valve to be shut", head, rows, "words")


def percent(count: int, total: int) -> str:
    """A share; small ones are not rounded to nothing."""
    value = 100.0 * count / total
    return "below 0.1" if value < 0.05 else number(value)
