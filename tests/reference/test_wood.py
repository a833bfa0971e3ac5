"""Moisture content and width of wood against the tables and worked examples of the Wood Handbook."""

import pytest

from dewsim.floor import SPECIES, emc_pct, gap_mm
from reference_tables import celsius, rows

# name in data/04_wood_dimensional_change.csv: name here
TABLE_13_5 = {
    "Red oak, commercial": "red oak",
    "White oak, commercial": "white oak",
    "Maple, sugar (and black)": "sugar maple",
    "Ash, white": "ash",
    "Beech, American": "beech",
    "Birch, yellow": "yellow birch",
    "Cherry, black": "black cherry",
    "Hickory, pecan": "pecan hickory",
    "Walnut, black": "black walnut",
    "Maple, red": "red maple",
    "Douglas-fir, coast type": "douglas fir",
    "Fir, white": "white fir",
}
MM_PER_INCH = 25.4


def test_every_cell_of_table_4_2():
    """FPL-GTR-190 (2010) Table 4-2, 30..120 °F by 5..95 % RH, printed to 0.1 %."""
    table = rows("04_wood_emc_table4_2")
    assert len(table) == 190
    for row in table:
        where = (row["t_F"], row["rh_pct"])
        found = emc_pct(celsius(float(row["t_F"])), float(row["rh_pct"]))
        assert found == pytest.approx(float(row["table_4_2_emc_pct"]), abs=0.06), (
            where
        )  # half a digit and 0.01
        # an independent evaluation of eq. 4-5, and the same equation in its Fahrenheit coefficients
        assert found == pytest.approx(float(row["eq_4_5_Celsius_coefs"]), abs=0.0002), where
        assert found == pytest.approx(float(row["eq_4_5_Fahrenheit_coefs"]), abs=0.02), where


def test_equation_in_fahrenheit_coefficients_written_out_once():
    """70 °F, 40 % RH by the Fahrenheit column of data/04_wood_emc_coefficients.csv; Table 4-2: 7.7."""
    by_name = {row["parameter"]: row["Fahrenheit"] for row in rows("04_wood_emc_coefficients")}
    assert by_name["W"].startswith("330 + 0.452 T")
    t, h = 70.0, 0.40
    w = 330.0 + 0.452 * t + 0.00415 * t * t  # 381.98
    k = 0.791 + 0.000463 * t - 0.000000844 * t * t  # 0.8193
    k1 = 6.34 + 0.000775 * t - 0.0000935 * t * t  # 5.936
    k2 = 1.09 + 0.0284 * t - 0.0000904 * t * t  # 2.635
    top = k1 * k * h + 2.0 * k1 * k2 * (k * h) ** 2
    emc = 1800.0 / w * (k * h / (1.0 - k * h) + top / (1.0 + k1 * k * h + k1 * k2 * (k * h) ** 2))
    assert emc == pytest.approx(7.7, abs=0.05)
    assert emc_pct(celsius(t), 100.0 * h) == pytest.approx(emc, abs=0.02)


def test_every_coefficient_of_table_13_5():
    table = rows("04_wood_dimensional_change")
    assert sorted(row["species"] for row in table) == sorted(TABLE_13_5)
    assert sorted(SPECIES) == sorted(TABLE_13_5.values())
    for row in table:
        name = TABLE_13_5[row["species"]]
        # one metre by one percent is the coefficient in metres
        assert gap_mm(1000.0, name, 9.0, 8.0) == pytest.approx(1000.0 * float(row["CT_tangential"])), name
        assert gap_mm(1000.0, name, 9.0, 8.0, "radial") == pytest.approx(1000.0 * float(row["CR_radial"])), (
            name
        )


def test_handbook_example_flatsawn_white_fir():
    """FPL-GTR-190 p. 13-18/19, eq. 13-2: 232 mm from 8 to 11 % grows by 1.7 mm to 233.7 mm."""
    example = rows("04_wood_examples")[0]
    assert example["published_result"].startswith("1.7 mm (0.067 in.); final 233.7 mm")
    growth = -gap_mm(232.0, "white fir", 8.0, 11.0)
    assert growth == pytest.approx(1.7, abs=0.05)
    assert 232.0 + growth == pytest.approx(233.7, abs=0.05)


@pytest.mark.parametrize(("inches", "change_inches"), [(2.25, 0.0266), (3.25, 0.0385), (5.0, 0.0592)])
def test_red_oak_strip_from_40_to_20_percent(inches, change_inches):
    """Own example of data/04_wood_examples.csv (eq. 4-5, Table 13-5): 70 °F, 7.70 to 4.49 %."""
    wet, dry = emc_pct(celsius(70.0), 40.0), emc_pct(celsius(70.0), 20.0)
    assert (wet, dry) == (pytest.approx(7.70, abs=0.005), pytest.approx(4.49, abs=0.005))
    row = [row for row in rows("04_wood_examples") if f"strip {inches} in." in row["example"]]
    assert f"change -{change_inches} in." in row[0]["computed_result"]
    gap = gap_mm(inches * MM_PER_INCH, "red oak", wet, dry)
    assert gap == pytest.approx(change_inches * MM_PER_INCH, abs=0.00006 * MM_PER_INCH)


def test_trade_example_five_inch_red_oak():
    """A flooring magazine (Hardwood Floors, February 2017, p. 49, page text seen).

    From 30 to 60 % RH by 4.8 % moisture content a red oak board of 5 in. grows by 0.08856 in.
    """
    low, high = emc_pct(celsius(70.0), 30.0), emc_pct(celsius(70.0), 60.0)
    assert high - low == pytest.approx(4.8, abs=0.1)
    assert -gap_mm(5.0 * MM_PER_INCH, "red oak", 0.0, 4.8) == pytest.approx(0.08856 * MM_PER_INCH, rel=1e-9)
