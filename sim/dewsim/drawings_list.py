"""Parts by rating, with the reason for each rating; values of the circuit come from the firmware's table."""

from dewcore.words import decimal
from dewsim import power
from dewsim.circuit import FUSE_LOAD, Lamp, fuse_a, lamp_ohm
from dewsim.drawings_table import Firmware

VALVE_A = 0.175  # of a valve marked 24 V 2.2 W, measured in series: common practice, no source
TERMINAL_A = 0.5  # the usual limit of an accessory terminal: the same
INRUSH = 3.0  # times the valve's current while it pulls in, at least: NEMA ST 1 Part 4 as a selection guide quotes it
COIL_MA = 75  # of K1 at 5 V, at most; Q1, R1, R2 and D2 follow from it
GAIN = 100  # of Q1, at least, at that current
BASE_V = 0.8  # of Q1, while it carries the coil


def base_ma(fw: Firmware, pin_v: float) -> float:
    """Current into Q1's base [mA] at so many volts at the pin."""
    table = fw.table
    return 1000.0 * ((pin_v - BASE_V) / table.BASE_OHM - BASE_V / table.BASE_PULL_OHM)


def example(fw: Firmware) -> tuple:
    """A usual branch: its current and its fuse [mA], as `dewmargin power` has them where nothing else is told."""
    volts = power.DEFAULTS["supply"]
    lamp = Lamp(volts, lamp_ohm(volts, power.LAMP_A, "antiparallel", power.E12_OHM), "antiparallel")
    branch_a = VALVE_A + lamp.rms_a + 2.0 * volts / fw.table.SERIES_OHM
    rated_a = fuse_a(branch_a, branch_a + (INRUSH - 1.0) * VALVE_A, TERMINAL_A)
    return round(1000 * branch_a), round(1000 * rated_a)


def parts(fw: Firmware) -> list:
    """(reference, part, rating, why) of everything between furnace and board."""
    return _supply_and_driver(fw) + _board_side(fw) + _boundary(fw) + _branch(fw) + _around(fw)


def _supply_and_driver(fw: Firmware) -> list:
    return [
        ("A1", "board", "RP2350-class with Wi-Fi, 520 kB of RAM", "what the firmware is made for"),
        (
            "PS1",
            "supply",
            "listed, isolated, 5 V DC, 1 A or more, plugged in",
            "keeps the board apart from 24 VAC and mains; the radio and K1 draw peaks",
        ),
        (
            "Q1",
            "NPN transistor",
            f"40 V, 0.5 A, gain {GAIN} or more at {COIL_MA} mA",
            "drives the coil from a 3.3 V pin",
        ),
        ("R1", "base resistor", f"{fw.ohms('BASE_OHM')}, 0.1 W", "enough base current at the pin's lowest high level"),
        ("R2", "base pull-down", f"{fw.ohms('BASE_PULL_OHM')}, 0.1 W", "contact open at reset and without a program"),
        (
            "D2",
            "coil diode",
            "50 V, 0.2 A or more",
            "ten times the coil's volts, its whole current: relay makers' rule",
        ),
    ]


def _board_side(fw: Firmware) -> list:
    chips = ", ".join(f"{chip} at {address}" for address, chip, _ in fw.addresses())
    return [
        (
            "pull-ups",
            "resistors at inputs",
            f"{fw.ohms('PULL_UP_OHM')} each; dry contacts also {fw.ohms('LOOP_OHM')} and {fw.amount('LOOP_NF')} nF",
            "a broken wire reads as the safe side",
        ),
        (
            "probes",
            "resistors of leak wire and drain",
            f"{fw.ohms('PROBE_OHM')}, {fw.ohms('PROBE_PIN_OHM')}, {fw.amount('PROBE_NF')} nF; "
            f"{fw.ohms('END_OHM')} at the far end",
            "tells dry, wet, broken and shorted apart",
        ),
        (
            "D1",
            "status lamp",
            f"LED behind {fw.ohms('LAMP_OHM')}",
            "told by long and short, not by colour",
        ),
        (
            "humidity sensor",
            f"I2C chip: {chips}",
            f"2 % RH or better; {fw.ohms('I2C_PULL_OHM')} pull-ups at the sensor",
            "its tolerance costs humidity: every % RH is taken off the target",
        ),
        (
            "thermometers",
            "1-Wire, three wires",
            f"0.5 K or better; {fw.ohms('WIRE_PULL_OHM')}, {fw.ohms('WIRE_ENTRY_OHM')}, 5 V clamp",
            "outdoors, supply air, coldest glass: each with its own code",
        ),
        ("surge protection", "for the outdoor cable", "for a 5 V data line, at the entry", "lightning nearby"),
    ]


def _boundary(fw: Firmware) -> list:
    contact = fw.contact() + " inductive or more"
    gap = fw.amount("GAP_MM") + " mm"
    most = fw.amount("SURVIVES_VAC") + " VAC"
    return [
        (
            "K1",
            "relay, make contact",
            f"coil 5 V DC, {COIL_MA} mA or less; contact {contact}, smallest load 50 mA or less; "
            f"coil to contact {gap}, 1500 VAC test",
            "isolated metal contact: a triac or solid-state relay leaks and fails shorted",
        ),
        (
            "U1 to U4",
            "AC-input optocouplers",
            f"transfer ratio 50 % or more at 0.15 mA, 1500 VAC test or more, pins {gap} apart",
            f"off at {fw.amount('MUST_OFF_VAC')} VAC, on at {fw.amount('MUST_ON_VAC')} VAC whatever the part",
        ),
        (
            "at U1 to U4",
            "series and shunt resistors",
            f"{fw.ohms('SERIES_OHM')} 0.25 W and {fw.ohms('SHUNT_OHM')} 0.1 W each",
            f"{decimal(fw.table.resistor_w(fw.table.SURVIVES_VAC), 2)} W in the series resistor at {most}",
        ),
        (
            "S3",
            "selector, two poles, centre off",
            f"each pole {contact}; poles insulated from one another for line voltage",
            "one pole is on the 24 VAC side, one on the board's",
        ),
    ]


def _branch(fw: Firmware) -> list:
    amps = fw.amount("LEAD_FUSE_A")
    return [
        (
            "F1",
            "branch fuse in a holder",
            f"slow (time-lag); carries valve, lamps and senses with at most {FUSE_LOAD:g} of its rating, and their "
            "inrush; below the limit of terminal or supply",
            "a short costs humidity, not heat",
        ),
        ("F2, F3", "fuses of sensed leads", f"{amps} A", "a short in a sense lead must not take the furnace down"),
        (
            "Z1",
            "suppressor at the valve",
            "varistor of 35 to 50 VAC, or 100 ohm and 0.1 µF of an AC type for 250 VAC, in series",
            "the coil's energy (11 mJ for a 4.6 W valve, computed) ends there and not in K1's contact",
        ),
        (
            "H1",
            "the old dial",
            "only if it is a 24 V contact; 1 A or more",
            "stays in charge if relay or firmware fails",
        ),
        (
            "FS1",
            "fan proof",
            "sail or pressure switch, or current switch: a metal contact for the branch's current",
            f"a solid-state output has to leak less than {fw.leak_ma()} mA",
        ),
        (
            "V1",
            "valve",
            "24 VAC, normally shut, the humidifier's own",
            "measure its current; watts are not volt-amperes",
        ),
    ]


def _around(fw: Firmware) -> list:
    return [
        (
            "J1 to J6",
            "screw terminals",
            f"J1 and J2 (24 VAC) {fw.amount('GAP_MM')} mm or more from J3 to J6, on another edge",
            "a loose strand must not bridge the boundary",
        ),
        (
            "float switch",
            "overflow",
            f"dry contact that opens when wet, for {fw.loop_ma()} mA",
            "low current needs gold",
        ),
        (
            "cable",
            "24 VAC and senses",
            "18 AWG (0.8 mm²), 105 °C where it runs by the plenum; plenum-listed inside ducts and returns",
            "temperature rating and fire rating are two things",
        ),
        (
            "box",
            "enclosure",
            "metal, or plastic that puts itself out; strain relief at every cable; outside the duct",
            "keeps fingers off terminals and dust off contacts",
        ),
    ]
