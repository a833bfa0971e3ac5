"""The last events: the newest first, bounded in number and length, and no more heap than was taken at the start."""

import gc
import sys
import unittest

from dewboard.broker_config import NO_CA, NO_TLS
from dewboard.events import MOST, TEXT_BYTES, Events
from dewboard.mqtt import CONNECT_REFUSED
from dewcore.settings import TABLE, SettingError, Settings

IS_MICROPYTHON = sys.implementation.name == "micropython"
SLACK_BYTES = 200  # a list of MOST texts takes more than a thousand

if not IS_MICROPYTHON:
    import tracemalloc


def taken_bytes():
    """Of the heap; what is garbage and not yet collected counts on MicroPython."""
    if IS_MICROPYTHON:
        return gc.mem_alloc()
    if not tracemalloc.is_tracing():
        tracemalloc.start()
    return tracemalloc.get_traced_memory()[0]


class App:
    now_s = 0


def texts(events):
    return [text for _, text in events]


class TestEvents(unittest.TestCase):
    def setUp(self):
        self.app = App()
        self.events = Events(self.app)

    def add(self, *some):
        for text in some:
            self.app.now_s += 1
            self.events.add(text)

    def test_the_newest_comes_first_with_its_time(self):
        self.assertEqual(list(self.events), [])
        self.add("a", "bb", "")
        self.assertEqual(list(self.events), [(3, ""), (2, "bb"), (1, "a")])
        self.assertEqual((len(self.events), self.events.count), (3, 3))

    def test_of_more_than_there_is_room_for_the_oldest_go(self):
        self.add(*["event %d" % n for n in range(MOST + 3)])
        self.assertEqual((len(self.events), self.events.count), (MOST, MOST + 3))
        self.assertEqual(texts(self.events), ["event %d" % n for n in range(MOST + 2, 2, -1)])
        self.assertEqual(self.events.get(3), (4, "event 3"))
        self.assertEqual(self.events.get(MOST + 2), (MOST + 3, "event %d" % (MOST + 2)))

    def test_a_short_text_in_the_place_of_a_long_one_is_that_text(self):
        self.add(*["x" * TEXT_BYTES] * MOST)
        self.add("short")
        self.assertEqual(texts(self.events)[:2], ["short", "x" * TEXT_BYTES])

    def test_what_is_too_long_loses_its_end_at_a_whole_letter(self):
        for letter in "z°–😀":
            for before in range(4):
                left = (TEXT_BYTES - before) // len(letter.encode())
                self.add("y" * before + letter * 600)
                self.assertEqual(next(iter(self.events))[1], "y" * before + letter * left)

    def test_one_that_comes_while_they_are_told_takes_none_twice_and_none_from_another_time(self):
        self.add(*["event %d" % n for n in range(MOST)])
        told = []
        for _, text in self.events:
            told.append(text)
            if len(told) == 2:
                self.add("new")
        self.assertEqual(told, ["event %d" % n for n in range(MOST - 1, 0, -1)])

    def test_no_heap_is_kept(self):
        gc.collect()
        before = taken_bytes()
        for n in range(3 * MOST):
            self.events.add("%d: settings changed: wish_pct" % n)
        gc.collect()
        self.assertTrue(taken_bytes() <= before + SLACK_BYTES)

    def test_what_is_much_too_long_makes_little_garbage(self):
        for letter in "z°":
            text = letter * 600
            gc.collect()
            before = taken_bytes()
            self.events.add(text)
            self.assertTrue(taken_bytes() - before <= 6 * TEXT_BYTES)


class TestOwnTexts(unittest.TestCase):
    """What the board itself says stands whole in its events."""

    def whole(self, some):
        events = Events(App())
        for text in some:
            events.add(text)
            self.assertEqual(next(iter(events))[1], text)

    def test_of_stored_settings(self):
        said = []
        together = (
            {"glass_f_night": 0.8, "glass_f_day": 0.7},
            {"curtains_from_min": 60, "curtains_to_min": 60},
            {"min_on_s": 600, "max_run_s": 600},
            {"has_load_sense": 1, "has_line_sense": 0},
        )
        for values in [{row[0]: wrong} for row in TABLE for wrong in (-99999.5, row[4] + 1, "a")] + list(together):
            try:
                Settings().change(values)
            except SettingError as problem:
                said.append("settings: " + str(problem) + " (older)")
        self.assertEqual(len(said), 3 * len(TABLE) + len(together))
        self.whole(said)

    def test_of_a_broker(self):
        self.whole(["broker: " + text for text in (NO_CA, NO_TLS)])
        self.whole(["broker: refused: " + text for text in CONNECT_REFUSED])


if __name__ == "__main__":
    unittest.main()
