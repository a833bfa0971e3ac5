"""Sheets of what is sensed on the 24 VAC side: the four optocoupler inputs and the fan proofs by grade."""

from schemdraw import elements as elm

from dewcore.permit import SUPPLY_RISE_K
from dewcore.words import decimal
from dewsim.drawings_sheet import DOMAINS, EDGE, RED, SMALL, WIDE, Sheet
from dewsim.drawings_table import Firmware

NETS = ("line_sense", "load_sense", "fan", "heat_call")


def senses(fw: Firmware) -> str:
    """The four AC inputs, part for part."""
    sheet = Sheet("6  AC senses: line, load, fan, heat", 20.3)
    sheet.split(18.8)
    for n, net in enumerate(NETS):
        _sense(sheet, fw, net, 2.9 + 3.9 * n)
    sheet.words(
        0.15,
        19.3,
        f"Each off at {fw.amount('MUST_OFF_VAC')} VAC or less, on at {fw.amount('MUST_ON_VAC')} VAC or more, "
        f"unharmed at {fw.amount('SURVIVES_VAC')} VAC;\n"
        f"takes at most {fw.sense_ma()} mA. Each common is that of the terminal's own transformer.",
        size=SMALL,
    )
    return sheet.svg()


def _sense(sheet: Sheet, fw: Firmware, net: str, y: float) -> None:
    """Terminal, series resistor, shunt, LEDs | transistor, pull-up, pin."""
    terminal = fw.rows[net]["terminal"]
    fuse = {"fan": "F2", "heat_call": "F3"}.get(net)
    label = terminal + (f", behind {fw.amount('LEAD_FUSE_A')} A fuse {fuse}" if fuse else "")
    sheet.terminal(0.4, y)
    sheet.words(0.2, y - 0.5, label, DOMAINS["24 VAC"][1])
    sheet.part(elm.ResistorIEC, (0.4, y), (4.4, y))
    sheet.words(1.2, y + 0.6, f"{fw.ohms('SERIES_OHM')}, 0.25 W", size=SMALL)
    sheet.part(elm.ResistorIEC, (4.4, y), (4.4, y + 2.0))
    sheet.words(1.9, y + 1.3, fw.ohms("SHUNT_OHM"), size=SMALL)
    sheet.wire((4.4, y), (7.0, y))
    sheet.wire((4.4, y + 2.0), (7.0, y + 2.0))
    sheet.dot(4.4, y)
    sheet.dot(4.4, y + 2.0)
    sheet.terminal(0.4, y + 2.0)
    sheet.wire((0.4, y + 2.0), (4.4, y + 2.0))
    sheet.words(0.2, y + 2.5, terminal[:2] + " common", DOMAINS["24 VAC"][1])
    _optocoupler(sheet, y)
    sheet.part(elm.ResistorIEC, (11.0, y - 1.05), (11.0, y))
    sheet.words(11.4, y - 0.6, fw.ohms("PULL_UP_OHM"), size=SMALL)
    sheet.words(9.2, y - 1.05, "3.3 V", size=SMALL)
    sheet.wire((10.4, y - 1.05), (11.0, y - 1.05))
    sheet.dot(11.0, y)
    sheet.pin(11.4, y + 0.1, net, fw.pin(net))
    sheet.ground(10.6, y + 2.0)


def _optocoupler(sheet: Sheet, y: float) -> None:
    """Two LEDs back to back, the boundary, a transistor; in a dashed frame."""
    sheet.wire((7.0, y), (7.0, y + 0.3))
    sheet.wire((6.4, y + 0.3), (7.6, y + 0.3))
    sheet.wire((6.4, y + 1.7), (7.6, y + 1.7))
    sheet.wire((7.0, y + 1.7), (7.0, y + 2.0))
    sheet.part(elm.LED, (6.4, y + 0.3), (6.4, y + 1.7))
    sheet.part(elm.LED, (7.6, y + 1.7), (7.6, y + 0.3))
    collector, emitter = sheet.npn(9.6, y + 1.0)
    sheet.wire(collector, (collector[0], y), (11.0, y))
    sheet.wire(emitter, (emitter[0], y + 2.0), (10.6, y + 2.0))
    for x0, y0, x1, y1 in (
        (5.6, -0.15, 10.55, -0.15),
        (5.6, 2.15, 10.55, 2.15),
        (5.6, -0.15, 5.6, 2.15),
        (10.55, -0.15, 10.55, 2.15),
    ):
        sheet.wire((x0, y + y0), (x1, y + y1), dashed=True)
    sheet.words(3.7, y + 2.5, "AC-input optocoupler", size=SMALL)


def fan_proofs(fw: Firmware) -> str:
    """Three grades of proof on the same input."""
    sheet = Sheet("7  Fan proof: three values of fan_grade", 17.2)
    sheet.split(15.2)
    grades = (
        (
            "1 command: heat or blower terminal",
            "a command is not airflow: fit the\nsupply thermometer, too",
            "call terminal",
        ),
        (
            "2 motor: current switch",
            "around ONE insulated blower lead, whole:\nLINE VOLTAGE, power off, licensed work",
            "R, always live",
        ),
        (
            "3 airflow: sail or pressure switch",
            "in moving air, away from dampers;\nmust open when the blower stops",
            "R, always live",
        ),
    )
    for n, (title, text, source) in enumerate(grades):
        y = 2.1 + 3.95 * n
        sheet.words(0.2, y, title)
        sheet.words(0.2, y + 0.55, text, RED if n == 1 else "black", SMALL)
        sheet.terminal(0.5, y + 2.4)
        sheet.words(0.2, y + 1.85, source, DOMAINS["24 VAC"][1], SMALL)
        _proof(sheet, fw, y + 2.4, n > 0)
    rise = decimal(SUPPLY_RISE_K, 0)
    fahrenheit = decimal(SUPPLY_RISE_K * 1.8, 0)
    sheet.words(
        0.2,
        15.7,
        f"Supply air {rise} K ({fahrenheit} °F) or more above the return also proves airflow.\n"
        f"A solid-state output leaks: it must stay below {fw.leak_ma()} mA.\n"
        "FS1 never goes into a chain of limit, rollout or pressure switches.",
        size=SMALL,
    )
    return sheet.svg()


def _proof(sheet: Sheet, fw: Firmware, y: float, is_contact: bool) -> None:
    """Source, lead fuse, perhaps a contact, terminal, optocoupler, pin."""
    sheet.part(elm.FuseUS, (0.5, y), (3.0, y))
    sheet.words(0.9, y + 0.65, f"F2 {fw.amount('LEAD_FUSE_A')} A", size=SMALL)
    if is_contact:
        sheet.wire((3.0, y), (3.7, y))
        sheet.wire((3.7, y - 0.45), (4.7, y), (5.6, y))
        sheet.words(3.5, y + 0.65, "FS1", size=SMALL)
    else:
        sheet.wire((3.0, y), (5.6, y))
    sheet.terminal(5.8, y)
    sheet.words(5.4, y - 0.5, fw.rows["fan"]["terminal"], size=SMALL)
    sheet.wire((5.95, y), (EDGE - 1.2, y))
    sheet.box(EDGE - 1.2, y - 0.35, EDGE + 1.2, y + 0.35, "optocoupler")
    sheet.wire((EDGE + 1.2, y), (EDGE + 1.5, y))
    sheet.pin(EDGE + 1.6, y, "fan", fw.pin("fan"))
    sheet.wire((0, y + 1.25), (WIDE, y + 1.25), dashed=True)
