"""The last events: the newest first, bounded in number and length, and no more heap than was taken at the start."""

import gc
import sys
import unittest

from dewboard.events import MOST, TEXT_BYTES, Events


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
        self.add("y" * (TEXT_BYTES - 1) + "°C", "z" * 500)
        self.assertEqual(texts(self.events), ["z" * TEXT_BYTES, "y" * (TEXT_BYTES - 1)])

    def test_one_that_comes_while_they_are_told_takes_none_twice_and_none_from_another_time(self):
        self.add(*["event %d" % n for n in range(MOST)])
        told = []
        for _, text in self.events:
            told.append(text)
            if len(told) == 2:
                self.add("new")
        self.assertEqual(told, ["event %d" % n for n in range(MOST - 1, 0, -1)])

    @unittest.skipUnless(sys.implementation.name == "micropython", "CPython does not tell its heap")
    def test_no_heap_is_kept(self):
        text = "settings changed: wish_pct"
        self.add(*[text] * MOST)
        gc.collect()
        before = gc.mem_alloc()
        for _ in range(3 * MOST):
            self.events.add(text)
        gc.collect()
        self.assertTrue(gc.mem_alloc() <= before)


if __name__ == "__main__":
    unittest.main()
