"""What a declared fact of a vehicle has to be, whichever way it comes in: typed into a form or
read from a list. The rules of single fields are the model's own; these are the others."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils import timezone

from inventory.stock.taking import bare_unit
from standards.units import Unreadable, read


def marks(text: str) -> str:
    """Marks without what cannot be seen. Raises ValidationError where nothing is left."""
    seen = "".join(ch for ch in text if ch.isprintable()).strip()
    if not seen:
        raise ValidationError("There is nothing to be seen in it; type the marks on its side.")
    return seen


def day_acquired(day: date | None) -> date | None:
    """The day on which it was got. Raises ValidationError for one that is still to come."""
    # A day's grace, since the server's day is not everybody's.
    if day and day > timezone.localdate() + timedelta(days=1):
        raise ValidationError(
            f"{day:%Y-%m-%d} is still to come; type the day on which you got it."
        )
    return day


def capitals(text: str) -> str:
    """A code that is written in capitals."""
    return text.upper()


def radius(value: Decimal | None) -> Decimal | None:
    """The smallest radius. Raises ValidationError for 0."""
    if value == 0:
        raise ValidationError("A radius of 0 is no curve; leave it empty.")
    return value


def one_number(
    typed: str, dimension: str, unit: str, *, may_be_negative: bool = False
) -> Decimal | None:
    """Bench text that holds one number, in mm, g or %; None where nothing was typed.

    unit: in which a number without a unit is read. Raises ValidationError in the bench's words.
    """
    if not typed:
        return None
    try:
        text = read(
            typed,
            dimension,
            default_unit=bare_unit(dimension, unit),
            may_be_zero=True,
            may_be_negative=may_be_negative,
        )
    except Unreadable as error:
        raise ValidationError(str(error)) from error
    if len(text.values) > 1:
        raise ValidationError("Type one number.")
    return text.values[0]


def missing_beside(facts: Mapping[str, object]) -> dict[str, str]:
    """What is missing beside other facts: the field, and words for it."""
    is_priced = facts.get("price") is not None or facts.get("value") is not None
    if is_priced and not facts.get("currency"):
        return {"currency": "Name the currency of the price, such as EUR, GBP or USD."}
    return {}


#: The rules of single facts, after those of their fields.
OF_FIELD: dict[str, Callable] = {
    "reporting_mark": marks,
    "acquired_on": day_acquired,
    "currency": capitals,
    "aar_designation": capitals,
    "uic_letter": capitals,
    "minimum_radius": radius,
}
