"""What the board learns of its own house: how fast it dries, its moisture gains and bursts by hour, the valve's effect.

    dW/dt = a (W_out - W) + k2 (store - air) + gains + s valve          W in g/kg; hours

Two rates, a and k2, shape the answer to the valve, and nothing else in a house answers to the valve.  So 36 pairs of
rates are tried side by side (`trials`): each follows the measured humidity with its own pair, what outdoor air and
valve weigh is fitted, and the pairs that leave the least unexplained count most.  Slow errors (outdoor humidity is
guessed from temperature) do not matter, as every pair is judged on what is left above a few hours' mean.
What the rates leave over teaches the mean gain and the highest burst of each hour of the day.
E is the humidifier's own share of W.  Everything starts cautious, is bounded, and forgets within weeks, all but how
near the house came to fog by itself.
"""

from array import array
from math import exp, log

from dewcore.outdoors import OutdoorHistory
from dewcore.psychro import MOLAR_RATIO_G, STANDARD_PRESSURE_PA, sat_water_pa

STORE_G_KG_PCT = 0.157  # what air at 20 °C holds more for each % RH [g/kg]
CAPACITY = STORE_G_KG_PCT * 25.0  # of the store (walls, floors, furniture): 25 times the air's [g/kg per % RH]
STORE_TAU_H = 72.0
AIR_FACTOR = 1.5  # light things that follow the air at once, over the air alone
PAD_H = 5.0 / 60.0

QUARTER_S = 900
QUARTER_H = 0.25
LONGEST_STEP_S = 300  # a longer gap between two minutes: the quarter teaches nothing
WEEKS_H = 504.0  # what is learned fades over three weeks
FORGET = QUARTER_H / WEEKS_H

# The trials: rates of drying a [1/h] and of exchange with the store k2' [1/h, per % RH of air's capacity].
DRY = (0.03, 0.05, 0.08, 0.13, 0.20, 0.30, 0.45, 0.70, 1.10)
STORE = (0.0, 0.08, 0.25, 0.7)
TRIALS = len(DRY) * len(STORE)
A_SCAN = 3  # trials that one scan works on
FOLLOW_H = 48.0  # a trial is drawn to the measured humidity so slowly
SLOW_H = 4.0  # what changes more slowly is no evidence
TRUST_H = 6.0  # hours that say as much as one independent observation
# A trial's numbers: what it would be without outdoor air, valve and gain; what each of these adds, per unit; the
# slow means of the four; the sums of products, upper triangle, with what is left over the last.
WIDTH = 18
OUT, VALVE, GAIN, SLOW, SUMS = 1, 2, 3, 4, 8
# Weights and values that a fit is drawn to where there is no evidence: outdoor air counts 0.9, the valve 1 g/kg/h.
PRIOR_OUT, PRIOR_VALVE, PRIOR_GAIN = 0.02, 0.0005, 0.0005
START_OUT, START_VALVE, START_GAIN = 0.9, 1.0, 0.5
LEAST_VALVE = 0.05  # [g/kg/h]; a valve that seems to do nothing still counts a little
# Most of both rates for each g/kg/h that the valve adds.  Wind in a house that holds much moisture looks like fast
# drying: it takes out what the valve adds, which opens for that very reason.  But the same air and things make the
# valve's effect small, and a humidifier that could not lift its house by 1/0.35 = 2.9 g/kg would hardly be one.
MOST_DRY, MOST_STORE = 0.35, 0.5
MOST_FROM = 0.2  # [g/kg/h]; where no water flows the valve adds nothing, which says nothing of the house
LIKELY_DRY = 0.12
LIKELY_WEIGHT = 0.005

START_DRY_PER_H = 0.10
UNKNOWN_DRY_PER_H = 0.05  # a tight house that holds much moisture; what a few days show may be ten times that
START_STORE = 0.10
START_MEAN_GAIN = 0.4  # [g/kg/h]
START_BURST = 1.2  # [g/kg]
BURST_HOURS = 336.0  # two weeks until the own bursts count alone, and the own rate of drying
KNOWN_QUARTERS = 56.0  # of one hour of the day in two weeks
BURST_FACTOR = 1.4  # some evening of a winter brings more than any before it
FIRST_FACTOR = 0.3  # more of it at first, when few were seen
FIRST_H = 1344.0  # eight weeks
BURST_FADE = 0.9975  # a quarter of its own hour
LEAST_BURST = 0.1
BIAS_H = 6.0  # what no rate explains, as a mean of so long, is carried ahead where it is moisture
MOST_COUNT = 112  # quarters of one hour of the day: four weeks
ALONE_FROM_H = 168  # what another humidifier had put into the air leaves it by then; in two weeks surely
ALONE_FADES_H = 438000.0  # 2 % a year: what one night in a winter has shown holds in the next
MOST_ALONE = 1.1  # wet glass is wet glass
# Faster than this it is no house but an open window or a moved sensor.
FASTEST_FALL, FASTEST_RISE = -4.0, 8.0  # [g/kg/h]
# After a rise so fast what is read for a day shows how near the house is to fog only as far as another such day, at
# least half a day and at most three weeks before, has shown it, too.  Steam beside a sensor comes again; one hour of a
# wet sensor would make it, for years, a house that fogs by itself, and halve what it gains.
JUMP_QUARTERS = 96
AGAIN_H, FORGOTTEN_H = 12, 504

# The check on itself: a day ahead with the rates believed a day ago.
CHECK_S = 86400
TOO_DRY, DRY_AGAIN = 0.4, 0.2  # [g/kg]
CHECK_WEIGHT = 0.3


def sat_ratio_g_kg(t_c: float) -> float:
    """Humidity ratio [g/kg] saturated over water at t_c [°C], standard pressure."""
    pa = sat_water_pa(t_c)
    return MOLAR_RATIO_G * pa / (STANDARD_PRESSURE_PA - pa)


class House:
    """The learned house, cautious until it knows better.

    dry_per_h: a; store_per_h: k2'; valve_g_kg_h: what an hour of open valve adds; by hour of the day gains [g/kg/h],
    peaks [g/kg], sudden, how much of the peak came within an hour [1/255], and lowest_c [°C]; ratio, own: W and E now
    [g/kg]; store_pct, own_store_pct: what the store balances, and the humidifier's share of it [% RH]; bias [g/kg/h];
    alone: the highest that the house without the humidifier has come, over what wets its glass, or may;
    too_dry_g_kg: by how much its forecasts of a day were too dry; hours: learned so far.
    """

    __slots__ = (
        "dry_per_h",
        "store_per_h",
        "valve_g_kg_h",
        "gains",
        "counts",
        "peaks",
        "sudden",
        "lowest_c",
        "bias",
        "hours",
        "ratio",
        "own",
        "store_pct",
        "own_store_pct",
        "alone",
        "outdoor_g_kg",
        "pad",
        "burst",
        "before",
        "today_c",
        "hour",
        "at_s",
        "quarter_s",
        "quarters",
        "spoiled",
        "sum_out",
        "sum_store",
        "sum_pad",
        "sum_h",
        "quarter_ratio",
        "mean_out",
        "mean_pad",
        "mean_store",
        "day_gain",
        "sat",
        "trials",
        "left",
        "effect",
        "next",
        "check_ratio",
        "check_store_pct",
        "check_until_s",
        "too_dry_g_kg",
        "distrusted",
        "unexplained",
        "mean_gain",
        "told",
        "calm",
        "jump_h",
        "jump_near",
        "jump_before",
    )

    def __init__(self, old: "House | None" = None) -> None:
        """old: a house to forget, whose largest array is taken over: a board may lack so much memory in one piece."""
        self.dry_per_h: float = START_DRY_PER_H
        self.store_per_h: float = START_STORE
        self.valve_g_kg_h: float = START_VALVE
        self.gains = array("f", [START_MEAN_GAIN] * 24)
        self.counts = bytearray(24)
        self.peaks = array("f", [0.0] * 24)
        self.sudden = bytearray(24)
        self.lowest_c = array("f", [99.0] * 24)
        self.bias: float = 0.0
        self.hours: int = 0
        self.ratio: float = 0.0
        self.own: float = 0.0
        self.store_pct: float = 0.0
        self.own_store_pct: float = 0.0
        self.alone: float = 0.0
        self.outdoor_g_kg: float = 0.0  # what the last day lets expect of the outdoor air
        self.pad: float = 0.0
        self.burst: float = 0.0
        self.before = array("f", [0.0] * 4)  # the burst an hour ago, and each quarter since
        self.today_c: float = 99.0
        self.hour: int = -1
        self.at_s: int = -1  # never
        self.quarter_s: int = 0
        self.quarters: int = 0
        self.spoiled: bool = True
        self.sum_out: float = 0.0
        self.sum_store: float = 0.0
        self.sum_pad: float = 0.0
        self.sum_h: float = 0.0
        self.quarter_ratio: float = 0.0
        self.mean_out: float = 0.0
        self.mean_pad: float = 0.0
        self.mean_store: float = 0.0
        self.day_gain: float = 0.0
        self.sat: float = 0.0
        self.trials: "array[float]" = array("f", bytes(4 * WIDTH * TRIALS)) if old is None else old.trials
        self.left = array("f", [1.0] * TRIALS)
        self.effect = array("f", [START_VALVE] * TRIALS)
        self.next: int = TRIALS  # the trial that the next slice begins with; TRIALS: none to do
        self.check_ratio: float = 0.0
        self.check_store_pct: float = 0.0
        self.check_until_s: int = -1
        self.too_dry_g_kg: float = 0.0
        self.distrusted: bool = False
        # Of the last quarter: what the rates alone leave [g/kg/h], the mean gain of its hour, whether they count.
        self.unexplained: float = 0.0
        self.mean_gain: float = 0.0
        self.told: bool = False
        self.calm: int = JUMP_QUARTERS  # quarters since the last jump of what is read; no more than count
        self.jump_h: int = -FORGOTTEN_H
        self.jump_near: float = 0.0  # how near the days after this jump and after the one before have come to fog
        self.jump_before: float = 0.0
        for n in range(TRIALS):
            self._start_sums(n)

    def _start_sums(self, n: int) -> None:
        """As if a little of what is likely had been seen already."""
        t = self.trials
        for i in range(WIDTH * n, WIDTH * (n + 1)):
            t[i] = 0.0
        i = WIDTH * n + SUMS
        t[i] = t[i + 4] = t[i + 7] = 0.001
        t[i + 3], t[i + 6], t[i + 8] = 0.001, 0.001, 0.0006
        t[i + 9] = 0.001 * (1.0 + 1.0 + 0.36)

    def outdoor_hour(self, history: "OutdoorHistory") -> None:
        """Once an hour: how moist the outdoor air probably is, from the temperatures of the last day.

        The lowest of a day is near its dew point (Allen et al. 1998, FAO Irrigation and Drainage Paper 56, eq. 48);
        half a day's mean at 80 % RH corrects it after a front.
        """
        known = min(24, history.count)
        lowest_cc = history.back_cc(1)
        half = min(12, known)
        total = 0.0
        for back in range(1, known + 1):
            lowest_cc = min(lowest_cc, history.back_cc(back))
            if back <= half:
                total += sat_ratio_g_kg(0.01 * history.back_cc(back))
        self.outdoor_g_kg = 0.5 * sat_ratio_g_kg(0.01 * lowest_cc) + 0.4 * total / half

    def outdoor_ratio(self, outdoor_c: float) -> float:
        """The outdoor air's probable humidity ratio [g/kg] at outdoor_c [°C]."""
        sat = sat_ratio_g_kg(outdoor_c)
        return sat if self.outdoor_g_kg <= 0.0 or sat < self.outdoor_g_kg else self.outdoor_g_kg

    def minute(
        self,
        now_s: int,
        hour: int,
        indoor_c: float,
        rh_pct: float,
        ratio: float,
        outdoor_c: float,
        pad: int,
        good: bool,
    ) -> None:
        """One step to now_s [s].

        hour: local, -1 unknown; ratio: humidity ratio indoors [g/kg]; pad: valve open (1) or shut (0) while the
        fan runs, -1 fan off; good: all readings are trusted and somebody lives there.
        """
        if self.at_s < 0:
            if good:
                self._begin(now_s, rh_pct, ratio)
            return
        seconds = now_s - self.at_s
        self.at_s = now_s
        if not 0 <= seconds <= LONGEST_STEP_S or not good:
            self.spoiled = True
            seconds = max(0, min(seconds, LONGEST_STEP_S))
        h = seconds / 3600.0
        sat = sat_ratio_g_kg(indoor_c)
        evaporating = 0.0
        if pad >= 0:
            self.pad += (pad - self.pad) * (h / PAD_H)  # no step is longer than PAD_H
            evaporating = self.pad
        self.sum_out += self.outdoor_ratio(outdoor_c) * h
        self.sum_store += (self.store_pct - rh_pct) * h
        self.sum_pad += evaporating * h
        self.sum_h += h
        self.ratio = ratio
        self._stores(h, evaporating, rh_pct, sat, good)
        self._lowest(hour, indoor_c)
        if now_s - self.quarter_s >= QUARTER_S:
            self._quarter(now_s, hour, sat)

    def _stores(self, h: float, evaporating: float, rh_pct: float, sat: float, good: bool) -> None:
        """Store, and the humidifier's own share of air and store, h hours on; evaporating: the pad's share at work.

        What doubted readings show changes neither.
        """
        if good:
            self.store_pct += h * (rh_pct - self.store_pct) / STORE_TAU_H
        k2 = STORE_G_KG_PCT * self.store_per_h
        q = k2 * (100.0 * self.own / sat - self.own_store_pct)
        own = self.own + h * (self.valve_g_kg_h * evaporating - self.dry_cautious_per_h() * self.own - q)
        self.own = max(0.0, min(own, self.ratio) if good else own)
        self.own_store_pct += h * q * AIR_FACTOR / CAPACITY

    def against_glass(self, rh_pct: float, glass_pct: float, surface_pct: float) -> None:
        """How near the house is to wetting its glass, without its own share of W.

        All [% RH]: the air's; what may wet the glass, with part of the tolerances off; what wets it if the coldest room
        is no moister.  At first nobody knows what the air has of a humidifier before this one.
        """
        if self.hours >= ALONE_FROM_H and self.own < self.ratio:
            left_pct = glass_pct - rh_pct * (1.0 - self.own / self.ratio)
            near = min(1.0 - left_pct / surface_pct, MOST_ALONE)
            if self.calm < JUMP_QUARTERS:
                self.jump_near = max(self.jump_near, near)
                near = min(self.jump_near, self.jump_before)
            self.alone = max(self.alone, near)

    def _jumped(self) -> None:
        """What is read has risen as no house does."""
        self.calm = -1
        apart_h = self.hours - self.jump_h
        if apart_h >= AGAIN_H:
            self.jump_before = self.jump_near if apart_h <= FORGOTTEN_H else 0.0
            self.jump_near = 0.0
            self.jump_h = self.hours

    def _begin(self, now_s: int, rh_pct: float, ratio: float) -> None:
        self.at_s = now_s
        self.quarter_s = now_s
        raised_pct = max(0.0, rh_pct - self.store_pct)  # nobody knows how long a kept store has followed the air
        self.store_pct += raised_pct
        if self.hours > 0:
            self.own += max(0.0, ratio - self.ratio)  # nobody knows what added it since the image was packed
        self.own = min(self.own, ratio)
        if self.hours > 0:
            self._go_on(ratio - self.ratio, raised_pct, 100.0 * ratio / rh_pct)
        else:
            self._restart(ratio)
        self.ratio = self.quarter_ratio = ratio
        self.spoiled = False

    def _go_on(self, change: float, raised_pct: float, sat: float) -> None:
        """After a boot each kept trial goes on from the measured humidity, `change` [g/kg] from when it was kept.

        What it leaves unexplained stays as it was, and a store raised by raised_pct [% RH] counts as having been so for
        long; sat: as of sat_ratio_g_kg.  A restart would not do: what begins at 0 is no slow error, and a board that
        is switched off every night would learn from little else.
        """
        t = self.trials
        for n in range(TRIALS):
            i = WIDTH * n
            k2 = STORE_G_KG_PCT * STORE[n % len(STORE)]
            given = k2 * raised_pct / (DRY[n // len(STORE)] + 100.0 * k2 / sat + 1.0 / FOLLOW_H)
            t[i] += change + given
            t[i + SLOW + 3] -= given

    def _restart(self, ratio: float) -> None:
        """After a gap every trial follows afresh from the measured humidity; what was learned stays."""
        t = self.trials
        for i in range(0, WIDTH * TRIALS, WIDTH):
            t[i] = ratio
            for j in range(1, SUMS):
                t[i + j] = 0.0
        self.check_until_s = -1

    def _lowest(self, hour: int, indoor_c: float) -> None:
        """The lowest indoor temperature of each hour of the day: yesterday's until today's hour is over."""
        if hour != self.hour:
            if self.hour >= 0:
                self.lowest_c[self.hour] = self.today_c
            self.hour = hour
            self.today_c = indoor_c
        elif indoor_c < self.today_c:
            self.today_c = indoor_c

    def _quarter(self, now_s: int, hour: int, sat: float) -> None:
        """What the last quarter of an hour tells: gain and burst at once, the trials in slices."""
        ratio = self.ratio
        hours = self.sum_h
        left = ratio - self.quarter_ratio
        while self.next < TRIALS:  # scans were rare
            self.work()
        if left > FASTEST_RISE * hours:  # also where it was doubted until it was believed
            self._jumped()
        if not self.spoiled:
            self.mean_out = self.sum_out / hours
            self.mean_pad = self.sum_pad / hours
            self.mean_store = self.sum_store / hours
            middle = 0.5 * (ratio + self.quarter_ratio)
            left = left / hours - self.dry_per_h * (self.mean_out - middle)
            left -= STORE_G_KG_PCT * self.store_per_h * self.mean_store
            self.unexplained = left
            self.mean_gain = sum(self.gains) / 24.0 if hour < 0 else self.gains[hour]
            left -= self.valve_g_kg_h * self.mean_pad
            self.spoiled = not FASTEST_FALL <= left <= FASTEST_RISE
        if self.spoiled:
            self._restart(ratio)
            self.quarters = 0
        else:
            self.sat = sat
            self._gain(hour, left, sat)
            self._check(now_s, sat)
            self.quarters = (self.quarters + 1) % 4
            if self.quarters == 0:
                self.hours += 1
            self.next = 0
        self.sum_out = self.sum_store = self.sum_pad = self.sum_h = 0.0
        self.told = not self.spoiled
        self.calm = min(self.calm + 1, JUMP_QUARTERS)
        self.alone -= self.alone * (QUARTER_H / ALONE_FADES_H)
        self.spoiled = False
        self.quarter_s = now_s
        self.quarter_ratio = ratio

    def _gain(self, hour: int, left: float, sat: float) -> None:
        """Note `left` [g/kg/h], what no rate explains: the hour's mean gain, the drift, and the burst it sums up to."""
        self.day_gain = 0.0
        if hour < 0:
            return
        gains = self.gains
        count = self.counts[hour]
        over = left - gains[hour]
        gains[hour] = max(0.0, gains[hour] + over / min(count + 4, MOST_COUNT))
        if count < MOST_COUNT:
            self.counts[hour] = count + 1
        over = left - gains[hour]
        self.bias += (over - self.bias) * QUARTER_H / BIAS_H
        back = self.dry_per_h + 100.0 * STORE_G_KG_PCT * self.store_per_h / sat
        self.burst += QUARTER_H * (over - self.bias - back * self.burst)
        if self.burst < 0.0:
            self.burst *= 0.9
        self._peak(hour)
        self.day_gain = gains[hour] - sum(gains) / 24.0

    def _peak(self, hour: int) -> None:
        """The highest burst of the hour, and how much of it came within an hour."""
        peaks = self.peaks
        faded = peaks[hour] * BURST_FADE
        peak = max(faded, self.burst)
        peaks[hour] = peak
        before = self.before
        known = self.sudden[hour] * faded
        rise = 255.0 * (self.burst - max(0.0, before[0]))
        if peak > 0.0 and (peak > faded or rise > known):  # else both fade alike
            self.sudden[hour] = min(255, int(max(rise, known) / peak) + 1)
        before[0] = before[1]
        before[1] = before[2]
        before[2] = before[3]
        before[3] = self.burst

    def work(self) -> None:
        """One slice of the trials that the last quarter left to do."""
        n = self.next
        end = min(n + A_SCAN, TRIALS)
        while n < end:
            self._follow(n)
            if self.quarters == 0:  # an hour is over
                self._fit(n)
            n += 1
        self.next = n
        if n == TRIALS and self.quarters == 0:
            self._weigh()

    def _follow(self, n: int) -> None:
        """Trial n a quarter of an hour on, implicitly, and its products."""
        t = self.trials
        i = WIDTH * n
        a = DRY[n // len(STORE)]
        k2 = STORE_G_KG_PCT * STORE[n % len(STORE)]
        ratio = self.quarter_ratio
        keep = 1.0 / (1.0 + QUARTER_H * (a + 100.0 * k2 / self.sat + 1.0 / FOLLOW_H))
        base = (t[i] + QUARTER_H * (k2 * self.store_pct + ratio / FOLLOW_H + self.day_gain)) * keep
        out = (t[i + OUT] + QUARTER_H * a * self.mean_out) * keep
        valve = (t[i + VALVE] + QUARTER_H * self.mean_pad) * keep
        gain = (t[i + GAIN] + QUARTER_H) * keep
        t[i] = base
        t[i + OUT] = out
        t[i + VALVE] = valve
        t[i + GAIN] = gain
        out -= self._slow(i + SLOW, out)
        valve -= self._slow(i + SLOW + 1, valve)
        gain -= self._slow(i + SLOW + 2, gain)
        left = ratio - base
        left -= self._slow(i + SLOW + 3, left)
        i += SUMS
        t[i] += FORGET * (out * out - t[i])
        t[i + 1] += FORGET * (out * valve - t[i + 1])
        t[i + 2] += FORGET * (out * gain - t[i + 2])
        t[i + 3] += FORGET * (out * left - t[i + 3])
        t[i + 4] += FORGET * (valve * valve - t[i + 4])
        t[i + 5] += FORGET * (valve * gain - t[i + 5])
        t[i + 6] += FORGET * (valve * left - t[i + 6])
        t[i + 7] += FORGET * (gain * gain - t[i + 7])
        t[i + 8] += FORGET * (gain * left - t[i + 8])
        t[i + 9] += FORGET * (left * left - t[i + 9])

    def _slow(self, i: int, value: float) -> float:
        """The slow mean number i of the trials, with one more value."""
        t = self.trials
        t[i] += (value - t[i]) * (QUARTER_H / SLOW_H)
        return t[i]

    def _fit(self, n: int) -> None:
        """Weights of outdoor air, valve and gain in trial n by least squares, and what they leave unexplained."""
        t = self.trials
        i = WIDTH * n + SUMS
        oo, ov, og, oy = t[i], t[i + 1], t[i + 2], t[i + 3]
        vv, vg, vy, gg, gy = t[i + 4], t[i + 5], t[i + 6], t[i + 7], t[i + 8]
        # The normal equations with the priors, eliminated by hand: out first, then valve, then gain.
        d = oo + PRIOR_OUT
        r = oy + PRIOR_OUT * START_OUT
        by = ov / d
        v2 = vv + PRIOR_VALVE - by * ov
        vg2 = vg - by * og
        vr = vy + PRIOR_VALVE * START_VALVE - by * r
        by = og / d
        g2 = gg + PRIOR_GAIN - by * og
        gr = gy + PRIOR_GAIN * START_GAIN - by * r
        by = vg2 / v2
        gain = (gr - by * vr) / (g2 - by * vg2)
        valve = max(LEAST_VALVE, min((vr - vg2 * gain) / v2, FASTEST_RISE))
        out = (r - ov * valve - og * gain) / d
        left = t[i + 9] - 2.0 * (out * oy + valve * vy + gain * gy)
        left += out * (out * oo + 2.0 * (valve * ov + gain * og)) + valve * (valve * vv + 2.0 * gain * vg)
        left += gain * gain * gg
        unlikely = log(DRY[n // len(STORE)] / LIKELY_DRY)
        self.left[n] = max(1e-6, left) * (1.0 + LIKELY_WEIGHT * unlikely * unlikely)
        self.effect[n] = valve

    def _weigh(self) -> None:
        """The rates: the trials' mean, each weighted by the likelihood of what it leaves unexplained."""
        least = min(self.left)
        seen = 0.5 * min(float(self.hours), WEEKS_H) / TRUST_H
        total = dry = store = effect = 0.0
        for n in range(TRIALS):
            worse = seen * (self.left[n] / least - 1.0)
            if worse < 20.0:
                weight = exp(-worse)
                total += weight
                dry += weight * log(DRY[n // len(STORE)])
                store += weight * STORE[n % len(STORE)]
                effect += weight * self.effect[n]
        self.valve_g_kg_h = effect / total
        most = max(self.valve_g_kg_h, MOST_FROM)
        self.dry_per_h = min(exp(dry / total), MOST_DRY * most)
        self.store_per_h = min(store / total, MOST_STORE * most)

    def _check(self, now_s: int, sat: float) -> None:
        """Once a day: was the humidity of today, foretold yesterday from the rates alone, too dry?"""
        h = QUARTER_H
        if self.check_until_s < 0:  # after a gap, or never begun
            self._check_from(now_s)
            return
        k2 = STORE_G_KG_PCT * self.store_per_h
        source = self.dry_believed_per_h() * self.mean_out + k2 * self.check_store_pct
        source += self.day_gain + sum(self.gains) / 24.0 + self.valve_g_kg_h * self.mean_pad
        before = self.check_ratio
        keep = 1.0 + h * (self.dry_believed_per_h() + 100.0 * k2 / sat)
        self.check_ratio = (before + h * source) / keep
        q = k2 * (100.0 * self.check_ratio / sat - self.check_store_pct)
        self.check_store_pct += h * q * AIR_FACTOR / CAPACITY
        if now_s >= self.check_until_s:
            error = self.ratio - self.check_ratio
            self.too_dry_g_kg += CHECK_WEIGHT * (error - self.too_dry_g_kg)
            self.distrusted = self.too_dry_g_kg > (DRY_AGAIN if self.distrusted else TOO_DRY)
            self._check_from(now_s)

    def _check_from(self, now_s: int) -> None:
        self.check_ratio = self.ratio
        self.check_store_pct = self.store_pct
        self.check_until_s = now_s + CHECK_S

    def dry_cautious_per_h(self) -> float:
        """The drying rate [1/h] that may be counted on: for two weeks that of a house that dries slowly, at most."""
        believed = self.dry_believed_per_h()
        return min(believed, UNKNOWN_DRY_PER_H) if self.hours < BURST_HOURS else believed

    def dry_believed_per_h(self) -> float:
        """The drying rate [1/h]: the start's, at most, while the own forecasts are too dry."""
        if self.distrusted and self.dry_per_h > START_DRY_PER_H:
            return START_DRY_PER_H
        return self.dry_per_h

    def burst_g_kg(self, hour: int) -> float:
        """Room [g/kg] to keep for a burst at its highest in this hour of the day, -1: of all hours."""
        peaks = self.peaks
        if hour < 0:
            return self._room_g_kg(max(peaks))
        peak = max(peaks[hour - 1], peaks[hour])
        return self._room_g_kg(max(peak, peaks[hour + 1 if hour < 23 else 0]))

    def rise_g_kg(self, hour: int) -> float:
        """The same for what a burst may add within an hour; one of a whole evening takes longer."""
        most = 0.0
        for n in range(24) if hour < 0 else (hour, hour - 1, hour + 1 if hour < 23 else 0):
            most = max(most, self.sudden[n] * self.peaks[n])
        return self._room_g_kg(most / 255.0)

    def known(self) -> float:
        """0 at first and while its forecasts are too dry, 1 after two weeks of bursts by the hour of the day."""
        return 0.0 if self.distrusted else min(1.0, max(self.counts) / KNOWN_QUARTERS)

    def _room_g_kg(self, most: float) -> float:
        known = min(1.0, self.hours / BURST_HOURS)
        factor = BURST_FACTOR + FIRST_FACTOR * max(0.0, 1.0 - self.hours / FIRST_H)
        return (1.0 - known) * START_BURST + known * factor * max(most, LEAST_BURST)

    def halves_h(self) -> int:
        """Hours in which half of what the humidifier added has left the air, valve shut; 99 where it takes longer."""
        own, stored = 1.0, 0.0
        sat = sat_ratio_g_kg(20.0)
        k2 = STORE_G_KG_PCT * self.store_per_h
        for hours in range(1, 99):
            q = k2 * (100.0 * own / sat - stored)
            own -= self.dry_per_h * own + q
            stored += q * AIR_FACTOR / CAPACITY
            if own <= 0.5:
                return hours
        return 99
