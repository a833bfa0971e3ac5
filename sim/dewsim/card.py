"""`dewmargin card`: one page to print and keep at the unit: targets from cold to mild, fields to fill, how to stop it.

Every target is the decision code's own (`report_margin.decided_at`): plain reset, curtains drawn, a week as cold.
"""

from html import escape

from dewcore.ceiling import BINDS_NAMES
from dewcore.settings import SWITCH, TABLE
from dewsim import housefile, pages, policies, printed, report
from dewsim.errors import InputError, shown_path
from dewsim.report_margin import decided_at
from dewsim.units import MINUS, SPACE, Units

OUT = "dewmargin-card.html"
STEP_C = 5.0
STEP_F = 10.0
MOST_STEPS = 14
LEAST_DIAL_PCT = 8  # a dial set lower is as good as shut
WIDTH, HIGH, TOP = 760, 68, 16  # of the strip's bars
BINDS = {"glass": "glass", "outlook": "glass", "corner": "corner", "envelope": "walls, attic", "owner": "your wish"}
# settings that the card shows, where they are not the table's default or a person needs them at the unit
ALWAYS = (
    "glass_f_day", "glass_f_night", "wish_pct", "cap_pct", "band_pct", "plain_margin_k", "rh_tolerance_pct",
    "rh_offset_pct", "rh_gain", "design_outdoor_c", "season_max_c",
)  # fmt: skip
SENSORS = ("indoors, °C and RH", "outdoors", "supply air", "glass", "coldest room")
MEASURED = (
    "terminal to common, heat call, VAC", "terminal to common, idle, VAC", "valve in series, mA", "branch fuse, A",
    "fan proof seen on and off, grade", "contact open: load dead", "water seen at the drain after, s",
    "water gone after closing, s", "leak wire tried: valve shut", "supply air on a heat call, °C / °F",
)  # fmt: skip
YEARLY = ("sensor at 2 salts", "pad", "strainer", "drain, air gap", "fuse", "windows, attic")


class Step:
    """One step of the strip: outdoor_c, what the decision code makes of it, and the dial's setting."""

    def __init__(self, settings, indoor_c: float, outdoor_c: float):
        controller = decided_at(settings, indoor_c, outdoor_c)
        self.outdoor_c = outdoor_c
        self.target_pct = controller.decision.target_pct
        self.binds = BINDS_NAMES[controller.decision.binds]
        self.wets_pct = controller.terms.glass_pct
        self.season_over = controller.season_over
        self.dial_pct = int(self.target_pct)


def run(arguments) -> int:
    """Write the page and say where it is."""
    house = housefile.House() if arguments.house == "default" else housefile.load(arguments.house)
    settings = policies.settings_for(house, shown_path(arguments.house))
    out = OUT if arguments.out is None else arguments.out
    us = (arguments.units or house.units) == "us"
    pages.write(render(house, settings, us), out)
    print(f"card: {out}")
    return 0


def outdoor_steps(settings, us: bool) -> list:
    """Round outdoor temperatures [°C] from the design cold to the end of the season, in the leading unit's steps."""
    step = STEP_F if us else STEP_C
    lowest, highest = (c * 1.8 + 32.0 if us else c for c in (settings.design_outdoor_c, settings.season_max_c))
    first = -(-lowest // step) * step
    values = []
    while first + step * len(values) <= highest:
        values.append(first + step * len(values))
    values = values[-MOST_STEPS:] if len(values) > MOST_STEPS else values
    return [(value - 32.0) / 1.8 if us else value for value in values]


def render(house, settings, us: bool) -> str:
    """The whole page."""
    indoor_c = house.house.indoor_c
    steps = [Step(settings, indoor_c, c) for c in outdoor_steps(settings, us)]
    if not steps:
        raise InputError(
            "card: design_outdoor_c is above season_max_c, so there is no cold to make a card for; correct it"
        )
    columns = two(settings_part(settings, us) + sensors(), off() + measured()) + yearly()
    parts = (alarm(), strip(steps, indoor_c, us), dial(steps, us), columns, foot())
    title = f"{house.name}: card for the humidifier"
    return printed.page(title, report.own("card.css"), f"""<h1>{escape(house.name)}: humidifier</h1>
<p class="made">Keep at the unit. Made on <span class="blank">&emsp;&emsp;&emsp;&emsp;&emsp;</span> for the settings
below; make a new one when they change.</p>
{"".join(parts)}
""")  # fmt: skip


def alarm() -> str:
    """What comes before everything else."""
    return (
        '<p class="alarm">Smell of gas, or a CO alarm: leave the house at once, touch no switch, call from outside. '
        "Do not come back for anything here.</p>\n"
    )


def off() -> str:
    """How to turn it off."""
    return """<section><h2>To turn it off</h2>
<ol class="off"><li>Selector at the unit to <b>off</b>: the contact is open, the valve shut. The furnace heats on.</li>
<li>Water still running, a leak, or an absence: <b>close the stop valve by hand</b>. It is at <span class="blank">
&emsp;&emsp;&emsp;&emsp;&emsp;&emsp;&emsp;&emsp;&emsp;</span></li>
<li>Season end: stop valve shut, and the damper in the duct to summer. After an idle week flush for 2 minutes.</li>
<li>Only then the board's 5 V supply. Behind the furnace panel are mains: leave it shut.</li></ol>
<p>A leak wire shuts the valve; it does not stop a leak before it. A board cannot close a valve that is stuck open.</p>
</section>
"""


def degrees(c: float, unit: str) -> str:
    """A whole temperature in "C" or "F" with a true minus sign."""
    value = round(c * 1.8 + 32.0 if unit == "F" else c)
    return f"{MINUS if value < 0 else ''}{abs(value)}{SPACE}°{unit}"


def strip(steps: list, indoor_c: float, us: bool) -> str:
    """The target from cold to mild as bars, and what sets it."""
    wide = WIDTH / len(steps)
    top = max(40.0, max(step.target_pct for step in steps))
    parts = []
    for n, step in enumerate(steps):
        left, middle = n * wide, (n + 0.5) * wide
        tall = HIGH * step.target_pct / top
        base = TOP + HIGH
        lead, beside = ("F", "C") if us else ("C", "F")
        parts.append(f'<rect class="t" x="{left:.1f}" y="{base - tall:.1f}" width="{wide:.1f}" height="{tall:.1f}"/>')
        parts.append(
            f'<text class="big" x="{middle:.1f}" y="{base - tall - 4:.1f}">{step.target_pct:.0f}{SPACE}%</text>'
        )
        parts.append(f'<text x="{middle:.1f}" y="{base + 15}">{degrees(step.outdoor_c, lead)}</text>')
        parts.append(f'<text x="{middle:.1f}" y="{base + 29}">{degrees(step.outdoor_c, beside)}</text>')
    parts.append(f'<path class="f" d="M0 {TOP + HIGH}H{WIDTH}"/>')
    parts += _bands(steps, wide, TOP + HIGH + 36)
    inside = f"{degrees(indoor_c, 'F' if us else 'C')} / {degrees(indoor_c, 'C' if us else 'F')}"
    height = TOP + HIGH + 60
    return f"""<section id="strip"><h2>Target by outdoor temperature, from cold to mild, and what sets it</h2>
<svg viewBox="0 0 {WIDTH} {height}" role="img" aria-label="Target by outdoor temperature">{"".join(parts)}</svg>
<p>Relative humidity indoors at {inside}. What the controller looks ahead to may raise it above this, never lower it.
Reckoned with curtains drawn and a week as cold; after warmer days walls and attic allow more.</p></section>
"""


def _bands(steps: list, wide: float, y: float) -> list:
    """A band for each run of steps that the same surface binds."""
    parts = []
    n = 0
    while n < len(steps):
        end = n
        while end < len(steps) and steps[end].binds == steps[n].binds:
            end += 1
        parts.append(f'<rect class="f" x="{n * wide + 1:.1f}" y="{y}" width="{(end - n) * wide - 2:.1f}" height="18"/>')
        parts.append(f'<text x="{(n + end) / 2 * wide:.1f}" y="{y + 13}">{BINDS[steps[n].binds]}</text>')
        n = end
    return parts


def dial(steps: list, us: bool) -> str:
    """The same as a table for a dial turned by hand."""
    lead, beside = ("F", "C") if us else ("C", "F")
    rows = (
        ("Coldest expected in 2 days", [degrees(step.outdoor_c, lead) for step in steps]),
        ("", [degrees(step.outdoor_c, beside) for step in steps]),
        ("Set the dial to, % RH", [f"<b>{_dial(step)}</b>" for step in steps]),
        ("Glass gets wet at, % RH", [f"{step.wets_pct:.0f}" for step in steps]),
    )
    body = "".join(
        f'<tr><th scope="row">{name}</th>' + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>\n"
        for name, cells in rows
    )
    return f"""<section id="dial"><h2>By hand, while the controller is away</h2>
<table class="n"><tbody>{body}</tbody></table>
<p>A dial knows no forecast: set it by the coldest night of the next two days, and turn it down before the cold, not
after. Above the last column: off. Wet glass at any setting: turn it down by 5.</p></section>
"""


def _dial(step: Step) -> str:
    return "off" if step.season_over or step.dial_pct < LEAST_DIAL_PCT else str(step.dial_pct)


def two(left: str, right: str) -> str:
    """Two parts side by side."""
    return f'<div class="two"><div>{left}</div><div>{right}</div></div>\n'


def settings_part(settings, us: bool) -> str:
    """The settings that matter at the unit, and every one that is not the default; two to a line."""
    cells = []
    units = Units("us")
    for name, unit, default, _, _ in TABLE:
        value = getattr(settings, name)
        if name in ALWAYS or value != default and unit != SWITCH:
            digits = str(value) if isinstance(value, int) else f"{value:.4g}"
            shown = digits.replace("-", MINUS) + ("" if unit == "1" else SPACE + unit)
            if us and unit in ("°C", "K"):
                us_text = units.temperature_text(value) if unit == "°C" else units.difference_text(value)
                shown = f"{us_text} ({shown})"
            cells.append(f"<td>{name}</td><td>{shown}</td>")
    rows = ["<tr>" + "".join(cells[n : n + 2]) + "</tr>\n" for n in range(0, len(cells), 2)]
    fitted = [name[4:] for name, unit, _, _, _ in TABLE if name.startswith("has_") and getattr(settings, name)]
    return (
        f'<section id="settings"><h2>Settings</h2><table><tbody>{"".join(rows)}</tbody></table>'
        f"<p>Fitted: {', '.join(fitted).replace('_', ' ')}.</p></section>\n"
    )


def _fields(names: tuple, columns: tuple) -> str:
    """A table of empty cells to write into; without any column name there is no head."""
    head = "".join(f"<th>{name}</th>" for name in ("", *columns))
    body = "".join(f"<tr><td>{name}</td>" + '<td class="blank"></td>' * len(columns) + "</tr>\n" for name in names)
    top = f"<thead><tr>{head}</tr></thead>" if any(columns) else ""
    return f"<table>{top}<tbody>{body}</tbody></table>"


def sensors() -> str:
    """Fields for the sensors' numbers."""
    return f'<section id="sensors"><h2>Sensors</h2>{_fields(SENSORS, ("where, number", "checked"))}</section>\n'


def measured() -> str:
    """Fields for what was measured when it was put into service."""
    return f'<section id="measured"><h2>Measured at commissioning</h2>{_fields(MEASURED, ("",))}</section>\n'


def yearly() -> str:
    """Fields for what is done each year."""
    head = "".join(f"<th>{name}</th>" for name in YEARLY)
    blank = ("<tr><td>20</td>" + '<td class="blank"></td>' * len(YEARLY) + "</tr>\n") * 2
    return (
        f'<section id="yearly"><h2>Each year, with the date</h2><table><thead><tr><th></th>{head}</tr></thead>'
        f"<tbody>{blank}</tbody></table></section>\n"
    )


def foot() -> str:
    """What no figure on the page says."""
    return """<p class="foot">The modelled coldest spot, within stated tolerances: look at windows, walls and attic
yourself. Good glass does not protect walls and attic: seal leaks of indoor air. Water: cold, metal tubing, air gap
at the drain, unit level. The furnace maker's diagram, local code and licensed practice come first.</p>
"""
