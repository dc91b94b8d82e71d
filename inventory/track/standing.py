"""Who stands where: the one writer of standings, and the stock as the fitting takes it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.db.models import Max

from inventory.stock.models import Reading, Vehicle
from inventory.track.fitting import Candidate
from inventory.track.models import Home, HomeTrack, Standing, Track

_LENGTHS = ("length_over_couplers", "length_over_buffers")


def candidates(vehicles: Iterable[Vehicle]) -> list[Candidate]:
    """Vehicles as the fitting takes them, with their latest measured length and height."""
    listed = list(vehicles)
    latest: dict[int, dict[str, Decimal]] = {}
    readings = (
        Reading.objects.filter(
            is_current=True,
            gauge="",
            quantity__in=(*_LENGTHS, "height"),
            inspection__vehicle__in=[vehicle.pk for vehicle in listed],
        )
        .order_by("inspection__started_at", "pk")
        .values_list("inspection__vehicle_id", "quantity", "value")
    )
    for pk, quantity, value in readings:
        latest.setdefault(pk, {})[quantity] = value
    return [_candidate(vehicle, latest.get(vehicle.pk, {})) for vehicle in listed]


def _candidate(vehicle: Vehicle, sizes: dict[str, Decimal]) -> Candidate:
    # What stands end to end are couplers; buffered stock without them, its buffers.
    length = sizes.get("length_over_couplers") or sizes.get("length_over_buffers")
    return Candidate(
        key=vehicle.pk,
        name=vehicle.identity,
        length_mm=length,
        kind=vehicle.kind,
        service=vehicle.service,
        gauge_mm=vehicle.standard.gauge_mm,
        height_mm=sizes.get("height"),
        minimum_radius_mm=None
        if vehicle.minimum_radius is None
        else float(vehicle.minimum_radius),
    )


@dataclass(frozen=True)
class Weights:
    """Latest masses in grams and start-rolling grades in percent, by vehicle."""

    mass: Mapping[int, Decimal]
    rolling: Mapping[int, Decimal]

    @classmethod
    def of(cls, vehicles: Iterable[Vehicle]) -> Weights:
        """In one query."""
        found: dict[str, dict[int, Decimal]] = {"mass": {}, "start_rolling_grade": {}}
        readings = (
            Reading.objects.filter(
                is_current=True, quantity__in=list(found), inspection__vehicle__in=list(vehicles)
            )
            .order_by("inspection__started_at", "pk")
            .values_list("quantity", "inspection__vehicle_id", "value")
        )
        for quantity, pk, value in readings:
            if value is not None:
                found[quantity][pk] = value
        return cls(found["mass"], found["start_rolling_grade"])

    def mass_of(self, key: int) -> Decimal | None:
        """The mass of one vehicle, None while it was not weighed."""
        return self.mass.get(key)

    def mean_mass(self, keys: Iterable[int]) -> Decimal | None:
        """The mean mass of those that were weighed."""
        return _mean([self.mass[key] for key in keys if key in self.mass])

    def mean_rolling(self, keys: Iterable[int]) -> Decimal | None:
        """The mean start-rolling grade of those that were tried."""
        return _mean([self.rolling[key] for key in keys if key in self.rolling])


def _mean(values: Sequence[Decimal]) -> Decimal | None:
    return sum(values, Decimal(0)) / len(values) if values else None


def home_tracks(vehicles: Iterable[int]) -> dict[int, set[int]]:
    """By vehicle, the tracks on which it is at home: its own, and those of its industries."""
    keys = list(vehicles)
    found: dict[int, set[int]] = {}
    for pk, track in HomeTrack.objects.filter(vehicle__in=keys).values_list("vehicle", "track"):
        found.setdefault(pk, set()).add(track)
    rows = Home.objects.filter(vehicle__in=keys, industry__tracks__isnull=False)
    for pk, track in rows.values_list("vehicle", "industry__tracks"):
        found.setdefault(pk, set()).add(track)
    return found


def stands_on(vehicles: Iterable[int]) -> dict[int, str]:
    """By vehicle, the name of the track on which it stands."""
    rows = Standing.objects.filter(vehicle__in=list(vehicles))
    return dict(rows.values_list("vehicle", "track__name"))


@transaction.atomic
def put(*, vehicles: Sequence[Vehicle], track: Track) -> None:
    """Put vehicles onto a track, after those that stand there, in the order given.

    A vehicle stands in one place: wherever it stood before, it stands there no longer.
    """
    Track.objects.select_for_update().get(pk=track.pk)
    Standing.objects.filter(vehicle__in=vehicles).delete()
    last = track.standing.aggregate(last=Max("position"))["last"] or 0
    Standing.objects.bulk_create(
        Standing(track=track, vehicle=vehicle, position=last + index)
        for index, vehicle in enumerate(vehicles, start=1)
    )


@transaction.atomic
def take_off(*, vehicles: Sequence[Vehicle]) -> None:
    """Take vehicles off the railway, into the hand or the box."""
    Standing.objects.filter(vehicle__in=vehicles).delete()
