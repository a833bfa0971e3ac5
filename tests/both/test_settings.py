"""Settings: what is accepted, what is refused with which words, and that a change is whole or nothing."""

import unittest

from dewcore.settings import SWITCH, TABLE, UNITS, SettingError, Settings, accepted, disagreement, row_of
from dewcore.settings_help import HELP

NAN = float("nan")
INF = float("inf")

# The table as houses were set up with: a regression pin of our own.  Why each bound lies where it does stands in
# settings_help; who moves one says so here.
PINNED = (
    ("glass_f_day", "1", 0.55, 0.05, 0.98),
    ("glass_f_night", "1", 0.50, 0.05, 0.98),
    ("curtains_from_min", "min", 1080, 0, 1439),
    ("curtains_to_min", "min", 480, 0, 1439),
    ("corner_f", "1", 0.70, 0.30, 0.98),
    ("vapour_excess_pa", "Pa", 540.0, 270.0, 810.0),
    ("outdoor_rh_pct", "%", 80.0, 50.0, 100.0),
    ("cap_pct", "%", 40.0, 15.0, 45.0),
    ("wish_pct", "%", 40.0, 10.0, 45.0),
    ("room_colder_k", "K", 0.0, 0.0, 10.0),
    ("room_excess_g_kg", "g/kg", 0.0, 0.0, 5.0),
    ("rh_offset_pct", "%", 0.0, -10.0, 10.0),
    ("rh_gain", "1", 1.0, 0.8, 1.25),
    ("indoor_offset_k", "K", 0.0, -2.0, 2.0),
    ("outdoor_offset_k", "K", 0.0, -2.0, 2.0),
    ("glass_offset_k", "K", 0.0, -2.0, 2.0),
    ("room_offset_k", "K", 0.0, -2.0, 2.0),
    ("rh_tolerance_pct", "%", 2.0, 0.0, 10.0),
    ("indoor_tolerance_k", "K", 0.3, 0.0, 3.0),
    ("outdoor_tolerance_k", "K", 0.5, 0.0, 5.0),
    ("f_tolerance", "1", 0.03, 0.0, 0.2),
    ("plain_margin_k", "K", 8.0, 4.0, 12.0),
    ("look_ahead", "switch", 1, 0, 1),
    ("window_test_allowed", "switch", 0, 0, 1),
    ("band_pct", "%", 0.7, 0.5, 5.0),
    ("min_on_s", "s", 180, 60, 1800),
    ("min_off_s", "s", 300, 60, 3600),
    ("max_run_s", "s", 21600, 1800, 86400),
    ("rest_s", "s", 900, 60, 7200),
    ("max_starts_per_h", "1/h", 6, 1, 12),
    ("season_max_c", "°C", 15.0, 5.0, 20.0),
    ("design_outdoor_c", "°C", -30.0, -50.0, 0.0),
    ("owner_off", "switch", 0, 0, 1),
    ("water_needs_heat", "switch", 1, 0, 1),
    ("fan_grade", "1", 1, 1, 3),
    ("has_heat_call", "switch", 1, 0, 1),
    ("has_leak", "switch", 1, 0, 1),
    ("has_overflow", "switch", 0, 0, 1),
    ("has_line_sense", "switch", 1, 0, 1),
    ("has_load_sense", "switch", 1, 0, 1),
    ("has_drain_wet", "switch", 0, 0, 1),
    ("has_off_switch", "switch", 1, 0, 1),
    ("has_absent", "switch", 0, 0, 1),
    ("has_glass", "switch", 0, 0, 1),
    ("has_supply", "switch", 0, 0, 1),
    ("has_room", "switch", 0, 0, 1),
)


def refusal(values):
    """The text with which a change is refused."""
    try:
        Settings().change(values)
    except SettingError as problem:
        return str(problem)
    raise AssertionError("accepted: %r" % values)


class TestTable(unittest.TestCase):
    def test_every_default_lies_within_its_bounds_and_they_agree(self):
        for name, _, default, lowest, highest in TABLE:
            self.assertTrue(lowest <= default <= highest)
            self.assertEqual(getattr(Settings(), name), default)
        self.assertEqual(disagreement(Settings()), "")

    def test_names_units_defaults_and_bounds_are_the_pinned_ones(self):
        self.assertEqual(len(TABLE), len(PINNED))
        for n in range(len(PINNED)):
            self.assertEqual(TABLE[n], PINNED[n])
        units = ("1", "%", "K", "°C", "Pa", "g/kg", "min", "s", "1/h", "switch")
        self.assertEqual((UNITS, SWITCH), (units, "switch"))

    def test_bounds_have_the_defaults_type(self):
        for _, _, default, lowest, highest in TABLE:
            self.assertEqual(type(lowest), type(default))
            self.assertEqual(type(highest), type(default))
            self.assertTrue(lowest < highest)

    def test_every_unit_is_a_known_one_and_stands_in_the_name(self):
        endings = {"%": "_pct", "K": "_k", "°C": "_c", "Pa": "_pa", "g/kg": "_g_kg", "min": "_min", "s": "_s"}
        for name, unit, _, _, _ in TABLE:
            self.assertIn(unit, UNITS)
            if unit in endings:
                self.assertTrue(name.endswith(endings[unit]))

    def test_every_unit_is_used_and_every_name_is_there_once(self):
        self.assertEqual(set([row[1] for row in TABLE]), set(UNITS))
        self.assertEqual(len(set([row[0] for row in TABLE])), len(TABLE))

    def test_no_setting_reaches_past_what_the_surfaces_are_judged_for(self):
        for name in ("cap_pct", "wish_pct"):
            self.assertEqual(row_of(name)[4], 45.0)
        # classes 1 and 3 of EN ISO 13788:2012 Annex A, at most
        self.assertEqual(row_of("vapour_excess_pa")[3:], (270.0, 810.0))
        self.assertEqual(row_of("plain_margin_k")[3], 4.0)
        self.assertEqual(row_of("min_off_s")[3], 60)

    def test_switches_are_off_or_on(self):
        for _, unit, _, lowest, highest in TABLE:
            if unit == SWITCH:
                self.assertEqual((lowest, highest), (0, 1))


class TestAccepted(unittest.TestCase):
    def test_bounds_themselves_are_accepted_and_nothing_beyond(self):
        for name, _, default, lowest, highest in TABLE:
            self.assertEqual(accepted(name, lowest), lowest)
            self.assertEqual(accepted(name, highest), highest)
            step = 1 if isinstance(default, int) else 0.01
            for value in (lowest - step, highest + step, NAN, INF, -INF, 10**12):
                self.assertRaises(SettingError, accepted, name, value)

    def test_only_numbers_are(self):
        for value in ("40", "", None, [40], b"40"):
            self.assertRaises(SettingError, accepted, "cap_pct", value)
            self.assertRaises(SettingError, accepted, "owner_off", value)
        for value in (True, False):
            self.assertRaises(SettingError, accepted, "cap_pct", value)
            self.assertRaises(SettingError, accepted, "fan_grade", value)

    def test_switches_take_true_and_false_too(self):
        for value in (True, False):
            self.assertEqual(accepted("owner_off", value), int(value))
            self.assertFalse(isinstance(accepted("owner_off", value), bool))

    def test_whole_settings_take_whole_numbers_only(self):
        self.assertEqual(accepted("min_on_s", 240.0), 240)
        self.assertTrue(isinstance(accepted("min_on_s", 240.0), int))
        self.assertRaises(SettingError, accepted, "min_on_s", 240.5)

    def test_others_become_floats(self):
        self.assertTrue(isinstance(accepted("cap_pct", 40), float))

    def test_an_unknown_name_is_refused(self):
        self.assertRaises(SettingError, row_of, "cap")
        self.assertEqual(refusal({"cap": 40.0}), "cap: no such setting; remove it or correct its name")

    def test_the_words_name_setting_finding_bounds_and_remedy(self):
        self.assertEqual(
            refusal({"min_on_s": 5}), "min_on_s: found 5, out of bounds; allowed 60 to 1800 s; correct it"
        )
        self.assertEqual(
            refusal({"owner_off": 2}), "owner_off: found 2, out of bounds; allowed true or false, 1 or 0; correct it"
        )
        self.assertEqual(
            refusal({"min_on_s": 60.5}),
            "min_on_s: found 60.5, not a whole number; allowed 60 to 1800 s; correct it",
        )

    def test_a_plain_number_has_no_unit(self):
        self.assertEqual(refusal({"fan_grade": 4}), "fan_grade: found 4, out of bounds; allowed 1 to 3; correct it")

    def test_of_a_value_the_first_forty_characters_are_echoed(self):
        end = ", not a number; allowed 60 to 1800 s; correct it"
        self.assertEqual(refusal({"min_on_s": "x" * 38}), "min_on_s: found '" + "x" * 38 + "'" + end)
        for n in (39, 40, 1000):
            self.assertEqual(refusal({"min_on_s": "x" * n}), "min_on_s: found '" + "x" * 39 + "..." + end)

    def test_a_long_value_is_not_echoed_whole(self):
        text = refusal({"min_on_s": "x" * 1000})
        self.assertTrue(len(text) < 130)
        self.assertIn("not a number", text)


class TestChange(unittest.TestCase):
    def test_all_of_it_takes_effect(self):
        settings = Settings()
        settings.change({"cap_pct": 35, "min_on_s": 240})
        self.assertEqual((settings.cap_pct, settings.min_on_s), (35.0, 240))

    def test_or_none_where_one_is_refused(self):
        for bad in (
            {"cap_pct": 35.0, "wish_pct": 99.0},
            {"wish_pct": 99.0, "cap_pct": 35.0},
            {"cap_pct": 35.0, "x": 1},
        ):
            settings = Settings()
            self.assertRaises(SettingError, settings.change, bad)
            self.assertEqual((settings.cap_pct, settings.wish_pct), (40.0, 40.0))

    def test_or_none_where_two_disagree(self):
        settings = Settings()
        self.assertRaises(SettingError, settings.change, {"cap_pct": 35.0, "glass_f_night": 0.6})
        self.assertEqual((settings.cap_pct, settings.glass_f_night), (40.0, 0.50))

    def test_two_that_agree_only_together_pass_together(self):
        settings = Settings()
        settings.change({"glass_f_night": 0.6, "glass_f_day": 0.65})
        self.assertEqual(settings.glass_f_night, 0.6)

    def test_every_disagreement_names_its_setting(self):
        for values in (
            {"glass_f_night": 0.56},
            {"curtains_from_min": 480},
            {"min_on_s": 1800, "max_run_s": 1800},
            {"has_line_sense": 0},
        ):
            self.assertIn(": ", refusal(values))
            self.assertIn(refusal(values).split(":")[0], [row[0] for row in TABLE])
        Settings().change({"has_line_sense": 0, "has_load_sense": 0})

    def test_at_its_limit_they_still_agree(self):
        Settings().change({"glass_f_night": 0.55, "glass_f_day": 0.55})
        Settings().change({"min_on_s": 1799, "max_run_s": 1800})
        Settings().change({"curtains_from_min": 481})
        Settings().change({"has_load_sense": 0})

    def test_what_disagrees_is_taken_back_to_what_was_not_to_the_defaults(self):
        settings = Settings()
        settings.change({"cap_pct": 33.0, "min_on_s": 240})
        self.assertRaises(SettingError, settings.change, {"cap_pct": 22.0, "min_on_s": 1800, "max_run_s": 1800})
        self.assertEqual((settings.cap_pct, settings.min_on_s, settings.max_run_s), (33.0, 240, 21600))

    def test_nothing_changes_nothing(self):
        settings = Settings()
        settings.change({})
        for row in TABLE:
            self.assertEqual(getattr(settings, row[0]), row[2])


class TestHelp(unittest.TestCase):
    def test_help_names_exactly_the_tables_settings(self):
        self.assertEqual(sorted(HELP), sorted(row[0] for row in TABLE))
        for texts in HELP.values():
            self.assertEqual(len(texts), 3)
            for text in texts:
                self.assertTrue(text and text == text.strip())


if __name__ == "__main__":
    unittest.main()
