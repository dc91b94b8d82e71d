"""Trains on tracks: where they fit, how often they are drawn, where two of them meet.

Plain data in, plain data out, in ``Decimal`` millimetres. As in `fitting`, lengths are compared in
whole tenths of a millimetre, vehicles rounded up one by one and tracks down.

What is marked "common practice, no source" is how it is done, with no book to name for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from fractions import Fraction

from inventory.track.fitting import Candidate, TrackLimits, in_mm, taken, tenths

COMMON_PRACTICE = "common practice, no source"
"""The basis that a page prints beside a rule that no publication stands behind."""

COMFORTABLY_FULL = (60, 70)
"""Percent of a yard's clear length up to which it switches well, and beyond which it does not.
Common practice, no source."""


class TrainImpossible(ValueError):
    """A train, or a move with it, that cannot be; the message says why, in words."""


@dataclass(frozen=True)
class Train:
    """Locomotives and cars, each by its length over couplers in mm, in the order of the train.

    slack_mm: added to each vehicle for its coupling.

    Raises TrainImpossible without any vehicle; ValueError for a length that is not above zero or
    slack below zero.
    """

    name: str
    locomotives_mm: tuple[Decimal, ...]
    cars_mm: tuple[Decimal, ...]
    slack_mm: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        if not self.locomotives_mm and not self.cars_mm:
            raise TrainImpossible(f"{self.name} has neither a locomotive nor a car.")
        self.in_tenths()

    def in_tenths(self) -> int:
        """Its length in whole tenths of a millimetre."""
        return _together(self.locomotives_mm + self.cars_mm, self.slack_mm)

    @property
    def length_mm(self) -> Decimal:
        """Its length with all slack, in mm with one decimal."""
        return in_mm(self.in_tenths())


def _together(lengths_mm: Sequence[Decimal], slack_mm: Decimal) -> int:
    return sum(taken(length_mm, slack_mm) for length_mm in lengths_mm)


def train_of(
    name: str,
    locomotives: Sequence[Candidate],
    cars: Sequence[Candidate],
    *,
    slack_mm: Decimal = Decimal(0),
) -> Train:
    """The train that named vehicles make. Raises TrainImpossible where one has no length."""
    unmeasured = [each.name for each in (*locomotives, *cars) if each.length_mm is None]
    if unmeasured:
        raise TrainImpossible(
            f"No length over couplers was measured of {', '.join(unmeasured)}; measure it first."
        )
    return Train(
        name,
        tuple(each.length_mm for each in locomotives if each.length_mm is not None),
        tuple(each.length_mm for each in cars if each.length_mm is not None),
        slack_mm,
    )


def average_length(vehicles: Sequence[Candidate]) -> Decimal:
    """The mean length over couplers of those that were measured, in mm, rounded up to a tenth.

    Raises TrainImpossible when none was measured.
    """
    lengths = [Fraction(each.length_mm) for each in vehicles if each.length_mm is not None]
    if not lengths:
        raise TrainImpossible("No length over couplers was measured of any of them.")
    return in_mm(-(-10 * sum(lengths) // len(lengths)))


def average_train(
    name: str,
    locomotive_mm: Decimal,
    cars: int,
    car_mm: Decimal,
    *,
    slack_mm: Decimal = Decimal(0),
) -> Train:
    """A locomotive and so many cars of average length. Raises TrainImpossible for cars below
    zero, ValueError for a length that is not above it."""
    if cars < 0:
        raise TrainImpossible(f"{name} cannot have {cars} cars.")
    return Train(name, (locomotive_mm,), (car_mm,) * cars, slack_mm)


# --- Along the line ---------------------------------------------------------------------------


@dataclass(frozen=True)
class TrackFit:
    """A train on one track: what is left of the clear length, below zero where it is too long."""

    track: TrackLimits
    left_mm: Decimal

    @property
    def is_fitting(self) -> bool:
        """A train exactly as long as the track fits it."""
        return self.left_mm >= 0


@dataclass(frozen=True)
class PathFit:
    """A train on all tracks that it has to fit, in their order; limiting is the one with the
    least left, the first of equals, None without any track."""

    fits: tuple[TrackFit, ...]
    limiting: TrackFit | None

    @property
    def is_fitting(self) -> bool:
        """Whether it fits every one of them."""
        return self.limiting is None or self.limiting.is_fitting


def fit_path(
    train: Train, tracks: Sequence[TrackLimits], rooms_mm: Sequence[Decimal] | None = None
) -> PathFit:
    """Whether a train fits each track of its way by length, and which one limits it.

    rooms_mm: what is left of each track beside those that stand there, below zero where they
    stand foul; the whole clear lengths without it.
    """
    rooms = [track.clear_mm for track in tracks] if rooms_mm is None else rooms_mm
    fits = tuple(
        TrackFit(track, in_mm(_left(train, room)))
        for track, room in zip(tracks, rooms, strict=True)
    )
    return PathFit(fits, min(fits, key=lambda fit: fit.left_mm, default=None))


def _left(train: Train, clear_mm: Decimal) -> int:
    return tenths(clear_mm, up=False) - train.in_tenths()


@dataclass(frozen=True)
class Meeting:
    """Two trains at a passing loop: which one holds in the loop, and which one passes it.

    left_mm: of the loop beside the one that holds, below zero where even the shorter train is
    too long and they cannot meet. is_either: whether the longer could hold just as well.
    """

    holds: Train
    passes: Train
    left_mm: Decimal
    is_either: bool

    @property
    def is_possible(self) -> bool:
        """Whether they can meet here."""
        return self.left_mm >= 0


def meet(one: Train, other: Train, loop_mm: Decimal) -> Meeting:
    """Whether a loop of a clear length in mm lets two trains meet.

    It does when it takes the shorter one: that holds in the loop while the other passes on the
    main, however long it is. Of two equally long, the first holds.
    """
    holds, passes = (one, other) if one.in_tenths() <= other.in_tenths() else (other, one)
    return Meeting(holds, passes, in_mm(_left(holds, loop_mm)), _left(passes, loop_mm) >= 0)


# --- The yard ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Pull:
    """One move over the lead: so many cars, of which the first is counted from 1 at the
    locomotive, and their length with the locomotive, in mm."""

    first: int
    cars: int
    length_mm: Decimal


def pulls(
    train: Train, lead_mm: Decimal, *, switcher_mm: Decimal | None = None
) -> tuple[Pull, ...]:
    """In how many pulls the cars of a train are drawn over a yard lead, and which.

    Whole cars in their order, as many a time as the lead takes beside the locomotive, which takes
    its room each time: the train's own, or a switcher of that length in mm. As long a pull as
    there is room for leaves the fewest, since it never leaves more cars to the next than a
    shorter one would. A train without cars needs none.

    Raises TrainImpossible when the lead does not take the locomotive with a single one of them,
    ValueError for lengths that are none.
    """
    engine = (
        _together(train.locomotives_mm, train.slack_mm)
        if switcher_mm is None
        else taken(switcher_mm, train.slack_mm)
    )
    lead = tenths(lead_mm, up=False)
    found: list[Pull] = []
    first, cars, length = 1, 0, engine
    for number, car_mm in enumerate(train.cars_mm, start=1):
        car = taken(car_mm, train.slack_mm)
        if engine + car > lead:
            raise TrainImpossible(
                f"The lead is {in_mm(engine + car - lead)} mm too short for the locomotive "
                f"with car {number}."
            )
        if length + car > lead:
            found.append(Pull(first, cars, in_mm(length)))
            first, cars, length = number, 0, engine
        cars, length = cars + 1, length + car
    if cars:
        found.append(Pull(first, cars, in_mm(length)))
    return tuple(found)


@dataclass(frozen=True)
class Arrival:
    """How a train comes into a yard: whole or in cuts, and the pulls in which it is sorted.

    basis: what the rule rests on, to be printed beside it.
    """

    is_whole: bool
    pulls: tuple[Pull, ...]
    basis: str = COMMON_PRACTICE


def arrive(
    train: Train,
    lead_mm: Decimal,
    arrival_mm: Decimal | None = None,
    *,
    switcher_mm: Decimal | None = None,
) -> Arrival:
    """Whether a yard takes an incoming train whole.

    An arrival track that is long enough does, whatever the lead. Without one the lead has to take
    the whole train, its locomotive included, else it is drawn in cuts. Common practice, no source.

    Raises as `pulls`.
    """
    is_whole = any(
        _left(train, clear_mm) >= 0 for clear_mm in (lead_mm, arrival_mm) if clear_mm is not None
    )
    return Arrival(is_whole, pulls(train, lead_mm, switcher_mm=switcher_mm))


class Room(StrEnum):
    """What the fullness of a yard means for switching in it."""

    PLENTY = "room to switch"
    ENOUGH = "as full as it works well"
    TIGHT = "too full to switch easily"
    OVER = "more than it holds"


@dataclass(frozen=True)
class Fullness:
    """How full a yard is.

    clear_mm: of all its tracks, standing_mm: on them; percent: rounded to a tenth, for reading
    only. to_limit_mm: what may still come before it is too full to switch easily, below zero where
    it is. basis: what that rule rests on, to be printed beside it.
    """

    clear_mm: Decimal
    standing_mm: Decimal
    percent: Decimal
    room: Room
    to_limit_mm: Decimal
    basis: str = COMMON_PRACTICE

    @property
    def left_mm(self) -> Decimal:
        """Clear length that nothing stands on, in mm."""
        return self.clear_mm - self.standing_mm


def fullness(
    standing_mm: Sequence[Decimal],
    tracks: Sequence[TrackLimits],
    *,
    slack_mm: Decimal = Decimal(0),
) -> Fullness:
    """How full a yard is with vehicles of these lengths in mm on its tracks.

    Up to 60 % it has room to switch, up to 70 % it is as full as works well, above that cars
    stand in one another's way. Common practice, no source.

    Raises ValueError for tracks without any clear length, or lengths that are none.
    """
    clear = sum(tenths(track.clear_mm, up=False) for track in tracks)
    if clear <= 0:
        raise ValueError("A yard without clear length is neither full nor empty.")
    standing = _together(standing_mm, slack_mm)
    well, most = COMFORTABLY_FULL
    if standing > clear:
        room = Room.OVER
    elif 100 * standing > most * clear:
        room = Room.TIGHT
    elif 100 * standing > well * clear:
        room = Room.ENOUGH
    else:
        room = Room.PLENTY
    percent = (Decimal(100 * standing) / clear).quantize(Decimal("0.1"), ROUND_HALF_EVEN)
    to_limit = most * clear // 100 - standing
    return Fullness(in_mm(clear), in_mm(standing), percent, room, in_mm(to_limit))


# --- Storage ----------------------------------------------------------------------------------


def trains_held(train: Train, rooms_mm: Sequence[Decimal], *, one_a_track: bool = False) -> int:
    """How many such trains a set of storage tracks holds, one behind another or one a track.

    rooms_mm: of each track its clear length, or what is left of it; below zero holds none.
    """
    length = train.in_tenths()
    each = (max(0, tenths(room, up=False)) // length for room in rooms_mm)
    return sum(min(1, number) if one_a_track else number for number in each)


@dataclass(frozen=True)
class Rotation:
    """Trains on the pieces of a removable storage, in the order of the trains, and those that
    find no piece. basis: what the rule rests on, to be printed beside it."""

    stored: tuple[tuple[Train, TrackLimits], ...]
    left_over: tuple[Train, ...]
    basis: str = COMMON_PRACTICE


def rotate(trains: Sequence[Train], pieces: Sequence[TrackLimits]) -> Rotation:
    """Which trains a removable storage rotates.

    One train a piece, no longer than the piece, so as many as there are pieces at most. Common
    practice, no source. The shortest train takes the shortest piece that it fits, and so on, which
    stores as many as can be: a piece too short for it is too short for all the others, and a
    longer one is better kept for a longer train.
    """
    free = sorted(range(len(pieces)), key=lambda i: tenths(pieces[i].clear_mm, up=False))
    stored: dict[int, int] = {}
    for number in sorted(range(len(trains)), key=lambda i: trains[i].in_tenths()):
        piece = next((i for i in free if _left(trains[number], pieces[i].clear_mm) >= 0), None)
        if piece is not None:
            free.remove(piece)
            stored[number] = piece
    return Rotation(
        tuple((trains[number], pieces[stored[number]]) for number in sorted(stored)),
        tuple(train for number, train in enumerate(trains) if number not in stored),
    )
