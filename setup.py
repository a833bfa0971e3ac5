"""The opt-in fast build: DEWMARGIN_FAST=1 compiles the decision with mypyc; pure Python without it or a compiler."""

import ast
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
    """A copy of the package in which plain number constants are Final, and its folder.

    The compiler writes a Final number into the code and looks any other up in a dict at each use, which is a quarter of
    the time; MicroPython has no typing, so the source itself can't say it.
    """
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir(parents=True)
    for path in source.glob("*.py"):
        text = path.read_text(encoding="utf-8")
        lines = text.split("\n")
        body = ast.parse(text).body
        numbers = [node for node in body if is_number_constant(node)]
        for node in numbers:
            name = node.targets[0].id
            lines[node.lineno - 1] = lines[node.lineno - 1].replace(f"{name} =", f"{name}: Final =", 1)
        if numbers:
            lines.insert(body[0].end_lineno, "from typing import Final")  # after the docstring
        (target / path.name).write_text("\n".join(lines), encoding="utf-8")
    return target


def is_number_constant(node: ast.stmt) -> bool:
    """Whether the statement is NAME = number."""
    if not isinstance(node, ast.Assign) or not isinstance(node.targets[0], ast.Name) or len(node.targets) > 1:
        return False
    value = node.value.operand if isinstance(node.value, ast.UnaryOp) else node.value
    return node.targets[0].id.isupper() and isinstance(value, ast.Constant) and isinstance(value.value, (int, float))


setup(ext_modules=extensions())
