"""`dewmargin log report`: the replay's page for the real house, of what was recorded; season against season.

What only a simulation knows is left out: the same winter without a humidifier, with a dial, or at its best.
"""

import time
from datetime import UTC, datetime
from html import escape
from itertools import pairwise
from math import isfinite
from pathlib import Path

from dewcore import words
from dewsim import charts, figures, log_seasons, pages, report, thinning
from dewsim import report_tables as tables
from dewsim.charts import Figure, Line, Pane
from dewsim.errors import InputError, shown_path
from dewsim.files import contents
from dewsim.log_export import whole_file
from dewsim.log_seasons import DAY_MIN, MINUTE_S, Season
from dewsim.logbase import LogBase
from dewsim.thinning import DAY_S, HOUR_S, Level, Marks
from dewsim.units import Units, minutes_text, number

DEFAULT_OUT = "dewmargin-log.html"
TITLE = "what the controller recorded"
MOST_SEASONS = 6
MOST_DRAWN = 4
DRAWN = ("strong", "dash", "dot", "pale")
HEAD_BYTES = 20_000_000
NONE = "\u2013"
AIR = "the air at the sensor"
SECTIONS = (
    ("seasons", "Season against season"),
    ("season", "The season"),
    ("night", "The coldest night"),
    ("floor", "The floor"),
    ("reasons", "Why the valve was open or shut"),
    ("absent", "What a log cannot tell"),
    ("cautions", "Before wiring or trusting anything"),
)
ABSENT = """<ul>
<li>What the house would have done without a humidifier, with a dial, or with a better controller: nobody lived that
winter twice. So wet minutes are not told apart into the house's own and added ones, and there is no share of the best
possible.</li>
<li>The glass itself, unless a thermometer is on it: its temperature here is what the board modelled, at the coldest
spot, with the glass factor it used at the time. A wet minute is one in which that was at or below the dew point (frost
point) of the air at the sensor; the coldest room may have been more humid.</li>
<li>Water evaporated or fed: the record has the valve's time, not litres. The board's settings of the time.</li>
<li>What set the target: the record has the target, not which surface or wish it came from.</li>
</ul>"""


def run(path: str, device: str | None, out: str | None, units: str) -> int:
    """Write the page."""
    out = out or DEFAULT_OUT
    _check_out(out)
    base = LogBase(path, must_exist=True)
    try:
        name = base.one_device(device)
        seasons = log_seasons.seasons_of(base, name)
    finally:
        base.close()
    if not seasons:
        raise InputError(f"{base.place}: found no record of {name}; give a longer log")
    with whole_file(out) as file:
        file.write(render(name, seasons, Units(units)))
    print(f"{name}: {', '.join(f'{season.name()} {season.records} records' for season in seasons)}")
    print(f"report: {out}")
    return 0


def _check_out(out: str) -> None:
    """Only an earlier page of this kind is replaced."""
    if not Path(out).exists():
        pages.check_ending(out)
        return
    if TITLE not in contents(out, HEAD_BYTES, "a file name").decode("utf-8", "replace"):
        raise InputError(f"--out {shown_path(out)}: exists and is no page of `dewmargin log report`; name a new file")


def render(device: str, seasons: list, units: Units) -> str:
    """The whole page: the newest season in full, and the last ones beside it."""
    season = seasons[-1]
    counted = [log_seasons.counted(each) for each in seasons[-MOST_SEASONS:]]
    drawn = [season_figure(season, units)]
    bodies = {
        "seasons": _seasons_table(seasons[-MOST_SEASONS:], counted, units),
        "season": figures.html(drawn[0], SEASON_CAPTION) + _months(season, units),
        "night": "",
        "floor": "",
        "reasons": _reasons(season),
        "absent": ABSENT,
        "cautions": tables.cautions_list(),
    }
    for name, made in (("night", _night(season, units)), ("floor", _floor(season, counted[-1]))):
        if made is not None:
            bodies[name] = made[1]
            drawn.append(made[0])
    if len(seasons) > 1:
        beside = seasons_figure(seasons[-MOST_DRAWN:], units)
        drawn.append(beside)
        bodies["seasons"] += figures.html(beside, "Means of each day on one calendar, the newest season strongest.")
    shown = [(name, title) for name, title in SECTIONS if bodies[name]]
    links = "".join(f'<li><a href="#{name}">{title}</a></li>' for name, title in shown)
    sections = "".join(
        f'<section id="{name}" aria-labelledby="h-{name}"><h2 id="h-{name}">{title}</h2>\n{bodies[name]}\n</section>\n'
        for name, title in shown
    )
    top = _head(device, season, counted[-1], units)
    return report.page(f"{device}: {TITLE}", top, links, sections, drawn)


def _head(device: str, season: Season, counted: dict, units: Units) -> str:
    start, end = (
        datetime.fromtimestamp(second, UTC)
        for second in (season.start_local_s, season.start_local_s + season.n * MINUTE_S - 1)
    )
    offset_h = -time.timezone / 3600
    zone = f"UTC{offset_h:+g}".replace("-", "\u2212") + "\u00a0h" if offset_h else "UTC"
    texts = [
        f"<h1>{escape(device)}: {TITLE}</h1>",
        f'<p class="from">Recorded from {start.day} {start:%B %Y} to {end.day} {end:%B %Y}, '
        f"{number(season.records, 0)} minutes, {number(100 * counted['logged_share'])} % of all. "
        f"Times are standard time, {zone}.</p>",
        f'<p class="answer">{_answer(counted, units)}</p>',
    ]
    return "\n".join(texts) + "\n"


def _answer(counted: dict, units: Units) -> str:
    """The one plain sentence."""
    if counted["mean_rh_pct"] is None:
        if counted["records"] < log_seasons.LEAST_MIN:
            return (
                f"{minutes_text(counted['records'])} of this season are recorded, too few for a mean over a day: "
                "look again tomorrow."
            )
        return "No day of this record had a mean below 12 °C outdoors, so there was nothing to humidify."
    wet = counted["wet_minutes"]
    glass = (
        "in no minute was the coldest glass, as the board models it, at its dew or frost point"
        if wet == 0
        else f"in {minutes_text(wet)} the coldest glass, as the board models it, was at or past its dew or frost point"
    )
    return (
        f"This house had {number(counted['mean_rh_pct'])} % relative humidity (RH) on average over "
        f"{number(counted['heating_days'], 0)} heating days, at {units.temperature_text(counted['mean_outdoor_c'])} "
        f"outdoors; {glass}."
    )


# Season against season


def _seasons_table(seasons: list, counted: list, units: Units) -> str:
    """A column for each season."""

    def row(label: str, name: str, show) -> list:
        return [label, *(NONE if each[name] is None else show(each[name]) for each in counted)]

    def degrees(c: float) -> str:
        return number(units.temperature(c))

    def whole(value: float) -> str:
        return number(value, 0)

    unit = units.temperature_unit
    rows = [
        row("Minutes recorded", "records", whole),
        row("Of all minutes between the first and the last, %", "logged_share", lambda v: number(100 * v)),
        row("Heating season recorded, days", "heating_days", whole),
        row(f"Mean outdoors, heating season, {unit}", "mean_outdoor_c", degrees),
        row(f"Lowest outdoors, {unit}", "lowest_outdoor_c", degrees),
        row("Mean humidity, heating season, %", "mean_rh_pct", number),
        row("Hours below 25 %", "hours_below_25_pct", whole),
        row("Hours above the ceiling of the time", "hours_above_ceiling", whole),
        row("Wet minutes, by the board's model", "wet_minutes", whole),
        row("Valve open, hours", "valve_hours", whole),
        row("Valve starts, by the minute", "valve_starts", whole),
        row("Fan running, hours", "fan_hours", whole),
        row("Floor, lowest moisture content, %", "floor_emc_min_pct", number),
        row("Floor, highest moisture content, %", "floor_emc_max_pct", number),
    ]
    head = ["", *(season.name() for season in seasons)]
    return tables.table("What was recorded, July to June", head, rows, "numbers")


def seasons_figure(seasons: list, units: Units) -> Figure:
    """Daily means of humidity and outdoor temperature, the seasons on one calendar."""
    offsets = [(season, (season.start_local_s - season_origin(season)) // DAY_S) for season in seasons]
    first = min(day for _, day in offsets)
    last = max(day + -(-season.n // DAY_MIN) for season, day in offsets)
    values: dict = {}
    lines: dict = {"rh": [], "out": []}
    for style, (season, day) in zip(DRAWN, reversed(offsets)):
        for name, column, show in (("rh", "rh_pct", float), ("out", "outdoor_c", units.temperature)):
            key = f"{name}_{season.year}"
            values[key] = [None] * (last - first)
            for n, mean in enumerate(_means(season.columns[column], DAY_MIN)):
                values[key][day - first + n] = None if mean is None else show(mean)
            unit = "%" if name == "rh" else units.temperature_unit
            lines[name].append(Line(key, season.name(), style, unit))
    origin = season_origin(seasons[-1]) + first * DAY_S
    panes = [
        Pane("lines", "Relative humidity, daily mean, %", 190, lines["rh"],
             *_bounds(values, "rh_", 10.0)),
        Pane("lines", f"Outdoor temperature, daily mean, {units.temperature_unit}", 130, lines["out"],
             *_bounds(values, "out_", 5.0)),
    ]  # fmt: skip
    level = Level(origin, DAY_S, values)
    return Figure("seasons", panes, [level], origin, origin + (last - first) * DAY_S, [], origin, DAY_S, 10)


def season_origin(season: Season) -> int:
    """The 1 July from which its days are counted."""
    return int(datetime(season.year, log_seasons.FIRST_MONTH, 1, tzinfo=UTC).timestamp())


def _bounds(values: dict, prefix: str, least: float) -> tuple:
    return charts.bounds_of([column for name, column in values.items() if name.startswith(prefix)], least)


def _means(column, step: int) -> list:
    """Means of steps of `step` minutes, the last may be cut; None where nothing is known."""
    found = []
    for a in range(0, len(column), step):
        known = [v for v in column[a : a + step] if isfinite(v)]
        found.append(sum(known) / len(known) if known else None)
    return found


# The season

SEASON_CAPTION = (
    "The whole record of the newest season; where lines break, nothing was recorded. Bands run from the lowest to the "
    "highest minute of each day (of each hour, zoomed in); glass and dew or frost point are those of the minute at "
    "which they came nearest. Every wet minute is marked, however short."
)


def season_figure(season: Season, units: Units) -> Figure:
    """By the day and, zoomed in or where it is short, by the hour."""
    levels = [_thinned(season, HOUR_S)]
    if season.n > figures.HOURLY_UP_TO_DAYS * DAY_MIN:
        levels.append(_thinned(season, DAY_S))
    return _figure("season", season, levels, units, True, 0, season.n)


def _figure(name: str, season: Season, levels: list, units: Units, is_season: bool, first: int, end: int) -> Figure:
    for level in levels:
        figures.shown_units(level, units)
    panes = figures.climate_panes(levels[0], units, is_season, AIR)
    title = "Wet minutes of the coldest glass, as the board models it"
    panes.append(Pane("marks", title, charts.LANE, [Line("wet", "each a stroke", unit="min", places=0)]))
    start_s = season.start_local_s
    times = (start_s + first * MINUTE_S, start_s + end * MINUTE_S)
    scale = 10 if is_season else 100
    return Figure(name, panes, levels, *times, [_marks(season)], start_s, MINUTE_S, scale)


def _marks(season: Season) -> Marks:
    runs: list = []
    for k in season.wet():
        if runs and runs[-1][0] + runs[-1][1] == k:
            runs[-1][1] += 1
        else:
            runs.append([k, 1])
    return Marks("log", "wet", [], runs)


def _thinned(season: Season, step_s: int) -> Level:
    """Means and extremes of each hour or day, None where nothing is known."""
    c = season.columns
    bounds = [*range(0, season.n, step_s // MINUTE_S), season.n]
    spans = list(pairwise(bounds))

    def each(column, what, scale: float = 1.0) -> list:
        found = []
        for a, b in spans:
            known = [v for v in column[a:b] if isfinite(v)]
            found.append(scale * what(known) if known else None)
        return found

    def mean(known: list) -> float:
        return sum(known) / len(known)

    wet = bytearray(season.n)
    for k in season.wet():
        wet[k] = 1
    values = {
        "outdoor": each(c["outdoor_c"], mean),
        "outdoor_lo": each(c["outdoor_c"], min),
        "outdoor_hi": each(c["outdoor_c"], max),
        "rh": each(c["rh_pct"], mean),
        "rh_lo": each(c["rh_pct"], min),
        "rh_hi": each(c["rh_pct"], max),
        "target": each(c["target_pct"], mean),
        "ceiling": each(c["ceiling_pct"], min),
        "fan": each(c["fan"], mean, 100.0),
        "valve": each(c["valve"], mean, 100.0),
        "wet": [sum(wet[a:b]) for a, b in spans],
    }
    values["glass"], values["wetting"] = _nearest(season, spans)
    return Level(season.start_local_s, step_s, values)


def _nearest(season: Season, spans: list) -> tuple:
    """Glass and wetting point at each span's minute nearest to wet."""
    glass_c, wetting_c = season.columns["glass_c"], season.wetting_c
    glass, wetting = [], []
    for a, b in spans:
        gaps = [(glass_c[k] - wetting_c[k], k) for k in range(a, b) if isfinite(glass_c[k] - wetting_c[k])]
        k = min(gaps)[1] if gaps else None
        glass.append(None if k is None else glass_c[k])
        wetting.append(None if k is None else wetting_c[k])
    return glass, wetting


def _months(season: Season, units: Units) -> str:
    """The same by calendar month."""
    rows = []
    first = 0
    wet = season.wet()
    while first < season.n:
        moment = datetime.fromtimestamp(season.start_local_s + first * MINUTE_S, UTC)
        after = datetime(moment.year + moment.month // 12, moment.month % 12 + 1, 1, tzinfo=UTC).timestamp()
        end = min(season.n, int(after - season.start_local_s) // MINUTE_S)
        rows.append([f"{moment:%B}", *_month_cells(season, first, end, wet, units)])
        first = end
    degrees = units.temperature_unit
    head = ["Month", "Recorded, %", f"Mean outdoors, {degrees}", f"Lowest outdoors, {degrees}", "Mean RH, %",
            "Valve open, h", "Wet minutes"]  # fmt: skip
    return tables.table("The same by month, all hours", head, rows, "numbers")


def _month_cells(season: Season, a: int, b: int, wet: list, units: Units) -> list:
    def known(name: str) -> list:
        return [v for v in season.columns[name][a:b] if isfinite(v)]

    def text(values: list, what, show=number) -> str:
        return show(what(values)) if values else NONE

    def degrees(c: float) -> str:
        return number(units.temperature(c))

    def mean(values: list) -> float:
        return sum(values) / len(values)

    recorded = sum(reason is not None for reason in season.reasons[a:b])
    return [
        number(100.0 * recorded / (b - a)),
        text(known("outdoor_c"), mean, degrees),
        text(known("outdoor_c"), min, degrees),
        text(known("rh_pct"), mean),
        number(sum(known("valve")) / log_seasons.HOUR_MIN, 0),
        number(sum(a <= k < b for k in wet), 0),
    ]


# Night, floor, reasons


def _night(season: Season, units: Units) -> tuple | None:
    """(figure, HTML) of noon to noon around the lowest outdoor temperature."""
    known = [(c, k) for k, c in enumerate(season.columns["outdoor_c"]) if isfinite(c)]
    if not known:
        return None
    coldest_c, coldest = min(known)
    first = max(0, coldest - (season.start_local_s // MINUTE_S + coldest - DAY_MIN // 2) % DAY_MIN)
    end = min(season.n, first + DAY_MIN)
    level = _minutes(season, first, end)
    figure = _figure("night", season, [level], units, False, first, end)
    moment = datetime.fromtimestamp(season.start_local_s + coldest * MINUTE_S, UTC)
    gaps = [g - w for g, w in zip(season.columns["glass_c"][first:end], season.wetting_c[first:end]) if isfinite(g - w)]
    nearness = "is not known"
    if gaps:
        least_k = min(gaps)
        nearness = (
            f"stayed {units.difference_text(least_k)} or more above its dew or frost point"
            if least_k > 0.0
            else f"got wet, up to {units.difference_text(-least_k)} past its dew or frost point"
        )
    text = (
        f"<p>The lowest outdoor temperature was {units.temperature_text(coldest_c)}, on {moment.day} {moment:%B} at "
        f"{moment:%H:%M}. Around it the coldest glass, as the board models it, {nearness}.</p>"
    )
    return figure, text + figures.html(figure, "Noon to noon, minute by minute.")


def _minutes(season: Season, first: int, end: int) -> Level:
    def part(column, scale: float = 1.0) -> list:
        return [scale * v if isfinite(v) else None for v in column[first:end]]

    c = season.columns
    wet = set(season.wet())
    values = {
        "outdoor": part(c["outdoor_c"]),
        "rh": part(c["rh_pct"]),
        "target": part(c["target_pct"]),
        "ceiling": part(c["ceiling_pct"]),
        "glass": part(c["glass_c"]),
        "wetting": part(season.wetting_c),
        "fan": part(c["fan"], 100.0),
        "valve": part(c["valve"], 100.0),
        "wet": [int(k in wet) for k in range(first, end)],
    }
    return Level(season.start_local_s + first * MINUTE_S, MINUTE_S, values)


def _floor(season: Season, counted: dict) -> tuple | None:
    """(figure, HTML) of the floor's moisture content."""
    series, low, high = log_seasons.floor_track(season)
    if not series:
        return None
    every = 6 if len(series) > 24 * figures.HOURLY_UP_TO_DAYS else 1
    missing_h = season.n // log_seasons.HOUR_MIN - len(series)
    start_s = season.start_local_s + missing_h * HOUR_S
    level = Level(start_s, every * thinning.HOUR_S, {"mc": list(series)[every - 1 :: every]})
    if level.n == 0:
        return None
    line = Line("mc", "floor", "strong", "%", 2)
    title = "Moisture content of the floor, % of dry mass"
    pane = Pane("lines", title, 170, [line], *charts.bounds_of(list(level.values.values()), 1))
    end_s = season.start_local_s + season.n * MINUTE_S
    figure = Figure("floor", [pane], [level], start_s, end_s, [], start_s, MINUTE_S, 100)
    text = (
        f"<p>By its equilibrium with the recorded air a wooden floor was between {number(low)} and {number(high)} % of "
        "its dry mass. What gap that opens depends on board and species, which a log does not "
        "hold; a replay of the house tells it.</p>"
    )
    caption = (
        "The wood's equilibrium (USDA Forest Products Laboratory, Wood Handbook, 2010, eq. 4-5) with a lag of "
        f"{report.floor.TIME_CONSTANT_H / 24:g} days; hours without a record go on with the last air."
    )
    return figure, text + figures.html(figure, caption)


def _reasons(season: Season) -> str:
    """The first reason of each minute of the heating season, most frequent first."""
    counts: dict = {}
    for name, counts_in in zip(season.reasons, season.heating):
        if counts_in and name is not None:
            counts[name] = counts.get(name, 0) + 1
    total = sum(counts.values())
    if not total:
        return "<p>No heating season, so no reasons are counted.</p>"
    sentences = dict(words.REFUSALS) | {words.OPEN_NAME: words.OPEN_SENTENCE}
    rows = [
        [f"<code>{escape(name)}</code>", sentences.get(name, "A reason of an earlier version."), _percent(count, total)]
        for name, count in sorted(counts.items(), key=lambda item: -item[1])
    ]
    head = ["Reason", "In words", "Share of the heating season, %"]
    return tables.table("By the first reason of each minute, the newest season", head, rows, "words")


def _percent(count: int, total: int) -> str:
    value = 100.0 * count / total
    return "below 0.1" if value < 0.05 else number(value)
