"""A vehicle on a curve: throws, the room it needs, and the radius that it can take.

One length unit throughout (millimetres in the project). Floats, since these are geometry and not
verdicts on a printed limit; the dimensions that go in are measured and carry more doubt than the
last digit of a float.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


class ImpossibleGeometry(ValueError):
    """Dimensions that no drawing could hold, said in words."""


@dataclass(frozen=True)
class Body:
    """What of a vehicle decides how it lies on a curve.

    length: of the body; pivot_distance: between bogie pivots, or the wheelbase of a two-axle
    vehicle; bogie_wheelbase: 0 for a two-axle vehicle; width: of the body.

    Raises ImpossibleGeometry for a length, pivot distance or width that is not positive, or pivots
    farther apart than the body is long.
    """

    length: float
    pivot_distance: float
    bogie_wheelbase: float = 0.0
    width: float = 0.0

    def __post_init__(self) -> None:
        if not self.length > 0 or not self.pivot_distance > 0:
            raise ImpossibleGeometry("A body and its pivot distance have to be longer than zero.")
        if self.bogie_wheelbase < 0 or self.width < 0:
            raise ImpossibleGeometry("A wheelbase or width cannot be below zero.")
        if self.pivot_distance > self.length:
            raise ImpossibleGeometry(
                f"Pivots {self.pivot_distance:g} apart do not fit a body {self.length:g} long."
            )


def versine(radius: float, chord: float) -> float:
    """Mid-ordinate of a chord: R - sqrt(R^2 - c^2/4).

    Raises ImpossibleGeometry when the chord is longer than the diameter.
    """
    if chord > 2 * radius or radius <= 0:
        raise ImpossibleGeometry(f"A chord of {chord:g} does not go into a radius of {radius:g}.")
    return radius - math.sqrt(radius**2 - chord**2 / 4)


def radius_from(chord: float, mid_ordinate: float) -> float:
    """Radius from a chord and its mid-ordinate: c^2/(8m) + m/2."""
    if chord <= 0 or mid_ordinate <= 0:
        raise ImpossibleGeometry("Chord and mid-ordinate have to be longer than zero.")
    return chord**2 / (8 * mid_ordinate) + mid_ordinate / 2


def body_offset(radius: float, body: Body) -> float:
    """Distance from the centre of the curve to the body's own centre line.

    h = sqrt(R^2 - p^2/4 - a^2/4): the pivots sit inside the track by the bogies' own versine.
    Raises ImpossibleGeometry when the vehicle is too long for the radius.
    """
    square = radius**2 - body.bogie_wheelbase**2 / 4 - body.pivot_distance**2 / 4
    if radius <= 0 or square <= 0:
        raise ImpossibleGeometry(
            f"A vehicle with pivots {body.pivot_distance:g} apart does not go round a radius of "
            f"{radius:g}."
        )
    return math.sqrt(square)


def inner_throw(radius: float, body: Body) -> float:
    """How far the middle of the body lies inside the track's centre line: R - h."""
    return radius - body_offset(radius, body)


def outer_throw(radius: float, body: Body) -> float:
    """How far the end of the body, on its centre line, lies outside the track's: sqrt(h^2 + L^2/4)
    - R; below zero where a short overhang stays inside."""
    return math.hypot(body_offset(radius, body), body.length / 2) - radius


def inner_side(radius: float, body: Body) -> float:
    """From the track's centre line to the body's inner side at its middle: R - (h - W/2)."""
    return radius - (body_offset(radius, body) - body.width / 2)


def outer_corner(radius: float, body: Body) -> float:
    """From the track's centre line to the body's outer corner: sqrt((h + W/2)^2 + L^2/4) - R."""
    offset = body_offset(radius, body) + body.width / 2
    return math.hypot(offset, body.length / 2) - radius


def centres_needed(inner_radius: float, on_inner: Body, on_outer: Body, gap: float) -> float:
    """Track centres at which two vehicles pass on concentric curves with a gap between them.

    The outer corner of the one on the inner track against the inner side of the one on the outer
    track, whose radius is the inner radius plus the centres; solved by iteration, which converges
    since the inner side moves little with the radius.
    """
    reach = outer_corner(inner_radius, on_inner) + gap
    centres = reach + on_outer.width / 2
    for _ in range(200):
        following = reach + inner_side(inner_radius + centres, on_outer)
        if abs(following - centres) < 1e-12 * max(1.0, following):
            break
        centres = following
    return following
