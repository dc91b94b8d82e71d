"""Bench sheets: the bench's order of work with blanks, for measuring away from a screen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from inventory.drawing import lettering
from inventory.drawing.qr import qr
from inventory.drawing.svg import join
from inventory.paper.leaf import (
    LEFT,
    Block,
    Leaf,
    Paper,
    check_line,
    flow,
    frame,
    rule,
    tick_box,
    upright,
)

HEAD = 5.2
ROWS = (9.2, 8.6, 8.0, 7.4, 7.0)
"""Heights of a row, the tallest that keeps a vehicle on one sheet is taken: hands are large."""
NAME, UNIT, WITH = 45.0, 8.5, 17.0
BOX, AREA = 15.0, 84.0
#: Boxes beside each other before a second strip begins.
MOST_BOXES = 6
CODE = 19.0
SAFETY = (
    "Cut the power before you lift stock off live track. Knives, files, solvents and soldering "
    "have their cautions; small parts belong out of the reach of small children."
)


@dataclass(frozen=True)
class Line:
    """One quantity of a strip. limits: in words; by: the sheet, or the reason of the house."""

    name: str
    letter: str
    unit: str
    limits: str = ""
    by: str = ""


@dataclass(frozen=True)
class Strip:
    """A place of the bench, or several alike beside each other: all axles, both ends.

    boxes: what stands over each box, "1", "2", "A"; [""] for the whole vehicle. gaps: pairs of
    row and box that are not asked for, which are drawn crossed out.
    """

    title: str
    boxes: Sequence[str]
    lines: Sequence[Line]
    gaps: frozenset[tuple[int, int]] = frozenset()


@dataclass(frozen=True)
class BenchSheet:
    """What stands on the sheet of one vehicle; one without an identity is to be filled in."""

    identity: str
    about: str
    judged_by: str
    strips: Sequence[Strip]
    address: str = ""
    held: str = ""


REASONS = ("new", "routine", "after trouble", "after repair")


def bench_leaves(sheets: Iterable[BenchSheet], paper: Paper, *, foot: str) -> list[Leaf]:
    """The sheets of each vehicle, which begin anew with each."""
    return [leaf for sheet in sheets for leaf in _leaves(sheet, paper, foot)]


def _leaves(sheet: BenchSheet, paper: Paper, foot: str) -> list[Leaf]:
    found: list[Leaf] = []
    for row in ROWS:
        found = _with_rows(sheet, paper, foot, row)
        if len(found) == 1:
            return found
    return found


def _with_rows(sheet: BenchSheet, paper: Paper, foot: str, row: float) -> list[Leaf]:
    width = paper.width - 2 * LEFT
    most = max((min(MOST_BOXES, len(strip.boxes)) for strip in sheet.strips), default=1)
    area = min(AREA, max(3, most) * BOX)
    blocks = [block for strip in sheet.strips for block in _strip(strip, width, area, row)]
    blocks += [_remarks(width)]
    title = sheet.identity or "A vehicle not logged yet"
    return flow(
        blocks,
        paper,
        title=f"Bench sheet, {title}",
        foot=foot,
        first=_head(sheet, width),
        last=join(
            lettering.fit(SAFETY, width, size=2.4, least=1.8, lines=2).draw(LEFT, 1.0),
            check_line(LEFT, 9.5),
        ),
        last_height=15.0,
    )


# --- The head ---------------------------------------------------------------------------------


def _head(sheet: BenchSheet, width: float) -> Block:
    room = width - (CODE + 4 if sheet.address else 0)
    pieces: list[SafeString] = [
        lettering.text(LEFT, 2.6, "BENCH SHEET", size=2.8, bold=True, class_="p-soft")
    ]
    y = 5.0
    if sheet.identity:
        name = lettering.fit(sheet.identity, room, size=7.2, least=3.0, lines=2, bold=True)
        pieces += name.draw(LEFT, y)
        y += name.height + 1.2
        for words in filter(None, (sheet.about, sheet.judged_by)):
            set_ = lettering.fit(words, room, size=3.0, least=2.2, lines=2)
            pieces += set_.draw(LEFT, y)
            y += set_.height + 0.9
        if sheet.held:
            set_ = lettering.fit(
                f"BAD ORDER: {sheet.held}", room, size=3.0, least=2.2, lines=2, bold=True
            )
            pieces += set_.draw(LEFT, y)
            y += set_.height + 0.9
    else:
        y += _blank_identity(pieces, y + 3.5, width, sheet)
    if sheet.address:
        pieces.append(qr(sheet.address, LEFT + width - CODE + 1.5, -1.5, CODE))
        y = max(y, CODE - 1.0)
    y += 4.4
    pieces += _blanks(
        LEFT, y, width, (("Date", 26), ("Who", 36), ("Caliper", 30), ("Rule", 24), ("Scale", 24))
    )
    y += 7.2
    pieces.append(lettering.text(LEFT, y, "Reason", size=2.6, class_="p-soft"))
    x = LEFT + 12
    for reason in REASONS:
        pieces.append(tick_box(x, y))
        pieces.append(lettering.text(x + 4.4, y, reason, size=2.8))
        x += 4.4 + lettering.width_of(reason, 2.8) + 6
    words = "Repeats go into one box: 14.38 14.40 14.39"
    pieces.append(lettering.text(LEFT + width, y, words, size=2.4, anchor="end", class_="p-soft"))
    return Block(y + 3.2, join(pieces))


def _blank_identity(pieces: list[SafeString], y: float, width: float, sheet: BenchSheet) -> float:
    rows = (
        (("Marks", 60), ("Number", 34), ("Name", 50)),
        (("Kind", 46), ("Scale and standards", 60), ("Axles", 14)),
        (("Maker, catalogue number", 76), ("Acquired, price", 50)),
        (("Coupler A", 34), ("Coupler B", 34), ("RP-25 code", 22), ("Box", 30)),
    )
    for number, row in enumerate(rows):
        pieces += _blanks(LEFT, y + number * 8.0, width, row)
    used = (len(rows) - 1) * 8.0 + 2.0
    if sheet.judged_by:
        set_ = lettering.fit(sheet.judged_by, width, size=2.8, least=2.2)
        pieces += set_.draw(LEFT, y + used + 1.5)
        used += set_.height + 2.5
    return used + 3.5


def _blanks(
    x: float, baseline: float, width: float, named: Sequence[tuple[str, float]]
) -> list[SafeString]:
    """Names with lines to write on, over the whole width in proportion."""
    gap = 4.0
    words = sum(lettering.width_of(name, 2.6) + 1.4 for name, _ in named)
    rest = width - words - gap * (len(named) - 1)
    factor = rest / sum(share for _, share in named)
    pieces: list[SafeString] = []
    for name, share in named:
        pieces.append(lettering.text(x, baseline, name, size=2.6, class_="p-soft"))
        x += lettering.width_of(name, 2.6) + 1.4
        pieces.append(rule(x, baseline + 0.6, x + share * factor))
        x += share * factor + gap
    return pieces


# --- The strips -------------------------------------------------------------------------------


def _strip(strip: Strip, width: float, area: float, row: float) -> list[Block]:
    """A strip as a heading and a row for every quantity; wide ones in several."""
    boxes = list(strip.boxes)
    blocks: list[Block] = []
    for start in range(0, len(boxes), MOST_BOXES):
        here = boxes[start : start + MOST_BOXES]
        title = strip.title
        if len(boxes) > MOST_BOXES:
            title = f"{title} {here[0]} to {here[-1]}" if len(here) > 1 else f"{title} {here[0]}"
        gaps = {(line, box - start) for line, box in strip.gaps}
        blocks += _part(title, here, strip.lines, gaps, width, area, row)
    return blocks


def _part(
    title: str,
    boxes: Sequence[str],
    lines: Sequence[Line],
    gaps: set[tuple[int, int]],
    width: float,
    area: float,
    row: float,
) -> list[Block]:
    side = area / len(boxes)
    first = LEFT + NAME
    unit_x = first + area
    with_x = unit_x + UNIT
    limits_x = with_x + WITH + 1.5
    room = LEFT + width - limits_x
    y = HEAD - 1.5
    pieces = [lettering.fit(title, NAME - 2, size=3.3, least=2.4, bold=True).draw(LEFT, 1.2)]
    pieces += [
        [lettering.text(first + (n + 0.5) * side, y, name, size=2.8, bold=True, anchor="middle")]
        for n, name in enumerate(boxes)
    ]
    pieces.append(
        [
            lettering.text(unit_x + 1.2, y, "unit", size=2.3, class_="p-soft"),
            lettering.text(with_x + 1.2, y, "measured with", size=2.3, class_="p-soft"),
            lettering.text(limits_x, y, "limits, and whose", size=2.3, class_="p-soft"),
            rule(LEFT, HEAD, LEFT + width, class_="p-line p-heavy"),
        ]
    )
    heading = Block(HEAD, join(pieces), keeps=True)
    found = [heading]
    for number, line in enumerate(lines):
        last = number == len(lines) - 1
        crossed = [box for at, box in gaps if at == number]
        places = (first, side, unit_x, with_x, limits_x, room, row)
        found.append(
            Block(
                row + (3.0 if last else 0.0),
                join(
                    _row(line, len(boxes), crossed, places),
                    rule(LEFT, row, LEFT + width, class_="p-hair"),
                ),
                # The heading keeps its first row, and the last row the one before it.
                keeps=number == len(lines) - 2,
                heading=heading,
            )
        )
    return found


def _row(
    line: Line, boxes: int, crossed: Sequence[int], places: tuple[float, ...]
) -> list[SafeString]:
    first, side, unit_x, with_x, limits_x, room, tall = places
    name = lettering.fit(line.name, NAME - 8, size=3.0, least=2.2, lines=2)
    pieces = name.draw(LEFT, (tall - name.height) / 2 + 0.3)
    if line.letter:
        pieces.append(
            lettering.text(first - 2.0, tall / 2 + 1.1, line.letter, size=2.8, anchor="end")
        )
    for box in range(boxes):
        x = first + box * side
        pieces.append(frame(x, 0, side, tall))
        if box in crossed:
            pieces.append(frame(x, 0, side, tall, class_="p-barred"))
    pieces.append(lettering.text(unit_x + 1.2, tall / 2 + 1.0, line.unit, size=2.8))
    pieces.append(upright(with_x, 0, tall, class_="p-hair"))
    pieces.append(upright(with_x + WITH, 0, tall, class_="p-hair"))
    limits = lettering.fit(line.limits, room, size=2.8, least=2.0)
    by = lettering.fit(
        line.by, room, size=2.1, least=1.7, lines=1 if line.limits and tall < 8.6 else 2
    )
    total = limits.height + (0.7 if line.limits and line.by else 0) + by.height
    top = (tall - total) / 2 + 0.3
    pieces += limits.draw(limits_x, top)
    pieces += by.draw(limits_x, top + total - by.height, class_="p-soft")
    return pieces


def _remarks(width: float) -> Block:
    pieces: list[SafeString] = [
        lettering.text(LEFT, 3.6, "Remarks", size=2.6, class_="p-soft"),
        rule(LEFT + 14, 4.4, LEFT + width),
        rule(LEFT, 11.4, LEFT + width),
    ]
    x = LEFT
    for words in ("fit to run", "fit with advice", "bad order", "awaiting inspection"):
        pieces.append(tick_box(x, 18.0))
        pieces.append(lettering.text(x + 4.4, 18.0, words, size=2.8))
        x += 4.4 + lettering.width_of(words, 2.8) + 7
    return Block(20.5, join(pieces))


def same_limits(by_place: Mapping[str, tuple[str, str]]) -> tuple[str, str]:
    """Limits and whose, as they stand beside a row of boxes: once where they are the same at
    every place, else each with the places it is for."""
    groups: dict[tuple[str, str], list[str]] = {}
    for place, limits in by_place.items():
        groups.setdefault(limits, []).append(place)
    if len(groups) == 1:
        return next(iter(groups))
    said = [
        f"{', '.join(places)}: {limits or by or 'no limit'}"
        for (limits, by), places in groups.items()
    ]
    return "; ".join(said), "; ".join(dict.fromkeys(by for limits, by in groups if limits and by))
