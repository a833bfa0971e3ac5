"""The bench's live page over a real board: real MicroPython with the shim behind a serial line, and a real browser."""

import json
import re
import time

import pytest
from bench_browser import drive, frame, opened
from bench_served import served
from board_on_line import BoardOnLine
from board_with_shim import board_with_shim
from browser import CHROMIUM, Browser

from dewboard.store import Store, save_settings
from dewcore.settings import Settings
from dewsim import bench_board_live, bench_live, housefile, policies, replay, winters
from dewsim.bench_board import SeenBed
from dewsim.bench_board_live import BoardLive
from dewsim.cli import main

QUICK = 0.05  # s from second to second
DIFFER = ("n", "achieved", "paused", "lamps")


@pytest.fixture(scope="module")
def parts():
    """(house, winter, settings); a valve that may open after a minute."""
    house = housefile.load(replay.DEMO_HOUSE)
    house.settings["min_off_s"] = 60
    return house, winters.ostervale(), policies.settings_for(house, "demo")


@pytest.fixture
def board(tmp_path):
    with board_with_shim(tmp_path) as started:
        yield started


@pytest.fixture
def live(board, parts, capsys):
    """A page's bench on it, without its thread."""
    made = BoardLive(*parts, SeenBed(board.port))
    yield made
    made.bench.close()


def ended(live, seconds: float = 15.0) -> str:
    """Why it ends by itself."""
    until_s = time.monotonic() + seconds
    while not live.ended:
        assert time.monotonic() < until_s
        live._try(live.step)
    return live.ended


def until(holds, seconds: float = 10.0) -> None:
    """It comes to hold."""
    until_s = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < until_s
        time.sleep(0.05)


def closed(live) -> None:
    """Seconds until the contact is closed."""
    for _ in range(90):
        live._try(live.step)
        if live.bench.world.contact_closed:
            return
    raise AssertionError("it stays open")


def test_the_page_shows_of_a_board_what_it_shows_of_the_same_on_simulated_wires(live, parts):
    own = bench_live.Live(*parts)
    own.paused = True
    orders = (
        {}, {"do": "set", "name": "outdoor_c", "value": "-12"}, {"do": "set", "name": "leak", "value": "wet"},
        {"do": "fault", "name": "glass_silent", "on": True}, {"do": "fit", "name": "has_glass", "value": 1},
        {"do": "set", "name": "leak", "value": "dry"}, {"do": "press", "button": "alarm", "seconds": 4},
        {"do": "clock", "minute": 370}, {"do": "forecast", "kind": "steady", "outdoor_c": -7},
        {"do": "house", "on": True}, {"do": "ask", "what": "run", "seconds": 60}, {"do": "renew"},
    )  # fmt: skip
    try:
        while own.bench.seconds > live.bench.seconds:
            live.step()
        for order in orders:
            assert [one.act(order) for one in (live, own)] == ["", ""] or not order
            for one in (live, own):
                for _ in range(12):
                    one.step()
            mine, theirs = own.frame(), live.frame()
            assert {name: mine[name] for name in mine if name not in DIFFER} == {
                name: theirs[name] for name in theirs if name not in DIFFER
            }
            assert [lamp[:3] for lamp in mine["lamps"]] == [tuple(lamp[:3]) for lamp in theirs["lamps"]]
    finally:
        own.bench.close()


def test_what_a_board_cannot_do_is_refused_with_its_reason_and_changes_nothing(live):
    before = {name: value for name, value in live.frame().items() if name != "n"}
    for _, _, orders, reason in live.lacks:
        for order in orders:
            assert live.act({"factor": 10, "on": True, "value": 0, **order}) == reason
            assert "real board" in reason and reason.count(".") == 1
    assert {name: value for name, value in live.frame().items() if name != "n"} == before


def test_a_board_that_is_reset_ends_it_with_its_own_words(board, live):
    closed(live)
    board.process.kill()
    assert re.fullmatch(r"/dev/\S+: the board started afresh: its contact is open; run it again", ended(live))
    assert live.act({"do": "set", "name": "leak", "value": "wet"}) == live.ended == live.frame()["ended"]


def test_a_board_that_fails_in_it_tells_what_happened(board, live, monkeypatch):
    closed(live)
    live.bench.bed.link.transport.serial.write(b"\x03")  # somebody else gets at the line
    assert re.search(r"started afresh \(the bench stopped: \w+.*\): its contact is open", ended(live))
    assert board.contact()[-1] == "0"


def test_a_pulled_cable_ends_it(board, live):
    closed(live)
    board.vanish_after = board.received + 1
    assert re.fullmatch(r"/dev/\S+: the board is gone while \S.*; its contact opens by itself within 5 s; plug it in "
                        "anew and run the same command again", ended(live))  # fmt: skip


def test_a_page_that_ends_lets_the_board_go_and_says_so(board, live):
    closed(live)
    starts = board.starts
    with served(live):
        assert board.contact()[-1] == "1" and live.newest()["ended"] == ""
    assert live.newest()["ended"] == bench_board_live.ENDED_HERE
    until(lambda: board.contact()[-1] == "0" and board.starts == starts + 1)


def command(board, *more: str) -> int:
    return main(["bench", "--board", board.port, *more])


def told_once(capsys) -> str:
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    return error


def test_a_live_line_is_refused_at_the_start(board, capsys):
    board.live(True)
    time.sleep(0.3)
    assert command(board) == 2
    assert "24 V at its line sense" in told_once(capsys) and "1" not in board.contact()


def test_a_line_that_is_not_fitted_is_refused(tmp_path, capsys):
    (tmp_path / "flash" / "kept").mkdir(parents=True)
    settings = Settings()
    settings.change({"has_line_sense": 0, "has_load_sense": 0})
    save_settings(Store(str(tmp_path / "flash" / "kept"), "settings"), settings)
    with board_with_shim(tmp_path) as board:
        assert command(board) == 2
    assert "its line sense is not fitted" in told_once(capsys)


def test_a_house_that_takes_the_line_sense_away_is_refused_before_any_board_is_asked(tmp_path, capsys):
    path = tmp_path / "h.toml"
    path.write_text("[settings]\nhas_line_sense = 0\nhas_load_sense = 0\n")
    assert main(["bench", str(path), "--board", "/dev/none"]) == 2
    assert "h.toml: found has_line_sense 0, which on a board is no bench" in told_once(capsys)


def test_a_board_without_the_shim_is_refused(tmp_path, capsys):
    (tmp_path / "flash").mkdir()
    with BoardOnLine(tmp_path) as board:
        assert command(board) == 2
    assert "the bench shim is not on this board; run `dewmargin install --bench" in told_once(capsys)


def test_a_port_that_another_program_holds_is_refused(board, live, capsys, monkeypatch):
    monkeypatch.setattr("dewsim.install_link.CONNECT_S", 0.3)
    assert command(board) == 2
    assert "cannot be opened" in told_once(capsys)


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    if CHROMIUM is None:
        pytest.skip("no chromium to drive the bench's page in")
    with Browser(tmp_path_factory.mktemp("profile")) as page:
        page.size(1280, 900)
        yield page


@pytest.fixture
def page(browser, live, monkeypatch):
    """The page of that board, in a browser."""
    monkeypatch.setattr(bench_board_live, "BEAT_S", QUICK)
    with served(live) as made:
        opened(browser, f"http://127.0.0.1:{made.port}/")
        yield browser
        assert [text for text in browser.errors if str(made.port) in text] == []


def test_every_control_that_a_board_has_is_driven_and_the_others_say_why_not(page, live):
    assert "THE BENCH SHIM" in page.js("document.getElementById('shim').textContent")
    for place, controls, _, reason in live.lacks:
        assert page.js(f"document.getElementById('{place}').textContent") == reason
        assert page.js(f"document.getElementById('{place}').getBoundingClientRect().height") > 10
        assert page.js(f"Array.from(document.querySelectorAll({json.dumps(controls)})).every(c => c.disabled)")
    assert [text for text, holds in drive(page) if not holds] == []
    assert frame(page)["ended"] == ""


def test_a_line_that_comes_alive_ends_it_and_nothing_old_looks_like_what_is(page, board):
    assert page.holds("/contact closed/.test(document.getElementById('lamps').textContent)", 20.0)
    board.live(True)
    assert page.holds("/24 V at its line sense/.test(document.getElementById('ended').textContent)")
    assert board.contact()[-1] == "0"
    assert page.js("document.getElementById('lamps').getBoundingClientRect().height") == 0
    assert page.js("Array.from(document.querySelectorAll('button, input')).every(c => c.disabled)")
    board.live(False)
    time.sleep(0.3)
    assert "1" not in board.contact()[board.contact().rindex("10") + 2 :]
