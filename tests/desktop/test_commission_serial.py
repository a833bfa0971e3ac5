"""`dewmargin commission --port`: a virtual board behind a serial line, its own program under real MicroPython."""

import io
import json
import time
from pathlib import Path

import pytest
from board_on_line import BoardOnLine, put_program, stored_in

from dewsim import commission_serial
from dewsim.cli import main
from dewsim.commission_serial import SerialSeat
from dewsim.errors import InputError

HEATING = "board.heat_call = board.fan_running = board.terminal_live = True\n"


@pytest.fixture
def flash(tmp_path):
    """A board with the program's plain source on it, and settings whose pauses are short."""
    flash = tmp_path / "flash"
    put_program(flash, {"min_off_s": 60, "wish_pct": 38.0, "has_drain_wet": 1})
    return flash


@pytest.fixture
def a_seat(flash, tmp_path):
    """A seat at a board whose furnace heats."""
    with BoardOnLine(tmp_path, HEATING) as board:
        seat = SerialSeat(board.port)
        yield seat, board
        seat.close()


def until(seat, good, most: int = 120):
    """The first second in which it is good."""
    for _ in range(most):
        seen = seat.beat()
        if good(seen):
            return seen
    raise AssertionError(vars(seen))


def test_a_board_is_seen_runs_when_asked_and_only_then(a_seat):
    seat, board = a_seat
    starts = board.starts
    assert seat.name.startswith("board ") and not seat.simulated
    assert (seat.settings.min_off_s, seat.settings.wish_pct, seat.settings.has_drain_wet) == (60, 38.0, 1)
    seen = until(seat, lambda s: s.reasons == ["humid_enough"])
    assert seen.contacts["line_sense"] == seen.contacts["fan"] == seen.contacts["heat_call"] == "on"
    assert seen.contacts["load_sense"] == seen.contacts["off_switch"] == seen.contacts["leak"] == "off"
    assert seen.contacts["overflow"] == "not fitted" and seen.samples["rh_pct"] == pytest.approx(30.0, abs=0.1)
    assert not any(seat.beat().closed for _ in range(15))
    seat.ask_run(100)
    seen = until(seat, lambda s: s.closed and s.contacts["load_sense"] == "on", 15)
    assert seen.reasons == [] and "timed_run" in seen.notices
    seat.ask_run(0)
    seen = until(seat, lambda s: not s.closed and s.contacts["load_sense"] == "off", 4)
    assert board.starts == starts and "min_off" in seen.reasons


def test_seconds_pass_while_nobody_asks(a_seat):
    seat, _ = a_seat
    seat.beat()
    before = seat.count
    time.sleep(0.5)
    assert seat.count > before and seat.problem is None


def test_the_board_goes_back_to_its_own_program_with_its_own_wish(flash, tmp_path):
    with BoardOnLine(tmp_path, HEATING) as board:
        seat = SerialSeat(board.port)
        seat.ask_run(100)
        seat.beat()
        starts = board.starts
        seat.close()
        deadline_s = time.monotonic() + 5
        while board.starts == starts and time.monotonic() < deadline_s:
            time.sleep(0.05)
        assert board.starts == starts + 1
    assert stored_in(flash).wish_pct == 38.0


def test_a_cable_pulled_as_told_is_waited_for(a_seat, monkeypatch):
    seat, board = a_seat
    monkeypatch.setattr(commission_serial, "SECOND_S", 1.0)
    until(seat, lambda s: s.contacts["line_sense"] == "on", 5)
    seat.do("supply", "out")
    board.process.kill()  # the chip starts anew
    seat.ask_run(0)
    seen = until(seat, lambda s: not seat.cable_out, 10)  # a second may still come that was told before
    assert not seen.closed and seat.settings.wish_pct == 38.0
    board.process.kill()
    with pytest.raises(InputError, match="its watchdog opens the contact"):
        until(seat, lambda s: False)


def test_a_season_ends_over_the_line(flash, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO("y\ny\n\n\n\ny\ny\ny\n"))
    with BoardOnLine(tmp_path, "board.off_switch = True\n") as board:
        assert main(["commission", "--port", board.port, "--season", "end", "--out", "end.html"]) == 0
    record = json.loads(Path("end.json").read_text(encoding="utf-8"))
    assert record["passed"] and not record["simulated"] and record["board"].startswith("board ")
    assert "It says what was measured" in Path("end.html").read_text(encoding="utf-8")


def test_a_plug_that_is_pulled_is_one_line_and_keeps_what_is_done(flash, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    with BoardOnLine(tmp_path, "board.off_switch = True\n") as board:

        class Person:
            """Answers, and pulls the plug at the last question but one."""

            lines = iter("y\ny\n\n\n\n".splitlines(True))

            def readline(self) -> str:
                line = next(self.lines, "")
                if not line:
                    board.vanish_after = 1
                    time.sleep(0.5)
                return line or "y\n"

        monkeypatch.setattr("sys.stdin", Person())
        assert main(["commission", "--port", board.port, "--season", "end", "--out", "end.html"]) == 2
    error = capsys.readouterr().err
    assert len(error.splitlines()) == 1 and "its watchdog opens the contact; go on with --resume" in error
    assert [step["name"] for step in json.loads(Path("end.json").read_text())["steps"]] == ["stop"]


def test_a_board_without_the_program_is_told_what_to_do(tmp_path):
    (tmp_path / "flash").mkdir()
    with BoardOnLine(tmp_path) as board, pytest.raises(InputError, match="install the program first"):
        SerialSeat(board.port)


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ([], "neither --simulated nor --port"), (["--port", "X", "--simulated"], "both --simulated and --port"),
        (["--port", "X", "--fault", "no_water"], "--fault: only with --simulated"),
        (["--port", "X", "default"], "house: only with --simulated"),
        (["--port", "/dev/none"], "there is no such port"),
    ],
)  # fmt: skip
def test_which_board_is_one_line(tmp_path, monkeypatch, capsys, options, word):
    monkeypatch.chdir(tmp_path)
    assert main(["commission", *options]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1 and word in lines[0] and list(tmp_path.iterdir()) == []
