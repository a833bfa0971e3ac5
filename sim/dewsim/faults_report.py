"""What a campaign of faults found: a table for the terminal, faults.csv with a row for every run, faults.html."""

import csv
import io
import shlex
from html import escape
from pathlib import Path
from statistics import median

from dewcore import words
from dewsim import faults, printed, report, report_tables
from dewsim.family_report import whole, wide
from dewsim.faults_world import LEASE_S
from dewsim.units import counted

TABLE, PAGE = "faults.csv", "faults.html"
COLUMNS = (
    "fault", "number", "circuit", "path", "winter", "house", "onset_min", "right", "right_s", "wrong", "added_wet_min",
    "added_wet_min_without_fault", "added_wet_min_if_told", "starts", "starts_without_fault", "unproven_s", "forced_s",
    "open_after_s", "command",
)  # fmt: skip
HEADS = ("no.", "fault", "runs", "cause named", "median", "slowest", "wet min", "if told", "starts", "unproven s",
         "false words")  # fmt: skip
LEGEND = """cause named: share of the runs in which the right words came; median, slowest: after how long.  wet min:
most minutes wet that are dry without a humidifier; if told: the same, the water closed by hand a day after the right
words.  starts: with the fault / without.  unproven s: longest open beyond the lease without a proven fan."""


def duration(seconds: "float | None") -> str:
    """`10 s`, `15 min`, `7.5 h` or `12 d`."""
    if seconds is None:
        return "never"
    for unit, size, least in (("d", 86400.0, 172800.0), ("h", 3600.0, 5400.0), ("min", 60.0, 90.0)):
        if abs(seconds) >= least:
            return f"{seconds / size:.1f} {unit}".replace(".0 ", " ")
    return f"{seconds:.0f} s"


def command(plan, winter: int, index: int, name: str) -> str:
    """What replays one row alone."""
    weather = shlex.quote(plan.winters[winter].name)
    return f"dewmargin faults --fault {name} --weather {weather} --seed {plan.seed} --case {index}"


def rows(plan, cases: dict) -> list:
    """Every run of a fault as a dict of COLUMNS."""
    found = []
    for (winter, index), case in cases.items():
        for name, row in case.get("runs", {}).items():
            fault = faults.found([name])[0]
            if name in faults.FREE_NAMES:
                continue
            found.append({
                "fault": name, "number": fault.number, "circuit": fault.config, "path": fault.path,
                "winter": plan.winters[winter].name, "house": index, "onset_min": row["onset_k"],
                "right": is_right(fault, row), "right_s": row["right_s"], "wrong": " ".join(row["wrong"]),
                "added_wet_min": row["added"], "added_wet_min_without_fault": row["added_free"],
                "added_wet_min_if_told": row.get("added_acted", row["added"]), "starts": row["starts"],
                "starts_without_fault": row["starts_free"], "unproven_s": row["unproven_s"],
                "forced_s": row["forced_s"], "open_after_s": row["open_after_s"],
                "command": command(plan, winter, index, name),
            })  # fmt: skip
    return found


def is_right(fault, row: dict) -> bool:
    """Whether the owner was told the cause, or, where nothing is broken enough to be told, nothing false."""
    return row["right_s"] is not None if fault.right else not row["wrong"]


def summary(found: list) -> list:
    """A line for each fault, as HEADS."""
    lines = []
    for name in dict.fromkeys(row["fault"] for row in found):
        fault = faults.found([name])[0]
        mine = [row for row in found if row["fault"] == name]
        times = sorted(row["right_s"] for row in mine if row["right_s"] is not None)
        false = sorted({word for row in mine for word in row["wrong"].split()})
        told = "-" if fault.held else str(max(row["added_wet_min_if_told"] for row in mine))
        lines.append((
            str(fault.number), name, str(len(mine)), f"{100 * sum(row['right'] for row in mine) / len(mine):.0f} %",
            duration(median(times)) if times else "-", duration(times[-1]) if times else "-",
            str(max(row["added_wet_min"] for row in mine)), told,
            f"{sum(r['starts'] for r in mine)}/{sum(r['starts_without_fault'] for r in mine)}",
            str(max(row["unproven_s"] for row in mine)), " ".join(false),
        ))  # fmt: skip
    return lines


def free_lines(plan, cases: dict) -> list:
    """Fault-free winters: what was told although nothing was broken."""
    lines = []
    for name in faults.FREE_NAMES:
        mine = [case["runs"][name] for case in cases.values() if name in case.get("runs", {})]
        if mine:
            months = sum(row["months"] for row in mine)
            told: dict = {}
            for row in mine:
                for word, count in row["notices"].items():
                    told[word] = told.get(word, 0) + count
            most = max(sum(row["notices"].values()) / row["months"] for row in mine)
            latched = sum(bool(row["latched"]) for row in mine)
            text = ", ".join(f"{word} {count}" for word, count in told.items()) or "nothing"
            lines.append(
                f"{name}: {len(mine)} winters, {months:.0f} months, {latched} with a latched alarm; told: {text}; "
                f"at most {most:.2f} a month"
            )
    return lines


def verdict(found: list) -> list:
    """The sums that a campaign is judged by."""
    held = [row for row in found if faults.found([row["fault"]])[0].held]
    wet = sum(row["added_wet_min"] > 0 for row in held)
    right = sum(row["right"] for row in found)
    lines = []
    if found:
        most = max([row["added_wet_min"] for row in held], default=0)
        unproven_s = max(row["unproven_s"] for row in found)
        lines.append(
            f"{counted(len(found), 'run')}. Of {len(held)} with a fault that the controller can hold, {wet} had an "
            f"added wet minute; the most is {most}."
        )
        longer = "never longer" if unproven_s == 0 else f"{unproven_s} s longer"
        lines.append(
            f"The right cause was named in {100 * right / len(found):.1f} %. Without a proven fan the valve was open "
            f"{longer} than its lease of {LEASE_S} s."
        )
    return lines


def write(plan, cases: dict, folder: Path) -> str:
    """Both files, each whole or not at all; the text to print."""
    found = rows(plan, cases)
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(found)
    whole(folder / TABLE, text.getvalue())
    lines = summary(found)
    end = [*verdict(found), *free_lines(plan, cases)]
    whole(folder / PAGE, page(plan, found, lines, end))
    worst = [row for row in found if row["added_wet_min"] and faults.found([row["fault"]])[0].held]
    told = [f"{row['added_wet_min']} min: {row['command']}" for row in worst[:10]]
    return "\n".join([*([*aligned([HEADS, *lines]), LEGEND] if lines else []), *end, *told, f"report: {folder / PAGE}"])


def aligned(lines: list) -> list:
    """Columns of one width each."""
    widths = [max(len(line[n]) for line in lines) for n in range(len(HEADS))]
    return ["  ".join(text.ljust(width) for text, width in zip(line, widths)).rstrip() for line in lines]


def listed() -> str:
    """The faults, and where those are tested that are not simulated here."""
    lines = [f"{fault.number:>3}  {fault.name:20} {fault.what}" for fault in (*faults.FAULTS, *faults.FREE)]
    other = [f"{number:>3}  {what}: {test}" for number, (what, test) in faults.ELSEWHERE.items()]
    return "\n".join([*lines, "tested elsewhere:", *other])


def page(plan, found: list, lines: list, end: list) -> str:
    """faults.html, all in one file."""
    where = f"{counted(plan.n_houses, 'house')} in each of {counted(len(plan.winters), 'winter')}"
    title = f"{counted(len(lines), 'fault')}, {where}"
    body = f"""<main>
<h1>{escape(title)}</h1>
<p class="from">Simulated houses that stay dry by themselves, drawn at random (seed {plan.seed}); each fault begins at a
seeded moment of the winter. Wet minutes are those of the modelled coldest spot.</p>
{"".join(f"<p>{escape(line)}</p>" for line in end)}
<h2>By fault</h2>
<p><em>Wet min</em>: most minutes in which the glass is wet and that of the same house without a humidifier is dry.
<em>If told</em>: where no board can stop the water, the same with the water closed by hand a day after the right words.
<em>Starts</em>: with the fault, and in the same days without.</p>
{by_fault(lines)}
<h2>Most wet minutes</h2>
{wettest(found)}
<h2>Tested elsewhere</h2>
{elsewhere()}
<h2>Cautions</h2>
{report_tables.cautions_list()}
</main>
"""
    return printed.page(title, report.own("report.css"), body)


def table_of(rows: list) -> str:
    """Rows of cells, already escaped."""
    body = "".join("<tr>" + "".join(f"<td>{text}</td>" for text in row) + "</tr>" for row in rows)
    return wide(f'<table class="cases"><tbody>{body}</tbody></table>')


def by_fault(lines: list) -> str:
    """The table of the terminal, with the right words' sentences."""
    names = (*HEADS, "right words")
    heads = "".join(f"<th>{name}</th>" for name in names)
    body = "".join(f"<tr>{_cells(names, (*line, right_words(line[1])))}</tr>" for line in lines)
    return wide(f'<table class="cases stacked"><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>')


def _cells(names: tuple, texts: tuple) -> str:
    """A row's cells, each with its column's name for a narrow screen."""
    return "".join(f'<td data-head="{name}">{escape(text)}</td>' for name, text in zip(names, texts))


def wettest(found: list) -> str:
    """The worst rows with their commands."""
    worst = [row for row in sorted(found, key=lambda row: -row["added_wet_min"])[:20] if row["added_wet_min"]]
    if not worst:
        return "<p>None.</p>"
    return table_of(
        [(escape(row["fault"]), row["added_wet_min"], f"<code>{escape(row['command'])}</code>") for row in worst]
    )


def elsewhere() -> str:
    """What is not simulated, and its tests."""
    return table_of(
        [(number, escape(what), f"<code>{escape(test)}</code>") for number, (what, test) in faults.ELSEWHERE.items()]
    )


def right_words(name: str) -> str:
    """The sentences that name a fault's cause."""
    sentences = dict(words.REFUSALS) | dict(words.NOTICES)
    return " / ".join(sentences[word] for word in faults.found([name])[0].right if word in sentences)
