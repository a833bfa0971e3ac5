"""Many drawn houses: the same numbers with any workers, in any order and after a kill; what is kept, refused, shown."""

import io
import json
import os
import random
import re
import shlex
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
import short_winters

from dewsim import cli, family_command, family_report, family_run, family_table, houses, named, replay
from dewsim.errors import InputError

ROOT = Path(__file__).resolve().parents[2]
SEED = 5
HOUSES = 3
PATIENCE_S = 300


@pytest.fixture(scope="module")
def winters(tmp_path_factory):
    """Two stretches of two days, as files."""
    folder = tmp_path_factory.mktemp("winters")
    return [str(short_winters.write(folder / f"{day}.csv", 2, day)) for day in (75, 110)]


def plan_of(winters, n_houses=HOUSES, seed=SEED):
    return family_run.Plan([family_run.Winter(name, named.winter(name)) for name in winters], seed, n_houses)


def done(plan, folder, engine):
    return family_run.run(plan, folder, engine, io.StringIO())


@pytest.fixture(scope="module")
def reference(winters, tmp_path_factory):
    """(the cases by one worker, their file's bytes)."""
    folder = tmp_path_factory.mktemp("one") / "out"
    cases = done(plan_of(winters), folder, lambda: family_run.Processes(1))
    return cases, (folder / family_run.CASES).read_bytes()


def command(winters, folder, *more):
    words = [sys.executable, "-m", "dewsim.cli", "replay", "--houses", str(HOUSES), "--seed", str(SEED)]
    for name in winters:
        words += ["--weather", name]
    environment = dict(os.environ, PYTHONPATH=f"{ROOT / 'shared'}{os.pathsep}{ROOT / 'sim'}")
    return [*words, "--out", str(folder), *more], {"env": environment, "text": True, "stderr": subprocess.PIPE}


def until(found, what):
    end = time.monotonic() + PATIENCE_S
    while not found():
        assert time.monotonic() < end, what
        time.sleep(0.02)


def lines_in(path):
    return path.read_bytes().count(b"\n") if path.exists() else 0


def gone(group):
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return True
    return False


# The same numbers


def test_some_draws_pass_and_some_are_left_out(reference):
    cases, _ = reference
    assert len(family_table.passed(cases)) == 2 * HOUSES < len(cases)


def test_every_case_is_what_it_is_alone_and_in_any_order(reference, winters):
    cases, _ = reference
    skies = [named.winter(name) for name in winters]
    left_out = [key for key, case in cases.items() if "rejected" in case]
    for winter, index in [max(cases), min(cases), *left_out[:3]]:
        assert cases[(winter, index)] == {"winter": winter, **houses.judged(skies[winter], SEED, index)}


def test_a_killed_run_leaves_no_process_and_goes_on_to_the_same_bytes_with_two_workers(reference, winters, tmp_path):
    folder = tmp_path / "out"
    words, options = command(winters, folder, "--workers", "2")
    first = subprocess.Popen(words, start_new_session=True, stdout=subprocess.DEVNULL, **options)
    until(lambda: lines_in(folder / family_run.CASES) >= 3, "two cases in good time")
    first.kill()
    first.wait()
    first.stderr.close()
    until(lambda: gone(first.pid), "the workers leave with whoever started them")
    before = lines_in(folder / family_run.CASES)
    assert before < lines_in_bytes(reference[1])
    with open(folder / family_run.CASES, "ab") as file:
        file.write(b'{"winter": 0, "index": 1, "cl')  # what a kill may leave
    again = subprocess.run(words, stdout=subprocess.PIPE, **options)
    assert again.returncode == 0, again.stderr
    assert (folder / family_run.CASES).read_bytes() == reference[1]
    assert sorted(os.listdir(folder)) == ["cases.jsonl", "houses.html", "houses.json"]
    assert "clear" in again.stdout or "foggy" in again.stdout


def lines_in_bytes(content):
    return content.count(b"\n")


@pytest.mark.parametrize("number, status", [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_an_interrupted_run_ends_soon_keeps_what_is_done_and_leaves_no_worker(winters, tmp_path, number, status):
    folder = tmp_path / "out"
    words, options = command(winters, folder, "--workers", "2", "--houses", "100")  # never done before the signal
    process = subprocess.Popen(
        words,
        start_new_session=True,
        stdout=subprocess.PIPE,
        preexec_fn=lambda: signal.signal(number, signal.SIG_DFL),  # a run in the background inherits SIGINT ignored
        **options,
    )
    until(lambda: lines_in(folder / family_run.CASES) >= 2, "a case in good time")
    process.send_signal(number)
    _, errors = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == status, errors
    assert "Traceback" not in errors
    assert ("the same command goes on" in errors) == (number == signal.SIGINT)
    until(lambda: gone(process.pid), "the workers are told to leave")
    assert lines_in(folder / family_run.CASES) >= 2


def test_a_dask_cluster_gives_the_same_bytes_and_a_killed_worker_loses_nothing(reference, winters, tmp_path):
    from distributed import Client, LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, local_directory=str(tmp_path)
    ) as cluster:
        address = cluster.scheduler_address
        with Client(address, set_as_default=False) as client:
            pids = client.run(os.getpid)
            assert len(set(pids.values()) - {os.getpid()}) == 2
        folder = tmp_path / "killed"
        killer = threading.Thread(target=kill_after_a_case, args=(folder / family_run.CASES, min(pids.values())))
        killer.start()
        done(plan_of(winters), folder, lambda: family_run.Cluster(address))
        killer.join()
        assert (folder / family_run.CASES).read_bytes() == reference[1]
        with Client(address, set_as_default=False) as client:
            assert set(client.run(os.getpid).values()) != set(pids.values()), "the worker was really killed"


def kill_after_a_case(path, pid):
    until(lambda: lines_in(path) >= 2, "a case in good time")
    os.kill(pid, signal.SIGKILL)


# Who is next


def played(n_houses, n_winters, passes, chance, found=()):
    """All keys that the queue hands out, when results come back in a random order."""
    queue = family_run.Queue(Asked(n_houses, n_winters), dict(found))
    out, handed = [], []
    while True:
        ticket = queue.next()
        while ticket and len(out) < 5:
            out.append(ticket)
            handed.append(ticket)
            ticket = queue.next() if len(out) < 5 else None
        if not out:
            return handed
        key = out.pop(chance.randrange(len(out)))
        queue.done(key[0], {"runs": {}} if passes(key) else {"rejected": "fogs"})


class Asked:
    """A plan of which only the sizes are looked at."""

    def __init__(self, n_houses, n_winters):
        self.n_houses = n_houses
        self.winters = [None] * n_winters


@pytest.mark.parametrize("seed", range(20))
def test_exactly_the_draws_up_to_the_last_that_counts_are_judged(seed):
    chance = random.Random(seed)
    good = {(winter, index) for winter in range(3) for index in range(400) if chance.random() < 0.3}
    n_houses = chance.randint(1, 9)
    wanted = set()
    for winter in range(3):
        last = sorted(index for w, index in good if w == winter)[n_houses - 1]
        wanted |= {(winter, index) for index in range(last + 1)}
    handed = played(n_houses, 3, good.__contains__, chance)
    assert len(handed) == len(set(handed)) and set(handed) == wanted
    kept = {key: {"runs": {}} if key in good else {"rejected": "fogs"} for key in wanted if chance.random() < 0.5}
    again = played(n_houses, 3, good.__contains__, chance, kept)
    assert set(again) == wanted - set(kept) and len(again) == len(set(again))


def test_a_finished_run_starts_no_worker(reference, winters, tmp_path):
    (tmp_path / family_run.CASES).write_bytes(reference[1])

    def none_needed():
        raise AssertionError("nothing was left to do")

    assert done(plan_of(winters), tmp_path, none_needed) == reference[0]
    assert (tmp_path / family_run.CASES).read_bytes() == reference[1]


class Rejecting:
    """An engine in whose winters no house passes."""

    workers = 1
    lost = ()
    closed = None

    def submit(self, sky, seed, index, runs):
        from concurrent.futures import Future

        future = Future()
        future.set_result({"index": index, "rejected": "fogs"})
        return future

    def close(self, failed):
        self.closed = failed


def test_a_winter_too_mild_for_any_house_ends_with_one_line(winters, tmp_path, monkeypatch):
    monkeypatch.setattr(family_run, "MOST_WITHOUT", 20)
    engine = Rejecting()
    with pytest.raises(InputError, match="found 0 houses that pass among 2[01] drawn: too mild"):
        done(plan_of(winters), tmp_path / "out", lambda: engine)
    assert engine.closed is True


def test_a_killed_process_of_the_pool_is_one_line_and_keeps_what_is_done(winters, tmp_path):
    class Doomed(family_run.Processes):
        def submit(self, *arguments):
            future = super().submit(*arguments)
            for process in self.pool._processes.values():
                os.kill(process.pid, signal.SIGKILL)
            return future

    with pytest.raises(InputError, match="a worker was killed.*the same command again"):
        done(plan_of(winters), tmp_path / "out", lambda: Doomed(1))
    assert lines_in(tmp_path / "out" / family_run.CASES) == 1


# What is refused


OTHERS = [
    ({"seed": 6}, "a run with seed 5"),
    ({"n_houses": HOUSES + 1}, "a run with houses 3"),
]


@pytest.mark.parametrize("changes, words", OTHERS)
def test_another_run_does_not_go_on_from_this_one(reference, winters, tmp_path, changes, words):
    (tmp_path / family_run.CASES).write_bytes(reference[1])
    with pytest.raises(InputError, match=words):
        done(plan_of(winters, **changes), tmp_path, lambda: None)
    assert (tmp_path / family_run.CASES).read_bytes() == reference[1]


def test_neither_other_weather_nor_another_program_goes_on(reference, winters, tmp_path, monkeypatch):
    (tmp_path / family_run.CASES).write_bytes(reference[1])
    with pytest.raises(InputError, match="a run with winters"):
        done(plan_of(winters[:1]), tmp_path, lambda: None)
    monkeypatch.setattr(family_run, "code_digest", lambda: "another")
    with pytest.raises(InputError, match="another version of the program"):
        done(plan_of(winters), tmp_path, lambda: None)
    assert (tmp_path / family_run.CASES).read_bytes() == reference[1]


def test_the_digest_follows_what_decides_and_not_what_shows(monkeypatch):
    before = family_run.code_digest()
    read = Path.read_bytes
    for name, same in (("plant.py", False), ("outlook.py", False), ("report.py", True), ("family_run.py", True)):
        monkeypatch.setattr(Path, "read_bytes", lambda p, n=name: read(p) + b"#" * (p.name == n))
        assert (family_run.code_digest() == before) == same, name


@pytest.mark.parametrize("line", [b"{}\n", b"[1]\n", b"no\n", b'{"winter": 7, "index": 0, "rejected": "fogs"}\n'])
def test_a_broken_line_is_named(reference, winters, tmp_path, line):
    first, _, rest = reference[1].partition(b"\n")
    (tmp_path / family_run.CASES).write_bytes(first + b"\n" + line + rest)
    with pytest.raises(InputError, match=r"cases\.jsonl, line 2: found no case"):
        done(plan_of(winters), tmp_path, lambda: None)


@pytest.mark.parametrize("line", [b"winter,index\n", b"[]\n", b"\xff\n"])
def test_a_file_that_is_none_of_ours_is_refused(winters, tmp_path, line):
    (tmp_path / family_run.CASES).write_bytes(line)
    with pytest.raises(InputError, match="line 1: found no header"):
        done(plan_of(winters), tmp_path, lambda: None)
    assert (tmp_path / family_run.CASES).read_bytes() == line


def test_folders_that_hold_other_things_are_refused(tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("x")
    (tmp_path / "half").mkdir()
    (tmp_path / "half" / "houses.json").write_text("{}")
    for name, words in (
        ("mine", "other files in it, notes.txt"),
        ("half", "no cases.jsonl beside houses.json"),
        ("mine/notes.txt", "found a file"),
        ("absent/new", "parent folder does not exist"),
        ("a\0b", "not a usable path"),
    ):
        with pytest.raises(InputError, match=words):
            family_command.checked_folder(str(tmp_path / name))
    with pytest.raises(InputError, match="found no name"):
        family_command.checked_folder("")
    assert family_command.checked_folder(str(tmp_path / "new")) == tmp_path / "new"
    assert not (tmp_path / "new").exists()


REFUSED = [
    (["x.toml", "--houses", "3", "--weather", "hard:1"], "x.toml beside --houses"),
    (["--houses", "3", "--weather", "hard:1", "--exact-sensors"], "--exact-sensors: not with --houses"),
    (["--houses", "3", "--weather", "hard:1", "--all-records"], "--all-records: not with --houses"),
    (["--houses", "3", "--weather", "hard:1", "--bench"], "--bench: not with --houses"),
    (["--houses", "3", "--weather", "hard:1", "--forecast", "none"], "--forecast: not with --houses"),
    (["--houses", "3", "--weather", "hard:1", "--dask", "x", "--workers", "2"], "--workers: not with --dask"),
    (["--houses", "3", "--weather", "hard:1", "--weather", "hard:1"], "hard:1: found it twice"),
    (["--houses", "3", "--weather", "hard:x"], "found the seed 'x'"),
    (["--houses", "3", "--weather", "hard:"], "found the seed ''"),
    (["--houses", "3", "--weather", "hard:-1"], "found the seed '-1'"),
    (["--houses", "3", "--weather", "soft:1"], "found the kind soft"),
    (["--houses", "3", "--weather", "absent.csv"], "absent.csv: cannot be read"),
    (["--houses", "3", "--weather", "hard:1", "--dask", "nowhere"], "--dask nowhere: no cluster to work with"),
    (["default", "--weather", "hard:1", "--workers", "2"], "--workers: only with --houses"),
    (["default", "--weather", "hard:1", "--dask", "x"], "--dask: only with --houses"),
    (["default", "--weather", "hard:1", "--weather", "hard:2"], "found more than one"),
    (["drawn:1", "--weather", "hard:1"], "drawn:1: allowed is drawn:SEED:INDEX"),
    (["drawn:1:x", "--weather", "hard:1"], "drawn:1:x: allowed is"),
    (["drawn:1:2:good", "--weather", "hard:1"], "perhaps :exact, :erring, :corner"),
]


@pytest.mark.parametrize("words, message", REFUSED)
def test_bad_arguments_are_one_line_and_write_nothing(tmp_path, monkeypatch, capsys, words, message):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(family_run, "CONNECT_S", 1)
    assert cli.main(["replay", *words, "--out", "out"]) == 2
    errors = capsys.readouterr().err
    assert errors.count("\n") == 1 and message in errors
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("text", ["0", "-1", "1.5", "many", "", "10001", "9" * 5000, "１"])
@pytest.mark.parametrize("option", ["--houses", "--workers"])
def test_numbers_of_houses_and_workers(capsys, option, text):
    with pytest.raises(SystemExit, match="2"):
        cli.main(["replay", "--weather", "hard:1", option, text])
    assert "allowed is a whole number from 1 to 10000" in capsys.readouterr().err


def test_without_dask_one_line_says_how_to_get_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"found no Dask here; install it with: pip install 'dewmargin\[cluster\]'"):
        family_run.Cluster("tcp://127.0.0.1:8786")


# What is shown


def block(gain, added=0, dry_hours=100.0, **more):
    return {"added_wet_minutes": added, "mean_rh_pct": 20.0 + gain, "gain_pct": gain, "hours_below_25_pct": dry_hours,
            "valve_starts": 1, **more}  # fmt: skip


def made_up(winter, index, kind, gains, added=0, **more):
    """A case whose `best` gains 10 %, so that shares are ten times the gains."""
    runs = {"exact": {"plain": block(2.0), "forecast": block(gains, added, **more)}}
    return {"winter": winter, "index": index, "class": kind, "binding": kind == "clear", "R": 0.8, "runs": runs,
            "shut": {"mean_rh_pct": 20.0}, "best": {"mean_rh_pct": 30.0}}  # fmt: skip


def test_the_table_by_hand():
    cases = [made_up(0, i, "clear", gain, added) for i, (gain, added) in enumerate([(4, 0), (6, 7), (9, 0)])]
    cases.append(made_up(0, 9, "foggy", 1.0, 50, added_wet_minutes_under_rule=0))
    found = family_table.table(cases)
    assert list(found) == ["clear, binding", "foggy"]
    assert found["clear, binding"]["exact"]["forecast"] == {
        "houses": 3,
        "zero_added": 2,
        "worst_added_wet_minutes": 7,
        # shares 40, 60, 90: the 10th percentile is a fifth of the way from 40 to 60
        "share_of_best_pct": {"median": 60.0, "tenth_percentile": 44.0, "worst": 40.0},
        "gain_median_pct": 6,
        "hours_below_25_median": 100,
    }
    foggy = found["foggy"]["exact"]["forecast"]
    assert (foggy["zero_added"], foggy["worst_added_wet_minutes"]) == (0, 50)
    assert (foggy["zero_added_under_rule"], foggy["worst_under_rule"]) == (1, 0)
    worst = family_table.worst(plan_without_sky(), cases)
    assert [(row["index"], row["counted_wet_minutes"]) for row in worst["wet"]] == [(1, 7)]
    assert [row["index"] for row in worst["low_share"]] == [9, 0, 1, 2]
    assert [row["index"] for row in worst["drier_than_plain"]] == [9]


def plan_without_sky():
    return family_run.Plan([family_run.Winter("hard:3", None)], SEED, 1)


def test_the_files_say_what_the_cases_say_and_need_nothing_else(reference, winters, tmp_path):
    cases, _ = reference
    text = family_report.write(plan_of(winters), cases, tmp_path)
    found = json.loads((tmp_path / "houses.json").read_text())
    assert [w["passed"] for w in found["winters"]] == [HOUSES] * 2
    assert sum(w["drawn"] for w in found["winters"]) == len(cases)
    for w in found["winters"]:
        assert w["drawn"] == w["passed"] + sum(w["left_out"].values())
    assert sum(r["exact"]["plain"]["houses"] for r in found["table"].values()) == 2 * HOUSES
    page = (tmp_path / "houses.html").read_text()
    assert "licensed practice" in page and "line voltage" in page
    assert not re.search("https?://|<script|<link (?!rel=\"icon\" href=\"data:,\")|src=", page)
    assert page.count("<svg") == page.count("</svg>") > 3
    for row in [row for rows in found["worst"].values() for row in rows]:
        words = shlex.split(row["command"])
        arguments = cli.parser().parse_args(words[1:])
        drawn = named.Drawn(arguments.house)
        assert (drawn.seed, drawn.index, drawn.regime) == (SEED, row["index"], row["regime"])
        assert (arguments.forecast == "none") == (row["policy"] == "none")
    for name in winters:
        assert name in text


def test_the_command_of_a_case_replays_that_house(reference, winters, tmp_path, capsys):
    case = next(case for case in family_table.passed(reference[0]) if case["winter"] == 0)
    line = family_table.command(plan_of(winters), case, "erring", "forecast")
    words = shlex.split(line)[1:-1] + [str(tmp_path / "alone")]
    assert cli.main(words) == 0
    result = json.loads((tmp_path / "alone" / replay.RESULT).read_text())
    assert result["headroom_class"] == case["class"] and result["binding"] == case["binding"]
    blocks = result["policies"]
    assert blocks["shut"]["mean_rh_pct"] == case["shut"]["mean_rh_pct"]
    assert blocks["best"]["mean_rh_pct"] == case["best"]["mean_rh_pct"]
    mine = case["runs"]["erring"]["forecast"]
    assert blocks["outlook"]["added_wet_minutes"] == mine["added_wet_minutes"]
    assert blocks["outlook"]["mean_rh_pct"] == pytest.approx(mine["mean_rh_pct"], abs=0.3)  # scans of 10 s, not 60 s
