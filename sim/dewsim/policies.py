"""What a winter is compared under: the valve never opened, the luckiest dial, and the controller scan for scan."""

from array import array

from dewcore import ceiling
from dewcore.controller import SCAN_S, Controller
from dewcore.outdoors import OutdoorHistory
from dewcore.psychro import MOLAR_RATIO_G, sat_surface_pa, sat_water_pa
from dewcore.readings import OFF, ON, Readings
from dewcore.settings import TABLE, SettingError, Settings, row_of
from dewsim import plant
from dewsim.errors import InputError, shown
from dewsim.housefile import nearest, shown_name

DIAL_STEP_PCT = 0.5
DIAL_LOWEST_PCT = 5.0
DIAL_BAND_PCT = 0.7  # the controller's own default band, so that neither gains by it
CURTAIN_LEEWAY_MIN = 30  # nobody draws curtains to the minute
SETTING_NAMES = [row[0] for row in TABLE]  # not __slots__: a compiled class has none
ABOVE_CHECKED = 3  # dial settings tried above the one that bisection finds
DAY_STEPS = 1440
START_RH_PCT = plant.START_RH_PCT


class Run:
    """One policy's winter, a value a minute (house step k to k + 1; w_g_kg at its start, the last at the end).

    w_g_kg [g/kg]; valve: scans (of scans_per_step) or 0/1 with the valve open; evaporated_kg_h; and for the
    controller target_pct, ceiling_pct, margin_k, reason (number of the first refusal, 31 open), binds, notices.
    """

    def __init__(self, n_steps: int, scans_per_step: int):
        self.w_g_kg = array("d", bytes(8 * n_steps))
        self.valve = array("b", bytes(n_steps))
        self.scans_per_step = scans_per_step
        self.valve_starts = 0
        self.end: plant.Moisture | None = None
        self.decided = False
        self.setting_pct: float | None = None
        self.stopped_at: int | None = None
        self.learned: Controller | None = None  # as the winter left it

    def add_decisions(self, n_steps: int) -> None:
        """Columns only a controller fills."""
        self.decided = True
        self.evaporated_kg_h = array("f", bytes(4 * n_steps))
        self.target_pct = array("f", bytes(4 * n_steps))
        self.ceiling_pct = array("f", bytes(4 * n_steps))
        self.margin_k = array("f", bytes(4 * n_steps))
        self.reason = array("b", bytes(n_steps))
        self.binds = array("b", bytes(n_steps))
        self.notices = array("i", bytes(4 * n_steps))


EXACT = {"rh_tolerance_pct": 0.0, "indoor_tolerance_k": 0.0, "outdoor_tolerance_k": 0.0, "f_tolerance": 0.0}


def settings_for(house, place: str, exact: bool = False) -> Settings:
    """The controller's settings for a house file: what it says of glass, walls, room and sensors, then [settings].

    exact: no tolerance at all, so no tolerance margin.  InputError, starting with place, where the controller's
    own table refuses.
    """
    f_error = 0.0 if exact else house.sensors.f_error
    _check_names_and_error(house, place, f_error)
    values = {
        "glass_f_day": house.glass.f_day + f_error,
        "glass_f_night": house.glass.f_night + f_error,
        "corner_f": house.walls.corner_f,
        "vapour_excess_pa": house.walls.vapour_excess_pa,
        "cap_pct": house.walls.cap_pct,
        "wish_pct": max(house.walls.cap_pct, row_of("wish_pct")[2]),  # a higher cap is meant to be used
        **curtain_hours(house.glass),
        "room_colder_k": house.room.colder_k,
        "room_excess_g_kg": house.room.excess_g_kg,
    }
    values.update({name: getattr(house.sensors, name) for name in EXACT})
    values.update(house.settings)
    if exact:
        values.update(EXACT)
    settings = Settings()
    try:
        settings.change(values)
    except SettingError as error:
        raise InputError(f"{place}: [settings] {shown(str(error), 400)}") from error
    return settings


def _check_names_and_error(house, place: str, f_error: float) -> None:
    """What the controller's table would refuse too, but at a place that the owner did not write."""
    for name in house.settings:
        if name not in SETTING_NAMES:
            known = nearest(name, SETTING_NAMES)
            raise InputError(f"{place}: [settings] {shown_name(name)}: no such setting; {known}")
    for name, setting in (("f_day", "glass_f_day"), ("f_night", "glass_f_night")):
        f = getattr(house.glass, name)
        _, _, _, lowest, highest = row_of(setting)
        if setting not in house.settings and not lowest <= f + f_error <= highest:
            raise InputError(
                f"{place}: sensors.f_error: found {f_error:g}, with which the controller believes "
                f"{f + f_error:g} for glass.{name} = {f:g}; allowed is {lowest:g} to {highest:g}; correct one of them"
            )


def curtain_hours(glass) -> dict:
    """The hours in which the controller takes the curtains as drawn: the house's, half an hour wider at both ends.

    Where the house never draws them, the controller's own hours stand.
    """
    first, last = plant.clock_minute(glass.curtains_from), plant.clock_minute(glass.curtains_to)
    if first == last:
        return {}
    if (last - first) % 1440 + 2 * CURTAIN_LEEWAY_MIN >= 1440:
        return {"curtains_from_min": 0, "curtains_to_min": 1439}
    return {
        "curtains_from_min": (first - CURTAIN_LEEWAY_MIN) % 1440,
        "curtains_to_min": (last + CURTAIN_LEEWAY_MIN) % 1440,
    }


def altered(settings: Settings, **values) -> Settings:
    """A copy with some values set, outside the table's bounds if need be: for comparison only."""
    copy = Settings()
    for name in SETTING_NAMES:
        setattr(copy, name, values.get(name, getattr(settings, name)))
    return copy


def without_margin(settings: Settings) -> Settings:
    """A copy with neither fixed nor tolerance margin."""
    return altered(settings, plain_margin_k=0.0, **EXACT)


def start_rh_pct(course) -> float:
    """RH [%] in air and store at the start: 45, or what the first day's air and gains settle at if that is drier.

    A winter file that starts in December would else begin with a house far more humid than that month allows.
    """
    n = min(course.n_steps, DAY_STEPS * 60 // course.dt_s)
    settled = 0.0
    for k in range(n):
        added = 1000.0 * course.gain_kg_h[k] / (course.air_kg * course.air_changes_per_h[k])
        settled += plant.rh_pct(course.outdoor_w_g_kg[k] + added, course.indoor_c[k], course.pressure_pa) / n
    return min(START_RH_PCT, settled)


def slow_caps_pct(course, settings: Settings) -> array:
    """Highest target [% RH] a step that corner, envelope and owner allow; 0 while the season is over.

    The same functions and means as the controller's, on the true temperatures: every policy obeys them.
    """
    caps = array("d", bytes(8 * course.n_steps))
    history = OutdoorHistory()
    top = min(settings.cap_pct, settings.wish_pct)
    over = False
    fresh = True
    mean_c = allowed_pa = 0.0
    for k in range(course.n_steps):
        outdoor_c = course.outdoor_c[k]
        if fresh or history.count == 0:
            mean_c = history.mean_c(outdoor_c)
            outdoor_pa = history.mean_vapour_pa(outdoor_c, settings.outdoor_rh_pct)
            allowed_pa = 100.0 * (outdoor_pa + settings.vapour_excess_pa)
            over = history.season_over(over, outdoor_c, settings.season_max_c)
        indoor_c = course.indoor_c[k]
        indoor_sat_pa = sat_water_pa(indoor_c)
        corner_pct = ceiling.dry_corner_pct(indoor_sat_pa, indoor_c, mean_c, settings.corner_f)
        if not over:
            caps[k] = min(top, allowed_pa / indoor_sat_pa, corner_pct)
        fresh = history.note(outdoor_c, course.dt_s, settings.outdoor_rh_pct)
    return caps


def run_shut(course, start_pct: float) -> Run:
    """The house with the valve never opened."""
    trace = plant.run_shut(course, start_pct)
    run = Run(0, 1)
    run.w_g_kg, run.valve, run.end = trace.w_g_kg, trace.valve, trace.end
    return run


def run_dial(course, caps_pct: array, setting_pct: float, start_pct: float) -> Run:
    """A dial left at setting_pct [%] all winter, under the same caps, while fan (and heat) run."""
    off = array("d", [cap if cap < setting_pct else setting_pct for cap in caps_pct])
    on = array("d", [limit - DIAL_BAND_PCT for limit in off])
    trace = plant.run_threshold(course, on, off, None, start_pct)
    run = Run(0, 1)
    run.w_g_kg, run.valve, run.end = trace.w_g_kg, trace.valve, trace.end
    run.valve_starts = trace.valve_starts
    run.setting_pct = setting_pct
    return run


def room_w_g_kg(course, k: int, w_g_kg: float) -> float:
    """Humidity ratio [g/kg] of the coldest room's air at step k, with its own excess, from the main air's."""
    pa = sat_surface_pa(course.glass_c[k])
    return w_g_kg + MOLAR_RATIO_G * pa / (course.pressure_pa - pa) - course.wet_w_g_kg[k]


def added_wet_minutes(course, w_g_kg: array, shut_w_g_kg: array) -> int:
    """Steps, in minutes, at which this house's glass is wet and the shut house's dry."""
    wet = course.wet_w_g_kg
    steps = sum(1 for w, s, x in zip(w_g_kg[1:], shut_w_g_kg[1:], wet[1:]) if w >= x > s)
    return steps * course.dt_s // 60


def luckiest_dial(course, caps_pct: array, shut: Run, start_pct: float, progress=None) -> Run:
    """The best constant setting in hindsight that adds no wet minute, step 0.5 % RH; `shut` where none does.

    Found by bisection; more water never dries the glass, so only the band's phase could break the order: the
    next three settings above are tried too.
    """
    steps = int((settings_top(caps_pct) - DIAL_LOWEST_PCT) / DIAL_STEP_PCT + 1.5)
    best, low, high = None, -1, steps

    def attempt(n: int) -> Run | None:
        if progress:
            progress()
        run = run_dial(course, caps_pct, DIAL_LOWEST_PCT + DIAL_STEP_PCT * n, start_pct)
        return run if added_wet_minutes(course, run.w_g_kg, shut.w_g_kg) == 0 else None

    while high - low > 1:
        middle = (low + high) // 2
        run = attempt(middle)
        if run is None:
            high = middle
        else:
            best, low = run, middle
    for n in range(low + 2, min(low + 2 + ABOVE_CHECKED, steps)):
        best = attempt(n) or best
    if best is None:
        shut.setting_pct = None
        return shut
    return best


def settings_top(caps_pct: array) -> float:
    """The highest setting worth trying [%]: above the highest cap a dial only repeats itself."""
    return max(max(caps_pct), DIAL_LOWEST_PCT)


def run_controller(  # fmt: skip
    course, sensors, settings, clock, start_pct: float, progress=None, stop_when_wet=None, controller_type=Controller,
    forecasts=None, scan_s: int = SCAN_S,
) -> Run:
    """The real decision code, scan for scan every scan_s (10) seconds, on the house's steps.

    clock: (utc_s of step 0, utc_offset_s).  stop_when_wet: the shut house's w_g_kg; then the run ends at the
    first added wet step and `stopped_at` tells which.  progress(share) is called once a simulated day.
    controller_type: the benchmark's, one that decides nothing.  forecasts: a feed's Forecasts, None for no feed.
    """
    n, scans = course.n_steps, course.dt_s // scan_s
    run = Run(n, scans)
    run.add_decisions(n)
    house = run.end = plant.Moisture(course, start_pct)
    controller = run.learned = controller_type(settings)
    bench = _Wiring(course, sensors, controller, clock, scan_s)
    if forecasts is not None:
        forecasts.rewind()
    step, run_scans, decision = house.step, bench.run_scans, controller.decision
    out, opened, evaporated, wet = run.w_g_kg, run.valve, run.evaporated_kg_h, course.wet_w_g_kg
    for k in range(n - 1):  # the last column is the end of the winter: no step is taken from it
        out[k] = w = house.w_g_kg
        if stop_when_wet is not None and k and w >= wet[k] > stop_when_wet[k]:
            run.stopped_at = k
            break
        now_s = k * scans * scan_s
        bench.at_step(k, house, now_s)
        if forecasts is not None:
            forecasts.at_step(k, bench.readings)
        opened[k] = count = run_scans(scans, now_s)
        before_kg = house.evaporated_kg
        step(k, count / scans)
        evaporated[k] = (house.evaporated_kg - before_kg) / course.dt_h
        note(run, k, decision)
        if progress and k % DAY_STEPS == 0:
            progress(k / n)
    out[n - 1] = house.w_g_kg
    note(run, n - 1, decision)
    run.valve_starts = bench.valve_starts
    return run


def note(run: Run, k: int, decision) -> None:
    run.target_pct[k] = decision.target_pct
    run.ceiling_pct[k] = decision.ceiling_pct
    run.margin_k[k] = decision.margin_k
    refusals = decision.refusals
    run.reason[k] = (refusals & -refusals).bit_length() - 1 if refusals else 31
    run.binds[k] = decision.binds
    run.notices[k] = decision.notices


class _Wiring:
    """The board's side of the replay: the house's state as Readings, the contacts of the default circuit.

    The furnace's accessory terminal (line) is live while the fan runs; the load behind the contact while the
    line is live and the valve is commanded open.
    """

    def __init__(self, course, sensors, controller: Controller, clock, scan_s: int):
        self.scan_s = scan_s
        self.course = course
        self.sensors = sensors
        self.controller = controller
        self.settings = controller.settings
        self.valve = controller.valve
        self.utc_start_s = clock[0]
        self.was_open = False
        self.valve_starts = 0
        self.readings = r = Readings()
        r.utc_offset_s = clock[1]
        for contact in (r.leak, r.overflow, r.off_switch, r.absent, r.drain_wet):
            contact.set(OFF, 0)
        self.main = (r.indoor_c, r.rh_pct, r.outdoor_c)
        for sample in self.main:
            sample.error = 0
        self.extra = []
        self.line = r.line_sense
        self.load = r.load_sense
        self.fan = -1
        self.heat = -1

    def run_scans(self, scans: int, now_s: int) -> int:
        """The scans of one house step from now_s on; the number of them after which the valve was open."""
        at_scan, due, scan = self.at_scan, self.controller.due, self.controller.scan
        readings, utc_start_s, was_open, scan_s = self.readings, self.utc_start_s, self.was_open, self.scan_s
        contacts = readings.contacts
        count = 0
        for _ in range(scans):
            at_scan(now_s)
            readings.utc_s = utc_start_s + now_s
            if due(contacts, now_s):
                is_open = scan(readings, now_s).valve
                if is_open and not was_open:
                    self.valve_starts += 1
                was_open = is_open
            if was_open:
                count += 1
            now_s += scan_s
        self.was_open = was_open
        return count

    def at_step(self, k: int, house, now_s: int) -> None:
        """New values once a house step; `at_scan` says that they are read again at each scan."""
        c = self.course
        r = self.readings
        r.indoor_c.value = self.sensors.indoor_c[k]
        r.outdoor_c.value = self.sensors.outdoor_c[k]
        true_pct = house.rh_pct(k)
        r.rh_pct.value = true_pct if self.sensors.exact else self.sensors.rh(k, true_pct)
        fan, heat = c.fan[k], c.heat[k]
        if fan != self.fan or heat != self.heat:
            self.fan, self.heat = fan, heat
            r.fan.set(fan, now_s)
            r.heat_call.set(heat, now_s)
            self.line.set(fan, now_s)
        s = self.settings
        if s.has_drain_wet:
            r.drain_wet.set(ON if self.valve.open and fan else OFF, now_s)
        if s.has_glass or s.has_supply or s.has_room:
            self._extra(k, house, now_s)

    def _extra(self, k: int, house, now_s: int) -> None:
        c = self.course
        r = self.readings
        s = self.settings
        r.glass_c.set(c.glass_c[k] - s.glass_offset_k, now_s)
        r.supply_c.set(c.supply_c[k], now_s)
        room_c = c.indoor_c[k] - c.house.room.colder_k
        room_w = room_w_g_kg(c, k, house.w_g_kg)
        r.room_c.set(room_c - s.room_offset_k, now_s)
        r.room_rh_pct.set(min(99.0, plant.rh_pct(room_w, room_c, c.pressure_pa)), now_s)

    def at_scan(self, now_s: int) -> None:
        """The main sensors are read at every scan; the load follows line and command."""
        indoor, rh, outdoor = self.main
        indoor.at_s = rh.at_s = outdoor.at_s = now_s
        live = 1 if self.valve.open and self.fan == 1 else 0
        load = self.load
        if load.state != live:
            load.set(live, now_s)
