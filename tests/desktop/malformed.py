"""Bad input by the hundred, with the words that its one line of refusal must hold; test_bad_input.py tries it all.

Each case is (name, file or files, words).  Everything here is invented.
"""

import gzip
import os

ROWS = [f"2025-01-{1 + h // 24:02}T{h % 24:02}:00:00+01:00,{-h / 10:.1f},80,3,95000" for h in range(25)]
HEAD = "time,outdoor_c,rh_pct,wind_m_s,pressure_pa"
GOOD_HOUSE = 'name = "Bad Input"\n[house]\nvolume_m3 = 300\n'
SITE = "LOCATION,Ostervale,-,XXX,invented,999999,50.0,10.0,1.0,500.0"
PERIODS = "DATA PERIODS,1,1,Data,Sunday,1/1,12/31"
TMY_SITE = '700000,"OSTERVALE",XX,1.0,50.0,10.0,500'
TMY_HEAD = "Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),RHum (%),Wspd (m/s),Pressure (mbar)"
BOM = b"\xef\xbb\xbf"


def own(rows=None, head=HEAD) -> str:
    """Text of our own CSV: 25 hours of invented weather where no rows are given."""
    return "\n".join([head, *(ROWS if rows is None else rows)]) + "\n"


def cell(column: int, text: str, row: int = 2) -> str:
    """Our own CSV with one value replaced; row 2 is line 4."""
    cells = ROWS[row].split(",")
    cells[column] = text
    return own([*ROWS[:row], ",".join(cells), *ROWS[row + 1 :]])


def epw_row(hour: int, columns: int = 35, **changes: str) -> str:
    """A row of 1 January 2001; changes: c5="x" puts x in column 5."""
    row = ["0"] * columns
    row[:5] = ["2001", "1", str(1 + (hour - 1) // 24), str((hour - 1) % 24 + 1), "60"]
    row[5], row[6], row[8], row[9] = "?9?9", "-3.5", "80", "95000"
    if columns > 21:
        row[21] = "3.2"
    for name, text in changes.items():
        row[int(name[1:])] = text
    return ",".join(row)


EPW_ROWS = [epw_row(hour) for hour in range(1, 27)]


def epw(rows=None, site=SITE, periods=PERIODS) -> str:
    """Text of an EPW of 26 hours, its rows from line 3 on."""
    return "\r\n".join([site, periods, *(EPW_ROWS if rows is None else rows)]) + "\r\n"


def epw_one(line: int, row: str) -> str:
    """An EPW with the row in one line replaced."""
    rows = list(EPW_ROWS)
    rows[line - 3] = row
    return epw(rows)


TMY_ROWS = [f"01/{1 + h // 24:02}/1997,{h % 24 + 1:02}:00,-3.5,80,3.2,950" for h in range(26)]


def tmy(rows=None, site=TMY_SITE, head=TMY_HEAD) -> str:
    """Text of a TMY3 file of 26 hours, its rows from line 3 on."""
    return "\n".join([site, head, *(TMY_ROWS if rows is None else rows)]) + "\n"


def tmy_one(line: int, row: str) -> str:
    """A TMY3 file with the row in one line replaced."""
    rows = list(TMY_ROWS)
    rows[line - 3] = row
    return tmy(rows)


def key(section: str, line: str) -> str:
    """A house file of one section with one line, line 2."""
    return f"[{section}]\n{line}\n"


# (name, bytes or text of house.toml, words of the refusal)
HOUSES = [
    ("empty", "", ("holds no keys", "at least one", "name =")),
    ("blank lines", "\n\n  \n", ("holds no keys",)),
    ("comment alone", "# a house\n", ("holds no keys",)),
    ("byte-order mark alone", BOM, ("holds no keys",)),
    ("NUL", "\0", ("not valid TOML", "line 1", "correct that line")),
    ("NULs after good lines", GOOD_HOUSE + "\0" * 100, ("not valid TOML", "line 4")),
    ("UTF-16", GOOD_HOUSE.encode("utf-16"), ("byte 1", "not UTF-8", "save the file as UTF-8")),
    ("UTF-16 without mark", GOOD_HOUSE.encode("utf-16-le"), ("not valid TOML", "line 1")),
    ("UTF-32", GOOD_HOUSE.encode("utf-32"), ("byte 1", "not UTF-8")),
    ("Latin-1", 'name = "Caf\u00e9"'.encode("latin-1"), ("byte 12", "not UTF-8")),
    ("overlong UTF-8", b'name = "\xc0\xaf"', ("byte 9", "not UTF-8")),
    ("a surrogate", b'name = "\xed\xa0\x80"', ("byte 9", "not UTF-8")),
    ("a name without letters", '[""]\n', ('"": not a section', "known are")),
    ("a key without letters", '[house]\n"" = 3\n', ('house."": no such key', "known are")),
    ("a blank behind a name", '["house "]\nvolume_m3 = 300\n', ('"house ": not a section', "did you mean house?")),
    ("old EBCDIC", GOOD_HOUSE.encode("cp500"), ("byte 1", "not UTF-8")),
    ("line ends of CR alone", GOOD_HOUSE.replace("\n", "\r"), ("not valid TOML", "line 1")),
    ("a space that is none", "[house]\nvolume_m3\u00a0= 300\n", ("not valid TOML", "line 2")),
    ("a letter of another script", "[house]\nvolum\u0435_m3 = 300\n", ("not valid TOML", "line 2")),
    ("text that runs backwards", 'name = "\u202egnp"\n', ("name: found", "\\u202e", "one line")),
    ("clock in other digits", key("glass", 'curtains_from = "\u0661\u0668:00"'), ("glass.curtains_from", "00:00")),
    ("clock of seconds", key("glass", "curtains_from = 18:30:00"), ("glass.curtains_from", "without quotes")),
    ("YAML", "house:\n  volume_m3: 300\n", ("not valid TOML", "line 1")),
    ("two versions in one", "<<<<<<< mine\n" + GOOD_HOUSE, ("not valid TOML", "line 1")),
    ("50 000 lists", "[[settings]]\n" * 50_000, ("settings: found a list", "once")),
    ("1 MB in a text", 'name = """\n' + ("x" * 400 + "\n") * 2400 + '"""', ("name: found", "80 characters")),
    ("two byte-order marks", BOM + BOM + GOOD_HOUSE.encode(), ("not valid TOML", "line 1")),
    ("an image", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", ("byte 1", "not UTF-8")),
    ("packed", gzip.compress(GOOD_HOUSE.encode()), ("byte 2", "not UTF-8")),
    ("prose", "My house is large.\n", ("not valid TOML", "line 1")),
    ("JSON", '{"house": {"volume_m3": 300}}', ("not valid TOML", "line 1")),
    ("XML", "<house/>", ("not valid TOML", "line 1")),
    ("weather instead", own(), ("not valid TOML", "line 1")),
    ("cut in a text", 'name = "My ho', ("not valid TOML", "Unterminated string", "end of document")),
    ("cut in a section's name", "[house]\nvolume_m3 = 300\n[gla", ("not valid TOML", "end of document")),
    ("cut before a value", "[house]\nvolume_m3 =", ("not valid TOML", "end of document")),
    ("doubled key", key("house", "volume_m3 = 300\nvolume_m3 = 301"), ("not valid TOML", "line 3", "overwrite")),
    ("doubled section", "[house]\n[glass]\n[house]\n", ("not valid TOML", "line 3", "twice")),
    ("doubled dotted", "house.volume_m3 = 1\n[house]\n", ("not valid TOML", "line 2")),
    ("unknown section", "[garage]\n", ("garage", "known are", "house, gains")),
    ("misspelt section", "[hose]\n", ("hose", "did you mean house?")),
    ("unknown key at the top", "volume_m3 = 300\n", ("volume_m3", "it belongs under [house]")),
    ("misspelt key", key("house", "volume_m2 = 300"), ("house.volume_m2", "did you mean volume_m3?")),
    ("key of another section", key("glass", "ua_w_k = 200"), ("glass.ua_w_k", "it belongs under [heating]")),
    ("key with line breaks", '"a\\nb\\u001b[31m" = 1\n', ("a\\nb\\x1b[31m", "known are")),
    ("key in capitals", key("house", "VOLUME_M3 = 300"), ("house.VOLUME_M3", "no such key")),
    ("section that is a number", "house = 300\n", ("house: found 300", "allowed is one section [house]")),
    ("section that is a list", "[[house]]\nvolume_m3 = 300\n", ("house: found a list", "once")),
    ("key that is a section", "[house.volume_m3]\nx = 1\n", ("house.volume_m3", "found a section", "40 to 3000")),
    ("number as text", key("house", 'volume_m3 = "300"'), ("house.volume_m3", 'found "300"', "a number")),
    ("truth as number", key("house", "volume_m3 = true"), ("house.volume_m3", "found true", "40 to 3000 m3")),
    ("number as truth", key("gains", "bursts = 1"), ("gains.bursts", "found 1", "true or false")),
    ("number as choice", key("floor", "species = 3"), ("floor.species", "found 3", "one of")),
    ("unknown choice", key("floor", 'species = "marble"'), ("floor.species", '"marble"', "red oak")),
    ("date as number", key("house", "volume_m3 = 2020-01-01"), ("house.volume_m3", "2020-01-01", "without quotes")),
    ("NaN", key("house", "volume_m3 = nan"), ("house.volume_m3", "found nan", "40 to 3000")),
    ("minus NaN", key("glass", "f_day = -nan"), ("glass.f_day", "found nan", "0.05 to 0.98")),
    ("infinity", key("house", "volume_m3 = inf"), ("house.volume_m3", "found inf")),
    ("minus infinity", key("sensors", "drift_pct_per_day = -inf"), ("sensors.drift_pct_per_day", "found -inf")),
    ("1e999", key("heating", "ua_w_k = 1e999"), ("heating.ua_w_k", "found inf", "20 to 3000 W/K")),
    ("minus 1e999", key("heating", "ua_w_k = -1e999"), ("heating.ua_w_k", "found -inf")),
    ("1e308", key("heating", "ua_w_k = 1e308"), ("heating.ua_w_k", "found 1e+308")),
    ("tiny number", key("house", "volume_m3 = 1e-320"), ("house.volume_m3", "allowed is a number from 40")),
    ("just below the bound", key("house", "volume_m3 = 39.999"), ("found 39.999", "from 40")),
    ("negative", key("house", "volume_m3 = -300"), ("house.volume_m3", "found -300")),
    ("400 digits", key("house", "volume_m3 = " + "9" * 400), ("house.volume_m3", "more than 30 digits")),
    ("10 000 digits", key("house", "volume_m3 = " + "9" * 10_000), ("line 2", "10012 characters", "allowed are 500")),
    ("400 hexadecimal digits", key("house", "volume_m3 = 0x" + "f" * 400), ("house.volume_m3", "more than 30 digits")),
    ("half a person", key("gains", "people = 2.5"), ("gains.people", "found 2.5", "a whole number from 0 to 20")),
    ("three storeys and one", key("house", "storeys = 4"), ("house.storeys", "found 4", "1 to 3")),
    ("decimal comma", key("house", "volume_m3 = 300,5"), ("not valid TOML", "line 2")),
    ("a unit behind", key("house", "volume_m3 = 300 m3"), ("not valid TOML", "line 2")),
    ("underscore at the end", key("house", "volume_m3 = 300_"), ("not valid TOML", "line 2")),
    ("leading zeros", key("house", "volume_m3 = 0300"), ("not valid TOML", "line 2")),
    ("Fahrenheit indoors", key("house", "indoor_c = 70"), ("house.indoor_c", "found 70", "5 to 30 °C")),
    ("Fahrenheit supply", key("heating", "supply_c = 120"), ("heating.supply_c", "found 120", "25 to 75 °C")),
    ("cubic feet", key("house", "volume_m3 = 14000"), ("house.volume_m3", "found 14000", "3000 m3")),
    ("BTU per hour", key("heating", "furnace_kw = 45000"), ("heating.furnace_kw", "found 45000", "100 kW")),
    ("watts as kW", key("heating", "furnace_kw = 13000"), ("heating.furnace_kw", "13000", "1 to 100 kW")),
    ("gallons a day", key("humidifier", "kg_h = 17"), ("humidifier.kg_h", "found 17", "0 to 5 kg/h")),
    ("percent as share, extraction", key("gains", "extraction = 60"), ("gains.extraction", "found 60", "0 to 1")),
    ("percent as share, glass", key("glass", "f_day = 55"), ("glass.f_day", "found 55", "0.05 to 0.98")),
    ("share as percent", key("walls", "cap_pct = 0.4"), ("walls.cap_pct", "found 0.4", "15 to 45 %")),
    ("hPa as Pa", key("walls", "vapour_excess_pa = 5.4"), ("walls.vapour_excess_pa", "5.4", "270 to 810 Pa")),
    ("inches as mm", key("floor", "board_mm = 3.25"), ("floor.board_mm", "3.25", "20 to 400 mm")),
    ("clock without quotes", key("glass", "curtains_from = 18:30"), ("not valid TOML", "line 2")),
    ("clock of 25 h", key("glass", 'curtains_from = "25:00"'), ("glass.curtains_from", "25:00", "00:00")),
    ("clock of half a day", key("glass", 'curtains_from = "6:30 pm"'), ("glass.curtains_from", "6:30 pm")),
    ("clock as number", key("glass", "curtains_from = 1830"), ("glass.curtains_from", "found 1830", "23:59")),
    ("name of many lines", 'name = """a\nb"""\n', ("name: found", "one line")),
    ("name too long", 'name = "' + "x" * 81 + '"\n', ("name: found", "80 characters")),
    ("curtains warm the glass", key("glass", "f_day = 0.5\nf_night = 0.6"), ("glass.f_night", "at most f_day")),
    ("supply colder than the room", key("heating", "supply_c = 25\n[house]\nindoor_c = 24"), ("at least 3 K",)),
    ("more evaporated than fed", key("humidifier", "kg_h = 5\nwater_kg_h = 1"), ("humidifier.water_kg_h", "found 1")),
    ("set-back of no length", key("house", 'setback_to = "22:30"'), ("house.setback_to", "setback_k = 0")),
    ("deep list", key("house", "volume_m3 = " + "[" * 200 + "]" * 200), ("house.volume_m3", "found a list")),
    (
        "deep lists over lines",
        "a = " + "[\n" * 200_000,
        ("nested too deeply", "[section]", "remove the brackets"),
    ),
    ("deep tables", key("house", "volume_m3 = " + "{a=" * 100 + "1" + "}" * 100), ("house.volume_m3", "a section")),
    ("deep dotted name", ".".join(["a"] * 240) + " = 1\n", ("a: not a section",)),
    ("very deep dotted name", ".".join(["a"] * 400_000) + " = 1\n", ("line 1", "800003 characters", "allowed are 500")),
    ("2000 deep names", "".join(f"{'a.' * 230}b{i} = 1\n" for i in range(2000)), ("a: not a section",)),
    ("long list", "a = [\n" + "1,\n" * 300_000 + "]\n", ("a: not a section",)),
    ("100 000 keys", "".join(f"a{i} = 1\n" for i in range(80_000)), ("a0: not a section",)),
    ("long line", "# " + "x" * 600 + "\n", ("line 1", "602 characters", "break the line")),
    ("50 MB", b"# comment\n" * 5_000_000, ("larger than 1 MB", "allowed is at most 1 MB", "give a house file")),
    ("f believed above 1", key("sensors", "f_error = 0.3\n[glass]\nf_day = 0.9"), ("sensors.f_error", "1.2", "0.98")),
    ("unknown setting", key("settings", "band = 2"), ("[settings] band", "no such setting", "did you mean")),
    ("setting with line breaks", '[settings]\n"a\\nb" = 1\n', ("[settings] a\\nb", "known are glass_f_day")),
    ("setting far off", key("settings", "band_pct = 99"), ("[settings] band_pct", "found 99", "0.5 to 5.0 %")),
    ("setting as text", key("settings", 'band_pct = "2"'), ("[settings] band_pct", "'2'", "not a number", "0.5")),
    ("setting as truth", key("settings", "band_pct = true"), ("[settings] band_pct", "found True", "not a number")),
    ("setting NaN", key("settings", "band_pct = nan"), ("settings.band_pct", "found nan", "finite number from 0.5")),
    ("whole setting NaN", key("settings", "min_on_s = nan"), ("settings.min_on_s", "found nan", "60 to 1800 s")),
    ("switch as list", key("settings", "has_leak = [1]"), ("settings.has_leak", "a list", "allowed is true or false")),
    ("share as date", key("settings", "corner_f = 2020-01-01"), ("settings.corner_f", "2020-01-01", "0.3 to 0.98;")),
    ("unknown setting as list", key("settings", "bands = [2]"), ("settings.bands", "a list", "a finite number, true")),
    ("setting of 1e300", key("settings", "min_on_s = 1e300"), ("[settings] min_on_s", "1e+300", "60 to 1800 s")),
    ("setting's name with NUL", '[settings]\n"a\\u0000" = 1\n', ("[settings] a\\x00", "known are")),
    ("setting's name empty", '[settings]\n"" = 1\n', ('[settings] ""', "no such setting")),
    ("load without a line", key("settings", "has_load_sense = 1\nhas_line_sense = 0"), ("has_load_sense", "give both")),
    ("curtains of no length", key("settings", "curtains_from_min = 480"), ("curtains_from_min", "equals")),
    ("setting 1e999", key("settings", "band_pct = 1e999"), ("settings.band_pct", "found inf", "finite number")),
    ("setting as list", key("settings", "band_pct = [2]"), ("settings.band_pct", "found a list")),
    ("setting not whole", key("settings", "min_on_s = 180.5"), ("[settings] min_on_s", "not a whole number")),
    ("setting of 400 digits", key("settings", "min_on_s = " + "9" * 400), ("[settings] min_on_s", "out of bounds")),
    ("setting as section", "[settings.band_pct]\nx = 1\n", ("settings.band_pct", "found a section")),
    ("settings that disagree", key("settings", "min_on_s = 1800\nmax_run_s = 1800"), ("min_on_s", "max_run_s")),
    ("settings as number", "settings = 3\n", ("settings: found 3", "one section [settings]")),
]

BROKEN = gzip.compress(own().encode())
CENTURY = own([f"{1900 + y}-01-01T{h:02}:00:00Z,0" for y in (1, 2) for h in (0, 1)], "time,outdoor_c")
THREE_YEARS = own(
    [f"{y}-{m:02}-{d:02}T{h:02}:00Z,0" for y in (2021, 2022, 2023) for m in range(1, 13)
     for d in range(1, 32) if (m, d) not in {(2, 29), (2, 30), (2, 31), (4, 31), (6, 31), (9, 31), (11, 31)}
     for h in range(24)],
    "time,outdoor_c",
)  # fmt: skip

# (name, the file's name, its content, words)
WEATHERS = [
    ("empty", "w.csv", "", ("w.csv", "empty", "a header and rows are needed")),
    ("blank", "w.csv", "\r\n \n", ("empty",)),
    ("byte-order mark alone", "w.csv", BOM, ("empty",)),
    ("header only", "w.csv", HEAD + "\n", ("0 rows", "at least 2", "get the file whole")),
    ("one row", "w.csv", own(ROWS[:1]), ("1 rows", "at least 2")),
    ("less than a day", "w.csv", own(ROWS[:24]), ("covers 23 h", "at least 24 h", "get a longer file")),
    ("wrong extension", "w.txt", own(), ("w.txt", "ending", ".epw, .csv", "convert it")),
    ("no extension", "w", own(), ("not a weather file's ending",)),
    ("zip", "w.csv.zip", own(), ("w.csv.zip", "ending", ".csv.gz")),
    ("EPW named csv", "w.csv", epw(), ("line 1", "an EPW under the ending .csv", "rename")),
    ("CSV named epw", "w.epw", own(), ("line 1", "begins with LOCATION")),
    ("house instead", "w.csv", GOOD_HOUSE, ("line 1", "allowed is time,outdoor_c")),
    ("binary", "w.csv", bytes(range(256)), ("binary data or UTF-16", "save it as UTF-8")),
    ("binary without NUL", "w.csv", bytes(range(1, 256)) * 9, ("line 1", "allowed is time,outdoor_c")),
    ("UTF-16", "w.csv", own().encode("utf-16"), ("binary data or UTF-16", "save it as UTF-8")),
    ("packed, not so named", "w.csv", BROKEN, ("binary data",)),
    ("so named, not packed", "w.csv.gz", own(), ("cannot be read", "Not a gzipped file", "get the file whole")),
    ("packed file cut", "w.csv.gz", BROKEN[:-20], ("cannot be read", "end-of-stream")),
    ("packed file cut in its header", "w.csv.gz", BROKEN[:5], ("cannot be read",)),
    ("packed file spoilt", "w.csv.gz", BROKEN[:20] + b"\xff" * 9 + BROKEN[29:], ("cannot be read", "broken")),
    ("packed file, wrong sum", "w.csv.gz", BROKEN[:-8] + b"\0" * 8, ("cannot be read", "CRC")),
    ("packed file, rubbish behind", "w.csv.gz", BROKEN + b"rubbish", ("cannot be read", "Not a gzipped file")),
    ("packed bomb", "w.csv.gz", lambda: gzip.compress(bytes(200_000_000), 1), ("more than 20 MB", "unpacked")),
    ("packed bomb in parts", "w.csv.gz", lambda: gzip.compress(b"\n" * 1_000_000) * 60, ("more than 20 MB",)),
    ("packed nothing, often", "w.csv.gz", lambda: gzip.compress(b"") * 300_000, ("empty",)),
    ("packed twice", "w.csv.gz", gzip.compress(BROKEN), ("binary data",)),
    ("packed file, wrong length", "w.csv.gz", BROKEN[:-4] + b"\1\0\0\0", ("cannot be read", "Incorrect length")),
    ("packed file, other method", "w.csv.gz", b"\x1f\x8b\x09" + BROKEN[3:], ("cannot be read", "compression method")),
    ("packed EPW named csv", "w.csv.gz", gzip.compress(epw().encode()), ("line 1", "an EPW under the ending .csv")),
    ("50 MB of rows", "w.csv", lambda: own(ROWS * 60_000), ("more than 20 MB", "cut it to a year")),
    ("packed empty", "w.csv.gz", gzip.compress(b""), ("empty",)),
    ("21 MB", "w.csv", lambda: b"0" * 21_000_000, ("more than 20 MB", "cut it to a year")),
    ("10 MB in one line", "w.csv", lambda: b"12," * 3_300_000, ("line 1", "9900000 characters", "allowed are 20000")),
    ("10 MB in a row", "w.csv", lambda: own([ROWS[0], "1" * 10_000_000]), ("line 3", "allowed are 20000")),
    ("10 million lines", "w.csv", lambda: HEAD + "\n" * 10_000_000, ("10000001 lines", "allowed are 1100000")),
    ("10 MB in an EPW row", "w.epw", lambda: epw_one(5, "1," * 5_000_000), ("line 5", "allowed are 20000")),
    ("three years", "w.csv", THREE_YEARS, ("line 17547", "two years", "cut it to a winter")),
    ("a year's leap", "w.csv", CENTURY, ("line 4", "8759 h after", "one missing hour")),
    ("cut in a row", "w.csv", own()[:-12], ("line 26", "2 fields", "the header has 5")),
    ("cut in a stamp", "w.csv", own() + "2025-01-0", ("line 27", "1 fields", "the header has 5")),
    ("unknown column", "w.csv", own(head=HEAD.replace("rh_pct", "humidity")), ("line 1", "humidity", "[,rh_pct]")),
    ("doubled column", "w.csv", own(head=HEAD.replace("rh_pct", "outdoor_c")), ("line 1", "outdoor_c,outdoor_c")),
    ("no time column", "w.csv", own(head=HEAD.replace("time", "when")), ("line 1", "when", "time,outdoor_c")),
    ("no outdoor column", "w.csv", own(head=HEAD.replace("outdoor_c", "t")), ("line 1", "allowed is time,outdoor_c")),
    ("no header", "w.csv", "\n".join(ROWS), ("line 1", "allowed is time,outdoor_c")),
    ("header in capitals", "w.csv", own(head=HEAD.upper()), ("line 1", "TIME,OUTDOOR_C")),
    ("header after a comment", "w.csv", "# mine\n" + own(), ("line 1", "# mine")),
    ("Fahrenheit column", "w.csv", own(head=HEAD.replace("outdoor_c", "outdoor_f")), ("line 1", "outdoor_f")),
    ("semicolons", "w.csv", own().replace(",", ";"), ("line 1", "time;outdoor_c", "allowed is time,outdoor_c")),
    ("tabs", "w.csv", own().replace(",", "\t"), ("line 1", "allowed is time,outdoor_c")),
    ("semicolons below", "w.csv", own().replace(",8", ";8"), ("line 2", "4 fields", "the header has 5")),
    ("decimal commas", "w.csv", own().replace(".", ","), ("line 2", "6 fields", "decimals take a point")),
    ("quoted header", "w.csv", own(head='"time","outdoor_c"'), ("line 1", "allowed is time,outdoor_c")),
    ("unbalanced quote in the header", "w.csv", own(head='"' + HEAD), ("line 1", '"time')),
    ("unbalanced quote", "w.csv", cell(1, '"-3'), ("line 4", "outdoor_c", "not a number")),
    ("too few fields", "w.csv", own([*ROWS[:3], "2025-01-01T03:00:00+01:00,1", *ROWS[4:]]), ("line 5", "2 fields")),
    ("too many fields", "w.csv", own([ROWS[0] + ",9", *ROWS[1:]]), ("line 2", "6 fields")),
    ("text in numbers", "w.csv", cell(1, "cold"), ("line 4", "outdoor_c", "'cold'", "-70 to 60 °C")),
    ("a unit behind", "w.csv", cell(2, "80 %"), ("line 4", "rh_pct", "'80 %'", "0 to 110 %")),
    ("NaN", "w.csv", cell(1, "NaN"), ("line 4", "outdoor_c is nan", "-70 to 60")),
    ("infinity", "w.csv", cell(3, "inf"), ("line 4", "wind_m_s is inf", "0 to 60 m/s")),
    ("1e999", "w.csv", cell(4, "1e999"), ("line 4", "pressure_pa is inf", "31000 to 120000 Pa")),
    ("10 000 digits", "w.csv", cell(1, "9" * 10_000), ("line 4", "outdoor_c is inf")),
    ("digits of another script", "w.csv", cell(1, "\u0663"), ("line 4", "outdoor_c", "not a number", "-70 to 60 °C")),
    ("wide digits", "w.csv", cell(2, "\uff18\uff10"), ("line 4", "rh_pct", "not a number", "0 to 110 %")),
    ("a typographer's minus", "w.csv", cell(1, "\u22123"), ("line 4", "outdoor_c", "not a number")),
    ("a space within", "w.csv", cell(4, "95\u00a0000"), ("line 4", "pressure_pa", "not a number")),
    ("no value, in letters", "w.csv", cell(2, "N/A"), ("line 4", "rh_pct is 'N/A'", "not a number")),
    ("minus 9999", "w.csv", cell(1, "-9999"), ("line 4", "outdoor_c is -9999", "-70 to 60")),
    ("an escape", "w.csv", cell(1, "\x1b[31m"), ("line 4", "\\x1b[31m", "not a number")),
    ("minus 90 °C in the last row", "w.csv", cell(1, "-90", 24), ("line 26", "outdoor_c is -90 °C")),
    ("header again", "w.csv", own([*ROWS[:5], HEAD, *ROWS[5:]]), ("line 7", "time 'time'", "ISO 8601")),
    ("a comma at each end", "w.csv", own([row + "," for row in ROWS]), ("line 2", "6 fields", "the header has 5")),
    ("every cell quoted", "w.csv", own(['"' + r.replace(",", '","') + '"' for r in ROWS]), ("line 2", "ISO 8601")),
    ("time of a leap second", "w.csv", cell(0, "2025-01-01T02:00:60+01:00"), ("line 4", "whole minute")),
    ("zone of half a minute", "w.csv", own().replace("+01:00", "+00:59:30"), ("line 2", "with its zone")),
    ("underscore", "w.csv", cell(1, "1_0"), ("line 4", "'1_0'", "not a number")),
    ("minus 90 °C", "w.csv", cell(1, "-90"), ("line 4", "outdoor_c is -90 °C", "-70 to 60")),
    ("Fahrenheit", "w.csv", cell(1, "72"), ("line 4", "outdoor_c is 72", "60 °C")),
    ("kelvin", "w.csv", cell(1, "263.15"), ("line 4", "outdoor_c is 263.15")),
    ("humidity below 0", "w.csv", cell(2, "-1"), ("line 4", "rh_pct is -1")),
    ("humidity of 200", "w.csv", cell(2, "200"), ("line 4", "rh_pct is 200", "0 to 110 %")),
    ("negative wind", "w.csv", cell(3, "-0.5"), ("line 4", "wind_m_s is -0.5")),
    ("hPa", "w.csv", cell(4, "1013.25"), ("line 4", "pressure_pa is 1013.25", "31000")),
    ("no value anywhere", "w.csv", own([row.split(",")[0] + ",,80,3,95000" for row in ROWS]), ("no value",)),
    ("time without zone", "w.csv", cell(0, "2025-01-01T02:00:00"), ("line 4", "ISO 8601", "with its zone")),
    ("all times without zone", "w.csv", own().replace("+01:00", ""), ("line 2", "with its zone")),
    ("time of 25 h", "w.csv", cell(0, "2025-01-01T25:00:00+01:00"), ("line 4", "25:00", "ISO 8601")),
    ("31 February", "w.csv", cell(0, "2025-02-31T02:00:00+01:00"), ("line 4", "2025-02-31")),
    ("29 February 2025", "w.csv", cell(0, "2025-02-29T02:00:00+01:00"), ("line 4", "2025-02-29")),
    ("month 13", "w.csv", cell(0, "2025-13-01T02:00:00+01:00"), ("line 4", "2025-13-01")),
    ("American date", "w.csv", cell(0, "01/31/2025 02:00"), ("line 4", "01/31/2025")),
    ("seconds since 1970", "w.csv", cell(0, "1735693200"), ("line 4", "1735693200")),
    ("half minute", "w.csv", cell(0, "2025-01-01T02:00:30+01:00"), ("line 4", "whole minute")),
    ("zone of a name", "w.csv", cell(0, "2025-01-01T02:00:00 CET"), ("line 4", "CET")),
    ("zone of 20 h", "w.csv", own().replace("+01:00", "+20:00"), ("line 2", "+20:00", "with its zone")),
    ("zones of two continents", "w.csv", cell(0, "2024-12-31T20:00:00-05:00"), ("zones 6 h apart", "2 h")),
    ("year 1", "w.csv", cell(0, "0001-01-01T00:00:00+14:00"), ("line 4", "0001-01-01")),
    ("year 9999", "w.csv", cell(0, "9999-12-31T23:00:00-12:00"), ("line 4", "9999-12-31")),
    ("no time", "w.csv", cell(0, ""), ("line 4", "time ''", "ISO 8601")),
    ("disorder", "w.csv", own([*ROWS[:3], ROWS[4], ROWS[3], *ROWS[5:]]), ("line 6", "earlier", "sort the file")),
    ("doubled hour", "w.csv", own([*ROWS[:4], *ROWS[3:]]), ("line 6", "same time", "remove doubled rows")),
    ("backwards", "w.csv", own(ROWS[::-1]), ("line 3", "earlier")),
    ("gap of two hours", "w.csv", own(ROWS[:3] + ROWS[5:]), ("line 5", "3 h after", "one missing hour")),
    ("gap of two values", "w.csv", cell(2, "").replace("-0.3,80", "-0.3,"), ("line 4", "rh_pct is missing for 2 h")),
    ("first value missing", "w.csv", cell(1, "", 0), ("line 2", "outdoor_c is missing", "between two values")),
    ("last value missing", "w.csv", cell(4, "", 24), ("line 26", "pressure_pa is missing")),
    ("rows 7 minutes apart", "w.csv", own([f"2025-01-01T00:{m:02}Z,1" for m in range(0, 60, 7)], "time,outdoor_c"),
     ("420 s apart", "divide an hour", "resample")),
    ("rows a day apart", "w.csv", own([f"2025-01-{d:02}T00:00Z,1" for d in range(1, 20)], "time,outdoor_c"),
     ("86400 s apart", "60 to 3600 s", "resample")),
    ("EPW cut in a row", "w.epw", epw()[:-60], ("line 28", "columns", "get the file whole")),
    ("EPW of 7 columns", "w.epw", epw([epw_row(h, 10) for h in range(1, 27)]), ("line 3", "10 columns", "35")),
    ("EPW of 36 columns", "w.epw", epw([epw_row(h, 36) for h in range(1, 27)]), ("line 3", "36 columns", "35")),
    ("EPW with a short row", "w.epw", epw_one(9, epw_row(7, 34)), ("line 9", "34 columns")),
    ("EPW without DATA PERIODS", "w.epw", epw(periods="COMMENTS 1,none"), ("no line DATA PERIODS", "get the file")),
    ("EPW of quarter hours", "w.epw", epw(periods="DATA PERIODS,1,4,Data"), ("line 2", "'1,4'", "one record an hour")),
    ("EPW with short DATA PERIODS", "w.epw", epw(periods="DATA PERIODS"), ("line 2", "one record an hour")),
    ("EPW header only", "w.epw", epw([]), ("0 rows", "at least 2")),
    ("EPW with a short site", "w.epw", epw(site="LOCATION,Ostervale"), ("line 1", "2 fields", "at least 9")),
    ("EPW zone", "w.epw", epw(site=SITE.replace(",1.0,", ",CET,")), ("line 1", "time zone 'CET'", "-12 to 14")),
    ("EPW zone of 99", "w.epw", epw(site=SITE.replace(",1.0,", ",99,")), ("line 1", "time zone '99'")),
    ("EPW latitude of 95", "w.epw", epw(site=SITE.replace("50.0", "95")), ("line 1", "latitude '95'", "-90 to 90")),
    ("EPW latitude as text", "w.epw", epw(site=SITE.replace("50.0", "50N")), ("line 1", "latitude '50N'", "degrees")),
    ("EPW latitude NaN", "w.epw", epw(site=SITE.replace("50.0", "nan")), ("line 1", "latitude 'nan'")),
    ("EPW longitude of 999", "w.epw", epw(site=SITE.replace(",10.0", ",999")), ("line 1", "longitude '999'", "180")),
    ("EPW zone with an underscore", "w.epw", epw(site=SITE.replace(",1.0,", ",1_0,")), ("line 1", "time zone '1_0'")),
    ("EPW latitude in other digits", "w.epw", epw(site=SITE.replace("50.0", "\u0665\u0660")), ("line 1", "latitude")),
    ("EPW hour in other digits", "w.epw", epw_one(5, epw_row(3, c3="\u0663")), ("line 5", "hour 1 to 24")),
    ("EPW hour with a point", "w.epw", epw_one(5, epw_row(3, c3="3.0")), ("line 5", "hour 1 to 24")),
    ("EPW hour 25", "w.epw", epw_one(5, epw_row(3, c3="25")), ("line 5", "2001-1-1-25", "hour 1 to 24")),
    ("EPW 31 February", "w.epw", epw_one(5, epw_row(3, c1="2", c2="31")), ("line 5", "2001-2-31")),
    ("EPW year as text", "w.epw", epw_one(5, epw_row(3, c0="year")), ("line 5", "'year-1-1-3'")),
    ("EPW minus 90 °C", "w.epw", epw_one(5, epw_row(3, c6="-90")), ("line 5", "outdoor_c is -90", "-70 to 60")),
    ("EPW text", "w.epw", epw_one(5, epw_row(3, c8="wet")), ("line 5", "rh_pct", "'wet'")),
    ("EPW missing everywhere", "w.epw", epw([epw_row(h, c6="99.9") for h in range(1, 27)]), ("no value", "outdoor_c")),
    ("EPW missing at the end", "w.epw", epw_one(28, epw_row(26, c6="99.9")), ("line 28", "outdoor_c is missing")),
    ("EPW without a winter", "w.epw", epw(), ("no whole October to December", "use a file of a whole year")),
    ("EPW doubled hour", "w.epw", epw([*EPW_ROWS[:4], *EPW_ROWS[3:]]), ("line 7", "same time")),
    ("EPW disorder", "w.epw", epw([*EPW_ROWS[:3], EPW_ROWS[4], EPW_ROWS[3], *EPW_ROWS[5:]]), ("line 7", "earlier")),
    ("EPW gap", "w.epw", epw(EPW_ROWS[:4] + EPW_ROWS[7:]), ("line 7", "4 h after", "one missing hour")),
    ("EPW semicolons", "w.epw", epw().replace(",", ";"), ("line 1", "begins with LOCATION")),
    ("TMY3 with a short site", "w.csv", tmy(site="700000,OSTERVALE"), ("line 1", "2 fields", "at least 7")),
    ("TMY3 with an unbalanced site", "w.csv", tmy(site='700000,"OSTERVALE,XX,1.0,50,10,5'), ("line 1", "at least 7")),
    ("TMY3 zone", "w.csv", tmy(site=TMY_SITE.replace(",1.0,", ",east,")), ("line 1", "time zone 'east'")),
    ("TMY3 latitude of -91", "w.csv", tmy(site=TMY_SITE.replace("50.0", "-91")), ("line 1", "latitude '-91'")),
    ("TMY3 without a column", "w.csv", tmy(head=TMY_HEAD.replace("RHum", "Hum")), ("line 2", "RHum (%)", "has one")),
    ("TMY3 with a doubled column", "w.csv", tmy(head=TMY_HEAD.replace("RHum (%)", "Dry-bulb (C)")),
     ("line 2", "2 columns 'Dry-bulb (C)'", "has one")),
    ("TMY3 cut in a row", "w.csv", tmy()[:-8], ("line 28", "5 columns", "the header has 6")),
    ("TMY3 header only", "w.csv", tmy([]), ("0 rows",)),
    ("TMY3 half hour", "w.csv", tmy_one(5, "01/01/1997,03:30,1,80,3,950"), ("line 5", "03:30", "01:00 to 24:00")),
    ("TMY3 hour 25", "w.csv", tmy_one(5, "01/01/1997,25:00,1,80,3,950"), ("line 5", "25", "hour 1 to 24")),
    ("TMY3 31 February", "w.csv", tmy_one(5, "02/31/1997,03:00,1,80,3,950"), ("line 5", "1997-02-31")),
    ("TMY3 ISO date", "w.csv", tmy_one(5, "1997-01-01,03:00,1,80,3,950"), ("line 5", "MM/DD/YYYY")),
    ("TMY3 pressure in Pa", "w.csv", tmy_one(5, "01/01/1997,03:00,1,80,3,95000"), ("line 5", "pressure_pa", "31000")),
    ("TMY3 missing everywhere", "w.csv", tmy([row.replace("-3.5", "-9900") for row in TMY_ROWS]), ("no value",)),
]  # fmt: skip


def _folder(path) -> None:
    path.mkdir()
    (path / "letter.txt").write_text("mine")


def _earlier(path, **files: str) -> None:
    """A folder that looks like an earlier replay's, with more in it."""
    path.mkdir()
    (path / "result.json").write_text('{"schema": 1, "shipped_policy": "plain"}')
    for name in ("record.csv", "report.html"):
        (path / name).write_text("earlier")
    for name, text in files.items():
        (path / name.replace("__", ".")).write_text(text)


def _mine_in_ours(work) -> None:
    _earlier(work / "out", house__toml=GOOD_HOUSE)


def _log_as_record(work) -> None:
    _earlier(work / "out")
    (work / "out" / "record.csv").write_text(own())


def _no_result(work) -> None:
    (work / "out").mkdir()
    (work / "out" / "result.json").write_text('{"my": "own result"}')


def _broken_result(work) -> None:
    (work / "out").mkdir()
    (work / "out" / "result.json").write_text("[" * 100_000)


def _folder_as_record(work) -> None:
    _earlier(work / "out")
    (work / "out" / "record-mine.csv").mkdir()


def _link(target: str):
    return lambda work: os.symlink(target, work / "out")


def _nothing(work) -> None:
    """Nothing to prepare."""


REPLAY = ["replay", "house.toml", "--weather", "ok.csv"]
OUT = [*REPLAY, "--out"]
# (name, what to prepare in the working folder, the command line, words); house.toml and ok.csv are there and good
LINES = [
    ("no weather", _nothing, ["replay", "house.toml"], ("--weather: found none", "give a weather file")),
    ("no such house", _nothing, ["replay", "absent.toml", "--weather", "ok.csv"], ("absent.toml", "cannot be read")),
    ("house is a folder", lambda w: _folder(w / "d"), ["replay", "d", "--weather", "ok.csv"], ("d:", "a directory")),
    ("house is a pipe", lambda w: os.mkfifo(w / "p"), ["replay", "p", "--weather", "ok.csv"], ("p:", "pipe", "disk")),
    ("house without end", _nothing, ["replay", "/dev/zero", "--weather", "ok.csv"], ("/dev/zero", "device")),
    ("house that cannot be read", _nothing, ["replay", "/proc/self/mem", "--weather", "ok.csv"], ("put/output",)),
    ("house without a name", _nothing, ["replay", "", "--weather", "ok.csv"], ("cannot be read", "No such file")),
    ("house with NUL", _nothing, ["replay", "a\0b", "--weather", "ok.csv"], ("a\\x00b", "not a usable path")),
    ("house in a ring of links", lambda w: os.symlink("l", w / "l"), ["replay", "l", "--weather", "ok.csv"],
     ("l: cannot be read", "levels of symbolic links")),
    ("house below a file", _nothing, ["replay", "ok.csv/x", "--weather", "ok.csv"], ("ok.csv/x", "Not a directory")),
    ("house's name too long", _nothing, ["replay", "x" * 5000, "--weather", "ok.csv"], ("File name too long",)),
    ("house over lines", _nothing, ["replay", "a\nb\x1b[1m", "--weather", "ok.csv"], ("a\\nb\\x1b[1m", "cannot be")),
    ("house not UTF-8", _nothing, ["replay", "caf\udce9", "--weather", "ok.csv"], ("caf\\udce9", "cannot be read")),
    ("house in a long path", _nothing, ["replay", "d/" * 150 + "a.toml", "--weather", "ok.csv"], ("/a.toml: cannot",)),
    ("no house", _nothing, ["replay", "--weather", "ok.csv"], ("neither a house nor --houses", "'default'")),
    ("no such weather", _nothing, ["replay", "house.toml", "--weather", "absent.csv"], ("absent.csv", "give a")),
    ("weather is a folder", lambda w: (w / "d.csv").mkdir(), ["replay", "default", "--weather", "d.csv"], ("d.csv",)),
    ("weather is a pipe", lambda w: os.mkfifo(w / "p.csv"), ["replay", "default", "--weather", "p.csv"], ("pipe",)),
    ("packed weather is a pipe", lambda w: os.mkfifo(w / "p.csv.gz"), ["replay", "default", "--weather", "p.csv.gz"],
     ("p.csv.gz", "pipe")),
    ("weather without end", lambda w: os.symlink("/dev/zero", w / "z.csv"), ["replay", "default", "--weather", "z.csv"],
     ("z.csv", "device")),
    ("weather without a name", _nothing, ["replay", "default", "--weather", ""], ("name a weather file",)),
    ("weather with NUL", _nothing, ["replay", "default", "--weather", "a\0.csv"], ("a\\x00.csv", "not a usable path")),
    ("weather over lines", _nothing, ["replay", "default", "--weather", "a\nb.csv"], ("a\\nb.csv", "cannot be read")),
    ("weather equals house", _nothing, ["replay", "house.toml", "--weather", "house.toml"], ("house.toml", "ending")),
    ("house equals weather", _nothing, ["replay", "ok.csv", "--weather", "ok.csv"], ("ok.csv", "not valid TOML")),
    ("house is a link to nothing", lambda w: os.symlink("x", w / "l"), ["replay", "l", "--weather", "ok.csv"],
     ("l: cannot be read",)),
    ("house from the web", _nothing, ["replay", "http://h/a.toml", "--weather", "ok.csv"], ("a.toml: cannot be read",)),
    ("weather from the input", _nothing, ["replay", "default", "--weather", "-"], ("-: not a weather file's ending",)),
    ("out is a link to far away", _link("x/y/z"), [*OUT, "out"], ("--out out", "parent folder does not exist")),
    ("bench of nothing", _nothing, ["replay", "absent", "--weather", "ok.csv", "--bench"], ("absent", "cannot be")),
    ("bench of a short log", lambda w: (w / "s.csv").write_text(own(ROWS[:5])),
     ["replay", "default", "--weather", "s.csv", "--bench"], ("covers 4 h",)),
    ("out is a file", lambda w: (w / "out").write_text("mine"), [*OUT, "out"], ("--out out: found a file",)),
    ("out is the house", _nothing, [*OUT, "house.toml"], ("--out house.toml", "found a file")),
    ("out below a file", _nothing, [*OUT, "house.toml/out"], ("house.toml/out", "parent folder", "make it first")),
    ("out is a pipe", lambda w: os.mkfifo(w / "out"), [*OUT, "out"], ("--out out", "found a file")),
    ("out is a device", _nothing, [*OUT, "/dev/null"], ("--out /dev/null", "found a file")),
    ("out is a link to a file", _link("ok.csv"), [*OUT, "out"], ("--out out", "found a file")),
    ("out is a ring of links", _link("out"), [*OUT, "out"], ("--out out", "name another folder")),
    ("out is foreign", lambda w: _folder(w / "out"), [*OUT, "out"], ("letter.txt", "name a new folder")),
    ("demo's out is foreign", lambda w: _folder(w / "out"), ["demo", "--out", "out"], ("letter.txt", "name a new")),
    ("demo's out is a file", _nothing, ["demo", "--out", "ok.csv"], ("--out ok.csv", "found a file")),
    ("out links to what is foreign", lambda w: (_folder(w / "d"), os.symlink("d", w / "out")), [*OUT, "out"],
     ("letter.txt",)),
    ("out is here", _nothing, [*OUT, "."], ("--out .", "found other files", "name a new folder")),
    ("out is above", _nothing, [*OUT, ".."], ("--out ..", "found other files")),
    ("out is the root", _nothing, [*OUT, "/"], ("--out /", "found other files")),
    ("out is empty", _nothing, [*OUT, ""], ("--out:", "found no name", "name a folder")),
    ("demo's out is empty", _nothing, ["demo", "--out", ""], ("--out:", "found no name")),
    ("out without a parent", _nothing, [*OUT, "a/b/c"], ("--out a/b/c", "parent folder does not exist")),
    ("out cannot be written", _nothing, [*OUT, "/proc/out"], ("--out /proc/out", "cannot be written", "another")),
    ("out's name too long", _nothing, [*OUT, "x" * 300], ("File name too long", "name another folder")),
    ("out's name nearly too long", _nothing, [*OUT, "x" * 250], ("File name too long", "name another folder")),
    ("out with NUL", _nothing, [*OUT, "a\0b"], ("--out a\\x00b", "cannot be written")),
    ("out over lines", _nothing, [*OUT, "a\nb/c"], ("--out a\\nb/c", "parent folder")),
    ("out holds the house", _mine_in_ours, ["replay", "out/house.toml", "--weather", "ok.csv", "--out", "out"],
     ("--out out", "house.toml", "name a new folder")),
    ("out holds the weather", _log_as_record, ["replay", "default", "--weather", "out/record.csv", "--out", "out"],
     ("--out out", "out/record.csv lies in it", "name a new folder")),
    ("out has another's result", _no_result, [*OUT, "out"], ("--out out", "result.json is none of a replay")),
    ("out has a broken result", _broken_result, [*OUT, "out"], ("--out out", "result.json is none of a replay")),
    ("out has a folder in it", _folder_as_record, [*OUT, "out"], ("record-mine.csv", "name a new folder")),
]  # fmt: skip

# (name, the command line, words): argparse's own refusals, usage first
USAGE = [
    ("no command", [], ("COMMAND",)),
    ("unknown command", ["simulate"], ("simulate", "demo", "replay")),
    ("empty command", [""], ("invalid choice: ''",)),
    ("two houses", ["replay", "a", "b", "--weather", "ok.csv"], ("unrecognized arguments: b",)),
    ("unknown option", [*REPLAY, "--margin", "3"], ("unrecognized arguments: --margin 3",)),
    ("option without value", [*REPLAY, "--seed"], ("--seed", "expected one argument")),
    ("seed as text", [*REPLAY, "--seed", "lucky"], ("--seed", "'lucky'", "0 to 999999999")),
    ("seed negative", [*REPLAY, "--seed", "-1"], ("--seed", "'-1'", "a whole number from 0")),
    ("seed with a point", [*REPLAY, "--seed", "1.5"], ("--seed", "'1.5'")),
    ("seed huge", [*REPLAY, "--seed", "9" * 10], ("--seed", "9999999999", "999999999")),
    ("seed of 10 000 digits", [*REPLAY, "--seed", "9" * 10_000], ("--seed", "999…", "0 to 999999999")),
    ("seed in other digits", [*REPLAY, "--seed", "１"], ("--seed", "'１'")),
    ("seed empty", [*REPLAY, "--seed", ""], ("--seed", "''")),
    ("demo with a house", ["demo", "house.toml"], ("unrecognized arguments: house.toml",)),
    ("calculator's option twice", ["power", "--supply=24V", "--supply=28V"], ("--supply: given twice", "leave one")),
    ("flag with a value", [*REPLAY, "--bench=yes"], ("--bench", "yes")),
]
