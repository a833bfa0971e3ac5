"""Does a board's single precision decide and learn as well as double?  A winter in a drawn house, under both.

    DEWMARGIN_MICROPYTHON=/path/to/micropython python tests/acceptance/single_winter.py hard:3 --houses 2

The first clear houses of the sampler in which the glass binds.  The simulated house runs here, the decision once here
and once on the MicroPython given, which answers each minute's readings with its valve: what it decides comes back to it
as what it reads.  Told of both: what is learned after 60 days and at the end, mean RH, added wet minutes and share of
`best`.  Some six minutes a house.  MicroPython imports this very file.
Exit status 1 where single precision adds more wet minutes than double, or a share differs by over 2 points; 2 without
such a MicroPython; of the first 200 draws fewer houses than asked for are an error, too.
"""

import sys

MOST_POINTS = 2.0
MOST_DRAWS = 200
DAY_60 = 60 * 1440
HEAP = "1000k"


def answer():
    """Runs on MicroPython: readings in, a line a scan; the decision out."""
    from dewcore.controller import Controller
    from dewcore.readings import OFF, Readings
    from dewcore.settings import Settings

    controller = None
    readings = Readings()
    for contact in (readings.leak, readings.overflow, readings.off_switch, readings.absent, readings.drain_wet):
        contact.set(OFF, 0)
    while True:
        words = sys.stdin.readline().split()
        if not words:
            return
        if words[0] == "settings":
            settings = Settings()
            settings.change({words[n]: number(words[n + 1]) for n in range(1, len(words), 2)})
            controller = Controller(settings)
        elif words[0] == "forecast":
            readings.forecast_issued_s = readings.forecast_start_s = int(words[1])
            for n in range(len(words) - 2):
                readings.forecast_dc[n] = int(words[n + 2])
        elif words[0] == "learned":
            print(" ".join([repr(value) for value in learned(controller)]))
        else:
            now_s = int(words[0])
            readings.utc_s, readings.utc_offset_s = int(words[1]), int(words[2])
            readings.indoor_c.set(float(words[3]), now_s)
            readings.rh_pct.set(float(words[4]), now_s)
            readings.outdoor_c.set(float(words[5]), now_s)
            for contact, state in zip((readings.fan, readings.heat_call, readings.line_sense), words[6:9]):
                contact.set(int(state), now_s)
            readings.load_sense.set(int(words[9]), now_s)
            d = controller.scan(readings, now_s)
            print(1 if d.valve else 0, d.refusals, d.notices, d.target_pct, d.ceiling_pct, d.margin_k, d.binds)


def number(word):
    """A setting as it was: whole or not."""
    return float(word) if "." in word or "e" in word else int(word)


def learned(controller):
    """(drying, store, valve's effect, mean gain, highest burst, alone) of the learned house."""
    house = controller.outlook.house
    mean_gain = sum(house.gains) / 24.0
    return house.dry_per_h, house.store_per_h, house.valve_g_kg_h, mean_gain, max(house.peaks), house.alone


class Remote:
    """A controller elsewhere: what a replay asks of one, answered by `answer` on MicroPython."""

    def __init__(self, settings, process):
        from dewcore.controller import Decision
        from dewcore.settings import TABLE
        from dewcore.valve import Valve

        self.settings, self.decision, self.valve, self.process = settings, Decision(), Valve(settings), process
        self.issued_s = 0
        self.day_60 = None
        names = [row[0] for row in TABLE]
        self.send("settings " + " ".join(f"{name} {getattr(settings, name)!r}" for name in names))

    def send(self, line):
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def due(self, contacts, now_s):
        return True

    def scan(self, readings, now_s):
        r, d = readings, self.decision
        if r.forecast_issued_s != self.issued_s:
            self.issued_s = r.forecast_issued_s
            self.send(f"forecast {self.issued_s} " + " ".join(str(value) for value in r.forecast_dc))
        if now_s == 60 * DAY_60:
            self.day_60 = self.learned()
        states = (r.fan.state, r.heat_call.state, r.line_sense.state, r.load_sense.state)
        values = (now_s, r.utc_s, r.utc_offset_s, r.indoor_c.value, r.rh_pct.value, r.outdoor_c.value) + states
        self.send(" ".join(repr(value) for value in values))
        words = self.process.stdout.readline().split()
        if len(words) != 7:
            raise SystemExit("single_winter: MicroPython ended; its own words are above")
        valve, refusals, notices, target, ceiling, margin, binds = words
        d.valve = self.valve.open = valve == "1"  # its load behind the contact is live then
        d.refusals, d.notices, d.binds = int(refusals), int(notices), int(binds)
        d.target_pct, d.ceiling_pct, d.margin_k = float(target), float(ceiling), float(margin)
        return d

    def learned(self):
        self.send("learned")
        return tuple(float(word) for word in self.process.stdout.readline().split())


def here(controller_type):
    """The decision on this Python, which notes what it has learned after 60 days."""

    class Here(controller_type):
        def __init__(self, settings):
            super().__init__(settings)
            self.day_60 = None

        def scan(self, readings, now_s):
            if now_s == 60 * DAY_60:
                self.day_60 = learned(self)
            return super().scan(readings, now_s)

        def learned(self):
            return learned(self)

    return Here


def main() -> int:
    """Runs on CPython: the houses, each under both, and what differs."""
    import argparse
    import os
    import subprocess
    from pathlib import Path

    path = Path(__file__).resolve()
    root = path.parents[2]
    sys.path[:0] = [str(root / part) for part in ("shared", "sim", "tests")]
    from run_both import find_micropython, micropython_version

    from dewcore.controller import Controller
    from dewsim import family, houses, metrics, weather, winters

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("winter")
    parser.add_argument("--houses", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    micropython = find_micropython(os.environ, sys.executable)
    if micropython is None:
        print("single_winter: no MicroPython found; name one in DEWMARGIN_MICROPYTHON", file=sys.stderr)
        return 2
    version = micropython_version(micropython)
    print(version)
    if "single floats, 32-bit words" not in version:
        print("single_winter: a build with single floats and 32-bit words is needed", file=sys.stderr)
        return 2
    kind, _, seed = arguments.winter.partition(":")
    sky = winters.invent(int(seed), kind) if kind in winters.KINDS else weather.winter_of(arguments.winter)
    good, found = True, 0
    for index in range(MOST_DRAWS):
        if found == arguments.houses:
            break
        case = family.Case(sky, arguments.seed, index, houses.minutes_of(sky), houses.SCAN_S)
        if metrics.wet_minutes(case.course, case.shut.w_g_kg) > 600 or case.headroom_class != "clear":
            continue
        perfect, why = houses.filtered(case)
        if why or not case.binds():
            continue
        found += 1
        print(f"{arguments.winter} house {index}", flush=True)
        double = of(case, perfect, here(Controller))
        with subprocess.Popen(
            [micropython, "-X", "heapsize=" + HEAP, "-c", "import single_winter\nsingle_winter.answer()"],
            env=dict(os.environ, MICROPYPATH=f"{root}/shared:{path.parent}"),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        ) as process:
            single = of(case, perfect, lambda settings, process=process: Remote(settings, process))
            process.stdin.close()
        good = abs(single[0] - double[0]) <= MOST_POINTS and single[1] <= double[1] and good
    return 0 if good and found == arguments.houses else 1


def of(case, perfect, made) -> tuple:
    """(share of best [%], added wet minutes) of one winter; printed with what was learned."""
    from dewsim import family, houses, policies
    from dewsim.forecasts import Forecasts
    from dewsim.sensors import Sensors

    course, sky = case.course, case.sky
    settings = policies.settings_for(case.house, case.house.name, exact=True)
    sent = Forecasts(course.outdoor_c, course.dt_s, sky.start_utc_s, family.course_seed(case.seed, case.index))
    run = policies.run_controller(
        course,
        Sensors(case.house, course, case.seed),
        settings,
        (sky.start_utc_s, sky.utc_offset_s),
        family.START_RH_PCT,
        controller_type=made,
        forecasts=sent,
        scan_s=60,
    )
    shut, best, own = (houses.outcome(case, one, None) for one in (case.shut, perfect, run))
    share = 100.0 * (own["mean_rh_pct"] - shut["mean_rh_pct"]) / (best["mean_rh_pct"] - shut["mean_rh_pct"])
    minutes = own["added_wet_minutes"]
    for what, values in (("day 60", run.learned.day_60), ("end", run.learned.learned())):
        row = "  ".join(f"{value:.4f}" for value in values)
        print(f"  {type(run.learned).__name__:7}{what:7} drying, store, valve, gain, burst, alone: {row}")
    print(f"  {type(run.learned).__name__:7}mean RH {own['mean_rh_pct']:.3f} %, share {share:.2f} %, {minutes} min wet")
    return share, minutes


if __name__ == "__main__" and sys.implementation.name == "cpython":
    sys.exit(main())
