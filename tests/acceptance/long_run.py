"""Random scans by the million against every promise of the decision, with an identity that replays each break.

    python tests/acceptance/long_run.py --scans 1000000 --seed 1 [--processes 2]
    python tests/acceptance/long_run.py --replay 1:1733

Exit status 0 only where no promise broke and every reason and every notice was reached.
"""

import argparse
import sys
import time
from multiprocessing import Pool
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "shared"), str(ROOT / "tests" / "desktop")]

from world import Episode  # noqa: E402

from dewcore import words as w  # noqa: E402

SCANS = 400  # of one episode
SHOWN = 20  # breaks printed in full


def play(identity: str) -> tuple:
    """(scans, scans with the valve open, refusals and notices reached, what broke or None) of one episode."""
    episode = Episode(identity, SCANS)
    broken = episode.play()
    return episode.done, episode.opened, episode.refusals, episode.notices, broken


def missing(mask: int, table: tuple) -> list:
    """Names of a table's rows whose bit is not set."""
    return [table[n][0] for n in range(len(table)) if not mask >> n & 1]


def run(scans: int, seed: int, processes: int) -> bool:
    """Play as many episodes as make up `scans`, and tell; whether all is well."""
    identities = ["%d:%d" % (seed, index) for index in range(-(-scans // SCANS))]
    done = opened = refusals = notices = 0
    breaks = []
    began = told = time.monotonic()
    with Pool(processes) as pool:
        for count, was_open, refused, noticed, broken in pool.imap_unordered(play, identities, 10):
            done += count
            opened += was_open
            refusals |= refused
            notices |= noticed
            if broken:
                breaks.append(broken)
            if time.monotonic() - told >= 1.0:
                told = time.monotonic()
                print("\r%d scans, %d broken" % (done, len(breaks)), end="", file=sys.stderr, flush=True)
    seconds = time.monotonic() - began
    print("\r", end="", file=sys.stderr, flush=True)
    print(
        "%d scans in %d episodes of seed %d, %.0f s, %.0f scans a second"
        % (done, len(identities), seed, seconds, done / seconds)
    )
    print("valve open in %d scans" % opened)
    return tell(refusals, notices, breaks)


def tell(refusals: int, notices: int, breaks: list) -> bool:
    """Print coverage and breaks; whether all codes were reached and nothing broke."""
    refusals |= 1 << w.SAFE_MODE | 1 << w.BENCH_SHIM  # the board's own: no scan tells them
    unreached = missing(refusals, w.REFUSALS) + missing(notices, w.NOTICES)
    codes = len(w.REFUSALS) + len(w.NOTICES)
    print(
        "reasons and notices reached: %d of %d%s"
        % (codes - len(unreached), codes, "; not reached: " + ", ".join(unreached) if unreached else "")
    )
    print("broken promises: %d" % len(breaks))
    for text in sorted(breaks)[:SHOWN]:
        print("  --replay " + text)
    return not breaks and not unreached


def main(arguments: list) -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--scans", type=int, default=100000, help="scans in all (default 100000)")
    parser.add_argument("--seed", type=int, default=1, help="another seed, other courses (default 1)")
    parser.add_argument("--processes", type=int, default=2, help="worker processes (default 2)")
    parser.add_argument("--replay", metavar="SEED:INDEX", help="play one episode again and tell what broke")
    options = parser.parse_args(arguments)
    if options.scans < 1 or options.processes < 1:
        parser.error("--scans and --processes must be at least 1")
    if options.replay:
        done, opened, _, _, broken = play(options.replay)
        print(broken or "%s: nothing broke in %d scans, valve open in %d" % (options.replay, done, opened))
        return 1 if broken else 0
    return 0 if run(options.scans, options.seed, options.processes) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
