"""Vehicles on curves: rules that hold for any of them, and refusals of bad dimensions."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from standards.curves import (
    Body,
    ImpossibleGeometry,
    attack_angle,
    body_offset,
    centres_needed,
    flange_lap,
    gap_left,
    inner_side,
    inner_throw,
    outer_corner,
    outer_throw,
    passing_gaps,
    radius_from,
    radius_with_doubt,
    smallest_by_attack,
    smallest_by_pivots,
    smallest_by_play,
    smallest_of_two_axles,
    throw_at,
    versine,
)

patient = settings(deadline=None)

RADII = st.floats(300, 5000)
GROWTH = st.floats(1.01, 10)


@st.composite
def bodies(draw) -> Body:
    """Model vehicles from a short wagon to a long coach, in millimetres."""
    length = draw(st.floats(40, 300))
    pivots = length * draw(st.floats(0.3, 1))
    return Body(length, pivots, pivots * draw(st.floats(0, 0.4)), draw(st.floats(10, 60)))


CAR = Body(length=140, pivot_distance=105, bogie_wheelbase=19.2, width=37)

# --- Chords -----------------------------------------------------------------------------------


@patient
@given(RADII, st.floats(0.05, 1.99))
def test_versine_when_turned_back_then_gives_the_radius(radius, part) -> None:
    assert radius_from(part * radius, versine(radius, part * radius)) == pytest.approx(
        radius, rel=1e-9
    )


def test_versine_when_the_chord_is_the_diameter_then_is_the_radius() -> None:
    assert versine(500, 1000) == 500
    assert versine(500, 0) == 0


@pytest.mark.parametrize(("radius", "chord"), [(500, 1000.001), (0, 0), (-500, 10)])
def test_versine_when_the_chord_does_not_go_in_then_says_so(radius, chord) -> None:
    with pytest.raises(ImpossibleGeometry, match=f"chord of {chord:g} .* radius of {radius:g}"):
        versine(radius, chord)


@pytest.mark.parametrize(("chord", "mid_ordinate"), [(0, 1), (-1, 1), (100, 0), (100, -1)])
def test_radius_when_chord_or_mid_ordinate_is_none_then_says_so(chord, mid_ordinate) -> None:
    with pytest.raises(ImpossibleGeometry, match="longer than zero"):
        radius_from(chord, mid_ordinate)


@patient
@given(RADII, st.floats(0.2, 1), st.floats(0, 0.5), st.floats(0, 0.1))
def test_doubt_of_the_radius_when_compared_with_small_steps_then_is_their_slopes(
    radius, part, u_chord, u_mid
) -> None:
    """Central differences, an independent way to the two slopes of the law of propagation."""
    chord = part * radius
    mid = versine(radius, chord)
    step = 1e-5
    by_chord = (radius_from(chord + step, mid) - radius_from(chord - step, mid)) / (2 * step)
    relative = step * mid
    by_mid = radius_from(chord, mid + relative) - radius_from(chord, mid - relative)
    expected = math.hypot(by_chord * u_chord, by_mid / (2 * relative) * u_mid)

    found, u = radius_with_doubt(chord, mid, u_chord, u_mid)

    assert found == radius_from(chord, mid)
    assert u == pytest.approx(expected, rel=1e-5, abs=1e-9)


def test_doubt_of_the_radius_when_drawn_by_lot_then_scatters_as_much() -> None:
    """A hundred thousand chords and mid-ordinates from numpy's generator, both normal."""
    drawn = np.random.default_rng(20)
    chords = drawn.normal(200, 0.3, 100_000)
    mids = drawn.normal(10, 0.1, 100_000)

    _, u = radius_with_doubt(200, 10, 0.3, 0.1)

    assert u == pytest.approx(np.std(chords**2 / (8 * mids) + mids / 2), rel=0.02)


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ((200, 10, -0.1, 0.1), "-0.1 for the chord"),
        ((200, 10, 0.1, math.nan), "nan for the mid-ordinate"),
        ((200, 10, math.inf, 0.1), "inf for the chord"),
        ((200, 0.1, 0.3, 0.1), "across a longer chord"),
        ((0, 10, 0.3, 0.1), "longer than zero"),
    ],
)
def test_doubt_of_the_radius_when_readings_cannot_be_then_says_so(readings, words) -> None:
    with pytest.raises(ImpossibleGeometry, match=words):
        radius_with_doubt(*readings)


# --- Throws -----------------------------------------------------------------------------------


@patient
@given(bodies(), RADII, GROWTH)
def test_throws_when_the_radius_grows_then_fall(body, radius, growth) -> None:
    assert inner_throw(radius * growth, body) < inner_throw(radius, body)
    # Below zero, where the overhang is short, it falls towards zero as well.
    before, after = outer_throw(radius, body), outer_throw(radius * growth, body)
    assert abs(after) <= abs(before) + 1e-9
    assert before * after >= -1e-9


@patient
@given(bodies())
def test_throws_when_the_track_is_nearly_straight_then_vanish(body) -> None:
    radius = 1e8

    assert inner_throw(radius, body) == pytest.approx(0, abs=1e-3)
    assert outer_throw(radius, body) == pytest.approx(0, abs=1e-3)
    assert inner_side(radius, body) == pytest.approx(body.width / 2, abs=1e-3)
    assert outer_corner(radius, body) == pytest.approx(body.width / 2, abs=1e-3)


@patient
@given(bodies(), RADII)
def test_inner_throw_when_there_are_no_bogies_then_is_the_versine_of_the_wheelbase(
    body, radius
) -> None:
    on_two_axles = Body(body.length, body.pivot_distance, 0, body.width)

    assert inner_throw(radius, on_two_axles) == versine(radius, body.pivot_distance)


@patient
@given(bodies(), st.floats(3000, 50_000))
def test_throws_when_the_radius_is_wide_then_tend_to_versines(body, radius) -> None:
    sideways = versine(radius, body.pivot_distance) + versine(radius, body.bogie_wheelbase)

    assert inner_throw(radius, body) == pytest.approx(sideways, rel=0.01)
    # All in all the body's end and middle lie as far apart as its own versine.
    both = inner_throw(radius, body) + outer_throw(radius, body)
    assert both == pytest.approx(versine(radius, body.length), rel=0.01)


@patient
@given(bodies(), RADII)
def test_body_when_it_stands_on_a_curve_then_needs_more_than_half_its_width_inside(
    body, radius
) -> None:
    assert inner_side(radius, body) == pytest.approx(
        body.width / 2 + inner_throw(radius, body), rel=1e-9
    )
    # The corner swings out less than the end of the centre line, being farther from the centre.
    assert outer_corner(radius, body) - body.width / 2 <= outer_throw(radius, body) + 1e-9


@patient
@given(bodies(), RADII, st.floats(1, 50))
def test_bogies_when_their_wheelbase_grows_then_the_body_moves_inwards(body, radius, more) -> None:
    longer = Body(body.length, body.pivot_distance, body.bogie_wheelbase + more, body.width)

    assert inner_throw(radius, longer) > inner_throw(radius, body)
    assert outer_throw(radius, longer) < outer_throw(radius, body)


@patient
@given(bodies(), RADII)
def test_throw_when_taken_at_the_middle_and_the_corner_then_is_that_of_the_named_ones(
    body, radius
) -> None:
    assert throw_at(radius, body, 0) == pytest.approx(-inner_throw(radius, body), abs=1e-9)
    half_length, half_width = body.length / 2, body.width / 2
    assert throw_at(radius, body, half_length) == pytest.approx(outer_throw(radius, body))
    assert throw_at(radius, body, half_length, half_width) == outer_corner(radius, body)
    assert throw_at(radius, body, 0, -half_width) == pytest.approx(-inner_side(radius, body))
    assert throw_at(radius, body, -half_length) == throw_at(radius, body, half_length)


@patient
@given(bodies(), RADII, st.floats(0, 1), st.floats(-0.5, 0.5))
def test_throw_when_the_body_is_drawn_on_its_axles_then_is_there(
    body, radius, along, side
) -> None:
    """Built up another way: bogies as chords of the circle, the body as a line between them."""
    half = math.asin(body.bogie_wheelbase / (2 * radius))
    on_pivots = radius * math.cos(half)
    turn = math.asin(body.pivot_distance / (2 * on_pivots))
    front, rear = (
        on_pivots * np.array([math.sin(angle), math.cos(angle)]) for angle in (turn, -turn)
    )
    axis = (front - rear) / np.linalg.norm(front - rear)
    out = np.array([-axis[1], axis[0]])
    point = (front + rear) / 2 + axis * along * body.length / 2 + out * side * body.width

    found = throw_at(radius, body, along * body.length / 2, side * body.width)

    assert found == pytest.approx(np.linalg.norm(point) - radius, abs=1e-9)


@patient
@given(bodies(), RADII, GROWTH, st.floats(0, 2))
def test_throw_when_the_radius_grows_then_falls_everywhere(body, radius, growth, along) -> None:
    before = throw_at(radius, body, along * body.length / 2)
    after = throw_at(radius * growth, body, along * body.length / 2)

    assert abs(after) <= abs(before) + 1e-9
    assert before * after >= -1e-9


def test_throw_when_the_point_lies_beyond_the_centre_then_says_so() -> None:
    with pytest.raises(ImpossibleGeometry, match="900 inside the body lies beyond the centre"):
        throw_at(457.2, CAR, 0, -900)


@patient
@given(bodies(), st.floats(1.001, 3))
def test_pivots_when_the_radius_is_just_over_their_bound_then_still_lie_on_it(body, more) -> None:
    bound = smallest_by_pivots(body)

    assert body_offset(more * bound, body) > 0
    with pytest.raises(ImpossibleGeometry):
        body_offset(bound * 0.999, body)


# --- Wheels in one frame ----------------------------------------------------------------------


@patient
@given(st.floats(5, 100), st.floats(0.05, 2))
def test_play_when_turned_back_then_is_the_versine_of_the_wheelbase(wheelbase, play) -> None:
    assert versine(smallest_by_play(wheelbase, play), wheelbase) == pytest.approx(play, rel=1e-6)


@patient
@given(st.floats(5, 100), st.floats(0.05, 2), st.floats(0, 10), st.floats(0.01, 5))
def test_two_axles_when_their_flanges_are_longer_then_need_a_wider_curve(
    wheelbase, play, lap, more
) -> None:
    radius = smallest_of_two_axles(wheelbase, play, lap)

    assert smallest_of_two_axles(wheelbase, play, lap + more) > radius
    assert smallest_of_two_axles(wheelbase, play * 2, lap) == pytest.approx(radius / 2)
    # Without any lap it is the same versine, but for half the play.
    assert smallest_of_two_axles(wheelbase, play) + play / 2 == pytest.approx(
        smallest_by_play(wheelbase, play)
    )


@patient
@given(st.floats(2, 50), st.floats(0.1, 3))
def test_flange_when_cut_by_the_rail_then_is_as_long_as_the_chord_of_its_circle(
    diameter, depth
) -> None:
    """Pythagoras in the circle of the flange, at the rail's top."""
    flange, tread = diameter / 2 + depth, diameter / 2

    assert (flange_lap(diameter, depth) / 2) ** 2 + tread**2 == pytest.approx(flange**2)


@patient
@given(st.floats(10, 100), st.floats(0, 1.2), st.floats(150, 5000))
def test_attack_when_turned_back_then_gives_the_radius(wheelbase, play, radius) -> None:
    angle = attack_angle(radius, wheelbase, play)

    assert smallest_by_attack(wheelbase, angle, play) == pytest.approx(radius, rel=1e-9)
    assert attack_angle(2 * radius, wheelbase, play) < angle
    assert attack_angle(radius, wheelbase, play + 0.1) > angle


@patient
@given(st.floats(10, 100), st.floats(0, 1.2), st.floats(150, 5000))
def test_attack_when_the_frame_is_drawn_then_is_that_of_the_drawing(
    wheelbase, play, radius
) -> None:
    """By coordinates: the leading axle on R + J/2, the trailing one on R - J/2, the frame through
    both; the rail under the leading axle lies square to its radius."""
    outer, inner = radius + play / 2, radius - play / 2
    cosine = (outer**2 + inner**2 - wheelbase**2) / (2 * outer * inner)
    between = math.acos(cosine)
    lead = np.array([outer, 0.0])
    trail = np.array([inner * math.cos(between), -inner * math.sin(between)])
    frame = (lead - trail) / np.linalg.norm(lead - trail)

    assert attack_angle(radius, wheelbase, play) == pytest.approx(math.asin(frame[0]), abs=1e-6)


def test_attack_when_the_track_is_straight_then_is_the_yaw_of_the_play() -> None:
    assert attack_angle(math.inf, 60, 1) == math.asin(1 / 60)
    assert attack_angle(math.inf, 60) == 0


@pytest.mark.parametrize(
    ("question", "words"),
    [
        (lambda: smallest_by_play(60, 0), "play of 0 .* leaves no curve"),
        (lambda: smallest_by_play(60, -0.2), "play of -0.2"),
        (lambda: smallest_by_play(60, 31), "more than half the wheelbase"),
        (lambda: smallest_by_play(0, 1), "wheelbase of 0"),
        (lambda: smallest_of_two_axles(60, math.nan), "play of nan"),
        (lambda: smallest_of_two_axles(60, 1, -1), "flange lap of -1"),
        (lambda: flange_lap(0, 1), "above zero"),
        (lambda: flange_lap(10, 0), "above zero"),
        (lambda: attack_angle(0, 60), "above zero"),
        (lambda: attack_angle(360, 60, -1), "not below it"),
        (lambda: attack_angle(29, 60), "does not lie in a radius of 29"),
        (lambda: smallest_by_attack(60, 0), "between 0 and 90"),
        (lambda: smallest_by_attack(0, 0.2), "above zero"),
        (lambda: smallest_by_attack(4, math.radians(12), 1), "on straight track already"),
    ],
)
def test_frame_when_its_dimensions_cannot_be_then_says_so(question, words) -> None:
    with pytest.raises(ImpossibleGeometry, match=words):
        question()


# --- Track centres ----------------------------------------------------------------------------


@patient
@given(bodies(), bodies(), RADII, st.floats(0, 10))
def test_centres_when_two_vehicles_pass_then_leave_just_the_gap(one, other, radius, gap) -> None:
    centres = centres_needed(radius, one, other, gap)

    left = centres - outer_corner(radius, one) - inner_side(radius + centres, other)
    assert left == pytest.approx(gap, abs=1e-9)


@patient
@given(bodies(), bodies(), RADII, st.floats(0, 10), st.floats(0.1, 10))
def test_centres_when_the_gap_grows_then_grow(one, other, radius, gap, more) -> None:
    assert centres_needed(radius, one, other, gap + more) > centres_needed(radius, one, other, gap)


def test_centres_when_the_track_is_nearly_straight_then_are_the_widths_and_the_gap() -> None:
    assert centres_needed(1e8, CAR, CAR, 3) == pytest.approx(40, abs=1e-3)


@patient
@given(bodies(), bodies(), RADII, st.floats(0, 10))
def test_gap_when_the_centres_are_those_needed_then_is_the_gap_asked_for(
    one, other, radius, gap
) -> None:
    assert gap_left(centres_needed(radius, one, other, gap), one, other, radius) == pytest.approx(
        gap, abs=1e-9
    )


@patient
@given(bodies(), bodies(), RADII, st.floats(30, 150))
def test_gaps_when_both_orders_are_asked_then_are_both_less_than_on_straight_track(
    one, other, radius, centres
) -> None:
    gaps = passing_gaps(centres, one, other, radius)

    assert gaps.straight == centres - one.width / 2 - other.width / 2
    assert gaps.one_inside == gap_left(centres, one, other, radius)
    assert gaps.other_inside == gap_left(centres, other, one, radius)
    swapped = passing_gaps(centres, other, one, radius)
    assert (swapped.one_inside, swapped.other_inside) == (gaps.other_inside, gaps.one_inside)
    assert gaps.least == min(gaps.straight, gaps.one_inside, gaps.other_inside)
    far = passing_gaps(centres, one, other, 1e8)
    assert far.one_inside == pytest.approx(gaps.straight, abs=1e-3)
    assert far.other_inside == pytest.approx(gaps.straight, abs=1e-3)


@pytest.mark.parametrize(
    ("centres", "other", "words"),
    [
        (0, CAR, "Track centres of 0 "),
        (math.nan, CAR, "Track centres of nan"),
        (46, Body(140, 105), "measure how wide"),
    ],
)
def test_gap_when_something_is_wanting_then_says_so(centres, other, words) -> None:
    for question in ((CAR, other), (other, CAR)):
        with pytest.raises(ImpossibleGeometry, match=words):
            gap_left(centres, *question, 500)


# --- Bad dimensions ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dimensions", "words"),
    [
        ((0, 1), "longer than zero"),
        ((-140, 105), "longer than zero"),
        ((140, 0), "longer than zero"),
        ((math.nan, 105), "longer than zero"),
        ((140, math.nan), "longer than zero"),
        ((140, 105, -1), "below zero"),
        ((140, 105, 19, -1), "below zero"),
        ((140, 140.5), "Pivots 140.5 apart do not fit a body 140 long"),
    ],
)
def test_body_when_its_dimensions_cannot_be_then_says_so(dimensions, words) -> None:
    with pytest.raises(ImpossibleGeometry, match=words):
        Body(*dimensions)


def test_body_when_its_pivots_are_at_its_ends_then_is_allowed() -> None:
    assert Body(140, 140).pivot_distance == 140


@pytest.mark.parametrize("radius", [50, 0, -457.2])
@pytest.mark.parametrize(
    "question", [body_offset, inner_throw, outer_throw, inner_side, outer_corner]
)
def test_curve_when_too_sharp_for_the_vehicle_then_says_so(question, radius) -> None:
    with pytest.raises(
        ImpossibleGeometry, match=f"pivots 105 apart does not go round a radius of {radius:g}"
    ):
        question(radius, CAR)


def test_errors_when_caught_as_bad_values_then_are() -> None:
    assert issubclass(ImpossibleGeometry, ValueError)
