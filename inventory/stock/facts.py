"""What an inspection, a reading, a verdict and a photo keep, be it of a vehicle or of track."""

from __future__ import annotations

import math
from datetime import datetime
from decimal import Decimal
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from inventory.stock.fields import ExactDecimalField
from standards.conformity import Judgement, Outcome
from standards.judging import Finding, GaugeResult, Side, label
from standards.metrology import Measured
from standards.quantities import QUANTITIES, Place, Quantity


def quantity_choices() -> list[tuple[str, str]]:
    return [(quantity.code, quantity.name) for quantity in QUANTITIES.values()]


class Inspected(models.Model):
    """A set of readings by one person for one reason; open until it is finished."""

    inspector = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    rule = models.CharField(max_length=8)
    uses_gauge = models.BooleanField("by go/no-go gauge", default=False)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)
    statement = models.TextField(max_length=2000, blank=True)

    class Meta:
        abstract = True
        ordering = ["-started_at", "-pk"]

    @property
    def is_open(self) -> bool:
        return self.finished_at is None

    @property
    def ends_at(self) -> datetime:
        """When its last word was or will be said: its finish, or now."""
        return self.finished_at or timezone.now()


class Taken(models.Model):
    """One value as typed, or one answer of a go/no-go gauge. Never changed once written."""

    quantity = models.CharField(max_length=30, choices=quantity_choices)
    at = models.CharField(max_length=16, blank=True)
    typed = models.CharField(max_length=200, blank=True)
    gauge = models.CharField(
        max_length=10, blank=True, choices=[(each.value, each.value) for each in GaugeResult]
    )
    unit = models.CharField(max_length=8, blank=True)  # in which the text was read
    values = models.JSONField(default=list)  # the repeats, exact, as text
    value = ExactDecimalField(null=True)
    u = models.FloatField(null=True)
    dof = models.FloatField(null=True)  # None where there are endless degrees of freedom
    instrument = models.ForeignKey("stock.Instrument", models.PROTECT, related_name="+")
    max_error = ExactDecimalField(null=True)
    resolution = ExactDecimalField(null=True)
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    taken_at = models.DateTimeField()
    is_current = models.BooleanField(default=True)

    class Meta:
        abstract = True
        ordering = ["taken_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=(Q(gauge="") & ~Q(typed="") & Q(value__isnull=False))
                | (~Q(gauge="") & Q(typed="") & Q(value__isnull=True)),
                name="%(class)s_is_measured_or_gauged",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.at} {self.typed or self.gauge}".strip()

    @property
    def label(self) -> str:
        """The quantity and where: "Back-to-back, axle 2"."""
        return label(self.quantity, self.at)

    @property
    def measured(self) -> Measured | None:
        """The value with its uncertainty, as the judging takes it."""
        if self.value is None:
            return None
        return Measured(
            value=self.value,
            u=self.u or 0.0,
            dof=math.inf if self.dof is None else self.dof,
            readings=tuple(Decimal(value) for value in self.values),
        )


def _miss(value: Decimal | None, low: Decimal | None, high: Decimal | None) -> Decimal | None:
    if value is None:
        return None
    if low is not None and value < low:
        return value - low
    if high is not None and value > high:
        return value - high
    return Decimal(0)


class Judged(models.Model):
    """What was made of a reading, by which sheet and edition. Superseded, never overwritten."""

    quantity = models.CharField(max_length=30, choices=quantity_choices)
    at = models.CharField(max_length=16, blank=True)
    outcome = models.CharField(
        max_length=10, choices=[(each.value, each.value) for each in Outcome]
    )
    value = ExactDecimalField(null=True)
    u = models.FloatField(null=True)
    expanded = models.FloatField(null=True)
    gauge = models.CharField(max_length=10, blank=True)
    probability = models.FloatField(null=True)
    is_undecidable = models.BooleanField(default=False)
    low = ExactDecimalField(null=True)
    low_basis = models.CharField(max_length=300, blank=True)
    high = ExactDecimalField(null=True)
    high_basis = models.CharField(max_length=300, blank=True)
    nominal = ExactDecimalField(null=True)
    is_advisory = models.BooleanField(default=False)
    is_derived = models.BooleanField(default=False)
    is_second_hand = models.BooleanField(default=False)
    is_by_house = models.BooleanField(default=False)
    note = models.TextField(blank=True)
    sheets = models.JSONField(default=list)  # [{"id", "short", "edition"}] as they were then
    rule = models.CharField(max_length=8)
    cause = models.CharField(max_length=12, default="recorded")
    judged_at = models.DateTimeField()
    is_current = models.BooleanField(default=True)

    class Meta:
        abstract = True
        ordering = ["judged_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome__in=[each.value for each in Outcome]),
                name="%(class)s_outcome_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.at}: {self.outcome}"

    @property
    def key(self) -> tuple[str, str]:
        return self.quantity, self.at

    @property
    def measured_as(self) -> Quantity:
        return QUANTITIES[self.quantity]

    @property
    def label(self) -> str:
        """The quantity and where: "Back-to-back, axle 2"."""
        return label(self.quantity, self.at)

    @property
    def is_silent(self) -> bool:
        """Whether it says nothing either way."""
        return self.outcome == Outcome.NOT_JUDGED.value

    def displaces(self, before: Judged) -> bool:
        """Whether it is a later word on the same thing. What could not be judged for want of any
        limit, or of the other part of a sum, does not clear what was judged before."""
        is_half_judged = self.reading_id is not None and self.has_limits
        return not self.is_silent or before.is_silent or is_half_judged

    @property
    def has_limits(self) -> bool:
        return self.low is not None or self.high is not None

    @property
    def is_limited(self) -> bool:
        """Whether any sheet or house limit speaks of the quantity, so that it belongs with the
        verdicts rather than with the plain dimensions."""
        return self.has_limits or self.nominal is not None or bool(self.gauge)

    def worst_first(self) -> tuple[object, ...]:
        """The order of a page that is read for trouble: outside, undecided, then the rest."""
        severity = ("outside", "undecided", "within", "not judged")
        return severity.index(self.outcome), *self.bench_order()

    def as_finding(self) -> Finding:
        """The stored verdict in the shape in which the pure functions take it."""
        measured = None
        if self.value is not None:
            measured = Measured(value=self.value, u=self.u or 0.0, dof=math.inf, readings=())
        return Finding(
            self.quantity,
            self.at,
            Judgement(
                Outcome(self.outcome),
                self.probability,
                undecidable=self.is_undecidable,
                miss=_miss(self.value, self.low, self.high),
            ),
            measured=measured,
            gauge=GaugeResult(self.gauge) if self.gauge else None,
            low=Side(self.low, 0.0, self.low_basis, is_printed=not self.is_advisory),
            high=Side(self.high, 0.0, self.high_basis, is_printed=not self.is_advisory),
            nominal=self.nominal,
            sheets=tuple(each["id"] for each in self.sheets),
            note=self.note,
            is_judged_by_house=self.is_by_house,
        )

    def bench_order(self) -> tuple[int, int, str, int]:
        quantity = QUANTITIES[self.quantity]
        place = list(Place).index(quantity.place)
        axle = int(self.at) if self.at.isdigit() else 0
        return place, axle, self.at, list(QUANTITIES).index(self.quantity)


class PicturedQuerySet(models.QuerySet):
    def leading(self) -> PicturedQuerySet:
        """The first of each, for a list: to be prefetched."""
        return self.order_by("position")[:1]


class Pictures(models.Manager.from_queryset(PicturedQuerySet)):
    """Photos without their pictures, which are some hundred kilobytes each and are fetched only
    by the view that sends one."""

    def get_queryset(self) -> PicturedQuerySet:
        return super().get_queryset().defer("jpeg", "thumbnail")


class Pictured(models.Model):
    """A photo of something, as a cleaned JPEG. In the record itself, so that a backup holds it."""

    #: The field that names what is on it, and the space of its addresses.
    role: ClassVar[str]
    space: ClassVar[str]

    digest = models.CharField(max_length=32, editable=False)  # of the JPEG; its address carries it
    width = models.PositiveSmallIntegerField(editable=False)  # of the JPEG, in pixels
    height = models.PositiveSmallIntegerField(editable=False)
    caption = models.CharField(max_length=200, blank=True)
    taken_on = models.DateField("taken")
    position = models.PositiveIntegerField(editable=False)  # in order, with gaps
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    added_at = models.DateTimeField()
    # Last in the migrations too: SQLite reads through a picture to what stands behind it in a row.
    thumbnail = models.BinaryField()
    jpeg = models.BinaryField()

    objects = Pictures()

    class Meta:
        abstract = True
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.caption or f"photo of {self.subject}"

    def get_absolute_url(self) -> str:
        """The page that shows it large."""
        return reverse(f"{self.space}:photo", args=[self.pk])

    @property
    def subject(self) -> models.Model:
        """What is on it."""
        return getattr(self, self.role)

    @property
    def picture_address(self) -> str:
        return reverse(f"{self.space}:picture", args=[self.pk, self.digest])

    @property
    def thumbnail_address(self) -> str:
        return reverse(f"{self.space}:thumbnail", args=[self.pk, self.digest])
