"""What tests/acceptance/power_cut.py cuts off and what must be there afterwards; runs on CPython and MicroPython."""

import struct
import sys

from flash_models import Disk, each_bytecode, file_systems

from dewboard import history as hi
from dewboard import store as st
from dewcore import learned
from dewcore.controller import Controller
from dewcore.record import SIZE
from dewcore.settings import Settings

MINUTE_S = 60


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
        settings.change({"cap_pct": cap_pct, "min_on_s": 200, "has_leak": 0, "glass_f_day": 0.6125})
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
    history = hi.History(root + "/history", boot)
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
    history = hi.History(root + "/history", 9)
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
    st.make_folder(root + "/history")
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


def sweep(fs, case, all_cases):
    """(cuts, pairs of cuts, [what was lost]) of one case on one file system."""
    start = bytes(fs.chip.data)
    before = {}
    for other in all_cases:
        before[other.name] = fs.run(other.seen)
    case.allowed = [before[case.name]]
    allow(fs, case, case.write)
    first = fs.logged(case.write)
    cuts = pairs = 0
    lost = []
    for moment in fs.moments(*first):
        cuts += 1
        chip = bytes(fs.chip.data)
        wrong = fs.run(lambda root: look(root, case, all_cases, before))
        if wrong:
            lost.append(moment + ": " + wrong)
            continue
        fs.chip.data[:] = chip
        kept = case.allowed
        case.allowed = [fs.run(case.seen)]
        allow(fs, case, case.again)
        fs.chip.data[:] = chip
        second = fs.logged(case.again)
        for later in fs.moments(*second):
            pairs += 1
            wrong = fs.run(lambda root: look(root, case, all_cases, before))
            if wrong:
                lost.append(moment + ", then " + later + ": " + wrong)
        case.allowed = kept
    fs.chip.data[:] = start
    return cuts, pairs, lost


def chips():
    """Every operation of the chip and all pairs, on littlefs and FAT; ends the interpreter with 1 where any is lost."""
    total = 0
    for fs in file_systems(32, 4096):
        fs.run(prepare)
        all_cases = cases()
        for case in all_cases:
            erases = sum(fs.chip.erases)
            chip = bytes(fs.chip.data)
            fs.run(case.write)
            erases = sum(fs.chip.erases) - erases
            fs.chip.data[:] = chip
            cuts, pairs, lost = sweep(fs, case, all_cases)
            total += len(lost)
            print(
                "%-9s %-9s %4d cuts, %6d pairs, %d lost; %d blocks erased by one write"
                % (fs.name, case.name, cuts, pairs, len(lost), erases)
            )
            for text in lost[:5]:
                print("  " + text)
    if total:
        sys.exit(1)


def bytecodes():
    """Every bytecode of every write in dewboard, on this Python; how many lost something."""
    total = 0
    for late in (False, True):
        start = Disk(None, late).under(st, hi)
        prepare("d")
        files = dict(start.files)
        for case in cases():
            total += cut_bytecodes(case, files, late)
    return total


def cut_bytecodes(case, files, late):
    """One case; how many cuts lost something."""
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
    return lost
