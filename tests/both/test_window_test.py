"""The guided window test: who may raise the target, for how long, what ends it, and when a look is asked for."""

import unittest

from dewcore import glass as g
from dewcore import window_test as t
from dewcore.readings import (
    INDOOR,
    OFF,
    ON,
    OUTDOOR_DAY_LOWEST,
    OUTDOOR_READ,
    REQUEST_CLEAR,
    REQUEST_NONE,
    REQUEST_WINDOW,
    RH,
    Inputs,
    Readings,
)
from dewcore.settings import Settings

DAWN_S = 1700006400 + 6 * 3600  # 2023-11-15 06:00


class Bench:
    """An owner beside a window at 20 °C indoors, -10 °C outdoors, every reading good, at 06:00."""

    def __init__(self):
        self.test = t.WindowTest(Settings())
        self.glass = g.Glass(Settings())
        self.readings = Readings()
        self.readings.utc_s = DAWN_S
        self.readings.absent.set(OFF, 0)
        self.inputs = Inputs()
        self.inputs.indoor_c = 20.0
        self.inputs.outdoor_c = -10.0
        self.inputs.rh_pct = 30.0
        self.inputs.trusted = (1 << INDOOR) | (1 << RH)
        self.inputs.outdoor_basis = OUTDOOR_READ
        self.allowed = True
        self.season_over = False
        self.now_s = 1000
        self.scan(0)  # no request: what was asked before the boot is over

    def scan(self, after_s=10):
        self.now_s += after_s
        return self.test.scan(self.readings, self.inputs, self.allowed, self.season_over, self.glass, self.now_s)

    def ask(self, after_s=10, for_s=3600):
        self.readings.request = REQUEST_WINDOW
        self.readings.request_until_s = self.now_s + after_s + for_s
        return self.scan(after_s)

    def leave(self, after_s=10):
        self.readings.request = REQUEST_NONE
        return self.scan(after_s)

    def guide(self, rh_pct, cautious_pct=30.0):
        self.inputs.rh_pct = rh_pct
        return t.guide(
            self.readings, self.inputs, self.season_over, self.glass, self.test, cautious_pct, self.now_s
        )


def running():
    bench = Bench()
    bench.ask()
    return bench


class TestCodes(unittest.TestCase):
    def test_they_are_pinned(self):
        codes = (t.TEST_NONE, t.TEST_RUNS, t.TEST_FOGGED, t.TEST_OVER, t.TEST_LEFT, t.TEST_FORBIDDEN)
        self.assertEqual(codes, (0, 1, 2, 3, 4, 5))
        codes = (t.TEST_UNTRUSTED, t.TEST_OUTDOOR_OLD, t.TEST_MILD, t.TEST_ABSENT, t.TEST_KNOWN, t.TEST_TOO_SOON)
        self.assertEqual(codes, (6, 7, 8, 9, 10, 11))
        self.assertEqual((t.GUIDE_NONE, t.GUIDE_LOOK, t.GUIDE_TEST), (0, 1, 2))

    def test_what_was_asked_for_and_chosen(self):
        """8 % RH and 30 minutes are demanded; the window of useful looks is -2 to 8 %; the rest is chosen."""
        self.assertEqual((t.RAISE_PCT, t.LONGEST_S, t.LOOK_BELOW_PCT, t.LOOK_ABOVE_PCT), (8.0, 1800, 2.0, 8.0))
        self.assertEqual((t.BEYOND_PCT, t.RAISABLE_PCT, t.PAUSE_S, t.A_DAY, t.DRYING_S), (1.0, 3.0, 10800, 3, 7200))


class TestBeginning(unittest.TestCase):
    def test_before_anything_none_runs(self):
        test = t.WindowTest()
        self.assertEqual((test.allowed, test.testing, test.drying, test.said), (False, False, False, t.TEST_NONE))
        self.assertEqual((test.ended_s, test.begun_s), (-1, [-1, -1, -1]))
        self.assertFalse(test.is_too_soon(0))
        bench = Bench()
        bench.test = test
        bench.leave()
        self.assertTrue(bench.ask())

    def test_its_own_settings_say_when_the_curtains_are_drawn(self):
        """06:00 is day where they are drawn from 22:00 to 05:00."""
        bench = Bench()
        bench.test.settings.change({"curtains_from_min": 1320, "curtains_to_min": 300})
        bench.glass.factor(True)
        bench.glass.settled[g.NIGHT] = True
        self.assertTrue(bench.ask())

    def test_it_begins_when_the_owner_confirms(self):
        bench = Bench()
        self.assertFalse(bench.scan())
        self.assertEqual(bench.test.said, t.TEST_NONE)
        self.assertTrue(bench.ask())
        self.assertEqual((bench.test.testing, bench.test.said), (True, t.TEST_RUNS))
        self.assertTrue(bench.scan())

    def test_a_request_that_outlasts_a_boot_begins_nothing(self):
        bench = Bench()
        bench.test = t.WindowTest(Settings())
        self.assertFalse(bench.ask())
        self.assertEqual(bench.test.said, t.TEST_NONE)
        bench.leave()
        self.assertTrue(bench.ask())

    def test_without_a_test_the_answer_is_no(self):
        self.assertIs(Bench().scan(), False)
        self.assertIs(running().scan(), True)

    def test_no_other_request_begins_one(self):
        bench = Bench()
        bench.readings.request = REQUEST_CLEAR
        bench.readings.request_until_s = 99999
        self.assertFalse(bench.scan())

    def refused(self, bench, code, for_s=3600):
        self.assertFalse(bench.ask(for_s=for_s))
        self.assertEqual((bench.test.testing, bench.test.drying, bench.test.said), (False, False, code))
        self.assertEqual(bench.test.begun_s, [-1, -1, -1])

    def test_never_where_the_setting_forbids_it(self):
        bench = Bench()
        bench.allowed = False
        self.refused(bench, t.TEST_FORBIDDEN)

    def test_not_on_untrusted_readings(self):
        for trusted in (0, 1 << INDOOR, 1 << RH):
            bench = Bench()
            bench.inputs.trusted = trusted
            self.refused(bench, t.TEST_UNTRUSTED)

    def test_not_on_an_old_or_slowly_believed_outdoor_reading(self):
        bench = Bench()
        bench.inputs.outdoor_basis = OUTDOOR_DAY_LOWEST
        self.refused(bench, t.TEST_OUTDOOR_OLD)
        bench = Bench()
        bench.inputs.outdoor_held = True
        self.refused(bench, t.TEST_OUTDOOR_OLD)

    def test_not_after_the_season_nor_under_ten_kelvin(self):
        bench = Bench()
        bench.season_over = True
        self.refused(bench, t.TEST_MILD)
        bench = Bench()
        bench.inputs.outdoor_c = 10.5
        self.refused(bench, t.TEST_MILD)
        bench = Bench()
        bench.inputs.outdoor_c = 10.0
        self.assertTrue(bench.ask())

    def test_not_while_nobody_is_home(self):
        bench = Bench()
        bench.readings.absent.set(ON, 0)
        self.refused(bench, t.TEST_ABSENT)

    def test_not_where_the_window_is_known(self):
        """Without a clock, and near the curtains' times, the night's factor is asked."""
        for hour, night in ((6, True), (8, True), (12, False), (0, True)):
            bench = Bench()
            bench.readings.utc_s = 1700006400 + 3600 * hour if hour else 0
            bench.glass.factor(True)
            bench.glass.settled[g.NIGHT if night else g.DAY] = True
            self.refused(bench, t.TEST_KNOWN)
            bench.leave()
            bench.glass.settled[g.DAY] = night
            bench.glass.settled[g.NIGHT] = not night
            self.assertTrue(bench.ask())

    def test_not_for_a_confirmation_that_is_over(self):
        self.refused(Bench(), t.TEST_LEFT, for_s=0)
        self.assertTrue(Bench().ask(for_s=1))


class TestEnding(unittest.TestCase):
    def ended(self, bench, code):
        self.assertEqual((bench.test.testing, bench.test.said), (False, code))
        self.assertEqual(bench.test.ended_s, bench.now_s)
        self.assertTrue(bench.test.drying)
        self.assertFalse(bench.scan())  # the same request begins no other
        self.assertEqual(bench.test.said, code)

    def test_after_half_an_hour(self):
        bench = running()
        self.assertTrue(bench.scan(1799))
        self.assertFalse(bench.scan(1))
        self.ended(bench, t.TEST_OVER)

    def test_when_the_confirmation_runs_out(self):
        bench = Bench()
        bench.ask(for_s=600)
        self.assertTrue(bench.scan(599))
        self.assertFalse(bench.scan(1))
        self.ended(bench, t.TEST_OVER)

    def test_when_time_steps_back(self):
        bench = running()
        self.assertTrue(bench.scan(0))
        self.assertFalse(bench.scan(-1))
        self.ended(bench, t.TEST_OVER)

    def test_when_the_owner_leaves(self):
        bench = running()
        self.assertFalse(bench.leave())
        self.ended(bench, t.TEST_LEFT)

    def test_when_fog_is_seen(self):
        bench = running()
        bench.readings.look = g.SAW_CLEAR
        self.assertTrue(bench.scan())
        bench.readings.look = g.SAW_FOG
        self.assertFalse(bench.scan())
        self.ended(bench, t.TEST_FOGGED)

    def test_fog_tapped_before_it_began_does_not_end_it(self):
        bench = Bench()
        bench.readings.look = g.SAW_FOG
        bench.scan()
        self.assertTrue(bench.ask())
        self.assertTrue(bench.scan())

    def test_when_anything_speaks_against_it(self):
        bench = running()
        bench.inputs.trusted = 0
        bench.scan()
        self.ended(bench, t.TEST_UNTRUSTED)
        bench = running()
        bench.allowed = False
        bench.scan()
        self.ended(bench, t.TEST_FORBIDDEN)
        bench = running()
        bench.glass.factor(True)
        bench.glass.settled[g.NIGHT] = True
        bench.readings.look = g.SAW_FOG
        bench.scan()
        self.ended(bench, t.TEST_KNOWN)


class TestHowOften(unittest.TestCase):
    def test_three_hours_from_one_to_the_next(self):
        bench = running()
        bench.leave()
        self.assertFalse(bench.ask(10799))
        self.assertEqual(bench.test.said, t.TEST_TOO_SOON)
        bench.leave(0)
        self.assertTrue(bench.ask(1))

    def test_three_within_a_day(self):
        bench = running()
        first_s = bench.now_s
        for _ in range(2):
            bench.leave()
            self.assertTrue(bench.ask(10800))
        bench.leave()
        bench.now_s = first_s + 86399
        self.assertFalse(bench.ask(0))
        self.assertEqual(bench.test.said, t.TEST_TOO_SOON)
        bench.leave(0)
        self.assertTrue(bench.ask(1))

    def test_a_test_at_zero_seconds_counts_as_any(self):
        bench = Bench()
        bench.now_s = 0
        bench.ask(0)
        bench.leave(0)
        self.assertTrue(bench.test.is_too_soon(1))
        bench.test.ended_s = -1
        bench.test.begun_s = [0, 1, 2]
        self.assertTrue(bench.test.is_too_soon(86399))
        self.assertFalse(bench.test.is_too_soon(86400))


class TestHowMuch(unittest.TestCase):
    def test_nothing_without_a_test(self):
        self.assertEqual(Bench().test.raise_pct(30.0, 40.0), 0.0)

    def test_eight_per_cent_at_most_and_no_more_than_teaches_anything(self):
        test = running().test
        self.assertEqual(test.raise_pct(30.0, 40.0), 8.0)
        self.assertEqual(test.raise_pct(30.0, 37.0), 8.0)
        self.assertEqual(test.raise_pct(30.0, 33.0), 4.0)
        self.assertEqual(test.raise_pct(30.0, 28.0), 0.0)


class TestDrying(unittest.TestCase):
    def test_until_the_house_is_below_the_cautious_ceiling(self):
        bench = running()
        self.assertFalse(bench.test.dry(40.0, 30.0, bench.now_s))
        bench.leave()
        self.assertTrue(bench.test.dry(30.1, 30.0, bench.now_s))
        self.assertFalse(bench.test.dry(30.0, 30.0, bench.now_s))
        self.assertFalse(bench.test.dry(31.0, 30.0, bench.now_s))

    def test_two_hours_at_most(self):
        bench = running()
        bench.leave()
        self.assertTrue(bench.test.dry(40.0, 30.0, bench.now_s))
        self.assertTrue(bench.test.dry(40.0, 30.0, bench.now_s + 7199))
        self.assertFalse(bench.test.dry(40.0, 30.0, bench.now_s + 7200))
        bench = running()
        bench.leave()
        self.assertFalse(bench.test.dry(40.0, 30.0, bench.now_s - 1))

    def test_the_next_test_ends_it(self):
        bench = running()
        bench.leave()
        bench.ask(10800)
        self.assertFalse(bench.test.drying)


class TestGuidance(unittest.TestCase):
    def test_a_look_teaches_from_two_below_to_eight_above_the_cautious_ceiling(self):
        bench = Bench()
        bench.allowed = False
        bench.scan()
        for rh_pct, code in (
            (27.9, t.GUIDE_NONE), (28.0, t.GUIDE_LOOK), (30.0, t.GUIDE_LOOK), (38.0, t.GUIDE_LOOK),
            (38.1, t.GUIDE_NONE),
        ):  # fmt: skip
            self.assertEqual(bench.guide(rh_pct), code)

    def test_a_test_helps_from_five_below_to_eight_above_it(self):
        bench = Bench()
        for rh_pct, code in (
            (24.9, t.GUIDE_NONE), (25.0, t.GUIDE_TEST), (30.0, t.GUIDE_TEST), (37.9, t.GUIDE_TEST),
            (38.0, t.GUIDE_LOOK),
        ):  # fmt: skip
            self.assertEqual(bench.guide(rh_pct), code)

    def test_a_test_is_not_proposed_where_none_may_begin(self):
        bench = Bench()
        bench.allowed = False
        bench.scan()
        self.assertEqual(bench.guide(25.0), t.GUIDE_NONE)
        self.assertEqual(bench.guide(29.0), t.GUIDE_LOOK)
        bench = running()
        self.assertEqual(bench.guide(25.0), t.GUIDE_NONE)
        self.assertEqual(bench.guide(29.0), t.GUIDE_LOOK)
        bench.leave()
        self.assertEqual(bench.guide(25.0), t.GUIDE_NONE)

    def test_only_around_dawn_and_away_from_the_curtains_times(self):
        """05:00 to 10:00, but not 07:30 to 08:30; by the local clock."""
        bench = Bench()
        for minute, code in (
            (299, t.GUIDE_NONE), (300, t.GUIDE_TEST), (449, t.GUIDE_TEST), (450, t.GUIDE_NONE),
            (510, t.GUIDE_NONE), (511, t.GUIDE_TEST), (599, t.GUIDE_TEST), (600, t.GUIDE_NONE),
        ):  # fmt: skip
            for utc_offset_s in (0, -18000):
                bench.readings.utc_offset_s = utc_offset_s
                bench.readings.utc_s = 1700006400 + 60 * minute - utc_offset_s
                self.assertEqual(bench.guide(30.0), code)

    def test_not_without_a_clock(self):
        bench = Bench()
        bench.readings.utc_s = 0
        self.assertEqual(bench.guide(30.0), t.GUIDE_NONE)

    def test_not_where_this_part_is_known(self):
        bench = Bench()
        bench.glass.factor(True)
        bench.glass.settled[g.DAY] = True
        self.assertEqual(bench.guide(30.0), t.GUIDE_TEST)
        bench.glass.settled[g.NIGHT] = True
        self.assertEqual(bench.guide(30.0), t.GUIDE_NONE)
        bench.readings.utc_s = DAWN_S + 3 * 3600
        self.assertEqual(bench.guide(30.0), t.GUIDE_NONE)
        bench.glass.settled[g.DAY] = False
        self.assertEqual(bench.guide(30.0), t.GUIDE_TEST)

    def test_not_again_within_ten_minutes_of_a_look(self):
        bench = Bench()
        bench.glass.last_s = bench.now_s - 599
        self.assertEqual(bench.guide(30.0), t.GUIDE_NONE)
        bench.glass.last_s = bench.now_s
        self.assertEqual(bench.guide(30.0), t.GUIDE_NONE)
        bench.glass.last_s = bench.now_s - 600
        self.assertEqual(bench.guide(30.0), t.GUIDE_TEST)
        bench.glass.last_s = bench.now_s + 1
        self.assertEqual(bench.guide(30.0), t.GUIDE_TEST)
        bench.now_s = 100
        bench.glass.last_s = -1
        self.assertEqual(bench.guide(30.0), t.GUIDE_TEST)
        bench.glass.last_s = 0
        self.assertEqual(bench.guide(30.0), t.GUIDE_NONE)

    def test_not_where_nothing_could_be_learned(self):
        bench = Bench()
        bench.inputs.outdoor_c = 11.0
        self.assertEqual(bench.guide(30.0), t.GUIDE_NONE)
        bench = Bench()
        bench.season_over = True
        self.assertEqual(bench.guide(30.0), t.GUIDE_NONE)


if __name__ == "__main__":
    unittest.main()
