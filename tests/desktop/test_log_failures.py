"""The logger where things go wrong: a full disk, nonsense, kills, two of them, nobody there."""

import random
import sqlite3
import sys
import threading
import time
from pathlib import Path

import mqtt_rig as rig
import pytest

from dewsim import broker_link, mqttlog
from dewsim.logbase import LogBase

sys.path.append(str(Path(__file__).resolve().parents[1] / "acceptance"))
import log_kills  # noqa: E402


@pytest.fixture(scope="module")
def broker(tmp_path_factory):
    """mosquitto, open."""
    folder = tmp_path_factory.mktemp("mosquitto")
    folder.chmod(0o777)
    with rig.running(rig.Mosquitto(folder, careful=False)) as process:
        yield process


class Running:
    """A logger in a thread; `limit` pages are all its disk has."""

    def __init__(self, path, broker):
        self.path, self.port = path, broker.port
        self.limit = self.set_to = 0
        self.ending = False
        self.is_ready = threading.Event()
        self.thread = threading.Thread(target=self._run, daemon=True)  # a test that fails must not wait for it
        self.thread.start()
        assert self.is_ready.wait(rig.WAIT_S)

    def _run(self) -> None:
        base = LogBase(str(self.path))
        link = broker_link.broker_of(f"mqtt://127.0.0.1:{self.port}", "", "", "")
        logger = self.logger = mqttlog.Logger(base, link, str(self.path))

        def stop() -> bool:
            if logger.is_connected:
                self.is_ready.set()
            if self.limit != self.set_to:
                base.db.execute(f"PRAGMA max_page_count = {self.limit}")
                self.set_to = self.limit
            return self.ending

        logger.run(stop)
        base.close()

    def end(self) -> None:
        """Stop it."""
        self.ending = True
        self.thread.join(rig.WAIT_S)
        assert not self.thread.is_alive()


def steps(board, key, seconds=rig.WAIT_S) -> None:
    """Until the board has been told that all up to key is committed."""

    def is_through() -> bool:
        board.step()
        return board.done >= key

    rig.wait_for(is_through, f"{key} committed, stands at {board.done}", seconds)


def test_a_full_disk_is_told_once_and_gone_on_from(tmp_path, broker, capsys, monkeypatch):
    monkeypatch.setattr(mqttlog, "RETRY_S", 0.3)
    path = tmp_path / "log.db"
    logger = Running(path, broker)
    board = rig.Board("full", broker.port)
    board.record([(1, n) for n in range(100)])
    steps(board, (1, 99))
    logger.limit = 12
    board.record([(1, n) for n in range(100, 1500)])

    def is_stuck() -> bool:
        board.step()
        return logger.logger.is_failing

    rig.wait_for(is_stuck, "the disk is full")
    stopped_at = board.done
    assert (1, 99) <= stopped_at < (1, 1499)
    assert log_kills.integrity(path) == "ok"
    logger.limit = 1_000_000
    steps(board, (1, 1499), 40.0)
    board.stop()
    logger.end()
    errors = capsys.readouterr().err
    assert errors.count("cannot be written") == errors.count("written again") == 1, errors
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT count(*), count(DISTINCT seq) FROM minutes").fetchone() == (1500, 1500)


def rows_in(path) -> int:
    """Records in a log."""
    with sqlite3.connect(path, timeout=10.0) as db:
        return db.execute("SELECT count(*) FROM minutes").fetchone()[0]


def test_what_is_not_durable_is_not_acknowledged(tmp_path, broker, monkeypatch, capsys):
    """A sender that never repeats itself: what the logger could not write the broker still has, and brings again."""
    monkeypatch.setattr(mqttlog, "RETRY_S", 0.3)
    path = tmp_path / "log.db"
    logger = Running(path, broker)
    sender = rig.client(broker.port)

    def send(first: int, end: int) -> None:
        for n in range(first, end, 10):
            keys = [(1, n + k) for k in range(10)]
            after = (1, n - 1) if n else (-1, -1)
            sender.publish("dewmargin/once/records", rig.pack("once", keys, after=after), qos=1).wait_for_publish(20.0)

    logger.limit = 1
    rig.wait_for(lambda: logger.set_to == 1, "no room")
    send(0, 3000)
    rig.wait_for(lambda: logger.logger.is_failing, "the disk is full")
    assert rows_in(path) < 3000
    logger.limit = 1_000_000
    rig.wait_for(lambda: rows_in(path) == 3000, "all that was sent while there was no room")
    logger.end()
    send(3000, 3200)
    logger = Running(path, broker)
    rig.wait_for(lambda: rows_in(path) == 3200, "all that was sent while the logger was away")
    logger.end()
    sender.disconnect()
    sender.loop_stop()


def test_what_waits_is_forgotten_with_its_connection(tmp_path):
    base = LogBase(str(tmp_path / "log.db"))
    logger = mqttlog.Logger(base, broker_link.broker_of("mqtt://127.0.0.1", "", "", ""), "x")
    logger.waiting.append((1, 1, "dewmargin/a/records", b""))
    logger._on_disconnect()
    assert logger.waiting == []  # its number would acknowledge another message of the next connection
    base.close()


def test_nonsense_is_told_and_does_not_stop_the_rest(tmp_path, broker, capsys):
    logger = Running(tmp_path / "log.db", broker)
    board = rig.Board("nonsense", broker.port)
    bad_name = rig.pack("BAD NAME", [(1, 0)])
    for topic, payload in (("BAD NAME", bad_name), ("nonsense", b"{"), ("nonsense", b"\0" * 70000)):
        board.client.publish(f"dewmargin/{topic}/records", payload, qos=1)
    board.record([(1, n) for n in range(30)])
    steps(board, (1, 29))
    board.stop()
    logger.end()
    errors = capsys.readouterr().err
    assert errors.count("is left out") == 2, errors  # of one board one complaint an hour


def test_broker_and_logger_killed_lose_and_double_nothing():
    keys = [(1 + n // 100, n % 100) for n in range(200)]
    assert log_kills.run(["broker", "logger"], keys, 2, random.Random(3), 0.1)


def test_nobody_there_is_no_error_and_ctrl_c_ends_it(tmp_path):
    logger = rig.Process(rig.dewmargin("log", tmp_path / "log.db", "--broker", f"mqtt://127.0.0.1:{rig.free_port()}"))
    logger.start()
    assert "trying again" in logger.running.stderr.readline()
    status, out, errors = logger.end(2)
    assert (status, out) == (0, "") and errors.count("\n") == 1 and "0 new" in errors


def test_two_loggers_of_one_file_are_told_once_and_store_each_record_once(tmp_path, broker, capsys, monkeypatch):
    monkeypatch.setattr(broker_link, "FIRST_WAIT_S", 0.1)
    loggers = [Running(tmp_path / "log.db", broker) for _ in range(2)]
    board = rig.Board("twice", broker.port)
    board.record([(1, n) for n in range(50)])
    steps(board, (1, 49))
    errors = ""
    end_s = time.monotonic() + rig.WAIT_S
    while errors.count("do not last") < 2 and time.monotonic() < end_s:
        time.sleep(0.1)
        errors += capsys.readouterr().err
    time.sleep(0.3)
    board.stop()
    for logger in loggers:
        logger.end()
    errors += capsys.readouterr().err
    assert "cannot be written" not in errors
    assert errors.count("do not last") == 2 and errors.count("connected to") <= 2 * (1 + mqttlog.MOST_FLAPS), errors
    with sqlite3.connect(tmp_path / "log.db") as db:
        assert db.execute("SELECT count(*) FROM minutes").fetchone() == (50,)
