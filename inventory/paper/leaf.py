"""A sheet of paper as one drawing whose unit is the millimetre: its size, its marks, its foot."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from django.utils.safestring import SafeString

from inventory.drawing import lettering
from inventory.drawing.svg import Markup, element, group, join, line


@dataclass(frozen=True)
class Paper:
    """A size of paper in millimetres. A4: ISO 216. US Letter: 8 1/2 by 11 inches, ANSI A."""

    code: str
    name: str
    width: float
    height: float

    @property
    def turned(self) -> Paper:
        """The same, lying on its long side."""
        turned = replace(self, code=f"{self.code}-landscape")
        return replace(turned, width=self.height, height=self.width)


A4 = Paper("a4", "A4", 210.0, 297.0)
LETTER = Paper("letter", "US Letter", 215.9, 279.4)
PAPERS = {paper.code: paper for paper in (A4, LETTER)}

#: Printers leave an edge of about 4 mm white. Common practice, no source.
UNPRINTED = 5.0
MARK, MARK_OFF = 4.0, 1.5
"""Length of a cut mark, and how far it keeps from the corner it points at."""
CHECK_MM = 100.0


@dataclass(frozen=True)
class Leaf:
    """One printed side: what is drawn on it, and what a reader who does not see it is told."""

    paper: Paper
    drawing: SafeString
    words: str

    def __str__(self) -> str:
        return self.svg

    @property
    def svg(self) -> SafeString:
        """The whole sheet, as large as it is."""
        width, height = self.paper.width, self.paper.height
        return element(
            "svg",
            self.drawing,
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {width:g} {height:g}",
            width=f"{width:g}mm",
            height=f"{height:g}mm",
            class_="p-sheet",
        )


def leaf(paper: Paper, *pieces: Markup | Iterable[Markup], words: str) -> Leaf:
    return Leaf(paper, join(*pieces), words)


# --- Lines and boxes --------------------------------------------------------------------------


def rule(x1: float, y: float, x2: float, *, class_: str = "p-line") -> SafeString:
    """A level line."""
    return line((x1, y), (x2, y), class_=class_)


def upright(x: float, y1: float, y2: float, *, class_: str = "p-line") -> SafeString:
    return line((x, y1), (x, y2), class_=class_)


def frame(
    x: float, y: float, width: float, height: float, *, class_: str = "p-line"
) -> SafeString:
    return element("rect", x=x, y=y, width=width, height=height, class_=class_)


def tick_box(x: float, baseline: float, side: float = 3.2) -> SafeString:
    """A box to tick, standing on the baseline of the words beside it."""
    return frame(x, baseline - side + 0.4, side, side)


def corner_marks(
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    off: float = MARK_OFF,
    length: float = MARK,
) -> SafeString:
    """Cut marks outside the four corners of a rectangle, none of them touching it."""
    strokes = []
    for corner_x, out_x in ((x, -1), (x + width, 1)):
        for corner_y, out_y in ((y, -1), (y + height, 1)):
            near, far = corner_x + out_x * off, corner_x + out_x * (off + length)
            strokes.append(line((near, corner_y), (far, corner_y), class_="p-cut"))
            near, far = corner_y + out_y * off, corner_y + out_y * (off + length)
            strokes.append(line((corner_x, near), (corner_x, far), class_="p-cut"))
    return group(strokes)


def check_line(x: float, y: float, *, beside: float = 0.0) -> SafeString:
    """A line of 100 mm to be measured, from x on; its words stand below it, or, where there is
    so much room, beside it."""
    words = (
        "Measure this: if it is not 100\u00a0mm (3\u00a015/16\u00a0in), print at 100\u00a0%, "
        "without “fit to page” and without margins."
    )
    end = x + CHECK_MM
    if beside:
        said = lettering.fit(words, beside, size=2.3, least=1.6, lines=2)
        placed = said.draw(end + 3, y - said.height / 2, class_="p-soft")
    else:
        said = lettering.fit(words, CHECK_MM, size=2.3, least=1.8)
        placed = said.draw(x, y + 2.2, class_="p-soft")
    return group(
        rule(x, y, end, class_="p-line p-check"),
        upright(x, y - 1.6, y + 1.6),
        upright(end, y - 1.6, y + 1.6),
        (upright(x + ten, y - 0.8, y) for ten in range(10, 100, 10)),
        placed,
    )


# --- What runs over several sheets -------------------------------------------------------------

LEFT, TOP, FOOT = 13.0, 12.0, 13.0


@dataclass(frozen=True)
class Block:
    """A strip across the page that is never torn: its height, and its drawing from a top edge.

    keeps: whether it stays with the next one. heading: what is drawn above it again where a new
    page begins with it.
    """

    height: float
    pieces: SafeString
    keeps: bool = False
    heading: Block | None = None

    def at(self, y: float) -> SafeString:
        return element("g", self.pieces, transform=f"translate(0 {y:.2f})")


def flow(
    blocks: Sequence[Block],
    paper: Paper,
    *,
    title: str,
    foot: str,
    first: Block | None = None,
    last: SafeString | None = None,
    last_height: float = 0.0,
) -> list[Leaf]:
    """Blocks one under the other over as many sheets as they take, each with its foot.

    first: what heads the first sheet; later ones are headed by the title, small. last: what
    stands at the very bottom of the last sheet, so high.
    """
    bottom = paper.height - FOOT
    head = first or Block(0.0, SafeString(""))
    again = _running_head(paper, title)
    pages: list[list[Block]] = [[head]]
    y = TOP + head.height
    for together in _kept_together(blocks):
        need = sum(block.height for block in together)
        if y + need > bottom and len(pages[-1]) > 1:
            pages.append([again, *_headed(together[0])])
            y = TOP + sum(block.height for block in pages[-1])
        pages[-1] += together
        y += need
    if last is not None and y + last_height > bottom:
        # It never stands alone: what came last comes over with it.
        carried = [pages[-1].pop()] if len(pages[-1]) > 3 else []
        heading = _headed(carried[0]) if carried else []
        pages.append([again, *heading, *carried])
    leaves = []
    for number, page in enumerate(pages, start=1):
        pieces = []
        y = TOP
        for block in page:
            pieces.append(block.at(y))
            y += block.height
        if last is not None and number == len(pages):
            lowest = f"translate(0 {bottom - last_height:.2f})"
            pieces.append(element("g", last, transform=lowest))
        pieces.append(footer(paper, foot, number, len(pages)))
        leaves.append(leaf(paper, pieces, words=f"{title}, page {number} of {len(pages)}"))
    return leaves


def _kept_together(blocks: Sequence[Block]) -> Iterator[list[Block]]:
    """The blocks, those that keep the next one with it."""
    together: list[Block] = []
    for block in blocks:
        together.append(block)
        if not block.keeps:
            yield together
            together = []
    if together:
        yield together


def _headed(block: Block) -> list[Block]:
    """The heading that a block wants above it where it begins a page."""
    return [] if block.heading is None else [block.heading]


def _running_head(paper: Paper, title: str) -> Block:
    words = lettering.fit(title, paper.width - 2 * LEFT, size=3.0, least=2.2)
    return Block(
        7.0,
        join(words.draw(LEFT, 0.5, class_="p-soft"), rule(LEFT, 4.6, paper.width - LEFT)),
    )


def footer(paper: Paper, words: str, number: int, of: int) -> SafeString:
    """What and when on the left, "page 2 of 7" on the right."""
    y = paper.height - FOOT + 4.2
    right = paper.width - LEFT
    count = f"page {number} of {of}"
    room = right - LEFT - lettering.width_of(count, 2.6) - 6
    return group(
        lettering.fit(words, room, size=2.6, least=1.9).draw(LEFT, y - 1.6, class_="p-soft"),
        lettering.text(right, y + 0.35, count, size=2.6, anchor="end", class_="p-soft"),
    )


# --- Tables ------------------------------------------------------------------------------------

CELL_PAD = 1.2


@dataclass(frozen=True)
class Column:
    """A column of a printed table, its width in mm; figures stand at its right."""

    title: str
    width: float
    is_figure: bool = False
    is_bold: bool = False


def spread_columns(columns: Sequence[Column], width: float) -> list[Column]:
    """The columns brought to a width altogether, each in proportion."""
    factor = width / sum(column.width for column in columns)
    return [replace(column, width=column.width * factor) for column in columns]


def table_heading(columns: Sequence[Column]) -> Block:
    """The names of the columns, ruled off; it stands again on every sheet."""
    pieces: list[SafeString] = []
    x = LEFT
    sets = [
        lettering.fit(
            column.title, column.width - 2 * CELL_PAD, size=2.5, least=1.8, lines=2, bold=True
        )
        for column in columns
    ]
    height = max(set_.height for set_ in sets) + 2.6
    for column, set_ in zip(columns, sets, strict=True):
        at, anchor = _place(column, x)
        pieces += set_.draw(at, height - 1.2 - set_.height, anchor=anchor)
        x += column.width
    pieces.append(rule(LEFT, height, x, class_="p-line p-heavy"))
    return Block(height + 0.4, join(pieces), keeps=True)


def table_row(
    columns: Sequence[Column],
    cells: Sequence[Sequence[str] | str],
    *,
    heading: Block,
    least_height: float = 0.0,
    besides: SafeString | None = None,
    size: float = 2.8,
) -> Block:
    """One row: each cell a paragraph or several, in as many lines as they take.

    besides: what is drawn in the row besides its words, from its upper left corner.
    """
    pieces: list[SafeString] = [besides] if besides is not None else []
    height = least_height
    x = LEFT
    for column, cell in zip(columns, cells, strict=True):
        at, anchor = _place(column, x)
        y = CELL_PAD
        for number, paragraph in enumerate([cell] if isinstance(cell, str) else cell):
            small = number > 0
            set_ = lettering.fit(
                paragraph,
                column.width - 2 * CELL_PAD,
                size=size * (0.88 if small else 1.0),
                least=1.8,
                lines=6,
                bold=column.is_bold and not small,
            )
            pieces += set_.draw(at, y, anchor=anchor, class_="p-soft" if small else "")
            if set_.lines:
                y += len(set_.lines) * lettering.LEADING * set_.size + 0.3
        height = max(height, y + CELL_PAD - 0.3)
        x += column.width
    pieces.append(rule(LEFT, height, x, class_="p-hair"))
    return Block(height, join(pieces), heading=heading)


def _place(column: Column, x: float) -> tuple[float, str]:
    if column.is_figure:
        return x + column.width - CELL_PAD, "end"
    return x + CELL_PAD, "start"


def paragraph(
    words: str,
    width: float,
    *,
    size: float = 3.0,
    before: float = 0.0,
    after: float = 1.6,
    bold: bool = False,
    class_: str = "",
    keeps: bool = False,
    heading: Block | None = None,
) -> Block:
    """Words over the whole width, in as many lines as they take."""
    lines = tuple(lettering.broken(words, width, size, bold=bold))
    set_ = lettering.Set(lines, size, bold)
    return Block(
        before + len(lines) * lettering.LEADING * size + after,
        join(set_.draw(LEFT, before, class_=class_)),
        keeps=keeps,
        heading=heading,
    )
