"""What outlasts a reboot: nothing is lost, nothing unsound gets in, what nobody knows is taken from its safe side."""

import struct
import unittest
from array import array
from math import sin

from rig import Rig

from dewcore import learned
from dewcore import readings as r
from dewcore import words as w
from dewcore.controller import Controller
from dewcore.fallbound import FallBound
from dewcore.house import (
    AIR_FACTOR,
    CAPACITY,
    PRIOR_OUT,
    PRIOR_VALVE,
    SLOW,
    STORE_G_KG_PCT,
    SUMS,
    TRIALS,
    WIDTH,
    House,
    sat_ratio_g_kg,
)
from dewcore.outdoors import OutdoorHistory
from dewcore.psychro import vapour_pa
from dewcore.settings import Settings

NAN = float("nan")
UTC_S = 1800000000 // 86400 * 86400
HEAD_BYTES = 12
# What is kept: where it stands, code, how many, lowest and highest; in the order in which it lies behind the glass's
# own image, before the trials.
LAYOUT = (
    ("house", "dry_per_h", "f", 1, 0.015625, 1.25),
    ("house", "store_per_h", "f", 1, 0.0, 0.75),
    ("house", "valve_g_kg_h", "f", 1, 0.03125, 8.25),
    ("house", "bias", "f", 1, -12.25, 8.25),
    ("house", "ratio", "f", 1, 0.0, 60.0),
    ("house", "own", "f", 1, 0.0, 60.0),
    ("house", "store_pct", "f", 1, 0.0, 100.0),
    ("house", "own_store_pct", "f", 1, -100.0, 1000.0),
    ("house", "alone", "f", 1, 0.0, 1.125),
    ("house", "too_dry_g_kg", "f", 1, -60.0, 60.0),
    ("house", "today_c", "f", 1, 0.0, 99.0),
    ("house", "hour", "b", 1, -1, 23),
    ("house", "hours", "I", 1, 0, 1 << 29),
    ("fall", "hours", "I", 1, 0, 1 << 29),
    ("fall", "next", "B", 1, 0, 47),
    ("history", "count", "B", 1, 0, 168),
    ("history", "next", "B", 1, 0, 167),
    ("controller", "glass_colder_k", "f", 1, -1000.0, 200.0),
    ("controller", "room_colder_k", "f", 1, 0.0, 50.0),
    ("controller", "room_excess_pa", "f", 1, 0.0, 10000.0),
    ("doubts", "strength", "f", 1, 0.0, 60.0),
    ("doubts", "recent", "f", 1, 0.0, 60.0),
    ("doubts", "usual", "f", 1, -60.0, 60.0),
    ("doubts", "excess", "f", 1, -60.0, 60.0),
    ("doubts", "usual_duty", "f", 1, 0.0, 1.0),
    ("doubts", "usual_span_k", "f", 1, 0.0, 150.0),
    ("doubts", "duty_h", "f", 1, 0.0, 672.0),
    ("doubts", "duty", "f", 1, 0.0, 1.0),
    ("doubts", "span_k", "f", 1, 0.0, 150.0),
    ("doubts", "odd_s", "H", 1, 0, 7200),
    ("judge", "rh_fell_pct", "f", 1, 0.0, 100.0),
    ("", "ages", "i", 16, -1, 86400),
    ("house", "gains", "f", 24, 0.0, 8.25),
    ("house", "counts", "B", 24, 0, 112),
    ("house", "peaks", "f", 24, 0.0, 60.0),
    ("house", "sudden", "B", 24, 0, 255),
    ("house", "lowest_c", "f", 24, 0.0, 99.0),
    ("fall", "own_drop", "B", 192, 0, 255),
    ("fall", "own_below", "B", 48, 0, 255),
    ("fall", "lowest_cc", "h", 48, -7000, 32767),
    ("history", "hour_cc", "h", 168, -7000, 6000),
)
SINGLE = (
    ("house", "dry_per_h", 0.17),
    ("house", "store_per_h", 0.12),
    ("house", "valve_g_kg_h", 1.3),
    ("house", "bias", -0.2),
    ("house", "ratio", 5.1),
    ("house", "own", 0.8),
    ("house", "store_pct", 31.0),
    ("house", "own_store_pct", 4.5),
    ("house", "alone", 0.96875),
    ("house", "too_dry_g_kg", 0.3),
    ("house", "today_c", 19.5),
    ("house", "hour", 7),
    ("house", "hours", 700),
    ("fall", "hours", 650),
    ("fall", "next", 26),
    ("history", "count", 168),
    ("history", "next", 40),
    ("controller", "glass_colder_k", 1.5),
    ("controller", "room_colder_k", 2.5),
    ("controller", "room_excess_pa", 120.0),
    ("doubts", "strength", 0.9),
    ("doubts", "recent", 0.8),
    ("doubts", "usual", 1.7),
    ("doubts", "excess", -0.3),
    ("doubts", "usual_duty", 0.4),
    ("doubts", "usual_span_k", 25.0),
    ("doubts", "duty_h", 500.0),
    ("doubts", "duty", 0.7),
    ("doubts", "span_k", 11.0),
    ("doubts", "odd_s", 4000),
    ("judge", "rh_fell_pct", 33.0),
)


def part_of(controller, part):
    """The object that SINGLE speaks of."""
    if part == "controller":
        return controller
    if part == "judge":
        return controller.judge
    return controller.judge.history if part == "history" else getattr(controller.outlook, part)


def settings():
    s = Settings()
    s.change({"has_glass": 1, "has_room": 1})
    return s


def taught():
    """A controller whose every number that is kept is another one."""
    controller = Controller(settings())
    controller.scanned_s = 50000
    for part, name, value in SINGLE:
        setattr(part_of(controller, part), name, value)
    house, fall, history = controller.outlook.house, controller.outlook.fall, controller.judge.history
    for n in range(24):
        house.gains[n], house.peaks[n] = 0.1 + 0.01 * n, 0.2 + 0.02 * n
        house.lowest_c[n], house.counts[n] = 18.0 + 0.05 * n, 4 * n
        house.sudden[n] = 200 + n
    for n in range(WIDTH * TRIALS):
        house.trials[n] = 0.001 * n
    for n in range(TRIALS):
        set_sums(house, n, (2.0 + n, 0.1, 0.2, 0.3, 1.5, 0.11, 0.13, 1.2, 0.17, 3.0 + n))
    for n in range(192):
        fall.own_drop[n] = n
    for n in range(48):
        fall.own_below[n], fall.lowest_cc[n] = 60 + n, -1000 - n
    for n in range(168):
        history.hour_cc[n] = -900 + n
    controller.permit.latched = 1 << w.LEAK_WET | 1 << w.WELDED
    controller.season_over = True
    house.distrusted = True
    controller.outlook.doubts.outdoor = True
    controller.glass.measured_f[0] = 0.625
    return controller


def set_sums(house, n, sums):
    """The ten sums of products of trial n."""
    for j in range(10):
        house.trials[WIDTH * n + SUMS + j] = sums[j]


def taken(image, now_s=0, gap=-1):
    """A new controller brought to an image."""
    controller = Controller(settings())
    if not learned.unpack(controller, image, now_s, gap):
        raise AssertionError("refused")
    return controller


def put(image, at, code, value):
    """The image with one number changed."""
    changed = bytearray(image)
    struct.pack_into("<" + code, changed, at, value)
    return changed


class TestImage(unittest.TestCase):
    def test_it_is_four_kilobytes_at_most_and_full_to_its_end(self):
        self.assertEqual(learned.SIZE, 4075)
        image = learned.pack(taught())
        self.assertEqual(len(image), 4075)
        self.assertEqual(struct.unpack_from("<f", image, 4071)[0], 38.0)
        self.assertEqual(struct.unpack_from("<HBBII", image, 0), (0x4C44, 5, 7, 1 << w.LEAK_WET | 1 << w.WELDED, 0))
        self.assertEqual(struct.unpack_from("<I", learned.pack(taught(), UTC_S), 8)[0], UTC_S)

    def test_its_pieces_are_small_the_same_twice_and_all_of_it(self):
        image = learned.Image(taught(), UTC_S)
        for _ in range(2):
            found = [bytes(piece) for piece in image.pieces()]
            self.assertEqual(b"".join(found), learned.pack(taught(), UTC_S))
            self.assertEqual(sum([len(piece) for piece in found]), len(image))
            self.assertTrue(max([len(piece) for piece in found]) <= 512)
            self.assertTrue(max([len(piece) for piece in found[2:]]) <= 128)  # the second is the glass's own
            self.assertTrue(len(found) <= 32)

    def test_every_number_comes_back(self):
        old = taught()
        new = taken(learned.pack(old))
        for part, name, value in SINGLE:
            self.assertAlmostEqual(getattr(part_of(new, part), name), value, delta=1e-5)
            self.assertEqual(type(getattr(part_of(new, part), name)), type(value))
        for part, names in (
            ("house", ("gains", "counts", "peaks", "sudden", "lowest_c", "trials")),
            ("fall", ("own_drop", "own_below", "lowest_cc")),
            ("history", ("hour_cc",)),
        ):
            for name in names:
                self.assertEqual(list(getattr(part_of(new, part), name)), list(getattr(part_of(old, part), name)))
        self.assertEqual(new.permit.latched, 1 << w.LEAK_WET | 1 << w.WELDED)
        self.assertTrue(new.season_over and new.outlook.house.distrusted)
        self.assertEqual(new.glass.measured_f[0], 0.625)
        self.assertEqual(new.glass.factor(False), 0.55)  # the setting is below it

    def test_what_comes_back_is_packed_the_same(self):
        image = learned.pack(taught(), UTC_S)
        new = taken(image)
        new.scanned_s = 10
        self.assertEqual(learned.pack(new, UTC_S), image)
        self.assertEqual(learned.pack(taken(learned.pack(Controller()))), learned.pack(Controller()))

    def test_a_flag_alone_says_only_itself(self):
        for alone in range(-1, 5):
            so = [n == alone for n in range(5)]
            old = taught()
            old.season_over, old.outlook.house.distrusted, old.outlook.doubts.outdoor = so[:3]
            old.outlook.doubts.notices = 1 << w.SENSOR_PLACE if so[3] else 0
            old.judge.belief.jumped_s = 7 if so[4] else -1
            new = taken(learned.pack(old), 5)
            said = [new.season_over, new.outlook.house.distrusted, new.outlook.doubts.outdoor, new.judge.indoor_doubted]
            self.assertEqual(said + [new.judge.belief.jumped_s == 5], so)
            self.assertEqual(new.outlook.doubts.notices, 1 << w.SENSOR_PLACE if so[3] else 0)
            self.assertEqual(new.outlook.doubts.warm_starts, 3 if so[3] else 0)  # as many have to show the contrary
            self.assertIs(new.judge.outdoor_doubted, so[2] or so[4])  # from its first scan on

    def test_what_a_board_cannot_mean_is_packed_as_the_nearest_it_can(self):
        old = taught()
        house = old.outlook.house
        house.dry_per_h, house.store_per_h, house.bias = NAN, 7.0, -99.0
        house.counts[3] = 200
        house.hours = (1 << 29) + 1
        house.trials[WIDTH * 3] = -5e6
        new = taken(learned.pack(old, -5)).outlook.house
        self.assertAlmostEqual(new.dry_per_h, 0.015625, delta=1e-6)
        self.assertAlmostEqual(new.store_per_h, 0.75, delta=1e-6)
        self.assertAlmostEqual(new.bias, -12.25, delta=1e-5)
        self.assertEqual((new.counts[3], new.hours, new.trials[WIDTH * 3]), (112, 1 << 29, -1e6))


class TestRefused(unittest.TestCase):
    def refused(self, image):
        """Whether it is refused, and the controller is as new."""
        controller = Controller(settings())
        before = learned.pack(controller)
        got = learned.unpack(controller, image, 0)
        self.assertTrue(got is True or got is False)
        return not got and learned.pack(controller) == before and controller.permit.latched == 0

    def test_every_length_but_the_right_one(self):
        image = bytes(learned.pack(taught()))
        controller = Controller(settings())
        before = learned.pack(controller)
        for size in range(len(image)):
            self.assertFalse(learned.unpack(controller, image[:size], 0))
        self.assertFalse(learned.unpack(controller, image + b"\0", 0))
        self.assertEqual(learned.pack(controller), before)

    def test_every_byte_flipped_is_taken_or_refused_and_never_unsound(self):
        image = learned.pack(taught())
        controller = Controller(settings())
        ages = array("i", [0] * learned.AGES)
        count = refused = 0
        for at in range(0, learned.SIZE, 7 if is_double() else 37):
            damaged = bytearray(image)
            damaged[at] ^= 1 << at % 8
            if at >= HEAD_BYTES and at % 5 == 0:
                damaged[at] ^= 0xFF
            count += 1
            if not learned.unpack(controller, damaged, 0):
                refused += 1
                continue
            for part, rows in learned.scalars(controller):
                for name, _, low, high in rows:
                    self.assertTrue(low <= getattr(part, name) <= high)
            for values, first, many, _, low, high in learned.arrays(controller, ages):
                for n in range(first, first + many):
                    self.assertTrue(low <= values[n] <= high)
        self.assertTrue(0 < refused < count)

    def test_a_head_that_is_not_ours(self):
        image = learned.pack(taught())
        wrong = ((0, "H", 0x4C45), (2, "B", 4), (2, "B", 6), (3, "B", 32), (3, "B", 128), (4, "I", 1 << 29))
        for at, code, value in wrong:
            self.assertTrue(self.refused(put(image, at, code, value)))
        self.assertTrue(self.refused(put(image, HEAD_BYTES, "B", 9)))  # the glass's own version
        self.assertTrue(self.refused(bytes(learned.SIZE)))
        self.assertTrue(self.refused(b"\xff" * learned.SIZE))
        self.assertTrue(self.refused(b""))

    def test_each_number_is_taken_to_its_bounds_and_not_beyond(self):
        image = learned.pack(taught())
        self.controller = Controller(settings())
        at = learned.NUMBERS_AT
        for part, name, code, many, low, high in LAYOUT:
            width = struct.calcsize(code)
            for n in (0, many - 1):
                self.bounds(image, at + n * width, code, low, high)
            at += many * width
        for n in range(TRIALS):
            for j in (0, SUMS - 1, WIDTH - 1):
                self.bounds(image, at + 4 * (WIDTH * n + j), "f", -1e6, 1e6)
        self.assertEqual(at + 4 * WIDTH * TRIALS, learned.SIZE)

    def bounds(self, image, at, code, low, high):
        if code == "f":
            beyond = [NAN, float("inf"), float("-inf")]
            beyond += [next_single(high, 1) if high > 0.0 else 1e-30, next_single(low, 1) if low < 0.0 else -1e-30]
            if low > 0.0:
                beyond += [next_single(low, -1)]
        else:
            least, most = {
                "b": (-128, 127),
                "B": (0, 255),
                "h": (-32768, 32767),
                "H": (0, 65535),
                "i": (-(2**31), 2**31 - 1),
                "I": (0, 2**32 - 1),
            }[code]
            beyond = [low - 1] if low > least else []
            beyond += [high + 1] if high < most else []
        for value in beyond:
            self.assertTrue(learned.unpack(self.controller, put(image, at, code, value), 0) is False)
        for value in (low, high):
            self.assertTrue(learned.unpack(self.controller, put(image, at, code, value), 0) is True)

    def test_each_number_lies_where_the_layout_says(self):
        old = taught()
        old.scanned_s = 4000
        for n in range(12):
            old.valve.starts_s[n] = 2000 + n
        old.window.begun_s, old.window.ended_s = [2100, 2101, 2102], 2200
        image = learned.pack(old)
        at = learned.NUMBERS_AT
        for part, name, code, many, _, _ in LAYOUT:
            found = list(struct.unpack_from("<" + str(many) + code, image, at))
            if name == "ages":
                wanted = [2000 - n for n in range(12)] + [1900, 1899, 1898, 1800]
            else:
                wanted = getattr(part_of(old, part), name)
                wanted = [wanted] if many == 1 else list(wanted)
            for n in range(many):
                self.assertAlmostEqual(found[n], wanted[n], delta=1e-5)
            at += many * struct.calcsize(code)
        trials = struct.unpack_from("<648f", image, at)
        self.assertEqual(list(trials), list(old.outlook.house.trials))

    def test_sums_that_no_house_can_have(self):
        """They would divide by zero in a scan: d = oo + 0.02, and the pivots after it."""
        self.assertTrue(learned.can_be_fitted((0.0,) * 9))
        # oo, ov, og, oy, vv, vg, vy, gg, gy
        for sums, sound in (
            ((-0.02, 0, 0, 0, 1, 0, 0, 1, 0), False),
            ((-1e-9, 0, 0, 0, 1, 0, 0, 1, 0), False),
            ((1, 0, 0, 0, -1e-9, 0, 0, 1, 0), False),
            ((1, 0, 0, 0, 1, 0, 0, -1e-9, 0), False),
            ((1.0, 1.42, 0, 0, 2.0, 0, 0, 1, 0), True),  # 1.42^2 / 1.02 = 1.9769 < 2.0005
            ((1.0, 1.43, 0, 0, 2.0, 0, 0, 1, 0), False),  # 2.0048
            ((1.0 - PRIOR_OUT, 1.0, 0, 0, 1.0 - PRIOR_VALVE, 0, 0, 1, 0), False),  # 1 - 1
            ((1.0, 0, 1.42, 0, 1, 0, 0, 2.0, 0), True),
            ((1.0, 0, 1.43, 0, 1, 0, 0, 2.0, 0), False),
            ((0.98, 0, 0, 0, 1.0, 1.41, 0, 2.0, 0), True),  # 1.41^2 / 1.0005 = 1.9871 < 2.0005
            ((0.98, 0, 0, 0, 1.0, 1.42, 0, 2.0, 0), False),  # 2.0154
            # ov og / d = 0.25 comes off vg: (0.75 - 0.25)^2 / 0.7505 = 0.3331 leaves 0.3325 - 0.25 + 0.2505
            ((0.98, 0.5, 0.5, 0, 1.0, 0.75, 0, 0.5821, 0), False),
            ((0.98, 0.5, 0.5, 0, 1.0, 0.75, 0, 0.5832, 0), True),
            ((0.98, 0.5, -0.5, 0, 1.0, 0.75, 0, 0.6, 0), False),  # (0.75 + 0.25)^2
            ((1.98, 1.0, 1.0, 0, 1.5, 0.5, 0, 0.51, 0), True),  # 1 / 2 comes off each
        ):
            self.assertTrue(learned.can_be_fitted(sums) is sound)
        for n in (0, 1, 34, 35):
            old = taught()
            set_sums(old.outlook.house, n, (1.0, 1.43, 0.0, 0.0, 2.0, 0.0, 0.0, 1.0, 0.0, 1.0))
            self.assertTrue(self.refused(learned.pack(old)))


def next_single(value, step):
    """The single-precision number next to a value, away from 0 (step 1) or towards it (-1)."""
    number = struct.unpack("<i", struct.pack("<f", value))[0]
    return struct.unpack("<f", struct.pack("<i", number + step))[0]


def is_double():
    """Whether floats are double: the slower interpreters look at fewer bytes."""
    return 1.0 + 1e-10 != 1.0


class TestAlarms(unittest.TestCase):
    def test_a_leak_outlasts_the_reboot_until_somebody_has_seen_to_it(self):
        rig = Rig()
        rig.scan()
        rig.contact("leak", r.ON)
        rig.scan(10)
        self.assertTrue(rig.refused(w.LEAK_WET))
        image = learned.pack(rig.controller)
        after = Rig()  # dry again
        self.assertTrue(learned.unpack(after.controller, image, after.now_s))
        after.run(2000)
        self.assertTrue(after.refused(w.LEAK_WET))
        after.readings.request = r.REQUEST_CLEAR
        after.run(100)
        self.assertFalse(after.refused(w.LEAK_WET))
        self.assertEqual(learned.alarms(learned.pack(after.controller)), 0)

    def test_alarms_can_be_read_from_an_image_of_any_version(self):
        image = learned.pack(taught())
        both = 1 << w.LEAK_WET | 1 << w.WELDED
        self.assertEqual(learned.alarms(image), both)
        self.assertEqual(learned.alarms(put(image, 2, "B", 77)), both)
        self.assertEqual(learned.alarms(image[:12]), both)
        self.assertEqual(learned.alarms(put(image, 4, "I", 0xFFFFFFFF)), learned.LATCHING)
        for none in (image[:11], b"", put(image, 0, "H", 0), bytes(4005)):
            self.assertEqual(learned.alarms(none), 0)

    def test_an_alarm_that_is_there_already_stays(self):
        controller = Controller(settings())
        controller.permit.latched = 1 << w.OVERFLOW
        self.assertTrue(learned.unpack(controller, learned.pack(taught()), 0))
        self.assertEqual(controller.permit.latched, 1 << w.OVERFLOW | 1 << w.LEAK_WET | 1 << w.WELDED)

    def test_starts_that_never_were_have_no_age(self):
        controller = Controller()
        controller.scanned_s = 100
        self.assertEqual(list(learned._ages(controller)), [-1] * learned.AGES)

    def test_a_doubt_that_nobody_has_is_not_kept(self):
        new = Controller()
        new.outlook.doubts.outdoor = new.judge.outdoor_doubted = True
        self.assertTrue(learned.unpack(new, learned.pack(Controller()), 0))
        self.assertIs(new.outlook.doubts.outdoor, False)
        self.assertIs(new.judge.outdoor_doubted, False)


class TestGap(unittest.TestCase):
    def test_it_takes_both_wall_times(self):
        image = learned.pack(taught(), UTC_S)
        self.assertEqual([learned.gap_s(image, UTC_S + n) for n in (0, 1, 90000)], [0, 1, 90000])
        for utc_s in (0, -1, UTC_S - 1):
            self.assertEqual(learned.gap_s(image, utc_s), -1)
        self.assertEqual(learned.gap_s(learned.pack(taught()), UTC_S), -1)
        self.assertEqual((learned.gap_s(image[:12], UTC_S), learned.gap_s(image[:11], UTC_S)), (0, -1))
        self.assertEqual(learned.gap_s(learned.pack(taught(), 1), 5), 4)
        new = Controller(settings())
        self.assertTrue(learned.unpack(new, image, 0))
        self.assertTrue(new.judge.history.doubted)  # unless it is told


class TestTimes(unittest.TestCase):
    def test_starts_of_the_hour_count_after_the_boot(self):
        old = taught()
        for n, start_s in ((0, 46400), (1, 46401), (2, 49000), (3, 50000), (5, 50001)):
            old.valve.starts_s[n] = start_s
        image = learned.pack(old)
        new = taken(image, 1000)
        # 3600 s ago no longer counts; 3599 s ago was before this boot: at its begin
        self.assertEqual(list(new.valve.starts_s), [-1, 0, 0, 1000, -1, -1] + [-1] * 6)
        self.assertEqual(list(taken(image, 5000).valve.starts_s)[:4], [-1, 1401, 4000, 5000])

    def test_window_tests_of_the_day_count_after_the_boot(self):
        old = taught()
        old.scanned_s = 100000
        for begun, ended_s, kept, ended in (
            ([13600, 13601, 99000], 89200, [-1, 6601, 92000], -1),
            ([-1, -1, 60000], 89201, [-1, -1, 53000], 82201),
            ([-1, 100000, 100001], 100000, [-1, 93000, -1], 93000),
            ([0, 0, 0], 0, [-1, -1, -1], -1),
        ):
            old.window.begun_s, old.window.ended_s = begun, ended_s
            new = taken(learned.pack(old), 93000)
            self.assertEqual((new.window.begun_s, new.window.ended_s), (kept, ended))
        old.window.testing = True
        new = taken(learned.pack(old), 50)
        self.assertEqual((new.window.testing, new.window.ended_s), (False, 50))
        self.assertTrue(new.window.is_too_soon(10000))

    def test_what_began_at_second_0_counts(self):
        old = taught()
        old.scanned_s = 100
        old.valve.starts_s[4] = 0
        old.window.begun_s = [0, -1, -1]
        new = taken(learned.pack(old), 0)
        self.assertEqual((new.valve.starts_s[4], new.window.begun_s), (0, [0, -1, -1]))


class TestSensors(unittest.TestCase):
    def test_what_a_sensor_last_showed_counts_only_while_one_is_fitted(self):
        image = learned.pack(taught())
        for glass, room in ((0, 0), (1, 0), (0, 1)):
            s = Settings()
            s.change({"has_glass": glass, "has_room": room})
            new = Controller(s)
            self.assertTrue(learned.unpack(new, image, 0))
            self.assertEqual(new.glass_colder_k, 1.5 if glass else -1000.0)
            self.assertEqual((new.room_colder_k, new.room_excess_pa), (2.5, 120.0) if room else (0.0, 0.0))

    def test_the_working_factors_are_worked_out_anew(self):
        old = taught()
        old.glass.measured_f[0] = old.glass.measured_f[1] = 0.375
        rig = Rig()
        rig.scan()
        self.assertAlmostEqual(rig.controller.f_day, 0.55, delta=1e-6)
        self.assertTrue(learned.unpack(rig.controller, learned.pack(old), rig.now_s))
        rig.scan(10)
        rig.scan(60)
        self.assertEqual((rig.controller.f_day, rig.controller.f_night), (0.375, 0.375))


class TestWeek(unittest.TestCase):
    """A kept week of outdoor air, and how long ago it was."""

    def kept(self, was_c, gap=-1, hours=168):
        """A history whose last hours were at was_c, after a boot."""
        old = taught()
        history = old.judge.history
        history.forget()
        history.next = 0
        for _ in range(hours):
            history.note(was_c, 3600, 80.0)
        self.new = taken(learned.pack(old), 0, gap)
        return self.new.judge.history

    def test_a_warm_week_loosens_nothing_when_it_may_be_long_past(self):
        history = self.kept(12.0)
        self.assertEqual((history.count, history.fresh, history.doubted), (168, 0, True))
        history.note(-15.0, 10, 80.0)
        self.assertAlmostEqual(history.week_c, -15.0, delta=1e-4)
        self.assertAlmostEqual(history.week_pa, vapour_pa(-15.0, 80.0), delta=0.01)
        for _ in range(5):
            history.note(-15.0, 3600, 80.0)
            self.assertAlmostEqual(history.week_c, -15.0, delta=0.002)
        history.note(-5.0, 3600, 80.0)
        self.assertAlmostEqual(history.week_c, (5.0 * -15.0 + -5.0) / 6.0, delta=0.01)
        pa = (5.0 * vapour_pa(-15.0, 80.0) + vapour_pa(-5.0, 80.0)) / 6.0
        self.assertAlmostEqual(history.week_pa, pa, delta=0.1)

    def test_nor_does_a_warm_day_after_a_cold_week(self):
        history = self.kept(-15.0)
        history.note(10.0, 10, 80.0)
        self.assertAlmostEqual(history.week_c, -15.0, delta=1e-4)
        for _ in range(84):
            history.note(10.0, 3600, 80.0)
        self.assertAlmostEqual(history.week_c, -2.5, delta=0.01)
        for _ in range(84):
            history.note(10.0, 3600, 80.0)
        self.assertAlmostEqual(history.week_c, 10.0, delta=0.01)
        history.note(10.0, 3600, 80.0)
        self.assertEqual(history.fresh, 168)

    def test_within_the_first_hour_the_coldest_of_it_counts(self):
        history = self.kept(12.0)
        for c in (5.0, -3.0, 4.0):
            history.note(c, 600, 80.0)
        self.assertAlmostEqual(history.week_c, -3.0, delta=1e-4)
        history.note(4.0, 1800, 80.0)
        self.assertAlmostEqual(history.week_c, 3.0, delta=0.01)  # then its mean

    def test_known_to_lie_within_the_week_it_counts_as_it_is(self):
        for gap in (0, 3599, 3600, 604800):
            history = self.kept(12.0, gap)
            self.assertEqual((history.count, history.doubted, history.fresh), (168, False, 168 if gap < 3600 else 0))
            history.note(-15.0, 10, 80.0)
            self.assertAlmostEqual(history.week_c, 12.0, delta=0.01)
            history.note(-15.0, 3590, 80.0)
            self.assertAlmostEqual(history.week_c, (167.0 * 12.0 - 15.0) / 168.0, delta=0.01)

    def test_known_to_be_older_it_does_not_count(self):
        history = self.kept(12.0, 604801)
        self.assertEqual((history.count, history.fresh, history.doubted), (0, 0, False))
        history.note(-15.0, 3600, 80.0)
        self.assertAlmostEqual(history.week_c, -15.0, delta=0.01)

    def test_it_may_become_known_later(self):
        history = self.kept(12.0)
        for _ in range(3):
            history.note(-15.0, 3600, 80.0)
        learned.settle(self.new, -1)
        self.assertTrue(history.doubted)
        learned.settle(self.new, 7200)
        self.assertFalse(history.doubted)
        self.assertAlmostEqual(history.week_c, (165.0 * 12.0 - 45.0) / 168.0, delta=0.01)
        learned.settle(self.new, 999999)  # once is enough
        self.assertEqual(history.count, 168)
        history = self.kept(12.0)
        for _ in range(3):
            history.note(-15.0, 3600, 80.0)
        learned.settle(self.new, 999999)
        self.assertEqual((history.count, history.fresh), (3, 3))
        self.assertAlmostEqual(history.week_c, -15.0, delta=0.01)
        self.assertAlmostEqual(history.week_pa, vapour_pa(-15.0, 80.0), delta=0.1)

    def test_a_part_of_a_week_and_none(self):
        history = self.kept(-4.0, -1, 30)
        self.assertEqual((history.count, history.next, history.doubted), (30, 30, True))
        self.assertAlmostEqual(history.week_c, -4.0, delta=0.01)
        self.assertAlmostEqual(history.day_c, -4.0, delta=0.01)
        self.assertAlmostEqual(history.week_pa, vapour_pa(-4.0, 80.0), delta=0.1)
        history = self.kept(-4.0, -1, 1)
        self.assertEqual((history.count, history.doubted), (1, True))
        self.assertAlmostEqual(history.week_c, -4.0, delta=0.01)
        history.forget()
        self.assertFalse(history.doubted)
        self.assertFalse(OutdoorHistory().doubted)
        history = self.kept(-4.0, -1, 0)
        self.assertEqual((history.count, history.doubted), (0, False))
        history.note(5.0, 10, 80.0)
        self.assertEqual(history.count, 0)

    def test_what_the_house_makes_of_the_last_day_is_made_anew(self):
        self.kept(-4.0)
        house = House()
        house.outdoor_hour(self.new.judge.history)
        self.assertTrue(house.outdoor_g_kg > 1.0)
        self.assertEqual(self.new.outlook.house.outdoor_g_kg, house.outdoor_g_kg)
        self.kept(-4.0, -1, 0)
        self.assertEqual(self.new.outlook.house.outdoor_g_kg, 0.0)


class TestFalls(unittest.TestCase):
    def watched(self, fall, history, values):
        for c in values:
            history.note(c, 3600, 80.0)
            fall.watch(history, 10)

    def test_no_fall_is_counted_across_a_boot(self):
        fall, history = FallBound(), OutdoorHistory()
        self.watched(fall, history, [10.0] * 100)
        history.resume(history.count, history.next, 80.0)
        self.watched(fall, history, [-15.0, -15.0, -16.0])
        self.assertEqual(max(fall.own_drop), 5)  # the one kelvin since
        self.assertEqual(max(fall.own_below), 0)
        again = FallBound()
        history.settle(100)  # hardly a gap: as if there had been none
        self.watched(again, history, [-16.0])
        self.assertEqual(max(again.own_drop), 130)

    def test_until_all_can_be_seen_again_its_hours_do_not_count(self):
        """So that a board switched off every night does not take its own short view for a calm place."""
        fall, history = FallBound(), OutdoorHistory()
        self.watched(fall, history, [0.0] * 100)
        self.assertEqual((fall.hours, fall.next), (100, 4))
        history.resume(history.count, history.next, 80.0)
        self.watched(fall, history, [0.0] * 72)
        self.assertEqual((fall.hours, fall.next), (100, 28))
        self.watched(fall, history, [0.0] * 3)
        self.assertEqual((fall.hours, fall.next), (103, 31))

    def test_below_the_lowest_of_the_day_before_needs_that_day(self):
        fall, history = FallBound(), OutdoorHistory()
        self.watched(fall, history, [5.0] * 80)
        history.resume(history.count, history.next, 80.0)
        self.watched(fall, history, [0.0] * 24 + [-10.0])
        self.assertEqual(max(fall.own_below), 0)
        history.resume(history.count, history.next, 80.0)
        self.watched(fall, history, [0.0] * 25 + [-10.0])
        self.assertEqual(list(fall.own_below[:3]), [50, 0, 0])
        self.watched(fall, history, [-20.0])
        self.assertEqual(list(fall.own_below[:3]), [50, 100, 0])


class TestHouse(unittest.TestCase):
    def begun(self, rh_pct, ratio, hours=700):
        old = taught()
        old.outlook.house.hours = hours
        house = taken(learned.pack(old)).outlook.house
        self.before = list(house.trials)
        house.minute(100, 7, 20.0, rh_pct, ratio, 0.0, 0, True)
        return house

    def test_a_store_is_as_moist_as_it_was_or_as_the_air_is(self):
        self.assertAlmostEqual(self.begun(25.0, 3.6).store_pct, 31.0, delta=1e-5)
        self.assertAlmostEqual(self.begun(40.0, 5.8).store_pct, 40.0, delta=1e-5)

    def test_the_own_share_is_no_more_than_there_is(self):
        self.assertAlmostEqual(self.begun(25.0, 3.6).own, 0.8, delta=1e-5)
        self.assertAlmostEqual(self.begun(5.0, 0.7).own, 0.7, delta=1e-5)

    def test_what_rose_since_it_was_packed_may_be_of_the_humidifier(self):
        """0.8 of 5.1 g/kg when packed, 5.8 now: 1.5."""
        self.assertAlmostEqual(self.begun(40.0, 5.8).own, 1.5, delta=1e-5)
        self.assertAlmostEqual(self.begun(40.0, 5.8, 0).own, 0.8, delta=1e-5)

    def test_trials_go_on_from_the_measured_humidity(self):
        """5.1 when packed, 3.6 now: each base 1.5 lower; what it explains, and its slow means, as they were."""
        house = self.begun(25.0, 3.6)
        for i in range(WIDTH * TRIALS):
            change = -1.5 if i % WIDTH == 0 else 0.0
            self.assertAlmostEqual(house.trials[i], self.before[i] + change, delta=1e-5)
        self.assertEqual((house.ratio, house.quarter_ratio), (3.6 * 1.0, house.ratio))

    def test_a_raised_store_has_long_been_so(self):
        """9 % more: k2 x 9 / (a + 100 k2 / 14.5 + 1/48) more in each base, and so much less left over."""
        house = self.begun(40.0, 5.8)
        for n, dry, store in ((0, 0.03, 0.0), (17, 0.20, 0.08), (35, 1.10, 0.7)):
            k2 = 0.157 * store
            given = k2 * 9.0 / (dry + 100.0 * k2 / 14.5 + 1.0 / 48.0)
            i = WIDTH * n
            self.assertAlmostEqual(house.trials[i], self.before[i] + 0.7 + given, delta=1e-4)
            self.assertAlmostEqual(house.trials[i + SLOW + 3], self.before[i + SLOW + 3] - given, delta=1e-4)
            self.assertEqual(house.trials[i + 1], self.before[i + 1])

    def test_where_nothing_was_learned_they_begin_afresh(self):
        self.assertAlmostEqual(self.begun(25.0, 3.6, 1).trials[0], self.before[0] - 1.5, delta=1e-5)
        house = self.begun(25.0, 3.6, 0)
        for n in range(TRIALS):
            self.assertAlmostEqual(house.trials[WIDTH * n], 3.6, delta=1e-6)
            self.assertEqual([house.trials[WIDTH * n + j] for j in range(1, SUMS)], [0.0] * 7)


class Place:
    """A house in the cold with a valve that obeys, at scans five minutes apart, and a controller that drives it."""

    STEP_S = 300

    def __init__(self):
        self.sat = sat_ratio_g_kg(20.0)
        self.ratio, self.store_pct, self.pad = 5.0, 34.0, 0.0
        self.s = 0
        self.leader = Board(self, None)

    def step(self):
        self.s += self.STEP_S
        h = self.STEP_S / 3600.0
        minute = self.s // 60 % 1440
        hours = self.s / 3600.0
        slow_c = -9.0 + 7.0 * sin(0.0571 * hours)
        self.outdoor_c = slow_c + 5.0 * sin(0.2618 * (hours - 9.0))
        out = min(0.9 * sat_ratio_g_kg(slow_c - 5.0), sat_ratio_g_kg(self.outdoor_c))
        self.is_open = self.leader.controller.valve.open
        self.fan = self.s // 900 % 3 != 0
        if self.fan:
            self.pad += (int(self.is_open) - self.pad) * min(1.0, 12.0 * h)
        gain = 0.1 if minute < 360 else 0.25
        if 430 <= minute < 445:
            gain += 4.0
        q = STORE_G_KG_PCT * 0.1 * (100.0 * self.ratio / self.sat - self.store_pct)
        added = 1.2 * self.pad if self.fan else 0.0
        self.ratio += h * (0.15 * (out - self.ratio) - q + gain + added)
        self.store_pct += h * q * AIR_FACTOR / CAPACITY
        return self.leader.look()


class Board:
    """A controller that sees a Place; booted at the Place's time."""

    def __init__(self, place, image, gap=-1):
        self.place = place
        self.boot_s = place.s
        self.readings = r.Readings()
        self.controller = Controller()
        if image is not None and not learned.unpack(self.controller, image, 0, gap):
            raise AssertionError("refused")

    def look(self):
        """One scan; the target [% RH]."""
        place, readings = self.place, self.readings
        now_s = place.s - self.boot_s
        readings.utc_s = UTC_S + place.s
        readings.indoor_c.set(20.0, now_s)
        readings.rh_pct.set(100.0 * place.ratio / place.sat, now_s)
        readings.outdoor_c.set(place.outdoor_c, now_s)
        for name, state in (("heat_call", 1), ("leak", 0), ("line_sense", 1), ("off_switch", 0)):
            getattr(readings, name).set(state, max(0, now_s - 100))
        readings.fan.set(int(place.fan), max(0, now_s - 100))
        readings.load_sense.set(int(place.is_open), now_s)
        return self.controller.scan(readings, now_s).target_pct


class TestWinter(unittest.TestCase):
    """A second controller sees what the first one sees, and is packed into a new one again and again."""

    def differences(self, days, every_s, gap):
        """By how much [% RH] the second one's target is higher, but in the half hour after a boot."""
        place = Place()
        second = Board(place, None)
        found = []
        for _ in range(days * 288):
            target = place.step()
            found_now = second.look() - target
            if place.s - second.boot_s > 1800:
                found.append(found_now)
            if place.s % every_s == 0:
                second = Board(place, learned.pack(second.controller, UTC_S + place.s), gap)
        self.houses = (place.leader.controller.outlook.house, second.controller.outlook.house)
        return sorted(found)

    def test_rebooted_every_day_it_is_never_more_daring(self):
        """Nobody knowing for how long it was off.  Over a month: tests/acceptance/reboots.py."""
        found = self.differences(5, 86400, -1)
        self.assertTrue(found[-1] <= 0.3)
        self.assertTrue(-0.5 <= found[len(found) // 2] <= 0.1)
        self.assertTrue(sum(found) / len(found) >= -1.5)
        one, other = self.houses
        self.assertTrue(0.7 * one.dry_per_h <= other.dry_per_h <= 1.1 * one.dry_per_h)
        self.assertTrue(abs(one.valve_g_kg_h - other.valve_g_kg_h) < 0.2)
        self.assertTrue(one.hours - other.hours <= 5)

    def test_one_boot_in_three_days_changes_next_to_nothing(self):
        found = self.differences(3, 2 * 86400, 60)
        self.assertTrue(found[-1] <= 0.3 and found[len(found) // 20] >= -0.3)


if __name__ == "__main__":
    unittest.main()
