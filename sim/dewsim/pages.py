"""Writes one page whole: to a new file beside the old one, then in its place; never over a file of another kind."""

import os
import tempfile
from pathlib import Path

from dewsim.errors import InputError, shown_path

MARK = b"<!DOCTYPE html>"
ENDINGS = (".html", ".htm")


def check(out: str) -> Path:
    """The path to write, or InputError: where no page can stand, or another file would be lost."""
    place = f"--out {shown_path(out)}"
    if not out:
        raise InputError("--out: found no name; name a page to write")
    path = Path(out)
    try:
        if path.is_dir() or path.exists() and not path.is_file():
            raise InputError(f"{place}: found a folder, pipe or device; name a page to write")
        if path.exists() and not _is_page(path):
            raise InputError(f"{place}: found a file that is no page; name a new one")
        if not path.parent.is_dir():
            raise InputError(f"{place}: its folder does not exist; make it first")
        if not path.exists():
            check_ending(out)
    except (OSError, RuntimeError, ValueError) as error:
        raise _unwritable(place, error) from None
    return path


def check_ending(out: str) -> None:
    """InputError for a name that a browser would show as source text."""
    if not out.lower().endswith(ENDINGS):
        raise InputError(f"--out {shown_path(out)}: allowed is a name that ends in .html, as for a browser; add it")


def _is_page(path: Path) -> bool:
    with open(path, "rb") as file:
        return file.read(len(MARK)) == MARK


def write(text: str, out: str) -> None:
    """Write a page; InputError where it cannot be, and then nothing has changed."""
    path = check(out)
    try:
        handle, part = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            os.chmod(part, 0o644)
            os.replace(part, path)
        except BaseException:
            os.unlink(part)
            raise
    except (OSError, ValueError) as error:
        raise _unwritable(f"--out {shown_path(out)}", error) from None


def _unwritable(place: str, error: Exception) -> InputError:
    reason = getattr(error, "strerror", None) or "not a usable path"
    return InputError(f"{place}: cannot be written ({reason}); name another page")
