"""The short cautions that help, report, page and card all show, kept in one place so that none says less.

The full version, each caution at the step where it matters, is hw_docs/cautions.md; a test holds the two
together.
"""

from html import escape

# (where, text, topic): where is a short tag of the moment it matters at; topic is the heading or words under
# which hw_docs/cautions.md has the full version.  Fixed order: what binds everything first, then in order of
# work.
CAUTIONS = (
    (
        "always",
        "The furnace maker's own diagram, local code and licensed practice come before anything said here.",
        "licensed practice",
    ),
    (
        "claims",
        (
            "Results are about the modelled coldest spot, within stated tolerances, in simulation. Look at "
            "windows, walls and attic yourself, at least once a year."
        ),
        "modelled coldest spot",
    ),
    (
        "before wiring",
        (
            "Stop: a humidifier terminal may be 24 VAC, a dry contact or line voltage. Read the diagram and "
            "measure on a heat call and idle; if it is not 20 to 30 VAC, do not connect it: that is "
            "licensed work."
        ),
        "line voltage",
    ),
    (
        "gas and CO",
        (
            "Smell of gas or a CO alarm: leave the house and call from outside. Keep CO alarms in every "
            "house that burns fuel."
        ),
        "CO alarm",
    ),
    (
        "measuring",
        (
            "Behind the furnace panel are mains, a blower, hot surfaces and flame. Never tape the door "
            "switch; power off before moving a lead."
        ),
        "door switch",
    ),
    (
        "wiring",
        (
            "Fuse the valve branch, switch its hot side, and never open a limit, rollout or pressure "
            "switch. A fan proof and the old dial as humidity limit stay in series, outside all software."
        ),
        "own slow fuse",
    ),
    (
        "ducts",
        (
            "Before cutting a duct know what lies behind it; old tape may be asbestos: stop. Never cut a "
            "heat exchanger."
        ),
        "asbestos",
    ),
    (
        "backdraught",
        (
            "A return opening near a fuel burner, or a tightened house, can pull flue gas indoors: have the "
            "draught tested."
        ),
        "backdraught",
    ),
    (
        "water",
        (
            "Shut off the pressure first, follow the plumbing code, keep an air gap at the drain, and feed "
            "cold water; flush after an idle week."
        ),
        "air gap",
    ),
    (
        "pads and salts",
        (
            "Gloves and a mask for pads, never acid with bleach; calibration salts are kept from children "
            "and food. Where someone's immune system is weak, ask a doctor first."
        ),
        "immune system",
    ),
    (
        "walls and attic",
        (
            "Good glass does not protect walls and attic. The caps lower that risk and prove nothing: seal "
            "the leaks through which indoor air gets there."
        ),
        "sheathing",
    ),
    (
        "trials",
        (
            "Watch the drain during a test run. Make no window test on rotten frames or near known mould, "
            "and dry the sill afterwards."
        ),
        "window test",
    ),
    (
        "what no board can stop",
        (
            "A valve stuck open, a welded contact or a sensor slowly reading low can still wet a house. "
            "Know where to close the water by hand; a leak input shuts the valve and nothing else."
        ),
        "by hand",
    ),
    (
        "season end and absence",
        "Close the stop valve at the end of the season and before leaving the house empty.",
        "stop valve",
    ),
)


def epilogue() -> str:
    """What every --help ends with: at most 12 lines of at most 100 characters."""
    return """\
Before wiring or trusting anything:
  The furnace maker's own diagram, local code and licensed practice come first.
  A humidifier terminal may carry LINE VOLTAGE: read the diagram; measure on a heat call and idle.
  Smell of gas or a CO alarm: leave the house and call from outside.
  Good glass does not protect walls and attic: seal leaks of indoor air, look at them once a year.
  No board stops a valve stuck open: know where to close the water by hand.
  Zero wet minutes is about the modelled coldest spot, within stated tolerances, in simulation.
All cautions, each at the step where it matters: hw_docs/cautions.md"""


def html_items() -> str:
    """The cautions as HTML list items, "<li><b>Where.</b> text</li>" a line, escaped.

    Without the list around.
    """
    lines = []
    for where, text, _ in CAUTIONS:
        title = escape(where[0].upper() + where[1:], quote=False)
        lines.append(f"<li><b>{title}.</b> {escape(text, quote=False)}</li>")
    return "\n".join(lines)
