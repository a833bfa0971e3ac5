"""Drawn houses, classed: which of the sampler's houses are clear and binding in a winter, and what each policy does."""

from array import array

from dewsim import metrics, plant, policies, sampler, weather

OVER_CAP_PCT = 1.0  # what a shortest run may overshoot the caps by, with room to spare
START_RH_PCT = plant.START_RH_PCT


class Case:
    """One drawn house in one winter: its course, the shut house, the caps, and the class they give."""

    def __init__(self, sky, seed: int, index: int):
        self.seed, self.index = seed, index
        self.sky = sky
        self.house = sampler.draw(seed, index, sampler.coldest_c(sky.outdoor_c))
        pressure_pa = sum(sky.pressure_pa) / len(sky.pressure_pa)
        self.course = plant.Course(
            self.house,
            weather.states(sky),
            sky.start_utc_s + sky.utc_offset_s,
            seed * 1_000_003 + index,
            pressure_pa=pressure_pa,
        )
        self.settings = policies.settings_for(self.house, self.house.name, exact=True)
        self.caps_pct = policies.slow_caps_pct(self.course, self.settings)
        self.shut = policies.run_shut(self.course, START_RH_PCT)
        self.headroom = metrics.headroom(self.course, self.shut.w_g_kg)
        self.headroom_class = metrics.headroom_class(self.headroom)
        self.mask = metrics.season_mask(self.course)

    def controlled(self, settings, house=None, stop_when_wet=None) -> policies.Run:
        """The decision code on this case; house: one with sensor errors, None for exact sensors."""
        sensors = plant.Sensors(house or self.house, self.course, self.seed)
        clock = (self.sky.start_utc_s, self.sky.utc_offset_s)
        return policies.run_controller(
            self.course, sensors, settings, clock, START_RH_PCT, stop_when_wet=stop_when_wet
        )

    def could_bind(self) -> bool:
        """Whether even a humidifier held a little above the caps adds a wet minute; if not, no reset can."""
        above = array("d", [cap + OVER_CAP_PCT if cap > 0.0 else 0.0 for cap in self.caps_pct])
        trace = plant.run_threshold(self.course, above, above, None, START_RH_PCT)
        return policies.added_wet_minutes(self.course, trace.w_g_kg, self.shut.w_g_kg) > 0

    def binds(self) -> bool:
        """Whether the reset without margin adds a wet minute."""
        if not self.could_bind():
            return False
        bare = policies.without_margin(self.settings)
        return self.controlled(bare, stop_when_wet=self.shut.w_g_kg).stopped_at is not None

    def block(self, run: policies.Run) -> dict:
        """The policy block of a run."""
        return metrics.policy_block(self.course, run, self.shut, self.mask, self.caps_pct, self.house)
