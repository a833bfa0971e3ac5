"""The bench's page in a real browser: every control by keyboard, the change on the screen, no wider than a phone."""

import json

import pytest
from bench_browser import LAID_OUT, drive, opened
from bench_served import served
from browser import CHROMIUM, Browser

from dewsim import bench_live, housefile, policies, replay, winters

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium to drive the bench's page in")


def new_bench(units="si"):
    house = housefile.load(replay.DEMO_HOUSE)
    house.units = units
    return served(bench_live.Live(house, winters.ostervale(), policies.settings_for(house, "demo")))


@pytest.fixture(scope="module")
def made():
    with new_bench() as made:
        yield made


@pytest.fixture(scope="module")
def page(made, tmp_path_factory):
    with Browser(tmp_path_factory.mktemp("profile")) as page:
        page.size(1280, 900)
        opened(page, f"http://127.0.0.1:{made.port}/")
        yield page


def test_every_control_is_driven_by_keyboard(page):
    missed = [text for text, holds in drive(page) if not holds]
    assert missed == []
    assert page.errors == []


def test_the_boards_own_page_is_beside_it(page, made):
    board = f"http://127.0.0.1:{made.board_port}/"
    assert page.js("document.getElementById('status').textContent", board)


@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_is_wider_than_the_screen_and_every_control_has_its_label_in_sight(page, width):
    page.size(width, 900)
    # the curves are drawn anew once the window has its new width
    assert page.holds(f"innerWidth === {width} && document.documentElement.scrollWidth <= innerWidth")
    assert page.js(LAID_OUT) == []


def test_a_house_with_us_units_has_fahrenheit_from_the_start(page):
    with new_bench("us") as made:
        opened(page, f"http://127.0.0.1:{made.port}/")
        assert page.js("document.getElementById('fahrenheit').checked")
        kept = "document.querySelector('main').cloneNode(true)"
        words = page.js(f"(function (m) {{ m.querySelector('#board').remove(); return m.textContent; }})({kept})")
        assert "°C" not in words and "°F" in words
        for typed in ("14", "141"):
            page.js("document.getElementById('i-outdoor_c').select()")
            page.type(typed)
            page.key("Enter")
            assert page.holds("newestFrame.inputs.outdoor_c === -10")
        told = "found '141', allowed is a number from -67 to 140 °F"
        assert page.holds(f"document.getElementById('refusal').textContent.includes({json.dumps(told)})")
        assert page.holds("document.getElementById('ledger').textContent.includes('14.0 °F')")
        assert page.errors == []


def test_a_bench_that_is_gone_is_told_and_nothing_old_looks_like_what_is(page):
    with new_bench() as made:
        opened(page, f"http://127.0.0.1:{made.port}/")
        assert page.js("document.getElementById('lamps').getBoundingClientRect().height") > 10
    assert page.holds("document.getElementById('gone').getBoundingClientRect().height > 10")
    assert page.js("document.getElementById('lamps').getBoundingClientRect().height") == 0
    assert page.js("document.querySelector('main').className") == "old"
