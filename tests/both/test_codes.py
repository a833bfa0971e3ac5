"""The code numbers and names that leave the decision, in records and between board and decision: pinned."""

import unittest

from dewcore import ceiling as c
from dewcore import permit as p
from dewcore import readings as r


class TestCodes(unittest.TestCase):
    def test_what_the_minute_record_stores_of_the_target(self):
        codes = (c.BINDS_GLASS, c.BINDS_OUTLOOK, c.BINDS_CORNER, c.BINDS_ENVELOPE, c.BINDS_OWNER)
        self.assertEqual(codes, (0, 1, 2, 3, 4))
        self.assertEqual(c.BINDS_NAMES, ("glass", "outlook", "corner", "envelope", "owner"))

    def test_the_proofs_rise_with_what_they_prove(self):
        self.assertEqual((p.PROOF_NONE, p.PROOF_COMMAND, p.PROOF_MOTOR, p.PROOF_AIRFLOW), (0, 1, 2, 3))
        self.assertEqual(p.PROOF_NAMES, ("none", "command", "motor", "airflow"))

    def test_what_a_board_writes_into_the_readings(self):
        self.assertEqual((r.ERROR_OK, r.ERROR_NO_ANSWER, r.ERROR_CHECKSUM, r.ERROR_RANGE), (0, 1, 2, 3))
        self.assertEqual((r.NOT_FITTED, r.OFF, r.ON, r.UNREADABLE), (-1, 0, 1, 2))
        requests = (r.REQUEST_NONE, r.REQUEST_REARM, r.REQUEST_WINDOW, r.REQUEST_TIMED_RUN, r.REQUEST_CLEAR)
        self.assertEqual(requests, (0, 1, 2, 3, 4))

    def test_what_is_told_of_a_channel(self):
        states = (r.TRUSTED, r.MISSING, r.STALE, r.OUT_OF_RANGE, r.FROZEN, r.JUMPING, r.UNFITTED)
        self.assertEqual(states, (0, 1, 2, 3, 4, 5, 6))
        self.assertEqual((r.OUTDOOR_READ, r.OUTDOOR_DAY_LOWEST, r.OUTDOOR_DESIGN), (0, 1, 2))

    def test_a_channels_number_is_its_samples_place(self):
        numbers = (r.INDOOR, r.RH, r.OUTDOOR, r.GLASS, r.SUPPLY, r.ROOM, r.ROOM_RH)
        self.assertEqual(numbers, (0, 1, 2, 3, 4, 5, 6))
        readings = r.Readings()
        for n in range(7):
            self.assertIs(readings.samples[n], getattr(readings, r.SAMPLE_NAMES[n]))
        for n in range(9):
            self.assertIs(readings.contacts[n], getattr(readings, r.CONTACT_NAMES[n]))
        self.assertEqual(len(readings.samples), len(r.SAMPLE_NAMES))
        self.assertEqual(len(readings.contacts), len(r.CONTACT_NAMES))


class TestBeforeAnythingIsRead(unittest.TestCase):
    def test_a_sample_never_came(self):
        sample = r.Sample()
        self.assertEqual((sample.value, sample.at_s, sample.error), (0.0, -1, r.ERROR_NO_ANSWER))

    def test_a_contact_is_not_fitted(self):
        contact = r.Contact()
        self.assertEqual((contact.state, contact.since_s), (r.NOT_FITTED, 0))

    def test_no_request_no_clock_no_forecast(self):
        readings = r.Readings()
        self.assertEqual((readings.look, readings.request, readings.request_until_s), (0, r.REQUEST_NONE, 0))
        self.assertEqual((readings.utc_s, readings.utc_offset_s), (0, 0))
        self.assertEqual((readings.forecast_issued_s, readings.forecast_start_s), (0, 0))
        self.assertEqual(list(readings.forecast_dc), [-32768] * 72)
        self.assertEqual(r.FORECAST_NONE, -32768)

    def test_inputs_are_those_of_a_house_too_humid_to_humidify_and_none_is_trusted(self):
        inputs = r.Inputs()
        self.assertEqual((inputs.indoor_c, inputs.rh_pct, inputs.room_rh_pct), (20.0, 100.0, 100.0))
        for name in ("outdoor_c", "glass_c", "supply_c", "room_c", "humidity_ratio"):
            self.assertEqual(getattr(inputs, name), 0.0)
        self.assertEqual((inputs.trusted, inputs.outdoor_basis), (0, r.OUTDOOR_DESIGN))
        self.assertIs(inputs.outdoor_held, False)
        self.assertEqual(list(inputs.status), [r.MISSING] * 7)
        self.assertEqual(list(inputs.age_s), [-1] * 7)


if __name__ == "__main__":
    unittest.main()
