"""The largest falls known before a place's own record: dewcore's table is the file's, entry by entry."""

import csv

from dewcore.fallbound import BLOCKS, HOURS, PRIOR_BELOW_LOWEST, PRIOR_DROP, PRIOR_PER_K, FallBound
from reference_tables import DATA


def table() -> dict:
    """(block, hours) to (fall, fall below the lowest of the day before) [K]."""
    with open(DATA / "10_fall_envelope.csv", encoding="utf-8", newline="") as file:
        return {
            (int(row["block"]), int(row["k_h"])): (float(row["drop_k"]), float(row["drop_from_min24_k"]))
            for row in csv.DictReader(file)
        }


def test_every_entry_is_the_files():
    found = table()
    assert len(found) == BLOCKS * HOURS == len(PRIOR_DROP) and len(PRIOR_BELOW_LOWEST) == HOURS
    for block in range(BLOCKS):
        for k in range(1, HOURS + 1):
            drop_k, below_k = found[block, k]
            assert PRIOR_DROP[block * HOURS + k - 1] / PRIOR_PER_K == drop_k, (block, k)
            assert PRIOR_BELOW_LOWEST[k - 1] / PRIOR_PER_K == below_k, (block, k)


def test_a_new_bound_gives_the_files_fall_at_every_hour_of_the_day():
    """At the lowest of the day both falls are allowed in full: the smaller one bounds."""
    found = table()
    bound = FallBound()
    for hour in range(24):
        bound.begin(hour)
        for k in range(1, HOURS + 1):
            assert bound.drop_k(k, -5.0, -5.0) == min(found[hour // 6, k]), (hour, k)


def test_nothing_in_the_file_falls_less_in_more_time():
    found = table()
    for block in range(BLOCKS):
        for k in range(2, HOURS + 1):
            assert found[block, k][0] >= found[block, k - 1][0] and found[block, k][1] >= found[block, k - 1][1]
