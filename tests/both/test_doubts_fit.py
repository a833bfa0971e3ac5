"""The fit behind the humidifier's doubts, quarter by quarter: thresholds, errors, what is remembered."""

import unittest

from dewcore import readings as r
from dewcore import words as w
from dewcore.doubts import BACK_G_KG, GUESS_G_KG, Doubts
from dewcore.settings import Settings

STEP_S = 300


class Told:
    """What a quarter of an hour left unexplained, as dewcore.house tells it."""

    def __init__(self):
        self.quarter_s = -1
        self.told = True
        self.mean_pad = 0.0
        self.mean_out = 0.0
        self.unexplained = 0.0
        self.mean_gain = 0.0
        self.hours = 0
        self.dry_per_h = 0.25
        self.valve_g_kg_h = 1.0


class Fit:
    """Doubts that are told one quarter after the other."""

    def __init__(self, strength=1.0, recent=1.0, drain=None, usual=0.0, excess=0.0):
        settings = Settings()
        if drain is not None:
            settings.change({"has_drain_wet": 1})
        self.doubts = Doubts(settings)
        self.doubts.strength, self.doubts.recent = strength, recent
        self.doubts.usual, self.doubts.excess = usual, excess
        self.house = Told()
        self.readings = r.Readings()
        self.readings.drain_wet.set(r.ON if drain else r.OFF, 0)
        self.inputs = r.Inputs()
        self.now_s = 0
        self.quarters(1, r.OFF, False, 0.0)
        self.house.hours = 300

    def quarters(self, count, fan, is_open, left):
        """So many of one kind; left: g/kg/h that the rates leave."""
        house = self.house
        for _ in range(count):
            for step in range(3):
                self.now_s += STEP_S
                self.readings.fan.set(fan, self.now_s)
                if step == 2:
                    house.quarter_s = self.now_s
                    house.mean_pad = 1.0 if is_open else 0.0
                    house.unexplained = house.mean_gain + left
                self.doubts.minute(self.readings, self.inputs, 0.0, house, is_open, self.now_s)
        return self

    def days(self, days, opened=None, shut=None, noise=0.0):
        """The furnace runs every other quarter; opened, shut: what those with the valve open, or shut, leave."""
        kinds = [kind for kind in ((opened, True), (shut, False)) if kind[0] is not None]
        for n in range(int(days * 48 / len(kinds))):
            sign = noise if n % 4 < 2 else -noise
            for left, is_open in kinds:
                self.quarters(1, r.ON, is_open, left + sign).quarters(1, r.OFF, False, -sign)
        return self

    def told(self, code):
        return self.doubts.notices >> code & 1


class TestStrength(unittest.TestCase):
    def test_it_is_what_open_quarters_leave_beyond_the_others(self):
        fit = Fit(0.0, 0.0).days(1.5, 1.3, 0.0)
        self.assertTrue(abs(fit.doubts.strength - 1.3) < 0.05)

    def test_gains_that_are_known_do_not_count(self):
        fit = Fit(0.0, 0.0)
        fit.house.mean_gain = 3.0
        fit.days(1.5, 1.3, 0.0)
        self.assertTrue(abs(fit.doubts.strength - 1.3) < 0.05)

    def test_it_is_not_known_where_the_error_is_half_of_it(self):
        self.assertEqual(Fit(0.0, 0.0).days(1, 1.0, 0.0, 2.0).doubts.strength, 0.0)
        self.assertEqual(Fit(0.0, 0.0).days(1.5, -1.0, 0.0).doubts.strength, 0.0)

    def test_it_follows_up_by_a_tenth_of_what_is_recent_and_hardly_down(self):
        fit = Fit().days(2, 2.0)
        self.assertTrue(abs(fit.doubts.strength - 1.0549) < 0.002)
        self.assertTrue(abs(fit.doubts.recent - 1.7269) < 0.01)
        fit = Fit().days(2, 0.6)
        self.assertTrue(abs(fit.doubts.strength - 0.99544) < 0.0005)
        self.assertTrue(abs(fit.doubts.recent - 0.7093) < 0.005)

    def test_what_draws_water_out_of_the_air_is_no_negative_strength(self):
        self.assertTrue(Fit().days(3, -3.0).doubts.recent >= 0.0)

    def test_a_day_is_remembered(self):
        fit = Fit().days(2, 0.0).days(0.4, 1.0)
        self.assertTrue(fit.told(w.NO_RISE))
        self.assertFalse(fit.days(0.6, 1.0).told(w.NO_RISE))


class TestFirstMinute(unittest.TestCase):
    def test_a_quarter_told_in_the_first_minute_has_no_time_to_be_judged_by(self):
        doubts, house, readings = Doubts(Settings()), Told(), r.Readings()
        readings.fan.set(r.ON, 0)
        house.quarter_s = house.hours = 300
        doubts.minute(readings, r.Inputs(), 0.0, house, False, 300)
        self.assertEqual(doubts.sums[0], 0.0)
        house.quarter_s = 301
        doubts.minute(readings, r.Inputs(), 0.0, house, False, 301)
        self.assertEqual(doubts.sums[0], 1.0)  # one second is enough of a quarter to be judged

    def test_the_time_before_the_first_minute_is_none_and_that_from_second_nought_on_is(self):
        for first_s, seconds in ((0, (0, 300)), (300, (0, 300)), (1, (0, 300))):
            doubts, house, readings = Doubts(Settings()), Told(), r.Readings()
            for n in range(2):
                doubts.minute(readings, r.Inputs(), 0.0, house, False, first_s + 300 * n)
                self.assertEqual(doubts.sum_s, seconds[n])

    def test_a_drain_stays_dry_for_as_long_as_the_valve_is_open(self):
        fit = Fit(drain=False)
        self.assertEqual(fit.quarters(4, r.ON, False, 0.0).doubts.dry_s, 0)
        self.assertEqual(fit.quarters(1, r.ON, True, 0.0).doubts.dry_s, 3 * STEP_S)
        self.assertEqual(Fit(drain=True).quarters(1, r.ON, True, 0.0).doubts.dry_s, 0)


class TestMixed(unittest.TestCase):
    def test_quarters_with_a_part_of_everything_give_the_same_strengths(self):
        fit = Fit(0.0, 0.0)
        house = fit.house
        for n in range(200):
            opened, idle = ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.5, 0.25), (0.25, 0.75), (0.0, 0.5))[n % 6]
            house.mean_pad = opened
            house.unexplained = 0.2 + 1.3 * opened + 0.4 * idle
            fit.doubts._quarter(house, idle)
        self.assertTrue(abs(fit.doubts.strength - 1.3) < 0.03)
        for shut, told in ((0.4, 0), (0.6, 1)):  # of 1.3, a third and a half
            fit = Fit(1.3, 1.3)
            for n in range(300):
                opened, idle = ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.5, 0.25), (0.25, 0.75), (0.0, 0.5))[n % 6]
                fit.house.mean_pad = opened
                fit.house.unexplained = 0.2 + 1.3 * opened + shut * idle
                fit.doubts._quarter(fit.house, idle)
            self.assertEqual((fit.told(w.RISES_SHUT), fit.told(w.NO_RISE), fit.told(w.PAD_WEAK)), (told, 0, 0))
            self.assertTrue(abs(fit.doubts.strength - 1.3) < 0.03)

    def test_everything_is_a_share_of_the_strength(self):
        self.assertTrue(Fit(3.0, 3.0).days(1, 0.95).told(w.NO_RISE))
        self.assertFalse(Fit(3.0, 3.0).days(2, 1.15).told(w.NO_RISE))
        self.assertFalse(Fit(3.0, 3.0).days(2, None, 0.95).told(w.RISES_SHUT))
        self.assertTrue(Fit(3.0, 3.0).days(1, None, 1.2).told(w.RISES_SHUT))
        fit = Fit(3.0, 1.4).days(1, 1.4)
        self.assertEqual((fit.told(w.PAD_WEAK), fit.told(w.NO_RISE)), (1, 0))
        self.assertTrue(fit.days(4, 1.7).told(w.PAD_WEAK))
        self.assertFalse(fit.days(6, 2.1).told(w.PAD_WEAK))
        fit = Fit(3.0, 3.0).days(1, 0.0)
        self.assertTrue(fit.days(5, 1.35).told(w.NO_RISE))
        self.assertFalse(fit.days(5, 1.7).told(w.NO_RISE))
        fit = Fit(3.0, 3.0).days(1, None, 2.0)
        self.assertTrue(fit.days(5, None, 0.7).told(w.RISES_SHUT))
        self.assertFalse(fit.days(5, None, 0.5).told(w.RISES_SHUT))

    def test_it_begins_with_nothing(self):
        doubts = Doubts()
        numbers = ("strength", "recent", "usual", "excess", "duty", "span_k", "usual_duty", "usual_span_k", "duty_h")
        for name in numbers + ("idle", "sum_idle", "sum_s", "dry_s", "odd_s", "warm_starts", "notices"):
            self.assertEqual(getattr(doubts, name), 0)
        self.assertEqual((doubts.seen_s, doubts.last_s, doubts.day_s), (-1, -1, -1))
        self.assertEqual((doubts.least_pct, doubts.start_c), (100.0, 100.0))
        self.assertFalse(doubts.outdoor or doubts.heat_on)
        self.assertEqual((list(doubts.sums), doubts.settings.has_heat_call), ([0.0] * 10, 1))


class TestNoRise(unittest.TestCase):
    def test_less_than_a_third_is_none(self):
        self.assertTrue(Fit().days(1, 0.3).told(w.NO_RISE))
        self.assertFalse(Fit().days(2, 0.4).told(w.NO_RISE))

    def test_it_ends_with_half_of_the_strength(self):
        fit = Fit().days(1, 0.0)
        self.assertTrue(fit.told(w.NO_RISE))
        self.assertTrue(fit.days(5, 0.45).told(w.NO_RISE))
        self.assertFalse(fit.days(5, 0.6).told(w.NO_RISE))

    def test_a_lively_house_blames_nobody(self):
        self.assertFalse(Fit().days(1, 0.0, None, 1.5).told(w.NO_RISE))

    def test_it_takes_six_hours_and_one_of_open_valve(self):
        fit = Fit().quarters(6, r.OFF, False, 0.0).days(0.209, 0.0)
        self.assertFalse(fit.told(w.NO_RISE))  # 27 quarters, of fading weights
        self.assertTrue(fit.days(0.021, 0.0).told(w.NO_RISE))
        fit = Fit().quarters(6, r.OFF, False, 0.0)
        for _ in range(10):
            fit.quarters(1, r.ON, True, 0.0).quarters(1, r.OFF, False, 0.0)
        self.assertFalse(fit.told(w.NO_RISE))
        self.assertTrue(fit.quarters(1, r.OFF, False, 0.0).told(w.NO_RISE))  # the 28th
        for pads, told in (((1.0, 1.0, 1.0, 1.0, 0.1), 0), ((1.0, 1.0, 1.0, 1.0, 0.14), 1), ((4.0,), 1)):
            fit = Fit().quarters(60, r.OFF, False, 0.0)
            for fit.house.mean_pad in pads:  # of fading weights four whole ones are 3.9
                fit.doubts._quarter(fit.house, 0.0)
            self.assertEqual(fit.told(w.NO_RISE), told)
        fit = Fit().quarters(60, r.OFF, False, 0.0)
        for n in range(8):
            self.assertEqual(fit.told(w.NO_RISE), 1 if n > 4 else 0)
            fit.quarters(1, r.ON, True, 0.0).quarters(1, r.OFF, False, 0.0)

    def test_not_where_the_house_or_the_strength_is_unknown(self):
        fit = Fit()
        fit.house.hours = 71
        self.assertFalse(fit.days(1, 0.0).told(w.NO_RISE))
        fit.house.hours = 72
        self.assertTrue(fit.days(0.1, 0.0).told(w.NO_RISE))
        self.assertFalse(Fit(0.0, 0.0).days(1, 0.0).told(w.NO_RISE))

    def test_quarters_that_do_not_count_teach_nothing(self):
        fit = Fit()
        fit.house.told = False
        fit.days(1, 0.0)
        self.assertEqual((fit.told(w.NO_RISE), fit.doubts.sums[0]), (0, 1.0))

    def test_a_sensor_in_supply_air_says_nothing_of_the_humidifier(self):
        fit = Fit()
        fit.doubts.notices = 1 << w.SENSOR_PLACE
        self.assertFalse(fit.days(1, 0.0).told(w.NO_RISE))

    def test_a_wet_drain_says_no_air_and_a_dry_one_no_water_after_half_an_hour(self):
        fit = Fit(drain=True).days(1, 0.0)
        self.assertEqual((fit.told(w.NO_AIR), fit.told(w.NO_RISE)), (1, 0))
        fit.readings.drain_wet.set(r.OFF, fit.now_s)
        fit.quarters(2, r.ON, True, 0.0)
        self.assertEqual((fit.told(w.NO_AIR), fit.told(w.NO_RISE)), (1, 0))
        fit.quarters(1, r.ON, True, 0.0)
        self.assertEqual((fit.told(w.NO_AIR), fit.told(w.NO_RISE)), (0, 1))
        fit = Fit(drain=False).days(1, 0.0)
        self.assertEqual((fit.told(w.NO_AIR), fit.told(w.NO_RISE)), (0, 1))

    def test_no_air_ends_with_half_of_the_strength(self):
        fit = Fit(drain=True).days(1, 0.0)
        self.assertTrue(fit.days(5, 0.45).told(w.NO_AIR))
        self.assertFalse(fit.days(5, 0.6).told(w.NO_AIR))


class TestRisesShut(unittest.TestCase):
    def test_more_than_a_third_of_the_strength_with_the_valve_shut(self):
        self.assertFalse(Fit().days(2, None, 0.3).told(w.RISES_SHUT))
        self.assertFalse(Fit().days(2, None, 0.362).told(w.RISES_SHUT))  # after two days known to a fiftieth
        self.assertTrue(Fit().days(2, None, 0.365).told(w.RISES_SHUT))
        self.assertTrue(Fit().days(1, None, 0.4).told(w.RISES_SHUT))
        self.assertTrue(Fit().days(1, 1.0, 1.0).told(w.RISES_SHUT))
        self.assertFalse(Fit().days(1, 1.0, 0.0).told(w.RISES_SHUT))

    def test_it_ends_with_a_fifth(self):
        fit = Fit().days(1, None, 1.0)
        self.assertTrue(fit.days(5, None, 0.25).told(w.RISES_SHUT))
        self.assertFalse(fit.days(5, None, 0.15).told(w.RISES_SHUT))
        for left, told in ((0.2045, 1), (0.2025, 0)):  # after two days known to a fiftieth
            fit = Fit()
            fit.doubts.notices = 1 << w.RISES_SHUT
            self.assertEqual(fit.days(2, None, left).told(w.RISES_SHUT), told)

    def test_not_in_a_lively_house_nor_of_unknown_strength_nor_within_an_hour_of_fan(self):
        self.assertFalse(Fit().days(1, None, 1.0, 2.0).told(w.RISES_SHUT))
        self.assertFalse(Fit().days(1, None, 0.6, 0.3).told(w.RISES_SHUT))
        self.assertTrue(Fit().days(1, None, 0.7, 0.3).told(w.RISES_SHUT))
        self.assertFalse(Fit(0.0, 0.0).days(1, None, 1.0).told(w.RISES_SHUT))
        fit = Fit().quarters(60, r.OFF, False, 0.0)
        fit.house.unexplained = 4.0
        fit.doubts._quarter(fit.house, 4.0)  # an hour in one
        self.assertTrue(fit.told(w.RISES_SHUT))
        fit = Fit().quarters(60, r.OFF, False, 0.0)
        for n in range(8):
            self.assertEqual(fit.told(w.RISES_SHUT), 1 if n > 4 else 0)
            fit.quarters(1, r.ON, False, 1.0).quarters(1, r.OFF, False, 0.0)

    def test_where_nothing_ran_and_no_strength_is_known_nothing_rises(self):
        fit = Fit(0.0, 0.0)
        fit.doubts.notices = 1 << w.RISES_SHUT
        self.assertFalse(fit.quarters(30, r.OFF, False, 0.0).told(w.RISES_SHUT))

    def test_each_quarter_has_its_own_fan_time(self):
        fit = Fit()
        fit.doubts.idle = 1.0
        fit.quarters(1, r.ON, False, 0.0)
        self.assertAlmostEqual(fit.doubts.sums[2], 1.0, delta=1e-5)
        fit.doubts.sums[2] = 0.0
        self.assertEqual(fit.quarters(1, r.OFF, False, 0.0).doubts.sums[2], 0.0)

    def test_an_open_valve_dries_within_minutes_of_fan(self):
        fit = Fit().quarters(1, r.ON, True, 0.0)
        self.assertEqual(fit.doubts.idle, 0.0)
        fit.quarters(1, r.ON, False, 0.0)
        self.assertTrue(abs(fit.doubts.idle - 1.0) < 1e-6)
        fit.doubts.idle = 0.0  # a step of five minutes is all it takes, one of a minute a fifth
        fit.doubts.minute(fit.readings, fit.inputs, 0.0, fit.house, False, fit.now_s + 60)
        self.assertAlmostEqual(fit.doubts.idle, 0.2, delta=2e-6)
        fit.doubts.idle = 1.0
        fit.quarters(1, r.OFF, True, 0.0)  # without fan nothing dries
        self.assertTrue(abs(fit.doubts.idle - 1.0) < 1e-6)


class TestPadWeak(unittest.TestCase):
    def test_half_of_the_strength_for_many_hours_is_wear(self):
        self.assertFalse(Fit().days(0.5, 0.42).told(w.PAD_WEAK))
        self.assertTrue(Fit().days(6, 0.42).told(w.PAD_WEAK))
        self.assertFalse(Fit().days(6, 0.55).told(w.PAD_WEAK))

    def test_none_of_it_is_no_wear(self):
        self.assertFalse(Fit().days(6, 0.1).told(w.PAD_WEAK))

    def test_it_ends_above_six_tenths(self):
        fit = Fit(1.0, 0.45).days(1, 0.45)
        self.assertTrue(fit.told(w.PAD_WEAK))
        self.assertTrue(fit.days(6, 0.55).told(w.PAD_WEAK))
        self.assertFalse(fit.days(6, 0.7).told(w.PAD_WEAK))


class TestJustOn(unittest.TestCase):
    """What lies just on a limit blames nobody, and what lasts just down to it has ended."""

    def strengths(self, b1, recent=1.0, code=None, changes=None, dry_s=0, known=1.0):
        """The notices of a humidifier that adds b1 now and added `recent` and `known`; code: told before."""
        settings = Settings()
        settings.change(changes or {})
        doubts = Doubts(settings)
        doubts.strength, doubts.recent, doubts.dry_s = known, recent, dry_s
        if code is not None:
            doubts.notices = 1 << code
        doubts._strength(b1, 0.0, 0.0)
        return doubts.notices

    def test_a_third_is_no_water_that_fails_and_half_is_water_again(self):
        self.assertEqual(self.strengths(0.35), 0)
        self.assertEqual(self.strengths(0.349), 1 << w.NO_RISE)
        self.assertEqual(self.strengths(0.5, code=w.NO_RISE), 0)
        self.assertEqual(self.strengths(0.499, code=w.NO_RISE), 1 << w.NO_RISE)
        self.assertEqual(self.strengths(-1.0, 0.0, known=0.0), 0)

    def test_the_same_of_air(self):
        drain = {"has_drain_wet": 1}
        self.assertEqual(self.strengths(0.35, changes=drain), 0)
        self.assertEqual(self.strengths(0.349, changes=drain), 1 << w.NO_AIR)
        self.assertEqual(self.strengths(0.5, code=w.NO_AIR, changes=drain), 0)
        self.assertEqual(self.strengths(0.499, code=w.NO_AIR, changes=drain), 1 << w.NO_AIR)
        self.assertEqual(self.strengths(1.51, 3.0, w.NO_AIR, drain, 0, 3.0), 0)
        self.assertEqual(self.strengths(1.49, 3.0, w.NO_AIR, drain, 0, 3.0), 1 << w.NO_AIR)

    def test_half_an_hour_of_dry_drain_is_not_yet_no_water(self):
        drain = {"has_drain_wet": 1}
        self.assertEqual(self.strengths(0.0, changes=drain, dry_s=1800), 1 << w.NO_AIR)
        self.assertEqual(self.strengths(0.0, changes=drain, dry_s=1801), 1 << w.NO_RISE)
        self.assertEqual(self.strengths(0.0, dry_s=0), 1 << w.NO_RISE)  # nobody looks at the drain

    def test_half_of_the_strength_is_no_wear_and_with_six_tenths_it_has_ended(self):
        weak = 1 << w.PAD_WEAK
        self.assertEqual((self.strengths(0.4, 0.5), self.strengths(0.4, 0.499)), (0, weak))
        self.assertEqual((self.strengths(0.35, 0.499), self.strengths(0.351, 0.499)), (0, weak))
        self.assertEqual(self.strengths(0.6, 0.6, w.PAD_WEAK), 0)
        self.assertEqual(self.strengths(0.6, 0.599, w.PAD_WEAK), weak)
        self.assertEqual(self.strengths(1.04, 1.4, known=3.0), 1 << w.NO_RISE)
        self.assertEqual(self.strengths(1.06, 1.4, known=3.0), weak)

    def test_a_quarter_of_open_valve_moves_what_is_recent_by_a_64th_and_the_best_by_a_tenth_or_a_fiftieth_of_that(self):
        for b1, best in ((2.0, 1.0 + 0.1 / 64.0), (0.0, 1.0 - 0.02 / 64.0)):
            doubts = Doubts()
            doubts.strength, doubts.recent = 1.0, b1
            doubts._strength(b1, 0.0, 1.0)
            self.assertAlmostEqual(doubts.strength, best, delta=6e-7)
            doubts.recent = 1.0
            doubts._strength(b1, 0.0, 1.0)
            self.assertAlmostEqual(doubts.recent, 1.0 + (b1 - 1.0) / 64.0, delta=1e-6)

    def test_a_strength_is_known_once_its_error_is_less_than_half_of_it(self):
        for error1, known in ((0.5, 0.0), (0.499, 1.0)):
            doubts = Doubts()
            doubts._strength(1.0, error1, 1.0)
            self.assertEqual((doubts.strength, doubts.recent), (known, known))

    def gains(self, above):
        """A house told to read low, which stays the guess above `above` [g/kg] now and did so lately."""
        doubts, house = Doubts(), Told()
        doubts.notices = 1 << w.RH_LOW
        house.hours = 300
        house.dry_per_h = 1.0
        house.unexplained = above
        doubts._gains(house, 0.0)
        return doubts, house

    def test_a_house_as_moist_as_ever_is_followed_as_ever_and_not_doubted(self):
        doubts, house = self.gains(2.0)
        doubts.notices = 0
        doubts.usual = doubts.excess
        doubts._gains(house, 0.0)
        self.assertEqual(doubts.notices, 0)
        self.assertAlmostEqual(doubts.usual, 2.3 - 0.3 / 1200.0, delta=1e-5)

    def test_as_far_above_the_rule_as_the_guess_it_has_ended(self):
        doubts, house = self.gains(GUESS_G_KG)
        doubts.usual = BACK_G_KG
        doubts._gains(house, 0.0)
        self.assertEqual(doubts.notices, 0)
        doubts.usual, doubts.notices = BACK_G_KG + 0.01, 1 << w.RH_LOW
        doubts._gains(house, 0.0)
        self.assertEqual(doubts.notices, 1 << w.RH_LOW)


class TestGains(unittest.TestCase):
    def lived(self, excess, usual=2.0, lately=2.0, days=1.0, hours=400, out=0.0):
        """A house that stays so far above the outdoor air [g/kg], itself of `out`; the valve's share is none of it."""
        fit = Fit(usual=usual, excess=lately)
        fit.house.hours = hours
        fit.house.mean_out = out
        for n in range(int(48 * days)):
            fit.quarters(1, r.OFF, False, 0.25 * excess)
            fit.quarters(1, r.ON, True, 0.25 * excess + 1.0)
        return fit

    def test_the_first_is_taken_whole_and_never_as_nothing(self):
        fit = Fit()
        fit.house.mean_out = 2.0
        fit.quarters(1, r.OFF, False, 0.375)
        self.assertTrue(abs(fit.doubts.usual - 1.5) < 1e-6)
        self.assertTrue(abs(fit.doubts.excess - (1.5 + 0.3 + 0.45 * 2.0)) < 1e-6)
        fit = Fit()
        fit.quarters(1, r.OFF, False, -0.5)
        self.assertAlmostEqual(fit.doubts.usual, 0.01 - 2.01 * 0.1 / 1200.0, delta=2e-5)
        self.assertTrue(abs(fit.doubts.excess + 1.7) < 1e-6)

    def test_lately_is_four_days_and_the_rule_thirty(self):
        fit = self.lived(1.8, lately=2.3, days=4)
        self.assertTrue(abs(fit.doubts.excess - (2.1 + 0.2 * 0.3674)) < 0.001)
        self.assertTrue(abs(fit.doubts.usual - (1.8 + 0.2 * 0.7866)) < 0.001)  # of 400 hours only
        fit = self.lived(0.0, usual=0.25, lately=0.25, days=0.0, hours=4000)
        fit.quarters(1, r.OFF, False, 0.25 * (0.25 + 28.8))
        self.assertAlmostEqual(fit.doubts.usual, 0.26, delta=1e-6)
        self.assertAlmostEqual(fit.doubts.excess, 0.25 + 29.1 / 384.0, delta=2e-5)

    def test_a_house_known_for_three_days_follows_sooner(self):
        fit = self.lived(1.0, days=0.0, hours=73)
        fit.doubts.excess = 2.3
        fit.quarters(1, r.OFF, False, 0.25)
        self.assertTrue(abs(fit.doubts.excess - (2.3 - 1.0 / 292.0)) < 1e-5)
        self.assertTrue(abs(fit.doubts.usual - (2.0 - 1.0 / 292.0)) < 1e-5)

    def test_lower_than_the_rule_by_more_than_the_guess_of_the_outdoor_air(self):
        self.assertTrue(self.lived(1.65, lately=1.95, days=0.3).told(w.RH_LOW))
        self.assertFalse(self.lived(1.75, lately=2.05, days=0.3).told(w.RH_LOW))
        self.assertTrue(self.lived(0.3, lately=1.95, days=0.3, out=3.0).told(w.RH_LOW))
        self.assertFalse(self.lived(0.4, lately=2.05, days=0.3, out=3.0).told(w.RH_LOW))

    def test_no_house_takes_moisture_away(self):
        self.assertTrue(self.lived(-0.4, usual=-1.0, lately=-0.05, days=0.3).told(w.RH_LOW))
        self.assertFalse(self.lived(-0.2, usual=-1.0, lately=0.05, days=0.3).told(w.RH_LOW))

    def test_what_is_doubted_is_hardly_a_rule(self):
        fit = self.lived(0.3, lately=0.3, days=4)
        self.assertTrue(1.9 < fit.doubts.usual < 1.97)
        fit = self.lived(0.0, days=0.0, hours=72)
        fit.doubts.usual, fit.doubts.excess = 2.0, -30.0
        fit.quarters(1, r.OFF, False, 0.25 * -30.0)
        self.assertAlmostEqual(fit.doubts.usual, 2.0 - 0.1 * 32.0 / 288.0, delta=2e-5)

    def test_it_ends_well_above_what_began_it(self):
        fit = self.lived(0.0, lately=0.3, days=0.2)
        self.assertTrue(fit.told(w.RH_LOW))
        for above, told in ((0.28, 1), (0.32, 0)):
            fit.doubts.excess = fit.doubts.usual + above
            fit.quarters(1, r.OFF, False, 0.25 * (fit.doubts.usual - 0.3 + above))
            self.assertEqual(fit.told(w.RH_LOW), told)

    def test_not_in_the_first_ten_days(self):
        self.assertFalse(self.lived(0.0, lately=0.0, days=0.2, hours=240).told(w.RH_LOW))
        self.assertTrue(self.lived(0.0, lately=0.0, days=0.2, hours=241).told(w.RH_LOW))
        self.assertEqual(self.lived(1.0, 0.0, 0.0, 0.2, 71).doubts.usual, 0.0)
        self.assertTrue(self.lived(1.0, 0.0, 0.0, 0.2, 72).doubts.usual > 0.0)


if __name__ == "__main__":
    unittest.main()
