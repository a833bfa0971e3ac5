"""Bad input for the calculators, with the words that its one line of refusal must hold; test_bad_input.py tries it."""

from dewsim import desk_options

SIZE = ["size", "--volume=300m3", "--outdoor=-18C"]
POWER = ["power", "--transformer=40VA", "--terminal=500mA", "--valve-current=175mA"]
BOTH = ["calibrate", "--point=NaCl:22C:77", "--point=MgCl2:22C:34"]

ABSURD = ("-1e9", "1e9", "nan", "-inf", "", " ", "abc", "5furlong", "1,5", "5 5", "-", "\u0663")


def beside(option: str) -> list:
    """POWER without that option, for one that is bad."""
    return [word for word in POWER if not word.startswith(option + "=")]


def with_others(base: list, options: tuple) -> list:
    """A command line of "--name=value" words, or of pairs of words, with these options instead of its own."""
    names = {word.split("=")[0] for word in options} - {"--on-it"}  # that one adds up
    kept, is_value = [], False
    for word in base:
        is_value = is_value and not word.startswith("--") or word.split("=")[0] in names
        if not is_value:
            kept.append(word)
        is_value = is_value and word.startswith("--") and "=" not in word
    return [*kept, *options]


# where an option makes sense only beside another: what stands in place of the base command
BESIDE = {
    "volume": ["size", "--outdoor=-18C"],
    "outdoor": ["size", "--volume=300m3"],
    "area": ["size", "--outdoor=-18C"],
    "height": ["size", "--outdoor=-18C", "--area=190m2"],
    "hrv-heat": [*SIZE, "--hrv=100m3/h"],
    "hrv-moisture": [*SIZE, "--hrv=100m3/h"],
    "rated-at": [*SIZE, "--humidifier=0.6kg/h"],
    "water": [*SIZE, "--humidifier=0.6kg/h"],
    **{word[2:].split("=")[0]: beside(word.split("=")[0]) for word in POWER[1:]},
}


def absurd() -> list:
    """(option, what stands before it) of every option that takes a value, but names of files."""
    found = []
    for base, table in ((SIZE, desk_options.SIZE), (POWER, desk_options.POWER), (BOTH, desk_options.CALIBRATE)):
        found += [(f"--{name}", BESIDE.get(name, base)) for name, _, _ in table if name not in ("out", "port")]
    return found


# (name, the command line, words); house.toml and ok.csv are there and good
DESK = [
    ("size of nothing", ["size"], ("neither a house file nor --volume", "give")),
    ("size without cold", ["size", "--volume", "300"], ("neither --outdoor nor --weather", "give")),
    ("size of a missing house", ["size", "absent.toml", "--outdoor", "-18"], ("absent.toml", "cannot be read")),
    ("volume in ft3 without a unit", ["size", "--volume", "16000", "--outdoor", "-18"], ("16000", "write 16000ft3")),
    ("US units, cold without one", ["size", "--volume=9000ft3", "--outdoor=0", "--units=us"], ("give 0F or 0C",)),
    ("volume negative", ["size", "--volume", "-300", "--outdoor", "-18"], ("--volume: found -300", "40 to 3000 m3")),
    ("volume zero", ["size", "--volume", "0", "--outdoor", "-18"], ("--volume: found 0", "40 to 3000 m3")),
    ("volume NaN", ["size", "--volume", "nan", "--outdoor", "-18"], ("'nan'", "a number with its unit")),
    ("volume in a length", ["size", "--volume", "300m", "--outdoor", "-18"], ("the unit 'm'", "m3 or ft3")),
    ("volume as text", ["size", "--volume", "large", "--outdoor", "-18"], ("'large'", "correct")),
    ("volume of 10 000 digits", ["size", "--volume", "9" * 10_000, "--outdoor", "-18"], ("--volume", "999…")),
    ("volume in other digits", ["size", "--volume", "３00", "--outdoor", "-18"], ("'３00'", "a number")),
    ("volume and area", [*SIZE, "--area", "100"], ("--area: not beside --volume",)),
    ("height without area", [*SIZE, "--height", "2.4"], ("--height: only with --area",)),
    ("area in ft2 without a unit", ["size", "--area", "2000", "--outdoor", "-18"], ("write 2000ft2",)),
    ("area times height too large", ["size", "--area", "1200", "--height", "6", "--outdoor", "-18"], ("7200 m3",)),
    ("indoors in F without a unit", [*SIZE, "--indoor", "70"], ("--indoor: found 70", "write 70F")),
    ("indoor and outdoor swapped", ["size", "--volume", "300", "--indoor", "-18", "--outdoor", "21"], ("--indoor",)),
    ("outdoors as warm as indoors", ["size", "--volume=300", "--indoor=10", "--outdoor=9"], ("5 K colder", "swapped?")),
    ("outdoors below the coldest", ["size", "--volume", "300", "--outdoor", "-80"], ("--outdoor", "-50 to 15 C")),
    ("two figures of tightness", [*SIZE, "--built=1970", "--air-changes=0.5"], ("--built: not beside --air-changes",)),
    ("air changes of a blower door", [*SIZE, "--air-changes", "9"], ("--air-changes: found 9", "0.05 to 5")),
    ("blower door in Pa", [*SIZE, "--blower-door", "50Pa"], ("--blower-door", "'pa'")),
    ("blower door negative", [*SIZE, "--blower-door", "-6"], ("--blower-door: found -6",)),
    ("blower door far too leaky", [*SIZE, "--blower-door", "50000m3/h"], ("comes to", "correct it or the volume")),
    ("built in the future", [*SIZE, "--built", "3000"], ("--built: found 3000",)),
    ("built half a year", [*SIZE, "--built", "1970.5"], ("a whole number",)),
    ("four storeys", [*SIZE, "--storeys", "4"], ("--storeys: found 4", "1 to 3")),
    ("target as a share", [*SIZE, "--target", "0.35"], ("--target: found 0.35", "10 to 60 %")),
    ("recovery without its flow", [*SIZE, "--hrv-heat", "75"], ("--hrv-heat: only with --hrv",)),
    ("humidifier in gallons without a unit", [*SIZE, "--humidifier", "12"], ("write 12gal/day",)),
    ("humidifier of nothing", [*SIZE, "--humidifier", "0"], ("--humidifier: found 0",)),
    ("more evaporated than fed", [*SIZE, "--humidifier=2kg/h", "--water=1kg/h"], ("humidifier.water_kg_h", "at least")),
    ("supply air in F without a unit", [*SIZE, "--supply", "120"], ("--supply: found 120", "write 120F")),
    ("supply colder than the room", [*SIZE, "--supply", "26C", "--indoor", "25C"], ("heating.supply_c", "3 K above")),
    ("furnace in Btu/h without a unit", [*SIZE, "--furnace", "45000"], ("if it is W or Btu/h, write 45000Btu/h",)),
    ("fan share and furnace", [*SIZE, "--fan-share=60", "--furnace=13kW"], ("not beside --fan-share",)),
    ("fan share over all", [*SIZE, "--fan-share", "160"], ("--fan-share: found 160", "1 to 100 %")),
    ("page without a winter", [*SIZE, "--out", "a.html"], ("--out: only with --weather",)),
    ("size in a missing winter", ["size", "--volume=300", "--weather=absent.csv"], ("absent.csv", "give a")),
    ("page over a log", ["size", "house.toml", "--weather=ok.csv", "--out", "ok.csv"], ("no page", "name a new")),
    ("page into a folder", ["size", "house.toml", "--weather", "ok.csv", "--out", "."], ("found a folder",)),
    ("power of nothing", ["power"], ("no --transformer (its rating", "no --terminal", "no --valve-current")),
    ("power without a terminal", ["power", "--transformer=40"], ("found no --terminal",)),
    ("power without a current", ["power", "--transformer=40", "--terminal=500"], ("found no --valve-current",)),
    ("transformer negative", ["power", "--transformer", "-40"], ("--transformer: found -40", "10 to 300 VA")),
    ("transformer in watts", ["power", "--transformer", "40W"], ("the unit 'W'", "VA")),
    ("current in A for mA", [*beside("--valve-current"), "--valve-current", "175A"], ("found 175A", "write 175mA")),
    ("current in mA for A", [*beside("--valve-current"), "--valve-current", "0.175"], ("found 0.175", "write 0.175A")),
    ("current NaN", [*beside("--valve-current"), "--valve-current", "nan"], ("--valve-current", "'nan'")),
    ("current infinite", [*beside("--valve-current"), "--valve-current", "1e999"], ("--valve-current", "a number")),
    ("line voltage", [*POWER, "--supply", "120V"], ("--supply: found 120V", "20 to 30 V")),
    ("more watts than volt-amperes", [*POWER, "--valve-watts", "9W"], ("more watts than volt-amperes", "correct")),
    ("mains of 400 Hz", [*POWER, "--hz", "400"], ("--hz: found 400", "45 to 65 Hz")),
    ("wire of AWG 12", [*POWER, "--wire", "12"], ("--wire: found 12", "AWG 14")),
    ("wire of 3 mm2", [*POWER, "--wire", "3mm2"], ("--wire: found 3mm2", "2.5 mm2")),
    ("wire as text", [*POWER, "--wire", "thin"], ("--wire: found thin",)),
    ("wire's length negative", [*POWER, "--length", "-8m"], ("--length: found -8m",)),
    ("load on the transformer negative", [*POWER, "--on-it", "-8"], ("--on-it: found -8",)),
    ("no starts at all", [*POWER, "--starts", "0"], ("--starts: found 0",)),
    ("lamp without a resistor", [*POWER, "--lamp-resistor", "0"], ("--lamp-resistor: found 0",)),
    ("card of a missing house", ["card", "absent.toml"], ("absent.toml", "cannot be read")),
    ("card over a house", ["card", "house.toml", "--out", "house.toml"], ("no page", "name a new one")),
    ("card nowhere", ["card", "house.toml", "--out", "a/b.html"], ("its folder does not exist", "make it first")),
    ("card without a name", ["card", "house.toml", "--out", ""], ("found no name", "name a page")),
    ("card's name with NUL", ["card", "house.toml", "--out", "a\0b.html"], ("cannot be written",)),
    ("one salt", ["calibrate", "--point", "NaCl:22C:77"], ("found 1", "give two")),
    ("three salts", [*BOTH, "--point", "KCl:22C:85"], ("found 3", "give two")),
    ("salts swapped", ["calibrate", "--point=NaCl:22C:34", "--point=MgCl2:22C:77"], ("swapped readings",)),
    ("salts too near", ["calibrate", "--point=KCl:22C:85", "--point=NaCl:22C:76"], ("9.4 % RH apart", "use")),
    ("salt unknown", ["calibrate", "--point", "sugar:22C:77"], ("the salt 'sugar'", "NaCl")),
    ("salt without a reading", ["calibrate", "--point", "NaCl:22C"], ("SALT:TEMPERATURE:READING",)),
    ("salt in F without a unit", ["calibrate", "--point", "NaCl:72:77"], ("found 72", "write 72F")),
    ("salt read as a share", ["calibrate", "--point", "NaCl:22C:0.77"], ("found 0.77", "1 to 99 %")),
    ("salt read NaN", ["calibrate", "--point", "NaCl:22C:nan"], ("'nan'",)),
    ("a sensor that shrinks", ["calibrate", "--point=NaCl:22C:66", "--point=MgCl2:22C:42"], ("rh_", "replace")),
    ("present gain of 2", [*BOTH, "--present-gain", "2"], ("--present-gain: found 2",)),
    ("hours negative", [*BOTH, "--hours", "-1"], ("--hours: found -1",)),
    ("ice of an unknown thermometer", ["calibrate", "--ice", "garage:0"], ("'garage:0'", "outdoor")),
    ("ice in F without a unit", ["calibrate", "--ice", "outdoor:32"], ("found 32", "write 32F")),
    ("a thermometer far off", ["calibrate", "--ice", "indoor:4C"], ("replace the sensor",)),
    ("ice twice", ["calibrate", "--ice=room:0", "--ice=room:0.1C"], ("room is given twice",)),
    ("ice with an offset of 3 K", ["calibrate", "--ice", "outdoor:0:3K"], ("offset: found 3K", "-2 to 2 K")),
    ("a board that is not there", [*BOTH, "--port", "/dev/none"], ("/dev/none", "there is no such port")),
    ("a date of a kind", ["calibrate", "--ice", "outdoor:0", "--date", "today"], ("'today'", "YYYY-MM-DD")),
]  # fmt: skip
