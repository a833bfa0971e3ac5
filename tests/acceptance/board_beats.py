"""How long a beat of the virtual board takes: the drivers alone, everything fitted, furnace on, valve shut and open.

    PYTHONPATH=shared:firmware:sim:tests/board python tests/acceptance/board_beats.py [BEATS]
"""

import sys
import time

from bench import Bench

BEATS = int(sys.argv[1]) if len(sys.argv) > 1 else 20000
BARE = {"has_overflow": 0, "has_drain_wet": 0, "has_absent": 0, "has_room": 0}
for label, changes, valve_open in (("few fitted, valve shut", BARE, False), ("all fitted, valve open", {}, True)):
    bench = Bench(changes)
    bench.furnace()
    bench.beat(20, valve_open)
    bench.longest_us = 0
    began = time.process_time()
    bench.beat(BEATS, valve_open)
    took = time.process_time() - began
    longest_ms = bench.longest_us / 1e3
    print("%s: %.0f us a beat; the longest waits %.1f ms on the board" % (label, 1e6 * took / BEATS, longest_ms))
