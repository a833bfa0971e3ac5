"""hw_docs equal the firmware's table: drawings and pages as drawn, every value in them, every caution at its step."""

import re
import runpy
import sys
from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

from dewboard import pin_table, pins
from dewcore import words
from dewcore.readings import OFF, ON
from dewsim import drawings, drawings_list, drawings_overview, drawings_pages, drawings_states
from dewsim.circuit import FUSE_LOAD
from dewsim.drawings_table import Firmware, shipped

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "hw_docs"
PAGES = sorted(DOCS.glob("*.md"))
FW = shipped()
each_page = pytest.mark.parametrize("page", PAGES, ids=lambda path: path.stem)
each_drawing = pytest.mark.parametrize("name", list(drawings.DRAWINGS))


def prose(page: Path) -> str:
    """A page without what the program fills in."""
    text = drawings_pages.BLOCK.sub("", page.read_text(encoding="utf-8"))
    return drawings_pages.INLINE.sub("", text)


def plain(page: Path) -> str:
    """A page as read: no markers, no stars, blanks for line breaks."""
    return " ".join(drawings_pages.ANY.sub("", page.read_text(encoding="utf-8")).replace("*", "").split())


def texts(svg: str) -> list:
    """(x, y, size, anchor, words) of each text of a drawing, in the order drawn."""
    found = []
    for text in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"):
        size = float(text.get("font-size"))
        for line in text:
            y = float(text.get("y")) + size / 2
            found.append((float(text.get("x")), y, size, text.get("text-anchor"), line.text or ""))
    return found


@pytest.fixture(scope="module")
def drawn() -> dict:
    return {name: draw(FW) for name, draw in drawings.DRAWINGS.items()}


# --- as drawn ---------------------------------------------------------------------------------------------------


def test_every_committed_drawing_and_page_is_what_the_program_makes():
    assert drawings.differing(drawings.wanted(DOCS, FW)) == []


def test_drawings_folder_and_pages_name_the_same():
    pages = [DOCS / name for name in ("placement.md", "wiring.md")]
    text = "".join(page.read_text(encoding="utf-8") for page in pages)
    shown = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", text)
    assert sorted(shown) == sorted(drawings.DRAWINGS) == sorted(path.name for path in DOCS.glob("*.svg"))


def test_every_page_is_on_the_first_ones_list():
    named = set(re.findall(r"`(\w+\.md)`", (DOCS / "README.md").read_text(encoding="utf-8")))
    assert named == {page.name for page in PAGES} - {"README.md"}


# --- the table changed in memory --------------------------------------------------------------------------------


def changed(monkeypatch, pin: dict | None = None, source: tuple = ()) -> Firmware:
    """The table made afresh with other pin numbers, or with pieces of its source replaced."""
    text = Path(pin_table.__file__).read_text(encoding="utf-8")
    for old, new in source:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    for name, number in (pin or {}).items():
        monkeypatch.setattr(pins, name, number)
    module = SimpleNamespace()
    exec(compile(text, "pin_table, changed", "exec"), vars(module))
    return Firmware(module)


OF_PINS = [
    ("RELAY", "relay", {"valve_accessory.svg", "valve_no_accessory.svg", "supply.svg", "relay.svg"}),
    ("LINE_SENSE", "line_sense", {"valve_accessory.svg", "valve_no_accessory.svg", "supply.svg", "senses.svg"}),
    ("FAN", "fan", {"valve_no_accessory.svg", "supply.svg", "senses.svg", "fan_proofs.svg"}),
    (
        "OFF_SWITCH",
        "off_switch",
        {"valve_accessory.svg", "valve_no_accessory.svg", "selector.svg", "supply.svg", "contacts.svg"},
    ),
    ("LEAK", "leak", {"probes.svg"}),
    ("SDA", "i2c", {"sensors.svg"}),
    ("WIRE", "wire", {"supply.svg", "sensors.svg"}),
]


@pytest.mark.parametrize(("name", "net", "where"), OF_PINS, ids=[row[0] for row in OF_PINS])
def test_another_pin_moves_in_its_drawings_and_only_there(monkeypatch, drawn, name, net, where):
    fw = changed(monkeypatch, {name: 22})
    assert "GP22" in fw.pin(net)
    after = {file: draw(fw) for file, draw in drawings.DRAWINGS.items()}
    assert {file for file in after if after[file] != drawn[file]} == where
    assert all(re.search(r"GP22\b", after[file]) for file in where)
    page = (DOCS / "wiring.md").read_text(encoding="utf-8")
    assert "GP22" not in page and "GP22" in drawings_pages.fill(page, fw, "wiring.md")


OF_VALUES = [
    ("SERIES_OHM = 10000.0", "SERIES_OHM = 12000.0", {"senses.svg", "fan_proofs.svg"}, "12 kohm"),
    ("BASE_PULL_OHM = 2200.0", "BASE_PULL_OHM = 3300.0", {"relay.svg"}, "3.3 kohm"),
    ("\nEND_OHM = 100000.0", "\nEND_OHM = 68000.0", {"probes.svg"}, "68 kohm"),
    ("WIRE_ENTRY_OHM = 100.0", "WIRE_ENTRY_OHM = 150.0", {"sensors.svg"}, "150 ohm"),
    ("CONTACT_A = 2.0", "CONTACT_A = 3.0", {"valve_accessory.svg", "valve_no_accessory.svg", "relay.svg"}, "3 A at 30"),
    ("LEAD_FUSE_A = 0.1", "LEAD_FUSE_A = 0.2", {"valve_no_accessory.svg", "senses.svg", "fan_proofs.svg"}, "0.2 A"),
    ("LIVE_VAC = (20.0", "LIVE_VAC = (21.0", {"valve_accessory.svg", "valve_no_accessory.svg"}, "21 to 30 VAC"),
    ("GAP_MM = 5.0", "GAP_MM = 6.0", {"supply.svg"}, "6 mm"),
    ('(0x38, "AHT20"', '(0x39, "AHT20"', {"sensors.svg"}, "0x39"),
    ('"J2 fan"', '"J9 fan"', {"valve_no_accessory.svg", "supply.svg", "senses.svg", "fan_proofs.svg"}, "J9 fan"),
]


@pytest.mark.parametrize(("old", "new", "where", "shows"), OF_VALUES, ids=[row[1].strip() for row in OF_VALUES])
def test_another_value_shows_in_its_drawings_and_only_there(monkeypatch, drawn, old, new, where, shows):
    fw = changed(monkeypatch, source=((old, new),))
    after = {file: draw(fw) for file, draw in drawings.DRAWINGS.items()}
    assert {file for file in after if after[file] != drawn[file]} == where
    assert any(shows in after[file] for file in where)


def test_a_changed_table_makes_pages_differ_from_what_is_committed(monkeypatch):
    fw = changed(monkeypatch, {"RELAY": 22}, (("MUST_OFF_VAC = 5.0", "MUST_OFF_VAC = 4.0"),))
    names = {path.name for path in drawings.differing(drawings.wanted(DOCS, fw))}
    assert {"meter_volts.md", "commissioning.md", "wiring.md", "first_power.md", "trouble.md"} <= names


# --- every value equals the table -------------------------------------------------------------------------------


@each_drawing
def test_every_net_in_a_drawing_stands_with_its_pin_terminal_and_domain(drawn, name):
    words_of = [text for *_, text in texts(drawn[name])]
    seen = 0
    for net, place in zip(words_of, words_of[1:], strict=False):
        if net in FW.rows:
            seen += 1
            row = FW.rows[net]
            assert place.endswith(FW.pin(net)), net
            assert row["terminal"] in " ".join(words_of), net
            domain = "board" if row["domain"].startswith("board") else row["domain"]
            assert "DOMAIN: " + domain in words_of, net
    assert seen or name in ("overview.svg", "supply_24_vac.svg")


def test_the_overview_numbers_every_sensor_of_the_page_on_placement(drawn):
    words_of = [text for *_, text in texts(drawn["overview.svg"])]
    rows = re.findall(r"^\| ([\w' ]+) \|", (DOCS / "placement.md").read_text(encoding="utf-8"), re.MULTILINE)[1:]
    for n, sensor in enumerate(rows, 1):
        assert words_of.count(str(n)) == 2, sensor  # in its ring, and on the list
        listed = words_of[len(words_of) - 1 - words_of[::-1].index(str(n)) + 1]
        assert listed.startswith(sensor.partition(" and ")[0].partition(" sensor")[0]), sensor
    assert len(rows) == len(drawings_overview.PLACES)


def test_every_net_is_in_some_drawing(drawn):
    shown = {text for svg in drawn.values() for *_, text in texts(svg)}
    assert set(FW.rows) <= shown


def known_amounts() -> set:
    """Every resistance and capacitance of the table, and what bounds a loop's contact."""
    table = {name: getattr(pin_table, name) for name in dir(pin_table)}
    found = {pin_table.ohms(value) for name, value in table.items() if name.endswith("_OHM")}
    found |= {f"{value:.0f} nF" for name, value in table.items() if name.endswith("_NF")}
    return found


AMOUNT = re.compile(r"\d[\d.]* (?:k?ohm|nF)\b")


@each_drawing
def test_every_pin_resistor_address_and_rating_in_a_drawing_is_the_tables(drawn, name):
    text = " ".join(text for *_, text in texts(drawn[name]))
    own = {f"GP{n}" for row in FW.rows.values() for n in re.findall(r"\d+", str(row["pin"]))}
    assert set(re.findall(r"GP\d+", text)) <= own
    assert set(AMOUNT.findall(text)) <= known_amounts()
    assert set(re.findall(r"0x\w\w", text)) <= {address for address, _, _ in FW.addresses()}
    assert set(re.findall(r"\d+ A at \d+ VAC", text)) <= {FW.contact()}
    volts = {FW.live().split(" to ")[0], *(FW.amount(n) for n in ("MUST_OFF_VAC", "MUST_ON_VAC", "SURVIVES_VAC"))}
    assert set(re.findall(r"([\d.]+) VAC", text)) <= volts | {"24"}
    assert set(re.findall(r"(?<![A-Z\d.])(\d[\d.]*) A\b(?! at)", text)) <= {FW.amount("LEAD_FUSE_A")}


def test_the_patterns_find_what_they_are_for(drawn):
    assert AMOUNT.findall(" ".join(text for *_, text in texts(drawn["probes.svg"])))
    assert re.findall(r"GP\d+", drawn["relay.svg"]) and re.findall(r"0x\w\w", drawn["sensors.svg"])


@each_page
def test_no_value_of_the_table_is_typed_into_prose(page):
    text = prose(page)
    assert re.findall(r"GP ?\d+|0x[0-9a-f]{2}\b", text) == []
    assert AMOUNT.findall(text) == []
    assert re.findall(r"\d+ A at \d+ VAC|\d+ to \d+ VAC|below [\d.]+ VAC", text) == []


def test_the_table_of_nets_has_every_cell_of_the_firmwares_table():
    page = (DOCS / "wiring.md").read_text(encoding="utf-8")
    for net, row in FW.rows.items():
        (line,) = [line for line in page.splitlines() if line.startswith(f"| {net} | ")]
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        wanted = [row[c].replace("|", "/") if c != "pin" else FW.pin(net) for c in pin_table.COLUMNS if c != "expected"]
        assert cells == [" ".join(cell.split()) for cell in wanted]


def test_parts_fit_the_circuit():
    peak_ma = drawings_list.base_ma(FW, 2.5) * drawings_list.GAIN  # at the pin's lowest high level
    assert "2.5 V" == FW.rows["relay"]["must_on"] and peak_ma >= 1.5 * drawings_list.COIL_MA
    assert drawings_list.base_ma(FW, 0.4) < 0 and FW.rows["relay"]["must_off"] == "0.4 V"
    branch_ma, fuse_ma = drawings_list.example(FW)
    assert branch_ma == pytest.approx(175 + 6.7 + 4.8, abs=0.5)  # the lamp as `dewmargin power` reckons it
    assert branch_ma <= FUSE_LOAD * fuse_ma and fuse_ma < 500
    references = [row[0] for row in drawings_list.parts(FW)]
    assert len(references) == len(set(references))
    assert all(cell and "|" not in cell for row in drawings_list.parts(FW) for cell in row)


def test_every_part_named_in_a_drawing_is_on_the_list_of_parts(drawn):
    listed = " ".join(row[0] for row in drawings_list.parts(FW))
    shown = {
        ref
        for svg in drawn.values()
        for *_, text in texts(svg)
        for ref in re.findall(r"\b(?:K|Q|R|D|Z|H|FS|V|F|S|PS)\d\b", text)
    }
    buttons = {FW.rows["look_button"]["terminal"], FW.rows["alarm_button"]["terminal"]}
    only_without_outlet = {"PS2", "F4"}
    assert shown - buttons - only_without_outlet <= set(re.findall(r"\w+", listed))
    assert {"K1", "S3", "Z1", "F1", "H1", "FS1"} <= shown


# --- volts by state ---------------------------------------------------------------------------------------------


@pytest.fixture
def bench():
    """A board on its virtual bench; what stands in for the hardware is forgotten afterwards."""
    path, modules = list(sys.path), set(sys.modules)
    sys.path.insert(0, str(ROOT / "tests" / "board"))
    yield runpy.run_path(str(ROOT / "tests" / "board" / "bench.py"))["Bench"]()
    sys.path[:] = path
    for name in set(sys.modules) - modules:
        if name in ("machine", "_onewire"):
            del sys.modules[name]


each_state = pytest.mark.parametrize(
    ("name", "facts"), drawings_states.STATES, ids=[row[0] for row in drawings_states.STATES]
)


@each_state
@pytest.mark.parametrize("is_accessory", [True, False], ids=["accessory", "no accessory"])
def test_meter_volts_are_what_the_firmware_senses_on_its_virtual_board(bench, name, facts, is_accessory):
    def reads(place):
        return drawings_states.volts(FW, facts, place, is_accessory)

    bench.board.terminal_live = reads("J1 line") == FW.live()
    bench.board.fan_running = reads("J2 fan") == FW.live()
    bench.board.heat_call = "call" in facts
    bench.board.dial_bridges = "dial" in facts
    readings = bench.beat(4, "closed" in facts)
    states = (readings.line_sense, readings.load_sense, readings.fan, readings.heat_call)
    for place, contact in zip(("J1 line", "J1 load", "J2 fan", "J2 heat"), states, strict=True):
        assert contact.state == (ON if reads(place) == FW.live() else OFF), place


def test_the_table_of_volts_says_what_an_electrician_expects():
    live, dead = "20 to 30 VAC", "below 5 VAC"
    expected = {
        "idle": (dead, dead, dead, dead, dead, dead),
        "call, valve shut": (live, live, live, dead, live, live),
        "call, valve open": (live, live, "below 0.5 VAC", live, live, live),
        "selector at off": (live, live, "do not read", dead, live, live),
        "dial only": (live, live, "do not read", live, live, live),
        "old dial satisfied": (live, dead, dead, dead, live, live),
        "fuse F1 out": (live, dead, dead, dead, live, live),
    }
    heading, *rows = drawings_states.matrix(FW, True)
    assert heading[1:] == ["accessory terminal", "J1 line", "across K1", "J1 load", "J2 fan", "J2 heat"]
    assert {row[0]: tuple(row[1:]) for row in rows} == expected
    _, *rows = drawings_states.matrix(FW, False)
    always = {row[0]: tuple(row[1:]) for row in rows}
    assert always["idle"] == (live, dead, dead, dead, dead, dead)  # no fan: the branch is dead behind the fan proof
    assert always["fuse F1 out"] == (live, dead, dead, dead, dead, live)
    assert all(always[state] == expected[state] for state in expected if state not in ("idle", "fuse F1 out"))


def test_no_state_without_fan_or_call_gives_the_valve_power():
    for is_accessory in (True, False):
        for facts in ({"closed"}, {"dial"}, {"call", "fan", "closed", "satisfied"}, {"call", "fan", "dial", "no fuse"}):
            assert drawings_states.LOAD not in drawings_states.live(facts, is_accessory)
    assert drawings_states.LOAD not in drawings_states.live({"call", "closed"}, False)  # a call, and the fan stands


# --- sheets can be read -----------------------------------------------------------------------------------------


WIDTHS = {c: 0.32 for c in " iljI.,:;'|·"} | {c: 0.41 for c in "rtf()/-"} | {c: 0.9 for c in "mwMW"}


def boxes(svg: str) -> list:
    """(left, right, middle, height, anchor, words) of each text, about as wide as a wide font makes it."""
    found = []
    for x, y, size, anchor, text in texts(svg):
        wide = size * sum(WIDTHS.get(character, 0.61) for character in text)
        left = x - wide / 2 if anchor == "middle" else x
        found.append((left, left + wide, y, size, anchor, text))
    return found


@each_drawing
def test_words_stay_on_the_sheet_and_off_one_another(drawn, name):
    root = ElementTree.fromstring(drawn[name])
    _, _, width, height = (float(part) for part in root.get("viewBox").split())
    assert width <= 500  # at a phone's 360 the smallest words are then 8 high
    assert height <= 735  # points: a Letter page with 10 mm around, the shorter one of the usual two
    found = boxes(drawn[name])
    assert min(size for _, _, _, size, _, _ in found) >= 11
    for left, right, y, _, _, text in found:
        assert 0 <= left and right <= width + 6 and 0 <= y <= height, text
    for n, (left, right, y, size, _, text) in enumerate(found):
        for left2, right2, y2, size2, _, text2 in found[:n]:
            if abs(y - y2) < 0.4 * (size + size2):
                assert right <= left2 + 2 or right2 <= left + 2, (text, text2)


@each_drawing
def test_no_word_touches_a_wire(drawn, name):
    wires = []
    for path in re.findall(r'<path d="([^"]*)" style="stroke:black;[^"]*dasharray:-;', drawn[name]):
        points = [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", path)]
        wires += list(zip(points, points[1:], strict=False))
    assert wires
    for left, right, y, size, anchor, text in boxes(drawn[name]):
        for (x0, y0), (x1, y1) in wires if anchor == "start" else ():
            beside = max(x0, x1) < left - 2 or min(x0, x1) > right + 3
            above = max(y0, y1) < y - 0.25 * size or min(y0, y1) > y + 0.25 * size
            assert beside or above or abs(x0 - x1) > 1 and abs(y0 - y1) > 1, (text, (x0, y0), (x1, y1))


@each_drawing
def test_the_boundary_is_drawn_where_two_domains_meet_and_no_label_lies_across_it(drawn, name):
    domains = {text for *_, text in texts(drawn[name]) if text.startswith("DOMAIN: ")}
    lines = re.findall(r'<path d="M ([\d.]+),([\d.]+) L ([\d.]+),([\d.]+)" style="stroke:#a30000', drawn[name])
    assert bool(lines) == ({"DOMAIN: 24 VAC", "DOMAIN: board"} <= domains)
    for line in lines:
        x0, y0, x1, y1 = (float(part) for part in line)
        for left, right, y, _, anchor, text in boxes(drawn[name]):
            if abs(x0 - x1) < 1 and y0 < y < y1 and anchor == "start":
                assert right <= x0 + 4 or left >= x0, text


# --- pages --------------------------------------------------------------------------------------------------------


def test_wiring_starts_with_stop():
    first = " ".join((DOCS / "wiring.md").read_text(encoding="utf-8").split("\n\n")[0].split())
    assert first.startswith("**STOP.")
    for phrase in (
        "24 VAC, a dry contact or LINE VOLTAGE",
        "on a heat call and idle",
        "licensed work",
        "do not connect",
    ):
        assert phrase in first


@each_page
def test_every_page_puts_local_codes_first(page):
    text = plain(page).lower()
    place = re.search(r"local codes?|plumbing code", text)
    assert place, page.name
    if page.name not in ("limits.md", "seasons.md"):
        assert place.start() < 700


STEPS = [  # the page of the step, and what has to stand in it
    (
        "before_you_start.md",
        (
            "dry contact",
            "LINE VOLTAGE",
            "idle",
            "heat call",
            "CO alarm",
            "licensed work",
            "door switch",
            "immune system",
            "steam",
            "interposing relay",
            "closes the water by hand",
            "Write both readings down",
            "natural-draught",
            "42 V",
        ),
    ),
    (
        "wiring.md",
        (
            "limit, rollout or pressure switches",
            "Switch the hot side",
            "No load on thermostat wires",
            "transformers in parallel",
            "set to 45 %",
            "bridges K1 alone",
            "isolated 5 V supply",
            "always-live secondary",
            "no splices",
            "Class 2",
            "Never short the branch",
            "humidity, not heat",
            "call that ends",
        ),
    ),
    ("first_power.md", ("on its battery", "F1 is out", "damp cloth", "24 VAC", "Do not pour water")),
    (
        "commissioning.md",
        (
            "Never tape the door switch",
            "Power off before a lead is moved",
            "out of the current range",
            "largest fused AC current range",
            "Never short the branch",
            "watch the drain",
            "5 minutes",
            "damp cloth",
            "Draught",
            "Gas smell",
            "hot surfaces and flame",
            "Write down the grade",
        ),
    ),
    (
        "placement.md",
        (
            "gas, flue",
            "asbestos",
            "heat exchanger",
            "backdraught",
            "service drop",
            "thunder",
            "edges are sharp",
            "two sleepers",
            "surge protection",
            "LINE VOLTAGE",
        ),
    ),
    (
        "water_and_air.md",
        (
            "Shut off the pressure",
            "backflow",
            "60 °C",
            "scalds",
            "legionella",
            "unheated space",
            "Air gap",
            "condensate pump",
            "Saddle taps",
            "acid and bleach",
            "gloves and a mask",
            "Level",
            "Metal tubing",
            "open in winter, shut in summer",
            "96 %",
            "does not stop a leak",
            "scale",
        ),
    ),
    (
        "seasons.md",
        (
            "stop valve",
            "2 minutes",
            "leaving the house empty",
            "learning",
            "rotten frames",
            "mould",
            "dry the sill",
            "attic",
            "Curtains",
            "salts irritate",
            "children and food",
            "draught",
            "drink first",
            "Once a year",
        ),
    ),
    (
        "trouble.md",
        (
            "close the stop valve by hand",
            "larger fuse",
            "taped door",
            "Gas smell",
            "power off at the furnace's switch before a panel opens or a hand goes in",
            "power off before pad or filter",
            "gloves and a mask for the pad",
        ),
    ),
    (
        "limits.md",
        (
            "modelled coldest spot",
            "drifts low slowly",
            "welded contact",
            "stuck open",
            "closed by hand",
            "shuts the valve",
            "design temperature",
            "walls and attic",
            "blower command",
            "Sheathing",
        ),
    ),
    ("handover.md", ("To turn it off", "To stop water", "Gas smell", "Every year", "what was learned")),
    ("parts.md", ("common practice, no source", "measure the current", "1,300 to 7,100", "solid-state")),
]


@pytest.mark.parametrize(("page", "phrases"), STEPS, ids=[row[0] for row in STEPS])
def test_each_caution_stands_at_its_step(page, phrases):
    text = plain(DOCS / page)
    assert [phrase for phrase in phrases if not re.search(phrase, text)] == []


def test_commissioning_measures_before_it_connects_and_ends_with_the_sheet():
    text = (DOCS / "commissioning.md").read_text(encoding="utf-8")
    order = [
        "## Both readings",
        "do not connect",
        "F1 out",
        "F1 in",
        "timed test run",
        "Fan proof seen",
        "## Result sheet",
    ]
    places = [text.index(step) for step in order]
    assert places == sorted(places)
    numbers = [int(n) for n in re.findall(r"^(\d+)\. ", text, re.MULTILINE)]
    assert numbers == list(range(1, len(numbers) + 1))


TRADE = [  # stated limits that no publication gives
    ("parts.md", "175 mA"),
    ("parts.md", "5 to 10 mA"),
    ("before_you_start.md", "500 mA"),
    ("wiring.md", "105 °C"),
    ("water_and_air.md", "Level"),
    ("water_and_air.md", "Metal tubing"),
    ("water_and_air.md", "Air gap"),
    ("water_and_air.md", "open in winter"),
]


@pytest.mark.parametrize(("page", "fact"), TRADE, ids=[row[1] for row in TRADE])
def test_facts_of_the_trade_are_marked(page, fact):
    text = plain(DOCS / page)
    assert any(
        fact in text[max(0, m.start() - 160) : m.start()] for m in re.finditer("common practice, no source", text)
    )


def test_symptoms_are_the_status_sentences_all_of_them_in_their_order():
    text = (DOCS / "trouble.md").read_text(encoding="utf-8")
    codes = [name for name, _ in words.REFUSALS] + [words.OPEN_NAME] + [name for name, _ in words.NOTICES]
    heads = re.findall(r"^- \*\*<!--=says\.(\w+)-->(.*?)<!--/-->\*\*$", text, re.MULTILINE)
    assert [name for name, _ in heads] == codes
    sentences = {words.status_sentence(1 << n, 0) for n in range(len(words.REFUSALS))}
    assert sentences <= {sentence for _, sentence in heads}
    for entry in re.split(r"^- \*\*<!--=says", text, flags=re.MULTILINE)[1:]:
        lines = entry.split("\n")[1:4]
        assert [line.split("*")[1] for line in lines] == ["Measure:", "Cause:", "Do:"]
        assert all(len(line.split("*", 2)[2].strip(" .")) > 3 for line in lines), entry


@each_page
def test_words_promise_nothing(page):
    text = plain(page).lower()
    for phrase in ("no condensation", "guarantee", "safe without", "never fog", "certified", "complies with"):
        assert phrase not in text
    for match in re.finditer(r"stops? (?:a|the) leak", text):
        assert re.search(r"\bnot\b|cannot", text[match.start() - 50 : match.start()])


@each_page
def test_no_line_begins_with_a_marker(page):
    # such a line would be taken for raw HTML and end its paragraph
    lines = page.read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if re.match(r"\s*<!--=", line)] == []


def test_the_readme_leads_here():
    assert "hw_docs/README.md" in (ROOT / "README.md").read_text(encoding="utf-8")


# --- the program --------------------------------------------------------------------------------------------------


def test_the_program_writes_once_and_then_finds_nothing_to_do(tmp_path, capsys):
    (tmp_path / "page.md").write_text("at <!--=fan.pin-->GP99<!--/-->\n", encoding="utf-8")
    assert drawings.main([str(tmp_path), "--check"]) == 1
    assert "page.md: differs" in capsys.readouterr().out and not (tmp_path / "senses.svg").exists()
    assert drawings.main([str(tmp_path)]) == 0
    assert FW.pin("fan") in (tmp_path / "page.md").read_text(encoding="utf-8")
    capsys.readouterr()
    assert drawings.main([str(tmp_path), "--check"]) == 0 and capsys.readouterr().out == ""


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("<!--=no.such--><!--/-->", "page.md: marker no.such"),
        ("<!--table no_such--><!--/table-->", "page.md: table no_such"),
        ("<!--=fan.pin-->GP1", "page.md: 1 markers"),
    ],
)
def test_a_wrong_marker_is_one_line_and_nothing_is_written(tmp_path, capsys, text, says):
    (tmp_path / "page.md").write_text(text, encoding="utf-8")
    assert drawings.main([str(tmp_path)]) == 2
    err = capsys.readouterr().err
    assert err.startswith(says) and err.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["page.md"]


def test_a_missing_folder_is_told(tmp_path, capsys):
    assert drawings.main([str(tmp_path / "none")]) == 2
    assert "no such folder" in capsys.readouterr().err


@each_page
def test_every_link_leads_to_a_file(page):
    for target in re.findall(r"\]\(([^)]+)\)", page.read_text(encoding="utf-8")):
        assert (DOCS / target).is_file(), target


def test_without_what_draws_one_line_says_so_and_nothing_is_written(tmp_path, monkeypatch, capsys):
    for name in [name for name in sys.modules if name.startswith("dewsim.drawings_")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "schemdraw", None)
    monkeypatch.setattr(drawings, "fill", None)  # no page is come to
    assert drawings.main([str(tmp_path)]) == 2
    told = capsys.readouterr()
    assert told.err.count("\n") == 1 and told.err.startswith("schemdraw: not installed") and "[test]" in told.err
    assert list(tmp_path.iterdir()) == []
