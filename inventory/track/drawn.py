"""Tracks as the drawings take them: plain numbers and words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from django.utils.safestring import SafeString

from inventory.drawing.line import Place as DrawnPlace
from inventory.drawing.line import TrackLine, line_diagram
from inventory.drawing.siding import siding
from inventory.track.fit import Stood
from inventory.track.fitting import Cut
from inventory.track.models import Place, Track

_LOOSE = Track.Duty.REMOVABLE

_END = {
    "frog": "turnout",
    "points": "turnout",
    "clearance mark": "mark",
    "buffer stop": "buffer stop",
    "joint": "joint",
    "table edge": "table edge",
}


def siding_of(here: Stood, cut: Cut | None, *, unit: str = "mm", wide: bool = False) -> SafeString:
    """The track to scale with who stands there and what would fill it, each with its coupling's
    slack; nothing while its room left cannot be told."""
    length = here.clearing.length
    # An unmeasured vehicle would be drawn as room that is not there.
    if length is None or here.unknown:
        return SafeString("")
    slack = float(here.slack_mm)
    cut_slack = float(cut.slack_mm) if cut else 0.0
    return siding(
        # Down to a tenth, as what comes off is up to a tenth, so that the figures add up.
        measured_mm=math.floor(round(length.measured_mm * 10, 8)) / 10,
        deductions=[(each.name, each.amount_mm) for each in length.deductions],
        clear_mm=float(here.clearing.clear_mm or 0),
        standing=[
            (each.name, float(each.length_mm) + slack) for each in here.standing if each.length_mm
        ],
        fits=[
            (each.name, float(each.length_mm or 0) + cut_slack)
            for each in (cut.vehicles if cut else ())
        ],
        ends=(_END[here.track.a_reference], _END[here.track.b_reference]),
        name=here.track.name,
        unit=unit,
        wide=wide,
    )


def _duty(track: Track) -> str:
    """In a word or two, for which there is room; a removable track is drawn as one."""
    short = {Track.Duty.REMOVABLE: "", Track.Duty.ARRIVAL: "arrival"}
    return short.get(track.duty, track.get_duty_display())


def places_drawn(places: Sequence[tuple[Place, Sequence[Stood]]]) -> list[DrawnPlace]:
    """The places with their tracks as the line diagram takes them."""
    return [
        DrawnPlace(
            place.name,
            tuple(
                TrackLine(
                    each.track.name,
                    _duty(each.track),
                    None if each.limits is None else float(each.limits.clear_mm),
                    float(each.taken_mm),
                    each.track.is_removable,
                    is_known=not each.unmeasured,
                )
                for each in tracks
            ),
        )
        for place, tracks in places
    ]


def line_of(
    places: Sequence[tuple[Place, Sequence[Stood]]], *, unit: str = "mm"
) -> dict[str, SafeString]:
    """The line diagram, wide and upright."""
    drawn = places_drawn(places)
    if not any(place.tracks for place in drawn):
        return {}
    return {
        "wide": line_diagram(places=drawn, upright=False, unit=unit),
        "upright": line_diagram(places=drawn, upright=True, unit=unit),
    }
