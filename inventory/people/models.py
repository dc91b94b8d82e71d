"""Who works with the record, how they like to read it, and how they come in."""

from __future__ import annotations

from datetime import datetime

from django.contrib.auth.models import AbstractUser
from django.contrib.sessions.models import Session
from django.db import models
from django.db.models import Exists, OuterRef

from standards.conformity import Rule


class Person(AbstractUser):
    """Someone who signs in. The first one, made by `start`, is the owner.

    Nobody is deleted, since the record names who measured and who released: a person is put out
    (`is_active` false) and may be let in again.
    """

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
        """Owners do everything, and people besides."""
        return self.role == self.Role.OWNER


class SignInLink(models.Model):
    """An address that signs one person in, once. What is in the address is not kept, only its
    digest, so that nobody who reads the record can sign in with it."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="links")
    digest = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(
        Person,
        models.CASCADE,
        null=True,
        related_name="+",
        help_text="Empty: made by the program.",
    )
    made_at = models.DateTimeField(db_index=True)
    expires_at = models.DateTimeField(help_text="Brought forward when it is taken back.")
    used_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"sign-in link of {self.person}"

    def is_good(self, moment: datetime) -> bool:
        """Whether it signs its person in.

        One whose maker has been put out or is no owner any more does not: whoever is shown the
        door must not keep a way in as somebody else.
        """
        by = self.made_by
        is_vouched = by is None or by == self.person or (by.is_active and by.is_owner)
        return (
            self.used_at is None
            and moment < self.expires_at
            and self.person.is_active
            and is_vouched
        )


class DeviceQuerySet(models.QuerySet):
    def signed_in(self, moment: datetime) -> DeviceQuerySet:
        """Those whose session still stands, the last seen first."""
        sessions = Session.objects.filter(
            session_key=OuterRef("session_key"), expire_date__gt=moment
        )
        return self.filter(Exists(sessions)).order_by("-seen_at", "-pk")


class Device(models.Model):
    """A browser in which somebody is signed in: what Django's session does not say of itself."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="devices")
    session_key = models.CharField(max_length=40, unique=True)
    words = models.CharField(max_length=80)
    by_link = models.BooleanField(default=False)
    link_by = models.ForeignKey(
        Person, models.CASCADE, null=True, related_name="+", help_text="Who made that link."
    )
    begun_at = models.DateTimeField()
    seen_at = models.DateTimeField(help_text="To five minutes.")

    objects = DeviceQuerySet.as_manager()

    def __str__(self) -> str:
        return self.words


class SignInTally(models.Model):
    """The failed sign-ins of the last while for one name or from one address."""

    key = models.CharField(
        max_length=80,
        unique=True,
        help_text="Of a name only a keyed digest: people type passwords into the wrong box.",
    )
    moments = models.JSONField(default=list, help_text="When each failed, in seconds since 1970.")
    refused_until = models.DateTimeField(null=True)
    last_at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return self.key
