"""What each file of the history holds, packed: a list of 26 objects would take 2.5 kB more, one by one over a day."""

from array import array

SEGMENTS = 26
MOST_DIGITS = 9  # a number of 32 bits; twelve a day are given out
COLUMNS = 7  # first, last, records, size, state, boot, seq
RECORDS = 2
BOOT = 5
SEQ = 6
ENDED = 1  # bits of the state
CLOSED = 2


class Segment:
    """What one file holds: numbers first to last of the ring, records, bytes of whole blocks, its last record's key."""

    __slots__ = ("first", "last", "records", "size", "ended", "closed", "boot", "seq")

    def __init__(self, first: int, last: int) -> None:
        self.first = first
        self.last = last
        self.records = 0
        self.size = 0
        self.ended = False  # by its end mark, as only a join is
        self.closed = False  # or by something torn: nothing may follow
        self.boot = 0
        self.seq = 0

    def name(self) -> str:
        """The file's name."""
        return "h" + str(self.first) + "-" + str(self.last)


def segment_of(name: str) -> "Segment | None":
    """The segment that a file's name speaks of, None where it is none of ours."""
    parts = name[1:].split("-")
    if name[:1] != "h" or len(parts) != 2 or not (parts[0].isdigit() and parts[1].isdigit()):
        return None
    if max(len(parts[0]), len(parts[1])) > MOST_DIGITS:
        return None
    return Segment(int(parts[0]), int(parts[1]))


class Segments:
    """The ring's segments, oldest first; count: how many. What get() returns is a copy: put() it back."""

    __slots__ = ("count", "numbers")

    def __init__(self) -> None:
        self.count = 0
        self.numbers = array("I", [0] * (COLUMNS * SEGMENTS))

    def get(self, i: int) -> "Segment":
        """A copy of segment i."""
        first, last, records, size, state, boot, seq = self.numbers[i * COLUMNS : (i + 1) * COLUMNS]
        segment = Segment(first, last)
        segment.records = records
        segment.size = size
        segment.ended = bool(state & ENDED)
        segment.closed = bool(state & CLOSED)
        segment.boot = boot
        segment.seq = seq
        return segment

    def put(self, i: int, segment: "Segment") -> None:
        """Segment i from now on; i = count: one more."""
        state = ENDED * segment.ended | CLOSED * segment.closed
        row = (segment.first, segment.last, segment.records, segment.size, state, segment.boot, segment.seq)
        if (i + 1) * COLUMNS > len(self.numbers):  # a folder that holds more than the ring does
            self.numbers.extend(array("I", [0] * COLUMNS))
        for n in range(COLUMNS):
            self.numbers[i * COLUMNS + n] = row[n]
        self.count = max(self.count, i + 1)

    def pop(self, i: int) -> None:
        """Segment i goes."""
        self.count -= 1
        for n in range(i * COLUMNS, self.count * COLUMNS):
            self.numbers[n] = self.numbers[n + COLUMNS]

    def records(self, i: int) -> int:
        """How many records segment i holds."""
        return self.numbers[i * COLUMNS + RECORDS]

    def is_after(self, i: int, boot: int, seq: int) -> bool:
        """Whether segment i reaches beyond this key."""
        return is_after(self.numbers[i * COLUMNS + BOOT], self.numbers[i * COLUMNS + SEQ], boot, seq)


def is_after(boot: int, seq: int, last_boot: int, last_seq: int) -> bool:
    """Whether a record's key (boot, seq) comes after another."""
    return boot > last_boot or boot == last_boot and seq > last_seq
