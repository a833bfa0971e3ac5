"""What a figure of the report is, its static SVG drawing, and its data for the script that makes it zoomable.

A figure is a list of panes under one time axis; a pane shows columns of a Level.  Both the SVG here and the
script (data/report.js) draw from the same panes, columns and marks.
"""

from datetime import UTC, datetime
from html import escape
from math import ceil, floor, log10
from typing import NamedTuple

from dewsim.thinning import DAY_S, HOUR_S, Level
from dewsim.units import MINUS

WIDTH = 960
LEFT = 92
RIGHT = 8
TOP = 9  # room for the uppermost value's label
AXIS = 22  # height of the time labels under a pane
LANE = 20
SHARES = ("fan", "valve")

# name: (stroke width, dash pattern, grey 0..255); told apart by width and dash alone
STYLES = {
    "strong": (1.9, "", 20),
    "thin": (1.0, "", 20),
    "dash": (1.5, "7 4", 20),
    "dot": (1.5, "1.5 3", 20),
    "dashdot": (1.3, "9 3 2 3", 20),
    "pale": (2.6, "", 150),
}


class Line(NamedTuple):
    """One column drawn in a pane: a line in `style`, or a lane of shares 0..100."""

    column: str
    label: str
    style: str = "thin"
    unit: str = ""
    places: int = 1


class Pane(NamedTuple):
    """kind "lines" (low..high on the y axis, band: two columns filled between), "lanes" or "marks"."""

    kind: str
    title: str
    height: int
    lines: list
    low: float = 0.0
    high: float = 100.0
    band: tuple = ()


class Figure(NamedTuple):
    """panes over start_s..end_s; levels fine to coarse; marks in steps of dt_s from origin_s.

    scale: values are embedded as whole numbers of 1/scale.
    """

    name: str
    panes: list
    levels: list
    start_s: int
    end_s: int
    marks: list
    origin_s: int
    dt_s: int
    scale: int


# Scales


def bounds_of(series: list, least: float = 5.0) -> tuple:
    """Round lower and upper ends that hold all the series' values; None in them is a gap."""
    known = [value for values in series for value in values if value is not None] or [0.0]
    low, high = min(known), max(known)
    step = tick_step(max(high - low, least))
    return floor(low / step) * step, ceil((high + 1e-9) / step) * step


def tick_step(span: float, most: int = 6) -> float:
    """1, 2 or 5 times a power of ten, the smallest of which no more than `most` (1..9) fit into span."""
    unit = 10.0 ** floor(log10(span / most))
    return next(unit * m for m in (1, 2, 5, 10) if span / (unit * m) <= most + 1e-9)


def ticks(low: float, high: float, most: int = 6) -> list:
    """Round values from low to high, most + 1 of them at most."""
    step = tick_step(high - low, most)
    first = ceil(low / step - 1e-9)
    return [step * i for i in range(first, floor(high / step + 1e-9) + 1)]


def time_ticks(start_s: int, end_s: int) -> list:
    """(second, label) of month starts, days or three-hour marks, whatever suits the span."""
    span = end_s - start_s
    found = []
    if span > 60 * DAY_S:
        moment = datetime.fromtimestamp(start_s, UTC)
        year, month = moment.year, moment.month
        while True:
            second = int(datetime(year, month, 1, tzinfo=UTC).timestamp())
            if second > end_s:
                return found
            if second >= start_s:
                found.append((second, f"{datetime(year, month, 1):%B}"))
            year, month = year + month // 12, month % 12 + 1
    step = 3 * HOUR_S if span <= 2 * DAY_S else DAY_S * max(1, round(span / DAY_S / 10))
    for second in range(start_s - start_s % step, end_s + 1, step):
        if second >= start_s:
            moment = datetime.fromtimestamp(second, UTC)
            clock = moment.hour or moment.minute
            text = f"{moment:%H:%M}" if clock else f"{moment.day} {moment:%b}"
            found.append((second, text))
    return found


# SVG


def svg(figure: Figure, pane: Pane, last: bool) -> str:
    """One pane as inline SVG, WIDTH wide; the time labels only where `last`."""
    height = pane.height
    inner = WIDTH - LEFT - RIGHT
    per_s = inner / (figure.end_s - figure.start_s)
    parts = []

    def x(second: float) -> float:
        return LEFT + (second - figure.start_s) * per_s

    for second, label in time_ticks(figure.start_s, figure.end_s):
        at = x(second)
        parts.append(f'<path class="g" d="M{at:.1f} 0V{height}"/>')
        if last and at < WIDTH - 40:
            parts.append(f'<text x="{at + 3:.1f}" y="{height + 17}">{label}</text>')
    level = figure.levels[-1]
    if pane.kind == "lines":
        parts += _svg_lines(pane, level, x)
    elif pane.kind == "lanes":
        parts += _svg_lanes(pane, level, x)
    else:
        parts += _svg_marks(figure, x)
    frame = f'<path class="f" d="M{LEFT} 0V{height}H{WIDTH - RIGHT}"/>'
    total = height + (AXIS if last else 3)
    return (
        f'<svg class="static" viewBox="0 {-TOP} {WIDTH} {total + TOP}" role="img" '
        f'aria-label="{escape(pane.title)}">' + "".join(parts) + frame + "</svg>"
    )


def _svg_lines(pane: Pane, level: Level, x) -> list:
    per_unit = pane.height / (pane.high - pane.low)

    def y(value: float) -> float:
        return min(max(pane.height - (value - pane.low) * per_unit, -2.0), pane.height + 2.0)

    parts = []
    for value in ticks(pane.low, pane.high, pane.height // 22):
        at = y(value)
        text = f"{value:g}".replace("-", MINUS)
        parts.append(f'<path class="g" d="M{LEFT} {at:.1f}H{WIDTH - RIGHT}"/>')
        parts.append(f'<text class="e" x="{LEFT - 6}" y="{at + 5:.1f}">{text}</text>')
    if pane.band and pane.band[0] in level.values:
        low, high = (level.values[name] for name in pane.band)
        shape = ""
        for a, b in known_spans(high):
            there = [(x(level.time_s(i)), y(high[i])) for i in range(a, b)]
            back = [(x(level.time_s(i)), y(low[i])) for i in range(b - 1, a - 1, -1)]
            shape += path(there + back) + "Z"
        parts.append(f'<path class="band" d="{shape}"/>')
    for line in pane.lines:
        values = level.values[line.column]
        width, dash, grey = STYLES[line.style]
        drawn = "".join(
            path([(x(level.time_s(i)), y(values[i])) for i in range(a, b)]) for a, b in known_spans(values)
        )
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<path class="l" stroke="rgb({grey},{grey},{grey})" stroke-width="{width}"{dashes} '
            f'd="{drawn}"/>'
        )
    return parts


def known_spans(values: list) -> list:
    """(first, end) of each stretch without a gap (None)."""
    spans = []
    for i, value in enumerate(values):
        if value is None:
            continue
        if spans and spans[-1][1] == i:
            spans[-1][1] = i + 1
        else:
            spans.append([i, i + 1])
    return spans


def path(points: list) -> str:
    """SVG path data through points, in tenths, without points on a level stretch."""
    out = []
    last = len(points) - 1
    for i, (px, py) in enumerate(points):
        if 0 < i < last and abs(points[i - 1][1] - py) < 0.05 and abs(points[i + 1][1] - py) < 0.05:
            continue
        out.append(f"{px:.1f} {py:.1f}")
    return "M" + "L".join(out)


def _svg_lanes(pane: Pane, level: Level, x) -> list:
    parts = []
    for row, line in enumerate(pane.lines):
        base = (row + 1) * pane.height / len(pane.lines) - 2
        tall = pane.height / len(pane.lines) - 5
        parts.append(f'<text class="e" x="{LEFT - 6}" y="{base - 2:.1f}">{escape(line.label)}</text>')
        parts.append(f'<path class="g" d="M{LEFT} {base:.1f}H{WIDTH - RIGHT}"/>')
        shape = []
        values = level.values[line.column]
        i = 0
        while i < level.n:
            j = i + 1
            while j < level.n and values[j] == values[i]:
                j += 1
            if values[i] is not None and values[i] > 0:
                left = x(level.t0_s + i * level.step_s)
                wide = x(level.t0_s + j * level.step_s) - left
                up = tall * values[i] / 100.0
                shape.append(f"M{left:.1f} {base:.1f}v{-up:.1f}h{wide:.1f}v{up:.1f}z")
            i = j
        parts.append(f'<path class="bar" d="{"".join(shape)}"/>')
    return parts


def _svg_marks(figure: Figure, x) -> list:
    """Added wet minutes as full strokes, the house's own as half strokes, at least one and a half wide."""
    parts = []
    for row, marks in enumerate(figure.marks):
        base = (row + 1) * LANE - 2
        parts.append(f'<text class="e" x="{LEFT - 6}" y="{base - 2}">{escape(marks.label)}</text>')
        parts.append(f'<path class="g" d="M{LEFT} {base}H{WIDTH - RIGHT}"/>')
        if not marks.own and not marks.added:
            parts.append(f'<text class="none" x="{LEFT + 6}" y="{base - 4}">none</text>')
        for kind, runs, tall in (("own", marks.own, 6), ("added", marks.added, LANE - 5)):
            shape = "".join(_mark(figure, x, first, steps, base, tall) for first, steps in runs)
            parts.append(f'<path class="wet {kind}" data-policy="{marks.policy}" d="{shape}"/>')
    return parts


def _mark(figure: Figure, x, first: int, steps: int, base: int, tall: int) -> str:
    left = x(figure.origin_s + first * figure.dt_s)
    right = x(figure.origin_s + (first + steps) * figure.dt_s)
    if right < LEFT or left > WIDTH - RIGHT:
        return ""
    left, right = max(left, LEFT), min(right, WIDTH - RIGHT)
    wide = max(right - left, 1.5)
    return f"M{left:.1f} {base}v-{tall}h{wide:.1f}v{tall}z"


# Data for the script


def data(figure: Figure) -> dict:
    """The figure as lists of scaled whole numbers for JSON; runs of marks as gap, length, gap, length..."""
    return {
        "start": figure.start_s,
        "end": figure.end_s,
        "origin": figure.origin_s,
        "dt": figure.dt_s,
        "levels": [
            {"t0": level.t0_s, "step": level.step_s, "n": level.n, "columns": _columns(level, figure.scale)}
            for level in figure.levels
        ],
        "panes": [_pane(pane) for pane in figure.panes],
        "marks": [
            {"policy": m.policy, "label": m.label, "own": _gaps(m.own), "added": _gaps(m.added)}
            for m in figure.marks
        ],
    }


def _pane(pane: Pane) -> dict:
    return {**pane._asdict(), "lines": [line._asdict() for line in pane.lines]}


def _columns(level: Level, scale: int) -> dict:
    """{name: [scale, whole numbers]}; shares in whole percent."""
    columns = {}
    for name, values in level.values.items():
        times = 1 if name in SHARES or name.startswith("by_") else scale
        columns[name] = [times, [None if value is None else round(value * times) for value in values]]
    return columns


def _gaps(runs: list) -> list:
    out = []
    at = 0
    for first, steps in runs:
        out += [first - at, steps]
        at = first + steps
    return out
