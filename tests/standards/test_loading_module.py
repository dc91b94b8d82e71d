"""Haulage, pools and capacity: rules that hold for any figures, exact rounding, and refusals."""

import math
from decimal import Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from standards.loading import (
    car_capacity,
    cars_needed,
    cars_per_locomotive,
    curve_resistance,
    drawbar_pull,
    grade_resistance,
    pool,
    rolling_from_start_grade,
    starting_tonnage,
    steepest_grade,
)

patient = settings(deadline=None)

MUS = st.floats(0.1, 0.5)
MASSES = st.floats(20, 2000)
RESISTANCES = st.floats(0.001, 0.05)

# --- The prototype ----------------------------------------------------------------------------


def tonnage(**changes) -> int:
    """900 tons by a whole sum, nine tenths of 22 400 lb over 22.4 lb a ton, with changes."""
    asked = {
        "drawbar_pull_lb": 22_400,
        "rolling_lb_per_ton": 6,
        "grade_percent": Decimal("0.7"),
        "curve_degrees": 3,
        "weather": Decimal("0.9"),
    }
    return starting_tonnage(**{**asked, **changes})


def test_tonnage_when_the_sum_comes_out_whole_then_is_not_rounded_up() -> None:
    # As floats it is a little more.
    assert math.ceil(22_400 * 0.9 / 22.4) == 901
    assert tonnage() == 900


def test_tonnage_when_the_sum_is_just_over_then_is_rounded_up() -> None:
    assert tonnage(drawbar_pull_lb=Decimal("22400.0000000001")) == 901
    assert tonnage(drawbar_pull_lb=Decimal("22399.9999999999")) == 900


def test_tonnage_when_a_locomotive_is_fair_and_level_then_takes_curve_and_weather_as_none() -> (
    None
):
    assert starting_tonnage(drawbar_pull_lb=600, rolling_lb_per_ton=6, grade_percent=0) == 100


@patient
@given(st.integers(1, 400), st.integers(1, 400))
def test_tonnage_when_it_is_steeper_then_never_rises(grade, more) -> None:
    gentle, steep = Decimal(grade) / 100, Decimal(grade + more) / 100

    assert tonnage(grade_percent=steep) <= tonnage(grade_percent=gentle)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"drawbar_pull_lb": 0}, "0 is not above zero, and a drawbar pull has to be"),
        ({"rolling_lb_per_ton": 0}, "rolling resistance has to be; type it in pounds a ton"),
        ({"rolling_lb_per_ton": Decimal("-6")}, "-6 is not above zero"),
        ({"grade_percent": Decimal("-1.5")}, "-1.5 is below zero, and a grade cannot be"),
        ({"curve_degrees": -10}, "-10 is below zero, and a curve cannot be"),
        ({"weather": 0}, "weather factor has to be; type 1"),
        ({"weather": Decimal("1.01")}, "weather factor of 1.01 is above 1; type 1"),
        ({"drawbar_pull_lb": Decimal("NaN")}, "NaN is no drawbar pull; type it in pounds"),
        ({"grade_percent": Decimal("Infinity")}, "Infinity is no grade"),
    ],
)
def test_tonnage_when_a_figure_cannot_be_then_says_so(changes, words) -> None:
    with pytest.raises(ValueError, match=words):
        tonnage(**changes)


@pytest.mark.parametrize(
    ("effort", "tons", "words"),
    [
        (0, 120, "tractive effort has to be"),
        (36_000, 0, "locomotive weight has to be"),
        (2400, 120, "2400 lb of effort moves no more than the locomotive's own 120 tons"),
    ],
)
def test_drawbar_pull_when_there_is_none_then_says_so(effort, tons, words) -> None:
    with pytest.raises(ValueError, match=words):
        drawbar_pull(continuous_effort_lb=effort, locomotive_tons=tons)


def test_resistance_when_level_and_straight_then_is_none() -> None:
    assert grade_resistance(0) == curve_resistance(0) == 0


# --- Models -----------------------------------------------------------------------------------


@patient
@given(MUS, MASSES, MASSES, RESISTANCES, RESISTANCES, MUS)
def test_cars_when_grade_or_rolling_grow_then_fall(mu, loco, car, rolling, grade, more) -> None:
    before = cars_per_locomotive(mu, loco, car, rolling, grade)
    assume(before > 0)

    assert cars_per_locomotive(mu, loco, car, rolling, grade + more) < before
    assert cars_per_locomotive(mu, loco, car, rolling + more, grade) < before
    assert cars_per_locomotive(mu, loco, car * (1 + more), rolling, grade) < before
    assert cars_per_locomotive(mu, loco * (1 + more), car, rolling, grade) > before


@patient
@given(MUS, MASSES, MASSES, RESISTANCES, RESISTANCES, RESISTANCES)
def test_cars_when_put_on_the_steepest_grade_then_are_just_as_many(
    mu, loco, car, rolling, grade, curve
) -> None:
    assume(mu > grade + curve)
    cars = cars_per_locomotive(mu, loco, car, rolling, grade, curve)

    assert steepest_grade(mu, loco, cars, car, rolling, curve) == pytest.approx(
        grade, rel=1e-9, abs=1e-12
    )


@patient
@given(MUS, MASSES, MASSES, RESISTANCES, RESISTANCES)
def test_cars_when_the_locomotive_pulls_them_then_its_pull_balances_all_resistance(
    mu, loco, car, rolling, grade
) -> None:
    cars = cars_per_locomotive(mu, loco, car, rolling, grade)

    assert loco * mu == pytest.approx(loco * grade + cars * car * (rolling + grade), rel=1e-9)


@pytest.mark.parametrize("grade", [0.25, 0.3, 0.99])
def test_cars_when_the_locomotive_cannot_climb_alone_then_are_none(grade) -> None:
    assert cars_per_locomotive(0.25, 400, 113, 0.015, grade) == 0


def test_grade_when_the_train_is_too_much_on_the_level_then_is_below_zero() -> None:
    assert steepest_grade(0.25, 400, 58, 113, 0.015) > 0
    assert steepest_grade(0.25, 400, 59, 113, 0.015) < 0


def test_grade_when_there_are_no_cars_then_is_what_adhesion_gives() -> None:
    assert steepest_grade(0.25, 400, 0, 113, 0.015, 0.004) == pytest.approx(0.246, rel=1e-12)


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ((0, 400, 113, 0.015, 0.02), "adhesion of 0 pulls nothing; type the pull divided"),
        ((math.nan, 400, 113, 0.015, 0.02), "adhesion of nan"),
        ((0.25, 0, 113, 0.015, 0.02), "locomotive of 0 g weighs nothing; put it on the scale"),
        ((0.25, 400, -113, 0.015, 0.02), "car of -113 g"),
        ((0.25, 400, math.inf, 0.015, 0.02), "car of inf g"),
        ((0.25, 400, 113, 1.5, 0.02), "rolling resistance of 1.5 .* 0.02 for 2 %"),
        ((0.25, 400, 113, 0.015, 2), "grade of 2 cannot be; type it as a fraction"),
        ((0.25, 400, 113, 0.015, -0.02), "grade of -0.02 cannot be"),
        ((0.25, 400, 113, 0.015, 0.02, math.nan), "curve resistance of nan"),
        ((0.25, 400, 113, 0.0, 0.0), "Nothing holds the cars back.* measure the grade"),
    ],
)
def test_cars_when_a_figure_cannot_be_then_says_so(figures, words) -> None:
    with pytest.raises(ValueError, match=words):
        cars_per_locomotive(*figures)


@pytest.mark.parametrize("cars", [-1, math.nan, math.inf])
def test_grade_when_the_train_is_none_then_says_so(cars) -> None:
    with pytest.raises(ValueError, match=f"{cars:g} cars are no train"):
        steepest_grade(0.25, 400, cars, 113, 0.015)


@pytest.mark.parametrize(
    ("percent", "expected"),
    [(0, 0.0), (Decimal("1.5"), 0.015), (2, 0.02), (Decimal("2.2"), 0.022)],
)
def test_rolling_when_a_car_starts_on_a_grade_then_is_that_grade(percent, expected) -> None:
    assert rolling_from_start_grade(percent) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize("percent", [Decimal("-0.1"), 100, math.nan, Decimal("NaN")])
def test_rolling_when_the_grade_cannot_be_then_says_so(percent) -> None:
    with pytest.raises(ValueError, match=r"does not start on a grade of .* %; type the rise"):
        rolling_from_start_grade(percent)


# --- Pools ------------------------------------------------------------------------------------


def test_pool_when_the_sum_comes_out_whole_then_is_not_rounded_up() -> None:
    # As floats 10 x 5 x 1.1 is a little more than 55.
    assert 10 * 5 * 1.1 > 55
    assert pool(10, 5) == 55
    assert pool(Decimal("0.1"), 3, Decimal(1)) == 1
    assert pool(Fraction(1, 3), 3, Decimal(1)) == 1


def test_pool_when_just_over_then_is_rounded_up_whatever_the_decimal_context() -> None:
    with localcontext() as context:
        context.prec = 3
        assert pool(Decimal("10.0000000000000000000000001"), 5) == 56
        assert pool(Decimal("9.9999999999999999999999999"), 5) == 55


@patient
@given(st.integers(0, 500), st.integers(0, 60), st.integers(100, 200))
def test_pool_when_made_then_holds_the_reserve_and_not_a_car_more(daily, days, percent) -> None:
    found = pool(daily, days, Decimal(percent) / 100)

    assert 100 * found >= daily * days * percent
    assert 100 * (found - 1) < daily * days * percent


def test_pool_when_nothing_is_dispatched_then_is_none() -> None:
    assert pool(0, 9) == pool(9, 0) == 0


def test_cars_when_by_littles_law_then_are_exact() -> None:
    found = cars_needed(Decimal("1.5"), Decimal("0.1"))

    assert found == Fraction(3, 20)
    assert isinstance(found, Fraction)


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ((-1, 9), "-1 is below zero, and a number of loads cannot be; type 0 or more"),
        ((55, Decimal("-0.5")), "-0.5 is below zero, and a time away cannot be"),
        ((Decimal("NaN"), 9), "NaN is no number of loads"),
        ((55, 9, Decimal("0.10")), "reserve of 0.10 would take cars away; type 1.10"),
        ((55, 9, Decimal("Infinity")), "Infinity is no reserve; type 1.10"),
    ],
)
def test_pool_when_a_figure_cannot_be_then_says_so(figures, words) -> None:
    with pytest.raises(ValueError, match=words):
        pool(*figures)


# --- Capacity ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("clear_ft", "expected"), [("0", 0), ("49.9999", 0), ("50", 1), ("50.0001", 1), ("100", 2)]
)
def test_capacity_when_counted_then_only_whole_cars_count(clear_ft, expected) -> None:
    assert car_capacity(Decimal(clear_ft) * Decimal("304.8")) == expected


@patient
@given(st.integers(0, 200), st.sampled_from(["22.5", "48", "76.2", "87.1", "160", "220"]))
def test_capacity_when_a_track_is_just_so_many_cars_long_then_is_so_many(cars, ratio) -> None:
    clear = Fraction(50) * Fraction("304.8") / Fraction(ratio) * cars

    assert car_capacity(clear, ratio=Decimal(ratio)) == cars


def test_capacity_when_the_length_is_a_float_then_counts_the_digits_it_prints() -> None:
    # Three feet; in binary 914.4 is a little less.
    assert Fraction(914.4) < Fraction("914.4")
    assert car_capacity(914.4, feet_per_car=1) == 3
    assert car_capacity(30480.0, ratio=Decimal("0.5")) == 1
    assert car_capacity(1750.0, ratio=Decimal("87.1")) == 10


def test_capacity_when_cars_are_counted_longer_then_falls() -> None:
    assert car_capacity(304_800, feet_per_car=60) == 16


@pytest.mark.parametrize(
    ("clear", "options", "words"),
    [
        (-1, {}, "-1 is below zero, and a clear length cannot be; measure the track again"),
        (math.nan, {}, "nan is no clear length"),
        (math.inf, {}, "inf is no clear length"),
        (1000, {"ratio": 0}, "0 is not above zero, and a scale ratio has to be; type 87.1"),
        (1000, {"feet_per_car": -50}, "length for each car has to be; type feet"),
    ],
)
def test_capacity_when_a_figure_cannot_be_then_says_so(clear, options, words) -> None:
    with pytest.raises(ValueError, match=words):
        car_capacity(clear, **options)
