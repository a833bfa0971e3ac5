"""Every net's circuit in one table, for documents and for the virtual board; stays off the board.

Pin numbers come from `dewboard.pins`; nothing here needs any hardware.
All voltages of the AC senses follow from one circuit: terminal -> SERIES_OHM -> AC-input optocoupler, SHUNT_OHM across
its LEDs, back to common.  They light where the shunt carries their forward voltage:

    threshold [V peak] = Vf + SERIES_OHM (Vf / SHUNT_OHM + I),   I: the LED's current that pulls the pin low
    resistor [W]       = V**2 / SERIES_OHM, the whole voltage taken across it
    dark gap [ms]      = 1000 / (pi hz) asin(threshold / (sqrt 2 V))

Vf 0.9 V (hot, low current) to 1.4 V, and a pin pulled up by 47 kohm, 70 uA, with a current transfer ratio of 0.5 (I
0.15 mA) to 4 (I 0.02 mA): from memory of common parts, to be checked against the data sheet of the part bought.
"""

from math import asin, pi, sqrt

from dewboard import pins as p
from dewcore.words import decimal

SERIES_OHM = 10000.0
SHUNT_OHM = 1000.0
FORWARD_V = (0.9, 1.15, 1.4)  # lowest, usual, highest
LED_A = (0.00002, 0.00007, 0.00015)  # that pulls the pin low, with the same parts
MUST_OFF_VAC = 5.0
MUST_ON_VAC = 16.0
SURVIVES_VAC = 30.0
LIVE_VAC = (20.0, 24.0, 30.0)  # at a live terminal: lowest to connect, usual, highest to connect
CLOSED_VAC = 0.5  # across a closed contact, at most

# The other parts on the board's side of each net, and the ratings that the 24 VAC side needs.
PULL_UP_OHM = 47000.0  # at every input
LOOP_OHM = 1000.0  # from a dry contact or button to its pin
LOOP_NF = 100.0
PROBE_OHM = 100000.0  # from probe_drive to leak wire or drain electrodes
END_OHM = 100000.0  # at the far end of each
PROBE_PIN_OHM = 10000.0
PROBE_NF = 100.0
BASE_OHM = 1000.0  # from the relay's pin to the transistor's base
# Small enough for a chip whose inputs, as one series of them does, leak up to 120 uA upwards from half level (from
# memory, to be checked in the chip's errata): 0.26 V at the base then, and 0.5 V opens no transistor.
BASE_PULL_OHM = 2200.0
LAMP_OHM = 1000.0
I2C_PULL_OHM = 4700.0
WIRE_PULL_OHM = 2200.0
WIRE_ENTRY_OHM = 100.0
CONTACT_A = 2.0  # at SURVIVES_VAC, inductive duty, at least
LEAD_FUSE_A = 0.1
GAP_MM = 5.0  # between anything of the 24 VAC side and anything of the board's


def ohms(value: float) -> str:
    """A resistance as printed everywhere: 4.7 kohm, 100 ohm."""
    if value < 1000.0:
        return decimal(value, 0) + " ohm"
    return decimal(value / 1000.0, 1 if value % 1000.0 else 0) + " kohm"


def sense_threshold_v(part: int = 1) -> float:
    """Peak voltage at which a sense lights [V]: part 0 the most sensitive, 1 the usual, 2 the least."""
    return FORWARD_V[part] + SERIES_OHM * (FORWARD_V[part] / SHUNT_OHM + LED_A[part])


def resistor_w(vac: float) -> float:
    """Heat in the series resistor [W] at so many volts."""
    return vac * vac / SERIES_OHM


def dark_gap_ms(vac: float, hz: float, part: int = 1) -> float:
    """How long a sense is dark at a zero crossing [ms]; both halves of the gap."""
    return 1000.0 / (pi * hz) * asin(sense_threshold_v(part) / (sqrt(2.0) * vac))


COLUMNS = (
    "net",
    "domain",
    "pin",
    "at_reset",
    "pull",
    "active",
    "must_off",
    "must_on",
    "survives",
    "pulses_per_s",
    "resistor_w",
    "isolation",
    "fuse",
    "terminal",
    "expected",
)

_IN = "input; the chip's weak pull-down loses against the pull-up"
_OUT = "input, weak pull-down: off"
_UP = "none; " + ohms(PULL_UP_OHM) + " up to 3.3 V"
_WIRE = "in the 50 ms of a sample: 1.65 V DC dry, below 1.4 wet, 3.3 broken, 0 shorted"
_OPTO = "optocoupler; 24 VAC side and board side at least " + decimal(GAP_MM, 0) + " mm apart"
_LEAD_FUSE = decimal(LEAD_FUSE_A, 1) + " A on the sensed lead"


def _ac(net: str, pin: int, fuse: str, terminal: str, expected: str) -> tuple:
    """A row of an AC sense."""
    most = decimal(SURVIVES_VAC, 0) + " VAC"
    heat = decimal(resistor_w(SURVIVES_VAC), 2) + " at " + most + "; fit 0.25"
    pulses = "120 / 100 at 60 / 50 Hz; half wave 60 / 50"
    levels = (decimal(MUST_OFF_VAC, 0) + " VAC", decimal(MUST_ON_VAC, 0) + " VAC", most)
    return (net, "24 VAC", pin, _IN, _UP, "low in pulses") + levels + (pulses, heat, _OPTO, fuse, terminal, expected)


def _loop(net: str, pin: int, terminal: str, expected: str) -> tuple:
    """A row of a dry contact or a button."""
    levels = ("above 10 kohm", "below 1 kohm", "3.3 V; dry contact only")
    none = "none; " + ohms(LOOP_OHM) + " and " + decimal(LOOP_NF, 0) + " nF at the pin"
    return (net, "board", pin, _IN, _UP, "low: loop closed") + levels + ("", "", none, "", terminal, expected)


def _probe(net: str, pin: int, terminal: str, expected: str) -> tuple:
    """A row of a wire that ends in a resistor."""
    levels = ("above 42 % of the drive", "1 to 42 % of the drive", "3.3 V; voltage of its own reads as broken")
    pull = ohms(PROBE_OHM) + " up to probe_drive, " + decimal(PROBE_NF, 0) + " nF down"
    none = "none; " + ohms(PROBE_PIN_OHM) + " to the pin"
    return (net, "board", pin, _IN, pull, "analogue") + levels + ("", "", none, "", terminal, expected)


# net, domain, pin, level at reset, pull, active level, must be off at or below, must be on at or above, survives,
# pulses a second, resistor [W], isolation, fuse, terminal, volts to expect in each state.
TABLE = (
    (
        "relay",
        "board; contact 24 VAC",
        p.RELAY,
        _OUT,
        ohms(BASE_PULL_OHM) + " down at the transistor's base",
        "high: contact closed, valve open",
        "0.4 V",
        "2.5 V",
        "3.3 V; contact " + decimal(SURVIVES_VAC, 0) + " VAC, " + decimal(CONTACT_A, 0) + " A inductive",
        "",
        "",
        "relay, coil to contact",
        "own slow fuse before the contact",
        "K1 contact",
        "contact: terminal's 24 VAC across it when open under a live line, below "
        + decimal(CLOSED_VAC, 1)
        + " VAC when closed",
    ),
    _ac("line_sense", p.LINE_SENSE, "after the branch fuse", "J1 line", "24 VAC to common on a call, 0 idle"),
    _ac("load_sense", p.LOAD_SENSE, "after the branch fuse", "J1 load", "24 VAC to common with the valve open, 0 shut"),
    _ac("fan", p.FAN, _LEAD_FUSE, "J2 fan", "24 VAC to common with the fan proven, 0 without"),
    _ac("heat_call", p.HEAT_CALL, _LEAD_FUSE, "J2 heat", "24 VAC to common on a heat call, 0 idle"),
    _loop("overflow", p.OVERFLOW, "J3", "0 V closed (dry), 3.3 V DC open (wet or broken)"),
    _loop("off_switch", p.OFF_SWITCH, "J3", "0 V at controller, 3.3 V DC at off and dial only"),
    _loop("absent", p.ABSENT, "J3", "0 V at home, 3.3 V DC away or broken"),
    _loop("look_button", p.LOOK_BUTTON, "S1", "3.3 V DC up, 0 V pressed"),
    _loop("alarm_button", p.ALARM_BUTTON, "S2", "3.3 V DC up, 0 V pressed"),
    _probe("leak", p.LEAK, "J4 leak", _WIRE),
    _probe("drain_wet", p.DRAIN, "J4 drain", _WIRE),
    (
        "probe_drive",
        "board",
        p.PROBE_DRIVE,
        _OUT,
        "none needed",
        "high: leak and drain are measured",
        "",
        "",
        "3.3 V",
        "",
        "",
        "none",
        "",
        "",
        "3.3 V DC for 50 ms of every second, else 0",
    ),
    (
        "lamp",
        "board",
        p.LAMP,
        _OUT,
        "none needed",
        "high: lit",
        "",
        "",
        "3.3 V; " + ohms(LAMP_OHM) + " in series",
        "",
        "0.005",
        "none",
        "",
        "D1",
        "3.3 V DC lit, 0 dark",
    ),
    (
        "i2c",
        "board",
        (p.SDA, p.SCL),
        _IN,
        "none; " + ohms(I2C_PULL_OHM) + " up to 3.3 V at the sensor",
        "data low, clock low",
        "",
        "",
        "3.3 V",
        "",
        "",
        "none; cable below 2 m",
        "",
        "J5",
        "3.3 V DC at rest",
    ),
    (
        "wire",
        "outdoor line",
        p.WIRE,
        _IN,
        "none; " + ohms(WIRE_PULL_OHM) + " up to 3.3 V",
        "low",
        "",
        "",
        "3.3 V; " + ohms(WIRE_ENTRY_OHM) + " and a 5 V clamp at the entry",
        "",
        "",
        "none; surge protection where the cable enters the house",
        "",
        "J6",
        "3.3 V DC at rest",
    ),
)

# Addresses on the I2C bus, and the sample each fills.
I2C_ADDRESSES = (
    (0x44, "SHT4x or SHT3x", "indoor_c, rh_pct"),
    (0x38, "AHT20", "indoor_c, rh_pct"),
    (0x45, "SHT4x or SHT3x", "room_c, room_rh_pct"),
)
