"""The board of tests/acceptance/hostile_lan.py: the page before a stand-in app, a beat each second, on MicroPython."""

import loaded_board  # isort: skip - before what only this test has

import asyncio
import gc
import time
from array import array

from page_app import App
from page_client import PASSWORD_SALT, STORED

from dewboard.guard import Guard
from dewboard.page import Page
from dewcore.settings import TABLE, accepted, disagreement

BIN_MS = 10
BINS = 500  # the last one takes all that is later
SIMULATED = loaded_board.simulated()


class Lateness:
    """How many beats were how late: as large after a week as after a minute, so that no run fills it."""

    def __init__(self):
        self.bins = array("I", bytes(4 * BINS))
        self.count = 0
        self.latest_ms = 0

    def add(self, late_ms):
        self.bins[min(max(0, late_ms) // BIN_MS, BINS - 1)] += 1
        self.count += 1
        self.latest_ms = max(self.latest_ms, late_ms)

    def of_99(self):
        """[ms] 99 of 100 were no later."""
        left = self.count // 100
        n = BINS - 1
        while n and left >= self.bins[n]:
            left -= self.bins[n]
            n -= 1
        return self.latest_ms if n == BINS - 1 else min(self.latest_ms, (n + 1) * BIN_MS)


class Tally:
    """Counts what the app was asked for, and keeps nothing of it."""

    def __init__(self):
        self.count = 0

    def append(self, _):
        self.count += 1


def serve(port):
    """The page and the beat until told to stop; then prints how late beats were."""
    app = App()
    app.calls = Tally()
    app.start()
    app.image = bytes([1]) + (200000).to_bytes(4, "little") + PASSWORD_SALT + STORED
    guard = Guard(app.hosts)
    Page(app, guard)
    late = Lateness()

    async def beats():
        due = time.ticks_add(time.ticks_ms(), 1000)
        while True:
            wait = time.ticks_diff(due, time.ticks_ms())
            if wait > 0:
                await asyncio.sleep_ms(wait)
            late.add(time.ticks_diff(time.ticks_ms(), due))
            app.beat()
            due = time.ticks_add(due, 1000)

    async def look(_):
        gc.collect()
        found = {"live": gc.mem_alloc(), "calls": app.calls.count, "callers": len(guard.callers)}
        found["unsound"] = unsound(app)
        return found

    async def stop(_):
        guard.shutdown()
        return "stopping"

    async def main():
        guard.add("GET", "/test-look", look)
        guard.add("GET", "/test-stop", stop)
        beat = asyncio.create_task(beats())
        print("ready")
        await guard.start_server("0.0.0.0", port)
        beat.cancel()

    asyncio.run(main())
    print("beats", late.count, late.of_99(), late.latest_ms)
    print("refused", guard.refused)


def unsound(app):
    """What is wrong with the settings as they stand; empty where they are sound."""
    for row in TABLE:
        accepted(row[0], getattr(app.settings, row[0]))
    return disagreement(app.settings)
