"""What each surface allows, against values worked by hand."""

import unittest

from ceilings import corner_ceiling_pct, envelope_ceiling_pct, glass_ceiling_pct, room_ceiling_pct

from dewcore import ceiling as c


class TestGlass(unittest.TestCase):
    def test_glass_lies_between_room_and_outdoors_by_its_factor(self):
        # 20 - (1 - 0.5) * (20 - -10) = 5
        self.assertAlmostEqual(c.glass_temperature_c(20.0, -10.0, 0.5), 5.0, delta=1e-5)

    def test_glass_is_no_warmer_than_the_room_when_outdoors_is(self):
        self.assertEqual(c.glass_temperature_c(20.0, 35.0, 0.5), 20.0)

    def test_glass_at_5_c_allows_37_pct_at_20_c(self):
        # 872.6 Pa at 5 °C and 2339.2 Pa at 20 °C (IAPWS R7-97): 37.3 %
        self.assertAlmostEqual(glass_ceiling_pct(20.0, -10.0, 0.5, 0.0), 37.3, delta=0.05)

    def test_the_margin_cools_the_glass(self):
        # 813.5 Pa at 4 °C (IAPWS R7-97): 34.8 %
        self.assertAlmostEqual(glass_ceiling_pct(20.0, -10.0, 0.5, 1.0), 34.8, delta=0.05)

    def test_frozen_glass_is_judged_over_ice(self):
        # 20 - 0.5 * 60 = -10 °C: 259.9 Pa over ice (IAPWS R14-08), 286.6 Pa over supercooled water
        self.assertAlmostEqual(glass_ceiling_pct(20.0, -40.0, 0.5, 0.0), 100 * 259.9 / 2339.2, delta=0.02)


class TestRoom(unittest.TestCase):
    def test_without_excess_it_is_the_main_rooms_own_ceiling(self):
        self.assertAlmostEqual(
            room_ceiling_pct(20.0, 0.0, 5.0), glass_ceiling_pct(20.0, -10.0, 0.5, 0.0), delta=1e-4
        )

    def test_sleepers_moisture_comes_off(self):
        # (872.6 - 200) / 2339.2 = 28.75 %
        self.assertAlmostEqual(room_ceiling_pct(20.0, 200.0, 5.0), 28.75, delta=0.05)

    def test_too_moist_a_room_leaves_less_than_nothing(self):
        self.assertTrue(room_ceiling_pct(20.0, 1000.0, 5.0) < 0.0)

    def test_a_gram_per_kilogram_is_162_9_pascal(self):
        # 101325 Pa / 621.945 g/kg
        self.assertAlmostEqual(c.PA_PER_G_KG, 101325.0 / 621.945, delta=0.01)


class TestSlowSurfaces(unittest.TestCase):
    def test_corner_of_factor_0_7_allows_44_36_29_pct(self):
        # 21 °C indoors (2488.1 Pa) and corners at 11.7, 8.7, 5.7 °C: 1375.3, 1125.2, 916.1 Pa (IAPWS R7-97)
        for outdoor_c, allowed_pct in ((-10.0, 44.2), (-20.0, 36.2), (-30.0, 29.5)):
            self.assertAlmostEqual(corner_ceiling_pct(21.0, outdoor_c, 0.7), allowed_pct, delta=0.05)

    def test_corner_by_hand(self):
        # 20 - 0.3 * 30 = 11 °C: 1313.0 Pa (IAPWS R7-97); 80 % of it over 2339.2 Pa: 44.9 %
        self.assertAlmostEqual(corner_ceiling_pct(20.0, -10.0, 0.7), 44.9, delta=0.05)

    def test_envelope_by_hand(self):
        # 80 % of 286.6 Pa over water at -10 °C (Murphy and Koop 2005), plus 540 Pa, over 2339.2 Pa: 32.9 %
        self.assertAlmostEqual(envelope_ceiling_pct(20.0, 0.8 * 286.6, 540.0), 32.9, delta=0.05)


if __name__ == "__main__":
    unittest.main()
