"""report.html: one self-contained page of a replay, readable on paper, on a phone, without colour and without script."""

import json
from datetime import datetime, timezone
from html import escape
from importlib import resources
from pathlib import Path

from dewsim import charts, floor
from dewsim import report_tables as tables
from dewsim.charts import Figure, Level, Line, Pane
from dewsim.units import Units, number

CHECKOUT = Path(__file__).resolve().parents[2]
SECTIONS = (
    ("policies", "What each way of running it would have done"),
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
    """The whole page for a replay that has run: no other file, no network; HTML text of at most about 1 MB."""
    units = Units(replay.house.units)
    figures = [season_figure(replay, units), night_figure(replay, units), floor_figure(replay)]
    bodies = {
        "policies": tables.policies(replay, units),
        "season": season(replay, units, figures[0]),
        "night": night(replay, units, figures[1]),
        "floor": floor_section(replay, units, figures[2]),
        "margin": tables.margin(replay, units),
        "reasons": tables.reasons(replay),
        "settings": tables.settings(replay, units),
        "assumed": tables.assumed(replay, units),
        "cautions": tables.cautions_list(),
    }
    links = "".join(f'<li><a href="#{name}">{title}</a></li>' for name, title in SECTIONS)
    sections = "".join(
        f'<section id="{name}" aria-labelledby="h-{name}"><h2 id="h-{name}">{title}</h2>\n{bodies[name]}\n</section>\n'
        for name, title in SECTIONS
    )
    return page(replay.house.name, head(replay), links, sections, figures)


def page(name: str, top: str, links: str, sections: str, figures: list) -> str:
    """The frame: style, text, embedded data and script."""
    payload = {"styles": charts.STYLES, "figures": {f.name: charts.data(f) for f in figures}}
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
<title>{escape(name)}: a winter with the controller</title>
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
    """Script text that cannot end its own element (HTML Living Standard, restrictions for script contents)."""
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
    ends = (course.start_local_s, course.start_local_s + course.n_steps * course.dt_s)
    moments = [datetime.fromtimestamp(second, timezone.utc) for second in ends]
    return tuple(f"{moment.day} {moment:%B}" for moment in moments)


def minutes_text(count: int) -> str:
    """A count of minutes in words."""
    return "1 minute" if count == 1 else f"{number(count, 0)} minutes"


def answer(replay) -> str:
    """The one plain sentence."""
    blocks = replay.result["policies"]
    shipped, shut = blocks[replay.result["shipped_policy"]], blocks["shut"]
    if shipped["mean_rh_pct"] is None:
        return "This weather has no heating season (no day's mean below 12 °C), so there is nothing to humidify."
    added = shipped["added_wet_minutes"]
    wet = (
        "no minute of wet glass added at the modelled coldest spot"
        if added == 0
        else f"{minutes_text(added)} of wet glass added at the modelled coldest spot"
    )
    return (
        f"With the controller this house would have had {number(shipped['mean_rh_pct'])} % relative humidity on average "
        f"over the heating season, against {number(shut['mean_rh_pct'])} % without a humidifier, with {wet}, within "
        "stated tolerances, in simulation."
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
            f"A dial that adds no wet minute would have had to stand at {dial['setting_pct']:g} %, so low that it adds no "
            "humidity either."
        )
    else:
        text = (
            f"A dial would have had to stand at {dial['setting_pct']:g} % all winter, which nobody could know in autumn, "
            f"to reach {number(dial['mean_rh_pct'])} % without adding a wet minute."
        )
    return f"<p>{text}</p>\n"


FIRST = (
    "<ol><li>Extract moisture where it arises: kitchen and bath fans that reach outdoors, lids on pots, laundry not "
    "dried indoors.</li><li>Make the coldest glass warmer: better or additional panes, curtains that leave the glass "
    "some room air, gaps at the sash sealed.</li><li>Seal the leaks through which indoor air reaches walls and attic. "
    "Have the draught of every fuel-burning appliance and the CO alarms checked, before and after.</li></ol>"
)


def house_class(result: dict) -> str:
    """What `clear`, `tight` or `foggy` means for the owner, in words, and what to do first."""
    kind = result["headroom_class"]
    wet = result["policies"]["shut"]["wet_minutes"]
    if kind == "foggy":
        text = (
            f"<p><strong>Your windows fog by themselves:</strong> without any humidifier the modelled coldest spot was "
            f"wet for {minutes_text(wet)} of this winter. A humidifier cannot mend that and can only add to it, whatever "
            "its control. What to do first:</p>" + FIRST
        )
    elif kind == "tight":
        text = (
            f"<p><strong>This house comes close to wet glass by itself:</strong> without any humidifier its air held up "
            f"to {number(100 * result['headroom_ratio'], 0)} % of the moisture that wets the modelled coldest spot. Some "
            "added wet minutes must be expected under any control. What to do first:</p>" + FIRST
        )
    else:
        text = (
            "<p>Without a humidifier the glass of this house stays clear: its air held at most "
            f"{number(100 * result['headroom_ratio'], 0)} % of the moisture that wets the modelled coldest spot.</p>"
        )
    if not result["binding"]:
        text += (
            "<p>This winter did not put the glass to the test: even a reset without any margin added no wet minute "
            "here, so the zero above says little about the margins.</p>"
        )
    return f'<div class="class {kind}">{text}</div>'


# Figures


def season_figure(replay, units: Units) -> Figure:
    """The whole record: by the day and, zoomed in or where it is short, by the hour."""
    course = replay.course
    run, shut = replay.runs[replay.result["shipped_policy"]], replay.runs["shut"]
    levels = [charts.thin(replay, run, shut, charts.HOUR_S)]
    if course.n_steps * course.dt_s > charts.HOURLY_UP_TO_DAYS * charts.DAY_S:
        levels.append(charts.thin(replay, run, shut, charts.DAY_S))
    for level in levels:
        shown_units(level, units)
    labels = {"envelope": "walls, attic", "outlook": "outlook"}
    binds = [Line("by_" + name, labels.get(name, name), unit="%", places=0) for name, _ in charts.binders(replay)]
    panes = climate_panes(levels[0], units, True)
    panes.insert(2, Pane("lanes", "What set the target, share of the time", charts.LANE * len(binds), binds))
    start = course.start_local_s
    end = start + course.n_steps * course.dt_s
    return Figure("season", with_marks(replay, panes), levels, start, end, charts.wet_marks(replay), start, course.dt_s, 10)


def night_figure(replay, units: Units) -> Figure:
    """Noon to noon around the lowest outdoor temperature, minute by minute."""
    course = replay.course
    run, shut = replay.runs[replay.result["shipped_policy"]], replay.runs["shut"]
    first, end, _ = charts.coldest_window(course)
    level = charts.minutes(replay, run, shut, first, end)
    shown_units(level, units)
    panes = climate_panes(level, units, False)
    start = course.start_local_s
    return Figure(
        "night",
        with_marks(replay, panes),
        [level],
        start + first * course.dt_s,
        start + end * course.dt_s,
        charts.wet_marks(replay),
        start,
        course.dt_s,
        100,
    )


def shown_units(level: Level, units: Units) -> None:
    """Turn the level's temperatures into the units shown."""
    if units.us:
        for name in ("outdoor", "outdoor_lo", "outdoor_hi", "glass", "wetting"):
            if name in level.values:
                level.values[name] = [units.temperature(c) for c in level.values[name]]


def climate_panes(level: Level, units: Units, season: bool) -> list:
    """Panes that season and night have in common."""
    v = level.values
    degrees = units.temperature_unit
    humid = [v["rh"], v["shut_rh"], v["target"], v["ceiling"]] + ([v["rh_lo"], v["rh_hi"]] if season else [])
    low, high = charts.bounds_of(humid, 10.0)
    cold = charts.bounds_of([v["outdoor_lo"], v["outdoor_hi"]] if season else [v["outdoor"]])
    glass = charts.bounds_of([v["glass"], v["wetting"]])
    lowest = "ceiling, lowest of the day" if season else "ceiling"
    outdoors = [Line("outdoor", "outdoors" + (", mean" if season else ""), "strong", degrees)]
    humidity = [
        Line("rh", "indoor humidity with the controller" + (", mean" if season else ""), "strong", "%"),
        Line("target", "target", "dash", "%"),
        Line("ceiling", lowest, "dot", "%"),
        Line("shut_rh", "without a humidifier", "pale", "%"),
    ]
    surface = [
        Line("glass", "coldest glass", "strong", degrees),
        Line("wetting", "dew or frost point of the coldest room's air", "dash", degrees),
    ]
    duty = [Line("fan", "fan", unit="%", places=0), Line("valve", "valve", unit="%", places=0)]
    nearest = ", at the minute nearest to wet" if season else ""
    return [
        Pane("lines", f"Outdoor temperature, {degrees}", 110, outdoors, *cold, band=("outdoor_lo", "outdoor_hi")),
        Pane("lines", "Relative humidity, %", 210, humidity, max(low, 0.0), high, band=("rh_lo", "rh_hi")),
        Pane("lanes", "Furnace fan and water valve, share of the time on", 2 * (charts.LANE + 10), duty),
        Pane("lines", f"Glass against dew or frost point{nearest}, {degrees}", 170, surface, *glass),
    ]


def with_marks(replay, panes: list) -> list:
    """The panes and, last, a lane of wet minutes for each policy."""
    title = "Wet minutes of the modelled coldest spot, by policy"
    return [*panes, Pane("marks", title, charts.LANE * len(replay.runs), [])]


def floor_figure(replay) -> Figure:
    """Moisture content of the floor by six hours, shut, dial and the controller."""
    course = replay.course
    names = {"shut": ("without a humidifier", "pale"), "dial": ("dial", "dash"), "plain": ("controller", "strong")}
    runs = {name: replay.runs[name] for name in names if name in replay.runs}
    every = 6 if len(runs["shut"].floor_series) > 24 * charts.HOURLY_UP_TO_DAYS else 1
    values = {"mc_" + name: run.floor_series[every - 1 :: every] for name, run in runs.items()}
    lines = [Line("mc_" + name, *names[name], unit="%", places=2) for name in runs]
    level = Level(course.start_local_s, every * charts.HOUR_S, values)
    pane = Pane(
        "lines", "Moisture content of the floor, % of dry mass", 200, lines, *charts.bounds_of(list(values.values()), 1)
    )
    start = course.start_local_s
    return Figure("floor", [pane], [level], start, start + course.n_steps * course.dt_s, [], start, course.dt_s, 100)


def drawn(figure: Figure, caption: str) -> str:
    """A figure: each pane with its key, a place for the live chart, and the static drawing."""
    parts = []
    for i, pane in enumerate(figure.panes):
        last = pane.kind == "lines" or i == len(figure.panes) - 1
        parts.append(
            f'<div class="pane"><p class="key {pane.kind}"><b>{pane.title}</b> {key(figure, pane)}</p>'
            f'<div class="live" data-pane="{i}"></div>\n{charts.svg(figure, pane, last)}</div>\n'
        )
    return (
        f'<figure data-figure="{figure.name}">\n{"".join(parts)}<figcaption>{caption}</figcaption></figure>\n'
    )


def key(figure: Figure, pane: Pane) -> str:
    """Line samples with their labels, each followed by room for the value under the pointer."""
    items = []
    if pane.kind == "marks":
        items = [
            '<span class="k"><svg class="s" viewBox="0 0 26 12" aria-hidden="true"><path class="wet added" '
            'd="M12 12v-12h2v12z"/></svg>added by the humidifier</span>',
            '<span class="k"><svg class="s" viewBox="0 0 26 12" aria-hidden="true"><path class="wet own" '
            'd="M10 11v-6h7v6z"/></svg>the house\'s own, valve never opened</span>',
        ]
    if pane.band and pane.band[0] in figure.levels[0].values:
        items.append(
            '<span class="k"><svg class="s" viewBox="0 0 26 12" aria-hidden="true"><path class="band" '
            'd="M0 2h26v8H0z"/></svg>lowest to highest</span>'
        )
    for line in pane.lines:
        width, dash, grey = charts.STYLES[line.style]
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        sample = (
            f'<svg class="s" viewBox="0 0 26 12" aria-hidden="true"><path class="l" stroke="rgb({grey},{grey},{grey})" '
            f'stroke-width="{width}"{dashes} d="M0 6h26"/></svg>'
        )
        items.append(
            f'<span class="k">{sample if pane.kind == "lines" else ""}{escape(line.label)}'
            f'<b class="v" data-column="{line.column}"></b></span>'
        )
    return " ".join(items)


# Sections with figures


def season(replay, units: Units, figure: Figure) -> str:
    """The season's chart and its months as a table."""
    caption = (
        "The whole record. Bands run from the lowest to the highest minute of each day (of each hour, zoomed in); "
        "glass and dew or frost point are those of the minute at which they came nearest, so the two lines touch "
        "exactly where the glass got wet. Every wet minute is marked, however short."
    )
    return drawn(figure, caption) + tables.months(replay, units)


def night(replay, units: Units, figure: Figure) -> str:
    """The coldest night's chart."""
    course = replay.course
    first, end, coldest = charts.coldest_window(course)
    moment = datetime.fromtimestamp(course.start_local_s + coldest * course.dt_s, timezone.utc)
    run = replay.runs[replay.result["shipped_policy"]]
    window = range(max(1, first), end)
    nearest = min(window, key=lambda k: course.wet_w_g_kg[k] - run.w_g_kg[k])
    gap_k = course.glass_c[nearest] - charts.wetting_c(course, nearest, run.w_g_kg[nearest])
    nearness = (
        f"stayed {units.difference_text(gap_k)} or more above its dew or frost point"
        if course.wet_w_g_kg[nearest] > run.w_g_kg[nearest]
        else f"got wet, up to {units.difference_text(abs(gap_k))} past its dew or frost point"
    )
    text = (
        f"<p>The lowest outdoor temperature was {units.temperature_text(course.outdoor_c[coldest])}, on {moment.day} "
        f"{moment:%B} at {moment:%H:%M}. Around it the modelled coldest spot with the controller {nearness}.</p>"
    )
    caption = "Noon to noon, minute by minute, local standard time. The valve's share counts its ten-second scans."
    return text + drawn(figure, caption)


def floor_section(replay, units: Units, figure: Figure) -> str:
    """The floor's swing and gap."""
    house = replay.house
    blocks = replay.result["policies"]
    width = number(units.length(house.floor.board_mm), 2 if units.us else 0)
    board = f"{width} {units.length_unit} wide board of {escape(house.floor.species)}, flatsawn"
    gaps = {
        name: units.length_text(blocks[name]["floor_gap_mm"]) for name in ("shut", "dial", "plain") if name in blocks
    }
    text = (
        f"<p>At a {board}, the season's drying opens a gap of {gaps['shut']} without a humidifier, {gaps['dial']} with "
        f"the dial and {gaps['plain']} with the controller.</p>"
    )
    caption = (
        "Moisture content follows the wood's equilibrium (USDA Forest Products Laboratory, Wood Handbook, 2010, eq. 4-5) "
        f"with a lag of {floor.TIME_CONSTANT_H / 24:g} days; the gap is the board's change of width between the season's "
        "highest and lowest (eq. 13-2). Finish, underlay and heating in the floor are not modelled."
    )
    return text + drawn(figure, caption)
