"""A bench's page behind real sockets, its loop in a thread of its own.

    with served(live) as made:       made: the `dewsim.bench_page.Served`, its ports known
"""

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from dewsim import bench_page


@contextmanager
def served(live) -> Iterator[bench_page.Served]:
    made = bench_page.Served(live)
    ready, running = threading.Event(), []

    def tell(_: str) -> None:
        running.extend((asyncio.get_running_loop(), asyncio.current_task()))
        ready.set()

    def run() -> None:
        with suppress(asyncio.CancelledError):
            asyncio.run(made.run(0, tell, signals=()))

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    assert ready.wait(10)
    try:
        yield made
    finally:
        loop, task = running
        loop.call_soon_threadsafe(task.cancel)
        thread.join(10)
        assert not thread.is_alive()
        live.bench.close()
