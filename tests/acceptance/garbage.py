"""What a scan costs a board: bytes of garbage, bytes kept and time, on MicroPython.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/garbage.py

Without the variable the MicroPython beside this Python is taken.  It imports this very file.
Limits: 6 kB of garbage in a scan, 40 kB in one that also learns or looks ahead, nothing kept over 10,000 scans, 1 ms
a scan in the mean on the machine's own clock.  What looking ahead costs by part: ahead_cost.py.
Exit status 0 within the limits, 1 beyond, 2 without a MicroPython.
"""

import sys

GARBAGE_BYTES = 6144  # of a build with 32-bit words; objects of one with 64 have up to twice the bytes
SLICE_BYTES = 40960
KEPT_BYTES = 0
SCAN_US = 1000
SCANS = 10000
WARM = 9000  # scans before, more than a day: what is filled once, or learned daily, is filled by then
# More than a board's 130 kB: nothing is collected within a scan, and the sources are compiled here.  A build with
# 64-bit words needs twice that.
HEAP = "250k"
HEAP_64 = "500k"


def fill(readings, n, now_s):
    """A house in whose readings nothing stands still, with every sensor fitted, heat on and off by turns."""
    wave = n % 97
    readings.indoor_c.set(20.0 + 0.01 * wave, now_s)
    readings.rh_pct.set(9.0 + 0.05 * (n % 61), now_s)
    readings.outdoor_c.set(-8.0 + 0.03 * wave, now_s)
    readings.glass_c.set(6.0 + 0.02 * wave, now_s)
    readings.supply_c.set(45.0 - 0.05 * wave, now_s)
    readings.room_c.set(19.0 + 0.01 * wave, now_s)
    readings.room_rh_pct.set(9.5 + 0.02 * wave, now_s)
    heat = 1 if n % 360 < 200 else 0
    readings.heat_call.set(heat, now_s)
    readings.line_sense.set(heat, now_s)
    readings.utc_s = 1700000000 + 10 * n


def new_controller():
    """A controller with every sensor fitted, and each of them corrected."""
    from dewcore.controller import Controller
    from dewcore.settings import Settings

    settings = Settings()
    settings.change({"has_glass": 1, "has_supply": 1, "has_room": 1, "has_drain_wet": 1, "has_overflow": 1})
    settings.change({"indoor_offset_k": 0.5, "outdoor_offset_k": 0.5, "glass_offset_k": 0.5, "room_offset_k": 0.5})
    settings.change({"rh_offset_pct": 1.0, "rh_gain": 1.02})
    controller = Controller(settings)
    house = controller.outlook.house  # a known one that nearly fogs: else the look-ahead asks for less, and costs less
    house.hours, house.alone = 336, 1.0
    for hour in range(24):
        house.counts[hour] = 56
    return controller


def measure():
    """Runs on MicroPython: most and sum of bytes, kept, most and sum of us, open, most in a slice."""
    import gc
    import time

    from dewcore.readings import CONTACT_NAMES, Readings

    controller = new_controller()
    readings = Readings()
    for name in CONTACT_NAMES:
        getattr(readings, name).set(1 if name in ("fan", "heat_call", "line_sense") else 0, 0)
    numbers = [0] * 7  # as printed, the means still sums
    gc.disable()
    before = 0
    for n in range(-WARM, SCANS):
        gc.collect()
        if n == 0:
            before = gc.mem_alloc()
        now_s = 100000 + 10 * n
        fill(readings, n + WARM, now_s)
        readings.load_sense.set(1 if controller.decision.valve and readings.line_sense.state else 0, now_s)
        ahead = controller.outlook
        before_scan = (ahead.learned_s, ahead.next, ahead.house.next)
        began = gc.mem_alloc()
        began_us = time.ticks_us()
        controller.scan(readings, now_s)
        took_us = time.ticks_diff(time.ticks_us(), began_us)
        garbage = gc.mem_alloc() - began
        if n >= 0:
            is_slice = before_scan != (ahead.learned_s, ahead.next, ahead.house.next)
            note(numbers, garbage, took_us, controller.decision.valve, is_slice)
    gc.collect()
    numbers[2] = gc.mem_alloc() - before
    print("measured", " ".join([str(number) for number in numbers]))


def note(numbers, garbage, took_us, is_open, is_slice):
    """Enter one scan."""
    most = 6 if is_slice else 0
    numbers[most] = max(numbers[most], garbage)
    numbers[1] += garbage
    numbers[3] = max(numbers[3], took_us)
    numbers[4] += took_us
    numbers[5] += is_open


def main() -> int:
    """Runs on CPython: starts MicroPython on this file and judges what it printed."""
    import os
    import subprocess
    from pathlib import Path

    here = Path(__file__).resolve()
    root = here.parents[2]
    sys.path.insert(0, str(root / "tests"))
    from board_tools import untraced
    from run_both import find_micropython, micropython_version

    micropython = find_micropython(os.environ, sys.executable)
    if micropython is None:
        print("garbage: no MicroPython found; name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        return 2
    version = micropython_version(micropython)
    heap = HEAP if version.endswith("32-bit words") else HEAP_64
    done = subprocess.run(
        [micropython, "-X", "heapsize=" + heap, "-c", untraced("import garbage\ngarbage.measure()")],
        env=dict(os.environ, MICROPYPATH=f"{root}/shared:{here.parent}"),
        capture_output=True,
        text=True,
        timeout=600,
    )
    words = done.stdout.split()
    if done.returncode or len(words) != 8 or words[0] != "measured":
        print("garbage: MicroPython failed\n" + done.stdout + done.stderr, file=sys.stderr)
        return 1
    return judge(version, heap, [int(word) for word in words[1:]])


def judge(version: str, heap: str, numbers: list) -> int:
    """Print the figures beside their limits; 0 where all are kept."""
    most, garbage, kept, most_us, took_us, opened, most_slice = numbers
    mean, mean_us = garbage // SCANS, took_us // SCANS
    words = 1 if heap == HEAP else 2
    allowed, allowed_slice = words * GARBAGE_BYTES, words * SLICE_BYTES
    print("%s, heap %s, %d scans, valve open in %d" % (version, heap, SCANS, opened))
    print("garbage a scan: mean %d, most %d bytes; allowed %d" % (mean, most, allowed))
    print("  most where it also learns or looks ahead: %d; allowed %d" % (most_slice, allowed_slice))
    print("kept over all scans: %d bytes; allowed %d" % (kept, KEPT_BYTES))
    print("time a scan: mean %d, most %d us; allowed in the mean %d" % (mean_us, most_us, SCAN_US))
    good = 0 < most <= allowed and 0 < most_slice <= allowed_slice and kept <= KEPT_BYTES
    good = good and mean_us <= SCAN_US and opened > 0
    print("garbage: kept to the limits" if good else "garbage: BEYOND THE LIMITS")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
