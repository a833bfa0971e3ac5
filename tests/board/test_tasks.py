"""Each task that a board really starts fails: by an exception, without memory, with a full heap, or never returns.

main() runs here as on a board, all its tasks a step each, then 50 ms of the virtual board's time, and again.  Whatever
happens in whichever task, the contact is closed only for as long as beats permit it: 5 s after the last of them it is
open, 7 s after it where interrupts are off; and the next start keeps the pause.
"""

import asyncio
import sys
import unittest

from app_rig import Machine
from bench import BoardReset
from page_client import Reader, Writer, request
from test_wifi import Chip

from dewboard import pins, tasks
from dewboard import start as boot

IS_MICROPYTHON = sys.implementation.name == "micropython"
NAMES = ("beat", "lamp", "wifi", "page", "broker")
S = 1000000
STEP_US = 50000
FULL_STEPS = 2  # with a full heap, which takes long to fill
PAUSE_S = 290
BROKER = {"host": "127.0.0.1", "port": 9, "device": "attic"}  # nobody listens there


class Stepped:
    """A coroutine; step(coroutine) takes each of its steps."""

    def __init__(self, coroutine, step):
        self.coroutine = coroutine
        self.step = step

    def __iter__(self):
        return self

    __await__ = __iter__

    def __next__(self):
        return self.step(self.coroutine)

    def send(self, _):
        return self.step(self.coroutine)

    def throw(self, *problem):
        return self.coroutine.throw(*problem)


class Over(BaseException):
    """So long the test lasts."""


class Callers:
    """The page's socket: somebody asks for its state every second."""

    def __init__(self, rig, serve):
        self.rig = rig
        self.serve = serve

    async def serve_forever(self):
        while not self.rig.is_over:  # a caller's own end is no end of this
            await self.serve(Reader(request("GET", "/state", host="dewmargin")), Writer())
            await asyncio.sleep(1)

    async def wait_closed(self):
        """Once it serves no more, it is."""


class Rig:
    """main() over a board whose valve is open; three seconds later each step of the victim is fail(rig, coroutine)."""

    def __init__(self, victim, fail):
        self.victim, self.fail = victim, fail
        self.machine = Machine().opened()
        self.board, self.app = self.machine.board, self.machine.app
        self.app.keep.wifi = {"name": "net", "key": "a long key"}
        self.app.keep.broker = BROKER
        self.feed, self.app.hardware.feed = self.app.hardware.feed, self.fed
        self.fail_us = self.board.us + 3 * S
        self.permitted_us = self.board.us
        self.longest_us = 0  # that the contact was closed since a beat last permitted it
        self.failed = 0
        self.due_us = {}  # when a task that waits goes on
        self.stepped_now = ""
        self.is_gone = self.is_closed = self.is_over = False
        self.sleep = asyncio.sleep
        self.run_all = asyncio.run

    def fed(self):
        """In place of the hardware's: a beat was decided and driven."""
        self.feed()
        if self.app.controller.decision.valve and not self.app.safe:
            self.permitted_us = self.board.us

    def look(self):
        self.is_closed = self.board.relay_pin
        if self.is_closed:
            self.longest_us = max(self.longest_us, self.board.us - self.permitted_us)

    def stepping(self, name):
        """What takes the steps of this task."""

        def step(coroutine):
            if self.is_gone:
                raise asyncio.CancelledError()
            self.stepped_now = name
            is_awake = self.board.us >= self.due_us.get(name, 0)
            if name == self.victim and self.board.us >= self.fail_us and is_awake:
                self.failed += 1
                return self.fail(self, coroutine)
            return coroutine.send(None)

        return step

    async def stepped(self, name, coroutine):
        await Stepped(coroutine, self.stepping(name))

    # what main() finds instead of its own

    def watched(self, app, name, start):
        return self.own_watched(app, name, lambda: self.stepped(name, start()))

    async def wait(self, seconds):
        due_us = self.board.us + int(seconds * S)
        self.due_us[self.stepped_now] = due_us
        await self.sleep(0)
        while self.board.us < due_us:
            if self.is_over:
                raise asyncio.CancelledError()  # time stands still, and some end no sooner
            await self.sleep(0)

    async def listen(self, serve, host, port, **more):
        return Callers(self, serve)

    async def turns(self, beats):
        """Until the failure is 20 s old, which is more than all starts again take, or the beat has ended."""
        beat = asyncio.create_task(self.stepped("beat", beats))
        while self.board.us < self.fail_us + 20 * S and not beat.done():
            self.board.advance_us(STEP_US)
            self.look()
            await self.sleep(0)
            if self.is_gone:
                break
        self.is_over = True
        if self.is_gone or not beat.done():
            raise Over()
        await beat

    def main(self):
        """What ends it."""
        sys.modules["network"] = Chip(fails=0, lasts=S)
        places = (
            (boot, "wants_in", lambda: False),
            (boot, "build", lambda *_: self.app),
            (boot, "time", self.board),
            (boot, "keep_memory_tidy", lambda: None),  # only a board's interpreter can
            (pins, "open_pins", lambda: self.machine.pins),
            (tasks, "watched", self.watched),
            (asyncio, "sleep", self.wait),
            (asyncio, "run", lambda beats: self.run_all(self.turns(beats))),
            (asyncio, "start_server", self.listen),
        )
        before = [getattr(place, name) for place, name, _ in places]
        self.own_watched = tasks.watched
        if IS_MICROPYTHON:
            asyncio.new_event_loop()  # there tasks outlast asyncio.run
        for place, name, value in places:
            setattr(place, name, value)
        try:
            boot.main(self.machine.pins.relay, self.board.machine_reset)
        except (BoardReset, Over, RuntimeError, MemoryError) as problem:  # RuntimeError: a pin after the chip's reset
            return problem
        finally:
            for (place, name, _), value in zip(places, before):
                setattr(place, name, value)


def raising(kind):
    return lambda rig, coroutine: coroutine.throw(kind("planted"))


def hanging(irq):
    """This step never comes to its end; the chip's reset ends it."""

    def fail(rig, _):
        rig.board.masked = not irq
        rig.board._schedule()
        try:
            while True:
                rig.board.advance_us(STEP_US)
                rig.look()
        except BoardReset:
            rig.is_gone = True
            rig.is_closed = rig.board.relay_pin
            raise asyncio.CancelledError() from None

    return fail


def full(rig, coroutine):
    """Some steps with no memory left."""
    held = None
    size = S if rig.failed <= FULL_STEPS else 0
    while size > 16:
        try:
            held = (held, bytearray(size))
        except MemoryError:
            size //= 2
    try:
        while size:
            held = (held,)  # a single block of the heap each
    except MemoryError:
        size = 0
    return coroutine.send(None)


class TestTasks(unittest.TestCase):
    def failing(self, victim, fail, most_us=5 * S):
        """The rig after its end; the contact was open in time, is open, and stays so for the next start's pause."""
        rig = Rig(victim, fail)
        self.assertTrue(rig.board.relay_pin)
        rig.ended = rig.main()
        machine = rig.machine
        self.assertTrue(rig.failed > 0, victim)
        self.assertTrue(rig.longest_us <= most_us, (victim, rig.longest_us))
        self.assertFalse(machine.board.relay_pin, victim)
        machine.restart()
        for n in range(PAUSE_S if victim == "beat" else 5):  # the start is the same, whatever ended the one before
            machine.beat()
            self.assertFalse(machine.board.relay_pin, (victim, n))
        return rig

    def test_the_tasks_are_those_that_a_board_starts(self):
        started = []
        rig = Rig("none", None)
        rig.fail_us -= 20 * S
        stepped = rig.stepped
        rig.stepped = lambda name, coroutine: (started.append(name), stepped(name, coroutine))[1]
        rig.main()
        self.assertEqual(tuple(started), NAMES)

    def test_an_exception_in_the_beats_task_opens_the_contact_and_resets_the_chip(self):
        for kind in (ValueError, MemoryError):
            rig = self.failing("beat", raising(kind))
            self.assertEqual((rig.failed, len(rig.board.resets)), (1, 2))
            self.assertTrue(rig.board.resets[0][0] - rig.fail_us <= 2 * S)

    def test_who_stops_it_while_it_still_stores_gets_the_reset_all_the_same(self):
        rig = Rig("beat", raising(ValueError))
        stored = []

        def finish(keep, app):
            stored.append(app)
            raise KeyboardInterrupt()

        kind = type(rig.app.keep)
        own, kind.finish = kind.finish, finish
        try:
            ended = rig.main()
        except KeyboardInterrupt as escaped:
            ended = escaped
        finally:
            kind.finish = own
        self.assertTrue(isinstance(ended, BoardReset))
        self.assertEqual((len(stored), rig.failed), (1, 1))
        self.assertFalse(rig.board.relay_pin)

    def test_a_task_that_ends_again_and_again_is_safe_mode_with_the_contact_open(self):
        for victim in NAMES[1:]:
            for kind in (ValueError, MemoryError):
                rig = self.failing(victim, raising(kind))
                self.assertEqual(rig.app.safe, "task " + victim + " ended too often")
                self.assertFalse(rig.is_closed)
                self.assertEqual(rig.app.counters.missed_beats, 0)

    def test_a_step_that_never_ends_is_ended_by_lease_and_watchdog(self):
        for victim in NAMES:
            for irq, most_us in ((True, 5 * S), (False, 7 * S)):
                rig = self.failing(victim, hanging(irq), most_us)
                self.assertTrue(rig.is_gone)
                self.assertTrue(rig.longest_us > most_us - 2 * S, rig.longest_us)

    def test_a_full_heap(self):
        if not IS_MICROPYTHON:
            return  # no heap here can be filled
        for victim in NAMES:
            rig = self.failing(victim, full)
            is_felt = rig.app.counters.failed_beats > 0 or rig.board.resets[0][0] - rig.fail_us < 3 * S
            self.assertTrue(victim != "beat" or is_felt, rig.board.resets)


if __name__ == "__main__":
    unittest.main()
