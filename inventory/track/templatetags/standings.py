"""Where vehicles stand, for the pages of the tracks."""

from __future__ import annotations

from collections.abc import Mapping

from django import template

from standards.units import in_unit

register = template.Library()


@register.filter
def of(places: Mapping[int, str], key: int) -> str:
    """Where the vehicle of that key stands; nothing where it stands nowhere."""
    return places.get(key, "")


@register.simple_tag(takes_context=True)
def said(context: template.Context, words: str) -> str:
    """Words with their lengths in the reader's unit."""
    return in_unit(words, getattr(context.get("user"), "unit", "mm"))
