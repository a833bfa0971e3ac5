"""Random houses for judging policies: the distributions the acceptance figures were measured with.

A house depends on (seed, index) and the winter's cold alone, never on the order of the calls, so any row of
a table can be drawn again by itself.

Which of the drawn houses count is not decided here: that takes a run of the valve-shut house and of the best
possible policy.  The rule, in this order, then the first N that pass, no picking: leave out (i) houses wet
for over 600 minutes with the valve shut, which fog anyway; (ii) those whose mean RH with the valve shut is
above 42 %, which need no humidifier; (iii) those where the best policy under the caps gains less than 4 % RH,
where all policies look alike.  Means are over the heating season as the reports define it.
"""

from copy import deepcopy
from math import exp, log
from random import Random

from dewsim.housefile import House

REFERENCE_INDOOR_C = 21.0
# The air-change form sqrt(20 dT + 15 U^2) has a wind to stack ratio of 0.75; one storey in shelter class 4
# has 0.717, the nearest in the table of the plant.
STOREYS, SHELTER = 1, 4
LEAST_FURNACE_KW = 1.0


def coldest_c(outdoor_c) -> float:
    """0.5th percentile [°C] of a winter's outdoor temperatures, interpolated between the two nearest."""
    ordered = sorted(outdoor_c)
    place = 0.005 * (len(ordered) - 1)
    i = int(place)
    j = min(i + 1, len(ordered) - 1)
    return ordered[i] + (place - i) * (ordered[j] - ordered[i])


def draw(seed: int, index: int, coldest_outdoor_c: float) -> House:
    """House number index (from 0) of the draw seed; coldest_outdoor_c [°C]: coldest_c of its winter.

    Exact sensors; everything the sampler does not name has its default.
    """
    chance = Random(f"house {seed} {index}")
    volume_m3 = _uniform(chance, 200.0, 900.0)
    house = {"volume_m3": volume_m3, **_air(chance)}
    buffer = _buffer(chance)
    heating = _heating(chance, volume_m3, coldest_outdoor_c)
    house |= _set_point(chance)
    glass = _glass(chance)
    humidifier = {"kg_h": _uniform(chance, 0.2, 1.2), "pad_min": _uniform(chance, 3.0, 10.0)}
    gains = {"people": 1 + int(5.0 * chance.random()), "extraction": _uniform(chance, 0.3, 1.0)}
    return House(
        {
            "name": f"drawn house {seed}-{index}",
            "house": house,
            "gains": gains,
            "buffer": buffer,
            "glass": glass,
            "heating": heating,
            "humidifier": humidifier,
        },
        f"drawn house {seed}-{index}",
    )


def with_errors(house: House, seed: int, index: int) -> House:
    """A copy of house whose sensors, and the believed f, err by a constant, uniform within each tolerance."""
    chance = Random(f"errors {seed} {index}")
    house = deepcopy(house)
    s = house.sensors
    s.rh_error_pct = _uniform(chance, -s.rh_tolerance_pct, s.rh_tolerance_pct)
    s.indoor_error_k = _uniform(chance, -s.indoor_tolerance_k, s.indoor_tolerance_k)
    s.outdoor_error_k = _uniform(chance, -s.outdoor_tolerance_k, s.outdoor_tolerance_k)
    s.f_error = _uniform(chance, -s.f_tolerance, s.f_tolerance)
    house.check(house.name)
    return house


def _uniform(chance, lo, hi):
    return lo + (hi - lo) * chance.random()


def _air(chance):
    changes = exp(_uniform(chance, log(0.15), log(1.2)))
    model = "wind" if chance.random() < 0.6 else "constant"
    return {"air_changes_per_h": changes, "air_change_model": model, "storeys": STOREYS, "shelter": SHELTER}


def _buffer(chance):
    if chance.random() < 0.6:
        k = _uniform(chance, 1.0, 2.5)
        return {"nodes": 2, "k": k, "r": _uniform(chance, 4.0, 25.0), "tau_b_h": _uniform(chance, 20.0, 96.0)}
    return {"nodes": 1, "k": _uniform(chance, 1.5, 6.0)}


def _heating(chance, volume_m3, coldest_outdoor_c):
    ua_w_k = (60.0 + 0.35 * volume_m3) * _uniform(chance, 0.7, 1.3)
    furnace_kw = 0.001 * _uniform(chance, 1.3, 2.0) * ua_w_k * (REFERENCE_INDOOR_C - coldest_outdoor_c)
    return {
        "ua_w_k": ua_w_k,
        "furnace_kw": max(LEAST_FURNACE_KW, furnace_kw),
        "free_heat_w": _uniform(chance, 300.0, 900.0),
        "thermal_time_h": _uniform(chance, 20.0, 60.0),
    }


def _set_point(chance):
    indoor_c = _uniform(chance, 19.0, 22.5)
    depth_k = _uniform(chance, 1.5, 4.0)
    setback_k = depth_k if chance.random() < 0.5 else 0.0
    return {"indoor_c": indoor_c, "setback_k": setback_k, "setback_from": "22:30", "setback_to": "06:00"}


def _glass(chance):
    f_day = _uniform(chance, 0.40, 0.75)
    f_night = max(0.33, f_day - (0.0, 0.05, 0.10, 0.15)[int(4.0 * chance.random())])
    return {"f_day": f_day, "f_night": f_night, "curtains_from": "18:30", "curtains_to": "07:30"}
