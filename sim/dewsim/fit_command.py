"""`dewmargin fit LOG`: a house file out of what a board recorded, with what each figure may be off by.

A log tells ratios: air changes over k, moisture and humidifier over the air's mass, the furnace over the heat loss.
Volume, k, furnace_kw and all that a log does not show are taken from the house file given, else from the defaults.
"""

import os
from datetime import UTC, datetime
from math import isfinite
from typing import NamedTuple

from dewsim import housefile
from dewsim.errors import InputError, shown, shown_path
from dewsim.log_export import whole_file
from dewsim.log_source import season_of
from dewsim.plant import AIR_KG_M3, STORE_G_KG_PCT, duct_share
from dewsim.progress import Progress

DEFAULT_OUT = "dewmargin-house.toml"
LEAST_DAYS = 7.0
LEAST_VALVE_H = 10.0
LEAST_MOVES_PCT = 0.3
# Largest relative spread up to which a figure counts as determined
DRY_SPREAD, STORE_SPREAD, TAU_SPREAD, GAINS_SPREAD, VALVE_SPREAD, HEAT_SPREAD = 0.35, 0.35, 0.35, 0.5, 0.15, 0.15
RH_SPREAD_PCT = 1.0
NOT = "not determined"


class Row(NamedTuple):
    """One line of the table: what, its value and spread as text, or NOT; where it comes from."""

    what: str
    value: str
    spread: str
    note: str


class Fitted(NamedTuple):
    """The house, the table's rows, the lines above it, the Moisture and the Series that they come from."""

    house: housefile.House
    rows: list
    about: list
    balance: object
    series: object


def run(arguments) -> int:
    """Write the house file and print the table."""
    out = arguments.out or DEFAULT_OUT
    needs_scipy()
    if os.path.lexists(out):
        raise InputError(f"--out {shown_path(out)}: exists already; name a new file")
    given = housefile.load(arguments.known) if arguments.known else None
    season, source = season_of(arguments.log, arguments.device, arguments.season)
    with Progress.on_terminal("fit") as progress:
        fitted = fit(season, source, given, progress)
    with whole_file(out) as file:
        file.write(text_of(fitted))
    print("\n".join(table(fitted)))
    print(f"house file: {out}")
    return 0


def needs_scipy() -> None:
    """InputError where the packages that fitting takes are not there."""
    try:
        import scipy.optimize  # noqa: F401
    except ImportError:
        raise InputError(
            "fit: needs the package scipy, which is not installed; run `.venv/bin/python -m pip install '.[fit]'` in "
            "the checkout"
        ) from None


def fit(season, source: str, given=None, progress=None) -> Fitted:
    """A house fitted to a season; given: the house file whose other values count.  InputError where it is too short."""
    import numpy as np

    from dewsim import fit_glass, fit_heat, fit_moisture, fit_series

    progress = progress or Progress()
    house = housefile.loads(housefile.dump(given).encode(), "house") if given else housefile.House()
    try:
        series = fit_series.Series(season)
    except ValueError as problem:
        raise InputError(f"{source}: {problem}; give a log of a board whose sensors work") from None
    if series.days() < LEAST_DAYS:
        raise InputError(
            f"{source}, season {season.name()}: found {series.days():.1f} days' worth of whole minutes, needed are "
            f"{LEAST_DAYS:g}; let it log longer, or name another --season"
        )
    moves_pct = float(np.nanstd(series.rh_pct))
    if moves_pct < LEAST_MOVES_PCT:
        raise InputError(
            f"{source}, season {season.name()}: found a humidity that moves by {moves_pct:.2f} % RH (standard "
            f"deviation), needed are {LEAST_MOVES_PCT:g}; see to the sensor"
        )
    progress.stage("heat", 0.0, 0.05)
    rows = _take_heat(house, fit_heat.fit(series), fit_heat.fan_always(series))
    progress.stage("moisture", 0.05, 1.0)
    balance = fit_moisture.fit(fit_series.Steps(series, house), progress.share)
    rows += _take_moisture(house, balance, series.valve_hours())
    rows += _take_glass(house, fit_glass.fit(series, house))
    house.name = f"{house.name}, fitted" if given else "Fitted house"
    house.check(source)
    return Fitted(house, rows, _about(series, season, source, given), balance, series)


def _about(series, season, source: str, given) -> list:
    first, last = (
        f"{datetime.fromtimestamp(series.start_local_s + 60 * k, UTC):%Y-%m-%d %H:%M}" for k in (0, series.n)
    )
    basis = "the house file given" if given else "the defaults: give your own with --known"
    return [
        f"Fitted to {source}, season {season.name()}: {first} to {last},",
        f"{series.days():.1f} days' worth of minutes, {series.valve_hours():.1f} h with the valve open.",
        f"Volume, k, furnace_kw and all not named below are those of {basis};",
        "a log tells figures only in proportion to them.  Outdoor humidity and wind are not in a log:",
        "the former was judged by temperature, the latter taken as 4 m/s.  Spread: one standard deviation.",
        f"Where a figure is {NOT}, the file has the likeliest one, or what was kept.",
    ]


def _row(what: str, value: float, unit: str, relative: float, most: float, note: str, places: int = 3) -> Row:
    """A row of a figure with a relative spread, not determined where it is above most."""
    if not relative <= most:
        return Row(what, NOT, "", note)
    return Row(what, f"{value:.{places}f} {unit}".strip(), f"{abs(value) * relative:.{places}f}", note)


def _relative(section: str, name: str, value: float, spread: float) -> float:
    """The spread, without end where the value is beyond what the house file allows."""
    key = housefile.BY_PLACE[section, name]
    return spread if key.lo < value < key.hi else float("inf")


def _bounded(section: str, name: str, value: float) -> float:
    """Within what the house file allows, rounded to what a fit can tell."""
    key = housefile.BY_PLACE[section, name]
    return min(key.hi, max(key.lo, float(f"{value:.5g}")))


def _take_heat(house, found, always: bool) -> list:
    names = ("house.indoor_c", "house.setback_k", "heating.thermal_time_h", "heating.ua_w_k", "heating.free_heat_w")
    if found is None:
        house.heating.fan_continuous = always or house.heating.fan_continuous
        why = "the fan runs all the time" if always else "too little heating in the log"
        return [Row(name, NOT, "", f"{why}; kept") for name in names]
    heating, place = house.heating, house.house
    place.indoor_c = min(_bounded("house", "indoor_c", found.set_c), heating.supply_c - 3.0)
    place.setback_k = _bounded("house", "setback_k", found.setback_k)
    if found.setback_k:
        place.setback_from, place.setback_to = found.setback_from, found.setback_to
    tau, furnace, free = (
        value / wanted for value, wanted in zip(found.spread, (found.thermal_time_h, found.furnace_k, found.furnace_k))
    )
    rows = [
        Row(names[0], f"{place.indoor_c:.1f} °C", "0.1", "by when the fan starts and stops"),
        Row(names[1], f"{place.setback_k:.1f} K", "0.5", f"{place.setback_from} to {place.setback_to}"),
        _row(names[2], found.thermal_time_h, "h", tau, HEAT_SPREAD, "", 1),
    ]
    if tau <= HEAT_SPREAD and furnace <= HEAT_SPREAD:
        heating.thermal_time_h = _bounded("heating", "thermal_time_h", found.thermal_time_h)
        heating.ua_w_k = _bounded("heating", "ua_w_k", 1000.0 * heating.furnace_kw / found.furnace_k)
        heating.free_heat_w = _bounded("heating", "free_heat_w", found.free_k * heating.ua_w_k)
    note = f"with furnace_kw = {heating.furnace_kw:g}"
    rows.append(_row(names[3], heating.ua_w_k, "W/K", furnace, HEAT_SPREAD, note, 0))
    rows.append(_row(names[4], heating.free_heat_w, "W", free, HEAT_SPREAD, note, 0))
    return rows


def _take_moisture(house, m, valve_h: float) -> list:
    """Drying, store, gains and humidifier into the house, in proportion to its volume and k."""
    buffer, spread = house.buffer, m.spread
    k = buffer.k if buffer.nodes else 1.0
    air_kg = k * AIR_KG_M3 * house.house.volume_m3
    n, r = m.dry_per_h * k, m.store_per_h * k * m.tau_b_h / STORE_G_KG_PCT
    house.house.air_changes_per_h = _bounded("house", "air_changes_per_h", n)
    buffer.nodes, buffer.k = 2, k
    buffer.tau_b_h = _bounded("buffer", "tau_b_h", m.tau_b_h)
    buffer.r = _bounded("buffer", "r", r)
    spread_n = _relative("house", "air_changes_per_h", n, spread["dry_per_h"])
    spread_r = _relative("buffer", "r", r, spread["store_per_h"])
    rows = [
        _row("house.air_changes_per_h", house.house.air_changes_per_h, "1/h", spread_n, DRY_SPREAD,
             f"with k = {k:g}; drying by {m.dry_per_h:.3f} of the excess an hour at 20 K"),
        _row("buffer.r", buffer.r, "", spread_r, STORE_SPREAD, f"with k = {k:g}; else the likeliest", 1),
        _row("buffer.tau_b_h", buffer.tau_b_h, "h", spread["tau_b_h"], TAU_SPREAD, "else the likeliest", 0),
    ]  # fmt: skip
    rows += _take_gains(house, m, air_kg)
    rows.append(_take_humidifier(house, m, air_kg, valve_h))
    note = "what the humidity sensor reads high"
    if spread["rh_error_pct"] <= RH_SPREAD_PCT:
        house.sensors.rh_error_pct = _bounded("sensors", "rh_error_pct", m.rh_error_pct)
        value, off = f"{m.rh_error_pct:+.1f} %", f"{spread['rh_error_pct']:.1f}"
        rows.append(Row("sensors.rh_error_pct", value, off, note))
    else:
        rows.append(Row("sensors.rh_error_pct", NOT, "", note))
    return rows


def _take_gains(house, m, air_kg: float) -> list:
    """People and what is left of bursts; what is over goes into the steady source."""
    import numpy as np

    from dewsim.fit_series import bursts_kg_h, people_kg_h

    gains = house.gains
    measured = bursts_kg_h(gains.people or 1).mean() * m.bursts
    person = float(people_kg_h(np.arange(7 * 1440)).mean())
    steady = 0.001 * air_kg * m.people * person
    bursting = 0.001 * air_kg * float(measured)
    gains.people = int(min(housefile.BY_PLACE["gains", "people"].hi, steady / person))
    usual = float(bursts_kg_h(gains.people).mean())
    gains.bursts = True
    gains.extraction = _bounded("gains", "extraction", bursting / usual)
    rest = steady - gains.people * person + max(0.0, bursting - usual)
    gains.constant_kg_h = _bounded("gains", "constant_kg_h", rest)
    total = steady + bursting
    people = 0.001 * air_kg * person * m.spread["people"]
    bursts = 0.001 * air_kg * m.spread["bursts"] * bursting / max(1e-9, 0.001 * air_kg * m.bursts)
    note = f"as gains.people = {gains.people}, constant_kg_h = {gains.constant_kg_h:g}"
    rows = [
        _row("steady gains", steady, "kg/h", people / max(total, 1e-9), GAINS_SPREAD, note),
        _row("bursts", bursting, "kg/h", bursts / max(total, 1e-9), GAINS_SPREAD,
             f"as gains.extraction = {gains.extraction:g}"),
    ]  # fmt: skip
    return rows


def _take_humidifier(house, m, air_kg: float, valve_h: float) -> Row:
    """Evaporation in an hour of open valve."""
    unit = house.humidifier
    kg_h = 0.001 * air_kg * m.valve_g_kg_h
    relative = m.spread["valve_g_kg_h"] / max(m.valve_g_kg_h, 1e-9)
    note = f"{m.valve_g_kg_h:.3f} g/kg in an hour of open valve, with volume_m3 = {house.house.volume_m3:g}"
    if valve_h < LEAST_VALVE_H:
        return Row("humidifier.kg_h", NOT, "", f"the valve was open for {valve_h:.1f} h, needed are {LEAST_VALVE_H:g}")
    if relative <= VALVE_SPREAD:
        share = duct_share(house.heating.supply_c) / duct_share(unit.supply_rating_c)
        unit.kg_h = _bounded("humidifier", "kg_h", kg_h / share)
        unit.condition = 1.0
        unit.water_kg_h = max(unit.water_kg_h, unit.kg_h)
    return _row("humidifier.kg_h", kg_h, "kg/h", relative, VALVE_SPREAD, note)


def _take_glass(house, found: tuple) -> list:
    rows = []
    for name, factor in zip(("f_day", "f_night"), found):
        note = f"{factor.near} looks of {factor.looks} say something"
        if isfinite(factor.f):
            setattr(house.glass, name, _bounded("glass", name, factor.f))
        if factor.determined:
            rows.append(Row(f"glass.{name}", f"{factor.f:.3f}", f"{factor.spread:.3f}", note))
        elif isfinite(factor.f):
            note += f"; likeliest {factor.f:.2f}, to {factor.spread:.3f}: sensors of less tolerance tell more"
            rows.append(Row(f"glass.{name}", NOT, "", note))
        else:
            rows.append(Row(f"glass.{name}", NOT, "", f"{note}; kept"))
    glass = house.glass
    if glass.f_night > glass.f_day:  # curtains only cool the glass
        if isfinite(found[1].f) and not isfinite(found[0].f):
            glass.f_day = glass.f_night
        else:
            glass.f_night = glass.f_day
    return rows


def table(fitted: Fitted) -> list:
    """The lines of the table."""
    head = Row("What", "Value", "Spread", "Note")
    widths = [max(len(row[n]) for row in (head, *fitted.rows)) for n in range(3)]
    return [
        "  ".join([*(row[n].ljust(widths[n]) for n in range(3)), row.note]).rstrip() for row in (head, *fitted.rows)
    ]


def text_of(fitted: Fitted) -> str:
    """The house file: the table as comments, then every key."""
    lines = [*fitted.about, "", *table(fitted)]
    comments = [f"# {shown(line, 300)}".rstrip() for line in lines]
    return "\n".join(comments) + "\n\n" + housefile.dump(fitted.house)
