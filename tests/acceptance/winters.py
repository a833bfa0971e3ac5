"""Do the invented winters of many seeds fall and vary as measured ones do?  The figures, their limits, the misses.

    python tests/acceptance/winters.py 1-200
    python tests/acceptance/winters.py 1-1000 --kind hard

One row for each figure of a kind: least, median and largest over the seeds, the limits of typical-year files and
how many seeds lie beyond them, unrounded.  Then the deepest fronts, and how many seeds' first candidate was thrown
away.  About 0.2 s a winter on one core.  Exit status 0 without a miss, 1 with one.
"""

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from statistics import median

sys.path[:0] = [str(Path(__file__).resolve().parents[2] / part) for part in ("shared", "sim")]

from dewsim import falls, winters  # noqa: E402

FRONTS_K = {6: 20.0, 48: 29.0}
AT_ONCE = 2


def measure(kind: str, seed: int) -> "tuple[dict, bool]":
    """(figures of a seed's winter with its deepest fronts [K], whether it is the seed's first candidate)."""
    found = winters.invent(seed, kind)
    values = found.outdoor_c
    figures = falls.figures(winters.statistics(found))
    for hours in FRONTS_K:
        figures[f"deepest in {hours} h"] = max(t - min(values[i : i + hours + 1]) for i, t in enumerate(values))
    return figures, values == winters.candidate(seed, kind, 0).outdoor_c


def table(kind: str, measured: list) -> int:
    """Prints a kind's rows and returns how many values lie beyond their limits."""
    limits = falls.MEASURED | {f"deepest in {hours} h": (0.0, most) for hours, most in FRONTS_K.items()}
    print(f"{kind:17}{'least':>8}{'median':>8}{'largest':>8}{'limits':>16}{'misses':>8}")
    total = 0
    for name, (lowest, highest) in limits.items():
        values = [figures[name] for figures, _ in measured]
        misses = sum(not lowest <= value <= highest for value in values)
        total += misses
        print(
            f"{name:17}{min(values):8.3f}{median(values):8.3f}{max(values):8.3f}"
            f"{f'{lowest:g} to {highest:g}':>16}{misses:8}"
        )
    thrown = sum(not first for _, first in measured)
    print(f"first candidate thrown away: {thrown} of {len(measured)} seeds\n", flush=True)
    return total


def main() -> int:
    """Measure every seed of every kind and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("seeds", help="FIRST-LAST, both included")
    parser.add_argument("--kind", choices=winters.KINDS, help="only this kind")
    arguments = parser.parse_args()
    first, last = (int(part) for part in arguments.seeds.split("-"))
    if last < first:
        parser.error(f"seeds {arguments.seeds}: the last has to be no smaller than the first")
    seeds = range(first, last + 1)
    misses = 0
    with ProcessPoolExecutor(AT_ONCE) as pool:
        for kind in [arguments.kind] if arguments.kind else winters.KINDS:
            misses += table(kind, list(pool.map(measure, [kind] * len(seeds), seeds, chunksize=5)))
    print(f"misses: {misses} in {len(seeds)} seeds of each kind")
    return 1 if misses else 0


if __name__ == "__main__":
    sys.exit(main())
