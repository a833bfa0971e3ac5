"""What weeks give away: each doubt begins for its cause, ends with it, and never comes by itself."""

import unittest

from lived import Lived
from rig import Rig, opened

from dewcore import learned
from dewcore import readings as r
from dewcore import words as w
from dewcore.doubts import Doubts
from dewcore.outdoors import JUMP_HELD_S

STRONG = {"strength": 1.0, "recent": 1.0}
HEATED = {"usual_duty": 0.667, "usual_span_k": 24.0, "duty_h": 400.0}
MADE = (w.NO_RISE, w.NO_AIR, w.RISES_SHUT, w.PAD_WEAK, w.RH_LOW, w.SENSORS_DIFFER, w.SENSOR_PLACE, w.OUTDOOR_DOUBT)


class TestNone(unittest.TestCase):
    def test_a_house_in_order_is_never_doubted(self):
        rig = Lived({"has_room": 1, "has_drain_wet": 1, "has_glass": 1})
        for day in range(14):
            rig.heats = 40 if day % 3 else 25
            rig.values["outdoor_c"] = -8.0 + day % 5
            rig.live(1)
            for code in MADE:
                self.assertFalse(rig.noticed(code), w.NOTICES[code][0])
        doubts = rig.controller.outlook.doubts
        self.assertTrue(0.8 <= doubts.strength <= 1.5)
        self.assertTrue(0.8 * doubts.strength <= doubts.recent <= 1.2 * doubts.strength)


class TestHumidifier(unittest.TestCase):
    def test_no_water_is_told_and_no_more_once_it_flows_again(self):
        rig = Lived().knows(**STRONG)
        rig.water = 0.0
        rig.live(1.0)
        self.assertTrue(rig.noticed(w.NO_RISE))
        doubts = rig.controller.outlook.doubts
        before = (doubts.usual, doubts.excess)
        rig.live(0.25)  # what the house has by itself cannot be told from what the valve should add
        self.assertEqual((doubts.usual, doubts.excess), before)
        rig.water = 1.0
        rig.live(2.25)
        self.assertFalse(rig.noticed(w.NO_RISE))

    def test_a_drain_that_gets_wet_says_that_it_is_not_the_water(self):
        rig = Lived({"has_drain_wet": 1}).knows(**STRONG)
        rig.water = 0.0
        rig.live(1.0)
        self.assertTrue(rig.noticed(w.NO_AIR))
        self.assertFalse(rig.noticed(w.NO_RISE))

    def test_a_valve_that_leaks_is_told_by_what_rises_with_it_shut_and_no_more_once_it_is_tight(self):
        rig = Lived({"wish_pct": 22.0}).knows(**STRONG)
        rig.leaks = True
        rig.live(0.5)
        self.assertTrue(rig.noticed(w.RISES_SHUT))
        rig.leaks = False
        rig.live(2)
        self.assertFalse(rig.noticed(w.RISES_SHUT))

    def test_nothing_is_judged_before_the_house_is_known(self):
        rig = Lived().knows(**STRONG)
        rig.controller.outlook.house.hours = 20
        rig.water = 0.0
        rig.live(0.5)
        self.assertFalse(rig.noticed(w.NO_RISE))

    def test_a_quarter_with_nobody_home_does_not_count(self):
        rig = Lived({"has_absent": 1}).knows(**STRONG).live(0.1)
        self.assertTrue(rig.controller.outlook.house.told)
        rig.contact("absent", r.ON)
        rig.live(0.05)
        self.assertFalse(rig.controller.outlook.house.told)

    def test_its_strength_is_learned_once_the_house_is_known(self):
        rig = Lived().knows()
        rig.w, rig.gain_g_kg_h = 3.0, 0.1
        rig.live(0.6)
        doubts = rig.controller.outlook.doubts
        self.assertTrue(0.8 <= doubts.strength <= 1.5)
        rig.readings.request = r.REQUEST_REARM
        rig.scan(10)
        self.assertEqual(rig.controller.outlook.doubts.strength, 0.0)


class TestSensors(unittest.TestCase):
    def test_two_that_agree_once_a_day_are_well(self):
        rig = Lived({"has_room": 1})
        for _ in range(3):
            rig.room_low_pct = 9.0
            rig.live(0.9)
            rig.room_low_pct = 0.0
            rig.live(0.1)
        self.assertFalse(rig.noticed(w.SENSORS_DIFFER))
        rig.room_low_pct = -9.0
        rig.live(2.1)
        self.assertTrue(rig.noticed(w.SENSORS_DIFFER))
        rig.room_low_pct = 4.0
        rig.live(0.1)
        self.assertFalse(rig.noticed(w.SENSORS_DIFFER))

    def test_air_that_warms_with_the_furnace_three_times_is_supply_air(self):
        rig = Lived()
        rig.warm = True
        rig.live(1.5 / 24)
        self.assertFalse(rig.noticed(w.SENSOR_PLACE))
        rig.live(2 / 24)
        self.assertTrue(rig.noticed(w.SENSOR_PLACE))
        self.assertTrue(rig.refused(w.INDOOR_BAD))  # warm air reads too dry, and makes the glass look warm
        rig.live(2 / 24)
        self.assertTrue(rig.noticed(w.SENSOR_PLACE) and rig.refused(w.INDOOR_BAD))
        rig.warm = False
        rig.live(4 / 24)
        self.assertFalse(rig.noticed(w.SENSOR_PLACE) or rig.decision.refusals >> w.INDOOR_BAD & 1)

    def test_supply_air_is_known_from_the_first_scan_after_a_reboot_and_ends_as_before_it(self):
        old = Lived()
        old.warm = True
        old.live(3 / 24)
        rig = Lived()
        self.assertTrue(learned.unpack(rig.controller, learned.pack(old.controller), rig.now_s))
        rig.scan(10)
        self.assertTrue(rig.noticed(w.SENSOR_PLACE) and rig.refused(w.INDOOR_BAD))
        rig.warm = True
        rig.live(2 / 24)
        self.assertTrue(rig.noticed(w.SENSOR_PLACE) and rig.refused(w.INDOOR_BAD))
        rig.warm = False
        rig.live(4 / 24)
        self.assertFalse(rig.noticed(w.SENSOR_PLACE) or rig.decision.refusals >> w.INDOOR_BAD & 1)

    def test_a_person_who_has_moved_it_need_not_wait_for_the_furnace(self):
        rig = Lived()
        rig.warm = True
        rig.live(3.5 / 24)
        self.assertTrue(rig.noticed(w.SENSOR_PLACE))
        rig.readings.request = r.REQUEST_CLEAR
        rig.scan(10)
        self.assertFalse(rig.noticed(w.SENSOR_PLACE))
        rig.scan(10)
        self.assertFalse(rig.decision.refusals >> w.INDOOR_BAD & 1)
        rig.live(3.5 / 24)
        self.assertTrue(rig.noticed(w.SENSOR_PLACE))

    def test_a_fall_at_once_is_doubted_until_it_is_back_at_once(self):
        rig = opened({"look_ahead": 0})
        rig.values["rh_pct"] = 8.0
        rig.run(30)
        rig.scan(60)
        self.assertTrue(rig.refused(w.RH_BAD) and rig.noticed(w.RH_JUMPED))
        for rh_pct in (12.0, 16.0, 20.0):  # slowly back is the weather
            rig.values["rh_pct"] = rh_pct
            rig.run(600)
            self.assertTrue(rig.refused(w.RH_BAD))
        rig.values["rh_pct"] = 8.0
        rig.run(60)
        rig.values["rh_pct"] = 20.0
        rig.run(30)
        self.assertFalse(rig.decision.refusals >> w.RH_BAD & 1)

    def test_after_more_than_a_minute_without_a_reading_a_fall_tells_nothing(self):
        for last_s, told in ((60, True), (61, False)):
            rig = opened({"look_ahead": 0})
            judge = rig.controller.judge
            for since_s in (20, 40, last_s):
                sample = rig.readings.rh_pct
                sample.set(8.0, rig.now_s + since_s)
                judge.judge(rig.readings, rig.now_s + since_s)
            self.assertEqual(judge.rh_fell_pct > 0.0, told)

    def test_a_window_that_is_opened_takes_its_minutes_and_is_no_fall(self):
        rig = opened({"look_ahead": 0})
        for n in range(20):
            rig.values["rh_pct"] -= 0.8
            rig.run(30)
        self.assertTrue(rig.controller.judge.rh_usual_pct - rig.values["rh_pct"] > 9.0)
        self.assertFalse(rig.noticed(w.RH_JUMPED))

    def test_what_is_usual_follows_within_hours_so_that_a_dry_night_is_no_fall(self):
        rig = opened({"look_ahead": 0})
        first_pct = rig.controller.judge.rh_usual_pct
        for n in range(40):
            rig.values["rh_pct"] -= 0.25
            rig.run(600, 60)
        self.assertAlmostEqual(rig.controller.judge.rh_usual_pct, first_pct - 9.0, delta=1.5)
        rig.values["rh_pct"] = first_pct - 15.0  # 5 below what is usual now, 15 below what was
        rig.run(60)
        self.assertFalse(rig.noticed(w.RH_JUMPED))

    def test_the_first_reading_after_the_start_is_what_is_usual(self):
        rig = Rig()
        rig.now_s = -8
        rig.scan(10)
        rig.scan(10)
        rig.values["rh_pct"] = 8.0
        rig.run(60)
        self.assertTrue(rig.noticed(w.RH_JUMPED))

    def test_no_reboot_ends_it_and_a_person_does(self):
        rig = opened({"look_ahead": 0})
        rig.run(600)
        rig.values["rh_pct"] = 8.0
        rig.run(60)
        image = learned.pack(rig.controller)
        again = Rig({"look_ahead": 0})
        self.assertTrue(learned.unpack(again.controller, image, again.now_s))
        again.values["rh_pct"] = 8.0
        again.run(900)
        self.assertTrue(again.refused(w.RH_BAD) and again.noticed(w.RH_JUMPED))
        again.readings.request = r.REQUEST_CLEAR
        again.scan(10)
        again.readings.request = r.REQUEST_NONE
        self.assertTrue(again.run(60).valve)

    def test_what_has_to_outlast_a_power_cut_at_once(self):
        rig = opened()
        self.assertEqual(learned.urgent(rig.controller), 0)
        rig.controller.judge.rh_fell_pct = 20.0
        self.assertEqual(learned.urgent(rig.controller), 1)
        rig.controller.permit.latched = 1 << w.LEAK_WET | 1 << w.WELDED
        self.assertEqual(learned.urgent(rig.controller), 1 + 2 * (1 + 8))

    def test_a_doubted_outdoor_reading_is_doubted_from_the_first_scan_after_a_reboot(self):
        sensed = Rig({"has_glass": 1})
        sensed.values["outdoor_c"], sensed.values["glass_c"] = 10.0, 4.0
        sensed.run(2 * 3600, 60)
        self.assertTrue(sensed.noticed(w.OUTDOOR_DOUBT))
        again = Rig({"has_glass": 1})
        self.assertTrue(learned.unpack(again.controller, learned.pack(sensed.controller), again.now_s))
        again.values.update(sensed.values)
        for _ in range(2):
            again.scan(10)
            self.assertEqual(again.controller.judge.inputs.outdoor_basis, r.OUTDOOR_DESIGN)
            self.assertTrue(again.noticed(w.OUTDOOR_DOUBT))

    def test_without_a_look_ahead_no_outdoor_reading_is_doubted(self):
        rig = Rig({"has_glass": 1})
        rig.values["outdoor_c"], rig.values["glass_c"] = 10.0, 4.0
        rig.run(2 * 3600, 60)
        self.assertTrue(rig.controller.judge.outdoor_doubted)
        rig.settings.change({"look_ahead": 0})
        rig.run(200)
        self.assertFalse(rig.noticed(w.OUTDOOR_DOUBT))
        self.assertEqual(rig.controller.judge.inputs.outdoor_basis, r.OUTDOOR_READ)

    def test_a_person_ends_that_doubt(self):
        rig = opened()
        rig.values["rh_pct"] = 8.0
        rig.run(60)
        self.assertTrue(rig.refused(w.RH_BAD))
        rig.readings.request = r.REQUEST_CLEAR
        rig.scan(10)
        rig.readings.request = r.REQUEST_NONE
        rig.run(60)
        self.assertFalse(rig.decision.refusals >> w.RH_BAD & 1)

    def test_breath_on_the_sensor_that_goes_away_is_no_fall(self):
        rig = opened()
        rig.run(600)
        rig.values["rh_pct"] = 60.0
        rig.run(60)
        rig.values["rh_pct"] = 20.0
        rig.run(60)
        self.assertFalse(rig.noticed(w.RH_JUMPED))
        self.assertFalse(rig.decision.refusals >> w.RH_BAD & 1)

    def test_a_chip_that_repeats_all_it_says_is_found_by_the_furnace(self):
        rig = Rig()
        rig.run(60)
        rig.values["rh_pct"] = 20.05
        rig.run(20)
        rig.contact("heat_call", r.OFF)
        rig.run(5300)
        self.assertFalse(rig.refused(w.RH_BAD))
        rig.run(200)
        self.assertTrue(rig.refused(w.RH_BAD))
        rig.values["rh_pct"] = 20.1
        rig.scan(10)
        self.assertFalse(rig.decision.refusals >> w.RH_BAD & 1)

    def test_without_a_change_of_heat_it_may_be_a_quiet_night(self):
        rig = Rig()
        rig.run(60)
        rig.values["rh_pct"] = 20.05
        rig.run(20000)
        self.assertFalse(rig.decision.refusals >> w.RH_BAD & 1)


class TestOutdoors(unittest.TestCase):
    def test_a_reading_that_jumped_is_none_after_an_hour_and_a_half(self):
        rig = Rig({"design_outdoor_c": -25.0})
        rig.values["outdoor_c"] = -10.0
        rig.run(600)
        rig.values["outdoor_c"] = 5.0
        for lasted_s, basis, believed_c in ((5400, r.OUTDOOR_READ, -10.0), (120, r.OUTDOOR_DESIGN, -25.0)):
            rig.run(lasted_s, 30)
            inputs = rig.controller.judge.inputs
            self.assertEqual((inputs.outdoor_basis, inputs.outdoor_c), (basis, believed_c))
        rig.values["outdoor_c"] = -9.0
        rig.run(120, 30)
        self.assertEqual(rig.controller.judge.inputs.outdoor_basis, r.OUTDOOR_READ)
        self.assertFalse(rig.noticed(w.OUTDOOR_DOUBT))

    def test_the_scan_in_which_a_jump_ends_warms_nothing_yet(self):
        rig = Rig({"design_outdoor_c": -8.0})
        rig.values["outdoor_c"] = -10.004  # the history knows hundredths
        rig.run(600)
        rig.values["outdoor_c"] = 8.0
        rig.run(10)
        inputs = rig.controller.judge.inputs
        first_c = inputs.outdoor_c
        while rig.controller.judge.belief.jumped_s >= 0:
            self.assertTrue(inputs.outdoor_c <= first_c)
            rig.scan(3600)
        self.assertEqual(inputs.outdoor_basis, r.OUTDOOR_DESIGN)
        while inputs.outdoor_basis != r.OUTDOOR_READ:  # until the doubt is over, too
            self.assertTrue(inputs.outdoor_c <= first_c)
            rig.scan(10)
        rig.run(120, 60)
        self.assertEqual(inputs.outdoor_basis, r.OUTDOOR_READ)

    def jumped_before_a_reboot(self, hours, now_s=1000):
        """A new rig, brought at now_s to what one kept in which the outdoor reading jumped after so many hours."""
        old = Rig({"design_outdoor_c": -25.0})
        old.values["outdoor_c"] = -10.0
        old.run(3600 * hours + 60, 30)
        old.values["outdoor_c"] = 5.0
        old.run(60, 30)
        rig = Rig({"design_outdoor_c": -25.0})
        rig.now_s = now_s
        self.assertTrue(learned.unpack(rig.controller, learned.pack(old.controller), now_s))
        return rig

    def test_no_reboot_makes_a_jump_a_reading(self):
        rig = self.jumped_before_a_reboot(1)
        for outdoor_c, lasts_s in ((None, 120), (5.0, 6000)):
            rig.values["outdoor_c"] = outdoor_c
            for _ in range(lasts_s // 60):
                rig.scan(60)
                inputs = rig.controller.judge.inputs
                self.assertEqual((inputs.outdoor_basis, inputs.outdoor_c), (r.OUTDOOR_DESIGN, -25.0))
                self.assertTrue(rig.noticed(w.OUTDOOR_DOUBT))
        rig.values["outdoor_c"] = 3.99
        rig.run(180, 30)
        self.assertEqual((inputs.outdoor_basis, inputs.outdoor_c), (r.OUTDOOR_READ, 3.99))
        self.assertFalse(rig.noticed(w.OUTDOOR_DOUBT))

    def test_a_jump_from_before_a_reboot_ends_after_two_days(self):
        rig = self.jumped_before_a_reboot(1)
        rig.values["outdoor_c"] = 5.0
        rig.run(JUMP_HELD_S, 1800)
        self.assertEqual(rig.controller.judge.inputs.outdoor_basis, r.OUTDOOR_DESIGN)
        rig.run(300, 60)
        self.assertEqual(rig.controller.judge.inputs.outdoor_c, 5.0)

    def test_in_a_boots_very_first_second_too(self):
        rig = self.jumped_before_a_reboot(1, 0)
        for outdoor_c, basis in ((5.0, r.OUTDOOR_DESIGN), (3.9, r.OUTDOOR_READ)):
            rig.values["outdoor_c"] = outdoor_c
            rig.run(180, 30)
            self.assertEqual(rig.controller.judge.inputs.outdoor_basis, basis)
            self.assertEqual(rig.noticed(w.OUTDOOR_DOUBT), basis == r.OUTDOOR_DESIGN)
            again = Rig()
            self.assertTrue(learned.unpack(again.controller, learned.pack(rig.controller), 0))
            self.assertEqual(again.controller.judge.belief.jumped_s, 0 if basis == r.OUTDOOR_DESIGN else -1)

    def test_where_no_hour_was_kept_a_jump_from_before_a_reboot_is_forgotten(self):
        rig = self.jumped_before_a_reboot(0)
        rig.values["outdoor_c"] = 5.0
        rig.run(60, 30)
        self.assertEqual(rig.controller.judge.inputs.outdoor_c, 5.0)

    def test_much_heat_for_few_kelvin_and_the_reading_counts_no_more(self):
        rig = Lived().knows(**HEATED).live(0.5)
        self.assertFalse(rig.noticed(w.OUTDOOR_DOUBT))
        rig.values["outdoor_c"] = 10.0
        rig.live(1)
        self.assertTrue(rig.noticed(w.OUTDOOR_DOUBT))
        self.assertEqual(rig.controller.judge.inputs.outdoor_basis, r.OUTDOOR_DESIGN)
        rig.values["outdoor_c"] = -8.0
        rig.live(2)
        self.assertFalse(rig.noticed(w.OUTDOOR_DOUBT))
        self.assertEqual(rig.controller.judge.inputs.outdoor_basis, r.OUTDOOR_READ)

    def test_a_warm_day_with_little_heat_accuses_nobody(self):
        for heats in (2, 20):
            rig = Lived().knows(**HEATED)
            rig.heats = heats
            rig.values["outdoor_c"] = 15.9
            rig.live(1)
            self.assertEqual(rig.noticed(w.OUTDOOR_DOUBT), False)

    def test_heat_against_warmer_air_outdoors_is_the_wrong_thermometer_after_an_hour(self):
        rig = Lived()
        rig.heats = 60
        rig.values["outdoor_c"] = 21.0  # at most 0.6 K warmer indoors
        rig.live(0.2)
        self.assertFalse(rig.noticed(w.OUTDOOR_DOUBT))
        rig.values["outdoor_c"] = 22.0
        rig.live(0.8 / 24)
        self.assertFalse(rig.noticed(w.OUTDOOR_DOUBT))
        rig.live(0.5 / 24)
        self.assertTrue(rig.noticed(w.OUTDOOR_DOUBT))

    def test_on_a_hot_day_glass_is_colder_than_the_air_outdoors(self):
        rig = Lived({"has_glass": 1})
        rig.heats = 0
        rig.values["glass_c"], rig.values["outdoor_c"] = 25.0, 32.0
        rig.live(0.2)
        self.assertFalse(rig.noticed(w.OUTDOOR_DOUBT))

    def test_glass_colder_than_outdoors_for_an_hour_is_the_wrong_thermometer(self):
        rig = Lived({"has_glass": 1}).live(0.1)
        rig.values["glass_c"], rig.values["outdoor_c"] = -8.0, 2.0
        rig.live(0.9 / 24)
        self.assertFalse(rig.noticed(w.OUTDOOR_DOUBT))
        rig.live(0.5 / 24)
        self.assertTrue(rig.noticed(w.OUTDOOR_DOUBT))


class TestHalfWave(unittest.TestCase):
    def test_it_has_to_last_a_minute(self):
        rig = opened()
        rig.readings.half_wave = 4
        rig.run(30)
        rig.readings.half_wave = 0
        rig.run(120)
        self.assertFalse(rig.noticed(w.HALF_WAVE))
        rig.readings.half_wave = 4
        rig.run(190)
        self.assertTrue(rig.noticed(w.HALF_WAVE))
        rig.readings.half_wave = 3  # others: once more from the beginning
        told = []
        for _ in range(13):
            rig.scan(10)
            told.append(rig.noticed(w.HALF_WAVE))
        self.assertIn(False, told)


class TestTell(unittest.TestCase):
    def test_a_notice_begins_lasts_and_ends(self):
        doubts = Doubts()
        seen = []
        for begins, lasts in ((False, True), (True, True), (False, True), (False, False), (False, True)):
            doubts.tell(w.PAD_WEAK, begins, lasts)
            seen.append(doubts.notices >> w.PAD_WEAK & 1)
        self.assertEqual(seen, [0, 1, 1, 0, 0])


if __name__ == "__main__":
    unittest.main()
