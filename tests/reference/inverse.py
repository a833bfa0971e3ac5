"""The dew point over water, above and below freezing, by bisection of the program's own saturation pressure."""

from dewcore import psychro


def dew_point_c(pa: float) -> float:
    """Dew point over liquid water [°C] of a vapour pressure [Pa]; below 0 °C the program itself asks for frost."""
    low, high = -120.0, 100.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if psychro.sat_water_pa(middle) < pa else (low, middle)
    return low
