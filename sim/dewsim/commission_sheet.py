"""The result sheet of a commissioning: A4, to print and sign, for the job file and the envelope at the unit."""

from html import escape

from dewcore.permit import PROOF_NAMES
from dewcore.settings import TABLE
from dewsim import cautions, commission_record, printed, report

TITLES = {"full": "commissioning", "start": "start of the season", "end": "end of the season"}
# on a phone the columns stand below each other
STYLE = """@page { size: A4; }
.what { width: 55mm; }
.steps { margin-top: 3mm; }
@media screen and (max-width: 40rem) {
  .steps, .steps tbody, .steps tr, .steps th, .steps td { display: block; }
  .steps thead, .steps td:empty { display: none; }
  .steps th, .steps td, .what { border: 0; width: auto; padding: 0; }
  .steps tr { border-bottom: .15mm solid #888; padding: .8mm 0; }
  .steps td + td + td { padding-left: 5mm; }
  .steps td:nth-child(3)::before { content: "expected: "; font-style: italic; }
  .steps td:nth-child(4)::before { content: "found: "; font-style: italic; }
}
"""
WORDS = {"passed": "passed", "failed": "FAILED", "skipped": "skipped", "not fitted": "not fitted"}


def render(record: dict, steps: tuple) -> str:
    """The whole page."""
    title = f"Humidifier control: {TITLES[record['season']]}"
    done = {step["name"]: step for step in record["steps"]}
    body, last = "", ""
    for n, step in enumerate(steps, 1):
        one = done.get(step.name)
        body += _step(n, step, one, last)
        last = one["at"] if one else last
    style = report.own("bench_sheet.css") + STYLE
    return printed.page(title[0].upper() + title[1:], style, f"""<h1>{title}</h1>
<p class="verdict">{_verdict(record, steps, done)}</p>
{_facts(record)}
<table class="steps"><thead><tr><th class="n">No</th><th class="what">What</th><th>Expected</th><th>Found</th>
<th class="r">Result</th></tr></thead>
{body}</table>
<h2>Signed</h2>
{printed.signatures()}
<h2>What this sheet is not</h2>
<p>{_limits(record)} Windows, walls and attic are not said to stay dry: look yourself.</p>
<ul>
{cautions.html_items()}
</ul>
""")  # fmt: skip


def _limits(record: dict) -> str:
    if record["simulated"]:
        return "A virtual board and technician, in simulation: no real relay, wire, meter or water took part."
    return "It says what was measured on these days, at this unit."


def _verdict(record: dict, steps: tuple, done: dict) -> str:
    simulated = "Simulated. " if record["simulated"] else ""
    if record["passed"]:
        return f"{simulated}Passed: {len(done)} of {len(steps)} steps done, none failed."
    failed = [step.title for step in steps if step.name in done and done[step.name]["outcome"] == "failed"]
    skipped = [step.title for step in steps if step.name in done and done[step.name]["outcome"] == "skipped"]
    parts = [f"{len(done)} of {len(steps)} steps done"]
    if failed:
        parts.append("FAILED: " + escape(", ".join(failed)))
    if skipped:
        parts.append("skipped: " + escape(", ".join(skipped)))
    return f"{simulated}NOT PASSED: {'; '.join(parts)}. Keep the stop valve closed."


def _facts(record: dict) -> str:
    settings = record["settings"]
    changed = [f"{row[0]} {settings[row[0]]:g}" for row in TABLE if settings[row[0]] != row[2]]
    is_named = record["settings_of"] not in (commission_record.OWN, commission_record.FITTED)
    rows = (
        ("Unit, job, place", record["settings_of"] if is_named else ""),
        ("Board", record["board"]),
        ("Begun, last step", f"{_when(record['begun'])}, {_when(record['ended'] or 'not ended')}"),
        ("Version", record["version"]),
        ("Settings", record["settings_of"] + ": " + (", ".join(changed) or "the defaults")),
        ("Fan proof", f"grade {settings['fan_grade']}, {PROOF_NAMES[settings['fan_grade']]}"),
    )
    return printed.facts(rows)


def _step(number: int, step, done: "dict | None", last: str) -> str:
    """Its rows; last: when the step before it was done, so that only what changed is said."""
    if done is None:
        return f'<tbody><tr><th class="n">{number}</th><th colspan="3"><b>{escape(step.title)}</b></th>' \
            '<th class="r">not done</th></tr></tbody>\n'  # fmt: skip
    word = WORDS[done["outcome"]]
    kind = ' class="failed"' if done["outcome"] == "failed" else ""
    reason = f": {escape(done['reason'])}" if done["outcome"] == "skipped" else ""
    rows = "".join(_check(check) for check in done["checks"])
    return (
        f'<tbody><tr{kind}><th class="n">{number}</th><th colspan="3"><b>{escape(step.title)}</b>{reason}'
        f'{_since(last, done["at"])}</th><th class="r">{word}</th></tr>\n{rows}</tbody>\n'
    )


def _when(at: str) -> str:
    """Day and time on the clock that hung there."""
    return escape(at[:16].replace("T", " "))


def _since(last: str, at: str) -> str:
    """The clock at `at` behind a comma, with its day where that is another; nothing within the same minute."""
    if last[:16] == at[:16]:
        return ""
    return ", " + (_when(at)[-5:] if last[:10] == at[:10] else _when(at))


def _check(check: dict) -> str:
    kind, word = ("", "") if check["passed"] else (' class="failed"', "FAILED")
    cells = "".join(f"<td>{escape(check[name])}</td>" for name in ("what", "expected"))
    found = escape(check["found"])
    return f'<tr{kind}><td></td>{cells}<td class="happened">{found}</td><td class="r">{word}</td></tr>\n'


def passes(record: dict, steps: tuple, allowed: int) -> bool:
    """Whether every step is done, and none failed or was skipped that may not be."""
    done = {step["name"]: step["outcome"] for step in record["steps"]}
    return all(
        done.get(step.name) in (commission_record.PASSED, commission_record.NOT_FITTED)
        or done.get(step.name) == commission_record.SKIPPED
        and step.skip == allowed
        for step in steps
    )
