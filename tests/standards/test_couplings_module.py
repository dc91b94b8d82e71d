"""Two neighbours on curves and reverse curves: rules that hold for any of them, and the same found
by other constructions."""

import math
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from standards.couplings import (
    Buffers,
    CarEnd,
    on_curve,
    smallest_by_buffers,
    smallest_by_swing,
    through_reverse_curve,
)
from standards.curves import Body, ImpossibleGeometry, throw_at

patient = settings(deadline=None)
few = settings(deadline=None, max_examples=25)

RADII = st.floats(400, 5000)


@st.composite
def ends(draw) -> CarEnd:
    """Model vehicles with their couplers at the ends, in millimetres, coupled far enough apart."""
    length = draw(st.floats(60, 300))
    pivots = length * draw(st.floats(0.4, 0.9))
    bogies = draw(st.sampled_from([0.0, 0.15, 0.3])) * pivots
    body = Body(length, pivots, bogies, 35)
    out = length / 2 * draw(st.floats(0.85, 1))
    return CarEnd(body, out, length / 2 - out + draw(st.floats(20, 30)))


# Dimensions chosen: a long coach, a short wagon and a car between the two.
LONG = CarEnd(Body(297.7, 208.3, 28, 34.9), 143, 8, Buffers(20, 150, 6, 60))
LOOSE = CarEnd(LONG.body, 143, 12)
SHORT = CarEnd(Body(100, 60), 45, 8, Buffers(20, 52, 6, 60))
CAR = CarEnd(Body(140, 105, 19.2, 37), 64, 8, Buffers(20, 71, 6, 60))


# --- On one curve -----------------------------------------------------------------------------


@patient
@given(ends(), ends(), RADII)
def test_pair_when_turned_until_the_couplers_meet_then_stands_as_found(first, second, radius):
    """A second construction: both bodies drawn about the centre of the curve by sines and cosines,
    one of them turned by scipy's root finder until its coupler reaches the other."""
    between = first.coupler_length + second.coupler_length

    def drawn(end: CarEnd, turn: float, towards: int) -> tuple[np.ndarray, np.ndarray]:
        body = end.body
        height = math.sqrt(
            radius**2 - (body.bogie_wheelbase / 2) ** 2 - (body.pivot_distance / 2) ** 2
        )
        out = np.array([math.cos(turn), math.sin(turn)])
        axis = np.array([-out[1], out[0]]) * towards
        return height * out + axis * end.coupler_pivot, axis

    fixed, fixed_axis = drawn(second, 0.0, 1)

    def missing(turn: float) -> float:
        return float(np.linalg.norm(drawn(first, turn, -1)[0] - fixed)) - between

    touching = math.atan2(first.coupler_pivot, radius) + math.atan2(second.coupler_pivot, radius)
    turn = brentq(missing, 0.9 * touching, touching + 2 * between / radius, xtol=1e-14)
    pivot, axis = drawn(first, turn, -1)
    link = (pivot - fixed) / between

    found = on_curve(radius, first, second)

    assert abs(found.swing_first) == pytest.approx(
        math.acos(np.clip(-link @ axis, -1, 1)), abs=1e-6
    )
    assert abs(found.swing_second) == pytest.approx(
        math.acos(np.clip(link @ fixed_axis, -1, 1)), abs=1e-6
    )
    assert found.throw_first == pytest.approx(np.linalg.norm(pivot) - radius, abs=1e-9)
    face = pivot + axis * first.coupler_length
    fixed_face = fixed + fixed_axis * second.coupler_length
    along = (fixed_axis - axis) / np.linalg.norm(fixed_axis - axis)
    across = np.array([along[1], -along[0]])
    assert found.offset == pytest.approx((face - fixed_face) @ across, abs=1e-9)


@patient
@given(ends(), RADII)
def test_pair_when_both_are_alike_then_swing_alike_and_stay_in_line(end, radius) -> None:
    found = on_curve(radius, end, end)
    height = math.sqrt(
        radius**2 - end.body.pivot_distance**2 / 4 - end.body.bogie_wheelbase**2 / 4
    )
    out = math.hypot(height, end.coupler_pivot)
    swing = math.atan(end.coupler_pivot / height) + math.asin(end.coupler_length / out)

    assert found.swing_first == pytest.approx(swing, abs=1e-9)
    assert found.swing_second == pytest.approx(swing, abs=1e-9)
    assert found.offset == pytest.approx(0, abs=1e-9)
    assert smallest_by_swing(end, found.swing_first) == pytest.approx(radius, rel=1e-9)


@patient
@given(ends(), ends(), RADII)
def test_pair_when_the_neighbours_change_places_then_everything_does(first, second, radius):
    found, turned = on_curve(radius, first, second), on_curve(radius, second, first)

    assert turned.offset == pytest.approx(-found.offset, abs=1e-9)
    assert turned.swing_first == pytest.approx(found.swing_second, abs=1e-9)
    assert turned.swing_second == pytest.approx(found.swing_first, abs=1e-9)
    assert (turned.throw_first, turned.throw_second) == (found.throw_second, found.throw_first)


@patient
@given(ends(), ends(), RADII)
def test_offset_when_measured_across_then_is_nearly_the_difference_of_the_faces_throws(
    first, second, radius
) -> None:
    """The faces of straight couplers lie on circles of their own about the curve's centre."""
    throws = [
        throw_at(radius, end.body, end.coupler_pivot + end.coupler_length)
        for end in (first, second)
    ]

    assert on_curve(radius, first, second).offset == pytest.approx(
        throws[0] - throws[1], rel=0.3, abs=0.3
    )


@patient
@given(ends(), ends(), RADII, st.floats(1.05, 20))
def test_swing_when_the_radius_grows_then_falls_between_cars_alike(first, second, radius, growth):
    for end in (first, second):
        sharp, wide = on_curve(radius, end, end), on_curve(radius * growth, end, end)
        assert 0 < wide.swing_first < sharp.swing_first


def test_pair_when_a_long_car_pulls_a_short_one_then_the_long_ones_coupler_lies_outside() -> None:
    found = on_curve(609.6, LONG, SHORT)

    assert found.offset > 5
    assert found.throw_first > found.throw_second
    # The short car's coupler has to reach outwards, against the way the curve bends.
    assert found.swing_second < 0 < found.swing_first


@pytest.mark.parametrize("second", [LONG, SHORT, CAR])
def test_pair_when_the_track_is_straight_then_stands_in_line(second) -> None:
    straight, nearly = on_curve(math.inf, LONG, second), on_curve(1e8, LONG, second)

    assert (straight.swing_first, straight.swing_second, straight.offset) == (0, 0, 0)
    assert (straight.throw_first, straight.throw_second) == (0, 0)
    # 16 mm between the hooks' pivots and 7 mm from each of them to the heads.
    assert straight.buffer_gap == pytest.approx(2, abs=1e-6)
    assert straight.buffer_overlap == pytest.approx(6)
    assert nearly.swing_first == pytest.approx(0, abs=1e-4)
    assert nearly.offset == pytest.approx(0, abs=1e-3)
    assert nearly.buffer_gap == pytest.approx(2, abs=1e-3)


# --- Buffers on one curve ---------------------------------------------------------------------


def flat_gap(radius: float, end: CarEnd) -> float:
    """Between flat heads of two cars alike: they meet at their inner edges, on the line of
    symmetry, which the middle of the link lies on; by similar triangles."""
    body, buffers = end.body, end.buffers
    height = math.sqrt(radius**2 - body.pivot_distance**2 / 4 - body.bogie_wheelbase**2 / 4)
    out = math.hypot(height, end.coupler_pivot)
    turn = math.atan(end.coupler_pivot / height) + math.asin(end.coupler_length / out)
    inner_edge = height - buffers.spacing / 2 - buffers.head_width / 2
    return 2 * (inner_edge * math.sin(turn) - buffers.reach * math.cos(turn))


FLAT = CarEnd(LONG.body, 143, 8, Buffers(20, 150, 6))


@pytest.mark.parametrize("radius", [2000, 3000, 10_000])
def test_buffers_when_flat_then_meet_at_their_inner_edges(radius) -> None:
    assert flat_gap(radius, FLAT) > 0
    found = on_curve(radius, FLAT, FLAT)

    assert found.buffer_gap == pytest.approx(flat_gap(radius, FLAT), abs=1e-6)
    assert found.buffer_overlap == pytest.approx(6)


def test_smallest_radius_by_buffers_when_flat_then_is_where_their_inner_edges_touch() -> None:
    touching = brentq(flat_gap, 500, 20_000, args=(FLAT,), xtol=1e-9)

    assert smallest_by_buffers(FLAT, FLAT) == pytest.approx(touching, rel=1e-5)


def test_smallest_radius_by_buffers_when_domed_or_sprung_then_is_sharper() -> None:
    flat = smallest_by_buffers(FLAT, FLAT)
    domed = smallest_by_buffers(LONG, LONG)
    sprung = CarEnd(LONG.body, 143, 8, Buffers(20, 150, 6, 60, travel=0.5))

    assert smallest_by_buffers(sprung, sprung) < domed < flat
    assert on_curve(domed, LONG, LONG).buffer_gap == pytest.approx(0, abs=1e-5)
    at_end = smallest_by_buffers(sprung, sprung)
    assert on_curve(at_end, sprung, sprung).buffer_gap == pytest.approx(-1, abs=1e-5)


def test_smallest_radius_by_buffers_when_they_touch_on_straight_track_then_is_without_end() -> (
    None
):
    close = CarEnd(LONG.body, 143, 7, Buffers(20, 150, 6))

    assert smallest_by_buffers(close, close) == math.inf


def test_smallest_radius_by_buffers_when_far_apart_then_there_is_none() -> None:
    # Narrow, and coupled 60 mm farther apart than the buffers reach.
    far = CarEnd(Body(60, 40), 30, 40, Buffers(10, 30, 3))

    assert smallest_by_buffers(far, far) is None


def test_smallest_radius_by_buffers_when_they_come_off_sideways_then_is_where_they_do() -> None:
    apart = CarEnd(LONG.body, 143, 20, Buffers(20, 150, 6))
    beside = CarEnd(SHORT.body, 45, 20, Buffers(20, 52, 6))
    radius = smallest_by_buffers(apart, beside)

    assert on_curve(radius * 1.0001, apart, beside).buffer_overlap > 0
    assert on_curve(radius / 1.0001, apart, beside).buffer_overlap < 0
    assert on_curve(radius, apart, beside).buffer_gap > 1


def outline(middle, axis, buffers: Buffers, side: int, facing: int) -> np.ndarray:
    """Many points along the face of one buffer head, as complex numbers."""
    across = np.linspace(-buffers.head_width / 2, buffers.head_width / 2, 4001)
    dome = buffers.head_radius - np.sqrt(buffers.head_radius**2 - across**2)
    lengthwise = facing * (buffers.reach - dome)
    return middle + axis * (lengthwise + 1j * (side * buffers.spacing / 2 + across))


@pytest.mark.parametrize("radius", [1500, 2500, 5000])
@pytest.mark.parametrize("dome", [3, 10, 60])
@pytest.mark.parametrize("second", [LONG, CAR])
def test_buffer_gap_when_the_heads_are_drawn_point_by_point_then_is_the_least_distance(
    radius, dome, second
) -> None:
    """Every point of one head against every point of the other, by scipy's tree of neighbours."""
    from scipy.spatial import cKDTree

    pair = [
        CarEnd(end.body, end.coupler_pivot, 10, Buffers(20, end.buffers.reach, 6, dome))
        for end in (LONG, second)
    ]
    found = on_curve(radius, *pair)
    # Both drawn about the curve's centre; the angle between them from the law of cosines.
    heights = [
        math.sqrt(radius**2 - e.body.pivot_distance**2 / 4 - e.body.bogie_wheelbase**2 / 4)
        for e in pair
    ]
    outs = [math.hypot(h, e.coupler_pivot) for h, e in zip(heights, pair, strict=True)]
    turn = math.acos((outs[0] ** 2 + outs[1] ** 2 - 20**2) / (2 * outs[0] * outs[1]))
    turn += sum(math.atan(e.coupler_pivot / h) for h, e in zip(heights, pair, strict=True))
    leading = heights[0] * np.exp(1j * turn), 1j * np.exp(1j * turn)
    trailing = heights[1] + 0j, 1j

    least = math.inf
    for side in (1, -1):
        one = outline(*leading, pair[0].buffers, side, -1)
        other = outline(*trailing, pair[1].buffers, side, 1)
        tree = cKDTree(np.column_stack([one.real, one.imag]))
        least = min(least, tree.query(np.column_stack([other.real, other.imag]))[0].min())

    assert found.buffer_gap > 0
    assert found.buffer_gap == pytest.approx(least, abs=1e-5)


# --- Through a reverse curve ------------------------------------------------------------------


@cache
def walked(first_radius: float, second_radius: float, straight: float):
    """The centre line in steps of a fiftieth of a millimetre, by adding up its directions."""
    step = 0.02
    along = np.arange(-900, 900, step) + step / 2
    half = straight / 2
    curvature = np.where(along > half, 1 / second_radius, 0.0)
    curvature = np.where(along < -half, -1 / first_radius, curvature)
    heading = np.cumsum(curvature) * step - curvature * step / 2
    # Along x in the middle of the straight.
    heading -= np.interp(0, along, heading)
    edges = np.append(along - step / 2, along[-1] + step / 2)
    x = np.append(0, np.cumsum(np.cos(heading)) * step)
    y = np.append(0, np.cumsum(np.sin(heading)) * step)
    return edges, x - np.interp(0, edges, x), y - np.interp(0, edges, y)


class Drawn:
    """Two coupled cars set on a walked centre line, axle by axle, by scipy's root finder."""

    def __init__(self, first_radius, second_radius, straight) -> None:
        self.line = walked(first_radius, second_radius, straight)

    def point(self, at: float) -> np.ndarray:
        edges, x, y = self.line
        index = int((at - edges[0]) / 0.02)
        part = (at - edges[index]) / 0.02
        return np.array(
            [
                x[index] + part * (x[index + 1] - x[index]),
                y[index] + part * (y[index + 1] - y[index]),
            ]
        )

    def bogie(self, at: float, wheelbase: float) -> np.ndarray:
        front = self.point(at)
        if not wheelbase:
            return front
        behind = brentq(
            lambda t: np.linalg.norm(front - self.point(t)) - wheelbase,
            at - 1.3 * wheelbase,
            at - 0.7 * wheelbase,
            xtol=1e-9,
        )
        return (front + self.point(behind)) / 2

    def body(self, at: float, body: Body) -> tuple[np.ndarray, np.ndarray]:
        front = self.bogie(at, body.bogie_wheelbase)
        behind = brentq(
            lambda t: (
                np.linalg.norm(front - self.bogie(t, body.bogie_wheelbase)) - body.pivot_distance
            ),
            at - 1.3 * body.pivot_distance,
            at - 0.7 * body.pivot_distance,
            xtol=1e-9,
        )
        rear = self.bogie(behind, body.bogie_wheelbase)
        return (front + rear) / 2, (front - rear) / np.linalg.norm(front - rear)

    def pair(self, at: float, first: CarEnd, second: CarEnd) -> tuple[float, float, float]:
        """Offset of the faces and both swings, sizes only."""
        middle, axis = self.body(at, first.body)
        hung = middle - first.coupler_pivot * axis
        between = first.coupler_length + second.coupler_length

        def missing(t: float) -> float:
            m, a = self.body(t, second.body)
            return np.linalg.norm(hung - (m + second.coupler_pivot * a)) - between

        guess = at - (
            (first.body.pivot_distance + first.body.bogie_wheelbase) / 2
            + first.coupler_pivot
            + between
            + second.coupler_pivot
            - (second.body.pivot_distance + second.body.bogie_wheelbase) / 2
        )
        follows = brentq(missing, guess - 0.6 * between, guess + 0.9 * between, xtol=1e-8)
        middle_2, axis_2 = self.body(follows, second.body)
        link = hung - (middle_2 + second.coupler_pivot * axis_2)
        link /= np.linalg.norm(link)
        faces = (middle - (first.coupler_pivot + first.coupler_length) * axis) - (
            middle_2 + (second.coupler_pivot + second.coupler_length) * axis_2
        )
        along = (axis + axis_2) / np.linalg.norm(axis + axis_2)
        return (
            abs(along[0] * faces[1] - along[1] * faces[0]),
            abs(math.asin(axis[0] * link[1] - axis[1] * link[0])),
            abs(math.asin(axis_2[0] * link[1] - axis_2[1] * link[0])),
        )


@pytest.mark.parametrize(
    ("first_radius", "second_radius", "straight", "first", "second"),
    [
        (609.6, 609.6, 0, LOOSE, LOOSE),
        (609.6, 457.2, 40, LOOSE, SHORT),
        (500, 800, 100, CAR, LOOSE),
    ],
)
def test_reverse_curve_when_walked_step_by_step_then_is_as_bad_as_found(
    first_radius, second_radius, straight, first, second
) -> None:
    drawn = Drawn(first_radius, second_radius, straight)
    found = through_reverse_curve(first_radius, second_radius, straight, first, second)
    reach = sum(e.body.length + 2 * e.coupler_length for e in (first, second))
    places = np.linspace(-straight / 2, straight / 2 + reach, 60)
    walked_worst = np.max([drawn.pair(at, first, second) for at in places], axis=0)

    worst = (found.offset.amount, found.swing_first.amount, found.swing_second.amount)
    for ours, theirs, coarse in zip(worst, walked_worst, (0.35, 0.03, 0.03), strict=True):
        # The walk sees every sixtieth of the way only, so that it may miss the very worst.
        assert theirs <= ours + 2e-6
        assert theirs >= ours - coarse


@few
@given(ends(), ends(), st.floats(450, 3000), st.floats(450, 3000), st.floats(0, 300))
def test_reverse_curve_when_run_the_other_way_then_is_as_bad(
    first, second, one_radius, other_radius, straight
) -> None:
    """Turned by half a circle about the middle of its straight, it is the same track with its
    curves exchanged, and the vehicles come in the other order."""
    found = through_reverse_curve(one_radius, other_radius, straight, first, second)
    turned = through_reverse_curve(other_radius, one_radius, straight, second, first)

    # The worst lies on a kink, which the scan from either end comes near to, not onto.
    assert turned.offset.amount == pytest.approx(found.offset.amount, abs=2e-3)
    assert turned.swing_first.amount == pytest.approx(found.swing_second.amount, abs=1e-4)
    assert turned.swing_second.amount == pytest.approx(found.swing_first.amount, abs=1e-4)


@few
@given(ends(), ends(), st.floats(450, 3000), st.floats(450, 3000), st.floats(0, 300))
def test_reverse_curve_when_compared_with_either_curve_then_is_no_better(
    first, second, one_radius, other_radius, straight
) -> None:
    """On the way the pair stands on each of the two curves alone, found there by angles."""
    found = through_reverse_curve(one_radius, other_radius, straight, first, second)

    for radius in (one_radius, other_radius):
        steady = on_curve(radius, first, second)
        assert found.offset.amount >= abs(steady.offset) - 1e-7
        assert found.swing_first.amount >= abs(steady.swing_first) - 1e-7
        assert found.swing_second.amount >= abs(steady.swing_second) - 1e-7


@few
@given(ends(), ends(), st.floats(0, 300))
def test_reverse_curve_when_both_are_straight_then_nothing_is_offset(first, second, straight):
    found = through_reverse_curve(math.inf, math.inf, straight, first, second)

    for worst in (found.offset, found.swing_first, found.swing_second):
        assert worst.amount == pytest.approx(0, abs=1e-12)


@few
@given(ends(), st.floats(500, 3000))
def test_reverse_curve_when_all_is_alike_then_the_worst_offset_is_in_the_middle(end, radius):
    found = through_reverse_curve(radius, radius, 0, end, end)

    assert found.offset.at == pytest.approx(0, abs=0.5)
    assert found.swing_first.amount == pytest.approx(found.swing_second.amount, abs=1e-6)


@few
@given(ends(), st.floats(500, 3000))
def test_straight_when_longer_than_the_car_then_only_the_entry_of_one_curve_is_left(end, radius):
    """A straight as long as a car, from coupling to coupling, parts the two curves: what is left
    is what one curve alone gives where it begins, between cars alike half of it all."""
    car = 2 * (end.coupler_pivot + end.coupler_length)
    without = through_reverse_curve(radius, radius, 0, end, end).offset.amount
    parted = through_reverse_curve(radius, radius, car, end, end).offset.amount
    one_curve = through_reverse_curve(math.inf, radius, 0, end, end).offset.amount

    assert parted == pytest.approx(one_curve, rel=0.02, abs=0.002)
    assert parted == pytest.approx(without / 2, rel=0.12, abs=0.01)


def test_straight_when_it_grows_then_offset_and_swing_fall_until_the_car_fits_into_it() -> None:
    offsets, swings = [], []
    for straight in (0, 75, 150, 225, 300, 1000):
        found = through_reverse_curve(609.6, 609.6, straight, LONG, LONG)
        offsets.append(found.offset.amount)
        swings.append(found.swing_first.amount)

    assert offsets[:4] == sorted(offsets[:4], reverse=True)
    assert swings[:4] == sorted(swings[:4], reverse=True)
    assert offsets[4:] == pytest.approx([offsets[4]] * 2, rel=1e-6)
    # Of what the reverse adds to the beginning of a curve, nothing is left.
    alone = through_reverse_curve(math.inf, 609.6, 0, LONG, LONG)
    assert offsets[5] == pytest.approx(alone.offset.amount, rel=1e-6)
    assert swings[5] == pytest.approx(
        max(alone.swing_first.amount, alone.swing_second.amount), rel=1e-6
    )


def test_buffers_when_the_offset_passes_their_width_then_lock() -> None:
    """Heads lock where they stand beside each other: offset of the heads beyond half of both."""
    tight = through_reverse_curve(609.6, 609.6, 0, LONG, LONG)
    wide = through_reverse_curve(6096, 6096, 0, LONG, LONG)

    assert tight.buffers_lock
    assert not wide.buffers_lock
    # The heads, in line with the couplers' faces, are as far off each other as those.
    assert 6 - wide.buffer_overlap.amount == pytest.approx(wide.offset.amount, rel=0.02)
    assert wide.buffer_overlap.at == pytest.approx(0, abs=1)


def test_buffers_when_there_are_none_then_nothing_is_said_of_them() -> None:
    bare = CarEnd(LONG.body, 143, 8)

    assert on_curve(609.6, bare, LONG).buffer_gap is None
    assert on_curve(609.6, bare, LONG).buffer_overlap is None
    found = through_reverse_curve(609.6, 609.6, 0, LONG, bare)
    assert found.buffer_gap is None
    assert found.buffer_overlap is None
    assert not found.buffers_lock
    with pytest.raises(ImpossibleGeometry, match="Without buffers on both"):
        smallest_by_buffers(bare, LONG)


# --- Bad dimensions ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: CarEnd(LONG.body, 0, 8), "0 from the middle"),
        (lambda: CarEnd(LONG.body, math.nan, 8), "nan from the middle"),
        (lambda: CarEnd(LONG.body, 143, 0), "coupler 0 long"),
        (lambda: CarEnd(LONG.body, 143, math.inf), "coupler inf long"),
        (lambda: Buffers(0, 150, 6), "buffer spacing of 0"),
        (lambda: Buffers(20, -1, 6), "buffer reach of -1"),
        (lambda: Buffers(20, 150, math.nan), "buffer head width of nan"),
        (lambda: Buffers(20, 150, 20), "20 wide do not stand 20 apart"),
        (lambda: Buffers(20, 150, 6, 2.9), "takes half its width"),
        (lambda: Buffers(20, 150, 6, travel=-1), "travel of -1"),
        (lambda: on_curve(100, LONG, CAR), "does not go round a radius of 100"),
        (lambda: on_curve(0, LONG, CAR), "does not go round a radius of 0"),
        (lambda: through_reverse_curve(609.6, 100, 0, CAR, LONG), "round a radius of 100"),
        (lambda: through_reverse_curve(609.6, 609.6, -1, CAR, LONG), "straight of -1"),
        (lambda: through_reverse_curve(609.6, 609.6, math.inf, CAR, LONG), "straight of inf"),
        (lambda: smallest_by_swing(LONG, 0), "more than 0"),
        (lambda: smallest_by_swing(LONG, 1.6), "less than 90"),
    ],
)
def test_pair_when_its_dimensions_cannot_be_then_says_so(make, words) -> None:
    with pytest.raises(ImpossibleGeometry, match=words):
        make()


def test_couplers_when_too_short_to_reach_across_then_say_so() -> None:
    stub, other = CarEnd(LONG.body, 148, 1), CarEnd(SHORT.body, 49, 1)
    with pytest.raises(ImpossibleGeometry, match="only 2 long together"):
        on_curve(609.6, stub, other)

    between_alike = CarEnd(LONG.body, 148, 4)
    assert on_curve(609.6, between_alike, between_alike).offset == pytest.approx(0, abs=1e-9)
    with pytest.raises(ImpossibleGeometry, match=r"Somewhere on the reverse curve .* 8 long"):
        through_reverse_curve(609.6, 609.6, 0, between_alike, between_alike)
