"""The bench's page and, beside it, the board's own page by the board's own code: two ports of this computer only."""

import asyncio
import errno
import json
import signal
import sys
from html import escape

from dewsim import bench_inputs as inputs
from dewsim import bench_live, cautions, install_files, page_labels, report
from dewsim.bench_house import DRIVEN
from dewsim.errors import InputError

HOST = "127.0.0.1"
NAMES = (HOST, "localhost")
FILES = {"/bench.css": "css", "/bench.js": "javascript"}
CHARTS = {"/uPlot.min.css": "css", "/uPlot.iife.min.js": "javascript"}
LEAST_OFTEN_S = 1.0  # so that a page that is gone is noticed


def needs_microdot() -> None:
    """Make the board's web server importable, out of the installed package or the checkout."""
    folder = str(install_files.sources()["microdot.py"].parent)
    if folder not in sys.path:
        sys.path.append(folder)


class Wire:
    """A connection as microdot and the board's Guard want it; swap: bytes to be replaced in what is written."""

    def __init__(self, writer, swap: tuple | None = None):
        self.writer = writer
        self.transport = writer.transport
        self.get_extra_info = writer.get_extra_info
        self.swap = swap

    def write(self, data: bytes) -> None:
        self.writer.write(data.replace(*self.swap) if self.swap else data)

    async def awrite(self, data: bytes) -> None:
        self.write(data)
        await self.writer.drain()

    async def aclose(self) -> None:
        self.writer.close()
        await self.writer.wait_closed()


class Served:
    """One Live behind two ports: the bench's own, and the board's page."""

    def __init__(self, live: bench_live.Live, at_broker=None):
        needs_microdot()
        self.live = live
        self.at_broker = at_broker  # `dewsim.bench_broker`, None for a board at no broker
        self.clients: set = set()  # an event of each page that listens
        self.board_app = self.guard = None
        self.port = self.board_port = 0
        self.api = self._routes()

    # the bench's page

    def _routes(self):
        from microdot import Microdot

        api = Microdot()
        api.before_request(self._refuses)
        api.after_request(self._seal)
        api.get("/")(self.whole)
        api.get("/frames")(self.stream)
        api.get("/favicon.ico")(self.nothing)
        api.post("/do")(self.do)
        for path in (*FILES, *CHARTS):
            api.get(path)(self.file)
        return api

    def _refuses(self, request):
        """Other names than this computer's own (a page elsewhere made to point here), and other origins."""
        host = request.headers.get("Host", "")
        if host.rpartition(":")[0] not in NAMES:
            return "This page does not go by that name.\n", 421
        if request.method == "POST" and request.headers.get("Origin") != "http://" + host:
            return "A change must come from this page itself.\n", 403
        return None

    def _seal(self, _, response):
        policy = f"default-src 'self'; img-src data:; frame-src http://{HOST}:{self.board_port}; base-uri 'none'"
        response.headers["Content-Security-Policy"] = policy + "; form-action 'none'; frame-ancestors 'none'"
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Cache-Control"] = "no-store"
        return response

    async def whole(self, _):
        text = page(self.board_port, self.live.on_board, self.live.lacks, self.live.units)
        return text, 200, {"Content-Type": "text/html; charset=utf-8"}

    async def nothing(self, _):
        return "", 204

    async def file(self, request):
        if request.path in FILES:
            text, kind = report.own(request.path[1:]), FILES[request.path]
        else:
            text, kind = report.vendored(request.path[1:]), CHARTS[request.path]
        return text, 200, {"Content-Type": f"text/{kind}; charset=utf-8"}

    async def do(self, request):
        """An order; the answer is the frame after it, so that the page need not wait for the stream."""
        try:
            order = request.json
        except ValueError:
            refusal = "The body is not JSON."
        else:
            refusal = await self.live.do(order)
        self.publish()
        return {"refusal": refusal, **self.live.newest()}

    async def stream(self, _):
        return self.frames(), 200, {"Content-Type": "text/event-stream"}

    async def frames(self):
        """For one page: each frame with the chart's new points, at once after a change, else every LEAST_OFTEN_S."""
        news = asyncio.Event()
        self.clients.add(news)
        at = 0
        try:
            while True:
                data = self.live.whole(at)
                at = data["first"] + len(data["points"])
                yield "data: " + json.dumps(data, separators=(",", ":")) + "\n\n"
                await asyncio.sleep(bench_live.MOST_OFTEN_S)
                try:
                    await asyncio.wait_for(news.wait(), LEAST_OFTEN_S)
                except TimeoutError:
                    pass
                news.clear()
        finally:
            self.clients.discard(news)

    def publish(self) -> None:
        for news in self.clients:
            news.set()

    async def connect(self, reader, writer) -> None:
        try:
            await self.api.handle_request(reader, Wire(writer))
        except asyncio.CancelledError:  # the bench ends, and with it every page's stream
            writer.transport.abort()

    # the board's page

    async def connect_board(self, reader, writer) -> None:
        """By the board's own Guard and Page, over the app that runs now; only this bench may show it in a frame."""
        from dewboard.guard import Guard
        from dewboard.page import Page

        app = self.live.bench.app
        if self.board_app is not app:  # the board was restarted since
            self.board_app = app
            self.guard = Guard(lambda: NAMES)
            Page(app, self.guard)
        ancestors = (b"frame-ancestors 'none'", f"frame-ancestors http://{HOST}:{self.port}".encode())
        try:
            await self.guard.handle_request(reader, Wire(writer, ancestors))
        except asyncio.CancelledError:
            writer.transport.abort()

    # running

    async def run(self, port: int, tell, signals=(signal.SIGINT, signal.SIGTERM)) -> None:
        """Serve until cancelled, or one of the signals comes; tell(address) once both ports are there."""
        try:
            servers = [await asyncio.start_server(self.connect, HOST, port)]
            if not self.live.on_board:  # a real one serves no page over its serial line
                servers.append(await asyncio.start_server(self.connect_board, HOST, 0))
        except OSError as error:
            taken = "it is taken" if error.errno == errno.EADDRINUSE else error.strerror
            raise InputError(f"--port: {port} cannot be used ({taken}); give another, or none for any free") from None
        for number in signals:
            asyncio.get_running_loop().add_signal_handler(number, asyncio.current_task().cancel)
        ports = [server.sockets[0].getsockname()[1] for server in servers]
        self.port, self.board_port = ports[0], ports[-1]
        tell(f"http://{HOST}:{self.port}/")
        jobs = [self.live.run(self.publish)]
        if self.at_broker:
            jobs.append(self.at_broker.stay(lambda: self.live.bench))
        try:
            await asyncio.gather(*jobs)
        finally:
            if self.at_broker:
                await self.at_broker.leave()
            for server in servers:
                server.close()


def run(live: bench_live.Live, port: int, at_broker=None) -> int:
    """Until Ctrl-C; at_broker: as for Served.  InputError where the bench was over before."""

    def tell(address: str) -> None:
        print(f"bench: {address}  (only on this computer; Ctrl-C ends it)", flush=True)

    try:
        asyncio.run(Served(live, at_broker).run(port, tell))
    except asyncio.CancelledError:  # by a signal
        print("bench: ended")
    return 0


# -- the page


FROM = "the board's own program on simulated wires: no water runs anywhere"
COUNTS = (
    "A change counts at once, and is held by hand until its tick is taken off: then the simulated house drives it "
    "again. While paused, nothing is decided before the next beat."
)
GONE = "The bench does not answer any more: what stands below is old."
BOARD = """<p class="hint">By the board's own code, from <a href="{0}" target="_blank" rel="noreferrer">{0}</a>.</p>
<iframe src="{0}" title="The board's own page"></iframe>"""
ON_BOARD = {  # the same on a real board
    "FROM": "the board's own program on the board itself: its readings are made up, its relay clicks",
    "COUNTS": "A change counts with the board's next second, what needs a scan within ten. It is held by hand until "
    "its tick is taken off: then the simulated house drives it again.",
    "GONE": "The bench does not answer any more, and what stands below is old: without it the board opens its contact "
    "within 5 s and starts afresh, on its own inputs.",
    "FAULTS-NOTE": '<p class="hint">All of them made up in what the board reads; its real relay goes on as it is told.'
    "</p>",
    "BOARD": '<p class="hint">Not over the serial line: with the bench shim at work the board serves no page.</p>',
}


def page(board_port: int, on_board: str = "", lacks: tuple = (), units: str = "si") -> str:
    """bench.html, its forms filled in from the tables; on_board, lacks, units: of the `dewsim.bench_live.Live`."""
    text = report.own("bench.html")
    labels = page_labels.settings()
    drives = escape(f"This page drives {on_board}. Nothing but its own supply may be wired to that board.")
    parts = {
        "SHIM": f'<p id="shim" class="alarm">{drives}</p>' if on_board else "",
        "TITLE": "Bench: a real board" if on_board else "Bench",
        "FROM": FROM,
        "COUNTS": COUNTS,
        "GONE": GONE,
        "FAULTS-NOTE": "",
        "LACKS": escape(json.dumps([(place, controls, reason) for place, controls, _, reason in lacks])),
        "UNITS": units,
        "SPEEDS": "".join(f'<option value="{speed}">{name}</option>' for speed, name in bench_live.SPEEDS),
        "INPUTS": "".join([_number(row) for row in inputs.NUMBERS] + [_choice(row) for row in inputs.CHOICES]),
        "FAULTS": "".join(_fault(name, row[0]) for name, row in inputs.FAULTS.items()),
        "FITTED": "".join(_fitted(name, labels[name]) for name in (*bench_live.FITTED, "window_test_allowed")),
        "CAUTIONS": cautions.html_items(),
        "BOARD": BOARD.format(f"http://{HOST}:{board_port}/"),
        **(ON_BOARD if on_board else {}),
    }
    for name, part in parts.items():
        text = text.replace("{" + name + "}", part)
    return text


def _held(name: str) -> str:
    if name not in DRIVEN:
        return "<span></span>"
    return f'<label class="held"><input type="checkbox" data-held="{name}" checked> by hand</label>'


def _number(row: tuple) -> str:
    name, label, unit, low, high, step = row
    if unit == "°C":
        unit = '<span class="degrees">°C</span>'
    return (
        f'<div class="row"><label for="i-{name}">{label}, {unit}</label><input id="i-{name}" data-input="{name}" '
        f'type="number" min="{low:g}" max="{high:g}" step="{step:g}" inputmode="decimal">{_held(name)}</div>\n'
    )


def _choice(row: tuple) -> str:
    name, label, choices = row
    options = "".join(f'<option value="{choice}">{choice.replace("_", " ")}</option>' for choice in choices)
    return (
        f'<div class="row"><label for="i-{name}">{label}</label><select id="i-{name}" data-input="{name}">{options}'
        f"</select>{_held(name)}</div>\n"
    )


def _fault(name: str, label: str) -> str:
    return f'<label class="tick"><input type="checkbox" data-fault="{name}"> {escape(label)}</label>\n'


def _fitted(name: str, label: str) -> str:
    return f'<label class="tick"><input type="checkbox" data-fit="{name}"> {escape(label)}</label>\n'
