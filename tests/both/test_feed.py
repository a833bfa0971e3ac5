"""The outdoor feed: what is taken, what is refused and in which words, and the wall time that messages carry."""

import unittest

from dewcore import feed
from dewcore.readings import ERROR_NO_ANSWER, ERROR_OK, FORECAST_NONE, Readings

UTC_S = 1000000800
NOW_S = 50000
NAN = float("nan")
INF = float("inf")
GONE = "this key is left out"


def changed(message, changes):
    """The message with some keys other, or gone."""
    for key in changes:
        if changes[key] == GONE:
            del message[key]
        else:
            message[key] = changes[key]
    return message


def observation(**changes):
    return changed(
        {
            "schema": 1,
            "source": "roof",
            "sent_s": UTC_S - 5,
            "utc_offset_s": 3600,
            "observed_s": UTC_S - 20,
            "outdoor_c": -12.3,
        },
        changes,
    )


def forecast(**changes):
    return changed(
        {
            "schema": 1,
            "source": "model",
            "sent_s": UTC_S - 5,
            "issued_s": UTC_S - 900,
            "start_s": UTC_S,
            "step_s": 3600,
            "outdoor_c": [-12.3, None, 4, 0.04],
        },
        changes,
    )


def held():
    """Readings that hold an observation and a forecast."""
    readings = Readings()
    readings.outdoor_c.set(-3.0, 100)
    readings.forecast_issued_s = UTC_S - 9999
    readings.forecast_start_s = UTC_S - 9000
    for i in range(72):
        readings.forecast_dc[i] = i
    return readings


def image(readings):
    """All that a message may change."""
    sample = readings.outdoor_c
    times = (readings.forecast_issued_s, readings.forecast_start_s, readings.utc_s, readings.utc_offset_s)
    return (sample.value, sample.at_s, sample.error, times, list(readings.forecast_dc))


class TestTaken(unittest.TestCase):
    def test_an_observation_is_as_old_as_it_was_observed(self):
        readings = Readings()
        self.assertEqual(feed.accept(observation(), readings, NOW_S, UTC_S), "")
        sample = readings.outdoor_c
        self.assertEqual((sample.at_s, sample.error), (NOW_S - 20, ERROR_OK))
        self.assertAlmostEqual(sample.value, -12.3, delta=1e-6)
        self.assertEqual(readings.forecast_issued_s, 0)

    def test_it_is_never_in_the_future(self):
        readings = Readings()
        for ahead_s in (1, 600):
            self.assertEqual(feed.accept(observation(observed_s=UTC_S + ahead_s), readings, NOW_S, UTC_S), "")
            self.assertEqual(readings.outdoor_c.at_s, NOW_S)

    def test_a_whole_number_is_a_temperature(self):
        readings = Readings()
        for value in (-70, 60, 0, -70.0, 60.0):
            self.assertEqual(feed.accept(observation(outdoor_c=value), readings, NOW_S, UTC_S), "")
            self.assertEqual(readings.outdoor_c.value, value)
            self.assertIsInstance(readings.outdoor_c.value, float)

    def test_a_forecast_in_tenths_with_its_holes(self):
        readings = held()
        readings.outdoor_c.error = ERROR_NO_ANSWER
        self.assertEqual(feed.accept(forecast(), readings, NOW_S, UTC_S), "")
        self.assertEqual((readings.forecast_issued_s, readings.forecast_start_s), (UTC_S - 900, UTC_S))
        self.assertEqual(list(readings.forecast_dc), [-123, FORECAST_NONE, 40, 0] + [FORECAST_NONE] * 68)
        sample = readings.outdoor_c
        self.assertEqual((sample.value, sample.at_s, sample.error), (-3.0, 100, ERROR_NO_ANSWER))

    def test_tenths_are_rounded_halves_away_from_zero(self):
        readings = Readings()
        values = [0.25, 0.75, -0.25, -0.75, 0.2, -0.2, -0.03, 60.0, -70, 0.2497, -0.2497]
        self.assertEqual(feed.accept(forecast(outdoor_c=values), readings, NOW_S, UTC_S), "")
        self.assertEqual(list(readings.forecast_dc)[:11], [3, 8, -3, -8, 2, -2, 0, 600, -700, 2, -2])

    def test_one_hour_and_72_hours(self):
        readings = Readings()
        self.assertEqual(feed.accept(forecast(outdoor_c=[1.0] * 72), readings, NOW_S, UTC_S), "")
        self.assertEqual(list(readings.forecast_dc), [10] * 72)
        self.assertEqual(feed.accept(forecast(outdoor_c=[None]), readings, NOW_S, UTC_S), "")
        self.assertEqual(list(readings.forecast_dc), [FORECAST_NONE] * 72)

    def test_what_no_decision_needs_may_be_absent_and_more_may_be_there(self):
        for message in (observation(), forecast()):
            for key in ("source", "utc_offset_s"):
                message.pop(key, None)
            message["wind_m_s"] = [3.0, {"gust": None}]
            self.assertEqual(feed.accept(message, Readings(), NOW_S, UTC_S), "")

    def test_the_ends_of_time_zones(self):
        for offset_s in (-43200, 0, 50400):
            self.assertEqual(feed.accept(observation(utc_offset_s=offset_s), Readings(), NOW_S, UTC_S), "")
            self.assertEqual(feed.accept(forecast(utc_offset_s=offset_s), Readings(), NOW_S, UTC_S), "")

    def test_the_ends_of_the_years(self):
        for first_s, last_s in ((946684800, 4102444800),):
            message = observation(sent_s=first_s, observed_s=first_s)
            self.assertEqual(feed.accept(message, Readings(), NOW_S, first_s), "")
            message = forecast(sent_s=last_s, issued_s=last_s, start_s=last_s)
            self.assertEqual(feed.accept(message, Readings(), NOW_S, last_s), "")

    def test_the_same_again_is_harmless(self):
        readings = Readings()
        for message in (observation(), forecast()):
            self.assertEqual(feed.accept(message, readings, NOW_S, UTC_S), "")
            once = image(readings)
            self.assertEqual(feed.accept(message, readings, NOW_S + 60, UTC_S + 60), "")
            self.assertEqual(image(readings), once)

    def test_a_forecast_can_come_before_the_clock(self):
        readings = Readings()
        self.assertEqual(feed.accept(forecast(), readings, NOW_S, 0), "")
        self.assertEqual(readings.forecast_issued_s, UTC_S - 900)

    def test_one_taken_while_the_clock_was_wrong_keeps_no_later_one_out(self):
        readings = Readings()
        for held_s, taken in ((UTC_S + 601, True), (UTC_S + 600, False)):
            readings.forecast_issued_s = held_s
            self.assertEqual(feed.accept(forecast(), readings, NOW_S, UTC_S) == "", taken)
        # without a clock nobody knows that it was wrong
        readings.forecast_issued_s = UTC_S + 601
        self.assertNotEqual(feed.accept(forecast(), readings, NOW_S, 0), "")

    def test_how_long_a_message_may_be(self):
        self.assertEqual(feed.LARGEST_BYTES, 1000)


TIME = "; allowed is 946684800 to 4102444800"
# changes, the refusal; of observation() and forecast() alike
ANY = (
    ({"schema": 2}, "schema: found 2, not known; allowed is 1"),
    ({"schema": 1.0}, "schema: found 1.0, not known; allowed is 1"),
    ({"schema": True}, "schema: found true, not known; allowed is 1"),
    ({"schema": "1"}, "schema: found '1', not known; allowed is 1"),
    ({"schema": GONE}, "schema: found nothing, not known; allowed is 1"),
    ({"source": 7}, "source: found 7, no text; allowed is a text"),
    ({"source": None}, "source: found nothing, no text; allowed is a text"),
    ({"sent_s": GONE}, "sent_s: found nothing, no such whole number" + TIME),
    ({"sent_s": 1.5}, "sent_s: found 1.5, no such whole number" + TIME),
    ({"sent_s": True}, "sent_s: found true, no such whole number" + TIME),
    ({"sent_s": 946684799}, "sent_s: found 946684799, no such whole number" + TIME),
    ({"sent_s": 4102444801}, "sent_s: found 4102444801, no such whole number" + TIME),
    ({"sent_s": 8204889600}, "sent_s: found 8204889600, no such whole number" + TIME),
    ({"sent_s": 8204889601}, "sent_s: found a very large number, no such whole number" + TIME),
    ({"sent_s": -4102444800}, "sent_s: found -4102444800, no such whole number" + TIME),
    ({"sent_s": -4102444801}, "sent_s: found a very large number, no such whole number" + TIME),
    ({"sent_s": [[]]}, "sent_s: found a list, no such whole number" + TIME),
    ({"sent_s": {}}, "sent_s: found a dict, no such whole number" + TIME),
    ({"sent_s": "x" * 50}, "sent_s: found 'xxxxxxxxxxxxxxxxxxxx', no such whole number" + TIME),
    ({"sent_s": 999.96}, "sent_s: found 1000.0, no such whole number" + TIME),
    ({"sent_s": -999.96}, "sent_s: found -1000.0, no such whole number" + TIME),
    ({"sent_s": 1000.0}, "sent_s: found a very large number or none, no such whole number" + TIME),
    ({"sent_s": -1000.0}, "sent_s: found a very large number or none, no such whole number" + TIME),
    ({"sent_s": NAN}, "sent_s: found a very large number or none, no such whole number" + TIME),
    ({"sent_s": UTC_S + 601}, "sent_s: found 1000001401, ahead of the clock; allowed is at most 600 s ahead"),
    ({"utc_offset_s": -43201}, "utc_offset_s: found -43201, no such whole number; allowed is -43200 to 50400"),
    ({"utc_offset_s": 50401}, "utc_offset_s: found 50401, no such whole number; allowed is -43200 to 50400"),
    ({"utc_offset_s": None}, "utc_offset_s: found nothing, no such whole number; allowed is -43200 to 50400"),
)
BOTH = "message: found observed_s and issued_s both or neither; allowed is one of them"
RANGE = "no temperature; allowed is -70 to 60 degrees C"
ENDLESS = "a very large number or none, "
OBSERVATION = (
    ({"observed_s": GONE}, BOTH),
    ({"issued_s": UTC_S}, BOTH),
    ({"observed_s": None}, "observed_s: found nothing, no such whole number" + TIME),
    ({"observed_s": UTC_S + 601}, "observed_s: found 1000001401, ahead of the clock; allowed is at most 600 s ahead"),
    (
        {"observed_s": UTC_S - NOW_S - 1},
        "observed_s: found 999950799, before the board started; allowed is a newer reading",
    ),
    (
        {"observed_s": UTC_S - NOW_S + 99},
        "observed_s: found 999950899, older than the one held; allowed is a newer reading",
    ),
    ({"outdoor_c": GONE}, "outdoor_c: found nothing, " + RANGE),
    ({"outdoor_c": None}, "outdoor_c: found nothing, " + RANGE),
    ({"outdoor_c": True}, "outdoor_c: found true, " + RANGE),
    ({"outdoor_c": "-12.3"}, "outdoor_c: found '-12.3', " + RANGE),
    ({"outdoor_c": [1.0]}, "outdoor_c: found a list, " + RANGE),
    ({"outdoor_c": NAN}, "outdoor_c: found " + ENDLESS + RANGE),
    ({"outdoor_c": INF}, "outdoor_c: found " + ENDLESS + RANGE),
    ({"outdoor_c": -INF}, "outdoor_c: found " + ENDLESS + RANGE),
    ({"outdoor_c": 60.5}, "outdoor_c: found 60.5, " + RANGE),
    ({"outdoor_c": -70.5}, "outdoor_c: found -70.5, " + RANGE),
    ({"outdoor_c": 61}, "outdoor_c: found 61, " + RANGE),
    ({"outdoor_c": -71}, "outdoor_c: found -71, " + RANGE),
    ({"outdoor_c": 10**400}, "outdoor_c: found a very large number, " + RANGE),
)
HOURS = "too few or too many hours; allowed is 1 to 72"
FORECAST = (
    ({"issued_s": GONE}, BOTH),
    ({"issued_s": 5}, "issued_s: found 5, no such whole number" + TIME),
    ({"start_s": GONE}, "start_s: found nothing, no such whole number" + TIME),
    ({"step_s": GONE}, "step_s: found nothing, no such whole number; allowed is 3600"),
    ({"step_s": 3599}, "step_s: found 3599, no such whole number; allowed is 3600"),
    ({"step_s": 3601}, "step_s: found 3601, no such whole number; allowed is 3600"),
    ({"step_s": 3600.0}, "step_s: found a very large number or none, no such whole number; allowed is 3600"),
    ({"issued_s": UTC_S + 601}, "issued_s: found 1000001401, ahead of the clock; allowed is at most 600 s ahead"),
    ({"issued_s": UTC_S - 10000}, "issued_s: found 999990800, older than the one held; allowed is a newer one"),
    ({"outdoor_c": -3.0}, "outdoor_c: found -3.0, no list; allowed is a list, as issued_s tells of a forecast"),
    ({"outdoor_c": GONE}, "outdoor_c: found nothing, no list; allowed is a list, as issued_s tells of a forecast"),
    ({"outdoor_c": []}, "outdoor_c: found 0, " + HOURS),
    ({"outdoor_c": [0.0] * 73}, "outdoor_c: found 73, " + HOURS),
    ({"outdoor_c": [0.0, True]}, "outdoor_c[1]: found true, " + RANGE + ", or null"),
    ({"outdoor_c": [0.0] * 71 + [NAN]}, "outdoor_c[71]: found " + ENDLESS + RANGE + ", or null"),
    ({"outdoor_c": [10**400]}, "outdoor_c[0]: found a very large number, " + RANGE + ", or null"),
    ({"outdoor_c": ["0"]}, "outdoor_c[0]: found '0', " + RANGE + ", or null"),
    ({"outdoor_c": [[0.0]]}, "outdoor_c[0]: found a list, " + RANGE + ", or null"),
)


class TestRefused(unittest.TestCase):
    def check(self, make, rows):
        for changes, refusal in rows:
            readings = held()
            before = image(readings)
            self.assertEqual(feed.accept(make(**changes), readings, NOW_S, UTC_S), refusal)
            self.assertEqual(image(readings), before)

    def test_what_both_kinds_have(self):
        self.check(observation, ANY)
        self.check(forecast, ANY)

    def test_observations(self):
        self.check(observation, OBSERVATION)

    def test_forecasts(self):
        self.check(forecast, FORECAST)

    def test_what_is_no_object(self):
        names = (([], "a list"), ("{}", "'{}'"), (None, "nothing"), (3, "3"), (0.5, "0.5"))
        for message, found in names + ((True, "true"), (False, "false")):
            readings = held()
            before = image(readings)
            refusal = "message: found " + found + "; allowed is one JSON object"
            self.assertEqual(feed.accept(message, readings, NOW_S, UTC_S), refusal)
            self.assertEqual(feed.WallTime().take(message, False, NOW_S), refusal)
            self.assertEqual(image(readings), before)

    def test_a_list_in_a_list_in_a_list_is_only_a_list(self):
        deep = []
        for _ in range(10000):
            deep = [deep]
        for message in (deep, observation(sent_s=deep), forecast(outdoor_c=deep), forecast(outdoor_c=[deep])):
            self.assertIn("found a list", feed.accept(message, Readings(), NOW_S, UTC_S))

    def test_an_observation_has_no_age_without_a_clock(self):
        refusal = "observed_s: the wall time is not known yet, so the reading's age is not; send it again"
        for utc_s in (0, -1):
            readings = held()
            before = image(readings)
            self.assertEqual(feed.accept(observation(), readings, NOW_S, utc_s), refusal)
            self.assertEqual(image(readings), before)

    def test_the_earliest_clock_there_is(self):
        refusal = "sent_s: found 1000000795, ahead of the clock; allowed is at most 600 s ahead"
        for message in (observation(), forecast()):
            self.assertEqual(feed.accept(message, Readings(), NOW_S, 1), refusal)

    def test_the_limits_of_time_themselves_are_taken(self):
        for message in (
            observation(sent_s=UTC_S + 600),
            observation(observed_s=UTC_S - NOW_S),
            forecast(issued_s=UTC_S + 600),
        ):
            self.assertEqual(feed.accept(message, Readings(), NOW_S, UTC_S), "")
        readings = Readings()
        readings.outdoor_c.at_s = NOW_S - 20
        self.assertEqual(feed.accept(observation(), readings, NOW_S, UTC_S), "")
        readings.outdoor_c.at_s = NOW_S - 19
        self.assertNotEqual(feed.accept(observation(), readings, NOW_S, UTC_S), "")

    def test_a_forecast_ahead_is_taken_where_nobody_can_tell(self):
        # without a clock neither sent nor issued can be compared with it
        late_s = UTC_S + 10000
        self.assertEqual(feed.accept(forecast(sent_s=late_s, issued_s=late_s), Readings(), NOW_S, 0), "")


class TestWallTime(unittest.TestCase):
    def live(self, clock, sent_s, now_s, **changes):
        self.assertEqual(clock.take(observation(sent_s=sent_s, **changes), False, now_s), "")
        return clock.utc_s(now_s)

    def set(self):
        """A clock that says UTC_S at NOW_S."""
        clock = feed.WallTime()
        self.assertEqual(self.live(clock, UTC_S, NOW_S), UTC_S)
        return clock

    def test_it_is_unknown_until_told_and_runs_from_then_on(self):
        clock = feed.WallTime()
        self.assertEqual((clock.utc_s(NOW_S), clock.utc_offset_s), (0, 0))
        self.live(clock, UTC_S, NOW_S)
        self.assertEqual(clock.utc_s(NOW_S + 100), UTC_S + 100)
        self.assertEqual(clock.utc_offset_s, 3600)

    def test_a_message_without_an_offset_leaves_it(self):
        clock = self.set()
        self.live(clock, UTC_S + 10, NOW_S + 10, utc_offset_s=GONE)
        self.assertEqual(clock.utc_offset_s, 3600)
        self.live(clock, UTC_S + 20, NOW_S + 20, utc_offset_s=7200)
        self.assertEqual(clock.utc_offset_s, 7200)

    def test_a_forecast_tells_the_time_too(self):
        clock = feed.WallTime()
        self.assertEqual(clock.take(forecast(), False, NOW_S), "")
        self.assertEqual(clock.utc_s(NOW_S), UTC_S - 5)

    def test_a_retained_message_tells_nothing(self):
        clock = feed.WallTime()
        self.assertEqual(clock.take(observation(), True, NOW_S), "")
        self.assertEqual((clock.utc_s(NOW_S), clock.utc_offset_s), (0, 0))
        clock = self.set()
        for n in range(5):
            clock.take(observation(sent_s=UTC_S - 86400, utc_offset_s=0), True, NOW_S + n)
            clock.take(observation(sent_s=UTC_S + 86400, utc_offset_s=0), True, NOW_S + n)
        self.assertEqual((clock.utc_s(NOW_S), clock.utc_offset_s), (UTC_S, 3600))

    def test_a_refused_message_tells_nothing(self):
        clock = self.set()
        self.assertNotEqual(clock.take(observation(sent_s=1), False, NOW_S), "")
        self.assertEqual(clock.utc_s(NOW_S), UTC_S)

    def test_one_ahead_counts_at_once(self):
        for ahead_s in (1, 100000):
            clock = self.set()
            self.assertEqual(self.live(clock, UTC_S + ahead_s, NOW_S), UTC_S + ahead_s)
            self.assertEqual(clock.utc_s(NOW_S + 7), UTC_S + ahead_s + 7)

    def test_a_delay_of_a_minute_does_not_set_it_back(self):
        clock = self.set()
        for _ in range(5):
            self.assertEqual(self.live(clock, UTC_S - 60, NOW_S), UTC_S)

    def test_it_is_the_same_time_so_its_offset_counts_and_it_ends_a_row(self):
        clock = self.set()
        self.live(clock, UTC_S - 60, NOW_S, utc_offset_s=7200)
        self.assertEqual(clock.utc_offset_s, 7200)
        for sent_s in (UTC_S - 500, UTC_S - 500, UTC_S - 60, UTC_S - 500):
            self.assertEqual(self.live(clock, sent_s, NOW_S), UTC_S)

    def test_three_in_a_row_that_agree_set_it_back(self):
        clock = self.set()
        for minute, sent_s in ((10, UTC_S), (20, UTC_S + 630)):
            now_s = NOW_S + 60 * minute
            self.assertEqual(self.live(clock, sent_s, now_s, utc_offset_s=0), UTC_S + 60 * minute)
        self.assertEqual(clock.utc_offset_s, 3600)
        # 600, 570 and 600 s behind: within a minute of each other
        self.assertEqual(self.live(clock, UTC_S + 1200, NOW_S + 1800, utc_offset_s=0), UTC_S + 1200)
        self.assertEqual(clock.utc_offset_s, 0)

    def test_61_seconds_are_behind(self):
        clock = self.set()
        for wanted_s in (UTC_S, UTC_S, UTC_S - 61):
            self.assertEqual(self.live(clock, UTC_S - 61, NOW_S), wanted_s)

    def test_they_agree_within_a_minute(self):
        for other_s, is_back in ((60, True), (-60, True), (61, False), (-61, False)):
            clock = self.set()
            self.live(clock, UTC_S - 1000, NOW_S)
            self.live(clock, UTC_S - 1000, NOW_S)
            self.live(clock, UTC_S - 1000 + other_s, NOW_S)
            self.assertEqual(clock.utc_s(NOW_S) < UTC_S, is_back)

    def test_what_waited_in_a_queue_does_not_agree(self):
        # six messages sent ten minutes apart, all delivered now, the last one fresh
        clock = self.set()
        now_s = NOW_S + 3600
        for waited_s in (3000, 2400, 1800, 1200, 600, 0):
            self.assertEqual(self.live(clock, UTC_S + 3600 - waited_s, now_s), UTC_S + 3600)

    def test_one_that_agrees_with_the_clock_ends_the_row(self):
        clock = self.set()
        for sent_s in (UTC_S - 500, UTC_S - 500, UTC_S, UTC_S - 500, UTC_S - 500, UTC_S + 1, UTC_S - 500):
            self.live(clock, sent_s, NOW_S)
        self.assertEqual(clock.utc_s(NOW_S), UTC_S + 1)
        # of the row that has begun then the third counts
        self.assertEqual(self.live(clock, UTC_S - 500, NOW_S), UTC_S + 1)
        self.assertEqual(self.live(clock, UTC_S - 500, NOW_S), UTC_S - 500)

    def test_a_source_that_was_wrong_is_forgotten_and_can_be_wrong_again(self):
        clock = self.set()
        for _ in range(2):
            self.live(clock, UTC_S + 1000000, NOW_S)
            for wanted_s in (UTC_S + 1000000, UTC_S + 1000000, UTC_S):
                self.assertEqual(self.live(clock, UTC_S, NOW_S), wanted_s)


if __name__ == "__main__":
    unittest.main()
