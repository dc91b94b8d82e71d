"""`{% load drawing %}`: the drawings for templates. An empty argument counts as missing."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import template
from django.utils.safestring import SafeString

from inventory.drawing import jaws as jaws_guides
from inventory.drawing import marks, profile, strip, wheelset
from inventory.drawing import trend as history

register = template.Library()


def _known(arguments: dict[str, Any]) -> dict[str, Any]:
    """A variable the template could not find arrives as an empty string."""
    return {key: None if value == "" else value for key, value in arguments.items()}


@register.simple_tag
def verdict_mark(outcome: str) -> SafeString:
    return marks.verdict_mark(outcome)


@register.filter
def tone(outcome: str) -> str:
    """The class that colours the words beside a verdict's mark."""
    return marks.tone(outcome)


@register.simple_tag
def tolerance_strip(
    *, outcome: str, unit: str, decimals: int = 3, **numbers: Decimal | float | None
) -> SafeString:
    """{% tolerance_strip value=… low=… high=… expanded=… nominal=… outcome=… unit=… %}"""
    known = dict.fromkeys(("value", "low", "high", "expanded", "nominal")) | _known(numbers)
    return strip.tolerance_strip(outcome=outcome, unit=unit, decimals=decimals, **known)


@register.simple_tag
def jaws(quantity: str) -> SafeString:
    return jaws_guides.jaws_picture(quantity)


@register.simple_tag
def jaws_caption(quantity: str) -> str:
    return jaws_guides.caption(quantity)


@register.simple_tag
def trend(
    points: Sequence[tuple[str, Decimal]],
    low: Decimal | None,
    high: Decimal | None,
    unit: str,
    decimals: int | None = None,
) -> SafeString:
    limits = _known({"low": low, "high": high})
    return history.trend(points or (), unit=unit, decimals=decimals, **limits)


@register.simple_tag
def wheel_profile(
    *, unit: str = "mm", nominal: profile.Nominal | None = None, **numbers: Any
) -> SafeString:
    """{% wheel_profile tyre_width=… flange_depth=… flange_thickness=… nominal=… unit=… %}"""
    known = dict.fromkeys(profile.TYRE_PARTS) | _known(numbers)
    return profile.wheel_profile(unit=unit, nominal=nominal or None, **known)


@register.simple_tag
def wheelset_in_gauge(
    *, unit: str = "mm", nominal: profile.Nominal | None = None, **numbers: Any
) -> SafeString:
    """{% wheelset_in_gauge back_to_back=… flange_thickness=… … track_gauge=… nominal=… %}"""
    parts = ("back_to_back", *profile.TYRE_PARTS, "track_gauge")
    known = dict.fromkeys(parts) | _known(numbers)
    return wheelset.wheelset_in_gauge(unit=unit, nominal=nominal or None, **known)
