"""The options of `feed`, `log`, `broker` and `forget`, and what each of them starts."""

import argparse

from dewsim.errors import InputError, shown

DEFAULT_BROKER = "mqtt://127.0.0.1"
DEFAULT_LISTEN = "127.0.0.1:1883"
DEFAULT_TOPIC = "dewmargin/feed"
EVERY_MIN = (10, 15, 180)  # least, default, most minutes between two requests
UNITS = ("c", "f", "k")
KINDS = ("metar", "json", "csv")


def add(command, version: str) -> None:
    """Add the four commands; command(name, text) makes a sub-parser."""
    _add_broker(command("broker", "a small MQTT broker for those who have none"))
    _add_log(command("log", "every minute of the boards into a database that loses nothing"))
    _add_feed(command("feed", "the outdoor temperature and a forecast from a source of yours to the boards"), version)
    _add_forget(command("forget", "a board that is gone: what a broker still keeps of it is cleared"))


def add_connection(parser: argparse._ActionsContainer, default: str | None = DEFAULT_BROKER) -> None:
    """The options that say which broker, and as whom."""
    usual = "%(default)s" if default else "none"
    parser.add_argument(
        "--broker",
        metavar="ADDRESS",
        default=default,
        help=f"mqtt://HOST[:PORT], or mqtts:// with TLS (default: {usual})",
    )
    parser.add_argument("--user", metavar="NAME", default="", help="user name at the broker")
    parser.add_argument(
        "--password-file", metavar="FILE", default="", help="file whose first line is that user's password"
    )
    parser.add_argument("--ca", metavar="FILE", default="", help="for mqtts: certificates to trust, PEM")


def _add_feed(feed: argparse.ArgumentParser, version: str) -> None:
    feed.add_argument("source", metavar="SOURCE", help="http:// or https:// address, file, or - for stdin")
    feed.add_argument("--kind", choices=KINDS, required=True, help="what the source holds")
    feed.add_argument("--station", metavar="CODE", default="", help="metar: the station, where there are several")
    paths = feed.add_argument_group("json: where what stands, as now.temperature or hours[*].air")
    paths.add_argument("--outdoor", metavar="PATH", default="", help="the observed temperature")
    paths.add_argument("--time", metavar="PATH", default="", help="when it was observed")
    paths.add_argument("--forecast", metavar="PATH", default="", help="the list of temperatures to come")
    paths.add_argument("--forecast-time", metavar="PATH", default="", help="the list of their times")
    paths.add_argument("--issued", metavar="PATH", default="", help="when the forecast was made")
    paths.add_argument("--unit", choices=UNITS, default="c", help="of temperatures: °C, °F, K (default: %(default)s)")
    paths.add_argument("--utc", action="store_true", help="times without a zone are UTC")
    least, usual, most = EVERY_MIN
    feed.add_argument(
        "--every",
        metavar="MIN",
        type=_minutes,
        default=usual,
        help=f"minutes between two requests to an address, {least} to {most} (default: %(default)s)",
    )
    feed.add_argument("--topic", metavar="NAME", default=DEFAULT_TOPIC, help="topic above both (default: %(default)s)")
    feed.add_argument("--once", action="store_true", help="send one document and end")
    feed.add_argument("--print", dest="print_only", action="store_true", help="show the messages of one, send nothing")
    add_connection(feed)
    feed.set_defaults(run=lambda arguments: _feed(arguments, version))


def _minutes(text: str) -> int:
    least, _, most = EVERY_MIN
    if text.isascii() and text.isdigit() and len(text) <= 4 and least <= int(text) <= most:
        return int(text)
    raise argparse.ArgumentTypeError(
        f"found {shown(repr(text), 40)}, allowed is a whole number from {least} to {most}; correct it"
    )


def _add_log(log: argparse.ArgumentParser) -> None:
    log.add_argument(
        "action", nargs="?", metavar="report", choices=("report",), help="before DB: a page about it; no logging"
    )
    log.add_argument("log", metavar="DB", help="the database file; made where there is none")
    log.add_argument("--export", choices=("csv", "senml"), help="write the records of one board instead of logging")
    log.add_argument("--device", metavar="NAME", help="export and report: which board, where there are several")
    log.add_argument("--out", metavar="PLACE", help="export: file (default: stdout); report: page")
    log.add_argument("--units", choices=("si", "us"), help="report: units shown (default: si)")
    add_connection(log)
    log.set_defaults(run=_log)


def _add_broker(broker: argparse.ArgumentParser) -> None:
    broker.add_argument(
        "--listen", metavar="HOST:PORT", default=DEFAULT_LISTEN, help="where to listen (default: %(default)s)"
    )
    broker.add_argument("--passwords", metavar="FILE", help="only users in this file get in")
    broker.add_argument(
        "--add-user", metavar="NAME", help="write a user to the file, the password from the terminal or stdin, and end"
    )
    broker.set_defaults(run=_broker)


def _add_forget(forget: argparse.ArgumentParser) -> None:
    forget.add_argument("device", metavar="DEVICE", help="the board's name at the broker")
    forget.add_argument(
        "--anyway", action="store_true", help="also where the broker believes that the board is still connected"
    )
    add_connection(forget)
    forget.set_defaults(run=_forget)


def connection(arguments: argparse.Namespace):
    """The broker that the options name; InputError."""
    from dewsim import broker_link

    return broker_link.broker_of(arguments.broker, arguments.user, arguments.password_file, arguments.ca)


def _feed(arguments: argparse.Namespace, version: str) -> int:
    from dewsim import feed_command

    return feed_command.run(arguments, f"dewmargin/{version} (feed; one house)")


def _log(arguments: argparse.Namespace) -> int:
    if arguments.action == "report":
        if arguments.export:
            raise InputError("--export: not with report; leave one of them out")
        from dewsim import log_report

        return log_report.run(arguments.log, arguments.device, arguments.out, arguments.units or "si")
    if arguments.units:
        raise InputError("--units: only with report; leave it out")
    if arguments.export:
        from dewsim import log_export

        return log_export.run(arguments.log, arguments.export, arguments.device, arguments.out)
    if arguments.log == "report":
        raise InputError("log report: found no database; name a log that `dewmargin log` has written")
    for name in ("device", "out"):
        if getattr(arguments, name) is not None:
            raise InputError(f"--{name}: only with report or --export; leave it out")
    from dewsim import mqttlog

    return mqttlog.run(arguments.log, connection(arguments))


def _forget(arguments: argparse.Namespace) -> int:
    from dewsim import forget

    return forget.run(arguments.device, connection(arguments), arguments.anyway)


def _broker(arguments: argparse.Namespace) -> int:
    from dewsim import broker_command

    if arguments.add_user is not None:
        if arguments.passwords is None:
            raise InputError("--add-user: found no file; name it with --passwords")
        return broker_command.add_user(arguments.passwords, arguments.add_user)
    return broker_command.run(arguments.listen, arguments.passwords)
