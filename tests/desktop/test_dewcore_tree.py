"""What the shared source may import, that each setting is used and explained, what the wheel holds."""

import ast
import subprocess
import sys
import tomllib
import zipfile
from importlib import metadata
from pathlib import Path

import pytest

from dewcore.settings import TABLE

ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "shared" / "dewcore"
BOARD = ROOT / "firmware" / "dewboard"
SHIM = ROOT / "firmware" / "benchshim"
SIM = ROOT / "sim" / "dewsim"
CORE_FILES = sorted(CORE.rglob("*.py"))
SIM_FILES = sorted(SIM.rglob("*.py"))
BOARD_FILES = sorted((ROOT / "firmware").rglob("*.py"))
ALLOWED = {"dewcore", "math", "array", "struct"}


def imported(path: Path) -> set:
    """Top-level packages that a file imports anywhere in it."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add("." if node.level else node.module.split(".")[0])
    return names


def test_there_is_something_to_look_at():
    assert len(CORE_FILES) >= 14
    assert len(SIM_FILES) >= 3


@pytest.mark.parametrize("path", CORE_FILES, ids=lambda path: path.stem)
def test_dewcore_imports_itself_and_plain_arithmetic_only(path):
    assert imported(path) <= ALLOWED


@pytest.mark.parametrize("path", CORE_FILES, ids=lambda path: path.stem)
def test_dewcore_has_none_of_what_a_board_cannot_do(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        assert not isinstance(
            node, (ast.JoinedStr, ast.Lambda, ast.Global, ast.Nonlocal, ast.AsyncFunctionDef)
        )
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            assert node.decorator_list == []
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in {"round", "open", "print", "eval", "exec", "input", "__import__"}
        if isinstance(node, ast.ClassDef) and not node.bases:
            assert any(
                isinstance(part, ast.Assign) and getattr(part.targets[0], "id", "") == "__slots__"
                for part in node.body
            ), node.name


@pytest.mark.parametrize(
    "path", CORE_FILES + BOARD_FILES + SIM_FILES, ids=lambda path: path.parent.name + "." + path.stem
)
def test_every_file_says_why_it_exists_and_its_functions_fit_a_screen(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree)
    for node in ast.walk(tree):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)) and node.name != "__init__":
            assert node.end_lineno - node.lineno < 40, node.name


def attributes_read(paths: list) -> set:
    """Names of all attributes that these files read."""
    names = set()
    for path in paths:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load):
                names.add(node.attr)
    return names


def test_every_setting_is_read_by_something():
    readers = [path for path in CORE_FILES if not path.stem.startswith("settings")]
    unread = {row[0] for row in TABLE} - attributes_read(readers + SIM_FILES)
    assert unread == set()


def folders_with_files() -> set:
    """Package names of every folder of the tree that the wheel has to hold."""
    found = set()
    for top in (CORE, BOARD, SHIM, SIM):
        for path in top.rglob("*.py"):
            found.add(".".join(path.parent.relative_to(top.parent).parts))
    return found


def test_the_wheels_packages_are_the_trees():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    carried = {name for name in project["packages"] if name.startswith("dewsim.vendor.")} | {"dewsim.firmware"}
    own = set(project["packages"]) - carried
    assert own == folders_with_files()
    for name, folder in project["package-dir"].items():
        assert (ROOT / folder).is_dir(), name
    assert set(project["package-dir"]) == set(project["packages"])


def modern_setuptools() -> bool:
    """Whether this environment can build the project by itself, without a network."""
    try:
        return int(metadata.version("setuptools").split(".")[0]) >= 77
    except metadata.PackageNotFoundError:
        return False


def test_the_wheel_holds_every_file_of_the_tree(tmp_path):
    source = tmp_path / "source"
    source.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        (source / name).write_bytes((ROOT / name).read_bytes())
    wanted = {}
    for top in ("shared", "firmware", "sim", "vendor"):
        for path in (ROOT / top).rglob("*"):
            inside = path.relative_to(ROOT)
            hidden = any(part.startswith(".") for part in inside.parts)  # caches of checkers
            if path.is_file() and not hidden and "__pycache__" not in inside.parts and ".egg-info" not in str(inside):
                target = source / inside
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(path.read_bytes())
                if top == "vendor":
                    if inside.parts[1] in ("microdot", "uplot"):
                        wanted["dewsim/" + str(inside)] = target
                elif inside.parent == Path("firmware"):
                    wanted["dewsim/" + str(inside)] = target  # main.py, for the board only
                else:
                    wanted["/".join(inside.parts[1:])] = target
    isolation = ["--no-build-isolation"] if modern_setuptools() else []
    command = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "--quiet",
        "--no-deps",
        *isolation,
        "-w",
        str(tmp_path),
        str(source),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        held = {name: archive.read(name) for name in archive.namelist() if ".dist-info/" not in name}
        points = [name for name in archive.namelist() if name.endswith("entry_points.txt")]
        assert b"dewmargin = dewsim.cli:main" in archive.read(points[0])
    assert set(held) == set(wanted)
    for name, path in wanted.items():  # the copy: the tree may change meanwhile
        assert held[name] == path.read_bytes(), name
