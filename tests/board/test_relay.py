"""The lease and the watchdog, judged at the simulated pin and contact only."""

import unittest

from bench import Bench, BoardReset, Hardware, install, open_pins

from dewboard.relay import Relay
from dewcore.board import RESET_POWER, RESET_WATCHDOG
from dewsim import virtual
from dewsim.virtual_time import NEVER

S = 1000000


class Level:
    """A pin, and a timer, that need no memory themselves."""

    def __init__(self):
        self.level = -1

    def value(self, level):
        self.level = level

    def start(self, period_ms, callback):
        pass

    def stop(self):
        pass


class TestRelay(unittest.TestCase):
    def setUp(self):
        self.bench = Bench()
        self.board = self.bench.board
        self.bench.furnace()
        self.bench.beat(2)

    def closed(self):
        """Pin, contact and valve, which agree while nothing is broken."""
        board = self.board
        self.assertEqual(board.relay_pin, board.contact_closed)
        self.assertEqual(board.contact_closed, board.valve_powered)
        return board.contact_closed

    def test_open_at_boot_and_when_the_pins_were_opened(self):
        board = virtual.VirtualBoard()
        install(board)
        self.assertFalse(board.relay_pin)  # floating: the pull-down
        pins = open_pins()
        self.assertFalse(board.relay_pin)
        self.assertEqual(pins.relay.value(), 0)

    def test_closes_when_driven_and_opens_when_told(self):
        self.bench.hardware.drive(True)
        self.assertTrue(self.closed())
        self.assertTrue(self.bench.hardware.relay.is_closed())
        self.bench.hardware.drive(False)
        self.assertFalse(self.closed())
        self.assertFalse(self.bench.hardware.relay.is_closed())
        self.board.advance_us(6 * S)
        self.assertFalse(self.closed())
        self.assertEqual(self.board.timers, [])

    def test_beats_renew_the_lease_for_as_long_as_they_come(self):
        for _ in range(30):
            self.bench.beat(1, True)
            self.assertTrue(self.closed())

    def test_off_five_seconds_into_a_blocked_call(self):
        self.bench.hardware.drive(True)
        self.bench.hardware.feed()
        self.board.advance_us(5 * S - 1)
        self.assertTrue(self.closed())
        self.board.block(0.000001)
        self.assertFalse(self.closed())
        self.assertFalse(self.bench.hardware.relay.is_closed())

    def test_a_lapsed_lease_can_be_taken_again(self):
        self.bench.hardware.drive(True)
        self.board.block(5.5)
        self.bench.hardware.feed()
        self.bench.beat(3, True)
        self.assertTrue(self.closed())
        self.board.block(5.5)
        self.assertFalse(self.closed())

    def test_a_lease_that_ran_out_while_interrupts_were_off_ends_when_they_are_back(self):
        self.bench.hardware.drive(True)
        self.bench.hardware.feed()
        self.board.block(6.99, irq=False)  # and back: what was due meanwhile happens now
        self.assertFalse(self.closed())

    def test_off_seven_seconds_in_with_interrupts_off(self):
        self.bench.hardware.drive(True)
        self.bench.hardware.feed()
        began_us = self.board.us
        self.board.masked = True
        self.board._schedule()
        self.board.sleep_us(6990000)
        self.assertTrue(self.closed())
        with self.assertRaises(BoardReset):
            self.board.sleep_us(20000)
        self.assertFalse(self.closed())
        self.assertEqual(self.board.resets[-1][0] - began_us, 7 * S)

    def test_a_block_for_good_is_ended_by_the_watchdog(self):
        self.bench.hardware.drive(True)
        self.bench.hardware.feed()
        with self.assertRaises(BoardReset):
            self.board.block(600.0, irq=False)
        self.assertFalse(self.closed())
        self.bench.start()
        self.assertFalse(self.closed())
        self.assertEqual(self.bench.pins.reset_cause(), RESET_WATCHDOG)

    def test_a_beat_that_drives_without_feeding_is_reset_all_the_same(self):
        with self.assertRaises(BoardReset):
            for _ in range(10):
                self.bench.hardware.drive(True)
                self.board.advance_us(S)
        self.assertFalse(self.closed())

    def test_a_soft_reset_keeps_the_pin_until_the_program_starts(self):
        self.bench.hardware.drive(True)
        self.board.soft_reset()
        self.assertTrue(self.board.relay_pin)
        self.assertEqual(self.board.timers, [])
        open_pins()
        self.assertFalse(self.closed())

    def test_a_soft_reset_into_nothing_is_ended_by_the_watchdog(self):
        self.bench.hardware.drive(True)
        self.bench.hardware.feed()
        self.board.soft_reset()
        with self.assertRaises(BoardReset):
            self.board.advance_us(7 * S)
        self.assertFalse(self.closed())

    def test_a_hard_reset_and_a_power_cut_float_the_pin(self):
        for cut, cause in ((self.bench.pins.reset, RESET_WATCHDOG), (self.board.power_cut, RESET_POWER)):
            self.bench.hardware.drive(True)
            self.assertTrue(self.closed())
            with self.assertRaises(BoardReset):
                cut()
            self.assertFalse(self.closed())
            self.bench.start()
            self.assertEqual(self.bench.pins.reset_cause(), cause)

    def test_nothing_of_a_program_that_was_reset_moves_the_pin(self):
        old = self.bench.hardware
        with self.assertRaises(BoardReset):
            self.board.power_cut()
        with self.assertRaises(RuntimeError):
            old.drive(True)
        self.assertFalse(self.closed())

    def test_no_relay_without_an_armed_watchdog(self):
        board = virtual.VirtualBoard()
        install(board)
        pins = open_pins()
        stopped, slow = Level(), Level()
        stopped.timeout_ms = 0
        slow.timeout_ms = 8389
        for watchdog in (None, object(), pins, stopped, slow):
            pins.relay.value(1)
            with self.assertRaises(ValueError):
                Relay(pins.relay, pins.timer, watchdog)
            self.assertFalse(board.relay_pin)
        with self.assertRaises((ValueError, AttributeError)):
            Hardware(pins, board, self.bench.settings, None, {})
        for wrong_ms in (0, 999, 8389, 60000):
            with self.assertRaises(ValueError):
                pins.watchdog(wrong_ms)
        self.assertEqual(board.dog_us, NEVER)
        Relay(pins.relay, pins.timer, pins.watchdog(7000)).close_contact()
        self.assertTrue(board.relay_pin)

    def test_a_timer_that_cannot_be_armed_leaves_the_contact_open(self):
        relay = self.bench.hardware.relay

        class Broken:
            def start(self, period_ms, callback):
                raise OSError(12)

        relay.timer = Broken()
        with self.assertRaises(OSError):
            relay.close_contact()
        self.assertFalse(self.closed())

    def test_the_lease_ends_without_memory(self):
        try:
            from micropython import heap_lock, heap_unlock
        except ImportError:  # CPython: nothing to lock; the same calls must work

            def heap_lock():
                pass

            heap_unlock = heap_lock
        pin = Level()
        relay = Relay(pin, self.bench.pins.timer, self.bench.watchdog)
        relay.timer = pin
        relay.close_contact()
        self.assertEqual(pin.level, 1)
        end = relay.end
        open_contact = relay.open_contact
        heap_lock()
        end(None)
        after_end = pin.level
        pin.level = 1
        open_contact()
        heap_unlock()
        self.assertEqual((after_end, pin.level), (0, 0))

    def test_broken_relays_show_at_the_contact(self):
        self.board.relay_fault = "welded"
        self.assertTrue(self.board.valve_powered)
        self.board.relay_fault = "failed"
        self.bench.hardware.drive(True)
        self.assertTrue(self.board.relay_pin)
        self.assertFalse(self.board.valve_powered)
        self.board.relay_fault = "driver"
        self.assertFalse(self.board.valve_powered)
        self.board.relay_fault = ""
        self.assertTrue(self.board.valve_powered)
        self.board.terminal_live = False
        self.assertFalse(self.board.valve_powered)


if __name__ == "__main__":
    unittest.main()
