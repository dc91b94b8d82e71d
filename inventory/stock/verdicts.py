"""The stored verdicts: judged by the one pure function, superseded and never overwritten."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import models, transaction
from django.db.models import Q
from django.utils import timezone

from inventory.stock.facts import Judged, Taken
from inventory.stock.models import Change, HouseLimit, Inspection, Reading, Vehicle, Verdict
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
from standards.sheets import Scale, sheet
from standards.units import plain


def standing_proposal(vehicle: Vehicle) -> Proposal:
    """What the latest word on every quantity says of the vehicle."""
    return proposal_from(vehicle, Verdict.objects.standing_for(vehicle))


def proposal_from(vehicle: Vehicle, standing: Sequence[Verdict]) -> Proposal:
    """What these verdicts say of the vehicle, for a page that has them already."""
    return propose(_subject(vehicle), [each.as_finding() for each in standing])


@dataclass(frozen=True)
class Rejudged:
    """A verdict that came out differently from the one that stood."""

    of: models.Model
    label: str
    before: str
    after: str
    why: str


@transaction.atomic
def judge_inspection(
    inspection: Inspection, *, cause: str = "recorded", is_dry: bool = False
) -> list[Rejudged]:
    """Judge the current readings of an inspection; supersede the verdicts that changed.

    is_dry: write nothing, only say what would change.
    """
    Inspection.objects.select_for_update().get(pk=inspection.pk)
    readings = inspection.readings.filter(is_current=True)
    return keep(
        into=Verdict,
        inspection=inspection,
        of=inspection.vehicle,
        readings=readings,
        findings=_findings(inspection, readings),
        cause=cause,
        is_dry=is_dry,
    )


def keep(
    *,
    into: type[Judged],
    inspection,
    of: models.Model,
    readings: Iterable[Taken],
    findings: Iterable[Finding],
    cause: str,
    is_dry: bool = False,
) -> list[Rejudged]:
    """Keep what was found at an inspection, and supersede the verdicts that changed.

    of: the vehicle or trackwork that was inspected. Within a transaction that the caller holds.
    """
    stored = {verdict.key: verdict for verdict in inspection.verdicts.filter(is_current=True)}
    by_key = {(reading.quantity, reading.at): reading for reading in readings}
    fresh, gone, changes = [], [], []
    for finding in findings:
        key = (finding.quantity, finding.at)
        verdict = _verdict(into, inspection, finding, by_key.get(key), cause)
        before = stored.pop(key, None)
        if before is not None and _facts(before) == _facts(verdict):
            continue
        fresh.append(verdict)
        changes.append(_change(of, before, verdict))
        if before is not None:
            gone.append(before.pk)
    changes += [_change(of, vanished, None) for vanished in stored.values()]
    gone += [vanished.pk for vanished in stored.values()]
    if not is_dry:
        into.objects.filter(pk__in=gone).update(is_current=False)
        into.objects.bulk_create(fresh)
    return changes


@transaction.atomic
def rejudge_vehicle(vehicle: Vehicle, *, is_dry: bool = False) -> list[Rejudged]:
    """Judge every inspection of a vehicle by the sheets and house limits as they are now.

    Only a person states an outcome; but a vehicle whose readings have come to say bad order waits
    for one again, instead of being taken for fit.
    """
    changes = [
        change
        for inspection in vehicle.inspections.order_by("started_at", "pk")
        for change in judge_inspection(inspection, cause="rejudged", is_dry=is_dry)
    ]
    if changes and not is_dry:
        settle_service(vehicle)
    return changes


def settle_service(vehicle: Vehicle) -> None:
    """Let a stated outcome rest while the readings say bad order, and give it back after.

    A vehicle that is held is bad order whatever was stated, until it is released. What was stated
    before it left the stock says nothing of it once it is back.
    """
    last = vehicle.inspections.filter(finished_at__isnull=False).order_by("finished_at").last()
    back = vehicle.changes.filter(what=Change.Deed.BACK).last()
    if last is not None and back is not None and last.finished_at < back.at:
        last = None
    stated = last.service if last else Service.AWAITING.value
    lets_run = stated in (Service.FIT.value, Service.ADVICE.value)
    if lets_run and standing_proposal(vehicle).service is Service.BAD_ORDER:
        stated = Service.AWAITING.value
    if vehicle.held_because:
        stated = Service.BAD_ORDER.value
    if stated != vehicle.service:
        vehicle.service = stated
        Vehicle.everyone.filter(pk=vehicle.pk).update(service=stated)


def _subject(vehicle: Vehicle, moment: datetime | None = None) -> Subject:
    fitted = vehicle.fitted_wheelsets if moment is None else vehicle.wheelsets_at(moment)
    return Subject(
        scale=vehicle.standard,
        axles=vehicle.axles,
        is_hauled=not vehicle.is_locomotive,
        has_buffers=vehicle.has_buffers,
        declared_codes={
            str(wheelset.axle): wheelset.profile_code
            for wheelset in fitted
            if wheelset.profile_code
        },
        couplers={coupler.end: coupler.kind for coupler in vehicle.couplers.all()},
    )


def house_rules(scale: Scale) -> Sequence[HouseRule]:
    """The house limits in force at a scale of its family."""
    in_force = HouseLimit.objects.filter(
        family=scale.family, scale=scale.code, withdrawn_at__isnull=True
    )
    return [
        HouseRule(each.quantity, each.low, each.high, each.reason, each.is_about_sheet)
        for each in in_force
    ]


def observation(reading: Taken) -> Observation:
    """What was read, as the judging takes it."""
    return Observation(
        reading.quantity,
        reading.at,
        measured=reading.measured,
        gauge=GaugeResult(reading.gauge) if reading.gauge else None,
    )


def limits_stated(
    vehicle: Vehicle,
    keys: Iterable[tuple[str, str]],
    *,
    carried: Iterable[Observation] = (),
    house: Sequence[HouseRule] = (),
) -> dict[tuple[str, str], Finding]:
    """What the sheets, and the house in their place, limit before anything is measured: for
    (quantity, at), a finding without a value.

    carried: what is known already and a limit may go by, such as the length of a mass. The
    vehicle need not be saved; one that is not has no declared wheels.
    """
    subject = _subject(vehicle) if vehicle.pk else _unsaved(vehicle)
    asked = {key: Observation(*key) for key in keys}
    known = {(each.quantity, each.at): each for each in carried}
    # What is asked stands before what is carried, so the two are never looked at together.
    open_ones = [each for key, each in asked.items() if key not in known]
    found = (
        *judge_vehicle(subject, open_ones, house, carried=known.values()),
        *judge_vehicle(subject, [asked[key] for key in known if key in asked], house),
    )
    return {(each.quantity, each.at): each for each in found if (each.quantity, each.at) in asked}


def _unsaved(vehicle: Vehicle) -> Subject:
    return Subject(
        scale=vehicle.standard,
        axles=vehicle.axles,
        is_hauled=not vehicle.is_locomotive,
        has_buffers=vehicle.has_buffers,
    )


def _findings(inspection: Inspection, readings: Iterable[Reading]) -> tuple[Finding, ...]:
    vehicle = inspection.vehicle
    earlier = (
        Reading.objects.filter(
            Q(inspection__started_at__lt=inspection.started_at)
            | Q(inspection__started_at=inspection.started_at, inspection__lt=inspection.pk),
            inspection__vehicle=vehicle,
            is_current=True,
            gauge="",
        )
        # The latest comes last, and stands.
        .order_by("inspection__started_at", "inspection_id", "pk")
    )
    fitted = {str(each.axle): each.fitted_at for each in vehicle.wheelsets_at(inspection.ends_at)}

    def is_of_what_was_fitted(reading: Reading) -> bool:
        since = fitted.get(reading.at)
        return since is None or reading.taken_at >= since

    return judge_vehicle(
        _subject(vehicle, inspection.ends_at),
        [observation(reading) for reading in readings if is_of_what_was_fitted(reading)],
        house_rules(vehicle.standard),
        Rule(inspection.rule),
        carried=[observation(reading) for reading in earlier if is_of_what_was_fitted(reading)],
    )


def _verdict(
    into: type[Judged], inspection, finding: Finding, reading: Taken | None, cause: str
) -> Judged:
    tables = [sheet(sheet_id) for sheet_id in finding.sheets]
    return into(
        inspection=inspection,
        reading=reading,
        quantity=finding.quantity,
        at=finding.at,
        outcome=finding.outcome.value,
        value=finding.value,
        u=finding.measured.u if finding.measured else None,
        expanded=finding.measured.expanded if finding.measured else None,
        gauge=finding.gauge.value if finding.gauge else "",
        probability=finding.judgement.probability,
        is_undecidable=finding.judgement.undecidable,
        low=finding.low.number,
        low_basis=finding.low.basis,
        high=finding.high.number,
        high_basis=finding.high.basis,
        nominal=finding.nominal,
        is_advisory=finding.is_advisory,
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


def _facts(verdict: Judged) -> tuple[object, ...]:
    """All that makes one verdict differ from another, however it was stored."""

    def rounded(number: float | None) -> float | None:
        return None if number is None else round(number, 9)

    return (
        verdict.reading_id,
        verdict.outcome,
        verdict.value,
        rounded(verdict.expanded),
        rounded(verdict.probability),
        verdict.gauge,
        verdict.low,
        verdict.low_basis,
        verdict.high,
        verdict.high_basis,
        verdict.nominal,
        verdict.is_advisory,
        verdict.is_derived,
        verdict.is_second_hand,
        verdict.is_by_house,
        verdict.is_undecidable,
        verdict.note,
        verdict.sheets,
        verdict.rule,
    )


def _change(of: models.Model, before: Judged | None, after: Judged | None) -> Rejudged:
    def limits(verdict: Judged) -> str:
        low = "" if verdict.low is None else plain(verdict.low)
        high = "" if verdict.high is None else plain(verdict.high)
        return f"{low}…{high}"

    named = after or before
    assert named is not None
    if before is None or after is None:
        why = "now judged" if before is None else "no longer judged"
    elif limits(before) != limits(after):
        why = f"limits {limits(before)} became {limits(after)}"
    else:
        why = "reading or wording"
    return Rejudged(
        of,
        named.label,
        before.outcome if before else "nothing",
        after.outcome if after else "nothing",
        why,
    )
