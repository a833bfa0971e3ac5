"""Bench scripts: the shipped one covers every reason and notice and passes; sheets, refusals, the bench's own truth."""

import hashlib
import re
from pathlib import Path

import pytest

from dewcore import words
from dewcore.permit import LATCHING
from dewsim import bench, bench_inputs, bench_script, bench_sheet, install_files
from dewsim.bench_world import Bench, remembering
from dewsim.cli import main
from dewsim.errors import InputError

ROOT = Path(__file__).resolve().parents[2]
ACCEPTANCE = (ROOT / "sim/dewsim/data/acceptance.bench").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def acceptance(tmp_path_factory):
    """(exit status, sheet) of the shipped script by its command."""
    sheet = tmp_path_factory.mktemp("bench") / "sheet.html"
    return main(["bench", "--script", "acceptance", "--out", str(sheet)]), sheet.read_text(encoding="utf-8")


@pytest.fixture
def a_bench():
    """A bench, and nothing of it left on disk."""
    made = Bench()
    yield made
    made.close()
    assert not Path(made.bed.folder).exists()


def run(text: str, made: Bench) -> list:
    """The results of a script's trials."""
    return [bench_script.run_trial(made, trial) for trial in bench_script.parse(text, "x.bench")]


def command(tmp_path, text: str) -> tuple:
    """(exit status, sheet or "") of a script by its command."""
    script, sheet = tmp_path / "own.bench", tmp_path / "own.html"
    script.write_text(text, encoding="utf-8")
    status = main(["bench", "--script", str(script), "--out", str(sheet)])
    return status, sheet.read_text(encoding="utf-8") if sheet.exists() else ""


# -- the shipped script


def test_the_shipped_script_expects_every_reason_notice_and_latched_alarm():
    expected = {}
    for trial in bench_script.parse(ACCEPTANCE, "acceptance"):
        for step in trial.steps:
            if isinstance(step, bench_script.Expectation):
                expected.setdefault(step.subject[0], set()).add(step.subject[1])
    assert expected["reason"] == {name for name, _ in words.REFUSALS} - {"bench_shim"}  # which no bench tells
    assert expected["notice"] == {name for name, _ in words.NOTICES}
    assert expected["alarm"] == {name for n, (name, _) in enumerate(words.REFUSALS) if LATCHING >> n & 1}


def test_the_shipped_script_passes_and_its_sheet_says_so(acceptance):
    status, sheet = acceptance
    assert status == 0
    count = sum(
        isinstance(step, bench_script.Expectation)
        for trial in bench_script.parse(ACCEPTANCE, "acceptance")
        for step in trial.steps
    )
    assert f"All {count} expectations of {ACCEPTANCE.count('trial ' + chr(34))} trials passed." in sheet
    assert "FAILED" not in sheet
    assert sheet.count('<td class="r">passed</td>') == count


def test_the_sheet_tells_versions_hashes_proof_and_where_to_sign(acceptance):
    _, sheet = acceptance
    assert hashlib.sha256(ACCEPTANCE.encode()).hexdigest() in sheet
    for name, path in install_files.sources().items():
        assert f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {name}\n" in sheet
    assert bench_sheet.release()[0] in sheet
    assert "installed as command; best seen in the trials: airflow" in sheet
    for text in ("Technician: name", "Signature", "Received by: name", "virtual board", "licensed practice"):
        assert text in sheet
    assert not re.search(r"https?://|<script|src=", sheet)


def test_a_relay_driver_that_never_opens_fails_the_shipped_script(a_bench, monkeypatch):
    from dewboard.relay import Relay

    monkeypatch.setattr(Relay, "open_contact", lambda self: self.close_contact())
    wrong = [trial for trial in bench_script.parse(ACCEPTANCE, "acceptance") if trial.title.startswith("The fan stops")]
    assert not bench_script.run_trial(a_bench, wrong[0]).passed


def test_an_alarm_that_is_not_latched_fails_the_shipped_script(a_bench, monkeypatch):
    from dewcore.permit import Permit

    check = Permit.check

    def forgetful(self, *arguments):
        refusals = check(self, *arguments)
        self.latched = 0
        return refusals

    monkeypatch.setattr(Permit, "check", forgetful)
    wrong = [trial for trial in bench_script.parse(ACCEPTANCE, "acceptance") if trial.title.startswith("Water at the")]
    assert not bench_script.run_trial(a_bench, wrong[0]).passed


# -- steps, and how long expectations wait

SHORT = """
trial "Fan"
expect contact open
expect valve open within 10 s     # the shortest pause alone is 300 s
set fan off
expect reason fan_off for 3 s
"""


def test_what_fails_is_told_with_what_happened_and_the_run_goes_on(tmp_path, capsys):
    status, sheet = command(tmp_path, SHORT)
    assert status == 1
    told = capsys.readouterr().out
    assert "FAILED  Fan (2 of 3)" in told
    assert "line 4: valve open within 10 s: valve shut, still after 10 s." in told
    assert "1 of 3 expectations FAILED, in 1 of 1 trials." in sheet
    assert '<tr class="failed"><td class="n">1.2</td>' in sheet
    assert "reason: fan_off" in sheet


def test_a_run_is_the_same_each_time(a_bench):
    first, second = run(SHORT, a_bench), run(SHORT, a_bench)
    assert [result.outcomes for result in first] == [result.outcomes for result in second]


def test_an_expectation_sees_no_state_from_before_a_change(a_bench):
    (result,) = run('trial "x"\nexpect reason fan_off within 1 s\nset fan off\nexpect call on within 1 s', a_bench)
    assert [outcome.passed for outcome in result.outcomes] == [False, True]
    assert a_bench.seconds == 2  # one beat for each, though the call was on all the time


def test_for_means_at_every_second_of_it(a_bench):
    text = 'trial "x"\nset fan off\nwait 400 s\nset fan on\nexpect reason fan_settling within 5 s for 30 s'
    (result,) = run(text, a_bench)
    assert not result.passed
    assert re.search(r"but only for (8|9|10) s: then", result.outcomes[0].happened)


def test_an_input_drifts_evenly(a_bench):
    text = 'trial "x"\nset outdoor_c -10 over 10 min\nwait 5 min\nexpect outdoor_c from -5.5 to -4.5'
    assert run(text + "\nwait 10 min\nexpect outdoor_c from -10.1 to -9.9 within 1 s", a_bench)[0].passed


def test_all_settings_before_the_first_step_are_installed(a_bench):
    (trial,) = bench_script.parse('trial "x"\nsetting has_room 1; setting has_glass 1\nsetting wish_pct 30\nwait 1 s\n'
                                  "setting band_pct 3\nexpect contact open", "x.bench")  # fmt: skip
    assert trial.settings == {"has_room": 1, "has_glass": 1, "wish_pct": 30.0}


def test_settings_before_the_first_step_are_installed_and_later_ones_come_from_the_page(a_bench):
    text = 'trial "x"\nsetting has_room 1\nwait 30 s\nsetting wish_pct 11\nexpect target_pct from 11 to 11 within 70 s'
    assert run(text, a_bench)[0].passed
    assert a_bench.app.settings.has_room == 1
    a_bench.renew()
    assert (a_bench.app.settings.has_room, a_bench.app.settings.wish_pct) == (0, 40.0)


def test_a_step_that_the_board_refuses_fails_where_it_stands(a_bench):
    text = 'trial "x"\nclock 06:00\nwait 2 s\nforecast 0\nforecast 0 issued 2 h ago\nexpect contact open'
    (result,) = run(text, a_bench)
    assert [outcome.passed for outcome in result.outcomes] == [False, True]
    assert "issued_s" in result.outcomes[0].happened


def test_settings_of_a_house_are_those_that_boards_are_installed_with(tmp_path, capsys):
    house = tmp_path / "h.toml"
    house.write_text('name = "Bench House"\n[settings]\nhas_drain_wet = 1\n')
    script = tmp_path / "own.bench"
    script.write_text('trial "x"\nset drain open\nexpect reason contact_unreadable within 5 s\n')
    sheet = tmp_path / "own.html"
    assert main(["bench", str(house), "--script", str(script), "--out", str(sheet)]) == 0
    assert re.search(r"those of Bench House: .*has_drain_wet 1", sheet.read_text(encoding="utf-8"))


# -- refusals

WRONG = (
    ("", "found no expectation"),
    ("wait 3 s", "line 1, column 1: found a step before the first trial"),
    ('trial "x', "line 1, column 7: a quote that is never closed"),
    ("trial x", "line 1, column 7: found 'x', wanted is a title in"),
    ('trial "x"\n  sett rh_pct 3', "line 2, column 3: found 'sett', allowed as first word of a step"),
    ('trial "x"; set rh 3', "line 1, column 16: found 'rh', allowed as input is"),
    ('trial "x"\nset rh_pct', "line 2, column 11: the step ends here, wanted is its value"),
    ('trial "x"\nset rh_pct 300', "column 12: rh_pct: found '300', allowed is a number from 0 to 100 %"),
    ('trial "x"\nset rh_pct nan', "column 12: rh_pct: found 'nan'"),
    ('trial "x"\nset rh_pct 1e1', "column 12: rh_pct: found '1e1'"),
    ('trial "x"\nset leak moist', "column 10: leak: found 'moist', allowed is dry, wet, open, short, live"),
    ('trial "x"\nset fan off over 3 s', "fan is no number that could drift"),
    ('trial "x"\nfault relay_wedled', "column 7: found 'relay_wedled', allowed as fault is one of"),
    ('trial "x"\nwait 3', "column 7: the step ends here, wanted is unit of time"),
    ('trial "x"\nwait 3 weeks', "column 8: found 'weeks', allowed as unit of time is s, min, h, d"),
    ('trial "x"\nwait 0.5 s', "column 6: found 0.5 s, allowed are 1 to 1209600 whole seconds"),
    ('trial "x"\nwait 15 d', "column 6: found 1.296e+06 s, allowed are"),
    ('trial "x"\nwait 3 s now', "column 10: found 'now' after a whole step"),
    ('trial "x"\nclock 24:00', "column 7: found '24:00', allowed is 00:00 to 23:59"),
    ('trial "x"\nforecast 0 issued 3 h', "column 22: the step ends here, wanted is word after it: ago"),
    ('trial "x"\nsetting has_dog 1', "column 9: has_dog: no such setting"),
    ('trial "x"\nsetting band_pct 99', "column 18: band_pct: found 99"),
    ('trial "x"\nsetting glass_f_night 0.9', "column 23: glass_f_night: above glass_f_day"),
    ('trial "x"\npress both 4 h', "column 14: found 'h', allowed as unit of time is s"),
    ('trial "x"\nexpect reason leak_wett', "column 15: found 'leak_wett', allowed as reason is one of 30, such as"),
    ('trial "x"\nexpect no valve open', "column 11: found 'valve', allowed as what to expect is reason, notice, alarm"),
    ('trial "x"\nexpect valve opened', "column 14: found 'opened', allowed as state of valve is open, shut"),
    ('trial "x"\nexpect target_pct over 3', "column 19: found 'over', allowed as comparison is above, below, from"),
    ('trial "x"\nexpect sentence it', "column 17: found 'it', wanted is a sentence in"),
    ('trial "x"\n' + "wait 14 d\n" * 5, "line 6, column 9: more than 20000 steps or 5184000 s (60 d)"),
)


@pytest.mark.parametrize(("text", "refusal"), WRONG, ids=[str(n) for n in range(len(WRONG))])
def test_a_wrong_script_is_refused_by_line_and_column_and_nothing_is_written(text, refusal, tmp_path, capsys):
    status, sheet = command(tmp_path, text)
    told = capsys.readouterr()
    assert (status, sheet, told.out) == (2, "", "")
    assert told.err.count("\n") == 1
    assert "own.bench" in told.err
    assert refusal in told.err


def test_other_files_are_refused(tmp_path, capsys):
    binary = tmp_path / "b.bench"
    binary.write_bytes(b'trial "x"\n\xff\n')
    large = tmp_path / "l.bench"
    large.write_bytes(b"#" * (bench_script.MOST_BYTES + 1))
    for path, refusal in (
        (binary, "line 2: found bytes that are not UTF-8"),
        (large, "found more than 500000 bytes"),
        (tmp_path / "none", "cannot be read"),
        (tmp_path, "cannot be read (Is a directory)"),
    ):
        assert main(["bench", "--script", str(path), "--out", str(tmp_path / "s.html")]) == 2
        assert refusal in capsys.readouterr().err
    other = tmp_path / "other.html"
    other.write_text("mine")
    script = tmp_path / "own.bench"
    script.write_text(SHORT)
    assert main(["bench", "--script", str(script), "--out", str(other)]) == 2
    assert other.read_text() == "mine"


# -- the bench tells the truth


SENSED = ("_half_wave", "_chatter", "_lit")


def test_pulses_out_of_memory_are_those_that_the_firmware_counts(a_bench):
    """Beat for beat, at all places in the wave, with every fault of the senses."""
    from dewboard.contacts import Contacts

    for hz in ("60", "50"):
        a_bench.renew()
        world = a_bench.world
        bench_inputs.put(world, "mains_hz", hz)
        memory = a_bench.app.hardware.contacts
        plain = Contacts(a_bench.bed.pins, a_bench.app.clock, a_bench.app.settings)
        for n, fault in enumerate([None, *[name for name in bench_inputs.FAULTS if name.endswith(SENSED)]]):
            if fault:
                a_bench.break_it(fault, True)
            bench_inputs.put(world, "heat_call", ("on", "off")[n % 2])
            for _ in range(40):
                world.feed()
                world.sleep_us(137)
                began_us = world.us
                Contacts._pulses(plain)
                took_us, changes = world.us - began_us, list(plain.changes)
                world.us = began_us
                world.feed()
                world.sleep_us(0)
                memory._pulses()
                assert (world.us - began_us, list(memory.changes)) == (took_us, changes)
            if fault:
                a_bench.break_it(fault, False)


def test_where_a_timer_fires_among_the_reads_they_are_read_one_by_one(a_bench):
    for _ in range(400):
        a_bench.beat()
    assert a_bench.world.relay_pin
    a_bench.world.advance_us(5_000_000 - 80_000 - a_bench.world.us % 1_000_000)
    memory = remembering(a_bench.world, a_bench.bed.pins, a_bench.app.clock, a_bench.app.settings)
    while a_bench.world.relay_pin:  # the lease of 5 s ends among these reads
        memory._pulses()
    assert a_bench.world.us < 409_000_000


def test_every_fault_and_input_can_be_set_seen_and_taken_back(a_bench):
    world = a_bench.world
    for name in bench_inputs.FAULTS:
        assert not bench_inputs.is_broken(world, name), name
        a_bench.break_it(name, True)
        assert bench_inputs.is_broken(world, name), name
        a_bench.break_it(name, False)
        assert not bench_inputs.is_broken(world, name), name
    for name, _, choices in bench_inputs.CHOICES:
        for choice in choices:
            a_bench.set(name, bench_inputs.accepted(name, choice))
            assert bench_inputs.shows(world, name) == choice
    for name, *_ in bench_inputs.NUMBERS:
        a_bench.set(name, bench_inputs.accepted(name, "12.5"))
        assert bench_inputs.shows(world, name) == 12.5
    with pytest.raises(InputError, match="found the input 'x'"):
        bench_inputs.accepted("x", "1")


def test_a_board_whose_watchdog_bites_starts_again_with_its_contact_open(a_bench):
    a_bench.app.hardware.feed = lambda: None
    for _ in range(12):
        a_bench.beat()
    assert a_bench.restarts == 1
    assert not a_bench.world.relay_pin
    assert a_bench.app.counters.watchdog_resets == 1
    assert a_bench.seconds == 12


def test_the_shipped_script_is_found_by_its_name():
    assert bench.source("acceptance") == ("the shipped acceptance script", ACCEPTANCE.encode())


def test_the_readmes_script_runs(a_bench):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(r'(?m)^((?:    .*\n|\n)*    trial "(?:    .*\n|.*\n)(?:    .*\n|\n)*)', text)
    assert found, "no script in README.md"
    script = re.sub("(?m)^    ", "", found.group(1))
    results = run(script, a_bench)
    assert results
    assert all(result.passed for result in results)
