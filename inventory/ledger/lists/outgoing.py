"""Vehicles as a list: their declared facts, which come back in, and what is only for reading."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import islice

from django.db.models import QuerySet

from inventory.ledger.lists.cells import join
from inventory.ledger.lists.columns import EXPORTED, FOR_READING, Kind
from inventory.ledger.lists.facts import as_cells
from inventory.ledger.lists.writing import Cell, Heading
from inventory.stock.models import Vehicle, Verdict
from standards.quantities import QUANTITIES, Place, Quantity
from standards.units import plain

BATCH = 400
_NUMBERS = (Kind.WHOLE, Kind.AMOUNT, Kind.LENGTH, Kind.PER_AXLE)
_WIDTHS = {"uid": 38, "notes": 40, "kind": 18, "reporting_mark": 12, "maker": 18, "name": 18}
_TEXTS = ("material", "tread_diameter")
_STEP = Decimal("0.0001")
#: What can be measured of a vehicle.
MEASURED = tuple(each for each in QUANTITIES.values() if each.place is not Place.TRACK)
_RETIRED = f"Left the stock {FOR_READING}"


def _cell(code: str, kind: Kind) -> Cell:
    if kind is Kind.DAY:
        return Cell.DAY
    return Cell.NUMBER if kind in _NUMBERS and code not in _TEXTS else Cell.TEXT


def headings(*, is_measured: bool = False) -> list[Heading]:
    """The columns of an exported list, those that come back in first."""
    ours = [
        Heading(each.heading, _cell(each.code, each.kind), _WIDTHS.get(each.code, 14))
        for each in EXPORTED
    ]
    reading = [
        Heading(f"Service {FOR_READING}", width=20, is_ours=False),
        Heading(f"Last inspected {FOR_READING}", Cell.DAY, 16, is_ours=False),
        Heading(_RETIRED, width=20, is_ours=False),
        Heading(f"Left on {FOR_READING}", Cell.DAY, 16, is_ours=False),
    ]
    if is_measured:
        reading += [
            Heading(f"{each.name} ({each.unit}) {FOR_READING}", Cell.NUMBER, 20, is_ours=False)
            for each in MEASURED
        ]
    return ours + reading


def rows(vehicles: QuerySet[Vehicle], *, is_measured: bool = False) -> Iterator[list[str]]:
    """A row of cells a vehicle, beneath `headings`. vehicles: from `for_list`, in their order.

    Measured are the latest words on each quantity; of axles and ends, one each with bars between.
    """
    fetched = vehicles.prefetch_related("wheelsets", "couplers").iterator(chunk_size=BATCH)
    while batch := list(islice(fetched, BATCH)):
        standing = Verdict.objects.standing_for_each(batch) if is_measured else {}
        for vehicle in batch:
            facts = as_cells(vehicle)
            row = [facts.get(column.code, "") for column in EXPORTED]
            inspected = vehicle.last_inspected_at
            row += [
                vehicle.service,
                f"{inspected:%Y-%m-%d}" if inspected else "",
                vehicle.get_retired_as_display(),
                f"{vehicle.retired_on:%Y-%m-%d}" if vehicle.retired_on else "",
            ]
            if is_measured:
                said = standing[vehicle.pk]
                row += [_measured(vehicle, said, each) for each in MEASURED]
            yield row


def _measured(vehicle: Vehicle, said: Sequence[Verdict], quantity: Quantity) -> str:
    found = {
        verdict.at: plain(verdict.value.quantize(_STEP))
        if verdict.value is not None
        else verdict.gauge
        for verdict in said
        if verdict.quantity == quantity.code
    }
    if not any(found.values()):
        return ""
    places = {
        Place.AXLE: [str(axle) for axle in range(1, vehicle.axles + 1)],
        Place.END: ["A", "B"],
    }.get(quantity.place)
    if places is None:
        return next(iter(found.values()))
    return join(found.get(at, "") for at in places)
