"""The last day as a drawing (SVG), from history records in one pass, in small pieces.

Lines are told apart by dash and by their name at the right end.  Ten minutes make one point: humidity the highest,
ceiling the lowest of them, so that no minute above the ceiling is lost.
"""

import struct
from array import array

from dewcore.record import FIELDS, FORMAT
from dewcore.words import signed

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewboard.history import Row
    from dewboard.shapes import Iterator

DAY_S = 86400
POINT_S = 600
POINTS = DAY_S // POINT_S
NONE = -32768  # no record in these ten minutes
LINES = (  # field of the record, name, style, whether the highest or the lowest of ten minutes counts
    ("rh_pct", "humidity", "", 1),
    ("target_pct", "target", "7 4", -1),
    ("ceiling_pct", "ceiling", "2 3", -1),
    ("outdoor_c", "outdoors", "", -1),
)
BARS = (("fan", "fan"), ("valve", "valve"))
RECORDS_A_PIECE = 16  # read before others may run

# The drawing's measures, in units of its 360 wide view.
LEFT, WIDTH, RIGHT = 34, 262, 296
TOP, HIGH = 8, 120  # humidity
TOP_OUT, HIGH_OUT = 146, 60  # outdoor temperature
TOP_BARS, BAR = 220, 11
BOTTOM = 250


def packed_places() -> "list[tuple[int, int]]":
    """Where each drawn field stands in a record's numbers, and its scale: those of LINES, then those of BARS.

    Of no other field: a day takes a while to read, and all of this is alive meanwhile.
    """
    packed = [row for row in FIELDS if row[2]]
    names = [row[0] for row in packed]
    places = [names.index(row[0]) for row in LINES + BARS]  # ValueError where a record has no such field
    return [(at, packed[at][3]) for at in places]


class Day:
    """A day in tenths of a unit (% RH, °C) or percent of the time, one number for each ten minutes."""

    def __init__(self) -> None:
        self.lines = [array("h", [NONE] * POINTS) for _ in LINES]
        self.bars = [bytearray(POINTS) for _ in BARS]
        self.count = 0

    def take(self, point: int, numbers: tuple, places: "list[tuple[int, int]]") -> None:
        """One record's numbers into its point."""
        self.count += 1
        for n in range(len(LINES)):
            sign = LINES[n][3]
            at, scale = places[n]
            stored = numbers[at]
            if stored != -32768 and stored != 65535:
                tenths = (10 * stored + scale // 2) // scale
                line = self.lines[n]
                if line[point] == NONE or sign * tenths > sign * line[point]:
                    line[point] = tenths
        for n in range(len(BARS)):
            at, scale = places[len(LINES) + n]
            if numbers[at] != 255:
                # ten minutes of one percent each, in tenths of them
                self.bars[n][point] = min(100, self.bars[n][point] + 10 * numbers[at] // scale)


def age_s(row: "Row", app: "App") -> int:
    """How old a record is [s]; -1 for one of an earlier start whose wall time, or ours, is unknown."""
    if row.boot == app.history.boot:
        return app.now_s - row.now_s
    utc_s = app.utc_s()
    return utc_s - row.utc_s if utc_s and row.utc_s else -1


def read(day: "Day", app: "App") -> "Iterator[str]":
    """Fill a Day from history; an empty piece each few records, so that nothing else waits."""
    places = packed_places()
    n = 0
    for row in app.history.day(app.utc_s(), app.now_s):
        age = age_s(row, app)
        if 0 <= age < DAY_S:
            day.take(POINTS - 1 - age // POINT_S, struct.unpack(FORMAT, row.data), places)
        n += 1
        if n % RECORDS_A_PIECE == 0:
            yield ""


def chart(app: "App") -> "Iterator[str]":
    """The figure as pieces of HTML; a sentence instead where nothing is recorded yet."""
    day = Day()
    yield from read(day, app)
    if day.count < 2:
        yield "<p>Nothing is recorded yet: the drawing begins a few minutes after the start.</p>\n"
        return
    yield '<figure><svg viewBox="0 0 360 ' + str(BOTTOM + 14) + '" role="img" aria-labelledby="day-title">\n'
    yield '<title id="day-title">Humidity, target, ceiling, outdoor temperature, fan and valve over 24 hours</title>\n'
    yield from pane(day, (0, 1, 2), TOP, HIGH, 50, "%")
    yield from pane(day, (3,), TOP_OUT, HIGH_OUT, 100, "°C")
    yield from bars(day)
    yield from hours()
    yield "</svg>\n</figure>\n"


def pane(day: "Day", which: "tuple[int, ...]", top: int, high: int, step: int, unit: str) -> "Iterator[str]":
    """Some lines on one scale; step: its grid, in tenths."""
    low, up = span(day, which, step)
    for tenths in range(low, up + 1, step):
        y = top + high - high * (tenths - low) // (up - low)
        yield '<line class="grid" x1="%d" x2="%d" y1="%d" y2="%d"/>' % (LEFT, RIGHT, y, y)
        if (up - tenths) % (2 * step) == 0 or up - low <= 3 * step:
            text = str(tenths // 10)
            mark = ' data-top="1"' if tenths == up else ""
            yield '<text x="%d" y="%d" text-anchor="end" data-v="%s"%s' % (LEFT - 3, y + 3, text, mark)
            yield ' data-u="' + unit + '">' + signed(text) + (" " + unit if mark else "") + "</text>\n"
    ends = []
    for n in which:
        yield from path(day.lines[n], LINES[n][2], 2 if n == 0 else 1, top, high, low, up)
        last = last_of(day.lines[n])
        if last != NONE:
            ends.append((top + high - high * (last - low) // (up - low), LINES[n][1]))
    ends.sort()
    y = top - 3
    for wanted, name in ends:
        y = max(y + 11, wanted + 3)
        yield '<text x="%d" y="%d">%s</text>\n' % (RIGHT + 4, y, name)


def span(day: "Day", which: "tuple[int, ...]", step: int) -> "tuple[int, int]":
    """Lowest and highest of some lines, in whole steps."""
    low, up = 32767, -32767
    for n in which:
        for tenths in day.lines[n]:
            if tenths != NONE:
                low = min(low, tenths)
                up = max(up, tenths)
    if low > up:
        low, up = 0, step
    low = low // step * step
    up = -(-up // step) * step
    return low, max(up, low + step)


def last_of(line: "array") -> int:
    """The last known point."""
    for n in range(POINTS - 1, -1, -1):
        if line[n] != NONE:
            return line[n]
    return NONE


def path(line: "array", dash: str, width: int, top: int, high: int, low: int, up: int) -> "Iterator[str]":
    """One line, broken where nothing was recorded."""
    yield '<path stroke-width="%d" stroke-dasharray="%s" d="' % (width, dash or "none")
    drawn = False
    for n in range(POINTS):
        if line[n] == NONE:
            drawn = False
            continue
        y = 10 * (top + high) - 10 * high * (line[n] - low) // (up - low)
        x = 10 * LEFT + 10 * WIDTH * n // (POINTS - 1)
        yield "%s%d.%d %d.%d" % ("L" if drawn else "M", x // 10, x % 10, y // 10, y % 10)
        drawn = True
    yield '"/>\n'


def bars(day: "Day") -> "Iterator[str]":
    """When fan and valve ran: a block for each ten minutes, as high as the share of them."""
    for n in range(len(BARS)):
        y = TOP_BARS + n * (BAR + 4) + BAR
        yield '<line class="grid" x1="%d" x2="%d" y1="%d" y2="%d"/>' % (LEFT, RIGHT, y, y)
        yield '<text x="%d" y="%d">%s</text>\n' % (RIGHT + 4, y, BARS[n][1])
        yield '<path class="bar" d="'
        for point in range(POINTS):
            share = day.bars[n][point]
            if share:
                x = 10 * LEFT + 10 * WIDTH * point // POINTS
                wide = 10 * LEFT + 10 * WIDTH * (point + 1) // POINTS - x
                high = 1 + (BAR - 1) * share // 100
                yield "M%d.%d %dv-%dh%d.%dv%dz" % (x // 10, x % 10, y, high, wide // 10, wide % 10, high)
        yield '"/>\n'


def hours() -> "Iterator[str]":
    """The axis: hours before now."""
    for hour in (24, 18, 12, 6, 0):
        x = RIGHT - WIDTH * hour // 24
        yield '<line class="grid" x1="%d" x2="%d" y1="%d" y2="%d"/>' % (x, x, TOP, BOTTOM - 2)
        text = "now" if hour == 0 else "−" + str(hour) + " h"
        yield '<text x="%d" y="%d" text-anchor="middle">%s</text>\n' % (x, BOTTOM + 10, text)
