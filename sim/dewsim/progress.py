"""Progress of long work: one line on stderr that a terminal overwrites and a log gets rarely."""

import sys
import time


class Progress:
    """Share of the work done, shown at most four times a second on a terminal and every 10 s elsewhere.

    Without a stream it shows nothing.  `stage` names a part and the share (0..1) where it starts and ends;
    `share` moves within it.
    """

    def __init__(self, stream=None, title: str = ""):
        self.stream = stream
        self.title = title
        self.started = time.monotonic()
        self.interval_s = 0.25 if stream is not None and stream.isatty() else 10.0
        self.shown = self.started
        self.width = 0
        self.name = ""
        self.low = self.high = 0.0
        self.beats = 0

    @classmethod
    def on_terminal(cls, title: str) -> "Progress":
        """Progress on stderr."""
        return cls(sys.stderr, title)

    def __enter__(self) -> "Progress":
        return self

    def __exit__(self, *_: object) -> None:
        if self.width:
            self.stream.write("\r" + " " * self.width + "\r")
            self.stream.flush()
            self.width = 0

    def stage(self, name: str, low: float, high: float | None = None) -> None:
        """A new part of the work, from share low to high."""
        self.name, self.low, self.high = name, low, low if high is None else high
        self.beats = 0
        self.share(0.0)

    def share(self, done: float) -> None:
        """`done` (0..1) of the present stage."""
        now = time.monotonic()
        if self.stream is None or now - self.shown < self.interval_s:
            return
        self.shown = now
        overall = self.low + (self.high - self.low) * done
        left = ""
        if overall > 0.02:
            left = f", {(now - self.started) * (1.0 - overall) / overall:.0f} s left"
        text = f"{self.title}: {100 * overall:3.0f} % {self.name}{left}"
        if self.stream.isatty():
            self.stream.write("\r" + text.ljust(self.width))
            self.width = len(text)
        else:
            self.stream.write(text + "\n")
        self.stream.flush()

    def beat(self) -> None:
        """Something happened whose share is not known."""
        self.beats += 1
        self.share(min(1.0, self.beats / 10.0))
