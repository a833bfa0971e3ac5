"""The whole scan: when it is due, what the target obeys and which surface binds, what can never raise it."""

import unittest

from ceilings import room_ceiling_pct
from rig import NAN, Rig, opened

from dewcore import ceiling as c
from dewcore import readings as r
from dewcore import words as w
from dewcore.controller import Controller
from dewcore.judge import Judge
from dewcore.margin import Margin
from dewcore.permit import Permit

NIGHT_UTC_S = 1700000000 // 86400 * 86400 + 2 * 3600  # 02:00
DAY_UTC_S = NIGHT_UTC_S + 10 * 3600  # 12:00


def decided(changes=None, values=None, utc_s=0):
    """Controller and Decision of a first scan with these settings and sample values."""
    rig = Rig(changes)
    rig.values.update(values or {})
    rig.readings.utc_s = utc_s
    rig.scan(10)
    return rig


def target_pct(changes=None, values=None, utc_s=0):
    return decided(changes, values, utc_s).decision.target_pct


class TestDue(unittest.TestCase):
    def setUp(self):
        self.rig = Rig()
        self.contacts = self.rig.readings.contacts

    def due(self, seconds):
        return self.rig.controller.due(self.contacts, self.rig.now_s + seconds)

    def test_the_first_scan_is_due_at_once(self):
        self.assertTrue(self.due(0))

    def test_then_every_ten_seconds(self):
        self.rig.scan(0)
        self.assertFalse(self.due(0))
        self.assertFalse(self.due(9))
        self.assertTrue(self.due(10))
        self.assertTrue(self.due(1000))

    def test_a_changed_contact_makes_it_due_at_once(self):
        for name in r.CONTACT_NAMES:
            self.rig.scan(0)
            self.assertFalse(self.due(0))
            self.rig.contact(name, r.UNREADABLE)
            self.assertTrue(self.due(0))

    def test_a_contact_that_changed_and_came_back_makes_it_due(self):
        self.rig.scan(0)
        self.rig.now_s += 1
        self.rig.contact("fan", r.OFF)
        self.rig.contact("fan", r.ON)
        self.assertTrue(self.due(0))

    def test_a_clock_that_ran_backwards_makes_it_due(self):
        self.rig.scan(0)
        self.assertTrue(self.due(-1))

    def test_the_first_scan_is_due_at_a_clock_of_zero_and_of_nine_with_every_contact_off(self):
        readings = r.Readings()
        for contact in readings.contacts:
            contact.set(r.OFF, 0)
        for now_s in (-1, 0, 5, 8, 9):
            self.assertIs(Controller().due(readings.contacts, now_s), True)

    def test_a_scan_at_a_clock_of_zero_counts(self):
        readings = r.Readings()
        controller = Controller()
        controller.scan(readings, 0)
        for now_s, due in ((0, False), (1, False), (9, False), (10, True), (-1, True)):
            self.assertIs(controller.due(readings.contacts, now_s), due)

    def test_state_and_second_of_every_contact_count(self):
        readings = r.Readings()
        for n in range(len(readings.contacts)):
            readings.contacts[n].state = n % 2
            readings.contacts[n].since_s = 100 + n
        controller = Controller()
        controller.scan(readings, 500)
        self.assertFalse(controller.due(readings.contacts, 500))
        for contact in readings.contacts:
            contact.state = 1 - contact.state
            self.assertTrue(controller.due(readings.contacts, 500))
            contact.state = 1 - contact.state
            contact.since_s += 1
            self.assertTrue(controller.due(readings.contacts, 500))
            contact.since_s -= 1
            self.assertFalse(controller.due(readings.contacts, 500))


class TestRenewal(unittest.TestCase):
    """Without any new value a changed wish waits until the target is more than a minute old."""

    def test_after_sixty_seconds_it_still_holds_and_after_one_more_it_is_renewed(self):
        rig = Rig({"wish_pct": 20.0, "look_ahead": 0})  # a new look-ahead is a new value
        rig.scan(0)
        for wish_pct in (15.0, 18.0):
            before_pct = rig.decision.target_pct
            rig.settings.change({"wish_pct": wish_pct})
            for seconds in (0, 1, 29, 29, 1):
                self.assertEqual(rig.scan(seconds).target_pct, before_pct)
            self.assertEqual(rig.scan(1).target_pct, wish_pct)

    def test_a_new_value_renews_it_at_once_and_the_minute_begins_anew(self):
        rig = Rig({"wish_pct": 20.0, "look_ahead": 0})
        rig.scan(0)
        rig.scan(40)
        rig.settings.change({"wish_pct": 15.0})
        rig.values["indoor_c"] = 20.1
        self.assertEqual(rig.scan(10).target_pct, 15.0)
        rig.settings.change({"wish_pct": 18.0})
        self.assertEqual(rig.scan(60).target_pct, 15.0)
        self.assertEqual(rig.scan(1).target_pct, 18.0)


class TestStandingDown(unittest.TestCase):
    def test_an_open_valve_shuts_at_once_no_other_reason_is_told_and_the_pause_counts_from_there(self):
        rig = opened()
        rig.controller.stand_down(rig.now_s)
        d = rig.controller.decision
        self.assertIs(d.valve, False)
        self.assertIs(rig.controller.valve.open, False)
        self.assertEqual((d.refusals, d.notices, d.hold_s), (1 << w.SAFE_MODE, 0, 0))
        self.assertEqual(rig.controller.valve.commanded_s, rig.now_s)

    def test_nothing_is_waited_for_any_more(self):
        rig = Rig()
        self.assertTrue(rig.scan(10).hold_s > 0)  # the pause after a boot
        rig.controller.stand_down(rig.now_s)
        self.assertEqual(rig.decision.hold_s, 0)


class TestTime(unittest.TestCase):
    def test_scans_without_any_time_between_them_change_nothing(self):
        rig = opened()
        for _ in range(50):
            self.assertTrue(rig.scan(0).valve)
        rig = Rig()
        for _ in range(500):
            self.assertFalse(rig.scan(0).valve)

    def test_the_same_course_whatever_the_number_of_scans(self):
        """Scans every second and every ten seconds open and shut at the same times, to a scan."""
        courses = []
        for step_s in (1, 10):
            rig = Rig()
            changes = []
            last = False
            for n in range(3000 // step_s):
                if n * step_s == 1000:
                    rig.contact("heat_call", r.OFF)
                if n * step_s == 1200:
                    rig.contact("heat_call", r.ON)
                if rig.scan(step_s).valve != last:
                    last = rig.decision.valve
                    changes.append(rig.now_s)
            courses.append(changes)
        self.assertEqual(len(courses[0]), 3)
        self.assertEqual(len(courses[1]), 3)
        for n in range(3):
            self.assertTrue(abs(courses[0][n] - courses[1][n]) <= 20)

    def test_a_day_of_odd_steps_keeps_valve_and_refusals_one(self):
        rig = Rig({"has_supply": 1, "has_drain_wet": 1})
        number = 12345
        for _ in range(3000):
            number = (
                number * 1103 + 12345
            ) % 65536  # a plain congruential generator: every state of a contact
            name = r.CONTACT_NAMES[number % 9]
            if number % 7 == 0:
                rig.contact(name, (r.OFF, r.ON, r.UNREADABLE, r.NOT_FITTED)[number // 9 % 4])
            elif number % 7 < 4:
                rig.contact(name, {"fan": r.ON, "heat_call": r.ON, "line_sense": r.ON}.get(name, r.OFF))
            rig.values["rh_pct"] = (20.0, 24.0, 27.0, 60.0, NAN)[number // 11 % 5]
            rig.readings.request = r.REQUEST_CLEAR if number % 13 == 0 else r.REQUEST_NONE
            d = rig.scan(number % 31)
            self.assertEqual(d.valve, d.refusals == 0)
            self.assertTrue(d.hold_s >= 0)
            self.assertTrue(d.refusals < 1 << len(w.REFUSALS))
            self.assertTrue(d.notices < 1 << len(w.NOTICES))
            if d.valve:
                self.assertEqual(rig.readings.fan.state, r.ON)
                self.assertEqual(rig.readings.leak.state, r.OFF)
                self.assertEqual(rig.readings.off_switch.state, r.OFF)
                self.assertEqual(rig.readings.line_sense.state, r.ON)


class TestTarget(unittest.TestCase):
    def test_by_hand_at_zero_outdoors(self):
        # night factor 0.5, 8 K: 20 - 0.5 * 20 - 8 = 2 °C, 705.97 Pa (IAPWS R7-97) over 2339.2 Pa: 30.18 %.
        # Slopes of the Magnus form, 17.625 * 243.04 / (243.04 + t)^2: 7.13 %/K at 2 °C, 6.19 %/K at 20 °C; so
        # per kelvin of glass 2.152 % RH, and the parts are 2; (2.152 * 0.5 - 30.18 * 0.0619) * 0.3 = 0.238;
        # 2.152 * 0.5 * 0.5 = 0.538; 2.152 * 20 * 0.03 = 1.291.  Root of the sum of squares: 2.452 % RH
        rig = decided()
        self.assertAlmostEqual(rig.controller.terms.plain_pct, 30.18 - 2.452, delta=0.03)
        self.assertEqual(rig.decision.target_pct, rig.controller.terms.plain_pct)
        self.assertAlmostEqual(rig.controller.margin.total_k, 2.452 / 2.152, delta=0.02)
        # glass now, by night since no clock is set: 10 °C, 1228.2 Pa over 2339.2 Pa
        self.assertAlmostEqual(rig.decision.coldest_c, 10.0, delta=1e-4)
        self.assertAlmostEqual(rig.controller.terms.glass_pct, 52.5, delta=0.05)
        # 27.73 % of 2339.2 Pa is 648.6 Pa, its dew point 0.82 °C (IAPWS R7-97: 611.7 at 0.01, 657.1 at 1)
        self.assertAlmostEqual(rig.decision.margin_k, 10.0 - 0.82, delta=0.05)

    def test_every_term_bounds_it_and_each_surface_can_bind(self):
        cases = (
            ({}, {}, c.BINDS_GLASS),
            ({"wish_pct": 20.0}, {}, c.BINDS_OWNER),
            (
                {"corner_f": 0.3, "glass_f_day": 0.95, "glass_f_night": 0.95},
                {"outdoor_c": -20.0},
                c.BINDS_CORNER,
            ),
            ({"glass_f_day": 0.95, "glass_f_night": 0.95}, {"outdoor_c": -20.0}, c.BINDS_ENVELOPE),
            ({"cap_pct": 20.0}, {}, c.BINDS_ENVELOPE),
        )
        for changes, values, binds in cases:
            rig = decided(changes, values)
            terms = rig.controller.terms
            self.assertEqual(rig.decision.binds, binds)
            lowest = min(terms.plain_pct, terms.corner_pct, terms.envelope_pct, terms.owner_pct)
            self.assertEqual(rig.decision.target_pct, lowest)
            self.assertTrue(lowest <= terms.glass_pct)
            self.assertTrue(lowest > 0.0)
            self.assertEqual(
                rig.decision.ceiling_pct, min(terms.glass_pct, terms.corner_pct, terms.envelope_pct)
            )

    def test_of_equal_terms_the_owner_is_named(self):
        self.assertEqual(decided({"cap_pct": 20.0, "wish_pct": 20.0}).decision.binds, c.BINDS_OWNER)

    def test_below_nothing_the_target_is_nothing(self):
        rig = decided({"glass_f_day": 0.15, "glass_f_night": 0.15}, {"outdoor_c": -50.0})
        self.assertTrue(rig.controller.terms.plain_pct < 0.0)
        self.assertEqual(rig.decision.target_pct, 0.0)
        self.assertEqual(rig.decision.margin_k, 99.0)

    def test_slow_surfaces_follow_the_weeks_mean_not_the_hour(self):
        rig = Rig()
        rig.values["outdoor_c"] = 5.0
        rig.run(30 * 3600, 1800)
        before_pct = rig.controller.terms.corner_pct
        rig.values["outdoor_c"] = -20.0
        rig.scan(10)
        self.assertAlmostEqual(rig.controller.terms.corner_pct, before_pct, delta=1e-3)

    def test_the_target_follows_the_curtains_within_a_minute_without_any_new_value(self):
        rig = Rig()
        rig.readings.utc_s = DAY_UTC_S + 6 * 3600 - 30  # 17:59:30
        rig.scan(0)
        self.assertAlmostEqual(rig.decision.coldest_c, 11.0, delta=1e-4)
        for _ in range(7):
            rig.readings.utc_s += 10
            rig.scan(10)
        self.assertAlmostEqual(rig.decision.coldest_c, 10.0, delta=1e-4)

    def test_a_changed_wish_holds_within_a_minute(self):
        rig = Rig()
        rig.scan(0)
        rig.settings.change({"wish_pct": 15.0})
        rig.run(70)
        self.assertEqual(rig.decision.target_pct, 15.0)


class TestBinds(unittest.TestCase):
    def bound(self, owner_pct, plain_pct, corner_pct, envelope_pct):
        """Target and what binds, of the four terms."""
        controller = Controller()
        terms = controller.terms
        terms.owner_pct = owner_pct
        terms.plain_pct = plain_pct
        terms.corner_pct = corner_pct
        terms.envelope_pct = envelope_pct
        controller._bind()
        return controller.decision.target_pct, controller.decision.binds

    def test_of_equal_terms_the_owner_then_the_glass_then_the_corner_is_named(self):
        for terms, binds in (
            ((30.0, 30.0, 30.0, 30.0), c.BINDS_OWNER),
            ((30.0, 30.0, 40.0, 40.0), c.BINDS_OWNER),
            ((40.0, 30.0, 30.0, 30.0), c.BINDS_GLASS),
            ((40.0, 30.0, 30.0, 40.0), c.BINDS_GLASS),
            ((40.0, 40.0, 30.0, 30.0), c.BINDS_CORNER),
            ((40.0, 40.0, 40.0, 30.0), c.BINDS_ENVELOPE),
        ):
            self.assertEqual(self.bound(*terms), (30.0, binds))

    def test_a_target_near_nothing_holds_as_it_is_and_no_number_is_nothing(self):
        self.assertEqual(self.bound(40.0, 0.5, 40.0, 40.0), (0.5, c.BINDS_GLASS))
        self.assertEqual(self.bound(40.0, -0.5, 40.0, 40.0), (0.0, c.BINDS_GLASS))
        self.assertEqual(self.bound(40.0, 40.0, 40.0, NAN), (0.0, c.BINDS_ENVELOPE))


class TestNight(unittest.TestCase):
    def glass_c(self, utc_s, changes=None, offset_s=0):
        rig = Rig(changes)
        rig.readings.utc_s = utc_s
        rig.readings.utc_offset_s = offset_s
        rig.scan(10)
        return rig.decision.coldest_c

    def test_curtains_over_midnight(self):
        self.assertAlmostEqual(self.glass_c(NIGHT_UTC_S), 10.0, delta=1e-4)
        self.assertAlmostEqual(self.glass_c(DAY_UTC_S), 11.0, delta=1e-4)
        self.assertAlmostEqual(self.glass_c(DAY_UTC_S + 6 * 3600), 10.0, delta=1e-4)  # 18:00
        self.assertAlmostEqual(self.glass_c(NIGHT_UTC_S + 6 * 3600), 11.0, delta=1e-4)  # 08:00

    def test_curtains_within_a_day(self):
        changes = {"curtains_from_min": 60, "curtains_to_min": 180}
        self.assertAlmostEqual(self.glass_c(NIGHT_UTC_S, changes), 10.0, delta=1e-4)
        self.assertAlmostEqual(self.glass_c(NIGHT_UTC_S + 3600, changes), 11.0, delta=1e-4)

    def test_the_zone_counts(self):
        self.assertAlmostEqual(self.glass_c(DAY_UTC_S, None, 7 * 3600), 10.0, delta=1e-4)
        self.assertAlmostEqual(
            self.glass_c(NIGHT_UTC_S, None, -6 * 3600), 10.0, delta=1e-4
        )  # 20:00 the day before
        self.assertAlmostEqual(self.glass_c(NIGHT_UTC_S, None, -10 * 3600), 11.0, delta=1e-4)  # 16:00

    def test_without_a_clock_the_night_always_holds_and_is_told(self):
        rig = decided()
        self.assertTrue(rig.noticed(w.CLOCK_UNKNOWN))
        self.assertAlmostEqual(rig.decision.coldest_c, 10.0, delta=1e-4)
        self.assertFalse(decided(utc_s=DAY_UTC_S).noticed(w.CLOCK_UNKNOWN))


class TestRoom(unittest.TestCase):
    def test_a_colder_room_cools_the_glass(self):
        # 17 - 0.5 * 17 = 8.5 °C
        self.assertAlmostEqual(decided({"room_colder_k": 3.0}).decision.coldest_c, 8.5, delta=1e-4)

    def test_sleepers_count_by_night_only_in_the_ceiling_and_always_in_the_target(self):
        changes = {"room_excess_g_kg": 1.0}
        day = decided(changes, None, DAY_UTC_S).controller.terms
        night = decided(changes, None, NIGHT_UTC_S).controller.terms
        plain = decided(None, None, DAY_UTC_S).controller.terms
        self.assertEqual(day.glass_pct, plain.glass_pct)
        # 162.92 Pa over 2339.2 Pa is 6.96 % RH
        self.assertAlmostEqual(night.glass_pct, decided().controller.terms.glass_pct - 6.96, delta=0.02)
        self.assertEqual(day.plain_pct, night.plain_pct)
        self.assertTrue(day.plain_pct < plain.plain_pct - 6.0)

    def test_its_sensors_count_at_every_hour(self):
        rig = decided({"has_room": 1}, {"room_c": 16.0, "room_rh_pct": 45.0}, DAY_UTC_S)
        # 16 - 0.45 * 16 = 8.8 °C; 45 % of 1818.8 Pa at 16 °C less 20 % of 2339.2 Pa: 350.6 Pa
        self.assertAlmostEqual(rig.decision.coldest_c, 8.8, delta=1e-4)
        self.assertAlmostEqual(rig.controller.room_excess_pa, 350.6, delta=0.7)

    def test_a_warmer_and_drier_room_counts_for_nothing(self):
        rig = decided({"has_room": 1}, {"room_c": 22.0, "room_rh_pct": 10.0})
        self.assertEqual(rig.controller.terms.glass_pct, decided().controller.terms.glass_pct)
        self.assertEqual(rig.decision.target_pct, target_pct())

    def test_the_worse_of_setting_and_sensor_counts(self):
        changes = {"has_room": 1, "room_colder_k": 3.0}
        self.assertAlmostEqual(decided(changes, {"room_c": 19.0}).decision.coldest_c, 8.5, delta=1e-4)
        self.assertAlmostEqual(decided(changes, {"room_c": 15.0}).decision.coldest_c, 7.5, delta=1e-4)

    def test_by_day_the_sleepers_add_nothing(self):
        rig = decided({"room_excess_g_kg": 1.0}, None, DAY_UTC_S)
        self.assertAlmostEqual(rig.controller.terms.glass_pct, room_ceiling_pct(20.0, 0.0, 11.0), delta=1e-4)
        rig = decided({"room_excess_g_kg": 1.0})
        self.assertAlmostEqual(rig.controller.terms.glass_pct, room_ceiling_pct(20.0, 162.92, 10.0), delta=1e-4)

    def test_only_both_of_its_sensors_together_measure_it(self):
        both = 1 << r.ROOM | 1 << r.ROOM_RH
        self.assertEqual(both, 0b1100000)
        inputs = r.Inputs()
        inputs.rh_pct = 20.0
        inputs.room_c = 16.0
        inputs.room_rh_pct = 45.0
        for trusted in range(128):
            controller = Controller()
            inputs.trusted = trusted
            controller._measure_room(inputs)
            is_measured = trusted >= 96  # bits 5 and 6
            self.assertAlmostEqual(controller.room_colder_k, 4.0 if is_measured else 0.0, delta=1e-4)
            # 45 % of 1818.8 Pa at 16 °C less 20 % of 2339.2 Pa
            self.assertAlmostEqual(controller.room_excess_pa, 350.6 if is_measured else 0.0, delta=0.7)

    def test_its_loss_is_told_by_either_sensor(self):
        for lost in ("room_c", "room_rh_pct"):
            rig = decided({"has_room": 1})
            self.assertFalse(rig.noticed(w.ROOM_BAD))
            rig.values[lost] = None
            rig.run(310)
            self.assertTrue(rig.noticed(w.ROOM_BAD))

    def test_a_warmer_and_drier_room_measures_nothing(self):
        rig = decided({"has_room": 1}, {"room_c": 22.0, "room_rh_pct": 10.0})
        self.assertEqual((rig.controller.room_colder_k, rig.controller.room_excess_pa), (0.0, 0.0))


class TestMargin(unittest.TestCase):
    def test_the_rooms_own_moisture_brings_its_glass_closer_to_wet(self):
        # by night 10 % of 2339.2 Pa and 325.84 Pa of 2 g/kg: 559.8 Pa, frost point -1.06 °C (IAPWS R14-08:
        # 562.7 Pa at -1 °C, 8.2 %/K); the glass of 20 °C inside and 0 °C outside is at 10 °C
        rig = decided({"room_excess_g_kg": 2.0, "wish_pct": 10.0})
        self.assertEqual(rig.decision.target_pct, 10.0)
        self.assertAlmostEqual(rig.decision.margin_k, 11.06, delta=0.03)

    def test_air_of_a_pascal_or_less_wets_nothing(self):
        changes = {"glass_f_day": 0.15, "glass_f_night": 0.15}
        for excess_pa, is_told in ((0.5, False), (1.0, False), (1.005, True), (1.5, True)):
            rig = Rig(changes)
            rig.values["outdoor_c"] = -50.0
            rig.controller.room_excess_pa = excess_pa  # as last measured, the sensors lost since
            rig.scan(10)
            self.assertEqual(rig.decision.target_pct, 0.0)
            if is_told:  # the glass at -39.5 °C, the frost point of 1 Pa -60 °C
                self.assertTrue(15.0 < rig.decision.margin_k < 25.0)
            else:
                self.assertEqual(rig.decision.margin_k, 99.0)


class TestGlassSensor(unittest.TestCase):
    def test_colder_glass_than_modelled_counts_in_ceiling_and_target(self):
        rig = decided({"has_glass": 1}, {"glass_c": 7.0})
        self.assertAlmostEqual(rig.decision.coldest_c, 7.0, delta=1e-4)
        # the plain reset's 2 °C becomes -1 °C: 562.7 Pa over ice (IAPWS R14-08) over 2339.2 Pa: 24.05 %; its
        # margin by hand as above with 8.2 %/K over ice at -1 °C: 2; .14; .49; 1.18; together 2.38
        self.assertAlmostEqual(rig.controller.terms.plain_pct, 24.05 - 2.38, delta=0.06)

    def test_warmer_glass_than_modelled_counts_for_nothing(self):
        self.assertEqual(target_pct({"has_glass": 1}, {"glass_c": 18.0}), target_pct())


class TestFogs(unittest.TestCase):
    def test_told_when_the_shut_house_is_past_its_ceiling_for_an_hour(self):
        rig = Rig()
        rig.values["rh_pct"] = 60.0  # the glass allows 52.5
        rig.run(3600)
        self.assertFalse(rig.noticed(w.CEILING_PASSED))
        rig.run(10)
        self.assertTrue(rig.noticed(w.CEILING_PASSED))
        rig.values["rh_pct"] = 52.4
        rig.scan(10)
        self.assertFalse(rig.noticed(w.CEILING_PASSED))

    def test_the_hour_to_the_second(self):
        rig = Rig()
        rig.values["rh_pct"] = 60.0
        rig.scan(0)
        rig.run(3590)
        rig.scan(9)
        self.assertFalse(rig.noticed(w.CEILING_PASSED))
        rig.scan(1)
        self.assertTrue(rig.noticed(w.CEILING_PASSED))

    def test_at_the_ceiling_itself_it_is_not_passed(self):
        rig = Rig()
        rig.values["rh_pct"] = 60.0
        rig.run(3620)
        controller = rig.controller
        for glass_pct, passed in ((60.5, 0), (60.0, 0), (59.5, 1)):
            controller.terms.glass_pct = glass_pct
            self.assertEqual(controller._notices(controller.judge.inputs, rig.now_s) >> w.CEILING_PASSED & 1, passed)


def grid():
    """(settings, values, utc_s) over cold and mild, glass good and poor, rooms cool and warm, day, night."""
    for outdoor_c in (-45.0, -25.0, -8.0, 1.0, 12.0):
        for f in (0.15, 0.45, 0.7, 0.9):
            for indoor_c in (15.0, 21.0, 26.0):
                for utc_s in (NIGHT_UTC_S, DAY_UTC_S):
                    yield (
                        {
                            "glass_f_day": f,
                            "glass_f_night": f - 0.05,
                            "has_glass": 1,
                            "has_room": 1,
                            "cap_pct": 45.0,
                        },
                        {
                            "outdoor_c": outdoor_c,
                            "indoor_c": indoor_c,
                            "glass_c": 6.0,
                            "room_c": indoor_c - 1.0,
                        },
                        utc_s,
                    )


class TestDirections(unittest.TestCase):
    """Nothing that makes wet glass likelier may ever raise the target."""

    def never_raises(self, changes, values):
        raised = 0
        for settings, samples, utc_s in grid():
            before = target_pct(settings, samples, utc_s)
            worse_settings = dict(settings)
            for name in changes:
                worse_settings[name] = changes[name](worse_settings.get(name, getattr(Rig().settings, name)))
            worse_samples = dict(samples)
            for name in values:
                worse_samples[name] = values[name](worse_samples.get(name, 20.0))
            after = target_pct(worse_settings, worse_samples, utc_s)
            if not after <= before + 1e-4:
                raised += 1
        self.assertEqual(raised, 0)

    def test_colder_outside(self):
        for step_k in (0.5, 3.0, 20.0):
            self.never_raises({}, {"outdoor_c": lambda x: x - step_k})

    def test_worse_glass(self):
        self.never_raises({"glass_f_day": lambda x: x - 0.04, "glass_f_night": lambda x: x - 0.04}, {})
        self.never_raises({"glass_f_night": lambda x: x - 0.04}, {})
        self.never_raises({"corner_f": lambda x: 0.3}, {})

    def test_larger_tolerances(self):
        self.never_raises({"rh_tolerance_pct": lambda x: 6.0}, {})
        self.never_raises({"indoor_tolerance_k": lambda x: 2.0}, {})
        self.never_raises({"outdoor_tolerance_k": lambda x: 4.0}, {})
        self.never_raises({"f_tolerance": lambda x: 0.1}, {})
        self.never_raises({"plain_margin_k": lambda x: 10.0}, {})

    def test_colder_glass_measured(self):
        self.never_raises({}, {"glass_c": lambda x: x - 0.5})
        self.never_raises({}, {"glass_c": lambda x: -20.0})

    def test_a_colder_or_moister_room(self):
        self.never_raises({"room_colder_k": lambda x: 4.0}, {})
        self.never_raises({"room_excess_g_kg": lambda x: 2.0}, {})
        self.never_raises({}, {"room_rh_pct": lambda x: 45.0})
        self.never_raises({}, {"room_c": lambda x: x - 2.0, "room_rh_pct": lambda x: 60.0})

    def test_drier_outdoor_air_and_stricter_wishes(self):
        self.never_raises({"outdoor_rh_pct": lambda x: 50.0}, {})
        self.never_raises({"vapour_excess_pa": lambda x: 270.0}, {})
        self.never_raises({"cap_pct": lambda x: 30.0}, {})
        self.never_raises({"wish_pct": lambda x: 12.0}, {})

    def lost_readings(self, look_ahead):
        """A rig whose samples are all good, the same once more, and the name of the sample that will be lost."""
        for lost in r.SAMPLE_NAMES:
            for settings, samples, utc_s in (
                (
                    {"has_glass": 1, "has_room": 1},
                    {"glass_c": 3.0, "room_c": 17.0, "room_rh_pct": 40.0},
                    NIGHT_UTC_S,
                ),
                (
                    {"has_glass": 1, "has_room": 1},
                    {"glass_c": 3.0, "room_c": 17.0, "room_rh_pct": 40.0},
                    DAY_UTC_S,
                ),
                ({}, {"outdoor_c": -35.0}, DAY_UTC_S),
                ({"design_outdoor_c": 0.0}, {"outdoor_c": -2.0}, DAY_UTC_S),
            ):
                rigs = []
                for _ in range(2):
                    rig = Rig(settings)
                    rig.settings.change({"look_ahead": look_ahead})
                    rig.values.update(samples)
                    rig.readings.utc_s = utc_s
                    rig.run(600)
                    rigs.append(rig)
                yield rigs[0], rigs[1], lost

    def test_a_reading_that_becomes_nan(self):
        for rig, _, lost in self.lost_readings(0):
            before = rig.decision.target_pct
            rig.values[lost] = NAN
            for _ in range(8 * 12):
                self.assertTrue(rig.scan(300).target_pct <= before + 1e-4)

    def test_a_reading_that_becomes_nan_while_the_house_is_learned(self):
        """Learning alone moves the target, so it is held against a house that lost nothing."""
        for rig, twin, lost in self.lost_readings(1):
            rig.values[lost] = NAN
            for _ in range(8 * 12):
                self.assertTrue(rig.scan(300).target_pct <= twin.scan(300).target_pct + 1e-4)


class TestDefaults(unittest.TestCase):
    def test_parts_made_without_arguments_have_the_tables_defaults(self):
        for part in (Controller(), Judge(), Permit()):
            self.assertEqual(part.settings.plain_margin_k, 8.0)

    def test_before_the_first_scan_the_decision_is_shut(self):
        d = Controller().decision
        self.assertFalse(d.valve)
        self.assertEqual(d.refusals, 1 << w.MIN_OFF)


class TestBeforeTheFirstScan(unittest.TestCase):
    def test_the_decision_is_shut_for_its_pause_and_nothing_else(self):
        d = Controller().decision
        self.assertIs(d.valve, False)
        self.assertEqual((d.refusals, d.notices, d.proof, d.hold_s), (1 << w.MIN_OFF, 0, 0, 0))
        self.assertEqual((d.target_pct, d.ceiling_pct, d.coldest_c, d.margin_k), (0.0,) * 4)
        self.assertEqual(d.binds, c.BINDS_GLASS)

    def test_no_term_allows_anything(self):
        t = Controller().terms
        self.assertEqual((t.glass_pct, t.plain_pct, t.corner_pct, t.envelope_pct, t.owner_pct), (0.0,) * 5)
        self.assertEqual((t.ahead_pct, t.now_pct, t.test_pct), (0.0,) * 3)

    def test_nothing_was_measured(self):
        controller = Controller()
        self.assertTrue(controller.glass_colder_k <= -1000.0)
        self.assertEqual((controller.room_colder_k, controller.room_excess_pa, controller.standing), (0.0, 0.0, 0))
        self.assertIs(controller.season_over, False)
        self.assertEqual((controller.scanned_s, controller.retarget_s), (-1, -1))
        self.assertEqual(controller.seen, [0] * 18)


class TestPlain(unittest.TestCase):
    def test_the_fixed_and_the_tolerance_margin_come_off_once_each_time(self):
        rig = decided({"has_glass": 0, "look_ahead": 0}, {"outdoor_c": -10.0})
        for _ in range(3):
            # the night's glass, 20 - 0.5 * 30 = 5 °C, less 8 K is -3 °C
            plain_pct = room_ceiling_pct(20.0, 0.0, -3.0) - rig.controller.margin.total_pct
            self.assertAlmostEqual(rig.controller.terms.plain_pct, plain_pct, delta=1e-4)
            self.assertEqual(rig.decision.binds, c.BINDS_GLASS)
            self.assertAlmostEqual(rig.decision.target_pct, plain_pct, delta=1e-4)
            rig.run(130)

    def test_its_margin_is_that_of_a_surface_without_the_rooms_moisture(self):
        rig = decided({"room_excess_g_kg": 1.0})
        margin = Margin()
        # the night's glass, 20 - 0.5 * 20 = 10 °C, less 8 K is 2 °C
        plain_pct = room_ceiling_pct(20.0, 162.92, 2.0)
        surface_pct = room_ceiling_pct(20.0, 0.0, 2.0)
        total_pct = margin.set(plain_pct, surface_pct, 2.0, 0.5, 20.0, 0.0, rig.settings)
        self.assertAlmostEqual(rig.controller.margin.total_pct, total_pct, delta=1e-4)
        self.assertAlmostEqual(rig.controller.margin.outdoor_pct, margin.outdoor_pct, delta=1e-4)
        self.assertAlmostEqual(rig.controller.terms.plain_pct, plain_pct - total_pct, delta=2e-4)

    def test_curtains_cost_nothing_while_it_is_warmer_outside(self):
        # the day's glass is no warmer than the room, 20 °C; its sensor says 14 °C, and 8 K come off: 6 °C
        rig = decided({"has_glass": 1}, {"outdoor_c": 22.0, "glass_c": 14.0}, DAY_UTC_S)
        plain_pct = room_ceiling_pct(20.0, 0.0, 6.0) - rig.controller.margin.total_pct
        self.assertAlmostEqual(rig.controller.terms.plain_pct, plain_pct, delta=1e-4)

    def test_outdoor_air_warmer_than_the_room_warms_no_glass(self):
        rig = Rig({"curtains_from_min": 1320, "curtains_to_min": 360})
        rig.readings.utc_s = 1704110400  # noon
        rig.values["outdoor_c"] = 30.0
        rig.run(20)
        self.assertEqual(rig.decision.coldest_c, 20.0)
        self.assertEqual(rig.controller.terms.glass_pct, 100.0)

    def test_curtains_cost_the_sensed_glass_what_they_cost_the_modelled(self):
        # factor 0.55 by day and 0.50 by night over 20 K: 1 K; 7 - 1 - 8 = -2 °C
        rig = decided({"has_glass": 1}, {"glass_c": 7.0}, DAY_UTC_S)
        plain_pct = room_ceiling_pct(20.0, 0.0, -2.0) - rig.controller.margin.total_pct
        self.assertAlmostEqual(rig.controller.terms.plain_pct, plain_pct, delta=1e-4)

    def test_a_sensed_glass_teaches_nothing_against_air_that_nobody_read(self):
        # 7 °C between 20 and 0 °C is a factor of 0.35; against the design temperature it would be 0.74 and rise
        for outdoor_c, indoor_doubted, lasting_f in ((0.0, False, 0.35), (None, False, 1.0), (0.0, True, 1.0)):
            rig = Rig({"has_glass": 1})
            rig.values.update({"glass_c": 7.0, "outdoor_c": outdoor_c})
            rig.readings.utc_s = DAY_UTC_S
            rig.controller.judge.indoor_doubted = indoor_doubted
            rig.scan(10)
            self.assertAlmostEqual(rig.controller.glass.measured_f[0], lasting_f, delta=1e-6)


if __name__ == "__main__":
    unittest.main()
