"""What many judged houses add up to: figures by headroom class, regime and policy, and the worst cases."""

import shlex
from statistics import median

from dewsim import houses
from dewsim.units import counted

GROUPS = ("clear, binding", "clear, not binding", "tight", "foggy")
WORST = 10  # cases listed of each kind
WITHIN_PCT = 0.1  # of RH by which the look-ahead may lie under the plain reset


def group_of(case: dict) -> str:
    """The row of the table that a case counts in."""
    if case["class"] != "clear":
        return case["class"]
    return "clear, binding" if case["binding"] else "clear, not binding"


def quantile(values: list, share: float) -> float:
    """The value below which `share` (0..1) of the values lie, interpolated between the two nearest."""
    ordered = sorted(values)
    place = share * (len(ordered) - 1)
    i = int(place)
    j = min(i + 1, len(ordered) - 1)
    return ordered[i] + (place - i) * (ordered[j] - ordered[i])


def passed(cases: dict) -> list:
    """The cases that were not left out."""
    return [case for case in cases.values() if "runs" in case]


def share_pct(case: dict, block: dict) -> float:
    """Mean RH gained over the shut house, in % of what `best` gains; for houses that fog by themselves too."""
    return 100.0 * block["gain_pct"] / (case["best"]["mean_rh_pct"] - case["shut"]["mean_rh_pct"])


def counted_minutes(block: dict) -> int:
    """Added wet minutes; in a house that fogs by itself those that its rule counts."""
    return block.get("added_wet_minutes_under_rule", block["added_wet_minutes"])


def pairs(cases: list) -> list:
    """The (regime, policy) pairs that the cases have, in the order of the table."""
    found = cases[0]["runs"] if cases else {}
    return [(r, p) for r in houses.REGIMES for p in houses.POLICIES if p in found.get(r, {})]


def cell(cases: list, regime: str, policy: str) -> dict:
    """The figures of some cases (at least one) under a regime and policy."""
    blocks = [case["runs"][regime][policy] for case in cases]
    shares = [share_pct(case, block) for case, block in zip(cases, blocks)]
    minutes = [block["added_wet_minutes"] for block in blocks]
    found = {
        "houses": len(cases),
        "zero_added": minutes.count(0),
        "worst_added_wet_minutes": max(minutes),
        "share_of_best_pct": {
            "median": round(median(shares), 1),
            "tenth_percentile": round(quantile(shares, 0.1), 1),
            "worst": round(min(shares), 1),
        },
        "gain_median_pct": round(median(block["gain_pct"] for block in blocks), 2),
        "hours_below_25_median": round(median(block["hours_below_25_pct"] for block in blocks)),
    }
    ruled = [block["added_wet_minutes_under_rule"] for block in blocks if "added_wet_minutes_under_rule" in block]
    if ruled:
        found["zero_added_under_rule"] = ruled.count(0)
        found["worst_under_rule"] = max(ruled)
    return found


def table(cases: list) -> dict:
    """{group: {regime: {policy: cell}}} of the groups that have houses."""
    found: dict = {}
    for group in GROUPS:
        members = [case for case in cases if group_of(case) == group]
        if members:
            regimes = found[group] = {}
            for regime, policy in pairs(members):
                regimes.setdefault(regime, {})[policy] = cell(members, regime, policy)
    return found


def counts(cases: dict, n_winters: int) -> list:
    """For each winter: draws judged, houses that passed, and draws left out by reason."""
    found = []
    for number in range(n_winters):
        rows = [case for (winter, _), case in cases.items() if winter == number]
        reasons = [case.get("rejected") for case in rows]
        left_out = {reason: reasons.count(reason) for reason in houses.REJECTIONS}
        found.append({"drawn": len(rows), "passed": reasons.count(None), "left_out": left_out})
    return found


# The worst cases


def worst(plan, cases: list) -> dict:
    """Lists of the worst cases, each with the command that replays it alone: most added wet minutes (any policy and
    regime), least share of `best` with a forecast, and those where looking ahead left the house drier than the reset.
    """
    every = [
        (case, regime, policy, case["runs"][regime][policy]) for case in cases for regime, policy in pairs([case])
    ]
    wet = [row for row in every if counted_minutes(row[3]) > 0]
    wet.sort(key=lambda row: -counted_minutes(row[3]))
    low = [row for row in every if row[1:3] in (("exact", "forecast"), ("erring", "forecast"))]
    low.sort(key=lambda row: share_pct(row[0], row[3]))
    drier = [row for row in every if row[2] != "plain" and below_plain_pct(row) > WITHIN_PCT]
    drier.sort(key=below_plain_pct, reverse=True)
    return {
        "wet": [told(plan, *row) for row in wet[:WORST]],
        "low_share": [told(plan, *row) for row in low[:WORST]],
        "drier_than_plain": [told(plan, *row) for row in drier[:WORST]],
    }


def below_plain_pct(row: tuple) -> float:
    """By how much mean RH lies below the plain reset's in the same regime; 0 where that was not run."""
    case, regime, _, block = row
    plain = case["runs"][regime].get("plain")
    return plain["mean_rh_pct"] - block["mean_rh_pct"] if plain else 0.0


def told(plan, case: dict, regime: str, policy: str, block: dict) -> dict:
    """One worst case in a few figures, with its command."""
    return {
        "winter": plan.winters[case["winter"]].name,
        "index": case["index"],
        "class": group_of(case),
        "R": case["R"],
        "regime": regime,
        "policy": policy,
        "counted_wet_minutes": counted_minutes(block),
        "share_of_best_pct": round(share_pct(case, block), 1),
        "mean_rh_pct": block["mean_rh_pct"],
        "command": command(plan, case, regime, policy),
    }


def command(plan, case: dict, regime: str, policy: str) -> str:
    """The command that replays one house alone, at a scan each ten seconds."""
    winter = plan.winters[case["winter"]].name
    name = f"drawn:{plan.seed}:{case['index']}" + (f":{regime}" if regime != "exact" else "")
    words = ["dewmargin", "replay", name, "--weather", winter]
    words += ["--forecast", "none"] if policy == "none" else []
    return shlex.join([*words, "--out", f"house-{case['index']}"])


def text(plan, cases: dict) -> str:
    """The table as plain text, the winters' counts above it."""
    lines = []
    for winter, count in zip(plan.winters, counts(cases, len(plan.winters))):
        why = ", ".join(f"{n} {reason}" for reason, n in count["left_out"].items())
        lines.append(f"{winter.name}: {counted(count['passed'], 'house')} of {count['drawn']} drawn; left out: {why}")
    heads = f"{'class':20}{'sensors':8}{'policy':10}{'zero added':>12}{'worst':>6}{'share of best':>18}"
    lines.append("share of best: median / 10th percentile / worst, %; gain: % RH; h<25: hours below 25 % RH")
    lines.append("policies: plain reset; looking ahead with no forecast (none) or one (forecast)")
    lines.append("sensors: exact; erring within their tolerances; every one at its bad end (corner)")
    lines.append(f"{heads}{'gain':>7}{'h<25':>7}")
    for group, regimes in table(passed(cases)).items():
        for regime, policies in regimes.items():
            for policy, found in policies.items():
                lines.append(f"{group:20}{regime:8}{policy:10}" + figures(found))
                group = ""
    return "\n".join(lines)


def figures(found: dict) -> str:
    """A cell as text: zero cases of all, worst [min], share median/10th/worst [%], gain [% RH], hours below 25 %."""
    share = found["share_of_best_pct"]
    shares = f"{share['median']:.0f} / {share['tenth_percentile']:.0f} / {share['worst']:.0f}"
    line = f"{found['zero_added']:>5} of {found['houses']:<3}{found['worst_added_wet_minutes']:>6}{shares:>18}"
    line += f"{found['gain_median_pct']:>7.1f}{found['hours_below_25_median']:>7}"
    if "zero_added_under_rule" in found:
        line += f"   under its rule {found['zero_added_under_rule']}, worst {found['worst_under_rule']}"
    return line
