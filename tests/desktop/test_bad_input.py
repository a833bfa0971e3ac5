"""Every malformed input through the real command line: one line, status 2, nothing written, nothing lost, in time."""

import contextlib
import errno
import gzip
import json
import os
import resource
import signal
import subprocess
import sys
import zlib
from pathlib import Path

import malformed
import malformed_desk
import pytest

from dewsim import files, replay, weather
from dewsim.cli import main
from dewsim.housefile import KEYS

ROOT = Path(__file__).resolve().parents[2]
FILES = ("result.json", "record.csv", "report.html", "season.svg")
LONGEST_S = 5.0
MOST_BYTES = 400_000_000  # of address space above what the tests hold already
WHAT_TO_DO = (
    "break the|complete the|convert it|correct|cut it|did you mean|get a|get it|get the|give|is enough"
    "|known are|leave it|lower|make it|move it|name a|raise|remove|rename|resample|save|sort|use a|use such|write it so"
    "|allow a"
).split("|")


@pytest.fixture
def work(tmp_path, monkeypatch):
    """A working folder with a good house and a good day of weather, alone in its parent."""
    folder = tmp_path / "work"
    folder.mkdir()
    (folder / "house.toml").write_text(malformed.GOOD_HOUSE)
    (folder / "ok.csv").write_text(malformed.own())
    monkeypatch.chdir(folder)
    return folder


def tree(folder):
    """All below folder: kind, size, time of change and content, to see afterwards that nothing was touched."""
    found = {}
    for path in sorted(folder.rglob("*")):
        about = path.lstat()
        content = zlib.crc32(path.read_bytes()) if path.is_file() and not path.is_symlink() else None
        found[str(path.relative_to(folder))] = (
            about.st_mode,
            about.st_size,
            about.st_mtime_ns * (not path.is_dir()),
            content,
        )
    return found


@contextlib.contextmanager
def bounded():
    """No longer than LONGEST_S of computing, no more than MOST_BYTES: beyond either the test fails.

    By the clock it may take longer, because a busy machine is no defect; waiting for a pipe's writer is one.
    """

    def late(*_):
        raise AssertionError(f"not done in {LONGEST_S} s")

    held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    limits = resource.getrlimit(resource.RLIMIT_AS)
    handlers = [(number, signal.getsignal(number)) for number in (signal.SIGALRM, signal.SIGPROF, signal.SIGTERM)]
    signal.signal(signal.SIGALRM, late)
    signal.signal(signal.SIGPROF, late)
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    signal.setitimer(signal.ITIMER_REAL, 20 * LONGEST_S)
    resource.setrlimit(resource.RLIMIT_AS, (held + MOST_BYTES, limits[1]))
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.setitimer(signal.ITIMER_PROF, 0)
        resource.setrlimit(resource.RLIMIT_AS, limits)
        for number, handler in handlers:
            signal.signal(number, handler)


def check_line(errors, words):
    """Exactly one printable line that begins with the program's name and says what to do."""
    assert errors.endswith("\n") and errors.count("\n") == 1, errors
    line = errors[:-1]
    assert line.startswith("dewmargin: ") and line.isprintable() and len(line) <= 1020, line
    for word in words:
        assert word in line, line
    assert any(word in line for word in WHAT_TO_DO), line


def refused(work, capsys, arguments, words):
    """main() refuses the arguments as it should, and leaves everything as it was."""
    before = tree(work.parent)
    with bounded():
        status = main(arguments)
    out, errors = capsys.readouterr()
    assert status == 2 and out == "", (status, out, errors)
    check_line(errors, words)
    assert tree(work.parent) == before


def put(path, content):
    content = content() if callable(content) else content
    path.write_bytes(content if isinstance(content, bytes) else content.encode())


def named(cases):
    return [pytest.param(*case[1:], id=case[0]) for case in cases]


@pytest.mark.parametrize("content, words", named(malformed.HOUSES))
def test_house_files(work, capsys, content, words):
    put(work / "house.toml", content)
    refused(work, capsys, ["replay", "house.toml", "--weather", "ok.csv", "--out", "out"], ("house.toml", *words))


@pytest.mark.parametrize("name, content, words", named(malformed.WEATHERS))
def test_weather_files(work, capsys, name, content, words):
    put(work / name, content)
    place = "" if name == "w" else name
    refused(work, capsys, ["replay", "house.toml", "--weather", name, "--out", "out"], (place, *words))


@pytest.mark.parametrize("prepare, arguments, words", named(malformed.LINES))
def test_command_lines(work, capsys, prepare, arguments, words):
    prepare(work)
    refused(work, capsys, arguments, words)


@pytest.mark.parametrize("arguments, words", named(malformed_desk.DESK))
def test_calculators(work, capsys, arguments, words):
    refused(work, capsys, arguments, words)


@pytest.mark.parametrize(
    "option, base", [pytest.param(*case, id=f"{case[1][0]} {case[0]}") for case in malformed_desk.absurd()]
)
def test_every_option_of_a_calculator_refuses_what_is_absurd(option, base, work, monkeypatch, capsys):
    monkeypatch.chdir(work)
    for value in malformed_desk.ABSURD:
        assert main([*base, f"{option}={value}"]) == 2, value
        out, errors = capsys.readouterr()
        assert out == ""
        check_line(errors, ())


@pytest.mark.parametrize("arguments, words", named(malformed.USAGE))
def test_wrong_usage(work, capsys, arguments, words):
    before = tree(work.parent)
    with bounded(), pytest.raises(SystemExit) as left:
        main(arguments)
    out, errors = capsys.readouterr()
    assert left.value.code == 2 and out == ""
    assert errors.startswith("dewmargin: ") and errors.count("\n") == 1 and len(errors) < 1100
    assert "--help` tells what is allowed" in errors
    for word in words:
        assert word in errors
    assert tree(work.parent) == before


def test_there_are_many_cases_and_no_name_twice():
    for cases in (malformed.HOUSES, malformed.WEATHERS, malformed.LINES, malformed.USAGE, malformed_desk.DESK):
        names = [case[0] for case in cases]
        assert len(set(names)) == len(names)
    assert len(malformed.HOUSES) + len(malformed.WEATHERS) + len(malformed.LINES) + len(malformed.USAGE) >= 120


@pytest.mark.parametrize("denied", ["house.toml", "ok.csv"])
def test_files_without_permission(work, capsys, monkeypatch, denied):
    """Root may read everything, so the system's answer to others is put in its place."""
    real = os.open

    def deny(path, flags, *rest):
        if path == denied or str(path) == denied:
            raise PermissionError(errno.EACCES, "Permission denied")
        return real(path, flags, *rest)

    monkeypatch.setattr(files.os, "open", deny)
    refused(work, capsys, malformed.REPLAY, (f"{denied}: cannot be read (Permission denied)", "give"))


def test_a_parent_without_permission(work, capsys, monkeypatch):
    def deny(*_, **__):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(replay.tempfile, "mkdtemp", deny)
    refused(work, capsys, [*malformed.OUT, "out"], ("--out out: cannot be written (Permission denied)",))


def test_an_earlier_replay_that_may_not_be_removed_is_left_as_it_is(work, capsys, monkeypatch):
    """A folder may be renamed by whoever may write its parent, but only its own permission lets it be emptied."""
    assert main([*malformed.OUT, "out"]) == 0
    capsys.readouterr()
    real = os.access
    monkeypatch.setattr(replay.os, "access", lambda path, mode: Path(path).name != "out" and real(path, mode))
    refused(work, capsys, [*malformed.OUT, "out"], ("--out out: cannot be written (Permission denied)",))


def test_an_earlier_replay_that_cannot_be_removed_is_told(work, capsys, monkeypatch):
    assert main([*malformed.OUT, "out"]) == 0
    capsys.readouterr()
    real = replay.shutil.rmtree

    def fail(path, **options):
        if str(path).endswith("-old"):
            raise OSError(errno.EIO, "Input/output error")
        real(path, **options)

    monkeypatch.setattr(replay.shutil, "rmtree", fail)
    assert main([*malformed.OUT, "out"]) == 2
    check_line(capsys.readouterr().err, ("out: is written", "-old (Input/output error)", "remove that folder"))
    assert (work / "out" / "report.html").is_file() and len(list(work.glob(".out-*-old"))) == 1


def test_the_current_folder_and_those_above_it_are_not_replaced_even_when_empty(work, capsys, monkeypatch):
    (work / "a" / "b").mkdir(parents=True)
    monkeypatch.chdir(work / "a" / "b")
    arguments = ["replay", str(work / "house.toml"), "--weather", str(work / "ok.csv"), "--out"]
    refused(work, capsys, [*arguments, "."], ("--out .", "found the current folder", "name a new folder inside"))


# --- the same in processes of their own


def process(work, *arguments, **options):
    environment = dict(os.environ, PYTHONPATH=f"{ROOT / 'shared'}{os.pathsep}{ROOT / 'sim'}")
    line = [sys.executable, "-m", "dewsim.cli", *arguments]
    environment.update(options.pop("environment", {}))
    return subprocess.run(line, capture_output=True, env=environment, cwd=work, timeout=60, **options)


PROCESSES = [
    ("house", malformed.HOUSES, "50 MB"),
    ("house", malformed.HOUSES, "deep lists over lines"),
    ("house", malformed.HOUSES, "UTF-16"),
    ("weather", malformed.WEATHERS, "packed bomb"),
    ("weather", malformed.WEATHERS, "10 million lines"),
    ("line", malformed.LINES, "house is a pipe"),
    ("line", malformed.LINES, "weather is a pipe"),
    ("line", malformed.LINES, "house without end"),
    ("line", malformed.LINES, "house not UTF-8"),
    ("line", malformed.LINES, "out holds the house"),
    ("line", malformed.LINES, "out is empty"),
]


@pytest.mark.parametrize("kind, cases, name", [pytest.param(*case, id=case[2]) for case in PROCESSES])
def test_in_a_process_of_its_own(work, kind, cases, name):
    case = next(case for case in cases if case[0] == name)
    arguments = [*malformed.REPLAY, "--out", "out"]
    if kind == "house":
        put(work / "house.toml", case[1])
    elif kind == "weather":
        put(work / case[1], case[2])
        arguments[3] = case[1]
    else:
        case[1](work)
        arguments = case[2]
    before = tree(work.parent)
    done = process(work, *arguments)
    assert done.returncode == 2 and done.stdout == b""
    check_line(done.stderr.decode(), case[-1])
    assert tree(work.parent) == before


def test_a_full_disk_is_one_line_and_leaves_nothing(work):
    before = tree(work.parent)

    def limit():
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    done = process(work, *malformed.OUT, "out", preexec_fn=limit, environment={"PYTHONDONTWRITEBYTECODE": "1"})
    assert done.returncode == 2 and done.stdout == b""
    check_line(done.stderr.decode(), ("--out out: cannot be written (File too large)",))
    assert tree(work.parent) == before


# --- fine, and accepted


def accepted(work, capsys, *arguments):
    """The result and the report of a replay that is accepted, nothing but the folder written."""
    before = tree(work.parent)
    with bounded():
        status = main([*arguments, "--out", "out"])
    out, errors = capsys.readouterr()
    assert (status, errors) == (0, ""), errors
    assert "report: out/report.html" in out
    after = tree(work.parent)
    assert {name: after[name] for name in before if name != "work"} == {n: v for n, v in before.items() if n != "work"}
    names = {name for name in after if name not in before}
    assert names == {"work/out"} | {f"work/out/{name}" for name in FILES}
    result, page = ((work / "out" / name).read_text("utf-8") for name in ("result.json", "report.html"))
    return json.loads(result, parse_constant=not_json), page


def not_json(text):
    raise AssertionError(f"{text} is no JSON")


ROWS = malformed.ROWS
LEAP = [f"2024-02-{28 + h // 24}T{h % 24:02}:00:00Z,-1" for h in range(48)] + ["2024-03-01T00:00:00Z,-1"]
QUARTERS = [f"2025-01-{1 + q // 96:02}T{q % 96 // 4:02}:{q % 4 * 15:02}:00Z,-1" for q in range(97)]
FINE = [
    ("leap day", "w.csv", malformed.own(LEAP, "time,outdoor_c"), ("no rh_pct in the file: 85 %", "times are in UTC")),
    ("CRLF", "w.csv", malformed.own().replace("\n", "\r\n"), ()),
    ("CR", "w.csv", malformed.own().replace("\n", "\r"), ()),
    ("byte-order mark", "w.csv", malformed.BOM + malformed.own().encode(), ()),
    ("gap of one hour", "w.csv", malformed.own(malformed.ROWS[:9] + malformed.ROWS[10:]),
     ("1 missing rows interpolated, the first before line 11",)),
    ("one missing value", "w.csv", malformed.cell(2, ""), ("1 missing values of rh_pct interpolated",)),
    ("humidity of 104 %", "w.csv", malformed.cell(2, "104"), ("1 values of rh_pct above 100 % taken as 100 %",)),
    ("blank lines at the end", "w.csv", malformed.own() + "\n\n  \r\n", ()),
    ("no line end at the end", "w.csv", malformed.own().rstrip("\n"), ()),
    ("quarter hours", "w.csv", malformed.own(QUARTERS, "time,outdoor_c"), ("no wind_m_s in the file: 4 m/s",)),
    ("outdoor temperature alone", "w.csv", malformed.own([",".join(r.split(",")[:2]) for r in ROWS],
     "time,outdoor_c"), ("no pressure_pa in the file: 101325 Pa",)),
    ("columns in another order", "w.csv", malformed.own([",".join(r.split(",")[::-1]) for r in ROWS],
     ",".join(malformed.HEAD.split(",")[::-1])), ()),
    ("spaces around fields", "w.csv", malformed.own().replace(",", " , "), ()),
    ("packed", "w.csv.gz", gzip.compress(malformed.own().encode()), ()),
    ("packed in two parts", "w.csv.gz", gzip.compress(malformed.own().encode()[:300]) + gzip.compress(
     malformed.own().encode()[300:]), ()),
    ("capitals in the name", "W.CSV", malformed.own(), ()),
    ("summer time", "w.csv", malformed.own([row.replace("T02:00:00+01:00", "T03:00:00+02:00") for row in ROWS]),
     ("times of several zones",)),
    ("coldest, driest, stillest", "w.csv", malformed.own([r.split(",")[0] + ",-70,0,0,31000" for r in ROWS]),
     ("25 values of rh_pct below 1 % taken as 1 %",)),
    ("hottest, wettest, windiest", "w.csv", malformed.own([r.split(",")[0] + ",60,100,60,31000" for r in ROWS]),
     ()),
]  # fmt: skip


@pytest.mark.parametrize("name, content, notes", named(FINE))
def test_fine_weather_files(work, capsys, name, content, notes):
    put(work / name, content)
    result, page = accepted(work, capsys, "replay", "house.toml", "--weather", name)
    if not notes:
        assert result["weather"]["notes"] == []
    for note in notes:
        assert any(note in said for said in result["weather"]["notes"]), result["weather"]["notes"]
        assert note[0].upper() + note[1:] in page


FINE_HOUSES = [
    ("comments", '# mine\nname = "Bad Input"  # so called\n\n[house]  # all of it\nvolume_m3 = 300 # m3\n'),
    ("CRLF", malformed.GOOD_HOUSE.replace("\n", "\r\n")),
    ("byte-order mark", malformed.BOM + malformed.GOOD_HOUSE.encode()),
    ("blank lines at the end", malformed.GOOD_HOUSE + "\n\n\n"),
    ("no line end at the end", malformed.GOOD_HOUSE.rstrip("\n")),
    ("dotted", 'name = "Bad Input"\nhouse.volume_m3 = 300\n'),
    ("digits in groups", 'name = "Bad Input"\n[house]\nvolume_m3 = 3_00.0\n'),
    ("settings", malformed.GOOD_HOUSE + "[settings]\nplain_margin_k = 8\nmin_on_s = 180.0\n"),
]


@pytest.mark.parametrize("content", [pytest.param(case[1], id=case[0]) for case in FINE_HOUSES])
def test_fine_house_files(work, capsys, content):
    expected, _ = accepted(work, capsys, *malformed.REPLAY)
    put(work / "house.toml", content)
    (work / "out").rename(work.parent / "first")
    found, _ = accepted(work, capsys, *malformed.REPLAY)
    assert found == expected and found["house"] == "Bad Input"


@pytest.mark.parametrize("end", [0, 1])
def test_a_house_of_only_lowest_or_highest_numbers_is_replayed(work, capsys, end):
    house = {"glass": {}, "house": {}}
    for key in KEYS:
        if key.kind in ("int", "float"):
            house.setdefault(key.section, {})[key.name] = (key.lo, key.hi)[end]
    house["heating"]["supply_c"] = max(house["heating"]["supply_c"], house["house"]["indoor_c"] + 3.0)
    house["glass"]["f_day"] = house["glass"]["f_night"] = (0.36, 0.67)[end]  # f_error is -0.3 and 0.3 here
    lines = []
    for section, values in house.items():
        lines += [f"[{section}]", *(f"{name} = {value}" for name, value in values.items())]
    put(work / "house.toml", "\n".join(lines))
    accepted(work, capsys, *malformed.REPLAY)


def test_a_room_so_moist_that_its_glass_is_always_wet_gives_a_valid_result(work, capsys):
    put(work / "house.toml", "[room]\ncolder_k = 10\nexcess_g_kg = 5\n")
    put(work / "ok.csv", malformed.own([row.split(",")[0] + ",-40,80,3,95000" for row in ROWS]))
    result, page = accepted(work, capsys, *malformed.REPLAY)
    assert result["headroom_class"] == "foggy" and "headroom_ratio" not in result
    assert "fog by themselves" in page


def test_air_without_vapour_over_a_house_without_moisture_is_replayed(work, capsys):
    put(work / "house.toml", "[gains]\npeople = 0\nbursts = false\n[humidifier]\ncondition = 0\n")
    put(work / "ok.csv", malformed.own([row.replace(",80,", ",0,") for row in ROWS]))
    result, _ = accepted(work, capsys, *malformed.REPLAY)
    assert 0.0 < result["policies"]["plain"]["mean_rh_pct"] < 1.0


@pytest.mark.parametrize("rows", [range(1, 27), range(1, 28)], ids=["an EPW", "an EPW of 27 hours"])
@pytest.mark.parametrize("columns", [32, 35])
def test_fine_epw(tmp_path, rows, columns):
    path = tmp_path / "w.epw"
    put(path, malformed.epw([malformed.epw_row(hour, columns) for hour in rows]) + "\r\n\r\n")
    assert len(weather.read(path).outdoor_c) == len(rows)


def test_a_site_south_of_the_equator_is_noted(tmp_path):
    put(tmp_path / "w.epw", malformed.epw(site=malformed.SITE.replace("50.0", "-33.9")))
    put(tmp_path / "w.csv", malformed.tmy(site=malformed.TMY_SITE.replace("50.0", "-33.9")))
    for name in ("w.epw", "w.csv"):
        assert any("south of the equator" in note for note in weather.read(tmp_path / name).notes)
    put(tmp_path / "w.epw", malformed.epw())
    assert weather.read(tmp_path / "w.epw").notes == []


def test_links_to_an_earlier_replay_or_to_nothing_are_followed(work, capsys):
    os.symlink("real", work / "out")
    for _ in range(2):
        assert main([*malformed.OUT, "out"]) == 0
        assert (work / "out").is_symlink() and (work / "real" / "report.html").is_file()
    capsys.readouterr()
    assert sorted(path.name for path in work.iterdir()) == ["house.toml", "ok.csv", "out", "real"]


def test_an_empty_folder_is_filled_and_names_that_are_not_utf_8_are_shown_as_escapes(work, capsys):
    name = "caf\udce9.csv"
    (work / "ok.csv").rename(work / name)
    (work / "out").mkdir()
    assert main(["replay", "default", "--weather", name, "--out", "out"]) == 0
    assert json.loads((work / "out" / "result.json").read_text("utf-8"))["weather"]["name"] == "caf\\udce9.csv"


def test_a_name_that_the_terminal_cannot_show_does_not_end_the_run(work):
    put(work / "house.toml", 'name = "Caf\u00e9 \u65e5"\n')
    done = process(work, *malformed.OUT, "out", environment={"PYTHONIOENCODING": "ascii:strict"})
    assert done.returncode == 0 and b"Caf\\xe9 \\u65e5: " in done.stdout and done.stderr == b""


def test_a_rename_that_fails_puts_the_earlier_replay_back(work, capsys, monkeypatch):
    assert main([*malformed.OUT, "out"]) == 0
    capsys.readouterr()
    before = tree(work.parent)
    real, calls = Path.rename, []

    def fail_once(self, target):
        calls.append(target)
        if len(calls) == 2:
            raise OSError(errno.EIO, "Input/output error")
        return real(self, target)

    monkeypatch.setattr(Path, "rename", fail_once)
    assert main([*malformed.OUT, "out"]) == 2
    check_line(capsys.readouterr().err, ("--out out: cannot be written (Input/output error)",))
    assert len(calls) == 3 and tree(work.parent) == before


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["repaly"], "did you mean replay?"),
        (["replay", "h.toml", "--wether", "hard:3"], "did you mean --weather?; `dewmargin replay --help`"),
        (["replay", "default", "--weather", "hard"], "write hard:3"),
    ],
)
def test_a_misspelt_word_is_answered_with_what_it_may_have_meant(capsys, monkeypatch, tmp_path, words, told):
    monkeypatch.chdir(tmp_path)
    try:
        status = main(words)
    except SystemExit as stop:
        status = stop.code
    errors = capsys.readouterr().err
    assert status == 2 and errors.count("\n") == 1 and told in errors
