"""The forecast as judged: when it is believed, and the coldest it lets one expect, by hand."""

import unittest

from dewcore import forecast as fc
from dewcore.readings import FORECAST_NONE, Readings

HOUR_UTC_S = 1000000800  # 277778 whole hours since 1970
NAN = float("nan")
INF = float("inf")
ROUNDED = 0.0101  # values are kept in 0.01 K, rounded down


def told(values_c, issued_s=0, start_s=0, utc_s=0):
    """Readings with a forecast of these hours (None missing); seconds from a whole hour."""
    readings = Readings()
    readings.utc_s = HOUR_UTC_S + utc_s
    readings.forecast_issued_s = HOUR_UTC_S + issued_s
    readings.forecast_start_s = HOUR_UTC_S + start_s
    for i in range(len(values_c)):
        if values_c[i] is not None:
            readings.forecast_dc[i] = int(10.0 * values_c[i])
    return readings


def near():
    """A Forecast that has shown itself near."""
    forecast = fc.Forecast()
    forecast.off_k = 0.5
    forecast.elsewhere = False
    return forecast


def judged(values_c, outdoor_c, **times):
    """A near Forecast that has judged these hours against a reading."""
    forecast = near()
    forecast.judge(told(values_c, **times), outdoor_c, True, 5000)
    return forecast


class TestSpread(unittest.TestCase):
    def test_it_grows_fast_for_three_hours_then_slowly_for_two_days(self):
        # 0.2 K an hour from 0.4, then 1.5 K in 45 h: 1/30 K an hour
        table = ((0.0, 0.4), (1.5, 0.7), (3.0, 1.0), (3.03, 1.001), (3.6, 1.02), (18.0, 1.5))
        for lead_h, sd_k in table + ((25.5, 1.75), (47.97, 2.499), (48.0, 2.5), (48.3, 2.5), (99.0, 2.5)):
            self.assertAlmostEqual(fc.spread_k(lead_h), sd_k, delta=1e-5)


class TestHours(unittest.TestCase):
    def at(self, i, values):
        readings = told(values)
        return fc.hour_dc(readings.forecast_dc, i)

    def test_an_hour_that_is_there_is_itself(self):
        self.assertEqual(self.at(1, [1.0, -2.5, 3.0]), -25)
        self.assertEqual(self.at(0, [1.0, -2.5, 3.0]), 10)

    def test_the_ends_of_what_air_can_be(self):
        self.assertEqual(self.at(0, [-70.0]), -700)
        self.assertEqual(self.at(0, [60.0]), 600)
        self.assertEqual(self.at(0, [-70.1]), FORECAST_NONE)
        self.assertEqual(self.at(0, [60.1]), FORECAST_NONE)

    def test_one_or_two_missing_hours_take_the_lower_neighbour(self):
        for gap in ([5.0, None, 3.0], [3.0, None, 5.0], [3.0, 60.1, 5.0]):
            self.assertEqual(self.at(1, gap), 30)
        for gap in ([5.0, None, None, 3.0], [3.0, None, None, 5.0]):
            self.assertEqual(self.at(1, gap), 30)
            self.assertEqual(self.at(2, gap), 30)

    def test_three_are_missing(self):
        for i in (1, 2, 3):
            self.assertEqual(self.at(i, [5.0, None, None, None, 3.0]), FORECAST_NONE)

    def test_nothing_is_made_up_at_either_end_or_beyond(self):
        self.assertEqual(self.at(0, [None, 3.0, 4.0]), FORECAST_NONE)
        self.assertEqual(self.at(1, [None, None, 4.0, 4.0]), FORECAST_NONE)
        self.assertEqual(self.at(2, [4.0, 4.0]), FORECAST_NONE)
        whole = [-1.0] * 72
        self.assertEqual(self.at(71, whole), -10)
        self.assertEqual(self.at(72, whole), FORECAST_NONE)
        self.assertEqual(self.at(-1, whole), FORECAST_NONE)
        self.assertEqual(self.at(71, [-1.0] * 71), FORECAST_NONE)


class TestStatus(unittest.TestCase):
    def status(self, values_c=(0.0,) * 60, outdoor_c=0.0, outdoor_read=True, **times):
        forecast = near()
        status = forecast.judge(told(values_c, **times), outdoor_c, outdoor_read, 5000)
        self.assertEqual(forecast.status, status)
        for k in (0, 24, 48):
            self.assertEqual(forecast.lowest_c(k) == fc.NO_FORECAST, status != fc.FORECAST_FRESH)
        return status

    def test_the_codes(self):
        codes = (fc.FORECAST_NONE_YET, fc.FORECAST_FRESH, fc.FORECAST_OLD, fc.FORECAST_NOT_DUE)
        self.assertEqual(codes, (0, 1, 2, 3))
        codes = (fc.FORECAST_ELSEWHERE, fc.FORECAST_NO_CLOCK, fc.FORECAST_GAP, fc.FORECAST_UNCHECKED)
        self.assertEqual(codes, (4, 5, 6, 7))
        self.assertEqual(fc.NO_FORECAST, 1000.0)

    def test_one_just_issued_is_fresh(self):
        self.assertEqual(self.status(), fc.FORECAST_FRESH)

    def test_before_the_first(self):
        forecast = fc.Forecast()
        self.assertEqual((forecast.status, forecast.lowest_c(0)), (fc.FORECAST_NONE_YET, 1000.0))
        readings = Readings()
        readings.utc_s = 1  # the earliest known second
        self.assertEqual(near().judge(readings, 0.0, True, 0), fc.FORECAST_NONE_YET)
        readings.forecast_issued_s = 1
        readings.forecast_start_s = 1
        readings.forecast_dc[0] = readings.forecast_dc[1] = 0
        self.assertEqual(near().judge(readings, 0.0, True, 0), fc.FORECAST_FRESH)

    def test_without_a_clock(self):
        self.assertEqual(self.status(utc_s=-HOUR_UTC_S), fc.FORECAST_NO_CLOCK)
        self.assertEqual(self.status(utc_s=-HOUR_UTC_S - 1), fc.FORECAST_NO_CLOCK)

    def test_eighteen_hours_are_the_oldest(self):
        self.assertEqual(self.status((0.0,) * 72, utc_s=64800), fc.FORECAST_FRESH)
        self.assertEqual(self.status((0.0,) * 72, utc_s=64801), fc.FORECAST_OLD)
        self.assertEqual(self.status(issued_s=-64801), fc.FORECAST_OLD)

    def test_the_future_is_ten_minutes_away(self):
        self.assertEqual(self.status(issued_s=600), fc.FORECAST_FRESH)
        self.assertEqual(self.status(issued_s=601), fc.FORECAST_NOT_DUE)
        self.assertEqual(self.status(start_s=600), fc.FORECAST_FRESH)
        self.assertEqual(self.status(start_s=601), fc.FORECAST_NOT_DUE)

    def test_it_has_to_know_this_hour_and_the_next(self):
        self.assertEqual(self.status((None,) * 3 + (0.0,) * 60), fc.FORECAST_GAP)
        self.assertEqual(self.status((0.0,)), fc.FORECAST_GAP)
        self.assertEqual(self.status((0.0,), start_s=-10 * 3600), fc.FORECAST_GAP)
        self.assertEqual(self.status((None,) + (0.0,) * 60, start_s=-3600), fc.FORECAST_FRESH)
        self.assertEqual(self.status((0.0,) * 72, start_s=-100000 * 3600), fc.FORECAST_GAP)

    def test_it_has_to_be_compared_with_a_reading(self):
        self.assertEqual(self.status(outdoor_read=False), fc.FORECAST_UNCHECKED)
        for nonsense in (NAN, INF, -INF, -70.1, 60.1):
            self.assertEqual(self.status(outdoor_c=nonsense), fc.FORECAST_UNCHECKED)
        self.assertEqual(self.status(outdoor_c=-70.0), fc.FORECAST_FRESH)
        self.assertEqual(self.status(outdoor_c=60.0), fc.FORECAST_FRESH)

    def test_what_was_looked_up_before_is_forgotten_with_the_status(self):
        forecast = judged([0.0] * 60, 0.0)
        self.assertEqual(forecast.lowest_c(3), 0.0)
        forecast.judge(told([0.0] * 60), 0.0, False, 5600)
        self.assertEqual(forecast.lowest_c(3), 1000.0)

    def test_no_nonsense_breaks_it(self):
        forecast = near()
        readings = told([0.0] * 60)
        for utc_s in (-(1 << 70), 0, HOUR_UTC_S, 1 << 70):
            for issued_s in (-(1 << 70), 0, HOUR_UTC_S, 1 << 70):
                for start_s in (-(1 << 70), 0, HOUR_UTC_S, 1 << 70):
                    readings.utc_s = utc_s
                    readings.forecast_issued_s = issued_s
                    readings.forecast_start_s = start_s
                    status = forecast.judge(readings, 0.0, True, 5000)
                    self.assertEqual(status == fc.FORECAST_FRESH, 0 < utc_s == issued_s == start_s)


class TestLowest(unittest.TestCase):
    def check(self, forecast, rows):
        for k, low_c in rows:
            self.assertAlmostEqual(forecast.lowest_c(k), low_c, delta=ROUNDED)

    def test_a_steady_forecast_is_itself(self):
        self.check(judged([-10.0] * 60, -10.0), ((0, -10.0), (2, -10.0), (3, -10.0), (24, -10.0), (48, -10.0)))

    def test_only_whole_hours_of_two_days(self):
        forecast = judged([-10.0] * 72, -10.0)
        self.assertEqual((forecast.lowest_c(-1), forecast.lowest_c(49)), (1000.0, 1000.0))

    def test_the_age_of_the_issue_is_kept_for_who_needs_the_spread(self):
        self.assertEqual(fc.Forecast().age_h, 0.0)
        # two hours, half an hour; from the future: as if issued now; the values are the same
        for issued_s, age_h in ((-7200, 2.0), (-1800, 0.5), (0, 0.0), (600, 0.0)):
            forecast = judged([-10.0] * 60, -10.0, issued_s=issued_s)
            self.assertEqual(forecast.age_h, age_h)
            self.check(forecast, ((0, -10.0), (24, -10.0)))

    def test_hundredths_are_rounded_towards_the_cold(self):
        # 1 K off, an hour on: exp(-1/6) = 0.846482
        self.assertEqual(judged([0.0] * 60, -1.0).low_cc[1], -85)
        self.assertEqual(judged([0.0] * 60, 1.0).low_cc[1], 84)

    def dip(self, utc_s):
        """A fall of 6 K for the hour 5 alone, seen from utc_s."""
        forecast = near()
        values = [0.0] * 60
        values[5] = -6.0
        forecast.judge(told(values, utc_s=utc_s), 0.0, True, 5000)
        return forecast

    def test_an_hour_early_or_late_counts(self):
        self.check(self.dip(0), ((0, 0.0), (3, 0.0), (4, -6.0), (5, -6.0), (6, -6.0), (7, 0.0)))

    def test_the_hour_that_comes_next_counts_from_now_on(self):
        self.check(self.dip(4 * 3600), ((0, -6.0), (1, -6.0), (2, -6.0), (3, 0.0)))

    def test_between_the_hours_it_is_a_straight_line(self):
        # half past: k hours ahead the window is k - 0.5 to k + 1.5; the dip is a V from 4 over 5 to 6
        self.check(self.dip(1800), ((2, 0.0), (3, -3.0), (4, -6.0), (5, -6.0), (6, -3.0), (7, 0.0)))
        # a quarter past: the end of k = 3 is at 4.25, a quarter down; the beginning of 6 at 5.25
        self.check(self.dip(900), ((3, -1.5), (4, -6.0), (5, -6.0), (6, -4.5), (7, 0.0)))
        # two hours and a quarter after the start
        self.check(self.dip(2 * 3600 + 900), ((0, 0.0), (1, -1.5), (2, -6.0), (3, -6.0), (4, -4.5), (5, 0.0)))

    def test_now_is_read_between_the_hours_too(self):
        # 4 K down from hour 0 to 1: at a quarter past -1, as read, so nothing is carried ahead
        forecast = judged([0.0, -4.0] + [-4.0] * 58, -1.0, utc_s=900, issued_s=900)
        self.check(forecast, ((0, -4.0), (3, -4.0)))
        self.assertAlmostEqual(forecast.off_k, 0.5, delta=1e-6)
        forecast.judge(told([0.0, -4.0] + [-4.0] * 58, utc_s=900), -1.0, True, 5600)
        self.assertAlmostEqual(forecast.off_k, 0.5 * 71 / 72, delta=1e-6)

    def test_the_past_hour_is_not_needed_and_this_one_counts(self):
        # risen since the whole hour: the window's beginning is this hour's value
        forecast = judged([-5.0, 5.0] + [5.0] * 58, 0.0, utc_s=1800, issued_s=1800)
        self.check(forecast, ((0, -5.0), (1, 0.0), (2, 5.0)))

    def test_a_source_a_little_ahead_begins_now(self):
        forecast = near()
        values = [0.0] * 60
        values[3] = -6.0
        forecast.judge(told(values, start_s=600), 0.0, True, 5000)
        self.check(forecast, ((1, 0.0), (2, -6.0), (4, -6.0), (5, 0.0)))
        self.assertEqual(forecast.low_cc[1], 0)  # not a second later: nothing of the fall from hour 2 on
        self.assertEqual(judged(values, 0.0, start_s=1).status, fc.FORECAST_FRESH)

    def carried(self, outdoor_c):
        """What a reading of outdoor_c, where 0 was told, adds after 0, 6, 12 and 48 hours [K]."""
        forecast = near()
        forecast.judge(told([0.0] * 60), outdoor_c, True, 5000)
        return [forecast.lowest_c(k) for k in (0, 6, 12, 48)]

    def almost(self, found, wanted):
        for a, b in zip(found, wanted):
            self.assertAlmostEqual(a, b, delta=ROUNDED)

    def test_what_the_reading_says_fades_by_a_third_of_itself_every_six_hours(self):
        # exp(-1) = 0.3679, exp(-2) = 0.1353, exp(-8) = 0.0003
        self.almost(self.carried(-1.0), (-1.0, -0.368, -0.135, 0.0))
        self.almost(self.carried(2.0), (2.0, 0.736, 0.271, 0.001))
        self.almost(self.carried(-2.0), (-2.0, -0.736, -0.271, -0.001))

    def test_what_is_colder_than_an_ordinary_error_stays(self):
        # 8 K colder: 2 fade, 6 stay
        self.almost(self.carried(-8.0), (-8.0, -6.736, -6.271, -6.001))

    def test_warmth_is_carried_ahead_up_to_three_kelvin(self):
        self.almost(self.carried(3.0), (3.0, 1.104, 0.406, 0.001))
        self.almost(self.carried(9.0), (3.0, 1.104, 0.406, 0.001))

    def test_the_coldest_and_the_warmest_that_can_be(self):
        forecast = judged([60.0] * 60, -70.0)
        # 130 K colder: 128 stay; at 48 h 60 - 128
        self.check(forecast, ((0, -70.0), (48, -68.0)))
        self.check(judged([-70.0] * 60, 60.0), ((0, -67.0),))

    def test_a_hole_of_three_hours_is_unknown_where_it_is_touched(self):
        # hours 10 to 12; an hour ahead touches from one before to two after
        values = [0.0] * 10 + [None] * 3 + [0.0] * 50
        forecast = judged(values, 0.0)
        unknown = [k for k in range(49) if forecast.lowest_c(k) == fc.NO_FORECAST]
        self.assertEqual(unknown, [8, 9, 10, 11, 12, 13])

    def test_what_an_issue_does_not_know_is_not_taken_from_the_one_before(self):
        forecast = judged([0.0] * 60, 0.0)
        forecast.judge(told([0.0] * 10), 0.0, True, 5600)
        known = [k for k in range(49) if forecast.lowest_c(k) != fc.NO_FORECAST]
        self.assertEqual(known, [0, 1, 2, 3, 4, 5, 6, 7])

    def test_a_hole_of_two_hours_is_bridged(self):
        values = [0.0] * 10 + [None] * 2 + [-5.0] * 50
        forecast = judged(values, 0.0)
        self.check(forecast, ((8, 0.0), (9, -5.0)))

    def test_impossible_hours_are_a_hole_too(self):
        for nonsense_c in (61.0, -71.0, 3000.0, -3000.0):
            values = [0.0] * 10 + [nonsense_c] * 2 + [-5.0] * 50
            forecast = judged(values, 0.0)
            self.check(forecast, ((8, 0.0), (9, -5.0)))

    def test_after_a_short_forecast_nothing_is_known(self):
        forecast = judged([0.0] * 50, 0.0)
        self.assertEqual((forecast.lowest_c(47), forecast.lowest_c(48)), (0.0, 1000.0))
        forecast = judged([0.0] * 2, 0.0)
        self.assertEqual(forecast.lowest_c(0), 1000.0)
        self.assertEqual(forecast.status, fc.FORECAST_FRESH)

    def test_all_three_days_can_be_used(self):
        # 21 hours after the start, hour 71 is 50 ahead, the last that is touched
        values = [0.0] * 72
        values[71] = -9.0
        forecast = judged(values, 0.0, start_s=-21 * 3600 - 1800)
        # half past, the window of 48 h ends at 70.5 hours: half of 9 K down
        self.check(forecast, ((48, -4.5),))
        forecast = judged(values, 0.0, start_s=-22 * 3600)
        self.assertEqual(forecast.lowest_c(48), 1000.0)


class TestElsewhere(unittest.TestCase):
    def watch(self, forecast, told_c, read_c, minutes, from_s=0, step_s=600):
        """Minutes until the status is another than at first; None where it stays."""
        readings = told([told_c] * 72)
        first = forecast.judge(readings, read_c, True, from_s)
        for n in range(1, minutes * 60 // step_s + 1):
            if forecast.judge(readings, read_c, True, from_s + n * step_s) != first:
                return n * step_s // 60
        return None

    def test_a_new_forecast_first_has_to_show_that_it_is_near(self):
        # the mean begins at 4 K; of exact agreement it is 4 * (71/72)^n, below 2.5 from n = 34 on
        forecast = fc.Forecast()
        self.assertEqual(self.watch(forecast, 0.0, 0.0, 1440), 340)
        self.assertEqual(forecast.status, fc.FORECAST_FRESH)

    def test_one_from_a_milder_place_is_never_believed_at_first(self):
        forecast = fc.Forecast()
        self.assertEqual(self.watch(forecast, 8.0, 0.0, 4 * 1440), None)
        self.assertEqual(forecast.status, fc.FORECAST_ELSEWHERE)

    def test_one_that_moves_to_a_place_8_k_milder_is_found_within_a_day(self):
        # from 0.5 K: 8 - 7.5 * (71/72)^n exceeds 4 from n = 45 on
        forecast = near()
        self.assertEqual(self.watch(forecast, 8.0, 0.0, 1440), 450)
        self.assertEqual((forecast.status, forecast.lowest_c(24)), (fc.FORECAST_ELSEWHERE, 1000.0))
        # one from a colder place is none of ours either
        self.assertEqual(self.watch(near(), -8.0, 0.0, 1440), 450)

    def test_until_it_is_found_it_lets_nobody_expect_warmth(self):
        # 24 h ahead, 0 is to come and 8 told: 6 K stay off, 2 fade to 0.04
        forecast = judged([8.0] * 60, 0.0)
        self.assertAlmostEqual(forecast.lowest_c(24), 8.0 - 6.0 - 0.037, delta=ROUNDED)

    def test_an_issue_shifted_by_hours_is_no_other_place(self):
        # 6 K off for six hours: 6 - 5.5 * (71/72)^36 = 2.68
        forecast = near()
        self.assertEqual(self.watch(forecast, 6.0, 0.0, 360), None)
        self.assertAlmostEqual(forecast.off_k, 2.676, delta=0.002)

    def test_once_found_it_has_to_come_nearer_than_that(self):
        forecast = near()
        self.watch(forecast, 8.0, 0.0, 450)
        # 3 K off are too far, for ever
        self.assertEqual(self.watch(forecast, 3.0, 0.0, 4 * 1440, from_s=30000), None)
        # 1 K off, from 3: 1 + 2 * (71/72)^n is below 2.5 from n = 21 on
        self.assertEqual(self.watch(forecast, 1.0, 0.0, 1440, from_s=500000), 21 * 10 - 60)  # the pause counts an hour

    def test_the_limits_themselves(self):
        for off_k, elsewhere, after in (
            (4.0, False, False),
            (4.001, False, True),
            (2.5, True, True),
            (2.499, True, False),
            (2.501, False, False),
        ):
            forecast = fc.Forecast()
            forecast.off_k = off_k
            forecast.elsewhere = elsewhere
            forecast.judge(told([0.0] * 60), 0.0, True, 0)
            self.assertEqual(forecast.elsewhere, after)

    def test_time_counts_not_how_often_it_is_asked(self):
        forecast = near()
        readings = told([8.0] * 60)
        for _ in range(3):
            forecast.judge(readings, 0.0, True, 0)  # at the board's very first second
        self.assertEqual(forecast.off_k, 0.5)
        forecast.judge(readings, 0.0, True, 1200)
        # 20 minutes of 720: 0.5 + 7.5/36
        self.assertAlmostEqual(forecast.off_k, 0.5 + 7.5 / 36, delta=1e-5)
        for _ in range(100):
            forecast.judge(readings, 0.0, True, 1200)
        self.assertAlmostEqual(forecast.off_k, 0.5 + 7.5 / 36, delta=1e-5)

    def test_after_a_pause_one_comparison_weighs_an_hour(self):
        forecast = near()
        readings = told([8.0] * 60)
        forecast.judge(readings, 0.0, True, 0)
        forecast.judge(readings, 0.0, True, 1000000)
        self.assertAlmostEqual(forecast.off_k, 0.5 + 7.5 / 12, delta=1e-5)

    def test_a_clock_that_ran_backwards_takes_nothing_back(self):
        forecast = near()
        readings = told([8.0] * 60)
        forecast.judge(readings, 0.0, True, 9000)
        forecast.judge(readings, 0.0, True, 0)
        self.assertEqual(forecast.off_k, 0.5)


class TestSize(unittest.TestCase):
    def test_it_keeps_less_than_a_hundred_bytes_of_hours(self):
        forecast = fc.Forecast()
        self.assertEqual(len(forecast.low_cc) * 2, 98)
        self.assertEqual(set(forecast.low_cc), {FORECAST_NONE})
        self.assertEqual((forecast.off_k, forecast.elsewhere), (4.0, True))


if __name__ == "__main__":
    unittest.main()
