"""The logger: minute records from a broker into the log, committed before they are acknowledged.

One thread does everything in turn: read what the broker has sent, commit it as one transaction, acknowledge it, tell
each board its mark.  The broker sends no more than its own number of unacknowledged messages, so memory is bounded,
and the more waits, the more goes into one commit.  While the file cannot be written the logger stays away from the
broker, which keeps the messages, and boards keep their records until the mark says that they are committed.
"""

import json
import select
import sqlite3
import sys
import time

from dewsim import broker_link, senml
from dewsim.errors import InputError, shown
from dewsim.logbase import Conflict, LogBase
from dewsim.progress import Line

TOPIC = "dewmargin/+/records"
MOST_AT_ONCE = 2000  # messages of one commit
LONGEST_BATCH_S = 0.2  # how long a commit waits for more while more keeps coming
MOST_MARKS = 200  # on their way to the broker
IDLE_S = 1.0
LONGEST_DEVICE = 32
MOST_BOARDS = 100_000
RETRY_S = 10.0  # after a commit that failed
TOLD_S = 3600.0  # the same complaint about a board no more often
LASTING_S = 60.0
MOST_FLAPS = 3
FULL = "database or disk is full"


class Logger:
    """Subscribes, stores, acknowledges; counts what it did."""

    def __init__(self, base: LogBase, broker: broker_link.Broker, log_name: str):
        self.base = base
        self.broker = broker
        self.client = broker_link.client_for(broker, "log", log_name, is_clean=False, has_manual_ack=True)
        self.client.max_inflight_messages_set(MOST_MARKS)
        self.client.on_connect = self._on_connect
        self.client.on_message = self._on_message
        self.client.on_publish = self._on_publish
        self.client.on_disconnect = self._on_disconnect
        self.line = Line(sys.stderr) if sys.stderr.isatty() else None
        self.waiting: list = []  # (mid, qos, topic, payload) not yet committed
        self.marks: dict = {}  # device: mark to be told
        self.on_way = 0  # marks told and not yet acknowledged
        self.is_connected = False
        self.was_connected = False
        self.refused = ""
        self.failures = 0
        self.flaps = 0  # connections in a row that did not last
        self.since_s = 0.0
        self.is_failing = False  # the file could not be written
        self.records = 0
        self.messages = 0
        self.complaints: dict = {}  # device: when something about it was last told

    # What paho calls

    def _on_connect(self, _client, _data, _flags, code, _properties) -> None:
        self.refused = broker_link.refusal(code)
        if self.refused:
            return
        self.is_connected = True
        self.client.subscribe(TOPIC, qos=1)
        self.marks = {device: self.base.mark(device) for device in self.base.boards}

    def _on_message(self, _client, _data, message) -> None:
        self.waiting.append((message.mid, message.qos, message.topic, message.payload))

    def _on_publish(self, *_) -> None:
        self.on_way -= 1

    def _on_disconnect(self, *_) -> None:
        self.is_connected = False
        self.waiting.clear()  # the broker sends them again; their numbers mean nothing in the next connection
        self.on_way = 0

    # The loop

    def run(self, stop=lambda: False) -> None:
        """Until stop() is true; connects again and again."""
        try:
            while not stop():
                if not self._connect():
                    self._pause(broker_link.wait_s(self.failures), stop)
                    continue
                self._serve(stop)
        finally:
            self.client.disconnect()
            if self.line:
                self.line.end()

    def _connect(self) -> bool:
        """One attempt; where it fails, the first time says why."""
        host = self.broker.name()
        try:
            if self.client.connect(self.broker.host, self.broker.port, broker_link.KEEP_ALIVE_S):
                raise OSError("no connection")
            end_s = time.monotonic() + broker_link.CONNECT_S
            while not self.is_connected and not self.refused and time.monotonic() < end_s:
                if self.client.loop(0.2):
                    break
        except (OSError, ValueError) as error:
            self.refused = str(error) or type(error).__name__
        if self.is_connected:
            if not self.is_failing and self.flaps < MOST_FLAPS:
                self._tell(f"connected to {host}")
            self.failures = 0
            self.since_s = time.monotonic()
            self.was_connected = True
            return True
        if self.refused in broker_link.REFUSED.values() and not self.was_connected:
            raise InputError(f"{host}: {self.refused}; correct --user and --password-file")
        self.failures += 1
        if self.failures == 1:
            self._tell(f"{host}: not connected ({self.refused or 'no answer'}); trying again")
        self.refused = ""
        return False

    def _pause(self, seconds: float, stop) -> None:
        end_s = time.monotonic() + seconds
        while not stop() and (left_s := end_s - time.monotonic()) > 0:
            time.sleep(min(left_s, IDLE_S))

    def _serve(self, stop) -> None:
        """While connected: collect, commit, acknowledge."""
        while self.is_connected and not stop():
            self._collect()
            if self.waiting and not self._commit():
                self.client.disconnect()
                self._pause(RETRY_S, stop)
                return
            self._tell_marks()
            if self.line and self.line.is_due():
                self.line.show(f"{self.records} records, {len(self.base.boards)} boards")
        if not stop():
            self._lost()
            self._pause(broker_link.wait_s(1), stop)

    def _lost(self) -> None:
        """A connection that ended by itself; where none lasts that is told once."""
        lasted_s = time.monotonic() - self.since_s
        self.flaps = self.flaps + 1 if lasted_s < LASTING_S else 0
        if self.flaps < MOST_FLAPS:
            self._tell(f"{self.broker.name()}: the connection is lost; trying again")
        elif self.flaps == MOST_FLAPS:
            self._tell(
                f"{self.broker.name()}: connections do not last; stop any other `dewmargin log` for the same file. "
                "Going on quietly"
            )

    def _collect(self) -> None:
        """Read until nothing is there, enough is there, or it takes too long."""
        end_s = time.monotonic() + LONGEST_BATCH_S
        wait_s = IDLE_S
        while self.is_connected and len(self.waiting) < MOST_AT_ONCE:
            socket = self.client.socket()
            if socket is None:
                break
            writing = [socket] if self.client.want_write() else []
            readable, writable, _ = select.select([socket], writing, [], 0.0 if self._has_more(socket) else wait_s)
            if writable:
                self.client.loop_write()
            if readable or self._has_more(socket):
                self.client.loop_read()
            elif not writable:
                break
            wait_s = 0.0
            if time.monotonic() > end_s:
                break
        self.client.loop_misc()

    @staticmethod
    def _has_more(socket) -> bool:
        """Whether a TLS socket holds what select cannot see."""
        return hasattr(socket, "pending") and socket.pending() > 0

    def _commit(self) -> bool:
        """All that waits, durable, then acknowledged; False where the file cannot be written."""
        batches, marks = self._parsed(), {}
        heard_s = int(time.time())
        new = 0
        try:
            with self.base.transaction():
                for device, batch in batches:
                    try:
                        new += self.base.add(device, batch, heard_s)
                    except Conflict as conflict:
                        self._complain(device, f"{conflict}; give this board a new name, or log to a new file")
                    marks[device] = self.base.mark(device)
        except sqlite3.Error as error:
            if not self.is_failing:
                self._tell(f"{self.base.place}: cannot be written ({error}); {self._remedy(error)}")
            self.is_failing = True
            return False
        if self.is_failing:
            self._tell(f"{self.base.place}: written again")
            self.is_failing = False
        for mid, qos, _, _ in self.waiting:
            self.client.ack(mid, qos)
        self.messages += len(self.waiting)
        self.waiting.clear()
        self.records += new
        self.marks.update(marks)
        return True

    @staticmethod
    def _remedy(error: sqlite3.Error) -> str:
        what = "make room on the disk" if FULL in str(error) else "free the file, or its disk"
        return f"{what}: nothing is lost, the boards keep their records, and it goes on by itself"

    def _parsed(self) -> list:
        """(device, batch) of all that waits; what is no batch is told and left out."""
        found = []
        for _, _, topic, payload in self.waiting:
            device = topic.split("/")[1]
            try:
                if device not in self.base.boards:
                    _check_device(device, len(self.base.boards))
                found.append((device, senml.read(payload, device)))
            except (ValueError, UnicodeDecodeError) as problem:
                self._complain(device, f"{shown(device, 40)}: a message is left out: {problem}")
        return found

    def _tell_marks(self) -> None:
        """The newest mark of each board that waits for one."""
        while self.marks and self.on_way < MOST_MARKS and self.is_connected:
            device, (boot, seq) = self.marks.popitem()
            if boot >= 0:
                payload = json.dumps({"boot": boot, "seq": seq})
                self.on_way += 1
                self.client.publish(f"dewmargin/{device}/committed", payload, qos=1, retain=True)

    # News

    def _complain(self, device: str, text: str) -> None:
        now_s = time.monotonic()
        if now_s - self.complaints.get(device, -TOLD_S) >= TOLD_S:
            if len(self.complaints) > 1000:
                self.complaints.clear()
            self.complaints[device] = now_s
            self._tell(text)

    def _tell(self, text: str) -> None:
        if self.line:
            self.line.end()
        broker_link.tell("log", text)


def _check_device(device: str, boards: int) -> None:
    """A name that no board has makes no board."""
    is_name = device.replace("-", "a").isalnum() and device.isascii() and device == device.lower()
    if not is_name or device == "feed" or len(device) > LONGEST_DEVICE:
        raise ValueError(f"allowed is a name of a-z 0-9 -, not feed, at most {LONGEST_DEVICE} characters")
    if boards >= MOST_BOARDS:
        raise ValueError(f"more than {MOST_BOARDS} boards")


def run(path: str, broker: broker_link.Broker) -> int:
    """`dewmargin log DB`: until Ctrl-C."""
    base = LogBase(path)
    logger = Logger(base, broker, str(path))
    try:
        logger.run()
    except KeyboardInterrupt:
        pass  # the usual way to end it: what is committed is whole, what is not stays with broker and board
    except sqlite3.Error as error:
        raise InputError(f"{base.place}: cannot be read ({error}); give a log, or a new name") from None
    finally:
        base.close()
        broker_link.tell("log", f"{logger.records} new records written to {base.place}")
    return 0
