"""Minute records: a quarter of an hour in RAM, a day and more in flash, and what no logger has taken yet.

Flash holds a ring of at most SEGMENTS files of about two hours each, named after the first and last number of what
they hold.  Each is a row of blocks; a block is a head (mark, records, boot, number and times of its first
record, CRC-32) and up to 15 records, each with its distance from the first in number and seconds.  A block that does
not match its CRC ends its segment: a power cut loses what RAM held, a quarter of an hour, and nothing else.

When the ring is full it makes room in this order: two neighbours that fit into one become one; the oldest, if a
logger has taken it; else two neighbours older than 26 hours become one of 120 records, so that an outage of weeks
keeps both its ends and gets evenly coarser (`thinned` counts what that cost).  A join is a new file, closed by an
end mark and read back, before the two old ones go; a cut in between leaves copies that the next start takes away.

Each call of flush() writes one file or removes one.  Appends and joins are 96 and about 12 a day.
"""

import os
import struct
from array import array
from binascii import crc32

from dewboard.segments import SEGMENTS, Segment, Segments, is_after, segment_of
from dewcore.record import SIZE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.shapes import FileIn, FileOut, Iterator

BLOCK_RECORDS = 15
FLUSH_S = 900
MINUTE_S = 60
PENDING = 2 * BLOCK_RECORDS  # RAM: as much again while flash does not take it
SEGMENT_RECORDS = 120
SEGMENT_BYTES = 4096  # one block of common flash
FULL_RECORDS = 1560  # 26 h that are never thinned
DAY_RECORDS = 1440
DAY_S = 86400
RETRY_S = 60  # after a write that failed
LEAST_SEGMENTS = 4

HEAD = "<2sBxIIIiI"
HEAD_BYTES = struct.calcsize(HEAD)
SUM_AT = HEAD_BYTES - 4
PLACE = "<HH"  # of a record: number and seconds after the block's first
ROW_BYTES = 4 + SIZE
BLOCK_BYTES = HEAD_BYTES + BLOCK_RECORDS * ROW_BYTES
MOST_APART = 65535
MARK = b"Dr"
NO_BLOCK = -1  # in place of the number of records: damaged, torn or past the end
NOT_THERE = 2  # OSError: no such file
FULL = 28  # OSError: no space left


class Row:
    """One record on its way out: its key (boot, seq), utc_s (0 unknown) and now_s of that boot, data (SIZE bytes)."""

    __slots__ = ("boot", "seq", "utc_s", "now_s", "data")

    def __init__(self) -> None:
        self.boot = 0
        self.seq = 0
        self.utc_s = 0
        self.now_s = 0
        self.data = bytearray(SIZE)


class Block:
    """A block in the making or just read."""

    __slots__ = ("bytes", "view", "count", "boot", "seq", "utc_s", "now_s")

    def __init__(self) -> None:
        self.bytes = bytearray(BLOCK_BYTES)
        self.view = memoryview(self.bytes)
        self.count = 0
        self.boot = 0
        self.seq = 0
        self.utc_s = 0
        self.now_s = 0

    def size(self) -> int:
        """Bytes of the block."""
        return HEAD_BYTES + self.count * ROW_BYTES

    def put(self, row: "Row") -> bool:
        """Add a record; False where it does not belong to this block or finds no room."""
        if self.count == 0:
            self.boot, self.seq, self.utc_s, self.now_s = row.boot, row.seq, row.utc_s, row.now_s
        apart_s = row.now_s - self.now_s
        apart = row.seq - self.seq
        fits = 0 <= apart_s <= MOST_APART and 0 <= apart <= MOST_APART and (row.utc_s == 0) == (self.utc_s == 0)
        is_same_clock = row.utc_s == 0 or -60 <= row.utc_s - self.utc_s - apart_s <= 60
        if self.count == BLOCK_RECORDS or row.boot != self.boot or not fits or not is_same_clock:
            return False
        at = self.size()
        struct.pack_into(PLACE, self.bytes, at, apart, apart_s)
        self.bytes[at + 4 : at + ROW_BYTES] = row.data
        self.count += 1
        return True

    def seal(self) -> memoryview:
        """The block's bytes, its head filled in."""
        struct.pack_into(HEAD, self.bytes, 0, MARK, self.count, self.boot, self.seq, self.utc_s, self.now_s, 0)
        struct.pack_into("<I", self.bytes, SUM_AT, self._sum())
        return self.view[: self.size()]

    def _sum(self) -> int:
        return crc32(self.view[HEAD_BYTES : self.size()], crc32(self.view[:SUM_AT]))

    def read(self, file: "FileIn", at: int) -> int:
        """Take the block at byte `at` of an open file; its number of records (0: the end mark), or NO_BLOCK."""
        file.seek(at)
        got = file.readinto(self.bytes) or 0
        self.count = 0
        if got < HEAD_BYTES or self.bytes[:2] != MARK or self.bytes[2] > BLOCK_RECORDS:
            return NO_BLOCK
        _, self.count, self.boot, self.seq, self.utc_s, self.now_s, checksum = struct.unpack_from(HEAD, self.bytes, 0)
        if got < self.size() or self._sum() != checksum:
            return NO_BLOCK
        return self.count

    def get(self, n: int, row: "Row") -> None:
        """Fill `row` with record n; a day has 1,440 of them, so nothing is allocated."""
        data = self.bytes
        at = HEAD_BYTES + n * ROW_BYTES
        apart_s = data[at + 2] + 256 * data[at + 3]
        row.boot = self.boot
        row.seq = self.seq + data[at] + 256 * data[at + 1]
        row.now_s = self.now_s + apart_s
        row.utc_s = self.utc_s + apart_s if self.utc_s else 0
        for i in range(SIZE):
            row.data[i] = data[at + 4 + i]


class History:
    """The records of all boots in `folder`.

    boot: the key of this boot's records, the number given, or a higher one where that was in use; seq: of the next
    record; lost: records that neither RAM nor flash had room for; thinned: left out when two segments became one;
    refused: what was wrong with the last write, empty where nothing.
    """

    __slots__ = (
        "folder",
        "boot",
        "seq",
        "lost",
        "thinned",
        "refused",
        "segments",
        "room",
        "full",
        "leftovers",
        "next",
        "pending",
        "pending_s",
        "records",
        "utc_at_0_s",
        "retry_s",
        "block",
        "row",
        "changes",
        "freed_boot",
        "freed_seq",
    )

    def __init__(self, folder: str, boot: int) -> None:
        self.folder = folder
        self.seq = 0
        self.lost = 0
        self.thinned = 0
        self.refused = ""
        self.segments = Segments()
        self.room = SEGMENTS  # fewer where flash is full
        self.full = FULL_RECORDS
        self.leftovers: "list[str]" = []  # files to be removed
        self.next = 0  # the ring's next number
        self.pending = 0  # records in RAM, and their times
        self.pending_s = array("i", [0] * PENDING)
        self.records = bytearray(PENDING * SIZE)
        self.utc_at_0_s = 0  # wall time when this boot's seconds began, 0 unknown
        self.retry_s = 0
        self.block = Block()
        self.row = Row()
        self.changes = 0  # any reader under way looks for its place again
        self.freed_boot = -1
        self.freed_seq = -1
        self._look()
        self.boot = boot
        for i in range(self.segments.count):
            self.boot = max(self.boot, self.segments.get(i).boot + 1)

    def _look(self) -> None:
        """What flash holds after a boot."""
        found = []
        names = []
        try:
            names = os.listdir(self.folder)
        except OSError as problem:
            self.refused = self.folder + ": not readable, " + repr(problem)
        for name in names:
            segment = segment_of(name)
            if segment is not None:
                self.next = max(self.next, segment.last + 1)
                try:
                    self._measure(segment)
                    found.append(segment)
                except OSError as problem:  # it stays where it is, and the others count
                    self.refused = self._path(segment) + ": not readable, " + repr(problem)
        found.sort(key=_order)
        for segment in found:
            if segment.records == 0 or self._is_copy(segment, found):
                self.leftovers.append(segment.name())
            else:
                self.segments.put(self.segments.count, segment)

    def _is_copy(self, segment: "Segment", all_found: list) -> bool:
        """Whether others hold its records: a finished join does, and what an unfinished one was to be made of."""
        for other in all_found:
            if other is segment or other.records == 0:
                continue
            if other.first <= segment.first and segment.last <= other.last and other.ended:
                return True
            if segment.first <= other.first and other.last <= segment.last and not segment.ended:
                return True
        return False

    def _measure(self, segment: "Segment") -> None:
        """Fill in what of a segment is whole."""
        block = self.block
        segment.records = segment.size = 0
        with open(self._path(segment), "rb") as file:
            count = block.read(file, 0)
            while count > 0:
                segment.records += count
                segment.size += block.size()
                segment.boot = block.boot
                block.get(count - 1, self.row)
                segment.seq = self.row.seq
                count = block.read(file, segment.size)
            end = file.seek(0, 2)
        segment.ended = count == 0
        segment.closed = segment.ended or end != segment.size

    def _path(self, segment: "Segment") -> str:
        return self.folder + "/" + segment.name()

    def add(self, record: bytes, utc_s: int, now_s: int) -> None:
        """Take a packed record (dewcore.record.pack) at now_s; utc_s: wall time [s], 0 unknown."""
        if self.pending == PENDING:
            self._drop_pending(1)
            self.lost += 1
        n = self.pending
        self.records[n * SIZE : (n + 1) * SIZE] = record
        self.pending_s[n] = now_s
        self.pending = n + 1
        self.seq += 1
        if utc_s:
            self.utc_at_0_s = utc_s - now_s

    def _drop_pending(self, count: int) -> None:
        """Forget the oldest records in RAM."""
        self.pending -= count
        for n in range(self.pending):
            self.pending_s[n] = self.pending_s[n + count]
        for n in range(self.pending * SIZE):
            self.records[n] = self.records[n + count * SIZE]

    def _pending_row(self, n: int, row: "Row") -> None:
        row.boot = self.boot
        row.seq = self.seq - self.pending + n
        row.now_s = self.pending_s[n]
        row.utc_s = self.utc_at_0_s + row.now_s if self.utc_at_0_s else 0
        for i in range(SIZE):
            row.data[i] = self.records[n * SIZE + i]

    def due(self, now_s: int) -> bool:
        """Whether flush() has something to do at now_s that will not wait."""
        if now_s < self.retry_s:
            return False
        if self.leftovers or self.pending >= BLOCK_RECORDS:
            return True
        return self.pending > 0 and now_s - self.pending_s[0] >= FLUSH_S

    def flush(self) -> bool:
        """One write, or one file removed; False where there is nothing to do, or it failed (`refused` says why).

        Before a restart: until it is False.
        """
        try:
            wrote = self._step()
        except (OSError, MemoryError) as problem:
            self.refused = self.folder + ": not written, " + repr(problem)
            if self.pending:
                self.retry_s = self.pending_s[self.pending - 1] + RETRY_S
            if isinstance(problem, OSError) and problem.args and problem.args[0] == FULL:
                self.room = max(LEAST_SEGMENTS, min(self.room, self.segments.count))
            return False
        if wrote:
            self.refused = ""
        return wrote

    def _step(self) -> bool:
        if self.leftovers:
            self._remove(self.leftovers.pop())
            return True
        if self.pending == 0:
            return False
        segment = self.segments.get(self.segments.count - 1) if self.segments.count else None
        if segment is None or segment.closed or not _has_room(segment):
            if self.segments.count >= self.room:
                self._make_room()
                return True
            segment = Segment(self.next, self.next)
            self.next += 1
        self._append(segment)
        return True

    def _remove(self, name: str) -> None:
        try:
            os.remove(self.folder + "/" + name)
        except OSError as problem:
            if not problem.args or problem.args[0] != NOT_THERE:
                raise

    def _append(self, segment: "Segment") -> None:
        """The oldest records in RAM as one more block of a segment."""
        block = self.block
        block.count = 0
        n = 0
        while n < self.pending:
            self._pending_row(n, self.row)
            if not block.put(self.row):
                break
            n += 1
        seq = self.seq - self.pending + n - 1
        is_new = segment.records == 0
        at = self.segments.count - 1
        if is_new:
            at += 1
            self.leftovers.append(segment.name())
        else:
            segment.closed = True  # until all of it is written: nothing may follow a torn block
            self.segments.put(at, segment)
        file = open(self._path(segment), "ab")
        try:
            file.write(block.seal())
        finally:
            file.close()
        segment.closed = False
        segment.records += n
        segment.size += block.size()
        segment.boot = self.boot
        segment.seq = seq
        self.segments.put(at, segment)
        if is_new:
            self.leftovers.pop()
        self._drop_pending(n)
        self.changes += 1

    def _make_room(self) -> None:
        """One segment less, at the least loss."""
        segments = self.segments
        for i in range(segments.count - 1):
            if segments.records(i) + segments.records(i + 1) <= SEGMENT_RECORDS:
                self._join(i, False)
                return
        recent = self._recent()
        if recent > 0 and not segments.is_after(0, self.freed_boot, self.freed_seq):
            self._drop_oldest()
            return
        best = least = -1
        for i in range(recent - 1):
            span = segments.get(i + 1).last - segments.get(i).first
            if best < 0 or span < least:
                best = i
                least = span
        if best >= 0:
            self._join(best, True)
        else:
            self.lost += segments.records(0)
            self._drop_oldest()

    def _recent(self) -> int:
        """Index of the first segment that the last `full` records reach into."""
        records = 0
        i = self.segments.count
        while i > 0 and records < self.full:
            i -= 1
            records += self.segments.records(i)
        return i

    def _drop_oldest(self) -> None:
        self.changes += 1
        oldest = self.segments.get(0).name()
        self.segments.pop(0)
        self._remove(oldest)

    def _join(self, i: int, thin: bool) -> None:
        """Segments i and i + 1 as one; where `thin`, of about SEGMENT_RECORDS, evenly spread over their time."""
        a, b = self.segments.get(i), self.segments.get(i + 1)
        joined = Segment(a.first, b.last)
        every_s = -(-self._lasted_s(i) // SEGMENT_RECORDS) if thin else 0
        self.leftovers.append(joined.name())
        file = open(self._path(joined), "wb")
        try:
            kept = self._copy(file, i, every_s)
        finally:
            file.close()
        self._measure(joined)
        if joined.records != kept or not joined.ended:
            raise OSError(5)  # what was written does not read back
        self.leftovers.pop()
        self.segments.put(i, joined)
        self.segments.pop(i + 1)
        self.leftovers.append(b.name())
        self.leftovers.append(a.name())
        self.thinned += a.records + b.records - kept
        self.changes += 1

    def _lasted_s(self, i: int) -> int:
        """Seconds between the first and the last record of segments i and i + 1, a minute for each time off."""
        total_s = 0
        boot = before_s = -1
        for row in self._rows(i, i + 2):
            total_s += row.now_s - before_s if row.boot == boot else MINUTE_S
            boot, before_s = row.boot, row.now_s
        return total_s

    def _copy(self, file: "FileOut", i: int, every_s: int) -> int:
        """Segments i and i + 1 into a file, with an end mark: the first record of every so many seconds (0: all).

        Returns how many were kept; the very first and the last always are.
        """
        block = Block()
        total = self.segments.records(i) + self.segments.records(i + 1)
        n = kept = passed_s = 0
        slot = boot = before_s = -1
        for row in self._rows(i, i + 2):
            if n > 0:
                passed_s += row.now_s - before_s if row.boot == boot else MINUTE_S
            n += 1
            if every_s == 0 or passed_s // every_s != slot or n == total:
                slot = passed_s // every_s if every_s else 0
                if not block.put(row):
                    file.write(block.seal())
                    block.count = 0
                    block.put(row)
                kept += 1
            boot, before_s = row.boot, row.now_s
        if block.count:
            file.write(block.seal())
        block.count = 0
        file.write(block.seal())
        return kept

    def free(self, boot: int, seq: int) -> None:
        """A logger has taken all up to this key: beyond the last 26 h it need not be kept."""
        if is_after(boot, seq, self.freed_boot, self.freed_seq):
            self.freed_boot = boot
            self.freed_seq = seq

    def unsent(self, boot: int, seq: int) -> "Iterator[Row]":
        """All records after this key (-1, -1: all), oldest first; the Row is the same each time."""
        return self._rows(self._first_after(boot, seq), -1, boot, seq)

    def day(self, utc_s: int, now_s: int) -> "Iterator[Row]":
        """The records of the last 24 h, oldest first; the Row is the same each time.

        utc_s: wall time, 0 unknown: then of those before this boot as many as a day has minutes.
        """
        i = self.segments.count
        surplus = self.pending - DAY_RECORDS
        while i > 0 and surplus < 0:
            i -= 1
            surplus += self.segments.records(i)
        for row in self._rows(i, -1):
            surplus -= 1
            if row.boot == self.boot:
                age_s = now_s - row.now_s
            else:
                age_s = utc_s - row.utc_s if utc_s and row.utc_s else 0
            if surplus < 0 and age_s < DAY_S:
                yield row

    def _rows(self, i: int, end: int, boot: int = -1, seq: int = -1) -> "Iterator[Row]":
        """Records after the key from segment i on, up to segment `end`, or -1: to the last in RAM.

        Between two of them the ring may change: then it goes on after the last key.
        """
        row = Row()
        block = Block()
        changes = self.changes
        at = n = 0
        while True:
            if changes != self.changes:
                changes = self.changes
                i, at, n = self._first_after(boot, seq), 0, 0
            if i < (self.segments.count if end < 0 else end):
                segment = self.segments.get(i)
                count = self._read(segment, at, block)
                at += block.size()
                if count <= 0 or at >= segment.size:
                    i, at = i + 1, 0
                for k in range(count):
                    block.get(k, row)
                    if is_after(row.boot, row.seq, boot, seq):
                        boot, seq = row.boot, row.seq
                        yield row
            elif end < 0 and n < self.pending:
                self._pending_row(n, row)
                n += 1
                if is_after(row.boot, row.seq, boot, seq):
                    boot, seq = row.boot, row.seq
                    yield row
            else:
                return

    def _first_after(self, boot: int, seq: int) -> int:
        """Index of the first segment that reaches beyond this key."""
        i = 0
        while i < self.segments.count and not self.segments.is_after(i, boot, seq):
            i += 1
        return i

    def _read(self, segment: "Segment", at: int, block: "Block") -> int:
        """A block of a segment; NO_BLOCK where it cannot be read."""
        try:
            with open(self._path(segment), "rb") as file:
                return block.read(file, at)
        except OSError:
            return NO_BLOCK  # the rest of this segment is missing; `refused` is for writes


def _order(segment: "Segment") -> int:
    return segment.first


def _has_room(segment: "Segment") -> bool:
    return segment.records < SEGMENT_RECORDS and segment.size + BLOCK_BYTES <= SEGMENT_BYTES
