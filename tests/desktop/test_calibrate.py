"""`dewmargin calibrate`: the line through two points, its uncertainty, the guided way, what the board makes of it."""

import io
import re
from math import hypot

import pytest

from dewcore.controller import Controller
from dewcore.readings import Readings
from dewcore.settings import Settings
from dewsim import calibrate, plant, salts
from dewsim.cli import main
from dewsim.errors import InputError

DAY = ["--date=2026-10-01"]
DRY, HUMID = "--point=MgCl2:22C:34.6", "--point=NaCl:22C:77.1"


def line(dry=34.6, humid=77.1, t_c=22.0, spread_k=0.2):
    return calibrate.line_of(
        [calibrate.Point("NaCl", t_c, humid, spread_k), calibrate.Point("MgCl2", t_c, dry, spread_k)]
    )


def printed(text: str) -> dict:
    return {name: float(value) for name, value in re.findall(r"^  (\w+) = (\S+)$", text, re.MULTILINE)}


def test_both_points_come_out_true():
    found = line()
    for point in (found.low, found.high):
        assert found.offset_pct + found.gain * point.reading_pct == pytest.approx(point.true_pct, abs=1e-9)
    assert found.low.salt == "MgCl2"


@pytest.mark.parametrize(("offset", "gain"), [(0.0, 1.0), (-3.0, 1.0), (2.0, 1.08), (4.0, 0.9)])
def test_a_sensor_with_a_known_error_is_put_right(offset, gain):
    """A sensor that reads (true - offset)/gain gets just this offset and gain back."""
    dry, humid = salts.over("MgCl2", 22.0)[0], salts.over("NaCl", 22.0)[0]
    found = line((dry - offset) / gain, (humid - offset) / gain)
    assert found.settings()["rh_offset_pct"] == pytest.approx(offset, abs=0.006)
    assert found.settings()["rh_gain"] == pytest.approx(gain, abs=0.0001)


def test_uncertainty_is_what_random_errors_of_the_points_come_to():
    """Monte Carlo of both points, each within its bound taken as a standard deviation."""
    found, chance = line(), plant.Chance(7)
    low, high = found.low, found.high
    for rh in (15.0, 33.0, 45.0, 75.0):
        total, count = 0.0, 4000
        for _ in range(count):
            a = low.true_pct + low.uncertain_pct * chance.normal()
            b = high.true_pct + high.uncertain_pct * chance.normal()
            share = (rh - low.true_pct) / (high.true_pct - low.true_pct)
            total += (a + share * (b - a) - rh) ** 2
        assert (total / count) ** 0.5 == pytest.approx(found.uncertain_at(rh), rel=0.05)


def test_tolerance_by_hand():
    # MgCl2 at 22 °C 32.95 ±0.172, warmth 32.95 * 0.0608/K * 0.2 K = 0.40, reading 0.3: 0.53; NaCl 0.13, 0.92, 0.3: 0.97
    found = line()
    assert found.low.uncertain_pct == pytest.approx(hypot(0.172, 0.40, 0.3), abs=0.01)
    assert found.high.uncertain_pct == pytest.approx(hypot(0.132, 0.917, 0.3), abs=0.01)
    # at 15 %: 1.423 * 0.53 and 0.423 * 0.97: 0.86; with 0.8 and 0.5: 1.28, rounded up
    assert found.line_pct == pytest.approx(0.86, abs=0.01) and found.tolerance_pct == 1.3


def test_direction():
    assert line(spread_k=1.0).tolerance_pct > line(spread_k=0.1).tolerance_pct
    assert line(dry=36.0).offset_pct < line(dry=33.0).offset_pct


def test_what_is_printed_is_what_the_board_takes(capsys):
    assert main(["calibrate", DRY, HUMID, "--ice=outdoor:0.4C", *DAY]) == 0
    text = capsys.readouterr().out
    values = printed(text)
    assert set(values) == {"rh_offset_pct", "rh_gain", "rh_tolerance_pct", "outdoor_offset_k", "outdoor_tolerance_k"}
    settings = Settings()
    settings.change(values)
    controller, readings = Controller(settings), Readings()
    for sample, value in ((readings.indoor_c, 22.0), (readings.rh_pct, 34.6), (readings.outdoor_c, 0.4)):
        sample.set(value, 5)
    controller.scan(readings, 5)
    assert controller.judge.inputs.rh_pct == pytest.approx(salts.over("MgCl2", 22.0)[0], abs=0.01)
    assert controller.judge.inputs.outdoor_c == 0.0
    assert controller.margin.rh_pct == values["rh_tolerance_pct"] == 1.3
    assert "2027-10-01" in text


def test_readings_of_a_board_that_corrects_already_are_taken_back(capsys):
    main(["calibrate", DRY, HUMID, *DAY])
    plain = printed(capsys.readouterr().out)
    offset, gain = 2.0, 1.1
    shown = [f"--point=MgCl2:22C:{offset + gain * 34.6:.4f}", f"--point=NaCl:22C:{offset + gain * 77.1:.4f}"]
    main(["calibrate", *shown, "--present-offset=2", "--present-gain=1.1", *DAY])
    assert printed(capsys.readouterr().out) == plain


def guided(monkeypatch, capsys, *answers: str):
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(answer + "\n" for answer in answers)))
    status = main(["calibrate", *DAY])
    return status, capsys.readouterr()


def test_guided_comes_to_the_same_as_options(monkeypatch, capsys):
    status, told = guided(
        monkeypatch, capsys, "mgcl2", "22C", "34.6", "12", "NaCl", "71.6F", "77.1 %", "12h", "indoor:0.1", ""
    )
    assert status == 0
    main(["calibrate", DRY, HUMID, "--ice=indoor:0.1", *DAY])
    assert printed(told.out) == printed(capsys.readouterr().out) and len(printed(told.out)) == 5
    assert told.out.index("gloves") < told.out.index("Salt of the drier jar")


def test_guided_asks_again_after_a_wrong_answer(monkeypatch, capsys):
    answers = ["sugar", "MgCl2", "72", "22", "nan", "34.6", "-1", "12", "NaCl", "22", "77.1", "12", "garage:1", ""]
    status, told = guided(monkeypatch, capsys, *answers)
    assert status == 0 and len(printed(told.out)) == 3
    for word in ("the salt 'sugar'", "write 72F", "'nan'", "found -1", "'garage:1'"):
        assert word in told.out


def test_guided_ends_in_one_line_where_the_answers_end(monkeypatch, capsys):
    status, told = guided(monkeypatch, capsys, "MgCl2", "22")
    assert status == 2 and told.err.count("\n") == 1 and "the answers ended" in told.err


def test_a_short_wait_is_told(capsys):
    main(["calibrate", DRY, HUMID, "--hours=3", *DAY])
    assert "Only 3 h in the jar" in capsys.readouterr().out


def test_the_table_has_every_salt_with_its_hazard(capsys):
    assert main(["calibrate", "--table", "--units=us"]) == 0
    text = capsys.readouterr().out
    for salt, (_, hazard, _) in salts.KINDS.items():
        assert salt in text and hazard in " ".join(text.split())
    assert "75.29 ±0.12" in text and "children" in text and "77 °F / 25 °C" in text


def test_ice():
    # 0.1 of the slurry and 0.2 of the scale: 0.224, rounded up
    assert calibrate.settings_of(None, [("outdoor", 0.4)]) == {"outdoor_offset_k": -0.4, "outdoor_tolerance_k": 0.3}
    assert calibrate.settings_of(None, [("room", -0.25)]) == {"room_offset_k": 0.25}
    assert calibrate.settings_of(None, [("supply", 0.9)]) == {}
    for name, error_c in (("indoor", -2.1), ("glass", 2.1), ("supply", 1.1)):
        with pytest.raises(InputError, match="replace the sensor"):
            calibrate.settings_of(None, [(name, error_c)])
    with pytest.raises(InputError, match="room is given twice"):
        calibrate.settings_of(None, [("room", 0.1), ("room", 0.2)])


def test_an_ice_reading_of_a_board_that_corrects_already_is_taken_back():
    before = Settings()
    before.change({"glass_offset_k": -0.5})
    assert calibrate.read_ice("glass:-0.1C", before) == ("glass", 0.4)
    assert calibrate.read_ice("glass:-0.1C:-0.5K", None) == ("glass", 0.4)
    assert calibrate.read_ice("supply:32.9F", before) == ("supply", pytest.approx(0.5))
    for text, settings, word in (("glass:0:0", before, "tells its own"), ("supply:0:0", None, "it has none")):
        with pytest.raises(InputError, match=word):
            calibrate.read_ice(text, settings)


def test_a_reading_that_is_too_warm_is_told_where_it_wets_windows(capsys):
    for name, told in (("outdoor", True), ("glass", True), ("indoor", False)):
        assert main(["calibrate", f"--ice={name}:0.4C", *DAY]) == 0
        assert ("the side that wets windows" in capsys.readouterr().out) == told


def test_a_better_sensor_gives_a_higher_target(capsys):
    main(["calibrate", DRY, HUMID, *DAY])
    row = next(row for row in capsys.readouterr().out.splitlines() if "Target it gives" in row)
    given = float(row.split()[3])
    main(["calibrate", DRY, HUMID, "--spread=1K", *DAY])
    row = next(row for row in capsys.readouterr().out.splitlines() if "Target it gives" in row)
    assert float(row.split()[3]) < given
