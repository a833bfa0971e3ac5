"""The result sheet of a bench script: one page to print and sign, for the job file."""

import hashlib
from datetime import datetime
from html import escape

from dewcore.permit import PROOF_NAMES
from dewcore.settings import TABLE
from dewsim import cautions, install_files, printed, report
from dewsim.cli import VERSION
from dewsim.units import counted


def release() -> tuple:
    """(SHA-256 of the release's list, the list itself): every file that would go onto a board, as source."""
    listed = install_files.listing({name: path.read_bytes() for name, path in install_files.sources().items()})
    return hashlib.sha256(listed).hexdigest(), listed.decode()


def render(
    results: list, script_name: str, script: bytes, settings, base: str, now: datetime, board: str
) -> str:
    """The whole page.  base: whose settings the boards were installed with; now: local, with its zone; board: which."""
    outcomes = [outcome for result in results for outcome in result.outcomes]
    failed = sum(not outcome.passed for outcome in outcomes)
    verdict = (
        f"All {counted(len(outcomes), 'expectation')} of {counted(len(results), 'trial')} passed."
        if not failed
        else f"{failed} of {len(outcomes)} expectations FAILED, in "
        f"{sum(not result.passed for result in results)} of {len(results)} trials."
    )
    digest, listed = release()
    trials = "".join(_trial(n, result) for n, result in enumerate(results, 1))
    facts = _facts(results, script_name, script, settings, base, now, digest, board)
    return _page(f'<p class="verdict">{verdict}</p>\n{facts}{trials}', listed)


def _page(body: str, listed: str) -> str:
    """The frame, and what every sheet ends with."""
    style = report.own("bench_sheet.css")
    return printed.page("Bench test sheet", style, f"""<h1>Humidifier control: bench test sheet</h1>
{body}
<h2>Signed</h2>
{printed.signatures()}
<h2>What this sheet is not</h2>
<p>The board's own program ran on made-up readings, on the board named above: no real sensor, wire or valve took part.
After wiring, the same is tried at the unit: fan, leak wire, selector, water at the drain.</p>
<ul>
{cautions.html_items()}
</ul>
<h2>Files of the release, SHA-256</h2>
<pre class="hashes">{escape(listed)}</pre>
""")  # fmt: skip


def _facts(
    results: list, script_name: str, script: bytes, settings, base: str, now: datetime, digest: str, board: str
) -> str:
    best = max((result.proof for result in results), default=0)
    changed = [
        f"{name} {getattr(settings, name):g}" for name, _, default, _, _ in TABLE if getattr(settings, name) != default
    ]
    rows = (
        ("Tried on", board),
        ("Date", f"{now:%Y-%m-%d %H:%M} {now:%Z}"),
        ("Version", VERSION),
        ("Release", f"SHA-256 of its list of files, which ends this sheet: {digest}"),
        ("Script", f"{script_name}, SHA-256 {hashlib.sha256(script).hexdigest()}"),
        ("Settings", f"{base}: " + (", ".join(changed) if changed else "nothing but the controller's defaults")),
        ("Fan proof", f"installed as {PROOF_NAMES[settings.fan_grade]}; best seen in the trials: {PROOF_NAMES[best]}"),
        ("Unit, job, place", ""),
    )
    return printed.facts(rows)


def _trial(number: int, result) -> str:
    rows = "".join(_row(number, n, outcome) for n, outcome in enumerate(result.outcomes, 1))
    title = f"{number}. {escape(result.trial.title)}: {'passed' if result.passed else 'FAILED'}"
    settings = "".join(f" {name} {value:g};" for name, value in result.trial.settings.items()).strip(" ;")
    installed = f"<p>Installed with {escape(settings)}.</p>\n" if settings else ""
    return f"""<h2>{title}</h2>
{installed}<table><thead><tr><th class="n">No</th><th class="at">At</th><th>Tried</th><th>Expected</th>
<th>Happened</th><th class="r">Result</th></tr></thead><tbody>
{rows}</tbody></table>
"""


def _row(trial: int, n: int, outcome) -> str:
    kind = "" if outcome.passed else ' class="failed"'
    return (
        f'<tr{kind}><td class="n">{trial}.{n}</td><td class="at">{span(outcome.at_s)}</td>'
        f"<td>{escape(outcome.tried) or '&ndash;'}</td><td>{escape(outcome.expected)}</td>"
        f'<td class="happened">{escape(outcome.happened)}</td>'
        f'<td class="r">{"passed" if outcome.passed else "FAILED"}</td></tr>\n'
    )


def span(seconds: int) -> str:
    """Hours, minutes and seconds since the trial began."""
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
