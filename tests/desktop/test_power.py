"""`dewmargin power`: what is found to fail, and the circuit's formulas against ngspice."""

import re
import shutil
import subprocess
from math import pi, sqrt

import pytest
from malformed_desk import with_others

from dewboard import pin_table
from dewsim import circuit, power, wire
from dewsim.cli import main, parser

NGSPICE = shutil.which("ngspice")
spice = pytest.mark.skipif(NGSPICE is None, reason="no ngspice")
GOOD = ["--transformer=40VA", "--on-it=11VA", "--terminal=500mA", "--valve-current=175mA", "--valve-watts=2.2W"]


def asked(*options: str) -> power.Asked:
    return power.Asked(parser().parse_args(["power", *with_others(GOOD, options)]))


def problems(*options: str) -> str:
    """The text from the heading of what fails on."""
    text = " ".join(str(power.budget(asked(*options))).split())
    found = re.search(r"(What fails, and what to change|Nothing fails) .*", text).group()
    return found


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], ["Nothing fails"]),
        (["--terminal=180mA"], ["takes 187 mA, the terminal gives 180", "interposing relay"]),
        (["--motor=900mA"], ["Valve and motor take 1087 mA", "interposing relay", "never parallel two transformers"]),
        (["--motor=2.5A", "--terminal=5A", "--transformer=100VA"], ["rated 2 A and would switch 2.69"]),
        (["--on-it=25VA"], ["overloaded: 40.5 VA on 40", "supply of its own"]),
        (["--on-it=20VA"], ["less than a fifth to spare: 35.5 VA on 40"]),
        (["--transformer=150VA"], ["no Class 2 supply"]),
        (["--lamp-protection=none"], ["34 V backwards", "antiparallel"]),
        (["--lamp-resistor=470"], ["gets 21 mA"]),
        (["--terminal=230mA"], ["No time-lag fuse carries 187 mA", "interposing relay"]),
        (["--wire=24", "--length=90m", "--inrush=10"], ["while the valve pulls in", "thicker wire"]),
        (["--wire=24", "--length=90m"], ["less than ten times the fuse", "opens late"]),
        (["--contact=1A"], ["rated 2 A or more", "fit another relay"]),
        (["--contact-least=300mA"], ["less than the contact's smallest load"]),
        (["--starts=100", "--contact-cycles=50000"], ["wears out in 2.4 seasons"]),
        (["--five-volt=500mA"], ["5 V supply is too small", "0.6 A or more"]),
    ],
    ids=lambda part: " ".join(part) if part and part[0].startswith("--") else "",
)
def test_what_fails_and_what_to_change(options, words):
    found = problems(*options)
    for word in words:
        assert word in found, found
    if words != ["Nothing fails"] and "Class 2" not in words[0]:
        assert found.startswith("What fails")


def test_the_fuse_lies_between_the_measured_current_and_every_limit():
    for current_ma in range(30, 1500, 35):
        for terminal_ma in (300, 500, 1000, 2000):
            branch, inrush = current_ma / 1000.0, 3 * current_ma / 1000.0
            rated = circuit.fuse_a(branch, inrush, terminal_ma / 1000.0)
            if rated is not None:
                assert branch / circuit.FUSE_LOAD <= rated < terminal_ma / 1000.0
                assert rated * circuit.FUSE_HOLDS >= inrush
            else:
                assert branch / circuit.FUSE_LOAD > 0.79 * terminal_ma / 1000.0 - 0.001


def test_the_senses_are_the_firmwares():
    # two senses of 10 kohm at 24 V: 4.8 mA on top of valve and lamp
    text = str(power.budget(asked()))
    both = 1000 * (asked().lamp.rms_a + 2 * 24.0 / pin_table.SERIES_OHM)
    assert f"{both:.0f} mA" in text and f"{pin_table.SERIES_OHM / 1000:g} kohm each" in text


def test_us_units_and_the_command(capsys):
    assert main(["power", *GOOD, "--units=us", "--length=25ft"]) == 0
    text = capsys.readouterr().out
    assert "25.0 ft" in text and "7.76 ohm/1000 ft" in text and "licensed practice" in text


def test_a_valve_without_watts_says_so():
    found = power.Asked(parser().parse_args(["power", *GOOD[:-1]]))
    assert found.valve.factor is None and "--valve-watts" in str(power.budget(found))
    assert circuit.left_v(found.valve, 25.0, 10.0) == pytest.approx(24.0 - 0.175 * 0.5)


# ngspice


def simulated(tmp_path, lines: list, measures: list) -> dict:
    """Values of .meas lines after a transient over ten cycles of 60 Hz, the first five left to settle."""
    deck = ["* circuit", *lines, ".model led d(is=1e-20 n=1.6 rs=2)", ".model dio d(is=4e-9 n=1.9 rs=0.5)"]
    deck += [".tran 10u 166.667m 83.333m 5u", *(f".meas tran {measure}" for measure in measures), ".end"]
    path = tmp_path / "deck.cir"
    path.write_text("\n".join(deck) + "\n")
    done = subprocess.run([NGSPICE, "-b", str(path)], capture_output=True, text=True, timeout=60)
    found = dict(re.findall(r"^(\w+)\s*=\s*([-+0-9.eE]+)", done.stdout, re.MULTILINE))
    assert found, done.stdout + done.stderr
    return {name: float(value) for name, value in found.items()}


def source(volts: float) -> str:
    return f"V1 hot 0 sin(0 {sqrt(2) * volts:.6f} 60)"


@spice
def test_valve_and_wire(tmp_path):
    """The coil that follows from volts, milliamps and watts draws just those, behind its wire the formula's volts."""
    coil = circuit.Valve(24.0, 0.175, 2.2)
    parts = [f"R1 {{}} a {coil.resistance_ohm:.6f}", f"L1 a 0 {coil.inductance_h:.9f}"]
    # the coil's time constant is 4.3 ms: five cycles settle it
    found = simulated(
        tmp_path,
        [source(24.0), "RS hot b 1e-6", parts[0].format("b"), parts[1]],
        ["amps RMS i(L1)", "p AVG par('v(hot)*-i(V1)')"],
    )
    assert found["amps"] == pytest.approx(coil.amperes, rel=0.002)
    assert found["p"] == pytest.approx(2.2, rel=0.005)
    ohm_km = wire.awg_ohm_km(22, wire.HOT_C)
    loop = ohm_km * 2 * 30.0 / 1000.0
    found = simulated(
        tmp_path, [source(24.0), f"RW hot b {loop:.6f}", parts[0].format("b"), parts[1]], ["left RMS v(b)"]
    )
    left = circuit.left_v(coil, ohm_km, 30.0)
    assert found["left"] == pytest.approx(left, rel=0.0005)
    assert 24.0 - found["left"] <= circuit.drop_v(coil.amperes, ohm_km, 30.0)
    assert 24.0 - found["left"] == pytest.approx(24.0 - left, rel=0.02)


@spice
@pytest.mark.parametrize("protection", ["antiparallel", "series"])
@pytest.mark.parametrize("ohm", [2200.0, 3300.0, 4700.0])
def test_lamp(tmp_path, protection, ohm):
    lamp = circuit.Lamp(24.0, ohm, protection)
    parts = [source(24.0), f"R1 hot a {ohm}"]
    parts += (
        ["D1 a c led", "VM c 0 0", "D2 0 a dio"]
        if protection == "antiparallel"
        else ["D2 a b dio", "D1 b c led", "VM c 0 0"]
    )
    found = simulated(tmp_path, parts, ["mean AVG i(VM)", "peak MAX i(VM)", "r RMS i(V1)", "back MIN v(a)"])
    assert found["mean"] == pytest.approx(lamp.mean_a, rel=0.05)
    assert found["peak"] == pytest.approx(lamp.peak_a, rel=0.03)
    assert found["r"] == pytest.approx(lamp.rms_a, rel=0.06)
    assert found["r"] ** 2 * ohm <= lamp.heat_w
    if protection == "antiparallel":
        assert -found["back"] < 1.0 < power.LED_REVERSE_V


@spice
def test_a_lamp_without_protection_stands_the_whole_voltage_backwards(tmp_path):
    lamp = circuit.Lamp(24.0, 3300.0, "none")
    found = simulated(tmp_path, [source(24.0), "R1 hot a 3300", "D1 a 0 led"], ["back MIN v(a)"])
    assert -found["back"] == pytest.approx(lamp.reverse_v, rel=0.01) and lamp.reverse_v > power.LED_REVERSE_V


@spice
def test_a_suppressor_across_the_contact_looks_like_a_weld(tmp_path):
    """0.1 uF and 100 ohm across the open contact leak 0.9 mA: 0.905 mA ideal, 0.9087 mA with the valve (table)."""
    coil = circuit.Valve(24.0, 0.260, 4.6)
    parts = [
        source(24.0),
        "R1 hot a 100",
        "C1 a b 0.1u",
        f"R2 b c {coil.resistance_ohm:.6f}",
        f"L1 c 0 {coil.inductance_h:.9f}",
    ]
    found = simulated(tmp_path, parts, ["leak RMS i(L1)"])
    assert 1000 * found["leak"] == pytest.approx(0.9087, rel=0.01)
    assert 24.0 * 2 * pi * 60 * 0.1e-6 * 1000 == pytest.approx(0.9048, abs=0.0001)


@spice
def test_branch_current_is_an_upper_bound(tmp_path):
    """Valve, lamp and senses together draw no more than their sum, which the budget counts."""
    found = asked()
    coil, lamp = found.valve, found.lamp
    parts = [
        source(24.0), f"R1 hot a {coil.resistance_ohm:.6f}", f"L1 a 0 {coil.inductance_h:.9f}",
        f"R2 hot b {found.given['lamp-resistor']}", "D1 b 0 led", "D2 0 b dio",
        f"R3 hot 0 {pin_table.SERIES_OHM / 2}",
    ]  # fmt: skip
    whole = simulated(tmp_path, parts, ["amps RMS i(V1)"])["amps"]
    counted = coil.amperes + lamp.rms_a + 2 * 24.0 / pin_table.SERIES_OHM
    assert 0.93 * counted < whole < counted
