"""What the page's files must agree on with the code beside them, and the library file with its origin."""

import hashlib
import re
from pathlib import Path

from dewcore import glass, window_test
from dewsim.cautions import html_items

ROOT = Path(__file__).parents[2]
BOARD = ROOT / "firmware" / "dewboard"
HTML = (BOARD / "page.html").read_text(encoding="utf-8")
SCRIPT = (BOARD / "page.js").read_text(encoding="utf-8")


def test_the_page_carries_every_caution():
    assert html_items() in HTML
    for words in ("who listens on your network can read it", "Stand by and watch the drain", "dry the sill"):
        assert words in HTML, words


def codes(module, prefix: str) -> list:
    return sorted(value for name, value in vars(module).items() if name.startswith(prefix) and isinstance(value, int))


def texts(name: str) -> list:
    """The texts of one table of the script."""
    table = re.search(rf"const {name} = \[(.*?)\];", SCRIPT, re.DOTALL).group(1)
    return re.findall(r'"([^"]*)"', table)


def test_the_script_has_a_text_for_every_code():
    looks = [glass.LOOK_NONE, glass.LOOK_TAUGHT, glass.LOOK_EXPECTED, glass.LOOK_CONTRADICTS, glass.LOOK_REPEATED]
    looks += [glass.LOOK_MILD, glass.LOOK_UNTRUSTED, glass.LOOK_OUTDOOR_OLD, glass.LOOK_UNCLEAR]
    assert looks == list(range(len(texts("LOOKS"))))
    assert codes(window_test, "TEST_") == list(range(len(texts("TESTS"))))
    for table in ("LOOKS", "TESTS"):
        found = texts(table)
        assert found[0] == "" and len(set(found)) == len(found)


def test_every_element_the_script_names_is_in_the_page():
    parts = (BOARD / "page_parts.py").read_text(encoding="utf-8")
    for name in set(re.findall(r'byId\("([a-z-]+)"\)', SCRIPT)):
        assert f'id="{name}"' in HTML + parts, name


def test_every_address_the_script_asks_for_exists():
    page = (BOARD / "page.py").read_text(encoding="utf-8")
    asked = set(re.findall(r'(?:send|change|fetch)\("/([a-z]+)"', SCRIPT) + re.findall(r'data-post="/([a-z]+)"', HTML))
    assert {"ask", "login", "password", "settings", "state", "look", "run"} <= asked
    for name in asked:
        assert f'"{name}"' in page or f'"/{name}"' in page, name


def test_the_library_file_is_the_one_its_origin_names():
    folder = ROOT / "vendor" / "microdot"
    digest = hashlib.sha256((folder / "microdot.py").read_bytes()).hexdigest()
    assert digest in (folder / "ORIGIN").read_text(encoding="utf-8")
