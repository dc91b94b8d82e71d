"""What an industry lacks: vehicles needed for its traffic against those assigned to it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.track.fit import Stood
from inventory.track.fitting import Candidate
from inventory.track.models import Industry, Track, Traffic
from standards.judging import Service
from standards.loading import cars_needed, pool
from standards.remedies import COMMON_PRACTICE

_RUNS = (Service.FIT.value, Service.ADVICE.value)


@dataclass(frozen=True)
class Buying:
    """What to look for when buying: kinds, the greatest length that its tracks take, and the
    sharpest curve on the way there. None where nothing is known."""

    kinds: tuple[str, ...]
    length_mm: Decimal | None
    radius_mm: Decimal | None


@dataclass(frozen=True)
class Need:
    """One traffic with what it needs and what it has.

    needed: by Little's law, vehicles a session times sessions in the round, rounded up;
    with_reserve: the same by the pool rule of the US Army's TR 0603, a tenth more. suited: those
    at home here whose kind it takes; able: those of them that may run.
    """

    traffic: Traffic
    needed: int
    with_reserve: int
    suited: tuple[Candidate, ...]
    able: tuple[Candidate, ...]
    buying: Buying

    @property
    def unable(self) -> int:
        """How many suit it but may not run."""
        return len(self.suited) - len(self.able)

    @property
    def lacks(self) -> int:
        """How many that may run are missing; zero when there are enough."""
        return max(0, self.needed - len(self.able))

    @property
    def surplus(self) -> int:
        """How many more than needed may run."""
        return max(0, len(self.able) - self.needed)


@dataclass(frozen=True)
class Turned:
    """How many vehicles an industry can load or unload in one session.

    spots: at its doors; waiting: those for which another stands ready beside, so that the spot
    serves twice. basis: where the rule is from.
    """

    spots: int
    waiting: int
    basis: str = COMMON_PRACTICE

    @property
    def total(self) -> int:
        return self.spots + self.waiting


def turned_a_session(spots: int, beside: int) -> Turned:
    """One vehicle at each spot, and one more for each that can stand ready on a separate
    in-and-out track; common practice, no source."""
    return Turned(spots, min(spots, beside))


def turned_on(tracks: Sequence[Stood], at_home: Sequence[Candidate]) -> Turned | None:
    """The same from an industry's own tracks: loading and team tracks hold its spots, the others
    what stands ready. None while that cannot be told."""
    lengths = [each.length_mm for each in at_home if each.length_mm is not None]
    car = sum(lengths, Decimal(0)) / len(lengths) if lengths else None
    doors = {Track.Duty.LOADING.value, Track.Duty.TEAM.value}

    def holds(here: Stood) -> int | None:
        if here.track.most_vehicles is not None:
            return here.track.most_vehicles
        if here.limits is None or car is None:
            return None
        return int(here.limits.clear_mm // car)

    spots = [holds(each) for each in tracks if each.track.duty in doors]
    beside = [holds(each) for each in tracks if each.track.duty not in doors]
    if not spots or None in spots or None in beside:
        return None
    return turned_a_session(sum(map(int, spots)), sum(map(int, beside)))


def needs_of(
    industry: Industry, at_home: Sequence[Candidate], tracks: Sequence[Stood]
) -> list[Need]:
    """Every traffic of an industry. at_home: the vehicles assigned to it; tracks: its own."""
    found = []
    for traffic in industry.traffic.all():
        kinds = {word.casefold() for word in traffic.kind_words}
        suited = tuple(each for each in at_home if each.kind.strip().casefold() in kinds)
        lengths = [t.clearing.clear_mm for t in tracks if t.clearing.clear_mm is not None]
        radii = [t.track.radius for t in tracks if t.track.radius is not None]
        found.append(
            Need(
                traffic,
                math.ceil(cars_needed(traffic.cars_per_session, traffic.sessions_away)),
                pool(traffic.cars_per_session, traffic.sessions_away),
                suited,
                tuple(each for each in suited if each.service in _RUNS),
                Buying(
                    tuple(traffic.kind_words),
                    max(lengths, default=None),
                    min(radii, default=None),
                ),
            )
        )
    return found
