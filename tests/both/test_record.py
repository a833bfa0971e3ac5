"""The minute record: each field there and back with its own value, 'none' for what is missing, its size."""

import unittest

from dewcore import record
from dewcore import words as w

PACKED = [row for row in record.FIELDS if row[2]]
NAN = float("nan")
INF = float("inf")


def own_values():
    """Another value for each packed field, a whole number of its steps, negative where the code allows."""
    values = {}
    for n in range(len(PACKED)):
        name, _, code, scale, _, _ = PACKED[n]
        steps = 3 + 7 * n
        if code == "h":
            steps = -steps
        values[name] = steps if scale == 1 else steps / scale
    return values


class TestRoundTrip(unittest.TestCase):
    def test_every_field_comes_back_as_its_own(self):
        values = own_values()
        self.assertEqual(len(set(values.values())), len(PACKED))
        back = record.unpack(record.pack(values))
        self.assertEqual(set(back), set(values))
        for name in values:
            self.assertAlmostEqual(back[name], values[name], delta=1e-5)

    def test_one_field_alone_moves_no_other(self):
        for row in PACKED:
            back = record.unpack(record.pack({row[0]: own_values()[row[0]]}))
            for name in back:
                self.assertEqual(back[name] is None, name != row[0])

    def test_missing_and_nan_are_none(self):
        self.assertEqual(set(record.unpack(record.pack({})).values()), {None})
        for row in PACKED:
            self.assertIsNone(record.unpack(record.pack({row[0]: NAN}))[row[0]])
            self.assertIsNone(record.unpack(record.pack({row[0]: None}))[row[0]])

    def test_what_does_not_fit_is_held_at_the_end_and_is_never_none(self):
        ends = {"h": (-32767, 32767), "H": (0, 65534), "B": (0, 254)}
        for name, _, code, scale, _, _ in PACKED:
            for value, end in ((-INF, 0), (-1e9, 0), (1e9, 1), (INF, 1)):
                back = record.unpack(record.pack({name: value}))[name]
                self.assertAlmostEqual(back, ends[code][end] / scale, delta=0.001)

    def test_halves_are_rounded_away_from_zero(self):
        self.assertEqual(record.scaled(1.125, "h", 100), 113)
        self.assertEqual(record.scaled(-1.125, "h", 100), -113)
        self.assertEqual(record.scaled(-0.0, "h", 100), 0)

    def test_less_than_half_a_step_is_dropped(self):
        for value, code, number in ((1.497, "h", 1), (-1.497, "h", -1), (1.497, "B", 1), (0.0, "h", 0)):
            self.assertEqual(record.scaled(value, code, 1), number)

    def test_a_little_past_the_end_is_held_there(self):
        for value, code, number in ((327.68, "h", 32767), (-327.68, "h", -32767), (655.36, "H", 65534)):
            self.assertEqual(record.scaled(value, code, 100), number)

    def test_a_code_comes_back_whole(self):
        self.assertTrue(isinstance(record.unpack(record.pack({"reason": 7}))["reason"], int))
        self.assertTrue(isinstance(record.unpack(record.pack({"fan": 1.0}))["fan"], float))

    def test_every_scale_by_hand(self):
        # times 100: 1.23 -> 123, 4.56 -> 456 = 1 * 256 + 200, 7.89 -> 789 = 3 * 256 + 21, -0.25 -> -25,
        # 60.00 -> 6000 = 23 * 256 + 112, 37.00 -> 3700 = 14 * 256 + 116; times 200: 0.25 -> 50, 0.75 -> 150
        data = record.pack(
            {
                "outdoor_c": 1.23,
                "indoor_c": 4.56,
                "rh_pct": 7.89,
                "glass_c": -0.25,
                "ceiling_pct": 60.0,
                "target_pct": 37.0,
                "fan": 0.25,
                "valve": 0.75,
                "reason": 9,
                "look": 2,
            }
        )
        by_hand = bytes([123, 0, 200, 1, 21, 3, 256 - 25, 255, 112, 23, 116, 14, 50, 150, 9, 2])
        self.assertEqual(data, by_hand)

    def test_packed_by_hand(self):
        # little endian: -12.34 -> -1234 = 0xFB2E; 21.00 -> 2100 = 0x0834; 35.50 -> 3550 = 0x0DDE
        data = record.pack({"outdoor_c": -12.34, "indoor_c": 21.0, "rh_pct": 35.5, "fan": 0.5, "valve": 1.0})
        self.assertEqual(data[:6], b"\x2e\xfb\x34\x08\xde\x0d")
        self.assertEqual(data[12:14], bytes([100, 200]))

    def test_another_length_is_refused(self):
        for data in (b"", b"\x00" * (record.SIZE - 1), b"\x00" * (record.SIZE + 1)):
            self.assertRaises(ValueError, record.unpack, data)


class TestTable(unittest.TestCase):
    def test_a_record_is_16_bytes(self):
        self.assertEqual(record.SIZE, 16)
        self.assertEqual(len(record.pack(own_values())), 16)

    def test_names_are_there_once(self):
        for column in (0, 4):
            names = [row[column] for row in record.FIELDS]
            self.assertEqual(len(set(names)), len(names))

    def test_the_table_as_it_is_stored_and_sent(self):
        """A regression pin of our own; Cel, %RH and / are units of RFC 8428 section 12.1."""
        self.assertEqual(
            record.FIELDS,
            (
                ("outdoor_c", "°C", "h", 100, "out/t", "Cel"),
                ("indoor_c", "°C", "h", 100, "in/t", "Cel"),
                ("rh_pct", "%", "H", 100, "in/rh", "%RH"),
                ("humidity_ratio", "kg/kg", "", 1000000, "in/w", "/"),
                ("glass_c", "°C", "h", 100, "glass/t", "Cel"),
                ("dew_point_c", "°C", "", 100, "in/dp", "Cel"),
                ("ceiling_pct", "%", "H", 100, "ceiling/rh", "%RH"),
                ("target_pct", "%", "H", 100, "target/rh", "%RH"),
                ("fan", "1", "B", 200, "fan/duty", "/"),
                ("valve", "1", "B", 200, "valve/duty", "/"),
                ("humidifier_kg_h", "kg/h", "", 1000, "", ""),
                ("reason", "code", "B", 1, "valve/reason", ""),
                ("look", "code", "B", 1, "glass/look", ""),
            ),
        )
        self.assertEqual(record.REASON_OPEN, 31)

    def test_every_reason_fits_and_open_is_none_of_them(self):
        self.assertTrue(len(w.REFUSALS) <= record.REASON_OPEN)
        back = record.unpack(record.pack({"reason": record.REASON_OPEN}))
        self.assertEqual(back["reason"], record.REASON_OPEN)


if __name__ == "__main__":
    unittest.main()
