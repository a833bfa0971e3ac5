"""The contract of a board: what the beat asks of the hardware, whichever hardware it is.

The beat (once a second):  read -> decide -> drive -> feed.  Besides, several times a second:  buttons, lamp.
"""

from dewcore.readings import Readings

# Why the board started: reset_cause of the pins.  Some chips tell a power cut and a brown-out apart; none is asked to.
RESET_UNKNOWN = 0
RESET_POWER = 1
RESET_WATCHDOG = 2  # also a reset that the program asked for, on chips that reset by their watchdog

# What `buttons` returns.
PRESS_NONE = 0
PRESS_LOOK_SHORT = 1  # "clear now"
PRESS_LOOK_LONG = 2  # "fog now"
PRESS_ALARM = 3  # clear the latched alarms
PRESS_BOTH = 4  # forget the password

# What the lamp can say; dark or steadily lit for longer than LAMP_PERIOD_S of `dewboard.lamp`: the board stands still.
LAMP_OPEN = 0
LAMP_WAITING = 1  # dry enough to humidify, but heat, fan, line or a timer is awaited
LAMP_HUMID = 2  # as humid as it may be
LAMP_OFF = 3  # owner, selector, absence or season
LAMP_FAULT = 4  # a reading or a wire cannot be trusted
LAMP_ALARM = 5  # latched or wet: somebody has to come


class Board:
    """One board's hardware.  Seconds are monotonic and whole; no method waits longer than it says here."""

    __slots__ = ()

    def read(self, readings: "Readings", now_s: int) -> None:
        """Bring every fitted contact and the samples whose turn it is up to now_s [s]; at most 80 ms.

        A sample (°C, % RH) that could not be read keeps its last value and at_s and gets an ERROR_*; a contact gets
        UNREADABLE where its wire or its pulses make no sense, NOT_FITTED where a setting says so.  Never raises for
        anything that a sensor or a wire can do.
        """
        raise NotImplementedError

    def drive(self, valve_open: bool) -> None:
        """True: contact closed (valve open) for the next 5 s, after which it opens unless driven again.

        False: contact open at once.  Whoever stops calling has an open contact 5 s later, or after the watchdog's time.
        """
        raise NotImplementedError

    def feed(self) -> None:
        """Put off the watchdog's reset (7 s); only for a beat whose scan was complete and at most 15 s ago."""
        raise NotImplementedError

    def buttons(self) -> int:
        """The press that has just been completed (PRESS_*), else PRESS_NONE; to be asked every 20 to 100 ms."""
        raise NotImplementedError

    def lamp(self, rhythm: int, ms: int) -> None:
        """Show LAMP_* at ms (any clock of milliseconds, 0 to 2**30); to be called every 20 to 100 ms."""
        raise NotImplementedError
