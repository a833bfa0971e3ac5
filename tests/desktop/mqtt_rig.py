"""Brokers, a logger process and a stand-in for a board, for the tests and the long runs of feed, log and broker."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as paho
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "sim" / "dewsim" / "data"
FOLDERS = ":".join(str(ROOT / name) for name in ("shared", "firmware", "sim"))
PATH = {**os.environ, "PYTHONPATH": FOLDERS}
UTC_S = 1768435200  # 2026-01-15 00:00Z
PASSWORDS = {"owner": "pw-o", "logger": "pw-l", "feed": "pw-f", "attic": "pw-a", "cellar": "pw-c"}
WAIT_S = 20.0
VALUES = (("out/t", "Cel"), ("in/t", "Cel"), ("in/rh", "%RH"), ("glass/t", "Cel"), ("ceiling/rh", "%RH"),
          ("target/rh", "%RH"), ("fan/duty", "/"), ("valve/duty", "/"), ("valve/reason", ""),
          ("glass/look", ""))  # fmt: skip


def free_port() -> int:
    """A port that nobody uses now."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        return server.getsockname()[1]


def wait_for(happened, what: str, seconds: float = WAIT_S) -> None:
    """Until happened() is true."""
    end_s = time.monotonic() + seconds
    while not happened():
        assert time.monotonic() < end_s, f"not in {seconds} s: {what}"
        time.sleep(0.02)


def answers(port: int) -> bool:
    """Whether something listens there."""
    try:
        socket.create_connection(("127.0.0.1", port), 1.0).close()
    except OSError:
        return False
    return True


class Process:
    """A program that can be killed and started again."""

    def __init__(self, command: list):
        self.command = command
        self.running: subprocess.Popen | None = None

    def start(self, folder: Path | None = None) -> None:
        """Start it, in a folder."""
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "stdin": subprocess.DEVNULL}
        self.running = subprocess.Popen(
            self.command, env=PATH, cwd=folder, text=True, preexec_fn=_heed_ctrl_c, **pipes
        )

    def end(self, number: int = signal.SIGKILL) -> tuple:
        """(status, stdout, stderr) after a signal."""
        self.running.send_signal(number)
        out, errors = self.running.communicate(timeout=WAIT_S)
        return self.running.returncode, out, errors


def _heed_ctrl_c() -> None:
    """Tests that run in the background inherit that SIGINT is ignored."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def dewmargin(*words) -> list:
    """The command line of one of our commands."""
    return [sys.executable, "-m", "dewsim.cli", *map(str, words)]


class Mosquitto(Process):
    """Debian's mosquitto below a folder; careful: with the files of the README, users and passwords, else open."""

    def __init__(self, folder: Path, careful: bool = True, settings: str = ""):
        self.port = free_port()
        self.folder = folder
        main = folder / "mosquitto.conf"
        lines = [f"persistence_location {folder}/", "log_dest stderr", "log_type error", f"user {_user()}"]
        if careful:
            (folder / "conf.d").mkdir()
            own = (DATA / "mosquitto.conf").read_text()
            own = own.replace("listener 1883", f"listener {self.port} 127.0.0.1").replace("/etc/mosquitto", str(folder))
            (folder / "conf.d" / "dewmargin.conf").write_text(own)
            shutil.copy(DATA / "mosquitto.acl", folder / "dewmargin.acl")
            _hashed(folder / "dewmargin.passwords")
            lines += ["persistence true", f"include_dir {folder}/conf.d"]
        else:
            lines += [f"listener {self.port} 127.0.0.1", "allow_anonymous true", "persistence true"]
        main.write_text("\n".join([*lines, settings, ""]))
        super().__init__([shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin"), "-c", str(main)])

    def start(self) -> None:
        super().start()
        wait_for(lambda: answers(self.port), "mosquitto listens")


def _user() -> str:
    return "root" if os.getuid() == 0 else os.environ["USER"]


def _hashed(path: Path) -> None:
    path.write_text("".join(f"{name}:{password}\n" for name, password in PASSWORDS.items()))
    subprocess.run(["mosquitto_passwd", "-U", str(path)], check=True, capture_output=True)


class Embedded(Process):
    """`dewmargin broker`, open or with the same users."""

    def __init__(self, folder: Path, careful: bool = True):
        self.port = free_port()
        command = dewmargin("broker", "--listen", f"127.0.0.1:{self.port}")
        if careful:
            path = folder / "users"
            hashed = PasswordHash((Argon2Hasher(),)).hash
            path.write_text("".join(f"{name}:{hashed(password)}\n" for name, password in PASSWORDS.items()))
            command += ["--passwords", str(path)]
        super().__init__(command)

    def start(self) -> None:
        super().start()
        wait_for(lambda: answers(self.port), "the broker listens")


@contextmanager
def running(process: Process):
    """A started process, killed at the end."""
    process.start()
    try:
        yield process
    finally:
        if process.running.poll() is None:
            process.end()


def client(port: int, user: str = "", name: str = "", in_flight: int = 20, on_message=None) -> paho.Client:
    """A connected paho client with its thread running; with a name its session is kept."""
    made = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id=name, clean_session=not name)
    made.max_inflight_messages_set(in_flight)
    made.on_message = on_message
    if user:
        made.username_pw_set(user, PASSWORDS[user])
    made.reconnect_delay_set(1, 1)
    made.connect("127.0.0.1", port, 30)
    made.loop_start()
    wait_for(made.is_connected, "a client is connected")
    return made


def numbers_of(boot: int, seq: int) -> list:
    """What the stand-in measures in a minute: other values in each, so that a mix-up is seen."""
    k = boot * 7919 + seq
    return [-12.5 + k % 100 / 10, 20 + k % 37 / 10, 20 + k % 211 / 10, k % 53 / 10, 38.5, 30 + k % 50 / 10, 0.5,
            k % 5 / 4, k % 29]  # fmt: skip


def pack(device: str, keys: list, done: tuple = (-1, -1), after: tuple = (-1, -1), utc_s: int = UTC_S) -> bytes:
    """A batch as boards send it; a minute's time is utc_s and its number in minutes."""
    entries = [{"bn": f"dewmargin/{device}/", "n": "done/boot", "v": done[0]}, {"n": "done/seq", "v": done[1]},
               {"n": "after/boot", "v": after[0]}, {"n": "after/seq", "v": after[1]}]  # fmt: skip
    for boot, seq in keys:
        entries += [{"bt": utc_s + 60 * seq, "n": "boot", "v": boot}, {"n": "seq", "v": seq, "ut": 60}]
        for (name, unit), value in zip(VALUES, numbers_of(boot, seq)):
            entries.append({"n": name, **({"u": unit} if unit else {}), "v": round(value, 3)})
    return json.dumps(entries, separators=(",", ":")).encode()


class Board:
    """Keeps keys until they are committed, sends what follows the mark, begins again where nothing moves."""

    MOST, AHEAD = 10, 4

    def __init__(self, device: str, port: int, user: str = "", patience_s: float = 1.0, most: int = MOST):
        self.device = device
        self.held: list = []
        self.done = (-1, -1)
        self.sent = (-1, -1)
        self.most = most
        self.patience_s = patience_s
        self.moved_s = time.monotonic()
        self.messages = 0
        self.client = client(port, user, f"board-{device}")
        self.client.on_connect = self._on_connect
        self.client.on_message = self._on_message
        self.client.subscribe(f"dewmargin/{device}/committed", 1)

    def _on_connect(self, *_) -> None:
        self.client.subscribe(f"dewmargin/{self.device}/committed", 1)

    def _on_message(self, _client, _data, message) -> None:
        if message.topic != f"dewmargin/{self.device}/committed":
            return  # once in ten the embedded broker delivers what another session asked for
        mark = json.loads(message.payload)
        key = (mark["boot"], mark["seq"])
        if key != self.done:
            self.done = key
            self.moved_s = time.monotonic()

    def record(self, keys: list) -> None:
        """New minutes."""
        self.held += keys

    def step(self) -> None:
        """Free, send, begin again: what a board does now and then."""
        if not self.client.is_connected():
            return
        done = self.done
        while self.held and self.held[0] <= done:
            self.held.pop(0)
        if time.monotonic() - self.moved_s > self.patience_s:
            self.sent = done
            self.moved_s = time.monotonic()
        self.sent = max(self.sent, done)
        ahead = [key for key in self.held[: self.most * self.AHEAD] if key > self.sent]
        while ahead:
            batch, ahead = ahead[: self.most], ahead[self.most :]
            payload = pack(self.device, batch, done, self.sent)
            self.client.publish(f"dewmargin/{self.device}/records", payload, qos=1)
            self.messages += 1
            self.sent = batch[-1]

    def stop(self) -> None:
        """Gone."""
        self.client.disconnect()
        self.client.loop_stop()
