"""The lamp: which rhythm for which refusals, and what each looks like."""

import unittest

from bench import Bench

from dewboard.lamp import LAMP_PERIOD_S, RHYTHMS, rhythm_of
from dewcore import board as b
from dewcore import words as w


def shares():
    """(share lit, longest dark, longest lit) [ms] of each rhythm, as the eye sees it over and over."""
    found = []
    for steps in RHYTHMS:
        lit = [steps[n] for n in range(0, len(steps), 2)]
        dark = [steps[n] for n in range(1, len(steps), 2)]
        found.append((sum(lit) / sum(steps), max(dark), max(lit)))
    return found


class TestLamp(unittest.TestCase):
    def test_every_refusal_has_its_rhythm_by_how_far_the_permit_got(self):
        expected = {
            b.LAMP_ALARM: (
                "leak_wet",
                "leak_wire",
                "overflow",
                "welded",
                "drain_runs",
                "relay_failed",
                "safe_mode",
                "bench_shim",
            ),
            b.LAMP_OFF: ("switch_off", "owner_off", "absent", "season_over"),
            b.LAMP_FAULT: (
                "indoor_bad",
                "rh_bad",
                "contact_unreadable",
                "fan_unfitted",
                "fan_unreadable",
                "heat_unprovable",
            ),
            b.LAMP_HUMID: ("humid_enough",),
            b.LAMP_WAITING: (
                "fan_off",
                "fan_settling",
                "supply_cold",
                "heat_off",
                "line_dead",
                "longest_run",
                "min_off",
                "starts_per_hour",
                "weld_test",
                "relay_retry",
                "run_over",
            ),
        }
        told = []
        for rhythm in expected:
            for name in expected[rhythm]:
                bit = [row[0] for row in w.REFUSALS].index(name)
                self.assertEqual(rhythm_of(1 << bit), rhythm)
                self.assertEqual(rhythm_of(1 << bit | 1 << w.RELAY_RETRY), rhythm)
                told.append(name)
        self.assertEqual(sorted(told), sorted([row[0] for row in w.REFUSALS]))
        self.assertEqual(rhythm_of(0), b.LAMP_OPEN)

    def test_rhythms_can_be_told_apart_and_none_is_dark_or_lit_for_good(self):
        found = shares()
        self.assertEqual(len(found), 6)
        for share, dark_ms, lit_ms in found:
            self.assertTrue(0.0 < share < 1.0)
            self.assertTrue(dark_ms < 1000 * LAMP_PERIOD_S and lit_ms < 1000 * LAMP_PERIOD_S)
        for first in range(6):
            for second in range(first):
                one, other = found[first], found[second]
                ratios = [max(one[n], other[n]) / min(one[n], other[n]) for n in (1, 2)]
                self.assertTrue(max(ratios) >= 1.6 or len(RHYTHMS[first]) != len(RHYTHMS[second]))

    def test_the_pin_follows_the_rhythm(self):
        bench = Bench()
        for rhythm in range(len(RHYTHMS)):
            steps = RHYTHMS[rhythm]
            whole = sum(steps)
            lit = []
            for ms in range(0, whole, 50):
                bench.hardware.lamp(rhythm, 3 * whole + ms)
                lit.append(bench.board.lamp_lit)
            expected = []
            for n in range(len(steps)):
                expected += [n % 2 == 0] * (steps[n] // 50)
            self.assertEqual(lit, expected)


if __name__ == "__main__":
    unittest.main()
