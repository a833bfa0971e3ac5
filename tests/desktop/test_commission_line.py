"""The whole of `dewmargin commission --port`, and a season's start: a technician's hands on a board under MicroPython.

The hands are those of the simulated technician; what they do reaches the wires of the board behind the serial line as
lines of Python in front of its next second.
"""

import io
import json
import re
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from board_on_line import ROOT, BoardOnLine, put_program

from dewboard.store import Store
from dewsim import bench_inputs, commission_serial, commission_steps
from dewsim.cli import main
from dewsim.commission_virtual import VirtualSeat
from dewsim.virtual import VirtualBoard

EVERYTHING = {"has_drain_wet": 1, "has_overflow": 1, "has_absent": 1, "has_glass": 1, "has_supply": 1, "fan_grade": 2}
SHORT = {"min_off_s": 60, "min_on_s": 60, "max_starts_per_h": 12}  # pauses of the valve
HELD = {"look": ("look_pressed", 1), "look_long": ("look_pressed", 3), "alarm": ("alarm_pressed", 5)}  # seconds
# The line is looked at every millisecond instead of every ten: a thousand seconds are waited for here.
QUICK = SimpleNamespace(monotonic=time.monotonic, sleep=lambda seconds: time.sleep(min(seconds, 0.001)))
SECOND = "print(repr(proving.second()))"


class Wires:
    """Takes what is done to a virtual board, as lines of Python that do it to the one on the line."""

    def __init__(self):
        self.__dict__.update(orders=[], valve_powered=False, terminal_live=False)

    def __setattr__(self, name, value):
        self.__dict__[name] = value
        self.orders.append(f"board.{name} = {value!r}\n")


class Hands(VirtualSeat):
    """The technician alone."""

    def __init__(self):
        self.bench = self
        self.world = Wires()
        self.fault = ""
        self.state = {
            "furnace": "idle", "f1": "out", "selector": "off", "stop_valve": "shut", "dial": "up", "leak": "dry",
            "float": "down", "absent": "home", "hand": "", "breath": "off",
        }  # fmt: skip
        self._wire()

    def set(self, name, value):
        bench_inputs.put(self.world, name, value)


def seat_of(board):
    """A seat at that board, with hands."""

    class Seat(commission_serial.SerialSeat):
        def __init__(self, port):
            self.hands = Hands()
            self.seconds_of = []  # what a held button still does, a second after the other
            super().__init__(port)

        def _begin(self):
            super()._begin()
            self.hands._wire()
            own = self.link.run

            def run(what, code, timeout_s=10.0):
                return own(what, self._orders() + code if code.endswith(SECOND) else code, timeout_s)

            self.link.run = run

        def _orders(self):
            orders, self.hands.world.__dict__["orders"] = self.hands.world.orders, []
            runs = "board.valve_powered" if self.hands.state["stop_valve"] == "open" else "False"
            held = self.seconds_of.pop(0) if self.seconds_of else ""
            return "".join(orders) + held + f"board.drain = 'wet' if {runs} else 'dry'\n"

        def beat(self):
            seen = super().beat()
            self.hands.world.__dict__["valve_powered"] = seen.contacts["load_sense"] == "on"
            return seen

        def do(self, what, how):
            super().do(what, how)
            if what == "supply":
                self.hands.world.__dict__["valve_powered"] = False
                board.process.kill()
                self.link.close()  # as the port goes with the plug
            elif what == "press":
                name, seconds = HELD[how]
                self.seconds_of += [f"board.{name} = True\n"] + [""] * (seconds - 1) + [f"board.{name} = False\n"]
            else:
                self.hands.do(what, how)

        def shows(self, question):
            return self.hands.shows(question)

    return Seat


@pytest.fixture
def line(tmp_path, monkeypatch):
    """A board with everything fitted on its line, and someone who does as told."""
    monkeypatch.chdir(tmp_path)
    put_program(tmp_path / "flash", EVERYTHING | SHORT)
    Store(str(tmp_path / "flash/kept"), "probes").save(json.dumps(VirtualBoard().rom_codes()).encode())
    with BoardOnLine(tmp_path) as board:
        monkeypatch.setattr(commission_serial, "SerialSeat", seat_of(board))
        monkeypatch.setattr("mpremote.transport_serial.time", QUICK)
        monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 500))
        yield board


def commissioned(board, *options) -> tuple:
    """(exit status, record)."""
    answers = str(ROOT / "sim/dewsim/data/commission.answers")
    status = main(["commission", "--port", board.port, "--answers", answers, "--out", "sheet.html", *options])
    return status, json.loads(Path("sheet.json").read_text(encoding="utf-8"))


def test_the_whole_commissioning_passes_over_the_line(line):
    status, record = commissioned(line)
    assert status == 0 and record["passed"] and not record["simulated"] and line.starts >= 2
    assert [(step["name"], step["outcome"]) for step in record["steps"]] == [
        (step.name, "passed") for step in commission_steps.STEPS
    ]
    found = {check["what"]: check["found"] for step in record["steps"] for check in step["checks"]}
    assert found["line and load on a heat call, F1 out"] == "for 20 s"
    assert re.match(r"line live and load dead for \d+ s before", found["weld test before it closes"])
    assert found["valve current against F1"] == "175 mA"
    sheet = Path("sheet.html").read_text(encoding="utf-8")
    assert "Simulated" not in sheet and "Passed: 29 of 29 steps done" in sheet


def test_a_season_starts_over_the_line(line):
    status, record = commissioned(line, "--season", "start")
    assert status == 0 and record["passed"] and len(record["steps"]) == 13
