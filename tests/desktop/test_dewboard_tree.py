"""What the firmware may import, who touches `machine`, and that nothing in it knows that it is simulated."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
BOARD = ROOT / "firmware" / "dewboard"
FILES = sorted(BOARD.rglob("*.py"))
HARDWARE = {"machine", "_onewire"}


def imported(path: Path) -> set:
    """Full names of all modules that a file imports anywhere in it."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {f"{node.module}.{alias.name}" for alias in node.names} | {node.module}
    return names


def test_there_is_something_to_look_at():
    assert {"pins", "relay", "contacts", "humidity", "thermometers", "hardware"} <= {path.stem for path in FILES}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_only_pins_touches_the_hardware_and_nothing_the_simulator(path):
    packages = {name.split(".")[0] for name in imported(path)}
    assert not packages & {"dewsim", "benchshim"}
    assert not packages & HARDWARE or path.stem == "pins"


@pytest.mark.parametrize("path", sorted((ROOT / "firmware" / "benchshim").glob("*.py")), ids=lambda path: path.stem)
def test_the_bench_shim_touches_no_hardware_by_itself_and_knows_no_desktop(path):
    assert not {name.split(".")[0] for name in imported(path)} & (HARDWARE | {"dewsim"})


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_nothing_asks_where_it_runs(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute):
            assert ast.unparse(node) not in {"sys.platform", "os.uname", "os.name"}
        if isinstance(node, ast.Name):
            assert "simul" not in node.id.lower()


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_table_for_documents_stays_off_the_board(path):
    assert "dewboard.pin_table" not in imported(path)


def test_pins_imports_hardware_only_when_it_is_opened():
    tree = ast.parse((BOARD / "pins.py").read_text(encoding="utf-8"))
    at_import = {alias.name for node in tree.body if isinstance(node, ast.Import) for alias in node.names}
    assert not at_import & HARDWARE
    assert HARDWARE <= imported(BOARD / "pins.py")


def test_the_fakes_serve_no_more_than_the_names_that_are_used():
    served = set()
    for node in ast.parse((ROOT / "sim" / "dewsim" / "fake" / "machine.py").read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign) and node.targets[0].id == "__all__":
            served = {item.value for item in node.value.elts}
    used = set()
    for path in [BOARD / "pins.py", ROOT / "firmware" / "main.py"]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and ast.unparse(node.value) in {"machine", "self.machine"}:
                used.add(node.attr)
            elif isinstance(node, ast.ImportFrom) and node.module == "machine":
                used |= {alias.name for alias in node.names}
    assert served == used
