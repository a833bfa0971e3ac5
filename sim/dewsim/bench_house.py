"""A simulated house that drives the bench's inputs, minute by minute, wherever no person does."""

from dewsim import bench_inputs as inputs
from dewsim import forecasts, plant, policies, thinning, weather

SEED = 1
MINUTE_S = 60
HOUR_STEPS = 60
WEEK_H = 168
DRIVEN = (
    "outdoor_c", "indoor_c", "rh_pct", "glass_c", "supply_c", "room_c", "room_rh_pct", "fan", "heat_call", "terminal",
    "drain",
)  # fmt: skip


class DrivingHouse:
    """One house in one winter.  k: the minute of it; held: the inputs that a person drives; moisture: its water."""

    def __init__(self, house, sky):
        self.house = house
        self.sky = sky
        start_local_s = sky.start_utc_s + sky.utc_offset_s
        pressure_pa = sum(sky.pressure_pa) / len(sky.pressure_pa)
        self.course = plant.Course(house, weather.states(sky), start_local_s, SEED, pressure_pa=pressure_pa)
        self.held = set(DRIVEN)
        self.follows_weather = False  # the forecast
        self.open_s = 0
        self.place(0)

    def place(self, k: int) -> None:
        """To minute k, the valve shut until then."""
        self.moisture = plant.Moisture(self.course, policies.start_rh_pct(self.course))
        for step in range(k):
            self.moisture.step(step, 0.0)
        self.k = k
        self.open_s = 0
        self.forecasts = forecasts.Forecasts(
            self.course.outdoor_c, self.course.dt_s, self.sky.start_utc_s, SEED, perfect=True
        )

    @property
    def utc_s(self) -> int:
        """Of minute k."""
        return self.sky.start_utc_s + MINUTE_S * self.k

    def coldest_noon(self) -> int:
        """The minute at which the day of the coldest night begins."""
        return thinning.coldest_window(self.course)[0]

    def remember_week(self, bench) -> None:
        """The outdoor history that a board which ran the week before minute k would have."""
        history = bench.app.controller.judge.history
        outdoor_c = self.course.outdoor_c
        for back in range(WEEK_H, 0, -1):
            first = self.k - back * HOUR_STEPS
            if first >= 0:
                mean_c = sum(outdoor_c[first : first + HOUR_STEPS]) / HOUR_STEPS
                history.note(mean_c, 3600, bench.app.settings.outdoor_rh_pct)

    def second(self, bench) -> None:
        """After each beat: what the valve let through; each minute the house goes on and shows itself."""
        if bench.world.valve_powered:
            self.open_s += 1
        if bench.seconds % MINUTE_S == 0:
            self._minute(bench)

    def _minute(self, bench) -> None:
        if self.k + 2 < self.course.n_steps:
            self.moisture.step(self.k, self.open_s / MINUTE_S)
            self.k += 1
        self.open_s = 0
        if len(self.held) < len(DRIVEN):
            self.show(bench)
            if self.k % HOUR_STEPS == 0:
                bench.tell_time(self.utc_s, self.sky.utc_offset_s)
        if self.follows_weather:
            self.forecasts.at_step(self.k, bench.app.readings)

    def show(self, bench) -> None:
        """Put the house's state onto every wire and chip that no person holds."""
        for name, value in self.state(bench).items():
            if name not in self.held:
                inputs.put(bench.world, name, value)

    def state(self, bench) -> dict:
        """What the sensors of this house would show."""
        c, k = self.course, self.k
        room_c = c.indoor_c[k] - c.house.room.colder_k
        room_pct = plant.rh_pct(policies.room_w_g_kg(c, k, self.moisture.w_g_kg), room_c, c.pressure_pa)
        fan = "on" if c.fan[k] else "off"
        return {
            "outdoor_c": c.outdoor_c[k],
            "indoor_c": c.indoor_c[k],
            "rh_pct": min(99.0, self.moisture.rh_pct(k)),
            "glass_c": c.glass_c[k],
            "supply_c": c.supply_c[k],
            "room_c": room_c,
            "room_rh_pct": min(99.0, room_pct),
            "fan": fan,
            "heat_call": "on" if c.heat[k] else "off",
            "terminal": "live" if c.fan[k] else "dead",
            "drain": "wet" if bench.world.valve_powered and c.fan[k] else "dry",
        }
