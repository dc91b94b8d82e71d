"""Haulage, car pools and track capacity against published examples, typed by hand.

"From memory" was not looked up in its source again; "computed independently" came from numerical
programs apart from this project's own arithmetic.
"""

import math
from decimal import Decimal
from fractions import Fraction

import pytest

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

# --- The prototype ----------------------------------------------------------------------------


def test_tonnage_when_as_in_tr0603_paragraph_2_11_then_is_598_and_two_take_1196() -> None:
    """US Army TR0603 par. 2.11: 36 000 lb, 120 tons, W 0.80, RR 7, 1.5 %, 10 degrees; 598 tons,
    1196 with two locomotives. 597.333 before rounding, computed independently."""
    pull = drawbar_pull(continuous_effort_lb=36_000, locomotive_tons=120)
    found = starting_tonnage(
        drawbar_pull_lb=pull,
        rolling_lb_per_ton=7,
        grade_percent=Decimal("1.5"),
        curve_degrees=10,
        weather=Decimal("0.80"),
    )

    assert pull == 33_600
    assert grade_resistance(Decimal("1.5")) == 30
    assert curve_resistance(10) == 8
    assert found == 598
    assert 2 * found == 1196


def test_tonnage_when_as_in_tr0603_paragraph_2_18_then_is_837() -> None:
    """US Army TR0603 par. 2.18: 37 850 lb, 127 tons, so 35 310 lb at the drawbar; W 0.90, RR 6,
    GR 30, CR 2 at 2.5 degrees; 837 tons. 836.289 before rounding, computed independently."""
    pull = drawbar_pull(continuous_effort_lb=37_850, locomotive_tons=127)
    found = starting_tonnage(
        drawbar_pull_lb=pull,
        rolling_lb_per_ton=6,
        grade_percent=Decimal("1.5"),
        curve_degrees=Decimal("2.5"),
        weather=Decimal("0.90"),
    )

    assert pull == 35_310
    assert curve_resistance(Decimal("2.5")) == 2
    assert found == 837


@pytest.mark.parametrize(
    ("resistance", "percent"),
    # US Army TR0603 par. 2.7-2.8: rolling 6 or 7 lb a ton is a grade of 0.30 or 0.35 %, a degree
    # of curve one of 0.04 %.
    [(6, "0.30"), (7, "0.35"), (curve_resistance(1), "0.04")],
)
def test_resistance_when_put_as_a_grade_then_is_the_equivalent_one(resistance, percent) -> None:
    assert grade_resistance(Decimal(percent)) == resistance


def test_grade_when_by_ti_850_02_then_is_so_steep_for_twenty_cars() -> None:
    """US Army TI 850-02 eq. 3-3, G = TE / (20 (W_eng + N W_car)) - 0.15: with 36 000 lb, 120 tons
    and 20 cars of 100 tons 0.699057 %, computed independently."""
    rolling = 0.0015
    # Its effort is at the rail, so the locomotive's own rolling comes off.
    mu = 36_000 / (120 * 2000) - rolling

    found = steepest_grade(mu, 120, 20, 100, rolling)

    assert round(100 * found, 6) == 0.699057
    assert cars_per_locomotive(mu, 120, 100, rolling, found) == pytest.approx(20, rel=1e-12)


# --- Models -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mu", "locomotive_g", "car_g", "rolling", "grade", "curve", "expected"),
    # Computed independently.
    [
        (0.25, 400, 113, 0.015, 0.0, 0.0, "58.997"),
        (0.25, 400, 113, 0.015, 0.02, 0.0, "23.2617"),
        (0.25, 400, 113, 0.015, 0.03, 0.004, "15.6041"),
        (0.20, 350, 113, 0.02, 0.02, 0.0, "13.9381"),
    ],
)
def test_cars_when_a_model_pulls_them_then_are_so_many(
    mu, locomotive_g, car_g, rolling, grade, curve, expected
) -> None:
    found = cars_per_locomotive(mu, locomotive_g, car_g, rolling, grade, curve)

    assert f"{found:.{len(expected.split('.')[1])}f}" == expected


def test_cars_when_only_the_grade_resists_then_are_as_modellers_publish() -> None:
    """fungusmodels blog: (F/G - W_loco) / W_car; 60 g of pull, 1 in 50, 400 g and 150 g give
    17.3333, computed independently."""
    assert round(cars_per_locomotive(60 / 400, 400, 150, 0.0, 1 / 50), 4) == 17.3333


def test_rolling_when_a_car_starts_on_a_slope_then_is_its_tangent() -> None:
    """r = tan of the angle at which it starts (newton.dep.anl.gov); a good H0 freight car starts
    at 0.8 % (one hobbyist's sample, cs.trains.com 210709)."""
    found = rolling_from_start_grade(Decimal("0.8"))

    assert found == 0.008
    assert found == pytest.approx(math.tan(math.atan2(0.8, 100)), rel=1e-15)


# --- Pools and capacity -----------------------------------------------------------------------


def test_pool_when_as_in_tr0603_then_is_545_and_436_and_109() -> None:
    """US Army TR0603 par. 3.4-3.5: 55 box cars, 44 gondolas and 11 flats a day, 9 days, a tenth in
    reserve; 545, 436 and 109, 1090 in all."""
    pools = [pool(daily, 9) for daily in (55, 44, 11)]

    assert pools == [545, 436, 109]
    assert sum(pools) == 1090


@pytest.mark.parametrize(
    ("daily", "unrounded"),
    # Computed independently.
    [(55, "544.5"), (44, "435.6"), (11, "108.9")],
)
def test_pool_when_not_rounded_then_is_little_s_law_and_the_reserve(daily, unrounded) -> None:
    """Little 1961, L = lambda W, from memory."""
    assert cars_needed(daily, 9) * Fraction("1.10") == Fraction(unrounded)


def test_capacity_when_a_thousand_feet_are_clear_then_is_20_cars() -> None:
    """MIL-HDBK-1005/6 par. 13.2.5: at least 50 ft a car; 1000 ft, worked by hand."""
    assert car_capacity(304_800) == 20
    assert car_capacity(Decimal("304799.999")) == 19
    # The same thousand feet in H0.
    assert car_capacity(Fraction(304_800) / Fraction("87.1"), ratio=Decimal("87.1")) == 20
