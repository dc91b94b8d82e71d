"""Scales and families of standards as people write them. Pure."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache

from inventory.ledger.lists import cells
from inventory.ledger.lists.cells import shown
from standards import sheets


@cache
def families() -> dict[str, str]:
    """Codes by whatever they are called: code or name, folded."""
    named = {}
    for family in sheets.families().values():
        named[cells.key(family.code)] = family.code
        named.setdefault(cells.key(family.name), family.code)
    return named


@cache
def scale_code(family: str, text: str) -> str:
    """The code of a scale of a family as somebody writes it: HO, H0, ho, 1:87, 1/87.

    A ratio alone means its widest gauge. Raises UnknownStandard.
    """
    word = cells.key(text).replace("0", "o").replace(" ", "")
    scales = sheets.family(family).scales
    for scale in scales:
        if word == cells.key(scale.code).replace("0", "o").replace(" ", ""):
            return scale.code
    found = re.fullmatch(r"1\s*[:/]\s*(\d{1,3}(?:[.,]\d+)?)", cells.key(text))
    if found:
        ratio = Decimal(found[1].replace(",", "."))
        alike = [each for each in scales if abs(Decimal(str(each.ratio)) - ratio) < Decimal("0.5")]
        if alike:
            return max(alike, key=lambda each: each.gauge_mm).code
    raise sheets.UnknownStandard(
        f"“{shown(text)}” is no scale of {sheets.family(family).name}; it has "
        f"{', '.join(each.code for each in scales)}."
    )
