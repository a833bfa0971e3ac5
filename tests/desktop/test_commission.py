"""`dewmargin commission` on its virtual board: each fault fails at its step; skips, resuming, bad input, contact."""

import io
import json
import re
from pathlib import Path

import pytest

from dewboard.clock import Clock
from dewboard.pins import open_pins
from dewcore.board import PRESS_ALARM, PRESS_LOOK_LONG
from dewcore.controller import SCAN_S
from dewcore.readings import SAW_NOTHING
from dewcore.timed_run import LONGEST_S
from dewsim import (
    bench_inputs,
    commission,
    commission_ask,
    commission_onboard,
    commission_record,
    commission_steps,
    commission_virtual,
)
from dewsim.cli import main
from dewsim.commission_board import HOLD_PCT
from dewsim.commission_virtual import VirtualSeat
from dewsim.errors import InputError
from dewsim.virtual import BoardReset, VirtualBoard, install

ANSWERS = Path(__file__).resolve().parents[2] / "sim/dewsim/data/commission.answers"


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty folder to write into."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def commanded(*options: str, answers: "str | None" = None) -> int:
    """The command's exit status, with the shipped answers or others."""
    path = ANSWERS
    if answers is not None:
        path = Path("own.answers")
        path.write_text(answers, encoding="utf-8")
    return main(["commission", "--simulated", "--answers", str(path), "--out", "sheet.html", *options])


def record() -> dict:
    return json.loads(Path("sheet.json").read_text(encoding="utf-8"))


def changed(**answers: str) -> str:
    """The shipped answers with some of them replaced."""
    text = ANSWERS.read_text(encoding="utf-8")
    for name, answer in answers.items():
        text, count = re.subn(rf"(?m)^{name} .*$", f"{name} {answer}", text)
        assert count == 1
    return text


def outcomes() -> dict:
    return {step["name"]: step["outcome"] for step in record()["steps"]}


# -- the whole


def test_the_whole_passes_and_its_sheet_tells_all(here):
    assert commanded() == 0
    found = record()
    assert found["passed"] and found["simulated"] and set(outcomes().values()) == {"passed"}
    assert [step["name"] for step in found["steps"]] == [step.name for step in commission_steps.STEPS]
    sheet = Path("sheet.html").read_text(encoding="utf-8")
    assert "Simulated. Passed: 29 of 29 steps done" in sheet and "size: A4" in sheet and "25.8 VAC" in sheet
    checks = {check["what"]: check["found"] for step in found["steps"] for check in step["checks"]}
    assert re.fullmatch(r"line live and load dead for \d+ s before, test told for \d+ s",
                        next(c["found"] for s in found["steps"] if s["name"] == "water" for c in s["checks"]
                             if c["what"].startswith("weld test")))  # fmt: skip
    assert checks["valve current against F1"] == "175 mA"
    margin = checks["tolerance margin, now, 2.0 °C (36 °F)"]
    assert re.search(r"\d\.\d % RH, \d\.\d K \(\d\.\d °F\) at the glass", margin)
    expected = {check["what"]: check["expected"] for step in found["steps"] for check in step["checks"]}
    assert (expected["S3 at off"], expected["leak wire wet"], expected["line idle"]) == (
        "off or dial only", "wet", "dead"
    )  # fmt: skip
    assert "both" not in checks["line and load on a heat call, F1 out"]


def test_a_house_files_board_passes_without_what_is_not_fitted(here):
    assert commanded("default") == 0
    assert {name for name, outcome in outcomes().items() if outcome == "not fitted"} == {
        "overflow", "absent", "overflow_run", "absent_run", "supply_rise"
    }  # fmt: skip


def test_a_corrected_humidity_sensor_is_held_against_the_reference_as_corrected(here):
    Path("h.toml").write_text("[settings]\nrh_offset_pct = 3.0\n", encoding="utf-8")
    assert commanded("h.toml", answers=changed(reference_rh_pct="27")) == 0
    assert commanded("h.toml", "--out", "raw.html") == 1
    Path("raw.json").rename("sheet.json")
    assert outcomes()["humidity"] == "failed"


@pytest.mark.parametrize(("season", "steps"), [("start", 13), ("end", 2)])
def test_a_season_has_its_own_shorter_list(here, season, steps):
    assert commanded("--season", season) == 0
    assert len(record()["steps"]) == len(commission_steps.RUNS[season]) == steps
    assert f"{'start' if season == 'start' else 'end'} of the season" in Path("sheet.html").read_text("utf-8")


def test_the_shipped_answers_are_to_every_question_and_no_other():
    assert set(commission_ask.read_answers(str(ANSWERS))) == set(commission_ask.QUESTIONS)


# -- faults

AT = {
    "line_voltage": "terminal", "dry_contact": "terminal", "idle_live": "line", "not_isolated": "isolation",
    "fan_stuck": "fan", "fan_missing": "fan", "heat_missing": "heat_call", "line_missing": "line",
    "selector_pole": "selector", "dial_stuck": "dial", "leak_deaf": "leak", "leak_broken": "leak",
    "float_stuck": "overflow", "absent_deaf": "absent", "look_dead": "buttons", "alarm_dead": "leak",
    "thermometers_exchanged": "thermometers", "humidity_off": "humidity", "heavy_valve": "current", "no_water": "water",
    "water_runs": "water", "supply_cold": "supply_rise", "relay_welded": "line", "relay_dead": "water",
    "relay_driver": "water", "humidity_frozen": "humidity", "outdoor_silent": "thermometers",
    "wire_low": "thermometers", "line_chatter": "line", "load_lit": "dead_line", "fan_chatter": "fan",
    "heat_lit": "heat_call",
}  # fmt: skip


@pytest.mark.parametrize("fault", AT)
def test_a_fault_fails_at_the_step_that_looks_there(here, fault):
    assert commanded("--fault", fault) == 1
    last = record()["steps"][-1]
    assert (last["name"], last["outcome"], record()["passed"]) == (AT[fault], "failed", False)
    assert not last["checks"][-1]["passed"] and last["reason"].startswith(last["checks"][-1]["what"])
    assert "NOT PASSED" in Path("sheet.html").read_text(encoding="utf-8")


def test_every_fault_of_the_technician_has_its_step():
    assert set(commission_virtual.FAULTS) <= set(AT) <= {*commission_virtual.FAULTS, *bench_inputs.FAULTS}


def test_half_a_wave_counts_and_is_told(here):
    assert commanded("--fault", "fan_half_wave") == 0
    fan = next(step for step in record()["steps"] if step["name"] == "fan")
    assert "fan: it counts" in [c["found"] for c in fan["checks"] if c["what"] == "senses on half a wave"][0]


# -- both readings


@pytest.mark.parametrize(
    ("name", "vac", "passes"),
    [
        ("terminal_call_vac", "19.9", False), ("terminal_call_vac", "20", True), ("terminal_call_vac", "30", True),
        ("terminal_call_vac", "30.1", False), ("terminal_call_vac", "0", False), ("terminal_idle_vac", "4.9", True),
        ("terminal_idle_vac", "5", False), ("terminal_idle_vac", "24", True), ("terminal_idle_vac", "120", False),
    ],
)  # fmt: skip
def test_nothing_goes_on_without_both_readings(here, name, vac, passes):
    status = commanded("--fault", "not_isolated", answers=changed(**{name: vac}))
    assert status == 1 and record()["steps"][-1]["name"] == ("isolation" if passes else "terminal")
    if not passes:
        assert "licensed work" in record()["steps"][-1]["reason"]


@pytest.mark.parametrize("name", ["stop_read", "terminal_idle_vac", "terminal_call_vac", "isolation_open"])
def test_stop_readings_and_isolation_cannot_be_skipped(here, capsys, name):
    assert commanded(answers=changed(**{name: "skip no meter here"})) == 2
    assert "may not be skipped" in capsys.readouterr().err and name not in record()["answers"]


def test_valve_current_is_held_against_fuse_and_terminal(here):
    assert commanded(answers=changed(valve_ma="240")) == 1
    assert "F1 of 400 mA would carry it" in record()["steps"][-1]["reason"]
    Path("sheet.json").unlink()
    assert commanded(answers=changed(f1_ma="630")) == 1
    assert record()["steps"][-1]["name"] == "fuse"


# -- skips and resuming


def test_an_allowed_skip_passes_with_its_reason_on_the_sheet(here):
    assert commanded(answers=changed(draught="skip nothing burns fuel here")) == 0
    assert outcomes()["draught"] == "skipped" and "nothing burns fuel here" in Path("sheet.html").read_text("utf-8")


def test_another_skip_does_not_pass_and_is_asked_again_on_resuming(here, capsys):
    assert commanded(answers=changed(f1_first="skip forgot the value")) == 1
    assert outcomes()["fuse"] == "skipped" and outcomes()["current"] == "passed" and not record()["passed"]
    capsys.readouterr()
    assert commanded("--resume") == 0
    asked = capsys.readouterr().out
    assert outcomes()["fuse"] == "passed" and "Which fuse goes first" in asked and "Leak wire" not in asked


def test_a_mended_fault_goes_on_where_it_failed(here, capsys):
    assert commanded("--fault", "no_water") == 1
    before = [step for step in record()["steps"] if step["outcome"] == "passed"]
    assert commanded("--resume") == 0
    assert record()["steps"][: len(before)] == before and len(record()["steps"]) == len(commission_steps.STEPS)


def test_a_record_is_never_taken_for_another_run(here, capsys):
    assert commanded("--fault", "not_isolated") == 1
    for options, word in (
        (["--season", "end"], "another season"), (["default"], "another settings"), (["--out", "no.html"], "no.json"),
    ):  # fmt: skip
        assert commanded("--resume", *options) == 2
        assert word in capsys.readouterr().err
    made = record() | {"simulated": False}
    Path("sheet.json").write_text(json.dumps(made))
    assert commanded() == 2 and "found the record of a commissioning" in capsys.readouterr().err
    assert record() == made


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "nonsense", '{"kind": "dewmargin commission"}', "[" * 5000, "\x00\xff"]
)
def test_a_damaged_record_is_one_line(here, capsys, text):
    Path("sheet.json").write_text(text)
    for options in ([], ["--resume"]):
        assert commanded(*options) == 2
        lines = capsys.readouterr().err.splitlines()
        assert len(lines) == 1 and "no whole record" in lines[0]
    assert Path("sheet.json").read_text() == text


def test_every_cut_of_a_record_is_refused_or_whole(here, capsys):
    assert commanded("--fault", "not_isolated") == 1
    whole = Path("sheet.json").read_bytes()
    for end in range(0, len(whole) - 2, 97):
        Path("sheet.json").write_bytes(whole[:end])
        with pytest.raises(InputError):
            commission_record.read(Path("sheet.json"))


# -- the keyboard


def typed(monkeypatch, text: str, *options: str) -> int:
    monkeypatch.setattr("sys.stdin", io.StringIO(text))
    return main(["commission", "--simulated", "--out", "sheet.html", *options])


def test_bad_answers_are_told_in_a_line_and_asked_again(here, monkeypatch, capsys):
    bad = "y\nperhaps\ny\n\nabc\n-3\n601\nnan\n1e1\n0.4 VAC\n\n121\n"
    assert typed(monkeypatch, bad) == 1
    out = capsys.readouterr().out
    assert out.count("co_alarm: found 'perhaps', allowed is y, n") == 1
    assert out.count("terminal_idle_vac: found") == 5
    assert record()["steps"][-1]["name"] == "terminal" and record()["answers"]["terminal_idle_vac"] == 0.4


def test_a_skip_of_a_reading_is_asked_once_more(here, monkeypatch, capsys):
    assert typed(monkeypatch, "y\ny\n\nskip no meter here\n\n0\n\n121\n") == 1
    assert "may not be skipped: once more" in capsys.readouterr().out


def test_enter_takes_what_the_virtual_technician_sees(here, monkeypatch):
    assert typed(monkeypatch, "\n" * 400) == 0


def test_answers_that_end_keep_what_is_done(here, monkeypatch, capsys):
    assert typed(monkeypatch, "y\ny\n\n0.4\n") == 2
    assert "the answers ended" in capsys.readouterr().err
    assert outcomes() == {"stop": "passed"} and record()["passed"] is None
    assert typed(monkeypatch, "\n" * 400, "--resume") == 0


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("stop_reed y", "did you mean stop_read?"), ("stop_read", "no answer to stop_read"),
        ("stop_read y\nstop_read y", "line 2: found stop_read a second time"), ("stop_read perhaps", "allowed is y, n"),
        ("stop_read skip x", "reason of 1 characters"), ("stop_read y", "found no answer to co_alarm"),
    ],
)  # fmt: skip
def test_a_bad_file_of_answers_is_one_line(here, capsys, line, word):
    assert commanded(answers=line) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1 and word in lines[0] and "own.answers" in lines[0]


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (["--fault", "nowater"], "did you mean no_water?"), (["--out", "sheet.pdf"], "ends in .html"),
        (["--out", "no/such.html"], "its folder does not exist"), (["--answers", "none.txt"], "cannot be read"),
        (["no.toml"], "no.toml"),
    ],
)  # fmt: skip
def test_bad_options_are_one_line_and_write_nothing(here, capsys, options, word):
    assert main(["commission", "--simulated", *options]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1 and word in lines[0] and list(here.iterdir()) == []


# -- the contact


class Watched(VirtualSeat):
    """Notes the contact at every beat, and what a run was asked for; stops where it is told to."""

    made: "list[Watched]" = []
    stop_after_s = 0

    def __init__(self, settings, fault: str = ""):
        super().__init__(settings, fault)
        self.closed_s, self.asked, self.closed_unasked = 0, 0, 0
        self.made.append(self)

    def ask_run(self, seconds: int) -> None:
        self.asked = self.bench.seconds + seconds
        assert seconds <= LONGEST_S
        super().ask_run(seconds)

    def beat(self):
        seen = super().beat()
        if self.bench.world.relay_pin:
            self.closed_s += 1
            self.closed_unasked += self.bench.seconds > self.asked + SCAN_S  # it ends with a scan
            if self.closed_s == self.stop_after_s:
                raise KeyboardInterrupt
        return seen


@pytest.fixture
def watched(monkeypatch):
    Watched.made.clear()
    monkeypatch.setattr(commission_virtual, "VirtualSeat", Watched)
    return Watched.made


def test_the_contact_closes_in_asked_runs_alone_and_is_open_at_the_end(here, watched):
    assert commanded() == 0
    (seat,) = watched
    assert seat.closed_s > 300 and seat.closed_unasked == 0
    assert not seat.bench.world.relay_pin and seat.settings.wish_pct == 40.0


def test_ctrl_c_with_the_valve_open_opens_the_contact(here, watched, monkeypatch, capsys):
    monkeypatch.setattr(Watched, "stop_after_s", 20)
    assert commanded() == commission.EXIT_INTERRUPTED
    (seat,) = watched
    assert seat.closed_s >= 20 and not seat.bench.world.relay_pin
    assert "go on with --resume" in capsys.readouterr().out
    assert outcomes()["open_contact"] == "passed" and "water" not in outcomes() and record()["passed"] is None


@pytest.fixture
def proving(tmp_path):
    """(virtual board, the board's side over it, at the valve's opening) as a line would drive it."""
    world = VirtualBoard()
    install(world)
    world.heat_call = world.fan_running = world.terminal_live = True
    found = commission_onboard.Proving(open_pins(), Clock(world), str(tmp_path), HOLD_PCT)
    for _ in range(320):
        found.second()
    found.ask(120)
    while not world.relay_pin:
        found.second()
        assert world.us < 400_000_000
    return world, found


def test_a_line_that_falls_silent_opens_the_contact_and_starts_the_board_afresh(proving):
    world, _ = proving
    world.advance_us(4_500_000)
    assert world.relay_pin
    world.advance_us(1_000_000)
    assert not world.relay_pin
    with pytest.raises(BoardReset):
        world.advance_us(3_000_000)


def test_on_the_line_only_the_alarm_button_acts(proving):
    world, found = proving
    world.leak = "wet"
    found.second()
    assert not world.relay_pin and found.app.controller.permit.latched
    world.leak = "dry"
    for _ in range(15):
        found.second()
    presses = []
    for button in ("look_pressed", "alarm_pressed"):
        setattr(world, button, True)
        for _ in range(4):
            presses += found.second()[1]
        setattr(world, button, False)
        for _ in range(15):
            presses += found.second()[1]
    assert presses == [PRESS_LOOK_LONG, PRESS_ALARM]
    assert found.app.readings.look == SAW_NOTHING and found.app.controller.glass.looks == [0, 0]
    assert not found.app.controller.permit.latched


@pytest.mark.parametrize("name", ["k1_closed_vac", "water_flows", "valve_ma"])
def test_answers_that_end_with_the_valve_open_open_the_contact(here, watched, name):
    text = re.sub(rf"(?m)^{name} .*\n", "", ANSWERS.read_text(encoding="utf-8"))
    assert commanded(answers=text) == 2
    (seat,) = watched
    assert seat.closed_s > 0 and not seat.bench.world.relay_pin


@pytest.mark.parametrize("answer", ["n", "skip the drain is out of sight"])
def test_a_step_that_ends_under_an_open_valve_shuts_it_at_once(here, watched, answer):
    assert commanded(answers=changed(water_flows=answer)) == 1
    (seat,) = watched
    assert not seat.bench.world.relay_pin and seat.closed_unasked == 0
