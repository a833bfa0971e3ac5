"""A table kept as bytes gives the rows that it was made of."""

import unittest

from dewcore.rows import Rows

DATA = b"'first\t'\xc2\xb0C\t1\t-2\t0.5\n'\t'1.5\t-0.25\n"
PLACES = b"\x00\x00" + bytes([DATA.find(b"\n") + 1, 0])
TABLE = (("first", "°C", 1, -2, 0.5), ("", "1.5", -0.25))


class TestRows(unittest.TestCase):
    def setUp(self):
        self.rows = Rows(DATA, PLACES)

    def test_each_row_is_made_when_it_is_asked_for_with_the_kinds_of_its_fields(self):
        self.assertEqual(len(self.rows), 2)
        for n in range(2):
            self.assertEqual(self.rows[n], TABLE[n])
            for found, field in zip(self.rows[n], TABLE[n]):
                self.assertTrue(type(found) is type(field))

    def test_one_after_the_other(self):
        self.assertEqual(tuple([row for row in self.rows]), TABLE)

    def test_beyond_its_ends_there_is_none(self):
        for n in (-1, 2):
            with self.assertRaises(IndexError):
                self.rows[n]

    def test_rows_that_begin_far_on(self):
        data = b"'" + b"x" * 700 + b"\n" + DATA
        second = 702 + DATA.find(b"\n") + 1
        rows = Rows(data, bytes([0, 0, 702 % 256, 702 // 256, second % 256, second // 256]))
        self.assertEqual((rows[0], rows[1], rows[2]), (("x" * 700,), TABLE[0], TABLE[1]))


if __name__ == "__main__":
    unittest.main()
