"""`dewmargin feed`: the outdoor temperature and a forecast from an address, a file or stdin, to the boards.

What is sent has passed the very check that a board makes (`dewcore.feed`), and is no older than a board would still
use.  Whether a reading jumped too far is for the board's judge, which sees the other sensors as well.
"""

import json
import queue
import sys
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

from dewcore import feed
from dewcore.forecast import MAX_AGE_S
from dewcore.outdoors import DAY_LOWEST_S
from dewcore.readings import Readings
from dewsim import broker_link, polling
from dewsim.errors import InputError, shown, shown_path
from dewsim.feed_sources import Document, Paths, steps_of, told
from dewsim.files import contents
from dewsim.metar import STATION

OBSERVED, FORECAST = "observed", "forecast"
AGAIN_S = 300.0  # what is known is sent again: a board that has just started gets its clock and its reading
FILE_S = 60.0  # how often a file is looked at
TICK_S = 1.0
ANSWERED_S = 30.0  # --once: how long the broker has to take it
LONGEST_SOURCE = 60
LONGEST_LINE = 100_000
MOST_LINES = 100


class Messages:
    """The two messages as they stand; `take` brings in what a document tells, by the board's own rules."""

    def __init__(self) -> None:
        self.readings = Readings()
        self.held: dict = {}

    def take(self, new, now_s: int) -> tuple:
        """(names of the messages that are new, why others are refused, in the board's words)."""
        fresh, problems = [], []
        for name, body in self._bodies(new):
            if body == self._body(name):
                continue
            message = stamped(new.source, body, now_s)
            problem = too_old(body, now_s) or feed.accept(message, self.readings, now_s, now_s)
            if problem:
                problems.append(f"{new.source}: {shown(problem, 200)}; it is not sent, give a newer or right one")
                continue
            self.held[name] = (new.source, body)
            fresh.append(name)
        return fresh, problems

    @staticmethod
    def _bodies(new) -> list:
        found = []
        if new.observed is not None:
            second, c = new.observed
            found.append((OBSERVED, {"observed_s": second, "outdoor_c": round(c, 2)}))
        if new.hours:
            values = [None if c is None else round(c, 1) for _, c in new.hours]
            body = {"issued_s": new.issued_s, "start_s": new.hours[0][0], "step_s": feed.STEP_S, "outdoor_c": values}
            found.append((FORECAST, body))
        return found

    def _body(self, name: str) -> dict | None:
        return self.held[name][1] if name in self.held else None

    def texts(self, now_s: int) -> list:
        """(name, JSON) of all that is held, sent now; what has become too old is left out."""
        return [
            (name, json.dumps(stamped(source, body, now_s), ensure_ascii=False, separators=(",", ":")))
            for name, (source, body) in self.held.items()
            if not too_old(body, now_s)
        ]

    def news(self) -> str:
        """What is held, for people."""
        parts = []
        if OBSERVED in self.held:
            body = self.held[OBSERVED][1]
            parts.append(f"{body['outdoor_c']:g} °C observed {_clock(body['observed_s'])}")
        if FORECAST in self.held:
            body = self.held[FORECAST][1]
            parts.append(f"forecast of {len(body['outdoor_c'])} h from {_clock(body['start_s'])}")
        return ", ".join(parts)


def stamped(source: str, body: dict, now_s: int) -> dict:
    """A whole message."""
    offset_s = time.localtime(now_s).tm_gmtoff
    head = {"schema": feed.SCHEMA, "source": source[:LONGEST_SOURCE], "sent_s": now_s, "utc_offset_s": offset_s}
    return {**head, **body}


def too_old(body: dict, now_s: int) -> str:
    """Why a board would no longer use it; empty where it would."""
    name, most_s = ("observed_s", DAY_LOWEST_S) if "observed_s" in body else ("issued_s", MAX_AGE_S)
    if now_s - body[name] <= most_s:
        return ""
    return f"{name}: {_clock(body[name])} is {(now_s - body[name]) / 3600:.1f} h ago, allowed are {most_s // 3600} h"


def _clock(second: int) -> str:
    return f"{datetime.fromtimestamp(second, UTC):%Y-%m-%d %H:%MZ}"


# Sources: next(wait_s) gives a Document, or None where there is nothing new; InputError; `is_over` at the end


class File:
    """A file on disk, read again when it has changed."""

    def __init__(self, path: str):
        self.path = path
        self.seen: tuple | None = None
        self.due_s = 0.0
        self.is_over = False

    def next(self, wait_s: float) -> Document | None:
        """The file's text where it is new."""
        if time.monotonic() < self.due_s:
            time.sleep(wait_s)
            return None
        self.due_s = time.monotonic() + FILE_S
        data = contents(self.path, polling.LARGEST_BYTES, "a file that is written anew with each observation")
        if len(data) > polling.LARGEST_BYTES:
            raise InputError(f"{shown_path(self.path)}: more than {polling.LARGEST_BYTES} bytes; give a smaller file")
        made_s = Path(self.path).stat().st_mtime
        if (made_s, data) == self.seen:
            return None
        self.seen = (made_s, data)
        return Document(shown_path(self.path), data.decode("utf-8", "replace"), int(made_s))


class Polled:
    """An address, asked as politely as `polling` has it."""

    def __init__(self, url: str, every_min: int, agent: str):
        self.address = polling.Address(url, 60.0 * every_min, agent)
        self.answered = False
        self.is_over = False

    def next(self, wait_s: float) -> Document | None:
        """An answer, if it is time to ask and something is new."""
        if time.monotonic() < self.address.due_s:
            time.sleep(wait_s)
            return None
        try:
            document = self.address.get()
        except polling.Failed as failure:
            if failure.is_final and not self.answered:
                raise InputError(f"{failure}; correct the address, or ask its owner") from None
            wait_min = (self.address.due_s - time.monotonic()) / 60.0
            broker_link.tell("feed", f"{failure}; asking again in {wait_min:.0f} min")
            return None
        self.answered = True
        return document


class Lines:
    """Stdin: each line a document as it comes; with `whole`, all of it one document.  CSV: each row below the first."""

    def __init__(self, kind: str, whole: bool):
        self.kind = kind
        self.whole = whole
        self.header = ""
        self.is_over = False
        self.queue: queue.Queue = queue.Queue(MOST_LINES)
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        stream = sys.stdin.buffer
        if self.whole:
            self.queue.put(stream.read(polling.LARGEST_BYTES))
        else:
            while line := stream.readline(LONGEST_LINE):
                self.queue.put(line)
        self.queue.put(b"")

    def next(self, wait_s: float) -> Document | None:
        """The next line, if there is one within wait_s."""
        try:
            data = self.queue.get(timeout=wait_s)
        except queue.Empty:
            return None
        self.is_over = data == b""
        text = data.decode("utf-8", "replace").strip()
        if self.kind == "csv" and not self.whole:
            if not self.header:
                self.header = text
                return None
            text = f"{self.header}\n{text}" if text else ""
        return Document("stdin", text, int(time.time())) if text else None


# The command


class Sender:
    """Publishes the messages, now and again; `is_out` once the broker has taken all of them."""

    def __init__(self, broker: broker_link.Broker, topic: str, messages: Messages):
        self.broker = broker
        self.topic = topic
        self.messages = messages
        self.sent_s = -AGAIN_S
        self.infos: list = []
        self.refused = ""
        self.was_connected = False
        self.lost = False
        self.client = broker_link.client_for(broker, "feed", topic, is_clean=True)
        self.client.on_connect = self._on_connect
        self.client.on_connect_fail = self._on_fail
        self.client.on_disconnect = self._on_fail
        self.client.reconnect_delay_set(1, int(broker_link.LONGEST_WAIT_S))

    def start(self) -> None:
        """Connect in the background, again and again."""
        self.client.connect_async(self.broker.host, self.broker.port, broker_link.KEEP_ALIVE_S)
        self.client.loop_start()

    def stop(self) -> None:
        """A clean end."""
        self.client.disconnect()
        self.client.loop_stop()

    def _on_connect(self, _client, _data, _flags, code, _properties) -> None:
        self.refused = broker_link.refusal(code)
        if not self.refused:
            self.was_connected, self.lost = True, False
            self.sent_s = -AGAIN_S

    def _on_fail(self, *_) -> None:
        self.lost = True

    def due(self) -> bool:
        """Whether all is to be sent again."""
        return time.monotonic() - self.sent_s >= AGAIN_S

    def send(self) -> bool:
        """Publish what is held; whether the broker was there."""
        if self.refused in broker_link.REFUSED.values() and not self.was_connected:
            raise InputError(f"{self.broker.name()}: {self.refused}; correct --user and --password-file")
        if not self.client.is_connected():
            return False
        self.sent_s = time.monotonic()
        self.infos = [
            self.client.publish(f"{self.topic}/{name}", text.encode(), qos=1, retain=True)
            for name, text in self.messages.texts(int(time.time()))
        ]
        return True

    def is_out(self) -> bool:
        """Whether everything of the last time has arrived."""
        return bool(self.infos) and all(info.is_published() for info in self.infos)


def run(arguments, agent: str) -> int:
    """The command with its parsed options."""
    paths = _check(arguments)
    source = _source(arguments, agent)
    messages = Messages()
    if arguments.print_only:
        return _print(source, arguments, paths, messages)
    broker = broker_link.broker_of(arguments.broker, arguments.user, arguments.password_file, arguments.ca)
    sender = Sender(broker, arguments.topic, messages)
    sender.start()
    try:
        _loop(source, arguments, paths, messages, sender)
        if source.is_over or arguments.once:
            _finish(sender)
    except KeyboardInterrupt:
        pass  # the usual way to end it: what was sent stays with the broker
    finally:
        sender.stop()
    return 0


def _check(arguments) -> Paths:
    """Options that fit together."""
    pairs = (("outdoor", "time"), ("forecast", "forecast_time"))
    given = [name for pair in pairs for name in pair if getattr(arguments, name)] + ["issued"] * bool(arguments.issued)
    if arguments.kind != "json" and given:
        raise InputError(f"--{given[0].replace('_', '-')}: only with --kind json; leave it out")
    for first, second in pairs:
        if bool(getattr(arguments, first)) != bool(getattr(arguments, second)):
            names = f"--{first} and --{second.replace('_', '-')}"
            raise InputError(f"{names}: found one of them; give both, or leave both out")
    if arguments.kind == "json" and not (arguments.outdoor or arguments.forecast):
        raise InputError("--kind json: found no path; give --outdoor and --time, or --forecast and --forecast-time")
    if arguments.station and not STATION.fullmatch(arguments.station.upper()):
        raise InputError(f"--station {shown(arguments.station)}: allowed are four letters as in reports; correct it")
    if not arguments.topic or any(c in arguments.topic for c in "+#\0") or len(arguments.topic) > 100:
        raise InputError(f"--topic {shown(arguments.topic)}: allowed is a name without + and #; correct it")
    for path in (arguments.outdoor, arguments.time, arguments.forecast, arguments.forecast_time, arguments.issued):
        if path:
            steps_of(path)
    return Paths(arguments.outdoor, arguments.time, arguments.forecast, arguments.forecast_time, arguments.issued,
                 arguments.unit, arguments.utc)  # fmt: skip


def _source(arguments, agent: str):
    if arguments.source == "-":
        return Lines(arguments.kind, arguments.once or arguments.print_only)
    if "://" in arguments.source:
        return Polled(arguments.source, arguments.every, agent)
    return File(arguments.source)


def _print(source, arguments, paths: Paths, messages: Messages) -> int:
    """One document's messages on stdout, for trying paths."""
    while (document := source.next(TICK_S)) is None and not source.is_over:
        if isinstance(source, Polled):
            raise InputError(f"{source.address.host}: no answer; give an address that answers")
    if document is None:
        raise InputError("stdin: found nothing in it; give a document")
    _take(document, arguments, paths, messages, True)
    for name, text in messages.texts(int(time.time())):
        print(f"{arguments.topic}/{name} {text}")
    return 0


def _take(document: Document, arguments, paths: Paths, messages: Messages, is_first: bool) -> bool:
    """Whether a document brought something new; what is refused is told, and nothing else at first is an InputError."""
    now_s = int(time.time())
    fresh, problems = messages.take(told(arguments.kind, document, now_s, arguments.station, paths), now_s)
    if problems and is_first and not fresh:
        raise InputError(problems[0])
    for problem in problems:
        broker_link.tell("feed", problem)
    return bool(fresh)


def _loop(source, arguments, paths: Paths, messages: Messages, sender: Sender) -> None:
    """Bring in what is new and send it, until there is nothing to come; a bad document later on is told and left."""
    is_first = True
    complaint = ""
    while not source.is_over and not (arguments.once and not is_first):
        try:
            document = source.next(TICK_S)
            if document is not None:
                if _take(document, arguments, paths, messages, is_first):
                    broker_link.tell("feed", messages.news())
                    sender.sent_s = -AGAIN_S
                is_first, complaint = False, ""
        except InputError as error:
            if is_first:
                raise
            if str(error) != complaint:
                complaint = str(error)
                broker_link.tell("feed", complaint)
        if messages.held and sender.due() and not sender.send() and sender.lost:
            sender.lost = False
            broker_link.tell("feed", f"{sender.broker.name()}: not connected; trying again")


def _finish(sender: Sender) -> None:
    """Wait until the broker has what is held."""
    if not sender.messages.held:
        raise InputError("feed: found no observation and no forecast in the input; give one")
    end_s = time.monotonic() + ANSWERED_S
    while not sender.is_out():
        if time.monotonic() > end_s:
            raise InputError(f"{sender.broker.name()}: has not taken it in {ANSWERED_S:.0f} s; name a broker that runs")
        if sender.due():
            sender.send()
        time.sleep(0.05)
