"""Verdicts: what happens at each limit, and rules that hold for any figures."""

import math
from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from standards.conformity import (
    Bounds,
    Judgement,
    Outcome,
    Rule,
    acceptance_zone,
    conformance_probability,
    guard_factor,
    judge,
    judge_gauge,
)
from standards.metrology import Measured

LOW, HIGH = Decimal("14.30"), Decimal("14.45")
BOTH = Bounds(LOW, HIGH)
patient = settings(deadline=None)


def value(text: str | Decimal, u: float = 0.02, dof: float = math.inf) -> Measured:
    return Measured(Decimal(text), u, dof, ())


def exact(number: Decimal) -> Measured:
    """A value without any doubt."""
    return Measured(number, 0.0, math.inf, (number,))


# --- simple acceptance ----------------------------------------------------------------------

# Smaller than a float can tell from the limit, so that only exact comparison sees it.
HAIR = Decimal("1E-25")


@pytest.mark.parametrize(
    ("bounds", "reading", "outcome", "miss"),
    [
        (BOTH, LOW - HAIR, Outcome.OUTSIDE, -HAIR),
        (BOTH, LOW, Outcome.WITHIN, Decimal(0)),
        (BOTH, LOW + HAIR, Outcome.WITHIN, Decimal(0)),
        (BOTH, HIGH - HAIR, Outcome.WITHIN, Decimal(0)),
        (BOTH, HIGH, Outcome.WITHIN, Decimal(0)),
        (BOTH, HIGH + HAIR, Outcome.OUTSIDE, HAIR),
        (Bounds(LOW, None), LOW - HAIR, Outcome.OUTSIDE, -HAIR),
        (Bounds(LOW, None), LOW, Outcome.WITHIN, Decimal(0)),
        (Bounds(LOW, None), LOW + HAIR, Outcome.WITHIN, Decimal(0)),
        (Bounds(LOW, None), Decimal(99), Outcome.WITHIN, Decimal(0)),
        (Bounds(None, HIGH), HIGH - HAIR, Outcome.WITHIN, Decimal(0)),
        (Bounds(None, HIGH), HIGH, Outcome.WITHIN, Decimal(0)),
        (Bounds(None, HIGH), HIGH + HAIR, Outcome.OUTSIDE, HAIR),
        (Bounds(None, HIGH), Decimal(-99), Outcome.WITHIN, Decimal(0)),
        (Bounds(LOW, LOW), LOW - HAIR, Outcome.OUTSIDE, -HAIR),
        (Bounds(LOW, LOW), LOW, Outcome.WITHIN, Decimal(0)),
        (Bounds(LOW, LOW), LOW + HAIR, Outcome.OUTSIDE, HAIR),
    ],
)
@pytest.mark.parametrize("u", [0.0, 0.02, 5.0])
def test_simple_rule_at_the_limits(
    bounds: Bounds, reading: Decimal, outcome: Outcome, miss: Decimal, u: float
) -> None:
    found = judge(value(reading, u), bounds, Rule.SIMPLE)
    assert found.outcome is outcome
    assert found.miss == miss
    assert found.zone == (bounds.low, bounds.high)
    assert not found.undecidable


@pytest.mark.parametrize(
    ("reading", "probability"),
    [(LOW - HAIR, 0), (LOW, 1), (LOW + HAIR, 1), (HIGH - HAIR, 1), (HIGH, 1), (HIGH + HAIR, 0)],
)
@pytest.mark.parametrize("rule", list(Rule))
def test_a_value_without_doubt_is_compared_exactly(
    reading: Decimal, probability: int, rule: Rule
) -> None:
    assert conformance_probability(exact(reading), BOTH) == probability
    expected = Outcome.WITHIN if probability else Outcome.OUTSIDE
    assert judge(exact(reading), BOTH, rule).outcome is expected
    # Even on a single allowed value the comparison works.
    assert judge(exact(LOW), Bounds(LOW, LOW), rule).outcome is Outcome.WITHIN


def test_a_distance_no_float_can_hold_still_counts() -> None:
    beyond = exact(Decimal("1E-400"))
    assert conformance_probability(beyond, Bounds(None, Decimal(0))) == 0
    assert conformance_probability(beyond, Bounds(Decimal(0), None)) == 1


# --- the 95 % rule --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bounds", "reading", "outcome"),
    # 1.6449 u of 0.02 is 0.0329 mm to either side of a limit (ISO 14253-1:2017)
    [
        (BOTH, "14.2671", Outcome.OUTSIDE),
        (BOTH, "14.2672", Outcome.UNDECIDED),
        (BOTH, "14.30", Outcome.UNDECIDED),
        (BOTH, "14.3328", Outcome.UNDECIDED),
        (BOTH, "14.3330", Outcome.WITHIN),
        (BOTH, "14.4170", Outcome.WITHIN),
        (BOTH, "14.4172", Outcome.UNDECIDED),
        (BOTH, "14.45", Outcome.UNDECIDED),
        (BOTH, "14.4828", Outcome.UNDECIDED),
        (BOTH, "14.4829", Outcome.OUTSIDE),
        (Bounds(LOW, None), "14.2671", Outcome.OUTSIDE),
        (Bounds(LOW, None), "14.2672", Outcome.UNDECIDED),
        (Bounds(LOW, None), "14.3328", Outcome.UNDECIDED),
        (Bounds(LOW, None), "14.3329", Outcome.WITHIN),
        (Bounds(None, HIGH), "14.4171", Outcome.WITHIN),
        (Bounds(None, HIGH), "14.4172", Outcome.UNDECIDED),
        (Bounds(None, HIGH), "14.4828", Outcome.UNDECIDED),
        (Bounds(None, HIGH), "14.4829", Outcome.OUTSIDE),
    ],
)
def test_ninety_five_percent_rule(bounds: Bounds, reading: str, outcome: Outcome) -> None:
    found = judge(value(reading), bounds)
    assert found.outcome is outcome
    assert found == judge(value(reading), bounds, Rule.NINETY_FIVE)
    assert not found.undecidable


def test_few_readings_make_the_verdict_harder() -> None:
    # 2.92 u instead of 1.64 u with two degrees of freedom (Student, computed independently)
    bounds = Bounds(Decimal(0), None)
    assert judge(value("1.7", 1.0), bounds).outcome is Outcome.WITHIN
    assert judge(value("1.7", 1.0, 2), bounds).outcome is Outcome.UNDECIDED
    assert judge(value("2.93", 1.0, 2), bounds).outcome is Outcome.WITHIN


def test_miss_is_signed_and_from_the_nearest_limit() -> None:
    assert judge(value("14.25"), BOTH).miss == Decimal("-0.05")
    assert judge(value("14.47"), BOTH).miss == Decimal("0.02")
    assert judge(value("14.40"), BOTH).miss == 0


@pytest.mark.parametrize("rule", list(Rule))
def test_without_limits_nothing_is_judged(rule: Rule) -> None:
    nothing = Bounds(None, None)
    assert judge(value("1"), nothing, rule) == Judgement(Outcome.NOT_JUDGED, None)
    assert conformance_probability(value("1"), nothing) == 1
    assert acceptance_zone(nothing, 0.1, rule) == (None, None)


def test_gauge() -> None:
    assert judge_gauge(True) == Judgement(Outcome.WITHIN, None)
    assert judge_gauge(False) == Judgement(Outcome.OUTSIDE, None)


def test_words_are_the_published_ones() -> None:
    assert [str(item) for item in Outcome] == ["within", "outside", "undecided", "not judged"]
    assert [str(item) for item in Rule] == ["95%", "simple"]


# --- tolerances too narrow ------------------------------------------------------------------


def test_narrow_tolerance_is_undecidable_only_when_undecided() -> None:
    bounds = Bounds(Decimal(0), Decimal(3))
    assert judge(value("1.5", 1.0), bounds).undecidable
    far = judge(value("30", 1.0), bounds)
    assert far.outcome is Outcome.OUTSIDE
    assert not far.undecidable
    assert not judge(value("1.5", 1.0), bounds, Rule.SIMPLE).undecidable


def test_hopelessly_narrow_tolerance_does_not_condemn_its_own_middle() -> None:
    # The middle conforms with a probability of only 0.04, yet nothing speaks against it.
    bounds = Bounds(Decimal(0), Decimal("0.1"))
    middle = judge(value("0.05", 1.0), bounds)
    assert middle.probability is not None
    assert middle.probability < 0.05
    assert middle.outcome is Outcome.UNDECIDED
    assert middle.undecidable
    assert judge(value("1.7", 1.0), bounds).outcome is Outcome.UNDECIDED
    assert judge(value("1.75", 1.0), bounds).outcome is Outcome.OUTSIDE
    assert judge(value("-1.64", 1.0), bounds).outcome is Outcome.UNDECIDED
    assert judge(value("-1.65", 1.0), bounds).outcome is Outcome.OUTSIDE


def test_single_allowed_value_cannot_be_proven() -> None:
    found = judge(value(LOW), Bounds(LOW, LOW))
    assert found.probability == 0
    assert found.undecidable
    assert found.zone is None
    assert acceptance_zone(Bounds(LOW, LOW), 0.02, Rule.SIMPLE) == (LOW, LOW)
    assert acceptance_zone(Bounds(LOW, LOW), 0.0, Rule.NINETY_FIVE) == (LOW, LOW)
    # One limit alone leaves room for any doubt.
    assert acceptance_zone(Bounds(LOW, None), 1e9, Rule.NINETY_FIVE) is not None


@pytest.mark.parametrize(("dof", "factor"), [(math.inf, 1.959964), (5, 2.570582), (2, 4.302653)])
def test_narrowest_decidable_tolerance(dof: float, factor: float) -> None:
    # Two-sided 95 % factors, computed independently
    wide = Bounds(Decimal(0), Decimal(str(2 * factor + 1e-4)))
    narrow = Bounds(Decimal(0), Decimal(str(2 * factor - 1e-4)))
    assert acceptance_zone(wide, 1.0, Rule.NINETY_FIVE, dof) is not None
    assert acceptance_zone(narrow, 1.0, Rule.NINETY_FIVE, dof) is None


# --- limits that were themselves measured ---------------------------------------------------


def test_uncertain_limits_count_each_on_its_side() -> None:
    bounds = Bounds(Decimal(0), Decimal(10), low_u=3.0, high_u=0.0)
    found = conformance_probability(value("6", 4.0), bounds)
    # Combined u: 5 below, 4 above; the formula with scipy
    expected = 1 - stats.norm.cdf(-6 / 5) - stats.norm.cdf(-4 / 4)
    assert found == pytest.approx(float(expected), rel=1e-12)


def test_uncertain_limit_dilutes_the_few_degrees_of_freedom() -> None:
    bounds = Bounds(Decimal(0), None, low_u=3.0)
    # Welch-Satterthwaite: 5^4 / (4^4 / 2)
    expected = stats.t.cdf(6 / 5, 625 / 128)
    found = conformance_probability(value("6", 4.0, 2), bounds)
    assert found == pytest.approx(float(expected), rel=1e-10)


def test_uncertain_limit_against_a_value_without_doubt() -> None:
    bounds = Bounds(Decimal(0), Decimal(1), high_u=0.5)
    assert conformance_probability(exact(Decimal("-1E-9")), bounds) == 0
    found = conformance_probability(exact(Decimal("0.5")), bounds)
    assert found == pytest.approx(float(stats.norm.cdf(1)), rel=1e-12)
    zone = acceptance_zone(bounds, 0.0, Rule.NINETY_FIVE)
    assert zone is not None
    low, high = zone
    assert low == 0
    assert high is not None
    assert float(high) == pytest.approx(1 - 0.5 * 1.6448536, abs=1e-7)  # computed independently


def test_uncertain_limits_may_leave_no_zone() -> None:
    sharp = Bounds(Decimal(0), Decimal(6))
    blurred = Bounds(Decimal(0), Decimal(6), low_u=3.0)
    assert acceptance_zone(sharp, 1.0, Rule.NINETY_FIVE) is not None
    assert acceptance_zone(blurred, 1.0, Rule.NINETY_FIVE) is None
    assert judge(value("3", 1.0), blurred).undecidable


def test_probability_is_never_negative() -> None:
    # Just past a sharp limit, with a blurred one near: the tails alone would exceed 1.
    bounds = Bounds(Decimal(0), Decimal("0.001"), low_u=0.0, high_u=9.0)
    assert conformance_probability(value("-0.5", 0.1), bounds) == 0


# --- guard factor ---------------------------------------------------------------------------


@patient
@given(st.floats(0, 60), st.floats(0.5, 0.9999))
def test_guard_factor_reaches_the_probability_at_the_edge(width: float, p: float) -> None:
    g = guard_factor(width, p)
    half = float(stats.norm.ppf((1 + p) / 2))
    if g is None:
        assert width < 2 * half * (1 + 1e-12)
    else:
        at_edge = stats.norm.cdf(g) - stats.norm.cdf(g - width)
        assert float(at_edge) == pytest.approx(p, abs=1e-12)
        assert float(stats.norm.ppf(p)) * (1 - 1e-12) <= g <= width / 2


@pytest.mark.parametrize(
    ("width", "p"), [(-1.0, 0.95), (math.nan, 0.95), (8.0, 0.4), (8.0, 1.0), (8.0, math.nan)]
)
def test_impossible_guard_factors_are_refused(width: float, p: float) -> None:
    with pytest.raises(ValueError, match=r"wide|probability"):
        guard_factor(width, p)


# --- rules that hold for any figures --------------------------------------------------------

NUMBERS = st.decimals(min_value=-50, max_value=50, places=3)
WIDTHS = st.decimals(min_value=0, max_value=50, places=3)
DOUBTS = st.floats(0.01, 10)
LIMIT_DOUBTS = st.one_of(st.just(0.0), st.floats(0.01, 5))
FREEDOMS = st.one_of(st.just(math.inf), st.floats(1, 500))


@st.composite
def bounds_strategy(draw: st.DrawFn) -> Bounds:
    low = draw(NUMBERS)
    high = low + draw(WIDTHS)
    sides = draw(st.sampled_from(["both", "low", "high"]))
    return Bounds(
        None if sides == "high" else low,
        None if sides == "low" else high,
        draw(LIMIT_DOUBTS),
        draw(LIMIT_DOUBTS),
    )


@patient
@given(NUMBERS, st.one_of(st.just(0.0), DOUBTS), FREEDOMS, bounds_strategy())
def test_probability_stays_between_zero_and_one(
    y: Decimal, u: float, dof: float, bounds: Bounds
) -> None:
    assert 0 <= conformance_probability(value(y, u, dof), bounds) <= 1


@patient
@given(NUMBERS, DOUBTS, FREEDOMS, NUMBERS, WIDTHS, st.floats(0, 1))
def test_probability_rises_towards_the_middle(
    y: Decimal, u: float, dof: float, low: Decimal, width: Decimal, share: float
) -> None:
    bounds = Bounds(low, low + width)
    middle = low + width / 2
    nearer = y + (middle - y) * Decimal(share)
    farther = conformance_probability(value(y, u, dof), bounds)
    assert conformance_probability(value(nearer, u, dof), bounds) >= farther - 1e-12


@patient
@given(NUMBERS, DOUBTS, FREEDOMS, bounds_strategy(), WIDTHS, WIDTHS)
def test_wider_limits_never_lower_the_probability(
    y: Decimal, u: float, dof: float, bounds: Bounds, more_low: Decimal, more_high: Decimal
) -> None:
    wider = Bounds(
        None if bounds.low is None else bounds.low - more_low,
        None if bounds.high is None else bounds.high + more_high,
        bounds.low_u,
        bounds.high_u,
    )
    before = conformance_probability(value(y, u, dof), bounds)
    assert conformance_probability(value(y, u, dof), wider) >= before - 1e-12
    opened = Bounds(None, wider.high, bounds.low_u, bounds.high_u)
    assert conformance_probability(value(y, u, dof), opened) >= before - 1e-12


@patient
@given(NUMBERS, DOUBTS, FREEDOMS, bounds_strategy())
def test_mirror_image_gives_the_same(y: Decimal, u: float, dof: float, bounds: Bounds) -> None:
    mirrored = Bounds(
        None if bounds.high is None else -bounds.high,
        None if bounds.low is None else -bounds.low,
        bounds.high_u,
        bounds.low_u,
    )
    here = judge(value(y, u, dof), bounds)
    there = judge(value(-y, u, dof), mirrored)
    assert here.probability == pytest.approx(there.probability, abs=1e-13)
    assert here.miss is not None
    assert there.miss is not None
    assert here.miss == -there.miss


@patient
@given(DOUBTS, FREEDOMS, bounds_strategy())
def test_zone_is_exactly_where_readings_pass(u: float, dof: float, bounds: Bounds) -> None:
    zone = acceptance_zone(bounds, u, Rule.NINETY_FIVE, dof)
    if zone is None:
        assert bounds.low is not None
        assert bounds.high is not None
        width = bounds.high - bounds.low
        for share in range(21):
            reading = bounds.low + width * share / 20
            assert conformance_probability(value(reading, u, dof), bounds) < 0.95
        return
    low, high = zone
    step = Decimal(str(1e-5 * u))
    # A zone about to close has edges no float can place to a millionth of u.
    assume(low is None or high is None or high - low > 100 * step)
    for edge, outwards in ((low, -step), (high, step)):
        if edge is not None:
            assert judge(value(edge, u, dof), bounds).outcome is Outcome.WITHIN
            beyond = judge(value(edge + outwards, u, dof), bounds)
            assert beyond.outcome is not Outcome.WITHIN


@patient
@given(NUMBERS, st.one_of(st.just(0.0), DOUBTS), FREEDOMS, bounds_strategy())
def test_verdict_agrees_with_probability_and_zone(
    y: Decimal, u: float, dof: float, bounds: Bounds
) -> None:
    found = judge(value(y, u, dof), bounds)
    assert found.probability == conformance_probability(value(y, u, dof), bounds)
    assert (found.outcome is Outcome.WITHIN) == (found.probability >= 0.95)
    if found.outcome is Outcome.OUTSIDE:
        assert found.probability <= 0.05
        assert found.miss != 0
    if found.undecidable:
        assert found.outcome is Outcome.UNDECIDED
        assert found.zone is None


# --- bad input ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "low_u", "high_u", "words"),
    [
        ("2", "1", 0.0, 0.0, "above"),
        ("1.0000000000000000000000001", "1", 0.0, 0.0, "above"),
        ("NaN", "1", 0.0, 0.0, "limit"),
        ("1", "Infinity", 0.0, 0.0, "limit"),
        ("1", "2", -0.1, 0.0, "uncertainty"),
        ("1", "2", 0.0, math.nan, "uncertainty"),
        ("1", "2", math.inf, 0.0, "uncertainty"),
    ],
)
def test_impossible_limits_are_refused(
    low: str, high: str, low_u: float, high_u: float, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        judge(value("1"), Bounds(Decimal(low), Decimal(high), low_u, high_u))


@pytest.mark.parametrize("u", [-0.1, math.nan, math.inf])
@pytest.mark.parametrize("rule", list(Rule))
def test_impossible_uncertainties_are_refused(u: float, rule: Rule) -> None:
    with pytest.raises(ValueError, match="uncertainty"):
        acceptance_zone(BOTH, u, rule)


def test_impossible_degrees_of_freedom_are_refused() -> None:
    with pytest.raises(ValueError, match="freedom"):
        acceptance_zone(BOTH, 0.1, Rule.NINETY_FIVE, 0.0)


def test_boundless_doubt_leaves_no_zone() -> None:
    # So few degrees of freedom that the factor is beyond any float.
    assert acceptance_zone(Bounds(LOW, None), 1.0, Rule.NINETY_FIVE, 1e-4) is None
    assert acceptance_zone(BOTH, 1.0, Rule.NINETY_FIVE, 1e-4) is None
