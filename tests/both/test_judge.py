"""Which readings are believed: missing, stale, out of range, frozen, jumping; what the valve does then."""

import unittest

from rig import INF, NAN, Rig, opened

from dewcore import readings as r
from dewcore import words as w
from dewcore.judge import ANY, LIMITS, Channel, Judge
from dewcore.settings import Settings

RH_BIT = 1 << r.RH
INDOOR_BIT = 1 << r.INDOOR


class TestBadSample(unittest.TestCase):
    def test_indoor_and_humidity_may_fail_for_30_s_and_no_longer(self):
        for name, code in (("indoor_c", w.INDOOR_BAD), ("rh_pct", w.RH_BAD)):
            for value in (None, NAN, INF, -INF, 1e9, -1e9):
                rig = opened()
                rig.values[name] = value
                rig.run(30)
                self.assertTrue(rig.decision.valve)
                rig.scan(1)
                self.assertTrue(rig.refused(code))

    def test_allowed_again_at_the_first_good_reading(self):
        rig = opened()
        rig.values["rh_pct"] = NAN
        rig.run(60)
        rig.values["rh_pct"] = 20.0
        self.assertTrue(rig.run(320).valve)

    def test_each_failure_has_its_status(self):
        for value, error, status in (
            (None, 0, r.MISSING),
            (20.0, r.ERROR_CHECKSUM, r.MISSING),
            (20.0, r.ERROR_NO_ANSWER, r.MISSING),
            (20.0, r.ERROR_RANGE, r.OUT_OF_RANGE),
            (NAN, 0, r.OUT_OF_RANGE),
            (INF, 0, r.OUT_OF_RANGE),
            (0.9, 0, r.OUT_OF_RANGE),
            (99.1, 0, r.OUT_OF_RANGE),
            (40.0, 0, r.JUMPING),
        ):
            rig = opened()
            rig.values["rh_pct"] = value
            rig.errors["rh_pct"] = error
            rig.scan(10)
            self.assertEqual(rig.controller.judge.inputs.status[r.RH], status)

    def test_a_board_that_stops_delivering_is_stale(self):
        rig = opened()
        readings = rig.readings
        inputs = rig.controller.judge.inputs
        rig.controller.scan(readings, rig.now_s + 30)
        self.assertEqual(inputs.status[r.RH], r.TRUSTED)
        self.assertEqual(inputs.age_s[r.RH], 30)
        d = rig.controller.scan(readings, rig.now_s + 31)
        self.assertEqual(inputs.status[r.RH], r.STALE)
        self.assertFalse(d.valve)
        self.assertEqual(d.refusals & (1 << w.RH_BAD), 1 << w.RH_BAD)

    def test_a_sample_from_the_future_or_from_before_the_last_is_not_taken(self):
        for offset_s in (1, -11):
            rig = opened()
            rig.scan(10)
            rig.readings.rh_pct.set(25.0, rig.now_s + offset_s)
            rig.controller.scan(rig.readings, rig.now_s)
            self.assertEqual(rig.controller.judge.inputs.status[r.RH], r.MISSING)
            self.assertEqual(rig.controller.judge.inputs.rh_pct, 20.0)

    def test_a_jump_across_zero_is_one(self):
        rig = Rig({"has_glass": 1})
        rig.values["glass_c"] = -6.0
        rig.scan(10)
        rig.values["glass_c"] = 6.0  # 12 K away, as far from zero
        rig.scan(10)
        inputs = rig.controller.judge.inputs
        self.assertEqual((inputs.status[r.GLASS], inputs.glass_c), (r.JUMPING, -6.0))

    def test_a_clock_that_runs_backwards_trusts_nothing(self):
        rig = opened()
        d = rig.controller.scan(rig.readings, rig.now_s - 100)
        self.assertFalse(d.valve)
        self.assertEqual(rig.controller.judge.inputs.trusted, 0)

    def test_an_error_beside_the_same_value_is_an_error(self):
        rig = opened()
        rig.errors["rh_pct"] = r.ERROR_CHECKSUM
        rig.run(40)
        self.assertTrue(rig.refused(w.RH_BAD))

    def test_before_the_first_reading_the_defaults_are_humid_and_untrusted(self):
        rig = Rig()
        for name in rig.values:
            rig.values[name] = None
        rig.run(600)
        inputs = rig.controller.judge.inputs
        self.assertEqual(inputs.trusted, 0)
        self.assertEqual(list(inputs.age_s), [-1] * 7)
        self.assertEqual(inputs.rh_pct, 100.0)
        self.assertTrue(rig.refused(w.INDOOR_BAD))
        self.assertTrue(rig.refused(w.RH_BAD))
        self.assertTrue(rig.refused(w.HUMID_ENOUGH))

    def test_unfitted_channels_say_so(self):
        inputs = Rig().controller.judge.inputs
        for index in (r.GLASS, r.SUPPLY, r.ROOM, r.ROOM_RH):
            self.assertEqual(inputs.status[index], r.UNFITTED)

    def test_nan_in_every_sample_at_once_never_opens(self):
        fitted = {"has_glass": 1, "has_supply": 1, "has_room": 1}
        rig = Rig(fitted)
        for name in rig.values:
            rig.values[name] = NAN
        for _ in range(400):
            self.assertFalse(rig.scan(10).valve)
        rig = opened(fitted)
        for name in rig.values:
            rig.values[name] = NAN
        rig.run(40)
        for _ in range(400):
            self.assertFalse(rig.scan(10).valve)
        inputs = rig.controller.judge.inputs
        for name in r.SAMPLE_NAMES:
            value = getattr(inputs, name)
            self.assertTrue(-100.0 <= value <= 130.0)

    def test_inputs_hold_every_good_value_and_the_humidity_ratio(self):
        rig = Rig({"has_glass": 1, "has_supply": 1, "has_room": 1})
        rig.values["room_c"] = 18.5
        rig.values["room_rh_pct"] = 33.0
        rig.scan(10)
        inputs = rig.controller.judge.inputs
        for name in r.SAMPLE_NAMES:
            self.assertEqual(getattr(inputs, name), rig.values[name])
        # 20 % of 2339.2 Pa is 467.8 Pa: 621.945 * 467.8 / (101325 - 467.8) = 2.885 g/kg
        self.assertAlmostEqual(1000.0 * inputs.humidity_ratio, 2.885, delta=0.003)


class TestJump(unittest.TestCase):
    def test_one_spike_moves_nothing(self):
        for name, spike in (("rh_pct", 90.0), ("indoor_c", 30.0)):
            rig = opened()
            target_pct = rig.decision.target_pct
            good = rig.values[name]
            rig.values[name] = spike
            rig.scan(10)
            self.assertTrue(rig.decision.valve)
            self.assertEqual(rig.decision.target_pct, target_pct)
            rig.values[name] = good
            self.assertTrue(rig.run(300).valve)
            self.assertEqual(rig.decision.target_pct, target_pct)

    def test_a_dry_spike_opens_nothing(self):
        rig = Rig()
        rig.values["rh_pct"] = 60.0
        rig.run(600)
        rig.values["rh_pct"] = 10.0
        self.assertFalse(rig.scan(10).valve)
        self.assertFalse(rig.scan(10).valve)
        rig.values["rh_pct"] = 60.0
        self.assertFalse(rig.run(60).valve)

    def test_nor_does_a_dry_spike_right_after_a_gap(self):
        rig = Rig()
        rig.values["rh_pct"] = 60.0
        rig.run(600)
        rig.values["rh_pct"] = None
        rig.run(120)
        rig.values["rh_pct"] = 10.0
        self.assertFalse(rig.scan(10).valve)
        rig.values["rh_pct"] = 60.0
        self.assertFalse(rig.run(60).valve)

    def test_a_jump_that_three_readings_confirm_is_believed(self):
        rig = opened()
        rig.values["rh_pct"] = 60.0
        rig.scan(10)
        rig.scan(10)
        self.assertEqual(rig.controller.judge.inputs.rh_pct, 20.0)
        rig.scan(10)
        self.assertEqual(rig.controller.judge.inputs.rh_pct, 60.0)
        self.assertTrue(rig.controller.judge.inputs.trusted & RH_BIT)

    def test_readings_that_disagree_confirm_nothing(self):
        rig = opened()
        for value in (60.0, 90.0, 40.0):
            rig.values["rh_pct"] = value
            rig.scan(10)
        self.assertEqual(rig.controller.judge.inputs.rh_pct, 20.0)
        rig.scan(1)
        self.assertFalse(rig.decision.valve)
        self.assertFalse(rig.controller.judge.inputs.trusted & RH_BIT)

    def test_three_spikes_between_good_readings_confirm_nothing(self):
        rig = opened()
        for _ in range(5):
            rig.values["rh_pct"] = 60.0
            rig.scan(10)
            rig.values["rh_pct"] = 20.0
            rig.scan(10)
            self.assertEqual(rig.controller.judge.inputs.rh_pct, 20.0)
            self.assertTrue(rig.decision.valve)

    def test_one_reading_seen_in_three_scans_confirms_nothing(self):
        rig = opened()
        rig.readings.rh_pct.set(60.0, rig.now_s)
        for _ in range(5):
            rig.controller.scan(rig.readings, rig.now_s)
        self.assertEqual(rig.controller.judge.inputs.rh_pct, 20.0)

    def test_a_small_step_is_no_jump(self):
        rig = opened()
        rig.values["rh_pct"] = 28.0  # 8 % RH is the largest step
        rig.scan(10)
        self.assertEqual(rig.controller.judge.inputs.rh_pct, 28.0)


class TestLimits(unittest.TestCase):
    # lowest and highest believed, oldest believed age [s], largest step believed at once (0: any)
    ROWS = {
        "indoor_c": (0.0, 45.0, 30, 3.0),
        "rh_pct": (1.0, 99.0, 30, 8.0),
        "outdoor_c": (-70.0, 60.0, 5400, 0.0),
        "glass_c": (-50.0, 60.0, 60, 8.0),
        "supply_c": (-10.0, 120.0, 60, 0.0),
        "room_c": (0.0, 45.0, 300, 5.0),
        "room_rh_pct": (1.0, 99.0, 300, 10.0),
    }

    def rig(self):
        return Rig({"has_glass": 1, "has_supply": 1, "has_room": 1})

    def status(self, rig, name):
        return rig.controller.judge.inputs.status[r.SAMPLE_NAMES.index(name)]

    def test_ends_are_believed_and_nothing_beyond(self):
        for name in self.ROWS:
            low, high = self.ROWS[name][:2]
            for value, status in (
                (low, r.TRUSTED),
                (high, r.TRUSTED),
                (low - 0.1, r.OUT_OF_RANGE),
                (high + 0.1, r.OUT_OF_RANGE),
            ):
                rig = self.rig()
                rig.values[name] = value
                rig.scan(10)
                self.assertEqual(self.status(rig, name), status)

    def test_each_has_its_age(self):
        for name in self.ROWS:
            rig = self.rig()
            rig.scan(10)
            rig.values[name] = None
            bit = 1 << r.SAMPLE_NAMES.index(name)
            rig.scan(self.ROWS[name][2])
            self.assertTrue(rig.controller.judge.inputs.trusted & bit)
            rig.scan(1)
            self.assertFalse(rig.controller.judge.inputs.trusted & bit)

    def test_each_has_its_step(self):
        for name in self.ROWS:
            step = self.ROWS[name][3]
            for factor, status in ((1.0, r.TRUSTED), (1.02, r.JUMPING)):
                rig = self.rig()
                rig.scan(10)
                rig.values[name] += factor * (step or 15.0)
                rig.scan(10)
                self.assertEqual(self.status(rig, name), status if step else r.TRUSTED)

    def test_a_board_may_read_at_second_zero(self):
        rig = self.rig()
        rig.now_s = 0
        rig.scan(0)
        self.assertEqual(rig.controller.judge.inputs.trusted, 127)
        self.assertFalse(rig.noticed(w.OUTDOOR_NONE))
        self.assertTrue(rig.controller.judge.belief.known)


class TestFrozen(unittest.TestCase):
    def frozen_after_s(self, step_pct):
        """How long a sensor of that step may stand still while the room warms, before it is frozen."""
        rig = Rig()
        rig.run(600)
        rig.values["rh_pct"] = 20.0 + step_pct
        rig.scan(10)
        began_s = rig.now_s
        rig.values["indoor_c"] = 22.5
        while not rig.scan(30).refusals >> w.RH_BAD & 1:
            self.assertTrue(rig.now_s - began_s < 3 * 86400)
        self.assertEqual(rig.controller.judge.inputs.status[r.RH], r.FROZEN)
        rig.values["rh_pct"] = 20.0
        rig.scan(10)
        self.assertFalse(rig.decision.refusals >> w.RH_BAD & 1)
        return rig.now_s - 10 - began_s

    def test_the_finer_the_sensor_the_sooner_it_is_frozen(self):
        for step_pct, seconds in ((0.01, 2160), (0.02, 2160), (0.05, 5400), (0.1, 10800)):
            self.assertTrue(seconds - 30 <= self.frozen_after_s(step_pct) <= seconds + 30)

    def test_a_coarse_sensor_may_stand_still_for_longer_but_not_for_ever(self):
        self.assertTrue(54000 <= self.frozen_after_s(0.5) <= 54060)
        self.assertTrue(172800 <= self.frozen_after_s(4.0) <= 172830)

    def test_humidity_may_stand_still_in_a_room_that_does(self):
        rig = Rig()
        rig.run(600)
        rig.values["rh_pct"] = 20.1
        rig.scan(10)
        rig.values["indoor_c"] = 20.35
        rig.run(5 * 3600, 30)
        self.assertFalse(rig.refused(w.RH_BAD))
        self.assertEqual(rig.controller.judge.inputs.status[r.RH], r.TRUSTED)

    def test_humidity_that_moves_with_the_room_is_alive(self):
        rig = Rig()
        for hour in range(6):
            rig.values["indoor_c"] = 20.0 + hour
            rig.values["rh_pct"] = 20.0 + 0.1 * hour
            rig.run(3600, 30)
            self.assertEqual(rig.controller.judge.inputs.status[r.RH], r.TRUSTED)

    def test_an_outdoor_reading_may_stand_still_for_days(self):
        rig = Rig({"design_outdoor_c": -25.0})
        rig.values["outdoor_c"] = 5.0
        rig.run(2 * 86400, 300)
        self.assertEqual(rig.decision.notices & (1 << w.OUTDOOR_NONE), 0)
        self.assertEqual(rig.controller.judge.inputs.outdoor_c, 5.0)


class TestOutdoor(unittest.TestCase):
    def believed(self, rig):
        return rig.controller.judge.inputs.outdoor_c

    def test_without_any_reading_the_design_temperature_sets_the_target_and_the_valve_may_open(self):
        rig = Rig({"design_outdoor_c": -10.0})
        rig.values["outdoor_c"] = None
        rig.values["rh_pct"] = 8.0
        rig.run(600)
        self.assertEqual(self.believed(rig), -10.0)
        self.assertTrue(rig.noticed(w.OUTDOOR_NONE))
        self.assertTrue(rig.decision.valve)
        for look_ahead in (0, 1):  # which needs a reading
            with_reading = Rig({"design_outdoor_c": -10.0, "look_ahead": look_ahead})
            with_reading.values["outdoor_c"] = -10.0
            with_reading.run(600)
            plain_pct = with_reading.controller.terms.plain_pct
            self.assertAlmostEqual(rig.decision.target_pct, plain_pct, delta=0.01)
            self.assertTrue(with_reading.decision.target_pct >= plain_pct)

    def test_a_reading_too_old_leaves_the_lowest_of_the_day_then_the_design_temperature(self):
        rig = Rig()
        rig.values["outdoor_c"] = -8.0
        rig.run(3600)
        rig.values["outdoor_c"] = -5.0
        rig.run(4 * 3600)
        self.assertEqual(self.believed(rig), -5.0)
        rig.values["outdoor_c"] = None
        rig.run(5400)
        self.assertEqual(self.believed(rig), -5.0)
        self.assertFalse(rig.noticed(w.OUTDOOR_OLD))
        rig.run(10)
        self.assertTrue(rig.noticed(w.OUTDOOR_OLD))
        self.assertAlmostEqual(self.believed(rig), -8.0, delta=0.02)
        rig.run(16200 - 10)
        self.assertAlmostEqual(self.believed(rig), -8.0, delta=0.02)
        rig.run(10)
        self.assertTrue(rig.noticed(w.OUTDOOR_NONE))
        self.assertEqual(self.believed(rig), -30.0)

    def test_losing_the_reading_never_warms_the_belief(self):
        rig = Rig()
        rig.values["outdoor_c"] = -29.0
        rig.run(7800)
        rig.values["outdoor_c"] = -35.0  # below the design temperature; no whole hour of it will be known
        rig.scan(10)
        rig.values["outdoor_c"] = None
        lowest = self.believed(rig)
        for _ in range(9 * 60):
            rig.scan(60)
            self.assertTrue(self.believed(rig) <= lowest)
            lowest = self.believed(rig)

    def test_it_recovers_with_the_first_reading(self):
        rig = Rig()
        rig.run(600)
        rig.values["outdoor_c"] = None
        rig.run(8 * 3600, 60)
        rig.values["outdoor_c"] = -3.0
        rig.scan(10)
        self.assertEqual(self.believed(rig), -3.0)

    def test_a_step_of_12_k_up_is_held(self):
        rig = Rig()
        rig.values["outdoor_c"] = -10.0
        rig.run(600)
        rig.values["outdoor_c"] = 2.0
        rig.scan(10)
        self.assertTrue(rig.noticed(w.OUTDOOR_HELD))
        self.assertTrue(self.believed(rig) < -9.9)
        rig.run(1790)
        self.assertAlmostEqual(self.believed(rig), -10.0 + 3.0 * 0.5, delta=0.02)
        rig.values["outdoor_c"] = -10.0  # it was the sun on the thermometer
        rig.scan(10)
        self.assertEqual(self.believed(rig), -10.0)
        self.assertFalse(rig.noticed(w.OUTDOOR_HELD))

    def test_warmth_that_lasts_an_hour_is_believed(self):
        rig = Rig()
        rig.values["outdoor_c"] = -10.0
        rig.run(600)
        rig.values["outdoor_c"] = 2.0
        rig.run(1800)
        rig.values["outdoor_c"] = 1.0
        rig.run(900)
        rig.values["outdoor_c"] = 1.5
        rig.run(910)
        self.assertAlmostEqual(self.believed(rig), 1.0, delta=0.02)  # the lowest of the hour, 1.5 is held
        self.assertTrue(rig.noticed(w.OUTDOOR_HELD))

    def test_warmth_does_not_last_while_no_reading_comes(self):
        rig = Rig()
        rig.values["outdoor_c"] = -10.0
        rig.run(600)
        rig.values["outdoor_c"] = 15.0
        rig.run(10)
        rig.values["outdoor_c"] = None
        rig.run(7200, 60)
        rig.values["outdoor_c"] = 15.0
        rig.run(10)
        self.assertTrue(self.believed(rig) < -6.9)

    def test_a_slow_rise_is_followed_at_once(self):
        rig = Rig()
        rig.values["outdoor_c"] = -10.0
        rig.run(600)
        for _ in range(60):
            rig.values["outdoor_c"] += 0.04  # 2.4 K/h
            rig.run(60)
            self.assertAlmostEqual(self.believed(rig), rig.values["outdoor_c"], delta=0.05)

    def test_a_step_of_20_k_down_is_believed_at_once(self):
        rig = Rig()
        rig.values["outdoor_c"] = 10.0
        rig.run(600)
        target_pct = rig.decision.target_pct
        rig.values["outdoor_c"] = -10.0
        rig.scan(10)
        self.assertEqual(self.believed(rig), -10.0)
        self.assertTrue(rig.decision.target_pct < target_pct - 5.0)

    def test_nonsense_outdoors_is_not_taken(self):
        for value in (NAN, INF, 60.1, -70.1, 85.0, -127.0):
            rig = Rig()
            rig.values["outdoor_c"] = -4.0
            rig.run(60)
            rig.values["outdoor_c"] = value
            rig.run(60)
            self.assertEqual(self.believed(rig), -4.0)
            self.assertEqual(rig.controller.judge.inputs.status[r.OUTDOOR], r.OUT_OF_RANGE)


class TestFurtherSensors(unittest.TestCase):
    def test_a_lost_glass_or_room_sensor_is_told_and_stops_nothing(self):
        for setting, name, code in (
            ("has_glass", "glass_c", w.GLASS_BAD),
            ("has_room", "room_c", w.ROOM_BAD),
            ("has_room", "room_rh_pct", w.ROOM_BAD),
        ):
            rig = opened({setting: 1, "max_run_s": 86400})
            self.assertFalse(rig.noticed(code))
            rig.values[name] = None
            rig.run(310)
            self.assertTrue(rig.noticed(code))
            self.assertTrue(rig.decision.valve)
            self.assertFalse(opened().noticed(code))


class TestContact(unittest.TestCase):
    def test_since_moves_only_with_the_state(self):
        contact = r.Contact()
        contact.set(r.ON, 50)
        contact.set(r.ON, 70)
        self.assertEqual(contact.since_s, 50)
        contact.set(r.OFF, 90)
        self.assertEqual((contact.state, contact.since_s), (r.OFF, 90))


def sample(value, at_s, error=0):
    made = r.Sample()
    made.set(value, at_s)
    made.error = error
    return made


class TestChannel(unittest.TestCase):
    def test_taken_or_not_is_told_as_such(self):
        channel = Channel(r.INDOOR)
        self.assertIs(channel.take(sample(20.0, -1), 5), False)
        self.assertIs(channel.take(sample(20.0, 6), 5), False)
        self.assertIs(channel.take(sample(20.0, 0), 5), True)
        self.assertIs(channel.take(sample(20.0, 4, r.ERROR_RANGE), 5), False)
        self.assertEqual(channel.fault, r.OUT_OF_RANGE)
        self.assertIs(channel.take(sample(45.5, 4), 5), False)
        self.assertIs(channel.take(sample(30.0, 1), 5), False)  # 10 K in a second
        self.assertEqual(channel.fault, r.JUMPING)
        self.assertIs(channel.take(sample(20.5, 2), 5), True)
        self.assertEqual((channel.good, channel.at_s, channel.same_since_s, channel.fault), (20.5, 2, 2, 0))

    def test_a_step_as_large_as_allowed_is_none_too_many(self):
        steps = (3.0, 8.0, ANY, 8.0, ANY, 5.0, 10.0)
        for n in range(7):
            self.assertEqual(LIMITS[n][3], steps[n])
            low, high = LIMITS[n][:2]
            middle = 0.5 * (low + high)
            self.assertEqual(steps[n] > high - low, steps[n] == ANY)
            for far, taken in ((1.0, True), (1.005, steps[n] == ANY)):
                channel = Channel(n)
                channel.take(sample(middle, 10), 10)
                step = far * min(steps[n], (high - middle) / 1.01)
                self.assertIs(channel.take(sample(middle + step, 11), 11), taken)

    def test_three_in_a_row_means_in_a_row(self):
        channel = Channel(r.INDOOR)
        taken = []
        for at_s, value in enumerate((20.0, 30.0, 30.0, 20.1, 30.0, 30.0, 30.0)):
            taken.append(channel.take(sample(value, at_s), at_s))
        self.assertEqual(taken, [True, False, False, True, False, False, True])

    def test_levels_a_step_apart_agree(self):
        channel = Channel(r.INDOOR)
        taken = [channel.take(sample(value, n), n) for n, value in enumerate((20.0, 30.0, 33.0, 36.0))]
        self.assertEqual(taken, [True, False, False, True])

    def test_a_new_one_knows_nothing(self):
        channel = Channel()
        self.assertEqual((channel.index, channel.low, channel.high), (r.INDOOR, 0.0, 45.0))
        self.assertEqual((channel.good, channel.at_s, channel.fault), (0.0, -1, r.MISSING))
        self.assertEqual((channel.same_since_s, channel.jump_to), (0, 0.0))
        self.assertEqual((channel.jump_count, channel.jump_at_s), (0, -1))


class TestJudgeAlone(unittest.TestCase):
    def filled(self, changes=None):
        """A judge with every channel fitted, and readings of a mild day that it has taken at second 0."""
        settings = Settings()
        settings.change({"has_glass": 1, "has_supply": 1, "has_room": 1})
        settings.change(changes or {})
        judge = Judge(settings)
        readings = r.Readings()
        for name, value in zip(r.SAMPLE_NAMES, (21.0, 30.0, 5.0, 14.0, 45.0, 19.0, 33.0)):
            getattr(readings, name).set(value, 0)
        return judge, readings

    def test_each_sample_goes_to_its_own_input(self):
        judge, readings = self.filled()
        self.assertIs(judge.judge(readings, 0), True)
        inputs = judge.inputs
        found = [getattr(inputs, name) for name in r.SAMPLE_NAMES]
        self.assertEqual(found, [21.0, 30.0, 5.0, 14.0, 45.0, 19.0, 33.0])
        self.assertEqual(inputs.trusted, 127)
        self.assertEqual(list(inputs.status), [0] * 7)
        self.assertEqual(list(inputs.age_s), [0] * 7)
        self.assertEqual((inputs.outdoor_basis, inputs.outdoor_held), (r.OUTDOOR_READ, False))
        # 30 % of 2488.1 Pa is 746.4 Pa; 0.621945 * 746.4 / (101325 - 746.4) = 0.004616
        self.assertAlmostEqual(inputs.humidity_ratio, 0.004616, delta=3e-6)

    def test_it_tells_whether_anything_changed(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        self.assertIs(judge.judge(readings, 1), False)
        for name in r.SAMPLE_NAMES:
            now_s = judge.last_s + 1
            for other in r.SAMPLE_NAMES:
                getattr(readings, other).at_s = now_s
            getattr(readings, name).value -= 0.5
            self.assertIs(judge.judge(readings, now_s), True)
            self.assertIs(judge.judge(readings, now_s), False)

    def test_ages_and_the_oldest_that_is_trusted(self):
        oldest_s = (30, 30, 5400, 60, 60, 300, 300)
        for n in range(7):
            judge, readings = self.filled()
            judge.judge(readings, 0)
            for now_s, trusted in ((oldest_s[n], True), (oldest_s[n] + 1, False)):
                judge.judge(readings, now_s)
                self.assertIs(bool(judge.inputs.trusted >> n & 1), trusted)
                self.assertEqual(judge.inputs.status[n], r.TRUSTED if trusted else r.STALE)
                self.assertEqual(judge.inputs.age_s[n], now_s)

    def test_the_hours_of_a_lost_outdoor_reading_to_the_second(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        for now_s, basis in (
            (5400, r.OUTDOOR_READ),
            (5401, r.OUTDOOR_DAY_LOWEST),
            (21600, r.OUTDOOR_DAY_LOWEST),
            (21601, r.OUTDOOR_DESIGN),
        ):
            judge.judge(readings, now_s)
            self.assertEqual(judge.inputs.outdoor_basis, basis)
        self.assertEqual(judge.inputs.outdoor_c, -30.0)

    def test_the_time_between_two_scans_goes_into_the_history_once(self):
        judge, readings = self.filled()
        for now_s in (0, 0, 1, 100, 250):
            readings.outdoor_c.at_s = now_s
            judge.judge(readings, now_s)
        readings.outdoor_c.at_s = 240
        judge.judge(readings, 249)  # a clock that ran back takes nothing out
        self.assertEqual(judge.history.part_s, 250)
        self.assertAlmostEqual(judge.history.part_c_s, 1250.0, delta=0.01)

    def test_a_humidity_that_stands_still_while_the_air_moved_more_than_2_k_is_watched(self):
        for moved_k, watched in ((2.0, False), (2.0078125, True)):
            judge, readings = self.filled()
            judge.judge(readings, 0)
            readings.indoor_c.set(21.0 + moved_k, 1)
            judge.judge(readings, 1)
            self.assertIs(judge.rh_moved, watched)

    def test_the_finer_the_sensor_the_less_the_air_has_to_move_and_the_sooner(self):
        for step_pct, moved_k, frozen_s in (
            (0.01, 0.2, 2160),
            (0.1, 0.4, 10800),
            (0.25, 1.0, 27000),
            (0.5, 2.0, 54000),
            (2.0, 2.0, 172800),
        ):
            rig = Rig()
            rig.run(20)
            rig.values["rh_pct"] += step_pct
            rig.run(20)
            self.assertAlmostEqual(rig.controller.judge.rh_moved_k, moved_k, delta=0.001)
            self.assertAlmostEqual(rig.controller.judge.rh_frozen_s, frozen_s, delta=8)

    def test_a_day_colder_than_the_design_temperature_outlasts_the_reading(self):
        judge, readings = self.filled()
        for hour in range(13):
            readings.outdoor_c.set(-35.0 if hour < 6 else -22.0, 3600 * hour)
            judge.judge(readings, 3600 * hour)
        self.assertTrue(judge.inputs.outdoor_c > -30.0)
        judge.judge(readings, 3600 * 12 + 21601)
        self.assertEqual(judge.inputs.outdoor_basis, r.OUTDOOR_DESIGN)
        self.assertAlmostEqual(judge.inputs.outdoor_c, -35.0, delta=0.01)

    def test_a_first_reading_too_old_still_tells_of_cold(self):
        judge, readings = self.filled()
        readings.outdoor_c.set(-40.0, 0)
        judge.judge(readings, 6000)
        self.assertEqual((judge.inputs.outdoor_basis, judge.inputs.outdoor_c), (r.OUTDOOR_DESIGN, -40.0))

    def test_without_any_reading_the_design_temperature_holds(self):
        judge, readings = self.filled({"design_outdoor_c": -12.0})
        readings.outdoor_c.error = r.ERROR_NO_ANSWER
        judge.judge(readings, 0)
        self.assertEqual((judge.inputs.outdoor_basis, judge.inputs.outdoor_c), (r.OUTDOOR_DESIGN, -12.0))

    def test_the_fault_goes_with_the_first_good_reading_and_stays_the_reason_until_then(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        readings.rh_pct.error = r.ERROR_CHECKSUM
        for now_s in (1, 31):
            judge.judge(readings, now_s)
            self.assertEqual(judge.inputs.status[r.RH], r.MISSING)
        readings.rh_pct.set(30.0, 32)
        judge.judge(readings, 32)
        self.assertEqual(judge.inputs.status[r.RH], r.TRUSTED)

    def test_a_clock_that_ran_back_trusts_nothing(self):
        judge, readings = self.filled()
        readings.rh_pct.at_s = 10
        judge.judge(readings, 10)
        judge.judge(readings, 9)
        self.assertEqual(judge.inputs.trusted >> r.RH & 1, 0)

    def test_a_humidity_that_stood_still_is_frozen_in_the_scan_in_which_the_air_moves(self):
        judge = Judge(Settings())
        readings = r.Readings()
        for now_s, indoor_c in ((0, 20.0), (95, 20.0), (100, 20.0), (105, 22.5), (105, 22.5)):
            readings.indoor_c.set(indoor_c, now_s)
            readings.rh_pct.set(30.0, now_s)
            judge.judge(readings, now_s)
            judge.rh_frozen_s = 100
            moved = indoor_c == 22.5
            self.assertEqual(judge.inputs.status[r.RH], r.FROZEN if moved else r.TRUSTED, now_s)
            self.assertEqual(judge.inputs.trusted >> r.RH & 1, 0 if moved else 1)

    def test_one_that_does_not_come_stays_missing_when_the_air_moves(self):
        judge = Judge(Settings())
        readings = r.Readings()
        readings.rh_pct.set(30.0, 0)
        for now_s, indoor_c in ((0, 20.0), (105, 22.5)):
            readings.indoor_c.set(indoor_c, now_s)
            judge.judge(readings, now_s)
            judge.rh_frozen_s = 100
        self.assertTrue(judge.rh_moved)
        self.assertEqual(judge.inputs.status[r.RH], r.STALE)
        self.assertEqual(judge.inputs.trusted >> r.RH & 1, 0)

    def test_frozen_to_the_second(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        judge.rh_moved = True
        judge.rh_frozen_s = 100
        for now_s, status in ((99, r.TRUSTED), (100, r.FROZEN)):
            for name in r.SAMPLE_NAMES:
                getattr(readings, name).at_s = now_s
            judge.judge(readings, now_s)
            self.assertEqual(judge.inputs.status[r.RH], status)

    def test_what_was_never_read_fills_nothing(self):
        judge = Judge()
        readings = r.Readings()
        readings.outdoor_c.set(-5.0, 0)
        judge.judge(readings, 0)
        inputs = judge.inputs
        self.assertEqual((inputs.indoor_c, inputs.rh_pct, inputs.room_rh_pct), (20.0, 100.0, 100.0))
        self.assertEqual((inputs.outdoor_c, inputs.trusted), (-5.0, 1 << r.OUTDOOR))

    def test_a_usual_reading_between_two_jumps_ends_the_count(self):
        judge, readings = self.filled()
        for now_s, rh_pct in enumerate((30.0, 60.0, 30.0, 60.0, 60.0)):
            readings.rh_pct.set(rh_pct, now_s)
            judge.judge(readings, now_s)
        self.assertEqual((judge.inputs.rh_pct, judge.inputs.status[r.RH]), (30.0, r.JUMPING))
        readings.rh_pct.set(60.0, 5)  # the third in a row
        judge.judge(readings, 5)
        self.assertEqual(judge.inputs.rh_pct, 60.0)

    def test_nonsense_of_the_same_second_is_named_as_what_it_is(self):
        for value, status in ((60.0, r.JUMPING), (100.0, r.OUT_OF_RANGE)):
            judge, readings = self.filled()
            judge.judge(readings, 0)
            readings.rh_pct.value = value
            judge.judge(readings, 0)
            self.assertEqual(judge.inputs.status[r.RH], status)

    def test_nothing_is_worked_out_again_without_a_change(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        inputs = judge.inputs
        inputs.humidity_ratio = -1.0
        inputs.indoor_sat_pa = 1000.0
        judge.judge(readings, 1)
        self.assertEqual(inputs.humidity_ratio, -1.0)
        readings.rh_pct.set(31.0, 2)
        judge.judge(readings, 2)
        self.assertEqual(inputs.indoor_sat_pa, 1000.0)  # follows the temperature alone
        self.assertTrue(inputs.humidity_ratio > 0.0)
        readings.indoor_c.set(20.5, 3)
        judge.judge(readings, 3)
        self.assertAlmostEqual(inputs.indoor_sat_pa, 2411.0, delta=2.0)  # 2339 Pa at 20 °C, 6.2 % a kelvin

    def test_a_week_without_a_reading_leaves_nothing_of_the_week_before(self):
        for gap_s, count in ((168 * 3600, 3), (168 * 3600 + 1, 0)):
            judge, readings = self.filled()
            readings.outdoor_c.set(12.0, 0)
            for now_s in range(0, 10801, 3600):
                readings.outdoor_c.at_s = now_s
                judge.judge(readings, now_s)
            self.assertEqual(judge.history.count, 3)
            judge.judge(readings, 10800 + gap_s - 1)  # the scans went on meanwhile
            readings.outdoor_c.set(-20.0, 10800 + gap_s)
            judge.judge(readings, 10800 + gap_s)
            self.assertEqual(judge.history.count, count)
            self.assertAlmostEqual(judge.history.mean_c(-20.0), 12.0 if count else -20.0, delta=0.01)

    def test_a_clock_that_ran_back_takes_no_time_out_of_the_history(self):
        judge, readings = self.filled()
        for now_s in (0, 1800, 800, 2599):  # the reading of second 0 is trusted throughout
            judge.judge(readings, now_s)
        self.assertEqual((judge.inputs.outdoor_basis, judge.history.part_s), (r.OUTDOOR_READ, 3599))

    def test_an_outdoor_reading_of_the_next_second_is_nobodys(self):
        judge, readings = self.filled()
        readings.outdoor_c.set(5.0, 100)
        judge.judge(readings, 100)
        judge.judge(readings, 99)
        self.assertEqual(judge.inputs.outdoor_basis, r.OUTDOOR_DESIGN)

    def test_a_belief_that_rises_under_an_unchanged_reading_is_a_change(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        readings.outdoor_c.set(15.0, 10)
        judge.judge(readings, 10)
        for now_s, believed_c in ((1210, 6.0), (2410, 7.0)):  # 1 K in 1200 s
            for name in r.SAMPLE_NAMES:
                getattr(readings, name).at_s = now_s
            self.assertIs(judge.judge(readings, now_s), True)
            self.assertAlmostEqual(judge.inputs.outdoor_c, believed_c, delta=0.02)

    def humid(self, judge, readings, now_s, rh_pct):
        """The next second-by-second reading of the humidity, all others as they are; the usual one after it."""
        for name in r.SAMPLE_NAMES:
            getattr(readings, name).at_s = now_s
        readings.rh_pct.set(rh_pct, now_s)
        judge.judge(readings, now_s)
        return judge.rh_usual_pct

    def test_the_usual_humidity_is_a_mean_of_what_was_read_taken_at_most_once_a_minute(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        self.assertEqual(self.humid(judge, readings, 59, 37.0), 30.0)
        for now_s, rh_pct, usual_pct in (
            (60, 34.0, 30.0 + 7.0 / 60.0),  # 37 for a minute, as far as is known
            (119, 35.0, 30.0 + 7.0 / 60.0),
            (7260, 36.0, 35.0),  # longer than the hour that it is a mean of
            (7320, 37.0, 35.0 + 1.0 / 60.0),
        ):
            self.assertAlmostEqual(self.humid(judge, readings, now_s, rh_pct), usual_pct, delta=1e-5)

    def test_the_first_reading_of_second_nought_is_the_usual_one_too(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        self.assertEqual(self.humid(judge, readings, 60, 31.0), 30.0)

    def test_what_is_read_after_a_fall_never_becomes_the_usual(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        for _ in range(2):
            for n in range(3):
                self.humid(judge, readings, judge.last_s + 10, 10.0)
            self.assertEqual((judge.rh_fell_pct, judge.inputs.status[r.RH]), (30.0, r.JUMPING))
            self.assertEqual(judge.inputs.trusted, 127 - RH_BIT)
            for n in range(10):  # an hour and more of it
                self.assertEqual(self.humid(judge, readings, judge.last_s + 600, 11.0 - n % 2), 30.0)
            for n in range(3):
                self.humid(judge, readings, judge.last_s + 10, 30.0)
            self.assertEqual((judge.rh_fell_pct, judge.inputs.status[r.RH]), (0.0, r.TRUSTED))

    def test_a_fall_is_one_from_what_was_usual_and_not_from_the_last_reading(self):
        for rh_pct, fell_pct in ((22.0, 0.0), (21.9, 30.0)):  # each more than 8 below the last one
            judge, readings = self.filled()
            judge.judge(readings, 0)
            self.humid(judge, readings, 10, 31.0)
            for now_s in (20, 30, 40):
                self.humid(judge, readings, now_s, rh_pct)
            self.assertEqual((judge.inputs.rh_pct, judge.rh_fell_pct), (rh_pct, fell_pct))

    def test_a_person_who_ends_a_fall_ends_it_at_once_however_the_air_has_moved_since(self):
        judge, readings = self.filled()
        judge.judge(readings, 0)
        for now_s in (10, 20, 30):
            self.humid(judge, readings, now_s, 10.0)
        readings.indoor_c.value = 23.5
        self.humid(judge, readings, 40, 10.0)
        self.assertIs(judge.rh_moved, True)
        readings.request = r.REQUEST_CLEAR
        self.humid(judge, readings, 50, 10.0)
        self.assertEqual((judge.inputs.status[r.RH], judge.inputs.trusted), (r.TRUSTED, 127))
        readings.request = r.REQUEST_NONE
        self.humid(judge, readings, 60, 10.0)
        self.assertEqual((judge.inputs.status[r.RH], judge.inputs.trusted), (r.TRUSTED, 127))
        self.assertEqual(self.humid(judge, readings, 120, 11.0), 11.0)  # what was usual before it counts no more

    def test_what_falls_elsewhere_is_no_fall_of_the_humidity(self):
        for name, value in (("indoor_c", 15.0), ("glass_c", -6.0), ("room_c", 5.0), ("room_rh_pct", 10.0)):
            judge, readings = self.filled()
            judge.judge(readings, 0)
            for now_s in (10, 20, 30):
                getattr(readings, name).value = value
                self.humid(judge, readings, now_s, 30.0)
            self.assertEqual((getattr(judge.inputs, name), judge.rh_fell_pct), (value, 0.0))

    def test_a_fall_from_before_a_boot_ends_where_it_began(self):
        judge, readings = self.filled()
        judge.rh_fell_pct = 30.0
        readings.rh_pct.value = 10.0
        judge.judge(readings, 0)
        for rh_pct, fell_pct in ((19.0, 30.0), (28.0, 0.0)):
            for _ in range(3):
                self.humid(judge, readings, judge.last_s + 10, rh_pct)
            self.assertEqual((judge.inputs.rh_pct, judge.rh_fell_pct), (rh_pct, fell_pct))

    def test_a_step_of_a_tenth_is_still_fine(self):
        for step_pct, status in ((0.1, r.FROZEN), (0.11, r.TRUSTED)):
            judge, readings = self.filled()
            judge.judge(readings, 0)
            judge.rh_step_pct, judge.rh_frozen_s = step_pct, 100
            readings.heat_call.set(r.ON, 20)
            self.humid(judge, readings, 100, 30.0)
            self.assertEqual(judge.inputs.status[r.RH], status)

    def test_without_a_heat_call_the_fan_tells_that_the_air_has_moved(self):
        for changes, name, since_s, status in (
            ({"has_heat_call": 0}, "fan", 11, r.FROZEN),
            ({"has_heat_call": 0}, "heat_call", 11, r.TRUSTED),
            ({}, "fan", 11, r.TRUSTED),
            ({}, "heat_call", 11, r.FROZEN),
            ({}, "heat_call", 10, r.TRUSTED),  # when the humidity last moved
        ):
            judge, readings = self.filled(changes)
            judge.judge(readings, 0)
            self.humid(judge, readings, 10, 30.0625)  # a fine sensor
            getattr(readings, name).set(r.OFF, since_s)
            self.humid(judge, readings, 7000, 30.0625)
            self.assertEqual(judge.inputs.status[r.RH], status)

    def test_a_thermometer_doubted_from_outside_is_read_and_not_trusted(self):
        for name, n in (("outdoor_doubted", r.OUTDOOR), ("indoor_doubted", r.INDOOR)):
            judge, readings = self.filled()
            setattr(judge, name, True)
            judge.judge(readings, 0)
            self.assertEqual((judge.inputs.status[n], judge.inputs.trusted), (r.JUMPING, 127 - (1 << n)))

    def test_cold_that_is_told_too_late_to_be_trusted_counts_and_warmth_does_not(self):
        for told_c, believed_c in ((-20.0, -20.0), (9.0, 5.0)):
            judge, readings = self.filled()
            judge.judge(readings, 0)
            readings.outdoor_c.set(told_c, 100)
            judge.judge(readings, 7000)
            inputs = judge.inputs
            self.assertEqual((inputs.outdoor_basis, inputs.outdoor_c), (r.OUTDOOR_DAY_LOWEST, believed_c))

    def test_a_correction_that_makes_a_reading_warmer_begins_no_rise_before_the_next_one(self):
        judge, readings = self.filled()
        readings.outdoor_c.value = -5.0
        judge.judge(readings, 0)
        judge.settings.change({"outdoor_offset_k": 2.0})
        for at_s, held, since_s in ((0, False, -1), (600, True, 600)):
            readings.outdoor_c.at_s = at_s
            judge.judge(readings, 600)
            self.assertEqual((judge.inputs.outdoor_held, judge.belief.rising_since_s), (held, since_s))

    def test_an_hour_without_a_reading_is_a_gap_and_a_second_less_is_none(self):
        for gap_s, joined in ((3599, 3), (3600, 2)):
            judge, readings = self.filled()
            for now_s in (0, 1800, 3600, 5400, 7200, 7200 + gap_s, 9000 + gap_s, 10800 + gap_s):
                readings.outdoor_c.at_s = now_s
                judge.judge(readings, now_s)
            self.assertEqual((judge.history.count, judge.history.joined), (3 if joined == 3 else 4, joined))

    def test_a_new_judge_trusts_nothing(self):
        judge = Judge()
        self.assertEqual((judge.rh_same_indoor_c, judge.last_s), (0.0, -1))
        self.assertIs(judge.rh_moved, False)
        self.assertEqual(len(judge.channels), 3)
        self.assertEqual(list(judge.inputs.status), [r.MISSING] * 3 + [r.UNFITTED] * 4)
        self.assertAlmostEqual(judge.rh_frozen_s, 2 * 86400, delta=8)


if __name__ == "__main__":
    unittest.main()
