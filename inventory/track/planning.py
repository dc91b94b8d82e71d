"""Trains over chosen tracks, and the planner's report of a whole railway."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from inventory.track.fit import Stood, named
from inventory.track.fitting import Candidate, Code, doubts, in_mm, refusals, taken_by
from inventory.track.models import Track
from inventory.track.trains import (
    Fullness,
    Meeting,
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
from standards.judging import Service
from standards.loading import cars_per_locomotive, rolling_from_start_grade
from standards.units import plain

MORE = Decimal(100)


@dataclass(frozen=True)
class Found:
    """What a train finds on one track.

    in_the_way: those that stand there and are not of the train. room_mm: what they leave of the
    clear length, below zero where they stand foul; None where it cannot be told, with the reason
    in unknown.
    """

    here: Stood
    in_the_way: tuple[Candidate, ...]
    room_mm: Decimal | None
    unknown: str = ""

    @property
    def names(self) -> str:
        """Who stands in the way."""
        return named(self.in_the_way, most=3)

    @property
    def track(self) -> Track:
        return self.here.track


def found_on(here: Stood, train: Collection[int], *, as_if_empty: bool) -> Found:
    """A track as a train finds it. train: keys of its vehicles, which are in nobody's way.

    as_if_empty: leave out whoever stands there.
    """
    others = () if as_if_empty else tuple(each for each in here.standing if each.key not in train)
    limits = here.limits
    if limits is None:
        return Found(here, others, None, here.problem)
    unmeasured = [each for each in others if each.length_mm is None]
    if unmeasured:
        return Found(here, others, None, f"no length measured of {named(unmeasured)}")
    taken = in_mm(sum(taken_by(each, here.slack_mm) or 0 for each in others))
    return Found(here, others, limits.clear_mm - taken)


@dataclass(frozen=True)
class Passing:
    """The train on one track of its way: what is left beside it, below zero where it is too long,
    None where it cannot be told."""

    found: Found
    left_mm: Decimal | None

    @property
    def is_fitting(self) -> bool:
        """Whether it is known to fit."""
        return self.left_mm is not None and self.left_mm >= 0

    @property
    def is_too_long(self) -> bool:
        """Whether it is known not to."""
        return self.left_mm is not None and self.left_mm < 0


@dataclass(frozen=True)
class OnLead:
    """The train at the yard lead: its pulls, or why it cannot be drawn there."""

    found: Found
    pulls: tuple[Pull, ...] | None
    problem: str = ""


@dataclass(frozen=True)
class AtLoop:
    """The train at a loop where it meets another; None where the room there cannot be told."""

    found: Found
    meeting: Meeting | None


@dataclass(frozen=True)
class Stored:
    """How many such trains the storage holds, one a track, and the tracks that do not count since
    their room cannot be told, or that are in use."""

    n_trains: int
    tracks: tuple[Found, ...]

    @property
    def not_told(self) -> tuple[Found, ...]:
        return tuple(each for each in self.tracks if each.room_mm is None)

    @property
    def in_use(self) -> tuple[Found, ...]:
        return tuple(each for each in self.tracks if each.in_the_way and each.room_mm is not None)


_KEPT_BECAUSE = {Service.BAD_ORDER: "is bad order", Service.AWAITING: "awaits inspection"}


def _kept_because(candidate: Candidate) -> str:
    why = f": {candidate.held_because}" if candidate.held_because else ""
    return f"{_KEPT_BECAUSE[Service(candidate.service)]}{why}"


@dataclass(frozen=True)
class Run:
    """One train asked over chosen tracks.

    passings: the train on each track of its way; limiting: the one with the least left, None where
    none can be told. not_to_run: its vehicles that may not run anywhere, each with the words why.
    refused: vehicles that a track of the way does not take, with the name of that track and the
    words why; doubtful: those of which it cannot be told, in the same shape.
    """

    train: Train
    passings: tuple[Passing, ...]
    limiting: Passing | None
    not_to_run: tuple[tuple[Candidate, str], ...]
    refused: tuple[tuple[Candidate, str, str], ...]
    doubtful: tuple[tuple[Candidate, str, str], ...] = ()
    lead: OnLead | None = None
    stored: Stored | None = None
    loop: AtLoop | None = None
    haul: Haul | None = None
    as_if_empty: bool = False

    @property
    def verdict(self) -> str:
        """The answer in a line; whether it may run and whether it fits are told apart."""
        is_too_long = any(each.is_too_long for each in self.passings) or bool(self.refused)
        is_unknown = any(each.left_mm is None for each in self.passings)
        if self.not_to_run:
            if is_too_long:
                return "It may not run, and does not fit"
            if is_unknown:
                return "It may not run; whether it would fit cannot be told"
            return "It may not run; it would fit" if self.passings else "It may not run"
        if not self.passings:
            return "No track was chosen that it must fit"
        if is_too_long:
            return "It does not fit"
        if is_unknown:
            return "It cannot be told"
        return "It fits, as far as is known" if self.doubtful else "It fits"

    @property
    def may_not_run(self) -> str:
        """Who keeps it from running, in a sentence's words."""
        said = [f"{vehicle.name} {words}" for vehicle, words in self.not_to_run]
        more = f" and {len(said) - 6} more" if len(said) > 6 else ""
        return ", ".join(said[:6]) + more


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
    way: Sequence[Stood],
    *,
    lead: Stood | None = None,
    storage: Sequence[Stood] = (),
    loop: Stood | None = None,
    other: Train | None = None,
    hauled: Haul | None = None,
    as_if_empty: bool = False,
) -> Run:
    """Ask a train over the tracks of its way, a yard lead, storage tracks, and a loop where it
    meets another.

    Each track counts with the room that is left beside those that stand there and are not of the
    train, or whole when asked as if it were empty. A train may pass where its kinds are not
    loaded, and past more than the spots.
    """
    keys = {each.key for each in vehicles}

    def find(here: Stood) -> Found:
        return found_on(here, keys, as_if_empty=as_if_empty)

    passings = tuple(_passing(train, find(here)) for here in way)
    told = [each for each in passings if each.left_mm is not None]
    refused, doubtful = _against(vehicles, way)
    stored = [find(here) for here in storage]
    rooms = [each.room_mm for each in stored if each.room_mm is not None]
    return Run(
        train,
        passings,
        min(told, key=lambda each: each.left_mm or 0, default=None),
        tuple((each, _kept_because(each)) for each in vehicles if each.service in _KEPT_BECAUSE),
        refused,
        doubtful,
        None if lead is None else _drawn(train, find(lead)),
        Stored(trains_held(train, rooms, one_a_track=True), tuple(stored)) if stored else None,
        None if loop is None or other is None else _met(train, other, find(loop)),
        hauled,
        as_if_empty,
    )


def _passing(train: Train, found: Found) -> Passing:
    limits = found.here.limits
    if limits is None or found.room_mm is None:
        return Passing(found, None)
    (fit,) = fit_path(train, [limits], [found.room_mm]).fits
    return Passing(found, fit.left_mm)


_Words = tuple[tuple[Candidate, str, str], ...]


def _against(vehicles: Sequence[Candidate], way: Sequence[Stood]) -> tuple[_Words, _Words]:
    """What tracks have against single vehicles, lengths and the shop apart; and what is not known
    of them."""
    refused, doubtful = [], []
    for here in way:
        if here.limits is None:
            continue
        limits = replace(here.limits, kinds=None, spots=None)
        for vehicle in vehicles:
            refused += [
                (vehicle, limits.name, each.words)
                for each in refusals(vehicle, limits, limits.clear_mm)
                if each.code in _BY_THE_WAY
            ]
            doubtful += [(vehicle, limits.name, each.words) for each in doubts(vehicle, limits)]
    return tuple(refused), tuple(doubtful)


_BY_THE_WAY = frozenset({Code.GAUGE, Code.RADIUS, Code.HEIGHT})


def _drawn(train: Train, found: Found) -> OnLead:
    if found.room_mm is None:
        return OnLead(found, None, f"The room on the yard lead cannot be told: {found.unknown}.")
    try:
        return OnLead(found, pulls(train, found.room_mm))
    except TrainImpossible as impossible:
        return OnLead(found, None, str(impossible))


def _met(train: Train, other: Train, found: Found) -> AtLoop:
    room = found.room_mm
    return AtLoop(found, None if room is None else meet(train, other, room))


# --- The report -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Line:
    """One track in the report: how many of the fleet fit it when it is empty, of how many of those
    not everything is known that it takes to tell, and how many average cars it holds."""

    here: Stood
    n_fitting: int | None
    n_cars: int | None
    n_doubtful: int = 0


@dataclass(frozen=True)
class Yard:
    """How full a place's classification tracks are, of those that can be told.

    fullness: None where none can be. not_counted: the others, each with the words why.
    """

    place: str
    fullness: Fullness | None
    not_counted: tuple[tuple[Stood, str], ...] = ()


@dataclass(frozen=True)
class Report:
    """A railway as a planner sees it.

    car_mm: the average car. n_cars: of the longest train with that locomotive that fits every
    running track that is counted; locomotive: the shortest that was measured; weakest: the track
    that stops it; n_more: how many more cars 100 mm there buys. not_counted: running tracks whose
    clear length cannot be told, each with the words why.
    """

    lines: tuple[Line, ...]
    car_mm: Decimal | None
    locomotive: Candidate | None
    n_cars: int | None
    weakest: Stood | None
    n_more: int | None
    yards: tuple[Yard, ...] = ()
    not_counted: tuple[tuple[Stood, str], ...] = ()


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
    untold = tuple(
        (here, here.problem) for here in tracks if not here.limits and here.track.duty in _WAY
    )
    yards = _yards(tracks)
    if car is None or engine is None or engine.length_mm is None or not way:
        return Report(lines, car, engine, None, None, None, yards, untold)
    weakest = min(way, key=lambda here: here.clearing.clear_mm or 0)
    clear = weakest.clearing.clear_mm or Decimal(0)
    others = [here.clearing.clear_mm or Decimal(0) for here in way if here is not weakest]
    longer = min([clear + MORE, *others])
    slack = weakest.slack_mm
    now = longest(engine.length_mm, car, clear, slack)
    more = longest(engine.length_mm, car, longer, slack)
    more = max(0, more - max(now, 0))
    return Report(lines, car, engine, now, weakest, more, yards, untold)


def _yards(tracks: Sequence[Stood]) -> tuple[Yard, ...]:
    """How full each place's classification tracks are, and which of them cannot be told."""
    by_place: dict[str, list[Stood]] = {}
    for here in tracks:
        if here.track.duty == Track.Duty.CLASSIFICATION:
            by_place.setdefault(str(here.track.place), []).append(here)
    found = []
    for place, yard in by_place.items():
        told = [here for here in yard if not here.unknown]
        standing = [each.length_mm for here in told for each in here.standing if each.length_mm]
        limits = [here.limits for here in told if here.limits]
        is_told = any(each.clear_mm > 0 for each in limits)
        found.append(
            Yard(
                place,
                fullness(standing, limits, slack_mm=yard[0].slack_mm) if is_told else None,
                tuple((here, here.unknown) for here in yard if here.unknown),
            )
        )
    return tuple(found)


def longest(
    locomotive_mm: Decimal, car_mm: Decimal, clear_mm: Decimal, slack_mm: Decimal = Decimal(0)
) -> int:
    """How many average cars a train with that locomotive may have; -1 when not even it fits."""
    for cars in range(-1, 500):
        train = average_train("", locomotive_mm, cars + 1, car_mm, slack_mm=slack_mm)
        if train.length_mm > clear_mm:
            return cars
    return 500


def _line(here: Stood, cars: Sequence[Candidate], car: Decimal | None) -> Line:
    limits = here.limits
    if limits is None:
        return Line(here, None, None)
    slack = here.slack_mm
    fitting = [
        each for each in cars if not refusals(each, limits, limits.clear_mm, slack_mm=slack)
    ]
    return Line(
        here,
        len(fitting),
        None if car is None else int(limits.clear_mm // (car + slack)),
        sum(bool(doubts(each, limits)) for each in fitting),
    )
