"""The order of work along a piece of trackwork."""

from __future__ import annotations

from inventory.stock.places import Step, by_gauge
from inventory.trackwork.models import Trackwork

FROG = ("track_gauge", "check_gauge", "span", "flangeway", "flangeway_guard", "flangeway_depth")
SPOTS = ("spot 1", "spot 2", "spot 3")


def steps_for(piece: Trackwork, *, uses_gauge: bool = False) -> tuple[Step, ...]:
    """The steps of an inspection of this piece.

    By go/no-go gauge only what such a gauge can answer is asked; nothing that a step leaves out
    counts as passed.
    """
    if piece.has_frog:
        steps = [_step(leg, FROG) for leg in piece.legs]
        if piece.kind == Trackwork.Kind.TURNOUT:
            steps.insert(0, _step("points", ("track_gauge", "point_spread")))
    else:
        steps = [_step(spot, ("track_gauge",)) for spot in SPOTS]
    if piece.kind == Trackwork.Kind.CURVE:
        steps.append(Step("curve", "Radius of the curve", "", ("chord", "mid_ordinate")))
    steps.append(Step("rail", "Rail and fastenings", "rail", ("rail_height", "fastening_height")))
    return by_gauge(steps) if uses_gauge else tuple(steps)


def _step(at: str, quantities: tuple[str, ...]) -> Step:
    return Step(at.replace(" ", "-"), at.capitalize(), at, quantities)
