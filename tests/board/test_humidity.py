"""Humidity chips: the byte streams of the outside world, and every way in which a chip or its bus fails."""

import unittest

from bench import Bench
from sensor_rows import crc_rows, data_of, of, parts

from dewboard import humidity as h
from dewboard import pins
from dewcore.readings import ERROR_CHECKSUM, ERROR_NO_ANSWER, ERROR_OK, ERROR_RANGE, Sample
from dewsim.virtual_chips import WORD_CRC, Sht3xChip
from dewsim.virtual_chips import with_crc as virtual_crc


def frees_of(bench):
    """A list that gets one more entry at each stop by hand: whenever the bus was freed."""
    found = []
    level_of = bench.board.bus_level

    def listen(number, level):
        if (number, level) == (pins.SDA, 0):
            found.append(bench.board.us)
        level_of(number, level)

    bench.board.bus_level = listen
    return found


class Frames:
    """A bus whose chip says what it is told to."""

    def __init__(self, frame):
        self.frame = frame

    def readfrom_into(self, address, buffer):
        buffer[:] = self.frame


def word_frame(first, second):
    """Six bytes of an SHT chip from two words and their published CRCs."""
    return first[0] + bytes([first[1]]) + second[0] + bytes([second[1]])


def with_crc(data):
    """A word and its CRC by the virtual chips' own table, which shares nothing with the driver."""
    return virtual_crc(data, WORD_CRC, 0xFF)


def known_frames():
    """(chip, frame, °C or None, % RH or None) of every row with a whole reading in it."""
    found = []
    whole = data_of(of("SHT4x", "frame CRCs")[0][0])
    found.append((h.Sht4x, whole, float(of("SHT4x", "temperature C")[0][1]), float(of("SHT4x", "RH %")[0][1])))
    for word, text in of("SHT4x", "T, RH (unclamped), CRC"):
        temperature_c, rh_pct, crc = parts(text)
        data = data_of(word)
        frame = word_frame((data, crc), (data, crc))
        found.append((h.Sht4x, frame, temperature_c, min(100.0, max(0.0, rh_pct))))
    for word, crc in of("SHT4x", "RH % before clamp, CRC"):
        data = data_of(word)
        rh_pct = 100.0 if data[0] == 0xD9 else 0.0
        found.append((h.Sht4x, whole[:3] + data + bytes([int(crc, 16)]), None, rh_pct))
    first, second = of("SHT3x", "frame with CRC")[0]
    data = data_of(first)
    crcs = [int(text, 16) for text in second.split("/")]
    frame = word_frame((data[:2], crcs[0]), (data[2:], crcs[1]))
    found.append((h.Sht3x, frame, float(of("SHT3x", "temperature C")[0][1]), float(of("SHT3x", "RH %")[0][1])))
    for word, rh_pct in of("SHT3x", "RH %"):
        found.append((h.Sht3x, frame[:3] + with_crc(data_of(word)), None, float(rh_pct)))
    data, crc = of("AHT20", "CRC")[0]
    frame = data_of(data) + bytes([int(crc, 16)])
    found.append((h.Aht20, frame, float(of("AHT20", "temperature C")[0][1]), float(of("AHT20", "RH %")[0][1])))
    for data, text in of("AHT20", "constructed frame"):
        crc, rh_pct, temperature_c = parts(text)
        found.append((h.Aht20, data_of(data) + bytes([crc]), temperature_c, rh_pct))
    return found


def at_an_end(frame):
    """Whether one of an SHT frame's words, or of an AHT20 frame's RH, is all zeros or all ones."""
    if len(frame) == 7:
        return frame[1:3] == b"\0\0" or frame[1:3] == b"\xff\xff"
    return frame[:2] in (b"\0\0", b"\xff\xff") or frame[3:5] in (b"\0\0", b"\xff\xff")


class TestFrames(unittest.TestCase):
    def test_published_checksums(self):
        rows = crc_rows("Sensirion CRC-8")
        self.assertEqual(len(rows), 6)
        for data, crc in rows:
            self.assertEqual(h.crc8(data, 0, len(data)), crc)

    def test_the_published_serial_number_is_whole(self):
        chip = h.Sht4x(0)
        chip.frame[:] = data_of("DE AD 98 BE EF 92")
        self.assertTrue(chip._whole())

    def test_published_and_computed_frames(self):
        read = []
        ends = []
        for kind, frame, temperature_c, rh_pct in known_frames():
            chip = kind(0)
            error = chip.fetch(Frames(frame))
            if at_an_end(frame):
                ends.append(kind.NAME)
                self.assertEqual(error, ERROR_RANGE)
                continue
            read.append(kind.NAME)
            self.assertEqual(error, ERROR_OK)
            within = 0.05 if kind is h.Sht3x else 1e-3  # published to a tenth
            if temperature_c is not None:
                self.assertTrue(abs(chip.temperature_c - temperature_c) <= within)
            self.assertTrue(abs(chip.rh_pct - rh_pct) <= within)
        self.assertEqual([read.count(name) for name in ("SHT4x", "SHT3x", "AHT20")], [8, 10, 3])
        self.assertEqual([ends.count(name) for name in ("SHT4x", "SHT3x", "AHT20")], [2, 2, 1])

    def test_every_flipped_bit_is_a_checksum_error(self):
        count = 0
        for kind, frame, _, _ in known_frames():
            for bit in range(8 * len(frame)):
                if kind is h.Aht20 and bit == 7:
                    continue  # the busy bit
                wrong = bytearray(frame)
                wrong[bit >> 3] ^= 1 << (bit & 7)
                self.assertEqual(kind(0).fetch(Frames(bytes(wrong))), ERROR_CHECKSUM)
                count += 1
        self.assertTrue(count > 1200)

    def test_the_ends_of_either_word_are_no_readings(self):
        for kind in (h.Sht4x, h.Sht3x):
            for first, second in ((0, 0x80), (0xFF, 0x80), (0x66, 0), (0x66, 0xFF)):
                frame = with_crc(bytes([first, first])) + with_crc(bytes([second, second]))
                self.assertEqual(kind(0).fetch(Frames(frame)), ERROR_RANGE)
            frame = with_crc(b"\0\1") + with_crc(b"\xff\xfe")
            self.assertEqual(kind(0).fetch(Frames(frame)), ERROR_OK)
        for rh, t in ((0, 5), (0xFFFFF, 5), (5, 0), (5, 0xFFFFF)):
            data = bytes([0x1C, rh >> 12, rh >> 4 & 255, (rh & 15) << 4 | t >> 16, t >> 8 & 255, t & 255])
            self.assertEqual(h.Aht20(0).fetch(Frames(with_crc(data))), ERROR_RANGE)

    def test_a_busy_chip_has_no_reading(self):
        frame = bytearray(with_crc(bytes([0x1C, 0x66, 0x66, 0x65, 0x99, 0x9A])))
        self.assertEqual(h.Aht20(0).fetch(Frames(frame)), ERROR_OK)
        frame[0] |= 0x80
        self.assertEqual(h.Aht20(0).fetch(Frames(frame)), ERROR_NO_ANSWER)


class TestOnTheBoard(unittest.TestCase):
    def bench(self, chip="sht4x", **changes):
        bench = Bench(changes or {"has_room": 0}, chip=chip)
        bench.board.indoor_c = 21.3
        bench.board.rh_pct = 27.4
        return bench

    def read_right(self, bench):
        """The last readings are those of the air, and fresh."""
        r = bench.readings
        now_s = bench.clock.now_s()
        return (
            (r.indoor_c.error, r.rh_pct.error) == (ERROR_OK, ERROR_OK)
            and abs(r.indoor_c.value - bench.board.indoor_c) < 0.01
            and abs(r.rh_pct.value - bench.board.rh_pct) < 0.01
            and now_s - 6 <= r.rh_pct.at_s == r.indoor_c.at_s <= now_s
        )

    def test_each_chip_is_found_and_read(self):
        for chip, name in (("sht4x", "SHT4x"), ("sht3x", "SHT3x"), ("aht20", "AHT20")):
            bench = self.bench(chip)
            self.assertFalse(self.read_right(bench))
            bench.beat(15)
            self.assertEqual(bench.hardware.humidity.name, name)
            self.assertTrue(self.read_right(bench))
            bench.board.rh_pct = 55.5
            bench.board.indoor_c = 3.9
            bench.beat(7)
            self.assertTrue(self.read_right(bench))
            self.assertTrue(bench.longest_us <= 80000)

    def test_the_room_has_its_own_chip(self):
        bench = self.bench(has_room=1)
        bench.board.room_c = 16.5
        bench.board.room_rh_pct = 44.0
        bench.beat(8)
        self.assertTrue(abs(bench.readings.room_c.value - 16.5) < 0.01)
        self.assertTrue(abs(bench.readings.room_rh_pct.value - 44.0) < 0.01)
        self.assertTrue(self.read_right(bench))
        bench.board.chips[0x45] = Sht3xChip(bench.board, "room_c", "room_rh_pct")
        bench.board.room_rh_pct = 48.0
        bench.beat(40)
        self.assertTrue(abs(bench.readings.room_rh_pct.value - 48.0) < 0.01)
        self.assertEqual(bench.hardware.room.name, "SHT3x")
        del bench.board.chips[0x45]
        bench.beat(20)
        self.assertEqual(bench.readings.room_c.error, ERROR_NO_ANSWER)
        self.assertTrue(self.read_right(bench))
        bare = self.bench(has_room=0)
        bare.beat(8)
        self.assertEqual(bare.readings.room_c.at_s, -1)

    def test_a_fault_keeps_the_last_value_and_names_itself_and_ends_by_itself(self):
        errors = {"nak": ERROR_NO_ANSWER, "crc": ERROR_CHECKSUM, "ends": ERROR_RANGE, "busy": ERROR_NO_ANSWER}
        for chip in ("sht4x", "sht3x", "aht20"):
            for fault in errors:
                bench = self.bench(chip)
                bench.beat(15)
                self.assertTrue(self.read_right(bench))
                good_s = bench.readings.rh_pct.at_s
                bench.board.humidity_fault = fault
                bench.board.rh_pct = 60.0
                told = []
                for _ in range(40):
                    bench.beat()
                    told.append(bench.readings.rh_pct.error)
                    self.assertTrue(abs(bench.readings.rh_pct.value - 27.4) < 0.01)
                self.assertTrue(errors[fault] in told[:7])
                self.assertFalse(ERROR_OK in told[7:])
                self.assertTrue(bench.readings.rh_pct.at_s <= good_s + 5)
                self.assertTrue(bench.longest_us <= 80000)
                bench.board.humidity_fault = ""
                for chip_there in bench.board.chips.values():
                    chip_there.ready_us = 0
                bench.beat(20)
                self.assertTrue(self.read_right(bench))

    def test_one_wrong_frame_is_tried_again_in_the_next_beats(self):
        bench = self.bench()
        bench.beat(15)
        before_s = bench.readings.rh_pct.at_s
        bench.board.humidity_fault = "crc"
        while bench.readings.rh_pct.error == ERROR_OK:
            bench.beat()
        bench.board.humidity_fault = ""
        bench.beat(2)
        self.assertTrue(self.read_right(bench))
        self.assertTrue(bench.readings.rh_pct.at_s - before_s <= 8)

    def test_with_every_third_frame_wrong_no_reading_gets_old(self):
        for chip in ("sht4x", "sht3x", "aht20"):
            bench = self.bench(chip)
            bench.beat(15)
            wrong = 0
            for n in range(300):
                bench.board.humidity_fault = "crc" if n * 5 % 11 < 4 else ""
                bench.beat()
                wrong += bench.readings.rh_pct.error == ERROR_CHECKSUM
                self.assertTrue(bench.clock.now_s() - bench.readings.rh_pct.at_s <= 15)
            self.assertTrue(wrong >= 15)

    def test_a_chip_cut_off_in_mid_byte_lets_go_after_nine_clocks(self):
        for chip in ("sht4x", "sht3x", "aht20"):
            for clocks in (1, 5, 9):
                bench = self.bench(chip)
                bench.beat(15)
                frees = frees_of(bench)
                bench.board.hold_sda(clocks)
                bench.beat(10)
                self.assertTrue(self.read_right(bench))
                self.assertEqual(len(frees), 1)

    def test_a_bus_is_freed_with_nine_clocks_and_a_stop(self):
        bench = self.bench()
        bench.pins.i2c.free()
        scl, sda = pins.SCL, pins.SDA
        clocks = [(scl, 0), (scl, 1)] * 9
        stop = [(scl, 0), (sda, 0), (scl, 1), (sda, 1)]
        self.assertEqual(bench.board.bus_levels, [(sda, 1), (scl, 1)] + clocks + stop)
        bench.pins.i2c.writeto(0x44, b"\x94")

    def test_the_chip_is_reset_before_it_is_asked_who_it_is(self):
        for chip, address, reset in (("sht4x", 0x44, b"\x94"), ("sht3x", 0x44, b"\x30\xa2"), ("aht20", 0x38, b"\xba")):
            bench = self.bench(chip)
            there = bench.board.chips[address]
            heard = []
            write = there.write

            def listen(command, heard=heard, write=write):
                heard.append(command)
                return write(command)

            there.write = listen
            bench.beat(10)
            self.assertTrue(reset in heard)
            humidity = bench.hardware.humidity
            self.assertTrue(heard.index(reset) < heard.index(humidity.chips[humidity.n].MEASURE))

    def test_a_reading_every_five_seconds(self):
        bench = self.bench()
        bench.beat(10)
        stamps = []
        for _ in range(40):
            bench.beat()
            if bench.readings.rh_pct.at_s not in stamps:
                stamps.append(bench.readings.rh_pct.at_s)
        self.assertEqual([stamps[n + 1] - stamps[n] for n in range(7)], [5] * 7)

    def test_a_chip_that_does_not_acknowledge_frees_the_bus_at_the_third_failure_and_is_lost_at_the_sixth(self):
        bench = self.bench()
        bench.beat(10)
        humidity = bench.hardware.humidity
        frees = frees_of(bench)
        bench.board.humidity_fault = "nak"
        while humidity.failures == 0:
            bench.beat()
        seen = []
        for _ in range(5):
            seen.append((humidity.failures, len(frees), humidity.name))
            bench.beat()
        self.assertEqual(seen, [(1, 0, "SHT4x"), (2, 0, "SHT4x"), (3, 1, "SHT4x"), (4, 1, "SHT4x"), (5, 1, "SHT4x")])
        self.assertEqual((humidity.failures, len(frees), humidity.name), (0, 1, ""))
        bench.beat(3)
        self.assertEqual(len(frees), 2)  # once a round of the search
        bench.board.humidity_fault = ""
        bench.beat(10)
        self.assertEqual((humidity.name, humidity.failures), ("SHT4x", 0))
        bench.board.humidity_fault = "crc"
        while humidity.failures == 0:
            bench.beat()
        bench.board.humidity_fault = ""
        bench.beat(4)
        self.assertEqual(humidity.failures, 0)

    def test_also_where_the_board_was_reset_in_the_middle_of_a_read(self):
        bench = self.bench()
        bench.board.hold_sda(9)
        bench.beat(10)
        self.assertTrue(self.read_right(bench))

    def test_a_data_line_held_for_good_costs_no_beat_more_than_it_may(self):
        bench = self.bench()
        bench.beat(10)
        bench.board.humidity_fault = "stuck"
        bench.longest_us = 0
        bench.beat(60)
        self.assertEqual(bench.readings.rh_pct.error, ERROR_NO_ANSWER)
        self.assertEqual(bench.readings.indoor_c.error, ERROR_NO_ANSWER)
        self.assertTrue(bench.longest_us <= 80000)
        self.assertEqual(bench.hardware.humidity.name, "")
        bench.board.humidity_fault = ""
        bench.beat(12)
        self.assertTrue(self.read_right(bench))

    def test_no_chip_at_boot_and_one_plugged_in_later(self):
        bench = self.bench()
        chips = bench.board.chips
        bench.board.chips = {}
        bench.beat(30)
        self.assertEqual(bench.hardware.humidity.name, "")
        self.assertEqual((bench.readings.rh_pct.at_s, bench.readings.rh_pct.error), (-1, ERROR_NO_ANSWER))
        bench.board.chips = chips
        bench.beat(12)
        self.assertTrue(self.read_right(bench))

    def test_another_chip_in_its_place_is_found_too(self):
        bench = self.bench("sht4x")
        bench.beat(10)
        bench.board.chips = self.bench("aht20").board.chips
        for chip in bench.board.chips.values():
            chip.board = bench.board
        bench.beat(40)
        self.assertEqual(bench.hardware.humidity.name, "AHT20")
        self.assertTrue(self.read_right(bench))

    def test_a_frozen_chip_reads_on(self):
        bench = self.bench()
        bench.beat(10)
        bench.board.humidity_fault = "frozen"
        bench.board.rh_pct = 70.0
        bench.beat(20)
        self.assertTrue(abs(bench.readings.rh_pct.value - 27.4) < 0.01)
        self.assertEqual(bench.readings.rh_pct.error, ERROR_OK)
        self.assertTrue(bench.readings.rh_pct.at_s >= 25)

    def test_the_counts_are_the_chips_own_limits(self):
        sample, rh = Sample(), Sample()
        bench = self.bench()
        bench.board.rh_pct = 0.0
        bench.board.indoor_c = -10.0
        for now_s in range(8):
            bench.hardware.humidity.step(sample, rh, now_s)
            bench.board.advance_us(800000)
        self.assertTrue(abs(sample.value + 10.0) < 0.01)
        self.assertTrue(0.0 <= rh.value < 0.01)


class TestHeater(unittest.TestCase):
    def test_a_pulse_after_ten_minutes_of_wet_readings_and_none_believed_while_it_is_warm(self):
        bench = Bench()
        bench.board.rh_pct = 98.5
        errors = []
        for _ in range(760):
            bench.beat()
            errors.append(bench.readings.rh_pct.error)
        self.assertEqual(len(bench.board.heated), 1)
        at_s = bench.board.heated[0] // 1000000
        self.assertTrue(600 <= at_s <= 615)
        warm = [n for n in range(20, 760) if errors[n] == ERROR_NO_ANSWER]
        self.assertEqual(warm, list(range(at_s, at_s + 61)))
        self.assertEqual(bench.readings.indoor_c.error, ERROR_OK)

    def test_at_most_one_pulse_an_hour(self):
        bench = Bench()
        bench.board.rh_pct = 100.0
        humidity = bench.hardware.humidity
        sample, rh = Sample(), Sample()
        for now_s in range(10000):
            humidity.step(sample, rh, now_s)
            bench.board.sleep_us(1000000 if now_s % 6 else 990000)
            bench.hardware.feed()
        self.assertEqual(len(bench.board.heated), 3)
        for n in range(2):
            gap_us = bench.board.heated[n + 1] - bench.board.heated[n]
            self.assertTrue(3590000000 <= gap_us <= 3700000000)

    def test_dry_moments_begin_afresh_and_chips_without_a_heater_are_left_alone(self):
        bench = Bench()
        for n in range(1300):
            bench.board.rh_pct = 99.0 if n % 500 < 490 else 90.0
            bench.beat()
        self.assertEqual(bench.board.heated, [])
        for chip in ("sht3x", "aht20"):
            bench = Bench(chip=chip)
            bench.board.rh_pct = 99.0
            bench.beat(700)
            self.assertEqual(bench.board.heated, [])
            self.assertEqual(bench.readings.rh_pct.error, ERROR_OK)


if __name__ == "__main__":
    unittest.main()
