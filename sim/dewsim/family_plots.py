"""How the houses of a run are spread, drawn: shares of `best` house by house, and added wet minutes over headroom."""

from html import escape

from dewsim import charts, family_table
from dewsim.units import number

WIDTH, HEIGHT = 460, 230
LEFT, RIGHT, TOP, BOTTOM = 46, 16, 9, 40
LINES = {"plain": "pale", "none": "dash", "forecast": "strong"}
LABELS = {"plain": "plain reset", "none": "looking ahead, no forecast", "forecast": "looking ahead, forecast"}
REGIMES = {
    "exact": "exact sensors",
    "erring": "sensors err within their tolerances",
    "corner": "every sensor at the bad end",
}
LEAST_SCALE_MIN = 10.0  # of added wet minutes, so that none at all looks like none
LEAST_HOUSES = 2  # for a distribution


def shares_figure(cases: list) -> str:
    """For each class and regime the houses in the order of their share of `best`, a line for each policy; HTML."""
    parts = []
    for group in family_table.GROUPS:
        members = [case for case in cases if family_table.group_of(case) == group]
        if len(members) >= LEAST_HOUSES:
            for regime in REGIMES:
                names = [policy for r, policy in family_table.pairs(members) if r == regime]
                if names:
                    parts.append(shares_panel(f"{group}: {REGIMES[regime]}", members, regime, names))
    return "".join(parts)


def shares_panel(title: str, cases: list, regime: str, names: list) -> str:
    """One panel of shares_figure."""
    columns = {
        name: sorted(family_table.share_pct(case, case["runs"][regime][name]) for case in cases) for name in names
    }
    low = min(0.0, min(min(values) for values in columns.values()))
    high = max(100.0, max(max(values) for values in columns.values()))
    axes = Axes(0.0, 100.0, *charts.bounds_of([[low, high]], 20.0))
    lines = []
    for name, values in columns.items():
        width, dash, grey = charts.STYLES[LINES[name]]
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        path = "".join(
            f"{'L' if i else 'M'}{axes.x(100.0 * i / (len(values) - 1)):.1f} {axes.y(value):.1f}"
            for i, value in enumerate(values)
        )
        lines.append(f'<path class="l" stroke="rgb({grey},{grey},{grey})" stroke-width="{width}"{dashes} d="{path}"/>')
    key = " ".join(f'<span class="k">{sample(LINES[name])}{LABELS[name]}</span>' for name in names)
    drawing = axes.svg("".join(lines), "houses, % of them, from least to most", f"Share of best, %: {title}")
    return panel(f"{title} ({len(cases)} houses)", key, drawing)


def wet_figure(cases: list, regime: str, policy: str) -> str:
    """Each house's counted added wet minutes over its headroom ratio R; HTML, empty without such runs."""
    found = [case for case in cases if policy in case["runs"].get(regime, {})]
    if not found:
        return ""
    dots = [(case["R"], family_table.counted_minutes(case["runs"][regime][policy])) for case in found]
    right = min(2.0, max(1.1, max(r for r, _ in dots)))
    axes = Axes(
        *charts.bounds_of([[min(r for r, _ in dots), right]], 0.2),
        *charts.bounds_of([[0.0, max(LEAST_SCALE_MIN, max(m for _, m in dots))]]),
    )
    marks = "".join(
        f'<circle cx="{axes.x(min(r, right)):.1f}" cy="{axes.y(minutes):.1f}" r="{2.6 if minutes else 1.6}"/>'
        for r, minutes in dots
    )
    title = f"{LABELS[policy]}, {REGIMES[regime]}"
    drawing = axes.svg(marks, "R, the shut house's highest share of what wets the glass", f"Added wet minutes: {title}")
    return panel(f"Added wet minutes: {title}", "", drawing)


def panel(title: str, key: str, drawing: str) -> str:
    """A titled drawing."""
    return f'<div class="pane"><p class="key lines"><b>{escape(title)}</b> {key}</p>{drawing}</div>\n'


def sample(style: str) -> str:
    """A short piece of a line, for the key."""
    width, dash, grey = charts.STYLES[style]
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<svg class="s" viewBox="0 0 26 12" aria-hidden="true"><path class="l" stroke="rgb({grey},{grey},{grey})" '
        f'stroke-width="{width}"{dashes} d="M0 6h26"/></svg>'
    )


class Axes:
    """Two plain axes: values to places, grid and labels."""

    def __init__(self, left: float, right: float, low: float, high: float):
        self.left, self.right, self.low, self.high = left, right, low, high

    def x(self, value: float) -> float:
        """Place of a value across."""
        return LEFT + (WIDTH - LEFT - RIGHT) * (value - self.left) / (self.right - self.left)

    def y(self, value: float) -> float:
        """Place of a value up."""
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (value - self.low) / (self.high - self.low)

    def svg(self, marks: str, across: str, title: str) -> str:
        """The drawing; title: what a reader who does not see it is told."""
        bottom = HEIGHT - BOTTOM
        parts = []
        for value in charts.ticks(self.left, self.right, 5):
            at = self.x(value)
            places = 0 if self.right - self.left > 5.0 else 1 if self.right - self.left > 1.0 else 2
            parts.append(
                f'<path class="g" d="M{at:.1f} {TOP}V{bottom}"/>'
                f'<text x="{at:.1f}" y="{bottom + 17}" text-anchor="middle">{number(value, places)}</text>'
            )
        for value in charts.ticks(self.low, self.high, 5):
            at = self.y(value)
            parts.append(
                f'<path class="g" d="M{LEFT} {at:.1f}H{WIDTH - RIGHT}"/>'
                f'<text class="e" x="{LEFT - 6}" y="{at + 4:.1f}">{number(value, 0)}</text>'
            )
        frame = f'<path class="f" d="M{LEFT} {TOP}V{bottom}H{WIDTH - RIGHT}"/>'
        under = f'<text x="{(LEFT + WIDTH) / 2:.0f}" y="{HEIGHT - 5}" text-anchor="middle">{escape(across)}</text>'
        return (
            f'<svg class="static" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(title)}">'
            f'{"".join(parts)}{frame}{marks}{under}</svg>'
        )
