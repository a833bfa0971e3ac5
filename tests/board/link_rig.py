"""A board's app without its hardware, and a broker that does as it is told, for the link's tests; on one event loop."""

import asyncio
import sys
import time

from dewboard import link, mqtt
from dewboard.broker_config import full, problem_of
from dewboard.events import Counters, Events
from dewboard.history import Row
from dewcore import readings as r
from dewcore.controller import Controller
from dewcore.feed import WallTime
from dewcore.record import SIZE, pack
from dewcore.settings import SettingError, Settings

CONTACTS = {"fan": r.ON, "heat_call": r.ON, "line_sense": r.ON, "load_sense": r.OFF, "leak": r.OFF, "off_switch": r.OFF}
VALUES = {"indoor_c": 20.4, "rh_pct": 29.6, "outdoor_c": -6.3}
UTC_S = 1768435200
IS_MICROPYTHON = sys.implementation.name == "micropython"
HOST = "127.0.0.1"


class Clock:
    """Seconds that pass `speed` times as fast."""

    def __init__(self, speed):
        self.speed = speed
        self.began_ms = ticks_ms()

    def now_s(self):
        return 1000 + (ticks_ms() - self.began_ms) * self.speed // 1000


def ticks_ms():
    return time.ticks_ms() if IS_MICROPYTHON else int(time.monotonic() * 1000)


class Records:
    """Minute records in a list; what is freed goes."""

    def __init__(self, boot=7):
        self.boot = boot
        self.seq = 0
        self.lost = 0
        self.thinned = 0
        self.utc_at_0_s = 0
        self.kept = []
        self.freed = (-1, -1)
        self.calls = 0

    def add(self, count=1, boot=None, utc_s=UTC_S):
        for _ in range(count):
            row = Row()
            row.boot = self.boot if boot is None else boot
            row.seq = self.seq
            row.now_s = 60 * self.seq
            row.utc_s = utc_s + 60 * self.seq if utc_s else 0
            row.data[:] = pack({"outdoor_c": -12.3, "rh_pct": 33.1 + 0.01 * self.seq, "valve": 0.25, "reason": 16})
            assert len(row.data) == SIZE
            self.kept.append(row)
            self.seq += 1

    def unsent(self, boot, seq):
        self.calls += 1
        for row in self.kept:
            if (row.boot, row.seq) > (boot, seq):
                yield row

    def free(self, boot, seq):
        self.freed = max(self.freed, (boot, seq))


class Keep:
    def __init__(self, app):
        self.app = app
        self.codes = {}

    def raise_boot(self, boot):
        self.app.history.boot = boot


class App:
    """What a Link asks of the board's app, with a real controller in it; `looks` is what it was asked."""

    def __init__(self, speed=1, changes=None):
        self.clock = Clock(speed)
        self.settings = Settings()
        self.settings.change(changes or {})
        self.controller = Controller(self.settings)
        self.readings = r.Readings()
        self.history = Records()
        self.counters = Counters()
        self.wall = WallTime()
        self.keep = Keep(self)
        self.safe = ""
        self.version = "0.2.0"
        self.looks = []
        self.late_ms = 0
        self.now_s = self.clock.now_s()
        self.events = Events(self)
        for name in CONTACTS:
            getattr(self.readings, name).set(CONTACTS[name], self.now_s)
        self.beat()

    def utc_s(self):
        return self.wall.utc_s(self.now_s)

    def look(self, code):
        self.looks.append(code)

    def change_settings(self, values):
        try:
            self.settings.change(values)
        except SettingError as error:
            return str(error)
        return ""

    def beat(self):
        self.now_s = self.clock.now_s()
        for name in VALUES:
            getattr(self.readings, name).set(VALUES[name], self.now_s)
        self.controller.scan(self.readings, self.now_s)

    async def beats(self):
        """A beat each 50 ms, and how late the latest of them was."""
        while True:
            began_ms = ticks_ms()
            await asyncio.sleep(0.05)
            self.late_ms = max(self.late_ms, ticks_ms() - began_ms - 50)
            self.beat()

    def texts(self):
        return [text for _, text in self.events]


class Net:
    """A network that is there."""

    def __init__(self, address=HOST, name_server=""):
        self.address = address
        self.name_server = name_server


class Broker:
    """Serves MQTT on a port of its own; hooks make it misbehave.

    got: packets as (first byte, body); published: (topic, payload, is_retained) as they came; on_packet(broker, first,
    body, writer): True where it has dealt with the packet itself.
    """

    def __init__(self, on_packet=None):
        self.on_packet = on_packet
        self.got = []
        self.published = []
        self.writers = []
        self.connections = 0
        self.port = 0
        self.server = None

    async def start(self):
        for port in range(20000 + ticks_ms() % 20000, 60000, 7):
            try:
                self.server = await asyncio.start_server(self.serve, HOST, port)
            except OSError:
                continue
            self.port = port
            return self
        raise OSError("no port is free")

    async def stop(self):
        self.server.close()
        for writer in self.writers:
            await drop(writer)

    async def serve(self, reader, writer):
        self.connections += 1
        self.writers.append(writer)
        try:
            while True:
                first, body = await packet_of(reader)
                self.got.append((first, body))
                if first >> 4 == 3:
                    self.published.append(message_of(first, body))
                if self.on_packet is None or not await self.on_packet(self, first, body, writer):
                    await answer(writer, first, body)
        except (EOFError, OSError):
            await drop(writer)

    async def send(self, data, size=0):
        """Bytes to the newest connection; `size` at a time."""
        writer = self.writers[-1]
        for at in range(0, len(data), size or len(data)):
            writer.write(data[at : at + (size or len(data))])
            await writer.drain()

    async def drop(self):
        """End the newest connection."""
        await drop(self.writers[-1])

    def topics(self):
        return [topic for topic, _, _ in self.published]

    def last(self, topic):
        """The last payload published there, None for none."""
        found = [payload for name, payload, _ in self.published if name == topic]
        return found[-1] if found else None

    def kinds(self):
        return [first >> 4 for first, _ in self.got]


async def drop(writer):
    try:
        if IS_MICROPYTHON:
            await writer.wait_closed()
        else:
            writer.transport.abort()
    except OSError:
        return


async def exactly(reader, count):
    data = b""
    while len(data) < count:
        got = await reader.read(count - len(data))
        if not got:
            raise EOFError
        data += got
    return data


async def packet_of(reader):
    """(first byte, body)."""
    first = (await exactly(reader, 1))[0]
    length = shift = 0
    while True:
        digit = (await exactly(reader, 1))[0]
        length |= (digit & 127) << shift
        shift += 7
        if digit < 128:
            break
    return first, await exactly(reader, length)


async def answer(writer, first, body):
    """What a broker answers."""
    kind = first >> 4
    data = b""
    if kind == 1:
        data = b"\x20\x02\x00\x00"
    elif kind == 3 and first & 6:
        at = 2 + (body[0] << 8 | body[1])
        data = b"\x40\x02" + body[at : at + 2]
    elif kind == 8:
        topics = 0
        at = 2
        while at < len(body):
            at += 3 + (body[at] << 8 | body[at + 1])
            topics += 1
        data = bytes([0x90, 2 + topics]) + body[:2] + b"\x01" * topics
    elif kind == 12:
        data = b"\xd0\x00"
    if data:
        writer.write(data)
        await writer.drain()


def message_of(first, body):
    """(topic, payload, is_retained) of a PUBLISH."""
    size = body[0] << 8 | body[1]
    at = 2 + size + (2 if first & 6 else 0)
    return body[2 : 2 + size].decode(), body[at:], bool(first & 1)


def publish(topic, payload, is_retained=False, number=0):
    """A PUBLISH as a broker sends it; at QoS 1 where there is a number."""
    name = topic.encode()
    body = bytes([len(name) >> 8, len(name) & 255]) + name
    if number:
        body += bytes([number >> 8, number & 255])
    body += payload
    return bytes([0x30 | (2 if number else 0) | (1 if is_retained else 0)]) + length_of(len(body)) + body


def length_of(length):
    data = b""
    while True:
        digit = length & 127
        length >>= 7
        data += bytes([digit | 128 if length else digit])
        if not length:
            return data


class Fast:
    """The module's waits, shortened for a test; put back afterwards."""

    def __init__(self):
        self.before = (link.LOOK_S, link.TICK_S, link.FIRST_WAIT_S, mqtt.WAIT_S)
        link.LOOK_S = 0.02
        link.TICK_S = 0.01
        link.FIRST_WAIT_S = 0.05
        mqtt.WAIT_S = 0.005

    def undo(self):
        link.LOOK_S, link.TICK_S, link.FIRST_WAIT_S, mqtt.WAIT_S = self.before


async def until(true, seconds=40):
    """Wait until it is so."""
    began_ms = ticks_ms()
    while not true():
        if ticks_ms() - began_ms > seconds * 1000:
            return False
        await asyncio.sleep(0.01)
    return True


def run(work):
    """What this work returns, on an event loop of its own with the waits shortened."""
    if IS_MICROPYTHON:
        asyncio.new_event_loop()  # there tasks outlast asyncio.run
    fast = Fast()
    try:
        return asyncio.run(work)
    finally:
        fast.undo()


async def linked(app, config, broker, work, net=None):
    """Run work(link) while a link of this app is connected or tries to be."""
    found = dict(config, host=config.get("host", HOST), port=config.get("port", broker.port if broker else 1))
    assert problem_of(found) == "", problem_of(found)
    one = link.Link(app, full(found), net or Net())
    tasks = [asyncio.create_task(one.stay_connected()), asyncio.create_task(app.beats())]
    try:
        return await work(one)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.sleep(0.05)
        if broker:
            await broker.stop()
