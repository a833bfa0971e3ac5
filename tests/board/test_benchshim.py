"""The bench shim on a board: what ends it, what opens the contact, and what counts as a host's word."""

import json
import os
import sys
import unittest

from bench import BoardReset, Clock, VirtualBoard, install, open_pins
from test_release import remove

import dewsim.virtual
from benchshim import seen
from benchshim.line import LINE_LIVE, LOAD_LIVE, UNFITTED, Line
from benchshim.session import LEASE_MS, BoardBed, Session
from benchshim.talk import LONGEST, Ears, frame, unframe
from dewcore.settings import Settings

TOP = (os.getenv("TMPDIR") or "/tmp") + "/benchshim-" + "".join(["%02x" % value for value in os.urandom(6)])
TOKEN = "0a1b2c3d"
QUICK = {"min_off_s": 60}
TO_OPEN = 80  # beats from a start to the valve's opening, with QUICK


def second_virtual():
    """Another copy of the modules: on a board the shim's own world and the real pins know nothing of each other."""
    package = "copy_" + TOP[-12:]
    sources = dewsim.virtual.__file__.replace("\\", "/").rsplit("/", 1)[0]
    os.mkdir(TOP)
    os.mkdir(TOP + "/" + package)
    for name in os.listdir(sources):
        if name.startswith("virtual") and name.endswith(".py"):
            with open(sources + "/" + name) as source, open(TOP + "/" + package + "/" + name, "w") as copy:
                copy.write(source.read())
    sys.path.insert(0, TOP)
    try:
        return __import__(package + ".virtual").virtual
    finally:
        sys.path.pop(0)
        remove(TOP)


SHIMS = second_virtual()


class Over(Exception):
    """The host's plan is at its end, and so is the test."""


class Host:
    """A host at the other end: `plan` yields bytes to send, or milliseconds in which nothing comes."""

    def __init__(self, board, plan, is_last):
        self.board = board
        self.plan = plan
        self.is_last = is_last  # the session would never end by itself
        self.sent = b""
        self.at = 0  # of what was sent
        self.idle_ms = 0
        self.answers = []
        self.relay = []  # its pin's level at each answer
        self.lamp = []

    def poll(self, wait_ms):
        while self.at == len(self.sent) and not self.idle_ms:
            try:
                item = next(self.plan)
            except StopIteration:
                if self.is_last:
                    raise Over
                item = 1000
            if isinstance(item, int):
                self.idle_ms = item
            else:
                self.sent = item
                self.at = 0
        if self.at < len(self.sent):
            return True
        self.board.advance_us(1000 * min(wait_ms, self.idle_ms))
        self.idle_ms = max(0, self.idle_ms - wait_ms)
        return False

    def read(self, count):
        self.at += count
        return self.sent[self.at - count : self.at]

    def say(self, text):
        self.answers.append(json.loads(unframe(text.encode()[:-1])))
        self.relay.append(int(self.board.relay_pin))
        self.lamp.append(self.board.lamp_lit)


class Orders:
    """Makes a host's lines."""

    def __init__(self):
        self.number = 0

    def __call__(self, verb, *values):
        self.number += 1
        return self.again(verb, *values)

    def again(self, verb, *values):
        return frame(json.dumps([TOKEN, self.number, verb] + list(values)))


class TestTalk(unittest.TestCase):
    def test_only_a_whole_line_is_one(self):
        line = frame('["a", 1]')[:-1]
        self.assertEqual(unframe(line), '["a", 1]')
        for n in range(len(line)):
            self.assertEqual(unframe(line[:n]), "")
            self.assertEqual(unframe(line[n + 1 :]), "")
            self.assertEqual(unframe(line[:n] + bytes([line[n] ^ 4]) + line[n + 1 :]), "", n)

    def test_garbage_between_lines_is_nothing(self):
        sent = b"\x00\xff=123\n" + b"x" * (3 * LONGEST) + b"\n" + frame("one")[:7] + b"\n\r\n" + frame("two")
        state = [sent + frame("three")[:-1] + b"\r\n"]

        def read(count):
            byte = state[0][:count]
            state[0] = state[0][count:]
            return byte

        ears = Ears(lambda ms: bool(state[0]), read)
        heard = [ears.hear(1) for _ in range(6)]
        self.assertEqual([text for text in heard if text], ["two", "three"])
        self.assertTrue(len(ears.heard) <= LONGEST)

    def test_a_break_is_no_byte_of_a_line(self):
        self.assertRaises(EOFError, Ears(lambda ms: True, lambda n: b"\x03").hear, 1)
        self.assertRaises(EOFError, Ears(lambda ms: True, lambda n: b"").hear, 1)  # nobody is there any more


class TestLine(unittest.TestCase):
    def setUp(self):
        self.board = VirtualBoard()
        install(self.board)
        self.line = Line(open_pins(), Clock(self.board))

    def test_a_dead_line_will_do(self):
        for _ in range(3):
            self.assertEqual(self.line.look(1), "")

    def test_whatever_is_not_dark_is_live(self):
        for name, value in (
            ("terminal_live", True), ("stuck_lit", ("line",)), ("half_wave", ("line",)), ("chatter", ("line",)),
        ):  # fmt: skip
            self.setUp()
            setattr(self.board, name, value)
            self.board.terminal_live = name != "stuck_lit"
            self.assertEqual(self.line.look(1), LINE_LIVE, name)

    def test_the_least_sensitive_optocoupler_sees_16_volts_at_any_moment(self):
        for mains_hz in (50, 60):
            self.board.mains_hz = mains_hz
            self.board.sense_part = 2
            self.board.terminal_vac = 16.0
            self.board.terminal_live = True
            for _ in range(50):
                self.board.advance_us(371)
                self.line.wrong = ""
                self.assertEqual(self.line.look(1), LINE_LIVE)

    def test_power_behind_the_contact_is_as_bad(self):
        self.board.stuck_lit = ("load",)
        self.assertEqual(self.line.look(1), LOAD_LIVE)

    def test_what_is_not_fitted_proves_nothing(self):
        self.assertEqual(self.line.look(0), UNFITTED)
        self.assertEqual(self.line.look(1), UNFITTED)

    def test_once_wrong_is_wrong_for_good(self):
        self.board.terminal_live = True
        self.line.look(1)
        self.board.terminal_live = False
        self.assertEqual(self.line.look(1), LINE_LIVE)


class TestSession(unittest.TestCase):
    def setUp(self):
        os.mkdir(TOP)
        self.begin()

    def tearDown(self):
        remove(TOP)

    def begin(self):
        self.board = VirtualBoard()
        install(self.board)
        self.real = open_pins()
        self.order = Orders()
        self.host = None

    def session(self, plan, is_last=False, fitted=1):
        """Run a whole one; why it ended."""
        clock = Clock(self.board)
        dog = self.real.watchdog(7000)
        self.host = Host(self.board, plan, is_last)
        self.bed = BoardBed(SHIMS, TOP + "/kept", self.real, dog)
        ears = Ears(self.host.poll, self.host.read)
        try:
            return Session(self.real, clock, ears, self.host.say, self.bed, TOKEN, fitted).run()
        except Over:
            return "over"
        except BoardReset:
            return "the watchdog bit"

    def outcomes(self):
        return [answer[2] for answer in self.host.answers]

    def opened(self):
        """Orders up to an open valve, contact closed."""
        yield self.order("new", QUICK, 1000, {})
        for _ in range(TO_OPEN):
            yield self.order("beat")

    def test_the_real_relay_follows_the_app_and_the_made_up_load_follows_the_relay(self):
        def plan():
            for item in self.opened():
                yield item
            yield self.order("put", {"relay_fault": "failed"})
            yield self.order("beat")
            yield self.order("end")

        self.assertEqual(self.session(plan()), "the host ended it")
        self.assertEqual(set(self.outcomes()), {"told"})
        self.assertEqual(self.host.relay[:60], [0] * 60)
        self.assertEqual(set(self.host.lamp), {False, True})  # the rhythm of readings that are not to be trusted
        self.assertEqual(self.host.relay[-4:-1], [1, 1, 1])
        told = self.host.answers[TO_OPEN][3]
        self.assertEqual(told[:3], [TO_OPEN, 0, 1])
        self.assertEqual((told[10], told[13]), (1, 1))  # contact closed, valve powered
        told = self.host.answers[-2][3]
        self.assertEqual((told[2], told[10], told[13]), (1, 0, 0))

    def test_what_is_seen_of_the_app_is_what_it_has(self):
        def plan():
            for item in self.opened():
                yield item
            yield self.order("see")
            yield self.order("end")

        self.session(plan())
        self.assertEqual(self.outcomes()[-2:], ["seen", "told"])
        told = self.host.answers[-2][3]
        self.assertEqual(told[-1], 1)  # the real relay's level
        app = self.bed.app
        there = seen.rebuilt(told)
        for rows in (seen.WHOLE, seen.NUMBERS):
            for path, names in rows:
                for name in names:
                    own = getattr(seen.part_of(app, path), name)
                    self.assertEqual(getattr(seen.part_of(there, path), name), own, path + " " + name)
        self.assertEqual(there.controller.judge.inputs.status, list(app.controller.judge.inputs.status))
        self.assertEqual(there.readings.fan.state, 1)
        self.assertEqual((there.safe, there.events), ("", [(0, text) for _, text in app.events][: seen.MOST_EVENTS]))
        self.assertTrue(there.controller.terms.plain_pct > 10.0)

    def test_nothing_is_seen_before_there_is_an_app(self):
        why = self.session(iter([self.order("see"), self.order("beat")]))
        self.assertEqual(self.outcomes(), ["failed"])
        self.assertTrue("Error" in why)

    def test_seconds_are_not_shorter_than_a_second(self):
        began_us = self.board.us
        self.session(self.opened())
        self.assertTrue(self.board.us - began_us >= (TO_OPEN - 1) * 1000000)

    def test_a_silent_host_ends_it_in_five_seconds(self):
        def plan():
            for item in self.opened():
                yield item
            self.silent_us = self.board.us
            yield 4000
            self.assertTrue(self.board.relay_pin)
            yield 60000

        self.assertEqual(self.session(plan()), "the host fell silent")
        self.assertFalse(self.board.relay_pin)
        self.assertTrue(LEASE_MS <= (self.board.us - self.silent_us) // 1000 <= LEASE_MS + 200)
        self.assertEqual(self.board.resets, [])

    def test_only_the_hosts_own_next_or_last_order_renews(self):
        wrong = (
            b"garbage\n", frame("[]"), frame("{}"), frame("nonsense"), frame("[" * 200),
            frame(json.dumps(["other", 82, "beat"])), frame(json.dumps([TOKEN, 83, "beat"])),
            frame(json.dumps([TOKEN, 80, "beat"])), frame(json.dumps([TOKEN, 82, "beat"]))[:-4],
            frame(json.dumps([TOKEN, "82", "beat"])), frame(json.dumps([TOKEN, 0, "beat"])),
            frame(json.dumps([TOKEN, 82, "beat"])).replace(b"beat", b"bear"),
        )  # fmt: skip

        def plan():
            for item in self.opened():
                yield item
            self.silent_us = self.board.us
            for _ in range(10):
                for line in wrong:
                    yield line
                yield b"\n"
                yield 1000

        self.assertEqual(self.session(plan()), "the host fell silent")
        self.assertEqual(len(self.host.answers), TO_OPEN + 1)
        self.assertTrue((self.board.us - self.silent_us) // 1000 <= LEASE_MS + 1200)

    def test_a_flood_of_garbage_renews_nothing(self):
        def plan():
            for item in self.opened():
                yield item
            for _ in range(200):
                self.board.advance_us(50000)
                yield b"=00000000[" * 500
            raise AssertionError("the flood kept it alive")

        self.assertEqual(self.session(plan()), "the host fell silent")

    def test_the_last_order_again_gets_the_last_answer_and_passes_no_second(self):
        def plan():
            for item in self.opened():
                yield item
            for _ in range(3):
                yield 1500
                yield self.order.again("beat")
            yield 1500
            yield self.order("beat")

        self.session(plan())
        a, b, c, d, after = self.host.answers[-5:]
        self.assertTrue(a == b == c == d)
        self.assertEqual(after[3][0], a[3][0] + 1)

    def test_a_host_that_lets_no_beat_pass_meets_relay_lease_and_watchdog(self):
        def plan():
            for item in self.opened():
                yield item
            for n in range(20):
                self.asked = n
                yield self.order("put", {"leak": "dry"})
                yield 500

        self.assertEqual(self.session(plan()), "the watchdog bit")
        self.assertFalse(self.board.relay_pin)
        self.assertEqual(self.host.relay[-3:], [0] * 3)
        self.assertTrue(13 <= self.asked <= 15)

    def test_a_live_line_at_the_start_latches_before_any_app(self):
        self.board.terminal_live = True
        self.assertEqual(self.session(self.opened(), is_last=True), "over")
        self.assertEqual(self.outcomes(), ["latched"] * (TO_OPEN + 1))
        self.assertEqual(self.host.answers[0][3], LINE_LIVE)
        self.assertEqual(sum(self.host.relay), 0)

    def test_an_unfitted_line_latches(self):
        self.assertEqual(self.session(self.opened(), is_last=True, fitted=0), "over")
        self.assertEqual(self.host.answers[-1][2:], ["latched", UNFITTED])
        self.assertEqual(sum(self.host.relay), 0)

    def test_a_line_that_is_said_to_be_gone_latches(self):
        def plan():
            for item in self.opened():
                yield item
            yield self.order("change", "has_load_sense", 0)
            yield self.order("change", "has_line_sense", 0)
            yield self.order("beat")
            yield self.order("change", "has_line_sense", 1)

        self.assertEqual(self.session(plan(), is_last=True), "over")
        self.assertEqual(self.outcomes()[-2:], ["latched", "latched"])
        self.assertFalse(self.board.relay_pin)

    def test_a_line_that_comes_alive_opens_the_contact_at_the_next_beat_and_latches(self):
        def plan():
            for item in self.opened():
                yield item
            self.board.terminal_live = True
            yield self.order("beat")
            self.board.terminal_live = False
            for _ in range(5):
                yield self.order("beat")

        self.assertEqual(self.session(plan(), is_last=True), "over")
        self.assertEqual(self.host.relay[TO_OPEN], 1)
        self.assertEqual(self.host.relay[TO_OPEN + 1 :], [0] * 6)
        self.assertEqual(self.outcomes()[TO_OPEN + 1 :], ["latched"] * 6)

    def test_before_each_beat_the_line_is_looked_at(self):
        done = []
        look, beat = Line.look, BoardBed.beat

        def looked(line, fitted):
            done.append("look")
            return look(line, fitted)

        def beaten(bed):
            done.append("beat")
            beat(bed)

        Line.look, BoardBed.beat = looked, beaten
        try:
            self.session(self.opened())
        finally:
            Line.look = look
            del BoardBed.beat
        self.assertEqual(done.count("beat"), TO_OPEN)
        self.assertTrue(all([done[n - 1] == "look" for n in range(1, len(done)) if done[n] == "beat"]))

    def test_and_between_beats_within_a_second_and_for_good(self):
        def plan():
            for item in self.opened():
                yield item
            self.board.terminal_live = True
            yield 1200
            self.assertFalse(self.board.relay_pin)
            self.board.terminal_live = False
            yield 300000  # nobody asks for minutes: no reset lets go of it
            self.assertFalse(self.board.relay_pin)
            yield self.order("beat")

        self.assertEqual(self.session(plan(), is_last=True), "over")
        self.assertEqual(self.outcomes()[-1], "latched")
        self.assertEqual(self.board.resets, [])

    def test_an_order_that_makes_no_sense_ends_it_with_the_contact_open(self):
        orders = (("nonsense",), ("put", {"relay": 1}), ("put", {"world": 1}), ("beat", "x", "y"), ("new", {}, 1, {}))
        for order in orders:
            self.begin()

            def plan(order=order):
                for item in self.opened():
                    yield item
                yield self.order(*order)
                yield self.order("beat")

            why = self.session(plan(), is_last=True)
            if order[0] in ("beat", "new"):
                self.assertEqual(self.outcomes()[-2:], ["told", "told"])
            else:
                self.assertEqual(self.outcomes()[-1], "failed")
                self.assertTrue("Error" in why)
            self.assertFalse(self.board.relay_pin and order[0] != "beat")

    def test_a_power_cut_opens_the_contact_and_the_app_starts_anew(self):
        def plan():
            for item in self.opened():
                yield item
            yield self.order("power", 10)
            yield self.order("beat")
            yield self.order("end")

        self.session(plan())
        self.assertEqual(self.host.relay[-4:], [1, 0, 0, 0])
        self.assertEqual(self.host.answers[-2][3][:3], [TO_OPEN + 11, 1, 0])

    def test_buttons_are_pressed_over_the_line(self):
        def plan():
            for item in self.opened():
                yield item
            yield self.order("put", {"leak": "wet"})
            yield self.order("beat")
            yield self.order("put", {"leak": "dry"})
            yield self.order("beat")
            yield self.order("beat")
            for n in range(100):
                yield self.order("attend", n, 2 if n >= 10 else 0)
            yield self.order("reach", 100)
            yield self.order("beat")
            yield self.order("end")

        self.session(plan())
        latched = [answer[3][7] for answer in self.host.answers[:-1]]
        self.assertEqual((latched[TO_OPEN], latched[TO_OPEN + 5], latched[-1]), (0, 1, 0))


class TestFitted(unittest.TestCase):
    def test_a_board_without_settings_of_its_own_has_a_line(self):
        self.assertEqual(Settings().has_line_sense, 1)


if __name__ == "__main__":
    unittest.main()
