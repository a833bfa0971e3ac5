"""What runs beside the beat: started, watched, started again a bounded number of times, then safe mode."""

import asyncio
import gc

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewboard.shapes import Awaitable, Callable, Job

BEAT_MS = 1000
ATTEND_MS = 50
AGAIN_S = 2  # from a task's end to its next start
RESTARTS = 3  # of one task within TROUBLE_S
TROUBLE_S = 600


async def beats(app: "App") -> None:
    """A beat each second by the board's own counter; a late one is made up for by the next ones' times."""
    clock = app.clock
    due_ms = clock.ticks_ms()
    while True:
        app.beat()
        due_ms = clock.ticks_add(due_ms, BEAT_MS)
        wait_ms = clock.ticks_diff(due_ms, clock.ticks_ms())
        if wait_ms < -BEAT_MS:
            due_ms = clock.ticks_ms()
            wait_ms = 0
        await asyncio.sleep(max(0, wait_ms) / 1000)


async def attending(app: "App") -> None:
    """Lamp and buttons."""
    while True:
        app.attend()
        await asyncio.sleep(ATTEND_MS / 1000)


async def watched(app: "App", name: str, start: "Callable[[], Awaitable[None]]") -> None:
    """Run start(), again whenever it ends; too often within ten minutes is safe mode, and the end of that task."""
    ended_s: "list[int]" = []
    while True:
        try:
            await start()
            why = "it returned"
        except Exception as problem:  # noqa: BLE001 - whatever it is, it is told, and the task starts again
            why = repr(problem)
        gc.collect()  # it may have ended for want of memory, and what follows takes some
        app.counters.restarted_tasks += 1
        app.events.add("task " + name + " ended: " + why)
        ended_s = [at_s for at_s in ended_s if 0 <= app.now_s - at_s < TROUBLE_S]
        ended_s.append(app.now_s)
        if len(ended_s) > RESTARTS:
            app.stand_down("task " + name + " ended too often")
            return
        await asyncio.sleep(AGAIN_S)


async def run(app: "App", others: "list[Job]") -> None:
    """The beat, lamp and buttons, and others: pairs (name, function that starts a coroutine).  Returns never.

    The beat is no watched task: what ends it ends the program, whose last words open the contact and reset the chip.
    """
    tasks = [asyncio.create_task(watched(app, "lamp", lambda: attending(app)))]
    for name, start in others:
        tasks.append(asyncio.create_task(watched(app, name, start)))
    await beats(app)
