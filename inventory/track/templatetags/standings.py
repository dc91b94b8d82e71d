"""Where vehicles stand, for the pages of the tracks."""

from __future__ import annotations

from collections.abc import Mapping

from django import template

register = template.Library()


@register.filter
def of(places: Mapping[int, str], key: int) -> str:
    """Where the vehicle of that key stands; nothing where it stands nowhere."""
    return places.get(key, "")
