"""What the commands that look at a bench's pages begin with: the bench as a process, a browser, checks that count.

    with bench("--board", port) as (process, address), browser() as page:     tests/desktop/browser.py
    check = Checks(); check("what", whether)                                  check.missed
"""

import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
OWN = [str(ROOT / name) for name in ("shared", "sim", "firmware")]
sys.path[:0] = [str(ROOT / "tests" / "desktop"), *OWN]

from browser import Browser  # noqa: E402


class Checks:
    """Prints and counts."""

    def __init__(self):
        self.missed = 0

    def __call__(self, text: str, holds: bool) -> None:
        self.missed += not holds
        print(("reached  " if holds else "MISSED   ") + text, flush=True)


@contextmanager
def bench(*options: str) -> Iterator[tuple]:
    """(process, address) of a bench."""
    world = dict(os.environ, PYTHONPATH=os.pathsep.join(OWN))
    command = [sys.executable, "-m", "dewsim.cli", "bench", *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=world) as process:
        try:
            found = next(filter(None, (re.search(r"http://\S+", line) for line in process.stdout)), None)
            if found is None:
                raise RuntimeError("the bench did not start")
            yield process, found.group()
        finally:
            process.terminate()
            process.wait()


@contextmanager
def browser() -> Iterator[Browser]:
    """With a new profile."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder, Browser(Path(folder)) as page:
        yield page
