"""What the board's page calls each setting: the same words for every page of the desktop."""

import re
from importlib import resources


def settings() -> dict:
    """{name: label} of every setting on the board's page."""
    text = (resources.files("dewboard") / "page.html").read_text("utf-8")
    return dict(re.findall(r"(?m)^~ setting (\w+) (.+)$", text))
