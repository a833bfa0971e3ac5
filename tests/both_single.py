"""Runs one file of tests/both on this Python with every float rounded to single precision, as on a board.

The sources of dewcore and of the tests are rewritten as they are imported: float constants, and what every
arithmetic operation and every call returns, pass through IEEE binary32.  Usage: both_single.py test_name
"""

import ast
import importlib.abc
import importlib.machinery
import importlib.util
import operator
import sys
import unittest
from array import array
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
OPERATORS = {
    ast.Add: ("_single_add", operator.add),
    ast.Sub: ("_single_sub", operator.sub),
    ast.Mult: ("_single_mul", operator.mul),
    ast.Div: ("_single_truediv", operator.truediv),
    ast.FloorDiv: ("_single_floordiv", operator.floordiv),
    ast.Mod: ("_single_mod", operator.mod),
    ast.Pow: ("_single_pow", operator.pow),
}


_cell = array("f", [0.0])  # rounds what is put in; much the quickest way, and this is what the run consists of


def single(value: object) -> object:
    """A float as the nearest binary32 (beyond its range infinite); anything else as it is."""
    if type(value) is not float:
        return value
    _cell[0] = value
    return _cell[0]


def _rounded(function, cell=_cell):
    def operate(a, b):
        if type(a) is float and type(b) is float:
            cell[0] = a
            a = cell[0]
            cell[0] = b
            cell[0] = function(a, cell[0])
            return cell[0]
        if type(a) is int and type(b) is int and function is not operator.truediv:
            return single(function(a, b))
        if type(a) is float or type(b) is float or function is operator.truediv:
            a = single(float(a)) if isinstance(a, (int, float)) else a
            b = single(float(b)) if isinstance(b, (int, float)) else b
        return single(function(a, b))

    return operate


class Rounder(ast.NodeTransformer):
    """Rounds float constants in place and wraps operations and calls."""

    def visit_Constant(self, node):
        if type(node.value) is float:
            return ast.copy_location(ast.Constant(single(node.value)), node)
        return node

    def visit_BinOp(self, node):
        self.generic_visit(node)
        if type(node.op) not in OPERATORS:
            return node
        name = ast.Name(OPERATORS[type(node.op)][0], ast.Load())
        return ast.copy_location(ast.Call(name, [node.left, node.right], []), node)

    def visit_AugAssign(self, node):
        """x += y as x = x + y; the target is evaluated twice, which shared source may not notice."""
        if type(node.op) not in OPERATORS:
            return self.generic_visit(node)
        read = ast.parse(ast.unparse(node.target), mode="eval").body
        value = self.visit(ast.copy_location(ast.BinOp(read, node.op, node.value), node))
        return ast.copy_location(ast.Assign([self.visit(node.target)], value), node)

    def visit_Call(self, node):
        self.generic_visit(node)
        return ast.copy_location(ast.Call(ast.Name("_single", ast.Load()), [node], []), node)


class SingleLoader(importlib.machinery.SourceFileLoader):
    """Loads a source file through Rounder."""

    def get_code(self, fullname):
        path = self.get_filename(fullname)
        tree = Rounder().visit(ast.parse(self.get_data(path), path))
        return compile(ast.fix_missing_locations(tree), path, "exec", dont_inherit=True)

    def exec_module(self, module):
        module.__dict__["_single"] = single
        for name, function in OPERATORS.values():
            module.__dict__[name] = _rounded(function)
        super().exec_module(module)


class SingleFinder(importlib.abc.MetaPathFinder):
    """Finds dewcore and every module that lies beside the tests."""

    def __init__(self, tests: Path) -> None:
        self.tests = tests

    def find_spec(self, fullname, path=None, target=None):
        folder = ROOT / "shared" if fullname.split(".")[0] == "dewcore" else self.tests
        parts = fullname.split(".")
        package = folder.joinpath(*parts, "__init__.py")
        file = folder.joinpath(*parts).with_suffix(".py")
        if package.is_file():
            loader = SingleLoader(fullname, str(package))
            return importlib.util.spec_from_file_location(
                fullname, package, loader=loader, submodule_search_locations=[str(package.parent)]
            )
        if file.is_file():
            return importlib.util.spec_from_file_location(
                fullname, file, loader=SingleLoader(fullname, str(file))
            )
        return None


def install(tests: Path) -> None:
    """From now on dewcore and the modules in `tests` are imported in single precision."""
    sys.meta_path.insert(0, SingleFinder(tests))


if __name__ == "__main__":
    install(Path(sys.argv[2]))
    unittest.main(sys.argv[1], argv=["both_single", "-v"])
