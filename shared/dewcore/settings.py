"""The one table of settings (name, unit, default, bounds), how values enter it, and what must agree.

What too low and too high do stands under the same names in `settings_help`, which stays off the board.
"""

SWITCH = "switch"  # 0 or 1

# name, unit, default, lowest, highest; whole numbers where the default is an int.  Annotated as plain, so that
# a compiler does not join whole and broken numbers into one type.
TABLE: tuple = (
    # the glass: temperature factor of the coldest visible spot, curtains open and drawn
    ("glass_f_day", "1", 0.55, 0.05, 0.98),
    ("glass_f_night", "1", 0.50, 0.05, 0.98),
    ("curtains_from_min", "min", 1080, 0, 1439),
    ("curtains_to_min", "min", 480, 0, 1439),
    # the other surfaces and the owner
    ("corner_f", "1", 0.70, 0.30, 0.98),
    ("vapour_excess_pa", "Pa", 540.0, 270.0, 810.0),
    ("outdoor_rh_pct", "%", 80.0, 50.0, 100.0),
    ("cap_pct", "%", 40.0, 15.0, 45.0),
    ("wish_pct", "%", 40.0, 10.0, 45.0),
    # the coldest occupied room against the main sensor's
    ("room_colder_k", "K", 0.0, 0.0, 10.0),
    ("room_excess_g_kg", "g/kg", 0.0, 0.0, 5.0),
    # the humidity sensor's correction, found at two salts: RH = rh_offset_pct + rh_gain * reading
    ("rh_offset_pct", "%", 0.0, -10.0, 10.0),
    ("rh_gain", "1", 1.0, 0.8, 1.25),
    # added to a thermometer's reading, found in ice; one that is farther off is broken or hangs in the wrong place
    ("indoor_offset_k", "K", 0.0, -2.0, 2.0),
    ("outdoor_offset_k", "K", 0.0, -2.0, 2.0),
    ("glass_offset_k", "K", 0.0, -2.0, 2.0),
    ("room_offset_k", "K", 0.0, -2.0, 2.0),
    # how far a reading, as corrected, or the glass factor may be wrong
    ("rh_tolerance_pct", "%", 2.0, 0.0, 10.0),
    ("indoor_tolerance_k", "K", 0.3, 0.0, 3.0),
    ("outdoor_tolerance_k", "K", 0.5, 0.0, 5.0),
    ("f_tolerance", "1", 0.03, 0.0, 0.2),
    # the fixed margin of the plain reset; it stands in for what the house does after the decision (fronts that
    # outrun its drying, bursts from showers and cooking).  In simulated houses 5 K left some with wet glass,
    # 7 K one, 8 K none; hence the default
    ("plain_margin_k", "K", 8.0, 4.0, 12.0),
    # whether the target may rise above the plain reset as far as a look ahead allows
    ("look_ahead", SWITCH, 1, 0, 1),
    # whether the owner may let the glass fog while standing at it
    ("window_test_allowed", SWITCH, 0, 0, 1),
    # the valve
    ("band_pct", "%", 0.7, 0.5, 5.0),
    ("min_on_s", "s", 180, 60, 1800),
    ("min_off_s", "s", 300, 60, 3600),
    ("max_run_s", "s", 21600, 1800, 86400),
    ("rest_s", "s", 900, 60, 7200),
    ("max_starts_per_h", "1/h", 6, 1, 12),
    # season, owner, heat
    ("season_max_c", "°C", 15.0, 5.0, 20.0),
    ("design_outdoor_c", "°C", -30.0, -50.0, 0.0),
    ("owner_off", SWITCH, 0, 0, 1),
    ("water_needs_heat", SWITCH, 1, 0, 1),
    # what the fan contact proves: 1 command, 2 motor, 3 airflow
    ("fan_grade", "1", 1, 1, 3),
    # what is fitted
    ("has_heat_call", SWITCH, 1, 0, 1),
    ("has_leak", SWITCH, 1, 0, 1),
    ("has_overflow", SWITCH, 0, 0, 1),
    ("has_line_sense", SWITCH, 1, 0, 1),
    ("has_load_sense", SWITCH, 1, 0, 1),
    ("has_drain_wet", SWITCH, 0, 0, 1),
    ("has_off_switch", SWITCH, 1, 0, 1),
    ("has_absent", SWITCH, 0, 0, 1),
    ("has_glass", SWITCH, 0, 0, 1),
    ("has_supply", SWITCH, 0, 0, 1),
    ("has_room", SWITCH, 0, 0, 1),
)

UNITS = ("1", "%", "K", "°C", "Pa", "g/kg", "min", "s", "1/h", SWITCH)


class SettingError(ValueError):
    """A setting refused; the text says which, what was found, what is allowed and what to do."""


def row_of(name: str) -> tuple:
    """The table's row for a name; SettingError where there is none."""
    for row in TABLE:
        if row[0] == name:
            return row
    raise SettingError(name + ": no such setting; remove it or correct its name")


def accepted(name: str, value: object) -> object:
    """The value as the table's type (int or float), or SettingError.  No text is turned into a number."""
    row = row_of(name)
    whole = isinstance(row[2], int)
    if row[1] == SWITCH and isinstance(value, bool):
        value = int(value)  # true and false say it as well as 1 and 0
    if isinstance(value, bool) or not isinstance(value, int) and not isinstance(value, float):
        raise SettingError(_refusal(row, "not a number", value))
    if not row[3] <= value <= row[4]:  # false for NaN and both infinities, too
        raise SettingError(_refusal(row, "out of bounds", value))
    if whole:
        if int(value) != value:
            raise SettingError(_refusal(row, "not a whole number", value))
        return int(value)
    return float(value)


def _refusal(row: tuple, what: str, value: object) -> str:
    found = repr(value)
    if len(found) > 40:
        found = found[:40] + "..."
    bounds = "true or false, 1 or 0" if row[1] == SWITCH else str(row[3]) + " to " + str(row[4])
    unit = "" if row[1] == "1" or row[1] == SWITCH else " " + row[1]
    return row[0] + ": found " + found + ", " + what + "; allowed " + bounds + unit + "; correct it"


class Settings:
    """All settings as attributes under the table's names, each within its bounds, the whole consistent."""

    __slots__ = tuple(row[0] for row in TABLE)

    def __init__(self) -> None:
        self.glass_f_day: float = 0.0
        self.glass_f_night: float = 0.0
        self.curtains_from_min: int = 0
        self.curtains_to_min: int = 0
        self.corner_f: float = 0.0
        self.vapour_excess_pa: float = 0.0
        self.outdoor_rh_pct: float = 0.0
        self.cap_pct: float = 0.0
        self.wish_pct: float = 0.0
        self.room_colder_k: float = 0.0
        self.room_excess_g_kg: float = 0.0
        self.rh_offset_pct: float = 0.0
        self.rh_gain: float = 0.0
        self.indoor_offset_k: float = 0.0
        self.outdoor_offset_k: float = 0.0
        self.glass_offset_k: float = 0.0
        self.room_offset_k: float = 0.0
        self.rh_tolerance_pct: float = 0.0
        self.indoor_tolerance_k: float = 0.0
        self.outdoor_tolerance_k: float = 0.0
        self.f_tolerance: float = 0.0
        self.plain_margin_k: float = 0.0
        self.look_ahead: int = 0
        self.window_test_allowed: int = 0
        self.band_pct: float = 0.0
        self.min_on_s: int = 0
        self.min_off_s: int = 0
        self.max_run_s: int = 0
        self.rest_s: int = 0
        self.max_starts_per_h: int = 0
        self.season_max_c: float = 0.0
        self.design_outdoor_c: float = 0.0
        self.owner_off: int = 0
        self.water_needs_heat: int = 0
        self.fan_grade: int = 0
        self.has_heat_call: int = 0
        self.has_leak: int = 0
        self.has_overflow: int = 0
        self.has_line_sense: int = 0
        self.has_load_sense: int = 0
        self.has_drain_wet: int = 0
        self.has_off_switch: int = 0
        self.has_absent: int = 0
        self.has_glass: int = 0
        self.has_supply: int = 0
        self.has_room: int = 0
        for row in TABLE:  # the one place a default comes from
            setattr(self, row[0], row[2])

    def change(self, values: dict) -> None:
        """Set all of `values` or none: SettingError names the first that is refused."""
        before = []
        for name in values:
            new = accepted(name, values[name])
            before.append((name, getattr(self, name), new))
        for name, _, new in before:
            setattr(self, name, new)
        problem = disagreement(self)
        if problem:
            for name, old, _ in before:
                setattr(self, name, old)
            raise SettingError(problem)


def disagreement(s: "Settings") -> str:
    """What two settings together make impossible, with what to do; empty where they agree."""
    if s.glass_f_night > s.glass_f_day:
        return "glass_f_night: above glass_f_day; curtains only cool the glass: lower it or raise glass_f_day"
    if s.curtains_from_min == s.curtains_to_min:
        return "curtains_from_min: equals curtains_to_min; give another minute, night is from one to the other"
    if s.min_on_s >= s.max_run_s:
        return "min_on_s: not below max_run_s; shorten the shortest run or allow a longer one"
    if s.has_load_sense and not s.has_line_sense:
        return "has_load_sense: needs has_line_sense; give both or neither: a load is judged on a live line"
    return ""
