"""A table kept as bytes, of which a board holds nothing: its rows are made when they are asked for.

What is compiled for a board has its large tables so (`dewsim.install_lean`); elsewhere they are tuples of tuples.
"""


def value_of(part: bytes) -> object:
    """A field: a text behind a quote, a whole number, or one with a point."""
    text = part.decode()
    if text[0] == "'":
        return text[1:]
    return float(text) if "." in text else int(text)


class Rows:
    """data: fields with tabs between them, a line each row; places: two bytes for each row, where it begins."""

    __slots__ = ("data", "places")

    def __init__(self, data: bytes, places: bytes) -> None:
        self.data: bytes = data
        self.places: bytes = places

    def __len__(self) -> int:
        return len(self.places) // 2

    def __getitem__(self, n: int) -> tuple:
        if not 0 <= n < len(self):
            raise IndexError(n)
        begin = self.places[2 * n] + 256 * self.places[2 * n + 1]
        line = self.data[begin : self.data.find(b"\n", begin)]
        return tuple([value_of(part) for part in line.split(b"\t")])

    def __iter__(self):
        for n in range(len(self)):
            yield self[n]
