"""The floor board's slow response by hand, directions of gap and moisture, and refusal of bad input."""

import itertools
import math
from array import array

import pytest

from dewsim.errors import InputError
from dewsim.floor import SPECIES, TIME_CONSTANT_H, BoardTrack, coefficient, emc_pct, gap_mm, track

NAN = math.nan


def test_a_step_of_one_time_constant_covers_63_percent():
    """1 - 1/e = 0.632121; half-way after ln 2 = 0.693147 time constants."""
    goal = emc_pct(20.0, 30.0)
    board = BoardTrack(10.0)
    assert board.step(3600.0 * TIME_CONSTANT_H, 20.0, 30.0) == pytest.approx(
        10.0 + 0.632121 * (goal - 10.0), rel=1e-6
    )
    board = BoardTrack(10.0, 100.0)
    assert board.step(3600.0 * 69.3147, 20.0, 30.0) == pytest.approx(0.5 * (10.0 + goal), rel=1e-6)
    assert (board.max_pct, board.min_pct) == (10.0, board.mc_pct)


def test_many_short_steps_equal_one_long_one():
    short, long = BoardTrack(8.0), BoardTrack(8.0)
    for _ in range(48):
        short.step(1800.0, 21.0, 45.0)
    long.step(86400.0, 21.0, 45.0)
    assert short.mc_pct == pytest.approx(long.mc_pct, rel=1e-12)
    assert short.step(0.0, 21.0, 5.0) == short.mc_pct


def test_a_board_follows_weeks_and_not_hours():
    """RH swinging by 20 % within a day moves it little; the same swing over 60 days nearly in full."""
    hours = 2880
    warm = [20.0] * hours
    extremes = []
    for period_h in (24, 1440):
        rh = [35.0 + 10.0 * math.sin(2.0 * math.pi * i / period_h) for i in range(hours)]
        _, low, high = track(warm, rh)
        extremes.append(high - low)
    full = emc_pct(20.0, 45.0) - emc_pct(20.0, 25.0)
    # a first-order lag passes 1/sqrt(1 + (2 pi tau/period)^2): 0.023 of a day's swing, 0.81 of 60 days'
    assert extremes[0] < 0.06 * full
    assert 0.75 * full < extremes[1] < 0.90 * full


def test_track_gives_a_series_and_its_extremes():
    rh = array("d", [40.0] * 400 + [20.0] * 1000 + [30.0] * 600)
    series, low, high = track(array("d", [21.0] * 2000), rh)
    assert len(series) == 2000
    assert (low, high) == (min(series), pytest.approx(emc_pct(21.0, 40.0)))
    assert series[1399] == low == pytest.approx(emc_pct(21.0, 20.0), abs=0.05)
    assert low < series[1999] < high
    # the first hours do not set the extremes: one damp hour in an even week
    _, _, damp = track([21.0] * 200, [90.0] + [40.0] * 199)
    assert damp < emc_pct(21.0, 40.0) + 0.15


def test_directions():
    assert gap_mm(100.0, "ash", 9.0, 6.0) == pytest.approx(100.0 * 0.00274 * 3.0)
    assert gap_mm(100.0, "ash", 6.0, 9.0) == -gap_mm(100.0, "ash", 9.0, 6.0)
    for name in SPECIES:
        assert 0.0 < coefficient(name, "radial") < coefficient(name, "tangential")
    driest_first = [emc_pct(20.0, float(rh)) for rh in range(101)]
    assert driest_first[0] == 0.0
    assert all(a < b for a, b in itertools.pairwise(driest_first))
    assert emc_pct(30.0, 40.0) < emc_pct(10.0, 40.0)


@pytest.mark.parametrize(
    ("call", "names"),
    [
        (lambda: emc_pct(-5.0, 40.0), "temperature"),
        (lambda: emc_pct(60.0, 40.0), "temperature"),
        (lambda: emc_pct(NAN, 40.0), "temperature"),
        (lambda: emc_pct(20.0, -1.0), "humidity"),
        (lambda: emc_pct(20.0, 100.5), "humidity"),
        (lambda: emc_pct(20.0, NAN), "humidity"),
        (lambda: gap_mm(0.0, "ash", 9.0, 6.0), "board_mm"),
        (lambda: gap_mm(NAN, "ash", 9.0, 6.0), "board_mm"),
        (lambda: gap_mm(80.0, "plastic", 9.0, 6.0), "red oak"),
        (lambda: gap_mm(80.0, "ash", 9.0, 6.0, "sideways"), "tangential"),
        (lambda: gap_mm(80.0, "ash", NAN, 6.0), "moisture content"),
        (lambda: gap_mm(80.0, "ash", 9.0, 31.0), "moisture content"),
        (lambda: BoardTrack(NAN), "start"),
        (lambda: BoardTrack(8.0, 0.0), "time constant"),
        (lambda: BoardTrack(8.0).step(-1.0, 20.0, 40.0), "step"),
        (lambda: BoardTrack(8.0).step(NAN, 20.0, 40.0), "step"),
        (lambda: track([], []), "at least one"),
        (lambda: track([20.0], [40.0, 41.0]), "as many"),
        (lambda: track([20.0, 20.0], [40.0, NAN]), "humidity"),
    ],
    ids=[
        "too_cold",
        "too_hot",
        "nan_c",
        "negative_rh",
        "rh_above_100",
        "nan_rh",
        "no_board",
        "nan_board",
        "unknown_wood",
        "unknown_cut",
        "nan_mc",
        "soaked",
        "nan_start",
        "no_lag",
        "backwards",
        "nan_step",
        "empty",
        "unequal",
        "nan_in_series",
    ],
)
def test_bad_input_is_refused_in_one_line(call, names):
    with pytest.raises(InputError) as refused:
        call()
    assert names in str(refused.value)
    assert "\n" not in str(refused.value)
