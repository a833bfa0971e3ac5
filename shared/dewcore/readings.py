"""What the board hands to the decision (Sample, Contact, Readings) and what the decision believes (Inputs)."""

from array import array

from dewcore.psychro import sat_water_pa

# Sample.error
ERROR_OK = 0
ERROR_NO_ANSWER = 1
ERROR_CHECKSUM = 2
ERROR_RANGE = 3

# Contact.state
OFF = 0
ON = 1
UNREADABLE = 2  # also a broken wire
NOT_FITTED = -1

# Readings.request
REQUEST_NONE = 0
REQUEST_REARM = 1  # learned parts start afresh
REQUEST_WINDOW = 2  # the owner confirms being at the window
REQUEST_TIMED_RUN = 3
REQUEST_CLEAR = 4  # the owner has seen to the cause of a latched alarm

# Readings.look
SAW_NOTHING = 0
SAW_FOG = 1  # "fog now"
SAW_CLEAR = 2  # "clear now"

# Channel numbers of the samples, and their names in the same order.
INDOOR = 0
RH = 1
OUTDOOR = 2
GLASS = 3
SUPPLY = 4
ROOM = 5
ROOM_RH = 6
INDOOR_AND_RH = (1 << INDOOR) | (1 << RH)  # as bits of Inputs.trusted
SAMPLE_NAMES = ("indoor_c", "rh_pct", "outdoor_c", "glass_c", "supply_c", "room_c", "room_rh_pct")
CONTACT_NAMES = (
    "fan",
    "heat_call",
    "leak",
    "overflow",
    "line_sense",
    "load_sense",
    "drain_wet",
    "off_switch",
    "absent",
)

FORECAST_HOURS = 72
FORECAST_NONE = -32768  # a missing hour in Readings.forecast_dc

# Inputs.status of a channel
TRUSTED = 0
MISSING = 1
STALE = 2
OUT_OF_RANGE = 3
FROZEN = 4
JUMPING = 5
UNFITTED = 6

# Inputs.outdoor_basis: where the believed outdoor temperature comes from
OUTDOOR_READ = 0
OUTDOOR_DAY_LOWEST = 1  # reading too old: the lowest of the last 24 h
OUTDOOR_DESIGN = 2  # none for hours: the design temperature


class Sample:
    """One reading: value (may be NaN), at_s monotonic seconds (-1 never), error (ERROR_*)."""

    __slots__ = ("value", "at_s", "error")

    def __init__(self) -> None:
        self.value: float = 0.0
        self.at_s: int = -1
        self.error: int = ERROR_NO_ANSWER

    def set(self, value: float, at_s: int) -> None:
        """A reading that arrived whole at at_s [s]."""
        self.value = value
        self.at_s = at_s
        self.error = ERROR_OK


class Contact:
    """One contact, debounced by the board: state (OFF, ON, UNREADABLE, NOT_FITTED) and since when [s]."""

    __slots__ = ("state", "since_s")

    def __init__(self) -> None:
        self.state: int = NOT_FITTED
        self.since_s: int = 0

    def set(self, state: int, now_s: int) -> None:
        """The state at now_s [s]; since_s moves only when the state changes."""
        if state != self.state:
            self.state = state
            self.since_s = now_s


class Readings:
    """All that the board knows at one moment; preallocated, filled in place.

    Samples in °C and % RH, contacts as CONTACT_NAMES.  half_wave: a bit for each AC sense that sees half of the wave
    only.  utc_s: epoch seconds, 0 unknown.  forecast_dc: one
    value an hour from forecast_start_s (UTC), in 0.1 °C, FORECAST_NONE where missing.
    """

    __slots__ = SAMPLE_NAMES + CONTACT_NAMES + (
        "samples",
        "contacts",
        "look",
        "request",
        "request_until_s",
        "half_wave",
        "utc_s",
        "utc_offset_s",
        "forecast_issued_s",
        "forecast_start_s",
        "forecast_dc",
    )

    def __init__(self) -> None:
        self.indoor_c: "Sample" = Sample()
        self.rh_pct: "Sample" = Sample()
        self.outdoor_c: "Sample" = Sample()
        self.glass_c: "Sample" = Sample()
        self.supply_c: "Sample" = Sample()
        self.room_c: "Sample" = Sample()
        self.room_rh_pct: "Sample" = Sample()
        self.samples: "list[Sample]" = [
            self.indoor_c,
            self.rh_pct,
            self.outdoor_c,
            self.glass_c,
            self.supply_c,
            self.room_c,
            self.room_rh_pct,
        ]
        self.fan: "Contact" = Contact()
        self.heat_call: "Contact" = Contact()
        self.leak: "Contact" = Contact()
        self.overflow: "Contact" = Contact()
        self.line_sense: "Contact" = Contact()
        self.load_sense: "Contact" = Contact()
        self.drain_wet: "Contact" = Contact()
        self.off_switch: "Contact" = Contact()
        self.absent: "Contact" = Contact()
        self.contacts: "list[Contact]" = [
            self.fan,
            self.heat_call,
            self.leak,
            self.overflow,
            self.line_sense,
            self.load_sense,
            self.drain_wet,
            self.off_switch,
            self.absent,
        ]
        self.look: int = 0
        self.request: int = REQUEST_NONE
        self.request_until_s: int = 0
        self.half_wave: int = 0
        self.utc_s: int = 0
        self.utc_offset_s: int = 0
        self.forecast_issued_s: int = 0
        self.forecast_start_s: int = 0
        self.forecast_dc = array("h", [FORECAST_NONE] * FORECAST_HOURS)


class Inputs:
    """The samples as believed: finite last good floats, what may be trusted, why not, and how old.

    trusted: bit n set for channel n; status: a code a channel; age_s: seconds, -1 never;
    humidity_ratio [kg/kg] of the indoor air at standard pressure; indoor_sat_pa: what it would hold at
    saturation over water [Pa], by which every vapour pressure becomes RH at the main sensor.  Only judge builds it.
    """

    __slots__ = SAMPLE_NAMES + (
        "trusted",
        "status",
        "age_s",
        "humidity_ratio",
        "indoor_sat_pa",
        "outdoor_basis",
        "outdoor_held",
    )

    def __init__(self) -> None:
        self.indoor_c: float = 20.0
        self.rh_pct: float = 100.0
        self.outdoor_c: float = 0.0
        self.glass_c: float = 0.0
        self.supply_c: float = 0.0
        self.room_c: float = 0.0
        self.room_rh_pct: float = 100.0
        self.trusted: int = 0
        self.status = array("b", [MISSING] * 7)
        self.age_s = array("i", [-1] * 7)
        self.humidity_ratio: float = 0.0
        self.indoor_sat_pa: float = sat_water_pa(self.indoor_c)
        self.outdoor_basis: int = OUTDOOR_DESIGN
        self.outdoor_held: bool = False
