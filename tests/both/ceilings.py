"""The program's ceilings for tests that think in temperatures: its own formulas, fed as a scan feeds them."""

from dewcore.ceiling import dry_corner_pct, dry_envelope_pct, glass_temperature_c, wet_glass_pct
from dewcore.psychro import sat_surface_pa, sat_water_pa


def glass_ceiling_pct(indoor_c, outdoor_c, f, margin_k):
    """RH [%] at which the glass of factor f, cooled by margin_k [K], gets wet: dew, or frost below 0 °C."""
    return room_ceiling_pct(indoor_c, 0.0, glass_temperature_c(indoor_c, outdoor_c, f) - margin_k)


def room_ceiling_pct(indoor_c, room_excess_pa, glass_c):
    """RH [%] at the main sensor at which the coldest room's glass, at glass_c [°C], gets wet."""
    return wet_glass_pct(sat_water_pa(indoor_c), room_excess_pa, sat_surface_pa(glass_c))


def corner_ceiling_pct(indoor_c, mean_outdoor_c, corner_f):
    """RH [%] that keeps a corner of factor corner_f at or below 80 % surface RH."""
    return dry_corner_pct(sat_water_pa(indoor_c), indoor_c, mean_outdoor_c, corner_f)


def envelope_ceiling_pct(indoor_c, mean_outdoor_vapour_pa, excess_pa):
    """RH [%] at which indoor exceeds outdoor vapour pressure by excess_pa [Pa]."""
    return dry_envelope_pct(sat_water_pa(indoor_c), mean_outdoor_vapour_pa, excess_pa)
