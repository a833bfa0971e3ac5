"""Whether the release that runs is as it was installed: every file's SHA-256 against the list that came with it.

A release is one of the folders RELEASES, or the image mounted as ROM.  Its file `files` has a line of each file,
"SHA-256  path" (what `sha256sum` prints), and its file `release`, which an image has not, the number of the release.
Anything else in the folder could stand before a module of the same name, and counts as wrong.  A program that lies
elsewhere came without a list: nothing is compared.
"""

import hashlib
import os
from binascii import hexlify

RELEASES = ("a", "b")
ROM = "rom"
LIST = "files"
NUMBER = "release"
SHIM = "benchshim"
PIECE_BYTES = 512
FOLDER_BIT = 0x4000  # in the mode that os.stat tells
MOST_TOLD = 40


def problem(file: str = __file__) -> str:
    """What is wrong with the release that `file` (this module) belongs to, "" where nothing; below a second."""
    folder = folder_of(file)
    return differs(folder) if folder else ""


def has_shim(file: str = __file__) -> bool:
    """Whether the bench shim came with this release."""
    folder = folder_of(file)
    return bool(folder) and SHIM in os.listdir(folder)


def folder_of(file: str) -> str:
    """The release's folder that a module of it lies in, "" where it came otherwise."""
    parts = file.replace("\\", "/").split("/")
    return "/".join(parts[:-2]) if len(parts) > 2 and parts[-3] in RELEASES + (ROM,) else ""


def differs(folder: str) -> str:
    """What is wrong with the release in `folder`, "" where nothing."""
    listed = {LIST, NUMBER}
    try:
        with open(folder + "/" + LIST, "rb") as lines:
            for line in lines:
                name = line[66:-1].decode()
                if len(line) < 68 or line[64:66] != b"  " or line[-1:] != b"\n":
                    return LIST + ": damaged"
                if sha256(folder + "/" + name) != line[:64]:
                    return name + ": not as it was installed"
                listed.add(name)
                listed.add(name.rpartition("/")[0])
        return _foreign(folder, len(folder) + 1, listed)
    except (OSError, ValueError) as why:  # ValueError: bytes that are no text
        return "not readable, " + repr(why)


def sha256(path: str) -> bytes:
    """A file's SHA-256 in hex; b"" where there is no such file."""
    total = hashlib.sha256()
    piece = bytearray(PIECE_BYTES)
    view = memoryview(piece)
    try:
        with open(path, "rb") as file:
            got = file.readinto(piece)
            while got:
                total.update(view[:got])
                got = file.readinto(piece)
    except OSError:
        return b""
    return hexlify(total.digest())


def _foreign(folder: str, start: int, listed: set) -> str:
    """The first file or folder in `folder` that the list does not know; names in it begin at `start` of a path."""
    for name in os.listdir(folder):
        path = folder + "/" + name
        if path[start:] not in listed:
            return path[start : start + MOST_TOLD] + ": does not belong to the release"
        if os.stat(path)[0] & FOLDER_BIT:
            wrong = _foreign(path, start, listed)
            if wrong:
                return wrong
    return ""
