"""The outdoor air that a replay runs through: read from a file, joined to one winter, spread to minutes.

Sample i of a Weather is the state at start_utc_s + i * step_s; between samples everything is taken as linear.
A row of EPW or TMY3 is the hour that ends at its stamp and is taken as the state at that stamp.
"""

import gzip
import io
import zlib
from array import array
from datetime import datetime, timedelta, timezone
from pathlib import Path

from dewcore.psychro import humidity_ratio_g_kg, vapour_pa
from dewsim import weather_formats, weather_grid
from dewsim.errors import InputError, shown, shown_path
from dewsim.files import contents
from dewsim.weather_formats import HOUR_S, stamp_s

LARGEST_BYTES = 20_000_000  # a year of minutes in our CSV is 20 MB; a typical year 2 MB
MOST_LINES = 1_100_000  # two years of minutes
LONGEST_LINE = 20_000  # the longest real ones, design conditions of an EPW, have a few thousand characters
SHORTEST_S = 86400  # of a winter to replay
ENDINGS = (".epw", ".csv", ".epw.gz", ".csv.gz")
NOMINAL_YEAR = 2001  # of a joined winter's 1 October; no leap day until its end
DAY_S = 86400
LONGEST_WINTER_S = 245 * DAY_S
NORTHERN_MONTHS = (10, 11, 12, 1, 2, 3, 4)
SOUTHERN_MONTHS = (4, 5, 6, 7, 8, 9, 10)


class Weather:
    """One stretch of outdoor air, evenly spaced: arrays ('d') of one length.

    name; kind "epw", "tmy3", "csv" or "invented"; origin, one line for the report; start_utc_s [s since
    1970 UTC] of sample 0; utc_offset_s, local standard time east of UTC [s]; step_s [s]; outdoor_c [°C,
    -70..60]; rh_pct [%, 1..100, over liquid water]; wind_m_s [m/s, 0..60]; pressure_pa [Pa, 31000..120000];
    notes, a list of sentences about what was filled, assumed or joined.
    """

    __slots__ = (
        "name",
        "kind",
        "origin",
        "start_utc_s",
        "utc_offset_s",
        "step_s",
        "outdoor_c",
        "rh_pct",
        "wind_m_s",
        "pressure_pa",
        "notes",
    )

    def __init__(
        self,
        name: str,
        kind: str,
        origin: str,
        start_utc_s: int,
        utc_offset_s: int,
        step_s: int,
        outdoor_c: array,
        rh_pct: array,
        wind_m_s: array,
        pressure_pa: array,
        notes: "list[str]",
    ) -> None:
        self.name = name
        self.kind = kind
        self.origin = origin
        self.start_utc_s = start_utc_s
        self.utc_offset_s = utc_offset_s
        self.step_s = step_s
        self.outdoor_c = outdoor_c
        self.rh_pct = rh_pct
        self.wind_m_s = wind_m_s
        self.pressure_pa = pressure_pa
        self.notes = notes

    def duration_s(self) -> int:
        """Seconds from the first sample to the last."""
        return (len(self.outdoor_c) - 1) * self.step_s

    def local(self, index: int) -> datetime:
        """The local standard time of a sample, with its zone."""
        zone = timezone(timedelta(seconds=self.utc_offset_s))
        return datetime.fromtimestamp(self.start_utc_s + index * self.step_s, zone)

    def humidity_ratio_g_kg(self) -> array:
        """Humidity ratio [g/kg] of every sample, from RH over liquid water and pressure."""
        return array(
            "d",
            [
                humidity_ratio_g_kg(vapour_pa(t, rh), p)
                for t, rh, p in zip(self.outdoor_c, self.rh_pct, self.pressure_pa)
            ],
        )


class Minutes:
    """A weather spread to equal short steps: index k, 0..n_steps, is the state at start_utc_s + k * dt_s.

    arrays ('d') of n_steps + 1: outdoor_c [°C], outdoor_w_g_kg [g/kg], wind_m_s [m/s].
    """

    __slots__ = ("start_utc_s", "utc_offset_s", "dt_s", "n_steps", "outdoor_c", "outdoor_w_g_kg", "wind_m_s")

    def __init__(self, weather: Weather, dt_s: int) -> None:
        self.start_utc_s = weather.start_utc_s
        self.utc_offset_s = weather.utc_offset_s
        self.dt_s = dt_s
        self.n_steps = weather.duration_s() // dt_s
        parts = weather.step_s // dt_s
        self.outdoor_c = spread(weather.outdoor_c, parts)
        self.outdoor_w_g_kg = spread(weather.humidity_ratio_g_kg(), parts)
        self.wind_m_s = spread(weather.wind_m_s, parts)


def states(weather: Weather, dt_s: int = 60) -> Minutes:
    """minutes() with the state at the end counted as one more column, for a house whose last column is its end."""
    found = minutes(weather, dt_s)
    found.n_steps += 1
    return found


def spread(values: array, parts: int) -> array:
    """The values with parts - 1 linear values between each two: parts * (n - 1) + 1 of them."""
    shares = [j / parts for j in range(parts)]
    out = array("d")
    for i in range(len(values) - 1):
        a = values[i]
        d = values[i + 1] - a
        out.extend([a + d * share for share in shares])
    out.append(values[-1])
    return out


def minutes(weather: Weather, dt_s: int = 60) -> Minutes:
    """The weather in steps of dt_s [s], a whole number that divides its step_s; InputError otherwise.

    Temperature, wind and humidity ratio are each linear between the samples; the humidity ratio of a sample
    comes from its RH over liquid water, temperature and pressure.
    """
    if not (isinstance(dt_s, int) and dt_s > 0 and weather.step_s % dt_s == 0):
        raise InputError(
            f"weather: step of {dt_s} s; allowed are whole seconds that divide the weather's {weather.step_s} s; use 60"
        )
    return Minutes(weather, dt_s)


def read(path) -> Weather:
    """The weather in an EPW (.epw), TMY3 or own CSV file (.csv), each also gzipped (.gz), whole as it stands.

    At most 20 MB, unpacked too.  EPW and TMY3 rows keep their true dates where these run on from row to
    row, else they are put on a nominal year; winter() joins them.  One missing hour is interpolated and
    noted, missing columns take stated values.  InputError, with the line, for everything else.
    """
    path = Path(path)
    place = shown_path(path.name)
    lines = lines_of(text_of(path), place)
    first = lines[0].upper()
    if place.lower().removesuffix(".gz").endswith(".epw"):
        if not first.startswith("LOCATION,"):
            raise InputError(f"{place}, line 1: {begin(lines[0])}; an EPW begins with LOCATION; get it again")
        table = weather_formats.epw(lines, place)
    elif first.startswith("LOCATION,"):
        raise InputError(f"{place}, line 1: an EPW under the ending .csv; rename it to end in .epw")
    elif len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY)"):
        table = weather_formats.tmy3(lines, place)
    else:
        table = weather_formats.own(lines, place)
    weather_grid.even(table)
    return from_table(table)


def from_table(table: weather_formats.Table) -> Weather:
    """The Weather of a complete, evenly spaced table."""
    local = table.kind != "csv"
    weather = Weather(
        table.label,
        table.kind,
        "",
        table.stamps[0] - (table.utc_offset_s if local else 0),
        table.utc_offset_s,
        table.step_s,
        *(table.columns[name] for name in weather_formats.NAMES),
        table.notes,
    )
    last = weather.local(len(weather.outdoor_c) - 1)
    weather.origin = (
        f"{table.kind.upper()} file {table.place}: {table.label}, "
        f"{weather.local(0):%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC{last:%z}"
    )
    return weather


def text_of(path: Path) -> str:
    """A weather file's text: endings, size, packing and bytes checked; at least one line."""
    place = shown_path(path.name)
    if not place.lower().endswith(ENDINGS):
        raise InputError(f"{place}: not a weather file's ending; allowed are {', '.join(ENDINGS)}; convert it")
    data = contents(path, LARGEST_BYTES, "a readable weather file")
    if place.lower().endswith(".gz") and len(data) <= LARGEST_BYTES:
        try:
            data = gzip.GzipFile(fileobj=io.BytesIO(data)).read(LARGEST_BYTES + 1)
        except (OSError, EOFError, zlib.error) as error:
            raise InputError(
                f"{place}: cannot be read, packed data are broken ({shown(str(error))}); get the file whole"
            ) from None
    if len(data) > LARGEST_BYTES:
        raise InputError(
            f"{place}: more than {LARGEST_BYTES // 1_000_000} MB, the most that is read, unpacked too; cut it to a year"
        )
    if b"\0" in data:
        raise InputError(f"{place}: binary data or UTF-16, not plain text; save it as UTF-8 text")
    data = data.removeprefix(b"\xef\xbb\xbf")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if not text.strip():
        raise InputError(f"{place}: empty; a header and rows are needed; get the file again")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def lines_of(text: str, place: str) -> "list[str]":
    """The text's lines; InputError where there are too many, or one is too long, to be weather."""
    count = text.count("\n") + 1
    if count > MOST_LINES:
        raise InputError(f"{place}: {count} lines; allowed are {MOST_LINES}, two years of minutes; cut it to a winter")
    lines = text.split("\n")
    for number, line in enumerate(lines, 1):
        if len(line) > LONGEST_LINE:
            raise weather_formats.fail(
                place, number, f"{len(line)} characters; allowed are {LONGEST_LINE}; get the file again"
            )
    return lines


def begin(text: str) -> str:
    """The beginning of a line of a file, fit to print in a message."""
    return repr(weather_formats.plain(text[:400])[:40])


def winter(weather: Weather) -> Weather:
    """The one winter to run: October to April, or April to October where June to August is the colder end of the year.

    Typical years (EPW, TMY3) are joined and numbered by hours from 1 October 2001 00:00: October, November,
    December, then the January to April that follows them in the file, or the first one there.  The hour stamped
    24:00 belongs to the day it ends, so the winter ends at 30 April 24:00; it begins at 1 October 00:00 where the
    file holds that instant (24:00 of 30 September), else at 01:00.  A 29 February is kept.  Own CSV and invented
    weather has true dates and is returned as it is, or, where longer than eight months, its longest winter alone.
    InputError where months are missing.
    """
    southern = is_southern(weather)
    if weather.kind not in ("epw", "tmy3"):
        return weather if weather.duration_s() <= LONGEST_WINTER_S else longest_winter(weather, southern)
    return southern_winter(weather) if southern else northern_winter(weather)


def is_southern(weather: Weather) -> bool:
    """Whether June to August is colder than December to February; no where most of either is missing."""
    sums = {True: [0.0, 0], False: [0.0, 0]}
    for i in range(0, len(weather.outdoor_c), max(1, HOUR_S // weather.step_s)):
        month = weather.local(i).month
        if month in (6, 7, 8, 12, 1, 2):
            part = sums[month in (6, 7, 8)]
            part[0] += weather.outdoor_c[i]
            part[1] += 1
    (june, n_june), (december, n_december) = sums[True], sums[False]
    enough = 60 * 24  # hours of three months
    return n_june >= enough and n_december >= enough and june / n_june < december / n_december


def longest_winter(weather: Weather, southern: bool) -> Weather:
    """The longest stretch of winter months in a long own record."""
    months = SOUTHERN_MONTHS if southern else NORTHERN_MONTHS
    best = start = end = 0
    for i in range(len(weather.outdoor_c) + 1):
        if i < len(weather.outdoor_c) and weather.local(i).month in months:
            continue
        if i - start > end - best:
            best, end = start, i
        start = i + 1
    if end - best < 2:
        raise InputError(f"{weather.origin}: no winter months in it; give a record that covers a winter")
    words = "April to October" if southern else "October to April"
    note = f"longer than eight months: only its longest stretch of {words} is run"
    return part_of(weather, best, end, weather.start_utc_s + best * weather.step_s, note)


def southern_winter(weather: Weather) -> Weather:
    """April to October of a typical year, numbered from 1 April 2001."""
    found = runs(weather, 4, 10)
    if not found:
        raise InputError(
            f"{weather.origin}: no whole April to October, the winter of a place whose June is colder than its "
            "December; use a file of a whole year"
        )
    start, end = found[0]
    start_utc_s = stamp_s(NOMINAL_YEAR, 4, 1, 1) - weather.utc_offset_s
    note = f"April to October, the winter here, numbered from 1 April {NOMINAL_YEAR}, standard time"
    return part_of(weather, start, end, start_utc_s, note)


def part_of(weather: Weather, start: int, end: int, start_utc_s: int, note: str) -> Weather:
    """Samples start to end (exclusive) as a Weather of its own."""
    columns = [getattr(weather, name)[start:end] for name in weather_formats.NAMES]
    notes = [*weather.notes, note]
    return Weather(
        weather.name, weather.kind, weather.origin, start_utc_s, weather.utc_offset_s, weather.step_s, *columns, notes
    )


def northern_winter(weather: Weather) -> Weather:
    """October to April of a typical year, joined."""
    autumns = runs(weather, 10, 12)
    springs = runs(weather, 1, 4)
    if not autumns or not springs:
        raise InputError(
            f"{weather.origin}: no whole {'October to December' if not autumns else 'January to April'}; "
            "a winter needs October to April; use a file of a whole year"
        )
    start, end = autumns[0]
    second, last = next((run for run in springs if run[0] == end), springs[0])
    start -= start > 0  # 24:00 of 30 September is 00:00 of 1 October
    autumn_first = stamp_s(NOMINAL_YEAR, 10, 1, 0) + (0 if start < autumns[0][0] else HOUR_S)
    whole = [getattr(weather, name) for name in weather_formats.NAMES]
    columns = [values[start:end] + values[second:last] for values in whole]
    notes = list(weather.notes)
    notes.append(f"October to April numbered as one winter from 1 October {NOMINAL_YEAR}, standard time")
    if second != end:
        step_k = weather.outdoor_c[second] - weather.outdoor_c[end - 1]
        notes.append(f"December and January joined from the file's two ends: {step_k:+.1f} K in that hour")
    if last - second > 120 * DAY_S // weather.step_s:
        notes.append("29 February kept: nominal dates run one day ahead from then on")
    origin = f"{weather.origin}; October to April as one winter"
    start_utc_s = autumn_first - weather.utc_offset_s
    return Weather(
        weather.name, weather.kind, origin, start_utc_s, weather.utc_offset_s, weather.step_s, *columns, notes
    )


def winter_of(path) -> Weather:
    """The winter in a weather file, to replay: read() and winter(), at least a day long; InputError else."""
    found = winter(read(path))
    if not found.duration_s() >= SHORTEST_S:
        raise InputError(
            f"{shown_path(Path(path).name)}: covers {found.duration_s() / HOUR_S:g} h from first to last row; at "
            "least 24 h are needed, a winter is better; get a longer file"
        )
    return found


def runs(weather: Weather, first_month: int, last_month: int) -> "list[tuple[int, int]]":
    """(start, end) indices of each stretch that holds the months whole, by the day an hour ends in."""
    found = []
    first_local_s = weather.start_utc_s + weather.utc_offset_s
    for year in range(weather.local(0).year, weather.local(len(weather.outdoor_c) - 1).year + 1):
        begin_s = stamp_s(year, first_month, 1, 1)
        end_s = stamp_s(year + (last_month == 12), last_month % 12 + 1, 1, 0)
        start, left = divmod(begin_s - first_local_s, weather.step_s)
        stop = (end_s - first_local_s) // weather.step_s + 1
        if left == 0 and start >= 0 and stop <= len(weather.outdoor_c):
            found.append((start, stop))
    return found
