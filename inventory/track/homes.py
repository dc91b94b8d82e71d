"""Where vehicles are at home: the one writer of homes at industries and of home tracks.

Every move is noted in the history of the vehicle, by the names that industry and track have then.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.db.models import Model, QuerySet
from django.dispatch import receiver
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock.models import Change, Vehicle
from inventory.stock.recording import note_changes, vehicle_retired
from inventory.track.models import Home, HomeTrack, Industry, Place, Railway, Standing, Track


@transaction.atomic
def give_homes(
    *,
    industry: Industry,
    vehicles: Sequence[Vehicle],
    by: Person,
    moment: datetime | None = None,
) -> list[Vehicle]:
    """Give vehicles a home at an industry; those that had none there, which is all that is noted.

    One that has left the stock gets none.
    """
    at = moment or timezone.now()
    Industry.objects.select_for_update().get(pk=industry.pk)
    there = set(industry.homes.values_list("vehicle", flat=True))
    fresh = [each for each in vehicles if each.pk not in there and not each.is_retired]
    Home.objects.bulk_create([Home(industry=industry, vehicle=each) for each in fresh])
    note_changes(_moved(each, Change.Deed.HOME, "", str(industry), by, at) for each in fresh)
    return fresh


@transaction.atomic
def take_homes(
    *,
    industry: Industry,
    vehicles: Sequence[Vehicle],
    by: Person,
    moment: datetime | None = None,
) -> list[Vehicle]:
    """Take from vehicles their home at an industry; those that had one there."""
    homes = Home.objects.filter(industry=industry, vehicle__in=vehicles)
    return [home.vehicle for home in _give_up(homes, by, moment or timezone.now())]


@transaction.atomic
def set_home_track(
    *, vehicle: Vehicle, track: Track | None, by: Person, moment: datetime | None = None
) -> None:
    """Say on which track a vehicle is at home, or that it is on none."""
    before = (
        HomeTrack.objects.select_for_update(of=("self",))
        .filter(vehicle=vehicle)
        .select_related("track__place")
        .first()
    )
    if (before and before.track) == track:
        return
    if track is None:
        HomeTrack.objects.filter(vehicle=vehicle).delete()
    else:
        HomeTrack.objects.update_or_create(vehicle=vehicle, defaults={"track": track})
    was, becomes = (str(each) if each else "" for each in (before and before.track, track))
    at = moment or timezone.now()
    note_changes([_moved(vehicle, Change.Deed.HOME_TRACK, was, becomes, by, at)])


@transaction.atomic
def homeless_by(*, part: Model, by: Person) -> None:
    """Take the homes that go with a part of a railway which is about to be removed."""
    homes = {
        Railway: {"industry__place__railway": part.pk},
        Place: {"industry__place": part.pk},
        Industry: {"industry": part.pk},
    }.get(type(part))
    tracks = {
        Railway: {"track__place__railway": part.pk},
        Place: {"track__place": part.pk},
        Track: {"track": part.pk},
    }.get(type(part))
    at, note = timezone.now(), f"{part} was removed"[:200]
    if homes:
        _give_up(Home.objects.filter(**homes), by, at, note)
    if tracks:
        _leave(HomeTrack.objects.filter(**tracks), by, at, note)


@receiver(vehicle_retired)
def _let_go(vehicle: Vehicle, by: Person, moment: datetime, **_) -> None:
    """One that leaves the stock stands nowhere and is at home nowhere."""
    note = f"retired: {vehicle.get_retired_as_display()}"
    _give_up(Home.objects.filter(vehicle=vehicle), by, moment, note)
    _leave(HomeTrack.objects.filter(vehicle=vehicle), by, moment, note)
    standing = Standing.objects.filter(vehicle=vehicle).select_related("track__place")
    stood = [str(each.track) for each in standing]
    standing.delete()
    note_changes(_moved(vehicle, Change.Deed.STANDING, was, "", by, moment, note) for was in stood)


def _give_up(homes: QuerySet[Home], by: Person, at: datetime, note: str = "") -> list[Home]:
    gone = list(homes.select_related("vehicle", "industry__place").order_by("pk"))
    Home.objects.filter(pk__in=[home.pk for home in gone]).delete()
    note_changes(
        _moved(home.vehicle, Change.Deed.HOME, str(home.industry), "", by, at, note)
        for home in gone
    )
    return gone


def _leave(homes: QuerySet[HomeTrack], by: Person, at: datetime, note: str) -> None:
    gone = list(homes.select_related("vehicle", "track__place").order_by("pk"))
    HomeTrack.objects.filter(pk__in=[home.pk for home in gone]).delete()
    note_changes(
        _moved(home.vehicle, Change.Deed.HOME_TRACK, str(home.track), "", by, at, note)
        for home in gone
    )


def _moved(
    vehicle: Vehicle, what: str, before: str, after: str, by: Person, at: datetime, note: str = ""
) -> Change:
    return Change(vehicle=vehicle, what=what, before=before, after=after, note=note, by=by, at=at)
