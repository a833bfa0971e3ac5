"""`dewmargin install` onto a board with a ROM partition, which is a file here: real MicroPython runs what is in it."""

import shutil
import time
from pathlib import Path

import pytest
from board_on_line import BoardOnLine, with_rom
from test_install import newer, tree  # noqa: F401 - newer is a fixture

from dewboard import release
from dewsim import cli, install
from dewsim.errors import InputError
from dewsim.install_files import build, number_text, sha256
from dewsim.install_link import Link
from dewsim.install_rom import RECORD, image, record_of, record_text

UNIX = (install.Kind("linux", "linux", 100_000, 100_000),)
ONLY_ROM = (install.Kind("linux", "linux", None, 100_000),)
STOPPED = b"dewmargin: stopped: the program in ROM is not as it was installed"
STARTED = b"dewmargin: press any key"

DRIVEN = """
OUTPUT = virtual.Pin._output
def output(self, level=None):
    if level:
        print("driven")
    return OUTPUT(self, level)
virtual.Pin._output = output
"""
WORN = """
KEEP = Rom.keep
Rom.keep = lambda self, at, data: KEEP(self, at, bytes(len(data)) if at == 40960 else data)
"""


def put(board: BoardOnLine, as_source: bool = False, listen_s: float = 0.4, boards: tuple = UNIX) -> int:
    return install.install(board.port, boards, as_source, install.Wishes(), listen_s)


def rom_of(folder: Path) -> bytes:
    """The image that the record of a board speaks of, out of its partition; its hash is right."""
    _, size, digest = record_of((folder / "flash" / RECORD).read_bytes())
    data = (folder / "rom").read_bytes()[:size]
    assert sha256(data) == digest
    return data


def first_words(folder: Path, world: str = "") -> bytes:
    """What a board says first when it gets its power."""
    with BoardOnLine(folder, with_rom() + world) as board:
        deadline_s = time.monotonic() + 10
        while STOPPED not in board.said and STARTED not in board.said:
            assert time.monotonic() < deadline_s, board.said
            time.sleep(0.05)
        return bytes(board.said)


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """A board with the first release in its ROM; to be copied, not changed."""
    folder = tmp_path_factory.mktemp("first")
    (folder / "flash").mkdir()
    (folder / "flash" / "main.py").write_text("print('another program')\n")
    with BoardOnLine(folder, with_rom()) as board:
        assert put(board, boards=ONLY_ROM) == 0
    return folder


@pytest.fixture
def board_folder(installed, tmp_path):
    """A copy of it for one test."""
    return Path(shutil.copytree(installed, tmp_path / "board"))


def test_a_fresh_board_with_a_partition_gets_an_image_and_no_files(installed):
    wanted = build(False, lambda _: None)
    assert rom_of(installed) == image(wanted)
    assert (installed / "flash" / RECORD).read_bytes() == record_text(1, image(wanted))
    assert sorted(tree(installed / "flash")) == ["main.old", "main.py", RECORD]
    assert STARTED in first_words(installed)


def test_again_writes_nothing_and_it_runs_out_of_rom(board_folder, capsys):
    before = tree(board_folder / "flash"), (board_folder / "rom").read_bytes()
    with BoardOnLine(board_folder, with_rom()) as board:
        assert put(board) == 0
        link = Link(board.port)
        link.connect()
        assert link.run("looking", "import dewcore.words\nprint(dewcore.words.__file__)") == "/rom/dewcore/words.mpy\n"
        assert link.run("looking", "from dewboard.release import problem\nprint(repr(problem()))") == "''\n"
        link.close()
    assert (tree(board_folder / "flash"), (board_folder / "rom").read_bytes()) == before
    said = capsys.readouterr().out
    assert said.endswith("this release is on the board already, as number 1 in ROM\n") and "self-test: passed\n" in said


def test_a_newer_one_takes_its_place_and_a_plug_pulled_meanwhile_starts_nothing(
    board_folder, tmp_path, newer, capsys  # noqa: F811
):
    old = rom_of(board_folder)
    cut = Path(shutil.copytree(board_folder, tmp_path / "cut"))
    newer()
    with BoardOnLine(board_folder, with_rom()) as board:
        assert put(board, listen_s=0) == 0
        whole = board.received
    assert "release 2 in ROM: an image of " in capsys.readouterr().out
    new = rom_of(board_folder)
    assert b"The timed run is over." in new and b"The timed run is over." not in old
    for share in (0.2, 0.99):
        folder = Path(shutil.copytree(cut, tmp_path / str(share)))
        with BoardOnLine(folder, with_rom()) as board:
            board.vanish_after = int(whole * share)
            with pytest.raises(InputError, match="no whole program now and keeps its contact open, so plug it in anew"):
                put(board)
        assert STOPPED in first_words(folder)
    with BoardOnLine(folder, with_rom()) as board:
        assert put(board, listen_s=0) == 0
    assert rom_of(folder) == new and STARTED in first_words(folder)


def test_whatever_bit_is_wrong_nothing_starts_and_the_contact_stays_open(board_folder):
    data = bytearray((board_folder / "rom").read_bytes())
    data[len(rom_of(board_folder)) - 1] ^= 4
    (board_folder / "rom").write_bytes(data)
    said = first_words(board_folder, DRIVEN)
    assert STOPPED in said and b"driven" not in said and b"Traceback" not in said


def test_a_release_that_fails_its_own_test_leaves_the_image_before_it(board_folder, newer):  # noqa: F811
    before = (board_folder / "flash" / RECORD).read_bytes(), rom_of(board_folder)
    newer("dewboard/app.py", "FAILURES = 3", "FAILURES = 3 / 0")
    with BoardOnLine(board_folder, with_rom()) as board:
        with pytest.raises(InputError, match="self-test: failed: ZeroDivisionError.*; the release before it is"):
            put(board)
    assert ((board_folder / "flash" / RECORD).read_bytes(), rom_of(board_folder)) == before
    assert STARTED in first_words(board_folder)


def test_a_release_that_stops_at_its_start_is_taken_back(board_folder, newer):  # noqa: F811
    old = rom_of(board_folder)
    newer("dewboard/start.py", "    if wants_in():", '    print("dewmargin: stopped: planted")\n    if wants_in():')
    with BoardOnLine(board_folder, with_rom()) as board:
        with pytest.raises(InputError, match="the one before it starts again"):
            put(board, listen_s=2.5)
    assert rom_of(board_folder) == old and record_of((board_folder / "flash" / RECORD).read_bytes())[0] == 1


def test_what_does_not_read_back_does_not_count(board_folder, newer):  # noqa: F811
    newer()
    with BoardOnLine(board_folder, with_rom() + WORN) as board:
        with pytest.raises(InputError, match="does not read back.*it cannot be put back"):
            put(board)
    assert STOPPED in first_words(board_folder)


def test_from_files_into_rom_and_back_the_release_before_stays(tmp_path, newer, capsys):  # noqa: F811
    with BoardOnLine(tmp_path) as board:  # without a partition
        assert put(board, listen_s=0) == 0
    files = tree(tmp_path / "flash" / "a")
    half = Path(shutil.copytree(tmp_path, tmp_path / "half"))
    newer()
    with BoardOnLine(tmp_path, with_rom()) as board:
        assert put(board, listen_s=0) == 0
        whole = board.received
    assert capsys.readouterr().out.endswith("the one before it stays in folder a\n")
    assert record_of((tmp_path / "flash" / RECORD).read_bytes())[0] == 2 and tree(tmp_path / "flash" / "a") == files
    with BoardOnLine(half, with_rom()) as board:
        board.vanish_after = whole // 2
        with pytest.raises(InputError, match="gone while"):
            put(board)
    with BoardOnLine(half, with_rom()) as board:  # the one in files starts, half an image beside it
        link = Link(board.port)
        link.connect()
        assert link.run("looking", "import dewcore.words\nprint(dewcore.words.__file__)") == "a/dewcore/words.mpy\n"
        link.close()
    with BoardOnLine(tmp_path, with_rom()) as board:
        assert put(board, as_source=True, listen_s=0) == 0
        link = Link(board.port)
        link.connect()
        assert link.run("looking", "import dewcore.words\nprint(dewcore.words.__file__)") == "b/dewcore/words.py\n"
        link.close()
    assert capsys.readouterr().out.endswith("the one before it stays in ROM\n")
    assert release.differs(str(tmp_path / "flash" / "b")) == ""


def test_the_bench_shim_in_files_goes_with_the_next_plain_install(board_folder, capsys):
    shim = board_folder / "flash" / "a" / "benchshim"
    shim.mkdir(parents=True)
    (shim / "session.py").write_text("")
    (shim.parent / "release").write_bytes(number_text(2))
    with BoardOnLine(board_folder, with_rom()) as board:
        assert put(board, listen_s=0) == 0
    told = capsys.readouterr().out
    assert "the bench shim is gone from the board" in told and "release 3 in ROM: " in told
    assert not shim.exists() and not (shim.parent / "release").exists() and STARTED in first_words(board_folder)


def test_too_small_a_partition_is_as_none(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(install, "BOARDS", UNIX)
    with BoardOnLine(tmp_path, with_rom(8)) as board:
        with pytest.raises(InputError, match=r"ROM partition \(\d+ bytes needed, 32768 found\): put a Micro"):
            put(board, boards=ONLY_ROM)
        assert cli.main(["install", "--dry-run", board.port]) == 0
        assert capsys.readouterr().out.endswith("nothing was written; it would go there as files\n")
        assert not list((tmp_path / "flash").iterdir()) and set((tmp_path / "rom").read_bytes()) == {255}
    with BoardOnLine(tmp_path, "import os\nos.remove('../rom')\n" + with_rom()) as board:
        assert cli.main(["install", "--dry-run", board.port]) == 0
        assert capsys.readouterr().out.endswith("nothing was written; it would go into ROM\n")
        with pytest.raises(InputError, match="which takes neither source nor the bench shim"):
            put(board, as_source=True, boards=ONLY_ROM)


def test_a_record_is_written_as_main_reads_it():
    text = record_text(12, b"image")
    assert record_of(text) == (12, 5, sha256(b"image"))
    assert all(record_of(text[:length])[0] == -1 for length in range(len(text)))
