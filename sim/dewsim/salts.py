"""Humidity over saturated salts, for checking a sensor: published values with their uncertainty, and their hazards.

L. Greenspan, "Humidity fixed points of binary saturated aqueous solutions", J. Res. NBS 81A (1977) 89-96, Table 2; the
rows in data/salts.csv say what of them was seen and what is from memory.  Between its steps of 5 °C taken as linear.
"""

import csv
from importlib import resources

from dewsim.errors import InputError, shown

# salt: (common name, hazards, what it is good for); hazards from memory of the usual labels, read the package's own
KINDS = {
    "LiCl": (
        "lithium chloride",
        "harmful if swallowed, irritates skin and eyes",
        "below every target; a check of the low end only",
    ),
    "MgCl2": (
        "magnesium chloride, food or bath grade",
        "irritates mildly; draws water, keep it closed",
        "first choice for the dry point",
    ),
    "K2CO3": (
        "potassium carbonate",
        "irritates eyes, skin and airways: eye protection",
        "a second opinion near the target",
    ),
    "NaBr": ("sodium bromide", "harmful in quantity; no food grade", "not needed at home"),
    "NaCl": ("table salt without additives", "none beyond salt: corrodes contacts", "first choice for the humid point"),
    "KCl": ("potassium chloride, salt substitute", "harmful in quantity", "above what the sensor is used for"),
}
RECOMMENDED = ("MgCl2", "NaCl")
LEAST_C, MOST_C = 5.0, 30.0


def table() -> dict:
    """{salt: [(t_c, rh_pct, uncertainty_pct), ...]} in the order of temperature."""
    found: dict = {}
    text = (resources.files("dewsim") / "data" / "salts.csv").read_text("utf-8")
    for row in csv.DictReader(text.splitlines()):
        found.setdefault(row["salt"], []).append(
            tuple(float(row[name]) for name in ("t_c", "rh_pct", "uncertainty_pct"))
        )
    return found


def named(text: str) -> str:
    """The salt that was typed, whatever its case; InputError."""
    plain = text.strip().lower()
    for name in KINDS:
        if name.lower() == plain:
            return name
    raise InputError(f"--point: found the salt {shown(repr(text), 20)}, allowed is {', '.join(KINDS)}; correct it")


def over(salt: str, t_c: float) -> tuple:
    """(RH, its uncertainty) [%] over a saturated salt at t_c [°C, 5..30]."""
    rows = table()[salt]
    if not LEAST_C <= t_c <= MOST_C:
        raise ValueError(t_c)
    for low, high in zip(rows, rows[1:]):
        if t_c <= high[0]:
            share = (t_c - low[0]) / (high[0] - low[0])
            return low[1] + share * (high[1] - low[1]), low[2] + share * (high[2] - low[2])
    raise AssertionError("the table ends below MOST_C")
