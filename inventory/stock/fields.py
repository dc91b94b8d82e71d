"""A decimal kept as the digits it was computed to."""

from decimal import Decimal, InvalidOperation

from django.core.exceptions import ValidationError
from django.db import models


class ExactDecimalField(models.Field):
    """A Decimal stored as text, so that no database rounds it.

    SQLite keeps decimals as floating point, and a verdict on a limit must not hang on that.
    Compare in Python; the database can only tell equal texts.
    """

    def __init__(self, *args, **kwargs):
        kwargs.setdefault("max_length", 48)
        super().__init__(*args, **kwargs)

    def get_internal_type(self):
        return "CharField"

    def from_db_value(self, value, expression, connection):
        return None if value is None or value == "" else Decimal(value)

    def to_python(self, value):
        if value is None or value == "" or isinstance(value, Decimal):
            return value or (value if isinstance(value, Decimal) else None)
        try:
            return Decimal(str(value))
        except InvalidOperation as error:
            raise ValidationError(f"“{value}” is not a decimal number.") from error

    def get_prep_value(self, value):
        number = self.to_python(value)
        return None if number is None else f"{number:f}"
