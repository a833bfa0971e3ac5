"""The short form of the attack on the board's page; the full one is tests/acceptance/hostile_lan.py."""

import subprocess
import sys
from pathlib import Path

COMMAND = Path(__file__).parents[1] / "acceptance" / "hostile_lan.py"


def test_a_hostile_network_costs_no_beat_and_changes_nothing():
    done = subprocess.run([sys.executable, str(COMMAND), "--short"], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    for attack in ("idle_crowd", "endless", "slow", "noise", "strangers", "guesses", "settings"):
        assert "\n" + attack in done.stdout
    assert done.stdout.endswith("hostile_lan: all kept\n")
