"""Interlocks as sentences about Decision.valve: each refusal beside the case in which it must not refuse."""

import unittest

from rig import NAN, Rig, opened, ready

from dewcore import readings as r
from dewcore import words as w
from dewcore.permit import PROOF_AIRFLOW, PROOF_COMMAND, Permit
from dewcore.settings import Settings
from dewcore.valve import Valve


class Interlock(unittest.TestCase):
    def shuts(self, rig, code, seconds=1):
        """The open valve is shut at the very next scan, for this reason."""
        self.assertTrue(rig.decision.valve)
        rig.scan(seconds)
        self.assertTrue(rig.refused(code))

    def begins_after(self, rig, seconds, code, told=None):
        """Not after so many seconds, but a second later; told: rig.refused, or rig.noticed."""
        told = told or rig.refused
        rig.scan(seconds)
        self.assertFalse(told(code))
        rig.scan(1)
        self.assertTrue(told(code))

    def stays_open(self, rig, seconds=60):
        self.assertTrue(rig.run(seconds).valve)


class TestWater(Interlock):
    def test_refused_when_the_leak_wire_is_wet_and_until_the_alarm_is_cleared(self):
        rig = opened()
        rig.contact("leak", r.ON)
        self.shuts(rig, w.LEAK_WET)
        rig.contact("leak", r.OFF)
        rig.run(3600)
        self.assertTrue(rig.refused(w.LEAK_WET))
        rig.readings.request = r.REQUEST_CLEAR
        rig.scan(10)
        self.assertTrue(rig.decision.valve)

    def test_clearing_does_nothing_while_the_wire_is_wet(self):
        rig = opened()
        rig.contact("leak", r.ON)
        rig.readings.request = r.REQUEST_CLEAR
        rig.run(600)
        self.assertTrue(rig.refused(w.LEAK_WET))
        rig.readings.request = r.REQUEST_NONE
        rig.contact("leak", r.OFF)
        rig.run(600)
        self.assertTrue(rig.refused(w.LEAK_WET))

    def test_refused_when_the_leak_wire_is_cut_allowed_once_it_is_mended(self):
        rig = opened()
        rig.contact("leak", r.UNREADABLE)
        self.shuts(rig, w.LEAK_WIRE)
        rig.contact("leak", r.OFF)
        self.assertTrue(rig.run(310).valve)

    def test_refused_when_a_leak_wire_that_is_a_setting_is_not_there(self):
        rig = opened()
        rig.contact("leak", r.NOT_FITTED)
        self.shuts(rig, w.LEAK_WIRE)

    def test_allowed_without_a_leak_wire_where_none_is_fitted(self):
        self.stays_open(opened({"has_leak": 0}))

    def test_refused_when_the_drain_overflows_or_its_switch_breaks_and_latched(self):
        for state in (r.ON, r.UNREADABLE):
            rig = opened({"has_overflow": 1})
            rig.contact("overflow", state)
            self.shuts(rig, w.OVERFLOW)
            rig.contact("overflow", r.OFF)
            rig.run(600)
            self.assertTrue(rig.refused(w.OVERFLOW))

    def test_refused_but_not_latched_before_the_overflow_switch_was_ever_read(self):
        rig = opened({"has_overflow": 1})
        rig.contact("overflow", r.NOT_FITTED)
        self.shuts(rig, w.OVERFLOW)
        rig.contact("overflow", r.OFF)
        rig.run(600)
        self.assertFalse(rig.refused(w.OVERFLOW))
        self.assertEqual(rig.controller.permit.latched, 0)

    def test_allowed_while_the_overflow_switch_is_dry(self):
        self.stays_open(opened({"has_overflow": 1}))


class TestDrain(Interlock):
    def test_told_when_no_water_comes_in_ten_minutes_and_the_valve_stays_open(self):
        rig = opened({"has_drain_wet": 1})
        opened_s = rig.now_s
        while rig.scan(10).valve and not rig.noticed(w.NO_WATER):
            self.assertTrue(rig.now_s - opened_s < 1000)
        self.assertTrue(rig.decision.valve)
        # 10 min after the contact was read closed, 10 s after the command
        self.assertEqual(rig.now_s - opened_s, 610)

    def test_not_told_once_the_drain_is_wet(self):
        rig = opened({"has_drain_wet": 1})
        rig.run(60)
        rig.contact("drain_wet", r.ON)
        self.assertTrue(rig.run(1200).valve)
        self.assertFalse(rig.noticed(w.NO_WATER))

    def test_refused_when_water_runs_twenty_minutes_after_the_valve_shut(self):
        rig = opened({"has_drain_wet": 1})
        rig.run(60)
        rig.contact("drain_wet", r.ON)
        rig.run(300)
        rig.values["rh_pct"] = 27.9
        rig.run(60)
        rig.values["rh_pct"] = 30.0  # humid enough whatever the next look-ahead allows
        rig.run(1140)
        self.assertFalse(rig.refused(w.DRAIN_RUNS))
        rig.run(20)
        self.assertTrue(rig.refused(w.DRAIN_RUNS))
        rig.contact("drain_wet", r.OFF)
        rig.run(600)
        self.assertTrue(rig.refused(w.DRAIN_RUNS))

    def test_not_refused_while_the_pad_still_drains(self):
        rig = ready({"has_drain_wet": 1})
        rig.contact("drain_wet", r.ON)
        rig.run(1190)
        self.assertFalse(rig.refused(w.DRAIN_RUNS))

    def test_refused_when_the_drain_sensor_breaks(self):
        for state in (r.UNREADABLE, r.NOT_FITTED):
            rig = opened({"has_drain_wet": 1})
            rig.contact("drain_wet", state)
            self.shuts(rig, w.CONTACT_UNREADABLE)


class TestRelay(Interlock):
    def test_refused_for_good_when_the_contact_welds(self):
        rig = opened()
        rig.run(300)
        rig.welded = True
        rig.values["rh_pct"] = 27.9
        rig.scan(10)
        self.assertFalse(rig.decision.valve)
        self.assertFalse(rig.refused(w.WELDED))
        rig.run(10)
        self.assertTrue(rig.refused(w.WELDED))
        rig.welded = False
        rig.values["rh_pct"] = 20.0
        rig.run(3600)
        self.assertTrue(rig.refused(w.WELDED))
        rig.readings.request = r.REQUEST_CLEAR
        self.assertTrue(rig.run(320).valve)

    def test_clearing_does_nothing_while_the_contact_is_welded(self):
        rig = opened()
        rig.run(300)
        rig.welded = True
        rig.values["rh_pct"] = 27.9
        rig.run(60)
        rig.readings.request = r.REQUEST_CLEAR
        rig.run(60)
        self.assertTrue(rig.refused(w.WELDED))

    def test_no_weld_while_the_selector_bridges_the_contact(self):
        rig = ready()
        rig.contact("off_switch", r.ON)
        rig.welded = True  # "dial only": the dial feeds the valve
        rig.run(600)
        self.assertFalse(rig.refused(w.WELDED))
        self.assertTrue(rig.refused(w.SWITCH_OFF))

    def test_no_weld_on_a_dead_line(self):
        rig = ready()
        rig.contact("line_sense", r.OFF)
        rig.welded = True
        rig.run(600)
        self.assertFalse(rig.refused(w.WELDED))

    def test_the_contact_is_tested_for_two_seconds_before_it_closes(self):
        rig = ready()
        rig.contact("line_sense", r.OFF)
        rig.dries(20.0)
        self.assertEqual(rig.decision.refusals, 1 << w.LINE_DEAD)
        rig.contact("line_sense", r.ON)
        rig.scan(0)
        self.assertEqual(rig.decision.refusals, 1 << w.WELD_TEST)
        rig.scan(1)
        self.assertEqual(rig.decision.refusals, 1 << w.WELD_TEST)
        rig.scan(1)
        self.assertTrue(rig.decision.valve)

    def test_a_weld_found_by_that_test_is_never_closed_upon(self):
        rig = ready()
        rig.contact("line_sense", r.OFF)
        rig.values["rh_pct"] = 20.0
        rig.run(60)
        rig.welded = True
        rig.contact("line_sense", r.ON)
        for _ in range(5):
            rig.scan(1)
            self.assertTrue(rig.refused(w.WELD_TEST))
        rig.scan(1)
        self.assertTrue(rig.refused(w.WELDED))

    def test_a_relay_without_effect_is_tried_three_times_then_latched(self):
        rig = Rig()
        rig.follows = False
        tries = 0
        was_open = False
        for _ in range(400):
            rig.scan(10)
            if rig.decision.valve and not was_open:
                tries += 1
            was_open = rig.decision.valve
        self.assertEqual(tries, 3)
        self.assertTrue(rig.refused(w.RELAY_FAILED))
        rig.follows = True
        rig.run(3600)
        self.assertTrue(rig.refused(w.RELAY_FAILED))
        rig.readings.request = r.REQUEST_CLEAR
        rig.scan(10)
        rig.readings.request = r.REQUEST_NONE
        self.assertTrue(rig.run(320).valve)

    def test_after_clearing_a_relay_has_three_tries_again(self):
        rig = Rig()
        rig.follows = False
        rig.run(3000)
        self.assertTrue(rig.refused(w.RELAY_FAILED))
        rig.readings.request = r.REQUEST_CLEAR
        rig.scan(10)
        rig.readings.request = r.REQUEST_NONE
        was_open = rig.decision.valve
        tries = 1 if was_open else 0
        for _ in range(400):
            rig.scan(10)
            if rig.decision.valve and not was_open:
                tries += 1
            was_open = rig.decision.valve
        self.assertEqual(tries, 3)

    def test_between_tries_it_waits_five_minutes(self):
        rig = Rig()
        rig.follows = False
        while not rig.scan(10).valve:
            pass
        commanded_s = rig.now_s
        while rig.scan(1).valve:
            pass
        self.assertTrue(rig.refused(w.RELAY_RETRY))
        self.assertEqual(rig.now_s - commanded_s, 5)
        failed_s = rig.now_s
        rig.scan(1)
        self.assertEqual(rig.decision.hold_s, 299)
        while not rig.scan(1).valve:
            pass
        self.assertEqual(rig.now_s - failed_s, 300)

    def test_one_success_forgets_the_failures_before_it(self):
        rig = Rig()
        rig.follows = False
        rig.run(700)
        self.assertTrue(rig.controller.valve.failures > 0)
        rig.follows = True
        rig.run(600)
        self.assertTrue(rig.decision.valve)
        self.assertEqual(rig.controller.valve.failures, 0)

    def test_a_load_that_dies_a_moment_before_its_line_is_no_failure(self):
        rig = opened()
        rig.run(300)
        rig.follows = False
        rig.scan(1)
        self.assertTrue(rig.decision.valve)
        rig.contact("line_sense", r.OFF)
        rig.follows = True
        rig.scan(1)
        self.assertEqual(rig.controller.valve.failures, 0)

    def test_refused_when_the_load_sense_cannot_be_read(self):
        for state in (r.UNREADABLE, r.NOT_FITTED):
            rig = opened()
            rig.contact("load_sense", state)
            self.shuts(rig, w.CONTACT_UNREADABLE)

    def test_allowed_without_a_load_sense_where_none_is_fitted(self):
        self.stays_open(opened({"has_load_sense": 0}), 600)


class TestPeople(Interlock):
    def test_refused_while_the_selector_is_off_allowed_when_it_is_back(self):
        rig = opened()
        rig.contact("off_switch", r.ON)
        self.shuts(rig, w.SWITCH_OFF)
        rig.contact("off_switch", r.OFF)
        self.assertTrue(rig.run(320).valve)

    def test_refused_when_the_selector_cannot_be_read(self):
        for state in (r.UNREADABLE, r.NOT_FITTED):
            rig = opened()
            rig.contact("off_switch", state)
            self.shuts(rig, w.CONTACT_UNREADABLE)

    def test_allowed_without_a_selector_where_none_is_fitted(self):
        self.stays_open(opened({"has_off_switch": 0}))

    def test_refused_while_the_owner_has_switched_off(self):
        rig = opened()
        rig.settings.change({"owner_off": 1})
        self.shuts(rig, w.OWNER_OFF)
        rig.settings.change({"owner_off": 0})
        self.assertTrue(rig.run(320).valve)

    def test_refused_while_nobody_is_home(self):
        rig = opened({"has_absent": 1})
        rig.contact("absent", r.ON)
        self.shuts(rig, w.ABSENT)
        rig.contact("absent", r.OFF)
        self.assertTrue(rig.run(320).valve)

    def test_refused_when_absence_cannot_be_read(self):
        rig = opened({"has_absent": 1})
        rig.contact("absent", r.UNREADABLE)
        self.shuts(rig, w.CONTACT_UNREADABLE)


class TestFan(Interlock):
    def test_refused_while_the_fan_is_off(self):
        rig = opened()
        rig.contact("fan", r.OFF)
        self.shuts(rig, w.FAN_OFF)

    def test_refused_when_the_proof_cannot_be_read(self):
        rig = opened()
        rig.contact("fan", r.UNREADABLE)
        self.shuts(rig, w.FAN_UNREADABLE)

    def test_refused_for_ever_without_a_proof(self):
        rig = Rig()
        rig.contact("fan", r.NOT_FITTED)
        for _ in range(200):
            self.assertFalse(rig.scan(10).valve)
        self.assertEqual(rig.decision.refusals, 1 << w.FAN_UNFITTED)

    def test_refused_for_ten_seconds_after_the_fan_started(self):
        rig = ready()
        rig.contact("fan", r.OFF)
        rig.dries(20.0)
        rig.contact("fan", r.ON)
        rig.scan(9)
        self.assertEqual(rig.decision.refusals, 1 << w.FAN_SETTLING)
        rig.scan(1)
        self.assertTrue(rig.decision.valve)


class TestSupply(Interlock):
    def test_below_airflow_the_supply_must_warm_within_five_minutes(self):
        for grade in (1, 2):
            rig = Rig({"has_supply": 1, "fan_grade": grade})
            rig.values["supply_c"] = 21.0
            rig.run(300)
            self.assertFalse(rig.refused(w.SUPPLY_COLD))
            rig.run(310)
            self.assertTrue(rig.refused(w.SUPPLY_COLD))
            rig.values["supply_c"] = 28.0  # exactly 8 K above
            self.assertTrue(rig.run(320).valve)

    def test_the_loss_of_warm_supply_air_shuts_the_valve(self):
        rig = opened({"has_supply": 1})
        self.assertEqual(rig.decision.proof, 3)
        rig.values["supply_c"] = 27.9
        self.shuts(rig, w.SUPPLY_COLD)

    def test_the_loss_counts_at_once_even_in_the_fans_first_five_minutes(self):
        rig = opened({"has_supply": 1})
        rig.contact("fan", r.OFF)
        rig.run(300)
        rig.contact("fan", r.ON)
        self.assertTrue(rig.run(60).valve)
        rig.values["supply_c"] = 27.9
        self.shuts(rig, w.SUPPLY_COLD)

    def test_a_proof_of_airflow_needs_no_warm_supply(self):
        rig = opened({"has_supply": 1, "fan_grade": 3})
        rig.values["supply_c"] = 21.0
        self.stays_open(rig, 600)

    def test_each_fan_start_proves_itself_anew(self):
        rig = opened({"has_supply": 1})
        rig.contact("fan", r.OFF)
        rig.run(300)
        rig.contact("fan", r.ON)
        rig.values["supply_c"] = 21.0
        rig.run(300)
        self.assertFalse(rig.refused(w.SUPPLY_COLD))
        rig.scan(10)
        self.assertTrue(rig.refused(w.SUPPLY_COLD))

    def test_an_untrusted_supply_thermometer_proves_nothing(self):
        rig = opened({"has_supply": 1})
        self.assertFalse(rig.noticed(w.SUPPLY_BAD))
        rig.values["supply_c"] = NAN
        rig.run(70)
        self.assertTrue(rig.refused(w.SUPPLY_COLD))
        self.assertTrue(rig.noticed(w.SUPPLY_BAD))

    def test_a_fan_that_stopped_proves_nothing(self):
        rig = opened()
        rig.contact("fan", r.OFF)
        self.assertEqual(rig.scan(10).proof, 0)

    def test_the_grade_is_that_of_the_contact_without_a_supply_thermometer(self):
        for grade in (1, 2, 3):
            self.assertEqual(opened({"fan_grade": grade}).decision.proof, grade)


class TestHeat(Interlock):
    def test_refused_without_a_heat_call(self):
        rig = opened()
        rig.contact("heat_call", r.OFF)
        self.shuts(rig, w.HEAT_OFF)

    def test_refused_when_the_heat_call_cannot_be_read(self):
        for state in (r.UNREADABLE, r.NOT_FITTED):
            rig = opened()
            rig.contact("heat_call", state)
            self.shuts(rig, w.CONTACT_UNREADABLE)

    def test_warm_supply_air_proves_heat_where_no_call_is_wired(self):
        rig = opened({"has_heat_call": 0, "has_supply": 1, "fan_grade": 3})
        self.stays_open(rig)
        rig.values["supply_c"] = 25.0
        self.shuts(rig, w.HEAT_OFF)

    def test_warm_supply_air_proves_heat_beside_an_idle_call(self):
        rig = opened({"has_supply": 1})
        rig.contact("heat_call", r.OFF)
        self.stays_open(rig)

    def test_refused_where_nothing_can_prove_heat(self):
        rig = Rig({"has_heat_call": 0})
        rig.run(600)
        self.assertEqual(rig.decision.refusals, 1 << w.HEAT_UNPROVABLE)

    def test_allowed_without_heat_where_water_needs_none(self):
        rig = opened({"has_heat_call": 0, "water_needs_heat": 0})
        self.stays_open(rig)
        rig = opened({"water_needs_heat": 0})
        rig.contact("heat_call", r.OFF)
        self.stays_open(rig)

    def test_refused_on_a_dead_or_unreadable_line(self):
        rig = opened()
        rig.contact("line_sense", r.OFF)
        self.shuts(rig, w.LINE_DEAD)
        for state in (r.UNREADABLE, r.NOT_FITTED):
            rig = opened()
            rig.contact("line_sense", state)
            self.shuts(rig, w.CONTACT_UNREADABLE)

    def test_allowed_without_a_line_sense_where_none_is_fitted(self):
        self.stays_open(opened({"has_line_sense": 0, "has_load_sense": 0}), 600)

    def test_told_when_the_furnace_heats_a_day_without_fan_proof(self):
        rig = Rig()
        rig.contact("fan", r.OFF)
        rig.run(86400, 60)
        self.assertFalse(rig.noticed(w.FAN_STUCK_OFF))
        rig.run(60)
        self.assertTrue(rig.noticed(w.FAN_STUCK_OFF))
        rig.contact("fan", r.ON)
        rig.scan(10)
        self.assertFalse(rig.noticed(w.FAN_STUCK_OFF))

    def test_not_told_of_a_fan_that_rests_without_heat(self):
        rig = Rig()
        rig.contact("fan", r.OFF)
        rig.contact("heat_call", r.OFF)
        rig.run(90000, 60)
        self.assertFalse(rig.noticed(w.FAN_STUCK_OFF))


class TestSeason(Interlock):
    def test_the_season_ends_above_its_limit_and_begins_a_kelvin_below(self):
        # as dry as a house can be, so that only the season can shut the valve for long
        rig = Rig({"season_max_c": 10.0})
        rig.values["rh_pct"] = 5.0
        for outdoor_c, over in ((9.9, False), (10.1, True), (9.1, True), (8.9, False), (9.9, False)):
            rig.values["outdoor_c"] = outdoor_c
            rig.run(2 * 86400, 1800)
            self.assertEqual(rig.decision.refusals >> w.SEASON_OVER & 1 == 1, over)

    def test_a_warm_hour_is_no_season(self):
        rig = opened()
        rig.run(10 * 3600, 600)
        rig.values["outdoor_c"] = 18.0
        rig.run(7200, 600)
        self.assertFalse(rig.refused(w.SEASON_OVER))


class TestByTheSecond(Interlock):
    """Limits of time at the last second before and the first at which they hold."""

    def test_supply_air_has_300_s_to_warm(self):
        rig = Rig({"has_supply": 1})
        rig.values["supply_c"] = 21.0
        self.begins_after(rig, 300, w.SUPPLY_COLD)

    def test_without_a_heat_call_the_fans_start_counts(self):
        rig = Rig({"has_heat_call": 0, "has_supply": 1})
        rig.values["supply_c"] = 21.0
        self.begins_after(rig, 300, w.SUPPLY_COLD)

    def test_with_one_the_calls_start_counts_and_the_pause_forgets_the_warmth(self):
        rig = opened({"has_supply": 1})
        rig.contact("heat_call", r.OFF)
        rig.values["supply_c"] = 21.0
        rig.run(600)
        self.assertFalse(rig.refused(w.SUPPLY_COLD))
        rig.contact("heat_call", r.ON)
        rig.scan(0)
        self.assertFalse(rig.refused(w.SUPPLY_COLD))
        self.begins_after(rig, 300, w.SUPPLY_COLD)

    def test_a_heat_call_that_blinked_between_two_scans_forgets_nothing(self):
        rig = opened({"has_supply": 1})
        rig.contact("heat_call", r.OFF)
        rig.contact("heat_call", r.ON)
        rig.values["supply_c"] = 27.9
        rig.scan(0)
        self.assertTrue(rig.refused(w.SUPPLY_COLD))

    def test_water_may_run_off_for_1200_s(self):
        rig = ready({"has_drain_wet": 1})
        rig.contact("drain_wet", r.ON)
        self.begins_after(rig, 1199, w.DRAIN_RUNS)

    def test_water_has_600_s_to_reach_the_drain(self):
        rig = opened({"has_drain_wet": 1})
        rig.scan(1)  # the contact is read closed
        self.begins_after(rig, 599, w.NO_WATER, rig.noticed)

    def test_a_fan_contact_is_stuck_after_86400_s_of_heat(self):
        rig = Rig()
        rig.contact("fan", r.OFF)
        rig.scan(0)
        self.begins_after(rig, 86399, w.FAN_STUCK_OFF, rig.noticed)

    def test_heat_without_fan_is_counted_from_the_first_scan_on(self):
        permit = Permit()
        readings = r.Readings()
        readings.fan.set(r.OFF, 0)
        readings.heat_call.set(r.ON, 0)
        for now_s in (0, 5, 12):
            permit.check(readings, r.Inputs(), Valve(), now_s, False)
            self.assertEqual(permit.heat_without_fan_s, now_s)
        readings.fan.set(r.ON, 12)
        permit.check(readings, r.Inputs(), Valve(), 20, False)
        self.assertEqual(permit.heat_without_fan_s, 0)
        readings.fan.set(r.OFF, 20)
        permit.check(readings, r.Inputs(), Valve(), 23, False)
        self.assertEqual(permit.heat_without_fan_s, 3)  # from the last scan with the fan, not from before it

    def test_warm_supply_air_needs_both_thermometers(self):
        settings = Settings()
        settings.change({"has_supply": 1})
        readings = r.Readings()
        readings.fan.set(r.ON, 0)
        inputs = r.Inputs()
        inputs.supply_c = 45.0
        for trusted, warm in (
            ((1 << r.SUPPLY) | (1 << r.INDOOR), True),
            (1 << r.SUPPLY, False),
            (1 << r.INDOOR, False),
            ((1 << r.SUPPLY) | (1 << r.RH), False),
        ):
            inputs.trusted = trusted
            permit = Permit(settings)
            permit.check(readings, inputs, Valve(), 20, False)
            self.assertIs(permit.supply_rose, warm)
            self.assertEqual(permit.grade, PROOF_AIRFLOW if warm else PROOF_COMMAND)

    def test_a_new_permit_has_seen_nothing(self):
        permit = Permit()
        self.assertEqual((permit.grade, permit.latched, permit.notices, permit.heat_without_fan_s), (0, 0, 0, 0))
        self.assertEqual(permit.last_s, -1)
        self.assertIs(permit.supply_rose, False)


if __name__ == "__main__":
    unittest.main()


class TestClearing(unittest.TestCase):
    def test_a_clearing_counts_once_and_a_button_that_sticks_clears_nothing_later(self):
        rig = Rig({"has_leak": 1})
        rig.run(600)
        rig.readings.request = r.REQUEST_CLEAR
        rig.run(60)
        rig.contact("leak", r.ON)
        rig.run(60)
        rig.contact("leak", r.OFF)
        rig.run(3600)
        self.assertFalse(rig.decision.valve)
        self.assertTrue(rig.refused(w.LEAK_WET))
        rig.readings.request = r.REQUEST_NONE
        rig.scan(10)
        rig.readings.request = r.REQUEST_CLEAR
        rig.scan(10)
        self.assertFalse(rig.refused(w.LEAK_WET))


class TestSupplyWithoutHeat(unittest.TestCase):
    CHANGES = {"has_supply": 1, "water_needs_heat": 0}

    def test_cool_supply_air_is_no_fault_while_the_furnace_does_not_heat(self):
        rig = Rig(self.CHANGES)
        rig.contact("heat_call", r.OFF)
        rig.values["supply_c"] = 20.0
        rig.run(3600)
        self.assertFalse(rig.refused(w.SUPPLY_COLD))
        self.assertTrue(rig.decision.valve)

    def test_it_is_one_five_minutes_into_a_heat_call(self):
        rig = Rig(self.CHANGES)
        rig.contact("heat_call", r.OFF)
        rig.values["supply_c"] = 20.0
        rig.run(3600)
        rig.contact("heat_call", r.ON)
        rig.run(290)
        self.assertFalse(rig.refused(w.SUPPLY_COLD))
        rig.run(30)
        self.assertTrue(rig.refused(w.SUPPLY_COLD))
        self.assertFalse(rig.decision.valve)
