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
_UP = "none; 47 kohm up to 3.3 V"
_WIRE = "in the 50 ms of a sample: 1.65 V DC dry, below 1.4 wet, 3.3 broken, 0 shorted"
_OPTO = "optocoupler; 24 VAC side and board side at least 5 mm apart"


def _ac(net: str, pin: int, fuse: str, terminal: str, expected: str) -> tuple:
    """A row of an AC sense."""
    heat = decimal(resistor_w(SURVIVES_VAC), 2) + " at 30 VAC; fit 0.25"
    pulses = "120 / 100 at 60 / 50 Hz; half wave 60 / 50"
    levels = ("5 VAC", "16 VAC", "30 VAC")
    return (net, "24 VAC", pin, _IN, _UP, "low in pulses") + levels + (pulses, heat, _OPTO, fuse, terminal, expected)


def _loop(net: str, pin: int, terminal: str, expected: str) -> tuple:
    """A row of a dry contact or a button."""
    levels = ("above 10 kohm", "below 1 kohm", "3.3 V; dry contact only")
    none = "none; 1 kohm and 100 nF at the pin"
    return (net, "board", pin, _IN, _UP, "low: loop closed") + levels + ("", "", none, "", terminal, expected)


def _probe(net: str, pin: int, terminal: str, expected: str) -> tuple:
    """A row of a wire that ends in a resistor."""
    levels = ("above 42 % of the drive", "1 to 42 % of the drive", "3.3 V; voltage of its own reads as broken")
    pull = "100 kohm up to probe_drive, 100 nF down"
    none = "none; 10 kohm to the pin"
    return (net, "board", pin, _IN, pull, "analogue") + levels + ("", "", none, "", terminal, expected)


# net, domain, pin, level at reset, pull, active level, must be off at or below, must be on at or above, survives,
# pulses a second, resistor [W], isolation, fuse, terminal, volts to expect in each state.
TABLE = (
    (
        "relay",
        "board; contact 24 VAC",
        p.RELAY,
        _OUT,
        "4.7 kohm down at the transistor's base",
        "high: contact closed, valve open",
        "0.4 V",
        "2.5 V",
        "3.3 V; contact 30 VAC, 2 A inductive",
        "",
        "",
        "relay, coil to contact",
        "own slow fuse before the contact",
        "K1 contact",
        "contact: terminal's 24 VAC across it when open under a live line, below 0.5 VAC when closed",
    ),
    _ac("line_sense", p.LINE_SENSE, "after the branch fuse", "J1 line", "24 VAC to common on a call, 0 idle"),
    _ac("load_sense", p.LOAD_SENSE, "after the branch fuse", "J1 load", "24 VAC to common with the valve open, 0 shut"),
    _ac("fan", p.FAN, "0.1 A on the sensed lead", "J2 fan", "24 VAC to common with the fan proven, 0 without"),
    _ac("heat_call", p.HEAT_CALL, "0.1 A on the sensed lead", "J2 heat", "24 VAC to common on a heat call, 0 idle"),
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
        "3.3 V; 1 kohm in series",
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
        "none; 4.7 kohm up to 3.3 V at the sensor",
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
        "none; 2.2 kohm up to 3.3 V",
        "low",
        "",
        "",
        "3.3 V; 100 ohm and a 5 V clamp at the entry",
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
