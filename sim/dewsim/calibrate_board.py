"""A board's stored settings over its serial line: read, changed as a whole once a person agrees, read back.

The board's own program reads and writes them: it stops for that moment, contact open, and starts anew afterwards.
"""

import ast
import json
import sys

from dewboard.start import FOLDER
from dewboard.store import PLACES, settings_text
from dewcore.settings import Settings
from dewcore.words import decimal
from dewsim.errors import InputError, shown
from dewsim.install_link import Link

LOAD = """
from dewboard.store import FOUND_NAMES, Store, load_settings, save_settings, settings_text
from dewcore.settings import Settings
settings = Settings()
store = Store({folder!r}, "settings")
load_settings(store, settings)
"""
READ = LOAD + "print(repr((FOUND_NAMES[store.found], store.refused, settings_text(settings))))\n"
WRITE = LOAD + (
    "try:\n"
    "    settings.change({values!r})\n"
    '    print("stored" if save_settings(store, settings) else store.refused)\n'
    "except ValueError as problem:\n"
    "    print(problem)\n"
)
UNCHANGED = "nothing was changed on the board"
INSTALL = "install this release first: `dewmargin install PORT`"
QUESTION = (
    "Write them to the board? Its program stops for that moment, contact open, and starts anew. y or n: "
)


def read(port: str) -> Settings:
    """The settings that the board has stored; it runs on afterwards."""
    link = Link(port)
    try:
        link.connect()
        return _read(link)
    finally:
        link.reset()


def _read(link: Link) -> Settings:
    try:
        text = link.run("reading its settings", READ.format(folder=FOLDER))
    except InputError as problem:
        told = str(problem)
        raise InputError(f"{told.split(';')[0]}; {INSTALL}" if "dewboard" in told else told) from None
    found, refused, stored = ast.literal_eval(text.strip().splitlines()[-1])
    if found not in ("new", "whole"):
        raise InputError(
            f"{link.port}: its stored settings are damaged ({shown(refused, 100)}); store them anew on the board's own "
            "page first"
        )
    settings = Settings()
    try:
        settings.change(json.loads(stored))
    except ValueError as problem:
        raise InputError(f"{link.port}: settings of another release ({shown(str(problem), 100)}); {INSTALL}") from None
    return settings


def offer(port: str, before: Settings, values: dict) -> None:
    """Show what would change, ask, write and read back; InputError where the board has something else afterwards."""
    after = Settings()
    after.change({name: getattr(before, name) for name in Settings.__slots__})
    after.change(values)
    print(f"\nThe board at {port}, stored now and to be stored")
    for name in values:
        old, new = (decimal(float(getattr(settings, name)), PLACES) for settings in (before, after))
        print(f"  {name:<22}{old:>10}{new:>10}{'' if old != new else '  as it is'}")
    if settings_text(before) == settings_text(after):
        print(f"It has them already; {UNCHANGED}.")
        return
    print(QUESTION, end="", flush=True)
    answer = sys.stdin.readline().strip().lower()
    while answer not in ("y", "yes", "n", "no", ""):
        print("y or n: ", end="", flush=True)
        answer = sys.stdin.readline().strip().lower()
    if answer not in ("y", "yes"):
        print(f"{UNCHANGED[0].upper()}{UNCHANGED[1:]}.")
        return
    _write(port, before, after, values)
    print("Stored, read back, the same.")


def _write(port: str, before: Settings, after: Settings, values: dict) -> None:
    """One write of the board's own store: the old settings or the new ones, whatever happens meanwhile."""
    link = Link(port)
    try:
        link.connect()
        if settings_text(_read(link)) != settings_text(before):
            raise InputError(
                f"{port}: its settings were changed meanwhile, so {UNCHANGED}; run the same command again"
            )
        told = _stored(link, values)
        if told != "stored":
            raise InputError(f"{port}: refuses them ({shown(told, 120)}), so {UNCHANGED}; {INSTALL}")
        if settings_text(_read(link)) != settings_text(after):
            raise InputError(f"{port}: reads back other settings than were stored; look at them on the board's page")
    finally:
        link.reset()


def _stored(link: Link, values: dict) -> str:
    """What the board says of it."""
    try:
        return link.run("storing its settings", WRITE.format(folder=FOLDER, values=values)).strip()
    except InputError as problem:
        what = str(problem).split(";")[0]
        raise InputError(
            f"{what}; it has the old settings or the new ones, none by halves: run the same command again"
        ) from None
