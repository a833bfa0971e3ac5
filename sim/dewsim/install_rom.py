"""The release as one image in a board's ROM partition, where it runs without being copied into memory.

There is room for one.  So the image before it is read first, and written back where the new one fails.  What makes an
image count is the record with its hash, written last: main.py starts nothing out of ROM that differs from it by a bit.
A power cut in between leaves a board that keeps its contact open and says why, or, where it was installed as files
before, the release in files.  The bench shim never goes into ROM.
"""

import binascii

from dewsim.errors import InputError
from dewsim.install_files import TOOLS, sha256
from dewsim.install_link import Link
from dewsim.install_place import ROM, drop_shim, numbers_on, rename, replace_main

RECORD = "rom-release"
TORN = (
    "the board has no whole program now and keeps its contact open, so plug it in anew and run the same command again"
)
LINE_BYTES = 768
SILENT_S = 30.0  # for erasing, and for the hash
OPEN = """
import hashlib, vfs
from binascii import a2b_base64, b2a_base64, hexlify
part = vfs.rom_ioctl(2, 0)
def put(n, text):
    data = a2b_base64(text)
    if part.ioctl(6, n):
        raise OSError("block " + str(n) + " cannot be erased")
    if data:
        part.writeblocks(n, data, 0)
def tell(size):
    view = memoryview(part)
    for n in range(0, size, {line}):
        print(b2a_base64(view[n : min(n + {line}, size)]).decode().strip())
def told_hash(size):
    print(hexlify(hashlib.sha256(memoryview(part)[:size]).digest()).decode())
def unmount():
    try:
        vfs.umount({rom!r})
    except OSError:
        pass
""".format(line=LINE_BYTES, rom=ROM)
MOUNT = f"unmount()\nvfs.mount(vfs.VfsRom(part), {ROM!r})\n"


def image(files: dict) -> bytes:
    """Files by path as MicroPython mounts them."""
    try:
        from mpremote.romfs import VfsRomWriter
    except ImportError:
        raise InputError(f"mpremote: not installed, or older than 1.25; {TOOLS}") from None
    writer = VfsRomWriter()
    folders = sorted({name.rpartition("/")[0] for name in files})
    for folder in folders:
        if folder:
            writer.opendir(folder)
        for name in sorted(files):
            if name.rpartition("/")[0] == folder:
                writer.mkfile(name.rpartition("/")[2], files[name])
        if folder:
            writer.closedir()
    return bytes(writer.finalise())


def record_text(number: int, data: bytes) -> bytes:
    """The record of an image."""
    return f"{number:08d} {len(data):08d} {sha256(data)}\n".encode()


def record_of(text: bytes) -> tuple:
    """(number, bytes, SHA-256) of a record, the number -1 where it is torn; as main.py reads it."""
    parts = text.split(b" ")
    if [len(part) for part in parts] != [8, 8, 65] or not (parts[0] + parts[1]).isdigit() or parts[2][64:] != b"\n":
        return (-1, 0, "")
    return (int(parts[0]), int(parts[1]), parts[2][:64].decode("ascii", "replace"))


class RomPlace:
    """The ROM partition as the place of a release, with the names that `dewsim.install_place.Place` has."""

    def __init__(self, link: Link, files: dict, block_bytes: int):
        self.link = link
        self.folder = ROM
        self.data = image(files)
        self.block_bytes = block_bytes
        self.record = link.read(RECORD) or b""
        in_rom, self.old_bytes, self.old_hash = record_of(self.record)
        self.numbers = {**numbers_on(link), ROM: in_rom}
        self.current = max(self.numbers, key=lambda folder: self.numbers[folder])  # the first of equals, as in main.py
        self.is_first = self.numbers[self.current] < 0
        self.is_alone = self.is_first
        self.number = max(0, self.numbers[self.current]) + 1
        self.was_whole = in_rom >= 0 and self._hash(self.old_bytes) == self.old_hash
        self.same = self.current == ROM and self.was_whole and self.old_hash == sha256(self.data)
        self.old: "bytes | None" = None  # the image before this one, once it is overwritten
        self.is_torn = False
        self.aside: "str | None" = None

    def fill(self, tell) -> None:
        """Make ROM hold the image and compare it; tell(share) hears of the progress."""
        self.aside = replace_main(self.link, self.is_first)  # first of all: another one would run what is half written
        if self.same:
            self.link.run("looking at its ROM", OPEN + MOUNT)
            return
        if self.was_whole:
            self.old = self._read(self.old_bytes)
        self.link.again, self.is_torn = TORN, True
        self._write(self.data, tell)

    def _hash(self, size: int) -> str:
        return self.link.run("comparing its ROM", OPEN + f"told_hash({size})", SILENT_S).strip()

    def _read(self, size: int) -> bytes:
        """So many bytes from the partition's beginning."""
        return binascii.a2b_base64(self.link.run("reading its ROM", OPEN + f"tell({size})", SILENT_S))

    def _write(self, data: bytes, tell) -> None:
        """The first block, by which MicroPython knows an image, is erased first and written last."""
        link, size = self.link, self.block_bytes
        link.fresh()
        link.run("preparing its ROM", OPEN + "unmount()\nput(0, b'')", SILENT_S)
        starts = [*range(size, len(data), size), 0]
        for n, at in enumerate(starts):
            text = binascii.b2a_base64(data[at : at + size].ljust(size, b"\xff"), newline=False)
            link.run("writing its ROM", f"put({at // size}, {text!r})", SILENT_S)
            tell((n + 1) / len(starts))
        if self._hash(len(data)) != sha256(data):
            raise InputError(
                f"{link.port}: the ROM partition does not read back as it was written; if it happens again its flash "
                f"is worn out: take another board; {link.again}"
            )
        link.run("mounting its ROM", MOUNT, SILENT_S)

    def after(self, problem: str) -> str:
        """What to say of a failure before the new release counted; the image before it is put back where it can be."""
        if not self.is_torn or self.link.transport is None:
            return problem
        problem = problem.removesuffix(TORN)
        if self.old is None:
            starts = "nothing starts now" if self.is_first or self.current == ROM else "the one before it starts again"
            return f"{problem}{starts}; put right what it names and run the same command again"
        try:
            self._write(self.old, lambda _: None)
        except InputError as second:
            return f"{problem}and it cannot be put back: {second}"
        return f"{problem}the release before it is back in ROM and starts again"

    def main_program(self) -> "str | None":
        """Where another program's main.py went, if there was one."""
        return self.aside

    def count(self) -> None:
        """The record, the last thing written: from now on the image is the one that starts."""
        if not self.same:
            self._store(record_text(self.number, self.data))
            self.is_torn = False

    def _store(self, text: bytes) -> None:
        self.link.write(RECORD + ".new", text)
        self.link.run("making the image count", rename(RECORD + ".new", RECORD))

    def drop_shim(self) -> bool:
        """No release with the bench shim stays, nor what a bench kept."""
        told = [drop_shim(self.link, folder) for folder in self.numbers if folder != ROM]
        self.is_alone = self.is_alone or self.old is None and max(numbers_on(self.link).values()) < 0
        return any(told)

    def take_back(self) -> None:
        """The release before this one counts again."""
        if self.old is None:
            self.link.run("taking it back", f"import os\nos.remove({RECORD!r})")
        else:
            self._write(self.old, lambda _: None)
            self._store(self.record)

    def summary(self) -> str:
        """What there is now."""
        if self.same:
            return f"this release is on the board already, as number {self.numbers[ROM]} in ROM"
        before = "it is the first" if self.is_first else "no other is left"
        if not self.is_alone and self.current != ROM:
            before = f"the one before it stays in folder {self.current}"
        return f"release {self.number} in ROM: an image of {len(self.data)} bytes; {before}"
