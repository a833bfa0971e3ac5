"""Bad input as the one exception that means it, printed as one line; and the statuses commands end with."""

EXIT_BAD_INPUT = 2
EXIT_INTERRUPTED = 130
EXIT_TERMINATED = 143

LONGEST_TEXT = 80
LONGEST_PATH = 160


class InputError(Exception):
    """Bad input; the text names file and place, what was found, what is allowed and what to do."""


def shown(text: str, longest: int = LONGEST_TEXT) -> str:
    """text cut to length, with line breaks and other unprintable characters shown as escapes."""
    return _printable(text if len(text) <= longest else text[:longest] + "…")


def shown_path(path) -> str:
    """A path fit for a message: on one line, its end kept where it is long, because there the file's name is."""
    text = str(path)
    return _printable(text if len(text) <= LONGEST_PATH else "…" + text[-LONGEST_PATH:])


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)
