"""Mutants of dewcore that no test can tell from the original, each with the argument.

A row: module, function ('' outside), beginning of the source line, beginning of what was changed as
`mutate.py` prints it, argument.
"""

EQUIVALENT = ()
