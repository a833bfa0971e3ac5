"""Why the owner bought a humidifier: what the winter's dryness does to a wooden floor board.

Equilibrium moisture content (EMC): USDA Forest Products Laboratory, Wood Handbook, FPL-GTR-190 (2010), eq.
4-5 with the coefficients for degrees Celsius.  It reproduces the handbook's Table 4-2 within 0.06 % moisture
content over 30..120 °F and 5..95 % RH (tests/reference/test_wood.py), which is the range accepted here; a
single curve for all species, between wetting and drying.

Width: eq. 13-2 of the same handbook, change = width * coefficient * change of moisture content, coefficients
of Table 13-5, given there for 6..14 % moisture content.  A dry winter room (20 % RH, 4.5 %) lies below that
range; the straight line is carried on to it here, an assumption.

How fast: a board follows weeks, not hours.  The first-order lag of 7 days is an assumption between two
observations: a crack in old furniture followed the room's RH 41 hours late (B. Knight and D. Thickett,
"Determination of response rates of wooden objects to fluctuating relative humidity in historic properties",
read as abstract), and a bare 10 mm panel, open on one side, comes half way in about 50 days (wood pages of
conservationphysics.org).  A shorter lag gives a larger swing and a wider gap, so 7 days is on the side that
does not make the floor look too quiet.  Finish, underlay and heating in the floor are not modelled.
"""

from array import array
from math import exp

from dewsim.errors import InputError

LOWEST_C = -1.2  # 30 °F, the lowest row of Table 4-2
HIGHEST_C = 49.0  # 120 °F, the highest row compared
HIGHEST_MC_PCT = 30.0  # near fibre saturation wood stops swelling (Wood Handbook ch. 4)
HIGHEST_BOARD_MM = 1000.0
TIME_CONSTANT_H = 168.0  # see above
WEEK_H = 168

# name: (the handbook's name, radial, tangential), change of width per % of moisture content; FPL-GTR-190
# Table 13-5, p. 13-18, read as page text of a scan.  Two figures are from memory, as noted.
SPECIES = {
    "red oak": ("Red oak, commercial", 0.00158, 0.00369),
    "white oak": ("White oak, commercial", 0.00180, 0.00365),
    "ash": ("Ash, white", 0.00169, 0.00274),
    "sugar maple": ("Maple, sugar", 0.00165, 0.00353),
    "red maple": ("Maple, red", 0.00137, 0.00289),
    "beech": ("Beech, American", 0.00190, 0.00431),
    "yellow birch": ("Birch, yellow", 0.00256, 0.00338),
    "black cherry": ("Cherry, black", 0.00126, 0.00248),
    "pecan hickory": ("Hickory, pecan", 0.00169, 0.00315),
    "black walnut": ("Walnut, black", 0.00190, 0.00274),
    "douglas fir": ("Douglas-fir, coast type", 0.00165, 0.00267),  # radial from memory
    "white fir": (
        "Fir, white",
        0.00112,
        0.00245,
    ),  # tangential from memory; fits the handbook's worked example
}
CUTS = ("radial", "tangential")  # quartersawn boards move radially across their width, flatsawn tangentially


def emc_pct(t_c: float, rh_pct: float) -> float:
    """Equilibrium moisture content [% of dry mass] of wood at t_c [°C, -1.2..49] and rh_pct [%, 0..100].

    FPL-GTR-190 (2010) eq. 4-5, Celsius coefficients; compared with Table 4-2 over 5..95 % RH.
    InputError outside the ranges.
    """
    if not LOWEST_C <= t_c <= HIGHEST_C:
        raise InputError(
            f"floor: temperature {t_c} °C; the wood equation is used from {LOWEST_C} to {HIGHEST_C} °C; "
            "check the indoor temperature"
        )
    if not 0.0 <= rh_pct <= 100.0:
        raise InputError(f"floor: relative humidity {rh_pct} %; it must be 0 to 100 %; check the humidity")
    w = 349.0 + t_c * (1.29 + 0.0135 * t_c)
    k = 0.805 + t_c * (0.000736 - 0.00000273 * t_c)
    k1 = 6.27 - t_c * (0.00938 + 0.000303 * t_c)
    k2 = 1.91 + t_c * (0.0407 - 0.000293 * t_c)
    kh = k * 0.01 * rh_pct
    a = k1 * kh
    b = a * k2 * kh
    return 1800.0 / w * (kh / (1.0 - kh) + (a + 2.0 * b) / (1.0 + a + b))


def coefficient(species: str, cut: str = "tangential") -> float:
    """Change of width per % of moisture content [1/%]: species of SPECIES; cut "tangential" or "radial"."""
    if species not in SPECIES:
        raise InputError(f"floor.species: {species!r} is not known; use one of: {', '.join(SPECIES)}")
    if cut not in CUTS:
        raise InputError(
            f"floor: cut {cut!r} is not known; use tangential (flatsawn) or radial (quartersawn)"
        )
    return SPECIES[species][1 + CUTS.index(cut)]


def gap_mm(board_mm: float, species: str, from_pct: float, to_pct: float, cut: str = "tangential") -> float:
    """Gap [mm] that opens at a board board_mm wide when it dries from from_pct to to_pct [% moisture
    content].

    FPL-GTR-190 eq. 13-2.  Positive when the board shrinks, negative when it swells.  board_mm is its width at
    from_pct, 1..1000 mm; moisture contents 0..30 %.  InputError outside, or for an unknown species or cut.
    """
    if not 1.0 <= board_mm <= HIGHEST_BOARD_MM:
        raise InputError(
            f"floor.board_mm: {board_mm} mm; allowed are 1 to {HIGHEST_BOARD_MM:g} mm; give one board's width"
        )
    for mc in (from_pct, to_pct):
        if not 0.0 <= mc <= HIGHEST_MC_PCT:
            raise InputError(
                f"floor: moisture content {mc} %; allowed are 0 to {HIGHEST_MC_PCT:g} %; check the humidity"
            )
    return board_mm * coefficient(species, cut) * (from_pct - to_pct)


class BoardTrack:
    """One board's moisture content [%] as it follows the room with a first-order lag, and its extremes."""

    __slots__ = ("_dt_s", "_share", "max_pct", "mc_pct", "min_pct", "time_constant_h")

    def __init__(self, start_pct: float, time_constant_h: float = TIME_CONSTANT_H) -> None:
        """start_pct [%], 0..30; time_constant_h [h], 1..10000.  InputError outside."""
        if not 0.0 <= start_pct <= HIGHEST_MC_PCT:
            raise InputError(
                f"floor: start moisture content {start_pct} %; allowed are 0 to {HIGHEST_MC_PCT:g} %"
            )
        if not 1.0 <= time_constant_h <= 10000.0:
            raise InputError(f"floor: time constant {time_constant_h} h; allowed are 1 to 10000 h")
        self.mc_pct = self.min_pct = self.max_pct = start_pct
        self.time_constant_h = time_constant_h
        self._dt_s = self._share = 0.0  # the share of the way to equilibrium that a step of _dt_s goes

    def step(self, dt_s: float, t_c: float, rh_pct: float) -> float:
        """Moisture content [%] after dt_s [s, >= 0] in air at t_c [°C], rh_pct [%]; exact in constant air."""
        if dt_s != self._dt_s:
            if not 0.0 <= dt_s:
                raise InputError(f"floor: step {dt_s} s; it must not be negative")
            self._dt_s = dt_s
            self._share = 1.0 - exp(-dt_s / (3600.0 * self.time_constant_h))
        mc = self.mc_pct + (emc_pct(t_c, rh_pct) - self.mc_pct) * self._share
        self.mc_pct = mc
        if mc < self.min_pct:
            self.min_pct = mc
        elif mc > self.max_pct:
            self.max_pct = mc
        return mc


def track(hourly_c, hourly_rh_pct, time_constant_h: float = TIME_CONSTANT_H) -> "tuple[array, float, float]":
    """(moisture content [%] at the end of each hour, lowest, highest) of a board over hourly mean air.

    hourly_c [°C] and hourly_rh_pct [%] are equally long sequences.  The board starts in equilibrium with the
    mean of its first week, so the first hour of the season does not set the extremes.  InputError if empty or
    of unequal length, or for air outside emc_pct's range.
    """
    n = len(hourly_c)
    if n == 0 or n != len(hourly_rh_pct):
        raise InputError(
            f"floor: {n} temperatures and {len(hourly_rh_pct)} humidities; as many of each are needed, "
            "at least one"
        )
    first = min(n, WEEK_H)
    board = BoardTrack(
        emc_pct(sum(hourly_c[:first]) / first, sum(hourly_rh_pct[:first]) / first), time_constant_h
    )
    series = array("d", bytes(8 * n))
    for i in range(n):
        series[i] = board.step(3600.0, hourly_c[i], hourly_rh_pct[i])
    return series, board.min_pct, board.max_pct
