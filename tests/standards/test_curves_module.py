"""Vehicles on curves: rules that hold for any of them, and refusals of bad dimensions."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from standards.curves import (
    Body,
    ImpossibleGeometry,
    body_offset,
    centres_needed,
    inner_side,
    inner_throw,
    outer_corner,
    outer_throw,
    radius_from,
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
