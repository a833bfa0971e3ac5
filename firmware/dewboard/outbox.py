"""Which minute records go to the broker next, and which need be kept no longer; the contract is senml.py's."""

from dewboard.senml import AHEAD, MOST, NONE, Batch

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewboard.history import Row
    from dewboard.shapes import Iterator

HEAR_S = 5  # so long a retained mark may take to come after subscribing
PATIENCE_S = 60  # without any move of the mark: then from it again, and twice as long each time
LONGEST_S = 900
TELL_S = 10  # between two of the board's own marks
FAR_BOOTS = 100000  # 27 starts a day for ten years: no mark of this board is so far ahead


class Outbox:
    """mark: nothing up to it is needed any more; sent: the last key sent; out: [number, key, acked] beyond the mark.

    With a logger only its messages move the mark, without one the broker's acknowledgements do.
    """

    __slots__ = (
        "app",
        "has_logger",
        "batch",
        "mark",
        "sent",
        "out",
        "rows",
        "is_heard",
        "has_raised",
        "began_s",
        "moved_s",
        "patience_s",
        "bare_seq",
        "told",
        "told_s",
    )

    def __init__(self, app: "App", device: str, has_logger: bool) -> None:
        self.app = app
        self.has_logger: bool = has_logger
        self.batch: "Batch" = Batch(device)
        self.mark: tuple = NONE
        self.told: tuple = NONE  # the mark as the broker has it
        self.has_raised: bool = False  # boots, above a mark
        self.patience_s: int = PATIENCE_S
        self.begin()

    def begin(self) -> None:
        """Another connection: what was under way counts as lost."""
        self.began_s: int = self.app.now_s
        self.told_s: int = self.app.now_s
        self.is_heard: bool = False
        self._rewind()

    def _rewind(self) -> None:
        """Once more from the mark."""
        self.sent: tuple = self.mark
        self.out: "list[list]" = []
        self.rows: "Iterator[Row] | None" = None
        self.bare_seq: int = -1  # history.seq when it had nothing more
        self.moved_s: int = self.app.now_s

    def hear(self, mark: tuple) -> str:
        """A `committed` message; what is to be told about it, "" for nothing."""
        if not self.has_logger and self.is_heard:
            return ""  # our own, coming back
        self.is_heard = True
        said = ""
        history = self.app.history
        if mark[0] > history.boot or mark[0] == history.boot and mark[1] >= history.seq:
            # Another life of this board, before its flash was erased: its numbers must not come again.  That is found
            # once in a start; more, or too much, is none of this board's, and would use its numbers up.
            if self.has_raised or mark[0] - history.boot > FAR_BOOTS:
                return "a mark ahead of all that this board ever sent, not taken: boot " + str(mark[0])
            self.has_raised = True
            self.app.keep.raise_boot(mark[0] + 1)
            self.rows = None
            said = "the mark is ahead of every record kept here; boots go on from " + str(mark[0] + 1)
        if mark < self.mark:
            said = "the mark went back: what is still kept is sent again"
            self.mark = mark
            self._rewind()
        elif mark > self.mark:
            self._move(mark)
        self.told = self.mark
        return said

    def acked(self, number: int) -> None:
        """The broker has a batch."""
        if self.has_logger:
            return
        for entry in self.out:
            if entry[0] == number:
                entry[2] = True
        mark = self.mark
        for entry in self.out:
            if not entry[2]:
                break
            mark = entry[1]
        if mark > self.mark:
            self._move(mark)

    def _move(self, mark: tuple) -> None:
        self.mark = mark
        self.app.history.free(mark[0], mark[1])
        self.moved_s = self.app.now_s
        self.patience_s = PATIENCE_S
        while self.out and self.out[0][1] <= mark:
            self.out.pop(0)
        if mark > self.sent:
            self.sent = mark
            self.rows = None

    def fill(self) -> bool:
        """Whether `batch` holds records that are to be sent now."""
        now_s = self.app.now_s
        if not self.is_heard:
            if now_s - self.began_s < HEAR_S:
                return False
            self.is_heard = True  # there is none; without a logger, what comes now is our own
        if self.out and now_s - self.moved_s >= self.patience_s:
            self.patience_s = min(2 * self.patience_s, LONGEST_S)
            self._rewind()
        history = self.app.history
        if len(self.out) >= AHEAD or self.bare_seq == history.seq:
            return False
        if self.rows is None:
            self.rows = history.unsent(self.sent[0], self.sent[1])
        found = self.batch.fill(self.rows, self.sent, self.mark, history, now_s)
        if self.batch.count < MOST:
            self.rows = None
            self.bare_seq = history.seq
        if found:
            if not self.out:
                self.moved_s = now_s
            self.sent = self.batch.last
        return found

    def note(self, number: int) -> None:
        """`batch` is about to be published under this number."""
        self.out.append([number, self.batch.last, False])

    def telling(self) -> bool:
        """Whether the board has a mark of its own to publish; it then counts as told."""
        now_s = self.app.now_s
        if self.has_logger or self.mark == self.told or self.out and now_s - self.told_s < TELL_S:
            return False
        self.told = self.mark
        self.told_s = now_s
        return True
