"""What a locomotive hauls, how many cars a service takes, and how many a track counts for.

The prototype's rules take and give exact numbers (Decimal, Fraction or int), since each of them
ends in a whole number rounded up or down, and no float may tip it over. Haulage of models is
physics with measured coefficients: floats, with resistances and grades as fractions of the weight
(a grade of 2 % is 0.02).
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

Exact = Decimal | Fraction | int

# US Army TR0603: of 20 lb a short ton, grade resistance is one percent of the weight for each
# percent of grade, exactly; the curve's share is an AREA recommendation.
GRADE_LB_PER_TON = Fraction(20)
CURVE_LB_PER_TON = Fraction(8, 10)

MM_PER_FOOT = Fraction(3048, 10)
FEET_PER_CAR = 50


def _exact(value: Exact | float, name: str, remedy: str) -> Fraction:
    """A number as a fraction; a float by the digits that it prints. Raises ValueError."""
    try:
        # Through its shortest digits a float of 0.1 is a tenth.
        return Fraction(str(value)) if isinstance(value, float) else Fraction(value)
    except (ValueError, OverflowError):
        raise ValueError(f"{value} is no {name}; {remedy}") from None


def _not_below_zero(value: Exact | float, name: str, remedy: str) -> Fraction:
    number = _exact(value, name, remedy)
    if number < 0:
        raise ValueError(f"{value} is below zero, and a {name} cannot be; {remedy}")
    return number


def _above_zero(value: Exact | float, name: str, remedy: str) -> Fraction:
    number = _exact(value, name, remedy)
    if number <= 0:
        raise ValueError(f"{value} is not above zero, and a {name} has to be; {remedy}")
    return number


# --- Haulage on the prototype -----------------------------------------------------------------


def grade_resistance(percent: Exact) -> Fraction:
    """Pounds per short ton on a grade: 20 for each percent (US Army TR0603 par. 2.7).

    Raises ValueError for a grade below zero.
    """
    grade = _not_below_zero(percent, "grade", "type the ruling grade in percent, 0 for level.")
    return GRADE_LB_PER_TON * grade


def curve_resistance(degrees: Exact) -> Fraction:
    """Pounds per short ton in a curve: 0.8 for each degree by the 100-ft chord (US Army TR0603
    par. 2.8, by AREA).

    Not for models: their curves are far sharper than any that the rule was made for.
    Raises ValueError for a curve below zero.
    """
    curve = _not_below_zero(degrees, "curve", "type its degrees by the 100-ft chord, 0 for none.")
    return CURVE_LB_PER_TON * curve


def drawbar_pull(*, continuous_effort_lb: Exact, locomotive_tons: Exact) -> Fraction:
    """Pounds left at the drawbar: continuous tractive effort less 20 lb per short ton of
    locomotive (US Army TR0603 par. 2.10).

    Raises ValueError for an effort or a weight that is not above zero, or an effort that the
    locomotive's own weight eats up.
    """
    effort = _above_zero(
        continuous_effort_lb, "tractive effort", "type the continuous effort in pounds."
    )
    weight = _above_zero(locomotive_tons, "locomotive weight", "type it in short tons.")
    left = effort - 20 * weight
    if left <= 0:
        raise ValueError(
            f"{continuous_effort_lb} lb of effort moves no more than the locomotive's own "
            f"{locomotive_tons} tons; type the continuous effort in pounds, the weight in tons."
        )
    return left


def starting_tonnage(
    *,
    drawbar_pull_lb: Exact,
    rolling_lb_per_ton: Exact,
    grade_percent: Exact,
    curve_degrees: Exact = 0,
    weather: Exact = 1,
) -> int:
    """Short tons that one locomotive takes over a line, rounded up as the manual does.

    GTL = DBP W / (RR + GR + CR), the gross trailing load of US Army TR0603 par. 2.10; W is the
    weather factor, 1 in fair weather and less in cold or wet; RR is 6 lb a ton on good to fair
    track, 7 on fair to poor.

    Raises ValueError for a pull or a rolling resistance that is not above zero, a grade or curve
    below zero, or a weather factor outside 0 to 1.
    """
    pull = _above_zero(drawbar_pull_lb, "drawbar pull", "type it in pounds.")
    rolling = _above_zero(
        rolling_lb_per_ton, "rolling resistance", "type it in pounds a ton, such as 6."
    )
    factor = _above_zero(weather, "weather factor", "type 1 for fair weather.")
    if factor > 1:
        raise ValueError(f"A weather factor of {weather} is above 1; type 1 for fair weather.")
    resistance = rolling + grade_resistance(grade_percent) + curve_resistance(curve_degrees)
    return math.ceil(pull * factor / resistance)


# --- Haulage of models ------------------------------------------------------------------------


def rolling_from_start_grade(percent: Decimal | float) -> float:
    """Rolling resistance, as a fraction of the weight, from the grade on which a car just starts.

    On a slope of angle b the pull along it is to the load on the wheels as tan b to 1, which is
    the grade; so 1.5 % is 0.015. A car that has to be started resists more than one that rolls,
    so what this promises of a train is rather too little.

    Raises ValueError for a grade below 0 or not below 100 %.
    """
    grade = float(percent)
    if not 0 <= grade < 100:
        raise ValueError(
            f"A car does not start on a grade of {percent} %; type the rise in percent of the "
            "length, such as 2."
        )
    return grade / 100


def _check_haulage(
    mu: float, locomotive_g: float, car_g: float, rolling: float, curve: float
) -> None:
    if not 0 < mu < math.inf:
        raise ValueError(
            f"An adhesion of {mu:g} pulls nothing; type the pull divided by the locomotive's "
            "mass, such as 0.25."
        )
    for name, mass in (("locomotive", locomotive_g), ("car", car_g)):
        if not 0 < mass < math.inf:
            raise ValueError(f"A {name} of {mass:g} g weighs nothing; put it on the scale.")
    _check_fraction("rolling resistance", rolling)
    _check_fraction("curve resistance", curve)


def _check_fraction(name: str, value: float) -> None:
    # A whole number here is a percentage typed for a fraction.
    if not 0 <= value < 1:
        raise ValueError(
            f"A {name} of {value:g} cannot be; type it as a fraction of the weight, 0.02 for 2 %."
        )


def cars_per_locomotive(
    mu: float,
    locomotive_g: float,
    car_g: float,
    rolling: float,
    grade: float,
    curve: float = 0.0,
) -> float:
    """How many cars one locomotive takes up a grade, unrounded; 0 where it cannot climb alone.

    n = W_loco (mu - G - c) / (W_car (r + G + c)), the balance of pull and resistance; with r and
    c zero it is the form that modellers have published, (F/G - W_loco) / W_car.

    mu: drawbar pull on level track divided by the locomotive's weight; locomotive_g, car_g:
    masses in grams; rolling, grade, curve: fractions of the weight.

    Raises ValueError for a mass or adhesion that is not above zero, a resistance outside 0 to 1,
    or when nothing resists.
    """
    _check_haulage(mu, locomotive_g, car_g, rolling, curve)
    _check_fraction("grade", grade)
    resistance = rolling + grade + curve
    if resistance == 0:
        raise ValueError(
            "Nothing holds the cars back, with a rolling resistance, grade and curve of 0; "
            "measure the grade on which a car just starts."
        )
    return max(0.0, locomotive_g * (mu - grade - curve) / (car_g * resistance))


def steepest_grade(
    mu: float,
    locomotive_g: float,
    cars: float,
    car_g: float,
    rolling: float,
    curve: float = 0.0,
) -> float:
    """The grade up which one locomotive takes so many cars, as a fraction; 0 or less where it
    does not take them on the level.

    `cars_per_locomotive` turned round: G = (mu W_loco - n W_car r) / (W_loco + n W_car) - c. The
    maximum grade of US Army TI 850-02 eq. 3-3 is the same with the locomotive's own rolling
    resistance taken off its pull.

    Raises ValueError for a mass or adhesion that is not above zero, a resistance outside 0 to 1,
    or a number of cars below zero.
    """
    _check_haulage(mu, locomotive_g, car_g, rolling, curve)
    if not 0 <= cars < math.inf:
        raise ValueError(f"{cars:g} cars are no train; type 0 or more.")
    trailing = cars * car_g
    return (mu * locomotive_g - trailing * rolling) / (locomotive_g + trailing) - curve


# --- Cars for a service -----------------------------------------------------------------------


def cars_needed(loads_per_session: Exact, sessions_away: Exact) -> Fraction:
    """Cars in a cycle on average, exactly and unrounded: Little's law, L = lambda W.

    loads_per_session: how many cars are loaded each session; sessions_away: how long one is gone,
    from one load to the next. Loads a day and days do as well.

    Raises ValueError for either below zero.
    """
    loads = _not_below_zero(loads_per_session, "number of loads", "type 0 or more.")
    return loads * _not_below_zero(sessions_away, "time away", "type 0 or more sessions.")


def pool(dispatch: Exact, turn_round: Exact, reserve: Exact = Decimal("1.10")) -> int:
    """Cars to own: one day's dispatch, times the days of a turn-round, times a reserve, rounded
    up (US Army TR0603 par. 3.4-3.5).

    reserve: a factor, 1.10 for a tenth more. Sessions do in place of days.

    Raises ValueError for a dispatch or turn-round below zero or a reserve below 1.
    """
    factor = _exact(reserve, "reserve", "type 1.10 for a tenth more.")
    if factor < 1:
        raise ValueError(
            f"A reserve of {reserve} would take cars away; type 1.10 for a tenth more."
        )
    return math.ceil(cars_needed(dispatch, turn_round) * factor)


def car_capacity(
    clear_mm: Exact | float, *, ratio: Exact = 1, feet_per_car: Exact = FEET_PER_CAR
) -> int:
    """How many cars a track counts for, rounded down: one to each 50 ft of clear length.

    MIL-HDBK-1005/6 par. 13.2.5, for counting capacity before the cars are known. clear_mm: of the
    model track, a float by the digits that it prints; ratio: of the scale, 87.1 for HO and 1 for
    full size.

    Raises ValueError for a length below zero, or a ratio or length of car that is not above zero.
    """
    clear = _not_below_zero(clear_mm, "clear length", "measure the track again.")
    scale = _above_zero(ratio, "scale ratio", "type 87.1 for HO, 160 for N.")
    each = _above_zero(feet_per_car, "length for each car", "type feet on the prototype.")
    return math.floor(clear * scale / (each * MM_PER_FOOT))
