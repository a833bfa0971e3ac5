"""A hostile local network against the board's page: real MicroPython, a small heap, a beat each second.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/hostile_lan.py [--short] [--seed N] [--heap 130]

MicroPython runs tests/board/hostile_board.py: the page before a stand-in app whose beat scans a real controller, all of
a board's code but MQTT loaded out of a ROM image, on a heap as soak.py counts it.
From here it is attacked over sockets: crowds of idle callers, endless lines and bodies, one byte a second, readers
that do not read, noise, foreign names and origins, changes without login or with false signs, guesses of the password,
fuzzed settings.  Between the attacks the board is asked what it still holds.

Promised: a beat for each second of the run, none later than a second in 99 of 100, and none later than 2 s; nothing
ends in a traceback; memory comes back; nothing changes without login; every setting stays within its bounds; an honest
caller at another address is answered during each attack.
Exit status 0 where all of that held, 1 where not, 2 where a tool is missing.
"""

import sys

LATE_MS = 1000
LATEST_MS = 2000
APART_S = 3  # seconds and beats of a run: the latest beat, and how long it takes until the run is known to have ended
KEPT_BYTES = 4096  # what may be alive more than before, of a build with 32-bit words
ANSWER_S = 10
HONEST = "127.0.0.2"
COUNTED = ("idle", "lines", "slow", "slow_s", "noise", "names", "guesses", "settings")
FULL = dict(zip(COUNTED, (300, 40, 8, 30, 2000, 500, 10000, 20000)))
SHORT = dict(zip(COUNTED, (20, 1, 0, 0, 40, 4, 30, 60)))
WRONG = (1e30, -1e30, 10**30, True, None, "1", [], {}, [[]], 1e-30, 0.1 + 0.2)
NAMES = ("", "x", "__class__", "wish_pct ", "é" * 50)
CUTS = ("NaN", "Infinity", "}", '"', "\\u0000", "1e999", "[[[[")


class Lan:
    """The network's side: the port, what is counted, and ways to talk."""

    def __init__(self, port, seed):
        import random

        self.port = port
        self.random = random.Random(seed)
        self.problems = []

    def connect(self, source="127.0.0.1", timeout=ANSWER_S):
        import socket

        return socket.create_connection(("127.0.0.1", self.port), timeout, (source, 0))

    def tell(self, data, source="127.0.0.1"):
        """Send these bytes, return the answer; what was said before a reset, or nothing."""
        got = b""
        try:
            with self.connect(source) as caller:
                caller.sendall(data)
                while piece := caller.recv(65536):
                    got += piece
        except OSError:  # a reset is an answer, too: refused
            return got
        return got

    def status(self, data, source="127.0.0.1"):
        """The answer's status, 0 for none."""
        words = self.tell(data, source).split(b" ", 2)
        return int(words[1]) if len(words) > 1 else 0

    def look(self):
        """What the board holds when asked in peace."""
        import json
        import time

        deadline = time.monotonic() + 40
        while time.monotonic() < deadline:
            answer = self.tell(request("GET", "/test-look"), HONEST)
            if answer.startswith(b"HTTP/1.0 200"):
                state = json.loads(answer.split(b"\r\n\r\n", 1)[1])
                if state["callers"] <= 1:
                    return state
            time.sleep(0.5)
        self.problems.append("the board did not come to rest")
        return {"live": 0, "calls": 0, "callers": 0, "unsound": ""}

    def expect(self, what, good):
        """Note what did not hold."""
        if not good:
            self.problems.append(what)

    def honest(self, what):
        """The owner at another address, trying like a person: is the whole page answered within ten seconds?"""
        import time

        began = time.monotonic()
        while time.monotonic() - began < ANSWER_S:
            page = self.tell(request("GET", "/"), HONEST)
            if page.startswith(b"HTTP/1.0 200") and page.rstrip().endswith(b"</html>"):
                return time.monotonic() - began
            time.sleep(0.2)
        self.problems.append("the owner got no page during: " + what)
        return ANSWER_S


def request(method, path, headers=(), body=b"", host="127.0.0.1"):
    """Bytes of a request as a browser sends it."""
    lines = [method + " " + path + " HTTP/1.1", "Host: " + host]
    if method == "POST":
        lines += ["Origin: http://" + host, "Content-Type: application/json", "Content-Length: %d" % len(body)]
    return ("\r\n".join(lines + list(headers)) + "\r\n\r\n").encode() + body


def idle_crowd(lan, counts):
    """Connections that say nothing."""
    crowd = []
    for _ in range(counts["idle"]):
        try:
            crowd.append(lan.connect())
        except OSError:  # the backlog is full: refused as well
            lan.random.random()
    took_s = lan.honest("%d idle callers" % counts["idle"])
    for caller in crowd:
        caller.close()
    return "%d opened, the owner's page after %.1f s" % (len(crowd), took_s)


def endless(lan, counts):
    """Lines, headers and bodies without end."""
    found = {}
    for _ in range(counts["lines"]):
        for data in (
            b"GET /" + b"x" * 100000,
            b"GET / HTTP/1.1\r\nX: " + b"y" * 100000,
            b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 400 + b"\r\n",
            request("POST", "/login").replace(b"Length: 0", b"Length: 10000000") + b"z" * 10000000,
            request("POST", "/login").replace(b"Content-Length: 0", b"Transfer-Encoding: chunked") + b"ffff\r\n" * 999,
        ):
            status = lan.status(data)
            found[status] = found.get(status, 0) + 1
            lan.expect("an endless request got %d" % status, status in (0, 411, 413, 414, 431))
    lan.honest("endless requests")
    return "statuses (0: reset) %s" % dict(sorted(found.items()))


def slow(lan, counts):
    """One byte a second, and readers that do not read."""
    import time

    callers = [lan.connect() for _ in range(counts["slow"])]
    lazy = [lan.connect("127.0.0.3") for _ in range(2)]
    for caller in lazy:
        caller.sendall(request("GET", "/"))
    ended = time.monotonic() + counts["slow_s"]
    text = request("GET", "/")
    n = 0
    closed = 0
    while time.monotonic() < ended:
        for caller in list(callers):
            try:
                caller.sendall(text[n % len(text) : n % len(text) + 1])
                caller.settimeout(0.01)
                caller.recv(100)  # returns where it was told why, or closed
            except TimeoutError:
                continue
            except OSError:  # reset
                caller.close()
            callers.remove(caller)
            closed += 1
        n += 1
        time.sleep(1)
    lan.honest("slow callers")
    lan.expect("slow callers stayed: %d of %d" % (len(callers), counts["slow"]), closed >= counts["slow"] - 1)
    for caller in callers + lazy:
        caller.close()
    return "%d of %d cut off" % (closed, counts["slow"])


def noise(lan, counts):
    """Random bytes, and requests with some bytes changed."""
    plain = request("POST", "/settings", body=b'{"values":{"wish_pct":20}}')
    found = {}
    for n in range(counts["noise"]):
        if n % 2:
            data = bytes(lan.random.randrange(256) for _ in range(lan.random.randrange(1, 600))) + b"\n\n"
        else:
            changed = bytearray(plain)
            for _ in range(lan.random.randrange(1, 6)):
                changed[lan.random.randrange(len(changed))] = lan.random.randrange(256)
            data = bytes(changed)
        with lan.connect() as caller:
            caller.sendall(data)
            caller.shutdown(1)
            try:
                words = caller.recv(4096).split(b" ", 2)
            except OSError:  # reset
                words = []
        status = int(words[1]) if len(words) > 1 else 0
        found[status] = found.get(status, 0) + 1
        lan.expect("noise got %d" % status, status != 200 and status < 500)
    return "statuses %s" % dict(sorted(found.items()))


def strangers(lan, counts):
    """Other names, other origins, no login, false signs."""
    paths = ("/settings", "/look", "/window", "/clear", "/rearm", "/run", "/leave")
    body = b'{"look":"fog","here":true,"seconds":60,"values":{"wish_pct":20}}'
    for n in range(counts["names"]):
        host = "".join(lan.random.choice("abcdefgh.:0123456789-") for _ in range(1 + n % 40))
        lan.expect("host %r" % host, lan.status(request("GET", "/", host=host)) == 421)
        path = paths[n % len(paths)]
        origin = request("POST", path, body=body).replace(b"Origin: http://", b"Origin: http://evil.")
        lan.expect("a foreign origin", lan.status(origin) == 403)
        lan.expect("no login at " + path, lan.status(request("POST", path, body=body)) == 403)
        cookie = "Cookie: dewmargin=%032x" % lan.random.getrandbits(128)
        sign = "X-Dew-Sign: %d:%064x" % (n + 1, lan.random.getrandbits(256))
        lan.expect("a false sign", lan.status(request("POST", path, [cookie, sign], body)) == 403)
        lan.expect("a GET", lan.status(request("GET", path)) in (404, 405))
    return "%d requests refused" % (5 * counts["names"])


def ask(lan, source):
    """A nonce for this address."""
    import json

    answer = lan.tell(request("POST", "/ask", body=b"{}"), source)
    return json.loads(answer.split(b"\r\n\r\n", 1)[1])["nonce"]


def guesses(lan, counts):
    """Guesses of the password, from changing addresses."""
    import json

    found = {}
    for n in range(counts["guesses"]):
        source = "127.0.%d.%d" % (1 + n // 200 % 200, 1 + n % 200)
        nonce = ask(lan, source)
        body = json.dumps({"nonce": nonce, "proof": "%064x" % lan.random.getrandbits(256)}).encode()
        status = lan.status(request("POST", "/login", body=body), source)
        found[status] = found.get(status, 0) + 1
    lan.expect("more than 30 guesses were looked at: %s" % found, found.get(403, 0) <= 30)
    lan.expect("a guess got in", set(found) <= {403, 429})
    return "statuses %s" % dict(sorted(found.items()))


def log_in(lan):
    """(cookie, key) of the owner, at his own address."""
    import hashlib
    import hmac
    import json

    import page_client

    nonce = ask(lan, HONEST)
    tag = hmac.digest(page_client.STORED, nonce.encode(), "sha256")
    proof = bytes(a ^ b for a, b in zip(page_client.CLIENT_KEY, tag))
    body = json.dumps({"nonce": nonce, "proof": proof.hex()}).encode()
    answer = lan.tell(request("POST", "/login", body=body), HONEST).decode()
    lan.expect("the owner could not log in: " + answer[:40], answer.startswith("HTTP/1.0 200"))
    cookie = answer.partition("dewmargin=")[2].partition(";")[0]
    return cookie, hmac.digest(page_client.STORED, b"session " + nonce.encode(), hashlib.sha256)


def fuzzed(lan):
    """One body for /settings, mostly wrong."""
    import json

    from dewcore.settings import TABLE

    values = {}
    for _ in range(lan.random.randrange(1, 4)):
        row = lan.random.choice(TABLE)
        name = row[0] if lan.random.random() < 0.9 else lan.random.choice(NAMES)
        within = row[3] + (row[4] - row[3]) * lan.random.random()
        near = (row[2], row[3], row[4], row[3] - 1, row[4] + 1, within, int(within))
        values[name] = lan.random.choice(near if lan.random.random() < 0.7 else WRONG)
    text = json.dumps({"values": values})
    if lan.random.random() < 0.2:
        at = lan.random.randrange(len(text))
        text = text[:at] + lan.random.choice(CUTS) + text[at + 1 :]
    return text.encode()


def settings(lan, counts):
    """Fuzzed settings from somebody who is logged in."""
    import hmac

    cookie, key = log_in(lan)
    found = {}
    for n in range(1, counts["settings"] + 1):
        body = fuzzed(lan)
        tag = hmac.digest(key, b"%d\n/settings\n" % n + body, "sha256").hex()
        headers = ["Cookie: dewmargin=" + cookie, "X-Dew-Sign: %d:%s" % (n, tag)]
        status = lan.status(request("POST", "/settings", headers, body), HONEST)
        found[status] = found.get(status, 0) + 1
    lan.expect("settings got %s" % found, set(found) <= {200, 400, 422})
    return "statuses %s" % dict(sorted(found.items()))


ATTACKS = (idle_crowd, endless, slow, noise, strangers, guesses)


def attack(lan, counts, kept_bytes):
    """All attacks, the board looked at after each."""
    import time

    log_in(lan)  # his address is known from now on: other people's guesses do not make him wait
    before = lan.look()
    for one in ATTACKS + (settings,):
        began = time.monotonic()
        text = one(lan, counts)
        after = lan.look()
        print("%-11s %6.1f s  live %d  %s" % (one.__name__, time.monotonic() - began, after["live"], text), flush=True)
        if one is ATTACKS[0]:
            before = after  # what is made once has been made by now
        lan.expect("memory did not come back after " + one.__name__, after["live"] <= before["live"] + kept_bytes)
        lan.expect("the settings are unsound: " + after["unsound"], after["unsound"] == "")
        lan.expect("something changed without login", one is settings or after["calls"] == 0)
    lan.tell(request("GET", "/test-stop"), HONEST)


def judge(lan, text, took_s):
    """Print the beats' figures and what did not hold; the exit status.  took_s: from the first beat's start on."""
    import re

    beats = re.search(r"^beats (\d+) (\d+) (\d+)$", text, re.M)
    if not beats:
        print("hostile_lan: the board did not end well:\n" + text, file=sys.stderr)
        return 1
    count, late_ms, latest_ms = [int(found) for found in beats.groups()]
    print("%d beats in %.1f s: 99 in 100 at most %d ms late, the latest %d ms" % (count, took_s, late_ms, latest_ms))
    print(text[text.index("refused {") :].strip())
    lan.expect("beats were late", late_ms <= LATE_MS and latest_ms <= LATEST_MS)
    lan.expect("not a beat a second: %d in %.1f s" % (count, took_s), abs(count - took_s) <= APART_S)
    lan.expect("something on the board ended in a traceback:\n" + text, "Traceback" not in text)
    for problem in sorted(set(lan.problems)):
        print("NOT KEPT: " + problem)
    print("hostile_lan: " + ("BROKEN" if lan.problems else "all kept"))
    return 1 if lan.problems else 0


def main(arguments) -> int:
    """Runs on CPython: starts the board on MicroPython and attacks it."""
    import argparse
    import tempfile
    from pathlib import Path

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--short", action="store_true", help="some seconds instead of some minutes")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--heap", type=float, help="kB for the firmware (default: 130, twice that with 64-bit words)")
    chosen = parser.parse_args(arguments)
    root = Path(__file__).resolve().parents[2]
    sys.path[:0] = [str(root / name) for name in ("vendor/microdot", "tests/acceptance", "tests/board")]
    from board_tools import DESIGN_BYTES, RomBoard

    with tempfile.TemporaryDirectory() as folder:
        programs = ("parts_board", "loaded_board", "page_client", "page_app", "hostile_board")
        board = RomBoard("hostile_lan", Path(folder), programs)
        return play(board, chosen, int(chosen.heap * 1000) if chosen.heap else DESIGN_BYTES * board.words)


def play(board, chosen, own) -> int:
    """Start the board on so many bytes of its own, attack it, judge."""
    import socket
    import subprocess
    import time

    simulated = board.simulated("hostile_board")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    lan = Lan(port, chosen.seed)
    print("%s; seed %d" % (board.said(own, simulated), chosen.seed), flush=True)
    with subprocess.Popen(
        board.command(own, "import hostile_board\nhostile_board.serve(%d)" % port, simulated),
        env=board.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        try:
            line = process.stdout.readline()
            if line != "ready\n":
                print("hostile_lan: the board did not start: " + line + process.communicate()[0], file=sys.stderr)
                return 1
            began = time.monotonic()
            attack(lan, SHORT if chosen.short else FULL, KEPT_BYTES * board.words)
            took_s = time.monotonic() - began
            text = process.communicate(timeout=60)[0]
        finally:
            process.kill()
    return judge(lan, text, took_s)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
