"""The release that starts is whole: main.py takes the newest whole one, whatever is torn; a damaged one stands down."""

import os
import sys
import unittest
from hashlib import sha256

from bench import Clock, VirtualBoard, install, open_pins
from flash_models import IS_MICROPYTHON, Flash, file_systems

import dewboard
from dewboard import history, homie, page_parts, release, store
from dewboard import start as boot
from dewboard.lamp import rhythm_of
from dewcore.board import LAMP_ALARM
from dewcore.readings import REQUEST_CLEAR
from dewcore.words import BENCH_SHIM, REFUSALS, SAFE_MODE, status_sentence

FILES = {"dewcore/one.mpy": b"\x00first" * 300, "dewboard/two.mpy": b"second", "microdot.py": b"third\n"}
TOP = (os.getenv("TMPDIR") or "/tmp") + "/release-" + "".join(["%02x" % value for value in os.urandom(6)])
PROGRAM = dewboard.__file__.replace("\\", "/").rsplit("/", 1)[0]
MAIN = dewboard.__file__.replace("\\", "/").rsplit("/", 2)[0] + "/main.py"


def write(path, data):
    """A file, and the folders above it."""
    parts = path.split("/")
    for n in range(2, len(parts)):
        try:
            os.stat("/".join(parts[:n]))
        except OSError:
            os.mkdir("/".join(parts[:n]))
    with open(path, "wb") as file:
        file.write(data)


def remove(path):
    """A folder with all that is in it."""
    for name in os.listdir(path):
        inside = path + "/" + name
        if os.stat(inside)[0] & 0x4000:
            remove(inside)
        else:
            os.remove(inside)
    os.rmdir(path)


def digest(data):
    return "".join(["%02x" % value for value in sha256(data).digest()])


def listing():
    return "".join([digest(FILES[name]) + "  " + name + "\n" for name in sorted(FILES)]).encode()


def whole(folder, top=TOP):
    """A whole release in a folder below `top`; its path."""
    for name in FILES:
        write(top + "/" + folder + "/" + name, FILES[name])
    write(top + "/" + folder + "/files", listing())
    write(top + "/" + folder + "/release", b"00000001\n")
    return top + "/" + folder


def whole_and_not(top):
    """What is found of a whole release below `top`, and of one with a foreign file."""
    folder = whole("b", top)
    found = release.differs(folder)
    write(folder + "/dewcore/one.py", b"")
    return found, release.differs(folder)


class Fresh(unittest.TestCase):
    def setUp(self):
        os.mkdir(TOP)

    def tearDown(self):
        remove(TOP)


class TestHashes(Fresh):
    def test_a_whole_release_is_as_it_was_installed(self):
        self.assertEqual(release.differs(whole("a")), "")

    def test_a_changed_byte_of_any_file_is_found(self):
        for name in FILES:
            data = bytearray(FILES[name])
            for at in (0, len(data) // 2, len(data) - 1):
                folder = whole("a")
                data[at] ^= 1
                write(folder + "/" + name, data)
                data[at] ^= 1
                self.assertEqual(release.differs(folder), name + ": not as it was installed")

    def test_a_missing_or_shortened_file_is_found(self):
        for name in FILES:
            folder = whole("a")
            write(folder + "/" + name, FILES[name][:-1])
            self.assertTrue(name in release.differs(folder))
            os.remove(folder + "/" + name)
            self.assertTrue(name in release.differs(folder))

    def test_a_file_or_folder_that_could_stand_before_a_module_is_found(self):
        for name in ("dewcore/one.py", "dewcore/new.mpy", "microdot/x", "old.py"):
            folder = whole("a")
            write(folder + "/" + name, b"")
            self.assertTrue("does not belong" in release.differs(folder), name)
            remove(folder)

    def test_a_list_cut_at_any_length_is_found(self):
        folder = whole("a")
        full = listing()
        for length in range(len(full)):
            write(folder + "/files", full[:length])
            self.assertNotEqual(release.differs(folder), "", length)
        os.remove(folder + "/files")
        self.assertTrue("not readable" in release.differs(folder))

    def test_every_file_system_tells_the_same(self):
        runs = [system.run for system in file_systems(64, 4096)] if IS_MICROPYTHON else [lambda do: do(TOP)]
        for run in runs:
            self.assertEqual(run(whole_and_not), ("", "dewcore/one.py: does not belong to the release"))

    def test_only_a_release_is_compared(self):
        folder = whole("a")
        os.remove(folder + "/microdot.py")
        self.assertTrue("microdot" in release.problem(folder + "/dewboard/release.mpy"))
        write(TOP + "/lib/dewboard/release.py", b"")
        self.assertEqual(release.problem(TOP + "/lib/dewboard/release.py"), "")
        self.assertEqual(release.problem("release.py"), "")


class TestBoot(Fresh):
    def main(self, rom=None, **releases):
        """The first place on the path with which main.py starts dewboard, with these releases; "" for no new one."""
        remove(TOP)
        os.mkdir(TOP)
        for folder in releases:
            write(TOP + "/" + folder + "/release", releases[folder])
        board = VirtualBoard()
        install(board)
        with open(MAIN) as file:
            program = file.read()
        seen = []
        start = sys.modules["dewboard.start"]
        path = list(sys.path)
        if rom is not None:
            write(TOP + "/rom-release", rom.record)
            sys.modules["vfs"], sys.modules["time"] = rom, rom
            sys.path.extend(["/rom", "/rom/lib"])  # as MicroPython does where something looks like an image
        here = os.getcwd()
        sys.modules["dewboard.start"] = Start(seen)
        os.chdir(TOP)
        try:
            exec(program, {"__name__": "__main__"})
        finally:
            os.chdir(here)
            sys.modules["dewboard.start"] = start
            seen.append(sys.path[0])
            self.assertFalse(sys.path[0] != "/rom" and "/rom" in sys.path or "/rom/lib" in sys.path)
            sys.path[:] = path
            if rom is not None:
                del sys.modules["vfs"]
                sys.modules["time"] = TIME
            self.assertFalse(board.relay_pin)
        self.assertEqual(len(seen), 2)
        self.assertEqual(seen[0].value(), 0)
        return seen[1] if seen[1] != path[0] else ""

    def test_the_newer_of_two_starts_with_the_contact_open(self):
        self.assertEqual(self.main(a=b"00000001\n"), "a")
        self.assertEqual(self.main(b=b"00000001\n"), "b")
        self.assertEqual(self.main(a=b"00000001\n", b=b"00000002\n"), "b")
        self.assertEqual(self.main(a=b"00000010\n", b=b"00000009\n"), "a")

    def test_without_any_the_path_is_left_as_it_is(self):
        self.assertEqual(self.main(), "")

    def test_one_torn_at_any_length_does_not_count(self):
        for length in range(9):
            torn = b"00000002\n"[:length]
            self.assertEqual(self.main(a=b"00000001\n", b=torn), "a")
            self.assertEqual(self.main(b=b"00000001\n", a=torn), "b")
            self.assertEqual(self.main(a=torn), "")

    def test_what_is_no_number_does_not_count(self):
        for wrong in (b"00000002\n\n", b"000000002", b"-0000002\n", b"0000 002\n", b"\xff" * 9, b"\x00" * 9):
            self.assertEqual(self.main(a=b"00000001\n", b=wrong), "a")

    def test_the_image_in_rom_starts_where_it_is_the_newest_and_whole(self):
        rom = Rom(7)
        self.assertEqual(self.main(rom), "/rom")
        self.assertEqual(bytes(rom.mounted), IMAGE)
        self.assertEqual(self.main(Rom(7), a=b"00000006\n", b=b"00000005\n"), "/rom")
        self.assertEqual(self.main(Rom(7), a=b"00000007\n"), "a")
        self.assertEqual(self.main(Rom(7), b=b"00000008\n"), "b")

    def test_any_wrong_bit_of_it_keeps_everything_from_starting(self):
        for at in (0, len(IMAGE) // 2, len(IMAGE) - 1):
            rom = Rom(7)
            rom.image[at] ^= 1
            self.assertRaises(Told, self.main, rom, a=b"00000006\n")
            self.assertIs(rom.mounted, None)
        for part in (-22, None, bytearray(8)):  # no partition, none that can be read, one too small
            rom = Rom(7)
            rom.image = part
            self.assertRaises(Told, self.main, rom, a=b"00000006\n")

    def test_a_record_torn_at_any_length_or_wrong_anywhere_does_not_count(self):
        whole = Rom(7).record
        for length in range(len(whole)):
            self.assertEqual(self.main(Rom(7, whole[:length]), a=b"00000001\n"), "a")
        for wrong in (whole + b"\n", whole[:-1] + b" ", b"x" + whole[1:], whole[:9] + b"-" + whole[10:], b" " * 83):
            self.assertEqual(self.main(Rom(7, wrong), a=b"00000001\n"), "a")
            self.assertEqual(self.main(Rom(7, wrong)), "")


IMAGE = bytes(range(256)) * 5
TIME = sys.modules.get("time")


class Told(Exception):
    """In place of the wait after main.py has said why it starts nothing."""


class Rom:
    """In place of vfs and time: a ROM partition, and a sleep that does not return."""

    def __init__(self, number, record=None):
        self.image = bytearray(IMAGE + bytes(100))
        self.mounted = None
        good = "%08d %08d %s\n" % (number, len(IMAGE), digest(IMAGE))
        self.record = good.encode() if record is None else record

    def rom_ioctl(self, op, n):
        return self.image if (op, n) == (2, 0) else -22

    def VfsRom(self, image):
        return image

    def mount(self, image, place):
        self.mounted = image if place == "/rom" else None

    def umount(self, place):
        raise OSError(22)

    def sleep(self, seconds):
        raise Told(seconds)


class Start:
    """In place of dewboard.start: notes the pin that it is given."""

    def __init__(self, seen):
        self.seen = seen

    def main(self, relay_pin, reset):
        self.seen.append(relay_pin)


class TestStandDown(unittest.TestCase):
    def app(self, damage):
        Flash().under(store, history)
        board = VirtualBoard()
        install(board)
        real = release.problem
        release.problem = lambda: damage
        try:
            return boot.build(open_pins(), Clock(board), "kept")
        finally:
            release.problem = real

    def test_a_damaged_program_keeps_the_valve_shut_and_says_why(self):
        app = self.app("dewcore/valve.mpy: not as it was installed")
        app.beat()
        self.assertFalse(app.controller.decision.valve)
        self.assertTrue("dewcore/valve.mpy" in app.safe)
        self.assertTrue(any("dewcore/valve.mpy" in text for _, text in app.events))

    def test_it_says_so_whole_of_the_longest_name(self):
        longest = max([name for name in os.listdir(PROGRAM)], key=len)
        os.mkdir(TOP)
        try:
            folder = whole("a")
            write(folder + "/files", ("0" * 64 + "  dewboard/" + longest.replace(".py", ".mpy") + "\n").encode())
            damaged = release.differs(folder)
            write(folder + "/files", b"")
            write(folder + "/" + "f" * 60, b"")
            for name in FILES:
                os.remove(folder + "/" + name)
            for name in ("dewcore", "dewboard"):
                os.rmdir(folder + "/" + name)
            foreign = release.differs(folder)
        finally:
            remove(TOP)
        self.assertTrue(damaged.endswith(": not as it was installed"))
        self.assertTrue(foreign.endswith(": does not belong to the release"))
        for damage in (damaged, foreign):
            told = [text for _, text in self.app(damage).events]
            self.assertTrue("safe mode: the program is damaged: " + damage in told, told)

    def test_no_button_puts_a_damaged_program_into_service(self):
        app = self.app("dewcore/valve.mpy: not as it was installed")
        app.beat()
        app.leave_safe_mode()
        app.request(REQUEST_CLEAR)
        app.beat()
        self.assertTrue("dewcore/valve.mpy" in app.safe)
        self.assertEqual(app.controller.decision.refusals, 1 << SAFE_MODE)

    def test_a_whole_one_is_in_service(self):
        self.assertEqual(self.app("").safe, "")

    def shimmed(self, found):
        """An app after keep_out, where the release has the bench shim or has not."""
        app = self.app("")
        real = release.has_shim
        release.has_shim = lambda: found
        try:
            boot.keep_out(app)
        finally:
            release.has_shim = real
        return app

    def test_with_the_bench_shim_the_board_is_out_of_service_and_no_button_changes_that(self):
        app = self.shimmed(True)
        for _ in range(3):
            app.beat()
            decision = app.controller.decision
            self.assertEqual((decision.valve, decision.refusals), (False, 1 << BENCH_SHIM))
            self.assertEqual(status_sentence(decision.refusals, decision.notices), REFUSALS[BENCH_SHIM][1])
            self.assertTrue("bench shim" in page_parts.safe(app))
            self.assertEqual(rhythm_of(decision.refusals), LAMP_ALARM)
            self.assertTrue(homie.FAULTS >> BENCH_SHIM & 1)
            app.leave_safe_mode()
            app.request(REQUEST_CLEAR)

    def test_without_it_nothing_changes(self):
        app = self.shimmed(False)
        app.beat()
        self.assertEqual((app.safe, app.controller.decision.refusals >> BENCH_SHIM), ("", 0))

    def test_the_shim_is_looked_for_in_the_release_that_runs(self):
        folder = whole("a", TOP + "-shim")
        module = folder + "/dewboard/release.py"
        try:
            self.assertFalse(release.has_shim(module))
            self.assertFalse(release.has_shim("firmware/dewboard/release.py"))
            write(folder + "/benchshim/__init__.py", b"")
            self.assertTrue(release.has_shim(module))
        finally:
            remove(TOP + "-shim")


if __name__ == "__main__":
    unittest.main()
