"""`dewmargin calibrate`: a humidity sensor at two salts, a thermometer in ice; what to write into the settings.

Correction: the straight line through two points, RH = rh_offset_pct + rh_gain * reading.  What is left uncertain
becomes rh_tolerance_pct, and so part of the margin: the line's own uncertainty at the worst humidity of use, the
sensor's bend and hysteresis, and its drift until the next check, as the root of the sum of squares (JCGM 100:2008,
eq. 10, bounds taken as the margin takes them).  A thermometer in ice gives its offset; what is left uncertain of it
becomes its tolerance.
"""

import sys
from datetime import date, timedelta
from math import ceil, hypot

from dewcore.psychro import sat_water_slope_per_k
from dewcore.settings import Settings, row_of
from dewcore.words import signed
from dewsim import calibrate_board, housefile, policies, quantities, report_margin, salts
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
THERMOMETERS = ("indoor", "outdoor", "glass", "room", "supply")
OFFSET = Range("difference", *row_of("outdoor_offset_k")[3:])  # the same bounds for each
SUPPLY_K = 1.0  # a supply thermometer proves warm air by 8 K above return: so much matters little
APART_PCT = 20.0  # two points nearer than this make no line
WORST_PCT = 10.0  # a sensor farther off is broken or not yet in equilibrium
USED_PCT = (15.0, 45.0)  # where targets lie
REPEAT_PCT = 0.3  # a reading's own scatter; from memory of data sheets
BEND_PCT = 0.8  # non-linearity and hysteresis between the points; from memory of data sheets
DRIFT_PCT = 0.5  # a year; from memory of data sheets
ICE_K = 0.1  # how well a home-made ice slurry is 0 °C; from memory
SCALE_K = 0.2  # what a thermometer right at 0 °C may be off at 20 K from it; from memory of data sheets
ICE_LEFT_K = ceil(10.0 * hypot(ICE_K, SCALE_K) - 1e-9) / 10.0
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
    """By options, or asking one thing after another where no point was given; then onto the board, where one is."""
    us = arguments.units == "us"
    if arguments.table:
        print(salt_sheet(us))
        return 0
    values = {name: _value(arguments, name) for name in RANGES}
    day = _day(arguments.date)
    before = _stored_on(arguments, values) if arguments.port is not None else None
    ice = [read_ice(text, before) for text in arguments.ice or []]
    points = [read_point(text, values) for text in arguments.point or []]
    if not points and not ice:
        points, ice = guided(values, before, us)
    line = line_of(points) if points else None
    changes = settings_of(line, ice)
    print(result(line, ice, changes, values["hours"], day, us))
    if before is not None and changes:
        calibrate_board.offer(arguments.port, before, changes)
    return 0


def _stored_on(arguments, values: dict) -> Settings:
    """The board's settings, by which it corrected what it showed; into `values` too."""
    for name in ("present-offset", "present-gain"):
        if getattr(arguments, name.replace("-", "_")) is not None:
            raise InputError(f"--{name}: not beside --port, the board tells its own; leave it out")
    before = calibrate_board.read(arguments.port)
    values["present-offset"], values["present-gain"] = before.rh_offset_pct, before.rh_gain
    print(f"The board at {arguments.port} runs on; its present corrections are taken off what you read from it.")
    return before


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


def read_ice(text: str, before: "Settings | None") -> tuple:
    """(name, what the thermometer itself read in ice [°C]) of NAME:READING or NAME:READING:OFFSET; InputError.

    The offset is the board's setting while it was read; where the board is asked, it tells its own.
    """
    name, *parts = text.split(":")
    if name not in THERMOMETERS or len(parts) not in (1, 2):
        raise InputError(
            f"--ice: found {shown(repr(text), 40)}, allowed is NAME:READING with {', '.join(THERMOMETERS)}, as "
            "outdoor:0.4C; correct it"
        )
    shown_c = quantities.read(f"--ice {name}", parts[0], ICE)
    if len(parts) == 1:
        return name, shown_c - getattr(before, name + "_offset_k", 0.0)
    if before is not None or name == "supply":
        why = "the board tells its own" if before is not None else "it has none"
        raise InputError(f"--ice {name}: found an offset, {why}; leave it out")
    return name, shown_c - quantities.read(f"--ice {name}, offset", parts[1], OFFSET)


def settings_of(line: Line | None, ice: list) -> dict:
    """What to write: correction and tolerance of the humidity, offset and tolerance of each thermometer in ice."""
    values = line.settings() if line is not None else {}
    names = [name for name, _ in ice]
    for name, error_c in ice:
        if names.count(name) > 1:
            raise InputError(f"--ice: {name} is given twice; leave one of them out")
        highest = SUPPLY_K if name == "supply" else OFFSET.hi
        if not abs(error_c) <= highest:
            raise InputError(
                f"--ice {name}: it reads {error_c:.1f} K ({1.8 * error_c:.1f} °F) off, allowed is {highest:g} K "
                f"({1.8 * highest:.1f} °F); correct the reading, or replace the sensor"
            )
        if name != "supply":
            values[name + "_offset_k"] = round(0.0 - error_c, 2)
        if name in ("indoor", "outdoor"):
            values[name + "_tolerance_k"] = ICE_LEFT_K
    return values


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
    sheet.text("L. Greenspan 1977, J. Res. NBS 81A, Table 2; what was not seen in print is marked so in the data file.")
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


ICE_HOW = (
    "Crushed ice of clean water in a jar, with just the water that fills its gaps, stirred: more ice than water.",
    "The thermometer in a thin bag deep in the middle; ten minutes, stirred again. It must not move by 0.1 K.",
    "Read it on the board's page. The outdoor figure there falls at once and rises slowly: begin with it warm.",
)


def result(line: Line | None, ice: list, values: dict, hours: float, day: date, us: bool) -> Sheet:
    """Errors, correction, tolerance, settings and the day of the next check."""
    sheet = Sheet("Sensor check", us)
    if line is not None:
        _humidity(sheet, line, hours)
        _cost(sheet, line.tolerance_pct)
    for name, error_c in ice:
        _ice(sheet, name, error_c)
    sheet.heading("Write into the board's settings")
    for name, value in values.items():
        sheet.lines.append(f"  {name} = {value:g}")
    if not values:
        sheet.text("Nothing: a supply thermometer has no correction, its proof of 8 K stands so little off.")
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
            point.salt, us if sheet.us else si, f"{point.true_pct:.2f}", f"{point.reading_pct:.2f}",
            signed(f"{off:+.2f}"), f"{point.published_pct:.2f}", f"{point.thermal_pct:.2f}",
            f"{point.uncertain_pct:.2f}",
        ])  # fmt: skip
    sheet.table(["Salt", "at", "true %", "sensor %", "off by", "salt ±", "warmth ±", "point ±"], rows)
    offset = signed(f"{line.offset_pct:+.2f} %")
    sheet.row("Correction", offset, f"x {line.gain:.4f}", "RH = offset + gain times reading")
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


def _ice(sheet: Sheet, name: str, error_c: float) -> None:
    """A thermometer that itself read error_c in ice slurry."""
    sheet.heading(f"Thermometer in ice: {name}")
    sheet.quantity("Off by", error_c, "difference", 2, f"slurry within {ICE_K:g} K of 0 °C; from memory")
    if name == "supply":
        return
    sheet.quantity("Correction", 0.0 - error_c, "difference", 2, "added to each reading")
    left = f"the slurry, and {SCALE_K:g} K at 20 K from it: from memory of data sheets"
    if name in ("indoor", "outdoor"):
        sheet.quantity("Tolerance to set", ICE_LEFT_K, "difference", 1, left)
    else:
        sheet.text(f"No tolerance of its own; what is left is about {ICE_LEFT_K:g} K.")
    if error_c > 0.0 and name != "indoor":
        sheet.text("It read too warm, which is the side that wets windows.")


# Guided


def guided(values: dict, before: "Settings | None", us: bool) -> tuple:
    """(two points, thermometers): asks for two jars, then for ice; an answer that cannot be is asked for again."""
    print(salt_sheet(us))
    print()
    points = [_ask_point(which, values) for which in ("drier", "more humid")]
    line_of(points)  # what makes no line is told before anybody stirs ice
    ice: list = []
    print()
    sheet = Sheet("Thermometers in ice", us)
    for n, text in enumerate(ICE_HOW, 1):
        sheet.item(f"{n}.", text)
    print(sheet)

    def more(text: str) -> list:
        found = [*ice, read_ice(text, before)]
        settings_of(None, found)
        return found

    while found := _ask("A thermometer in ice slurry, as outdoor:0.4C; nothing to end", more, empty=True):
        ice = found
    print()
    return points, ice


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
