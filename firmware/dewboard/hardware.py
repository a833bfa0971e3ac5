"""The board of `dewcore.board` over all drivers: which of them run follows the settings.

    Hardware(pins, clock, settings, watchdog, rom_codes)     rom_codes: see `dewboard.thermometers`; {} for none
    .read .drive .feed .buttons .lamp                         as `dewcore.board.Board`
    .relay .contacts .humidity .room .thermometers            the drivers, for their counters and for commissioning
"""

from dewboard.contacts import Buttons, Contacts
from dewboard.humidity import Humidity, main_chips, room_chips
from dewboard.lamp import Lamp
from dewboard.relay import Relay
from dewboard.thermometers import Thermometers
from dewcore.board import Board
from dewcore.readings import Readings

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.clock import Clock
    from dewboard.pins import Pins, Watchdog
    from dewcore.settings import Settings


class Hardware(Board):
    """Everything that is wired to this board.  Made with the contact open, and only under an armed watchdog."""

    __slots__ = ("settings", "relay", "contacts", "humidity", "room", "thermometers", "press", "light", "feed")

    def __init__(
        self, pins: "Pins", clock: "Clock", settings: "Settings", watchdog: "Watchdog", rom_codes: dict
    ) -> None:
        self.relay: "Relay" = Relay(pins.relay, pins.timer, watchdog)
        self.settings: "Settings" = settings
        self.contacts: "Contacts" = Contacts(pins, clock, settings)
        self.humidity: "Humidity" = Humidity(pins.i2c, clock, main_chips())
        self.room: "Humidity" = Humidity(pins.i2c, clock, room_chips())
        self.thermometers: "Thermometers" = Thermometers(pins.wire, rom_codes)
        self.press: "Buttons" = Buttons(pins, clock)
        self.light: "Lamp" = Lamp(pins.lamp)
        self.feed = watchdog.feed

    def read(self, readings: "Readings", now_s: int) -> None:
        """All contacts, and the samples whose turn it is; 50 to 80 ms."""
        self.contacts.read(readings, now_s)
        readings.half_wave = self.contacts.half_wave
        self.humidity.step(readings.indoor_c, readings.rh_pct, now_s)
        if self.settings.has_room:
            self.room.step(readings.room_c, readings.room_rh_pct, now_s)
        self.thermometers.step(readings, now_s)

    def drive(self, valve_open: bool) -> None:
        """Contact closed for 5 s, or open now."""
        if valve_open:
            self.relay.close_contact()
        else:
            self.relay.open_contact()

    def buttons(self) -> int:
        """PRESS_* of `dewcore.board`."""
        return self.press.poll()

    def lamp(self, rhythm: int, ms: int) -> None:
        """LAMP_* of `dewcore.board` at ms."""
        self.light.show(rhythm, ms)
