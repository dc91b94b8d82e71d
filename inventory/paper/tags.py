"""Bad-order tags: four to a sheet, with cut marks, a hole and a code."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from inventory.drawing import lettering
from inventory.drawing.qr import least_side, qr
from inventory.drawing.svg import circle, element
from inventory.paper.leaf import Leaf, Paper, check_line, corner_marks, frame, leaf, rule

WIDTH, HEIGHT = 88.0, 124.0
COLUMNS, ROWS = 2, 2
PAD = 5.0
CODE = 24.0


@dataclass(frozen=True)
class Tag:
    """What stands on a tag. what: the kind of thing. waits: what must be found right first."""

    subject: str
    what: str
    reason: str
    since: str
    waits: Sequence[str] = ()
    address: str = ""


def corners(paper: Paper) -> Iterator[tuple[float, float]]:
    """The upper left corners of the tags of a sheet, in the middle of it."""
    left = (paper.width - COLUMNS * WIDTH) / 2
    top = (paper.height - ROWS * HEIGHT) / 2
    for row in range(ROWS):
        for column in range(COLUMNS):
            yield left + column * WIDTH, top + row * HEIGHT


def tag_leaves(tags: Sequence[Tag], paper: Paper) -> list[Leaf]:
    """Tags on as many sheets as they take."""
    each = COLUMNS * ROWS
    groups = [tags[start : start + each] for start in range(0, len(tags), each)]
    left, top = next(corners(paper))
    leaves = []
    for number, these in enumerate(groups, start=1):
        pieces: list[SafeString] = []
        for tag, (x, y) in zip(these, corners(paper), strict=False):
            pieces += _draw(tag, x, y)
        rows = (len(these) + COLUMNS - 1) // COLUMNS
        columns = min(COLUMNS, len(these))
        pieces.append(_cuts(left, top, columns, rows))
        low = paper.height - top + min(10.0, top - 7.4)
        pieces.append(check_line(left + 7, low, beside=COLUMNS * WIDTH - 117))
        leaves.append(leaf(paper, pieces, words=f"Tags, sheet {number} of {len(groups)}"))
    return leaves


def _cuts(left: float, top: float, columns: int, rows: int) -> SafeString:
    """Marks outside the block of tags, at its corners and where two of them meet."""
    width, height = columns * WIDTH, rows * HEIGHT
    pieces = [corner_marks(left, top, width, height)]
    off, end = 1.5, 5.5
    for column in range(1, columns):
        x = left + column * WIDTH
        for y, out in ((top, -1), (top + height, 1)):
            pieces.append(
                element("path", d=f"M{x:g} {y + out * off:g}V{y + out * end:g}", class_="p-cut")
            )
    for row in range(1, rows):
        y = top + row * HEIGHT
        for x, out in ((left, -1), (left + width, 1)):
            pieces.append(
                element("path", d=f"M{x + out * off:g} {y:g}H{x + out * end:g}", class_="p-cut")
            )
    return element("g", pieces)


def _draw(tag: Tag, x: float, y: float) -> list[SafeString]:
    left, right = x + PAD, x + WIDTH - PAD
    room, foot = right - left, y + HEIGHT - PAD
    pieces = [
        frame(x + 2, y + 2, WIDTH - 4, HEIGHT - 4, class_="p-line p-heavy"),
        circle((x + WIDTH / 2, y + 8.5), 2.5, class_="p-line"),
        lettering.text(
            x + WIDTH / 2, y + 22.5, "BAD ORDER", size=10.5, bold=True, anchor="middle"
        ),
        rule(left, y + 26, right, class_="p-line p-heavy"),
    ]
    top = y + 29.5
    head = lettering.fit(tag.subject, room, size=7.2, least=3.2, lines=3, bold=True)
    pieces += head.draw(left, top)
    top += head.height + 1.8
    pieces += lettering.fit(tag.what, room, size=3.0, least=2.2).draw(left, top, class_="p-soft")
    top += 5.2
    why = lettering.fit(tag.reason, room, size=4.2, least=2.6, lines=4, bold=True)
    pieces += why.draw(left, top)
    top += why.height + 2.2
    # Below, the code with the lines for whoever mends it; between, what it waits for.
    side = max(CODE, least_side(tag.address)) if tag.address else 0.0
    low = foot - max(side, 20.0) - 1.5
    is_long = lettering.width_of(tag.since, 2.5) > room
    since = lettering.fit(tag.since, room, size=3.0, least=2.0, lines=1 + is_long)
    pieces += since.draw(left, top)
    top += since.height + 2.0
    pieces += _waits(tag.waits, left, top, room, low - 1.5)
    pieces.append(rule(left, low, right, class_="p-hair"))
    if tag.address:
        pieces.append(qr(tag.address, right - side + 1, foot - side, side))
    lines_end = right - side - (1.0 if side else 0.0)
    pieces += lettering.fit("DO NOT RUN", lines_end - left, size=4.4, least=3, bold=True).draw(
        left, low + 2.0
    )
    for number, words in enumerate(("Done", "By, and the day"), start=0):
        line_y = low + 14.0 + number * 9.5
        pieces.append(rule(left, line_y, lines_end))
        pieces.append(lettering.text(left, line_y + 2.7, words, size=2.3, class_="p-soft"))
    return pieces


def _waits(
    waits: Sequence[str], x: float, top: float, room: float, low: float
) -> list[SafeString]:
    if not waits:
        return []
    pieces = [lettering.text(x, top + 2.2, "Waits for", size=2.6, class_="p-soft")]
    top += 4.0
    for number, words in enumerate(waits):
        set_ = lettering.fit(words, room - 3, size=3.0, least=2.2, lines=2)
        left_over = len(waits) - number
        # Room for one more line has to stay for the number of the others.
        if top + set_.height + (3.6 if left_over > 1 else 0) > low:
            more = f"and {left_over} more" if number else f"{left_over} things; see its page"
            if top + 2.4 <= low:
                pieces.append(lettering.text(x, top + 2.2, more, size=2.8))
            break
        pieces.append(frame(x, top, 1.9, 1.9))
        pieces += set_.draw(x + 3.4, top)
        top += set_.height + 1.3
    return pieces
