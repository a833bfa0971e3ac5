"""A day of minutes in flash and more: order, bounds, thinning, what a logger takes, failing flash and power cuts."""

import struct
import unittest

from flash_models import IS_MICROPYTHON, Disk, PowerCut, each_bytecode, file_systems, real

from dewboard import history as hi
from dewboard.store import make_folder
from dewcore.record import SIZE

UTC_S = 1800000000


def record(boot, seq):
    """A record that tells whose it is."""
    return struct.pack("<II", boot, seq) + bytes(SIZE - 8)


def minutes(history, count, now_s=0, utc_s=0, may_fail=False):
    """So many minutes, flushed as they become due; the time after them.  utc_s: wall time at 0 s."""
    for _ in range(count):
        now_s += 60
        history.add(record(history.boot, history.seq), utc_s + now_s if utc_s else 0, now_s)
        while history.due(now_s):
            if not history.flush():
                if not may_fail:
                    raise AssertionError(history.refused)
                break
    return now_s


class Counted(hi.History):
    """flushes: those that wrote or removed a file."""

    def __init__(self, folder, boot):
        super().__init__(folder, boot)
        self.flushes = 0

    def flush(self):
        wrote = super().flush()
        self.flushes += wrote
        return wrote


def flushed(history):
    """All of RAM in flash, as before a restart."""
    while history.flush():
        pass
    return history


def keys(rows):
    """[(boot, seq)] of rows, each looked into."""
    found = []
    for row in rows:
        if struct.unpack_from("<II", row.data) != (row.boot, row.seq) or len(row.data) != SIZE:
            raise AssertionError("another record's data")
        found.append((row.boot, row.seq))
    return found


def stored(history):
    """Keys of all there is."""
    return keys(history.unsent(-1, -1))


def numbers(boot, first, last):
    """Keys from first to last."""
    return [(boot, seq) for seq in range(first, last + 1)]


def small(history, full=60):
    """As if the ring had 5 files, of which the last `full` records are never thinned."""
    history.room = 5
    history.full = full
    return history


def full_ring(root):
    """Five files of two hours, the last of which is not to be thinned."""
    return minutes(small(hi.History(root, 1), 120), 5 * 120)


def about_to_join(root):
    """After another boot RAM is full: what follows is a join, two removals, a new segment."""
    history = small(hi.History(root, 2), 120)
    for n in range(15):
        history.add(record(2, n), 0, 60 * n)
    return history


class TestRecords(unittest.TestCase):
    def setUp(self):
        self.disk = Disk().under(hi)

    def test_a_quarter_of_an_hour_in_ram_then_one_write(self):
        history = hi.History("d", 7)
        now_s = minutes(history, 14)
        self.assertEqual((self.disk.files, history.due(now_s)), ({}, False))
        self.assertFalse(history.due(now_s + 59))
        self.assertTrue(history.due(now_s + 120))  # the first is a quarter of an hour old
        self.assertEqual(stored(history), numbers(7, 0, 13))
        minutes(history, 1, now_s)
        self.assertEqual((len(self.disk.files), history.pending), (1, 0))
        self.assertEqual(stored(history), numbers(7, 0, 14))
        self.assertEqual(len(self.disk.files["d/h0-0"]), 24 + 15 * 20)

    def test_every_row_says_when(self):
        history = hi.History("d", 7)
        now_s = minutes(history, 20)
        now_s = minutes(history, 20, now_s, UTC_S)
        rows = [(row.seq, row.now_s, row.utc_s) for row in history.unsent(7, 10)]
        self.assertEqual(rows[0], (11, 720, 0))  # in flash before the wall time was known
        self.assertEqual(rows[4], (15, 960, UTC_S + 960))  # in RAM then: it counts for these, too
        self.assertEqual(rows[-1], (39, 2400, UTC_S + 2400))

    def test_a_start_finds_all_but_ram_and_its_boot_goes_on(self):
        history = hi.History("d", 7)
        minutes(history, 50)
        for given, used in ((8, 8), (7, 8), (0, 8), (30, 30)):
            again = hi.History("d", given)
            self.assertEqual((again.boot, again.seq, again.refused), (used, 0, ""))
            self.assertEqual(stored(again), numbers(7, 0, 44))
        minutes(again, 15)
        self.assertEqual(stored(hi.History("d", 31)), numbers(7, 0, 44) + numbers(30, 0, 14))
        self.assertEqual(list(self.disk.files), ["d/h0-0"])  # the same segment goes on

    def test_segments_of_two_hours_within_four_kilobytes(self):
        history = hi.History("d", 1)
        minutes(history, 300)
        self.assertEqual(sorted(self.disk.files), ["d/h0-0", "d/h1-1", "d/h2-2"])
        self.assertEqual([history.segments.records(i) for i in range(history.segments.count)], [120, 120, 60])
        now_s = 300 * 60
        for _ in range(200):  # a block for each record: the owner's own restarts
            now_s = minutes(history, 1, now_s)
            flushed(history)
        for path in self.disk.files:
            self.assertTrue(len(self.disk.files[path]) <= 4096)
        self.assertEqual(stored(history), numbers(1, 0, 499))

    def test_foreign_files_stay(self):
        self.disk.files = {"d/" + name: b"?" for name in ("notes", "h", "h1", "h1-", "hx-1", "h1-2-3", "i1-2", "h1-x")}
        before = dict(self.disk.files)
        history = hi.History("d", 1)
        minutes(history, 30)
        for path in before:
            self.assertEqual(self.disk.files[path], before[path])
        self.assertEqual(len(self.disk.files), len(before) + 1)

    def test_a_day_is_the_last_24_hours(self):
        history = hi.History("d", 1)
        now_s = minutes(history, 1700)
        self.assertEqual(keys(history.day(0, now_s)), numbers(1, 260, 1699))
        self.assertEqual(keys(history.day(0, now_s + 7200)), numbers(1, 380, 1699))
        flushed(history)
        again = hi.History("d", 2)
        now_s = minutes(again, 100)
        # before this boot and without wall time: as many minutes as a day has
        self.assertEqual(keys(again.day(0, now_s)), numbers(1, 360, 1699) + numbers(2, 0, 99))

    def test_with_wall_time_a_day_is_a_day_over_boots(self):
        history = hi.History("d", 1)
        now_s = minutes(history, 600, 0, UTC_S)
        flushed(history)
        again = hi.History("d", 2)
        later_s = UTC_S + now_s + 60000  # off for so long
        now_s = minutes(again, 30, 0, later_s)
        # 86400 - 60000 - 1800 = 24600 s: the 410 minutes of before, the first of them a minute short of a day old
        self.assertEqual(keys(again.day(later_s + now_s, now_s)), numbers(1, 190, 599) + numbers(2, 0, 29))
        self.assertEqual(len(keys(again.day(0, now_s))), 630)

    def test_only_what_follows_a_key_is_unsent(self):
        history = hi.History("d", 3)
        minutes(history, 200)
        self.assertEqual(keys(history.unsent(-1, -1)), numbers(3, 0, 199))
        self.assertEqual(keys(history.unsent(2, 999)), numbers(3, 0, 199))
        for seq in (0, 118, 119, 120, 193, 194, 195, 198):
            self.assertEqual(keys(history.unsent(3, seq)), numbers(3, seq + 1, 199))
        self.assertEqual(keys(history.unsent(3, 199)), [])
        self.assertEqual(keys(history.unsent(4, 0)), [])

    def test_a_reader_goes_on_while_minutes_come_and_segments_join(self):
        history = small(hi.History("d", 1))
        now_s = minutes(history, 500)
        found = []
        for row in history.unsent(-1, -1):
            found.append(row.seq)
            if len(found) % 5 == 0 and history.seq < 900:
                now_s = minutes(history, 3, now_s)
        self.assertEqual(found, sorted(set(found)))
        self.assertEqual((found[0], found[-1]), (0, history.seq - 1))
        self.assertTrue(history.thinned > 100)

    def test_the_clock_set_between_two_minutes_begins_another_block(self):
        history = hi.History("d", 1)
        minutes(history, 15, 0, UTC_S)
        minutes(history, 15, 900, UTC_S + 3600)
        small(history).room = 2
        minutes(history, 150, 1800, UTC_S + 3600)
        flushed(history)
        utc = {row.seq: row.utc_s for row in history.unsent(-1, -1)}
        self.assertEqual((utc[14], utc[15]), (UTC_S + 900, UTC_S + 3600 + 960))


class TestRing(unittest.TestCase):
    def setUp(self):
        self.disk = Disk().under(hi)

    def bytes(self):
        return sum([len(data) for data in self.disk.files.values()])

    def test_three_weeks_without_a_logger(self):
        """At most 26 files of 4 kB; the last 26 h whole; both ends kept; no gap longer than 5 % of it all."""
        history = Counted("d", 1)
        now_s, most = 0, 0
        for _ in range(21):
            now_s = minutes(history, 1440, now_s)
            most = max(most, len(self.disk.files))
        self.assertTrue(most <= 29 and self.bytes() <= 27 * 4096)  # while joining, the two old ones are there, too
        seqs = [seq for _, seq in stored(history)]
        self.assertEqual((seqs[0], seqs[-1], history.lost), (0, 21 * 1440 - 1, 0))
        self.assertEqual(seqs[-1560:], list(range(21 * 1440 - 1560, 21 * 1440)))
        self.assertEqual(len(seqs) + history.thinned, history.seq)
        gaps = [seqs[n + 1] - seqs[n] for n in range(len(seqs) - 1)]
        self.assertTrue(min(gaps) == 1 and max(gaps) <= 21 * 72)
        self.assertTrue(len(seqs) > 2500)
        # 96 appends a day; a join with two removals for each segment of 2 h
        self.assertTrue(21 * 96 < history.flushes <= 21 * (96 + 3 * 12))
        self.assertEqual(stored(hi.History("d", 2)), [(1, seq) for seq in seqs])

    def test_what_a_logger_has_taken_makes_room_without_thinning(self):
        history = hi.History("d", 1)
        now_s = 0
        for _ in range(6):
            now_s = minutes(history, 1440, now_s)
            history.free(1, history.seq - 60)
        self.assertEqual((history.thinned, history.lost), (0, 0))
        self.assertTrue(1560 <= len(stored(history)) <= 26 * 120)
        history.free(1, 5)  # an older word takes nothing back
        minutes(history, 1440, now_s)
        self.assertTrue(history.thinned == 0)

    def test_small_segments_join_without_loss_first(self):
        history = small(hi.History("d", 1))
        for boot in range(2, 12):
            minutes(history, 18)
            flushed(history)
            for path in self.disk.files:  # a torn end: the next start begins another segment
                self.disk.files[path] += b"?"
            history = small(hi.History("d", boot))
            minutes(history, 1)
        self.assertEqual((history.thinned, history.lost), (0, 0))
        self.assertEqual(len(stored(history)), 18 + 9 * 19 + 1)
        self.assertTrue(history.segments.count <= 5)

    def test_a_thinned_pair_keeps_its_ends_and_is_even(self):
        history = small(hi.History("d", 1), 120)
        minutes(history, 5 * 120)
        self.assertEqual(history.thinned, 0)
        minutes(history, 15, 36000)
        seqs = [seq for _, seq in stored(history)]
        self.assertEqual(seqs[-(615 - 240) :], list(range(240, 615)))
        old = [seq for seq in seqs if seq < 240]
        self.assertEqual((old[0], old[-1]), (0, 239))
        self.assertTrue(118 <= len(old) <= 122)
        self.assertEqual(max([old[n + 1] - old[n] for n in range(len(old) - 1)]), 2)
        self.assertEqual(history.thinned, 240 - len(old))
        self.assertEqual((history.segments.get(0).first, history.segments.get(0).last), (0, 1))

    def test_nothing_recent_is_ever_thinned_rather_the_oldest_goes(self):
        history = small(hi.History("d", 1), 10000)
        minutes(history, 5 * 120 + 15)
        self.assertEqual((history.thinned, history.lost), (0, 120))
        self.assertEqual(stored(history), numbers(1, 120, 614))


class TestFailures(unittest.TestCase):
    def setUp(self):
        self.disk = Disk().under(hi)

    def test_ram_holds_half_an_hour_and_then_forgets_the_oldest_and_says_so(self):
        history = hi.History("d", 1)
        now_s = minutes(history, 20)
        self.disk.fail(1, OSError, True)
        now_s = minutes(history, 25, now_s, 0, True)
        self.assertEqual((history.pending, history.lost), (30, 0))
        self.assertTrue("OSError(28" in history.refused)
        now_s = minutes(history, 7, now_s, 0, True)
        self.assertEqual((history.pending, history.lost), (30, 7))
        self.disk.fail(0, None, False)
        now_s = minutes(history, 3, now_s)
        flushed(history)
        self.assertEqual(history.refused, "")
        self.assertEqual(stored(history), numbers(1, 0, 14) + numbers(1, 15 + history.lost, 54))

    def test_a_failing_write_is_tried_again_once_a_minute(self):
        history = hi.History("d", 1)
        self.disk.fail(1, OSError, True)
        now_s = minutes(history, 15, 0, 0, True)
        self.assertFalse(history.due(now_s + 59))
        self.assertTrue(history.due(now_s + 60))

    def test_a_full_disk_makes_the_ring_smaller(self):
        history = hi.History("d", 1)
        now_s = minutes(history, 600)
        self.assertEqual(history.segments.count, 5)
        self.disk.fail(1, OSError, False)
        now_s = minutes(history, 30, now_s, 0, True)
        self.assertEqual(history.room, 5)
        history.room = 26
        while history.segments.count > 2:
            history.segments.pop(2)
        self.disk.fail(1, OSError, False)
        minutes(history, 30, now_s, 0, True)
        self.assertEqual(history.room, 4)

    def test_each_operation_fails_once_or_for_good(self):
        """Whatever fails, what flash held stays, but for the thinning that was due, and later minutes follow."""
        full_ring("d")
        start = dict(self.disk.files)
        count = 0
        for problem in (OSError, MemoryError):
            for always in (False, True):
                at, came = 1, True
                while came:
                    disk = Disk(start).under(hi)
                    history = about_to_join("d")
                    before = stored(history)
                    disk.fail(at, problem, always)
                    for _ in range(6):
                        history.flush()
                    came = disk.steps >= at
                    disk.fail(0, None, False)
                    after = stored(history)
                    self.assertTrue(set(after) <= set(before))
                    self.assertEqual((after[0], after[-135:]), (before[0], before[-135:]))
                    if problem is MemoryError:  # no space makes the ring smaller, too
                        self.assertTrue(len(before) - len(after) in (0, 119, 120))
                    minutes(history, 40, 900)
                    flushed(history)
                    self.assertEqual(stored(history)[-55:], numbers(2, 0, 54))
                    self.assertEqual(stored(hi.History("d", 3)), stored(history))
                    self.assertEqual(history.lost, 0)
                    at += 1 if at < 12 else 17
                    count += came
        self.assertTrue(count > 60)

    def test_a_folder_that_cannot_be_read_is_told_and_minutes_go_on(self):
        self.disk.fail(1, OSError, True)
        history = hi.History("d", 1)
        self.assertTrue("not readable" in history.refused)
        minutes(history, 40, 0, 0, True)
        self.assertEqual(stored(history), numbers(1, 10, 39))

    def test_one_file_that_cannot_be_read_hides_no_other_and_its_numbers_stay_its_own(self):
        history = hi.History("d", 1)
        now_s = minutes(history, 5 * hi.SEGMENT_RECORDS)
        flushed(history)
        before = dict(self.disk.files)
        real_open = self.disk.open
        second = "d/" + history.segments.get(1).name()

        def open_but_one(path, mode="rb"):
            if path == second:
                raise OSError(5)
            return real_open(path, mode)

        hi.open = open_but_one
        again = hi.History("d", 2)
        self.assertTrue(second in again.refused)
        self.assertEqual(stored(again), [key for key in numbers(1, 0, 599) if not 120 <= key[1] < 240])
        minutes(again, 2 * hi.SEGMENT_RECORDS, now_s)
        for path in before:
            self.assertEqual(self.disk.files[path][: len(before[path])], before[path], path)

    def test_damage_ends_its_segment_only(self):
        history = hi.History("d", 1)
        minutes(history, 360)
        whole = self.disk.files["d/h1-1"]
        for at in range(0, len(whole), 41):
            damaged = bytearray(whole)
            damaged[at] ^= 1
            self.disk.files["d/h1-1"] = bytes(damaged)
            again = hi.History("d", 2)
            left = at // 324 * 15
            self.assertEqual(stored(again), numbers(1, 0, 119 + left) + numbers(1, 240, 359))
        for size in range(0, len(whole), 37):
            self.disk.files["d/h1-1"] = whole[:size]
            self.assertEqual(len(stored(hi.History("d", 2))), 240 + size // 324 * 15)


class TestPowerCuts(unittest.TestCase):
    """Cut while appending, beginning a segment, joining and removing: the keys before or after a step, nothing else."""

    def steps(self, root):
        """Those steps; the keys in flash after each."""
        history = about_to_join(root)
        states = [stored(history)[:-15]]
        while history.flush():
            states.append([key for key in stored(history) if key[0] == 1 or history.pending == 0])
        return states

    def check(self, root, states):
        """After a cut: '' or what is wrong; goes on from there."""
        history = small(hi.History(root, 3), 120)
        found = stored(history)
        if found not in states:
            return "%d records, neither before nor after a step" % len(found)
        if history.refused:
            return history.refused
        minutes(history, 30)
        flushed(history)
        if stored(history)[-30:] != numbers(3, 0, 29) or history.refused or history.lost:
            return "does not go on: " + history.refused
        return ""

    def test_at_every_operation_of_a_disk(self):
        cuts = 0
        Disk().under(hi)
        full_ring("d")
        start = dict(hi.os.files)
        states = self.steps("d")
        self.assertEqual((len(states), len(states[-1]) - len(states[-2])), (5, 15))
        for late in (False, True):
            at, came = 1, True
            while came:
                disk = Disk(start, late).under(hi)
                disk.fail(at, PowerCut, True)
                try:
                    self.steps("d")
                    came = False
                except PowerCut:
                    cuts += 1
                Disk(disk.files).under(hi)
                self.assertEqual(self.check("d", states), "")
                at += 1 if at < 12 else 7
        self.assertTrue(cuts > 50)

    def test_at_the_finest_steps_this_interpreter_knows(self):
        """Every 40th bytecode of an append on CPython; every operation of an append on littlefs and FAT elsewhere."""
        self.assertTrue((self.chips() if IS_MICROPYTHON else self.bytecodes()) >= 10)

    def bytecodes(self):
        def act(disk):
            if disk is None:
                disk = Disk().under(hi)
                self.history = hi.History("d", 1)
                minutes(self.history, 29)
                self.history.add(record(1, 29), 0, 1800)
                return disk
            self.history.flush()

        cuts = 0
        for disk, _, whole in each_bytecode(act, ("history.py",), 40):
            Disk(disk.files).under(hi)
            found = stored(hi.History("d", 2))
            self.assertTrue(found == numbers(1, 0, 29) or not whole and found == numbers(1, 0, 14))
            cuts += 1
        return cuts

    def chips(self):
        real(hi)
        cuts = 0
        for fs in file_systems(24, 4096):

            def prepare(root):
                make_folder(root + "/h")
                minutes(hi.History(root + "/h", 1), 20)

            def act(root):
                minutes(hi.History(root + "/h", 2), 15)

            fs.run(prepare)
            before, log = fs.logged(act)
            states = (numbers(1, 0, 14), numbers(1, 0, 14) + numbers(2, 0, 14))
            for moment in fs.moments(before, log):
                wrong = fs.run(lambda root: self.check(root + "/h", states))
                self.assertEqual((fs.name, moment, wrong), (fs.name, moment, ""))
                cuts += 1
        return cuts


if __name__ == "__main__":
    unittest.main()
