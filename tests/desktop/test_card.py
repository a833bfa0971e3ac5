"""`dewmargin card`: the decision code's own targets, both units, fields, one page of paper, nothing from outside."""

import re
import shutil
import subprocess

import pytest

from dewcore.controller import Controller
from dewcore.readings import Readings
from dewcore.settings import SWITCH, TABLE, Settings
from dewsim import card, housefile, policies, replay
from dewsim.cli import main

CHROMIUM = shutil.which("chromium")


def made(us=False, **changes):
    """(page, steps, settings) of the demo's house."""
    house = housefile.load(replay.DEMO_HOUSE)
    house.settings.update(changes)
    settings = policies.settings_for(house, "demo")
    steps = [card.Step(settings, house.house.indoor_c, c) for c in card.outdoor_steps(settings, us)]
    return card.render(house, settings, us), steps, settings


def decided(settings, indoor_c, outdoor_c):
    """The controller itself, scanned once."""
    controller = Controller(settings)
    readings = Readings()
    readings.indoor_c.set(indoor_c, 5)
    readings.rh_pct.set(22.0, 5)
    readings.outdoor_c.set(outdoor_c, 5)
    return controller.scan(readings, 5), controller


def test_every_step_is_what_the_controller_decides():
    _, steps, settings = made()
    for step in steps:
        decision, controller = decided(settings, 21.0, step.outdoor_c)
        assert step.target_pct == decision.target_pct and step.wets_pct == controller.terms.glass_pct
        assert step.dial_pct <= step.target_pct < step.dial_pct + 1
    targets = [step.target_pct for step in steps]
    assert targets == sorted(targets) and len(steps) == 10


@pytest.mark.parametrize(
    ("changes", "binds"),
    [
        ({"wish_pct": 14.0}, "owner"),
        ({"glass_f_day": 0.97, "glass_f_night": 0.97, "vapour_excess_pa": 270.0}, "envelope"),
    ],
)
def test_another_surface_may_bind_and_the_strip_says_so(changes, binds):
    page, steps, _ = made(**changes)
    assert any(step.binds == binds for step in steps)
    bands = re.search(r'<section id="strip">.*?</svg>', page, re.DOTALL).group()
    assert card.BINDS[binds] in bands


def test_both_units_stand_at_every_step():
    for us in (False, True):
        page, steps, _ = made(us)
        for name in ("strip", "dial"):
            part = re.search(rf'<section id="{name}">.*?</section>', page, re.DOTALL).group()
            for step in steps:
                assert card.degrees(step.outdoor_c, "C") in part and card.degrees(step.outdoor_c, "F") in part
    assert card.degrees(-17.8, "F") == "0\u00a0°F" and card.degrees(-18.0, "C") == "\u221218\u00a0°C"


def test_a_dial_is_set_lower_never_higher_and_off_where_it_is_too_cold():
    page, steps, _ = made()
    row = re.search(r"Set the dial to.*?</tr>", page, re.DOTALL).group()
    cells = re.findall(r"<b>(.*?)</b>", row)
    assert len(cells) == len(steps)
    for cell, step in zip(cells, steps):
        assert cell == "off" or float(cell) <= step.target_pct


def test_changed_settings_change_the_page():
    page, _, _ = made()
    assert "rh_offset_pct</td><td>0\u00a0%" in page and "min_on_s" not in page
    other, _, _ = made(rh_offset_pct=-1.5, min_on_s=240, has_room=True)
    assert "rh_offset_pct</td><td>\u22121.5\u00a0%" in other and "min_on_s</td><td>240\u00a0s" in other
    assert "off switch, room." in other


def test_what_has_to_be_on_it():
    page, _, _ = made()
    for text in (
        "CO alarm", "leave the house", "close the stop valve by hand", "stuck open", "air gap", "metal tubing", "level",
        "damper", "flush for 2 minutes", "licensed practice", "modelled coldest spot", "Selector at the unit",
    ):  # fmt: skip
        assert text in page, text
    assert page.count('class="blank"') >= 30
    assert "<script" not in page and not re.search(r'(src|href)="(?!data:)', page) and "circle" not in page


def test_a_thermometers_offset_moves_no_target():
    """The strip is by the outdoor temperature as it is, not as an uncorrected thermometer reads it."""
    offsets = {"outdoor_offset_k": -2.0, "indoor_offset_k": 1.5}
    assert [s.target_pct for s in made(**offsets)[1]] == pytest.approx([s.target_pct for s in made()[1]], abs=1e-9)


def test_the_house_names_itself_safely(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "h.toml").write_text('name = "<b>&\\"House\\""\nunits = "us"\n')
    assert main(["card", "h.toml"]) == 0
    assert capsys.readouterr().out == "card: dewmargin-card.html\n"
    page = (tmp_path / "dewmargin-card.html").read_text("utf-8")
    assert "<h1>&lt;b&gt;&amp;&quot;House&quot;: humidifier</h1>" in page


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium to print with")
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_it_is_one_page_of_paper(paper, tmp_path):
    settings = Settings()
    for name, unit, default, low, _ in TABLE:  # every number another than the default, and so on the page
        if unit != SWITCH and not name.endswith("_c"):
            setattr(settings, name, 0.5 * (default + low) if isinstance(default, float) else default - 1)
    house = housefile.House()
    house.name = "A house with a rather long name, down by the lake"
    page = card.render(house, settings, False)
    (tmp_path / "card.html").write_text(page.replace("@page { ", "@page { size: %s; " % paper), "utf-8")
    options = f"--headless --no-sandbox --disable-gpu --no-pdf-header-footer --user-data-dir={tmp_path / 'profile'}"
    command = [CHROMIUM, *options.split(), f"--print-to-pdf={tmp_path / 'card.pdf'}", str(tmp_path / "card.html")]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    assert len(re.findall(rb"/Type /Page\b", (tmp_path / "card.pdf").read_bytes())) == 1


def test_a_us_card_has_the_settings_in_both_units():
    page, _, _ = made(us=True)
    assert "14.4\u00a0°F (8\u00a0K)" in page and "(−30\u00a0°C)" in page
