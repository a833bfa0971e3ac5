"""The runner of tests/both is tested itself: planted failures fail it, and single precision is single."""

import importlib.util
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
RUNNER = ROOT / "tests" / "run_both.py"

GOOD = """
import unittest

class TestGood(unittest.TestCase):
    def test_good(self):
        self.assertEqual(1 + 1, 2)
"""
FAILING = GOOD.replace("1 + 1", "1 + 2")
EMPTY = "import unittest\n"
BROKEN = "import no_such_module\n"
SKIPPED = GOOD.replace("    def test_good", "    @unittest.skip('why not')\n    def test_good")
ONLY_MICROPYTHON_FAILS = """
import sys
import unittest

class TestImplementation(unittest.TestCase):
    def test_it(self):
        self.assertEqual(sys.implementation.name, "cpython")
"""
ONLY_SINGLE_FAILS = GOOD.replace("self.assertEqual(1 + 1, 2)", "self.assertTrue(1.0 + 1e-9 > 1.0)")
OTHER_COUNT = """
import sys
import unittest

class TestCount(unittest.TestCase):
    def test_one(self):
        self.assertTrue(True)

if sys.implementation.name == "micropython":
    class TestMore(TestCount):
        def test_two(self):
            self.assertTrue(True)
"""
SET_UP_FAILS = GOOD.replace(
    "    def test_good", "    def setUp(self):\n        raise ValueError('x')\n\n    def test_good"
)


def run(folder: Path, files: dict, environment: dict | None = None) -> subprocess.CompletedProcess:
    """The runner on a folder of planted files."""
    for name, text in files.items():
        (folder / name).write_text(text)
    return subprocess.run(
        [sys.executable, str(RUNNER), str(folder)],
        capture_output=True,
        text=True,
        timeout=120,
        env=dict(os.environ, **(environment or {})),
    )


def test_good_files_pass_and_are_counted(tmp_path):
    done = run(tmp_path, {"test_a.py": GOOD, "test_b.py": GOOD, "helper.py": BROKEN})
    assert done.returncode == 0, done.stdout + done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) == 5
    assert all("2 tests in 2 of 2 files" in line for line in lines[:3])
    assert lines[0].startswith("CPython 3.")
    assert "MicroPython" in lines[1]
    assert "single precision" in lines[2]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (FAILING, "failed"),
        (EMPTY, "ran no test"),
        (BROKEN, "did not run to its end"),
        (SKIPPED, "skipped a test"),
        (OTHER_COUNT, "ran 3 tests here, 1 on the first interpreter"),
        (SET_UP_FAILS, "test_bad on CPython"),
        (SET_UP_FAILS, "test_bad on MicroPython"),
        ("import sys\nsys.exit(0)\n", "did not run to its end"),
        ("not python", "test_bad on MicroPython"),
    ],
)
def test_a_planted_bad_file_fails_the_run_and_is_named(tmp_path, text, words):
    done = run(tmp_path, {"test_good.py": GOOD, "test_bad.py": text})
    assert done.returncode == 1
    assert "test_bad" in done.stdout
    assert words in done.stdout
    assert "test_good on" not in done.stdout


def test_a_failure_on_micropython_alone_fails_the_run(tmp_path):
    done = run(tmp_path, {"test_bad.py": ONLY_MICROPYTHON_FAILS})
    assert done.returncode == 1
    assert "test_bad on MicroPython" in done.stdout
    assert "test_bad on CPython" not in done.stdout


def test_a_failure_in_single_precision_alone_fails_the_run(tmp_path):
    done = run(tmp_path, {"test_bad.py": ONLY_SINGLE_FAILS})
    assert done.returncode == 1
    assert "single precision: failed" in done.stdout


@pytest.mark.parametrize(("name", "status"), [("test_a", 0), ("test_a.py", 0), ("test_c.py", 1)])
def test_a_file_runs_alone_with_its_ending_and_without(tmp_path, name, status):
    run_both = load("run_both")
    (tmp_path / "test_a.py").write_text(GOOD)
    (tmp_path / "test_b.py").write_text(GOOD)
    ran = []

    def command(name):
        ran.append(name)
        return [sys.executable, "-c", "print('Ran 1 test')"]

    assert run_both.run_all(tmp_path, [("any", command, dict(os.environ))], [name]) is (status == 0)
    assert ran == ["test_a"] * (status == 0)


def test_no_file_at_all_fails_the_run(tmp_path):
    assert run(tmp_path, {"helper.py": GOOD}).returncode == 1


def test_a_missing_interpreter_is_one_clear_line_and_status_2(tmp_path):
    done = run(tmp_path, {"test_a.py": GOOD}, {"DEWMARGIN_MICROPYTHON": str(tmp_path / "nowhere")})
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "install" in done.stderr


def test_an_interpreter_that_is_no_micropython_fails_the_run(tmp_path):
    false = tmp_path / "false"
    false.write_text("#!/bin/sh\necho OK\n")
    false.chmod(false.stat().st_mode | stat.S_IXUSR)
    done = run(tmp_path, {"test_a.py": GOOD}, {"DEWMARGIN_MICROPYTHON": str(false)})
    assert done.returncode == 1
    assert "no MicroPython" in done.stdout


def load(name: str):
    """A module of the tests folder by its file."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / (name + ".py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_interpreter_is_looked_for_in_order(tmp_path):
    find = load("run_both").find_micropython
    beside = tmp_path / "bin"
    elsewhere = tmp_path / "elsewhere"
    for folder in (beside, elsewhere):
        folder.mkdir()
        (folder / "micropython").write_text("#!/bin/sh\n")
        (folder / "micropython").chmod(0o755)
    named = str(elsewhere / "micropython")
    assert find({"DEWMARGIN_MICROPYTHON": named}, str(beside / "python")) == named
    assert find({"PATH": str(elsewhere)}, str(beside / "python")) == str(beside / "micropython")
    assert find({"PATH": str(elsewhere)}, str(tmp_path / "python")) == named
    assert find({"PATH": str(tmp_path)}, str(tmp_path / "python")) is None


def evaluate(text: str) -> dict:
    """The names that a source text defines once its floats are single."""
    import ast

    both_single = load("both_single")
    names = {"_single": both_single.single}
    for name, function in both_single.OPERATORS.values():
        names[name] = both_single._rounded(function)
    tree = ast.fix_missing_locations(both_single.Rounder().visit(ast.parse(text)))
    exec(compile(tree, "planted", "exec"), names)
    return names


def test_single_rounds_constants_operations_and_calls():
    names = evaluate(
        "from math import exp\n"
        "a = 0.1\nb = 1 / 3\nc = exp(1.0)\nd = 16777216.0 + 1.0\ne = [1.0]\ne[0] += 1e-9\n"
        "f = 16777217 * 1.0\ng = 16777217 + 1\nh = 1e30 * 1e30\ni = 'x' + 'y'\n"
        "j = 2.0 ** 0.5\nk = 7.5 % 2 - 7.5 // 2\n"
        "l = -1e30 * 1e30\nm = float('1.1')\n"
    )
    # nearest binary32 values by their bits: 0x3DCCCCCD, 0x3EAAAAAB, 0x402DF854, 0x3FB504F3, 0x3F8CCCCD
    assert names["a"] == 0x0CCCCCD * 2.0**-27
    assert names["b"] == 0x0AAAAAB * 2.0**-25
    assert names["c"] == 0x0ADF854 * 2.0**-22
    assert names["d"] == 16777216.0
    assert names["e"] == [1.0]
    assert names["f"] == 16777216.0
    assert names["g"] == 16777218
    assert names["h"] == float("inf")
    assert names["i"] == "xy"
    assert names["j"] == 0x0B504F3 * 2.0**-23
    assert names["k"] == 1.5 - 3.0
    assert names["l"] == float("-inf")
    assert names["m"] == 0x08CCCCD * 2.0**-23
