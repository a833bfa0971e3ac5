"""The virtual board's 1-Wire line and the thermometers on it, byte for byte, and bit for bit in a search."""

from .virtual_chips import crc_table, with_crc

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .virtual_board import VirtualBoard

WIRE_CRC = crc_table(0x8C, True)
WIRE_BIT_US = 70


class Thermometer:
    """One DS18B20: scratchpad as at power-on until it is told to convert."""

    def __init__(self, place: str, number: int) -> None:
        self.place = place
        self.code = with_crc(bytes([0x28, number, 0x1E, 0x2C, 0x1D, 0x13, 0x02]), WIRE_CRC, 0)
        self.power_on()

    def power_on(self) -> None:
        self.raw = 0x0550
        self.next_raw = 0x0550
        self.ready_us = 0

    def pad(self, board: "VirtualBoard") -> bytes:
        """The nine bytes of the scratchpad now."""
        fault = board.thermometer_faults.get(self.place, "")
        if board.us >= self.ready_us:
            self.raw = self.next_raw
        raw = 0x0550 if fault == "power_on" else self.raw
        pad = with_crc(bytes([raw & 0xFF, raw >> 8 & 0xFF, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10]), WIRE_CRC, 0)
        return pad[:8] + bytes([pad[8] ^ 0x01]) if fault == "crc" else pad

    def convert(self, board: "VirtualBoard") -> None:
        if board.thermometer_faults.get(self.place, "") != "frozen":
            self.next_raw = int((getattr(board, self.place) + 256.0) * 16.0 + 0.5) - 4096
        self.ready_us = board.us + 750000


class VirtualWire:
    """The 1-Wire line: reset, ROM command, function command; bits for the search."""

    def __init__(self, board: "VirtualBoard") -> None:
        self.board = board
        serials = (("outdoor_c", 0xAA), ("glass_c", 0x5B), ("supply_c", 0x73))
        self.thermometers = [Thermometer(place, number) for place, number in serials]
        self.selected = []
        self.state = "idle"
        self.match = b""
        self.answer = b""
        self.bit = 0

    def power_on(self) -> None:
        for thermometer in self.thermometers:
            thermometer.power_on()

    def reset(self) -> int:
        board = self.board
        board.sleep_us(960)
        faults = board.thermometer_faults
        self.selected = [t for t in self.thermometers if faults.get(t.place) != "nak"] if faults else self.thermometers
        self.state = "rom"
        self.answer = b""
        return 1 if board.wire_low or self.selected else 0

    def write(self, value: int) -> None:
        self.board.sleep_us(8 * WIRE_BIT_US)
        if self.state == "rom":
            self.state = {0xCC: "function", 0x55: "match", 0xF0: "search"}[value]
            self.match = b""
            self.bit = 0
        elif self.state == "match":
            self.match += bytes([value])
            if len(self.match) == 8:
                self.selected = [t for t in self.selected if t.code == self.match]
                self.state = "function"
        elif self.state == "function":
            if value == 0x44:
                for thermometer in self.selected:
                    thermometer.convert(self.board)
            elif value == 0xBE:
                self.answer = self.selected[0].pad(self.board) if self.selected else b""
            else:
                raise ValueError("1-Wire: function 0x%02X is not known here" % value)
            self.state = "read"
        else:
            raise ValueError("1-Wire: byte 0x%02X in state %s" % (value, self.state))

    def read(self) -> int:
        self.board.sleep_us(8 * WIRE_BIT_US)
        if self.board.wire_low:
            return 0
        if not self.answer:
            return 0xFF
        value = self.answer[0]
        self.answer = self.answer[1:]
        return value

    def read_bit(self) -> int:
        """In a search: first the bit, then its complement, each pulled low by whoever has a 0."""
        self.board.sleep_us(WIRE_BIT_US)
        if self.state != "search":
            raise ValueError("1-Wire: bits are read in a search only")
        if self.board.wire_low:
            return 0
        complement = self.bit & 1
        place = self.bit >> 1
        self.bit += 1
        for thermometer in self.selected:
            if thermometer.code[place >> 3] >> (place & 7) & 1 == complement:
                return 0
        return 1

    def write_bit(self, bit: int) -> None:
        self.board.sleep_us(WIRE_BIT_US)
        place = (self.bit >> 1) - 1
        self.selected = [t for t in self.selected if t.code[place >> 3] >> (place & 7) & 1 == bit]
