"""Sheets of the board's side: relay driver, leak and drain probes, dry contacts and lamp, sensors."""

from schemdraw import elements as elm

from dewcore.words import decimal
from dewsim.drawings_sheet import DOMAINS, RED, SMALL, WIDE, Sheet
from dewsim.drawings_table import Firmware

INK = DOMAINS["board"][1]
WATER = 8.8  # where the probes' cable leaves the board


def relay(fw: Firmware) -> str:
    """Pin, transistor, coil with its diode, contact, valve with its suppressor."""
    sheet = Sheet("8  Relay driver", 13.4)
    sheet.region(0, 0.9, 8.6, 11.0, "board")
    sheet.region(8.6, 0.9, WIDE, 11.0, "24 VAC")
    sheet.boundary(8.6, 0.9, 8.6, 11.0)
    sheet.pin(0.2, 6.0, "relay", fw.pin("relay"))
    sheet.wire((1.6, 6.8), (0.3, 6.8))
    sheet.part(elm.ResistorIEC, (1.6, 6.8), (4.0, 6.8))
    sheet.words(1.9, 6.0, f"R1 {fw.ohms('BASE_OHM')}", size=SMALL)
    sheet.part(elm.ResistorIEC, (4.0, 6.8), (4.0, 9.4))
    sheet.words(0.5, 8.0, f"R2 {fw.ohms('BASE_PULL_OHM')}:\noff at reset and\nwithout a program", size=SMALL)
    sheet.dot(4.0, 6.8)
    sheet.ground(4.0, 9.4)
    sheet.wire((4.0, 6.8), (5.0, 6.8))
    collector, emitter = sheet.npn(5.0, 6.8)
    sheet.words(6.0, 7.0, "Q1", size=SMALL)
    sheet.wire(emitter, (emitter[0], 9.4))
    sheet.ground(emitter[0], 9.4)
    _coil(sheet, *collector)
    _contact_side(sheet, fw, collector[0])
    sheet.words(
        0.15,
        11.5,
        f"No triac, no solid-state relay: they leak, and fail shorted. Nothing across\n"
        "K1's contact: 0.1 µF there leaks 1 mA, which reads as a welded contact.\n"
        f"Contact: {fw.contact()} inductive duty or more, and no smallest load\n"
        "above the valve's current.",
        RED,
        SMALL,
    )
    return sheet.svg()


def _coil(sheet: Sheet, x: float, below: float) -> None:
    """The coil with its diode, from 5 V down to the transistor."""
    sheet.wire((x, below), (x, 5.0))
    sheet.part(elm.Inductor2, (x, 3.0), (x, 5.0), loops=4)
    sheet.wire((x, 2.6), (x, 3.0))
    sheet.words(x - 0.25, 2.2, "5 V", size=SMALL)
    sheet.wire((x, 5.0), (x - 1.6, 5.0))
    sheet.wire((x, 3.0), (x - 1.6, 3.0))
    sheet.part(elm.Diode, (x - 1.6, 5.0), (x - 1.6, 3.0))
    sheet.words(x - 4.25, 4.0, "D2 coil diode", size=SMALL)
    sheet.dot(x, 5.0)
    sheet.dot(x, 3.0)
    sheet.words(x + 0.5, 4.5, "K1 coil", size=SMALL)


def _contact_side(sheet: Sheet, fw: Firmware, x: float) -> None:
    sheet.contact(9.8, 3.0, 4.6)
    sheet.wire((x + 0.5, 3.9), (9.6, 3.9), dashed=True)
    sheet.wire((9.8, 2.6), (9.8, 3.0))
    sheet.terminal(9.8, 2.5)
    sheet.words(10.1, 2.2, "from S3 A", size=SMALL)
    sheet.words(10.1, 4.0, fw.rows["relay"]["terminal"], size=SMALL)
    sheet.wire((9.8, 4.6), (9.8, 6.0))
    sheet.terminal(9.8, 5.2)
    sheet.words(10.1, 5.2, fw.rows["load_sense"]["terminal"], size=SMALL)
    sheet.part(elm.Inductor2, (9.8, 6.0), (9.8, 8.0), loops=4)
    sheet.wire((9.8, 6.0), (11.2, 6.0))
    sheet.wire((9.8, 8.0), (11.2, 8.0))
    sheet.part(elm.ResistorIEC, (11.2, 6.0), (11.2, 8.0))
    sheet.dot(9.8, 6.0)
    sheet.dot(9.8, 8.0)
    sheet.words(8.9, 7.0, "V1", size=SMALL)
    sheet.words(11.6, 7.0, "Z1", size=SMALL)
    sheet.wire((9.8, 8.0), (9.8, 9.0))
    sheet.terminal(9.8, 9.0)
    sheet.words(10.1, 9.0, "J1 common", size=SMALL)


def probes(fw: Firmware) -> str:
    """Leak wire and drain electrodes, each with the resistor at its far end."""
    sheet = Sheet("9  Leak wire and drain electrodes", 14.4)
    sheet.region(0, 0.9, WIDE, 11.2, "board")
    sheet.pin(0.2, 1.9, "probe_drive", fw.pin("probe_drive"))
    sheet.wire((3.6, 2.0), (4.0, 2.0), (4.0, 7.4))
    sheet.dot(4.0, 3.2)
    for net, y in (("leak", 3.2), ("drain_wet", 7.4)):
        _probe(sheet, fw, net, y)
    sheet.words(
        0.15,
        11.7,
        f"The {fw.ohms('END_OHM')} at the far end lets the board tell dry from broken: dry {fw.dry_v()} V\n"
        "DC in the 50 ms of a sample, less when wet, 3.3 V broken, 0 shorted.\n"
        "Never near 24 VAC: a wire with volts of its own reads as broken.\n"
        "A leak input shuts the valve; a leak upstream of it runs on: close the\n"
        "water by hand.",
        size=SMALL,
    )
    return sheet.svg()


def _probe(sheet: Sheet, fw: Firmware, net: str, y: float) -> None:
    """Drive, resistor, node with pin and capacitor, cable, end resistor."""
    sheet.part(elm.ResistorIEC, (4.0, y), (6.4, y))
    sheet.words(4.3, y - 0.6, fw.ohms("PROBE_OHM"), size=SMALL)
    sheet.dot(6.4, y)
    sheet.part(elm.ResistorIEC, (6.4, y + 1.3), (3.6, y + 1.3))
    sheet.wire((6.4, y), (6.4, y + 1.3))
    sheet.words(4.1, y + 1.9, f"{fw.ohms('PROBE_PIN_OHM')} to the pin", size=SMALL)
    sheet.wire((3.6, y + 1.3), (2.9, y + 1.3))
    sheet.pin(0.2, y + 1.1, net, fw.pin(net))
    sheet.part(elm.Capacitor, (7.6, y), (7.6, y + 2.6))
    sheet.words(6.0, y + 2.7, f"{fw.amount('PROBE_NF')} nF", size=SMALL)
    sheet.ground(7.6, y + 2.6)
    sheet.wire((6.4, y), (11.6, y))
    sheet.dot(7.6, y)
    sheet.terminal(WATER, y)
    sheet.words(WATER - 0.3, y - 0.5, f"{fw.rows[net]['terminal']}: two wires", size=SMALL)
    sheet.part(elm.ResistorIEC, (11.6, y), (11.6, y + 2.4))
    sheet.words(9.1, y + 1.2, f"{fw.ohms('END_OHM')}\nat the end", size=SMALL)
    sheet.wire((11.6, y + 2.4), (WATER, y + 2.4))
    sheet.terminal(WATER, y + 2.4)
    sheet.wire((WATER, y + 2.4), (7.6, y + 2.4))
    sheet.words(11.95, y + 1.2, "wet\nhere", INK, SMALL)


def loops(fw: Firmware) -> str:
    """Dry contacts, buttons and the lamp."""
    sheet = Sheet("10  Dry contacts, buttons, lamp", 20.1)
    sheet.region(0, 0.9, WIDE, 18.3, "board")
    rows = (
        ("overflow", "float switch: opens when wet"),
        ("off_switch", "S3 B: closed at controller"),
        ("absent", "closed at home, open away"),
        ("look_button", "clear short, fog long"),
        ("alarm_button", "clears alarms, held"),
    )
    for n, (net, text) in enumerate(rows):
        _loop(sheet, fw, net, text, 2.8 + 2.95 * n)
    sheet.pin(0.2, 17.0, "lamp", fw.pin("lamp"))
    sheet.wire((2.85, 17.0), (5.0, 17.0))
    sheet.part(elm.ResistorIEC, (5.0, 17.0), (7.4, 17.0))
    sheet.words(5.5, 17.6, fw.ohms("LAMP_OHM"), size=SMALL)
    sheet.part(elm.LED, (7.4, 17.0), (10.4, 17.0))
    sheet.words(7.8, 17.8, f"{fw.rows['lamp']['terminal']} status lamp", size=SMALL)
    sheet.ground(10.4, 17.0)
    sheet.words(
        0.15,
        18.8,
        f"Dry contacts only, for low current ({fw.loop_ma()} mA). Broken wires read as the safe\n"
        "side. S3 B belongs to a switch whose other pole carries 24 VAC: see 3 and 4.",
        size=SMALL,
    )
    return sheet.svg()


def _loop(sheet: Sheet, fw: Firmware, net: str, text: str, y: float) -> None:
    """Pin with pull-up and capacitor, resistor, terminal, contact, ground."""
    sheet.pin(0.2, y, net, fw.pin(net))
    sheet.wire((2.85, y), (5.0, y))
    sheet.part(elm.ResistorIEC, (3.2, y - 1.4), (3.2, y))
    sheet.words(3.6, y - 1.0, f"{fw.ohms('PULL_UP_OHM')} to 3.3 V", size=SMALL)
    sheet.dot(3.2, y)
    sheet.part(elm.Capacitor, (4.4, y), (4.4, y + 1.0))
    sheet.ground(4.4, y + 1.0)
    sheet.dot(4.4, y)
    sheet.words(4.9, y + 0.65, f"{fw.amount('LOOP_NF')} nF · {fw.ohms('LOOP_OHM')}", size=SMALL)
    sheet.part(elm.ResistorIEC, (5.0, y), (7.4, y))
    sheet.wire((7.4, y), (8.6, y))
    sheet.terminal(8.0, y)
    sheet.words(7.75, y - 0.5, f"{fw.rows[net]['terminal']}: {text}", size=SMALL)
    sheet.wire((8.6, y), (9.2, y))
    sheet.wire((9.2, y + 0.35), (10.2, y), (10.9, y))
    sheet.ground(10.9, y)


def sensors(fw: Firmware) -> str:
    """The I2C bus with its chips, the 1-Wire line with its protection."""
    sheet = Sheet("11  Sensors: I2C and 1-Wire", 18.2)
    sheet.region(0, 0.9, WIDE, 9.0, "board")
    sheet.region(0, 9.0, WIDE, 16.6, "outdoor line")
    _bus(sheet, fw)
    _line(sheet, fw)
    sheet.words(
        0.15,
        17.1,
        "The outdoor line shares the board's ground: its cable is kept off 24 VAC and\n"
        "mains, and enters through the surge protection. No work on it in thunder.",
        RED,
        SMALL,
    )
    return sheet.svg()


def _bus(sheet: Sheet, fw: Firmware) -> None:
    row = fw.rows["i2c"]
    sheet.pin(0.2, 2.0, "i2c", f"{row['terminal']} · {fw.pin('i2c')}")
    names = ("3.3 V", f"SDA GP{row['pin'][0]}", f"SCL GP{row['pin'][1]}", "ground")
    for name, y in zip(names, (3.2, 5.0, 5.6, 6.2), strict=True):
        sheet.words(0.2, y, name, size=SMALL)
        sheet.terminal(2.5, y)
        sheet.wire((2.5, y), (6.6, y))
    for x, y in ((3.6, 5.0), (5.0, 5.6)):
        sheet.part(elm.ResistorIEC, (x, 3.2), (x, y))
        sheet.dot(x, y)
        sheet.dot(x, 3.2)
    sheet.words(3.2, 2.75, f"2 x {fw.ohms('I2C_PULL_OHM')}", size=SMALL)
    sheet.box(6.6, 1.7, 7.1, 8.3, "")
    for n, (address, chip, samples) in enumerate(fw.addresses()):
        sheet.wire((7.1, 2.6 + 2.3 * n), (7.6, 2.6 + 2.3 * n))
        sheet.box(7.6, 1.7 + 2.3 * n, 13.4, 3.6 + 2.3 * n, f"{address}  {chip}\n{samples}")
    sheet.words(
        0.2,
        7.2,
        row["isolation"].split("; ")[1]
        + ", pull-ups\nat the sensor; one of the first\ntwo, and the third for the\ncoldest room",
        size=SMALL,
    )


def _line(sheet: Sheet, fw: Firmware) -> None:
    row = fw.rows["wire"]
    sheet.pin(0.2, 10.2, "wire", f"{row['terminal']} · {fw.pin('wire')}")
    sheet.wire((2.6, 10.3), (3.6, 10.3))
    sheet.dot(3.2, 10.3)
    sheet.part(elm.ResistorIEC, (3.2, 10.3), (3.2, 12.4))
    sheet.words(0.4, 12.0, f"{fw.ohms('WIRE_PULL_OHM')}\nto 3.3 V", size=SMALL)
    sheet.part(elm.ResistorIEC, (3.6, 10.3), (6.2, 10.3))
    sheet.words(4.3, 10.95, fw.ohms("WIRE_ENTRY_OHM"), size=SMALL)
    sheet.wire((6.2, 10.3), (8.0, 10.3))
    sheet.dot(6.8, 10.3)
    sheet.part(elm.Zener, (6.8, 12.6), (6.8, 10.3))
    sheet.ground(6.8, 12.6)
    sheet.words(4.5, 12.2, "5 V clamp", size=SMALL)
    sheet.box(8.0, 9.6, 13.3, 10.95, "surge protection at the\nentry, for the outdoor leg")
    sheet.terminal(7.5, 10.3)
    places = (("outdoor_c", "north side, shaded"), ("supply_c", "supply air"), ("glass_c", "coldest glass"))
    for n, (role, text) in enumerate(places):
        y = 11.7 + 1.45 * n
        sheet.box(8.6, y, 13.3, y + 1.2, f"{role}\n{text}")
    sheet.wire((7.5, 10.3), (7.5, 15.2), (8.6, 15.2))
    sheet.wire((7.5, 13.75), (8.6, 13.75))
    sheet.dot(7.5, 13.75)
    sheet.wire((8.3, 10.95), (8.3, 12.3), (8.6, 12.3))
    volts = decimal(3.3, 1)
    sheet.words(
        0.2,
        14.2,
        f"three wires each: data, {volts} V\nand ground, told apart by the\ncode that each one carries",
        size=SMALL,
    )
