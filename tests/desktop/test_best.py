"""The clairvoyant controller: its definition on cases worked by hand, and its promises on drawn houses."""

import math
from array import array
from itertools import product
from pathlib import Path
from random import Random
from types import SimpleNamespace

import pytest

from dewsim import best, metrics, plant, policies, sampler, weather
from dewsim.housefile import House

WINTER = Path(__file__).resolve().parents[1] / "reference" / "weather" / "723170TYA.CSV.gz"
START_PCT = 30.0
SAT_G_KG = 14.7  # at about 20 °C
FREE = math.inf


class Still:
    """A course whose columns are constant unless given: 20 °C, outdoor air without water, water whenever asked for.

    store: (rate [g/kg/h per % RH], share of the difference a step); pad_min [min]; dry_per_h the rate of return.
    """

    def __init__(self, limits, dry_per_h=0.5, capacity_kg_h=1.0, store=(0.0, 0.0), pad_min=0.0, may_run=None):
        n = self.n_steps = len(limits)
        self.dt_s, self.dt_h, self.pressure_pa = 60, 1.0 / 60.0, 101325.0
        x = dry_per_h * self.dt_h
        self.indoor_c = array("d", [20.0] * n)
        self.sat_w_g_kg = array("d", [SAT_G_KG] * n)
        self.dry_per_h = array("d", [dry_per_h] * n)
        self.push_h = array("d", [self.dt_h * plant.decay(x)] * n)
        self.mean_h = array("d", [self.dt_h * plant.remainder(x)] * n)
        self.source_g_kg_h = array("d", bytes(8 * n))
        self.capacity_kg_h = array("d", [capacity_kg_h] * n)
        self.fan = self.may_run = array("b", may_run or [1] * n)
        self.kg_to_rate = 2.0
        self.store_rate, self.store_share = store
        self.pad_keep = math.exp(-1.0 / pad_min) if pad_min else 0.0
        self.pad_mean = plant.decay(1.0 / pad_min) if pad_min else 0.0
        self.water_kg_h = 12.0
        self.house = SimpleNamespace(humidifier=SimpleNamespace(pad_min=pad_min))
        self.wet_w_g_kg = array("d", [FREE] * n)
        shut = policies.run_shut(self, START_PCT).w_g_kg
        self.wet_w_g_kg = array("d", [s + limit for s, limit in zip(shut, limits)])


def uncapped(course):
    return array("d", [FREE]) * course.n_steps


def best_of(course, caps_pct=None, start_pct=START_PCT, **more):
    """(excess e, the Run, the shut Run) of a course."""
    shut = policies.run_shut(course, start_pct)
    run = best.run_best(course, caps_pct or uncapped(course), shut, start_pct, **more)
    return [w - s for w, s in zip(run.w_g_kg, shut.w_g_kg)], run, shut


def part(days: float, start_day: float = 76.0):
    """Days of the reference winter, from mid December on, in which it is cold."""
    sky = weather.winter(weather.read(WINTER))
    first, samples = (int(x * 86400) // sky.step_s for x in (start_day, days))
    return weather.part_of(sky, first, first + samples + 1, sky.start_utc_s + first * sky.step_s, "part")


@pytest.fixture(scope="module")
def sky():
    return part(8.0)


def drawn(sky, index: int, **changes):
    """House `index` of draw 7 through the sky; changes by section."""
    house = sampler.draw(7, index, -12.0)
    for section, values in changes.items():
        for name, value in values.items():
            setattr(getattr(house, section), name, value)
    return plant.Course(house, weather.states(sky), sky.start_utc_s + sky.utc_offset_s, 7_000_021 + index)


def capped(course):
    return policies.slow_caps_pct(course, policies.settings_for(course.house, "house", exact=True))


def test_before_a_step_in_the_limit_the_excess_lies_on_the_decay_that_ends_in_it():
    # One node, 1/h of return 0.5, no pad: with the valve shut e halves in ln 2 / 0.5 h. The limit is 3 g/kg until
    # minute 180 and 2 g/kg from there on, so the highest excess is 2 exp(0.5 t) g/kg t hours before minute 180,
    # which meets 3 g/kg at t = ln 1.5 / 0.5 = 0.811 h = 48.7 minutes: a knee between minutes 131 and 132.
    # 40 kg/h at 2 g/kg per kg/h and hour raise e by up to 1.3 g/kg a minute, 2.6 in two: past the first three minutes
    # the capacity never binds.
    e, run, _ = best_of(Still([3.0] * 180 + [2.0] * 60, capacity_kg_h=40.0))
    for k in range(3, 240):
        highest = 2.0 if k >= 180 else min(3.0, 2.0 * math.exp(0.5 * (180 - k) / 60.0))
        assert e[k] == pytest.approx(highest, abs=2e-7) and e[k] < highest, k
    shares = run.valve_share
    assert not any(shares[132:180]) and all(shares[131:132]) and 0.0 < shares[131] < shares[130]
    # Sliding along 2 g/kg takes what the return takes: 0.5 * 2 = 1 g/kg/h = 80 g/kg/h * 1/80.
    assert shares[200] == pytest.approx(1.0 / 80.0, rel=1e-3)


def test_with_little_capacity_the_valve_is_simply_open():
    # 1 kg/h raises e towards 2 * 1 / 0.5 = 4 g/kg: e = 4 (1 - exp(-0.5 t)), after 2 h 2.528 g/kg.
    e, run, _ = best_of(Still([5.0] * 121))
    assert e[120] == pytest.approx(4.0 * (1.0 - math.exp(-1.0)), rel=1e-9)
    assert list(run.valve_share) == [1.0] * 120 + [0.0]
    assert run.valve_starts == 1 and run.end.open_h == pytest.approx(2.0)
    assert run.end.evaporated_kg == pytest.approx(2.0) and run.end.fed_kg == pytest.approx(24.0)
    assert run.valve[0] / run.scans_per_step == 1.0


def test_what_the_pad_still_holds_is_reckoned_with():
    # Pad of 5 min, capacity 60 kg/h: one open minute leaves 60 (1 - exp(-1/5)) = 10.9 kg/h in the pad, so 10.9 * 5/60 =
    # 0.91 kg still to come, at 2 g/kg each kg 1.81 g/kg, after 60 (1 - 0.906)/60 * 2 = 0.19 g/kg in that minute: 2.00
    # without any loss. So the valve is as good as closed from the second minute on, and e comes to rest on the limit
    # of 2 g/kg only some four pad times later.
    e, run, _ = best_of(Still([2.0] * 240, capacity_kg_h=60.0, pad_min=5.0))
    assert max(e) < 2.0
    assert e[1] == pytest.approx(0.19, abs=0.005) and run.valve_share[0] == 1.0 and max(run.valve_share[2:12]) < 0.01
    assert e[4] < 1.2 and min(e[22:]) > 2.0 - 2 * best.GIVEN_G_KG  # sliding from there on


def test_without_fan_it_is_the_shut_house():
    course = Still([3.0] * 200, may_run=[0] * 200)
    e, run, shut = best_of(course)
    assert max(map(abs, e)) < 1e-12
    assert run.end.open_h == 0.0 and run.valve_starts == 0 and not any(run.valve_share)


def test_while_the_shut_house_is_wet_there_is_no_limit_and_beside_it_only_an_exempt_step_has_none():
    limits = [2.0] * 100 + [-0.1] * 50 + [2.0] * 100  # wet by itself from 100 to 149
    course = Still(limits, capacity_kg_h=40.0)
    e, run, shut = best_of(course)
    assert policies.added_wet_minutes(course, run.w_g_kg, shut.w_g_kg) == 0
    # from 2 g/kg at minute 150 backwards: 2 exp(0.5 t), so 2.98 g/kg at minute 102
    assert e[102] == pytest.approx(2.0 * math.exp(0.5 * 48 / 60), abs=1e-5)
    assert e[99] < 2.0
    exempt = best.beside_wet(course, shut.w_g_kg)
    assert [k for k in range(250) if exempt[k]] == list(range(40, 210))
    e, run, _ = best_of(course, exempt=exempt)
    assert best.added_wet_minutes(course, run.w_g_kg, shut.w_g_kg, exempt) == 0
    assert policies.added_wet_minutes(course, run.w_g_kg, shut.w_g_kg) > 0
    assert e[210] < 2.0 < e[209]


def test_steps_within_two_percent_of_wetting_are_exempt_too():
    wet, shut = [10.0] * 6, [9.7, 9.79, 9.81, 9.9, 9.7, 9.0]
    course = SimpleNamespace(n_steps=6, dt_s=60, wet_w_g_kg=array("d", wet))
    assert list(best.beside_wet(course, array("d", shut))) == [0, 0, 1, 1, 0, 0]
    exempt = bytearray([0, 0, 1, 1, 0, 0])
    w = array("d", [11.0, 10.0, 10.5, 9.9, 9.9, 12.0])  # the start does not count; steps 1 and 5 are wet and count
    assert best.added_wet_minutes(course, w, array("d", shut), exempt) == 2


def test_two_nodes_against_every_sequence_of_valve_shares_on_a_short_horizon():
    # 5 decisions of 10 minutes each in tenths (161051 sequences), then the valve stays shut for an hour. The limit
    # falls once. No feasible sequence may reach a higher mean than `best`, which decides each minute, by more than 1 %.
    limits = [2.2] * 60 + [1.5] * 51
    store = (0.05, 1.0 / 60.0 / 3.0)
    course = Still(limits, dry_per_h=1.0, capacity_kg_h=3.0, store=store, may_run=[1] * 50 + [0] * 61)
    e, run, shut = best_of(course)
    assert policies.added_wet_minutes(course, run.w_g_kg, shut.w_g_kg) == 0
    answers = []  # e of a valve wholly open in one of the decisions alone; e of any sequence is their sum
    for decision in range(5):
        house = plant.Moisture(course, START_PCT)
        out = []
        for k in range(110):
            out.append(house.w_g_kg - shut.w_g_kg[k])
            house.step(k, 1.0 if k // 10 == decision else 0.0)
        out.append(house.w_g_kg - shut.w_g_kg[110])
        answers.append(out)
    looked_at = (10, 20, 30, 40, 50, 60)  # e rises or falls all through a decision: its ends are enough
    limit = best.limits_g_kg(course, shut.w_g_kg)
    means = [sum(out) for out in answers]
    at = [[out[k] for out in answers] for k in looked_at]
    highest = 0.0
    for shares in product([x / 10 for x in range(11)], repeat=5):
        if all(sum(map(float.__mul__, shares, row)) <= limit[k] for k, row in zip(looked_at, at)):
            highest = max(highest, sum(map(float.__mul__, shares, means)))
    assert sum(e) >= 0.99 * highest > 0.0
    assert max(a / b for a, b in zip(e[1:], limit[1:])) > 0.99  # the limit counts here


def test_each_share_below_one_ends_on_the_limit_if_the_valve_stays_shut_from_then_on(sky):
    """By definition, on real houses with store and pad: try it out.  Nearer would be wet, farther would give away."""
    tried = 0
    for index in range(40):
        course = drawn(sky, index)
        if not course.two_nodes:
            continue
        _, run, shut = best_of(course)
        limits = best.limits_g_kg(course, shut.w_g_kg)
        held_back = [k for k in range(course.n_steps - 1) if 0.0 < run.valve_share[k] < 1.0]
        for k in Random(index).sample(held_back, min(4, len(held_back))):
            room = least_room(course, run, shut, limits, k)
            assert 0.0 <= room + 1e-9 and room <= best.GIVEN_G_KG + 1e-9, (index, k)
            tried += 1
    assert tried >= 15


def least_room(course, run, shut, limits, k: int) -> float:
    """How near the limit a house comes that follows the run up to and with step k and stays shut afterwards."""
    house = plant.Moisture(course, START_PCT)
    for i in range(k + 1):
        house.step(i, run.valve_share[i])
    least = limits[k + 1] - house.w_g_kg + shut.w_g_kg[k + 1]
    for i in range(k + 1, course.n_steps - 1):
        house.step(i, 0.0)
        least = min(least, limits[i + 1] - house.w_g_kg + shut.w_g_kg[i + 1])
    return least


def test_twenty_drawn_houses_add_no_wet_minute_keep_the_caps_and_open_only_where_water_is_allowed(sky):
    at_limit = at_cap = seen = index = 0
    while seen < 20:
        course = drawn(sky, index)
        index += 1
        shut = policies.run_shut(course, START_PCT)
        if metrics.headroom_class(metrics.headroom(course, shut.w_g_kg)) == "foggy":
            continue
        seen += 1
        limits = best.limits_g_kg(course, shut.w_g_kg)
        for caps in (capped(course), uncapped(course)):
            run = best.run_best(course, caps, shut, START_PCT)
            assert policies.added_wet_minutes(course, run.w_g_kg, shut.w_g_kg) == 0, index
            again = plant.Moisture(course, START_PCT)
            for k in range(course.n_steps - 1):
                share = run.valve_share[k]
                assert again.w_g_kg == run.w_g_kg[k]  # the house model's own arithmetic
                again.step(k, share)
                if share:
                    assert 0.0 < share <= 1.0 and course.may_run[k] and caps[k] > 0.0
                    assert again.rh_pct(k + 1) <= caps[k + 1], (index, k)
                    at_cap += again.rh_pct(k + 1) > caps[k + 1] - 1e-6
            assert again.w_g_kg == run.w_g_kg[-1] == run.end.w_g_kg
            assert again.evaporated_kg == run.end.evaporated_kg
            reach = best.reach_of(course, best.cap_w_g_kg(course, caps), shut.w_g_kg, limits)
            assert all(w - s <= e + 1e-9 for w, s, e in zip(run.w_g_kg, shut.w_g_kg, reach.e)), index
            room = min(wet - w for wet, w in zip(course.wet_w_g_kg[1:], run.w_g_kg[1:]))
            at_limit += room < 2 * best.GIVEN_G_KG
    assert at_limit >= 5 and at_cap >= 1000  # neither would mean anything otherwise


def test_no_water_while_the_season_is_over():
    course = Still([3.0] * 200)
    caps = array("d", [45.0] * 100 + [0.0] * 50 + [45.0] * 50)
    _, run, _ = best_of(course, caps)
    # step 99 ends under the cap of column 100, which is 0; step 149 begins under it
    assert all(run.valve_share[:99]) and not any(run.valve_share[99:150]) and all(run.valve_share[150:199])


def test_more_room_or_more_humidifier_never_lowers_the_mean(sky):
    for index in (0, 1, 2, 3, 5, 8):
        means = []
        for factor, more in ((1.0, 0.0), (1.0, 0.3), (1.4, 0.0)):
            course = drawn(sky, index)
            course.wet_w_g_kg = array("d", [wet + more for wet in course.wet_w_g_kg])
            course.capacity_kg_h = array("d", [factor * x for x in course.capacity_kg_h])
            means.append(sum(best_of(course)[0]) / course.n_steps)
        base, roomier, stronger = means
        assert base > 0.0 and roomier >= base - 1e-9 and stronger >= base - best.GIVEN_G_KG, (index, means)


def test_one_node_without_pad_lag_lies_nowhere_under_any_feasible_policy(sky):
    rng = Random(5)
    scaled = 0
    for index in (1, 4):
        changes = {"buffer": {"nodes": 1, "k": 2.0}, "glass": {"f_day": 0.45, "f_night": 0.40}}
        course = drawn(sky, index, humidifier={"pad_min": 0.0, "kg_h": 3.0}, **changes)
        e, _, shut = best_of(course)
        limits = best.limits_g_kg(course, shut.w_g_kg)
        n = course.n_steps
        touched = sum(1 for x, limit in zip(e[1:], limits[1:]) if x > limit - 1e-6)
        assert touched > 20
        for policy in range(12):
            switch = rng.choice((3, 60, 700))
            house = plant.Moisture(course, START_PCT)
            share, other = 0.0, [0.0]
            for k in range(n - 1):
                if rng.randrange(switch) == 0:
                    share = rng.choice((0.0, 1.0, rng.random()))
                house.step(k, share if course.may_run[k] else 0.0)
                other.append(house.w_g_kg - shut.w_g_kg[k + 1])
            # e is linear in the shares: scaled by this the policy adds no wet step
            scale = min([1.0] + [limit / x for x, limit in zip(other[1:], limits[1:]) if x > 0.0])
            scaled += scale < 1.0
            assert all(scale * x <= y + 2e-7 for x, y in zip(other, e)), (index, policy)
    assert scaled >= 12  # of 24: those that without it would have made glass wet


def test_the_bound_of_the_gain_is_no_less_than_the_gain_and_near_it_where_the_glass_is_far(sky):
    for index in (0, 2, 3, 5, 9):
        course = drawn(sky, index)
        caps = capped(course)
        _, run, shut = best_of(course, caps)
        mask = metrics.season_mask(course)
        rh, shut_rh = (plant.rh_series_pct(course, x.w_g_kg) for x in (run, shut))
        gains = [a - b for a, b, counts in zip(rh, shut_rh, mask) if counts]
        gain = sum(gains) / len(gains)
        bound = best.gain_bound(course, caps, shut, START_PCT, mask)
        assert gain - 1e-9 <= bound <= gain + 1.0, index
        assert best.gain_bound(course, caps, shut, START_PCT, bytearray(course.n_steps)) is None


def test_with_the_glass_out_of_reach_the_bound_is_the_gain():
    course = Still([FREE] * 600)
    _, run, shut = best_of(course)
    rh, shut_rh = (plant.rh_series_pct(course, x.w_g_kg) for x in (run, shut))
    gain = sum(a - b for a, b in zip(rh, shut_rh)) / 600
    assert best.gain_bound(course, uncapped(course), shut, START_PCT, b"\x01" * 600) == pytest.approx(gain, rel=1e-9)


def test_a_policy_block_counts_its_starts_hours_and_water():
    house = House({"humidifier": {"pad_min": 0.0}})
    minutes = SimpleNamespace(
        n_steps=1441,
        outdoor_c=array("d", [0.0] * 1441),
        outdoor_w_g_kg=array("d", [2.0] * 1441),
        wind_m_s=array("d", [3.0] * 1441),
    )
    course = plant.Course(house, minutes, 1_006_905_600, 1)
    caps = array("d", [35.0] * 1441)
    _, run, shut = best_of(course, caps)
    block = metrics.policy_block(course, run, shut, metrics.season_mask(course), caps, house)
    starts = sum(1 for a, b in zip([0.0, *run.valve_share], run.valve_share) if b and not a)
    assert block["valve_starts"] == starts > 0
    assert block["valve_hours"] == pytest.approx(sum(run.valve_share) / 60.0, abs=1e-4)
    assert sum(run.valve) / run.scans_per_step / 60.0 == pytest.approx(block["valve_hours"], abs=0.1)
    water = sum(share * kg_h for share, kg_h in zip(run.valve_share, course.capacity_kg_h)) / 60.0
    assert block["water_evaporated_litres"] == pytest.approx(water, abs=1e-3)
    assert block["added_wet_minutes"] == 0 and "binds" not in block


def test_share_of_best():
    def block(mean):
        return {"mean_rh_pct": mean}

    share = best.share_of_best_pct
    assert share(block(33.0), block(30.0), block(36.0), "clear") == pytest.approx(50.0)
    assert share(block(30.0), block(30.0), block(34.0), "tight") == 0.0  # 4 % is enough
    assert share(block(33.0), block(30.0), block(33.99), "clear") is None
    assert share(block(33.0), block(30.0), block(36.0), "foggy") is None
    assert share(block(None), block(None), block(None), "clear") is None


def test_another_start_than_the_shut_house_is_refused():
    course = Still([3.0] * 10)
    shut = policies.run_shut(course, START_PCT)
    for call in (
        lambda: best.run_best(course, uncapped(course), shut, 31.0),
        lambda: best.gain_bound(course, uncapped(course), shut, 31.0, b"\x01" * 10),
    ):
        with pytest.raises(ValueError, match="another humidity"):
            call()


def test_progress_goes_up_from_zero_to_one(sky):
    told = []
    best_of(drawn(sky, 0), progress=told.append)
    assert told == sorted(told) and 0.0 <= told[0] and told[-1] <= 1.0 and len(told) >= 14
