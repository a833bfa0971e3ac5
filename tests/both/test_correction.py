"""The humidity sensor's correction: applied once where readings enter, held within belief, never part of a proof."""

import unittest

from rig import NAN, Rig, opened

from dewcore import readings as r


def believed(changes, reading):
    """What is believed of a humidity reading [%] under these settings."""
    rig = Rig(changes)
    rig.values["rh_pct"] = reading
    for _ in range(3):  # as far from the first as it may be
        rig.scan(10)
    return rig.controller.judge.inputs


class TestCorrection(unittest.TestCase):
    def test_by_default_a_reading_is_taken_as_it_is(self):
        self.assertEqual(believed(None, 23.7).rh_pct, 23.7)

    def test_offset_and_gain_by_hand(self):
        # 1.5 + 1.1 * 24 = 27.9
        self.assertAlmostEqual(believed({"rh_offset_pct": 1.5, "rh_gain": 1.1}, 24.0).rh_pct, 27.9, places=4)
        self.assertAlmostEqual(believed({"rh_offset_pct": -3.0}, 24.0).rh_pct, 21.0, places=4)

    def test_the_humidity_ratio_follows(self):
        raw = believed(None, 26.0).humidity_ratio
        self.assertAlmostEqual(believed({"rh_offset_pct": 2.0}, 24.0).humidity_ratio, raw, places=6)

    def test_a_corrected_value_stays_within_what_a_reading_may_be(self):
        self.assertEqual(believed({"rh_offset_pct": -10.0}, 9.0).rh_pct, 1.0)
        self.assertEqual(believed({"rh_offset_pct": 10.0, "rh_gain": 1.25}, 90.0).rh_pct, 99.0)

    def test_what_cannot_be_believed_is_judged_before_the_correction(self):
        for value in (0.9, 99.1, NAN):
            inputs = believed({"rh_offset_pct": 5.0}, value)
            self.assertEqual(inputs.status[r.RH], r.OUT_OF_RANGE)

    def test_a_sensor_that_reads_high_keeps_its_water(self):
        # reads 26 where it is 22: below the target less the band only once corrected
        rig = opened({"wish_pct": 26.0, "plain_margin_k": 4.0, "look_ahead": 0})
        rig.values["rh_pct"] = 26.0
        rig.run(600)
        self.assertFalse(rig.decision.valve)
        rig = opened({"wish_pct": 26.0, "plain_margin_k": 4.0, "look_ahead": 0, "rh_offset_pct": -4.0})
        rig.values["rh_pct"] = 26.0
        rig.run(600)
        self.assertTrue(rig.decision.valve)

    def test_a_change_while_it_runs_takes_hold_with_the_next_reading(self):
        rig = opened()
        rig.settings.change({"rh_offset_pct": 3.0})
        rig.values["rh_pct"] = 21.0
        rig.scan(10)
        self.assertAlmostEqual(rig.controller.judge.inputs.rh_pct, 24.0, places=4)

    def test_the_step_that_tells_a_frozen_sensor_is_that_of_its_readings(self):
        rig = opened({"rh_gain": 0.8})
        judge = rig.controller.judge
        rig.values["rh_pct"] = 20.5
        rig.scan(10)
        self.assertAlmostEqual(judge.rh_step_pct, 0.5, places=4)
        self.assertAlmostEqual(judge.rh_read_pct, 20.5, places=4)


if __name__ == "__main__":
    unittest.main()
