"""Humidity chips on the I2C bus: found by asking, each word checked, one conversion over several beats.

    Humidity(bus, clock, chips)     chips: those that may be there, e.g. main_chips() or room_chips()
    .step(temperature, rh, now_s)   once a beat with two Samples; 3 ms, at the search and in faults at most 16 ms
    .name                           "SHT4x", "SHT3x", "AHT20", or "" while none has answered

A frame that fails leaves value and at_s as they are and sets error: ERROR_NO_ANSWER, ERROR_CHECKSUM, or ERROR_RANGE for
words at the very end of their range, which a broken chip sends.  The next beat tries again; where the data line is
held, or after 3 failures, the bus is freed; after 6 the chip is reset and looked for afresh.

Commands and times.  SHT4x (data sheet 7.1 as an open driver quotes it): measure 0xFD 8.3 ms, serial 0x89, reset 0x94
1 ms, heater 0x2F (110 mW for 1 s).  SHT3x (from memory): measure 0x2400 15.5 ms, status 0xF32D, reset 0x30A2 1.5 ms.
AHT20 (as open drivers have it, times from memory): measure 0xAC3300 80 ms, initialise 0xBE0800 10 ms, reset 0xBA 20 ms,
status bit 7 busy, bit 3 calibrated.
"""

from dewcore.readings import ERROR_CHECKSUM, ERROR_NO_ANSWER, ERROR_OK, ERROR_RANGE, Sample

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.clock import Clock
    from dewboard.pins import Bus

ETIMEDOUT = 110  # of OSError: the data line is held; any other is a chip that does not acknowledge
READ_EVERY_S = 5  # slower than a chip could, so that it does not warm itself
FREE_AFTER = 3  # failures in a row
FIND_AFTER = 6
# After condensation the SHT4x's heater drives the water out: at most one pulse of 1 s an hour, and no reading is
# believed until the chip has cooled.
HEAT_ABOVE_PCT = 97.0
HEAT_WET_S = 600
HEAT_COOL_S = 60
HEAT_EVERY_S = 3600

_RESET = 0
_IDENTIFY = 1
_START = 2
_FETCH = 3

# The CRC of Sensirion's and Aosong's data sheets (polynomial 0x31, start 0xFF), four bits at a time.
_CRC = b"\x00\x31\x62\x53\xc4\xf5\xa6\x97\xb9\x88\xdb\xea\x7d\x4c\x1f\x2e"


def crc8(buffer: bytearray, start: int, end: int) -> int:
    """CRC of buffer[start:end]."""
    crc = 0xFF
    for n in range(start, end):
        crc ^= buffer[n]
        crc = (crc << 4 & 0xFF) ^ _CRC[crc >> 4]
        crc = (crc << 4 & 0xFF) ^ _CRC[crc >> 4]
    return crc


class Sht4x:
    """SHT40, 41, 43, 45: one-byte commands, two words with a CRC each."""

    __slots__ = ("address", "frame", "temperature_c", "rh_pct")

    NAME = "SHT4x"
    RESET = b"\x94"
    IDENTIFY = b"\x89"  # the serial number, two words
    MEASURE = b"\xfd"
    HEAT = b"\x2f"
    RH_LOW = -6.0
    RH_SPAN = 125.0

    def __init__(self, address: int) -> None:
        self.address: int = address
        self.frame = bytearray(6)
        self.temperature_c: float = 0.0
        self.rh_pct: float = 0.0

    def identify(self, bus: "Bus", clock: "Clock") -> bool:
        """Whether the serial number comes, twice: once, another kind's last result may stand in for it."""
        for _ in range(2):
            bus.writeto(self.address, self.IDENTIFY)
            clock.sleep_us(1000)
            bus.readfrom_into(self.address, self.frame)
        return self._whole()

    def start(self, bus: "Bus") -> None:
        """Begin a conversion."""
        bus.writeto(self.address, self.MEASURE)

    def fetch(self, bus: "Bus") -> int:
        """Read the conversion's result into temperature_c and rh_pct; ERROR_*."""
        bus.readfrom_into(self.address, self.frame)
        if not self._whole():
            return ERROR_CHECKSUM
        f = self.frame
        t = f[0] << 8 | f[1]
        rh = f[3] << 8 | f[4]
        if not (0 < t < 0xFFFF and 0 < rh < 0xFFFF):
            return ERROR_RANGE
        self.temperature_c = -45.0 + 175.0 * t / 65535.0
        self.rh_pct = cropped(self.RH_LOW + self.RH_SPAN * rh / 65535.0)
        return ERROR_OK

    def _whole(self) -> bool:
        f = self.frame
        return crc8(f, 0, 2) == f[2] and crc8(f, 3, 5) == f[5]


class Sht3x(Sht4x):
    """SHT30, 31, 35: two-byte commands; its heater warms a few kelvin only and is not used."""

    __slots__ = ()

    NAME = "SHT3x"
    RESET = b"\x30\xa2"
    IDENTIFY = b"\xf3\x2d"  # the status register, one word
    MEASURE = b"\x24\x00"
    HEAT = b""
    RH_LOW = 0.0
    RH_SPAN = 100.0

    def identify(self, bus: "Bus", clock: "Clock") -> bool:
        """Whether the status register comes with its CRC."""
        bus.writeto(self.address, self.IDENTIFY)
        bus.readfrom_into(self.address, self.frame)
        return crc8(self.frame, 0, 2) == self.frame[2]


class Aht20:
    """AHT20: a status byte, two numbers of 20 bits and one CRC over all six."""

    __slots__ = ("address", "frame", "temperature_c", "rh_pct")

    NAME = "AHT20"
    RESET = b"\xba"
    INITIALISE = b"\xbe\x08\x00"
    MEASURE = b"\xac\x33\x00"
    HEAT = b""
    BUSY = 0x80
    CALIBRATED = 0x08

    def __init__(self, address: int) -> None:
        self.address: int = address
        self.frame = bytearray(7)
        self.temperature_c: float = 0.0
        self.rh_pct: float = 0.0

    def identify(self, bus: "Bus", clock: "Clock") -> bool:
        """Whether it is calibrated; told to, if it is not (10 ms)."""
        bus.readfrom_into(self.address, self.frame)
        if not self.frame[0] & self.CALIBRATED:
            bus.writeto(self.address, self.INITIALISE)
            clock.sleep_us(10000)
            bus.readfrom_into(self.address, self.frame)
        return self.frame[0] & self.CALIBRATED != 0

    def start(self, bus: "Bus") -> None:
        """Begin a conversion."""
        bus.writeto(self.address, self.MEASURE)

    def fetch(self, bus: "Bus") -> int:
        """Read the conversion's result into temperature_c and rh_pct; ERROR_*."""
        bus.readfrom_into(self.address, self.frame)
        f = self.frame
        if f[0] & self.BUSY:
            return ERROR_NO_ANSWER
        if crc8(f, 0, 6) != f[6]:
            return ERROR_CHECKSUM
        rh = f[1] << 12 | f[2] << 4 | f[3] >> 4
        t = (f[3] & 15) << 16 | f[4] << 8 | f[5]
        if not (0 < t < 0xFFFFF and 0 < rh < 0xFFFFF):
            return ERROR_RANGE
        self.temperature_c = 200.0 * t / 1048576.0 - 50.0
        self.rh_pct = 100.0 * rh / 1048576.0
        return ERROR_OK


def cropped(rh_pct: float) -> float:
    """0 to 100 %: the SHT4x's line runs past both ends, as its data sheet says."""
    if rh_pct < 0.0:
        return 0.0
    return 100.0 if rh_pct > 100.0 else rh_pct


def main_chips() -> "list[Sht4x | Aht20]":
    """What may measure the air of the house, in the order of trust."""
    return [Sht4x(0x44), Sht3x(0x44), Aht20(0x38)]


def room_chips() -> "list[Sht4x | Aht20]":
    """What may measure the coldest room's air, on the same bus at the other address."""
    return [Sht4x(0x45), Sht3x(0x45)]


class Humidity:
    """One place's chip, whichever it is."""

    __slots__ = ("bus", "clock", "chips", "n", "state", "next_s", "failures", "name", "wet_s", "heat_s")

    def __init__(self, bus: "Bus", clock: "Clock", chips: "list[Sht4x | Aht20]") -> None:
        self.bus: "Bus" = bus
        self.clock: "Clock" = clock
        self.chips: "list[Sht4x | Aht20]" = chips
        self.n: int = 0  # the chip in use, or the one being tried
        self.state: int = _RESET
        self.next_s: int = 0
        self.failures: int = 0
        self.name: str = ""
        self.wet_s: int = -1  # since when the air has been at the wet end
        self.heat_s: int = 0  # not before

    def step(self, temperature: "Sample", rh: "Sample", now_s: int) -> None:
        """What is due at now_s [s], if anything."""
        if now_s < self.next_s:
            return
        self.next_s = now_s + 1
        try:
            error = self._act(self.chips[self.n], temperature, rh, now_s)
        except OSError as refused:
            error = ERROR_NO_ANSWER
            if refused.args[0] == ETIMEDOUT:
                self.bus.free()
        if error == ERROR_OK:
            return
        temperature.error = error
        rh.error = error
        if self.state < _START:
            self._try_next()
            return
        self.state = _START
        self.failures += 1
        if self.failures >= FIND_AFTER:
            self.failures = 0
            self.name = ""
            self.state = _RESET
        elif self.failures == FREE_AFTER:
            self.bus.free()

    def _act(self, chip: "Sht4x | Aht20", temperature: "Sample", rh: "Sample", now_s: int) -> int:
        state = self.state
        if state == _FETCH:
            error = chip.fetch(self.bus)
            if error == ERROR_OK:
                self._take(chip, temperature, rh, now_s)
            return error
        if state == _START:
            chip.start(self.bus)
            self.state = _FETCH
        elif state == _RESET:
            self.bus.writeto(chip.address, chip.RESET)
            self.state = _IDENTIFY
        elif chip.identify(self.bus, self.clock):
            self.name = chip.NAME
            self.state = _START
        else:
            return ERROR_NO_ANSWER
        return ERROR_OK

    def _take(self, chip: "Sht4x | Aht20", temperature: "Sample", rh: "Sample", now_s: int) -> None:
        self.failures = 0
        self.state = _START
        self.next_s = now_s + READ_EVERY_S - 1
        temperature.set(chip.temperature_c, now_s)
        rh.set(chip.rh_pct, now_s)
        if not chip.HEAT or chip.rh_pct < HEAT_ABOVE_PCT:
            self.wet_s = -1
        elif self.wet_s < 0:
            self.wet_s = now_s
        elif now_s - self.wet_s >= HEAT_WET_S and now_s >= self.heat_s:
            self.heat_s = now_s + HEAT_EVERY_S
            self.wet_s = -1
            self.next_s = now_s + HEAT_COOL_S
            temperature.error = ERROR_NO_ANSWER
            rh.error = ERROR_NO_ANSWER
            self.bus.writeto(chip.address, chip.HEAT)

    def _try_next(self) -> None:
        """Nobody, or somebody else, at this address: the next chip; the bus is freed once a round."""
        self.state = _RESET
        self.n += 1
        if self.n == len(self.chips):
            self.n = 0
            self.bus.free()
