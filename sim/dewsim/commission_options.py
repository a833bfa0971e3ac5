"""The command line of `dewmargin commission`: options and their help only."""

OUT = "dewmargin-commission.html"


def add(parser) -> None:
    """Add them."""
    parser.add_argument(
        "house", metavar="HOUSE.toml", nargs="?", help="with --simulated: the house file whose settings the board has; "
        "'default' for all defaults; without one, a board with everything fitted",
    )  # fmt: skip
    parser.add_argument("--port", metavar="PORT", help="the board's serial port, such as /dev/ttyACM0")
    parser.add_argument("--simulated", action="store_true", help="a virtual board, furnace, technician and meter")
    parser.add_argument("--fault", metavar="NAME", help="with --simulated: what is wrong there, such as no_water")
    parser.add_argument(
        "--season", choices=("full", "start", "end"), default="full",
        help="the whole, or the shorter list of a season's start or end (default: %(default)s)",
    )  # fmt: skip
    parser.add_argument("--answers", metavar="FILE", help="answers from a file instead of the keyboard, one to a line")
    parser.add_argument("--resume", action="store_true", help="go on with a stopped or failed run")
    parser.add_argument(
        "--out", metavar="SHEET.html", default=OUT, help="the sheet; its record lies beside it, as .json "
        "(default: %(default)s)",
    )  # fmt: skip
    parser.set_defaults(run=run)


def run(arguments) -> int:
    """Run the command that was typed."""
    from dewsim import commission

    return commission.run(arguments)
