"""The report's section of a log that was replayed: what was recorded, the fitted house, the changed one."""

from html import escape

from dewsim import report_tables as tables
from dewsim.units import Units, minutes_text, number

NONE = "\u2013"


def section(replay, units: Units) -> str:
    """A table of what both a log and a replay know, and how to read it."""
    beside = replay.beside
    columns = beside.columns()
    shows = (
        ("Mean RH in the heating season, %", "mean_rh_pct", number),
        ("Hours below 25 % RH", "hours_below_25_pct", lambda value: number(value, 0)),
        ("Wet minutes of the modelled coldest glass", "wet_minutes", minutes_text),
        ("Hours with the valve open", "valve_hours", lambda value: number(value, 0)),
        ("Starts of the valve", "valve_starts", lambda value: number(value, 0)),
        (f"Water evaporated, {units.water_unit}", "water_evaporated_litres", lambda v: number(units.water(v), 0)),
        ("Floor at its driest, % of dry mass", "floor_emc_min_pct", number),
        ("Floor at its dampest, % of dry mass", "floor_emc_max_pct", number),
    )
    rows = [
        [label, *(show(block[name]) if block.get(name) is not None else NONE for _, block in columns)]
        for label, name, show in shows
    ]
    head = ["", *(heading for heading, _ in columns)]
    return _words(beside) + tables.table("The season as it was logged, and as it is replayed", head, rows, "numbers")


def _words(beside) -> str:
    changes = ", ".join(f"<code>{escape(change)}</code>" for change in beside.changes)
    asked = (
        f"<strong>Changed</strong> is the same house with {changes}; everything below is about it." if changes
        else "Everything below is about the replayed house."
    )
    return (
        "<p><strong>As logged</strong> is what the board recorded. <strong>Replayed</strong> is the house of the house "
        f"file, fitted or given, with the same outdoor temperatures. {asked} Compare replayed with logged before "
        "believing the rest: they differ by what a log does not hold (outdoor humidity, wind, open windows, absences, "
        "settings and forecasts of that time, minutes not recorded) and by what the fit got wrong. Wet minutes of the "
        "log are those of the glass as the board modelled it.</p>\n"
    )
