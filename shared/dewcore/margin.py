"""What the tolerances of the readings and of the glass factor cost, in % RH and in kelvin at the glass, by parts.

The parts are the partial derivatives of the glass ceiling times each tolerance, joined as the root of the sum
of squares (JCGM 100:2008, GUM, eq. 10, independent inputs, the tolerance taken as the bound).  The slopes are
the exact ones of `psychro` at the glass, steeper over ice than the 7 %/K of water near 5 °C.
"""

from math import sqrt

from dewcore.psychro import sat_surface_slope_per_k, sat_water_slope_per_k
from dewcore.settings import Settings


class Margin:
    """The tolerance margin and its parts; `set` fills it in place."""

    __slots__ = ("rh_pct", "indoor_pct", "outdoor_pct", "factor_pct", "total_pct", "total_k", "per_k_pct")

    def __init__(self) -> None:
        self.rh_pct: float = 0.0
        self.indoor_pct: float = 0.0
        self.outdoor_pct: float = 0.0
        self.factor_pct: float = 0.0
        self.total_pct: float = 0.0
        self.total_k: float = 0.0
        self.per_k_pct: float = 0.0  # what a kelvin at the glass is worth [% RH]

    def set(
        self,
        ceiling_pct: float,
        surface_pct: float,
        glass_c: float,
        f: float,
        indoor_c: float,
        outdoor_c: float,
        tolerances: "Settings",
    ) -> float:
        """Fill all parts for one ceiling and return the total [% RH].

        ceiling_pct: the ceiling at the main sensor [% RH]; surface_pct: the same without the coldest room's
        own excess, so that 100 % of it acts on the glass; glass_c: the (cooled) glass the ceiling was taken
        at [°C]; tolerances: rh_tolerance_pct, indoor_tolerance_k, outdoor_tolerance_k, f_tolerance.
        """
        slope = sat_surface_slope_per_k(glass_c)
        per_k = self.per_k_pct = surface_pct * slope
        self.rh_pct = tolerances.rh_tolerance_pct
        indoor = per_k * f - ceiling_pct * sat_water_slope_per_k(indoor_c)
        self.indoor_pct = abs(indoor) * tolerances.indoor_tolerance_k
        self.outdoor_pct = per_k * (1.0 - f) * tolerances.outdoor_tolerance_k
        spread = indoor_c - outdoor_c if outdoor_c < indoor_c else 0.0  # no warmer glass than the room
        self.factor_pct = per_k * spread * tolerances.f_tolerance
        self.total_pct = sqrt(
            self.rh_pct * self.rh_pct
            + self.indoor_pct * self.indoor_pct
            + self.outdoor_pct * self.outdoor_pct
            + self.factor_pct * self.factor_pct
        )
        self.total_k = self.total_pct / per_k if per_k > 0.0 else 0.0
        return self.total_pct
