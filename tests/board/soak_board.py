"""The board of tests/acceptance/soak.py: weeks of beats with page traffic and settings changes, on MicroPython.

soak(days, folder) prints one line of figures an hour after the start, one at the end, and the worst moments between.
All that a board would not have lies on the same heap and is told as `simulated`: the simulated hardware, the caller,
this program, and what was there before.
"""

import loaded_board  # isort: skip - before what only this test has

import gc
import json

import page_client  # noqa: F401
from winter_board import BEAT_US, DAY_S, WORLD, weather

SIMULATED = loaded_board.simulated()

HOUR_S = 3600
KEPT_BYTES = 1500  # of an answer: every head, and every JSON answer whole


class Traffic:
    """Somebody who looks at the page and changes a setting every hour."""

    def __init__(self, app):
        from page_client import Browser, Writer

        from dewboard.guard import Guard
        from dewboard.page import Page

        self.app = app
        self.answers = 0
        self.refused = 0
        self.most = 0
        guard = Guard(lambda: ["127.0.0.1"])
        Page(app, guard)
        self.browser = Browser(app=app, guard=guard)
        self.wish = 30.0
        written = Writer.awrite
        traffic = self

        async def measured(writer, data):
            gc.collect()
            traffic.most = max(traffic.most, gc.mem_alloc() - len(writer.data))  # a browser has memory of its own
            await written(writer, data)
            writer.data = writer.data[:KEPT_BYTES]

        Writer.awrite = measured
        app.pressed_s = app.now_s
        self.browser.set_password()

    def hour(self):
        """A page, its state, a login and a change."""
        browser = self.browser
        for path in ("/", "/state", "/page.js"):
            self.count(browser.get(path).status())
        self.wish = 30.0 if self.wish > 30.0 else 31.5
        self.count(browser.log_in())
        status, _ = browser.post("/settings", {"values": {"wish_pct": self.wish}})
        self.count(status)

    def count(self, status):
        if status == 200:
            self.answers += 1
        else:
            self.refused += 1


def figures(name, app, traffic):
    """One line, and what the interpreter tells of its blocks."""
    import micropython

    gc.collect()
    print(name, gc.mem_alloc(), gc.mem_free(), traffic.most, traffic.answers, traffic.refused)
    micropython.mem_info()


def soak(days, folder):
    """All of it."""
    from dewboard import start
    from dewboard.clock import Clock
    from dewboard.pins import open_pins
    from dewboard.store import Store, make_folder

    start.keep_memory_tidy()
    weather(0)
    make_folder(folder)
    Store(folder, "probes").save(json.dumps(WORLD.rom_codes()).encode())
    app = start.build(open_pins(), Clock(WORLD), folder)
    traffic = Traffic(app)
    print("simulated", SIMULATED)
    for now_s in range(1, int(days * DAY_S) + 1):
        if now_s % 60 == 0:
            weather(now_s)
        began_us = WORLD.us
        app.beat()
        WORLD.advance_us(BEAT_US - (WORLD.us - began_us))
        if now_s % HOUR_S == 1800:
            traffic.hour()
        if now_s == HOUR_S:
            figures("hour", app, traffic)
        if now_s % DAY_S == 0:
            print("day", now_s // DAY_S, "missed", app.counters.missed_beats, "most", traffic.most)
    figures("end", app, traffic)
    print("counters", app.counters.items())
    print("resets", len(WORLD.resets), "safe", repr(app.safe), "open_s", app.counters.valve_open_s)
