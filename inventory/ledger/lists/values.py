"""The cells of a list as values, by the same rules as the forms."""

from __future__ import annotations

import re
import uuid
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from inventory.ledger.lists import cells, columns
from inventory.ledger.lists.cells import CellRefused, Mark, Number, Order, shown
from inventory.ledger.lists.columns import Column, Kind
from inventory.ledger.lists.scales import families
from inventory.stock import rules
from inventory.stock.forms import NewVehicleForm, WheelsetForm
from inventory.stock.models import Coupler, Vehicle, Wheelset
from standards import sheets


class ValueRefused(Exception):
    """Words for what is wrong with one cell."""


class Values:
    """Reads the cells of a list by the same rules as the forms."""

    def __init__(
        self, unit: str, today: date, order: Order | None = None, is_1904: bool = False
    ) -> None:
        self._unit, self._today, self._is_1904 = unit, today, is_1904
        self._form = NewVehicleForm(unit=unit)
        self._wheels = WheelsetForm()
        self._known: dict[tuple[str, str, type, str], object] = {}
        self.marks: dict[int, Mark | None] = {}
        self.order = order
        self.units: dict[int, str] = {}

    def read(self, column: Column, index: int, cell: str) -> Any:
        """The value of a cell that is not empty. Raises ValueRefused."""
        asked = (column.code, str(index), type(cell), cell)
        if asked not in self._known:
            try:
                value: object = self._read(column, index, cell)
            except (CellRefused, ValueRefused, sheets.UnknownStandard) as error:
                value = ValueRefused(str(error))
            except ValidationError as error:
                value = ValueRefused(f"“{shown(cell)}”: {' '.join(error.messages)}")
            if len(cell) > 100:  # hardly ever met again
                if isinstance(value, ValueRefused):
                    raise value
                return value
            self._known[asked] = value
        value = self._known[asked]
        if isinstance(value, ValueRefused):
            raise value
        return value

    def _read(self, column: Column, index: int, cell: str) -> Any:
        kind = column.kind
        if kind is Kind.TEXT:
            return self._by_form(column.code, cell)
        if kind is Kind.WHOLE:
            return self._by_form(column.code, str(cells.read_whole(cell)))
        if kind is Kind.YES:
            return cells.read_yes(cell)
        if kind is Kind.DAY:
            day = cells.read_day(
                cell, self.order, this_year=self._today.year, is_1904=self._is_1904
            )
            return rules.day_acquired(day)
        if kind is Kind.AMOUNT:
            amount = cells.read_amount(cell, self.marks.get(index))
            number = self._by_form(column.code, f"{amount.number:f}")
            return cells.Amount(number, amount.currency)
        if kind is Kind.LENGTH:
            return self._length(column.code, index, cell)
        if kind is Kind.PER_AXLE:
            return [self._of_wheels(column.code, each) for each in cells.split(cell)]
        return self._from_list(column, cell)

    def _length(self, code: str, index: int, cell: str) -> Decimal | None:
        text = self._form.fields[code].clean(cell)
        unit = self.units.get(index) or ("mm" if isinstance(cell, Number) else self._unit)
        if unit == "mm" and re.fullmatch(r"\d{1,24}(\.\d{1,20})?", text):
            return rules.radius(Decimal(text))
        return rules.radius(rules.one_number(text, "length", unit))

    def _from_list(self, column: Column, cell: str) -> Any:
        if column.kind is Kind.UID:
            try:
                return uuid.UUID(cell.strip())
            except ValueError as error:
                raise ValueRefused(
                    f"“{shown(cell)}” is no uid as an export writes it; empty the cell, and the "
                    "vehicle is known by its marks, number and scale."
                ) from error
        if column.kind is Kind.FAMILY:
            code = families().get(cells.key(cell))
            if code is None:
                raise ValueRefused(
                    f"“{shown(cell)}” is no set of standards held here; type one such as nmra "
                    "or nem, or leave the column out and pick one above."
                )
            return code
        if column.kind in (Kind.SCALE, Kind.RETIRED):
            return cell.strip()
        code = columns.chosen_word(column.kind, cell)
        if not code:
            words = {
                Kind.CATEGORY: Vehicle.Category.values,
                Kind.COUPLER: Coupler.Kind.values,
                Kind.MOUNTING: [value for value, _ in Coupler._meta.get_field("mounting").choices],
            }[column.kind]
            raise ValueRefused(f"“{shown(cell)}” is not known; use {', '.join(words)}.")
        return code

    def _by_form(self, code: str, text: str) -> Any:
        return _checked(self._form.fields[code], Vehicle._meta.get_field(code), text)

    def _of_wheels(self, code: str, text: str) -> Any:
        if code == "profile_code" and text.strip():
            text = str(cells.read_whole(text))
        return _checked(self._wheels.fields[code], Wheelset._meta.get_field(code), text)


def _checked(asked: forms.Field, kept: Any, text: str) -> Any:
    """A value as the form takes it and the model lets it be. Raises ValidationError in words."""
    value = asked.clean(text)
    rule = rules.OF_FIELD.get(kept.name)
    if rule is not None and value not in asked.empty_values:
        value = rule(value)
    try:
        if value not in asked.empty_values:
            kept.run_validators(value)
    except ValidationError as error:
        for each in error.error_list:
            each.message = asked.error_messages.get(each.code, each.message)
        raise
    return value
