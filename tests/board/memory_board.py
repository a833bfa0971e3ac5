"""The board of tests/acceptance/page_memory.py: decision, page and a beat, measured while it is asked for pages."""

import loaded_board  # isort: skip - before what only this test has

import asyncio
import gc

from page_app import App

SIMULATED = loaded_board.simulated()


def serve(port):
    """Serves until told to stop, then prints what was alive when."""
    gc.collect()
    marks = [gc.mem_alloc()]
    app = App()
    app.start()
    app.run(3600)
    app.image = bytes([1]) + bytes(52)
    gc.collect()
    marks.append(gc.mem_alloc())
    from dewboard.guard import Guard
    from dewboard.page import Page

    guard = Guard(app.hosts)
    page = Page(app, guard)
    app.history = Flash(app)
    gc.collect()
    marks.append(gc.mem_alloc())
    most = [0]
    sent = page.sent
    page.sent = lambda view: measured(sent(view), most)

    async def main():
        guard.add("GET", "/stop", stop)
        await guard.start_server("127.0.0.1", port)

    async def stop(_):
        guard.shutdown()
        return "stopping"

    async def beats():
        while True:
            await asyncio.sleep(1)
            app.beat()

    async def both():
        beat = asyncio.create_task(beats())
        await main()
        beat.cancel()

    print("ready")
    asyncio.run(both())
    gc.collect()
    print("measured", *marks, most[0], gc.mem_alloc())


def measured(pieces, most):
    """The pieces, and the most that was alive at any of them."""
    for piece in pieces:
        gc.collect()
        most[0] = max(most[0], gc.mem_alloc())
        yield piece


class Flash:
    """A day of records that takes no heap, as one in flash: the row is the same each time."""

    def __init__(self, app):
        from dewcore.record import pack

        self.boot = 7
        self.now_s = 0
        self.data = pack({"outdoor_c": -6.0, "rh_pct": 30.0, "ceiling_pct": 38.0, "target_pct": 31.0, "fan": 0.5})

    def day(self, utc_s, now_s):
        """A record a minute."""
        for minute in range(1440, 0, -1):
            self.now_s = now_s - 60 * minute
            yield self
