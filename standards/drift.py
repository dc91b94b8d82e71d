"""Whether a measured dimension moves towards a limit, and when it would reach it.

A straight line by least squares through readings of known uncertainty, each weighted by 1/u^2. The
whole uncertainty of each reading is taken as its own, although part of an instrument's error is
common to all of them and cannot feign a movement: so a movement is rather missed than invented.
Only what the line says for the days ahead is used as a warning, never as a verdict.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from statistics import NormalDist

FEWEST = 3
"""With fewer readings a line goes through all of them and shows nothing."""

SURE = NormalDist().inv_cdf(0.95)
"""How many standard uncertainties a movement has to be from none, on one side."""

DAYS_A_YEAR = 365.25
_FARTHEST = 200 * DAYS_A_YEAR


class DriftImpossible(ValueError):
    """Readings that no line can be drawn through; says which and why, in words."""


@dataclass(frozen=True)
class Point:
    """One reading: the day, its value and standard uncertainty in one unit."""

    on: date
    value: Decimal
    u: float


@dataclass(frozen=True)
class Drift:
    """The line through the readings.

    slope and u_slope: per year, in the unit of the readings. reaches: the day when the line meets
    the limit ahead of it, earliest: when it might with 95 % at the soonest; None where it moves
    away from every limit, or reaches none in two hundred years.
    """

    slope: float
    u_slope: float
    latest: date
    now: float
    reaches: date | None
    earliest: date | None
    limit: Decimal | None

    @property
    def is_moving(self) -> bool:
        """Whether the movement is more than the instruments explain (95 %, one side)."""
        return abs(self.slope) > SURE * self.u_slope

    def warns(self, until: date) -> bool:
        """Whether it moves, and the limit may be reached by that day."""
        return self.is_moving and self.earliest is not None and self.earliest <= until


def drift(
    points: Sequence[Point], low: Decimal | None = None, high: Decimal | None = None
) -> Drift | None:
    """The drift of readings in order of time; None for fewer than three, or all of one day.

    Raises DriftImpossible for readings out of order, or an uncertainty that is not above zero.
    """
    for before, after in pairwise(points):
        if after.on < before.on:
            raise DriftImpossible(f"{after.on} comes after {before.on}: sort the readings.")
    for each in points:
        if not (math.isfinite(each.u) and each.u > 0):
            raise DriftImpossible(f"The reading of {each.on} has no uncertainty; it needs one.")
    if len(points) < FEWEST or points[0].on == points[-1].on:
        return None
    first, last = points[0].on, points[-1].on
    times = [(each.on - first).days / DAYS_A_YEAR for each in points]
    values = [float(each.value) for each in points]
    weights = [each.u**-2 for each in points]
    total = sum(weights)
    mean_t = sum(w * t for w, t in zip(weights, times, strict=True)) / total
    mean_v = sum(w * v for w, v in zip(weights, values, strict=True)) / total
    spread = sum(w * (t - mean_t) ** 2 for w, t in zip(weights, times, strict=True))
    slope = (
        sum(
            w * (t - mean_t) * (v - mean_v) for w, t, v in zip(weights, times, values, strict=True)
        )
        / spread
    )
    u_slope = spread**-0.5

    def expected(at: float) -> tuple[float, float]:
        """The line at that time, in years, and its standard uncertainty."""
        return mean_v + slope * (at - mean_t), math.sqrt(1 / total + (at - mean_t) ** 2 / spread)

    limit = low if slope < 0 else high
    end = times[-1]
    now = expected(end)[0]
    reaches = earliest = None
    if limit is not None and slope != 0:
        bound = float(limit)
        sign = 1 if slope > 0 else -1

        def is_beyond(at: float, sure: float) -> bool:
            value, u = expected(at)
            return sign * (value - bound) + sure * u >= 0

        reaches = _first(lambda at: is_beyond(at, 0), end, first)
        earliest = _first(lambda at: is_beyond(at, SURE), end, first)
    return Drift(slope, u_slope, last, now, reaches, earliest, limit)


def _first(is_beyond: Callable[[float], bool], start: float, first: date) -> date | None:
    """The first day from `start` on, by halving; what has happened is from then on so."""
    farthest = start + _FARTHEST / DAYS_A_YEAR
    if not is_beyond(farthest):
        return None
    low, high = start, farthest
    if is_beyond(low):
        high = low
    while (high - low) * DAYS_A_YEAR > 0.5:
        middle = (low + high) / 2
        low, high = (low, middle) if is_beyond(middle) else (middle, high)
    return first + timedelta(days=math.ceil(high * DAYS_A_YEAR - 0.5))
