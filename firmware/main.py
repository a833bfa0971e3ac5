"""Starts the board: contact open before anything else, then the newest whole release, out of a folder or out of ROM."""

from machine import Pin, reset

RELAY = Pin(2, Pin.OUT, value=0)  # contact open; 2 is dewboard.pins.RELAY

import sys  # noqa: E402

ROM = "/rom"  # MicroPython itself mounts there what looks like an image, and puts it on its path
RECORD = "rom-release"  # of the image that was installed: number, bytes, SHA-256; written last
STOPPED = "dewmargin: stopped: the program in ROM is not as it was installed; put it there anew: dewmargin install"
SAID_AGAIN_S = 10


def number(folder: str) -> int:
    """The number of the release in a folder, -1 where it is not whole: its file `release` is written last."""
    try:
        with open(folder + "/release", "rb") as file:
            text = file.read(10)
    except OSError:
        return -1
    return int(text) if len(text) == 9 and text[:8].isdigit() and text[8:] == b"\n" else -1


def record() -> tuple:
    """(number, bytes, SHA-256 in hex) of the release in ROM, the number -1 where none was installed."""
    try:
        with open(RECORD, "rb") as file:
            parts = file.read(84).split(b" ")
    except OSError:
        return (-1, 0, b"")
    sizes = [len(part) for part in parts]
    if sizes != [8, 8, 65] or not (parts[0] + parts[1]).isdigit() or parts[2][64:] != b"\n":
        return (-1, 0, b"")
    return (int(parts[0]), int(parts[1]), parts[2][:64])


def is_whole(size: int, digest: bytes) -> bool:
    """Whether ROM holds just the image that was installed; then it is what ROM's folder shows."""
    import hashlib
    from binascii import hexlify

    import vfs

    try:
        image = memoryview(vfs.rom_ioctl(2, 0))[:size]
    except (AttributeError, TypeError):  # a MicroPython without a ROM partition
        return False
    if hexlify(hashlib.sha256(image).digest()) != digest:
        return False
    try:
        vfs.umount(ROM)
    except OSError:
        pass  # it did not look like an image
    vfs.mount(getattr(vfs, "VfsRom")(image), ROM)  # by its name, as the type checker's stubs do not know it
    return True


def hold() -> None:
    """Nothing starts, the contact stays open; why is said again and again, for whoever comes to the serial line."""
    import time

    while True:
        print(STOPPED)
        time.sleep(SAID_AGAIN_S)


sys.path[:] = [place for place in sys.path if not place.startswith(ROM)]  # nothing of it runs that was not compared
newest = "b" if number("b") > number("a") else "a"
in_rom = record()
if in_rom[0] > number(newest):
    newest = ROM
    if not is_whole(in_rom[1], in_rom[2]):
        hold()
if newest == ROM or number(newest) >= 0:
    sys.path.insert(0, newest)

from dewboard.start import main  # noqa: E402

main(RELAY, reset)
