"""Reasons: a code and one sentence each, most important first, and the one status sentence every surface shows."""

# Refusals: why the valve is shut.  The bit number is the rank: a lower one is named first.
LEAK_WET = 0
LEAK_WIRE = 1
OVERFLOW = 2
WELDED = 3
DRAIN_RUNS = 4
RELAY_FAILED = 5
SWITCH_OFF = 6
OWNER_OFF = 7
ABSENT = 8
SEASON_OVER = 9
INDOOR_BAD = 10
RH_BAD = 11
CONTACT_UNREADABLE = 12
FAN_UNFITTED = 13
FAN_UNREADABLE = 14
HEAT_UNPROVABLE = 15
HUMID_ENOUGH = 16
FAN_OFF = 17
FAN_SETTLING = 18
SUPPLY_COLD = 19
HEAT_OFF = 20
LINE_DEAD = 21
LONGEST_RUN = 22
MIN_OFF = 23
STARTS_PER_HOUR = 24
WELD_TEST = 25
RELAY_RETRY = 26
RUN_OVER = 27
SAFE_MODE = 28
BENCH_SHIM = 29

REFUSALS = (
    ("leak_wet", "Water at the leak wire: dry it, find the cause, then clear the alarm."),
    ("leak_wire", "The leak wire is broken or shorted: mend it."),
    ("overflow", "The drain or pump overflow switch is wet or broken: clear the drain."),
    ("welded", "24 V behind an open contact: it may be welded. Close the water by hand and replace the relay."),
    ("drain_runs", "Water runs although the valve is shut: close the water by hand."),
    ("relay_failed", "The contact closed three times without 24 V behind it: check relay and wiring."),
    ("switch_off", "The selector at the unit is set to off or dial only."),
    ("owner_off", "Humidifying is switched off by the owner."),
    ("absent", "Nobody is home: the water stays shut."),
    ("season_over", "It is too mild outdoors to humidify."),
    ("indoor_bad", "The indoor temperature reading cannot be trusted."),
    ("rh_bad", "The indoor humidity reading cannot be trusted."),
    ("contact_unreadable", "An interlock cannot be read: check its wire."),
    ("fan_unfitted", "No fan proof is wired in: the valve may never open without one."),
    ("fan_unreadable", "The fan proof cannot be read: check its wire."),
    ("heat_unprovable", "Water needs heat, but neither a heat call nor a supply thermometer is fitted."),
    ("humid_enough", "The house is as humid as it may be."),
    ("fan_off", "The furnace fan is not proven running."),
    ("fan_settling", "The furnace fan has just started."),
    ("supply_cold", "The fan proof says running, but the supply air does not warm up."),
    ("heat_off", "The furnace is not heating."),
    ("line_dead", "No 24 V at the humidifier terminal."),
    ("longest_run", "The valve rests after its longest run."),
    ("min_off", "The valve rests for its shortest pause."),
    ("starts_per_hour", "The valve has started often enough within the hour."),
    ("weld_test", "The contact is being tested before it closes."),
    ("relay_retry", "No 24 V came behind the closed contact: it is tried again in some minutes."),
    ("run_over", "The timed test run is over."),
    ("safe_mode", "The board took itself out of service: hold the alarm button; a damaged program is installed anew."),
    ("bench_shim", "The bench shim is on this board, which is for a bench alone: install the program without it."),
)

# Notices: worth telling, but no reason for the valve to be shut.
MIN_ON = 0
OUTDOOR_OLD = 1
OUTDOOR_NONE = 2
OUTDOOR_HELD = 3
CLOCK_UNKNOWN = 4
GLASS_BAD = 5
SUPPLY_BAD = 6
ROOM_BAD = 7
NO_WATER = 8
FAN_STUCK_OFF = 9
CEILING_PASSED = 10
WINDOW_TEST = 11
WINDOW_DRYING = 12
LOOK_NOW = 13
LOOK_AND_TEST = 14
LOOKS_TORN = 15
FORECAST_OLD = 16
FORECAST_ELSEWHERE = 17
SELF_DOUBT = 18
TIMED_RUN = 19
RH_JUMPED = 20
OUTDOOR_DOUBT = 21
NO_RISE = 22
NO_AIR = 23
RISES_SHUT = 24
PAD_WEAK = 25
RH_LOW = 26
SENSORS_DIFFER = 27
SENSOR_PLACE = 28
HALF_WAVE = 29

NOTICES = (
    ("min_on", "The valve is open to finish its shortest run: the house is humid enough."),
    ("outdoor_old", "The outdoor reading is old: the coldest of the last day holds."),
    ("outdoor_none", "No outdoor reading for hours: the design temperature gives a safe, dry target."),
    ("outdoor_held", "The outdoor reading rose fast: it is believed slowly."),
    ("clock_unknown", "The time of day is unknown: the night value of the glass always holds."),
    ("glass_bad", "The thermometer on the glass cannot be trusted: the glass is modelled, as cold as it last read."),
    ("supply_bad", "The supply-air thermometer cannot be trusted."),
    ("room_bad", "The coldest room's sensors cannot be trusted: what they last read holds, or its settings."),
    ("no_water", "The valve is open, but no water reaches the drain: check stop valve, strainer and valve."),
    ("fan_stuck_off", "The furnace heated for 24 h without a fan proof: check the fan contact."),
    ("ceiling_passed", "The house is more humid than its coldest glass allows, with the valve shut."),
    ("window_test", "Window test: the air may get more humid for half an hour."),
    ("window_drying", "After a window test the air is still humid: wipe the sill dry."),
    ("look_now", "A look teaches much now: tell whether the coldest bedroom's window is fogged or clear."),
    ("look_and_test", "A look teaches much now: confirm being at the coldest bedroom's window; dry the sill after."),
    ("looks_torn", "Looks at the window contradict each other: the lower glass factor holds."),
    ("forecast_old", "The forecast is old, or not yet due: the largest known fall of temperature holds."),
    ("forecast_elsewhere", "The forecast does not fit the outdoor reading: it is not used."),
    ("self_doubt", "The house dried more slowly than foretold: the cautious start holds until it fits again."),
    ("timed_run", "A timed test run: water may flow although the house is humid enough. Watch the drain."),
    ("rh_jumped", "The humidity reading fell at once as no air does: see to the sensor, then clear the alarm."),
    ("outdoor_doubt", "The outdoor reading cannot be right: check the thermometer, its place, and a feed's unit."),
    ("no_rise", "Open valve, but no moister air: check stop valve, strainer, valve, damper, pad and blower."),
    ("no_air", "Water flows, but the air gets no moister: check summer damper, pad and blower."),
    ("rises_shut", "The air gets moister with the valve shut: it may be stuck open. Close the water by hand."),
    ("pad_weak", "The humidifier adds half of what it did: check pad and nozzle."),
    ("rh_low", "The house seems to make far less moisture: the humidity sensor may read low, or nobody is home."),
    ("sensors_differ", "Main and room humidity have differed by 5 % all day: check both sensors."),
    ("sensor_place", "The main sensor warms with the furnace: it hangs in supply air, or too near to it."),
    ("half_wave", "A 24 V sense sees half of the wave only: check for a diode in the circuit or a broken sense."),
)

ON_BENCH = "On the bench: the bench shim runs on this board, and every reading is made up."

OPEN_NAME = "open"
OPEN_SENTENCE = "The valve is open: the house is drier than it may be and the fan is proven."


def first_bit(mask: int) -> int:
    """Number of the lowest set bit of a mask > 0."""
    n = 0
    while not mask & 1:
        mask >>= 1
        n += 1
    return n


def reason_name(refusals: int) -> str:
    """Name of the most important refusal, or `open` where there is none."""
    return REFUSALS[first_bit(refusals)][0] if refusals else OPEN_NAME


def sentences(refusals: int, notices: int) -> list:
    """Every sentence that holds, most important first, refusals before notices."""
    found = [] if refusals else [status_sentence(0, notices)]
    for table, mask in ((REFUSALS, refusals), (NOTICES, notices)):
        for n in range(len(table)):
            if mask >> n & 1 and table[n][1] not in found:
                found.append(table[n][1])
    return found


def status_sentence(refusals: int, notices: int) -> str:
    """The one sentence that every surface shows for a decision."""
    if refusals:
        return REFUSALS[first_bit(refusals)][1]
    if notices >> TIMED_RUN & 1:
        return NOTICES[TIMED_RUN][1]
    return NOTICES[MIN_ON][1] if notices >> MIN_ON & 1 else OPEN_SENTENCE


def decimal(value: float, places: int) -> str:
    """A number as text by integer arithmetic, the same on every interpreter; halves away from zero."""
    scale = 1
    for _ in range(places):
        scale *= 10
    n = int(value * scale + 0.5) if value >= 0 else -int(0.5 - value * scale)
    sign = "-" if n < 0 else ""
    whole, rest = divmod(abs(n), scale)
    if places == 0:
        return sign + str(whole)
    digits = str(rest)
    return sign + str(whole) + "." + "0" * (places - len(digits)) + digits


def signed(text: str) -> str:
    """A decimal number with a true minus sign, as people are shown it; on a wire and in a file it is a hyphen."""
    return text.replace("-", "\u2212")
