"""Curves and turnouts against published figures, typed by hand, with the source beside each.

"From memory" was not looked up in its source again; "computed independently" came from numerical
programs apart from this project's own arithmetic.
"""

import math

import pytest

from standards.curves import (
    Body,
    centres_needed,
    inner_side,
    inner_throw,
    outer_corner,
    outer_throw,
    radius_from,
    versine,
)
from standards.turnouts import (
    curved_clearance,
    end_deduction,
    frog_angle,
    frog_number,
    frog_number_right_angle,
    frog_to_clearance,
)

# --- Versine and degree of curve --------------------------------------------------------------

# Degree of curve: radius in feet by the 100-ft chord, and mid-ordinates in inches of chords of
# 62 and 31 ft. Computed independently.
DEGREES = [
    (1, 5729.6507, 1.00635, 0.25159),
    (5, 1146.2793, 5.03111, 1.25760),
    (10, 573.6857, 10.05815, 2.51316),
    (12, 478.3386, 12.06691, 3.01435),
]


@pytest.mark.parametrize(("degrees", "radius_ft", "of_62_in", "of_31_in"), DEGREES)
def test_versine_when_a_string_is_stretched_then_is_as_tabled(
    degrees, radius_ft, of_62_in, of_31_in
) -> None:
    assert versine(12 * radius_ft, 12 * 62) == pytest.approx(of_62_in, abs=6e-6)
    assert versine(12 * radius_ft, 12 * 31) == pytest.approx(of_31_in, abs=6e-6)


@pytest.mark.parametrize(("degrees", "radius_ft", "of_62_in", "of_31_in"), DEGREES)
def test_versine_when_the_string_is_62_ft_then_an_inch_is_a_degree(
    degrees, radius_ft, of_62_in, of_31_in
) -> None:
    """US Army TM 5-628, chapter 12: with a 62-ft string, one inch is about one degree."""
    assert versine(12 * radius_ft, 12 * 62) == pytest.approx(degrees, rel=0.01)


@pytest.mark.parametrize(("degrees", "radius_ft", "of_62_in", "of_31_in"), DEGREES)
def test_radius_when_found_from_a_string_then_is_that_of_the_degree(
    degrees, radius_ft, of_62_in, of_31_in
) -> None:
    # The tabled mid-ordinates have five decimals, which is what the radius can be as good as.
    assert radius_from(12 * 62, of_62_in) / 12 == pytest.approx(radius_ft, rel=1e-5)
    assert radius_from(12 * 31, of_31_in) / 12 == pytest.approx(radius_ft, rel=3e-5)


@pytest.mark.parametrize(
    ("number", "degrees", "radius_ft"),
    # Curvature: US Army TI 850-02 table 6-12. Radius: computed independently.
    [(10, 7.4, 774.81), (9, 9.3, 616.76), (8, 11.8, 486.42)],
)
def test_turnout_curve_when_given_by_its_degree_then_has_this_radius(
    number, degrees, radius_ft
) -> None:
    # A chord that subtends D has a mid-ordinate of half itself times tan(D/4).
    mid_ordinate = 50 * math.tan(math.radians(degrees) / 4)

    assert radius_from(100, mid_ordinate) == pytest.approx(radius_ft, abs=0.005)
    # Points and frog are straight, so what lies between is sharper than one curve to the frog.
    lead_of_one_curve = curved_clearance(radius_ft, 4.70833, 13)[2]
    assert lead_of_one_curve < 2 * 4.70833 * number


# --- Throws -----------------------------------------------------------------------------------

# The coach of the Indian broad gauge, in millimetres; its bogies' wheelbase where they count.
COACH = Body(length=21340, pivot_distance=14785)
COACH_ON_BOGIES = Body(length=21340, pivot_distance=14785, bogie_wheelbase=2896)
# Cars for H0, dimensions chosen.
LONG_CAR = Body(length=297.7, pivot_distance=208.3, bogie_wheelbase=28, width=34.9)
FORTY_FOOT_CAR = Body(length=140, pivot_distance=105, bogie_wheelbase=19.2, width=37)

# Body, radius, middle by the textbook and exactly, end by the textbook and exactly, all mm and
# computed independently.
THROWS = [
    (COACH, 175_000, 156.140, 156.210, 169.142, 169.061),
    (COACH, 350_000, 78.070, 78.079, 84.571, 84.561),
    (COACH_ON_BOGIES, 350_000, 81.0654, 81.0748, 81.5759, 81.5664),
    (LONG_CAR, 609.6, 9.0578, 9.1261, 9.1151, 9.0479),
    (FORTY_FOOT_CAR, 457.2, 3.1151, 3.1257, 2.2436, 2.2382),
]


@pytest.mark.parametrize(("body", "radius", "mid", "exact_mid", "end", "exact_end"), THROWS)
def test_throw_when_exact_then_is_as_computed_independently(
    body, radius, mid, exact_mid, end, exact_end
) -> None:
    decimals = 3 if radius > 1000 and body is COACH else 4
    assert round(inner_throw(radius, body), decimals) == exact_mid
    assert round(outer_throw(radius, body), decimals) == exact_end


@pytest.mark.parametrize(("body", "radius", "mid", "exact_mid", "end", "exact_end"), THROWS)
def test_throw_when_compared_with_the_textbook_then_is_within_one_percent(
    body, radius, mid, exact_mid, end, exact_end
) -> None:
    """C^2/(8R) and (L^2 - C^2)/(8R): an Indian railway textbook, "Extra clearance on curves",
    second-hand; with the bogies' wheelbase beside C where it is given."""
    assert inner_throw(radius, body) == pytest.approx(mid, rel=0.01)
    assert outer_throw(radius, body) == pytest.approx(end, rel=0.01)


@pytest.mark.parametrize("radius_m", [175, 350, 875, 1750])
def test_coach_when_on_a_curve_then_throws_as_the_schedule_of_dimensions_says(radius_m) -> None:
    """Indian broad gauge: 27330/R in the middle and 29600/R at the end, mm with R in metres;
    from memory."""
    assert inner_throw(1000 * radius_m, COACH) == pytest.approx(27330 / radius_m, rel=5e-4)
    assert outer_throw(1000 * radius_m, COACH) == pytest.approx(29600 / radius_m, rel=5e-4)


@pytest.mark.parametrize(
    ("body", "radius", "corner", "side"),
    # Computed independently.
    [(LONG_CAR, 609.6, 25.9992, 26.5761), (FORTY_FOOT_CAR, 457.2, 20.5305, 21.6257)],
)
def test_body_when_it_has_a_width_then_reaches_this_far(body, radius, corner, side) -> None:
    assert round(outer_corner(radius, body), 4) == corner
    assert round(inner_side(radius, body), 4) == side


@pytest.mark.parametrize("body", [COACH, COACH_ON_BOGIES])
def test_throw_when_the_curve_is_wide_then_is_that_of_the_section_forms(body) -> None:
    """UIC 505-1 and EN 15273-1, from memory: (an - n^2 + p^2/4)/(2R) between the pivots and
    (an + n^2 - p^2/4)/(2R) beyond them, for a section n from the nearest pivot."""
    radius = 20_000_000
    a, p = body.pivot_distance, body.bogie_wheelbase
    middle, end = a / 2, (body.length - a) / 2

    between = (a * middle - middle**2 + p**2 / 4) / (2 * radius)
    beyond = (a * end + end**2 - p**2 / 4) / (2 * radius)

    assert inner_throw(radius, body) == pytest.approx(between, rel=1e-6)
    assert outer_throw(radius, body) == pytest.approx(beyond, rel=1e-6)


def test_centres_when_two_long_cars_pass_then_are_as_computed_independently() -> None:
    """Two of the long car for H0, inner track 609.6 mm, gap 3 mm; computed independently."""
    assert round(centres_needed(609.6, LONG_CAR, LONG_CAR, 3), 4) == 54.8123


# --- Frogs ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "degrees"),
    # The centre-line method, as in Britain and the USA; computed independently.
    [
        (4, 14.250033),
        (5, 11.421186),
        (6, 9.527283),
        (7, 8.171234),
        (8, 7.152669),
        (9, 6.359660),
        (9.25, 6.188116),
        (10, 5.724810),
        (12, 4.771888),
    ],
)
def test_frog_when_numbered_then_has_this_angle(number, degrees) -> None:
    assert round(math.degrees(frog_angle(number)), 6) == degrees
    assert frog_number(math.radians(degrees)) == pytest.approx(number, rel=1e-7)


def test_frog_when_number_eight_then_is_7_degrees_9_minutes_10_seconds() -> None:
    """Computed independently, and as usually printed, from memory."""
    assert round(3600 * math.degrees(frog_angle(8))) == 7 * 3600 + 9 * 60 + 10


def test_frog_when_of_four_degrees_then_has_these_numbers() -> None:
    """A table of crossing numbers, second-hand, prints 14.3007 by the right angle and
    14.3181266414605 by the centre line, of which the last three digits are off; further digits of
    the first were computed independently."""
    four = math.radians(4)

    assert round(frog_number_right_angle(four), 4) == 14.3007
    assert frog_number_right_angle(four) == pytest.approx(14.3006662567, rel=1e-11)
    assert frog_number(four) == pytest.approx(14.3181266414605, rel=1e-12)


def test_frog_when_one_in_9_25_by_the_right_angle_then_has_this_angle() -> None:
    """Computed independently: 6.170175 degrees."""
    assert frog_number_right_angle(math.radians(6.170175)) == pytest.approx(9.25, rel=1e-7)


def test_fouling_marks_when_the_crossing_is_one_in_9_25_then_are_1973_apart_and_106_off() -> None:
    """pwayblog.com, 2023-02-20: nearest rails 1970 mm apart, square to each leg; the line between
    the two marks is 1973 mm long and leans by 106 mm. The decimals computed independently."""
    half = frog_angle(9.25) / 2
    between_marks = 1970 / math.cos(half)
    lean = between_marks * math.sin(half)

    assert (round(between_marks), round(lean)) == (1973, 106)
    assert (round(between_marks, 3), round(lean, 3)) == (1972.876, 106.486)


# --- Where the tracks clear -------------------------------------------------------------------


# Frog number, gauge, centres needed; beyond the frog along the main and the diverging leg; all
# computed independently. N (C - G) is the rule of thumb.
CLEARANCES = [
    (8, 4.70833, 13, "65.92711", "66.73961", "66.33336"),
    (10, 4.70833, 13, "82.59170", "83.24170", "82.91670"),
    (9.25, 1.435, 3.405, "18.13047", "18.31453", "18.22250"),
    (4, 16.5, 45.4925, "113.127", "118.813", "115.970"),
    (6, 16.5, 50, "198.91667", "203.08333", "201.00000"),
    (6, 9, 28, "112.83333", "115.16667", "114.00000"),
]


@pytest.mark.parametrize(("number", "gauge", "centres", "main", "diverging", "thumb"), CLEARANCES)
def test_clearance_when_both_legs_are_straight_then_is_so_far_beyond_the_frog(
    number, gauge, centres, main, diverging, thumb
) -> None:
    decimals = len(main.split(".")[1])
    found = frog_to_clearance(number, gauge, centres)

    assert [f"{each:.{decimals}f}" for each in found] == [main, diverging]
    # The rule of thumb lies half way between the two.
    assert f"{sum(found) / 2:.{decimals}f}" == thumb


@pytest.mark.parametrize(("number", "gauge", "centres", "main", "diverging", "thumb"), CLEARANCES)
def test_deduction_when_measured_from_the_frog_then_is_the_same(
    number, gauge, centres, main, diverging, thumb
) -> None:
    decimals = len(main.split(".")[1])
    for leg, expected in (("main", main), ("diverging", diverging)):
        found = end_deduction(
            reference="frog", frog_number=number, gauge_mm=gauge, centres_mm=centres, leg=leg
        )
        assert f"{found.amount_mm:.{decimals}f}" == expected


@pytest.mark.parametrize(
    ("radius", "along_main", "arc", "to_frog"),
    # 16.5 mm gauge and centres of 50 mm; computed independently.
    [
        (457.2, 207.89420, 215.82058, 122.83159),
        (600, 239.79158, 246.68272, 140.71247),
    ],
)
def test_clearance_when_the_turnout_is_one_curve_then_is_so_far_from_its_tangent_point(
    radius, along_main, arc, to_frog
) -> None:
    found = curved_clearance(radius, 16.5, 50)

    assert tuple(round(each, 5) for each in found) == (along_main, arc, to_frog)


def test_clearance_when_the_curve_is_of_18_inches_then_it_has_turned_this_far() -> None:
    """Computed independently: 27.04639 degrees at 457.2 mm radius."""
    arc = curved_clearance(457.2, 16.5, 50)[1]

    assert round(math.degrees(arc / 457.2), 5) == 27.04639


@pytest.mark.parametrize(
    ("radius", "leg", "expected"),
    # The crossing of the two rails and the clearance point found by bisection; computed
    # independently. 16.5 mm gauge and centres of 50 mm.
    [
        (600, "main", 99.07910),
        (600, "diverging", 106.60991),
        (457.2, "main", 85.06261),
        (457.2, "diverging", 93.71991),
    ],
)
def test_deduction_when_the_turnout_is_one_curve_then_runs_along_that_leg(
    radius, leg, expected
) -> None:
    found = end_deduction(
        reference="frog",
        frog_number=None,
        gauge_mm=16.5,
        centres_mm=50,
        leg=leg,
        curve_radius_mm=radius,
    )

    assert round(found.amount_mm, 5) == expected
