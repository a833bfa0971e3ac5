"""The look-ahead: the highest humidity from which the house, valve shut, still dries below every ceiling to come.

One implicit Euler step an hour over two days, in slices so that no scan makes much garbage.  The water held now, w,
enters linearly: W(k) = A(k) w + B(k), so each hour's ceiling gives a limit for w, and the lowest one holds.
Where little is left by then of the humidifier's own share, no room for chances is needed beside it; where the house
itself, without the humidifier, would be too wet, that share alone counts and must be under `NEGLIGIBLE`.

What is kept back is of two kinds.  The tolerances of sensors and glass and the model's own error are the same all
winter; colder air (twice the forecast's spread; without a forecast most of the largest fall known) and a burst of
moisture are chances, and the worst of them comes some day.  So each kind comes off in full; within a kind the causes
are independent and add as the root of the sum of squares (JCGM 100:2008, GUM, eq. 10), the lasting ones half way from
that to their sum (`AT_ONCE`).  The limit of this very moment (`Controller._ahead`) is stricter: there they
add in full.

Chances past the two days are left out, but for a house that wets its glass by itself, or comes so near to it that the
readings cannot tell: there little of the own share may be left by then (`LEFT`).
"""

from math import exp, sqrt

from dewcore.doubts import Doubts
from dewcore.fallbound import FallBound
from dewcore.forecast import NO_FORECAST, Forecast, spread_k
from dewcore.house import AIR_FACTOR, CAPACITY, STORE_G_KG_PCT, TRIALS, House
from dewcore.judge import Judge
from dewcore.margin import Margin
from dewcore.psychro import (
    MOLAR_RATIO_G,
    STANDARD_PRESSURE_PA,
    sat_surface_pa,
    sat_water_pa,
)
from dewcore.readings import INDOOR_AND_RH, ON, OUTDOOR, OUTDOOR_READ, Readings
from dewcore.settings import Settings

HOURS = 48  # a slow store dries for days: 24 h left two of 22 simulated houses with wet glass
SLICE_HOURS = 7  # in one scan
MINUTE_S = 60
OFTEN_S = 30  # where scans are closer than that, each does one thing: learn, or one slice of what is pending
EVERY_S = 600
MODEL_MARGIN_K = 1.0  # at the glass, for what the model itself does not know
# Of the way from tolerances and model that err independently to both erring fully the same way: a quarter of it left four
# of 72 drawn houses with wet glass where every sensor was at its worst, half of it one of these; it costs 1 to 2 % of
# what the usual tolerances let gain, exact sensors nothing.
AT_ONCE = 0.5
# Own shares, over what wets the glass.  One beside which nothing has to be kept back: a house that by itself comes so
# near to wetting it does wet it on some morning.
NEGLIGIBLE = 0.015
# One beside which no room for chances is kept: a house that by itself stays under RESERVED - LITTLE, whatever chances
# come, is not wetted by it.  It is less until the house is known, and for one that has been nearer by itself.
LITTLE = 0.07
RESERVED = 0.95  # a colder night than any yet comes
# The most that may be left at the end of the two days in a house that wets its glass by itself, as far as the readings
# can tell: of what its store gives back for days a cold spell would find too much.
LEFT = 0.02
SPREADS = 2.0  # of the forecast: so much colder air than it says comes a few times in a winter
BURST_H = 3  # a burst is at its highest within so many hours
OUTDOOR_RH = 0.85  # of the outdoor air ahead, over water: it is cold then, and cold air is humid
# With a forecast at least this share of the largest known fall is expected, whatever the forecast says.
DISTRUST = 0.2
# Without one so much of it is reserve for a rare front, and the rest is expected.
RARE = 0.75
BIAS_FADES_H = 12.0
NO_LIMIT = 1000.0
# A limit holds no longer: the weather and the house have gone on.  Scans as rare as every ten minutes still renew it.
LONGEST_S = 10800


class Outlook:
    """limit_pa: the highest vapour pressure [Pa] of the last complete look-ahead; until the first it is unknown.

    f_day, f_night, colder_k, excess_pa, sensed_colder_k: glass, and how much colder [K] and moister [Pa] the coldest
    room is by night; set from outside.  burst_g_kg: the room [g/kg] to keep for a burst
    within an hour.
    """

    __slots__ = (
        "settings",
        "house",
        "doubts",
        "fall",
        "forecast",
        "margin",
        "limit_pa",
        "known",
        "next",
        "scanned_s",
        "learned_s",
        "looked_s",
        "limit_s",
        "history_next",
        "f_day",
        "f_night",
        "colder_k",
        "excess_pa",
        "burst_g_kg",
        "sensed_colder_k",
        "lowest_g_kg",
        "minute",
        "indoor_c",
        "outdoor_c",
        "day_lowest_c",
        "dry",
        "bias",
        "expected_c",
        "a",
        "a_store",
        "b",
        "b_store",
        "e",
        "e_store",
        "shut_g_kg",
        "little",
        "wet_g_kg",
        "expected_pct",
    )

    def __init__(self, settings: "Settings | None" = None) -> None:
        if settings is None:
            settings = Settings()
        self.settings: "Settings" = settings
        self.house: "House" = House()
        self.doubts: "Doubts" = Doubts(settings)
        self.fall: "FallBound" = FallBound()
        self.forecast: "Forecast" = Forecast()
        self.margin: "Margin" = Margin()
        self.limit_pa: float = 0.0
        self.known: bool = False
        self.next: int = -1  # the hour ahead that the next slice begins with; -1: none under way
        self.scanned_s: int = -1
        self.learned_s: int = -1
        self.looked_s: int = -1
        self.limit_s: int = -1  # when the look-ahead behind limit_pa began
        self.history_next: int = 0
        self.f_day: float = settings.glass_f_day
        self.f_night: float = settings.glass_f_night
        self.colder_k: float = 0.0
        self.excess_pa: float = 0.0
        self.burst_g_kg: float = 0.0
        self.sensed_colder_k: float = 0.0
        self.lowest_g_kg: float = 0.0
        self.minute: int = -1
        self.indoor_c: float = 0.0
        self.outdoor_c: float = 0.0
        self.day_lowest_c: float = 0.0
        self.dry: float = 0.0
        self.bias: float = 0.0
        self.expected_c: float = 0.0
        self.a: float = 0.0
        self.a_store: float = 0.0
        self.b: float = 0.0
        self.b_store: float = 0.0
        self.e: float = 0.0
        self.e_store: float = 0.0
        self.shut_g_kg: float = 0.0
        self.little: float = 0.0  # of what wets the glass: `LITTLE` in this house, now
        # Of the hour just looked at: what wets its glass, nothing kept back; what it allows where no chance comes.
        self.wet_g_kg: float = 0.0
        self.expected_pct: float = 0.0

    def scan(self, readings: "Readings", judge: "Judge", is_open: bool, now_s: int) -> bool:
        """Learn once a minute and do a slice of what is pending at now_s [s]; True where limit_pa, or `known`, is new.

        What this scan begins it leaves to the next: until then the glass and the room are those of the last target.
        """
        if now_s == self.scanned_s:
            return False  # no time has passed: the same readings again change nothing
        often = 0 <= now_s - self.scanned_s < OFTEN_S
        self.scanned_s = now_s
        under_way = self.next >= 0
        changed = False
        if self.learned_s < 0 or not 0 <= now_s - self.learned_s < MINUTE_S:
            self.learned_s = now_s
            self._minute(readings, judge, is_open, now_s)
            if often:
                return False
        if self.house.next < TRIALS:
            self.house.work()
            if often:
                return False
        if under_way:
            changed = self.work()
        if self.known and not 0 <= now_s - self.limit_s <= LONGEST_S:
            self.known = False
            changed = True
        return changed

    def _minute(self, readings: "Readings", judge: "Judge", is_open: bool, now_s: int) -> None:
        """What the last minute shows of the house; every ten minutes a new look-ahead."""
        inputs = judge.inputs
        history = judge.history
        house = self.house
        minute = (readings.utc_s + readings.utc_offset_s) // 60 % 1440 if readings.utc_s else -1
        hour = minute // 60  # -1 stays -1
        if history.next != self.history_next:
            self.history_next = history.next
            self.fall.watch(history, hour)
            house.outdoor_hour(history)
        read = inputs.outdoor_basis == OUTDOOR_READ
        good = read and inputs.trusted & INDOOR_AND_RH == INDOOR_AND_RH and readings.absent.state != ON
        pad = (1 if is_open else 0) if readings.fan.state == ON else -1
        ratio = 1000.0 * inputs.humidity_ratio
        house.minute(now_s, hour, inputs.indoor_c, inputs.rh_pct, ratio, inputs.outdoor_c, pad, good)
        outdoor_c = judge.channels[OUTDOOR].good + self.settings.outdoor_offset_k
        self.doubts.minute(readings, inputs, outdoor_c, house, is_open, now_s)
        self.burst_g_kg = house.rise_g_kg(hour)
        if self.next < 0 and (self.looked_s < 0 or not 0 <= now_s - self.looked_s < EVERY_S):
            self.looked_s = now_s
            self.forecast.judge(readings, inputs.outdoor_c, read, now_s)
            self.begin(minute, inputs.indoor_c, inputs.outdoor_c, history.day_lowest_c(inputs.outdoor_c))

    def start_afresh(self) -> None:
        """Forget the house: another one, or a rebuilt one.  The place's weather stays known."""
        self.house = House(self.house)
        self.doubts = Doubts(self.settings)
        self.look_again()

    def look_again(self) -> None:
        """What was looked ahead no longer holds: unknown until the next look-ahead, which begins within a minute."""
        self.known = False
        self.next = -1
        self.looked_s = -1

    def begin(self, minute: int, indoor_c: float, outdoor_c: float, day_lowest_c: float) -> None:
        """Start a look-ahead; minute: of the local day, -1 unknown; temperatures as believed [°C]."""
        house = self.house
        self.minute = minute
        self.indoor_c = indoor_c
        self.outdoor_c = outdoor_c
        self.day_lowest_c = day_lowest_c
        self.dry = house.dry_cautious_per_h()
        self.bias = max(0.0, house.bias)
        self.a, self.a_store = 1.0, 0.0
        self.b, self.b_store = 0.0, house.store_pct
        self.e, self.e_store = 0.0, house.own_store_pct
        self.shut_g_kg = house.ratio - house.own
        self.little = min(LITTLE, RESERVED - house.alone) * house.known()
        self.lowest_g_kg = NO_LIMIT
        self.fall.begin(minute // 60)  # -1 stays -1
        self.next = 0

    def work(self) -> bool:
        """One slice; True after the last one, when limit_pa is new."""
        first = self.next
        last = min(first + SLICE_HOURS, HOURS + 1)
        for k in range(first, last):
            self._hour(k)
        self.next = last
        if last <= HOURS:
            return False
        self.next = -1
        ratio = self.lowest_g_kg
        if self.house.alone >= 1.0:  # a and e are an hour further than what wets the glass
            ratio = min(ratio, self.shut_g_kg + (LEFT * self.wet_g_kg - self.e) / self.a)
        self.limit_pa = STANDARD_PRESSURE_PA * ratio / (MOLAR_RATIO_G + ratio) if ratio > 0.0 else 0.0
        self.limit_s = self.looked_s
        self.known = True
        return True

    def _hour(self, k: int) -> None:
        """The limit that hour k ahead sets, and the step to the next."""
        house = self.house
        if self.minute >= 0:
            hour = (self.minute // 60 + k) % 24
            indoor_c = self._indoor_c(hour)
            gain = house.gains[hour]
        else:
            hour = -1
            indoor_c = min(self.indoor_c, min(house.lowest_c))
            gain = max(house.gains)
        low_c = self._low_c(k)
        sat_pa = sat_water_pa(indoor_c)
        sat = MOLAR_RATIO_G * sat_pa / (STANDARD_PRESSURE_PA - sat_pa)
        allowed_pct = self._allowed_pct(k, indoor_c, low_c, sat_pa, 100.0 * self._burst_g_kg(k, hour) / sat)
        self.lowest_g_kg = min(self.lowest_g_kg, self._held_g_kg(allowed_pct, sat_pa))
        out_pa = OUTDOOR_RH * sat_water_pa(low_c)
        source = self.dry * MOLAR_RATIO_G * out_pa / (STANDARD_PRESSURE_PA - out_pa)
        self._step(sat, source + gain + self.bias)
        self.bias *= BIAS_KEEP

    def _held_g_kg(self, allowed_pct: float, sat_pa: float) -> float:
        """The most that may be held now [g/kg] for the hour just looked at, all that is kept back off allowed_pct."""
        held = self._from_pct(allowed_pct, sat_pa)
        little = self.little * self.wet_g_kg
        if self.e < little:
            own = self.shut_g_kg + (little - self.e) / self.a
            held = max(held, min(own, self._from_pct(self.expected_pct, sat_pa)))
        little = NEGLIGIBLE * self.wet_g_kg
        if self.e < little:
            held = max(held, self.shut_g_kg + (little - self.e) / self.a)
        return held

    def _from_pct(self, pct: float, sat_pa: float) -> float:
        """Held now [g/kg], of which pct [% RH] will be left in that hour."""
        pa = 0.01 * sat_pa * pct
        return (MOLAR_RATIO_G * pa / (STANDARD_PRESSURE_PA - pa) - self.b) / self.a

    def _burst_g_kg(self, k: int, hour: int) -> float:
        """Room [g/kg] for a burst k hours ahead, in this hour of the day or the next one; hour -1: unknown.

        One that begins now cannot have added all of it within the next hours, while what the humidifier has added
        dries away.
        """
        house = self.house
        last = following = hour
        if hour >= 0 and k:
            last, following = (hour - 1) % 24, (hour + 1) % 24
        burst = max(house.burst_g_kg(hour), house.burst_g_kg(following))
        if k >= BURST_H:
            return burst
        return min(burst, max(1, k) * max(house.rise_g_kg(last), house.rise_g_kg(following)))

    def _low_c(self, k: int) -> float:
        """The coldest that it may be outdoors k hours ahead [°C]; sets expected_c, the same without the rare part."""
        now_c = self.outdoor_c
        self.expected_c = now_c
        if k == 0:
            return now_c
        fall_k = self.fall.drop_k(k, now_c, self.day_lowest_c)
        bound_c = now_c - fall_k
        forecast_c = self.forecast.lowest_c(k)
        if not forecast_c < NO_FORECAST:
            low_c = max(bound_c, min(self.settings.design_outdoor_c, now_c))
            self.expected_c = now_c - (1.0 - RARE) * (now_c - low_c)
            return low_c
        self.expected_c = max(bound_c, min(forecast_c, now_c - DISTRUST * fall_k))
        return max(bound_c, min(self.expected_c, forecast_c - SPREADS * spread_k(self.forecast.age_h + k)))

    def _indoor_c(self, hour: int) -> float:
        """Yesterday's lowest indoor temperature within an hour of that hour, not above now's [°C]."""
        lowest_c = self.house.lowest_c
        low_c = min(lowest_c[hour - 1], lowest_c[hour])
        return min(min(low_c, lowest_c[hour + 1 if hour < 23 else 0]), self.indoor_c)

    def _allowed_pct(self, k: int, indoor_c: float, low_c: float, sat_pa: float, burst_pct: float) -> float:
        """Highest RH [%] that the glass allows k hours ahead, all that is kept back taken off."""
        f = self.f_night if self._is_night(k) else self.f_day
        # A glass colder by its own sensor than modelled stays so in proportion to the cold; never warmer.  The
        # proportion makes no glass colder than the outdoor air: on a mild day it may be a sensor's error by a few K.
        room_c = indoor_c - self.colder_k
        cold_k = max(0.0, room_c - low_c)
        modelled_c = room_c - (1.0 - f) * cold_k
        glass_c = modelled_c - self.sensed_colder_k
        if self.sensed_colder_k > 0.0 and glass_c > low_c:
            share = max(1.0, cold_k / max(1.0, self._now_k()))
            glass_c = max(low_c, modelled_c - self.sensed_colder_k * share)
        surface_pa = sat_surface_pa(glass_c)
        self.wet_g_kg = MOLAR_RATIO_G * surface_pa / (STANDARD_PRESSURE_PA - surface_pa)
        surface_pct = 100.0 * surface_pa / sat_pa
        warmer_c = glass_c + (1.0 - f) * (self.expected_c - low_c)
        colder_pct = 100.0 * sat_surface_pa(warmer_c) / sat_pa - surface_pct
        pct = surface_pct - 100.0 * self.excess_pa / sat_pa
        margin_pct = self.margin.set(pct, surface_pct, glass_c, f, indoor_c, low_c, self.settings)
        lasting = lasting_pct(margin_pct, self.margin.per_k_pct)
        expected_pct = pct + colder_pct
        # a kelvin of the warmer glass is worth more
        self.expected_pct = expected_pct - lasting * (surface_pct + colder_pct) / surface_pct
        return expected_pct - lasting - sqrt(burst_pct * burst_pct + colder_pct * colder_pct)

    def _now_k(self) -> float:
        return self.indoor_c - self.colder_k - self.outdoor_c

    def _is_night(self, k: int) -> bool:
        """Whether drawn curtains touch the hour k ahead."""
        if self.minute < 0:
            return True
        s = self.settings
        first = s.curtains_from_min
        start = (self.minute + 60 * k) % 1440
        return (start - first) % 1440 < (s.curtains_to_min - first) % 1440 or (first - start) % 1440 < 60

    def _step(self, sat: float, source: float) -> None:
        """One hour on, valve shut: air and store implicitly, for the held water, the rest, and the own share."""
        k2 = STORE_G_KG_PCT * self.house.store_per_h
        rate = k2 * AIR_FACTOR / CAPACITY
        keep = 1.0 + rate
        lead = 100.0 * rate / sat
        scale = 1.0 / (1.0 + self.dry + 100.0 * k2 / sat / keep)
        k2 /= keep
        self.a = (self.a + k2 * self.a_store) * scale
        self.a_store = (self.a_store + lead * self.a) / keep
        self.b = (self.b + source + k2 * self.b_store) * scale
        self.b_store = (self.b_store + lead * self.b) / keep
        self.e = (self.e + k2 * self.e_store) * scale
        self.e_store = (self.e_store + lead * self.e) / keep


BIAS_KEEP = exp(-1.0 / BIAS_FADES_H)


def lasting_pct(margin_pct: float, per_k_pct: float) -> float:
    """What is kept [% RH] for what lasts: margin_pct for tolerances, and the model's own error.

    per_k_pct: what a kelvin at the glass is worth [% RH].
    """
    model_pct = per_k_pct * MODEL_MARGIN_K
    root_pct = sqrt(margin_pct * margin_pct + model_pct * model_pct)
    return root_pct + AT_ONCE * (margin_pct + model_pct - root_pct)
