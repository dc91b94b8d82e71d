"""Who stands where: the one writer of standings, and the stock as the fitting takes it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.db import transaction
from django.db.models import Max

from inventory.stock.models import Reading, Vehicle
from inventory.track.fitting import Candidate
from inventory.track.models import Standing, Track

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
    )


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
