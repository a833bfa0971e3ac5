"""The live bench on a real board: its seconds are asked for by a thread of their own, and pages get what it heard last.

Whatever a page asks for waits for its turn between two seconds; nothing that a page does makes the board wait.
"""

import asyncio
import queue
import time
from concurrent.futures import Future

from dewsim import bench_live
from dewsim.errors import InputError

BEAT_S = 1.0
LAST_WORDS_S = 0.3  # for the pages, before the bench is gone
ENDED_HERE = (
    "This bench was ended on its computer: the board opens its contact and starts afresh, on its own inputs and out of "
    "service until the bench shim is taken off."
)
LACKS = (
    (
        "no-time",
        "#speed, #pause, [data-do*=beat], [data-do*=scan]",
        ({"do": "speed"}, {"do": "pause"}, {"do": "beat"}, {"do": "scan"}),
        "Speed, pause, one beat, one scan: not on a real board, whose second takes a second and never waits.",
    ),
    (
        "no-jump",
        "[data-do*=jump]",
        ({"do": "jump"},),
        "Coldest night: not on a real board, which cannot be told of a week that it did not live through.",
    ),
    (
        "no-weather",
        "#forecast option[value=weather]",
        ({"do": "forecast", "kind": "weather"},),
        "What the winter brings: not on a real board, to which the shim tells one temperature.",
    ),
    (
        "no-line",
        "[data-fit=has_line_sense]",
        ({"do": "fit", "name": "has_line_sense"},),
        "Line sense: stays fitted on a real board, whose line is watched as long as the bench lasts.",
    ),
)


class BoardLive(bench_live.Live):
    """bed: a `dewsim.bench_board.SeenBed`.  Over, it stays what it was, and says why in every frame."""

    lacks = LACKS
    first_beats = 1

    def __init__(self, house, sky, settings, bed):
        self.on_board = bed.name
        self.orders: queue.SimpleQueue = queue.SimpleQueue()
        self.tell = lambda: None
        super().__init__(house, sky, settings, bed)
        self._show()

    # what pages get

    def _show(self) -> None:
        """Whole and for good, so that no page sees it change."""
        self.shown = (self.frame(), self.first_point, list(self.points))
        self.tell()

    def newest(self) -> dict:
        return self.shown[0]

    def whole(self, at: int) -> dict:
        frame, kept_from, points = self.shown
        first = max(at, kept_from)
        return {**frame, "first": first, "points": points[first - kept_from :], "kept_from": kept_from}

    async def do(self, order: object) -> str:
        answer: Future = Future()
        self.orders.put((order, answer))
        return await asyncio.wrap_future(answer)

    def lamps(self) -> list:
        """As on simulated wires, with what of it is real."""
        own = "made up; its real one: " if self.bench.world.relay_fault else "the board's own: "
        return [
            (name, says, lit, (own if name == "relay" else "made up; ") + read)
            for name, says, lit, read in super().lamps()
        ]

    # the board's time

    async def run(self, publish) -> None:
        """Until cancelled, also where the board is gone: pages have to be told."""
        loop = asyncio.get_running_loop()
        self.tell = lambda: loop.call_soon_threadsafe(publish)
        work = loop.run_in_executor(None, self._work)
        try:
            await asyncio.shield(work)
        finally:
            self.orders.put(None)
            await asyncio.wait([work])
            self.ended = self.ended or ENDED_HERE
            self._show()
            await asyncio.sleep(LAST_WORDS_S)

    def _work(self) -> None:
        """A second when it is due, orders meanwhile; after the end only answers."""
        due_s = time.monotonic()
        while True:
            wait_s = due_s - time.monotonic()
            if wait_s <= 0 and not self.ended:
                self._try(self.step)
                due_s = max(due_s + BEAT_S, time.monotonic())
                continue
            try:
                asked = self.orders.get(timeout=None if self.ended else wait_s)
            except queue.Empty:
                continue
            if asked is None:
                return
            order, answer = asked
            answer.set_result(self.ended or self._try(lambda order=order: self.act(order)))

    def _try(self, do) -> str:
        """What do() refuses; a bed that has let go of its line is over."""
        try:
            said = do() or ""
        except InputError as problem:
            said = str(problem)
        if self.bench.bed.link.transport is None:
            self.ended = said
        self._show()
        return said

    def _hurry(self) -> None:
        """The board's next second comes when it is due."""
