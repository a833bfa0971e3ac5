"""The opt-in fast build: DEWMARGIN_FAST=1 compiles the decision with mypyc; pure Python without it or a compiler."""

import os
import sys

from setuptools import setup

# The modules that a scan runs through; the source stays the one that MicroPython runs.
SCANNED = (
    "psychro",
    "ceiling",
    "margin",
    "settings",
    "readings",
    "outdoors",
    "judge",
    "words",
    "permit",
    "valve",
    "fallbound",
    "forecast",
    "glass",
    "house",
    "outlook",
    "window_test",
    "controller",
)


def extensions() -> list:
    """The compiled modules where they were asked for; each optional, so that a missing compiler leaves pure Python."""
    if os.environ.get("DEWMARGIN_FAST") != "1":
        return []
    try:
        from mypyc.build import mypycify
    except ImportError:
        print("DEWMARGIN_FAST=1, but mypy is not installed: building pure Python", file=sys.stderr)
        return []
    modules = mypycify([f"shared/dewcore/{name}.py" for name in SCANNED], opt_level="3")
    for module in modules:
        module.optional = True
    return modules


setup(ext_modules=extensions())
