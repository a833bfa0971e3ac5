"""Minute records on their way to a logger: a batch of them as one SenML pack (RFC 8428, JSON), and who keeps what.

Our own contract, beside SenML's.  Topics, <device> being the board's name at the broker:

    dewmargin/<device>/records     board to logger, QoS 1, not retained: a batch, records in order of (boot, seq)
    dewmargin/<device>/committed   logger to board, QoS 1, retained: {"boot": 7, "seq": 123}

A pack begins with two keys that the board tells of itself, (-1, -1) for none: `done`, the mark up to which it has
been told to keep nothing, and `after`, the key of the record before the first one here.  Between `after` and that
first one there is nothing any more, whatever the numbers: an outage may have been thinned.  Each minute then begins
with `boot`, `seq` and its time, and goes on with the fields of `dewcore.record` that are stored and known, under
their names and units; `ut` stands at `seq`, which a live board renews each minute.

    [{"bn":"dewmargin/attic/","n":"done/boot","v":7},{"n":"done/seq","v":119},{"n":"after/boot","v":7},
     {"n":"after/seq","v":121},{"bt":1768435200,"n":"boot","v":7},{"n":"seq","v":122,"ut":60},
     {"n":"out/t","u":"Cel","v":-12.3}, ... ,{"n":"valve/reason","v":16},{"bt":1768435260,"n":"boot","v":7}, ...]

`bt` is when the minute ended, whole seconds since 1970; zero or below it counts from the sending, where the board
does not know the time of day (RFC 8428, 4.5.3); then `up` tells the seconds since that boot.  Of an earlier boot that
never knew the time, it was at least so long ago.

The logger publishes as `committed` the last key up to which everything is durable: a batch moves it to the batch's
last key if `after` is not beyond the mark or `done`; else one before it is missing, and the mark stays.  The board
frees up to the mark only, sends at most AHEAD batches beyond it, and begins again behind it where nothing moves.
A mark that goes back is obeyed: whatever is still there is sent once more.  Records may come twice: the key is
(device, boot, seq).  Where no logger is configured the broker's acknowledgement counts, and the board keeps its own
mark at the broker under the same topic: what the broker then loses is lost.
"""

import json
from array import array

from dewcore.record import FIELDS, SIZE, unpack
from dewcore.words import decimal

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.history import History, Row
    from dewboard.shapes import Iterable, Iterator

MOST = 10  # records of a batch
AHEAD = 4  # batches beyond the mark
NONE = (-1, -1)
HIGHEST = 0x3FFFFFFE  # of boot and seq in a mark
UPDATE_S = 60
PLACES = 3  # decimals that every stored field is exact in


def short(value: float, places: int) -> str:
    """A number as text, without zeros at its end."""
    text = decimal(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def mark_of(payload: bytes) -> "tuple | None":
    """The key of a `committed` message, None where it is no such message."""
    try:
        message = json.loads(payload)
        mark = (message["boot"], message["seq"])
    except (ValueError, TypeError, KeyError, RuntimeError):  # the last: nested too deeply
        return None
    for number in mark:
        if isinstance(number, bool) or not isinstance(number, int) or not -1 <= number <= HIGHEST:
            return None
    return mark


def mark_text(mark: tuple) -> bytes:
    """A `committed` message."""
    return ('{"boot":' + str(mark[0]) + ',"seq":' + str(mark[1]) + "}").encode()


class Batch:
    """A copy of some records, because the history goes on while they are sent.

    after, last: keys of the record before the first and of the last; count: of records; done: the board's mark.
    """

    __slots__ = ("base", "data", "keys", "times", "count", "boot", "now_s", "done", "after", "last")

    def __init__(self, device: str) -> None:
        self.base: str = "dewmargin/" + device + "/"
        self.data = bytearray(MOST * SIZE)
        self.keys = array("i", [0] * (3 * MOST))  # boot, seq, now_s
        self.times = array("I", [0] * MOST)  # wall time, 0 unknown
        self.count: int = 0
        self.boot: int = 0
        self.now_s: int = 0
        self.done: tuple = NONE
        self.after: tuple = NONE
        self.last: tuple = NONE

    def fill(self, rows: "Iterable[Row]", after: tuple, done: tuple, history: "History", now_s: int) -> bool:
        """Take the next records of `rows`, which follow on the key `after`; False where there is none."""
        self.after = self.last = after
        self.done = done
        self.boot = history.boot
        self.now_s = now_s
        n = 0
        for row in rows:
            self.data[n * SIZE : (n + 1) * SIZE] = row.data
            self.keys[3 * n] = row.boot
            self.keys[3 * n + 1] = row.seq
            self.keys[3 * n + 2] = row.now_s
            # A record that was stored before the clock was known can be dated by now.
            is_dated = row.utc_s == 0 and row.boot == history.boot and history.utc_at_0_s
            self.times[n] = history.utc_at_0_s + row.now_s if is_dated else row.utc_s
            n += 1
            if n == MOST:
                break
        self.count = n
        if n:
            self.last = (self.keys[3 * n - 3], self.keys[3 * n - 2])
        return n > 0

    def pieces(self) -> "Iterator[bytes]":
        """The pack as bytes, piece by piece; the same at each call."""
        yield ('[{"bn":"' + self.base + '","n":"done/boot","v":' + str(self.done[0])).encode()
        yield ('},{"n":"done/seq","v":' + str(self.done[1]) + '},{"n":"after/boot","v":' + str(self.after[0])).encode()
        yield ('},{"n":"after/seq","v":' + str(self.after[1])).encode()
        for n in range(self.count):
            yield self._head(n).encode()
            values = unpack(bytes(memoryview(self.data)[n * SIZE : (n + 1) * SIZE]))
            for name, _, code, scale, label, unit in FIELDS:
                if code and values[name] is not None:
                    text = str(values[name]) if scale == 1 else short(values[name], PLACES)
                    yield ('},{"n":"' + label + ('","u":"' + unit if unit else "") + '","v":' + text).encode()
        yield b"}]"

    def _head(self, n: int) -> str:
        """Time and key of record n."""
        boot, now_s = self.keys[3 * n], self.keys[3 * n + 2]
        utc_s = self.times[n]
        if utc_s:
            bt = utc_s
        else:
            bt = (now_s if boot == self.boot else 0) - self.now_s
        text = '},{"bt":' + str(bt) + ',"n":"boot","v":' + str(boot)
        text += '},{"n":"seq","v":' + str(self.keys[3 * n + 1]) + ',"ut":' + str(UPDATE_S)
        if not utc_s:
            text += '},{"n":"up","u":"s","v":' + str(now_s)
        return text
