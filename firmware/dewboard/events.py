"""What happened lately, newest last and bounded; and what is counted over the board's whole life."""

import struct
from array import array

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewboard.shapes import Iterator

MOST = 24
TEXT_BYTES = 112  # as much as the board's own longest sentences take
# Name and unit; the order is that of the stored image, so that a new one goes to the end.
COUNTERS = (
    ("boots", "1"),
    ("watchdog_resets", "1"),
    ("valve_starts", "1"),
    ("valve_open_s", "s"),
    ("missed_beats", "1"),
    ("failed_beats", "1"),
    ("restarted_tasks", "1"),
)


class Events:
    """The last MOST pairs (monotonic now_s, text); iterating goes from the newest to the oldest.

    All room is taken at the start: texts that come over the weeks would leave the heap in ever smaller pieces.
    count: how many there ever were.
    """

    __slots__ = ("app", "count", "at_s", "sizes", "texts")

    def __init__(self, app: "App") -> None:
        self.app = app
        self.count = 0
        self.at_s = array("i", [0] * MOST)
        self.sizes = bytearray(MOST)
        self.texts = bytearray(MOST * TEXT_BYTES)

    def add(self, text: str) -> None:
        """Note a text at the app's present time; what is longer than TEXT_BYTES loses its end."""
        data = text[:TEXT_BYTES].encode()
        size = min(len(data), TEXT_BYTES)
        while size < len(data) and data[size] & 0xC0 == 0x80:  # in the midst of a letter
            size -= 1
        n = self.count % MOST
        self.at_s[n] = self.app.now_s
        self.sizes[n] = size
        self.texts[n * TEXT_BYTES : n * TEXT_BYTES + size] = memoryview(data)[:size]
        self.count += 1

    def get(self, number: int) -> "tuple[int, str]":
        """The event that came after so many others; one of the last MOST."""
        n = number % MOST
        at = n * TEXT_BYTES
        return self.at_s[n], bytes(self.texts[at : at + self.sizes[n]]).decode()

    def __len__(self) -> int:
        return min(self.count, MOST)

    def __iter__(self) -> "Iterator[tuple[int, str]]":
        number = self.count
        while number and number > self.count - MOST:
            number -= 1
            yield self.get(number)


class Counters:
    """Whole numbers by COUNTERS' names; they only rise."""

    __slots__ = tuple([row[0] for row in COUNTERS])

    boots: int
    watchdog_resets: int
    valve_starts: int
    valve_open_s: int
    missed_beats: int
    failed_beats: int
    restarted_tasks: int

    def __init__(self) -> None:
        for row in COUNTERS:
            setattr(self, row[0], 0)

    def items(self) -> "list[tuple[str, int]]":
        """Pairs (name, number)."""
        return [(row[0], getattr(self, row[0])) for row in COUNTERS]

    def pack(self) -> bytes:
        """Four bytes each."""
        image = b""
        for row in COUNTERS:
            image += struct.pack("<I", getattr(self, row[0]) & 0xFFFFFFFF)
        return image

    def unpack(self, image: bytes) -> bool:
        """Take an image of as many or fewer counters than are known now; False for none."""
        if len(image) % 4 or len(image) > 4 * len(COUNTERS):
            return False
        for n in range(len(image) // 4):
            setattr(self, COUNTERS[n][0], struct.unpack_from("<I", image, 4 * n)[0])
        return True
