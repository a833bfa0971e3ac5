"""A winter thinned for drawing without losing a wet minute."""

from itertools import pairwise
from operator import sub
from typing import NamedTuple

from dewcore.ceiling import BINDS_NAMES
from dewcore.psychro import vapour_from_ratio_pa, wetting_point_c
from dewsim.policies import room_w_g_kg

HOUR_S = 3600
# Beside the wet minutes of each policy, short enough for a phone; what is not here is called by its name.
POLICY_WORDS = {"shut": "without", "plain_no_margin": "no margin", "outlook": "ahead"}
DAY_S = 86400
NO_WET, OWN_WET, ADDED_WET = 0, 1, 2


class Level:
    """Columns of equal steps: values[name][i] stands at the middle of step i from t0_s, local time."""

    def __init__(self, t0_s: int, step_s: int, values: dict):
        self.t0_s = t0_s
        self.step_s = step_s
        self.values = values
        self.n = len(next(iter(values.values())))

    def time_s(self, i: int) -> float:
        """Middle of step i."""
        return self.t0_s + (i + 0.5) * self.step_s


class Marks(NamedTuple):
    """Wet minutes of one policy: runs [first step, count] of the house's own and of added ones."""

    policy: str
    label: str
    own: list
    added: list


def edges(course, step_s: int) -> list:
    """Bounds of the buckets of step_s, whole ones of the local clock; the first may be cut, the last has the end."""
    first = -(course.start_local_s % step_s) // course.dt_s
    inner = range(first + step_s // course.dt_s, course.n_steps - 1, step_s // course.dt_s)
    return [0, *inner, course.n_steps]


def thin(replay, run, shut, step_s: int) -> Level:
    """The season in buckets: means, extremes, and glass and wetting point at the minute nearest to wet."""
    course = replay.course
    bounds = edges(course, step_s)
    spans = list(pairwise(bounds))

    def means(values, scale: float = 1.0) -> list:
        return [scale * sum(values[a:b]) / (b - a) for a, b in spans]

    values = {
        "outdoor": means(course.outdoor_c),
        "outdoor_lo": [min(course.outdoor_c[a:b]) for a, b in spans],
        "outdoor_hi": [max(course.outdoor_c[a:b]) for a, b in spans],
        "rh": means(run.rh_pct),
        "rh_lo": [min(run.rh_pct[a:b]) for a, b in spans],
        "rh_hi": [max(run.rh_pct[a:b]) for a, b in spans],
        "shut_rh": means(shut.rh_pct),
        "target": means(run.target_pct),
        "ceiling": [min(run.ceiling_pct[a:b]) for a, b in spans],
        "fan": means(course.fan, 100.0),
        "valve": means(run.valve, 100.0 / run.scans_per_step),
    }
    values["glass"], values["wetting"] = nearest_to_wet(course, run.w_g_kg, spans)
    for name, code in binders(replay):
        values["by_" + name] = [100.0 * run.binds[a:b].count(code) / (b - a) for a, b in spans]
    first = course.start_local_s - course.start_local_s % step_s
    return Level(first, step_s, values)


def binders(replay) -> list:
    """(name, code) of what may set the target, as the result names them."""
    shares = replay.result["policies"][replay.result["shipped_policy"]]["binds"]
    return [(name, code) for code, name in enumerate(BINDS_NAMES) if name in shares]


def wetting_c(course, k: int, w_g_kg: float) -> float:
    """Dew or frost point [°C] of the coldest room's air at step k; -80 °C for air without any moisture."""
    pa = vapour_from_ratio_pa(room_w_g_kg(course, k, w_g_kg), course.pressure_pa)
    return wetting_point_c(pa) if pa > 0.1 else -80.0


def nearest_to_wet(course, w_g_kg, spans) -> tuple:
    """Glass and wetting point [°C] at each span's minute nearest to, or furthest past, wet."""
    over = list(map(sub, w_g_kg, course.wet_w_g_kg))
    over[0] = -1.0e9  # the start is no result
    glass, wetting = [], []
    for a, b in spans:
        span = over[a:b]
        k = a + span.index(max(span))
        glass.append(course.glass_c[k])
        wetting.append(wetting_c(course, k, w_g_kg[k]))
    return glass, wetting


def minutes(replay, run, shut, first: int, end: int) -> Level:
    """Every step from first up to end."""
    course = replay.course
    whole = slice(first, end)
    scale = 100.0 / run.scans_per_step
    values = {
        "outdoor": course.outdoor_c[whole],
        "rh": run.rh_pct[whole],
        "shut_rh": shut.rh_pct[whole],
        "target": run.target_pct[whole],
        "ceiling": run.ceiling_pct[whole],
        "glass": course.glass_c[whole],
        "wetting": [wetting_c(course, k, run.w_g_kg[k]) for k in range(first, end)],
        "fan": [100.0 * on for on in course.fan[whole]],
        "valve": [scale * scans for scans in run.valve[whole]],
    }
    return Level(course.start_local_s + first * course.dt_s, course.dt_s, values)


def coldest_window(course) -> tuple:
    """(first, end, coldest) steps: noon to noon around the lowest outdoor temperature, if recorded."""
    outdoor_c = course.outdoor_c[: course.n_steps]
    coldest = outdoor_c.index(min(outdoor_c))
    since_noon_s = (course.start_local_s + coldest * course.dt_s - DAY_S // 2) % DAY_S
    first = coldest - since_noon_s // course.dt_s
    end = first + DAY_S // course.dt_s
    return max(0, first), min(course.n_steps, end), coldest


def wet_marks(replay) -> list:
    """Marks of every policy; no run is thinned away."""
    wet = replay.course.wet_w_g_kg
    shut = replay.runs["shut"].w_g_kg
    found = []
    for name, run in replay.runs.items():
        own, added = [], []
        before, last = -2, NO_WET
        steps = [k for k, (w, x) in enumerate(zip(run.w_g_kg, wet)) if w >= x and k]
        for k in steps:
            kind = OWN_WET if shut[k] >= wet[k] else ADDED_WET
            runs = own if kind == OWN_WET else added
            if k == before + 1 and kind == last:
                runs[-1][1] += 1
            else:
                runs.append([k, 1])
            before, last = k, kind
        found.append(Marks(name, POLICY_WORDS.get(name, name), own, added))
    return found
