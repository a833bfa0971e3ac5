"""The board's own page in a real browser, beside a bench: password, a change, the drawing; phone, dark, no script.

    python tests/acceptance/board_page.py [--shots DIR]     needs chromium

Prints a line a check; exit status 1 where one is missed.  --shots: the whole page as each of VIEWS has it.
"""

import argparse
import json
import re
import sys
import time
import urllib.request
from pathlib import Path

from bench_started import Checks, bench, browser

PASSWORD = "correct horse battery"
VIEWS = (  # name, pixels wide, dark, with script
    ("phone", 360, False, True),
    ("phone-dark", 360, True, True),
    ("desk-dark", 1280, True, True),
    ("phone-no-script", 360, False, False),
)
REDRAWN = """(function () {
  const place = document.getElementById("chart");
  place.textContent = "";
  return redraw().then(() => place.querySelector("svg") !== null);
})()"""
CONTRAST = """(function () {
  const of = (text) => text.match(/[0-9.]+/g).slice(0, 3).map(Number).reduce((sum, part) => sum + part / 3, 0);
  const ground = document.createElement("p");
  ground.style.color = "Canvas";
  document.body.append(ground);
  const found = Math.abs(of(getComputedStyle(document.body).color) - of(getComputedStyle(ground).color));
  ground.remove();
  return found;
})()"""
UNFOLDED = "for (const part of document.querySelectorAll('details')) part.open = true;"


def order(address: str, **what) -> None:
    """As the bench's page asks for it."""
    head = {"Content-Type": "application/json", "Origin": address.rstrip("/")}
    urllib.request.urlopen(urllib.request.Request(address + "do", json.dumps(what).encode(), head)).close()


def board_of(address: str) -> str:
    """Where the board's page is."""
    with urllib.request.urlopen(address) as page:
        return re.search(r'<iframe[^>]*src="([^"]+)"', page.read().decode())[1]


def a_day(address: str) -> None:
    """A house drives the board for a day or more."""
    order(address, do="house", on=True)
    order(address, do="speed", factor=10080)
    time.sleep(20)
    order(address, do="speed", factor=1)


def fill(page, name: str, value: str) -> None:
    """A field, as if typed."""
    page.js(f"document.getElementById('{name}').value = '{value}'")


def press(page, place: str) -> None:
    """The button there."""
    page.js(f"document.querySelector('{place} button').click()")


def set_password(page) -> None:
    """Type it twice."""
    for field in ("new", "again"):
        fill(page, field, PASSWORD)
    press(page, "#set")


def own(page, address: str, check: Checks) -> None:
    """The owner's first visit."""
    set_password(page)
    said = "document.getElementById('said').textContent.includes('Press a button')"
    check("no password without a button", page.holds(said))
    order(address, do="press", button="look", seconds=0.3)
    set_password(page)
    logged_in = "document.readyState === 'complete' && document.getElementById('login').dataset.state === 'in'"
    check("password set, logged in", page.holds(logged_in, 20.0))
    page.js(UNFOLDED)
    field = "document.getElementById('s-curtains_from_min').value"
    check("a time of the day is a time", page.js(field) == "18:00")
    fill(page, "s-curtains_from_min", "19:30")
    press(page, "#settings")
    check("stored", page.holds("document.getElementById('stored').textContent === 'Done.'"))
    page.open(page.js("location.href"))
    check("and kept", page.js(field) == "19:30")
    check("the drawing comes anew", page.js(REDRAWN))


def view(page, board: str, width: int, is_dark: bool, has_script: bool) -> None:
    """The page as somebody has it."""
    page.size(width, 800, width < 500)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if is_dark else "light"}
    page.ask("Emulation.setEmulatedMedia", features=[scheme])
    page.ask("Emulation.setScriptExecutionDisabled", value=not has_script)
    page.ask("Page.navigate", url=board)
    time.sleep(1)
    page.ask("Emulation.setScriptExecutionDisabled", value=False)


def look(page, board: str, check: Checks, shots: Path | None) -> None:
    """Every view."""
    for name, width, is_dark, has_script in VIEWS:
        view(page, board, width, is_dark, has_script)
        page.js(UNFOLDED)
        check(f"{name}: not wider than {width} pixels", page.js("document.documentElement.scrollWidth") <= width)
        check(f"{name}: text stands out from its ground", page.js(CONTRAST) > 150)
        drawn = "document.getElementById('status').textContent && !!document.querySelector('#chart svg path')"
        check(f"{name}: sentence and drawing", page.js(drawn))
        if shots:
            page.shot(shots / f"board-{name}.png", True)


def main() -> int:
    """All of it."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--shots", type=Path)
    wishes = arguments.parse_args()
    check = Checks()
    with bench() as (_, address), browser() as page:
        board = board_of(address)
        a_day(address)
        view(page, board, 1280, False, True)
        own(page, address, check)
        look(page, board, check, wishes.shots)
        wrong = [text for text in page.errors if "favicon" not in text and "403" not in text]  # none there; one refused
        check(f"no error in the browser {wrong or ''}", not wrong)
    print(f"board page: {check.missed} missed")
    return 1 if check.missed else 0


if __name__ == "__main__":
    sys.exit(main())
