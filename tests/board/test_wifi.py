"""The wireless network: joined again whatever happens to it, and none of that is anybody else's trouble."""

import asyncio
import sys
import unittest


class Chip:
    """The module `network` and its one station: `connect` raises `fails` times, and each join lasts `lasts` looks."""

    STA_IF = 0

    def __init__(self, fails, lasts=2):
        self.fails, self.lasts = fails, lasts
        self.asked = self.left = 0

    def WLAN(self, kind):
        return self

    def hostname(self, name):
        self.name = name

    def active(self, is_on):
        self.is_on = is_on

    def connect(self, name, key):
        self.asked += 1
        if self.asked <= self.fails:
            raise OSError(-2)
        self.left = self.lasts

    def isconnected(self):
        self.left -= 1
        return self.left >= 0

    def disconnect(self):
        self.left = 0

    def ifconfig(self):
        return ("192.0.2.3", "255.255.255.0", "192.0.2.1", "192.0.2.2")


class App:
    """What the network tells of itself."""

    def __init__(self):
        self.events = []


class Events(list):
    """A list with the name that the app's has."""

    def add(self, text):
        self.append(text)


class Over(Exception):
    """So long the test lasts."""


class TestWifi(unittest.TestCase):
    def joined(self, chip, waits):
        """(app, waits [s]) after so many of them."""
        sys.modules["network"] = chip  # for its first import, which no desktop can do
        from dewboard import wifi

        wifi.network = chip
        app = App()
        app.events = Events()
        found = []

        async def sleep(seconds):
            found.append(seconds)
            if len(found) == waits:
                raise Over()

        real, wifi.asyncio = wifi.asyncio, Clockwork(sleep)
        try:
            asyncio.run(wifi.Wifi(app, {"name": "net", "key": "a long key"}).stay_joined())
        except Over:
            pass
        finally:
            wifi.asyncio = real
        return app, found

    def test_what_the_driver_raises_is_a_failure_like_any_other(self):
        chip = Chip(fails=5)
        app, waits = self.joined(chip, 7)
        self.assertEqual(sum(["OSError" in text for text in app.events]), 5)
        self.assertTrue("wireless network joined as 192.0.2.3" in app.events)
        for n in range(5):
            self.assertTrue(2**n <= waits[n] < 2**n + 1, waits)

    def test_a_network_that_is_lost_is_joined_again_at_once(self):
        chip = Chip(fails=0)
        app, waits = self.joined(chip, 4)
        self.assertEqual(chip.asked, 2)
        self.assertEqual(app.events[:2], ["wireless network joined as 192.0.2.3", "wireless network lost"])
        self.assertTrue(1 <= waits[1] < 2)


class Clockwork:
    """asyncio without time."""

    def __init__(self, sleep):
        self.sleep = sleep


if __name__ == "__main__":
    unittest.main()
