"""The report's tables and plain text: policies, months, margin, reasons, settings, assumptions, cautions."""

from datetime import UTC, datetime
from html import escape

from dewcore.settings import SWITCH, TABLE
from dewcore.settings_help import HELP
from dewsim import best, cautions, housefile
from dewsim.units import SPACE, Units, number

# What the controller may have been told of the weather to come.
TOLD = {
    "simulated": "a forecast every six hours, as wrong, late and patchy as usual ones are assumed to be",
    "perfect": "the true temperatures of the next three days",
    "none": "no forecast at all: only what falls are known from hard winters and from its own record",
}

AHEAD = (
    "Looking ahead: the controller",
    "The same code with nothing switched off. It learns how fast the house dries and what bursts it has, expects cold "
    "by the forecast and by the largest falls known, and lets the house be as humid as it can still dry in time; never "
    "set below the plain reset.",
)
CAPS = (
    "The caps",
    "What walls, attic and owner allow. No policy waters above them; the house may be above them by its own moisture, "
    "or for a while after the outdoors cooled.",
)
BESIDE_FOG = (
    " No excess dries to nothing in time, so beside this house's own fog it is let off: it need not keep dry "
    "the minutes "
    f"up to {best.NEAR_WET_MIN} minutes from one in which the house is wet by itself, nor those in which the shut "
    f"house's air holds more than {100 * best.NEAR_WET_SHARE:g} % of what wets the glass. The added wet minutes above "
    "count all of these, for every policy, and no share is given."
)


def table(caption: str, head: list, rows: list, kind: str = "") -> str:
    """An HTML table of ready HTML cells; the first cell of a row is its heading."""
    columns = "".join(f'<th scope="col">{cell}</th>' for cell in head)
    body = "".join(line(row) for row in rows)
    return frame(caption, columns, body, kind)


def line(row: list) -> str:
    """One row of ready HTML cells, the first its heading."""
    return f'<tr><th scope="row">{row[0]}</th>' + "".join(f"<td>{cell}</td>" for cell in row[1:]) + "</tr>\n"


def frame(caption: str, columns: str, body: str, kind: str) -> str:
    """The table around ready head cells and rows."""
    return (
        '<div class="wide"><table '
        f'class="{kind}"><caption>{caption}</caption>\n<thead><tr>{columns}</tr></thead>\n'
        f"<tbody>\n{body}</tbody></table></div>\n"
    )


# Policies


def policy_names(blocks: dict) -> dict:
    """Column heading of each policy."""
    dial = blocks["dial"].get("setting_pct")
    names = {
        "shut": "no humidifier",
        "dial": "dial, left shut" if dial is None else f"dial at {dial:g}{SPACE}%",
        "plain": "plain reset" if "outlook" in blocks else "plain reset: the controller",
        "plain_no_margin": "reset without margin, not offered",
        "outlook": "looking ahead: the controller",
        "best": "best possible",
    }
    return {name: names[name] for name in blocks}


def policies(replay, units: Units) -> str:
    """The policies side by side, and what each is."""
    blocks = replay.result["policies"]
    names = policy_names(blocks)
    head = ["", *(f"<span>{escape(text)}</span>" for text in names.values())]
    rows = [
        [label, *(show(blocks[name]) for name in names)]
        for label, show in policy_rows(replay, units)
        if any(show(blocks[name]) for name in names)
    ]
    table_html = table("One winter, one house, the same weather, showers and cooking", head, rows, "numbers")
    foggy = replay.result["headroom_class"] == "foggy"
    return table_html + explained(blocks["dial"].get("setting_pct"), replay.shipped, foggy)


def explained(setting_pct: float | None, shipped: str, foggy: bool) -> str:
    """What each policy is; setting_pct: the dial's [%], None where none adds no wet minute; shipped: its name.

    foggy: the house fogs by itself, where `best` is let off the minutes beside that fog.
    """
    dial = (
        "No constant setting from 5 % up keeps from adding wet minutes in this winter, so it stays shut."
        if setting_pct is None
        else f"Here {setting_pct:g} %. Nobody could have known it beforehand."
    )
    pairs = (
        ("No humidifier", "The same house with the valve never opened: what it does by itself."),
        (
            "Dial",
            "A dial left at one setting all winter: the highest, in steps of 0.5 %, that adds no wet minute, "
            f"chosen with hindsight. {dial}",
        ),
        (
            "Plain reset" + (": the controller" if shipped == "plain" else ""),
            "The decision code that runs on the board, scan for scan: the target follows the outdoor "
            "temperature under a fixed margin and a margin for the sensors' tolerances."
            + ("" if shipped == "plain" else " The look-ahead is switched off in it."),
        ),
        (
            "Reset without margin",
            "A reset without margin, for comparison: not offered. It shows how near wet the glass came.",
        ),
        *(() if shipped == "plain" else (AHEAD,)),
        (
            "Best possible",
            "A controller that knew the whole winter beforehand, under the same caps: no board can do that. It is the "
            "measure of the others; the share compares the humidity gained." + (BESIDE_FOG if foggy else ""),
        ),
        CAPS,
    )
    return "<dl>" + "".join(f"<dt>{name}</dt><dd>{text}</dd>\n" for name, text in pairs) + "</dl>"


def policy_rows(replay, units: Units) -> list:
    """(heading, function of a policy's block to text) in the order an owner asks."""
    water, gap = units.water_unit, units.length_unit
    board = number(units.length(replay.house.floor.board_mm), 2 if units.us else 0)
    none = "\u2013"

    def rh(block):
        return none if block["mean_rh_pct"] is None else number(block["mean_rh_pct"])

    return [
        ("Mean humidity, heating season, %", rh),
        ("Added wet minutes", lambda b: number(b["added_wet_minutes"], 0)),
        ("Wet minutes in all, the house's own included", lambda b: number(b["wet_minutes"], 0)),
        ("Hours below 25 %", lambda b: number(b["hours_below_25_pct"], 0)),
        ("Hours above the walls' and owner's caps", lambda b: number(b["hours_above_cap"], 0)),
        ("Share of the best possible gain, %", lambda b: share(b, none)),
        ("Valve open, hours", lambda b: number(b["valve_hours"], 0)),
        ("Valve starts", lambda b: number(b["valve_starts"], 0)),
        (f"Water evaporated, {water}", lambda b: number(units.water(b["water_evaporated_litres"]), 0)),
        (f"Water fed, most of it drains, {water}", lambda b: number(units.water(b["water_fed_litres"]), 0)),
        ("Floor, lowest moisture content, %", lambda b: number(b["floor_emc_min_pct"])),
        ("Floor, highest moisture content, %", lambda b: number(b["floor_emc_max_pct"])),
        (
            f"Gap at a board {board} {gap} wide, {gap}",
            lambda b: number(units.length(b["floor_gap_mm"]), 3 if units.us else 2),
        ),
    ]


def share(block: dict, none: str) -> str:
    """share_of_best_pct where it exists; empty where this version has none."""
    if "share_of_best_pct" not in block:
        return ""
    value = block["share_of_best_pct"]
    return none if value is None else number(value, 0)


# Months


def months(replay, units: Units) -> str:
    """The season's chart in figures, by month of the heating season."""
    course = replay.course
    run, shut = replay.runs[replay.result["shipped_policy"]], replay.runs["shut"]
    rows = []
    for title, a, b in month_spans(course):
        n = b - a
        outdoor_c = sum(course.outdoor_c[a:b]) / n
        hours = sum(run.valve[a:b]) / run.scans_per_step * course.dt_h
        wet = sum(
            1 for w, s, x in zip(run.w_g_kg[a:b], shut.w_g_kg[a:b], course.wet_w_g_kg[a:b]) if w >= x > s
        )
        rows.append(
            [
                title,
                number(units.temperature(outdoor_c)),
                number(units.temperature(min(course.outdoor_c[a:b]))),
                number(sum(shut.rh_pct[a:b]) / n),
                number(sum(run.rh_pct[a:b]) / n),
                number(hours, 0),
                number(wet * course.dt_s // 60, 0),
            ]
        )
    degrees = units.temperature_unit
    head = [
        "Month",
        f"Mean outdoors, {degrees}",
        f"Lowest outdoors, {degrees}",
        "RH without, %",
        "RH with, %",
        "Valve open, h",
        "Added wet minutes",
    ]
    return table("The same by month, all hours", head, rows, "numbers")


def month_spans(course) -> list:
    """(name, first, end) steps of each calendar month that the record touches; step 0 left out.

    A step belongs to the month of the minute that ends at it: midnight still to the day before.
    """
    spans = []
    first = 1
    while first < course.n_steps:
        moment = datetime.fromtimestamp(course.start_local_s + first * course.dt_s - 1, UTC)
        year, month = moment.year + moment.month // 12, moment.month % 12 + 1
        after_s = int(datetime(year, month, 1, tzinfo=UTC).timestamp()) - course.start_local_s
        end = min(course.n_steps, max(first + 1, after_s // course.dt_s + 1))
        spans.append((f"{moment:%B}", first, end))
        first = end
    return spans


# Settings


def settings(replay, units: Units) -> str:
    """All of the one table, what differs from its default marked, each with its help in a row of its own."""
    head = ["Setting", "Value", "Default", "Unit", "Allowed"]
    columns = "".join(f'<th scope="col">{cell}</th>' for cell in head)
    body = "".join(setting_rows(row, getattr(replay.settings, row[0]), units) for row in TABLE)
    return (
        "<p>Every setting of the controller in this replay. Those that differ from the default say so.</p>"
        + frame("Settings of the controller", columns, body, "settings")
    )


def setting_rows(row: tuple, value, units: Units) -> str:
    """Two table rows: the value and its bounds, then what it means and what too little and too much do."""
    name, unit, default, low, high = row
    meaning, too_low, too_high = HELP[name]
    shown = setting_text(value, unit, units)
    mark = ""
    if value != default:
        shown = f"<strong>{shown}</strong>"
        mark = ' <strong class="changed">changed</strong>'
    below, above = ("0", "1") if unit == SWITCH else ("too low", "too high")
    effect = f"{escape(meaning)} ({below}: {escape(too_low)}; {above}: {escape(too_high)})"
    cells = [
        f"<code>{name}</code>{mark}",
        shown,
        setting_text(default, unit, units),
        "" if unit == "1" else unit,
        f"{low:g} to {high:g}".replace("-", "\u2212"),
    ]
    return line(cells) + f'<tr class="help"><td colspan="5">{effect}</td></tr>\n'


def setting_text(value, unit: str, units: Units) -> str:
    """A setting's value; in °F too where the report is in US units, for the table itself is SI."""
    text = f"{value:g}".replace("-", "\u2212")
    if units.us and unit == "°C":
        text += f" ({units.temperature_text(value)})"
    elif units.us and unit == "K":
        text += f" ({units.difference_text(value)})"
    return text


# Assumptions


def assumed(replay, units: Units) -> str:
    """Where everything came from and what was left out."""
    sky = replay.weather
    items = [
        f"Weather: {escape(sky.origin)}.",
        *(sentence(note) for note in sky.notes),
        "Between the weather's samples temperature, wind and humidity ratio are taken as linear. All times "
        "are local standard time; there is no summer time.",
        "Typical-year weather joins months of different years; no such winter was ever lived through as a "
        "whole."
        if sky.kind in ("epw", "tmy3")
        else "One winter; another one may be colder, or fall faster.",
        "The house is one well-mixed air with "
        + buffer_text(replay.house)
        + "; the coldest room differs from it only by "
        "the [room] section of the house file.",
        "Not modelled: sun and sky on the glass, water leaving the air by condensing, moisture between "
        "rooms, the cooling of the supply air by evaporation, window opening except to shed surplus heat.",
        f"Showers, cooking, laundry and sensor noise are drawn at random from seed {replay.seed}; another "
        "seed gives another winter of the same kind.",
        f"The house starts at {number(replay.start_pct, 0)} % relative humidity in air and store: 45 %, or what its "
        "first day settles at if that is drier.",
        "The heating season counts the minutes whose trailing 24-hour mean outdoors is below "
        f"{units.temperature_text(12.0, 0)}; means and hours above are of these.",
        "Sensors: " + sensors_text(replay) + ".",
        *(
            ["The forecast's errors, late, lost and holed issues are drawn at random from the same seed."]
            if "outlook" in replay.runs and replay.forecast == "simulated"
            else []
        ),
        "Every policy obeys the same caps of walls and owner. The wet minutes of the simulation are those "
        "of the modelled coldest spot alone.",
        "The methods name their sources; no conformity with a standard is claimed.",
    ]
    return "<ul>" + "".join(f"<li>{item}</li>" for item in items) + "</ul>" + house_table(replay.house)


def sentence(note: str) -> str:
    """A note as an escaped sentence."""
    return escape(note[:1].upper() + note[1:].rstrip(".") + ".")


def buffer_text(house) -> str:
    """The moisture stores in words."""
    return (
        "nothing that stores moisture",
        "one store of moisture",
        "light things and a slow store of moisture",
    )[house.buffer.nodes]


def sensors_text(replay) -> str:
    """Whether the replay's sensors err."""
    if replay.sensors.exact:
        return "the simulated humidity sensor reads without error; thermometers as in the house file"
    return (
        "errors as in the [sensors] section of the house file, unknown to the controller; tolerances as in "
        "the settings"
    )


def house_table(house) -> str:
    """The house file's keys that differ from their defaults."""
    rows = []
    for row in housefile.KEYS:
        value = getattr(getattr(house, row.section) if row.section else house, row.name)
        if value != row.default and row.section:
            rows.append(
                [
                    f"<code>{row.section}.{row.name}</code>",
                    plain(value),
                    plain(row.default),
                    row.unit,
                    row.meaning,
                ]
            )
    if not rows:
        return "<p>The house file has every default.</p>"
    cells = [[row[0], *(escape(str(cell)) for cell in row[1:])] for row in rows]
    return table(
        "The house file, where it differs from its defaults",
        ["Key", "Value", "Default", "Unit", "Meaning"],
        cells,
        "house",
    )


def plain(value) -> str:
    """A house-file value as text."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}".replace("-", "\u2212") if isinstance(value, (int, float)) else str(value)


def cautions_list() -> str:
    """The cautions of every surface, local codes and licensed practice among them."""
    return (
        "<p>Local codes and licensed practice come before anything on this page.</p>\n<ul>\n"
        + cautions.html_items()
        + "\n</ul>"
    )
