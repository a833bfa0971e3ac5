"""Seconds from a counter that wraps: the tests begin just before it does."""

import unittest

from bench import Bench

from dewboard.clock import Clock
from dewsim.virtual import VirtualBoard
from dewsim.virtual_time import JUST_BEFORE_WRAP_MS, TICKS


class TestClock(unittest.TestCase):
    def test_the_virtual_counter_starts_five_seconds_before_its_wrap_and_wraps(self):
        board = VirtualBoard()
        self.assertEqual(board.ticks_ms(), TICKS - 5000)
        board.advance_us(4999000)
        self.assertEqual(board.ticks_ms(), TICKS - 1)
        board.advance_us(1000)
        self.assertEqual(board.ticks_ms(), 0)
        self.assertEqual(board.ticks_diff(3, TICKS - 2), 5)
        self.assertEqual(board.ticks_diff(TICKS - 2, 3), -5)

    def test_seconds_go_on_over_the_wrap(self):
        board = VirtualBoard(start_ms=JUST_BEFORE_WRAP_MS)
        clock = Clock(board)
        for second in range(12):
            self.assertEqual(clock.now_s(), second)
            board.advance_us(1000000)

    def test_parts_of_seconds_are_not_lost(self):
        board = VirtualBoard()
        clock = Clock(board)
        for _ in range(3000):
            board.advance_us(333400)
            clock.now_s()
        self.assertEqual(clock.now_s(), 1000)

    def test_a_second_is_over_after_its_last_millisecond(self):
        board = VirtualBoard()
        clock = Clock(board)
        board.advance_us(999999)
        self.assertEqual(clock.now_s(), 0)
        board.advance_us(1)
        self.assertEqual(clock.now_s(), 1)

    def test_the_counters_are_the_modules_own(self):
        board = VirtualBoard()
        clock = Clock(board)
        board.advance_us(123456)
        self.assertEqual((clock.ticks_us(), clock.ticks_ms()), (123456, JUST_BEFORE_WRAP_MS + 123))
        self.assertEqual(clock.ticks_add(TICKS - 1, 3), 2)
        self.assertEqual(clock.ticks_diff(2, TICKS - 1), 3)

    def test_hours_between_two_looks_count_in_full(self):
        board = VirtualBoard()
        clock = Clock(board)
        for _ in range(5):
            board.advance_us(3600000000)
        self.assertEqual(clock.now_s(), 18000)
        board.advance_us(500000000000)  # 5.8 days, the most that a look may be late
        self.assertEqual(clock.now_s(), 518000)

    def test_it_counts_from_its_own_start(self):
        board = VirtualBoard(start_ms=77)
        board.advance_us(99000000)
        clock = Clock(board)
        self.assertEqual(clock.now_s(), 0)

    def test_a_lease_over_the_wrap_lasts_five_seconds(self):
        bench = Bench()
        bench.furnace()
        bench.beat(3)
        bench.hardware.drive(True)  # two seconds before the wrap
        bench.board.advance_us(4999000)
        self.assertTrue(bench.board.contact_closed)
        bench.board.advance_us(2000)
        self.assertFalse(bench.board.contact_closed)


if __name__ == "__main__":
    unittest.main()
