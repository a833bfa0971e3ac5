"""What reboots cost: a controller packed into a new one every day beside one that runs through, for a winter month.

Usage: reboots.py [DAYS].  Both see the same simulated house, which the one that runs through drives.  Prints by how
much the other's target lies above it [% RH], by hours since the boot, and what both learned; a minute on one core.
"""

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "shared"), str(ROOT / "tests" / "both")]

from test_learned import UTC_S, Board, Place  # noqa: E402

from dewcore import learned  # noqa: E402

DAY_S = 86400
AFTER_H = (0.5, 2, 4, 8, 16, 24)


def run(days: int, gap_s: int) -> None:
    """One month; gap_s: what is known of the time off, -1 nothing."""
    place = Place()
    other = Board(place, None)
    by_hour: dict = {hours: [] for hours in AFTER_H}
    while place.s < days * DAY_S:
        target = place.step()
        above = other.look() - target
        since_h = (place.s - other.boot_s) / 3600.0
        by_hour[next(hours for hours in AFTER_H if since_h <= hours)].append(above)
        if place.s % DAY_S == 0:
            other = Board(place, learned.pack(other.controller, UTC_S + place.s), gap_s)
    print("time off %s; target above the other's [%% RH]:" % ("unknown" if gap_s < 0 else "%d s" % gap_s))
    for hours, found in by_hour.items():
        found.sort()
        few = len(found) // 20
        print(
            "  to %4.1f h after a boot: least %6.2f, 5 %% %6.2f, median %6.2f, 95 %% %6.2f, most %6.2f"
            % (hours, found[0], found[few], found[len(found) // 2], found[-1 - few], found[-1])
        )
    for name in ("dry_per_h", "store_per_h", "valve_g_kg_h", "store_pct", "own", "hours"):
        one, two = (getattr(board.controller.outlook.house, name) for board in (place.leader, other))
        print("  %-12s %8.3f running through, %8.3f rebooted" % (name, one, two))


if __name__ == "__main__":
    for gap in (-1, 60):
        run(int(sys.argv[1]) if len(sys.argv) > 1 else 30, gap)
