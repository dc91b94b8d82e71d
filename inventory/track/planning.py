"""Trains over chosen tracks, and the planner's report of a whole railway."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from inventory.track.fit import Stood
from inventory.track.fitting import Candidate, TrackLimits, refusals
from inventory.track.models import Track
from inventory.track.trains import (
    Fullness,
    Meeting,
    PathFit,
    Pull,
    Train,
    TrainImpossible,
    average_length,
    average_train,
    fit_path,
    fullness,
    meet,
    pulls,
    trains_held,
)
from standards.loading import cars_per_locomotive, rolling_from_start_grade
from standards.units import plain

MORE = Decimal(100)


@dataclass(frozen=True)
class Run:
    """One train asked over chosen tracks.

    path: its fit on each and the limiting one. refused: vehicles that a track of the way does not
    take, with the words why. pulls: over the yard lead, None without one; lead_problem says why it
    cannot be drawn at all. held: how many such trains the storage holds, one a track.
    """

    train: Train
    path: PathFit
    refused: tuple[tuple[Candidate, str, str], ...]
    pulls: tuple[Pull, ...] | None
    lead_problem: str
    held: int | None
    meeting: Meeting | None = None
    haul: Haul | None = None


@dataclass(frozen=True)
class Haul:
    """How many cars the locomotive takes up the ruling grade, and what that rests on.

    grade_percent: the steepest of the way. basis: what was measured and what was taken.
    """

    n_cars: int
    grade_percent: Decimal
    basis: str

    @property
    def grade_words(self) -> str:
        """The grade without needless zeros, and never as 1E+1."""
        return plain(self.grade_percent)


#: Drawbar pull on level track over weight, and the rolling resistance of a car as a fraction of
#: its weight, where nothing was measured. Common practice, no source.
ADHESION = 0.25
ROLLING = 0.02


def haul(
    locomotive_g: Decimal | None,
    car_g: Decimal | None,
    grade_percent: Decimal | None,
    rolling_percent: Decimal | None,
) -> Haul | None:
    """Cars per locomotive on the ruling grade; None while a mass was not measured.

    rolling_percent: the mean grade on which cars start to roll, None if never measured.
    """
    if locomotive_g is None or car_g is None:
        return None
    grade = grade_percent or Decimal(0)
    rolling = ROLLING if rolling_percent is None else rolling_from_start_grade(rolling_percent)
    n_cars = cars_per_locomotive(
        ADHESION, float(locomotive_g), float(car_g), rolling, float(grade) / 100
    )
    taken = "measured start-rolling grades" if rolling_percent is not None else "2 % rolling"
    basis = (
        f"locomotive {plain(locomotive_g.quantize(Decimal(1)))} g, average car "
        f"{plain(car_g.quantize(Decimal(1)))} g, {taken}; an adhesion of {ADHESION:g} is common "
        "practice, no source"
    )
    return Haul(int(n_cars), grade, basis)


def run(
    train: Train,
    vehicles: Sequence[Candidate],
    way: Sequence[TrackLimits],
    *,
    lead: TrackLimits | None,
    storage: Sequence[TrackLimits],
    loop: TrackLimits | None = None,
    other: Train | None = None,
    hauled: Haul | None = None,
) -> Run:
    """Ask a train over the tracks of its way, a yard lead, storage tracks, and a loop where it
    meets another. It may pass where its kinds are not loaded, and past more than the spots."""
    refused = []
    for limits in (replace(each, kinds=None, spots=None) for each in way):
        for vehicle in vehicles:
            for refusal in refusals(vehicle, limits, limits.clear_mm):
                refused.append((vehicle, limits.name, refusal.words))
    drawn, problem = None, ""
    if lead is not None:
        try:
            drawn = pulls(train, lead.clear_mm)
        except TrainImpossible as impossible:
            problem = str(impossible)
    return Run(
        train,
        fit_path(train, way),
        tuple(refused),
        drawn,
        problem,
        trains_held(train, storage, one_a_track=True) if storage else None,
        meet(train, other, loop.clear_mm) if loop and other else None,
        hauled,
    )


@dataclass(frozen=True)
class Line:
    """One track in the report: how many of the fleet fit it when it is empty, and how many average
    cars it holds."""

    here: Stood
    n_fitting: int | None
    n_cars: int | None


@dataclass(frozen=True)
class Report:
    """A railway as a planner sees it.

    car_mm: the average car. n_cars: of the longest train with that locomotive that fits every
    running track; weakest: the track that stops it; n_more: how many more cars 100 mm there buys.
    """

    lines: tuple[Line, ...]
    car_mm: Decimal | None
    locomotive: Candidate | None
    n_cars: int | None
    weakest: Stood | None
    n_more: int | None
    yards: tuple[tuple[str, Fullness], ...] = ()


_WAY = (Track.Duty.RUNNING, Track.Duty.LOOP, Track.Duty.ARRIVAL, Track.Duty.REMOVABLE)


def report(
    tracks: Sequence[Stood], cars: Sequence[Candidate], locomotives: Sequence[Candidate]
) -> Report:
    """The planner's report from the tracks and the fleet."""
    measured = [each for each in cars if each.length_mm is not None]
    car = average_length(measured) if measured else None
    lines = tuple(_line(here, cars, car) for here in tracks)
    engines = [each for each in locomotives if each.length_mm is not None]
    engine = min(engines, key=lambda each: each.length_mm or 0, default=None)
    way = [here for here in tracks if here.limits and here.track.duty in _WAY]
    yards = _yards(tracks)
    if car is None or engine is None or engine.length_mm is None or not way:
        return Report(lines, car, engine, None, None, None, yards)
    weakest = min(way, key=lambda here: here.clearing.clear_mm or 0)
    clear = weakest.clearing.clear_mm or Decimal(0)
    others = [here.clearing.clear_mm or Decimal(0) for here in way if here is not weakest]
    longer = min([clear + MORE, *others])
    now = longest(engine.length_mm, car, clear)
    more = longest(engine.length_mm, car, longer)
    return Report(lines, car, engine, now, weakest, max(0, more - max(now, 0)), yards)


def _yards(tracks: Sequence[Stood]) -> tuple[tuple[str, Fullness], ...]:
    """How full each place's classification tracks are, where their lengths are known."""
    by_place: dict[str, list[Stood]] = {}
    for here in tracks:
        if here.track.duty == Track.Duty.CLASSIFICATION and here.limits and not here.unmeasured:
            by_place.setdefault(str(here.track.place), []).append(here)
    found = []
    for place, yard in by_place.items():
        standing = [each.length_mm for here in yard for each in here.standing if each.length_mm]
        limits = [here.limits for here in yard if here.limits]
        if any(each.clear_mm > 0 for each in limits):
            found.append((place, fullness(standing, limits)))
    return tuple(found)


def longest(locomotive_mm: Decimal, car_mm: Decimal, clear_mm: Decimal) -> int:
    """How many average cars a train with that locomotive may have; -1 when not even it fits."""
    for cars in range(-1, 500):
        train = average_train("", locomotive_mm, cars + 1, car_mm)
        if train.length_mm > clear_mm:
            return cars
    return 500


def _line(here: Stood, cars: Sequence[Candidate], car: Decimal | None) -> Line:
    limits = here.limits
    if limits is None:
        return Line(here, None, None)
    fitting = sum(not refusals(each, limits, limits.clear_mm) for each in cars)
    return Line(here, fitting, None if car is None else int(limits.clear_mm // car))
