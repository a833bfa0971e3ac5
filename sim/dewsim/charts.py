"""The report's figures: a winter thinned without losing a wet minute, drawn as static SVG and laid out for zooming.

A figure is a list of panes under one time axis; a pane shows columns of a Level.  Both the SVG here and the
script (data/report.js) draw from the same panes, columns and marks.
"""

from datetime import datetime, timezone
from html import escape
from math import ceil, floor, log10
from operator import sub
from typing import NamedTuple

from dewcore.ceiling import BINDS_NAMES
from dewcore.psychro import vapour_from_ratio_pa, wetting_point_c
from dewsim.policies import room_w_g_kg
from dewsim.units import MINUS

HOUR_S = 3600
DAY_S = 86400
WIDTH = 960
LEFT = 92
RIGHT = 8
AXIS = 22  # height of the time labels under a pane
LANE = 20
HOURLY_UP_TO_DAYS = 21  # a shorter record is drawn by the hour, a longer one by the day
SHARES = ("fan", "valve")
NO_WET, OWN_WET, ADDED_WET = 0, 1, 2

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


class Level:
    """Columns of equal steps: values[name][i] belongs to the middle of t0_s + i*step_s (local standard time)."""

    def __init__(self, t0_s: int, step_s: int, values: dict):
        self.t0_s = t0_s
        self.step_s = step_s
        self.values = values
        self.n = len(next(iter(values.values())))

    def time_s(self, i: int) -> float:
        """Middle of step i."""
        return self.t0_s + (i + 0.5) * self.step_s


class Marks(NamedTuple):
    """Wet minutes of one policy: runs [first step, number of steps] of its own house's fog and of added ones."""

    policy: str
    label: str
    own: list
    added: list


class Figure(NamedTuple):
    """panes over start_s..end_s; levels fine to coarse; marks in steps of dt_s since origin_s; values kept to 1/scale."""

    name: str
    panes: list
    levels: list
    start_s: int
    end_s: int
    marks: list
    origin_s: int
    dt_s: int
    scale: int


def edges(course, step_s: int) -> list:
    """Bounds of the buckets of step_s, whole ones of the local clock; the first and last may be cut."""
    first = -(course.start_local_s % step_s) // course.dt_s
    inner = range(first + step_s // course.dt_s, course.n_steps, step_s // course.dt_s)
    return [0, *inner, course.n_steps]


def thin(replay, run, shut, step_s: int) -> Level:
    """The season in buckets: means, extremes, and glass and wetting point at the minute nearest to wet."""
    course = replay.course
    bounds = edges(course, step_s)
    spans = list(zip(bounds, bounds[1:]))

    def means(values, scale: float = 1.0) -> list:
        return [scale * sum(values[a:b]) / (b - a) for a, b in spans]

    values = {
        "outdoor": means(course.outdoor_c),
        "outdoor_lo": [min(course.outdoor_c[a:b]) for a, b in spans],
        "outdoor_hi": [max(course.outdoor_c[a:b]) for a, b in spans],
        "rh": means(run.rh_pct),
        "rh_lo": [min(run.rh_pct[a:b]) for a, b in spans],
        "rh_hi": [max(run.rh_pct[a:b]) for a, b in spans],
        "shut_rh": means(shut.rh_pct),
        "target": means(run.target_pct),
        "ceiling": [min(run.ceiling_pct[a:b]) for a, b in spans],
        "fan": means(course.fan, 100.0),
        "valve": means(run.valve, 100.0 / run.scans_per_step),
    }
    values["glass"], values["wetting"] = nearest_to_wet(course, run.w_g_kg, spans)
    for name, code in binders(replay):
        values["by_" + name] = [100.0 * run.binds[a:b].count(code) / (b - a) for a, b in spans]
    first = course.start_local_s - course.start_local_s % step_s
    return Level(first, step_s, values)


def binders(replay) -> list:
    """(name, code) of what may set the target, as the result names them."""
    shares = replay.result["policies"][replay.result["shipped_policy"]]["binds"]
    return [(name, code) for code, name in enumerate(BINDS_NAMES) if name in shares]


def wetting_c(course, k: int, w_g_kg: float) -> float:
    """Dew or frost point [°C] of the coldest room's air at step k; -80 °C for air without any moisture."""
    pa = vapour_from_ratio_pa(room_w_g_kg(course, k, w_g_kg), course.pressure_pa)
    return wetting_point_c(pa) if pa > 0.1 else -80.0


def nearest_to_wet(course, w_g_kg, spans) -> tuple:
    """Glass and wetting point [°C] of each span's minute nearest to, or furthest past, wet: they meet where wet."""
    over = list(map(sub, w_g_kg, course.wet_w_g_kg))
    over[0] = -1.0e9  # the start is no result
    glass, wetting = [], []
    for a, b in spans:
        span = over[a:b]
        k = a + span.index(max(span))
        glass.append(course.glass_c[k])
        wetting.append(wetting_c(course, k, w_g_kg[k]))
    return glass, wetting


def minutes(replay, run, shut, first: int, end: int) -> Level:
    """Every step from first up to end."""
    course = replay.course
    whole = slice(first, end)
    scale = 100.0 / run.scans_per_step
    values = {
        "outdoor": course.outdoor_c[whole],
        "rh": run.rh_pct[whole],
        "shut_rh": shut.rh_pct[whole],
        "target": run.target_pct[whole],
        "ceiling": run.ceiling_pct[whole],
        "glass": course.glass_c[whole],
        "wetting": [wetting_c(course, k, run.w_g_kg[k]) for k in range(first, end)],
        "fan": [100.0 * on for on in course.fan[whole]],
        "valve": [scale * scans for scans in run.valve[whole]],
    }
    return Level(course.start_local_s + first * course.dt_s, course.dt_s, values)


def coldest_window(course) -> tuple:
    """(first, end, coldest) steps: noon to noon around the lowest outdoor temperature, as far as there is data."""
    outdoor_c = course.outdoor_c[: course.n_steps]
    coldest = outdoor_c.index(min(outdoor_c))
    since_noon_s = (course.start_local_s + coldest * course.dt_s - DAY_S // 2) % DAY_S
    first = coldest - since_noon_s // course.dt_s
    end = first + DAY_S // course.dt_s
    return max(0, first), min(course.n_steps, end), coldest


def wet_marks(replay) -> list:
    """Marks of every policy; no run is thinned away."""
    wet = replay.course.wet_w_g_kg
    shut = replay.runs["shut"].w_g_kg
    found = []
    for name, run in replay.runs.items():
        own, added = [], []
        before, last = -2, NO_WET
        steps = [k for k, (w, x) in enumerate(zip(run.w_g_kg, wet)) if w >= x and k]
        for k in steps:
            kind = OWN_WET if shut[k] >= wet[k] else ADDED_WET
            runs = own if kind == OWN_WET else added
            if k == before + 1 and kind == last:
                runs[-1][1] += 1
            else:
                runs.append([k, 1])
            before, last = k, kind
        found.append(Marks(name, name.replace("plain_no_margin", "no margin"), own, added))
    return found


# Scales


def bounds_of(series: list, least: float = 5.0) -> tuple:
    """Round lower and upper ends that hold all the series' values."""
    low = min(min(values) for values in series)
    high = max(max(values) for values in series)
    step = tick_step(max(high - low, least))
    return floor(low / step) * step, ceil((high + 1e-9) / step) * step


def tick_step(span: float) -> float:
    """1, 2 or 5 times a power of ten: three to six of them in span."""
    unit = 10.0 ** floor(log10(span / 4.0))
    return next(unit * m for m in (1, 2, 5, 10) if span / (unit * m) <= 6.0)


def ticks(low: float, high: float) -> list:
    """Round values from low to high."""
    step = tick_step(high - low)
    first = ceil(low / step - 1e-9)
    return [step * i for i in range(first, floor(high / step + 1e-9) + 1)]


def time_ticks(start_s: int, end_s: int) -> list:
    """(second, label) of month starts, days or three-hour marks, whatever suits the span."""
    span = end_s - start_s
    found = []
    if span > 60 * DAY_S:
        moment = datetime.fromtimestamp(start_s, timezone.utc)
        year, month = moment.year, moment.month
        while True:
            second = int(datetime(year, month, 1, tzinfo=timezone.utc).timestamp())
            if second > end_s:
                return found
            if second >= start_s:
                found.append((second, f"{datetime(year, month, 1):%B}"))
            year, month = year + month // 12, month % 12 + 1
    step = 3 * HOUR_S if span <= 2 * DAY_S else DAY_S * max(1, round(span / DAY_S / 10))
    for second in range(start_s - start_s % step, end_s + 1, step):
        if second >= start_s:
            moment = datetime.fromtimestamp(second, timezone.utc)
            text = f"{moment:%H:%M}" if step < DAY_S else f"{moment.day} {moment:%b}"
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
        f'<svg class="static" viewBox="0 0 {WIDTH} {total}" role="img" aria-label="{escape(pane.title)}">'
        + "".join(parts)
        + frame
        + "</svg>"
    )


def _svg_lines(pane: Pane, level: Level, x) -> list:
    per_unit = pane.height / (pane.high - pane.low)

    def y(value: float) -> float:
        return min(max(pane.height - (value - pane.low) * per_unit, -2.0), pane.height + 2.0)

    parts = []
    for value in ticks(pane.low, pane.high):
        at = y(value)
        text = f"{value:g}".replace("-", MINUS)
        parts.append(f'<path class="g" d="M{LEFT} {at:.1f}H{WIDTH - RIGHT}"/>')
        parts.append(f'<text class="e" x="{LEFT - 6}" y="{min(max(at + 5, 12), pane.height):.1f}">{text}</text>')
    if pane.band and pane.band[0] in level.values:
        low, high = (level.values[name] for name in pane.band)
        there = [(x(level.time_s(i)), y(high[i])) for i in range(level.n)]
        back = [(x(level.time_s(i)), y(low[i])) for i in range(level.n - 1, -1, -1)]
        parts.append(f'<path class="band" d="{path(there + back)}Z"/>')
    for line in pane.lines:
        values = level.values[line.column]
        width, dash, grey = STYLES[line.style]
        points = [(x(level.time_s(i)), y(values[i])) for i in range(level.n)]
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<path class="l" stroke="rgb({grey},{grey},{grey})" stroke-width="{width}"{dashes} d="{path(points)}"/>'
        )
    return parts


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
            if values[i] > 0:
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
    """The figure as plain lists and scaled whole numbers for JSON; runs of marks as gap, length, gap, length..."""
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
            {"policy": m.policy, "label": m.label, "own": _gaps(m.own), "added": _gaps(m.added)} for m in figure.marks
        ],
    }


def _pane(pane: Pane) -> dict:
    return {**pane._asdict(), "lines": [line._asdict() for line in pane.lines]}


def _columns(level: Level, scale: int) -> dict:
    """{name: [scale, whole numbers]}; shares in whole percent."""
    columns = {}
    for name, values in level.values.items():
        times = 1 if name in SHARES or name.startswith("by_") else scale
        columns[name] = [times, [round(value * times) for value in values]]
    return columns


def _gaps(runs: list) -> list:
    out = []
    at = 0
    for first, steps in runs:
        out += [first - at, steps]
        at = first + steps
    return out
