"""Documents stay true: every path, command, option and function that they name exists."""

import argparse
import ast
import functools
import re
import shlex
from pathlib import Path

import pytest

from dewsim.cli import parser

ROOT = Path(__file__).resolve().parents[2]
NOT_OURS = {".venv", ".git", "build", "node_modules", ".pytest_cache", ".hypothesis"}
DOCUMENTS = [
    path for path in sorted(ROOT.rglob("*.md")) if not NOT_OURS & set(path.relative_to(ROOT).parts[:-1])
]
# first parts of a path in this repository, also of folders that a document may promise too early
TOPS = {"shared", "sim", "tests", "vendor", "hw_docs", "firmware", "docs", "tools", ".ci"}
TOPS |= {path.name for path in ROOT.iterdir() if path.is_dir()} - NOT_OURS
PLACEHOLDERS = {"N": "1"}
PROGRAM = {".py", ".pyi", ".js", ".css", ".html", ".txt"}

ids = pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))


def test_every_file_of_the_program_stands_in_the_tour():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    packages = ("shared/dewcore", "firmware/dewboard", "firmware/benchshim", "sim/dewsim")
    files = [path for name in packages for path in (ROOT / name).iterdir() if path.is_file()]
    names = {str(path.relative_to(ROOT)) for path in files if path.suffix in PROGRAM and path.name != "__init__.py"}
    assert len(names) > 100
    assert not {name for name in names if f"`{name}`" not in text}


def blocks(text: str) -> list:
    """Lines of all code blocks, fenced or indented by four spaces after an empty line."""
    lines = []
    fenced = indented = False
    last = ""
    for line in text.splitlines():
        if line.lstrip().startswith("```"):
            fenced = not fenced
        elif fenced:
            lines.append(line.strip())
        else:
            indented = line.startswith("    ") and (indented or not last.strip())
            if indented:
                lines.append(line.strip())
        last = line
    return [line for line in lines if line]


def spans(text: str) -> list:
    """All inline code, line breaks within it as blanks."""
    text = re.sub(r"(?ms)^ *```.*?^ *```", "", text)
    return [" ".join(span.split()) for span in re.findall(r"`([^`]+)`", text)]


def paths_in(text: str) -> set:
    """Whatever looks like a path of this repository in code blocks and inline code."""
    found = set()
    for piece in blocks(text) + spans(text):
        for token in re.findall(r"[\w.*/~-]+", piece):
            token = token.removeprefix("./").rstrip(".")
            first = token.split("/")[0]
            if "/" in token and first in TOPS or re.fullmatch(r"[\w-]+\.(md|py)", token) or token == "start":
                found.add(token)
    return found


def exists(token: str) -> bool:
    """A path from the root, a pattern that matches something, or a bare file name somewhere in the tree."""
    if "*" in token:
        return any(ROOT.glob(token))
    if "/" in token or (ROOT / token).exists():
        return (ROOT / token).exists()
    return any(not NOT_OURS & set(path.relative_to(ROOT).parts) for path in ROOT.rglob(token))


def commands_in(text: str) -> list:
    """(words, whether it has to be complete) of every dewmargin or ./start command."""
    found = []
    for piece, complete in [(line, True) for line in blocks(text)] + [(span, False) for span in spans(text)]:
        piece = piece.removeprefix("$ ").split(" #")[0]
        if re.match(r"(\.venv/bin/|\S*/bin/)?dewmargin( |$)|\./start( |$)", piece):
            words = shlex.split(piece.replace("[", "").replace("]", ""))
            if words[1:2] != ["..."]:
                found.append((words, complete))
    return found


def sub_commands() -> dict:
    """Name to parser of each sub-command."""
    (action,) = [a for a in parser()._actions if isinstance(a, argparse._SubParsersAction)]
    return dict(action.choices)


def start_commands() -> set:
    """The words that ./start takes, from its own case labels."""
    return set(re.findall(r"^([a-z]+)\)$", (ROOT / "start").read_text(encoding="utf-8"), re.MULTILINE))


def problem_with(words: list, complete: bool) -> str:
    """What is wrong with a command, or nothing."""
    arguments = [PLACEHOLDERS.get(word, word) for word in words[1:]]
    if words[0] == "./start":
        if not arguments or arguments[0] not in start_commands():
            return "no such ./start command"
        if arguments[0] != "demo":
            return "takes no options" if arguments[1:] else ""
    if not arguments:
        return ""
    if arguments[0] in ("--help", "--version"):
        return "" if len(arguments) == 1 else "nothing may follow"
    if arguments[0] not in sub_commands():
        return "no such sub-command"
    options = set(sub_commands()[arguments[0]]._option_string_actions)
    unknown = {word.split("=")[0] for word in arguments if word.startswith("--")} - options
    if unknown:
        return "no such option " + " ".join(sorted(unknown))
    if complete or arguments[1:]:
        try:
            parser().parse_args(arguments)
        except SystemExit:
            return "cannot be typed like this"
    return ""


def test_documents_are_found():
    names = {str(path.relative_to(ROOT)) for path in DOCUMENTS}
    assert {"README.md", "DEVELOPERS.md"} <= names


@ids
def test_every_path_exists(document):
    assert [
        token for token in sorted(paths_in(document.read_text(encoding="utf-8"))) if not exists(token)
    ] == []


@ids
def test_every_command_can_be_typed(document):
    problems = []
    for words, complete in commands_in(document.read_text(encoding="utf-8")):
        problem = problem_with(words, complete)
        if problem:
            problems.append(" ".join(words) + ": " + problem)
    assert problems == []


@ids
def test_every_option_named_alone_is_one_of_some_command(document):
    options = {"--help", "--version"}
    for sub_command in sub_commands().values():
        options |= set(sub_command._option_string_actions)
    named = {
        span.split()[0].split("=")[0]
        for span in spans(document.read_text(encoding="utf-8"))
        if span.startswith("--")
    }
    assert named - options == set()


def test_the_readme_names_the_two_commands():
    commands = [" ".join(words) for words, _ in commands_in((ROOT / "README.md").read_text(encoding="utf-8"))]
    assert {"./start demo", "./start test"} <= set(commands)


@functools.cache
def names_in(path: Path) -> frozenset:
    """Names that a file defines: functions, classes, constants, and Class.method, Class.attribute."""
    names = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            names.add(node.name)
        for target in getattr(node, "targets", [getattr(node, "target", None)]):
            if isinstance(target, ast.Name):
                names.add(target.id)
        if isinstance(node, ast.ClassDef):
            for part in ast.walk(node):
                if isinstance(part, ast.FunctionDef):
                    names.add(node.name + "." + part.name)
                    if part.name.startswith("test_"):  # a test is known by its own name
                        names.add(part.name)
                elif isinstance(part, ast.Attribute) and isinstance(part.ctx, ast.Store):
                    names.add(node.name + "." + part.attr)
                elif isinstance(part, ast.Name) and isinstance(part.ctx, ast.Store):
                    names.add(node.name + "." + part.id)
    return frozenset(names)


def hops_in(text: str) -> list:
    """(path, name) of "`path.py` `Name.name`, `other` and `third`" and of "`name` in (or of) `path.py`"."""
    text = " ".join(re.sub(r"(?ms)^ *```.*?^ *```", "", text).split())
    name = r"`[A-Za-z_][\w.]*`"
    found = []
    for path, names in re.findall(r"`([\w./-]+\.py)`((?:(?:,? and|,)? ?%s)+)" % name, text):
        found += [(path, n) for n in re.findall(r"`([^`]+)`", names) if not n.endswith(".py")]
    for n, path in re.findall(r"`([A-Za-z_][\w.]*)` (?:in|of) `([\w./-]+\.py)`", text):
        found.append((path, n))
    return found


@ids
def test_every_hop_leads_somewhere(document):
    missing = [
        hop for hop in hops_in(document.read_text(encoding="utf-8")) if hop[1] not in names_in(ROOT / hop[0])
    ]
    assert missing == []


@ids
def test_every_class_member_named_exists(document):
    members = set()
    for top in ("shared", "sim"):
        for path in (ROOT / top).rglob("*.py"):
            members |= names_in(path)
    named = {
        span
        for span in spans(document.read_text(encoding="utf-8"))
        if re.fullmatch(r"_?[A-Z]\w*[a-z]\w*\.[a-z_]\w*", span)
    }
    classes = {name.split(".")[0] for name in members if "." in name}
    assert {name for name in named if name.split(".")[0] in classes} - members == set()


def test_developers_follow_a_reading_through_the_code():
    assert len(hops_in((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))) >= 8


PLANTED = """Type `dewmargin fly`, `./start jump` or `dewmargin demo --wings`; see `sim/dewsim/no_such.py` and
`shared/dewcore/judge.py` `Judge.no_such`, `Judge.judge` and `nothing`, or `nowhere.md`.

    $ dewmargin feed now.json
    .venv/bin/dewmargin replay default --weather FILE --seed N   # complete

`--wings` and `gone` in `shared/dewcore/valve.py`.
"""


def test_planted_mistakes_are_found():
    assert {token for token in paths_in(PLANTED) if not exists(token)} == {
        "sim/dewsim/no_such.py",
        "nowhere.md",
    }
    problems = {" ".join(words): problem_with(words, complete) for words, complete in commands_in(PLANTED)}
    assert problems == {
        "dewmargin fly": "no such sub-command",
        "./start jump": "no such ./start command",
        "dewmargin demo --wings": "no such option --wings",
        "dewmargin feed now.json": "cannot be typed like this",
        ".venv/bin/dewmargin replay default --weather FILE --seed N": "",
    }
    missing = [name for path, name in hops_in(PLANTED) if name not in names_in(ROOT / path)]
    assert missing == ["Judge.no_such", "nothing", "gone"]
