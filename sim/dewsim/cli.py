"""The command line: what users type, one line of error for bad input, nothing imported before it is needed."""

import argparse
import difflib
import re
import signal
import sys
from typing import NoReturn

from dewsim import commission_options, desk_options, fit_options, mqtt_options
from dewsim.cautions import epilogue
from dewsim.errors import EXIT_BAD_INPUT, EXIT_INTERRUPTED, EXIT_TERMINATED, InputError, shown

VERSION = "0.1.0"
LARGEST_SEED = 999_999_999
LONGEST_MESSAGE = 1000
UNKNOWN = "unrecognized arguments: "
MOST_AT_ONCE = 10_000  # houses or processes


class Parser(argparse.ArgumentParser):
    """Tells wrong usage in one line, as everything else that is wrong.

    commands: the sub-commands, of the top alone.
    """

    commands: "argparse._SubParsersAction | None" = None

    def parse_args(self, args=None, namespace=None):
        """As argparse does it; but what is not known is told by the command that does not know it."""
        found, rest = self.parse_known_args(args, namespace)
        if rest:
            command = self.commands.choices[found.command] if self.commands else self
            command.error(UNKNOWN + " ".join(rest))
        return found

    def error(self, message: str) -> NoReturn:
        told = shown(message.removeprefix("argument "), LONGEST_MESSAGE)
        meant = self._meant(message)
        self.exit(EXIT_BAD_INPUT, f"dewmargin: {told}{meant}; `{self.prog} --help` tells what is allowed\n")

    def _meant(self, message: str) -> str:
        """What a misspelt option or choice may have meant."""
        known = re.findall("'([^']*)'", message) if "invalid choice" in message else []
        if message.startswith(UNKNOWN + "--"):
            known = re.findall("--[a-z-]+", message)[:1] + re.findall("--[a-z-]+", self.format_usage())
        close = difflib.get_close_matches(known[0], known[1:], 1) if known else []
        return f"; did you mean {close[0]}?" if close else ""


def parser() -> argparse.ArgumentParser:
    """The parser of all sub-commands; documents are checked against it."""
    top = Parser(
        prog="dewmargin",
        description="Humidify a house as far as its coldest glass, walls and owner allow: try it in simulated winters, "
        "then size, wire, install and watch it.",
        epilog=epilogue(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action=_Version, nargs=0, help="version, and which build of the decision is loaded")
    commands = top.commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    demo = _command(commands, "demo", "an invented house through an invented winter; no set-up needed")
    demo.add_argument("--out", metavar="DIR", default="dewmargin-demo", help="folder to write (default: %(default)s)")
    demo.set_defaults(run=_demo)
    replay = _command(commands, "replay", "a whole winter through the decision code, beside the dial it replaces")
    _add_one_house(replay)
    fit_options.add_to_replay(replay)
    _add_many_houses(replay)
    replay.set_defaults(run=_replay)
    desk_options.add(lambda name, text: _command(commands, name, text))
    faults = _command(commands, "faults", "what faults do in drawn houses, how soon they are noticed, and what is told")
    _add_faults(faults)
    faults.set_defaults(run=_faults)
    install = _command(commands, "install", "the program onto a board, over its serial port")
    _add_install(install)
    install.set_defaults(run=_install)
    bench = _command(commands, "bench", "the board's program on a bench of simulated wires, to be driven and broken")
    _add_bench(bench)
    bench.set_defaults(run=_bench)
    commission = _command(commands, "commission", "put a wired unit into service, guided step by step, with a sheet")
    commission_options.add(commission)
    mqtt_options.add(lambda name, text: _command(commands, name, text), VERSION)
    fit_options.add(_command(commands, "fit", "a house file out of what a board has logged"))
    return top


def _add_one_house(replay: argparse.ArgumentParser) -> None:
    replay.add_argument(
        "house",
        metavar="HOUSE.toml",
        nargs="?",
        help="the house file, or a log; 'default' for a house of all defaults; drawn:SEED:INDEX for one of --houses, "
        "with :erring or :corner for sensors that err",
    )
    replay.add_argument(
        "--weather",
        metavar="FILE",
        action="append",
        help="EPW, TMY3 or CSV, also .gz, or KIND:SEED for an invented winter, such as hard:3; with --houses more "
        "than once",
    )
    replay.add_argument(
        "--out", metavar="DIR", default="dewmargin-replay", help="folder to write (default: %(default)s)"
    )
    replay.add_argument(
        "--seed", metavar="N", type=_seed, default=1, help="of showers, cooking and sensor noise (default: 1)"
    )
    replay.add_argument(
        "--forecast",
        choices=("simulated", "perfect", "none"),
        default="simulated",
        help="what the controller is told of the weather to come: as wrong as usual forecasts, the truth, nothing "
        "(default: %(default)s)",
    )
    replay.add_argument("--exact-sensors", action="store_true", help="no sensor errors and no tolerance margin")
    replay.add_argument("--all-records", action="store_true", help="a minute record of each controlled policy")
    replay.add_argument(
        "--board",
        action="store_true",
        help="run the shipped policy as the firmware's own app on a virtual board, beat by beat: some 20 minutes",
    )
    replay.add_argument("--bench", action="store_true", help="measure speed and memory instead of writing results")


def _add_many_houses(replay: argparse.ArgumentParser) -> None:
    many = replay.add_argument_group("many houses")
    many.add_argument(
        "--houses",
        metavar="N",
        type=_count,
        help="instead of one house: in each winter, the first N of the draw --seed that can gain by humidifying; "
        "stopped, the same command goes on from where it was",
    )
    many.add_argument("--workers", metavar="N", type=_count, help="processes at work (default: one for each core)")
    many.add_argument("--dask", metavar="ADDRESS", help="work on a Dask cluster instead, such as tcp://HOST:8786")


def _add_bench(bench: argparse.ArgumentParser) -> None:
    bench.add_argument(
        "house", metavar="HOUSE.toml", nargs="?", help="the house file whose settings count; 'default' for all defaults"
    )
    bench.add_argument(
        "--script",
        metavar="FILE",
        help="no page: run a bench script and write its result sheet; 'acceptance' is the one that is shipped; exit "
        "status 1 where something failed",
    )
    bench.add_argument(
        "--out", metavar="SHEET.html", help="with --script: the sheet to write (default: dewmargin-bench.html)"
    )
    bench.add_argument(
        "--board",
        metavar="PORT",
        help="on the board at this serial port, which `dewmargin install --bench PORT` made ready; it refuses where "
        "its line sense is live or not fitted: nothing but its own supply may be wired to it",
    )
    bench.add_argument(
        "--port", metavar="N", type=_port, help="of the page, on this computer only (default: any free one)"
    )
    at_broker = bench.add_argument_group("the bench's board at a broker, beside the page")
    at_broker.add_argument("--device", metavar="NAME", help="what it is called there (default: bench)")
    mqtt_options.add_connection(at_broker, None)


def _add_faults(faults: argparse.ArgumentParser) -> None:
    faults.add_argument("--list", action="store_true", help="the faults, and the tests of those not simulated here")
    faults.add_argument(
        "--fault",
        metavar="NAME",
        action="append",
        help="only this one, more than once for more; NAME+NAME for two at once; none and none_full for winters "
        "without a fault",
    )
    faults.add_argument("--pairs", action="store_true", help="every sensor fault with every fault of valve and relay")
    faults.add_argument(
        "--seeds", metavar="N", type=_count, default=3, help="houses in each winter (default: %(default)s)"
    )
    faults.add_argument("--seed", metavar="N", type=_seed, default=1, help="of the draw of houses (default: 1)")
    faults.add_argument(
        "--weather", metavar="FILE", action="append", help="as for replay, more than once (default: inland:2)"
    )
    faults.add_argument(
        "--out", metavar="DIR", default="dewmargin-faults", help="folder to write (default: %(default)s)"
    )
    faults.add_argument("--workers", metavar="N", type=_count, help="processes at work (default: one for each core)")
    faults.add_argument("--dask", metavar="ADDRESS", help="work on a Dask cluster instead, such as tcp://HOST:8786")
    faults.add_argument(
        "--case", metavar="INDEX", type=_seed, help="one --fault in the house of this number alone: what is told, when"
    )


def _add_install(install: argparse.ArgumentParser) -> None:
    install.add_argument(
        "port",
        metavar="PORT",
        nargs="?",
        help="the board's serial port, such as /dev/ttyACM0; first take the fuse of the valve branch out, and run a "
        "laptop on its battery",
    )
    install.add_argument(
        "--dry-run",
        action="store_true",
        help="show what would go onto a board, and with PORT where on it; write nothing",
    )
    install.add_argument("--source", action="store_true", help="Python source instead of compiled files")
    install.add_argument(
        "--bench",
        action="store_true",
        help="with the bench shim, for `dewmargin bench --board PORT`: the board makes up its readings there, and "
        "keeps the valve shut anywhere else, until it is installed again without",
    )
    _add_kept(install)


def _add_kept(install: argparse.ArgumentParser) -> None:
    """What stays on the board from release to release."""
    install.add_argument(
        "--wifi", metavar="NAME", help="the wireless network for the board to join; its key is asked for, never shown"
    )
    install.add_argument(
        "--broker", metavar="FILE", help="TOML with host, user, device and more; the password is asked for, never shown"
    )
    install.add_argument(
        "--thermometer",
        metavar="PLACE=CODE",
        action="append",
        default=[],
        help="which thermometer is where: outdoor_c, glass_c or supply_c, and the 16 hex digits that the self-test "
        "shows; more than once",
    )
    install.add_argument(
        "--backup",
        metavar="DIR",
        help="only copy settings, learned state, counters and thermometers off the board into a new folder; no "
        "password, no key",
    )
    install.add_argument("--restore", metavar="DIR", help="and put such a copy onto this board, in place of its own")


class _Version(argparse.Action):
    """Looks at the decision code only when it is asked which build it is."""

    def __call__(self, *_: object) -> None:
        from dewcore import controller

        build = "pure Python" if controller.__file__.endswith(".py") else "compiled"
        print(f"dewmargin {VERSION}, decision: {build}")
        raise SystemExit(0)


def _command(commands: argparse._SubParsersAction, name: str, text: str) -> argparse.ArgumentParser:
    return commands.add_parser(
        name,
        help=text,
        description=text[0].upper() + text[1:] + ".",
        epilog=epilogue(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def _seed(text: str) -> int:
    """A seed; beyond these bounds two of them could mean the same winter."""
    if text.isascii() and text.isdigit() and len(text) <= len(str(LARGEST_SEED)):
        return int(text)
    raise argparse.ArgumentTypeError(
        f"found {shown(repr(text), 40)}, allowed is a whole number from 0 to {LARGEST_SEED}; correct it"
    )


def _port(text: str) -> int:
    """A port that needs no rights of its own."""
    if text.isascii() and text.isdigit() and len(text) <= 5 and 1024 <= int(text) <= 65535:
        return int(text)
    raise argparse.ArgumentTypeError(
        f"found {shown(repr(text), 40)}, allowed is a whole number from 1024 to 65535; correct it"
    )


def _count(text: str) -> int:
    """How many, from 1."""
    if text.isascii() and text.isdigit() and len(text) <= 5 and 1 <= int(text) <= MOST_AT_ONCE:
        return int(text)
    raise argparse.ArgumentTypeError(
        f"found {shown(repr(text), 40)}, allowed is a whole number from 1 to {MOST_AT_ONCE}; correct it"
    )


def main(argv: list[str] | None = None) -> int:
    """Run one command; 0 done, 2 bad input (one line on stderr), 130 interrupted."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a name the terminal cannot show must not end the run
            stream.reconfigure(errors="backslashreplace")
    arguments = parser().parse_args(desk_options.joined(sys.argv[1:] if argv is None else argv))
    signal.signal(signal.SIGTERM, _terminate)
    try:
        return arguments.run(arguments)
    except InputError as error:
        print("dewmargin: " + shown(str(error), LONGEST_MESSAGE), file=sys.stderr)
        return EXIT_BAD_INPUT
    except KeyboardInterrupt:
        print("dewmargin: interrupted; nothing was written", file=sys.stderr)
        return EXIT_INTERRUPTED


def _terminate(*_: object) -> None:
    """A polite kill unwinds like Ctrl-C, so that nothing half-written stays."""
    raise SystemExit(EXIT_TERMINATED)


def _demo(arguments: argparse.Namespace) -> int:
    from dewsim import replay

    return replay.run_demo(arguments.out)


def _replay(arguments: argparse.Namespace) -> int:
    from dewsim import log_source, replay

    if arguments.house is not None and arguments.houses is None and log_source.is_log(arguments.house):
        return _replay_log(arguments)
    for name in ("fitted", "change", "device", "season"):
        if getattr(arguments, name) is not None:
            raise InputError(f"--{name}: only where a log is replayed; leave it out, or give a log in place of a house")
    if arguments.weather is None:
        raise InputError("--weather: found none; give a weather file or KIND:SEED, as hard:3, or a log as the house")
    if arguments.houses is not None:
        return _run_houses(arguments)
    for name in ("workers", "dask"):
        if getattr(arguments, name) is not None:
            raise InputError(f"--{name}: only with --houses; leave it out, or say how many houses")
    if arguments.house is None:
        raise InputError("replay: found neither a house nor --houses; name a house file, or 'default'")
    if len(arguments.weather) != 1:
        raise InputError("--weather: found more than one, allowed is one for one house; leave the others out")
    if arguments.bench:
        from dewsim import bench_replay

        return bench_replay.run(arguments.house, arguments.weather[0], arguments.seed)
    return replay.run_replay(
        arguments.house,
        arguments.weather[0],
        arguments.out,
        arguments.seed,
        arguments.exact_sensors,
        arguments.all_records,
        arguments.forecast,
        arguments.board,
    )


def _replay_log(arguments: argparse.Namespace) -> int:
    from dewsim import log_replay

    for name in ("weather", "workers", "dask", "bench", "board"):
        if getattr(arguments, name):
            raise InputError(f"--{name}: not with a log; leave it out")
    return log_replay.run(arguments)


def _bench(arguments: argparse.Namespace) -> int:
    from dewsim import bench

    return bench.run(arguments)


def _faults(arguments: argparse.Namespace) -> int:
    from dewsim import faults_command

    return faults_command.run(arguments)


def _install(arguments: argparse.Namespace) -> int:
    from dewsim import install

    return install.run(arguments)


def _run_houses(arguments: argparse.Namespace) -> int:
    from dewsim import family_command

    if arguments.house is not None:
        raise InputError(f"replay: found {shown(arguments.house)} beside --houses; leave one of them out")
    for name in ("exact_sensors", "all_records", "bench", "board"):
        if getattr(arguments, name):
            raise InputError(f"--{name.replace('_', '-')}: not with --houses; leave it out")
    if arguments.forecast != "simulated":
        raise InputError("--forecast: not with --houses, which runs with and without one; leave it out")
    if arguments.workers is not None and arguments.dask is not None:
        raise InputError("--workers: not with --dask, whose workers are already there; leave one of them out")
    return family_command.run(
        arguments.weather, arguments.out, arguments.seed, arguments.houses, arguments.workers, arguments.dask
    )


if __name__ == "__main__":
    sys.exit(main())
