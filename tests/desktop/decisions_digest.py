"""Every decision of a winter as one digest, with the build that made them; run by test_fast_build."""

import hashlib
import struct
import sys

from dewcore import controller
from dewsim import forecasts, housefile, policies, replay, weather
from dewsim.sensors import Sensors

SCAN_S = 20  # half as many as on a board, and still close enough for a slice of the look-ahead in each


class Digesting:
    """A controller that hashes each decision it passes on."""

    def __init__(self, settings):
        self.inner = controller.Controller(settings)
        self.settings = settings
        self.valve = self.inner.valve
        self.decision = self.inner.decision
        self.due = self.inner.due
        self.scans = 0

    def scan(self, readings, now_s):
        """The decision, digested to the last bit of every number."""
        d = self.inner.scan(readings, now_s)
        numbers = (d.target_pct, d.ceiling_pct, d.coldest_c, d.margin_k)
        codes = (d.valve, d.binds, d.refusals, d.notices, d.proof, d.hold_s)
        digest.update(struct.pack("<4d6q", *numbers, *codes))
        self.scans += 1
        return d


digest = hashlib.sha256()
house = housefile.load(replay.DEMO_HOUSE)
house.sensors.noise = 0.3  # so that the readings keep changing
sky = weather.winter(weather.read(sys.argv[1]))
one = replay.Replay(house, sky, 1, "house")
made = []


def make(settings):
    """The factory that run_controller calls; keeps the controller to count its scans."""
    made.append(Digesting(settings))
    return made[0]


course, sensors = one.course, Sensors(house, one.course, 1)
told = forecasts.Forecasts(course.outdoor_c, course.dt_s, one.clock[0], 1)
policies.run_controller(
    course, sensors, one.settings, one.clock, one.start_pct, controller_type=make, forecasts=told, scan_s=SCAN_S
)
build = "pure" if controller.__file__.endswith(".py") else "compiled"
print(build, made[0].scans, digest.hexdigest())
