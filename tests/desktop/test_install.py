"""`dewmargin install` against real MicroPython behind a serial port: fresh, again, newer, interrupted, refused."""

import getpass
import json
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from board_on_line import ROOT, BoardOnLine

import dewboard
from dewboard import release
from dewboard.events import Counters
from dewboard.store import Store
from dewcore import learned
from dewcore.controller import Controller
from dewsim import cli, install, install_files, install_kept
from dewsim.errors import InputError
from dewsim.install_files import build, number_of, number_text, sources
from dewsim.install_link import Link
from dewsim.install_rom import image

UNIX = (install.Kind("linux", "linux", 100_000, 100_000),)
OUTDOOR = "28AA1E2C1D13026E"
SUPPLY = "28731E2C1D13023C"
GLASS = "285B1E2C1D13022B"


def put(board: BoardOnLine, wishes=None, listen_s: float = 0.4) -> int:
    """The command, on the board that these tests have."""
    return install.install(board.port, UNIX, False, wishes or install.Wishes(), listen_s)


def newest(flash: Path) -> str:
    """The folder that main.py starts, by main.py's own function; "" for none."""
    text = (ROOT / "firmware" / "main.py").read_text(encoding="utf-8")
    names = {}
    exec(text[text.index("def number") : text.index("def record")], names)
    number = {folder: names["number"](str(flash / folder)) for folder in ("a", "b")}
    best = "b" if number["b"] > number["a"] else "a"
    return best if number[best] >= 0 else ""


def tree(folder: Path) -> dict:
    """Bytes by path."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """A flash with the first release on it, and what installing it said; to be copied, not changed."""
    folder = tmp_path_factory.mktemp("first")
    (folder / "flash").mkdir()
    (folder / "flash" / "main.py").write_text("print('another program')\n")
    with BoardOnLine(folder) as board:
        assert put(board) == 0
        time.sleep(0.1)
    return folder / "flash"


@pytest.fixture
def flash(installed, tmp_path):
    """A copy of it for one test."""
    return Path(shutil.copytree(installed, tmp_path / "flash"))


@pytest.fixture
def newer(monkeypatch, tmp_path):
    """The next release: another sentence in dewcore.words, unless a test plants something else."""

    def plant(name="dewcore/words.py", old="The timed test run is over.", new="The timed run is over."):
        found = sources()
        text = found[name].read_text(encoding="utf-8")
        assert old in text
        changed = tmp_path / "changed.py"
        changed.write_text(text.replace(old, new), encoding="utf-8")
        monkeypatch.setattr(install_files, "sources", lambda: {**found, name: changed})

    return plant


def test_a_fresh_board_gets_all_of_it_and_keeps_what_it_had(installed):
    wanted = build(False, lambda _: None)
    assert tree(installed / "a") == {**wanted, "release": b"00000001\n"}
    assert not (installed / "b").exists()
    assert newest(installed) == "a"
    assert (installed / "main.py").read_bytes() == (ROOT / "firmware" / "main.py").read_bytes()
    assert (installed / "main.old").read_text() == "print('another program')\n"
    assert not (installed / "kept").exists()
    assert release.differs(str(installed / "a")) == ""
    done = subprocess.run(["sha256sum", "-c", "--quiet", "files"], cwd=installed / "a")
    assert done.returncode == 0


def test_again_copies_nothing_and_shows_what_the_board_found(flash, tmp_path, capsys):
    before = tree(flash)
    with BoardOnLine(tmp_path) as board:
        assert put(board, listen_s=2.5) == 0  # the reset's own time, and some for a slow start
    assert tree(flash) == before
    said = capsys.readouterr().out
    assert said.startswith("Before flashing: take the fuse of the valve branch out")
    assert "thermometer: " + OUTDOOR + " no place\n" in said
    assert "contact: open\n" in said and "rh_pct: 30.0\n" in said and "self-test: passed\n" in said
    assert "first scan: The furnace fan is not proven running.\n" in said
    assert "the board: dewmargin: press any key within 3 s to stop here\n" in said
    assert said.endswith("this release is on the board already, as number 1 in folder a\n")


def test_a_newer_one_goes_beside_it_and_only_what_changed_travels(flash, tmp_path, newer, capsys):
    before = tree(flash / "a")
    for stale in ("b/dewcore/words.py", "b/microdot/__init__.py", "b/dewboard/deep/er/x.mpy"):
        (flash / stale).parent.mkdir(parents=True, exist_ok=True)
        (flash / stale).write_text("stale")
    (flash / "b" / "release").write_text("0000")
    newer()
    with BoardOnLine(tmp_path) as board:
        assert put(board) == 0
        assert "release 2 in folder b: 2 files copied, " in capsys.readouterr().out
        link = Link(board.port)
        link.connect()
        assert link.run("looking", "import dewcore.words\nprint(dewcore.words.__file__)") == "b/dewcore/words.mpy\n"
        link.close()
    assert tree(flash / "a") == before
    assert newest(flash) == "b"
    assert release.differs(str(flash / "b")) == ""
    assert not (flash / "b" / "microdot").exists() and not (flash / "b" / "dewboard" / "deep").exists()
    assert b"The timed run is over." in (flash / "b" / "dewcore" / "words.mpy").read_bytes()


def test_a_running_program_is_stopped_and_its_contact_opens(flash, tmp_path, capsys):
    with BoardOnLine(tmp_path) as board:
        deadline_s = time.monotonic() + 10
        while not (flash / "kept" / "boots.a").exists():
            assert time.monotonic() < deadline_s
            time.sleep(0.05)
        time.sleep(0.5)
        assert board.starts == 1 and not board.prompt.exists()
        assert put(board) == 0
        deadline_s = time.monotonic() + 5
        while board.starts < 3 and time.monotonic() < deadline_s:
            time.sleep(0.05)
        assert board.starts == 3  # by the interrupt, and at the end
    assert "self-test: passed" in capsys.readouterr().out


def test_what_does_not_read_back_does_not_count(flash, tmp_path, newer, monkeypatch):
    write = Link.write
    monkeypatch.setattr(
        Link, "write", lambda link, path, data: write(link, path, data[:-1] + b"\x00" if "words" in path else data)
    )
    newer()
    with BoardOnLine(tmp_path) as board, pytest.raises(InputError, match="words.mpy does not read back"):
        put(board)
    assert newest(flash) == "a" and not (flash / "b" / "release").exists()


def test_a_plug_pulled_at_any_moment_leaves_the_old_or_the_new(flash, tmp_path, newer):
    newer()
    with BoardOnLine(tmp_path) as board:
        put(board, listen_s=0)
        whole = board.received
    seen = set()
    for n in range(6):
        folder = tmp_path / str(n)
        folder.mkdir()
        shutil.copytree(flash, folder / "flash")
        shutil.rmtree(folder / "flash" / "b")
        with BoardOnLine(folder) as board:
            board.vanish_after = whole * (2 * n + 1) // 12
            with pytest.raises(InputError, match="gone while .*nothing was switched"):
                put(board)
        seen.add(newest(folder / "flash"))
        assert release.differs(str(folder / "flash" / newest(folder / "flash"))) == ""
    assert seen == {"a"}  # the switch is the last of it


def test_a_release_that_fails_its_own_test_is_not_switched_to(flash, tmp_path, newer):
    newer("dewboard/app.py", "FAILURES = 3", "FAILURES = 3 / 0")
    with BoardOnLine(tmp_path) as board, pytest.raises(InputError, match="self-test: failed: ZeroDivisionError"):
        put(board)
    assert newest(flash) == "a"


def test_a_release_that_stops_at_its_start_is_taken_back(flash, tmp_path, newer, capsys):
    newer("dewboard/start.py", "    if wants_in():", '    print("dewmargin: stopped: planted")\n    if wants_in():')
    with BoardOnLine(tmp_path) as board, pytest.raises(InputError, match="the one before it starts again"):
        put(board, listen_s=2.5)
    assert "the board: dewmargin: stopped: planted\n" in capsys.readouterr().out
    assert newest(flash) == "a"


@pytest.mark.parametrize("world", ["board.relay_fault = 'welded'", "board.dial_bridges = True"])
def test_nothing_is_touched_while_the_valve_has_power(world, flash, tmp_path):
    before = tree(flash)
    with BoardOnLine(tmp_path, "board.terminal_live = True\n" + world) as board:
        with pytest.raises(InputError, match="the valve has power with the contact open"):
            put(board)
    assert tree(flash) == before


def test_network_and_thermometers_are_stored_and_the_key_stays_unseen(flash, tmp_path, monkeypatch, capfd):
    monkeypatch.setattr(getpass, "getpass", lambda prompt: "a secret key")
    monkeypatch.setattr(install, "BOARDS", UNIX)
    monkeypatch.setattr(install, "LISTEN_S", 0.2)
    (flash / "kept").mkdir()
    Store(str(flash / "kept"), "wifi").save(b'{"host":"cellar","name":"old","key":"old"}')
    Store(str(flash / "kept"), "probes").save(b'{"glass_c":"%s"}' % GLASS.encode())
    with BoardOnLine(tmp_path) as board:
        options = ["--wifi", "our net", "--broker", broker_file(tmp_path)]
        options += ["--thermometer", "outdoor_c=" + OUTDOOR.lower(), "--thermometer=supply_c=" + SUPPLY]
        assert cli.main(["install", board.port, *options]) == 0
    stored = {name: json.loads(Store(str(flash / "kept"), name).load()) for name in ("wifi", "probes", "broker")}
    assert stored["broker"] == {"host": "192.0.2.7", "user": "attic", "password": "a secret key", "logger": 1}
    assert stored["wifi"] == {"host": "cellar", "name": "our net", "key": "a secret key"}
    assert stored["probes"] == {
        "glass_c": GLASS,
        "outdoor_c": OUTDOOR,
        "supply_c": SUPPLY,
    }
    seen = capfd.readouterr()
    assert "secret" not in seen.out + seen.err
    assert f"thermometer: {GLASS} glass_c" in seen.out


def broker_file(folder: Path, text: str = 'host = "192.0.2.7"\nuser = "attic"\nlogger = 1\n') -> str:
    """A broker's settings."""
    (folder / "broker.toml").write_text(text)
    return str(folder / "broker.toml")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('host = "a"\nhosts = 1\n', "hosts: no such key"),
        ("host = 192\n", "host: another type"),
        ('host = "a"\nport = 0\n', "port: found 0"),
        ('host = "a"\npassword = "canary"\n', "password: found one"),
        ('host = "a\n', "no TOML"),
        ('host = "a"\nport = 2026-01-15\n', "port: another type"),
        ('host = "a"\ntls = 1\nca = "%s"\n' % ("QUJD" * 1200), "ca: with all the rest"),
    ],
)
def test_a_wrong_brokers_file_is_refused_before_any_board_is_asked(text, words, tmp_path, capsys):
    assert cli.main(["install", "/dev/none", "--broker", broker_file(tmp_path, text)]) == 2
    told = capsys.readouterr().err
    assert words in told and told.count("\n") == 1 and "canary" not in told, told


def kept_folder(folder: Path) -> dict:
    """A board's folder with everything in it; the payloads that a backup is to hold."""
    folder.mkdir()
    counters = Counters()
    counters.valve_starts = 777
    payloads = {
        "settings": b'{"cap_pct":37.5}',
        "learned": bytes(learned.pack(Controller())),
        "counters": counters.pack(),
        "probes": b'{"outdoor_c":"%s"}' % OUTDOOR.encode(),
    }
    for name, payload in payloads.items():
        Store(str(folder), name).save(b"{}" if name == "settings" else payload)
        Store(str(folder), name).save(payload)
    Store(str(folder), "login").save(b"the image of a password")
    Store(str(folder), "wifi").save(b'{"name":"net","key":"secret"}')
    return payloads


def test_a_backup_puts_a_spare_board_in_its_place(flash, tmp_path, capsys, monkeypatch):
    payloads = kept_folder(flash / "kept")
    backup = tmp_path / "copies" / "backup"
    before = tree(flash)
    with BoardOnLine(tmp_path) as board:
        assert cli.main(["install", board.port, "--backup", str(backup)]) == 0
        assert cli.main(["install", board.port, "--backup", str(backup)]) == 2
    assert tree(flash) == before
    assert {path.name.split(".")[0] for path in backup.iterdir()} == set(payloads)
    assert install_kept.read_back(str(backup)) == payloads
    assert "exists already" in capsys.readouterr().err
    spare = tmp_path / "spare"
    spare.mkdir()
    shutil.copytree(flash, spare / "flash")
    shutil.rmtree(spare / "flash" / "kept")
    with BoardOnLine(spare) as board:
        assert put(board, install.Wishes(restored=install_kept.read_back(str(backup)))) == 0
    kept = spare / "flash" / "kept"
    assert {name: Store(str(kept), name).load() for name in payloads} == payloads
    assert Store(str(kept), "login").load() is None and Store(str(kept), "wifi").load() is None


@pytest.mark.parametrize("name", ["settings", "learned", "counters", "probes"])
def test_a_damaged_backup_is_refused_whole(name, tmp_path):
    folder = tmp_path / "backup"
    payload = kept_folder(folder)[name]
    for slot in folder.glob("*.a"):
        slot.unlink()
    path = folder / (name + ".b")
    data = path.read_bytes()
    assert name in install_kept.read_back(str(folder))
    for at in (0, 8, 15, 16, len(data) - 1):
        path.write_bytes(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
        with pytest.raises(InputError, match=name + ".*nothing of it was used"):
            install_kept.read_back(str(folder))
    path.unlink()
    wrong = {"settings": b'{"cap_pct":99}', "learned": payload[:-1], "counters": payload + b"1"}
    Store(str(folder), name).save(wrong.get(name, b'{"cellar_c":"28"}'))
    with pytest.raises(InputError, match=name + ".*nothing of it was used"):
        install_kept.read_back(str(folder))


@pytest.mark.parametrize(
    "words, options",
    [
        ("found no port; name the board's", []),
        ("there is no such port; ", ["/dev/no-such-port"]),
        ("--backup: only reads the board", ["/dev/null", "--backup", "x", "--restore", "y"]),
        ("--thermometer: thermometer cellar_c: no such place", ["/dev/null", "--thermometer", "cellar_c=" + OUTDOOR]),
        ("outdoor_c: found '28'; give the 16 hex digits", ["/dev/null", "--thermometer", "outdoor_c=28"]),
        ("is given twice", ["/dev/null", "--thermometer", "glass_c=" + OUTDOOR, "--thermometer", "glass_c=" + OUTDOOR]),
        ("no such folder; give one that --backup wrote", ["/dev/null", "--restore", "no-such-folder"]),
        ("holds no backup", ["/dev/null", "--restore", "."]),
    ],
)
def test_what_makes_no_sense_is_one_line(words, options, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert cli.main(["install", *options]) == 2
    error = capsys.readouterr().err
    assert error.startswith("dewmargin: ") and words in error and error.count("\n") == 1


@pytest.mark.parametrize("key", ["short", "x" * 64, "kéy kéy kéy", "tab\ttab\ttab"])
def test_a_key_that_no_network_takes_is_refused_without_showing_it(key):
    with pytest.raises(InputError, match="allowed are 8 to 63 plain ones") as refusal:
        install_kept.check_network("net", key)
    assert key not in str(refusal.value)
    assert install_kept.check_network("net", "") == {"name": "net", "key": ""}
    with pytest.raises(InputError, match="a name of 33 bytes"):
        install_kept.check_network("n" * 33, "12345678")


def test_without_a_terminal_no_key_is_asked_for(monkeypatch):
    def no_terminal(_):
        raise EOFError

    monkeypatch.setattr(getpass, "getpass", no_terminal)
    with pytest.raises(InputError, match="here is no terminal"):
        install.ask_key("net")


class Told:
    """A link to a board that tells these facts."""

    port = "PORT"

    def __init__(self, facts: tuple):
        self.told = facts

    def facts(self) -> tuple:
        return self.told


GOOD = ("micropython", (1, 26, 0), "rp2", "A board with RP2350", 0x1F06, 400_000, 2_000_000, True)


@pytest.mark.parametrize(
    "at, value, words",
    [
        (1, (1, 25, 9), "allowed is MicroPython 1.26 or newer"),
        (0, "circuit", "allowed is MicroPython 1.26 or newer"),
        (2, "esp32", "allowed is a wireless board with RP2350 or RP2040"),
        (3, "A board with RP2040", "its memory holds the program only where that runs out of a ROM partition (none)"),
        (3, "A board with RP9999", "allowed is a wireless board with RP2350 or RP2040"),
        (4, 0x1F07, "takes compiled files of format 7, not 6: give --source"),
        (5, 319_999, "319999 bytes of memory free, 320000 needed"),
        (6, 100_000, "100000 bytes of flash free"),
        (7, False, "without wireless network"),
    ],
)
def test_a_board_that_cannot_run_it_is_refused(at, value, words):
    files = {"x.mpy": bytes(40_000)}
    install.check_board(Told(GOOD), install.BOARDS, files, False, "none")
    facts = GOOD[:at] + (value,) + GOOD[at + 1 :]
    with pytest.raises(InputError) as refusal:
        install.check_board(Told(facts), install.BOARDS, files, False, "none")
    assert words in str(refusal.value) and str(refusal.value).startswith("PORT: found ")
    if at == 4:
        install.check_board(Told(facts), install.BOARDS, {"x.py": b""}, False, "none")


def test_out_of_rom_less_memory_and_flash_will_do():
    small = GOOD[:3] + ("A board with RP2040", GOOD[4], 150_000, 70_000, True)
    files = {"x.mpy": bytes(40_000)}
    install.check_board(Told(small), install.BOARDS, files, True, "none")
    with pytest.raises(InputError, match="149999 bytes of memory free, 150000 needed"):
        install.check_board(Told(small[:5] + (149_999,) + small[6:]), install.BOARDS, files, True, "none")


def test_a_port_where_nothing_answers_is_given_up(tmp_path, monkeypatch):
    monkeypatch.setattr("dewsim.install_link.CONNECT_S", 0.3)
    with BoardOnLine(tmp_path, "real.sleep(60)") as board, pytest.raises(InputError, match="no MicroPython answers"):
        board.prompt.touch()  # so that Ctrl-C does nothing
        Link(board.port).connect()


def test_a_dry_run_needs_no_board(capsys):
    assert cli.main(["install", "--dry-run"]) == 0
    lines = capsys.readouterr().out.splitlines()
    files = build(False, lambda _: None)
    assert lines[-3:] == [
        f"{len(files)} files, {sum(map(len, files.values()))} bytes, for one of two folders",
        f"or an image of {len(image(files))} bytes for a ROM partition, where the board has one so large",
        "no board was asked",
    ]
    assert [line.split()[2] for line in lines[:-3]] == sorted(files)
    assert all(install_files.sha256(files[line.split()[2]]) == line.split()[0] for line in lines[:-3])
    assert cli.main(["install", "--dry-run", "--source"]) == 0
    assert " dewcore/valve.py\n" in capsys.readouterr().out


def test_a_number_is_written_as_main_reads_it(tmp_path):
    for number in (1, 9, 10, 99_999_999):
        assert number_of(number_text(number)) == number
        for length in range(9):
            assert number_of(number_text(number)[:length]) == -1
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "release").write_bytes(number_text(3))
    assert newest(tmp_path) == "b"


def test_the_package_file_names_just_the_trees_files():
    package = json.loads((ROOT / "package.json").read_text(encoding="utf-8"))
    wanted = [["lib/" + name, str(path.relative_to(ROOT))] for name, path in sources().items()]
    wanted.append(["main.py", "firmware/main.py"])
    assert package["urls"] == wanted, "package.json: allowed are these urls: " + json.dumps(wanted)
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    stated = re.search(r'^version = "(.*)"', text, re.MULTILINE)[1]
    assert {package["version"], stated, cli.VERSION} == {dewboard.VERSION}


def test_the_package_file_makes_a_board_that_starts(tmp_path):
    with BoardOnLine(tmp_path) as board:
        command = [sys.executable, "-m", "mpremote", "connect", board.port, "resume", "mip", "install", "--target", "."]
        done = subprocess.run([*command, "./package.json"], cwd=ROOT, capture_output=True, text=True, timeout=60)
        assert done.returncode == 0, done.stdout + done.stderr
        link = Link(board.port)
        link.connect()
        link.reset()
        assert link.listen(2.5) == ["dewmargin: press any key within 3 s to stop here"]
