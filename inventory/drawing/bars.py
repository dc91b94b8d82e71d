"""Amounts beside each other: as bars from one line, and as the parts of a whole."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.safestring import SafeString

from inventory.drawing.svg import (
    Point,
    box,
    group,
    hatch,
    line,
    sheet,
    shorten,
    text,
    text_width,
)

WIDTH = 340.0
EDGE = 2.0
SIZE, SMALL = 13.0, 12.0
ROW, BAR = 40.0, 11.0
BESIDE = 84.0
STRIP, LEGEND, SWATCH, PERCENT = 30.0, 27.0, 18.0, 80.0


@dataclass(frozen=True)
class Bar:
    """One amount. value: not below zero, None where it is not known; shown: as it is printed;
    beside: of how many it is the sum, or whatever else has to be known of it."""

    label: str
    value: Decimal | None
    shown: str
    beside: str = ""


def bars(rows: Sequence[Bar], *, title: str) -> SafeString:
    """Amounts as bars, one below the other, all from zero and to one scale.

    What is not known has no bar; zero is a line. title: what they are, and in which unit.
    """
    if not rows:
        return SafeString("")
    most = max((row.value for row in rows if row.value is not None), default=Decimal(0))
    room = WIDTH - 2 * EDGE - (BESIDE if any(row.beside for row in rows) else 0)
    height = ROW * len(rows)
    words = "; ".join(
        f"{row.label} {row.shown}{f' ({row.beside})' if row.beside else ''}" for row in rows
    )
    return sheet(
        WIDTH,
        height,
        (_row(row, ROW * place, most, room) for place, row in enumerate(rows)),
        line((EDGE, 0), (EDGE, height), class_="d-axis"),
        title=f"{title}: {words}.",
        class_="d-bars",
    )


def _row(row: Bar, top: float, most: Decimal, room: float) -> list[SafeString]:
    shown = shorten(row.shown, WIDTH / 2, SIZE)
    left = WIDTH - 3 * EDGE - text_width(shown, SIZE, bold=True) - 10
    pieces = [
        text(EDGE + 5, top + 15, shorten(row.label, left, SIZE), size=SIZE),
        text(
            WIDTH - EDGE,
            top + 15,
            shown,
            size=SIZE,
            anchor="end",
            class_="d-value" if row.value is not None else "d-soft",
        ),
    ]
    if row.value is not None:
        length = room * float(row.value / most) if most else 0.0
        pieces.append(
            box(EDGE, top + 21, length, BAR, class_="d-bar")
            if length > 1
            else line((EDGE, top + 21), (EDGE, top + 21 + BAR), class_="d-heavy")
        )
    if row.beside:
        beside = shorten(row.beside, BESIDE - 6, SMALL)
        pieces.append(
            text(WIDTH - EDGE, top + 31, beside, size=SMALL, anchor="end", class_="d-soft")
        )
    return pieces


@dataclass(frozen=True)
class Share:
    """One part of a whole. tone: the class of its colour, which its pattern only repeats."""

    name: str
    number: int
    tone: str = "d-ink"


def shares(parts: Sequence[Share], *, title: str) -> SafeString:
    """A whole as one strip, and below it each part by name, number and share.

    The parts are told apart by their pattern: full, hatched, cross-hatched, empty.
    """
    whole = sum(part.number for part in parts)
    if not whole:
        return SafeString("")
    across = WIDTH - 2 * EDGE
    pieces: list[SafeString] = []
    start = EDGE
    for place, part in enumerate(parts):
        width = across * part.number / whole
        if part.number:
            pieces.append(_patch(start, 1, width, STRIP, place, part.tone))
        start += width
    for place, part in enumerate(parts):
        pieces += _legend(part, place, whole, STRIP + 10 + LEGEND * place)
    words = "; ".join(f"{part.name} {part.number}, {_percent(part, whole)}" for part in parts)
    return sheet(
        WIDTH,
        STRIP + 10 + LEGEND * len(parts),
        pieces,
        title=f"{title}: {words}.",
        class_="d-bars",
    )


def _legend(part: Share, place: int, whole: int, top: float) -> list[SafeString]:
    percent = _percent(part, whole)
    number = f"{part.number}"
    room = WIDTH - SWATCH - 16 - PERCENT - text_width(number, SIZE, bold=True) - 8
    return [
        _patch(EDGE, top + 3, SWATCH, SWATCH, place, part.tone),
        text(EDGE + SWATCH + 9, top + 17, shorten(part.name, room, SIZE), size=SIZE),
        text(WIDTH - PERCENT, top + 17, number, size=SIZE, anchor="end", class_="d-value"),
        text(WIDTH - EDGE, top + 17, percent, size=SMALL, anchor="end", class_="d-soft"),
    ]


def _percent(part: Share, whole: int) -> str:
    """Rounded, but what is there is never none, and what is not all never all."""
    share = 100 * part.number / whole
    if 0 < share < 1:
        return "under 1 %"
    if 99 < share < 100:
        return "over 99 %"
    return f"{share:.0f} %"


def _patch(x: float, y: float, width: float, height: float, pattern: int, tone: str) -> SafeString:
    outline: list[Point] = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    kind = pattern % 4
    pieces = [box(x, y, width, height, class_="d-full" if kind == 0 else "d-part")]
    if kind in (1, 2):
        pieces.append(hatch(outline, spacing=6))
    if kind == 2:
        mirrored = f"translate({2 * x + width:.2f} 0) scale(-1 1)"
        pieces.append(group(hatch(outline, spacing=6), transform=mirrored))
    return group(pieces, class_=f"d-patch {tone}")
