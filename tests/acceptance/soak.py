"""Weeks on the board: beats, page traffic and a settings change each hour on MicroPython with a small heap.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/soak.py [--days 30] [--heap 130]

Time is simulated, the page is asked for in the same program (no sockets), between two beats: simulated time stands
still meanwhile.  So this shows memory, not whether a request makes a beat late: that is for hostile_lan.py (sockets,
real time) and broker_troubles.py.  The release runs out of a ROM image, without a broker.  --heap: kB that a board
would have; what it does not have comes on top and is told: the simulated hardware and the caller, which is measured
first, what this interpreter keeps of functions for tracing, and the image.  Demanded: in service, the valve open at
times, no beat missed, no restart, every request answered, live heap and largest free block at the end within 5 % of
those after an hour, and at the worst moment of a page request no more than 110 kB alive (twice that with 64-bit words).
Days are told as they pass; one takes a minute or two of a core.
Exit status 0 where all is kept, 1 where not, 2 where a tool is missing.
"""

import argparse
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from board_tools import DESIGN_BYTES, RomBoard

PROGRAMS = ("parts_board", "loaded_board", "page_client", "page_app", "winter_board", "soak_board")
WITHIN = 0.05
HEAP_64_BYTES = 224000
WORST_BYTES = 110000  # alive at any moment of a page request, words of 32 bits
CALLER_BYTES = 5000  # what the caller, a browser with memory of its own, holds of an answer


def play(board: RomBoard, heap_bytes: int, days: float, simulated: int) -> "tuple[int, str]":
    """One run: exit status and what was said; each day as it passes."""
    with tempfile.TemporaryDirectory() as kept:
        code = f"import soak_board\nsoak_board.soak({days}, {kept + '/kept'!r})"
        command = board.command(heap_bytes, code, simulated)
        said = []
        with subprocess.Popen(
            command, env=board.environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        ) as running:
            for line in running.stdout:
                said.append(line)
                if line.startswith("day "):
                    print(line.rstrip(), file=sys.stderr, flush=True)
    return running.returncode, "".join(said)


def numbers(text: str, name: str) -> list:
    """The whole numbers of the line that begins so."""
    line = re.search(rf"^{name} (.*)$", text, re.M)
    return [int(word) for word in re.findall(r"-?\d+", line[1])] if line else []


def main() -> int:
    """Measure, run, judge."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=float, default=30)
    parser.add_argument("--heap", type=float, help="kB for the firmware (default: 130, with 64-bit words 224)")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        board = RomBoard("soak", Path(folder), PROGRAMS)
        usual = DESIGN_BYTES if board.words == 1 else HEAP_64_BYTES
        own = int(options.heap * 1000) if options.heap else usual
        simulated = board.simulated("soak_board")
        began = time.monotonic()
        status, text = play(board, own, options.days, simulated + CALLER_BYTES)
        took_s = time.monotonic() - began
        print(board.said(own, simulated + CALLER_BYTES))
        print(f"{options.days:g} days in {took_s:.0f} s")
        return judge(status, text, simulated + board.image_bytes + board.traced, WORST_BYTES * board.words)


def judge(status: int, text: str, beside: int, most: int) -> int:
    """Print what was found beside what is demanded.

    beside: bytes on the heap that a board does not have; most: bytes alive that a page request may come to.
    """
    hour, end = numbers(text, "hour"), numbers(text, "end")
    largest = [int(found) for found in re.findall(r"max free sz: (\d+)", text)]
    counters = re.search(r"^counters (.*)$", text, re.M)
    if not hour or not end or not counters or len(largest) < 2 or status:
        print("soak: it did not come to its end\n" + text[-5000:])
        return 1
    missed = int(re.search(r"'missed_beats', (\d+)", counters[1])[1])
    failed = int(re.search(r"'failed_beats', (\d+)", counters[1])[1])
    resets = numbers(text, "resets")[0]
    safe = re.search(r"^resets .* safe '(.*)' open_s (\d+)", text, re.M)
    live_change = (end[0] - beside) / (hour[0] - beside) - 1.0
    block_change = largest[-1] / largest[0] - 1.0
    print(f"live heap of the board's own: after an hour {hour[0] - beside}, at the end "
          f"{end[0] - beside} bytes ({100 * live_change:+.1f} %)")
    print(f"largest free block: after an hour {largest[0]}, at the end {largest[-1]} blocks "
          f"({100 * block_change:+.1f} %)")
    print(f"live heap at the worst moment of a page request: {end[2] - beside} bytes, at most {most}")
    print(f"requests answered {end[3]}, refused {end[4]}; beats missed {missed}, failed {failed}; resets {resets}")
    print("counters: " + counters[1])
    if not safe or safe[1]:
        print("out of service: " + (safe[1] if safe else "it does not say"))
        return 1
    if int(safe[2]) == 0:
        print("the valve never opened")
        return 1
    good = missed == failed == resets == end[4] == 0 and end[3] > 0
    good = good and abs(live_change) <= WITHIN and block_change >= -WITHIN and end[2] - beside <= most
    print("soak: kept" if good else "soak: NOT KEPT")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
