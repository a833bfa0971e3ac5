"""Who gets through: bounds on connections, sizes and time, and the names the page answers to, before microdot.

Guard(names): names() returns the host names the page may be called by (own address, configured name, .local name),
lower case, without a port.  Nothing of a request is kept beyond these bounds, and only the headers in KEPT.

    connections 4, from one address 3   503; before that the oldest one still idle gives way
    request line, header line           512 bytes: 414, 431; 24 headers: 431
    head 5 s, request and answer 20 s   408, closed
    body 2048 bytes                     413; without Content-Length, or chunked: 411
    GET and POST                        405
    Host not one of the names           421; a POST whose Origin is not that very host: 403
"""

import asyncio
import gc

from microdot import Microdot, NoCaseDict, Request

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.shapes import Awaitable, Callable, Pieces, StreamIn, StreamOut

CONNECTIONS = 4
FROM_ONE = 3  # so that no single machine keeps all others out
IDLE_S = 1  # an honest request's head arrives faster
HEAD_S = 5
TOTAL_S = 20
SWEEP_S = 1  # ages are counted in these
LINE_BYTES = 512
HEADERS = 24
BODY_BYTES = 2048
CHUNK_BYTES = 512
# What a refused caller still sends is read and thrown away, this often: a socket closed on unread bytes resets,
# and the caller never learns why it was refused.
LINGER_READS = 256
LINGER_S = 0.1  # without a byte: it has finished, and waits for us
KEPT = ("host", "origin", "content-type", "cookie", "x-dew-sign")

GONE = 0  # no status: the caller left, nobody is there to be told
TEXTS = {
    400: "This is no request that this page understands.",
    403: "A change must come from this page itself.",
    405: "Only GET and POST are answered.",
    408: "The request took too long.",
    411: "A POST must tell its Content-Length and must not be chunked.",
    413: "The request's body is too long; 2048 bytes are allowed.",
    414: "The request's address is too long; 512 bytes are allowed.",
    421: "This page does not go by that name.",
    431: "The request has too many or too long headers.",
    503: "Too many connections, or too little memory: try again in some seconds.",
}
# No outside asset, no frame around the page, no guessing of types, nothing kept in caches, no address passed on.
HEADERS_OUT = (
    ("Content-Security-Policy", "default-src 'self'; frame-ancestors 'none'; form-action 'none'; base-uri 'none'"),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Cache-Control", "no-store"),
    ("Connection", "close"),
)


class Refused(Exception):
    """A request that goes no further; the only argument is its status."""


class Caller:
    """One connection: whose it is, how long it is there [s], what of it has been read."""

    __slots__ = (
        "address",
        "task",
        "age_s",
        "reading",
        "status",
        "begun",
        "reader",
        "rest",
        "method",
        "path",
        "headers",
        "body",
    )

    def __init__(self, address: str, reader: "StreamIn") -> None:
        self.address = address
        self.reader = reader
        self.task: "asyncio.Task | None" = None
        self.age_s = 0
        self.reading = True  # its head is not complete
        self.status = 408  # what it is told if it is cut off
        self.begun = False  # its answer: a refusal would end up in the middle of it
        self.rest = b""  # read, but not yet used
        self.method = ""
        self.path = ""
        self.headers = NoCaseDict()
        self.body: "Pieces | None" = None  # of the answer, where it wants closing

    async def line(self, too_long: int) -> bytes:
        """The next line without its end; Refused(too_long) beyond LINE_BYTES."""
        while True:
            end = self.rest.find(b"\n")
            if end > LINE_BYTES or end < 0 and len(self.rest) > LINE_BYTES:
                raise Refused(too_long)
            if end >= 0:
                line = self.rest[:end]
                self.rest = self.rest[end + 1 :]
                return line[:-1] if line[-1:] == b"\r" else line
            await self.more()

    async def more(self) -> None:
        """Wait for some bytes."""
        got = await self.reader.read(CHUNK_BYTES)
        if not got:
            raise Refused(GONE)
        self.rest += got

    async def head(self) -> int:
        """Read request line and headers; the number of bytes of body to come."""
        words = plain(await self.line(414)).split(" ")
        if len(words) != 3 or words[1][:1] != "/" or words[2] not in ("HTTP/1.0", "HTTP/1.1"):
            raise Refused(400)
        if words[0] not in ("GET", "POST"):
            raise Refused(405)
        self.method = words[0]
        self.path = words[1].split("?")[0]  # no address here takes a query
        length = -1
        for _ in range(HEADERS):
            line = plain(await self.line(431))
            if not line:
                break
            length = self.header(line, length)
        else:
            if await self.line(431):
                raise Refused(431)
        self.reading = False
        if self.method == "GET":
            if length > 0:
                raise Refused(400)
            return 0
        if length < 0:
            raise Refused(411)
        if length > BODY_BYTES:
            raise Refused(413)
        return length

    def header(self, line: str, length: int) -> int:
        """Keep a header if anything reads it; the length of the body as known so far."""
        name, colon, value = line.partition(":")
        if not colon or not name or name.strip() != name:
            raise Refused(400)
        name = name.lower()
        value = value.strip()
        if name == "transfer-encoding":
            raise Refused(411)
        if name == "content-length":
            if length >= 0 or not 0 < len(value) <= 8 or not value.isdigit():
                raise Refused(400)
            return int(value)
        if name in KEPT:
            if name in self.headers:
                raise Refused(400)
            self.headers[name] = value
        return length

    async def content(self, length: int) -> bytes:
        """The body, of exactly this many bytes."""
        while len(self.rest) < length:
            await self.more()
        return self.rest[:length]

    async def linger(self) -> None:
        """Let a refused caller finish talking, within bounds."""
        try:
            for _ in range(LINGER_READS):
                if not await asyncio.wait_for(self.reader.read(CHUNK_BYTES), LINGER_S):
                    return
        except asyncio.TimeoutError:
            return


class Guard(Microdot):
    """A microdot server that keeps to the bounds above; `refused` counts by status what it turned away.

    Routes are plain addresses in a dictionary, by add(): patterns, which nothing here needs, take memory.
    """

    def __init__(self, names: "Callable[[], list[str]]") -> None:
        super().__init__()
        self.names = names
        self.options_handler = None
        self.routes: "dict[str, Callable[[Request], Awaitable]]" = {}  # handler by "METHOD /path"
        self.callers: "list[Caller]" = []
        self.sweeper: "asyncio.Task | None" = None
        self.refused: "dict[int, int]" = {}

    def add(self, method: str, path: str, handler: "Callable[[Request], Awaitable]") -> None:
        """A coroutine that answers this method at this address."""
        self.routes[method + " " + path] = handler

    def find_route(self, req: "Request") -> tuple:
        """As microdot asks: (handler or status, prefix, subapp)."""
        req.url_args = {}
        handler = self.routes.get(req.method + " " + req.path)
        if handler is None:
            other = "POST " if req.method == "GET" else "GET "
            handler = 405 if other + req.path in self.routes else 404
        return handler, "", None

    async def handle_request(self, reader: "StreamIn", writer: "StreamOut") -> None:
        """One connection from its first byte to its close."""
        caller = Caller(address_of(writer.get_extra_info("peername")), reader)
        if not self.admit(caller):
            self.refuse(writer, 503)
            await close(writer)
            return
        try:
            await self.answer(caller, writer)
        except Refused as refused:
            if refused.args[0] != GONE:
                self.refuse(writer, refused.args[0])
                await caller.linger()
        except MemoryError:
            gc.collect()
            self.refuse(writer, 503, caller.begun)
        except asyncio.CancelledError:  # by cut()
            self.refuse(writer, caller.status, caller.begun)
            transport = getattr(writer, "transport", None)
            if transport is not None:  # CPython would else wait until the caller has read everything
                transport.abort()
        except OSError:  # the caller went away: nobody is there to be told
            self.count(GONE)
        finally:
            if caller in self.callers:
                self.callers.remove(caller)
            if caller.body is not None:
                caller.body.close()  # a page half sent holds a file open
            caller.body = None
            await close(writer)

    def admit(self, caller: "Caller") -> bool:
        """Whether there is room for a caller; the oldest idle one gives way to it."""
        same = [other for other in self.callers if other.address == caller.address]
        if len(same) >= FROM_ONE:
            crowd = same
        elif len(self.callers) >= CONNECTIONS:
            crowd = self.callers
        else:
            crowd = ()
        for other in crowd:
            if other.reading and other.age_s >= IDLE_S:
                self.cut(other, 503)
                break
        else:
            if crowd:
                return False
        caller.task = asyncio.current_task()
        self.callers.append(caller)
        if self.sweeper is None:
            self.sweeper = asyncio.create_task(self.sweep())
        return True

    def cut(self, caller: "Caller", status: int) -> None:
        """Take a caller off the list and end its task."""
        self.callers.remove(caller)
        caller.status = status
        if caller.task is not None:
            caller.task.cancel()

    async def sweep(self) -> None:
        """Every SWEEP_S callers grow a second older, and who is over time is cut off; ends with the last."""
        while self.callers:
            await asyncio.sleep(SWEEP_S)
            for caller in tuple(self.callers):
                caller.age_s += 1
                if caller.age_s > (HEAD_S if caller.reading else TOTAL_S):
                    self.cut(caller, 408)
        self.sweeper = None

    async def answer(self, caller: "Caller", writer: "StreamOut") -> None:
        """Read one request, have microdot answer it."""
        length = await caller.head()
        self.check_names(caller)
        body = await caller.content(length)
        caller.rest = b""
        request = Request(self, (caller.address, 0), caller.method, caller.path, "1.0", caller.headers, body=body)
        response = await self.dispatch_request(request)
        if not isinstance(response.body, bytes):
            caller.body = response.body
        for name, value in HEADERS_OUT:
            response.headers[name] = value
        caller.begun = True
        await response.write(writer)

    def check_names(self, caller: "Caller") -> None:
        """Refuse other names than our own (a page elsewhere whose name is made to point here), and other origins."""
        host = caller.headers.get("host", "").lower()
        if host.rsplit(":", 1)[0].rstrip(".") not in self.names():
            raise Refused(421)
        origin = caller.headers.get("origin", "").lower()
        if caller.method == "POST" and origin != "http://" + host and origin != "https://" + host:
            raise Refused(403)

    def count(self, status: int) -> None:
        """Count what was turned away."""
        self.refused[status] = self.refused.get(status, 0) + 1

    def refuse(self, writer: "StreamOut", status: int, is_begun: bool = False) -> None:
        """Tell why, without waiting; what does not fit into the socket's buffer is not said, nor within an answer."""
        self.count(status)
        if is_begun:
            return
        text = TEXTS[status] + "\n"
        head = "HTTP/1.0 %d N/A\r\nContent-Type: text/plain\r\nContent-Length: %d\r\n" % (status, len(text))
        try:
            writer.write((head + "X-Content-Type-Options: nosniff\r\nConnection: close\r\n\r\n" + text).encode())
        except OSError:
            self.count(GONE)


async def close(writer: "StreamOut") -> None:
    """Close a connection that may be gone already."""
    try:
        await writer.aclose()
    except OSError:
        return


def plain(line: bytes) -> str:
    """A line as text; Refused(400) where it is not plain printable ASCII."""
    for byte in line:
        if not 32 <= byte < 127 and byte != 9:
            raise Refused(400)
    return line.decode()


def address_of(peer: "tuple | bytes | None") -> str:
    """A caller's address as text; a port of MicroPython to a desktop hands it over packed (struct sockaddr_in)."""
    if isinstance(peer, tuple):
        return peer[0]
    return "%d.%d.%d.%d" % tuple(peer[4:8]) if peer else ""
