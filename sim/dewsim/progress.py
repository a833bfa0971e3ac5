"""Progress of long work: one line on stderr that a terminal overwrites and a log gets rarely."""

import sys
import time


class Line:
    """One line on a stream: overwritten on a terminal four times a second at most, elsewhere every 10 s a new one."""

    def __init__(self, stream):
        self.stream = stream
        self.every_s = 0.25 if stream.isatty() else 10.0
        self.shown_s = time.monotonic()
        self.width = 0

    def is_due(self) -> bool:
        """Whether it is time to show something again."""
        return time.monotonic() - self.shown_s >= self.every_s

    def show(self, text: str) -> None:
        """Show it, due or not."""
        self.shown_s = time.monotonic()
        if self.stream.isatty():
            self.stream.write("\r" + text.ljust(self.width))
            self.width = len(text)
        else:
            self.stream.write(text + "\n")
        self.stream.flush()

    def end(self) -> None:
        """Leave a clean line."""
        if self.width:
            self.stream.write("\r" + " " * self.width + "\r")
            self.stream.flush()
            self.width = 0


class Progress:
    """Share of the work done and the time left, as a Line; without a stream it shows nothing.

    `stage` names a part and the share (0..1) where it starts and ends; `share` moves within it.  part: from where to
    where (0..1) all stages to come lie, where the same work is done twice.
    """

    def __init__(self, stream=None, title: str = ""):
        self.line = None if stream is None else Line(stream)
        self.title = title
        self.started = time.monotonic()
        self.name = ""
        self.low = self.high = 0.0
        self.part = (0.0, 1.0)
        self.beats = 0

    @classmethod
    def on_terminal(cls, title: str) -> "Progress":
        """Progress on stderr."""
        return cls(sys.stderr, title)

    def __enter__(self) -> "Progress":
        return self

    def __exit__(self, *_: object) -> None:
        if self.line:
            self.line.end()

    def stage(self, name: str, low: float, high: float | None = None) -> None:
        """A new part of the work, from share low to high."""
        self.name, self.low, self.high = name, low, low if high is None else high
        self.beats = 0
        self.share(0.0)

    def share(self, done: float) -> None:
        """`done` (0..1) of the present stage."""
        if self.line is None or not self.line.is_due():
            return
        begins, ends = self.part
        overall = begins + (ends - begins) * (self.low + (self.high - self.low) * done)
        left = ""
        if overall > 0.02:
            left = f", {(time.monotonic() - self.started) * (1.0 - overall) / overall:.0f} s left"
        self.line.show(f"{self.title}: {100 * overall:3.0f} % {self.name}{left}")

    def beat(self) -> None:
        """Something happened whose share is not known."""
        self.beats += 1
        self.share(min(1.0, self.beats / 10.0))
