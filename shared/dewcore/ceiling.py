"""What each surface allows: the highest indoor RH at the glass, an opaque corner and the building's envelope.

All RH are in % over liquid water at the main sensor's air temperature.  Nothing here knows a margin of its own.
"""

from dewcore.psychro import sat_water_pa

# What set the target; the order is that of the record's codes.
BINDS_GLASS = 0
BINDS_OUTLOOK = 1
BINDS_CORNER = 2
BINDS_ENVELOPE = 3
BINDS_OWNER = 4
BINDS_NAMES = ("glass", "outlook", "corner", "envelope", "owner")

CORNER_RH = 0.80  # highest surface RH at an opaque corner: the mould criterion of EN ISO 13788:2012, clause 5
PA_PER_G_KG = 162.92  # 101325 / 621.945: vapour pressure per humidity ratio of very dry air, the larger side


def glass_temperature_c(indoor_c: float, outdoor_c: float, f: float) -> float:
    """Temperature [°C] of the coldest visible spot of a window with temperature factor f [-], 0..1.

    f = (t_glass - t_out) / (t_in - t_out), the f_Rsi of EN ISO 13788:2012.  Outdoor air warmer than the room
    gives a glass no warmer than the room: sun and summer are not modelled.
    """
    if outdoor_c > indoor_c:
        return indoor_c
    return indoor_c - (1.0 - f) * (indoor_c - outdoor_c)


def wet_glass_pct(indoor_sat_pa: float, room_excess_pa: float, surface_pa: float) -> float:
    """RH [%] at the main sensor at which the glass of the coldest room gets wet.

    indoor_sat_pa: saturation pressure of the main sensor's air; surface_pa: that of the glass (`sat_surface_pa`);
    room_excess_pa: that room's vapour pressure above the main sensor's, all in Pa.  Without excess and with the
    main room's glass this is the main room's own ceiling.  May be negative: then the room's own moisture is already
    too much.
    """
    return 100.0 * (surface_pa - room_excess_pa) / indoor_sat_pa


def dry_corner_pct(indoor_sat_pa: float, indoor_c: float, mean_outdoor_c: float, corner_f: float) -> float:
    """RH [%] that keeps an opaque corner of factor corner_f [-] at or below 80 % surface RH.

    indoor_sat_pa: saturation pressure [Pa] at indoor_c; mean_outdoor_c: the trailing 7-day mean [°C]; the standard's
    own period is a month (EN ISO 13788:2012).
    """
    corner_c = glass_temperature_c(indoor_c, mean_outdoor_c, corner_f)
    return 100.0 * CORNER_RH * sat_water_pa(corner_c) / indoor_sat_pa


def dry_envelope_pct(indoor_sat_pa: float, mean_outdoor_vapour_pa: float, excess_pa: float) -> float:
    """RH [%] at which indoor exceeds outdoor vapour pressure by excess_pa [Pa].

    mean_outdoor_vapour_pa: trailing 7-day mean [Pa].  The classes of EN ISO 13788:2012 Annex A bound the
    excess by 270, 540, 810, 1080 Pa in the cold; air carries it into walls and attic.
    """
    return 100.0 * (mean_outdoor_vapour_pa + excess_pa) / indoor_sat_pa
