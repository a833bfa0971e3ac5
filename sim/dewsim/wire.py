"""Copper wire: resistance by size and temperature, and the volts that a length of it takes.

Solid wire by its geometry, d = 0.127 mm x 92**((36 - n)/39) for AWG n (ASTM B258), rho = 1.7241e-8 ohm m at 20 °C
(100 % IACS) and 0.00393 /K; within 0.15 % of NBS Handbook 100 (20 °C) and of the solid rows of NEC chapter 9 Table 8
(75 °C).  Metric sizes: the largest resistance that IEC 60228:2004 Table 1 allows for class 1, which is above the
nominal area's.  Stranded wire has about 2 % more.
"""

from math import pi

from dewsim.errors import InputError, shown

RHO_OHM_M = 1.7241e-8
PER_K = 0.00393
AWG_SIZES = range(14, 26, 2)
METRIC_OHM_KM = {"0.5": 36.0, "0.75": 24.5, "1.0": 18.1, "1.5": 12.1, "2.5": 7.41}  # at 20 °C
HOT_C = 75.0  # the temperature that Table 8 is stated for: a wire beside a furnace


def awg_ohm_km(size: int, t_c: float = 20.0) -> float:
    """Resistance [ohm/km] of solid copper wire of an AWG size at t_c [°C]."""
    diameter_m = 0.127e-3 * 92.0 ** ((36 - size) / 39.0)
    return 1000.0 * RHO_OHM_M / (0.25 * pi * diameter_m**2) * _warm(t_c)


def _warm(t_c: float) -> float:
    return 1.0 + PER_K * (t_c - 20.0)


def ohm_km(text: str, t_c: float = HOT_C) -> tuple:
    """(name, ohm/km at t_c) of a size as typed, "18", "18AWG" or "0.75mm2"; InputError."""
    plain = text.strip().lower().replace("²", "2").replace(" ", "")
    number = plain.removesuffix("awg")
    if number.isascii() and number.isdigit() and len(number) <= 2 and int(number) in AWG_SIZES:
        return f"AWG {int(number)}", awg_ohm_km(int(number), t_c)
    if plain.endswith("mm2"):
        for name, ohm in METRIC_OHM_KM.items():
            if _same(plain.removesuffix("mm2"), name):
                return f"{name} mm²", ohm * _warm(t_c)
    raise InputError(
        f"--wire: found {shown(text, 40)}, allowed is AWG {', '.join(str(n) for n in AWG_SIZES)} or "
        f"{', '.join(METRIC_OHM_KM)} mm2; correct it"
    )


def _same(text: str, name: str) -> bool:
    try:
        return len(text) <= 8 and float(text) == float(name)
    except ValueError:
        return False
