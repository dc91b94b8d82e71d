"""What went wrong, what is out of service because of it, and what ran how often."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from inventory.stock.facts import Pictured
from inventory.stock.models import Inspection, Vehicle
from inventory.track.models import Place, Railway, Track, Turnout
from inventory.trackwork.models import TrackInspection, Trackwork
from standards.causes import Happening

PERSON = settings.AUTH_USER_MODEL
MOST_PASSAGES = 10_000


def happenings() -> list[tuple[str, str]]:
    return [(each.value, each.words) for each in Happening]


class Incident(models.Model):
    """One report of trouble, as it was seen. It lays no blame, and is never edited away."""

    class Way(models.TextChoices):
        FACING = "facing", "facing the points"
        TRAILING = "trailing", "trailing through them"

    class Effort(models.TextChoices):
        PULLED = "pulled", "pulled"
        PUSHED = "pushed", "pushed"

    railway = models.ForeignKey(Railway, models.SET_NULL, null=True, related_name="incidents")
    place = models.ForeignKey(Place, models.SET_NULL, null=True, related_name="+")
    track = models.ForeignKey(Track, models.SET_NULL, null=True, related_name="+")
    turnout = models.ForeignKey(Turnout, models.SET_NULL, null=True, related_name="+")
    trackwork = models.ForeignKey(Trackwork, models.SET_NULL, null=True, related_name="+")
    # As it was called then; the railway may be laid anew.
    where = models.CharField(max_length=160)
    happened = models.CharField(max_length=12, choices=happenings)
    happened_at = models.DateTimeField()
    way = models.CharField(max_length=8, choices=Way, blank=True)
    effort = models.CharField(max_length=6, choices=Effort, blank=True)
    position = models.PositiveSmallIntegerField(
        null=True, validators=[MinValueValidator(1), MaxValueValidator(500)]
    )
    note = models.TextField(max_length=2000, blank=True)
    reported_by = models.ForeignKey(PERSON, models.PROTECT, related_name="+")
    reported_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_because = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-happened_at", "-pk"]
        indexes = [models.Index(fields=["-happened_at", "-id"], name="incident_lately")]

    def __str__(self) -> str:
        return f"{self.get_happened_display()}, {self.where}, {self.happened_at:%Y-%m-%d}"

    def get_absolute_url(self) -> str:
        return reverse("trouble:incident", args=[self.pk])

    @property
    def is_derailment(self) -> bool:
        return Happening(self.happened).is_derailment


class Involved(models.Model):
    """A vehicle in an incident: the first that came off, others with it, and the neighbours."""

    class Part(models.TextChoices):
        FIRST = "first", "first to go"
        ALSO = "also", "went with it"
        AHEAD = "ahead", "coupled ahead"
        BEHIND = "behind", "coupled behind"

    incident = models.ForeignKey(Incident, models.CASCADE, related_name="involved")
    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="involvements")
    part = models.CharField(max_length=6, choices=Part)
    was_held = models.BooleanField(default=False)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["incident", "vehicle"], name="one_part_a_vehicle_in_an_incident"
            )
        ]

    def __str__(self) -> str:
        return f"{self.vehicle}, {self.get_part_display()}"


class IncidentPhoto(Pictured):
    """How it looked."""

    role, space = "incident", "trouble"

    incident = models.ForeignKey(Incident, models.CASCADE, related_name="photos")

    class Meta(Pictured.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["incident", "position"], name="one_photo_of_a_report_in_a_position"
            )
        ]


class Hold(models.Model):
    """A vehicle or a piece of trackwork out of service, until a named person releases it.

    broken: the quantities and places that were outside when it was taken out, as lists of two;
    each must be measured again, within, before the release.
    """

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, null=True, related_name="holds")
    trackwork = models.ForeignKey(Trackwork, models.CASCADE, null=True, related_name="holds")
    reason = models.CharField(max_length=200)
    incident = models.ForeignKey(Incident, models.SET_NULL, null=True, related_name="holds")
    inspection = models.ForeignKey(Inspection, models.SET_NULL, null=True, related_name="+")
    track_inspection = models.ForeignKey(
        TrackInspection, models.SET_NULL, null=True, related_name="+"
    )
    broken = models.JSONField(default=list)
    held_by = models.ForeignKey(PERSON, models.PROTECT, null=True, related_name="+")
    held_at = models.DateTimeField()
    released_by = models.ForeignKey(PERSON, models.PROTECT, null=True, related_name="+")
    released_at = models.DateTimeField(null=True)
    done = models.TextField(max_length=2000, blank=True)

    class Meta:
        ordering = ["held_at", "pk"]
        indexes = [
            models.Index(
                fields=["held_at", "id"],
                condition=Q(released_at__isnull=True),
                name="hold_open",
            ),
            models.Index(fields=["-released_at"], name="hold_released"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(vehicle__isnull=False, trackwork__isnull=True)
                | Q(vehicle__isnull=True, trackwork__isnull=False),
                name="hold_is_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(released_at__isnull=True)
                | (Q(released_by__isnull=False) & ~Q(done="")),
                name="release_names_who_and_what",
            ),
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=Q(released_at__isnull=True),
                name="one_open_hold_a_vehicle",
            ),
            models.UniqueConstraint(
                fields=["trackwork"],
                condition=Q(released_at__isnull=True),
                name="one_open_hold_a_trackwork",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.subject}: {self.reason}"

    def get_absolute_url(self) -> str:
        return reverse("trouble:hold", args=[self.pk])

    @property
    def subject(self) -> Vehicle | Trackwork:
        """What is held."""
        return self.vehicle or self.trackwork

    @property
    def is_open(self) -> bool:
        return self.released_at is None


class RunningSession(models.Model):
    """One evening of running: who ran over what, about how often. This is the exposure."""

    railway = models.ForeignKey(Railway, models.CASCADE, related_name="running")
    held_on = models.DateField("day")
    note = models.CharField(max_length=200, blank=True)
    noted_by = models.ForeignKey(PERSON, models.PROTECT, related_name="+")
    noted_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-held_on", "-pk"]
        indexes = [models.Index(fields=["-held_on", "-id"], name="session_lately")]
        constraints = [
            models.UniqueConstraint(fields=["railway", "held_on"], name="one_session_a_day")
        ]

    def __str__(self) -> str:
        return f"{self.railway}, {self.held_on:%Y-%m-%d}"

    def get_absolute_url(self) -> str:
        return reverse("trouble:session", args=[self.pk])


class Turn(models.Model):
    """Part of a session: these vehicles passed each of these spots about so often."""

    session = models.ForeignKey(RunningSession, models.CASCADE, related_name="turns")
    passages = models.PositiveIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(MOST_PASSAGES)]
    )
    vehicles = models.ManyToManyField(Vehicle, related_name="turns")
    turnouts = models.ManyToManyField(Turnout, related_name="+")
    tracks = models.ManyToManyField(Track, related_name="+")
    trackwork = models.ManyToManyField(Trackwork, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(passages__gte=1), name="turn_has_passages")
        ]

    def __str__(self) -> str:
        return f"{self.session}: {self.passages}"
