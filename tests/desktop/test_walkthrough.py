"""From the README to a sized, budgeted, wired plan, a card and a passed simulated commissioning: its own commands."""

import json
import re
import shlex
import time
from pathlib import Path

import pytest

from dewsim import drawings
from dewsim.cli import main
from dewsim.drawings_table import shipped

ROOT = Path(__file__).resolve().parents[2]
SECTION = "## From the box to the first winter\n"
ALLOWED_S = 15 * 60


def commands() -> list:
    """The dewmargin commands of the README's section, in its order, each as words."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    part = text.split(SECTION)[1].split("\n## ")[0]
    return [shlex.split(line)[1:] for line in re.findall(r"(?m)^    (\.venv/bin/dewmargin .*)$", part)]


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """(folder, exit status by command, seconds) of all of them, in a folder with the checkout's
    paths."""
    here = tmp_path_factory.mktemp("walk")
    for name in ("sim", "hw_docs"):
        (here / name).symlink_to(ROOT / name)
    began_s, results = time.monotonic(), {}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(here)
        for words in commands():
            results[" ".join(words)] = main(words)
    return here, results, time.monotonic() - began_s


def test_every_command_of_the_readme_ends_as_it_says(walked, capsys):
    _, results, took_s = walked
    with capsys.disabled():
        print(f" [{len(results)} commands from README to commissioned: {took_s:.0f} s] ", end="")
    assert len(results) == len(commands()) >= 8
    assert {command for command, status in results.items() if status} == {
        command for command in results if "--fault" in command
    }
    assert took_s < ALLOWED_S


def test_it_sizes_budgets_cards_and_commissions_one_house(walked):
    here, results, _ = walked
    done = [command.split()[0] for command in results]
    assert [name for name in dict.fromkeys(done)] == ["size", "power", "install", "commission", "card"]
    assert "Target by outdoor temperature" in (here / "dewmargin-card.html").read_text(encoding="utf-8")
    for name, season in (("dewmargin-commission", "full"), ("start", "start"), ("end", "end")):
        record = json.loads((here / f"{name}.json").read_text(encoding="utf-8"))
        assert record["passed"] and record["simulated"] and record["season"] == season
        assert "Passed:" in (here / f"{name}.html").read_text(encoding="utf-8")
    trial = json.loads((here / "trial.json").read_text(encoding="utf-8"))
    assert trial["steps"][-1]["name"] == "water" and not trial["passed"]
    house = json.loads((here / "dewmargin-commission.json").read_text(encoding="utf-8"))
    card = (here / "dewmargin-card.html").read_text(encoding="utf-8")
    assert f"<h1>{house['settings_of']}: humidifier</h1>" in card


def test_the_plan_is_wired_by_the_firmwares_table():
    text = (ROOT / "README.md").read_text(encoding="utf-8").split(SECTION)[1]
    page = ROOT / re.search(r"`(hw_docs/wiring\.md)`", text).group(1)
    shown = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", page.read_text(encoding="utf-8"))
    assert len(shown) >= 5 and all((page.parent / name).exists() for name in shown)
    first = drawings.DRAWINGS["valve_accessory.svg"](shipped())
    assert first == (page.parent / "valve_accessory.svg").read_text(encoding="utf-8")


def test_the_values_budgeted_are_those_commissioned(walked):
    here, results, _ = walked
    budget = next(command for command in results if command.startswith("power"))
    answers = json.loads((here / "dewmargin-commission.json").read_text(encoding="utf-8"))["answers"]
    assert f"--terminal {answers['terminal_limit_ma']:g}mA" in budget
    assert f"--valve-current {answers['valve_ma']:g}mA" in budget
