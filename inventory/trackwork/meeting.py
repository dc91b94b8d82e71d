"""Measured wheelsets through measured trackwork: what the pages of both show."""

from __future__ import annotations

import math
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
    Cell,
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
from standards.quantities import name_of
from standards.sheets import MM_PER_INCH, Limit, profiles_for

OF_WHEELS = ("back_to_back", "flange_thickness", "flange_depth", "tyre_width")
_OF_RAIL = ("rail_height", "fastening_height")

#: From the likeliest to the least likely to cause trouble.
SEVERITY = (Outcome.OUTSIDE, Outcome.UNDECIDED, Outcome.NOT_JUDGED, Outcome.WITHIN)


# --- What was measured ------------------------------------------------------------------------


@dataclass(frozen=True)
class Axle:
    """A wheelset: its sizes, and which of them are only those of its declared code."""

    name: str
    wheels: Wheels
    code: int | None = None
    by_code: tuple[str, ...] = ()

    def __str__(self) -> str:
        return self.name


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


def axles_of(vehicles: Iterable[Vehicle]) -> dict[int, list[Axle]]:
    """The wheelsets that are under vehicles now, by vehicle and axle, in two queries.

    An axle of which nothing was measured is there all the same. What was not measured of a wheel
    is that of the RP-25 code declared for it, and said to be so; else it is missing.
    """
    listed = {vehicle.pk: vehicle for vehicle in vehicles}
    wheelsets = list(Wheelset.objects.filter(vehicle__in=listed, removed_at__isnull=True))
    fitted = {(each.vehicle_id, str(each.axle)): each.fitted_at for each in wheelsets}
    codes = {(each.vehicle_id, str(each.axle)): each.profile_code for each in wheelsets}
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
    found: dict[int, list[Axle]] = {}
    for pk, vehicle in listed.items():
        contours = {each.code: each.limits for each in profiles_for(vehicle.standard)}
        for name in map(str, range(1, vehicle.axles + 1)):
            measured = sizes.get((pk, name), {})
            code = codes.get((pk, name))
            declared = _nominal(contours.get(code, {})) if code is not None else {}
            by_code = tuple(each for each in declared if each not in measured)
            wheels = Wheels(**{**declared, **measured})
            found.setdefault(pk, []).append(Axle(name, wheels, code, by_code))
    return found


def _nominal(limits: Mapping[str, Limit]) -> dict[str, Measured]:
    """The figures of a listed contour, taken as they are printed."""
    return {
        code: Measured(limits[code].nominal, 0.0, math.inf, ())
        for code in OF_WHEELS
        if code in limits and limits[code].nominal is not None
    }


# --- One vehicle through one piece ------------------------------------------------------------


@dataclass(frozen=True)
class Met:
    """One relation between one axle and one leg."""

    axle: Axle
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
        """What a reader has to know, and what was declared and not measured."""
        words = [self.margin.note]
        declared = [
            name_of(term.code).lower()
            for term in self.margin.terms
            if term.owner == "wheel" and term.code in self.axle.by_code
        ]
        if declared:
            what = " and ".join(declared)
            words.append(
                f"Not measured: {what}, taken as RP-25 code {self.axle.code}, which is declared."
            )
        if self.leg.is_by_code and self.margin.relation is Relation.FASTENINGS:
            words.append("The rail's height is that of the code declared.")
        return " ".join(words).strip()


def meet(axles: Iterable[Axle], legs: Iterable[Leg], rule: Rule) -> list[Met]:
    """Every axle through every leg, the worst first and what lacks a dimension last."""
    found = [
        Met(axle, leg, margin)
        for axle in axles
        for leg in legs
        for margin in margins(axle.wheels, leg.way, rule)
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
    axles = axles_of(vehicles)
    legs = [leg for _, own in pieces for leg in own]
    cells = grid(
        [[axle.wheels for axle in axles[each.pk]] for each in vehicles],
        [leg.way for leg in legs],
        rule,
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
                _outcome(cell),
                cell.lacking,
            )
            by_piece.setdefault(leg.piece.pk, []).append(spot)
        spots = tuple(_worst_spot(by_piece[piece.pk]) for piece, own in pieces if own)
        rows.append(Row(vehicle, spots))
    return sorted(rows, key=lambda row: (row.worst, row.vehicle.identity))


def _outcome(cell: Cell) -> Outcome:
    """Within only if all could be reckoned but for the fastenings, which hardly anybody measures;
    what is lacking is named beside it."""
    lacking = set(cell.lacking) - {Relation.FASTENINGS}
    if cell.judged is Outcome.WITHIN and lacking:
        return Outcome.NOT_JUDGED
    return cell.judged


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
    wheels, way = met.axle.wheels, met.leg.way
    sizes: dict[str, object] = {code: _plain(getattr(wheels, code)) for code in OF_WHEELS} | {
        code: _plain(getattr(way, code)) for code in (*FROG, *_OF_RAIL)
    }
    worst = None if met.value is None else (met.margin.relation.value, float(met.value))
    return sizes | {"frog_number": way.frog_number, "worst": worst, "unit": unit}


def _plain(measured: Measured | None) -> float | None:
    return None if measured is None else float(measured.value)
