"""One drawn house with its faults, one after the other, each from the same moment of the same winter.

`judged` depends on its arguments alone.  The house is left out unless it is `clear` by itself, a humidifier held a
little above the caps would wet its glass, so that a fault can do harm, and it is dry enough to need one.  The
controller learns the house for WARM_DAYS; a day before the fault the scans become ten seconds apart.  From there the
fault-free run goes on, and every fault starts from a copy of it, so the two differ by the fault alone.
"""

from array import array
from random import Random

from dewcore import words as w
from dewsim import family, faults, faults_board, houses, plant, policies
from dewsim.errors import InputError
from dewsim.faults_world import World
from dewsim.sensors import Sensors

WARM_DAYS = 28
BEFORE_DAYS = 1
DAY = 1440  # house steps
WARM_SCAN_S = 60
SETTLED_C = 8.0  # a fault begins in the heating season: on a day no warmer than that
OWNER_S = 86400  # after the right words the owner closes the water by hand
APART_S = 86400  # the same word again within this time is one notice
NOT_CLEAR, NEVER_WET = "not clear", "never wet"
FULL_SETTINGS = dict.fromkeys(("has_drain_wet", "has_supply", "has_glass", "has_room", "has_overflow"), 1)
REFUSAL_NAMES = [row[0] for row in w.REFUSALS]
NOTICE_NAMES = [row[0] for row in w.NOTICES]
LATCHED = {"leak_wet", "overflow", "welded", "drain_runs", "relay_failed"}


class Ear:
    """What is told from a moment on: when each word was first heard, how often anew, and how long the valve was open.

    open_after_s: seconds the contact was told to be closed after `stop` words were first heard.
    """

    def __init__(self, begun_s: int, stop=()):
        self.begun_s = begun_s
        self.first: dict = {}
        self.last: dict = {}
        self.count: dict = {}
        self.masks = (0, 0)
        self.stop = set(stop)
        self.stopped = False
        self.open_after_s = 0
        self.seen_s = begun_s
        self.open_now = False
        self.lines: list = []

    def __call__(self, world) -> None:
        now_s = world.now_s
        d = world.controller.decision
        if self.stopped and self.open_now:
            self.open_after_s += now_s - self.seen_s
        self.seen_s, self.open_now = now_s, world.command
        masks = (d.refusals, d.notices)
        if masks != self.masks:
            self._hear(masks, now_s)
            self.masks = masks
        for word in world.events():
            self._begins(word, now_s)

    def _hear(self, masks, now_s: int) -> None:
        for before, mask, names in zip(self.masks, masks, (REFUSAL_NAMES, NOTICE_NAMES)):
            changed = before ^ mask
            while changed:
                bit = changed & -changed
                changed ^= bit
                name = names[bit.bit_length() - 1]
                if mask & bit:
                    self._begins(name, now_s)
                else:
                    self.last[name] = now_s

    def _begins(self, name: str, now_s: int) -> None:
        if name not in self.first:
            self.first[name] = now_s - self.begun_s
            if name in self.stop:
                self.stopped = True
        if name not in self.last or now_s - self.last[name] >= APART_S:
            self.count[name] = self.count.get(name, 0) + 1
            self.lines.append((now_s - self.begun_s, name))
        self.last[name] = now_s


class Track:
    """Humidity and starts of one run from its onset on."""

    def __init__(self, world: World):
        self.world = world
        self.first_k = world.now_s // 60
        self.starts_before = world.starts
        self.w_g_kg = array("d")
        self.command = bytearray()

    def minute(self, k: int, note) -> None:
        self.world.minute(k, note=note)
        self.w_g_kg.append(self.world.house.w_g_kg)
        self.command.append(self.world.command)

    @property
    def starts(self) -> int:
        return self.world.starts - self.starts_before


def judged(sky, seed: int, index: int, names) -> dict:
    """House number index of the draw `seed` in the weather `sky` with the faults `names`, ready for JSON.

    {"index", "rejected"} for one left out, else {"index", "runs": {name: row}}.
    """
    case = family.Case(sky, seed, index, houses.minutes_of(sky))
    why = left_out(case)
    if why:
        return {"index": index, "rejected": why}
    runs: dict = {}
    for config in (faults.BARE, faults.FULL):
        wanted = [fault for fault in faults.found(names) if fault.config == config]
        broken = [fault for fault in wanted if fault.name not in faults.FREE_NAMES]
        if broken:
            runs.update(House(case, config, max(fault.days for fault in broken)).all(broken))
        runs.update({fault.name: winter(case, config) for fault in wanted if fault.name in faults.FREE_NAMES})
    return {"index": index, "runs": {name: runs[name] for name in names if name in runs}}


def left_out(case: family.Case) -> str:
    """Why the house does not count, or nothing."""
    if case.headroom_class != "clear":
        return NOT_CLEAR
    shut_pct = houses.mean_rh_pct(case, case.shut)
    if shut_pct is None or shut_pct > houses.MOST_SHUT_RH_PCT:
        return houses.HUMID
    return "" if case.could_bind() else NEVER_WET


def settings_of(case: family.Case, config: str):
    """The controller's settings for a house with default tolerances and a fault's circuit."""
    settings = policies.settings_for(case.house, case.house.name)
    if config == faults.FULL:
        settings.change({**FULL_SETTINGS, "room_colder_k": 0.0})
    return settings


def onset_step(case: family.Case, days: int) -> int:
    """The house step of the seeded moment at which faults begin: cold, learned for long enough, time enough left."""
    chance = Random(f"onset {case.seed} {case.index}")
    first, last = (WARM_DAYS + BEFORE_DAYS) * DAY, case.course.n_steps - 1 - (days + 1) * DAY
    outdoor = case.course.outdoor_c
    cold = [k for k in range(first, last) if outdoor[k] <= SETTLED_C]
    return cold[int(chance.random() * len(cold))]


def new_world(case: family.Case, config: str, k: int) -> World:
    """The house with a controller that knows nothing, at step k of its winter with the valve never opened."""
    house = plant.Moisture(case.course, family.START_RH_PCT)
    for step in range(k):
        house.step(step, 0)
    clock = (case.sky.start_utc_s, case.sky.utc_offset_s)
    sensors = Sensors(case.house, case.course, case.seed)
    return World(case.course, sensors, settings_of(case, config), clock, house)


class House:
    """All faults of one circuit in one house."""

    def __init__(self, case: family.Case, config: str, days: int):
        self.case, self.config = case, config
        self.onset_k = onset_step(case, faults.MOST_DAYS)
        begin_k = self.onset_k - BEFORE_DAYS * DAY
        world = new_world(case, config, begin_k - WARM_DAYS * DAY)
        for k in range(begin_k - WARM_DAYS * DAY, begin_k):
            world.minute(k, WARM_SCAN_S)
        for k in range(begin_k, self.onset_k):
            world.minute(k)
        self.starts: dict = {faults.ANY: world.branch()}
        self._free(world, days)

    def _free(self, world: World, days: int) -> None:
        """The run without a fault; on its way copies are kept where the valve is open, and where it is shut."""
        track = self.free = Track(world)
        self.ear = Ear(world.now_s)
        for k in range(self.onset_k, self.onset_k + days * DAY):
            if faults.OPEN not in self.starts and world.command and k > self.onset_k:
                self.starts[faults.OPEN] = world.branch()
            track.minute(k, self.ear)

    def all(self, wanted) -> dict:
        """{name: row} of the faults."""
        return {fault.name: self.row(fault) for fault in wanted if fault.when in self.starts}

    def row(self, fault) -> dict:
        """What one fault did."""
        ear, track, world = self.run(fault)
        right_s = min((ear.first[name] for name in fault.right if name in ear.first), default=None)
        row = {
            "onset_k": track.first_k,
            "told": {name: ear.first[name] for name in sorted(ear.first) if self.counts(fault, name)},
            "right_s": right_s,
            "wrong": sorted(name for name in ear.first if self.is_wrong(fault, name)),
            "starts": track.starts,
            "starts_free": self.starts_free(track),
            "unproven_s": world.unproven_s,
            "forced_s": world.forced_s,
            "open_after_s": ear.open_after_s if fault.stops else 0,
            **self.wet(track),
        }
        if not fault.held:
            row["added_acted"] = row["added"]
            if right_s is not None and row["added"]:
                row["added_acted"] = self.wet(self.run(fault, right_s + OWNER_S)[1])["added"]
        return row

    def run(self, fault, acts_s: "int | None" = None) -> tuple:
        """(Ear, Track, World) of a fault; acts_s after its onset the owner closes the water by hand."""
        if fault.path == faults.BOARD:
            with faults_board.folder() as folder:
                return self._on_board(fault, faults_board.BoardWorld(self.starts[fault.when].branch(), folder), acts_s)
        return self._follow(fault, self.starts[fault.when].branch(), acts_s)

    def _on_board(self, fault, world, acts_s) -> tuple:
        """The board runs for a while before anything breaks."""
        for k in range(world.k, world.k + faults_board.LEAD_MIN):
            world.minute(k)
        return self._follow(fault, world, acts_s)

    def _follow(self, fault, world, acts_s) -> tuple:
        """From the moment a world breaks to the end."""
        track = Track(world)
        ear = Ear(world.now_s, fault.right if fault.stops else ())
        world.break_parts(fault, Random(f"fault {self.case.seed} {self.case.index} {fault.name}"))
        for k in range(track.first_k, track.first_k + int(fault.days * DAY)):
            if acts_s is not None and world.since_s >= acts_s:
                world.water_off = True
            track.minute(k, ear)
        return ear, track, world

    def counts(self, fault, name: str) -> bool:
        """Whether a word says something of a fault."""
        return name in faults.BROKEN or name in fault.right

    def is_wrong(self, fault, name: str) -> bool:
        """Whether a word blames something that is whole."""
        return name in faults.BROKEN and name not in fault.right and name not in fault.also

    def starts_free(self, track: Track) -> int:
        """Starts of the run without a fault in the same minutes."""
        offset = track.first_k - self.onset_k
        command = self.free.command[offset : offset + len(track.command)]
        return sum(1 for was, now in zip(command, command[1:]) if now and not was)

    def wet(self, track: Track) -> dict:
        """Added wet minutes against the valve-shut house, and without the fault in the same minutes."""
        wet, shut = self.case.course.wet_w_g_kg, self.case.shut.w_g_kg
        offset = track.first_k - self.onset_k
        found = {"added": 0, "added_free": 0}
        for n, ratio in enumerate(track.w_g_kg):
            k = track.first_k + n + 1
            if not wet[k] > shut[k]:
                continue
            found["added"] += ratio >= wet[k]
            if offset + n < len(self.free.w_g_kg):
                found["added_free"] += self.free.w_g_kg[offset + n] >= wet[k]
        return found


def winter(case: family.Case, config: str) -> dict:
    """A whole winter without a fault, a scan a minute: each word of a broken part, how often, and the months it was."""
    world = new_world(case, config, 0)
    ear = Ear(0)
    n = case.course.n_steps - 1
    for k in range(n):
        world.minute(k, WARM_SCAN_S, ear)
    return {
        "months": round(n / DAY / 30.44, 2),
        "notices": {name: count for name, count in sorted(ear.count.items()) if name in faults.BROKEN},
        "latched": sorted(LATCHED & set(ear.first)),
        "lines": [line for line in ear.lines if line[1] in faults.BROKEN],
    }


def alone(sky, seed: int, index: int, name: str) -> tuple:
    """(lines, row) of one fault in one house: every word as it was heard, as (seconds after the onset, word)."""
    case = family.Case(sky, seed, index, houses.minutes_of(sky))
    why = left_out(case)
    if why:
        raise InputError(f"--case {index}: this house is left out of the campaign ({why}); name one of its rows")
    fault = faults.found([name])[0]
    if name in faults.FREE_NAMES:
        row = winter(case, fault.config)
        return row["lines"], row
    house = House(case, fault.config, fault.days)
    return house.run(fault)[0].lines, house.row(fault)

