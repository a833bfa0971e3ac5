"""The board's program against the stubs of two boards: pyright finds nothing wrong, and finds what is planted."""

import ast
import re
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "types"))

import check  # noqa: E402

BOARD = ROOT / "firmware" / "dewboard"
# name, file of dewboard, what stands there, the mistake, what the error says
MISTAKES = (
    ("keyword", "pins.py", "period=period_ms", "periode=period_ms", 'No overloads for "init"'),
    ("text", "humidity.py", "clock.sleep_us(1000)", 'clock.sleep_us("1000")', 'cannot be assigned to parameter'),
    ("method", "hardware.py", "self.relay.open_contact()", "self.relay.open_contcat()", '"open_contcat"'),
    ("attribute", "minutes.py", "app.readings.fan.state == ON", "app.readings.fann.state == ON", '"fann"'),
    ("unchecked", "lamp.py", 'pin: "Pin"', "pin", 'annotation is missing for parameter "pin"'),
)


def planted(row: tuple) -> tuple:
    """(name of the copy, its text, the line of the mistake)."""
    name, file, old, new, _ = row
    text = (BOARD / file).read_text(encoding="utf-8")
    at = text.index(old)
    return f"planted_{name}.py", text[:at] + new + text[at + len(old) :], text[:at].count("\n") + 1


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Errors by board; beside the program lies a copy of a file with each mistake."""
    folders = {board: tmp_path_factory.mktemp(board) for board in check.BOARDS}
    for board, folder in folders.items():
        check.make_project(folder, board)
        for row in MISTAKES:
            name, text, _ = planted(row)
            (folder / "firmware" / "dewboard" / name).write_text(text, encoding="utf-8")
    with ThreadPoolExecutor(len(folders)) as pool:
        return dict(zip(folders, pool.map(check.errors_in, folders.values()), strict=True))


@pytest.mark.parametrize("board", check.BOARDS)
def test_the_program_has_no_error(found, board):
    assert [row for row in found[board] if not row[0].startswith("planted_")] == []


@pytest.mark.parametrize("board", check.BOARDS)
@pytest.mark.parametrize("row", MISTAKES, ids=lambda row: row[0])
def test_a_planted_mistake_is_found(found, board, row):
    name, _, line = planted(row)
    errors = [error for error in found[board] if error[0] == name]
    assert [error[1] for error in errors] == [line]
    assert row[4] in errors[0][2]


def test_nothing_is_checked_less_than_the_rest():
    for path in [*BOARD.glob("*.py*"), *(ROOT / "shared" / "dewcore").glob("*.py"), ROOT / "firmware" / "main.py"]:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"#\s*(pyright|type):|\bcast\(", text), path.name


def names_of(tree: ast.AST) -> set:
    """Functions and classes directly in a module or class, and what is assigned to self anywhere in it."""
    names = set()
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.AnnAssign):
            names.add(node.target.id)
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store) and ast.unparse(node.value) == "self":
            names.add(node.attr)
    return names


def test_microdots_stub_tells_of_nothing_that_is_not_there():
    stub = ast.parse((ROOT / "tests" / "types" / "microdot.pyi").read_text(encoding="utf-8"))
    real = ast.parse((ROOT / "vendor" / "microdot" / "microdot.py").read_text(encoding="utf-8"))
    given = {  # to each request by whoever answers it
        node.attr
        for node in ast.walk(real)
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store) and ast.unparse(node.value) == "req"
    }
    classes = {node.name: node for node in ast.iter_child_nodes(real) if isinstance(node, ast.ClassDef)}
    for node in ast.iter_child_nodes(stub):
        if isinstance(node, ast.ClassDef):
            assert names_of(node) <= names_of(classes[node.name]) | given, node.name
        elif isinstance(node, ast.FunctionDef):
            assert node.name in {"abort"}  # assigned: abort = Microdot.abort
            assert "abort" in names_of(classes["Microdot"])
