"""The command lines of the desk calculators `size`, `power`, `card` and `calibrate`: options and their help only."""

import argparse
from importlib import import_module

UNITS_HELP = "which units stand first (default: "

# Per command: option, metavar, help.  Values are read with their units by the command's own module, which refuses them
# in one line; "+" after the metavar: the option may be given more than once.
SIZE = (
    ("volume", "V", "heated volume: 465m3, 16000ft3"),
    ("area", "A", "instead: heated floor area: 190m2, 2000ft2"),
    ("height", "H", "ceiling height for --area (default: 2.44m, 8 ft)"),
    ("air-changes", "N", "air changes per hour, taken as constant; the next two follow cold and wind"),
    ("blower-door", "X", "instead: a blower door's result at 50 Pa: 6/h, 1500cfm, 2500m3/h"),
    ("built", "YEAR", "instead: the year the house was built, for the mean of such houses"),
    ("storeys", "N", "1 to 3"),
    ("shelter", "N", "1 no shielding to 5 tight between neighbours"),
    ("hrv", "FLOW", "heat-recovery unit or fan: 120m3/h, 70cfm, as a mean over the day"),
    ("hrv-heat", "PCT", "share of the heat that it gives back (default: 75%%)"),
    ("hrv-moisture", "PCT", "share of the moisture that it gives back (default: 0%%; ask its data sheet)"),
    ("people", "N", "persons living there"),
    ("indoor", "T", "indoor temperature: 21C, 70F"),
    ("target", "RH", "humidity wanted (default: what the coldest glass, walls and attic allow in the design cold)"),
    ("outdoor", "T", "design temperature: -18C, 0F"),
    ("outdoor-rh", "RH", "outdoor humidity with it, over liquid water (default: 80%%)"),
    ("wind", "U", "wind with it (default: 4m/s)"),
    ("weather", "FILE", "a winter: EPW, TMY3, CSV, or KIND:SEED such as hard:3; its missed hours are counted"),
    ("humidifier", "RATE", "evaporation as rated: 0.6kg/h, 12gal/day"),
    ("rated-at", "T", "supply air that the rating is stated for (default: 49C, 120 F)"),
    ("supply", "T", "supply air on a heat call, measured at the humidifier: 43C, 110F"),
    ("water", "RATE", "water let in while the valve is open: 13L/h, 3.4gal/h"),
    ("heat-loss", "UA", "heat loss: 240W/K, 455Btu/h/F"),
    ("furnace", "P", "heat output: 13kW, 45000Btu/h"),
    ("fan-share", "PCT", "instead of the two: share of the time with heat in the design cold: 60%%"),
    ("water-price", "PRICE", "for 1000 L, in your money"),
    ("heat-price", "PRICE", "for 1 kWh of heat, in your money"),
    ("out", "PAGE.html", "with --weather: also a page with the winter drawn"),
)
POWER = (
    ("transformer", "VA", "rating of the 24 V transformer: 40VA"),
    ("on-it", "VA+", "what is on it already, once for each thing: thermostat 2VA, gas valve 8VA, ..."),
    ("supply", "V", "its voltage, measured (default: 24V)"),
    ("hz", "F", "mains frequency (default: 60Hz)"),
    ("terminal", "I", "limit of the humidifier terminal from the furnace's diagram: 500mA"),
    ("furnace-fuse", "I", "the furnace board's own 24 V fuse (default: 3A)"),
    ("valve-current", "I", "the valve's current, measured in series: 175mA"),
    ("valve-volts", "V", "voltage across it meanwhile (default: the supply's)"),
    ("valve-watts", "P", "watts marked on it: 2.2W"),
    ("inrush", "X", "its current while it pulls in, in times of the measured (default: 3)"),
    ("motor", "I", "fan-powered type: its 24 V motor's current: 900mA"),
    ("contact", "I", "relay contact, rated for inductive load at 30 VAC (default: 2A)"),
    ("contact-least", "I", "its smallest load (default: 10mA)"),
    ("contact-cycles", "N", "its rated cycles at that load (default: 100000)"),
    ("starts", "N", "valve starts a day (default: 20)"),
    ("season", "DAYS", "days of a season (default: 210)"),
    ("lamp-resistor", "R", "pilot lamp across the valve: its series resistor: 3.3kohm"),
    ("wire", "SIZE", "to the valve: AWG 14 to 24, or 0.5mm2 to 2.5mm2 (default: 18)"),
    ("length", "L", "one way: 8m, 25ft (default: 8m)"),
    ("five-volt", "I", "rating of the board's 5 V supply (default: 1A)"),
    ("coil", "I", "the relay's coil at 5 V (default: 75mA)"),
)
CALIBRATE = (
    (
        "point",
        "SALT:TEMPERATURE:READING+",
        "twice: a salt, the temperature beside it, the sensor's reading: NaCl:22.5C:77.1",
    ),
    ("hours", "H", "how long the sensor lay in the closed jar each time (default: asked, or 12h)"),
    ("spread", "K", "how well jar and sensor are known to be equally warm (default: 0.2K)"),
    ("present-offset", "RH", "rh_offset_pct set on the board while it was read (default: 0)"),
    ("present-gain", "X", "rh_gain set on the board while it was read (default: 1)"),
    ("ice", "NAME:READING+", "a thermometer in ice slurry: outdoor:0.4C; outdoor:0.4C:-0.3K where its offset was set"),
    ("port", "PORT", "the board's port: its settings are read, and written once you agree: /dev/ttyACM0"),
    ("date", "YYYY-MM-DD", "day of the check (default: today)"),
)


def add(command) -> None:
    """Add the four parsers; command(name, text) makes an empty one."""
    size = command("size", "how large a humidifier the house needs, and what a given one leaves undone")
    size.add_argument("house", metavar="HOUSE.toml", nargs="?", help="a house file; the options change it")
    _options(size, SIZE)
    size.add_argument("--heat-pump", action="store_true", help="supply air of 35 °C unless --supply says otherwise")
    size.add_argument("--fan-always", action="store_true", help="the fan runs without heat too")
    power = command("power", "what the 24 V supply, terminal, fuse, relay, wire and lamp carry, what fails and why")
    _options(power, POWER)
    power.add_argument(
        "--lamp-protection",
        choices=("antiparallel", "series", "none"),
        default="antiparallel",
        help="a diode across the lamp's LED, in series with it, or none (default: %(default)s)",
    )
    card = command("card", "one printable page to keep at the unit")
    card.add_argument("house", metavar="HOUSE.toml", help="the house file; 'default' for a house of all defaults")
    _options(card, (("out", "PAGE.html", "the page to write (default: dewmargin-card.html)"),))
    calibrate = command(
        "calibrate", "check the humidity sensor at two salts and a thermometer in ice; asks, or by options"
    )
    _options(calibrate, CALIBRATE)
    calibrate.add_argument("--table", action="store_true", help="only print the salts, their values and hazards")
    for parser in (size, power, card, calibrate):
        default = "si)" if parser in (power, calibrate) else "the house file's, else si)"
        parser.add_argument("--units", choices=("si", "us"), help=UNITS_HELP + default)
        parser.set_defaults(run=run)


def _options(parser: argparse.ArgumentParser, table: tuple) -> None:
    for name, metavar, text in table:
        action = "append" if metavar.endswith("+") else _Once
        parser.add_argument(f"--{name}", metavar=metavar.rstrip("+"), help=text, action=action)


class _Once(argparse.Action):
    """An option that may be given once: of two values neither is silently the one."""

    def __call__(self, parser, namespace, values, option_string=None):
        if getattr(namespace, self.dest) is not None:
            parser.error(f"{option_string}: given twice; leave one of them out")
        setattr(namespace, self.dest, values)


def run(arguments: argparse.Namespace) -> int:
    """Run the command that was typed; with US units first no number may be without its unit."""
    command = import_module("dewsim." + arguments.command)
    if arguments.units == "us":
        from dewsim import quantities

        for name, allowed in getattr(command, "RANGES", {}).items():
            given = getattr(arguments, name.replace("-", "_"))
            for text in given if isinstance(given, list) else [given]:
                if text is not None:
                    quantities.needs_unit(f"--{name}", text, allowed)
    return command.run(arguments)


def joined(tokens: list) -> list:
    """The command line with "--outdoor -18C" as "--outdoor=-18C": argparse takes -18C for an option."""
    found: list = []
    for token in tokens:
        negative = token[:1] in ("-", "\u2212") and token[1:2].isdigit() or token[:2] == "-."
        if negative and found and found[-1].startswith("--") and "=" not in found[-1]:
            found[-1] += "=" + token
        else:
            found.append(token)
    return found
