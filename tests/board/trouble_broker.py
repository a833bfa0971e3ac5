"""A broker that does everything wrong, and a name server that fails, in few bytes and on the board's own event loop.

    broker = TroubleBroker(); await broker.open(); broker.way = "silent"; await broker.close()
    names = Names(); names.way = "fails"; await names.serve()      a task for good; dewboard.dns asks it

A way is what it does from now on; WAYS names those of the broker, NAME_WAYS those of the name server.
"""

import asyncio
import socket

import link_rig

WAYS = (
    "works", "refused", "half-open", "never answers", "gives a byte a second", "takes a byte a second",
    "wrong CONNACK", "refusing CONNACK", "300 kB message", "garbage", "another with its name",
)  # fmt: skip
NAME_WAYS = ("silent", "fails", "closed")
HEAD_BYTES = 300  # of a packet, kept
PIECE_BYTES = 500
LARGE_BYTES = 300000
AGAIN_S = 20  # between two such messages
KICKED_S = 3
# An answer's record: the name asked for, type A, a minute, 127.0.0.1
ADDRESS = b"\xc0\x0c\x00\x01\x00\x01\x00\x00\x00\x3c\x00\x04\x7f\x00\x00\x01"
TOPIC = b"dewmargin/feed/observed"


class Slow:
    """Reader and writer of a connection, a byte a second each way as asked."""

    def __init__(self, reader, writer, takes, gives):
        self.reader = reader
        self.writer = writer
        self.takes = takes
        self.gives = gives
        self.data = b""

    async def read(self, count):
        if self.takes:
            await asyncio.sleep(1)
            count = 1
        return await self.reader.read(count)

    def write(self, data):
        self.data += data

    async def drain(self):
        data, self.data = self.data, b""
        for at in range(len(data)):
            if self.gives:
                await asyncio.sleep(1)
            self.writer.write(data[at : at + 1] if self.gives else data)
            await self.writer.drain()
            if not self.gives:
                return


class TroubleBroker:
    """connections: how many came; ready: of how many everything was told."""

    def __init__(self):
        self.way = "works"
        self.connections = self.ready = 0
        self.server = self.writer = None
        self.port = 0

    async def open(self):
        """Listen, at the same port as before."""
        broker = await link_rig.Broker().start() if not self.port else None
        if broker:  # it finds a free one
            self.port = broker.port
            broker.server.close()
            await broker.server.wait_closed()
        self.server = await asyncio.start_server(self.serve, link_rig.HOST, self.port)

    async def close(self):
        """Nobody listens."""
        self.server.close()
        await self.server.wait_closed()

    async def drop(self):
        """End the newest connection."""
        await link_rig.drop(self.writer)

    async def serve(self, reader, writer):
        """One connection, to its end."""
        self.connections += 1
        self.writer = writer
        slow = Slow(reader, writer, self.way == "takes a byte a second", self.way == "gives a byte a second")
        other = None
        lock = asyncio.Lock()  # a packet at a time, whichever task sends it
        try:
            while True:
                first, body = await head_of(slow)
                if first >> 4 == 3 and body.endswith(b"ready"):
                    self.ready += 1
                    other = asyncio.create_task(self.meanwhile(writer, lock))
                async with lock:
                    if not await self.wrong(first, writer):
                        await link_rig.answer(slow, first, body)
        except (EOFError, OSError):
            if other:
                other.cancel()
            await link_rig.drop(writer)

    async def wrong(self, first, writer):
        """True where a packet is dealt with."""
        way = self.way
        if first >> 4 == 1 and way in ("wrong CONNACK", "refusing CONNACK"):
            writer.write(b"\x20\x03\x00\x00\x00" if way == "wrong CONNACK" else b"\x20\x02\x00\x05")
            await writer.drain()
            return True
        if first >> 4 == 1 and way == "another with its name":
            asyncio.create_task(self.kick(writer))
        return way == "half-open" and self.ready > 0 or way == "never answers"

    async def kick(self, writer):
        """What a broker does with the older of two of one name."""
        await asyncio.sleep(KICKED_S)
        await link_rig.drop(writer)

    async def meanwhile(self, writer, lock):
        """What a broker sends that is ready, again and again until the connection ends."""
        while True:
            try:
                async with lock:
                    if self.way == "300 kB message":
                        await large(writer)
                    elif self.way == "garbage":
                        writer.write(b"\x30\xff\xff\xff\xff\xff")
                        await writer.drain()
            except OSError:
                return
            await asyncio.sleep(AGAIN_S)


async def large(writer):
    """A message that no board has room for, at QoS 1."""
    length = 2 + len(TOPIC) + 2 + LARGE_BYTES
    writer.write(b"\x32" + link_rig.length_of(length) + bytes([0, len(TOPIC)]) + TOPIC + b"\x00\x63")
    piece = b"x" * PIECE_BYTES
    for _ in range(LARGE_BYTES // PIECE_BYTES):
        writer.write(piece)
        await writer.drain()


async def head_of(reader):
    """(first byte, the body's first HEAD_BYTES) of the next packet; the rest is read past."""
    first = (await link_rig.exactly(reader, 1))[0]
    length = shift = 0
    while True:
        digit = (await link_rig.exactly(reader, 1))[0]
        length |= (digit & 127) << shift
        shift += 7
        if digit < 128:
            break
    body = await link_rig.exactly(reader, min(length, HEAD_BYTES))
    for at in range(len(body), length, PIECE_BYTES):
        await link_rig.exactly(reader, min(PIECE_BYTES, length - at))
    return first, body


class Names:
    """asked: how often, by way."""

    def __init__(self):
        self.way = "well"
        self.asked = {"well": 0}
        for way in NAME_WAYS:
            self.asked[way] = 0
        self.channel = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.channel.setblocking(False)
        self.port = 0

    def open(self):
        """A port that is free."""
        for port in range(21000 + link_rig.ticks_ms() % 20000, 60000, 7):
            try:
                self.channel.bind(socket.getaddrinfo(link_rig.HOST, port)[0][-1])
            except OSError:
                continue
            self.port = port
            return
        raise OSError("no port is free")

    def resolve(self, real):
        """The board's own, asked at this port; at one where nobody listens while it is closed."""

        async def asked(name, server):
            self.asked[self.way] += 1
            return await real(name, server, 1 if self.way == "closed" else self.port)

        return asked

    async def serve(self):
        """Answer, or not."""
        while True:
            await asyncio.sleep(0.1)
            try:
                data, address = self.channel.recvfrom(512)
            except OSError:
                continue
            if self.way == "fails":
                self.channel.sendto(data[:2] + b"\x81\x82" + data[4:], address)
            elif self.way == "well":
                head = data[:2] + b"\x81\x80" + data[4:6] + b"\x00\x01\x00\x00\x00\x00"
                self.channel.sendto(head + data[12:] + ADDRESS, address)
