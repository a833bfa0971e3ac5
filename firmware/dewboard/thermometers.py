"""1-Wire thermometers (DS18B20 kind), told apart by their 64-bit codes: converted in one beat, read in later ones.

    Thermometers(wire, codes)   codes: {"outdoor_c": "28...", "glass_c": ..., "supply_c": ...}, the 8 bytes of each
                                code as 16 hex digits (family first, CRC last) or as bytes; those that are not wired
                                are left out.  ValueError names the entry that makes no sense
    .step(readings, now_s)      once a beat; at most 19 bytes on the wire (12 ms).  Touches only the assigned samples
    .search()                   the codes (bytes) of all thermometers on the wire, at most 8; 15 ms for each: only with
                                the valve shut

A reading that fails leaves value and at_s and sets error: ERROR_NO_ANSWER (also for a line held low, and for the 85 °C
that a thermometer holds after it got its supply), ERROR_CHECKSUM.

Commands: DS18B20 data sheet (Maxim 19-7487), Table 3: match 0x55, skip 0xCC, search 0xF0, convert 0x44 (750 ms at
12 bits), read scratchpad 0xBE.  CRC: Maxim Application Note 27.  Three wires, not parasite power.
"""

from dewcore.readings import ERROR_CHECKSUM, ERROR_NO_ANSWER, Readings, Sample

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.pins import Wire

PLACES = ("outdoor_c", "glass_c", "supply_c")
FAMILIES = (0x28, 0x22)  # DS18B20, DS1822: the same scratchpad
READ_EVERY_S = 5
CONVERT_S = 2  # 750 ms, counted in whole seconds of which the first may be short
POWER_ON = 0x0550  # 85 °C, until the first conversion
POWER_ON_NEAR_C = 10.0  # a real 85 °C follows a reading at most so far away
MOST_FOUND = 8

_MATCH = 0x55
_SKIP = 0xCC
_SEARCH = 0xF0
_CONVERT = 0x44
_READ = 0xBE

# The CRC of Application Note 27 (reflected polynomial 0x8C, start 0), four bits at a time.
_CRC = b"\x00\x9d\x23\xbe\x46\xdb\x65\xf8\x8c\x11\xaf\x32\xca\x57\xe9\x74"


def crc8(buffer: "bytes | bytearray", length: int) -> int:
    """CRC of the first `length` bytes; 0 over a whole code with its own CRC."""
    crc = 0
    for n in range(length):
        crc ^= buffer[n]
        crc = crc >> 4 ^ _CRC[crc & 15]
        crc = crc >> 4 ^ _CRC[crc & 15]
    return crc


def code_from(place: str, given: "str | bytes") -> bytes:
    """The 8 bytes of a code; ValueError in one line where it is none."""
    found = repr(given)
    if len(found) > 40:
        found = found[:40] + "..."
    if place not in PLACES:
        raise ValueError("thermometer " + place + ": no such place; allowed " + ", ".join(PLACES))
    try:
        code = bytes([int(given[n : n + 2], 16) for n in range(0, 16, 2)]) if isinstance(given, str) else bytes(given)
    except (ValueError, TypeError):
        code = b""
    if len(code) != 8 or isinstance(given, str) and len(given) != 16:
        raise ValueError("thermometer " + place + ": found " + found + "; give the 16 hex digits that the search told")
    if crc8(code, 8) != 0 or code[0] not in FAMILIES:
        raise ValueError("thermometer " + place + ": " + found + " is no such thermometer's code; search again")
    return code


class Thermometer:
    """One assigned thermometer: its place among PLACES, its code, and the last good reading [°C]."""

    __slots__ = ("place", "code", "good", "last_c")

    def __init__(self, place: str, code: bytes) -> None:
        self.place: str = place
        self.code: bytes = code
        self.good: bool = False
        self.last_c: float = 0.0


class Thermometers:
    """All of them on one wire."""

    __slots__ = ("wire", "assigned", "pad", "n", "converted_s", "answered")

    def __init__(self, wire: "Wire", codes: dict) -> None:
        self.wire: "Wire" = wire
        self.assigned: list = []
        given = [place for place in PLACES if place in codes] + [place for place in codes if place not in PLACES]
        for place in given:
            code = code_from(place, codes[place])
            for other in self.assigned:
                if other.code == code:
                    raise ValueError("thermometer " + place + ": the code of " + other.place + "; give each its own")
            self.assigned.append(Thermometer(place, code))
        self.pad = bytearray(9)
        self.n: int = len(self.assigned)  # whose turn it is to be read
        self.converted_s: int = -READ_EVERY_S
        self.answered: bool = False  # somebody heard the last conversion's start

    def step(self, readings: "Readings", now_s: int) -> None:
        """Start a conversion, or read one thermometer, whichever is due at now_s [s]."""
        since_s = now_s - self.converted_s
        if self.n < len(self.assigned):
            if since_s >= CONVERT_S:
                one = self.assigned[self.n]
                self.n += 1
                self._read(one, getattr(readings, one.place), now_s)
        elif since_s >= READ_EVERY_S and self.assigned:
            self.converted_s = now_s
            self.n = 0
            wire = self.wire
            self.answered = wire.reset()
            if self.answered:
                wire.write(_SKIP)
                wire.write(_CONVERT)

    def _read(self, one: "Thermometer", sample: "Sample", now_s: int) -> None:
        wire = self.wire
        if not self.answered or not wire.reset():
            sample.error = ERROR_NO_ANSWER
            one.good = False
            return
        wire.write(_MATCH)
        for value in one.code:
            wire.write(value)
        wire.write(_READ)
        pad = self.pad
        present = 0xFF
        for n in range(9):
            value = wire.read()
            pad[n] = value
            present &= value
        # Nobody: all ones.  A line held low: all zeros, whose CRC is right; the configuration's low bits never are 0.
        if present == 0xFF or pad[4] & 0x1F != 0x1F and crc8(pad, 9) == 0:
            sample.error = ERROR_NO_ANSWER
            one.good = False
        elif crc8(pad, 9) != 0:
            sample.error = ERROR_CHECKSUM
        else:
            self._take(one, sample, now_s)

    def _take(self, one: "Thermometer", sample: "Sample", now_s: int) -> None:
        raw = self.pad[1] << 8 | self.pad[0]
        value_c = (raw - 0x10000 if raw & 0x8000 else raw) / 16.0
        if raw == POWER_ON and not (one.good and abs(value_c - one.last_c) <= POWER_ON_NEAR_C):
            sample.error = ERROR_NO_ANSWER  # it lost its supply since the conversion was started
            return
        one.good = True
        one.last_c = value_c
        sample.set(value_c, now_s)

    def search(self) -> list:
        """The codes of every thermometer that answers, each with a right CRC."""
        found = []
        code = bytearray(8)
        split = -1  # the last bit at which the way of 0 was taken and 1 is still to be tried
        for _ in range(MOST_FOUND):
            split = self._search_once(code, split)
            if split < -1:
                break
            if crc8(code, 8) == 0 and code[0] in FAMILIES:
                found.append(bytes(code))
            if split == -1:
                break
        self.converted_s = -READ_EVERY_S  # the wire was used: begin the round afresh
        self.n = len(self.assigned)
        return found

    def _search_once(self, code: bytearray, last_split: int) -> int:
        """One walk through the 64 bits (Application Note 187); the next split, -1 for the last, -2 for nobody."""
        wire = self.wire
        if not wire.reset():
            return -2
        wire.write(_SEARCH)
        split = -1
        for n in range(64):
            one = wire.read_bit()
            other = wire.read_bit()
            mask = 1 << (n & 7)
            if one and other:
                return -2
            if one != other:
                bit = one
            elif n == last_split:
                bit = 1
            elif n > last_split:
                bit = 0
            else:
                bit = 1 if code[n >> 3] & mask else 0
            if one == other and not bit:
                split = n
            code[n >> 3] = code[n >> 3] | mask if bit else code[n >> 3] & ~mask & 0xFF
            wire.write_bit(bit)
        return split
