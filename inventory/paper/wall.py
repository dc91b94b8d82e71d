"""The line of a railway for the wall: lying sheets side by side, glued at their marks."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from django.utils.safestring import SafeString

from inventory.drawing import lettering
from inventory.drawing.line import Line, Place
from inventory.drawing.svg import element
from inventory.paper.leaf import Leaf, Paper, footer, leaf, rule, upright

EDGE, HEAD, FOOT_ROOM = 13.0, 11.0, 15.0
OVERLAP = 10.0
"""What the next sheet shows again, to be glued over."""
USUAL, SMALLEST, LARGEST = 0.30, 0.12, 0.6
"""Millimetres for a unit of the drawing: its letters of 13 units come out 3.9 mm high, and from
1.6 to 7.8 mm."""
MOST_SHEETS = 12


def wall_leaves(
    places: Sequence[Place],
    paper: Paper,
    *,
    title: str,
    foot: str,
    unit: str = "mm",
    sheets: int | None = None,
) -> list[Leaf]:
    """The whole line in one row of places, over so many sheets, or over as many as it takes to
    be read from two steps away. `paper` lies on its long side."""
    line = Line(tuple(places), False, unit, in_one_row=True)
    width, height = line.width, line.height
    room, deep = paper.width - 2 * EDGE, paper.height - EDGE - HEAD - FOOT_ROOM
    tallest = deep / height
    if sheets is None:
        scale = min(USUAL, tallest)
        sheets = min(MOST_SHEETS, _sheets_for(width * scale, room))
    scale = min(LARGEST, tallest, (room + (sheets - 1) * (room - OVERLAP)) / width)
    count = min(sheets, _sheets_for(width * scale, room))
    picture = element("g", line.pieces(), class_="d-drawing")
    where = "; sheets from the left"
    leaves = []
    for number in range(count):
        start = number * (room - OVERLAP)
        pieces = [
            _window(picture, start, room, scale, height, width),
            _marks(paper, number, count, EDGE + HEAD + height * scale),
            lettering.fit(title, room, size=5.0, least=3.0).draw(EDGE, EDGE - 1.5),
        ]
        pieces.append([footer(paper, foot + where * (count > 1), number + 1, count)])
        leaves.append(leaf(paper, pieces, words=f"{title}, sheet {number + 1} of {count}"))
    return leaves


def _sheets_for(width: float, room: float) -> int:
    if width <= room + 0.01:
        return 1
    return 1 + ceil((width - room - 0.01) / (room - OVERLAP))


def _window(
    picture: SafeString, start: float, room: float, scale: float, height: float, width: float
) -> SafeString:
    """What of the picture lies on one sheet, cut off at its edges."""
    shown = min(room, width * scale - start)
    return element(
        "svg",
        picture,
        x=EDGE,
        y=EDGE + HEAD,
        width=shown,
        height=height * scale,
        viewBox=f"{start / scale:.3f} 0 {shown / scale:.3f} {height:.3f}",
        preserveAspectRatio="xMinYMin meet",
        overflow="hidden",
    )


def _marks(paper: Paper, number: int, count: int, low: float) -> SafeString:
    """Crosses above and below the drawing at its left end, where this sheet is cut, and where
    that edge is laid on the sheet before."""
    pieces: list[SafeString] = []
    for has_neighbour, x in (
        (number > 0, EDGE),
        (number < count - 1, paper.width - EDGE - OVERLAP),
    ):
        if has_neighbour:
            for y in (EDGE + HEAD - 3.5, low + 3.5):
                pieces += [
                    upright(x, y - 2.5, y + 2.5, class_="p-cut"),
                    rule(x - 2.5, y, x + 2.5, class_="p-cut"),
                ]
    return element("g", pieces)
