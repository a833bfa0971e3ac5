"""Hours of a whole board in seconds: its own tasks on an event loop whose time is the virtual board's.

    board = Hours(config)                     a bench's board, and a link where there is a configuration for one
    board.run(seconds, before, after)         coroutines' makers: what is to be started first, and ended last
    board.beats                               (second, microsecond, valve, refusals, notices) of each beat

Sockets are real, and everything that waits on one is in this process: nothing comes later than at once.
"""

import asyncio
import selectors

from dewsim.bench_world import Bench


class WorldSelector(selectors.DefaultSelector):
    """Where nothing is to be read, time passes instead."""

    def __init__(self, world):
        super().__init__()
        self.world = world

    def select(self, timeout=None):
        """What is ready now, or else after the whole wait."""
        found = super().select(0)
        if not found and timeout:
            self.world.advance_us(int(timeout * 1e6) + 1)
            found = super().select(0)
        assert found or timeout is not None, "all wait for something that never comes"
        return found


class WorldLoop(asyncio.SelectorEventLoop):
    """Its time is the virtual board's."""

    def __init__(self, world):
        super().__init__(WorldSelector(world))
        self.world = world

    def time(self) -> float:
        """Seconds of the world."""
        return self.world.us / 1e6


class Net:
    """A network that is there."""

    address = "127.0.0.1"
    name_server = "127.0.0.1"


class Driven:
    """The app; before each beat the world moves on, and after it is noted what it decided."""

    def __init__(self, hours):
        self.hours = hours
        self.bench = hours.bench

    def __getattr__(self, name):
        return getattr(self.bench.app, name)

    def beat(self) -> None:
        """As the app's, in a house whose furnace heats every third ten minutes and whose air gets drier or not."""
        bench, app, hours = self.bench, self.bench.app, self.hours
        ten = app.clock.now_s() // 600
        heats = "on" if ten % 3 == 0 else "off"
        if heats != hours.heats:
            hours.heats = heats
            for name in ("heat_call", "fan"):
                bench.set(name, heats)
            bench.set("terminal", "live" if heats == "on" else "dead")
        bench.world.rh_pct = 20.0 + ten * 7 % 11
        bench.world.outdoor_c = -5.0 + ten * 5 % 13
        if hours.trouble:
            hours.trouble(bench)
        app.beat()
        decision = app.controller.decision
        hours.noted(app.now_s, bench.world.us, decision)


class Hours:
    """One board in one house; close() removes what it keeps on disk."""

    def __init__(self, config: dict | None = None, trouble=None):
        from dewboard import tasks

        self.tasks = tasks
        self.bench = Bench()
        self.trouble = trouble
        self.heats = ""
        self.beats: list = []
        self.link = None
        if config is not None:
            from dewboard.broker_config import full, problem_of
            from dewboard.link import Link

            assert problem_of(config) == "", problem_of(config)
            self.link = Link(self.bench.app, full(config), Net())

    def noted(self, now_s: int, us: int, decision) -> None:
        """One more beat."""
        self.beats.append((now_s, us, decision.valve, decision.refusals, decision.notices))

    def decisions(self) -> list:
        """What was decided in which second."""
        return [(beat[0], *beat[2:]) for beat in self.beats]

    def longest_gap_us(self) -> int:
        """Between two beats."""
        return max(later[1] - earlier[1] for earlier, later in zip(self.beats, self.beats[1:], strict=False))

    def run(self, seconds: int, before=None, after=None, has_lamp: bool = True) -> None:
        """So many seconds; has_lamp: False leaves lamp and buttons out, which take most of the time."""
        jobs = [("broker", self.link.stay_connected)] if self.link else []

        async def all_of_it():
            if before:
                await before()
            if has_lamp:
                work = [self.tasks.run(Driven(self), jobs)]
            else:
                work = [self.tasks.beats(Driven(self)), *[start() for _, start in jobs]]
            running = [asyncio.create_task(each) for each in work]
            await asyncio.sleep(seconds)
            for each in running:
                each.cancel()
            if after:
                await after()
                await asyncio.sleep(1)

        with asyncio.Runner(loop_factory=lambda: WorldLoop(self.bench.world)) as runner:
            runner.run(all_of_it())

    def close(self) -> None:
        """Nothing stays."""
        self.bench.close()
