"""The firmware onto a board: beside the release that runs, checked there, tested there, and only then switched to.

A board has two folders, a and b.  The new release goes into the one that does not run; its number, in a file written
last, makes it count.  So a power cut or a pulled plug at any moment leaves the old release or the new one.  Where the
board has a ROM partition, a compiled release goes there instead (`dewsim.install_rom`).
"""

import getpass
import json
import warnings
from typing import NamedTuple

from dewsim import install_kept as kept
from dewsim.errors import InputError, shown
from dewsim.install_files import MPY_VERSION, build, sha256
from dewsim.install_link import Link
from dewsim.install_place import ROM, Place
from dewsim.install_rom import RECORD, RomPlace, image, record_of
from dewsim.progress import Progress

OLDEST = (1, 26, 0)
CAUTION = (
    "Before flashing: take the fuse of the valve branch out (a dead line will do only as long as nobody calls for "
    "heat), and run a laptop on its battery."
)
SHIM_CAUTION = (
    "The bench shim comes with it, which makes up every reading: for a board on a bench, with nothing but its own "
    "supply wired to it. The board keeps the valve shut until `dewmargin install` puts the program there without it."
)
LISTEN_S = 10.0  # the window, and the start after it
SELF_TEST_S = 60.0
BLOCK = 4096  # of flash: a file takes whole ones
SPARE = 65536  # of flash, for what the board keeps
NO_ROM = "which takes neither source nor the bench shim"
SELF_TEST = "import sys\nsys.path.insert(0, {folder!r})\nfrom dewboard.selftest import run\nrun()\n"
LINE = 160  # characters shown of a line from the board
BAD_WORDS = ("dewmargin: stopped:", "Traceback")


class Kind(NamedTuple):
    """A board that is allowed: sys.platform, a word of its machine's name, and the least free heap [bytes] where the
    program runs from files, None where it cannot, and where it runs out of ROM."""

    platform: str
    machine: str
    from_files: "int | None"
    from_rom: int


# With a broker the program holds 207 kB of the heap loaded from files, 109 kB out of ROM, 97 without, by 32-bit words;
# the rest is for its work.  Out of ROM without a broker it was run on 130 kB.  The second kind has 264 kB of RAM.
BOARDS = (Kind("rp2", "RP2350", 320_000, 150_000), Kind("rp2", "RP2040", None, 150_000))


class Wishes(NamedTuple):
    """What goes onto the board besides the program: network, broker, codes by place, payloads by name of a backup."""

    network: dict = {}
    broker: dict = {}
    codes: dict = {}
    restored: dict = {}


def run(arguments) -> int:
    """The command as typed."""
    if arguments.dry_run:
        return dry_run(arguments.port, BOARDS, arguments.source, arguments.bench)
    if arguments.port is None:
        raise InputError("install: found no port; name the board's, such as /dev/ttyACM0, or give --dry-run")
    if arguments.backup is not None:
        if arguments.restore or arguments.wifi or arguments.broker or arguments.thermometer or arguments.bench:
            others = "--restore, --wifi, --broker, --thermometer and --bench"
            raise InputError(f"--backup: only reads the board; leave {others} for another command")
        return back_up(arguments.port, arguments.backup)
    wishes = Wishes(
        kept.check_network(arguments.wifi, ask_key(arguments.wifi)) if arguments.wifi is not None else {},
        broker_wish(arguments.broker) if arguments.broker is not None else {},
        kept.check_codes(arguments.thermometer),
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


def dry_run(port: "str | None", boards: tuple, as_source: bool, with_shim: bool = False) -> int:
    """What would go onto a board, and onto the one at a port, where one is given, in which way."""
    with Progress.on_terminal("install") as progress:
        progress.stage("compiling", 0.0, 1.0)
        files = build(as_source, progress.share, with_shim)
    for name, data in sorted(files.items()):
        print(f"{sha256(data)} {len(data):7} {name}")
    print(f"{len(files)} files, {sum(map(len, files.values()))} bytes, for one of two folders")
    if not (as_source or with_shim):
        print(f"or an image of {len(image(files))} bytes for a ROM partition, where the board has one so large")
    if port is None:
        print("no board was asked")
        return 0
    link = Link(port)
    try:
        link.connect()
        place = choose(link, boards, files, not (as_source or with_shim))
        print(f"{port}: nothing was written; it would go " + ("into ROM" if place.folder == ROM else "there as files"))
    finally:
        link.reset()
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
            place = _put(link, boards, files, not (as_source or with_shim), wishes, progress)
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
    print(place.summary())
    return 0


def _put(link: Link, boards: tuple, files: dict, may_be_rom: bool, wishes: Wishes, progress: Progress) -> Place:
    """Connect, check, copy, test, store, switch: in this order, so that what fails, fails before the switch."""
    link.connect()
    check_contact(link)
    print(f"{link.port}: the board has opened its contact")
    place = choose(link, boards, files, may_be_rom)
    try:
        progress.stage("copying", 0.2, 0.8)
        place.fill(progress.share)
        progress.stage("testing it on the board", 0.8)
        self_test(link, place.folder, wishes.codes)
    except InputError as problem:
        raise InputError(place.after(str(problem))) from None
    for name, payload in wishes.restored.items():
        kept.save(link, name, payload)
    if wishes.codes:
        kept.change(link, "probes", wishes.codes)
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


def choose(link: Link, boards: tuple, files: dict, may_be_rom: bool) -> "Place | RomPlace":
    """Where the release goes on this board; InputError where it cannot run there.  may_be_rom: whether it fits ROM."""
    rom_bytes, block_bytes = link.rom_bytes()
    needed = len(image(files)) if may_be_rom else 0
    in_rom = may_be_rom and needed <= rom_bytes
    check_board(link, boards, files, in_rom, f"{needed} bytes needed, {rom_bytes} found" if may_be_rom else NO_ROM)
    if in_rom:
        return RomPlace(link, files, block_bytes)
    return Place(link, files, record_of(link.read(RECORD) or b"")[0])


def check_board(link: Link, boards: tuple, files: dict, in_rom: bool, rom: str) -> None:
    """Whether this board is one that the program runs on; rom: what to say of its ROM partition."""
    name, version, platform, machine, mpy, heap, flash, has_wireless = link.facts()
    found = f"{link.port}: found {shown(machine)} ({platform}), {name} {'.'.join(map(str, version))}"
    kind = next((kind for kind in boards if kind.platform == platform and kind.machine in machine), None)
    if kind is None:
        allowed = " or ".join(kind.machine for kind in boards)
        raise InputError(f"{found}; allowed is a wireless board with {allowed}: take one of these")
    if name != "micropython" or tuple(version) < OLDEST:
        raise InputError(f"{found}; allowed is MicroPython 1.26 or newer: put it on the board as its maker describes")
    if not has_wireless:
        raise InputError(f"{found} without wireless network; take the board's variant with it, and its MicroPython")
    if mpy & 0xFF != MPY_VERSION and any(path.endswith(".mpy") for path in files):
        raise InputError(f"{found}; takes compiled files of format {mpy & 0xFF}, not {MPY_VERSION}: give --source")
    least = kind.from_rom if in_rom else kind.from_files
    if least is None:
        raise InputError(
            f"{found}; its memory holds the program only where that runs out of a ROM partition ({rom}): put a "
            "MicroPython with a larger one on it, as README tells, or take a board with 520 kB"
        )
    if heap < least:
        raise InputError(f"{found}; {heap} bytes of memory free, {least} needed: remove boot.py")
    needed = SPARE + (0 if in_rom else sum(-(-len(data) // BLOCK) * BLOCK for data in files.values()))
    if flash < needed:
        raise InputError(f"{found}; {flash} bytes of flash free, {needed} needed: remove files that are not its own")


def self_test(link: Link, folder: str, codes: dict) -> None:
    """The release tests itself from its folder; its lines are shown, and its last word decides."""
    lines = link.run("testing it", SELF_TEST.format(folder=folder), SELF_TEST_S).splitlines()
    for line in lines:
        print(shown(line, LINE))
    if not lines or lines[-1] != "self-test: passed":
        last = shown(lines[-1], LINE) if lines else "self-test: no answer"
        raise InputError(f"{link.port}: {last}; {link.again}")
    on_wire = {line.split()[1] for line in lines if line.startswith("thermometer: ")}
    for place, code in codes.items():
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
