"""The board of tests/acceptance/mqtt_memory.py: the link beside a stand-in app, measured connection by connection.

measure(port, cycles) prints bytes alive after a collection, at each stage; the program's own constants hold, so that a
second passes before a lost connection is seen.
"""

import loaded_board  # isort: skip - before what only this test has

import asyncio
import gc

import link_rig
from parts_board import MQTT, load

from dewboard.broker_config import full

load("dewboard", MQTT)
SIMULATED = loaded_board.simulated()
SOON_S = 0.05  # between two tries


def alive():
    gc.collect()
    return gc.mem_alloc()


def measure(port, cycles):
    """All of it."""
    from dewboard import link

    app = link_rig.App()
    config = full({"host": "127.0.0.1", "port": port, "device": "attic", "commands": 1, "logger": 1})
    before = alive()
    one = link.Link(app, config, link_rig.Net())
    made = alive()
    app.late_ms = 0
    most, lows = asyncio.run(connections(one, cycles))
    quarter = len(lows) // 4
    print("measured", before, made, most, min(lows[:quarter]), min(lows[-quarter:]), app.late_ms, one.client.skipped)


async def connections(one, cycles):
    """(most that was alive, the least in each cycle) over these connections; names that fail come first."""
    await names_fail(one)
    tasks = [asyncio.create_task(one.stay_connected()), asyncio.create_task(one.app.beats())]
    most = 0
    lows = []
    for _ in range(cycles):
        while not one.is_ready:
            one.wait_s = SOON_S
            await asyncio.sleep(0.02)
            most = max(most, alive())
        while one.is_ready:
            await asyncio.sleep(0.05)
            most = max(most, alive())
        lows.append(alive())
    for task in tasks:
        task.cancel()
    return most, lows


async def names_fail(one):
    """The broker's name is asked for again and again, of a server that is not there; prints what that leaves."""
    host, one.config["host"], one.net.name_server = one.config["host"], "broker.example", "127.0.0.1"
    marks = []
    for wanted in (5, 40):
        task = asyncio.create_task(one.stay_connected())
        for _ in range(wanted):
            one.state = ""
            one.wait_s = SOON_S
            while not one.state:
                await asyncio.sleep(0.02)
        task.cancel()
        await asyncio.sleep(0.2)
        marks.append(alive())
    print("names", marks[1] - marks[0])
    one.config["host"] = host
