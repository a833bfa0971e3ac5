"""The house file: the one table of its keys with bounds; from TOML text to a checked House and back.

Every key has a default, a unit and bounds here and nowhere else; unknown keys are errors, because a misspelt
key that is silently ignored gives a wrong winter.  `[settings]` belongs to the controller's own table: its
values are only checked to be plain here.
"""

import datetime
import difflib
import json
import tomllib
from math import isfinite
from typing import NamedTuple

from dewcore.settings import SWITCH, TABLE
from dewsim.errors import LONGEST_TEXT, InputError, shown, shown_path
from dewsim.files import contents
from dewsim.floor import SPECIES

LARGEST_BYTES = 1_000_000
LONGEST_LINE = 500  # the TOML reader's time grows with the square of a dotted key's length
ALLOWED_WORDS = {"bool": "true or false", "clock": 'a quoted clock time from "00:00" to "23:59"'}


class Key(NamedTuple):
    """One row of the table; section "" is the top of the file; lo, hi in `unit`; choices of kind "choice"."""

    section: str
    name: str
    kind: str  # float, int, bool, clock, choice, text
    default: object
    lo: object
    hi: object
    unit: str
    meaning: str
    choices: tuple = ()


KEYS = (
    Key("", "name", "text", "House", None, None, "", "what reports call the house"),
    Key("", "units", "choice", "si", None, None, "", "what reports show; the file itself is SI", ("si", "us")),
    Key("house", "volume_m3", "float", 400.0, 40.0, 3000.0, "m3", "heated volume, 1.2 kg of dry air per m3"),
    Key(
        "house",
        "air_changes_per_h",
        "float",
        0.4,
        0.05,
        5.0,
        "1/h",
        "constant, or at 20 K and 4 m/s with wind",
    ),
    Key(
        "house",
        "air_change_model",
        "choice",
        "wind",
        None,
        None,
        "",
        "does it follow weather?",
        ("constant", "wind"),
    ),
    Key("house", "ventilation_m3_h", "float", 0.0, 0.0, 1000.0, "m3/h", "steady flow of outdoor air by a fan or a "
        "heat-recovery unit on top, less the share whose moisture it returns"),
    Key("house", "storeys", "int", 2, 1, 3, "", "storeys above ground, for the wind model"),
    Key("house", "shelter", "int", 3, 1, 5, "", "1 no shielding .. 5 tight between neighbours"),
    Key("house", "indoor_c", "float", 21.0, 5.0, 30.0, "°C", "set point of the thermostat"),
    Key("house", "setback_k", "float", 2.0, 0.0, 10.0, "K", "how much lower at night; 0 for none"),
    Key("house", "setback_from", "clock", "22:30", None, None, "", "start of the set-back"),
    Key("house", "setback_to", "clock", "06:00", None, None, "", "end of the set-back"),
    Key("gains", "people", "int", 3, 0, 20, "", "persons living there"),
    Key("gains", "constant_kg_h", "float", 0.0, 0.0, 3.0, "kg/h", "steady moisture source, plants for example"),
    Key("gains", "bursts", "bool", True, None, None, "", "showers, cooking, laundry"),
    Key("gains", "extraction", "float", 0.6, 0.0, 1.0, "", "share of the bursts left after extract fans"),
    Key("buffer", "nodes", "int", 2, 0, 2, "", "0 bare air, 1 air and light things, 2 also a slow store"),
    Key(
        "buffer",
        "k",
        "float",
        1.75,
        1.0,
        20.0,
        "",
        "air and light things over air alone; unused with 0 nodes",
    ),
    Key("buffer", "r", "float", 14.0, 0.1, 100.0, "", "slow store over air capacity at 20 °C; 2 nodes only"),
    Key("buffer", "tau_b_h", "float", 58.0, 2.0, 1000.0, "h", "time constant of the slow store; 2 nodes only"),
    Key("glass", "f_day", "float", 0.58, 0.05, 0.98, "", "temperature factor of the coldest visible spot"),
    Key(
        "glass",
        "f_night",
        "float",
        0.5,
        0.05,
        0.98,
        "",
        "with curtains drawn, at most f_day; left out: f_day - 0.08",
    ),
    Key("glass", "curtains_from", "clock", "18:30", None, None, "", "curtains drawn; the night of [room] too"),
    Key("glass", "curtains_to", "clock", "07:30", None, None, "", "curtains opened"),
    Key("walls", "corner_f", "float", 0.70, 0.30, 0.98, "", "temperature factor of the coldest opaque corner"),
    Key("walls", "vapour_excess_pa", "float", 540.0, 270.0, 810.0, "Pa", "indoor over outdoor, 7-day means"),
    Key("walls", "cap_pct", "float", 40.0, 15.0, 45.0, "%", "highest RH whatever the surfaces allow"),
    Key("room", "colder_k", "float", 0.0, 0.0, 10.0, "K", "coldest occupied room below the sensor's"),
    Key("room", "excess_g_kg", "float", 0.0, 0.0, 5.0, "g/kg", "its air above the sensor's, curtains drawn"),
    Key("heating", "ua_w_k", "float", 200.0, 20.0, 3000.0, "W/K", "heat loss"),
    Key("heating", "furnace_kw", "float", 13.0, 1.0, 100.0, "kW", "heat while it runs"),
    Key("heating", "fan_continuous", "bool", False, None, None, "", "does the fan run without heat too?"),
    Key(
        "heating",
        "supply_c",
        "float",
        49.0,
        25.0,
        75.0,
        "°C",
        "supply air on a heat call; 35 by default with heat_pump",
    ),
    Key("heating", "heat_pump", "bool", False, None, None, "", "low supply temperature by default"),
    Key(
        "heating",
        "free_heat_w",
        "float",
        600.0,
        0.0,
        5000.0,
        "W",
        "people, lamps, sun: heat without the furnace",
    ),
    Key(
        "heating",
        "thermal_time_h",
        "float",
        40.0,
        0.0,
        500.0,
        "h",
        "heat capacity over ua_w_k; 0 holds the set point",
    ),
    Key("humidifier", "kg_h", "float", 0.6, 0.0, 5.0, "kg/h", "evaporation with a wet pad at supply_rating_c"),
    Key("humidifier", "supply_rating_c", "float", 49.0, 25.0, 75.0, "°C", "supply air that kg_h is stated for"),
    Key("humidifier", "pad_min", "float", 6.0, 0.0, 60.0, "min", "time constant of wetting and drying"),
    Key("humidifier", "water_kg_h", "float", 13.0, 0.0, 100.0, "kg/h", "water let in while the valve is open"),
    Key("humidifier", "condition", "float", 1.0, 0.0, 1.0, "", "share of kg_h that the pad still gives"),
    Key("sensors", "rh_tolerance_pct", "float", 2.0, 0.0, 10.0, "%", "what the controller allows for, RH"),
    Key("sensors", "indoor_tolerance_k", "float", 0.3, 0.0, 3.0, "K", "the same, indoor temperature"),
    Key("sensors", "outdoor_tolerance_k", "float", 0.5, 0.0, 5.0, "K", "the same, outdoor temperature"),
    Key("sensors", "f_tolerance", "float", 0.03, 0.0, 0.2, "", "the same, temperature factor"),
    Key("sensors", "rh_error_pct", "float", 0.0, -20.0, 20.0, "%", "reads this much high, all winter"),
    Key("sensors", "indoor_error_k", "float", 0.0, -5.0, 5.0, "K", "reads this much high"),
    Key("sensors", "outdoor_error_k", "float", 0.0, -10.0, 10.0, "K", "reads this much high"),
    Key("sensors", "f_error", "float", 0.0, -0.3, 0.3, "", "the controller believes f this much high"),
    Key("sensors", "lag_min", "float", 0.0, 0.0, 240.0, "min", "first-order lag of the RH reading"),
    Key("sensors", "noise", "float", 0.0, 0.0, 10.0, "% RH", "sd a reading; a tenth as many K on thermometers"),
    Key("sensors", "resolution", "float", 0.0, 0.0, 10.0, "% RH", "step of a reading; a tenth as many K"),
    Key("sensors", "drift_pct_per_day", "float", 0.0, -1.0, 1.0, "%/day", "the RH error grows by this much"),
    Key("sensors", "dropout", "float", 0.0, 0.0, 1.0, "", "share of minutes without a reading, each sensor"),
    Key("floor", "species", "choice", "red oak", None, None, "", "wood of the floor", tuple(SPECIES)),
    Key("floor", "board_mm", "float", 83.0, 20.0, 400.0, "mm", "width of a board"),
)
BY_PLACE = {(key.section, key.name): key for key in KEYS}
SECTIONS = tuple(dict.fromkeys(key.section for key in KEYS if key.section))
CURTAIN_F = 0.08  # what curtains take off f_day where f_night is left out; an assumption
HEAT_PUMP_SUPPLY_C = 35.0  # between the 32 and 40 °C of common heat pumps; an assumption


class Section:
    """The values of one section as attributes; a name that is not in the table is an AttributeError."""

    def __init__(self, section: str):
        object.__setattr__(self, "_section", section)
        for key in KEYS:
            if key.section == section:
                setattr(self, key.name, key.default)

    def __setattr__(self, name, value):
        if (self._section, name) not in BY_PLACE:
            raise AttributeError(f"the house file has no key {self._section}.{name}")
        object.__setattr__(self, name, value)

    def __eq__(self, other):
        return isinstance(other, Section) and self.__dict__ == other.__dict__

    __hash__ = None

    def __repr__(self):
        return "Section(" + ", ".join(f"{k}={v!r}" for k, v in self.__dict__.items()) + ")"


class House:
    """A checked house: `House()` has every default; `House({"house": {"volume_m3": 300.0}})` changes some.

    Attributes: name, units, one Section for each of SECTIONS (house.glass.f_day, ...), and settings, a dict
    of plain values for the controller's own table.  `place` starts the text of an InputError.
    Whoever changes attributes afterwards calls check().
    """

    def __init__(self, values: "dict | None" = None, place: str = "house"):
        self.name = BY_PLACE["", "name"].default
        self.units = BY_PLACE["", "units"].default
        for section in SECTIONS:
            setattr(self, section, Section(section))
        self.settings = {}
        values = {} if values is None else values
        for name, value in values.items():
            _take(self, name, value, place)
        if self.heating.heat_pump and "supply_c" not in values["heating"]:
            self.heating.supply_c = HEAT_PUMP_SUPPLY_C
        if "f_day" in values.get("glass", {}) and "f_night" not in values["glass"]:
            self.glass.f_night = max(BY_PLACE["glass", "f_night"].lo, round(self.glass.f_day - CURTAIN_F, 6))
        self._cross_check(place)

    def __eq__(self, other):
        return isinstance(other, House) and self.__dict__ == other.__dict__

    __hash__ = None

    @classmethod
    def default(cls) -> "House":
        """The house of every default: a middling one."""
        return cls()

    def check(self, place: str = "house") -> None:
        """Raise InputError where a value, perhaps changed since, is not what the table allows."""
        for key in KEYS:
            _checked(key, getattr(getattr(self, key.section) if key.section else self, key.name), place)
        _take(self, "settings", dict(self.settings), place)
        self._cross_check(place)

    def _cross_check(self, place):
        g, h, s, p = self.glass, self.heating, self.house, self.humidifier
        if not g.f_night <= g.f_day:
            raise InputError(
                f"{place}: glass.f_night: found {g.f_night}, allowed is at most f_day = {g.f_day} (curtains "
                "make the glass colder); lower f_night or raise f_day"
            )
        if not h.supply_c >= s.indoor_c + 3.0:
            raise InputError(
                f"{place}: heating.supply_c: found {h.supply_c}, allowed is at least 3 K above "
                f"house.indoor_c = {s.indoor_c}; give the temperature of the air "
                "that leaves the furnace on a heat call"
            )
        if s.setback_k > 0.0 and s.setback_from == s.setback_to:
            raise InputError(
                f"{place}: house.setback_to: found {s.setback_to}, the same as setback_from; give another "
                "time, or setback_k = 0 for no set-back"
            )
        if not p.water_kg_h >= p.kg_h:
            raise InputError(
                f"{place}: humidifier.water_kg_h: found {p.water_kg_h}, allowed is at least kg_h = {p.kg_h} "
                "(no more can evaporate than is let in); raise water_kg_h or lower kg_h"
            )


def load(path) -> House:
    """House from the TOML file at path (UTF-8, BOM allowed, at most 1 MB).  InputError for anything else."""
    place = shown_path(path)
    raw = contents(path, LARGEST_BYTES, "the path of a house file")
    if len(raw) > LARGEST_BYTES:
        raise InputError(f"{place}: larger than 1 MB, allowed is at most 1 MB; give a house file")
    return loads(raw, place)


def loads(raw: bytes, place: str) -> House:
    """House from the bytes of a house file (lines of at most 500 characters); place names it in messages."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{place}: byte {error.start + 1} is not UTF-8 text; save the file as UTF-8 and try again"
        ) from None
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            raise InputError(
                f"{place}: line {number}: found {len(line)} characters, allowed are {LONGEST_LINE}; break the line"
            )
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise InputError(
            f"{place}: nested too deeply, allowed are only [section] and key = value; remove the brackets"
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{place}: not valid TOML: {shown(str(error), 200)}; correct that line") from None
    except ValueError:  # int() reads at most 4300 digits
        raise InputError(f"{place}: a number has thousands of digits; correct or remove it") from None
    if not data:
        raise InputError(
            f'{place}: holds no keys, at least one is needed; every key has a default, so name = "My house" '
            f"is enough to start; the sections are {', '.join(SECTIONS)}, settings"
        )
    return House(data, place)


def dump(house: House) -> str:
    """TOML text of house, every key with its unit and meaning; loads back equal."""
    lines = [_line(BY_PLACE["", name], getattr(house, name)) for name in ("name", "units")]
    for section in SECTIONS:
        lines += ["", f"[{section}]"]
        values = getattr(house, section)
        lines += [_line(key, getattr(values, key.name)) for key in KEYS if key.section == section]
    if house.settings:
        lines += ["", "[settings]"]
        lines += [f"{_quoted(name)} = {_toml(value)}" for name, value in house.settings.items()]
    return "\n".join(lines) + "\n"


def _take(house, name, value, place):
    """Put one top-level item of the file into house: a key, or a whole section."""
    if ("", name) in BY_PLACE:
        setattr(house, name, _checked(BY_PLACE["", name], value, place))
        return
    if name not in SECTIONS and name != "settings":
        raise InputError(f"{place}: {shown_name(name)}: not a section or key of the house file; {_where(name)}")
    if not isinstance(value, dict):
        raise InputError(f"{place}: {name}: found {_found(value)}, allowed is one section [{name}]; write it so, once")
    if name == "settings":
        house.settings = {key: _plain(key, item, place) for key, item in value.items()}
        return
    section = getattr(house, name)
    for key_name, item in value.items():
        key = BY_PLACE.get((name, key_name))
        if key is None:
            raise InputError(f"{place}: {name}.{shown_name(key_name)}: no such key; {_where(key_name, name)}")
        setattr(section, key_name, _checked(key, item, place))


def _where(name: str, section: str = "") -> str:
    """Where a key that does not belong here belongs: under another section, or to a name like it."""
    homes = [f"[{key.section}]" for key in KEYS if key.name == name and key.section]
    homes += ["[settings]"] if any(row[0] == name for row in TABLE) else []
    if homes:
        return f"it belongs under {' or '.join(homes)}; move it there"
    if section:
        return nearest(name, [key.name for key in KEYS if key.section == section])
    return nearest(name, [*SECTIONS, "settings", "name", "units"])


def _checked(key: Key, value, place: str):
    """value as the type of key, or InputError.  bool is no number here, though Python says so."""
    kind = key.kind
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if kind == "float" and number and key.lo <= value <= key.hi:
        return float(value)
    if kind == "int" and number and isinstance(value, int) and key.lo <= value <= key.hi:
        return value
    if kind == "bool" and isinstance(value, bool):
        return value
    if kind == "choice" and isinstance(value, str) and value in key.choices:
        return value
    if kind == "clock" and isinstance(value, str) and _is_clock(value):
        return value
    if kind == "text" and isinstance(value, str) and len(value) <= LONGEST_TEXT and value.isprintable():
        return value
    where = f"{key.section}.{key.name}" if key.section else key.name
    raise InputError(
        f"{place}: {where}: found {_found(value)}, allowed is {allowed(key)}; {key.meaning}; correct it, or "
        f"leave it out for {_toml(key.default)}"
    )


def allowed(key: Key) -> str:
    """What key allows, in words, with its unit."""
    if key.kind in ("float", "int"):
        kind = "a number" if key.kind == "float" else "a whole number"
        return f"{kind} from {key.lo:g} to {key.hi:g}{' ' if key.unit else ''}{key.unit}"
    if key.kind == "choice":
        return "one of " + ", ".join(_toml(choice) for choice in key.choices)
    if key.kind == "text":
        return f"quoted text on one line of at most {LONGEST_TEXT} characters"
    return ALLOWED_WORDS[key.kind]


def _plain(name, value, place):
    """A value of [settings]: text, finite number, true or false; the rest is the controller's."""
    if isinstance(value, (str, bool, int)) or (isinstance(value, float) and isfinite(value)):
        return value
    raise InputError(
        f"{place}: settings.{shown_name(name)}: found {_found(value)}, allowed is {_allowed_setting(name)}; "
        "correct it, or leave it out for the default"
    )


def _allowed_setting(name: str) -> str:
    """What a setting allows, in words; whether the name is one is for the controller's table to tell."""
    row = next((row for row in TABLE if row[0] == name), None)
    if row is None:
        return "a finite number, true or false"
    _, unit, _, lowest, highest = row
    if unit == SWITCH:
        return "true or false"
    return f"a finite number from {lowest} to {highest}{'' if unit == '1' else ' ' + unit}"


def shown_name(name: str) -> str:
    """A name from the file, in quotes where its ends could not be seen otherwise."""
    return shown(name if name and name == name.strip() else _quoted(name))


def _is_clock(text: str) -> bool:
    if len(text) != 5 or text[2] != ":" or not (text[:2] + text[3:]).isascii():
        return False
    return text[:2].isdigit() and text[3:].isdigit() and int(text[:2]) <= 23 and int(text[3:]) <= 59


def nearest(name: str, known: list) -> str:
    """What a misspelt name may have meant, or all that there is."""
    close = difflib.get_close_matches(name[:LONGEST_TEXT], known, 1)
    return f"did you mean {close[0]}?" if close else f"known are {', '.join(known)}"


def _found(value) -> str:
    """value in a few words on one line, however large or deeply nested it is."""
    if isinstance(value, dict):
        return "a section"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, (datetime.date, datetime.time)):
        return f"the date or time {value.isoformat()} without quotes"
    if isinstance(value, int) and not isinstance(value, bool) and value.bit_length() > 100:
        return "a whole number of more than 30 digits"
    return shown(_toml(value), 60)


def _quoted(text: str) -> str:
    """text as a TOML basic string (TOML 1.0, String): JSON's escapes, and DEL too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _toml(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return _quoted(value) if isinstance(value, str) else repr(value)


def _line(key: Key, value) -> str:
    unit = f"[{key.unit}] " if key.unit else ""
    return f"{key.name} = {_toml(value)}  # {unit}{key.meaning}"
