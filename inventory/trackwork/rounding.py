"""Vehicles on curves: throws, neighbours, smallest radii and what two coupled together do."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from inventory.stock.models import Reading, Vehicle, Verdict
from inventory.trackwork.meeting import axles_of
from standards.couplings import Buffers, CarEnd, Coupled, Passage, on_curve, through_reverse_curve
from standards.curves import (
    Body,
    ImpossibleGeometry,
    PassingGaps,
    inner_side,
    inner_throw,
    outer_corner,
    outer_throw,
    passing_gaps,
)
from standards.quantities import name_of
from standards.radii import Measures, RadiusRule, smallest_radius

_SIZES = (
    "body_length",
    "body_width",
    "pivot_distance",
    "bogie_wheelbase",
    "rigid_wheelbase",
    "length_over_couplers",
    "length_over_buffers",
    "wheel_diameter",
    "flange_depth",
    "buffer_spacing",
    "coupler_height",
)


@dataclass(frozen=True)
class Asked:
    """What is asked about a vehicle on a curve, and told of what the bench does not measure; mm.

    coupler: from where it swings to its face; straight: between the curve and its opposite;
    centres: to the next track; head_width, head_radius: of a buffer head, the radius to which it
    is domed, None for a flat one; swing_deg: how far a coupler can swing to one side.
    """

    radius: float | None = None
    coupler: float | None = None
    straight: float = 0.0
    centres: float | None = None
    head_width: float | None = None
    head_radius: float | None = None
    swing_deg: float | None = None


@dataclass(frozen=True)
class Sized:
    """A vehicle with the latest measured sizes of it, in mm, by quantity."""

    vehicle: Vehicle
    sizes: Mapping[str, float]

    @property
    def wheelbase(self) -> float | None:
        """Between its bogies' pivots, or of its frame."""
        return self.sizes.get("pivot_distance") or self.sizes.get("rigid_wheelbase")

    @property
    def lacks(self) -> list[str]:
        """What has to be measured before it can be set on a curve, in words."""
        lacking = [code for code in ("body_length", "body_width") if code not in self.sizes]
        if self.wheelbase is None:
            lacking.append("pivot_distance" if self.is_on_bogies else "rigid_wheelbase")
        if self.is_on_bogies and "bogie_wheelbase" not in self.sizes:
            lacking.append("bogie_wheelbase")
        return [name_of(code).lower() for code in lacking]

    @property
    def is_on_bogies(self) -> bool:
        """Measured as one, or with so many axles that a car is one. Common practice, no source."""
        if "pivot_distance" in self.sizes:
            return True
        return "rigid_wheelbase" not in self.sizes and self.vehicle.axles >= 4

    def body(self) -> Body:
        """Its body on its wheels. Raises ImpossibleGeometry for what is missing, or cannot be."""
        if self.lacks:
            raise ImpossibleGeometry(
                f"{self.vehicle}: not measured, and not guessed: {', '.join(self.lacks)}."
            )
        return Body(
            self.sizes["body_length"],
            self.wheelbase or 0.0,
            self.sizes.get("bogie_wheelbase", 0.0) if self.is_on_bogies else 0.0,
            self.sizes["body_width"],
        )

    def end(self, asked: Asked) -> CarEnd:
        """Its end with a coupler as long as was told, from where it swings to its face."""
        if asked.coupler is None:
            raise ImpossibleGeometry(
                "How long a coupler is was not told, and is not guessed: measure from where it "
                "swings to its face."
            )
        over = self.sizes.get("length_over_couplers")
        if over is None:
            raise ImpossibleGeometry(
                f"{self.vehicle}: its length over couplers was not measured, and is not guessed."
            )
        return CarEnd(self.body(), over / 2 - asked.coupler, asked.coupler, self._buffers(asked))

    def _buffers(self, asked: Asked) -> Buffers | None:
        """Its buffers, if it has any and they were measured and told."""
        spacing, over = self.sizes.get("buffer_spacing"), self.sizes.get("length_over_buffers")
        if not self.vehicle.has_buffers or not spacing or not over or not asked.head_width:
            return None
        return Buffers(spacing, over / 2, asked.head_width, asked.head_radius or math.inf)


def sized(vehicles: Iterable[Vehicle]) -> dict[int, Sized]:
    """Vehicles with their latest sizes, in one query; of axles and ends the largest."""
    listed = {vehicle.pk: vehicle for vehicle in vehicles}
    latest: dict[tuple[int, str, str], float] = {}
    rows = (
        Reading.objects.filter(
            is_current=True, gauge="", quantity__in=_SIZES, inspection__vehicle__in=listed
        )
        .order_by("inspection__started_at", "inspection_id", "pk")
        .values_list("inspection__vehicle_id", "quantity", "at", "value")
    )
    for pk, quantity, at, value in rows:
        latest[pk, quantity, at] = float(value)
    sizes: dict[int, dict[str, float]] = {pk: {} for pk in listed}
    for (pk, quantity, _), value in latest.items():
        sizes[pk][quantity] = max(value, sizes[pk].get(quantity, 0.0))
    return {pk: Sized(vehicle, sizes[pk]) for pk, vehicle in listed.items()}


# --- One vehicle on one curve -----------------------------------------------------------------


@dataclass(frozen=True)
class Throws:
    """How a vehicle lies on a curve, in mm from the track's centre line."""

    middle: float
    end: float
    inner_side: float
    outer_corner: float


def throws_of(one: Sized, radius: float) -> Throws:
    """Raises ImpossibleGeometry for what was not measured, or cannot go round."""
    body = one.body()
    return Throws(
        inner_throw(radius, body),
        outer_throw(radius, body),
        inner_side(radius, body),
        outer_corner(radius, body),
    )


def radius_rules(one: Sized, asked: Asked) -> tuple[RadiusRule, ...]:
    """The smallest radius by every rule that speaks of the vehicle."""
    sizes, vehicle = one.sizes, one.vehicle
    over = sizes.get("length_over_couplers")
    on_bogies = one.is_on_bogies
    coupler = asked.coupler
    in_frame = vehicle.axles // 2 if on_bogies and vehicle.axles in (4, 6) else None
    if not on_bogies:
        in_frame = vehicle.axles
    return smallest_radius(
        Measures(
            on_bogies=on_bogies,
            axles_in_frame=in_frame,
            is_hauled=not vehicle.is_locomotive,
            has_buffers=vehicle.has_buffers,
            play=_play(vehicle),
            coupler_length=coupler,
            coupler_pivot=over / 2 - coupler if over and coupler and over > 2 * coupler else None,
            coupler_swing_deg=asked.swing_deg,
            buffer_head_width=asked.head_width,
            # A head of which no dome was told is taken as flat once its width is known.
            buffer_head_radius=(asked.head_radius or math.inf) if asked.head_width else None,
            **{code: sizes.get(code) for code in _SIZES if code in Measures.__annotations__},
        ),
        vehicle.standard,
    )


def _play(vehicle: Vehicle) -> float | None:
    """Play of its widest wheelset on track of the nominal gauge; None while none was measured."""
    over = [
        float(axle.wheels.back_to_back.value + 2 * axle.wheels.flange_thickness.value)
        for axle in axles_of([vehicle])[vehicle.pk]
        if axle.wheels.back_to_back and axle.wheels.flange_thickness
    ]
    return float(vehicle.standard.gauge_mm) - max(over) if over else None


# --- Two together -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Together:
    """Two coupled neighbours on a curve, and through the curve into its opposite."""

    on_curve: Coupled
    reverse: Passage
    straight_mm: float

    @property
    def apart_mm(self) -> float:
        """How far the couplers would miss each other on the curve."""
        return abs(self.on_curve.offset)

    @property
    def swing_deg(self) -> float:
        """The greater of the two couplers' swings on the curve, in degrees."""
        return math.degrees(max(abs(self.on_curve.swing_first), abs(self.on_curve.swing_second)))

    @property
    def reverse_swing_deg(self) -> float:
        """The same through the reverse curve."""
        passage = self.reverse
        return math.degrees(max(passage.swing_first.amount, passage.swing_second.amount))


def together(one: Sized, other: Sized, asked: Asked) -> Together:
    """Raises ImpossibleGeometry for what was not measured or told, or cannot go round."""
    ends = one.end(asked), other.end(asked)
    radius = asked.radius or math.inf
    return Together(
        on_curve(radius, *ends),
        through_reverse_curve(radius, radius, asked.straight, *ends),
        asked.straight,
    )


@dataclass
class OnCurve:
    """Everything that was asked about a vehicle on a curve, as far as it can be told."""

    throws: Throws | None = None
    pair: Together | None = None
    gaps: PassingGaps | None = None
    drawing: dict[str, object] | None = None
    problems: list[str] = field(default_factory=list)


def answer(one: Sized, other: Sized | None, asked: Asked, unit: str) -> OnCurve:
    """A vehicle on a curve, alone, coupled to another, and passing it on the next track."""
    found = OnCurve()
    if asked.radius is None:
        return found
    try:
        found.throws = throws_of(one, asked.radius)
        found.drawing = {
            "radius": asked.radius,
            "gauge": float(one.vehicle.standard.gauge_mm),
            "vehicle": one.body(),
            "unit": unit,
        }
        if other is not None and asked.centres is not None:
            found.gaps = passing_gaps(asked.centres, one.body(), other.body(), asked.radius)
            found.drawing |= {"second": other.body(), "centres": asked.centres}
        if other is not None:
            found.drawing["neighbour"] = other.body()
            found.pair = together(one, other, asked)
    except ImpossibleGeometry as impossible:
        found.problems.append(str(impossible))
    return found


@dataclass(frozen=True)
class HeightPair:
    """Coupler heights of two neighbours: the greatest difference between any of their ends.

    allowed: what the sheet or house limit leaves between its least and greatest height; None
    where no limit with two sides speaks of either.
    """

    first: Vehicle
    second: Vehicle
    difference: Decimal
    allowed: Decimal | None
    basis: str

    @property
    def outcome(self) -> str:
        if self.allowed is None:
            return "not judged"
        return "outside" if self.difference > self.allowed else "within"


def coupler_heights(vehicles: Iterable[Vehicle]) -> dict[int, list[Verdict]]:
    """The latest verdict on the coupler height of each end, in one query."""
    rows = (
        Verdict.objects.current()
        .filter(
            quantity="coupler_height", value__isnull=False, inspection__vehicle__in=list(vehicles)
        )
        .select_related("inspection")
        .order_by("inspection__started_at", "inspection_id", "pk")
    )
    latest: dict[tuple[int, str], Verdict] = {}
    for row in rows:
        latest[row.inspection.vehicle_id, row.at] = row
    found: dict[int, list[Verdict]] = {}
    for (pk, _), verdict in latest.items():
        found.setdefault(pk, []).append(verdict)
    return found


def height_pair(
    first: Vehicle, second: Vehicle, heights: Mapping[int, list[Verdict]]
) -> HeightPair | None:
    """How far the couplers of two neighbours can differ; None while either was not measured.

    Which ends face each other is not recorded, so that the worst of the four is told.
    """
    ones, others = heights.get(first.pk, []), heights.get(second.pk, [])
    if not ones or not others:
        return None
    difference = max(abs(one.value - other.value) for one in ones for other in others)
    limited = [each for each in (*ones, *others) if each.low is not None and each.high is not None]
    if not limited:
        return HeightPair(first, second, difference, None, "")
    narrowest = min(limited, key=lambda each: each.high - each.low)
    basis = narrowest.low_basis or narrowest.high_basis
    return HeightPair(first, second, difference, narrowest.high - narrowest.low, basis)
