"""report.html: a replay as one self-contained page, for paper, phone, no colour and no script."""

import json
from datetime import UTC, datetime
from html import escape
from importlib import resources
from pathlib import Path

from dewsim import charts, figures, floor, thinning
from dewsim import report_ahead as ahead
from dewsim import report_logged as logged
from dewsim import report_margin as margins
from dewsim import report_tables as tables
from dewsim.charts import Figure
from dewsim.units import Units, minutes_text, number

CHECKOUT = Path(__file__).resolve().parents[2]
SECTIONS = (
    ("logged", "Beside what was logged"),
    ("policies", "What each way of running it would have done"),
    ("ahead", "What looking ahead gained"),
    ("season", "The season"),
    ("night", "The coldest night"),
    ("floor", "The floor"),
    ("margin", "What caution costs"),
    ("reasons", "What set the target, and why the valve was shut"),
    ("settings", "Settings"),
    ("assumed", "What was assumed"),
    ("cautions", "Before wiring or trusting anything"),
)


def render(replay) -> str:
    """The whole page for a replay that has run: no other file, no network; HTML of at most about 1 MB."""
    units = Units(replay.house.units)
    drawn = [
        figures.season_figure(replay, units),
        figures.night_figure(replay, units),
        figures.floor_figure(replay),
    ]
    bodies = {
        "logged": logged.section(replay, units) if replay.beside else "",
        "policies": tables.policies(replay, units),
        "ahead": "",
        "season": season(replay, units, drawn[0]),
        "night": night(replay, units, drawn[1]),
        "floor": floor_section(replay, units, drawn[2]),
        "margin": margins.margin(replay, units),
        "reasons": margins.reasons(replay),
        "settings": tables.settings(replay, units),
        "assumed": tables.assumed(replay, units),
        "cautions": tables.cautions_list(),
    }
    if "outlook" in replay.runs:
        drawn.append(ahead.figure(replay, units))
        bodies["ahead"] = ahead.section(replay, units, drawn[-1])
    shown = [(name, title) for name, title in SECTIONS if bodies[name]]
    links = "".join(f'<li><a href="#{name}">{title}</a></li>' for name, title in shown)
    sections = "".join(
        f'<section id="{name}" aria-labelledby="h-{name}"><h2 '
        f'id="h-{name}">{title}</h2>\n{bodies[name]}\n</section>\n'
        for name, title in shown
    )
    return page(f"{replay.house.name}: a winter with the controller", head(replay), links, sections, drawn)


def page(title: str, top: str, links: str, sections: str, drawn: list) -> str:
    """The frame: style, text, embedded data and script."""
    payload = {"styles": charts.STYLES, "figures": {f.name: charts.data(f) for f in drawn}}
    embedded = json.dumps(payload, separators=(",", ":")).replace("<", "\\u003c")
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; \
script-src 'unsafe-inline'; img-src data:">
<link rel="icon" href="data:,">
<title>{escape(title)}</title>
<style>
{vendored("uPlot.min.css")}
{own("report.css")}
</style>
</head>
<body>
<main>
{top}
<nav aria-label="Contents"><ol>{links}</ol></nav>
{sections}</main>
<script type="application/json" id="data">{embedded}</script>
<script>
/* uPlot 1.6.32, used unmodified. {vendored("LICENSE").replace("*/", "* /")} */
{script(vendored("uPlot.iife.min.js"))}
</script>
<script>
{script(own("report.js"))}
</script>
</body>
</html>
"""


def own(name: str) -> str:
    """A text file of this package's data folder."""
    return (resources.files("dewsim") / "data" / name).read_text("utf-8")


def vendored(name: str) -> str:
    """A file of the chart library: from the installed package, else from the checkout's vendor folder."""
    try:
        return (resources.files("dewsim.vendor.uplot") / name).read_text("utf-8")
    except ModuleNotFoundError:
        return (CHECKOUT / "vendor" / "uplot" / name).read_text("utf-8")


def script(text: str) -> str:
    """Script text that cannot end its own element (HTML Standard, restrictions for script contents)."""
    return text.replace("</script", "<\\/script").replace("<!--", "<\\!--")


# The top


def head(replay) -> str:
    """Title, the one sentence, and what the class of the house means."""
    result = replay.result
    start, end = season_days(replay)
    return (
        f"<h1>{escape(replay.house.name)}: a winter with the controller</h1>\n"
        f'<p class="from">Simulated from {start} to {end}, weather: {escape(replay.weather.name)}.</p>\n'
        f'<p class="answer">{answer(replay)}</p>\n' + beside(result) + house_class(result)
    )


def season_days(replay) -> tuple:
    """First and last day as text; no year, typical years have none."""
    course = replay.course
    last_s = course.start_local_s + (course.n_steps - 1) * course.dt_s - 1  # the end's midnight is not a new day
    ends = (course.start_local_s, last_s)
    moments = [datetime.fromtimestamp(second, UTC) for second in ends]
    return tuple(f"{moment.day} {moment:%B}" for moment in moments)


def answer(replay) -> str:
    """The one plain sentence."""
    blocks = replay.result["policies"]
    shipped, shut = blocks[replay.result["shipped_policy"]], blocks["shut"]
    if shipped["mean_rh_pct"] is None:
        return (
            "This weather has no heating season (no day's mean below 12 °C), so there is nothing to humidify."
        )
    added = shipped["added_wet_minutes"]
    wet = (
        "no minute of wet glass added at the modelled coldest spot"
        if added == 0
        else f"{minutes_text(added)} of wet glass added at the modelled coldest spot"
    )
    return (
        f"With the controller this house would have had {number(shipped['mean_rh_pct'])} % relative "
        f"humidity (RH) on average over the heating season, against {number(shut['mean_rh_pct'])} % without "
        f"a humidifier, with {wet}, within stated tolerances, in simulation."
    )


def beside(result: dict) -> str:
    """How the luckiest dial did, said at the top because it may have done better."""
    dial, shut = result["policies"]["dial"], result["policies"]["shut"]
    if dial["mean_rh_pct"] is None:
        return ""
    if "setting_pct" not in dial:
        text = "No constant dial setting from 5 % up would have kept from adding wet minutes."
    elif dial["mean_rh_pct"] - shut["mean_rh_pct"] < 0.1:
        text = (
            f"A dial that adds no wet minute would have had to stand at {dial['setting_pct']:g} %, so low "
            "that it adds no humidity either."
        )
    else:
        text = (
            f"A dial would have had to stand at {dial['setting_pct']:g} % all winter, which nobody could "
            f"know in autumn, to reach {number(dial['mean_rh_pct'])} % without adding a wet minute."
        )
    return f"<p>{text}</p>\n"


FIRST = (
    "<ol><li>Extract moisture where it arises: kitchen and bath fans that reach outdoors, lids on pots, "
    "laundry not dried indoors.</li><li>Make the coldest glass warmer: better or additional panes, "
    "curtains that leave the glass some room air, gaps at the sash sealed.</li><li>Seal the leaks through "
    "which indoor air reaches walls and attic. Have the draught of every fuel-burning appliance and the CO "
    "alarms checked, before and after.</li></ol>"
)


def house_class(result: dict) -> str:
    """What `clear`, `tight` or `foggy` means for the owner, in words, and what to do first."""
    if result["policies"]["shut"]["mean_rh_pct"] is None:
        return ""  # no winter to judge the windows by
    kind = result["headroom_class"]
    wet = result["policies"]["shut"]["wet_minutes"]
    if kind == "foggy":
        text = (
            "<p><strong>Your windows fog by themselves:</strong> without any humidifier the modelled "
            f"coldest spot was wet for {minutes_text(wet)} of this winter. A humidifier cannot mend that "
            "and can only add to it, whatever its control. What to do first:</p>" + FIRST
        )
    elif kind == "tight":
        text = (
            "<p><strong>This house comes close to wet glass by itself:</strong> without any humidifier "
            f"its air held up to {number(100 * result['headroom_ratio'], 0)} % of the moisture that wets "
            "the modelled coldest spot. Some added wet minutes must be expected under any control. What "
            "to do first:</p>" + FIRST
        )
    else:
        text = (
            "<p>Without a humidifier the glass of this house stays clear: its air held at most "
            f"{number(100 * result['headroom_ratio'], 0)} % of the moisture that wets the modelled coldest "
            "spot.</p>"
        )
    if not result["binding"]:
        text += (
            "<p>This winter did not put the glass to the test: even a reset without any margin added no "
            "wet minute here, so the zero above says little about the margins.</p>"
        )
    return f'<div class="class {kind}">{text}</div>'


# Sections with figures


def season(replay, units: Units, figure: Figure) -> str:
    """The season's chart and its months as a table."""
    caption = (
        "The whole record. Bands run from the lowest to the highest minute of each day (of each hour, "
        "zoomed in); glass and dew or frost point are those of the minute at which they came nearest, so "
        "the two lines touch exactly where the glass got wet. Every wet minute is marked, however short."
    )
    return figures.html(figure, caption) + tables.months(replay, units)


def night(replay, units: Units, figure: Figure) -> str:
    """The coldest night's chart."""
    course = replay.course
    first, end, coldest = thinning.coldest_window(course)
    moment = datetime.fromtimestamp(course.start_local_s + coldest * course.dt_s, UTC)
    run = replay.runs[replay.result["shipped_policy"]]
    window = range(max(1, first), end)
    nearest = min(window, key=lambda k: course.wet_w_g_kg[k] - run.w_g_kg[k])
    gap_k = course.glass_c[nearest] - thinning.wetting_c(course, nearest, run.w_g_kg[nearest])
    nearness = (
        f"stayed {units.difference_text(gap_k)} or more above its dew or frost point"
        if course.wet_w_g_kg[nearest] > run.w_g_kg[nearest]
        else f"got wet, up to {units.difference_text(abs(gap_k))} past its dew or frost point"
    )
    text = (
        f"<p>The lowest outdoor temperature was {units.temperature_text(course.outdoor_c[coldest])}, on "
        f"{moment.day} {moment:%B} at {moment:%H:%M}. Around it the modelled coldest spot with the "
        f"controller {nearness}.</p>"
    )
    caption = (
        "Noon to noon, minute by minute, local standard time. The valve's share counts its ten-second scans."
    )
    return text + figures.html(figure, caption)


def floor_section(replay, units: Units, figure: Figure) -> str:
    """The floor's swing and gap."""
    house = replay.house
    blocks = replay.result["policies"]
    width = number(units.length(house.floor.board_mm), 2 if units.us else 0)
    board = f"{width} {units.length_unit} wide board of {escape(house.floor.species)}, flatsawn"
    gaps = {
        name: units.length_text(blocks[name]["floor_gap_mm"])
        for name in ("shut", "dial", replay.shipped)
    }
    text = (
        f"<p>At a {board}, the season's swing opens a gap of {gaps['shut']} without a humidifier, "
        f"{gaps['dial']} with the dial and {gaps[replay.shipped]} with the controller.</p>"
    )
    caption = (
        "Moisture content follows the wood's equilibrium (USDA Forest Products Laboratory, Wood Handbook, "
        f"2010, eq. 4-5) with a lag of {floor.TIME_CONSTANT_H / 24:g} days; the gap is the board's change "
        "of width between the season's highest and lowest (eq. 13-2). Finish, underlay and heating in the "
        "floor are not modelled."
    )
    return text + figures.html(figure, caption)
