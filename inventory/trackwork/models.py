"""Turnouts, crossings and stretches of track that are measured like vehicles."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from inventory.stock.facts import Inspected, Judged, Pictured, Taken
from inventory.stock.fields import ExactDecimalField
from inventory.track.models import Place, Track, Turnout
from standards.sheets import Scale

PERSON = settings.AUTH_USER_MODEL


class Trackwork(models.Model):
    """One piece of trackwork of a place, as declared; what was measured is in the readings."""

    class Kind(models.TextChoices):
        TURNOUT = "turnout", "turnout"
        CROSSING = "crossing", "crossing"
        CURVE = "curve", "curve"
        STRAIGHT = "straight", "straight track"

    place = models.ForeignKey(Place, models.CASCADE, related_name="trackwork")
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.CURVE)
    name = models.CharField(
        max_length=40, blank=True, help_text="Such as: curve behind the mill."
    )  # a turnout has its own
    turnout = models.OneToOneField(
        Turnout, models.CASCADE, null=True, blank=True, related_name="trackwork", editable=False
    )
    track = models.ForeignKey(
        Track,
        models.SET_NULL,
        null=True,
        blank=True,
        related_name="trackwork",
        help_text="The track that it belongs to, if one is recorded.",
    )
    frog_number = ExactDecimalField(
        null=True, blank=True, help_text="Of a crossing's frogs, such as 4; 2 is about 28 degrees."
    )
    rail_code = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(20), MaxValueValidator(400)],
        help_text="Height of the rail in thousandths of an inch, such as 83.",
    )

    class Meta:
        ordering = ["place__position", "kind", "name", "pk"]
        verbose_name_plural = "trackwork"
        constraints = [
            models.UniqueConstraint(
                fields=["place", "name"],
                condition=Q(turnout__isnull=True),
                name="one_trackwork_of_a_name",
            )
        ]

    def __str__(self) -> str:
        return f"{self.title}, {self.place}"

    def get_absolute_url(self) -> str:
        return reverse("trackwork:piece", args=[self.pk])

    @property
    def title(self) -> str:
        """What it is called in its place."""
        return self.turnout.name if self.turnout else self.name

    @property
    def standard(self) -> Scale:
        return self.place.railway.standard

    @property
    def has_frog(self) -> bool:
        return self.kind in (self.Kind.TURNOUT, self.Kind.CROSSING)

    @property
    def number(self) -> Decimal | None:
        """The frog number; None where it was not declared."""
        return self.turnout.frog_number if self.turnout else self.frog_number

    @property
    def legs(self) -> tuple[str, ...]:
        """The ways through a frog."""
        if self.kind == self.Kind.TURNOUT:
            return "straight leg", "diverging leg"
        return ("first leg", "second leg") if self.kind == self.Kind.CROSSING else ()


class TrackInspection(Inspected):
    """A set of readings of one piece of trackwork; open until it is finished."""

    trackwork = models.ForeignKey(Trackwork, models.CASCADE, related_name="inspections")

    class Reason(models.TextChoices):
        NEW = "new", "newly laid"
        ROUTINE = "routine", "routine"
        TROUBLE = "after trouble", "after trouble"
        REPAIR = "after repair", "after repair"

    reason = models.CharField(max_length=14, choices=Reason, default=Reason.ROUTINE)

    class Meta(Inspected.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["trackwork"],
                condition=Q(finished_at__isnull=True),
                name="one_open_inspection_a_trackwork",
            )
        ]

    def __str__(self) -> str:
        return f"{self.trackwork}, {self.reason}, {self.started_at:%Y-%m-%d}"


class TrackReading(Taken):
    """A reading of one quantity at one place of a piece of trackwork."""

    inspection = models.ForeignKey(TrackInspection, models.CASCADE, related_name="readings")

    class Meta(Taken.Meta):
        constraints = [
            *Taken.Meta.constraints,
            models.UniqueConstraint(
                fields=["inspection", "quantity", "at"],
                condition=Q(is_current=True),
                name="one_current_track_reading",
            ),
        ]


class TrackVerdict(Judged):
    """What was made of a reading of trackwork."""

    inspection = models.ForeignKey(TrackInspection, models.CASCADE, related_name="verdicts")
    reading = models.ForeignKey(TrackReading, models.CASCADE, null=True, related_name="verdicts")

    class Meta(Judged.Meta):
        constraints = [
            *Judged.Meta.constraints,
            models.UniqueConstraint(
                fields=["inspection", "quantity", "at"],
                condition=Q(is_current=True),
                name="one_current_track_verdict",
            ),
        ]


class TrackworkPhoto(Pictured):
    """A photo of a piece of trackwork."""

    role, space = "trackwork", "trackwork"

    trackwork = models.ForeignKey(Trackwork, models.CASCADE, related_name="photos")

    class Meta(Pictured.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["trackwork", "position"], name="one_photo_of_trackwork_in_a_position"
            )
        ]
