"""The one writer of vehicles, their inspections and readings.

How readings are taken is told in `inventory.stock.taking`; what they are worth is judged and kept
by `inventory.stock.verdicts`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Q
from django.dispatch import Signal
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock.models import (
    Coupler,
    HouseLimit,
    Inspection,
    Reading,
    Vehicle,
    Wheelset,
)
from inventory.stock.taking import Entry, begin, still_open, take, take_back
from inventory.stock.verdicts import Change, judge_locked, rejudge_vehicle, standing_proposal
from standards import sheets
from standards.judging import Service, is_milder
from standards.quantities import QUANTITIES, Place


class Overtaken(Exception):
    """Somebody else saved the vehicle since this form was opened. `now` is how it stands."""

    def __init__(self, now: Vehicle) -> None:
        self.now = now
        super().__init__(f"{now} was changed by somebody else in the meantime.")


class TwinExists(Exception):
    """A vehicle lettered alike is logged at the same scale. `twins` are up to three of them."""

    def __init__(self, twins: list[Vehicle]) -> None:
        self.twins = twins
        super().__init__(
            f"{twins[0].identity} is logged already. If you own two that are lettered alike, say "
            "so above."
        )


class NeedsReason(Exception):
    """An outcome milder than the readings propose was stated without saying why."""

    def __init__(self, stated: Service, proposed: Service) -> None:
        super().__init__(
            f"The readings say {proposed.value}. To state {stated.value} instead, write down why."
        )


# --- Vehicles ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Running:
    """What is declared of the running gear and couplers when a vehicle is logged."""

    profile_code: int | None = None
    wheel_material: str = ""
    tread_diameter: str = ""
    coupler: str = Coupler.Kind.KNUCKLE
    mounting: str = "body"


@transaction.atomic
def log_vehicle(
    *, vehicle: Vehicle, running: Running, by: Person, is_another: bool = True
) -> Vehicle:
    """Keep a new vehicle with a wheelset an axle and a coupler an end.

    is_another: log it although one is lettered alike at the same scale.

    Raises sheets.UnknownStandard if its family does not hold its scale, TwinExists if one is
    lettered alike and it is not said to be another.
    """
    sheets.scale(vehicle.family, vehicle.scale)
    if not is_another:
        twins = Vehicle.objects.twins_of(
            reporting_mark=vehicle.reporting_mark,
            number=vehicle.number,
            family=vehicle.family,
            scale=vehicle.scale,
        )[:3]
        if twins:
            raise TwinExists(list(twins))
    vehicle.logged_by = by
    vehicle.save(force_insert=True)
    _fit_wheelsets(vehicle, running)
    Coupler.objects.bulk_create(
        Coupler(vehicle=vehicle, end=end, kind=running.coupler, mounting=running.mounting)
        for end in ("A", "B")
    )
    return vehicle


def _fit_wheelsets(vehicle: Vehicle, running: Running, fitted_at: datetime | None = None) -> None:
    """Add the wheelsets of axles that have none, and take away those beyond the last axle."""
    have = {each.axle for each in vehicle.wheelsets.filter(removed_at__isnull=True)}
    Wheelset.objects.bulk_create(
        Wheelset(
            vehicle=vehicle,
            axle=axle,
            profile_code=running.profile_code,
            material=running.wheel_material,
            tread_diameter=running.tread_diameter,
            fitted_at=fitted_at,
        )
        for axle in range(1, vehicle.axles + 1)
        if axle not in have
    )
    vehicle.wheelsets.filter(axle__gt=vehicle.axles, removed_at__isnull=True).update(
        removed_at=timezone.now()
    )


@transaction.atomic
def amend_vehicle(*, vehicle: Vehicle, seen_revision: int) -> Vehicle:
    """Save a changed vehicle, unless somebody saved it since `seen_revision`.

    Raises Overtaken, and writes nothing, when somebody did.
    """
    now = _unchanged(vehicle, seen_revision)
    judged_by = ("family", "scale", "category", "axles", "has_buffers")
    is_judged_anew = any(getattr(now, name) != getattr(vehicle, name) for name in judged_by)
    vehicle.revision = seen_revision + 1
    vehicle.service = now.service
    vehicle.held_because = now.held_because
    vehicle.last_inspected_at = now.last_inspected_at
    vehicle.save()
    _fit_wheelsets(vehicle, Running(), fitted_at=timezone.now())
    if is_judged_anew:
        afresh = Vehicle.objects.get(pk=vehicle.pk)  # with the wheelsets that it has now
        rejudge_vehicle(afresh)
        vehicle.service = afresh.service
    return vehicle


@transaction.atomic
def amend_running_gear(
    *,
    vehicle: Vehicle,
    wheelsets: Iterable[Wheelset],
    couplers: Iterable[Coupler],
    exchanged: Collection[int] = (),
    seen_revision: int,
    moment: datetime | None = None,
) -> list[Change]:
    """Save what is declared of wheels and couplers, and judge again what hangs on it.

    exchanged: the axles that got another wheelset, at `moment` (or now). The old one stays in
    the record with its readings, and the new one has none yet. Other changes correct what was
    declared.

    Raises Overtaken, and writes nothing, when somebody saved the vehicle since `seen_revision`.
    """
    now = _unchanged(vehicle, seen_revision)
    for wheelset in wheelsets:
        if wheelset.axle in exchanged:
            _exchange(now, wheelset, moment or timezone.now())
        else:
            wheelset.save()
    for coupler in couplers:
        coupler.save()
    Vehicle.objects.filter(pk=vehicle.pk).update(revision=seen_revision + 1)
    return rejudge_vehicle(Vehicle.objects.get(pk=vehicle.pk))


def _exchange(vehicle: Vehicle, wheelset: Wheelset, moment: datetime) -> None:
    vehicle.wheelsets.filter(axle=wheelset.axle, removed_at__isnull=True).update(removed_at=moment)
    Wheelset.objects.create(
        vehicle=vehicle,
        axle=wheelset.axle,
        profile_code=wheelset.profile_code,
        material=wheelset.material,
        tread_diameter=wheelset.tread_diameter,
        fitted_at=moment,
    )


def _unchanged(vehicle: Vehicle, seen_revision: int) -> Vehicle:
    """The vehicle as it stands, locked, if nobody saved it since; else raises Overtaken."""
    now = Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    if now.revision != seen_revision:
        raise Overtaken(now)
    return now


# --- Inspections ------------------------------------------------------------------------------

#: Sent with the `inspection` once it is finished, within its transaction. Whoever keeps what is
#: out of service takes the vehicle out of it where bad order was stated.
inspection_finished = Signal()


@transaction.atomic
def open_inspection(
    *,
    vehicle: Vehicle,
    reason: str,
    by: Person,
    uses_gauge: bool = False,
    moment: datetime | None = None,
) -> Inspection:
    """The open inspection of a vehicle, begun at `moment` (or now) if there is none."""
    return begin(
        into=Inspection,
        of=vehicle,
        role="vehicle",
        reason=reason,
        by=by,
        uses_gauge=uses_gauge,
        moment=moment,
    )


@transaction.atomic
def record(
    *,
    inspection: Inspection,
    entries: Iterable[Entry],
    by: Person,
    moment: datetime | None = None,
) -> list[Reading]:
    """Keep readings of a vehicle as typed, and judge the inspection anew.

    Raises Closed and whatever `taking.take` raises, and then nothing at all is written.
    """
    inspection = still_open(inspection, "vehicle")
    readings = take(
        into=Reading,
        inspection=inspection,
        entries=entries,
        scale=inspection.vehicle.standard,
        by=by,
        check_place=lambda entry: _check_place(inspection.vehicle, entry),
        moment=moment,
    )
    judge_locked(inspection)
    return readings


def _check_place(vehicle: Vehicle, entry: Entry) -> None:
    axles = {str(axle) for axle in range(1, vehicle.axles + 1)}
    places = {Place.AXLE: axles, Place.END: {"A", "B"}, Place.VEHICLE: {""}}
    if entry.at not in places.get(QUANTITIES[entry.quantity].place, set()):
        raise ValueError(f"{vehicle} has no {entry.quantity} to measure at “{entry.at}”.")


@transaction.atomic
def withdraw_reading(
    *, inspection: Inspection, quantity: str, at: str, seen: int | None = None
) -> None:
    """Take back a reading that was a mistake. Raises Closed or ReadingOvertaken."""
    inspection = still_open(inspection, "vehicle")
    if take_back(inspection, quantity, at, seen):
        judge_locked(inspection)


@transaction.atomic
def finish_inspection(
    *,
    inspection: Inspection,
    service: Service,
    statement: str,
    by: Person,
    moment: datetime | None = None,
) -> Inspection:
    """Close an inspection with its stated outcome, which becomes the vehicle's service.

    Raises Closed if it was finished already, NeedsReason for an outcome milder than the readings
    propose at this moment without a statement.
    """
    inspection = still_open(inspection, "vehicle")
    proposed = standing_proposal(inspection.vehicle).service
    if is_milder(service, proposed) and not statement.strip():
        raise NeedsReason(service, proposed)
    inspection.proposed = proposed.value
    inspection.service = service.value
    inspection.statement = statement
    inspection.inspector = by
    inspection.finished_at = moment or timezone.now()
    inspection.save()
    vehicle = Vehicle.everyone.filter(pk=inspection.vehicle_id)
    before = Q(last_inspected_at__isnull=True) | Q(last_inspected_at__lt=inspection.finished_at)
    vehicle.filter(before).update(last_inspected_at=inspection.finished_at)
    # One that is held stays so, whatever was found, until somebody releases it.
    vehicle.filter(held_because="").update(service=service.value)
    inspection_finished.send(sender=Inspection, inspection=inspection)
    return inspection


# --- House limits -----------------------------------------------------------------------------


def set_house_limit(*, limit: HouseLimit, by: Person) -> list[Change]:
    """Put a house limit in force and judge again what it speaks of.

    Vehicle by vehicle, so that a bench elsewhere never waits for the whole stock.
    """
    limit.set_by = by
    limit.save()
    return _rejudge_scale(limit)


def withdraw_house_limit(*, limit: HouseLimit, at: datetime) -> list[Change]:
    """Take a house limit out of force and judge again by the sheets."""
    limit.withdrawn_at = at
    limit.save(update_fields=["withdrawn_at"])
    return _rejudge_scale(limit)


#: Sent with the `limit` once a house limit was put in force or withdrawn. Whoever keeps readings
#: of something else than vehicles judges them again and answers with the changes.
house_limit_changed = Signal()


def _rejudge_scale(limit: HouseLimit) -> list[Change]:
    elsewhere = house_limit_changed.send(sender=HouseLimit, limit=limit)
    changes = [change for _, found in elsewhere for change in found]
    return changes + _rejudge_vehicles(limit)


def _rejudge_vehicles(limit: HouseLimit) -> list[Change]:
    touched = {limit.quantity}
    if limit.quantity in ("wheel_check", "over_flanges"):
        touched |= {"back_to_back", "flange_thickness"}
    vehicles = Vehicle.objects.filter(
        pk__in=Reading.objects.filter(
            is_current=True,
            quantity__in=touched,
            inspection__vehicle__family=limit.family,
            inspection__vehicle__scale=limit.scale,
        ).values("inspection__vehicle")
    )
    return [change for vehicle in list(vehicles) for change in rejudge_vehicle(vehicle)]
