"""How much a house leaks, from a blower door, from the year it was built: to air changes at 20 K and 4 m/s.

From a leakage area the air changes follow by the plant's own stack and wind coefficients (`dewsim.plant`), so that the
calculator and the simulated house cannot differ.

Blower door: flow = C dp**n; effective leakage area at 4 Pa, AL = Q4 sqrt(rho / (2 * 4 Pa)) (ASHRAE Handbook
Fundamentals, Ventilation and Infiltration; ASTM E779, from memory).  n = 0.65: mean of 7000 measurements 0.646
(Chan, Joh and Sherman 2013, fig. 3).

Year built: W. R. Chan, J. Joh and M. H. Sherman, "Analysis of air leakage measurements of US houses", Energy and
Buildings 66 (2013) 616-625, Table 1, eq. 4: ln(NL) by year, floor area and height, in the climate of coefficient 0
(humid, cold: zones A 6 to 7), a house neither rated for efficiency nor of low income.  Single houses scatter about it
by a factor of 1.56 (geometric standard deviation, section 4).  NL = 1000 (AL / area) (H / 2.5 m)**0.3 (ASHRAE Standard
119, from memory); height 3, 5.5 or 8 m for 1, 2 or 3 storeys (section 5).
"""

from math import exp, sqrt

from dewsim.plant import RATED_K, RATED_M_S, STACK, WIND

AIR_KG_M3 = 1.204  # at 20 °C and 101325 Pa
REFERENCE_PA = 4.0
TEST_PA = 50.0
EXPONENT = 0.65
REFERENCE_HEIGHT_M = 2.5
HEIGHTS_M = (3.0, 5.5, 8.0)
SCATTER = 1.56
# Air changes at 50 Pa over those in winter, attributed to Kronvall and Persily (M. H. Sherman, Energy and Buildings 10
# (1987) 81-86, whose abstract was seen); the figure itself from memory.
RULE_OF_20 = 20.0
# first year of each class, and its coefficient
BUILT = ((1960, -0.250), (1970, -0.433), (1980, -0.452), (1990, -0.654), (2000, -0.915), (9999, -1.058))
AREA_PER_M2 = -0.00208
HEIGHT_PER_M = 0.064


def leakage_area_cm2(flow_50_m3_h: float) -> float:
    """Effective leakage area at 4 Pa [cm2] of a house whose fan moves flow_50_m3_h [m3/h] at 50 Pa."""
    flow_m3_s = flow_50_m3_h / 3600.0 * (REFERENCE_PA / TEST_PA) ** EXPONENT
    return 1e4 * flow_m3_s * sqrt(AIR_KG_M3 / (2.0 * REFERENCE_PA))


def flow_50_m3_h(leakage_cm2: float) -> float:
    """Flow at 50 Pa [m3/h] of an effective leakage area [cm2]: inverse of leakage_area_cm2."""
    return leakage_cm2 / leakage_area_cm2(1.0)


def flow_m3_s(leakage_cm2: float, storeys: int, shelter: int, difference_k: float, wind_m_s: float) -> float:
    """Air flow [m3/s] through a leakage area: AL/1000 sqrt(Cs dT + Cw U**2), the basic model's equation."""
    stack, wind = STACK[storeys - 1], WIND[shelter - 1][storeys - 1]
    return leakage_cm2 / 1000.0 * sqrt(stack * abs(difference_k) + wind * wind_m_s * wind_m_s)


def rated_per_h(leakage_cm2: float, volume_m3: float, storeys: int, shelter: int) -> float:
    """Air changes [1/h] at 20 K and 4 m/s, as the house file's air_changes_per_h states them."""
    return 3600.0 * flow_m3_s(leakage_cm2, storeys, shelter, RATED_K, RATED_M_S) / volume_m3


def normalised_leakage(year: int, area_m2: float, storeys: int) -> float:
    """Geometric mean of the normalised leakage NL [-] of houses built in a year; area [m2] of heated floor."""
    coefficient = next(value for before, value in BUILT if year < before)
    return exp(coefficient + AREA_PER_M2 * area_m2 + HEIGHT_PER_M * HEIGHTS_M[storeys - 1])


def area_of_normalised_cm2(leakage: float, area_m2: float, storeys: int) -> float:
    """Effective leakage area [cm2] of a normalised leakage NL [-]."""
    return 10.0 * leakage * area_m2 * (REFERENCE_HEIGHT_M / HEIGHTS_M[storeys - 1]) ** 0.3


def class_text(year: int) -> str:
    """The class of years that a year belongs to."""
    lower = [0, *(before for before, _ in BUILT)]
    for n, (before, _) in enumerate(BUILT):
        if year < before:
            if n == 0:
                return f"before {before}"
            return f"{lower[n]} and later" if before == 9999 else f"{lower[n]} to {before - 1}"
    raise ValueError(year)
