"""The house model against hand calculation, its own balance, smaller steps and the other interpreter."""

import json
import os
import shutil
import subprocess
import sys
from array import array
from copy import deepcopy
from math import exp, isnan, sqrt
from pathlib import Path
from statistics import fmean, pstdev

import pytest

from dewcore import ceiling, psychro
from dewsim import plant
from dewsim.housefile import SECTIONS, House
from dewsim.sensors import Sensors

ROOT = Path(__file__).parents[2]
MONDAY_S = 4 * 86400  # 1970-01-05 was a Monday
DAY = 1440


class Minutes:
    """Weather a step: constants, or functions of hours."""

    def __init__(self, hours, outdoor_c=-10.0, outdoor_w_g_kg=1.2784, wind_m_s=4.0, dt_s=60):
        self.n_steps = int(hours * 3600 / dt_s)
        for name, what in (
            ("outdoor_c", outdoor_c),
            ("outdoor_w_g_kg", outdoor_w_g_kg),
            ("wind_m_s", wind_m_s),
        ):
            at = what if callable(what) else lambda h, what=what: what
            setattr(self, name, array("d", [at(k * dt_s / 3600.0) for k in range(self.n_steps + 1)]))


PLAINEST = {
    "house": {
        "volume_m3": 400.0,
        "air_changes_per_h": 0.4,
        "air_change_model": "constant",
        "indoor_c": 20.0,
        "setback_k": 0.0,
    },
    "gains": {"people": 0, "bursts": False},
    "buffer": {"nodes": 0},
    "glass": {"f_day": 0.5, "f_night": 0.5},
    "heating": {"ua_w_k": 200.0, "furnace_kw": 8.0, "free_heat_w": 0.0, "thermal_time_h": 0.0},
    "humidifier": {"kg_h": 0.5, "pad_min": 0.0},
}


def plainest(**changes):
    """A house of constant air changes and temperature, no store, no gains; changes: section={key: value}."""
    values = deepcopy(PLAINEST)
    for section, keys in changes.items():
        values.setdefault(section, {}).update(keys)
    return House(values)


def course(house, minutes, seed=1, start_s=MONDAY_S, dt_s=60):
    return plant.Course(house, minutes, start_s, seed, dt_s)


def run(c, valve_share=1.0, start_rh_pct=45.0):
    """Moisture after the whole course with the valve at valve_share, and the W before each step."""
    water = plant.Moisture(c, start_rh_pct)
    out = []
    for k in range(c.n_steps):
        out.append(water.w_g_kg)
        water.step(k, valve_share)
    return water, out


def mean_rh_pct(c, w):
    return fmean(plant.rh_series_pct(c, w))


def swinging(hours, dt_s=60):
    """A winter of swinging weather."""
    return Minutes(
        hours,
        lambda h: -5.0 + 8.0 * _wave(h, 24) + 9.0 * _wave(h, 150),
        lambda h: 2.0 + 0.8 * _wave(h, 150),
        lambda h: 4.0 + 3.0 * _wave(h, 37),
        dt_s,
    )


def _wave(h, period_h):
    x = h / period_h % 1.0
    return 16.0 * x * (0.5 - x) if x < 0.5 else -16.0 * (x - 0.5) * (1.0 - x)


# --- hand calculations ----------------------------------------------------------------------------


def test_air_decays_to_the_outdoor_air():
    # 0.4 /h for 2.5 h: exp(-1) of the difference is left
    water, w = run(course(plainest(), Minutes(2.5)), 0.0)
    assert water.w_g_kg == pytest.approx(1.2784 + (w[0] - 1.2784) * exp(-1.0), rel=1e-12)


def test_air_and_light_things_decay_k_times_slower():
    water, w = run(course(plainest(buffer={"nodes": 1, "k": 3.0}), Minutes(7.5)), 0.0)
    assert water.w_g_kg == pytest.approx(1.2784 + (w[0] - 1.2784) * exp(-1.0), rel=1e-12)


def test_k_is_unused_without_nodes():
    water, w = run(course(plainest(buffer={"nodes": 0, "k": 3.0}), Minutes(2.5)), 0.0)
    assert water.w_g_kg == pytest.approx(1.2784 + (w[0] - 1.2784) * exp(-1.0), rel=1e-12)


def test_start_is_45_percent_in_air_and_store():
    c = course(plainest(buffer={"nodes": 2}), Minutes(1))
    water = plant.Moisture(c)
    assert water.rh_pct(0) == pytest.approx(45.0, rel=1e-12)
    # air that comes in as humid as the air inside: in equilibrium nothing moves
    c = course(plainest(buffer={"nodes": 2}), Minutes(24, outdoor_w_g_kg=water.w_g_kg))
    assert run(c, 0.0)[0].phi_b_pct == pytest.approx(water.phi_b_pct, rel=1e-12)
    assert run(c, 0.0)[0].w_g_kg == pytest.approx(water.w_g_kg, rel=1e-12)
    # 45 % of 2338.8 Pa (Buck, 20 C) is 1052.5 Pa: 621.945 * 1052.5/100272.5 = 6.528 g/kg;
    # saturated 14.695: 44.42 %
    assert plant.Moisture(c).phi_b_pct == pytest.approx(44.42, abs=0.02)


def test_steady_state_of_a_steady_source():
    # 1000 g/kg * 0.3 kg/h / (0.4 /h * 480 kg) = 1.5625 g/kg above outdoors
    c = course(plainest(gains={"constant_kg_h": 0.3}), Minutes(120))
    assert run(c, 0.0)[0].w_g_kg == pytest.approx(1.2784 + 1.5625, rel=1e-9)


def test_a_ventilation_is_so_much_more_air_whatever_the_weather():
    # 60 m3/h of 400 m3 is 0.15 /h: 1000 * 0.3 kg/h / (0.55 /h * 480 kg) = 1.1364 g/kg above outdoors
    c = course(plainest(gains={"constant_kg_h": 0.3}, house={"ventilation_m3_h": 60.0}), Minutes(120))
    assert run(c, 0.0)[0].w_g_kg == pytest.approx(1.2784 + 1.13636, rel=1e-5)
    still = plainest(house={"air_change_model": "wind", "ventilation_m3_h": 60.0, "air_changes_per_h": 0.05})
    changes = course(still, Minutes(2, outdoor_c=20.0, wind_m_s=0.0)).air_changes_per_h
    assert changes[60] == pytest.approx(plant.LEAST_AIR_CHANGES + 0.15, rel=1e-12)


def test_what_a_sensor_reads_is_what_its_correction_turns_into_the_stated_error():
    house = plainest(sensors={"rh_error_pct": 1.0})
    house.settings = {"rh_offset_pct": 2.0, "rh_gain": 1.25}
    c = course(house, Minutes(2))
    read = Sensors(house, c, 1).rh(0, 30.0)
    assert read == pytest.approx((31.0 - 2.0) / 1.25, rel=1e-12)
    exact = plainest()
    exact.settings = {"rh_gain": 1.25}
    sensors = Sensors(exact, c, 1)
    assert not sensors.exact and sensors.rh(0, 30.0) == pytest.approx(24.0, rel=1e-12)
    house = plainest(sensors={"indoor_error_k": 0.3})
    house.settings = {"indoor_offset_k": -0.5, "outdoor_offset_k": 2.0}
    sensors = Sensors(house, c, 1)
    assert sensors.indoor_c[60] - 0.5 == pytest.approx(c.indoor_c[60] + 0.3, abs=1e-12)
    assert sensors.outdoor_c[60] + 2.0 == pytest.approx(c.outdoor_c[60], abs=1e-12)


@pytest.mark.parametrize("nodes", [0, 1, 2])
def test_steady_state_with_the_humidifier(nodes):
    # fan duty 200 W/K * 30 K / 8000 W = 0.750; 0.5 kg/h * 0.75 = 0.375 kg/h;
    # 1.2784 + 375/(0.4 * 480) = 1.2784 + 1.9531 = 3.2315 g/kg, with whatever buffer
    c = course(plainest(buffer={"nodes": nodes, "k": 1.5, "r": 5.0, "tau_b_h": 10.0}), Minutes(600))
    _, w = run(c)
    assert fmean(c.heat) == pytest.approx(0.750, abs=1e-9)
    assert fmean(w[-DAY:]) == pytest.approx(3.2315, abs=2e-4)


def test_the_heated_house_comes_to_the_same_duty_and_humidity():
    c = course(plainest(heating={"thermal_time_h": 40.0}), Minutes(600))
    _, w = run(c)
    assert fmean(c.heat[-10 * DAY :]) == pytest.approx(0.750, abs=0.004)
    assert fmean(w[-10 * DAY :]) == pytest.approx(3.2315, abs=0.012)
    assert fmean(c.indoor_c[-10 * DAY :]) == pytest.approx(20.0, abs=0.1)
    # +-0.3 K and at most one minute's overshoot, 30 K/40 h/60 a minute
    assert 19.7 - 0.02 <= min(c.indoor_c) and max(c.indoor_c) <= 20.3 + 0.02


def test_an_unheated_house_cools_with_its_time_constant():
    # furnace too small to matter: 1 kW at 1000 W/K holds 1 K; from 20 towards -10 + 1 with 20 h
    house = plainest(heating={"ua_w_k": 1000.0, "furnace_kw": 1.0, "thermal_time_h": 20.0})
    c = course(house, Minutes(20.1))
    off = next(k for k in range(c.n_steps) if c.heat[k])  # runs from the first minute below 19.7
    after = c.n_steps - 1 - off
    assert c.indoor_c[-1] == pytest.approx(-9.0 + (c.indoor_c[off] + 9.0) * exp(-after / 1200.0), rel=1e-9)
    assert c.indoor_c[off] == pytest.approx(-10.0 + 30.0 * exp(-off / 1200.0), rel=1e-9)


def test_a_house_too_warm_is_aired_out():
    # no loss outwards at 30 outside; 30 - 22.5 = 7.5 K over; 2 % a minute against a gain of (30 - T)/20 h
    c = course(plainest(heating={"thermal_time_h": 20.0}), Minutes(200, outdoor_c=30.0))
    # balance: 0.02 (T - 22.5) = (30 - T)/1200 -> T = (0.45 + 0.025)/(0.02 + 1/1200) = 22.80
    assert c.indoor_c[-1] == pytest.approx(22.80, abs=0.01)
    assert not any(c.heat)


def test_fan_cycles_are_whole_minutes_of_twenty():
    # duty 0.75: 15 minutes on, 5 off; duty 0.33: 6.6 minutes a cycle, so 6 or 7, 33 in five cycles
    c = course(plainest(), Minutes(1))
    assert list(c.heat) == ([1] * 15 + [0] * 5) * 3
    c = course(plainest(heating={"ua_w_k": 88.0}), Minutes(5 / 3))
    assert [sum(c.heat[i : i + 20]) for i in range(0, 100, 20)] == [7, 6, 7, 6, 7]
    half = course(plainest(heating={"ua_w_k": 88.0}), Minutes(5 / 3, dt_s=30), dt_s=30)
    assert list(half.heat[::2]) == list(c.heat) == list(half.heat[1::2])


def test_a_furnace_too_small_runs_all_the_time_and_a_warm_day_needs_none():
    assert all(course(plainest(heating={"furnace_kw": 5.0}), Minutes(2)).heat)
    assert not any(course(plainest(), Minutes(2, outdoor_c=20.0)).heat)


def test_set_back_at_night():
    c = course(plainest(house={"setback_k": 3.0}), Minutes(24))
    warm = [c.indoor_c[m] for m in (360, 720, 1349)]
    cold = [c.indoor_c[m] for m in (0, 359, 1350, 1439)]
    assert warm == [20.0] * 3 and cold == [17.0] * 4


def test_people_through_a_week():
    # a person: 8 h * 40 + 16 h * 55 = 1200 g; Monday to Friday 9 h * 55 * 0.6 = 297 g less:
    # 5 * 903 + 2 * 1200 = 6915 g
    c = course(plainest(gains={"people": 2}), Minutes(168))
    assert sum(c.gain_kg_h) / 60.0 == pytest.approx(2 * 6.915, rel=1e-9)
    noons = [c.gain_kg_h[day * DAY + 720] / 2.0 for day in range(7)]
    assert noons == pytest.approx([0.022] * 5 + [0.055] * 2)
    # 40 g/h up to 07:00, then 55, from 08:00 22 on a Monday, 55 from 17:00, 40 from 23:00; Saturday noon 55
    hours = [c.gain_kg_h[m] / 2.0 for m in (419, 420, 479, 480, 1019, 1020, 1379, 1380, 5 * DAY + 720)]
    assert hours == pytest.approx([0.040, 0.055, 0.055, 0.022, 0.022, 0.055, 0.055, 0.040, 0.055])


def test_bursts_of_three_people_on_average():
    # a day: showers 3 * 0.25 * 1.25 = 0.9375 kg; cooking 0.7 kg * mean 1.0 * (0.4 + 0.6) = 0.7; laundry
    # 0.03 * 1.8 = 0.054; times extraction 0.5.  Sd of a day's kg is about 0.5, of 4000 days' mean 0.008.
    gains = House({"gains": {"people": 3, "extraction": 0.5}}).gains
    days = [plant.bursts(gains, 7, day) for day in range(4000)]
    total = fmean(sum(kg for _, _, kg in day) for day in days)
    assert total == pytest.approx(0.5 * 1.6915, abs=0.02)


BURSTS = [  # minutes, earliest and latest start looked at, how many a day, mean and sd of start, mean kg
    ("morning shower", 15, -600, 840, 3.0, 430, 35, 0.25),
    ("evening shower", 15, 840, 2000, 0.75, 1260, 50, 0.25),
    ("breakfast", 25, -600, 2000, 1.0, 430, 40, 0.2),
    ("dinner", 50, -600, 2000, 1.0, 1080, 40, 0.5),
    ("laundry", 240, -600, 2000, 0.03, 1080, 60, 1.8),
]


@pytest.mark.parametrize("row", BURSTS, ids=lambda row: row[0])
def test_each_kind_of_burst(row):
    _, minutes, earliest, latest, a_day, mean, sd, kg = row
    gains = House({"gains": {"people": 3, "extraction": 1.0}}).gains
    found = [b for day in range(4000) for b in plant.bursts(gains, 7, day) if b[1] == minutes]
    found = [(start, kg) for start, _, kg in found if earliest <= start < latest]
    n = 4000 * a_day
    # four standard errors of each figure
    assert len(found) == pytest.approx(n, abs=4.0 * sqrt(n))
    assert fmean(start for start, _ in found) == pytest.approx(mean, abs=4.0 * sd / sqrt(n))
    assert pstdev(start for start, _ in found) == pytest.approx(sd, abs=4.0 * sd / sqrt(2.0 * n))
    assert fmean(kg for _, kg in found) == pytest.approx(kg, rel=4.0 * 0.35 / sqrt(n))


def test_bursts_over_midnight_reach_into_the_next_day_and_out_of_the_day_before(monkeypatch):
    monkeypatch.setattr(plant, "bursts", lambda gains, seed, day: [(1435.0, 10, 0.1), (-3.0, 2, 0.1)])
    c = course(plainest(gains={"bursts": True}), Minutes(24))
    # 0.1 kg in 10 min is 0.6 kg/h, in 2 min 3 kg/h; start of the day: yesterday's last; its end: today's
    # own from 23:55, and from 23:57 tomorrow's early one
    assert list(c.gain_kg_h[:6]) == pytest.approx([0.6] * 5 + [0.0])
    assert list(c.gain_kg_h[-6:]) == pytest.approx([0.0, 0.6, 0.6, 3.6, 3.6, 0.6])


def test_a_burst_is_spread_over_its_own_minutes():
    c = course(plainest(), Minutes(1))
    c._spread(90.0, 150.0, 0.25)  # 0.25 kg in 150 s is 6 kg/h; half of minute 1, minutes 2 and 3
    assert list(c.gain_kg_h[:5]) == pytest.approx([0.0, 3.0, 6.0, 6.0, 0.0])
    assert sum(c.gain_kg_h) / 60.0 == pytest.approx(0.25)


@pytest.mark.parametrize("people, size", [(1, 0.6), (5, 1.4), (6, 1.5), (12, 1.5)])
def test_cooking_grows_with_the_household_up_to_a_limit(people, size):
    gains = House({"gains": {"people": people, "extraction": 1.0}}).gains
    dinners = [kg for day in range(400) for _, minutes, kg in plant.bursts(gains, 3, day) if minutes == 50]
    assert 0.4 * size * 0.5 <= min(dinners) < 0.45 * size * 0.5
    assert 1.55 * size * 0.5 < max(dinners) <= 1.6 * size * 0.5


def test_pad_wets_and_dries_exponentially():
    # t_pad 6 min, H 0.5: after 6 min 0.5 (1 - 1/e); shut then, the rest of 0.5 (1-1/e) * 6/60 kg comes off
    c = course(plainest(humidifier={"pad_min": 6.0}, heating={"furnace_kw": 1.0}), Minutes(6))
    water = plant.Moisture(c)
    for k in range(6):
        water.step(k, 1.0)
    assert water.pad_kg_h == pytest.approx(0.5 * (1.0 - exp(-1.0)), rel=1e-12)
    assert water.fed_kg == pytest.approx(13.0 * 0.1) and water.open_h == pytest.approx(0.1)
    before = water.evaporated_kg
    for k in range(6, 360):
        water.step(k, 0.0)
    assert water.evaporated_kg - before == pytest.approx(0.5 * (1.0 - exp(-1.0)) * 0.1, rel=1e-9)
    assert water.evaporated_kg == pytest.approx(0.05, rel=1e-9)  # all of 6 min at 0.5 kg/h, wherever it went
    assert water.fed_kg == pytest.approx(1.3)


def test_half_a_minute_open_feeds_half_a_minute():
    c = course(plainest(), Minutes(1))
    water = plant.Moisture(c)
    water.step(0, 0.5)
    assert water.open_h == pytest.approx(0.5 / 60.0) and water.fed_kg == pytest.approx(13.0 * 0.5 / 60.0)
    assert water.evaporated_kg == pytest.approx(0.5 * 0.5 / 60.0)  # no pad: at once, half of 0.5 kg/h


def test_a_wet_pad_waits_while_the_fan_stands():
    c = course(plainest(humidifier={"pad_min": 6.0}), Minutes(1))  # 15 minutes on, 5 off
    water = plant.Moisture(c)
    for k in range(15):
        water.step(k, 1.0)
    held, evaporated = water.pad_kg_h, water.evaporated_kg
    for k in range(15, 20):
        water.step(k, 0.0)
    assert (water.pad_kg_h, water.evaporated_kg) == (held, evaporated)
    water.step(20, 0.0)
    assert water.evaporated_kg > evaporated and water.pad_kg_h < held


def test_glass_and_its_wetting_point_by_hand():
    # 20/-10 C, f 0.5: 5.0 C; saturation at 5 and 20 C is 872.6 and 2339 Pa (IAPWS R7-97): 37.3 % RH
    c = course(plainest(), Minutes(1))
    assert c.glass_c[0] == pytest.approx(5.0)
    assert plant.rh_pct(c.wet_w_g_kg[0], 20.0) == pytest.approx(37.3, abs=0.05)
    # f 0.2: -4.0 C, over ice 437.5 Pa (IAPWS R14-08), over water 454.9: 18.7 and 19.4 % RH
    c = course(plainest(glass={"f_day": 0.2, "f_night": 0.2}), Minutes(1))
    assert c.glass_c[0] == pytest.approx(-4.0)
    assert plant.rh_pct(c.wet_w_g_kg[0], 20.0) == pytest.approx(18.7, abs=0.05)


def test_curtains_make_the_glass_colder():
    c = course(plainest(glass={"f_day": 0.6, "f_night": 0.4}), Minutes(24))
    day, night = 20.0 - 0.4 * 30.0, 20.0 - 0.6 * 30.0
    assert [c.glass_c[m] for m in (449, 450, 1109, 1110)] == pytest.approx([night, day, day, night])


def test_the_coldest_room():
    c = course(plainest(room={"colder_k": 2.0, "excess_g_kg": 1.5}), Minutes(24))
    plain = course(plainest(), Minutes(24))
    # 18/-10 C, f 0.5: 4.0 C all day; 1.5 g/kg less allowed in the main air with curtains drawn
    assert c.glass_c[0] == c.glass_c[720] == pytest.approx(4.0)
    assert c.wet_w_g_kg[720] - c.wet_w_g_kg[0] == pytest.approx(1.5)
    assert c.wet_w_g_kg[720] == pytest.approx(
        psychro.humidity_ratio_g_kg(psychro.sat_surface_pa(4.0), 101325.0)
    )
    assert plain.wet_w_g_kg[0] == plain.wet_w_g_kg[720]


def test_glass_is_the_controllers_glass():
    c = course(plainest(), Minutes(48, outdoor_c=lambda h: h - 20.0))
    for k in range(0, c.n_steps, 60):
        assert c.glass_c[k] == pytest.approx(
            ceiling.glass_temperature_c(20.0, c.outdoor_c[k], 0.5), abs=1e-12
        )


def test_rh_of_vapour_pressures():
    # 7.0 g/kg: 101325*7/628.945 = 1127.72 Pa; over 2338.8 Pa at 20 C (Buck) is 48.2 %
    assert plant.rh_pct(7.0, 20.0) == pytest.approx(100.0 * 1127.72 / psychro.sat_water_pa(20.0), rel=1e-5)
    c = course(plainest(), Minutes(1))
    water = plant.Moisture(c)
    assert water.rh_pct(0) == pytest.approx(plant.rh_pct(water.w_g_kg, 20.0), rel=1e-12)
    assert plant.rh_series_pct(c, [7.0])[0] == pytest.approx(plant.rh_pct(7.0, 20.0), rel=1e-12)


def test_thin_air_holds_more_water_per_kilogram():
    c = plant.Course(plainest(), Minutes(1), MONDAY_S, 1, 60, 80000.0)
    water = plant.Moisture(c)
    assert water.rh_pct(0) == pytest.approx(45.0)
    assert plant.rh_pct(water.w_g_kg, 20.0, 80000.0) == pytest.approx(45.0)
    assert water.w_g_kg > plant.Moisture(course(plainest(), Minutes(1))).w_g_kg * 1.25


# --- water for the humidifier ---------------------------------------------------------------------


def test_duct_temperature_table_and_between():
    for t, share in ((21, 0.34), (32, 0.58), (35, 0.65), (40, 0.77), (49, 1.0), (60, 1.29), (26.5, 0.46)):
        assert plant.duct_share(t) == pytest.approx(share, rel=1e-12)
    assert plant.duct_share(10.0) == pytest.approx(0.34 - 11.0 * 0.24 / 11.0)
    assert plant.duct_share(-30.0) == 0.0
    assert plant.duct_share(71.0) == pytest.approx(1.29 + 0.29)


@pytest.mark.parametrize(
    "supply_c, rating_c, kg_h", [(49, 49, 0.5), (35, 49, 0.325), (49, 35, 0.5 / 0.65), (35, 35, 0.5)]
)
def test_capacity_follows_the_duct(supply_c, rating_c, kg_h):
    house = plainest(
        heating={"supply_c": supply_c}, humidifier={"supply_rating_c": rating_c, "condition": 1.0}
    )
    c = course(house, Minutes(1))
    assert c.capacity_kg_h[0] == pytest.approx(kg_h) and c.supply_c[0] == supply_c
    assert c.capacity_kg_h[15] == 0.0 and c.supply_c[15] == 20.0
    worn = plainest(
        heating={"supply_c": supply_c}, humidifier={"supply_rating_c": rating_c, "condition": 0.6}
    )
    assert course(worn, Minutes(1)).capacity_kg_h[0] == pytest.approx(0.6 * kg_h)


def test_a_continuous_fan_evaporates_less_without_heat():
    house = plainest(heating={"fan_continuous": True})
    c = course(house, Minutes(1))
    assert all(c.fan) and list(c.heat) == ([1] * 15 + [0] * 5) * 3
    assert c.capacity_kg_h[15] == pytest.approx(0.5 * plant.duct_share(20.0)) and c.supply_c[15] == 20.0
    assert list(c.may_run) == list(c.heat)
    house.settings = {"water_needs_heat": False}
    assert all(course(house, Minutes(1)).may_run)


def test_water_waits_for_the_fan_even_where_it_needs_no_heat():
    house = plainest()
    house.settings = {"water_needs_heat": False}
    c = course(house, Minutes(1))
    assert list(c.may_run) == list(c.fan) == list(c.heat)


# --- dials ----------------------------------------------------------------------------------------


def constant(value, c):
    return array("d", [value]) * c.n_steps


def test_run_shut_is_the_stepped_house_with_the_valve_shut():
    c = course(House(), swinging(400))
    trace = plant.run_shut(c)
    water, w = run(c, 0.0)
    assert list(trace.w_g_kg) == pytest.approx(w, rel=1e-12)
    assert trace.end.w_g_kg == pytest.approx(water.w_g_kg) and trace.end.phi_b_pct == pytest.approx(
        water.phi_b_pct
    )
    assert not any(trace.valve) and trace.end.evaporated_kg == 0.0


def test_a_dial_opens_below_and_shuts_at_its_setting():
    c = course(plainest(humidifier={"kg_h": 1.5}), Minutes(48))
    trace = plant.run_threshold(c, constant(30.0, c), constant(32.0, c))
    rh = plant.rh_series_pct(c, trace.w_g_kg)
    demand, opened = False, 0
    for k in range(c.n_steps):
        demand = rh[k] < 30.0 or (demand and rh[k] < 32.0)
        assert trace.valve[k] == (demand and c.heat[k])
        opened += trace.valve[k] > (trace.valve[k - 1] if k else 0)
    assert trace.valve_starts == opened > 5
    assert 29.0 < min(rh[DAY:]) and max(rh[DAY:]) < 33.0
    assert trace.end.open_h == pytest.approx(sum(trace.valve) / 60.0)
    assert trace.end.fed_kg == pytest.approx(13.0 * trace.end.open_h)


def test_a_dial_with_no_reading_stays_shut():
    c = course(plainest(sensors={"dropout": 1.0}), Minutes(24))
    trace = plant.run_threshold(c, constant(90.0, c), constant(90.0, c), Sensors(c.house, c, 1))
    assert not any(trace.valve)


def test_a_dial_that_reads_low_humidifies_more():
    house = plainest(humidifier={"kg_h": 1.5}, sensors={"rh_error_pct": -3.0})
    c = course(house, Minutes(96))
    true = plant.run_threshold(c, constant(30.0, c), constant(31.0, c))
    low = plant.run_threshold(c, constant(30.0, c), constant(31.0, c), Sensors(house, c, 1))
    more = mean_rh_pct(c, low.w_g_kg[2 * DAY :]) - mean_rh_pct(c, true.w_g_kg[2 * DAY :])
    assert more == pytest.approx(3.0, abs=0.3)


# --- balance, step size, seeds, directions --------------------------------------------------------


@pytest.mark.parametrize("nodes", [0, 1, 2])
@pytest.mark.parametrize("dt_s", [60, 300])
def test_the_water_balance_closes(nodes, dt_s):
    house = House({"buffer": {"nodes": nodes, "k": 1.75, "r": 14.0, "tau_b_h": 58.0}})
    c = course(house, swinging(24 * 40, dt_s), dt_s=dt_s)
    water = plant.Moisture(c)
    w0, phi0 = water.w_g_kg, water.phi_b_pct
    vented = gained = 0.0
    for k in range(c.n_steps):
        water.step(k, 1.0 if k % 7 < 3 else 0.0)
        vented += c.air_changes_per_h[k] * (water.mean_w_g_kg - c.outdoor_w_g_kg[k]) * dt_s / 3600.0 * 0.480
        gained += c.gain_kg_h[k] * dt_s / 3600.0
    # 480 kg of air; 1000 g a kg; the store holds 0.157 * 14 g/kg per % RH
    stored = 0.480 * (1.75 if nodes else 1.0) * (water.w_g_kg - w0)
    if nodes == 2:
        stored += 0.480 * 0.157 * 14.0 * (water.phi_b_pct - phi0)
    assert water.evaporated_kg > 10.0 and gained > 100.0
    assert gained + water.evaporated_kg - vented == pytest.approx(
        stored, abs=1e-6 * (gained + water.evaporated_kg)
    )


@pytest.mark.parametrize("nodes", [0, 1, 2])
def test_half_the_time_step_moves_the_mean_by_less_than_a_tenth_of_a_percent(nodes):
    house = House({"buffer": {"nodes": nodes}, "humidifier": {"kg_h": 0.8}})
    means = []
    for dt_s in (60, 30):
        c = course(house, swinging(24 * 60, dt_s), dt_s=dt_s)
        trace = plant.run_threshold(c, constant(28.0, c), constant(30.0, c))
        means.append(mean_rh_pct(c, trace.w_g_kg))
        assert trace.end.evaporated_kg > 20.0
    assert means[0] == pytest.approx(means[1], abs=0.1)


def test_gains_do_not_depend_on_the_time_step_or_the_start():
    totals = [
        sum(course(House(), Minutes(240, dt_s=d), dt_s=d).gain_kg_h) * d / 3600.0 for d in (30, 60, 300, 600)
    ]
    assert totals == pytest.approx([totals[0]] * 4, rel=1e-9)
    early, late = course(House(), Minutes(96)), course(House(), Minutes(48), start_s=MONDAY_S + 2 * 86400)
    assert list(early.gain_kg_h[2 * DAY : 4 * DAY]) == pytest.approx(list(late.gain_kg_h), abs=1e-9)


def test_the_same_seed_gives_the_same_winter_and_another_seed_another():
    first, again, other = (course(House(), swinging(240), seed) for seed in (5, 5, 6))
    for name in ("gain_kg_h", "indoor_c", "heat", "source_g_kg_h", "wet_w_g_kg"):
        assert getattr(first, name) == getattr(again, name)
    assert first.gain_kg_h != other.gain_kg_h
    assert first.indoor_c == other.indoor_c  # bursts carry water, not heat


@pytest.mark.parametrize("seed", [0, -1, 2**31, 2**40 + 3, 10**30])
def test_any_whole_number_is_a_seed(seed):
    chance = plant.Chance(seed)
    draws = [chance.share() for _ in range(2000)]
    assert 0.0 < min(draws) and max(draws) < 1.0
    assert fmean(draws) == pytest.approx(0.5, abs=0.03) and pstdev(draws) == pytest.approx(
        sqrt(1 / 12), abs=0.02
    )


def test_every_part_of_a_seed_counts():
    firsts = [
        plant.Chance(*parts).share() for parts in ((3,), (4,), (3 + 2**32,), (3, 1), (3, 0, 1), (3, 1, 1))
    ]
    assert len(set(firsts)) == 6


def test_normal_numbers_have_mean_0_and_sd_1():
    chance = plant.Chance(3)
    draws = [chance.normal() for _ in range(20000)]
    assert fmean(draws) == pytest.approx(0.0, abs=0.03) and pstdev(draws) == pytest.approx(1.0, abs=0.03)


WETTER = [
    ({"gains": {"people": 4}}, {"gains": {"people": 2}}),
    ({"gains": {"constant_kg_h": 0.2}}, {"gains": {"constant_kg_h": 0.1}}),
    ({"gains": {"people": 4, "bursts": True}}, {"gains": {"people": 4, "bursts": False}}),
    (
        {"gains": {"people": 4, "bursts": True, "extraction": 1.0}},
        {"gains": {"people": 4, "bursts": True, "extraction": 0.3}},
    ),
    ({"house": {"air_changes_per_h": 0.3}}, {"house": {"air_changes_per_h": 0.5}}),
    ({"house": {"volume_m3": 300.0}}, {"house": {"volume_m3": 500.0}}),
    ({"humidifier": {"kg_h": 0.9}}, {"humidifier": {"kg_h": 0.4}}),
    ({"heating": {"supply_c": 55.0}}, {"heating": {"supply_c": 40.0}}),
    ({"heating": {"ua_w_k": 220.0}}, {"heating": {"ua_w_k": 180.0}}),  # more heat, more fan
    ({"heating": {"free_heat_w": 0.0}}, {"heating": {"free_heat_w": 900.0}}),
    ({"humidifier": {"condition": 1.0}}, {"humidifier": {"condition": 0.5}}),
    ({"house": {"indoor_c": 19.0}}, {"house": {"indoor_c": 22.0}}),  # RH, at the same source nearly
]


@pytest.mark.parametrize("wet, dry", WETTER, ids=lambda case: " ".join(f"{k}:{v}" for k, v in case.items()))
def test_direction_of_each_part(wet, dry):
    means = []
    for changes in (wet, dry):
        c = course(plainest(**changes), Minutes(24 * 14))
        means.append(mean_rh_pct(c, run(c)[1]))
    assert means[0] > means[1] + 0.1


@pytest.mark.parametrize("outdoor_c", [-30.0, -10.0, 0.0, 10.0])
def test_colder_outside_wets_the_glass_sooner(outdoor_c):
    warm = course(plainest(), Minutes(1, outdoor_c=outdoor_c + 1.0))
    cold = course(plainest(), Minutes(1, outdoor_c=outdoor_c))
    poor = course(plainest(glass={"f_day": 0.45, "f_night": 0.45}), Minutes(1, outdoor_c=outdoor_c))
    assert poor.wet_w_g_kg[0] < cold.wet_w_g_kg[0] < warm.wet_w_g_kg[0]


def test_a_store_slows_the_house_both_ways():
    def after(hours, **buffer):
        c = course(plainest(buffer=buffer), Minutes(hours))
        return run(c, 0.0)[0].w_g_kg

    assert after(24, nodes=0) < after(24, nodes=1, k=2.0) < after(24, nodes=2, k=2.0, r=10.0, tau_b_h=20.0)
    assert after(24, nodes=2, k=2.0, r=10.0, tau_b_h=20.0) < after(24, nodes=2, k=2.0, r=20.0, tau_b_h=20.0)


def test_wind_and_cold_air_the_house():
    house = plainest(house={"air_change_model": "wind", "storeys": 2, "shelter": 3})

    def n(difference_k, wind_m_s):
        minutes = Minutes(1, outdoor_c=20.0 - difference_k, wind_m_s=wind_m_s)
        return course(house, minutes).air_changes_per_h[0]

    assert n(20.0, 4.0) == pytest.approx(0.4)
    assert n(40.0, 4.0) > n(20.0, 4.0) > n(5.0, 4.0)
    assert n(20.0, 9.0) > n(20.0, 4.0) > n(20.0, 0.0)
    assert n(0.0, 0.0) == 0.05
    assert n(-8.0, 3.0) == pytest.approx(n(8.0, 3.0))
    assert n(31.0, 6.5) == pytest.approx(plant.air_changes_per_h(0.4, 2, 3, 31.0, 6.5))


@pytest.mark.parametrize("dt_s", [0, -60, 3601, 60.0, float("nan")])
def test_impossible_steps_are_refused(dt_s):
    with pytest.raises(ValueError, match="dt_s"):
        plant.Course(House(), Minutes(1), 0, 1, dt_s)


def test_weather_shorter_than_a_step_is_refused():
    with pytest.raises(ValueError, match="shorter"):
        course(House(), Minutes(0))


@pytest.mark.parametrize("x", [0.0, 1e-9, 1e-4, 0.0499999, 0.0500001, 0.3, 2.0, 50.0])
def test_series_of_the_exact_step(x):
    # against Taylor's series to 60 terms in exact fractions, which converges for all of these
    from fractions import Fraction

    exact_x = Fraction(x)
    term, total, rest = Fraction(1), Fraction(0), Fraction(0)
    for i in range(1, 250):  # (1-e^-x)/x = sum (-x)^(i-1)/i!
        total += term
        term *= -exact_x / (i + 1)
        rest -= term / exact_x if exact_x else (Fraction(-1, 2) if i == 1 else 0)
    assert plant.decay(x) == pytest.approx(float(total), rel=1e-10)
    assert plant.remainder(x) == pytest.approx(float(rest), rel=1e-9)


# --- sensors --------------------------------------------------------------------------------------


def sensors(hours=24.0, seed=1, **knobs):
    house = plainest(sensors=knobs)
    c = course(house, Minutes(hours))
    return Sensors(house, c, seed), c


def test_exact_sensors_are_the_truth_itself():
    s, c = sensors()
    assert s.exact and s.indoor_c is c.indoor_c and s.outdoor_c is c.outdoor_c
    assert s.rh(3, 41.234) == 41.234


def test_offsets():
    s, _ = sensors(rh_error_pct=-2.0, indoor_error_k=0.3, outdoor_error_k=-0.5)
    assert s.rh(0, 40.0) == pytest.approx(38.0)
    assert s.indoor_c[5] == pytest.approx(20.3) and s.outdoor_c[5] == pytest.approx(-10.5)
    assert s.rh(1, 1.0) == 0.0 and sensors(rh_error_pct=5.0)[0].rh(0, 99.0) == 100.0


def test_lag_follows_by_1_minus_1_over_e_in_its_time():
    s, _ = sensors(lag_min=20.0)
    assert s.rh(0, 40.0) == 40.0  # settled at the start
    reads = [s.rh(k, 50.0) for k in range(1, 21)]
    assert reads[-1] == pytest.approx(50.0 - 10.0 * exp(-1.0), rel=1e-9)


def test_drift_grows_a_day_at_a_time():
    s, _ = sensors(72, drift_pct_per_day=-0.5)
    assert [s.rh(k, 40.0) for k in (0, DAY, 2 * DAY)] == pytest.approx([40.0, 39.5, 39.0])


def test_resolution_rounds_rh_and_a_tenth_as_many_kelvin():
    s, _ = sensors(resolution=0.5, indoor_error_k=0.13)
    assert [s.rh(0, 40.24), s.rh(1, 40.26), s.rh(2, 40.74)] == pytest.approx([40.0, 40.5, 40.5])
    assert s.indoor_c[0] == pytest.approx(20.15) and s.outdoor_c[0] == pytest.approx(-10.0)


def test_noise_has_its_sd_on_each_sensor_and_they_differ():
    s, c = sensors(24 * 14, noise=0.5)
    rh = [s.rh(k, 40.0) - 40.0 for k in range(c.n_steps)]
    indoor, outdoor = [t - 20.0 for t in s.indoor_c], [t + 10.0 for t in s.outdoor_c]
    for errors, sd in ((rh, 0.5), (indoor, 0.05), (outdoor, 0.05)):
        assert pstdev(errors) == pytest.approx(sd, rel=0.03) and abs(fmean(errors)) < 0.03 * sd
    for a, b in ((rh, indoor), (indoor, outdoor), (rh, outdoor)):
        assert abs(fmean(x * y for x, y in zip(a, b))) < 0.05 * pstdev(a) * pstdev(b)


def test_dropout_loses_its_share_of_readings():
    s, c = sensors(24 * 14, dropout=0.2)
    assert fmean(isnan(s.rh(k, 40.0)) for k in range(c.n_steps)) == pytest.approx(0.2, abs=0.01)
    for column in (s.indoor_c, s.outdoor_c):
        assert fmean(map(isnan, column)) == pytest.approx(0.2, abs=0.01)
    assert s.rh(0, 40.0) == 40.0 or isnan(s.rh(0, 40.0))


def test_readings_repeat_with_the_seed():
    def read(seed):
        s, c = sensors(4, seed, noise=1.0, dropout=0.1, lag_min=3.0, resolution=0.1)
        return repr([s.rh(k, 40.0 + k % 5) for k in range(c.n_steps)]), repr(s.indoor_c)

    assert read(1) == read(1)
    assert read(1)[0] != read(2)[0] and read(1)[1] != read(2)[1]


# --- the other interpreter ------------------------------------------------------------------------

SCRIPT = """
import sys, json
sys.path[:0] = {paths!r}
from array import array
from dewsim import plant
from dewsim.sensors import Sensors

class Part:
    pass

def part(values):
    new = Part()
    for name in values:
        value = values[name]
        setattr(new, name, part(value) if isinstance(value, dict) and name != "settings" else value)
    return new

house = part(json.loads({house!r}))
n = 1000
minutes = part(dict(
    n_steps=n,
    outdoor_c=array("d", [-8.0 + (k * 37 % 100) / 50.0 for k in range(n)]),
    outdoor_w_g_kg=array("d", [1.5 + (k * 11 % 90) / 100.0 for k in range(n)]),
    wind_m_s=array("d", [(k * 7 % 80) / 10.0 for k in range(n)]),
))
c = plant.Course(house, minutes, 1700000000, 12345678901)
sensors = Sensors(house, c, 9)
dial = plant.run_threshold(c, array("d", [41.0] * n), array("d", [43.0] * n), sensors)
shut = plant.run_shut(c)
out = [sum(dial.valve), dial.valve_starts, dial.end.evaporated_kg, dial.end.phi_b_pct, dial.end.pad_kg_h]
for column in (dial.w_g_kg, shut.w_g_kg, c.gain_kg_h, c.indoor_c, c.wet_w_g_kg, sensors.indoor_c):
    out += [column[k] for k in range(0, n, 10)]
print("[" + ", ".join([repr(x) for x in out]) + "]")
"""


def micropython():
    """Path of the interpreter; the test fails where there is none, it does not pass silently."""
    given = os.environ.get("DEWMARGIN_MICROPYTHON")
    beside = Path(sys.executable).with_name("micropython")
    found = given or (str(beside) if beside.exists() else shutil.which("micropython"))
    assert found, "no micropython: install the test group, or name one in DEWMARGIN_MICROPYTHON"
    return found


def test_micropython_steps_the_same_house(tmp_path):
    house = House(
        {
            "heating": {"fan_continuous": True, "thermal_time_h": 5.0},
            "sensors": {"noise": 0.3, "resolution": 0.1, "lag_min": 4.0, "drift_pct_per_day": 0.1},
        }
    )
    values = {
        section: {k: v for k, v in vars(getattr(house, section)).items() if k[0] != "_"}
        for section in SECTIONS
    }
    values["settings"] = {"water_needs_heat": False}
    script = tmp_path / "steps.py"
    paths = [str(ROOT / "shared"), str(ROOT / "sim")]
    script.write_text(SCRIPT.format(paths=paths, house=json.dumps(values)))
    answers = []
    for interpreter in (sys.executable, micropython()):
        done = subprocess.run(
            [interpreter, str(script)], check=False, capture_output=True, text=True, timeout=60
        )
        assert done.returncode == 0, done.stderr
        answers.append(json.loads(done.stdout))
    here, there = answers
    assert len(here) == 605 and 100 < here[0] < 1000
    assert there == pytest.approx(here, rel=1e-9, abs=1e-9)


def test_plant_imports_nothing_but_math_array_and_dewcore():
    lines = Path(plant.__file__).read_text(encoding="utf-8").splitlines()
    imports = [line.split()[1].split(".")[0] for line in lines if line.startswith(("import ", "from "))]
    assert sorted(set(imports)) == ["array", "dewcore", "math"]
