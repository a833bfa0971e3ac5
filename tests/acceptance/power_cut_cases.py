"""What tests/acceptance/power_cut.py cuts off and what must be there afterwards; runs on CPython and MicroPython."""

import struct
import sys

from app_rig import OPENS_S, Found, save_probes
from flash_models import Disk, each_bytecode, file_systems

from dewboard import history as hi
from dewboard import store as st
from dewcore import learned, words
from dewcore.controller import Controller
from dewcore.record import SIZE
from dewcore.settings import Settings

MINUTE_S = 60
OPENS_WITHIN_S = OPENS_S - 300  # beyond the shortest pause
EACH_PAIR = 25  # after so many pairs of cuts the board is started, and after the last one behind each first cut


class Case:
    """One thing that is written.  seen(root): what a start finds there; any of `allowed` is right after a cut."""

    def __init__(self, name, write, again, seen):
        self.name = name
        self.write = write
        self.again = again  # what the board does next, which may be cut off as well
        self.seen = seen
        self.allowed = []


def save_settings(cap_pct):
    def write(root):
        settings = Settings()
        numbers = {"cap_pct": cap_pct, "min_off_s": 10 * cap_pct, "min_on_s": 200}
        settings.change(dict(numbers, has_leak=0, glass_f_day=0.6125))
        if not st.save_settings(st.Store(root, "settings"), settings):
            raise OSError(5)

    return write


def seen_settings(root):
    settings = Settings()
    st.load_settings(st.Store(root, "settings"), settings)
    return st.settings_text(settings)


def save_learned(hours):
    def write(root):
        controller = Controller()
        controller.outlook.house.hours = hours
        controller.outlook.house.trials[600] = 0.5 + hours
        if not st.Store(root, "learned").save(learned.pack(controller)):
            raise OSError(5)

    return write


def seen_learned(root):
    image = st.Store(root, "learned").load()
    controller = Controller()
    if image is None or not learned.unpack(controller, image, 0):
        return "nothing sound"
    return (controller.outlook.house.hours, controller.outlook.house.trials[600])


def count_boot(root):
    if not st.next_boot(st.Store(root, "boots")):
        raise OSError(5)


def seen_boots(root):
    payload = st.Store(root, "boots").load()
    return struct.unpack("<I", payload)[0] if payload else None


def history_of(root, boot):
    """A ring of four files, of which the last two hours are never thinned: full after eight."""
    history = hi.History(root, boot)
    history.room, history.full = 4, 120
    return history


def add_minutes(history, count, steps=None):
    """So many minutes, flushed when due; steps: gets what flash holds after each write."""
    for n in range(count):
        history.add(struct.pack("<II", history.boot, history.seq) + bytes(SIZE - 8), 0, MINUTE_S * n)
        while history.due(MINUTE_S * n):
            if not history.flush():
                raise OSError(5)
            if steps is not None:
                steps.append(flash_only(history))
    return history


def flash_only(history):
    """Numbers of all records but those in RAM."""
    return tuple([row.boot * 10000 + row.seq for row in history.unsent(-1, -1)][: -history.pending or None])


def write_minutes(root):
    add_minutes(history_of(root, 2), 15)


def seen_history(root):
    history = hi.History(root, 9)
    for row in history.unsent(-1, -1):
        if struct.unpack_from("<II", row.data) != (row.boot, row.seq):
            return "another record's data"
    return flash_only(history)


def prepare(root):
    """All four, saved twice, so that both slots are in use; a full ring."""
    save_settings(30)(root)
    save_settings(31)(root)
    save_learned(100)(root)
    save_learned(101)(root)
    for _ in range(3):
        count_boot(root)
    save_probes(root)
    add_minutes(history_of(root, 1), 4 * 120)


def cases():
    return [
        Case("settings", save_settings(32), save_settings(33), seen_settings),
        Case("learned", save_learned(102), save_learned(103), seen_learned),
        Case("boots", count_boot, count_boot, seen_boots),
        Case("history", write_minutes, write_minutes, seen_history),
    ]


def look(root, case, all_cases, before):
    """'' or what is wrong at a start."""
    for other in all_cases:
        found = other.seen(root)
        if other is case:
            if found not in case.allowed:
                return case.name + ": " + repr(found)[:80]
        elif found != before[other.name]:
            return other.name + " is not what it was: " + repr(found)[:80]
    return ""


def allow(fs, case, write):
    """Add what the steps of a write lead to, from the chip's present state; leaves the chip as it is."""
    chip = bytes(fs.chip.data)
    if case.name == "history":
        case.allowed += fs.run(lambda root: history_steps(root))
    else:
        fs.run(write)
        case.allowed.append(fs.run(case.seen))
    fs.chip.data[:] = chip


def history_steps(root):
    history = history_of(root, 2)
    steps = [flash_only(history)]
    add_minutes(history, 15, steps)
    return steps


def started(root):
    """'' or what is wrong where the board starts on what a cut left: contact open until permitted, the pause kept.

    That the valve opens then, in a house so dry, shows that it was the pause that kept it shut.
    """
    machine = Found(root)
    pause_s = machine.app.settings.min_off_s
    for now_s in range(pause_s + OPENS_WITHIN_S):
        if machine.board.relay_pin:
            return "" if now_s > pause_s else "contact closed within %d s of the start" % now_s
        machine.beat()
    return "never permitted again: " + str(words.sentences(machine.app.controller.decision.refusals, 0))


class Counts:
    """Of one case on one file system, or of all: cuts, pairs of cuts, starts looked at, what was lost."""

    def __init__(self):
        self.cuts = self.pairs = self.starts = 0
        self.lost = []

    def look(self, fs, wrong_at, is_started, moment):
        """Whether all is well on the chip as the cut left it, and where asked when a board starts on it."""
        chip = bytes(fs.chip.data)
        wrong = fs.run(wrong_at)
        fs.chip.data[:] = chip
        if not wrong and is_started:
            self.starts += 1
            wrong = fs.run(started)
            fs.chip.data[:] = chip
        if wrong:
            self.lost.append(moment + ": " + wrong)
        return not wrong

    def add(self, other):
        self.cuts += other.cuts
        self.pairs += other.pairs
        self.starts += other.starts
        self.lost += other.lost

    def __str__(self):
        parts = (self.cuts, self.pairs, self.starts, len(self.lost))
        return "%4d cuts, %6d pairs, %4d starts looked at, %d failures" % parts


def sweep(fs, case, all_cases):
    """The counts of one case on one file system."""
    counts = Counts()
    start = bytes(fs.chip.data)
    before = {}
    for other in all_cases:
        before[other.name] = fs.run(other.seen)
    case.allowed = [before[case.name]]
    allow(fs, case, case.write)

    def wrong_at(root):
        return look(root, case, all_cases, before)

    for moment in fs.moments(*fs.logged(case.write)):
        counts.cuts += 1
        chip = bytes(fs.chip.data)
        if not counts.look(fs, wrong_at, True, moment):
            continue
        kept = case.allowed
        case.allowed = [fs.run(case.seen)]
        allow(fs, case, case.again)
        fs.chip.data[:] = chip
        image, log = fs.logged(case.again)
        last = "after %d of %d operations" % (len(log), len(log))
        for later in fs.moments(image, log):
            is_started = counts.pairs % EACH_PAIR == 0 or later == last
            counts.pairs += 1
            counts.look(fs, wrong_at, is_started, moment + ", then " + later)
        case.allowed = kept
    fs.chip.data[:] = start
    return counts


def chips(cuts, lost):
    """Every operation of the chip and all pairs, on littlefs and FAT; the last line, with so many cuts more.

    Ends the interpreter with 1 where anything is lost.
    """
    total = Counts()
    for fs in file_systems(32, 4096):
        fs.run(prepare)
        all_cases = cases()
        for case in all_cases:
            erases = sum(fs.chip.erases)
            chip = bytes(fs.chip.data)
            fs.run(case.write)
            erases = sum(fs.chip.erases) - erases
            fs.chip.data[:] = chip
            counts = sweep(fs, case, all_cases)
            total.add(counts)
            print("%-9s %-9s %s; %d blocks erased by one write" % (fs.name, case.name, counts, erases))
            for text in counts.lost[:5]:
                print("  " + text)
    total.cuts += cuts
    failures = lost + len(total.lost)
    print("power_cut: %d cuts, %d pairs of cuts, %d starts looked at, %d failures"
          % (total.cuts, total.pairs, total.starts, failures))  # fmt: skip
    if failures:
        sys.exit(1)


def bytecodes():
    """Every bytecode of every write in dewboard, on this Python; (cuts, how many lost something)."""
    total = total_lost = 0
    for late in (False, True):
        start = Disk(None, late).under(st, hi)
        prepare("d")
        files = dict(start.files)
        for case in cases():
            cuts, lost = cut_bytecodes(case, files, late)
            total += cuts
            total_lost += lost
    return total, total_lost


def cut_bytecodes(case, files, late):
    """One case; (cuts, how many lost something)."""
    stride = 97 if case.name == "history" else 1  # it has a hundred thousand
    Disk(files).under(st, hi)
    allowed = [case.seen("d")]
    if case.name == "history":
        allowed += history_steps("d")
    else:
        case.write("d")
        allowed.append(case.seen("d"))

    def act(disk):
        if disk is None:
            return Disk(files, late).under(st, hi)
        case.write("d")

    cuts = lost = 0
    for disk, n, _ in each_bytecode(act, ("store.py", "history.py"), stride):
        Disk(disk.files).under(st, hi)
        cuts += 1
        if case.seen("d") not in allowed:
            lost += 1
            print("  %s, bytecode %d" % (case.name, n))
    when = "at once" if not late else "when closed"
    print("%-9s %-9s %4d cuts, written %s, %d lost" % ("bytecodes", case.name, cuts, when, lost))
    return cuts, lost
