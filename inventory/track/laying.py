"""The one writer of what a person lays out: railways, places, tracks, industries and the like.

Every part carries a revision. Whoever saves a form that was opened before somebody else saved is
told, and nothing is overwritten.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.db.models import F, Model

from inventory.stock.models import Vehicle
from inventory.track.models import (
    Home,
    HomeTrack,
    Industry,
    Part,
    Place,
    Railway,
    Standing,
    Track,
    Traffic,
    Turnout,
)


class Overtaken(Exception):
    """Somebody else saved it since this form was opened. `now` is how it stands."""

    def __init__(self, now: Part) -> None:
        self.now = now
        super().__init__(f"{now} was changed by somebody else in the meantime.")


@transaction.atomic
def lay(*, part: Part, seen_revision: int, tracks: Iterable[Track] | None = None) -> Part:
    """Save a new or changed part of a railway.

    seen_revision: of the form that was filled in; it does not matter for a new part.
    tracks: those of an industry; None leaves them as they are.

    Raises Overtaken, and writes nothing, when somebody saved the part since `seen_revision`;
    its model's DoesNotExist when somebody removed it.
    """
    if part.pk is not None:
        _check_unchanged(part, seen_revision)
        part.revision = seen_revision + 1
    part.save()
    if tracks is not None and isinstance(part, Industry):
        part.tracks.set(tracks)
    return part


@transaction.atomic
def lay_place(*, place: Place, after: Place | None, seen_revision: int) -> Place:
    """Save a place and put it behind another of its railway, or first where `after` is None.

    The places are numbered from 1 again; those that get another number get another revision too,
    so that a form opened before does not move them back.

    Raises as `lay` does.
    """
    Railway.objects.select_for_update().get(pk=place.railway_id)
    if place.pk is not None:
        _check_unchanged(place, seen_revision)
        place.revision = seen_revision + 1
    others = list(
        Place.objects.filter(railway=place.railway_id)
        .exclude(pk=place.pk)
        .order_by("position", "pk")
    )
    behind = next((n for n, each in enumerate(others, start=1) if each == after), 0)
    line = [*others[:behind], place, *others[behind:]]
    numbered = dict(enumerate(line, start=1))
    moved = {
        number: each
        for number, each in numbered.items()
        if each is not place and each.position != number
    }
    # Out of the way first: no two may have one number, not even for a moment.
    beyond = max([len(line), place.position, *(each.position for each in others)]) + 1
    standing = [each.pk for each in moved.values()] + ([place.pk] if place.pk else [])
    Place.objects.filter(pk__in=standing).update(position=F("position") + beyond)
    for number, each in moved.items():
        Place.objects.filter(pk=each.pk).update(position=number, revision=F("revision") + 1)
    place.position = behind + 1
    place.save()
    return place


def _check_unchanged(part: Part, seen_revision: int) -> None:
    now = type(part)._default_manager.select_for_update().get(pk=part.pk)
    if now.revision != seen_revision:
        raise Overtaken(now)


# --- What goes when something is removed --------------------------------------------------------


def going_with(shown: Model) -> list[str]:
    """What is removed together with a part of a railway, counted in words; empty for nothing."""
    match shown:
        case Railway():
            places = Place.objects.filter(railway=shown)
        case Place():
            places = Place.objects.filter(pk=shown.pk)
        case _:
            places = Place.objects.none()
    tracks = Track.objects.filter(place__in=places)
    industries = Industry.objects.filter(place__in=places)
    if isinstance(shown, Track):
        tracks = Track.objects.filter(pk=shown.pk)
    if isinstance(shown, Industry):
        industries = Industry.objects.filter(pk=shown.pk)
    counted = [
        (places.count() if isinstance(shown, Railway) else 0, "place", "places"),
        (Turnout.objects.filter(place__in=places).count(), "turnout", "turnouts"),
        (0 if isinstance(shown, Track) else tracks.count(), "track", "tracks"),
        (0 if isinstance(shown, Industry) else industries.count(), "industry", "industries"),
        (
            Traffic.objects.filter(industry__in=industries).count(),
            "kind of traffic",
            "kinds of traffic",
        ),
        (
            Home.objects.filter(industry__in=industries).count(),
            "home at an industry",
            "homes at industries",
        ),
        (
            HomeTrack.objects.filter(track__in=tracks).count(),
            "home track of a vehicle",
            "home tracks of vehicles",
        ),
    ]
    return [f"{n} {one if n == 1 else more}" for n, one, more in counted if n]


def unsettled_by(shown: Model) -> tuple[list[Vehicle], list[Industry]]:
    """Vehicles that stand nowhere once it is gone, and industries that load on a track of it but
    stay."""
    tracks = {
        Railway: Track.objects.filter(place__railway=shown.pk),
        Place: Track.objects.filter(place=shown.pk),
        Track: Track.objects.filter(pk=shown.pk),
    }.get(type(shown))
    if tracks is None:
        return [], []
    standing = Standing.objects.filter(track__in=tracks).select_related("vehicle")
    staying = Industry.objects.filter(tracks__in=tracks).distinct()
    if not isinstance(shown, Track):
        staying = staying.exclude(place__in=tracks.values("place"))
    return [each.vehicle for each in standing], list(staying)


def ending_at(turnouts: Iterable[Turnout]) -> list[Track]:
    """Tracks of other places, or of the same one, that end at any of these turnouts."""
    keys = [each.pk for each in turnouts]
    return list(
        (Track.objects.filter(a_turnout__in=keys) | Track.objects.filter(b_turnout__in=keys))
        .select_related("place")
        .distinct()
        .order_by("place__position", "position", "pk")
    )
