"""The log's database: minute records of several boards in one SQLite file, durable once committed.

`minutes` holds whole numbers as the boards pack them, so that nothing is rounded and a winter stays small; the view
`records` shows them in their units.  Fields, scales and reasons of the program that wrote them are kept beside, and a
newer program converts on opening, in one transaction: old seasons stay readable.

The mark of a board is the highest key (boot, seq) up to which everything that the board held is committed.
"""

import sqlite3
from pathlib import Path

from dewcore import words
from dewcore.record import REASON_OPEN
from dewsim.errors import InputError, shown, shown_path
from dewsim.senml import PACKED, REASON, Batch

APPLICATION = 0x44574D4C  # "DWML", what `file` and other tools tell it by
SCHEMA = 1
BUSY_S = 10.0
NO_MARK = (-1, -1)
WAL_BYTES = 4_000_000  # kept of the write-ahead file after a checkpoint
NAMES = tuple(row[0] for row in PACKED)
TABLES = f"""
CREATE TABLE boards (id INTEGER PRIMARY KEY, device TEXT NOT NULL UNIQUE, mark_boot INTEGER NOT NULL,
    mark_seq INTEGER NOT NULL);
CREATE TABLE fields (name TEXT PRIMARY KEY, unit TEXT NOT NULL, scale INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE reasons (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE minutes (board INTEGER NOT NULL REFERENCES boards, boot INTEGER NOT NULL, seq INTEGER NOT NULL,
    utc_s INTEGER, heard_s INTEGER, PRIMARY KEY (board, boot, seq)) WITHOUT ROWID;
PRAGMA application_id = {APPLICATION};
PRAGMA user_version = {SCHEMA};
"""
# utc_s is the board's wall time, none where it did not know it; heard_s, of those only, is by this machine's clock when
# the message came.  A record without wall time goes by the next one of its boot that has it, a minute for each
# number between, else by the one before, else by when it was heard of.
NEAREST = "SELECT n.utc_s - 60 * (n.seq - m.seq) FROM minutes n WHERE n.board = m.board AND n.boot = m.boot"
UTC = (
    f"COALESCE(m.utc_s, ({NEAREST} AND n.seq > m.seq AND n.utc_s IS NOT NULL ORDER BY n.seq LIMIT 1), "
    f"({NEAREST} AND n.seq < m.seq AND n.utc_s IS NOT NULL ORDER BY n.seq DESC LIMIT 1), m.heard_s)"
)
COLUMNS = f"board, boot, seq, utc_s, heard_s, {', '.join(NAMES)}"
KEY = "board = ? AND boot = ? AND seq = ?"
INSERT = f"INSERT OR IGNORE INTO minutes ({COLUMNS}) VALUES (?, ?, ?, ?, ?{', ?' * len(NAMES)})"
HELD = f"SELECT {COLUMNS} FROM minutes WHERE {KEY}"
REASONS = {name: code for code, (name, _) in enumerate(words.REFUSALS)} | {words.OPEN_NAME: REASON_OPEN}
FIRST_FREE = 1000  # numbers of reasons that this program no longer has


def _shown_as(name: str, scale: int) -> str:
    """The view's column of a field."""
    if name == REASON:
        return f"r.name AS {name}"
    return f"m.{name} / {scale}.0 AS {name}"


VIEW = (
    f"CREATE VIEW records AS SELECT b.device, m.boot, m.seq, {UTC} AS utc_s, "
    + ", ".join(_shown_as(name, scale) for name, _, _, scale, _, _ in PACKED)
    + " FROM minutes m JOIN boards b ON b.id = m.board LEFT JOIN reasons r ON r.id = m.reason"
)


class Conflict(Exception):
    """A record whose key is taken by another one: the board's numbers began anew."""


class LogBase:
    """An open log; `place` is its name for messages.  Made where there is none, unless must_exist."""

    def __init__(self, path: str, must_exist: bool = False):
        self.place = shown_path(path)
        if not path:
            raise InputError("log: found no name; name a database file")
        if must_exist and not Path(path).is_file():
            raise InputError(f"{self.place}: no such file; give a log that `dewmargin log` has written")
        self.boards: dict = {}  # device: [id, mark]
        self.is_opening = True
        self.seen_version = 0  # of the file, as SQLite counts other connections' commits
        try:
            self.db = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
            self._open()
        except sqlite3.Error as error:
            raise InputError(f"{self.place}: not usable as a log ({error}); give a log, or a new name") from None

    def close(self) -> None:
        """Everything committed is in the one file afterwards."""
        self.db.close()

    def _open(self) -> None:
        self.db.execute("PRAGMA foreign_keys = ON")
        version = self._pragma("user_version")
        is_empty = self.db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
        if not is_empty and self._pragma("application_id") != APPLICATION:
            raise InputError(f"{self.place}: found another program's database; give a log, or a new name")
        if version > SCHEMA:
            raise InputError(
                f"{self.place}: found schema {version}, known are those up to {SCHEMA}; get a newer dewmargin"
            )
        self.db.execute("PRAGMA journal_mode = WAL")
        self.db.execute("PRAGMA synchronous = FULL")
        self.db.execute(f"PRAGMA journal_size_limit = {WAL_BYTES}")
        if is_empty or not self._is_of_today():
            with self.transaction():
                if is_empty:
                    for statement in TABLES.split(";"):
                        self.db.execute(statement)
                self._follow_fields()
                self._follow_reasons()
        self.read_boards()
        self.is_opening = False

    def _pragma(self, name: str) -> int:
        return self.db.execute(f"PRAGMA {name}").fetchone()[0]

    def transaction(self) -> "_Transaction":
        """All or nothing, durable once left."""
        return _Transaction(self)

    def begin(self) -> None:
        """Take the file for writing, and what another program has written since."""
        self.db.execute("BEGIN IMMEDIATE")
        version = self._pragma("data_version")
        if version != self.seen_version:
            self.seen_version = version
            if not self.is_opening:
                self.read_boards()

    # What an older program wrote

    def _is_of_today(self) -> bool:
        """Whether fields, scales, reasons and view are those of this program."""
        scales = self.db.execute("SELECT name, scale FROM fields").fetchall()
        view = self.db.execute("SELECT sql FROM sqlite_master WHERE name = 'records'").fetchone()
        reasons = {name: number for number, name in self.db.execute("SELECT id, name FROM reasons")}
        return (
            set(scales) >= {(row[0], row[3]) for row in PACKED}
            and view == (VIEW,)
            and reasons.items() >= REASONS.items()
        )

    def _follow_fields(self) -> None:
        """A column for each packed field, and stored numbers in today's scale."""
        columns = {row[1] for row in self.db.execute("PRAGMA table_info(minutes)")}
        scales = dict(self.db.execute("SELECT name, scale FROM fields"))
        for name, unit, _, scale, _, _ in PACKED:
            if name not in columns:
                self.db.execute(f"ALTER TABLE minutes ADD COLUMN {name} INTEGER")
            elif scales[name] != scale:
                self.db.execute(f"UPDATE minutes SET {name} = round({name} * {scale} / {scales[name]}.0)")
            self.db.execute("INSERT OR REPLACE INTO fields VALUES (?, ?, ?)", (name, unit, scale))
        self.db.execute("DROP VIEW IF EXISTS records")
        self.db.execute(VIEW)

    def _follow_reasons(self) -> None:
        """Today's reasons by number; names that an older program knew keep numbers of their own."""
        names = dict(self.db.execute("SELECT name, id FROM reasons"))
        moved = {number: REASONS.get(name, number) for name, number in names.items()}
        free = max([*names.values(), FIRST_FREE - 1]) + 1
        for name, number in sorted(names.items()):
            if name not in REASONS and number in REASONS.values():
                moved[number] = free
                free += 1
        changed = {old: new for old, new in moved.items() if old != new}
        if changed:
            cases = " ".join(f"WHEN {old} THEN {new}" for old, new in changed.items())
            self.db.execute(f"UPDATE minutes SET reason = CASE reason {cases} ELSE reason END")
        self.db.execute("DELETE FROM reasons")
        kept = {name: moved[number] for name, number in names.items()} | REASONS
        self.db.executemany("INSERT INTO reasons VALUES (?, ?)", [(code, name) for name, code in kept.items()])

    # Writing

    def add(self, device: str, batch: Batch, heard_s: int) -> int:
        """Store a batch heard of at heard_s, within a transaction, and move the board's mark; how many were new.

        Conflict where a key is taken by another record; then nothing of the batch is stored.
        """
        board = self.boards.get(device) or self._new_board(device)
        number, mark = board
        rows = [
            (number, r.boot, r.seq, r.utc_s, None if r.utc_s else heard_s + r.since_s, *r.numbers)
            for r in batch.records
        ]
        self.db.execute("SAVEPOINT batch")
        try:
            before = self.db.total_changes
            self.db.executemany(INSERT, rows)
            new = self.db.total_changes - before
            if new < len(rows):
                self._compare(device, rows)
        except Conflict:
            self.db.execute("ROLLBACK TO batch")
            raise
        finally:
            self.db.execute("RELEASE batch")
        last = batch.records[-1][:2]
        if batch.after <= max(mark, batch.done) and last > mark:
            self.db.execute("UPDATE boards SET mark_boot = ?, mark_seq = ? WHERE id = ?", (*last, number))
            board[1] = last
        return new

    def _new_board(self, device: str) -> list:
        values = (device, *NO_MARK)
        number = self.db.execute("INSERT INTO boards VALUES (NULL, ?, ?, ?)", values).lastrowid
        self.boards[device] = [number, NO_MARK]
        return self.boards[device]

    def _compare(self, device: str, rows: list) -> None:
        """Redelivered records are the same as those stored; one that now knows its wall time tells it."""
        for row in rows:
            key = row[:3]
            held = self.db.execute(HELD, key).fetchone()
            if held[5:] != row[5:]:
                raise Conflict(f"{device}: record {row[1]}/{row[2]} is another one than the one in the log")
            if held[3] is None and row[3] is not None:
                self.db.execute(f"UPDATE minutes SET utc_s = ? WHERE {KEY}", (row[3], *key))

    def mark(self, device: str) -> tuple:
        """The board's mark (boot, seq)."""
        return self.boards[device][1] if device in self.boards else NO_MARK

    def read_boards(self) -> None:
        """The boards and their marks as they are in the file."""
        rows = self.db.execute("SELECT device, id, mark_boot, mark_seq FROM boards")
        self.boards = {device: [number, (boot, seq)] for device, number, boot, seq in rows}

    # Reading

    def devices(self) -> list:
        """Names of all boards in the log."""
        return [row[0] for row in self.db.execute("SELECT device FROM boards ORDER BY device")]

    def one_device(self, asked: str | None) -> str:
        """The board asked for, or the only one; InputError."""
        known = self.devices()
        if not known:
            raise InputError(f"{self.place}: found no board in it yet; give a log with records")
        names = ", ".join(shown(name, 40) for name in known[:10])
        if asked is None and len(known) > 1:
            raise InputError(f"{self.place}: found {len(known)} boards; name a board with --device, one of {names}")
        if asked is not None and asked not in known:
            raise InputError(f"{self.place}: found no board {shown(asked, 40)}; name a board of {names}")
        return asked or known[0]

    def minutes(self, device: str):
        """Rows (utc_s, {field: value in its unit or None; the reason's name}) in the order of their keys."""
        names = ", ".join(NAMES)
        rows = self.db.execute(f"SELECT utc_s, {names} FROM records WHERE device = ? ORDER BY boot, seq", (device,))
        for row in rows:
            yield row[0], dict(zip(NAMES, row[1:]))


class _Transaction:
    """BEGIN IMMEDIATE on entry, COMMIT on a clean exit, else ROLLBACK, marks too."""

    def __init__(self, base: LogBase):
        self.base = base
        self.db = base.db

    def __enter__(self) -> None:
        self.base.begin()

    def __exit__(self, kind: object, *_: object) -> None:
        try:
            if kind is None:
                self.db.execute("COMMIT")
        finally:
            if self.db.in_transaction:
                self.db.execute("ROLLBACK")
                self.base.read_boards()
