"""What is due, what the next work evening needs on the bench, and what moves towards a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Max, Q
from django.utils import timezone

from inventory.stock.models import Inspection, Reading, Vehicle, Verdict
from inventory.trouble.models import Hold, Turn
from inventory.trouble.recording import waits_for
from standards.conformity import Outcome
from standards.drift import Drift, DriftImpossible, Point, drift
from standards.judging import label
from standards.quantities import QUANTITIES
from standards.remedies import Mend, mends

#: How long, and how many laps, between two inspections. Common practice, no source.
MONTHS = 12
LAPS = 500

#: So far ahead a drift is told of.
AHEAD = timedelta(days=365)

#: So many vehicles are as much as anybody mends in an evening.
MOST_VEHICLES = 60


@dataclass(frozen=True)
class Due:
    """A vehicle whose inspection is due. last: the day of the last one, None if never."""

    vehicle: Vehicle
    last: date | None
    laps: int
    is_by_time: bool
    is_by_running: bool


def due(*, months: int, laps: int) -> list[Due]:
    """Vehicles to inspect again, those that ran the most since first; what is held or awaits its
    first inspection is on other lists."""
    found = _overdue(months, laps)
    vehicles = Vehicle.objects.in_bulk([pk for pk, *_ in found])
    listed = [
        Due(
            vehicles[pk],
            timezone.localdate(last) if last else None,
            since,
            by_time,
            since >= laps,
        )
        for pk, last, since, by_time in found
        if pk in vehicles
    ]
    return sorted(listed, key=lambda each: -each.laps)


def number_due(*, months: int = MONTHS, laps: int = LAPS) -> int:
    """How many vehicles there are to inspect again."""
    return len(_overdue(months, laps))


def _overdue(months: int, laps: int) -> list[tuple[int, datetime | None, int, bool]]:
    """By key, in the order of the stock: the last inspection, the laps since, and whether it is
    due by time. In two queries, without the vehicles themselves."""
    fleet = (
        Vehicle.objects.filter(held_because="")
        .exclude(service="awaiting inspection")
        .annotate(last=Max("inspections__finished_at"))
        .order_by("reporting_mark", "number_key", "pk")
        .values_list("pk", "last")
    )
    before = timezone.now() - timedelta(days=round(months * 365.25 / 12))
    turns = Turn.vehicles.through.objects.values_list(
        "vehicle_id", "turn__session__held_on", "turn__passages"
    )
    ran: dict[int, list[tuple[date, int]]] = {}
    for pk, on, passages in turns:
        ran.setdefault(pk, []).append((on, passages))
    found = []
    for pk, finished in fleet:
        since = 0
        if pk in ran:
            last = timezone.localdate(finished) if finished else date.min
            since = sum(n for on, n in ran[pk] if on > last)
        by_time = finished is None or finished < before
        if by_time or since >= laps:
            found.append((pk, finished, since, by_time))
    return found


# --- The next work evening --------------------------------------------------------------------


@dataclass(frozen=True)
class Task:
    """One thing to do on one vehicle. mend: with its amount, where it is one."""

    vehicle: Vehicle
    mend: Mend | None = None
    words: str = ""


def evening() -> list[tuple[str, list[Task]]]:
    """What needs mending, measuring or releasing, grouped by what is needed on the bench."""
    open_outcomes = (Outcome.OUTSIDE.value, Outcome.UNDECIDED.value)
    fleet = (
        Vehicle.objects.filter(
            Q(held_because__gt="")
            | Q(inspections__verdicts__is_current=True)
            & Q(inspections__verdicts__outcome__in=open_outcomes)
        )
        .distinct()
        .prefetch_related("wheelsets", "couplers")
        .order_by("-held_because", "reporting_mark", "number_key", "pk")[:MOST_VEHICLES]
    )
    groups: dict[str, list[Task]] = {}
    for vehicle in fleet:
        standing = Verdict.objects.standing_for(vehicle)
        for mend in mends(each.as_finding() for each in standing):
            group = f"To mend: {QUANTITIES[mend.quantity].name.lower()}"
            groups.setdefault(group, []).append(Task(vehicle, mend))
        undecided = [
            each.label
            for each in standing
            if each.outcome == Outcome.UNDECIDED.value and not each.is_advisory
        ]
        if undecided:
            task = Task(vehicle, words=", ".join(undecided))
            groups.setdefault("To measure again, with a finer instrument", []).append(task)
    for held in Hold.objects.filter(released_at__isnull=True, vehicle__isnull=False):
        if not waits_for(held):
            groups.setdefault("To release", []).append(Task(held.vehicle, words=held.reason))
    return sorted(groups.items(), key=lambda pair: (pair[0] != "To release", pair[0]))


# --- Drift ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Moving:
    """A dimension of a vehicle that moves towards a limit. quantity: in whose unit it is."""

    vehicle: Vehicle
    quantity: str
    at: str
    drift: Drift

    @property
    def label(self) -> str:
        return label(self.quantity, self.at)

    @property
    def is_past(self) -> bool:
        """Whether the line has reached the limit by today."""
        return self.drift.reaches is not None and self.drift.reaches <= timezone.localdate()


def moving(until: date | None = None) -> list[Moving]:
    """What may reach a limit by a day, a year ahead without one; the soonest first."""
    until = until or timezone.localdate() + AHEAD
    often = (
        Reading.objects.filter(
            is_current=True,
            gauge="",
            inspection__vehicle__visitor="",
            inspection__vehicle__retired_as="",
        )
        .order_by()
        .values("inspection__vehicle", "quantity", "at")
        .annotate(n=Count("pk"))
        .filter(n__gte=3)
    )
    keys = {(row["inspection__vehicle"], row["quantity"], row["at"]) for row in often}
    vehicles = Vehicle.objects.prefetch_related("wheelsets").in_bulk({pk for pk, *_ in keys})
    found = []
    for pk, vehicle in vehicles.items():
        standing = {each.key: each for each in Verdict.objects.standing_for(vehicle)}
        for quantity, at in sorted((code, at) for key, code, at in keys if key == pk):
            verdict = standing.get((quantity, at))
            if verdict is None or not verdict.has_limits:
                continue
            try:
                moved = drift(_points(vehicle, quantity, at), verdict.low, verdict.high)
            except DriftImpossible:
                continue  # one odd reading is no reason to keep the others back
            if moved is not None and moved.warns(until):
                found.append(Moving(vehicle, quantity, at, moved))
    return sorted(found, key=lambda each: (each.drift.earliest or date.max, each.vehicle.pk))


def _points(vehicle: Vehicle, quantity: str, at: str) -> list[Point]:
    """Readings in order of time: only those of the wheelset that is fitted now, and from the last
    inspection after a repair on, since what was mended begins anew."""
    since = {str(each.axle): each.fitted_at for each in vehicle.fitted_wheelsets}.get(at)
    rows = (
        Reading.objects.filter(
            is_current=True, gauge="", quantity=quantity, at=at, inspection__vehicle=vehicle
        )
        .select_related("inspection")
        .order_by("taken_at", "pk")
    )
    kept: list[Point] = []
    for row in rows:
        if not row.u or (since is not None and row.taken_at < since):
            continue
        if row.inspection.reason == Inspection.Reason.REPAIR:
            kept = []
        kept.append(
            Point(
                timezone.localdate(row.taken_at),
                row.value,
                row.u,
                math.inf if row.dof is None else row.dof,
                str(row.instrument_id),
            )
        )
    return kept
