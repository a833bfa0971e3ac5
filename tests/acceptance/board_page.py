"""The board's own page in a real browser, beside a bench: password, a change, the drawing; phone, dark, no script.

    python tests/acceptance/board_page.py [--shots DIR]     needs selenium, chromium and chromedriver

Prints a line a check; exit status 1 where one is missed.  --shots: the whole page as each of VIEWS has it.
"""

import argparse
import base64
import json
import re
import sys
import time
import urllib.request
from pathlib import Path

from bench_page import Checks, browser, start, waits
from selenium.webdriver.common.by import By

PASSWORD = "correct horse battery"
VIEWS = (  # name, pixels wide, dark, with script
    ("phone", 360, False, True),
    ("phone-dark", 360, True, True),
    ("desk-dark", 1280, True, True),
    ("phone-no-script", 360, False, False),
)
REDRAWN = """
const done = arguments[0], place = document.getElementById("chart");
place.textContent = "";
redraw().then(() => done(place.querySelector("svg") !== null));
"""
CONTRAST = """
const of = (text) => text.match(/[0-9.]+/g).slice(0, 3).map(Number).reduce((sum, part) => sum + part / 3, 0);
const ground = document.createElement("p");
ground.style.color = "Canvas";
document.body.append(ground);
const found = Math.abs(of(getComputedStyle(document.body).color) - of(getComputedStyle(ground).color));
ground.remove();
return found;
"""


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


def one(driver, name: str):
    """An element by its id."""
    return driver.find_element(By.ID, name)


def set_password(driver) -> None:
    """Type it twice."""
    for field in ("new", "again"):
        one(driver, field).clear()
        one(driver, field).send_keys(PASSWORD)
    driver.find_element(By.CSS_SELECTOR, "#set button").click()


def is_in(driver) -> bool:
    """Whether the page says that one is logged in."""
    return one(driver, "login").get_attribute("data-state") == "in"


def own(driver, address: str, check: Checks) -> None:
    """The owner's first visit."""
    set_password(driver)
    check("no password without a button", waits(driver, lambda: "Press a button" in one(driver, "said").text))
    order(address, do="press", button="look", seconds=0.3)
    set_password(driver)
    check("password set, logged in", any(waits(driver, lambda: is_in(driver)) for _ in range(4)))
    driver.execute_script("for (const part of document.querySelectorAll('details')) part.open = true;")
    field = one(driver, "s-curtains_from_min")
    check("a time of the day is a time", field.get_attribute("value") == "18:00")
    driver.execute_script("arguments[0].value = '19:30';", field)
    driver.find_element(By.CSS_SELECTOR, "#settings button").click()
    check("stored", waits(driver, lambda: one(driver, "stored").text == "Done."))
    driver.refresh()
    check("and kept", one(driver, "s-curtains_from_min").get_attribute("value") == "19:30")
    check("the drawing comes anew", driver.execute_async_script(REDRAWN))


def view(driver, board: str, width: int, is_dark: bool, has_script: bool) -> None:
    """The page as somebody has it."""
    metrics = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 500}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if is_dark else "light"}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not has_script})
    driver.get(board)
    time.sleep(1)
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def look(driver, board: str, check: Checks, shots: Path | None) -> None:
    """Every view."""
    for name, width, is_dark, has_script in VIEWS:
        view(driver, board, width, is_dark, has_script)
        driver.execute_script("for (const part of document.querySelectorAll('details')) part.open = true;")
        wide = driver.execute_script("return document.documentElement.scrollWidth")
        check(f"{name}: not wider than {width} pixels", wide <= width)
        check(f"{name}: text stands out from its ground", driver.execute_script(CONTRAST) > 150)
        check(f"{name}: sentence and drawing", one(driver, "status").text != "" and
              bool(driver.find_elements(By.CSS_SELECTOR, "#chart svg path")))  # fmt: skip
        if shots:
            shots.mkdir(parents=True, exist_ok=True)
            shot = driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True})
            (shots / f"board-{name}.png").write_bytes(base64.b64decode(shot["data"]))


def main() -> int:
    """All of it."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--shots", type=Path)
    wishes = arguments.parse_args()
    check = Checks()
    process, address = start()
    driver = browser()
    try:
        board = board_of(address)
        a_day(address)
        view(driver, board, 1280, False, True)
        own(driver, address, check)
        look(driver, board, check, wishes.shots)
        wrong = [entry["message"] for entry in driver.get_log("browser") if entry["level"] == "SEVERE"]
        wrong = [text for text in wrong if "favicon" not in text and "403" not in text]  # none there; one refused
        check(f"no error in the browser {wrong or ''}", not wrong)
    finally:
        driver.quit()
        process.terminate()
        process.wait()
    print(f"board page: {check.missed} missed")
    return 1 if check.missed else 0


if __name__ == "__main__":
    sys.exit(main())
