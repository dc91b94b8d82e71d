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


# --- Chords -----------------------------------------------------------------------------------


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


def radius_with_doubt(
    chord: float, mid_ordinate: float, u_chord: float, u_mid_ordinate: float
) -> tuple[float, float]:
    """Radius from a chord and its mid-ordinate, and the standard uncertainty of that radius.

    u(R)^2 = (c/(4m) u(c))^2 + ((1/2 - c^2/(8m^2)) u(m))^2: the law of propagation of the GUM
    (JCGM 100:2008, 5.1.2) to first order, the two readings being independent. The doubt of the
    mid-ordinate nearly always decides; first order serves while it is a tenth of the mid-ordinate
    or less.

    Raises ImpossibleGeometry for a chord or mid-ordinate that is none, an uncertainty below zero,
    or a mid-ordinate that its own uncertainty does not tell from nothing.
    """
    radius = radius_from(chord, mid_ordinate)
    for name, u in (("chord", u_chord), ("mid-ordinate", u_mid_ordinate)):
        if not 0 <= u < math.inf:
            raise ImpossibleGeometry(f"An uncertainty of {u:g} for the {name} cannot be.")
    if u_mid_ordinate >= mid_ordinate:
        raise ImpossibleGeometry(
            f"A mid-ordinate of {mid_ordinate:g} with an uncertainty of {u_mid_ordinate:g} may be "
            "none at all; measure across a longer chord."
        )
    by_chord = chord / (4 * mid_ordinate) * u_chord
    by_mid_ordinate = (0.5 - chord**2 / (8 * mid_ordinate**2)) * u_mid_ordinate
    return radius, math.hypot(by_chord, by_mid_ordinate)


# --- One vehicle ------------------------------------------------------------------------------


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


def throw_at(radius: float, body: Body, along: float, outward: float = 0.0) -> float:
    """How far a point of the body lies outside the track's centre line; below zero if inside.

    along: the point's distance from the middle of the body, either way; outward: its distance
    from the body's own centre line towards the outside of the curve, below zero towards the
    inside. sqrt((h + o)^2 + n^2) - R, with h of `body_offset`. To first order in 1/R that is the
    section form of UIC 505-1 and EN 15273-1 (from memory): (a n - n^2 + p^2/4)/(2R) inside at n
    from the nearest pivot between the pivots, (a n + n^2 - p^2/4)/(2R) outside beyond them.

    The point need not be on the body: a coupler's pivot or face may lie beyond its end.
    Raises ImpossibleGeometry when the vehicle is too long for the radius, or the point so far
    inside that it is past the centre of the curve.
    """
    across = body_offset(radius, body) + outward
    if not across > 0:
        raise ImpossibleGeometry(
            f"A point {-outward:g} inside the body lies beyond the centre of a curve of "
            f"{radius:g} radius."
        )
    return math.hypot(across, along) - radius


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


def smallest_by_pivots(body: Body) -> float:
    """Radius at and below which no track could carry the vehicle: sqrt(a^2 + p^2)/2.

    From `body_offset`: there the body would stand on the centre of the curve. A bound of pure
    geometry, far sharper than anything that runs.
    """
    return math.hypot(body.pivot_distance, body.bogie_wheelbase) / 2


# --- Wheels in one frame ----------------------------------------------------------------------


def _check_frame(wheelbase: float, play: float) -> None:
    if not 0 < wheelbase < math.inf:
        raise ImpossibleGeometry(f"A wheelbase of {wheelbase:g} cannot be; type more than zero.")
    if not 0 < play < math.inf:
        raise ImpossibleGeometry(
            f"A play of {play:g} between the flanges and the rails leaves no curve at all: the "
            "wheels have to lie looser in the track, or the gauge wider."
        )


def smallest_by_play(wheelbase: float, play: float) -> float:
    """Radius that three or more axles in one frame can take: w^2/(8J) + J/2.

    play: the whole of it, gauge less the width over the flanges, and the middle axle's designed
    side-play besides. The outer flanges of the end axles run on the outer rail and the middle
    one's inner flange on the inner rail, so that the play has to hold the versine of the
    wheelbase; derived, exact for flanges that reach no farther than the axle.
    Raises ImpossibleGeometry for a wheelbase or play that is not above zero, or play that is more
    than half the wheelbase.
    """
    _check_frame(wheelbase, play)
    if play > wheelbase / 2:
        raise ImpossibleGeometry(
            f"A play of {play:g} is more than half the wheelbase of {wheelbase:g}; measure both "
            "again."
        )
    return radius_from(wheelbase, play)


def flange_lap(wheel_diameter: float, flange_depth: float) -> float:
    """How long a flange is at the level of the rail's top: 2 sqrt((D/2 + h)^2 - (D/2)^2).

    The chord of the flange's circle, D over the tread. The textbook rule for widening the gauge,
    13 (B + l)^2/R, prints it as 0.02 sqrt(h^2 + D h) m with D and h in cm.
    Raises ImpossibleGeometry for a diameter or depth that is not above zero.
    """
    if not 0 < wheel_diameter < math.inf or not 0 < flange_depth < math.inf:
        raise ImpossibleGeometry("Wheel diameter and flange depth have to be above zero.")
    return 2 * math.sqrt(flange_depth * (wheel_diameter + flange_depth))


def smallest_of_two_axles(wheelbase: float, play: float, lap: float = 0.0) -> float:
    """Radius that two axles in one frame can take: (B + l)^2/(8J), l of `flange_lap`.

    The Indian textbook rule for the gauge that a curve needs, second-hand, read backwards; with
    its 12.5 exact instead of rounded up to 13. Its extra J/2 is left away, as there.
    Raises ImpossibleGeometry for a wheelbase or play not above zero or a lap below zero.
    """
    _check_frame(wheelbase, play)
    if not 0 <= lap < math.inf:
        raise ImpossibleGeometry(f"A flange lap of {lap:g} cannot be; type zero or more.")
    return (wheelbase + lap) ** 2 / (8 * play)


def attack_angle(radius: float, wheelbase: float, play: float = 0.0) -> float:
    """Angle in radians at which the leading wheel meets the outer rail, two axles in a frame.

    play: how far the trailing axle stands nearer the inner rail than the leading one; zero where
    both run on the outer rail. The leading axle's middle is on R + J/2 and the trailing one's on
    R - J/2, w apart: sin = (w^2 + 2RJ) / ((2R + J) w), about w/(2R) + J/w, and w/(2R) for no play.
    Standard curving geometry, from memory; this exact form derived.
    Raises ImpossibleGeometry for a wheelbase not above zero, play below zero, or a frame that does
    not go into that radius.
    """
    if not radius > 0 or not 0 < wheelbase < math.inf or not 0 <= play < math.inf:
        raise ImpossibleGeometry(
            "Radius and wheelbase have to be above zero, and the play not below it."
        )
    if math.isinf(radius):
        sine = play / wheelbase
    else:
        sine = (wheelbase**2 + 2 * radius * play) / ((2 * radius + play) * wheelbase)
    if sine >= 1:
        raise ImpossibleGeometry(
            f"A wheelbase of {wheelbase:g} with a play of {play:g} does not lie in a radius of "
            f"{radius:g}."
        )
    return math.asin(sine)


def smallest_by_attack(wheelbase: float, angle: float, play: float = 0.0) -> float:
    """Radius at which the leading wheel meets the rail at that angle: `attack_angle` backwards.

    R = w (w - J sin) / (2 (w sin - J)); angle in radians. Raises ImpossibleGeometry where the
    frame lies at that angle on straight track already, and for dimensions that are none.
    """
    if not 0 < angle < math.pi / 2:
        raise ImpossibleGeometry("An angle of attack lies between 0 and 90 degrees.")
    if not 0 < wheelbase < math.inf or not 0 <= play < math.inf:
        raise ImpossibleGeometry("The wheelbase has to be above zero, and the play not below it.")
    sine = math.sin(angle)
    if wheelbase * sine <= play:
        raise ImpossibleGeometry(
            f"A wheelbase of {wheelbase:g} with a play of {play:g} stands at "
            f"{math.degrees(angle):g} degrees on straight track already."
        )
    return wheelbase * (wheelbase - play * sine) / (2 * (wheelbase * sine - play))


# --- Two tracks -------------------------------------------------------------------------------


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


@dataclass(frozen=True)
class PassingGaps:
    """What is left between two vehicles that pass on parallel tracks; below zero they strike.

    straight: on straight track; one_inside: the one on the inner of two concentric curves and the
    other on the outer; other_inside: the other way about.
    """

    straight: float
    one_inside: float
    other_inside: float

    @property
    def least(self) -> float:
        return min(self.straight, self.one_inside, self.other_inside)


def gap_left(centres: float, on_inner: Body, on_outer: Body, inner_radius: float) -> float:
    """What `centres_needed` leaves between two vehicles, for centres that are given.

    Centres less the outer corner on the inner track less the inner side on the outer one, which
    has the inner radius and the centres besides; math.inf for straight track. Below zero they
    strike. Raises ImpossibleGeometry for centres that are none, for a vehicle without a width, and
    for one too long for its radius.
    """
    if not 0 < centres < math.inf:
        raise ImpossibleGeometry(
            f"Track centres of {centres:g} cannot be; measure from the middle of one track to the "
            "middle of the other."
        )
    if not on_inner.width > 0 or not on_outer.width > 0:
        raise ImpossibleGeometry(
            "A vehicle without a width passes everything; measure how wide both are."
        )
    if inner_radius == math.inf:
        return centres - on_inner.width / 2 - on_outer.width / 2
    taken = outer_corner(inner_radius, on_inner) + inner_side(inner_radius + centres, on_outer)
    return centres - taken


def passing_gaps(centres: float, one: Body, other: Body, inner_radius: float) -> PassingGaps:
    """The gap between two vehicles on parallel tracks: straight, and each on the inside once.

    Raises ImpossibleGeometry as `gap_left`.
    """
    return PassingGaps(
        straight=gap_left(centres, one, other, math.inf),
        one_inside=gap_left(centres, one, other, inner_radius),
        other_inside=gap_left(centres, other, one, inner_radius),
    )
