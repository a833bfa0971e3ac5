"""Weeks of a board at a broker by the Homie convention, with troubles that never end: what is told, and what grows.

    python tests/acceptance/homie_weeks.py [--days 14]      half a minute a day
    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/homie_weeks.py --micropython [--days 3]

The whole app on the virtual board, in simulated time, at a broker in this process: the humidity sensor fails for a
minute in every five, nonsense comes from the feed and as a command every five seconds, and the log tells everything
that may be told.  A strict reader, written from the convention, takes every message.  A line a day: messages, of them
lines of $log, alerts, values and record packs; topics the broker keeps; blocks of memory after a collection; kilobytes
of flash.  --micropython: the same on MicroPython, the release out of a ROM image, with a line and a new connection each
six hours, and bytes instead of blocks; every five days the board starts afresh from what it kept.
Exit status 0 where $log keeps to its limit, nothing grows after the second line, and the reader finds nothing wrong; 1
where not; 2 where a tool is missing.
"""

import argparse
import asyncio
import gc
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
for name in ("tests/desktop", "tests/board", "shared", "firmware", "sim"):
    sys.path.insert(0, str(ROOT / name))
import link_rig  # noqa: E402
from board_hours import Hours  # noqa: E402
from homie_reader import Reader  # noqa: E402

DAY_S = 86400
LOG_AT_ONCE, LOG_EVERY_S = 10, 30
WELL_S = 300  # so much longer a row may last on MicroPython, until the sensor is well
NONSENSE_S = 5
GROWTH = 0.02
ROWS_A_DAY = 4  # on MicroPython
SPAN_ROWS = 5 * ROWS_A_DAY  # of one process: tests/board/world_loop.py says why
HEAP_BYTES = 4_000_000  # broker and reader are on it
PROGRAMS = ("parts_board", "loaded_board", "link_rig", "winter_board", "world_loop", "homie_reader", "weeks_board")
HEAD = ("day", "messages", "$log", "alerts", "values", "records", "kept", "blocks", "flash kB", "missed beats")


class Weeks(Hours):
    """Counts instead of remembering."""

    def noted(self, now_s: int, us: int, decision) -> None:
        """Nothing is kept."""

    def start(self) -> None:
        """The broker's side."""
        self.counts = dict.fromkeys(HEAD[1:6], 0)
        self.kept: set = set()
        self.rows: list = []
        self.broker = link_rig.Broker(self.hook)
        self.reader = Reader("attic")

    async def hook(self, broker, first: int, body: bytes, writer) -> bool:
        """Count each message, and forget it."""
        if first >> 4 == 3:
            topic, payload, is_retained = link_rig.message_of(first, body)
            self.reader.take(topic, payload, is_retained)
            self.reader.logs.clear()
            kind = "$log" if "/$log/" in topic else "alerts" if "/$alert/" in topic else "values"
            self.counts["records" if topic.endswith("/records") else kind] += 1
            self.counts["messages"] += 1
            if is_retained:
                (self.kept.add if payload else self.kept.discard)(topic)
        broker.got.clear()
        broker.published.clear()
        return False

    async def before(self) -> None:
        """The broker, what it sends, and the daily look."""
        await self.broker.start()
        self.link.config["port"] = self.broker.port
        self.others = [asyncio.create_task(self.nonsense()), asyncio.create_task(self.days())]

    async def after(self) -> None:
        """The end."""
        for task in self.others:
            task.cancel()
        await self.broker.stop()

    async def nonsense(self) -> None:
        """For good."""
        while True:
            await asyncio.sleep(NONSENSE_S)
            if self.broker.writers:
                await self.broker.send(link_rig.publish("dewmargin/feed/observed", b"{}"))
                await self.broker.send(link_rig.publish("homie/5/attic/settings/wish-pct/set", b"x", False, 7))

    async def days(self) -> None:
        """A row a day."""
        while True:
            await asyncio.sleep(DAY_S)
            gc.collect()
            flash = sum(path.stat().st_size for path in Path(self.bench.bed.folder).rglob("*") if path.is_file())
            missed = self.bench.app.counters.missed_beats
            figures = (len(self.kept), sys.getallocatedblocks(), flash // 1024, missed)
            self.rows.append((len(self.rows) + 1, *self.counts.values(), *figures))
            self.counts = dict.fromkeys(self.counts, 0)
            tell(self.rows[-1])


def trouble(bench) -> None:
    """The sensor's."""
    bench.world.humidity_fault = "nak" if bench.seconds % 300 >= 240 else ""


def problems(rows: list, row_s: int) -> list:
    """What went beyond its limit."""
    found = []
    most = LOG_AT_ONCE + row_s // LOG_EVERY_S
    last, second = rows[-1], rows[min(1, len(rows) - 1)]
    for row in rows:
        if not 0 < row[2] <= most:
            found.append(f"{HEAD[0]} {row[0]}: {row[2]} lines of $log, allowed are {most}")
    if last[6] > second[6]:
        found.append(f"the broker keeps {last[6]} topics, {second[6]} after the second line")
    if last[7] > second[7] * (1 + GROWTH):
        found.append(f"{last[7]} blocks of memory, {second[7]} after the second line")
    if last[9]:
        found.append(f"{last[9]} beats missed")
    return found


def main() -> int:
    """Rows, then the judgement."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=float, default=14)
    parser.add_argument("--micropython", action="store_true")
    options = parser.parse_args()
    a_day = ROWS_A_DAY if options.micropython else 1
    count = int(options.days * a_day)
    if count < 1:
        parser.error(f"--days: at least {1 / a_day:g}")
    print("  ".join(HEAD))
    rows, wrong = (on_micropython if options.micropython else here)(count)
    row_s = DAY_S // a_day + (WELL_S if options.micropython else 0)
    found = wrong + (problems(rows, row_s) if len(rows) == count else ["it did not come to its end"])
    for problem in found:
        print("homie_weeks: " + problem)
    print("homie_weeks: BEYOND THE LIMIT" if found else "homie_weeks: throttled, and nothing grows")
    return 1 if found else 0


def here(days: int) -> tuple:
    """(rows, what the reader found wrong) of this Python."""
    weeks = Weeks({"host": "127.0.0.1", "device": "attic", "commands": 1, "log": "debug"}, trouble)
    weeks.start()
    try:
        weeks.run(days * DAY_S + 1, weeks.before, weeks.after, has_lamp=False)
    finally:
        shutil.rmtree(weeks.bench.bed.folder, ignore_errors=True)
    return weeks.rows, weeks.reader.problems


def on_micropython(count: int) -> tuple:
    """The same of MicroPython, five days at a time."""
    from board_tools import CODE, RomBoard

    rows: list = []
    wrong: list = []
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        board = RomBoard("homie_weeks", Path(folder), PROGRAMS, CODE)
        for first in range(0, count, SPAN_ROWS):
            code = f"import weeks_board\nweeks_board.weeks({min(SPAN_ROWS, count - first)}, {folder + '/kept'!r})"
            command = board.command(HEAP_BYTES, code)
            running = subprocess.Popen(command, env=board.environment, stdout=subprocess.PIPE, text=True)
            for line in running.stdout or ():
                word, _, rest = line.strip().partition(" ")
                if word == "row":
                    number, *figures = map(int, rest.split())
                    rows.append(((first + number) / ROWS_A_DAY, *figures))
                    tell(rows[-1])
                elif word == "wrong":
                    wrong.append(rest)
            if running.wait():
                wrong.append(f"MicroPython ended with status {running.returncode}")
    print(f"{board.version}: {len(rows) / ROWS_A_DAY:g} days in {time.monotonic() - began:.0f} s")
    return rows, wrong


def tell(row: tuple) -> None:
    """A line."""
    print("  ".join(f"{value:>{len(head)}}" for head, value in zip(HEAD, row, strict=True)), flush=True)

if __name__ == "__main__":
    sys.exit(main())
