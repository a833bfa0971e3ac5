"""METAR: the newest report of a station in a text, its temperature and when it was observed.

Groups as in the WMO Manual on Codes (WMO-No. 306, volume I.1, FM 15) and, for tenths in the remarks, the US Federal
Meteorological Handbook No. 1 (both from memory): `04/M03` is 4 over -3 degrees C, `M` minus; `18///` has no dew
point; the remark `T00391033` tells 3.9 over -3.3.
"""

import re
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

STATION = re.compile(r"[A-Z][A-Z0-9]{3}")
TIME = re.compile(r"(\d\d)(\d\d)(\d\d)Z")
BODY = re.compile(r"(M?\d\d)/(M?\d\d|//|XX)?")
TENTHS = re.compile(r"T([01]\d{3})([01]\d{3})?")
FORECAST = {"TAF", "AMD"}  # before the station: no observation
BEFORE = {"METAR", "SPECI", "COR"}
REMARKS = "RMK"
ROUNDING_K = 0.6  # whole degrees in the body against tenths in the remarks
DEW_ABOVE_K = 1.0  # rounding of both
AHEAD = timedelta(hours=1)


class Report(NamedTuple):
    """One report that could be read; outdoor_c [°C], in tenths where the report has them."""

    station: str
    observed_s: int
    outdoor_c: float


def reports(text: str, now_s: int) -> tuple:
    """(reports, problems) of a text with any number of METARs; a problem is a sentence about one report."""
    found, problems = [], []
    tokens = text.upper().replace("=", " = ").split()
    starts = [
        i
        for i in range(1, len(tokens))
        if TIME.fullmatch(tokens[i]) and STATION.fullmatch(tokens[i - 1]) and tokens[i - 1] not in BEFORE
    ]
    for i, end in zip(starts, [*(start - 1 for start in starts[1:]), len(tokens)]):
        if FORECAST & set(tokens[max(0, i - 3) : i - 1]):
            continue
        station, groups = tokens[i - 1], tokens[i + 1 : end]
        if "=" in groups:
            groups = groups[: groups.index("=")]
        try:
            found.append(Report(station, _time_s(tokens[i], now_s), _temperature_c(groups)))
        except ValueError as problem:
            problems.append(f"{station} {tokens[i]}: {problem}")
    return found, problems


def _time_s(group: str, now_s: int) -> int:
    """Epoch seconds of DDHHMMZ: the last such day of a month that is not ahead of now."""
    day, hour, minute = (int(part) for part in TIME.fullmatch(group).groups())
    now = datetime.fromtimestamp(now_s, UTC)
    for months_back in range(4):  # 31 January read on 1 March
        month = now.year * 12 + now.month - 1 - months_back
        try:
            moment = datetime(month // 12, month % 12 + 1, day, hour, minute, tzinfo=UTC)
        except ValueError:
            continue
        if moment <= now + AHEAD:
            return int(moment.timestamp())
    raise ValueError(f"{group} is no day and time")


def _temperature_c(groups: list) -> float:
    """The temperature of a report's groups; ValueError where there is none, or what there is contradicts itself."""
    body_end = groups.index(REMARKS) if REMARKS in groups else len(groups)
    body = [match for match in map(BODY.fullmatch, groups[:body_end]) if match]
    if len(body) != 1:
        raise ValueError(f"{len(body)} temperature groups, one is needed")
    outdoor_c = _degrees_c(body[0][1])
    dew_c = None if body[0][2] in (None, "//", "XX") else _degrees_c(body[0][2])
    tenths = [match for match in map(TENTHS.fullmatch, groups[body_end:]) if match]
    if tenths:
        fine_c = _tenths_c(tenths[0][1])
        if abs(fine_c - outdoor_c) > ROUNDING_K:
            raise ValueError(f"{body[0][0]} and {tenths[0][0]} contradict each other")
        outdoor_c = fine_c
    if dew_c is not None and dew_c > outdoor_c + DEW_ABOVE_K:
        raise ValueError(f"{body[0][0]}: the dew point is above the temperature")
    return outdoor_c


def _degrees_c(text: str) -> float:
    return -float(text[1:]) if text.startswith("M") else float(text)


def _tenths_c(text: str) -> float:
    return (-1 if text[0] == "1" else 1) * int(text[1:]) / 10.0
