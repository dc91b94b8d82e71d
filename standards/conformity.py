"""Does a measured value conform to a limit, given how well it was measured?

Follows JCGM 106:2012 for the probability that an item conforms and ISO 14253-1:2017 for the
rule that turns the probability into a verdict. Values and limits are ``Decimal`` in one
unit; uncertainties are ``float`` in that same unit.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum

from standards.metrology import (
    Measured,
    normal_cdf,
    student_cdf,
    student_quantile,
    welch_satterthwaite,
)

CONFORMANCE = 0.95
"""Probability with which conformance, or its opposite, has to be shown."""

_NON_CONFORMANCE = 0.05
# Far less than the rounding of the edges of a zone is worth.
_NEGLIGIBLE = 1e-13
_ROUNDING = 1e-16
_MOST_STEPS = 200

Zone = tuple[Decimal | None, Decimal | None]
"""Lowest and highest reading that is accepted; None where that side is open."""


class Outcome(StrEnum):
    """What can be said about one measured value."""

    WITHIN = "within"
    OUTSIDE = "outside"
    UNDECIDED = "undecided"
    NOT_JUDGED = "not judged"


class Rule(StrEnum):
    """How a verdict is reached."""

    NINETY_FIVE = "95%"
    """ISO 14253-1:2017: a verdict needs a probability of 95 %."""
    SIMPLE = "simple"
    """Simple acceptance, JCGM 106 clause 8.2: the value alone is compared."""


@dataclass(frozen=True)
class Bounds:
    """Lowest and highest value allowed, each or both possibly None for an open side.

    ``low_u`` and ``high_u`` are the standard uncertainties of the limits themselves, above
    zero when a limit was derived from another measured value. All in one unit. A value on a
    limit conforms.

    Raises:
        ValueError: low is above high, a limit is not finite, or an uncertainty is negative
            or not finite.
    """

    low: Decimal | None
    high: Decimal | None
    low_u: float = 0.0
    high_u: float = 0.0

    def __post_init__(self) -> None:
        for limit in (self.low, self.high):
            if limit is not None and not limit.is_finite():
                raise ValueError(f"{limit} cannot be a limit; leave an open side empty.")
        for u in (self.low_u, self.high_u):
            if not (math.isfinite(u) and u >= 0):
                raise ValueError(f"A standard uncertainty cannot be {u}.")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"The lower limit {self.low} is above the upper one {self.high}.")


@dataclass(frozen=True)
class Judgement:
    """A verdict and what it rests on.

    ``probability`` is the conformance probability, None where nothing was computed.
    ``zone`` holds the readings that would be accepted, None where there are none or where
    no limit was applied. ``undecidable`` says that the tolerance is too narrow for this
    instrument, so that measuring again the same way cannot help. ``miss`` is the signed
    distance from the violated limit, in the unit of the value: negative below the lower
    limit, positive above the upper, zero inside; None where no value was compared.
    """

    outcome: Outcome
    probability: float | None
    zone: Zone | None = None
    undecidable: bool = False
    miss: Decimal | None = None


@dataclass(frozen=True)
class _Side:
    """One limit together with the uncertainty that counts at it."""

    limit: Decimal
    u: float
    dof: float

    def beyond(self, distance: float) -> float:
        """Probability that the true value lies past the limit, for a value ``distance``
        inside it (negative when the value itself is past it)."""
        if self.u == 0:
            return 0.0 if distance >= 0 else 1.0
        return student_cdf(-distance / self.u, self.dof)

    def inside(self, distance: float) -> float:
        """The opposite of `beyond`, computed on its own so that a small one keeps its
        digits."""
        if self.u == 0:
            return 1.0 if distance >= 0 else 0.0
        return student_cdf(distance / self.u, self.dof)


def conformance_probability(measured: Measured, bounds: Bounds) -> float:
    """Probability, 0 to 1, that the true value lies within ``bounds``.

    JCGM 106 clause 7: Phi((T_U - y) / u) - Phi((T_L - y) / u), with either term left out on
    an open side and Phi replaced by the Student distribution where u has finite degrees of
    freedom. Where a limit has an uncertainty of its own, the two are combined in quadrature
    on that side (the question is then whether the difference has the right sign), the
    limit's own counting as having endless degrees of freedom in Welch-Satterthwaite; the
    result is 1 - P(below low) - P(above high), never less than 0. Where nothing on a side is
    uncertain, the decimals are compared exactly and a value on the limit conforms. Without
    any limit the probability is 1.
    """
    low, high = _sides(measured.u, measured.dof, bounds)
    if low is not None and high is None:
        return low.inside(_distance(measured.value, low.limit))
    if high is not None and low is None:
        return high.inside(_distance(high.limit, measured.value))
    if low is None or high is None:
        return 1.0
    from_low = _distance(measured.value, low.limit)
    from_high = _distance(high.limit, measured.value)
    # Past a limit the answer is a difference of two small tails; taking them from 1 there
    # would leave only rounding errors.
    if from_low < 0:
        probability = low.inside(from_low) - high.beyond(from_high)
    elif from_high < 0:
        probability = high.inside(from_high) - low.beyond(from_low)
    else:
        probability = 1 - low.beyond(from_low) - high.beyond(from_high)
    return max(0.0, probability)


def guard_factor(width_over_u: float, p: float = CONFORMANCE) -> float | None:
    """Distance, in units of u, to keep from each limit of a two-sided tolerance.

    ``width_over_u`` is the width of the tolerance divided by the standard uncertainty;
    ``math.inf`` stands for a limit on one side only. Returns the g that solves
    Phi(g) + Phi(W/u - g) - 1 = p (JCGM 106 clause 7 put on the edge of the acceptance
    zone), so that the zone is W/u - 2 g wide; ISO 14253-1:2017 rounds the wide case, 1.6449,
    to 1.65. Returns None when even a reading in the very middle falls short of ``p``.

    Raises:
        ValueError: ``width_over_u`` is negative or not a number, or ``p`` is not at least
            one half and below 1.
    """
    if not width_over_u >= 0:
        raise ValueError(f"A tolerance cannot be {width_over_u} wide.")
    if not 0.5 <= p < 1:
        raise ValueError(f"A conformance probability lies between 0.5 and 1, not {p}.")
    if width_over_u < 2 * student_quantile((1 + p) / 2, math.inf):
        return None
    wide = student_quantile(p, math.inf)
    if math.isinf(width_over_u):
        return wide
    allowed = 1 - p
    return _falls_to_zero(
        lambda g: normal_cdf(-g) + normal_cdf(g - width_over_u) - allowed,
        wide,
        width_over_u / 2,
    )


def acceptance_zone(bounds: Bounds, u: float, rule: Rule, dof: float = math.inf) -> Zone | None:
    """Lowest and highest reading that is found within ``bounds``, in the unit of the limits.

    ``u`` is the standard uncertainty of a reading and ``dof`` its degrees of freedom. Under
    simple acceptance the zone is the tolerance itself. Under the 95 % rule it is where the
    conformance probability reaches 0.95 (JCGM 106 clauses 7 and 8.3, ISO 14253-1:2017); its
    edges are rounded inwards, by less than a millionth of the guard band, so that a reading
    on an edge always passes. None when no reading at all would pass.

    Raises:
        ValueError: ``u`` is negative or not finite, or ``dof`` is not above zero.
    """
    if not (math.isfinite(u) and u >= 0):
        raise ValueError(f"A standard uncertainty cannot be {u}.")
    low, high = _sides(u, dof, bounds)
    if rule is Rule.SIMPLE or (low is None and high is None):
        return bounds.low, bounds.high
    if low is not None and high is not None:
        return _closed_zone(low, high)
    side = low or high
    assert side is not None
    guard = _one_sided(side)
    if math.isinf(guard):
        return None
    if side is low:
        return side.limit + _inwards(guard), None
    return None, side.limit - _inwards(guard)


def judge(measured: Measured, bounds: Bounds, rule: Rule = Rule.NINETY_FIVE) -> Judgement:
    """Compare a measured value with its limits, both in one unit.

    Under the 95 % rule (ISO 14253-1:2017) the value is within when the conformance
    probability is at least 0.95, outside when it is at most 0.05, and undecided between the
    two. A tolerance too narrow for any reading to be found within would, taken literally,
    put even its own middle outside once it is very narrow; there the value is outside only
    if it lies beyond one of the limits with a probability of 0.95, and otherwise undecided.

    Under simple acceptance (JCGM 106 clause 8.2) the decimals are compared exactly, limits
    included; the probability is reported but plays no part.

    Without any limit the value is not judged. Impossible values and limits are refused with
    a ValueError where `Measured` and `Bounds` are made.
    """
    if bounds.low is None and bounds.high is None:
        return Judgement(outcome=Outcome.NOT_JUDGED, probability=None)
    probability = conformance_probability(measured, bounds)
    zone = acceptance_zone(bounds, measured.u, rule, measured.dof)
    miss = _miss(measured.value, bounds)
    if rule is Rule.SIMPLE:
        outcome = Outcome.WITHIN if miss == 0 else Outcome.OUTSIDE
    elif probability >= CONFORMANCE:
        outcome = Outcome.WITHIN
    elif probability <= _NON_CONFORMANCE and (
        zone is not None or _beyond_one_limit(measured, bounds)
    ):
        outcome = Outcome.OUTSIDE
    else:
        outcome = Outcome.UNDECIDED
    return Judgement(
        outcome=outcome,
        probability=probability,
        zone=zone,
        undecidable=outcome is Outcome.UNDECIDED and zone is None,
        miss=miss,
    )


def how_sure(probability: float) -> str:
    """A probability in words that never claim certainty."""
    if probability > 0.999:
        return "over 99.9 % sure"
    if probability < 0.001:
        return "under 0.1 % sure"
    return f"{probability:.1%} sure".replace("%", " %")


def judge_gauge(passed: bool) -> Judgement:
    """Verdict of a go/no-go gauge, which has no value and hence no probability."""
    return Judgement(outcome=Outcome.WITHIN if passed else Outcome.OUTSIDE, probability=None)


def _sides(u: float, dof: float, bounds: Bounds) -> tuple[_Side | None, _Side | None]:
    def side(limit: Decimal | None, limit_u: float) -> _Side | None:
        if limit is None:
            return None
        joint_dof = welch_satterthwaite([(u, dof), (limit_u, math.inf)])
        return _Side(limit, math.hypot(u, limit_u), joint_dof)

    return side(bounds.low, bounds.low_u), side(bounds.high, bounds.high_u)


def _distance(upper: Decimal, lower: Decimal) -> float:
    # Decimals compare exactly but subtract to a limited precision, and a float reaches zero
    # before they do; a value must never slide onto a limit it is past.
    if upper == lower:
        return 0.0
    distance = float(upper - lower)
    if distance == 0:
        return math.copysign(5e-324, 1 if upper > lower else -1)
    return distance


def _miss(value: Decimal, bounds: Bounds) -> Decimal:
    if bounds.low is not None and value < bounds.low:
        return value - bounds.low
    if bounds.high is not None and value > bounds.high:
        return value - bounds.high
    return Decimal(0)


def _beyond_one_limit(measured: Measured, bounds: Bounds) -> bool:
    low, high = _sides(measured.u, measured.dof, bounds)
    below = 0.0 if low is None else low.beyond(_distance(measured.value, low.limit))
    above = 0.0 if high is None else high.beyond(_distance(high.limit, measured.value))
    return max(below, above) >= CONFORMANCE


def _one_sided(side: _Side) -> float:
    """Distance to keep from a limit when the other side is open or far away."""
    return 0.0 if side.u == 0 else side.u * student_quantile(CONFORMANCE, side.dof)


def _closed_zone(low: _Side, high: _Side) -> Zone | None:
    width = _distance(high.limit, low.limit)
    allowed = 1 - CONFORMANCE

    def risk(from_low: float) -> float:
        return low.beyond(from_low) + high.beyond(width - from_low)

    alike = (low.u, low.dof) == (high.u, high.dof)
    from_low = _one_sided(low)
    from_high = from_low if alike else _one_sided(high)
    if (
        from_low + from_high > width
        or high.beyond(width - from_low) > _NEGLIGIBLE
        or low.beyond(width - from_high) > _NEGLIGIBLE
    ):
        # Each limit is felt at the other. Between the limits each tail is convex in the
        # position of the reading, so the risk has a single valley and either half falls
        # towards it.
        best = width / 2 if alike else _lowest(risk, width)
        if risk(best) > allowed:
            return None
        from_low = _falls_to_zero(lambda d: risk(d) - allowed, 0.0, best)
        from_high = (
            from_low
            if alike
            else _falls_to_zero(lambda d: risk(width - d) - allowed, 0.0, width - best)
        )
    lowest = low.limit + _inwards(from_low)
    highest = high.limit - _inwards(from_high)
    return None if lowest > highest else (lowest, highest)


def _falls_to_zero(excess: Callable[[float], float], start: float, end: float) -> float:
    """Where a function that falls from ``start`` to ``end``, and is not above zero at
    ``end``, first reaches zero.

    False position with the Illinois halving, which keeps the root enclosed and needs far
    fewer of the costly tail probabilities than bisection.
    """
    at_start, at_end = excess(start), excess(end)
    if at_start <= 0:
        return start
    moved = ""
    for _ in range(_MOST_STEPS):
        middle = end - at_end * (end - start) / (at_end - at_start)
        # Landing on an end of the bracket means that end is the root to the last digit.
        if not start < middle < end:
            return min(max(middle, start), end)
        at_middle = excess(middle)
        if abs(at_middle) <= _ROUNDING:
            return middle
        if at_middle > 0:
            start, at_start = middle, at_middle
            at_end = at_end / 2 if moved == "start" else at_end
            moved = "start"
        else:
            end, at_end = middle, at_middle
            at_start = at_start / 2 if moved == "end" else at_start
            moved = "end"
    return end


def _lowest(risk: Callable[[float], float], width: float) -> float:
    """Where a single-valleyed function on 0 ... ``width`` is lowest, by thirds."""
    start, end = 0.0, width
    while end - start > 1e-9 * width:
        third = (end - start) / 3
        if risk(start + third) <= risk(end - third):
            end -= third
        else:
            start += third
    return (start + end) / 2


def _inwards(guard: float) -> Decimal:
    """``guard`` to nine digits, raised by one or two in the last so that the rounding errors
    of the probability cannot put the edge of a zone outside it."""
    if guard == 0:
        return Decimal(0)
    digit = Decimal(1).scaleb(math.floor(math.log10(guard)) - 8)
    return Decimal(guard).quantize(digit, rounding=ROUND_CEILING) + digit
