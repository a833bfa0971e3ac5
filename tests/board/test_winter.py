"""The winter of the long runs in tests/acceptance: the house is so dry that the board opens its valve."""

import unittest

from bench import Clock, install, open_pins
from flash_models import Flash
from winter_board import BEAT_US, WORLD, weather

from dewboard import history, start, store

HOUR_S = 3600


class TestWinter(unittest.TestCase):
    def test_the_valve_opens_soon_and_more_than_once(self):
        Flash().under(store, history)
        install(WORLD)
        store.Store("kept", "probes").save(('{"outdoor_c":"%s"}' % WORLD.rom_codes()["outdoor_c"]).encode())
        app = start.build(open_pins(), Clock(WORLD), "kept")
        for now_s in range(HOUR_S):
            if now_s % 60 == 0:
                weather(now_s)
            began_us = WORLD.us
            app.beat()
            WORLD.advance_us(BEAT_US - (WORLD.us - began_us))
        self.assertTrue(app.counters.valve_starts > 1)
        self.assertEqual((app.counters.missed_beats, app.counters.failed_beats), (0, 0))


if __name__ == "__main__":
    unittest.main()
