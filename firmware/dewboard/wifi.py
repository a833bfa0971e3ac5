"""The wireless network: joined and joined again, never waited for.  Without it everything but the page works."""

import asyncio
import os

import network

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App

FIRST_WAIT_S = 1
LONGEST_WAIT_S = 300
JOIN_S = 20  # a try that has not joined by then has failed
LOOK_S = 5


class Wifi:
    """config: {"name": ..., "key": ..., "host": ...} as `dewmargin install` stored it; {} for none.

    address: the own one while joined, else ""; name_server: the network's; host: what the page may be called by, with
    .local behind it.
    """

    __slots__ = ("app", "name", "key", "host", "address", "name_server", "wait_s")

    def __init__(self, app: "App", config: dict) -> None:
        self.app = app
        self.name: str = config.get("name", "")
        self.key: str = config.get("key", "")
        self.host: str = config.get("host", "dewmargin")
        self.address: str = ""
        self.name_server: str = ""
        self.wait_s: int = FIRST_WAIT_S

    def names(self) -> list:
        """The host names under which the page answers, lower case."""
        found = [self.host.lower(), self.host.lower() + ".local"]
        if self.address:
            found.append(self.address)
        return found

    async def stay_joined(self) -> None:
        """Join, look whether it lasts, join again; waits twice as long after each failure, five minutes at most.

        What the chip's driver raises is a failure like any other: no network is no reason to be out of service.
        """
        while not self.name:
            await asyncio.sleep(LOOK_S)
        while True:
            try:
                await self._joined()
            except OSError as problem:
                self.app.events.add("wireless network: " + repr(problem))
            self.address = ""
            await asyncio.sleep(self.wait_s + os.urandom(1)[0] / 256)  # so that a street does not join at once
            self.wait_s = min(2 * self.wait_s, LONGEST_WAIT_S)

    async def _joined(self) -> None:
        """One try, and as long as it lasts."""
        network.hostname(self.host)
        station = network.WLAN(network.STA_IF)
        station.active(True)
        if await self._join(station):
            self.wait_s = FIRST_WAIT_S
            while station.isconnected():
                await asyncio.sleep(LOOK_S)
            self.app.events.add("wireless network lost")
        station.disconnect()

    async def _join(self, station: "network.WLAN") -> bool:
        """Ask the chip, and give it JOIN_S."""
        station.connect(self.name, self.key)
        for _ in range(JOIN_S):
            if station.isconnected():
                self.address, _, _, self.name_server = station.ifconfig()
                self.app.events.add("wireless network joined as " + self.address)
                return True
            await asyncio.sleep(1)
        return False
