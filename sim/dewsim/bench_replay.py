"""Speed and memory of a replay: simulated seconds per wall second, with the share of each part."""

import resource
import tempfile
import time
from pathlib import Path

from dewcore.controller import Controller, Decision
from dewcore.valve import Valve
from dewsim import housefile, plant, policies, replay, weather
from dewsim.sensors import Sensors

UNBIASED_RUNS = 3  # the best of these: other work on the machine only ever adds time


class Undecided:
    """The controller's place without its work: what the loop around it costs."""

    def __init__(self, settings) -> None:
        self.settings = settings
        self.valve = Valve(settings)
        self.decision = Decision()

    def due(self, contacts: list, now_s: int) -> bool:
        """Always."""
        return True

    def scan(self, readings, now_s: int) -> Decision:
        """The same shut decision each time."""
        return self.decision


def best_s(work) -> float:
    """Least wall time [s] of a few runs of work()."""
    times = []
    for _ in range(UNBIASED_RUNS):
        started = time.perf_counter()
        work()
        times.append(time.perf_counter() - started)
    return min(times)


def run(house_path: str, weather_path: str, seed: int) -> int:
    """Measure one house and winter on one core and print ratios."""
    house = housefile.House() if house_path == "default" else housefile.load(house_path)
    sky = weather.winter_of(weather_path)
    one = replay.Replay(house, sky, seed, house_path)
    course = one.course
    minutes = weather.states(sky)
    simulated_s = course.n_steps * course.dt_s

    def decided(controller_type) -> policies.Run:
        sensors = Sensors(house, course, seed)
        return policies.run_controller(
            course, sensors, one.settings, one.clock, one.start_pct, controller_type=controller_type
        )

    def thermal() -> None:
        plant.Course(house, minutes, course.start_local_s, seed, pressure_pa=course.pressure_pa)

    kept = decided(Controller)
    with tempfile.TemporaryDirectory() as folder:
        parts = {
            "house, thermal side": best_s(thermal),
            "house, moisture and wiring": best_s(lambda: decided(Undecided)),
            "decision": best_s(lambda: decided(Controller)),
            "record": best_s(lambda: replay.write_record(one, kept, Path(folder) / "record.csv")),
        }
    parts["decision"] -= parts["house, moisture and wiring"]
    total_s = sum(parts.values())
    print(f"{simulated_s / 86400:.0f} days at {policies.SCAN_S} s scans, one core")
    print(f"simulated seconds per wall second: {simulated_s / total_s:,.0f}")
    for name, wall_s in parts.items():
        print(f"  {name:28} {100 * wall_s / total_s:5.1f} %   {simulated_s / wall_s:>13,.0f} simulated s per s alone")
    print(f"peak memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    return 0
