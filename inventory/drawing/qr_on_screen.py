"""An address as a QR code that a phone's camera reads off a screen or off paper."""

import segno
from django.utils.safestring import SafeString, mark_safe

QUIET_ZONE = 4
"""Modules left light about the code: ISO/IEC 18004 asks for four (from memory)."""


def qr_code(text: str, *, title: str) -> SafeString:
    """An SVG of the class `qr`, one unit a module, with its quiet zone.

    Dark on light whatever the colours of the page, since many readers take no light on dark.
    Correction level M makes good up to about 15 % (ISO/IEC 18004, from memory); it is not raised
    where there would be room, since larger modules help a phone more.

    Raises ValueError if the text is longer than any QR code holds.
    """
    code = segno.make_qr(text, error="m", boost_error=False)
    drawn = code.svg_inline(
        border=QUIET_ZONE,
        omitsize=True,
        dark="#000",
        light="#fff",
        svgclass="qr",
        lineclass=None,
        title=title,
    )
    # segno draws paths of numbers alone and escapes the title.
    return mark_safe(drawn.replace("<svg ", '<svg role="img" ', 1))


def qr_side(text: str) -> int:
    """Modules along a side of `qr_code`, the quiet zone with them."""
    return segno.make_qr(text, error="m", boost_error=False).symbol_size(border=QUIET_ZONE)[0]
