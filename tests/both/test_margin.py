"""The tolerance margin: its parts by hand and against the ceiling itself, moved by each tolerance."""

import unittest

from ceilings import glass_ceiling_pct

from dewcore import ceiling as c
from dewcore.margin import Margin
from dewcore.settings import Settings


def margin_at(indoor_c, outdoor_c, f, changes):
    """(Margin, ceiling) of plain glass with these tolerances."""
    settings = Settings()
    settings.change(changes)
    ceiling_pct = glass_ceiling_pct(indoor_c, outdoor_c, f, 0.0)
    margin = Margin()
    margin.set(
        ceiling_pct,
        ceiling_pct,
        c.glass_temperature_c(indoor_c, outdoor_c, f),
        f,
        indoor_c,
        outdoor_c,
        settings,
    )
    return margin, ceiling_pct


NONE = {"rh_tolerance_pct": 0.0, "indoor_tolerance_k": 0.0, "outdoor_tolerance_k": 0.0, "f_tolerance": 0.0}


def only(name, value):
    changes = dict(NONE)
    changes[name] = value
    return changes


class TestParts(unittest.TestCase):
    def test_without_tolerances_there_is_none(self):
        margin, _ = margin_at(20.0, -10.0, 0.5, NONE)
        self.assertEqual(margin.total_pct, 0.0)
        self.assertEqual(margin.total_k, 0.0)

    def test_a_humidity_sensor_counts_as_it_is(self):
        margin, _ = margin_at(20.0, -10.0, 0.5, only("rh_tolerance_pct", 3.0))
        self.assertEqual(margin.total_pct, 3.0)

    def test_each_part_is_the_ceilings_own_slope(self):
        """A small step of the reading moves the ceiling by the part: half a central difference over 0.4 K."""
        for indoor_c, outdoor_c, f in ((20.0, -10.0, 0.5), (21.0, -35.0, 0.4), (22.0, 2.0, 0.7)):
            high = glass_ceiling_pct(indoor_c, outdoor_c + 0.2, f, 0.0)
            low = glass_ceiling_pct(indoor_c, outdoor_c - 0.2, f, 0.0)
            margin, _ = margin_at(indoor_c, outdoor_c, f, only("outdoor_tolerance_k", 0.2))
            self.assertAlmostEqual(margin.outdoor_pct, (high - low) / 2.0, delta=0.002)
            high = glass_ceiling_pct(indoor_c + 0.2, outdoor_c, f, 0.0)
            low = glass_ceiling_pct(indoor_c - 0.2, outdoor_c, f, 0.0)
            margin, _ = margin_at(indoor_c, outdoor_c, f, only("indoor_tolerance_k", 0.2))
            self.assertAlmostEqual(margin.indoor_pct, abs(high - low) / 2.0, delta=0.002)
            high = glass_ceiling_pct(indoor_c, outdoor_c, f + 0.01, 0.0)
            low = glass_ceiling_pct(indoor_c, outdoor_c, f - 0.01, 0.0)
            margin, _ = margin_at(indoor_c, outdoor_c, f, only("f_tolerance", 0.01))
            self.assertAlmostEqual(margin.factor_pct, (high - low) / 2.0, delta=0.003)

    def test_the_total_is_the_root_of_the_sum_of_squares(self):
        margin, _ = margin_at(20.0, -10.0, 0.5, {})
        squares = margin.rh_pct**2 + margin.indoor_pct**2 + margin.outdoor_pct**2 + margin.factor_pct**2
        self.assertAlmostEqual(margin.total_pct**2, squares, delta=1e-4)
        self.assertEqual(margin.rh_pct, 2.0)

    def test_in_kelvin_it_cools_the_glass_to_the_same_ceiling(self):
        margin, ceiling_pct = margin_at(20.0, -10.0, 0.5, only("rh_tolerance_pct", 0.5))
        lowered = glass_ceiling_pct(20.0, -10.0, 0.5, margin.total_k)
        self.assertAlmostEqual(lowered, ceiling_pct - 0.5, delta=0.005)

    def test_parts_by_hand_at_31_k(self):
        # f 0.55, 21 and -10 °C: glass 7.05 °C, 1005.4 Pa over 2488.1 Pa: 40.4 %.  Slopes of the Magnus form,
        # 17.625 * 243.04 / (243.04 + t)^2: 6.85 %/K at 7.05 °C, 6.14 %/K at 21 °C.
        # f +-0.03: 40.4 * 0.0685 * 31 * 0.03 = 2.57 % RH; outdoors +-0.5: 40.4 * 0.0685 * 0.45 * 0.5 = 0.62;
        # indoors +-0.3 K: 40.4 * |0.0685 * 0.55 - 0.0614| * 0.3 = 0.29
        margin, ceiling_pct = margin_at(21.0, -10.0, 0.55, {})
        self.assertAlmostEqual(ceiling_pct, 40.4, delta=0.05)
        self.assertAlmostEqual(margin.factor_pct, 2.57, delta=0.02)
        self.assertAlmostEqual(margin.outdoor_pct, 0.62, delta=0.01)
        self.assertAlmostEqual(margin.indoor_pct, 0.29, delta=0.01)

    def test_the_rooms_own_moisture_does_not_dilute_what_acts_on_the_glass(self):
        settings = Settings()
        settings.change(only("outdoor_tolerance_k", 1.0))
        with_excess = Margin()
        with_excess.set(25.0, 37.3, 5.0, 0.5, 20.0, -10.0, settings)
        without = Margin()
        without.set(37.3, 37.3, 5.0, 0.5, 20.0, -10.0, settings)
        self.assertEqual(with_excess.outdoor_pct, without.outdoor_pct)

    def test_before_anything_is_set_all_parts_are_nothing(self):
        m = Margin()
        parts = (m.rh_pct, m.indoor_pct, m.outdoor_pct, m.factor_pct, m.total_pct, m.total_k, m.per_k_pct)
        self.assertEqual(parts, (0.0,) * 7)

    def test_outdoors_warmer_than_the_room_the_glass_factor_costs_nothing(self):
        for outdoor_c in (20.0, 25.0):
            self.assertEqual(margin_at(20.0, outdoor_c, 0.5, {})[0].factor_pct, 0.0)

    def test_a_ceiling_of_nothing_has_no_kelvin_and_a_small_one_has(self):
        # 5 % over glass at -15 °C: slope of the Magnus form over ice, 22.46 * 272.62 / (272.62 - 15)^2, is 9.23 %/K;
        # 1 % RH of 5 % times that is 2.17 K
        margin = Margin()
        settings = Settings()
        settings.change(only("rh_tolerance_pct", 1.0))
        self.assertEqual(margin.set(0.0, 0.0, -15.0, 0.5, 20.0, -50.0, settings), 1.0)
        self.assertEqual((margin.total_pct, margin.total_k), (1.0, 0.0))
        margin.set(5.0, 5.0, -15.0, 0.5, 20.0, -50.0, settings)
        self.assertAlmostEqual(margin.total_k, 2.17, delta=0.03)


if __name__ == "__main__":
    unittest.main()
