"""A document in, what it tells of the outdoor temperature out: METAR, JSON with the user's paths, our own CSV."""

import json
import re
from datetime import UTC, datetime
from math import floor, isfinite
from typing import NamedTuple

from dewcore.readings import FORECAST_HOURS
from dewsim import metar, weather_formats
from dewsim.errors import InputError, shown

UNITS = {"c": (1.0, 0.0), "f": (1.0 / 1.8, -32.0 / 1.8), "k": (1.0, -273.15)}  # times, plus; to °C
HOUR_S = 3600
MILLISECONDS_FROM = 1e11  # a number as large is no time in seconds before the year 5138
STEP = re.compile(r"\[(\d+|\*)\]|\.?([^.\[\]]+)")
MOST_VALUES = 2000


class Told(NamedTuple):
    """What a document tells: observed, (second, °C) or None; hours, [(second, °C or None)] of a forecast or []."""

    source: str
    observed: tuple | None
    issued_s: int
    hours: list


class Document(NamedTuple):
    """A text and when it was made as far as anybody said (file, server), else when it came [epoch s]."""

    place: str
    text: str
    made_s: int


class Paths(NamedTuple):
    """Where in a JSON document what stands, and how temperatures and times are written."""

    outdoor: str
    time: str
    forecast: str
    forecast_time: str
    issued: str
    unit: str
    is_utc: bool


def told(kind: str, document: Document, now_s: int, station: str, paths: Paths) -> Told:
    """What a document tells at now_s; InputError with what is wrong in it."""
    if kind == "metar":
        return _of_metar(document, now_s, station)
    if kind == "csv":
        return _of_csv(document, now_s)
    return _of_json(document, now_s, paths)


def _of_metar(document: Document, now_s: int, station: str) -> Told:
    found, problems = metar.reports(document.text, now_s)
    stations = sorted({report.station for report in found})
    if station:
        found = [report for report in found if report.station == station.upper()]
        problems = [problem for problem in problems if problem.startswith(station.upper() + " ")]
    elif len(stations) > 1:
        raise InputError(
            f"{document.place}: found reports of {shown(', '.join(stations), 40)}; name one with --station"
        )
    if not found:
        why = shown(problems[0], 120) if problems else f"METAR {station.upper() or 'report'} is not in it"
        raise InputError(f"{document.place}: found no usable report ({why}); give a text with one")
    newest = max(found, key=lambda report: report.observed_s)
    return Told(f"metar {newest.station}", (newest.observed_s, newest.outdoor_c), 0, [])


def _of_csv(document: Document, now_s: int) -> Told:
    table = weather_formats.own(document.text.splitlines() or [""], document.place, even=False)
    rows = [(second, c) for second, c in zip(table.stamps, table.columns["outdoor_c"]) if isfinite(c)]
    past = [row for row in rows if row[0] <= now_s]
    ahead = [row for row in rows if row[0] > now_s]
    if not rows:
        raise InputError(f"{document.place}: found no outdoor_c in it; give rows that have it")
    hours = hours_of(rows, now_s) if ahead else []
    return Told(document.place, past[-1] if past else None, min(document.made_s, now_s), hours)


# JSON


def _of_json(document: Document, now_s: int, paths: Paths) -> Told:
    try:
        tree = json.loads(document.text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{document.place}: is no JSON ({shown(str(error))}); give a JSON document") from None
    place = document.place
    observed, hours = None, []
    if paths.outdoor:
        c = _celsius(_at(tree, paths.outdoor, place), paths, f"{place}, {paths.outdoor}")
        observed = (_second(_at(tree, paths.time, place), paths, f"{place}, {paths.time}"), c)
    issued_s = min(document.made_s, now_s)
    if paths.forecast:
        values, times = (_list_at(tree, path, place) for path in (paths.forecast, paths.forecast_time))
        if len(values) != len(times):
            raise InputError(
                f"{place}: found {len(values)} values at {shown(paths.forecast)} and {len(times)} times at "
                f"{shown(paths.forecast_time)}, allowed is as many; correct the paths"
            )
        rows = []
        for n, (value, time) in enumerate(zip(values, times)):
            if value is not None:
                where = f"{place}, {paths.forecast} {n}"
                rows.append((_second(time, paths, where), _celsius(value, paths, where)))
        hours = hours_of(rows, now_s)
        if paths.issued:
            issued_s = _second(_at(tree, paths.issued, place), paths, f"{place}, {paths.issued}")
    return Told(place, observed, issued_s, hours)


def steps_of(path: str) -> list:
    """A path's steps: names, numbers and "*"; InputError for what is no path."""
    steps = []
    at = 0
    while at < len(path):
        match = STEP.match(path, at)
        if match is None:
            break
        number, name = match.groups()
        steps.append(name if number is None else number if number == "*" else int(number))
        at = match.end()
    if not steps or at != len(path):
        raise InputError(f"path {shown(path)}: allowed is one as now.temperature or hours[*].air[0]; write it so")
    return steps


def _at(tree: object, path: str, place: str) -> object:
    """The one value at a path."""
    found = _walk(tree, steps_of(path), path, place)
    if isinstance(found, list) and "[*]" not in path and len(found) == 1:
        return found[0]
    return found


def _list_at(tree: object, path: str, place: str) -> list:
    found = _walk(tree, steps_of(path), path, place)
    if not isinstance(found, list) or not 1 <= len(found) <= MOST_VALUES:
        raise InputError(f"{place}: found no list of 1 to {MOST_VALUES} values at {shown(path)}; correct the path")
    return found


def _walk(tree: object, steps: list, path: str, place: str) -> object:
    for n, step in enumerate(steps):
        if step == "*" and isinstance(tree, list):
            return [_walk(item, steps[n + 1 :], path, place) for item in tree[: MOST_VALUES + 1]]
        is_there = (
            isinstance(tree, dict) and str(step) in tree or isinstance(tree, list) and step in range(len(tree))
        )
        if not is_there:
            raise InputError(f"{place}: found nothing at {shown(path)} from {shown(str(step))} on; correct the path")
        tree = tree[step] if isinstance(tree, list) else tree[str(step)]
    return tree


def _celsius(value: object, paths: Paths, where: str) -> float:
    """A temperature in °C, also where it is written as a text."""
    try:
        number = weather_formats.plain_float(value) if isinstance(value, str) else value
        if isinstance(number, bool) or not isinstance(number, (int, float)) or not abs(number) < 1000.0:
            raise ValueError
    except ValueError:
        raise InputError(f"{where}: found {shown(repr(value), 40)}, no temperature; correct the path") from None
    times, plus = UNITS[paths.unit]
    return number * times + plus


def _second(value: object, paths: Paths, where: str) -> int:
    """Epoch seconds of a number (seconds or milliseconds) or an ISO 8601 time."""
    if isinstance(value, (int, float)) and not isinstance(value, bool) and 0 <= value < 1e14:
        return int(value / 1000 if value >= MILLISECONDS_FROM else value)
    try:
        moment = datetime.fromisoformat(value)
        if moment.tzinfo is None and not paths.is_utc:
            raise InputError(f"{where}: found {shown(value, 40)}, a time without zone; give --utc if it is UTC")
        return int((moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp())
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"{where}: found {shown(repr(value), 40)}, no time; correct the path") from None


def hours_of(rows: list, now_s: int) -> list:
    """(second, °C or None) of each whole hour from the present one, or the first later one there is, on.

    An hour takes the lowest value within half an hour of it; hours without one stay None, which the board bridges
    where they are few.
    """
    lowest: dict = {}
    for second, c in rows:
        hour = floor((second + HOUR_S / 2) / HOUR_S)
        lowest[hour] = min(c, lowest.get(hour, c))
    wanted = [hour for hour in lowest if now_s // HOUR_S <= hour < now_s // HOUR_S + FORECAST_HOURS]
    if not wanted:
        return []
    return [(hour * HOUR_S, lowest.get(hour)) for hour in range(min(wanted), max(wanted) + 1)]
