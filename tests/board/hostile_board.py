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

MOST_BEATS = 900
SIMULATED = loaded_board.simulated()


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
    late = array("h", bytes(2 * MOST_BEATS))  # in one piece: a list that grows would look like lost memory
    count = [0]

    async def beats():
        due = time.ticks_add(time.ticks_ms(), 1000)
        while True:
            wait = time.ticks_diff(due, time.ticks_ms())
            if wait > 0:
                await asyncio.sleep_ms(wait)
            late[count[0]] = min(32767, time.ticks_diff(time.ticks_ms(), due))
            count[0] += 1
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
    beats_ms = sorted(late[: count[0]])
    print("beats", len(beats_ms), beats_ms[len(beats_ms) * 99 // 100], beats_ms[-1])
    print("refused", guard.refused)


def unsound(app):
    """What is wrong with the settings as they stand; empty where they are sound."""
    for row in TABLE:
        accepted(row[0], getattr(app.settings, row[0]))
    return disagreement(app.settings)
