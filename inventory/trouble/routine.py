"""What is due, what the next work evening needs on the bench, and what moves towards a limit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import islice
from typing import NamedTuple

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Sum
from django.utils import timezone

from inventory.stock.models import OPEN_OUTCOMES, Inspection, Reading, Vehicle, Verdict
from inventory.trouble.models import Hold, Turn
from inventory.trouble.recording import waits_of
from standards.conformity import Outcome
from standards.drift import Drift, DriftImpossible, Point, drift
from standards.judging import Service, label
from standards.quantities import QUANTITIES
from standards.remedies import Mend, mends

#: How long, and how many laps, between two inspections. Common practice, no source.
MONTHS = 12
LAPS = 500

#: So far ahead a drift is told of.
AHEAD = timedelta(days=365)

#: So many vehicles are as much as anybody mends in an evening.
MOST_VEHICLES = 60

#: Fewer open verdicts than this are looked up one by one.
FEW = 500


@dataclass(frozen=True)
class Due:
    """A vehicle whose inspection is due. last: the day of the last one, None if never."""

    vehicle: Vehicle
    last: date | None
    laps: int
    is_by_time: bool
    is_by_running: bool


class Dues(Sequence[Due]):
    """The vehicles that are due, those that ran the most first; a page of them at a time.

    Few ran since their last inspection, so that they are listed; the others are only counted, and
    read from the record where they are looked at.
    """

    def __init__(self, months: int, laps: int) -> None:
        self._before = timezone.now() - timedelta(days=round(months * 365.25 / 12))
        self._laps = laps
        fleet = Vehicle.objects.filter(held_because="").exclude(service=Service.AWAITING.value)
        late = Q(last_inspected_at__isnull=True) | Q(last_inspected_at__lt=self._before)
        through = Turn.vehicles.through.objects
        # A day lies after a moment if its beginning does; the record keeps both in UTC.
        since = Q(turn__session__held_on__gt=F("vehicle__last_inspected_at"))
        never = Q(vehicle__last_inspected_at__isnull=True)
        laps_of = dict(
            through.filter(since | never)
            .order_by()
            .values_list("vehicle")
            .annotate(n=Sum("turn__passages"))
        )
        ran = list(
            fleet.filter(pk__in=through.order_by().values("vehicle"))
            .order_by("reporting_mark", "number_key", "pk")
            .values_list("pk", "last_inspected_at")
        )
        known = [(pk, last, laps_of[pk]) for pk, last in ran if pk in laps_of]
        known.sort(key=lambda each: -each[2])
        self._ran = [(pk, n) for pk, last, n in known if self._is_late(last) or n >= laps]
        n_late = sum(self._is_late(last) for _, last, _ in known)
        self._n_still = fleet.filter(late).count() - n_late
        after = Q(turn__session__held_on__gt=OuterRef("last_inspected_at"))
        self._still = (
            fleet.filter(late)
            .filter(~Exists(through.filter(after | never, vehicle=OuterRef("pk"))))
            .order_by("reporting_mark", "number_key", "pk")
        )

    def _is_late(self, last: datetime | None) -> bool:
        return last is None or last < self._before

    def __len__(self) -> int:
        return len(self._ran) + self._n_still

    def __getitem__(self, at):
        if not isinstance(at, slice):
            return self[at : at + 1][0]
        first, after, _ = at.indices(len(self))
        ran = self._ran[first:after]
        vehicles = Vehicle.objects.in_bulk([pk for pk, _ in ran])
        found = [self._due(vehicles[pk], n) for pk, n in ran]
        n_ran = len(self._ran)
        if after > n_ran:
            still = self._still[max(0, first - n_ran) : after - n_ran]
            found += [self._due(vehicle, 0) for vehicle in still]
        return found

    def _due(self, vehicle: Vehicle, ran: int) -> Due:
        last = vehicle.last_inspected_at
        day = timezone.localdate(last) if last else None
        return Due(vehicle, day, ran, self._is_late(last), ran >= self._laps)


def due(*, months: int, laps: int) -> Dues:
    """Vehicles to inspect again, those that ran the most since first; what is held or awaits its
    first inspection is on other lists."""
    return Dues(months, laps)


def number_due(*, months: int = MONTHS, laps: int = LAPS) -> int:
    """How many vehicles there are to inspect again."""
    return len(due(months=months, laps=laps))


# --- The next work evening --------------------------------------------------------------------


@dataclass(frozen=True)
class Task:
    """One thing to do on one vehicle. mend: with its amount, where it is one."""

    vehicle: Vehicle
    mend: Mend | None = None
    words: str = ""


def evening() -> list[tuple[str, list[Task]]]:
    """What needs mending, measuring or releasing, grouped by what is needed on the bench: of as
    many vehicles as an evening takes, and of as many of the oldest that are held."""
    fleet = _for_an_evening()
    standing = Verdict.objects.standing_for_each(fleet)
    groups: dict[str, list[Task]] = {}
    for vehicle in fleet:
        for mend in mends(each.as_finding() for each in standing[vehicle.pk]):
            group = f"To mend: {QUANTITIES[mend.quantity].name.lower()}"
            groups.setdefault(group, []).append(Task(vehicle, mend))
        undecided = [
            each.label
            for each in standing[vehicle.pk]
            if each.outcome == Outcome.UNDECIDED.value and not each.is_advisory
        ]
        if undecided:
            task = Task(vehicle, words=", ".join(undecided))
            groups.setdefault("To measure again, with a finer instrument", []).append(task)
    holds = Hold.objects.filter(released_at__isnull=True, vehicle__isnull=False)
    oldest = list(holds.select_related("vehicle")[:MOST_VEHICLES])
    waits = waits_of(oldest)
    for held in oldest:
        if not waits[held.pk]:
            groups.setdefault("To release", []).append(Task(held.vehicle, words=held.reason))
    return sorted(groups.items(), key=lambda pair: (pair[0] != "To release", pair[0]))


def _for_an_evening() -> list[Vehicle]:
    """The held vehicles, then those of which anything is outside or undecided."""
    order = ("reporting_mark", "number_key", "pk")
    held = Vehicle.objects.filter(held_because__gt="").order_by("-held_because", *order)
    found = list(held[:MOST_VEHICLES])
    if len(found) < MOST_VEHICLES:
        open_ones = Verdict.objects.filter(is_current=True, outcome__in=OPEN_OUTCOMES)
        others = Vehicle.objects.filter(held_because="").order_by(*order)
        few = list(open_ones.order_by().values_list("inspection__vehicle", flat=True)[:FEW])
        if len(few) < FEW:
            others = others.filter(pk__in=set(few))
        else:  # so many that the first of them are soon met with in the order of the list
            others = others.filter(Exists(open_ones.filter(inspection__vehicle=OuterRef("pk"))))
        found += others[: MOST_VEHICLES - len(found)]
    return found


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


#: The readings of so many vehicles are looked through for every look at the page.
LOOKED_THROUGH = 200


def often_inspected() -> QuerySet[Vehicle]:
    """The vehicles of which a movement can be told."""
    # One inspection has one reading of a thing that counts, so that three take three inspections.
    often = Inspection.objects.order_by().values("vehicle").annotate(n=Count("pk"))
    return Vehicle.objects.filter(pk__in=often.filter(n__gte=3).values("vehicle"))


def moving(until: date | None = None) -> list[Moving]:
    """What may reach a limit by a day, a year ahead without one; the soonest first.

    First by the readings alone: most stand still, and of them no verdict is asked for.
    """
    until = until or timezone.localdate() + AHEAD
    repeated = often_inspected()
    vehicles = {vehicle.pk: vehicle for vehicle in repeated.prefetch_related("wheelsets")}
    lines: dict[int, dict[tuple[str, str], list[Point]]] = {}
    for (pk, *key), rows in _readings_of(repeated).items():
        if len(rows) >= 3:
            points = _points(vehicles[pk], key[1], rows)
            found = _drift(points)
            if found is not None and found.is_moving:
                lines.setdefault(pk, {})[key[0], key[1]] = points
    moved = []
    for some in batched(lines, LOOKED_THROUGH):
        standing = Verdict.objects.standing_for_each(vehicles[pk] for pk in some)
        for pk in some:
            for verdict in standing[pk]:
                points = lines[pk].get(verdict.key)
                if points is None or not verdict.has_limits:
                    continue
                found = _drift(points, verdict.low, verdict.high)
                if found is not None and found.warns(until):
                    moved.append(Moving(vehicles[pk], *verdict.key, found))
    return sorted(
        moved,
        key=lambda each: (
            each.drift.earliest or date.max,
            each.vehicle.pk,
            each.quantity,
            each.at,
        ),
    )


def batched(keys: Iterable[int], size: int) -> Iterator[list[int]]:
    """The keys, so many at a time."""
    left = iter(keys)
    while some := list(islice(left, size)):
        yield some


def _drift(
    points: Sequence[Point], low: Decimal | None = None, high: Decimal | None = None
) -> Drift | None:
    try:
        return drift(points, low, high)
    except DriftImpossible:
        return None  # one odd reading is no reason to keep the others back


class _Row(NamedTuple):
    """What of a reading a movement is told by."""

    taken_at: datetime
    value: Decimal
    u: float | None
    dof: float | None
    instrument: int
    reason: str


def _readings_of(vehicles: QuerySet[Vehicle]) -> dict[tuple[int, str, str], list[_Row]]:
    """The numbers that count, by vehicle, quantity and place, in order of time."""
    rows = (
        Reading.objects.filter(is_current=True, gauge="", inspection__vehicle__in=vehicles)
        .order_by("taken_at", "pk")
        .values_list(
            "inspection__vehicle",
            "quantity",
            "at",
            "taken_at",
            "value",
            "u",
            "dof",
            "instrument",
            "inspection__reason",
        )
    )
    found: dict[tuple[int, str, str], list[_Row]] = {}
    for pk, quantity, at, *told in rows:
        found.setdefault((pk, quantity, at), []).append(_Row(*told))
    return found


def _points(vehicle: Vehicle, at: str, rows: Iterable[_Row]) -> list[Point]:
    """Readings in order of time: only those of the wheelset that is fitted now, and from the last
    inspection after a repair on, since what was mended begins anew."""
    since = {str(each.axle): each.fitted_at for each in vehicle.fitted_wheelsets}.get(at)
    kept: list[Point] = []
    for row in rows:
        if not row.u or (since is not None and row.taken_at < since):
            continue
        if row.reason == Inspection.Reason.REPAIR:
            kept = []
        kept.append(
            Point(
                timezone.localdate(row.taken_at),
                row.value,
                row.u,
                math.inf if row.dof is None else row.dof,
                str(row.instrument),
            )
        )
    return kept
