"""The house, stepped through a winter; runs on CPython and MicroPython.

Two passes.  The thermal side does not depend on humidity: the cooling of the supply air by evaporation,
about 0.7 kW for each kg/h, is not fed back.  So `Course` runs heating, fan, gains, air changes and glass once
for a house and a weather, and `Moisture` steps only water, as often as there are policies to compare.

    k dW/dt = n (W_out - W) + 1000 (G + h)/M - q        air and light things; W in g/kg, M = 1.2 V kg, hours
    q = K (phi - phi_b);  C dphi_b/dt = q                slow store; C = 0.157 r g/kg per % RH, K = C/tau_b
    dh/dt = (u H - h)/t_pad                              pad, while the fan runs; h is frozen without it
    C_th dT_in/dt = furnace - UA (T_in - T_out) + free   heat

The store balances phi = 100 W/W_sat (degree of saturation), which keeps the step linear; readings and
reports use the RH of vapour pressures, up to 0.6 % RH higher at the same W.  Each air step is the exact
exponential for conditions held over the step, and the same mean W goes into ventilation and store, so the
water balance closes to rounding.  Column k is the state at start + k*dt; fan, heat and valve k hold from
there to k + 1.
Not modelled: water leaving the air by condensation, rooms of unlike humidity (but see [room]), sun, sky,
summer time.
"""

from array import array
from math import cos, exp, log, pi, sqrt

from dewcore.psychro import (
    MOLAR_RATIO_G,
    STANDARD_PRESSURE_PA,
    humidity_ratio_g_kg,
    sat_surface_pa,
    sat_water_pa,
)

AIR_KG_M3 = 1.2  # dry air per volume; the house file's convention
STORE_G_KG_PCT = 0.157  # air capacity at 20 °C that r multiplies [g/kg per % RH]
THERMOSTAT_K = 0.3
AIRED_ABOVE_K = 2.5  # windows are opened above set point + this
AIRED_PER_MIN = 0.02  # share of that excess lost a minute
CYCLE_S = 1200  # fan cycle where the indoor temperature is fixed; an assumption
LEAST_AIR_CHANGES = 0.05
START_RH_PCT = 45.0
DAY_S = 86400
WEEK_MIN = 10080

# Sherman-Grimsrud stack and wind coefficients, (L/s)^2/(cm^4 K) and (L/s)^2/(cm^4 (m/s)^2): ASHRAE Handbook
# Fundamentals (2001 ch. 26, 2005 ch. 27), basic model, as printed in the EnergyPlus input-output reference.
STACK = (0.000145, 0.000290, 0.000435)  # 1, 2, 3 storeys
WIND = (  # shelter class 1 (no obstructions) to 5 (immediately adjacent buildings); 1, 2, 3 storeys
    (0.000319, 0.000420, 0.000494),
    (0.000246, 0.000325, 0.000382),
    (0.000174, 0.000231, 0.000271),
    (0.000104, 0.000137, 0.000161),
    (0.000032, 0.000042, 0.000049),
)
RATED_K = 20.0  # air_changes_per_h of the wind model is stated for 20 K and 4 m/s
RATED_M_S = 4.0

# Evaporation of a pad against that in 49 °C supply air: it follows the wet-bulb depression.
DUCT_C = (21.0, 32.0, 35.0, 40.0, 49.0, 60.0)
DUCT_SHARE = (0.34, 0.58, 0.65, 0.77, 1.0, 1.29)

# Moisture of people and bursts: assumptions of a household's day [kg, minutes of the day].
ASLEEP_KG_H = 0.040  # 23:00 to 07:00
AWAKE_KG_H = 0.055
AT_WORK = 0.4  # share left Monday to Friday, 08:00 to 17:00
SHOWER = (0.25, 15)  # kg, minutes
MORNING_SHOWER = (430, 35)  # mean and sd of the start, minute of day
EVENING_SHOWER = (1260, 50)
EVENING_SHOWER_CHANCE = 0.25
BREAKFAST = (0.2, 25, 430, 40)  # kg, minutes, mean and sd of the start
DINNER = (0.5, 50, 1080, 40)
LAUNDRY = (1.8, 240, 1080, 60)
LAUNDRY_CHANCE = 0.03

GAINS_STREAM = 1  # sensors have the next


class Chance:
    """Seeded 32-bit random numbers (a hashed Weyl sequence), alike on every interpreter."""

    __slots__ = ("_state",)

    def __init__(self, seed=0, stream=0, index=0):
        self._state = 0
        for part in (seed, seed >> 32, stream, index):
            self._state = (self._next() ^ part) & 0xFFFFFFFF

    def _next(self):
        self._state = z = (self._state + 0x9E3779B9) & 0xFFFFFFFF
        z = ((z ^ (z >> 16)) * 0x21F0AAAD) & 0xFFFFFFFF
        z = ((z ^ (z >> 15)) * 0x735A2D97) & 0xFFFFFFFF
        return z ^ (z >> 15)

    def share(self):
        """Uniform in (0, 1)."""
        return (self._next() + 0.5) / 4294967296.0

    def normal(self):
        """Standard normal (Box and Muller 1958)."""
        return sqrt(-2.0 * log(self.share())) * cos(2.0 * pi * self.share())


def clock_minute(text):
    """Minute of the day, 0..1439, of "HH:MM"."""
    return int(text[:2]) * 60 + int(text[3:])


def in_window(minute, start, end):
    """True from start up to end, minutes of the day; over midnight if end is earlier; never if equal."""
    if start <= end:
        return start <= minute < end
    return minute >= start or minute < end


def duct_share(supply_c):
    """Evaporation in supply air of supply_c [°C] over that at 49 °C; the end slopes go on, not below 0."""
    i = 0
    while i < len(DUCT_C) - 2 and supply_c > DUCT_C[i + 1]:
        i += 1
    slope = (DUCT_SHARE[i + 1] - DUCT_SHARE[i]) / (DUCT_C[i + 1] - DUCT_C[i])
    share = DUCT_SHARE[i] + slope * (supply_c - DUCT_C[i])
    return max(0.0, share)


def air_changes_per_h(rated_per_h, storeys, shelter, difference_k, wind_m_s):
    """Air changes [1/h] of the wind model; rated_per_h at 20 K and 4 m/s, storeys 1..3, shelter 1..5."""
    stack = STACK[storeys - 1]
    wind = WIND[shelter - 1][storeys - 1]
    n = rated_per_h * sqrt(
        (stack * abs(difference_k) + wind * wind_m_s * wind_m_s)
        / (stack * RATED_K + wind * RATED_M_S * RATED_M_S)
    )
    return max(LEAST_AIR_CHANGES, n)


def decay(x):
    """(1 - exp(-x))/x for x >= 0, by its series where the quotient would cancel."""
    if x < 0.05:
        return 1.0 - x / 2.0 * (1.0 - x / 3.0 * (1.0 - x / 4.0 * (1.0 - x / 5.0 * (1.0 - x / 6.0))))
    return (1.0 - exp(-x)) / x


def remainder(x):
    """(1 - decay(x))/x for x >= 0: the mean of a rate's effect over a step, as a share of the step."""
    if x < 0.05:
        return 0.5 * (1.0 - x / 3.0 * (1.0 - x / 4.0 * (1.0 - x / 5.0 * (1.0 - x / 6.0 * (1.0 - x / 7.0)))))
    return (1.0 - (1.0 - exp(-x)) / x) / x


def rh_pct(w_g_kg, indoor_c, pressure_pa=STANDARD_PRESSURE_PA):
    """RH over water [%] of air of humidity ratio w_g_kg [g/kg] at indoor_c [°C]."""
    return 100.0 * pressure_pa * w_g_kg / (MOLAR_RATIO_G + w_g_kg) / sat_water_pa(indoor_c)


def bursts(gains, seed, day):
    """Showers, cooking and laundry of one day: list of (start minute of that day, minutes, kg).

    Depends on the seed and the day (days since 1970-01-01, local) alone.  A start may lie outside the day.
    """
    chance = Chance(seed, GAINS_STREAM, day)
    found = []
    for _ in range(gains.people):
        kg, minutes = SHOWER
        found.append((MORNING_SHOWER[0] + MORNING_SHOWER[1] * chance.normal(), minutes, kg))
        evening = EVENING_SHOWER[0] + EVENING_SHOWER[1] * chance.normal()
        if chance.share() < EVENING_SHOWER_CHANCE:
            found.append((evening, minutes, kg))
    size = min(1.5, 0.4 + 0.2 * gains.people)
    for kg, minutes, mean, sd in (BREAKFAST, DINNER):
        start = mean + sd * chance.normal()
        found.append((start, minutes, kg * size * (0.4 + 1.2 * chance.share())))
    kg, minutes, mean, sd = LAUNDRY
    start = mean + sd * chance.normal()
    if chance.share() < LAUNDRY_CHANCE:
        found.append((start, minutes, kg))
    return [(start, minutes, kg * gains.extraction) for start, minutes, kg in found]


def column(n, code="d"):
    return array(code, bytes(n * (8 if code == "d" else 1)))


class Course:
    """What one winter does to one house apart from its humidity: columns a step, made once.

    house: as dewsim.housefile.House; minutes: outdoor_c [°C], outdoor_w_g_kg [g/kg], wind_m_s [m/s],
    n_steps, at dt_s; start_local_s: local standard time of step 0, seconds since 1970; seed: a whole
    number, of the bursts; dt_s: whole seconds, 1..3600; pressure_pa: of the indoor air.  ValueError for
    another dt_s or weather shorter than one step.

    Columns, index k at start + k*dt_s, array('d'): outdoor_c, outdoor_w_g_kg, indoor_c, supply_c [°C],
    glass_c (coldest room's), gain_kg_h, air_changes_per_h, sat_w_g_kg (over water, indoor air),
    wet_w_g_kg (main air's humidity ratio at which the coldest room's glass wets), capacity_kg_h (0 with the
    fan off), and for the moisture step dry_per_h (rate of return), source_g_kg_h, push_h, mean_h; array('b'):
    fan, heat, may_run (water allowed: fan, and heat where water needs it).  Columns that are equal may be one
    array: read them, do not change them.
    Constants: air_kg, kg_to_rate (g/kg per kg/h and hour), store_rate (g/kg/h per % RH), store_share
    (of the difference, a step), pad_keep, pad_mean, water_kg_h.
    """

    def __init__(self, house, minutes, start_local_s, seed, dt_s=60, pressure_pa=STANDARD_PRESSURE_PA):
        if not (isinstance(dt_s, int) and 1 <= dt_s <= 3600):
            raise ValueError("dt_s must be whole seconds, 1..3600")
        if not minutes.n_steps >= 1:
            raise ValueError("the weather is shorter than one step")
        self.house = house
        self.n_steps = minutes.n_steps
        self.start_local_s = int(start_local_s)
        self.seed = seed
        self.dt_s = dt_s
        self.dt_h = dt_s / 3600.0
        self.pressure_pa = pressure_pa
        self.outdoor_c = minutes.outdoor_c
        self.outdoor_w_g_kg = minutes.outdoor_w_g_kg
        self._constants()
        self._gains()
        if house.heating.thermal_time_h > 0.0:
            self._heated()
        else:
            self._fixed()
        self._fans()
        self._surfaces()
        self._air(minutes.wind_m_s)

    def _constants(self):
        house = self.house
        buffer = house.buffer
        self.two_nodes = buffer.nodes == 2
        self.air_factor = buffer.k if buffer.nodes > 0 else 1.0
        self.air_kg = AIR_KG_M3 * house.house.volume_m3
        self.kg_to_rate = 1000.0 / (self.air_kg * self.air_factor)
        self.store_rate = 0.0
        self.store_share = 0.0
        if self.two_nodes:
            self.store_rate = STORE_G_KG_PCT * buffer.r / buffer.tau_b_h / self.air_factor
            self.store_share = self.dt_h / buffer.tau_b_h
        pad_h = house.humidifier.pad_min / 60.0
        x = self.dt_h / pad_h if pad_h > 0.0 else 0.0
        self.pad_keep = exp(-x) if pad_h > 0.0 else 0.0
        self.pad_mean = decay(x) if pad_h > 0.0 else 0.0
        self.water_kg_h = house.humidifier.water_kg_h
        self.ventilation_per_h = house.house.ventilation_m3_h / house.house.volume_m3
        self.water_needs_heat = bool(house.settings.get("water_needs_heat", True))

    def _clock(self):
        """Second of the day of step 0."""
        return self.start_local_s % DAY_S

    def _by_minute(self, start, end, inside, outside):
        """Table of the day's minutes: inside from start to end ("HH:MM"), else outside."""
        start, end = clock_minute(start), clock_minute(end)
        return array("d", [inside if in_window(m, start, end) else outside for m in range(1440)])

    def _gains(self):
        """People and constant source at the middle of each step; bursts spread over the steps they touch."""
        gains = self.house.gains
        week = array("d", bytes(8 * WEEK_MIN))
        for m in range(WEEK_MIN):
            each = ASLEEP_KG_H if in_window(m % 1440, 1380, 420) else AWAKE_KG_H
            if m < 7200 and 480 <= m % 1440 < 1020:  # Monday to Friday
                each *= AT_WORK
            week[m] = gains.constant_kg_h + gains.people * each
        out = column(self.n_steps)
        dt = self.dt_s
        monday = self.start_local_s + 3 * DAY_S + dt // 2  # 1970-01-01 was a Thursday
        for k in range(self.n_steps):
            out[k] = week[(monday + k * dt) // 60 % WEEK_MIN]
        self.gain_kg_h = out
        if gains.bursts:
            first = self.start_local_s // DAY_S
            last = (self.start_local_s + self.n_steps * dt) // DAY_S
            for day in range(first - 1, last + 2):
                for start_min, minutes, kg in bursts(gains, self.seed, day):
                    self._spread(day * DAY_S - self.start_local_s + 60.0 * start_min, 60.0 * minutes, kg)

    def _spread(self, start_s, length_s, kg):
        dt = self.dt_s
        end_s = start_s + length_s
        k = max(0, int(start_s // dt))
        while k < self.n_steps and k * dt < end_s:
            overlap_s = min(end_s, (k + 1) * dt) - max(start_s, k * dt)
            self.gain_kg_h[k] += kg * overlap_s / length_s / self.dt_h
            k += 1

    def _set_points(self):
        house = self.house.house
        return self._by_minute(
            house.setback_from, house.setback_to, house.indoor_c - house.setback_k, house.indoor_c
        )

    def _heated(self):
        """Thermostat and furnace; each step the exact exponential for furnace and outdoor air held."""
        heating = self.house.heating
        sets = self._set_points()
        free_k = heating.free_heat_w / heating.ua_w_k
        furnace_k = free_k + 1000.0 * heating.furnace_kw / heating.ua_w_k
        keep = exp(-self.dt_h / heating.thermal_time_h)
        aired = 1.0 - (1.0 - AIRED_PER_MIN) ** (self.dt_s / 60.0)
        n, dt = self.n_steps, self.dt_s
        outdoor = self.outdoor_c
        self.indoor_c = indoor = column(n)
        self.heat = heat = column(n, "b")
        s = self._clock()
        t = sets[s // 60]
        on = 0
        for k in range(n):
            set_c = sets[s // 60]
            s = (s + dt) % DAY_S
            if t < set_c - THERMOSTAT_K:
                on = 1
            elif t > set_c + THERMOSTAT_K:
                on = 0
            indoor[k] = t
            heat[k] = on
            goal = outdoor[k] + (furnace_k if on else free_k)
            t = goal + (t - goal) * keep
            if t > set_c + AIRED_ABOVE_K:
                t -= aired * (t - set_c - AIRED_ABOVE_K)

    def _fixed(self):
        """Indoor temperature at the set point; its heat as cycles of whole minutes, remainder carried."""
        heating = self.house.heating
        sets = self._set_points()
        n, dt = self.n_steps, self.dt_s
        unit_s = max(60, dt)
        per_cycle = max(1, CYCLE_S // unit_s)
        outdoor = self.outdoor_c
        self.indoor_c = indoor = column(n)
        self.heat = heat = column(n, "b")
        s = self._clock()
        owed = 0.0
        cycle, units_on = -1, 0
        for k in range(n):
            set_c = sets[s // 60]
            s = (s + dt) % DAY_S
            indoor[k] = set_c
            unit = k * dt // unit_s
            if unit // per_cycle != cycle:
                cycle = unit // per_cycle
                watts = heating.ua_w_k * (set_c - outdoor[k]) - heating.free_heat_w
                owed += per_cycle * min(1.0, max(0.0, watts / (1000.0 * heating.furnace_kw)))
                units_on = int(owed + 0.5)
                owed -= units_on
            heat[k] = 1 if unit % per_cycle < units_on else 0

    def _fans(self):
        """Fan, supply air, permission for water and the pad's capacity."""
        heating, unit = self.house.heating, self.house.humidifier
        n = self.n_steps
        scale = unit.kg_h * unit.condition / duct_share(unit.supply_rating_c)
        hot_kg_h = scale * duct_share(heating.supply_c)
        supply_c = heating.supply_c
        always = heating.fan_continuous
        needs_heat = self.water_needs_heat
        heat, indoor = self.heat, self.indoor_c
        self.supply_c = supply = array("d", indoor)
        self.capacity_kg_h = capacity = column(n)
        self.fan = fan = column(n, "b") if always else heat
        self.may_run = heat if needs_heat or not always else fan
        for k in range(n):
            if heat[k]:
                supply[k] = supply_c
                capacity[k] = hot_kg_h
            elif always:
                capacity[k] = scale * duct_share(indoor[k])
            if always:
                fan[k] = 1

    def _surfaces(self):
        """Saturation indoors, the coldest room's glass, and the main air's humidity ratio at which it wets.

        The room is colder all day; its own moisture is added while curtains are drawn.
        """
        house = self.house
        glass = house.glass
        factors = self._by_minute(
            glass.curtains_from, glass.curtains_to, 1.0 - glass.f_night, 1.0 - glass.f_day
        )
        excess = self._by_minute(glass.curtains_from, glass.curtains_to, house.room.excess_g_kg, 0.0)
        colder_k = house.room.colder_k
        p, ratio, n, dt = self.pressure_pa, MOLAR_RATIO_G, self.n_steps, self.dt_s
        indoor, outdoor = self.indoor_c, self.outdoor_c
        self.sat_w_g_kg = sat = column(n)
        self.glass_c = cold = column(n)
        self.wet_w_g_kg = wet = column(n)
        s = self._clock()
        for k in range(n):
            minute = s // 60
            s = (s + dt) % DAY_S
            t = indoor[k]
            pa = sat_water_pa(t)
            sat[k] = ratio * pa / (p - pa)
            t -= colder_k
            across = t - outdoor[k]
            if across > 0.0:
                t -= factors[minute] * across
            cold[k] = t
            pa = sat_surface_pa(t)
            wet[k] = ratio * pa / (p - pa) - excess[minute]

    def _air(self, wind_m_s):
        """Air changes, and the coefficients of the moisture step."""
        house = self.house.house
        n, dt_h = self.n_steps, self.dt_h
        rated, storeys, shelter = house.air_changes_per_h, house.storeys, house.shelter
        follows = house.air_change_model == "wind"
        stack, wind = STACK[storeys - 1], WIND[shelter - 1][storeys - 1]
        unit = rated * rated / (stack * RATED_K + wind * RATED_M_S * RATED_M_S)
        stack, wind = unit * stack, unit * wind
        per_k, per_kg, store = 1.0 / self.air_factor, self.kg_to_rate, 100.0 * self.store_rate
        indoor, outdoor, w_out, gain = self.indoor_c, self.outdoor_c, self.outdoor_w_g_kg, self.gain_kg_h
        sat = self.sat_w_g_kg
        self.air_changes_per_h = changes = column(n)
        self.dry_per_h = dry = column(n)
        self.source_g_kg_h = source = column(n)
        self.push_h = push = column(n)
        self.mean_h = mean = column(n)
        floor = max(rated, LEAST_AIR_CHANGES)
        steady = self.ventilation_per_h
        for k in range(n):
            air = floor
            if follows:
                u = wind_m_s[k]
                air = sqrt(stack * abs(indoor[k] - outdoor[k]) + wind * u * u)
                if not air > LEAST_AIR_CHANGES:
                    air = LEAST_AIR_CHANGES
            air += steady
            changes[k] = air
            source[k] = air * per_k * w_out[k] + per_kg * gain[k]
            dry[k] = rate = air * per_k + store / sat[k]
            x = rate * dt_h
            push[k] = dt_h * decay(x)
            mean[k] = dt_h * remainder(x)


class Moisture:
    """The water in one house: state w_g_kg, phi_b_pct, pad_kg_h, and totals evaporated_kg, fed_kg, open_h.

    step(k, valve_share) goes from k to k + 1; steps are taken in order.  mean_w_g_kg is the mean over the
    last step.  phi_b_pct is on the scale of 100 W/W_sat.  Starts in equilibrium at rh_pct.
    """

    __slots__ = (
        "_capacity", "_dry", "_dt_h", "_fan", "_water_kg", "_keep", "_mean", "_pad_mean", "_per_kg", "_push",
        "_sat", "_share", "_source", "_store", "course", "evaporated_kg", "fed_kg", "mean_w_g_kg", "open_h",
        "pad_kg_h", "phi_b_pct", "w_g_kg",
    )  # fmt: skip

    def __init__(self, course, rh_pct=START_RH_PCT):
        c = self.course = course
        pa = 0.01 * rh_pct * sat_water_pa(c.indoor_c[0])
        self.w_g_kg = self.mean_w_g_kg = humidity_ratio_g_kg(pa, c.pressure_pa)
        self.phi_b_pct = 100.0 * self.w_g_kg / c.sat_w_g_kg[0]
        self.pad_kg_h = self.evaporated_kg = self.fed_kg = self.open_h = 0.0
        self._fan, self._capacity, self._source = c.fan, c.capacity_kg_h, c.source_g_kg_h
        self._dry, self._push, self._mean, self._sat = c.dry_per_h, c.push_h, c.mean_h, c.sat_w_g_kg
        self._dt_h, self._keep, self._pad_mean = c.dt_h, c.pad_keep, c.pad_mean
        self._per_kg, self._store, self._share = c.kg_to_rate, c.store_rate, c.store_share
        self._water_kg = c.water_kg_h * c.dt_h

    def step(self, k, valve_share):
        """One step with the valve open for valve_share (0..1) of it."""
        w = self.w_g_kg
        rate = self._source[k] - self._dry[k] * w
        if self._fan[k]:
            top = valve_share * self._capacity[k]
            over = self.pad_kg_h - top
            evaporated = top + over * self._pad_mean
            self.pad_kg_h = top + over * self._keep
            self.evaporated_kg += evaporated * self._dt_h
            rate += self._per_kg * evaporated
        if valve_share:
            self.fed_kg += self._water_kg * valve_share
            self.open_h += self._dt_h * valve_share
        store = self._store
        if store:
            phi_b = self.phi_b_pct
            rate += store * phi_b
            mean = w + rate * self._mean[k]
            self.phi_b_pct = phi_b + (100.0 * mean / self._sat[k] - phi_b) * self._share
        else:
            mean = w + rate * self._mean[k]
        self.mean_w_g_kg = mean
        self.w_g_kg = w + rate * self._push[k]

    def rh_pct(self, k):
        """True RH over water [%] of the main air at step k's indoor temperature."""
        w = self.w_g_kg
        sat = self._sat[k]
        return 100.0 * w * (MOLAR_RATIO_G + sat) / (sat * (MOLAR_RATIO_G + w))


class Trace:
    """One policy's winter: w_g_kg (array, state at each k), valve (array 0/1), the Moisture at its end."""

    __slots__ = ("end", "valve", "valve_starts", "w_g_kg")

    def __init__(self, n_steps=0):
        self.w_g_kg = column(n_steps)
        self.valve = column(n_steps, "b")
        self.end = None
        self.valve_starts = 0


def run_shut(course, start_rh_pct=START_RH_PCT):
    """Trace of the winter with the valve never opened."""
    n = course.n_steps
    trace = Trace(n)
    end = trace.end = Moisture(course, start_rh_pct)
    w, phi_b = end.w_g_kg, end.phi_b_pct
    out, store, share = trace.w_g_kg, course.store_rate, course.store_share
    columns = zip(course.source_g_kg_h, course.dry_per_h, course.push_h, course.mean_h, course.sat_w_g_kg)
    for k, (source, dry, push, mean, sat) in enumerate(columns):
        out[k] = w
        rate = source + store * phi_b - dry * w
        phi_b += (100.0 * (w + rate * mean) / sat - phi_b) * share
        w += rate * push
    end.w_g_kg, end.phi_b_pct = w, phi_b
    return trace


def run_threshold(course, on_below_pct, off_from_pct, sensors=None, start_rh_pct=START_RH_PCT):
    """Trace of a dial: demand from RH below on_below_pct[k] until off_from_pct[k], arrays of % RH a step.

    The valve is open on demand while course.may_run (no minimum times: a dial has none).  sensors: a Sensors
    whose reading the dial sees; a missing reading ends the demand.  None: the true RH.  The last column is the
    end of the winter: no step is taken from it.
    """
    n = course.n_steps
    trace = Trace(n)
    end = trace.end = Moisture(course, start_rh_pct)
    step, may_run, sat = end.step, course.may_run, course.sat_w_g_kg
    out, valve = trace.w_g_kg, trace.valve
    ratio = MOLAR_RATIO_G
    read = None if sensors is None or sensors.exact else sensors.rh
    demand = was = 0
    for k in range(n - 1):
        out[k] = w = end.w_g_kg
        rh = 100.0 * w * (ratio + sat[k]) / (sat[k] * (ratio + w))
        if read is not None:
            rh = read(k, rh)
        demand = 1 if rh < on_below_pct[k] or (demand and rh < off_from_pct[k]) else 0
        is_open = demand & may_run[k]
        if is_open:
            valve[k] = 1
            if not was:
                trace.valve_starts += 1
        was = is_open
        step(k, is_open)
    out[n - 1] = end.w_g_kg
    return trace


def rh_series_pct(course, w_g_kg):
    """array('d') of true RH over water [%] for humidity ratios w_g_kg at each step's indoor temperature."""
    ratio = MOLAR_RATIO_G
    return array(
        "d", (100.0 * w * (ratio + s) / (s * (ratio + w)) for w, s in zip(w_g_kg, course.sat_w_g_kg))
    )
