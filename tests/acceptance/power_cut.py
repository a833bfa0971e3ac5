"""Power cuts at every moment of everything that is stored, on littlefs and FAT, and again while it recovers.

Usage: power_cut.py.  Needs a MicroPython, found as tests/run_both.py finds it; about three minutes.  For settings,
learned state, boot counter and history, each erase and program operation of the chip is a moment at which power
goes, clean after it and with half of it done; then the board starts, reads and writes, and power goes again at
each operation of that.  What is read must be old or new, whole, and everything else as before.  After every cut, and
a sample of the pairs, the app itself starts on what is left in a dry, heated house: contact open for the whole pause
from that start on, and permitted later.  On this Python everything but that at every bytecode.
The last line has the numbers of it all; exit status 1 where anything was lost.
"""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ["shared", "firmware", "sim", "vendor/microdot", "tests/board", "tests/acceptance"]


def main() -> int:
    """Both halves, one after the other."""
    sys.path[:0] = [str(ROOT / folder) for folder in [*FOLDERS, "tests"]]
    import power_cut_cases
    import run_both

    micropython = run_both.find_micropython(os.environ, sys.executable)
    if micropython is None:
        print("power_cut: no MicroPython found: name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        return 2
    print("CPython " + sys.version.split()[0], flush=True)
    cuts, lost = power_cut_cases.bytecodes()
    print(run_both.micropython_version(micropython), flush=True)
    paths = [str(ROOT / folder) for folder in FOLDERS]
    environment = dict(os.environ, MICROPYPATH=":".join([*paths, ".frozen"]))
    code = f"import power_cut_cases; power_cut_cases.chips({cuts}, {lost})"
    done = subprocess.run([micropython, "-X", "heapsize=16m", "-c", code], env=environment, check=False)
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
