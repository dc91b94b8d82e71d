"""The one writer of vehicles, inspections, readings and verdicts.

Typed text goes through `standards.units` (exact value), `standards.metrology` (value and
uncertainty) and `standards.judging` (verdict); what comes out is stored here and nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock.models import (
    Coupler,
    HouseLimit,
    Inspection,
    Instrument,
    Reading,
    Vehicle,
    Verdict,
    Wheelset,
)
from standards.conformity import Rule
from standards.judging import (
    Finding,
    GaugeResult,
    HouseRule,
    Observation,
    Proposal,
    Service,
    Subject,
    judge_vehicle,
    propose,
)
from standards.metrology import evaluate
from standards.quantities import QUANTITIES
from standards.sheets import sheet
from standards.units import Typed, likely_slip, read, spell

#: Lengths of a body do not change between inspections, and mass rules go by them.
CARRIED = ("length_over_couplers", "length_over_buffers", "body_length")


class Overtaken(Exception):
    """Somebody else saved the vehicle since this form was opened. `now` is how it stands."""

    def __init__(self, now: Vehicle) -> None:
        self.now = now
        super().__init__(f"{now} was changed by somebody else in the meantime.")


class ReadingOvertaken(Exception):
    """Somebody else took this reading since the form was opened. `now` is theirs, or None."""

    def __init__(self, now: Reading | None) -> None:
        self.now = now
        who = f"{now.taken_by} has entered {now}" if now else "Somebody has taken it back"
        super().__init__(f"{who} in the meantime.")


class Closed(Exception):
    """The inspection is finished; its readings stand."""


class Doubt(Exception):
    """A value so far from what is plausible that it is asked about before it is kept.

    `understood` is what was read; `suggestion` the likely meaning, or None; `plausible` the range.
    """

    def __init__(self, understood: str, suggestion: str | None, plausible: str) -> None:
        self.understood = understood
        self.suggestion = suggestion
        self.plausible = plausible
        super().__init__(f"{understood} is far from plausible, {plausible}.")


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
def log_vehicle(*, vehicle: Vehicle, running: Running, by: Person) -> Vehicle:
    """Keep a new vehicle with a wheelset an axle and a coupler an end."""
    vehicle.logged_by = by
    vehicle.save(force_insert=True)
    _fit_wheelsets(vehicle, running)
    Coupler.objects.bulk_create(
        Coupler(vehicle=vehicle, end=end, kind=running.coupler, mounting=running.mounting)
        for end in ("A", "B")
    )
    return vehicle


def _fit_wheelsets(vehicle: Vehicle, running: Running) -> None:
    """Add the wheelsets of axles that have none, and take away those beyond the last axle."""
    have = {wheelset.axle for wheelset in vehicle.wheelsets.all()}
    Wheelset.objects.bulk_create(
        Wheelset(
            vehicle=vehicle,
            axle=axle,
            profile_code=running.profile_code,
            material=running.wheel_material,
            tread_diameter=running.tread_diameter,
        )
        for axle in range(1, vehicle.axles + 1)
        if axle not in have
    )
    vehicle.wheelsets.filter(axle__gt=vehicle.axles).delete()


@transaction.atomic
def amend_vehicle(*, vehicle: Vehicle, seen_revision: int) -> Vehicle:
    """Save a changed vehicle, unless somebody saved it since `seen_revision`.

    Raises Overtaken, and writes nothing, when somebody did.
    """
    now = Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    if now.revision != seen_revision:
        raise Overtaken(now)
    rescaled = (now.family, now.scale, now.category) != (
        vehicle.family,
        vehicle.scale,
        vehicle.category,
    )
    vehicle.revision = seen_revision + 1
    vehicle.service = now.service
    vehicle.save()
    _fit_wheelsets(vehicle, Running())
    if rescaled:
        rejudge_vehicle(vehicle)
    return vehicle


@transaction.atomic
def amend_running_gear(*, vehicle: Vehicle, wheelsets: Iterable[Wheelset]) -> None:
    """Save what is declared of the wheelsets, and judge again what hangs on it."""
    for wheelset in wheelsets:
        wheelset.save()
    rejudge_vehicle(vehicle)


# --- Inspections ------------------------------------------------------------------------------


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
    Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    standing = vehicle.inspections.filter(finished_at__isnull=True).first()
    if standing is not None:
        return standing
    return Inspection.objects.create(
        vehicle=vehicle,
        reason=reason,
        inspector=by,
        rule=by.rule,
        uses_gauge=uses_gauge,
        started_at=moment or timezone.now(),
    )


def understand(
    *, vehicle: Vehicle, quantity: str, typed: str, unit: str, is_certain: bool = False
) -> Typed:
    """Read bench text for one quantity of one vehicle.

    unit: the person's, "mm" or "in"; a number typed without a unit is read in it.

    Raises units.Unreadable for text that cannot be read, Doubt for a value that is not plausible
    unless the person is certain.
    """
    what, scale = QUANTITIES[quantity], vehicle.standard
    default = {"length": {"mm": "mm", "in": "in"}, "mass": {"mm": "g", "in": "oz"}}
    text = read(
        typed,
        what.dimension.value,
        default_unit=default.get(what.dimension.value, {}).get(unit),
        may_be_zero=what.may_be_negative,
        may_be_negative=what.may_be_negative,
        to_scale=scale.from_full_size,
    )
    low, high = what.plausible(scale)
    if not is_certain and not all(low <= value <= high for value in text.values):
        plausible = f"{spell(low, what.unit, 2)} to {spell(high, what.unit, 2)}"
        raise Doubt(
            text.as_understood,
            likely_slip(text, low, high, scale.from_full_size),
            f"for {what.name.lower()} in {scale.code}: {plausible}",
        )
    return text


@dataclass(frozen=True)
class Entry:
    """One field of the bench as submitted: bench text, or the answer of a go/no-go gauge.

    seen: the primary key of the reading that stood when the person looked, None if there was
    none. is_certain: keep a value although it is not plausible.
    """

    quantity: str
    at: str
    instrument: Instrument
    typed: str = ""
    gauge: GaugeResult | None = None
    seen: int | None = None
    is_certain: bool = False


@transaction.atomic
def record(
    *,
    inspection: Inspection,
    entries: Iterable[Entry],
    by: Person,
    moment: datetime | None = None,
) -> list[Reading]:
    """Keep readings as typed, and judge the inspection anew.

    A reading typed again takes the place of the current one, which is kept. Raises Closed,
    units.Unreadable, Doubt or ReadingOvertaken, and then nothing at all is written.
    """
    inspection = _still_open(inspection)
    readings = [_keep(inspection, entry, by, moment or timezone.now()) for entry in entries]
    judge_inspection(inspection)
    return readings


def _keep(inspection: Inspection, entry: Entry, by: Person, moment: datetime) -> Reading:
    facts: dict[str, object] = {"gauge": entry.gauge.value if entry.gauge else ""}
    if entry.gauge is None:
        text = understand(
            vehicle=inspection.vehicle,
            quantity=entry.quantity,
            typed=entry.typed,
            unit=by.unit,
            is_certain=entry.is_certain,
        )
        error = entry.instrument.error_for(QUANTITIES[entry.quantity].jaws)
        step = entry.instrument.resolution or Decimal(0)
        measured = evaluate(text.values, max_error=error, resolution=step)
        facts |= {
            "typed": entry.typed.strip(),
            "values": [f"{value:f}" for value in text.values],
            "value": measured.value,
            "u": measured.u,
            "dof": None if math.isinf(measured.dof) else measured.dof,
            "max_error": error,
            "resolution": step,
        }
    _retire_current(inspection, entry.quantity, entry.at, entry.seen)
    return Reading.objects.create(
        inspection=inspection,
        quantity=entry.quantity,
        at=entry.at,
        instrument=entry.instrument,
        taken_by=by,
        taken_at=moment,
        **facts,
    )


@transaction.atomic
def withdraw_reading(
    *, inspection: Inspection, quantity: str, at: str, seen: int | None = None
) -> None:
    """Take back a reading that was a mistake; it is kept, but counts no more.

    Raises Closed or ReadingOvertaken.
    """
    inspection = _still_open(inspection)
    _retire_current(inspection, quantity, at, seen)
    judge_inspection(inspection)


def _still_open(inspection: Inspection) -> Inspection:
    now = Inspection.objects.select_for_update().get(pk=inspection.pk)
    if not now.is_open:
        raise Closed(f"The inspection of {now.vehicle} is finished; begin another one.")
    return now


def _retire_current(inspection: Inspection, quantity: str, at: str, seen: int | None) -> None:
    """Make room for another reading, if the one that stands is the one that was seen."""
    standing = inspection.readings.filter(quantity=quantity, at=at, is_current=True).first()
    if (standing.pk if standing else None) != seen:
        raise ReadingOvertaken(standing)
    if standing is not None:
        standing.is_current = False
        standing.save(update_fields=["is_current"])


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

    Raises Closed if it was finished already.
    """
    inspection = _still_open(inspection)
    inspection.proposed = standing_proposal(inspection.vehicle).service.value
    inspection.service = service.value
    inspection.statement = statement
    inspection.inspector = by
    inspection.finished_at = moment or timezone.now()
    inspection.save()
    Vehicle.objects.filter(pk=inspection.vehicle_id).update(service=service.value)
    return inspection


def standing_proposal(vehicle: Vehicle) -> Proposal:
    """What the latest word on every quantity says of the vehicle."""
    standing = [each.as_finding() for each in Verdict.objects.standing_for(vehicle)]
    return propose(_subject(vehicle), standing)


# --- Judging ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Change:
    """A verdict that came out differently from the one that stood."""

    vehicle: Vehicle
    label: str
    before: str
    after: str
    why: str


def judge_inspection(
    inspection: Inspection, *, cause: str = "recorded", is_dry: bool = False
) -> list[Change]:
    """Judge the current readings of an inspection; supersede the verdicts that changed.

    is_dry: write nothing, only say what would change.
    """
    findings = _findings(inspection)
    stored = {verdict.key: verdict for verdict in inspection.verdicts.current()}
    readings = {
        (reading.quantity, reading.at): reading
        for reading in inspection.readings.filter(is_current=True)
    }
    fresh, gone, changes = [], [], []
    for finding in findings:
        key = (finding.quantity, finding.at)
        verdict = _verdict(inspection, finding, readings.get(key), cause)
        before = stored.pop(key, None)
        if before is not None and _facts(before) == _facts(verdict):
            continue
        if before is not None:
            gone.append(before.pk)
            changes.append(_change(inspection.vehicle, before, verdict))
        fresh.append(verdict)
    gone += [verdict.pk for verdict in stored.values()]
    if not is_dry:
        Verdict.objects.filter(pk__in=gone).update(is_current=False)
        Verdict.objects.bulk_create(fresh)
    return changes


def rejudge_vehicle(vehicle: Vehicle, *, is_dry: bool = False) -> list[Change]:
    """Judge every inspection of a vehicle by the sheets and house limits as they are now."""
    return [
        change
        for inspection in vehicle.inspections.order_by("started_at", "pk")
        for change in judge_inspection(inspection, cause="rejudged", is_dry=is_dry)
    ]


def _subject(vehicle: Vehicle) -> Subject:
    return Subject(
        scale=vehicle.standard,
        axles=vehicle.axles,
        is_hauled=not vehicle.is_locomotive,
        declared_codes={
            str(wheelset.axle): wheelset.profile_code
            for wheelset in vehicle.wheelsets.all()
            if wheelset.profile_code
        },
    )


def house_rules(vehicle: Vehicle) -> Sequence[HouseRule]:
    """The house limits in force at the vehicle's scale."""
    in_force = HouseLimit.objects.filter(
        family=vehicle.family, scale=vehicle.scale, withdrawn_at__isnull=True
    )
    return [
        HouseRule(each.quantity, each.low, each.high, each.reason, each.is_about_sheet)
        for each in in_force
    ]


def _observation(reading: Reading) -> Observation:
    return Observation(
        reading.quantity,
        reading.at,
        measured=reading.measured,
        gauge=GaugeResult(reading.gauge) if reading.gauge else None,
    )


def _findings(inspection: Inspection) -> tuple[Finding, ...]:
    vehicle = inspection.vehicle
    earlier = (
        Reading.objects.filter(
            inspection__vehicle=vehicle,
            inspection__started_at__lt=inspection.started_at,
            quantity__in=CARRIED,
            is_current=True,
        )
        .order_by("inspection__started_at", "pk")
        .all()
    )
    return judge_vehicle(
        _subject(vehicle),
        [_observation(reading) for reading in inspection.readings.filter(is_current=True)],
        house_rules(vehicle),
        Rule(inspection.rule),
        carried=[_observation(reading) for reading in earlier],
    )


def _verdict(
    inspection: Inspection, finding: Finding, reading: Reading | None, cause: str
) -> Verdict:
    tables = [sheet(sheet_id) for sheet_id in finding.sheets]
    return Verdict(
        inspection=inspection,
        reading=reading,
        quantity=finding.quantity,
        at=finding.at,
        outcome=finding.outcome.value,
        value=finding.value,
        expanded=finding.measured.expanded if finding.measured else None,
        gauge=finding.gauge.value if finding.gauge else "",
        probability=finding.judgement.probability,
        is_undecidable=finding.judgement.undecidable,
        low=finding.low.number,
        low_basis=finding.low.basis,
        high=finding.high.number,
        high_basis=finding.high.basis,
        nominal=finding.nominal,
        is_derived=finding.is_derived,
        is_second_hand=finding.is_second_hand,
        is_by_house=finding.is_judged_by_house,
        note=finding.note,
        sheets=[
            {"id": table.id, "short": table.short, "edition": table.edition} for table in tables
        ],
        rule=inspection.rule,
        cause=cause,
        judged_at=timezone.now(),
    )


def _facts(verdict: Verdict) -> tuple[object, ...]:
    """All that makes one verdict differ from another, however it was stored."""
    return (
        verdict.reading_id,
        verdict.outcome,
        verdict.value,
        verdict.gauge,
        verdict.low,
        verdict.low_basis,
        verdict.high,
        verdict.high_basis,
        verdict.nominal,
        verdict.is_derived,
        verdict.is_second_hand,
        verdict.is_by_house,
        verdict.is_undecidable,
        verdict.note,
        verdict.sheets,
        verdict.rule,
    )


def _change(vehicle: Vehicle, before: Verdict, after: Verdict) -> Change:
    def limits(verdict: Verdict) -> str:
        low = "" if verdict.low is None else f"{verdict.low.normalize():f}"
        high = "" if verdict.high is None else f"{verdict.high.normalize():f}"
        return f"{low}…{high}"

    why = "limits" if limits(before) != limits(after) else "reading or wording"
    if limits(before) != limits(after):
        why = f"limits {limits(before)} became {limits(after)}"
    return Change(vehicle, after.label, before.outcome, after.outcome, why)


# --- House limits -----------------------------------------------------------------------------


@transaction.atomic
def set_house_limit(*, limit: HouseLimit, by: Person) -> list[Change]:
    """Put a house limit in force and judge again what it speaks of."""
    limit.set_by = by
    limit.save()
    return _rejudge_scale(limit)


@transaction.atomic
def withdraw_house_limit(*, limit: HouseLimit, at: datetime) -> list[Change]:
    """Take a house limit out of force and judge again by the sheets."""
    limit.withdrawn_at = at
    limit.save(update_fields=["withdrawn_at"])
    return _rejudge_scale(limit)


def _rejudge_scale(limit: HouseLimit) -> list[Change]:
    vehicles = Vehicle.objects.filter(family=limit.family, scale=limit.scale)
    return [change for vehicle in vehicles for change in rejudge_vehicle(vehicle)]
