"""For each setting one line of meaning, and what too low and too high do; desktop only, same names as the table."""

# name: (meaning, too low, too high)
HELP = {
    "glass_f_day": (
        "temperature factor of the coldest visible spot of glass, curtains open",
        "a drier house than the windows need",
        "wet windows: the glass is believed warmer than it is",
    ),
    "glass_f_night": (
        "the same behind drawn curtains or blinds",
        "a drier house than the windows need",
        "wet windows behind the curtains at night",
    ),
    "curtains_from_min": (
        "minute of the local day from which curtains may be drawn",
        "the night factor holds longer than needed",
        "curtains drawn earlier than believed cool the glass unseen",
    ),
    "curtains_to_min": (
        "minute of the local day by which all curtains are open",
        "curtains still drawn cool the glass unseen",
        "the night factor holds longer than needed",
    ),
    "corner_f": (
        "temperature factor of the coldest opaque corner",
        "a drier house than the walls need",
        "mould in cold corners goes unprevented",
    ),
    "vapour_excess_pa": (
        "how far indoor may exceed outdoor vapour pressure, 7-day means",
        "a drier house than walls and attic need",
        "moist air condenses inside walls and attic",
    ),
    "outdoor_rh_pct": (
        "outdoor humidity assumed where the envelope is judged",
        "a drier house than walls and attic need",
        "in dry outdoor air the walls' allowance is overstated",
    ),
    "cap_pct": (
        "highest target whatever the surfaces allow, for the building's sake",
        "no harm to the house, less comfort",
        "walls and attic take up more moisture in mild weather",
    ),
    "wish_pct": (
        "the owner's wish: highest target wanted",
        "floors crack, skin dries",
        "only the other limits hold",
    ),
    "room_colder_k": (
        "how much colder the coldest occupied room is than the main sensor",
        "wet windows in that room",
        "a drier house than needed",
    ),
    "room_excess_g_kg": (
        "moisture that sleepers add behind that room's shut door, at night",
        "wet bedroom windows by morning",
        "a drier house than needed",
    ),
    "rh_offset_pct": (
        "added to the humidity reading times rh_gain, found by a check at two salts",
        "a sensor believed drier than the air makes windows wet",
        "a drier house than needed",
    ),
    "rh_gain": (
        "what the humidity reading is multiplied by, found by a check at two salts",
        "a sensor believed drier than the air makes windows wet",
        "a drier house than needed",
    ),
    "indoor_offset_k": (
        "added to the indoor thermometer's reading, found in ice",
        "a room believed colder than it is makes a drier house than needed",
        "a room believed warmer than it is takes the glass for warmer, too: wet windows",
    ),
    "outdoor_offset_k": (
        "added to the outdoor reading, found in ice; with a feed instead of a thermometer it counts for the feed's",
        "a drier house than needed",
        "an outdoor air believed warmer than it is makes windows wet",
    ),
    "glass_offset_k": (
        "added to the reading of the thermometer on the glass, found in ice",
        "a drier house than needed",
        "the glass is believed warmer than it is: wet windows",
    ),
    "room_offset_k": (
        "added to the reading of the coldest room's thermometer, found in ice",
        "a drier house than needed",
        "that room is believed warmer than it is: wet windows in it",
    ),
    "rh_tolerance_pct": (
        "how far the humidity sensor, corrected, may be wrong",
        "a sensor reading low makes windows wet",
        "a drier house than needed",
    ),
    "indoor_tolerance_k": (
        "how far the indoor thermometer, corrected, may be wrong",
        "its error goes unallowed for",
        "a drier house than needed",
    ),
    "outdoor_tolerance_k": (
        "how far the outdoor temperature, corrected, may be wrong",
        "a warm-reading thermometer makes windows wet",
        "a drier house than needed",
    ),
    "f_tolerance": (
        "how far the glass factor may be wrong",
        "glass worse than believed gets wet",
        "a drier house than needed",
    ),
    "plain_margin_k": (
        "fixed margin at the glass that stands in for fronts and bursts",
        "fronts and showers outrun the drying of the house",
        "a drier house than needed",
    ),
    "look_ahead": (
        "1: the house's own drying, and a forecast where one comes, may raise the target above the plain reset; "
        "with 0 nobody looks at weeks of readings either: no worn pad, stuck valve or drifting sensor is told",
        "a drier house than the windows need on most days",
        "the target is as good as what the house has shown of itself",
    ),
    "window_test_allowed": (
        "1: while the owner confirms being at the window, the air may get humid enough to fog it",
        "what the window stands is learned slowly",
        "never with rotten frames or known mould: the glass gets wet",
    ),
    "band_pct": (
        "the valve opens this far below the target and shuts at it",
        "many short runs, contact wear",
        "a slow ripple the owner can feel",
    ),
    "min_on_s": (
        "shortest run of the valve (safety cuts it short)",
        "contact wear; the pad hardly gets wet",
        "overshoot in small houses",
    ),
    "min_off_s": (
        "shortest rest between runs, kept over a restart",
        "contact and valve wear",
        "too dry in cold spells",
    ),
    "max_run_s": (
        "longest run without a rest",
        "less water in long cold spells",
        "a sensor stuck low humidifies for longer",
    ),
    "rest_s": (
        "rest after the longest run",
        "the longest run hardly limits anything",
        "too dry in cold spells",
    ),
    "max_starts_per_h": (
        "most valve starts in any hour",
        "short furnace cycles leave the house too dry",
        "contact and valve wear",
    ),
    "season_max_c": (
        "no water while the 24-hour mean outdoors is above this",
        "no water on cool autumn days",
        "water in mild weather that needs none",
    ),
    "design_outdoor_c": (
        "outdoor temperature assumed when none has come for hours: a cold night of your place",
        "a very dry house while the outdoor reading is missing",
        "wet windows on a night colder than this without an outdoor reading",
    ),
    "owner_off": (
        "1: the owner has switched humidifying off",
        "humidifying is allowed",
        "the valve stays shut",
    ),
    "water_needs_heat": (
        "1: water only while the furnace heats",
        "at 0 cool duct air takes up little and the pad may drain unused",
        "at 1 a heat pump or fan-only air never carries water unless heat is proven",
    ),
    "fan_grade": (
        "what the fan contact proves: 1 the command, 2 the motor's current, 3 moving air",
        "a better proof than stated is asked to prove itself again",
        "a command is believed to be moving air: a broken blower floods the plenum",
    ),
    "has_heat_call": (
        "1: the heat call is wired in",
        "heat must be proven by warm supply air",
        "a missing wire refuses",
    ),
    "has_leak": (
        "1: a leak wire is fitted",
        "water on the floor goes unseen",
        "a missing wire refuses",
    ),
    "has_overflow": (
        "1: an overflow switch is fitted",
        "a blocked drain goes unseen",
        "a missing wire refuses",
    ),
    "has_line_sense": (
        "1: the 24 V before the contact is sensed",
        "a dead supply goes unseen",
        "a missing wire refuses",
    ),
    "has_load_sense": (
        "1: the 24 V after the contact is sensed",
        "a welded contact goes unseen",
        "a missing wire refuses",
    ),
    "has_drain_wet": (
        "1: the drain is sensed",
        "nothing shows whether water flows",
        "a missing wire refuses",
    ),
    "has_off_switch": (
        "1: the selector's second pole is wired in",
        "work on the dial looks like a weld",
        "a missing wire refuses",
    ),
    "has_absent": (
        "1: a nobody-home contact is wired in",
        "absence is not known",
        "a missing wire refuses",
    ),
    "has_glass": (
        "1: a thermometer on the coldest glass is fitted",
        "the glass is modelled only",
        "a missing one is reported",
    ),
    "has_supply": (
        "1: a supply-air thermometer is fitted",
        "warm air is not proven",
        "a missing one is reported",
    ),
    "has_room": (
        "1: sensors in the coldest room are fitted",
        "that room is modelled only",
        "a missing one is reported",
    ),
}
