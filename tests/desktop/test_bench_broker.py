"""Broker, logger and a simulated board by the README's own commands; the bench at a broker; a board forgotten."""

import http.client
import json
import re
import shlex
import signal
import sqlite3

import mqtt_rig as rig
import pytest

from dewsim import forget
from dewsim.cli import main

SECTION = "## Every minute on your own broker\n"
BASE = "homie/5/bench"


def commands() -> list:
    """The README's three, each as words."""
    part = (rig.ROOT / "README.md").read_text(encoding="utf-8").split(SECTION)[1]
    (block,) = [text for text in re.split(r"\n\n(?! )|\n\n(?=    )", part) if "bench --broker" in text]
    return [shlex.split(line) for line in block.splitlines()]


class Printing(rig.Process):
    """A process whose lines go to a file."""

    def __init__(self, words: list, folder):
        assert words[0] == ".venv/bin/dewmargin"
        super().__init__(["sh", "-c", 'exec "$@" >"$0" 2>&1', str(folder / words[1]), *rig.dewmargin(*words[1:])])
        self.folder, self.lines = folder, folder / words[1]

    def start(self) -> None:
        """In its folder."""
        super().start(self.folder)

    def told(self) -> str:
        """All it printed."""
        return self.lines.read_text() if self.lines.exists() else ""

    def ctrl_c(self) -> int:
        """Its status."""
        return self.end(signal.SIGINT)[0]


def speed_up(address: str) -> None:
    """As a person would on the bench's page: a minute a second."""
    host = address.split("/")[2]
    line = http.client.HTTPConnection(host, timeout=10)
    head = {"Origin": "http://" + host, "Content-Type": "application/json"}
    line.request("POST", "/do", json.dumps({"do": "speed", "factor": 60}), head)
    assert line.getresponse().status == 200
    line.close()


def counted(path) -> int:
    """Records in the log."""
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as base:
        return base.execute("SELECT count(*) FROM records").fetchone()[0]


def test_three_commands_of_the_readme_run_together(tmp_path):
    port = rig.free_port()
    broker, logger, bench = commands()
    assert [words[1] for words in (broker, logger, bench)] == ["broker", "log", "bench"]
    log = tmp_path / logger[2]
    at = f"mqtt://127.0.0.1:{port}"
    with (
        rig.running(Printing([*broker, "--listen", f"127.0.0.1:{port}"], tmp_path)) as one,
        rig.running(Printing([*logger, "--broker", at], tmp_path)) as two,
        rig.running(Printing([*bench, "--broker", at], tmp_path)) as three,
    ):
        rig.wait_for(lambda: "connected as bench" in three.told(), "the board is at the broker")
        speed_up(re.search(r"http://\S+", three.told())[0])
        rig.wait_for(lambda: log.exists() and counted(log) >= 2, "records")
        heard = {}
        client = rig.client(port, on_message=lambda _c, _d, m: heard.update({m.topic: m.payload}))
        client.subscribe("homie/5/bench/#", 1)
        rig.wait_for(lambda: heard.get(BASE + "/$state") == b"ready", "ready")
        assert three.ctrl_c() == 0
        rig.wait_for(lambda: heard[BASE + "/$state"] == b"disconnected", "the last word")
        client.disconnect()
        client.loop_stop()
        assert main(["forget", "bench", "--broker", at]) == 0
        assert (two.ctrl_c(), one.ctrl_c()) == (0, 0)
    assert "new records written to" in two.told() and "bench: ended" in three.told()


# -- what is refused


@pytest.fixture
def mosquitto(tmp_path):
    """With users and the ACL of the README."""
    (tmp_path / "m").mkdir()
    (tmp_path / "m").chmod(0o777)
    tmp_path.chmod(0o755)
    for user, password in (*rig.PASSWORDS.items(), ("nobody", "wrong")):
        (tmp_path / user).write_text(password)
    made = rig.Mosquitto(tmp_path / "m")
    with (tmp_path / "m" / "dewmargin.acl").open("a") as file:
        file.write("\nuser feed\ntopic read homie/5/#\n")
    with rig.running(made) as process:
        yield process


def refused(capsys, *words) -> str:
    """The one line of a command that is refused."""
    assert main([str(word) for word in words]) == 2
    out, errors = capsys.readouterr()
    assert errors.count("\n") == 1 and errors.startswith("dewmargin: "), errors
    return errors


def test_a_broker_that_lets_nobody_in_is_one_line(mosquitto, tmp_path, capsys):
    at = f"mqtt://127.0.0.1:{mosquitto.port}"
    words = ("--broker", at, "--user", "owner", "--password-file", tmp_path / "nobody")
    assert "correct --user and --password-file" in refused(capsys, "bench", *words)
    assert "correct --user and --password-file" in refused(capsys, "forget", "attic", *words)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["bench", "--script", "acceptance", "--broker", "mqtt://127.0.0.1"], "--broker: only without --script"),
        (["bench", "--device", "attic"], "--device: only with --broker"),
        (["bench", "--broker", "mqtt://127.0.0.1", "--device", "Attic"], "device: found 'Attic'"),
        (["bench", "--broker", "mqtts://127.0.0.1"], "ca: none; give"),
        (["bench", "--broker", "mqtt://no-such-host.invalid"], "no-such-host.invalid: not found"),
        (["forget", "a/b"], "one board's name"),
        (["forget", "attic", "--broker", "mqtt://127.0.0.1:1"], "cannot be reached"),
    ],
    ids=lambda value: " ".join(value)[:40] if isinstance(value, list) else "",
)
def test_errors_are_one_line(words, told, capsys):
    assert told in refused(capsys, *words)


# -- forget


def test_a_board_that_is_gone_is_forgotten_and_another_is_not(mosquitto, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(forget, "QUIET_S", 0.3)
    at = ("--broker", f"mqtt://127.0.0.1:{mosquitto.port}", "--user")
    owner = (*at, "owner", "--password-file", tmp_path / "owner")
    for device in ("attic", "cellar"):
        client = rig.client(mosquitto.port, device)
        for topic in ("$state", "$description", "a/b", "$alert/leak"):
            payload = b"ready" if topic == "$state" else b"x"
            client.publish(f"homie/5/{device}/{topic}", payload, 1, True).wait_for_publish(5)
        client.publish(f"dewmargin/{device}/committed", b'{"boot":1,"seq":2}', 1, True).wait_for_publish(5)
        client.disconnect()
        client.loop_stop()
    assert "take it off its power first" in refused(capsys, "forget", "attic", *owner)
    for user, told in (("feed", "keeps 4 topics"), ("logger", "found nothing of it")):
        other = (*at, user, "--password-file", tmp_path / user)
        assert told in refused(capsys, "forget", "attic", *other, "--anyway")
    order = []
    ear = rig.client(mosquitto.port, "owner", on_message=lambda _c, _d, m: order.append((m.topic, m.payload)))
    ear.subscribe("homie/5/attic/#", 1)
    rig.wait_for(lambda: len(order) == 4, "what is kept")
    assert main(["forget", "attic", *map(str, owner), "--anyway"]) == 0
    assert "5 topics cleared" in capsys.readouterr().out
    assert order[4] == ("homie/5/attic/$state", b"") and len(order) == 8
    ear.subscribe("#", 1)
    rig.wait_for(lambda: len(order) >= 13, "what is kept of the other")
    assert {topic.split("/")[2] for topic, _ in order[8:] if topic.startswith("homie")} == {"cellar"}
    ear.disconnect()
    ear.loop_stop()
