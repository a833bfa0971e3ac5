"""Whole monotonic seconds from a millisecond counter that wraps.

    Clock(time)     `time`: a module or object with ticks_ms, ticks_diff, ticks_add, ticks_us, sleep_us of MicroPython
    .now_s()        whole seconds since the Clock was made; to be called at least once in six days
    .ticks_ms() .ticks_us() .ticks_diff(later, earlier) .sleep_us(us)     the module's own, for driver code
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.shapes import Callable, Ticks


class Clock:
    """Seconds that never jump: ticks_ms starts again after 2**30 ms (12.4 days), the sum of its steps does not."""

    __slots__ = ("ticks_ms", "ticks_us", "ticks_diff", "ticks_add", "sleep_us", "last_ms", "rest_ms", "seconds")

    def __init__(self, time: "Ticks") -> None:
        self.ticks_ms: "Callable[[], int]" = time.ticks_ms
        self.ticks_us: "Callable[[], int]" = time.ticks_us
        self.ticks_diff: "Callable[[int, int], int]" = time.ticks_diff
        self.ticks_add: "Callable[[int, int], int]" = time.ticks_add
        self.sleep_us: "Callable[[int], None]" = time.sleep_us
        self.last_ms: int = time.ticks_ms()
        self.rest_ms: int = 0
        self.seconds: int = 0

    def now_s(self) -> int:
        """Whole seconds since the start."""
        ms = self.ticks_ms()
        rest_ms = self.rest_ms + self.ticks_diff(ms, self.last_ms)
        self.last_ms = ms
        if rest_ms >= 1000:
            self.seconds += rest_ms // 1000
            rest_ms %= 1000
        self.rest_ms = rest_ms
        return self.seconds
