"""What a board keeps besides its program: copied off a board, checked, put onto another; thermometers and network."""

import ast
import json
import os
import tempfile
import tomllib
from pathlib import Path

from dewboard.broker_config import problem_of
from dewboard.events import Counters
from dewboard.start import FOLDER
from dewboard.store import MOST_BYTES, NEW, SLOTS, WHOLE, Store, load_settings
from dewboard.thermometers import Thermometers
from dewcore import learned
from dewcore.controller import Controller
from dewcore.settings import Settings
from dewsim.errors import InputError, shown, shown_path
from dewsim.install_link import AGAIN, Link

NAMES = ("settings", "learned", "counters", "probes")  # neither the password's image nor the network's key
NAME_BYTES = 32  # IEEE 802.11, from memory, as is the next
KEY_LENGTHS = (0, *range(8, 64))  # characters; none: an open network
SAVE = """
from dewboard.store import Store, make_folder
make_folder({folder!r})
store = Store({folder!r}, {name!r})
print("saved" if store.save({payload!r}) else store.refused)
"""
LOAD = """
from dewboard.store import Store
print(repr(Store({folder!r}, {name!r}).load()))
"""


def back_up(link: Link, folder: str) -> list:
    """Copy what counts of NAMES from the board into a new folder; the names that were there."""
    target = Path(folder)
    if target.exists():
        raise InputError(f"{shown_path(folder)}: exists already; give a name that is not taken")
    files = {name: link.read(f"{FOLDER}/{name}") for name in [name + slot for name in NAMES for slot in SLOTS]}
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as scratch:
            raw, clean = Path(scratch) / "raw", Path(scratch) / "clean"
            raw.mkdir()
            clean.mkdir()
            for name, data in files.items():
                if data is not None:
                    (raw / name).write_bytes(data)
            names = [name for name in NAMES if _copied(name, str(raw), str(clean))]
            if not names:
                raise InputError(f"{link.port}: this board keeps nothing yet; nothing to back up, leave --backup out")
            os.rename(clean, target)
    except OSError as problem:
        raise InputError(f"{shown_path(folder)}: cannot be written ({problem.strerror}); give another folder") from None
    return names


def _copied(name: str, raw: str, clean: str) -> bool:
    """The payload that counts, alone in a slot; False where there is none."""
    payload = Store(raw, name).load()
    if payload is None:
        return False
    store = Store(clean, name)
    if not store.save(payload):
        raise OSError(0, store.refused)
    return True


def read_back(folder: str) -> dict:
    """The payloads of a backup by name, each of them sound; InputError for the whole of it where one is not."""
    if not Path(folder).is_dir():
        raise InputError(f"{shown_path(folder)}: no such folder; give one that --backup wrote")
    settings = Settings()
    store = Store(str(folder), "settings")
    load_settings(store, settings)
    found = {"settings": _sound(store, store.load() if store.found == WHOLE else None)}
    for name, accept in (
        ("learned", lambda payload: learned.unpack(Controller(settings), payload, 0)),
        ("counters", lambda payload: Counters().unpack(payload)),
        ("probes", _are_codes),
    ):
        store = Store(str(folder), name)
        found[name] = _sound(store, store.load(accept))
    if not any(found.values()):
        raise InputError(f"{shown_path(folder)}: holds no backup; give a folder that --backup wrote")
    return {name: payload for name, payload in found.items() if payload is not None}


def _sound(store: Store, payload: "bytes | None") -> "bytes | None":
    """The payload of a store that is whole or not there."""
    if store.found not in (NEW, WHOLE):
        reason = store.refused or f"{store.name} makes no sense to this version"
        reason = reason.replace(store.folder + "/", "")  # said once, in front
        raise InputError(f"{shown_path(store.folder)}: {shown(reason)}; nothing of it was used, take another backup")
    return payload


def _are_codes(payload: bytes) -> bool:
    try:
        Thermometers(None, json.loads(payload))
    except (ValueError, TypeError):
        return False
    return True


def check_codes(given: list) -> dict:
    """Codes by place out of PLACE=CODE as typed."""
    codes = {}
    for text in given:
        place, _, code = text.partition("=")
        if place in codes:
            raise InputError(f"--thermometer {shown(text)}: {shown(place)} is given twice; leave one of them out")
        codes[place] = code.upper()
    try:
        Thermometers(None, codes)
    except ValueError as problem:
        raise InputError(f"--thermometer: {shown(str(problem), 200)}") from None
    return codes


def check_network(name: str, key: str) -> dict:
    """What dewboard.wifi takes; the key never shows."""
    length = len(name.encode("utf-8", "surrogateescape"))
    if not 1 <= length <= NAME_BYTES:
        raise InputError(f"--wifi: found a name of {length} bytes, allowed are 1 to {NAME_BYTES}; correct it")
    if len(key) not in KEY_LENGTHS or not (key.isascii() and key.isprintable() or not key):
        raise InputError(
            f"--wifi: found a key of {len(key)} characters, allowed are 8 to 63 plain ones, or none for an open "
            "network; type it again"
        )
    return {"name": name, "key": key}


def read_broker(path: str) -> dict:
    """A broker's file: TOML with the keys of dewboard.broker_config, but for the password, which is asked for."""
    try:
        values = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as problem:
        raise InputError(f"{shown_path(path)}: {problem.strerror}; name a file of the broker's settings") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise InputError(f"{shown_path(path)}: no TOML: {shown(str(problem), 200)}; correct it") from None
    if "password" in values:
        raise InputError(f"{shown_path(path)}: password: found one; take it out, it is asked for")
    return values


def check_broker(path: str, values: dict) -> dict:
    """What the board's link takes, judged by the board's own rules; no secret shows."""
    problem = problem_of(values)
    size = 0 if problem else len(json.dumps(values))
    if size > MOST_BYTES:
        problem = f"ca: with all the rest {size} bytes, allowed are {MOST_BYTES}; give only the CA's own certificate"
    if problem:
        raise InputError(f"{shown_path(path)}: {shown(problem, 200)}; correct it")
    return values


def change(link: Link, name: str, values: dict) -> None:
    """Some values of a JSON object that the board keeps."""
    stored = ast.literal_eval(link.run(f"reading {name}", LOAD.format(folder=FOLDER, name=name)))
    try:
        whole = json.loads(stored) if stored else {}
    except ValueError:
        whole = {}  # the board does not believe it either
    save(link, name, json.dumps({**whole, **values}).encode())


def save(link: Link, name: str, payload: bytes) -> None:
    """One store of the board, by its own program: the old payload or the new one, whatever happens meanwhile."""
    told = link.run(f"storing {name}", SAVE.format(folder=FOLDER, name=name, payload=bytes(payload))).strip()
    if told != "saved":
        raise InputError(f"{link.port}: {shown(told)}; {AGAIN}")
