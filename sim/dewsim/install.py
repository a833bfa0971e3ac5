"""The firmware onto a board: beside the release that runs, checked there, tested there, and only then switched to.

A board has two folders, a and b.  The new release goes into the one that does not run; its number, in a file written
last, makes it count.  So a power cut or a pulled plug at any moment leaves the old release or the new one.
"""

import getpass
import json
import warnings
from typing import NamedTuple

from dewsim import install_kept as kept
from dewsim.errors import InputError, shown
from dewsim.install_files import MPY_VERSION, build, sha256
from dewsim.install_link import AGAIN, Link
from dewsim.install_place import Place
from dewsim.progress import Progress

OLDEST = (1, 26, 0)
CAUTION = (
    "Before flashing: take the fuse of the valve branch out (a dead line will do only as long as nobody calls for "
    "heat), and run a laptop on its battery. The contact opens now."
)
SHIM_CAUTION = (
    "The bench shim comes with it, which makes up every reading: for a board on a bench, with nothing but its own "
    "supply wired to it. The board keeps the valve shut until `dewmargin install` puts the program there without it."
)
LISTEN_S = 10.0  # the window, and the start after it
SELF_TEST_S = 60.0
BLOCK = 4096  # of flash: a file takes whole ones
SPARE = 65536  # of flash, for what the board keeps
ROMFS = (
    "264 kB of RAM hold this program only where its code runs from a ROMFS partition, which this version does not "
    "make: take a board with 520 kB"
)
SELF_TEST = "import sys\nsys.path.insert(0, {folder!r})\nfrom dewboard.selftest import run\nrun()\n"
LINE = 160  # characters shown of a line from the board
BAD_WORDS = ("dewmargin: stopped:", "Traceback")


class Kind(NamedTuple):
    """A board that is allowed, or known and refused: sys.platform, a word of its machine's name, free heap [bytes]."""

    platform: str
    machine: str
    least_free: int
    refusal: str = ""


# The program takes 235 kB of the heap once loaded, measured with 32-bit words; the rest is for its work.
BOARDS = (Kind("rp2", "RP2350", 320_000), Kind("rp2", "RP2040", 0, ROMFS))


class Wishes(NamedTuple):
    """What goes onto the board besides the program: network, broker, codes by place, payloads by name of a backup."""

    network: dict = {}
    broker: dict = {}
    probes: dict = {}
    restored: dict = {}


def run(arguments) -> int:
    """The command as typed."""
    if arguments.dry_run:
        return dry_run(arguments.source, arguments.bench)
    if arguments.port is None:
        raise InputError("install: found no port; name the board's, such as /dev/ttyACM0, or give --dry-run")
    if arguments.backup is not None:
        if arguments.restore or arguments.wifi or arguments.broker or arguments.probe or arguments.bench:
            others = "--restore, --wifi, --broker, --probe and --bench"
            raise InputError(f"--backup: only reads the board; leave {others} for another command")
        return back_up(arguments.port, arguments.backup)
    wishes = Wishes(
        kept.check_network(arguments.wifi, ask_key(arguments.wifi)) if arguments.wifi is not None else {},
        broker_wish(arguments.broker) if arguments.broker is not None else {},
        kept.check_probes(arguments.probe),
        kept.read_back(arguments.restore) if arguments.restore is not None else {},
    )
    return install(arguments.port, BOARDS, arguments.source, wishes, LISTEN_S, arguments.bench)


def ask_key(name: str) -> str:
    """The network's key."""
    return ask_secret("--wifi", "the key", f"Key of the wireless network {shown(name)}: ")


def broker_wish(path: str) -> dict:
    """A broker's file, and the password where there is a user."""
    values = kept.read_broker(path)
    if values.get("user"):
        prompt = f"Password of {shown(str(values['user']))} at the broker: "
        values["password"] = ask_secret("--broker", "the password", prompt)
    return kept.check_broker(path, values)


def ask_secret(option: str, what: str, prompt: str) -> str:
    """Something typed without echo; never out of a command line or a file."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", getpass.GetPassWarning)
        try:
            return getpass.getpass(prompt)
        except (getpass.GetPassWarning, EOFError):
            raise InputError(f"{option}: asks for {what}, and here is no terminal; run it in one") from None


def dry_run(as_source: bool, with_shim: bool = False) -> int:
    """What would go onto a board."""
    with Progress.on_terminal("install") as progress:
        progress.stage("compiling", 0.0, 1.0)
        files = build(as_source, progress.share, with_shim)
    for name, data in sorted(files.items()):
        print(f"{sha256(data)} {len(data):7} {name}")
    print(f"{len(files)} files, {sum(map(len, files.values()))} bytes; no board was asked")
    return 0


def back_up(port: str, folder: str) -> int:
    """Settings, learned state, counters and thermometers off the board."""
    link = Link(port)
    try:
        link.connect()
        names = kept.back_up(link, folder)
    finally:
        link.reset()
    print(f"copied {', '.join(names)} into {folder}; the password and the network's key stay on the board")
    return 0


def install(
    port: str, boards: tuple, as_source: bool, wishes: Wishes, listen_s: float, with_shim: bool = False
) -> int:
    """Everything; InputError leaves the board with the release that it had."""
    print(CAUTION)
    if with_shim:
        print(SHIM_CAUTION)
    with Progress.on_terminal("install") as progress:
        progress.stage("compiling", 0.0, 0.2)
        files = build(as_source, progress.share, with_shim)
        link = Link(port)
        try:
            place = _put(link, boards, files, wishes, progress)
        finally:
            link.reset()
        progress.stage("starting", 0.9)
        lines = link.listen(listen_s)
    for line in lines:
        print("the board: " + shown(line))
    if any(word in line for line in lines for word in BAD_WORDS):
        _take_back(place)
    if not lines:
        print("the board has said nothing since its start; open the port with a terminal program to see why")
    print(_summary(place))
    return 0


def _put(link: Link, boards: tuple, files: dict, wishes: Wishes, progress: Progress) -> Place:
    """Connect, check, copy, test, store, switch: in this order, so that what fails, fails before the switch."""
    link.connect()
    check_contact(link)
    check_board(link, boards, files)
    place = Place(link, files)
    progress.stage("copying", 0.2, 0.8)
    place.fill(progress.share)
    progress.stage("testing it on the board", 0.8)
    self_test(link, place.folder, wishes.probes)
    for name, payload in wishes.restored.items():
        kept.save(link, name, payload)
    if wishes.probes:
        kept.change(link, "probes", wishes.probes)
    if wishes.network:
        kept.change(link, "wifi", wishes.network)
    if wishes.broker:
        kept.save(link, "broker", json.dumps(wishes.broker).encode())
    aside = place.main_program()
    if aside:
        print(f"the main.py of another program is now {aside}")
    place.count()
    if place.drop_shim():
        print("the bench shim is gone from the board, and the release that it came with")
    return place


def check_contact(link: Link) -> None:
    """No flashing while the valve is open: the contact is opened, and there may be no power behind it."""
    level, lit = link.contact()
    if level:
        raise InputError(f"{link.port}: the relay's pin does not go low; unplug the board and look at its wiring")
    if lit:
        raise InputError(
            f"{link.port}: the valve has power with the contact open (selector at dial only, or a welded contact); "
            "take the fuse of the valve branch out, then run this again"
        )


def check_board(link: Link, boards: tuple, files: dict) -> None:
    """Whether this board is one that the program runs on."""
    name, version, platform, machine, mpy, heap, flash, has_wireless = link.facts()
    found = f"{link.port}: found {shown(machine)} ({platform}), {name} {'.'.join(map(str, version))}"
    kind = next((kind for kind in boards if kind.platform == platform and kind.machine in machine), None)
    if kind is None:
        allowed = ", ".join(kind.machine for kind in boards if not kind.refusal)
        raise InputError(f"{found}; allowed is a wireless board with {allowed}: take one of these")
    if kind.refusal:
        raise InputError(f"{found}; {kind.refusal}")
    if name != "micropython" or tuple(version) < OLDEST:
        raise InputError(f"{found}; allowed is MicroPython 1.26 or newer: put it on the board as its maker describes")
    if not has_wireless:
        raise InputError(f"{found} without wireless network; take the board's variant with it, and its MicroPython")
    if mpy & 0xFF != MPY_VERSION and any(path.endswith(".mpy") for path in files):
        raise InputError(f"{found}; takes compiled files of format {mpy & 0xFF}, not {MPY_VERSION}: give --source")
    if heap < kind.least_free:
        raise InputError(f"{found}; {heap} bytes of memory free, {kind.least_free} needed: remove boot.py")
    needed = sum(-(-len(data) // BLOCK) * BLOCK for data in files.values()) + SPARE
    if flash < needed:
        raise InputError(f"{found}; {flash} bytes of flash free, {needed} needed: remove files that are not its own")


def self_test(link: Link, folder: str, probes: dict) -> None:
    """The release tests itself from its folder; its lines are shown, and its last word decides."""
    lines = link.run("testing it", SELF_TEST.format(folder=folder), SELF_TEST_S).splitlines()
    for line in lines:
        print(shown(line, LINE))
    if not lines or lines[-1] != "self-test: passed":
        last = shown(lines[-1], LINE) if lines else "self-test: no answer"
        raise InputError(f"{link.port}: {last}; {AGAIN}")
    on_wire = {line.split()[1] for line in lines if line.startswith("thermometer: ")}
    for place, code in probes.items():
        if code not in on_wire:
            print(f"no thermometer {code} answers now: {place} reads nothing until it is wired")


def _take_back(place: Place) -> None:
    """The new release does not start: the one before it counts again."""
    if place.same:
        raise InputError(f"{place.link.port}: the program stops (its words are above); put right what they name")
    try:
        place.link.connect()
        place.take_back()
    finally:
        place.link.reset()
    now = "nothing starts now" if place.is_alone else "the one before it starts again"
    raise InputError(f"{place.link.port}: the new release stops (its words are above); {now}; put right what they name")


def _summary(place: Place) -> str:
    if place.same:
        return f"this release is on the board already, as number {place.numbers[place.folder]} in folder {place.folder}"
    return (
        f"release {place.number} in folder {place.folder}: {place.copied} files copied, {place.kept} were there; "
        + (
            "it is the first" if place.is_first
            else "no other is left" if place.is_alone
            else f"the one before it stays in folder {place.current}"
        )
    )
