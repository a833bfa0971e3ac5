"""The outdoor history and belief: hourly means, a week of them, what a boot leaves of it; rises and jumps."""

import unittest

from dewcore.outdoors import HOURS, OutdoorBelief, OutdoorHistory, dpa_of
from dewcore.psychro import sat_water_pa


class TestHistory(unittest.TestCase):
    def test_before_the_first_hour_now_holds(self):
        history = OutdoorHistory()
        self.assertEqual(history.mean_c(-7.0), -7.0)
        self.assertIs(history.season_over(False, 15.1, 15.0), True)
        self.assertIs(history.season_over(False, 15.0, 15.0), False)
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
        self.assertEqual((history.count, history.fresh, history.joined), (168, 168, 168))

    def test_a_day_is_the_last_24_hours_across_the_rings_end(self):
        history = OutdoorHistory()
        for hour in range(HOURS + 10):
            history.note(float(hour % 50), 3600, 80.0)
        # hours 154..177 give 4..27: mean 15.5, lowest 4
        self.assertAlmostEqual(history.day_c, 15.5, delta=1e-4)
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

    def test_hours_are_joined_from_the_first_whole_one_after_an_outage(self):
        history = OutdoorHistory()
        history.note(5.0, 3600, 80.0)
        history.note(5.0, 1800, 80.0)
        history.interrupt()
        history.note(-10.0, 1800, 80.0)
        self.assertEqual((history.count, history.joined, history.fresh), (2, 0, 2))
        history.note(-10.0, 3600, 80.0)
        self.assertEqual(list(history.hour_cc[:3]), [500, -250, -1000])
        self.assertEqual((history.count, history.joined, history.fresh), (3, 1, 3))
        history.interrupt()
        history.note(-10.0, 3600, 80.0)
        self.assertEqual(history.joined, 1)
        history.note(-10.0, 1, 80.0)
        history.interrupt()
        history.note(-10.0, 3600, 80.0)
        self.assertEqual(history.joined, 0)
        history.forget()
        self.assertEqual(history.joined, 0)

    def test_an_hour_after_another_carries_nothing_over(self):
        history = OutdoorHistory()
        history.note(5.0, 3600, 80.0)
        history.note(10.0, 1800, 80.0)
        history.note(10.0, 1800, 80.0)
        self.assertEqual(list(history.hour_cc[:3]), [500, 1000, 0])

    def test_temperatures_and_pressures_are_rounded_to_the_nearest(self):
        history = OutdoorHistory()
        for mean_c, stored in ((0.0, 0), (0.5, 50), (0.3125, 31), (-0.3125, -31), (0.99609375, 100), (0.4946, 49)):
            history.note(mean_c, 3600, 80.0)
            self.assertEqual(history.hour_cc[history.next - 1], stored)
        # 611.21 Pa at 0 °C: 488.968 Pa at 80 % is 4890 tenths (4889.68); 100 % is 6112 (6112.1)
        self.assertEqual(history.hour_dpa[0], 4890)
        history.note(0.0, 3600, 100.0)
        self.assertEqual(history.hour_dpa[6], 6112)

    def test_the_first_hour_is_whole_only_after_3600_s(self):
        history = OutdoorHistory()
        self.assertIs(history.note(1.0, 3599, 80.0), False)
        self.assertIs(history.note(1.0, 1, 80.0), True)
        self.assertEqual((history.part_c_s, history.part_s, history.count), (0.0, 0, 1))

    def test_a_new_history_is_all_zero(self):
        history = OutdoorHistory()
        self.assertEqual(list(history.hour_cc), [0] * 168)
        self.assertEqual(list(history.hour_dpa), [0] * 168)
        self.assertEqual((history.part_c_s, history.part_s, history.sum_cc, history.sum_dpa), (0.0, 0, 0, 0))

    def test_a_day_is_24_hours_no_more_and_no_fewer(self):
        history = OutdoorHistory()
        for hour in range(24):
            history.note(-10.0 if hour == 0 else 2.0, 3600, 80.0)
        self.assertAlmostEqual(history.day_c, 1.5, delta=1e-4)  # (23 * 2 - 10) / 24
        self.assertAlmostEqual(history.day_lowest_c(9.0), -10.0, delta=1e-4)
        history.note(2.0, 3600, 80.0)
        self.assertAlmostEqual(history.day_c, 2.0, delta=1e-4)
        self.assertAlmostEqual(history.day_lowest_c(9.0), 2.0, delta=1e-4)

    def test_fewer_hours_than_a_day_are_all_that_count(self):
        history = OutdoorHistory()
        history.note(6.0, 3600, 80.0)
        self.assertAlmostEqual(history.day_lowest_c(9.0), 6.0, delta=1e-4)  # no hour of the ring's zeros
        self.assertAlmostEqual(history.day_c, 6.0, delta=1e-4)

    def test_23_hours_are_not_yet_a_day(self):
        history = OutdoorHistory()
        for _ in range(23):
            history.note(6.0, 3600, 80.0)
        self.assertAlmostEqual(history.day_c, 6.0, delta=1e-4)
        self.assertAlmostEqual(history.day_lowest_c(9.0), 6.0, delta=1e-4)

    def test_just_below_a_half_is_rounded_down(self):
        history = OutdoorHistory()
        for mean_c, stored in ((0.01497, 1), (-0.01497, -1)):
            history.note(mean_c, 3600, 80.0)
            self.assertEqual(history.hour_cc[history.next - 1], stored)
        history.note(-22.6875, 3600, 100.0)  # 99.34968 Pa
        self.assertEqual(history.hour_dpa[2], 993)

    def test_a_thermometer_in_the_hottest_sun_keeps_within_the_array(self):
        history = OutdoorHistory()
        for _ in range(HOURS + 1):
            history.note(60.0, 3600, 100.0)  # 19.9 kPa
        self.assertEqual(history.hour_dpa[0], 65535)
        self.assertAlmostEqual(history.mean_vapour_pa(0.0, 80.0), 6553.5, delta=0.5)
        self.assertEqual(history.sum_dpa, 65535 * HOURS)
        self.assertEqual((history.count, history.fresh, history.joined), (168, 168, 168))

    def test_what_is_forgotten_counts_no_more(self):
        history = OutdoorHistory()
        for _ in range(HOURS + 3):
            history.note(9.0, 3600, 80.0)
        history.note(9.0, 1800, 80.0)
        history.forget()
        self.assertEqual((history.part_c_s, history.part_s, history.sum_cc, history.sum_dpa), (0.0, 0, 0, 0))
        self.assertEqual((history.count, history.fresh, history.joined), (0, 0, 0))
        found = (history.mean_c(-7.0), history.day_lowest_c(-7.0), history.season_over(False, 8.0, 8.5))
        self.assertEqual(found, (-7.0, -7.0, False))
        self.assertIs(history.note(-20.0, 3599, 80.0), False)
        self.assertIs(history.note(-20.0, 1, 80.0), True)
        history.note(-10.0, 3600, 80.0)
        self.assertAlmostEqual(history.mean_c(0.0), -15.0, delta=1e-4)
        self.assertAlmostEqual(history.day_c, -15.0, delta=1e-4)
        self.assertAlmostEqual(history.day_lowest_c(0.0), -20.0, delta=1e-4)
        expected_pa = 0.4 * (sat_water_pa(-20.0) + sat_water_pa(-10.0))
        self.assertAlmostEqual(history.mean_vapour_pa(0.0, 80.0), expected_pa, delta=0.1)

    def test_the_season_has_a_band(self):
        history = OutdoorHistory()
        self.assertFalse(history.season_over(False, 15.0, 15.0))
        self.assertTrue(history.season_over(False, 15.1, 15.0))
        self.assertTrue(history.season_over(True, 14.1, 15.0))
        self.assertFalse(history.season_over(True, 14.0, 15.0))
        self.assertTrue(history.season_over(False, float("nan"), 15.0))

    def test_a_days_mean_ends_the_season_and_neither_a_warm_noon_nor_a_cold_morning_changes_it(self):
        for day_c, now_c, is_over in ((10.0, 20.0, False), (16.0, 5.0, True)):
            history = OutdoorHistory()
            for _ in range(24):
                history.note(day_c, 3600, 80.0)
            self.assertIs(history.season_over(False, now_c, 15.0), is_over)


class TestReboot(unittest.TestCase):
    """Hours kept from before a boot: nobody knows yet how long ago they were."""

    def kept(self, means_c, after=2):
        """A history with these hours from before the boot, the last of them just before place `after`."""
        history = OutdoorHistory()
        for n in range(HOURS):  # left from another week, and not known any more
            history.hour_cc[n], history.hour_dpa[n] = 3000, 4000
        history.note(30.0, 1800, 80.0)  # of before, too
        for n in range(len(means_c)):
            history.hour_cc[after - len(means_c) + n] = int(100 * means_c[n])
        history.resume(len(means_c), after, 80.0)
        return history

    def pa(self, *means_c):
        """The mean vapour pressure of hours at 80 % RH [Pa]."""
        return 0.8 * sum([sat_water_pa(mean_c) for mean_c in means_c]) / len(means_c)

    def close(self, history, mean_c, pa):
        self.assertAlmostEqual(history.mean_c(50.0), mean_c, delta=1e-4)
        self.assertAlmostEqual(history.mean_vapour_pa(50.0, 80.0), pa, delta=0.06)

    def test_they_are_the_known_week_across_the_rings_end(self):
        means_c = (-10.0, -8.0, -6.0, -4.0, -1.0)
        history = self.kept(means_c)
        self.assertEqual((history.count, history.fresh, history.joined), (5, 0, 0))
        self.assertEqual((history.sum_cc, history.back_cc(1), history.back_cc(5)), (-2900, -100, -1000))
        self.assertEqual(history.sum_dpa, sum([dpa_of(mean_c, 80.0) for mean_c in means_c]))
        self.close(history, -5.8, self.pa(*means_c))
        self.assertAlmostEqual(history.day_c, -5.8, delta=1e-4)
        self.assertAlmostEqual(history.day_lowest_c(0.0), -10.0, delta=1e-4)

    def test_the_next_hours_come_behind_them(self):
        history = self.kept((-10.0, -8.0, -6.0))
        history.note(-4.0, 3600, 80.0)
        self.assertEqual([history.back_cc(back) for back in (1, 2, 3, 4)], [-400, -600, -800, -1000])
        self.close(history, -7.0, self.pa(-10.0, -8.0, -6.0, -4.0))

    def test_of_a_week_kept_whole_the_oldest_hour_gives_way(self):
        history = self.kept([-3.0] + [6.0] * (HOURS - 1), 0)
        history.note(6.0, 3600, 80.0)
        self.close(history, 6.0, self.pa(6.0))
        self.assertEqual((history.count, history.sum_cc, history.fresh), (HOURS, 600 * HOURS, 1))

    def test_the_week_is_no_warmer_and_no_moister_than_what_is_read_since(self):
        for before in (1, 100):
            history = self.kept([8.0] * before)
            self.close(history, 8.0, self.pa(8.0))
            history.note(-10.0, 600, 80.0)
            self.close(history, -10.0, self.pa(-10.0))
            history.note(-10.0, 3000, 80.0)
            self.close(history, -10.0, self.pa(-10.0))
            history.note(-6.0, 3600, 80.0)
            self.close(history, -8.0, self.pa(-10.0, -6.0))
            history.note(-30.0, 1800, 80.0)  # no hour yet
            self.close(history, -8.0, self.pa(-10.0, -6.0))

    def test_warmer_air_than_before_the_boot_counts_as_one_hour_after_the_other(self):
        history = self.kept([-10.0] * 3)
        history.note(6.0, 600, 80.0)
        self.close(history, -10.0, self.pa(-10.0))
        history.note(6.0, 3000, 80.0)
        self.close(history, -6.0, self.pa(-10.0, -10.0, -10.0, 6.0))

    def test_once_the_time_off_is_known_only_more_than_a_week_makes_them_count_no_more(self):
        for gap_s, mean_c, count, fresh in (
            (3599, 7.0, 4, 4),
            (3600, 7.0, 4, 1),
            (604800, 7.0, 4, 1),
            (604801, -2.0, 1, 1),
        ):
            history = self.kept([10.0] * 3)
            history.note(-2.0, 3600, 80.0)
            history.settle(gap_s)
            pa = self.pa(10.0, 10.0, 10.0, -2.0) if count == 4 else self.pa(-2.0)
            self.close(history, mean_c, pa)
            self.assertEqual((history.count, history.fresh, history.joined), (count, fresh, fresh))
            history.settle(604801)  # it was settled
            history.note(-20.0, 600, 80.0)
            self.close(history, mean_c, pa)

    def test_after_a_short_time_off_the_week_is_what_it_was(self):
        history = self.kept([8.0] * 3)
        history.settle(5000)
        history.note(-10.0, 600, 80.0)
        self.close(history, 8.0, self.pa(8.0))

    def test_where_nothing_is_kept_the_time_off_changes_nothing(self):
        forgotten = self.kept([8.0] * 3)
        forgotten.forget()
        for history in (OutdoorHistory(), self.kept([]), forgotten):
            history.note(-4.0, 3600, 80.0)
            history.interrupt()
            history.note(-6.0, 3600, 80.0)
            history.settle(0)
            self.assertEqual((history.count, history.joined), (2, 1))

    def test_after_more_than_a_week_off_and_no_hour_since_nothing_is_known(self):
        history = self.kept([10.0] * 3)
        history.note(-2.0, 1800, 80.0)
        history.settle(700000)
        self.assertEqual((history.count, history.mean_c(-3.0)), (0, -3.0))
        history.note(-4.0, 1800, 80.0)  # with the half hour before
        self.close(history, -3.0, self.pa(-3.0))

    def test_where_none_was_kept_it_begins_as_new(self):
        history = self.kept([])
        self.assertEqual((history.count, history.mean_c(-7.0)), (0, -7.0))
        history.note(-20.0, 600, 80.0)
        self.assertEqual(history.mean_c(-7.0), -7.0)
        history.note(-20.0, 3000, 80.0)
        self.close(history, -20.0, self.pa(-20.0))


class TestBelief(unittest.TestCase):
    def test_the_first_reading_is_believed(self):
        belief = OutdoorBelief()
        self.assertFalse(belief.take(12.0, 5))
        self.assertEqual(belief.believed_c, 12.0)
        belief = OutdoorBelief()
        self.assertFalse(belief.take(20.0, 5))
        self.assertEqual(belief.believed_c, 20.0)

    def test_down_at_once_up_three_kelvin_an_hour(self):
        belief = OutdoorBelief()
        belief.take(0.0, 1000)
        self.assertFalse(belief.take(-12.0, 1060))
        self.assertEqual(belief.believed_c, -12.0)
        self.assertTrue(belief.take(0.0, 1660))
        self.assertAlmostEqual(belief.believed_c, -11.5, delta=1e-4)

    def test_readings_once_an_hour_confirm_at_the_second(self):
        belief = OutdoorBelief()
        belief.take(-12.0, 0)
        self.assertTrue(belief.take(0.0, 3600))
        self.assertAlmostEqual(belief.believed_c, -9.0, delta=1e-4)
        self.assertFalse(belief.take(0.0, 7200))
        self.assertEqual(belief.believed_c, 0.0)

    def test_a_cold_first_reading_of_the_hour_does_not_take_back_the_slow_rise(self):
        belief = OutdoorBelief()
        belief.take(-10.0, 0)
        belief.take(-9.9, 60)
        for minute in range(2, 62):
            belief.take(3.0, 60 * minute)
        self.assertAlmostEqual(belief.believed_c, -10.0 + 3.0 * 61 / 60, delta=1e-3)

    def test_each_hour_confirms_its_own_lowest(self):
        belief = OutdoorBelief()
        belief.take(-12.0, 0)
        belief.take(0.0, 60)
        for minute in range(2, 122):
            belief.take(1.5, 60 * minute)
            if minute == 61:
                self.assertEqual(belief.believed_c, 0.0)
        self.assertEqual(belief.believed_c, 1.5)

    def test_the_second_hour_confirms_what_it_read_itself(self):
        belief = OutdoorBelief()
        belief.take(-4.0, 0)
        belief.take(0.0, 60)
        for minute in range(2, 122):
            belief.take(9.0, 60 * minute)
        self.assertEqual(belief.believed_c, 9.0)

    def test_a_jump_amid_a_rise_starts_the_hour_anew(self):
        belief = OutdoorBelief()
        belief.take(-4.0, 0)
        for at_s in range(60, 3060, 60):
            belief.take(4.0, at_s)
        self.assertIs(belief.take(30.0, 3060), True)
        for at_s in range(3120, 6720, 60):
            self.assertIs(belief.take(4.0, at_s), True)
        self.assertIs(belief.take(4.0, 6720), False)
        self.assertEqual(belief.believed_c, 4.0)

    def test_a_time_before_the_boot_says_nothing_and_a_reading_that_is_not_trusted_warms_nothing(self):
        belief = OutdoorBelief()
        self.assertIs(belief.take(5.0, -1), False)
        self.assertIs(belief.known, False)
        belief.take(-4.0, 0)
        for at_s in range(60, 7200, 60):
            self.assertIs(belief.take(4.0, at_s, False), True)
        self.assertEqual(belief.believed_c, -4.0)

    def test_a_falling_back_starts_the_hour_anew(self):
        belief = OutdoorBelief()
        belief.take(-12.0, 0)
        for minute in range(1, 50):
            belief.take(0.0, 60 * minute)
        belief.take(-12.0, 3000)
        for minute in range(51, 100):
            self.assertTrue(belief.take(0.0, 60 * minute))
        self.assertTrue(belief.believed_c < -9.0)

    def test_a_new_belief_knows_nothing(self):
        belief = OutdoorBelief()
        self.assertEqual((belief.believed_c, belief.rising_lowest_c, belief.at_s), (0.0, 0.0, 0))
        self.assertEqual((belief.rising_since_s, belief.jumped_s), (-1, -1))
        self.assertEqual((belief.usual_c, belief.usual_s), (0.0, 0))
        self.assertIs(belief.known, False)

    def test_held_or_not_is_told_as_such(self):
        belief = OutdoorBelief()
        self.assertIs(belief.take(0.0, 10), False)
        self.assertIs(belief.take(5.0, 20), True)
        self.assertIs(belief.take(-1.0, 30), False)
        self.assertIs(belief.take(-0.75, 330), False)  # 0.25 K in 300 s is what 3 K/h allows

    def test_an_hours_warmth_is_confirmed_after_3600_s_and_no_sooner(self):
        belief = OutdoorBelief()
        belief.take(-12.0, 0)
        for at_s in range(1, 3600, 30):
            belief.take(0.0, at_s)
        self.assertTrue(belief.take(0.0, 3600))  # 3599 s after the first warm reading
        self.assertAlmostEqual(belief.believed_c, -9.0, delta=0.01)
        self.assertFalse(belief.take(0.0, 3601))
        self.assertEqual(belief.believed_c, 0.0)

    def test_a_gap_of_90_minutes_may_have_been_warm_a_longer_one_not(self):
        for gap_s, believed_c in ((5400, 0.0), (5401, -8.9)):
            belief = OutdoorBelief()
            belief.take(-12.0, 0)
            belief.take(0.0, 120)
            belief.take(0.0, 120 + gap_s)  # the hour that counts as having passed allows 3 K
            self.assertAlmostEqual(belief.believed_c, believed_c, delta=1e-3)

    def test_after_a_rise_the_next_warmth_is_measured_anew(self):
        belief = OutdoorBelief()
        belief.take(0.0, 0)
        self.assertTrue(belief.take(1.0, 60))
        self.assertFalse(belief.take(1.0, 3600))
        self.assertEqual(belief.rising_since_s, -1)
        self.assertTrue(belief.take(13.0, 3660))
        self.assertTrue(belief.take(13.0, 7200))  # 3540 s of this warmth
        self.assertTrue(belief.believed_c < 5.0)

    def test_a_belief_once_reached_ends_the_rise(self):
        belief = OutdoorBelief()
        belief.take(0.0, 0)
        belief.take(1.0, 60)
        belief.take(0.05, 90)  # the belief is already at 0.05 or above
        self.assertEqual(belief.rising_since_s, -1)

    def test_an_equal_reading_ends_the_rise_too(self):
        belief = OutdoorBelief()
        belief.take(0.0, 0)
        belief.take(8.0, 60)
        belief.take(belief.believed_c, 120)
        self.assertEqual(belief.rising_since_s, -1)

    def test_a_rise_that_began_at_second_nought_is_one(self):
        belief = OutdoorBelief()
        belief.take(-12.0, 0)
        belief.take(0.0, 0)
        self.assertEqual(belief.rising_since_s, 0)
        belief.take(-5.0, 1800)
        self.assertEqual(belief.rising_since_s, 0)
        self.assertEqual(belief.rising_lowest_c, -5.0)

    def test_the_next_hour_is_confirmed_an_hour_later(self):
        belief = OutdoorBelief()
        belief.take(-12.0, 0)
        for at_s in range(60, 3720, 60):
            belief.take(0.0 if at_s < 3660 else 8.0, at_s)
        self.assertEqual(belief.believed_c, 0.0)
        self.assertTrue(belief.take(8.0, 3780))  # 120 s into the second hour
        self.assertTrue(belief.believed_c < 1.0)


class TestJump(unittest.TestCase):
    """Readings far above what was usual: another place, another unit, the sun."""

    def test_a_jump_beyond_14_k_holds_for_two_days(self):
        belief = OutdoorBelief()
        belief.take(-10.0, 0)
        belief.take(-10.0, 600)
        self.assertTrue(belief.take(12.5, 1200))
        for at_s in range(1800, 172800, 600):
            self.assertTrue(belief.take(12.5, at_s))
        belief.take(12.5, 1200 + 172799)
        self.assertEqual((belief.believed_c, belief.jumped_s), (-10.0, 1200))
        belief.take(12.5, 1200 + 172800)
        self.assertEqual(belief.jumped_s, -1)
        belief.take(12.5, 1800 + 172800)
        self.assertTrue(belief.believed_c > -10.0)

    def test_what_a_jump_is_to_a_tenth_of_a_kelvin_and_to_the_second(self):
        for rise_k, held in ((14.0, -1), (14.1, 60)):
            belief = OutdoorBelief()
            belief.take(-10.0, 0)
            belief.take(-10.0 + rise_k, 60)
            self.assertEqual(belief.jumped_s, held)
        self.assertIs(belief.take(15.0, 60), True)
        self.assertEqual(belief.jumped_s, 60)
        self.assertIs(belief.take(15.0, 59), True)  # told late, and older than the jump: it goes on from there
        self.assertEqual((belief.jumped_s, belief.usual_c), (-1, 15.0))

    def test_far_within_a_second_is_a_jump_and_with_a_clock_set_back_it_is_none(self):
        for at_s, jumped_s, usual_c in ((90, 90, -10.0), (89, -1, -10.0), (60, -1, -10.0), (59, -1, 10.0)):
            belief = OutdoorBelief()
            for seen_s in (0, 60, 90):  # what is usual was taken last at 60 s
                belief.take(-10.0, seen_s)
            belief.take(10.0, at_s)
            self.assertEqual(belief.jumped_s, jumped_s)
            self.assertAlmostEqual(belief.usual_c, usual_c, delta=0.2)

    def test_a_jump_in_second_nought_is_one(self):
        belief = OutdoorBelief()
        belief.take(-10.0, 0)
        self.assertIs(belief.take(10.0, 0), True)
        self.assertEqual(belief.jumped_s, 0)
        belief.take(-9.0, 30)
        self.assertEqual((belief.jumped_s, belief.usual_c), (-1, -9.0))

    def test_after_more_than_90_minutes_without_a_reading_it_may_have_warmed_so_far(self):
        for gap_s, jumped_s in ((5400, 5460), (5401, -1)):
            belief = OutdoorBelief()
            belief.take(-10.0, 60)
            belief.take(10.0, 60 + gap_s)
            self.assertEqual(belief.jumped_s, jumped_s)

    def test_while_a_jump_lasts_time_does_not_add_up_to_a_rise(self):
        belief = OutdoorBelief()
        belief.take(-10.0, 0)
        for at_s in range(60, 3660, 60):
            self.assertIs(belief.take(14.0, at_s), True)
        belief.take(-8.0, 3660)  # back: a rise of a minute
        self.assertAlmostEqual(belief.believed_c, -10.0 + 3.0 / 60.0, delta=1e-5)

    def test_the_usual_is_a_mean_of_the_last_hour_taken_once_a_minute(self):
        belief = OutdoorBelief()
        belief.take(0.0, 0)
        belief.take(6.0, 59)
        self.assertEqual(belief.usual_c, 0.0)
        belief.take(6.0, 60)
        self.assertAlmostEqual(belief.usual_c, 0.1, delta=1e-6)
        belief.take(6.0, 119)
        self.assertAlmostEqual(belief.usual_c, 0.1, delta=1e-6)
        belief.take(6.1, 59)  # a clock that is set back
        self.assertEqual(belief.usual_c, 6.1)

    def test_back_from_a_jump_all_is_as_before(self):
        belief = OutdoorBelief()
        belief.take(-10.0, 0)
        belief.take(20.0, 600)
        self.assertTrue(belief.jumped_s >= 0)
        self.assertFalse(belief.take(-9.9, 1200))
        self.assertEqual((belief.jumped_s, belief.believed_c), (-1, -9.9))

    def test_a_cold_glitch_does_not_make_the_return_a_jump(self):
        belief = OutdoorBelief()
        for at_s in range(0, 600, 10):
            belief.take(-5.0, at_s)
        belief.take(-50.0, 600)
        for at_s in range(610, 4300, 10):
            belief.take(-5.0, at_s)
        self.assertEqual((belief.jumped_s, belief.believed_c), (-1, -5.0))


if __name__ == "__main__":
    unittest.main()
