"""A bench script over a serial line against real MicroPython with the bench shim, and without: the two sheets compared.

    python tests/acceptance/bench_on_board.py [SCRIPT]     the shipped acceptance script where none is named

The board is the virtual one, its clock as fast as it can; the seconds are those of the board's own program.  Exit
status 1 where the sheets differ in anything but the board's name and the date.  Some fifty minutes of one core.
"""

import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "desktop"), str(ROOT / "sim"), str(ROOT / "firmware"), str(ROOT / "shared")]

from board_with_shim import board_with_shim  # noqa: E402

from dewsim.cli import main as dewmargin  # noqa: E402

NAMED = ('<table class="facts"><tbody><tr><th scope="row">Tried on</th>', '<tr><th scope="row">Date</th>')


def rows(sheet: Path) -> list:
    """A sheet's lines without those that name board and date."""
    return [line for line in sheet.read_text(encoding="utf-8").splitlines() if not line.startswith(NAMED)]


def main(script: str) -> int:
    """0 the same sheet, 1 another."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        there, here = folder / "board.html", folder / "virtual.html"
        began_s = time.monotonic()
        with board_with_shim(folder) as board:
            status = dewmargin(["bench", "--script", script, "--board", board.port, "--out", str(there)])
        took_s = time.monotonic() - began_s
        dewmargin(["bench", "--script", script, "--out", str(here)])
        told, wanted = rows(there), rows(here)
    for line in sorted(set(told) ^ set(wanted)):
        print(line)
    print(f"over the line: exit status {status}, {took_s:.0f} s; the sheet's {len(wanted)} lines: ", end="")
    print("the same" if told == wanted else "another")
    return 0 if told == wanted else 1


if __name__ == "__main__":
    sys.exit(main(*(sys.argv[1:] or ["acceptance"])))
