"""Random houses: each distribution inside its range and spread over it, each house repeatable by itself."""

from math import exp, log
from statistics import fmean

import pytest

from dewsim import sampler
from dewsim.housefile import House, dump, loads

N = 3000
COLDEST_C = -22.0
PIN = (630.6550393841421, 0.5392171816245258)


@pytest.fixture(scope="module")
def houses():
    return [sampler.draw(1, i, COLDEST_C) for i in range(N)]


def two_nodes(house):
    return house.buffer.nodes == 2


def one_node(house):
    return house.buffer.nodes == 1


def set_back(house):
    return house.house.setback_k > 0.0


def any_house(house):
    return True


UNIFORM = [  # which houses, what, lo, hi of the uniform distributions
    (any_house, lambda h: h.house.volume_m3, 200.0, 900.0),
    (any_house, lambda h: log(h.house.air_changes_per_h), log(0.15), log(1.2)),
    (two_nodes, lambda h: h.buffer.k, 1.0, 2.5),
    (two_nodes, lambda h: h.buffer.r, 4.0, 25.0),
    (two_nodes, lambda h: h.buffer.tau_b_h, 20.0, 96.0),
    (one_node, lambda h: h.buffer.k, 1.5, 6.0),
    (any_house, lambda h: h.heating.ua_w_k / (60.0 + 0.35 * h.house.volume_m3), 0.7, 1.3),
    (any_house, lambda h: 1000.0 * h.heating.furnace_kw / h.heating.ua_w_k / (21.0 - COLDEST_C), 1.3, 2.0),
    (any_house, lambda h: h.heating.free_heat_w, 300.0, 900.0),
    (any_house, lambda h: h.heating.thermal_time_h, 20.0, 60.0),
    (any_house, lambda h: h.house.indoor_c, 19.0, 22.5),
    (set_back, lambda h: h.house.setback_k, 1.5, 4.0),
    (any_house, lambda h: h.glass.f_day, 0.40, 0.75),
    (any_house, lambda h: h.humidifier.kg_h, 0.2, 1.2),
    (any_house, lambda h: h.humidifier.pad_min, 3.0, 10.0),
    (any_house, lambda h: h.gains.extraction, 0.3, 1.0),
]


@pytest.mark.parametrize("row", range(len(UNIFORM)))
def test_uniform_between_its_bounds(houses, row):
    which, what, lo, hi = UNIFORM[row]
    places = [(what(h) - lo) / (hi - lo) for h in houses if which(h)]
    assert len(places) > 1000
    assert -1e-9 <= min(places) < 0.01 and 0.99 < max(places) <= 1.0 + 1e-9
    for tenth in range(10):  # sd of a tenth's share of 1000 or more is at most 0.0095
        assert fmean(0.1 * tenth <= p < 0.1 * (tenth + 1) for p in places) == pytest.approx(0.1, abs=0.035)


@pytest.mark.parametrize(
    "what, share",
    [
        (two_nodes, 0.6),
        (one_node, 0.4),
        (lambda h: h.house.air_change_model == "wind", 0.6),
        (set_back, 0.5),
        *[(lambda h, n=n: h.gains.people == n, 0.2) for n in range(1, 6)],
    ],
    ids=["two nodes", "one node", "wind", "set back", *[f"{n} people" for n in range(1, 6)]],
)
def test_chances(houses, what, share):
    assert fmean(what(h) for h in houses) == pytest.approx(share, abs=0.03)


def test_glass_at_night(houses):
    steps = [0.0, 0.0, 0.0, 0.0]
    for h in houses:
        if h.glass.f_day >= 0.48 + 1e-9:
            step = round((h.glass.f_day - h.glass.f_night) / 0.05)
            assert h.glass.f_night == pytest.approx(h.glass.f_day - 0.05 * step)
            steps[step] += 1
        else:
            assert h.glass.f_night >= 0.33
    assert min(steps) / sum(steps) > 0.22
    assert any(h.glass.f_night == 0.33 for h in houses)
    assert {(h.glass.curtains_from, h.glass.curtains_to) for h in houses} == {("18:30", "07:30")}


def test_parts_are_drawn_independently(houses):
    columns = [[what(h) for h in houses] for which, what, _, _ in UNIFORM if which is any_house]
    columns.append([h.buffer.nodes for h in houses])
    columns.append([h.gains.people for h in houses])
    for i, a in enumerate(columns):
        for b in columns[:i]:
            am, bm = fmean(a), fmean(b)
            cov = fmean((x - am) * (y - bm) for x, y in zip(a, b))
            sd2 = fmean((x - am) ** 2 for x in a) * fmean((y - bm) ** 2 for y in b)
            assert cov * cov / sd2 < 0.08**2


def test_a_house_depends_on_seed_and_index_alone(houses):
    assert sampler.draw(1, 17, COLDEST_C) == houses[17]
    assert sampler.draw(2, 17, COLDEST_C) != houses[17]
    assert sampler.draw(1, 18, COLDEST_C) != houses[17]
    colder = sampler.draw(1, 17, COLDEST_C - 10.0)
    assert colder.heating.furnace_kw > houses[17].heating.furnace_kw
    colder.heating.furnace_kw = houses[17].heating.furnace_kw
    assert colder == houses[17]


def test_the_first_house_stays_as_it_is():
    # Regression pin, made by this code itself: figures published for a draw must stay reproducible.
    house = sampler.draw(1, 0, -20.0)
    assert (house.house.volume_m3, house.glass.f_day) == pytest.approx(PIN, rel=1e-12)


def test_drawn_houses_are_valid_house_files(houses):
    for house in houses[:200]:
        assert loads(dump(house).encode(), "drawn") == house
        assert house.sensors == House().sensors


def test_a_mild_winter_still_has_a_furnace():
    assert sampler.draw(1, 3, 20.5).heating.furnace_kw == 1.0


def test_errors_stay_inside_their_tolerances_and_fill_them(houses):
    drawn = [sampler.with_errors(h, 1, i).sensors for i, h in enumerate(houses)]
    for error, tolerance in (
        ("rh_error_pct", 2.0),
        ("indoor_error_k", 0.3),
        ("outdoor_error_k", 0.5),
        ("f_error", 0.03),
    ):
        places = [getattr(s, error) / tolerance for s in drawn]
        assert -1.0 <= min(places) < -0.98 and 0.98 < max(places) <= 1.0
        assert fmean(places) == pytest.approx(0.0, abs=0.05)
    assert houses[0].sensors == House().sensors
    assert sampler.with_errors(houses[5], 1, 5) == sampler.with_errors(houses[5], 1, 5)
    assert sampler.with_errors(houses[5], 1, 5) != sampler.with_errors(houses[5], 2, 5)


def test_coldest_percentile():
    # 0.5 % of the way through 0..200 in 201 values: 1.0; through two values -10, 10: -10 + 0.005 * 20
    assert sampler.coldest_c(range(200, -1, -1)) == pytest.approx(1.0)
    assert sampler.coldest_c([10.0, -10.0]) == pytest.approx(-9.9)
    assert sampler.coldest_c([3.0]) == 3.0


def test_air_changes_are_log_uniform(houses):
    below = fmean(h.house.air_changes_per_h < exp(0.5 * (log(0.15) + log(1.2))) for h in houses)
    assert below == pytest.approx(0.5, abs=0.03)
