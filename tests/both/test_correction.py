"""Corrections of humidity sensor and thermometers: applied once where readings enter, held within belief."""

import unittest

from rig import NAN, Rig, opened

from dewcore import readings as r
from dewcore.psychro import sat_water_pa


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
        self.assertAlmostEqual(believed({"rh_gain": 1.1}, 24.0).rh_pct, 26.4, places=4)
        self.assertAlmostEqual(believed({"rh_gain": 1.01}, 24.0).rh_pct, 24.24, places=4)

    def test_one_percent_is_an_offset_like_any_other(self):
        self.assertAlmostEqual(believed({"rh_offset_pct": 1.0}, 24.0).rh_pct, 25.0, places=4)

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


FITTED = {"has_glass": 1, "has_supply": 1, "has_room": 1}
THERMOMETERS = ("indoor", "outdoor", "glass", "room")


class TestThermometers(unittest.TestCase):
    def test_by_default_each_reading_is_taken_as_it_is(self):
        rig = Rig(FITTED)
        rig.scan(10)
        for name in rig.values:
            self.assertEqual(getattr(rig.controller.judge.inputs, name), rig.values[name])

    def test_each_offset_is_added_to_its_own_reading_and_to_no_other(self):
        for thermometer in THERMOMETERS:
            for offset_k in (-2.0, -1.0, 0.5, 1.0):
                rig = Rig(dict(FITTED))
                rig.settings.change({thermometer + "_offset_k": offset_k})
                rig.scan(10)
                for name in rig.values:
                    wanted = rig.values[name] + (offset_k if name == thermometer + "_c" else 0.0)
                    self.assertEqual(getattr(rig.controller.judge.inputs, name), wanted)

    def test_a_corrected_value_stays_within_what_a_reading_may_be(self):
        for thermometer, low_c, high_c in zip(THERMOMETERS, (0.0, -70.0, -50.0, 0.0), (45.0, 60.0, 60.0, 45.0)):
            for end_c, sign in ((low_c, -1.0), (high_c, 1.0)):
                rig = Rig(dict(FITTED))
                rig.settings.change({thermometer + "_offset_k": 2.0 * sign})
                rig.values[thermometer + "_c"] = end_c - 0.5 * sign
                rig.scan(10)
                self.assertEqual(getattr(rig.controller.judge.inputs, thermometer + "_c"), end_c)

    def test_what_cannot_be_believed_is_judged_before_the_correction(self):
        rig = Rig({"indoor_offset_k": -2.0})
        for value in (-0.5, 45.5, NAN):
            rig.values["indoor_c"] = value
            rig.scan(10)
            self.assertEqual(rig.controller.judge.inputs.status[r.INDOOR], r.OUT_OF_RANGE)

    def test_the_air_holds_what_it_holds_at_the_corrected_temperature(self):
        right, warm = Rig(), Rig({"indoor_offset_k": -1.0})
        warm.values["indoor_c"] = 21.0
        for rig in (right, warm):
            rig.scan(10)
        self.assertEqual(warm.controller.judge.inputs.indoor_sat_pa, right.controller.judge.inputs.indoor_sat_pa)
        self.assertEqual(warm.controller.judge.inputs.humidity_ratio, right.controller.judge.inputs.humidity_ratio)

    def test_what_the_air_holds_is_psychros_figure(self):
        for indoor_c in (3.0, 20.0, 38.0):
            rig = Rig()
            rig.values["indoor_c"] = indoor_c
            rig.scan(10)
            self.assertEqual(rig.controller.judge.inputs.indoor_sat_pa, sat_water_pa(indoor_c))

    def test_the_week_outdoors_is_of_corrected_readings(self):
        rig = Rig({"outdoor_offset_k": -1.5})
        rig.run(3700)
        self.assertAlmostEqual(rig.controller.judge.history.week_c, -1.5, places=4)

    def test_what_holds_after_the_last_reading_was_corrected_too(self):
        rig = Rig({"outdoor_offset_k": -1.5})
        rig.run(20)
        rig.values["outdoor_c"] = None
        rig.run(5600, 20)
        inputs = rig.controller.judge.inputs
        self.assertEqual((inputs.outdoor_basis, inputs.outdoor_c), (r.OUTDOOR_DAY_LOWEST, -1.5))

    def test_a_cold_reading_that_never_was_trusted_is_corrected_before_it_bounds_the_design_cold(self):
        rig = Rig({"outdoor_offset_k": -1.0, "design_outdoor_c": -10.0})
        rig.values["outdoor_c"] = None
        rig.readings.outdoor_c.set(-12.0, 1)
        rig.now_s = 30000
        rig.scan(0)
        rig.readings.outdoor_c.error = r.ERROR_OK
        rig.controller.scan(rig.readings, rig.now_s + 1)
        self.assertEqual(rig.controller.judge.inputs.outdoor_c, -13.0)

    def test_a_colder_correction_counts_at_once_and_a_warmer_one_slowly(self):
        rig = Rig()
        rig.run(20)
        rig.settings.change({"outdoor_offset_k": -1.0})
        rig.scan(10)
        self.assertEqual(rig.controller.judge.inputs.outdoor_c, -1.0)
        rig.settings.change({"outdoor_offset_k": 1.0})
        rig.scan(10)
        self.assertAlmostEqual(rig.controller.judge.inputs.outdoor_c, -1.0 + 3.0 * 10 / 3600, places=4)

    def test_a_correction_that_makes_the_rising_reading_colder_is_what_has_lasted(self):
        rig = Rig()
        rig.run(20)
        rig.values["outdoor_c"] = 9.0
        rig.scan(10)
        rig.settings.change({"outdoor_offset_k": -2.0})
        rig.controller.scan(rig.readings, rig.now_s)  # the same reading, of the same second
        self.assertEqual(rig.controller.judge.belief.rising_lowest_c, 7.0)

    def test_a_thermometer_put_right_gives_the_target_of_a_right_one(self):
        for thermometer, settings in (("outdoor", {}), ("glass", {"has_glass": 1}), ("room", {"has_room": 1})):
            targets = []
            for error_k, offset_k in ((0.0, 0.0), (1.5, -1.5), (1.5, 0.0)):
                rig = Rig(dict(settings, look_ahead=0))
                rig.settings.change({thermometer + "_offset_k": offset_k})
                rig.values.update({"indoor_c": 21.0, "glass_c": 2.0, "room_c": 17.0, "outdoor_c": -10.0})
                rig.values[thermometer + "_c"] += error_k
                rig.run(20)
                targets.append(rig.decision.target_pct)
            self.assertEqual(targets[0], targets[1])
            self.assertTrue(targets[2] > targets[0])  # too warm unnoticed is the side that wets windows


if __name__ == "__main__":
    unittest.main()
