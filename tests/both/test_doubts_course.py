"""Long deterministic courses through the humidifier's doubts: the quarter in which each notice comes and goes."""

import unittest

from test_doubts_fit import Fit
from test_doubts_sensors import Sensed, heated

from dewcore import readings as r
from dewcore import words as w

SLACK = 1  # quarters, for floats of another width
CLOSE = 0.001  # of a figure


def chance(n):
    """-0.5..0.5, the same everywhere and at every width."""
    return ((n * 7919 + 104729) % 1013) / 1012.0 - 0.5


def course(fit, quarters, opened, shut, code, lively=0.3):
    """The quarters at which notice `code` changes; opened(n), shut(n): what quarter n leaves in its fan time."""
    changes = []
    told = fit.told(code)
    for n in range(quarters):
        kind = n % 4
        noise = lively * chance(n)
        if kind == 0:
            fit.quarters(1, r.ON, True, opened(n) + noise)
        elif kind == 2:
            fit.quarters(1, r.ON, False, shut(n) + noise)
        else:
            fit.quarters(1, r.OFF, False, noise)
        if fit.told(code) != told:
            told = fit.told(code)
            changes.append(n)
    return changes


def ramp(start, end, quarters):
    """From start to end over so many quarters and back."""

    def value(n):
        share = n / quarters if n < quarters else 2.0 - n / quarters
        return start + (end - start) * share

    return value


def nothing(n):
    return 0.0


class TestCourses(unittest.TestCase):
    def check(self, found, expected):
        self.assertEqual(len(found), len(expected), found)
        for a, b in zip(found, expected):
            self.assertTrue(abs(a - b) <= SLACK, (found, expected))

    def close(self, value, expected):
        self.assertTrue(abs(value - expected) <= CLOSE * abs(expected), (value, expected))

    def test_a_pad_that_wears_and_is_changed(self):
        fit = Fit()
        self.check(course(fit, 3200, ramp(1.0, 0.38, 1600), nothing, w.PAD_WEAK), (1680, 2392))
        self.close(fit.doubts.strength, 0.93246)
        self.close(fit.doubts.recent, 0.86410)

    def test_water_that_ends_and_comes_back(self):
        fit = Fit()
        self.check(course(fit, 1200, ramp(1.0, -0.1, 600), nothing, w.NO_RISE), (520, 1012))
        self.close(fit.doubts.strength, 0.96023)

    def test_a_leak_that_grows_and_is_mended(self):
        fit = Fit()
        self.check(course(fit, 1600, lambda n: 1.0, ramp(0.0, 0.8, 800), w.RISES_SHUT), (550, 1490))

    def test_a_lively_house_hides_a_leak_longer(self):
        fit = Fit()
        self.check(course(fit, 1600, lambda n: 1.0, ramp(0.0, 1.2, 800), w.RISES_SHUT, 1.2), (578, 1547))

    def test_a_strength_is_known_as_soon_as_it_is_sure(self):
        fit = Fit(0.0, 0.0)
        for n in range(400):
            course(fit, 4, lambda n: 1.0, nothing, w.NO_RISE, 1.6)
            if fit.doubts.strength > 0.0:
                break
        self.check([n], (67,))
        self.close(fit.doubts.strength, 0.78682)

    def test_what_the_house_gains_fades_for_weeks_and_comes_back(self):
        fit = Fit(usual=2.0, excess=2.0)
        fit.house.hours = 2000
        fit.house.mean_gain = 0.0
        fit.house.mean_out = 1.0
        wave = ramp(0.5, -0.1, 2500)
        changes = []
        for n in range(5000):
            fit.quarters(1, r.OFF, False, wave(n))
            if fit.told(w.RH_LOW) != len(changes) % 2:
                changes.append(n)
        self.check(changes, (1447, 4443))
        self.close(fit.doubts.usual, 1.58517)
        self.close(fit.doubts.excess, 2.38245)


class TestThresholds(unittest.TestCase):
    """Each within half a percent."""

    def test_heat_for_a_kelvin(self):
        self.assertEqual((heated(0.6, 9.96).outdoor, heated(0.6, 10.04).outdoor), (True, False))
        self.assertEqual((heated(0.3615, 4.0).outdoor, heated(0.3585, 4.0).outdoor), (True, False))
        self.assertEqual((heated(0.05015, 4.0, 0.06).outdoor, heated(0.04985, 4.0, 0.06).outdoor), (True, False))
        for span_k, lasts in ((14.23, True), (14.34, False)):
            sensed = Sensed(duty=0.6, span_k=span_k, usual_duty=0.6, usual_span_k=20.0, duty_h=400.0, outdoor=True)
            sensed.outdoor_c = 16.0 - span_k
            self.assertEqual(bool(sensed.step(1, 1).doubts.outdoor), lasts)

    def test_a_day_of_heat(self):
        sensed = Sensed(duty=0.5, span_k=16.0, usual_duty=0.5, usual_span_k=16.0, duty_h=400.0).step(1)
        self.assertTrue(abs(sensed.step(1).doubts.duty - 0.5 - 0.5 / 12.0 / 24.0) < 5e-6)

    def test_air_outdoors_that_is_warmer(self):
        for outdoor_c, seconds in ((21.004, 300), (20.996, 0)):
            sensed = Sensed()
            sensed.outdoor_c = outdoor_c
            self.assertEqual(sensed.step(2).doubts.odd_s, seconds)

    def test_an_hour_to_the_second(self):
        for seconds, doubted in ((3600, True), (3599, False), (3601, True)):
            sensed = Sensed().step(1)
            sensed.outdoor_c = 25.0
            sensed.doubts.odd_s = seconds - 60
            self.assertEqual(bool(sensed.step(1, 60).doubts.outdoor), doubted)
            sensed.doubts.odd_s = 7199
            self.assertEqual(sensed.step(1, 60).doubts.odd_s, 7200)

    def test_two_sensors_apart_for_a_day(self):
        for room_pct, told in ((35.02, 1), (34.98, 0)):
            sensed = Sensed({"has_room": 1})
            sensed.room_pct = room_pct
            self.assertEqual(sensed.step(288).told(w.SENSORS_DIFFER), 0)
            self.assertEqual(sensed.step(1, 299).told(w.SENSORS_DIFFER), 0)
            self.assertEqual(sensed.step(1, 1).told(w.SENSORS_DIFFER), told)

    def test_five_kelvin_within_a_quarter_of_an_hour(self):
        for warms_k, after_s, told in ((5.02, 899, 1), (4.98, 899, 0), (5.02, 900, 1), (5.02, 901, 0)):
            sensed = Sensed(warm_starts=2)
            sensed.heats = r.OFF
            sensed.step(2, 60)
            sensed.heats = r.ON
            sensed.step(1, 60)
            began_s = sensed.readings.heat_call.since_s
            for since_s in (after_s - 1, after_s):
                sensed.indoor_c = 20.0 + (warms_k if since_s == after_s else 0.0)
                sensed.now_s = began_s + since_s - 1
                sensed.step(1, 1)
            if after_s < 900:
                sensed.heats = r.OFF
                sensed.step(1, 60)
            self.assertEqual(sensed.told(w.SENSOR_PLACE), told)
