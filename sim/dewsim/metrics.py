"""What a winter's runs are judged by: the policy block of result.json, the headroom class, the season's steps."""

from array import array

from dewcore.ceiling import BINDS_NAMES
from dewsim import floor, plant
from dewsim.policies import added_wet_minutes

SEASON_BELOW_C = 12.0  # steps count while the 24 h mean outdoors is below this
CLEAR_UP_TO = 0.90  # headroom: the highest share of the wetting humidity ratio that the shut house reaches
FOGGY_FROM = 1.0
DRY_PCT = 25.0


def season_mask(course) -> bytearray:
    """1 for each step of the heating season: trailing 24 h mean outdoors below 12 °C (fewer hours at the start)."""
    n = course.n_steps
    mask = bytearray(n)
    window = 86400 // course.dt_s
    outdoor_c = course.outdoor_c
    total = 0.0
    for k in range(n):
        total += outdoor_c[k]
        if k >= window:
            total -= outdoor_c[k - window]
        mask[k] = total < SEASON_BELOW_C * min(k + 1, window)
    mask[0] = 0  # the start is no result; rows and metrics begin at the end of the first step
    return mask


def headroom(course, shut_w_g_kg: array) -> float:
    """R, the highest W_shut / W_wetting of the winter; infinite where the room's own moisture wets the glass."""
    pairs = zip(shut_w_g_kg[1:], course.wet_w_g_kg[1:])
    return max((w / wet if wet > 0.0 else float("inf") for w, wet in pairs), default=0.0)


def headroom_class(ratio: float) -> str:
    """`clear`, `tight` or `foggy`: how near the house comes to wet glass without any humidifier."""
    if ratio <= CLEAR_UP_TO:
        return "clear"
    return "tight" if ratio < FOGGY_FROM else "foggy"


def wet_minutes(course, w_g_kg: array) -> int:
    """Minutes in which the coldest room's glass is at or past its dew or frost point at a house step."""
    return sum(1 for w, wet in zip(w_g_kg[1:], course.wet_w_g_kg[1:]) if w >= wet) * course.dt_s // 60


def hourly_means(values: array, dt_s: int) -> list[float]:
    """Means of whole hours of a column."""
    per_hour = 3600 // dt_s
    return [sum(values[i : i + per_hour]) / per_hour for i in range(0, len(values) - per_hour + 1, per_hour)]


def floor_swing(course, rh_pct: array, house) -> dict:
    """Lowest and highest moisture content of the floor [%] and the gap at a board [mm]; see dewsim.floor."""
    air_c = [min(max(t, floor.LOWEST_C), floor.HIGHEST_C) for t in hourly_means(course.indoor_c, course.dt_s)]
    air_pct = [min(rh, 100.0) for rh in hourly_means(rh_pct, course.dt_s)]
    series, low, high = floor.track(air_c, air_pct)
    gap = floor.gap_mm(house.floor.board_mm, house.floor.species, high, low)
    return {"floor_emc_min_pct": low, "floor_emc_max_pct": high, "floor_gap_mm": gap, "series": series}


def policy_block(course, run, shut_run, mask: bytearray, caps_pct: array, house) -> dict:
    """One policy's figures, as result.json has them; `rh_pct` and `floor` ride along for the report."""
    rh_pct = plant.rh_series_pct(course, run.w_g_kg)
    season = [rh for rh, counts in zip(rh_pct, mask) if counts]
    per_hour = 3600 / course.dt_s
    above = sum(1 for rh, cap, counts in zip(rh_pct, caps_pct, mask) if counts and rh > cap > 0.0)
    swing = floor_swing(course, rh_pct, house)
    block = {
        "wet_minutes": wet_minutes(course, run.w_g_kg),
        "added_wet_minutes": added_wet_minutes(course, run.w_g_kg, shut_run.w_g_kg),
        "test_wet_minutes": 0,
        "mean_rh_pct": sum(season) / len(season) if season else None,
        "hours_below_25_pct": sum(1 for rh in season if rh < DRY_PCT) / per_hour,
        "hours_above_cap": above / per_hour,
        "valve_starts": run.valve_starts,
        "valve_hours": run.end.open_h,
        "water_evaporated_litres": run.end.evaporated_kg,
        "water_fed_litres": run.end.fed_kg,
        "floor_emc_min_pct": swing["floor_emc_min_pct"],
        "floor_emc_max_pct": swing["floor_emc_max_pct"],
        "floor_gap_mm": swing["floor_gap_mm"],
    }
    if run.decided:
        block["binds"] = binds_share(run, mask)
    if run.setting_pct is not None:
        block["setting_pct"] = run.setting_pct
    run.rh_pct = rh_pct
    run.floor_series = swing["series"]
    return {name: round(value, 4) if isinstance(value, float) else value for name, value in block.items()}


def binds_share(run, mask: bytearray) -> dict:
    """Share of the season's steps in which each surface, or the owner, set the target."""
    counts = [0] * len(BINDS_NAMES)
    for code, counted in zip(run.binds, mask):
        if counted:
            counts[code] += 1
    total = sum(counts)
    return {name: round(counts[code] / total, 4) if total else 0.0 for code, name in enumerate(BINDS_NAMES)}
