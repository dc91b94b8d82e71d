"""Slips for visitors: two to a sheet, cut apart in the middle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from inventory.drawing import lettering
from inventory.drawing.marks import SIGNS
from inventory.drawing.svg import element
from inventory.paper.leaf import LEFT, UNPRINTED, Leaf, Paper, leaf, rule

PAD = 11.0


@dataclass(frozen=True)
class Slip:
    """What is handed over. outcome: the word of the check; says: what it means for running.
    parts: a heading and its points each."""

    identity: str
    about: str
    owner: str
    outcome: str
    says: str
    parts: Sequence[tuple[str, Sequence[str]]]
    checked: str
    judged_by: str


def slip_leaves(slips: Sequence[Slip], paper: Paper) -> list[Leaf]:
    """Two slips on every sheet, one above the other."""
    half = paper.height / 2
    pairs = [slips[start : start + 2] for start in range(0, len(slips), 2)]
    leaves = []
    for number, pair in enumerate(pairs, start=1):
        pieces = [_draw(slip, index * half, half, paper.width) for index, slip in enumerate(pair)]
        pieces.append([_cut(paper, half)])
        leaves.append(leaf(paper, pieces, words=f"Slips, sheet {number} of {len(pairs)}"))
    return leaves


def _cut(paper: Paper, y: float) -> SafeString:
    """A mark at either edge, where the sheet is cut."""
    ends = ((UNPRINTED, UNPRINTED + 7), (paper.width - UNPRINTED - 7, paper.width - UNPRINTED))
    return element("g", (rule(start, y, end, class_="p-cut") for start, end in ends))


def sign(outcome: str, x: float, y: float, side: float) -> SafeString:
    """The sign of a verdict, in ink alone: its shape tells it."""
    known = SIGNS.get(outcome)
    if known is None:
        return SafeString("")
    return element(
        "g",
        (element("path", d=strokes, class_="p-sign") for strokes in known.strokes),
        transform=f"translate({x:.2f} {y:.2f}) scale({side / 16:.4f})",
    )


def _draw(slip: Slip, top: float, height: float, width: float) -> list[SafeString]:
    right, bottom = width - LEFT, top + height - PAD
    room = right - LEFT
    y = top + PAD
    outcome_width = lettering.width_of(slip.outcome, 4.6, bold=True) + 8
    name = lettering.fit(
        slip.identity, room - outcome_width - 4, size=6.4, least=3.0, lines=2, bold=True
    )
    pieces = name.draw(LEFT, y)
    pieces.append(lettering.text(right, y + 4.4, slip.outcome, size=4.6, bold=True, anchor="end"))
    pieces.append(sign(slip.outcome, right - outcome_width + 0.6, y + 0.4, 5.0))
    y += max(name.height, 5.0) + 1.8
    about = lettering.fit(
        ", ".join(filter(None, (slip.about, slip.owner and f"of {slip.owner}"))),
        room,
        size=3.2,
        least=2.2,
        lines=2,
    )
    pieces += about.draw(LEFT, y)
    y += about.height + 2.0
    pieces.append(rule(LEFT, y, right, class_="p-line p-heavy"))
    y += 2.4
    says = lettering.fit(slip.says, room, size=4.0, least=2.6, lines=3, bold=True)
    pieces += says.draw(LEFT, y)
    y += says.height + 2.6
    low = bottom - 9.0
    pieces += _parts(slip.parts, y, low, room)
    pieces.append(rule(LEFT, bottom - 7.0, right, class_="p-hair"))
    for words, line in ((slip.judged_by, 0), (slip.checked, 1)):
        set_ = lettering.fit(words, room, size=2.6, least=1.9)
        pieces += set_.draw(LEFT, bottom - 6.0 + line * 3.4, class_="p-soft")
    return pieces


def _parts(
    parts: Sequence[tuple[str, Sequence[str]]], y: float, low: float, room: float
) -> list[SafeString]:
    """As many points as there is room for; what is left out is counted, never dropped silently."""
    pieces: list[SafeString] = []
    points = [(head, words) for head, listed in parts for words in listed]
    current = None
    for number, (head, words) in enumerate(points):
        left_over = len(points) - number
        set_ = lettering.fit(words, room - 4, size=3.0, least=2.2, lines=3)
        need = set_.height + (6.2 if head != current else 0)
        if y + need + (4.0 if left_over > 1 else 0) > low:
            more = f"and {left_over} more, on its page in the record"
            pieces.append(lettering.text(LEFT, y + 2.6, more, size=2.8, bold=True))
            break
        if head != current:
            pieces.append(lettering.text(LEFT, y + 3.2, head, size=3.0, bold=True))
            y += 5.2
            current = head
        pieces.append(rule(LEFT, y + 1.2, LEFT + 1.8))
        pieces += set_.draw(LEFT + 3.4, y)
        y += set_.height + 1.5
    return pieces
