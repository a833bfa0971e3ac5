"""The whole app on the virtual board: the beat, what ends it, what a boot keeps, and that the contact is open then."""

import asyncio
import unittest

from app_rig import OPENS_S, Boom, Broken, Machine
from bench import BEAT_US, BoardReset, open_pins

from dewboard import start as boot
from dewboard import store, tasks
from dewboard.keep import QUICK_BOOTS
from dewcore import words as w
from dewcore.board import RESET_WATCHDOG
from dewcore.readings import REQUEST_CLEAR, REQUEST_NONE, REQUEST_TIMED_RUN, REQUEST_WINDOW, SAW_CLEAR, SAW_FOG
from dewcore.record import unpack


class Refusing:
    """A store that takes nothing."""

    refused = "no room"

    def save(self, _):
        return False


class Worn(store.Store):
    """A store on worn flash."""

    def _sequence(self, _):
        return 0


class TestBeat(unittest.TestCase):
    def test_a_dry_heated_house_gets_water_and_all_is_counted(self):
        machine = Machine().opened()
        board, app = machine.board, machine.app
        self.assertTrue(board.contact_closed and board.valve_powered)
        open_s = app.counters.valve_open_s
        machine.beat(100)
        self.assertEqual(app.counters.valve_open_s - open_s, 100)
        self.assertEqual((app.counters.valve_starts, app.counters.missed_beats, app.counters.failed_beats), (1, 0, 0))
        self.assertEqual(board.resets, [])

    def test_the_contact_is_open_from_power_on_until_the_first_permission(self):
        machine = Machine()
        for _ in range(290):
            machine.beat()
            self.assertFalse(machine.board.relay_pin)

    def test_each_interlock_opens_the_contact_within_two_beats(self):
        for name, value in (("fan_running", False), ("terminal_live", False), ("leak", "wet"), ("off_switch", True)):
            machine = Machine().opened()
            setattr(machine.board, name, value)
            machine.beat(2)
            self.assertFalse(machine.board.relay_pin, name)

    def test_beats_that_come_late_are_counted(self):
        machine = Machine()
        machine.beat(5)
        machine.board.advance_us(3 * BEAT_US)
        machine.beat()
        self.assertEqual(machine.app.counters.missed_beats, 3)

    def test_a_minute_is_recorded_each_minute(self):
        machine = Machine().opened()
        machine.app.history.flush()
        before = machine.app.history.seq
        machine.beat(600)
        self.assertEqual(machine.app.history.seq - before, 10)

    def test_the_wrap_of_the_counter_is_not_felt(self):
        machine = Machine(start_ms=(1 << 30) - 120000)
        machine.opened()
        self.assertEqual(machine.app.counters.missed_beats, 0)
        self.assertTrue(machine.board.ticks_ms() < 1000000)


class TestFailure(unittest.TestCase):
    def test_whatever_a_beat_meets_the_contact_is_open_and_the_watchdog_is_not_fed(self):
        for problem in (ValueError("x"), MemoryError(), OSError(5), ZeroDivisionError()):
            for part, name in (("hardware", "read"), ("controller", "scan"), ("minutes", "beat"), ("keep", "beat")):
                machine = Machine().opened()
                app = machine.app
                fed = []
                app.hardware.feed = lambda: fed.append(1)
                broken = Broken(getattr(app, part), name, problem)
                setattr(app, part, broken)
                app.hurried = True
                if part == "hardware":
                    broken.feed = lambda: fed.append(1)
                app.beat()
                self.assertFalse(machine.board.relay_pin, (part, problem))
                self.assertEqual(len(fed), 0 if part in ("hardware", "controller") else 1)
                self.assertEqual(app.counters.failed_beats, 1)

    def test_one_failed_beat_is_survived(self):
        machine = Machine().opened()
        app = machine.app
        good = app.keep
        app.keep = Broken(good, "beat", ValueError("once"))
        machine.beat()
        app.keep = good
        self.assertTrue(machine.opened().board.relay_pin)
        self.assertEqual(app.safe, "")
        self.assertTrue(any("once" in text for text in machine.texts()))

    def test_more_than_three_in_ten_minutes_is_safe_mode_until_the_alarm_button_is_held(self):
        machine = Machine().opened()
        app = machine.app
        good = app.keep
        app.keep = Broken(good, "beat", ValueError("again"))
        machine.beat(4)
        app.keep = good
        decision = machine.beat(OPENS_S)
        self.assertFalse(machine.board.relay_pin)
        self.assertEqual(w.status_sentence(decision.refusals, decision.notices), w.REFUSALS[w.SAFE_MODE][1])
        self.assertEqual(machine.board.resets, [])
        machine.press(2.0, "alarm_pressed")
        self.assertEqual(app.safe, "the beat failed too often")
        machine.press(3.5, "alarm_pressed")
        self.assertEqual(app.safe, "")
        self.assertTrue(machine.opened().board.relay_pin)

    def test_failures_ten_minutes_apart_are_no_row_and_a_row_without_end_takes_no_more_memory(self):
        machine = Machine().opened()
        app = machine.app
        good = app.keep
        for _ in range(5):
            app.keep = Broken(good, "beat", ValueError("now and then"))
            machine.beat()
            app.keep = good
            machine.beat(600)
        self.assertEqual(app.safe, "")
        app.keep = Broken(good, "beat", ValueError("for good"))
        machine.beat(20)
        self.assertEqual((app.safe, len(app.failed_s)), ("the beat failed too often", 3))

    def test_safe_mode_outlasts_a_power_cut_and_the_button_ends_it_for_good(self):
        machine = Machine().opened()
        machine.beat(700)
        machine.app.stand_down("the beat failed too often")
        machine.beat(2)
        machine.restart()
        decision = machine.beat(OPENS_S + 600)
        self.assertEqual(decision.refusals, 1 << w.SAFE_MODE)
        machine.restart()
        self.assertTrue(machine.app.safe)
        machine.press(0.0)
        machine.press(3.5, "alarm_pressed")
        self.assertEqual(machine.app.safe, "")
        machine.restart()
        self.assertEqual((machine.app.safe, machine.app.keep.quick), ("", 1))
        machine.opened()

    def test_what_people_ask_for_in_safe_mode_is_not_done_later(self):
        machine = Machine()
        machine.beat(OPENS_S)
        app = machine.app
        app.stand_down("the beat failed too often")
        app.look(SAW_FOG)
        app.request(REQUEST_TIMED_RUN, 300)
        machine.beat(2)
        app.leave_safe_mode()
        machine.board.rh_pct = 60.0
        machine.beat(20)
        self.assertEqual(app.controller.glass.last_look, 0)
        self.assertFalse(app.controller.timed.running)

    def test_no_beat_no_contact_five_seconds_later_no_interrupts_seven(self):
        machine = Machine().opened()
        try:
            machine.board.block(4.0)
            self.assertTrue(machine.board.relay_pin)
            machine.board.block(1.1)
            self.assertFalse(machine.board.relay_pin)
            machine.board.block(60.0)
        except BoardReset:
            self.assertEqual(machine.board.cause, RESET_WATCHDOG + 1)
        self.assertEqual(len(machine.board.resets), 1)
        machine = Machine().opened()
        with self.assertRaises(BoardReset):
            machine.board.block(7.1, irq=False)
        self.assertFalse(machine.board.relay_pin)

    def test_a_soft_reset_opens_it_with_the_next_starts_first_line(self):
        machine = Machine().opened()
        machine.board.soft_reset()
        open_pins()
        self.assertFalse(machine.board.relay_pin)

    def test_a_decision_older_than_fifteen_seconds_opens_nothing_and_feeds_no_watchdog(self):
        machine = Machine().opened()
        app = machine.app
        app.controller = Broken(app.controller, "due", None)
        app.controller.due = lambda contacts, now_s: False
        fed_us = machine.board.dog_us
        with self.assertRaises(BoardReset):
            for n in range(40):
                machine.beat()
                if n > 16:
                    self.assertFalse(machine.board.relay_pin)
        self.assertTrue(machine.board.us < fed_us + 20 * BEAT_US)


class TestBoot(unittest.TestCase):
    def test_the_shortest_pause_counts_from_the_boot(self):
        machine = Machine().opened()
        machine.restart()
        for n in range(290):
            machine.beat()
            self.assertFalse(machine.board.relay_pin, n)

    def test_a_latched_alarm_outlasts_the_boot_and_only_a_person_clears_it(self):
        machine = Machine().opened()
        machine.board.leak = "wet"
        machine.beat(3)
        machine.board.leak = "dry"
        machine.restart()
        decision = machine.beat(OPENS_S)
        self.assertTrue(decision.refusals >> w.LEAK_WET & 1)
        self.assertFalse(machine.board.relay_pin)
        machine.app.request(REQUEST_CLEAR)
        machine.beat(2)
        self.assertEqual(machine.app.readings.request, REQUEST_NONE)
        self.assertTrue(machine.opened().board.relay_pin)
        machine.beat(3)
        machine.restart()
        self.assertFalse(machine.beat(20).refusals >> w.LEAK_WET & 1)

    def test_a_humidity_that_fell_at_once_outlasts_the_boot_and_only_a_person_clears_it(self):
        machine = Machine()
        machine.board.rh_pct = 30.0
        machine.beat(700)
        machine.board.rh_pct = 12.0
        machine.beat(60)
        machine.restart()
        decision = machine.beat(OPENS_S + 300)
        self.assertTrue(decision.refusals >> w.RH_BAD & 1 and decision.notices >> w.RH_JUMPED & 1)
        machine.app.request(REQUEST_CLEAR)
        machine.opened()

    def test_an_alarm_is_in_both_slots_soon(self):
        for lost in (".a", ".b"):
            machine = Machine().opened()
            machine.board.leak = "wet"
            machine.beat(5)
            machine.board.leak = "dry"
            machine.disk.files["kept/learned" + lost] = b"torn"
            machine.restart()
            self.assertTrue(machine.beat(20).refusals >> w.LEAK_WET & 1, lost)

    def test_so_it_is_where_the_counters_cannot_be_stored(self):
        machine = Machine().opened()
        machine.app.keep.counters = Refusing()
        machine.board.leak = "wet"
        machine.beat(70)
        machine.board.leak = "dry"
        stored = dict(machine.disk.files)
        for lost in (".a", ".b"):
            machine.disk.files.update(stored)
            machine.disk.files["kept/learned" + lost] = b"torn"
            machine.restart()
            self.assertTrue(machine.beat(5).refusals >> w.LEAK_WET & 1, lost)

    def test_settings_outlast_it_and_wrong_ones_change_nothing(self):
        machine = Machine()
        self.assertEqual(machine.app.change_settings({"wish_pct": 22.5, "min_off_s": 400}), "")
        refusal = machine.app.change_settings({"wish_pct": 23.0, "min_off_s": 1})
        self.assertTrue(refusal.startswith("min_off_s: found 1"), refusal)
        machine.beat(3)
        machine.restart()
        self.assertEqual((machine.app.settings.wish_pct, machine.app.settings.min_off_s), (22.5, 400))

    def test_counters_and_what_was_learned_outlast_it(self):
        machine = Machine().opened()
        machine.app.keep.learned_s = -30000  # hours ago
        machine.beat(2)
        open_s = machine.app.counters.valve_open_s
        machine.app.controller.outlook.house.hours = 77
        machine.app.keep.finish(machine.app)
        machine.restart()
        self.assertEqual(machine.app.controller.outlook.house.hours, 77)
        self.assertEqual(machine.app.counters.valve_open_s, open_s)
        self.assertEqual(machine.app.counters.boots, 2)

    def test_an_orderly_end_stores_everything_that_waits(self):
        machine = Machine()
        machine.beat(20)
        app = machine.app
        app.keep.store_login(b"a new image")
        app.keep.raise_boot(4711)
        app.stand_down("the beat failed too often")
        app.keep.finish(app)
        machine.restart()
        self.assertEqual(machine.app.keep.load_login(), b"a new image")
        self.assertEqual(machine.app.keep.boot, 4712)
        self.assertTrue(machine.app.safe)

    def test_five_quick_boots_in_a_row_are_safe_mode_a_long_one_ends_the_row(self):
        machine = Machine()
        machine.beat(20)
        for _ in range(QUICK_BOOTS - 2):
            machine.restart()
            machine.beat(20)
            self.assertEqual(machine.app.safe, "")
        machine.beat(600)
        machine.restart()
        self.assertEqual((machine.app.safe, machine.app.keep.quick), ("", 1))
        for _ in range(QUICK_BOOTS - 1):
            machine.beat(20)
            machine.restart()
        self.assertTrue(machine.app.safe.startswith("it restarted 5 times"))
        decision = machine.beat(OPENS_S)
        self.assertEqual(decision.refusals, 1 << w.SAFE_MODE)
        self.assertFalse(machine.board.relay_pin)

    def test_the_watchdogs_reset_is_counted_and_told(self):
        machine = Machine()
        machine.beat(3)
        try:
            machine.board.block(8.0)
        except BoardReset:
            pass
        machine.start()
        self.assertEqual(machine.app.counters.watchdog_resets, 1)
        self.assertTrue("started again by the watchdog" in machine.texts())

    def test_damaged_stores_are_told_and_never_stop_a_boot(self):
        machine = Machine()
        machine.app.change_settings({"wish_pct": 22.5})
        machine.beat(3)
        machine.app.keep.finish(machine.app)
        for path in list(machine.disk.files):
            machine.disk.files[path] = b"rubbish"
        machine.restart()
        machine.beat(30)
        self.assertEqual(machine.app.settings.wish_pct, 40.0)
        self.assertTrue(any("settings" in text for text in machine.texts()), machine.texts())
        self.assertTrue(any("learned" in text for text in machine.texts()), machine.texts())

    def test_what_is_wrong_with_them_is_told_whole(self):
        machine = Machine()
        newer = store.Store("kept", "settings", schema=2)
        self.assertTrue(newer.save(b"{}") and newer.save(b"{}"))
        machine.start()
        self.assertIn("put the firmware back that wrote it, or save anew (lost)", str(machine.texts()))
        machine.app.keep.settings = Worn("kept", "settings")
        self.assertEqual(machine.app.change_settings({"wish_pct": 31.0}), "")
        machine.beat(10)
        told = [text for text in machine.texts() if text.startswith("not stored: kept/settings.")]
        self.assertTrue(told[0].endswith(": does not read back as written; the flash may be worn out"))


class TestPeople(unittest.TestCase):
    def test_a_look_counts_once(self):
        machine = Machine()
        machine.beat(400)
        glass = machine.app.controller.glass
        self.assertEqual(glass.last_look, 0)
        machine.press(0.0)  # a button held at the start would not count
        machine.press(2.0, "look_pressed")
        self.assertEqual((glass.last_look, glass.looks[0] + glass.looks[1]), (SAW_FOG, 1))
        self.assertEqual(machine.app.readings.look, 0)
        self.assertTrue(machine.app.pressed_s >= 399)
        machine.beat(700)
        machine.press(0.3, "look_pressed")
        self.assertEqual(glass.last_look, SAW_CLEAR)

    def test_a_look_is_in_the_record_of_its_minute_alone(self):
        machine = Machine()
        app = machine.app
        app.history.flush()
        since = app.history.seq
        machine.beat(150)
        app.look(SAW_CLEAR)
        machine.beat(150)
        looks = [unpack(bytes(row.data))["look"] for row in app.history.unsent(app.history.boot, since - 1)]
        self.assertEqual(looks, [None, None, SAW_CLEAR, None])

    def test_requests_that_last_end_by_themselves(self):
        machine = Machine()
        machine.board.rh_pct = 60.0
        machine.beat(400)
        machine.app.request(REQUEST_TIMED_RUN, 120)
        machine.beat(5)
        self.assertTrue(machine.board.relay_pin)
        machine.beat(114)
        self.assertTrue(machine.board.relay_pin)
        machine.beat(2)  # to the second, not at the next scan
        self.assertEqual(machine.app.readings.request, REQUEST_NONE)
        self.assertFalse(machine.board.relay_pin)
        machine.app.request(REQUEST_WINDOW, 99999)
        self.assertEqual(machine.app.readings.request_until_s, machine.app.now_s + 1800)

    def test_a_run_ends_although_no_beat_saw_its_last_second(self):
        machine = Machine()
        machine.board.rh_pct = 60.0
        machine.beat(400)
        machine.app.request(REQUEST_TIMED_RUN, 30)
        machine.beat(28)
        self.assertTrue(machine.board.relay_pin)
        machine.board.block(3.5)
        machine.beat(2)
        self.assertEqual(machine.app.readings.request, REQUEST_NONE)
        self.assertFalse(machine.board.relay_pin)

    def test_what_is_ended_is_only_what_was_named(self):
        machine = Machine()
        app = machine.app
        for code, other in ((REQUEST_TIMED_RUN, REQUEST_WINDOW), (REQUEST_WINDOW, REQUEST_TIMED_RUN)):
            app.request(code, 300)
            app.end(other)
            self.assertEqual(app.readings.request, code)
            app.end(code)
            self.assertEqual(app.readings.request, REQUEST_NONE)

    def test_both_buttons_forget_the_password(self):
        machine = Machine()
        machine.app.keep.store_login(b"secret image")
        self.assertEqual(machine.app.keep.load_login(), b"secret image")
        machine.beat(2)
        machine.restart()
        self.assertEqual(machine.app.keep.load_login(), b"secret image")
        machine.press(0.0)
        machine.press(10.5, "look_pressed", "alarm_pressed")
        self.assertEqual(machine.app.keep.load_login(), b"")


class TestFlash(unittest.TestCase):
    def test_one_write_a_beat_and_none_that_fails_stops_it(self):
        machine = Machine().opened()
        app = machine.app
        app.change_settings({"wish_pct": 30.0})
        app.keep.store_login(b"x")
        app.keep.learned_s = -30000
        saves = []
        for n in range(4):
            before = dict(machine.disk.files)
            machine.beat()
            files = machine.disk.files
            saves.append(sorted([path.split(".")[0] for path in files if before.get(path) != files[path]]))
        self.assertEqual(saves[:3], [["kept/counters", "kept/learned"], ["kept/settings"], ["kept/login"]])
        machine.disk.fail(1, OSError, True)
        app.change_settings({"wish_pct": 31.0})
        machine.beat(130)
        self.assertEqual(app.counters.failed_beats, 0)
        self.assertTrue(any("not stored" in text for text in machine.texts()))
        self.assertTrue(machine.board.relay_pin)

    def test_learned_state_that_cannot_be_stored_holds_up_neither_settings_nor_password(self):
        machine = Machine()
        machine.beat(20)
        app = machine.app
        tries = []

        class Refusing:
            refused = "learned: no room"

            def save(self, image):
                tries.append(app.now_s)
                return False

        app.keep.learned = Refusing()
        app.controller.permit.latched |= 1 << w.LEAK_WET
        app.change_settings({"wish_pct": 31.0})
        app.keep.store_login(b"y")
        machine.beat(200)
        self.assertEqual((app.keep.settings_changed, app.keep.login_image), (False, None))
        self.assertTrue(len(tries) >= 3, tries)


class TestTasks(unittest.TestCase):
    def run_for(self, app, start, seconds=3.0):
        """A watched task beside beats that are only counted."""

        async def all_of_it():
            task = asyncio.create_task(tasks.watched(app, "x", start))
            await asyncio.sleep(seconds)
            task.cancel()

        asyncio.run(all_of_it())

    def test_a_task_that_dies_starts_again_and_too_often_is_safe_mode(self):
        machine = Machine()
        machine.beat(2)
        starts = []

        async def dies():
            starts.append(1)
            raise ValueError("dead")

        before = tasks.AGAIN_S
        tasks.AGAIN_S = 0.01
        try:
            self.run_for(machine.app, dies, 0.5)
        finally:
            tasks.AGAIN_S = before
        self.assertEqual(len(starts), tasks.RESTARTS + 1)
        self.assertEqual(machine.app.safe, "task x ended too often")
        self.assertEqual(machine.app.counters.restarted_tasks, tasks.RESTARTS + 1)

    def test_a_failing_beat_task_ends_the_program(self):
        machine = Machine().opened()
        broken = Broken(machine.app, "beat", RuntimeError("gone"))
        with self.assertRaises(RuntimeError):
            asyncio.run(tasks.run(broken, []))

    def test_main_opens_the_contact_and_resets_whatever_happens(self):
        machine = Machine().opened()
        calls = []
        before = boot.wants_in, boot.build, boot.time, boot.keep_memory_tidy
        boot.time = machine.board
        boot.keep_memory_tidy = lambda: None  # only a board's interpreter can
        try:
            for wanted, problem, expected in ((False, MemoryError(), ["low", "reset"]), (True, None, [])):
                calls.clear()
                boot.wants_in = lambda: wanted
                boot.build = Boom(problem)
                boot.main(Probe(calls), lambda: calls.append("reset"))
                self.assertEqual(calls, expected)
        finally:
            boot.wants_in, boot.build, boot.time, boot.keep_memory_tidy = before
        self.assertFalse(machine.board.relay_pin)

    def test_the_broker_hears_of_an_end_that_was_asked_for_and_of_no_other(self):
        machine = Machine().opened()
        before = boot.wants_in, boot.build, boot.others, boot.time, boot.keep_memory_tidy
        boot.wants_in = lambda: False
        boot.time = machine.board
        boot.keep_memory_tidy = lambda: None
        boot.build = lambda *_: machine.app
        calls = []
        machine.app.leave = lambda: calls.append("leave")
        try:
            for problem, expected in (
                (KeyboardInterrupt(), ["low", "leave", "reset"]),
                (MemoryError(), ["low", "reset"]),
            ):
                calls.clear()
                boot.others = Boom(problem)
                boot.main(Probe(calls), lambda: calls.append("reset"))
                self.assertEqual(calls, expected)
        finally:
            boot.wants_in, boot.build, boot.others, boot.time, boot.keep_memory_tidy = before


class Probe:
    """The relay's pin in main.py."""

    def __init__(self, calls):
        self.calls = calls

    def value(self, level):
        self.calls.append("low" if level == 0 else "high")


if __name__ == "__main__":
    unittest.main()
