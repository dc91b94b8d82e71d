"""`{% load published %}`: printed figures and lengths in both units, sources, verdict words."""

from __future__ import annotations

import re
from decimal import Decimal

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from inventory.drawing.marks import verdict_mark
from inventory.sheets.comparing import Overall
from inventory.sheets.converting import feet_and_inches, nearest_part
from standards.conformity import Outcome
from standards.quantities import QUANTITIES, name_of
from standards.units import plain, spell

register = template.Library()

_DECIMALS = {"mm": 3, "in": 4}
_ADDRESS = re.compile(r"https?://[^\s<>\"]+")


@register.filter
def linked(text: str) -> SafeString:
    """A source or a note with its addresses as links that do not say where one comes from."""
    pieces = []
    end = 0
    for found in _ADDRESS.finditer(text):
        address = found.group().rstrip(".,;:")
        if address.endswith(")") and address.count("(") < address.count(")"):
            address = address[:-1]
        pieces.append(format_html("{}", text[end : found.start()]))
        pieces.append(format_html('<a href="{0}" rel="noreferrer">{0}</a>', address))
        end = found.start() + len(address)
    pieces.append(format_html("{}", text[end:]))
    return format_html_join("", "{}", ((piece,) for piece in pieces))


@register.filter
def short_edition(edition: str) -> str:
    """An edition without what is said about it in brackets or after a semicolon."""
    return re.split(r" \(|;", edition)[0]


@register.filter
def provenance_words(provenance: str) -> str:
    """How the sheet was read."""
    return "read on the body's own page" if provenance == "published" else "second-hand"


@register.filter
def quantity_name(code: str) -> str:
    """The name of a quantity, with the letter that the standards' own drawings give it."""
    letter = QUANTITIES[code].letter if code in QUANTITIES else ""
    return f"{name_of(code)}, {letter}" if letter else name_of(code)


@register.filter
def quantity_word(code: str) -> str:
    """The name of a quantity inside a sentence."""
    return name_of(code).lower()


@register.filter
def millimetres(mm: Decimal) -> str:
    return spell(mm, "mm", 3)


@register.filter
def inches(mm: Decimal) -> str:
    return spell(mm, "in", 4)


@register.filter
def metres(mm: Decimal) -> str:
    return spell(mm, "m", 3)


@register.filter
def feet(mm: Decimal) -> str:
    return feet_and_inches(mm)


@register.filter
def sixty_fourths(mm: Decimal) -> str:
    return nearest_part(mm)


def _units(context: template.Context) -> tuple[str, str]:
    return ("in", "mm") if getattr(context.get("user"), "unit", "mm") == "in" else ("mm", "in")


@register.simple_tag(takes_context=True)
def both(context: template.Context, mm: Decimal | None) -> SafeString | str:
    """A length in the reader's unit with the other beside it."""
    if mm is None or mm == "":
        return ""
    first, second = _units(context)
    return format_html(
        '<span class="nowrap">{}</span> <span class="other-unit">{}</span>',
        spell(mm, first, _DECIMALS[first]),
        spell(mm, second, _DECIMALS[second]),
    )


@register.simple_tag(takes_context=True)
def allowed(context: template.Context, low: Decimal | None, high: Decimal | None) -> str:
    """Limits in the reader's unit: "14.376 to 14.605 mm", "≥ 14.376 mm"."""
    unit, _ = _units(context)
    if low is None and high is None:
        return ""
    if low is None:
        return f"≤ {_trimmed(high, unit)}"
    if high is None:
        return f"≥ {_trimmed(low, unit)}"
    return f"{_trimmed(low, unit).split()[0]} to {_trimmed(high, unit)}"


@register.simple_tag(takes_context=True)
def size(context: template.Context, mm: Decimal) -> str:
    """A printed length in the reader's unit alone."""
    return _trimmed(mm, _units(context)[0])


def _trimmed(mm: Decimal, unit: str) -> str:
    number, _ = spell(mm, unit, _DECIMALS[unit]).split()
    return f"{plain(Decimal(number))} {unit}"


@register.simple_tag(takes_context=True)
def spread(context: template.Context, expanded: float) -> str:
    """An expanded uncertainty in the reader's unit, nothing for an exact number."""
    unit, _ = _units(context)
    return f"± {spell(Decimal(repr(expanded)), unit, _DECIMALS[unit])}" if expanded else ""


@register.simple_tag(takes_context=True)
def signed(context: template.Context, mm: Decimal) -> str:
    """A difference with its sign: "+0.01 mm", "−0.0004 in"."""
    unit, _ = _units(context)
    text = spell(abs(mm), unit, 2 if unit == "mm" else 4)
    if not Decimal(text.split()[0]):
        return "the same"
    return f"{'+' if mm > 0 else '−'}{text}"


#: The mark of a verdict that stands for the whole wheelset.
_MARKS = {
    Overall.MEETS: Outcome.WITHIN,
    Overall.UNDECIDED: Outcome.UNDECIDED,
    Overall.CANNOT_SAY: Outcome.NOT_JUDGED,
    Overall.FAILS: Outcome.OUTSIDE,
}


@register.simple_tag
def verdict(outcome: str) -> SafeString:
    """A verdict, or what a family says of the whole wheelset: its mark and its word."""
    shown = _MARKS.get(outcome, outcome)
    return format_html(
        '<span class="v {}">{}{}</span>', shown.replace(" ", "-"), verdict_mark(shown), outcome
    )
