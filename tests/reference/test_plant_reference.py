"""The house model against the outside world: published coefficients, moist-air physics, an ODE solver."""

import csv
from array import array
from math import cos, exp, pi, sqrt
from pathlib import Path

import psychrolib
import pytest
from scipy.integrate import solve_ivp

from dewsim import plant
from dewsim.housefile import House

DATA = Path(__file__).parent / "data"
psychrolib.SetUnitSystem(psychrolib.SI)


def rows(name):
    with open(DATA / name, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


BASIC = [row for row in rows("08_infiltration_coefficients.csv") if "basic model" in row["coefficient"]]
EXAMPLES = rows("08_infiltration_examples.csv")


def coefficients(storeys, shelter):
    """Cs and Cw of the table file, by storeys and shelter class."""
    mine = [row for row in BASIC if row["storeys_or_case"] == f"{storeys} storey"]
    stack = [float(row["SI_value"]) for row in mine if row["coefficient"].startswith("Cs")]
    wind = [float(row["SI_value"]) for row in mine if row["class"].startswith(f"class {shelter}:")]
    (stack,), (wind,) = stack, wind
    return stack, wind


@pytest.mark.parametrize("storeys", [1, 2, 3])
@pytest.mark.parametrize("shelter", [1, 2, 3, 4, 5])
def test_coefficients_are_those_of_the_table(storeys, shelter):
    assert coefficients(storeys, shelter) == (plant.STACK[storeys - 1], plant.WIND[shelter - 1][storeys - 1])


@pytest.mark.parametrize("row", EXAMPLES, ids=lambda row: row["ACH"])
def test_infiltration_examples(row):
    # Q [m3/s] = AL [cm2]/1000 sqrt(Cs dT + Cw U^2), ACH = 3600 Q/V; the house file's rate is at
    # 20 K and 4 m/s.  Printed to four digits.
    storeys, shelter = int(row["storeys"]), int(row["shelter_class"])
    stack, wind = coefficients(storeys, shelter)
    rated = 3.6 * float(row["AL_cm2"]) / float(row["V_m3"]) * sqrt(stack * 20.0 + wind * 16.0)
    n = plant.air_changes_per_h(rated, storeys, shelter, float(row["dT_K"]), float(row["wind_m_s"]))
    assert n == pytest.approx(float(row["ACH"]), abs=1e-4)


def test_all_six_examples_are_there():
    assert len(EXAMPLES) == 6 and len(BASIC) == 18


@pytest.mark.parametrize("supply_c", plant.DUCT_C)
def test_duct_share_is_that_of_a_pad_of_constant_effectiveness(supply_c):
    # Return air of 21 C and 30 % RH heated to supply_c; the pad brings it a fixed share of the way to its
    # wet-bulb state, so evaporation goes with W_sat(wet bulb) - W.  The table has two digits: 0.005.
    w = psychrolib.GetHumRatioFromRelHum(21.0, 0.30, 101325.0)
    gain = [
        psychrolib.GetSatHumRatio(psychrolib.GetTWetBulbFromHumRatio(t, w, 101325.0), 101325.0) - w
        for t in (supply_c, 49.0)
    ]
    assert plant.duct_share(supply_c) == pytest.approx(gain[0] / gain[1], abs=0.005)


@pytest.mark.parametrize("supply_c", [21.0, 35.0, 60.0])
@pytest.mark.parametrize("rh", [0.20, 0.40])
def test_duct_share_holds_for_the_rh_of_a_winter_within_a_twentieth(supply_c, rh):
    w = psychrolib.GetHumRatioFromRelHum(21.0, rh, 101325.0)
    gain = [
        psychrolib.GetSatHumRatio(psychrolib.GetTWetBulbFromHumRatio(t, w, 101325.0), 101325.0) - w
        for t in (supply_c, 49.0)
    ]
    assert plant.duct_share(supply_c) == pytest.approx(gain[0] / gain[1], abs=0.05)


def test_rh_agrees_with_psychrolib():
    # another saturation equation, stated to 0.03 % (water above 0 C); ours within 0.02 %
    for w, t in ((2.0, 18.0), (5.0, 20.0), (9.0, 24.0)):
        theirs = 100.0 * psychrolib.GetRelHumFromHumRatio(t, 0.001 * w, 101325.0)
        assert plant.rh_pct(w, t) == pytest.approx(theirs, rel=1e-3)


# --- a whole winter against an ODE solver ---------------------------------------------------------

WINTER_H = 212 * 24
VALVE_H = 6  # open 6 h, shut 6 h


def outdoor_c(h):
    return -4.0 + 9.0 * cos(2.0 * pi * h / 190.0) - 5.0 * cos(2.0 * pi * h / 24.0)


def outdoor_w(h):
    return 2.2 + 0.9 * cos(2.0 * pi * h / 190.0)


def wind_m_s(h):
    return 4.0 + 3.0 * cos(2.0 * pi * h / 53.0)


def winter_house(nodes):
    """Fixed temperature and a furnace far too small: heat, fan and so water without a pause."""
    return House(
        {
            "house": {
                "volume_m3": 450.0,
                "air_changes_per_h": 0.5,
                "air_change_model": "wind",
                "storeys": 2,
                "shelter": 3,
                "indoor_c": 20.5,
                "setback_k": 0.0,
            },
            "gains": {"people": 0, "bursts": False, "constant_kg_h": 0.25},
            "buffer": {"nodes": nodes, "k": 2.2, "r": 12.0, "tau_b_h": 40.0},
            "heating": {"ua_w_k": 400.0, "furnace_kw": 1.0, "free_heat_w": 0.0, "thermal_time_h": 0.0},
            "humidifier": {"kg_h": 0.7, "pad_min": 8.0},
        }
    )


def by_solver(nodes, w0, phi0, saturated):
    """W [g/kg] after every VALVE_H hours: the model's equations, restarted at each valve move."""
    k = 2.2 if nodes else 1.0
    air_kg = 1.2 * 450.0
    store = 0.157 * 12.0 if nodes == 2 else 0.0

    def slope(h, state, opening):
        w, phi_b, pad = state
        stack, wind = 0.000290, 0.000231
        ratio = (stack * (20.5 - outdoor_c(h)) + wind * wind_m_s(h) ** 2) / (stack * 20.0 + wind * 16.0)
        changes = max(0.05, 0.5 * sqrt(ratio))
        taken = store / 40.0 * (100.0 * w / saturated - phi_b)
        dw = (changes * (outdoor_w(h) - w) + 1000.0 * (0.25 + pad) / air_kg - taken) / k
        return [dw, taken / store if store else 0.0, (opening * 0.7 - pad) / (8.0 / 60.0)]

    state, out = [w0, phi0, 0.0], []
    for h in range(0, WINTER_H, VALVE_H):
        opening = 1.0 if h // VALVE_H % 2 == 0 else 0.0
        answer = solve_ivp(slope, (h, h + VALVE_H), state, "LSODA", args=(opening,), rtol=1e-8, atol=1e-9)
        assert answer.success
        state = list(answer.y[:, -1])
        out.append(state[0])
    return out


@pytest.mark.parametrize("nodes", [0, 1, 2])
def test_a_winter_against_the_ode_solver(nodes):
    n = WINTER_H * 60

    class Minutes:
        n_steps = n

    for name, at in (("outdoor_c", outdoor_c), ("outdoor_w_g_kg", outdoor_w), ("wind_m_s", wind_m_s)):
        setattr(Minutes, name, array("d", [at(k / 60.0) for k in range(n)]))
    course = plant.Course(winter_house(nodes), Minutes, 0, 1)
    assert all(course.fan)
    water = plant.Moisture(course)
    start = water.w_g_kg, water.phi_b_pct
    ours = []
    for k in range(n):
        water.step(k, 1.0 if k // (60 * VALVE_H) % 2 == 0 else 0.0)
        if (k + 1) % (60 * VALVE_H) == 0:
            ours.append(water.w_g_kg)
    theirs = by_solver(nodes, *start, course.sat_w_g_kg[0])
    assert len(ours) == len(theirs) == WINTER_H // VALVE_H
    worst = max(abs(plant.rh_pct(a, 20.5) - plant.rh_pct(b, 20.5)) for a, b in zip(ours, theirs))
    assert worst < 0.05
    assert max(ours) - min(ours) > 2.0  # it did swing


def test_heating_against_the_ode_solver():
    """The unheated house under a swinging outdoor temperature: no closed form, so the solver judges."""
    n = 48 * 60
    house = winter_house(0)
    house.heating.thermal_time_h = 25.0
    house.heating.free_heat_w = 500.0

    class Minutes:
        n_steps = n

    for name, at in (("outdoor_c", outdoor_c), ("outdoor_w_g_kg", outdoor_w), ("wind_m_s", wind_m_s)):
        setattr(Minutes, name, array("d", [at(k / 60.0) for k in range(n)]))
    course = plant.Course(house, Minutes, 0, 1)
    on = list(course.heat).index(1)
    assert all(course.heat[on:]) and 0 < on < n - 600  # 1 kW at 400 W/K never brings it back
    warmth_k = (500.0 + 1000.0) / 400.0
    answer = solve_ivp(
        lambda h, t: (outdoor_c(h) + warmth_k - t) / 25.0,
        (on / 60.0, (n - 1) / 60.0),
        [course.indoor_c[on]],
        rtol=1e-9,
        atol=1e-9,
    )
    assert answer.success
    assert course.indoor_c[n - 1] == pytest.approx(answer.y[0, -1], abs=0.01)
    assert course.indoor_c[n - 1] < 20.5 * exp(-0.3)
