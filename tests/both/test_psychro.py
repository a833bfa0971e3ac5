"""Moist air on every interpreter: outside values, and inverses that hold in single precision too."""

import unittest

from dewcore import psychro as p


class TestSaturation(unittest.TestCase):
    def test_over_water_against_iapws(self):
        # IAPWS R7-97 saturation pressures [Pa]
        for t_c, pa in ((0.01, 611.657), (10.0, 1228.2), (20.0, 2339.2), (30.0, 4246.7), (45.0, 9594.4)):
            self.assertAlmostEqual(p.sat_water_pa(t_c), pa, delta=0.001 * pa)

    def test_over_ice_against_iapws(self):
        # IAPWS R14-08 sublimation pressures [Pa]
        for t_c, pa in ((-10.0, 259.87), (-20.0, 103.24), (-40.0, 12.84)):
            self.assertAlmostEqual(p.sat_surface_pa(t_c), pa, delta=0.001 * pa)

    def test_a_surface_is_judged_over_water_from_freezing_on(self):
        self.assertEqual(p.sat_surface_pa(5.0), p.sat_water_pa(5.0))
        self.assertEqual(p.sat_surface_pa(0.0), p.sat_water_pa(0.0))

    def test_ice_binds_water_more_tightly(self):
        for t_c in (-40.0, -20.0, -5.0, -1.0):
            self.assertTrue(p.sat_surface_pa(t_c) < p.sat_water_pa(t_c))


class TestSlopes(unittest.TestCase):
    def test_slopes_are_those_of_the_pressures(self):
        for t_c in (-30.0, -10.0, -2.0, 2.0, 10.0, 25.0):
            # central difference over 1 K: its own error, h^2/6 of the third derivative, is below 4e-5 /K
            surface = (p.sat_surface_pa(t_c + 0.5) - p.sat_surface_pa(t_c - 0.5)) / p.sat_surface_pa(t_c)
            self.assertAlmostEqual(p.sat_surface_slope_per_k(t_c), surface, delta=4e-5)
            water = (p.sat_water_pa(t_c + 0.5) - p.sat_water_pa(t_c - 0.5)) / p.sat_water_pa(t_c)
            self.assertAlmostEqual(p.sat_water_slope_per_k(t_c), water, delta=4e-5)

    def test_slopes_to_the_last_digits(self):
        # differences of the two equations' logarithms over 2e-15 K, worked with 50 digits
        for t_c, slope in ((-40.0, 0.103579733), (0.0, 0.072637474), (45.0, 0.051436186)):
            self.assertAlmostEqual(p.sat_water_slope_per_k(t_c), slope, delta=5e-7)
        for t_c, slope in ((-60.0, 0.135257809), (-20.0, 0.095965319)):
            self.assertAlmostEqual(p.sat_surface_slope_per_k(t_c), slope, delta=5e-7)

    def test_the_slope_is_that_of_water_from_freezing_on(self):
        for t_c in (0.0, 0.5):
            self.assertEqual(p.sat_surface_slope_per_k(t_c), p.sat_water_slope_per_k(t_c))


class TestPoints(unittest.TestCase):
    def test_wetting_point_undoes_the_pressure_at_a_surface(self):
        for t_c in (-60.0, -40.0, -10.0, -0.5, 0.0, 5.0, 20.0, 40.0):
            self.assertAlmostEqual(p.wetting_point_c(p.sat_surface_pa(t_c)), t_c, delta=0.002)

    def test_wetting_point_is_frost_below_freezing_and_dew_above(self):
        # 259.87 Pa over ice at -10 °C (IAPWS R14-08), where dew on supercooled water comes at -11.2; 1228.2 at 10 °C
        self.assertAlmostEqual(p.wetting_point_c(259.87), -10.0, delta=0.01)
        self.assertAlmostEqual(p.wetting_point_c(1228.2), 10.0, delta=0.01)

    def test_between_the_two_equations_values_at_freezing_it_is_dew(self):
        # 0.05 and 0.301 Pa beside the water equation's 611.21 at 0 °C, 44.4 Pa/K there
        for vapour_pa, t_c in ((611.15, -0.00135), (611.5, 0.00653)):
            self.assertAlmostEqual(p.wetting_point_c(vapour_pa), t_c, delta=0.0003)


class TestRatio(unittest.TestCase):
    def test_humidity_ratio_by_hand(self):
        # 50 % of 2339.2 Pa is 1169.6 Pa; 621.945 * 1169.6 / (101325 - 1169.6) = 7.263 g/kg
        vapour = p.vapour_pa(20.0, 50.0)
        self.assertAlmostEqual(vapour, 1169.6, delta=0.6)
        self.assertAlmostEqual(p.humidity_ratio_g_kg(vapour, p.STANDARD_PRESSURE_PA), 7.263, delta=0.005)

    def test_ratio_and_pressure_undo_each_other(self):
        for w_g_kg in (0.5, 3.0, 12.0):
            vapour = p.vapour_from_ratio_pa(w_g_kg, 90000.0)
            self.assertAlmostEqual(p.humidity_ratio_g_kg(vapour, 90000.0), w_g_kg, delta=1e-4)


if __name__ == "__main__":
    unittest.main()
