"""What stands of trackwork: the latest word on every quantity, whatever its inspection."""

from __future__ import annotations

from collections.abc import Iterable

from inventory.trackwork.models import TrackReading, TrackVerdict, Trackwork

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


#: From the worst to the best that can be said of a piece of trackwork.
CONDITIONS = ("to mend", "doubtful", "in order", "not inspected")


def condition(verdicts: Iterable[TrackVerdict]) -> str:
    """What the verdicts say of the whole piece; what nothing limits says nothing."""
    outcomes = {each.outcome for each in verdicts if each.is_limited}
    for outcome, word in zip(("outside", "undecided", "within"), CONDITIONS, strict=False):
        if outcome in outcomes:
            return word
    return CONDITIONS[-1]
