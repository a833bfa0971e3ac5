"""The first clear and binding houses that the sampler draws in a winter: does `plain` stay dry, and what is it worth?

    python tests/acceptance/first_houses.py tests/reference/weather/703165TY.csv.gz --count 10
    python tests/acceptance/first_houses.py hard:1 --count 10

Every index from 0 is tried in order and none is skipped; the table names each.  Exit status 1 where an added wet
minute, a gain under 3 % of the unmargined reset's, or a median under --least-median was found.
"""

import argparse
import statistics
import sys
from concurrent.futures import ProcessPoolExecutor
from itertools import count
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2] / part) for part in ("shared", "sim")]

from dewsim import family, policies, sampler, weather, winters  # noqa: E402

LEAST_GAIN_SHARE = 0.03
AT_ONCE = 2


def named_winter(name: str):
    """'KIND:SEED' is an invented winter, anything else a weather file."""
    if ":" in name and not Path(name).exists():
        kind, seed = name.split(":")
        return winters.invent(int(seed), kind)
    return weather.winter(weather.read(name))


def judge(name: str, seed: int, index: int) -> dict:
    """One drawn house: its class and, where clear and binding, what each policy does."""
    case = family.Case(named_winter(name), seed, index)
    found = {"index": index, "class": case.headroom_class, "binding": False}
    if case.headroom_class != "clear" or not case.binds():
        return found
    found["binding"] = True
    plain = case.controlled(case.settings)
    bare = case.controlled(policies.without_margin(case.settings))
    erring = sampler.with_errors(case.house, seed, index)
    toleranced = case.controlled(policies.settings_for(erring, erring.name), erring)
    dial = policies.luckiest_dial(case.course, case.caps_pct, case.shut, family.START_RH_PCT)
    runs = {"shut": case.shut, "dial": dial, "plain": plain, "bare": bare, "tolerant": toleranced}
    for policy, run in runs.items():
        block = case.block(run)
        found[policy] = (block["mean_rh_pct"], block["added_wet_minutes"])
    found["setting"] = dial.setting_pct
    shut_rh = found["shut"][0]
    found["share"] = (found["plain"][0] - shut_rh) / (found["bare"][0] - shut_rh)
    return found


def main() -> int:
    """Draw until enough houses are clear and binding; print one row each and the medians."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("winter", help="a weather file, or KIND:SEED for an invented winter")
    parser.add_argument("--count", type=int, default=10)
    parser.add_argument("--least-median", type=float, default=0.05, help="of plain's gain share, 0 to 1")
    parser.add_argument("--seed", type=int, default=1, help="of the draw")
    arguments = parser.parse_args()
    rows, rejected = [], {}
    print("index  shut  dial (at)      plain exact      plain, tolerances  no margin     plain's gain share")
    with ProcessPoolExecutor(AT_ONCE) as pool:
        indices = count()
        waiting = [pool.submit(judge, arguments.winter, arguments.seed, next(indices)) for _ in range(2 * AT_ONCE)]
        while len(rows) < arguments.count:
            found = waiting.pop(0).result()
            waiting.append(pool.submit(judge, arguments.winter, arguments.seed, next(indices)))
            if found["binding"]:
                rows.append(found)
                print(row(found), flush=True)
            else:
                why = found["class"] if found["class"] != "clear" else "clear, not binding"
                rejected[why] = rejected.get(why, 0) + 1
        for future in waiting:
            future.cancel()
    shares = [found["share"] for found in rows]
    print(f"seed {arguments.seed}; not clear and binding before the last row: {rejected}")
    print(f"plain's gain as a share of the unmargined reset's: median {100 * statistics.median(shares):.1f} %, "
          f"least {100 * min(shares):.1f} %")
    wet = sum(found[policy][1] for found in rows for policy in ("plain", "tolerant", "dial"))
    print(f"added wet minutes of plain, plain with tolerances and dial together: {wet}")
    return 1 if wet or min(shares) < LEAST_GAIN_SHARE or statistics.median(shares) < arguments.least_median else 0


def row(found: dict) -> str:
    """One printed row: mean RH and, in brackets, added wet minutes."""
    def cell(policy):
        return f"{found[policy][0]:5.1f} [{found[policy][1]}]"

    at = "shut" if found["setting"] is None else f"{found['setting']:g} %"
    return (f"{found['index']:5}  {found['shut'][0]:4.1f}  {cell('dial')} ({at})".ljust(32)
            + f"{cell('plain'):17}{cell('tolerant'):19}{cell('bare'):14}{100 * found['share']:5.1f} %")


if __name__ == "__main__":
    sys.exit(main())
