"""Vehicles, what they were measured with, what was read, and what was made of it."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from itertools import groupby

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Cast
from django.urls import reverse

from inventory.stock.facts import (
    Inspected,
    Judged,
    Pictured,
    Pictures,
    Taken,
    quantity_choices,
)
from inventory.stock.fields import ExactDecimalField
from standards import sheets
from standards.conformity import Outcome
from standards.judging import Service
from standards.quantities import QUANTITIES, Dimension, Place, Quantity
from standards.sheets import Scale

PERSON = settings.AUTH_USER_MODEL


AAR_LETTERS = 6
#: Of a verdict that asks for something to be done.
OPEN_OUTCOMES = (Outcome.OUTSIDE.value, Outcome.UNDECIDED.value)
#: What is ours. The indexes of the lists hold no other vehicles: their condition is this.
FLEET = Q(visitor="", retired_as="")
#: The fields of that condition, which every index ends with, so that it alone tells.
OURS = ("visitor", "retired_as")
#: The order of the stock list.
IN_ORDER = ("reporting_mark", "number_key", "id")


def _as_sign(code: str) -> str:
    """A code in letters that nobody types and a line's end, so that only the whole of it is found
    and no part of it passes for a word."""
    return "".join(chr(0xE000 + min(ord(each), 0x7FF)) for each in code.casefold()) + "\n"


def family_choices() -> list[tuple[str, str]]:
    return [(family.code, family.name) for family in sheets.families().values()]


def padded(number: str) -> str:
    """A running number by which a list puts 88 before 1104."""
    return re.sub(r"\d+", lambda digits: digits.group().zfill(8), number)[:120]


class VehicleQuerySet(models.QuerySet):
    def for_list(self) -> VehicleQuerySet:
        """In the order of the stock list."""
        return self.order_by("reporting_mark", "number_key", "pk")

    def searched(self, words: str) -> VehicleQuerySet:
        """Those in which every word stands somewhere, or is the AAR designation."""
        found = self
        for word in words.split()[:8]:
            stands = Q(search_text__contains=word.casefold())
            if len(word) <= AAR_LETTERS:
                stands |= Q(search_text__startswith=_as_sign(word))
            found = found.filter(stands)
        return found

    def for_page(self) -> VehicleQuerySet:
        """What the page of one vehicle shows."""
        return self.prefetch_related("wheelsets", "couplers")

    def with_first_photo(self) -> VehicleQuerySet:
        """Each with its first photo, if it has one, as the one item of `first_photos`."""
        photos = models.Prefetch("photos", VehiclePhoto.objects.leading(), to_attr="first_photos")
        return self.prefetch_related(photos)

    def of_the_house(self) -> VehicleQuerySet:
        """Ours, be they in the fleet or retired; without what visitors brought."""
        return self.filter(visitor="")

    def former(self) -> VehicleQuerySet:
        """Ours once: what has left the stock, the last to leave first."""
        return self.of_the_house().exclude(retired_as="").order_by("-retired_on", "-pk")

    def that_ever_were(self) -> VehicleQuerySet:
        """Ours, be they in the fleet or retired, without what was entered by mistake."""
        return self.of_the_house().exclude(retired_as=Vehicle.Retired.MISTAKEN)

    def awaiting_inspection(self) -> VehicleQuerySet:
        return self.filter(service=Service.AWAITING.value)

    def twins_of(self, *, reporting_mark: str, number: str, family: str, scale: str):
        """Vehicles that carry the same marks at the same scale."""
        return self.filter(
            reporting_mark__iexact=reporting_mark,
            number__iexact=number,
            family=family,
            scale=scale,
        )


class Fleet(models.Manager.from_queryset(VehicleQuerySet)):
    """Our own stock as it is now, without what visitors brought and what has left it."""

    def get_queryset(self) -> VehicleQuerySet:
        return super().get_queryset().filter(FLEET)


class Vehicle(models.Model):
    """A locomotive, car or wagon, coach or service vehicle."""

    class Retired(models.TextChoices):
        SOLD = "sold", "sold"
        SCRAPPED = "scrapped", "scrapped"
        GIVEN = "given", "given away"
        MISTAKEN = "mistaken", "entered by mistake"

    class Category(models.TextChoices):
        LOCOMOTIVE = "locomotive", "locomotive"
        FREIGHT = "freight", "freight car or wagon"
        PASSENGER = "passenger", "passenger car or coach"
        SERVICE = "service", "service stock"

    # What it is known by outside this record: on its label, in exported files.
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    reporting_mark = models.CharField(
        "railway or reporting marks", max_length=40, help_text="As lettered on its side."
    )
    number = models.CharField(max_length=24, blank=True, help_text="Running number.")
    name = models.CharField(max_length=60, blank=True)
    category = models.CharField(max_length=12, choices=Category, default=Category.FREIGHT)
    kind = models.CharField(
        max_length=60, help_text="In plain words: boxcar, open wagon, railcar."
    )
    aar_designation = models.CharField(
        "AAR designation",
        max_length=6,
        blank=True,
        validators=[
            RegexValidator(
                r"^[A-Z]{1,4}$", "An AAR mechanical designation is one to four capitals, as XM."
            )
        ],
        help_text="AAR mechanical designation, such as XM or HT.",
    )
    uic_letter = models.CharField(
        "UIC class letter",
        max_length=1,
        blank=True,
        validators=[
            RegexValidator(r"^[A-Z]$", "The UIC class letter is one capital, such as G or E.")
        ],
        help_text="UIC class letter, such as G or E.",
    )
    family = models.CharField("standards", max_length=24, choices=family_choices)
    scale = models.CharField(max_length=24)
    axles = models.PositiveSmallIntegerField(
        default=4, validators=[MinValueValidator(1), MaxValueValidator(16)]
    )
    has_buffers = models.BooleanField("side buffers", default=False)
    maker = models.CharField(max_length=60, blank=True)
    catalogue_number = models.CharField(max_length=40, blank=True)
    era = models.CharField("era or epoch", max_length=30, blank=True)
    acquired_on = models.DateField("acquired", null=True, blank=True)
    price = models.DecimalField(
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    value = models.DecimalField(
        "present value",
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    currency = models.CharField(
        max_length=3,
        blank=True,
        validators=[RegexValidator(r"^[A-Z]{3}$", "Three capitals as in ISO 4217, such as EUR.")],
        help_text="ISO 4217, such as EUR, GBP or USD.",
    )
    minimum_radius = ExactDecimalField(
        "smallest radius",
        null=True,
        blank=True,
        help_text="The sharpest curve that it goes round, as its maker states it or as you found.",
    )
    storage_box = models.CharField("storage box", max_length=40, blank=True)
    notes = models.TextField(max_length=4000, blank=True)
    service = models.CharField(
        max_length=20,
        choices=[(each.value, each.value) for each in Service],
        default=Service.AWAITING.value,
        editable=False,
    )
    # Whose it is, where it is not ours: it is checked, and counts nowhere in the fleet.
    visitor = models.CharField(max_length=60, blank=True, editable=False)
    # Why it is out of service, empty where it is not. Its one writer keeps the holds.
    held_because = models.CharField(max_length=200, blank=True, editable=False)
    # How it left the stock, empty while it has not. It stays in the record with all that was.
    retired_as = models.CharField(max_length=8, choices=Retired, blank=True, editable=False)
    retired_on = models.DateField(null=True, editable=False)
    retired_price = models.DecimalField(max_digits=10, decimal_places=2, null=True, editable=False)
    retired_note = models.CharField(max_length=200, blank=True, editable=False)
    # The number with its digits padded, so that a list puts 88 before 1104.
    number_key = models.CharField(max_length=120, editable=False, blank=True)
    # What a search looks through, folded: the list reads one index instead of eight columns.
    search_text = models.TextField(editable=False, blank=True)
    # When its last finished inspection was finished; `finish_inspection` writes it.
    last_inspected_at = models.DateTimeField(null=True, editable=False)
    revision = models.PositiveIntegerField(default=1, editable=False)
    logged_at = models.DateTimeField(auto_now_add=True)
    logged_by = models.ForeignKey(PERSON, models.PROTECT, null=True, editable=False)

    objects = Fleet()
    everyone = VehicleQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(service__in=[each.value for each in Service]),
                name="vehicle_service_is_known",
            ),
            models.CheckConstraint(condition=Q(axles__gte=1), name="vehicle_has_an_axle"),
            models.CheckConstraint(
                condition=Q(retired_as="", retired_on__isnull=True)
                | (~Q(retired_as="") & Q(retired_on__isnull=False)),
                name="retired_has_its_day",
            ),
        ]
        indexes = [
            models.Index(fields=["reporting_mark", "number"], name="vehicle_marks"),
            # One for every order and filter of the stock list, so that a page is read from where
            # it begins; the first holds what is searched, and no row is looked up in vain.
            *(
                models.Index(fields=[*fields, *OURS], condition=FLEET, name=f"vehicle_{name}")
                for name, fields in (
                    ("list", [*IN_ORDER, "search_text"]),
                    ("service", ["service", *IN_ORDER]),
                    ("category", ["category", *IN_ORDER]),
                    ("scale", ["scale", *IN_ORDER]),
                    ("standard", ["scale", "family", "id"]),
                    ("by_service", ["service", "id"]),
                    ("lately_logged", ["service", "-logged_at", "id"]),
                    ("by_key", ["id"]),
                    ("by_kind", ["kind", "id"]),
                    ("by_maker", ["maker", "catalogue_number", "id"]),
                    ("by_box", ["storage_box", "id"]),
                    ("by_last", ["last_inspected_at", "id"]),
                    ("due", ["last_inspected_at", "held_because", "service"]),
                )
            ),
            models.Index(
                fields=["held_because", *IN_ORDER, *OURS],
                condition=FLEET & Q(held_because__gt=""),
                name="vehicle_held",
            ),
            models.Index(fields=["id"], condition=Q(visitor__gt=""), name="vehicle_visiting"),
        ]

    def __str__(self) -> str:
        return self.identity

    def save(self, *args, **kwargs) -> None:
        self.note_words()
        super().save(*args, **kwargs)

    def get_absolute_url(self) -> str:
        return reverse("bench:visitor" if self.visitor else "stock:vehicle", args=[self.pk])

    def note_words(self) -> None:
        """Keep what lists sort and search by; `save` does it, bulk writers do it first."""
        self.number_key = padded(self.number)
        self.search_text = self._as_searched()

    def _as_searched(self) -> str:
        words = (
            self.reporting_mark,
            self.number,
            self.name,
            self.kind,
            self.maker,
            self.catalogue_number,
            self.storage_box,
        )
        return _as_sign(self.aar_designation) + "\n".join(words).casefold()

    @property
    def identity(self) -> str:
        """What it is called at the bench: its marks and number."""
        return f"{self.reporting_mark} {self.number}".strip()

    @property
    def standard(self) -> Scale:
        """The scale as its family of standards names it."""
        return sheets.scale(self.family, self.scale)

    @property
    def fitted_wheelsets(self) -> list[Wheelset]:
        """The wheelsets under it now, by axle."""
        return [wheelset for wheelset in self.wheelsets.all() if wheelset.removed_at is None]

    def wheelsets_at(self, moment: datetime) -> list[Wheelset]:
        """The wheelsets that were under it at a moment."""
        return [wheelset for wheelset in self.wheelsets.all() if wheelset.was_fitted_at(moment)]

    @property
    def family_name(self) -> str:
        return sheets.family(self.family).name

    @property
    def is_retired(self) -> bool:
        return self.retired_as != ""

    @property
    def is_locomotive(self) -> bool:
        return self.category == self.Category.LOCOMOTIVE


class Change(models.Model):
    """What was changed of a vehicle, readings and holds apart. Never edited, never deleted.

    what: the name of a field, or one of the words of `Change.Deed`.
    """

    class Deed(models.TextChoices):
        RETIRED = "retired", "retired"
        BACK = "brought back", "brought back"
        WHEELSET = "wheelset", "wheelset"
        COUPLER = "coupler", "coupler"
        HOME = "home", "home"
        HOME_TRACK = "home track", "home track"
        STANDING = "standing", "standing"
        PHOTO = "photo", "photo"

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="changes")
    what = models.CharField(max_length=30)
    before = models.TextField(blank=True)
    after = models.TextField(blank=True)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(PERSON, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.vehicle}: {self.label}"

    @property
    def label(self) -> str:
        """What was changed, in the words of the forms."""
        if self.what in self.Deed.values:
            return self.Deed(self.what).label
        return str(Vehicle._meta.get_field(self.what).verbose_name)


class Wheelset(models.Model):
    """One axle with its two wheels, as declared; what was measured is in the readings.

    A wheelset that was exchanged stays, so that its readings go on belonging to it.
    """

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="wheelsets")
    axle = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    profile_code = models.PositiveSmallIntegerField(
        "RP-25 code",
        null=True,
        blank=True,
        validators=[MinValueValidator(40), MaxValueValidator(999)],
        help_text="As the maker states it, such as 110 or 88.",
    )
    material = models.CharField(max_length=40, blank=True, help_text="Metal, plastic, tyred...")
    tread_diameter = models.CharField(
        max_length=24, blank=True, help_text="As the maker states it, such as 33 in prototype."
    )
    fitted_at = models.DateTimeField(null=True, editable=False)  # None: as it came
    removed_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["axle", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle", "axle"],
                condition=Q(removed_at__isnull=True),
                name="one_wheelset_an_axle",
            )
        ]

    def __str__(self) -> str:
        return f"axle {self.axle}"

    def was_fitted_at(self, moment: datetime) -> bool:
        """Whether it was under the vehicle then."""
        is_on = self.fitted_at is None or self.fitted_at <= moment
        return is_on and (self.removed_at is None or moment < self.removed_at)


class Coupler(models.Model):
    """The coupler at one end, as declared."""

    class Kind(models.TextChoices):
        KNUCKLE = "knuckle", "knuckle"
        LOOP = "loop", "loop"
        CLOSE = "close", "close coupling"
        HOOK = "hook", "hook and chain"
        BAR = "bar", "bar or permanent"
        NONE = "none", "none"
        OTHER = "other", "other"

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="couplers")
    end = models.CharField(max_length=1, choices=[("A", "A"), ("B", "B")])
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.KNUCKLE)
    mounting = models.CharField(
        max_length=8,
        choices=[("body", "on the body"), ("bogie", "on the bogie"), ("pocket", "in a pocket")],
        default="body",
    )

    class Meta:
        ordering = ["end", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["vehicle", "end"], name="one_coupler_an_end")
        ]

    def __str__(self) -> str:
        return f"end {self.end}"


class Instrument(models.Model):
    """What a reading was taken with, and how far it may be wrong."""

    class Kind(models.TextChoices):
        CALIPER = "caliper", "caliper"
        RULE = "rule", "rule"
        SCALE = "scale", "weighing scale"
        GAUGE = "gauge", "go/no-go gauge"
        INCLINE = "incline", "test incline"

    name = models.CharField(
        max_length=60,
        unique=True,
        error_messages={"unique": "An instrument of that name is there already; name it apart."},
    )
    kind = models.CharField(max_length=8, choices=Kind)
    max_error = ExactDecimalField(
        "greatest error",
        null=True,
        blank=True,
        help_text="Half-width, in mm, g or %: what its maker or a standard allows.",
    )
    resolution = ExactDecimalField(
        null=True, blank=True, help_text="The smallest step that it shows, in mm, g or %."
    )
    inside_extra = ExactDecimalField(
        "extra error of inside jaws and depth rod",
        default=Decimal(0),
        blank=True,
        help_text="DIN 862 adds 0.02 mm for a caliper.",
    )
    note = models.CharField(max_length=200, blank=True)
    is_retired = models.BooleanField("no longer used", default=False)

    class Meta:
        ordering = ["kind", "name", "pk"]

    def __str__(self) -> str:
        return self.name

    def suits(self, quantity: Quantity) -> bool:
        """Whether it can give numbers for this quantity."""
        kinds = {
            Dimension.LENGTH: (self.Kind.CALIPER, self.Kind.RULE),
            Dimension.MASS: (self.Kind.SCALE,),
            Dimension.GRADE: (self.Kind.INCLINE,),
        }
        return self.kind in kinds[quantity.dimension]

    @property
    def inside_error(self) -> Decimal:
        """The greatest error of the inside jaws."""
        return self.error_for("inside")

    def error_for(self, jaws: str) -> Decimal:
        """The greatest error with these jaws: DIN 862 allows more inside and in depth."""
        extra = self.inside_extra if jaws in ("inside", "depth") else Decimal(0)
        return (self.max_error or Decimal(0)) + (extra or Decimal(0))


class HouseLimit(models.Model):
    """A limit of the owner's or the club's own, in place of a sheet's; it names its reason."""

    quantity = models.CharField(max_length=30, choices=quantity_choices)
    family = models.CharField("standards", max_length=24, choices=family_choices)
    scale = models.CharField(max_length=24)
    is_about_sheet = models.BooleanField(
        "about the sheet's figure",
        default=False,
        help_text="The numbers are distances below and above the figure that the sheet prints.",
    )
    low = ExactDecimalField(null=True, blank=True)
    high = ExactDecimalField(null=True, blank=True)
    reason = models.CharField(max_length=200)
    set_by = models.ForeignKey(PERSON, models.PROTECT, null=True, editable=False)
    set_at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["family", "scale", "quantity", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["quantity", "family", "scale"],
                condition=Q(withdrawn_at__isnull=True),
                name="one_house_limit_in_force",
            )
        ]

    def __str__(self) -> str:
        return f"{QUANTITIES[self.quantity].name}, {self.family} {self.scale}"

    @property
    def measured_as(self) -> Quantity:
        return QUANTITIES[self.quantity]


class Inspection(Inspected):
    """A set of readings by one person for one reason; open until it is finished."""

    class Reason(models.TextChoices):
        NEW = "new", "new purchase"
        ROUTINE = "routine", "routine"
        TROUBLE = "after trouble", "after trouble"
        REPAIR = "after repair", "after repair"
        VISITING = "visiting", "visiting"

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="inspections")
    reason = models.CharField(max_length=14, choices=Reason, default=Reason.NEW)
    proposed = models.CharField(max_length=20, blank=True)
    service = models.CharField(max_length=20, blank=True)

    class Meta(Inspected.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=Q(finished_at__isnull=True),
                name="one_open_inspection_a_vehicle",
            )
        ]
        indexes = [
            models.Index(
                fields=["-started_at", "-id"],
                condition=Q(finished_at__isnull=True),
                name="inspection_open",
            )
        ]

    def __str__(self) -> str:
        return f"{self.vehicle}, {self.reason}, {self.started_at:%Y-%m-%d}"


class Reading(Taken):
    """A reading of one quantity of a vehicle."""

    inspection = models.ForeignKey(Inspection, models.CASCADE, related_name="readings")

    class Meta(Taken.Meta):
        constraints = [
            *Taken.Meta.constraints,
            models.UniqueConstraint(
                fields=["inspection", "quantity", "at"],
                condition=Q(is_current=True),
                name="one_current_reading",
            ),
        ]
        # Each for a question about the whole stock. An index of all quantities would be taken for
        # the way to the readings of one vehicle too, which it is not.
        indexes = [
            models.Index(
                Cast("value", models.FloatField()).desc(),
                models.F("id").desc(),
                condition=Q(is_current=True, gauge="", quantity="body_width"),
                name="reading_widest",
            ),
            models.Index(
                fields=["inspection"],
                condition=Q(is_current=True, quantity="pivot_distance"),
                name="reading_pivot_distance",
            ),
        ]


class VerdictQuerySet(models.QuerySet):
    def current(self) -> VerdictQuerySet:
        return self.filter(is_current=True)

    def standing_for(self, vehicle: Vehicle) -> list[Verdict]:
        """The latest word on each quantity and place of a vehicle, whatever its inspection.

        What was said of an axle that is no more, or of a wheelset that was exchanged, stands no
        longer; nor does a sum once one of its parts was measured again.
        """
        return self.standing_for_each([vehicle])[vehicle.pk]

    def standing_for_each(self, vehicles: Iterable[Vehicle]) -> dict[int, list[Verdict]]:
        """The same of many vehicles by their keys, in one query and one for their wheelsets."""
        listed = {vehicle.pk: vehicle for vehicle in vehicles}
        models.prefetch_related_objects(list(listed.values()), "wheelsets")
        verdicts = (
            self.current()
            .filter(inspection__vehicle__in=list(listed))
            .select_related("reading__instrument", "inspection")
            .order_by("inspection__vehicle", "inspection__started_at", "inspection_id", "pk")
        )
        latest: dict[int, dict[tuple[str, str], Verdict]] = {pk: {} for pk in listed}
        for _, group in groupby(verdicts, key=lambda verdict: verdict.inspection_id):
            said = list(group)
            vehicle = listed[said[0].inspection.vehicle_id]
            for verdict in said:
                verdict.inspection.vehicle = vehicle
            fitted = {str(each.axle): each.fitted_at for each in vehicle.fitted_wheelsets}
            _overlay(latest[vehicle.pk], _of_what_is_fitted(said, fitted))
        return {
            pk: sorted(standing.values(), key=Verdict.bench_order)
            for pk, standing in latest.items()
        }


def _of_what_is_fitted(
    said: list[Verdict], fitted: dict[str, datetime | None]
) -> Iterable[Verdict]:
    """The verdicts of one inspection that are about the vehicle as it is now, readings first."""

    def is_about(verdict: Verdict) -> bool:
        if verdict.quantity in ("buffer_height", "buffer_spacing"):
            return verdict.inspection.vehicle.has_buffers
        if QUANTITIES[verdict.quantity].place is not Place.AXLE:
            return True
        if verdict.at not in fitted:
            return False
        since = fitted[verdict.at]
        return since is None or verdict.reading is None or verdict.reading.taken_at >= since

    kept = [verdict for verdict in said if is_about(verdict)]
    read_at = {verdict.at for verdict in kept if verdict.reading_id}
    yield from (verdict for verdict in kept if verdict.reading_id)
    yield from (verdict for verdict in kept if not verdict.reading_id and verdict.at in read_at)


def _overlay(latest: dict[tuple[str, str], Verdict], said: Iterable[Verdict]) -> None:
    """Put the verdicts of a later inspection over those that stood."""
    for verdict in said:
        if verdict.quantity in ("back_to_back", "flange_thickness"):
            for total in ("wheel_check", "over_flanges"):
                latest.pop((total, verdict.at), None)
        before = latest.get(verdict.key)
        if before is None or verdict.displaces(before):
            latest[verdict.key] = verdict


class Verdict(Judged):
    """What was made of a reading of a vehicle."""

    inspection = models.ForeignKey(Inspection, models.CASCADE, related_name="verdicts")
    reading = models.ForeignKey(Reading, models.PROTECT, null=True, related_name="verdicts")

    objects = VerdictQuerySet.as_manager()

    class Meta(Judged.Meta):
        constraints = [
            *Judged.Meta.constraints,
            models.UniqueConstraint(
                fields=["inspection", "quantity", "at"],
                condition=Q(is_current=True),
                name="one_current_verdict",
            ),
        ]
        indexes = [
            models.Index(
                fields=["outcome", "inspection"],
                condition=Q(is_current=True),
                name="verdict_outcome",
            ),
        ]


class VehiclePhoto(Pictured):
    """A photo of a vehicle."""

    role, space = "vehicle", "stock"

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="photos")

    class Meta(Pictured.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle", "position"], name="one_photo_of_a_vehicle_in_a_position"
            )
        ]


class SetAside(models.Model):
    """A photo that came with a form which had another error. It waits an hour for that form to be
    sent again by the same person, and belongs to nothing until then."""

    token = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    width = models.PositiveSmallIntegerField()
    height = models.PositiveSmallIntegerField()
    taken_on = models.DateField(null=True)
    called = models.CharField(max_length=60)
    sent_by = models.ForeignKey(PERSON, models.CASCADE, related_name="+")
    sent_at = models.DateTimeField()
    thumbnail = models.BinaryField()
    jpeg = models.BinaryField()

    objects = Pictures()

    class Meta:
        ordering = ["sent_at", "called", "pk"]

    def __str__(self) -> str:
        return self.called
