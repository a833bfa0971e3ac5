"""The board of tests/acceptance/broker_troubles.py: a whole board at a broker in trouble, in simulated time.

troubles(folder, is_alone) prints a line for each trouble: what was tried, what is alive on the heap once all is well
again, how late beats came; then a digest of what was decided in which second.  is_alone: the same hours without a
broker, for their digest.
"""

import loaded_board  # isort: skip - before what only this test has
from parts_board import MQTT, load  # isort: skip

import gc

gc.collect()
OWN = gc.mem_alloc()
load("dewboard", MQTT)
gc.collect()
OWN = gc.mem_alloc() - OWN
import asyncio  # noqa: E402
import json  # noqa: E402
import sys  # noqa: E402
from binascii import crc32  # noqa: E402

import trouble_broker  # noqa: E402
import world_loop  # noqa: E402
from link_rig import Net  # noqa: E402
from winter_board import WORLD, weather  # noqa: E402

SIMULATED = loaded_board.simulated() - OWN
TROUBLE_S = 300
NAMES_S = 1200
MOST_S = 900  # until all is well again: the longest wait between two tries, and a connection
STEADY_S = 150


class Driven:
    """The app; before each beat the world moves on, and after it is noted what it decided."""

    def __init__(self, app, last_s):
        self.app = app
        self.clock = app.clock
        self.last_s = last_s  # noted until then; 0: to the end
        self.digest = self.opened = self.longest_us = self.noted_s = 0
        self.before_us = -1

    def beat(self):
        app = self.app
        if app.clock.now_s() % 60 == 0:
            weather(app.clock.now_s())
        if self.before_us >= 0:
            self.longest_us = max(self.longest_us, WORLD.us - self.before_us)
        self.before_us = WORLD.us
        app.beat()
        if self.last_s and app.now_s > self.last_s:
            return
        d = app.controller.decision
        self.noted_s = app.now_s
        self.opened += d.valve
        self.digest = crc32(b"%d %d %d %d" % (app.now_s, d.valve, d.refusals, d.notices), self.digest)


class Hours:
    """A board, its broker, and whoever makes trouble."""

    def __init__(self, folder, is_alone):
        from dewboard import start
        from dewboard.clock import Clock
        from dewboard.pins import open_pins
        from dewboard.store import Store, make_folder

        start.keep_memory_tidy()
        make_folder(folder)
        Store(folder, "probes").save(json.dumps(WORLD.rom_codes()).encode())
        self.app = start.build(open_pins(), Clock(WORLD), folder)
        self.driven = Driven(self.app, is_alone)
        self.is_alone = is_alone
        self.link = None
        self.broker = trouble_broker.TroubleBroker()
        self.heard = 0  # events told in earlier lines
        self.names = trouble_broker.Names()
        self.starts = start

    def connect(self):
        """A link, as start.py makes it; its start."""
        from dewboard import link

        real, made = link.Link, []

        def kept(*words):
            made.append(real(*words))
            return made[0]

        link.Link = kept
        self.app.keep.broker = {"host": "broker.example", "port": self.broker.port, "device": "attic", "commands": 1}
        jobs = self.starts.broker(self.app, Net("127.0.0.1", "127.0.0.1"))
        link.Link = real
        if not jobs:
            raise MemoryError("too little for a link")
        self.link = made[0]
        from dewboard import dns

        self.names.open()
        dns.resolve = self.names.resolve(dns.resolve)
        return jobs[0][1]

    async def run(self):
        """All troubles, one after the other; alone for as long."""
        from dewboard import tasks

        running = [asyncio.create_task(tasks.beats(self.driven))]
        if self.is_alone:
            await asyncio.sleep(self.is_alone + 2)
        else:
            await self.broker.open()
            start = self.connect()
            running += [asyncio.create_task(work) for work in (self.names.serve(), start())]
            await self.well("start")
            for way in trouble_broker.WAYS:
                await self.trouble(way)
            await self.names_fail()
        for task in running:
            task.cancel()
        d = self.driven
        print("decided", d.noted_s, d.digest, d.opened, d.longest_us, self.app.counters.missed_beats)

    async def trouble(self, way):
        """One way, then all is well."""
        broker = self.broker
        broker.way = way
        broker.ready = 0
        if way == "refused":
            await broker.close()
        if way != "works":
            await broker.drop()
        await asyncio.sleep(TROUBLE_S)
        broker.way = "works"
        if way == "refused":
            await broker.open()
        await self.well(way)

    async def names_fail(self):
        """An hour in which nobody knows the broker's name, in each way."""
        names = self.names
        for way in trouble_broker.NAME_WAYS:
            self.link.address = ""  # else the one from before would do
            names.way = way
            await self.broker.drop()
            await asyncio.sleep(NAMES_S)
        names.way = "well"
        print("names", " ".join("%s %d" % (way, names.asked[way]) for way in trouble_broker.NAME_WAYS))
        await self.well("names fail")

    async def well(self, name):
        """Wait until the board is ready again and a while longer; then the line."""
        link = self.link
        for _ in range(MOST_S):
            await asyncio.sleep(1)
            if link.is_ready:
                break
        events = self.app.events
        texts = [events.get(number)[1] for number in range(max(self.heard, events.count - len(events)), events.count)]
        said = [text for text in reversed(texts) if text.startswith("broker")]
        is_ready = link.is_ready
        await asyncio.sleep(STEADY_S)
        self.heard = events.count
        gc.collect()
        live = gc.mem_alloc()
        print("trouble", name.replace(" ", "_"), int(is_ready and link.is_ready), self.broker.connections, live,
              world_loop.longest_ms())
        for text in said:
            print("said", text)


def troubles(folder, is_alone):
    """All of it; is_alone: for so many seconds, 0 at the broker."""
    world_loop.take_over(WORLD)
    print("simulated", SIMULATED)
    try:
        asyncio.run(Hours(folder, is_alone).run())
    except MemoryError as problem:
        sys.print_exception(problem)
        print("memory")
