"""Sheets of supply and isolation: what crosses the boundary, and how power may be taken from 24 VAC if it must."""

from schemdraw import elements as elm

from dewsim.drawings_sheet import DOMAINS, RED, SMALL, WIDE, Sheet
from dewsim.drawings_table import Firmware

MIDDLE = 6.8


def supply(fw: Firmware) -> str:
    """All domains with everything that sits on the boundary between them."""
    sheet = Sheet("4  Supply and isolation", 20.3)
    sheet.region(0, 0.9, WIDE, 3.5, "line voltage")
    sheet.region(0, 3.5, MIDDLE, 16.2, "24 VAC", 1.4)
    sheet.region(MIDDLE, 3.5, WIDE, 16.2, "board", 1.4)
    sheet.region(MIDDLE, 16.2, WIDE, 20.3, "outdoor line")
    sheet.boundary(0, 3.5, WIDE, 3.5)
    sheet.boundary(MIDDLE, 3.5, MIDDLE, 16.2)
    sheet.box(0.4, 1.9, 5.6, 4.3, "furnace's transformer\n(in the furnace: leave it)\nits common may be earthed")
    sheet.box(7.4, 1.9, 13.2, 4.3, "PS1 listed, isolated\n5 V DC supply, plugged in;\nfeeds board and coil of K1")
    _crossers(sheet, fw)
    _outdoor(sheet, fw)
    sheet.words(
        0.15,
        16.8,
        "Apart by "
        + fw.amount("GAP_MM")
        + " mm or more, also\nbetween wires, screws and tracks.\nBoard ground touches neither\n"
        "24 VAC leg, furnace nor earth.\nA laptop on the board: on\nbattery, with F1 taken out.\n"
        "The boundary is the red dashes.",
        RED,
        SMALL,
    )
    return sheet.svg()


def _crossers(sheet: Sheet, fw: Firmware) -> None:
    """Contact, optocouplers and the selector: all there is on the boundary."""
    rows = [("relay", "K1 relay\ncontact | coil"), ("off_switch", "S3 selector\npole A | pole B")]
    rows += [(net, "optocoupler\nLEDs | transistor") for net in ("line_sense", "load_sense", "fan", "heat_call")]
    for n, (net, text) in enumerate(rows):
        y = 6.0 + 1.6 * n
        left = {"relay": "K1 contact", "off_switch": "S3 A"}.get(net, fw.rows[net]["terminal"])
        sheet.words(0.4, y, left, DOMAINS["24 VAC"][1])
        sheet.terminal(3.0, y)
        sheet.wire((3.0, y), (4.4, y))
        sheet.box(4.4, y - 0.6, 9.2, y + 0.6, text)
        sheet.wire((9.2, y), (9.7, y))
        place = fw.pin(net) if left == fw.rows[net]["terminal"] else f"{_far(fw, net)} · {fw.pin(net)}"
        sheet.pin(9.8, y, net, place)


def _far(fw: Firmware, net: str) -> str:
    return {"relay": "K1 coil"}.get(net) or fw.rows[net]["terminal"]


def _outdoor(sheet: Sheet, fw: Firmware) -> None:
    sheet.box(7.4, 17.4, 13.2, 18.8, "surge protection where\nthe cable enters the house")
    sheet.wire((12.6, 17.4), (12.6, 15.5))
    sheet.pin(10.4, 15.5, "wire", f"{fw.rows['wire']['terminal']} · {fw.pin('wire')}")
    sheet.wire((10.3, 18.8), (10.3, 19.5))
    sheet.words(7.4, 19.9, "own cable, not beside others", size=SMALL)


def from_24_vac(fw: Firmware) -> str:
    """The only way to power the board from 24 VAC, and the ways that burn something."""
    sheet = Sheet("5  Only if there is no outlet: power from 24 VAC", 10.7)
    sheet.region(0, 0.9, MIDDLE, 7.0, "24 VAC")
    sheet.region(MIDDLE, 0.9, WIDE, 7.0, "board")
    sheet.boundary(MIDDLE, 0.9, MIDDLE, 7.0)
    sheet.words(0.4, 2.0, "R, always live", DOMAINS["24 VAC"][1])
    sheet.terminal(0.6, 2.7)
    sheet.part(elm.FuseUS, (0.6, 2.7), (4.4, 2.7))
    sheet.words(0.9, 3.4, "F4 own slow fuse", size=SMALL)
    sheet.words(0.4, 4.4, "C, common", DOMAINS["24 VAC"][1])
    sheet.terminal(0.6, 5.1)
    sheet.wire((0.6, 5.1), (4.4, 5.1))
    text = (
        f"PS2 listed isolated\nconverter: AC input of\n{fw.amount('SURVIVES_VAC')} VAC, 42 V peak\nand more; 5 V DC out"
    )
    sheet.box(4.4, 2.0, 9.2, 5.8, text)
    sheet.wire((9.2, 2.7), (10.0, 2.7))
    sheet.words(10.2, 2.7, "5 V DC to the board\nand the coil of K1", DOMAINS["board"][1], SMALL)
    sheet.wire((9.2, 5.1), (10.0, 5.1))
    sheet.ground(10.0, 5.1)
    sheet.words(10.4, 5.1, "board ground", DOMAINS["board"][1], SMALL)
    sheet.words(
        0.15,
        7.7,
        "NEVER\n"
        "· a bare bridge rectifier: board ground is then one diode from either leg;\n"
        "a grounded laptop or a half-wave neighbour then shorts the transformer;\n"
        "· from the accessory terminal: the board would start at every call and\n"
        "load a terminal that is meant for a valve;\n"
        "· two transformers in parallel, or their commons joined;\n"
        "· before the transformer's VA with everything on it has been added up.",
        RED,
    )
    return sheet.svg()
