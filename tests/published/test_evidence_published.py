"""Rates of rare failures, and car against track, beside published figures and a general library.

Where a figure says "computed independently" it came from scipy, apart from this project's own
arithmetic; "from memory" was not looked up in its source again.
"""

import math
import random

import numpy as np
import pytest
from scipy import special, stats

from inventory.trouble.evidence import (
    Blame,
    Kind,
    Prior,
    Table,
    TwoSided,
    adjusted,
    benjamini_hochberg,
    benjamini_yekutieli,
    compare_rates,
    failure_rate,
    fit_prior,
    passages_to_show,
    poisson_at_least,
    rule_of_three,
    suspects,
)

# --- Two rates --------------------------------------------------------------------------------


def test_fay_when_compared_then_as_the_vignette_prints() -> None:
    """M. Fay, vignette of the R package rateratio.test: 2 in 17877 against 9 in 16660."""
    found = compare_rates(2, 17877, 9, 16660)

    assert round(found.p, 5) == 0.05011  # printed in the vignette
    assert found.ratio == pytest.approx(0.2070941557, rel=1e-9)  # printed in the vignette
    assert round(found.interval.low, 8) == 0.02177406  # printed in the vignette
    assert round(found.interval.high, 8) == 1.00054910  # printed in the vignette
    assert found.p == pytest.approx(0.0501064956, rel=1e-8)  # computed independently
    # computed independently:
    assert found.interval.low == pytest.approx(0.0217740628, rel=1e-8)
    assert found.interval.high == pytest.approx(1.0005491045, rel=1e-9)


def test_fay_when_by_minlike_then_on_the_other_side_of_a_twentieth() -> None:
    found = compare_rates(2, 17877, 9, 16660, rule=TwoSided.MINLIKE)

    assert found.p == pytest.approx(0.0330942032, rel=1e-8)  # computed independently


@pytest.mark.parametrize(
    ("figures", "ratio", "central", "minlike", "low", "high"),
    [
        # Example data of R's poisson.test, from memory; results computed independently.
        ((11, 800, 21, 3011), 1.9714880952, 0.1120173196, 0.0796686330, 0.8584264, 4.2772659),
        # A car against the rest of its fleet; results computed independently.
        ((4, 60, 9, 1200), 8.888888889, 0.0051962395, None, 2.0002736, 31.8486187),
    ],
)
def test_ratios_when_compared_then_as_computed_independently(
    figures: tuple[int, float, int, float],
    ratio: float,
    central: float,
    minlike: float | None,
    low: float,
    high: float,
) -> None:
    found = compare_rates(*figures)

    assert found.ratio == pytest.approx(ratio, rel=1e-9)
    assert found.p == pytest.approx(central, rel=1e-8)
    assert found.interval.low == pytest.approx(low, rel=1e-7)
    assert found.interval.high == pytest.approx(high, rel=1e-7)
    if minlike is not None:
        other = compare_rates(*figures, rule=TwoSided.MINLIKE)
        assert other.p == pytest.approx(minlike, rel=1e-8)


def test_car_against_rest_when_one_sided_then_the_plain_tail() -> None:
    # computed independently, with p0 = 1/21
    assert compare_rates(4, 60, 9, 1200).p_greater == pytest.approx(0.0025981198, abs=5e-11)


# --- One rate ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "exposure", "mean", "jeffreys", "garwood"),
    [
        # All computed independently, with six decimals kept.
        (0, 50, 0.0100, (1.0e-5, 0.050239), (0.0, 0.073778)),
        (1, 50, 0.0300, (0.002158, 0.093484), (0.000506, 0.111433)),
        (3, 60, 0.058333, (0.014082, 0.133440), (0.010311, 0.146121)),
        (4, 60, 0.075000, (0.022503, 0.158523), (0.018164, 0.170693)),
    ],
)
def test_rates_when_estimated_then_as_computed_independently(
    count: int,
    exposure: float,
    mean: float,
    jeffreys: tuple[float, float],
    garwood: tuple[float, float],
) -> None:
    found = failure_rate(count, exposure)

    assert found.jeffreys_mean == pytest.approx(mean, abs=5e-7)
    assert found.jeffreys.low == pytest.approx(jeffreys[0], abs=5e-7)
    assert found.jeffreys.high == pytest.approx(jeffreys[1], abs=5e-7)
    assert found.garwood.low == pytest.approx(garwood[0], abs=5e-7)
    assert found.garwood.high == pytest.approx(garwood[1], abs=5e-7)


def test_no_failure_when_bounded_then_the_rule_of_three_is_near() -> None:
    found = failure_rate(0, 50)

    assert found.upper == pytest.approx(0.0599146, abs=5e-8)  # computed independently
    assert rule_of_three(50) == 0.06  # Hanley and Lippman-Hand 1983, from memory
    # computed independently: the upper end of Jeffreys' middle 90 % is its 95 % bound
    assert failure_rate(0, 50, confidence=0.9).jeffreys.high == pytest.approx(0.038415, abs=5e-7)


# --- Shrinkage --------------------------------------------------------------------------------


def test_hospitals_when_shrunk_then_as_in_the_book() -> None:
    """J. Albert, Bayesian Computation with R, section 3.3 (demonstration 3.3 of LearnBayes): the
    prior and data from there; means and intervals computed independently."""
    prior = Prior(16, 15174)
    a, b = prior.posterior(1, 66), prior.posterior(4, 1767)

    assert a.mean == pytest.approx(0.0011154856, rel=1e-7)
    assert a.sd == pytest.approx(0.0002705, abs=5e-8)
    assert a.interval.low == pytest.approx(0.00064981, abs=5e-9)
    assert a.interval.high == pytest.approx(0.00170492, abs=5e-9)
    assert b.mean == pytest.approx(0.0011805679, rel=1e-7)
    assert b.interval.low == pytest.approx(0.00072112, abs=5e-9)
    assert b.interval.high == pytest.approx(0.00175142, abs=5e-9)


def test_hospitals_when_predicted_then_as_in_the_book() -> None:
    prior = Prior(16, 15174)

    # printed by the demonstration
    assert [round(p, 3) for p in prior.predictive(2, 66)] == [0.933, 0.065, 0.002]
    # computed independently
    assert [round(p, 3) for p in prior.predictive(6, 1767)] == [
        0.172,
        0.286,
        0.254,
        0.159,
        0.079,
        0.033,
        0.012,
    ]


# --- Many at once -----------------------------------------------------------------------------

# Benjamini and Hochberg 1995, the example of fifteen, as many test suites quote it.
FIFTEEN = (
    0.0001,
    0.0004,
    0.0019,
    0.0095,
    0.0201,
    0.0278,
    0.0298,
    0.0344,
    0.0459,
    0.3240,
    0.4262,
    0.5719,
    0.6528,
    0.7590,
    1.000,
)


def test_fifteen_when_adjusted_then_four_are_rejected_where_bonferroni_rejects_three() -> None:
    found = benjamini_hochberg(FIFTEEN)

    # quoted with the example, and computed independently
    assert [round(p, 6) for p in found] == [
        0.0015,
        0.003,
        0.0095,
        0.035625,
        0.0603,
        0.063857,
        0.063857,
        0.0645,
        0.0765,
        0.486,
        0.581182,
        0.714875,
        0.753231,
        0.813214,
        1,
    ]
    assert sum(p <= 0.05 for p in found) == 4  # Benjamini and Hochberg 1995
    assert sum(15 * p <= 0.05 for p in FIFTEEN) == 3  # the same


def test_fifteen_when_adjusted_for_any_dependence_then_three_are_rejected() -> None:
    found = benjamini_yekutieli(FIFTEEN)

    # computed independently
    assert [round(p, 6) for p in found[:4]] == [0.004977, 0.009955, 0.031523, 0.118212]
    assert sum(p <= 0.05 for p in found) == 3


# --- Car or track: an invented railway, results computed independently --------------------------

RUNS = {
    "A": (40, 20, 60),
    "B": (40, 20, 60),
    "C": (40, 20, 60),
    "D": (10, 50, 20),
    "E": (40, 10, 60),
}
TABLE = Table(
    {
        (car, place): runs
        for car, row in RUNS.items()
        for place, runs in zip(("T1", "T2", "Yard"), row, strict=True)
    },
    {("A", "T2"): 1, ("B", "T2"): 1, ("C", "T1"): 1, ("D", "T2"): 4},
)


def cars() -> dict:
    return {each.name: each for each in adjusted(TABLE, Kind.VEHICLE)}


def test_car_d_when_taken_as_it_stands_then_looks_guilty() -> None:
    found = cars()
    crude = {name: round(each.crude, 5) for name, each in found.items()}

    assert crude == {"A": 1.52727, "B": 1.52727, "C": 1.52727, "D": 1.01818, "E": 1.4}
    p = {n: poisson_at_least(each.observed, each.crude) for n, each in found.items()}
    assert p["D"] == pytest.approx(stats.poisson.sf(3, 7 * 80 / 550), rel=1e-12)
    assert round(p["D"], 5) == 0.02012
    after = dict(zip(p, benjamini_hochberg(list(p.values())), strict=True))
    assert round(after["D"], 5) == 0.10062


def test_car_d_when_adjusted_for_place_then_looks_like_the_others() -> None:
    found = cars()
    expected = {name: round(each.expected, 5) for name, each in found.items()}

    assert expected == {"A": 1.23529, "B": 1.23529, "C": 1.23529, "D": 2.55882, "E": 0.73529}
    assert round(poisson_at_least(4, found["D"].expected), 5) == 0.25507
    assert found["D"].ratio == pytest.approx(1.56322, abs=5e-6)
    assert found["D"].p == pytest.approx(0.2199245, abs=5e-8)
    for name in "ABC":
        assert found[name].p == pytest.approx(0.7439015, abs=5e-8)


def test_cars_when_shrunk_then_as_computed_independently() -> None:
    found = cars()

    for name in "ABC":
        assert found[name].shrunk.mean == pytest.approx(0.927273, abs=5e-7)
    assert found["D"].shrunk.mean == pytest.approx(1.316129, abs=5e-7)
    assert found["D"].shrunk.interval.low == pytest.approx(0.4830, abs=5e-5)
    assert found["D"].shrunk.interval.high == pytest.approx(2.5595, abs=5e-5)
    assert found["D"].above_one == pytest.approx(0.692850, abs=5e-7)
    assert found["E"].shrunk.mean == pytest.approx(0.731183, abs=5e-7)


def test_turnout_when_set_against_the_rest_then_is_the_suspect() -> None:
    assert compare_rates(6, 120, 1, 430).p_greater == pytest.approx(0.0006138934, rel=1e-6)
    place = {each.name: each for each in adjusted(TABLE, Kind.PLACE)}["T2"]
    assert place.crude_p == pytest.approx(0.0006138934, rel=1e-6)
    # without car D
    assert compare_rates(2, 70, 1, 400).p_greater == pytest.approx(0.0599385, abs=5e-8)


def test_turnout_when_adjusted_for_cars_then_as_every_outcome_counted_by_scipy() -> None:
    place = {each.name: each for each in adjusted(TABLE, Kind.PLACE)}["T2"]
    a, d = stats.binom(3, 20 / 120), stats.binom(4, 50 / 80)
    expected = sum(a.pmf(i) * d.pmf(k) for i in range(4) for k in range(5) if i + k >= 6)

    assert place.p == pytest.approx(expected, rel=1e-10)
    assert place.expected == pytest.approx(3 * 20 / 120 + 4 * 50 / 80, rel=1e-12)


def test_car_or_track_when_asked_then_accuses_the_turnout_and_clears_the_car() -> None:
    found = suspects(TABLE)

    assert [s.name for s in found.of(Blame.CULPRIT)] == ["T2"]
    assert found.sentence == "T2 is the likelier culprit; D looks bad only by where it ran."


# --- Against scipy, on random figures ---------------------------------------------------------


def test_rates_when_random_then_as_scipy() -> None:
    chance = random.Random(66)
    for _ in range(300):
        count, exposure = int(chance.expovariate(1 / 30)), chance.uniform(0.1, 1e5)
        confidence = chance.choice([0.5, 0.9, 0.95, 0.999])
        found = failure_rate(count, exposure, confidence=confidence)
        tail = (1 - confidence) / 2
        low, high = stats.gamma(count + 0.5, scale=1 / exposure).ppf([tail, 1 - tail])
        assert found.jeffreys.low == pytest.approx(low, rel=1e-9)
        assert found.jeffreys.high == pytest.approx(high, rel=1e-9)
        exact = stats.chi2.ppf(tail, 2 * count) / 2 / exposure if count else 0.0
        assert found.garwood.low == pytest.approx(exact, rel=1e-9)
        exact = stats.chi2.ppf(1 - tail, 2 * count + 2) / 2 / exposure
        assert found.garwood.high == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("most", [5, 50, 3000])
def test_comparisons_when_random_then_as_scipy(most: int) -> None:
    chance = random.Random(most)
    for _ in range(60):
        x, y = chance.randint(0, most), chance.randint(0, most)
        e, f = chance.uniform(1, 100), chance.uniform(1, 100)
        null = chance.choice([1.0, 0.5, 3.0])
        share = null * e / (null * e + f)
        central = compare_rates(x, e, y, f, null_ratio=null)
        minlike = compare_rates(x, e, y, f, null_ratio=null, rule=TwoSided.MINLIKE)
        n = x + y
        if n == 0:
            assert central.ratio is None
            assert central.p == 1
            continue
        at_most, at_least = stats.binom.cdf(x, n, share), stats.binom.sf(x - 1, n, share)
        near = {"rel": 1e-8, "abs": 1e-280}
        assert central.p == pytest.approx(min(1, 2 * min(at_most, at_least)), **near)
        assert central.p_greater == pytest.approx(at_least, **near)
        assert minlike.p == pytest.approx(stats.binomtest(x, n, share).pvalue, **near)
        exact = stats.binomtest(x, n).proportion_ci(method="exact")
        assert central.interval.low == pytest.approx(exact.low / (1 - exact.low) * f / e, rel=1e-8)
        if y:
            high = exact.high / (1 - exact.high) * f / e
            assert central.interval.high == pytest.approx(high, rel=1e-8)
        else:
            assert central.interval.high == math.inf


def test_shrinkage_when_random_then_as_scipy() -> None:
    chance = random.Random(93)
    for _ in range(200):
        a, b = chance.uniform(0.05, 60), chance.uniform(0.01, 1e4)
        x, e = chance.randint(0, 40), chance.uniform(0.1, 1e4)
        prior, after = Prior(a, b), stats.gamma(a + x, scale=1 / (b + e))
        found = prior.posterior(x, e)
        assert found.mean == pytest.approx(after.mean(), rel=1e-12)
        assert found.sd == pytest.approx(after.std(), rel=1e-12)
        low, high = after.ppf([0.025, 0.975])
        assert found.interval.low == pytest.approx(low, rel=1e-9, abs=1e-280)
        assert found.interval.high == pytest.approx(high, rel=1e-9)
        limit = chance.uniform(0.2, 3) * after.mean()
        assert prior.probability_above(limit, x, e) == pytest.approx(
            after.sf(limit), rel=1e-9, abs=1e-13
        )
        predicted = stats.nbinom(a, b / (b + e)).pmf(np.arange(8))
        assert prior.predictive(7, e) == pytest.approx(predicted, rel=1e-9)


def test_adjusted_p_when_random_then_as_scipy() -> None:
    chance = random.Random(95)
    for _ in range(100):
        p = [chance.random() ** 3 for _ in range(chance.randint(1, 40))]
        assert benjamini_hochberg(p) == pytest.approx(stats.false_discovery_control(p))
        by = stats.false_discovery_control(p, method="by")
        assert benjamini_yekutieli(p) == pytest.approx(by)


def test_poisson_tail_when_random_then_as_scipy() -> None:
    chance = random.Random(10)
    for _ in range(200):
        count, expected = chance.randint(0, 60), chance.uniform(0, 60)
        exact = special.pdtrc(count - 1, expected) if count else 1.0
        assert poisson_at_least(count, expected) == pytest.approx(exact, rel=1e-10)


def test_passages_to_show_when_counted_then_the_least_number_that_is_enough() -> None:
    for rate in (0.003, 0.01, 1 / 3, 2.0):
        n = passages_to_show(rate)
        assert stats.poisson.pmf(0, rate * n) <= 0.05 < stats.poisson.pmf(0, rate * (n - 1))


def test_prior_when_fitted_by_likelihood_then_no_better_one_is_found_by_scipy() -> None:
    chance = np.random.default_rng(1987)
    for shape in (0.7, 2.0, 6.0):
        exposures = chance.uniform(50, 2000, 60)
        counts = chance.poisson(chance.gamma(shape, 0.02 / shape, 60) * exposures)
        found = fit_prior([int(x) for x in counts], [float(e) for e in exposures])

        def likelihood(
            a: float, b: float, counts: np.ndarray = counts, exposures: np.ndarray = exposures
        ) -> float:
            return float(stats.nbinom(a, b / (b + exposures)).logpmf(counts).sum())

        best = likelihood(found.shape, found.exposure)
        for a in (0.9, 0.99, 1.01, 1.1):
            for b in (0.9, 0.99, 1.0, 1.01, 1.1):
                assert likelihood(found.shape * a, found.exposure * b) < best
