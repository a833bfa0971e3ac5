"""What a commissioning has found so far, as JSON beside its sheet: written after every step, whole or not at all."""

import json
import os
import tempfile
from pathlib import Path

from dewcore.settings import TABLE
from dewsim import pages
from dewsim.cli import VERSION
from dewsim.errors import InputError, shown, shown_path
from dewsim.files import contents

KIND = "dewmargin commission"
MOST_BYTES = 1_000_000
PASSED, FAILED, SKIPPED, NOT_FITTED = "passed", "failed", "skipped", "not fitted"
OUTCOMES = (PASSED, FAILED, SKIPPED, NOT_FITTED)
OWN = "the board's own"  # settings, where no house file names them
FITTED = "a board with everything fitted"
TEXTS = ("season", "board", "settings_of", "version", "begun")


def path_of(sheet: str) -> Path:
    """Where the record of a sheet lies; InputError where the sheet's name makes none."""
    path = pages.check(sheet)
    if path.suffix not in (".html", ".htm"):
        raise InputError(f"--out {shown_path(sheet)}: found no name that ends in .html; name a page to write")
    return path.with_suffix(".json")


def begin(season: str, seat, settings_of: str, at: str) -> dict:
    """A record with nothing in it; settings_of: whose settings the board has; at: local time, ISO 8601."""
    return {
        "kind": KIND, "schema": 1, "season": season, "board": seat.name, "simulated": seat.simulated,
        "settings_of": settings_of, "version": VERSION, "begun": at, "ended": None, "passed": None,
        "settings": {row[0]: getattr(seat.settings, row[0]) for row in TABLE}, "answers": {}, "steps": [],
    }  # fmt: skip


def write(record: dict, path: Path) -> None:
    """The record in place of the one before."""
    place = shown_path(path)
    try:
        handle, part = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                json.dump(record, file, indent=1, ensure_ascii=False)
                file.write("\n")
            os.chmod(part, 0o644)
            os.replace(part, path)
        except BaseException:
            os.unlink(part)
            raise
    except OSError as error:
        raise InputError(f"{place}: cannot be written ({error.strerror}); name another page with --out") from None


def free(path: Path, simulated: bool) -> None:
    """InputError where a record lies that a new run would lose; one of the simulation may be lost to another."""
    if not path.exists():
        return
    record = read(path)
    if not (simulated and record["simulated"]):
        raise InputError(
            f"{shown_path(path)}: found the record of a commissioning; name another page with --out, or go on with "
            "it by --resume"
        )


def resumed(path: Path, season: str, seat) -> dict:
    """The record to go on with; InputError where it is another run's."""
    if not path.exists():
        raise InputError(f"--resume: found no {shown_path(path)}; name the same --out, or begin without --resume")
    record = read(path)
    settings = {row[0]: getattr(seat.settings, row[0]) for row in TABLE}
    for name, found, now in (
        ("season", record["season"], season), ("board", record["board"], seat.name),
        ("settings", record["settings"], settings),
    ):  # fmt: skip
        if found != now:
            told = "" if name == "settings" else f" ({shown(str(found), 40)}, now {now})"
            raise InputError(
                f"{shown_path(path)}: found a run with another {name}{told}; begin anew with another --out"
            )
    if record["passed"]:
        raise InputError(f"{shown_path(path)}: found a run that has passed; begin anew with another --out")
    return record


def read(path: Path) -> dict:
    """A record that has the shape of one; InputError."""
    place = shown_path(path)
    data = contents(path, MOST_BYTES, "a commissioning's record")
    try:
        record = json.loads(data)
        good = record["kind"] == KIND and record["schema"] == 1 and isinstance(record["simulated"], bool)
        good = good and all(isinstance(record[name], str) for name in TEXTS) and record["passed"] in (None, True, False)
        good = good and isinstance(record["settings"], dict) and all(
            isinstance(answer, (bool, int, float)) for answer in record["answers"].values()
        )
        good = good and all(_is_step(step) for step in record["steps"])
    except (ValueError, KeyError, TypeError, RecursionError):
        good = False
    if not good:
        raise InputError(f"{place}: found no whole record of a commissioning; name another page with --out")
    return record


def _is_step(step: dict) -> bool:
    texts = all(isinstance(check[name], str) for check in step["checks"] for name in ("what", "expected", "found"))
    told = all(isinstance(check["passed"], bool) for check in step["checks"])
    named = all(isinstance(step[name], str) for name in ("name", "reason", "at"))
    return texts and told and named and step["outcome"] in OUTCOMES
