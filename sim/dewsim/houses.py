"""One drawn house in one winter, judged: left out with its reason, or what every policy makes of it.

`judged` depends on its arguments alone, so that any machine, in any order, gives the same.  A drawn house is left
out, in this order, where (i) it is wet for over 600 minutes with the valve shut, (ii) its mean RH with the valve shut
is above 42 %, (iii) `best` gains less than 4 % RH (dewsim.sampler says why).

Regimes: `exact`, sensors without error and no tolerance margin; `erring`, constant errors drawn uniform within the
default tolerances, the margin on; `corner`, every sensor at the bad end of its tolerance, the margin on.
"""

from copy import deepcopy

from dewsim import best, family, metrics, plant, policies, sampler, weather
from dewsim.family import START_RH_PCT
from dewsim.forecasts import Forecasts

SCAN_S = 60  # tested against 10 s: equal added wet minutes, mean RH within 0.3
MOST_SHUT_WET_MIN = 600
MOST_SHUT_RH_PCT = 42.0
FOGS, HUMID, LITTLE_GAIN = REJECTIONS = ("fogs", "humid", "little gain")
REGIMES = ("exact", "erring", "corner")
POLICIES = ("plain", "none", "forecast")  # the reset; the look-ahead without and with a forecast
RUNS = (
    ("exact", "plain"),
    ("exact", "none"),
    ("exact", "forecast"),
    ("erring", "plain"),
    ("erring", "none"),
    ("erring", "forecast"),
    ("corner", "forecast"),
)
MOST_KEPT = 4  # winters whose minutes a process keeps

_kept: dict = {}


def judged(sky, seed: int, index: int, runs=RUNS) -> dict:
    """House number index of the draw `seed` in the weather `sky`: numbers and text alone, ready for JSON.

    {"index", "rejected"} for one left out; else {"index", "class", "binding", "R", "true_dry_per_h" (its mean), "shut",
    "best", "runs"}: `runs` has a block for each of `runs`, (regime, policy) pairs, by regime and policy.
    """
    case = family.Case(sky, seed, index, minutes_of(sky), SCAN_S)
    perfect, why = filtered(case)
    if why:
        return {"index": index, "rejected": why}
    exempt = best.beside_wet(case.course, case.shut.w_g_kg) if case.headroom_class == "foggy" else None
    shut_block = outcome(case, case.shut, None)
    best_block = outcome(case, perfect, exempt)
    found: dict = {
        "index": index,
        "class": case.headroom_class,
        "binding": case.binds(),
        "R": round(case.headroom, 4),
        "true_dry_per_h": round(sum(case.course.dry_per_h) / case.course.n_steps, 5),
        "shut": shut_block,
        "best": best_block,
        "runs": {},
    }
    for regime, policy in runs:
        run = controlled(case, regime, policy)
        block = outcome(case, run, exempt)
        block["gain_pct"] = round(block["mean_rh_pct"] - shut_block["mean_rh_pct"], 4)
        share = best.share_of_best_pct(block, shut_block, best_block, case.headroom_class)
        block["share_of_best_pct"] = None if share is None else round(share, 3)
        if policy != "plain":
            block["learned"] = learned(run.learned)
        found["runs"].setdefault(regime, {})[policy] = block
    return found


def minutes_of(sky):
    """weather.states(sky), kept for this process's next houses in the same winter."""
    key = (sky.start_utc_s, sky.step_s, sky.outdoor_c.tobytes(), sky.rh_pct.tobytes(), sky.wind_m_s.tobytes())
    if key not in _kept:
        while len(_kept) >= MOST_KEPT:
            _kept.pop(next(iter(_kept)), None)
        _kept[key] = weather.states(sky)
    return _kept[key]


def filtered(case: family.Case) -> tuple:
    """(the run of `best`, "") or (None, why the house is left out); what costs least is asked first."""
    course, shut = case.course, case.shut
    if metrics.wet_minutes(course, shut.w_g_kg) > MOST_SHUT_WET_MIN:
        return None, FOGS
    shut_pct = mean_rh_pct(case, shut)
    if shut_pct is None:
        return None, LITTLE_GAIN  # no heating season
    if shut_pct > MOST_SHUT_RH_PCT:
        return None, HUMID
    exempt = None
    if case.headroom_class == "foggy":
        exempt = best.beside_wet(course, shut.w_g_kg)
    elif not best.gain_bound(course, case.caps_pct, shut, START_RH_PCT, case.mask) >= best.LEAST_GAIN_PCT:
        return None, LITTLE_GAIN
    perfect = best.run_best(course, case.caps_pct, shut, START_RH_PCT, exempt=exempt)
    if not mean_rh_pct(case, perfect) - shut_pct >= best.LEAST_GAIN_PCT:
        return None, LITTLE_GAIN
    return perfect, ""


def mean_rh_pct(case: family.Case, run: policies.Run) -> "float | None":
    """Mean RH [%] over the heating season; None without one."""
    season = season_rh_pct(case, run)
    return sum(season) / len(season) if season else None


def season_rh_pct(case: family.Case, run: policies.Run) -> list:
    """RH [%] at each step of the heating season."""
    return [rh for rh, counts in zip(plant.rh_series_pct(case.course, run.w_g_kg), case.mask) if counts]


def outcome(case: family.Case, run: policies.Run, exempt) -> dict:
    """What a run is judged by; exempt: the steps that do not count in a house that fogs by itself, or None."""
    course = case.course
    season = season_rh_pct(case, run)
    block = {
        "added_wet_minutes": policies.added_wet_minutes(course, run.w_g_kg, case.shut.w_g_kg),
        "mean_rh_pct": round(sum(season) / len(season), 4),
        "hours_below_25_pct": round(sum(1 for rh in season if rh < metrics.DRY_PCT) * course.dt_h, 3),
        "valve_starts": run.valve_starts,
    }
    if exempt is not None:
        shut = case.shut.w_g_kg
        block["added_wet_minutes_under_rule"] = best.added_wet_minutes(course, run.w_g_kg, shut, exempt)
    return block


def controlled(case: family.Case, regime: str, policy: str) -> policies.Run:
    """The decision code under one regime and policy."""
    house = with_regime(case.house, regime, case.seed, case.index)
    settings = policies.settings_for(house, house.name, exact=regime == "exact")
    if policy == "plain":
        settings = policies.altered(settings, look_ahead=0)
    sent = None
    if policy == "forecast":
        sky = case.sky
        sent = Forecasts(
            case.course.outdoor_c, case.course.dt_s, sky.start_utc_s, family.course_seed(case.seed, case.index)
        )
    return case.controlled(settings, house, forecasts=sent)


def with_regime(house, regime: str, seed: int, index: int):
    """The drawn house with the sensors of a regime."""
    if regime == "exact":
        return house
    return sampler.with_errors(house, seed, index) if regime == "erring" else at_bad_corner(house)


def at_bad_corner(house):
    """A copy whose RH and indoor thermometer read low, outdoor thermometer warm, and f is believed high, all by the
    whole tolerance: every error lets the controller take the glass for drier than it is.
    """
    house = deepcopy(house)
    s = house.sensors
    s.rh_error_pct = -s.rh_tolerance_pct
    s.indoor_error_k = -s.indoor_tolerance_k
    s.outdoor_error_k = s.outdoor_tolerance_k
    s.f_error = s.f_tolerance
    house.check(house.name)
    return house


def learned(controller) -> dict:
    """What the controller believes of the house at the winter's end."""
    house = controller.outlook.house
    return {
        "dry_per_h": round(house.dry_per_h, 5),
        "store_per_h": round(house.store_per_h, 5),
        "valve_g_kg_h": round(house.valve_g_kg_h, 5),
        "too_dry_g_kg": round(house.too_dry_g_kg, 4),
        "hours": house.hours,
    }
