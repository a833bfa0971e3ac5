"""The board of tests/acceptance/board_memory.py: what each part of the program takes on MicroPython's heap.

parts(folder) prints a line `part NAME BYTES` for each.  What the simulated hardware needs lies on the same heap and is
a part of its own, so is a second controller, gone again.  It is loaded after the board's code: every name in a program
has a place in one table, which doubles where it is full, and its own names are not to be what fills it.
"""

import gc
import json

gc.collect()
gc.collect()
LAST = [gc.mem_alloc()]

CORE = "board ceiling controller fallbound feed forecast glass house judge learned margin outdoors outlook "
CORE += "permit psychro readings record timed_run valve window_test words"
BEAT = "app clock contacts events hardware history humidity keep lamp minutes pins relay release start store tasks "
BEAT += "thermometers"
PAGE = "guard login chart page_parts page"
MQTT = "senml mqtt homie inbox outbox link"


def part(name):
    """All that came to the heap since the last part, and stayed."""
    gc.collect()
    now = gc.mem_alloc()
    print("part", name, now - LAST[0])
    LAST[0] = now


def load(package, names):
    """Import these modules."""
    for name in names.split():
        __import__(package + "." + name)


def parts(folder):
    """Everything."""
    part("start")
    import asyncio  # noqa: F401
    import socket  # noqa: F401

    part("asyncio")
    import dewcore.settings  # noqa: F401

    part("settings-code")
    load("dewcore", CORE)
    part("core-code")
    load("dewboard", BEAT)
    part("beat-code")
    import microdot  # noqa: F401

    part("microdot-code")
    load("dewboard", PAGE)
    part("page-code")
    load("dewboard", MQTT)
    part("mqtt-code")
    from dewsim.virtual import VirtualBoard, install

    world = VirtualBoard()
    install(world)
    part("simulated")
    from dewboard.store import Store, make_folder

    make_folder(folder)
    Store(folder, "probes").save(json.dumps(world.rom_codes()).encode())
    build(folder, world)


def build(folder, world):
    """The app, its page and its link, as start.py does."""
    from dewboard import start
    from dewboard.clock import Clock
    from dewboard.guard import Guard
    from dewboard.page import Page
    from dewboard.pins import open_pins
    from dewcore.controller import Controller

    pins = open_pins()
    part("pins")
    app = start.build(pins, Clock(world), folder)
    part("app")
    second = Controller(app.settings)
    part("of-it-decision")
    del second
    gc.collect()
    LAST[0] = gc.mem_alloc()
    guard = Guard(lambda: ["127.0.0.1"])
    page = Page(app, guard)
    part("page")
    app.keep.broker = {"host": "192.0.2.7"}
    jobs = start.broker(app, None)
    part("mqtt")
    beats(app, world)
    part("hour")
    send(page, app)
    return jobs


def beats(app, world):
    """An hour."""
    for _ in range(3600):
        began_us = world.us
        app.beat()
        world.advance_us(1000000 - (world.us - began_us))


def send(page, app):
    """The page as it is sent, and the most that lay on the heap meanwhile."""
    from dewboard.page import View

    most = 0
    for _ in page.sent(View(app, "none")):
        gc.collect()
        most = max(most, gc.mem_alloc())
    print("part worst", most - LAST[0])
