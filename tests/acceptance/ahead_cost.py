"""What looking ahead and learning cost a board: garbage and time of each slice, bytes kept, size of what is learned.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/ahead_cost.py

Without the variable the MicroPython beside this Python is taken.  It imports this very file.
Limits: 40 kB of garbage in any slice, nothing kept, 5 ms a whole look-ahead on the machine's own clock, 4 kB learned.
A look-ahead may take 9 scans, the trials of a quarter of an hour 14.  Exit status 0 within the limits, 1 beyond, 2
without a MicroPython.
"""

import sys
from array import array

SLICE_BYTES = 40960  # of a build with 32-bit words; objects of one with 64 have up to twice the bytes
PASS_US = 5000
LEARNED_BYTES = 4096
MOST_LOOK_SCANS = 9
MOST_TRIAL_SCANS = 14
QUARTERS = 400
PARTS = (
    "an hour completed",
    "a look-ahead begun",
    "a slice of the look-ahead",
    "the last slice",
    "a minute",
    "a quarter of an hour",
    "a slice of trials",
    "a slice with fits",
    "the slice that weighs",
)
HOUR, BEGIN, SLICE, LAST, MINUTE, QUARTER, TRIALS_ALONE, FITS, WEIGHS = range(9)


class Meter:
    """Most garbage [bytes] and least time [us] by part, and the time of all since `us` was set to 0."""

    def __init__(self, gc, time):
        self.gc = gc
        self.time = time
        self.most = [0] * len(PARTS)
        self.least_us = [1 << 29] * len(PARTS)
        self.us = 0

    def run(self, part, function, *arguments):
        """Call it, on a heap just collected."""
        self.gc.collect()
        began = self.gc.mem_alloc()
        began_us = self.time.ticks_us()
        function(*arguments)
        took_us = self.time.ticks_diff(self.time.ticks_us(), began_us)
        garbage = self.gc.mem_alloc() - began
        self.most[part] = max(self.most[part], garbage)
        self.least_us[part] = min(self.least_us[part], took_us)
        self.us += took_us


def a_quarter(meter, outlook, history, readings, n):
    """Fifteen minutes of a house in which nothing stands still, its trials, and a look-ahead with a forecast.

    Returns the scans for trials and look-ahead, and the look-ahead's time [us].
    """
    house = outlook.house
    now_s = 900 * n
    hour = n // 4 % 24
    outdoor_c = -8.0 + 0.05 * (n * 7 % 97)
    if history.note(outdoor_c, 900, 80.0):
        meter.run(HOUR, completed, outlook, history, hour)
    for minute in range(15):
        rh_pct = 35.0 + 0.02 * (n % 61) + 0.01 * minute
        part = QUARTER if minute == 0 else MINUTE  # the quarter that ends with it
        pad = 1 if n % 5 < 3 else 0
        at_s = now_s + 60 * minute + 60
        meter.run(part, house.minute, at_s, hour, 20.0, rh_pct, 0.147 * rh_pct, outdoor_c, pad, True)
    scoring = house.quarters == 0
    slices = 0
    while house.next < 36:
        is_last = house.next + 4 > 36
        meter.run((WEIGHS if is_last else FITS) if scoring else TRIALS_ALONE, house.work)
        slices += 1
    readings.utc_s = readings.forecast_issued_s = readings.forecast_start_s = 1700000000 + now_s
    for i in range(72):
        readings.forecast_dc[i] = int(10.0 * outdoor_c) - i
    meter.us = 0
    meter.run(BEGIN, begun, outlook, history, readings, outdoor_c, 15 * n % 1440, now_s)
    looks = 1
    while outlook.next >= 0:
        meter.run(LAST if outlook.next + 7 > 48 else SLICE, outlook.work)
        looks += 1
    return slices, looks, meter.us


def completed(outlook, history, hour):
    outlook.fall.watch(history, hour)
    outlook.house.outdoor_hour(history)


def begun(outlook, history, readings, outdoor_c, minute, now_s):
    outlook.forecast.judge(readings, outdoor_c, True, now_s)
    outlook.begin(minute, 20.0, outdoor_c, history.day_lowest_c(outdoor_c))


def measure():
    """Runs on MicroPython: prints most bytes and least us by part, us a pass, bytes kept, scans for both."""
    import gc
    import time

    from dewcore.outdoors import OutdoorHistory
    from dewcore.outlook import Outlook
    from dewcore.readings import Readings

    outlook = Outlook()
    outlook.forecast.elsewhere = False
    outlook.forecast.off_k = 0.5
    history = OutdoorHistory()
    readings = Readings()
    passes = array("i", [0] * QUARTERS)
    gc.disable()
    warm = Meter(gc, time)
    for n in range(1, 200):
        a_quarter(warm, outlook, history, readings, n)
    meter = Meter(gc, time)
    gc.collect()
    before = gc.mem_alloc()
    for n in range(200, 200 + QUARTERS):
        slices, looks, us = a_quarter(meter, outlook, history, readings, n)
        passes[n - 200] = us
    gc.collect()
    kept = gc.mem_alloc() - before
    assert outlook.forecast.status == 1 and outlook.known
    a_pass = min(passes)  # each takes the same steps; what is longer was interrupted by the machine's other programs
    numbers = meter.most + meter.least_us + [a_pass, kept, slices, looks]
    print("measured", " ".join([str(number) for number in numbers]))


def learned_bytes():
    """What house, fall bound and looks keep: arrays as they are, four bytes for each number beside them, the image."""
    from dewcore.glass import IMAGE_BYTES
    from dewcore.outlook import Outlook

    outlook = Outlook()
    total = IMAGE_BYTES
    for thing in (outlook.house, outlook.fall):
        for name in thing.__slots__:
            value = getattr(thing, name)
            is_array = hasattr(value, "__len__")
            total += len(value) * getattr(value, "itemsize", 1) if is_array else 4
    return total


def main():
    """Run this file on MicroPython and judge what it measured."""
    import os
    import subprocess
    from pathlib import Path

    here = Path(__file__).resolve()
    root = here.parents[2]
    sys.path[:0] = [str(root / "tests"), str(root / "shared")]
    from board_tools import untraced
    from run_both import find_micropython, micropython_version

    micropython = find_micropython(os.environ, sys.executable)
    if micropython is None:
        print("ahead_cost: no MicroPython found; name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        return 2
    version = micropython_version(micropython)
    is_small = version.endswith("32-bit words")
    heap = "160k" if is_small else "320k"  # more than a board's, as the sources are compiled here
    done = subprocess.run(
        [micropython, "-X", "heapsize=" + heap, "-c", untraced("import ahead_cost\nahead_cost.measure()")],
        env=dict(os.environ, MICROPYPATH=f"{root}/shared:{here.parent}"),
        capture_output=True,
        text=True,
        timeout=600,
    )
    words = done.stdout.split()
    if done.returncode or len(words) != 5 + 2 * len(PARTS) or words[0] != "measured":
        print("ahead_cost: MicroPython failed\n" + done.stdout + done.stderr, file=sys.stderr)
        return 1
    return judge(version, SLICE_BYTES if is_small else 2 * SLICE_BYTES, [int(word) for word in words[1:]])


def judge(version, allowed, numbers):
    """Print the figures beside their limits; 0 where all are kept."""
    most, least_us = numbers[: len(PARTS)], numbers[len(PARTS) : -4]
    a_pass, kept, slices, looks = numbers[-4:]
    learned = learned_bytes()
    print(version)
    for part, garbage, us in zip(PARTS, most, least_us):
        print("%-26s garbage at most %6d bytes, %5d us at best" % (part, garbage, us))
    print("allowed in each: %d bytes" % allowed)
    print("a whole look-ahead: %d us at best; allowed %d;" % (a_pass, PASS_US), end="")
    print(" in %d scans of %d" % (looks, MOST_LOOK_SCANS))
    print("the trials of a quarter of an hour: in %d scans of %d" % (slices, MOST_TRIAL_SCANS))
    print("kept: %d bytes; allowed none.  Learned: %d bytes; allowed %d" % (kept, learned, LEARNED_BYTES))
    good = 0 < min(most) and max(most) <= allowed and 0 < a_pass <= PASS_US and kept <= 0 and learned <= LEARNED_BYTES
    good = good and 0 < looks <= MOST_LOOK_SCANS and 0 < slices <= MOST_TRIAL_SCANS
    print("ahead_cost: kept to the limits" if good else "ahead_cost: BEYOND THE LIMITS")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
