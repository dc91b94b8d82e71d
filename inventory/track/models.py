"""Railways, their places, turnouts and tracks, and what stands where."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from inventory.stock.fields import ExactDecimalField
from inventory.stock.models import Vehicle, family_choices
from standards import sheets
from standards.sheets import Scale
from standards.turnouts import REFERENCES

MOST_PLACES = 10_000


class Part(models.Model):
    """What a person lays out and edits. `revision` counts how often it was saved, so that whoever
    saves an older form is told."""

    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        abstract = True


class Railway(Part):
    """A layout: places in order along a line."""

    name = models.CharField(
        max_length=60,
        unique=True,
        error_messages={"unique": "A railway of that name is there already; type another."},
    )
    family = models.CharField("standards", max_length=24, choices=family_choices)
    scale = models.CharField(max_length=24)
    clearance_gap = ExactDecimalField(
        "gap between passing vehicles",
        default=Decimal(3),
        help_text="How much air two vehicles keep where tracks part, such as 3 mm.",
    )
    coupling_slack = ExactDecimalField(
        "slack of each coupling",
        default=Decimal(0),
        help_text="How much a pulled coupling is longer than a pushed one, such as 0.5 mm. Every "
        "vehicle of a cut takes so much more.",
    )
    notes = models.TextField(max_length=2000, blank=True)

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("track:railway", args=[self.pk])

    @property
    def standard(self) -> Scale:
        return sheets.scale(self.family, self.scale)

    @property
    def scales(self) -> frozenset[str]:
        """Codes of the scales of stock that is as large as the railway's."""
        return sheets.sized_like(self.standard)


class Place(Part):
    """A station, yard, siding or hidden storage, in its order along the line."""

    railway = models.ForeignKey(Railway, models.CASCADE, related_name="places")
    name = models.CharField(max_length=60)
    position = models.PositiveSmallIntegerField(
        "place along the line",
        validators=[MinValueValidator(1), MaxValueValidator(MOST_PLACES)],
        help_text="1 at one end of the line, 2 next to it, and so on.",
    )

    class Meta:
        ordering = ["position", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["railway", "name"], name="one_place_of_a_name"),
            models.UniqueConstraint(fields=["railway", "position"], name="one_place_a_position"),
        ]

    def __str__(self) -> str:
        return self.name


class Turnout(Part):
    """A turnout: its frog, and its radius where the diverging leg is one curve."""

    class Hand(models.TextChoices):
        LEFT = "left", "left hand"
        RIGHT = "right", "right hand"
        WYE = "wye", "wye"
        CURVED = "curved", "curved"

    place = models.ForeignKey(Place, models.CASCADE, related_name="turnouts")
    name = models.CharField(max_length=40)
    hand = models.CharField(max_length=6, choices=Hand, default=Hand.RIGHT)
    frog_number = ExactDecimalField(
        "frog", null=True, blank=True, help_text="Its number by the centre-line method."
    )
    frog_typed = models.CharField(
        max_length=24, blank=True, editable=False, help_text="The frog as it was typed: 9.5°."
    )
    diverging_radius = ExactDecimalField(
        null=True,
        blank=True,
        help_text="Where the diverging leg is one curve through the frog and beyond.",
    )
    points_to_frog = ExactDecimalField(
        "points to frog", null=True, blank=True, help_text="From the tips to the frog point."
    )

    # Why it is out of service, empty where it is not. Its one writer keeps the holds.
    held_because = models.CharField(max_length=200, blank=True, editable=False)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["place", "name"], name="one_turnout_of_a_name")
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.place}"

    @property
    def is_wye(self) -> bool:
        return self.hand == self.Hand.WYE


class Track(Part):
    """One track of a place, measured between two reference points."""

    class Duty(models.TextChoices):
        RUNNING = "running", "running line"
        LOOP = "loop", "passing loop"
        LEAD = "lead", "yard lead"
        CLASSIFICATION = "class", "classification"
        ARRIVAL = "arrival", "receiving and departure"
        LOADING = "loading", "loading"
        TEAM = "team", "team track"
        STORAGE = "storage", "storage"
        REMOVABLE = "removable", "removable"

    class Leg(models.TextChoices):
        MAIN = "main", "straight leg"
        DIVERGING = "diverging", "diverging leg"

    place = models.ForeignKey(Place, models.CASCADE, related_name="tracks")
    name = models.CharField(max_length=40)
    duty = models.CharField(max_length=9, choices=Duty, default=Duty.STORAGE)
    position = models.PositiveSmallIntegerField(
        "order in its place",
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(999)],
    )
    measured = ExactDecimalField(
        "measured length", help_text="Along the rails, from one reference point to the other."
    )
    a_reference = models.CharField(
        "measured from", max_length=14, choices=[(each, each) for each in REFERENCES]
    )
    a_turnout = models.ForeignKey(
        Turnout, models.RESTRICT, null=True, blank=True, related_name="+", verbose_name="turnout"
    )
    a_leg = models.CharField("on its", max_length=9, choices=Leg, default=Leg.DIVERGING)
    b_reference = models.CharField(
        "measured to",
        max_length=14,
        choices=[(each, each) for each in REFERENCES],
        default="buffer stop",
    )
    b_turnout = models.ForeignKey(
        Turnout, models.RESTRICT, null=True, blank=True, related_name="+", verbose_name="turnout"
    )
    b_leg = models.CharField("on its", max_length=9, choices=Leg, default=Leg.DIVERGING)
    final_centres = ExactDecimalField(
        "centres beside it",
        null=True,
        blank=True,
        help_text="Between this track and its neighbour, where they run parallel.",
    )
    radius = ExactDecimalField(
        "sharpest curve", null=True, blank=True, help_text="Radius of the sharpest curve on it."
    )
    door_height = ExactDecimalField(
        "door height",
        null=True,
        blank=True,
        help_text="Above the rail, where a shed or loader limits it.",
    )
    grade_percent = ExactDecimalField("grade", null=True, blank=True, help_text="Such as 2 %.")
    most_vehicles = models.PositiveSmallIntegerField(
        "spots",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(500)],
        help_text="How many vehicles have a place at its doors; empty if only its length counts.",
    )

    class Meta:
        ordering = ["place", "position", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["place", "name"], name="one_track_of_a_name"),
            models.CheckConstraint(
                condition=Q(a_reference__in=REFERENCES) & Q(b_reference__in=REFERENCES),
                name="track_references_are_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.place}"

    def get_absolute_url(self) -> str:
        return reverse("track:track", args=[self.pk])

    @property
    def is_removable(self) -> bool:
        return self.duty == self.Duty.REMOVABLE


class Standing(models.Model):
    """A vehicle on a track, in its order from the far end."""

    track = models.ForeignKey(Track, models.CASCADE, related_name="standing")
    vehicle = models.OneToOneField(Vehicle, models.CASCADE, related_name="standing")
    position = models.PositiveIntegerField()

    class Meta:
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return f"{self.vehicle} on {self.track}"


class Industry(Part):
    """Somebody on the line who receives or ships: a mill, a creamery, a team track's customers."""

    place = models.ForeignKey(Place, models.CASCADE, related_name="industries")
    name = models.CharField(max_length=60)
    tracks = models.ManyToManyField(
        Track, blank=True, related_name="industries", help_text="Where its vehicles load."
    )

    class Meta:
        ordering = ["place__position", "name", "pk"]
        verbose_name_plural = "industries"
        constraints = [
            models.UniqueConstraint(fields=["place", "name"], name="one_industry_of_a_name")
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.place}"

    def get_absolute_url(self) -> str:
        return reverse("track:industry", args=[self.pk])


class Traffic(Part):
    """One kind of goods that an industry receives or ships, in which kinds of vehicle."""

    class Direction(models.TextChoices):
        RECEIVES = "receives", "receives"
        SHIPS = "ships", "ships"

    industry = models.ForeignKey(Industry, models.CASCADE, related_name="traffic")
    direction = models.CharField(max_length=8, choices=Direction, default=Direction.RECEIVES)
    goods = models.CharField(max_length=60)
    kinds = models.CharField(
        "kinds of vehicle",
        max_length=200,
        help_text="In the words of the stock, with commas: boxcar, reefer.",
    )
    cars_per_session = ExactDecimalField(
        "vehicles a session", help_text="How many come or go in one running session, such as 1.5."
    )
    sessions_away = ExactDecimalField(
        "sessions in the round",
        help_text="How many sessions one takes from loading until it is back to load again.",
    )

    class Meta:
        ordering = ["direction", "goods", "pk"]
        verbose_name_plural = "traffic"

    def __str__(self) -> str:
        return f"{self.industry.name} {self.direction} {self.goods}"

    @property
    def kind_words(self) -> list[str]:
        """The kinds apart."""
        return [word.strip() for word in self.kinds.split(",") if word.strip()]


class Home(models.Model):
    """An industry that a vehicle works for; it may have several."""

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="homes")
    industry = models.ForeignKey(Industry, models.CASCADE, related_name="homes")

    class Meta:
        ordering = ["industry", "vehicle", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["vehicle", "industry"], name="one_home_at_an_industry")
        ]

    def __str__(self) -> str:
        return f"{self.vehicle} at {self.industry}"


class HomeTrack(models.Model):
    """The track on which a vehicle stands when nobody wants it."""

    vehicle = models.OneToOneField(Vehicle, models.CASCADE, related_name="home_track")
    track = models.ForeignKey(Track, models.CASCADE, related_name="home_of")

    class Meta:
        ordering = ["track", "pk"]

    def __str__(self) -> str:
        return f"{self.vehicle} on {self.track}"
