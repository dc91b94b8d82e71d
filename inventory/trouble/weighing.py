"""What speaks against a vehicle or a piece of trackwork, the gravest first, in words."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import IntEnum

from django.db.models import Count, Q
from django.urls import reverse

from inventory.stock.facts import Judged
from inventory.stock.models import Vehicle, Verdict
from inventory.track.standing import Weights
from inventory.trackwork.meeting import legs_of, trouble
from inventory.trackwork.models import Trackwork
from inventory.trackwork.rounding import coupler_heights, height_pair
from inventory.trouble.evidence import Blame, Suspect
from inventory.trouble.models import Incident, Involved
from standards.conformity import Outcome, Rule
from standards.judging import label
from standards.sheets import limits_for

#: Within, but less sure than this, is close to a limit. Our own choice, no source.
SURE = 0.99

#: Lighter than this share of a neighbour, it is the one that is pulled off. Our own choice, no
#: source; the sheets give a mass by length, not by neighbour.
LIGHT = Decimal("0.6")


class Weight(IntEnum):
    """How much a clue says, the most first."""

    OUTSIDE = 1
    CULPRIT = 2
    UNDECIDED = 3
    DOUBTFUL = 4
    CLOSE = 5
    BESIDE = 6

    @property
    def words(self) -> str:
        return {
            "OUTSIDE": "out of tolerance",
            "CULPRIT": "speaks against it",
            "UNDECIDED": "undecided",
            "DOUBTFUL": "cannot tell yet",
            "CLOSE": "close to a limit",
            "BESIDE": "beside its neighbours",
        }[self.name]


@dataclass(frozen=True)
class Clue:
    """One thing that speaks against something. value: in the unit of `quantity`, if there is one.

    whose: "vehicle" or "track". address: the page that shows it in full.
    """

    weight: Weight
    whose: str
    title: str
    words: str = ""
    value: Decimal | None = None
    quantity: str = ""
    address: str = ""


@dataclass(frozen=True)
class Unmeasured:
    """Something never measured, and how much measuring it would tell.

    n_outside of n_judged: how often it was outside on others that were judged by it. share: what
    that makes of the next one, with Jeffreys' half a count on either side. bits: how much the
    answer would tell, from 0 for what is known before to 1 for the toss of a coin.
    """

    quantity: str
    at: tuple[str, ...]
    n_outside: int
    n_judged: int

    @property
    def label(self) -> str:
        places = [label(self.quantity, at) for at in self.at]
        return (
            places[0] if len(places) == 1 else f"{label(self.quantity, '')} ({', '.join(self.at)})"
        )

    @property
    def share(self) -> float:
        return (self.n_outside + 0.5) / (self.n_judged + 1)

    @property
    def bits(self) -> float:
        p = self.share
        return -p * math.log2(p) - (1 - p) * math.log2(1 - p)

    @property
    def words(self) -> str:
        if self.n_judged == 0:
            return "nobody here has measured it yet, so that it may tell as much as anything"
        return f"outside on {self.n_outside} of the {self.n_judged} that were judged by it"


# --- Of what was measured ---------------------------------------------------------------------


def of_verdicts(standing: Iterable[Judged], whose: str, address: str) -> list[Clue]:
    """What verdicts say: outside, undecided, or within but close to a limit."""
    found = []
    for verdict in standing:
        weight = _weight(verdict)
        if weight is None:
            continue
        found.append(
            Clue(
                weight,
                whose,
                verdict.label,
                _limits_in_words(verdict),
                verdict.value,
                verdict.quantity,
                address,
            )
        )
    return found


def _weight(verdict: Judged) -> Weight | None:
    if verdict.outcome == Outcome.OUTSIDE.value:
        return Weight.UNDECIDED if verdict.is_advisory else Weight.OUTSIDE
    if verdict.outcome == Outcome.UNDECIDED.value:
        return Weight.UNDECIDED
    is_close = verdict.probability is not None and verdict.probability < SURE
    return Weight.CLOSE if verdict.outcome == Outcome.WITHIN.value and is_close else None


def _limits_in_words(verdict: Judged) -> str:
    if verdict.gauge:
        return f"the gauge says {verdict.gauge}"
    if verdict.outcome == Outcome.OUTSIDE.value:
        return "outside its limits" if not verdict.is_advisory else "outside what is advised"
    if verdict.outcome == Outcome.UNDECIDED.value:
        return "may be either side of its limit"
    return f"within, {verdict.probability:.1%} sure"


def of_margins(vehicle: Vehicle, pieces: Sequence[Trackwork], rule: Rule) -> list[Clue]:
    """The worst margin of a vehicle at each of these pieces, where it is not sure to pass."""
    return of_margins_of([vehicle], pieces, rule)


def of_margins_of(
    vehicles: Sequence[Vehicle], pieces: Sequence[Trackwork], rule: Rule
) -> list[Clue]:
    """The same of several vehicles, one after the other, in as many queries."""
    legs = legs_of(pieces)
    measured = [(piece, legs[piece.pk]) for piece in pieces if legs[piece.pk]]
    if not measured or not vehicles:
        return []
    rows = {row.vehicle.pk: row for row in trouble(vehicles, measured, rule)}
    weights = {Outcome.OUTSIDE: Weight.OUTSIDE, Outcome.UNDECIDED: Weight.UNDECIDED}
    return [
        Clue(
            weights[spot.outcome],
            "track",
            f"{vehicle} through {spot.piece.title}, {spot.leg}: {spot.relation.value}",
            "the least margin of its wheels there",
            spot.value,
            spot.quantity,
            reverse("trackwork:meeting", args=[spot.piece.pk, vehicle.pk]),
        )
        for vehicle in vehicles
        for spot in rows[vehicle.pk].spots
        if spot.outcome in weights and spot.relation is not None
    ]


def of_statistics(suspect: Suspect | None, whose: str) -> list[Clue]:
    """What the counts say of one vehicle or one spot."""
    if suspect is None or suspect.blame is Blame.NOTHING:
        return []
    weight = Weight.CULPRIT if suspect.blame is Blame.CULPRIT else Weight.DOUBTFUL
    return [Clue(weight, whose, f"How often: {suspect.name}", suspect.words)]


# --- Beside its neighbours --------------------------------------------------------------------


def of_neighbours(vehicle: Vehicle, incidents: Sequence[Incident]) -> list[Clue]:
    """Mass and coupler height against those it was coupled to when it happened."""
    parts = (Involved.Part.AHEAD, Involved.Part.BEHIND)
    rows = Involved.objects.filter(incident__in=incidents, part__in=parts).select_related(
        "vehicle"
    )
    others = {row.vehicle_id: row.vehicle for row in rows if row.vehicle_id != vehicle.pk}
    if not others:
        return []
    fleet = [vehicle, *others.values()]
    weights, heights = Weights.of(fleet), coupler_heights(fleet)
    own = weights.mass_of(vehicle.pk)
    found = []
    for other in others.values():
        its = weights.mass_of(other.pk)
        if own is not None and its is not None and own < its * LIGHT:
            words = f"{own / its:.0%} of the mass of {other}, with which it ran"
            found.append(
                Clue(Weight.BESIDE, "vehicle", "Light beside its neighbour", words, own, "mass")
            )
        pair = height_pair(vehicle, other, heights)
        if pair and pair.allowed is not None and pair.difference > pair.allowed:
            words = f"beside {other}, more apart than their limits allow"
            found.append(
                Clue(
                    Weight.BESIDE,
                    "vehicle",
                    "Coupler heights differ",
                    words,
                    pair.difference,
                    "coupler_height",
                )
            )
    return found


# --- What was never measured ------------------------------------------------------------------


def never_measured(
    vehicle: Vehicle, standing: Sequence[Verdict], wanted: Sequence[tuple[str, str]]
) -> list[Unmeasured]:
    """What the sheets limit and nobody measured on it, what would tell the most first."""
    limits = limits_for(vehicle.standard)
    judged = {verdict.key for verdict in standing if not verdict.is_silent}
    places: dict[str, list[str]] = {}
    for quantity, at in wanted:
        if quantity in limits and (quantity, at) not in judged:
            places.setdefault(quantity, []).append(at)
    counts = _outside_elsewhere(vehicle, places)
    found = [Unmeasured(code, tuple(at), *counts.get(code, (0, 0))) for code, at in places.items()]
    return sorted(found, key=lambda each: (-each.bits, each.quantity))


def _outside_elsewhere(
    vehicle: Vehicle, quantities: Iterable[str]
) -> Mapping[str, tuple[int, int]]:
    """By quantity, how many readings of other vehicles by the same standards were outside, and
    how many were judged."""
    others = (
        Vehicle.everyone.that_ever_were()
        .filter(family=vehicle.family, scale=vehicle.scale)
        .exclude(pk=vehicle.pk)
    )
    rows = (
        Verdict.objects.current()
        .filter(quantity__in=list(quantities), inspection__vehicle__in=others)
        .order_by()
        .values("quantity")
        .annotate(
            n_outside=Count("pk", filter=Q(outcome=Outcome.OUTSIDE.value)),
            n=Count("pk", filter=Q(outcome__in=(Outcome.OUTSIDE.value, Outcome.WITHIN.value))),
        )
    )
    return {row["quantity"]: (row["n_outside"], row["n"]) for row in rows}


# --- The sentence -----------------------------------------------------------------------------


def in_a_sentence(clues: Sequence[Clue], n_incidents: int, n_unmeasured: int) -> str:
    """What a tired person has to know of one vehicle or piece of trackwork."""
    outside = [clue for clue in clues if clue.weight is Weight.OUTSIDE]
    if outside:
        more = f", and {len(outside) - 1} more" if len(outside) > 1 else ""
        return f"Mend what is out of tolerance first: {outside[0].title}{more}."
    culprits = [clue for clue in clues if clue.weight is Weight.CULPRIT]
    if culprits:
        which = "It" if culprits[0].whose == "vehicle" else culprits[0].title.partition(": ")[2]
        if n_unmeasured:
            rest = "nothing measured is out of tolerance, but not everything was measured"
        else:
            rest = "what was measured is in tolerance, so look for what no gauge shows"
        return f"{which} is the likelier culprit: {rest}."
    if any(clue.weight is Weight.UNDECIDED for clue in clues):
        return (
            "Nothing is surely out of tolerance, but some of it is undecided: measure that again."
        )
    if n_unmeasured:
        return "Nothing measured speaks against it, but not everything was measured."
    if n_incidents:
        return "Nothing measured speaks against it: look at the track, and at how it was run."
    return "No trouble is reported, and nothing measured speaks against it."
