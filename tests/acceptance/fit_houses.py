"""Does a house fitted to a month of its log foretell days that were kept aside?  Drawn houses, noisy sensors, a table.

    python tests/acceptance/fit_houses.py [--houses 50] [--first 0] [--seed 77]
    python tests/acceptance/fit_houses.py --windows 100
    python tests/acceptance/fit_houses.py --changed 10

House by house of the sampler, in invented winters (hard and inland by turns) from 1 December on: 30 days are lived
under the decision code and logged, ten more are kept aside.  Sensors err by constants within the default tolerances
(RH 2 %, indoors 0.3 K, outdoors 0.5 K) and by noise of 0.3 % RH and 0.03 K each minute; of the looks that the board
asks for one in twenty is wrong.  Outdoor humidity, wind, volume and k are not told.  A row a house:

    valve    hours open    dry-down  what the true air loses in a day with the valve shut, median of ten days, and the
    median error of what is foretold [g/kg]    per hour  of open valve, found over true    f  by day and by night: looks
    that say something, and the error

Below it the aims: dry-down within 0.3 g/kg in the median, humidification within 15 %, f within 0.03 from 20 looks on.
Exit status 0 where all are met.

A month of guided looks seldom makes 20 that say something; --windows gives logs of invented windows instead, those of
tests/acceptance/looks.py: looks on purpose, one in ten wrong, and looks at any moment; with humidity sensors as wrong
as 1 % or 2 % of tolerance allow, the house file saying which.

--changed asks what `dewmargin replay LOG` answers: mean RH of the month as it was lived; as the fitted house replays
it; with a humidifier half as strong again, as the house itself would have lived it; and as it is replayed.
"""

import argparse
import statistics
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from copy import copy
from itertools import product, repeat
from math import isfinite, log
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path += [str(ROOT / "tests" / "desktop"), str(ROOT / "tests" / "acceptance")]
try:
    import dewsim  # noqa: F401  an installed copy may have the compiled decision
except ImportError:
    sys.path[:0] = [str(ROOT / "shared"), str(ROOT / "sim")]

import fitted  # noqa: E402
import numpy as np  # noqa: E402
from looks import Window, cold_mornings  # noqa: E402

from dewsim import (  # noqa: E402
    family,
    fit_command,
    fit_glass,
    fit_series,
    houses,
    log_replay,
    plant,
    policies,
    replay,
    sampler,
    winters,
)
from dewsim.housefile import House  # noqa: E402

FIRST_DAY, DAYS, ASIDE = 61, 30, 10
KINDS, WINTERS = ("hard", "inland"), 7
AT_ONCE = 2
STRONGER = 1.5
NOISE, WRONG_LOOKS = 0.3, 0.05
LEAST_CLOSE = 0.97
TOLERANCES_PCT = (1.0, 2.0)
DRY_G_KG, VALVE_SHARE, GLASS_F = 0.3, 0.15, 0.03


def lived(seed: int, index: int, stronger: float = 1.0) -> fitted.Lived:
    """House number index in its winter, its humidifier so many times as strong."""
    sky = winters.invent(100 + index % WINTERS, KINDS[index % 2])
    house = houses.with_regime(sampler.draw(seed, index, sampler.coldest_c(sky.outdoor_c)), "erring", seed, index)
    house.sensors.noise = NOISE
    house.humidifier.kg_h *= stronger
    part = fitted.part_of(sky, FIRST_DAY, DAYS + ASIDE + 1)
    return fitted.Lived(house, part, family.course_seed(seed, index), 10, WRONG_LOOKS)


class Judged:
    """What one house came to."""

    def __init__(self, seed: int, index: int):
        life = lived(seed, index)
        self.index = index
        log = life.season(0, DAYS * fitted.DAY_MIN)
        began_s = time.process_time()
        found = fit_command.fit(log, "log", House())
        self.fit_s = time.process_time() - began_s
        starts = [day * fitted.DAY_MIN for day in range(DAYS, DAYS + ASIDE)]
        self.z = self._z(found.balance, life)
        self.drops = life.dry_downs(starts)
        foretold = fitted.foretold_dry_downs(found, life.season(0, (DAYS + ASIDE + 1) * fitted.DAY_MIN), starts)
        self.errors = [a - b for a, b in zip(foretold, self.drops)]
        self.valve_h = found.series.valve_hours()
        determined = {row.what: row.value != fit_command.NOT for row in found.rows}
        self.ratio = None
        if determined["humidifier.kg_h"]:
            self.ratio = found.balance.valve_g_kg_h / life.valve_g_kg_h()
        self.glass = []
        factors = fit_glass.fit(fit_series.Series(log), House())
        for true_f, factor in zip((life.house.glass.f_day, life.house.glass.f_night), factors):
            self.glass.append((factor.near, off_by(factor, true_f)))

    @staticmethod
    def _z(balance, life) -> tuple:
        """Errors of drying and of the humidifier over their spread."""
        true_dry = life.house.house.air_changes_per_h / life.course.air_factor
        valve = (balance.valve_g_kg_h - life.valve_g_kg_h()) / balance.spread["valve_g_kg_h"]
        return log(balance.dry_per_h / true_dry) / balance.spread["dry_per_h"], valve

    def row(self) -> str:
        """One line."""
        ratio = "-" if self.ratio is None else f"{self.ratio:.2f}"
        glass = "  ".join(f"{near:3} {off:+.3f}" if isfinite(off) else f"{near:3} {'-':>6}" for near, off in self.glass)
        return (
            f"{self.index:5}{self.valve_h:7.0f}{statistics.median(map(abs, self.drops)):9.2f}"
            f"{statistics.median(map(abs, self.errors)):9.2f}{ratio:>10}   {glass}{self.fit_s:8.1f}"
        )


def main() -> int:
    """The rows and the aims."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--houses", type=int, default=50)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=77)
    parser.add_argument("--windows", type=int, default=0)
    parser.add_argument("--changed", type=int, default=0)
    options = parser.parse_args()
    if options.windows:
        return 0 if of_windows(options.windows, options.seed) else 1
    print("house  valve dry-down    error  per hour      f day      f night  fit, s")
    if options.changed:
        of_changes(options.first, options.changed, options.seed)
        return 0
    found = []
    with ProcessPoolExecutor(AT_ONCE) as pool:
        indices = range(options.first, options.first + options.houses)
        for one in pool.map(Judged, repeat(options.seed), indices):
            found.append(one)
            print(one.row(), flush=True)
    return 0 if told(found) else 1


def told(found: list) -> bool:
    """Print the aims and whether they are met."""
    pooled = sorted(abs(error) for one in found for error in one.errors)
    medians = [statistics.median(map(abs, one.errors)) for one in found]
    ratios = [one.ratio for one in found if one.ratio is not None]
    offs = [(near, off) for one in found for near, off in one.glass if isfinite(off)]
    many = sum(near >= fit_glass.LEAST_LOOKS for one in found for near, _ in one.glass)
    dry = statistics.median(pooled)
    print(f"dry-down: {len(pooled)} days, median error {dry:.2f} g/kg (aim {DRY_G_KG}), by house median "
          f"{statistics.median(medians):.2f}, houses within the aim {sum(m <= DRY_G_KG for m in medians)} of "
          f"{len(found)}, nine days in ten within {pooled[int(0.9 * len(pooled))]:.2f}")
    within = sum(abs(ratio - 1.0) <= VALVE_SHARE for ratio in ratios)
    print(f"per valve hour: within {100 * VALVE_SHARE:g} % in {within} of {len(ratios)} houses, median ratio "
          f"{statistics.median(ratios) if ratios else float('nan'):.2f}, not determined in {len(found) - len(ratios)}")
    within_two = [sum(abs(one.z[n]) <= 2.0 for one in found) for n in (0, 1)]
    print(f"true figure within twice the spread: drying {within_two[0]}, humidifier {within_two[1]} of {len(found)}")
    close = sum(abs(off) <= GLASS_F for _, off in offs)
    print(
        f"glass factor: within {GLASS_F} in {close} of {len(offs)} determined, {many} had 20 looks that say something"
    )
    return dry <= DRY_G_KG and within == len(ratios) and close == len(offs)


def of_windows(count: int, seed: int) -> bool:
    """A row for each tolerance, kind and number of looks; whether enough of all that is determined is close."""
    mornings = cold_mornings()
    pooled: list = []
    print("RH to  looks           windows  with 20 that say something  determined  within 0.03  largest error")
    for tolerance_pct, guided in product(TOLERANCES_PCT, (True, False)):
        house = House({"sensors": {"rh_tolerance_pct": tolerance_pct}})
        for looks in (15, 20, 30, 40, 60):
            found = [of_window(Window(f"{seed} {n}", mornings, "one in ten", "half"), guided, looks, house)
                     for n in range(count)]  # fmt: skip
            offs = [abs(off) for _, off in found if isfinite(off)]
            many = sum(near >= fit_glass.LEAST_LOOKS for near, _ in found)
            close = sum(off <= GLASS_F for off in offs)
            pooled += offs
            print(f"{tolerance_pct:3g} %  {looks} {'on purpose' if guided else 'at any time':12}{count:8}{many:18}"
                  f"{len(offs):18}{close:12}{max(offs, default=float('nan')):14.3f}", flush=True)
    share = sum(off <= GLASS_F for off in pooled) / max(1, len(pooled))
    print(f"within {GLASS_F}: {100.0 * share:.1f} % of {len(pooled)} determined (aim {100.0 * LEAST_CLOSE:g} %)")
    return share >= LEAST_CLOSE


def of_window(window: Window, guided: bool, looks: int, house: House) -> tuple:
    """(looks that say something, error of f) of a window's log: a look each morning at 06:00."""
    n = looks * fitted.DAY_MIN
    window.rh_error_pct *= house.sensors.rh_tolerance_pct  # drawn within 1 %
    series = object.__new__(fit_series.Series)
    series.minute = np.arange(n)
    series.known = np.zeros(n, dtype=bool)
    series.w_g_kg = np.full(n, 5.0)
    for name in ("indoor_c", "outdoor_c", "rh_pct", "look"):
        setattr(series, name, np.full(n, np.nan))
    for k in range(360, n, fitted.DAY_MIN):
        window.look(guided)
        inputs = window.inputs
        series.known[k] = True
        series.indoor_c[k], series.outdoor_c[k], series.rh_pct[k] = inputs.indoor_c, inputs.outdoor_c, inputs.rh_pct
        series.look[k] = window.look
    factor = fit_glass.fit(series, house)[1]
    return factor.near, off_by(factor, window.f)


def off_by(factor, true_f: float) -> float:
    """Error of a factor, NaN where it is not determined."""
    return factor.f - true_f if factor.determined else float("nan")


def of_changes(first: int, count: int, seed: int) -> None:
    """A row a house: four means of RH, and how far off the gain by a stronger humidifier is."""
    print("house  lived  replayed  stronger, lived  stronger, replayed  gain  gain replayed")
    offs = []
    with ProcessPoolExecutor(AT_ONCE) as pool:
        indices = range(first, first + count)
        for index, means in zip(indices, pool.map(changed, repeat(seed), indices)):
            gains = means[2] - means[0], means[3] - means[1]
            offs.append(abs(gains[1] - gains[0]))
            print(f"{index:5}{means[0]:7.1f}{means[1]:10.1f}{means[2]:17.1f}{means[3]:20.1f}{gains[0]:+6.1f}"
                  f"{gains[1]:+15.1f}", flush=True)
    print(f"gain off by {statistics.median(offs):.2f} % RH in the median, {max(offs):.2f} at most")


def changed(seed: int, index: int) -> list:
    """Mean RH of the month lived, replayed, and the same with the stronger humidifier."""
    life = lived(seed, index)
    log = life.season(0, DAYS * fitted.DAY_MIN)
    house = fit_command.fit(log, "log", House()).house
    sky, logged = log_replay.logged_part(log, "log")
    found = [[mean_rh(life.rh_pct)], []]
    stronger = lived(seed, index, STRONGER)
    found[0].append(mean_rh(stronger.rh_pct))
    for factor in (1.0, STRONGER):
        unit = copy(house)
        unit.humidifier = copy(house.humidifier)
        unit.humidifier.kg_h *= factor
        # the settings are the owner's, not fitted
        run = replay.Replay(unit, sky, 1, "house", forecast="none", start_pct=log_replay.first_pct(logged))
        told = policies.settings_for(life.house, "house")
        values = plant.rh_series_pct(run.course, run.controlled(told).w_g_kg)
        found[1].append(mean_rh(np.array(values) + house.sensors.rh_error_pct))
    return [found[0][0], found[1][0], found[0][1], found[1][1]]


def mean_rh(rh_pct) -> float:
    """Of the month."""
    return float(np.mean(rh_pct[: DAYS * fitted.DAY_MIN]))


if __name__ == "__main__":
    sys.exit(main())
