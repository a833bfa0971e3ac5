"""`dewmargin bench --board`: scripts on real MicroPython behind a serial line; what ends the bench there."""

import importlib.util
import json
import re
import time
from pathlib import Path

import pytest
from board_on_line import ROOT
from board_with_shim import board_with_shim

from benchshim.talk import frame
from dewboard.store import Store, save_settings
from dewcore import words
from dewcore.settings import Settings
from dewsim import bench_board, install, install_files
from dewsim.bench_board import BoardBed
from dewsim.cli import main
from dewsim.errors import InputError

SHIM_SENTENCE = words.REFUSALS[words.BENCH_SHIM][1]
UNIX = (install.Kind("linux", "linux", 100_000, 100_000),)
QUICK = {"min_off_s": 60}
SCRIPT = """
trial "Water, a leak, a cut, a button"
setting min_off_s 60; setting has_supply 1; setting has_glass 1
expect valve open within 100 s
expect contact closed
expect load live
fault fan_half_wave; set outdoor_c -12 over 1 min
expect target_pct below 20 within 90 s
clock 06:00; forecast -5; look fog
expect no notice clock_unknown
set leak wet
expect contact open within 2 s
expect sentence "Water at the leak wire: dry it, find the cause, then clear the alarm."
set leak dry
power off 10 s
expect alarm leak_wet
press alarm 4 s
expect no alarm leak_wet
mend fan_half_wave; fault fan_chatter; fault humidity_checksum; fault outdoor_silent
expect reason fan_unreadable within 2 s
expect reason rh_bad within 60 s
setting wish_pct 12
ask run 60 s
expect notice timed_run within 5 s

trial "What fails there fails here"
expect valve open within 10 s
"""


def compared(sheet: Path) -> list:
    """As the command for the whole script compares them."""
    path = ROOT / "tests" / "acceptance" / "bench_on_board.py"
    spec = importlib.util.spec_from_file_location("bench_on_board", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.rows(sheet)


@pytest.fixture
def board(tmp_path):
    """With the shim, its serial window about to close."""
    with board_with_shim(tmp_path) as started:
        yield started


def opened(bed) -> None:
    """Beats until the contact is closed."""
    bed.renew(QUICK, 1000, {})
    for _ in range(90):
        bed.beat()
        if bed.world.contact_closed:
            return
    raise AssertionError("it stays open")


def until(holds, seconds: float = 20.0) -> None:
    """It comes to hold."""
    end_s = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end_s
        time.sleep(0.05)


def test_a_script_over_the_line_makes_the_same_sheet(board, tmp_path, capsys):
    script, there, here = tmp_path / "own.bench", tmp_path / "there.html", tmp_path / "here.html"
    script.write_text(SCRIPT, encoding="utf-8")
    assert main(["bench", "--script", str(script), "--board", board.port, "--out", str(there)]) == 1
    told = capsys.readouterr().out
    assert "nothing but its own supply may be wired to it" in told and "1 failed" in told
    assert main(["bench", "--script", str(script), "--out", str(here)]) == 1
    assert compared(there) == compared(here) and len(compared(here)) == len(there.read_text().splitlines()) - 2
    assert re.search(
        r"<td>the board [0-9a-f]{16} at /dev/\S+, \S.*, micropython [\d.]+, with release 1 and THE BENCH SHIM on it: "
        r"its relay is real, its readings are made up</td>", there.read_text(encoding="utf-8")
    )  # fmt: skip
    assert board.contact().count("1") == 1  # the real one: closed once, and open again
    assert board.contact()[-1] == "0"
    assert words.ON_BENCH.encode() in board.said
    assert not (board.flash / "kept" / "settings.a").exists()


def test_after_a_reset_the_shim_does_nothing_and_the_board_is_out_of_service(board, tmp_path):
    opened(BoardBed(board.port))  # and then the plug is pulled
    starts = board.starts
    board.process.kill()
    until(lambda: board.starts > starts and (board.flash / "kept" / "boots.a").exists())
    board.live(True)
    time.sleep(1.0)
    assert board.contact().endswith("10") and set(board.contact()[board.contact().rindex("1") + 1 :]) == {"0"}


def test_a_line_that_is_live_at_the_start_is_refused_and_the_board_stays_latched(board):
    board.live(True)
    bed = BoardBed(board.port)
    starts = board.starts
    with pytest.raises(InputError, match="24 V at its line sense.*until the board is reset"):
        bed.renew(QUICK, 1000, {})
    board.live(False)
    time.sleep(0.5)
    assert board.starts == starts and "1" not in board.contact()


def test_a_line_that_comes_alive_ends_the_script_with_one_line(board, tmp_path, capsys, monkeypatch):
    script = tmp_path / "own.bench"
    script.write_text('trial "x"\nsetting min_off_s 60\nexpect valve open within 100 s\nwait 600 s\n', encoding="utf-8")
    beat = BoardBed.beat

    def beaten(bed):
        if bed.now_s() == 200:
            board.live(True)
        beat(bed)

    monkeypatch.setattr(BoardBed, "beat", beaten)
    status = main(["bench", "--script", str(script), "--board", board.port, "--out", str(tmp_path / "x.html")])
    error = capsys.readouterr().err
    assert status == 2 and error.count("\n") == 1 and "take every wire but its own supply off it" in error
    assert board.contact().endswith("10") and not (tmp_path / "x.html").exists()


def test_a_board_whose_line_is_not_fitted_is_refused(tmp_path):
    (tmp_path / "flash" / "kept").mkdir(parents=True)
    settings = Settings()
    settings.change({"has_line_sense": 0, "has_load_sense": 0})
    save_settings(Store(str(tmp_path / "flash" / "kept"), "settings"), settings)
    with board_with_shim(tmp_path) as board:
        bed = BoardBed(board.port)
        with pytest.raises(InputError, match="its line sense is not fitted"):
            bed.renew(QUICK, 1000, {})
        assert "1" not in board.contact()


def test_a_script_that_takes_the_line_sense_away_is_refused_before_any_board_is_asked(tmp_path, capsys):
    script = tmp_path / "own.bench"
    script.write_text(
        'trial "x"\nsetting has_load_sense 0; setting has_line_sense 0\nexpect contact open\n', encoding="utf-8"
    )
    assert main(["bench", "--script", str(script), "--board", "/dev/none"]) == 2
    assert "found has_line_sense 0, which on a board is no bench" in capsys.readouterr().err


def test_a_host_that_falls_silent_opens_the_contact_and_the_board_starts_afresh(board):
    opened(BoardBed(board.port))
    starts = board.starts
    assert board.contact()[-1] == "1"
    silent_s = time.monotonic()
    until(lambda: board.contact()[-1] == "0")
    assert time.monotonic() - silent_s < 5.5
    until(lambda: board.starts == starts + 1)


def test_garbage_half_lines_and_another_host_change_nothing(board, monkeypatch):
    monkeypatch.setattr(bench_board, "AGAIN_S", 0.2)
    bed = BoardBed(board.port)
    opened(bed)
    monkeypatch.setattr("dewsim.install_link.CONNECT_S", 0.3)
    seconds, link = bed.now_s(), bed.link.transport.serial
    for text in (["00000000", bed.number + 1, "beat"], [bed.token, bed.number + 2, "beat"], [bed.token, 1, "end"]):
        link.write(frame(json.dumps(text)))
    link.write(b"\xff\x00=garbage\n" + frame(json.dumps([bed.token, bed.number + 1, "power", 5]))[:-3])
    bed.beat()
    assert bed.now_s() == seconds + 1 and bed.world.contact_closed
    with pytest.raises(InputError, match="cannot be opened"):
        BoardBed(board.port)
    bed.beat()
    assert bed.now_s() == seconds + 2
    starts = board.starts
    link.write(b"\x03")  # somebody else gets at the line all the same, and breaks in
    with pytest.raises(InputError):
        for _ in range(3):
            bed.beat()
    until(lambda: board.starts == starts + 1)
    assert board.contact()[-1] == "0"


def test_an_answer_that_is_lost_is_asked_for_again_and_passes_no_second(board, monkeypatch):
    monkeypatch.setattr(bench_board, "AGAIN_S", 0.1)
    bed = BoardBed(board.port)
    bed.renew(QUICK, 1000, {})
    answer, lost = bed._answer, []

    def lossy(until_s):
        found = answer(until_s)
        if found is not None and len(lost) < 3:
            lost.append(found)
            return None
        return found

    bed._answer = lossy
    bed.beat()
    bed.beat()
    assert bed.now_s() == 2 and len(lost) == 3
    bed.close()


def test_a_plain_install_removes_the_shim_and_with_it_the_release_that_had_it(tmp_path, capsys):
    (tmp_path / "flash").mkdir()
    from board_on_line import BoardOnLine

    with BoardOnLine(tmp_path) as board:
        flash = board.flash
        assert install.install(board.port, UNIX, True, install.Wishes(), 0.2) == 0
        assert install.install(board.port, UNIX, True, install.Wishes(), 0.2, True) == 0
        told = capsys.readouterr().out
        assert "makes up every reading" in told and told.count("Before flashing") == 2
        until(lambda: b"dewmargin: " + SHIM_SENTENCE.encode() in board.said)
        assert (flash / "b" / "benchshim" / "session.py").exists()
        (flash / "bench").mkdir()
        (flash / "bench" / "boots.a").write_text("x")
        assert install.install(board.port, UNIX, True, install.Wishes(), 0.2) == 0
        told = capsys.readouterr().out
        assert "the bench shim is gone from the board" in told and "no other is left" in told
    assert [str(path) for path in flash.rglob("*benchshim*")] == [] and not (flash / "bench").exists()
    assert (flash / "a" / "release").exists() and not (flash / "b" / "release").exists()
    with BoardOnLine(tmp_path) as board, pytest.raises(InputError, match="the bench shim is not on this board"):
        BoardBed(board.port)


def test_only_where_it_is_asked_for_a_release_has_the_shim(capsys):
    assert main(["install", "--dry-run", "--bench"]) == 0
    with_shim = capsys.readouterr().out.splitlines()[:-2]
    assert main(["install", "--dry-run"]) == 0
    without = capsys.readouterr().out.splitlines()[:-3]
    more = {line.split()[2] for line in set(with_shim) - set(without)} - {"files"}
    own = ("__init__", "bed", "line", "seen", "session", "talk", "wires")
    world = ("virtual", "virtual_board", "virtual_chips", "virtual_mains", "virtual_time", "virtual_wire")
    names = {f"benchshim/{name}.mpy" for name in (*own, *world)}
    assert more == names | {"dewboard/pin_table.mpy"}
    assert not any("shim" in line for line in without)


def test_another_release_with_the_shim_is_refused(board):
    path = board.flash / "a" / install_files.LIST
    path.write_bytes(path.read_bytes().replace(b"0", b"1", 1))
    with pytest.raises(InputError, match="another release than this one.*install --bench"):
        BoardBed(board.port)


def test_commissioning_refuses_a_board_with_the_shim(board, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["commission", "--port", board.port]) == 2
    error = capsys.readouterr().err
    assert "with the bench shim" in error and "install the program first" in error


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--board", "/dev/none"], "there is no such port"),
        (["--board", "/dev/none", "--broker", "mqtt://127.0.0.1"], "--broker: not with --board"),
        (["--board", "/dev/none", "--script", "acceptance"], "there is no such port"),
        (["--board", "/dev/none", "--script", "acceptance", "--port", "8080"], "--port: only without --script"),
    ],
)
def test_what_makes_no_sense_is_one_line(options, words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["bench", *options]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and words in error and list(tmp_path.iterdir()) == []
