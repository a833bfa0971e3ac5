"""The board's page: its addresses, and what a change must bring along to be made.

Page(app, guard) puts its routes on a guard.Guard; `await guard.start_server(port=80)` serves them.  A GET never
changes anything.  Every POST needs a session and its sign (login.py), but for those in OPEN; a route added later is
behind the same check.  Bodies and answers are JSON.

    GET  / /page.css /page.js /proof.js /state /chart
    POST /ask {}                      -> salt, rounds, nonce; point, where a first password may be set now
    POST /login {nonce, proof}        -> cookie
    POST /password {salt, masked}     the first one also {point}: a button on the board was pressed
    POST /leave /clear /rearm {}   /look {look: "fog" | "clear"}   /window {here: bool}   /run {seconds: 0..300}
    POST /settings {values: {name: number}}

Page needs of app, beside what login.py needs:
    controller      dewcore.controller.Controller
    settings        dewcore.settings.Settings
    history         dewboard.history.History: .boot, .day(utc_s, now_s): rows of the last day
    utc_s()         wall time [s], 0 unknown
    events          .add(text); iterated: pairs (at_s, text), the newest first
    counters        .items(): pairs (name, whole number)
    safe            why the board took itself out of service, "" while it has not
    version         text, shown to who is logged in
    now_s           integer seconds
    change_settings(values) -> "" or a refusal of one line
    look(code)       SAW_* of dewcore.readings
    request(code, seconds=0) REQUEST_*; one that lasts for so long
    end(code)       ends that one, where it is under way
    forget          is set to what holding both buttons shall do
"""

import gc
import sys

from microdot import Response, abort

from dewboard.chart import chart
from dewboard.login import STALE, Login, Session, from_hex, to_hex
from dewboard.page_parts import html, json_state
from dewcore.readings import (
    REQUEST_CLEAR,
    REQUEST_REARM,
    REQUEST_TIMED_RUN,
    REQUEST_WINDOW,
    SAW_CLEAR,
    SAW_FOG,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from microdot import Request

    from dewboard.app import App
    from dewboard.curve import Exchange
    from dewboard.guard import Guard
    from dewboard.shapes import Generator, Iterable

OPEN = ("/ask", "/login", "/password")
COOKIE = "dewmargin"
FILES = {"/page.css": "css", "/page.js": "javascript", "/proof.js": "javascript"}
PIECE_BYTES = 512
WINDOW_S = 1800
RUN_S = 300


def gathered(pieces: "Iterable[str]") -> "Generator[bytes]":
    """Small pieces joined to some PIECE_BYTES; an empty one is passed on at once, as it lets others run.

    While they are sent only their bytes and the last of them are alive: that is the page's worst moment for the heap.
    """
    held = []
    size = 0
    for piece in pieces:
        held.append(piece)
        size += len(piece)
        if size >= PIECE_BYTES or not piece:
            size = 0
            yield taken(held)
    yield taken(held)


def taken(held: "list[str]") -> bytes:
    """These texts as one, in bytes; the list is empty afterwards."""
    whole = "".join(held).encode()
    held.clear()
    return whole


def from_file(path: str) -> "Generator[bytes]":
    """A file in pieces."""
    with open(path, "rb") as file:
        while True:
            piece = file.read(PIECE_BYTES)
            if not piece:
                return
            yield piece


def text_of(kind: str) -> dict:
    """The header that names a kind of text."""
    return {"Content-Type": "text/" + kind + "; charset=utf-8"}


class View:
    """What one sending of the page needs: the app, and who asks: logged "in", "out", or "none": no password is set."""

    def __init__(self, app: "App", state: str) -> None:
        self.app = app
        self.state = state


class Page:
    """The routes of one board's page."""

    def __init__(self, app: "App", guard: "Guard") -> None:
        self.app = app
        self.login = Login(app)
        app.forget = self.login.forget
        self.exchange: "Exchange | None" = None  # while a first password is being set
        self.folder = __file__.rpartition("/")[0] + "/"
        guard.before_request(self.who)
        guard.add("GET", "/", self.whole)
        guard.add("GET", "/state", self.state)
        guard.add("GET", "/chart", self.chart)
        for path in FILES:
            guard.add("GET", path, self.file)
        for name in ("ask", "login", "password", "leave", "clear", "rearm", "look", "window", "run", "settings"):
            guard.add("POST", "/" + name, getattr(self, "post_" + name))

    # -- reading

    async def whole(self, request: "Request"):
        """The page itself."""
        gc.collect()
        state = "out" if self.login.is_set() else "none"
        view = View(self.app, "in" if request.g.session is not None else state)
        return Response(self.sent(view), headers=text_of("html"))

    def sent(self, view: "View") -> "Generator[bytes]":
        with open(self.folder + "page.html", encoding="utf-8") as template:
            yield from gathered(html(view, template))

    async def state(self, _: "Request"):
        """What the page's script asks for every ten seconds."""
        return Response(gathered(json_state(self.app)), headers={"Content-Type": "application/json"})

    async def chart(self, _: "Request"):
        """The drawing of the last day, which the page's script asks for every five minutes."""
        return Response(gathered(chart(self.app)), headers=text_of("html"))

    async def file(self, request: "Request"):
        """Style and scripts."""
        return Response(from_file(self.folder + request.path[1:]), headers=text_of(FILES[request.path]))

    # -- who asks

    async def who(self, request: "Request"):
        """Before every route: whose session it is; a POST goes no further without one and its sign."""
        session = self.login.session_of(request.cookies.get(COOKIE))
        request.g.session = session
        request.g.number = 0
        if request.method != "POST":
            return None
        sign = request.headers.get("x-dew-sign")
        if session is not None and sign is not None:
            request.g.number = self.login.signed(session, sign, request.path, request.body)
        if request.g.number == 0 and request.path not in OPEN:
            return refusal("Log in first.", 403)
        try:
            request.g.values = request.json
        except (ValueError, RuntimeError):  # RuntimeError: nested too deeply
            abort(400, "The body is not JSON.")
        if not isinstance(request.g.values, dict):
            abort(400, "The body is not a JSON object.")
        return None

    async def post_ask(self, request: "Request"):
        found = self.login.ask(request.client_addr[0])
        if self.login.pressed() and not self.login.is_set():
            if self.exchange is None:
                from dewboard.curve import Exchange  # once in a board's life

                self.exchange = Exchange()
            found["point"] = to_hex(await self.exchange.point())
        return found

    async def post_login(self, request: "Request"):
        address = request.client_addr[0]
        wait_s = self.login.wait_s(address)
        if wait_s:
            text = "Too many wrong passwords: wait " + str(wait_s) + " s, or press a button on the board."
            return {"error": text}, 429, {"Retry-After": str(wait_s)}
        values = request.g.values
        session = self.login.enter(address, values.get("nonce"), values.get("proof"))
        if not isinstance(session, Session):
            return refusal(session, 409 if session == STALE else 403)
        cookie = COOKIE + "=" + session.cookie + "; Path=/; HttpOnly; SameSite=Strict"  # its end is the board's to say
        return {"ok": 1}, 200, {"Set-Cookie": cookie}

    async def post_password(self, request: "Request"):
        values = request.g.values
        salt = from_hex(values.get("salt"), 16)
        if request.g.number:
            masked = from_hex(values.get("masked"), 32)
            return answer(self.login.change(request.g.session, request.g.number, salt, masked))
        return answer(await self._first(salt, values), 403)

    async def _first(self, salt: bytes, values: dict) -> str:
        """Set the first password; the refusal, or an empty text."""
        stored = b""
        if self.exchange is not None:
            masked = from_hex(values.get("masked"), 32)
            stored = await self.exchange.opened(from_hex(values.get("point"), 32), masked)
        found = self.login.set_first(salt, stored)
        if not found:
            self.exchange = None
            let_go("curve")
        return found

    async def post_leave(self, request: "Request"):
        self.login.leave(request.g.session)
        return {"ok": 1}

    # -- changing

    async def post_look(self, request: "Request"):
        look = request.g.values.get("look")
        if look not in ("fog", "clear"):
            return refusal("A look is fog or clear.")
        self.app.look(SAW_FOG if look == "fog" else SAW_CLEAR)
        return {"ok": 1}

    async def post_window(self, request: "Request"):
        here = request.g.values.get("here")
        if here is not True and here is not False:
            return refusal("Tell whether you are at the window.")
        if here:
            self.app.request(REQUEST_WINDOW, WINDOW_S)
        else:
            self.app.end(REQUEST_WINDOW)
        return {"ok": 1}

    async def post_clear(self, _: "Request"):
        self.app.request(REQUEST_CLEAR)
        self.app.events.add("clearing the alarm asked for on the page")
        return {"ok": 1}

    async def post_rearm(self, _: "Request"):
        self.app.request(REQUEST_REARM)
        self.app.events.add("learned parts forgotten")
        return {"ok": 1}

    async def post_run(self, request: "Request"):
        seconds = request.g.values.get("seconds")
        if isinstance(seconds, bool) or not isinstance(seconds, int) or not 0 <= seconds <= RUN_S:
            return refusal("A test run takes 1 to 300 whole seconds; 0 ends it.")
        if seconds:
            self.app.request(REQUEST_TIMED_RUN, seconds)
            self.app.events.add("timed test run of " + str(seconds) + " s asked for")
        else:
            self.app.end(REQUEST_TIMED_RUN)
            self.app.events.add("timed test run ended on the page")
        return {"ok": 1}

    async def post_settings(self, request: "Request"):
        values = request.g.values.get("values")
        if not isinstance(values, dict) or not values:
            return refusal("Tell which settings to change.")
        for name in values:
            if not isinstance(name, str) or len(name) > 40:
                return refusal("A setting has a name.")
        found = self.app.change_settings(values)
        if not found:
            self.app.events.add("settings changed: " + " ".join(sorted(values))[:60])
        return answer(found)


def let_go(name: str) -> None:
    """Drop a module that is not needed again, or loaded again where it is."""
    import dewboard

    del sys.modules["dewboard." + name]
    delattr(dewboard, name)


def answer(found: str, status: int = 422):
    """A refusal with its status, or that all is well where there is none."""
    return refusal(found, status) if found else {"ok": 1}


def refusal(text: str, status: int = 422) -> tuple:
    """Why not, for the page to show."""
    return {"error": text}, status
