"""Short names for a board's program: MicroPython keeps each name once, whoever has it, in a table that doubles.

A name that one module makes becomes `_0`, `_1` and so on, wherever it is used; each module counts from 0, so that one
short name stands for many.  What only a function has becomes `_a`, `_b` and so on.  Two names of one object never
become one: modules whose classes inherit from each other count together, as do a module and one that imports from it.
Names of classes stay, as errors tell them; so does each name that may come from elsewhere, that two modules make, or
that a class makes which something of MicroPython's has as well.  `dewmargin install --source` leaves all as it is.
"""

import ast
import builtins
import importlib
import io
import re

PATH = re.compile(r"[\w.]+")
PACKAGES = ("dewboard", "dewcore", "benchshim")
LETTERS = "abcdefghijklmnopqrstuvwxyz"
Function = ast.FunctionDef | ast.AsyncFunctionDef

MODULES = """
array asyncio binascii gc hashlib json math os select socket ssl struct sys time
""".split()
# What objects of MicroPython alone have, and what it calls of ours, by name.
MICROPYTHON = """
AP_IF IN IRQ_FALLING IRQ_RISING ONE_SHOT OPEN_DRAIN OUT PERIODIC PULL_DOWN PULL_UP PWRON_RESET STA_IF WDT_RESET
active aclose addr awrite callback calibration config connect deinit disconnect duty_u16 feed freq hard hostname id
ifconfig init ioctl ipconfig irq isconnected high low mem_alloc mem_free mode off on ordered peek period pull read_u16
readblocks readbit readbyte readfrom readfrom_into readfrom_mem readinto reset reset_cause rom_ioctl scan scl sda sleep
sleep_ms sleep_us start status stop stream threshold ticks_add ticks_diff ticks_ms ticks_us toggle unique_id value
writebit writeblocks writebyte writeto
""".split()


def short(programs: dict, shim: set, tests: set, spoken: set, keywords: set) -> dict:
    """Programs by path with short names, the same in all.

    shim, tests: paths of those that are no part of the release and only follow it; what the shim's programs make keeps
    its name.  spoken: words that may name something; keywords: those that may be given as a keyword.
    """
    trees = {path: ast.parse(text) for path, text in programs.items()}
    own = {path: tree for path, tree in trees.items() if path not in shim and path not in tests}
    heard = [tree for path, tree in trees.items() if path not in tests]  # or a release would not be what its tests have
    calls = [node.arg for tree in heard for node in ast.walk(tree) if isinstance(node, ast.keyword)]
    keywords = keywords.union([name for name in calls if name])
    for tree in own.values():
        _shorten_locals(tree, keywords)
    paths = [path for path in programs if path not in tests]
    fixed = {word for path in paths for word in path.removesuffix(".py").split("/")} | _foreign()
    fixed = fixed.union(spoken, keywords, *[words(tree) for tree in heard])
    fixed = fixed.union(*[_Names(trees[path]).made for path in shim])
    new = _new_names({path: _Names(tree) for path, tree in own.items()}, _families(own), fixed)
    for tree in trees.values():
        _Renamer(new).visit(tree)
    return {path: ast.unparse(tree) + "\n" for path, tree in trees.items()}


def _new_names(modules: dict, rows: dict, fixed: set) -> dict:
    """The short name of each that may have one."""
    fixed = fixed.union(*[one.fixed for one in modules.values()])
    begun = ("__", *set().union(*[one.begun for one in modules.values()]))
    new: dict = {}
    taken: dict = {row: set() for row in rows.values()}
    for path, one in modules.items():
        for name in one.made:
            others = [(there, found) for there, found in modules.items() if there != path and name in found.all]
            is_alone = not any(name in found.made or name in found.bare for _, found in others)
            if is_alone and name not in fixed and not name.startswith(begun):
                places = {rows[path]} | {rows[there] for there, found in others if name in found.imported}
                used = set().union(*[taken[row] for row in places])
                number = next(n for n in range(len(used) + 1) if n not in used)
                new[name] = f"_{number}"
                for row in places:
                    taken[row].add(number)
    return new


def texts_of(tree: ast.AST) -> list:
    """The nodes of a program's strings, but for what only explains it."""
    explained = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | Function) and node.body and isinstance(node.body[0], ast.Expr)
    }
    found = [node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)]
    return [node for node in found if id(node) not in explained]


def words(tree: ast.AST) -> set:
    """Every word in those strings of a program that are a name, or a path of names."""
    found = [node.value for node in texts_of(tree) if PATH.fullmatch(node.value)]
    return {word for text in found for word in text.split(".")}


def known(tree: ast.Module) -> set:
    """Every name that a program has, and those that its strings may be."""
    found = words(tree)
    for node in ast.walk(tree):
        for field in ("id", "attr", "arg", "name"):
            found.add(getattr(node, field, None) or "")
    return found


def _foreign() -> set:
    """What the language's own objects have, and what is in the modules that the board's program imports."""
    kinds = [*vars(builtins).values(), io.BytesIO, type(x for x in ()), type(_foreign)]
    for name in MODULES:
        module = importlib.import_module(name)
        kinds += [module, *vars(module).values()]
    found = set(MICROPYTHON) | set(dir(builtins))
    return found.union(*[dir(kind) for kind in kinds if isinstance(kind, type) or hasattr(kind, "__spec__")])


def _shorten_locals(tree: ast.Module, fixed: set) -> None:
    """Short names for what only a function has, the functions within it included."""
    known = {name for node in tree.body for name in _bound(node)} | set(dir(builtins)) | {"self", "_"}
    for node in _outermost(tree):
        taken = {one.arg for one in ast.walk(node) if isinstance(one, ast.arg)}
        mine = {one.arg for one in ast.walk(node.args) if isinstance(one, ast.arg)} - {"self", "_"}
        stay = {name for name in taken if name in fixed} | (known - mine)
        imports = [one for one in ast.walk(node) if isinstance(one, ast.Import | ast.ImportFrom)]
        stay.update(name for one in imports for name in _bound(one))
        found: dict = {}
        for one in ast.walk(node):
            name = one.arg if isinstance(one, ast.arg) else one.name if isinstance(one, ast.ExceptHandler) else None
            if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store):
                name = one.id
            if name is not None and name not in stay:
                found.setdefault(name, "_" + LETTERS[len(found) % 26] * (1 + len(found) // 26))
        _Locals(found).generic_visit(node)


def _outermost(node: ast.AST) -> list:
    """The functions that are in no other."""
    if isinstance(node, Function | ast.Lambda):
        return [node]
    return [one for child in ast.iter_child_nodes(node) for one in _outermost(child)]


def _bound(node: ast.AST) -> list:
    """What a statement gives a meaning to in its own scope."""
    if isinstance(node, Function | ast.ClassDef):
        return [node.name]
    if isinstance(node, ast.Import | ast.ImportFrom):
        return [(one.asname or one.name).split(".")[0] for one in node.names]
    return [one.id for one in ast.walk(node) if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store)]


class _Locals(ast.NodeTransformer):
    """Puts new names in the place of a function's old ones."""

    def __init__(self, new: dict):
        self.new = new

    def visit_Name(self, node: ast.Name) -> ast.Name:
        node.id = self.new.get(node.id, node.id)
        return node

    def visit_arg(self, node: ast.arg) -> ast.arg:
        node.arg = self.new.get(node.arg, node.arg)
        return node

    def visit_ExceptHandler(self, node: ast.ExceptHandler) -> ast.ExceptHandler:
        node.name = self.new.get(node.name, node.name)
        self.generic_visit(node)
        return node


class _Names:
    """The names of one module.

    all: whatever it has; made: those it gives a meaning to, in their order: its functions, what they set of `self`, and
    its variables; imported: from another module under their own name; bare: used by themselves, and neither of these;
    fixed: that may not change; begun: what names that are put together begin with.
    """

    def __init__(self, tree: ast.Module):
        self.made: dict = {}
        self.imported: set = set()
        self.fixed: set = set()
        self.begun: set = set()
        attributes, plain, strange = set(), set(), set()
        for node in ast.walk(tree):
            if isinstance(node, Function):
                self.made[node.name] = True
            elif isinstance(node, ast.Attribute):
                attributes.add(node.attr)
                is_own = isinstance(node.value, ast.Name) and node.value.id == "self"
                strange.update((node,) if isinstance(node.value, ast.Name) else ())
                self.made.update({node.attr: True} if is_own and not isinstance(node.ctx, ast.Load) else {})
            elif isinstance(node, ast.ClassDef):
                self.fixed.add(node.name)
                self.fixed.update(name for one in node.body if isinstance(one, ast.Assign) for name in _bound(one))
            elif isinstance(node, ast.Import | ast.ImportFrom):
                self._imports(node)
            elif isinstance(node, ast.BinOp) and isinstance(node.left, ast.Constant):
                text = str(node.left.value)
                self.begun.update((text,) if PATH.fullmatch(text) and text.endswith("_") else ())
            else:
                plain.update(_plain(node))
        for statement in tree.body:
            if isinstance(statement, ast.Assign):
                self.made.update(dict.fromkeys(_bound(statement), True))
        self.made = {name: True for name in self.made if name not in self.imported}
        self.fixed.update(node.attr for node in strange if node.value.id in self.fixed)  # of what is MicroPython's
        self.all = attributes | plain | self.made.keys() | self.imported
        self.bare = plain - self.made.keys() - self.imported

    def _imports(self, node: "ast.Import | ast.ImportFrom") -> None:
        for one in node.names:
            is_own = isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in PACKAGES
            if not is_own or one.asname:
                self.fixed.update((*one.name.split("."), one.asname or one.name))
            else:
                self.imported.add(one.name)


def _plain(node: ast.AST) -> list:
    """Names that stand by themselves."""
    if isinstance(node, ast.Name):
        return [node.id]
    if isinstance(node, ast.arg):
        return [node.arg]
    return node.names if isinstance(node, ast.Global | ast.Nonlocal) else []


def _families(trees: dict) -> dict:
    """Which row of names a module takes from: its path, or that of a module whose classes its own inherit from."""
    rows = {path: path for path in trees}
    for path, tree in trees.items():
        bases = {
            base.id
            for node in ast.walk(tree)
            if isinstance(node, ast.ClassDef)
            for base in node.bases
            if isinstance(base, ast.Name)
        }
        for node in ast.walk(tree):
            there = (getattr(node, "module", None) or "").replace(".", "/") + ".py"
            if isinstance(node, ast.ImportFrom) and there in rows and bases & {one.name for one in node.names}:
                old, one = rows[path], rows[there]
                rows = {name: one if row == old else row for name, row in rows.items()}
    return rows


class _Renamer(ast.NodeTransformer):
    """Puts new names in the place of old ones, everywhere."""

    def __init__(self, new: dict):
        self.new = new

    def generic_visit(self, node: ast.AST) -> ast.AST:
        super().generic_visit(node)
        for field in ("id", "attr", "arg", "name"):
            old = getattr(node, field, None)
            if isinstance(old, str):
                setattr(node, field, self.new.get(old, old))
        if isinstance(node, ast.Global | ast.Nonlocal):
            node.names = [self.new.get(name, name) for name in node.names]
        return node
