"""The one exception that means bad input: the command line prints it as one line and exits with status 2."""


class InputError(Exception):
    """Bad input; the text names file and place, what was found, what is allowed and what to do."""
