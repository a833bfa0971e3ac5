"""Broker and logger killed (SIGKILL) at random moments while records go through: nothing lost, nothing doubled.

    python tests/acceptance/log_kills.py [--records 10000] [--kills 100] [--seed 1] [--settle 0.3]

mosquitto with the files of the README; a stand-in board sends one record a message and keeps each until it is
committed.  First the broker is killed --kills times, then the logger, then both; after each kill PRAGMA
integrity_check looks at the file, at the end every record is compared with what was sent.  Exit status 0 only where
nothing is lost, doubled, changed or damaged.
"""

import argparse
import random
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "shared"), str(ROOT / "sim"), str(ROOT / "tests" / "desktop")]

import mqtt_rig as rig  # noqa: E402

LONGEST_S = 900.0


def integrity(path: Path) -> str:
    """What SQLite says of the file as it is."""
    with sqlite3.connect(path, timeout=10.0) as db:
        found = db.execute("PRAGMA integrity_check").fetchone()[0]
    db.close()
    return found


def compare(path: Path, keys: list) -> dict:
    """Records missing, extra and changed, by key and by every number."""
    db = sqlite3.connect(path)
    names = "outdoor_c, indoor_c, rh_pct, glass_c, ceiling_pct, target_pct, fan, valve"
    rows = db.execute(f"SELECT boot, seq, utc_s, {names} FROM records WHERE device = 'attic'").fetchall()
    db.close()
    found = [row[:2] for row in rows]
    changed = 0
    for boot, seq, utc_s, *values in rows:
        right = rig.numbers_of(boot, seq)[:8]
        same = all(abs(a - b) < 0.0051 for a, b in zip(values, right)) and utc_s == rig.UTC_S + 60 * seq
        changed += not same
    return {
        "lost": len(set(keys) - set(found)),
        "doubled": len(found) - len(set(found)),
        "unknown": len(set(found) - set(keys)),
        "changed": changed,
    }


def run(victims: list, keys: list, kills: int, rng: random.Random, settle_s: float) -> bool:
    """One round: the victims killed in turn, `kills` times each, while the keys go through."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o777)
        path = folder / "log.db"
        broker = rig.Mosquitto(folder)
        (folder / "pw").write_text(rig.PASSWORDS["logger"])
        words = ("log", path, "--broker", f"mqtt://127.0.0.1:{broker.port}", "--user", "logger")
        logger = rig.Process(rig.dewmargin(*words, "--password-file", folder / "pw"))
        processes = {"broker": broker, "logger": logger}
        with rig.running(broker), rig.running(logger):
            board = rig.Board("attic", broker.port, "attic", most=1)
            bad, done, began_s = feed_and_kill(board, keys, processes, victims, kills, rng, settle_s, path)
            board.stop()
        found = compare(path, keys)
        seconds = time.monotonic() - began_s
        print(
            f"{' and '.join(victims)} killed {done} times over {len(keys)} records ({seconds:.0f} s): "
            f"{found['lost']} lost, "
            f"{found['doubled']} doubled, {found['unknown']} unknown, {found['changed']} changed, "
            f"{bad} integrity checks of {done} failed; {board.messages} messages sent",
            flush=True,
        )
        return not (bad or any(found.values()) or done < kills * len(victims))


def feed_and_kill(board, keys, processes, victims, kills, rng, settle_s, path) -> tuple:
    """(integrity checks failed, kills, when it began): records at an even rate, kills at random moments."""
    began_s = time.monotonic()
    bad = done = fed = 0
    at_key = sorted(rng.uniform(0.0, 1.0) for _ in range(kills * len(victims)))
    while board.done < keys[-1]:
        assert time.monotonic() - began_s < LONGEST_S, f"not through in {LONGEST_S} s: {board.done} of {keys[-1]}"
        if fed < len(keys) and len(board.held) < 400:
            board.record(keys[fed : fed + 10])
            fed += 10
        share = keys.index(board.done) / len(keys) if board.done in keys else 0.0
        board.step()
        if done < len(at_key) and share >= at_key[done] or (done < len(at_key) and fed >= len(keys) and not board.held):
            victim = processes[victims[done % len(victims)]]
            time.sleep(rng.uniform(0.0, 0.05))
            victim.end()
            bad += integrity(path) != "ok"
            victim.start()
            done += 1
            time.sleep(rng.uniform(0.0, settle_s))
        time.sleep(0.002)
    return bad, done, began_s


def main() -> int:
    """Three rounds."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--records", type=int, default=10000)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--settle", type=float, default=0.3)
    options = parser.parse_args()
    rng = random.Random(options.seed)
    keys = [(1 + n // 4000, n % 4000) for n in range(options.records)]
    good = [
        run(victims, keys, options.kills, rng, options.settle)
        for victims in (["broker"], ["logger"], ["broker", "logger"])
    ]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
