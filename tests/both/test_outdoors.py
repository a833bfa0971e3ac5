"""The outdoor history: hourly means, a week of them, and sums that never drift."""

import unittest

from dewcore.outdoors import HOURS, OutdoorBelief, OutdoorHistory
from dewcore.psychro import sat_water_pa


class TestHistory(unittest.TestCase):
    def test_before_the_first_hour_now_holds(self):
        history = OutdoorHistory()
        self.assertEqual(history.mean_c(-7.0), -7.0)
        self.assertEqual(history.day_mean_c(-7.0), -7.0)
        self.assertEqual(history.day_lowest_c(-7.0), -7.0)
        self.assertAlmostEqual(history.mean_vapour_pa(10.0, 50.0), 614.1, delta=0.5)  # half of 1228.2 Pa

    def test_an_hour_is_the_mean_of_its_seconds(self):
        history = OutdoorHistory()
        self.assertFalse(history.note(-10.0, 1800, 80.0))
        self.assertTrue(history.note(-20.0, 1800, 80.0))
        self.assertAlmostEqual(history.mean_c(0.0), -15.0, delta=0.006)
        self.assertAlmostEqual(history.mean_vapour_pa(0.0, 80.0), 0.8 * sat_water_pa(-15.0), delta=0.2)

    def test_the_week_forgets_what_is_older(self):
        history = OutdoorHistory()
        for hour in range(HOURS):
            history.note(-30.0, 3600, 80.0)
        for hour in range(HOURS):
            history.note(0.01 * hour - 5.0, 3600, 80.0)
        # mean of 0.00 to 1.67 in steps of 0.01 is 0.835
        self.assertAlmostEqual(history.mean_c(0.0), -5.0 + 0.835, delta=1e-4)
        self.assertEqual(history.sum_cc, sum(history.hour_cc))
        self.assertEqual(history.sum_dpa, sum(history.hour_dpa))

    def test_a_day_is_the_last_24_hours_across_the_rings_end(self):
        history = OutdoorHistory()
        for hour in range(HOURS + 10):
            history.note(float(hour % 50), 3600, 80.0)
        # hours 154..177 give 4..27: mean 15.5, lowest 4
        self.assertAlmostEqual(history.day_mean_c(0.0), 15.5, delta=1e-4)
        self.assertAlmostEqual(history.day_lowest_c(30.0), 4.0, delta=1e-4)
        self.assertEqual(history.day_lowest_c(-1.0), -1.0)

    def test_the_hour_that_ended_last_counts_as_the_days_lowest(self):
        history = OutdoorHistory()
        for hour in range(30):
            history.note(-0.5 * hour, 3600, 80.0)
        self.assertAlmostEqual(history.day_lowest_c(0.0), -14.5, delta=1e-4)

    def test_hundredths_are_rounded_halves_away_from_zero(self):
        history = OutdoorHistory()
        history.note(-1.25, 3600, 80.0)
        history.note(1.25, 3600, 80.0)
        self.assertEqual(list(history.hour_cc[:2]), [-125, 125])
        history.note(-0.0078125, 3600, 80.0)
        self.assertEqual(history.hour_cc[2], -1)

    def test_a_probe_in_the_hottest_sun_keeps_within_the_array(self):
        history = OutdoorHistory()
        for _ in range(HOURS + 1):
            history.note(60.0, 3600, 100.0)  # 19.9 kPa
        self.assertEqual(history.hour_dpa[0], 65535)
        self.assertAlmostEqual(history.mean_vapour_pa(0.0, 80.0), 6553.5, delta=0.5)
        self.assertEqual(history.sum_dpa, 65535 * HOURS)

    def test_the_season_has_a_band(self):
        history = OutdoorHistory()
        self.assertFalse(history.season_over(False, 15.0, 15.0))
        self.assertTrue(history.season_over(False, 15.1, 15.0))
        self.assertTrue(history.season_over(True, 14.1, 15.0))
        self.assertFalse(history.season_over(True, 14.0, 15.0))
        self.assertTrue(history.season_over(False, float("nan"), 15.0))


class TestBelief(unittest.TestCase):
    def test_the_first_reading_is_believed(self):
        belief = OutdoorBelief()
        self.assertFalse(belief.take(12.0, 5))
        self.assertEqual(belief.believed_c, 12.0)

    def test_down_at_once_up_three_kelvin_an_hour(self):
        belief = OutdoorBelief()
        belief.take(0.0, 1000)
        self.assertFalse(belief.take(-20.0, 1060))
        self.assertEqual(belief.believed_c, -20.0)
        self.assertTrue(belief.take(0.0, 1660))
        self.assertAlmostEqual(belief.believed_c, -19.5, delta=1e-4)

    def test_readings_once_an_hour_confirm_at_the_second(self):
        belief = OutdoorBelief()
        belief.take(-20.0, 0)
        self.assertTrue(belief.take(0.0, 3600))
        self.assertAlmostEqual(belief.believed_c, -17.0, delta=1e-4)
        self.assertFalse(belief.take(0.0, 7200))
        self.assertEqual(belief.believed_c, 0.0)

    def test_a_cold_first_reading_of_the_hour_does_not_take_back_the_slow_rise(self):
        belief = OutdoorBelief()
        belief.take(-10.0, 0)
        belief.take(-9.9, 60)
        for minute in range(2, 62):
            belief.take(10.0, 60 * minute)
        self.assertAlmostEqual(belief.believed_c, -10.0 + 3.0 * 61 / 60, delta=1e-3)

    def test_each_hour_confirms_its_own_lowest(self):
        belief = OutdoorBelief()
        belief.take(-20.0, 0)
        belief.take(0.0, 60)
        for minute in range(2, 122):
            belief.take(15.0, 60 * minute)
            if minute == 61:
                self.assertEqual(belief.believed_c, 0.0)
        self.assertEqual(belief.believed_c, 15.0)

    def test_a_falling_back_starts_the_hour_anew(self):
        belief = OutdoorBelief()
        belief.take(-20.0, 0)
        for minute in range(1, 50):
            belief.take(0.0, 60 * minute)
        belief.take(-20.0, 3000)
        for minute in range(51, 100):
            self.assertTrue(belief.take(0.0, 60 * minute))
        self.assertTrue(belief.believed_c < -17.0)


if __name__ == "__main__":
    unittest.main()
