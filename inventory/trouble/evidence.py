"""Car or track? What few derailments say about who is to blame, and what they cannot say.

Plain data in, words and figures out. A count is a number of derailments; exposure is how often
there was a chance of one: passages over a place, runs, distance. Derailments are taken as Poisson
counts, rare and independent; counts are whole numbers, rates and probabilities floats.

The tails of the gamma, beta and binomial distributions are computed here, since three of them are
all that is needed and a whole scientific library would be a heavy load for a club's small
computer; the tests hold them against such a library.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

CONFIDENCE = 0.95
"""Probability of every interval and bound, unless another is asked for."""

_TINY = 1e-300
_EPSILON = 1e-16
_MOST_STEPS = 100_000
# Outcomes this close in probability count as equally likely; the last digits are rounding.
_ALIKE = 1 + 1e-7
# Below this a logarithm stands for a quantile that is zero in floating point.
_LEAST_LOG = -745.0


class EvidenceImpossible(ValueError):
    """Figures that cannot be; the message says which, and what to do, in words."""


# --- Distributions ----------------------------------------------------------------------------


def _gamma_tails(shape: float, x: float) -> tuple[float, float]:
    """P(X <= x) and P(X > x) for X ~ Gamma(shape, 1).

    Series below the mean and continued fraction above it (NIST DLMF 8.7.1 and 8.9.2), so that the
    smaller tail never comes from subtracting the larger one from 1.
    """
    if x <= 0:
        return 0.0, 1.0
    if math.isinf(x):
        return 1.0, 0.0
    front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
    if x < shape + 1:
        term = total = 1 / shape
        for step in range(1, _MOST_STEPS):
            term *= x / (shape + step)
            total += term
            if term < total * _EPSILON:
                break
        lower = min(1.0, front * total)
        return lower, 1 - lower
    # Lentz's way through the fraction, from the front.
    b = x + 1 - shape
    c, d = 1 / _TINY, 1 / b
    fraction = d
    for step in range(1, _MOST_STEPS):
        a = -step * (step - shape)
        b += 2
        d = 1 / _not_zero(a * d + b)
        c = _not_zero(b + a / c)
        fraction *= d * c
        if abs(d * c - 1) < _EPSILON * 4:
            break
    upper = min(1.0, front * fraction)
    return 1 - upper, upper


def _not_zero(number: float) -> float:
    return number if abs(number) > _TINY else _TINY


def _gamma_quantile(p: float, shape: float) -> float:
    """The x with P(X <= x) = p for X ~ Gamma(shape, 1), by Newton's steps in ln x, kept inside
    a bracket that closes."""
    if p <= 0:
        return 0.0
    if p >= 1:
        return math.inf

    def excess(log_x: float) -> float:
        """How far the probability at x is above p; from the upper tail where that is smaller."""
        lower, upper = _gamma_tails(shape, math.exp(log_x))
        return lower - p if p < 0.5 else (1 - p) - upper

    low, high = _LEAST_LOG, math.log(shape + 50 * math.sqrt(shape) + 800)
    if excess(low) > 0:
        return 0.0
    # Wilson and Hilferty's cube is a good start except far down, where the first term is.
    first = (math.log(p) + math.lgamma(shape + 1)) / shape
    at = min(max(first if first < math.log(shape) - 1 else math.log(shape), low), high)
    for _ in range(200):
        over = excess(at)
        low, high = (at, high) if over < 0 else (low, at)
        log_density = shape * at - math.exp(at) - math.lgamma(shape)
        step = over * math.exp(-log_density) if log_density > -600 else math.inf
        after = at - step
        if not low < after < high:
            after = (low + high) / 2
        if abs(after - at) < 1e-14 * max(1.0, abs(at)):
            return math.exp(after)
        at = after
    return math.exp(at)


def _beta_tails(a: float, b: float, x: float) -> tuple[float, float]:
    """P(X <= x) and P(X > x) for X ~ Beta(a, b); NIST DLMF 8.17.22."""
    if x <= 0:
        return 0.0, 1.0
    if x >= 1:
        return 1.0, 0.0
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    if x < (a + 1) / (a + b + 2):
        lower = min(1.0, front * _beta_fraction(a, b, x) / a)
        return lower, 1 - lower
    upper = min(1.0, front * _beta_fraction(b, a, 1 - x) / b)
    return 1 - upper, upper


def _beta_fraction(a: float, b: float, x: float) -> float:
    c = 1.0
    d = 1 / _not_zero(1 - (a + b) * x / (a + 1))
    fraction = d
    for m in range(1, _MOST_STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1 / _not_zero(1 + term * d)
            c = _not_zero(1 + term / c)
            fraction *= d * c
        if abs(d * c - 1) < _EPSILON * 4:
            break
    return fraction


def _beta_odds(p: float, a: float, b: float) -> float:
    """The odds x / (1 - x) at which P(X <= x) = p for X ~ Beta(a, b), by halving their
    logarithm; the odds keep their digits where x is next to 0 or 1."""
    low, high = -700.0, 700.0
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        x = 1 / (1 + math.exp(-middle))
        lower, upper = _beta_tails(a, b, x)
        is_short = lower < p if p < 0.5 else upper > 1 - p
        low, high = (middle, high) if is_short else (low, middle)
    return math.exp((low + high) / 2)


def _binomial_tails(x: int, n: int, p: float) -> tuple[float, float]:
    """P(X <= x) and P(X >= x) for X ~ Binomial(n, p)."""
    at_most = 1.0 if x >= n else _beta_tails(x + 1, n - x, p)[1]
    at_least = 1.0 if x <= 0 else _beta_tails(x, n - x + 1, p)[0]
    return at_most, at_least


def _binomial(n: int, p: float) -> npt.NDArray[np.float64]:
    """The probabilities of 0 ... n events of n."""
    if p <= 0 or p >= 1:
        sure = np.zeros(n + 1)
        sure[0 if p <= 0 else n] = 1.0
        return sure
    k = np.arange(n + 1)
    of = _log_factorials(n)
    logs = of[n] - of - of[::-1] + k * math.log(p) + (n - k) * math.log1p(-p)
    chances: npt.NDArray[np.float64] = np.exp(logs)
    return chances


@lru_cache(maxsize=256)
def _log_factorials(n: int) -> npt.NDArray[np.float64]:
    """Logarithms of 0! ... n!; each on its own, since a running sum would gather rounding."""
    return np.array([math.lgamma(k + 1) for k in range(n + 1)])


def poisson_at_least(count: int, expected: float) -> float:
    """Probability of `count` events or more where `expected` are, events being Poisson.

    P(X >= x) = P(Gamma(x, 1) <= expected) (NIST DLMF 8.4.10). Raises EvidenceImpossible for a
    count that is none or an expectation below zero.
    """
    _check_count("count", count)
    if not (math.isfinite(expected) and expected >= 0):
        raise EvidenceImpossible(f"{expected} events cannot be expected; give 0 or more.")
    return 1.0 if count == 0 else _gamma_tails(count, expected)[0]


# --- One rate ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Interval:
    """From `low` to `high`; high is math.inf where nothing bounds it."""

    low: float
    high: float


@dataclass(frozen=True)
class Rate:
    """How often something fails, in failures per unit of exposure.

    rate: count / exposure. jeffreys_mean and jeffreys: the mean and the interval of the posterior
    from Jeffreys' prior; garwood: the exact interval, which never covers less than it says; upper:
    the exact bound on one side, at the same confidence.
    """

    count: int
    exposure: float
    rate: float
    jeffreys_mean: float
    jeffreys: Interval
    garwood: Interval
    upper: float


def failure_rate(count: int, exposure: float, *, confidence: float = CONFIDENCE) -> Rate:
    """The rate behind `count` failures in `exposure`, with how far it can be trusted.

    Jeffreys: Gamma(x + 1/2, E), from the prior Gamma(1/2, 0). Garwood (1936):
    chi2(alpha/2; 2x) / 2E ... chi2(1 - alpha/2; 2x + 2) / 2E, written here with the gamma
    distribution, and 0 at the bottom when nothing failed.

    Raises EvidenceImpossible for a count that is none, exposure that is not above zero or a
    confidence not between 0 and 1.
    """
    _check_count("count", count)
    _check_exposure(exposure, count)
    tail = _tail(confidence)
    return Rate(
        count=count,
        exposure=exposure,
        rate=count / exposure,
        jeffreys_mean=(count + 0.5) / exposure,
        jeffreys=Interval(
            _gamma_quantile(tail, count + 0.5) / exposure,
            _gamma_quantile(1 - tail, count + 0.5) / exposure,
        ),
        garwood=Interval(
            _gamma_quantile(tail, count) / exposure if count else 0.0,
            _gamma_quantile(1 - tail, count + 1) / exposure,
        ),
        upper=_gamma_quantile(confidence, count + 1) / exposure,
    )


def rule_of_three(exposure: float) -> float:
    """The rate that is not exceeded, with 95 % confidence, when nothing failed: 3 / exposure.

    -ln 0.05 = 2.9957 rounded up (Hanley and Lippman-Hand 1983, from memory). Raises
    EvidenceImpossible for exposure that is not above zero.
    """
    _check_exposure(exposure, 0)
    return 3 / exposure


def passages_to_show(rate: float, *, confidence: float = CONFIDENCE) -> int:
    """In how many passages a trouble of this rate shows itself at least once.

    The least n with 1 - exp(-rate n) >= confidence: -ln(1 - confidence) / rate, rounded up.
    Raises EvidenceImpossible for a rate that is not above zero or an impossible confidence.
    """
    if not (math.isfinite(rate) and rate > 0):
        raise EvidenceImpossible(f"A rate of {rate} never shows; give one above 0.")
    _tail(confidence)
    return math.ceil(-math.log1p(-confidence) / rate)


# --- Two rates --------------------------------------------------------------------------------


class TwoSided(StrEnum):
    """What counts as at least as far out as what was seen."""

    CENTRAL = "central"
    """Twice the smaller tail: agrees with the interval, and is what this project decides by."""
    MINLIKE = "minlike"
    """All outcomes that are no likelier."""


@dataclass(frozen=True)
class Comparison:
    """One rate against another.

    ratio: the first rate divided by the second, math.inf where only the first failed, None where
    neither did. interval: of the ratio. p: two-sided, by `rule`; p_greater: the probability of as
    many failures in the first, or more, if the ratio were the null ratio.
    """

    ratio: float | None
    interval: Interval
    p: float
    p_greater: float
    rule: TwoSided


def compare_rates(
    count: int,
    exposure: float,
    other_count: int,
    other_exposure: float,
    *,
    null_ratio: float = 1.0,
    rule: TwoSided = TwoSided.CENTRAL,
    confidence: float = CONFIDENCE,
) -> Comparison:
    """Whether one rate is another, times `null_ratio`, exactly, given the failures in all.

    Of n = x1 + x2 failures, X1 ~ Binomial(n, r E1 / (r E1 + E2)). The interval is Clopper and
    Pearson's for x1 / n, turned into pi / (1 - pi) * E2 / E1 (Lehmann 1986; M. Fay, vignette of
    the R package rateratio.test). Only the central p always agrees with it.

    Raises EvidenceImpossible for counts that are none, exposure or a null ratio that is not above
    zero, or an impossible confidence.
    """
    for each, its_exposure in ((count, exposure), (other_count, other_exposure)):
        _check_count("count", each)
        _check_exposure(its_exposure, each)
    if not (math.isfinite(null_ratio) and null_ratio > 0):
        raise EvidenceImpossible(f"A null ratio of {null_ratio} cannot be; give one above 0.")
    rule, tail, n = TwoSided(rule), _tail(confidence), count + other_count
    share = null_ratio * exposure / (null_ratio * exposure + other_exposure)
    at_most, at_least = _binomial_tails(count, n, share)
    if rule is TwoSided.CENTRAL:
        p = min(1.0, 2 * min(at_most, at_least))
    else:
        chances = _binomial(n, share)
        p = min(1.0, float(chances[chances <= chances[count] * _ALIKE].sum()))
    turned = other_exposure / exposure
    return Comparison(
        ratio=(count / other_count * turned if other_count else (math.inf if count else None)),
        interval=Interval(
            turned * _beta_odds(tail, count, other_count + 1) if count else 0.0,
            turned * _beta_odds(1 - tail, count + 1, other_count) if other_count else math.inf,
        ),
        p=p,
        p_greater=at_least,
        rule=rule,
    )


# --- Shrinkage --------------------------------------------------------------------------------


class Fit(StrEnum):
    """How the prior of a fleet is found."""

    MOMENTS = "moments"
    LIKELIHOOD = "likelihood"


@dataclass(frozen=True)
class Shrunk:
    """A rate drawn towards that of its fleet: mean and standard deviation, interval, and how much
    of the mean its own record makes (0 to 1)."""

    mean: float
    sd: float
    interval: Interval
    own_weight: float


@dataclass(frozen=True)
class Prior:
    """What is thought of a rate before its own record: Gamma(shape, exposure), as though `shape`
    failures had been seen in `exposure`; the mean is shape / exposure.

    basis: where it comes from, in words. Raises EvidenceImpossible for a figure that is not above
    zero.
    """

    shape: float
    exposure: float
    basis: str = "given"

    def __post_init__(self) -> None:
        for what, figure in (("shape", self.shape), ("exposure", self.exposure)):
            if not (math.isfinite(figure) and figure > 0):
                raise EvidenceImpossible(f"A prior's {what} cannot be {figure}; give one above 0.")

    @property
    def mean(self) -> float:
        return self.shape / self.exposure

    def posterior(self, count: int, exposure: float, *, confidence: float = CONFIDENCE) -> Shrunk:
        """The rate after `count` failures in `exposure`: Gamma(a + x, b + E).

        Mean (a + x) / (b + E), own weight E / (b + E), equal tails (Albert, Bayesian Computation
        with R, section 3.3). Exposure may be 0 where nothing failed. Raises EvidenceImpossible
        for a count that is none, exposure that cannot be or an impossible confidence.
        """
        shape, rate = self._after(count, exposure)
        tail = _tail(confidence)
        return Shrunk(
            mean=shape / rate,
            sd=math.sqrt(shape) / rate,
            interval=Interval(
                _gamma_quantile(tail, shape) / rate, _gamma_quantile(1 - tail, shape) / rate
            ),
            own_weight=exposure / rate,
        )

    def probability_above(self, limit: float, count: int, exposure: float) -> float:
        """Probability, 0 to 1, that the rate is above `limit`, after that record."""
        shape, rate = self._after(count, exposure)
        return _gamma_tails(shape, limit * rate)[1]

    def predictive(self, most: int, exposure: float) -> tuple[float, ...]:
        """Probabilities of 0 ... `most` failures in `exposure` to come, by this prior alone.

        Negative binomial, NegBin(a, b / (b + E)). Raises EvidenceImpossible as `posterior` does.
        """
        _check_count("most", most)
        self._after(0, exposure)
        kept = self.exposure / (self.exposure + exposure)
        chances = [kept**self.shape]
        for k in range(1, most + 1):
            chances.append(chances[-1] * (self.shape + k - 1) / k * (1 - kept))
        return tuple(chances)

    def updated(self, count: int, exposure: float) -> Prior:
        """This prior after a record, for the `predictive` of what is still to come."""
        shape, rate = self._after(count, exposure)
        return Prior(shape, rate, self.basis)

    def _after(self, count: int, exposure: float) -> tuple[float, float]:
        _check_count("count", count)
        if exposure != 0 or count:
            _check_exposure(exposure, count)
        return self.shape + count, self.exposure + exposure


FEW_UNITS, FEW_FAILURES = 3, 5
"""With fewer units or failures than these a fleet does not show how much its members differ."""

WEAK_SHAPE = 2.0
"""Shape of the prior then: worth two failures, so that few own ones soon outweigh it."""


def fit_prior(
    counts: Sequence[int], exposures: Sequence[float], *, fit: Fit = Fit.LIKELIHOOD
) -> Prior:
    """The prior that a fleet gives to each of its members, from all their records.

    By moments: the spread of the rates about their mean m, s2 = sum E (r - m)^2 / sum E, less what
    chance alone makes, m / mean E, is the variance A; shape m^2 / A (Marshall 1991, from memory).
    By likelihood: the shape and mean that make the counts, each negative binomial, likeliest.

    Too few units or failures fall back to a weak prior about the fleet's mean, (x + 1/2) / E so
    that it is never 0. Where the members differ no more than by chance the fleet's whole record is
    the prior, and no prior is ever worth more than that.

    Raises EvidenceImpossible for lists that are empty or unequal, or figures that cannot be.
    """
    if len(counts) != len(exposures) or not counts:
        raise EvidenceImpossible("A fleet needs one count and one exposure for each member.")
    for count, exposure in zip(counts, exposures, strict=True):
        _check_count("count", count)
        if exposure != 0 or count:
            _check_exposure(exposure, count)
    used = [(x, e) for x, e in zip(counts, exposures, strict=True) if e > 0]
    failures, exposure = sum(x for x, _ in used), sum(e for _, e in used)
    if exposure == 0:
        raise EvidenceImpossible("Nothing of this fleet has run; record some running first.")
    if len(used) < FEW_UNITS or failures < FEW_FAILURES:
        mean = (failures + 0.5) / exposure
        return Prior(WEAK_SHAPE, WEAK_SHAPE / mean, "too few data, a weak one about the mean")
    mean, most = failures / exposure, float(failures)
    if Fit(fit) is Fit.MOMENTS:
        spread = sum(e * (x / e - mean) ** 2 for x, e in used) / exposure
        variance = spread - mean * len(used) / exposure
        shape = min(most, mean**2 / variance) if variance > 0 else most
    else:
        shape, mean = _likeliest(used, most)
    if shape >= most * (1 - 1e-6):
        return Prior(most, most / mean, "no more spread than chance makes, the fleet's record")
    return Prior(shape, shape / mean, f"fitted to the fleet by {Fit(fit)}")


def _likeliest(used: Sequence[tuple[int, float]], most: float) -> tuple[float, float]:
    """Shape, at most `most`, and mean of the likeliest prior of counts with their exposures."""

    def mean_at(shape: float) -> float:
        def score(mean: float) -> float:
            return sum(x / mean - (x + shape) * e / (shape + mean * e) for x, e in used)

        rates = [x / e for x, e in used]
        low, high = max(min(rates), 1e-12 * max(rates)), max(rates)
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if score(middle) > 0 else (low, middle)
        return (low + high) / 2

    def likelihood(log_shape: float) -> float:
        shape = math.exp(log_shape)
        mean = mean_at(shape)
        return sum(
            math.lgamma(shape + x)
            - math.lgamma(shape)
            - shape * math.log1p(mean * e / shape)
            + x * math.log(mean * e / (shape + mean * e))
            for x, e in used
        )

    low, high = math.log(0.05), math.log(most)
    grid = [low + (high - low) * step / 24 for step in range(25)]
    best = max(range(25), key=lambda at: likelihood(grid[at]))
    low, high = grid[max(0, best - 1)], grid[min(24, best + 1)]
    at = _highest(likelihood, low, high)
    if likelihood(grid[-1]) >= likelihood(at):
        at = grid[-1]
    return math.exp(at), mean_at(math.exp(at))


def _highest(of: Callable[[float], float], low: float, high: float) -> float:
    """Where a function with one peak between two places is highest, by thirds."""
    while high - low > 1e-7:
        third = (high - low) / 3
        if of(low + third) < of(high - third):
            low += third
        else:
            high -= third
    return (low + high) / 2


# --- Many at once -----------------------------------------------------------------------------


def benjamini_hochberg(p_values: Sequence[float]) -> tuple[float, ...]:
    """Adjusted p in the order given: accusing all with no more than q, a share of at most q of the
    accused is innocent in the long run.

    min over j >= i of m p_(j) / j (Benjamini and Hochberg 1995), for tests that are independent or
    hang together positively. Raises EvidenceImpossible for a p not within 0 ... 1.
    """
    return _stepped_up(p_values, 1.0)


def benjamini_yekutieli(p_values: Sequence[float]) -> tuple[float, ...]:
    """The same whatever way the tests hang together: times 1 + 1/2 + ... + 1/m (Benjamini and
    Yekutieli 2001)."""
    return _stepped_up(p_values, sum(1 / i for i in range(1, len(p_values) + 1)))


def _stepped_up(p_values: Sequence[float], factor: float) -> tuple[float, ...]:
    for p in p_values:
        if not 0 <= p <= 1:
            raise EvidenceImpossible(f"A p of {p} cannot be; it lies between 0 and 1.")
    adjusted, least, m = [0.0] * len(p_values), 1.0, len(p_values)
    order = sorted(range(m), key=lambda at: p_values[at])
    for i in range(m, 0, -1):
        # In this order, since m p / m could come out a digit below p.
        least = min(least, factor * (m / i) * p_values[order[i - 1]])
        adjusted[order[i - 1]] = least
    return tuple(adjusted)


# --- Car or track -----------------------------------------------------------------------------


class Kind(StrEnum):
    """What can be to blame."""

    VEHICLE = "vehicle"
    PLACE = "place"


class Table:
    """Who ran where how often, and who derailed there how often.

    passages and derailments: by (name of the vehicle, name of the place), whole numbers; a pair
    that is missing counts as 0. Names are told apart by their spelling alone. vehicles and places:
    those that ran or were run over, in the order of their names; idle: the others.

    Raises EvidenceImpossible for a figure that is no count, and for more derailments of a vehicle
    at a place than it has passages there.
    """

    def __init__(
        self,
        passages: Mapping[tuple[str, str], int],
        derailments: Mapping[tuple[str, str], int],
    ) -> None:
        ran = {
            pair: _whole(f"passages of {pair[0]} over {pair[1]}", number)
            for pair, number in passages.items()
        }
        fell = {
            pair: _whole(f"derailments of {pair[0]} at {pair[1]}", number)
            for pair, number in derailments.items()
        }
        for (vehicle, place), number in fell.items():
            has = ran.get((vehicle, place), 0)
            if number > has:
                raise EvidenceImpossible(
                    f"{vehicle} at {place}: {_times(number, 'derailment')} in "
                    f"{_times(has, 'passage')} cannot be; add the passages that were not "
                    "recorded, or take out a derailment that was recorded twice."
                )
        used = [pair for pair, number in ran.items() if number]
        self.vehicles: tuple[str, ...] = tuple(sorted({vehicle for vehicle, _ in used}))
        self.places: tuple[str, ...] = tuple(sorted({place for _, place in used}))
        every = {(Kind.VEHICLE, v) for v, _ in ran} | {(Kind.PLACE, p) for _, p in ran}
        run = {(Kind.VEHICLE, v) for v, _ in used} | {(Kind.PLACE, p) for _, p in used}
        self.idle: tuple[tuple[Kind, str], ...] = tuple(sorted(every - run))
        self.passages = self._array(ran)
        self.derailments = self._array(fell)

    def _array(self, by_pair: Mapping[tuple[str, str], int]) -> npt.NDArray[np.int64]:
        array = np.array(
            [[by_pair.get((v, p), 0) for p in self.places] for v in self.vehicles], dtype=np.int64
        ).reshape(len(self.vehicles), len(self.places))
        array.flags.writeable = False
        return array

    @cached_property
    def runs(self) -> int:
        """All passages together."""
        return int(self.passages.sum())

    @cached_property
    def events(self) -> int:
        """All derailments together."""
        return int(self.derailments.sum())

    def names(self, kind: Kind) -> tuple[str, ...]:
        return self.vehicles if kind is Kind.VEHICLE else self.places

    def seen_by(self, kind: Kind) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        """Passages and derailments, with one row for each of that kind."""
        if kind is Kind.VEHICLE:
            return self.passages, self.derailments
        return self.passages.T, self.derailments.T

    def at(self, vehicle: str, place: str) -> tuple[int, int]:
        """Passages and derailments of one vehicle at one place."""
        for kind, name in ((Kind.VEHICLE, vehicle), (Kind.PLACE, place)):
            if name not in self.names(kind):
                raise EvidenceImpossible(f"No passages of the {kind} {name} are in the table.")
        row, column = self.vehicles.index(vehicle), self.places.index(place)
        return int(self.passages[row, column]), int(self.derailments[row, column])


RATIO_PRIOR = Prior(2.0, 2.0, "observed as expected, worth two derailments")
"""What is thought of observed over expected before any record: about 1, with a standard deviation
of 0.7."""


@dataclass(frozen=True)
class Adjusted:
    """One vehicle adjusted for where it ran, or one place adjusted for what ran over it.

    observed: derailments in `passages`. crude: expected if all rates were one. expected: what all
    vehicles together had at the same places (or the same vehicles at all places), for its own
    passages. ratio: observed / expected, the standardised ratio, None where none was expected.
    crude_p and p: probability of as many or more by chance, exactly, without and with the
    adjustment. shrunk: the ratio drawn towards 1; above_one: probability that it is above 1.
    """

    kind: Kind
    name: str
    passages: int
    observed: int
    crude: float
    expected: float
    ratio: float | None
    crude_p: float
    p: float
    shrunk: Shrunk
    above_one: float


def adjusted(table: Table, kind: Kind, *, prior: Prior = RATIO_PRIOR) -> tuple[Adjusted, ...]:
    """All vehicles adjusted for place, or all places adjusted for vehicle.

    Indirect standardisation: within each place j the rate of all vehicles, x.j / n.j; expected of
    vehicle i is sum over j of n_ij x.j / n.j. The exact test holds the derailments of every place
    fixed: X_ij ~ Binomial(x.j, n_ij / n.j), independent over places, so that the sum has their
    convolution (the exact test of one ratio in stratified Poisson counts). Both ways round.

    Raises EvidenceImpossible for a table without passages.
    """
    if not table.runs:
        raise EvidenceImpossible("No passages are recorded; record some running first.")
    passages, derailments = table.seen_by(kind)
    of_stratum, runs_of_stratum = derailments.sum(axis=0), passages.sum(axis=0)
    found = []
    for row, name in enumerate(table.names(kind)):
        own, observed = int(passages[row].sum()), int(derailments[row].sum())
        expected = float((passages[row] * of_stratum / runs_of_stratum).sum())
        chances = np.ones(1)
        for n, x, runs in zip(passages[row], of_stratum, runs_of_stratum, strict=True):
            if n and x:
                chances = np.convolve(chances, _binomial(int(x), float(n / runs)))
        at_least = float(chances[observed:].sum())
        found.append(
            Adjusted(
                kind=kind,
                name=name,
                passages=own,
                observed=observed,
                crude=table.events * own / table.runs,
                expected=expected,
                ratio=observed / expected if expected > 0 else None,
                crude_p=_binomial_tails(observed, table.events, own / table.runs)[1],
                p=1.0 if observed == 0 else min(1.0, at_least),
                shrunk=prior.posterior(observed, expected),
                above_one=prior.probability_above(1.0, observed, expected),
            )
        )
    return tuple(found)


class Blame(StrEnum):
    """What can be said of one suspect."""

    CULPRIT = "likelier culprit"
    CANNOT_TELL = "cannot tell"
    NOTHING = "nothing stands out"


DOUBT = 0.2
"""Up to this adjusted p a suspect is worth another look, and no more: a looser q. Without it half
of all blameless seasons would have somebody in doubt."""


@dataclass(frozen=True)
class Suspect:
    """One vehicle or place: what can be said of it, why in words, and the figures behind.

    adjusted_p and adjusted_crude_p: its p and crude p among all of its kind (Benjamini and
    Hochberg).
    """

    kind: Kind
    name: str
    blame: Blame
    words: str
    adjusted_p: float
    adjusted_crude_p: float
    figures: Adjusted


@dataclass(frozen=True)
class Confounded:
    """A vehicle that does most of the runs over a place, though not elsewhere, and derailed there.

    share_of_place: of the passages over the place; share_of_vehicle: of its own passages; both
    0 to 1.
    """

    vehicle: str
    place: str
    passages: int
    derailments: int
    share_of_place: float
    share_of_vehicle: float
    words: str


@dataclass(frozen=True)
class Crossing:
    """The run that would tell a vehicle from a place: `other_vehicle` goes over `place`, and
    `vehicle` over `other_place`, each so many `passages`.

    doubt_before and doubt_after: how little is known of which of the two is worse, 1 for nothing.
    """

    vehicle: str
    place: str
    other_vehicle: str
    other_place: str
    passages: int
    doubt_before: float
    doubt_after: float
    words: str


@dataclass(frozen=True)
class Findings:
    """Who is to blame, for somebody tired: `sentence` first, then `suspects`, worst first.

    crossing: the run that would tell, None where there is a culprit to mend first, where nobody is
    in question, or where nothing can be swapped.
    """

    sentence: str
    suspects: tuple[Suspect, ...]
    confounded: tuple[Confounded, ...]
    crossing: Crossing | None

    def of(self, blame: Blame) -> tuple[Suspect, ...]:
        return tuple(each for each in self.suspects if each.blame is blame)


def suspects(
    table: Table,
    q: float = 0.05,
    *,
    prior: Prior = RATIO_PRIOR,
    gone: frozenset[str] = frozenset(),
) -> Findings:
    """Everyone who may be to blame, of both kinds, worst first.

    A vehicle or place is the likelier culprit when its exact p, adjusted for what ran where and
    corrected for how many of its kind were looked at (Benjamini and Hochberg), is at most q. It
    cannot be told where that is at most DOUBT, or where it would be without allowing for what ran
    where and no culprit of the other kind explains it. Which vehicle and which place are two
    questions, corrected apart; within a category the least p itself comes first, so that the many
    vehicles do not stand behind the few places by their number.

    gone: vehicles that can run no more. What they did counts, but no run is asked of them.

    Raises EvidenceImpossible for an empty table or a q not between 0 and 1.
    """
    if not 0 < q < 1:
        raise EvidenceImpossible(f"q: {q} cannot be; it lies between 0 and 1.")
    if not table.runs:
        raise EvidenceImpossible("No passages are recorded; record some running first.")
    judged: list[tuple[Adjusted, float, float]] = []
    for kind in Kind:
        figures = adjusted(table, kind, prior=prior)
        judged += zip(
            figures,
            benjamini_hochberg([each.p for each in figures]),
            benjamini_hochberg([each.crude_p for each in figures]),
            strict=True,
        )
    culprits = [each for each, adjusted_p, _ in judged if adjusted_p <= q]
    found = [_suspect(table, *each, q, culprits) for each in judged]
    order = list(Blame)
    found.sort(
        key=lambda s: (
            order.index(s.blame),
            s.figures.p,
            -s.figures.above_one,
            s.kind,
            s.name,
        )
    )
    confounded = _confounded(table)
    # With a culprit to mend, the next run is with it mended.
    pair = None if culprits else _in_question(table, found)
    if pair is not None and pair[0] in gone:
        pair = None
    run = crossing(table, *pair, avoiding=_named(found), gone=gone) if pair else None
    said = sentence(table, found, confounded, gone)
    return Findings(said, tuple(found), confounded, run)


def _named(found: Sequence[Suspect]) -> frozenset[tuple[Kind, str]]:
    return frozenset((s.kind, s.name) for s in found if s.blame is not Blame.NOTHING)


def _suspect(
    table: Table,
    each: Adjusted,
    adjusted_p: float,
    adjusted_crude_p: float,
    q: float,
    culprits: Sequence[Adjusted],
) -> Suspect:
    stands_out = adjusted_crude_p <= DOUBT
    others = [other for other in culprits if other.kind is not each.kind]
    because = [other.name for other in others if _met(table, each, other)]
    figures = (
        f"{_times(each.observed, 'derailment')} in {_times(each.passages, 'passage')}, "
        f"{_about(each.expected)} expected {_by(each.kind)}"
    )
    if adjusted_p <= q:
        blame, why = Blame.CULPRIT, "more than chance explains"
    elif adjusted_p <= DOUBT:
        blame = Blame.CANNOT_TELL
        why = "more than expected, but among so many one may look so by chance"
    elif stands_out and because:
        blame, why = Blame.NOTHING, f"it looks bad only because of {_listed(because)}"
    elif stands_out:
        blame = Blame.CANNOT_TELL
        why = (
            "bad as it stands, but where it ran may explain it"
            if each.kind is Kind.VEHICLE
            else "bad as it stands, but what ran over it may explain it"
        )
    else:
        blame, why = Blame.NOTHING, "no more than chance explains"
    return Suspect(
        each.kind, each.name, blame, f"{figures}: {why}.", adjusted_p, adjusted_crude_p, each
    )


def _met(table: Table, one: Adjusted, other: Adjusted) -> bool:
    """Whether anything happened where a vehicle and a place came together."""
    vehicle, place = (one, other) if one.kind is Kind.VEHICLE else (other, one)
    return table.at(vehicle.name, place.name)[1] > 0


def _in_question(table: Table, found: Sequence[Suspect]) -> tuple[str, str] | None:
    """The vehicle and the place between which it cannot be told, None where nobody is in doubt.

    The worst one in doubt, and of the other kind whom it derailed with most, one in doubt before
    one that is not.
    """
    doubtful = [s for s in found if s.blame is Blame.CANNOT_TELL]
    if not doubtful:
        return None
    first = doubtful[0]
    in_doubt = {(s.kind, s.name) for s in doubtful}
    other = Kind.PLACE if first.kind is Kind.VEHICLE else Kind.VEHICLE

    def together(name: str) -> tuple[int, int]:
        pair = (first.name, name) if other is Kind.PLACE else (name, first.name)
        passages, derailments = table.at(*pair)
        return derailments, passages

    best = max(table.names(other), key=lambda n: (together(n)[0], (other, n) in in_doubt, n))
    if together(best)[0] == 0:
        return None
    return (first.name, best) if other is Kind.PLACE else (best, first.name)


def _confounded(table: Table) -> tuple[Confounded, ...]:
    found = []
    of_vehicle, of_place = table.passages.sum(axis=1), table.passages.sum(axis=0)
    for row, vehicle in enumerate(table.vehicles):
        for column, place in enumerate(table.places):
            n, x = int(table.passages[row, column]), int(table.derailments[row, column])
            elsewhere, all_elsewhere = of_vehicle[row] - n, table.runs - of_place[column]
            if x and 2 * n > of_place[column] and 2 * elsewhere <= all_elsewhere:
                found.append(
                    Confounded(
                        vehicle=vehicle,
                        place=place,
                        passages=n,
                        derailments=x,
                        share_of_place=float(n / of_place[column]),
                        share_of_vehicle=float(n / of_vehicle[row]),
                        words=(
                            f"{vehicle} made {n} of the {_times(int(of_place[column]), 'passage')}"
                            f" over {place}, so one can be taken for the other."
                        ),
                    )
                )
    return tuple(sorted(found, key=lambda c: (-c.derailments, -c.share_of_place, c.vehicle)))


# The variance of the logarithm of a ratio under RATIO_PRIOR, pi^2 / 6 - 1: the trigamma of 2.
_LOG_VARIANCE = math.pi**2 / 6 - 1


def crossing(
    table: Table,
    vehicle: str,
    place: str,
    *,
    passages: int | None = None,
    avoiding: frozenset[tuple[Kind, str]] = frozenset(),
    gone: frozenset[str] = frozenset(),
) -> Crossing | None:
    """The swap that best tells whether that vehicle or that place is to blame.

    The logarithm of a cell's rate is taken as fleet + vehicle + place, vehicles and places
    scattering as RATIO_PRIOR does, each passage worth the fleet's rate. Of all swaps (another
    vehicle over this place, this vehicle over another place) the one is chosen that leaves the
    least variance of vehicle less place (a c-optimal design of Bayes; Chaloner and Verdinelli
    1995, from memory).

    passages: of each half; without it as many as show, with 95 %, the rate of the two together.
    avoiding: under suspicion themselves, taken only if there is nobody else. gone: vehicles that
    can run no more, never taken. None where the table has no other vehicle or no other place.

    Raises EvidenceImpossible for names without passages, or passages that are no count above 0.
    """
    ran, fell = table.at(vehicle, place)
    vehicles, places = (
        [n for n in left if (kind, n) not in avoiding] or left
        for kind, left in (
            (Kind.VEHICLE, [n for n in table.vehicles if n != vehicle and n not in gone]),
            (Kind.PLACE, [n for n in table.places if n != place]),
        )
    )
    if not vehicles or not places:
        return None
    fleet = (table.events + 0.5) / table.runs
    if passages is None:
        passages = passages_to_show(fell / ran if fell else fleet)
    elif _whole("passages", passages) == 0:
        raise EvidenceImpossible("passages: 0 tell nothing; give a whole number above 0.")
    before = _variances(table, fleet)
    first, count = table.vehicles.index(vehicle), len(table.vehicles)
    second = count + table.places.index(place)
    contrast = np.zeros(before.shape[0])
    contrast[first], contrast[second] = 1.0, -1.0
    known = before @ contrast
    total = float(contrast @ known)
    # The variance left after each swap, by Woodbury's identity for two new rows at once.
    noise = 1 / (fleet * passages)
    its = np.zeros((before.shape[0], len(places)))
    others = np.zeros((before.shape[0], len(vehicles)))
    its[[first, -1]] = 1.0
    others[[second, -1]] = 1.0
    for at, name in enumerate(places):
        its[count + table.places.index(name), at] = 1.0
    for at, name in enumerate(vehicles):
        others[table.vehicles.index(name), at] = 1.0
    spread = before @ its
    both = others.T @ spread
    one = (its * spread).sum(axis=0) + noise
    two = ((others * (before @ others)).sum(axis=0) + noise)[:, None]
    a, b = known @ its, (known @ others)[:, None]
    left = total - (a**2 * two - 2 * a * b * both + b**2 * one) / (one * two - both**2)
    # Equal ones are equal only to rounding; the first by name counts among them.
    row, column = np.unravel_index(np.argmin(left.round(12)), left.shape)
    rest, other_vehicle, other_place = float(left[row, column]), vehicles[row], places[column]
    runs_there = int(table.passages[:, table.places.index(place)].sum())
    return Crossing(
        vehicle=vehicle,
        place=place,
        other_vehicle=other_vehicle,
        other_place=other_place,
        passages=passages,
        doubt_before=min(1.0, total / (2 * _LOG_VARIANCE)),
        doubt_after=min(1.0, rest / (2 * _LOG_VARIANCE)),
        words=(
            f"Run {other_vehicle} over {place} and {vehicle} over {other_place}, about "
            f"{_times(passages, 'passage')} each: so far {vehicle} made {ran} of the "
            f"{_times(runs_there, 'passage')} over {place}. Trouble that follows {vehicle} is in "
            f"the {Kind.VEHICLE}; trouble that stays at {place} is in the track."
        ),
    )


def _variances(table: Table, fleet: float) -> npt.NDArray[np.float64]:
    """Covariances of the logarithms of vehicles, places and (last) the fleet."""
    count, places = len(table.vehicles), len(table.places)
    worth = fleet * table.passages
    size = count + places + 1
    known = np.zeros((size, size))
    known[:count, count:-1] = worth
    known[:count, -1], known[count:-1, -1] = worth.sum(axis=1), worth.sum(axis=0)
    known += known.T
    known[np.diag_indices(size)] = [*worth.sum(axis=1), *worth.sum(axis=0), worth.sum()]
    # The fleet's own rate is left almost free.
    known[np.diag_indices(size)] += [*[1 / _LOG_VARIANCE] * (size - 1), 1e-6]
    return np.asarray(np.linalg.inv(known), dtype=np.float64)


# --- In words ---------------------------------------------------------------------------------

RARE = 100
"""A car that derails once in so many passages is a nuisance worth finding. Common practice, no
source."""


def sentence(
    table: Table,
    found: Sequence[Suspect],
    confounded: Sequence[Confounded] = (),
    gone: frozenset[str] = frozenset(),
) -> str:
    """What the suspects, worst first, come to: one to three sentences with names."""
    if table.events == 0:
        return _all_clear(table, gone)
    return " ".join(filter(None, (_said_of(table, found, confounded), _alone(table))))


def _said_of(table: Table, found: Sequence[Suspect], confounded: Sequence[Confounded]) -> str:
    culprits = [s for s in found if s.blame is Blame.CULPRIT]
    if culprits:
        return _accused(found, culprits)
    doubtful = {(s.kind, s.name): s for s in found if s.blame is Blame.CANNOT_TELL}
    if not doubtful:
        return (
            f"Nothing stands out: {_times(table.events, 'derailment')} in "
            f"{_times(table.runs, 'passage')}, spread as chance may spread them."
        )
    vehicle, place = _in_question(table, found) or ("", "")
    both = [doubtful.get((Kind.VEHICLE, vehicle)), doubtful.get((Kind.PLACE, place))]
    if None in both:
        first = next(iter(doubtful.values()))
        return (
            f"Cannot tell yet: {first.name} is worst, with "
            f"{_times(first.figures.observed, 'derailment')} where "
            f"{_about(first.figures.expected)} would be expected, too little to accuse it."
        )
    because = next(
        (c.words for c in confounded if (c.vehicle, c.place) == (vehicle, place)),
        "what speaks against either is too little."
        if any(s is not None and s.adjusted_p <= DOUBT for s in both)
        else "they ran together too much.",
    )
    return f"Cannot tell yet whether {vehicle} or {place} is to blame: {because}"


def _alone(table: Table) -> str:
    """A word of caution where one kind has a single member, which nothing can be set against."""
    if len(table.vehicles) == 1:
        return f"Only {table.vehicles[0]} ran; run another vehicle too, to compare it with."
    if len(table.places) == 1:
        return f"Only {table.places[0]} was run over; record another place, to compare it with."
    return ""


def _accused(found: Sequence[Suspect], culprits: Sequence[Suspect]) -> str:
    names = _listed([s.name for s in culprits])
    one = len(culprits) == 1
    said = f"{names} {'is the likelier culprit' if one else 'are the likelier culprits'}"
    if {s.kind for s in culprits} == set(Kind):
        return f"{said}: each stands out even after allowing for the other."
    cleared = [
        s.name
        for s in found
        if s.blame is Blame.NOTHING
        and s.kind is not culprits[0].kind
        and s.adjusted_crude_p <= DOUBT
    ]
    if not cleared:
        return f"{said}."
    how = "by where it ran" if culprits[0].kind is Kind.PLACE else "by what ran over it"
    if len(cleared) > 1:
        how = how.replace("it ran", "they ran").replace("over it", "over them")
    verb = "looks" if len(cleared) == 1 else "look"
    return f"{said}; {_listed(cleared)} {verb} bad only {how}."


def _all_clear(table: Table, gone: frozenset[str]) -> str:
    needed = passages_to_show(1 / RARE)
    still_here = (
        (int(runs), name)
        for runs, name in zip(table.passages.sum(axis=1), table.vehicles, strict=True)
        if name not in gone
    )
    least, its = min(still_here, default=(needed, ""))
    said = f"No derailment in {_times(table.runs, 'passage')}: nobody is to blame."
    bound = math.floor(1 / rule_of_three(table.runs))
    # Below this the bound says nothing that anybody would want to know.
    if bound >= 2:
        said += f" On the whole there is less than one in {bound} passages (95 % sure)."
    if least >= needed:
        return f"{said} Every vehicle has run enough to show one in {RARE}."
    return (
        f"{said} A vehicle that derails once in {RARE} passages shows it within {needed}; "
        f"{its} has run least, and needs {needed - least} more."
    )


def _by(kind: Kind) -> str:
    return "for where it ran" if kind is Kind.VEHICLE else "for what ran over it"


def _about(expected: float) -> str:
    return f"{expected:.1f}" if expected >= 0.05 or expected == 0 else "fewer than 0.1"


def _times(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


# --- Checks -----------------------------------------------------------------------------------


def _whole(what: str, number: object) -> int:
    # True and False are whole numbers to Python, but no counts; numpy's are counts too.
    if isinstance(number, int | np.integer) and not isinstance(number, bool) and number >= 0:
        return int(number)
    raise EvidenceImpossible(f"{what}: {number!r} cannot be; type a whole number, 0 or more.")


def _check_count(what: str, count: object) -> None:
    _whole(what, count)


def _check_exposure(exposure: float, count: int) -> None:
    if exposure == 0 and count:
        raise EvidenceImpossible(
            f"exposure: {count} failures without any running cannot be; record the running too."
        )
    if not (math.isfinite(exposure) and exposure > 0):
        raise EvidenceImpossible(f"exposure: {exposure} cannot be; give an amount above 0.")


def _tail(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise EvidenceImpossible(f"confidence: {confidence} cannot be; it lies between 0 and 1.")
    return (1 - confidence) / 2
