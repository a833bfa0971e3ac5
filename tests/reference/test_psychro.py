"""Moist air checked against equations, tables and libraries that share no code with dewcore.psychro.

Oracles: IAPWS R7-97(2012) for liquid water and R14-08(2011) for ice (package iapws), the ASHRAE equations of
Hyland and Wexler (psychrolib, SI), RP-1485 real moist air and IF97 (CoolProp), and printed check values.
A tolerance is what the equation under test may be wrong by, plus what the oracle itself is known to be.
"""

import math

import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from iapws._iapws import _Sublimation_Pressure
from iapws.iapws97 import _PSat_T, _TSat_P

from dewcore import psychro
from inverse import dew_point_c
from reference_tables import celsius, rows

psychrolib.SetUnitSystem(psychrolib.SI)

# Largest deviations seen: water 0.038 %, at 24 °C; ice 0.051 %, at -31 °C.  A. L. Buck (J. Appl. Meteorol.
# 20, 1981) aims at 0.05 % in meteorological use (from memory); the ice figure is the one the module itself
# claims.
WATER = 0.0005
ICE = 0.0006
ALL_C = [quarter / 4 for quarter in range(-240, 241)]  # -60..60 °C
ALL_RH = [1, 2, 3, 5, 7, 10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 90, 95, 100]


def water_pa(t_c: float) -> float:
    """IAPWS R7-97 region 4 [Pa], 0 °C up."""
    return 1e6 * _PSat_T(max(t_c, 0.0) + 273.15)


def ice_pa(t_c: float) -> float:
    """IAPWS R14-08, ice Ih [Pa], 0 °C down."""
    return 1e6 * float(_Sublimation_Pressure(t_c + 273.15))


def ice_inverse_c(pa: float) -> float:
    """Frost point [°C] by bisection of R14-08: no formula is shared with the module's closed inverse."""
    low, high = -120.0, 0.01
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if ice_pa(middle) < pa else (low, middle)
    return low


def test_the_oracles_reproduce_their_own_printed_check_values():
    # IAPWS R7-97(2012) Table 35 and R14-08(2011) at 230 K, MPa; seen in the iapws package's tests
    assert _PSat_T(300.0) == pytest.approx(0.353658941e-2, rel=2e-9)
    assert _PSat_T(500.0) == pytest.approx(0.263889776e1, rel=2e-9)
    assert float(_Sublimation_Pressure(230.0)) == pytest.approx(8.94735e-6, rel=1e-6)


@pytest.mark.parametrize("t_c", [t for t in ALL_C if t >= 0.0])
def test_water_against_iapws_r7_97(t_c):
    assert psychro.sat_water_pa(t_c) == pytest.approx(water_pa(t_c), rel=WATER)
    assert psychro.sat_surface_pa(t_c) == pytest.approx(water_pa(t_c), rel=WATER)
    assert dew_point_c(water_pa(t_c)) == pytest.approx(max(t_c, 0.0), abs=0.008)
    assert psychro.wetting_point_c(water_pa(t_c)) == pytest.approx(max(t_c, 0.0), abs=0.008)


@pytest.mark.parametrize("t_c", [t for t in ALL_C if t < 0.0])
def test_ice_against_iapws_r14_08(t_c):
    assert psychro.sat_surface_pa(t_c) == pytest.approx(ice_pa(t_c), rel=ICE)
    assert psychro.wetting_point_c(ice_pa(t_c)) == pytest.approx(t_c, abs=0.006)


def test_saturation_table_every_row():
    """IAPWS, IF97, Hyland-Wexler, Murphy-Koop 2005 at whole degrees.

    Supercooled water as far as sources agree.
    """
    table = rows("01_psychrometrics_saturation")
    assert [float(row["t_C"]) for row in table] == [float(t) for t in range(-60, 61)]
    for row in table:
        t_c = float(row["t_C"])
        water, ice = psychro.sat_water_pa(t_c), psychro.sat_surface_pa(t_c)
        if t_c >= 0.0:
            assert water == pytest.approx(float(row["psat_water_IAPWS_R7_97_Pa"]), rel=WATER), t_c
            assert water == pytest.approx(float(row["psat_water_HylandWexler_ASHRAE_Pa"]), rel=WATER), t_c
        if t_c > 0.0:
            assert water == pytest.approx(float(row["psat_water_CoolProp_IF97_Pa"]), rel=WATER), t_c
        if t_c < 0.0:  # where a surface is judged over ice
            assert ice == pytest.approx(float(row["psub_ice_IAPWS_R14_08_Pa"]), rel=ICE), t_c
            assert ice == pytest.approx(float(row["psat_ice_HylandWexler_ASHRAE_Pa"]), rel=ICE), t_c
            assert ice == pytest.approx(float(row["psat_ice_MurphyKoop2005_Pa"]), rel=ICE), t_c


def test_supercooled_water_lies_between_murphy_koop_and_hyland_wexler():
    """The two recalled equations for water below 0 °C differ by 0.7 % at -40 and 4.8 % at -60 °C.

    Within 0.4 % of both down to -40 °C, the coldest weather expected; between them, to 0.1 %, all the way.
    """
    below = [row for row in rows("01_psychrometrics_saturation") if float(row["t_C"]) < 0.0]
    assert len(below) == 60
    for row in below:
        t_c = float(row["t_C"])
        water = psychro.sat_water_pa(t_c)
        koop = float(row["psat_water_MurphyKoop2005_Pa"])
        wexler = float(row["psat_water_HylandWexler_ASHRAE_Pa"])
        assert 0.999 * min(koop, wexler) <= water <= 1.001 * max(koop, wexler), t_c
        if t_c >= -40.0:
            assert water == pytest.approx(koop, rel=0.004), t_c
            assert water == pytest.approx(wexler, rel=0.004), t_c


@pytest.mark.parametrize("t_c", ALL_C)
def test_surface_pressure_against_psychrolib(t_c):
    """GetSatVapPres is over ice below its triple point, over water above: so is a cold surface."""
    assert psychro.sat_surface_pa(t_c) == pytest.approx(psychrolib.GetSatVapPres(t_c), rel=0.0004)


@pytest.mark.parametrize("t_c", [t for t in ALL_C if t > 0.0 and t == int(t)])
def test_water_against_coolprop_if97(t_c):
    if97_pa = PropsSI("P", "T", t_c + 273.15, "Q", 0, "IF97::Water")
    assert psychro.sat_water_pa(t_c) == pytest.approx(if97_pa, rel=WATER)


@pytest.mark.parametrize("t_c", range(-60, 61, 2))
def test_wetting_point_against_iapws_over_the_whole_range(t_c):
    """-60..60 °C and 1..100 % RH: dew point above 0 °C and frost point below, found from the IAPWS equations.

    The vapour pressure is the module's own, so only the inverses are judged; 0.008 K is 0.05 % of pressure.
    Frost points below -80 °C, the end of the module's range (air at -50 °C of 1 % RH), are not judged.
    """
    judged = 0
    for rh_pct in ALL_RH:
        pa = psychro.vapour_pa(t_c, rh_pct)
        frost = pa < 611.153  # saturation at 0 °C over ice; the equations meet there within 0.01 %
        expected = ice_inverse_c(pa) if frost else _TSat_P(max(pa, 611.213) * 1e-6) - 273.15
        if expected >= -80.0:
            judged += 1
            assert psychro.wetting_point_c(pa) == pytest.approx(expected, abs=0.008), (t_c, rh_pct)
    assert judged >= 13


@pytest.mark.parametrize("t_c", range(-60, 61, 4))
def test_wetting_point_against_psychrolib(t_c):
    """psychrolib's own dew point search from the same vapour pressure: over ice below 0 °C, to 0.001 K."""
    judged = 0
    for rh_pct in ALL_RH:
        pa = psychro.vapour_pa(t_c, rh_pct)
        expected = psychrolib.GetTDewPointFromVapPres(t_c + 10.0, pa)
        if expected >= -80.0:
            judged += 1
            assert psychro.wetting_point_c(pa) == pytest.approx(expected, abs=0.008), (t_c, rh_pct)
    assert judged >= 13


@pytest.mark.parametrize("t_c", range(0, 61, 4))
def test_dew_and_frost_point_against_coolprop_real_moist_air(t_c):
    """RP-1485 at 101325 Pa, RH over water (0 °C up); its real-gas terms are worth up to 0.02 K here."""
    for rh_pct in ALL_RH:
        expected = HAPropsSI("D", "T", t_c + 273.15, "R", 0.01 * rh_pct, "P", 101325.0) - 273.15
        found = psychro.wetting_point_c(psychro.vapour_pa(t_c, rh_pct))
        assert found == pytest.approx(expected, abs=0.03), (t_c, rh_pct)


@pytest.mark.parametrize("t_c", range(0, 61, 4))
def test_humidity_ratio_against_psychrolib_and_coolprop(t_c):
    """psychrolib: the same ideal mixture.  CoolProp: real gas, 0.5 % more at 40 °C, 0.8 % at 60 °C."""
    for rh_pct in ALL_RH:
        pa = psychro.vapour_pa(t_c, rh_pct)
        found = 0.001 * psychro.humidity_ratio_g_kg(pa, 101325.0)
        ideal = psychrolib.GetHumRatioFromRelHum(t_c, 0.01 * rh_pct, 101325.0)
        real = HAPropsSI("W", "T", t_c + 273.15, "R", 0.01 * rh_pct, "P", 101325.0)
        assert found == pytest.approx(ideal, rel=WATER), (t_c, rh_pct)
        assert 0.992 * real <= found <= 1.0005 * real, (t_c, rh_pct)
        assert psychro.vapour_from_ratio_pa(1000.0 * ideal, 101325.0) == pytest.approx(
            psychrolib.GetVapPresFromHumRatio(ideal, 101325.0), rel=1e-6
        )


def test_ice_and_water_are_told_apart():
    """20 °C, 10 % RH: dew point -12.54, frost point -11.18 °C.

    Computed from IAPWS and Murphy-Koop; psychrolib and CoolProp mean the frost point and say -11.18 too.
    """
    pa = psychro.vapour_pa(20.0, 10.0)
    assert dew_point_c(pa) == pytest.approx(-12.54, abs=0.01)
    assert psychro.wetting_point_c(pa) == pytest.approx(-11.18, abs=0.01)
    assert psychro.wetting_point_c(pa) == pytest.approx(
        psychrolib.GetTDewPointFromRelHum(20.0, 0.10), abs=0.01
    )
    # Dew point below frost point by 1.2, 2.2, 3.1 K at frost points of -10, -20, -30 °C (saturation table:
    # the ice column read backwards in the Murphy-Koop water column)
    for frost_c, below_k in ((-10.0, 1.2), (-20.0, 2.2), (-30.0, 3.1)):
        lower = frost_c - dew_point_c(psychro.sat_surface_pa(frost_c))
        assert lower == pytest.approx(below_k, abs=0.06), frost_c
    # ASHRAE Table 3 at -20 °C is ice, 103.24 Pa; water there is 125.50 (Murphy-Koop) or 125.63
    # (Hyland-Wexler)
    assert psychro.sat_surface_pa(-20.0) == pytest.approx(103.24, rel=ICE)
    assert psychro.sat_water_pa(-20.0) == pytest.approx(125.56, rel=0.001)
    assert psychro.vapour_pa(-20.0, 100.0) == psychro.sat_water_pa(-20.0), (
        "RH is over water at every temperature"
    )


def test_dew_and_frost_grid_every_row():
    """14 temperatures by 15 RH.

    Dew points over supercooled water only down to -40 °C, where sources still agree.
    """
    grid = rows("01_psychrometrics_dew_frost_grid")
    assert len(grid) == 210
    frost_rows = deep_rows = 0
    for row in grid:
        t_c, rh_pct = float(row["t_C"]), float(row["rh_pct_over_water"])
        where = (t_c, rh_pct)
        pa = psychro.vapour_pa(t_c, rh_pct)
        dew_c = float(row["dew_point_water_C"])
        # half a unit of the last printed digit, 0.0005 Pa, counts in the driest rows
        assert pa == pytest.approx(float(row["pw_Pa"]), rel=0.0012, abs=0.0006), where
        if dew_c >= 0.0:
            assert dew_point_c(pa) == pytest.approx(dew_c, abs=0.008), where
        elif dew_c >= -40.0:
            assert dew_point_c(pa) == pytest.approx(dew_c, abs=0.035), where
        else:
            deep_rows += 1
            assert dew_point_c(pa) == pytest.approx(dew_c, abs=0.25), where
        if row["frost_point_ice_C"]:
            frost_rows += 1
            frost_c = float(row["frost_point_ice_C"])
            assert psychro.wetting_point_c(pa) == pytest.approx(frost_c, abs=0.012), where
        ratio = 0.001 * psychro.humidity_ratio_g_kg(pa, 101325.0)
        assert ratio == pytest.approx(float(row["W_ideal_101325"]), rel=0.0012), where
    assert (frost_rows, deep_rows) == (107, 11), (
        "counted in the file: frost points given, dew points below -40 °C"
    )


def published(start: str) -> "list[tuple[float, dict[str, str]]]":
    """(temperature [°C], row) of the printed values whose quantity begins so and names a temperature."""
    found = []
    for row in rows("01_psychrometrics_published_checks"):
        name = row["quantity"]
        if name.startswith(start) and " t=" in name:
            number, unit = name.split(" t=")[1].split()[:2]
            found.append((float(number) if unit == "C" else celsius(float(number)), row))
    return found


def test_printed_saturation_pressures():
    """ASHRAE Handbook Fundamentals 2017 ch. 1 Table 3 (SI and I-P), as quoted in psychrolib's tests."""
    found = published("saturation pressure")
    assert len(found) == 12
    for t_c, row in found:
        pa = float(row["published_value"]) * (6894.757 if row["unit"] == "psia" else 1.0)
        rounding = 0.002 if t_c < -50.0 else 0.0001  # -60 °C is printed 1.08 Pa, three digits
        assert psychro.sat_surface_pa(t_c) == pytest.approx(pa, rel=ICE + rounding), row["quantity"]


def test_printed_humidity_ratios_of_saturated_air():
    """ASHRAE Table 2 is real moist air.

    The enhancement factor, 0.35..0.6 % here, is what an ideal mixture lacks.
    """
    found = published("saturation humidity ratio")
    assert len(found) == 6
    for t_c, row in found:
        printed = float(row["published_value"])
        ratio = 0.001 * psychro.humidity_ratio_g_kg(psychro.sat_surface_pa(t_c), 101325.0)
        assert 0.993 * printed <= ratio <= 1.0005 * printed, row["quantity"]


def test_printed_worked_values():
    """psychrolib's spreadsheet value exactly; ASHRAE Example 1 as far as its chart can be read (0.5 K)."""
    by_name = {row["quantity"]: row for row in rows("01_psychrometrics_published_checks")}
    spreadsheet = by_name["humidity ratio of vapour pressure 3169.7 Pa at 95461 Pa"]
    assert 0.001 * psychro.humidity_ratio_g_kg(3169.7, 95461.0) == pytest.approx(
        float(spreadsheet["published_value"]), rel=1e-9
    )
    # Example 1 was read off a chart: 40 °C, RH 14 %, dew point 7 °C, 0.0065 kg/kg
    pa = psychro.vapour_pa(40.0, 100.0 * float(by_name["relative humidity"]["published_value"]))
    assert dew_point_c(pa) == pytest.approx(float(by_name["dew point"]["published_value"]), abs=0.5)
    ratio = 0.001 * psychro.humidity_ratio_g_kg(pa, 101325.0)
    assert ratio == pytest.approx(float(by_name["humidity ratio"]["published_value"]), abs=0.0001)
    triple = by_name["triple point pressure"]
    assert psychro.sat_water_pa(0.01) == pytest.approx(float(triple["published_value"]), rel=WATER)


@pytest.mark.parametrize("t_c", [t + 0.5 for t in range(-60, 60)])
def test_slopes_against_the_numerical_derivative_of_iapws(t_c):
    """d ln p/dT by central difference over 0.2 K.

    The module's 0.1 % is what a 0.05 % wave in pressure does to it.
    """
    source_pa = ice_pa if t_c < 0.0 else water_pa
    slope = (math.log(source_pa(t_c + 0.1)) - math.log(source_pa(t_c - 0.1))) / 0.2
    assert psychro.sat_surface_slope_per_k(t_c) == pytest.approx(slope, rel=0.001)
    if t_c > 0.0:
        assert psychro.sat_water_slope_per_k(t_c) == pytest.approx(slope, rel=0.001)


def test_slope_of_supercooled_water_against_the_table():
    """Central difference of the Murphy-Koop column over 2 K, down to -40 °C.

    Ice is 10 % steeper and would fail.
    """
    table = {
        float(row["t_C"]): float(row["psat_water_MurphyKoop2005_Pa"])
        for row in rows("01_psychrometrics_saturation")
    }
    for t_c in range(-40, 0):
        slope = 0.5 * (math.log(table[t_c + 1.0]) - math.log(table[t_c - 1.0]))
        assert psychro.sat_water_slope_per_k(float(t_c)) == pytest.approx(slope, rel=0.006), t_c
