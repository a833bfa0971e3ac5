"""Plants each mistake of mistakes.py in a copy of the project and finds a test that catches it.

Usage: run.py [--near] [NAME or beginning of a name ...].  The checkout is never touched.  tests/both (for
dewcore) or tests/board (all there is for firmware) and the files named for a group run first, then all others, which
--near leaves out; each mistake ends with the first test that fails.  Without names the unchanged copy has to pass too.
Exit status: 0 all caught, 1 one missed or a test fails by itself, 2 no such name or a text that no longer stands in its
file exactly once.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue

from mistakes import MISTAKES

ROOT = Path(__file__).resolve().parents[2]
WORKERS = 2
TIMEOUT_S = 900
PARTS = ("shared", "firmware", "sim", "tests", "vendor", "hw_docs")
PARTS += ("pyproject.toml", "README.md", "LICENSE", "setup.py")
# What looks at files, builds and the runners instead of at what the program does.
NOT_BEHAVIOUR = (
    "test_dewcore_tree.py",
    "test_documents.py",
    "test_fast_build.py",
    "test_planted.py",
    "test_run_both.py",
)
LIKELY = {  # group: test files that look at it closest, without test_ and .py
    "readings": ("judge", "interlocks"),
    "permit": ("interlocks",),
    "controller": ("controller", "ahead"),
    "outlook": ("outlook", "ahead"),
    "house": ("house", "learning", "doubts"),
    "outdoors": ("outdoors", "doubts"),
    "doubts": ("doubts_fit", "doubts_sensors", "doubts_course", "doubts"),
    "judge": ("judge", "doubts"),
    "window_test": ("window_test", "ahead"),
    "plant": ("plant", "plant_reference"),
    "policies": ("policies",),
    "metrics": ("metrics",),
    "weather": ("weather", "weather_readers"),
    "winters": ("winters",),
    "storage": ("store", "app"),
    "drivers": ("contacts", "humidity", "thermometers"),
    "app": ("app", "release"),
    "lease": ("relay", "benchshim"),
    "login": ("login", "page"),
    "link": ("homie",),
    "page": ("guard", "page"),
}


def chosen(names: list) -> list:
    """The rows whose names begin with one of `names`, all without any; ValueError where one fits none."""
    for name in names:
        if not any(row[0].startswith(name) for row in MISTAKES):
            raise ValueError(f"{name}: no mistake's name begins so")
    return [row for row in MISTAKES if not names or row[0].startswith(tuple(names))]


def planted(row: tuple, root: Path) -> str:
    """The file's text with the mistake in it; ValueError where the old text is not there exactly once."""
    name, file, old, new, _ = row
    text = (root / file).read_text(encoding="utf-8")
    count = text.count(old)
    if count != 1:
        raise ValueError(f"{name}: its text stands {count} times in {file}; it must once: write the row anew")
    return text.replace(old, new)


def copy_project(folder: Path) -> None:
    ignored = shutil.ignore_patterns("__pycache__", "*.egg-info", ".*")
    for part in PARTS:
        source = ROOT / part
        if source.is_dir():
            shutil.copytree(source, folder / part, ignore=ignored)
        else:
            shutil.copy(source, folder / part)


def stages(group: str, file: str, folder: Path, is_near: bool) -> list:
    """(command, folders on the path) one after the other, the likeliest first."""
    likely = LIKELY.get(group, (group,))
    found = []
    if file.startswith("firmware"):
        return board_stages(likely, folder, is_near)
    if file.startswith("shared"):
        names = sorted(path.stem for path in (folder / "tests" / "both").glob("test_*.py"))
        names.sort(key=lambda name: name[5:] not in likely)
        found.append(([sys.executable, "-m", "unittest", "-f", *names], ["shared", "tests/both"]))
    paths = []
    for part in ("desktop", "reference"):
        paths += sorted(path for path in (folder / "tests" / part).glob("test_*.py") if path.name not in NOT_BEHAVIOUR)
    pytest = [sys.executable, "-m", "pytest", "-x", "-q", "--tb=no", "-p", "no:cacheprovider"]
    for near in (True,) if is_near else (True, False):
        files = [str(path.relative_to(folder)) for path in paths if (path.stem[5:] in likely) == near]
        if files:
            found.append((pytest + files, []))
    return found


def board_stages(likely: tuple, folder: Path, is_near: bool) -> list:
    """The same for the board's program: its own tests alone, on this Python."""
    names = sorted(path.stem for path in (folder / "tests" / "board").glob("test_*.py"))
    paths = ["shared", "firmware", "sim", "tests/board", "vendor/microdot"]
    found = []
    for near in (True,) if is_near else (True, False):
        some = [name for name in names if (name[5:] in likely) == near]
        found.append(([sys.executable, "-m", "unittest", "-f", *some], paths))
    return found


def first_failure(command: list, path: list, folder: Path) -> str:
    """Name of the first test that fails, '' where all pass."""
    environment = dict(os.environ, PYTHONDONTWRITEBYTECODE="1")
    environment["PYTHONPATH"] = os.pathsep.join(str(folder / part) for part in path)
    try:
        done = subprocess.run(
            command, cwd=folder, env=environment, capture_output=True, text=True, timeout=TIMEOUT_S
        )
    except subprocess.TimeoutExpired:
        return f"no end after {TIMEOUT_S} s"
    if done.returncode == 0:
        return ""
    text = done.stdout + done.stderr
    named = re.search(r"^(?:FAIL|ERROR): \w+ \((\S+)\)|^(?:FAILED|ERROR) (\S+)", text, re.MULTILINE)
    if not named:
        raise RuntimeError(f"{' '.join(command)}: ended with {done.returncode}\n{text}")
    return named[1] or named[2]


def judge(row: tuple, copies: Queue, is_near: bool) -> tuple:
    """(name, the test that caught it or '', seconds) of one mistake in one of the copies."""
    name, file = row[0], row[1]
    folder = copies.get()
    began = time.monotonic()
    caught = original = ""
    try:
        if file:
            original = (folder / file).read_text(encoding="utf-8")
            (folder / file).write_text(planted(row, folder), encoding="utf-8")
        for command, path in stages(name.split("-")[0], file or "shared", folder, is_near):
            caught = first_failure(command, path, folder)
            if caught:
                break
    finally:
        if original:
            (folder / file).write_text(original, encoding="utf-8")
        copies.put(folder)
    print(f"{name}: {caught or 'nothing fails'}", file=sys.stderr, flush=True)
    return name, caught, time.monotonic() - began


def main(arguments: list) -> int:
    names = [name for name in arguments if name != "--near"]
    is_near = len(names) < len(arguments)
    try:
        rows = chosen(names)
        for row in rows:
            planted(row, ROOT)
    except ValueError as error:
        print(f"planted: {error}", file=sys.stderr)
        return 2
    if not names:
        rows = [("unchanged", "", "", "", "")] + rows
    copies = Queue()
    with tempfile.TemporaryDirectory() as scratch, ThreadPoolExecutor(WORKERS) as pool:
        for n in range(WORKERS):
            folder = Path(scratch, str(n))
            folder.mkdir()
            copy_project(folder)
            copies.put(folder)
        results = list(pool.map(lambda row: judge(row, copies, is_near), rows))
    wide = max(len(name) for name, _, _ in results)
    for name, caught, seconds in results:
        print(f"{name:{wide}}  {caught or '-':70}  {seconds:6.1f} s")
    good = not any(name == "unchanged" and caught for name, caught, _ in results)
    if not good:
        print("planted: a test fails without any mistake, so nothing is shown")
    missed = [name for name, caught, _ in results if not caught and name != "unchanged"]
    print(f"{len(rows) - (not names)} mistakes, {len(missed)} missed: {', '.join(missed) or 'none'}")
    return 0 if good and not missed else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
