"""How far it may get colder: the prior, the place's own record, and how the two are blended, by hand."""

import unittest
from math import cos

from dewcore import fallbound as fb
from dewcore.judge import Judge
from dewcore.outdoors import OutdoorHistory
from dewcore.readings import Readings

NEAR = 1e-4  # K


class Place:
    """A bound that watches a history, hour after hour; the first hour ends at `hour`, -1 without a clock."""

    def __init__(self, hour=1):
        self.bound = fb.FallBound()
        self.history = OutdoorHistory()
        self.hour = hour

    def hours(self, values_c):
        for value_c in values_c:
            self.history.note(value_c, 3600, 80.0)
            self.bound.watch(self.history, self.hour)
            if self.hour >= 0:
                self.hour = (self.hour + 1) % 24
        return self

    def own_k(self, block, k):
        """The own record's fall [K] of a block within k hours."""
        return self.bound.own_drop[48 * block + k - 1] / 5.0

    def below_k(self, k):
        return self.bound.own_below[k - 1] / 5.0


def falls(bound, hour, now_c=0.0, lowest_c=0.0):
    """The bound [K] for 1 to 48 hours ahead."""
    bound.begin(hour)
    return [bound.drop_k(k, now_c, lowest_c) for k in range(1, 49)]


class TestOutage(unittest.TestCase):
    def test_what_fell_while_no_reading_came_is_no_fast_fall(self):
        place = Place().hours([5.0] * 80)
        watched = place.bound.hours
        place.history.interrupt()
        place.hours([-10.0] * 30)
        self.assertEqual(list(place.bound.own_drop) + list(place.bound.own_below), [0] * (5 * 48))
        self.assertEqual(place.bound.hours, watched)

    def test_falls_before_and_after_it_count(self):
        place = Place().hours([5.0, 3.0])
        place.history.interrupt()
        place.hours([-10.0, -11.0, -14.0])
        self.assertEqual([round(place.own_k(0, k), 1) for k in (1, 2, 3)], [3.0, 4.0, 0.0])

    def test_its_hours_count_again_once_all_can_be_seen(self):
        place = Place().hours([5.0] * 10)
        place.history.interrupt()
        place.hours([-10.0] * 72)
        self.assertEqual(place.bound.hours, 10)
        place.hours([-10.0, -10.0])
        self.assertEqual(place.bound.hours, 12)

    def test_below_the_days_lowest_only_where_that_day_was_seen(self):
        place = Place().hours([5.0] * 30)
        place.history.interrupt()
        place.hours([0.0] * 24)
        place.hours([-4.0])
        self.assertEqual(place.below_k(1), 0.0)
        place.hours([-4.0] * 30)
        place.hours([-6.0])
        self.assertAlmostEqual(place.below_k(1), 2.0, delta=NEAR)

    def test_the_judge_tells_of_one(self):
        for gap_s, own_k in ((3599, 15.0), (3600, 0.0)):
            judge = Judge()
            readings = Readings()
            bound = fb.FallBound()
            now_s = 0
            for outdoor_c, seconds in ((5.0, 10800), (-10.0, 7200)):
                until_s = now_s + seconds
                while now_s < until_s:
                    now_s += 60
                    readings.outdoor_c.set(outdoor_c, now_s)
                    before = judge.history.next
                    judge.judge(readings, now_s)
                    if judge.history.next != before:
                        bound.watch(judge.history, 0)
                now_s += gap_s - 60
            self.assertAlmostEqual(max(bound.own_drop) / 5.0, own_k, delta=0.3)


class TestPrior(unittest.TestCase):
    def test_some_values(self):
        """The file's: block 0 falls 9, 13 and 29 K in 1, 2 and 48 h, block 2 21.5 K in 5, block 3 14.5 K in 1."""
        for hour, k, fall_k in ((0, 1, 9.0), (5, 2, 13.0), (0, 48, 29.0), (6, 1, 8.0), (13, 5, 21.5), (23, 1, 14.5)):
            found = falls(fb.FallBound(), hour, 20.0, 0.0)  # 20 K above the day's lowest: that bounds nothing
            self.assertAlmostEqual(found[k - 1], fall_k, delta=NEAR)
        self.assertAlmostEqual(falls(fb.FallBound(), 18, 20.0, 0.0)[47], 26.0, delta=NEAR)

    def test_no_entry_of_the_tables_has_changed(self):
        """Sums of the file's entries in 0.5 K, plain and times the hours ahead."""
        tables = [fb.PRIOR_DROP[48 * block : 48 * block + 48] for block in range(4)] + [fb.PRIOR_BELOW_LOWEST]
        sums = ((2071, 57793), (2204, 59822), (2264, 58838), (2237, 57798), (1740, 47830))
        for table, (plain, weighted) in zip(tables, sums):
            self.assertEqual(len(table), 48)
            self.assertEqual(sum(table), plain)
            self.assertEqual(sum([(n + 1) * table[n] for n in range(48)]), weighted)

    def test_a_cold_day_falls_less_far(self):
        """Below the day's lowest 7 K in 1 h, 10 in 4, 23 in 48; at 2 K above it 2 K more."""
        found = falls(fb.FallBound(), 0, -8.0, -10.0)
        for k, fall_k in ((1, 9.0), (2, 10.0), (4, 12.0), (48, 25.0)):
            self.assertAlmostEqual(found[k - 1], fall_k, delta=NEAR)
        self.assertAlmostEqual(falls(fb.FallBound(), 0, -10.0, -10.0)[0], 7.0, delta=NEAR)

    def test_it_is_never_a_rise(self):
        """Now 40 K under the day's lowest, which only a wrong caller says, is no fall and no rise."""
        self.assertEqual(falls(fb.FallBound(), 0, -40.0, 0.0), [0.0] * 48)

    def test_without_a_clock_the_worst_quarter_of_the_day_holds(self):
        bound = fb.FallBound()
        quarters = [falls(bound, hour, 30.0, 0.0) for hour in (0, 6, 12, 18)]
        self.assertEqual(falls(bound, -1, 30.0, 0.0), [max(four) for four in zip(*quarters)])
        self.assertAlmostEqual(falls(bound, -1, 30.0, 0.0)[0], 14.5, delta=NEAR)
        self.assertAlmostEqual(falls(bound, -1, 30.0, 0.0)[47], 29.0, delta=NEAR)

    def test_longer_never_falls_less(self):
        place = Place().hours([5.0, 11.0, -3.0, -3.0, 4.0, -9.0] * 20)
        for hour in (-1, 0, 7, 12, 23):
            for lowest_c in (-20.0, 0.0):
                found = falls(place.bound, hour, 0.0, lowest_c)
                self.assertEqual(found, sorted(found))


class TestOwnRecord(unittest.TestCase):
    def test_a_fall_is_entered_where_it_began(self):
        """3, 0 and -4 °C in the hours ending at 1, 2 and 3 o'clock: 3 K in 1 h, 7 K in 2 h, 4 K in 1 h."""
        place = Place(1).hours([3.0, 0.0])
        self.assertEqual((place.own_k(0, 1), place.own_k(0, 2)), (3.0, 0.0))
        place.hours([-4.0])
        self.assertEqual((place.own_k(0, 1), place.own_k(0, 2), place.own_k(0, 3)), (4.0, 7.0, 0.0))
        self.assertEqual(set(place.bound.own_drop[48:]), {0})
        place.hours([-4.0])  # two hours after 0 still 4 K lower, and 7 three after 3
        self.assertEqual((place.own_k(0, 1), place.own_k(0, 2), place.own_k(0, 3)), (4.0, 7.0, 7.0))

    def test_the_quarter_of_the_day_is_that_of_the_beginning(self):
        """The hour that is noted at h o'clock is one of block h / 6; its fall is seen an hour later."""
        for first, block in ((0, 0), (5, 0), (6, 1), (11, 1), (12, 2), (17, 2), (18, 3), (23, 3)):
            place = Place(first).hours([0.0, -2.0])
            self.assertEqual([place.own_k(b, 1) for b in range(4)], [2.0 if b == block else 0.0 for b in range(4)])

    def test_it_is_rounded_up_to_a_fifth_of_a_kelvin(self):
        for fall_c, own_k in ((0.01, 0.2), (0.2, 0.2), (0.21, 0.4), (1.0, 1.0), (50.99, 51.0), (60.0, 51.0)):
            self.assertAlmostEqual(Place().hours([0.0, -fall_c]).own_k(0, 1), own_k, delta=NEAR)

    def test_a_smaller_fall_takes_nothing_back(self):
        place = Place().hours([3.0, 0.0] + [1.0, 0.0] * 30)
        self.assertEqual(place.own_k(0, 1), 3.0)

    def test_a_rise_and_a_standstill_are_none(self):
        place = Place().hours([-5.0, -5.0, 3.0] + [3.0] * 60)
        self.assertEqual(set(place.bound.own_drop), {0})
        self.assertEqual(set(place.bound.own_below), {0})

    def test_a_fall_from_12_degrees_up_is_a_summer_evenings(self):
        self.assertEqual(Place().hours([12.0, 5.0]).own_k(0, 1), 0.0)
        self.assertEqual(Place().hours([11.99, 5.0]).own_k(0, 1), 7.0)

    def test_hours_before_the_first_are_no_hours(self):
        for hour in (-1, 1):
            place = Place(hour).hours([-20.0] * 200)
            self.assertEqual((set(place.bound.own_drop), set(place.bound.own_below)), ({0}, {0}))

    def test_two_days_are_the_longest(self):
        """1 K an hour for 50 hours: within 48 h 48 K, and nothing beyond the table."""
        place = Place(1).hours([11.0 - n for n in range(60)])
        self.assertEqual(place.own_k(0, 48), 48.0)
        self.assertEqual(place.own_k(0, 47), 47.0)
        self.assertEqual(len(place.bound.own_drop), 192)

    def test_without_a_clock_only_the_fall_below_the_days_lowest_is_learned(self):
        place = Place(-1).hours([0.0] * 30 + [-3.0])
        self.assertEqual(set(place.bound.own_drop), {0})
        self.assertEqual((place.below_k(1), place.below_k(6), place.below_k(7)), (3.0, 3.0, 0.0))

    def test_below_the_days_lowest(self):
        """A day whose lowest is 1 °C, 5 °C now, then -2 °C: 7 K in an hour, but 3 K below the lowest."""
        place = Place().hours([5.0] * 20 + [1.0] + [5.0] * 10 + [-2.0])
        self.assertEqual((place.own_k(1, 1), place.below_k(1), place.below_k(7)), (7.0, 3.0, 3.0))
        # 24 h after the 1 °C it is forgotten: from 5 °C to 3
        place = Place().hours([1.0] + [5.0] * 24 + [3.0])
        self.assertEqual(place.below_k(1), 2.0)
        self.assertEqual(Place().hours([5.0] + [1.0] + [5.0] * 23 + [3.0]).below_k(1), 0.0)
        # of a day that is just known, the hour before the last
        self.assertEqual(Place().hours([5.0] * 23 + [1.0] + [5.0] + [3.0]).below_k(1), 0.0)

    def test_a_day_has_to_be_known_before_anything_is_below_its_lowest(self):
        """24 hours and the one it fell from."""
        self.assertEqual(Place().hours([0.0] * 24 + [-2.0]).below_k(1), 0.0)
        self.assertEqual(Place().hours([0.0] * 25 + [-2.0]).below_k(1), 2.0)

    def test_the_lowest_two_days_ago_is_still_known(self):
        """Steady, then a slow fall: 48 h after the last steady hour 4.8 K below it."""
        place = Place(-1).hours([0.0] * 40 + [-0.1 * n for n in range(1, 49)])
        self.assertAlmostEqual(place.below_k(48), 4.8, delta=NEAR)
        self.assertAlmostEqual(place.below_k(1), 0.2, delta=NEAR)

    def test_the_ring_of_hours_goes_round_without_a_trace(self):
        place = Place().hours([0.0] * 400 + [-2.0])
        self.assertEqual((place.bound.hours, place.below_k(1), place.below_k(48)), (401, 2.0, 2.0))
        self.assertEqual(list(place.bound.lowest_cc).count(-200), 1)


class TestBlend(unittest.TestCase):
    def bound(self, hours, own_k=0.0, below_k=0.0):
        """A bound that has watched so long and seen these falls within an hour, in block 0."""
        bound = fb.FallBound()
        bound.hours = hours
        bound.own_drop[0] = int(5.0 * own_k + 0.5)
        bound.own_below[0] = int(5.0 * below_k + 0.5)
        return bound

    def test_over_thirty_days_the_own_record_comes_to_count_six_tenths(self):
        """Prior 9 K, own 4 K x 1.2 = 4.8: by day 15 0.7 x 9 + 0.3 x 4.8 = 7.74, by 30 0.4 x 9 + 0.6 x 4.8 = 6.48."""
        for hours, fall_k in ((0, 9.0), (360, 7.74), (720, 6.48), (5000, 6.48)):
            self.assertAlmostEqual(falls(self.bound(hours, 4.0), 0, 20.0, 0.0)[0], fall_k, delta=NEAR)

    def test_a_place_where_it_never_fell(self):
        """0.4 x 9 and 0.4 x 7."""
        self.assertAlmostEqual(falls(self.bound(720), 0, 20.0, 0.0)[0], 3.6, delta=NEAR)
        self.assertAlmostEqual(falls(self.bound(720), 0)[0], 2.8, delta=NEAR)

    def test_the_fall_below_the_lowest_too(self):
        """Prior 7 K, own 2 K x 1.2: 0.4 x 7 + 0.6 x 2.4 = 4.24."""
        bound = self.bound(720, 9.0, 2.0)
        self.assertAlmostEqual(falls(bound, 0)[0], 4.24, delta=NEAR)
        self.assertAlmostEqual(falls(bound, 0, 1.5, 0.0)[0], 5.74, delta=NEAR)

    def test_what_has_been_seen_may_come_again(self):
        """Own 20 K over a prior of 9: 0.4 x 9 + 0.6 x 24 = 18 is less than has been."""
        self.assertAlmostEqual(falls(self.bound(720, 20.0), 0, 50.0, 0.0)[0], 20.0, delta=NEAR)
        self.assertAlmostEqual(falls(self.bound(0, 20.0), 0, 50.0, 0.0)[0], 20.0, delta=NEAR)
        self.assertAlmostEqual(falls(self.bound(0, 20.0, 15.0), 0)[0], 15.0, delta=NEAR)
        # own 30 K: 0.4 x 9 + 0.6 x 36 = 25.2, still less; own 9 K: 3.6 + 6.48 = 10.08 is more
        self.assertAlmostEqual(falls(self.bound(720, 9.0), 0, 50.0, 0.0)[0], 10.08, delta=NEAR)

    def test_a_fall_within_an_hour_is_one_within_two_as_well(self):
        """Seen 20 K in 1 h; the table of 2 h has nothing yet, prior 13 K."""
        found = falls(self.bound(0, 20.0), 0, 50.0, 0.0)
        self.assertAlmostEqual(found[1], 20.0, delta=NEAR)
        found = falls(self.bound(0, 30.0, 20.0), 0)
        self.assertAlmostEqual(found[1], 20.0, delta=NEAR)

    def test_one_look_ahead_leaves_nothing_for_the_next(self):
        bound = self.bound(0, 40.0, 40.0)
        falls(bound, 0)
        bound.own_drop[0] = bound.own_below[0] = 0
        self.assertAlmostEqual(falls(bound, 0, 50.0, 0.0)[0], 9.0, delta=NEAR)
        self.assertAlmostEqual(falls(bound, 0)[0], 7.0, delta=NEAR)

    def test_the_own_fall_of_another_quarter_is_not_this_ones(self):
        bound = self.bound(0, 40.0)
        self.assertAlmostEqual(falls(bound, 6, 50.0, 0.0)[0], 8.0, delta=NEAR)
        self.assertAlmostEqual(falls(bound, -1, 50.0, 0.0)[0], 40.0, delta=NEAR)

    def test_a_mild_places_record_shrinks_the_bound(self):
        """30 days of +-3 K about 0 °C, warmest at 1 h: a fall of 6 K at most, where the prior has 29 and 27."""
        place = Place(1).hours([3.0 * cos(0.2618 * n) for n in range(720)])
        # 0.4 x 29 + 0.6 x 7.2 from the hours of the highest; from the afternoon, its coldest, it hardly falls
        self.assertAlmostEqual(falls(place.bound, 0, 50.0, 0.0)[47], 15.92, delta=0.15)
        self.assertAlmostEqual(falls(place.bound, 14, 50.0, 0.0)[47], 0.4 * 27.0 + 0.6 * 1.2 * 1.6, delta=0.15)


class TestSize(unittest.TestCase):
    def test_it_keeps_less_than_400_bytes(self):
        bound = fb.FallBound()
        self.assertEqual(len(bound.own_drop) + len(bound.own_below) + 2 * len(bound.lowest_cc), 336)
        self.assertEqual((bound.hours, set(bound.own_drop), set(bound.own_below)), (0, {0}, {0}))


if __name__ == "__main__":
    unittest.main()
