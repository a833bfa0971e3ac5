"""The sheet of the whole: furnace, ducts, humidifier, water, drain, box, and a number where each sensor goes."""

from dewsim.drawings_sheet import RED, SMALL, WIDE, Sheet
from dewsim.drawings_table import Firmware

FLOOR = 13.8
PLACES = (  # as hw_docs/placement.md has them
    "humidity, indoor temperature: in the return, 0.5 m (20 in)\n"
    "or more before bypass and furnace; or at an inner wall",
    "outdoor thermometer: north side, shaded, off the wall",
    "supply thermometer: 0.5 m (20 in) or more behind the\nexchanger, out of its direct sight",
    "glass thermometer: lower corner of the coldest pane",
    "coldest room's sensor: inner wall, away from window and bed",
    "leak wire: floor or pan, lowest place near valve and hose",
    "drain electrodes: in the hose, where water only runs through",
    "float switch: in the tray or the condensate pump",
    "fan proof: sail switch in the straight of a duct, or current\n"
    "switch on the blower's lead (line voltage: licensed work)",
)


def overview(_: Firmware) -> str:
    """One usual way: an upflow furnace with a bypass humidifier at the supply plenum."""
    sheet = Sheet("0  The whole, and where each sensor goes", 20.3)
    _rooms(sheet)
    _ducts(sheet)
    _water(sheet)
    sheet.box(10.2, 7.0, 13.4, 9.6, "box with board,\nK1, F1, S3:\noutside the duct")
    sheet.wire((9.6, 11.4), (11.8, 11.4), (11.8, 9.6))
    sheet.words(9.85, 11.9, "24 VAC, proof of fan\nand heat: drawings\n1, 2 and 6", size=SMALL)
    sheet.wire((0.3, FLOOR), (WIDE - 0.3, FLOOR))
    y = FLOOR + 0.55
    for n, text in enumerate(PLACES, 1):
        sheet.words(0.2, y, str(n), size=SMALL)
        sheet.words(0.7, y, text, size=SMALL)
        y += 0.08 + 0.41 * (1 + text.count("\n"))
    warning = "Know what is behind a duct before you cut it. Never cut a heat exchanger."
    sheet.words(0.2, y + 0.1, warning, RED, 11)
    return sheet.svg()


def _place(sheet: Sheet, x: float, y: float, n: int) -> None:
    """Where the sensor with that number goes."""
    sheet.ring(x, y, 0.3)
    sheet.words(x, y, str(n), size=SMALL, align="center")


def _arrow(sheet: Sheet, x: float, y0: float, y1: float) -> None:
    """Which way the air goes."""
    back = 0.22 if y1 > y0 else -0.22
    sheet.wire((x, y0), (x, y1))
    sheet.wire((x - 0.18, y1 - back), (x, y1), (x + 0.18, y1 - back))


def _rooms(sheet: Sheet) -> None:
    """Rooms, the window of the coldest, and outdoors."""
    sheet.wire((9.6, 4.2), (9.6, 3.6))
    sheet.wire((9.6, 1.9), (9.6, 1.0), (0.3, 1.0), (0.3, 4.2), (1.0, 4.2))
    sheet.wire((2.8, 4.2), (6.9, 4.2))
    sheet.wire((8.7, 4.2), (9.6, 4.2))
    sheet.wire((9.5, 1.9), (9.5, 3.6), (9.7, 3.6), (9.7, 1.9), (9.5, 1.9))  # the window
    sheet.wire((5.5, 1.0), (5.5, 4.2))
    sheet.words(0.6, 1.5, "ROOMS")
    sheet.words(5.8, 1.5, "coldest room", size=SMALL)
    sheet.words(7.7, 2.3, "window", size=SMALL)
    sheet.words(10.1, 1.5, "OUTDOORS")
    _place(sheet, 5.95, 2.7, 5)
    _place(sheet, 9.05, 3.2, 4)
    _place(sheet, 11.3, 2.7, 2)


def _ducts(sheet: Sheet) -> None:
    """Return, furnace, plenum, and the bypass with its damper between humidifier and return."""
    sheet.wire((1.0, 4.2), (1.0, 13.2), (6.0, 13.2))
    sheet.wire((2.8, 4.2), (2.8, 8.3), (3.7, 8.3))
    sheet.wire((3.7, 9.1), (2.8, 9.1), (2.8, 12.2), (6.0, 12.2))
    sheet.wire((3.05, 8.95), (3.45, 8.45))  # the damper
    sheet.words(1.25, 5.0, "RETURN", size=SMALL)
    _arrow(sheet, 1.9, 5.5, 6.4)
    sheet.words(2.95, 7.05, "bypass,\ndamper", size=SMALL)
    sheet.wire((6.0, 10.6), (6.0, 6.0), (6.9, 6.0), (6.9, 4.2))
    sheet.wire((9.6, 10.6), (9.6, 6.0), (8.7, 6.0), (8.7, 4.2))
    _arrow(sheet, 7.8, 5.7, 4.8)
    sheet.words(6.9, 6.8, "SUPPLY\nPLENUM")
    sheet.box(6.0, 10.6, 9.6, FLOOR, "furnace:\nexchanger above,\nblower below")
    sheet.box(3.7, 7.9, 6.0, 9.5, "humidifier\nwith its pad")
    _place(sheet, 1.9, 7.1, 1)
    _place(sheet, 8.9, 7.9, 3)
    _place(sheet, 1.9, 10.6, 9)


def _water(sheet: Sheet) -> None:
    """The water pipe from above, and the drain with its air gap; its pipe goes down behind the return."""
    sheet.wire((3.1, 5.3), (5.3, 5.3), (5.3, 7.9))
    sheet.bow(3.9, 5.3)
    sheet.box(4.6, 5.1, 5.0, 5.5, "")
    sheet.bow(5.3, 6.8)
    sheet.words(3.1, 4.75, "cold water", size=SMALL)
    sheet.words(3.1, 5.85, "stop valve,\nstrainer", size=SMALL)
    sheet.words(4.45, 6.8, "V1", size=SMALL)
    sheet.wire((4.9, 9.5), (4.9, 10.9))
    sheet.wire((4.5, 11.2), (4.7, 11.6), (4.7, 12.2))
    sheet.wire((5.3, 11.2), (5.1, 11.6), (5.1, 12.2))
    sheet.wire((4.7, 13.2), (4.7, FLOOR))
    sheet.wire((5.1, 13.2), (5.1, FLOOR))
    sheet.words(3.0, 11.05, "air gap", size=SMALL)
    sheet.words(3.0, 11.7, "drain", size=SMALL)
    _place(sheet, 4.9, 10.2, 7)
    _place(sheet, 5.6, 9.55, 8)
    _place(sheet, 3.7, 13.5, 6)
