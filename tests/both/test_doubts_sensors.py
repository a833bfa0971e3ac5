"""What furnace, glass and rooms tell of the sensors, minute by minute: thresholds, what is remembered, how it ends."""

import unittest

from dewcore import readings as r
from dewcore import words as w
from dewcore.doubts import AS_USUAL, LEAST_DUTY, NO_MORE, Doubts
from dewcore.house import House
from dewcore.psychro import sat_water_pa
from dewcore.settings import Settings

STEP_S = 300
ALL = (1 << r.INDOOR) | (1 << r.RH) | (1 << r.OUTDOOR) | (1 << r.GLASS) | (1 << r.ROOM) | (1 << r.ROOM_RH)


class Sensed:
    """Doubts with what is believed, each value an attribute to be changed."""

    def __init__(self, changes=None, **learned):
        settings = Settings()
        settings.change(changes or {})
        self.doubts = Doubts(settings)
        for name in learned:
            setattr(self.doubts, name, learned[name])
        self.readings = r.Readings()
        self.inputs = r.Inputs()
        self.inputs.trusted = ALL
        self.inputs.age_s[r.INDOOR] = self.inputs.age_s[r.OUTDOOR] = 0
        self.inputs.glass_c = 15.0
        self.inputs.rh_pct = 30.0
        self.outdoor_c = 0.0
        self.indoor_c = 20.0
        self.room_pct = 30.0
        self.heats = r.ON
        self.house = House()
        self.now_s = 0

    def step(self, count=1, seconds=STEP_S):
        inputs = self.inputs
        for _ in range(count):
            self.now_s += seconds
            self.readings.heat_call.set(self.heats, self.now_s)
            self.readings.fan.set(self.heats, self.now_s)
            inputs.indoor_c = inputs.room_c = self.indoor_c
            inputs.indoor_sat_pa = sat_water_pa(self.indoor_c)
            inputs.room_rh_pct = self.room_pct
            self.doubts.minute(self.readings, inputs, self.outdoor_c, self.house, False, self.now_s)
        return self

    def told(self, code):
        return self.doubts.notices >> code & 1


def heated(duty, span_k, usual_duty=0.6, usual_span_k=20.0, duty_h=400.0):
    """A furnace that heats as it is said to, after a step that changes hardly anything."""
    sensed = Sensed(duty=duty, span_k=span_k, usual_duty=usual_duty, usual_span_k=usual_span_k, duty_h=duty_h)
    sensed.outdoor_c = sensed.indoor_c - 4.0 - span_k
    return sensed.step(1, 1).step(1, 1).doubts


class TestHeat(unittest.TestCase):
    def test_twice_the_usual_heat_for_a_kelvin_is_doubted_and_less_is_not(self):
        self.assertTrue(heated(0.6, 9.9).outdoor)
        self.assertFalse(heated(0.6, 10.1).outdoor)

    def test_it_ends_below_fourteen_tenths(self):
        for span_k, lasts in ((14.1, True), (14.5, False)):
            sensed = Sensed(duty=0.6, span_k=span_k, usual_duty=0.6, usual_span_k=20.0, duty_h=400.0, outdoor=True)
            sensed.outdoor_c = 16.0 - span_k
            self.assertEqual(bool(sensed.step(1, 1).doubts.outdoor), lasts)

    def test_little_heat_accuses_nobody(self):
        self.assertFalse(heated(0.35, 4.0).outdoor)
        self.assertTrue(heated(0.37, 4.0).outdoor)
        self.assertFalse(heated(0.0495, 4.0, 0.06).outdoor)
        self.assertTrue(heated(0.0505, 4.0, 0.06).outdoor)

    def test_two_weeks_have_to_be_known(self):
        self.assertFalse(heated(0.6, 5.0, duty_h=335.9).outdoor)
        known = Sensed(duty=0.6, span_k=5.0, usual_duty=0.6, usual_span_k=20.0, duty_h=336.0)
        self.assertFalse(known.step(1).doubts.outdoor)  # just two weeks, and no time since
        self.assertTrue(heated(0.6, 5.0, duty_h=336.0).outdoor)

    def test_just_on_a_limit_it_accuses_nobody(self):
        for duty, usual_duty, span_k in ((0.5, 0.5, 10.0), (LEAST_DUTY, 0.06, 4.0), (AS_USUAL, 1.0, 4.0)):
            for more, doubted in ((0.0, False), (0.001, True)):
                sensed = Sensed(duty=duty + more, span_k=span_k, usual_span_k=20.0, duty_h=400.0)
                sensed.doubts.usual_duty = usual_duty
                self.assertEqual(bool(sensed.step(1).doubts.outdoor), doubted)
        for less, lasts in ((0.0, False), (0.001, True)):
            sensed = Sensed(duty=0.5 * NO_MORE, usual_duty=0.5, span_k=16.0 - less, usual_span_k=16.0, duty_h=400.0)
            sensed.doubts.outdoor = True
            self.assertEqual(bool(sensed.step(1).doubts.outdoor), lasts)

    def test_a_day_and_a_fortnight_are_followed(self):
        sensed = Sensed().step(1)
        self.assertEqual(sensed.doubts.duty, 0.0)  # the first has no length
        sensed.step(1)
        self.assertTrue(abs(sensed.doubts.duty - 1.0 / 12.0) < 1e-5)
        self.assertTrue(abs(sensed.doubts.span_k - 16.0 / 12.0) < 1e-4)
        self.assertTrue(abs(sensed.doubts.usual_span_k - 16.0 / 12.0) < 1e-4)
        sensed.step(11 + 23 * 12)
        self.assertTrue(abs(sensed.doubts.duty_h - 24.0) < 1e-3)
        self.assertTrue(0.96 < sensed.doubts.duty < 1.0 and 15.3 < sensed.doubts.span_k < 16.0)
        sensed.heats = r.OFF
        sensed.step(24 * 12)
        self.assertTrue(abs(sensed.doubts.duty - 0.3671) < 0.01)  # 1 / e of it is left
        self.assertTrue(abs(sensed.doubts.usual_duty - 0.5) < 0.01)  # of two days known, half with heat

    def test_the_fortnight_is_one_however_long_it_is_known(self):
        sensed = Sensed(duty_h=671.99, usual_duty=0.0, usual_span_k=16.0).step(2)
        self.assertEqual(sensed.doubts.duty_h, 672.0)
        self.assertTrue(abs(sensed.doubts.usual_duty - 1.0 / 12.0 / 336.0) < 1e-6)
        self.assertTrue(abs(sensed.doubts.usual_span_k - 16.0) < 1e-4)

    def test_what_is_doubted_is_no_rule(self):
        sensed = Sensed(duty_h=400.0, usual_duty=0.5, usual_span_k=16.0, odd_s=7200, outdoor=True).step(3)
        self.assertEqual((sensed.doubts.usual_duty, sensed.doubts.usual_span_k), (0.5, 16.0))

    def test_a_mild_day_counts_as_two_kelvin(self):
        sensed = Sensed()
        sensed.outdoor_c = 19.0
        self.assertTrue(abs(sensed.step(2).doubts.span_k - 2.0 / 12.0) < 1e-5)

    def test_an_old_reading_and_one_that_never_came_teach_nothing(self):
        for age_s, hours in ((-1, 0.0), (0, 1.0 / 12.0), (5400, 1.0 / 12.0), (5401, 0.0)):
            sensed = Sensed()
            sensed.inputs.age_s[r.OUTDOOR] = age_s
            self.assertTrue(abs(sensed.step(2).doubts.duty_h - hours) < 1e-6)

    def test_nothing_without_a_readable_contact_or_indoor_air(self):
        sensed = Sensed()
        sensed.heats = r.UNREADABLE
        self.assertEqual(sensed.step(3).doubts.duty_h, 0.0)
        sensed = Sensed()
        sensed.inputs.trusted = ALL & ~(1 << r.INDOOR)
        self.assertEqual(sensed.step(3).doubts.duty_h, 0.0)

    def test_without_a_heat_call_the_fan_is_the_witness(self):
        sensed = Sensed({"has_heat_call": 0})
        sensed.heats = r.OFF
        sensed.step(1)
        sensed.readings.fan.set(r.ON, sensed.now_s)
        sensed.doubts._furnace(sensed.readings, sensed.inputs, 0.0, STEP_S, sensed.now_s)
        self.assertTrue(sensed.doubts.duty > 0.05)

    def test_a_fan_that_only_circulates_is_no_heat(self):
        sensed = Sensed({"has_heat_call": 1})
        for _ in range(3):
            sensed.heats = r.OFF
            sensed.step(1)
            sensed.readings.fan.set(r.ON, sensed.now_s)
            sensed.doubts._furnace(sensed.readings, sensed.inputs, 0.0, STEP_S, sensed.now_s)
        self.assertEqual(sensed.doubts.duty, 0.0)

    def test_a_gap_counts_as_five_minutes_and_time_that_goes_back_as_none(self):
        sensed = Sensed().step(1).step(1, 90000)
        self.assertTrue(abs(sensed.doubts.duty_h - 1.0 / 12.0) < 1e-6)
        sensed.now_s -= 1000
        self.assertTrue(abs(sensed.step(1, 0).doubts.duty_h - 1.0 / 12.0) < 1e-6)


class TestOdd(unittest.TestCase):
    def odd(self, steps):
        """So many steps of heat against air that is warmer by more than a kelvin."""
        sensed = Sensed()
        sensed.outdoor_c = 21.1
        return sensed.step(steps + 1)

    def test_after_an_hour_and_until_it_was_right_for_as_long(self):
        self.assertFalse(self.odd(11).doubts.outdoor)
        sensed = self.odd(12)
        self.assertTrue(sensed.doubts.outdoor)
        sensed.outdoor_c = 0.0
        self.assertTrue(sensed.step(11).doubts.outdoor)
        self.assertFalse(sensed.step(1).doubts.outdoor)

    def test_the_last_second_of_it_still_counts(self):
        sensed = Sensed(odd_s=61, outdoor=True).step(1)
        self.assertTrue(sensed.step(1, 60).doubts.outdoor)
        self.assertFalse(sensed.step(1, 1).doubts.outdoor)

    def test_two_hours_are_remembered_at_most(self):
        sensed = self.odd(60)
        sensed.outdoor_c = 0.0
        self.assertTrue(sensed.step(23).doubts.outdoor)
        self.assertFalse(sensed.step(1).doubts.outdoor)

    def test_a_kelvin_warmer_or_without_heat_is_not_odd(self):
        sensed = Sensed()
        sensed.outdoor_c = 21.0
        self.assertEqual(sensed.step(5).doubts.odd_s, 0)
        sensed.outdoor_c = 30.0
        sensed.heats = r.OFF
        self.assertEqual(sensed.step(5).doubts.odd_s, 0)

    def test_a_glass_sensor_that_is_lost_takes_back_nothing_of_what_it_said(self):
        sensed = Sensed({"has_glass": 1})
        sensed.inputs.glass_c, sensed.outdoor_c = 4.0, 10.0
        self.assertTrue(sensed.step(14).doubts.outdoor)
        odd_s = sensed.doubts.odd_s
        sensed.inputs.trusted = ALL & ~(1 << r.GLASS)
        self.assertTrue(sensed.step(100).doubts.outdoor)
        self.assertEqual(sensed.doubts.odd_s, odd_s)
        sensed.inputs.trusted = ALL
        sensed.inputs.glass_c = 15.0
        self.assertFalse(sensed.step(24).doubts.outdoor)

    def test_where_none_is_fitted_any_more_it_ends(self):
        sensed = Sensed({"has_glass": 1}, odd_s=7200, outdoor=True)
        sensed.inputs.trusted = ALL & ~(1 << r.GLASS)
        sensed.doubts.settings.change({"has_glass": 0})
        self.assertEqual(sensed.step(2).doubts.odd_s, 6900)

    def test_glass_more_than_three_kelvin_colder_than_both_sides(self):
        for glass_c, outdoor_c, seconds in ((6.98, 10.0, 300), (7.0, 10.0, 0), (16.98, 30.0, 300), (17.0, 30.0, 0)):
            sensed = Sensed({"has_glass": 1})
            sensed.heats = r.OFF
            sensed.inputs.glass_c, sensed.outdoor_c = glass_c, outdoor_c
            self.assertEqual(sensed.step(2).doubts.odd_s, seconds)
        sensed = Sensed({"has_glass": 1})
        sensed.inputs.glass_c = -10.0
        sensed.inputs.trusted = ALL & ~(1 << r.GLASS)
        self.assertEqual(sensed.step(2).doubts.odd_s, 0)
        sensed = Sensed()
        sensed.inputs.glass_c = -10.0
        self.assertEqual(sensed.step(2).doubts.odd_s, 0)


class TestPlace(unittest.TestCase):
    def starts(self, sensed, count, warms_k, minutes=20):
        """So many starts of the furnace, each of which warms the air within its first quarter of an hour."""
        for _ in range(count):
            sensed.heats = r.OFF
            sensed.step(1, 60)
            sensed.indoor_c = 20.0
            sensed.step(9, 60)
            sensed.heats = r.ON
            sensed.step(1, 60)
            sensed.indoor_c = 20.0 + warms_k
            sensed.step(minutes - 1, 60)
        sensed.heats = r.OFF
        return sensed.step(1, 60).told(w.SENSOR_PLACE)

    def test_five_kelvin_at_each_of_three_starts(self):
        self.assertEqual(self.starts(Sensed(), 2, 5.1), 0)
        self.assertEqual(self.starts(Sensed(), 3, 5.1), 1)
        self.assertEqual(self.starts(Sensed(), 3, 5.0), 1)
        self.assertEqual(self.starts(Sensed(), 3, 4.9), 0)

    def test_a_sensor_that_is_not_believed_begins_nothing(self):
        sensed = Sensed()
        sensed.inputs.trusted &= ~(1 << r.INDOOR)
        self.assertEqual(self.starts(sensed, 3, 6.0), 0)

    def test_the_start_during_which_a_person_moves_the_sensor_is_none(self):
        sensed = Sensed()
        self.starts(sensed, 3, 6.0)
        sensed.heats, sensed.indoor_c = r.ON, 20.0
        sensed.step(2, 60)
        sensed.doubts.see_to_place()
        sensed.indoor_c = 26.0  # held in a warm hand
        sensed.step(20, 60)
        self.assertEqual(self.starts(sensed, 2, 6.0), 0)
        self.assertEqual(self.starts(sensed, 1, 6.0), 1)

    def test_a_short_start_counts_when_it_ends(self):
        self.assertEqual(self.starts(Sensed(), 3, 5.1, 5), 1)

    def test_one_start_that_does_not_begins_anew(self):
        sensed = Sensed()
        self.starts(sensed, 2, 6.0)
        self.starts(sensed, 1, 1.0)
        self.assertEqual(self.starts(sensed, 2, 6.0), 0)
        self.assertEqual(self.starts(sensed, 1, 6.0), 1)

    def test_it_ends_with_three_that_do_not(self):
        sensed = Sensed()
        self.starts(sensed, 6, 6.0)
        sensed.inputs.trusted &= ~(1 << r.INDOOR)  # as the controller has it meanwhile
        duty_h = sensed.doubts.duty_h
        self.assertEqual(self.starts(sensed, 2, 1.0), 1)
        self.assertEqual(self.starts(sensed, 1, 6.0), 1)
        self.assertEqual(self.starts(sensed, 2, 1.0), 1)
        self.assertEqual(self.starts(sensed, 1, 1.0), 0)
        self.assertEqual(sensed.doubts.duty_h, duty_h)  # supply air tells nothing of the heat that the house takes

    def test_a_sensor_that_does_not_answer_takes_nothing_back(self):
        sensed = Sensed()
        self.starts(sensed, 3, 6.0)
        sensed.inputs.trusted &= ~(1 << r.INDOOR)
        for age_s, told in ((31, 1), (-1, 1), (30, 0)):
            sensed.inputs.age_s[r.INDOOR] = age_s
            self.assertEqual(self.starts(sensed, 3, 0.0), told)

    def test_a_start_of_which_only_the_end_is_seen_is_none(self):
        sensed = Sensed()
        self.starts(sensed, 3, 6.0)
        sensed.inputs.trusted &= ~(1 << r.INDOOR)
        for _ in range(3):
            sensed.inputs.age_s[r.INDOOR], sensed.heats = 31, r.ON
            sensed.step(2, 60)
            sensed.inputs.age_s[r.INDOOR] = 0
            sensed.step(20, 60)
            sensed.heats = r.OFF
            sensed.step(2, 60)
        self.assertEqual(sensed.told(w.SENSOR_PLACE), 1)

    def test_a_start_that_is_not_read_all_the_time_is_none(self):
        sensed = Sensed()
        self.starts(sensed, 3, 6.0)
        sensed.inputs.trusted &= ~(1 << r.INDOOR)
        for _ in range(3):
            sensed.heats, sensed.indoor_c = r.ON, 20.0
            for age_s in (0, 31, 0):
                sensed.inputs.age_s[r.INDOOR] = age_s
                sensed.step(2, 60)
            sensed.heats = r.OFF
            sensed.step(2, 60)
        self.assertEqual(sensed.told(w.SENSOR_PLACE), 1)

    def test_what_warms_later_is_the_house(self):
        sensed = Sensed()
        for _ in range(4):
            sensed.heats, sensed.indoor_c = r.OFF, 20.0
            sensed.step(10, 60)
            sensed.heats = r.ON
            sensed.step(17, 60)
            sensed.indoor_c = 26.0
            sensed.step(5, 60)
        self.assertEqual(sensed.told(w.SENSOR_PLACE), 0)


class TestRooms(unittest.TestCase):
    def lived(self, room_pct, steps, changes=None):
        sensed = Sensed({"has_room": 1} if changes is None else changes)
        sensed.room_pct = room_pct
        return sensed.step(steps)

    def test_more_than_five_percent_for_a_whole_day_either_way(self):
        for room_pct, told in ((35.1, 1), (34.9, 0), (24.9, 1), (25.1, 0)):
            self.assertEqual(self.lived(room_pct, 289).told(w.SENSORS_DIFFER), told)
        self.assertEqual(self.lived(40.0, 288).told(w.SENSORS_DIFFER), 0)

    def test_one_minute_of_agreement_is_enough_and_ends_it(self):
        sensed = self.lived(40.0, 100)
        sensed.room_pct = 33.0
        sensed.step(1)
        sensed.room_pct = 40.0
        self.assertEqual(sensed.step(188).told(w.SENSORS_DIFFER), 0)
        self.assertEqual(sensed.step(288).told(w.SENSORS_DIFFER), 1)
        sensed.room_pct = 33.0
        self.assertEqual(sensed.step(1).told(w.SENSORS_DIFFER), 0)

    def test_each_day_anew(self):
        sensed = self.lived(40.0, 289)
        self.assertEqual(sensed.step(287).told(w.SENSORS_DIFFER), 1)
        sensed.room_pct = 36.0  # the smallest difference is the day's, not the first day's
        self.assertEqual(sensed.step(288).told(w.SENSORS_DIFFER), 1)

    def test_nothing_of_what_is_not_fitted_or_not_trusted(self):
        self.assertEqual(self.lived(40.0, 300, {}).told(w.SENSORS_DIFFER), 0)
        for channel in (r.ROOM, r.ROOM_RH, r.INDOOR, r.RH):
            sensed = Sensed({"has_room": 1})
            sensed.inputs.trusted = ALL & ~(1 << channel)
            sensed.room_pct = 40.0
            self.assertEqual(sensed.step(600).told(w.SENSORS_DIFFER), 0)

    def test_the_rooms_air_is_taken_to_the_main_sensors_temperature(self):
        sensed = Sensed({"has_room": 1})
        sensed.step(1)
        sensed.inputs.room_c = 17.0
        sensed.inputs.room_rh_pct = 30.0 * sat_water_pa(20.0) / sat_water_pa(17.0)
        sensed.doubts._rooms(sensed.inputs, 600)
        self.assertTrue(sensed.doubts.least_pct < 1e-3)

    def test_a_day_that_begins_with_second_zero_is_one(self):
        sensed = Sensed({"has_room": 1})
        sensed.now_s = -STEP_S
        sensed.room_pct = 40.0
        self.assertEqual(sensed.step(288).told(w.SENSORS_DIFFER), 0)
        self.assertEqual(sensed.step(1).told(w.SENSORS_DIFFER), 1)

    def test_twice_in_a_second_is_no_day(self):
        self.assertEqual(self.lived(40.0, 1).step(1, 0).told(w.SENSORS_DIFFER), 0)

    def test_five_percent_apart_is_no_more_than_five(self):
        sensed = Sensed({"has_room": 1})
        inputs, doubts = sensed.inputs, sensed.doubts
        inputs.room_c, inputs.room_rh_pct = 20.0, 50.0
        inputs.indoor_sat_pa = 0.01 * inputs.room_rh_pct * sat_water_pa(20.0)
        inputs.rh_pct = 95.0  # at the main sensor the room's air has 100
        doubts.notices = 1 << w.SENSORS_DIFFER
        doubts._rooms(inputs, 0)
        self.assertEqual((doubts.least_pct, doubts.notices), (5.0, 0))
        inputs.rh_pct = 90.0
        doubts._rooms(inputs, 86400)  # the next day begins with more; of the last it was five
        self.assertEqual(doubts.notices, 0)

    def test_time_that_goes_back_begins_a_day(self):
        sensed = self.lived(40.0, 10)
        sensed.now_s = 0
        sensed.doubts.day_s = 301
        sensed.step(1)
        self.assertEqual(sensed.doubts.day_s, 300)


if __name__ == "__main__":
    unittest.main()
