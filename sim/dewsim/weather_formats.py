"""Takes the text of an EPW, TMY3 or own CSV file apart into rows, or says in one line why it cannot.

EPW: EnergyPlus documentation, Auxiliary Programs, "EnergyPlus Weather File (EPW) Data Dictionary":
comma-separated rows after the line DATA PERIODS; hour 1..24 is the hour that ends at the stamp, local
standard time; missing codes 99.9 (temperature; some writers put 999), 999 (humidity, wind) and 999999
(pressure).

TMY3: S. Wilcox and W. Marion, "Users Manual for TMY3 Data Sets", NREL/TP-581-43156 (2008): a site line with
the zone, a header line, rows stamped 01:00..24:00 local standard time, pressure in mbar, -9900 where nothing
was recorded.

Own CSV: header time,outdoor_c[,rh_pct][,wind_m_s][,pressure_pa], ISO 8601 times with zone.
RH is over liquid water in all three.
"""

from array import array
from csv import Error, reader
from datetime import date, datetime, timedelta, timezone
from math import nan

from dewsim.errors import InputError

HOUR_S = 3600
STEPS_S = (60, 120, 180, 240, 300, 360, 600, 720, 900, 1200, 1800, 3600)  # whole minutes that divide an hour
YEARS = (1900, 2200)  # of a stamp
ZONES_H = (-12.0, 14.0)  # hours east of UTC
SUMMER_TIME_S = 2 * HOUR_S  # the most that the zones of one log can differ by
LONGEST_S = 731 * 24 * HOUR_S  # of our own CSV, which is replayed from end to end: two years
EPOCH_DAY = date(1970, 1, 1).toordinal()
# column: (lowest, highest, unit, value where a file has no such column or no value in it)
COLUMNS = {
    "outdoor_c": (-70.0, 60.0, "°C", None),
    "rh_pct": (0.0, 110.0, "%", 85.0),  # sensors and files go a little over; clipped to 100
    "wind_m_s": (0.0, 60.0, "m/s", 4.0),
    "pressure_pa": (31000.0, 120000.0, "Pa", 101325.0),
}
NAMES = tuple(COLUMNS)
EPW_COLUMN = {"outdoor_c": 6, "rh_pct": 8, "wind_m_s": 21, "pressure_pa": 9}
EPW_MISSING = {
    "outdoor_c": (99.9, 999.0),
    "rh_pct": (999.0,),
    "wind_m_s": (999.0,),
    "pressure_pa": (999999.0,),
}
EPW_COLUMNS = (32, 35)  # the last three (albedo, rain) came later; older files end before them
TMY3_COLUMN = {
    "outdoor_c": "Dry-bulb (C)",
    "rh_pct": "RHum (%)",
    "wind_m_s": "Wspd (m/s)",
    "pressure_pa": "Pressure (mbar)",
}
TMY3_MISSING = (-9900.0,)
PA_PER_MBAR = 100.0


class Table:
    """What a file holds before it is evenly spaced: stamps [s], line numbers, values (NaN: missing)."""

    __slots__ = ("place", "label", "kind", "utc_offset_s", "step_s", "stamps", "lines", "columns", "notes")

    def __init__(self, place: str, kind: str) -> None:
        self.place = place  # the file's name, for messages
        self.label = place  # the site's name where the file gives one
        self.kind = kind
        self.utc_offset_s = 0
        self.step_s = HOUR_S
        self.stamps = []  # seconds, local standard time for EPW and TMY3, UTC for CSV
        self.lines = []
        self.columns = {name: array("d") for name in NAMES}
        self.notes = []


def fail(place: str, line: int, text: str) -> InputError:
    """The error of one line of a file; raise what this returns."""
    return InputError(f"{place}, line {line}: {text}")


def plain_float(text: str) -> float:
    """The number in a text of plain digits; ValueError else, also for underscores and other scripts' digits."""
    if "_" in text or not text.isascii():
        raise ValueError
    return float(text)


def number(text: str, name: str, place: str, line: int, missing: tuple = (), scale: float = 1.0) -> float:
    """One value of a column, scaled to its unit; NaN where the text is one of the missing codes."""
    lowest, highest, unit, _ = COLUMNS[name]
    try:
        value = plain_float(text)
    except ValueError:
        raise fail(
            place,
            line,
            f"{name} is {text.strip()[:20]!r}, not a number; allowed are {lowest:g} to {highest:g} {unit}; "
            "correct the value",
        ) from None
    if value in missing:
        return nan
    value *= scale
    if not lowest <= value <= highest:
        raise fail(
            place,
            line,
            f"{name} is {value:g} {unit}; allowed are {lowest:g} to {highest:g} {unit}; correct the value",
        )
    return value


def fields_of(text: str, fewest: int, place: str) -> "list[str]":
    """The fields of a file's site line, which may be quoted."""
    try:
        site = next(reader([text]))
    except Error:
        site = []
    if len(site) < fewest:
        raise fail(
            place,
            1,
            f"site line of {len(site)} fields; at least {fewest} are needed; get the file whole",
        )
    return site


def zone_s(text: str, place: str) -> int:
    """Seconds east of UTC from the hours in a file's site line."""
    try:
        hours = plain_float(text)
    except ValueError:
        hours = nan
    if not ZONES_H[0] <= hours <= ZONES_H[1]:
        raise fail(place, 1, f"time zone {text.strip()[:20]!r}; allowed are -12 to 14 hours; correct the site line")
    return round(hours * HOUR_S)


def note_site(table: Table, latitude: str, longitude: str) -> None:
    """Refuses a place that is not on Earth; notes one whose winter is not October to April."""
    for name, text, bound in (("latitude", latitude, 90.0), ("longitude", longitude, 180.0)):
        try:
            degrees = plain_float(text)
        except ValueError:
            degrees = nan
        if not -bound <= degrees <= bound:
            raise fail(
                table.place,
                1,
                f"{name} {text.strip()[:20]!r}; allowed are {-bound:g} to {bound:g} degrees; correct the site line",
            )
        if name == "latitude" and degrees < 0.0:
            table.notes.append("site south of the equator: October to April is not its winter")


def plain(text: str) -> str:
    """A name from a file, fit to print: one line, printable, at most 60 characters."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:60]


def epw(lines: "list[str]", place: str) -> Table:
    """An EPW file's rows; InputError with the line where it breaks the format."""
    table = Table(place, "epw")
    site = fields_of(lines[0], 9, place)
    table.label = plain(f"{site[1]} {site[3]}") or place
    table.utc_offset_s = zone_s(site[8], place)
    note_site(table, site[6], site[7])
    first = next((i for i, text in enumerate(lines) if text.upper().startswith("DATA PERIODS")), -1)
    if first < 0:
        raise InputError(f"{place}: no line DATA PERIODS; an EPW has it before its rows; get the file again")
    period = lines[first].split(",")
    if len(period) < 3 or period[2].strip() != "1":
        raise fail(
            place,
            first + 1,
            f"DATA PERIODS {','.join(period[1:3])[:20]!r}; one record an hour is read; use such a file",
        )
    count = 0
    stamps = []
    for line, text in enumerate(lines[first + 1 :], first + 2):
        if not text.strip():
            continue
        row = text.split(",")
        count = count or len(row)
        if len(row) != count or not EPW_COLUMNS[0] <= count <= EPW_COLUMNS[1]:
            raise fail(
                place, line, f"{len(row)} columns; an EPW row has 35 (older ones 32), all alike; get the file whole"
            )
        stamps.append((line, *whole(row[:4], place, line)))
        for name, i in EPW_COLUMN.items():
            table.columns[name].append(number(row[i], name, place, line, EPW_MISSING[name]))
    lay_out(table, stamps)
    return table


def tmy3(lines: "list[str]", place: str) -> Table:
    """A TMY3 file's rows; InputError with the line where it breaks the format."""
    table = Table(place, "tmy3")
    site = fields_of(lines[0], 7, place)
    table.label = plain(f"{site[1]} {site[2]}") or place
    table.utc_offset_s = zone_s(site[3], place)
    note_site(table, site[4], site[5])
    header = [text.strip() for text in lines[1].split(",")]
    for name in TMY3_COLUMN.values():
        if header.count(name) != 1:
            raise fail(place, 2, f"{header.count(name)} columns {name!r}; a TMY3 header has one; get the file again")
    at = {name: header.index(column) for name, column in TMY3_COLUMN.items()}
    stamps = []
    for line, text in enumerate(lines[2:], 3):
        if not text.strip():
            continue
        row = text.split(",")
        if len(row) != len(header):
            raise fail(place, line, f"{len(row)} columns; the header has {len(header)}; get the file whole")
        stamps.append((line, *tmy3_stamp(row[0], row[1], place, line)))
        for name, i in at.items():
            scale = PA_PER_MBAR if name == "pressure_pa" else 1.0
            table.columns[name].append(number(row[i], name, place, line, TMY3_MISSING, scale))
    lay_out(table, stamps)
    return table


def tmy3_stamp(day: str, time: str, place: str, line: int) -> "tuple[int, int, int, int]":
    """(year, month, day, hour) of MM/DD/YYYY and HH:00."""
    parts = day.split("/")
    hour, _, minute = time.partition(":")
    if len(parts) != 3 or minute.strip() != "00":
        raise fail(
            place,
            line,
            f"stamp {day[:12]!r} {time[:8]!r}; it must be MM/DD/YYYY and 01:00 to 24:00; correct it",
        )
    return whole([parts[2], parts[0], parts[1], hour], place, line)


def whole(fields: "list[str]", place: str, line: int) -> "tuple[int, int, int, int]":
    """(year, month, day, hour 0..24) of four texts."""
    try:
        joined = "".join(fields)
        if "_" in joined or not joined.isascii():
            raise ValueError
        year, month, day, hour = map(int, fields)
        date(year, month, day)
    except (ValueError, OverflowError):
        year = month = day = hour = -1
    if not (0 <= hour <= 24 and YEARS[0] <= year <= YEARS[1]):
        raise fail(
            place,
            line,
            f"date and hour {'-'.join(f.strip()[:6] for f in fields)!r}; "
            "year, month, day and hour 1 to 24 are needed, "
            f"years {YEARS[0]} to {YEARS[1]}; correct the row",
        )
    return year, month, day, hour


def lay_out(table: Table, rows: "list[tuple[int, int, int, int, int]]") -> None:
    """Stamps [s] of (line, year, month, day, hour): true dates where they run on, else a nominal year.

    Typical years join months of different years, so their rows are put on 2001, or on 2000 where a
    29 February is among them; a step back from December to January goes on to the next year.
    """
    table.lines = [row[0] for row in rows]
    stamps = [stamp_s(year, month, day, hour) for _, year, month, day, hour in rows]
    if not all(HOUR_S <= b - a <= 2 * HOUR_S for a, b in zip(stamps, stamps[1:])):
        leap = any(month == 2 and day == 29 for _, _, month, day, _ in rows)
        year = 2001 if not leap else 2000 if rows[0][2] <= 2 else 1999
        last = rows[0][2]
        for i, (line, _, month, day, hour) in enumerate(rows):
            year += month == 1 and last == 12
            last = month
            if (month, day) == (2, 29) and year % 4:
                raise fail(table.place, line, "29 February does not follow; rows must run on by hours; sort the file")
            stamps[i] = stamp_s(year, month, day, hour)
        if len({row[1] for row in rows}) > 1:
            table.notes.append("typical year: months of different years, joined without smoothing")
        else:
            table.notes.append(f"one year of rows, {rows[0][1]}, put on a nominal year")
    table.stamps = stamps


def stamp_s(year: int, month: int, day: int, hour: int) -> int:
    """Seconds since 1970-01-01 00:00 of a local date and an hour 0..24."""
    return ((date(year, month, day).toordinal() - EPOCH_DAY) * 24 + hour) * HOUR_S


def own(lines: "list[str]", place: str, even: bool = True) -> Table:
    """Rows of the program's own CSV; InputError with the line where it breaks the format.

    even: rows have to lie as far apart as weather may.
    """
    table = Table(place, "csv")
    header = [text.strip() for text in lines[0].split(",")]
    allowed = ("time", *NAMES)
    if len(set(header)) != len(header) or set(header) - set(allowed) or not {"time", "outdoor_c"} <= set(header):
        raise fail(
            place,
            1,
            f"header {','.join(header)[:80]!r}; "
            "allowed is time,outdoor_c[,rh_pct][,wind_m_s][,pressure_pa]; correct it",
        )
    at = header.index("time")
    used = [(i, name) for i, name in enumerate(header) if name != "time"]
    offsets = set()
    for line, text in enumerate(lines[1:], 2):
        if not text.strip():
            continue
        row = text.split(",")
        if len(row) != len(header):
            raise fail(
                place, line, f"{len(row)} fields; the header has {len(header)}, decimals take a point; correct the row"
            )
        moment, offset_s = iso(row[at], place, line)
        if table.stamps and moment - table.stamps[0] > LONGEST_S:
            raise fail(place, line, "more than two years after the first row, the most allowed; cut it to a winter")
        table.stamps.append(moment)
        table.lines.append(line)
        offsets.add(offset_s)
        for i, name in used:
            table.columns[name].append(number(row[i], name, place, line) if row[i].strip() else nan)
    take_zones(table, offsets)
    table.step_s = usual_step_s(table, even)
    return table


def take_zones(table: Table, offsets: "set[int]") -> None:
    """The local standard time, from what a CSV's times say; InputError where they are of several places."""
    if offsets:
        table.utc_offset_s = min(offsets)  # the standard time, where summer time is among the rows
    if offsets == {0}:
        table.notes.append("times are in UTC: the house's clock is taken to be UTC too")
    elif len(offsets) > 1:
        if max(offsets) - min(offsets) > SUMMER_TIME_S:
            raise InputError(
                f"{table.place}: zones {(max(offsets) - min(offsets)) / HOUR_S:g} h apart; allowed are standard and "
                "summer time of one place, 2 h apart at most; give all times one zone"
            )
        table.notes.append("times of several zones; the one furthest west is taken as local standard time")


def iso(text: str, place: str, line: int) -> "tuple[int, int]":
    """(seconds since 1970 UTC, seconds east of UTC) of an ISO 8601 time with zone."""
    try:
        moment = datetime.fromisoformat(text.strip())
        offset = moment.utcoffset()
        seconds = (moment - datetime(1970, 1, 1, tzinfo=timezone.utc)) / timedelta(seconds=1)
    except (ValueError, TypeError, OverflowError):
        offset, seconds = None, nan
    if (
        offset is None
        or not (seconds % 60 == 0 and YEARS[0] <= moment.year <= YEARS[1])
        or not ZONES_H[0] <= offset / timedelta(hours=1) <= ZONES_H[1]
    ):
        raise fail(
            place,
            line,
            f"time {text.strip()[:40]!r}; it must be ISO 8601 on a whole minute with its zone, "
            "as 2025-01-31T23:00:00+01:00; correct it",
        )
    return int(seconds), int(offset.total_seconds())


def usual_step_s(table: Table, even: bool) -> int:
    """The commonest distance [s] of a CSV's rows, after checking that they run forward."""
    counts = {}
    for a, b, line in zip(table.stamps, table.stamps[1:], table.lines[1:]):
        if not a < b:
            raise fail(table.place, line, disorder(a, b))
        counts[b - a] = counts.get(b - a, 0) + 1
    step_s = max(counts, key=counts.get, default=HOUR_S)
    if even and step_s not in STEPS_S:
        raise InputError(
            f"{table.place}: rows are {step_s} s apart; allowed are {STEPS_S[0]} to {STEPS_S[-1]} s, "
            "whole minutes that divide an hour; resample the file"
        )
    return step_s


def disorder(before: int, now: int) -> str:
    """The message for a stamp that is not later than the one before."""
    what = "the same time as the row before" if before == now else "an earlier time than the row before"
    return f"{what}; times must run forward; sort the file and remove doubled rows"
