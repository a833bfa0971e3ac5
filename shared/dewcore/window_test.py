"""The guided window test: when a look teaches most, and how far the target may rise while the owner stands there.

While the owner confirms being at the window (REQUEST_WINDOW), the target may rise to RAISE_PCT above the cautious
ceiling, the RH at which glass of the cautious factor of `glass` gets wet.  Fog is then expected and looked for;
its minutes are counted apart, so `testing` and `drying` say when.  Slow caps and every refusal of the valve stay.
"""

from dewcore.glass import DAY, LEAST_DIFFERENCE_K, NIGHT, SAME_MOMENT_S, UNSURE, Glass, when_of
from dewcore.readings import (
    INDOOR_AND_RH,
    ON,
    OUTDOOR_READ,
    REQUEST_WINDOW,
    SAW_FOG,
    SAW_NOTHING,
    Inputs,
    Readings,
)
from dewcore.settings import Settings

RAISE_PCT = 8.0  # % RH above the cautious ceiling, at most
BEYOND_PCT = 1.0  # % RH above where the window is almost sure to fog: more would teach nothing
LONGEST_S = 1800
PAUSE_S = 10800  # from one test's end to the next one's begin
A_DAY = 3  # tests within 24 h
DAY_S = 86400
DRYING_S = 7200  # the glass may stay wet for so long after a test

# Looks teach most while RH is so far from the cautious ceiling
LOOK_BELOW_PCT = 2.0
LOOK_ABOVE_PCT = 8.0
RAISABLE_PCT = 3.0  # below that a test still reaches it: half an hour adds 1 to 3 % RH in simulated houses
# around dawn: the coldest of the day, no sun on the glass, bedrooms slept in
DAWN_FROM_MIN = 300
DAWN_TO_MIN = 600

# Why a test runs, ended or may not begin
TEST_NONE = 0  # not asked for
TEST_RUNS = 1
TEST_FOGGED = 2  # ended: fog was seen, which is the answer
TEST_OVER = 3  # ended: its time is up
TEST_LEFT = 4  # ended: the owner no longer confirms being there
TEST_FORBIDDEN = 5  # the setting does not allow it: rotten frames or known mould
TEST_UNTRUSTED = 6
TEST_OUTDOOR_OLD = 7
TEST_MILD = 8  # season over, or too little difference between indoors and outdoors
TEST_ABSENT = 9
TEST_KNOWN = 10  # the window is known well enough
TEST_TOO_SOON = 11  # after the last test, or too many within a day

# Guidance
GUIDE_NONE = 0
GUIDE_LOOK = 1  # look now
GUIDE_TEST = 2  # look now, and confirm being at the window so that the air may get more humid meanwhile


def conditions(readings: "Readings", inputs: "Inputs", season_over: bool) -> int:
    """What speaks against learning from the glass at this moment; TEST_NONE where nothing does."""
    if inputs.trusted & INDOOR_AND_RH != INDOOR_AND_RH:
        return TEST_UNTRUSTED
    if inputs.outdoor_basis != OUTDOOR_READ or inputs.outdoor_held:
        return TEST_OUTDOOR_OLD
    if season_over or not inputs.indoor_c - inputs.outdoor_c >= LEAST_DIFFERENCE_K:
        return TEST_MILD
    return TEST_ABSENT if readings.absent.state == ON else TEST_NONE


class WindowTest:
    """One board's window tests.

    testing: the target may be raised now; drying: a test is over, but the house is still more humid than the
    cautious ceiling; said: TEST_* of the last change.
    """

    __slots__ = (
        "settings",
        "allowed",
        "testing",
        "drying",
        "said",
        "began_s",
        "ended_s",
        "requested",
        "looked",
        "begun_s",
    )

    def __init__(self, settings: "Settings | None" = None) -> None:
        if settings is None:
            settings = Settings()
        self.settings: "Settings" = settings
        self.allowed: bool = False
        self.testing: bool = False
        self.drying: bool = False
        self.said: int = TEST_NONE
        self.began_s: int = 0
        self.ended_s: int = -1
        self.requested: int = REQUEST_WINDOW  # one that outlasts a boot begins nothing
        self.looked: int = SAW_NOTHING
        self.begun_s: "list[int]" = [-1] * A_DAY  # when the last tests began, the oldest first

    def scan(
        self,
        readings: "Readings",
        inputs: "Inputs",
        allowed: bool,
        season_over: bool,
        glass: "Glass",
        now_s: int,
    ) -> bool:
        """Begin, go on with or end a test at now_s [s]; whether one runs, so that raise_pct counts.

        allowed: the owner's setting; never with rotten frames or known mould.
        """
        self.allowed = allowed
        fog = readings.look == SAW_FOG and self.looked != SAW_FOG
        self.looked = readings.look
        asked = readings.request == REQUEST_WINDOW
        begins = asked and self.requested != REQUEST_WINDOW
        self.requested = readings.request
        if not self.testing and not begins:
            return False
        night = when_of(readings, self.settings) != DAY
        against = conditions(readings, inputs, season_over) if allowed else TEST_FORBIDDEN
        if against == TEST_NONE and glass.determined(night):
            against = TEST_KNOWN
        if self.testing:
            self._go_on(asked, fog, against, readings.request_until_s, now_s)
        else:
            self._begin(against, readings.request_until_s, now_s)
        return self.testing

    def is_too_soon(self, now_s: int) -> bool:
        """Whether the last test, or too many within a day, forbid another at now_s [s]."""
        if self.ended_s >= 0 and now_s - self.ended_s < PAUSE_S:
            return True
        oldest_s = self.begun_s[0]
        return oldest_s >= 0 and now_s - oldest_s < DAY_S

    def _begin(self, against: int, until_s: int, now_s: int) -> None:
        """The owner has just confirmed being at the window."""
        if against == TEST_NONE and self.is_too_soon(now_s):
            against = TEST_TOO_SOON
        if against == TEST_NONE and not now_s < until_s:
            against = TEST_LEFT
        self.said = against
        if against == TEST_NONE:
            self.said = TEST_RUNS
            self.testing = True
            self.drying = False
            self.began_s = now_s
            for n in range(A_DAY - 1):
                self.begun_s[n] = self.begun_s[n + 1]
            self.begun_s[A_DAY - 1] = now_s

    def _go_on(self, asked: bool, fog: bool, against: int, until_s: int, now_s: int) -> None:
        """End a running test where anything says so."""
        if against == TEST_NONE:
            if fog:
                against = TEST_FOGGED
            elif not asked:
                against = TEST_LEFT
            elif not (now_s < until_s and 0 <= now_s - self.began_s < LONGEST_S):
                against = TEST_OVER
        if against != TEST_NONE:
            self.said = against
            self.testing = False
            self.drying = True
            self.ended_s = now_s

    def dry(self, rh_pct: float, cautious_pct: float, now_s: int) -> bool:
        """Whether the house is still drying after a test: above the cautious ceiling [% RH], DRYING_S at most."""
        if self.drying and not (rh_pct > cautious_pct and 0 <= now_s - self.ended_s < DRYING_S):
            self.drying = False
        return self.drying

    def raise_pct(self, cautious_pct: float, sure_pct: float) -> float:
        """How far above the cautious ceiling the target may be now [% RH]; 0 without a test.

        cautious_pct, sure_pct: RH [%] at which glass of the cautious factor, and of the one that f is almost
        surely below, gets wet.  The better f is known, the less there is to raise.
        """
        if not self.testing:
            return 0.0
        return max(0.0, min(RAISE_PCT, sure_pct - cautious_pct + BEYOND_PCT))


def may_teach(readings: "Readings", inputs: "Inputs", season_over: bool, glass: "Glass", settings: "Settings") -> bool:
    """Whether this is an hour at which a look could teach: around dawn, curtains surely drawn or open, f unknown."""
    when = when_of(readings, settings)
    minute = (readings.utc_s + readings.utc_offset_s) // 60 % 1440
    return (
        when != UNSURE
        and DAWN_FROM_MIN <= minute < DAWN_TO_MIN
        and not glass.determined(when == NIGHT)
        and conditions(readings, inputs, season_over) == TEST_NONE
    )


def guide(
    readings: "Readings",
    inputs: "Inputs",
    season_over: bool,
    glass: "Glass",
    test: "WindowTest",
    cautious_pct: float,
    now_s: int,
) -> int:
    """Whether a look at the window of the coldest occupied room would teach much now: GUIDE_*.

    cautious_pct: RH [%] at which glass of the cautious factor gets wet.  Nothing is asked without a clock, within
    half an hour of the curtains' times, or again just after a look.
    """
    advice = GUIDE_NONE
    just_looked = glass.last_s >= 0 and 0 <= now_s - glass.last_s < SAME_MOMENT_S
    if not just_looked and may_teach(readings, inputs, season_over, glass, test.settings):
        above_pct = inputs.rh_pct - cautious_pct
        can_test = test.allowed and not test.testing and not test.is_too_soon(now_s)
        if can_test and -LOOK_BELOW_PCT - RAISABLE_PCT <= above_pct < RAISE_PCT:
            advice = GUIDE_TEST
        elif -LOOK_BELOW_PCT <= above_pct <= LOOK_ABOVE_PCT:
            advice = GUIDE_LOOK
    return advice
