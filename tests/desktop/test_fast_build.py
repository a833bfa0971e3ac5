"""The opt-in compiled build decides exactly as the pure source does, and is pure where there is no compiler."""

import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
WINTER = ROOT / "tests" / "reference" / "weather" / "723170TYA.CSV.gz"


def build(source: Path, target: Path, **environment: str) -> subprocess.CompletedProcess:
    """Install a copy of the project into `target` with the environment's own build tools."""
    left_out = shutil.ignore_patterns("tests", "build", "dewmargin-*", "*.egg-info", ".*")
    shutil.copytree(ROOT, source, ignore=left_out)
    command = [sys.executable, "-m", "pip", "install", "--no-deps", "--no-build-isolation", "--target", target, source]
    return subprocess.run(
        command, env=dict(os.environ, DEWMARGIN_FAST="1", **environment), capture_output=True, text=True, timeout=300
    )


def digest(path: str) -> list[str]:
    """[build, scans, digest] of a winter under the dewcore found on `path`."""
    script = ROOT / "tests" / "desktop" / "decisions_digest.py"
    environment = dict(os.environ, PYTHONPATH=path, PYTHONDONTWRITEBYTECODE="1")
    done = subprocess.run(
        [sys.executable, script, WINTER], env=environment, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


@pytest.fixture(scope="module")
def fast(tmp_path_factory):
    """The compiled build, made once; without a compiler this fails and says what to install."""
    folder = tmp_path_factory.mktemp("fast")
    done = build(folder / "source", folder / "site")
    assert done.returncode == 0, done.stderr
    if not list((folder / "site" / "dewcore").glob("controller.*.so")):
        pytest.fail("the compiled build came out pure: install gcc and the headers of this Python (python3-dev)")
    return folder / "site"


def test_every_decision_of_a_winter_is_equal_in_both_builds(fast):
    with ThreadPoolExecutor(2) as pool:
        pure, compiled = pool.map(digest, [f"{ROOT / 'shared'}{os.pathsep}{ROOT / 'sim'}", str(fast)])
    assert (pure[0], compiled[0]) == ("pure", "compiled")
    assert int(pure[1]) == 212 * 86400 // 20
    assert pure[1:] == compiled[1:]


def test_a_replay_ends_in_the_same_files_under_both_builds(fast, tmp_path):
    lines = ["time,outdoor_c"] + [f"2001-12-0{1 + h // 24}T{h % 24:02}:00:00Z,{-0.2 * h:.1f}" for h in range(73)]
    (tmp_path / "w.csv").write_text("\n".join(lines) + "\n")
    for name, path in (("pure", f"{ROOT / 'shared'}{os.pathsep}{ROOT / 'sim'}"), ("compiled", str(fast))):
        command = [sys.executable, "-m", "dewsim.cli", "replay", "default", "--weather", "w.csv", "--out", name]
        environment = dict(os.environ, PYTHONPATH=path, PYTHONDONTWRITEBYTECODE="1")
        done = subprocess.run(command, env=environment, cwd=tmp_path, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
    for file in ("result.json", "record.csv", "report.html", "season.svg"):
        assert (tmp_path / "pure" / file).read_bytes() == (tmp_path / "compiled" / file).read_bytes()


def test_the_version_says_which_build_is_loaded(fast):
    for path, word in ((str(fast), "compiled"), (f"{ROOT / 'shared'}{os.pathsep}{ROOT / 'sim'}", "pure Python")):
        done = subprocess.run(
            [sys.executable, "-m", "dewsim.cli", "--version"],
            env=dict(os.environ, PYTHONPATH=path),
            capture_output=True,
            text=True,
        )
        assert done.returncode == 0 and done.stdout.strip().endswith("decision: " + word)


def test_without_a_compiler_the_same_command_installs_pure_python(tmp_path):
    done = build(tmp_path / "source", tmp_path / "site", CC="/bin/false")
    assert done.returncode == 0, done.stderr
    assert not list((tmp_path / "site" / "dewcore").glob("*.so"))
    assert (tmp_path / "site" / "dewcore" / "controller.py").exists()
