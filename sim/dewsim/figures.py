"""The report's figures (season, coldest night, floor): their panes, and their HTML with key and drawing."""

from html import escape

from dewsim import charts, thinning
from dewsim.charts import Figure, Line, Pane
from dewsim.thinning import Level
from dewsim.units import Units

HOURLY_UP_TO_DAYS = 21  # a shorter record is drawn by the hour, a longer one by the day


def season_figure(replay, units: Units) -> Figure:
    """The whole record: by the day and, zoomed in or where it is short, by the hour."""
    course = replay.course
    run, shut = replay.runs[replay.result["shipped_policy"]], replay.runs["shut"]
    levels = [thinning.thin(replay, run, shut, thinning.HOUR_S)]
    if course.n_steps * course.dt_s > HOURLY_UP_TO_DAYS * thinning.DAY_S:
        levels.append(thinning.thin(replay, run, shut, thinning.DAY_S))
    for level in levels:
        shown_units(level, units)
    labels = {"envelope": "walls, attic", "outlook": "look-ahead"}
    binds = [
        Line("by_" + name, labels.get(name, name), unit="%", places=0) for name, _ in thinning.binders(replay)
    ]
    panes = climate_panes(levels[0], units, True)
    panes.insert(2, Pane("lanes", "What set the target, share of the time", charts.LANE * len(binds), binds))
    start = course.start_local_s
    end = start + (course.n_steps - 1) * course.dt_s
    return Figure(
        "season",
        with_marks(replay, panes),
        levels,
        start,
        end,
        thinning.wet_marks(replay),
        start,
        course.dt_s,
        10,
    )


def night_figure(replay, units: Units) -> Figure:
    """Noon to noon around the lowest outdoor temperature, minute by minute."""
    course = replay.course
    run, shut = replay.runs[replay.result["shipped_policy"]], replay.runs["shut"]
    first, end, _ = thinning.coldest_window(course)
    level = thinning.minutes(replay, run, shut, first, end)
    shown_units(level, units)
    panes = climate_panes(level, units, False)
    start = course.start_local_s
    return Figure(
        "night",
        with_marks(replay, panes),
        [level],
        start + first * course.dt_s,
        start + end * course.dt_s,
        thinning.wet_marks(replay),
        start,
        course.dt_s,
        100,
    )


def shown_units(level: Level, units: Units) -> None:
    """Turn the level's temperatures into the units shown."""
    if units.us:
        for name in ("outdoor", "outdoor_lo", "outdoor_hi", "glass", "wetting"):
            if name in level.values:
                level.values[name] = [None if c is None else units.temperature(c) for c in level.values[name]]


def climate_panes(level: Level, units: Units, season: bool, air: str = "the coldest room's air") -> list:
    """Panes that season and night have in common; air: whose dew point is shown.  A log has no shut house."""
    v = level.values
    degrees = units.temperature_unit
    shut = [name for name in ("shut_rh",) if name in v]
    humid = [v[name] for name in ("rh", *shut, "target", "ceiling", *(("rh_lo", "rh_hi") if season else ()))]
    low, high = charts.bounds_of(humid, 10.0)
    cold = charts.bounds_of([v["outdoor_lo"], v["outdoor_hi"]] if season else [v["outdoor"]])
    glass = charts.bounds_of([v["glass"], v["wetting"]])
    lowest = "ceiling, lowest of the day" if season else "ceiling"
    outdoors = [Line("outdoor", "outdoors" + (", mean" if season else ""), "strong", degrees)]
    humidity = [
        Line("rh", "indoor humidity with the controller" + (", mean" if season else ""), "strong", "%"),
        Line("target", "target", "dash", "%"),
        Line("ceiling", lowest, "dot", "%"),
        *(Line(name, "without a humidifier", "pale", "%") for name in shut),
    ]
    surface = [
        Line("glass", "coldest glass", "strong", degrees),
        Line("wetting", f"dew or frost point of {air}", "dash", degrees),
    ]
    duty = [Line("fan", "fan", unit="%", places=0), Line("valve", "valve", unit="%", places=0)]
    nearest = ", at the minute nearest to wet" if season else ""
    return [
        Pane(
            "lines",
            f"Outdoor temperature, {degrees}",
            110,
            outdoors,
            *cold,
            band=("outdoor_lo", "outdoor_hi"),
        ),
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
    names = {
        "shut": ("without a humidifier", "pale"),
        "dial": ("dial", "dash"),
        replay.shipped: ("controller", "strong"),
    }
    runs = {name: replay.runs[name] for name in names if name in replay.runs}
    every = 6 if len(runs["shut"].floor_series) > 24 * HOURLY_UP_TO_DAYS else 1
    values = {"mc_" + name: run.floor_series[every - 1 :: every] for name, run in runs.items()}
    lines = [Line("mc_" + name, *names[name], unit="%", places=2) for name in runs]
    level = Level(course.start_local_s, every * thinning.HOUR_S, values)
    pane = Pane(
        "lines",
        "Moisture content of the floor, % of dry mass",
        200,
        lines,
        *charts.bounds_of(list(values.values()), 1),
    )
    start = course.start_local_s
    return Figure(
        "floor", [pane], [level], start, start + (course.n_steps - 1) * course.dt_s, [], start, course.dt_s, 100
    )


def html(figure: Figure, caption: str) -> str:
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
    if pane.kind == "marks" and not pane.lines:
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
            '<svg class="s" viewBox="0 0 26 12" aria-hidden="true"><path class="l" '
            f'stroke="rgb({grey},{grey},{grey})" '
            f'stroke-width="{width}"{dashes} d="M0 6h26"/></svg>'
        )
        items.append(
            f'<span class="k">{sample if pane.kind == "lines" else ""}{escape(line.label)}'
            f'<b class="v" data-column="{line.column}"></b></span>'
        )
    return " ".join(items)
