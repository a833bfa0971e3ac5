"""The whole app on the virtual board in a heated, dry house, beat by beat, and ways to break its parts."""

from bench import BEAT_US, BoardReset, Clock, VirtualBoard, install, open_pins
from flash_models import Flash

from dewboard import history, store
from dewboard import start as boot
from dewcore import words as w

HEATING = ("terminal_live", "fan_running", "heat_call")
OPENS_S = 420  # the shortest pause, counted from the boot, and the weld test


def save_probes(folder):
    """What `install` stores of the thermometers: which one is outdoors."""
    store.Store(folder, "probes").save(('{"outdoor_c":"%s"}' % VirtualBoard().rom_codes()["outdoor_c"]).encode())


class Found:
    """A board whose folder is there already, in a heated, dry house; `start` is what main.py does after its window."""

    def __init__(self, folder, **world):
        self.folder = folder
        self.board = VirtualBoard(**world)
        install(self.board)
        self.board.rh_pct = 12.0
        self.board.outdoor_c = 0.0
        for name in HEATING:
            setattr(self.board, name, True)
        self.start()

    def start(self):
        self.pins = open_pins()
        self.app = boot.build(self.pins, Clock(self.board), self.folder)

    def beat(self, count=1):
        """So many beats, a second each; the decision."""
        for _ in range(count):
            began_us = self.board.us
            self.app.beat()
            self.board.advance_us(BEAT_US - (self.board.us - began_us))
        return self.app.controller.decision

    def opened(self):
        """The valve is open."""
        for _ in range(OPENS_S):
            if self.beat().valve:
                self.beat(10)
                return self
        raise AssertionError("never open: " + str(w.sentences(self.app.controller.decision.refusals, 0)))

    def restart(self, cut="power_cut"):
        """Off and on again."""
        try:
            getattr(self.board, cut)()
        except BoardReset:
            pass
        self.start()

    def press(self, seconds, *names):
        """Hold buttons so long, and go on for a second; the beat runs meanwhile."""
        for name in names:
            setattr(self.board, name, True)
        for n in range(int(seconds * 20) + 20):
            if n == int(seconds * 20):
                for name in names:
                    setattr(self.board, name, False)
            self.app.attend()
            if n % 20 == 19:
                self.app.beat()
            self.board.advance_us(50000)

    def texts(self):
        return [text for _, text in self.app.events]


class Machine(Found):
    """A new board with its flash."""

    def __init__(self, changes=None, **world):
        self.disk = Flash().under(store, history)
        save_probes("kept")
        if changes:
            store.Store("kept", "settings").save(changes)
        super().__init__("kept", **world)


class Boom:
    """Raises `problem` at each call."""

    def __init__(self, problem):
        self.problem = problem

    def __call__(self, *arguments):
        raise self.problem


class Broken:
    """A part of which one method raises."""

    def __init__(self, part, name, problem):
        self.part = part
        if problem is not None:
            setattr(self, name, Boom(problem))

    def __getattr__(self, name):
        return getattr(self.part, name)
