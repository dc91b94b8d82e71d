"""Vehicles on a curve, explained with worked examples; their sizes are chosen, of no maker."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from standards.curves import Body, centres_needed, inner_throw, outer_corner, outer_throw

GAUGE = 16.5

LONG = Body(length=297.7, pivot_distance=208.3, bogie_wheelbase=28, width=34.9)
SHORT = Body(length=140, pivot_distance=105, bogie_wheelbase=19.2, width=37)
SHARP, BROAD = 457.2, 609.6
GAP = 3.0


@dataclass(frozen=True)
class Example:
    """One drawing with the sizes that it is made from, and its figures in millimetres."""

    sizes: Mapping[str, object]
    figures: tuple[tuple[str, Decimal], ...]


def _mm(length: float) -> Decimal:
    return Decimal(repr(round(length, 3)))


def throws() -> Example:
    """One short car on a sharp curve."""
    return Example(
        {"radius": SHARP, "gauge": GAUGE, "vehicle": SHORT},
        (
            ("Inwards, at the middle of the car", _mm(inner_throw(SHARP, SHORT))),
            (
                "Outwards, at its corners",
                _mm(outer_corner(SHARP, SHORT) - SHORT.width / 2),
            ),
        ),
    )


def coupling() -> Example:
    """A long car coupled to a short one."""
    ends = [outer_throw(BROAD, body) for body in (LONG, SHORT)]
    return Example(
        {"radius": BROAD, "gauge": GAUGE, "vehicle": LONG, "neighbour": SHORT},
        (
            ("End of the long car, outwards", _mm(ends[0])),
            ("End of the short car, outwards", _mm(ends[1])),
            ("What the couplers have to swing", _mm(ends[0] - ends[1])),
        ),
    )


def s_curve() -> Example:
    """Two long cars alike, each on its own half of an S-curve without a straight between."""
    end = outer_throw(BROAD, LONG)
    sizes = {"radius": BROAD, "gauge": GAUGE, "vehicle": LONG, "neighbour": LONG}
    return Example(
        {**sizes, "is_s_curve": True},
        (
            ("On one curve, couplers swing", _mm(0.0)),
            ("On the S-curve, they swing", _mm(2 * end)),
        ),
    )


def passing() -> Example:
    """Two long cars that pass on concentric curves with the least room between them."""
    centres = centres_needed(BROAD, LONG, LONG, GAP)
    return Example(
        {
            "radius": BROAD,
            "gauge": GAUGE,
            "vehicle": LONG,
            "second": LONG,
            "centres": centres,
        },
        (
            ("Room kept between them", _mm(GAP)),
            ("Track centres needed for it", _mm(centres)),
        ),
    )
