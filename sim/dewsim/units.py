"""How quantities are written for people: SI or US units, fixed digits, a true minus sign."""

from dewcore.words import signed

MINUS = signed("-")
SPACE = "\u00a0"
LITRES_PER_GALLON = 3.785411784  # US liquid gallon, exact (NIST Handbook 44, appendix C)
MM_PER_INCH = 25.4  # exact


def number(value: float, places: int = 1) -> str:
    """A number with fixed places, thousands apart, no negative zero."""
    text = f"{abs(value):,.{places}f}".replace(",", "\u202f")
    return MINUS + text if value < 0 and text.strip("0.") else text


def minutes_text(count: int) -> str:
    """A count of minutes in words."""
    return "1 minute" if count == 1 else f"{number(count, 0)} minutes"


def counted(count: int, noun: str) -> str:
    """A count with its noun: 1 load, 2 loads."""
    return f"{count} {noun}" + "s" * (count != 1)


class Units:
    """Conversion and text for one system, "si" or "us"; every argument is SI."""

    def __init__(self, system: str):
        self.us = system == "us"
        self.temperature_unit = "°F" if self.us else "°C"
        self.difference_unit = "°F" if self.us else "K"
        self.water_unit = "US gal" if self.us else "L"
        self.length_unit = "in" if self.us else "mm"

    def temperature(self, c: float) -> float:
        """Temperature c [°C] in this system's degrees."""
        return c * 1.8 + 32.0 if self.us else c

    def difference(self, k: float) -> float:
        """Temperature difference k [K] in this system's degrees."""
        return k * 1.8 if self.us else k

    def water(self, litres: float) -> float:
        """Volume of water [L] in this system's unit."""
        return litres / LITRES_PER_GALLON if self.us else litres

    def length(self, mm: float) -> float:
        """Length [mm] in this system's unit."""
        return mm / MM_PER_INCH if self.us else mm

    def temperature_text(self, c: float, places: int = 1) -> str:
        """Temperature with its unit."""
        return number(self.temperature(c), places) + SPACE + self.temperature_unit

    def difference_text(self, k: float, places: int = 1) -> str:
        """Temperature difference with its unit."""
        return number(self.difference(k), places) + SPACE + self.difference_unit

    def length_text(self, mm: float) -> str:
        """Small length with its unit: 0.01 mm or 0.001 in."""
        return number(self.length(mm), 3 if self.us else 2) + SPACE + self.length_unit
