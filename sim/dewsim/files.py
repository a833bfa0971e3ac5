"""Reads an input file's bytes: never more than allowed, never waiting for a pipe, every failure one line."""

import os
import stat

from dewsim.errors import InputError, shown_path


def contents(path, most_bytes: int, what: str) -> bytes:
    """The file's first most_bytes + 1 bytes: whoever gets more than most_bytes has a file that is too large.

    InputError for a path that cannot be read, a folder, pipe or device; `what` says in it what to give.
    """
    place = shown_path(path)
    try:
        with open(path, "rb", opener=_without_waiting) as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise InputError(
                    f"{place}: found a pipe or device, allowed is a file on disk; save it there and give {what}"
                )
            return file.read(most_bytes + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = getattr(error, "strerror", None) or "not a usable path"
        raise InputError(f"{place}: cannot be read ({reason}); give {what}") from None


def _without_waiting(path: str, flags: int) -> int:
    """Open so that a pipe without a writer does not hold the program up."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))
