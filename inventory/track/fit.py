"""What the pages of a track show: who stands there, who else fits, and why the others do not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.stock.models import Vehicle, VehicleQuerySet
from inventory.track.clearing import Clearing, Widest, clearing_of
from inventory.track.fitting import (
    MAY_NOT_RUN,
    Candidate,
    Code,
    Refusal,
    TrackLimits,
    doubts,
    in_mm,
    refusals,
    taken_by,
)
from inventory.track.models import Railway, Standing, Track, Traffic
from inventory.track.offering import offer
from inventory.track.standing import candidates


@dataclass(frozen=True)
class Stood:
    """One track with everything about it that the fitting needs.

    standing: in their order from the far end. room_mm: what is left of the clear length, below
    zero where they stand foul; None where the clear length cannot be told. unmeasured: those that
    stand there without a length, so that the room left is not known either. kinds: what its
    industries take; empty where any kind may stand. problem: why nothing may be reckoned with its
    clear length, in words; empty where it may.
    """

    track: Track
    clearing: Clearing
    standing: tuple[Candidate, ...]
    room_mm: Decimal | None
    taken_mm: Decimal
    unmeasured: tuple[Candidate, ...]
    kinds: frozenset[str] = frozenset()
    problem: str = ""

    @property
    def slack_mm(self) -> Decimal:
        """What each vehicle takes beside its length, for its coupling."""
        return self.track.place.railway.coupling_slack

    @property
    def never_clears(self) -> bool:
        """Whether its length is known, but its neighbour is too close for anything to clear."""
        return bool(self.problem) and self.clearing.clear_mm is not None

    @property
    def unknown(self) -> str:
        """Why its room left cannot be told, in words; empty where it can."""
        if self.problem or not self.unmeasured:
            return self.problem
        return f"no length measured of {named(self.unmeasured)}"

    @property
    def barred(self) -> str:
        """Why nobody gets there, in words: every turnout that it was measured from is out of
        service. Empty where there is a way in, or where none of them is named."""
        turnouts = [
            each for each in (self.track.a_turnout, self.track.b_turnout) if each is not None
        ]
        held = [each for each in turnouts if each.held_because]
        if not held or len(held) < len(turnouts):
            return ""
        return "; ".join(
            f"{each.name} is out of service: {each.held_because}" for each in dict.fromkeys(held)
        )

    @property
    def names(self) -> str:
        """Who stands there, the first of them by name."""
        return named(self.standing)

    @property
    def too_long_mm(self) -> Decimal | None:
        """By how much those that stand there are longer than its clear length; None where they
        are not, or where it cannot be told."""
        if self.room_mm is None or self.room_mm >= 0:
            return None
        return -self.room_mm

    @property
    def beyond_spots(self) -> int:
        """How many more stand there than it has spots."""
        if self.track.most_vehicles is None:
            return 0
        return max(0, len(self.standing) - self.track.most_vehicles)

    @property
    def limits(self) -> TrackLimits | None:
        """What the track takes; None where nothing may be reckoned with its clear length."""
        if self.problem or self.clearing.clear_mm is None:
            return None
        track = self.track
        return TrackLimits(
            name=track.name,
            clear_mm=self.clearing.clear_mm,
            gauge_mm=track.place.railway.standard.gauge_mm,
            radius_mm=track.radius,
            height_mm=track.door_height,
            kinds=self.kinds or None,
            spots=track.most_vehicles,
        )

    @property
    def free_spots(self) -> int | None:
        """Spots that nobody stands on; None where they do not count."""
        if self.track.most_vehicles is None:
            return None
        return max(0, self.track.most_vehicles - len(self.standing))


def stood(railway: Railway, tracks: Sequence[Track] | None = None) -> list[Stood]:
    """The tracks of a railway as they stand, in the order of places and tracks."""
    return stood_on([railway], tracks)


def stood_on(railways: Sequence[Railway], tracks: Sequence[Track] | None = None) -> list[Stood]:
    """The same of several railways, one after the other, in as many queries as of one where
    their stock is of one size."""
    if tracks is None:
        tracks = list(
            Track.objects.filter(place__railway__in=railways)
            .select_related("place__railway", "a_turnout", "b_turnout")
            .order_by("place__railway__name", "place__position", "position", "pk")
        )
    of_a_size = {each.scales: each for each in railways}
    widest_in = {scales: Widest.of(each) for scales, each in of_a_size.items()}
    rows = (
        Standing.objects.filter(track__in=[track.pk for track in tracks])
        .select_related("vehicle")
        .order_by("position", "pk")
    )
    known = {each.key: each for each in candidates(row.vehicle for row in rows)}
    taken: dict[int, set[str]] = {}
    for traffic in Traffic.objects.filter(industry__tracks__in=tracks).prefetch_related(
        "industry__tracks"
    ):
        for track in traffic.industry.tracks.all():
            taken.setdefault(track.pk, set()).update(traffic.kind_words)
    on: dict[int, list[Candidate]] = {}
    for row in rows:
        on.setdefault(row.track_id, []).append(known[row.vehicle_id])
    return [
        _stood(
            track,
            clearing_of(track, track.place.railway, widest_in[track.place.railway.scales]),
            on.get(track.pk, []),
            frozenset(taken.get(track.pk, ())),
        )
        for track in tracks
    ]


def _stood(
    track: Track, clearing: Clearing, standing: Sequence[Candidate], kinds: frozenset[str]
) -> Stood:
    slack = track.place.railway.coupling_slack
    taken = in_mm(sum(taken_by(each, slack) or 0 for each in standing))
    unmeasured = tuple(each for each in standing if each.length_mm is None)
    # Where the neighbour is too close, whoever stands there is foul however long the track is.
    problem = clearing.problem or clearing.too_close
    room = None
    if clearing.clear_mm is not None and not problem and not unmeasured:
        room = clearing.clear_mm - taken
    return Stood(track, clearing, tuple(standing), room, taken, unmeasured, kinds, problem)


def named(vehicles: Sequence[Candidate], most: int = 6) -> str:
    """Vehicles by name: all of them, or the first with the number of the others."""
    names = [each.name for each in vehicles[:most]]
    more = [f"{len(vehicles) - most} more"] if len(vehicles) > most else []
    return ", ".join(names) + (f" and {more[0]}" if more else "")


@dataclass(frozen=True)
class Answer:
    """One vehicle asked onto a track: every reason against it, and what could not be told.

    unknown: why it cannot be told whether it fits, where the track itself is the reason.
    """

    candidate: Candidate
    refusals: tuple[Refusal, ...]
    doubts: tuple[Refusal, ...]
    unknown: str = ""

    @property
    def fits(self) -> bool:
        """Whether nothing is known against it."""
        return not self.refusals and not self.unknown

    @property
    def may_stand(self) -> bool:
        """Whether its wheels are of the track's gauge, so that it may stand there all the same."""
        return all(each.code != Code.GAUGE for each in self.refusals)


def answers(shown: Stood, pool: Sequence[Candidate]) -> list[Answer]:
    """Who of a pool fits a track now, the longest that fit first, then the others by name.

    Where the room left cannot be told, nobody is said to fit.
    """
    limits = shown.limits
    if limits is None or shown.room_mm is None:
        return [Answer(each, (), (), "the room left cannot be told") for each in pool]
    barred = [Refusal(Code.BARRED, shown.barred)] if shown.barred else []
    found = [
        Answer(
            each,
            tuple(
                barred
                + refusals(
                    each,
                    limits,
                    shown.room_mm,
                    slack_mm=shown.slack_mm,
                    free_spots=shown.free_spots,
                )
            ),
            tuple(doubts(each, limits)),
        )
        for each in pool
    ]
    return sorted(
        found,
        key=lambda answer: (
            not answer.fits,
            -(answer.candidate.length_mm or 0) if answer.fits else 0,
            answer.candidate.name,
        ),
    )


#: The answers to "where does it fit?", the best first.
HEADINGS = ("It fits", "It would fit, once it may run", "It does not fit", "Not known")


@dataclass(frozen=True)
class Asked:
    """One track asked for a vehicle: under which heading, and why."""

    here: Stood
    heading: str
    words: tuple[str, ...] = ()

    @property
    def is_refused(self) -> bool:
        """Whether it is known not to fit."""
        return self.heading == HEADINGS[2]


def where_fits(here: Stood, candidate: Candidate) -> Asked:
    """Whether a vehicle fits a track now, apart from whether it may run at all."""
    *_, does_not, unknown = HEADINGS
    if here.never_clears:
        return Asked(here, does_not, (here.problem,))
    if here.problem:
        return Asked(here, unknown, (here.problem,))
    if here.room_mm is None:
        return Asked(here, unknown, (f"the room left is not known: {here.unknown}",))
    fits, would_fit, *_ = HEADINGS
    (answer,) = answers(here, [candidate])
    if answer.fits:
        return Asked(here, fits, tuple(each.words for each in answer.doubts))
    why = [each for each in answer.refusals if each.code not in MAY_NOT_RUN]
    heading = does_not if why else would_fit
    if why and all(each.code == Code.NO_LENGTH for each in why):
        heading = unknown
    return Asked(here, heading, tuple(each.words for each in why))


def suited_to(railway: Railway) -> VehicleQuerySet:
    """The stock in the railway's scale."""
    return Vehicle.objects.filter(scale__in=railway.scales)


def pool_for(railway: Railway, besides: Sequence[int] = ()) -> list[Candidate]:
    """What of the stock in the railway's scale is offered, without those named by key."""
    fleet = suited_to(railway).exclude(pk__in=list(besides))
    return candidates(offer(fleet, railway=railway).vehicles)
