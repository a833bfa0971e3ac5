"""What a person can drive and break on the bench: names, labels, bounds, and what each does to the virtual board."""

from dewsim.errors import InputError, shown

# name, label, unit, lowest, highest, step: what thermometers and humidity chips can tell
NUMBERS = (
    ("outdoor_c", "Air outdoors", "°C", -55.0, 60.0, 0.5),
    ("indoor_c", "Air indoors", "°C", -40.0, 60.0, 0.1),
    ("rh_pct", "Humidity indoors", "%", 0.0, 100.0, 0.5),
    ("glass_c", "Thermometer on the glass", "°C", -55.0, 60.0, 0.5),
    ("supply_c", "Supply air", "°C", -20.0, 120.0, 1.0),
    ("room_c", "Air in the coldest room", "°C", -40.0, 60.0, 0.1),
    ("room_rh_pct", "Humidity in the coldest room", "%", 0.0, 100.0, 0.5),
    ("terminal_vac", "Voltage of the 24 V circuits", "VAC", 0.0, 40.0, 1.0),
)
WIRE = ("dry", "wet", "open", "short", "live")
# name, label, choices; the first is the sound one
CHOICES = (
    ("fan", "Fan proof", ("off", "on")),
    ("heat_call", "Heat call", ("off", "on")),
    ("terminal", "Humidifier terminal", ("dead", "live")),
    ("leak", "Leak wire", WIRE),
    ("drain", "Drain electrodes", WIRE),
    ("overflow", "Overflow switch", ("dry", "wet")),
    ("selector", "Selector at the unit", ("controller", "off", "dial_only")),
    ("absent", "Absence switch", ("home", "away")),
    ("mains_hz", "Mains frequency", ("60", "50")),
)
NAMES = tuple([row[0] for row in NUMBERS + CHOICES])
FLAGS = {  # choice: attribute of the board, value under which it is true
    "fan": ("fan_running", "on"),
    "heat_call": ("heat_call", "on"),
    "terminal": ("terminal_live", "live"),
    "overflow": ("overflow", "wet"),
    "absent": ("absent", "away"),
}

SENSES = (("line", "line sense"), ("load", "load sense"), ("fan", "fan proof"), ("heat", "heat call"))
THERMOMETERS = (("outdoor_c", "outdoor"), ("glass_c", "glass"), ("supply_c", "supply"))


def _faults() -> dict:
    """Label, attribute of the board and its value by a fault's name."""
    found = {
        "relay_welded": ("Relay: contact welded", "relay_fault", "welded"),
        "relay_dead": ("Relay: contact never closes", "relay_fault", "failed"),
        "relay_driver": ("Relay: its transistor is open", "relay_fault", "driver"),
        "humidity_silent": ("Humidity chip: no answer", "humidity_fault", "nak"),
        "humidity_checksum": ("Humidity chip: wrong checksums", "humidity_fault", "crc"),
        "humidity_frozen": ("Humidity chip: its reading stands still", "humidity_fault", "frozen"),
        "humidity_busy": ("Humidity chip: never ready", "humidity_fault", "busy"),
        "humidity_ones": ("Humidity chip: all ones", "humidity_fault", "ends"),
        "bus_stuck": ("Humidity bus: data line held low", "humidity_fault", "stuck"),
    }
    for place, label in THERMOMETERS:
        name = place.removesuffix("_c")
        found[name + "_silent"] = (f"Thermometer {label}: no answer", "thermometer_faults", (place, "nak"))
        found[name + "_checksum"] = (f"Thermometer {label}: wrong checksums", "thermometer_faults", (place, "crc"))
        found[name + "_power_on"] = (f"Thermometer {label}: as at power-on", "thermometer_faults", (place, "power_on"))
        found[name + "_frozen"] = (f"Thermometer {label}: stands still", "thermometer_faults", (place, "frozen"))
    found["wire_low"] = ("Thermometer line: held low", "wire_low", True)
    for name, label in SENSES:
        found[name + "_half_wave"] = (f"Half a wave at the {label}", "half_wave", name)
        found[name + "_chatter"] = (f"Pulses come and go at the {label}", "chatter", name)
        found[name + "_lit"] = (f"Optocoupler shorted at the {label}", "stuck_lit", name)
    return found


FAULTS = _faults()


def accepted(name: str, text: str) -> object:
    """An input's value from text: a number within bounds, or one of the choices; InputError without a place."""
    for row in NUMBERS:
        if row[0] == name:
            return _number(row, text)
    for row in CHOICES:
        if row[0] == name:
            if text not in row[2]:
                raise InputError(f"{name}: found {shown(repr(text), 40)}, allowed is {', '.join(row[2])}; correct it")
            return text
    raise InputError(f"found the input {shown(repr(name), 40)}, allowed are {', '.join(NAMES)}; correct the name")


def _number(row: tuple, text: str) -> float:
    name, _, unit, low, high, _ = row
    try:
        value = float(text) if set(text) <= set("+-.0123456789") else low - 1.0
    except ValueError:
        value = low - 1.0
    if not low <= value <= high:
        found = shown(repr(text), 40)
        raise InputError(f"{name}: found {found}, allowed is a number from {low:g} to {high:g} {unit}; correct it")
    return value


def put(world, name: str, value: object) -> None:
    """An accepted value onto the board's wires and chips."""
    if name in FLAGS:
        attribute, true = FLAGS[name]
        setattr(world, attribute, value == true)
    elif name == "selector":
        world.off_switch = value != "controller"
        world.dial_bridges = value == "dial_only"
    elif name == "mains_hz":
        world.mains_hz = int(value)
    else:
        setattr(world, name, value)


def shows(world, name: str) -> object:
    """An input as it stands on the board, in the words of `accepted`."""
    if name in FLAGS:
        attribute, true = FLAGS[name]
        choices = next(row[2] for row in CHOICES if row[0] == name)
        return true if getattr(world, attribute) else choices[1 - choices.index(true)]
    if name == "selector":
        return "controller" if not world.off_switch else "dial_only" if world.dial_bridges else "off"
    if name == "mains_hz":
        return str(world.mains_hz)
    return getattr(world, name)


def break_it(world, name: str, broken: bool) -> None:
    """A fault, or its end.  Of those that share a part (the relay, a chip, a thermometer) the last one counts."""
    _, attribute, value = FAULTS[name]
    if attribute == "thermometer_faults":
        place, fault = value
        known = world.thermometer_faults
        kept = {key: old for key, old in known.items() if key != place or not broken and old != fault}
        world.thermometer_faults = {**kept, place: fault} if broken else kept
    elif attribute in ("half_wave", "chatter", "stuck_lit"):
        kept = tuple(old for old in getattr(world, attribute) if old != value)
        setattr(world, attribute, (*kept, value) if broken else kept)
    elif attribute == "wire_low":
        world.wire_low = broken
    elif broken or getattr(world, attribute) == value:
        setattr(world, attribute, value if broken else "")


def is_broken(world, name: str) -> bool:
    """Whether a fault is there now."""
    _, attribute, value = FAULTS[name]
    found = getattr(world, attribute)
    if attribute == "thermometer_faults":
        return found.get(value[0]) == value[1]
    if attribute in ("half_wave", "chatter", "stuck_lit"):
        return value in found
    return found == value
