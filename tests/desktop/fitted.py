"""A simulated house that is lived in and logged, and what a house fitted to its log foretells of days kept aside.

The owner does what the board asks for: looks at the window, confirms a window test, looks every ten minutes of it.
Measured are what `sensors.Sensors` reads; the glass, the air and what each look saw are those of the simulated house.
"""

import time
from copy import copy
from random import Random

import numpy as np

from dewcore import words
from dewcore.controller import Controller
from dewcore.readings import REQUEST_NONE, REQUEST_WINDOW, SAW_CLEAR, SAW_FOG, SAW_NOTHING
from dewcore.record import scaled
from dewsim import fit_series, log_replay, log_seasons, plant, policies, sensors, weather
from dewsim.logbase import LogBase
from dewsim.senml import PACKED, Batch, Record

DAY_MIN = 1440
TEST_S = 1800
AGAIN_MIN = 10
BATCH = 60


def part_of(sky, first_day: int, days: int):
    """Some days of a winter."""
    per_day = 86400 // sky.step_s
    start = first_day * per_day
    return weather.part_of(sky, start, start + days * per_day + 1, sky.start_utc_s + first_day * 86400, "a part")


class Lived:
    """A house, its sensors and its owner through some days; columns a minute: measured values, looks, the true air."""

    def __init__(self, house, sky, seed: int, scan_s: int = 60, wrong_looks: float = 0.0):
        self.house, self.sky = house, sky
        pressure_pa = sum(sky.pressure_pa) / len(sky.pressure_pa)
        start_local_s = sky.start_utc_s + sky.utc_offset_s
        self.course = plant.Course(house, weather.states(sky), start_local_s, seed, pressure_pa=pressure_pa)
        self.start_pct = policies.start_rh_pct(self.course)
        self.settings = policies.settings_for(house, house.name)
        self.settings.change({"window_test_allowed": 1})
        self.sensors = sensors.Sensors(house, self.course, seed)
        self.chance = Random(f"owner {seed}")
        self.wrong_looks = wrong_looks
        self.come_min = self.next_look = -1
        self._live(scan_s)

    def _live(self, scan_s: int) -> None:
        course = self.course
        n = course.n_steps - 1
        self.w_g_kg, self.rh_pct, self.valve = np.zeros(n), np.zeros(n), np.zeros(n)
        self.look = np.full(n, np.nan)
        self.moisture = plant.Moisture(course, self.start_pct)
        bench = policies._Wiring(course, self.sensors, Controller(self.settings), self._clock(), scan_s)
        scans = course.dt_s // scan_s
        for k in range(n):
            self.w_g_kg[k] = self.moisture.w_g_kg
            bench.at_step(k, self.moisture, course.dt_s * k)
            self.rh_pct[k] = bench.readings.rh_pct.value
            self._owner(k, bench)
            count = bench.run_scans(scans, course.dt_s * k)
            bench.readings.look = SAW_NOTHING
            self.valve[k] = count / scans
            self.moisture.step(k, self.valve[k])

    def _clock(self) -> tuple:
        return self.sky.start_utc_s, self.sky.utc_offset_s

    def _owner(self, k: int, bench) -> None:
        """Comes by once in a morning, later in a day too, and does what is asked for."""
        local_min = self.course.start_local_s // 60 + k
        readings, notices = bench.readings, bench.controller.decision.notices
        if local_min % DAY_MIN == 0:
            self.come_min = local_min + self.chance.randrange(300, 600)
        if readings.request == REQUEST_WINDOW:
            if not bench.controller.window.testing:
                readings.request = REQUEST_NONE
            elif local_min >= self.next_look:
                self._look(k, readings, local_min)
            return
        wanted = notices & (1 << words.LOOK_NOW | 1 << words.LOOK_AND_TEST)
        if not wanted or local_min < self.come_min:
            return
        self.come_min = local_min + 180
        self._look(k, readings, local_min)
        if wanted >> words.LOOK_AND_TEST & 1 and readings.look != SAW_FOG:
            readings.request = REQUEST_WINDOW
            readings.request_until_s = self.course.dt_s * k + TEST_S

    def _look(self, k: int, readings, local_min: int) -> None:
        fog = self.w_g_kg[k] >= self.course.wet_w_g_kg[k]
        if self.chance.random() < self.wrong_looks:
            fog = not fog
        readings.look = SAW_FOG if fog else SAW_CLEAR
        self.look[k] = readings.look
        self.next_look = local_min + AGAIN_MIN

    def minutes(self, first: int, end: int):
        """(local second of the end, record) of minutes first to end."""
        course = self.course
        for k in range(first, end):
            yield course.start_local_s + 60 * (k + 1), {
                "outdoor_c": self.sensors.outdoor_c[k],
                "indoor_c": self.sensors.indoor_c[k],
                "rh_pct": float(self.rh_pct[k]),
                "glass_c": None,
                "ceiling_pct": None,
                "target_pct": None,
                "fan": float(course.fan[k]),
                "valve": float(self.valve[k]),
                "reason": 31 if self.valve[k] else 16,
                "look": None if np.isnan(self.look[k]) else int(self.look[k]),
            }

    def season(self, first: int, end: int):
        """Those minutes as a log's season."""
        found: dict = {}
        for local_s, values in self.minutes(first, end):
            log_seasons.put(found, local_s, values | {"reason": "open"})
        return log_seasons.closed(found)[-1]

    def write_log(self, path: str, end: int, device: str = "attic", change=lambda k, record: record) -> None:
        """Those minutes into a log in this machine's local time; change: gives a Record as stored, None for none."""
        base = LogBase(path)
        after, batch = base.mark(device), []
        with base.transaction():
            for k, (local_s, values) in enumerate(self.minutes(0, end)):
                numbers = tuple(
                    None if values[name] is None else scaled(values[name], code, scale)
                    for name, _, code, scale, _, _ in PACKED
                )
                record = change(k, Record(1, k, local_s + time.timezone, 0, numbers))
                batch += [record] if record else []
                if len(batch) == BATCH or batch and k == end - 1:
                    base.add(device, Batch(after, after, batch), 0)
                    after, batch = batch[-1][:2], []
        base.close()

    def dry_downs(self, starts: list) -> list:
        """What the true air loses [g/kg] in the day after each of these minutes with the valve shut."""
        moisture = plant.Moisture(self.course, self.start_pct)
        found = []
        for k in range(max(starts) + 1):
            if k in starts:
                found.append(moisture.w_g_kg - shut_day(moisture, k))
            moisture.step(k, self.valve[k])
        return found

    def valve_g_kg_h(self) -> float:
        """What an hour of open valve adds to the air, by the simulated pad."""
        return self.moisture.evaporated_kg * self.course.kg_to_rate / max(self.moisture.open_h, 1e-9)


def shut_day(moisture, k: int) -> float:
    """W [g/kg] a day after step k with the valve shut."""
    moisture = copy(moisture)
    for step in range(k, k + DAY_MIN):
        moisture.step(step, 0.0)
    return moisture.w_g_kg


def foretold_dry_downs(fitted, season, starts: list) -> list:
    """The same by the fitted house, from what the log says of air and store at each of these minutes."""
    series, house, balance = fit_series.Series(season), fitted.house, fitted.balance
    course = usual_course(house, series)
    steps = fit_series.Steps(series, house)
    store_pct = steps.store_by_minute(balance.tau_b_h)
    moments = fit_series.uniform_filter1d(series.w_g_kg, fit_series.SMOOTH_MIN)
    moisture = plant.Moisture(course)
    found = []
    for k in starts:
        moisture.w_g_kg = moments[k] - 0.01 * balance.rh_error_pct * series.sat_g_kg[k]
        start_pct = balance.store_start_pct * np.exp(-k / 60.0 / balance.tau_b_h)
        moisture.phi_b_pct = store_pct[k] + start_pct - balance.rh_error_pct
        moisture.pad_kg_h = 0.0
        found.append(moisture.w_g_kg - shut_day(moisture, k))
    return found


def usual_course(house, series):
    """The fitted house on the log's weather, its bursts as usual instead of drawn."""
    calm = copy(house)
    calm.gains = copy(house.gains)
    calm.gains.bursts = False
    sky = log_replay.weather_of(series, "kept aside")
    course = plant.Course(calm, weather.states(sky), series.start_local_s, 0)
    usual = house.gains.extraction * fit_series.bursts_kg_h(house.gains.people)
    for k in range(course.n_steps):
        course.source_g_kg_h[k] += course.kg_to_rate * usual[(series.start_local_s // 60 + k) % DAY_MIN]
    return course
