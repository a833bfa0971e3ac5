"""The timed test run: water for at most five minutes although it is humid enough, no interlock set aside."""

import unittest

from dewcore import words as w
from dewcore.controller import Controller
from dewcore.readings import OFF, ON, REQUEST_NONE, REQUEST_TIMED_RUN, Readings
from dewcore.settings import Settings

HUMID_PCT = 60.0
DRY_PCT = 15.0


class Bench:
    """A heating furnace in a humid house, hours after boot; the load follows the valve at once."""

    def __init__(self, rh_pct=HUMID_PCT, outdoor_c=-5.0, changes=None):
        settings = Settings()
        settings.change(changes or {})
        self.controller = Controller(settings)
        self.readings = r = Readings()
        self.rh_pct, self.outdoor_c = rh_pct, outdoor_c
        for contact in (r.leak, r.off_switch, r.load_sense):
            contact.set(OFF, 0)
        for contact in (r.fan, r.heat_call, r.line_sense):
            contact.set(ON, 0)
        self.now_s = 0
        for _ in range(40):
            self.scan()

    def scan(self, after_s=10):
        self.now_s += after_s
        r = self.readings
        r.indoor_c.set(21.0, self.now_s)
        r.rh_pct.set(self.rh_pct, self.now_s)
        r.outdoor_c.set(self.outdoor_c, self.now_s)
        decision = self.controller.scan(r, self.now_s)
        r.load_sense.set(ON if decision.valve else OFF, self.now_s)
        return decision

    def ask(self, for_s=300):
        self.readings.request = REQUEST_TIMED_RUN
        self.readings.request_until_s = self.now_s + 10 + for_s
        return self.scan()

    def leave(self):
        self.readings.request = REQUEST_NONE
        return self.scan()

    def open_for_s(self):
        """How long the valve stays open from now on while the request is held, an hour at most [s]."""
        began_s = self.now_s
        for _ in range(360):
            if not self.scan().valve:
                return self.now_s - began_s
        return None


class TestTimedRun(unittest.TestCase):
    def test_a_humid_house_gets_water_and_the_run_is_told(self):
        bench = Bench()
        self.assertEqual(bench.scan().refusals, 1 << w.HUMID_ENOUGH)
        decision = bench.ask()
        self.assertIs(decision.valve, True)
        self.assertTrue(decision.notices >> w.TIMED_RUN & 1)
        said = w.status_sentence(decision.refusals, decision.notices)
        self.assertEqual(said, w.NOTICES[w.TIMED_RUN][1])
        self.assertEqual(w.sentences(decision.refusals, decision.notices)[0], w.NOTICES[w.TIMED_RUN][1])

    def test_it_ends_by_itself_after_five_minutes_at_most_even_where_the_shortest_run_is_longer(self):
        longer = {"min_on_s": 900}
        for for_s, changes, lasts_s in ((300, None, 300), (120, None, 120), (9999, None, 300), (300, longer, 300)):
            bench = Bench(changes=changes)
            self.assertIs(bench.ask(for_s).valve, True)
            self.assertEqual(bench.open_for_s(), lasts_s)
            decision = bench.controller.decision
            self.assertEqual(decision.refusals, 1 << w.HUMID_ENOUGH | 1 << w.RUN_OVER)
            self.assertFalse(decision.notices >> w.TIMED_RUN & 1)
            decision = bench.scan()
            self.assertEqual(decision.refusals & (1 << w.RUN_OVER | 1 << w.HUMID_ENOUGH), 1 << w.HUMID_ENOUGH)

    def test_its_five_minutes_are_300_s_to_the_second(self):
        for for_s in (300, 301, 9999):
            bench = Bench()
            bench.ask(for_s)
            for _ in range(299):
                self.assertIs(bench.scan(1).valve, True)
            self.assertIs(bench.scan(1).valve, False)

    def test_a_board_starts_without_one(self):
        self.assertIs(Controller(Settings()).timed.running, False)

    def test_a_request_that_is_held_begins_no_second_run(self):
        bench = Bench()
        bench.ask()
        bench.open_for_s()
        for n in range(100):
            bench.readings.look = n % 3  # nor does anything else that the owner says meanwhile
            self.assertIs(bench.scan().valve, False)

    def test_leaving_ends_it_at_once(self):
        bench = Bench()
        bench.ask()
        bench.scan()
        decision = bench.leave()
        self.assertIs(decision.valve, False)
        self.assertTrue(decision.refusals >> w.RUN_OVER & 1)

    def test_a_request_already_over_or_older_than_the_boot_begins_none(self):
        bench = Bench()
        self.assertIs(bench.ask(0).valve, False)
        self.assertIs(bench.controller.timed.running, False)
        bench = Bench(changes={"min_off_s": 60})
        bench.readings.request = REQUEST_TIMED_RUN
        bench.readings.request_until_s = bench.now_s + 5000
        bench.controller = Controller(bench.controller.settings)
        for _ in range(60):
            self.assertIs(bench.scan().valve, False)

    def test_a_clock_that_runs_backwards_ends_it(self):
        bench = Bench()
        bench.ask(300)
        self.assertIs(bench.scan(-30).valve, False)

    def test_mild_weather_is_set_aside_too(self):
        bench = Bench(outdoor_c=19.0)
        self.assertTrue(bench.scan().refusals >> w.SEASON_OVER & 1)
        self.assertIs(bench.ask().valve, True)
        self.assertEqual(bench.open_for_s(), 300)
        self.assertTrue(bench.controller.decision.refusals >> w.RUN_OVER & 1)

    def test_a_dry_house_keeps_its_water_after_the_run(self):
        bench = Bench(rh_pct=DRY_PCT)
        bench.ask(30)
        for _ in range(6):
            decision = bench.scan()
        self.assertIs(decision.valve, True)
        self.assertFalse(decision.notices >> w.TIMED_RUN & 1)
        self.assertEqual(w.status_sentence(decision.refusals, decision.notices), w.OPEN_SENTENCE)

    def test_without_one_a_house_that_gets_humid_finishes_the_shortest_run(self):
        bench = Bench(rh_pct=DRY_PCT)
        opened_s = bench.controller.valve.followed_s
        self.assertTrue(0 < bench.now_s - opened_s < 150)
        bench.rh_pct = HUMID_PCT
        bench.open_for_s()
        self.assertEqual(bench.now_s - opened_s, 180)
        self.assertFalse(bench.controller.decision.refusals >> w.RUN_OVER & 1)

    def test_one_already_over_does_not_cut_short_a_run_of_the_house(self):
        bench = Bench(rh_pct=DRY_PCT)
        opened_s = bench.controller.valve.followed_s
        bench.rh_pct = HUMID_PCT
        bench.scan()
        bench.scan()
        self.assertEqual(bench.scan().refusals, 0)  # humid enough, but its shortest run is not over
        self.assertIs(bench.ask(0).valve, True)
        self.assertFalse(bench.controller.decision.refusals >> w.RUN_OVER & 1)
        bench.open_for_s()
        self.assertEqual(bench.now_s - opened_s, 180)

    def test_no_interlock_is_set_aside(self):
        for name, state, reason in (
            ("fan", OFF, w.FAN_OFF),
            ("heat_call", OFF, w.HEAT_OFF),
            ("leak", ON, w.LEAK_WET),
            ("off_switch", ON, w.SWITCH_OFF),
            ("line_sense", OFF, w.LINE_DEAD),
        ):
            bench = Bench()
            bench.ask()
            getattr(bench.readings, name).set(state, bench.now_s)
            decision = bench.scan(1)
            self.assertIs(decision.valve, False, name)
            self.assertTrue(decision.refusals >> reason & 1, name)
            self.assertFalse(decision.refusals >> w.HUMID_ENOUGH & 1, name)

    def test_the_owners_switch_and_the_shortest_pause_hold(self):
        bench = Bench(changes={"owner_off": 1})
        self.assertEqual(bench.ask().refusals, 1 << w.OWNER_OFF)
        bench = Bench()
        bench.ask(60)
        bench.open_for_s()
        bench.leave()
        decision = bench.ask()
        self.assertEqual(decision.refusals, 1 << w.MIN_OFF)


if __name__ == "__main__":
    unittest.main()
