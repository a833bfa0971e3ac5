"""A calculator's answer as plain text: headings, rows of figures in both systems of units, sentences; for paper too."""

import textwrap

from dewsim.quantities import both

WIDTH = 100


class Sheet:
    """Lines of text; us: US units stand first, SI units beside them."""

    def __init__(self, title: str, us: bool = False):
        self.us = us
        self.lines = [title, "=" * len(title)]

    def heading(self, text: str) -> None:
        """A new part."""
        self.lines += ["", text, "-" * len(text)]

    def row(self, label: str, value: str, beside: str = "", note: str = "") -> None:
        """A figure with its unit, the same in the other system, and a word about it."""
        start = f"  {label:<36}{value:>14}  {beside:<14}"
        lines = textwrap.wrap(note, WIDTH - len(start) - 1) if note else [""]
        self.lines.append((start + " " + lines[0]).rstrip())
        self.lines += [" " * (len(start) + 1) + line for line in lines[1:]]

    def quantity(self, label: str, value: float, kind: str, places: int = 2, note: str = "") -> None:
        """An SI value of a kind that has two systems."""
        si, us = both(value, kind, places)
        self.row(label, *((us, si) if self.us else (si, us)), note)

    def text(self, text: str) -> None:
        """A paragraph."""
        self.lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  ")

    def item(self, mark: str, text: str) -> None:
        """A paragraph behind a mark."""
        self.lines += textwrap.wrap(text, WIDTH, initial_indent=f"  {mark} ", subsequent_indent=" " * (len(mark) + 3))

    def table(self, head: list, rows: list) -> None:
        """Columns of text, the first to the left, the others to the right."""
        cells = [head, *rows]
        wide = [max(len(str(row[i])) for row in cells) for i in range(len(head))]
        for row in cells:
            parts = [str(row[0]).ljust(wide[0])] + [str(cell).rjust(w) for cell, w in zip(row[1:], wide[1:])]
            self.lines.append(("  " + "  ".join(parts)).rstrip())

    def __str__(self) -> str:
        return "\n".join(self.lines)
