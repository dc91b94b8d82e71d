"""Labels for boxes: marks and number, what it is, and the code that opens its page."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from django.utils.safestring import SafeString

from inventory.drawing import lettering
from inventory.drawing.qr import LEAST_MODULE_MM, QUIET, least_side, modules, qr
from inventory.drawing.svg import join
from inventory.paper.layouts import Layout, LayoutRefused
from inventory.paper.leaf import Leaf, frame, leaf

PAD = 2.0
"""What keeps clear of a label's edge: sheets slip by a millimetre. Common practice, no source."""
LEAST, GAP = 1.7, 0.9
"""The least size of letters, about 5 points, and the room between two lines."""
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
    factor = 1.0
    while True:
        head = _marks(label, width, max(LEAST, largest * factor), 3 if height > 24 else 2)
        rest = _rest(label, width, max(LEAST, min(3.1, head.size * 0.62) * factor), height)
        total = head.height + sum(each.height + GAP for each in rest)
        if total <= height or factor < 0.3:
            break
        factor *= 0.93
    while total > height and rest:
        # Even the smallest will not all fit: what matters least goes first, the trouble last.
        total -= rest.pop().height + GAP
    top = y + max(0.0, (height - total) / 2)
    pieces = head.draw(x, top)
    top += head.height + GAP
    for each in rest:
        pieces += each.draw(x, top)
        top += each.height + GAP
    return pieces


def _marks(label: Label, width: float, size: float, lines: int) -> lettering.Set:
    """Marks and number, which are never cut as long as there is paper for them."""
    found = lettering.fit(label.identity, width, size=size, least=LEAST, lines=lines, bold=True)
    if found.lines and found.lines[-1].endswith("…"):
        return lettering.fit(label.identity, width, size=LEAST, least=LEAST, lines=8, bold=True)
    return found


def _rest(label: Label, width: float, size: float, height: float) -> list[lettering.Set]:
    """What stands below the marks, all at one size, the trouble first."""

    def set_in(words: str, lines: int, bold: bool = False) -> lettering.Set:
        return lettering.fit(words, width, size=size, least=LEAST, lines=lines, bold=bold)

    trouble = set_in(f"BAD ORDER: {label.trouble}", 3 if height > 24 else 2, bold=True)
    if trouble.lines[-1].endswith("…"):
        # Half a reason tells nothing that the two words do not.
        trouble = set_in("BAD ORDER", 1, bold=True)
    found = [
        *([trouble] if label.trouble else []),
        set_in("\u00a0·\u00a0".join(filter(None, (label.kind, label.scale))), 2),
        set_in(box_words(label.box), 1),
        set_in(label.name, 2),
    ]
    return [each for each in found if each.lines]


def box_words(box: str) -> str:
    """Where it is kept: "Box T1", but "Drawer 2" as it is, which says itself what it is."""
    says_itself = re.search(r"[^\W\d_]{3}", box)
    return box if says_itself or not box else f"Box {box}"
