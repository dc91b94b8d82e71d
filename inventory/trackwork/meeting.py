"""Measured wheelsets through measured trackwork: what the pages of both show."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from inventory.stock.models import Reading, Vehicle, Wheelset
from inventory.trackwork.models import Trackwork
from inventory.trackwork.standing import Key, readings_of
from inventory.trackwork.steps import FROG, SPOTS
from standards.conformity import Outcome, Rule
from standards.curves import ImpossibleGeometry
from standards.guidance import (
    Contradiction,
    Margin,
    Relation,
    Way,
    Wheels,
    contradictions,
    grid,
    margins,
)
from standards.metrology import Measured
from standards.sheets import MM_PER_INCH

OF_WHEELS = ("back_to_back", "flange_thickness", "flange_depth", "tyre_width")
_OF_RAIL = ("rail_height", "fastening_height")

#: From the likeliest to the least likely to cause trouble.
SEVERITY = (Outcome.OUTSIDE, Outcome.UNDECIDED, Outcome.NOT_JUDGED, Outcome.WITHIN)


# --- What was measured ------------------------------------------------------------------------


@dataclass(frozen=True)
class Leg:
    """One way through a piece of trackwork, as far as it was measured.

    name: as its place is called in the readings. is_by_code: the rail's height is that of the
    declared rail code. problem: why it cannot be reckoned with.
    """

    piece: Trackwork
    name: str
    way: Way
    is_by_code: bool = False
    problem: str = ""

    @property
    def is_measured(self) -> bool:
        return self.way.track_gauge is not None or self.way.is_crossing


def legs_of(pieces: Sequence[Trackwork]) -> dict[int, list[Leg]]:
    """The ways through pieces of trackwork by their keys, from the readings that stand."""
    standing = readings_of(pieces)
    return {each.pk: _legs(each, standing.get(each.pk, {})) for each in pieces}


def _legs(piece: Trackwork, readings: Mapping[Key, object]) -> list[Leg]:
    def measured(quantity: str, at: str) -> Measured | None:
        reading = readings.get((quantity, at))
        return reading.measured if reading else None

    rail = {code: measured(code, "rail") for code in _OF_RAIL}
    is_by_code = rail["rail_height"] is None and piece.rail_code is not None
    if is_by_code:
        height = Decimal(piece.rail_code) / 1000 * MM_PER_INCH
        rail["rail_height"] = Measured(height, 0.0, float("inf"), ())
    names = piece.legs if piece.has_frog else SPOTS
    quantities = FROG if piece.has_frog else ("track_gauge",)
    found = []
    for name in names:
        sizes = {code: measured(code, name) for code in quantities} | rail
        number = float(piece.number) if piece.has_frog and piece.number is not None else None
        try:
            found.append(Leg(piece, name, Way(frog_number=number, **sizes), is_by_code))
        except ImpossibleGeometry as impossible:
            found.append(Leg(piece, name, Way(), is_by_code, str(impossible)))
    if piece.kind == Trackwork.Kind.TURNOUT and measured("track_gauge", "points"):
        found.append(Leg(piece, "points", Way(track_gauge=measured("track_gauge", "points"))))
    return [leg for leg in found if leg.is_measured or leg.problem]


def wheels_of(vehicles: Iterable[Vehicle]) -> dict[int, dict[str, Wheels]]:
    """The wheelsets that are under vehicles now, by vehicle and axle, in two queries.

    An axle of which nothing was measured is there all the same, with nothing in it.
    """
    listed = {vehicle.pk: vehicle for vehicle in vehicles}
    fitted = {
        (each.vehicle_id, str(each.axle)): each.fitted_at
        for each in Wheelset.objects.filter(vehicle__in=listed, removed_at__isnull=True)
    }
    sizes: dict[tuple[int, str], dict[str, Measured]] = {}
    rows = (
        Reading.objects.filter(
            is_current=True, gauge="", quantity__in=OF_WHEELS, inspection__vehicle__in=listed
        )
        .select_related("inspection")
        .order_by("inspection__started_at", "inspection_id", "pk")
    )
    for row in rows:
        axle = row.inspection.vehicle_id, row.at
        if axle not in fitted or (fitted[axle] and row.taken_at < fitted[axle]):
            continue
        sizes.setdefault(axle, {})[row.quantity] = row.measured
    return {
        pk: {
            str(axle): Wheels(**sizes.get((pk, str(axle)), {}))
            for axle in range(1, vehicle.axles + 1)
        }
        for pk, vehicle in listed.items()
    }


# --- One vehicle through one piece ------------------------------------------------------------


@dataclass(frozen=True)
class Met:
    """One relation between one axle and one leg."""

    axle: str
    wheels: Wheels
    leg: Leg
    margin: Margin

    #: In whose unit and decimals a margin is written.
    quantity = "back_to_back"

    @property
    def value(self) -> Decimal | None:
        return self.margin.margin.value if self.margin.margin else None

    @property
    def expanded(self) -> float | None:
        return self.margin.margin.expanded if self.margin.margin else None

    @property
    def outcome(self) -> str:
        return self.margin.outcome.value

    @property
    def note(self) -> str:
        if self.leg.is_by_code and self.margin.relation is Relation.FASTENINGS:
            return f"{self.margin.note} The rail's height is that of the code declared.".strip()
        return self.margin.note


def meet(wheels: Mapping[str, Wheels], legs: Iterable[Leg], rule: Rule) -> list[Met]:
    """Every axle through every leg, the worst first and what lacks a dimension last."""
    found = [
        Met(axle, each, leg, margin)
        for axle, each in wheels.items()
        for leg in legs
        for margin in margins(each, leg.way, rule)
    ]
    return sorted(found, key=_worst_first)


def _worst_first(met: Met) -> tuple[bool, float, Decimal]:
    margin = met.margin
    if margin.margin is None or margin.probability is None:
        return True, 0.0, Decimal(0)
    return False, margin.probability, margin.margin.value


def doubts_of(legs: Iterable[Leg]) -> list[tuple[Leg, Contradiction]]:
    """Dimensions of the track that cannot all be right."""
    return [(leg, each) for leg in legs for each in contradictions(leg.way)]


# --- Many vehicles over many pieces -----------------------------------------------------------


@dataclass(frozen=True)
class Spot:
    """The worst of one vehicle on one piece: on which leg, and by how much.

    relation, value and probability are None where nothing could be reckoned.
    """

    piece: Trackwork
    leg: str
    relation: Relation | None
    value: Decimal | None
    probability: float | None
    outcome: Outcome
    lacking: tuple[Relation, ...] = ()

    #: In whose unit and decimals a margin is written.
    quantity = "back_to_back"

    @property
    def rank(self) -> int:
        """How bad it is, 0 the worst."""
        return SEVERITY.index(self.outcome)


@dataclass(frozen=True)
class Row:
    """One vehicle over all pieces."""

    vehicle: Vehicle
    spots: tuple[Spot, ...]

    @property
    def worst(self) -> int:
        return min((SEVERITY.index(each.outcome) for each in self.spots), default=len(SEVERITY))


def trouble(
    vehicles: Sequence[Vehicle], pieces: Sequence[tuple[Trackwork, Sequence[Leg]]], rule: Rule
) -> list[Row]:
    """Where vehicles will have trouble: the vehicles with the worst first."""
    wheels = wheels_of(vehicles)
    legs = [leg for _, own in pieces for leg in own]
    cells = grid(
        [list(wheels[each.pk].values()) for each in vehicles], [leg.way for leg in legs], rule
    )
    rows = []
    for vehicle, found in zip(vehicles, cells, strict=True):
        by_piece: dict[int, list[Spot]] = {}
        for leg, cell in zip(legs, found, strict=True):
            spot = Spot(
                leg.piece,
                leg.name,
                cell.relation,
                cell.margin,
                cell.probability,
                cell.outcome,
                cell.lacking,
            )
            by_piece.setdefault(leg.piece.pk, []).append(spot)
        spots = tuple(_worst_spot(by_piece[piece.pk]) for piece, own in pieces if own)
        rows.append(Row(vehicle, spots))
    return sorted(rows, key=lambda row: (row.worst, row.vehicle.identity))


def _worst_spot(spots: Sequence[Spot]) -> Spot:
    worst = min(
        spots,
        key=lambda each: (
            SEVERITY.index(each.outcome),
            1.0 if each.probability is None else each.probability,
        ),
    )
    lacking = tuple(dict.fromkeys(each for spot in spots for each in spot.lacking))
    return replace(worst, lacking=lacking)


# --- As the drawing takes it ------------------------------------------------------------------


def sizes_of(met: Met | None, unit: str) -> dict[str, object]:
    """One axle in one leg, in the arguments of the drawing."""
    if met is None:
        return {}
    wheels, way = met.wheels, met.leg.way
    sizes: dict[str, object] = {code: _plain(getattr(wheels, code)) for code in OF_WHEELS} | {
        code: _plain(getattr(way, code)) for code in (*FROG, *_OF_RAIL)
    }
    worst = None if met.value is None else (met.margin.relation.value, float(met.value))
    return sizes | {"frog_number": way.frog_number, "worst": worst, "unit": unit}


def _plain(measured: Measured | None) -> float | None:
    return None if measured is None else float(measured.value)
