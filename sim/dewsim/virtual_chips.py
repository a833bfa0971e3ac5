"""The humidity chips on the virtual board's bus, byte for byte, busy times included; and the CRC of all its chips."""

from .virtual_time import NEVER

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .virtual_board import VirtualBoard


def crc_table(polynomial: int, reflected: bool) -> bytes:
    """The CRC of each byte."""
    table = bytearray(256)
    for n in range(256):
        crc = n
        for _ in range(8):
            if reflected:
                crc = crc >> 1 ^ polynomial if crc & 1 else crc >> 1
            else:
                crc = (crc << 1 ^ polynomial) & 0xFF if crc & 0x80 else crc << 1
        table[n] = crc
    return bytes(table)


WORD_CRC = crc_table(0x31, False)


def with_crc(data: bytes, table: bytes, crc: int) -> bytes:
    """data and its CRC behind it."""
    for value in data:
        crc = table[crc ^ value]
    return data + bytes([crc])


class WordChip:
    """What SHT3x and SHT4x share: words with a CRC, no answer while a conversion runs."""

    def __init__(self, board: "VirtualBoard", temperature: str, rh: str) -> None:
        self.board = board
        self.temperature = temperature
        self.rh = rh
        self.last = b""
        self.power_on()

    def power_on(self) -> None:
        self.answer = b""
        self.ready_us = 0

    def convert(self, us: int) -> None:
        """Latch the air as it is now; readable after `us`."""
        board = self.board
        fault = board.humidity_fault
        self.ready_us = NEVER if fault == "busy" else board.us + us
        if fault != "frozen" or not self.last:
            self.last = self.frame(getattr(board, self.temperature), getattr(board, self.rh))
        self.answer = self.last
        if fault == "ends":
            self.answer = self.ends()
        elif fault == "crc":
            self.answer = self.last[:-1] + bytes([self.last[-1] ^ 0x10])

    def frame(self, temperature_c: float, rh_pct: float) -> bytes:
        t = _word((temperature_c + 45.0) * 65535.0 / 175.0)
        rh = _word((rh_pct - self.RH_LOW) * 65535.0 / self.RH_SPAN)
        return _words(t, rh)

    def ends(self) -> bytes:
        return _words(0xFFFF, 0xFFFF)

    def read(self, buffer: bytearray) -> bool:
        if self.board.us < self.ready_us or len(self.answer) < len(buffer):
            return False
        buffer[:] = self.answer[: len(buffer)]
        self.answer = b""
        return True


def _word(counts: float) -> int:
    return max(0, min(0xFFFF, int(counts + 0.5)))


def _words(first: int, second: int) -> bytes:
    return with_crc(bytes([first >> 8, first & 0xFF]), WORD_CRC, 0xFF) + with_crc(
        bytes([second >> 8, second & 0xFF]), WORD_CRC, 0xFF
    )


class Sht4xChip(WordChip):
    """Its commands, one byte each; another is not acknowledged."""

    RH_LOW = -6.0
    RH_SPAN = 125.0

    def write(self, command: bytes) -> bool:
        if self.board.us < self.ready_us:
            return False
        if command == b"\xfd":
            self.convert(8300)
        elif command == b"\x89":
            self.answer = _words(0xDEAD, 0xBEEF)
            self.ready_us = self.board.us + 1000
        elif command == b"\x94":
            self.answer = b""
            self.ready_us = self.board.us + 1000
        elif command == b"\x2f":
            self.convert(1100000)
            self.board.heated.append(self.board.us)
        else:
            return False
        return True


class Sht3xChip(WordChip):
    """Its commands, two bytes each."""

    RH_LOW = 0.0
    RH_SPAN = 100.0

    def write(self, command: bytes) -> bool:
        if self.board.us < self.ready_us:
            return False
        if command == b"\x24\x00":
            self.convert(15500)
        elif command == b"\xf3\x2d":
            self.answer = with_crc(b"\x80\x10", WORD_CRC, 0xFF) + bytes(3)
            self.ready_us = 0
        elif command == b"\x30\xa2":
            self.answer = b""
            self.ready_us = self.board.us + 1500
        else:
            return len(command) == 1  # the first byte of a longer one, as far as it can know
        return True


class Aht20Chip(WordChip):
    """A status byte before the numbers; always answers, busy or not."""

    def power_on(self) -> None:
        self.ready_us = 0
        self.calibrated_us = NEVER
        self.answer = bytes(7)

    def frame(self, temperature_c: float, rh_pct: float) -> bytes:
        t = max(0, min(0xFFFFF, int((temperature_c + 50.0) * 1048576.0 / 200.0 + 0.5)))
        rh = max(0, min(0xFFFFF, int(rh_pct * 1048576.0 / 100.0 + 0.5)))
        return self._numbers(t, rh)

    def ends(self) -> bytes:
        return self._numbers(0xFFFFF, 0xFFFFF)

    def _numbers(self, t: int, rh: int) -> bytes:
        data = [0x1C, rh >> 12, rh >> 4 & 0xFF, (rh & 15) << 4 | t >> 16, t >> 8 & 0xFF, t & 0xFF]
        return with_crc(bytes(data), WORD_CRC, 0xFF)

    def write(self, command: bytes) -> bool:
        if command == b"\xac\x33\x00":
            self.convert(80000)
        elif command == b"\xbe\x08\x00":
            self.calibrated_us = self.board.us + 10000
        elif command == b"\xba":
            self.power_on()
            self.ready_us = self.board.us + 20000
        else:
            return False
        return True

    def read(self, buffer: bytearray) -> bool:
        buffer[:] = self.answer[: len(buffer)]
        now = self.board.us
        buffer[0] = 0x14 | (0x80 if now < self.ready_us else 0) | (0x08 if now >= self.calibrated_us else 0)
        return True
