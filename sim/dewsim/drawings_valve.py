"""Sheets of the valve branch: with an accessory terminal, without one, and the selector in its three positions."""

from schemdraw import elements as elm

from dewsim.drawings_sheet import EDGE, RED, SMALL, WIDE, Sheet
from dewsim.drawings_table import Firmware

CHAIN = 1.2  # where the branch runs
POSITIONS = ("controller", "off", "dial only")
BRIDGE = CHAIN + 2 * 2.5  # where `dial only` passes the contact


def default_circuit(fw: Firmware) -> str:
    """The branch behind the furnace's accessory terminal."""
    sheet = Sheet("1  Valve branch: furnace with an accessory terminal", 17.3)
    sheet.split(17.3)
    sheet.words(
        CHAIN + 0.5,
        1.9,
        f"Accessory terminal, live on a call.\nSTOP: measure, on a call and idle.\nNot {fw.live()}: do not connect.",
        RED,
    )
    _branch(sheet, fw, 2.2)
    return sheet.svg()


def without_terminal(fw: Firmware) -> str:
    """The branch on an always-live 24 V supply, behind a fan proof that is a contact of its own."""
    sheet = Sheet("2  Valve branch: no accessory terminal", 20.1)
    sheet.split(20.1)
    sheet.words(
        CHAIN + 0.5,
        1.9,
        f"24 V supply, always live, {fw.live()}:\nthe furnace's if it carries the valve,\n"
        "else a Class 2 one. Never parallel two.",
        RED,
    )
    sheet.contact(CHAIN, 5.4, 7.0)
    sheet.words(CHAIN + 0.6, 5.9, "FS1 airflow or current switch: no\nfan, no water, whatever runs here")
    _sense(sheet, fw, "fan", 7.5, fuse="F2")
    sheet.wire((CHAIN, 7.0), (CHAIN, 8.2))
    _branch(sheet, fw, 2.2, 2.8)
    return sheet.svg()


def selector(fw: Firmware) -> str:
    """Both poles of the selector, a row for each position."""
    sheet = Sheet("3  Selector S3 and the series limit H1", 16.2)
    sheet.split(13.4)
    texts = (
        "only the board's contact K1\nlets the valve open",
        "the branch is cut here, even\nwith K1 welded",
        "K1 is bridged; F1, fan proof and\nH1 still count",
    )
    for n, text in enumerate(texts):
        _position(sheet, fw, 2.0 + 3.9 * n, n, text)
    sheet.words(
        0.15,
        13.9,
        "H1, the old dial, if it is a 24 V contact: always in the branch before S3,\n"
        "set to 45 %, so that it stays in charge if relay or firmware fails. Used as\n"
        "dial only, it is set for the weather by the table on the unit's card.\n"
        "The two poles of S3 are on both sides of the boundary: a switch whose\n"
        "poles are insulated for line voltage, its wires led apart.",
    )
    return sheet.svg()


def _position(sheet: Sheet, fw: Firmware, y: float, at: int, text: str) -> None:
    sheet.words(0.3, y, f"S3 A   {POSITIONS[at]}", size=16)
    sheet.throws(0.8, y + 1.0, POSITIONS, at, 2.6)
    sheet.words(1.2, y + 0.85, "from J1 line (after F1 and H1)", size=SMALL)
    for n, place in enumerate(("to K1", "nothing", "to J1 load")):
        sheet.words(0.8 + 2.6 * n, y + 2.6, place, size=SMALL)
    row = fw.rows["off_switch"]
    sheet.words(EDGE + 0.3, y, "S3 B")
    sheet.wire((EDGE + 1.7, y + 0.2), (EDGE + 1.7, y + 0.8))
    if at == 0:
        sheet.wire((EDGE + 1.7, y + 0.8), (EDGE + 1.7, y + 1.6))
    else:
        sheet.wire((EDGE + 1.3, y + 0.9), (EDGE + 1.7, y + 1.6))
    sheet.wire((EDGE + 1.7, y + 1.6), (EDGE + 1.7, y + 1.8))
    sheet.ground(EDGE + 1.7, y + 1.8)
    sheet.pin(EDGE + 1.95, y + 0.3, "off_switch", f"{row['terminal']} · {fw.pin('off_switch')}")
    sheet.words(EDGE + 1.95, y + 1.3, "closed: 0 V" if at == 0 else "open: 3.3 V", size=SMALL)
    sheet.words(0.3, y + 3.1, text.replace("\n", " "), size=SMALL)
    if at < 2:
        sheet.wire((0, y + 3.5), (WIDE, y + 3.5), dashed=True)


def _branch(sheet: Sheet, fw: Firmware, top: float, gap: float = 0.0) -> None:
    """Terminal, fuse, (room for a fan proof,) old dial, selector, contact, valve, common."""
    sheet.wire((CHAIN, top), (CHAIN, top + 1.2))
    sheet.terminal(CHAIN, top)
    sheet.part(elm.FuseUS, (CHAIN, top + 1.2), (CHAIN, top + 3.2))
    sheet.words(
        CHAIN + 0.6,
        top + 1.9,
        "F1 own slow fuse, below the source's\nlimit: a short costs humidity, not heat",
        size=SMALL,
    )
    y = top + 3.2 + gap
    sheet.contact(CHAIN, y, y + 1.6)
    sheet.words(
        CHAIN + 0.6, y + 0.6, "H1 old dial as humidity limit: a 24 V\ncontact, set to 45 %. None: a wire", size=SMALL
    )
    sheet.wire((CHAIN, y + 1.6), (CHAIN, y + 2.7))
    _sense(sheet, fw, "line_sense", y + 2.0)
    _selector(sheet, fw, y + 2.7)
    _relay(sheet, fw, y + 4.3)
    _sense(sheet, fw, "load_sense", y + 7.1)
    _valve(sheet, fw, y + 7.1)


def _sense(sheet: Sheet, fw: Firmware, net: str, y: float, fuse: str = "") -> None:
    """A tap of the branch through its optocoupler to its pin."""
    sheet.dot(CHAIN, y)
    far = CHAIN + 2.4 if fuse else CHAIN + 0.9
    sheet.wire((CHAIN, y), (CHAIN + 0.4 if fuse else EDGE - 1.2, y))
    if fuse:
        sheet.part(elm.FuseUS, (CHAIN + 0.4, y), (far, y))
        sheet.wire((far, y), (EDGE - 1.2, y))
        sheet.words(far + 2.4, y + 0.35, f"{fuse} {fw.amount('LEAD_FUSE_A')} A", size=SMALL)
    sheet.terminal(far, y)
    sheet.words(far + 0.3, y - 0.32, fw.rows[net]["terminal"], size=SMALL)
    sheet.box(EDGE - 1.2, y - 0.35, EDGE + 1.2, y + 0.35, "optocoupler")
    sheet.wire((EDGE + 1.2, y), (EDGE + 1.5, y))
    sheet.pin(EDGE + 1.6, y, net, fw.pin(net))


def _selector(sheet: Sheet, fw: Firmware, y: float) -> None:
    """Pole A, drawn at controller; pole B across the boundary."""
    sheet.throws(CHAIN, y, POSITIONS, 0)
    sheet.words(0.1, y + 0.5, "S3 A", size=SMALL)
    sheet.wire((CHAIN, y + 0.55), (EDGE + 1.5, y + 0.55), dashed=True)
    sheet.words(CHAIN + 3.6, y + 0.25, "S3 selector, two poles", size=SMALL)
    row = fw.rows["off_switch"]
    sheet.pin(EDGE + 1.6, y + 0.55, "off_switch", f"S3 B, {row['terminal']} · {fw.pin('off_switch')}")


def _relay(sheet: Sheet, fw: Firmware, y: float) -> None:
    """The contact, with the bypass of `dial only` beside it."""
    sheet.wire((CHAIN, y - 0.5), (CHAIN, y))
    sheet.contact(CHAIN, y, y + 1.6)
    sheet.wire((BRIDGE, y - 0.5), (BRIDGE, y + 2.0), (CHAIN, y + 2.0))
    sheet.dot(CHAIN, y + 2.0)
    sheet.wire((CHAIN, y + 1.6), (CHAIN, y + 2.8))
    sheet.words(
        CHAIN + 0.6,
        y + 0.2,
        f"K1 contact, {fw.amount('CONTACT_A')} A\nat {fw.amount('SURVIVES_VAC')} VAC inductive;",
        size=SMALL,
    )
    sheet.words(CHAIN + 0.6, y + 1.2, "nothing across it", size=SMALL)
    sheet.wire((CHAIN + 0.05, y + 0.92), (EDGE + 1.5, y + 0.92), dashed=True)
    sheet.pin(EDGE + 1.6, y + 0.92, "relay", f"K1 coil · {fw.pin('relay')}")


def _valve(sheet: Sheet, fw: Firmware, y: float) -> None:
    """Valve with its suppressor, down to common."""
    sheet.wire((CHAIN, y), (CHAIN, y + 0.6))
    sheet.part(elm.Inductor2, (CHAIN, y + 0.6), (CHAIN, y + 2.4), loops=4)
    sheet.wire((CHAIN, y + 0.6), (CHAIN + 1.2, y + 0.6))
    sheet.part(elm.ResistorIEC, (CHAIN + 1.2, y + 0.6), (CHAIN + 1.2, y + 2.4))
    sheet.wire((CHAIN + 1.2, y + 2.4), (CHAIN, y + 2.4))
    sheet.dot(CHAIN, y + 0.6)
    sheet.dot(CHAIN, y + 2.4)
    sheet.words(0.1, y + 1.3, "V1", size=SMALL)
    sheet.words(CHAIN + 1.7, y + 1.4, "V1 valve, and Z1 its suppressor:\nat the valve, none across K1")
    sheet.wire((CHAIN, y + 2.4), (CHAIN, y + 3.4))
    sheet.terminal(CHAIN, y + 3.4)
    sheet.words(CHAIN + 0.5, y + 3.4, "J1 common: the supply's C. Never\nswitched, never on board ground.")
