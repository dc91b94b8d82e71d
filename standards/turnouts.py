"""Turnouts: frog number and angle, where two tracks clear each other, and clear length.

One length unit throughout (millimetres in the project), angles in radians.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from standards.curves import ImpossibleGeometry

# What a modeller can lay the end of the tape against.
REFERENCES = ("clearance mark", "frog", "points", "buffer stop", "joint", "table edge")
LEGS = ("main", "diverging")


def frog_angle(number: float) -> float:
    """Angle of a frog by the centre-line method: 2 atan(1 / 2N). Raises ImpossibleGeometry."""
    if not 0 < number < math.inf:
        raise ImpossibleGeometry(f"A frog number of {number:g} is no frog; type 4, 6, 8 or so.")
    return 2 * math.atan(1 / (2 * number))


def frog_number(angle: float) -> float:
    """Number of a frog by the centre-line method: 1 / (2 tan(theta/2)). Raises
    ImpossibleGeometry."""
    if not 0 < angle < math.pi / 2:
        raise ImpossibleGeometry("A frog angle lies between 0 and 90 degrees.")
    return 1 / (2 * math.tan(angle / 2))


def frog_number_right_angle(angle: float) -> float:
    """Number of a frog by the right-angle method, as in India: cot theta."""
    if not 0 < angle < math.pi / 2:
        raise ImpossibleGeometry("A frog angle lies between 0 and 90 degrees.")
    return 1 / math.tan(angle)


def switch_angle(heel_spread: float, point_thickness: float, length: float) -> float:
    """Angle of a straight switch rail: asin((h - t)/a), US Army TI 850-02 chapter 6.

    heel_spread: between the gauge lines at the heel; point_thickness: of the point; length: of the
    switch rail. Raises ImpossibleGeometry for a point thicker than the spread, or a spread that
    does not fit the length.
    """
    if not 0 <= point_thickness < heel_spread < length:
        raise ImpossibleGeometry(
            f"A switch rail {length:g} long with {heel_spread:g} at its heel and a point "
            f"{point_thickness:g} thick cannot be."
        )
    return math.asin((heel_spread - point_thickness) / length)


def closure_curve(
    *, frog: float, heel: float, gauge: float, toe_spread: float, heel_spread: float
) -> tuple[float, float]:
    """Chord and radius of the curved rail between the heel of the switch and the toe of the frog.

    frog, heel: angles of the frog and of the switch at its heel; the spreads are between gauge
    lines, at the toe of the frog and at the heel of the switch. With q = g - e - h the chord is
    q / sin((F + S)/2) and the radius C / (2 sin((F - S)/2)): US Army TI 850-02 chapter 6. This is
    the sharpest part of a turnout with a straight frog.

    Raises ImpossibleGeometry where the frog is no wider than the switch, or the spreads leave
    nothing of the gauge.
    """
    if not 0 <= heel < frog < math.pi / 2:
        raise ImpossibleGeometry(
            "A frog has to have more of an angle than the heel of its switch, and less than 90 "
            "degrees."
        )
    left = gauge - toe_spread - heel_spread
    if min(toe_spread, heel_spread) < 0 or not left > 0:
        raise ImpossibleGeometry(
            f"Spreads of {toe_spread:g} and {heel_spread:g} leave no room for a curve within a "
            f"gauge of {gauge:g}."
        )
    chord = left / math.sin((frog + heel) / 2)
    return chord, chord / (2 * math.sin((frog - heel) / 2))


def _check_centres(gauge: float, centres: float) -> None:
    if not gauge > 0 or not centres > 0:
        raise ImpossibleGeometry("Gauge and track centres have to be above zero.")
    if centres <= gauge:
        raise ImpossibleGeometry(
            f"Track centres of {centres:g} are within one gauge of {gauge:g}: there is no point "
            "beyond the frog at which the tracks are so close."
        )


def frog_to_clearance(number: float, gauge: float, centres: float) -> tuple[float, float]:
    """From the theoretical frog point to where straight legs are `centres` apart.

    Returns the distance along the main and along the diverging leg:
    C (N - 1/4N) - G N and C (4N^2 + 1)/(4N) - G N, both legs straight beyond the frog, the
    centres measured square to the main. Rule of thumb: N (C - G).
    Raises ImpossibleGeometry for a frog number, gauge or centres that are none.
    """
    frog_angle(number)
    _check_centres(gauge, centres)
    to_frog = gauge * number
    main = centres * (number - 1 / (4 * number)) - to_frog
    diverging = centres * (4 * number**2 + 1) / (4 * number) - to_frog
    return main, diverging


def curved_clearance(radius: float, gauge: float, centres: float) -> tuple[float, float, float]:
    """Where a track that curves away from a straight one clears it, from the tangent point.

    Returns the distance along the straight, sqrt(2RC - C^2), along the curve, R acos(1 - C/R), and
    to the curved frog, sqrt(2RG). Raises ImpossibleGeometry, also when the curve turns back before
    it is that far away.
    """
    _check_centres(gauge, centres)
    if not centres < radius < math.inf:
        raise ImpossibleGeometry(
            f"A curve of radius {radius:g} is never {centres:g} away while it still leads forward."
        )
    straight = math.sqrt(2 * radius * centres - centres**2)
    return straight, radius * math.acos(1 - centres / radius), math.sqrt(2 * radius * gauge)


# --- Where two tracks clear -------------------------------------------------------------------


def required_centres(
    *, half_width_main: float, half_width_diverging: float, gap: float, end_throw: float = 0.0
) -> float:
    """Track centres at which a vehicle on each leg clears the other, in the unit that went in.

    The half widths of the two vehicles, the gap wanted between them, and how far the end of the
    one on the curve swings out. An end throw below zero, of a short overhang that stays inside,
    gains nothing: the wheels are still where they are. Derived, no published source.

    Raises ImpossibleGeometry for a half width that is not above zero or a gap below zero.
    """
    for name, half in (("main", half_width_main), ("diverging leg", half_width_diverging)):
        if not 0 < half < math.inf:
            raise ImpossibleGeometry(
                f"A half width of {half:g} for the {name} is no width; measure the widest vehicle "
                "and type half of it."
            )
    if not 0 <= gap < math.inf:
        raise ImpossibleGeometry(
            f"A gap of {gap:g} between passing vehicles cannot be; type 0 or more."
        )
    if not math.isfinite(end_throw):
        raise ImpossibleGeometry(
            f"An end throw of {end_throw:g} cannot be; type 0 where both tracks are straight."
        )
    return half_width_main + half_width_diverging + gap + max(0.0, end_throw)


def never_clears(final_centres_mm: float, required_mm: float) -> str | None:
    """Why two parallel tracks are too close ever to clear, or None where they do.

    final_centres_mm: the centres at which they run on side by side; required_mm: those that the
    vehicles need. Just as much as is needed is enough.

    Raises ImpossibleGeometry for centres that are not above zero.
    """
    for centres in (final_centres_mm, required_mm):
        if not 0 < centres < math.inf:
            raise ImpossibleGeometry(
                f"Track centres of {centres:g} mm cannot be; measure from the middle of one track "
                "to the middle of the other."
            )
    if final_centres_mm >= required_mm:
        return None
    return (
        f"The tracks run on {_mm(final_centres_mm)} apart and {_mm(required_mm)} is needed: they "
        "are too close ever to clear. Spread them, or keep wide vehicles off one of them."
    )


# --- Clear length -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Deduction:
    """What does not count as clear length at one end of a track.

    name: from where to where; amount_mm: along that track; why: how it was found, in words.
    Raises ImpossibleGeometry for an amount below zero or without end.
    """

    name: str
    amount_mm: float
    why: str

    def __post_init__(self) -> None:
        if not 0 <= self.amount_mm < math.inf:
            raise ImpossibleGeometry(
                f"{self.amount_mm:g} mm cannot be taken off for “{self.name}”; type 0 or more."
            )


@dataclass(frozen=True)
class ClearLength:
    """A measured length and what comes off it; `clear_length` makes one that makes sense."""

    measured_mm: float
    deductions: tuple[Deduction, ...]

    @property
    def clear_mm(self) -> float:
        """What is left for vehicles, in millimetres."""
        left = math.fsum([self.measured_mm, *(-each.amount_mm for each in self.deductions)])
        # Nine decimals, so that 0.3 less 0.1 and 0.2 is nothing; adding 0.0 drops a minus sign.
        return round(left, 9) + 0.0


def clear_length(measured_mm: float, deductions: Iterable[Deduction]) -> ClearLength:
    """A measured length less what is taken off at its ends, in millimetres.

    Usable length as in the US Army's TI 850-02 chapter 8: a spur from its end to the clearance
    point, a siding between its two clearance points.

    Raises ImpossibleGeometry when the length is not above zero, or when more is taken off than was
    measured; the largest deduction is then named. Nothing left at all is an answer, no error.
    """
    if not 0 < measured_mm < math.inf:
        raise ImpossibleGeometry(
            f"A track of {measured_mm:g} mm was not measured; measure it from end to end."
        )
    found = ClearLength(measured_mm, tuple(deductions))
    if found.clear_mm < 0:
        largest = max(found.deductions, key=lambda each: each.amount_mm)
        taken_off = math.fsum(each.amount_mm for each in found.deductions)
        raise ImpossibleGeometry(
            f"Of {_mm(measured_mm)} measured, {_mm(taken_off)} would come off, most of it "
            f"“{largest.name}” with {_mm(largest.amount_mm)}. Nothing stands clear here; see "
            "whether both ends were measured from where you said."
        )
    return found


def end_deduction(
    *,
    reference: str,
    frog_number: float | None,
    gauge_mm: float,
    centres_mm: float | None,
    leg: str,
    points_to_frog_mm: float | None = None,
    curve_radius_mm: float | None = None,
    buffer_room_mm: float = 0.0,
) -> Deduction:
    """What to take off at one end of a track, by what it was measured from.

    reference: one of REFERENCES. A clearance mark, a joint and a table edge take nothing off, a
        buffer stop the room kept before it; from the frog it is as far as the clearance point
        along that leg, and from the points the lead to the frog besides.
    leg: "main" or "diverging", whichever of the turnout's legs this track is.
    centres_mm: the centres that the vehicles need, see `required_centres`.
    points_to_frog_mm: from the tips of the points to the frog point, along that leg.
    curve_radius_mm: where the diverging leg is one curve from the points to beyond the clearance
        point; the frog number then follows from the curve and is not asked for. Without it both
        legs are straight beyond the frog.

    All in millimetres, measured along the centre line of the leg. Sources of the formulas:
    `frog_to_clearance` and `curved_clearance`.

    Raises ImpossibleGeometry for something missing, naming what to measure, and for dimensions
    that cannot be; ValueError for a reference or leg that is none.
    """
    if reference not in REFERENCES:
        raise ValueError(
            f"“{reference}” is nothing to measure from; use one of {', '.join(REFERENCES)}."
        )
    if leg not in LEGS:
        raise ValueError(f"“{leg}” is no leg of a turnout; use main or diverging.")
    if reference == "clearance mark":
        return Deduction(reference, 0.0, "Measured from the clearance mark itself.")
    if reference in ("joint", "table edge"):
        return Deduction(reference, 0.0, f"The track begins at the {reference}.")
    if reference == "buffer stop":
        if not 0 <= buffer_room_mm < math.inf:
            raise ImpossibleGeometry(
                f"Room of {buffer_room_mm:g} mm before a buffer stop cannot be; type 0 or more."
            )
        kept = f"{_mm(buffer_room_mm)} is kept free" if buffer_room_mm else "Nothing is kept free"
        return Deduction(reference, buffer_room_mm, f"{kept} before the buffer stop.")
    beyond, why = _frog_to_clearance_of(frog_number, gauge_mm, centres_mm, leg, curve_radius_mm)
    if reference == "frog":
        return Deduction("frog to clearance point", beyond, why)
    if points_to_frog_mm is None:
        raise ImpossibleGeometry(
            "How far the frog is from the points is not known: measure from the tips of the "
            "points to the frog point along this track, or measure the track from the frog."
        )
    if not 0 < points_to_frog_mm < math.inf:
        raise ImpossibleGeometry(
            f"{points_to_frog_mm:g} mm from the points to the frog cannot be; measure from the "
            "tips of the points to the frog point."
        )
    lead = f"{_mm(points_to_frog_mm)} from the points to the frog. {why}"
    return Deduction("points to clearance point", points_to_frog_mm + beyond, lead)


def _frog_to_clearance_of(
    number: float | None,
    gauge: float,
    centres: float | None,
    leg: str,
    radius: float | None,
) -> tuple[float, str]:
    """From the frog to the clearance point along one leg, and how that was found."""
    if centres is None:
        raise ImpossibleGeometry(
            "How far apart the tracks have to be is not known: measure the width of the widest "
            "vehicle, or put a clearance mark where two vehicles just pass and measure from there."
        )
    needed = f"{_mm(centres)} between centres is reached"
    if radius is not None:
        straight, along_curve, straight_to_frog = curved_clearance(radius, gauge, centres)
        beyond = straight - straight_to_frog
        if leg == "diverging":
            beyond = along_curve - _curve_to_frog(radius, gauge)
        how = f"a turnout curved to {_mm(radius)} radius"
    elif number is None:
        raise ImpossibleGeometry(
            "The frog number is not known: read it from the turnout's package, or measure how far "
            "it takes from the frog point for its two rails to spread 10 mm and divide by 10."
        )
    else:
        main, diverging = frog_to_clearance(number, gauge, centres)
        beyond = diverging if leg == "diverging" else main
        how = f"a No. {number:g} frog"
    if beyond < 0:
        raise ImpossibleGeometry(
            f"Vehicles that clear at centres of {_mm(centres)} would do so before the frog; "
            "measure the widest vehicle again."
        )
    return beyond, f"With {how}, {needed} {_mm(beyond)} beyond it along the {leg} leg."


def _curve_to_frog(radius: float, gauge: float) -> float:
    """From the tangent point to abreast of the frog, along the curved centre line.

    The frog's outer rail crosses the straight's where cos(theta) = (R - G/2) / (R + G/2), which is
    tan(theta/2) = sqrt(G / 2R). On the centre line of the curve that is a little less than the
    sqrt(2RG) along the straight.
    """
    return 2 * radius * math.atan(math.sqrt(gauge / (2 * radius)))


def _mm(length: float) -> str:
    """A length to a hundredth of a millimetre, without trailing zeros, for a sentence."""
    return f"{length:.2f}".rstrip("0").rstrip(".") + " mm"
