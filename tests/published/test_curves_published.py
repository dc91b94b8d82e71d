"""Wheels in a frame, neighbours, the smallest radius and turnout curves against published figures.

Typed by hand, with the source beside each. "From memory" was not looked up in its source again;
"computed independently" came from numerical programs apart from this project's own arithmetic.
Versines, throws and clearance points are in test_track_geometry.py.
"""

import math

import pytest

from standards.couplings import Buffers, CarEnd, through_reverse_curve
from standards.curves import (
    Body,
    attack_angle,
    flange_lap,
    inner_throw,
    outer_throw,
    smallest_by_attack,
    smallest_by_play,
    smallest_of_two_axles,
    throw_at,
    versine,
)
from standards.radii import Measures, smallest_radius
from standards.sheets import scale, sheet
from standards.turnouts import closure_curve, frog_angle, frog_to_clearance, switch_angle

# --- Sections of a body -----------------------------------------------------------------------

COACH_ON_BOGIES = Body(length=21340, pivot_distance=14785, bogie_wheelbase=2896)


@pytest.mark.parametrize("part", [0, 0.1, 0.25, 0.4, 0.5])
def test_section_when_between_the_pivots_then_is_thrown_as_the_section_form_says(part) -> None:
    """UIC 505-1 and EN 15273-1, from memory: (an - n^2 + p^2/4)/(2R) inside, n from a pivot."""
    radius = 20_000_000
    a, p = COACH_ON_BOGIES.pivot_distance, COACH_ON_BOGIES.bogie_wheelbase
    n = part * a

    inside = (a * n - n**2 + p**2 / 4) / (2 * radius)
    assert -throw_at(radius, COACH_ON_BOGIES, a / 2 - n) == pytest.approx(inside, rel=1e-5)


@pytest.mark.parametrize("n", [500, 1500, 3000, 3277.5])
def test_section_when_beyond_the_pivots_then_is_thrown_as_the_section_form_says(n) -> None:
    """UIC 505-1 and EN 15273-1, from memory: (an + n^2 - p^2/4)/(2R) outside, n beyond a pivot."""
    radius = 20_000_000
    a, p = COACH_ON_BOGIES.pivot_distance, COACH_ON_BOGIES.bogie_wheelbase

    outside = (a * n + n**2 - p**2 / 4) / (2 * radius)
    assert throw_at(radius, COACH_ON_BOGIES, a / 2 + n) == pytest.approx(outside, rel=1e-5)


def test_indian_coach_when_thrown_then_has_the_constants_of_its_lengths() -> None:
    """125 a^2 and 125 (L^2 - a^2) in mm with R in m, for 14.785 and 21.340 m; computed
    independently, next to the 27330 and 29600 of the Schedule of Dimensions (from memory)."""
    coach = Body(length=21340, pivot_distance=14785)

    assert inner_throw(2e7, coach) * 2e4 == pytest.approx(27324.528, rel=1e-6)
    assert outer_throw(2e7, coach) * 2e4 == pytest.approx(29599.922, rel=1e-6)


# --- Wheels in one frame ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wheelbase", "play", "first_term", "exact"),
    # Computed independently.
    [
        (60, 0.5, 900, 900.25),
        (60, 1, 450, 450.5),
        (40, 0.5, 400, 400.25),
        (6000, 19, 236842.1, 236851.6),
    ],
)
def test_three_axles_when_in_one_frame_then_need_this_radius(
    wheelbase, play, first_term, exact
) -> None:
    assert round(smallest_by_play(wheelbase, play), 2) == pytest.approx(exact, abs=0.05)
    assert smallest_of_two_axles(wheelbase, play) == pytest.approx(first_term, rel=1e-6)


@pytest.mark.parametrize(
    ("wheelbase_m", "diameter_cm", "depth_cm", "radius_m", "lap_m", "printed_cm", "exact_cm"),
    # Lap and widening of the Indian textbook, second-hand in several question banks; the exact
    # widening, with 12.5 for 13, computed independently.
    [
        (6, 150, 3.2, 168, 0.44283, 3.2121, 3.0885),
        (3.5, 84, 2.9, 150, 0.31750, 1.2630, 1.2144),
    ],
)
def test_two_axles_when_their_gauge_is_widened_by_the_textbook_then_go_round(
    wheelbase_m, diameter_cm, depth_cm, radius_m, lap_m, printed_cm, exact_cm
) -> None:
    lap = flange_lap(diameter_cm, depth_cm) / 100

    assert round(lap, 5) == lap_m
    assert 13 * (wheelbase_m + lap) ** 2 / radius_m == pytest.approx(printed_cm, abs=6e-5)
    assert smallest_of_two_axles(wheelbase_m, exact_cm / 100, lap) == pytest.approx(
        radius_m, rel=5e-5
    )
    # The 13 of the textbook is 12.5 rounded up, so that its widening takes a sharper curve.
    assert smallest_of_two_axles(wheelbase_m, printed_cm / 100, lap) == pytest.approx(
        radius_m * 12.5 / 13, rel=5e-5
    )


def test_frame_when_on_a_curve_then_meets_the_rail_at_this_angle() -> None:
    """Wheelbase 60, radius 360, play 1: asin(w/2R), w/2R + J/w and J/w; standard curving geometry,
    from memory, the figures computed independently. The last two are first terms."""
    assert math.degrees(attack_angle(360, 60)) == pytest.approx(4.78019, abs=5e-6)
    assert math.degrees(attack_angle(360, 60, 1)) == pytest.approx(5.72958, rel=5e-4)
    assert math.degrees(attack_angle(math.inf, 60, 1)) == pytest.approx(0.95493, rel=1e-4)


def test_frame_when_it_meets_the_rail_at_12_degrees_then_is_at_the_limit_of_nem_111() -> None:
    """NEM 111 of 2016: at or below 12 degrees. sin 12 degrees = 0.20791169, from memory."""
    assert smallest_by_attack(60, math.radians(12)) == pytest.approx(60 / (2 * 0.20791169))


# --- Reverse curves ---------------------------------------------------------------------------


def longest_of_nem_111() -> CarEnd:
    """The longest coach of NEM 111, group C: 27.5 m over buffers, pivots 19.5 m apart.

    Buffer heads 550 mm wide, the narrowest rectangular ones that NEM 303 quotes; from memory:
    bogies of 2.5 m, buffers 1750 mm apart that give way by 105 mm, heads domed to 1500 mm, hooks
    350 mm behind them. The two are screwed up until the buffers touch.
    """
    buffers = Buffers(1750, 13750, 550, 1500, travel=105)
    return CarEnd(Body(27200, 19500, 2500, 2825), 13750 - 350, 350, buffers)


@pytest.mark.parametrize(
    ("radius_m", "straight_m"),
    # NEM 111, supplement of 2015, of the UIC's prototype: the sharpest reverse curves.
    [(190, 0), (150, 6)],
)
def test_longest_coach_when_in_the_sharpest_reverse_curve_allowed_then_its_buffers_keep_together(
    radius_m, straight_m
) -> None:
    coach = longest_of_nem_111()
    found = through_reverse_curve(
        1000 * radius_m, 1000 * radius_m, 1000 * straight_m, coach, coach
    )

    assert 0 < found.buffer_overlap.amount < 150
    assert not found.buffers_lock


def test_longest_coach_when_the_6_m_of_straight_are_left_out_then_its_buffers_lock() -> None:
    """NEM 111, supplement of 2015: 150 m only where at least 6 m of straight lie between."""
    coach = longest_of_nem_111()
    found = through_reverse_curve(150_000, 150_000, 0, coach, coach)

    assert found.buffers_lock


# --- Classes ----------------------------------------------------------------------------------

H0 = scale("nem", "H0")


def nem_111(vehicle: Measures, at=H0) -> float | None:
    (rule,) = (each for each in smallest_radius(vehicle, at) if each.rule == "NEM 111")
    assert rule.sheet == "nem-111-2016"
    return rule.radius_mm


def wagon(over_buffers_m: float, wheelbase_m: float) -> Measures:
    """A two-axle wagon of that size at 1:87."""
    return Measures(
        on_bogies=False,
        axles_in_frame=2,
        has_buffers=True,
        length_over_buffers=1000 * over_buffers_m / 87,
        rigid_wheelbase=1000 * wheelbase_m / 87,
    )


@pytest.mark.parametrize(
    ("over_buffers_m", "wheelbase_m", "multiple"),
    # NEM 111 of 2016, section 3.2: radius over gauge, by length over buffers and wheelbase in m.
    [
        (9.8, 5.0, 50),
        (9.81, 5.0, 57),
        (9.8, 5.01, 57),
        (14.6, 8.0, 57),
        (14.61, 8.0, 71),
        (14.6, 8.01, 71),
        (17.5, 10.0, 71),
        (17.51, 10.0, None),
        (17.5, 10.01, None),
    ],
)
def test_two_axle_wagon_when_as_long_as_its_class_then_takes_that_radius(
    over_buffers_m, wheelbase_m, multiple
) -> None:
    expected = None if multiple is None else multiple * 16.5

    assert nem_111(wagon(over_buffers_m, wheelbase_m)) == expected


@pytest.mark.parametrize(
    ("over_buffers_m", "body_m", "pivots_m", "multiple"),
    # NEM 111 of 2016, section 3.2: bogie wagons, by length over buffers, body and pivots in m.
    [
        (20.3, 20.0, 14.0, 57),
        (20.31, 20.0, 14.0, 60),
        (20.3, 20.01, 14.0, 60),
        (20.3, 20.0, 14.01, 60),
        (24.5, 24.2, 17.2, 60),
        (24.5, 24.2, 17.21, 84),
        (27.5, 27.2, 19.5, 84),
        (27.5, 27.2, 19.51, None),
    ],
)
def test_bogie_wagon_when_as_long_as_its_class_then_takes_that_radius(
    over_buffers_m, body_m, pivots_m, multiple
) -> None:
    found = nem_111(
        Measures(
            on_bogies=True,
            has_buffers=True,
            length_over_buffers=1000 * over_buffers_m / 87,
            body_length=1000 * body_m / 87,
            pivot_distance=1000 * pivots_m / 87,
        )
    )

    assert found == (None if multiple is None else multiple * 16.5)


@pytest.mark.parametrize(
    ("at", "is_hauled", "length_ft", "inches"),
    # RP-11 as told on the NMRA's page for beginners, second-hand: all stock, and cars to 50 ft.
    [
        ("HO", True, 40, 16.5),
        ("HO", True, 50, 16.5),
        ("HO", True, 50.1, 40),
        ("HO", False, 40, 40),
        ("N", True, 50, 8.875),
        ("N", True, 85, 21.5),
    ],
)
def test_vehicle_when_rp_11_speaks_of_it_then_takes_that_radius(
    at, is_hauled, length_ft, inches
) -> None:
    size = scale("nmra", at)
    mm_per_foot = {"HO": 3.5, "N": 304.8 / 160}[at]
    vehicle = Measures(is_hauled=is_hauled, body_length=length_ft * mm_per_foot)
    (rule,) = (each for each in smallest_radius(vehicle, size) if each.rule == "RP-11")

    assert rule.radius_mm == pytest.approx(25.4 * inches)
    assert "second-hand" in rule.basis


@pytest.mark.parametrize(
    ("over_couplers_in", "radius_in"),
    # The LDSIG's rule at 5 times, worked for HO cars of 40, 50 and 60 ft in a forum; second-hand.
    [(6, 30), (7.5, 37.5), (9, 45)],
)
def test_car_when_it_is_the_longest_then_the_rule_of_thumb_is_as_worked(
    over_couplers_in, radius_in
) -> None:
    vehicle = Measures(length_over_couplers=25.4 * over_couplers_in)
    found = {each.rule: each for each in smallest_radius(vehicle, scale("nmra", "HO"))}
    rule = found["LDSIG radius rule, 5x"]

    assert rule.radius_mm == pytest.approx(25.4 * radius_in)
    assert rule.is_rule_of_thumb


# --- Turnout curves ---------------------------------------------------------------------------


def test_turnout_when_number_8_then_its_closure_curve_is_as_in_the_army_manual() -> None:
    """US Army TI 850-02, equations 6-12 to 6-14, with 6.25 in or 0.52 ft of heel spread, a point
    of 0.25 in, a switch of 198 in and a toe spread of 0.60 ft (chosen); the results computed
    independently, next to 11.8 degrees or 486 ft in its table 6-12."""
    switch = switch_angle(6.25, 0.25, 198)
    chord, radius = closure_curve(
        frog=frog_angle(8), heel=switch, gauge=4.70833, toe_spread=0.60, heel_spread=0.52
    )

    assert round(math.degrees(switch), 6) == 1.736502
    assert chord == pytest.approx(46.3041, abs=6e-5)
    assert radius == pytest.approx(490.018, abs=6e-4)
    assert radius == pytest.approx(486.42, rel=0.01)


# NMRA RP-12.7, in inches: number, frog angle, heel angle, rail length, switch radius,
# mid-ordinate, length of the closure curve, its radius in mm, frog toe and heel length, their
# spreads.
RP_12_7 = [
    (4, (14, 15), (4, 50), 1.088, 22, 0.007, 1.300, 201, 0.300, 0.512, 0.074, 0.126),
    (5, (11, 25), (4, 50), 1.088, 22, 0.007, 1.572, 348, 0.337, 0.581, 0.067, 0.115),
    (6, (9, 32), (4, 50), 1.088, 22, 0.007, 1.816, 562, 0.375, 0.644, 0.062, 0.107),
    (7, (8, 10), (2, 56), 1.744, 62, 0.006, 2.357, 656, 0.431, 0.694, 0.062, 0.100),
]
HEEL_SPREAD = 0.065
GAUGE_IN = 9 / 25.4
# Heel angle of the switch rail, its angle at the point, and its radius in mm.
SWITCHES = [((4, 50), (2, 1), 1.088, 562), ((2, 56), (1, 20), 1.744, 1577)]


def radians(degrees_minutes: tuple[int, int]) -> float:
    return math.radians(degrees_minutes[0] + degrees_minutes[1] / 60)


@pytest.mark.parametrize("row", RP_12_7)
def test_rp_12_7_frog_when_numbered_then_has_the_printed_angle_to_the_minute(row) -> None:
    degrees, minutes = row[1]

    assert round(60 * math.degrees(frog_angle(row[0]))) == 60 * degrees + minutes


@pytest.mark.parametrize("row", RP_12_7)
def test_rp_12_7_frog_when_as_long_as_printed_then_spreads_as_printed(row) -> None:
    """The spread across an isosceles triangle, to a thousandth of an inch and a half."""
    toe, heel, toe_spread, heel_spread = row[8:]
    sine = 2 * math.sin(frog_angle(row[0]) / 2)

    assert toe * sine == pytest.approx(toe_spread, abs=0.0015)
    assert heel * sine == pytest.approx(heel_spread, abs=0.0015)


@pytest.mark.parametrize("row", RP_12_7)
def test_rp_12_7_switch_when_its_rail_is_curved_then_has_the_printed_mid_ordinate(row) -> None:
    _, _, _, rail, radius, mid_ordinate, *_ = row

    assert round(versine(radius, rail), 3) == mid_ordinate


@pytest.mark.parametrize(("heel", "point", "rail_in", "radius_mm"), SWITCHES)
def test_rp_12_7_switch_when_it_turns_from_point_to_heel_then_is_as_long_as_printed(
    heel, point, rail_in, radius_mm
) -> None:
    """The angles are printed to the minute, which is 0.7 % of the smaller turn."""
    assert radius_mm * (radians(heel) - radians(point)) / 25.4 == pytest.approx(rail_in, rel=0.007)


@pytest.mark.parametrize("row", RP_12_7)
def test_rp_12_7_closure_when_drawn_between_heel_and_toe_then_has_the_printed_curve(row) -> None:
    """TI 850-02's closure curve with the printed angles and spreads, within half a percent."""
    number, _, heel, *_ = row
    arc_in, radius_mm, toe_spread = row[6], row[7], row[10]
    chord, radius = closure_curve(
        frog=frog_angle(number),
        heel=radians(heel),
        gauge=GAUGE_IN,
        toe_spread=toe_spread,
        heel_spread=HEEL_SPREAD,
    )

    assert chord == pytest.approx(arc_in, rel=0.005)
    assert 25.4 * radius == pytest.approx(radius_mm, rel=0.005)


@pytest.mark.parametrize(
    ("number", "rail", "closure", "toe", "heel", "lead", "overall"),
    # NMRA RP-12.7, inches.
    [
        (4, "1.088", "1.269", "0.300", "0.512", "2.657", "0.812"),
        (5, "1.088", "1.546", "0.337", "0.581", "2.971", "0.918"),
        (6, "1.088", "1.793", "0.375", "0.644", "3.256", "1.019"),
        (7, "1.744", "2.339", "0.431", "0.694", "4.514", "1.125"),
    ],
)
def test_rp_12_7_lead_when_its_parts_are_added_then_is_as_printed_and_as_held(
    number, rail, closure, toe, heel, lead, overall
) -> None:
    held = {
        name: float(figure)
        for name, figure in sheet("nmra-rp-12.7").row(f"No. {number}").figures.items()
        if not isinstance(figure, str)
    }

    assert held["rail_length"] + held["closure_straight"] + held["frog_toe_length"] == (
        pytest.approx(float(lead), abs=1e-9)
    )
    assert held["frog_toe_length"] + held["frog_heel_length"] == pytest.approx(
        float(overall), abs=1e-9
    )
    for name, typed in (
        ("rail_length", rail),
        ("closure_straight", closure),
        ("frog_toe_length", toe),
        ("frog_heel_length", heel),
        ("lead", lead),
        ("frog_overall_length", overall),
    ):
        assert held[name] == float(typed), name


@pytest.mark.parametrize(
    ("number", "to_icl_in"),
    # NMRA RP-12.7; of No. 6 the sheet is three thousandths short of six gauges.
    [(4, 1.416), (5, 1.771), (6, 2.123)],
)
def test_rp_12_7_frog_when_seen_from_where_the_centre_lines_meet_then_is_so_far(
    number, to_icl_in
) -> None:
    centres = 2.0
    beyond, _ = frog_to_clearance(number, GAUGE_IN, centres)
    from_icl = centres / math.tan(frog_angle(number)) - beyond

    assert from_icl == pytest.approx(to_icl_in, abs=0.0035)
