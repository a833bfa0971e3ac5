"""The same house with the firmware's own app on the virtual board, beat by beat: faults of the board and its wires.

The board is switched on LEAD_MIN before the fault with what the decision has learned by then, and goes on in the same
house.  Resets start the app again from what it stored, as main.py does.
"""

import json
import tempfile

from dewcore import learned
from dewcore.readings import ON
from dewsim import onboard
from dewsim.faults_world import LEASE_S, STEP_S, World

LEAD_MIN = 30
BEAT_US = 1_000_000
START_S = 4  # of the serial window and the program's start
TELL_TIME_MIN = 60
# What the board's list of events says, as a word
EVENTS = {
    "started again by the watchdog": "watchdog_reset",
    "safe mode": "safe_mode",
    "beat failed": "beat_failed",
    "not stored": "not_stored",
}


class BoardWorld:
    """House and board; to whoever watches it the same as a World: controller, readings, command, starts, now_s."""

    def __init__(self, from_world: World, folder: str):
        onboard.needs_firmware()
        from dewboard.store import Store, save_settings
        from dewsim.virtual import VirtualBoard, install

        self.course, self.sensors, self.house = from_world.course, from_world.sensors, from_world.house
        self.settings = from_world.settings
        self.utc_start_s, self.utc_offset_s = from_world.utc_start_s, from_world.utc_offset_s
        self.k = from_world.now_s // STEP_S
        self.now_s = from_world.now_s
        self.folder = folder
        self.board = VirtualBoard()
        install(self.board)
        save_settings(Store(folder, "settings"), self.settings)
        Store(folder, "probes").save(json.dumps(self.board.rom_codes()).encode())
        Store(folder, "learned").save(bytes(learned.pack(from_world.controller, self.utc_start_s + self.now_s)))
        self.inject = self.act = None
        self.kept: dict = {}
        self.begun_s = 0
        self.pace = 1.0  # seconds of the board's clock in a second of the house
        self.starts = self.unproven_s = self.forced_s = 0
        self.command = False
        self.proof_lost_us = -1
        self.start()

    def start(self) -> None:
        """What main.py does after the serial window."""
        from dewboard import start
        from dewboard.clock import Clock
        from dewboard.pins import open_pins

        self.app = start.build(open_pins(), Clock(self.board), self.folder)
        self.controller, self.readings = self.app.controller, self.app.readings
        self.told = 0  # of this start's events, those that `events` has told
        self.tell_time()

    def tell_time(self) -> None:
        """What a feed's message would tell of the time."""
        sent_s = self.utc_start_s + self.now_s
        message = {"schema": 1, "source": "replay", "sent_s": sent_s, "utc_offset_s": self.utc_offset_s}
        self.app.wall.take({**message, "issued_s": sent_s}, False, self.app.clock.now_s())

    @property
    def since_s(self) -> int:
        return self.now_s - self.begun_s

    def break_parts(self, fault, chance) -> None:
        """The fault begins now."""
        self.chance = chance
        self.begun_s = self.now_s
        self.act = fault.inject
        if fault.begin:
            fault.begin(self)

    def minute(self, k: int, note=None) -> None:
        """House step k: the world as the house has it, and a minute of beats."""
        from dewsim.virtual import BoardReset

        self._show(k)
        if k % TELL_TIME_MIN == 0:
            self.tell_time()
        board = self.board
        begun_us, length_us = board.us, int(STEP_S * BEAT_US * self.pace)
        flowed_us = 0
        while board.us - begun_us < length_us:
            before_us, powered = board.us, board.valve_powered
            self.now_s = STEP_S * k + int((before_us - begun_us) / self.pace) // BEAT_US
            try:
                if self.act:
                    self.act(self)
                self.app.beat()
                board.advance_us(max(0, BEAT_US - (board.us - before_us)))
            except BoardReset:
                board.advance_us(START_S * BEAT_US)
                self.start()
            flowed_us += (board.us - before_us) if powered and board.valve_powered else 0
            self._look(before_us, note)
        self.now_s = STEP_S * (k + 1)
        self.house.step(k, min(1.0, flowed_us / length_us))

    def _show(self, k: int) -> None:
        """The house at step k on chips and wires; what is broken stays so."""
        c, board = self.course, self.board
        true_pct = self.house.rh_pct(k)
        rh_pct = true_pct if self.sensors.exact else self.sensors.rh(k, true_pct)
        for name, value in (
            ("indoor_c", self.sensors.indoor_c[k]),
            ("rh_pct", rh_pct),
            ("outdoor_c", self.sensors.outdoor_c[k]),
        ):
            if value == value:  # a reading the sensor model drops: here the last one, once more
                setattr(board, name, value)
        fan, heat = bool(c.fan[k]), bool(c.heat[k])
        if fan != board.fan_running:
            board.fan_running = board.terminal_live = fan
        if heat != board.heat_call:
            board.heat_call = heat

    def _look(self, before_us: int, note) -> None:
        """What the contact did in this beat, and what was told."""
        board = self.board
        is_closed = board.relay_pin
        if is_closed and not self.command:
            self.starts += 1
        self.command = is_closed
        if is_closed and self.readings.fan.state != ON:
            if self.proof_lost_us < 0:
                self.proof_lost_us = before_us
            over_us = board.us - self.proof_lost_us - LEASE_S * BEAT_US
            self.unproven_s += max(0, min(board.us - before_us, over_us)) // BEAT_US
        else:
            self.proof_lost_us = -1
        if board.valve_powered and not is_closed:
            self.forced_s += 1
        if note:
            note(self)

    def events(self) -> list:
        """Words of the events since the last look."""
        events = self.app.events
        numbers = range(max(self.told, events.count - len(events)), events.count)
        self.told = events.count
        texts = [events.get(number)[1] for number in numbers]
        return [word for text in texts for start, word in EVENTS.items() if text.startswith(start)]


def shown_on(**world):
    """What the wires and chips of the virtual board show from now on."""

    def begin(board_world):
        for name, value in world.items():
            setattr(board_world.board, name, value)

    return begin


def hangs(irq: bool):
    """The program stands still for a minute, with interrupts on or off."""

    def begin(board_world):
        board_world.kept["hang"] = True

    def act(board_world):
        if board_world.kept.pop("hang", False):
            board_world.board.block(60.0, irq)

    return begin, act


def power_cuts(every_s: int, count: int):
    """The supply goes off for a moment, so many times."""

    def act(board_world):
        done = board_world.kept.get("cuts", 0)
        if done < count and board_world.since_s >= every_s * (done + 1):
            board_world.kept["cuts"] = done + 1
            board_world.board.power_cut()

    return act


def scan_fails(board_world) -> None:
    """Each scan ends in an exception from now on."""

    def scan(*_):
        raise MemoryError("planted")

    class Failing:
        """The controller, but for its scan."""

        def __init__(self, controller):
            self.controller = controller
            self.scan = scan

        def __getattr__(self, name):
            return getattr(self.controller, name)

    board_world.app.controller = Failing(board_world.app.controller)


def pace_of(pace: float):
    """The board's clock runs fast or slow."""

    def begin(board_world):
        board_world.pace = pace

    return begin


def wraps(board_world) -> None:
    """The millisecond counter starts again ten minutes from now."""
    from dewsim.virtual_time import TICKS

    shift = (TICKS - 600_000 - board_world.board.ticks_ms()) % TICKS
    board_world.board.start_ms = (board_world.board.start_ms + shift) % TICKS
    board_world.app.clock.last_ms = board_world.board.ticks_ms()


def bus_held(board_world) -> None:
    """A chip was cut off in mid-byte and holds the data line for nine clocks."""
    board_world.board.hold_sda(9)


def folder():
    """Where one board keeps what it stores."""
    return tempfile.TemporaryDirectory(prefix="dewmargin-")
