"""A board's whole code but MQTT on MicroPython, loaded before what only a test has, so that its memory can be told.

Import this first.  Names of a test's own modules are then not what fills the interpreter's table of all names, which
doubles where it is full.  simulated(): bytes alive that are not the board's code: the test's own, and what was there.
"""

import gc

gc.collect()
gc.threshold(4096)  # as start.keep_memory_tidy, before anything else is loaded
from parts_board import BEAT, CORE, PAGE, load  # noqa: E402

gc.collect()
BEFORE = gc.mem_alloc()
import microdot  # noqa: E402, F401

load("dewcore", CORE)
load("dewboard", BEAT + " " + PAGE)
gc.collect()
OWN = gc.mem_alloc() - BEFORE


def simulated():
    """As of now."""
    gc.collect()
    return gc.mem_alloc() - OWN
