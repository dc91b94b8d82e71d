"""Where vehicles stand, for the pages of the tracks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import Decimal

from django import template

from inventory.track.standing import Spot
from standards.units import from_base, in_unit, spell

register = template.Library()


@register.filter
def of(spots: Mapping[int, Spot], key: int) -> Spot | None:
    """Where the vehicle of that key stands; None where it stands nowhere."""
    return spots.get(key)


@register.simple_tag(takes_context=True)
def spread(context: template.Context, expanded_mm: float) -> str:
    """An uncertainty above zero in the reader's unit, to two digits, and never as nothing."""
    unit = getattr(context.get("user"), "unit", "mm")
    exact = Decimal(repr(expanded_mm))
    size = float(from_base(exact, unit))
    return spell(exact, unit, max(0, 1 - math.floor(math.log10(size))))


@register.simple_tag(takes_context=True)
def said(context: template.Context, words: str) -> str:
    """Words with their lengths in the reader's unit."""
    return in_unit(words, getattr(context.get("user"), "unit", "mm"))
