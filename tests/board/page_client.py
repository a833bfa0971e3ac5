"""A caller of the page without sockets: bytes in, bytes out, and the owner's browser with its proofs and signs."""

import asyncio
import json
import sys
from hashlib import sha256

from page_app import App

from dewboard import curve
from dewboard.guard import Guard
from dewboard.login import from_hex, hmac_sha256, to_hex, xor
from dewboard.page import Page

PASSWORD_SALT = bytes(range(16))
# CPython's hashlib.pbkdf2_hmac and hmac: client key of "correct horse battery" with that salt and 200000 rounds
CLIENT_KEY = bytes.fromhex("8bcab4f587b197e5b475c9268a745c7dd4093bd331a0723483cd3d556bcefa4e")
STORED = sha256(CLIENT_KEY).digest()


class Reader:
    """Gives its bytes in steps of at most `most`, then waits for `after_s` seconds and ends."""

    def __init__(self, data, most=1000, after_s=0):
        self.data = data
        self.most = most
        self.after_s = after_s
        self.given = 0

    async def read(self, n):
        if self.data:
            n = min(n, self.most)
            got = self.data[:n]
            self.data = self.data[n:]
            self.given += len(got)
            return got
        await asyncio.sleep(self.after_s)
        return b""


class Writer:
    """Keeps what is written."""

    def __init__(self, address="127.0.0.1"):
        self.address = address
        self.data = b""
        self.closed = False

    def get_extra_info(self, _):
        return (self.address, 4711)

    def write(self, data):
        self.data += data

    async def awrite(self, data):
        self.data += data
        await asyncio.sleep(0)

    async def aclose(self):
        self.closed = True

    def status(self):
        return int(self.data.split(b" ")[1]) if self.data else 0

    def head(self):
        return self.data.split(b"\r\n\r\n")[0].decode()

    def body(self):
        return self.data[self.data.find(b"\r\n\r\n") + 4 :]


def run(guard, work):
    """What this work for a guard returns, on an event loop of its own; what it leaves running goes with it."""
    if sys.implementation.name == "micropython":
        asyncio.new_event_loop()  # there tasks outlast asyncio.run, and with them all they hold
    found = asyncio.run(work)
    guard.sweeper = None
    return found


async def talk(guard, data, address="127.0.0.1", most=1000, after_s=0):
    """What the guard answers to these bytes."""
    writer = Writer(address)
    await guard.handle_request(Reader(data, most, after_s), writer)
    return writer


def request(method, path, headers=(), body=b"", host="127.0.0.1"):
    """Bytes of a request as a browser sends it."""
    lines = [method + " " + path + " HTTP/1.1", "Host: " + host, "User-Agent: test", "Accept: */*"]
    if method == "POST":
        lines += ["Origin: http://" + host, "Content-Type: application/json", "Content-Length: %d" % len(body)]
    for header in headers:
        lines.append(header)
    return ("\r\n".join(lines) + "\r\n\r\n").encode() + body


class Browser:
    """A stand-in app, its page, and a browser at an address that may know the password."""

    def __init__(self, address="127.0.0.1", app=None, guard=None):
        self.app = app or App()
        if guard is None:
            guard = Guard(self.app.hosts)
            Page(self.app, guard)
        self.guard = guard
        self.address = address
        self.cookie = ""
        self.key = b""
        self.number = 0

    def get(self, path, headers=()):
        """The Writer with the answer."""
        return self.send(request("GET", path, self.cookies() + list(headers)))

    def send(self, data):
        return run(self.guard, talk(self.guard, data, self.address))

    def cookies(self):
        return ["Cookie: dewmargin=" + self.cookie] if self.cookie else []

    def post(self, path, values, sign=True, headers=()):
        """(status, answer) of a POST; signed where there is a session."""
        body = json.dumps(values).encode()
        extra = self.cookies() + list(headers)
        if sign and self.key:
            extra.append("X-Dew-Sign: " + self.sign(path, body))
        writer = self.send(request("POST", path, extra, body))
        self.last = writer
        found = writer.body()
        return writer.status(), json.loads(found) if found[:1] == b"{" else found.decode()

    def sign(self, path, body, number=None):
        if number is None:
            self.number += 1
            number = self.number
        text = str(number)
        return text + ":" + to_hex(hmac_sha256(self.key, (text + "\n" + path + "\n").encode() + body))

    def set_password(self):
        """The first password, a button having been pressed."""
        self.app.pressed_s = self.app.now_s
        _, asked = self.post("/ask", {}, sign=False)
        own = bytes(range(32))
        key = asyncio.run(curve.shared(own, from_hex(asked["point"], 32)))
        masked = to_hex(xor(STORED, hmac_sha256(key, b"password 0")))
        point = to_hex(asyncio.run(curve.shared(own, curve.BASE)))
        return self.post("/password", {"salt": to_hex(PASSWORD_SALT), "point": point, "masked": masked})

    def log_in(self, client_key=CLIENT_KEY):
        """Ask and answer; the status of the answer."""
        _, asked = self.post("/ask", {}, sign=False)
        nonce = asked["nonce"]
        stored = sha256(client_key).digest()
        proof = to_hex(xor(client_key, hmac_sha256(stored, nonce.encode())))
        status, _ = self.post("/login", {"nonce": nonce, "proof": proof}, sign=False)
        if status == 200:
            self.cookie = self.last.head().split("dewmargin=")[1].split(";")[0]
            self.key = hmac_sha256(stored, b"session " + nonce.encode())
            self.number = 0
        return status


def logged_in():
    """A browser with a session."""
    browser = Browser()
    browser.set_password()
    browser.log_in()
    return browser
