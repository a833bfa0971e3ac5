"""What is stored outlasts everything: damage, failing operations, and power cuts at any moment. Old or new."""

import struct
import unittest
from binascii import crc32

from flash_models import IS_MICROPYTHON, Disk, PowerCut, each_bytecode, file_systems, real

from dewboard import store as st
from dewcore.settings import TABLE, SettingError, Settings

OLD = b"what held before" * 9
NEW = b"what is to hold now" * 11
NEWER = b"and later" * 5


def disk_with(payloads, schema=1):
    """A disk on which these were saved under the name "x", one after the other."""
    disk = Disk().under(st)
    for payload in payloads:
        if not st.Store("d", "x", schema).save(payload):
            raise AssertionError("not saved")
    return disk


def slot(payload, sequence=1, schema=1, mark=b"Dm"):
    """A slot's file."""
    head = struct.pack("<2sBxII", mark, schema, len(payload), sequence)
    return head + struct.pack("<I", crc32(payload, crc32(head))) + payload


class TestSlots(unittest.TestCase):
    def load(self, **keywords):
        """(payload, what was found) as a new start sees it."""
        self.store = st.Store("d", "x", **keywords)
        return self.store.load(), st.FOUND_NAMES[self.store.found]

    def test_never_saved_is_no_loss(self):
        disk_with(())
        self.assertEqual(self.load(), (None, "new"))
        self.assertEqual(self.store.refused, "")

    def test_the_last_saved_counts_and_the_one_before_it_stays(self):
        disk = disk_with((OLD,))
        self.assertEqual(self.load(), (OLD, "whole"))
        self.assertEqual(sorted(disk.files), ["d/x.a"])
        for n in range(5):
            before = dict(disk.files)
            payload = NEW + str(n).encode()
            self.assertTrue(self.store.save(payload))
            self.assertEqual(self.load(), (payload, "whole"))
            changed = [path for path in disk.files if disk.files[path] != before.get(path)]
            self.assertEqual(changed, ["d/x.b" if n % 2 == 0 else "d/x.a"])
            self.assertEqual(len(disk.files), 2)

    def test_one_store_saves_again_and_again_without_loading(self):
        disk_with(())
        store = st.Store("d", "x")
        for n in range(4):
            self.assertTrue(store.save(b"%d" % n))
        self.assertEqual(self.load(), (b"3", "whole"))

    def test_the_slot_is_written_as_its_head_says(self):
        disk = disk_with((OLD, NEW))
        self.assertEqual(disk.files["d/x.a"], slot(OLD, 1))
        self.assertEqual(disk.files["d/x.b"], slot(NEW, 2))

    def test_every_bit_flipped_leaves_the_other_slot(self):
        disk = disk_with((OLD, b"new"))
        whole = disk.files["d/x.b"]
        for n in range(8 * len(whole)):
            damaged = bytearray(whole)
            damaged[n // 8] ^= 1 << n % 8
            disk.files["d/x.b"] = bytes(damaged)
            if n // 8 == 3:  # the head's spare byte is under the CRC as well
                self.assertEqual(damaged[3], 1 << n % 8)
            self.assertEqual(self.load(), (OLD, "older"))
            self.assertTrue("d/x.b: damaged" in self.store.refused)

    def test_every_truncation_and_what_is_far_too_long_leaves_the_other_slot(self):
        disk = disk_with((OLD, NEW))
        whole = disk.files["d/x.b"]
        for size in range(len(whole)):
            disk.files["d/x.b"] = whole[:size]
            self.assertEqual(self.load(), (OLD, "older"))
        for more in (b"\0", bytes(5000), bytes(1000000)):
            disk.files["d/x.b"] = whole + more
            steps = disk.steps
            self.assertEqual(self.load(), (OLD, "older"))
            self.assertTrue(disk.steps - steps < 60)  # it stops reading

    def test_damage_is_written_over_and_never_what_counts(self):
        disk = disk_with((OLD, NEW))
        disk.files["d/x.b"] = b"?"
        self.load()
        self.assertTrue(self.store.save(NEWER))
        self.assertEqual(disk.files["d/x.a"], slot(OLD, 1))
        self.assertEqual(self.load(), (NEWER, "whole"))

    def test_two_damaged_slots_are_a_loss_that_is_told(self):
        disk = disk_with((OLD, NEW))
        disk.files["d/x.a"] = disk.files["d/x.b"] = b""
        self.assertEqual(self.load(), (None, "lost"))
        self.assertTrue(self.store.save(NEWER))
        self.assertEqual(self.load(), (NEWER, "older"))  # the other one is still damaged

    def test_what_is_refused_by_its_reader_leaves_the_other_slot(self):
        disk_with((OLD, NEW))
        store = st.Store("d", "x")
        self.assertEqual(store.load(lambda payload: payload == OLD), OLD)
        self.assertEqual(store.found, st.OLDER)
        self.assertTrue(store.save(NEWER))
        self.assertEqual(st.Store("d", "x").load(lambda payload: payload != NEWER), OLD)
        store = st.Store("d", "x")
        self.assertTrue(store.load(lambda payload: False) is None)
        self.assertEqual(store.found, st.LOST)

    def test_where_none_counts_the_older_goes(self):
        disk = disk_with(())
        for first, second, written in ((3, 4, "d/x.a"), (4, 3, "d/x.b")):
            disk.files = {"d/x.a": slot(OLD, first, 2), "d/x.b": slot(NEW, second, 2)}
            self.assertEqual(self.load(), (None, "lost"))
            self.assertTrue("schema 2, known 1" in self.store.refused)
            self.assertTrue(self.store.save(NEWER))
            self.assertEqual(disk.files[written], slot(NEWER, 5))
            self.assertEqual(self.load(), (NEWER, "whole"))

    def test_a_newer_schema_is_refused_and_the_older_slot_counts(self):
        disk = disk_with((OLD,))
        disk.files["d/x.b"] = slot(NEW, 2, 2)
        self.assertEqual(self.load(), (OLD, "older"))

    def test_an_older_schema_is_brought_to_todays(self):
        disk_with((OLD, NEW), 1)

        def migrate(schema, payload):
            return b"%d:" % schema + payload if payload == OLD else None

        self.assertEqual(self.load(schema=2, migrate=migrate), (b"1:" + OLD, "older"))
        self.assertEqual(self.load(schema=2), (None, "lost"))
        self.assertTrue(self.store.save(NEWER))
        self.assertEqual(self.load(schema=2), (NEWER, "whole"))

    def test_a_payload_too_long_is_refused_and_nothing_written(self):
        disk = disk_with((OLD,))
        before = dict(disk.files)
        store = st.Store("d", "x")
        self.assertFalse(store.save(bytes(4097)))
        self.assertEqual(store.refused, "x: 4097 bytes, allowed 4096")
        self.assertEqual(disk.files, before)
        self.assertTrue(store.save(bytes(4096)))
        self.assertEqual(self.load(), (bytes(4096), "whole"))

    def test_flash_that_forgets_is_noticed_at_once(self):
        disk = disk_with((OLD, NEW))

        class Worn(st.Store):
            def _write(self, slot, head, payload):
                st.Store._write(self, slot, head, payload)
                disk.files[self.path(slot)] = disk.files[self.path(slot)][:-1] + b"?"

        store = Worn("d", "x")
        self.assertFalse(store.save(NEWER))
        self.assertTrue("d/x.a: does not read back" in store.refused)
        self.assertEqual(self.load(), (NEW, "older"))

    def test_a_folder_is_made_once(self):
        disk = disk_with(())
        for _ in range(2):
            st.make_folder("d")
            self.assertEqual(disk.folders, ["d"])

    def test_boots_are_counted(self):
        disk = disk_with(())
        for n in range(1, 6):
            self.assertEqual(st.next_boot(st.Store("d", "boots")), n)
        disk.fail(1, OSError, True)
        self.assertEqual(st.next_boot(st.Store("d", "boots")), 0)
        disk.fail(0, None, False)
        self.assertEqual(st.next_boot(st.Store("d", "boots")), 6)


class TestSettings(unittest.TestCase):
    def loaded(self):
        """Settings as a new start has them."""
        self.settings = Settings()
        self.store = st.Store("d", "settings")
        st.load_settings(self.store, self.settings)
        return self.settings

    def save(self, changes):
        settings = Settings()
        settings.change(changes)
        self.assertTrue(st.save_settings(st.Store("d", "settings"), settings))
        return settings

    def payload(self, data):
        self.assertTrue(st.Store("d", "settings").save(data))

    def test_only_what_differs_is_stored_and_all_comes_back(self):
        Disk().under(st)
        self.assertEqual(self.loaded().cap_pct, 40.0)
        self.assertEqual(self.store.found, st.NEW)
        settings = self.save({"glass_f_day": 0.6125, "has_leak": 0, "min_on_s": 200, "season_max_c": 12.5})
        text = '{"glass_f_day":0.6125,"min_on_s":200,"season_max_c":12.5000,"has_leak":0}'
        self.assertEqual(st.settings_text(settings), text)
        loaded = self.loaded()
        for row in TABLE:
            self.assertEqual(st._text(getattr(loaded, row[0])), st._text(getattr(settings, row[0])))
            self.assertEqual(type(getattr(loaded, row[0])), type(row[2]))

    def test_every_bound_comes_back_within_its_bounds(self):
        Disk().under(st)
        alone = 0
        for row in TABLE:
            for value in row[3:]:
                settings = Settings()
                try:
                    settings.change({row[0]: value})
                except SettingError:  # it contradicts another one's default
                    continue
                alone += 1
                self.assertTrue(st.save_settings(st.Store("d", "settings"), settings))
                self.assertEqual(st.settings_text(self.loaded()), st.settings_text(settings))
                self.assertEqual(self.store.found, st.WHOLE)
        self.assertEqual(alone, 2 * len(TABLE) - 3)

    def test_settings_of_a_program_that_knew_fewer_count_and_the_new_ones_are_at_their_defaults(self):
        """What was stored before thermometers had offsets; no schema changes with a setting."""
        Disk().under(st)
        self.payload(b'{"rh_offset_pct":1.5000,"outdoor_tolerance_k":0.7500}')
        loaded = self.loaded()
        self.assertEqual(self.store.found, st.WHOLE)
        self.assertEqual((loaded.rh_offset_pct, loaded.outdoor_tolerance_k), (1.5, 0.75))
        self.assertEqual((loaded.indoor_offset_k, loaded.outdoor_offset_k, loaded.room_offset_k), (0.0, 0.0, 0.0))

    def test_one_bad_key_and_nothing_of_a_payload_counts(self):
        Disk().under(st)
        self.save({"cap_pct": 30.0})
        for bad in (
            b'{"cap_pct":35.0,"no_such":1}',
            b'{"cap_pct":35.0,"min_on_s":59}',
            b'{"cap_pct":1e999}',
            b'{"cap_pct":35.0,"glass_f_night":0.9}',
            b'{"cap_pct":"35"}',
            b'{"cap_pct":null}',
            b'{"cap_pct":[35]}',
            b"[35.0]",
            b"35",
            b"null",
            b"",
            b"{",
            b"\xff\xfe{}",
            b"[" * 4000,
        ):
            self.payload(bad)
            loaded = self.loaded()
            self.assertEqual((loaded.cap_pct, st.settings_text(loaded)), (30.0, '{"cap_pct":30.0000}'))
            self.assertEqual(self.store.found, st.OLDER)
            self.assertTrue(self.store.refused.startswith("settings: "))
            self.save({"cap_pct": 30.0})
        self.payload(b"?")
        self.payload(b"!")
        self.assertEqual(st.settings_text(self.loaded()), "{}")
        self.assertEqual(self.store.found, st.LOST)


class TestFailures(unittest.TestCase):
    """Each operation of a save fails, once or from then on: no space, no memory, the owner's Ctrl-C."""

    def after(self, disk, at, problem, always):
        """Save with the at-th operation failing; (reported, payload of the next start, whether that saves again)."""
        store = st.Store("d", "x")
        store.load()
        disk.fail(at, problem, always)
        try:
            reported = store.save(NEW)
        except KeyboardInterrupt:
            reported = None
        came_to = disk.steps
        disk.fail(0, None, False)
        again = st.Store("d", "x")
        payload = again.load()
        saved = store.save(NEWER) and st.Store("d", "x").load() == NEWER
        return reported, payload, saved, came_to >= at, store

    def test_old_or_new_and_never_said_to_be_done_when_not(self):
        count = 0
        for late in (False, True):
            for problem in (OSError, MemoryError, KeyboardInterrupt):
                for always in (False, True):
                    at, came = 1, True
                    while came:
                        disk = disk_with((b"first", OLD))
                        disk.late = late
                        reported, payload, saved, came, store = self.after(disk, at, problem, always)
                        self.assertTrue(payload in (OLD, NEW))
                        self.assertTrue(saved)
                        if came and problem is not KeyboardInterrupt:
                            self.assertFalse(reported)
                        self.assertTrue(reported is not True or payload == NEW)
                        at += 1
                        count += came
        self.assertTrue(count > 60)

    def test_it_says_what_failed_and_the_start_after_knows_nothing_of_it(self):
        disk = disk_with((OLD,))
        store = st.Store("d", "x")
        store.load()
        disk.fail(2, OSError, False)
        self.assertFalse(store.save(NEW))
        self.assertTrue(store.refused.startswith("d/x.b: not written, OSError(28"))
        self.assertEqual(st.Store("d", "x").load(), OLD)

    def test_a_write_that_leaves_an_older_whole_payload_is_no_save(self):
        disk_with((OLD, NEW, NEWER))
        store = st.Store("d", "x")
        store.load()
        write = st.Store._write
        st.Store._write = lambda *arguments: None  # the flash takes it and keeps what it had
        try:
            self.assertFalse(store.save(OLD))
        finally:
            st.Store._write = write
        self.assertTrue("does not read back" in store.refused)
        self.assertEqual(st.Store("d", "x").load(), NEWER)

    def test_what_cannot_be_read_is_not_taken_for_new(self):
        disk = disk_with((OLD, NEW))
        disk.fail(1, OSError, True)
        store = st.Store("d", "x")
        self.assertTrue(store.load() is None)
        self.assertEqual(store.found, st.LOST)
        self.assertTrue("not readable" in store.refused)
        disk.fail(1, MemoryError, True)
        with self.assertRaises(MemoryError):
            store.load()


class TestPowerCuts(unittest.TestCase):
    def test_at_every_operation_of_a_save(self):
        cuts = 0
        for late in (False, True):
            at, came = 1, True
            while came:
                disk = disk_with((b"first", OLD))
                disk.late = late
                disk.fail(at, PowerCut, True)
                try:
                    st.Store("d", "x").save(NEW)
                    came = False
                except PowerCut:
                    cuts += 1
                left = Disk(disk.files).under(st)
                self.assertTrue(st.Store("d", "x").load() in (OLD, NEW))
                self.assertTrue(st.Store("d", "x").save(NEWER))
                self.assertEqual(st.Store("d", "x").load(), NEWER)
                self.assertTrue(len(left.files) == 2)
                at += 1
        self.assertTrue(cuts >= 20)

    def test_at_the_finest_steps_this_interpreter_knows(self):
        """Every operation of the chip below littlefs and FAT on MicroPython, every bytecode on CPython."""
        cuts = self.chips() if IS_MICROPYTHON else self.bytecodes()
        self.assertTrue(cuts >= 20)

    def bytecodes(self):
        def act(disk):
            if disk is None:
                return disk_with((b"first", OLD))
            st.Store("d", "x").save(NEW)

        cuts = 0
        for disk, _, whole in each_bytecode(act, ("store.py",)):
            Disk(disk.files).under(st)
            payload = st.Store("d", "x").load()
            self.assertTrue(payload == NEW or not whole and payload == OLD)
            cuts += 1
        return cuts

    def chips(self):
        real(st)
        cuts = 0
        for fs in file_systems(24, 4096):
            fs.run(real_saves)
            before, log = fs.logged(lambda root: st.Store(root, "x").save(NEW))
            for moment in fs.moments(before, log):
                payload = fs.run(lambda root: st.Store(root, "x").load())
                if payload not in (OLD, NEW):
                    self.fail(fs.name + ", " + moment + ": neither old nor new")
                if not fs.run(lambda root: st.Store(root, "x").save(NEWER)):
                    self.fail(fs.name + ", " + moment + ": saves no more")
                self.assertEqual(fs.run(lambda root: st.Store(root, "x").load()), NEWER)
                cuts += 1
        return cuts


def real_saves(root):
    st.Store(root, "x").save(b"first")
    st.Store(root, "x").save(OLD)


if __name__ == "__main__":
    unittest.main()
