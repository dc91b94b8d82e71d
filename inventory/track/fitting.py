"""Which vehicles fit a track, why the others do not, and the cut that fills it best.

Plain data in, plain data out. Lengths come in as ``Decimal`` millimetres and are compared in
whole tenths of a millimetre: a vehicle counts as a tenth more where it was measured finer, a
track as a tenth less, so that nothing is said to fit which does not.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from itertools import accumulate
from typing import Literal

from standards.judging import Service
from standards.metrology import Measured, combine_sum

#: Families write one gauge a little differently: N is 9 mm in one and 8.9662 mm in another.
SAME_GAUGE_MM = Decimal("0.1")


class CutImpossible(ValueError):
    """The vehicles that have to be in a cut cannot be; the message says why, in words."""


def tenths(length_mm: Decimal, *, up: bool) -> int:
    """A length in whole tenths of a millimetre, exactly, whatever its number of digits.

    up: True for what takes room (a vehicle, a train), False for what gives it (a track).

    Raises ValueError for a length that is not finite.
    """
    if not length_mm.is_finite():
        raise ValueError(f"{length_mm} mm is no length.")
    # Fractions, since Decimal arithmetic would round at its own precision.
    exact = 10 * Fraction(length_mm)
    return math.ceil(exact) if up else math.floor(exact)


def in_mm(in_tenths: int) -> Decimal:
    """Whole tenths of a millimetre as millimetres with one decimal."""
    return Decimal(in_tenths).scaleb(-1)


@dataclass(frozen=True)
class Candidate:
    """A vehicle as far as it matters where it can stand.

    length_mm: over couplers, None while nobody measured it. kind: in plain words. service: a
    value of `standards.judging.Service`. height_mm: above the rail, None if not measured.
    minimum_radius_mm: the smallest that it goes round, None if not known. held_because: why it
    is kept from running, in words; it refuses by itself, and explains a bad order. u_mm: the
    standard uncertainty of the length, with its degrees of freedom, None if not known. category:
    as in the record, such as "locomotive".

    Raises ValueError for a length, gauge, height or radius that is not above zero, or a service
    that is none.
    """

    key: int
    name: str
    length_mm: Decimal | None
    kind: str
    service: str
    gauge_mm: Decimal
    height_mm: Decimal | None = None
    minimum_radius_mm: float | None = None
    held_because: str = ""
    u_mm: float | None = None
    dof: float = math.inf
    category: str = ""

    def __post_init__(self) -> None:
        Service(self.service)
        for what, figure in (
            ("length", self.length_mm),
            ("gauge", self.gauge_mm),
            ("height", self.height_mm),
            ("minimum radius", self.minimum_radius_mm),
        ):
            if figure is not None and not (math.isfinite(figure) and figure > 0):
                raise ValueError(f"{self.name}: a {what} of {figure} mm cannot be.")


@dataclass(frozen=True)
class TrackLimits:
    """What a track takes.

    clear_mm: its clear length. radius_mm: its smallest radius on the way there, None if straight
    or not known. height_mm: of the door or loading gauge, None without one. kinds: of vehicle,
    in plain words, that its industry takes, None where any may stand. spots: how many vehicles
    it takes at most, None where only its length counts.

    Raises ValueError for a clear length or number of spots below zero, or a gauge, radius or
    height that is not above it.
    """

    name: str
    clear_mm: Decimal
    gauge_mm: Decimal
    radius_mm: Decimal | None = None
    height_mm: Decimal | None = None
    kinds: frozenset[str] | None = None
    spots: int | None = None

    def __post_init__(self) -> None:
        if not (self.clear_mm.is_finite() and self.clear_mm >= 0):
            raise ValueError(f"{self.name}: a clear length of {self.clear_mm} mm cannot be.")
        if self.spots is not None and self.spots < 0:
            raise ValueError(f"{self.name}: {self.spots} spots cannot be.")
        for what, figure in (
            ("gauge", self.gauge_mm),
            ("radius", self.radius_mm),
            ("door height", self.height_mm),
        ):
            if figure is not None and not (figure.is_finite() and figure > 0):
                raise ValueError(f"{self.name}: a {what} of {figure} mm cannot be.")


class Code(StrEnum):
    """Why a vehicle is refused; a page chooses its own words and units by it."""

    BAD_ORDER = "bad order"
    AWAITING = "awaiting inspection"
    HELD = "held"
    GAUGE = "wrong gauge"
    NO_LENGTH = "no length measured"
    TOO_LONG = "longer than the track"
    NO_ROOM = "no room left"
    NO_SPOT = "no spot left"
    RADIUS = "curve too tight"
    HEIGHT = "too tall"
    KIND = "kind not taken"
    NO_TIME = "not tried to the end"
    BARRED = "turnout out of service"


#: What speaks against a vehicle wherever it would stand: it may not run.
MAY_NOT_RUN = frozenset({Code.BAD_ORDER, Code.AWAITING, Code.HELD})


@dataclass(frozen=True)
class Refusal:
    """One reason why a vehicle does not go onto a track.

    words: plain, with figures in millimetres. miss_mm: by how much, has_mm: what the vehicle
    has, allows_mm: what the track allows; each None where no figure is behind the reason.
    """

    code: Code
    words: str
    miss_mm: Decimal | None = None
    has_mm: Decimal | None = None
    allows_mm: Decimal | None = None


def _spell(length_mm: Decimal) -> str:
    """Millimetres with one decimal, or with more where they were measured finer."""
    in_full = f"{length_mm:f}".rstrip("0") if "." in f"{length_mm:f}" else ""
    decimals = max(1, len(in_full.partition(".")[2]))
    return f"{length_mm:.{decimals}f} mm"


def refusals(
    candidate: Candidate,
    limits: TrackLimits,
    room_mm: Decimal,
    *,
    slack_mm: Decimal = Decimal(0),
    free_spots: int | None = None,
) -> list[Refusal]:
    """Every reason why a vehicle cannot be put onto a track now; empty when it can.

    room_mm: what is left of the clear length beside those that stand there, below zero where
    they stand foul. slack_mm: added to the vehicle for its coupling. free_spots: spots not taken,
    None where they do not count or nobody stands there, when the track's own number counts.

    A vehicle exactly as long as the room, exactly as tall as the door or on exactly its minimum
    radius is taken. What was never measured does not refuse, except the length; ask `doubts`.

    Raises ValueError for room or slack that are no lengths.
    """
    found = _not_to_run(candidate)
    if abs(candidate.gauge_mm - limits.gauge_mm) > SAME_GAUGE_MM:
        found.append(
            Refusal(
                Code.GAUGE,
                f"its gauge is {_spell(candidate.gauge_mm)}, "
                f"the track's {_spell(limits.gauge_mm)}",
                None,
                candidate.gauge_mm,
                limits.gauge_mm,
            )
        )
    found += _too_long(candidate, limits, room_mm, slack_mm)
    spots = limits.spots if free_spots is None else free_spots
    if spots is not None and spots <= 0:
        found.append(Refusal(Code.NO_SPOT, "no spot is left"))
    found += _too_tight(candidate, limits)
    found += _too_tall(candidate, limits)
    found += _other_kind(candidate, limits)
    return found


def doubts(candidate: Candidate, limits: TrackLimits) -> list[Refusal]:
    """What might refuse a vehicle but cannot be told, because a figure was never measured.

    In the shape of refusals, under the code that would apply, with the limit of the track.
    """
    found = []
    if limits.radius_mm is not None and candidate.minimum_radius_mm is None:
        words = f"whether it goes round {_spell(limits.radius_mm)} is not known"
        found.append(Refusal(Code.RADIUS, words, allows_mm=limits.radius_mm))
    if limits.height_mm is not None and candidate.height_mm is None:
        words = f"no height measured; the door is {_spell(limits.height_mm)} high"
        found.append(Refusal(Code.HEIGHT, words, allows_mm=limits.height_mm))
    return found


def _not_to_run(candidate: Candidate) -> list[Refusal]:
    because = f": {candidate.held_because}" if candidate.held_because else ""
    if candidate.service == Service.BAD_ORDER:
        return [Refusal(Code.BAD_ORDER, f"bad order{because}")]
    if candidate.service == Service.AWAITING:
        return [Refusal(Code.AWAITING, f"awaiting inspection{because}")]
    return [Refusal(Code.HELD, f"held{because}")] if because else []


def taken(length_mm: Decimal, slack_mm: Decimal = Decimal(0)) -> int:
    """The room that a length takes with its coupling slack, in tenths of a millimetre.

    Rounded up once, of both together: apart they could add a tenth that is not there. Raises
    ValueError for a length that is not finite or not above zero, or slack below zero.
    """
    if not (length_mm.is_finite() and length_mm > 0):
        raise ValueError(f"{length_mm} mm is no length of a vehicle.")
    if not (slack_mm.is_finite() and slack_mm >= 0):
        raise ValueError(f"{slack_mm} mm is no slack of a coupling; type 0 or more.")
    together = Fraction(length_mm) + Fraction(slack_mm)
    return math.ceil(10 * together)


def taken_by(candidate: Candidate, slack_mm: Decimal = Decimal(0)) -> int | None:
    """The room that a vehicle takes, as `taken`; None while nobody measured its length."""
    return None if candidate.length_mm is None else taken(candidate.length_mm, slack_mm)


def _too_long(
    candidate: Candidate, limits: TrackLimits, room_mm: Decimal, slack_mm: Decimal
) -> list[Refusal]:
    needed, room = taken_by(candidate, slack_mm), tenths(room_mm, up=False)
    if needed is None:
        return [Refusal(Code.NO_LENGTH, "no length over couplers measured; measure it")]
    clear = tenths(limits.clear_mm, up=False)
    if needed > clear:
        miss = in_mm(needed - clear)
        words = f"{_spell(miss)} too long for the track"
        return [Refusal(Code.TOO_LONG, words, miss, in_mm(needed), in_mm(clear))]
    if needed > room:
        miss = in_mm(needed - room)
        words = f"{_spell(miss)} too long for the room left"
        return [Refusal(Code.NO_ROOM, words, miss, in_mm(needed), in_mm(room))]
    return []


def _too_tight(candidate: Candidate, limits: TrackLimits) -> list[Refusal]:
    if limits.radius_mm is None or candidate.minimum_radius_mm is None:
        return []
    # A computed radius carries the noise of floats, which must not decide a tie; a tenth of a
    # millimetre is far finer than a minimum radius is known.
    needs = Decimal(round(candidate.minimum_radius_mm * 10)).scaleb(-1)
    miss = needs - limits.radius_mm
    if miss <= 0:
        return []
    words = f"needs a radius of {_spell(needs)}; the curve has {_spell(limits.radius_mm)}"
    return [Refusal(Code.RADIUS, words, miss, needs, limits.radius_mm)]


def _too_tall(candidate: Candidate, limits: TrackLimits) -> list[Refusal]:
    if limits.height_mm is None or candidate.height_mm is None:
        return []
    miss = candidate.height_mm - limits.height_mm
    if miss <= 0:
        return []
    words = f"{_spell(miss)} too tall for the door of {_spell(limits.height_mm)}"
    return [Refusal(Code.HEIGHT, words, miss, candidate.height_mm, limits.height_mm)]


def _other_kind(candidate: Candidate, limits: TrackLimits) -> list[Refusal]:
    if limits.kinds is None:
        return []
    if candidate.kind.strip().casefold() in {kind.strip().casefold() for kind in limits.kinds}:
        return []
    welcome = ", ".join(sorted(limits.kinds)) or "nothing"
    return [Refusal(Code.KIND, f"a {candidate.kind}; taken here: {welcome}")]


# --- The best cut -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Cut:
    """Vehicles to put onto a track together, in the order in which they were given.

    room_mm: rounded down, taken_mm: with every vehicle's slack and rounding, left_mm: the
    difference; all with one decimal. slack_mm: of each coupling. left_mm is below zero only where
    the room already was.
    """

    vehicles: tuple[Candidate, ...]
    room_mm: Decimal
    taken_mm: Decimal
    slack_mm: Decimal = Decimal(0)

    @property
    def left_mm(self) -> Decimal:
        """Room that is left over, in millimetres."""
        return self.room_mm - self.taken_mm

    @property
    def expanded_mm(self) -> float | None:
        """Expanded uncertainty at 95 % of its length, from those of its vehicles taken as
        independent (GUM 5.1.2); None where one of them is not known, zero without any vehicle."""
        parts = [
            Measured(each.length_mm, each.u_mm, each.dof, (each.length_mm,))
            for each in self.vehicles
            if each.length_mm is not None and each.u_mm is not None
        ]
        if len(parts) < len(self.vehicles):
            return None
        return combine_sum(*parts).expanded if parts else 0.0

    @property
    def is_close(self) -> bool:
        """Whether less is left over than its length may be wrong by."""
        expanded = self.expanded_mm
        return expanded is not None and float(self.left_mm) < expanded

    @property
    def keys(self) -> tuple[int, ...]:
        """The keys of its vehicles, in their order."""
        return tuple(vehicle.key for vehicle in self.vehicles)

    def __len__(self) -> int:
        return len(self.vehicles)


def best_cut(
    candidates: Sequence[Candidate],
    room_mm: Decimal,
    *,
    slack_mm: Decimal = Decimal(0),
    must_include: frozenset[int] = frozenset(),
    most: int | None = None,
    by: Literal["length", "count"] = "length",
) -> Cut:
    """The cut that fills a track best: the true optimum, not a good guess.

    candidates: those that may stand there, in order of preference; only their length is looked
    at, and one without a length is passed over. room_mm: in millimetres. slack_mm: added to each
    vehicle for its coupling. must_include: keys of vehicles that have to be in it. most: how many
    vehicles at most, for a track with spots.

    By "length" the cut takes the most room, slack included, and of those that take equally much
    has the fewest vehicles; by "count" it has the most vehicles, and of those the one that takes
    the most room. Where several are still equal, the one whose last vehicle comes earliest in
    the order given wins, then by its last but one, and so on, so that one question has one answer.

    Why it is exact: lengths are whole tenths of a millimetre, so the totals that the first i
    vehicles can make with k of them are a set of whole numbers, kept as the bits of one Python
    integer. With the next vehicle, of length w, the set for k becomes itself together with the
    set for k - 1 moved by w; nothing is sampled, rounded or left out. What is dropped cannot be
    of use: totals above the room; totals so far from those of the longest (or the shortest)
    vehicles that they stay below one that is known to be possible (or go above the room); and of
    equally long vehicles more than the room holds. The cut is then read back from the sets.

    Raises CutImpossible when the vehicles of `must_include` do not fit together, are too many or
    have no length; ValueError for a key twice, a key in `must_include` that is no candidate,
    and a room, slack or number that is none.
    """
    if most is not None and most < 0:
        raise ValueError(f"A cut of at most {most} vehicles cannot be.")
    if by not in ("length", "count"):
        raise ValueError(f"A cut is best by length or by count, not by {by!r}.")
    room = tenths(room_mm, up=False)
    lengths = [taken_by(candidate, slack_mm) for candidate in candidates]
    forced = _forced(candidates, lengths, room, must_include, most)
    rest = [i for i, length in enumerate(lengths) if length is not None and i not in forced]
    picked = fill(
        [lengths[i] or 0 for i in rest],
        room - sum(forced.values()),
        len(rest) if most is None else min(len(rest), most - len(forced)),
        by_count=by == "count",
    )
    chosen = sorted([*forced, *(rest[i] for i in picked)])
    return Cut(
        tuple(candidates[i] for i in chosen),
        in_mm(room),
        in_mm(sum(lengths[i] or 0 for i in chosen)),
        slack_mm,
    )


def _forced(
    candidates: Sequence[Candidate],
    lengths: Sequence[int | None],
    room: int,
    must_include: frozenset[int],
    most: int | None,
) -> dict[int, int]:
    """Places in the order of those that have to be in a cut, with the room that they take."""
    places = {candidate.key: i for i, candidate in enumerate(candidates)}
    if len(places) < len(candidates):
        raise ValueError("Two candidates have the same key.")
    strangers = must_include - places.keys()
    if strangers:
        raise ValueError(f"No candidates: {', '.join(map(str, sorted(strangers)))}.")
    forced = {places[key]: lengths[places[key]] for key in must_include}
    unmeasured = [candidates[i].name for i in sorted(forced) if forced[i] is None]
    if unmeasured:
        raise CutImpossible(
            f"No length over couplers was measured of {', '.join(unmeasured)}; measure it first."
        )
    known = {i: length for i, length in forced.items() if length is not None}
    if most is not None and len(known) > most:
        raise CutImpossible(f"{len(known)} vehicles have to be in the cut, with {most} spots.")
    over = sum(known.values()) - room
    if known and over > 0:
        raise CutImpossible(
            f"The vehicles that have to be in the cut are {_spell(in_mm(over))} too long together."
        )
    return known


def fill(lengths: Sequence[int], room: int, most: int, *, by_count: bool) -> list[int]:
    """Places, rising, of the best choice from lengths above zero, of at most so many of them.

    Whole numbers of any one unit. `best_cut` says what is best, and why this is exact.
    """
    places = _useful(lengths, room)
    ordered = sorted(lengths[place] for place in places)
    most = min(most, _count_within(ordered, room))
    if most <= 0 or most == len(ordered):
        return places[: max(0, most)]
    kept = [lengths[place] for place in places]
    room = min(room, sum(ordered[-most:]))
    if by_count:
        least = _longest_neighbours(ordered, most, room)
        found = _Table(kept, most=most, least=least, room=room, by_count=True).best()
    else:
        room, enough = _fullest(ordered, room)
        if enough <= most:
            found = _fewest(kept, room, enough)
        else:
            least = _longest_neighbours(ordered, most, room)
            found = _Table(kept, most=most, least=least, room=room, by_count=False).best()
    return [places[i] for i in found]


def _fewest(lengths: Sequence[int], total: int, enough: int) -> list[int]:
    """Places of the fewest vehicles that make a total, of which `enough` or fewer can make it.

    Begins with as few of the longest as come up to the total, where a table is at its narrowest.
    """
    most = 1 + sum(short < total for short in accumulate(sorted(lengths, reverse=True)))
    more = 1
    while not (found := _exactly(lengths, total, min(most, enough))):
        most, more = most + more, 2 * more
    return found


def _exactly(lengths: Sequence[int], total: int, most: int) -> list[int]:
    return _Table(lengths, most=most, least=total, room=total, by_count=False).best()


def _useful(lengths: Sequence[int], room: int) -> list[int]:
    """Places of those short enough, of equal ones only as many as the room holds: the earliest,
    since a tie between equal vehicles goes to the one that comes first."""
    seen: Counter[int] = Counter()
    places = []
    for place, length in enumerate(lengths):
        if (seen[length] + 1) * length <= room:
            seen[length] += 1
            places.append(place)
    return places


def _count_within(ordered: Sequence[int], room: int) -> int:
    """How many of the shortest fit, from lengths in rising order."""
    return sum(total <= room for total in accumulate(ordered))


def _longest_neighbours(ordered: Sequence[int], count: int, room: int) -> int:
    """A total that `count` vehicles can make, not above the room: the greatest of those that
    follow one another in rising order. The `count` shortest have to fit."""
    totals = [0, *accumulate(ordered)]
    windows = (totals[i + count] - totals[i] for i in range(len(ordered) - count + 1))
    return max(total for total in windows if total <= room)


def _fullest(ordered: Sequence[int], room: int) -> tuple[int, int]:
    """The greatest total not above the room, and a number of vehicles that is enough for it.

    The long ones are tried first and the search ends when the room is full, so that the number
    is found from long vehicles only and stays close to the fewest possible.
    """
    reached, within, best, tried = 1, (1 << room + 1) - 1, 0, 0
    for count, length in enumerate(reversed(ordered), start=1):
        reached |= (reached << length) & within
        top = reached.bit_length() - 1
        if top > best:
            best, tried = top, count
            if best == room:
                break
    return best, _count_within(ordered[len(ordered) - tried :], best)


class _Table:
    """All totals from `least` to `room` that k of the first i vehicles can make, for every i and
    for every k up to `most`.

    A total is not kept itself but as its distance from an end beyond which none can be: the total
    of the `most` longest, or of the `most` shortest. Such a distance adds up. With a pivot, the
    least long of those longest, each longer vehicle that is left out adds what it is longer, and
    each shorter one that is put in adds what it is shorter; no vehicle ever takes any off. So a
    distance that is too great already stays so, and only as many bits are needed as the totals
    asked for lie away from the end, however long the track is.

    A row of the table is one integer for each k; its bit b says that a distance of b can be made.
    Rows are kept once for every block of vehicles and worked out again inside a block when asked
    for: the square root of the memory for at most twice the work.
    """

    def __init__(
        self,
        lengths: Sequence[int],
        *,
        most: int,
        least: int,
        room: int,
        by_count: bool,
    ) -> None:
        ordered = sorted(lengths)
        from_longest = sum(ordered[-most:]) - least
        from_shortest = room - sum(ordered[:most])
        # By length fewer than `most` may be enough, whose totals lie far from the shortest.
        if not by_count or from_longest <= from_shortest:
            self.sign, self.pivot, span = -1, ordered[-most], from_longest
        else:
            self.sign, self.pivot, span = 1, ordered[most - 1], from_shortest
        self.by_count, self.least, self.room = by_count, least, room
        adds = [self.sign * (length - self.pivot) for length in lengths]
        # One that adds more than the span can only be left out, which is no step at all.
        self.places = [place for place, add in enumerate(adds) if add <= span]
        self.lengths = [lengths[place] for place in self.places]
        self.adds = [adds[place] for place in self.places]
        self.left_out = [0, *accumulate(max(0, -add) for add in self.adds)]
        self.within = (1 << span + 1) - 1
        self.block = math.isqrt(len(self.adds)) + 1
        row = [1, *[0] * most]
        self.kept = [row]
        for begin in range(0, len(self.adds), self.block):
            for add in self.adds[begin : begin + self.block]:
                row = self._next(row, add)
            self.kept.append(row)

    def _next(self, row: list[int], add: int) -> list[int]:
        """The row after one more vehicle, which is either left out or put in."""
        pairs = zip(row, [0, *row], strict=False)
        if add < 0:
            return [(out << -add | put) & self.within if out or put else 0 for out, put in pairs]
        return [out | put << add & self.within if put else out for out, put in pairs]

    def _distance(self, count: int, k: int, total: int) -> int:
        """The bit of a total that the first `count` vehicles make with k of them."""
        return self.sign * (total - k * self.pivot) + self.left_out[count]

    def _has(self, row: Sequence[int], count: int, k: int, total: int) -> bool:
        distance = self._distance(count, k, total)
        return distance >= 0 and row[k] >> distance & 1 == 1

    def best(self) -> list[int]:
        """Places of the vehicles of the best total: with the most vehicles, or with the fewest
        that make the greatest of all; none when no total lies between the bounds."""
        row, count = self.kept[-1], len(self.adds)
        totals = {}
        for k in range(len(row) - 1 if self.by_count else 0, len(row)):
            # The bit of the room is at the near end from the longest, at the far one otherwise.
            edge = max(0, self._distance(count, k, self.room))
            bits = row[k] >> edge << edge if self.sign < 0 else row[k]
            if bits:
                bit = ((bits & -bits) if self.sign < 0 else bits).bit_length() - 1
                totals[k] = k * self.pivot + self.sign * (bit - self.left_out[count])
        k = max(totals, key=lambda k: (totals[k], -k), default=0)
        return self._trace(k, totals[k]) if totals.get(k, 0) >= self.least else []

    def _trace(self, k: int, total: int) -> list[int]:
        """Places of k vehicles of that total, the last of them as early as can be."""
        chosen: list[int] = []
        count, held, rows = len(self.adds), -1, []
        while k:
            # The vehicle with which the total first became possible has to be in it.
            for block in range(-(-count // self.block) - 1, -1, -1):
                begin = block * self.block
                if not self._has(self.kept[block], begin, k, total):
                    break
            if block != held:
                held, rows = block, self._rows_of(block)
            count = begin
            while not self._has(rows[count - begin], count + 1, k, total):
                count += 1
            chosen.append(self.places[count])
            total -= self.lengths[count]
            k -= 1
        return chosen[::-1]

    def _rows_of(self, block: int) -> list[list[int]]:
        """The row after each vehicle of a block."""
        row, rows = self.kept[block], []
        for add in self.adds[block * self.block : (block + 1) * self.block]:
            row = self._next(row, add)
            rows.append(row)
        return rows
