"""What the app's last scan was made of, as plain values, for a host that shows it; `rebuilt` is that host's end.

    seen(app)       [whole numbers of WHOLE, statuses, contacts, why it stood down, events, numbers of NUMBERS]
    rebuilt(told)   the same under the names that they have in the app, and nothing else of it

The numbers go as hex, whole to their last bit.  CPython, MicroPython.
"""

import struct
from binascii import hexlify, unhexlify

from dewcore.readings import CONTACT_NAMES, SAMPLE_NAMES

TYPE_CHECKING = False
if TYPE_CHECKING:
    from benchshim.shapes import Part, Told
    from dewboard.app import App

# Where in the app, and what is taken from there.
WHOLE = (
    ("", ("decided_s", "now_s")),
    ("wall", ("set_utc_s", "set_at_s", "utc_offset_s")),
    ("counters", ("valve_starts", "valve_open_s")),
    ("controller.judge.inputs", ("trusted", "outdoor_basis", "outdoor_held")),
    ("controller.outlook", ("known",)),
    ("controller.outlook.forecast", ("status",)),
    ("controller.window", ("testing",)),
    ("controller.valve", ("demand", "finishing")),
    ("controller.permit", ("latched",)),
    ("controller.decision", ("valve", "proof", "binds", "refusals", "notices", "hold_s")),
)
NUMBERS = (
    ("controller.judge.inputs", SAMPLE_NAMES),
    (
        "controller.terms",
        ("glass_pct", "plain_pct", "ahead_pct", "now_pct", "test_pct", "corner_pct", "envelope_pct", "owner_pct"),
    ),
    ("controller.decision", ("target_pct", "ceiling_pct", "coldest_c", "margin_k")),
    ("controller.margin", ("total_pct",)),
)
MOST_EVENTS = 6


class Seen:
    """A part of an app that is somewhere else."""


def part_of(app: "Part", path: str) -> "Part":
    """The part at a path of names; a Seen gets those that it lacks."""
    part = app
    for name in path.split(".") if path else ():
        if isinstance(part, Seen) and not hasattr(part, name):
            setattr(part, name, Seen())
        part = getattr(part, name)
    return part


def seen(app: "App") -> "Told":
    """Plain values only, in the order of the tables."""
    whole = [int(getattr(part_of(app, path), name)) for path, names in WHOLE for name in names]
    numbers = [getattr(part_of(app, path), name) for path, names in NUMBERS for name in names]
    packed = struct.pack("<%dd" % len(numbers), *numbers)
    contacts = [getattr(app.readings, name).state for name in CONTACT_NAMES]
    events = [event[1] for event in app.events][:MOST_EVENTS]
    return [whole, list(app.controller.judge.inputs.status), contacts, app.safe, events, hexlify(packed).decode()]


def rebuilt(told: "Told") -> "Part":
    """What `seen` told."""
    app = part_of(Seen(), "")
    data = unhexlify(told[5])
    for rows, values in ((WHOLE, told[0]), (NUMBERS, struct.unpack("<%dd" % (len(data) // 8), data))):
        n = 0
        for path, names in rows:
            part = part_of(app, path)
            for name in names:
                setattr(part, name, values[n])
                n += 1
    part_of(app, "controller.judge.inputs").status = told[1]
    for n, name in enumerate(CONTACT_NAMES):
        part_of(app, "readings." + name).state = told[2][n]
    app.safe = told[3]
    app.events = [(0, text) for text in told[4]]
    return app
