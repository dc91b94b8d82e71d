"""How much a reading is worth: repeats, instrument limits and the factors that go with them.

Everything here follows the GUM (JCGM 100:2008). Lengths are in millimetres and masses in
grams; a function never mixes the two, it keeps the unit it was handed. Values are
``Decimal`` because they are compared with printed limits, where 14.40 has to mean 14.40;
uncertainties are ``float`` because nobody knows an uncertainty to more than a few digits.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from statistics import NormalDist

KINDS = ("caliper", "rule", "scale", "gauge")
JAWS = ("outside", "inside", "depth", "none")

COVERAGE = 0.95
"""Probability behind every expanded uncertainty stated by this project."""

_MEAN_PLACES = 12
# A number with an exponent beyond this is a slip of the keyboard, and exact arithmetic on it
# would fill the memory before anything noticed.
_LARGEST_EXPONENT = 100

_STANDARD_NORMAL = NormalDist()
_TINY = 1e-300
_MANY_DOF = 1e4
# So far out the normal tail is zero in floating point.
_BEYOND_ANY = 50.0
_MOST_STEPS = 200
_MOST_FRACTION_STEPS = 10_000


@dataclass(frozen=True)
class Instrument:
    """What a measuring instrument is allowed to be wrong by.

    ``max_error`` is the half-width of a rectangular distribution and ``resolution`` the
    smallest step shown, both in mm (in g for a scale). ``inside_extra`` is added to
    ``max_error`` when the inside jaws or the depth rod are used; DIN 862 grants callipers
    0.02 mm there.

    Raises:
        ValueError: the kind is not one of ``KINDS``, or a figure is negative or not finite.
    """

    name: str
    kind: str
    max_error: Decimal
    resolution: Decimal
    inside_extra: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"{self.kind!r} is no kind of instrument; use one of {KINDS}.")
        _check_half_width("largest error", self.max_error)
        _check_half_width("resolution", self.resolution)
        _check_half_width("extra error of the inside jaws", self.inside_extra)

    def error_for(self, jaws: str) -> Decimal:
        """Largest error, in the instrument's unit, when measuring with the given ``jaws``.

        ``jaws`` is "outside", "inside", "depth", or "none" for an instrument that has none.
        Source: DIN 862, which widens the limit for inside and depth measurement.

        Raises:
            ValueError: ``jaws`` is none of those.
        """
        if jaws not in JAWS:
            raise ValueError(f"{jaws!r} are no known jaws; use one of {JAWS}.")
        if jaws in ("inside", "depth"):
            return self.max_error + self.inside_extra
        return self.max_error


@dataclass(frozen=True)
class Measured:
    """A measured quantity.

    ``value`` is the mean and ``u`` its standard uncertainty, both in one unit; ``dof`` are
    the effective degrees of freedom of ``u``, ``math.inf`` when ``u`` rests on stated limits
    alone. ``readings`` holds what was read, and is empty for a computed quantity.

    Raises:
        ValueError: the value is not finite, ``u`` is negative or not finite, or ``dof`` is
            not above zero.
    """

    value: Decimal
    u: float
    dof: float
    readings: tuple[Decimal, ...]

    def __post_init__(self) -> None:
        if not self.value.is_finite():
            raise ValueError(f"The measured value {self.value} is not a finite number.")
        if not (math.isfinite(self.u) and self.u >= 0):
            raise ValueError(f"A standard uncertainty cannot be {self.u}.")
        if not self.dof > 0:
            raise ValueError(f"Degrees of freedom have to be above zero, not {self.dof}.")

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U at 95 %, in the unit of ``value`` (GUM 6.2.1, G.3.2)."""
        if self.u == 0:
            return 0.0
        return coverage_factor(self.dof) * self.u


def evaluate(readings: Sequence[Decimal], *, max_error: Decimal, resolution: Decimal) -> Measured:
    """Turn one or more readings of the same thing into a value with its uncertainty.

    All arguments are in one unit. The parts, combined in quadrature, are the standard
    deviation of the mean of the repeats (two readings or more; GUM 4.2.3), a rectangular
    distribution of half-width ``max_error`` (a / sqrt 3; GUM 4.3.7) and one step of the
    display (d / (2 sqrt 3); GUM F.2.2.1). The degrees of freedom come from the
    Welch-Satterthwaite formula (GUM G.4.1) and stay a real number: GUM G.4.1 suggests
    cutting them to a whole number for use with printed tables, which are not used here.

    The mean is exact whenever it ends; otherwise it is rounded half to even at the twelfth
    decimal. A single reading comes back untouched, trailing zeros included.

    Raises:
        ValueError: there are no readings, one is not finite or absurdly large or small, or
            ``max_error`` or ``resolution`` is negative or not finite.
    """
    kept = tuple(readings)
    if not kept:
        raise ValueError("There are no readings to evaluate.")
    for reading in kept:
        if not reading.is_finite():
            raise ValueError(f"The reading {reading} is not a finite number.")
        _check_size("reading", reading)
    _check_half_width("largest error", max_error)
    _check_half_width("resolution", resolution)

    count = len(kept)
    parts = [
        (float(max_error) / math.sqrt(3), math.inf),
        (float(resolution) / (2 * math.sqrt(3)), math.inf),
    ]
    if count == 1:
        mean = kept[0]
    else:
        exact_readings = [Fraction(reading) for reading in kept]
        exact_mean = sum(exact_readings, Fraction(0)) / count
        mean = _to_decimal(exact_mean)
        squares = sum(((x - exact_mean) ** 2 for x in exact_readings), Fraction(0))
        variance_of_mean = squares / ((count - 1) * count)
        parts.append((math.sqrt(variance_of_mean), float(count - 1)))
    u, dof = _combine(parts)
    return Measured(value=mean, u=u, dof=dof, readings=kept)


def combine_sum(*parts: Measured) -> Measured:
    """Sum of independent quantities in one unit, with the uncertainty of that sum.

    The values are added exactly; the uncertainties add in quadrature (GUM 5.1.2 with every
    sensitivity equal to one) and the degrees of freedom follow Welch-Satterthwaite
    (GUM G.4.1). The result carries no readings, for nobody read the sum.

    Raises:
        ValueError: there is nothing to add, or a value is absurdly large or small.
    """
    if not parts:
        raise ValueError("There is nothing to add up.")
    for part in parts:
        _check_size("value", part.value)
    total = sum((Fraction(part.value) for part in parts), Fraction(0))
    u, dof = _combine([(part.u, part.dof) for part in parts])
    return Measured(value=_to_decimal(total), u=u, dof=dof, readings=())


def welch_satterthwaite(parts: Sequence[tuple[float, float]]) -> float:
    """Effective degrees of freedom of independent parts combined in quadrature.

    ``parts`` is a sequence of pairs (standard uncertainty, degrees of freedom), the first in
    one unit throughout, the second possibly ``math.inf``. Returns u_c^4 / sum(u_i^4 / v_i),
    GUM equation (G.2b), as a real number; ``math.inf`` when no part has finite degrees of
    freedom and an uncertainty above zero.

    Raises:
        ValueError: an uncertainty is negative or not finite, or degrees of freedom are not
            above zero.
    """
    for u, dof in parts:
        if not (math.isfinite(u) and u >= 0):
            raise ValueError(f"A standard uncertainty cannot be {u}.")
        if not dof > 0:
            raise ValueError(f"Degrees of freedom have to be above zero, not {dof}.")
    combined = math.hypot(*(u for u, _ in parts))
    if combined == 0:
        return math.inf
    # Shares rather than fourth powers: 1e-90 to the fourth is zero in floating point.
    spread = math.fsum((u / combined) ** 4 / dof for u, dof in parts)
    return math.inf if spread == 0 else 1 / spread


def normal_cdf(z: float) -> float:
    """Probability that a standard normal variable is at most ``z`` (both without unit).

    Written with the complementary error function, 0.5 erfc(-z / sqrt 2), because
    ``statistics.NormalDist.cdf`` loses every digit below about z = -8.
    """
    return 0.5 * math.erfc(-z / math.sqrt(2))


def student_cdf(t: float, dof: float) -> float:
    """Probability that a Student variable with ``dof`` degrees of freedom is at most ``t``.

    ``dof`` is any number above zero, whole or not; ``math.inf`` gives the normal. Source:
    F(t) = 1 - I_x(v/2, 1/2) / 2 with x = v / (v + t^2) for t >= 0 (Abramowitz and Stegun
    26.7.1), with I the regularised incomplete beta function; beyond ten thousand degrees of
    freedom a series about the normal. Relative accuracy 1e-10 or better in the lower tail.

    Raises:
        ValueError: ``t`` is not a number or ``dof`` is not above zero.
    """
    _check_dof(dof)
    if math.isnan(t):
        raise ValueError("The Student distribution has no value at something not a number.")
    if math.isinf(dof):
        return normal_cdf(t)
    if math.isinf(t):
        return 1.0 if t > 0 else 0.0
    tail = _student_tail(abs(t), dof)
    return tail if t <= 0 else 1 - tail


def student_quantile(p: float, dof: float) -> float:
    """The ``t`` below which a Student variable with ``dof`` degrees of freedom falls with
    probability ``p``; the inverse of `student_cdf`, without unit.

    ``dof`` is used as the real number it is, without the cut to a whole number GUM G.4.1
    suggests for printed tables; ``math.inf`` gives the normal quantile. A quantile too large
    for a float, as a tiny ``dof`` can give, comes back as infinity.

    Raises:
        ValueError: ``p`` is not strictly between 0 and 1, or ``dof`` is not above zero.
    """
    _check_dof(dof)
    if not 0 < p < 1:
        raise ValueError(f"A quantile needs a probability between 0 and 1, not {p}.")
    if math.isinf(dof):
        return _STANDARD_NORMAL.inv_cdf(p)
    if p == 0.5:
        return 0.0
    if p < 0.5:
        return -_student_upper(p, dof)
    return _student_upper(1 - p, dof)


def coverage_factor(dof: float, p: float = COVERAGE) -> float:
    """Factor k by which u is multiplied so that y - k u ... y + k u covers probability ``p``.

    Two-sided Student factor t_p(v) of GUM G.3.2; ``dof`` may be any number above zero and
    ``math.inf`` gives the normal factor. The real-valued ``dof`` is used as it stands; a
    reader working from GUM Table G.2 with ``dof`` cut to a whole number gets a factor very
    slightly larger.

    Raises:
        ValueError: ``p`` is not strictly between 0 and 1, or ``dof`` is not above zero.
    """
    if not 0 < p < 1:
        raise ValueError(f"A coverage probability lies between 0 and 1, not {p}.")
    # The lower tail keeps its digits where 1 - (1 - p) / 2 would lose them.
    return -student_quantile((1 - p) / 2, dof)


def _check_half_width(what: str, value: Decimal) -> None:
    if not value.is_finite():
        raise ValueError(f"The {what} {value} is not a finite number.")
    if value < 0:
        raise ValueError(f"The {what} cannot be negative, but is {value}.")
    _check_size(what, value)


def _check_size(what: str, value: Decimal) -> None:
    exponent = value.as_tuple().exponent
    too_fine = isinstance(exponent, int) and exponent < -_LARGEST_EXPONENT
    if value.adjusted() > _LARGEST_EXPONENT or too_fine:
        raise ValueError(f"The {what} {value} is too large or too fine to be a measurement.")


def _check_dof(dof: float) -> None:
    if not dof > 0:
        raise ValueError(f"Degrees of freedom have to be above zero, not {dof}.")


def _combine(parts: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return math.hypot(*(u for u, _ in parts)), welch_satterthwaite(parts)


def _to_decimal(number: Fraction) -> Decimal:
    """``number`` as a Decimal: exact if it ends, else rounded at the twelfth decimal.

    Built digit by digit, since ordinary Decimal division would round to the precision of
    whatever context happens to be active.
    """
    rest, twos, fives = number.denominator, 0, 0
    while rest % 2 == 0:
        rest //= 2
        twos += 1
    while rest % 5 == 0:
        rest //= 5
        fives += 1
    places = max(twos, fives) if rest == 1 else _MEAN_PLACES
    scaled = round(number * 10**places)
    digits = tuple(int(digit) for digit in str(abs(scaled)))
    return Decimal((int(scaled < 0), digits, -places))


def _student_tail(t: float, dof: float) -> float:
    """Probability of a Student variable beyond ``t`` >= 0."""
    log_growth = _log_growth(t, dof)
    if dof >= _MANY_DOF:
        # The continued fraction loses a digit for every tenfold of dof. G. W. Hill's series
        # (Communications of the ACM 13, 1970, pages 617-619) gains four for each: it gives
        # the normal variable with the same tail.
        a = dof - 0.5
        b = 48 * a * a
        z = math.sqrt(a * log_growth)
        if z > _BEYOND_ANY:
            return 0.0
        z2 = z * z
        first = z * (z2 + 3) / b
        second = z * (((4 * z2 + 33) * z2 + 240) * z2 + 855) / (10 * b * b)
        return normal_cdf(-(z + first - second))
    x = math.exp(-log_growth)
    return 0.5 * _incomplete_beta_half(dof / 2, x, -math.expm1(-log_growth), log_growth)


def _student_density(t: float, dof: float) -> float:
    """Density of the Student distribution at ``t`` >= 0 (GUM C.3.8)."""
    exponent = _log_one_over_beta_half(dof / 2) - (dof + 1) / 2 * _log_growth(t, dof)
    return math.exp(exponent) / math.sqrt(dof)


def _log_growth(t: float, dof: float) -> float:
    """ln(1 + t^2 / dof), also where t^2 is too large for a float."""
    root = t / math.sqrt(dof)
    return math.log1p(root * root) if root < 1e100 else 2 * math.log(t) - math.log(dof)


def _incomplete_beta_half(a: float, x: float, rest: float, minus_log_x: float) -> float:
    """Regularised incomplete beta function I_x(a, 1/2).

    ``rest`` is 1 - x and ``minus_log_x`` is -ln x, both handed in because forming them from
    x would throw digits away near x = 1. Source: the continued fraction of Abramowitz and
    Stegun 26.5.8, run on whichever of x and 1 - x converges.
    """
    if rest == 0:
        return 1.0
    front = math.exp(-a * minus_log_x + 0.5 * math.log(rest) + _log_one_over_beta_half(a))
    if x < (a + 1) / (a + 2.5):
        return front * _beta_fraction(a, 0.5, x) / a
    return 1 - front * _beta_fraction(0.5, a, rest) / 0.5


def _beta_fraction(a: float, b: float, x: float) -> float:
    """The continued fraction of the incomplete beta function, by Lentz's forward method."""
    c = 1.0
    d = 1 - (a + b) * x / (a + 1)
    d = 1 / (d if abs(d) > _TINY else _TINY)
    value = d
    for step in range(1, _MOST_FRACTION_STEPS):
        even = step * (b - step) * x / ((a + 2 * step - 1) * (a + 2 * step))
        d = 1 + even * d
        c = 1 + even / c
        d = 1 / (d if abs(d) > _TINY else _TINY)
        c = c if abs(c) > _TINY else _TINY
        value *= d * c
        odd = -(a + step) * (a + b + step) * x / ((a + 2 * step) * (a + 2 * step + 1))
        d = 1 + odd * d
        c = 1 + odd / c
        d = 1 / (d if abs(d) > _TINY else _TINY)
        c = c if abs(c) > _TINY else _TINY
        change = d * c
        value *= change
        if abs(change - 1) < 1e-15:
            break
    return value


@lru_cache(maxsize=1024)
def _log_one_over_beta_half(a: float) -> float:
    """ln of Gamma(a + 1/2) / (Gamma(a) Gamma(1/2))."""
    if a < 20:
        ratio = math.lgamma(a + 0.5) - math.lgamma(a)
    else:
        # The two logarithms grow without bound while their difference does not, so the
        # difference is expanded directly (Abramowitz and Stegun 6.1.47 in logarithms).
        # In powers of 1 / a, which fade away where those of a itself would overflow.
        inverse = 1 / a
        ratio = 0.5 * math.log(a) - inverse / 8 + inverse**3 / 192 - inverse**5 / 640
        ratio += 17 * inverse**7 / 14336
    return ratio - 0.5 * math.log(math.pi)


@lru_cache(maxsize=1024)
def _student_upper(tail: float, dof: float) -> float:
    """The t > 0 with probability ``tail`` (below one half) beyond it."""
    # The Student tail is the heavier one, so its quantile lies beyond the normal one.
    low = max(-_STANDARD_NORMAL.inv_cdf(tail), _TINY)
    high = 2 * low
    while _student_tail(high, dof) > tail:
        low, high = high, 2 * high
        if math.isinf(high):
            return math.inf
    # Newton's method on the logarithm of the tail, halving the bracket wherever a step
    # would leave it.
    t = low
    for _ in range(_MOST_STEPS):
        here = _student_tail(t, dof)
        if here > tail:
            low = t
        else:
            high = t
        slope = _student_density(t, dof)
        following = math.nan
        if here > 0 and slope > 0:
            following = t + math.log(here / tail) * here / slope
        if not low < following < high:
            following = (low + high) / 2
        # The error left over is the square of this step.
        if abs(following - t) <= 1e-11 * t:
            return following
        t = following
    return t


#: What lies on most benches, in mm. Calipers: DIN 862, for steps of 0.01 and 0.05 mm, with 0.02 mm
#: more for inside jaws and depth rod, from an extract. Rule: class II of the length measures in
#: the EU's Measuring Instruments Directive, 0.3 mm and 0.2 mm a metre, so 0.5 mm up to a metre.
USUAL: dict[str, Instrument] = {
    "digital": Instrument(
        "Digital caliper", "caliper", Decimal("0.03"), Decimal("0.01"), Decimal("0.02")
    ),
    "vernier": Instrument(
        "Vernier caliper", "caliper", Decimal("0.05"), Decimal("0.05"), Decimal("0.02")
    ),
    "rule": Instrument("Steel rule", "rule", Decimal("0.5"), Decimal("0.5")),
}
