"""The serial line to a board at its prompt: mpremote's transport, with each failure one line of what to do."""

import ast
import errno
import io
import struct
import time
from contextlib import redirect_stdout, suppress
from pathlib import Path

from dewboard import pins
from dewsim.errors import InputError, shown
from dewsim.install_files import TOOLS

CONNECT_S = 15.0  # a reset, the port gone and back, and the window of 3 s after it
TRY_S = 0.6
QUIET_S = 0.3
REPLY_S = 5.0  # for the next byte of a board that was at its prompt
LINE_S = 1.0  # for the rest of a line
CHUNK_BYTES = 2048
AGAIN = "nothing was switched, so plug it in anew and run the same command again"
ROOM = "what is there stays in charge; remove files that are not the board's own"
FACTS = """
import gc, os, sys
for name in list(sys.modules):
    if name.split(".")[0] in ("dewboard", "dewcore", "microdot"):
        del sys.modules[name]
sys.path[:] = [place for place in sys.path if place not in ("a", "b") and not place.startswith("/rom")]
try:
    import network
    wireless = hasattr(network, "WLAN")
except ImportError:
    wireless = False
gc.collect()
i, v = sys.implementation, os.statvfs(os.getcwd())
print(repr((i.name, tuple(i.version[:3]), sys.platform, getattr(i, "_machine", ""), getattr(i, "_mpy", 0),
    gc.mem_free(), v[0] * v[3], wireless)))
"""
ROM_SIZE = """
import vfs
try:
    part = vfs.rom_ioctl(2, 0)
    print(repr((part.ioctl(4, 0), part.ioctl(5, 0))))
except AttributeError:  # no ROM partition, or none that is written in blocks
    print("(0, 0)")
"""
FRESH = f"from machine import Pin\nPin({pins.RELAY}, Pin.OUT, value=0)\n"
CONTACT = f"""
import time
from machine import Pin
relay = Pin({pins.RELAY}, Pin.OUT, value=0)
load = Pin({pins.LOAD_SENSE}, Pin.IN, Pin.PULL_UP)
lit = 0
for n in range(600):
    lit += 1 - load.value()
    time.sleep_us(100)
print(relay.value(), lit)
"""
WALK = """
import hashlib, os
from binascii import hexlify
def walk(folder, start):
    for row in os.ilistdir(folder):
        path = folder + "/" + row[0]
        if row[1] & 0x4000:
            print("-", path[start:])
            walk(path, start)
        else:
            total = hashlib.sha256()
            with open(path, "rb") as file:
                piece = file.read(512)
                while piece:
                    total.update(piece)
                    piece = file.read(512)
            print(hexlify(total.digest()).decode(), path[start:])
"""


class Link:
    """One port.  connect() first; reset() and close() at the end.  again: what to do where the board is gone."""

    def __init__(self, port: str, again: str = AGAIN):
        try:
            from mpremote import transport, transport_serial
        except ImportError:
            raise InputError(f"mpremote: not installed; {TOOLS}") from None
        self.port = port
        self.again = again
        self.open_transport = transport_serial.SerialTransport
        self.refused = transport.TransportExecError
        self.silent = (transport.TransportError, OSError, struct.error, ValueError)
        self.transport = None

    def connect(self) -> None:
        """Stop what runs and wait for the prompt: a running program resets the board, whose window takes any key."""
        deadline_s = time.monotonic() + CONNECT_S
        if not self.port:
            raise InputError(f"port: found no name; {ports()}")
        if not self.port.upper().startswith("COM") and not Path(self.port).exists():
            raise InputError(f"{shown(self.port)}: there is no such port; {ports()}")
        is_late = False  # answers to earlier tries may still come
        while True:
            try:
                if self.transport is None:
                    self.transport = self.open_transport(self.port, timeout=TRY_S)
                with redirect_stdout(io.StringIO()):  # the transport prints what it did not expect
                    self.transport.enter_raw_repl(soft_reset=False, timeout_overall=TRY_S)
                if not is_late:
                    self.transport.serial.timeout = REPLY_S
                    return
                self._let_quiet()
                is_late = False
            except self.silent as problem:
                is_late = True
                if isinstance(problem, OSError):
                    self.close()
                if time.monotonic() > deadline_s:
                    raise InputError(self._no_prompt(problem)) from None
                time.sleep(0.1)

    def _let_quiet(self) -> None:
        """Drop what comes until nothing does."""
        serial = self.transport.serial
        serial.timeout = QUIET_S
        while serial.read(1):
            serial.read(serial.inWaiting())
        serial.timeout = TRY_S

    def _no_prompt(self, problem: Exception) -> str:
        if self.transport is None:
            return (
                f"{shown(self.port)}: cannot be opened ({shown(str(problem))}); close other programs that use it, and "
                "see that you may use serial ports (on Debian: group dialout)"
            )
        return (
            f"{shown(self.port)}: no MicroPython answers; run this again, and unplug the board and plug it in while it "
            "waits; if that does not help, put MicroPython 1.26 or newer on it as its maker describes"
        )

    def ask(self, what: str, do):
        """do(), and a board that refuses or is gone as one line."""
        try:
            return do()
        except self.refused as problem:
            lines = problem.error_output.strip().splitlines() or ["it does not say why"]
            raise InputError(f"{self.port}: {what} fails on the board ({shown(lines[-1])}); {self.again}") from None
        except self.silent as problem:
            if getattr(problem, "errno", None) == errno.ENOSPC:
                raise InputError(f"{self.port}: {what}: its flash is full; {ROOM}") from None
            reason = shown(str(problem)) or type(problem).__name__
            self.close()
            raise InputError(f"{self.port}: the board is gone while {what} ({reason}); {self.again}") from None

    def run(self, what: str, code: str, timeout_s: float = 10.0) -> str:
        """What a piece of code prints on the board; timeout_s: how long it may be silent."""

        def do() -> bytes:
            told, wrong = self.transport.exec_raw(code, timeout_s)
            if wrong:
                raise self.refused(told, wrong.decode("utf-8", "replace"))
            return told

        return self.ask(what, do).decode("utf-8", "replace").replace("\r", "")

    def send_off(self, code: str) -> None:
        """Let a piece of code run that talks over the line itself, and never comes back to the prompt."""
        self.ask("starting it", lambda: self.transport.exec_raw_no_follow(code))

    def facts(self) -> tuple:
        """(name, version, platform, machine, mpy, free heap [bytes], free flash [bytes], wireless) of the board."""
        return ast.literal_eval(self.run("looking at the board", FACTS))

    def rom_bytes(self) -> tuple:
        """(bytes of the first ROM partition, of a block of it), (0, 0) where there is none."""
        count, block_bytes = ast.literal_eval(self.run("looking at its ROM", ROM_SIZE))
        return count * block_bytes, block_bytes

    def fresh(self) -> None:
        """Start the interpreter afresh, and no program with it: nothing in its memory points into ROM any more."""

        def do() -> None:
            with redirect_stdout(io.StringIO()):
                self.transport.enter_raw_repl(soft_reset=True, timeout_overall=CONNECT_S)

        self.ask("starting it without its program", do)
        self.run("opening the contact", FRESH)

    def contact(self) -> tuple:
        """(level of the relay's pin after it was taken low, reads of load_sense with power out of 600)."""
        level, lit = self.run("looking at the contact", CONTACT).split()
        return int(level), int(lit)

    def hashes(self, folder: str) -> tuple:
        """(SHA-256 by path, folders) in a folder of the board; nothing where there is none."""
        code = WALK + f"try:\n    walk({folder!r}, {len(folder) + 1})\nexcept OSError:\n    pass\n"
        files, folders = {}, []
        for line in self.run("reading its files", code).splitlines():
            digest, name = line.split(" ", 1)
            if digest == "-":
                folders.append(name)
            else:
                files[name] = digest
        return files, folders

    def read(self, path: str) -> "bytes | None":
        """A file's bytes, None where there is none."""

        def do() -> "bytes | None":
            try:
                return bytes(self.transport.fs_readfile(path, CHUNK_BYTES))
            except FileNotFoundError:
                return None

        return self.ask(f"reading {path}", do)

    def write(self, path: str, data: bytes) -> None:
        """Write a whole file."""
        self.ask(f"writing {path}", lambda: self.transport.fs_writefile(path, data, CHUNK_BYTES))

    def reset(self) -> None:
        """Let the board start afresh, contact open; the line ends with it."""
        if self.transport is not None:
            with suppress(*self.silent):  # it may be gone before it has confirmed
                self.transport.exec_raw_no_follow("import machine\nmachine.reset()")
            self.close()

    def close(self) -> None:
        """Give the port back."""
        if self.transport is not None:
            with suppress(OSError):  # the port of a board that is gone cannot be closed in order
                self.transport.close()
            self.transport = None

    def listen(self, seconds: float) -> list:
        """The lines that begin within so many seconds; the port may be away for some of them."""
        until_s = time.monotonic() + seconds
        heard = b""
        while (left_s := until_s - time.monotonic()) > 0 or left_s > -LINE_S and heard[-1:] not in (b"", b"\n"):
            try:
                if self.transport is None:
                    self.transport = self.open_transport(self.port, timeout=TRY_S)
                heard += self.transport.serial.read(max(1, self.transport.serial.inWaiting()))
            except self.silent:
                self.close()
                time.sleep(0.1)
        self.close()
        text = heard.replace(b"\x04", b"").decode("utf-8", "replace")  # the prompt's end marks
        return [line.strip() for line in text.split("\n") if line.strip()]


def ports() -> str:
    """What could be typed instead."""
    from serial.tools import list_ports

    found = [port.device for port in list_ports.comports()]
    if found:
        return "name a port that is there: " + shown(", ".join(found))
    return "give the one that appears when the board is plugged in, none is there"
