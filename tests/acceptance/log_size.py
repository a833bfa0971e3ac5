"""How large a winter's log gets, and how long its page and exports take.

    python tests/acceptance/log_size.py RECORD.csv [--keep FILE] [--year 2025] [--outage]

RECORD.csv is that of a replay (`dewmargin demo` writes one); every minute of it goes into a log as a board's batches
do, ten a commit.  --keep leaves the log; called again with another --year, the same minutes become another season.
--outage leaves out three days, and lets the board be without wall time for some hours.
"""

import argparse
import csv
import sys
import tempfile
import time
from datetime import datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "shared"), str(ROOT / "sim")]

from dewcore.record import REASON_OPEN, scaled  # noqa: E402
from dewcore.words import OPEN_NAME, REFUSALS  # noqa: E402
from dewsim import log_export, log_report  # noqa: E402
from dewsim.logbase import LogBase  # noqa: E402
from dewsim.senml import PACKED, Batch, Record  # noqa: E402

CODES = {name: code for code, (name, _) in enumerate(REFUSALS)} | {OPEN_NAME: REASON_OPEN}
MOST = 10
OUTAGE_MIN = (40000, 44320)
CLOCKLESS_MIN = (44320, 44600)


def records(path: str, boot: int, year: int, outage: bool):
    """The records of a record.csv, its first winter moved to a year."""
    with open(path, encoding="ascii", newline="") as file:
        shift_s = None
        for seq, row in enumerate(csv.DictReader(file)):
            moment = datetime.fromisoformat(row["time_utc"])
            if shift_s is None:
                shift_s = moment.replace(year=year).timestamp() - moment.timestamp()
            row["reason"] = CODES[row["reason"]]
            numbers = tuple(
                scaled(float(row[name]), code, scale) if row[name] != "" else None
                for name, _, code, scale, _, _ in PACKED
            )
            if outage and OUTAGE_MIN[0] <= seq < OUTAGE_MIN[1]:
                continue
            clockless = outage and CLOCKLESS_MIN[0] <= seq < CLOCKLESS_MIN[1]
            yield Record(boot, seq, None if clockless else int(moment.timestamp() + shift_s), 0, numbers)


def fill(path: str, record_csv: str, year: int, outage: bool) -> tuple:
    """(records, seconds) of one winter into the log."""
    base = LogBase(path)
    batch: list = []
    after = base.mark("attic")
    began_s = time.perf_counter()
    count = 0
    with base.transaction():
        for record in records(record_csv, year, year, outage):
            batch.append(record)
            count += 1
            if len(batch) == MOST:
                base.add("attic", Batch(after, after, batch), 0)
                after, batch = batch[-1][:2], []
        if batch:
            base.add("attic", Batch(after, after, batch), 0)
    base.close()
    return count, time.perf_counter() - began_s


def main() -> int:
    """Fill, then measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("record", metavar="RECORD.csv")
    parser.add_argument("--keep", metavar="FILE")
    parser.add_argument("--year", type=int, default=2025)
    parser.add_argument("--outage", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        path = options.keep or f"{name}/log.db"
        before = Path(path).stat().st_size if Path(path).exists() else 0
        count, seconds = fill(path, options.record, options.year, options.outage)
        size = Path(path).stat().st_size - before
        print(f"{count} minutes: {size / 1e6:.1f} MB, {size / count:.1f} bytes a minute; stored in {seconds:.1f} s")
        for what, run in (
            ("csv", lambda: log_export.run(path, "csv", None, f"{name}/a.csv")),
            ("senml", lambda: log_export.run(path, "senml", None, f"{name}/a.json")),
            ("report", lambda: log_report.run(path, None, f"{name}/a.html", "si")),
        ):
            began_s = time.perf_counter()
            run()
            print(f"{what}: {time.perf_counter() - began_s:.1f} s")
        for file in sorted(Path(name).glob("a.*")):
            print(f"{file.suffix[1:]}: {file.stat().st_size / 1e6:.1f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
