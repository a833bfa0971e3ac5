"""The plant's steady state against humidification loads worked by hand from the load equation.

ASHRAE Handbook, HVAC Systems and Equipment, Humidifiers, Eq. 1: H = rho V n (Wi - Wo), no other sources (seen
on an engineering reference page).  The six loads of data/03_load_examples.csv are worked from it, not
published ones. They take the density of dry air from the indoor specific volume; the plant's convention is
1.2 kg/m³.  That is the one difference allowed here, computed for each row: 0.5 to 0.9 %.
"""

from array import array
from types import SimpleNamespace

import pytest

from dewcore import psychro
from dewsim.housefile import House
from dewsim.plant import AIR_KG_M3, Course, Moisture
from reference_tables import celsius, rows

EXAMPLES = rows("03_load_examples")
STEP_S = 600
HOURS = 120  # at least 42 time constants of 0.35 to 1.0 air changes per hour


def humidity_ratio(t_c: float, rh_pct: float) -> float:
    """kg/kg at 101325 Pa, RH over water."""
    return 0.001 * psychro.humidity_ratio_g_kg(psychro.vapour_pa(t_c, rh_pct), 101325.0)


def plain_house(row: "dict[str, str]", **changes: "dict[str, object]") -> House:
    """Constant air changes, fixed temperature, no people, no bursts, no store; furnace and fan always on."""
    values = {
        "house": {
            "volume_m3": float(row["V_m3"]),
            "air_changes_per_h": float(row["ach"]),
            "air_change_model": "constant",
            "indoor_c": celsius(float(row["ti_F"])),
            "setback_k": 0.0,
        },
        "gains": {"people": 0, "bursts": False},
        "buffer": {"nodes": 0},
        "heating": {"thermal_time_h": 0.0, "ua_w_k": 3000.0, "furnace_kw": 1.0, "free_heat_w": 0.0},
        "humidifier": {"pad_min": 0.0, "supply_rating_c": 49.0, "kg_h": 0.0},
    }
    for section, items in changes.items():
        values[section] = {**values[section], **items}
    return House(values)


def steady_g_kg(house: House, row: "dict[str, str]", valve_share: float) -> float:
    """Humidity ratio [g/kg] after HOURS of the row's constant weather."""
    n = HOURS * 3600 // STEP_S
    outdoor_c = celsius(float(row["to_F"]))
    weather = SimpleNamespace(
        n_steps=n,
        outdoor_c=array("d", [outdoor_c] * n),
        outdoor_w_g_kg=array("d", [1000.0 * humidity_ratio(outdoor_c, float(row["rh_o_pct"]))] * n),
        wind_m_s=array("d", [4.0] * n),
    )
    course = Course(house, weather, 0, 1, STEP_S)
    moisture = Moisture(course)
    for k in range(n - 1):
        moisture.step(k, valve_share)
    before = moisture.w_g_kg
    moisture.step(n - 1, valve_share)
    assert moisture.w_g_kg == pytest.approx(before, rel=1e-9), "not yet steady"
    return moisture.w_g_kg


@pytest.mark.parametrize("row", EXAMPLES, ids=lambda row: f"{row['V_ft3']}ft3-{row['ach']}ach-{row['to_F']}F")
def test_load_worked_by_hand_from_the_equation(row):
    """Row 2 as printed: 16000 ft³ = 453.07 m³, 0.5/h, 0.84059 m³/kg.

    269.5 kg/h of dry air times 0.004776 is 1.287 kg/h.
    """
    wi = humidity_ratio(celsius(float(row["ti_F"])), float(row["rh_i_pct"]))
    wo = humidity_ratio(celsius(float(row["to_F"])), float(row["rh_o_pct"]))
    assert wi == pytest.approx(float(row["Wi_ideal"]), abs=3e-6)
    assert wo == pytest.approx(float(row["Wo_ideal_over_water"]), abs=2e-6)
    over_ice = psychro.humidity_ratio_g_kg(
        0.01 * float(row["rh_o_pct"]) * psychro.sat_surface_pa(celsius(float(row["to_F"]))), 101325.0
    )
    assert 0.001 * over_ice == pytest.approx(float(row["Wo_ideal_over_ice"]), abs=2e-6)
    volume_m3 = float(row["V_ft3"]) * 0.3048**3
    assert volume_m3 == pytest.approx(float(row["V_m3"]), abs=0.005)
    load = volume_m3 * float(row["ach"]) / float(row["v_indoor_m3_per_kgda"]) * (wi - wo)
    assert load == pytest.approx(float(row["H_kg_h"]), rel=0.0012)
    assert load / 0.45359237 == pytest.approx(float(row["H_lb_h"]), rel=0.0012)
    # 1 lb/h is 2.881 US gallons a day at 20 °C
    assert load / 0.45359237 * 2.881 == pytest.approx(float(row["US_gal_per_day"]), rel=0.0025)


@pytest.mark.parametrize("source", ["gains", "humidifier"])
@pytest.mark.parametrize("row", EXAMPLES, ids=lambda row: f"{row['V_ft3']}ft3-{row['ach']}ach-{row['to_F']}F")
def test_plant_settles_where_the_load_equation_says(row, source):
    """H of the table put in, as a steady gain or by the humidifier with its valve open.

    What comes out is the table's Wi, but for the density.
    """
    load_kg_h = float(row["H_kg_h"])
    if source == "gains":
        house = plain_house(row, gains={"constant_kg_h": load_kg_h})
        found = steady_g_kg(house, row, 0.0)
    else:
        house = plain_house(row, humidifier={"kg_h": load_kg_h})
        found = steady_g_kg(house, row, 1.0)
    wo_g_kg = 1000.0 * humidity_ratio(celsius(float(row["to_F"])), float(row["rh_o_pct"]))
    table_excess = 1000.0 * float(row["Wi_ideal"]) - 1000.0 * float(row["Wo_ideal_over_water"])
    # by hand with the plant's own density: W = Wo + 1000 H / (1.2 V n)
    by_hand = wo_g_kg + 1000.0 * load_kg_h / (AIR_KG_M3 * float(row["V_m3"]) * float(row["ach"]))
    assert found == pytest.approx(by_hand, rel=1e-6)
    density_share = 1.0 / float(row["v_indoor_m3_per_kgda"]) / AIR_KG_M3
    assert 0.991 <= density_share <= 0.995, "1.189 to 1.194 kg/m³ against 1.2"
    assert found - wo_g_kg == pytest.approx(table_excess * density_share, rel=0.001)
    assert found - wo_g_kg == pytest.approx(table_excess, rel=0.01)
