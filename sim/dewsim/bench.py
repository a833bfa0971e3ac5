"""`dewmargin bench`: the live page, or with --script a bench script and its result sheet."""

import sys
from datetime import datetime
from importlib import resources
from pathlib import Path

from dewsim import bench_script, bench_sheet, housefile, pages, policies
from dewsim.bench_board import BoardBed, SeenBed, check_line_sense, check_trials
from dewsim.bench_world import Bench, VirtualBed
from dewsim.errors import InputError, shown, shown_path
from dewsim.files import contents
from dewsim.progress import Progress
from dewsim.units import counted

SHIPPED = "acceptance"
OUT = "dewmargin-bench.html"
EXIT_FAILED = 1


def run(arguments) -> int:
    """0 all passed, or the page was left; 1 something failed."""
    named = arguments.house not in (None, "default")
    house = housefile.load(arguments.house) if named else housefile.House()
    settings = policies.settings_for(house, shown_path(arguments.house))
    if arguments.script is None:
        return run_page(house if named else None, settings if named else None, arguments)
    for name in ("port", "broker"):
        if getattr(arguments, name) is not None:
            raise InputError(f"--{name}: only without --script; leave it out")
    base = f"those of {house.name}" if named else "those of a house of all defaults"
    return run_script(arguments.script, arguments.out or OUT, settings, base, arguments.board)


def run_page(house, settings, arguments) -> int:
    """The live page; the demo's winter drives the house, and the demo's house where none is named."""
    from dewsim import bench_board_live, bench_live, bench_page, replay, winters

    if arguments.out is not None:
        raise InputError("--out: only with --script; leave it out")
    at_broker = _at_broker(arguments)
    if at_broker and arguments.board is not None:
        raise InputError("--broker: not with --board, whose board has no network on the bench; leave one of them out")
    if house is None:
        house = housefile.load(replay.DEMO_HOUSE)
        settings = policies.settings_for(house, str(replay.DEMO_HOUSE.name))
    bed = _bed(arguments, settings)
    try:
        kind = bench_live.Live if arguments.board is None else bench_board_live.BoardLive
        live = kind(house, winters.ostervale(), settings, bed)
        bench_page.run(live, arguments.port or 0, at_broker)
    finally:
        bed.close()
    if live.ended and live.ended != bench_board_live.ENDED_HERE:
        raise InputError(live.ended)
    return 0


def _bed(arguments, settings):
    """Where the page's board is."""
    if arguments.board is None:
        return VirtualBed()
    check_line_sense(settings.has_line_sense, shown_path(arguments.house))
    return SeenBed(arguments.board)


def _at_broker(arguments):
    """The board's place at the broker that the options name, None for none."""
    if arguments.broker is None:
        for name in ("device", "user", "password_file", "ca"):
            if getattr(arguments, name):
                raise InputError(f"--{name.replace('_', '-')}: only with --broker; leave it out, or name a broker")
        return None
    from dewsim import bench_broker, mqtt_options, onboard

    onboard.needs_firmware()
    return bench_broker.AtBroker(mqtt_options.connection(arguments), arguments.device or "bench")


def source(name: str) -> tuple:
    """(name for people, bytes) of a script: a file, or the one that is shipped."""
    if name == SHIPPED:
        return "the shipped acceptance script", (resources.files("dewsim") / "data" / "acceptance.bench").read_bytes()
    data = contents(name, bench_script.MOST_BYTES, "a bench script")
    if len(data) > bench_script.MOST_BYTES:
        raise InputError(f"{shown_path(name)}: found more than {bench_script.MOST_BYTES} bytes; split the script")
    return Path(name).name, data


def run_script(name: str, out: str, settings, base: str, port: str | None = None) -> int:
    """Every trial, a line each on stdout; the sheet is written whatever came of them.  port: of a real board."""
    label, data = source(name)
    place = shown_path(name)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(f"{place}: line {line}: found bytes that are not UTF-8; save it as UTF-8") from None
    trials = bench_script.parse(text, place, settings)
    pages.check(out)
    if port is not None:
        check_trials(trials, place)
    bed = VirtualBed() if port is None else BoardBed(port)
    results = []
    try:
        bench = Bench(settings, bed)
        with Progress.on_terminal("bench") as progress:
            for n, trial in enumerate(trials):
                progress.stage(shown(trial.title, 40), n / len(trials), (n + 1) / len(trials))
                results.append(bench_script.run_trial(bench, trial, progress.beat))
    finally:
        bed.close()
    now = datetime.now().astimezone()
    pages.write(bench_sheet.render(results, label, data, settings, base, now, bed.name), out)
    return _tell(results, out)


def _tell(results: list, out: str) -> int:
    for result in results:
        passed = sum(outcome.passed for outcome in result.outcomes)
        word = "passed" if result.passed else "FAILED"
        print(f"{word}  {shown(result.trial.title)} ({passed} of {len(result.outcomes)})")
        for outcome in result.outcomes:
            if not outcome.passed:
                print(f"        line {outcome.line}: {outcome.expected}: {outcome.happened}")
    failed = sum(not result.passed for result in results)
    print(f"bench: {counted(len(results), 'trial')}, {failed} failed; sheet: {out}")
    sys.stdout.flush()
    return EXIT_FAILED if failed else 0
