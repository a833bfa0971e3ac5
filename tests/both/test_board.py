"""The contract of a board: it does nothing by itself, and no two of its words are one."""

import unittest

from dewcore import board
from dewcore.board import Board
from dewcore.readings import Readings


def codes(kind):
    """The numbers of all names of one kind."""
    return sorted(getattr(board, name) for name in dir(board) if name.startswith(kind))


class TestBoard(unittest.TestCase):
    def test_a_board_without_hardware_does_nothing_silently(self):
        bare = Board()
        for call in (
            lambda: bare.read(Readings(), 0),
            lambda: bare.drive(False),
            bare.feed,
            bare.buttons,
            lambda: bare.lamp(board.LAMP_OPEN, 0),
        ):
            self.assertRaises(NotImplementedError, call)

    def test_no_two_codes_of_a_kind_are_one(self):
        for kind in ("RESET_", "PRESS_", "LAMP_"):
            self.assertEqual(codes(kind), list(range(len(codes(kind)))))


if __name__ == "__main__":
    unittest.main()
