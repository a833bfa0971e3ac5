"""What a winter's figures count, on columns short enough to count by hand."""

from array import array
from types import SimpleNamespace

import pytest

from dewcore.ceiling import BINDS_CORNER, BINDS_GLASS, BINDS_OUTLOOK, BINDS_OWNER
from dewsim import metrics
from dewsim.housefile import House


def course_of(outdoor_c, wet_w_g_kg=None, dt_s=3600):
    """Columns as a Course has them: 20 °C indoors, where the saturated air holds 14.7 g/kg."""
    n = len(outdoor_c)
    return SimpleNamespace(
        n_steps=n,
        dt_s=dt_s,
        outdoor_c=array("d", outdoor_c),
        indoor_c=array("d", [20.0] * n),
        sat_w_g_kg=array("d", [14.7] * n),
        wet_w_g_kg=array("d", wet_w_g_kg or [8.0] * n),
    )


def test_the_season_is_the_mean_of_the_last_24_hours_and_begins_after_the_first_step():
    # 24 h of 10 °C, then 14 °C: after n such hours the mean is 10 + 4 n / 24, which reaches 12 at the 12th
    mask = metrics.season_mask(course_of([10.0] * 24 + [14.0] * 30))
    assert list(mask) == [0] + [1] * 23 + [1] * 11 + [0] * 19
    # one hour of -30 °C lowers the mean of 24 h of 13 °C to 13 - 43 / 24 = 11.2 for exactly 24 h
    mask = metrics.season_mask(course_of([13.0] * 30 + [-30.0] + [13.0] * 30))
    assert list(mask) == [0] * 30 + [1] * 24 + [0] * 7


def test_wet_minutes_compare_air_and_glass_of_one_moment_and_leave_out_the_start():
    wet = [5.0, 5.0, 9.0, 5.0, 9.0, 5.0]
    w = array("d", [6.0, 4.0, 4.0, 5.0, 6.0, 4.0])  # at the wetting point in step 3 alone
    assert metrics.wet_minutes(course_of([0.0] * 6, wet), w) == 60
    assert metrics.wet_minutes(course_of([0.0] * 6, wet, dt_s=60), w) == 1
    later = array("d", [4.0, 4.0, 9.5, 4.0, 9.5, 4.0])
    assert metrics.wet_minutes(course_of([0.0] * 6, wet), later) == 120


def test_headroom_is_the_highest_share_of_the_wetting_ratio():
    course = course_of([0.0] * 4, [1.0, 8.0, 10.0, 8.0])
    assert metrics.headroom(course, array("d", [5.0, 4.0, 7.0, 2.0])) == pytest.approx(0.7)


@pytest.mark.parametrize("wet_w_g_kg", [0.0, -1.0])
def test_a_room_that_wets_its_glass_by_itself_is_foggy(wet_w_g_kg):
    ratio = metrics.headroom(course_of([0.0] * 3, [8.0, 8.0, wet_w_g_kg]), array("d", [1.0] * 3))
    assert metrics.headroom_class(ratio) == "foggy"


def test_the_classes_meet_at_90_and_100_percent():
    found = [metrics.headroom_class(ratio) for ratio in (0.0, 0.9, 0.901, 0.999, 1.0, 1.5)]
    assert found == ["clear", "clear", "tight", "tight", "foggy", "foggy"]


def test_hourly_means_are_of_whole_hours():
    assert metrics.hourly_means(array("d", [1.0, 3.0, 5.0, 9.0, 4.0]), 1800) == [2.0, 7.0]


def run_of(w_g_kg, **more):
    end = SimpleNamespace(open_h=1.5, evaporated_kg=2.5, fed_kg=7.5)
    return SimpleNamespace(
        w_g_kg=array("d", w_g_kg), valve_starts=3, end=end, decided=False, setting_pct=None, **more
    )


def test_a_policys_figures_count_hours_of_the_season_alone():
    # RH is 100 w (621.945 + 14.7) / (14.7 (621.945 + w)): 2.94 g/kg is 20.4 %, 5.88 g/kg 40.6 %, 11.76 g/kg 80.4 %
    course = course_of([0.0] * 48, [10.0] * 48, dt_s=1800)
    w = [2.94] * 12 + [5.88] * 12 + [11.76] * 24
    mask = bytearray([1] * 24 + [0] * 24)
    shut = run_of([2.94] * 48)
    caps = array("d", [30.0] * 20 + [0.0] * 4 + [30.0] * 24)
    block = metrics.policy_block(course, run_of(w), shut, mask, caps, House({}))
    assert block["mean_rh_pct"] == pytest.approx((20.38 + 40.58) / 2, abs=0.02)
    assert block["hours_below_25_pct"] == 6.0
    assert block["hours_above_cap"] == 4.0  # 12 to 19; a cap of 0 is no cap
    assert block["wet_minutes"] == block["added_wet_minutes"] == 24 * 30
    assert (block["valve_starts"], block["valve_hours"]) == (3, 1.5)
    assert (block["water_evaporated_litres"], block["water_fed_litres"]) == (2.5, 7.5)
    assert block["floor_emc_min_pct"] < block["floor_emc_max_pct"] and block["floor_gap_mm"] > 0.0
    assert "binds" not in block and "setting_pct" not in block


def test_what_binds_is_counted_in_the_season():
    run = SimpleNamespace(binds=[BINDS_OWNER, BINDS_GLASS, BINDS_OUTLOOK, BINDS_CORNER, BINDS_GLASS])
    share = metrics.binds_share(run, bytearray([0, 1, 1, 1, 1]))
    assert share == {"glass": 0.5, "outlook": 0.25, "corner": 0.25, "envelope": 0.0, "owner": 0.0}
    assert list(share) == ["glass", "outlook", "corner", "envelope", "owner"]
    assert set(metrics.binds_share(run, bytearray(5)).values()) == {0.0}
