"""The options of `fit`, and of `replay` where it is given a log; nothing is imported before it is needed."""

import argparse


def add(fit: argparse.ArgumentParser) -> None:
    """Those of `fit`."""
    fit.add_argument("log", metavar="LOG", help="what `dewmargin log` has written, or a record.csv")
    fit.add_argument(
        "--known", metavar="FILE", help="a house file for what no log tells, as volume, k and curtains (else defaults)"
    )
    add_season(fit)
    fit.add_argument("--out", metavar="FILE", help="house file to write, a new one (default: dewmargin-house.toml)")
    fit.set_defaults(run=_fit)


def add_to_replay(replay: argparse.ArgumentParser) -> None:
    """Those of `replay` for a log."""
    logged = replay.add_argument_group("a log (what `dewmargin log` has written, or a record.csv) in place of a house")
    logged.add_argument(
        "--fitted", metavar="FILE", help="the house file of an earlier `dewmargin fit` (else the log is fitted anew)"
    )
    logged.add_argument(
        "--change",
        metavar="SECTION.KEY=VALUE",
        action="append",
        help="what is to be otherwise than logged, as glass.f_day=0.7 or settings.cap_pct=35; more than once",
    )
    add_season(logged)


def add_season(parser) -> None:
    """Which part of a log counts."""
    parser.add_argument("--device", metavar="NAME", help="which board, where the log has several")
    parser.add_argument("--season", metavar="YEAR/YY", help="which season, as 2026/27 (default: the newest)")


def _fit(arguments: argparse.Namespace) -> int:
    from dewsim import fit_command

    return fit_command.run(arguments)
