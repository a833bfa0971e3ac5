"""An hour in which names fail in every way: beats come on time, decisions are those of a board without a network."""

import asyncio
import sys
from pathlib import Path

import pytest
from board_hours import Hours

sys.path.append(str(Path(__file__).resolve().parents[1] / "board"))
import link_rig  # noqa: E402

HOUR_S = 3600
AGAIN_S = 400  # the longest wait between two tries, and what a connection takes
WAYS = ("silent", "fails", "closed")
BEAT_US = 1_000_000


class Names(asyncio.DatagramProtocol):
    """A name server that is silent, then fails, then is not there, then is well."""

    def __init__(self, hours):
        self.hours = hours
        self.asked = dict.fromkeys((*WAYS, "well"), 0)
        self.transport = None

    def way(self) -> str:
        """What it does now."""
        third = self.hours.bench.seconds // (HOUR_S // 3)
        return WAYS[third] if third < 3 else "well"

    async def open(self) -> None:
        """Listen."""
        self.transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(
            lambda: self, local_addr=("127.0.0.1", 0)
        )
        self.port = self.transport.get_extra_info("sockname")[1]

    def datagram_received(self, data: bytes, address) -> None:
        """A query."""
        self.asked[self.way()] += 1
        head = data[:2] + (b"\x81\x82" if self.way() == "fails" else b"\x81\x80")
        if self.way() == "fails":
            self.transport.sendto(head + data[4:], address)
        elif self.way() == "well":
            answer = b"\xc0\x0c\x00\x01\x00\x01\x00\x00\x00\x3c\x00\x04\x7f\x00\x00\x01"
            self.transport.sendto(head + data[4:6] + b"\x00\x01\x00\x00\x00\x00" + data[12:] + answer, address)

    def resolve(self, real):
        """The board's own, at this server's port; at one where nobody listens while it is closed."""

        def asked(name, server):
            if self.way() == "closed":
                self.asked["closed"] += 1
                return real(name, server, 1)
            return real(name, server, self.port)

        return asked


@pytest.fixture
def alone():
    """A board without a network, over the same hour."""
    hours = Hours()
    hours.run(HOUR_S + AGAIN_S, has_lamp=False)
    yield hours
    hours.close()


def test_names_fail_for_an_hour(alone, monkeypatch):
    from dewboard import dns

    broker = link_rig.Broker()
    hours = Hours({"host": "broker.example", "port": 1883, "device": "attic"})
    names = Names(hours)
    monkeypatch.setattr(dns, "resolve", names.resolve(dns.resolve))

    async def before():
        await names.open()
        await broker.start()
        hours.link.config["port"] = broker.port

    hours.run(HOUR_S + AGAIN_S, before, broker.stop, has_lamp=False)
    texts = [text for _, text in hours.bench.app.events]
    assert texts.count("broker: nobody knows the address of broker.example") == 1 and "broker: connected" in texts
    assert all(count >= 2 for name, count in names.asked.items() if name != "well"), names.asked
    assert hours.bench.app.counters.missed_beats == alone.bench.app.counters.missed_beats == 0
    assert len(hours.beats) >= HOUR_S + AGAIN_S - 1
    assert hours.longest_gap_us() < 1.1 * BEAT_US
    assert hours.decisions() == alone.decisions()
    assert {beat[2] for beat in hours.beats} == {True, False}
    hours.close()
