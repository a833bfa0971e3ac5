"""Writes what a run of drawn houses shows: houses.json, and houses.html for people."""

import json
from html import escape
from pathlib import Path

from dewsim import family_plots, family_table, houses, printed, report, report_tables
from dewsim.units import counted, number

SUMMARY, PAGE = "houses.json", "houses.html"
STYLE = """
.panes { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(20rem, 100%), 1fr)); gap: .4rem 1.6rem; }
.panes .static text { font-size: 13px; }
html:not(.script) .panes .static { min-width: 0; }
.classes td:nth-child(2), .classes td:nth-child(3), .classes thead th:nth-child(-n + 3) { text-align: left; }
.classes thead th:nth-child(n + 4) { text-align: right; }
.cases code { display: block; }
"""
LEFT_OUT = {
    houses.FOGS: "fogs by itself for over 600 minutes",
    houses.HUMID: "over 42 % without a humidifier",
    houses.LITTLE_GAIN: "even the best possible controller gains under 4 %",
}
LISTS = {
    "wet": "Most added wet minutes",
    "low_share": "Least share of the best possible gain, with a forecast",
    "drier_than_plain": "Drier than the plain reset by more than 0.1 %",
}


def summary(plan, cases: dict) -> dict:
    """What houses.json holds."""
    found = family_table.passed(cases)
    counts = family_table.counts(cases, len(plan.winters))
    return {
        "schema": 1,
        "seed": plan.seed,
        "houses": plan.n_houses,
        "winters": [
            {"name": winter.name, "origin": winter.sky.origin, **count} for winter, count in zip(plan.winters, counts)
        ],
        "table": family_table.table(found),
        "worst": family_table.worst(plan, found),
    }


def write(plan, cases: dict, folder: Path) -> str:
    """Both files, each whole or not at all; the text to print."""
    found = summary(plan, cases)
    whole(folder / SUMMARY, json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    whole(folder / PAGE, page(found, family_table.passed(cases)))
    lines = [family_table.text(plan, cases)]
    for case in found["worst"]["wet"]:
        lines.append(f"{case['counted_wet_minutes']} min, {case['policy']}, {case['regime']}: {case['command']}")
    return "\n".join([*lines, f"report: {folder / PAGE}"])


def whole(path: Path, text: str) -> None:
    """Put a file in place at once."""
    part = path.with_name(path.name + ".part")
    part.write_text(text, "utf-8")
    part.replace(path)


def page(found: dict, cases: list) -> str:
    """houses.html, all in one file."""
    title = f"{counted(len(cases), 'drawn house')} over {counted(len(found['winters']), 'winter')}"
    wet = "".join(
        family_plots.wet_figure(cases, regime, "forecast") for regime in family_plots.REGIMES
    )
    body = f"""<main>
<h1>{escape(title)}</h1>
<p class="from">Simulated houses, drawn at random (seed {found["seed"]}); no real house was measured. Wet
minutes are those of the modelled coldest spot; dry glass says nothing about walls and attic.</p>
<p>In each winter these are the first {counted(found["houses"], "house")} drawn that can gain by humidifying; the
table says how many draws were left out, and why. No other choice was made.</p>
<h2>The winters</h2>
{winters_table(found)}
<h2>By headroom class</h2>
<p>An <em>added wet minute</em> is one in which the modelled coldest glass is wet and the same house without any
humidifier is dry. The <em>share</em> is the mean humidity gained, as a share of what the best possible controller,
which knows the whole winter, gains in the same house without an added wet minute.</p>
{class_table(found["table"])}
<h2>How the houses are spread</h2>
<div class="panes">
{family_plots.shares_figure(cases)}{wet}</div>
<h2>The worst cases</h2>
{worst_tables(found["worst"])}
<h2>Cautions</h2>
{report_tables.cautions_list()}
</main>
"""
    return printed.page(title, report.own("report.css") + STYLE, body)


def winters_table(found: dict) -> str:
    """Where the houses stood, and what was left out."""
    heads = "".join(f"<th>{escape(text)}</th>" for text in ("Winter", "drawn", "passed", *LEFT_OUT.values()))
    rows = []
    for winter in found["winters"]:
        numbers = [winter["drawn"], winter["passed"], *(winter["left_out"][reason] for reason in LEFT_OUT)]
        cells = "".join(f"<td>{number(n, 0)}</td>" for n in numbers)
        rows.append(f'<tr><th title="{escape(winter["origin"])}">{escape(winter["name"])}</th>{cells}</tr>')
    return wide(f'<table class="numbers"><thead><tr>{heads}</tr></thead><tbody>{"".join(rows)}</tbody></table>')


def class_table(table: dict) -> str:
    """The figures of each class, regime and policy."""
    names = (
        "Class", "sensors", "policy", "houses", "without an added wet minute", "worst, minutes", "counted, worst",
        "share of best: median, %", "10th percentile, %", "worst, %", "gain, % RH", "hours below 25 %",
    )  # fmt: skip
    heads = "".join(f"<th>{escape(name)}</th>" for name in names)
    rows = []
    for group, regimes in table.items():
        for regime, policies in regimes.items():
            for policy, cell in policies.items():
                rows.append(class_row(group, regime, policy, cell))
    note = (
        "<p>Medians of gain and hours. In houses that fog by themselves, minutes within an hour of such fog do not "
        "count, nor those with the shut house within 2 % of it: “counted” is what is left.</p>"
    )
    body = "".join(rows)
    return wide(f'<table class="numbers classes"><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>') + note


def class_row(group: str, regime: str, policy: str, cell: dict) -> str:
    """One row of class_table."""
    share = cell["share_of_best_pct"]
    zero = f"{100 * cell['zero_added'] / cell['houses']:.0f} %"
    counted = ""
    if "zero_added_under_rule" in cell:
        counted = f"{100 * cell['zero_added_under_rule'] / cell['houses']:.0f} %, {cell['worst_under_rule']}"
    cells = [regime, family_plots.LABELS[policy], str(cell["houses"]), zero, number(cell["worst_added_wet_minutes"], 0)]
    cells += [counted, *(number(share[name], 0) for name in ("median", "tenth_percentile", "worst"))]
    cells += [number(cell["gain_median_pct"], 1), number(cell["hours_below_25_median"], 0)]
    return f"<tr><th>{escape(group)}</th>" + "".join(f"<td>{escape(text)}</td>" for text in cells) + "</tr>"


def worst_tables(lists: dict) -> str:
    """Each list of worst cases with the commands."""
    parts = []
    for name, title in LISTS.items():
        if not lists[name]:
            parts.append(f"<p>{escape(title)}: none.</p>")
            continue
        rows = "".join(
            f"<tr><td>{escape(case['class'])}, R {case['R']:.2f}</td>"
            f"<td>{escape(case['regime'])}, {escape(family_plots.LABELS[case['policy']])}</td>"
            f"<td>{number(case['counted_wet_minutes'], 0)} min</td><td>{number(case['share_of_best_pct'], 0)} %</td>"
            f"<td><code>{escape(case['command'])}</code></td></tr>"
            for case in lists[name]
        )
        heads = "<th>House</th><th>Run</th><th>added wet</th><th>share</th><th>alone</th>"
        parts.append(wide(
            f'<table class="cases"><caption>{escape(title)}</caption><thead><tr>{heads}</tr></thead>'
            f"<tbody>{rows}</tbody></table>"
        ))
    return "".join(parts)


def wide(table: str) -> str:
    """A table that scrolls by itself where the page is narrow."""
    return f'<div class="wide">{table}</div>\n'
