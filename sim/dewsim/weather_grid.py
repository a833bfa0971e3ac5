"""Makes a weather file's rows evenly spaced and complete, or says where too much is missing."""

from array import array
from math import isnan, nan

from dewsim.errors import InputError
from dewsim.weather_formats import COLUMNS, HOUR_S, NAMES, Table, disorder, fail

LEAST_RH_PCT = 1.0  # air without any vapour has no dew point; outdoors there is none
LONGEST_GAP_S = 3600  # of missing values; over a longer one a straight line is no longer the weather


def even(table: Table) -> None:
    """Fills the table to even spacing: missing rows become NaN, then short runs of NaN are interpolated."""
    stamps, lines, step_s = table.stamps, table.lines, table.step_s
    if len(stamps) < 2:
        raise InputError(
            f"{table.place}: {len(stamps)} rows of data; at least 2 are needed, a winter for a replay; "
            "get the file whole"
        )
    source = [0]  # per even sample: its row, or -1
    for i in range(1, len(stamps)):
        gap = stamps[i] - stamps[i - 1]
        if not gap > 0:
            raise fail(table.place, lines[i], disorder(stamps[i - 1], stamps[i]))
        if not (gap <= step_s + LONGEST_GAP_S and gap % step_s == 0):
            raise fail(
                table.place,
                lines[i],
                f"{gap / HOUR_S:g} h after the row before, where rows are {step_s / HOUR_S:g} h apart; "
                "allowed is one missing hour; complete the file",
            )
        missing = gap // step_s - 1
        if missing:
            source.extend([-1] * missing)
        source.append(i)
    rows_missing = len(source) - len(stamps)
    if rows_missing:
        before = lines[source[source.index(-1) - 1] + 1]
        table.notes.append(f"{rows_missing} missing rows interpolated, the first before line {before}")
        for name in NAMES:
            old = table.columns[name]
            if old:
                table.columns[name] = array("d", [old[i] if i >= 0 else nan for i in source])
    for name in NAMES:
        complete(table, name, source)


def complete(table: Table, name: str, source: "list[int]") -> None:
    """One column without NaN: its stated value if all is missing, short gaps filled, RH clipped to 1..100."""
    values = table.columns[name]
    usual, unit = COLUMNS[name][3], COLUMNS[name][2]
    gaps = [i for i, value in enumerate(values) if isnan(value)]
    if len(gaps) == len(values):  # no such column, or nothing in it
        if usual is None:
            raise InputError(f"{table.place}: {name} has no value in the whole file; it is needed; get the file whole")
        table.columns[name] = array("d", [usual]) * len(source)
        table.notes.append(f"no {name} in the file: {usual:g} {unit} used throughout")
        return
    i = 0
    while i < len(gaps):
        first = last = gaps[i]
        while i + 1 < len(gaps) and gaps[i + 1] == last + 1:
            i += 1
            last += 1
        i += 1
        bridge(table, name, source, first, last)
    in_rows = sum(source[i] >= 0 for i in gaps)
    if in_rows:
        table.notes.append(f"{in_rows} missing values of {name} interpolated")
    if name == "rh_pct":
        clip(table, values)


def bridge(table: Table, name: str, source: "list[int]", first: int, last: int) -> None:
    """Interpolates the missing samples first..last; InputError for over an hour or at an end."""
    values = table.columns[name]
    if first == 0 or last == len(values) - 1 or (last - first + 1) * table.step_s > LONGEST_GAP_S:
        row = next((source[j] for j in range(first, last + 1) if source[j] >= 0), source[first - 1])
        raise fail(
            table.place,
            table.lines[row],
            f"{name} is missing for {(last - first + 1) * table.step_s / HOUR_S:g} h from here; "
            "allowed is one hour between two values; complete the file",
        )
    a, b = values[first - 1], values[last + 1]
    for j in range(first, last + 1):
        values[j] = a + (b - a) * (j - first + 1) / (last - first + 2)


def clip(table: Table, values: array) -> None:
    """RH over 100 % becomes 100 %, below 1 % it becomes 1 %, with notes."""
    over = [i for i, value in enumerate(values) if value > 100.0]
    under = [i for i, value in enumerate(values) if value < LEAST_RH_PCT]
    for i in over:
        values[i] = 100.0
    for i in under:
        values[i] = LEAST_RH_PCT
    if over:
        table.notes.append(f"{len(over)} values of rh_pct above 100 % taken as 100 %")
    if under:
        table.notes.append(f"{len(under)} values of rh_pct below {LEAST_RH_PCT:g} % taken as {LEAST_RH_PCT:g} %")
