"""What stands of trackwork: the latest word on every quantity, whatever its inspection."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from inventory.trackwork.models import TrackReading, TrackVerdict, Trackwork
from inventory.trackwork.steps import steps_for
from standards.conformity import Outcome
from standards.sheets import limits_for

Key = tuple[str, str]


def readings_of(pieces: Iterable[Trackwork]) -> dict[int, dict[Key, TrackReading]]:
    """The readings that stand, by piece and by quantity and place, in one query."""
    rows = (
        TrackReading.objects.filter(
            is_current=True, inspection__trackwork__in=[each.pk for each in pieces]
        )
        .select_related("inspection")
        .order_by("inspection__started_at", "inspection_id", "pk")
    )
    found: dict[int, dict[Key, TrackReading]] = {}
    for row in rows:
        # The latest comes last, and stands.
        found.setdefault(row.inspection.trackwork_id, {})[row.quantity, row.at] = row
    return found


def verdicts_of(pieces: Iterable[Trackwork]) -> dict[int, list[TrackVerdict]]:
    """The verdicts that stand, by piece, in one query.

    A sum of readings is judged again whenever one of them was taken, so the latest word stands.
    """
    rows = (
        TrackVerdict.objects.filter(
            is_current=True, inspection__trackwork__in=[each.pk for each in pieces]
        )
        .select_related("inspection", "reading__instrument")
        .order_by("inspection__started_at", "inspection_id", "pk")
    )
    latest: dict[int, dict[Key, TrackVerdict]] = {}
    for row in rows:
        standing = latest.setdefault(row.inspection.trackwork_id, {})
        before = standing.get(row.key)
        if before is None or row.displaces(before):
            standing[row.key] = row
    return {
        piece: sorted(standing.values(), key=TrackVerdict.bench_order)
        for piece, standing in latest.items()
    }


#: What can be said of a piece of trackwork, the worst first.
TO_MEND, DOUBTFUL, IN_PART, IN_ORDER, NOT_INSPECTED = (
    "to mend",
    "doubtful",
    "measured in part",
    "in order",
    "not inspected",
)


def unmeasured(piece: Trackwork, verdicts: Iterable[TrackVerdict]) -> list[Key]:
    """What the sheets limit on this piece and nobody has judged yet, in the order of work."""
    limits = limits_for(piece.standard)
    judged = {each.key for each in verdicts if not each.is_silent}
    return [
        key
        for step in steps_for(piece)
        for key in step.keys
        if key[0] in limits and limits[key[0]].has_bounds and key not in judged
    ]


def condition(piece: Trackwork, verdicts: Sequence[TrackVerdict]) -> str:
    """What the verdicts say of the whole piece. It is in order only when all that the sheets limit
    was measured; missing is not a pass."""
    outcomes = {each.outcome for each in verdicts if each.is_limited}
    if Outcome.OUTSIDE.value in outcomes:
        return TO_MEND
    if Outcome.UNDECIDED.value in outcomes:
        return DOUBTFUL
    if Outcome.WITHIN.value in outcomes:
        return IN_PART if unmeasured(piece, verdicts) else IN_ORDER
    return IN_PART if verdicts else NOT_INSPECTED
