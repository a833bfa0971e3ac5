"""One sheet of a drawing: regions by domain, the isolation boundary, parts, wires and words, at fixed places.

A sheet is WIDE units wide, so that its words can still be read on a phone's screen; y counts downwards from 0.
Colours only repeat what the words say.
"""

import re

import schemdraw
from schemdraw import elements as elm
from schemdraw.segments import Segment, SegmentCircle, SegmentPoly, SegmentText

WIDE = 13.6
SIZE = 13
SMALL = 12
DOMAINS = {
    "24 VAC": ("#fdeedd", "#8a4b00"),
    "board": ("#e6effa", "#123f73"),
    "outdoor line": ("#e7f4e4", "#1f5a17"),
    "line voltage": ("#fbe3e3", "#8c1212"),
}
RED = "#a30000"
EDGE = 9.0  # where the boundary runs on most sheets


class _Shape(elm.Element):
    """Segments at places of the sheet."""

    def __init__(self, *segments: object) -> None:
        super().__init__()
        self.segments.extend(segments)
        self.params["drop"] = (0, 0)
        self.params["theta"] = 0


class Sheet:
    """A drawing under way; svg() ends it."""

    def __init__(self, title: str, high: float) -> None:
        schemdraw.svgconfig.text = "text"
        self.drawing = schemdraw.Drawing(canvas="svg", show=False, fontsize=SIZE, margin=0, lw=1.6)
        self._shape(SegmentPoly([(0, 0), (WIDE, 0), (WIDE, -high), (0, -high)], fill="white", color="white", zorder=0))
        self.words(0.15, 0.45, title, size=16)

    def _shape(self, *segments: object) -> None:
        self.drawing.add(_Shape(*segments).at((0, 0)))

    def region(self, x0: float, y0: float, x1: float, y1: float, domain: str, down: float = 0.35) -> None:
        """A tinted box that is one domain, named in its corner or so far below it."""
        tint, ink = DOMAINS[domain]
        corners = [(x0, -y0), (x1, -y0), (x1, -y1), (x0, -y1)]
        self._shape(SegmentPoly(corners, fill=tint, color=tint, zorder=0))
        self.words(x0 + 0.15, y0 + down, "DOMAIN: " + domain, ink, SMALL)

    def boundary(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """The isolation boundary, upright or level."""
        self._shape(Segment([(x0, -y0), (x1, -y1)], color=RED, lw=3, ls="--", zorder=1))

    def words(self, x: float, y: float, text: str, color: str = "black", size: int = SIZE, align: str = "left") -> None:
        """Words, their first line's middle at y."""
        for n, line in enumerate(text.split("\n")):
            place = (x, -y - 0.44 * n * size / SIZE)
            self._shape(SegmentText(place, line, align=(align, "center"), color=color, fontsize=size, zorder=5))

    def wire(self, *points: tuple, dashed: bool = False) -> None:
        """A wire through these points; dashed: a mechanical link."""
        style = "--" if dashed else "-"
        self._shape(Segment([(x, -y) for x, y in points], ls=style, lw=1.2 if dashed else 1.6, zorder=2))

    def dot(self, x: float, y: float) -> None:
        """Wires that join."""
        self._shape(SegmentCircle((x, -y), 0.09, fill="black", zorder=4))

    def terminal(self, x: float, y: float) -> None:
        """A screw terminal."""
        self._shape(SegmentCircle((x, -y), 0.15, fill="white", zorder=4))

    def ring(self, x: float, y: float, radius: float) -> None:
        """A white ring, for a number in it."""
        self._shape(SegmentCircle((x, -y), radius, fill="white", zorder=4))

    def bow(self, x: float, y: float) -> None:
        """A valve in a water pipe."""
        corners = [(-0.25, 0.2), (0.25, -0.2), (0.25, 0.2), (-0.25, -0.2)]
        self._shape(SegmentPoly([(x + dx, dy - y) for dx, dy in corners], fill="white", zorder=3))

    def part(self, kind: type, start: tuple, end: tuple, **options: object) -> None:
        """A two-terminal part between two places."""
        self.drawing.add(kind(**options).at((start[0], -start[1])).to((end[0], -end[1])))

    def box(self, x0: float, y0: float, x1: float, y1: float, text: str, size: int = SMALL) -> None:
        """A box with words in it."""
        corners = [(x0, -y0), (x1, -y0), (x1, -y1), (x0, -y1)]
        self._shape(SegmentPoly(corners, fill="white", zorder=2))
        lines = text.count("\n")
        self.words((x0 + x1) / 2, (y0 + y1) / 2 - 0.22 * lines * size / SIZE, text, size=size, align="center")

    def contact(self, x: float, y0: float, y1: float) -> None:
        """An open (make) contact from y0 down to y1."""
        middle = (y0 + y1) / 2
        self.wire((x, y0), (x, middle - 0.35))
        self.wire((x - 0.4, middle - 0.3), (x, middle + 0.35), (x, y1))
        self._shape(SegmentCircle((x, -middle + 0.35), 0.08, fill="white", zorder=4))

    def ground(self, x: float, y: float) -> None:
        """The board's ground; nothing of the 24 VAC side is ever joined to it."""
        self.drawing.add(elm.GroundSignal().at((x, -y)).right())

    def npn(self, x: float, y: float) -> tuple:
        """A transistor with its base at (x, y); places of collector and emitter."""
        part = self.drawing.add(elm.BjtNpn().at((x, -y)).right())
        return tuple((point[0], -point[1]) for point in (part.absanchors["collector"], part.absanchors["emitter"]))

    def throws(self, x: float, y: float, names: tuple, at: int, step: float = 2.5) -> None:
        """A selector's pole: pivot at (x, y), one throw a name on the row below, its lever on number `at`."""
        self.terminal(x, y)
        for n, name in enumerate(names):
            self.terminal(x + n * step, y + 1.1)
            self.words(x + n * step + 0.3, y + 1.1, name, size=SMALL)
        self._shape(Segment([(x, -y), (x + at * step, -y - 1.1)], lw=2.4, zorder=3))

    def pin(self, x: float, y: float, net: str, place: str) -> None:
        """A net's name, and below it where it is: terminal and pin."""
        self.words(x, y - 0.1, net, DOMAINS["board"][1])
        self.words(x, y + 0.34, place, DOMAINS["board"][1], SMALL)

    def split(self, low: float) -> None:
        """24 VAC on the left, the board on the right, the boundary between them."""
        self.region(0, 0.9, EDGE, low, "24 VAC")
        self.region(EDGE, 0.9, WIDE, low, "board")
        self.boundary(EDGE, 0.9, EDGE, low)
        self.words(EDGE + 0.15, low - 0.75, "ISOLATION BOUNDARY:\nno conductor crosses", RED, 11)

    def svg(self) -> str:
        """The sheet as SVG text, an element a line, so that a change shows as one."""
        text = self.drawing.get_imagedata("svg").decode().rstrip()
        return re.sub(r">(?=<(?!tspan|/text))", ">\n", text) + "\n"
