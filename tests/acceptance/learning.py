"""Does the learned house foretell a day?  Clear, binding houses, from day 14 on, from starts right and wrong by two.

Usage: learning.py WINTER [WINTER ...] [--houses N] [--seed N] [--start FACTOR ...]; a WINTER is a weather file or
KIND:SEED.  Every six hours the simulated house is stepped a day on with the valve shut, and the controller's own
rates do the same from what it knows then, on the weather that follows.  Told: share of days foretold more than 0.3
g/kg too dry with the room for bursts added, which should be 2 % at most, and the median of what is foretold too humid
without and with that room; and what is too dry where the outdoor humidity is not the weather's own but guessed from its
temperatures, as a board has to.  --start: what the rates are multiplied by that are believed, and held likely by the
fits, before anything is seen (where dewcore is compiled, believed only: its constants are fixed).  Exit
status 1 where the too dry are over 2 % of all days (6 % on guessed humidity), or the median without the room is over
0.5 g/kg too humid.
"""

import argparse
import statistics
import sys
from concurrent.futures import ProcessPoolExecutor
from copy import copy
from functools import cache
from itertools import count
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2] / folder) for folder in ("shared", "sim")]

from dewcore import house as learned  # noqa: E402
from dewcore.controller import Controller  # noqa: E402
from dewsim import family, forecasts, metrics, plant, policies, weather, winters  # noqa: E402
from dewsim.sensors import Sensors  # noqa: E402

FROM_DAY = 14
EVERY_MIN = 360
DAY_MIN = 1440
LIKELY = {name: getattr(learned, name) for name in ("LIKELY_DRY", "START_VALVE")}
TOO_DRY_G_KG = 0.3
MOST_TOO_DRY = 0.02
MOST_TOO_DRY_GUESSED = 0.06
MOST_TOO_HUMID_G_KG = 0.5


@cache
def sky_of(winter: str):
    """The winter; a worker meets few."""
    kind, _, seed = winter.partition(":")
    return winters.invent(int(seed), kind) if kind in winters.KINDS else weather.winter_of(winter)


def true_day(course, house, k: int) -> float:
    """W [g/kg] a day after step k with the valve shut."""
    house = copy(house)
    for step in range(k, k + DAY_MIN):
        house.step(step, 0.0)
    return house.w_g_kg


def foretold_day(course, known, k: int, minute: int, guessed: bool) -> float:
    """The same by the controller's rates, on the weather that follows; guessed: on its temperatures alone."""
    ratio, store_pct = known.ratio, known.store_pct
    k2 = learned.STORE_G_KG_PCT * known.store_per_h
    rate = k2 * learned.AIR_FACTOR / learned.CAPACITY
    bias = max(0.0, known.bias)
    lowest_c = [min(course.outdoor_c[max(0, k - DAY_MIN + 60 * i) : k - DAY_MIN + 60 * i + 60]) for i in range(48)]
    for ahead in range(24):
        at = k + 60 * ahead
        day = course.outdoor_c[at - DAY_MIN : at : 60]
        half = day[-12:]
        damp = 0.5 * learned.sat_ratio_g_kg(min(lowest_c[ahead : ahead + 24]))
        damp += 0.4 * sum(map(learned.sat_ratio_g_kg, half)) / len(half)
        out = course.outdoor_w_g_kg[at + 30]
        if guessed:
            out = min(damp, learned.sat_ratio_g_kg(course.outdoor_c[at + 30]))
        sat = course.sat_w_g_kg[at + 30]
        dry = known.dry_cautious_per_h()
        source = dry * out + known.gains[(minute // 60 + ahead) % 24] + bias
        bias *= 0.92
        ratio = (ratio + source + k2 * store_pct / (1.0 + rate)) / (1.0 + dry + 100.0 * k2 / sat / (1.0 + rate))
        store_pct = (store_pct + 100.0 * rate / sat * ratio) / (1.0 + rate)
    return ratio


def judge(winter: str, seed: int, index: int, factor: float) -> list | None:
    """(error, the same with guessed outdoor humidity, room for bursts) [g/kg] of each foretold day.

    None for a house of another class.
    """
    case = family.Case(sky_of(winter), seed, index)
    if metrics.wet_minutes(case.course, case.shut.w_g_kg) > 600 or case.headroom_class != "clear" or not case.binds():
        return None
    course, house = case.course, plant.Moisture(case.course, family.START_RH_PCT)
    controller = Controller(case.settings)
    controller.outlook.house = started(factor)
    clock = (case.sky.start_utc_s, case.sky.utc_offset_s)
    sensors = Sensors(case.house, course, case.seed)
    bench = policies._Wiring(course, sensors, controller, clock, 60)
    told = forecasts.Forecasts(course.outdoor_c, course.dt_s, clock[0], index)
    found = []
    for k in range(course.n_steps - 1):
        bench.at_step(k, house, 60 * k)
        told.at_step(k, bench.readings)
        share = bench.run_scans(1, 60 * k)
        if k % EVERY_MIN == 0 and k >= FROM_DAY * DAY_MIN and k + DAY_MIN < course.n_steps:
            minute = (course.start_local_s // 60 + k) % DAY_MIN
            known = controller.outlook.house
            true = true_day(course, house, k)
            errors = [foretold_day(course, known, k, minute, guessed) - true for guessed in (False, True)]
            found.append((*errors, known.burst_g_kg(minute // 60)))
        house.step(k, float(share))
    return found


def started(factor: float) -> learned.House:
    """A learner that begins with rates wrong by a factor, and finds such rates likely."""
    for name, value in LIKELY.items():
        setattr(learned, name, value * factor)
    known = learned.House()
    known.dry_per_h *= factor
    known.store_per_h *= factor
    known.valve_g_kg_h = factor
    for n in range(learned.TRIALS):  # the valve's effect that a fit begins with, as if it had been seen
        i = learned.WIDTH * n + learned.SUMS
        known.trials[i + 6] = 0.001 * factor
        known.trials[i + 9] = 0.001 * (1.0 + factor * factor + 0.36)
    return known


def main() -> int:
    """The first houses of each winter and start, a row each and the pooled figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("winter", nargs="+")
    parser.add_argument("--houses", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=float, nargs="+", default=[1.0, 0.5, 2.0])
    arguments = parser.parse_args()
    good = True
    for factor in arguments.start:
        pooled = []
        for winter in arguments.winter:
            pooled += of_winter(winter, arguments.seed, arguments.houses, factor)
        good = told(f"start x {factor:g}, all", pooled) and good
    return 0 if good else 1


def of_winter(winter: str, seed: int, houses: int, factor: float) -> list:
    """All foretold days of the first houses of a winter."""
    pooled, rows = [], 0
    with ProcessPoolExecutor(2) as pool:
        indices = count()
        waiting = [(n, pool.submit(judge, winter, seed, n, factor)) for n in (next(indices) for _ in range(4))]
        while rows < houses:
            n, future = waiting.pop(0)
            found = future.result()
            following = next(indices)
            waiting.append((following, pool.submit(judge, winter, seed, following, factor)))
            if found:
                rows += 1
                pooled += found
                told(f"{Path(winter).name} house {n}, start x {factor:g}", found)
        for _, future in waiting:
            future.cancel()
    return pooled


def told(what: str, found: list) -> bool:
    """Print one row; whether few enough days were foretold too dry, and the median not too humid."""
    dry = sum(1 for error, _, burst in found if error + burst < -TOO_DRY_G_KG) / len(found)
    guessed = sum(1 for _, error, burst in found if error + burst < -TOO_DRY_G_KG) / len(found)
    bare = statistics.median(error for error, _, _ in found)
    room = statistics.median(error + burst for error, _, burst in found)
    print(f"{what:45} {len(found):5} days, too dry {100 * dry:4.1f} % ({100 * guessed:.1f} % on guessed outdoor "
          f"humidity), median {bare:+.2f} g/kg, with room for bursts {room:+.2f}", flush=True)
    return dry <= MOST_TOO_DRY and guessed <= MOST_TOO_DRY_GUESSED and bare <= MOST_TOO_HUMID_G_KG


if __name__ == "__main__":
    sys.exit(main())
