"""The published and computed check tables beside this file, read once the same way by every test."""

import csv
from pathlib import Path

DATA = Path(__file__).parent / "data"


def rows(name: str) -> "list[dict[str, str]]":
    """All rows of data/NAME.csv; fails when there are none, so that a loop over them cannot pass unseen."""
    with open(DATA / f"{name}.csv", encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    assert found, f"data/{name}.csv has no rows"
    assert all(row["source"] and row["how_known"] for row in found), f"{name}: a row without its source"
    return found


def celsius(fahrenheit: float) -> float:
    """°C from °F."""
    return (fahrenheit - 32.0) / 1.8
