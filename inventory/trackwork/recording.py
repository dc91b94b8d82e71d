"""The one writer of trackwork, its inspections and readings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.dispatch import receiver
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock.models import HouseLimit
from inventory.stock.picturing import NewPhoto, describe, hang, shift, take_down
from inventory.stock.recording import house_limit_changed
from inventory.stock.taking import Entry, begin, still_open, take, take_back
from inventory.stock.verdicts import Rejudged, house_rules, keep, observation
from inventory.track.models import Turnout
from inventory.trackwork.models import (
    TrackInspection,
    TrackReading,
    TrackVerdict,
    Trackwork,
    TrackworkPhoto,
)
from inventory.trackwork.steps import steps_for
from standards.conformity import Rule
from standards.quantities import QUANTITIES, Place
from standards.trackwork import Stretch, judge_track


@transaction.atomic
def trackwork_of(*, turnout: Turnout) -> Trackwork:
    """The trackwork of a turnout that was declared with the tracks; made when first measured."""
    Turnout.objects.select_for_update().get(pk=turnout.pk)
    found, _ = Trackwork.objects.get_or_create(
        turnout=turnout,
        defaults={"place": turnout.place, "kind": Trackwork.Kind.TURNOUT},
    )
    return found


@transaction.atomic
def open_inspection(
    *,
    trackwork: Trackwork,
    reason: str,
    by: Person,
    uses_gauge: bool = False,
    moment: datetime | None = None,
) -> TrackInspection:
    """The open inspection of a piece, begun at `moment` (or now) if there is none."""
    return begin(
        into=TrackInspection,
        of=trackwork,
        role="trackwork",
        reason=reason,
        by=by,
        uses_gauge=uses_gauge,
        moment=moment,
    )


@transaction.atomic
def record(
    *,
    inspection: TrackInspection,
    entries: Iterable[Entry],
    by: Person,
    moment: datetime | None = None,
) -> list[TrackReading]:
    """Keep readings of trackwork as typed, and judge the inspection anew.

    Raises Closed and whatever `taking.take` raises, and then nothing at all is written.
    """
    inspection = still_open(inspection, "trackwork")
    readings = take(
        into=TrackReading,
        inspection=inspection,
        entries=entries,
        scale=inspection.trackwork.standard,
        by=by,
        check_place=lambda entry: _check_place(inspection.trackwork, entry),
        moment=moment,
    )
    judge(inspection)
    return readings


def _check_place(trackwork: Trackwork, entry: Entry) -> None:
    asked = {key for step in steps_for(trackwork) for key in step.keys}
    if (entry.quantity, entry.at) not in asked:
        raise ValueError(f"{trackwork} has no {entry.quantity} to measure at “{entry.at}”.")


@transaction.atomic
def withdraw_reading(
    *, inspection: TrackInspection, quantity: str, at: str, seen: int | None = None
) -> None:
    """Take back a reading that was a mistake. Raises Closed or ReadingOvertaken."""
    inspection = still_open(inspection, "trackwork")
    if take_back(inspection, quantity, at, seen):
        judge(inspection)


@transaction.atomic
def finish_inspection(
    *,
    inspection: TrackInspection,
    statement: str,
    by: Person,
    moment: datetime | None = None,
) -> TrackInspection:
    """Close an inspection with what the next person should know. Raises Closed.

    One in which nothing was ever read is dropped instead.
    """
    inspection = still_open(inspection, "trackwork")
    if not inspection.readings.exists():
        inspection.delete()
        return inspection
    inspection.statement = statement
    inspection.inspector = by
    inspection.finished_at = moment or timezone.now()
    inspection.save()
    return inspection


# --- Photos -----------------------------------------------------------------------------------


def add_photos(
    *,
    trackwork: Trackwork,
    photos: Sequence[NewPhoto],
    by: Person,
    moment: datetime | None = None,
) -> list[TrackworkPhoto]:
    """Keep photos of a piece behind those that it has. Raises PhotoRefused for too many."""
    return hang(into=TrackworkPhoto, of=trackwork, photos=photos, by=by, moment=moment)


def describe_photo(*, photo: TrackworkPhoto, caption: str, taken_on: date, by: Person) -> None:
    """Change what is said of a photo of trackwork, which has no history to note it in."""
    describe(photo, caption=caption, taken_on=taken_on)


def move_photo(*, photo: TrackworkPhoto, is_earlier: bool) -> None:
    """Exchange a photo of trackwork with the one before or behind it."""
    shift(photo, is_earlier=is_earlier)


def remove_photo(*, photo: TrackworkPhoto, by: Person) -> None:
    """Remove a photo of trackwork for good; trackwork has no history of changes to note it in."""
    take_down(photo)


# --- Judging ----------------------------------------------------------------------------------


@transaction.atomic
def judge(
    inspection: TrackInspection, *, cause: str = "recorded", is_dry: bool = False
) -> list[Rejudged]:
    """Judge the current readings of an inspection; supersede the verdicts that changed."""
    TrackInspection.objects.select_for_update().get(pk=inspection.pk)
    readings = list(inspection.readings.filter(is_current=True))
    earlier = TrackReading.objects.filter(
        inspection__trackwork=inspection.trackwork_id,
        inspection__started_at__lt=inspection.started_at,
        is_current=True,
        gauge="",
    ).order_by("inspection__started_at", "inspection_id", "pk")
    piece = inspection.trackwork
    return keep(
        into=TrackVerdict,
        inspection=inspection,
        of=piece,
        readings=readings,
        findings=judge_track(
            Stretch(piece.standard, radii_of(piece)),
            [observation(reading) for reading in readings],
            house_rules(piece.standard),
            Rule(inspection.rule),
            carried=[observation(reading) for reading in earlier],
        ),
        cause=cause,
        is_dry=is_dry,
    )


def radii_of(piece: Trackwork) -> dict[str, Decimal]:
    """The declared radius of each leg that is curved, for the flangeway that suits it."""
    if piece.turnout is not None and piece.turnout.diverging_radius is not None:
        return {"diverging leg": piece.turnout.diverging_radius}
    return {}


@transaction.atomic
def rejudge_trackwork(piece: Trackwork, *, is_dry: bool = False) -> list[Rejudged]:
    """Judge every inspection of a piece by the sheets and house limits as they are now."""
    return [
        change
        for inspection in piece.inspections.order_by("started_at", "pk")
        for change in judge(inspection, cause="rejudged", is_dry=is_dry)
    ]


@receiver(house_limit_changed)
def _rejudge_scale(sender: type, limit: HouseLimit, **_: object) -> list[Rejudged]:
    if QUANTITIES[limit.quantity].place is not Place.TRACK:
        return []
    pieces = Trackwork.objects.filter(
        place__railway__family=limit.family, place__railway__scale=limit.scale
    )
    return [change for piece in list(pieces) for change in rejudge_trackwork(piece)]
