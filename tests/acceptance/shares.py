"""Do drawn houses reach the figures that looking ahead is to reach?  Reads the cases of one or more runs.

    dewmargin replay --houses 50 --seed 101 --weather hard:7 --weather FILE --out RUN
    python tests/acceptance/shares.py RUN [RUN ...]

Runs of several folders are put together; a house that stands in two counts once.  Each row is one demand: the houses
it is judged on, what was found, and PASS or FAIL, or FEW where fewer houses than it takes were run.  Exit status 1
where one failed, 3 where none failed but one had too few houses.
"""

import argparse
import json
import sys
from pathlib import Path
from statistics import median

sys.path[:0] = [str(Path(__file__).resolve().parents[2] / part) for part in ("shared", "sim")]

from dewsim import family_table  # noqa: E402
from dewsim.family_table import counted_minutes, group_of, quantile, share_pct  # noqa: E402

CLEAR, EASY, TIGHT, FOGGY = family_table.GROUPS
# (class, policy, regime, least houses, least share of them without an added wet minute [%], bars and aims on the share
# of best: median, 10th percentile, worst [%]; None: reported only)
DEMANDS = [
    (CLEAR, "forecast", "exact", 150, 100.0, (79, 50, None), (90, 65, 30)),
    (CLEAR, "forecast", "erring", 150, 100.0, (66, 28, None), (80, 50, 15)),
    (CLEAR, "none", "exact", 150, 100.0, (51, 17, None), (68, 38, 15)),
    (CLEAR, "none", "erring", 150, 100.0, (36, None, None), (55, None, None)),
    (EASY, "forecast", "exact", 100, 100.0, (95, 80, None), (None, None, None)),
    (EASY, "forecast", "erring", 100, 100.0, (94, 70, None), (None, None, None)),
    (TIGHT, "forecast", "exact", 100, 84.0, (78, 36, None), (None, None, None)),
    (TIGHT, "forecast", "erring", 100, 84.0, (65, 20, None), (None, None, None)),
    (FOGGY, "forecast", "exact", 1, 80.0, (None, None, None), (None, None, None)),
    (FOGGY, "forecast", "erring", 1, 80.0, (None, None, None), (None, None, None)),
    (CLEAR, "forecast", "corner", 150, 98.0, (None, None, None), (None, None, None)),
]
LONGEST_AT_CORNER_MIN = 60
TIGHT_ZERO_UP_TO_R = 0.95
MOST_OF_BEST_PCT = 101.0


def cases_of(folders: list) -> list:
    """Every passed case, with the seed and the winter's name."""
    found = {}
    for folder in folders:
        lines = (Path(folder) / "cases.jsonl").read_text("utf-8").split("\n")
        header = json.loads(lines[0])
        for line in lines[1:-1]:  # what follows the last line break is torn
            case = json.loads(line)
            if "runs" in case:
                winter = header["winters"][case["winter"]]
                case["seed"], case["name"] = header["seed"], winter["name"]
                found[(header["seed"], winter["digest"], case["index"])] = case
    return list(found.values())


def judge(cases: list, demand: tuple) -> "tuple[str, str]":
    """(what was found, verdict) of one demand."""
    group, policy, regime, least, zero_pct, bars, aims = demand
    members = [case for case in cases if group_of(case) == group and policy in case["runs"].get(regime, {})]
    if not members:
        return "no houses", "FEW"
    blocks = [case["runs"][regime][policy] for case in members]
    minutes = [counted_minutes(block) for block in blocks]
    shares = [share_pct(case, block) for case, block in zip(members, blocks)]
    figures = (median(shares), quantile(shares, 0.1), min(shares))
    zero = 100.0 * minutes.count(0) / len(minutes)
    bad = zero < zero_pct or any(bar is not None and not f >= bar for f, bar in zip(figures, bars))
    if regime == "corner":
        bad |= max(minutes) > LONGEST_AT_CORNER_MIN
    if group == TIGHT:
        bad |= any(m for case, m in zip(members, minutes) if case["R"] <= TIGHT_ZERO_UP_TO_R)
    text = f"n {len(members):4}  zero {zero:5.1f} % (>= {zero_pct:g})  worst {max(minutes):4}  share "
    text += " / ".join(f"{f:.0f}" for f in figures)
    text += f"  bars {shown(bars)}  aims {shown(aims)}"
    if aims != (None, None, None):
        text += " reached" if all(a is None or f >= a for f, a in zip(figures, aims)) else " not reached"
    return text, "FAIL" if bad else "PASS" if len(members) >= least else "FEW"


def shown(values: tuple) -> str:
    """Three figures, a dash for none."""
    return " / ".join("-" if value is None else f"{value:g}" for value in values)


def humid_enough(cases: list) -> list:
    """Runs that look ahead and lie over 0.1 % RH under the plain reset."""
    rows = [(c, r, p, b) for c in cases for r, blocks in c["runs"].items() for p, b in blocks.items() if p != "plain"]
    return [row for row in rows if family_table.below_plain_pct(row) > family_table.WITHIN_PCT]


def above_best(cases: list) -> list:
    """Runs with exact sensors and no added wet minute that lie above what the best possible controller gains."""
    rows = [(c, "exact", p, b) for c in cases for p, b in c["runs"].get("exact", {}).items()]
    return [row for row in rows if not counted_minutes(row[3]) and share_pct(row[0], row[3]) > MOST_OF_BEST_PCT]


def main() -> int:
    """Print every demand and the cases that break one."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("runs", metavar="RUN", nargs="+", help="a folder that replay --houses wrote")
    parser.add_argument("--drier", type=int, default=10, help="rows printed of each list (default: 10)")
    arguments = parser.parse_args()
    cases = cases_of(arguments.runs)
    print(f"{len(cases)} houses over {len({case['name'] for case in cases})} winters")
    verdicts = []
    for demand in DEMANDS:
        text, verdict = judge(cases, demand)
        verdicts.append(verdict)
        print(f"{verdict:5}{demand[0]:20}{demand[1]:10}{demand[2]:8}{text}")
    for title, rows in (("over 0.1 % RH under plain", humid_enough(cases)), ("above best", above_best(cases))):
        verdicts.append("FAIL" if rows else "PASS")
        print(f"{verdicts[-1]:5}runs {title}: {len(rows)}")
        for row in rows[: arguments.drier]:
            print(line(*row))
    wet = [(c, r, p, b) for c in cases for r, blocks in c["runs"].items() for p, b in blocks.items()
           if counted_minutes(b)]
    print(f"runs with counted added wet minutes: {len(wet)}")
    for row in sorted(wet, key=lambda row: (row[0]["class"], -counted_minutes(row[3]))):
        print(line(*row))
    return 1 if "FAIL" in verdicts else 3 if "FEW" in verdicts else 0


def line(case: dict, regime: str, policy: str, block: dict) -> str:
    """One run, named so that it can be replayed alone."""
    name = f"drawn:{case['seed']}:{case['index']}" + (f":{regime}" if regime != "exact" else "")
    return (f"     {group_of(case):20}R {case['R']:.3f}  {policy:9}{counted_minutes(block):5} min  share "
            f"{share_pct(case, block):4.0f}  {name} --weather {case['name']}")


if __name__ == "__main__":
    sys.exit(main())
