"""A month of a winter on the virtual board, against the decision alone, in CPython and in MicroPython.

    python tests/acceptance/board_month.py [--days 30] [--from-day 92] [--weather hard:3] [--micropython PATH ...]

1. CPython: the firmware's app in the simulated house (dewsim.onboard), beside it the decision alone on the same
   readings; every second relay and decision are compared.
2. The world of that run (what chips, wires and feed showed, minute by minute) is played to the same firmware in
   MicroPython, the interpreter of DEWMARGIN_MICROPYTHON and each --micropython; the seconds of the valve's switches
   are compared with those of 1, and what differs is listed.  With doubles nothing may; a build of single precision
   may round a reading the other way at a limit: all but 2 in 100 of its switches come within a minute of their own.
3. The ordinary replay of the same days, a scan every ten seconds: mean RH and added wet minutes beside the board's.

30 days take about 3 minutes in CPython, 6 to 10 in MicroPython.  Exit status 1 where 1 or 2 differ (doubles), 2
without a MicroPython.
"""

import argparse
import os
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / part) for part in ("shared", "firmware", "sim", "tests")]

from board_tools import untraced  # noqa: E402
from run_both import find_micropython, micropython_version  # noqa: E402

from dewsim import housefile, named, onboard, plant, policies, replay  # noqa: E402
from dewsim.errors import InputError  # noqa: E402

ROW = "<dddBBiii"  # indoor_c, rh_pct, outdoor_c, fan, heat, silent chips (1 humidity, 2 outdoor), wall time, offset
FORECAST = "<ii72h"
DAY_STEPS = 1440
PAIR_S = 200  # less than half of the shortest time between two switches the same way
APART_S = 60  # of single precision's
UNLIKE = 0.02
LISTED = 50


def traced(path: Path):
    """An OnBoard that writes down what the world shows."""

    class Traced(onboard.OnBoard):
        def __init__(self, *arguments):
            super().__init__(*arguments)
            self.file = open(path, "wb")
            self.utc_s = self.issued_s = 0

        def tell_time(self, k):
            super().tell_time(k)
            self.utc_s = self.clock[0] + self.course.dt_s * k

        def minute(self):
            world, r = self.world, self.app.readings
            silent = (1 if world.humidity_fault else 0) | (2 if world.thermometer_faults else 0)
            row = (world.indoor_c, world.rh_pct, world.outdoor_c, world.fan_running, world.heat_call, silent)
            self.file.write(struct.pack(ROW, *row, self.utc_s, self.clock[1]))
            new = r.forecast_issued_s != self.issued_s
            self.file.write(b"\x01" if new else b"\x00")
            if new:
                self.issued_s = r.forecast_issued_s
                self.file.write(struct.pack(FORECAST, r.forecast_issued_s, r.forecast_start_s, *r.forecast_dc))
            self.utc_s = 0
            return super().minute()

    return Traced


def days_of(sky, first: int, count: int):
    """A weather cut to some days."""
    per_day = 86400 // sky.step_s
    part = slice(first * per_day, (first + count) * per_day + 2)
    cut = type(sky).__new__(type(sky))
    for name in sky.__slots__:
        value = getattr(sky, name)
        setattr(cut, name, value[part] if name in ("outdoor_c", "rh_pct", "wind_m_s", "pressure_pa") else value)
    cut.start_utc_s = sky.start_utc_s + first * 86400
    if len(cut.outdoor_c) < per_day * count:
        raise InputError(f"--from-day {first} --days {count}: the winter has no so many days; give fewer")
    return cut


def on_micropython(micropython: str, trace: Path, settings: Path, expected: list) -> bool:
    """Play the world there; whether every switch came in the same second."""
    version = micropython_version(micropython)
    path = ":".join(str(ROOT / part) for part in ("shared", "firmware", "sim", "tests/board")) + ":.frozen"
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        code = f"import play_world\nplay_world.main({str(trace)!r}, {str(settings)!r}, {folder!r})"
        command = [micropython, "-X", "heapsize=4m", "-c", untraced(code)]
        done = subprocess.run(command, env=dict(os.environ, MICROPYPATH=path), capture_output=True, text=True)
    if done.returncode:
        print(f"{version}: failed\n{done.stdout[-2000:]}{done.stderr[-2000:]}")
        return False
    lines = done.stdout.split("\n")
    found = [tuple(int(word) for word in line.split()[1:]) for line in lines if line.startswith("switch ")]
    pairs = paired(expected, found)
    others = [pair for pair in pairs if pair[0] != pair[1]]
    print(f"{version}: {len(found)} switches, {len(pairs) - len(others)} of {len(expected)} in the same second, "
          f"{time.monotonic() - began:.0f} s; {lines[-2]}")
    tell(others)
    if "single" not in version:
        return found == expected
    far = [pair for pair in others if None in pair or abs(pair[0][0] - pair[1][0]) > APART_S]
    print(f"  single precision: {len(others)} differ, {len(far)} by more than {APART_S} s or without their like")
    return len(far) <= UNLIKE * len(expected)


def paired(expected: list, found: list) -> list:
    """Switches (second, new state) here beside those there, each with its like or None, in the order of time."""
    pairs = []
    for state in (0, 1):
        mine = [switch for switch in expected if switch[1] == state]
        theirs = [switch for switch in found if switch[1] == state]
        while mine and theirs:
            later_s = theirs[0][0] - mine[0][0]
            pairs.append((mine.pop(0) if later_s >= -PAIR_S else None, theirs.pop(0) if later_s <= PAIR_S else None))
        pairs += [(switch, None) for switch in mine] + [(None, switch) for switch in theirs]
    return sorted(pairs, key=lambda pair: (pair[0] or pair[1])[0])


def tell(others: list) -> None:
    """Each pair that differs, up to a number."""
    words = ("shut", "open")
    for mine, theirs in others[:LISTED]:
        here = f"second {mine[0]}" if mine else "not at all"
        there = f"second {theirs[0]}" if theirs else "not at all"
        by = f", {theirs[0] - mine[0]:+d} s" if mine and theirs else ""
        print(f"  valve {words[(mine or theirs)[1]]}: here {here}, there {there}{by}")
    if len(others) > LISTED:
        print(f"  and {len(others) - LISTED} more")


def main() -> int:
    """Run it all and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--from-day", type=int, default=92, help="days after October the first (default: January)")
    parser.add_argument("--weather", default="hard:3")
    parser.add_argument("--micropython", action="append", default=[], help="a further interpreter")
    parser.add_argument("--skip-micropython", action="store_true", help="only CPython")
    options = parser.parse_args()
    first = find_micropython(os.environ, sys.executable)
    if first is None and not options.skip_micropython:
        print("board_month: no MicroPython found; name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        return 2
    sky = days_of(named.winter(options.weather), options.from_day, options.days)
    house = housefile.load(replay.DEMO_HOUSE)
    case = replay.Replay(house, sky, replay.DEMO_SEED, "the demo's house")
    with tempfile.TemporaryDirectory() as folder:
        trace, settings = Path(folder, "world"), Path(folder, "settings")
        good, expected = in_cpython(case, trace, settings)
        for micropython in [] if options.skip_micropython else [first, *options.micropython]:
            good = on_micropython(micropython, trace, settings, expected) and good
    return 0 if good else 1


def in_cpython(case, trace: Path, settings: Path) -> tuple:
    """(whether relay and decision never differed, the switches as pairs of second and new state)."""
    from dewboard.store import settings_text

    settings.write_text(settings_text(case.settings))
    began = time.monotonic()
    boards = []
    kind = traced(trace)

    class Kept(kind):
        def __init__(self, *arguments):
            super().__init__(*arguments)
            boards.append(self)

    run, check = onboard.run_board(
        case.course, case.sensors, case.settings, case.clock, case.start_pct, forecasts=case._forecasts(), kind=Kept
    )
    boards[0].file.close()
    print(f"CPython: {check}\n  {time.monotonic() - began:.0f} s")
    shut = policies.run_shut(case.course, case.start_pct)
    direct = case.controlled(case.settings, case._forecasts())
    for name, which in (("board", run), ("ordinary replay", direct)):
        rh = plant.rh_series_pct(case.course, which.w_g_kg)
        added = policies.added_wet_minutes(case.course, which.w_g_kg, shut.w_g_kg)
        print(f"  {name}: mean RH {sum(rh) / len(rh):.3f} %, added wet minutes {added}, starts {which.valve_starts}")
    return check["differences"] == 0 and check["missed_beats"] == 0, boards[0].switched


if __name__ == "__main__":
    sys.exit(main())
