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

    def test_packed_by_hand(self):
        # little endian: -12.34 -> -1234 = 0xFB2E; 21.00 -> 2100 = 0x0834; 35.50 -> 3550 = 0x0DDE
        data = record.pack({"outdoor_c": -12.34, "indoor_c": 21.0, "rh_pct": 35.5, "fan": 0.5, "valve": 1.0})
        self.assertEqual(data[:6], b"\x2e\xfb\x34\x08\xde\x0d")
        self.assertEqual(data[12:14], bytes([100, 200]))

    def test_another_length_is_refused(self):
        for data in (b"", b"\x00" * (record.SIZE - 1), b"\x00" * (record.SIZE + 1)):
            self.assertRaises(ValueError, record.unpack, data)


class TestTable(unittest.TestCase):
    def test_a_record_is_15_bytes(self):
        self.assertEqual(record.SIZE, 15)
        self.assertEqual(len(record.pack(own_values())), 15)

    def test_names_are_there_once(self):
        for column in (0, 4):
            names = [row[column] for row in record.FIELDS]
            self.assertEqual(len(set(names)), len(names))

    def test_every_reason_fits_and_open_is_none_of_them(self):
        self.assertTrue(len(w.REFUSALS) <= record.REASON_OPEN)
        back = record.unpack(record.pack({"reason": record.REASON_OPEN}))
        self.assertEqual(back["reason"], record.REASON_OPEN)


if __name__ == "__main__":
    unittest.main()
