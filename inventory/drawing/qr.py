"""A QR code as squares of a size that is known: ISO/IEC 18004, error correction M."""

from __future__ import annotations

from functools import lru_cache

import segno
from django.utils.safestring import SafeString

from inventory.drawing.svg import element

QUIET = 4
"""Modules left white on every side: ISO/IEC 18004 asks for four."""
LEAST_MODULE_MM = 0.4
"""What telephones read from a usual printer. Common practice, no source."""


@lru_cache(maxsize=1024)
def _rows(words: str) -> tuple[tuple[bool, ...], ...]:
    # Exactly M: what a smaller code would have to spare is not spent on a higher level.
    code = segno.make_qr(words, error="m", boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in code.matrix)


def modules(words: str) -> int:
    """Modules across, with the quiet zone on both sides."""
    return len(_rows(words)) + 2 * QUIET


def least_side(words: str) -> float:
    """How many millimetres across the code takes at the least, quiet zone and all."""
    return modules(words) * LEAST_MODULE_MM


def qr(words: str, x: float, y: float, side: float) -> SafeString:
    """The code in a square whose upper left corner is at x, y, quiet zone and all; in mm.

    The dark modules are one path of whole numbers, brought to size by one transform, so that
    rounding moves no edge.
    """
    steps = []
    for row, dark in enumerate(_rows(words)):
        start = None
        for column, module in enumerate((*dark, False)):
            if module and start is None:
                start = column
            elif not module and start is not None:
                steps.append(f"M{start} {row}h{column - start}v1H{start}z")
                start = None
    module = side / modules(words)
    corner = QUIET * module
    return element(
        "path",
        d="".join(steps),
        transform=f"translate({x + corner:.3f} {y + corner:.3f}) scale({module:.5f})",
        class_="p-qr",
    )


def code_on_screen(words: str, *, title: str) -> SafeString:
    """The code as an SVG of its own, one unit a module, that a phone's camera reads off a screen.

    Dark on light whatever the colours of the page, since many readers take no light on dark.
    Raises segno.DataOverflowError, a ValueError, if the words are longer than any code holds.
    """
    side = modules(words)
    return element(
        "svg",
        element("title", title),
        element("rect", width=side, height=side, fill="#fff"),
        qr(words, 0, 0, side),
        viewBox=f"0 0 {side} {side}",
        role="img",
        class_="qr",
    )
