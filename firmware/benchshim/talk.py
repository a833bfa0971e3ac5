"""Lines between the bench and its board: each with its checksum, so that garbage and half lines are nothing.

    frame(text)  ->  bytes       "=", CRC-32 as 8 hex digits, the text in ASCII, end of line
    unframe(line) -> text        "" where it is no whole line of this kind
    Ears(poll, read)             .hear(wait_ms): the next whole line's text, "" where none came in time
"""

from binascii import crc32

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.shapes import Callable

HEAD = 9  # the mark, and the checksum
LONGEST = 4096  # bytes of a line; a longer one is garbage
BREAK = 3  # Ctrl-C: somebody wants this board
END = 10


def frame(text: str) -> bytes:
    """A line to send."""
    data = text.encode()
    return _head(data) + data + b"\n"


def unframe(line: bytes) -> str:
    """The text of a line that came, without its end."""
    data = line[HEAD:]
    return data.decode() if data and line[:HEAD] == _head(data) else ""


def _head(data: bytes) -> bytes:
    return b"=%08x" % (crc32(data) & 0xFFFFFFFF)


class Ears:
    """Collects bytes to lines, as many as there are now; never waits for the rest of one."""

    __slots__ = ("poll", "read", "heard")

    def __init__(self, poll: "Callable[[int], object]", read: "Callable[[int], bytes]") -> None:
        self.poll = poll
        self.read = read
        self.heard = bytearray()

    def hear(self, wait_ms: int) -> str:
        """A whole line's text; EOFError at Ctrl-C, which is in no line, and where nobody is left."""
        heard = self.heard
        for _ in range(LONGEST):  # so that no flood keeps the board from its line
            if not self.poll(wait_ms):
                break
            byte = self.read(1)
            if not byte or byte[0] == BREAK:
                raise EOFError("somebody wants this board")
            if byte[0] == END:
                line = bytes(heard)
                self.heard = heard = bytearray()
                text = unframe(line.rstrip(b"\r"))
                if text:
                    return text
            elif len(heard) < LONGEST:
                heard += byte
        return ""
