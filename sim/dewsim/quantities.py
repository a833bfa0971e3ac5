"""Quantities as people type and read them: a number with its unit in, SI out; one line of error; both systems shown."""

import re
from math import isfinite
from typing import NamedTuple

from dewcore.words import signed
from dewsim.errors import InputError, shown
from dewsim.units import LITRES_PER_GALLON

FOOT_M = 0.3048  # exact, as all inch and pound values here (NIST Handbook 44, appendix C)
POUND_KG = 0.45359237
WATER_KG_L = 0.9982  # at 20 °C; IAPWS R7-97
GALLON_KG = LITRES_PER_GALLON * WATER_KG_L
BTU_KJ = 1.05505585262  # International Table
NUMBER = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(\S.*)?")
LONGEST = 40

# kind: units by name, first the one of a bare number, each by how many of that one it is; then how to show it: name of
# the SI unit, name of the US unit, US units in one SI unit.
FACTORS = {
    "volume": {"m3": 1.0, "ft3": FOOT_M**3},
    "area": {"m2": 1.0, "ft2": FOOT_M**2},
    "length": {"m": 1.0, "ft": FOOT_M, "cm": 0.01, "in": FOOT_M / 12},
    "air": {"m3/h": 1.0, "cfm": 60 * FOOT_M**3, "L/s": 3.6},
    "changes": {"1/h": 1.0, "/h": 1.0, "ACH": 1.0},
    "wind": {"m/s": 1.0, "mph": 0.44704, "km/h": 1 / 3.6},
    "water": {
        "kg/h": 1.0,
        "L/h": WATER_KG_L,
        "L/day": WATER_KG_L / 24,
        "lb/h": POUND_KG,
        "gal/h": GALLON_KG,
        "gal/day": GALLON_KG / 24,
    },
    "power": {"kW": 1.0, "W": 0.001, "Btu/h": BTU_KJ / 3600},
    "loss": {"W/K": 1.0, "Btu/h/F": 1.8 * BTU_KJ / 3.6},
    "current": {"mA": 1.0, "A": 1000.0},
    "voltage": {"V": 1.0, "mV": 0.001},
    "apparent": {"VA": 1.0},
    "watts": {"W": 1.0, "mW": 0.001},
    "frequency": {"Hz": 1.0},
    "resistance": {"ohm": 1.0, "kohm": 1000.0},
    "percent": {"%": 1.0, "%RH": 1.0},
    "factor": {"": 1.0},
    "temperature": {"C": 1.0, "F": 1.0},
    "difference": {"K": 1.0, "F": 1 / 1.8},
    "time": {"h": 1.0, "min": 1 / 60, "day": 24.0},
}
SHOWN = {
    "volume": ("m³", "ft³", 1 / FOOT_M**3),
    "area": ("m²", "ft²", 1 / FOOT_M**2),
    "length": ("m", "ft", 1 / FOOT_M),
    "air": ("m³/h", "cfm", 1 / (60 * FOOT_M**3)),
    "wind": ("m/s", "mph", 1 / 0.44704),
    "water": ("kg/h", "lb/h", 1 / POUND_KG),
    "water a day": ("L/day", "gal/day", 1 / LITRES_PER_GALLON),
    "litres": ("L", "gal", 1 / LITRES_PER_GALLON),
    "mass": ("kg", "lb", 1 / POUND_KG),
    "power": ("kW", "Btu/h", 3600 / BTU_KJ),
    "loss": ("W/K", "Btu/h/°F", 3.6 / BTU_KJ / 1.8),
    "energy": ("kWh", "therm", 3600 / BTU_KJ / 1e5),
    "temperature": ("°C", "°F", 1.8),
    "difference": ("K", "°F", 1.8),
    "resistance a length": ("ohm/km", "ohm/1000 ft", FOOT_M),
}
US_PLACES = {"volume": -1, "area": 0, "air": 0, "power": 0, "temperature": 0, "difference": 1, "loss": 0}


class Range(NamedTuple):
    """What an option allows: its kind of quantity and its bounds in SI."""

    kind: str
    lo: float
    hi: float


def to_si(number: float, unit: str, kind: str) -> float:
    """A number of `unit` in the kind's SI unit."""
    if kind == "temperature":
        return (number - 32.0) / 1.8 if unit == "F" else number
    return number * FACTORS[kind][unit]


def from_si(value: float, unit: str, kind: str) -> float:
    """An SI value in `unit`."""
    if kind == "temperature":
        return value * 1.8 + 32.0 if unit == "F" else value
    return value / FACTORS[kind][unit]


def read(option: str, text: str, allowed: Range) -> float:
    """The SI value of an option's text, such as "16000ft3"; InputError for anything the option does not allow."""
    number, unit = _split(option, text.strip().replace("\u2212", "-"), allowed)
    known = FACTORS[allowed.kind]
    name = _unit_named(unit, known)
    if name is None:
        raise InputError(f"{option}: found the unit {shown(repr(unit), 20)}, allowed is {_listed(known)}; correct it")
    value = to_si(number, name, allowed.kind)
    if not allowed.lo <= value <= allowed.hi:
        raise InputError(
            f"{option}: found {shown(text, LONGEST)}, allowed is {bounds(allowed)}; {_meant(number, unit, allowed)}"
        )
    return value


def needs_unit(option: str, text: str, allowed: Range) -> None:
    """Where US units come first, a bare number of a kind that has both systems means two things; InputError."""
    found = NUMBER.fullmatch(text.strip())
    if allowed.kind in SHOWN and found and not found.group(2):
        names = [name for name in FACTORS[allowed.kind] if name]
        number = shown(found.group(1), LONGEST)
        raise InputError(
            f"{option}: found {number} without a unit, allowed beside --units us is a number with it; give "
            f"{number}{names[1]} or {number}{names[0]}"
        )


def _split(option: str, text: str, allowed: Range) -> tuple:
    """Number and unit of a text, unit "" where none is given."""
    found = NUMBER.fullmatch(text) if len(text) <= LONGEST else None
    number = float(found.group(1)) if found else float("nan")
    if not isfinite(number):
        raise InputError(
            f"{option}: found {shown(repr(text), LONGEST)}, allowed is a number with its unit, {bounds(allowed)}; "
            "correct it"
        )
    return number, (found.group(2) or "")


def _unit_named(unit: str, known: dict) -> str | None:
    """The table's unit for what was typed: case, °, ² and ³ do not matter; the first where nothing was typed."""
    plain = unit.replace("°", "").replace("²", "2").replace("³", "3").replace("Ω", "ohm").lower()
    if not plain:
        return next(iter(known))
    return next((name for name in known if name.lower() == plain), None)


def _listed(known: dict) -> str:
    return " or ".join(name for name in known if name) or "a number without one"


def bounds(allowed: Range) -> str:
    """The bounds in words, in the kind's own unit and, where it has a second system, in that."""
    known = FACTORS[allowed.kind]
    first = next(iter(known))
    text = f"{_short(allowed.lo)} to {_short(allowed.hi)}{' ' if first else ''}{first}"
    if allowed.kind in SHOWN:
        for unit in known:
            if unit in ("ft3", "ft2", "ft", "cfm", "lb/h", "Btu/h", "Btu/h/F", "F", "mph"):
                lo, hi = (from_si(end, unit, allowed.kind) for end in (allowed.lo, allowed.hi))
                return text + f" ({_short(lo)} to {_short(hi)} {unit})"
    return text


def _short(value: float) -> str:
    """A bound without needless digits."""
    return f"{value:.0f}" if abs(value) >= 100.0 else f"{value:.3g}"


def _meant(number: float, unit: str, allowed: Range) -> str:
    """What to do: which unit may have been meant, where none or a wrong one was given."""
    known = FACTORS[allowed.kind]
    given = _unit_named(unit, known)
    names = [
        name
        for name in known
        if name and name != given and allowed.lo <= to_si(number, name, allowed.kind) <= allowed.hi
    ]
    if not names:
        return "correct it"
    return f"if it is {' or '.join(names)}, write {number:g}{names[-1]}, or correct it"


def both(value: float, kind: str, places: int = 2) -> tuple:
    """(SI text, US text) of an SI value, each with its unit."""
    si, us, factor = SHOWN[kind]
    other = value * factor + (32.0 if kind == "temperature" else 0.0)
    return f"{plain(value, places)} {si}", f"{plain(other, min(places, US_PLACES.get(kind, places)))} {us}"


def plain(value: float, places: int) -> str:
    """Fixed places, below 0 whole tens and more; a true minus sign, no negative zero."""
    text = f"{round(value, places):.{max(0, places)}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else signed(text)
