"""The glass factor f as the owner's looks at the window teach it, by day and with curtains drawn, each by itself.

A look bounds f from one side: fog says that f lies below, clear that it lies above fx, the factor whose glass
would just get wet at the readings of that moment.  Each part (day, night) keeps what its looks say as the
logarithm of a likelihood over f = 0.20 .. 0.80; the owner's setting enters as a prior whenever it is asked for.

    P(fog | f) = eps + (1 - 2 eps) Phi((fx - f)/s),   s^2 = LOOK_F^2 + (LOOK_RH_PCT as a difference in fx)^2

Curtains only cool the glass, so night f <= day f: fog by day bounds the night too, clear at night the day.
Constant errors of the humidity and outdoor readings end up in f, where the same readings later undo them.
"""

import struct
from array import array
from math import erf, exp, log, sqrt

from dewcore.psychro import sat_surface_slope_per_k, sat_water_pa, vapour_pa, wetting_point_c
from dewcore.readings import INDOOR_AND_RH, OUTDOOR_READ, SAW_CLEAR, SAW_FOG, SAW_NOTHING, Inputs, Readings
from dewcore.settings import Settings

# When a look was: the part it speaks of
DAY = 0
NIGHT = 1
UNSURE = 2  # no clock, or within half an hour of the curtains' times

# What became of a look
LOOK_NONE = 0  # none yet
LOOK_TAUGHT = 1
LOOK_EXPECTED = 2  # as everybody would have guessed: nothing learned, nothing forgotten
LOOK_CONTRADICTS = 3  # counted, but against what earlier looks said
LOOK_REPEATED = 4  # the same moment again
LOOK_MILD = 5  # too little difference between indoors and outdoors
LOOK_UNTRUSTED = 6  # indoor temperature or humidity cannot be trusted
LOOK_OUTDOOR_OLD = 7  # no fresh outdoor reading
LOOK_UNCLEAR = 8  # neither fog nor clear

LOWEST_F = 0.20
STEP_F = 0.01
CELLS = 61
PRIOR_F = 0.12  # spread of the true f about a setting chosen from a list of glazings
# Chosen on tests/acceptance/looks.py, other seeds: looks are worth most where they agree to about 0.01 and where
# fewer wrong ones are expected than the one in ten they are judged with
WRONG = 0.08  # share of looks that are wrong
LOOK_F = 0.01  # how sharply fog begins, as a difference in f
LOOK_RH_PCT = 1.0  # what the humidity reading may wander from look to look
KEPT = 0.995  # of earlier evidence at each look that taught something
BORROWED = 0.5  # weight of a look for the part that it bounds only by night f <= day f
LEAST_EVIDENCE = -30.0
LEAST_DIFFERENCE_K = 10.0
NEAR_CURTAINS_MIN = 30
SAME_MOMENT_S = 600
SAME_MOMENT_F = 0.01
GUESSED = 0.02  # a look this close to the surest guess is LOOK_EXPECTED

QUANTILE = 0.10  # of the posterior: the working f
SEARCH_QUANTILE = 0.20  # where to look: higher looks find a good window sooner, lower ones fog less glass
DETERMINED_F = 0.06  # widest range from QUANTILE to 1 - QUANTILE that counts as determined
DETERMINED_LOOKS = 5
SIDE_F = 0.06  # so far to both sides of the middle the looks themselves, not the prior, must speak against
AGAINST = 1.0986  # log 3: evidence that speaks against a value

CONTRADICTED = 0.20  # a look less likely than this contradicts
# Looks contradict each other where too many of the last ones do not fit the middle of what all say
RECENT = 16
MISFIT_CELLS = 1  # further on the wrong side than this
MISFITS_IN_TEN = 2  # more than these in ten: one in ten wrong looks does that in few houses, three in many
RELAXED = 0.5  # weight of all evidence while they do

MEASURED_DIFFERENCE_K = 15.0
MEASURED_EVERY_S = 600
MEASURED_STEP_F = 0.01
UNMEASURED = 1.0

IMAGE = 1  # version of the packed state
IMAGE_HEAD = "<BHHff"
IMAGE_BYTES = struct.calcsize(IMAGE_HEAD) + 2 * RECENT + 4 * CELLS
MOST_LOOKS = 999


def is_night(readings: "Readings", settings: "Settings") -> bool:
    """Whether curtains may be drawn at the moment of `readings`; without a clock they always may."""
    if readings.utc_s == 0:
        return True
    minute = (readings.utc_s + readings.utc_offset_s) // 60 % 1440
    first = settings.curtains_from_min
    last = settings.curtains_to_min
    if first > last:
        return minute >= first or minute < last
    return first <= minute < last


def when_of(readings: "Readings", settings: "Settings") -> int:
    """DAY, NIGHT (curtains may be drawn) or UNSURE at the moment of `readings`."""
    if readings.utc_s == 0:
        return UNSURE
    minute = (readings.utc_s + readings.utc_offset_s) // 60 % 1440
    for edge in (settings.curtains_from_min, settings.curtains_to_min):
        if (minute - edge + NEAR_CURTAINS_MIN) % 1440 <= 2 * NEAR_CURTAINS_MIN:
            return UNSURE
    return NIGHT if is_night(readings, settings) else DAY


def is_night_air(look: int, when: int) -> bool:
    """Whether a look is to be judged by the coldest room's air as at night.

    Not knowing which, fog takes the moister night and clear the drier day: neither then bounds too tightly.
    """
    return when == NIGHT or when == UNSURE and look == SAW_FOG


def fogging_f(room_c: float, outdoor_c: float, room_pa: float) -> float:
    """Factor f [-] whose glass is just at the wetting point of room air at room_c [°C] and room_pa [Pa] > 0.

    outdoor_c below room_c [°C].  Solved from t_glass = t_out + f (t_in - t_out), f_Rsi of EN ISO 13788:2012.
    """
    return (wetting_point_c(room_pa) - outdoor_c) / (room_c - outdoor_c)


def fog_chance(f: float, fx: float, spread_f: float) -> float:
    """P(fog | f) of a look at which fx would just fog; spread_f [-] > 0: how gradually."""
    below = 0.5 + 0.5 * erf((fx - f) / (spread_f * sqrt(2.0)))
    return WRONG + (1.0 - 2.0 * WRONG) * below


def cell_of(f: float) -> int:
    """Number of the grid's cell nearest to f, its first or last where f lies outside."""
    return max(0, min(CELLS - 1, int((f - LOWEST_F) / STEP_F + 0.5)))


class Glass:
    """What is known of the glass factor by day (0) and by night (1).

    evidence: log-likelihoods of the looks over the grid, the largest 0; looks: how many taught something;
    recent: the last looks of each part as fx's cell + 1, negative for clear, 0 none; measured_f: low quantile of
    what a sensor on the glass showed, UNMEASURED without one; said: LOOK_* of the last look.
    """

    __slots__ = (
        "settings",
        "evidence",
        "looks",
        "recent",
        "measured_f",
        "measured_s",
        "said",
        "looked",
        "chances",
        "weights",
        "preset",
        "low",
        "search",
        "high",
        "used",
        "settled",
        "torn",
        "last_s",
        "last_look",
        "last_when",
        "last_fx",
        "last_spread",
        "last_taught",
    )

    def __init__(self, settings: "Settings | None" = None) -> None:
        if settings is None:
            settings = Settings()
        self.settings: "Settings" = settings
        self.evidence: list = [array("f", bytes(4 * CELLS)), array("f", bytes(4 * CELLS))]
        self.looks: "list[int]" = [0, 0]
        self.recent: list = [array("b", bytes(RECENT)), array("b", bytes(RECENT))]
        self.measured_f: "list[float]" = [UNMEASURED, UNMEASURED]
        self.measured_s: int = -1
        self.said: int = LOOK_NONE
        self.looked: int = -1  # the look last seen; one that outlasts a boot counts for nothing
        self.chances = array("f", bytes(4 * CELLS))  # of the last look, by cell
        self.weights = array("f", bytes(4 * CELLS))
        self.preset: "list[float]" = [0.0, 0.0]  # the setting for which the values below were worked out
        self.low: "list[float]" = [0.0, 0.0]
        self.search: "list[float]" = [0.0, 0.0]
        self.high: "list[float]" = [0.0, 0.0]
        self.used: "list[float]" = [0.0, 0.0]
        self.settled: "list[bool]" = [False, False]
        self.torn: "list[bool]" = [False, False]
        self.last_s: int = -1
        self.last_look: int = SAW_NOTHING
        self.last_when: int = UNSURE
        self.last_fx: float = 0.0
        self.last_spread: float = 1.0
        self.last_taught: bool = False

    def reset(self) -> None:
        """Forget everything: new windows."""
        for part in (DAY, NIGHT):
            for n in range(CELLS):
                self.evidence[part][n] = 0.0
            for n in range(RECENT):
                self.recent[part][n] = 0
            self.looks[part] = 0
            self.measured_f[part] = UNMEASURED
            self.preset[part] = 0.0
        self.said = LOOK_NONE
        self.last_s = -1

    def factor(self, night: bool) -> float:
        """The working f: the cautious one once determined, else the setting unless looks show it too high.

        Never above what a sensor on the glass showed, nor by night above the day's.
        """
        day_f = min(self._part(DAY).used[DAY], self.measured_f[DAY])
        if not night:
            return day_f
        return min(day_f, self._part(NIGHT).used[NIGHT], self.measured_f[NIGHT])

    def cautious(self, night: bool) -> float:
        """The 20 % quantile of f: looks about its ceiling teach most, whatever holds for the target."""
        part = NIGHT if night else DAY
        return self._part(part).search[part]

    def sure_below(self, night: bool) -> float:
        """The 90 % quantile of f."""
        part = NIGHT if night else DAY
        return self._part(part).high[part]

    def determined(self, night: bool) -> bool:
        """Whether looks bound f closely enough from both sides to stand in for the setting."""
        part = NIGHT if night else DAY
        return self._part(part).settled[part]

    def is_new(self, look: int) -> bool:
        """Whether Readings.look has just become SAW_FOG or SAW_CLEAR: a look that stays counts once."""
        new = self.looked >= 0 and look != self.looked and look != SAW_NOTHING
        self.looked = look
        return new

    def look(
        self, look: int, inputs: "Inputs", when: int, colder_k: float, excess_pa: float, now_s: int
    ) -> int:
        """Take one look of the owner at now_s [s]; LOOK_* says what became of it, and `said` keeps that.

        look: SAW_FOG or SAW_CLEAR; when: as when_of; colder_k [K], excess_pa [Pa]: the coldest room against the
        main sensor, as is_night_air asks.
        """
        self.said = self._refusal(look, inputs, colder_k)
        if self.said != LOOK_NONE:
            return self.said
        room_c = inputs.indoor_c - colder_k
        room_pa = vapour_pa(inputs.indoor_c, inputs.rh_pct) + excess_pa
        fx = fogging_f(room_c, inputs.outdoor_c, room_pa)
        per_f = room_pa * sat_surface_slope_per_k(wetting_point_c(room_pa)) * (room_c - inputs.outdoor_c)
        rh_f = 0.01 * LOOK_RH_PCT * sat_water_pa(inputs.indoor_c) / per_f
        # fog on the worst glass of the grid, and clear on its best, still say which end is nearer
        fx = max(fx, LOWEST_F) if look == SAW_FOG else min(fx, LOWEST_F + STEP_F * (CELLS - 1))
        if self._is_same_moment(when, fx, now_s):
            if look == self.last_look:
                self.said = LOOK_REPEATED
                return LOOK_REPEATED
            if self.last_taught:  # the owner corrects himself
                self._count(-1)
        self.last_s = now_s
        self.last_look = look
        self.last_when = when
        self.last_fx = fx
        self.last_spread = sqrt(LOOK_F * LOOK_F + rh_f * rh_f)
        for n in range(CELLS):
            chance = fog_chance(LOWEST_F + STEP_F * n, fx, self.last_spread)
            self.chances[n] = chance if look == SAW_FOG else 1.0 - chance
        self.said = self._take()
        self.last_taught = self.said != LOOK_EXPECTED
        return self.said

    def measured(self, night: bool, room_c: float, outdoor_c: float, glass_c: float, now_s: int) -> bool:
        """A trusted sensor on the glass reads glass_c [°C]: keep a low quantile of the f it shows; False: none taken.

        It outlasts the sensor's loss and a reboot, by day and by night apart, and only ever lowers the working
        f: the sensor need not sit at the coldest spot.  Quantile by stochastic approximation (Robbins and Monro
        1951): up by QUANTILE of a step, down by the rest.
        """
        just_now = self.measured_s >= 0 and 0 <= now_s - self.measured_s < MEASURED_EVERY_S
        if just_now or not room_c - outdoor_c >= MEASURED_DIFFERENCE_K:
            return False
        self.measured_s = now_s
        part = NIGHT if night else DAY
        f = max(0.0, min(UNMEASURED, (glass_c - outdoor_c) / (room_c - outdoor_c)))
        before = self.measured_f[part]
        if before == UNMEASURED:
            self.measured_f[part] = f
        elif f < before:
            self.measured_f[part] = max(f, before - MEASURED_STEP_F * (1.0 - QUANTILE))
        else:
            self.measured_f[part] = min(f, before + MEASURED_STEP_F * QUANTILE)
        return True

    def pack(self) -> bytes:
        """The state to keep: looks, what a sensor measured, the last looks, evidence in steps of 0.001."""
        looks = self.looks
        measured_f = self.measured_f
        image = bytearray(IMAGE_BYTES)
        struct.pack_into(IMAGE_HEAD, image, 0, IMAGE, looks[DAY], looks[NIGHT], measured_f[DAY], measured_f[NIGHT])
        at = struct.calcsize(IMAGE_HEAD)
        for part in (DAY, NIGHT):
            for cell in self.recent[part]:
                struct.pack_into("b", image, at, cell)
                at += 1
        for part in (DAY, NIGHT):
            for value in self.evidence[part]:
                struct.pack_into("<H", image, at, int(0.5 - 1000.0 * value))
                at += 2
        return bytes(image)

    def unpack(self, image: bytes) -> bool:
        """Take a state that pack() made, all of it or none; True where it was one."""
        if len(image) != IMAGE_BYTES or image[0] != IMAGE:
            return False
        _, looks_day, looks_night, day_f, night_f = struct.unpack_from(IMAGE_HEAD, image, 0)
        cells = struct.unpack_from(str(2 * RECENT) + "b", image, IMAGE_BYTES - 4 * CELLS - 2 * RECENT)
        codes = struct.unpack_from("<" + str(2 * CELLS) + "H", image, IMAGE_BYTES - 4 * CELLS)
        sound = looks_day <= MOST_LOOKS and looks_night <= MOST_LOOKS
        sound = sound and 0.0 <= day_f <= UNMEASURED and 0.0 <= night_f <= UNMEASURED
        sound = sound and -CELLS <= min(cells) and max(cells) <= CELLS
        for row in (codes[:CELLS], codes[CELLS:]):
            sound = sound and min(row) == 0 and max(row) <= -1000.0 * LEAST_EVIDENCE
        if not sound:
            return False
        self.reset()
        self.looks = [looks_day, looks_night]
        self.measured_f = [day_f, night_f]
        for part in (DAY, NIGHT):
            for n in range(RECENT):
                self.recent[part][n] = cells[RECENT * part + n]
            for n in range(CELLS):
                self.evidence[part][n] = -0.001 * codes[CELLS * part + n]
        return True

    def _refusal(self, look: int, inputs: "Inputs", colder_k: float) -> int:
        """Why a look cannot count, LOOK_NONE where it can."""
        if look != SAW_FOG and look != SAW_CLEAR:
            return LOOK_UNCLEAR
        if inputs.trusted & INDOOR_AND_RH != INDOOR_AND_RH:
            return LOOK_UNTRUSTED
        if inputs.outdoor_basis != OUTDOOR_READ or inputs.outdoor_held:
            return LOOK_OUTDOOR_OLD
        if not inputs.indoor_c - colder_k - inputs.outdoor_c >= LEAST_DIFFERENCE_K:
            return LOOK_MILD
        return LOOK_NONE

    def _is_same_moment(self, when: int, fx: float, now_s: int) -> bool:
        """Whether the last look was just now and nothing has changed since."""
        if self.last_s < 0 or not 0 <= now_s - self.last_s < SAME_MOMENT_S:
            return False
        return when == self.last_when and abs(fx - self.last_fx) < SAME_MOMENT_F

    def _take(self) -> int:
        """Weigh the look in last_* against what is known, and count it unless it was to be expected."""
        part = self._spoken_of()
        chance = self._expected(part)
        if chance >= 1.0 - WRONG - GUESSED:
            return LOOK_EXPECTED
        evidence = self.evidence[part]
        for n in range(CELLS):
            evidence[n] *= KEPT
        self._count(1)
        return LOOK_CONTRADICTS if chance < CONTRADICTED else LOOK_TAUGHT

    def _spoken_of(self) -> int:
        """The part that the look in last_* bounds most directly."""
        if self.last_when == UNSURE:
            return NIGHT if self.last_look == SAW_FOG else DAY
        return self.last_when

    def _expected(self, part: int) -> float:
        """Probability of the look in last_* by what is known of this part."""
        self._part(part)
        total = self._weigh(part)
        found = 0.0
        for n in range(CELLS):
            found += self.weights[n] * self.chances[n]
        return found / total

    def _count(self, sign: int) -> None:
        """Add (1) or take back (-1) the look in last_* for every part it speaks of."""
        self._recall(self.recent[self._spoken_of()], sign)
        night_share = day_share = BORROWED
        if self.last_when == NIGHT:
            night_share = 1.0
        elif self.last_when == DAY:
            day_share = 1.0
        if self.last_look == SAW_FOG:
            self._add(NIGHT, sign, night_share)
            if self.last_when == DAY:
                self._add(DAY, sign, day_share)
        else:
            self._add(DAY, sign, day_share)
            if self.last_when == NIGHT:
                self._add(NIGHT, sign, night_share)

    def _recall(self, recent: "array", sign: int) -> None:
        """Put the look in last_* at the end of the last ones, or take it away from there again."""
        if sign == 1:
            for n in range(RECENT - 1):
                recent[n] = recent[n + 1]
            cell = cell_of(self.last_fx) + 1
            recent[RECENT - 1] = cell if self.last_look == SAW_FOG else -cell
        else:
            for n in range(RECENT - 1, 0, -1):
                recent[n] = recent[n - 1]
            recent[0] = 0

    def _is_torn(self, part: int, middle: float) -> bool:
        """Whether too many of the last looks do not fit the middle."""
        at = cell_of(middle) + 1
        looks = 0
        misfits = 0
        for cell in self.recent[part]:
            if cell != 0:
                looks += 1
            if 0 < cell < at - MISFIT_CELLS or cell < -at - MISFIT_CELLS:
                misfits += 1
        # never for a single one
        return 10 * misfits > MISFITS_IN_TEN * max(looks, DETERMINED_LOOKS)

    def _add(self, part: int, sign: int, share: float) -> None:
        """One look's evidence, `share` of it, for one part; the largest is brought back to 0."""
        evidence = self.evidence[part]
        largest = LEAST_EVIDENCE
        for n in range(CELLS):
            evidence[n] += sign * share * log(self.chances[n])
            largest = max(largest, evidence[n])
        for n in range(CELLS):
            evidence[n] = max(LEAST_EVIDENCE, evidence[n] - largest)
        self.looks[part] = max(0, min(MOST_LOOKS, self.looks[part] + sign))
        self.preset[part] = 0.0

    def _part(self, part: int) -> "Glass":
        """This object, its values of a part worked out anew where looks or the setting changed."""
        preset = self.settings.glass_f_night if part == NIGHT else self.settings.glass_f_day
        if self.preset[part] != preset:
            self.preset[part] = preset
            self._conclude(part)
        return self

    def _weigh(self, part: int) -> float:
        """Fill `weights` with the posterior of a part, the setting as its prior, and return their sum > 0."""
        share = RELAXED if self.torn[part] else 1.0
        evidence = self.evidence[part]
        weights = self.weights
        preset = self.preset[part]
        total = 0.0
        for n in range(CELLS):
            away = (LOWEST_F + STEP_F * n - preset) / PRIOR_F
            weights[n] = exp(share * evidence[n] - 0.5 * away * away)
            total += weights[n]
        return total

    def _conclude(self, part: int) -> None:
        """Quantiles, whether f is determined, and the f to work with."""
        self.torn[part] = False
        total = self._weigh(part)
        if self._is_torn(part, self._quantile(0.5 * total)):
            self.torn[part] = True
            total = self._weigh(part)
        low = self._quantile(QUANTILE * total)
        middle = self._quantile(0.5 * total)
        high = self._quantile((1.0 - QUANTILE) * total)
        evidence = self.evidence[part]
        bounded = evidence[cell_of(middle - SIDE_F)] <= -AGAINST and evidence[cell_of(middle + SIDE_F)] <= -AGAINST
        self.low[part] = low
        self.search[part] = self._quantile(SEARCH_QUANTILE * total)
        self.high[part] = high
        agreed = bounded and not self.torn[part]
        self.settled[part] = agreed and self.looks[part] >= DETERMINED_LOOKS and high - low <= DETERMINED_F
        used = self.preset[part]
        if self.settled[part]:
            used = low
        elif self.torn[part] or self._is_too_high(part):
            used = min(used, low)
        self.used[part] = used

    def _is_too_high(self, part: int) -> bool:
        """Whether looks speak clearly for some f below the setting, rather than for the setting."""
        evidence = self.evidence[part]
        at = cell_of(self.preset[part])
        for n in range(at):
            if evidence[n] - evidence[at] >= AGAINST:
                return True
        return False

    def _quantile(self, wanted: float) -> float:
        """The f below which this much of `weights` lies, linear inside a cell."""
        weights = self.weights
        passed = 0.0
        n = 0
        while n < CELLS - 1 and passed + weights[n] < wanted:
            passed += weights[n]
            n += 1
        return LOWEST_F + STEP_F * (n - 0.5 + (wanted - passed) / weights[n])
