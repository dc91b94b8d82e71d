"""`{% load drawing %}`: the drawings for templates. An empty argument counts as missing."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django import template
from django.utils.safestring import SafeString

from inventory.drawing import bars as amounts
from inventory.drawing import curve, frog, line, marks, profile, strip, wheelset
from inventory.drawing import jaws as jaws_guides
from inventory.drawing import siding as track
from inventory.drawing import trend as history
from inventory.drawing.svg import element

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


@register.simple_tag
def wheelset_in_frog(sizes: Mapping[str, Any]) -> SafeString:
    """{% wheelset_in_frog sizes %}: a mapping of the arguments of `frog.wheelset_in_frog`.

    What it lacks of the wheelset and the gauge is taken as not measured.
    """
    if not sizes:
        return SafeString("")
    parts = ("back_to_back", *profile.TYRE_PARTS, "track_gauge")
    return frog.wheelset_in_frog(**(dict.fromkeys(parts) | _known(dict(sizes))))


@register.simple_tag
def vehicle_on_curve(sizes: Mapping[str, Any]) -> SafeString:
    """{% vehicle_on_curve sizes %}: a mapping of the arguments of `curve.vehicle_on_curve`."""
    if not sizes:
        return SafeString("")
    return curve.vehicle_on_curve(**_known(dict(sizes)))


@register.simple_tag
def bars(rows: Sequence[amounts.Bar], title: str) -> SafeString:
    """{% bars rows title %}: amounts below each other, to one scale."""
    return amounts.bars(rows or (), title=title)


@register.simple_tag
def shares(parts: Sequence[amounts.Share], title: str) -> SafeString:
    """{% shares parts title %}: the parts of a whole."""
    return amounts.shares(parts or (), title=title)


SIDING = ("measured_mm", "deductions", "clear_mm", "standing", "fits", "ends", "name")


@register.simple_tag
def siding_drawing(sheet: Any) -> SafeString:
    """{% siding_drawing sheet %}: for a phone and for a wide page, of which one is shown.

    The sheet has the arguments of `siding` as its attributes; unit and left_mm may be missing.
    """
    if sheet == "":
        return SafeString("")
    known = {name: getattr(sheet, name) for name in SIDING}
    known["unit"] = getattr(sheet, "unit", "mm")
    known["left_mm"] = getattr(sheet, "left_mm", None)
    drawings = (track.siding(**known, wide=wide) for wide in (False, True))
    return element("div", drawings, class_="drawn")


@register.simple_tag
def line_drawing(places: Sequence[line.Place], upright: bool | None = None) -> SafeString:
    """{% line_drawing places %}: upright and level, of which one is shown, or only that asked."""
    if not places:
        return SafeString("")
    if upright is not None and upright != "":
        return line.line_diagram(places=places, upright=upright)
    drawings = (line.line_diagram(places=places, upright=each) for each in (True, False))
    return element("div", drawings, class_="drawn")
