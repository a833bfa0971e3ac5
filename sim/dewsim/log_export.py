"""`dewmargin log DB --export`: one board's minutes as CSV in the form of record.csv, or as SenML (RFC 8428)."""

import contextlib
import json
import os
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from dewcore.psychro import humidity_ratio_g_kg, vapour_pa, wetting_point_c
from dewcore.record import FIELDS
from dewsim.errors import InputError, shown_path
from dewsim.logbase import LogBase
from dewsim.senml import PLACES, base_name, entries_of

PRESSURE_PA = 101325.0  # a log holds none


def run(path: str, form: str, device: str | None, out: str | None) -> int:
    """Write to a file, whole or not at all, or to stdout."""
    if out is not None and os.path.lexists(out):
        raise InputError(f"--out {shown_path(out)}: exists already; name a new file")
    base = LogBase(path, must_exist=True)
    try:
        name = base.one_device(device)
        write = write_csv if form == "csv" else write_senml
        if out is None:
            write(base, name, sys.stdout)
            sys.stdout.flush()
        else:
            with whole_file(out) as file:
                write(base, name, file)
    except BrokenPipeError:  # whoever read has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    finally:
        base.close()
    return 0


@contextlib.contextmanager
def whole_file(out: str):
    """A text file that appears under its name only once it is complete; InputError where it cannot."""
    folder = Path(out).resolve().parent
    part = None
    try:
        number, part = tempfile.mkstemp(dir=folder, prefix=".export-")
        os.fchmod(number, 0o644)
        with open(number, "w", encoding="utf-8", newline="\n") as file:
            yield file
        os.replace(part, out)
        part = None
    except OSError as error:
        raise InputError(f"--out {shown_path(out)}: cannot be written ({error.strerror}); name a file") from None
    finally:
        if part is not None:
            os.unlink(part)


def derived(values: dict) -> dict:
    """The record's values with those that are worked out from others; the air is the room's with the sensor."""
    rh_pct, indoor_c = values["rh_pct"], values["indoor_c"]
    if rh_pct is not None and indoor_c is not None and rh_pct > 0.0:
        pa = vapour_pa(indoor_c, rh_pct)
        values["humidity_ratio"] = 0.001 * humidity_ratio_g_kg(pa, PRESSURE_PA)
        values["dew_point_c"] = wetting_point_c(pa)
    return values


def write_csv(base: LogBase, device: str, file) -> None:
    """The header and a row a minute; empty where a value is none."""
    file.write(",".join(["time_utc", *(row[0] for row in FIELDS)]) + "\n")
    for utc_s, values in base.minutes(device):
        values = derived(values)
        cells = [_cell(name, values.get(name)) for name, *_ in FIELDS]
        file.write(f"{datetime.fromtimestamp(utc_s, UTC):%Y-%m-%dT%H:%M:%SZ},{','.join(cells)}\n")


def _cell(name: str, value: object) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    return f"{value:.{PLACES[name]}f}"


def write_senml(base: LogBase, device: str, file) -> None:
    """One array, a line a minute, each with its own base time."""
    before = "["
    for utc_s, values in base.minutes(device):
        entries = entries_of(base_name(device), utc_s, derived(values))
        if entries:
            text = ",".join(json.dumps(entry, separators=(",", ":"), ensure_ascii=False) for entry in entries)
            file.write(before + text)
            before = ",\n"
    file.write("]\n" if before != "[" else "[]\n")
