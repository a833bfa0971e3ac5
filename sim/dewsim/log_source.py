"""A season of minutes by name: out of a log's database, or out of a record.csv as replays and exports write it."""

import csv
import time
from datetime import datetime

from dewcore.record import FIELDS
from dewsim import log_seasons
from dewsim.errors import InputError, shown, shown_path
from dewsim.files import contents
from dewsim.logbase import LogBase

SQLITE = b"SQLite format 3\0"
CSV = b"time_utc,"
LARGEST_CSV_BYTES = 120_000_000  # a year of minutes
HEADER = ["time_utc", *(row[0] for row in FIELDS)]


def is_log(path: str) -> bool:
    """Whether a file begins as a database or a record.csv does."""
    try:
        return contents(path, len(SQLITE) - 1, "a log").startswith((SQLITE, CSV))
    except InputError:
        return False


def season_of(path: str, device: str | None, asked: str | None) -> tuple:
    """(the season asked for, else the newest; what messages call the log).  InputError."""
    place = shown_path(path)
    if is_csv(path):
        if device is not None:
            raise InputError(f"--device: {place} is a CSV, which holds one board; leave it out")
        seasons = csv_seasons(path)
        source = place
    else:
        base = LogBase(path, must_exist=True)
        try:
            name = base.one_device(device)
            seasons = log_seasons.seasons_of(base, name)
        finally:
            base.close()
        source = f"{place}, board {shown(name, 40)}"
    if not seasons:
        raise InputError(f"{source}: found no record; let it log first")
    names = [season.name() for season in seasons]
    if asked is None:
        return seasons[-1], source
    if asked not in names:
        raise InputError(f"--season {shown(asked, 20)}: not in {source}; allowed are {', '.join(names)}; name one")
    return seasons[names.index(asked)], source


def is_csv(path: str) -> bool:
    """Whether a file begins as a record.csv does."""
    return contents(path, len(CSV), "a log that `dewmargin log` has written").startswith(CSV)


def csv_seasons(path: str) -> list:
    """The seasons of a record.csv."""
    place = shown_path(path)
    raw = contents(path, LARGEST_CSV_BYTES, "a record.csv")
    if len(raw) > LARGEST_CSV_BYTES:
        raise InputError(f"{place}: more than {LARGEST_CSV_BYTES // 1_000_000} MB; cut it to a season")
    try:
        lines = raw.decode("ascii").splitlines()
    except UnicodeDecodeError as error:
        raise InputError(f"{place}: byte {error.start + 1} is not ASCII; give a record.csv as it was written") from None
    missing = [name for name in HEADER if name not in lines[0].split(",") and name != "look"]
    if missing:
        raise InputError(f"{place}, line 1: found no column {missing[0]}; give a record.csv as it was written")
    found: dict = {}
    offset_s = -time.timezone
    for number, row in enumerate(csv.DictReader(lines), 2):
        try:
            moment = datetime.fromisoformat(row["time_utc"])
            values: dict = {name: float(row[name]) if row.get(name) else None for name in log_seasons.COLUMNS}
        except (ValueError, TypeError):
            raise InputError(
                f"{place}, line {number}: a time or number that cannot be read; give a record.csv as it was written"
            ) from None
        values["reason"] = row["reason"]
        log_seasons.put(found, int(moment.timestamp()) + offset_s, values)
    return log_seasons.closed(found)
