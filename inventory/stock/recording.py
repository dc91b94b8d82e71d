"""The one writer of vehicles, their inspections and readings.

How readings are taken is told in `inventory.stock.taking`; what they are worth is judged and kept
by `inventory.stock.verdicts`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import Max, OuterRef, Q, Subquery
from django.dispatch import Signal
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock.facts import Pictured
from inventory.stock.models import (
    Change,
    Coupler,
    HouseLimit,
    Inspection,
    Reading,
    Vehicle,
    VehiclePhoto,
    Wheelset,
)
from inventory.stock.picturing import NewPhoto, describe, hang, shift, take_down
from inventory.stock.taking import Closed, Entry, begin, still_open, take, take_back
from inventory.stock.verdicts import Rejudged, judge_locked, rejudge_vehicle, standing_proposal
from standards import sheets
from standards.judging import Service, is_milder
from standards.quantities import QUANTITIES, Place
from standards.units import plain


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


class LeftTheStock(Closed):
    """The vehicle was retired: nothing is measured of it until it is brought back."""

    def __init__(self, vehicle: Vehicle) -> None:
        super().__init__(
            f"{vehicle} has left the stock ({vehicle.get_retired_as_display()}); bring it back "
            "before anything is measured or changed on it."
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
    *,
    vehicle: Vehicle,
    running: Running,
    by: Person,
    is_another: bool = True,
    photos: Sequence[NewPhoto] = (),
) -> Vehicle:
    """Keep a new vehicle with a wheelset an axle, a coupler an end, and its photos.

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
    wheels = Wheels(running.profile_code, running.wheel_material, running.tread_diameter)
    hook = (running.coupler, running.mounting)
    log_vehicles(
        newcomers=[Newcomer(vehicle, [wheels] * vehicle.axles, {"A": hook, "B": hook})], by=by
    )
    if photos:
        add_photos(vehicle=vehicle, photos=photos, by=by)
    return vehicle


@dataclass(frozen=True)
class Wheels:
    """What is declared of one wheelset."""

    profile_code: int | None = None
    material: str = ""
    tread_diameter: str = ""


@dataclass(frozen=True)
class Newcomer:
    """A vehicle to be logged. wheels: one an axle. couplers: kind and mounting by end, A and B."""

    vehicle: Vehicle
    wheels: Sequence[Wheels]
    couplers: Mapping[str, tuple[str, str]]


@transaction.atomic
def log_vehicles(*, newcomers: Sequence[Newcomer], by: Person) -> None:
    """Keep new vehicles, with a wheelset an axle and a coupler an end.

    Raises sheets.UnknownStandard, and writes nothing, if a family does not hold a scale.
    """
    for each in newcomers:
        sheets.scale(each.vehicle.family, each.vehicle.scale)
        each.vehicle.logged_by = by
        each.vehicle.note_words()
    Vehicle.everyone.bulk_create([each.vehicle for each in newcomers])
    Wheelset.objects.bulk_create(
        Wheelset(
            vehicle=each.vehicle,
            axle=axle,
            profile_code=wheels.profile_code,
            material=wheels.material,
            tread_diameter=wheels.tread_diameter,
        )
        for each in newcomers
        for axle, wheels in enumerate(each.wheels, start=1)
    )
    Coupler.objects.bulk_create(
        Coupler(vehicle=each.vehicle, end=end, kind=kind, mounting=mounting)
        for each in newcomers
        for end, (kind, mounting) in each.couplers.items()
    )


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
def amend_vehicle(
    *, vehicle: Vehicle, seen_revision: int, by: Person, moment: datetime | None = None
) -> Vehicle:
    """Save a changed vehicle, unless somebody saved it since `seen_revision`, and note what was
    changed from what.

    Raises Overtaken, and writes nothing, when somebody did.
    """
    amend_vehicles(amended=[Amended(vehicle, seen_revision)], by=by, moment=moment)
    return vehicle


@dataclass(frozen=True)
class Amended:
    """A changed vehicle. wheels by axle, and couplers by end, where they are declared anew."""

    vehicle: Vehicle
    seen_revision: int
    wheels: Mapping[int, Wheels] = field(default_factory=dict)
    couplers: Mapping[str, tuple[str, str]] = field(default_factory=dict)


@transaction.atomic
def amend_vehicles(
    *, amended: Sequence[Amended], by: Person, moment: datetime | None = None
) -> None:
    """Save changed vehicles, note what was changed from what, and judge again what hangs on it.

    Raises Overtaken, and writes nothing, when somebody saved one of them since it was seen.
    """
    at = moment or timezone.now()
    standing = {
        now.pk: now
        for now in Vehicle.everyone.select_for_update()
        .filter(pk__in=[each.vehicle.pk for each in amended])
        .prefetch_related("wheelsets", "couplers")
    }
    inspected = set(
        Inspection.objects.filter(vehicle__in=standing).values_list("vehicle", flat=True)
    )
    changes: list[Change] = []
    for each in amended:
        now, vehicle = standing[each.vehicle.pk], each.vehicle
        if now.revision != each.seen_revision:
            raise Overtaken(now)
        is_judged_anew = any(getattr(now, name) != getattr(vehicle, name) for name in _JUDGED_BY)
        vehicle.revision = each.seen_revision + 1
        for name in _NOT_FROM_FORMS:
            setattr(vehicle, name, getattr(now, name))
        changes += _differences(now, vehicle, by, at)
        vehicle.save()
        if now.axles != vehicle.axles:
            _fit_wheelsets(vehicle, Running(), fitted_at=timezone.now())
        if each.wheels or each.couplers:
            changes += _declare_gear(now, each, by, at)
            is_judged_anew = True
        if is_judged_anew and vehicle.pk in inspected and not vehicle.is_retired:
            rejudge_vehicle(Vehicle.everyone.get(pk=vehicle.pk))
            vehicle.refresh_from_db(fields=["service"])
    note_changes(changes)


def _declare_gear(now: Vehicle, amended: Amended, by: Person, at: datetime) -> list[Change]:
    """Keep wheels and couplers as they are declared anew, and what that changes."""
    fitted = amended.vehicle.wheelsets.filter(removed_at__isnull=True, axle__in=amended.wheels)
    wheelsets, couplers = list(fitted), list(amended.vehicle.couplers.all())
    couplers = [each for each in couplers if each.end in amended.couplers]
    for wheelset in wheelsets:
        declared = amended.wheels[wheelset.axle]
        wheelset.profile_code = declared.profile_code
        wheelset.material = declared.material
        wheelset.tread_diameter = declared.tread_diameter
    for coupler in couplers:
        coupler.kind, coupler.mounting = amended.couplers[coupler.end]
    changes = list(_changed_gear(now, wheelsets, couplers, (), by, at))
    for each in (*wheelsets, *couplers):
        each.save()
    return changes


#: What its verdicts hang on besides its readings, wheels and couplers.
_JUDGED_BY = ("family", "scale", "category", "axles", "has_buffers")


#: Other writers keep these; a form that was opened before must not put them back.
_NOT_FROM_FORMS = (
    "uid",
    "service",
    "held_because",
    "last_inspected_at",
    "visitor",
    "retired_as",
    "retired_on",
    "retired_price",
    "retired_note",
    "logged_at",
    "logged_by_id",
)

#: What a person types of a vehicle, and whose changes are noted.
DECLARED = tuple(
    field.name
    for field in Vehicle._meta.concrete_fields
    if field.editable and not field.primary_key
)


def note_changes(changes: Iterable[Change]) -> None:
    """Keep what was changed; changes are never edited."""
    Change.objects.bulk_create(changes, batch_size=500)


def _differences(before: Vehicle, after: Vehicle, by: Person, at: datetime) -> Iterable[Change]:
    for name in DECLARED:
        was, becomes = as_noted(getattr(before, name)), as_noted(getattr(after, name))
        if was != becomes:
            yield Change(vehicle=after, what=name, before=was, after=becomes, by=by, at=at)


def as_noted(value: object) -> str:
    """A value of a vehicle as its history keeps it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return plain(value)
    return str(value)


@dataclass(frozen=True)
class Departure:
    """How a vehicle leaves the stock: `how` is one of Vehicle.Retired.

    price: what it fetched, in the vehicle's own currency; currency: names it, for a vehicle that
    has none yet.
    """

    how: str
    on: date
    price: Decimal | None = None
    note: str = ""
    currency: str = ""


#: Sent with the `vehicle`, `departure` and `by` within the transaction in which a vehicle leaves
#: the stock, so that whoever keeps where it stands or why it is held lets go of it.
vehicle_retired = Signal()


@transaction.atomic
def retire(
    *,
    vehicle: Vehicle,
    departure: Departure,
    by: Person,
    seen_revision: int,
    moment: datetime | None = None,
) -> Vehicle:
    """Take a vehicle out of the stock; it stays in the record with all that was.

    Raises Overtaken, and writes nothing, when somebody saved the vehicle since `seen_revision`,
    or it has left already.
    """
    now = _unchanged(vehicle, seen_revision)
    if now.is_retired:
        raise Overtaken(now)
    at = moment or timezone.now()
    if departure.price is not None and not now.currency and departure.currency:
        now.currency = departure.currency
        named = Change(vehicle=now, what="currency", after=departure.currency, by=by, at=at)
        note_changes([named])
    now.retired_as = departure.how
    now.retired_on = departure.on
    now.retired_price = departure.price
    now.retired_note = departure.note
    now.revision = seen_revision + 1
    now.save()
    said = f"{departure.on:%Y-%m-%d}"
    if departure.price is not None:
        said += f", for {departure.price:.2f} {now.currency}".rstrip()
    words = f"{Vehicle.Retired(departure.how).label}, {said}"
    note_changes(
        [
            Change(
                vehicle=now,
                what=Change.Deed.RETIRED,
                after=words,
                note=departure.note,
                by=by,
                at=at,
            )
        ]
    )
    vehicle_retired.send(sender=Vehicle, vehicle=now, departure=departure, by=by, moment=at)
    now.refresh_from_db()
    return now


@transaction.atomic
def bring_back(
    *,
    vehicle: Vehicle,
    because: str,
    by: Person,
    seen_revision: int,
    moment: datetime | None = None,
) -> Vehicle:
    """Put a retired vehicle into the stock again, awaiting inspection. What was judged before is
    judged again, since nothing was while it was away.

    Raises Overtaken, and writes nothing, when somebody saved the vehicle since `seen_revision`,
    or it is in the stock already.
    """
    now = _unchanged(vehicle, seen_revision)
    if not now.is_retired:
        raise Overtaken(now)
    at = moment or timezone.now()
    was = Vehicle.Retired(now.retired_as).label
    now.retired_as, now.retired_on, now.retired_price, now.retired_note = "", None, None, ""
    now.service = Service.AWAITING.value
    now.revision = seen_revision + 1
    now.save()
    note_changes(
        [Change(vehicle=now, what=Change.Deed.BACK, before=was, note=because, by=by, at=at)]
    )
    rejudge_vehicle(now)
    return now


@transaction.atomic
def amend_running_gear(
    *,
    vehicle: Vehicle,
    wheelsets: Iterable[Wheelset],
    couplers: Iterable[Coupler],
    exchanged: Collection[int] = (),
    seen_revision: int,
    by: Person,
    moment: datetime | None = None,
) -> list[Rejudged]:
    """Save what is declared of wheels and couplers, note what was changed, and judge again what
    hangs on it.

    exchanged: the axles that got another wheelset, at `moment` (or now). The old one stays in
    the record with its readings, and the new one has none yet. Other changes correct what was
    declared.

    Raises Overtaken, and writes nothing, when somebody saved the vehicle since `seen_revision`.
    """
    now = _unchanged(vehicle, seen_revision)
    at = moment or timezone.now()
    wheelsets, couplers = list(wheelsets), list(couplers)
    note_changes(_changed_gear(now, wheelsets, couplers, exchanged, by, at))
    for wheelset in wheelsets:
        if wheelset.axle in exchanged:
            _exchange(now, wheelset, at)
        else:
            wheelset.save()
    for coupler in couplers:
        coupler.save()
    Vehicle.everyone.filter(pk=vehicle.pk).update(revision=seen_revision + 1)
    return rejudge_vehicle(Vehicle.everyone.get(pk=vehicle.pk))


def _changed_gear(
    vehicle: Vehicle,
    wheelsets: Iterable[Wheelset],
    couplers: Iterable[Coupler],
    exchanged: Collection[int],
    by: Person,
    at: datetime,
) -> Iterable[Change]:
    wheels = {each.pk: each for each in vehicle.wheelsets.all()}
    for each in wheelsets:
        before, after = _wheels_in_words(wheels.get(each.pk)), _wheels_in_words(each)
        is_another = each.axle in exchanged
        if is_another or before != after:
            note = "another wheelset fitted" if is_another else ""
            yield Change(
                vehicle=vehicle,
                what=Change.Deed.WHEELSET,
                before=f"axle {each.axle}: {before}",
                after=f"axle {each.axle}: {after}",
                note=note,
                by=by,
                at=at,
            )
    ends = {each.pk: each for each in vehicle.couplers.all()}
    for each in couplers:
        before, after = _coupler_in_words(ends.get(each.pk)), _coupler_in_words(each)
        if before != after:
            yield Change(
                vehicle=vehicle,
                what=Change.Deed.COUPLER,
                before=f"end {each.end}: {before}",
                after=f"end {each.end}: {after}",
                by=by,
                at=at,
            )


def _wheels_in_words(wheelset: Wheelset | None) -> str:
    if wheelset is None:
        return "nothing declared"
    code = f"RP-25 code {wheelset.profile_code}" if wheelset.profile_code else ""
    said = ", ".join(part for part in (code, wheelset.material, wheelset.tread_diameter) if part)
    return said or "nothing declared"


def _coupler_in_words(coupler: Coupler | None) -> str:
    if coupler is None:
        return "nothing declared"
    return f"{coupler.get_kind_display()}, {coupler.get_mounting_display()}"


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
    now = Vehicle.everyone.select_for_update().get(pk=vehicle.pk)
    if now.revision != seen_revision:
        raise Overtaken(now)
    return now


# --- Photos -----------------------------------------------------------------------------------


@transaction.atomic
def add_photos(
    *,
    vehicle: Vehicle,
    photos: Sequence[NewPhoto],
    by: Person,
    moment: datetime | None = None,
) -> list[VehiclePhoto]:
    """Keep photos of a vehicle behind those that it has. Raises PhotoRefused for too many."""
    at = moment or timezone.now()
    kept = hang(into=VehiclePhoto, of=vehicle, photos=photos, by=by, moment=at)
    if kept:
        words = "a photo added" if len(kept) == 1 else f"{len(kept)} photos added"
        note_photo(vehicle=vehicle, words=words, by=by, moment=at)
    return kept


@transaction.atomic
def describe_photo(
    *,
    photo: VehiclePhoto,
    caption: str,
    taken_on: date,
    by: Person,
    moment: datetime | None = None,
) -> None:
    """Change what is said of a photo of a vehicle; it is noted that, not what the caption was."""
    words = describe(photo, caption=caption, taken_on=taken_on)
    if words:
        note_photo(vehicle=photo.vehicle, words=words, by=by, moment=moment)


def note_photo(
    *, vehicle: Vehicle, words: str, by: Person, note: str = "", moment: datetime | None = None
) -> None:
    """Note what was done with the photos that have to do with a vehicle."""
    at = moment or timezone.now()
    deed = Change.Deed.PHOTO
    note_changes([Change(vehicle=vehicle, what=deed, after=words, note=note, by=by, at=at)])


def move_photo(*, photo: VehiclePhoto, is_earlier: bool) -> None:
    """Exchange a photo of a vehicle with its neighbour. Lists show the first one."""
    shift(photo, is_earlier=is_earlier)


@transaction.atomic
def remove_photo(*, photo: VehiclePhoto, by: Person, moment: datetime | None = None) -> None:
    """Remove a photo of a vehicle for good; it is noted that, not what was on it."""
    note_photo_removed(vehicle=photo.vehicle, photo=photo, by=by, moment=moment)
    take_down(photo)


def note_photo_removed(
    *,
    vehicle: Vehicle,
    photo: Pictured,
    by: Person,
    note: str = "removed for good",
    moment: datetime | None = None,
) -> None:
    """Note that a photo that had to do with a vehicle is gone. Its caption goes with it."""
    note_changes(
        [
            Change(
                vehicle=vehicle,
                what=Change.Deed.PHOTO,
                before=f"a photo taken {photo.taken_on:%Y-%m-%d}",
                note=note,
                by=by,
                at=moment or timezone.now(),
            )
        ]
    )


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
    """The open inspection of a vehicle, begun at `moment` (or now) if there is none.

    Raises LeftTheStock for one that was retired.
    """
    now = Vehicle.everyone.select_for_update().get(pk=vehicle.pk)
    if now.is_retired:
        raise LeftTheStock(now)
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
    inspection = _in_hand(inspection)
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


def _in_hand(inspection: Inspection) -> Inspection:
    """The inspection, locked. Raises Closed once it is finished, LeftTheStock once its vehicle
    was retired."""
    now = still_open(inspection, "vehicle")
    if now.vehicle.is_retired:
        raise LeftTheStock(now.vehicle)
    return now


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
    inspection = _in_hand(inspection)
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
    inspection = _in_hand(inspection)
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


def note_last_inspected() -> None:
    """Work out of all vehicles when they were last inspected, after inspections were brought in
    by other ways than `finish_inspection`."""
    last = (
        Inspection.objects.filter(vehicle=OuterRef("pk"))
        .order_by()
        .values("vehicle")
        .annotate(last=Max("finished_at"))
        .values("last")
    )
    Vehicle.everyone.update(last_inspected_at=Subquery(last))


# --- House limits -----------------------------------------------------------------------------


def set_house_limit(*, limit: HouseLimit, by: Person) -> list[Rejudged]:
    """Put a house limit in force and judge again what it speaks of.

    Vehicle by vehicle, so that a bench elsewhere never waits for the whole stock.
    """
    limit.set_by = by
    limit.save()
    return _rejudge_scale(limit)


def withdraw_house_limit(*, limit: HouseLimit, at: datetime) -> list[Rejudged]:
    """Take a house limit out of force and judge again by the sheets."""
    limit.withdrawn_at = at
    limit.save(update_fields=["withdrawn_at"])
    return _rejudge_scale(limit)


#: Sent with the `limit` once a house limit was put in force or withdrawn. Whoever keeps readings
#: of something else than vehicles judges them again and answers with the changes.
house_limit_changed = Signal()


def _rejudge_scale(limit: HouseLimit) -> list[Rejudged]:
    elsewhere = house_limit_changed.send(sender=HouseLimit, limit=limit)
    changes = [change for _, found in elsewhere for change in found]
    return changes + _rejudge_vehicles(limit)


def _rejudge_vehicles(limit: HouseLimit) -> list[Rejudged]:
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
