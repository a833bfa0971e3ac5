"""Runs every file of tests/board, the real firmware on the virtual board, on this Python and on real MicroPython.

Counts and judges as tests/run_both.py does, and takes the same DEWMARGIN_MICROPYTHON.  Exit status: 0 all passed, 1
something failed, 2 no MicroPython.
"""

import os
import sys
from pathlib import Path

import run_both

ROOT = run_both.ROOT
TESTS = ROOT / "tests" / "board"
OWN = ("shared", "firmware", "sim")


def runs(micropython: str, tests: Path) -> list:
    """(label, command for a test name, environment) of each interpreter."""
    own = [str(ROOT / name) for name in OWN] + [str(tests)]
    vendored = sorted(str(path) for path in (ROOT / "vendor").iterdir() if path.is_dir())
    brought = [path for path in vendored if not path.endswith("unittest")]  # this Python has its own
    plain = dict(os.environ, PYTHONPATH=os.pathsep.join(own + brought), PYTHONDONTWRITEBYTECODE="1")
    small = dict(os.environ, MICROPYPATH=":".join(own + vendored + [".frozen"]))
    python = sys.executable
    return [
        (
            "CPython " + sys.version.split()[0],
            lambda name: [python, "-c", run_both.CPYTHON_MAIN, name],
            plain,
        ),
        (
            run_both.micropython_version(micropython),
            lambda name: [micropython, "-X", "heapsize=16m", "-c", run_both.MICROPYTHON_MAIN.format(name)],
            small,
        ),
    ]


if __name__ == "__main__":
    sys.exit(run_both.main(sys.argv[1:], TESTS, runs))
