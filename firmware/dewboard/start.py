"""From power-on to the beat: a window for whoever wants in, then settings, watchdog, app and tasks."""

import select
import sys
import time

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewboard.clock import Clock
    from dewboard.pins import Pin, Pins
    from dewboard.shapes import Callable, Job
    from dewboard.wifi import Wifi

FOLDER = "kept"
WINDOW_MS = 3000
WATCHDOG_MS = 7000
COLLECT_BYTES = 4096  # of garbage, between two collections: what lives on is then close together
PAUSE_S = 10  # before another try, where not even the pins could be opened


def wants_in() -> bool:
    """Whether a key came on the serial line within 3 s: then it stays at its prompt, contact open, no watchdog."""
    print("dewmargin: press any key within 3 s to stop here")
    poll = select.poll()
    poll.register(sys.stdin, select.POLLIN)
    return bool(poll.poll(WINDOW_MS))


def keep_memory_tidy() -> None:
    """Collect every few beats, not only when the heap is full: what lives on is then not scattered all over it."""
    import gc

    gc.collect()
    gc.threshold(COLLECT_BYTES)


def build(pins: "Pins", clock: "Clock", folder: str) -> "App":
    """The app over these pins, with what `folder` keeps; arms the watchdog."""
    from dewboard import VERSION, release
    from dewboard.app import App
    from dewboard.hardware import Hardware
    from dewboard.keep import Keep
    from dewcore.board import RESET_WATCHDOG
    from dewcore.settings import Settings

    damage = release.problem()
    settings = Settings()
    keep = Keep(folder, settings)
    hardware = Hardware(pins, clock, settings, pins.watchdog(WATCHDOG_MS), keep.codes)
    app = App(hardware, clock, settings, keep, VERSION)
    if pins.reset_cause() == RESET_WATCHDOG:
        app.counters.watchdog_resets += 1
        app.events.add("started again by the watchdog")
    if damage:
        app.stand_down("the program is damaged: " + damage, for_good=True)
    return app


def keep_out(app: "App") -> None:
    """With the bench shim on it the board is out of service, and says so; the shim itself is not even loaded."""
    from dewboard import release
    from dewcore.words import BENCH_SHIM, REFUSALS

    if release.has_shim():
        print("dewmargin: " + REFUSALS[BENCH_SHIM][1])
        app.controller.stands_for = BENCH_SHIM
        app.stand_down("the bench shim is on it", for_good=True)


def others(app: "App") -> "list[Job]":
    """What runs beside the beat: (name, function that starts it)."""
    from dewboard.guard import Guard
    from dewboard.page import Page
    from dewboard.wifi import Wifi

    wifi = Wifi(app, app.keep.wifi)
    guard = Guard(wifi.names)
    Page(app, guard)
    found: "list[Job]" = [("wifi", wifi.stay_joined), ("page", lambda: guard.start_server(port=80))]
    if app.keep.broker:
        found += broker(app, wifi)
    return found


def broker(app: "App", net: "Wifi") -> "list[Job]":
    """The link to a broker, where one is given and nothing is wrong with what is given; else none, and why."""
    import dewboard
    from dewboard.broker_config import full, problem_of

    problem = problem_of(app.keep.broker)
    config = full(app.keep.broker)
    for name in ("broker_config", "dns"):  # not needed again, or loaded again where it is: their memory is needed
        del sys.modules["dewboard." + name]
        delattr(dewboard, name)
    if problem:
        app.events.add("broker: " + problem)
        return []
    try:
        from dewboard.link import Link

        link = Link(app, config, net)
    except MemoryError:  # no broker is a reason to start over and over
        app.events.add("broker: this board has too little memory for it")
        return []
    app.leave = link.leave
    return [("broker", link.stay_connected)]


def main(relay_pin: "Pin", reset: "Callable[[], None]") -> None:
    """For good; whatever ends it, the contact is open, and the chip starts afresh.

    relay_pin: the relay's, low; reset: the chip's.  Returns only to whoever pressed a key in the window.
    """
    if wants_in():
        return
    pins = app = None
    is_asked = False
    try:
        import asyncio

        from dewboard.clock import Clock
        from dewboard.pins import open_pins
        from dewboard.tasks import run

        keep_memory_tidy()
        pins = open_pins()
        app = build(pins, Clock(time), FOLDER)
        keep_out(app)
        asyncio.run(run(app, others(app)))
    except KeyboardInterrupt:  # somebody stops it from the serial line
        is_asked = True
    except Exception as problem:  # noqa: BLE001 - told on the serial line, for whoever listens
        print("dewmargin: stopped:", repr(problem))
    finally:
        try:
            relay_pin.value(0)
            if pins is None:
                time.sleep(PAUSE_S)
            if app is not None:
                finish(app, is_asked)
        finally:  # a second Ctrl-C ends what goes before, never the reset
            reset()


def finish(app: "App", is_asked: bool) -> None:
    """What was learned since the last write, as far as it still can; the reset follows.

    is_asked: whether the end was asked for; of any other the broker is told by the will.
    """
    try:
        app.keep.finish(app)
        if is_asked and app.leave is not None:
            app.leave()
    except Exception as problem:  # noqa: BLE001 - the reset must come, whatever is lost
        print("dewmargin: not stored:", repr(problem))
