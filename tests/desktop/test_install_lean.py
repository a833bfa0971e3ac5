"""What is compiled for a board decides, shows and tells as the source does, and reads no name that is gone."""

import ast
import builtins
import importlib
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from dewcore.rows import Rows
from dewsim.install_files import build, leaned, shim_sources, sources
from dewsim.install_lean import TABLES, lean
from dewsim.install_names import short

ROOT = Path(__file__).resolve().parents[2]
FAKE = ROOT / "sim" / "dewsim" / "fake"


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


def test_the_size_of_a_release_is_what_the_document_says():
    files = build(False, lambda share: None)
    told = re.search(r"A release has (\d+) files and (\d+) kB, (\d+) kB", (ROOT / "DEVELOPERS.md").read_text())
    compiled = sum(len(data) for name, data in files.items() if name.endswith(".mpy"))
    assert len(files) == int(told[1])
    assert sum(map(len, files.values())) == pytest.approx(1000 * int(told[2]), rel=0.02)
    assert compiled == pytest.approx(1000 * int(told[3]), rel=0.02)


def test_what_only_a_desktop_reads_is_gone_and_a_library_stays_as_it_is(programs):
    for name, text in programs.items():
        if "/" in name:
            assert "__slots__" not in text and "TYPE_CHECKING" not in text, name
    assert programs["microdot.py"] == sources()["microdot.py"].read_text(encoding="utf-8")


def test_it_decides_shows_and_tells_to_the_last_bit_what_its_source_does(tmp_path):
    tests = {f"{name}.py": f"tests/board/{name}.py" for name in ("digest_board", "page_client", "page_app")}
    world = ["__init__", *[path.stem for path in (ROOT / "sim/dewsim").glob("virtual*.py")]]
    tests |= {f"dewsim/{name}.py": f"sim/dewsim/{name}.py" for name in world}
    found = {**sources(), "dewboard/pin_table.py": ROOT / "firmware/dewboard/pin_table.py"}
    plain = {name: path.read_bytes() for name, path in found.items()}
    plain |= {name: (ROOT / path).read_bytes() for name, path in tests.items()}
    made = leaned(found, {name: plain[name].decode() for name in tests})
    assert made["dewboard/app.py"] != plain["dewboard/app.py"].decode()
    runs = []
    for kind, files in (("plain", plain), ("lean", plain | {name: text.encode() for name, text in made.items()})):
        for name, data in files.items():
            (tmp_path / kind / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / kind / name).write_bytes(data)
        environment = dict(os.environ, PYTHONPATH=os.pathsep.join([str(tmp_path / kind), str(FAKE)]))
        command = [sys.executable, str(tmp_path / kind / "digest_board.py"), "2", str(tmp_path / kind / "kept")]
        runs.append(subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True))
    told = [run.communicate(timeout=60)[0] for run in runs]
    assert told[0] == told[1] and told[0].startswith("7200 ") and "('failed_beats', 0)" in told[0]
    assert int(told[0].split("('valve_starts', ")[1].split(")")[0]) > 1


def test_no_class_loses_a_name_and_every_text_that_may_speak_of_one_is_heard(programs):
    for name, path in sources().items():
        if name.endswith(".py"):
            before, after = attributes(path.read_text(encoding="utf-8")), attributes(programs[name])
            assert {one: len(before[one]) for one in before} == {one: len(after[one]) for one in after}, name
    told = (ROOT / "sim/dewsim/commission_onboard.py").read_text()
    told += (ROOT / "firmware/dewboard/homie.txt").read_text() + (ROOT / "firmware/dewboard/page.html").read_text()
    names = {name for path in sources().values() if path.suffix == ".py" for name in names_in(path.read_text())}
    kept = {name for text in programs.values() for name in names_in(text)}
    gone = names & set(re.findall(r"[a-z]+_\w+", told)) - kept
    assert not gone, gone


def test_a_large_table_goes_as_bytes_that_give_its_rows(programs):
    for name, tables in TABLES.items():
        made = ast.parse(programs[name])
        module = importlib.import_module(name.removesuffix(".py").replace("/", "."))
        found = [one.value for one in made.body if isinstance(one, ast.Assign | ast.AnnAssign)]
        calls = [one for one in found if isinstance(one, ast.Call) and ast.unparse(one.func) == "Rows"]
        made_rows = [tuple(Rows(*[part.value for part in one.args])) for one in calls]
        assert made_rows == [getattr(module, table) for table in tables]


def attributes(text: str) -> dict:
    """What each class makes: its functions, and what they set of `self`."""
    found: dict = {}
    for one in ast.walk(ast.parse(text)):
        if isinstance(one, ast.ClassDef):
            for node in ast.walk(one):
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                    found.setdefault(one.name, set()).add(node.name)
                elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
                    if isinstance(node.value, ast.Name) and node.value.id == "self":
                        found.setdefault(one.name, set()).add(node.attr)
    return found


def names_in(text: str) -> set:
    """Attributes and functions that a program speaks of."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            found.add(node.name)
    return found


TWO = {
    "dewcore/one.py": "class One:\n    def __init__(self, first):\n        self.first = first\n        self.read = 1\n"
    "    def double(self, times):\n        total = self.first * times\n        return total\n",
    "dewcore/two.py": "from dewcore.one import One\nclass Two:\n    def __init__(self):\n        self.one = One(3)\n"
    "        self.spoken = self.named = self.keyed = 0\n"
    "    def sum(self):\n        return self.one.double(2) + self.one.first + getattr(self, 'named')\n",
}


def test_what_runs_beside_a_release_follows_its_names_and_changes_none(programs):
    texts = {**sources(), **shim_sources()}
    beside = leaned(texts, {"look.py": "def look(guard):\n    return {'callers': len(guard.callers)}\n"})
    assert {path: beside[path] for path in programs} == programs
    assert "guard._" in beside["look.py"] and "'callers'" in beside["look.py"]


def test_names_of_one_module_are_numbered_and_what_may_come_from_elsewhere_stays():
    found = {name: text.split("\n") for name, text in short(TWO, set(), set(), {"spoken"}, set()).items()}
    assert found["dewcore/one.py"][2:] == [
        "    def __init__(self, _a):",
        "        self._1 = _a",
        "        self.read = 1",
        "",
        "    def _0(self, _a):",
        "        _b = self._1 * _a",
        "        return _b",
        "",
    ]
    assert "        self.spoken = self.named = self._0 = 0" in found["dewcore/two.py"]
    assert "        return self.one._0(2) + self.one._1 + getattr(self, 'named')" in found["dewcore/two.py"]


@pytest.mark.parametrize(
    "source, made",
    [
        ("def f(a, b=1):\n    return [c for c in a] + b", "def f(_a, _b=1):\n    return [_c for _c in _a] + _b"),
        ("def g(a):\n    return a\ndef f(b):\n    return g(a=b)",
         "def g(a):\n    return a\n\ndef f(_a):\n    return g(a=_a)"),
        ("a = [1]\ndef f(b):\n    return [a for a in b] + a",
         "_0 = [1]\n\ndef f(_a):\n    return [_0 for _0 in _a] + _0"),
        ("def f(a):\n    try:\n        return a\n    except E as e:\n        return e",
         "def f(_a):\n    try:\n        return _a\n    except E as _b:\n        return _b"),
        ("def f(a):\n    def f2(b):\n        return a + b\n    return f2",
         "def f(_a):\n\n    def f2(_b):\n        return _a + _b\n    return f2"),
        ("def f():\n    from x import y\n    z = y\n    return z",
         "def f():\n    from x import y\n    _a = y\n    return _a"),
    ],
)  # fmt: skip
def test_a_name_that_only_a_function_has_is_a_letter(source, made):
    found = short({"dewcore/it.py": source}, set(), set(), {"f", "f2", "g", "x", "y", "E"}, set())["dewcore/it.py"]
    assert found == made + "\n"


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
    assert lean({"dewcore/it.py": source, **others}, set(), {"SPOKEN"})["dewcore/it.py"] == made + "\n"
