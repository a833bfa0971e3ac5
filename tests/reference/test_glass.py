"""The ceiling at the glass against published no-condensation tables, statements and rating indices.

A list of "so much RH at so many degrees outdoors" names no glass factor; each is read as the factor f it
implies, which must be one window's.  Most lists are known from secondary pages only: see how_known in their
rows.
"""

import pytest
from ceilings import glass_ceiling_pct

from dewcore import psychro
from dewcore.ceiling import glass_temperature_c
from dewcore.settings import Settings
from inverse import dew_point_c
from reference_tables import celsius, rows


def dew_ceiling_pct(indoor_c: float, outdoor_c: float, f: float) -> float:
    """The ceiling if frost did not count: dew over liquid water on the same glass."""
    return (
        100.0
        * psychro.sat_water_pa(glass_temperature_c(indoor_c, outdoor_c, f))
        / psychro.sat_water_pa(indoor_c)
    )


def implied_f(indoor_c: float, outdoor_c: float, rh_pct: float, frost: bool) -> float:
    """Factor of a window on which air at indoor_c, rh_pct just gets wet."""
    pa = psychro.vapour_pa(indoor_c, rh_pct)
    wet_c = psychro.wetting_point_c(pa) if frost else dew_point_c(pa)
    return (wet_c - outdoor_c) / (indoor_c - outdoor_c)


def test_ashrae_no_condensation_table():
    """ASHRAE Handbook, Systems and Equipment, Humidifiers, Table 1, 74 °F: RH values from memory.

    Single glazing is one factor, 0.216..0.237, on the frost point; double one factor, 0.543..0.559, on the
    dew point.  One typical factor each (0.22, 0.552) gives the whole column back within the rounding to 1 %
    RH and 0.2 % for the spread of the factor.
    """
    indoor_c = celsius(74.0)
    table = rows("02_window_ashrae_humidifiers_table")
    assert len(table) == 8
    for row in table:
        outdoor_c = celsius(float(row["outdoor_F"]))
        single, double = float(row["rh_limit_single_pct"]), float(row["rh_limit_double_pct"])
        f_single = implied_f(indoor_c, outdoor_c, single, frost=True)
        f_double = implied_f(indoor_c, outdoor_c, double, frost=False)
        assert 0.2155 <= f_single <= 0.2375, row["outdoor_F"]
        assert 0.5425 <= f_double <= 0.5595, row["outdoor_F"]
        assert f_single == pytest.approx(float(row["implied_fRsi_single_frost"]), abs=0.001)
        assert f_double == pytest.approx(float(row["implied_fRsi_double_dew"]), abs=0.001)
        assert glass_ceiling_pct(indoor_c, outdoor_c, 0.22, 0.0) == pytest.approx(single, abs=0.7)
        assert dew_ceiling_pct(indoor_c, outdoor_c, 0.552) == pytest.approx(double, abs=0.7)


def test_single_glazing_of_that_table_is_frost_and_would_not_fit_as_dew():
    """Read as dew point the same column wanders from 0.22 to 0.18: water and ice may not be swapped."""
    indoor_c = celsius(74.0)
    as_dew = [
        implied_f(indoor_c, celsius(float(row["outdoor_F"])), float(row["rh_limit_single_pct"]), frost=False)
        for row in rows("02_window_ashrae_humidifiers_table")
    ]
    assert min(as_dew) == pytest.approx(0.176, abs=0.002)
    assert max(as_dew) == pytest.approx(0.222, abs=0.002)


@pytest.mark.parametrize(
    ("panes", "outdoor_f", "f"),
    [("single pane", 30.0, 0.278), ("double pane", 0.0, 0.587), ("three layers", -40.0, 0.737)],
)
def test_extension_service_statements(panes, outdoor_f, f):
    """NDSU Extension, "Solve Winter Home Moisture Problems" (primary page seen).

    70 °F and 35 % RH just condenses.
    """
    row = [row for row in rows("02_window_point_checks") if f"for {panes}" in row["statement"]]
    assert len(row) == 1 and float(row[0]["implied_or_check"]) == f
    assert implied_f(celsius(70.0), celsius(outdoor_f), 35.0, frost=True) == pytest.approx(f, abs=0.001)
    assert glass_ceiling_pct(celsius(70.0), celsius(outdoor_f), f, 0.0) == pytest.approx(35.0, abs=0.1)


def test_federal_guide_specification_dew_points():
    """UFGS 08520A dew points at 70 °F, printed up to 1.3 °F off: 1.5 °F is all they can carry."""
    found = [row for row in rows("02_window_point_checks") if row["statement"].startswith("UFGS")]
    assert len(found) == 7
    for row in found:
        rh_pct = float(row["statement"].split(" % RH")[0].split()[-1])
        printed_c = celsius(float(row["statement"].split("printed ")[1].split()[0]))
        dew_c = dew_point_c(psychro.vapour_pa(celsius(70.0), rh_pct))
        assert dew_c == pytest.approx(printed_c, abs=1.5 / 1.8), row["statement"]


def test_advice_lists_every_row():
    """Lists of advised RH by outdoor temperature: the factor each needs at both ends of its step.

    0.15..0.58 in all; from secondary pages.
    """
    ends = {"cold": 0, "warm": 0}
    for row in rows("02_window_rh_advice_tables"):
        indoor_c, rh_pct = celsius(float(row["indoor_F"])), float(row["max_indoor_rh_pct"])
        for from_or_to, end in (("from", "cold"), ("to", "warm")):
            given = row[f"outdoor_{from_or_to}_C"]
            if not given:
                assert not row[f"fRsi_needed_at_{end}_end"]
                continue
            # the Fahrenheit column is the unrounded one for lists printed in °F, and converts the others
            # exactly
            outdoor_c = celsius(float(row[f"outdoor_{from_or_to}_F"]))
            needed = float(row[f"fRsi_needed_at_{end}_end"])
            assert outdoor_c == pytest.approx(float(given), abs=0.06)
            assert implied_f(indoor_c, outdoor_c, rh_pct, frost=False) == pytest.approx(needed, abs=0.0015)
            assert dew_ceiling_pct(indoor_c, outdoor_c, needed) == pytest.approx(rh_pct, abs=0.15)
            ends[end] += 1
    assert ends == {"cold": 30, "warm": 34}, "of 34 rows four have no cold end"


def test_the_list_for_double_glazing_needs_a_factor_near_a_half():
    """The 40/35/30/25/20/15 % list (University of Minnesota, from two secondary pages).

    The factor needed at the cold end of each step is 0.49..0.53.
    """
    listed = [
        row
        for row in rows("02_window_rh_advice_tables")
        if row["source"].startswith("University of Minnesota")
    ]
    cold = [
        implied_f(
            celsius(70.0), celsius(float(row["outdoor_from_F"])), float(row["max_indoor_rh_pct"]), frost=False
        )
        for row in listed
        if row["outdoor_from_F"]
    ]
    assert len(cold) == 5
    assert 0.49 <= min(cold) and max(cold) <= 0.535
    default = Settings()
    assert default.glass_f_night <= max(cold), "the default night factor is no better than the list's window"


@pytest.mark.parametrize(("index", "rh_pct"), [(40, 20), (50, 27), (60, 36), (70, 47)])
def test_temperature_index_at_the_rating_condition(index, rh_pct):
    """NFRC 500 / CSA A440 temperature index (100 f) at 21 / -18 °C.

    The RH figures are computed, the scale is from memory.
    """
    assert glass_ceiling_pct(21.0, -18.0, 0.01 * index, 0.0) == pytest.approx(rh_pct, abs=0.5)


def test_computed_limits_every_row():
    """462 rows, 8 glazings and 9 factors, -40..5 °C: plane glass by IAPWS and Murphy-Koop.

    Limits printed to 0.01 % RH.
    """
    table = rows("02_window_rh_limit_computed")
    assert len(table) == 462
    frosty = 0
    for row in table:
        indoor_c, outdoor_c, f = float(row["indoor_C"]), float(row["outdoor_C"]), float(row["fRsi"])
        where = (row["case"], indoor_c, outdoor_c)
        # f is printed to 0.0001, worth 0.003 K at 60 K
        assert glass_temperature_c(indoor_c, outdoor_c, f) == pytest.approx(
            float(row["surface_C"]), abs=0.004
        ), where
        frost, dew = float(row["rh_limit_frost_pct"]), float(row["rh_limit_dew_pct"])
        assert glass_ceiling_pct(indoor_c, outdoor_c, f, 0.0) == pytest.approx(frost, abs=0.025), where
        assert dew_ceiling_pct(indoor_c, outdoor_c, f) == pytest.approx(dew, abs=0.025), where
        frosty += frost < dew - 0.1
    assert frosty > 50, "rows on which ice and water differ visibly"


def test_common_practice_at_20_f_without_fog():
    """Common practice, no source: 23 to 26 % RH at 20 °F outdoors keeps ordinary windows clear.

    It is well below what double glazing would allow (the table above: 43 %), and just what the plain reset,
    with its fixed margin, allows for the default factors of night and day, 0.50 and 0.55.
    """
    indoor_c, outdoor_c = celsius(70.0), celsius(20.0)
    s = Settings()
    assert glass_ceiling_pct(indoor_c, outdoor_c, s.glass_f_night, s.plain_margin_k) == pytest.approx(
        23.0, abs=0.5
    )
    assert glass_ceiling_pct(indoor_c, outdoor_c, s.glass_f_day, s.plain_margin_k) == pytest.approx(
        26.0, abs=0.6
    )
    assert glass_ceiling_pct(indoor_c, outdoor_c, 0.55, 0.0) > 40.0
    assert glass_ceiling_pct(indoor_c, outdoor_c, 0.22, 0.0) < 26.0, "single panes would fog"
