"""What a given humidifier leaves undone in a whole winter: the hours it misses, the water it takes; text and a page.

The house is the simulated one (`dewsim.plant`), its valve open whenever fan and heat allow and the air is drier than
wanted.  Wanted is the target, or less where coldest glass, walls or attic allow less at that minute, as the other
policies of a replay have it.
"""

import copy
from array import array
from datetime import UTC, datetime, timedelta
from html import escape

from dewsim import charts, figures, metrics, pages, plant, policies, quantities, report, report_tables, size, weather
from dewsim.charts import Figure, Line, Pane
from dewsim.progress import Progress
from dewsim.thinning import DAY_S, HOUR_S, Level
from dewsim.units import SPACE, Units

MISSED_PCT = 3.0  # an hour counts as missed more than this below what is wanted; the valve's band is 0.7
FEW_SHARE = 0.01  # the rating that is looked for is too small in at most this share of the season's hours
FLAT_H = 6  # flat out: open for FLAT_SHARE of the time allowed, over so many hours
FLAT_SHARE = 0.95
LARGEST_KG_H = 5.0
SEARCHES = 7
BIN_K = 5


class Winter:
    """One humidifier's winter: hourly means of the season, which of them are missed, and its water."""

    def __init__(self, course, wanted_pct: array):
        self.course = course
        off = self.wanted_pct = wanted_pct
        on = array("d", [rh - policies.DIAL_BAND_PCT for rh in off])
        trace = plant.run_threshold(course, on, off, None, policies.start_rh_pct(course))
        self.end = trace.end
        self.starts = trace.valve_starts
        self.rh_pct = plant.rh_series_pct(course, trace.w_g_kg)
        hours = metrics.hourly_means
        self.hour_rh = hours(self.rh_pct, course.dt_s)
        self.hour_wanted = hours(self.wanted_pct, course.dt_s)
        self.hour_outdoor = hours(course.outdoor_c, course.dt_s)
        mask = hours(metrics.season_mask(course), course.dt_s)
        self.season = [share > 0.5 and wanted > 0.0 for share, wanted in zip(mask, self.hour_wanted)]
        self.missed = [
            counts and rh < wanted - MISSED_PCT
            for counts, rh, wanted in zip(self.season, self.hour_rh, self.hour_wanted)
        ]
        flat_out = self._flat_out(hours(trace.valve, course.dt_s), hours(course.may_run, course.dt_s))
        self.too_small = [missed and flat for missed, flat in zip(self.missed, flat_out)]

    def _flat_out(self, opened: list, allowed: list) -> list:
        """For each hour whether the valve, over the last hours, was open in nearly all the time that it might be."""
        found = []
        for i in range(len(opened)):
            might = sum(allowed[max(0, i - FLAT_H + 1) : i + 1])
            was = sum(opened[max(0, i - FLAT_H + 1) : i + 1])
            found.append(might > 0.0 and was >= FLAT_SHARE * might)
        return found

    def share(self, hours: list) -> float:
        """Such hours over the season's."""
        return sum(hours) / max(1, sum(self.season))

    def day(self, hour: int) -> datetime:
        """Local standard time of an hour."""
        return datetime.fromtimestamp(self.course.start_local_s, UTC) + timedelta(hours=hour)


def winter_of(asked) -> Winter:
    """The winter with the humidifier as it is."""
    sky = asked.sky
    start_local_s = sky.start_utc_s + sky.utc_offset_s
    minutes = weather.states(sky, size.STEP_S)
    course = plant.Course(asked.house, minutes, start_local_s, 1, size.STEP_S, asked.pressure_pa)
    return Winter(course, wanted_pct(course, asked))


def with_rating(winter: Winter, times: float) -> Winter:
    """The same winter with a humidifier so many times as large: its capacity is in proportion to its rating."""
    course = copy.copy(winter.course)
    course.capacity_kg_h = array("d", [times * kg_h for kg_h in course.capacity_kg_h])
    return Winter(course, winter.wanted_pct)


def wanted_pct(course, asked) -> array:
    """Humidity to hold a step: the target, the slow caps, and the glass as it is at that minute; 0 out of season."""
    caps = policies.slow_caps_pct(course, asked.settings)
    glass = plant.rh_series_pct(course, course.wet_w_g_kg)
    target = asked.target_pct
    return array("d", [max(0.0, min(target, cap, wet)) for cap, wet in zip(caps, glass)])


def told(asked, sheet, winter: Winter) -> None:
    """Missed hours by month and by cold, the worst stretch, water and heat of the season."""
    hours, missed = sum(winter.season), sum(winter.missed)
    sheet.heading(f"The winter: {asked.sky.name}")
    if hours == 0:
        sheet.text("No hour of this weather is both cold enough and in need of water: nothing to humidify.")
        return
    sheet.row("Hours of the season", f"{hours}", "", "24 h mean outdoors below 12 °C, water allowed")
    sheet.row(
        "Hours missed",
        f"{missed}",
        "",
        f"{100 * missed / hours:.1f} %: more than {MISSED_PCT:g} % RH below what is wanted",
    )
    small = sum(winter.too_small)
    sheet.row(
        "of these flat out",
        f"{small}",
        "",
        "valve open whenever it might be: too small; in the others fan or heat rested",
    )
    mean = sum(w - rh for w, rh, m in zip(winter.hour_wanted, winter.hour_rh, winter.missed) if m) / max(1, missed)
    sheet.row("Short by, in those hours", f"{mean:.1f} % RH", "", _longest(winter))
    sheet.table(
        ["By month", "hours", "missed", "wanted %", "reached %"], _by(winter, lambda i: f"{winter.day(i):%Y-%m}")
    )
    sheet.lines.append("")
    degrees = ("°F", 1.8, 32.0) if asked.us else ("°C", 1.0, 0.0)

    def cold(i: int) -> str:
        low = winter.hour_outdoor[i] // BIN_K * BIN_K
        ends = [f"{end * degrees[1] + degrees[2]:.0f}" for end in (low, low + BIN_K)]
        return f"{ends[0]} to {ends[1]} {degrees[0]}"

    rows = _by(winter, cold, key=lambda i: winter.hour_outdoor[i] // BIN_K)
    sheet.table(["By outdoor temperature", "hours", "missed", "wanted %", "reached %"], rows)
    sheet.heading("Water and heat of that winter")
    end = winter.end
    sheet.row("Valve open", f"{end.open_h:.0f} h", "", f"{winter.starts} starts")
    size.costs(asked, sheet, end.evaporated_kg, end.fed_kg, asked.house.house.indoor_c)


def _by(winter: Winter, name, key=None) -> list:
    """Rows of the season's hours grouped by name(hour), in the order of key(hour) or of time."""
    groups: dict = {}
    for i, counts in enumerate(winter.season):
        if counts:
            groups.setdefault(name(i), []).append(i)
    order = sorted(groups, key=lambda text: key(groups[text][0])) if key else groups
    rows = []
    for text in order:
        found = groups[text]
        n = len(found)
        means = [sum(values[i] for i in found) / n for values in (winter.hour_wanted, winter.hour_rh)]
        rows.append([text, n, sum(winter.missed[i] for i in found), *(f"{mean:.1f}" for mean in means)])
    return rows


def _longest(winter: Winter) -> str:
    """The longest run of missed hours in words."""
    best, run = (0, 0), 0
    for i, missed in enumerate(winter.missed):
        run = run + 1 if missed else 0
        best = max(best, (run, i))
    if best[0] == 0:
        return "none"
    return f"longest stretch {best[0]} h, from {winter.day(best[1] - best[0] + 1):%-d %B, %H:%M}"


def _too_small(winter: Winter, times: float) -> bool:
    """Whether so many times the humidifier is still too small."""
    other = with_rating(winter, times)
    return other.share(other.too_small) > FEW_SHARE


def least_rating_kg_h(winter: Winter, rated_kg_h: float, progress) -> float | None:
    """The smallest rating [kg/h] that is too small in FEW_SHARE of the season at most; None where none is."""
    low, high = 0.0, LARGEST_KG_H
    if _too_small(winter, high / rated_kg_h):
        return None
    for n in range(SEARCHES):
        progress.share(n / SEARCHES)
        middle = 0.5 * (low + high)
        if _too_small(winter, middle / rated_kg_h):
            low = middle
        else:
            high = middle
    return high


def tell(asked, sheet, out: str | None) -> None:
    """The winter in the text, and drawn as a page where `out` names one."""
    with Progress.on_terminal("winter") as progress:
        progress.stage("as rated", 0.0, 0.2)
        winter = winter_of(asked)
        told(asked, sheet, winter)
        needed = None
        if sum(winter.season):
            progress.stage("other ratings", 0.2, 0.9)
            needed = least_rating_kg_h(winter, asked.house.humidifier.kg_h, progress)
            _other_ratings(asked, sheet, needed)
        if out is not None:
            pages.write(page(asked, winter, str(sheet), needed), out)
            sheet.lines += ["", f"page: {out}"]


def _other_ratings(asked, sheet, needed: float | None) -> None:
    sheet.heading("What rating would do")
    at = size._degrees(asked.house.humidifier.supply_rating_c, asked.us)
    if needed is None:
        sheet.text(
            f"Not even {LARGEST_KG_H:g} kg/h, rated at {at}, is enough in all but {100 * FEW_SHARE:g} % of the "
            "hours: the air "
            "leaks out faster. Seal the house, or accept less in the cold."
        )
        return
    sheet.quantity("Enough in all but 1 % of the hours", needed, "water", 2, f"at {at}, with this duct and fan time")
    sheet.quantity("", size.litres_a_day(needed), "water a day", 1)


# The page


def answer(asked, winter: Winter, needed_kg_h: float | None) -> str:
    """The one plain sentence."""
    hours = sum(winter.season)
    if hours == 0:
        return "No hour of this weather is both cold enough and in need of water: nothing to humidify."
    share = f"{100 * winter.share(winter.missed):.1f}{SPACE}%"
    least = f"even {LARGEST_KG_H:g} kg/h would be too small" if needed_kg_h is None else (
        f"a rating of {size.rating_text(needed_kg_h, asked.us)} would be too small in 1{SPACE}% of them"
    )
    return f"The humidifier misses {sum(winter.missed)} of {hours} hours of the season, {share}; {least}."


def page(asked, winter: Winter, text: str, needed_kg_h: float | None) -> str:
    """The winter drawn, and the text below it; needed_kg_h: the rating that would do."""
    units = Units("us" if asked.us else "si")
    drawn = figure(winter, units)
    caption = (
        "Means by the day, by the hour when zoomed in. Need: what holds the humidity wanted at that hour, people and "
        "showers taken off. Could give: the humidifier with its valve open whenever fan and heat allow."
    )
    name = asked.house.name
    body = figures.html(drawn, caption)
    sections = (
        f'<section id="winter"><h2>The winter: {escape(asked.sky.name)}</h2>\n{body}</section>\n'
        f'<section id="figures"><h2>In figures</h2>\n<pre class="wide">{escape(text)}</pre>'
        f'</section>\n<section id="cautions"><h2>Cautions</h2>\n{report_tables.cautions_list()}</section>\n'
    )
    links = (
        '<li><a href="#winter">The winter</a></li><li><a href="#figures">In figures</a></li>'
        '<li><a href="#cautions">Cautions</a></li>'
    )
    top = (
        f"<h1>{escape(name)}: is the humidifier large enough?</h1>\n"
        f'<p class="answer">{answer(asked, winter, needed_kg_h)}</p>\n'
    )
    return report.page(f"{name}: size of the humidifier", top, links, sections, [drawn])


def figure(winter: Winter, units: Units) -> Figure:
    """Outdoor air, humidity, missed hours, need and output over the winter."""
    columns = _columns(winter, units)
    course = winter.course
    start = course.start_local_s
    levels = [Level(start, HOUR_S, columns)]
    if len(columns["rh"]) > 24 * figures.HOURLY_UP_TO_DAYS:
        daily = {name: _daily(values) for name, values in columns.items()}
        levels.append(Level(start, DAY_S, daily))
    degrees = units.temperature_unit
    shown = levels[-1].values
    panes = [
        Pane("lines", f"Outdoor temperature, {degrees}", 110, [Line("outdoor", "outdoors", "strong", degrees)],
             *charts.bounds_of([columns["outdoor"]])),
        Pane("lines", "Relative humidity, %", 190, [
            Line("rh", "reached", "strong", "%"), Line("wanted", "wanted", "dash", "%")],
            *charts.bounds_of([columns["rh"], columns["wanted"]], 10.0)),
        Pane("lanes", "Missed, share of the hours", charts.LANE + 10, [Line("by_missed", "missed", "thin", "%", 0)]),
        Pane("lines", "Water, " + ("lb/h" if units.us else "kg/h"), 170, [
            Line("need", "need", "dash", places=2), Line("gives", "could give", "strong", places=2)],
            *charts.bounds_of([shown["need"], shown["gives"]], 0.5)),
    ]  # fmt: skip
    return Figure("size", panes, levels, start, start + (course.n_steps - 1) * course.dt_s, [], start, course.dt_s, 100)


def _columns(winter: Winter, units: Units) -> dict:
    """Hourly means of what the figure shows."""
    course = winter.course
    factor = 1.0 / quantities.POUND_KG if units.us else 1.0
    hours = metrics.hourly_means
    need, gives = array("d"), array("d")
    for k in range(course.n_steps):
        ratio = size.ratio_g_kg(course.indoor_c[k], winter.wanted_pct[k], course.pressure_pa)
        air_kg_h = course.air_kg * course.air_changes_per_h[k]
        water = 0.001 * air_kg_h * (ratio - course.outdoor_w_g_kg[k]) - course.gain_kg_h[k]
        need.append(factor * max(0.0, water) if winter.wanted_pct[k] > 0.0 else 0.0)
        gives.append(factor * course.capacity_kg_h[k] * course.may_run[k])
    return {
        "outdoor": [units.temperature(c) for c in winter.hour_outdoor],
        "rh": winter.hour_rh,
        "wanted": winter.hour_wanted,
        "by_missed": [100.0 * missed for missed in winter.missed],
        "need": hours(need, course.dt_s),
        "gives": hours(gives, course.dt_s),
    }


def _daily(values) -> list:
    """Means of whole days; the last may be short."""
    return [sum(values[i : i + 24]) / len(values[i : i + 24]) for i in range(0, len(values), 24)]
