"""The firmware's own app in the simulated house: as the decision alone, and the same on MicroPython."""

import re
import subprocess
import sys
from pathlib import Path

from dewsim import housefile, named, onboard, policies, replay

ROOT = Path(__file__).resolve().parents[2]
MONTH = ROOT / "tests" / "acceptance" / "board_month.py"


def test_a_january_day_on_the_board_equals_the_decision_alone_and_micropython():
    done = subprocess.run([sys.executable, MONTH, "--days", "1"], capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "'differences': 0" in done.stdout
    switches = re.search(r"(\d+) switches, (\d+) of (\d+) in the same second", done.stdout)
    assert switches and int(switches[1]) == int(switches[2]) == int(switches[3]) >= 10
    means = [float(found) for found in re.findall(r"mean RH ([\d.]+) %, added wet minutes 0", done.stdout)]
    assert len(means) == 2 and abs(means[0] - means[1]) < 0.1


def some_hours(hours, change=None):
    """(run, what is told) of the demo's house from October the first on."""
    onboard.needs_firmware()
    house = housefile.load(replay.DEMO_HOUSE)
    if change:
        change(house)
    case = replay.Replay(house, named.winter("hard:3"), 1, "here")
    run, told = onboard.run_board(
        case.course, case.sensors, case.settings, case.clock, 20.0, steps=60 * hours
    )
    return case, run, told


def test_readings_are_the_worlds_within_the_chips_steps():
    _, _, told = some_hours(2)
    worst = told["worst_reading_error"]
    assert 0.0 < worst["indoor_c"] <= 175.0 / 65535.0  # SHT4x data sheet, table of conversions
    assert 0.0 < worst["rh_pct"] <= 125.0 / 65535.0
    assert 0.0 < worst["outdoor_c"] <= 0.03125 + 1e-6  # DS18B20 data sheet: steps of 1/16 K
    assert told["missed_beats"] == told["failed_beats"] == 0


def test_a_sensor_that_drops_out_is_a_silent_chip_and_shuts_the_valve():
    def change(house):
        house.sensors.dropout = 1.0

    case, run, told = some_hours(1, change)
    assert told["switches"] == told["differences"] == 0
    assert run.reason[50] == 10  # indoor_bad
    assert policies.added_wet_minutes(case.course, run.w_g_kg, run.w_g_kg) == 0
