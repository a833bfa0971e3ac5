"""Many drawn houses over some winters, on all cores or a cluster: kept line by line, gone on with after a kill.

DIR/cases.jsonl begins with a header; then comes a line for every draw, in the order in which they were finished, and
sorted once all are.  In each winter the draws are judged from index 0 on until N have passed, and none beyond.
"""

import hashlib
import json
import logging
import math
import multiprocessing
import os
import signal
import sys
import threading
import time
from concurrent.futures import FIRST_COMPLETED, CancelledError, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

from dewsim import houses
from dewsim.errors import InputError, shown, shown_path
from dewsim.progress import Line

FORMAT = 1
CASES = "cases.jsonl"
WAITING = 2  # draws handed out for each worker
CONNECT_S = 10  # to a scheduler
TRIES = 3  # of a case whose worker on a cluster was lost
LEAST_PASS = 0.02  # where after MOST_WITHOUT draws fewer pass, the winter is too mild for a family
MOST_WITHOUT = 1000
# Modules that only show results.  Any other may change numbers, so a run does not go on with another text of it.
SHOWN_ONLY = ("cli", "cautions", "charts", "family_", "faults", "figures", "progress", "replay", "report", "thinning",
              "units")  # fmt: skip


class Winter:
    """A weather by the name it was asked for."""

    def __init__(self, name: str, sky):
        self.name = name
        self.sky = sky


class Plan:
    """What is to be run: the winters, the seed of the draw, houses for each winter, (regime, policy) pairs."""

    def __init__(self, skies: list, seed: int, n_houses: int, runs=houses.RUNS):
        self.winters = skies
        self.seed = seed
        self.n_houses = n_houses
        self.runs = runs

    def header(self) -> dict:
        """What must be the same for a run to go on."""
        return {
            "format": FORMAT,
            "code": code_digest(),
            "seed": self.seed,
            "houses": self.n_houses,
            "winters": [{"name": winter.name, "digest": digest_of(winter.sky)} for winter in self.winters],
            "runs": [list(pair) for pair in self.runs],
        }


def digest_of(sky) -> str:
    """A short name for a weather's content."""
    found = hashlib.sha256(f"{sky.start_utc_s} {sky.utc_offset_s} {sky.step_s}".encode())
    for column in (sky.outdoor_c, sky.rh_pct, sky.wind_m_s, sky.pressure_pa):
        found.update(column.tobytes())
    return found.hexdigest()[:16]


def code_digest() -> str:
    """A short name for the text of everything that a case's numbers come from."""
    import dewcore

    found = hashlib.sha256()
    for folder in (Path(dewcore.__file__).parent, Path(__file__).parent):
        for path in sorted(folder.glob("*.py")):
            if not path.stem.startswith(SHOWN_ONLY):
                found.update(path.read_bytes())
    return found.hexdigest()[:16]


# What is kept


class Kept:
    """The cases of a plan in a folder: found ones by (winter number, index), and new ones added as they come."""

    def __init__(self, folder: Path, plan: Plan):
        self.folder = folder
        self.path = folder / CASES
        self.plan = plan
        self.header = json.dumps(plan.header(), ensure_ascii=False)
        self.found: dict = {}
        self._whole = 0
        self._file = None

    def read(self) -> None:
        """Read what an earlier run kept, if there was one; InputError where it is of another plan."""
        if self.path.exists():
            self._whole = self._read(self.header)

    def begin(self) -> None:
        """Be ready to add; the folder is made if need be."""
        try:
            self.folder.mkdir(exist_ok=True)
            self._file = open(self.path, "r+b" if self.path.exists() else "w+b")
            self._file.truncate(self._whole)  # what a kill tore off in mid-line is done again
            self._file.seek(self._whole)
        except OSError as error:
            raise unwritable(self.folder, error) from None
        if not self._whole:
            self._line(self.header)

    def _read(self, header: str) -> int:
        """Take over every whole line; the number of bytes they have."""
        whole = 0
        with open(self.path, "rb") as file:
            for number, line in enumerate(file, 1):
                if not line.endswith(b"\n"):
                    break
                if number == 1:
                    self._check_header(line, header)
                else:
                    self._take(line, number)
                whole += len(line)
        return whole

    def _check_header(self, line: bytes, header: str) -> None:
        place = f"{shown_path(self.path)}, line 1"
        try:
            old, new = json.loads(line), json.loads(header)
            differing = [key for key in new if old.get(key) != new[key]]
        except (ValueError, AttributeError, RecursionError):
            raise InputError(f"{place}: found no header of drawn houses; name another folder with --out") from None
        if differing:
            key = differing[0]
            what = {"code": "another version of the program", "format": "another version of the program"}
            told = what.get(key, f"{key} {shown(json.dumps(old.get(key)), 120)}")
            raise InputError(
                f"{place}: found a run with {told}, allowed is to go on with the same command and program; name "
                "another folder with --out, or remove this one"
            )

    def _take(self, line: bytes, number: int) -> None:
        try:
            row = json.loads(line)
            key = (int(row["winter"]), int(row["index"]))
            if not 0 <= key[0] < len(self.plan.winters) or not ("rejected" in row or "runs" in row):
                raise ValueError
        except (ValueError, KeyError, TypeError, RecursionError):
            raise InputError(
                f"{shown_path(self.path)}, line {number}: found no case; remove the line, and it is worked out again"
            ) from None
        self.found[key] = row

    def add(self, number: int, row: dict) -> None:
        """One more case of winter `number`, on the disk when this returns."""
        row = {"winter": number, **row}
        self.found[(number, row["index"])] = row
        self._line(json.dumps(row, ensure_ascii=False, allow_nan=False))

    def _line(self, text: str) -> None:
        try:
            self._file.write(text.encode() + b"\n")
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise unwritable(self.folder, error) from None

    def close(self) -> None:
        """Nothing more comes."""
        if self._file:
            self._file.close()
            self._file = None

    def sort(self) -> None:
        """Put the finished file's lines in order, whole or not at all."""
        self.close()
        part = self.path.with_name(CASES + ".part")
        lines = [self.header, *(json.dumps(self.found[key], ensure_ascii=False) for key in sorted(self.found))]
        try:
            part.write_text("".join(line + "\n" for line in lines), "utf-8")
            part.replace(self.path)
        except OSError as error:
            raise unwritable(self.folder, error) from None


def unwritable(folder: Path, error: OSError) -> InputError:
    """The refusal of a folder that cannot take any more."""
    return InputError(
        f"--out {shown_path(folder)}: cannot be written ({error.strerror}); what is done is kept: make room, and give "
        "the same command again"
    )


# What is next


class Queue:
    """Which draw is next: never one beyond the N-th that passes, whatever the ones still out turn out to be."""

    def __init__(self, plan: Plan, found: dict):
        self.n_houses = plan.n_houses
        self.passed = [0] * len(plan.winters)
        self.left_out = [0] * len(plan.winters)
        self.out = [0] * len(plan.winters)
        self.missing: list = []
        self.first = [0] * len(plan.winters)
        for number in range(len(plan.winters)):
            seen = sorted(index for winter, index in found if winter == number)
            self.first[number] = seen[-1] + 1 if seen else 0
            gaps = set(range(self.first[number])) - set(seen)
            self.missing += [(number, index) for index in sorted(gaps)]
            for index in seen:
                self._count(number, found[(number, index)])

    def next(self) -> "tuple | None":
        """(winter number, index) to hand out, or None for the time being."""
        if self.missing:
            number, index = self.missing.pop(0)
            self.out[number] += 1
            return number, index
        for number, passed in enumerate(self.passed):
            if passed + self.out[number] < self.n_houses:
                self.out[number] += 1
                self.first[number] += 1
                return number, self.first[number] - 1
        return None

    def done(self, number: int, row: dict) -> None:
        """A case came back."""
        self.out[number] -= 1
        self._count(number, row)

    def _count(self, number: int, row: dict) -> None:
        if "rejected" in row:
            self.left_out[number] += 1
        else:
            self.passed[number] += 1

    def share(self) -> float:
        """Part of the work done, 0..1."""
        return sum(self.passed) / (self.n_houses * len(self.passed))

    def too_mild(self) -> "int | None":
        """A winter in which hardly any house passes."""
        for number, left_out in enumerate(self.left_out):
            if left_out >= MOST_WITHOUT and self.passed[number] < LEAST_PASS * left_out:
                return number
        return None


# Who works


def begin_worker() -> None:
    """A worker leaves at once when it is told to, or when whoever started it is gone, and never speaks."""
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent:
        threading.Thread(target=_leave_with, args=(parent,), daemon=True).start()


def _leave_with(parent) -> None:
    parent.join()
    os._exit(1)


class Processes:
    """This machine's cores."""

    lost: tuple = (BrokenProcessPool,)
    loss = "a worker was killed, perhaps for want of memory; give fewer --workers"

    def __init__(self, workers: int, work=houses.judged):
        self.workers = workers
        self.work = work
        self.pool = ProcessPoolExecutor(workers, initializer=begin_worker)

    def submit(self, *arguments):
        """A future of work(*arguments)."""
        return self.pool.submit(self.work, *arguments)

    def close(self, failed: bool) -> None:
        """Where something failed no case is waited for, but the pool's own thread is: left behind, it may close its
        pipe while the interpreter, at its end, still writes to it.
        """
        if failed:
            for child in multiprocessing.active_children():
                child.terminate()
        self.pool.shutdown(cancel_futures=True)


class Cluster:
    """The workers of a Dask scheduler; a case whose worker is lost is worked out by another one."""

    loss = "the cluster was lost; start it anew"

    def __init__(self, address: str, work=houses.judged):
        self.work = work
        try:
            from distributed import Client
        except ImportError:
            raise InputError(
                f"--dask {shown(address)}: found no Dask here; install it with: pip install 'dewmargin[cluster]'"
            ) from None
        # what goes wrong is said once, in one line
        for name in ("distributed", "distributed.client", "tornado", "asyncio"):
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        try:
            self.client = Client(address, timeout=CONNECT_S, set_as_default=False)
            if not self.client.nthreads():
                raise OSError("it has no workers")
        except (OSError, ValueError, TypeError) as error:
            reason = shown(str(error).partition("\n")[0], 200)
            raise InputError(f"--dask {shown(address)}: no cluster to work with ({reason}); correct it") from None
        from distributed import KilledWorker

        self.lost = (KilledWorker, CancelledError, TimeoutError, OSError)
        self.executor = self.client.get_executor(pure=False, retries=TRIES)

    @property
    def workers(self) -> int:
        """Threads of all workers that are there now."""
        return max(1, sum(self.client.nthreads().values()))

    def submit(self, *arguments):
        """A future of work(*arguments)."""
        return self.executor.submit(self.work, *arguments)

    def close(self, failed: bool) -> None:
        """Give back what is still out."""
        self.executor.shutdown(wait=not failed)
        self.client.close()


def work_off(plan: Plan, kept: Kept, engine, line: Line) -> None:
    """Hand out draws until every winter has its houses; each result is kept as it comes."""
    queue = Queue(plan, kept.found)
    pending: dict = {}
    started, began = time.monotonic(), queue.share()
    heard = started  # the last result
    while True:
        while len(pending) < WAITING * engine.workers and (ticket := queue.next()):
            number, index = ticket
            future = engine.submit(plan.winters[number].sky, plan.seed, index, plan.runs)
            pending[future] = number
        if not pending:
            return
        for future in wait(pending, timeout=1.0, return_when=FIRST_COMPLETED).done:
            heard = time.monotonic()
            number = pending.pop(future)
            row = result_of(future, engine, kept)
            kept.add(number, row)
            queue.done(number, row)
        mild = queue.too_mild()
        if mild is not None:
            raise InputError(
                f"--weather {shown(plan.winters[mild].name)}: found {queue.passed[mild]} houses that pass among "
                f"{queue.passed[mild] + queue.left_out[mild]} drawn: too mild a winter; leave it out"
            )
        if line.is_due():
            line.show(told(queue, began, started, min(engine.workers, len(pending)), heard))


def result_of(future, engine, kept: Kept) -> dict:
    """What a worker found; InputError where the workers themselves were lost."""
    try:
        return future.result()
    except engine.lost:
        raise InputError(
            f"--out {shown_path(kept.folder)}: {engine.loss}, and then the same command again: what is done is kept"
        ) from None


def told(queue: Queue, began: float, started: float, at_work: int, heard: float) -> str:
    """What the progress line says: share done, how many houses, whether somebody is at it, the time left."""
    share = queue.share()
    all_houses = queue.n_houses * len(queue.passed)
    text = f"houses: {100 * share:3.0f} % {sum(queue.passed)} of {all_houses} houses"
    text += f", {sum(queue.left_out)} draws left out"
    text += f", {at_work} at work, nothing back for {duration(time.monotonic() - heard)}"
    if share > began:
        left_s = (time.monotonic() - started) * (1.0 - share) / (share - began)
        text += f", {duration(left_s)} left"
    return text


def duration(seconds: float) -> str:
    """`40 s`, `12 min` or `3 h 5 min`."""
    if seconds < 90.0:
        return f"{math.ceil(seconds)} s"
    minutes = math.ceil(seconds / 60.0)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60} min"


def run_command(plan: Plan, folder: Path, engine_of) -> "dict | None":
    """`run` as a command has it: None, and what to do said, where the user stopped it."""
    try:
        return run(plan, folder, engine_of)
    except KeyboardInterrupt:
        print(
            f"dewmargin: interrupted; what is done is kept in {shown_path(folder)}: "
            "the same command goes on from there",
            file=sys.stderr,
        )
        return None


def run(plan: Plan, folder: Path, engine_of, stream=sys.stderr) -> dict:
    """Work off a plan into a folder; the cases by (winter number, index), sorted.

    engine_of(): makes the engine, only where there is something to do, and before anything is written.  Whatever ends
    this early, what is done is kept.
    """
    kept = Kept(folder, plan)
    kept.read()
    engine = engine_of() if Queue(plan, kept.found).next() else None
    line = Line(stream)
    failed = True
    try:
        kept.begin()
        if engine:
            work_off(plan, kept, engine, line)
        kept.sort()
        failed = False
    finally:
        line.end()
        kept.close()
        if engine:
            engine.close(failed)
    return {key: kept.found[key] for key in sorted(kept.found)}
