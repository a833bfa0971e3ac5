"""How far the outdoor temperature may fall within so many hours: hard winters' worst, and this place's own record.

The prior is the largest fall read in seven winters of four climates, by the quarter of the day in which it began
and by its length; and the largest fall below the lowest of the day before, which bounds it on a day that is cold
already.  The own record is blended in over its first month, never below what it has seen.
"""

from array import array

from dewcore.outdoors import OutdoorHistory

HOURS = 48
BLOCKS = 4  # a fall that begins at 0-6, 6-12, 12-18, 18-24 h local
BELOW_C = 12.0  # a fall counts where it begins below this: a summer evening is none
PRIOR_PER_K = 2.0  # the prior's tables are in 0.5 K
OWN_PER_K = 5.0  # the own record's in 0.2 K, rounded up
MOST_OWN = 255
OWN_FACTOR = 1.2  # a record of one place and a few weeks has not seen its worst
OWN_SHARE = 0.6  # the most that the own record counts
OWN_HOURS = 720
NOT_KNOWN = 32767

# [0.5 K] for 1..48 h, block after block.
PRIOR_DROP = bytes((
    18, 26, 27, 27, 27, 27, 27, 27, 27, 27, 27, 28, 30, 32, 32, 34, 36, 38, 40, 46, 50, 52, 52, 52,
    52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 54, 54, 56, 58,
    16, 16, 18, 20, 24, 26, 28, 40, 42, 43, 46, 46, 46, 46, 46, 50, 50, 50, 50, 50, 50, 50, 50, 50,
    50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 51, 52, 52, 54, 56, 56, 56, 56, 56, 56, 56,
    18, 30, 38, 41, 43, 43, 46, 46, 46, 46, 46, 46, 46, 46, 46, 46, 46, 46, 46, 46, 46, 46, 46, 46,
    46, 46, 46, 46, 46, 46, 46, 48, 48, 50, 53, 54, 54, 54, 54, 54, 54, 54, 54, 54, 54, 54, 54, 54,
    29, 37, 40, 42, 42, 42, 42, 42, 43, 44, 44, 44, 44, 44, 44, 44, 44, 44, 44, 44, 44, 44, 44, 44,
    44, 46, 50, 50, 50, 50, 50, 50, 50, 50, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52,
))  # fmt: skip
# [0.5 K] below the lowest of the 24 h before, for 1..48 h.
PRIOR_BELOW_LOWEST = bytes((
    14, 16, 19, 20, 20, 20, 21, 23, 27, 29, 29, 30, 32, 34, 36, 40, 40, 40, 40, 40, 40, 40, 40, 40,
    40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 42, 42, 44, 46, 46, 46, 46, 46, 46, 46,
))  # fmt: skip


class FallBound:
    """own_drop (by block) and own_below [0.2 K] by hours ahead less one; hours: how many it has watched."""

    __slots__ = ("own_drop", "own_below", "hours", "next", "lowest_cc", "seen_drop", "seen_below", "share", "block")

    def __init__(self) -> None:
        self.own_drop = bytearray(BLOCKS * HOURS)
        self.own_below = bytearray(HOURS)
        self.hours: int = 0
        self.next: int = 0
        self.lowest_cc = array("h", [NOT_KNOWN] * HOURS)  # lowest of the 24 h up to each of the last hours, a ring
        self.seen_drop: int = 0
        self.seen_below: int = 0
        self.share: float = 0.0
        self.block: int = -1

    def watch(self, history: "OutdoorHistory", hour: int) -> None:
        """Take the hour that `history` has just completed; hour: the local hour of the day now, -1 unknown.

        Nobody knows how long a boot took, or what passed while no reading came: no fall is counted across such a gap,
        nor an hour from which not all can be seen.
        """
        now_cc = history.back_cc(1)
        most = min(HOURS, history.joined - 1)
        below_cc = int(BELOW_C * 100.0)
        for back in range(1, most + 1):
            began_cc = history.back_cc(1 + back)
            fall_cc = began_cc - now_cc
            if fall_cc <= 0 or began_cc >= below_cc:
                continue
            if hour >= 0:
                _raise(self.own_drop, (hour - back) % 24 // 6 * HOURS + back - 1, fall_cc)
            lowest_cc = self.lowest_cc[(self.next - back) % HOURS]
            if lowest_cc > now_cc and history.joined > back + 24:
                _raise(self.own_below, back - 1, lowest_cc - now_cc)
        lowest_cc = now_cc
        for back in range(2, min(24, history.count) + 1):
            lowest_cc = min(lowest_cc, history.back_cc(back))
        self.lowest_cc[self.next] = lowest_cc
        self.next = self.next + 1 if self.next + 1 < HOURS else 0
        if history.joined == history.count or history.joined > HOURS + 24:
            self.hours += 1

    def begin(self, hour: int) -> None:
        """Before the bounds of one look-ahead are asked for, hour after hour; hour: local now, -1 unknown."""
        self.seen_drop = 0
        self.seen_below = 0
        self.share = OWN_SHARE * min(1.0, self.hours / OWN_HOURS)
        self.block = hour // 6  # -1 stays -1

    def drop_k(self, ahead_h: int, now_c: float, lowest_c: float) -> float:
        """Largest fall [K] from now_c within ahead_h (in order 1..48) hours; lowest_c: of the last 24 h [°C]."""
        n = ahead_h - 1
        first, last = (self.block, self.block + 1) if self.block >= 0 else (0, BLOCKS)
        prior = 0
        for b in range(first, last):
            prior = max(prior, PRIOR_DROP[b * HOURS + n])
            self.seen_drop = max(self.seen_drop, self.own_drop[b * HOURS + n])
        self.seen_below = max(self.seen_below, self.own_below[n])
        drop = self._blend(prior, self.seen_drop)
        below = self._blend(PRIOR_BELOW_LOWEST[n], self.seen_below) + now_c - lowest_c
        return max(0.0, min(drop, below))

    def _blend(self, prior: int, own: int) -> float:
        seen_k = own / OWN_PER_K
        return max(seen_k, (1.0 - self.share) * prior / PRIOR_PER_K + self.share * OWN_FACTOR * seen_k)


def _raise(table: bytearray, n: int, fall_cc: int) -> None:
    """Note a fall [0.01 K] in the own record, rounded up to its step."""
    steps = min(MOST_OWN, (fall_cc + 19) // 20)
    if steps > table[n]:
        table[n] = steps
