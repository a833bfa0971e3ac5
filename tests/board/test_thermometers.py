"""1-Wire thermometers: published codes and temperatures, told apart by code, and each way of failing."""

import unittest

from bench import Bench
from sensor_rows import crc_rows, data_of, of

from dewboard import thermometers as t
from dewcore.readings import ERROR_CHECKSUM, ERROR_NO_ANSWER, ERROR_OK, Readings
from dewsim.virtual_chips import with_crc
from dewsim.virtual_wire import WIRE_CRC, Thermometer

CODE = "28AA1E2C1D13026E"  # a published code, and its CRC


class Line:
    """A line with one thermometer whose scratchpad is given."""

    def __init__(self, pad):
        self.pad = pad
        self.sent = []
        self.n = 0

    def reset(self):
        self.n = 0
        return True

    def write(self, value):
        self.sent.append(value)

    def read(self):
        self.n += 1
        return self.pad[self.n - 1]


def pad_of(raw, configuration=0x7F):
    """A scratchpad with a right CRC."""
    pad = bytes([raw & 255, raw >> 8, 0x4B, 0x46, configuration, 0xFF, 0x0C, 0x10])
    return pad + bytes([t.crc8(pad, 8)])


def read_pads(pads):
    """The outdoor sample after one round a pad."""
    readings = Readings()
    line = Line(pads[0])
    thermometers = t.Thermometers(line, {"outdoor_c": CODE})
    now_s = 0
    for pad in pads:
        line.pad = pad
        thermometers.step(readings, now_s)
        thermometers.step(readings, now_s + 2)
        now_s += 5
    return readings.outdoor_c


class TestBytes(unittest.TestCase):
    def test_published_checksums(self):
        rows = crc_rows("DS18B20 CRC")
        self.assertEqual(len(rows), 7)
        for data, crc in rows:
            self.assertEqual(t.crc8(data, len(data)), crc)

    def test_published_temperatures(self):
        rows = of("DS18B20", "temperature C")
        self.assertEqual(len(rows), 11)
        for text, value in rows:
            word = data_of(text)
            pads = [pad_of(word[0] << 8 | word[1])]
            if text == "0x0550":
                pads.insert(0, pad_of(0x0540))
            sample = read_pads(pads)
            self.assertEqual((sample.error, sample.value), (ERROR_OK, float(value)))

    def test_published_scratchpads(self):
        for text, crc in (row[:2] for row in scratchpads()):
            pad = data_of(text) + bytes([crc])
            for bit in range(72):
                wrong = bytearray(pad)
                wrong[bit >> 3] ^= 1 << (bit & 7)
                sample = read_pads([bytes(wrong)])
                self.assertEqual((sample.error, sample.at_s), (ERROR_CHECKSUM, -1))
        self.assertEqual(read_pads([data_of("91 01 4B 46 7F FF 0F 10 25")]).value, 25.0625)
        self.assertEqual(read_pads([data_of("5E FF 4B 46 7F FF 02 10 B6")]).value, -10.125)
        self.assertEqual(read_pads([data_of("50 05 4B 46 7F FF 0C 10 1C")]).error, ERROR_NO_ANSWER)

    def test_nobody_and_a_line_held_low_are_no_readings(self):
        for value in (0x00, 0xFF):
            sample = read_pads([bytes([value] * 9)])
            self.assertEqual((sample.error, sample.at_s), (ERROR_NO_ANSWER, -1))

    def test_the_power_on_value_counts_only_after_a_reading_near_it(self):
        self.assertEqual(read_pads([pad_of(0x0550)]).error, ERROR_NO_ANSWER)
        cold = read_pads([pad_of(0x0191), pad_of(0x0550)])
        self.assertEqual((cold.error, cold.value, cold.at_s), (ERROR_NO_ANSWER, 25.0625, 2))
        near = read_pads([pad_of(0x0550 - 160), pad_of(0x0550)])
        self.assertEqual((near.error, near.value, near.at_s), (ERROR_OK, 85.0, 7))
        far = read_pads([pad_of(0x0550 - 161), pad_of(0x0550)])
        self.assertEqual(far.error, ERROR_NO_ANSWER)
        self.assertEqual(read_pads([pad_of(0x0551)]).value, 85.0625)

    def test_a_reading_before_a_silence_vouches_for_no_85_degrees(self):
        for silence in (bytes([0xFF] * 9), bytes(9)):
            after = read_pads([pad_of(0x0500), silence, pad_of(0x0550)])
            self.assertEqual((after.error, after.value), (ERROR_NO_ANSWER, 80.0))

    def test_a_conversion_has_its_time_even_where_the_beats_come_close(self):
        line = Line(pad_of(0x0191))
        thermometers = t.Thermometers(line, {"outdoor_c": CODE})
        readings = Readings()
        thermometers.step(readings, 0)
        thermometers.step(readings, 1)  # may be a few milliseconds later
        self.assertEqual((len(line.sent), readings.outdoor_c.at_s), (2, -1))
        thermometers.step(readings, 2)
        self.assertEqual(readings.outdoor_c.at_s, 2)

    def test_what_goes_over_the_wire(self):
        readings = Readings()
        line = Line(pad_of(0x0191))
        thermometers = t.Thermometers(line, {"glass_c": data_of("28 AA 1E 2C 1D 13 02 6E")})
        for now_s in range(5):
            thermometers.step(readings, now_s)
        self.assertEqual(line.sent, [0xCC, 0x44, 0x55, 0x28, 0xAA, 0x1E, 0x2C, 0x1D, 0x13, 0x02, 0x6E, 0xBE])
        self.assertEqual(readings.glass_c.value, 25.0625)
        self.assertEqual((readings.outdoor_c.at_s, readings.supply_c.at_s), (-1, -1))

    def test_codes_that_make_no_sense_are_refused_with_their_place(self):
        wrong = (
            ({"cellar_c": CODE}, "cellar_c"),
            ({"outdoor_c": CODE[:-1]}, "outdoor_c"),
            ({"outdoor_c": CODE[:-2] + "6F"}, "outdoor_c"),
            ({"outdoor_c": "zz" + CODE[2:]}, "outdoor_c"),
            ({"outdoor_c": 28}, "outdoor_c"),
            ({"outdoor_c": b"\x28\xaa"}, "outdoor_c"),
            ({"outdoor_c": bytes(8)}, "outdoor_c"),
            ({"outdoor_c": "101CB80100000000"}, "outdoor_c"),
            ({"glass_c": CODE, "supply_c": CODE.lower()}, "supply_c"),
        )
        for codes, place in wrong:
            refusal = ""
            try:
                t.Thermometers(None, codes)
            except ValueError as refused:
                refusal = str(refused)
            self.assertTrue(refusal.startswith("thermometer " + place + ": "))
            self.assertTrue("\n" not in refusal)


def scratchpads():
    """(bytes as text, CRC) of the published scratchpads."""
    from sensor_rows import rows

    found = []
    for row in rows():
        if row["quantity"] == "scratchpad CRC":
            text = row["input"]
            found.append((text, int(row["computed_value"].split("x")[1], 16)))
    assert len(found) == 3
    return found


class TestOnTheBoard(unittest.TestCase):
    def setUp(self):
        self.bench = Bench()
        self.board = self.bench.board
        self.board.outdoor_c = -12.3125
        self.board.glass_c = 8.5
        self.board.supply_c = 51.0625

    def values(self):
        r = self.bench.readings
        return (r.outdoor_c.value, r.glass_c.value, r.supply_c.value)

    def errors(self):
        r = self.bench.readings
        return (r.outdoor_c.error, r.glass_c.error, r.supply_c.error)

    def test_each_in_its_place_within_six_beats_and_again_every_five(self):
        self.bench.beat(6)
        self.assertEqual(self.values(), (-12.3125, 8.5, 51.0625))
        self.assertEqual(self.errors(), (ERROR_OK,) * 3)
        self.board.outdoor_c = -0.0625
        self.board.supply_c = 20.0
        self.bench.beat(10)
        self.assertEqual(self.values(), (-0.0625, 8.5, 20.0))
        now_s = self.bench.clock.now_s()
        for name in ("outdoor_c", "glass_c", "supply_c"):
            self.assertTrue(now_s - getattr(self.bench.readings, name).at_s <= 6)
        self.assertTrue(self.bench.longest_us <= 80000)

    def test_a_swapped_table_swaps_the_readings(self):
        codes = self.board.rom_codes()
        codes["outdoor_c"], codes["supply_c"] = codes["supply_c"], codes["outdoor_c"]
        bench = Bench(codes=codes)
        bench.board.outdoor_c = -10.0
        bench.board.supply_c = 50.0
        bench.beat(6)
        self.assertEqual((bench.readings.outdoor_c.value, bench.readings.supply_c.value), (50.0, -10.0))

    def test_without_codes_nothing_is_touched_and_the_search_lists_all(self):
        bench = Bench(codes={})
        bench.readings.outdoor_c.set(-3.0, 77)  # a feed's
        bench.beat(12)
        self.assertEqual((bench.readings.outdoor_c.value, bench.readings.outdoor_c.at_s), (-3.0, 77))
        found = bench.hardware.thermometers.search()
        codes = [thermometer.code for thermometer in bench.board.wire.thermometers]
        self.assertEqual(sorted(found), sorted(codes))

    def test_the_search_lists_those_that_have_no_place_too_and_readings_go_on(self):
        codes = self.board.rom_codes()
        spare = codes.pop("glass_c")
        bench = Bench(codes=codes)
        bench.board.outdoor_c = -5.0
        bench.beat(6)
        self.assertTrue(t.code_from("glass_c", spare) in bench.hardware.thermometers.search())
        bench.board.outdoor_c = -6.0
        bench.beat(8)
        self.assertEqual(bench.readings.outdoor_c.value, -6.0)

    def test_the_search_finds_up_to_eight_whatever_their_codes(self):
        wire = self.board.wire
        for numbers in ((1,), (1, 2), (0, 1, 3, 2, 128, 129, 255), tuple(range(8)), tuple(range(0, 256, 16))):
            wire.thermometers = [Thermometer("outdoor_c", number) for number in numbers]
            found = self.bench.hardware.thermometers.search()
            codes = [thermometer.code for thermometer in wire.thermometers]
            self.assertEqual(len(set(found)), min(8, len(codes)))
            self.assertTrue(all(code in codes for code in found))
        self.board.advance_us(1)

    def test_the_search_passes_over_other_families(self):
        wire = self.board.wire
        stranger = Thermometer("outdoor_c", 7)
        stranger.code = with_crc(bytes([0x01, 2, 3, 4, 5, 6, 7]), WIRE_CRC, 0)
        kin = Thermometer("glass_c", 9)
        kin.code = with_crc(bytes([0x22, 2, 3, 4, 5, 6, 7]), WIRE_CRC, 0)
        wire.thermometers = [stranger, kin] + wire.thermometers
        found = self.bench.hardware.thermometers.search()
        self.assertEqual(len(found), 4)
        self.assertTrue(kin.code in found and stranger.code not in found)

    def test_the_search_ends_where_everybody_leaves_in_the_middle(self):
        wire = self.board.wire
        read_bit = wire.read_bit
        count = []

        def leaving():
            count.append(1)
            return read_bit() if len(count) < 40 else 1

        wire.read_bit = leaving
        self.assertEqual(self.bench.hardware.thermometers.search(), [])
        self.assertTrue(len(count) <= 42)

    def test_the_search_of_an_empty_or_broken_line_ends(self):
        self.board.thermometer_faults = {"outdoor_c": "nak", "glass_c": "nak", "supply_c": "nak"}
        self.assertEqual(self.bench.hardware.thermometers.search(), [])
        self.board.thermometer_faults = {"glass_c": "nak"}
        self.assertEqual(len(self.bench.hardware.thermometers.search()), 2)
        self.board.wire_low = True
        began_us = self.board.us
        self.assertEqual(self.bench.hardware.thermometers.search(), [])
        self.assertTrue(self.board.us - began_us < 200000)

    def test_one_that_fails_leaves_the_others_alone_and_comes_back(self):
        faults = {"nak": ERROR_NO_ANSWER, "crc": ERROR_CHECKSUM, "power_on": ERROR_NO_ANSWER}
        for fault in faults:
            self.bench.beat(6)
            before = self.bench.readings.outdoor_c.at_s
            self.board.thermometer_faults = {"outdoor_c": fault}
            self.bench.beat(10)
            self.assertEqual(self.errors(), (faults[fault], ERROR_OK, ERROR_OK))
            self.assertEqual(self.values(), (-12.3125, 8.5, 51.0625))
            self.assertTrue(self.bench.readings.outdoor_c.at_s <= before + 5)
            self.board.thermometer_faults = {}
            self.bench.beat(12)
            self.assertEqual(self.errors(), (ERROR_OK,) * 3)

    def test_nobody_on_the_line_at_all(self):
        self.bench.beat(6)
        self.board.thermometer_faults = {"outdoor_c": "nak", "glass_c": "nak", "supply_c": "nak"}
        self.bench.beat(10)
        self.assertEqual(self.errors(), (ERROR_NO_ANSWER,) * 3)
        self.board.supply_c = 85.0
        self.board.thermometer_faults = {}
        self.bench.beat(10)
        self.assertEqual(self.errors(), (ERROR_OK, ERROR_OK, ERROR_NO_ANSWER))  # the last reading vouches no more
        self.board.supply_c = 51.0625
        self.board.wire_low = True
        self.bench.beat(10)
        self.assertEqual(self.errors(), (ERROR_NO_ANSWER,) * 3)
        self.assertEqual(self.values(), (-12.3125, 8.5, 51.0625))

    def test_a_power_cut_of_the_line_shows_no_85_degrees(self):
        self.bench.beat(6)
        for n in range(30):
            if n == 10:
                self.board.wire.power_on()
            self.bench.beat()
            self.assertEqual(self.values(), (-12.3125, 8.5, 51.0625))
        self.assertEqual(self.errors(), (ERROR_OK,) * 3)

    def test_a_frozen_one_reads_on(self):
        self.bench.beat(6)
        self.board.thermometer_faults = {"outdoor_c": "frozen"}
        self.board.outdoor_c = 5.0
        self.bench.beat(10)
        self.assertEqual(self.values()[0], -12.3125)
        self.assertEqual(self.errors(), (ERROR_OK,) * 3)


if __name__ == "__main__":
    unittest.main()
