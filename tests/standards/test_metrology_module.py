"""The uncertainty of readings: rules that hold for any figures, and refusals of bad ones."""

import math
import random
from decimal import Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from standards.metrology import (
    USUAL,
    Instrument,
    Measured,
    combine_sum,
    coverage_factor,
    evaluate,
    normal_cdf,
    student_cdf,
    student_quantile,
    welch_satterthwaite,
)

NONE = Decimal(0)
READINGS = st.decimals(min_value=-1000, max_value=1000, places=3)
STEPS = st.decimals(min_value=0, max_value=1, places=3)
patient = settings(deadline=None)


def plain(*readings: str) -> Measured:
    return evaluate([Decimal(text) for text in readings], max_error=NONE, resolution=NONE)


def exact(text: str) -> Measured:
    """A value without any doubt."""
    return Measured(Decimal(text), 0.0, math.inf, ())


# --- the mean -------------------------------------------------------------------------------


def test_single_reading_is_kept_as_it_was_written() -> None:
    found = evaluate([Decimal("14.40")], max_error=NONE, resolution=NONE)
    assert str(found.value) == "14.40"
    assert found.readings == (Decimal("14.40"),)
    assert (found.u, found.dof) == (0.0, math.inf)


def test_mean_that_ends_is_exact() -> None:
    # An eighth of a unit takes three more decimals than the readings have.
    readings = ["0.01"] + ["0.00"] * 7
    assert plain(*readings).value == Decimal("0.00125")
    assert plain("-3", "-4").value == Decimal("-3.5")
    assert plain("100", "300").value == Decimal(200)


def test_mean_that_does_not_end_has_twelve_decimals() -> None:
    assert plain("1", "0", "0").value == Decimal("0.333333333333")
    assert plain("1", "1", "0").value == Decimal("0.666666666667")
    assert plain("-1", "-1", "0").value == Decimal("-0.666666666667")


def test_mean_does_not_depend_on_the_decimal_context() -> None:
    with localcontext() as context:
        context.prec = 3
        found = plain("14.3812345", "14.3812347")
    assert found.value == Decimal("14.3812346")


@patient
@given(st.lists(READINGS, min_size=1, max_size=12))
def test_mean_is_the_mean(readings: list[Decimal]) -> None:
    found = evaluate(readings, max_error=NONE, resolution=NONE)
    true_mean = sum((Fraction(x) for x in readings), Fraction(0)) / len(readings)
    assert abs(Fraction(found.value) - true_mean) <= Fraction(1, 2 * 10**12)
    assert found.readings == tuple(readings)


# --- the uncertainty ------------------------------------------------------------------------


def test_equal_readings_leave_the_instrument_alone() -> None:
    found = evaluate([Decimal(5)] * 4, max_error=Decimal("0.03"), resolution=NONE)
    assert found.u == pytest.approx(0.03 / math.sqrt(3), rel=1e-12)
    assert found.dof == math.inf


def test_two_readings_without_instrument_have_one_degree_of_freedom() -> None:
    found = plain("1", "3")
    assert found.u == pytest.approx(1.0, rel=1e-12)  # s = sqrt 2, divided by sqrt 2
    assert found.dof == 1
    assert found.expanded == pytest.approx(12.7062, abs=5e-5)  # computed independently


def test_expanded_uncertainty_without_any() -> None:
    assert exact("7").expanded == 0
    assert evaluate([Decimal(7)], max_error=Decimal(3), resolution=NONE).expanded == pytest.approx(
        1.959963984540054 * math.sqrt(3), rel=1e-12
    )


@patient
@given(st.lists(READINGS, min_size=2, max_size=10), STEPS, STEPS)
def test_uncertainty_is_its_parts_in_quadrature(
    readings: list[Decimal], error: Decimal, step: Decimal
) -> None:
    found = evaluate(readings, max_error=error, resolution=step)
    floats = [float(x) for x in readings]
    repeats = stats.tstd(floats) / math.sqrt(len(floats)) if len(set(floats)) > 1 else 0.0
    expected = math.sqrt(repeats**2 + float(error) ** 2 / 3 + float(step) ** 2 / 12)
    assert found.u == pytest.approx(expected, rel=1e-7, abs=1e-9)
    # The effective degrees of freedom never fall below those of the repeats.
    assert found.dof >= (len(readings) - 1) * (1 - 1e-12)


@patient
@given(st.lists(READINGS, min_size=1, max_size=6), STEPS, STEPS, STEPS)
def test_a_worse_instrument_never_helps(
    readings: list[Decimal], error: Decimal, step: Decimal, more: Decimal
) -> None:
    before = evaluate(readings, max_error=error, resolution=step).u
    assert evaluate(readings, max_error=error + more, resolution=step).u >= before
    assert evaluate(readings, max_error=error, resolution=step + more).u >= before


@pytest.mark.parametrize(
    ("readings", "error", "step", "words"),
    [
        ([], "0", "0", "no readings"),
        (["NaN"], "0", "0", "not a finite"),
        (["1", "Infinity"], "0", "0", "not a finite"),
        (["1E+5000"], "0", "0", "too large"),
        (["1E-5000"], "0", "0", "too fine"),
        (["1"], "-0.01", "0", "negative"),
        (["1"], "0", "-0.01", "negative"),
        (["1"], "NaN", "0", "not a finite"),
        (["1"], "0", "Infinity", "not a finite"),
        (["1"], "1E+5000", "0", "too large"),
    ],
)
def test_bad_readings_are_refused(readings: list[str], error: str, step: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        evaluate(
            [Decimal(text) for text in readings],
            max_error=Decimal(error),
            resolution=Decimal(step),
        )


@pytest.mark.parametrize(
    ("value", "u", "dof"),
    [
        ("NaN", 0.0, 1.0),
        ("Infinity", 0.0, 1.0),
        ("1", -0.1, 1.0),
        ("1", math.nan, 1.0),
        ("1", math.inf, 1.0),
        ("1", 0.1, 0.0),
        ("1", 0.1, -1.0),
        ("1", 0.1, math.nan),
    ],
)
def test_impossible_measured_values_are_refused(value: str, u: float, dof: float) -> None:
    with pytest.raises(ValueError, match=r"finite|cannot|above zero"):
        Measured(Decimal(value), u, dof, ())


# --- sums -----------------------------------------------------------------------------------


def test_sum_adds_exactly() -> None:
    found = combine_sum(exact("0.1"), exact("0.2"), exact("-1E-40"))
    assert Fraction(found.value) == Fraction(3, 10) - Fraction(1, 10**40)
    assert (found.u, found.dof, found.readings) == (0.0, math.inf, ())


def test_sum_of_a_measured_and_a_known_part_keeps_its_doubt() -> None:
    measured = Measured(Decimal("2.5"), 0.3, 4.0, (Decimal("2.5"),))
    found = combine_sum(measured, exact("10"))
    assert found.value == Decimal("12.5")
    assert found.u == pytest.approx(0.3, rel=1e-15)
    assert found.dof == pytest.approx(4, rel=1e-12)


def test_sum_of_tiny_uncertainties_keeps_its_degrees_of_freedom() -> None:
    part = Measured(Decimal(1), 1e-120, 3.0, ())
    assert combine_sum(part, part).dof == pytest.approx(6, rel=1e-12)


def test_sum_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing to add"):
        combine_sum()
    with pytest.raises(ValueError, match="too large"):
        combine_sum(exact("1E+5000"))


@pytest.mark.parametrize("part", [(-1.0, 2.0), (math.inf, 2.0), (1.0, 0.0), (1.0, math.nan)])
def test_impossible_parts_are_refused(part: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match=r"cannot be|above zero"):
        welch_satterthwaite([(0.1, 3.0), part])


# --- instruments ----------------------------------------------------------------------------


def test_inside_and_depth_jaws_cost_extra() -> None:
    caliper = Instrument("caliper", "caliper", Decimal("0.03"), Decimal("0.01"), Decimal("0.02"))
    assert caliper.error_for("outside") == Decimal("0.03")
    assert caliper.error_for("none") == Decimal("0.03")
    assert caliper.error_for("inside") == Decimal("0.05")
    assert caliper.error_for("depth") == Decimal("0.05")
    with pytest.raises(ValueError, match="jaws"):
        caliper.error_for("teeth")


@pytest.mark.parametrize(
    ("kind", "error", "step", "extra", "words"),
    [
        ("telescope", "0", "0", "0", "kind"),
        ("caliper", "-1", "0", "0", "negative"),
        ("caliper", "0", "-1", "0", "negative"),
        ("caliper", "0", "0", "-1", "negative"),
        ("scale", "NaN", "0", "0", "finite"),
    ],
)
def test_impossible_instruments_are_refused(
    kind: str, error: str, step: str, extra: str, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        Instrument("x", kind, Decimal(error), Decimal(step), Decimal(extra))


def test_usual_instruments_when_listed_then_promise_what_their_sources_do() -> None:
    """DIN 862, from an extract: 0.03 and 0.05 mm by the step of the display, 0.02 mm more inside.

    The rule: Directive 2014/32/EU, class II, 0.3 mm and 0.2 mm a metre, from memory.
    """
    promised = {
        name: tuple(str(tool.error_for(jaws)) for jaws in ("outside", "inside", "depth", "none"))
        for name, tool in USUAL.items()
    }

    assert promised == {
        "digital": ("0.03", "0.05", "0.05", "0.03"),
        "vernier": ("0.05", "0.07", "0.07", "0.05"),
        "rule": ("0.5", "0.5", "0.5", "0.5"),
    }
    assert {name: str(tool.resolution) for name, tool in USUAL.items()} == {
        "digital": "0.01",
        "vernier": "0.05",
        "rule": "0.5",
    }
    assert [tool.kind for tool in USUAL.values()] == ["caliper", "caliper", "rule"]


# --- distributions --------------------------------------------------------------------------


def test_student_against_an_outside_implementation() -> None:
    """scipy.stats.t over eight decades of degrees of freedom."""
    draw = random.Random(20)
    for _ in range(4000):
        dof = 10 ** draw.uniform(-1, 8)
        t = draw.choice([1, -1]) * 10 ** draw.uniform(-4, 2.5)
        expected = float(stats.t.cdf(t, dof))
        if expected > 1e-290:
            assert student_cdf(t, dof) == pytest.approx(expected, rel=1e-10), (t, dof)


def test_student_quantile_against_an_outside_implementation() -> None:
    draw = random.Random(21)
    for _ in range(1500):
        dof = 10 ** draw.uniform(-1, 8)
        p = draw.choice([draw.random(), 10 ** draw.uniform(-12, 0)])
        expected = float(stats.t.ppf(p, dof))
        assert student_quantile(p, dof) == pytest.approx(expected, rel=1e-9, abs=1e-12), (p, dof)


def test_coverage_factor_against_an_outside_implementation() -> None:
    # Beyond any number of repeats: one tiny Type A part beside a large Type B one.
    endless = (1e70, 1e200, 1e307)
    for dof in (1, 1.5, 2, 3, 7.3, 34, 210.125, 1e4, 1e6, *endless, math.inf):
        law = stats.norm if dof > 1e60 else stats.t(dof)
        for p in (0.5, 0.6827, 0.9, 0.95, 0.9545, 0.99, 0.9999):
            expected = float(law.ppf((1 + p) / 2))
            assert coverage_factor(dof, p) == pytest.approx(expected, rel=1e-9)


def test_normal_keeps_its_digits_far_out() -> None:
    for z in (-35.0, -20.0, -8.5, -1.0, 0.0, 1.0, 9.0):
        assert normal_cdf(z) == pytest.approx(float(stats.norm.cdf(z)), rel=1e-12)


def test_student_at_the_seam_between_its_two_formulas() -> None:
    # Ten thousand degrees of freedom is where the series takes over.
    for t in (0.1, 1.0, 1.7321, 4.0, 30.0):
        below = student_cdf(-t, math.nextafter(1e4, 0))
        above = student_cdf(-t, 1e4)
        assert below == pytest.approx(above, rel=1e-10)


def test_student_closed_forms() -> None:
    for t in (-30.0, -1.0, 0.0, 0.3, 12.0):
        # One degree of freedom is the Cauchy law, two have a square root.
        assert student_cdf(t, 1) == pytest.approx(0.5 + math.atan(t) / math.pi, rel=1e-11)
        assert student_cdf(t, 2) == pytest.approx(0.5 + t / (2 * math.sqrt(2 + t * t)), rel=1e-11)


def test_student_at_its_ends() -> None:
    assert student_cdf(math.inf, 3) == 1
    assert student_cdf(-math.inf, 3) == 0
    assert student_cdf(0, 3) == 0.5
    assert student_cdf(-1e200, 1) == pytest.approx(1e-200 / math.pi, rel=1e-10)
    assert student_quantile(0.5, 3) == 0
    assert student_quantile(0.95, 1e-4) == math.inf
    assert student_quantile(0.05, 1e-4) == -math.inf


@patient
@given(st.floats(0.2, 1e7), st.floats(1e-12, 1 - 1e-12))
def test_quantile_undoes_the_distribution(dof: float, p: float) -> None:
    assert student_cdf(student_quantile(p, dof), dof) == pytest.approx(p, rel=1e-9)


@patient
@given(st.floats(0.2, 1e7), st.floats(-50, 50), st.floats(0.001, 50))
def test_distribution_rises_and_is_symmetric(dof: float, t: float, more: float) -> None:
    assert student_cdf(t + more, dof) >= student_cdf(t, dof) - 1e-14
    assert student_cdf(t, dof) + student_cdf(-t, dof) == pytest.approx(1, abs=1e-14)


@patient
@given(st.floats(1, 1e6), st.floats(1.001, 100), st.floats(0.5, 0.999))
def test_more_degrees_of_freedom_never_widen(dof: float, times: float, p: float) -> None:
    fewer, more = coverage_factor(dof, p), coverage_factor(dof * times, p)
    assert more <= fewer * (1 + 1e-10)
    assert more >= coverage_factor(math.inf, p) * (1 - 1e-10)


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1, 1.1, math.nan])
def test_impossible_probabilities_are_refused(p: float) -> None:
    with pytest.raises(ValueError, match="probability"):
        student_quantile(p, 3)
    with pytest.raises(ValueError, match="probability"):
        coverage_factor(3, p)


@pytest.mark.parametrize("dof", [1e4, 1e6, 1e70, 1e130, 1e300])
@pytest.mark.parametrize("t", [45.0, 60.0, 1e20, 1e44, 1e300])
def test_distribution_far_out_is_all_or_nothing(dof: float, t: float) -> None:
    """Where SciPy's tail is zero too."""
    assert stats.t.sf(t, min(dof, 1e15)) <= 1e-300
    assert student_cdf(-t, dof) <= 1e-300
    assert student_cdf(t, dof) == 1


@pytest.mark.parametrize("dof", [0.0, -1.0, math.nan])
def test_impossible_degrees_of_freedom_are_refused(dof: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        student_cdf(1, dof)
    with pytest.raises(ValueError, match="above zero"):
        student_quantile(0.9, dof)
    with pytest.raises(ValueError, match="not a number"):
        student_cdf(math.nan, 3)
