"""Demand and timers: band, shortest and longest run, rests, starts an hour; safety waits for none."""

import unittest

from rig import NAN, Rig, opened, ready

from dewcore import readings as r
from dewcore import words as w
from dewcore.valve import Valve


def too_humid(rig):
    rig.values["rh_pct"] = 27.9


def dry(rig):
    rig.values["rh_pct"] = 20.0


class TestDemand(unittest.TestCase):
    def test_it_opens_below_the_band_and_shuts_at_the_target(self):
        valve = Valve()
        self.assertFalse(valve.want(28.0, 30.0))
        self.assertTrue(valve.want(27.9, 30.0))
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
        rig.values["rh_pct"] = 20.0
        self.assertTrue(rig.run(30).valve)  # 40 % down is a jump: three readings


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


if __name__ == "__main__":
    unittest.main()
