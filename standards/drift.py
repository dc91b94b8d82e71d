"""Whether a measured dimension moves towards a limit, and when it would reach it.

A straight line by least squares through readings of known uncertainty, each weighted by 1/u^2. How
much of an instrument's error is common to all its readings is not known. A common error cannot
feign a movement while the instrument stays the same, but it can when another takes over, and it
does not average out of where the line stands. So each uncertainty is that of the worst share, from
none to all that the best reading of the instrument allows. Readings that scatter about the line
by more than they should (chi-square) widen everything by that much, as Birge did.
Only what the line says for the days ahead is used as a warning, never as a verdict.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

from standards.metrology import student_quantile, welch_satterthwaite

FEWEST = 3
"""With fewer readings a line goes through all of them and shows nothing."""

SHORTEST = 30
"""Fewer days between the first and the last reading tell no rate. Common practice, no source."""

SURE = 0.95
"""Probability behind every bound; a line that does not move is called moving in 5 %."""

_FINEST, _LARGEST = 1e-30, 1e9

DAYS_A_YEAR = 365.25
_FARTHEST = 200 * DAYS_A_YEAR


class DriftImpossible(ValueError):
    """Readings that no line can be drawn through; says which and why, in words."""


@dataclass(frozen=True)
class Point:
    """One reading: the day, its value and standard uncertainty in one unit, its degrees of
    freedom, and which instrument took it; readings without one are taken to share it."""

    on: date
    value: Decimal
    u: float
    dof: float = math.inf
    instrument: str = ""


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
    dof: float = math.inf

    @property
    def is_moving(self) -> bool:
        """Whether the movement is more than the instruments explain (95 %, both sides)."""
        return abs(self.slope) > student_quantile((1 + SURE) / 2, self.dof) * self.u_slope

    def warns(self, until: date) -> bool:
        """Whether it moves, and the limit may be reached by that day."""
        return self.is_moving and self.earliest is not None and self.earliest <= until


def drift(
    points: Sequence[Point], low: Decimal | None = None, high: Decimal | None = None
) -> Drift | None:
    """The drift of readings in order of time; None for fewer than three days, or
    too short a time to tell a rate.

    Raises DriftImpossible for readings out of order, an uncertainty that is not above zero,
    or something not finite in figures or limits.
    """
    _check(points, low, high)
    if len({each.on for each in points}) < FEWEST:
        return None
    if (points[-1].on - points[0].on).days < SHORTEST:
        return None
    first, last = points[0].on, points[-1].on
    times = [(each.on - first).days / DAYS_A_YEAR for each in points]
    values = [float(each.value - points[0].value) for each in points]
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
    tilt = [w * (t - mean_t) / spread for w, t in zip(weights, times, strict=True)]
    level = [w / total for w in weights]
    dof = min(
        welch_satterthwaite([(abs(c) * p.u, p.dof) for c, p in zip(part, points, strict=True)])
        for part in (tilt, level)
    )
    left = math.fsum(
        w * (v - mean_v - slope * (t - mean_t)) ** 2
        for w, t, v in zip(weights, times, values, strict=True)
    )
    widened = 1.0
    if _chance_of_more(left, len(points) - 2) < 1 - SURE:
        widened = math.sqrt(left / (len(points) - 2))
        dof = min(dof, len(points) - 2)
    u_slope = widened * _worst(tilt, points)
    sure = student_quantile(SURE, dof)

    def expected(at: float) -> tuple[float, float]:
        """The line at that time, in years, from the first value, and its uncertainty."""
        parts = [a + (at - mean_t) * b for a, b in zip(level, tilt, strict=True)]
        return mean_v + slope * (at - mean_t), widened * _worst(parts, points)

    limit = low if slope < 0 else high
    end = times[-1]
    now = float(points[0].value) + expected(end)[0]
    reaches = earliest = None
    if limit is not None and slope != 0:
        bound = float(limit - points[0].value)
        sign = 1 if slope > 0 else -1

        def is_beyond(at: float, sure: float) -> bool:
            value, u = expected(at)
            return sign * (value - bound) + sure * u >= 0

        reaches = _first(lambda at: is_beyond(at, 0), end, first)
        earliest = _first(lambda at: is_beyond(at, sure), end, first)
    return Drift(slope, u_slope, last, now, reaches, earliest, limit, dof)


def _worst(parts: Sequence[float], points: Sequence[Point]) -> float:
    """The standard uncertainty of a sum of the readings, each times its part.

    With a variance s^2 common to the readings of one instrument it is sum c^2 (u^2 - s^2) +
    s^2 (sum c)^2, linear in s^2: the largest is at s = 0 or at the least u of that instrument.
    """
    variance = math.fsum((c * p.u) ** 2 for c, p in zip(parts, points, strict=True))
    for name in {p.instrument for p in points}:
        its = [(c, p.u) for c, p in zip(parts, points, strict=True) if p.instrument == name]
        gain = math.fsum(c for c, _ in its) ** 2 - math.fsum(c * c for c, _ in its)
        variance += max(0.0, gain) * min(u for _, u in its) ** 2
    return math.sqrt(variance)


def _chance_of_more(chi_square: float, dof: int) -> float:
    """P(X > chi_square) for whole degrees of freedom (Abramowitz and Stegun 26.4.4, 26.4.5)."""
    half = chi_square / 2
    if half <= 0:
        return 1.0
    start = 1.0 if dof % 2 == 0 else 0.5
    total = 0.0 if dof % 2 == 0 else math.erfc(math.sqrt(half))
    k = start - (1.0 if dof % 2 == 0 else 0.0)
    while k < dof / 2:
        total += math.exp(k * math.log(half) - half - math.lgamma(k + 1))
        k += 1
    return min(1.0, total)


def _check(points: Sequence[Point], low: Decimal | None, high: Decimal | None) -> None:
    for each in points:
        if isinstance(each.on, datetime):
            raise DriftImpossible(f"{each.on} has a time of day; give the date alone.")
        if not (each.value.is_finite() and abs(each.value) < _LARGEST):
            raise DriftImpossible(f"The value {each.value} of {each.on} cannot be; type it again.")
        if not (math.isfinite(each.u) and each.u > 0):
            raise DriftImpossible(f"The reading of {each.on} has no uncertainty; it needs one.")
        if not _FINEST <= each.u < _LARGEST:
            raise DriftImpossible(f"The uncertainty {each.u} of {each.on} cannot be; mend it.")
        if not each.dof > 0:
            raise DriftImpossible(f"The reading of {each.on} has {each.dof} degrees of freedom.")
    for before, after in pairwise(points):
        if after.on < before.on:
            raise DriftImpossible(f"{after.on} comes after {before.on}: sort the readings.")
    for name, limit in (("low", low), ("high", high)):
        if limit is not None and not limit.is_finite():
            raise DriftImpossible(f"The {name} limit {limit} is no number; leave it out instead.")


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
    days = math.ceil(high * DAYS_A_YEAR - 0.5)
    return first + timedelta(days=days) if days <= (date.max - first).days else None
