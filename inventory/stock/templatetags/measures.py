"""`{% load measures %}`: values in the reader's units, the other unit beside them."""

from __future__ import annotations

import math
import re
from decimal import Decimal

from django import template
from django.template.defaultfilters import slugify
from django.utils.html import format_html
from django.utils.safestring import SafeString

from inventory.drawing.marks import verdict_mark, worded_mark
from inventory.drawing.strip import tolerance_strip
from inventory.drawing.trend import trend
from inventory.stock.history import Trend
from inventory.stock.models import Verdict
from inventory.stock.taking import bare_unit
from standards.conformity import how_sure
from standards.quantities import QUANTITIES, Dimension, Quantity
from standards.remedies import Mend
from standards.units import from_base, spell

register = template.Library()

_IMPERIAL_DECIMALS = {"in": 4, "oz": 2}


def _units(quantity: Quantity, unit: str) -> tuple[tuple[str, int], tuple[str, int] | None]:
    """The unit and decimals shown first, and those shown beside it."""
    metric = (quantity.unit, quantity.decimals)
    if quantity.dimension is Dimension.GRADE:
        return metric, None
    imperial_unit = "in" if quantity.dimension is Dimension.LENGTH else "oz"
    coarser = imperial_unit == "in" and quantity.decimals < 2
    imperial = (imperial_unit, _IMPERIAL_DECIMALS[imperial_unit] - coarser)
    return (imperial, metric) if unit == "in" else (metric, imperial)


def _unit_of(context: template.Context) -> str:
    return getattr(context.get("user"), "unit", "mm")


@register.simple_tag(takes_context=True)
def measure(context: template.Context, value: Decimal | None, code: str) -> SafeString | str:
    """A value of a quantity, in the reader's unit with the other beside it."""
    if value is None or value == "":
        return ""
    (unit, decimals), beside = _units(QUANTITIES[code], _unit_of(context))
    first = spell(value, unit, decimals)
    if beside is None:
        return first
    return format_html(
        '<span class="nowrap">{}</span> <span class="other-unit">{}</span>',
        first,
        spell(value, *beside),
    )


@register.simple_tag(takes_context=True)
def length(context: template.Context, mm: float) -> SafeString | str:
    """A computed length in millimetres, to a tenth, in the reader's unit with the other beside."""
    return measure(context, Decimal(repr(round(mm, 3))), "body_length")


@register.simple_tag(takes_context=True)
def bare(context: template.Context, value: Decimal, code: str) -> str:
    """A value in the reader's unit, without the unit, for a table that names it."""
    (unit, decimals), _ = _units(QUANTITIES[code], _unit_of(context))
    return spell(value, unit, decimals).split()[0]


@register.simple_tag(takes_context=True)
def over(context: template.Context, left: Decimal) -> str:
    """By how much a length is missing, in the reader's unit, without a sign."""
    unit = _unit_of(context)
    return spell(-left, unit, 1 if unit == "mm" else 3)


@register.simple_tag(takes_context=True)
def result(context: template.Context, verdict: Verdict) -> SafeString:
    """A measured value with its expanded uncertainty, the other unit beside it."""
    (unit, decimals), beside = _units(QUANTITIES[verdict.quantity], _unit_of(context))
    decimals += unit == "mm"
    if verdict.expanded:
        # An uncertainty is never printed as nothing.
        smallest = float(from_base(Decimal(repr(verdict.expanded)), unit))
        decimals = max(decimals, min(6, -math.floor(math.log10(smallest))))
    value = spell(verdict.value, unit, decimals).split()[0]
    spread = ""
    if verdict.expanded:
        spread = f" ± {spell(Decimal(repr(verdict.expanded)), unit, decimals).split()[0]}"
    other = ""
    if beside is not None:
        other = format_html(' <span class="other-unit">({})</span>', spell(verdict.value, *beside))
    return format_html('<span class="nowrap">{}{} {}</span>{}', value, spread, unit, other)


@register.simple_tag(takes_context=True)
def bare_unit_of(context: template.Context, shown) -> str:
    """The unit in which a bare number in this box is read: that of what is in it, or the
    reader's own."""
    reading = shown.reading
    if reading is not None and reading.unit and " " not in reading.unit:
        return reading.unit
    return bare_unit(shown.quantity.dimension.value, _unit_of(context))


@register.simple_tag(takes_context=True)
def limits(context: template.Context, low: Decimal | None, high: Decimal | None, code: str) -> str:
    """Limits in words: "14.376 to 14.605 mm", "at most 0.71 mm"."""
    (unit, decimals), _ = _units(QUANTITIES[code], _unit_of(context))
    shown = decimals + 1 if unit == "mm" else decimals
    if low is None and high is None:
        return ""
    if low is None:
        return f"at most {spell(high, unit, shown)}"
    if high is None:
        return f"at least {spell(low, unit, shown)}"
    return f"{spell(low, unit, shown).split()[0]} to {spell(high, unit, shown)}"


@register.simple_tag(takes_context=True)
def verdict_strip(context: template.Context, verdict: Verdict) -> SafeString | str:
    """The verdict's value inside its limits, drawn in the reader's unit."""
    if verdict.value is None or not (verdict.has_limits or verdict.nominal is not None):
        return ""
    (unit, decimals), _ = _units(QUANTITIES[verdict.quantity], _unit_of(context))

    def shown(value: Decimal | None) -> Decimal | None:
        return None if value is None else from_base(value, unit)

    expanded = None
    if verdict.expanded is not None:
        expanded = float(from_base(Decimal(repr(verdict.expanded)), unit))
    return tolerance_strip(
        value=shown(verdict.value),
        low=shown(verdict.low),
        high=shown(verdict.high),
        nominal=shown(verdict.nominal),
        expanded=expanded,
        outcome=verdict.outcome,
        unit=unit,
        decimals=decimals + 1 if unit == "mm" else decimals,
    )


@register.simple_tag(takes_context=True)
def trend_of(context: template.Context, series: Trend) -> SafeString:
    """A quantity over the inspections, with the limits it is judged by now."""
    latest = series.latest
    (unit, decimals), _ = _units(QUANTITIES[latest.quantity], _unit_of(context))
    return trend(
        [(day, from_base(value, unit)) for day, value in series.points],
        None if latest.low is None else from_base(latest.low, unit),
        None if latest.high is None else from_base(latest.high, unit),
        unit,
        decimals=decimals,
    )


@register.simple_tag(takes_context=True)
def mend_headline(context: template.Context, mend: Mend) -> str:
    """What to do and by how much, in the reader's unit."""
    (unit, decimals), _ = _units(QUANTITIES[mend.quantity], _unit_of(context))
    return mend.headline(unit, decimals)


@register.simple_tag(takes_context=True)
def mend_aim(context: template.Context, mend: Mend) -> str:
    """The change that leaves the most room on both sides, in the reader's unit."""
    if mend.aim is None or not mend.aim:
        return ""
    (unit, decimals), _ = _units(QUANTITIES[mend.quantity], _unit_of(context))
    return spell(mend.aim, unit, decimals)


@register.filter
def cells(row) -> list[tuple[object, object]]:
    """The columns of a table's row with what stands in each, to be gone through twice."""
    if not hasattr(row.table, "cells_of"):
        return list(row.items())
    made = row.table.cells_of(row.record)
    return [(each, made[each.name] or each.default) for each in row.table.columns]


register.simple_tag(worded_mark, name="word")


@register.simple_tag
def word_alone(outcome: str) -> SafeString:
    """A verdict's mark, its word only read out; for a cell too small for it."""
    return format_html(
        '<span class="v {}">{}<span class="hidden">{}</span></span>',
        slugify(outcome),
        verdict_mark(outcome),
        outcome,
    )


@register.filter
def title_once(words: str) -> str:
    """With its first letter large and the others as they are."""
    return words[:1].upper() + words[1:]


@register.filter
def ended(words: str) -> str:
    """Words that somebody typed, ended as a sentence where they did not end it themselves."""
    kept = words.rstrip()
    return kept if kept.endswith((".", "!", "?", "…")) else f"{kept}."


@register.filter
def sure(probability: float | None) -> str:
    """How sure it is, in words."""
    return "" if probability is None else how_sure(probability)


@register.filter
def first_edition(edition: str) -> str:
    """The head of an edition, without what is said about it after it."""
    return re.split(r"[,;(]", edition, maxsplit=1)[0].strip()
