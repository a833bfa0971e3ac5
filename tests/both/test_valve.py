"""Demand and timers: band, shortest and longest run, rests, starts an hour; safety waits for none."""

import unittest

from rig import NAN, Rig, opened, ready

from dewcore import readings as r
from dewcore import words as w
from dewcore.settings import Settings
from dewcore.valve import NEVER, Valve


def too_humid(rig):
    rig.values["rh_pct"] = 27.9


def dry(rig):
    rig.values["rh_pct"] = 20.0


class TestDemand(unittest.TestCase):
    def test_it_opens_below_the_band_and_shuts_at_the_target(self):
        valve = Valve()
        self.assertFalse(valve.want(29.31, 30.0))
        self.assertTrue(valve.want(29.29, 30.0))
        self.assertTrue(valve.want(29.9, 30.0))
        self.assertFalse(valve.want(30.0, 30.0))
        self.assertFalse(valve.want(29.9, 30.0))

    def test_nan_never_asks(self):
        for asking in (False, True):
            for rh_pct, target_pct in ((NAN, 30.0), (20.0, NAN), (NAN, NAN)):
                valve = Valve()
                valve.demand = asking
                self.assertFalse(valve.want(rh_pct, target_pct))

    def test_refused_when_humid_allowed_when_dry(self):
        rig = ready()
        self.assertEqual(rig.decision.refusals, 1 << w.HUMID_ENOUGH)
        self.assertTrue(rig.dries(20.0).valve)


class TestShortestRun(unittest.TestCase):
    def test_comfort_waits_for_it(self):
        rig = opened()
        rig.scan(1)  # the contact is read closed
        too_humid(rig)
        for _ in range(179):
            self.assertTrue(rig.scan(1).valve)
        self.assertTrue(rig.noticed(w.MIN_ON))
        self.assertEqual(rig.decision.hold_s, 1)
        rig.scan(1)
        self.assertTrue(rig.refused(w.HUMID_ENOUGH))
        self.assertFalse(rig.noticed(w.MIN_ON))

    def test_safety_does_not(self):
        rig = opened()
        rig.scan(1)
        too_humid(rig)
        rig.scan(1)
        self.assertTrue(rig.noticed(w.MIN_ON))
        rig.contact("fan", r.OFF)
        self.assertFalse(rig.scan(0).valve)

    def test_it_counts_from_the_command_until_the_contact_has_closed(self):
        rig = opened()
        too_humid(rig)
        rig.follows = False  # the relay is slow
        self.assertTrue(rig.scan(1).valve)
        rig.follows = True
        self.assertTrue(rig.scan(1).valve)
        self.assertEqual(rig.decision.hold_s, 180)


class TestShortestRest(unittest.TestCase):
    def test_it_holds_after_a_boot(self):
        rig = Rig()
        rig.scan(0)
        self.assertTrue(rig.refused(w.MIN_OFF))
        self.assertEqual(rig.decision.hold_s, 300)
        rig.scan(299)
        self.assertEqual(rig.decision.refusals, 1 << w.MIN_OFF)
        rig.scan(1)
        self.assertTrue(rig.decision.valve)

    def test_it_holds_between_runs_from_the_contacts_opening(self):
        rig = opened()
        rig.run(60)
        rig.contact("heat_call", r.OFF)
        self.assertFalse(rig.scan(1).valve)
        rig.contact("heat_call", r.ON)
        rig.scan(4)  # only now the contact is read open
        rig.scan(299)
        self.assertEqual(rig.decision.refusals, 1 << w.MIN_OFF)
        self.assertEqual(rig.decision.hold_s, 1)
        self.assertTrue(rig.scan(1).valve)

    def test_it_holds_while_the_contact_is_read_closed(self):
        rig = opened()
        rig.run(400)
        rig.welded = True
        too_humid(rig)
        rig.scan(1)
        rig.scan(1)
        self.assertTrue(rig.refused(w.MIN_OFF))
        self.assertEqual(rig.decision.hold_s, 299)  # at the least: the command was a second ago


class TestLongestRun(unittest.TestCase):
    def test_after_it_the_valve_rests(self):
        rig = opened({"max_run_s": 1800, "rest_s": 900})
        rig.scan(10)
        self.assertTrue(rig.run(1790).valve)
        rig.scan(10)
        self.assertEqual(rig.decision.refusals, 1 << w.LONGEST_RUN)
        rest_from_s = rig.now_s
        rig.run(890)
        self.assertEqual(rig.decision.refusals, 1 << w.LONGEST_RUN)
        self.assertEqual(rig.decision.hold_s, 10)
        self.assertTrue(rig.scan(10).valve)
        self.assertEqual(rig.now_s - rest_from_s, 900)

    def test_a_shorter_run_needs_no_long_rest(self):
        rig = opened({"max_run_s": 1800, "rest_s": 7200})
        rig.run(1700)
        too_humid(rig)
        rig.scan(10)
        dry(rig)
        self.assertTrue(rig.run(320).valve)


class TestStarts(unittest.TestCase):
    def runs_in(self, most, hours):
        """Starts of the contact [s] in a furnace that cycles every 4 min, shortest rests of a minute."""
        rig = Rig({"max_starts_per_h": most, "min_off_s": 60, "min_on_s": 60})
        starts = []
        closed = False
        for _ in range(hours * 15):
            rig.contact("heat_call", r.ON)
            for _ in range(12):
                rig.scan(10)
                if rig.controller.valve.contact and not closed:
                    starts.append(rig.now_s)
                closed = rig.controller.valve.contact
            rig.contact("heat_call", r.OFF)
            rig.run(120)
            closed = rig.controller.valve.contact
        return rig, starts

    def test_no_more_starts_than_allowed_in_any_hour(self):
        for most in (1, 6, 12):
            rig, starts = self.runs_in(most, 4)
            for n in range(len(starts) - most):
                self.assertTrue(starts[n + most] - starts[n] >= 3600)
            self.assertEqual(len([s for s in starts if s - starts[0] < 3600]), most)
            self.assertTrue(len(starts) >= most * 3)

    def test_the_reason_and_the_wait_are_told(self):
        rig = Rig({"max_starts_per_h": 1, "min_off_s": 60})
        while not rig.scan(10).valve:
            pass
        rig.scan(10)
        started_s = rig.now_s
        rig.run(300)
        rig.contact("heat_call", r.OFF)
        rig.run(120)
        rig.contact("heat_call", r.ON)
        rig.scan(10)
        self.assertEqual(rig.decision.refusals, 1 << w.STARTS_PER_HOUR)
        self.assertEqual(rig.decision.hold_s, started_s + 3600 - rig.now_s)
        while not rig.scan(10).valve:
            pass
        self.assertEqual(rig.now_s - started_s, 3600)


class TestReadBack(unittest.TestCase):
    def test_timers_follow_the_contact_not_the_command(self):
        rig = opened()
        commanded_s = rig.now_s
        rig.follows = False
        rig.scan(3)
        self.assertFalse(rig.controller.valve.contact)
        rig.follows = True
        rig.scan(1)
        self.assertTrue(rig.controller.valve.contact)
        self.assertEqual(rig.controller.valve.changed_s, commanded_s + 4)

    def test_without_a_load_sense_the_command_stands_in(self):
        rig = opened({"has_load_sense": 0})
        self.assertFalse(rig.controller.valve.contact)
        rig.scan(10)
        self.assertTrue(rig.controller.valve.contact)
        self.assertEqual(rig.controller.valve.changed_s, rig.now_s)

    def test_a_valve_starts_shut_with_plain_settings(self):
        valve = Valve()
        self.assertFalse(valve.open)
        self.assertEqual(valve.read_back(r.Readings(), 50), 0)
        self.assertEqual((valve.changed_s, valve.commanded_s), (50, 50))


class TestByTheSecond(unittest.TestCase):
    def test_a_new_valve_is_shut_and_has_done_nothing(self):
        valve = Valve()
        self.assertTrue(NEVER < 0)  # no second of a clock
        for state in (valve.open, valve.contact, valve.demand, valve.finishing):
            self.assertIs(state, False)
        self.assertEqual((valve.failures, valve.hold_s), (0, 0))
        for at_s in (valve.changed_s, valve.commanded_s, valve.followed_s, valve.rest_until_s, valve.retry_s):
            self.assertEqual(at_s, NEVER)
        self.assertEqual(list(valve.starts_s), [NEVER] * 12)

    def test_a_retry_waits_300_s(self):
        rig = opened({"min_off_s": 60})
        rig.follows = False
        while rig.decision.valve:
            rig.scan(1)
        shut_s = rig.now_s
        rig.follows = True
        while rig.scan(1).refusals & (1 << w.RELAY_RETRY):
            self.assertTrue(rig.now_s - shut_s < 300)
            self.assertEqual(rig.decision.hold_s, 300 - (rig.now_s - shut_s))
        self.assertEqual(rig.now_s - shut_s, 300)

    def test_a_load_that_cannot_be_read_tells_nothing_of_the_contact(self):
        rig = opened()
        rig.scan(10)
        rig.contact("load_sense", r.UNREADABLE)
        self.assertTrue(rig.scan(10).refusals & (1 << w.CONTACT_UNREADABLE))
        self.assertTrue(rig.controller.valve.contact)  # as commanded until then
        rig.scan(10)
        self.assertFalse(rig.controller.valve.contact)
        self.assertFalse(rig.refused(w.WELD_TEST))

    def test_the_weld_test_begins_anew_when_the_selector_comes_back(self):
        rig = ready()
        rig.contact("off_switch", r.ON)
        rig.run(60)
        self.assertFalse(rig.refused(w.WELD_TEST))
        rig.contact("off_switch", r.OFF)
        rig.scan(1)
        self.assertTrue(rig.refused(w.WELD_TEST))
        rig.scan(1)
        self.assertTrue(rig.refused(w.WELD_TEST))
        rig.scan(1)
        self.assertEqual(rig.decision.refusals, 1 << w.HUMID_ENOUGH)

    def test_where_no_timer_holds_nothing_is_held(self):
        self.assertEqual(ready().decision.hold_s, 0)
        rig = opened()
        self.assertTrue(rig.run(600).valve)
        self.assertEqual(rig.decision.hold_s, 0)

    def test_a_contact_that_closes_by_itself_is_a_start(self):
        rig = ready()
        rig.welded = True
        rig.scan(10)
        self.assertTrue(rig.refused(w.WELD_TEST))
        self.assertEqual([at_s for at_s in rig.controller.valve.starts_s if at_s != NEVER], [rig.now_s])

    def test_a_rest_lasts_its_seconds(self):
        valve = Valve()
        valve.changed_s = valve.commanded_s = 0
        valve.rest_until_s = 5000
        self.assertEqual(valve.decide(0, 4999), 1 << w.LONGEST_RUN)
        self.assertEqual(valve.hold_s, 1)
        self.assertEqual(valve.decide(0, 5000), 0)

    def test_a_start_counts_for_3600_s(self):
        settings = Settings()
        settings.change({"max_starts_per_h": 1})
        valve = Valve(settings)
        valve.changed_s = valve.commanded_s = 0
        self.assertEqual(valve.decide(0, 1000), 0)
        self.assertEqual(valve.decide(1 << w.LEAK_WET, 1001), 1 << w.LEAK_WET)
        self.assertEqual(valve.decide(0, 4599), 1 << w.STARTS_PER_HOUR)
        self.assertEqual(valve.hold_s, 1)
        self.assertEqual(valve.decide(0, 4600), 0)

    def test_twelve_starts_an_hour_hour_after_hour(self):
        settings = Settings()
        settings.change({"max_starts_per_h": 12, "min_off_s": 60, "min_on_s": 60})
        valve = Valve(settings)
        readings = r.Readings()
        starts = []
        for now_s in range(0, 4 * 3600, 10):
            valve.read_back(readings, now_s)
            was_open = valve.open
            valve.decide(1 << w.LEAK_WET if was_open else 0, now_s)
            if valve.open and not was_open:
                starts.append(now_s)
        self.assertTrue(len(starts) >= 48)
        for n in range(len(starts) - 12):
            self.assertTrue(3600 <= starts[n + 12] - starts[n] <= 3620)


if __name__ == "__main__":
    unittest.main()
