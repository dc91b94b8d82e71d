"""Who stands where: the one writer of standings, and the stock as the fitting takes it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from django.db import transaction
from django.db.models import Max

from inventory.stock.models import Reading, Vehicle
from inventory.track.fitting import Candidate
from inventory.track.models import Home, HomeTrack, Standing, Track

_LENGTHS = ("length_over_couplers", "length_over_buffers")


def candidates(vehicles: Iterable[Vehicle]) -> list[Candidate]:
    """Vehicles as the fitting takes them, with their latest measured length and height."""
    listed = list(vehicles)
    latest: dict[int, dict[str, _Size]] = {}
    readings = (
        Reading.objects.filter(
            is_current=True,
            gauge="",
            quantity__in=(*_LENGTHS, "height"),
            inspection__vehicle__in=[vehicle.pk for vehicle in listed],
        )
        .order_by("inspection__started_at", "pk")
        .values_list("inspection__vehicle_id", "quantity", "value", "u", "dof")
    )
    for pk, quantity, *size in readings:
        latest.setdefault(pk, {})[quantity] = _Size(*size)
    return [_candidate(vehicle, latest.get(vehicle.pk, {})) for vehicle in listed]


class _Size(NamedTuple):
    """A measured size in mm, its standard uncertainty and degrees of freedom, None for endless."""

    value: Decimal
    u: float | None
    dof: float | None


def _candidate(vehicle: Vehicle, sizes: dict[str, _Size]) -> Candidate:
    # What stands end to end are couplers; buffered stock without them, its buffers.
    length = sizes.get("length_over_couplers") or sizes.get("length_over_buffers")
    height = sizes.get("height")
    return Candidate(
        key=vehicle.pk,
        name=vehicle.identity,
        length_mm=length and length.value,
        kind=vehicle.kind,
        service=vehicle.service,
        gauge_mm=vehicle.standard.gauge_mm,
        height_mm=height and height.value,
        minimum_radius_mm=None
        if vehicle.minimum_radius is None
        else float(vehicle.minimum_radius),
        u_mm=length and length.u,
        dof=math.inf if length is None or length.dof is None else length.dof,
        category=vehicle.category,
        held_because=vehicle.held_because,
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


@dataclass(frozen=True)
class Spot:
    """Where a vehicle stands, by names and keys."""

    track: str
    place: str
    railway: str
    railway_pk: int


def stands_on(vehicles: Iterable[int]) -> dict[int, Spot]:
    """By vehicle, where it stands."""
    rows = Standing.objects.filter(vehicle__in=list(vehicles)).values_list(
        "vehicle",
        "track__name",
        "track__place__name",
        "track__place__railway__name",
        "track__place__railway",
    )
    return {pk: Spot(*spot) for pk, *spot in rows}


@transaction.atomic
def put(*, vehicles: Sequence[Vehicle], track: Track, at_far_end: bool = False) -> None:
    """Put vehicles onto a track, in the order given, counted from its far end: after those that
    stand there, or before them at the far end.

    A vehicle stands in one place: wherever it stood before, it stands there no longer.
    """
    Track.objects.select_for_update().get(pk=track.pk)
    Standing.objects.filter(vehicle__in=vehicles).delete()
    last = track.standing.aggregate(last=Max("position"))["last"] or 0
    if at_far_end:
        _number(list(track.standing.order_by("position", "pk")), first=len(vehicles) + 1)
        last = 0
    Standing.objects.bulk_create(
        Standing(track=track, vehicle=vehicle, position=last + index)
        for index, vehicle in enumerate(vehicles, start=1)
    )


@transaction.atomic
def take_off(*, vehicles: Sequence[Vehicle]) -> None:
    """Take vehicles off the railway, into the hand or the box."""
    Standing.objects.filter(vehicle__in=vehicles).delete()


@transaction.atomic
def shift(*, vehicle: Vehicle, track: Track, farther: bool) -> bool:
    """Exchange a vehicle with its neighbour, farther from or nearer to where one comes in; False
    where it does not stand on the track or has no neighbour there."""
    Track.objects.select_for_update().get(pk=track.pk)
    order = list(track.standing.order_by("position", "pk"))
    at = next((i for i, each in enumerate(order) if each.vehicle_id == vehicle.pk), None)
    other = None if at is None else at - 1 if farther else at + 1
    if at is None or other is None or not 0 <= other < len(order):
        return False
    order[at], order[other] = order[other], order[at]
    _number(order)
    return True


@transaction.atomic
def turn_round(*, track: Track) -> None:
    """Reverse the order of all that stand on a track."""
    Track.objects.select_for_update().get(pk=track.pk)
    _number(list(track.standing.order_by("-position", "-pk")))


def _number(order: Sequence[Standing], first: int = 1) -> None:
    for position, standing in enumerate(order, start=first):
        standing.position = position
    Standing.objects.bulk_update(order, ["position"], batch_size=400)
