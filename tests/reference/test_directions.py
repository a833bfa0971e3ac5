"""Directions that physics fixes: nothing that is worse for the glass or the walls ever allows more humidity.

Pure functions only.  Each sweep moves one input over a grid of all others and compares neighbours.  A reading
that is not a number must give either not a number (which no comparison lets through) or no more than the
worst.
"""

import itertools
import math

import pytest
from ceilings import corner_ceiling_pct, envelope_ceiling_pct, glass_ceiling_pct, room_ceiling_pct

from dewcore import psychro
from dewcore.ceiling import glass_temperature_c
from dewcore.margin import Margin
from dewcore.settings import Settings

INDOOR_C = (15.0, 18.0, 20.0, 21.5, 24.0)
OUTDOOR_C = tuple(float(t) for t in range(-50, 26, 3))
FACTORS = tuple(0.15 + 0.05 * i for i in range(17))  # 0.15..0.95, the bounds of the settings
MARGINS_K = (0.0, 0.5, 1.0, 3.0, 8.0, 12.0)
NAN = math.nan
TOLERANCES = ("rh_tolerance_pct", "indoor_tolerance_k", "outdoor_tolerance_k", "f_tolerance")


def never_rises(values: "list[float]", what: object) -> None:
    """Each value at most its forerunner, and the last below the first: a constant would prove nothing."""
    assert all(math.isfinite(value) for value in values), what
    for before, after in itertools.pairwise(values):
        assert after <= before + 1e-9, what
    assert values[-1] < values[0], what


def target_pct(indoor_c: float, outdoor_c: float, f: float, margin_k: float, tolerances: Settings) -> float:
    """Ceiling less its tolerance margin [% RH], not below 0: what remains is shut anyway."""
    ceiling = glass_ceiling_pct(indoor_c, outdoor_c, f, margin_k)
    glass_c = glass_temperature_c(indoor_c, outdoor_c, f) - margin_k
    return max(0.0, ceiling - Margin().set(ceiling, ceiling, glass_c, f, indoor_c, outdoor_c, tolerances))


@pytest.mark.parametrize("indoor_c", INDOOR_C)
def test_colder_outside_never_raises_the_ceiling_or_the_target(indoor_c):
    falling = sorted(OUTDOOR_C, reverse=True)
    for f, margin_k in itertools.product(FACTORS, MARGINS_K):
        never_rises([glass_ceiling_pct(indoor_c, out, f, margin_k) for out in falling], (f, margin_k))
        # the target from where the house needs heat: in a warmer outside the glass is as warm as the room,
        # and only the tolerance of its factor still counts the difference, on the careful side
        heating = [out for out in falling if out <= indoor_c]
        never_rises([target_pct(indoor_c, out, f, margin_k, Settings()) for out in heating], (f, margin_k))


@pytest.mark.parametrize("indoor_c", INDOOR_C)
def test_worse_glass_never_raises_the_ceiling_or_the_target(indoor_c):
    falling = sorted(FACTORS, reverse=True)
    for out, margin_k in itertools.product([t for t in OUTDOOR_C if t < indoor_c], MARGINS_K):
        never_rises([glass_ceiling_pct(indoor_c, out, f, margin_k) for f in falling], (out, margin_k))
        never_rises([target_pct(indoor_c, out, f, margin_k, Settings()) for f in falling], (out, margin_k))


@pytest.mark.parametrize("indoor_c", INDOOR_C)
def test_larger_margin_never_raises_the_ceiling(indoor_c):
    for out, f in itertools.product(OUTDOOR_C, FACTORS):
        never_rises([glass_ceiling_pct(indoor_c, out, f, k) for k in MARGINS_K], (out, f))


@pytest.mark.parametrize("name", TOLERANCES)
def test_larger_tolerance_never_raises_the_target(name):
    """From 0 to three times the default of each, the others at their defaults."""
    moved = 0
    for indoor_c, out, f in itertools.product(INDOOR_C, OUTDOOR_C, FACTORS):
        if out > indoor_c - 5.0:
            continue  # nothing to divide by: the glass is the room
        found = []
        for times in (0.0, 0.5, 1.0, 2.0, 3.0):
            tolerances = Settings()
            setattr(tolerances, name, times * getattr(tolerances, name))
            found.append(target_pct(indoor_c, out, f, 1.0, tolerances))
        for before, after in itertools.pairwise(found):
            assert after <= before + 1e-9, (name, indoor_c, out, f)
        moved += found[-1] < found[0]
    assert moved > 1000, "the tolerance must matter almost everywhere"


def test_margin_is_the_root_of_the_sum_of_squares_of_its_numerical_parts():
    """By outside means: each part is the change of the ceiling when its input is moved by the tolerance."""
    s = Settings()
    small = 1e-4
    for indoor_c, out, f in itertools.product((19.0, 21.0), (-25.0, -10.0, 3.0), (0.35, 0.55, 0.75)):
        ceiling = glass_ceiling_pct(indoor_c, out, f, 1.0)
        glass_c = glass_temperature_c(indoor_c, out, f) - 1.0
        if abs(glass_c) < 0.01:
            continue  # the slope jumps at the melting point
        m = Margin()
        total = m.set(ceiling, ceiling, glass_c, f, indoor_c, out, s)
        indoor = (glass_ceiling_pct(indoor_c + small, out, f, 1.0) - ceiling) / small * s.indoor_tolerance_k
        outdoor = (glass_ceiling_pct(indoor_c, out + small, f, 1.0) - ceiling) / small * s.outdoor_tolerance_k
        factor = (glass_ceiling_pct(indoor_c, out, f + small, 1.0) - ceiling) / small * s.f_tolerance
        assert m.indoor_pct == pytest.approx(abs(indoor), rel=1e-3, abs=1e-5)
        assert m.outdoor_pct == pytest.approx(outdoor, rel=1e-3)
        assert m.factor_pct == pytest.approx(factor, rel=1e-3)
        squares = s.rh_tolerance_pct**2 + indoor**2 + outdoor**2 + factor**2
        assert total == pytest.approx(math.sqrt(squares), rel=1e-3)


def test_worse_corner_or_colder_week_never_raises_the_corners_ceiling():
    for indoor_c in INDOOR_C:
        for f in FACTORS:
            never_rises([corner_ceiling_pct(indoor_c, out, f) for out in sorted(OUTDOOR_C, reverse=True)], f)
        for out in (-40.0, -10.0, 10.0):
            never_rises([corner_ceiling_pct(indoor_c, out, f) for f in sorted(FACTORS, reverse=True)], out)


def test_drier_week_or_tighter_class_never_raises_the_envelopes_ceiling():
    for indoor_c in INDOOR_C:
        outside = [psychro.vapour_pa(out, 80.0) for out in sorted(OUTDOOR_C, reverse=True)]
        for excess_pa in (270.0, 540.0, 810.0):
            never_rises([envelope_ceiling_pct(indoor_c, pa, excess_pa) for pa in outside], excess_pa)
        for pa in outside:
            never_rises([envelope_ceiling_pct(indoor_c, pa, excess) for excess in (810.0, 540.0, 270.0)], pa)


def test_colder_or_damper_room_never_raises_the_rooms_ceiling():
    for indoor_c, out, f in itertools.product(INDOOR_C, (-30.0, -10.0, 5.0), (0.4, 0.55, 0.75)):
        colder = []
        for colder_k in (0.0, 1.0, 3.0, 6.0):
            colder.append(room_ceiling_pct(indoor_c, 0.0, glass_temperature_c(indoor_c - colder_k, out, f)))
        never_rises(colder, (indoor_c, out, f))
        glass_c = glass_temperature_c(indoor_c, out, f)
        damper = [room_ceiling_pct(indoor_c, pa, glass_c) for pa in (0.0, 100.0, 350.0, 650.0)]
        never_rises(damper, (indoor_c, out, f))
        assert damper[0] == pytest.approx(glass_ceiling_pct(indoor_c, out, f, 0.0))


def fails_closed(found: float) -> bool:
    """Not a number: neither "drier than the target" nor any other test of the valve holds against it."""
    return math.isnan(found) and not 1.0 < found


@pytest.mark.parametrize("place", range(4))
def test_not_a_number_never_gives_a_ceiling(place):
    good = [21.0, -10.0, 0.55, 1.0]
    good[place] = NAN
    assert fails_closed(glass_ceiling_pct(*good))


@pytest.mark.parametrize("place", range(3))
def test_not_a_number_never_gives_a_slow_cap(place):
    corner, envelope = [21.0, -10.0, 0.70], [21.0, 230.0, 540.0]
    corner[place] = envelope[place] = NAN
    assert fails_closed(corner_ceiling_pct(*corner))
    assert fails_closed(envelope_ceiling_pct(*envelope))


@pytest.mark.parametrize("name", TOLERANCES)
def test_a_tolerance_that_is_not_a_number_never_gives_a_target(name):
    tolerances = Settings()
    setattr(tolerances, name, NAN)
    ceiling = glass_ceiling_pct(21.0, -10.0, 0.55, 1.0)
    assert fails_closed(ceiling - Margin().set(ceiling, ceiling, 6.0, 0.55, 21.0, -10.0, tolerances))
