"""What annotations of the bench shim need: for the type checker alone, never on the board."""

from typing import Any

Virtual = Any  # the module dewsim.virtual, or its copy beside the shim
World = Any  # a VirtualBoard of that module
Told = list[Any]
Part = Any  # of an app, or of what stands for one
Value = Any  # of an input: a number, a word, a flag, a list
