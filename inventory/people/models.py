"""Who works with the record, and how they like to read it."""

from django.contrib.auth.models import AbstractUser
from django.db import models

from standards.conformity import Rule


class Person(AbstractUser):
    """Someone who signs in. The first one, made by `start`, is the owner."""

    class Role(models.TextChoices):
        OWNER = "owner", "owner"
        INSPECTOR = "inspector", "inspector"
        VISITOR = "visitor", "visitor"

    class Unit(models.TextChoices):
        MM = "mm", "millimetres and grams"
        INCH = "in", "inches and ounces"

    role = models.CharField(max_length=12, choices=Role, default=Role.INSPECTOR)
    unit = models.CharField(
        "units",
        max_length=2,
        choices=Unit,
        default=Unit.MM,
        help_text="Shown first; the others stand beside.",
    )
    rule = models.CharField(
        "decision rule",
        max_length=8,
        choices=[
            (Rule.NINETY_FIVE.value, "95 %: a verdict has to be 95 % sure (ISO 14253-1:2017)"),
            (Rule.SIMPLE.value, "simple: the value alone is compared with the limit"),
        ],
        default=Rule.NINETY_FIVE.value,
        help_text="Used for the inspections that you begin.",
    )

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @property
    def may_write(self) -> bool:
        """Visitors read; everybody else measures and logs."""
        return self.role != self.Role.VISITOR

    @property
    def is_owner(self) -> bool:
        return self.role == self.Role.OWNER
