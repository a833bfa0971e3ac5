"""Draws hw_docs from the firmware's pin table: `python -m dewsim.drawings hw_docs` writes, `--check` only compares.

Needs schemdraw (pyproject.toml names the version: another one may draw other SVG).  Exit status: 0 done or all equal,
1 something differs, 2 bad input.
"""

import argparse
import sys
from functools import partial
from importlib import import_module
from pathlib import Path

from dewsim.drawings_pages import fill
from dewsim.drawings_table import Firmware, shipped
from dewsim.errors import InputError


def _drawn(module: str, name: str, fw: Firmware) -> str:
    """A sheet's SVG; InputError where what draws is not installed."""
    try:
        return getattr(import_module("dewsim." + module), name)(fw)
    except ModuleNotFoundError as problem:
        if problem.name != "schemdraw":
            raise
        raise InputError(
            "schemdraw: not installed, and it draws hw_docs; get it with `.venv/bin/python -m pip install '.[test]'`"
        ) from None


DRAWINGS = {
    "overview.svg": partial(_drawn, "drawings_overview", "overview"),
    "valve_accessory.svg": partial(_drawn, "drawings_valve", "default_circuit"),
    "valve_no_accessory.svg": partial(_drawn, "drawings_valve", "without_terminal"),
    "selector.svg": partial(_drawn, "drawings_valve", "selector"),
    "supply.svg": partial(_drawn, "drawings_supply", "supply"),
    "supply_24_vac.svg": partial(_drawn, "drawings_supply", "from_24_vac"),
    "senses.svg": partial(_drawn, "drawings_inputs", "senses"),
    "fan_proofs.svg": partial(_drawn, "drawings_inputs", "fan_proofs"),
    "relay.svg": partial(_drawn, "drawings_board", "relay"),
    "probes.svg": partial(_drawn, "drawings_board", "probes"),
    "contacts.svg": partial(_drawn, "drawings_board", "loops"),
    "sensors.svg": partial(_drawn, "drawings_board", "sensors"),
}


def wanted(folder: Path, fw: Firmware) -> dict:
    """Path to text of every drawing and every page of the folder, as the table wants them."""
    found = {folder / name: draw(fw) for name, draw in DRAWINGS.items()}
    for page in sorted(folder.glob("*.md")):
        found[page] = fill(page.read_text(encoding="utf-8"), fw, page.name)
    return found


def differing(files: dict) -> list:
    """Those of the files whose text is another on disk, or that are missing there."""
    return [path for path, text in files.items() if not path.exists() or path.read_text(encoding="utf-8") != text]


def main(arguments: list) -> int:
    """Write or compare; the exit status."""
    parser = argparse.ArgumentParser(prog="python -m dewsim.drawings", description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path, metavar="DIR")
    parser.add_argument("--check", action="store_true", help="write nothing, name the files that differ")
    options = parser.parse_args(arguments)
    if not options.folder.is_dir():
        print(f"{options.folder}: no such folder; give the checkout's hw_docs", file=sys.stderr)
        return 2
    try:
        files = wanted(options.folder, shipped())
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    paths = differing(files)
    for path in paths:
        if not options.check:
            path.write_text(files[path], encoding="utf-8", newline="\n")
        print(f"{path}: {'differs' if options.check else 'written'}")
    return 1 if options.check and paths else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
