"""The bench's page driven by keyboard: Tab from control to control, and what each does to the bench behind it.

    opened(page, address)                 page: tests/desktop/browser.py
    for text, holds in drive(page):       every control
    frame(page)                           the newest frame that the page has got

What the page says cannot be done must be out of the keyboard's reach, with its reason beside it.
"""

import time
from collections.abc import Callable, Iterator

WITHIN_S = 5.0
MOST_TABS = 400
ACTIVE = """(function () {
  var c = document.activeElement;
  c.dataset.at = c.dataset.at || String(document.querySelectorAll('[data-at]').length);
  return {at: c.dataset.at, tag: c.tagName, id: c.id, kind: c.type || '', data: Object.assign({}, c.dataset),
    value: c.value, options: Array.from(c.options || []).map(function (o) { return o.value; }),
    words: c.textContent.trim()};
})()"""
LEFT = """Array.from(document.querySelectorAll('button, input, select')).filter(function (c) {
  return !c.disabled && !('at' in c.dataset);
}).map(function (c) { return c.outerHTML.slice(0, 80); })"""
KEEP = """if (!window.ownParse) {
  window.ownParse = JSON.parse;
  window.newestFrame = null;
  JSON.parse = function (text) {
    var found = ownParse(text);
    if (found && found.ledger) { newestFrame = found; }
    return found;
  };
  Response.prototype.json = function () { return this.text().then(JSON.parse); };
}"""
ROWS = "document.querySelectorAll('#ledger tbody tr').length > 20"
# Controls of no size, or outside of the window's width.
LAID_OUT = """Array.from(document.querySelectorAll('button, input, select')).filter(function (c) {
  var at = c.getBoundingClientRect();
  return at.width < 10 || at.height < 10 || at.left < 0 || at.right > innerWidth;
}).map(function (c) { return c.outerHTML.slice(0, 80); })"""
REFUSAL = "document.getElementById('refusal').hidden ? '' : document.getElementById('refusal').textContent"


def comes(holds: Callable[[], bool], seconds: float = WITHIN_S) -> bool:
    """Whether it comes to hold in time."""
    until_s = time.monotonic() + seconds
    while not holds():
        if time.monotonic() > until_s:
            return False
        time.sleep(0.02)
    return True


def opened(page, address: str) -> None:
    """The page at that address, its first frame shown."""
    page.ask("Page.addScriptToEvaluateOnNewDocument", source=KEEP)
    page.open(address)
    assert page.holds(ROWS, 20.0)


def frame(page) -> dict:
    """As it came over the wire."""
    return page.js("newestFrame")


def choose(page, name: str, value: str) -> None:
    """A selection, as a person makes it."""
    page.js(f"(function (c) {{ c.value = '{value}'; c.dispatchEvent(new Event('change')); }})"
            f"(document.getElementById('{name}'))")  # fmt: skip


def drive(page) -> Iterator[tuple]:
    """Every control once, in the page's own order: (what was done, whether it had its effect)."""
    seen = set()
    for _ in range(MOST_TABS):
        page.key("Tab")
        control = page.js(ACTIVE)
        if control["tag"] in ("BODY", "IFRAME"):
            break
        if control["at"] not in seen and control["tag"] != "A":
            seen.add(control["at"])
            yield from _drive(page, control)
    left = page.js(LEFT)
    yield f"all {len(seen)} controls are on the way of the Tab key {left or ''}", not left and len(seen) > 50


def _drive(page, control: dict) -> Iterator[tuple]:
    data = control["data"]
    if "do" in data:
        yield _button(page, control)
    elif "input" in data:
        yield _input(page, control)
    elif "held" in data:
        page.key(" ")
        yield f"{data['held']} back to the house", comes(lambda: data["held"] not in frame(page)["held"])
    elif "fault" in data:
        page.key(" ")
        there = comes(lambda: data["fault"] in frame(page)["faults"])
        page.key(" ")
        yield f"fault {data['fault']}", there and comes(lambda: data["fault"] not in frame(page)["faults"])
    elif "fit" in data:
        yield _fitted(page, data["fit"])
    else:
        yield from OTHERS[control["id"]](page)


def _button(page, control: dict) -> tuple:
    before = frame(page)["seconds"]
    page.key("Enter")
    return f"button {control['words']}", comes(lambda: frame(page)["seconds"] != before) and not page.js(REFUSAL)


def _input(page, control: dict) -> tuple:
    name = control["data"]["input"]
    if control["tag"] == "INPUT":
        page.type("11.5")
        page.key("Enter")
        wanted = "11.5"
    else:
        last = control["options"][-1]
        page.key("Home" if control["value"] == last else "End")
        wanted = control["options"][0] if control["value"] == last else last
    return f"input {name} to {wanted}", comes(lambda: str(frame(page)["inputs"][name]) == wanted)


def _fitted(page, name: str) -> tuple:
    before = frame(page)["fitted"][name]
    page.js("document.getElementById('refusal').hidden = true")
    page.key(" ")
    changed = comes(lambda: frame(page)["fitted"][name] != before or bool(page.js(REFUSAL)))
    refusal = page.js(REFUSAL)
    return f"fitted {name}{', refused: ' + refusal if refusal else ''}", changed


def _speed(page) -> Iterator[tuple]:
    page.key("End")
    yield "a week a minute", comes(lambda: frame(page)["speed"] == 10080)
    page.key("Home")
    yield "real time", comes(lambda: frame(page)["speed"] == 1)


def _pause(page) -> Iterator[tuple]:
    page.key("Enter")
    paused, before = comes(lambda: frame(page)["paused"]), frame(page)["seconds"]
    time.sleep(1.2)
    yield "pause holds the time", paused and frame(page)["seconds"] == before
    page.key("Enter")
    yield "and lets it go on", comes(lambda: not frame(page)["paused"] and frame(page)["seconds"] > before)


def _daytime(page) -> Iterator[tuple]:
    page.type("0715AM")
    yield "time of day typed", page.js("document.activeElement.value") == "07:15"


def _tell(page) -> Iterator[tuple]:
    page.key("Enter")
    yield "time of day", comes(lambda: (frame(page)["local_s"] or 0) // 60 % 1440 in (435, 436))


def _forecast(page) -> Iterator[tuple]:
    kinds = page.js("Array.from(document.activeElement.options).filter(o => !o.disabled).map(o => o.value)")
    for kind in ("steady", "weather", "steady") if "weather" in kinds else ("steady",):
        page.key("ArrowUp" if frame(page)["forecast"] == "weather" else "ArrowDown")
        yield f"forecast {kind}", comes(lambda k=kind: frame(page)["forecast"] == k)


def _steady(page) -> Iterator[tuple]:
    page.type("-7")
    page.key("Enter")
    yield "steady forecast", comes(lambda: frame(page)["steady_c"] == -7)


def _grade(page) -> Iterator[tuple]:
    page.key("End")
    yield "what the fan proof proves", comes(lambda: frame(page)["fitted"]["fan_grade"] == 3)


def _span(page) -> Iterator[tuple]:
    for key, span in (("Home", "3600"), ("End", "604800")):
        page.key(key)
        yield f"charts over {span} s", page.holds(f"document.getElementById('span').value === '{span}'")
    yield "charts drawn", page.js("document.querySelectorAll('figure canvas').length") == 3


def _fahrenheit(page) -> Iterator[tuple]:
    ledger = "document.getElementById('ledger').textContent"
    for unit, other in (("°F", "°C"), ("°C", "°F")):
        page.key(" ")
        yield f"ledger in {unit}", page.holds(f"{ledger}.includes('{unit}') && !{ledger}.includes('{other}')")


OTHERS = {
    "speed": _speed, "pause": _pause, "daytime": _daytime, "tell": _tell, "forecast": _forecast, "steady": _steady,
    "grade": _grade, "span": _span, "fahrenheit": _fahrenheit,
}  # fmt: skip
