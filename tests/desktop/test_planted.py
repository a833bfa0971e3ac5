"""The table of planted mistakes still fits the source, and every part of the program has some."""

import re
import sys
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PLANTED = ROOT / "tests" / "planted"
sys.path.insert(0, str(PLANTED))

import mutate  # noqa: E402
import run  # noqa: E402
from equivalent import EQUIVALENT  # noqa: E402
from mistakes import MISTAKES  # noqa: E402

mutants = cache(mutate.mutants)  # made once a module: some have a thousand, and every row below asks for them
GROUPS = (
    "judge readings outdoors margin ceiling permit valve settings controller psychro record words "
    "house learned doubts outlook fallbound forecast glass window_test "
    "plant policies metrics weather winters best "
    "storage history drivers app events link lease login page tasks"
).split()


@pytest.mark.parametrize("row", MISTAKES, ids=lambda row: row[0])
def test_a_mistake_stands_for_something_else_in_its_file_exactly_once_and_still_compiles(row):
    name, file, old, new, why = row
    assert old != new and why.endswith(".")
    compile(run.planted(row, ROOT), file, "exec")


def test_every_group_has_two_and_every_name_is_there_once():
    names = [row[0] for row in MISTAKES]
    assert len(set(names)) == len(names)
    counts = Counter(name.split("-")[0] for name in names)
    assert set(counts) == set(GROUPS)
    assert min(counts.values()) >= 2


def test_a_text_that_is_gone_or_stands_twice_is_told(tmp_path):
    path = tmp_path / "a.py"
    path.write_text("x = 1\ny = 1\n", encoding="utf-8")
    for old, count in (("z", 0), ("= 1", 2)):
        with pytest.raises(ValueError, match=f"a-b: its text stands {count} times in a.py"):
            run.planted(("a-b", "a.py", old, "", ""), tmp_path)
    assert run.planted(("a-b", "a.py", "x", "z", ""), tmp_path) == "z = 1\ny = 1\n"


def test_names_choose_by_their_beginning():
    assert {row[0].split("-")[0] for row in run.chosen(["valve", "judge-stale"])} == {"valve", "judge"}
    assert run.chosen([]) == list(MISTAKES)
    with pytest.raises(ValueError, match="no mistake's name begins so"):
        run.chosen(["nothing-like-it"])


def test_every_test_file_named_as_likely_is_there():
    folders = [ROOT / "tests" / part for part in ("both", "board", "desktop", "reference")]
    stems = {path.stem for folder in folders for path in folder.glob("test_*.py")}
    for names in run.LIKELY.values():
        assert {"test_" + name for name in names} <= stems


@pytest.mark.parametrize("module", mutate.MODULES)
def test_mutants_compile_and_differ(module):
    made = mutants(module)
    assert len(made) >= 40
    assert len({text for *_, text in made}) == len(made)
    for *_, text in made[:: max(1, len(made) // 10)]:
        compile(text, module, "exec")


def test_a_mutant_of_each_sort_is_made():
    whats = [what for module in mutate.MODULES for _, _, _, what, _ in mutants(module)]
    sorts = ("Lt > LtE", "Add > Sub", "And > Or", r"\d+ > \d+", "if .* > True", "return .* > return 0", ".* > pass")
    for pattern in sorts:
        assert any(re.fullmatch(pattern, what) for what in whats), pattern


def test_every_equivalent_mutant_is_argued_for_and_is_one():
    for row in EQUIVALENT:
        module, function, text, what, argument = row
        assert len(argument) > 20 and argument.endswith(".")
        assert any(mutate.fits(row, module, m[1], m[2], m[3]) for m in mutants(module)), row[:4]
