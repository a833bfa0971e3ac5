"""`dewmargin size`: how much water the house needs in the design cold, and what a humidifier gives there.

Load: H = rho V n (Wi - Wo) - S, ASHRAE Handbook HVAC Systems and Equipment, chapter Humidifiers, eq. 1, with the dry
air of the indoor specific volume (Fundamentals 2017, ch. 1 eq. 26) and RH over liquid water.  The air changes are the
simulated house's (`dewsim.plant`), and so are fan time, sources and the humidifier: they come from a week of
`plant.Course` in constant weather, never from a second formula.
"""

from array import array
from types import SimpleNamespace

from dewcore import psychro
from dewsim import housefile, named, plant, policies, quantities, report_margin, tightness
from dewsim.errors import InputError, shown, shown_path
from dewsim.quantities import Range
from dewsim.sheet import Sheet

HEIGHT_M = 2.44  # 8 ft
AIR_HEAT_WH_M3_K = 1.2 * 1006.0 / 3600.0  # what a cubic metre of ventilation costs a kelvin
SETTLING_H = 72  # of the design week, not counted
WEEK_H = 168
STEP_S = 60
TRADE_DRY_PCT = 8.0  # below it indoors: a leaky house or a meter that reads low
DESIGN_SHARE = 0.01  # with a weather: the hour that 1 % of the season's hours are colder than
RANGES = {
    "volume": Range("volume", 40.0, 3000.0),
    "area": Range("area", 15.0, 1200.0),
    "height": Range("length", 1.8, 6.0),
    "air-changes": Range("changes", 0.05, 5.0),
    "built": Range("factor", 1600.0, 2100.0),
    "storeys": Range("factor", 1.0, 3.0),
    "shelter": Range("factor", 1.0, 5.0),
    "hrv": Range("air", 0.0, 1000.0),
    "hrv-heat": Range("percent", 0.0, 98.0),
    "hrv-moisture": Range("percent", 0.0, 95.0),
    "people": Range("factor", 0.0, 20.0),
    "indoor": Range("temperature", 10.0, 30.0),
    "target": Range("percent", 10.0, 60.0),
    "outdoor": Range("temperature", -50.0, 15.0),
    "outdoor-rh": Range("percent", 10.0, 100.0),
    "wind": Range("wind", 0.0, 30.0),
    "humidifier": Range("water", 0.02, 5.0),
    "rated-at": Range("temperature", 25.0, 75.0),
    "supply": Range("temperature", 25.0, 75.0),
    "water": Range("water", 0.1, 100.0),
    "heat-loss": Range("loss", 20.0, 3000.0),
    "furnace": Range("power", 1.0, 100.0),
    "fan-share": Range("percent", 1.0, 100.0),
    "water-price": Range("factor", 0.0, 1000.0),
    "heat-price": Range("factor", 0.0, 100.0),
}
FLOW_50 = Range("air", 20.0, 60000.0)
CHANGES_50 = Range("changes", 0.2, 60.0)
WHOLE = ("built", "storeys", "shelter", "people")


# Formulas


def dry_air_kg_m3(t_c: float, w_g_kg: float, pressure_pa: float) -> float:
    """Dry air per volume of moist air [kg/m3]; ASHRAE Fundamentals 2017, ch. 1 eq. 26."""
    return pressure_pa / 287.042 / (t_c + 273.15) / (1.0 + 1.607858e-3 * w_g_kg)


def ratio_g_kg(t_c: float, rh_pct: float, pressure_pa: float) -> float:
    """Humidity ratio [g/kg] of air, RH over liquid water."""
    return psychro.humidity_ratio_g_kg(psychro.vapour_pa(t_c, rh_pct), pressure_pa)


def load_kg_h(air_m3_h: float, inside: tuple, outside: tuple, pressure_pa: float) -> float:
    """Water [kg/h] that air_m3_h [m3/h, indoor volume] of outdoor air needs; inside, outside: (°C, % RH)."""
    wi, wo = ratio_g_kg(*inside, pressure_pa), ratio_g_kg(*outside, pressure_pa)
    return 0.001 * air_m3_h * dry_air_kg_m3(inside[0], wi, pressure_pa) * (wi - wo)


def reached_pct(air_m3_h: float, water_kg_h: float, indoor_c: float, outside: tuple, pressure_pa: float) -> float:
    """RH [%] that water_kg_h [kg/h] of all sources hold with air_m3_h [m3/h] of outdoor air, after days."""
    wo = ratio_g_kg(*outside, pressure_pa)
    air_kg_h = air_m3_h * dry_air_kg_m3(indoor_c, wo, pressure_pa)
    return plant.rh_pct(wo + 1000.0 * water_kg_h / air_kg_h, indoor_c, pressure_pa)


def latent_kj_kg(t_c: float) -> float:
    """Heat of evaporation [kJ/kg], 0..30 °C within 0.1 of IAPWS R7-97: a straight line through its values."""
    return 2500.9 - 2.367 * t_c


class Design:
    """The house in days of constant cold, as the plant steps it: means over its last days.

    heat_share, run_share: of the time with heat, and with water allowed; output_kg_h: evaporation with the valve
    always open; source_kg_h: people, showers, cooking and steady sources; air_m3_h: air leakage and ventilation.
    """

    def __init__(self, house, outside: tuple, wind_m_s: float, pressure_pa: float):
        n = (SETTLING_H + WEEK_H) * 3600 // STEP_S
        ratio = ratio_g_kg(*outside, pressure_pa)
        columns = [array("d", [value] * n) for value in (outside[0], ratio, wind_m_s)]
        minutes = SimpleNamespace(n_steps=n, outdoor_c=columns[0], outdoor_w_g_kg=columns[1], wind_m_s=columns[2])
        monday_s = 4 * plant.DAY_S
        course = plant.Course(house, minutes, monday_s - SETTLING_H * 3600, 1, STEP_S, pressure_pa)
        moisture = plant.Moisture(course)
        first = SETTLING_H * 3600 // STEP_S
        for k in range(n):
            if k == first:
                before_kg = moisture.evaporated_kg
            moisture.step(k, course.may_run[k])
        self.output_kg_h = (moisture.evaporated_kg - before_kg) / WEEK_H
        self.heat_share = sum(course.heat[first:]) / (n - first)
        self.run_share = sum(course.may_run[first:]) / (n - first)
        self.source_kg_h = sum(course.gain_kg_h[first:]) / (n - first)


def design_air_m3_h(house, outdoor_c: float, wind_m_s: float) -> float:
    """Outdoor air [m3/h] at the set point: leakage by the house's own model, and its steady ventilation."""
    h = house.house
    per_h = max(h.air_changes_per_h, plant.LEAST_AIR_CHANGES)
    if h.air_change_model == "wind":
        difference_k = h.indoor_c - outdoor_c
        per_h = plant.air_changes_per_h(h.air_changes_per_h, h.storeys, h.shelter, difference_k, wind_m_s)
    return per_h * h.volume_m3 + h.ventilation_m3_h


# The command line


class Asked:
    """What was asked: the house as the options change it, and the rest of them in SI; InputError."""

    def __init__(self, arguments):
        self.notes: list = []
        self.given = {name: self._value(arguments, name) for name in RANGES}
        self.place = shown_path(arguments.house) if arguments.house else "size"
        if arguments.house and arguments.house != "default":
            self.house = housefile.load(arguments.house)
        else:
            self.house = housefile.House()
        self.us = (arguments.units or self.house.units) == "us"
        self.sky = named.winter(arguments.weather) if arguments.weather is not None else None
        self.pressure_pa = psychro.STANDARD_PRESSURE_PA
        if self.sky is not None:
            self.pressure_pa = sum(self.sky.pressure_pa) / len(self.sky.pressure_pa)
        self._building(arguments)
        self._air(arguments)
        self._plain_keys(arguments)
        self._ventilation()
        self._outside()
        self._fan_time(arguments)
        self.house.check(self.place)
        self.settings = policies.settings_for(self.house, self.place)
        self._target()

    def _value(self, arguments, name: str) -> float | None:
        text = getattr(arguments, name.replace("-", "_"))
        if text is None:
            return None
        value = quantities.read(f"--{name}", text, RANGES[name])
        if name in WHOLE and value != int(value):
            raise InputError(f"--{name}: found {shown(text, 40)}, allowed is a whole number; correct it")
        return value

    def _only_one(self, names: tuple, arguments) -> str | None:
        """The one of these options that was given."""
        found = [name for name in names if getattr(arguments, name.replace("-", "_")) is not None]
        if len(found) > 1:
            raise InputError(f"--{found[1]}: not beside --{found[0]}, both say the same; leave it or the other out")
        return found[0] if found else None

    def _building(self, arguments) -> None:
        g, h = self.given, self.house.house
        chosen = self._only_one(("volume", "area"), arguments)
        if chosen is None and arguments.house is None:
            raise InputError("size: found neither a house file nor --volume or --area; give one of them")
        if g["height"] is not None and chosen != "area":
            raise InputError("--height: only with --area; leave it out, or give the floor area")
        height_m = g["height"] or HEIGHT_M
        if chosen:
            h.volume_m3 = g["volume"] if chosen == "volume" else g["area"] * height_m
        if not RANGES["volume"].lo <= h.volume_m3 <= RANGES["volume"].hi:
            raise InputError(
                f"--area: with --height the house has {h.volume_m3:.0f} m3, allowed is "
                f"{quantities.bounds(RANGES['volume'])}; correct it"
            )
        self.area_m2 = g["area"] or h.volume_m3 / height_m
        for name in ("storeys", "shelter"):
            if g[name] is not None:
                setattr(h, name, int(g[name]))
        if g["indoor"] is not None:
            h.indoor_c = g["indoor"]

    def _air(self, arguments) -> None:
        """Air changes from whichever figure was given."""
        h = self.house.house
        chosen = self._only_one(("air-changes", "blower-door", "built"), arguments)
        self.leakage_cm2 = None
        if chosen == "air-changes":
            h.air_changes_per_h = self.given["air-changes"]
            h.air_change_model = "constant"
        elif chosen == "blower-door":
            flow = blower_door_m3_h(arguments.blower_door, h.volume_m3)
            self.leakage_cm2 = tightness.leakage_area_cm2(flow)
            rule = flow / h.volume_m3 / tightness.RULE_OF_20
            self.notes.append(
                f"Blower door: {flow / h.volume_m3:.1f} air changes at 50 Pa, leakage area {self.leakage_cm2:.0f} "
                "cm2 at 4 Pa. "
                f"The rule of a twentieth would say {rule:.2f}/h."
            )
        elif chosen == "built":
            self._from_year(int(self.given["built"]))
        if self.leakage_cm2 is not None:
            h.air_change_model = "wind"
            h.air_changes_per_h = tightness.rated_per_h(self.leakage_cm2, h.volume_m3, h.storeys, h.shelter)
            low, high = RANGES["air-changes"].lo, RANGES["air-changes"].hi
            if not low <= h.air_changes_per_h <= high:
                raise InputError(
                    f"--{chosen}: it comes to {h.air_changes_per_h:.2g} air changes an hour, allowed is {low:g} to "
                    f"{high:g}; correct it or the volume"
                )

    def _from_year(self, year: int) -> None:
        h = self.house.house
        leakage = tightness.normalised_leakage(year, self.area_m2, h.storeys)
        self.leakage_cm2 = tightness.area_of_normalised_cm2(leakage, self.area_m2, h.storeys)
        at_50 = tightness.flow_50_m3_h(self.leakage_cm2) / h.volume_m3
        self.notes.append(
            f"Built {tightness.class_text(year)}: normalised leakage {leakage:.2f}, {at_50:.1f} air changes at 50 "
            "Pa, the mean "
            "of measured US houses of that age in a cold climate (Chan, Joh and Sherman 2013). Two in three lie "
            "between "
            f"{1 / tightness.SCATTER:.2f} and {tightness.SCATTER:.2f} times that: a blower door knows better."
        )

    def _plain_keys(self, arguments) -> None:
        """Options that are keys of the house file."""
        g, house = self.given, self.house
        if arguments.heat_pump:
            house.heating.heat_pump = True
            house.heating.supply_c = housefile.HEAT_PUMP_SUPPLY_C
        if arguments.fan_always:
            house.heating.fan_continuous = True
        if g["people"] == 0.0:
            house.gains.bursts = False
        places = {
            "people": (house.gains, "people"),
            "humidifier": (house.humidifier, "kg_h"),
            "rated-at": (house.humidifier, "supply_rating_c"),
            "water": (house.humidifier, "water_kg_h"),
            "supply": (house.heating, "supply_c"),
            "heat-loss": (house.heating, "ua_w_k"),
            "furnace": (house.heating, "furnace_kw"),
        }
        for name, (section, key) in places.items():
            if g[name] is not None:
                setattr(section, key, int(g[name]) if name in WHOLE else g[name])

    def _ventilation(self) -> None:
        """A heat-recovery unit on top of what the house file has."""
        g = self.given
        if g["hrv"] is None:
            for name in ("hrv-heat", "hrv-moisture"):
                if g[name] is not None:
                    raise InputError(f"--{name}: only with --hrv; leave it out, or give the flow")
            return
        moisture, heat = g["hrv-moisture"] or 0.0, 75.0 if g["hrv-heat"] is None else g["hrv-heat"]
        self.house.house.ventilation_m3_h = g["hrv"] * (1.0 - 0.01 * moisture)
        self.house.heating.ua_w_k += AIR_HEAT_WH_M3_K * g["hrv"] * (1.0 - 0.01 * heat)

    def _outside(self) -> None:
        """The design cold."""
        g = self.given
        if g["outdoor"] is None and self.sky is None:
            raise InputError("size: found neither --outdoor nor --weather; give the design temperature or a winter")
        if g["outdoor"] is not None:
            outdoor_c = g["outdoor"]
        else:
            hours = sorted(self.sky.outdoor_c)
            outdoor_c = hours[int(DESIGN_SHARE * len(hours))]
            self.notes.append(f"Design cold from the weather: 1 % of its hours are colder than {outdoor_c:.1f} °C.")
        if not outdoor_c <= self.house.house.indoor_c - 5.0:
            raise InputError(
                f"--outdoor: found {outdoor_c:.1f} °C beside {self.house.house.indoor_c:.1f} °C indoors, allowed is at "
                "least 5 K colder; correct one of them (swapped?)"
            )
        rh = g["outdoor-rh"]
        self.outside = (outdoor_c, policies.row_of("outdoor_rh_pct")[2] if rh is None else rh)
        self.wind_m_s = plant.RATED_M_S if g["wind"] is None else g["wind"]

    def _fan_time(self, arguments) -> None:
        """--fan-share as the furnace that runs for that share of the time in the design cold."""
        share = self.given["fan-share"]
        if share is None:
            return
        self._only_one(("fan-share", "furnace"), arguments)
        heating = self.house.heating
        watts = heating.ua_w_k * (self.house.house.indoor_c - self.outside[0]) - heating.free_heat_w
        if not watts > 0.0:
            raise InputError("--fan-share: at this outdoor temperature no heat is needed; give a colder --outdoor")
        heating.furnace_kw = watts / (10.0 * share)
        if not 1.0 <= heating.furnace_kw <= 100.0:
            raise InputError(
                f"--fan-share: it asks for a furnace of {heating.furnace_kw:.1f} kW, allowed is 1 to 100 kW; correct "
                "it or --heat-loss"
            )

    def _target(self) -> None:
        """The humidity wanted, and what the surfaces allow in the design cold, without margins."""
        h = self.house.house
        decided = report_margin.decided_at(self.settings, h.indoor_c, self.outside[0])
        self.allowed_pct = decided.decision.ceiling_pct
        terms = decided.terms
        parts = {"glass": terms.glass_pct, "corner": terms.corner_pct, "envelope": terms.envelope_pct}
        self.allowed_by = min(parts, key=parts.get)
        wanted = self.given["target"]
        self.target_pct = min(self.allowed_pct, self.settings.wish_pct) if wanted is None else wanted
        if not self.target_pct > 0.0:
            raise InputError(
                "size: the coldest glass allows no humidity at all in this cold; give --target or correct f_day"
            )
        self.inside = (h.indoor_c, self.target_pct)


def blower_door_m3_h(text: str, volume_m3: float) -> float:
    """Flow at 50 Pa [m3/h] from air changes or a flow; InputError."""
    plain = text.strip().lower().removesuffix("50")
    if plain.endswith(("cfm", "m3/h", "m³/h", "l/s")):
        return quantities.read("--blower-door", plain, FLOW_50)
    return quantities.read("--blower-door", plain, CHANGES_50) * volume_m3


def run(arguments) -> int:
    """The command: text on stdout, with --weather the winter too, with --out a page."""
    asked = Asked(arguments)
    if arguments.out is not None and asked.sky is None:
        raise InputError("--out: only with --weather, whose winter it draws; leave it out, or give a winter")
    sheet = Sheet(f"How much water: {asked.house.name}", asked.us)
    answer(asked, sheet)
    if asked.sky is not None:
        from dewsim import size_winter

        size_winter.tell(asked, sheet, arguments.out)
    print(sheet)
    return 0


def answer(asked: Asked, sheet: Sheet) -> None:
    """The design cold: load, output, verdict, water and heat."""
    house = asked.house
    design = Design(house, asked.outside, asked.wind_m_s, asked.pressure_pa)
    air = design_air_m3_h(house, asked.outside[0], asked.wind_m_s)
    gross = load_kg_h(air, asked.inside, asked.outside, asked.pressure_pa)
    _conditions(asked, sheet, air)
    sheet.heading("Load in the design cold")
    _water_rows(sheet, "Outdoor air needs", gross)
    _water_rows(sheet, "less people, showers, cooking", design.source_kg_h, a_day=False)
    net = max(0.0, gross - design.source_kg_h)
    _water_rows(sheet, "The humidifier has to give", net)
    dry = reached_pct(air, 0.0, house.house.indoor_c, asked.outside, asked.pressure_pa)
    own = reached_pct(air, design.source_kg_h, house.house.indoor_c, asked.outside, asked.pressure_pa)
    sheet.row("Without a humidifier", f"{own:.1f} % RH", "", f"{dry:.1f} % with nobody and nothing that wets the air")
    if own < TRADE_DRY_PCT:
        sheet.text(
            "A house below about 8 % RH leaks much, or its meter reads low: check the meter, then seal, then humidify."
        )
    _output(asked, sheet, design, net, air)
    _water_and_heat(asked, sheet, min(net, design.output_kg_h), design)


def _conditions(asked: Asked, sheet: Sheet, air_m3_h: float) -> None:
    h = asked.house.house
    sheet.heading("Assumed")
    sheet.quantity("Heated volume", h.volume_m3, "volume", 0)
    sheet.quantity("Indoors", h.indoor_c, "temperature", 1, f"and {asked.target_pct:.1f} % RH wanted")
    sheet.quantity("Outdoors", asked.outside[0], "temperature", 1, f"and {asked.outside[1]:.0f} % RH over liquid water")
    leak = (air_m3_h - h.ventilation_m3_h) / h.volume_m3
    at = "36 °F and 9 mph" if sheet.us else "20 K and 4 m/s"
    rated = f"{h.air_changes_per_h:.2f} /h at {at}" if h.air_change_model == "wind" else "taken as constant"
    sheet.row("Air leakage there", f"{leak:.2f} /h", "", rated)
    if h.ventilation_m3_h:
        sheet.quantity("Ventilation, moisture it returns off", h.ventilation_m3_h, "air", 0)
    for note in asked.notes:
        sheet.text(note)
    surface = {"glass": "the coldest glass", "corner": "an opaque corner", "envelope": "walls and attic"}[
        asked.allowed_by
    ]
    allows = f"The limit in that cold, {surface}, is {asked.allowed_pct:.1f} % RH without any margin"
    if asked.target_pct > asked.allowed_pct + 0.5:
        sheet.text(
            f"{allows}: less than the {asked.target_pct:.1f} % asked for. The controller will not go there; size for "
            "less."
        )
    else:
        sheet.text(f"{allows}.")


def _water_rows(sheet: Sheet, label: str, kg_h: float, a_day: bool = True) -> None:
    """A rate per hour and, with it, per day."""
    sheet.quantity(label, kg_h, "water", 3 if kg_h < 10 else 1)
    if a_day:
        sheet.quantity("", litres_a_day(kg_h), "water a day", 1)


def litres_a_day(kg_h: float) -> float:
    """A rate [kg/h] in litres a day."""
    return 24 * kg_h / quantities.WATER_KG_L


def rating_text(kg_h: float, us: bool) -> str:
    """A rating as it is printed on humidifiers: per hour in SI, per day in US units."""
    si, us_text = quantities.both(kg_h, "water", 2)[0], quantities.both(litres_a_day(kg_h), "water a day", 1)[1]
    return f"{us_text} ({si})" if us else f"{si} ({us_text})"


def _output(asked: Asked, sheet: Sheet, design: Design, net_kg_h: float, air_m3_h: float) -> None:
    house = asked.house
    unit, heating = house.humidifier, house.heating
    sheet.heading("What the humidifier gives there")
    sheet.quantity("Rated", unit.kg_h, "water", 3, f"in supply air of {_degrees(unit.supply_rating_c, asked.us)}")
    sheet.quantity("", litres_a_day(unit.kg_h), "water a day", 1)
    share = plant.duct_share(heating.supply_c) / plant.duct_share(unit.supply_rating_c) * unit.condition
    sheet.row(
        "Of that in this duct", f"{100 * share:.0f} %", "", f"supply air of {_degrees(heating.supply_c, asked.us)}"
    )
    sheet.row(
        "Time with heat",
        f"{100 * design.heat_share:.0f} %",
        "",
        f"water allowed {100 * design.run_share:.0f} % of the time",
    )
    _water_rows(sheet, "Output, valve open all that time", design.output_kg_h)
    everything = design.output_kg_h + design.source_kg_h
    holds = reached_pct(air_m3_h, everything, house.house.indoor_c, asked.outside, asked.pressure_pa)
    sheet.row("It could hold", f"{holds:.1f} % RH", "", "in the house as a whole, after days of this cold")
    if net_kg_h <= 0.0:
        sheet.text("No humidifier is needed for this: the house is humid enough by itself.")
    elif design.output_kg_h >= net_kg_h:
        sheet.text(f"Enough: {100 * net_kg_h / design.output_kg_h:.0f} % of its output is needed.")
    else:
        needed = unit.kg_h * net_kg_h / design.output_kg_h if design.output_kg_h > 0 else float("inf")
        sheet.text(
            f"Too little: {100 * design.output_kg_h / net_kg_h:.0f} % of the need. It would take a rating of "
            f"{rating_text(needed, asked.us)}, a hotter supply, more fan time, or fewer air leaks; sealing is cheaper "
            "than water."
        )


def _degrees(c: float, us: bool) -> str:
    si, other = quantities.both(c, "temperature", 0)
    return f"{other} ({si})" if us else f"{si} ({other})"


def _water_and_heat(asked: Asked, sheet: Sheet, evaporated_kg_h: float, design: Design) -> None:
    """A day of the design cold: what is fed, what drains, what it costs."""
    sheet.heading("Water and heat, a day of this cold")
    unit = asked.house.humidifier
    open_share = evaporated_kg_h / design.output_kg_h * design.run_share if design.output_kg_h > 0.0 else 0.0
    costs(asked, sheet, 24 * evaporated_kg_h, 24 * open_share * unit.water_kg_h, asked.house.house.indoor_c)
    sheet.text(
        "Evaporated water cools the supply air: the heat is paid to the furnace. What drains was not heated."
    )


def _places(value: float) -> int:
    return 0 if value >= 1000.0 else 1


def costs(asked: Asked, sheet: Sheet, evaporated_kg: float, fed_kg: float, indoor_c: float) -> None:
    """Rows of water fed, drained and evaporated, its heat and their prices."""
    fed_kg = max(fed_kg, evaporated_kg)
    litres = fed_kg / quantities.WATER_KG_L
    sheet.quantity("Let in", litres, "litres", _places(litres))
    drained = 100 * (1 - evaporated_kg / fed_kg) if fed_kg > 0.0 else 0.0
    sheet.quantity("Evaporated", evaporated_kg, "mass", _places(evaporated_kg), f"{drained:.0f} % of the water drains")
    heat_kwh = evaporated_kg * latent_kj_kg(indoor_c) / 3600.0
    sheet.quantity("Heat of evaporation", heat_kwh, "energy", _places(heat_kwh))
    prices = (("water-price", "Water costs", litres / 1000.0), ("heat-price", "Heat costs", heat_kwh))
    for name, label, amount in prices:
        price = asked.given[name]
        if price is not None:
            sheet.row(
                label, f"{amount * price:.2f}", "", f"at {price:g} for {'1000 L' if name == 'water-price' else '1 kWh'}"
            )
