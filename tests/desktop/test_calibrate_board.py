"""`dewmargin calibrate --port`: the settings of a virtual board behind a serial line, under real MicroPython."""

import io

import pytest
from board_on_line import BoardOnLine, put_program, stored_in

from dewboard.store import Store, save_settings, settings_text
from dewcore.settings import Settings
from dewsim import calibrate_board
from dewsim.cli import main
from dewsim.errors import InputError

OWN = {"wish_pct": 38.0, "rh_offset_pct": 2.0, "rh_gain": 1.1, "outdoor_offset_k": -0.5}


@pytest.fixture
def flash(tmp_path):
    """A board that was set up, its humidity and outdoor sensors corrected before."""
    put_program(tmp_path / "flash", OWN)
    return tmp_path / "flash"


def calibrated(port, *options):
    """The command with two salts and ice, as the board showed them: raw 34.6 %, 77.1 % and 0.4 °C."""
    readings = [f"--point=MgCl2:22C:{2.0 + 1.1 * 34.6:.4f}", f"--point=NaCl:22C:{2.0 + 1.1 * 77.1:.4f}", "--ice"]
    return main(["calibrate", f"--port={port}", *readings, "outdoor:-0.1C", "--date=2026-10-01", *options])


def kept(flash):
    """Every byte of the stored settings."""
    return {path.name: path.read_bytes() for path in (flash / "kept").glob("settings.*")}


def test_settings_are_written_once_agreed_and_read_back(flash, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("what?\ny\n"))
    with BoardOnLine(tmp_path) as board:
        assert calibrated(board.port) == 0
    told = capsys.readouterr().out
    found = stored_in(flash)
    wanted = Settings()
    wanted.change({"wish_pct": 38.0, "rh_offset_pct": -1.6, "rh_gain": 0.9987, "rh_tolerance_pct": 1.3})
    wanted.change({"outdoor_offset_k": -0.4, "outdoor_tolerance_k": 0.3})
    assert settings_text(found) == settings_text(wanted)
    assert "rh_offset_pct             2.0000   -1.6000\n" in told and "2027-10-01" in told
    assert "contact open" in told and told.endswith("Stored, read back, the same.\n") and "y or n: y or n: " in told


def test_nothing_changes_where_it_is_refused_or_nobody_answers(flash, tmp_path, monkeypatch, capsys):
    before = kept(flash)
    with BoardOnLine(tmp_path) as board:
        for answer in ("n\n", ""):
            monkeypatch.setattr("sys.stdin", io.StringIO(answer))
            assert calibrated(board.port) == 0
            assert capsys.readouterr().out.endswith("Nothing was changed on the board.\n")
    assert kept(flash) == before


def test_what_was_changed_meanwhile_stands(flash, tmp_path, monkeypatch, capsys):
    other = Settings()
    other.change({"wish_pct": 30.0})

    class Person:
        """Agrees, but somebody else was at the board's page."""

        def readline(self) -> str:
            save_settings(Store(str(flash / "kept"), "settings"), other)
            return "y\n"

    monkeypatch.setattr("sys.stdin", Person())
    with BoardOnLine(tmp_path) as board:
        assert calibrated(board.port) == 2
    error = capsys.readouterr().err
    assert "changed meanwhile" in error and error.count("\n") == 1
    assert settings_text(stored_in(flash)) == settings_text(other)


def test_a_board_that_reads_back_something_else_is_told(flash, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("y\n"))
    monkeypatch.setattr(calibrate_board, "WRITE", 'print("stored")\n')
    with BoardOnLine(tmp_path) as board:
        assert calibrated(board.port) == 2
    error = capsys.readouterr().err
    assert "reads back other settings" in error and error.count("\n") == 1


def test_damaged_settings_and_a_board_without_the_program_are_one_line(flash, tmp_path, capsys):
    for path in (flash / "kept").glob("settings.*"):
        path.write_bytes(path.read_bytes()[:-1])
    with BoardOnLine(tmp_path) as board:
        with pytest.raises(InputError, match="its stored settings are damaged .*store them anew"):
            calibrate_board.read(board.port)
        (flash / "main.py").unlink()
        (flash / "dewboard" / "store.py").unlink()
        with pytest.raises(InputError, match="install this release first"):
            calibrate_board.read(board.port)


def test_its_own_corrections_are_the_boards_to_tell(capsys):
    assert main(["calibrate", "--port=/dev/none", "--present-gain=1.1"]) == 2
    assert "--present-gain: not beside --port" in capsys.readouterr().err
