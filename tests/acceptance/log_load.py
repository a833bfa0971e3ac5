"""What the logger carries: messages a second, a thousand boards, a full disk.

    python tests/acceptance/log_load.py rate [--messages 20000]
    python tests/acceptance/log_load.py boards [--boards 1000] [--minutes 10]
    python tests/acceptance/log_load.py full [--megabytes 24]       (as root: makes a small tmpfs)

rate: QoS 1 messages of one record each, first out of what mosquitto has kept while the logger was away, then live;
each is durable (WAL, synchronous FULL) before it is acknowledged.  boards: so many connections, each a record a
simulated minute, the next minute once every board has its mark.  full: the database on a tmpfs that fills up; after
room is made everything has to be there.  Exit status 0 only where everything arrived (rate: and at 2,000 a second).
"""

import argparse
import json
import selectors
import signal
import socket
import sqlite3
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "shared"), str(ROOT / "sim"), str(ROOT / "tests" / "desktop")]

import mqtt_rig as rig  # noqa: E402

LEAST_PER_S = 2000
LONGEST_S = 300.0
DEEP = "max_queued_messages 0"


def count(path: Path) -> int:
    """Records in the log."""
    db = sqlite3.connect(path, timeout=10.0)
    try:
        return db.execute("SELECT count(*) FROM minutes").fetchone()[0]
    finally:
        db.close()


def logger_at(path: Path, broker: rig.Process) -> rig.Process:
    """`dewmargin log` as a process."""
    return rig.Process(rig.dewmargin("log", path, "--broker", f"mqtt://127.0.0.1:{broker.port}"))


def wait_count(path: Path, n: int) -> None:
    """Until so many records are in the log."""
    rig.wait_for(lambda: path.exists() and count(path) >= n, f"{n} records", LONGEST_S)


def rate(folder: Path, messages: int) -> bool:
    """Two rounds."""
    path = folder / "log.db"
    broker = rig.Mosquitto(folder, careful=False, settings=DEEP)
    with rig.running(broker):
        logger = logger_at(path, broker)
        logger.start()
        rig.wait_for(path.exists, "the log")
        time.sleep(2.0)  # subscribed
        logger.end(signal.SIGINT)
        sender = rig.client(broker.port, in_flight=1000)
        rates = []
        for boot, what in ((1, "kept by mosquitto"), (2, "live")):
            payloads = [rig.pack("attic", [(boot, n)], after=(boot, n - 1)) for n in range(1, messages + 1)]
            if what == "live":
                began_s = time.perf_counter()
            infos = [sender.publish("dewmargin/attic/records", payload, qos=1) for payload in payloads]
            if what != "live":
                for info in infos:
                    info.wait_for_publish(LONGEST_S)
                began_s = time.perf_counter()
                logger.start()
            wait_count(path, boot * messages)
            rates.append(messages / (time.perf_counter() - began_s))
            print(f"{messages} messages {what}: {rates[-1]:.0f} a second", flush=True)
        logger.end(signal.SIGINT)
        sender.disconnect()
        sender.loop_stop()
    return min(rates) >= LEAST_PER_S


class Link:
    """One board's connection in bare bytes (MQTT 3.1.1), so that a thousand of them are cheap."""

    def __init__(self, port: int, device: str):
        self.device = device
        self.socket = socket.create_connection(("127.0.0.1", port))
        self.mark = -1
        self.buffer = b""
        name = device.encode()
        self.send(0x10, text(b"MQTT") + struct.pack("!BBH", 4, 2, 600) + text(name))
        self.send(0x82, b"\0\1" + text(b"dewmargin/" + name + b"/committed") + b"\1")

    def send(self, kind: int, body: bytes) -> None:
        """A packet with its length."""
        n, length = len(body), b""
        while True:
            n, digit = divmod(n, 128)
            length += bytes([digit | 0x80 if n else digit])
            if not n:
                break
        self.socket.sendall(bytes([kind]) + length + body)

    def record(self, seq: int) -> None:
        """This minute."""
        payload = rig.pack(self.device, [(1, seq)], after=(1, seq - 1) if seq else (-1, -1))
        topic = b"dewmargin/" + self.device.encode() + b"/records"
        self.send(0x32, text(topic) + struct.pack("!H", seq + 1) + payload)

    def take(self) -> None:
        """What has come: marks are acknowledged, all else needs no answer."""
        self.buffer += self.socket.recv(4096)
        while len(self.buffer) >= 2 and len(self.buffer) >= 2 + self.buffer[1]:
            kind, body = self.buffer[0], self.buffer[2 : 2 + self.buffer[1]]
            self.buffer = self.buffer[2 + self.buffer[1] :]
            if kind >> 4 == 3:
                at = 2 + struct.unpack("!H", body[:2])[0]
                if kind & 0x06:
                    self.socket.sendall(b"\x40\x02" + body[at : at + 2])
                    at += 2
                self.mark = json.loads(body[at:])["seq"]


def text(data: bytes) -> bytes:
    """A string of MQTT."""
    return struct.pack("!H", len(data)) + data


def rss_mb(number: int) -> float:
    """Resident memory of a process [MB]."""
    for line in Path(f"/proc/{number}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1000.0
    return 0.0


def boards(folder: Path, how_many: int, minutes: int) -> bool:
    """Ten simulated minutes as fast as they go."""
    path = folder / "log.db"
    broker = rig.Mosquitto(folder, careful=False, settings=DEEP)
    logger = logger_at(path, broker)
    with rig.running(broker), rig.running(logger):
        wait_for_logger(broker.port)
        links = [Link(broker.port, f"board-{n}") for n in range(how_many)]
        selector = selectors.DefaultSelector()
        for link in links:
            selector.register(link.socket, selectors.EVENT_READ, link)
        slowest_s = 0.0
        for minute in range(minutes):
            began_s = time.perf_counter()
            for link in links:
                link.record(minute)
            while any(link.mark < minute for link in links):
                for key, _ in selector.select(5.0):
                    key.data.take()
                assert time.perf_counter() - began_s < 60.0, "not through in a minute"
            seconds = time.perf_counter() - began_s
            slowest_s = max(slowest_s, seconds)
            memory = f"logger {rss_mb(logger.running.pid):.1f} MB, mosquitto {rss_mb(broker.running.pid):.1f} MB"
            print(f"minute {minute + 1}: {how_many} records and marks in {seconds:.2f} s; {memory}", flush=True)
        found = count(path) - 1  # the one that was waited for
        for link in links:
            link.socket.close()
        logger.end(signal.SIGINT)
    print(f"{found} of {how_many * minutes} records; a minute of {how_many} boards takes {slowest_s:.2f} s at most, so "
          f"about {how_many * 60 / slowest_s:.0f} boards a minute fill the time")  # fmt: skip
    return found == how_many * minutes


def wait_for_logger(port: int) -> None:
    """Until a board's first record has its mark: what is sent before the logger listens, nobody keeps."""
    first = Link(port, "first")
    first.socket.settimeout(0.5)
    began_s = time.perf_counter()
    while first.mark < 0:
        assert time.perf_counter() - began_s < 60.0, "no logger in a minute"
        first.record(0)
        try:
            first.take()
        except TimeoutError:
            continue
    first.socket.close()


def full(folder: Path, megabytes: int) -> bool:
    """Fill the disk, look, make room, look."""
    disk = folder / "disk"
    disk.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "none", str(disk)], check=True)
    try:
        return full_on(disk, folder, megabytes)
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def full_on(disk: Path, folder: Path, megabytes: int) -> bool:
    """The same, mounted."""
    path = disk / "log.db"
    (disk / "ballast").write_bytes(bytes(megabytes * 1_000_000))
    broker = rig.Mosquitto(folder)
    (folder / "pw").write_text(rig.PASSWORDS["logger"])
    words = ("log", path, "--broker", f"mqtt://127.0.0.1:{broker.port}", "--user", "logger")
    logger = rig.Process(rig.dewmargin(*words, "--password-file", folder / "pw"))
    keys = [(1, n) for n in range(10000)]
    with rig.running(broker), rig.running(logger):
        board = rig.Board("attic", broker.port, "attic")
        board.record(keys)
        last, since_s = board.done, time.monotonic()
        while time.monotonic() - since_s < 8.0:
            board.step()
            time.sleep(0.01)
            if board.done != last:
                last, since_s = board.done, time.monotonic()
        full_at = count(path)
        db = sqlite3.connect(path)
        check = db.execute("PRAGMA integrity_check").fetchone()[0]
        db.close()
        print(f"full after {full_at} records, mark {board.done}, integrity check: {check}", flush=True)
        (disk / "ballast").unlink()
        began_s = time.monotonic()
        while board.done < keys[-1] and time.monotonic() - began_s < LONGEST_S:
            board.step()
            time.sleep(0.01)
        board.stop()
        status, _, errors = logger.end(signal.SIGINT)
    print(errors.strip())
    found = count(path)
    print(f"room made: {found} of {len(keys)} records in the log, status {status}")
    return full_at < len(keys) == found and check == "ok" and errors.count("cannot be written") == 1


def main() -> int:
    """One of the three."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("rate", "boards", "full"))
    parser.add_argument("--messages", type=int, default=20000)
    parser.add_argument("--boards", type=int, default=1000)
    parser.add_argument("--minutes", type=int, default=10)
    parser.add_argument("--megabytes", type=int, default=24)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o777)
        if options.what == "rate":
            good = rate(folder, options.messages)
        elif options.what == "boards":
            good = boards(folder, options.boards, options.minutes)
        else:
            good = full(folder, options.megabytes)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
