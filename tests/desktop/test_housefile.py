"""The house file: defaults, every bound, every way of being wrong, and the way back to text."""

import pickle
from copy import deepcopy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dewsim.errors import InputError
from dewsim.housefile import BY_PLACE, KEYS, SECTIONS, House, dump, load, loads


def refuse(text, *parts):
    """The one line that text is refused with; it must hold each of parts."""
    raw = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(InputError) as caught:
        loads(raw, "h.toml")
    message = str(caught.value)
    assert message.startswith("h.toml: ")
    assert message.isprintable() and len(message) < 600
    for part in parts:
        assert part in message
    return message


def line(key, value):
    return f"{key.name} = {value}\n" if not key.section else f"[{key.section}]\n{key.name} = {value}\n"


def place(key):
    return f"{key.section}.{key.name}" if key.section else key.name


def test_the_table_holds_every_key_of_the_contract_and_no_key_twice():
    names = {section: [key.name for key in KEYS if key.section == section] for section in ("", *SECTIONS)}
    assert names == {
        "": ["name", "units"],
        "house": [
            "volume_m3",
            "air_changes_per_h",
            "air_change_model",
            "ventilation_m3_h",
            "storeys",
            "shelter",
            "indoor_c",
            "setback_k",
            "setback_from",
            "setback_to",
        ],
        "gains": ["people", "constant_kg_h", "bursts", "extraction"],
        "buffer": ["nodes", "k", "r", "tau_b_h"],
        "glass": ["f_day", "f_night", "curtains_from", "curtains_to"],
        "walls": ["corner_f", "vapour_excess_pa", "cap_pct"],
        "room": ["colder_k", "excess_g_kg"],
        "heating": [
            "ua_w_k",
            "furnace_kw",
            "fan_continuous",
            "supply_c",
            "heat_pump",
            "free_heat_w",
            "thermal_time_h",
        ],
        "humidifier": ["kg_h", "supply_rating_c", "pad_min", "water_kg_h", "condition"],
        "sensors": [
            "rh_tolerance_pct",
            "indoor_tolerance_k",
            "outdoor_tolerance_k",
            "f_tolerance",
            "rh_error_pct",
            "indoor_error_k",
            "outdoor_error_k",
            "f_error",
            "lag_min",
            "noise",
            "resolution",
            "drift_pct_per_day",
            "dropout",
        ],
        "floor": ["species", "board_mm"],
    }
    assert len(BY_PLACE) == len(KEYS)


def test_the_suffix_of_a_name_agrees_with_its_unit():
    ends = {
        "_c": "°C",
        "_k": "K",
        "_pa": "Pa",
        "_h": ("h", "kg/h", "1/h"),
        "_min": "min",
        "_mm": "mm",
        "_kw": "kW",
    }
    ends |= {"_w_k": "W/K", "_pct": "%", "_m3": "m3", "_m3_h": "m3/h", "_g_kg": "g/kg", "_w": "W"}
    seen = 0
    for key in KEYS:
        fitting = [end for end in sorted(ends, key=len, reverse=True) if key.name.endswith(end)]
        if fitting:
            assert key.unit in ends[fitting[0]], key
            seen += 1
    assert seen > 25


def test_every_default_is_allowed_and_every_key_has_a_meaning():
    House().check()
    assert all(key.meaning and key.kind for key in KEYS)
    for key in KEYS:
        values = House() if not key.section else getattr(House(), key.section)
        assert getattr(values, key.name) == key.default


def test_a_file_with_one_key_has_the_defaults_elsewhere():
    house = loads(b"[glass]\nf_day = 0.7\nf_night = 0.6\n", "h.toml")
    expected = House()
    expected.glass.f_day, expected.glass.f_night = 0.7, 0.6
    assert house == expected


def test_byte_order_mark_and_windows_line_ends_are_accepted(tmp_path):
    path = tmp_path / "h.toml"
    path.write_bytes(b'\xef\xbb\xbfname = "Caf\xc3\xa9"\r\n[house]\r\nvolume_m3 = 300\r\n')
    house = load(path)
    assert house.name == "Café"
    assert house.house.volume_m3 == 300.0 and isinstance(house.house.volume_m3, float)


NUMBERS = [key for key in KEYS if key.kind in ("float", "int")]


@pytest.mark.parametrize("key", NUMBERS, ids=place)
def test_each_number_is_accepted_on_its_bounds_and_refused_beyond(key):
    contradicting = {
        ("glass", "f_night"),
        ("heating", "supply_c"),
        ("house", "indoor_c"),
        ("humidifier", "water_kg_h"),
    }
    for bound in (key.lo, key.hi):
        try:
            house = loads(line(key, bound).encode(), "h.toml")
        except InputError as error:  # a bound may contradict the default of another key, and says so
            assert (key.section, key.name) in contradicting and "allowed is at" in str(error)
        else:
            assert getattr(getattr(house, key.section), key.name) == bound
    step = 1 if key.kind == "int" else 1e-6
    for beyond in (key.lo - step, key.hi + step):
        refuse(line(key, beyond), place(key), "found", "allowed is", f"{key.lo:g} to {key.hi:g}")


@pytest.mark.parametrize("key", KEYS, ids=place)
@pytest.mark.parametrize(
    "wrong", ["nan", "inf", "-inf", "[]", "{}", "[[1]]", "2020-01-01", "07:30:00", "1e400"]
)
def test_each_key_refuses_what_no_key_can_be(key, wrong):
    refuse(line(key, wrong), place(key), "allowed is")


@pytest.mark.parametrize("key", [key for key in KEYS if key.kind != "bool"], ids=place)
def test_true_is_neither_number_nor_text(key):
    refuse(line(key, "true"), place(key), "found true")


@pytest.mark.parametrize("key", [key for key in KEYS if key.kind not in ("text",)], ids=place)
def test_other_text_is_refused(key):
    refuse(line(key, '"perhaps"'), place(key), 'found "perhaps"', "allowed is")


@pytest.mark.parametrize("key", [key for key in KEYS if key.kind not in ("float", "int")], ids=place)
def test_a_number_is_refused_elsewhere(key):
    refuse(line(key, "1"), place(key), "found 1")


def test_whole_numbers_must_be_whole():
    refuse("[gains]\npeople = 2.0", "gains.people", "a whole number from 0 to 20")


@pytest.mark.parametrize(
    "text", ["24:00", "7:30", "07:60", "0730", "07:30:00", "-1:30", " 7:30", "２２:３０", ""]
)
def test_clock_times_are_two_digits_each(text):
    refuse(f'[glass]\ncurtains_from = "{text}"', "glass.curtains_from", "00:00", "23:59")


@pytest.mark.parametrize("text", ["00:00", "23:59"])
def test_first_and_last_minute_of_the_day_are_clock_times(text):
    assert loads(f'[glass]\ncurtains_from = "{text}"'.encode(), "h").glass.curtains_from == text


@pytest.mark.parametrize(
    "text, part",
    [
        ("hose = 1", "did you mean house?"),
        ("[humidifer]", "did you mean humidifier?"),
        ("[house]\nvolume = 3", "house.volume: no such key; did you mean volume_m3?"),
        ("volume_m3 = 3", "volume_m3: not a section or key of the house file; it belongs under [house]; move it there"),
        ("[glass]\nwish_pct = 30", "glass.wish_pct: no such key; it belongs under [settings]; move it there"),
        ("[gains]\nzzz = 3", "known are people, constant_kg_h"),
        ('"a\\nb" = 1', "a\\nb"),
        ("house = 3", "house: found 3"),
        ("[[house]]", "house: found a list"),
        ("[house]\nvolume_m3 = 1\nvolume_m3 = 2", "not valid TOML"),
        ("[house]\n[house]", "not valid TOML"),
        ("[house]\nsetback_from = 22:30", "line 2"),
        ("a = " + "[\n" * 100_000, "nested too deeply"),
        ("a = " + "[" * 496 + "]" * 496, "line 1: found 996 characters, allowed are 500"),
        (".".join(["a"] * 240) + " = 1", "a: not a section"),
        ("[house]\n\n" + ".".join(["a"] * 400_000) + " = 1", "line 3: found 800003 characters"),
        ('[house]\nvolume_m3 = """' + "x\n" * 10_000 + '"""', "house.volume_m3: found"),
        ("[house]\nvolume_m3 = 1" + "0" * 400, "more than 30 digits"),
        ("\x00", "not valid TOML"),
        ("# nothing", 'name = "My house" is enough'),
        ("", "holds no keys"),
        (b"\xff\xfea\x00", "byte 1 is not UTF-8"),
        (b'name = "\xe9"', "byte 9 is not UTF-8"),
        ("[settings]\nx = nan", "settings.x: found nan"),
        ("[settings]\nx = [1]", "settings.x: found a list"),
        ('name = "a\\tb"', "one line"),
        ("name = '" + "x" * 81 + "'", "80 characters"),
    ],
    ids=lambda value: str(value)[:20].replace("\x00", "NUL"),
)
def test_wrong_files_are_refused_in_one_line(text, part):
    refuse(text, part)


@pytest.mark.parametrize(
    "text, part",
    [
        ("[glass]\nf_day = 0.5\nf_night = 0.51", "glass.f_night: found 0.51, allowed is at most f_day = 0.5"),
        ("[house]\nindoor_c = 24\n[heating]\nsupply_c = 26", "heating.supply_c: found 26.0"),
        ('[house]\nsetback_from = "06:00"', "house.setback_to: found 06:00, the same"),
        (
            "[humidifier]\nwater_kg_h = 0.5\nkg_h = 0.6",
            "humidifier.water_kg_h: found 0.5, allowed is at least kg_h",
        ),
    ],
)
def test_keys_that_contradict_each_other_are_refused(text, part):
    refuse(text, part)


def test_without_a_set_back_its_times_do_not_matter():
    house = loads(b'[house]\nsetback_k = 0\nsetback_from = "06:00"\n', "h")
    assert house.house.setback_from == house.house.setback_to


def test_left_out_values_that_follow_others():
    assert loads(b"[heating]\nheat_pump = true", "h").heating.supply_c == 35.0
    assert loads(b"[heating]\nheat_pump = true\nsupply_c = 40", "h").heating.supply_c == 40.0
    assert loads(b"[glass]\nf_day = 0.40", "h").glass.f_night == 0.32
    assert loads(b"[glass]\nf_day = 0.06", "h").glass.f_night == 0.05


@pytest.mark.parametrize("path", ["/", "/does/not/exist", "a\0b", "no\nfile"])
def test_unreadable_paths_are_one_line(path):
    with pytest.raises(InputError, match="cannot be read") as caught:
        load(path)
    assert str(caught.value).isprintable()


def test_files_over_one_megabyte_are_refused(tmp_path):
    path = tmp_path / "h.toml"
    path.write_bytes(b"name = 'x'\n" + b"#\n" * 499_994 + b"#")
    assert load(path).name == "x"
    path.write_bytes(b"name = 'x'\n" + b"#\n" * 499_995)
    with pytest.raises(InputError, match="1 MB"):
        load(path)


def test_settings_pass_through():
    house = loads(b"[settings]\nmargin_k = 1.5\nwater_needs_heat = false\nstarts = 6\nword = 'x'", "h")
    assert house.settings == {"margin_k": 1.5, "water_needs_heat": False, "starts": 6, "word": "x"}


VALUES = {
    "float": lambda key: st.floats(key.lo, key.hi),
    "int": lambda key: st.integers(key.lo, key.hi),
    "bool": lambda key: st.booleans(),
    "choice": lambda key: st.sampled_from(key.choices),
    "clock": lambda key: st.builds("{:02d}:{:02d}".format, st.integers(0, 23), st.integers(0, 59)),
    "text": lambda key: st.text(max_size=80).filter(str.isprintable),
}
PLAIN = (
    st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20)
)


@given(
    st.fixed_dictionaries({key: VALUES[key.kind](key) for key in KEYS}),
    st.dictionaries(st.text(), PLAIN, max_size=4),
)
def test_dump_loads_back_equal(values, settings):
    house = House()
    for key, value in values.items():
        setattr(getattr(house, key.section) if key.section else house, key.name, value)
    house.settings = settings
    house.glass.f_night = min(house.glass.f_night, house.glass.f_day)
    house.heating.supply_c = max(house.heating.supply_c, house.house.indoor_c + 3.0)
    house.humidifier.water_kg_h = max(house.humidifier.water_kg_h, house.humidifier.kg_h)
    if house.house.setback_from == house.house.setback_to:
        house.house.setback_k = 0.0
    house.check()
    assert loads(dump(house).encode(), "h.toml") == house


@given(st.binary(max_size=60) | st.text(max_size=60).map(str.encode))
def test_any_bytes_give_a_house_or_one_line(raw):
    try:
        house = loads(raw, "h.toml")
    except InputError as error:
        assert str(error).startswith("h.toml: ") and str(error).isprintable()
    else:
        house.check()


def test_values_changed_later_are_checked_on_request():
    house = House()
    house.glass.f_day = float("nan")
    with pytest.raises(InputError, match="glass.f_day: found nan"):
        house.check("changed")
    with pytest.raises(AttributeError, match="glass.f_dya"):
        house.glass.f_dya = 0.5


def test_copies_are_equal_and_apart():
    house = House({"settings": {"a": 1}})
    for other in (deepcopy(house), pickle.loads(pickle.dumps(house))):
        assert other == house
        other.glass.f_day = 0.9
        other.settings["a"] = 2
        assert house == House({"settings": {"a": 1}})
