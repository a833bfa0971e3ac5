"""The board at mosquitto and at the embedded broker, on this Python and on MicroPython, beside a real logger."""

import json
import os
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import mqtt_rig as rig
import paho.mqtt.client as paho
import pytest
from board_on_line import micropython

TESTS = Path(__file__).resolve().parents[1]
sys.path.append(str(TESTS / "board"))
from homie_reader import Reader  # noqa: E402

BASE = "homie/5/attic"
FOLDERS = [str(rig.ROOT / name) for name in ("shared", "firmware", "sim", "tests/board")]
BOARD = str(TESTS / "board" / "link_board.py")
RECORDS = 230


class BoardProcess(rig.Process):
    """link_board.py on an interpreter; its lines go to a file."""

    def __init__(self, interpreter: str, port: int, folder: Path, logger: int = 1, ca: str = ""):
        words = [BOARD, str(port), "attic", rig.PASSWORDS["attic"], str(RECORDS), str(logger)] + ([ca] if ca else [])
        heap = ["-X", "heapsize=2m"] if interpreter == "micropython" else []
        program = micropython() if interpreter == "micropython" else sys.executable
        super().__init__([program, *heap, *words])
        self.lines_file = folder / "lines"

    def start(self) -> None:
        environment = dict(os.environ, PYTHONPATH=":".join(FOLDERS), PYTHONUNBUFFERED="1")
        environment["MICROPYPATH"] = ":".join([*FOLDERS, ".frozen"])
        with self.lines_file.open("w") as out:
            self.running = subprocess.Popen(self.command, env=environment, stdout=out, stderr=out)

    def lines(self) -> list:
        """What it printed, but a line it is still at."""
        return self.lines_file.read_text().rpartition("\n")[0].splitlines()

    def last(self, word: str) -> int:
        """The newest number after a word of its report."""
        reports = [line.split() for line in self.lines() if line.startswith("late ")]
        return int(reports[-1][reports[-1].index(word) + 1]) if reports else -1


class Ear:
    """Hears all of the device from before it comes, with each message's own retain flag where MQTT 5 is spoken."""

    def __init__(self, port: int, is_5: bool, user: str = "owner"):
        self.heard = []
        self.granted = False
        version = paho.MQTTv5 if is_5 else paho.MQTTv311
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=version)
        self.client.username_pw_set(user, rig.PASSWORDS[user])
        self.client.on_message = self._hear
        self.client.on_subscribe = lambda *_: setattr(self, "granted", True)
        self.client.connect("127.0.0.1", port, 30)
        self.client.loop_start()
        rig.wait_for(self.client.is_connected, "an ear is connected")
        if is_5:
            options = paho.SubscribeOptions(qos=1, retainAsPublished=True)
            self.client.subscribe([(BASE + "/#", options), ("dewmargin/#", options)])
        else:
            self.client.subscribe([(BASE + "/#", 1), ("dewmargin/#", 1)])
        rig.wait_for(lambda: self.granted, "subscribed")

    def _hear(self, _client, _data, message) -> None:
        self.heard.append((message.topic, message.payload, bool(message.retain)))

    def last(self, topic: str) -> bytes | None:
        """The newest payload of a topic."""
        found = [payload for name, payload, _ in list(self.heard) if name == topic]
        return found[-1] if found else None

    def read(self) -> Reader:
        """A strict reader of all that was heard."""
        reader = Reader("attic")
        for topic, payload, is_retained in list(self.heard):
            if not topic.endswith("/set"):
                reader.take(topic, payload, is_retained)
        return reader

    def say(self, topic: str, payload: bytes, is_retained: bool = False) -> None:
        """Publish, and wait until the broker has it."""
        self.client.publish(topic, payload, 1, is_retained).wait_for_publish(5)

    def stop(self) -> None:
        """Gone."""
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture(scope="module", params=[rig.Mosquitto, rig.Embedded], ids=["mosquitto", "embedded"])
def broker(request, tmp_path_factory):
    """A broker with users."""
    folder = tmp_path_factory.mktemp(request.param.__name__)
    folder.chmod(0o777)
    with rig.running(request.param(folder)) as process:
        process.is_5 = request.param is rig.Mosquitto
        yield process


@pytest.fixture
def ear(broker):
    """One from before the board comes; afterwards nothing of the device is left at the broker."""
    made = Ear(broker.port, broker.is_5)
    yield made
    for topic in {topic for topic, _, _ in made.heard}:
        made.say(topic, b"", True)
    made.stop()
    logger = rig.client(broker.port, "logger")
    logger.publish("dewmargin/attic/committed", b"", 1, True).wait_for_publish(5)
    logger.disconnect()
    logger.loop_stop()


def test_a_board_at_a_broker_with_a_logger(broker, ear, tmp_path):
    (tmp_path / "pw").write_text(rig.PASSWORDS["logger"])
    words = ("log", tmp_path / "log.db", "--broker", f"mqtt://127.0.0.1:{broker.port}", "--user", "logger")
    logger = rig.Process(rig.dewmargin(*words, "--password-file", tmp_path / "pw"))
    with rig.running(logger), rig.running(BoardProcess("micropython", broker.port, tmp_path)) as board:
        rig.wait_for(lambda: ear.last(BASE + "/$state") == b"ready", "ready")
        if broker.is_5:
            check_live(ear.read())
        check_kept(broker)
        check_commands(ear, board)
        rig.wait_for(lambda: board.last("freed") == RECORDS - 1, "all is committed")
        with sqlite3.connect(tmp_path / "log.db") as base:
            rows = base.execute("SELECT count(*), count(DISTINCT seq), min(seq), max(seq) FROM records").fetchone()
        assert rows == (RECORDS, RECORDS, 0, RECORDS - 1)
        assert json.loads(ear.last("dewmargin/attic/committed")) == {"boot": 7, "seq": RECORDS - 1}
        assert board.last("late") < 200
        board.end()
        rig.wait_for(lambda: ear.last(BASE + "/$state") == b"lost", "the will")


def check_live(reader: Reader) -> None:
    """Every message as the board published it is as the convention wants it."""
    assert reader.problems == []
    assert reader.states[-2:] == ["init", "ready"]
    assert set(reader.missing()) <= {"control/test"}
    assert reader.values["settings/wish-pct"] == b"40"
    assert reader.values["indoor/temperature"] == b"20.40"


def check_kept(broker) -> None:
    """What the broker keeps is a whole device for whoever comes later."""
    late = Ear(broker.port, broker.is_5)
    rig.wait_for(lambda: late.last(BASE + "/$state") == b"ready" and late.last(BASE + "/$description"), "kept")
    time.sleep(0.3)
    late.stop()
    reader = Reader("attic")
    reader.take(BASE + "/$state", b"init", True)
    order = ("$description", "$target")
    kept = {topic for topic, _, is_retained in late.heard if is_retained}
    for last in (0, 1, 2):
        for topic, payload, is_retained in late.heard:
            kind = topic.rpartition("/")[2]
            is_news = not is_retained and topic in kept  # published while it listens: told live, as it was kept before
            if (order.index(kind) if kind in order else 2) == last and topic.startswith(BASE + "/") and not is_news:
                reader.take(topic, payload, is_retained)
    assert reader.problems == []
    assert set(reader.missing()) <= {"control/test"}


def check_commands(ear: Ear, board: BoardProcess) -> None:
    """One that is taken, one that is not."""
    topic = BASE + "/settings/wish-pct"
    ear.say(topic + "/set", b"3.5e1")
    rig.wait_for(lambda: ear.last(topic) == b"35", "the wish")
    assert ear.last(topic + "/$target") == b"3.5e1"
    ear.say(topic + "/set", b"90")
    rig.wait_for(lambda: ear.last(BASE + "/$log/warn") is not None, "a refusal")
    assert b"out of bounds" in ear.last(BASE + "/$log/warn")
    rig.wait_for(lambda: board.last("wish") == 35, "the board's wish")


def test_a_command_kept_by_the_broker_is_refused_at_each_start(broker, ear, tmp_path):
    ear.say(BASE + "/settings/wish-pct/set", b"20", True)
    with rig.running(BoardProcess("micropython", broker.port, tmp_path)) as board:
        rig.wait_for(lambda: ear.last(BASE + "/$log/warn") is not None, "a refusal")
        assert b"retained" in ear.last(BASE + "/$log/warn")
        assert board.last("wish") == 40


def test_without_a_logger_the_brokers_word_counts_and_the_mark_outlasts_the_board(broker, ear, tmp_path):
    batches = []
    for _ in range(2):
        with rig.running(BoardProcess("python", broker.port, tmp_path, logger=0)) as board:
            rig.wait_for(lambda: board.last("freed") == RECORDS - 1, "the broker has all")
            mark = b'{"boot":7,"seq":%d}' % (RECORDS - 1)
            rig.wait_for(lambda: ear.last("dewmargin/attic/committed") == mark, "the mark")
            batches.append(sum(topic.endswith("/records") for topic, _, _ in ear.heard))
    assert batches == [RECORDS // 10, RECORDS // 10]


def test_a_wrong_password_is_told_and_tried_ever_more_rarely(broker, tmp_path):
    board = BoardProcess("python", broker.port, tmp_path)
    board.command[4] = "wrong"
    with rig.running(board):
        rig.wait_for(lambda: len(board.lines()) > 12, "it tried")
    told = [line for line in board.lines() if line.startswith("broker")]
    assert len(told) == 1 and ("password" in told[0] or "may not connect" in told[0]), told


def certificates(folder: Path) -> None:
    """A CA and the broker's certificate, by openssl."""

    def openssl(*words) -> None:
        subprocess.run(["openssl", *words], check=True, capture_output=True, cwd=folder)

    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    openssl("req", "-x509", *curve, "-keyout", "ca.key", "-out", "ca.pem", "-days", "2", "-subj", "/CN=our own CA")
    openssl("req", *curve, "-keyout", "own.key", "-out", "own.csr", "-subj", "/CN=localhost")
    (folder / "names").write_text("subjectAltName=DNS:localhost\n")
    signing = ("-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-extfile", "names")
    openssl("x509", "-req", "-in", "own.csr", *signing, "-out", "own.pem", "-days", "2")
    for path in folder.iterdir():
        path.chmod(0o644)


@pytest.mark.parametrize("interpreter", ["python", "micropython"])
def test_tls_with_the_right_ca_and_with_another(interpreter, tmp_path):
    tmp_path.chmod(0o755)
    for name in ("right", "other"):
        (tmp_path / name).mkdir()
        certificates(tmp_path / name)
    port = rig.free_port()
    right = tmp_path / "right"
    settings = f"listener {port} 127.0.0.1\ncertfile {right}/own.pem\nkeyfile {right}/own.key\n"
    with rig.running(rig.Mosquitto(tmp_path, settings=settings)):
        with rig.running(BoardProcess(interpreter, port, tmp_path, ca=str(right / "ca.pem"))) as board:
            rig.wait_for(lambda: "broker: connected" in board.lines(), "connected")
            assert board.last("late") < 200
        with rig.running(BoardProcess(interpreter, port, tmp_path, ca=str(tmp_path / "other" / "ca.pem"))) as board:
            rig.wait_for(lambda: any(line.startswith("broker") for line in board.lines()), "refused")
            assert "broker: connected" not in board.lines()
