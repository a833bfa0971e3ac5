"""The pins and their table; the virtual machine knows no more than a real one; the contract of a board."""

import unittest

from bench import Bench, open_pins

from dewboard import pin_table, pins
from dewcore.board import RESET_POWER, RESET_UNKNOWN, RESET_WATCHDOG, Board
from dewsim import virtual

COLUMNS = 15
SENSES = ("line_sense", "load_sense", "fan", "heat_call")


def numbers():
    """The pins of `dewboard.pins` by their names in the table."""
    found = {}
    for name in dir(pins):
        value = getattr(pins, name)
        if name.isupper() and isinstance(value, int) and not name.startswith(("I2C_", "WATCHDOG", "RESET_", "TYPE_")):
            found[name.lower()] = value
    found["i2c"] = (found.pop("sda"), found.pop("scl"))
    found["drain_wet"] = found.pop("drain")
    return found


class TestTable(unittest.TestCase):
    def test_every_net_has_its_row_with_its_pin_and_every_column(self):
        table = {}
        for row in pin_table.TABLE:
            self.assertEqual(len(row), COLUMNS)
            self.assertTrue(row[0] not in table)
            table[row[0]] = row[2]
            for cell in row[:1] + row[1:2] + row[3:]:
                self.assertTrue(isinstance(cell, str) and cell == cell.strip())
            for column in (0, 1, 3, 4, 5, 11, 14):
                self.assertTrue(row[column])
        self.assertEqual(table, numbers())

    def test_no_pin_is_used_twice_and_all_exist_on_the_board(self):
        used = []
        for row in pin_table.TABLE:
            used += list(row[2]) if isinstance(row[2], tuple) else [row[2]]
        self.assertEqual(len(used), len(set(used)))
        for number in used:
            # 23, 24, 25 and 29 serve the board's own supply and radio; 0 and 1 are left to the serial line
            self.assertTrue(2 <= number <= 22 or 26 <= number <= 28)

    def test_senses_light_above_5_and_below_16_volts_whatever_the_part(self):
        peak = 2.0**0.5
        for part in (0, 1, 2):
            threshold_v = pin_table.sense_threshold_v(part)
            self.assertTrue(1.2 * pin_table.MUST_OFF_VAC * peak < threshold_v < 0.8 * pin_table.MUST_ON_VAC * peak)

    def test_resistors_stand_30_volts_with_half_to_spare(self):
        watts = pin_table.resistor_w(pin_table.SURVIVES_VAC)
        self.assertTrue(abs(watts - 0.09) < 1e-9)
        told = [row[10] for row in pin_table.TABLE if row[0] in SENSES]
        self.assertEqual(told, ["0.09 at 30 VAC; fit 0.25"] * 4)


class TestPins(unittest.TestCase):
    def test_they_can_be_imported_without_any_hardware(self):
        self.assertFalse("machine" in dir(pins))
        self.assertFalse("_onewire" in dir(pins))

    def test_the_relay_is_the_first_pin_and_low(self):
        board = Bench().board
        opened = []
        original = virtual.Pin.__init__

        def watch(pin, number, mode=-1, pull=-1, *, value=None):
            opened.append((number, value))
            original(pin, number, mode, pull, value=value)

        virtual.Pin.__init__ = watch
        try:
            open_pins()
        finally:
            virtual.Pin.__init__ = original
        self.assertEqual(opened[0], (pins.RELAY, 0))
        self.assertFalse(board.relay_pin)

    def test_a_firmware_without_hard_timers_stops_before_there_is_a_relay(self):
        board = Bench().board
        original = virtual.Timer.init

        def soft(timer, *, mode, period, callback):
            return None

        virtual.Timer.init = soft
        try:
            with self.assertRaises(TypeError):
                open_pins()
        finally:
            virtual.Timer.init = original
        self.assertFalse(board.relay_pin)

    def test_why_the_board_started(self):
        bench = Bench()
        for cause, told in ((virtual.POWER, RESET_POWER), (virtual.WATCHDOG, RESET_WATCHDOG), (77, RESET_UNKNOWN)):
            bench.board.cause = cause
            self.assertEqual(bench.pins.reset_cause(), told)

    def test_all_outputs_are_low_at_first(self):
        board = Bench().board
        self.assertEqual(board.outputs, {pins.RELAY: 0, pins.LAMP: 0, pins.PROBE_DRIVE: 0})
        self.assertEqual(board.timers, [])

    def test_the_watchdogs_own_limits(self):
        for timeout_ms in (1000, 8388):
            self.assertEqual(Bench().pins.watchdog(timeout_ms).timeout_ms, timeout_ms)

    def test_the_chips_number(self):
        self.assertEqual(len(Bench().pins.unique_id()), 8)


class TestVirtual(unittest.TestCase):
    def test_unknown_names_words_pins_and_commands_fail_by_themselves(self):
        bench = Bench()
        import machine

        for name in ("PWM", "mem32", "SPI", "UART", "deepsleep", "RTC", "freq"):
            with self.assertRaises(AttributeError):
                getattr(machine, name)
        wrong = (
            (ValueError, lambda: machine.Pin(22, machine.Pin.IN)),
            (ValueError, lambda: machine.Pin(9, machine.Pin.OUT)),
            (ValueError, lambda: machine.ADC(28)),
            (ValueError, lambda: machine.Timer(0)),
            (ValueError, lambda: machine.WDT(timeout=9000)),
            (ValueError, lambda: machine.I2C(1, scl=machine.Pin(5), sda=machine.Pin(4), freq=100000, timeout=5000)),
            (TypeError, lambda: machine.Timer(-1).init(period=5, callback=None, soft=True)),
            (TypeError, lambda: machine.Pin(2, machine.Pin.OUT, drive=3)),
            (TypeError, lambda: bench.pins.fan.value(1)),
            (AttributeError, lambda: bench.pins.fan.irq()),
            (OSError, lambda: bench.pins.i2c.writeto(0x44, b"\x00\x01")),
            (OSError, lambda: bench.pins.i2c.writeto(0x21, b"\x00")),
            (KeyError, lambda: (bench.pins.wire.reset(), bench.pins.wire.write(0x33))),
            (ValueError, lambda: (bench.pins.wire.reset(), bench.pins.wire.write(0xCC), bench.pins.wire.write(0x4E))),
        )
        for error, call in wrong:
            with self.assertRaises(error):
                call()

    def test_it_refuses_to_stand_in_for_a_real_machine(self):
        class Real:
            platform = "rp2"

        original = virtual.sys
        virtual.sys = Real
        try:
            with self.assertRaises(ImportError):
                virtual.install(None)
        finally:
            virtual.sys = original

    def test_interrupts_come_in_their_order_and_on_time(self):
        board = Bench().board
        fired = []
        import machine

        timers = [machine.Timer(-1) for _ in range(3)]
        for n, period_ms in ((0, 30), (1, 10), (2, 20)):
            timers[n].init(
                mode=machine.Timer.ONE_SHOT,
                period=period_ms,
                callback=lambda timer: fired.append((timers.index(timer), board.us - began_us)),
                hard=True,
            )
        began_us = board.us
        timers[2].deinit()
        board.advance_us(100000)
        self.assertEqual(fired, [(1, 10000), (0, 30000)])
        board.advance_us(100000)
        self.assertEqual(len(fired), 2)


class TestContract(unittest.TestCase):
    def test_a_board_promises_nothing_by_itself_and_the_hardware_all_of_it(self):
        names = [name for name in dir(Board) if not name.startswith("_")]
        self.assertEqual(sorted(names), ["buttons", "drive", "feed", "lamp", "read"])
        arguments = {"buttons": (), "drive": (True,), "feed": (), "lamp": (0, 0), "read": (None, 0)}
        bench = Bench()
        self.assertTrue(isinstance(bench.hardware, Board))
        bench.hardware.feed()
        for name in names:
            with self.assertRaises(NotImplementedError):
                getattr(Board(), name)(*arguments[name])
            self.assertTrue(callable(getattr(bench.hardware, name)))

    def test_ten_minutes_of_faults_never_raises_and_never_takes_longer_than_it_may(self):
        bench = Bench()
        faults = ("", "nak", "crc", "stuck", "busy", "frozen", "ends")
        wires = ("dry", "wet", "open", "short", "live")
        for n in range(600):
            board = bench.board
            board.humidity_fault = faults[n // 7 % 7]
            board.leak = wires[n // 3 % 5]
            board.drain = wires[n // 4 % 5]
            board.wire_low = n // 50 % 4 == 3
            board.thermometer_faults = {"glass_c": ("nak", "crc", "power_on", "frozen")[n // 9 % 4]}
            board.terminal_live = n % 11 < 6
            board.fan_running = n % 13 < 9
            board.relay_fault = ("", "welded", "failed")[n // 17 % 3]
            if n % 23 == 0:
                board.hold_sda(n % 12)
            bench.beat(1, n % 5 < 3)
        self.assertTrue(bench.longest_us <= 80000)
        self.assertEqual(bench.board.resets, [])


if __name__ == "__main__":
    unittest.main()
