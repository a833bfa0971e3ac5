"""`dewmargin calibrate`: a humidity sensor at two salts, a thermometer in ice; what to write into the settings.

Correction: the straight line through two points, RH = rh_offset_pct + rh_gain * reading.  What is left uncertain
becomes rh_tolerance_pct, and so part of the margin: the line's own uncertainty at the worst humidity of use, the
sensor's bend and hysteresis, and its drift until the next check, as the root of the sum of squares (JCGM 100:2008,
eq. 10, bounds taken as the margin takes them).
"""

import sys
from datetime import date, timedelta
from math import ceil, hypot

from dewcore.psychro import sat_water_slope_per_k
from dewcore.settings import row_of
from dewsim import housefile, policies, quantities, report_margin, salts
from dewsim.errors import InputError, shown
from dewsim.quantities import Range
from dewsim.sheet import Sheet

TEMPERATURE = Range("temperature", 10.0, 30.0)
READING = Range("percent", 1.0, 99.0)
RANGES = {
    "hours": Range("time", 2.0, 400.0),
    "spread": Range("difference", 0.05, 2.0),
    "present-offset": Range("percent", *row_of("rh_offset_pct")[3:]),
    "present-gain": Range("factor", *row_of("rh_gain")[3:]),
}
DEFAULTS = {"hours": 12.0, "spread": 0.2, "present-offset": 0.0, "present-gain": 1.0}
ICE = Range("temperature", -5.0, 5.0)
ICE_SETTINGS = {"indoor": "indoor_tolerance_k", "outdoor": "outdoor_tolerance_k", "supply": "", "glass": ""}
APART_PCT = 20.0  # two points nearer than this make no line
WORST_PCT = 10.0  # a sensor farther off is broken or not yet in equilibrium
USED_PCT = (15.0, 45.0)  # where targets lie
REPEAT_PCT = 0.3  # a reading's own scatter; from memory of data sheets
BEND_PCT = 0.8  # non-linearity and hysteresis between the points; from memory of data sheets
DRIFT_PCT = 0.5  # a year; from memory of data sheets
ICE_K = 0.1  # how well a home-made ice slurry is 0 °C; from memory
SCALE_K = 0.2  # what a thermometer right at 0 °C may be off at 20 K from it; from memory of data sheets
SLOW_H = 6.0
YEAR = timedelta(days=365)
EXAMPLE_C = -10.0


class Point:
    """One jar: salt, its temperature [°C], the raw reading, the true RH and how far both may be off [% RH]."""

    def __init__(self, salt: str, t_c: float, reading_pct: float, spread_k: float):
        self.salt, self.t_c, self.reading_pct = salt, t_c, reading_pct
        self.true_pct, self.published_pct = salts.over(salt, t_c)
        self.thermal_pct = self.true_pct * sat_water_slope_per_k(t_c) * spread_k
        self.uncertain_pct = hypot(self.published_pct, self.thermal_pct, REPEAT_PCT)


class Line:
    """The correction through two points, and what it leaves uncertain."""

    def __init__(self, low: Point, high: Point):
        self.low, self.high = low, high
        self.gain = (high.true_pct - low.true_pct) / (high.reading_pct - low.reading_pct)
        self.offset_pct = low.true_pct - self.gain * low.reading_pct
        self.line_pct = max(self.uncertain_at(rh) for rh in USED_PCT)
        self.tolerance_pct = ceil(10.0 * hypot(self.line_pct, BEND_PCT, DRIFT_PCT) - 1e-9) / 10.0

    def uncertain_at(self, rh_pct: float) -> float:
        """How far the corrected value may be off at rh_pct by the two points alone [% RH]."""
        span = self.high.true_pct - self.low.true_pct
        share = (rh_pct - self.low.true_pct) / span
        return hypot((1.0 - share) * self.low.uncertain_pct, share * self.high.uncertain_pct)

    def settings(self) -> dict:
        """What to write, rounded as it is written."""
        return {
            "rh_offset_pct": round(self.offset_pct, 2),
            "rh_gain": round(self.gain, 4),
            "rh_tolerance_pct": self.tolerance_pct,
        }


def line_of(points: list) -> Line:
    """The correction of two points; InputError where they make none, or the sensor is too far off to be corrected."""
    if len(points) != 2:
        raise InputError(
            f"--point: found {len(points)}, allowed are two, best {' and '.join(salts.RECOMMENDED)}; give two"
        )
    low, high = sorted(points, key=lambda point: point.true_pct)
    if not high.true_pct - low.true_pct >= APART_PCT:
        raise InputError(
            f"--point: {low.salt} and {high.salt} lie {high.true_pct - low.true_pct:.1f} % RH apart, allowed is at "
            "least "
            f"{APART_PCT:g}; use a pair such as {' and '.join(salts.RECOMMENDED)}"
        )
    for point in (low, high):
        if not abs(point.reading_pct - point.true_pct) <= WORST_PCT:
            raise InputError(
                f"--point: {point.salt} gives {point.true_pct:.1f} % RH, found the reading {point.reading_pct:g}, "
                "allowed is within "
                f"{WORST_PCT:g} of it; wait longer, correct swapped readings, or replace the sensor"
            )
    line = Line(low, high)
    for name, value in line.settings().items():
        _, unit, _, lowest, highest = row_of(name)
        if not lowest <= value <= highest:
            raise InputError(
                f"calibrate: {name} would be {value:g}, allowed is {lowest:g} to {highest:g}; correct the "
                "readings, or replace the sensor"
            )
    return line


# What was asked


def run(arguments) -> int:
    """By options, or asking one thing after another where no point was given."""
    us = arguments.units == "us"
    if arguments.table:
        print(salt_sheet(us))
        return 0
    values = {name: _value(arguments, name) for name in RANGES}
    day = _day(arguments.date)
    ice = [read_ice(text) for text in arguments.ice or []]
    if arguments.point or ice:
        points = [read_point(text, values) for text in arguments.point or []]
        line = line_of(points) if points else None
        print(result(line, ice, values["hours"], day, us))
        return 0
    return guided(values, day, us)


def _value(arguments, name: str) -> float:
    text = getattr(arguments, name.replace("-", "_"))
    return DEFAULTS[name] if text is None else quantities.read(f"--{name}", text, RANGES[name])


def _day(text: str | None) -> date:
    if text is None:
        return date.today()
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = date.min
    if not 2000 <= day.year <= 2200:
        raise InputError(f"--date: found {shown(repr(text), 40)}, allowed is a day as YYYY-MM-DD; correct it")
    return day


def read_point(text: str, values: dict) -> Point:
    """SALT:TEMPERATURE:READING; InputError."""
    parts = text.split(":")
    if len(parts) != 3:
        raise InputError(
            f"--point: found {shown(repr(text), 40)}, allowed is SALT:TEMPERATURE:READING, as NaCl:22.5C:77.1; "
            "correct it"
        )
    salt = salts.named(parts[0])
    return point_of(salt, parts[1], parts[2], values)


def point_of(salt: str, temperature: str, reading: str, values: dict) -> Point:
    """A point from what was typed; the reading is taken back to what the sensor itself said."""
    t_c = quantities.read(f"--point {salt}, temperature", temperature, TEMPERATURE)
    shown_pct = quantities.read(f"--point {salt}, reading", reading, READING)
    raw = (shown_pct - values["present-offset"]) / values["present-gain"]
    return Point(salt, t_c, raw, values["spread"])


def read_ice(text: str) -> tuple:
    """(name, reading [°C]) of NAME:READING; InputError."""
    name, colon, reading = text.partition(":")
    if not colon or name not in ICE_SETTINGS:
        raise InputError(
            f"--ice: found {shown(repr(text), 40)}, allowed is NAME:READING with {', '.join(ICE_SETTINGS)}, as "
            "outdoor:0.4C; correct it"
        )
    return name, quantities.read(f"--ice {name}", reading, ICE)


# What is told


def salt_sheet(us: bool) -> Sheet:
    """The salts with values, hazards, and how it is done."""
    sheet = Sheet("Saturated salts for checking a humidity sensor", us)
    steps = [row[0] for row in salts.table()["NaCl"] if row[0] >= TEMPERATURE.lo]
    head = ["Salt"] + [" / ".join(quantities.both(t, "temperature", 0)[:: -1 if us else 1]) for t in steps]
    rows = []
    for salt, values in salts.table().items():
        cells = [f"{rh:.2f} ±{u:.2f}" for t, rh, u in values if t in steps]
        rows.append([salt, *cells])
    sheet.heading("RH in %, with its uncertainty")
    sheet.table(head, rows)
    sheet.text("L. Greenspan 1977, J. Res. NBS 81A, Table 2; rows not seen in print are marked so in the data file.")
    sheet.heading("Which")
    for salt, (name, hazard, use) in salts.KINDS.items():
        sheet.item(f"{salt + ':':<6}", f"{name}. {use[0].upper() + use[1:]}. Hazard: {hazard}.")
    how(sheet)
    return sheet


def how(sheet: Sheet) -> None:
    """Steps and cautions."""
    sheet.heading("How")
    for n, text in enumerate(HOW, 1):
        sheet.item(f"{n}.", text)
    sheet.text(
        "Salts irritate and some are toxic: gloves, labelled jars, away from children, animals and food; wash hands. "
        "No slurry "
        "on the sensor or on any contact. Take the sensor off the board's wires only with the valve branch dead."
    )


HOW = (
    "Stir salt with a few drops of clean water to wet sand: most of it has to stay solid. A finger deep in a small "
    "jar.",
    "Sensor and salt into one airtight jar, the sensor above the salt and not touching it, its wire through a tight "
    "hole.",
    f"Where nothing warms or cools it: no sun, no draught, not on a floor. Wait {DEFAULTS['hours']:g} h; less than "
    f"{SLOW_H:g} h is "
    "seldom enough for a jar (published advice runs from 20 minutes for a bare small sensor to 4 days in a bag).",
    "Read humidity and the temperature beside the salt without opening; again half an hour later: it must not move "
    "by 0.3 %.",
    "The same with the second salt. 0.2 K between sensor and salt is 0.9 % RH at table salt: it is the largest error "
    "here.",
)


def result(line: Line | None, ice: list, hours: float, day: date, us: bool) -> Sheet:
    """Errors, correction, tolerance, settings and the day of the next check."""
    sheet = Sheet("Sensor check", us)
    values: dict = {}
    if line is not None:
        values.update(line.settings())
        _humidity(sheet, line, hours)
        _cost(sheet, line.tolerance_pct)
    for name, reading in ice:
        _ice(sheet, name, reading, values)
    sheet.heading("Write into the board's settings")
    for name, value in values.items():
        sheet.lines.append(f"  {name} = {value:g}")
    if not values:
        sheet.text("Nothing: no setting holds this thermometer's error.")
    sheet.text(
        "The same lines stand under [settings] in the house file, so that replay, card and size agree with the board."
    )
    sheet.heading("Next check")
    sheet.text(
        f"{(day + YEAR).isoformat()}, before the season; at once after smoke, solvents, paint or a soaked sensor."
    )
    return sheet


def _humidity(sheet: Sheet, line: Line, hours: float) -> None:
    sheet.heading("Humidity")
    rows = []
    for point in (line.low, line.high):
        si, us = quantities.both(point.t_c, "temperature", 1)
        off = point.reading_pct - point.true_pct
        rows.append([
            point.salt, us if sheet.us else si, f"{point.true_pct:.2f}", f"{point.reading_pct:.2f}", f"{off:+.2f}",
            f"{point.published_pct:.2f}", f"{point.thermal_pct:.2f}", f"{point.uncertain_pct:.2f}",
        ])  # fmt: skip
    sheet.table(["Salt", "at", "true %", "sensor %", "off by", "salt ±", "warmth ±", "point ±"], rows)
    sheet.row("Correction", f"{line.offset_pct:+.2f} %", f"x {line.gain:.4f}", "RH = offset + gain times reading")
    sheet.row(
        "By the two points",
        f"{line.line_pct:.2f} %",
        "",
        f"uncertain at worst from {USED_PCT[0]:g} to {USED_PCT[1]:g} % RH",
    )
    sheet.row("Bend, hysteresis", f"{BEND_PCT:.2f} %", "", "from memory of data sheets")
    sheet.row("Drift in a year", f"{DRIFT_PCT:.2f} %", "", "from memory of data sheets")
    sheet.row("Tolerance to set", f"{line.tolerance_pct:.1f} %", "", "root of the sum of the squares, rounded up")
    if hours < SLOW_H:
        sheet.text(f"Only {hours:g} h in the jar: read again later. If it still moves, this correction is wrong.")


def _cost(sheet: Sheet, tolerance_pct: float) -> None:
    """What the tolerance costs in the margin, against the default, by the decision code itself."""
    settings = policies.settings_for(housefile.House(), "calibrate")
    default = row_of("rh_tolerance_pct")[2]
    found = []
    for tolerance in (default, tolerance_pct):
        changed = policies.altered(settings, rh_tolerance_pct=tolerance)
        found.append(report_margin.decided_at(changed, housefile.House().house.indoor_c, EXAMPLE_C).terms.plain_pct)
    si, us = quantities.both(EXAMPLE_C, "temperature", 0)
    sheet.row(
        "Target it gives", f"{found[1]:.1f} % RH", "",
        f"a usual house at {us if sheet.us else si}; {found[0]:.1f} with the default of {default:g} %",
    )  # fmt: skip


def _ice(sheet: Sheet, name: str, reading_c: float, values: dict) -> None:
    """A thermometer that read reading_c in ice slurry."""
    sheet.heading(f"Thermometer in ice: {name}")
    needed = ceil(10.0 * (abs(reading_c) + hypot(ICE_K, SCALE_K)) - 1e-9) / 10.0
    sheet.quantity("Off by", reading_c, "difference", 2, f"slurry within {ICE_K:g} K of 0 °C")
    setting = ICE_SETTINGS[name]
    if not setting:
        sheet.text("The settings hold no tolerance for it; more than 1 K off: replace it.")
        return
    highest = row_of(setting)[4]
    if needed > highest:
        raise InputError(
            f"--ice {name}: it reads {reading_c:g} °C off, a tolerance of at most {highest:g} K can hold; "
            "correct the reading, or replace the sensor"
        )
    values[setting] = needed
    sheet.quantity(
        "Tolerance to set", needed, "difference", 1, "the error itself too: a thermometer has no correction here"
    )
    if name == "outdoor" and reading_c > 0.0:
        sheet.text("It reads too warm, which is the side that wets windows: better replace it than allow for it.")


# Guided


def guided(values: dict, day: date, us: bool) -> int:
    """Ask for two jars, then for thermometers; an answer that cannot be is told in one line and asked for again."""
    print(salt_sheet(us))
    print()
    points = []
    for which in ("drier", "more humid"):
        points.append(_ask_point(which, values))
    line = line_of(points)
    ice = []
    while text := _ask("A thermometer in ice slurry, as outdoor:0.4C; nothing to end", lambda text: text, empty=True):
        try:
            ice.append(read_ice(text))
        except InputError as error:
            print(error)
    print()
    print(result(line, ice, values["hours"], day, us))
    return 0


def _ask_point(which: str, values: dict) -> Point:
    usual = salts.RECOMMENDED[0 if which == "drier" else 1]
    salt = _ask(f"Salt of the {which} jar (usually {usual})", salts.named)
    temperature = _ask("Temperature beside it, as 22.5C or 72F", lambda text: _tried(text, "temperature", TEMPERATURE))
    reading = _ask("What the sensor reads, % RH", lambda text: _tried(text, "reading", READING))
    values["hours"] = min(
        values["hours"], _ask("Hours in the closed jar", lambda text: quantities.read("hours", text, RANGES["hours"]))
    )
    return point_of(salt, temperature, reading, values)


def _tried(text: str, what: str, allowed: Range) -> str:
    """The text itself, once it has been found to be allowed."""
    quantities.read(what, text, allowed)
    return text


def _ask(question: str, understand, empty: bool = False):
    """The answer, understood; asks again until it can be. InputError where the answers end."""
    while True:
        print(question + ": ", end="", flush=True)
        text = sys.stdin.readline()
        if not text and not empty:
            raise InputError("calibrate: the answers ended; answer each question, or give --point twice")
        if not text.strip() and empty:
            return ""
        try:
            return understand(text.strip())
        except InputError as error:
            print(error)
