"""A board out of ROM at a broker in every trouble, on a heap as small as given: beats, decisions, memory.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/broker_troubles.py [--heap 130]

Time is simulated, sockets are real: broker, name server and board are one program.  The release runs out of a ROM
image; the page is loaded, and nobody asks for it.  Each trouble lasts five minutes, names fail for an hour; after each
all is well until the board has told everything anew.  --heap: kB that a board would have; what it does not have comes
on top and is told, as in tests/acceptance/soak.py.  Demanded: no beat missed or late, decisions as without a network,
the board ready again after each trouble, no memory lost, none missing.  Some minutes.
Exit status 0 where all is kept, 1 where not, 2 where a tool is missing.
"""

import argparse
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from board_tools import CODE, DESIGN_BYTES, RomBoard

PROGRAMS = (
    "parts_board", "loaded_board", "link_rig", "winter_board", "world_loop", "trouble_broker", "troubles_board",
)  # fmt: skip
BROKER_BYTES = 6000  # what the broker's side of a connection holds
FIRST_TROUBLE = 2  # the row after it: what a link holds once it was in trouble
LOST_BYTES = 1000
LATE_US = 1_100_000


def play(board: RomBoard, heap_bytes: int, simulated: int, alone_s: int) -> str:
    """What one run prints."""
    with tempfile.TemporaryDirectory() as kept:
        code = f"import troubles_board\ntroubles_board.troubles({kept + '/kept'!r}, {alone_s})"
        command = board.command(heap_bytes, code, simulated)
        done = subprocess.run(command, env=board.environment, capture_output=True, text=True)
    return done.stdout + done.stderr


def decided(text: str) -> list:
    """Of a run: its last second, the digest, beats with the valve open, the longest between two, missed ones."""
    line = re.search(r"^decided (.*)$", text, re.M)
    return [int(word) for word in line[1].split()] if line else []


def main() -> int:
    """Run, run alone, judge."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--heap", type=float, help="kB for the firmware (default: 130, twice that with 64-bit words)")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        board = RomBoard("broker_troubles", Path(folder), PROGRAMS, CODE)
        own = int(options.heap * 1000) if options.heap else DESIGN_BYTES * board.words
        simulated = board.simulated("troubles_board") + BROKER_BYTES * board.words
        began = time.monotonic()
        text = play(board, own, simulated, 0)
        found = decided(text)
        alone = decided(play(board, own, simulated, found[0])) if found else []
        print(board.said(own, simulated))
        print(f"{time.monotonic() - began:.0f} s")
        return judge(text, found, alone, simulated + board.image_bytes + board.traced)


def judge(text: str, found: list, alone: list, beside: int) -> int:
    """Print what was found beside what is demanded; beside: bytes on the heap that a board does not have."""
    rows = re.findall(r"^trouble (\S+) (\d) (\d+) (\d+) (\d+)$", text, re.M)
    print(f"{'trouble':26}{'ready again':>12}{'connections':>12}{'live, bytes':>13}{'longest step, ms':>18}")
    for name, ready, count, live, step_ms in rows:
        is_ready = "yes" if int(ready) else "NO"
        print(f"{name.replace('_', ' '):26}{is_ready:>12}{count:>12}{int(live) - beside:>13}{step_ms:>18}")
    if not found or not alone:
        print("broker_troubles: it did not come to its end\n" + text[-3000:])
        return 1
    lost = int(rows[-1][3]) - int(rows[FIRST_TROUBLE][3])
    no_memory = sorted({line for line in text.splitlines() if "Memory" in line})
    print(f"{found[0]} s, valve open in {found[2]} of them; decisions as without a network: "
          f"{'yes' if found[:3] == alone[:3] else 'NO'}")
    print(f"longest between two beats {found[3] / 1e6:.3f} s, missed {found[4]}; {lost} bytes lost")
    print(*no_memory, sep="\n", end="\n" if no_memory else "")
    good = found[:3] == alone[:3] and found[3] <= LATE_US and found[4] == 0 and lost <= LOST_BYTES and not no_memory
    good = good and all(int(row[1]) for row in rows) and 0 < found[2] < found[0]
    print("broker_troubles: kept" if good else "broker_troubles: NOT KEPT")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
