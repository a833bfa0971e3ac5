"""What weeks of readings give away of parts and sensors that are not what they seem; notices, never a refusal.

Humidifier.  What the learned rates leave unexplained of each quarter of an hour is fitted, over about a day, by three
terms: a mean, the pad's share with the valve open, the same with the valve shut while the fan runs.  The second is the
humidifier's strength: none is no water or no air, half of what it was a worn pad.  The third is water that nobody
asked for.  Both count only by three standard errors, so that a weak humidifier in a lively house is never blamed.
Humidity sensor.  What a house gains by itself, over its drying rate, is how far it stays above the outdoor air.  How
moist that is, is a guess, the wider the milder it is; where the house stays lower than it used to by more than that,
days on end, the sensor reads lower and lower, or nobody is home.  Two sensors are compared by the
smallest difference of a day: behind a shut door sleepers make their own humidity, but not all day.
Outdoor thermometer.  The furnace heats a known share of the time for each kelvin between indoors and outdoors, less
what the house has for nothing; twice of it, or glass colder than the air on both sides, or heating against warmer air
outdoors, and the thermometer is not where the air is.
Place.  Air that warms by kelvins each time the furnace starts is supply air.
All thresholds were set on simulated houses: dewmargin faults shows what they find, and how often they err.
"""

from array import array
from math import sqrt

from dewcore import words as w
from dewcore.house import PAD_H, House
from dewcore.outdoors import HOLD_S
from dewcore.psychro import sat_water_pa
from dewcore.readings import GLASS, INDOOR, OFF, ON, OUTDOOR, RH, ROOM, ROOM_RH, Inputs, Readings
from dewcore.settings import Settings

DAY_S = 86400
LONGEST_S = 300  # a longer gap between two minutes counts as so long
# The fit
KEEP = 1.0 - 1.0 / 96.0  # a quarter's weight after the next: a day
LEAST_QUARTERS = 24.0
LEAST_SHARE = 4.0  # quarters of open valve, or of fan with the valve shut: an hour
RIDGE = 0.1
ALIKE = 2.0  # what follows from one quarter to the next is not new: the variance counts double
ERRORS = 3.0
# Shares of the strength it had
NO_RISE, RISES_AGAIN = 0.35, 0.5
LEAKS, LEAKS_NO_MORE = 0.35, 0.2
WEAK, STRONG_AGAIN = 0.5, 0.6
KNOWN_H = 72  # learned hours before anything is judged
RECENT = 1.0 / 64.0  # of the strength by a quarter of open valve: 16 hours of it
# How much more slowly the best strength follows up and down: a peak remembered for long makes a sound pad look worn, a
# strength that follows down soon hides wear of a season.  Ten simulated winters without a fault had the notice in two.
GROWS, FADES = 0.1, 0.02
WATER_S = 1800  # of open valve without a wet drain: no water, else no air
# The humidity sensor
NOW_QUARTERS, USUAL_QUARTERS = 384.0, 2880.0  # four and thirty days
# How far the house may be above the outdoor air beyond what it seems [g/kg]: so much, and by each g/kg outdoors.
# Set on 15 simulated winters without a fault, one of which had the notice for days, and on the same with RH reading
# 0.5 % lower each day, which was found after 7 to 47 days.
GUESS_G_KG, GUESS_SHARE = 0.3, 0.45
BACK_G_KG = 0.3
DIFFER_PCT = 5.0
# The outdoor thermometer
DUTY_H, USUAL_DUTY_H = 24.0, 336.0
FREE_K = 4.0  # people, cooking and sun keep a house so much warmer by themselves
LEAST_K = 2.0
LEAST_DUTY = 0.05
MUCH, NO_MORE = 2.0, 1.4
AS_USUAL = 0.6  # less heat than that share of the usual accuses nobody
WARMER_K = 1.0
COLD_GLASS_K = 3.0
PLACE_S = 3600
# The place
START_S = 900
WARMS_K = 5.0
WARM_STARTS = 3
FRESH_S = 30  # as old as a reading of the main sensor may be (dewcore.judge)


class Doubts:
    """`notices`: as of `words`, of the last minute; strength, recent [g/kg/h]: what an hour of water adds, at its best
    and lately, 0 unknown; usual, excess [g/kg]: what the house stays above the outdoor air by itself, as a rule, and at
    most, as far as can be told, lately; outdoor: whether the outdoor thermometer is not to be trusted.
    """

    __slots__ = (
        "settings",
        "notices",
        "sums",
        "idle",
        "sum_idle",
        "sum_s",
        "seen_s",
        "last_s",
        "dry_s",
        "strength",
        "recent",
        "usual",
        "excess",
        "least_pct",
        "day_s",
        "outdoor",
        "duty",
        "span_k",
        "usual_duty",
        "usual_span_k",
        "duty_h",
        "odd_s",
        "start_c",
        "warm_starts",
        "heat_on",
    )

    def __init__(self, settings: "Settings | None" = None) -> None:
        if settings is None:
            settings = Settings()
        self.settings: "Settings" = settings
        self.notices: int = 0
        self.strength: float = 0.0
        self.recent: float = 0.0
        self.usual: float = 0.0
        self.excess: float = 0.0
        self.outdoor: bool = False
        self.duty: float = 0.0
        self.span_k: float = 0.0
        self.usual_duty: float = 0.0
        self.usual_span_k: float = 0.0
        self.duty_h: float = 0.0
        self.sums = array("f", [0.0] * 10)
        self.idle: float = 0.0
        self.sum_idle: float = 0.0
        self.sum_s: int = 0
        self.seen_s: int = -1  # the quarter seen last
        self.last_s: int = -1
        self.dry_s: int = 0  # of open valve since the drain was last wet
        self.least_pct: float = 100.0
        self.day_s: int = -1
        self.odd_s: int = 0
        self.start_c: float = 100.0
        self.warm_starts: int = 0
        self.heat_on: bool = False

    def minute(
        self, readings: "Readings", inputs: "Inputs", outdoor_c: float, house: "House", is_open: bool, now_s: int
    ) -> None:
        """One step to now_s [s]; outdoor_c: as last read, whatever is believed; is_open: the valve."""
        seconds = now_s - self.last_s if self.last_s >= 0 else 0
        self.last_s = now_s
        seconds = max(0, min(seconds, LONGEST_S))
        running = readings.fan.state == ON
        if running:
            shut = 0.0 if is_open else 1.0
            self.idle += (shut - self.idle) * (seconds / 3600.0 / PAD_H)
            self.sum_idle += self.idle * seconds
        self.sum_s += seconds
        if is_open:
            self.dry_s = 0 if readings.drain_wet.state == ON else min(self.dry_s + seconds, DAY_S)
        if house.quarter_s != self.seen_s:
            self.seen_s = house.quarter_s
            if self.sum_s > 0 and house.told and not self.notices >> w.SENSOR_PLACE & 1:
                self._quarter(house, self.sum_idle / self.sum_s)
            self.sum_idle = 0.0
            self.sum_s = 0
        self._rooms(inputs, now_s)
        self._furnace(readings, inputs, outdoor_c, seconds, now_s)

    def tell(self, code: int, begins: bool, lasts: bool) -> None:
        """A notice begins, or lasts, or ends."""
        if begins or lasts and self.notices >> code & 1:
            self.notices |= 1 << code
        else:
            self.notices &= ~(1 << code)

    def see_to_place(self) -> None:
        """A person has seen to the main sensor: three starts of the furnace have to show it anew."""
        self.warm_starts = 0
        self.start_c = 100.0
        self.tell(w.SENSOR_PLACE, False, False)

    # The humidifier, and what the house gains without it

    def _quarter(self, house: "House", idle: float) -> None:
        """One more quarter of an hour into the fit, and what it says."""
        opened = house.mean_pad
        self._gains(house, opened)
        left = house.unexplained - house.mean_gain
        s = self.sums
        for n in range(10):
            s[n] *= KEEP
        s[0] += 1.0
        s[1] += opened
        s[2] += idle
        s[3] += opened * opened
        s[4] += opened * idle
        s[5] += idle * idle
        s[6] += left
        s[7] += opened * left
        s[8] += idle * left
        s[9] += left * left
        if s[0] >= LEAST_QUARTERS and house.hours >= KNOWN_H:
            self._judge(opened)

    def _judge(self, opened: float) -> None:
        """The fit's two strengths against the known one."""
        s = self.sums
        n = s[0] + RIDGE
        v11 = s[3] + RIDGE - s[1] * s[1] / n
        v12 = s[4] - s[1] * s[2] / n
        v22 = s[5] + RIDGE - s[2] * s[2] / n
        r1 = s[7] + RIDGE * self.recent - s[1] * s[6] / n
        r2 = s[8] - s[2] * s[6] / n
        d = v11 * v22 - v12 * v12  # above zero, as the ridge is in both
        b1 = (r1 * v22 - r2 * v12) / d
        b2 = (r2 * v11 - r1 * v12) / d
        b0 = (s[6] - s[1] * b1 - s[2] * b2) / n
        rest = max(0.0, s[9] - b0 * s[6] - b1 * s[7] - b2 * s[8])
        scale = ERRORS * sqrt(ALIKE * rest / (s[0] * d))
        error1 = scale * sqrt(v22)
        error2 = scale * sqrt(v11)
        if s[1] >= LEAST_SHARE:
            self._strength(b1, error1, opened)
        known = self.strength
        begins = known > 0.0 and s[2] >= LEAST_SHARE and b2 - error2 > LEAKS * known
        self.tell(w.RISES_SHUT, begins, b2 > LEAKS_NO_MORE * known)

    def _strength(self, b1: float, error1: float, opened: float) -> None:
        """What an hour of open valve adds: none of it, less of it, or what is to be remembered."""
        known = self.strength
        none = known > 0.0 and b1 + error1 < NO_RISE * known
        dry = self.settings.has_drain_wet == 0 or self.dry_s > WATER_S
        self.tell(w.NO_RISE, none and dry, dry and b1 < RISES_AGAIN * known)
        self.tell(w.NO_AIR, none and not dry, not dry and b1 < RISES_AGAIN * known)
        if known <= 0.0:
            if error1 < 0.5 * b1:
                self.strength = self.recent = b1
            return
        self.recent += (max(0.0, b1) - self.recent) * RECENT * opened
        rate = RECENT * opened * (GROWS if self.recent > known else FADES)
        self.strength += (self.recent - known) * rate
        worn = self.recent < WEAK * known and b1 > NO_RISE * known  # with less it is no wear
        self.tell(w.PAD_WEAK, worn, self.recent < STRONG_AGAIN * known)

    def _gains(self, house: "House", opened: float) -> None:
        """How far the house stays above the outdoor air by itself [g/kg], lately and as a rule."""
        dry_valve = 1 << w.NO_RISE | 1 << w.NO_AIR
        if house.hours < KNOWN_H or self.notices & dry_valve:  # then what the valve adds is not known
            return
        excess = (house.unexplained - house.valve_g_kg_h * opened) / house.dry_per_h
        most = excess + GUESS_G_KG + GUESS_SHARE * house.mean_out
        if self.usual == 0.0:
            self.usual = max(0.01, excess)
            self.excess = most
        self.excess += (most - self.excess) / min(NOW_QUARTERS, 4.0 * house.hours)
        usual = max(0.0, self.usual)  # no house takes moisture away
        share = 1.0 / min(USUAL_QUARTERS, 4.0 * house.hours)
        if self.excess < usual:
            share *= 0.1  # what is doubted is hardly a rule
        self.usual += (excess - self.usual) * share
        begins = self.excess < usual and house.hours > 2 * KNOWN_H + 96
        self.tell(w.RH_LOW, begins, self.excess < usual + BACK_G_KG)

    # Two humidity sensors

    def _rooms(self, inputs: "Inputs", now_s: int) -> None:
        """The smallest difference of the two sensors within a day, both as RH at the main sensor."""
        both = (1 << ROOM) | (1 << ROOM_RH) | (1 << INDOOR) | (1 << RH)
        if not self.settings.has_room or inputs.trusted & both != both:
            return
        room_pa = 0.01 * inputs.room_rh_pct * sat_water_pa(inputs.room_c)
        differ_pct = abs(100.0 * room_pa / inputs.indoor_sat_pa - inputs.rh_pct)
        if self.day_s < 0 or not 0 <= now_s - self.day_s < DAY_S:
            if self.day_s >= 0:
                self.tell(w.SENSORS_DIFFER, self.least_pct > DIFFER_PCT, False)
            self.day_s = now_s
            self.least_pct = 100.0
        if differ_pct < self.least_pct:
            self.least_pct = differ_pct
            if differ_pct <= DIFFER_PCT:
                self.tell(w.SENSORS_DIFFER, False, False)

    # The furnace as a witness

    def _furnace(self, readings: "Readings", inputs: "Inputs", outdoor_c: float, seconds: int, now_s: int) -> None:
        """What heating tells of the outdoor thermometer and of the main sensor's place."""
        s = self.settings
        contact = readings.heat_call if s.has_heat_call else readings.fan
        trusted = inputs.trusted & (1 << INDOOR)
        if contact.state != ON and contact.state != OFF or not (trusted or self.notices >> w.SENSOR_PLACE & 1):
            return
        heats = contact.state == ON
        if trusted or 0 <= inputs.age_s[INDOOR] <= FRESH_S:
            self._place(heats, inputs.indoor_c, contact.since_s, now_s)
        else:  # a sensor that does not answer shows no air that stays cold
            self.heat_on = heats
            self.start_c = 100.0
        if not trusted:  # in supply air it still shows when it no longer hangs there, and nothing else
            return
        span_k = inputs.indoor_c - outdoor_c
        coldest_c = min(outdoor_c, inputs.indoor_c)  # on a hot day glass is colder than the air outdoors
        odd = s.has_glass and inputs.trusted & (1 << GLASS) and inputs.glass_c < coldest_c - COLD_GLASS_K
        odd = odd or heats and span_k < -WARMER_K
        if odd:
            self.odd_s = min(self.odd_s + seconds, 2 * PLACE_S)
        elif not s.has_glass or inputs.trusted & (1 << GLASS):  # once lost it takes back nothing of what it said
            self.odd_s = max(0, self.odd_s - seconds)
        if 0 <= inputs.age_s[OUTDOOR] <= HOLD_S:
            self._duty(1.0 if heats else 0.0, max(LEAST_K, span_k - FREE_K), seconds / 3600.0)
        known = self.duty_h > USUAL_DUTY_H
        ratio = self.duty * self.usual_span_k
        usual = self.usual_duty * self.span_k
        much = self.duty > LEAST_DUTY and self.duty > AS_USUAL * self.usual_duty and ratio > MUCH * usual
        begins = known and much or self.odd_s >= PLACE_S
        lasts = known and ratio > NO_MORE * usual or self.odd_s > 0
        self.outdoor = begins or lasts and self.outdoor

    def _duty(self, heats: float, span_k: float, hours: float) -> None:
        """Share of the time with heat, and kelvin across the house: of a day, and as a rule."""
        self.duty_h = min(self.duty_h + hours, 2.0 * USUAL_DUTY_H)
        share = hours / min(DUTY_H, max(1.0, self.duty_h))
        self.duty += (heats - self.duty) * share
        self.span_k += (span_k - self.span_k) * share
        if not self.outdoor:
            share = hours / min(USUAL_DUTY_H, max(1.0, self.duty_h))
            self.usual_duty += (heats - self.usual_duty) * share
            self.usual_span_k += (span_k - self.usual_span_k) * share

    def _place(self, heats: bool, indoor_c: float, since_s: int, now_s: int) -> None:
        """Whether the main sensor's air warms by kelvins within a quarter of an hour of each start of the furnace."""
        if heats and not self.heat_on:
            self.start_c = indoor_c
        ends = self.heat_on and (not heats or now_s - since_s >= START_S) and self.start_c < 100.0
        self.heat_on = heats
        if ends:
            told = self.notices >> w.SENSOR_PLACE & 1
            if indoor_c - self.start_c >= WARMS_K:
                self.warm_starts = WARM_STARTS if told else self.warm_starts + 1
            else:
                self.warm_starts = self.warm_starts - 1 if told else 0
            self.start_c = 100.0
            self.tell(w.SENSOR_PLACE, self.warm_starts >= WARM_STARTS, self.warm_starts > 0)
