"""asyncio of MicroPython in the virtual board's time: where nothing is to be read, time passes instead.

    take_over(world)          before any task is made
    await_world(work)         runs a coroutine; sockets are real, and everything that waits on one is in this program
    longest_ms()              the longest real time between two looks at the sockets since the last call

What is scheduled for "now" has the interpreter's own time, which must lie before the world's: the world begins ahead.
With words of 32 bits ticks compare over six days only, so no run may take the world further than FARTHEST_S.
"""

import asyncio
import time
from asyncio import core

AHEAD_MS = 3600000
ARRIVES_MS = 20  # real time: a busy machine delivers later than at once
FARTHEST_S = 5 * 86400


class WorldPoller:
    """Instead of asyncio's own."""

    def __init__(self, poller, world):
        self.poller = poller
        self.register = poller.register
        self.modify = poller.modify
        self.unregister = poller.unregister
        self.world = world
        self.is_lively = False  # something was written or came, so that more may be on its way
        self.looked_ms = -1
        self.longest_ms = 0

    def ipoll(self, wait_ms):
        """What is ready now, or else after the whole wait."""
        now_ms = time.ticks_ms()
        if self.looked_ms >= 0:
            self.longest_ms = max(self.longest_ms, time.ticks_diff(now_ms, self.looked_ms))
        found = self.poller.poll(0)
        if not found and wait_ms and self.is_lively:
            found = self.poller.poll(ARRIVES_MS)
            self.is_lively = len(found) > 0
        if not found and wait_ms:
            if wait_ms < 0:
                raise RuntimeError("all wait for something that never comes")
            self.world.advance_us(1000 * wait_ms)
            found = self.poller.poll(0)
        self.looked_ms = time.ticks_ms()
        return found


def take_over(world):
    """From now on asyncio's time is the world's."""
    base_ms = time.ticks_add(time.ticks_ms(), AHEAD_MS)
    began_us = world.us
    core.ticks = lambda: time.ticks_add(base_ms, (world.us - began_us) // 1000)
    asyncio.new_event_loop()
    poller = core._io_queue.poller = WorldPoller(core._io_queue.poller, world)
    written = asyncio.StreamWriter.write

    def write(self, data):
        poller.is_lively = True
        return written(self, data)

    asyncio.StreamWriter.write = write


def longest_ms():
    """As said above; begins anew."""
    poller = core._io_queue.poller
    found = poller.longest_ms
    poller.longest_ms = 0
    poller.looked_ms = -1
    return found
