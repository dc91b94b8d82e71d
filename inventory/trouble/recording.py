"""The one writer of reports, of what is out of service, and of running sessions."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models.signals import pre_delete
from django.dispatch import receiver
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock.facts import Judged
from inventory.stock.models import Inspection, Vehicle, Verdict
from inventory.stock.picturing import NewPhoto, describe, hang, shift, take_down
from inventory.stock.recording import (
    inspection_finished,
    note_photo,
    note_photo_removed,
    vehicle_retired,
)
from inventory.stock.verdicts import settle_service
from inventory.track.models import Place, Railway, Track, Turnout
from inventory.trackwork.models import TrackInspection, Trackwork
from inventory.trackwork.standing import verdicts_of
from inventory.trouble.models import Hold, Incident, IncidentPhoto, Involved, RunningSession, Turn
from inventory.trouble.spots import Spot
from standards.conformity import Outcome
from standards.judging import Service, label

#: Clocks of two phones differ by so much.
CLOCKS_DIFFER = timedelta(minutes=5)


class TroubleRefused(Exception):
    """What was asked for cannot be kept; says why and what to do, in words."""


# --- Reports ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Seen:
    """What somebody saw: who was in it, where, what happened, which way they ran."""

    spot: Spot
    happened: str
    happened_at: datetime
    first: Vehicle
    also: Sequence[Vehicle] = ()
    ahead: Vehicle | None = None
    behind: Vehicle | None = None
    way: str = ""
    effort: str = ""
    position: int | None = None
    note: str = ""
    photos: Sequence[NewPhoto] = ()


@transaction.atomic
def report(*, seen: Seen, by: Person) -> Incident:
    """Keep a report. Raises TroubleRefused for one in the future, or a vehicle named twice."""
    if seen.happened_at > timezone.now() + CLOCKS_DIFFER:
        raise TroubleRefused(
            f"When: {seen.happened_at:%Y-%m-%d %H:%M} is still to come; type when it happened."
        )
    parts = [
        (seen.first, Involved.Part.FIRST),
        *((each, Involved.Part.ALSO) for each in seen.also),
        (seen.ahead, Involved.Part.AHEAD),
        (seen.behind, Involved.Part.BEHIND),
    ]
    named = [vehicle for vehicle, _ in parts if vehicle is not None]
    for vehicle in named:
        if named.count(vehicle) > 1:
            raise TroubleRefused(
                f"{vehicle} is named twice: leave it in one place, as the first to go, as one "
                "that went with it, or as a neighbour."
            )
    incident = Incident.objects.create(
        railway=seen.spot.place.railway,
        happened=seen.happened,
        happened_at=seen.happened_at,
        way=seen.way,
        effort=seen.effort,
        position=seen.position,
        note=seen.note,
        where=seen.spot.name[:160],
        reported_by=by,
        reported_at=timezone.now(),
        **_located(seen.spot),
    )
    Involved.objects.bulk_create(
        Involved(
            incident=incident, vehicle=vehicle, part=part, was_held=bool(vehicle.held_because)
        )
        for vehicle, part in parts
        if vehicle is not None
    )
    if seen.photos:
        add_photos(incident=incident, photos=seen.photos, by=by)
    return incident


def _located(spot: Spot) -> dict[str, object]:
    names = {Turnout: "turnout", Trackwork: "trackwork", Track: "track", Place: "place"}
    return {"place": spot.place, names[type(spot.part)]: spot.part}


@transaction.atomic
def withdraw_report(*, incident: Incident, because: str) -> None:
    """Say that a report was a mistake: it stays to be read, and counts no more."""
    if not because.strip():
        raise TroubleRefused("Write why the report is withdrawn, such as: entered twice.")
    Incident.objects.filter(pk=incident.pk, withdrawn_at__isnull=True).update(
        withdrawn_at=timezone.now(), withdrawn_because=because.strip()[:200]
    )


# --- Photos -----------------------------------------------------------------------------------


def add_photos(
    *,
    incident: Incident,
    photos: Sequence[NewPhoto],
    by: Person,
    moment: datetime | None = None,
) -> list[IncidentPhoto]:
    """Keep photos of what happened behind those that there are. Raises PhotoRefused for too
    many."""
    return hang(into=IncidentPhoto, of=incident, photos=photos, by=by, moment=moment)


@transaction.atomic
def describe_photo(*, photo: IncidentPhoto, caption: str, taken_on: date, by: Person) -> None:
    """Change what is said of a photo of what happened. The vehicle that went first notes it."""
    words = describe(photo, caption=caption, taken_on=taken_on)
    first = photo.incident.involved.filter(part=Involved.Part.FIRST).first()
    if words and first is not None:
        note = f"of the report of {photo.incident.happened_at:%Y-%m-%d}"
        note_photo(vehicle=first.vehicle, words=words, by=by, note=note)


def move_photo(*, photo: IncidentPhoto, is_earlier: bool) -> None:
    """Exchange a photo of what happened with the one before or behind it."""
    shift(photo, is_earlier=is_earlier)


@transaction.atomic
def remove_photo(*, photo: IncidentPhoto, by: Person) -> None:
    """Remove a photo of what happened for good. The vehicle that went first notes it."""
    first = photo.incident.involved.filter(part=Involved.Part.FIRST).first()
    if first is not None:
        note = f"of the report of {photo.incident.happened_at:%Y-%m-%d}, removed for good"
        note_photo_removed(vehicle=first.vehicle, photo=photo, by=by, note=note)
    take_down(photo)


# --- Out of service ---------------------------------------------------------------------------


@transaction.atomic
def take_out(
    *,
    subject: Vehicle | Trackwork,
    reason: str,
    by: Person,
    incident: Incident | None = None,
    inspection: Inspection | TrackInspection | None = None,
    moment: datetime | None = None,
) -> Hold:
    """Take a vehicle or a piece of trackwork out of service.

    What is out of service already stays so by the reason that stands. Raises TroubleRefused
    without a reason, or for a vehicle that has left the stock.
    """
    now = type(subject)._base_manager.select_for_update().get(pk=subject.pk)
    if isinstance(now, Vehicle) and now.is_retired:
        raise TroubleRefused(
            f"{now} has left the stock ({now.get_retired_as_display()}) and cannot go out of "
            "service; bring it back first."
        )
    standing = now.holds.filter(released_at__isnull=True).first()
    if standing is not None:
        return standing
    reason = reason.strip()[:200]
    if not reason:
        raise TroubleRefused(f"Write why {now} goes out of service; its tag says it.")
    is_vehicle = isinstance(now, Vehicle)
    held = Hold.objects.create(
        **{"vehicle" if is_vehicle else "trackwork": now},
        **{"inspection" if is_vehicle else "track_inspection": inspection},
        reason=reason,
        incident=incident,
        broken=[list(verdict.key) for verdict in _outside(now)],
        held_by=by,
        held_at=moment or timezone.now(),
    )
    _mirror(held, reason)
    return held


def standing_verdicts(subject: Vehicle | Trackwork) -> Sequence[Judged]:
    """The latest word on every quantity of a vehicle or a piece of trackwork."""
    if isinstance(subject, Vehicle):
        return Verdict.objects.standing_for(subject)
    return verdicts_of([subject]).get(subject.pk, [])


def _outside(subject: Vehicle | Trackwork) -> list[Judged]:
    return _of_outside(standing_verdicts(subject))


def _of_outside(standing: Iterable[Judged]) -> list[Judged]:
    return [
        verdict
        for verdict in standing
        if verdict.outcome == Outcome.OUTSIDE.value and not verdict.is_advisory
    ]


def _mirror(held: Hold, because: str) -> None:
    """Write the reason where those who never look at holds see it."""
    if held.vehicle_id:
        vehicle = Vehicle.everyone.get(pk=held.vehicle_id)
        vehicle.held_because = because
        Vehicle.everyone.filter(pk=vehicle.pk).update(held_because=because)
        settle_service(vehicle)
    elif held.trackwork and held.trackwork.turnout_id:
        Turnout.objects.filter(pk=held.trackwork.turnout_id).update(held_because=because)


@receiver(pre_delete, sender=Hold)
def _forget(instance: Hold, **_) -> None:
    """A piece of trackwork was removed with its hold: its turnout is held no longer."""
    turnout = Turnout.objects.filter(trackwork=instance.trackwork_id)
    if instance.is_open and instance.trackwork_id:
        turnout.update(held_because="")


@receiver(inspection_finished)
def _stated_bad_order(inspection: Inspection, **_) -> None:
    # What visitors brought is not ours to hold: they get a slip.
    if inspection.service == Service.BAD_ORDER.value and not inspection.vehicle.visitor:
        take_out(
            subject=inspection.vehicle,
            reason=inspection.statement or _in_words(inspection.vehicle),
            by=inspection.inspector,
            inspection=inspection,
            moment=inspection.finished_at,
        )


@receiver(vehicle_retired)
def _let_go(vehicle: Vehicle, by: Person, moment: datetime, **_) -> None:
    """One that leaves the stock is held no longer, whatever it still waited for."""
    for held in vehicle.holds.select_for_update().filter(released_at__isnull=True):
        held.done = f"retired: {vehicle.get_retired_as_display()}"
        held.released_by, held.released_at = by, moment
        held.save(update_fields=["done", "released_by", "released_at"])
        _mirror(held, "")


def _in_words(vehicle: Vehicle) -> str:
    outside = [verdict.label for verdict in _outside(vehicle)]
    return f"outside: {', '.join(outside)}" if outside else "found bad order at an inspection"


def waits_for(held: Hold) -> list[str]:
    """What must still be found right before a release, in words; empty where nothing must."""
    return waits_of([held])[held.pk]


def waits_of(holds: Iterable[Hold]) -> dict[int, list[str]]:
    """The same of many holds by their keys, in as many queries as of one."""
    listed = list(holds)
    held = [each for each in listed if each.is_open]
    vehicles = {each.vehicle_id: each.vehicle for each in held if each.vehicle}
    pieces = {each.trackwork_id: each.trackwork for each in held if each.trackwork}
    on_vehicles = Verdict.objects.standing_for_each(vehicles.values()) if vehicles else {}
    on_track = verdicts_of(pieces.values()) if pieces else {}
    last = _last_stated(vehicles)
    found: dict[int, list[str]] = {each.pk: [] for each in listed}
    for each in held:
        if each.vehicle_id:
            found[each.pk] = _waiting(each, on_vehicles[each.vehicle_id])
            if not found[each.pk] and last.get(each.vehicle_id) == Service.BAD_ORDER.value:
                found[each.pk].append(
                    "an inspection that finds it fit, since the last one stated bad order"
                )
        else:
            found[each.pk] = _waiting(each, on_track.get(each.trackwork_id, []))
    return found


def _waiting(held: Hold, standing: Sequence[Judged]) -> list[str]:
    """What must be measured or found within, by the verdicts that stand."""
    latest = {verdict.key: verdict for verdict in standing}
    keys = dict.fromkeys([*map(tuple, held.broken), *(each.key for each in _of_outside(standing))])
    return [
        words
        for key in keys
        if _still_applies(held.subject, key) and (words := _unmended(held, key, latest.get(key)))
    ]


def _last_stated(vehicles: Collection[int]) -> dict[int, str]:
    """The service that the last finished inspection of each vehicle stated."""
    rows = Inspection.objects.filter(vehicle__in=list(vehicles), finished_at__isnull=False)
    # The latest comes last, and stands.
    return dict(rows.order_by("finished_at", "pk").values_list("vehicle", "service"))


def _still_applies(subject: Vehicle | Trackwork, key: tuple[str, str]) -> bool:
    """Whether there is such an axle or end still."""
    at = key[1]
    return not (isinstance(subject, Vehicle) and at.isdigit() and int(at) > subject.axles)


def _unmended(held: Hold, key: tuple[str, str], verdict: Judged | None) -> str:
    what = label(*key)
    if verdict is None:
        return f"{what} to be measured again"
    if verdict.outcome != Outcome.WITHIN.value:
        return f"{what} to be within; it is {verdict.outcome}"
    finished = verdict.inspection.finished_at
    if finished is None:
        return f"the inspection that found {what} within to be finished"
    return "" if finished > held.held_at else f"{what} to be measured again"


@transaction.atomic
def release(*, held: Hold, done: str, by: Person, moment: datetime | None = None) -> Hold:
    """Put what was held into service again, in the name of `by`.

    Raises TroubleRefused without what was done, while anything that was outside has not been
    found within since, or when it was released already; nothing is written then.
    """
    held = Hold.objects.select_for_update(of=("self",)).get(pk=held.pk)
    if not held.is_open:
        raise TroubleRefused(
            f"{held.subject} was released by {held.released_by} already: {held.done}"
        )
    if not done.strip():
        raise TroubleRefused(f"What was done: write it down before {held.subject} is released.")
    waiting = waits_for(held)
    if waiting:
        raise TroubleRefused(f"{held.subject} still waits for {'; '.join(waiting)}.")
    held.done, held.released_by = done.strip(), by
    held.released_at = moment or timezone.now()
    held.save(update_fields=["done", "released_by", "released_at"])
    _mirror(held, "")
    return held


# --- Running ----------------------------------------------------------------------------------


@transaction.atomic
def note_running(
    *,
    railway: Railway,
    held_on: date,
    passages: int,
    vehicles: Collection[Vehicle],
    spots: Iterable[Spot],
    by: Person,
    note: str = "",
) -> Turn:
    """Note that vehicles passed each of these spots so often. A second note of the same day joins
    its session. Raises TroubleRefused for a session to come, without running or without anybody.
    """
    if held_on > timezone.localdate() + timedelta(days=1):
        raise TroubleRefused(f"Day: {held_on} is still to come; note what has been run.")
    if passages < 1:
        raise TroubleRefused("Laps: 0 tell nothing; type how often they ran, at least 1.")
    if not vehicles:
        raise TroubleRefused("Vehicles: tick who ran.")
    parts: dict[type, list] = {Turnout: [], Trackwork: [], Track: []}
    for spot in spots:
        parts.setdefault(type(spot.part), []).append(spot.part)
    if not any(parts[kind] for kind in (Turnout, Trackwork, Track)):
        raise TroubleRefused(
            "Places: what was ticked has no turnout or track yet; tick where they ran."
        )
    session, _ = RunningSession.objects.get_or_create(
        railway=railway, held_on=held_on, defaults={"noted_by": by, "note": note[:200]}
    )
    turn = Turn.objects.create(session=session, passages=passages)
    turn.vehicles.set(vehicles)
    turn.turnouts.set(parts[Turnout])
    turn.trackwork.set(parts[Trackwork])
    turn.tracks.set(parts[Track])
    return turn
