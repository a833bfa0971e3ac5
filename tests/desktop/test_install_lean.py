"""What is compiled for a board decides as the source does, and reads no name that is gone."""

import ast
import builtins
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from dewsim.install_files import leaned, shim_sources, sources
from dewsim.install_lean import lean

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def programs():
    """A release with the bench shim, as it is compiled, and the names that it has beyond the modules' own."""
    return leaned({**sources(), **shim_sources()})


def names_of(tree: ast.Module) -> set:
    """Every name that a module gives a meaning to, anywhere."""
    found = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load)}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.ExceptHandler):
            found.add(node.name)
        elif isinstance(node, ast.arg):
            found.add(node.arg)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            found |= {(one.asname or one.name).split(".")[0] for one in node.names}
    return found


def test_every_name_that_is_read_is_there(programs):
    trees = {name.removesuffix(".py").replace("/", "."): ast.parse(text) for name, text in programs.items()}
    names = {module: names_of(tree) for module, tree in trees.items()}
    known = set(dir(builtins)) | {"__file__"}
    for module, tree in trees.items():
        read = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)}
        assert read <= names[module] | known, module
        whole = {}
        for node in ast.walk(tree):
            for one in node.names if isinstance(node, ast.ImportFrom) else ():
                if f"{node.module}.{one.name}" in trees:
                    whole[one.asname or one.name] = f"{node.module}.{one.name}"
                elif node.module in trees:
                    assert one.name in names[node.module], (module, one.name)
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.attr.isupper():
                there = names.get(whole.get(node.value.id, ""))
                assert there is None or node.attr in there, (module, node.attr)


def test_what_only_a_desktop_reads_is_gone_and_a_library_stays_as_it_is(programs):
    for name, text in programs.items():
        if "/" in name:
            assert "__slots__" not in text and "TYPE_CHECKING" not in text, name
    assert programs["microdot.py"] == sources()["microdot.py"].read_text(encoding="utf-8")


def test_it_decides_to_the_last_bit_as_the_source_does(programs, tmp_path):
    for name, text in programs.items():
        if name.startswith("dewcore/"):
            (tmp_path / "lean" / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / "lean" / name).write_text(text)
    shutil.copy(ROOT / "shared" / "dewcore" / "settings_help.py", tmp_path / "lean" / "dewcore")
    days = 3
    rows = [f"2001-12-{1 + h // 24:02}T{h % 24:02}:00:00Z,{-12.0 + 9.0 * (h % 24 - 12) ** 2 / 144 - h / 20:.1f}"
            for h in range(24 * days + 1)]
    weather = tmp_path / "weather.csv"
    weather.write_text("time,outdoor_c\n" + "\n".join(rows) + "\n")
    told = []
    for folder in (ROOT / "shared", tmp_path / "lean"):
        path = os.pathsep.join([str(folder), str(ROOT / "sim"), str(ROOT / "firmware")])
        environment = dict(os.environ, PYTHONPATH=path, PYTHONDONTWRITEBYTECODE="1")
        command = [sys.executable, str(ROOT / "tests" / "desktop" / "decisions_digest.py"), str(weather)]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60)
        assert done.returncode == 0, done.stderr
        told.append(done.stdout.split())
    assert told[0] == told[1] and int(told[0][1]) == days * 8640


@pytest.mark.parametrize(
    "source, made",
    [
        ("A = 3\nB = A * 4 + 1\ndef f():\n    return B - A", "def f():\n    return 13 - 3"),
        ("A, B = 0.25, 7\nx = A + B", "x = 0.25 + 7"),
        ("A, B = 0.25, [7]\nx = A + len(B)", "A, B = (0.25, [7])\nx = 0.25 + len(B)"),
        ("A = 1.0 / 3.0\nx = A", "A = 1.0 / 3.0\nx = A"),
        ("A = -4.0\nx = A", "A = -4.0\nx = A"),
        ("A = -4\nx = A ** 2 - A", "x = (-4) ** 2 - -4"),
        ("A = 1\nclass A:\n    pass\nx = A", "A = 1\n\nclass A:\n    pass\nx = A"),
        ("A = 1\nimport A\nx = A", "A = 1\nimport A\nx = A"),
        ("from dewcore.other import FAR\ndef f():\n    from elsewhere import FAR\n    return FAR",
         "from dewcore.other import FAR\n\ndef f():\n    from elsewhere import FAR\n    return FAR"),
        ("A = 1\nA = 2\nx = A", "A = 1\nA = 2\nx = A"),
        ("A = 1\ndef f():\n    global A\n    return A", "A = 1\n\ndef f():\n    global A\n    return A"),
        ("A = 1\ndef f(A):\n    return A", "A = 1\n\ndef f(A):\n    return A"),
        ("A = True\nx = A", "A = True\nx = A"),
        ("SPOKEN = 5\nx = SPOKEN", "SPOKEN = 5\nx = 5"),
        ("from dewcore.other import FAR, near\nx = FAR + near", "from dewcore.other import near\nx = 9 + near"),
        ("from dewcore.other import FAR as F\nx = F", "x = 9"),
        ("from dewcore import other as o\nx = o.FAR + o.near", "from dewcore import other as o\nx = 9 + o.near"),
        ("from dewcore import other\ndef f(other):\n    return other.FAR",
         "from dewcore import other\n\ndef f(other):\n    return other.FAR"),
        ("from dewcore.other import FAR\nA = FAR + 1\nx = A", "x = 10"),
        ("from dewcore.other import FAR\nFAR = FAR + 1", "from dewcore.other import FAR\nFAR = FAR + 1"),
        ("from elsewhere import FAR\nx = FAR", "from elsewhere import FAR\nx = FAR"),
    ],
)  # fmt: skip
def test_a_constant_becomes_its_number_and_nothing_else_does(source, made):
    others = {"dewcore/other.py": "FAR = 9\nnear = 1\n"}
    assert lean({"dewcore/it.py": source, **others}, ["SPOKEN", "of elsewhere"])["dewcore/it.py"] == made + "\n"
