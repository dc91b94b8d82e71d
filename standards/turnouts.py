"""Turnouts: frog number and angle, where two tracks clear each other, and clear length.

One length unit throughout (millimetres in the project), angles in radians.
"""

from __future__ import annotations

import math

from standards.curves import ImpossibleGeometry


def frog_angle(number: float) -> float:
    """Angle of a frog by the centre-line method: 2 atan(1 / 2N). Raises ImpossibleGeometry."""
    if not number > 0:
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
    if centres >= radius:
        raise ImpossibleGeometry(
            f"A curve of radius {radius:g} is never {centres:g} away while it still leads forward."
        )
    straight = math.sqrt(2 * radius * centres - centres**2)
    return straight, radius * math.acos(1 - centres / radius), math.sqrt(2 * radius * gauge)
