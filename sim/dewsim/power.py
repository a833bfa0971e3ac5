"""`dewmargin power`: whether the 24 V supply carries the valve, lamp, relay and wire; what fails and what to change."""

from dewboard import pin_table
from dewsim import circuit, quantities, wire
from dewsim.errors import InputError
from dewsim.quantities import Range
from dewsim.sheet import Sheet
from dewsim.units import counted

RANGES = {
    "transformer": Range("apparent", 10.0, 300.0),
    "supply": Range("voltage", 20.0, 30.0),
    "hz": Range("frequency", 45.0, 65.0),
    "terminal": Range("current", 50.0, 5000.0),
    "furnace-fuse": Range("current", 500.0, 10000.0),
    "valve-current": Range("current", 20.0, 2000.0),
    "valve-volts": Range("voltage", 15.0, 32.0),
    "valve-watts": Range("watts", 0.5, 40.0),
    "inrush": Range("factor", 1.0, 10.0),
    "motor": Range("current", 50.0, 5000.0),
    "contact": Range("current", 500.0, 16000.0),
    "contact-least": Range("current", 0.0, 500.0),
    "contact-cycles": Range("factor", 1e3, 1e8),
    "starts": Range("factor", 1.0, 144.0),
    "season": Range("factor", 10.0, 366.0),
    "lamp-resistor": Range("resistance", 470.0, 47000.0),
    "length": Range("length", 0.2, 100.0),
    "five-volt": Range("current", 100.0, 5000.0),
    "coil": Range("current", 5.0, 300.0),
}
DEFAULTS = {
    "supply": 24.0, "hz": 60.0, "furnace-fuse": 3000.0, "inrush": 3.0, "contact": 2000.0, "contact-least": 10.0,
    "contact-cycles": 1e5, "starts": 20.0, "season": 210.0, "length": 8.0, "five-volt": 1000.0, "coil": 75.0,
}  # fmt: skip
NEEDED = (
    ("transformer", "its rating, from the nameplate: 40VA"),
    ("terminal", "its limit, from the furnace's diagram: 500mA; without such a terminal what the supply's fuse allows"),
    ("valve-current", "measured in series: 175mA"),
)
ON_IT = Range("apparent", 0.0, 200.0)
SPARE = 1.2  # transformer over what is on it: 20 % margin in control-transformer guides
CLASS_2_VA = 100.0  # nameplate of a Class 2 supply of 30 V or less (NEC chapter 9 Table 11(A))
FULL_SHARE = 0.8  # of a terminal's or contact's rating: nearer than this is told
LEAST_SHARE = 0.85  # of the rated voltage at the coil: NEMA ST 1 part 4, quoted in control-transformer guides
CONTACT_LEAST_A = 2.0  # what the relay is to be rated for, inductive, at 30 VAC
LAMP_A = 0.003  # mean current of a pilot LED that is bright enough
E12_OHM = tuple(n * 100.0 * k for k in (10, 100) for n in (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2))
LED_REVERSE_V = 5.0  # that an LED usually stands backwards; from memory of data sheets
FIVE_VOLT = (  # what hangs on the 5 V supply [mA]; from memory of common parts
    ("board, with its wireless peaks", 350.0),
    ("sensors", 10.0),
    ("lamp", 3.0),
)
BREATH = 1.3  # and how much more the supply is to give
DIRE_YEARS = 5.0


class Found:
    """What was found: problems to change, each with what to do, and things to know."""

    def __init__(self):
        self.problems: list = []
        self.warnings: list = []


class Asked:
    """The options in SI (currents in A); InputError for what cannot be."""

    def __init__(self, arguments):
        self.given = {}
        for name, allowed in RANGES.items():
            text = getattr(arguments, name.replace("-", "_"))
            value = DEFAULTS.get(name) if text is None else quantities.read(f"--{name}", text, allowed)
            self.given[name] = value / 1000.0 if allowed.kind == "current" and value is not None else value
        g = self.given
        missing = [f"--{name} ({what})" for name, what in NEEDED if g[name] is None]
        if missing:
            raise InputError(f"power: found no {', no '.join(missing)}; give what is missing")
        self.on_it = [quantities.read("--on-it", text, ON_IT) for text in arguments.on_it or []]
        volts = g["supply"] if g["valve-volts"] is None else g["valve-volts"]
        self.valve = circuit.Valve(volts, g["valve-current"], g["valve-watts"], g["hz"])
        if g["valve-watts"] is not None and g["valve-watts"] > 1.02 * self.valve.volt_amperes:
            raise InputError(
                f"--valve-watts: found {g['valve-watts']:g} W beside {volts:g} V and {1000 * g['valve-current']:.0f} "
                "mA, allowed is at "
                f"most their product {self.valve.volt_amperes:.2f} VA: no coil takes more watts than volt-amperes; "
                "correct one"
            )
        self.protection = arguments.lamp_protection
        self.wire = wire.ohm_km("18" if arguments.wire is None else arguments.wire)
        self.us = arguments.units == "us"
        self.lamp = circuit.Lamp(g["supply"], self._lamp_ohm(), self.protection)

    def _lamp_ohm(self) -> float:
        if self.given["lamp-resistor"] is None:
            self.given["lamp-resistor"] = circuit.lamp_ohm(self.given["supply"], LAMP_A, self.protection, E12_OHM)
        return self.given["lamp-resistor"]


def run(arguments) -> int:
    """The command: a sheet of figures, and what fails, on stdout; status 0 also where something fails."""
    print(budget(Asked(arguments)))
    return 0


def budget(asked: Asked) -> Sheet:
    """All figures and findings."""
    sheet, found = Sheet("What the 24 V circuit carries", asked.us), Found()
    valve(asked, sheet)
    lamp(asked, sheet, found)
    branch_a = branch(asked, sheet, found)
    fuse(asked, sheet, found, branch_a)
    leads(asked, sheet, found)
    transformer(asked, sheet, found, branch_a)
    contact(asked, sheet, found, branch_a)
    five_volt(asked, sheet, found)
    sheet.heading("What fails, and what to change" if found.problems else "Nothing fails")
    for n, text in enumerate(found.problems, 1):
        sheet.item(f"{n}.", text)
    for text in found.warnings:
        sheet.item("-", "To know: " + text)
    sheet.text("")
    sheet.text(
        "Before any of this: the terminal was measured on a heat call and idle, and is 20 to 30 VAC. The furnace "
        "maker's "
        "diagram, local code and licensed practice come first."
    )
    return sheet


def _amperes(sheet: Sheet, label: str, amperes: float, note: str = "") -> None:
    sheet.row(label, f"{1000 * amperes:.0f} mA", "", note)


def valve(asked: Asked, sheet: Sheet) -> None:
    """Watts against volt-amperes."""
    coil = asked.valve
    sheet.heading("Valve")
    _amperes(sheet, "Measured in series", coil.amperes, f"at {coil.volts:g} V, {asked.given['hz']:g} Hz")
    sheet.row(
        "Apparent power",
        f"{coil.volt_amperes:.2f} VA",
        "",
        "volts times amperes: what transformer, terminal, contact and fuse carry",
    )
    if coil.watts is None:
        sheet.text("Give the watts marked on it (--valve-watts) to see power factor and coil.")
        return
    sheet.row(
        "Marked",
        f"{coil.watts:g} W",
        "",
        f"what becomes heat: power factor {coil.factor:.2f}, current {coil.angle_deg:.0f} degrees behind the voltage",
    )
    sheet.row(
        "From the watts alone",
        f"{1000 * coil.watts / coil.volts:.0f} mA",
        "",
        f"it draws {coil.amperes * coil.volts / coil.watts:.1f} times that: watts are no measure",
    )
    sheet.row(
        "Coil",
        f"{coil.impedance_ohm:.1f} ohm",
        "",
        f"{coil.resistance_ohm:.1f} ohm and {1000 * coil.inductance_h:.0f} mH in series",
    )
    other = 50.0 if asked.given["hz"] > 55.0 else 60.0
    _amperes(sheet, f"The same coil at {other:g} Hz", coil.amperes_at(other))


def lamp(asked: Asked, sheet: Sheet, found: Found) -> None:
    """The pilot LED across the valve."""
    led, ohm = asked.lamp, asked.given["lamp-resistor"]
    sheet.heading("Pilot lamp across the valve")
    sheet.row(
        "Series resistor", f"{ohm:g} ohm", "", f"at least {_watt_size(led.heat_w)} W: it takes {led.heat_w:.2f} W"
    )
    sheet.row(
        "LED, mean and peak", f"{1000 * led.mean_a:.1f} mA", f"{1000 * led.peak_a:.1f} mA", f"{asked.protection} diode"
    )
    sheet.row("Adds to the branch", f"{1000 * led.rms_a:.1f} mA", "", "rms")
    if led.reverse_v > LED_REVERSE_V:
        found.problems.append(
            f"The lamp's LED stands {led.reverse_v:.0f} V backwards every other half wave, and is made for about "
            f"{LED_REVERSE_V:g} V: put a diode across it, cathode to anode (--lamp-protection antiparallel), or in "
            "series."
        )
    if led.mean_a > 0.02:
        found.problems.append(
            f"The LED gets {1000 * led.mean_a:.0f} mA, more than the usual 20: take a larger resistor."
        )


def _watt_size(watts: float) -> float:
    """The resistor to fit: twice its heat, of the usual sizes [W]."""
    return next((size for size in (0.25, 0.5, 1.0, 2.0) if size >= 2.0 * watts), 5.0)


def branch(asked: Asked, sheet: Sheet, found: Found) -> float:
    """Everything behind the branch fuse against the terminal's limit; its current [A]."""
    g = asked.given
    senses_a = 2.0 * g["supply"] / pin_table.SERIES_OHM
    motor_a = g["motor"] or 0.0
    # Added as if all were in phase: the most it can be.
    total_a = asked.valve.amperes + asked.lamp.rms_a + senses_a + motor_a
    sheet.heading("Humidifier terminal")
    _amperes(sheet, "Valve", asked.valve.amperes)
    if motor_a:
        _amperes(sheet, "Fan motor", motor_a, "fan-powered type")
    _amperes(
        sheet, "Lamp and both AC senses", asked.lamp.rms_a + senses_a, f"{pin_table.SERIES_OHM / 1000:g} kohm each"
    )
    _amperes(sheet, "Together", total_a, f"of {1000 * g['terminal']:.0f} mA that the terminal may give")
    share = total_a / g["terminal"]
    if share > 1.0 and motor_a:
        found.problems.append(
            f"Valve and motor take {1000 * total_a:.0f} mA, the terminal gives {1000 * g['terminal']:.0f}: let the "
            "terminal and the "
            "relay only switch an interposing relay with a 24 VAC coil, whose contact feeds the motor from a supply "
            "of its own, "
            "fused for itself; never parallel two transformers."
        )
    elif share > 1.0:
        found.problems.append(
            f"The branch takes {1000 * total_a:.0f} mA, the terminal gives {1000 * g['terminal']:.0f}: use an "
            "interposing relay and a "
            "24 V supply of its own for the valve, with fan proof, or a smaller valve."
        )
    elif share > FULL_SHARE:
        found.warnings.append(
            f"the terminal is loaded to {100 * share:.0f} %: a warm day or a longer lamp leaves little"
        )
    return total_a


def fuse(asked: Asked, sheet: Sheet, found: Found, branch_a: float) -> None:
    """The branch fuse: above what is measured, below the terminal's limit and the furnace's own fuse."""
    g = asked.given
    inrush_a = branch_a + (g["inrush"] - 1.0) * asked.valve.amperes
    below_a = min(g["terminal"], g["furnace-fuse"])
    rated = circuit.fuse_a(branch_a, inrush_a, below_a)
    loop = 2.0 * g["length"] * asked.wire[1] / 1000.0
    short = circuit.short_a(g["supply"], g["transformer"], loop)
    sheet.heading("Branch fuse, time-lag")
    _amperes(sheet, "Has to carry", branch_a, f"and {1000 * inrush_a:.0f} mA while the valve pulls in")
    _amperes(sheet, "Has to be below", below_a, "the smaller of terminal and furnace fuse")
    if rated is None:
        found.problems.append(
            f"No time-lag fuse carries {1000 * branch_a:.0f} mA for good and stays below {1000 * below_a:.0f} mA: a "
            "short would cost the "
            "furnace's fuse, and so heat. Lighten the branch (interposing relay), or measure the valve again."
        )
        return
    sheet.row("Fuse", f"T {rated:g} A", "", f"{rated / branch_a:.2f} times the measured current")
    sheet.row(
        "A short at the valve's end",
        f"{short:.1f} A",
        "",
        f"{short / rated:.0f} times the fuse: calculated, never tried",
    )
    if short < circuit.FUSE_BLOWS * rated:
        found.problems.append(
            f"A short drives only {short:.1f} A, less than ten times the fuse: it opens late. Use thicker or shorter "
            "wire."
        )


def leads(asked: Asked, sheet: Sheet, found: Found) -> None:
    """Volts along the wire to the valve."""
    g, (name, ohm_km) = asked.given, asked.wire
    sheet.heading(f"Wire, {name} copper at {wire.HOT_C:g} °C")
    sheet.quantity("One way", g["length"], "length", 1)
    sheet.quantity("Resistance", ohm_km, "resistance a length", 2)
    dropped = circuit.drop_v(asked.valve.amperes, ohm_km, g["length"])
    volts = circuit.left_v(asked.valve, ohm_km, g["length"])
    sheet.row("Drop, there and back", f"{dropped:.2f} V", "", f"at most; {volts:.2f} V are left at the valve")
    pulled = asked.valve.volts - circuit.drop_v(g["inrush"] * asked.valve.amperes, ohm_km, g["length"])
    sheet.row(
        "While it pulls in",
        f"{pulled:.1f} V",
        "",
        f"has to be at least {100 * LEAST_SHARE:.0f} % of {asked.valve.volts:g} V",
    )
    if pulled < LEAST_SHARE * asked.valve.volts:
        found.problems.append(
            f"The wire leaves {pulled:.1f} V while the valve pulls in: take thicker wire, or a shorter way."
        )
    found.warnings.append(
        "wire by the plenum is rated 105 °C (common practice, no source), and plenum-listed inside ducts and "
        "returns: the "
        "temperature rating and the fire rating are two things"
    )


def transformer(asked: Asked, sheet: Sheet, found: Found, branch_a: float) -> None:
    """Volt-amperes on the transformer."""
    g = asked.given
    branch_va = g["supply"] * branch_a
    total = sum(asked.on_it) + branch_va
    sheet.heading("Transformer")
    sheet.row("On it already", f"{sum(asked.on_it):.1f} VA", "", counted(len(asked.on_it), "load"))
    sheet.row("This branch", f"{branch_va:.1f} VA")
    sheet.row(
        "Together", f"{total:.1f} VA", "", f"of {g['transformer']:g} VA; {SPARE:g} times that is {SPARE * total:.1f}"
    )
    if total > g["transformer"]:
        found.problems.append(
            f"The transformer is overloaded: {total:.1f} VA on {g['transformer']:g}. Fit a larger listed one, or "
            "give the valve a "
            "supply of its own; never parallel two."
        )
    elif SPARE * total > g["transformer"]:
        found.problems.append(
            f"The transformer has less than a fifth to spare: {total:.1f} VA on {g['transformer']:g}. Fit the next "
            "larger listed one."
        )
    if not asked.on_it:
        found.warnings.append("nothing was named with --on-it: thermostat, gas valve, relays and zone valves count")
    if g["transformer"] > CLASS_2_VA:
        found.warnings.append(
            f"above {CLASS_2_VA:g} VA it is no Class 2 supply (NEC chapter 9 Table 11(A), as quoted; check the code "
            "adopted)"
        )


def contact(asked: Asked, sheet: Sheet, found: Found, branch_a: float) -> None:
    """The relay's contact and how long it lasts."""
    g = asked.given
    load_a = branch_a
    a_season = g["starts"] * g["season"]
    years = circuit.life_years(g["contact-cycles"], g["starts"], g["season"])
    sheet.heading("Relay contact")
    _amperes(sheet, "Load", load_a, f"rated {g['contact']:g} A inductive, {1000 * g['contact-least']:.0f} mA at least")
    sheet.row("Starts a season", f"{a_season:.0f}", "", f"{g['starts']:g} a day, {g['season']:g} days")
    sheet.row("Rated cycles last", f"{years:.0f} seasons", "", f"{g['contact-cycles']:.0f} cycles")
    if load_a > g["contact"]:
        found.problems.append(
            f"The contact is rated {g['contact']:g} A and would switch {load_a:.2f}: use an interposing relay, or a "
            "larger contact."
        )
    elif g["contact"] < CONTACT_LEAST_A:
        found.problems.append(
            f"The contact is to be rated {CONTACT_LEAST_A:g} A or more at 30 VAC, inductive: fit another relay."
        )
    if load_a < g["contact-least"]:
        found.problems.append(
            f"{1000 * load_a:.0f} mA are less than the contact's smallest load: it may not keep clean; fit a signal "
            "relay."
        )
    if years < DIRE_YEARS:
        found.problems.append(
            f"The contact wears out in {years:.1f} seasons: fit a spare now, a wider band, or another relay."
        )


def five_volt(asked: Asked, sheet: Sheet, found: Found) -> None:
    """The board's own supply."""
    parts = [*FIVE_VOLT, ("relay coil", 1000 * asked.given["coil"])]
    total = sum(ma for _, ma in parts)
    sheet.heading("The board's 5 V supply, separate and isolated")
    for name, ma in parts:
        sheet.row(name[0].upper() + name[1:], f"{ma:.0f} mA")
    sheet.row(
        "Together",
        f"{total:.0f} mA",
        "",
        f"of {1000 * asked.given['five-volt']:.0f} mA; {BREATH:g} times that is {BREATH * total:.0f}",
    )
    if BREATH * total > 1000 * asked.given["five-volt"]:
        found.problems.append(
            f"The 5 V supply is too small: take one of {BREATH * total / 1000:.1f} A or more, listed and isolated."
        )
