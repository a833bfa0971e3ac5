"""The short cautions stay short, keep their order, and each has its full version in hw_docs."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from dewsim.cautions import CAUTIONS, epilogue, html_items

FULL = Path(__file__).parents[2] / "hw_docs" / "cautions.md"


def flat(text: str) -> str:
    return re.sub(r"[\s*]+", " ", text).lower()


def test_short_list_is_short_and_plain():
    assert 1 <= len(CAUTIONS) <= 14
    tags = [where for where, _, _ in CAUTIONS]
    assert len(set(tags)) == len(tags)
    assert tags[0] == "always" and tags.index("before wiring") < tags.index("wiring") < tags.index("trials")
    for where, text, _ in CAUTIONS:
        sentences = re.findall(r"[.!](?:\s|$)", text)
        assert 1 <= len(sentences) <= 2, where
        assert text.endswith("."), where


@pytest.mark.parametrize(("where", "text", "topic"), CAUTIONS, ids=[where for where, _, _ in CAUTIONS])
def test_each_short_caution_has_its_full_version(where, text, topic):
    assert topic.lower() in flat(FULL.read_text(encoding="utf-8")), where


@pytest.mark.parametrize(
    "step",
    [
        "Before anything: STOP",
        "Measuring live",
        "Wiring",
        "Cutting ducts",
        "Water",
        "Pads",
        "Salts for calibration",
        "Leak trial",
        "Timed test run",
        "Window test",
        "Outdoor sensor",
        "Gas, CO and draught afterwards",
        "What no board can stop",
        "Surfaces beyond the window",
        "Season end and absence",
    ],
)
def test_every_step_has_its_place_and_something_to_say(step):
    parts = re.split(r"^## ", FULL.read_text(encoding="utf-8"), flags=re.MULTILINE)
    found = [part for part in parts if part.splitlines()[0] == step]
    assert len(found) == 1
    assert found[0].count("\n- ") >= 1


def test_every_surface_defers_and_names_the_limits():
    for text in (
        epilogue(),
        flat(FULL.read_text(encoding="utf-8")),
        " ".join(entry[1] for entry in CAUTIONS),
    ):
        for words in (
            "own diagram",
            "local code",
            "licensed practice",
            "line voltage",
            "modelled coldest spot",
        ):
            assert words in text.lower(), words
        assert "no condensation" not in text.lower()
        assert "guarantee" not in text.lower()


def test_epilogue_fits_a_help_screen():
    lines = epilogue().splitlines()
    assert 3 <= len(lines) <= 12
    assert max(map(len, lines)) <= 100


def test_html_items_are_one_escaped_item_each():
    class Reader(HTMLParser):
        def __init__(self):
            super().__init__()
            self.tags = []
            self.text = ""

        def handle_starttag(self, tag, attrs):
            self.tags.append(tag)

        def handle_data(self, data):
            self.text += data

    reader = Reader()
    reader.feed(html_items())
    assert reader.tags == ["li", "b"] * len(CAUTIONS)
    for _, text, _ in CAUTIONS:
        assert text in reader.text
