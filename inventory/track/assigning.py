"""Several tracks and many vehicles: who stands where, so that most of them find a place.

The one user of the HiGHS solver. Its answers come in floats and are believed only after they were
checked again in whole tenths of a millimetre, so a vehicle is never put where it does not fit.
"""

from __future__ import annotations

import math
import time
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from itertools import accumulate

import highspy

from inventory.track.fitting import (
    Candidate,
    Code,
    Refusal,
    TrackLimits,
    fill,
    in_mm,
    refusals,
    taken_by,
    tenths,
)


class Aim(StrEnum):
    """What an assignment is good for; the first counts most."""

    PLACED = "vehicles placed"
    AT_HOME = "vehicles at home"
    ROOM = "room filled"


@dataclass(frozen=True)
class OpenTrack:
    """A track that vehicles are to be put on.

    room_mm: what is left of its clear length beside those that stay there. free_spots: spots
    that are left, None where they do not count or all of the track's own are free.
    """

    key: int
    limits: TrackLimits
    room_mm: Decimal
    free_spots: int | None = None

    @property
    def spots(self) -> int | None:
        """How many vehicles may still come, None where only their length counts."""
        return self.limits.spots if self.free_spots is None else self.free_spots


@dataclass(frozen=True)
class Placement:
    """One vehicle on one track, by their keys; is_home where that track is a home of its own."""

    vehicle: int
    track: int
    is_home: bool


@dataclass(frozen=True)
class LeftOver:
    """A vehicle that found no place, and for each track, by its key, every reason.

    Where it could stand but for those that were put there, the reason is `Code.NO_ROOM` with what
    is missing beside them, or `Code.NO_SPOT`; `Code.NO_TIME` where the search was cut short.
    """

    vehicle: int
    reasons: Mapping[int, tuple[Refusal, ...]]


@dataclass(frozen=True)
class Assignment:
    """Who stands where, and who found no place, both in the order of the vehicles.

    room_left_mm: by the key of the track, with one decimal. proved: the aims in which no other
    assignment does better without doing worse in an earlier one; those missing were still open
    when the time was up.
    """

    placements: tuple[Placement, ...]
    left_over: tuple[LeftOver, ...]
    room_left_mm: Mapping[int, Decimal]
    proved: tuple[Aim, ...]

    @property
    def is_proved_best(self) -> bool:
        """Whether no assignment at all is better, in any of the aims."""
        return self.proved == tuple(Aim)

    def on(self, track: int) -> tuple[int, ...]:
        """Keys of the vehicles put on a track, in their order."""
        return tuple(each.vehicle for each in self.placements if each.track == track)


@dataclass(frozen=True)
class _Alike:
    """Vehicles that the question cannot tell apart: equally long, welcome on the same tracks and
    at home on the same. Solved as one number a track, which spares the solver their exchanges."""

    taken: int
    welcome: tuple[int, ...]  # places of tracks
    homes: frozenset[int]
    members: tuple[int, ...]  # places of vehicles


_Key = tuple[int, int]  # place of a group of vehicles that are alike, place of a track
_Counts = dict[_Key, int]
_Worth = Mapping[_Key, int]

# Far above the rounding of the solver's floats, far below one.
_NOISE = 1e-4


def assign(
    tracks: Sequence[OpenTrack],
    candidates: Sequence[Candidate],
    homes: Mapping[int, Collection[int]],
    *,
    slack_mm: Decimal = Decimal(0),
    time_limit_s: float = 5.0,
) -> Assignment:
    """Put vehicles on tracks: as many as can be, then at home, then filling the most room.

    homes: by the key of a vehicle, the keys of the tracks on which it is at home; a track that is
    not among `tracks` has no say. slack_mm: added to each vehicle for its coupling. time_limit_s:
    in seconds, for the whole of the solving; zero gives a fair first try, unproved.

    No vehicle is put where `refusals` names a reason, nor beside others where room or spots run
    out. The three aims are followed one after the other, each holding what those before it
    reached, as whole-number problems that HiGHS solves to proven optimality unless the time runs
    out. Lengths are whole tenths of a millimetre, and what the solver says is checked in them.

    Raises ValueError for a key twice among tracks or among vehicles, slack below zero, or a time
    limit below zero.
    """
    if not time_limit_s >= 0:
        raise ValueError(f"{time_limit_s} s is no time limit.")
    for what, keys in (
        ("tracks", [track.key for track in tracks]),
        ("vehicles", [candidate.key for candidate in candidates]),
    ):
        if len(set(keys)) < len(keys):
            raise ValueError(f"Two {what} have the same key.")
    reasons = [
        [
            tuple(
                refusals(
                    candidate,
                    track.limits,
                    track.room_mm,
                    slack_mm=slack_mm,
                    free_spots=track.free_spots,
                )
            )
            for track in tracks
        ]
        for candidate in candidates
    ]
    problem = _Problem(tracks, _group(tracks, candidates, homes, reasons, slack_mm))
    counts, proved = problem.solve(time.monotonic() + time_limit_s)
    placed = problem.individuals(counts)
    room_left = problem.room_left(counts)
    spots_left = problem.spots_left(counts)
    return Assignment(
        placements=tuple(
            Placement(
                candidates[i].key,
                tracks[placed[i]].key,
                tracks[placed[i]].key in homes.get(candidates[i].key, ()),
            )
            for i in sorted(placed)
        ),
        left_over=tuple(
            LeftOver(
                candidate.key,
                {
                    track.key: reasons[i][j]
                    or _crowded_out(candidate, slack_mm, room_left[j], spots_left[j])
                    for j, track in enumerate(tracks)
                },
            )
            for i, candidate in enumerate(candidates)
            if i not in placed
        ),
        room_left_mm={
            track.key: in_mm(left) for track, left in zip(tracks, room_left, strict=True)
        },
        proved=proved,
    )


def _group(
    tracks: Sequence[OpenTrack],
    candidates: Sequence[Candidate],
    homes: Mapping[int, Collection[int]],
    reasons: Sequence[Sequence[tuple[Refusal, ...]]],
    slack_mm: Decimal,
) -> list[_Alike]:
    """Those that are welcome somewhere, in groups that are alike, in the order of the first."""
    groups: dict[tuple[int, tuple[int, ...], frozenset[int]], list[int]] = defaultdict(list)
    for i, candidate in enumerate(candidates):
        welcome = tuple(j for j in range(len(tracks)) if not reasons[i][j])
        at_home = frozenset(j for j in welcome if tracks[j].key in homes.get(candidate.key, ()))
        needed = taken_by(candidate, slack_mm)
        if welcome and needed is not None:
            groups[needed, welcome, at_home].append(i)
    return [_Alike(*alike, tuple(members)) for alike, members in groups.items()]


def _crowded_out(
    candidate: Candidate, slack_mm: Decimal, room_left: int, spots_left: int | None
) -> tuple[Refusal, ...]:
    """Why a vehicle that is welcome on a track does not go beside those that were put there."""
    if spots_left == 0:
        return (Refusal(Code.NO_SPOT, "no spot is left beside the others"),)
    needed = taken_by(candidate, slack_mm) or 0
    if needed <= room_left:
        # Only when the time was up before it was seen.
        return (Refusal(Code.NO_TIME, "may find a place; the time was up"),)
    miss = in_mm(needed - room_left)
    words = f"{miss} mm too long beside the others"
    return (Refusal(Code.NO_ROOM, words, miss, in_mm(needed), in_mm(room_left)),)


class _Problem:
    """How many of each group stand on each track."""

    def __init__(self, tracks: Sequence[OpenTrack], groups: Sequence[_Alike]) -> None:
        self.groups = groups
        self.rooms = [tenths(track.room_mm, up=False) for track in tracks]
        self.spots = [track.spots for track in tracks]
        self.keys: list[_Key] = [
            (group, track) for group, alike in enumerate(groups) for track in alike.welcome
        ]

    def solve(self, until: float) -> tuple[_Counts, tuple[Aim, ...]]:
        """The best counts found until a moment of the monotonic clock, and what is proved of
        them."""
        counts = self._first_try()
        held: list[tuple[_Worth, int]] = []
        for aim in Aim:
            worth = self._worth_by(aim)
            counts, is_proved = self._improve(
                worth, self._ceiling(aim, worth), held, counts, until
            )
            counts = self._polished(counts)
            if not is_proved:
                # A later aim must not be settled on an earlier one that is still open.
                break
            held.append((worth, _total(worth, counts)))
        return counts, tuple(Aim)[: len(held)]

    def _worth_by(self, aim: Aim) -> _Worth:
        """What one vehicle of a group on a track is worth by an aim."""
        if aim is Aim.PLACED:
            return dict.fromkeys(self.keys, 1)
        if aim is Aim.AT_HOME:
            return {key: int(key[1] in self.groups[key[0]].homes) for key in self.keys}
        return {key: self.groups[key[0]].taken for key in self.keys}

    def _ceiling(self, aim: Aim, worth: _Worth) -> int:
        """What no assignment can be worth more than: every vehicle at its best, and no more of
        them than go into all the room taken as one."""
        room = sum(self.rooms[track] for track in {track for _, track in self.keys})
        if aim is Aim.PLACED:
            lengths = sorted(alike.taken for alike in self.groups for _ in alike.members)
            return sum(together <= room for together in accumulate(lengths))
        ceiling = sum(
            len(alike.members) * max(worth[group, track] for track in alike.welcome)
            for group, alike in enumerate(self.groups)
        )
        return min(ceiling, room) if aim is Aim.ROOM else ceiling

    def _first_try(self) -> _Counts:
        """A fair assignment without search: the better of the shortest first, which places many,
        and the longest first, which leaves few over where nearly all go in."""
        worths = [self._worth_by(aim) for aim in Aim]
        return max(
            (self._polished(self._in_turn(direction)) for direction in (1, -1)),
            key=lambda counts: [_total(worth, counts) for worth in worths],
        )

    def _in_turn(self, direction: int) -> _Counts:
        """Those welcome on the fewest tracks first, then by length, rising or falling; each at
        home where it can be, else where the least room is left."""
        counts: _Counts = defaultdict(int)
        rooms, spots = self.rooms.copy(), self.spots.copy()
        for group, alike in sorted(
            enumerate(self.groups),
            key=lambda each: (len(each[1].welcome), direction * each[1].taken),
        ):
            for _ in alike.members:
                open_to = [j for j in alike.welcome if rooms[j] >= alike.taken and spots[j] != 0]
                if not open_to:
                    break
                track = min(open_to, key=lambda j: (j not in alike.homes, rooms[j], j))
                counts[group, track] += 1
                rooms[track] -= alike.taken
                left = spots[track]
                spots[track] = None if left is None else left - 1
        return dict(counts)

    def _polished(self, counts: _Counts) -> _Counts:
        """Counts as good or better: each track in turn filled as well as it can be with those
        that stand there or nowhere. First those that are not at home there are chosen anew, then
        those that are, so that neither takes the place of the other."""
        counts = dict(counts)
        for track in range(len(self.rooms)):
            for at_home in (False, True):
                self._refill(counts, track, at_home)
        return counts

    def _refill(self, counts: _Counts, track: int, at_home: bool) -> None:
        loose = []
        for group, alike in enumerate(self.groups):
            if track in alike.welcome and (track in alike.homes) == at_home:
                counts.pop((group, track), None)
                placed = sum(counts.get((group, other), 0) for other in alike.welcome)
                loose += [group] * (len(alike.members) - placed)
        room, spots = self.room_left(counts)[track], self.spots_left(counts)[track]
        most = len(loose) if spots is None else min(spots, len(loose))
        lengths = [self.groups[group].taken for group in loose]
        for place in fill(lengths, room, most, by_count=True):
            key = loose[place], track
            counts[key] = counts.get(key, 0) + 1

    def _improve(
        self,
        worth: _Worth,
        ceiling: int,
        held: Sequence[tuple[_Worth, int]],
        counts: _Counts,
        until: float,
    ) -> tuple[_Counts, bool]:
        """Counts that are worth the most and no less in what is held, and whether that is
        proved; those given if nothing better was found in time."""
        if _total(worth, counts) >= ceiling:
            return counts, True
        found, bound = self._ask_solver(worth, held, until - time.monotonic())
        if (
            found is not None
            and self._is_possible(found, held)
            and _total(worth, found) > _total(worth, counts)
        ):
            counts = found
        # Only the bound is believed of the solver; what reaches it is counted here.
        return counts, bound is not None and _total(worth, counts) >= bound

    def _is_possible(self, counts: _Counts, held: Sequence[tuple[_Worth, int]]) -> bool:
        """Checked in whole numbers, whatever the solver's tolerances."""
        used = [0] * len(self.groups)
        for (group, _), count in counts.items():
            used[group] += count
        members = [len(alike.members) for alike in self.groups]
        room_left, spots_left = self.room_left(counts), self.spots_left(counts)
        return (
            all(count >= 0 for count in counts.values())
            and all(count <= number for count, number in zip(used, members, strict=True))
            and all(room_left[track] >= 0 for _, track in counts)
            and all((spots_left[track] or 0) >= 0 for _, track in counts)
            and all(_total(worth, counts) >= least for worth, least in held)
        )

    def _ask_solver(
        self, worth: _Worth, held: Sequence[tuple[_Worth, int]], seconds: float
    ) -> tuple[_Counts | None, int | None]:
        """The counts that the solver finds in so many seconds, and what it proves that none can
        be worth more than; None for what it has not.

        It is not told the counts known so far: HiGHS 1.16 may then report them as its answer
        together with the worth of a better one.
        """
        if seconds <= 0:
            return None, None
        solver = highspy.Highs()  # type: ignore[no-untyped-call]
        solver.silent()
        solver.setOptionValue("time_limit", seconds)
        # Every aim is a whole number, so what is less than one better is no better.
        solver.setOptionValue("mip_rel_gap", 0.0)
        solver.setOptionValue("mip_abs_gap", 0.999)
        self._state(solver, worth, held)
        solver.run()
        solution = solver.getSolution()
        found = None
        if solution.value_valid:
            rounded = zip(self.keys, map(round, solution.col_value), strict=True)
            found = {key: count for key, count in rounded if count}
        if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return found, None
        return found, math.floor(solver.getInfo().mip_dual_bound + _NOISE)

    def _state(
        self,
        solver: highspy.Highs,
        worth: _Worth,
        held: Sequence[tuple[_Worth, int]],
    ) -> None:
        """Tell the solver the question."""
        every = list(range(len(self.keys)))
        most = [float(len(self.groups[group].members)) for group, _ in self.keys]
        solver.addVars(len(every), [0.0] * len(every), most)
        for column in every:
            solver.changeColIntegrality(column, highspy.HighsVarType.kInteger)
        solver.changeColsCost(len(every), every, [float(worth[key]) for key in self.keys])
        solver.changeObjectiveSense(highspy.ObjSense.kMaximize)
        of_group: dict[int, list[int]] = defaultdict(list)
        of_track: dict[int, list[int]] = defaultdict(list)
        for column, (group, track) in enumerate(self.keys):
            of_group[group].append(column)
            of_track[track].append(column)
        for group, columns in of_group.items():
            members = len(self.groups[group].members)
            _add_row(solver, -highspy.kHighsInf, members, columns, [1] * len(columns))
        for track, columns in of_track.items():
            lengths = [self.groups[self.keys[column][0]].taken for column in columns]
            _add_row(solver, -highspy.kHighsInf, self.rooms[track], columns, lengths)
            spots = self.spots[track]
            if spots is not None:
                _add_row(solver, -highspy.kHighsInf, spots, columns, [1] * len(columns))
        for held_worth, least in held:
            amounts = [held_worth[key] for key in self.keys]
            _add_row(solver, least, highspy.kHighsInf, every, amounts)

    def room_left(self, counts: _Counts) -> list[int]:
        """By the place of the track, in tenths of a millimetre."""
        left = self.rooms.copy()
        for (group, track), count in counts.items():
            left[track] -= count * self.groups[group].taken
        return left

    def spots_left(self, counts: _Counts) -> list[int | None]:
        """By the place of the track, None where they do not count."""
        used = [0] * len(self.rooms)
        for (_, track), count in counts.items():
            used[track] += count
        return [
            None if spots is None else spots - count
            for spots, count in zip(self.spots, used, strict=True)
        ]

    def individuals(self, counts: _Counts) -> dict[int, int]:
        """Places of the vehicles and of their tracks: the first of a group on the first track."""
        placed = {}
        for group, alike in enumerate(self.groups):
            members = iter(alike.members)
            for track in alike.welcome:
                for _ in range(counts.get((group, track), 0)):
                    placed[next(members)] = track
        return placed


def _total(worth: _Worth, counts: _Counts) -> int:
    return sum(worth[key] * count for key, count in counts.items())


def _add_row(
    solver: highspy.Highs,
    low: float,
    high: float,
    columns: Sequence[int],
    amounts: Sequence[int],
) -> None:
    solver.addRow(
        float(low), float(high), len(columns), list(columns), [float(each) for each in amounts]
    )
