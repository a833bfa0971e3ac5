"""What happened lately, newest last and bounded; and what is counted over the board's whole life."""

import struct

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewboard.shapes import Iterator

MOST = 24
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
    """A ring of (monotonic now_s, text); iterating goes from the newest to the oldest."""

    __slots__ = ("ring", "app")

    def __init__(self, app: "App") -> None:
        self.ring: "list[tuple[int, str]]" = []
        self.app = app

    def add(self, text: str) -> None:
        """Note a text at the app's present time."""
        if len(self.ring) >= MOST:
            del self.ring[0]
        self.ring.append((self.app.now_s, text))

    def __iter__(self) -> "Iterator[tuple[int, str]]":
        return iter(self.ring[::-1])

    def __len__(self) -> int:
        return len(self.ring)


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
