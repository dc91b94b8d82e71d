"""SVG elements from plain values. Every attribute and every text is escaped here, once."""

import html
import math
import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import TypeVar

from django.utils.html import escape
from django.utils.safestring import SafeString

Number = Decimal | float
AnyNumber = TypeVar("AnyNumber", bound=Decimal | float)
Point = tuple[float, float]
Markup = str
"""Escaped on the way in unless it is marked safe."""

EM, BOLD_EM = 0.64, 0.7
"""Width of an average character in ems, on the wide side: labels are laid out by it."""

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def element(
    tag: str, *children: Markup | Iterable[Markup], **attributes: str | Number | None
) -> SafeString:
    """One element. Attribute names: `class_` is class, `stroke_width` is stroke-width.

    An attribute that is None is left out; a child that is not marked safe is escaped.
    """
    pairs = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{html.escape(_value(value))}"'
        for name, value in attributes.items()
        if value is not None
    )
    # The tag is ours; the rest is escaped.
    return SafeString(f"<{tag}{pairs}>{join(*children)}</{tag}>")  # nosec B703


def join(*children: Markup | Iterable[Markup]) -> SafeString:
    """Pieces of markup one after the other; plain strings among them are escaped."""
    parts: list[str] = []
    for child in children:
        if isinstance(child, SafeString):
            parts.append(child)
        elif isinstance(child, str):
            parts.append(escape(_NOT_XML.sub("", child)))
        else:
            parts.append(join(*child))
    # Every part is escaped above.
    return SafeString("".join(parts))  # nosec B703


def _value(value: str | Number) -> str:
    if isinstance(value, str):
        return _NOT_XML.sub("", value)
    return coordinate(value)


def coordinate(value: Number) -> str:
    """A length on the sheet, to a hundredth of a unit: 12.50 is "12.5", -0.001 is "0"."""
    short = f"{float(value):.2f}".rstrip("0").rstrip(".")
    return "0" if short == "-0" else short


def sheet(
    width: float, height: float, *children: Markup | Iterable[Markup], title: str, class_: str
) -> SafeString:
    """A whole drawing, with its name in words for those who do not see it."""
    return element(
        "svg",
        element("title", title),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {coordinate(width)} {coordinate(height)}",
        class_=f"d-drawing {class_}",
        role="img",
    )


def group(*children: Markup | Iterable[Markup], **attributes: str | Number | None) -> SafeString:
    return element("g", *children, **attributes)


def path(points: Iterable[Point], *, closed: bool = False, class_: str) -> SafeString:
    """Straight lines from point to point."""
    steps = "L".join(f"{coordinate(x)} {coordinate(y)}" for x, y in points)
    return element("path", d=f"M{steps}{'Z' if closed else ''}", class_=class_)


def line(start: Point, end: Point, *, class_: str) -> SafeString:
    return path((start, end), class_=class_)


def box(x: float, y: float, width: float, height: float, *, class_: str) -> SafeString:
    return element("rect", x=x, y=y, width=width, height=height, class_=class_)


def fading(
    x: float, y: float, width: float, height: float, *, towards: str, class_: str
) -> SafeString:
    """A box that thins out towards its left, right or upper side: it has no end there."""
    steps = 8
    upwards = towards == "up"
    across, down = (0.0, height / steps) if upwards else (width / steps, 0.0)
    return group(
        box(
            x + step * across,
            y + step * down,
            across or width,
            down or height,
            class_=f"{class_} d-fade-{step if towards == 'right' else steps - 1 - step}",
        )
        for step in range(steps)
    )


def circle(centre: Point, radius: float, *, class_: str) -> SafeString:
    return element("circle", cx=centre[0], cy=centre[1], r=radius, class_=class_)


# --- Words -----------------------------------------------------------------------------------


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float = 12,
    anchor: str = "start",
    class_: str | None = None,
) -> SafeString:
    """A label standing on the baseline y; anchor is start, middle or end."""
    return element("text", words, x=x, y=y, font_size=size, text_anchor=anchor, class_=class_)


def text_width(words: str, size: float = 12, *, bold: bool = False) -> float:
    """How wide a label may come out, guessed generously since the font is the reader's."""
    return (BOLD_EM if bold else EM) * size * len(words)


def shorten(words: str, width: float, size: float = 12) -> str:
    """The words, or as many of their characters as fit the width, then an ellipsis."""
    if text_width(words, size) <= width:
        return words
    return words[: max(0, int(width / (EM * size)) - 1)].rstrip() + "…"


def wrapped(words: str, room: float, size: float, *, bold: bool = False) -> list[str]:
    """Words in as many lines as they take; a word longer than the room has its own line."""
    lines: list[str] = []
    for word in filter(None, words.split(" ")):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def spread(
    centres: Sequence[float], widths: Sequence[float], *, start: float, end: float, gap: float
) -> list[float] | None:
    """New centres, in the order given, close to the old ones: none touches the next.

    None if the labels do not fit side by side between start and end.
    """
    if sum(widths) + gap * (len(widths) - 1) > end - start:
        return None
    placed: list[float] = []
    edge = start
    for centre, width in zip(centres, widths, strict=True):
        placed.append(max(centre, edge + width / 2))
        edge = placed[-1] + width / 2 + gap
    edge = end
    for index in reversed(range(len(placed))):
        placed[index] = min(placed[index], edge - widths[index] / 2)
        edge = placed[index] - widths[index] / 2 - gap
    if len(placed) == 2 and placed[0] == centres[0] and placed[1] > centres[1]:
        # Two labels too close to each other give way by the same amount where they can.
        give = min((placed[1] - centres[1]) / 2, placed[0] - widths[0] / 2 - start)
        placed = [placed[0] - give, placed[1] - give]
    return placed


# --- Numbers in words ------------------------------------------------------------------------


def figure(value: Number, decimals: int) -> str:
    """A number as printed, with a true minus sign: -0.08 is "−0.08"."""
    shown = f"{value:.{max(0, decimals)}f}"
    if shown.startswith("-"):
        shown = shown[1:] if not shown.strip("-0.") else "−" + shown[1:]
    return shown


def finite(value: AnyNumber | None) -> AnyNumber | None:
    """The number, or None where there is none to draw."""
    return value if value is not None and math.isfinite(value) else None


# --- Arrows and dimensions -------------------------------------------------------------------

ARROW_LENGTH = 8.0
ARROW_HALF = 2.8


def arrow_head(tip: Point, direction: Point, *, class_: str) -> SafeString:
    """A filled head whose tip is at `tip`, pointing along the unit vector `direction`."""
    (x, y), (dx, dy) = tip, direction
    foot = (x - ARROW_LENGTH * dx, y - ARROW_LENGTH * dy)
    return path(
        (
            tip,
            (foot[0] - ARROW_HALF * dy, foot[1] + ARROW_HALF * dx),
            (foot[0] + ARROW_HALF * dy, foot[1] - ARROW_HALF * dx),
        ),
        closed=True,
        class_=f"d-head {class_}",
    )


def dimension(
    start: Point,
    end: Point,
    *,
    at: float,
    label: str = "",
    upright: bool = False,
    side: int = 1,
    beside: bool = False,
    size: float = 13,
    tone: str = "d-accent",
    dashed: bool = False,
) -> SafeString:
    """How far apart two points lie along x, or along y for an upright dimension.

    A level dimension is drawn at the height `at`, an upright one at the abscissa `at`;
    extension lines run there from the points themselves. Where the arrow heads find no room
    between them they stand outside and point inwards, as a draughtsman does it.
    The label of a level dimension stands above its line (side 1) or below (-1), or at the line's
    right or left end where it is narrow or `beside` asks for it; that of an upright one stands
    to the right (1) or left (-1).
    """

    def turned(along: float, across: float) -> Point:
        return (across, along) if upright else (along, across)

    (a, a_from), (b, b_from) = sorted((turned(*start), turned(*end)))
    narrow = b - a < 2 * ARROW_LENGTH + 6
    tail = 2 * ARROW_LENGTH if narrow else 0
    inward = -1 if narrow else 1
    pieces = [
        _extension(turned(a, a_from), turned(a, at), tone),
        _extension(turned(b, b_from), turned(b, at), tone),
        line(
            turned(a - tail, at), turned(b + tail, at), class_=f"d-dim {tone}{' d-dash' * dashed}"
        ),
        arrow_head(turned(a, at), turned(-inward, 0), class_=tone),
        arrow_head(turned(b, at), turned(inward, 0), class_=tone),
    ]
    if label:
        anchor = "start" if side > 0 else "end"
        if upright:
            x, y = at + 7 * side, (a + b) / 2 + 0.36 * size
        elif narrow or beside:
            x, y = (b + tail if side > 0 else a - tail) + 8 * side, at + 0.36 * size
        else:
            x, y, anchor = (a + b) / 2, at - 5 if side > 0 else at + size + 1, "middle"
        pieces.append(text(x, y, label, size=size, anchor=anchor, class_=f"d-label {tone}"))
    return group(pieces)


def _extension(origin: Point, foot: Point, tone: str) -> SafeString:
    """A thin line from the thing measured to just past the dimension line."""
    dx, dy = foot[0] - origin[0], foot[1] - origin[1]
    length = math.hypot(dx, dy)
    if length < 1:
        return SafeString("")
    past = 1 + 4 / length
    return line(
        origin, (origin[0] + dx * past, origin[1] + dy * past), class_=f"d-extension {tone}"
    )


def hatch(outline: Sequence[Point], *, spacing: float = 7) -> SafeString:
    """Section lines at 45 degrees inside a closed outline: the sign for a cut through metal."""
    strokes: list[SafeString] = []
    edges = list(zip(outline, [*outline[1:], outline[0]], strict=True))
    sums = [x + y for x, y in outline]
    offset = min(sums) + spacing / 2
    while offset < max(sums):
        crossings = []
        for (x1, y1), (x2, y2) in edges:
            before, after = x1 + y1 - offset, x2 + y2 - offset
            if (before < 0) != (after < 0):
                share = before / (before - after)
                crossings.append((x1 + share * (x2 - x1), y1 + share * (y2 - y1)))
        crossings.sort()
        strokes.extend(
            line(enter, leave, class_="d-hatch")
            for enter, leave in zip(crossings[::2], crossings[1::2], strict=False)
        )
        offset += spacing
    return group(strokes)
