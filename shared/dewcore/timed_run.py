"""A technician's timed test run: water although the house is humid enough, every interlock kept, over by itself."""

from dewcore import words as w

LONGEST_S = 300
# Only what speaks of comfort is set aside: that the house is humid enough, or the weather mild.
SET_ASIDE = (1 << w.HUMID_ENOUGH) | (1 << w.SEASON_OVER)


class TimedRun:
    """running: whether a run is under way; it may open the valve, never keep it open against a refusal."""

    __slots__ = ("running", "until_s")

    def __init__(self) -> None:
        self.running: bool = False
        self.until_s: int = 0

    def begin(self, until_s: int, now_s: int) -> None:
        """Start one at now_s [s], to until_s [s] at the latest and never longer than LONGEST_S."""
        self.until_s = min(until_s, now_s + LONGEST_S)
        self.running = self.until_s > now_s

    def lift(self, refusals: int, is_asked: bool, is_open: bool, now_s: int) -> int:
        """The refusals that count in a run; after its end an open valve shuts at once, not after its shortest run."""
        if is_asked and 0 < self.until_s - now_s <= LONGEST_S:
            return refusals & ~SET_ASIDE
        self.running = False
        if is_open and refusals & SET_ASIDE:
            refusals |= 1 << w.RUN_OVER
        return refusals
