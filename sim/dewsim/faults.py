"""The faults that the campaign shows: what breaks, when, for how long, and what the owner has to be told.

A fault's number is that of the list of forty the campaign was planned with; ELSEWHERE names the tests of the others.
"""

from math import inf, nan

from dewcore.readings import ERROR_CHECKSUM, ERROR_NO_ANSWER, OFF, ON, UNREADABLE
from dewsim import faults_board as b

DAY_S = 86400
BARE, FULL = "bare", "full"  # the default circuit; and with supply, glass, drain, overflow and room sensors
DIRECT, BOARD = "direct", "board"  # the decision alone, a scan each 10 s; the firmware's app, a beat each second
ANY, OPEN = "any", "open"  # the valve when the fault begins
BOOT = ("contact_unreadable", "fan_unfitted", "indoor_bad", "leak_wire", "outdoor_none", "rh_bad")  # until first read
NOTHING: tuple = ()  # no word is right: the fault must change nothing
AFTER_DAYS = 14
BOARD_DAYS = 1  # a beat a second is slow to simulate, and nothing on the board takes longer

# Words that mean something is broken.  A word of these without a fault is a false alarm.
BROKEN = (
    "leak_wet", "leak_wire", "overflow", "welded", "drain_runs", "relay_failed", "relay_retry", "indoor_bad", "rh_bad",
    "contact_unreadable", "fan_unfitted", "fan_unreadable", "heat_unprovable", "supply_cold", "safe_mode",
    "outdoor_old", "outdoor_none", "glass_bad", "supply_bad", "room_bad", "no_water", "fan_stuck_off",
    "rh_jumped", "outdoor_doubt", "no_rise", "no_air", "rises_shut", "pad_weak", "rh_low", "sensors_differ",
    "sensor_place", "half_wave",
)  # fmt: skip


class Fault:
    """One fault.

    right: words (of dewcore.words) any of which names the cause; also: words that may stand beside them; stops: the
    valve must be shut from the first right word on, as long as the fault lasts; held: the controller can keep the
    glass dry, so no added wet minute is allowed; begin(world): breaks parts; inject(world): spoils readings before
    each scan; lasts_s: then the part is whole again (0: to the end); days: followed after the onset.
    """

    def __init__(self, name, number, what, right, begin=None, inject=None, **options):
        self.name, self.number, self.what, self.right = name, number, what, right
        self.begin, self.inject = begin, inject
        self.config = options.pop("config", BARE)
        self.path = options.pop("path", DIRECT)
        self.when = options.pop("when", ANY)
        self.also = options.pop("also", ())
        self.stops = options.pop("stops", False)
        self.held = options.pop("held", True)
        self.days = options.pop("days", AFTER_DAYS if self.path == DIRECT else BOARD_DAYS)
        self.kind = options.pop("kind")
        assert not options, options


# What each does to the readings or the parts


def setting(**parts):
    """A part broken from now on."""

    def begin(world):
        for name, value in parts.items():
            setattr(world, name, value)

    return begin


def lost(*names, error=ERROR_NO_ANSWER):
    """Sensors that do not answer."""

    def inject(world):
        for name in names:
            sample = getattr(world.readings, name)
            sample.error = error
            sample.at_s = world.begun_s - 1 if world.begun_s else -1

    return inject


def lost_share(share, error, *names):
    """Sensors whose answer fails in so many readings of a hundred."""

    def inject(world):
        failed = world.chance.random() < 0.01 * share
        for name in names:
            sample = getattr(world.readings, name)
            if failed:
                sample.error = error
                sample.at_s = world.kept.get(name, -1)
            else:
                world.kept[name] = sample.at_s

    return inject


def frozen(*names):
    """Sensors that go on telling what they told when it began."""

    def inject(world):
        for name in names:
            sample = getattr(world.readings, name)
            sample.value = world.kept.setdefault(name, sample.value)

    return inject


def shifted(name, by):
    """A sensor that reads wrong by a constant."""

    def inject(world):
        getattr(world.readings, name).value += by

    return inject


def drifting(name, per_day):
    """A sensor that errs more each day."""

    def inject(world):
        getattr(world.readings, name).value += per_day * world.since_s / DAY_S

    return inject


def garbage(name, values):
    """One impossible value after the other."""

    def inject(world):
        getattr(world.readings, name).value = values[world.now_s // 10 % len(values)]

    return inject


def spikes(name, by, every_s):
    """One wrong sample now and then, up and down."""

    def inject(world):
        if world.now_s // every_s != world.kept.get("spike", world.begun_s // every_s):
            world.kept["spike"] = world.now_s // every_s
            getattr(world.readings, name).value += by if world.now_s // every_s % 2 else -by

    return inject


def lagging(name, tau_s, dead_s):
    """A slow sensor: dead time, then a first-order lag."""

    def inject(world):
        sample = getattr(world.readings, name)
        line = world.kept.setdefault("line", [])
        line.append((world.now_s, sample.value))
        while len(line) > 1 and line[1][0] <= world.now_s - dead_s:
            line.pop(0)
        told, at_s = world.kept.get("told", (sample.value, world.now_s))
        told += (line[0][1] - told) * min(1.0, (world.now_s - at_s) / tau_s)
        world.kept["told"] = (told, world.now_s)
        sample.value = told

    return inject


def every(name, seconds):
    """A sensor that is read anew only so often."""

    def inject(world):
        sample = getattr(world.readings, name)
        value, at_s = world.kept.get(name, (sample.value, world.now_s))
        if world.now_s - at_s >= seconds:
            value, at_s = sample.value, world.now_s
        world.kept[name] = (value, at_s)
        sample.value, sample.at_s = value, at_s

    return inject


def fahrenheit(world):
    """A feed that begins to send °F under the name of °C."""
    world.readings.outdoor_c.value = 32.0 + 1.8 * world.readings.outdoor_c.value


def swapped(a, b):
    """Two thermometers, each in the other's place."""

    def inject(world):
        one, other = getattr(world.readings, a), getattr(world.readings, b)
        one.value, other.value = other.value, one.value

    return inject


def indoors(world):
    """The outdoor thermometer lies in a room that is heated a little: 12 °C or warmer."""
    sample = world.readings.outdoor_c
    sample.value = 0.4 * sample.value + 0.6 * world.readings.indoor_c.value


def in_the_duct(world):
    """The main sensor sits in the supply duct: warm and dry while the furnace heats, lagging by some minutes."""
    r = world.readings
    told = world.kept.get("duct", 0.0)
    at_s = world.kept.get("at_s", world.now_s)
    told += ((15.0 if world.heat and world.fan else 0.0) - told) * min(1.0, (world.now_s - at_s) / 240.0)
    world.kept["duct"], world.kept["at_s"] = told, world.now_s
    r.rh_pct.value *= 0.5 ** (told / 10.0)  # the same air 10 K warmer has about half the RH
    r.indoor_c.value += told


def clock_jumps(world):
    """The wall clock is set an hour, and thirty years, forth and back, four times a day."""
    world.utc_shift_s = (0, 3600, -3600, 946684800, -946684800)[world.since_s // 21600 % 5]


def no_air(world):
    """No air through the pad: it evaporates nothing from now on."""
    scale_pad(world, 0.0, 0.0)


def scale_pad(world, share, per_day):
    """The pad evaporates a share of what it did, and `per_day` less of that each day, never less than a fifth."""
    from array import array

    least = min(0.2, share)
    capacity = array("d", world.course.capacity_kg_h)
    for k in range(world.k, len(capacity)):
        capacity[k] *= max(least, share - per_day * (k - world.k) / 1440.0)
    world.house._capacity = capacity


def blower_dead(world):
    """The motor turns nothing: the call, the terminal and the fan proof go on, no air moves."""
    no_air(world)
    world.kept["blower"] = True


def no_flow(world):
    """Without air the thermometer in the duct stays at the room's temperature."""
    if world.settings.has_supply:
        world.readings.supply_c.value = world.readings.indoor_c.value


RH = "rh_pct"
T = "indoor_c"
OUT = "outdoor_c"
SENSOR, ACTUATOR, FURNACE, WEATHER, ITSELF = "sensor", "actuator", "furnace", "outdoors", "board"

FAULTS = (
    Fault("rh_frozen", 1, "indoor RH stands still, the temperature goes on", ("rh_bad",), None, frozen(RH),
          kind=SENSOR, stops=True),
    Fault("chip_frozen", 1, "indoor RH and temperature both stand still", ("rh_bad", "indoor_bad"), None,
          frozen(RH, T), kind=SENSOR, stops=True),
    Fault("rh_drift", 2, "indoor RH reads 0.5 % lower each day", ("rh_low", "sensors_differ"), None,
          drifting(RH, -0.5), kind=SENSOR, days=60, held=False),
    Fault("rh_drift_room", 2, "the same with a second sensor in a room", ("sensors_differ", "rh_low"), None,
          drifting(RH, -0.5), kind=SENSOR, days=60, config=FULL),
    Fault("rh_crc_1", 3, "1 % of the RH frames damaged", NOTHING, None, lost_share(1, ERROR_CHECKSUM, RH, T),
          kind=SENSOR),
    Fault("rh_crc_30", 3, "30 % of the RH frames damaged", NOTHING, None, lost_share(30, ERROR_CHECKSUM, RH, T),
          kind=SENSOR, also=("rh_bad", "indoor_bad")),
    Fault("rh_crc_100", 3, "every RH frame damaged", ("rh_bad", "indoor_bad"), None, lost(RH, T, error=ERROR_CHECKSUM),
          kind=SENSOR, stops=True),
    Fault("bus_dead", 4, "the humidity chip does not answer", ("rh_bad", "indoor_bad"), None, lost(RH, T),
          kind=SENSOR, stops=True),
    Fault("rh_garbage", 5, "indoor RH -5, 130, infinite or no number", ("rh_bad",), None,
          garbage(RH, (-5.0, 130.0, inf, nan, -inf)), kind=SENSOR, stops=True),
    Fault("indoor_garbage", 5, "indoor temperature -200, 200 or no number", ("indoor_bad",), None,
          garbage(T, (-200.0, 200.0, nan)), kind=SENSOR, stops=True),
    Fault("rh_spikes", 6, "single RH samples wrong by 20 %", NOTHING, None, spikes(RH, 20.0, 600), kind=SENSOR),
    Fault("rh_step", 6, "indoor RH reads 20 % too low from one reading to the next", ("rh_jumped", "rh_bad"), None,
          shifted(RH, -20.0), kind=SENSOR, stops=True),
    Fault("rh_lag", 7, "RH sensor with 5 min dead time and 20 min lag", NOTHING, None, lagging(RH, 1200.0, 300),
          kind=SENSOR),
    Fault("rh_slow", 8, "RH read only every 100 s", ("rh_bad",), None, every(RH, 100), kind=SENSOR),
    Fault("rh_gaps", 8, "half of the RH readings missing", NOTHING, None, lost_share(50, ERROR_NO_ANSWER, RH, T),
          kind=SENSOR, also=("rh_bad", "indoor_bad")),
    Fault("outdoor_lost", 9, "no outdoor reading any more", ("outdoor_old", "outdoor_none"), None, lost(OUT),
          kind=WEATHER),
    Fault("outdoor_up", 10, "outdoor reads 20 K too warm at once", ("outdoor_doubt",), None, shifted(OUT, 20.0),
          kind=WEATHER, also=("outdoor_old", "outdoor_none")),
    Fault("outdoor_down", 10, "outdoor reads 20 K too cold at once", NOTHING, None, shifted(OUT, -20.0),
          kind=WEATHER),
    Fault("outdoor_garbage", 11, "outdoor -90, 75, infinite or no number", ("outdoor_old", "outdoor_none"), None,
          garbage(OUT, (-90.0, 75.0, inf, nan)), kind=WEATHER),
    Fault("outdoor_fahrenheit", 12, "outdoor in °F under the name of °C", ("outdoor_doubt",), None,
          fahrenheit, kind=WEATHER, also=("outdoor_old", "outdoor_none")),
    Fault("outdoor_indoors", 2, "the outdoor thermometer lies in a heated garage", ("outdoor_doubt",),
          None, indoors, kind=WEATHER, also=("outdoor_old", "outdoor_none")),
    Fault("thermometers_swapped", 2, "outdoor and glass thermometer swapped", ("outdoor_doubt",), None,
          swapped(OUT, "glass_c"), kind=SENSOR, config=FULL, also=("outdoor_old", "outdoor_none")),
    Fault("supply_swapped", 2, "outdoor and supply thermometer swapped", ("outdoor_doubt",), None,
          swapped(OUT, "supply_c"), kind=SENSOR, config=FULL,
          also=("outdoor_old", "outdoor_none", "supply_cold", "supply_bad")),
    Fault("main_in_duct", 2, "the main sensor hangs in the supply duct", ("sensor_place", "sensors_differ"), None,
          in_the_duct, kind=SENSOR),
    Fault("blower_dead", 15, "fan proof and terminal live, no air moves", ("no_rise",), blower_dead, no_flow,
          kind=FURNACE),
    Fault("blower_dead_supply", 15, "the same with a supply thermometer", ("supply_cold",), blower_dead, no_flow,
          kind=FURNACE, config=FULL, stops=True, also=("no_rise", "no_air")),
    Fault("fan_contact_on", 15, "fan contact stuck closed", NOTHING, setting(fan_reads=ON), kind=FURNACE),
    Fault("fan_contact_off", 16, "fan contact never closes", ("fan_stuck_off",), setting(fan_reads=OFF),
          kind=FURNACE, stops=True),
    Fault("fan_contact_torn", 17, "fan contact bounces all the time", ("fan_unreadable",),
          setting(fan_reads=UNREADABLE), kind=FURNACE, stops=True, also=("fan_stuck_off",)),
    Fault("welded", 19, "the relay's contact is welded", ("welded",), setting(welded=True), kind=ACTUATOR, when=OPEN,
          held=False),
    Fault("relay_open", 20, "the relay never closes", ("relay_failed", "relay_retry"), setting(coil_open=True),
          kind=ACTUATOR, when=OPEN),
    Fault("supply_24v_lost", 21, "no 24 V at the terminal", ("line_dead",), setting(terminal_dead=True),
          kind=FURNACE, stops=True, when=OPEN),
    Fault("load_reads_on", 22, "load sense stuck on", ("welded",), setting(load_reads=ON), kind=ACTUATOR, stops=True,
          when=OPEN, also=("no_rise",)),
    Fault("load_reads_off", 22, "load sense stuck off", ("relay_failed", "relay_retry"), setting(load_reads=OFF),
          kind=ACTUATOR, when=OPEN, stops=True),
    Fault("valve_shut", 23, "the valve never opens", ("no_rise",), setting(stuck_valve="shut"), kind=ACTUATOR,
          when=OPEN),
    Fault("valve_shut_drain", 23, "the same with drain electrodes", ("no_water",), setting(stuck_valve="shut"),
          kind=ACTUATOR, when=OPEN, config=FULL, also=("no_rise",)),
    Fault("water_off", 23, "the stop valve is shut", ("no_rise",), setting(water_off=True), kind=ACTUATOR,
          when=OPEN),
    Fault("valve_open", 23, "the valve never shuts", ("rises_shut",), setting(stuck_valve="open"), kind=ACTUATOR,
          when=OPEN, held=False),
    Fault("valve_open_drain", 23, "the same with drain electrodes", ("drain_runs",), setting(stuck_valve="open"),
          kind=ACTUATOR, when=OPEN, config=FULL, held=False, stops=True, also=("rises_shut",)),
    Fault("damper_shut", 23, "the summer damper is shut", ("no_rise",), no_air, kind=ACTUATOR),
    Fault("damper_shut_drain", 23, "the same with drain electrodes", ("no_air",), no_air, kind=ACTUATOR, config=FULL),
    Fault("pad_worn", 23, "the pad evaporates 2 % less each day", ("pad_weak", "no_rise", "no_air"),
          lambda world: scale_pad(world, 1.0, 0.02), kind=ACTUATOR, days=60),
    Fault("leak_wet", 24, "water at the leak wire", ("leak_wet",), setting(leak_reads=ON), kind=ACTUATOR, stops=True),
    Fault("leak_wire_cut", 25, "the leak wire is cut", ("leak_wire",), setting(leak_reads=UNREADABLE), kind=ACTUATOR,
          stops=True),
    Fault("ticks_wrap", 26, "the millisecond counter starts again", NOTHING, b.wraps, kind=ITSELF, path=BOARD,
          when=OPEN),
    Fault("clock_jumps", 27, "the wall clock jumps by an hour and by 30 years", NOTHING, None, clock_jumps,
          kind=ITSELF),
    Fault("clock_fast", 28, "the board's clock 20 % fast", NOTHING, b.pace_of(1.2), kind=ITSELF, path=BOARD, when=OPEN),
    Fault("clock_slow", 28, "the board's clock 20 % slow", NOTHING, b.pace_of(0.8), kind=ITSELF, path=BOARD, when=OPEN),
    Fault("bus_held", 4, "data line held for nine clocks", NOTHING, b.bus_held, kind=SENSOR, path=BOARD, when=OPEN),
    Fault("bus_stuck", 4, "data line held for good", ("rh_bad", "indoor_bad"), b.shown_on(humidity_fault="stuck"),
          kind=SENSOR, path=BOARD, when=OPEN, stops=True),
    Fault("chip_ends", 5, "the humidity chip sends only ones", ("rh_bad", "indoor_bad"),
          b.shown_on(humidity_fault="ends"), kind=SENSOR, path=BOARD, when=OPEN, stops=True),
    Fault("fan_chatter", 17, "the fan proof's pulses come and go", ("fan_unreadable",), b.shown_on(chatter=("fan",)),
          kind=FURNACE, path=BOARD, when=OPEN, stops=True),
    Fault("welded_board", 19, "the relay's contact is welded", ("welded",), b.shown_on(relay_fault="welded"),
          kind=ACTUATOR, path=BOARD, when=OPEN, held=False),
    Fault("driver_open", 20, "the relay's driver is open", ("relay_failed", "relay_retry"),
          b.shown_on(relay_fault="driver"), kind=ACTUATOR, path=BOARD, when=OPEN),
    Fault("load_lit", 22, "the load sense's optocoupler is shorted", ("contact_unreadable",),
          b.shown_on(stuck_lit=("load",)), kind=ACTUATOR, path=BOARD, when=OPEN, stops=True),
    Fault("half_wave", 22, "the line shows only half of the wave", ("half_wave",), b.shown_on(half_wave=("line",)),
          kind=FURNACE, path=BOARD, when=OPEN),
    Fault("power_cut", 33, "the board's supply fails for a moment", NOTHING, None, b.power_cuts(60, 1), kind=ITSELF,
          path=BOARD, when=OPEN, also=BOOT),
    Fault("boot_loop", 33, "the board's supply fails twenty times", ("safe_mode",), None, b.power_cuts(20, 20),
          kind=ITSELF, path=BOARD, when=OPEN, stops=True, also=BOOT),
    Fault("scan_fails", 36, "every scan ends in an exception", ("safe_mode", "beat_failed"), b.scan_fails, kind=ITSELF,
          path=BOARD, when=OPEN, stops=True),
    Fault("hangs", 36, "the program stands still for a minute", ("watchdog_reset",), *b.hangs(True), kind=ITSELF,
          path=BOARD, when=OPEN, also=BOOT),
    Fault("hangs_masked", 36, "the same with interrupts off", ("watchdog_reset",), *b.hangs(False), kind=ITSELF,
          path=BOARD, when=OPEN, also=BOOT),
)  # fmt: skip

MOST_DAYS = max(fault.days for fault in FAULTS)

FREE = (
    Fault("none", 0, "a winter without a fault", NOTHING, kind=ITSELF),
    Fault("none_full", 0, "the same with every sensor fitted", NOTHING, kind=ITSELF, config=FULL),
)
FREE_NAMES = tuple(fault.name for fault in FREE)
BY_NAME = {fault.name: fault for fault in (*FAULTS, *FREE)}


def found(names) -> list:
    """The faults of these names; `a+b` is both at once."""
    return [pair(*name.split("+")) if "+" in name else BY_NAME[name] for name in names]


def pairs() -> list:
    """Names of every sensor fault with every actuator fault that can happen in the same circuit."""
    sensors = [fault for fault in FAULTS if fault.kind == SENSOR and fault.days == AFTER_DAYS]
    actuators = [fault for fault in FAULTS if fault.kind == ACTUATOR and fault.days == AFTER_DAYS]
    return [f"{a.name}+{b.name}" for a in sensors for b in actuators if a.config == b.config]


def pair(a: str, b: str) -> Fault:
    """Two faults that begin together; either cause is right."""
    one, other = BY_NAME[a], BY_NAME[b]

    def begin(world):
        for fault in (one, other):
            if fault.begin:
                fault.begin(world)

    def inject(world):
        for fault in (one, other):
            if fault.inject:
                fault.inject(world)

    return Fault(
        f"{a}+{b}", one.number, f"{one.what}; {other.what}", one.right + other.right, begin, inject,
        kind=one.kind, config=one.config, when=other.when, also=one.also + other.also, held=one.held and other.held,
    )  # fmt: skip


# Numbers that are not simulated here, and the tests that cover them.
ELSEWHERE = {
    13: ("wrong times in a feed", "tests/both/test_feed.py"),
    14: ("a feed or resolver that hangs", "tests/board/test_homie.py"),
    29: ("power cuts during a write", "tests/acceptance/power_cut.py"),
    30: ("exceptions during a write", "tests/board/test_store.py"),
    31: ("damaged settings", "tests/board/test_store.py"),
    32: ("flash full or unreadable", "tests/board/test_app.py"),
    34: ("no memory left", "tests/board/test_app.py"),
    35: ("weeks of use", "tests/acceptance/soak.py"),
    37: ("wireless network lost", "tests/board/test_app.py"),
    38: ("broker absent, slow or half-open", "tests/board/test_homie.py"),
    39: ("oversized or malformed messages", "tests/board/test_guard.py"),
    40: ("slow clients, floods, hostile settings", "tests/acceptance/hostile_lan.py"),
}
