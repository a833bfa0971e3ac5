"""Weeks of a board at a broker by the Homie convention, with troubles that never end: what is told, and what grows.

    python tests/acceptance/homie_weeks.py [--days 14]      half a minute a day

The whole app on the virtual board, in simulated time, at a broker in this process: the humidity sensor fails for a
minute in every five, nonsense comes from the feed and as a command every five seconds, and the log tells everything
that may be told.  A line a day: messages, of them lines of $log, alerts, values and record packs; topics the broker
keeps; blocks of memory after a collection; kilobytes of flash.
Exit status 0 where $log keeps to its limit and nothing grows after the second day, 1 where not.
"""

import argparse
import asyncio
import gc
import shutil
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
for name in ("tests/desktop", "tests/board", "shared", "firmware", "sim"):
    sys.path.insert(0, str(ROOT / name))
import link_rig  # noqa: E402
from board_hours import Hours  # noqa: E402

DAY_S = 86400
LOG_AT_ONCE, LOG_EVERY_S = 10, 30
NONSENSE_S = 5
GROWTH = 0.02
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

    async def hook(self, broker, first: int, body: bytes, writer) -> bool:
        """Count each message, and forget it."""
        if first >> 4 == 3:
            topic, payload, is_retained = link_rig.message_of(first, body)
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
            columns = zip(HEAD, self.rows[-1], strict=True)
            print("  ".join(f"{value:>{len(name)}}" for name, value in columns), flush=True)


def trouble(bench) -> None:
    """The sensor's."""
    bench.world.humidity_fault = "nak" if bench.seconds % 300 >= 240 else ""


def problems(rows: list) -> list:
    """What went beyond its limit."""
    found = []
    most = LOG_AT_ONCE + DAY_S // LOG_EVERY_S
    last, second = rows[-1], rows[min(1, len(rows) - 1)]
    for row in rows:
        if not 0 < row[2] <= most:
            found.append(f"day {row[0]}: {row[2]} lines of $log, allowed are {most}")
    if last[6] > second[6]:
        found.append(f"the broker keeps {last[6]} topics, {second[6]} after the second day")
    if last[7] > second[7] * (1 + GROWTH):
        found.append(f"{last[7]} blocks of memory, {second[7]} after the second day")
    if last[9]:
        found.append(f"{last[9]} beats missed")
    return found


def main() -> int:
    """Rows, then the judgement."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=14)
    days = parser.parse_args().days
    if days < 1:
        parser.error("--days: at least one")
    weeks = Weeks({"host": "127.0.0.1", "device": "attic", "commands": 1, "log": "debug"}, trouble)
    weeks.start()
    print("  ".join(HEAD))
    try:
        weeks.run(days * DAY_S + 1, weeks.before, weeks.after, has_lamp=False)
    finally:
        shutil.rmtree(weeks.bench.bed.folder, ignore_errors=True)
    found = problems(weeks.rows)
    for problem in found:
        print("homie_weeks: " + problem)
    print("homie_weeks: BEYOND THE LIMIT" if found else "homie_weeks: throttled, and nothing grows")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
