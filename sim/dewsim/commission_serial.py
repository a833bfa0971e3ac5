"""A real board in commissioning, on its serial line: a thread lets its seconds pass while a person reads and types."""

import ast
import threading
from contextlib import suppress
from importlib import resources

from dewcore.settings import TABLE, Settings
from dewsim import commission_board
from dewsim.commission_board import HOLD_PCT, Seat, Seen
from dewsim.errors import InputError
from dewsim.install_link import Link

BEGIN_S = 30.0
LET_GO_S = 4.0  # the thread is in a second of the board
SECOND_S = 15.0  # a beat over the line, with whatever is slow about it
BEGIN = """
import time
from machine import unique_id
from binascii import hexlify
from dewboard.clock import Clock
from dewboard.pins import open_pins
from dewboard.release import has_shim
if has_shim():
    raise RuntimeError("dewboard is there with the bench shim")
proving = Proving(open_pins(), Clock(time), {folder!r}, {hold!r})
print(repr((hexlify(unique_id()).decode(), proving.settings())))
"""
NO_RELEASE = "install the program first: `dewmargin install PORT`"


class SerialSeat(Seat):
    """The board at a port.  Only the thread touches the line while it runs."""

    simulated = False

    def __init__(self, port: str):
        self.port = port
        self.cable_out = False  # a person was asked to pull it
        self.changed = threading.Condition()
        self._begin()

    def _begin(self) -> None:
        """Connect, send the board's side, let the seconds pass."""
        from dewboard.start import FOLDER

        self.link = Link(self.port)
        try:
            self.link.connect()
            source = (resources.files("dewsim") / "commission_onboard.py").read_text("utf-8")
            text = self.link.run("starting", source + BEGIN.format(folder=FOLDER, hold=HOLD_PCT), BEGIN_S)
        except InputError as problem:
            self.link.reset()
            text = str(problem)
            raise InputError(f"{text.split(';')[0]}; {NO_RELEASE}" if "dewboard" in text else text) from None
        number, values = ast.literal_eval(text.strip().splitlines()[-1])
        self.name = "board " + number
        self.settings = Settings()
        self.settings.change({row[0]: type(row[2])(float(values[row[0]])) for row in TABLE})
        self.wanted: "int | None" = None
        self.count = 0
        self.presses: list = []
        self.told: tuple = ()
        self.problem: "InputError | None" = None
        self.ending = False
        self.thread = threading.Thread(target=self._seconds, daemon=True)
        self.thread.start()

    def _seconds(self) -> None:
        """One after the other, until the end or until the board is gone."""
        link = self.link
        while not self.ending and self.thread is threading.current_thread():
            wanted, self.wanted = self.wanted, None
            ask = "" if wanted is None else f"proving.ask({wanted})\n"
            problem, told, presses = None, (), []
            try:
                text = link.run("watching it", ask + "print(repr(proving.second()))", SECOND_S)
                told, presses = ast.literal_eval(text.strip().splitlines()[-1])
            except InputError as error:
                problem = error
            except Exception as error:  # noqa: BLE001 - told by the next beat; a thread that dies tells nobody
                problem = InputError(f"{self.port}: the board answers with something else ({error!r})")
            with self.changed:
                if self.thread is not threading.current_thread():
                    return
                self.told, self.problem = told, problem
                self.presses += presses
                self.count += 1
                self.changed.notify()
            if problem is not None:
                return

    def beat(self) -> Seen:
        self._wait()
        if self.cable_out and self.problem is not None:  # it was pulled as told, and is back
            self.cable_out = False
            self._let_go()
            self._begin()
            self._wait()
        if self.problem is not None:
            raise InputError(f"{str(self.problem).split(';')[0]}; its watchdog opens the contact; go on with --resume")
        with self.changed:
            presses, self.presses = self.presses, []
            return commission_board.seen(self.told, presses)

    def _let_go(self) -> None:
        """The line, even from a thread that hangs in it: it will find that it is no longer asked."""
        self.ending = True
        if self.problem is not None:
            self.link.close()
        self.thread.join(LET_GO_S)

    def _wait(self) -> None:
        """For the next second, or for what went wrong in it."""
        with self.changed:
            before = self.count
            came = self.changed.wait_for(lambda: self.problem is not None or self.count > before, 2.0 * SECOND_S)
            if not came:
                self.problem = InputError(f"{self.port}: the board is silent")

    def ask_run(self, seconds: int) -> None:
        self.cable_out = self.cable_out and not seconds
        self.wanted = seconds

    def do(self, what: str, how: str) -> None:
        if what == "supply":
            self.cable_out = True

    def close(self) -> None:
        """Contact open at once, then the board starts its own program."""
        self._let_go()
        with suppress(InputError):  # a board that is gone has opened it by itself
            if self.problem is None and not self.thread.is_alive():
                self.link.run("ending", "proving.app.hardware.drive(False)")
        self.link.reset()
