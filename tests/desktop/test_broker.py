"""One suite against mosquitto, with the files of the README, and the embedded broker: all that boards rely on."""

import json
import shlex
import signal
import sqlite3
import subprocess
import time

import mqtt_rig as rig
import paho.mqtt.client as paho
import pytest

from dewcore import feed
from dewcore.readings import Readings
from dewsim.cli import main

EVERY_BYTE = bytes(range(256)) * 3


@pytest.fixture(scope="module", params=[rig.Mosquitto, rig.Embedded], ids=["mosquitto", "embedded"])
def broker(request, tmp_path_factory):
    """A broker with users."""
    folder = tmp_path_factory.mktemp(request.param.__name__)
    folder.chmod(0o777)
    with rig.running(request.param(folder)) as process:
        process.folder = folder
        yield process


class Ear:
    """A client that keeps what it hears."""

    def __init__(self, broker, topic: str, user: str = "owner", name: str = ""):
        self.heard = []
        self.granted = None
        self.client = rig.client(broker.port, user, name, on_message=self._hear)
        self.client.on_subscribe = lambda _c, _d, _m, codes, _p: setattr(self, "granted", codes)
        self.client.subscribe(topic, 1)
        rig.wait_for(lambda: self.granted, "subscribed")

    def _hear(self, _client, _data, message) -> None:
        self.heard.append((message.topic, message.payload, bool(message.retain)))

    def payloads(self) -> list:
        """Without topics and flags."""
        return [payload for _, payload, _ in self.heard]

    def stop(self) -> None:
        """Gone."""
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def ear(broker):
    """Makes ears, ends them."""
    made = []

    def listen(*arguments, **options):
        made.append(Ear(broker, *arguments, **options))
        return made[-1]

    yield listen
    for each in made:
        each.stop()


@pytest.fixture
def mouth(broker):
    """A client of the board `attic` that speaks."""
    client = rig.client(broker.port, "attic")
    yield client
    client.disconnect()
    client.loop_stop()


def say(client, topic: str, payload: bytes, retain: bool = False) -> None:
    """QoS 1, until the broker has it."""
    client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(rig.WAIT_S)


def test_every_byte_in_order(ear, mouth):
    heard = ear("homie/5/attic/order/#")
    sent = [EVERY_BYTE + b"%d" % n for n in range(50)]
    for payload in sent:
        say(mouth, "homie/5/attic/order/n", payload)
    rig.wait_for(lambda: len(heard.heard) >= 50, "all of them")
    assert heard.payloads() == sent


def test_retained_is_marked_so_for_who_comes_later_only(ear, mouth):
    live = ear("homie/5/attic/kept/#")
    say(mouth, "homie/5/attic/kept/a", b"1", retain=True)
    say(mouth, "homie/5/attic/kept/a", b"2", retain=True)
    rig.wait_for(lambda: len(live.heard) >= 2, "both, live")
    assert [(payload, flag) for _, payload, flag in live.heard] == [(b"1", False), (b"2", False)]
    late = ear("homie/5/attic/kept/#")
    rig.wait_for(lambda: late.heard, "the retained one")
    assert set(late.heard) == {("homie/5/attic/kept/a", b"2", True)}
    say(mouth, "homie/5/attic/kept/a", b"", retain=True)
    later = ear("homie/5/attic/kept/#")
    say(mouth, "homie/5/attic/kept/b", b"end")
    rig.wait_for(lambda: later.heard, "what comes after")
    assert b"2" not in later.payloads()


def test_will_of_a_link_that_breaks(broker, ear):
    heard = ear("homie/5/attic/$state")
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.username_pw_set("attic", rig.PASSWORDS["attic"])
    client.will_set("homie/5/attic/$state", b"lost", 1, True)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    rig.wait_for(client.is_connected, "connected")
    client.loop_stop()
    client.socket().close()
    rig.wait_for(lambda: heard.heard, "the will")
    assert set(heard.payloads()) == {b"lost"}


def test_what_waits_for_a_client_with_a_session(ear, mouth):
    first = ear("homie/5/attic/away/#", name="sleeper")
    first.stop()
    sent = [b"%d" % n for n in range(20)]
    for payload in sent:
        say(mouth, "homie/5/attic/away/n", payload)
    again = ear("homie/5/attic/away/#", name="sleeper")

    def waited():  # beside it may come what another client left there
        return [payload for topic, payload, _ in again.heard if topic.endswith("/n")]

    rig.wait_for(lambda: len(waited()) >= 20, "what waited")
    assert waited() == sent


@pytest.mark.parametrize(("user", "password"), [("owner", "wrong"), ("nobody", "pw-o"), (None, None)])
def test_nobody_gets_in_without_a_password(broker, user, password):
    codes = []
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    if user:
        client.username_pw_set(user, password)
    client.on_connect = lambda _c, _d, _f, code, _p: codes.append(code)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    rig.wait_for(lambda: codes, "an answer")
    client.loop_stop()
    assert codes[0].is_failure and codes[0].value in (134, 135)


def test_feed_sends_what_a_board_takes(broker, ear, tmp_path, monkeypatch):
    (tmp_path / "pw").write_text(rig.PASSWORDS["feed"])
    hour_s = int(time.time()) // 3600 * 3600
    rows = [f"{time.strftime('%Y-%m-%dT%H:%MZ', time.gmtime(hour_s + 3600 * n))},{-10 - n / 10}" for n in range(-2, 50)]
    (tmp_path / "w.csv").write_text("\n".join(["time,outdoor_c", *rows]) + "\n")
    live = ear("dewmargin/feed/#")
    words = ["feed", str(tmp_path / "w.csv"), "--kind", "csv", "--once", "--broker", f"mqtt://127.0.0.1:{broker.port}",
             "--user", "feed", "--password-file", str(tmp_path / "pw")]  # fmt: skip
    assert main(words) == 0
    late = ear("dewmargin/feed/#")
    for heard, flag in ((live, False), (late, True)):
        rig.wait_for(lambda: len({topic for topic, _, _ in heard.heard}) == 2, "both messages")
        assert {kept for _, _, kept in heard.heard} == {flag}
        readings, now_s = Readings(), int(time.time())
        for _, payload, _ in heard.heard:
            assert len(payload) <= feed.LARGEST_BYTES
            assert feed.accept(json.loads(payload), readings, now_s, now_s) == ""
        assert readings.outdoor_c.value == -10.0
        assert readings.forecast_start_s == hour_s and list(readings.forecast_dc[:3]) == [-100, -101, -102]


def test_board_logger_and_marks(broker, tmp_path):
    (tmp_path / "pw").write_text(rig.PASSWORDS["logger"])
    path = tmp_path / "log.db"
    words = ("log", path, "--broker", f"mqtt://127.0.0.1:{broker.port}", "--user", "logger")
    logger = rig.Process(rig.dewmargin(*words, "--password-file", tmp_path / "pw"))
    with rig.running(logger):
        board = rig.Board("cellar", broker.port, "cellar")
        board.record([(3, n) for n in range(200)])

        def is_through():
            board.step()
            return board.done == (3, 199)

        rig.wait_for(is_through, "all committed")
        board.stop()
        status, _, errors = logger.end(signal.SIGINT)
    assert status == 0 and "200 new records" in errors and "Traceback" not in errors
    out = subprocess.run(
        rig.dewmargin("log", path, "--export", "csv"), env=rig.PATH, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert len(out) == 201 and out[1].startswith("2026-01-15T00:00:00Z,")


def test_log_says_in_one_line_that_the_password_is_wrong(broker, tmp_path, capsys):
    (tmp_path / "pw").write_text("wrong")
    words = ["log", str(tmp_path / "log.db"), "--broker", f"mqtt://127.0.0.1:{broker.port}", "--user", "logger"]
    assert main([*words, "--password-file", str(tmp_path / "pw")]) == 2
    errors = capsys.readouterr().err.splitlines()
    assert "correct --user and --password-file" in errors[-1] and errors[-1].startswith("dewmargin: ")


def test_the_acl_keeps_boards_apart(tmp_path):
    tmp_path.chmod(0o777)
    with rig.running(rig.Mosquitto(tmp_path)) as broker:
        owner, attic = Ear(broker, "#"), rig.client(broker.port, "attic")
        spy = Ear(broker, "#", user="cellar")
        for topic in ("homie/5/cellar/a", "dewmargin/cellar/records", "dewmargin/feed/observed", "else"):
            say(attic, topic, b"forged")
        say(attic, "dewmargin/attic/records", b"own")
        rig.wait_for(lambda: owner.heard, "the board's own")
        time.sleep(0.3)
        assert owner.payloads() == [b"own"] and spy.heard == []
        for client in (owner.client, attic, spy.client):
            client.disconnect()
            client.loop_stop()


# The command itself


def test_beyond_loopback_needs_passwords():
    command = rig.dewmargin("broker", "--listen", "0.0.0.0:18830")
    ended = subprocess.run(command, env=rig.PATH, capture_output=True, text=True, timeout=rig.WAIT_S)
    assert ended.returncode == 2 and "give --passwords" in ended.stderr and ended.stderr.count("\n") == 1


def test_a_port_in_use_and_a_wrong_address(broker, capsys):
    taken = f"127.0.0.1:{broker.port}"
    for listen, word in ((taken, "cannot be used"), ("1883", "write it so"), ("h:99999", "write it so")):
        assert main(["broker", "--listen", listen]) == 2
        errors = capsys.readouterr().err
        assert word in errors and errors.count("\n") == 1, errors


def test_users_are_written_whole_and_hashed(tmp_path, capsys, monkeypatch):
    path = tmp_path / "users"
    for password in ("first", "second"):
        monkeypatch.setattr("sys.stdin", open_text(tmp_path, password))
        assert main(["broker", "--passwords", str(path), "--add-user", "anna"]) == 0
    text = path.read_text()
    assert text.count("anna:$argon2") == 1 and "second" not in text and path.stat().st_mode & 0o77 == 0
    (tmp_path / "bad").write_text("anna:plain\n")
    for words, word in (
        (["--passwords", str(tmp_path / "bad")], "line 1"),
        (["--passwords", str(tmp_path / "none")], "cannot be read"),
        (["--add-user", "anna"], "--passwords"),
        (["--passwords", str(path), "--add-user", "a:b"], "without a colon"),
    ):
        assert main(["broker", *words]) == 2
        assert word in capsys.readouterr().err


def open_text(folder, text: str):
    """A stdin with one line."""
    (folder / "stdin").write_text(text + "\n")
    return open(folder / "stdin", encoding="utf-8")


@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 0), (signal.SIGTERM, 143)])
def test_it_ends_cleanly_and_says_little(tmp_path, number, status):
    broker = rig.Embedded(tmp_path, careful=False)
    broker.start()
    client = rig.client(broker.port)
    say(client, "a", b"b")
    ended, out, errors = broker.end(number)
    client.loop_stop()
    assert (ended, out) == (status, "") and errors.count("\n") == 1 and "listening" in errors


# The README


def readme_block(after: str) -> list:
    """Lines of the first code block after some words of the README."""
    lines = (rig.ROOT / "README.md").read_text(encoding="utf-8").partition(after)[2].splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("    "))
    end = next(n for n, line in enumerate(lines[first:], first) if not line.startswith("    "))
    return [line.strip() for line in lines[first:end]]


@pytest.fixture
def processes():
    """Programs by name, killed at the end if they still run."""
    started: dict = {}
    yield started
    for process in started.values():
        if process.running.poll() is None:
            process.end()


def test_broker_logger_and_feed_of_the_readme_work_together_with_a_board(tmp_path, processes):
    port = rig.free_port()
    hour = time.strftime("%Y-%m-%dT%H:00Z", time.gmtime())
    (tmp_path / "weather.csv").write_text(f"time,outdoor_c\n{hour},-12.5\n")
    address = f"127.0.0.1:{port}"
    without_bench = readme_block("each in a terminal of its own")[:2]  # test_bench_broker.py has it
    for line in without_bench + readme_block("one that gives it the weather"):
        words = shlex.split(line.replace("trial.db", "house.db"))  # beside a board, as README has it there
        assert words[0] == ".venv/bin/dewmargin"
        elsewhere = ["--listen", address] if words[1] == "broker" else ["--broker", f"mqtt://{address}"]
        processes[words[1]] = rig.Process([*rig.dewmargin(*words[1:], *elsewhere)])
        processes[words[1]].start(tmp_path)
        rig.wait_for(lambda: rig.answers(port), "the broker")
    assert list(processes) == ["broker", "log", "feed"]
    heard = []
    ear = rig.client(port, on_message=lambda _c, _d, m: heard.append(json.loads(m.payload)["outdoor_c"]))
    ear.subscribe("dewmargin/feed/observed", 1)
    rig.wait_for(lambda: heard, "the feed")
    board = rig.Board("attic", port)
    board.record([(1, n) for n in range(20)])

    def is_through():
        board.step()
        return board.done == (1, 19)

    rig.wait_for(is_through, "all committed")
    query = next(line for line in readme_block("while the logger runs") if line.startswith("sqlite3 "))
    _, name, sql = shlex.split(query)
    with sqlite3.connect(tmp_path / name) as db:
        assert len(db.execute(sql).fetchall()) == 5
    for client in (ear, board.client):
        client.disconnect()
        client.loop_stop()
    assert set(heard) == {-12.5}
    for name in ("feed", "log", "broker"):
        status, out, errors = processes[name].end(signal.SIGINT)
        assert (status, out) == (0, "") and "Traceback" not in errors, errors
