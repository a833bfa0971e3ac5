"""Our weather readers against pvlib's, every hour of whole files: nothing shifted, scaled or lost."""

import gzip
from pathlib import Path

import numpy
import pytest
from pvlib.iotools import read_epw, read_tmy3

from dewsim import weather

HERE = Path(__file__).parent / "weather"
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
EPW_HEAD = """LOCATION,Gro\xdfdorf,-,XXX,invented,999999,47.0,11.0,-3.5,900.0
DESIGN CONDITIONS,0
TYPICAL/EXTREME PERIODS,0
GROUND TEMPERATURES,0
HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0
COMMENTS 1,invented from a TMY3 file for this test
COMMENTS 2,none
DATA PERIODS,1,1,Data,Sunday,1/1,12/31"""


def agree(ours, theirs, names):
    """Every hour of four quantities equal; pvlib's column name and factor to our unit for each of ours."""
    for name, (column, factor) in names.items():
        mine, other = numpy.array(getattr(ours, name)), theirs[column].to_numpy(float) * factor
        assert mine.shape == other.shape == (8760,)
        assert name == "pressure_pa" or numpy.ptp(mine) > 0.0  # one all year at Sand Point
        numpy.testing.assert_allclose(mine, other, rtol=1e-12, atol=0.0, err_msg=name)


@pytest.mark.parametrize("name", ["703165TY.csv", "723170TYA.CSV"])
def test_tmy3_hour_by_hour(name, tmp_path):
    unpacked = tmp_path / name
    unpacked.write_bytes(gzip.decompress((HERE / f"{name}.gz").read_bytes()))
    theirs, site = read_tmy3(unpacked, coerce_year=2001, map_variables=True)
    ours = weather.read(HERE / f"{name}.gz")
    assert ours.kind == "tmy3" and ours.utc_offset_s == site["TZ"] * 3600
    assert site["Name"].strip('"') in ours.name
    agree(
        ours,
        theirs,
        {
            "outdoor_c": ("temp_air", 1.0),
            "rh_pct": ("relative_humidity", 1.0),
            "pressure_pa": ("pressure", 100.0),
            "wind_m_s": ("wind_speed", 1.0),
        },
    )
    # pvlib stamps the end of the hour too, with zone: the same instants
    seconds = [int(stamp.timestamp()) for stamp in theirs.index]
    assert seconds == [ours.start_utc_s + 3600 * i for i in range(8760)]
    assert weather.read(unpacked).outdoor_c == ours.outdoor_c


def epw_text(source):
    """An EPW year of a Weather's values in the format's 35 columns; the others are missing codes."""
    rows = [EPW_HEAD]
    at = 0
    for month, days in enumerate(MONTH_DAYS, 1):
        for day in range(1, days + 1):
            for hour in range(1, 25):
                rows.append(
                    f"{1980 + month},{month},{day},{hour},60,?9?9?9?9E0?9?9?9?9?9?9?9*9*9?9?9?9,"
                    f"{source.outdoor_c[at]:.1f},99.9,{source.rh_pct[at]:.0f},{source.pressure_pa[at]:.0f},"
                    "9999,9999,9999,9999,9999,9999,999999,999999,999999,9999,999,"
                    f"{source.wind_m_s[at]:.1f},99,99,9999,99999,9,999999999,999,.999,999,99,999,999,99"
                )
                at += 1
    return "\r\n".join(rows) + "\r\n"


def test_epw_hour_by_hour(tmp_path):
    """A written EPW with typical-year years, Latin-1, CRLF and a half-hour zone, read by both."""
    path = tmp_path / "place.epw"
    text = epw_text(weather.read(HERE / "723170TYA.CSV.gz"))
    path.write_bytes(text.encode("latin-1"))
    ours = weather.read(path)
    # pvlib opens files as UTF-8, so it gets the same text in that encoding
    twin = tmp_path / "twin.epw"
    twin.write_bytes(text.encode("utf-8"))
    theirs, site = read_epw(twin, coerce_year=2001)
    assert ours.kind == "epw" and ours.utc_offset_s == site["TZ"] * 3600 == -12600
    assert ours.name == "Gro\xdfdorf XXX"
    agree(
        ours,
        theirs,
        {
            "outdoor_c": ("temp_air", 1.0),
            "rh_pct": ("relative_humidity", 1.0),
            "pressure_pa": ("atmospheric_pressure", 1.0),
            "wind_m_s": ("wind_speed", 1.0),
        },
    )
    # pvlib stamps an EPW row at the hour's beginning; here a row is the hour that ends at its stamp
    seconds = [int(stamp.timestamp()) + 3600 for stamp in theirs.index]
    assert seconds == [ours.start_utc_s + 3600 * i for i in range(8760)]
    twin_read = weather.read(twin)
    assert twin_read.outdoor_c == ours.outdoor_c and twin_read.name == ours.name
