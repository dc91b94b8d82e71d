"""Labels for boxes: marks and number, what it is, and the code that opens its page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from django.utils.safestring import SafeString

from inventory.drawing import lettering
from inventory.drawing.qr import LEAST_MODULE_MM, QUIET, least_side, modules, qr
from inventory.drawing.svg import join
from inventory.paper.layouts import Layout, LayoutRefused
from inventory.paper.leaf import Leaf, corner_marks, frame, leaf

PAD = 2.0
"""What keeps clear of a label's edge: sheets slip by a millimetre. Common practice, no source."""
MOST_CODE = 20.0
"""Of the dark part: larger takes the room of the words and is read no better."""


@dataclass(frozen=True)
class Label:
    """What stands on one label. trouble: why it is out of service, empty where it is not."""

    identity: str
    name: str = ""
    kind: str = ""
    scale: str = ""
    box: str = ""
    trouble: str = ""
    address: str = ""


def code_side(layout: Layout, addresses: Sequence[str]) -> float:
    """How large the codes of a sheet come out, all alike, quiet zone and all; 0 for none.

    The quiet zone may reach into the clear edge of the label, which is white as well. Raises
    LayoutRefused where a module would be smaller than telephones read.
    """
    longest = max(addresses, key=modules, default="")
    if not longest:
        return 0.0
    least, across = least_side(longest), modules(longest)
    largest = MOST_CODE * across / (across - 2 * QUIET)
    wanted = min(largest, max(least, 0.45 * layout.width))
    room = min(layout.height, 0.6 * layout.width, wanted)
    if room < least:
        raise LayoutRefused(
            "layout",
            f"The code takes {least:.1f} mm at {LEAST_MODULE_MM:g} mm a module, and a label of "
            f"{layout.width:g} × {layout.height:g} mm leaves {room:.1f} mm for it: choose larger "
            "labels, or a shorter host name.",
        )
    return room


def label_leaves(
    labels: Sequence[Label], layout: Layout, *, start: int = 1, marks: bool = False
) -> list[Leaf]:
    """Labels on as many sheets as they take, the first at position `start`, counted row by row
    from 1. marks: the outline of every label, for plain paper and for trying."""
    side = code_side(layout, [label.address for label in labels if label.address])
    corners = list(layout.corners())
    places = start - 1 + len(labels)
    count = max(1, ceil(places / layout.count))
    leaves = []
    for number in range(count):
        pieces: list[SafeString] = []
        for position, (x, y) in enumerate(corners):
            index = number * layout.count + position - (start - 1)
            if 0 <= index < len(labels):
                pieces += _draw(labels[index], x, y, layout, side)
        if marks:
            pieces.append(_outlines(layout))
        leaves.append(leaf(layout.paper, pieces, words=f"Labels, sheet {number + 1} of {count}"))
    return leaves


def _outlines(layout: Layout) -> SafeString:
    """The labels' edges where they part, as hair lines to cut along."""
    return join(
        frame(x, y, layout.width, layout.height, class_="p-cut") for x, y in layout.corners()
    )


def _draw(label: Label, x: float, y: float, layout: Layout, side: float) -> list[SafeString]:
    pieces: list[SafeString] = []
    left, right = x + PAD, x + layout.width - PAD
    if label.address and side:
        pieces.append(qr(label.address, x, y + (layout.height - side) / 2, side))
        # The quiet zone has to stay white: the words begin where it ends.
        left = x + side + 0.3
    return pieces + _words(label, left, y + PAD, right - left, layout.height - 2 * PAD)


def _words(label: Label, x: float, y: float, width: float, height: float) -> list[SafeString]:
    """The words in their room: large marks, then what it is, then the trouble, if any."""
    largest = min(5.6, height * 0.26)
    lines = 3 if height > 24 else 2
    factor = 1.0
    while True:
        head = lettering.fit(
            label.identity, width, size=largest * factor, least=1.6, lines=lines, bold=True
        )
        small = min(3.1, max(1.7, head.size * 0.62)) * (factor if factor < 1 else 1)
        small = max(1.6, small)
        rest = [
            lettering.fit(words, width, size=size, least=1.6, lines=most, bold=bold)
            for words, size, most, bold in _rest(label, small, height)
            if words
        ]
        gap = 0.9
        total = head.height + sum(set_.height + gap for set_ in rest)
        if total <= height or factor < 0.25:
            break
        factor *= 0.92
    while total > height and rest:
        # Even the smallest will not all fit: what matters least goes first.
        total -= rest.pop(_least_of(rest, bool(label.trouble))).height + gap
    top = y + max(0.0, (height - total) / 2)
    pieces = head.draw(x, top)
    top += head.height + gap
    for set_ in rest:
        pieces += set_.draw(x, top)
        top += set_.height + gap
    return pieces


def _rest(label: Label, small: float, height: float) -> list[tuple[str, float, int, bool]]:
    most = 2 if height > 18 else 1
    about = " · ".join(filter(None, (label.kind, label.scale)))
    return [
        (f"BAD ORDER: {label.trouble}" if label.trouble else "", small, most, True),
        (label.name, small, most, False),
        (about, small, most, False),
        (f"Box {label.box}" if label.box else "", small, 1, False),
    ]


def _least_of(rest: Sequence[lettering.Set], has_trouble: bool) -> int:
    """What goes first where there is no room: the last, but never the trouble."""
    return len(rest) - 1 if len(rest) > 1 or not has_trouble else 0


def marks_of(layout: Layout) -> SafeString:
    """Corner marks of the whole block of labels."""
    width = (layout.columns - 1) * layout.across + layout.width
    height = (layout.rows - 1) * layout.down + layout.height
    return corner_marks(layout.left, layout.top, width, height)
