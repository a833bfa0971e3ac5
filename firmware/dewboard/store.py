"""What must outlast a power cut: two slots a name, of which a save only ever touches the one that does not count.

A slot is one file: a head of 16 bytes (mark, schema, bytes of payload, sequence number, CRC-32 of all the rest)
and the payload.  The whole one with the highest sequence number counts; any other is as good as not there.  So a
save that is cut off, at whatever byte, leaves the payload before it: old or new, never a mixture.  A payload
stands before the first byte is written, and a save is done when it has been read back.

Wear, measured on 64 blocks of 4 kB.  On littlefs a save erases one block, whichever has rested; history's 96
appends and about 12 joins and 24 removals a day erase 105, 3 of them the busiest block.  Learned state and counters
are saved every hour and twice at a latched alarm, 48 saves a day more; settings and boots, hundreds a year at most.
Together 56,000 erases a year; in proportion the busiest block gets 4.4 a day or 1,600 a year, 60 years of the 100,000
that flash is rated for (common data-sheet figure, from memory).
FAT writes its table and folder in place: the busiest sector 92 times a day by history alone, 33,000 a year, 3 years;
and 445 a day, 7 months, where they share one block of raw flash.  There history belongs in RAM, or on a card that
spreads its wear.
"""

import json
import os
import struct
from binascii import crc32

from dewcore.settings import TABLE, Settings
from dewcore.words import decimal

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.shapes import Callable, Iterable, Packed

HEAD = "<2sBxIII"
HEAD_BYTES = struct.calcsize(HEAD)
SUM_AT = HEAD_BYTES - 4
MARK = b"Dm"
SLOTS = (".a", ".b")
MOST_BYTES = 4096
PIECE_BYTES = 128
PLACES = 4  # decimals of a stored setting; no bound of the table needs more

# what load() found
NEW = 0  # no slot at all: never saved
WHOLE = 1  # the last payload saved
OLDER = 2  # the one before it: the last is damaged or refused
LOST = 3  # slots, but none that is whole and accepted
FOUND_NAMES = ("new", "whole", "older", "lost")

NOT_THERE = 2  # OSError: no such file
NO_SLOT = -2  # in place of a sequence number
DAMAGED = -1


def take_any(payload: bytes) -> bool:
    """Every payload will do."""
    return True


class Store:
    """One payload of at most MOST_BYTES under `name` in `folder`.

    schema: of the payloads written; migrate(schema, payload): an older one's payload as today's, None where it
    cannot be.  A slot of a newer schema is refused.  found: NEW, WHOLE, OLDER or LOST; refused: what was wrong with
    the last save or slot, empty where nothing.
    """

    __slots__ = ("folder", "name", "schema", "migrate", "found", "refused", "slot", "sequence")

    def __init__(
        self,
        folder: str,
        name: str,
        schema: int = 1,
        migrate: "Callable[[int, bytes], bytes | None] | None" = None,
    ) -> None:
        self.folder = folder
        self.name = name
        self.schema = schema
        self.migrate = migrate
        self.found = NEW
        self.refused = ""
        self.slot = -1  # the one that counts; -1: not looked yet, or none
        self.sequence = -1  # the highest of a whole slot; -1: not looked yet

    def path(self, slot: int) -> str:
        """The file of slot 0 or 1."""
        return self.folder + "/" + self.name + SLOTS[slot]

    def load(self, accept: "Callable[[bytes], bool]" = take_any) -> "bytes | None":
        """The last payload saved that is whole and that accept(payload) takes, else the other slot's, else None.

        MemoryError passes through: then nothing is known about what is stored.
        """
        self.refused = ""
        self.slot = -1
        self.found = NEW
        first, second = self._look()
        newer = 1 if second > first else 0
        for slot in (newer, 1 - newer):
            if (first, second)[slot] < 0:
                continue
            payload = self._payload(slot)
            if payload is not None and accept(payload):
                self.slot = slot
                self.found = WHOLE if slot == newer and DAMAGED not in (first, second) else OLDER
                return payload
        if first != NO_SLOT or second != NO_SLOT:
            self.found = LOST
        return None

    def save(self, payload: "bytes | Packed") -> bool:
        """Write the payload to the slot that does not count; True once it is flushed, closed and read back.

        It is bytes, or something whose pieces() gives them piece by piece, twice the same.
        False: `refused` says why, and the payload before it still counts.
        """
        if len(payload) > MOST_BYTES:
            self.refused = self.name + ": " + str(len(payload)) + " bytes, allowed " + str(MOST_BYTES)
            return False
        slot = -1
        try:
            if self.sequence < 0:
                self.load()
            slot = self._free_slot()
            sequence = self.sequence + 1
            head = bytearray(HEAD_BYTES)
            struct.pack_into(HEAD, head, 0, MARK, self.schema, len(payload), sequence, 0)
            checksum = crc32(memoryview(head)[:SUM_AT])
            for piece in pieces_of(payload):
                checksum = crc32(piece, checksum)
            struct.pack_into("<I", head, SUM_AT, checksum)
            self._write(slot, head, payload)
            if self._sequence(slot) != sequence:
                self.refused = self.path(slot) + ": does not read back as written; the flash may be worn out"
                return False
        except (OSError, MemoryError) as problem:
            self.refused = self.path(slot) + ": not written, " + repr(problem)
            return False
        self.refused = ""
        self.slot = slot
        self.sequence = sequence
        return True

    def _free_slot(self) -> int:
        """Where the next payload goes: never over the one that counts."""
        if self.slot >= 0:
            return 1 - self.slot
        first, second = self._look()  # none counts: of two refused ones the older goes
        return 0 if first <= second else 1

    def _look(self) -> tuple:
        """Both slots' sequence numbers; `sequence` becomes the higher one."""
        first = self._sequence(0)
        second = self._sequence(1)
        self.sequence = max(first, second, 0)
        return first, second

    def _write(self, slot: int, head: bytearray, payload: "bytes | Packed") -> None:
        """One file, closed in any case: what closing leaves of a failed write is not whole."""
        file = open(self.path(slot), "wb")
        try:
            file.write(head)
            for piece in pieces_of(payload):
                file.write(piece)
            file.flush()
        finally:
            file.close()

    def _sequence(self, slot: int) -> int:
        """A slot's sequence number if it is whole, else NO_SLOT or DAMAGED; read in pieces, to need little memory."""
        piece = bytearray(PIECE_BYTES)
        try:
            with open(self.path(slot), "rb") as file:
                head = file.read(HEAD_BYTES)
                checksum = crc32(memoryview(head)[:SUM_AT])
                count = 0
                got = file.readinto(piece)
                while got and count <= MOST_BYTES:
                    count += got
                    checksum = crc32(memoryview(piece)[:got], checksum)
                    got = file.readinto(piece)
        except OSError as problem:
            if problem.args and problem.args[0] == NOT_THERE:
                return NO_SLOT
            self.refused = self.path(slot) + ": not readable, " + repr(problem)
            return DAMAGED
        if len(head) == HEAD_BYTES:
            mark, _, length, sequence, wanted = struct.unpack(HEAD, head)
            if mark == MARK and length == count and checksum == wanted:
                return sequence
        self.refused = self.path(slot) + ": damaged or torn"
        return DAMAGED

    def _payload(self, slot: int) -> "bytes | None":
        """The payload of a whole slot in today's schema, None where there is no way to it."""
        with open(self.path(slot), "rb") as file:
            schema = struct.unpack(HEAD, file.read(HEAD_BYTES))[1]
            payload = file.read(MOST_BYTES)
        if schema < self.schema and self.migrate is not None:
            payload = self.migrate(schema, payload)
        elif schema != self.schema:
            payload = None
        if payload is None:
            found = "schema " + str(schema) + ", known " + str(self.schema)
            self.refused = self.path(slot) + ": " + found + "; put the firmware back that wrote it, or save anew"
        return payload


def pieces_of(payload: "bytes | Packed") -> "Iterable[bytes | bytearray | memoryview]":
    """A payload piece by piece."""
    return (payload,) if isinstance(payload, (bytes, bytearray)) else payload.pieces()


def make_folder(folder: str) -> None:
    """The folder, where it is not there yet."""
    try:
        os.stat(folder)
    except OSError:
        os.mkdir(folder)


def settings_text(settings: "Settings") -> str:
    """JSON of the settings that are not at their default, floats to PLACES decimals: the same on every interpreter."""
    parts = []
    for row in TABLE:
        text = _text(getattr(settings, row[0]))
        if text != _text(row[2]):
            parts.append('"' + row[0] + '":' + text)
    return "{" + ",".join(parts) + "}"


def _text(value: object) -> str:
    return decimal(value, PLACES) if isinstance(value, float) else str(value)


def save_settings(store: "Store", settings: "Settings") -> bool:
    """Store what differs from the defaults; False as of Store.save."""
    return store.save(settings_text(settings).encode())


def load_settings(store: "Store", settings: "Settings") -> None:
    """Bring `settings`, still at their defaults, to what was stored; afterwards store.found says which.

    A payload counts whole or not at all: with one key unknown or out of bounds the other slot counts, and the
    defaults where that is no better.  Settings of two times never mix.
    """

    def accept(payload: bytes) -> bool:
        try:
            values = json.loads(payload)
            if not isinstance(values, dict):
                raise ValueError("no object")
            settings.change(values)
        except (ValueError, RuntimeError) as problem:  # the latter: nested too deeply
            store.refused = store.name + ": " + str(problem)
            return False
        return True

    store.load(accept)


def next_boot(store: "Store") -> int:
    """The number of this boot, counted in `store`; 0 where it could not be stored, so that it may repeat."""
    payload = store.load()
    last = struct.unpack("<I", payload)[0] if payload is not None and len(payload) == 4 else 0
    number = last + 1 if last < 0x3FFFFFFF else 1
    return number if store.save(struct.pack("<I", number)) else 0
