"""The weather readers: what they accept, fill and say, and that broken files are refused in one line."""

import gzip
import math
import time
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from dewcore import psychro
from dewsim import weather
from dewsim.errors import InputError

REAL = Path(__file__).parents[1] / "reference" / "weather"
HEAD = "time,outdoor_c,rh_pct,wind_m_s,pressure_pa"


def write(tmp_path, name, text, encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding) if isinstance(text, str) else text)
    return path


def own_rows(n=6, first_hour=0):
    return [f"2025-01-01T{first_hour + i:02d}:00:00+01:00,{-i}.5,80,3,95000" for i in range(n)]


def own(tmp_path, rows=None, head=HEAD, name="own.csv"):
    return write(tmp_path, name, "\n".join([head, *(own_rows() if rows is None else rows)]) + "\n")


def epw_row(year, month, day, hour, t="-3.5", rh="80", pressure="95000", wind="3.2"):
    row = ["0"] * 35
    row[:5] = [str(year), str(month), str(day), str(hour), "60"]
    row[5], row[6], row[8], row[9], row[21] = "?9?9?9?9E0", t, rh, pressure, wind
    return ",".join(row)


EPW_HEAD = [
    "LOCATION,Ostervale,-,XXX,invented,999999,50.0,10.0,1.0,500.0",
    "DESIGN CONDITIONS,0",
    "TYPICAL/EXTREME PERIODS,0",
    "GROUND TEMPERATURES,0",
    "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
    "COMMENTS 1,invented",
    "COMMENTS 2,",
    "DATA PERIODS,1,1,Data,Sunday,1/1,12/31",
]
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def epw_year(year_of=lambda month: 2000 + month, t_of=lambda m, d, h: f"{m}.0", months=range(1, 13)):
    return [
        epw_row(year_of(m), m, d, h, t_of(m, d, h))
        for m in months
        for d in range(1, MONTH_DAYS[m - 1] + 1)
        for h in range(1, 25)
    ]


def epw(tmp_path, rows=None, head=EPW_HEAD, name="place.epw", newline="\r\n"):
    rows = [epw_row(2001, 1, 1, h) for h in range(1, 7)] if rows is None else rows
    return write(tmp_path, name, newline.join([*head, *rows]) + newline, "latin-1")


def refused(path, *words):
    with pytest.raises(InputError) as caught:
        weather.read(path)
    text = str(caught.value)
    assert "\n" not in text and len(text) < 300
    assert text.startswith(path.name) or str(path) in text
    for word in words:
        assert word in text, text
    return text


# --- own CSV


def test_own_csv_is_read_as_written(tmp_path):
    found = weather.read(own(tmp_path))
    assert (found.kind, found.step_s, found.utc_offset_s) == ("csv", 3600, 3600)
    # 2025-01-01 00:00 at +01:00 is 2024-12-31 23:00 UTC
    assert found.start_utc_s == int(datetime(2024, 12, 31, 23, tzinfo=timezone.utc).timestamp())
    assert list(found.outdoor_c) == [0.5, -1.5, -2.5, -3.5, -4.5, -5.5]
    assert list(found.rh_pct) == [80.0] * 6
    assert list(found.wind_m_s) == [3.0] * 6
    assert list(found.pressure_pa) == [95000.0] * 6
    assert found.duration_s() == 5 * 3600
    assert found.notes == []


def test_missing_columns_take_the_stated_values_and_say_so(tmp_path):
    rows = ["2025-01-01T00:00:00-05:00,1", "2025-01-01T01:00:00-05:00,2"]
    found = weather.read(own(tmp_path, rows, "time,outdoor_c"))
    assert (list(found.rh_pct), list(found.wind_m_s), list(found.pressure_pa)) == (
        [85.0] * 2,
        [4.0] * 2,
        [101325.0] * 2,
    )
    assert [note.split()[:2] for note in found.notes] == [["no", "rh_pct"], ["no", "wind_m_s"], ["no", "pressure_pa"]]


def test_columns_may_stand_in_any_order(tmp_path):
    rows = ["3,2025-01-01T00:00:00Z,-7", "4,2025-01-01T01:00:00Z,-8"]
    found = weather.read(own(tmp_path, rows, "wind_m_s,time,outdoor_c"))
    assert (list(found.outdoor_c), list(found.wind_m_s)) == ([-7.0, -8.0], [3.0, 4.0])
    assert any("UTC" in note for note in found.notes)


@pytest.mark.parametrize("step_min", [1, 10, 15, 30, 60])
def test_own_csv_may_have_shorter_steps(tmp_path, step_min):
    rows = [
        f"2025-01-01T{i * step_min // 60:02d}:{i * step_min % 60:02d}:00+00:00,{i},80,3,95000"
        for i in range(5)
    ]
    found = weather.read(own(tmp_path, rows))
    assert found.step_s == 60 * step_min
    assert list(found.outdoor_c) == [0.0, 1.0, 2.0, 3.0, 4.0]


def test_byte_order_mark_crlf_cr_and_blank_lines(tmp_path):
    text = "\n".join([HEAD, *own_rows(), "", ""])
    plain = weather.read(write(tmp_path, "plain.csv", text))
    for name, data in (
        ("bom.csv", b"\xef\xbb\xbf" + text.encode()),
        ("crlf.csv", text.replace("\n", "\r\n").encode()),
        ("cr.csv", text.replace("\n", "\r").encode()),
        ("packed.csv.gz", gzip.compress(text.encode())),
        ("CAPITALS.CSV", text.encode()),
    ):
        found = weather.read(write(tmp_path, name, data))
        assert found.outdoor_c == plain.outdoor_c and found.start_utc_s == plain.start_utc_s, name


def test_one_missing_hour_is_interpolated_and_noted(tmp_path):
    rows = own_rows()
    rows[2] = "2025-01-01T02:00:00+01:00,-7,80,3,95000"
    rows[4] = "2025-01-01T04:00:00+01:00,-9,80,3,95000"
    found = weather.read(own(tmp_path, rows[:3] + rows[4:]))
    assert len(found.outdoor_c) == 6
    assert found.outdoor_c[3] == -8.0  # halfway between -7 and -9
    assert found.notes == ["1 missing rows interpolated, the first before line 5"]


def test_one_missing_value_is_interpolated_and_noted(tmp_path):
    rows = own_rows()
    rows[2] = "2025-01-01T02:00:00+01:00,-2.5,,3,95000"
    rows[1] = "2025-01-01T01:00:00+01:00,-1.5,70,3,95000"
    found = weather.read(own(tmp_path, rows))
    assert found.rh_pct[2] == 75.0  # halfway between 70 and 80
    assert found.notes == ["1 missing values of rh_pct interpolated"]


def test_an_hour_of_missing_minutes_is_filled_and_more_is_refused(tmp_path):
    def rows(left_out):
        return [
            f"2025-01-01T{i // 6:02d}:{i % 6 * 10:02d}:00Z,{i},80,3,95000"
            for i in range(24)
            if i not in left_out
        ]

    found = weather.read(own(tmp_path, rows(range(5, 11))))
    assert list(found.outdoor_c) == pytest.approx(range(24))
    refused(own(tmp_path, rows(range(5, 12))), "line 7", "1.33333 h")


def test_humidity_over_100_is_clipped_and_noted(tmp_path):
    rows = own_rows()
    rows[3] = rows[3].replace(",80,", ",104,")
    found = weather.read(own(tmp_path, rows))
    assert found.rh_pct[3] == 100.0
    assert found.notes == ["1 values of rh_pct above 100 % taken as 100 %"]


def test_times_across_summer_time_use_the_standard_zone(tmp_path):
    rows = ["2025-03-30T01:00:00+01:00,1", "2025-03-30T03:00:00+02:00,2", "2025-03-30T04:00:00+02:00,3"]
    found = weather.read(own(tmp_path, rows, "time,outdoor_c"))
    assert (len(found.outdoor_c), found.utc_offset_s) == (3, 3600)
    assert any("zones" in note for note in found.notes)


BAD_CELLS = [
    (1, "nan"),
    (1, "NaN"),
    (1, "inf"),
    (1, "-inf"),
    (1, "-90"),
    (1, "60.1"),
    (1, "cold"),
    (1, "1_0"),
    (1, "1e400"),
    (2, "-1"),
    (2, "110.5"),
    (2, "80 %"),
    (3, "-0.1"),
    (3, "61"),
    (4, "30999"),
    (4, "120001"),
    (4, "1013.25"),
]


@pytest.mark.parametrize("column, text", BAD_CELLS)
def test_bad_values_are_refused_with_their_line(tmp_path, column, text):
    rows = own_rows()
    cells = rows[2].split(",")
    cells[column] = text
    rows[2] = ",".join(cells)
    refused(own(tmp_path, rows), "line 4", HEAD.split(",")[column], "allowed are")


@pytest.mark.parametrize(
    "text",
    [
        "2025-01-01T02:00:00",
        "01/01/2025 02:00",
        "2025-01-01T02:00:30Z",
        "",
        "24:00",
        "2025-02-30T00:00:00Z",
        "0001-01-01T00:00:00+14:00",
        "9999-12-31T23:00:00-12:00",
        "x" * 200,
    ],
)
def test_bad_times_are_refused(tmp_path, text):
    rows = own_rows()
    rows[2] = text + "," + rows[2].split(",", 1)[1]
    refused(own(tmp_path, rows), "line 4", "ISO 8601")


def test_disorder_doubles_and_gaps_are_refused_with_their_line(tmp_path):
    rows = own_rows()
    refused(own(tmp_path, [rows[0], rows[2], rows[1], *rows[3:]]), "line 4", "earlier")
    refused(own(tmp_path, [*rows[:3], rows[2], *rows[3:]]), "line 5", "same time")
    refused(own(tmp_path, rows[:2] + rows[4:]), "line 4", "3 h after", "one missing hour")
    off = rows[3].replace("T03:00", "T03:20")
    refused(own(tmp_path, [*rows[:3], off, *rows[4:]]), "line 5")
    empty = [row.replace(",80,", ",,") for row in rows[2:4]]
    refused(own(tmp_path, [*rows[:2], *empty, *rows[4:]]), "line 4", "rh_pct is missing for 2 h")
    refused(own(tmp_path, [rows[0].replace(",80,", ",,"), *rows[1:]]), "line 2", "rh_pct")
    refused(own(tmp_path, [*rows[:-1], rows[-1].replace(",80,", ",,")]), "line 7", "rh_pct")


@pytest.mark.parametrize(
    "head",
    [
        "time,temperature",
        "outdoor_c,rh_pct",
        "time,rh_pct",
        "time,outdoor_c,outdoor_c",
        "time;outdoor_c",
        "2025-01-01T00:00:00Z,1",
    ],
)
def test_other_headers_are_refused(tmp_path, head):
    refused(own(tmp_path, head=head), "line 1", "time,outdoor_c[,rh_pct]")


def test_rows_too_short_or_long_are_refused(tmp_path):
    rows = own_rows()
    refused(own(tmp_path, [*rows[:-1], rows[-1].rsplit(",", 1)[0]]), "line 7", "4 fields")
    refused(own(tmp_path, [rows[0] + ",1", *rows[1:]]), "line 2", "6 fields")


def test_empty_header_only_binary_and_foreign_files_are_refused(tmp_path):
    refused(write(tmp_path, "empty.csv", ""), "empty")
    refused(write(tmp_path, "blank.csv", "\n \r\n"), "empty")
    refused(own(tmp_path, []), "0 rows")
    refused(own(tmp_path, own_rows(1)), "1 rows")
    refused(own(tmp_path, own_rows(), name="own.txt"), "ending", ".epw")
    refused(own(tmp_path, own_rows(), name="csv"), "ending")
    refused(own(tmp_path, own_rows(), name="own.epw"), "LOCATION")
    refused(epw(tmp_path, name="place.csv"), ".epw")
    refused(write(tmp_path, "image.csv", b"\x89PNG\r\n\x1a\n\x00\x00\x00"), "binary")
    refused(write(tmp_path, "wide.csv", "time,outdoor_c\n".encode("utf-16")), "UTF-16")
    refused(write(tmp_path, "noise.epw", bytes(range(1, 256)) * 40), "LOCATION")
    refused(tmp_path / "absent.csv", "cannot be read")
    (tmp_path / "folder.csv").mkdir()
    refused(tmp_path / "folder.csv", "cannot be read")


def test_broken_and_oversized_packed_files_are_refused(tmp_path):
    text = "\n".join([HEAD, *own_rows()]).encode()
    refused(write(tmp_path, "not.csv.gz", text), "cannot be read")
    packed = gzip.compress(text)
    refused(write(tmp_path, "cut.csv.gz", packed[:-12]), "cannot be read")
    refused(
        write(tmp_path, "spoilt.csv.gz", packed[:12] + b"\xff\xff\xff\xff" + packed[16:]), "cannot be read"
    )
    refused(write(tmp_path, "bomb.csv.gz", gzip.compress(b"a" * 21_000_000)), "20 MB")
    refused(write(tmp_path, "large.csv", b"a" * 20_000_001), "20 MB")


def test_names_from_files_are_fit_to_print(tmp_path):
    head = ["LOCATION,\x1b[31mRed\x07 M\xfcnchen" + "x" * 200 + ",-,DE,i,1,50,10,1.0,500", *EPW_HEAD[1:]]
    found = weather.read(epw(tmp_path, head=head))
    assert found.name.isprintable() and len(found.name) <= 60
    assert "M\xfcnchen" in found.name
    refused(write(tmp_path, "odd.epw", "\x1b]0;title\x07"), "LOCATION")


# --- EPW


def test_epw_hours_end_at_their_stamp_in_local_standard_time(tmp_path):
    found = weather.read(epw(tmp_path, [epw_row(2001, 1, 1, h, f"-{h}.0") for h in range(1, 25)]))
    assert found.kind == "epw" and found.name == "Ostervale XXX" and found.utc_offset_s == 3600
    # hour 1 ends at 01:00, which at +1 h is 00:00 UTC
    assert found.start_utc_s == int(datetime(2001, 1, 1, tzinfo=timezone.utc).timestamp())
    assert found.local(23).strftime("%d %H:%M") == "02 00:00"
    assert list(found.outdoor_c) == [-float(h) for h in range(1, 25)]
    assert (found.rh_pct[0], found.pressure_pa[0], found.wind_m_s[0]) == (80.0, 95000.0, 3.2)


def test_epw_missing_codes(tmp_path):
    rows = [epw_row(2001, 1, 1, h, t=f"{h}.0", wind="999", pressure="999999") for h in range(1, 7)]
    rows[2] = epw_row(2001, 1, 1, 3, t="99.9", wind="999.0", pressure="999999.")
    rows[4] = epw_row(2001, 1, 1, 5, t="5.0", rh="999", wind="999", pressure="999999")
    found = weather.read(epw(tmp_path, rows))
    assert list(found.outdoor_c) == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]  # 3 halfway between 2 and 4
    assert list(found.rh_pct) == [80.0] * 6
    assert set(found.wind_m_s) == {4.0} and set(found.pressure_pa) == {101325.0}
    assert len(found.notes) == 4
    rows[3] = epw_row(2001, 1, 1, 4, t="99.9", wind="999", pressure="999999")
    refused(epw(tmp_path, rows), "line 11", "outdoor_c is missing for 2 h")


def test_epw_that_breaks_the_format_is_refused(tmp_path):
    rows = [epw_row(2001, 1, 1, h) for h in range(1, 7)]
    refused(epw(tmp_path, [*rows[:5], rows[5][:40]]), "line 14", "columns")
    refused(epw(tmp_path, [rows[0][:20], *rows[1:]]), "line 9", "columns")
    refused(epw(tmp_path, []), "0 rows")
    refused(epw(tmp_path, head=EPW_HEAD[:-1]), "DATA PERIODS")
    refused(
        epw(tmp_path, head=[*EPW_HEAD[:-1], "DATA PERIODS,1,4,Data,Sunday,1/1,12/31"]),
        "line 8",
        "one record an hour",
    )
    refused(epw(tmp_path, head=["LOCATION,a,b", *EPW_HEAD[1:]]), "line 1")
    refused(epw(tmp_path, head=[EPW_HEAD[0].replace(",1.0,", ",east,"), *EPW_HEAD[1:]]), "line 1", "zone")
    refused(epw(tmp_path, head=[EPW_HEAD[0].replace(",1.0,", ",nan,"), *EPW_HEAD[1:]]), "line 1", "zone")
    refused(epw(tmp_path, head=["LOCATION," + "a" * 200_000, *EPW_HEAD[1:]]), "line 1")
    refused(epw(tmp_path, [*rows[:3], epw_row(2001, 1, 1, 25), *rows[4:]]), "line 12", "hour")
    refused(epw(tmp_path, [*rows[:3], epw_row(2001, 2, 30, 4), *rows[4:]]), "line 12", "hour")
    refused(epw(tmp_path, [*rows[:3], epw_row("x", 1, 1, 4), *rows[4:]]), "line 12", "hour")
    refused(epw(tmp_path, [*rows[:3], epw_row(9999, 1, 1, 4), *rows[4:]]), "line 12", "years 1900 to 2200")
    refused(epw(tmp_path, [*rows[:3], rows[2], *rows[3:]]), "line 12", "same time")
    refused(epw(tmp_path, [*rows[:2], rows[3], rows[2], *rows[4:]]), "line 12", "earlier")
    refused(epw(tmp_path, [*rows[:2], *rows[4:]]), "line 11", "3 h after")
    refused(epw(tmp_path, [*rows[:3], epw_row(2001, 1, 1, 4, t="-90.0"), *rows[4:]]), "line 12", "-70 to 60")


def test_a_year_of_one_calendar_keeps_its_dates_and_a_typical_one_is_nominal(tmp_path):
    one = weather.read(epw(tmp_path, epw_year(lambda m: 2019)))
    assert one.local(0).year == 2019 and one.notes == []
    mixed = weather.read(epw(tmp_path, epw_year()))
    assert mixed.local(0).isoformat() == "2001-01-01T01:00:00+01:00"
    assert any("typical year: months of different years" in note for note in mixed.notes)
    # 2020 has a 29 February that the rows leave out, as year files of 8760 hours do
    short = weather.read(epw(tmp_path, epw_year(lambda m: 2020)))
    assert len(short.outdoor_c) == 8760 and any("nominal" in note for note in short.notes)


def test_a_29_february_in_the_wrong_year_or_twice_is_refused(tmp_path):
    leap = [epw_row(2004, 2, 29, h) for h in range(1, 25)]
    first = epw_year(months=(1, 2)) + leap
    refused(epw(tmp_path, first + leap), "earlier")
    # the rows run on over a second January, so a second 29 February would be a year after the first
    refused(epw(tmp_path, first + epw_year(months=range(3, 13)) + first), "29 February")


# --- a winter from a typical year


def stamped(m, d, h):
    """A temperature that says from which stamp it comes: month, and day and hour in the decimals."""
    return f"{m}.{d:02d}{h:02d}"


def test_winter_is_october_to_april_in_one_run(tmp_path):
    found = weather.winter(weather.read(epw(tmp_path, epw_year(t_of=stamped))))
    assert len(found.outdoor_c) == 212 * 24 + 1
    assert found.local(0).isoformat() == "2001-10-01T00:00:00+01:00"
    assert found.local(5088).isoformat() == "2002-05-01T00:00:00+01:00"
    assert found.outdoor_c[0] == 9.3024  # 24:00 of 30 September is 1 October 00:00
    assert found.outdoor_c[1] == 10.0101
    assert found.outdoor_c[24] == 10.0124  # an hour stamped 24:00 belongs to the day it ends
    december = (31 + 30 + 31) * 24
    assert (found.outdoor_c[december], found.outdoor_c[december + 1]) == (12.3124, 1.0101)
    assert found.outdoor_c[5088] == 4.3024
    assert any("typical year" in note for note in found.notes)
    assert any("1 October 2001" in note for note in found.notes)
    assert any("-11.3 K" in note for note in found.notes)  # 1.0101 after 12.3124
    assert "one winter" in found.origin


def test_winter_from_months_in_season_order_starts_at_the_first_hour_there_is(tmp_path):
    rows = epw_year(lambda m: 2018 + (m < 7), stamped, (10, 11, 12, 1, 2, 3, 4))
    whole = weather.read(epw(tmp_path, rows))
    assert whole.local(0).year == 2018
    found = weather.winter(whole)
    assert found.local(0).isoformat() == "2001-10-01T01:00:00+01:00"
    assert found.outdoor_c == whole.outdoor_c
    assert not any("joined from" in note for note in found.notes)


def test_a_29_february_is_kept_and_noted(tmp_path):
    rows = epw_year(lambda m: 2000 + m, stamped)
    at = next(i for i, row in enumerate(rows) if row.startswith("2003,3,1,1,"))
    rows[at:at] = [epw_row(2004, 2, 29, h, "2.2900") for h in range(1, 25)]
    found = weather.winter(weather.read(epw(tmp_path, rows)))
    assert len(found.outdoor_c) == 213 * 24 + 1
    assert any("29 February" in note for note in found.notes)


def test_winter_without_its_months_is_refused(tmp_path):
    for months, word in ((range(1, 10), "October"), (range(5, 13), "January"), (range(2, 13), "January")):
        with pytest.raises(InputError, match=word):
            weather.winter(weather.read(epw(tmp_path, epw_year(months=months))))


def test_winter_leaves_true_dates_alone(tmp_path):
    found = weather.read(own(tmp_path))
    assert weather.winter(found) is found


# --- TMY3


def tmy3(tmp_path, change=lambda lines: lines, name="site.csv"):
    lines = gzip.decompress((REAL / "703165TY.csv.gz").read_bytes()).decode().split("\n")
    return write(tmp_path, name, "\n".join(change(lines[:100])))


def test_tmy3_is_told_apart_from_our_own_csv(tmp_path):
    found = weather.read(tmy3(tmp_path))
    assert (found.kind, found.name, found.utc_offset_s) == ("tmy3", "SAND POINT AK", -9 * 3600)
    # first row of the file: 01/01/1997,01:00, dry bulb 4.0, RH 93, pressure 1012 mbar, wind 2.1
    assert (found.outdoor_c[0], found.rh_pct[0], found.pressure_pa[0], found.wind_m_s[0]) == (
        4.0,
        93.0,
        101200.0,
        2.1,
    )
    assert found.local(0).strftime("%m-%d %H:%M") == "01-01 01:00"
    assert found.local(23).strftime("%m-%d %H:%M") == "01-02 00:00"


def test_tmy3_that_breaks_the_format_is_refused(tmp_path):
    def edit(line, old, new):
        def change(lines):
            assert old in lines[line - 1]
            return [*lines[: line - 1], lines[line - 1].replace(old, new, 1), *lines[line:]]

        return tmy3(tmp_path, change)

    refused(tmy3(tmp_path, lambda lines: lines[:2]), "0 rows")
    refused(tmy3(tmp_path, lambda lines: [*lines[:49], lines[49][:60]]), "line 50", "columns")
    refused(tmy3(tmp_path, lambda lines: lines[:9] + lines[11:]), "line 10", "3 h after")
    refused(tmy3(tmp_path, lambda lines: [*lines[:9], lines[8], *lines[9:]]), "line 10", "same time")
    refused(edit(5, "03:00", "03:30"), "line 5", "01:00 to 24:00")
    refused(edit(5, "01/01/1997", "1997-01-01"), "line 5", "MM/DD/YYYY")
    refused(edit(2, "RHum (%)", "Humidity"), "line 2", "RHum")
    refused(edit(1, "-9.0", "west"), "line 1", "zone")
    refused(edit(5, ",1012,", ",101200,"), "line 5", "pressure_pa")


# --- minutes


def test_minutes_are_linear_between_samples(tmp_path):
    rows = [
        "2025-01-01T00:00:00Z,-10,80,2,95000",
        "2025-01-01T01:00:00Z,-4,60,5,95000",
        "2025-01-01T02:00:00Z,0,90,0,95000",
    ]
    found = weather.read(own(tmp_path, rows))
    out = weather.minutes(found)
    assert (out.n_steps, out.dt_s, len(out.outdoor_c)) == (120, 60, 121)
    assert out.outdoor_c[0] == -10.0 and out.outdoor_c[60] == -4.0 and out.outdoor_c[120] == 0.0
    assert out.outdoor_c[30] == pytest.approx(-7.0)
    assert out.wind_m_s[20] == pytest.approx(3.0)  # 2 + 3 * 20/60
    first = psychro.humidity_ratio_g_kg(psychro.vapour_pa(-10.0, 80.0), 95000.0)
    second = psychro.humidity_ratio_g_kg(psychro.vapour_pa(-4.0, 60.0), 95000.0)
    assert out.outdoor_w_g_kg[0] == first
    assert out.outdoor_w_g_kg[15] == pytest.approx(first + (second - first) * 0.25)
    # by hand: 80 % of 286.6 Pa over water at -10 °C is 229.3 Pa; 621.945 * 229.3 / 94770.7 = 1.505 g/kg
    assert first == pytest.approx(1.505, abs=0.003)


def test_minutes_refuse_steps_that_do_not_divide(tmp_path):
    found = weather.read(own(tmp_path))
    for dt_s in (0, -60, 7, 7200, 60.0):
        with pytest.raises(InputError, match="divide"):
            weather.minutes(found, dt_s)
    assert weather.minutes(found, 3600).outdoor_c == found.outdoor_c


def test_a_year_is_read_and_spread_quickly():
    best_read = best_spread = 1e9
    for _ in range(3):
        start = time.perf_counter()
        found = weather.winter(weather.read(REAL / "703165TY.csv.gz"))
        middle = time.perf_counter()
        weather.minutes(found)
        best_spread = min(best_spread, time.perf_counter() - middle)
        best_read = min(best_read, middle - start)
    assert (
        best_read < 0.6 and best_spread < 0.6
    )  # 0.07 s each where written; a wide margin for a busy machine


def own_year(tmp_path, summer_month, days=365):
    """Days of own CSV by the hour, coldest half a year away from summer_month."""
    lines = ["time,outdoor_c"]
    start = datetime(2002, 1, 1, tzinfo=timezone.utc)
    for n in range(days * 24):
        at = start + timedelta(hours=n)
        phase = 2.0 * math.pi * (at.timetuple().tm_yday / 365.0 - (summer_month - 0.5) / 12.0)
        lines.append(f"{at.isoformat()},{8.0 + 14.0 * math.cos(phase):.2f}")
    path = tmp_path / "year.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


def test_of_an_own_record_of_years_only_the_longest_winter_is_run(tmp_path):
    found = weather.winter(weather.read(own_year(tmp_path, summer_month=7, days=730)))
    assert found.local(0).month == 10 and found.local(0).day == 1
    assert found.local(len(found.outdoor_c) - 1).month == 4
    assert max(found.outdoor_c) < 15.0 and any("longest stretch of October to April" in note for note in found.notes)


def test_south_of_the_equator_winter_is_april_to_october(tmp_path):
    found = weather.winter(weather.read(own_year(tmp_path, summer_month=1)))
    assert (found.local(0).month, found.local(len(found.outdoor_c) - 1).month) == (4, 10)
    assert max(found.outdoor_c) < 15.0


def test_a_typical_year_with_a_cold_june_is_run_over_its_own_winter(tmp_path):
    path = epw(tmp_path, epw_year(t_of=lambda month, *_: "20.0" if month in (11, 12, 1, 2, 3) else "2.0"))
    found = weather.winter(weather.read(path))
    assert found.local(0).month == 4 and found.local(len(found.outdoor_c) - 1).month in (10, 11)
    assert found.duration_s() == (214 * 24 - 1) * 3600
    assert any("April to October" in note for note in found.notes)
