"""The board's sources without what MicroPython has no use for, which would only fill its memory.

Away goes what only a desktop reads: `__slots__`, and names of types.  A constant, a number or text under a name in
capitals that never changes, becomes the value itself wherever it is read; then the name goes as well, unless another
program on a board speaks of it.  On a board each name costs 9 bytes in every module that has it, and 7 in the table of
all names.  Each row of a table, and each of its texts and broken numbers, costs 16 bytes: the large tables, TABLES,
become bytes that are not copied out of ROM (`dewcore.rows`).
"""

import ast
import re
from collections import Counter

from dewsim.install_names import words

ONLY_DESKTOP = ("__slots__", "TYPE_CHECKING")
TABLES = {"dewcore/settings.py": ("TABLE",), "dewcore/words.py": ("REFUSALS", "NOTICES")}
ROWS = ast.parse("from dewcore.rows import Rows").body
CAPITALS = re.compile(r"\b[A-Z][A-Z0-9_]*\b")
COUNTED = {ast.Add, ast.Sub, ast.Mult, ast.FloorDiv, ast.LShift, ast.RShift, ast.BitOr, ast.BitAnd, ast.Pow}


def lean(sources: dict, beside: set, spoken: set) -> dict:
    """Sources by path, "dewcore/words.py", as they are compiled.

    beside: those that are no part of the release, and so keep their names; spoken: words that may name something.
    """
    modules = {name.removesuffix(".py").replace("/", "."): _Module(text) for name, text in sources.items()}
    for module in modules:
        _learn(module, modules)
    trees = {name: _Reader(one, modules).visit(one.tree) for name, one in zip(sources, modules.values())}
    still = spoken.union(*[_read(tree) for tree in trees.values()])
    for (name, tree), one in zip(trees.items(), modules.values()):
        if name not in beside:
            _Spare(one.constants.keys() - still).visit(tree)
            _shelve(tree, TABLES.get(name, ()))
    return {name: ast.unparse(ast.fix_missing_locations(tree)) + "\n" for name, tree in trees.items()}


def _shelve(tree: ast.Module, names: tuple) -> None:
    """Make Rows of these tables of a module."""
    for node in tree.body:
        targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
        if isinstance(targets[0], ast.Name) and targets[0].id in names:
            data, places = rows_of(ast.literal_eval(node.value))
            node.value = ast.Call(ast.Name("Rows", ast.Load()), [ast.Constant(data), ast.Constant(places)], [])
    if names:
        tree.body[:0] = ROWS


def rows_of(table: tuple) -> tuple:
    """A table as `dewcore.rows.Rows` takes it."""
    data, places = b"", b""
    for row in table:
        places += len(data).to_bytes(2, "little")
        fields = ["'" + field if isinstance(field, str) else repr(field) for field in row]
        data += "\t".join(fields).encode() + b"\n"
    return data, places


def bare(source: str) -> ast.Module:
    """A program without what only a desktop reads."""
    return _Desktop().visit(ast.parse(source))


def _read(tree: ast.Module) -> set:
    """Every name that a module reads from somewhere."""
    found = words(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.ImportFrom):
            found.update(one.name for one in node.names)
    return found


class _Desktop(ast.NodeTransformer):
    """Takes away what only a desktop reads."""

    def visit_Assign(self, node: ast.Assign) -> "ast.Assign | None":
        return None if _is_only_desktop(node.targets[0]) else node

    def visit_If(self, node: ast.If) -> "ast.AST | None":
        return None if _is_only_desktop(node.test) else self.generic_visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.FunctionDef:
        return node  # neither is in one


def _is_only_desktop(node: ast.expr) -> bool:
    return isinstance(node, ast.Name) and node.id in ONLY_DESKTOP


class _Module:
    """One module of a release; constants: {name: number}, None until they are learned.

    bound: names that are given a meaning anywhere but by an import, as often as they are; imported: (module, name) by
    the local name of what comes by `from`.
    """

    def __init__(self, source: str):
        self.tree = bare(source)
        self.constants: "dict | None" = None
        self.bound: "Counter[str]" = Counter()
        self.imported: dict = {}
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Name):
                self.bound[node.id] += not isinstance(node.ctx, ast.Load)
            elif isinstance(node, ast.arg):
                self.bound[node.arg] += 1
            elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.ExceptHandler):
                self.bound[node.name] += 1
            elif isinstance(node, ast.Global | ast.Nonlocal):
                self.bound.update(2 * node.names)
            elif isinstance(node, ast.Import):
                self.bound.update(one.asname or one.name for one in node.names)
            elif isinstance(node, ast.ImportFrom):
                for one in node.names:
                    name, found = one.asname or one.name, (node.module, one.name)
                    self.bound[name] += self.imported.setdefault(name, found) != found


def _pairs(statement: ast.stmt) -> list:
    """(name, value) of a plain assignment at the top of a module."""
    if not isinstance(statement, ast.Assign) or len(statement.targets) != 1:
        return []
    target, value = statement.targets[0], statement.value
    if isinstance(target, ast.Name):
        return [(target.id, value)]
    if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        return [(one.id, found) for one, found in zip(target.elts, value.elts) if isinstance(one, ast.Name)]
    return []


def _learn(module: str, modules: dict) -> dict:
    """The constants of a module, {name: number}; those that it builds on are learned first."""
    one = modules.get(module)
    if one is None or one.constants is not None:
        return {} if one is None else one.constants
    one.constants = constants = {}
    known = {
        name: _learn(source, modules).get(there)
        for name, (source, there) in one.imported.items()
        if one.bound[name] == 0
    }
    for statement in one.tree.body:
        for name, value in _pairs(statement):
            number = _number(value, {**known, **constants})
            if number is not None and CAPITALS.fullmatch(name) and one.bound[name] == 1 and name not in one.imported:
                constants[name] = number
    return constants


def _literal(value: "int | float | str") -> ast.expr:
    """As it is written; the minus is no part of a number."""
    is_plain = isinstance(value, str) or value >= 0
    return ast.Constant(value) if is_plain else ast.UnaryOp(ast.USub(), ast.Constant(-value))


def _number(node: ast.expr, names: dict) -> "int | float | str | None":
    """What an expression is, if it is a whole number, or a text or one with a point that is written out; else None.

    A float that is worked out is left to the board, whose own precision it has; so is one below 0, which it would work
    out, on its heap, each time that it is read.
    """
    if isinstance(node, ast.Constant) and type(node.value) in (int, float, str):
        return node.value
    if isinstance(node, ast.Name):
        return names.get(node.id)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Invert):
        parts = [_number(node.operand, names)]
    elif isinstance(node, ast.BinOp) and type(node.op) in COUNTED:
        parts = [_number(node.left, names), _number(node.right, names)]
    else:
        return None
    if not all(type(part) is int for part in parts):
        return None
    whole = ast.unparse(node)
    return eval(whole, {"__builtins__": {}}, {name: value for name, value in names.items() if type(value) is int})


class _Reader(ast.NodeTransformer):
    """Puts numbers where a module reads constants."""

    def __init__(self, module: _Module, modules: dict):
        self.values = dict(module.constants)
        self.modules: dict = {}  # constants by the local name of a whole module
        for name, (source, there) in module.imported.items():
            if module.bound[name] == 0:
                whole = modules.get(f"{source}.{there}")
                if whole is not None:
                    self.modules[name] = whole.constants
                elif source in modules and there in modules[source].constants:
                    self.values[name] = modules[source].constants[there]

    def visit_Name(self, node: ast.Name) -> ast.expr:
        is_read = isinstance(node.ctx, ast.Load) and node.id in self.values
        return _literal(self.values[node.id]) if is_read else node

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        if isinstance(node.value, ast.Name) and isinstance(node.ctx, ast.Load):
            value = self.modules.get(node.value.id, {}).get(node.attr)
            if value is not None:
                return _literal(value)
        return self.generic_visit(node)

    def visit_ImportFrom(self, node: ast.ImportFrom) -> "ast.stmt | None":
        node.names = [one for one in node.names if (one.asname or one.name) not in self.values]
        return node if node.names else None


class _Spare(ast.NodeTransformer):
    """Takes away these constants of a module."""

    def __init__(self, names: set):
        self.names = names

    def visit_Assign(self, node: ast.Assign) -> "ast.stmt | None":
        names = [name for name, _ in _pairs(node)]
        return None if names and self.names.issuperset(names) else node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.FunctionDef:
        return node  # there is none in one
