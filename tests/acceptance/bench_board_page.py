"""The bench's page over a board in a real browser, at the board's own pace: change to screen, and what ends it.

    python tests/acceptance/bench_board_page.py [--shots DIR]     needs chromium, and MicroPython as tests/run_both.py

The board is real MicroPython with the bench shim behind a serial line.  Prints a line a check and the figures; exit
status 1 where one is missed.  Some three minutes.
"""

import argparse
import random
import signal
import statistics
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import bench_started
from bench_browser import choose, frame, opened
from board_with_shim import board_with_shim

CHANGES = 8
PACED_S = 20
SENTENCE = "document.getElementById('sentence').textContent"
# control, value, what the screen shows of it, what bounds it, and within how many seconds it has to be there
BY_BEAT = (
    ("i-leak", "open", f"/leak wire is broken/.test({SENTENCE})", 1.5),
    ("i-leak", "dry", f"!/leak wire is broken/.test({SENTENCE})", 2.5),
)
ENDS = ("24 V at its line sense", "started afresh", "was ended on its computer", "does not answer any more")
SAYS = "Array.from(document.querySelectorAll('.alarm')).some(p => !p.hidden && p.textContent.includes('%s'))"
LINE = "Array.from(document.querySelectorAll('#ledger tr')).some(r => r.cells[2].textContent === '%s' && %s)"
BY_SCAN = (  # small steps: a jump waits to be confirmed
    ("i-rh_pct", "21", LINE % ("Humidity", "/21.0 %/.test(r.textContent)"), 12.5),
    ("i-rh_pct", "20", LINE % ("Humidity", "/20.0 %/.test(r.textContent)"), 12.5),
)


def measured(page, rows: tuple, period_s: float) -> list:
    """Seconds from each change, at any moment of the period, to its screen; inf where it does not come."""
    took = []
    for n in range(CHANGES):
        control, value, shown, _ = rows[n % len(rows)]
        time.sleep(random.uniform(0.0, period_s))
        began_s = time.monotonic()
        choose(page, control, value)
        took.append(time.monotonic() - began_s if page.holds(shown, 40.0) else float("inf"))
    return took


def told(check, what: str, rows: tuple, took: list) -> None:
    for n, row in enumerate(rows):
        own = took[n :: len(rows)]
        check(f"{what}, {row[0][2:]} to {row[1]}: median {statistics.median(own):.2f} s, longest {max(own):.2f} s "
              f"(within {row[3]:g})", max(own) <= row[3])  # fmt: skip


@contextmanager
def crowd(address: str) -> Iterator[None]:
    """Others that ask for the page and its frames all the time."""
    over = threading.Event()

    def ask() -> None:
        while not over.is_set():
            for path in ("", "frames"):
                with urllib.request.urlopen(address + path) as answer:
                    answer.readline()

    threads = [threading.Thread(target=ask) for _ in range(3)]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        over.set()
        for thread in threads:
            thread.join()


def pace(page, address: str, check) -> None:
    """A second of the board's is one, whatever pages do."""
    with crowd(address):
        before, began_s = frame(page)["seconds"], time.monotonic()
        time.sleep(PACED_S)
        seconds, took_s = frame(page)["seconds"] - before, time.monotonic() - began_s
    check(f"{seconds} of the board's seconds in {took_s:.1f} s beside three programs that ask all the time",
          abs(seconds - took_s) <= 1.5)  # fmt: skip


def shots(page, folder: Path, name: str) -> None:
    for width in (1280, 390):
        page.size(width, 900)
        time.sleep(0.5)
        page.shot(folder / f"{name}-{width}.png")
    page.size(1280, 900)


def until(holds: Callable[[], bool], seconds: float) -> float:
    """Seconds until it holds; inf where it does not."""
    began_s = time.monotonic()
    while not holds():
        if time.monotonic() - began_s > seconds:
            return float("inf")
        time.sleep(0.01)
    return time.monotonic() - began_s


def ends(board, page, process, how: str, check) -> None:
    """One way for it to end: the contact, and what the page says."""
    (lambda: board.live(True), board.process.kill, lambda: process.send_signal(signal.SIGINT), process.kill)[
        ENDS.index(how)
    ]()
    took_s = until(lambda: board.contact()[-1] == "0", 6.0)
    said_s = took_s + until(lambda: page.js(SAYS % how), 10.0)
    check(f"{how}: contact open after {took_s:.2f} s, told on the page after {said_s:.2f} s", said_s < 12.0)


def one(check, how: str, folder: Path, wishes) -> None:
    """A board, its page, and an end."""
    with (
        tempfile.TemporaryDirectory() as place,
        board_with_shim(Path(place)) as board,
        bench_started.bench(str(folder / "house.toml"), "--board", board.port) as (process, address),
        bench_started.browser() as page,
    ):
        page.size(1280, 900)
        opened(page, address)
        if how == ENDS[0]:
            told(check, "a wire, by the next beats", BY_BEAT, measured(page, BY_BEAT, 1.0))
            told(check, "a number, by the next scan", BY_SCAN, measured(page, BY_SCAN, 10.0))
            pace(page, address, check)
        closed = "/contact closed/.test(document.getElementById('lamps').textContent)"
        check("the contact closes", page.holds(closed, 120.0))
        if wishes.shots and how == ENDS[0]:
            shots(page, wishes.shots, "bench-on-board")
        ends(board, page, process, how, check)
        if wishes.shots:
            shots(page, wishes.shots, "bench-ended-" + how.split()[0])


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--shots", type=Path)
    wishes = arguments.parse_args()
    check = bench_started.Checks()
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "house.toml").write_text("[settings]\nmin_off_s = 60\n")
        for how in ENDS:
            one(check, how, Path(name), wishes)
    print(f"bench page over a board: {check.missed} missed")
    return 1 if check.missed else 0


if __name__ == "__main__":
    sys.exit(main())
