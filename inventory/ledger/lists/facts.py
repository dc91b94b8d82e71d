"""What is declared of a vehicle, as the cells of a list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from inventory.ledger.lists.cells import join
from inventory.stock.models import Vehicle
from inventory.stock.recording import Wheels, as_noted

#: Columns that are plain fields of a vehicle, by the same name.
FIELDS = (
    "reporting_mark",
    "number",
    "name",
    "category",
    "kind",
    "scale",
    "family",
    "axles",
    "has_buffers",
    "maker",
    "catalogue_number",
    "aar_designation",
    "uic_letter",
    "era",
    "minimum_radius",
    "acquired_on",
    "price",
    "value",
    "currency",
    "storage_box",
    "notes",
)


def of_fields(vehicle: Vehicle) -> dict[str, str]:
    """The plain fields of a vehicle, by code.

    Numbers have a decimal point, days are as 2024-03-05, amounts have two decimals.
    """
    cells = {name: as_noted(getattr(vehicle, name)) for name in FIELDS}
    for name in ("price", "value"):
        amount = getattr(vehicle, name)
        cells[name] = "" if amount is None else f"{amount:.2f}"
    return cells


def of_gear(wheels: Sequence[Wheels], couplers: Mapping[str, tuple[str, str]]) -> dict[str, str]:
    """Wheels by axle, and couplers' kind and mounting by end, by code."""
    cells = {
        "profile_code": join(as_noted(each.profile_code) for each in wheels),
        "material": join(each.material for each in wheels),
        "tread_diameter": join(each.tread_diameter for each in wheels),
    }
    for end, (kind, mounting) in couplers.items():
        cells[f"coupler_{end.lower()}"] = kind
        cells[f"mounting_{end.lower()}"] = mounting
    return cells


def wheels_of(vehicle: Vehicle) -> list[Wheels]:
    """What is declared of the wheelsets under a vehicle now, by axle."""
    return [
        Wheels(each.profile_code, each.material, each.tread_diameter)
        for each in vehicle.fitted_wheelsets
    ]


def couplers_of(vehicle: Vehicle) -> dict[str, tuple[str, str]]:
    """Kind and mounting of a vehicle's couplers, by end."""
    return {each.end: (each.kind, each.mounting) for each in vehicle.couplers.all()}


def as_cells(vehicle: Vehicle) -> dict[str, str]:
    """Every exported column of a vehicle whose wheelsets and couplers are at hand, by code."""
    return {
        "uid": str(vehicle.uid),
        **of_fields(vehicle),
        **of_gear(wheels_of(vehicle), couplers_of(vehicle)),
    }
