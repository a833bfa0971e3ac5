"""How near the clairvoyant controller comes to the best possible one, which a linear programme bounds from above.

    python tests/acceptance/best_bound.py tests/reference/weather/723170TYA.CSV.gz --count 4 --weeks 4

For the first two-node clear houses that the sampler draws in a winter and that a valve open whenever it may be would
make wet, over the weeks around the coldest hour, without caps (a cap does not fit a linear programme: the air may
drift above it).  The programme chooses the valve's share of
every step, with the same air, store and pad, and obeys the limit only at the strictest step of each bin, so it can
be no lower than any policy without added wet steps.  It maximizes the mean of RH gained, taken linear in the excess
at the valve-shut house's humidity; true RH lies below that line.  Shorter bins bring the bound nearer to the truth
and take longer.  Exit status 1 where `best` lies more than
--most-gap below the bound, or above it, or adds a wet minute.  Needs the `oracle` dependency group.
"""

import argparse
import sys
import time
from array import array
from itertools import count
from pathlib import Path

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

sys.path[:0] = [str(Path(__file__).resolve().parents[2] / part) for part in ("shared", "sim")]

from first_houses import named_winter  # noqa: E402

from dewcore.psychro import MOLAR_RATIO_G  # noqa: E402
from dewsim import best, family, plant, policies, weather  # noqa: E402

START_RH_PCT = family.START_RH_PCT


def coldest_part(sky, weeks: float):
    """The given number of weeks around the coldest hour of a winter, or as many as there are."""
    samples = int(weeks * 7 * 86400) // sky.step_s
    coldest = min(range(len(sky.outdoor_c)), key=sky.outdoor_c.__getitem__)
    first = max(0, min(coldest - samples // 2, len(sky.outdoor_c) - samples))
    start_utc_s = sky.start_utc_s + first * sky.step_s
    return weather.part_of(sky, first, first + samples + 1, start_utc_s, f"{weeks:g} weeks around the coldest hour")


def pct_per_g_kg(course, shut_w) -> np.ndarray:
    """Slope of RH over the humidity ratio [% per g/kg] at the valve-shut house's."""
    ratio, sat, w = MOLAR_RATIO_G, np.array(course.sat_w_g_kg), np.array(shut_w)
    return 100.0 * (ratio + sat) / sat * ratio / (ratio + w) ** 2


def step_map(course, k: int) -> "tuple[np.ndarray, np.ndarray]":
    """Step k of the excess (air, store, pad): matrix, and what a wholly open valve adds; by trying Moisture.step.

    The differences between steps from unit states are the columns, so no formula of the plant stands here twice.
    """
    def after(w, phi_b, pad, share):
        house = plant.Moisture(course, START_RH_PCT)
        house.w_g_kg, house.phi_b_pct, house.pad_kg_h = w, phi_b, pad
        house.step(k, share)
        return np.array([house.w_g_kg, house.phi_b_pct, house.pad_kg_h])

    zero = after(0.0, 0.0, 0.0, 0.0)
    columns = [after(*unit, 0.0) - zero for unit in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))]
    return np.array(columns).T, after(0.0, 0.0, 0.0, 1.0) - zero


class Programme:
    """Variables: excess state (3) at the start of each bin, then the share of each step in which water may run."""

    def __init__(self, course, limits, slope, bin_steps: int):
        self.bins = (course.n_steps - 1) // bin_steps
        self.last = self.bins * bin_steps
        steps = [k for k in range(self.last) if course.may_run[k]]
        self.at = {k: 3 * (self.bins + 1) + i for i, k in enumerate(steps)}
        self.n = 3 * (self.bins + 1) + len(steps)
        self.gain = np.zeros(self.n)
        self.equal, self.under, self.under_by = [], [], []
        for b in range(self.bins):
            self.add_bin(course, limits, slope, b, range(b * bin_steps, (b + 1) * bin_steps))

    def add_bin(self, course, limits, slope, b: int, steps) -> None:
        """The state after each step as rows over the bin's own variables; the strictest step's limit."""
        names = [3 * b, 3 * b + 1, 3 * b + 2] + [self.at[k] for k in steps if k in self.at]
        rows = np.zeros((3, len(names)))
        rows[:, :3] = np.eye(3)
        place = {name: i for i, name in enumerate(names)}
        strictest = min((k + 1 for k in steps), key=limits.__getitem__)
        for k in steps:
            matrix, opened = step_map(course, k)
            rows = matrix @ rows
            if k in self.at:
                rows[:, place[self.at[k]]] += opened
            self.gain[names] += slope[k + 1] * rows[0]
            if k + 1 == strictest and limits[k + 1] < best.UNLIMITED:
                self.under += [(len(self.under_by), name, x) for name, x in zip(names, rows[0]) if x]
                self.under_by.append(limits[k + 1])
        for i in range(3):
            row = 3 * b + i
            self.equal += [(row, name, x) for name, x in zip(names, rows[i]) if x] + [(row, 3 * b + 3 + i, -1.0)]

    def bound(self) -> float:
        """The highest mean gain [% RH] over the steps."""
        upper = np.full(self.n, np.inf)
        upper[:3] = 0.0
        upper[3 * (self.bins + 1) :] = 1.0
        found = linprog(
            -self.gain,
            A_ub=sparse(self.under, len(self.under_by), self.n),
            b_ub=self.under_by,
            A_eq=sparse(self.equal, 3 * self.bins, self.n),
            b_eq=np.zeros(3 * self.bins),
            bounds=np.column_stack([np.zeros(self.n), upper]),
            method="highs",
        )
        if found.status != 0:
            raise SystemExit(f"the linear programme was not solved: {found.message}")
        return -found.fun / self.last


def sparse(entries, height: int, width: int):
    """Matrix of (row, column, value) entries."""
    rows, columns, values = zip(*entries)
    return coo_array((values, (rows, columns)), shape=(height, width)).tocsr()


def compare(case, part, bin_min: int) -> "dict | None":
    """One house over the part of its winter: `best` and the bound; None where no limit is in reach."""
    pressure_pa = sum(part.pressure_pa) / len(part.pressure_pa)
    start_local_s = part.start_utc_s + part.utc_offset_s
    course = plant.Course(case.house, weather.states(part), start_local_s, case.course.seed, pressure_pa=pressure_pa)
    shut = policies.run_shut(course, START_RH_PCT)
    uncapped = array("d", [best.UNLIMITED]) * course.n_steps
    flat_out = plant.run_threshold(course, uncapped, uncapped, None, START_RH_PCT)
    if policies.added_wet_minutes(course, flat_out.w_g_kg, shut.w_g_kg) == 0:
        return None
    began = time.perf_counter()
    run = best.run_best(course, uncapped, shut, START_RH_PCT)
    best_s = time.perf_counter() - began
    slope = pct_per_g_kg(course, shut.w_g_kg)
    began = time.perf_counter()
    programme = Programme(course, best.limits_g_kg(course, shut.w_g_kg), slope, bin_min * 60 // course.dt_s)
    bound = programme.bound()
    gained = slope * (np.array(run.w_g_kg) - np.array(shut.w_g_kg))
    return {
        "best": float(gained[1 : programme.last + 1].mean()),
        "bound": bound,
        "wet": policies.added_wet_minutes(course, run.w_g_kg, shut.w_g_kg),
        "best_s": best_s,
        "bound_s": time.perf_counter() - began,
    }


def main() -> int:
    """Draw until enough houses are found; print one row each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("winter", help="a weather file, or KIND:SEED for an invented winter")
    parser.add_argument("--count", type=int, default=4)
    parser.add_argument("--weeks", type=float, default=4.0)
    parser.add_argument("--bin-min", type=int, default=10, help="one limit in so many minutes")
    parser.add_argument("--most-gap", type=float, default=1.0, help="of the bound, %%")
    parser.add_argument("--seed", type=int, default=1, help="of the draw")
    arguments = parser.parse_args()
    sky = named_winter(arguments.winter)
    part = coldest_part(sky, arguments.weeks)
    print("house  best, % RH  bound, % RH  gap, %  added wet minutes  best, s  bound, s")
    done = failed = 0
    for index in count():
        if done == arguments.count:
            break
        case = family.Case(sky, arguments.seed, index)
        if case.headroom_class != "clear" or not case.course.two_nodes:
            continue
        found = compare(case, part, arguments.bin_min)
        if found is None:
            continue
        done += 1
        gap = 100.0 * (1.0 - found["best"] / found["bound"])
        failed += not (-1e-4 <= gap <= arguments.most_gap) or found["wet"] > 0
        print(
            f"{index:5}  {found['best']:10.3f}  {found['bound']:11.3f}  {gap:6.2f}  {found['wet']:17}"
            f"  {found['best_s']:7.2f}  {found['bound_s']:8.1f}",
            flush=True,
        )
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
