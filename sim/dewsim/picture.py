"""season.svg: the report's season in one picture that stands alone, for a page or a letter to show a winter with."""

from html import escape

from dewsim import charts, figures
from dewsim.units import Units, number

# What the report's style sheet says of the same shapes; black on white, on a dark page too.
STYLE = """
svg { background: #fff; font: 14px Georgia, "Times New Roman", "DejaVu Serif", serif; }
text { fill: #161616; } .e { text-anchor: end; } .h { font-size: 20px; } .t { font-weight: bold; }
.g { stroke: #d4d4d4; fill: none; } .f { stroke: #161616; fill: none; } .l { fill: none; stroke-linejoin: round; }
.band { fill: #dcdcdc; }
"""
HEAD = 62
KEY = 43  # a pane's title, and the samples of its lines below
SAMPLE = 26
LETTER = 7.8  # width of a letter of a key in the widest of the fonts
GAP = 14
EDGE = 12


def season(replay) -> str:
    """The season's outdoor temperature, humidity, and glass against dew point, by the day, as one SVG."""
    units = Units(replay.house.units)
    figure = figures.season_figure(replay, units)
    parts = []
    top = HEAD
    panes = [pane for pane in figure.panes if pane.kind == "lines"]
    for pane in panes:
        parts.append(key(pane, top))
        last = pane is panes[-1]
        height = pane.height + charts.TOP + (charts.AXIS if last else 3)
        drawn = charts.svg(figure, pane, last)
        y = top + KEY - charts.TOP + 4
        place = f'<svg x="0" y="{y}" width="{charts.WIDTH}" height="{height}" overflow="visible" '
        parts.append(drawn.replace('<svg class="static" ', place, 1))
        top += KEY + height + GAP
    title, below = words(replay)
    tall = top + EDGE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-EDGE} 0 {charts.WIDTH + 2 * EDGE} {tall}" role="img" '
        f'aria-label="{escape(title)}">\n<style>{STYLE}</style>\n'
        f'<rect x="{-EDGE}" width="{charts.WIDTH + 2 * EDGE}" height="{tall}" fill="#fff"/>\n'
        f'<text class="h" x="0" y="26">{escape(title)}</text>\n<text x="0" y="48">{escape(below)}</text>\n'
        + "\n".join(parts)
        + "\n</svg>\n"
    )


def words(replay) -> tuple:
    """Title, and the line under it with the figures that matter."""
    policies = replay.result["policies"]
    block, shut = policies[replay.shipped], policies["shut"]
    below = f"Added minutes of wet glass: {block['added_wet_minutes']}. Simulated."
    if block["mean_rh_pct"] is not None:  # there is a heating season
        with_rh, without_rh = number(block["mean_rh_pct"], 1), number(shut["mean_rh_pct"], 1)
        below = f"Mean humidity indoors {with_rh} % RH, without a humidifier {without_rh} %. {below}"
    return f"{replay.house.name}: a winter with the controller", below


def key(pane, top: float) -> str:
    """The pane's title, and below it a sample of each of its lines, in a row."""
    parts = [f'<text class="t" x="0" y="{top + 12}">{escape(pane.title)}</text>']
    x, y = 0.0, top + 31
    for line in pane.lines:
        width, dash, grey = charts.STYLES[line.style]
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<path class="l" stroke="rgb({grey},{grey},{grey})" stroke-width="{width}"{dashes} '
            f'd="M{x:.0f} {y - 4}h{SAMPLE}"/><text x="{x + SAMPLE + 5:.0f}" y="{y}">'
            f"{escape(line.label)}</text>"
        )
        x += SAMPLE + 5 + LETTER * len(line.label) + 12
    return "".join(parts)
