"""The line of a drift against a general library, and its warnings against what was made."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from scipy.stats import chi2

from standards.drift import Drift, DriftImpossible, Point, _chance_of_more, drift

START = date(2024, 1, 1)


def made(rng, n: int, slope: float, u: float = 0.02) -> list[Point]:
    """Readings over three years about a line of that slope a year, scattered by u."""
    days = np.sort(rng.choice(1095, size=n, replace=False))
    return [
        Point(
            START + timedelta(days=int(d)),
            Decimal(str(round(14.5 + slope * d / 365.25 + rng.normal(0, u), 6))),
            u,
        )
        for d in days
    ]


@pytest.mark.parametrize("seed", range(20))
def test_line_then_is_that_of_numpy_polyfit_with_known_variances(seed) -> None:
    """numpy.polyfit(w=1/u, cov="unscaled"): weights known, covariance not scaled by chi-square."""
    rng = np.random.default_rng(seed)
    points = [
        Point(p.on, p.value, float(rng.uniform(0.01, 0.05)))
        for p in made(rng, int(rng.integers(3, 12)), float(rng.normal(0, 0.05)))
    ]
    times = [(p.on - points[0].on).days / 365.25 for p in points]

    (slope, start), cov = np.polyfit(
        times,
        [float(p.value) for p in points],
        1,
        w=[1 / p.u for p in points],
        cov="unscaled",
    )
    found = drift(points, low=Decimal("14.376"), high=Decimal("14.605"))

    assert found is not None
    assert found.slope == pytest.approx(slope, rel=1e-9, abs=1e-12)
    # What scatters more than its uncertainties say is widened, never narrowed.
    widened = found.u_slope / cov[0, 0] ** 0.5
    line = np.polyval((slope, start), times)
    left = sum(((float(p.value) - v) / p.u) ** 2 for p, v in zip(points, line, strict=True))
    is_scattered = chi2.sf(left, len(points) - 2) < 0.05
    birge = (left / (len(points) - 2)) ** 0.5
    assert widened == pytest.approx(birge if is_scattered else 1.0, rel=1e-6)
    assert found.now == pytest.approx(start + slope * times[-1], rel=1e-12)


def test_day_when_the_line_reaches_its_limit_then_lies_on_it() -> None:
    """Worked by hand: 14.500 falling by 0.050 a year from 2024-01-01 meets 14.376 after 2.48
    years, that is 905.8 days later."""
    years = (0, 1, 2)
    points = [
        Point(
            START + timedelta(days=round(y * 365.25)),
            Decimal("14.5") - Decimal("0.05") * Decimal(round(y * 365.25)) / Decimal("365.25"),
            0.004,
        )
        for y in years
    ]

    found = drift(points, low=Decimal("14.376"))

    assert found is not None and found.reaches is not None and found.earliest is not None
    assert (found.reaches - START).days == pytest.approx(905.8, abs=1)
    assert found.earliest < found.reaches
    assert found.is_moving
    assert found.warns(date(2027, 1, 1))
    assert not found.warns(date(2026, 1, 10))


def test_movement_then_is_seldom_invented_and_mostly_seen() -> None:
    """By chance a line is called moving in 5 % of cases (Student, both sides); 400 plays of it
    stay below 9 % but for one in a thousand (binomial). Made so by us, seeded."""
    rng = np.random.default_rng(7)

    def moving(slope: float) -> float:
        lines = [drift(made(rng, 5, slope)) for _ in range(400)]
        return sum(isinstance(line, Drift) and line.is_moving for line in lines) / 400

    assert moving(0.0) < 0.09
    assert moving(0.06) > 0.9


def test_line_away_from_every_limit_then_reaches_none() -> None:
    rising = [Point(START + timedelta(days=200 * i), Decimal(14) + i, 0.02) for i in range(4)]

    found = drift(rising, low=Decimal(13))

    assert found is not None
    assert (found.reaches, found.earliest) == (None, None)
    assert not found.warns(date(2100, 1, 1))


@pytest.mark.parametrize("n", [0, 1, 2])
def test_fewer_than_three_readings_then_show_nothing(n) -> None:
    points = [Point(START + timedelta(days=i), Decimal(14), 0.02) for i in range(n)]

    assert drift(points) is None


def test_readings_of_one_day_then_show_nothing() -> None:
    assert drift([Point(START, Decimal(14), 0.02)] * 4) is None


def test_equal_readings_then_do_not_move() -> None:
    points = [Point(START + timedelta(days=100 * i), Decimal(14), 0.02) for i in range(4)]

    found = drift(points, Decimal(13), Decimal(15))

    assert found is not None
    assert not found.is_moving


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([Point(date(2025, 1, 1), Decimal(1), 0.1), Point(START, Decimal(1), 0.1)], "sort"),
        ([Point(START, Decimal(1), 0.0)], "no uncertainty"),
        ([Point(START, Decimal(1), float("nan"))], "no uncertainty"),
    ],
)
def test_readings_that_cannot_be_then_are_refused_in_words(points, words) -> None:
    with pytest.raises(DriftImpossible, match=words):
        drift(points)


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 7, 20])
@pytest.mark.parametrize("value", [0.0, 0.1, 1.0, 5.0, 30.0])
def test_chance_of_more_scatter_then_is_that_of_scipy(dof, value) -> None:
    """scipy.stats.chi2.sf."""
    assert _chance_of_more(value, dof) == pytest.approx(chi2.sf(value, dof), rel=1e-10)


def test_another_instrument_then_can_feign_a_movement_and_is_allowed_for() -> None:
    """Two calipers of u 0.02 mm, whose errors may be wholly common to their own readings: a step
    of 0.04 mm between them is no movement (it is 1.4 of sqrt(2) 0.02). Worked by hand."""

    def steps(*instruments: str) -> Drift:
        points = [
            Point(
                START + timedelta(days=200 * i),
                Decimal("14.46") if i < 4 else Decimal("14.42"),
                0.02,
                instrument=instruments[i // 4],
            )
            for i in range(8)
        ]
        found = drift(points)
        assert found is not None
        return found

    assert steps("one", "one").is_moving
    assert not steps("one", "other").is_moving


def test_readings_within_a_month_then_tell_no_rate() -> None:
    points = [Point(START + timedelta(days=i), Decimal(14) - i, 0.02) for i in range(20)]

    assert drift(points) is None


@pytest.mark.parametrize("limit", ["NaN", "Infinity"])
def test_limit_that_is_no_number_then_is_refused_in_words(limit) -> None:
    points = [Point(START + timedelta(days=100 * i), Decimal(14), 0.02) for i in range(4)]

    with pytest.raises(DriftImpossible, match="is no number"):
        drift(points, low=Decimal(limit))
