"""An MQTT 3.1.1 client for small memory: one connection, bounded in bytes, in time, and in what is under way.

    client = Client(now_s, take, acked)
    await client.open(address, port, context, host)      context: of ssl, None for none; host: named in the certificate
    await client.enter(ident, user, password, will_topic, will)
    await client.receive()                               in a task of its own; calls take and acked
    await client.subscribe(topics)                       once the broker has let us in
    await client.publish(topic, payload, is_retained)
    await client.idle()                                  now and then: pings, acknowledges what was received
    client.leave(topic, payload)                         the last word, and the orderly end; waits for nothing
    client.overdue()                                     asked each second by whoever cancels all of this

take(topic, payload, is_retained): a message; its payload is a view of the buffer and gone afterwards.
acked(number): a publication the broker answers for.  now_s(): whole monotonic seconds.
A payload is bytes, or a function that makes an iterator of bytes: run once to count, once more to send, so that
what is sent never lies in memory as a whole.  Only one task sends.  A packet beyond BUFFER_BYTES is read past and
counted.  Waits have no limit of their own: overdue() says when one has lasted too long, and why.
Names in brackets [MQTT-...] are the statements of the OASIS standard, version 3.1.1.
"""

import asyncio
import socket
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from ssl import SSLContext

    from dewboard.shapes import Callable, Payload

BUFFER_BYTES = 1200  # a message of the outdoor feed, and its topic
READ_BYTES = 256
OUT_BYTES = 256
KEEP_ALIVE_S = 30
QUIET_S = 20  # nothing heard or nothing sent for so long: ping
ANSWER_S = 15  # the longest wait for any answer, or for a peer to take what is sent
WINDOW = 4  # publications under way
ACKS = 8  # received ones to be acknowledged
WAIT_S = 0.02
EINPROGRESS = (115, 119)  # as Linux and lwIP number it
CONNECT_REFUSED = (
    "it does not speak MQTT 3.1.1",
    "it does not like the device's name",
    "it is not available",
    "user or password is wrong",
    "this user may not connect",
)
IS_MICROPYTHON = sys.implementation.name == "micropython"


class Broken(Exception):
    """The connection is of no use any more; the text says why."""


def two(number: int) -> bytes:
    """A number in two bytes."""
    return bytes([number >> 8, number & 0xFF])


def text(data: bytes) -> bytes:
    """A string with its length before it."""
    return two(len(data)) + data


class Client:
    """One connection after another.  skipped: packets too large, over all of them; session: whether one is there."""

    __slots__ = (
        "now_s",
        "take",
        "acked",
        "reader",
        "writer",
        "buffer",
        "view",
        "out",
        "filled",
        "number",
        "window",
        "acks",
        "due",
        "answered_s",
        "heard_s",
        "sent_s",
        "stuck_s",
        "is_pinged",
        "is_subscribed",
        "session",
        "refused",
        "broken",
        "skipped",
    )

    def __init__(
        self,
        now_s: "Callable[[], int]",
        take: "Callable[[str, memoryview, bool], None] | None",
        acked: "Callable[[int], None]",
    ) -> None:
        self.now_s = now_s
        self.take = take
        self.acked = acked
        self.buffer = bytearray(BUFFER_BYTES)
        self.view = memoryview(self.buffer)
        self.out = bytearray(OUT_BYTES)
        self.window: "list[int]" = [0] * WINDOW  # numbers of publications under way, 0: free
        self.acks: "list[int]" = [0] * ACKS  # numbers to be acknowledged, 0: free
        self.number = 0
        self.skipped = 0
        self.writer: "asyncio.StreamWriter | None" = None
        self._begin()

    def _begin(self) -> None:
        """Nothing is under way."""
        for numbers in (self.window, self.acks):
            for n in range(len(numbers)):
                numbers[n] = 0
        self.filled = 0  # bytes in `out`
        self.due = 0  # answers that are awaited
        self.answered_s = self.heard_s = self.sent_s = self.now_s()
        self.stuck_s = -1  # since when a write waits
        self.is_pinged = False
        self.is_subscribed = True  # nothing is asked for
        self.session = False
        self.refused = 0  # subscriptions the broker refused
        self.broken = ""

    # Opening, closing, and what lasts too long

    async def open(self, address: str, port: int, context: "SSLContext | None" = None, host: str = "") -> None:
        """Begin afresh at this address; on MicroPython without waiting for it, as the first write does that.

        asyncio.open_connection of MicroPython would leave its socket open where it is cancelled.
        """
        self._begin()
        self.stuck_s = self.now_s()
        if not IS_MICROPYTHON:
            named = host if context else None
            self.reader, self.writer = await asyncio.open_connection(address, port, ssl=context, server_hostname=named)
            return
        channel = socket.socket()
        self.reader = asyncio.StreamReader(channel)
        self.writer = asyncio.StreamWriter(channel)
        channel.setblocking(False)
        try:
            channel.connect(socket.getaddrinfo(address, port)[0][-1])  # numeric: asks nobody
        except OSError as problem:
            if problem.args[0] not in EINPROGRESS:
                raise
        if context:
            channel = context.wrap_socket(channel, server_hostname=host, do_handshake_on_connect=False)
            channel.setblocking(False)
            self.reader = asyncio.StreamReader(channel)
            self.writer = asyncio.StreamWriter(channel)

    async def close(self) -> None:
        """Drop the connection at once, waiting for no peer; the broker publishes the will."""
        writer = self.writer
        self.writer = None
        self._begin()
        if writer is not None:
            if IS_MICROPYTHON:
                await writer.wait_closed()
            else:
                writer.transport.abort()

    def leave(self, topic: str, payload: bytes) -> bool:
        """Publish a retained last word and DISCONNECT, after which the broker drops the will [MQTT-3.14.4-3].

        No answer is waited for.  False where nothing was sent: not connected, or in the middle of a packet; then the
        will speaks.
        """
        writer = self.writer
        if writer is None or not self.session or self.broken or self.filled or self.stuck_s >= 0:
            return False
        head = text(topic.encode()) + two(self._next_number())
        writer.write(bytes([0x33, len(head) + len(payload)]) + head + payload + b"\xe0\x00")
        self.session = False
        return True

    def overdue(self) -> str:
        """Why whoever waits for this connection should stop waiting; "" as long as all is well."""
        now_s = self.now_s()
        if not self.broken:
            if self.stuck_s >= 0 and now_s - self.stuck_s > ANSWER_S:
                return "the broker takes nothing any more" if self.session else "the broker cannot be reached"
            if self.due and now_s - self.answered_s > ANSWER_S:
                return "the broker does not answer any more"
        return self.broken

    # Sending

    async def _wait(self) -> None:
        """A moment for the other task; no longer where the connection is broken."""
        if self.broken:
            raise Broken(self.broken)
        await asyncio.sleep(WAIT_S)

    async def _put(self, data: "bytes | bytearray") -> None:
        """Bytes of a packet, sent when there are enough."""
        at = 0
        while at < len(data):
            if self.filled == OUT_BYTES:
                await self._flush(0)
            count = min(len(data) - at, OUT_BYTES - self.filled)
            self.out[self.filled : self.filled + count] = data[at : at + count]
            self.filled += count
            at += count

    async def _flush(self, asked: int) -> None:
        """Hand over what was put, waiting for a peer that takes it slowly; asked: 1 where it wants an answer."""
        if self.broken:
            raise Broken(self.broken)
        now_s = self.now_s()
        if asked and self.due == 0:
            self.answered_s = now_s
        self.due += asked
        data = bytes(memoryview(self.out)[: self.filled])
        self.filled = 0
        self.stuck_s = self.sent_s = now_s
        writer = self.writer
        if writer is None:
            raise Broken("the connection is closed")
        writer.write(data)
        await writer.drain()
        self.stuck_s = -1

    async def _head(self, first: int, length: int) -> None:
        """Fixed header: first byte and remaining length."""
        head = bytearray([first])
        while length > 0x7F:
            head.append(length & 0x7F | 0x80)
            length >>= 7
        head.append(length)
        await self._put(head)

    async def enter(self, ident: str, user: str, password: str, will_topic: str, will: bytes) -> None:
        """CONNECT, with a clean session and a retained will; the answer is for receive()."""
        flags = 0x02 | 0x04 | 0x08 | 0x20
        fields = text(ident.encode()) + text(will_topic.encode()) + text(will)
        if user:
            flags |= 0x80
            fields += text(user.encode())
            if password:
                flags |= 0x40
                fields += text(password.encode())
        await self._head(0x10, 10 + len(fields))
        await self._put(b"\x00\x04MQTT\x04" + bytes([flags, 0, KEEP_ALIVE_S]) + fields)
        await self._flush(1)

    def _next_number(self) -> int:
        while True:
            self.number = self.number % 65535 + 1
            if self.number not in self.window:
                return self.number

    async def subscribe(self, topics: list) -> None:
        """Once we are in: ask for these topics at QoS 1, and wait for the answer; `refused` counts what it refuses."""
        while not self.session:
            await self._wait()
        asked = two(self._next_number())
        for topic in topics:
            asked += text(topic.encode()) + b"\x01"
        self.is_subscribed = False
        await self._head(0x82, len(asked))
        await self._put(asked)
        await self._flush(1)
        while not self.is_subscribed:
            await self._wait()

    async def publish(
        self, topic: str, payload: "Payload", is_retained: bool, note: "Callable[[int], None] | None" = None
    ) -> None:
        """Publish at QoS 1, once there is room in the window; note(number) is called before acked(number) can be."""
        while 0 not in self.window:
            await self._wait()
        number = self._next_number()
        self.window[self.window.index(0)] = number
        if note is not None:
            note(number)
        await self._publish(0x33 if is_retained else 0x32, text(topic.encode()) + two(number), payload)

    async def tell(self, topic: str, payload: bytes) -> None:
        """Publish at QoS 0, not retained: for what is worth nothing later."""
        await self._publish(0x30, text(topic.encode()), payload)

    async def _publish(self, first: int, head: bytes, payload: "Payload") -> None:
        length = 0
        for piece in payload() if callable(payload) else (payload,):
            length += len(piece)
            await asyncio.sleep(0)  # making it may take long
        await self._head(first, len(head) + length)
        await self._put(head)
        for piece in payload() if callable(payload) else (payload,):
            length -= len(piece)
            if length >= 0:
                await self._put(piece)
        if length:
            raise Broken("a message changed while it was sent")
        await self._flush(1 if first & 6 else 0)

    async def idle(self) -> None:
        """Acknowledge what was received, and ping where it has been quiet."""
        for n in range(ACKS):
            if self.acks[n]:
                await self._put(b"\x40\x02" + two(self.acks[n]))
                self.acks[n] = 0
        now_s = self.now_s()
        is_quiet = not self.is_pinged and now_s - min(self.heard_s, self.sent_s) >= QUIET_S
        if is_quiet:
            self.is_pinged = True
            await self._put(b"\xc0\x00")
        if self.filled or self.broken:
            await self._flush(1 if is_quiet else 0)

    # Receiving

    async def receive(self) -> None:
        """Take packets until the connection is broken; `broken` says why."""
        try:
            while True:
                await self._packet()
        except Broken as problem:
            self.broken = str(problem)
        except Exception as problem:  # noqa: BLE001 - whatever it is, it is the end of this connection
            self.broken = repr(problem)

    async def _read(self, count: int, is_kept: bool = True) -> None:
        """So many bytes to the buffer's beginning, or past it."""
        at = 0
        while at < count:
            got = await self.reader.read(min(count - at, READ_BYTES))
            if not got:
                raise Broken("the broker closed the connection")
            if is_kept:
                self.buffer[at : at + len(got)] = got
            at += len(got)

    async def _packet(self) -> None:
        await self._read(1)
        first = self.buffer[0]
        length = shift = 0
        while True:
            await self._read(1)
            length |= (self.buffer[0] & 0x7F) << shift
            if not self.buffer[0] & 0x80:
                break
            shift += 7
            if shift > 21:
                raise Broken("the broker sent a length of more than four bytes")  # section 2.2.3
        if first >> 4 == 3 and self.session and not first & 4:
            await self._message(first, length)
        else:
            if length < BUFFER_BYTES:
                await self._read(length)
            if not self._answer(first >> 4, length):
                raise Broken("the broker sent a packet of type " + str(first >> 4) + " that is out of place")
        self.heard_s = self.now_s()

    def _answer(self, kind: int, length: int) -> bool:
        """A packet that is no message; False where it is none that can come now."""
        view = self.view
        if not self.session:
            if kind != 2 or length != 2:
                return False
            if view[1]:
                refusals = len(CONNECT_REFUSED)
                raise Broken("refused: " + (CONNECT_REFUSED[view[1] - 1] if view[1] <= refusals else "no reason"))
            self.session = True
        elif kind == 4 and length == 2:
            number = view[0] << 8 | view[1]
            if number == 0 or number not in self.window:
                return True  # nothing of ours
            self.window[self.window.index(number)] = 0
            self.acked(number)
        elif kind == 9 and 2 < length < BUFFER_BYTES and not self.is_subscribed:
            self.is_subscribed = True
            for n in range(2, length):
                self.refused += view[n] == 0x80
        elif kind == 13 and length == 0 and self.is_pinged:
            self.is_pinged = False
        else:
            return False
        self.due -= 1
        self.answered_s = self.now_s()
        return True

    async def _message(self, first: int, length: int) -> None:
        """PUBLISH at QoS 0 or 1; one that is larger than the buffer is read past, but acknowledged."""
        view = self.view
        await self._read(2)
        at = view[0] << 8 | view[1]
        extra = first & 2
        size = length - 2 - at - extra
        if size < 0:
            raise Broken("the broker sent a message that is too short for its parts")
        is_small = length - 2 <= BUFFER_BYTES
        name = ""
        if is_small:
            await self._read(length - 2)
            try:
                name = bytes(view[:at]).decode()
            except UnicodeError:
                raise Broken("the broker sent a topic that is no UTF-8")  # [MQTT-1.5.3-1]
        else:
            self.skipped += 1
            await self._read(at, False)
            await self._read(extra)
            at = 0
        number = view[at] << 8 | view[at + 1] if extra else 0
        if not is_small:
            await self._read(size, False)
        elif self.take is not None:
            self.take(name, view[at + extra : at + extra + size], first & 1 == 1)
        while number and 0 not in self.acks:
            await asyncio.sleep(WAIT_S)  # while there is no room, nothing more is read
        if number:
            self.acks[self.acks.index(0)] = number
