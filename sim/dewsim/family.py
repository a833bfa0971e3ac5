"""A drawn house in a winter: its course, the shut house, the caps, the class they give, and runs of the controller."""

from array import array
from functools import cached_property

from dewcore.controller import SCAN_S
from dewsim import metrics, plant, policies, sampler, weather
from dewsim.sensors import Sensors

OVER_CAP_PCT = 1.0  # what a shortest run may overshoot the caps by, with room to spare
START_RH_PCT = plant.START_RH_PCT


def course_seed(seed: int, index: int) -> int:
    """The seed of house index's showers and cooking in the draw `seed`, and of its forecasts."""
    return seed * 1_000_003 + index


class Case:
    """House number index of the draw `seed` in the weather `sky`, with exact sensors and no tolerance.

    minutes: weather.states(sky), where the caller has it already.  scan_s: of the controller's runs.  Everything
    but the course is worked out when it is first asked for.
    """

    def __init__(self, sky, seed: int, index: int, minutes=None, scan_s: int = SCAN_S):
        self.seed, self.index = seed, index
        self.sky = sky
        self.scan_s = scan_s
        self.house = sampler.draw(seed, index, sampler.coldest_c(sky.outdoor_c))
        pressure_pa = sum(sky.pressure_pa) / len(sky.pressure_pa)
        self.course = plant.Course(
            self.house,
            minutes or weather.states(sky),
            sky.start_utc_s + sky.utc_offset_s,
            course_seed(seed, index),
            pressure_pa=pressure_pa,
        )

    @cached_property
    def settings(self):
        """The controller's, with no tolerance."""
        return policies.settings_for(self.house, self.house.name, exact=True)

    @cached_property
    def caps_pct(self) -> array:
        """The slow caps a step."""
        return policies.slow_caps_pct(self.course, self.settings)

    @cached_property
    def shut(self) -> policies.Run:
        """The house with the valve never opened."""
        return policies.run_shut(self.course, START_RH_PCT)

    @cached_property
    def mask(self) -> bytearray:
        """1 for each step of the heating season."""
        return metrics.season_mask(self.course)

    @cached_property
    def headroom(self) -> float:
        """R of the shut house."""
        return metrics.headroom(self.course, self.shut.w_g_kg)

    @property
    def headroom_class(self) -> str:
        """`clear`, `tight` or `foggy`."""
        return metrics.headroom_class(self.headroom)

    def controlled(self, settings, house=None, stop_when_wet=None, forecasts=None) -> policies.Run:
        """The decision code on this case; house: one with sensor errors, None for exact sensors."""
        sensors = Sensors(house or self.house, self.course, self.seed)
        clock = (self.sky.start_utc_s, self.sky.utc_offset_s)
        return policies.run_controller(
            self.course,
            sensors,
            settings,
            clock,
            START_RH_PCT,
            stop_when_wet=stop_when_wet,
            forecasts=forecasts,
            scan_s=self.scan_s,
        )

    def could_bind(self) -> bool:
        """Whether even a humidifier held a little above the caps adds a wet minute; if not, no reset can."""
        above = array("d", [cap + OVER_CAP_PCT if cap > 0.0 else 0.0 for cap in self.caps_pct])
        trace = plant.run_threshold(self.course, above, above, None, START_RH_PCT)
        return policies.added_wet_minutes(self.course, trace.w_g_kg, self.shut.w_g_kg) > 0

    def binds(self) -> bool:
        """Whether the plain reset without margin adds a wet minute."""
        if not self.could_bind():
            return False
        bare = policies.altered(policies.without_margin(self.settings), look_ahead=0)
        return self.controlled(bare, stop_when_wet=self.shut.w_g_kg).stopped_at is not None

    def block(self, run: policies.Run) -> dict:
        """The policy block of a run."""
        return metrics.policy_block(self.course, run, self.shut, self.mask, self.caps_pct, self.house)
