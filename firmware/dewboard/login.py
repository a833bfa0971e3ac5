"""Who may change things: the owner's password, the proof of knowing it, sessions, and what guessing costs.

The password never leaves the browser, and the board never learns it.  With HMAC and H of SHA-256 (FIPS 180-4,
RFC 2104), after RFC 5802 section 3, where the board is the server:

    salted = PBKDF2(password, salt, rounds)   RFC 8018 section 5.2, HMAC-SHA-256, 32 bytes
    client = HMAC(salted, "Client Key")
    stored = H(client)                        with salt and rounds all that the board keeps; it opens nothing
    proof  = client XOR HMAC(stored, nonce)   answers the board's nonce, once
    key    = HMAC(stored, "session " nonce)   of the session; both sides know it, it never travels
    sign   = HMAC(key, number newline path newline body)   of each change, its number higher than the last one's

So who listens on the network can read the page and the changes, but can neither log in, nor change, nor repeat
anything.  The first `stored` crosses masked with a secret that only browser and board share (curve.py), a later one
masked with the session's key.  Who can alter what passes, and not only listen, is held off by none of this.

Of the length of a password the board learns nothing; that is for the browser.  What it can refuse is a salt that is
old or no draw.

There is no default password.  The first one can be set within PRESS_S of a press of a button on the board; holding
both buttons forgets it.  An address has FREE wrong tries, then waits, twice as long for each further one.  All
addresses that never logged in since the start share a second such wait; a press of a button lifts it for some tries.

Login(app) needs of app: now_s [s], pressed_s (last press of a button [s], -1 never), events.add(text),
keep with load_login() -> bytes or None, store_login(bytes).
"""

import os
from binascii import hexlify, unhexlify
from hashlib import sha256

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App

IMAGE = 1  # version of what is stored
IMAGE_BYTES = 1 + 4 + 16 + 32
ROUNDS = 200000  # half a second in a desktop browser, some seconds on an old phone
PRESS_S = 600
LEAST_BYTES = 6  # different ones in a salt of 16: a draw has fewer once in 3 * 10^17 (all draws counted)
SESSIONS = 3
SESSION_S = 1800

FREE = 5  # wrong tries without a wait
FIRST_WAIT_S = 5
LONGEST_WAIT_S = 300
FORGIVEN_S = 3600  # after so long without a wrong try all is forgotten
ADDRESSES = 8  # whose wrong tries are remembered
KNOWN = 2  # addresses that logged in and so keep out of the wait of all others
STALE = "That took too long, or another login came between: try again."
PRESS_TRIES = 10  # that one press lifts the wait of all others for


def hmac_sha256(key: bytes, message: bytes) -> bytes:
    """HMAC of RFC 2104 with SHA-256; key of at most 64 bytes."""
    key = key + bytes(64 - len(key))
    inner = sha256(bytes([byte ^ 0x36 for byte in key]))
    inner.update(message)
    outer = sha256(bytes([byte ^ 0x5C for byte in key]))
    outer.update(inner.digest())
    return outer.digest()


def same(a: bytes, b: bytes) -> bool:
    """Whether two are equal, in a time that does not tell where they differ."""
    if len(a) != len(b):
        return False
    differ = 0
    for n in range(len(a)):
        differ |= a[n] ^ b[n]
    return differ == 0


def xor(a: bytes, b: bytes) -> bytes:
    """Two of the same length, bit by bit."""
    return bytes([a[n] ^ b[n] for n in range(len(a))])


def from_hex(text: object, size: int) -> bytes:
    """The bytes that a text of 2 * size hexadecimal digits tells; empty for anything else."""
    if not isinstance(text, str) or len(text) != 2 * size:
        return b""
    for digit in text:
        if digit not in "0123456789abcdef":
            return b""
    return unhexlify(text)


def to_hex(data: bytes) -> str:
    """Bytes as hexadecimal digits."""
    return hexlify(data).decode()


class Wait:
    """How long the next try has to wait: not at all, then doubling from FIRST_WAIT_S to LONGEST_WAIT_S."""

    __slots__ = ("address", "failures", "until_s", "failed_s")

    def __init__(self, address: str = "") -> None:
        self.address: str = address
        self.failures: int = 0
        self.until_s: int = 0
        self.failed_s: int = 0

    def failed(self, now_s: int) -> None:
        """A wrong try at now_s [s]."""
        if now_s - self.failed_s > FORGIVEN_S:
            self.failures = 0
        self.failures += 1
        self.failed_s = now_s
        if self.failures >= FREE:
            doublings = min(self.failures - FREE, 10)
            self.until_s = now_s + min(LONGEST_WAIT_S, FIRST_WAIT_S << doublings)

    def left_s(self, now_s: int) -> int:
        """Seconds to wait yet."""
        return max(0, self.until_s - now_s)


class Session:
    """One logged-in browser: its cookie, its key, how long it lasts [s], its last change's number."""

    __slots__ = ("cookie", "key", "until_s", "number")

    def __init__(self, key: bytes, until_s: int) -> None:
        self.cookie: str = to_hex(os.urandom(16))
        self.key: bytes = key
        self.until_s: int = until_s
        self.number: int = 0


class Login:
    """Password, sessions and waits of one board."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self.salt = b""
        self.stored = b""
        self.rounds = ROUNDS
        self.sessions = []
        self.secret = os.urandom(16)  # so that nonces need no memory
        self.asked = 0
        self.used = 0  # nonces up to this number are worth nothing any more
        self.known = []
        self.others = []
        self.strangers = Wait()
        self.press_s = -1
        self.press_tries = 0
        image = app.keep.load_login()
        if image and len(image) == IMAGE_BYTES and image[0] == IMAGE:
            self.rounds = int.from_bytes(image[1:5], "little")
            self.salt = image[5:21]
            self.stored = image[21:]

    def is_set(self) -> bool:
        """Whether there is a password."""
        return len(self.stored) == 32

    def pressed(self) -> bool:
        """Whether a button on the board was pressed a short while ago."""
        return self.app.pressed_s >= 0 and 0 <= self.app.now_s - self.app.pressed_s <= PRESS_S

    # -- setting and forgetting

    def set_first(self, salt: bytes, stored: bytes) -> str:
        """Set the password where there is none; the refusal, or an empty text."""
        if self.is_set():
            return "A password is set already. Hold both buttons on the board to forget it."
        if not self.pressed():
            return "Press a button on the board first, then set the password within 10 minutes."
        return self._keep(salt, stored, "password set")

    def change(self, session: "Session", number: int, salt: bytes, masked: bytes) -> str:
        """Set another password, `stored` masked with the session's key; the refusal, or an empty text."""
        if len(masked) != 32:
            return "The new password came damaged: try again."
        mask = hmac_sha256(session.key, b"password " + str(number).encode())
        return self._keep(salt, xor(masked, mask), "password changed")

    def _keep(self, salt: bytes, stored: bytes, event: str) -> str:
        if len(salt) != 16 or len(stored) != 32:
            return "The new password came damaged: try again."
        if salt == self.salt or len(set(salt)) < LEAST_BYTES:
            return "The salt must be a new random one: try again."
        self.app.keep.store_login(bytes([IMAGE]) + ROUNDS.to_bytes(4, "little") + salt + stored)
        self.rounds = ROUNDS
        self.salt = salt
        self.stored = stored
        self.sessions.clear()
        self.used = self.asked
        self.app.events.add(event)
        return ""

    def forget(self) -> None:
        """Both buttons were held: no password any more, nobody logged in."""
        self.app.keep.store_login(b"")
        self.salt = self.stored = b""
        self.sessions.clear()
        self.known.clear()
        self.used = self.asked
        self.app.events.add("password forgotten, both buttons held")

    # -- logging in

    def ask(self, address: str) -> dict:
        """What a browser needs for its proof; keeps nothing but a count."""
        self.asked += 1
        return {"salt": to_hex(self.salt), "rounds": self.rounds, "nonce": self._nonce(self.asked, address)}

    def _nonce(self, number: int, address: str) -> str:
        tag = hmac_sha256(self.secret, (str(number) + " " + address).encode())
        return str(number) + "." + to_hex(tag[:16])

    def _number(self, nonce: object, address: str) -> int:
        """The number of a nonce of ours for this address that is still worth something, else 0."""
        if not isinstance(nonce, str) or len(nonce) > 50:
            return 0
        digits = nonce.split(".")[0]
        if not 0 < len(digits) <= 9 or not digits.isdigit():
            return 0
        number = int(digits)
        good = same(nonce.encode(), self._nonce(number, address).encode())
        return number if good and self.used < number <= self.asked else 0

    def wait_s(self, address: str) -> int:
        """How long a try from this address has to wait [s]."""
        now_s = self.app.now_s
        own_s = self._wait_of(address).left_s(now_s)
        if self._is_known(address):
            return own_s
        if self.pressed() and (self.press_s != self.app.pressed_s or self.press_tries < PRESS_TRIES):
            return own_s
        return max(own_s, self.strangers.left_s(now_s))

    def enter(self, address: str, nonce: object, proof: object) -> "Session | str":
        """A session for a right proof, else the refusal.  wait_s(address) must be 0."""
        if not self.is_set():
            return "No password is set yet."
        number = self._number(nonce, address)
        if number == 0 or not isinstance(nonce, str):
            return STALE
        self._count_press(address)
        given = from_hex(proof, 32)
        client = xor(given, hmac_sha256(self.stored, nonce.encode())) if given else b""
        if not same(sha256(client).digest(), self.stored):
            self._failed(address)
            return "That is not the password."
        self.used = number
        self._succeeded(address)
        key = hmac_sha256(self.stored, b"session " + nonce.encode())
        session = Session(key, self.app.now_s + SESSION_S)
        self._drop_old()
        if len(self.sessions) >= SESSIONS:
            self.sessions.pop(0)
        self.sessions.append(session)
        self.app.events.add("login from " + address)
        return session

    def _count_press(self, address: str) -> None:
        """Spend one of the tries that a press of a button lifts the strangers' wait for."""
        if self.strangers.left_s(self.app.now_s) and not self._is_known(address):
            if self.press_s != self.app.pressed_s:
                self.press_s = self.app.pressed_s
                self.press_tries = 0
            self.press_tries += 1

    def _is_known(self, address: str) -> bool:
        for wait in self.known:
            if wait.address == address:
                return True
        return False

    def _wait_of(self, address: str) -> "Wait":
        """The wait of an address; a new one, kept nowhere yet, for an address never seen failing."""
        for waits in (self.known, self.others):
            for wait in waits:
                if wait.address == address:
                    return wait
        return Wait(address)

    def _failed(self, address: str) -> None:
        now_s = self.app.now_s
        wait = self._wait_of(address)
        wait.failed(now_s)
        if not self._is_known(address):
            self.strangers.failed(now_s)
            if wait not in self.others:
                if len(self.others) >= ADDRESSES:
                    self.others.pop(0)
                self.others.append(wait)
        if wait.failures >= FREE:
            self.app.events.add("%d wrong passwords from %s" % (wait.failures, address))

    def _succeeded(self, address: str) -> None:
        """Wrong tries of this address are forgotten; it is known from now on."""
        for waits in (self.known, self.others):
            for wait in list(waits):
                if wait.address == address:
                    waits.remove(wait)
        if len(self.known) >= KNOWN:
            self.known.pop(0)
        self.known.append(Wait(address))

    # -- sessions

    def _drop_old(self) -> None:
        for session in list(self.sessions):
            if self.app.now_s >= session.until_s:
                self.sessions.remove(session)

    def session_of(self, cookie: object) -> "Session | None":
        """The session that a cookie's value names, while it lasts."""
        self._drop_old()
        for session in self.sessions:
            if isinstance(cookie, str) and same(session.cookie.encode(), cookie.encode()):
                return session
        return None

    def signed(self, session: "Session", sign: str, path: str, body: bytes) -> int:
        """The number of a change that bears the session's sign, as `number:hex`; 0 where it does not.  Counts once."""
        digits, _, tag = sign.partition(":")
        given = from_hex(tag, 32)
        if not given or not 0 < len(digits) <= 15 or not digits.isdigit():
            return 0
        number = int(digits)
        wanted = hmac_sha256(session.key, (digits + "\n" + path + "\n").encode() + body)
        if not same(given, wanted) or number <= session.number:
            return 0
        session.number = number
        session.until_s = self.app.now_s + SESSION_S
        return number

    def leave(self, session: "Session") -> None:
        """Log out."""
        self.sessions.remove(session)
