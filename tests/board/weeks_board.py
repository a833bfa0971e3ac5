"""The board of `tests/acceptance/homie_weeks.py --micropython`: weeks at a broker, before a strict reader.

weeks(rows, folder) prints a line for each six hours, in simulated time: messages, of them lines of $log, alerts, values
and record packs; topics the broker keeps; bytes alive, kilobytes of flash, beats missed; and whatever the reader finds
wrong, as it comes.
"""

import loaded_board  # noqa: F401  isort: skip - before what only this test has

import asyncio
import gc
import json
import os

import link_rig
import world_loop
from homie_reader import Reader
from winter_board import WORLD, weather

ROW_S = 21600
DROP_S = 10800  # from a row's begin to its one new connection
NONSENSE_S = 5
NONSENSE = link_rig.publish("dewmargin/feed/observed", b"{}")
NONSENSE += link_rig.publish("homie/5/attic/settings/wish-pct/set", b"x", False, 7)
TROUBLE_S, SOUND_S, QUIET_S = 300, 240, 150
NAMES = ("$log", "alerts", "values", "records")


class Weeks:
    """Counts, and what the reader says."""

    def __init__(self, app):
        self.app = app
        self.clock = app.clock
        self.reader = Reader("attic")
        self.kept = set()
        self.broker = link_rig.Broker(self.hook)
        self.told = 0
        self.is_owed = False
        self.rows = 0
        self.begin()

    def begin(self):
        """A row."""
        self.counts = dict([(name, 0) for name in NAMES])
        self.reader.logs.clear()
        self.reader.states.clear()
        del self.reader.documents[:-1]

    def beat(self):
        """As the app's; the humidity sensor fails for a minute in every five."""
        now_s = self.clock.now_s()
        if now_s % 60 == 0:
            weather(now_s)
        WORLD.humidity_fault = "nak" if now_s % TROUBLE_S >= SOUND_S else ""
        self.app.beat()

    async def hook(self, broker, first, body, writer):
        """Read each message strictly, count it, and forget it."""
        if first >> 4 == 3:
            topic, payload, is_retained = link_rig.message_of(first, body)
            self.reader.take(topic, payload, is_retained)
            kind = "$log" if "/$log/" in topic else "alerts" if "/$alert/" in topic else "values"
            self.counts["records" if topic.endswith("/records") else kind] += 1
            if is_retained:
                (self.kept.add if payload else self.kept.discard)(topic)
        for problem in self.reader.problems[self.told :]:
            print("wrong", problem)
        self.told = len(self.reader.problems)
        broker.got.clear()
        broker.published.clear()
        if self.is_owed and first >> 4 == 3 and first & 6:
            self.is_owed = False
            writer.write(NONSENSE)  # goes out with the answer: two tasks must not write to one stream
        return False

    async def nonsense(self):
        """From the feed and as a command, for good."""
        while True:
            await asyncio.sleep(NONSENSE_S)
            self.is_owed = True

    async def row(self, number, flash):
        """Six hours, with a new connection in their middle; then their line."""
        await asyncio.sleep(DROP_S)
        self.rows += 1
        await self.broker.drop()
        del self.broker.writers[:-1]
        await asyncio.sleep(ROW_S - DROP_S)
        while not QUIET_S <= self.clock.now_s() % TROUBLE_S < SOUND_S:  # every value stands again
            await asyncio.sleep(1)
        missing = [name for name in self.reader.missing() if name != "control/test"]
        if missing:
            print("wrong", "no value of", " ".join(missing))
        gc.collect()
        if self.broker.connections > self.rows + 1:
            print("wrong", self.broker.connections, "connections")
        counts = [self.counts[name] for name in NAMES]
        missed = self.app.counters.missed_beats
        print("row", number, sum(counts), *counts, len(self.kept), gc.mem_alloc(), flash() // 1024, missed)
        self.begin()


def size_of(folder):
    """Bytes of all files in it."""
    total = 0
    for entry in os.ilistdir(folder):
        path = folder + "/" + entry[0]
        total += size_of(path) if entry[1] & 0x4000 else os.stat(path)[6]
    return total


async def run(app, rows, folder):
    """All rows."""
    from dewboard import start, tasks

    whole = Weeks(app)
    await whole.broker.start()
    app.keep.broker = {"host": "127.0.0.1", "port": whole.broker.port, "device": "attic", "commands": 1, "log": "debug"}
    jobs = start.broker(app, link_rig.Net())
    running = [asyncio.create_task(work) for work in (tasks.beats(whole), jobs[0][1](), whole.nonsense())]
    for number in range(1, rows + 1):
        await whole.row(number, lambda: size_of(folder))
    for task in running:
        task.cancel()


def weeks(rows, folder):
    """All of it."""
    from dewboard import start
    from dewboard.clock import Clock
    from dewboard.pins import open_pins
    from dewboard.store import Store, make_folder

    start.keep_memory_tidy()
    make_folder(folder)
    Store(folder, "probes").save(json.dumps(WORLD.rom_codes()).encode())
    app = start.build(open_pins(), Clock(WORLD), folder)
    world_loop.take_over(WORLD)
    asyncio.run(run(app, rows, folder))
