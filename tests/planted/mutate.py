"""Changes one small thing at a time in dewcore and counts how many such mutants tests/both notices.

Usage: mutate.py [--module NAME ...] [--added] [--sample N].  Each operator, condition, number, code word, returned
value and statement of shared/dewcore (but settings_help and the bare contract `board`) is changed; a mutant is
killed where a test of tests/both fails on this Python.  Sentences are left alone: a test could only repeat them.
Results are kept in the temporary folder, so that a stopped run goes on; a changed source or test begins anew, --added
keeps what was killed before tests were added.  All of them take hours: --sample judges N of each module, chosen by
their sums, and so the same ones, and with a larger N some more.  Prints each module's score and its survivors; those of equivalent.py,
which no test can tell from the original, are left out.  Exit status: 0 where every module reaches LEAST and every row
of equivalent.py still fits a mutant.

A tool of its own: mutmut 3 mutates only functions, and much of what can be wrong here is in tables.
"""

import argparse
import ast
import compileall
import hashlib
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

from equivalent import EQUIVALENT
from run import LIKELY

ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "shared" / "dewcore"
BOTH = ROOT / "tests" / "both"
MODULES = sorted(path.stem for path in CORE.glob("*.py") if path.stem not in ("__init__", "settings_help", "board"))
LEAST = 0.95
WORKERS = 2
TIMEOUT_S = 60
SWAPS = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
    ast.Add: (ast.Sub,), ast.Sub: (ast.Add,), ast.Mult: (ast.Div,), ast.Div: (ast.Mult,), ast.FloorDiv: (ast.Mult,),
    ast.Mod: (ast.Mult,), ast.And: (ast.Or,), ast.Or: (ast.And,), ast.BitAnd: (ast.BitOr,), ast.BitOr: (ast.BitAnd,),
    ast.LShift: (ast.RShift,), ast.RShift: (ast.LShift,),
}  # fmt: skip


def replacements(node: ast.AST, parent: ast.AST) -> list:
    """(what, new node) for every way in which one node is mutated."""
    if type(node) in SWAPS:
        return [(f"{type(node).__name__} > {new.__name__}", new()) for new in SWAPS[type(node)]]
    if isinstance(node, ast.Constant) and not isinstance(parent, ast.Expr):
        news = other_values(node.value)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.Not, ast.USub)):
        news = [node.operand]
    elif isinstance(node, ast.Return) and node.value is not None:
        news = [ast.Return(ast.Constant(0))]
    elif isinstance(node, (ast.If, ast.IfExp)):
        return [
            (f"if {ast.unparse(node.test)} > {truth}", type(node)(ast.Constant(truth), node.body, node.orelse))
            for truth in (True, False)
        ]
    elif isinstance(node, (ast.Assign, ast.AugAssign, ast.Raise, ast.Expr)):
        is_outside = isinstance(node, ast.Assign) and isinstance(parent, (ast.Module, ast.ClassDef))
        is_text = isinstance(node, ast.Expr) and not isinstance(node.value, ast.Call)
        news = [] if is_outside or is_text else [ast.Pass()]
    else:
        news = []
    return [(f"{ast.unparse(node)} > {ast.unparse(new)}", new) for new in news]


def other_values(value: object) -> list:
    if isinstance(value, bool):
        news = [not value]
    elif isinstance(value, int):
        news = [value + 1, value - 1]
    elif isinstance(value, float):
        news = [value + 1.0, value * 1.01] if value else [1.0]
    else:
        news = [value + "X"] if isinstance(value, str) and " " not in value else []
    return [ast.Constant(new) for new in news]


def mutants(module: str) -> list:
    """(line number, function, line's text, what, source) of every mutant of a module."""
    source = (CORE / f"{module}.py").read_text(encoding="utf-8")
    tree = ast.parse(source)
    lines = source.split("\n")
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    slots = [node for node in ast.walk(tree) if isinstance(node, ast.Assign) and "__slots__" in ast.unparse(node)]
    left_alone = {id(node) for slot in slots for node in ast.walk(slot)}
    found, seen = [], {ast.unparse(tree)}
    for parent in ast.walk(tree):
        for field, value in ast.iter_fields(parent):
            if field in ("annotation", "returns") or id(parent) in left_alone:
                continue
            for n, node in enumerate(value if isinstance(value, list) else [value]):
                for what, new in replacements(node, parent) if isinstance(node, ast.AST) else ():
                    text = with_change(tree, parent, field, n, new)
                    if text not in seen:
                        seen.add(text)
                        line = getattr(node, "lineno", getattr(parent, "lineno", 0))
                        inside = [f.name for f in functions if f.lineno <= line <= f.end_lineno]
                        found.append((line, (inside or [""])[-1], lines[line - 1].strip(), what, text))
    return sorted(found, key=lambda mutant: mutant[0])


def with_change(tree: ast.Module, parent: ast.AST, field: str, n: int, new: ast.AST) -> str:
    """The tree's source with one node replaced; the tree itself is as before."""
    value = getattr(parent, field)
    if isinstance(value, list):
        setattr(parent, field, value[:n] + [new] + value[n + 1 :])
    else:
        setattr(parent, field, new)
    text = ast.unparse(tree)
    setattr(parent, field, value)
    return text


CHILD = """import importlib.abc, importlib.util, sys, unittest
class Mutant(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    def find_spec(self, name, path=None, target=None):
        return importlib.util.spec_from_loader(name, self) if name == sys.argv[1] else None
    def exec_module(self, module):
        exec(compile(sys.stdin.read(), sys.argv[1], "exec"), module.__dict__)
sys.dont_write_bytecode = True
sys.meta_path.insert(0, Mutant())
for name in sys.argv[2:]:
    if not unittest.main(name, argv=["mutate", "-f", "-q"], exit=False).result.wasSuccessful():
        sys.exit(1)
"""


ENVIRONMENT = dict(os.environ, PYTHONPATH=os.pathsep.join((str(CORE.parent), str(BOTH))), PYTHONHASHSEED="0")


@cache
def tests_of(module: str) -> list:
    """The test files that import the module, the likeliest first and the longest last."""
    names = []
    for path in sorted(BOTH.glob("test_*.py")):
        code = f"import {path.stem}, sys; print('dewcore.{module}' in sys.modules)"
        done = subprocess.run([sys.executable, "-c", code], env=ENVIRONMENT, capture_output=True, text=True, check=True)
        if done.stdout.strip() == "True":
            names.append(path.stem)
    likely = LIKELY.get(module, (module,))
    return sorted(names, key=lambda name: (name[5:] not in likely, name == "test_controller"))


def is_killed(module: str, text: str) -> bool:
    """Whether a test of tests/both fails, or does not end, with this text as the module."""
    command = [sys.executable, "-c", CHILD, f"dewcore.{module}", *tests_of(module)]
    try:
        done = subprocess.run(
            command, input=text.encode(), env=ENVIRONMENT, capture_output=True, timeout=TIMEOUT_S
        )
    except subprocess.TimeoutExpired:
        return True
    return done.returncode != 0


def key_of(module: str, text: str) -> str:
    """The name under which a mutant is kept; sorted by it mutants are in no order that means anything."""
    return hashlib.sha256((module + text).encode()).hexdigest()


class Kept:
    """What is known of mutants, by the sum of their text, across runs."""

    def __init__(self, is_kept: bool) -> None:
        self.path = Path(tempfile.gettempdir(), f"dewmargin-mutants-{os.getuid()}.json")
        paths = [*sorted(CORE.glob("*.py")), *sorted(BOTH.glob("*.py"))]
        self.sum = hashlib.sha256(b"".join(path.read_bytes() for path in paths)).hexdigest()
        self.killed = {}
        if self.path.exists():
            old = json.loads(self.path.read_text())
            self.killed = old["killed"] if old["sum"] == self.sum else {}
            if is_kept:
                self.killed = {key: True for key, killed in old["killed"].items() if killed}

    def judge(self, module: str, text: str) -> bool:
        key = key_of(module, text)
        if key not in self.killed:
            self.killed[key] = is_killed(module, text)
        return self.killed[key]

    def write(self) -> None:
        self.path.write_text(json.dumps({"sum": self.sum, "killed": self.killed}))


def run_module(module: str, kept: Kept, sample: "int | None") -> tuple:
    """(mutants that count, survivors among them, rows of equivalent.py that fitted); equivalents are not run."""
    made, used = [], set()
    for mutant in mutants(module):
        rows = [row for row in EQUIVALENT if fits(row, module, *mutant[1:4])]
        used.update(rows)
        if not rows:
            made.append(mutant)
    made = sorted(made, key=lambda mutant: key_of(module, mutant[4]))[:sample]
    survivors = []
    with ThreadPoolExecutor(WORKERS) as pool:
        results = pool.map(lambda mutant: kept.judge(module, mutant[4]), made)
        for n, ((line, _, text, what, _), killed) in enumerate(zip(made, results), 1):
            survivors += [] if killed else [f"{module}.py:{line}: {what}    in: {text}"]
            if n % 25 == 0 or n == len(made):
                kept.write()
                print(f"\r{module}: {n} of {len(made)} ", end="", file=sys.stderr, flush=True)
    return len(made), survivors, used


def fits(row: tuple, module: str, function: str, text: str, what: str) -> bool:
    """Whether a row (module, function, beginning of the line, beginning of what, argument) means this mutant."""
    return row[:2] == (module, function) and text.startswith(row[2]) and what.startswith(row[3])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--module", action="append", choices=MODULES, help="only this one; may be repeated")
    parser.add_argument("--added", action="store_true", help="only tests were added: what was killed stays killed")
    parser.add_argument("--sample", type=int, metavar="N", help="so many mutants of each module instead of all")
    options = parser.parse_args()
    os.nice(5)
    for folder in (CORE, BOTH):
        compileall.compile_dir(folder, quiet=1)  # or each child would do it again
    kept = Kept(options.added)
    good = True
    for module in options.module or MODULES:
        if is_killed(module, (CORE / f"{module}.py").read_text(encoding="utf-8")):
            print("mutate: tests/both fails without any mutant", file=sys.stderr)
            return 1
        counted, survivors, used = run_module(module, kept, options.sample)
        stale = [row for row in EQUIVALENT if row[0] == module and row not in used]
        score = 1.0 - len(survivors) / counted
        good = good and score >= LEAST and not stale
        print("\n" + "\n".join(survivors + [f"equivalent.py: fits no mutant: {row[:4]}" for row in stale]))
        print(f"{module:12} {counted:5} mutants, {len(survivors):3} survive, {100 * score:5.1f} %", flush=True)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
