"""Reasons: one sentence a code, each provoked through the whole decision, and the texts built from them."""

import unittest

from lived import Lived
from rig import NAN, Rig, opened, ready

from dewcore import readings as r
from dewcore import words as w
from dewcore.ceiling import BINDS_NAMES
from dewcore.permit import PROOF_NAMES


def contact(name, state, changes=None):
    """The reason that a contact's state gives an open valve."""
    rig = opened(changes)
    rig.contact(name, state)
    rig.scan(1)
    return rig


def sample(name, value, seconds, changes=None):
    """What a sample's value does to an open valve after some seconds."""
    rig = opened(changes)
    rig.values[name] = value
    rig.run(seconds)
    return rig


def welded():
    rig = opened()
    rig.welded = True
    rig.contact("heat_call", r.OFF)
    rig.run(20)
    return rig


def running_drain():
    rig = ready({"has_drain_wet": 1})
    rig.contact("drain_wet", r.ON)
    rig.run(1300)
    return rig


def dead_relay(seconds):
    rig = Rig()
    rig.follows = False
    rig.run(seconds)
    return rig


def owner_off():
    rig = opened()
    rig.settings.change({"owner_off": 1})
    rig.scan(10)
    return rig


def supply_cold():
    rig = opened({"has_supply": 1})
    rig.values["supply_c"] = 20.0
    rig.scan(10)
    return rig


def boot(changes=None, fan=r.ON, outdoor_c=0.0, seconds=600):
    rig = Rig(changes)
    rig.contact("fan", fan)
    rig.values["outdoor_c"] = outdoor_c
    rig.run(seconds)
    return rig


def settling():
    rig = boot(None, r.OFF)
    rig.contact("fan", r.ON)
    rig.scan(1)
    return rig


def weld_test():
    rig = ready()
    rig.contact("line_sense", r.OFF)
    rig.scan(10)
    rig.contact("line_sense", r.ON)
    rig.scan(0)
    return rig


def starts():
    rig = opened({"max_starts_per_h": 1, "min_off_s": 60})
    rig.scan(10)
    rig.contact("heat_call", r.OFF)
    rig.run(100)
    rig.contact("heat_call", r.ON)
    rig.scan(10)
    return rig


def passed():
    rig = ready()
    rig.run(3620)
    return rig


def at_dawn(changes, rh_pct):
    """05:59:50 by a set clock; 20 °C indoors, 0 °C outdoors, RH as given."""
    rig = Rig(changes)
    rig.readings.utc_s = 1700006400 + 6 * 3600 - 20
    rig.ticks = True
    rig.values["rh_pct"] = rh_pct
    rig.run(20)
    return rig


def window_test(seconds):
    """A test that the owner confirms for 20 minutes, and so many seconds from its begin."""
    rig = at_dawn({"window_test_allowed": 1}, 48.0)
    rig.readings.request = r.REQUEST_WINDOW
    rig.readings.request_until_s = rig.now_s + 10 + 1200
    rig.run(seconds)
    return rig


def torn():
    """Ten looks, fog at half the humidity of the clear ones between."""
    rig = at_dawn({}, 30.0)
    for n in range(20):
        rig.values["rh_pct"] = (30.0, 60.0)[n % 2]
        rig.readings.look = r.SAW_NOTHING
        rig.run(60)
        rig.readings.look = (r.SAW_FOG, r.SAW_CLEAR)[n % 2]
        rig.run(60)
    return rig


def forecast(hours, issued_ago_s, outdoor_c):
    """So many hours with a forecast of a steady temperature, 0 °C outdoors."""
    rig = at_dawn({}, 30.0)
    rig.readings.forecast_issued_s = rig.readings.forecast_start_s = rig.readings.utc_s - issued_ago_s
    for n in range(r.FORECAST_HOURS):
        rig.readings.forecast_dc[n] = int(10.0 * outdoor_c)
    rig.run(hours * 3600, 60)
    return rig


def timed_run(seconds):
    """A humid house so long into a timed test run of 60 s."""
    rig = ready()
    rig.readings.request = r.REQUEST_TIMED_RUN
    rig.readings.request_until_s = rig.now_s + 70
    rig.run(seconds)
    return rig


def stood_down():
    """A board that gave up while the valve was open."""
    rig = opened()
    rig.controller.stand_down(rig.now_s)
    return rig


def with_shim():
    """A board that the bench shim keeps out of service."""
    rig = opened()
    rig.controller.stands_for = w.BENCH_SHIM
    rig.controller.stand_down(rig.now_s)
    return rig


def more_humid_than_foretold():
    """A dry day, then RH rises by 5 % an hour to 70 % with the valve shut; until the second day is judged."""
    rig = at_dawn({}, 20.0)
    rig.contact("fan", r.OFF)
    for n in range(50 * 60):
        rig.values["rh_pct"] = 20.0 if n < 1800 else min(70.0, 20.0 + (n - 1800) / 12.0)
        rig.scan(60)
    return rig


def fallen():
    """The humidity reads 15 % less from one reading to the next."""
    rig = Rig()
    rig.values["rh_pct"] = 30.0
    rig.run(120)
    rig.values["rh_pct"] = 15.0
    rig.run(60)
    return rig


def jumped():
    """The outdoor reading is 30 K warmer from one reading to the next."""
    rig = Rig()
    rig.run(60)
    rig.values["outdoor_c"] = 30.0
    rig.run(60)
    return rig


def half_wave():
    rig = ready()
    rig.readings.half_wave = 1
    rig.run(190)
    return rig


def lived(days, learned, changes=None, **parts):
    """So many days of a house that is known, with parts of it changed."""
    rig = Lived(changes).knows(**learned)
    for name in parts:
        setattr(rig, name, parts[name])
    return rig.live(days)


STRONG = {"strength": 1.0, "recent": 1.0}


REFUSALS = {
    "leak_wet": lambda: contact("leak", r.ON),
    "leak_wire": lambda: contact("leak", r.UNREADABLE),
    "overflow": lambda: contact("overflow", r.ON, {"has_overflow": 1}),
    "welded": welded,
    "drain_runs": running_drain,
    "relay_failed": lambda: dead_relay(1200),
    "switch_off": lambda: contact("off_switch", r.ON),
    "owner_off": owner_off,
    "absent": lambda: contact("absent", r.ON, {"has_absent": 1}),
    "season_over": lambda: boot(None, r.ON, 25.0),
    "indoor_bad": lambda: sample("indoor_c", NAN, 40),
    "rh_bad": lambda: sample("rh_pct", NAN, 40),
    "contact_unreadable": lambda: contact("heat_call", r.UNREADABLE),
    "fan_unfitted": lambda: contact("fan", r.NOT_FITTED),
    "fan_unreadable": lambda: contact("fan", r.UNREADABLE),
    "heat_unprovable": lambda: boot({"has_heat_call": 0}),
    "humid_enough": ready,
    "fan_off": lambda: contact("fan", r.OFF),
    "fan_settling": settling,
    "supply_cold": supply_cold,
    "heat_off": lambda: contact("heat_call", r.OFF),
    "line_dead": lambda: contact("line_sense", r.OFF),
    "longest_run": lambda: sample("rh_pct", 20.0, 1820, {"max_run_s": 1800}),
    "min_off": lambda: boot(None, r.ON, 0.0, 10),
    "starts_per_hour": starts,
    "weld_test": weld_test,
    "relay_retry": lambda: dead_relay(400),
    "run_over": lambda: timed_run(70),
    "safe_mode": stood_down,
    "bench_shim": with_shim,
}

NOTICES = {
    "min_on": lambda: sample("rh_pct", 27.9, 60),
    "outdoor_old": lambda: sample("outdoor_c", None, 5410),
    "outdoor_none": lambda: boot(None, r.ON, None),
    "outdoor_held": lambda: sample("outdoor_c", 20.0, 60),
    "clock_unknown": opened,
    "glass_bad": lambda: sample("glass_c", None, 70, {"has_glass": 1}),
    "supply_bad": lambda: sample("supply_c", None, 70, {"has_supply": 1}),
    "room_bad": lambda: sample("room_c", None, 310, {"has_room": 1}),
    "no_water": lambda: sample("rh_pct", 20.0, 620, {"has_drain_wet": 1}),
    "fan_stuck_off": lambda: boot(None, r.OFF, 0.0, 86420),
    "ceiling_passed": passed,
    "window_test": lambda: window_test(10),
    "window_drying": lambda: window_test(1220),
    "look_now": lambda: at_dawn({}, 48.0),
    "look_and_test": lambda: at_dawn({"window_test_allowed": 1}, 48.0),
    "looks_torn": torn,
    "forecast_old": lambda: forecast(1, 64801, 0.0),
    "forecast_elsewhere": lambda: forecast(1, 600, 20.0),
    "self_doubt": more_humid_than_foretold,
    "timed_run": lambda: timed_run(60),
    "rh_jumped": fallen,
    "outdoor_doubt": jumped,
    "no_rise": lambda: lived(1.0, STRONG, water=0.0),
    "no_air": lambda: lived(1.0, STRONG, {"has_drain_wet": 1}, water=0.0),
    "rises_shut": lambda: lived(0.5, STRONG, {"wish_pct": 22.0}, leaks=True),
    "pad_weak": lambda: lived(0.6, {"strength": 2.1, "recent": 1.0}, w=3.0, gain_g_kg_h=0.1),
    "rh_low": lambda: lived(0.3, {"usual": 2.0, "excess": 0.41}, gain_g_kg_h=0.0),
    "sensors_differ": lambda: lived(1.1, {}, {"has_room": 1}, room_low_pct=6.0),
    "sensor_place": lambda: lived(0.2, {}, warm=True),
    "half_wave": half_wave,
}


class TestReachable(unittest.TestCase):
    def test_every_refusal_is_provoked_and_the_valve_is_shut_then(self):
        self.assertEqual(set(REFUSALS), set([row[0] for row in w.REFUSALS]))
        for n in range(len(w.REFUSALS)):
            rig = REFUSALS[w.REFUSALS[n][0]]()
            self.assertTrue(rig.refused(n), w.REFUSALS[n][0])

    def test_every_notice_is_provoked(self):
        self.assertEqual(set(NOTICES), set([row[0] for row in w.NOTICES]))
        for n in range(len(w.NOTICES)):
            self.assertTrue(NOTICES[w.NOTICES[n][0]]().noticed(n), w.NOTICES[n][0])

    def test_an_open_valve_has_no_reason_to_be_shut(self):
        self.assertEqual(opened().decision.refusals, 0)


class TestTables(unittest.TestCase):
    def test_every_code_is_its_rows_number(self):
        for table in (w.REFUSALS, w.NOTICES):
            for n in range(len(table)):
                self.assertEqual(getattr(w, table[n][0].upper()), n)

    def test_each_sentence_is_one_and_its_own(self):
        texts = [w.OPEN_SENTENCE] + [row[1] for row in w.REFUSALS] + [row[1] for row in w.NOTICES]
        self.assertEqual(len(set(texts)), len(texts))
        for text in texts:
            self.assertTrue(text.endswith("."))
            self.assertTrue(text[0].isupper() or text.startswith("24 V"))
            self.assertTrue(len(text) <= 110)

    def test_masks_fit_a_boards_small_integers(self):
        self.assertTrue(len(w.REFUSALS) <= 30)
        self.assertTrue(len(w.NOTICES) <= 30)

    def test_other_names_are_there_once(self):
        for names in (PROOF_NAMES, BINDS_NAMES):
            self.assertEqual(len(set(names)), len(names))


class TestSentences(unittest.TestCase):
    def test_the_most_important_reason_is_the_lowest_bit(self):
        self.assertEqual(w.first_bit(1), 0)
        self.assertEqual(w.first_bit(0b101000), 3)
        mask = (1 << w.HEAT_OFF) | (1 << w.LEAK_WET)
        self.assertEqual(w.reason_name(mask), "leak_wet")
        self.assertEqual(w.status_sentence(mask, 0), w.REFUSALS[w.LEAK_WET][1])

    def test_each_reason_alone_is_named(self):
        for n in range(len(w.REFUSALS)):
            self.assertEqual(w.reason_name(1 << n), w.REFUSALS[n][0])
            self.assertEqual(w.status_sentence(1 << n, 0), w.REFUSALS[n][1])

    def test_without_a_reason_the_valve_is_open(self):
        self.assertEqual(w.reason_name(0), "open")
        self.assertEqual(w.status_sentence(0, 0), w.OPEN_SENTENCE)
        self.assertEqual(w.status_sentence(0, 1 << w.MIN_ON), w.NOTICES[w.MIN_ON][1])

    def test_all_that_holds_in_order(self):
        self.assertEqual(
            w.sentences((1 << w.FAN_OFF) | (1 << w.ABSENT), 1 << w.GLASS_BAD),
            [w.REFUSALS[w.ABSENT][1], w.REFUSALS[w.FAN_OFF][1], w.NOTICES[w.GLASS_BAD][1]],
        )
        self.assertEqual(w.sentences(0, 1 << w.MIN_ON), [w.NOTICES[w.MIN_ON][1]])
        self.assertEqual(w.sentences(1 << w.LEAK_WET, 0), [w.REFUSALS[w.LEAK_WET][1]])

    def test_an_open_valve_is_told_before_its_notices(self):
        self.assertEqual(w.sentences(0, 0), [w.OPEN_SENTENCE])
        self.assertEqual(w.sentences(0, 1 << w.GLASS_BAD), [w.OPEN_SENTENCE, w.NOTICES[w.GLASS_BAD][1]])


class TestDecimal(unittest.TestCase):
    def test_people_are_shown_a_true_minus(self):
        self.assertEqual(w.signed(w.decimal(-12.375, 1)), "\u221212.4")
        self.assertEqual(w.signed(w.decimal(3.0, 1)), "3.0")

    def test_the_same_text_everywhere(self):
        for value, places, text in (
            (0.0, 0, "0"),
            (12.34, 1, "12.3"),
            (12.375, 2, "12.38"),  # exact in binary, halves away from zero
            (-12.375, 2, "-12.38"),
            (-0.001, 1, "0.0"),
            (5.0, 2, "5.00"),
            (0.0625, 3, "0.063"),
            (-7.5, 0, "-8"),
            (99.96, 1, "100.0"),
            (3, 1, "3.0"),
            (-0.375, 2, "-0.38"),
            (1.497, 0, "1"),
            (-1.497, 0, "-1"),
        ):
            self.assertEqual(w.decimal(value, places), text)

    def test_no_text_for_what_is_no_number(self):
        self.assertRaises(ValueError, w.decimal, NAN, 1)


if __name__ == "__main__":
    unittest.main()
