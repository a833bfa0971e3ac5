"""The opt-in fast build: DEWMARGIN_FAST=1 compiles the decision with mypyc; pure Python without it or a compiler."""

import ast
import importlib
import os
import shutil
import sys
from pathlib import Path

from setuptools import setup

# The modules that a scan runs through; the source stays the one that MicroPython runs.
SCANNED = (
    "psychro",
    "ceiling",
    "margin",
    "settings",
    "readings",
    "outdoors",
    "judge",
    "words",
    "permit",
    "valve",
    "fallbound",
    "forecast",
    "glass",
    "house",
    "doubts",
    "outlook",
    "window_test",
    "controller",
)


def extensions() -> list:
    """The compiled modules where they were asked for; each optional, so that a missing compiler leaves pure Python."""
    if os.environ.get("DEWMARGIN_FAST") != "1" or set(sys.argv) & {"dist_info", "egg_info"}:
        return []  # pip asks for the names and versions first: no reason to compile twice
    try:
        from mypyc.build import mypycify
    except ImportError:
        print("DEWMARGIN_FAST=1, but mypy is not installed: building pure Python", file=sys.stderr)
        return []
    folder = fixed_copy(Path("shared/dewcore"), Path("build/fixed/dewcore"))
    modules = mypycify([str(folder / f"{name}.py") for name in SCANNED], opt_level="3")
    for module in modules:
        module.optional = True
    return modules


def fixed_copy(source: Path, target: Path) -> Path:
    """A copy of the package in which constants are Final, and its folder.

    The compiler writes a Final number into the code, reaches another Final at once, and looks any other name up in a
    dict at each use, which is a quarter of the time; MicroPython has no typing, so the source itself can't say it.
    """
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir(parents=True)
    sys.path.insert(0, str(source.parent.resolve()))
    for path in source.glob("*.py"):
        values = vars(importlib.import_module(f"{source.name}.{path.stem}"))
        if Path(values["__file__"]).resolve() != path.resolve():
            raise SystemExit(f"{values['__file__']}: found in the place of {path}; remove it and build again")
        text = path.read_text(encoding="utf-8")
        lines = text.split("\n")
        body = ast.parse(text).body
        found = [(node, final_lines(node, values, lines[node.lineno - 1])) for node in body]
        fixed = [(node, line) for node, line in found if line]
        for node, line in fixed:
            lines[node.lineno - 1] = line
        if fixed:
            lines.insert(body[0].end_lineno, "from typing import Final")  # after the docstring
        (target / path.name).write_text("\n".join(lines), encoding="utf-8")
    return target


def final_lines(node: ast.stmt, values: dict, line: str) -> str:
    """The first line of a constant's assignment with Final in it; "" where the statement is none, or no plain one."""
    if not isinstance(node, ast.Assign) or len(node.targets) > 1:
        return ""
    target = node.targets[0]
    names = [target] if isinstance(target, ast.Name) else getattr(target, "elts", [])
    if not names or not all(isinstance(name, ast.Name) and name.id.isupper() for name in names):
        return ""
    found = [(name.id, values[name.id]) for name in names]
    if node.lineno == node.end_lineno and all(type(value) in (int, float) for _, value in found):
        return "; ".join(f"{name}: Final = {value!r}" for name, value in found)
    kinds = {type(part) for _, value in found if type(value) is tuple for part in value}
    if len(found) == 1 and len(kinds) == 1 and kinds <= {int, float}:
        return line.replace(" =", f': "Final[tuple[{kinds.pop().__name__}, ...]]" =', 1)
    return ""


setup(ext_modules=extensions())
