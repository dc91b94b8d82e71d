"""The order of work at the bench: axle by axle, end by end, then the whole vehicle."""

from __future__ import annotations

from inventory.stock.models import Coupler, Vehicle
from inventory.stock.places import Step, by_gauge
from standards.quantities import QUANTITIES
from standards.sheets import limits_for

_AXLE = (
    "back_to_back",
    "flange_thickness",
    "flange_depth",
    "tyre_width",
    "wheel_diameter",
    "axle_length",
)
_WHOLE = (
    "length_over_couplers",
    "body_length",
    "mass",
    "start_rolling_grade",
    "body_width",
    "height",
)


#: The AAR's custom for cars; common practice, no source.
_END_TITLES = {"A": "End A", "B": "End B, the hand-brake end"}


def steps_for(
    vehicle: Vehicle, coupler_kinds: dict[str, str], *, uses_gauge: bool
) -> tuple[Step, ...]:
    """The steps of an inspection of this vehicle.

    coupler_kinds: the kind of coupler declared at each end. By go/no-go gauge only what such a
    gauge can answer is asked; nothing that a step leaves out counts as passed.
    """
    steps = [
        Step(f"axle-{axle}", f"Axle {axle} of {vehicle.axles}", str(axle), _AXLE)
        for axle in range(1, vehicle.axles + 1)
    ]
    steps += [
        Step(f"end-{end}", _END_TITLES[end], end, _at_end(vehicle, coupler_kinds.get(end, "")))
        for end in ("A", "B")
    ]
    steps.append(Step("whole", "The whole vehicle", "", _of_whole(vehicle)))
    return by_gauge(steps) if uses_gauge else tuple(steps)


def _at_end(vehicle: Vehicle, kind: str) -> tuple[str, ...]:
    asked = []
    if kind not in (Coupler.Kind.NONE, Coupler.Kind.HOOK):
        asked.append("coupler_height")
    if kind == Coupler.Kind.KNUCKLE:
        asked.append("trip_pin_clearance")
    if vehicle.has_buffers:
        asked += ["buffer_height", "buffer_spacing"]
    return tuple(asked or ["coupler_height"])


def _of_whole(vehicle: Vehicle) -> tuple[str, ...]:
    asked = list(_WHOLE)
    if vehicle.has_buffers:
        asked.insert(1, "length_over_buffers")
    if vehicle.axles >= 4:
        asked += ["pivot_distance", "bogie_wheelbase"]
    if vehicle.is_locomotive or vehicle.axles < 4:
        asked.append("rigid_wheelbase")
    if vehicle.is_locomotive:
        asked.remove("start_rolling_grade")
    return tuple(asked)


def wanted(vehicle: Vehicle, step: Step) -> list[tuple[str, str]]:
    """What of a step an inspection should not leave out, as (at, quantity): what the sheets
    limit, or the step's first quantity where they are silent."""
    limited = [(step.at, quantity) for quantity in step.quantities if speaks(vehicle, quantity)]
    return limited or [(step.at, step.quantities[0])]


def speaks(vehicle: Vehicle, quantity: str) -> bool:
    """Whether a sheet of the vehicle's family limits this quantity, so that it comes with a
    verdict; the others are recorded as dimensions."""
    limits = limits_for(vehicle.standard)
    if quantity in ("mass", "back_to_back"):
        return True
    if quantity == "flange_thickness":
        return "wheel_check" in limits
    return quantity in limits and quantity in QUANTITIES
