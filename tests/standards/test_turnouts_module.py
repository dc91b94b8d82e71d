"""Turnouts and clear length: rules that hold for any, sums, and refusals in words."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from standards.curves import ImpossibleGeometry
from standards.turnouts import (
    LEGS,
    REFERENCES,
    ClearLength,
    Deduction,
    clear_length,
    curved_clearance,
    curved_wye_to_clearance,
    do_agree,
    end_deduction,
    frog_angle,
    frog_number,
    frog_number_right_angle,
    frog_to_clearance,
    never_clears,
    number_of_curve,
    read_frog,
    required_centres,
    wye_to_clearance,
)
from standards.units import Unreadable

patient = settings(deadline=None)

NUMBERS = st.floats(3, 20)
GAUGES = st.floats(6, 50)
# Centres as a factor of the gauge: vehicles are always a good deal wider than their track.
SPREADS = st.floats(1.3, 5)
MORE = st.floats(1.01, 3)


def from_the(reference: str, **changes) -> Deduction:
    """A deduction at a No. 6 turnout of 16.5 mm gauge, 50 mm between centres, with changes."""
    asked = {
        "reference": reference,
        "frog_number": 6,
        "gauge_mm": 16.5,
        "centres_mm": 50,
        "leg": "main",
        "points_to_frog_mm": 150,
    }
    return end_deduction(**{**asked, **changes})


# --- Frogs ------------------------------------------------------------------------------------


@patient
@given(NUMBERS)
def test_frog_when_turned_to_an_angle_and_back_then_keeps_its_number(number) -> None:
    assert frog_number(frog_angle(number)) == pytest.approx(number, rel=1e-12)


@patient
@given(NUMBERS, MORE)
def test_frog_when_its_number_grows_then_its_angle_falls(number, more) -> None:
    assert frog_angle(number * more) < frog_angle(number)


@patient
@given(NUMBERS)
def test_frog_when_numbered_by_the_right_angle_then_is_a_little_less(number) -> None:
    # cot(theta) = N - 1/4N, a half-angle identity.
    assert frog_number_right_angle(frog_angle(number)) == pytest.approx(
        number - 1 / (4 * number), rel=1e-12
    )


@pytest.mark.parametrize("number", [0, -6, math.nan, math.inf])
def test_frog_when_its_number_is_none_then_says_so(number) -> None:
    with pytest.raises(ImpossibleGeometry, match=f"frog number of {number:g} .* type 4, 6, 8"):
        frog_angle(number)


@pytest.mark.parametrize("angle", [0, -0.1, math.pi / 2, math.nan])
@pytest.mark.parametrize("numbering", [frog_number, frog_number_right_angle])
def test_frog_when_its_angle_is_none_then_says_so(numbering, angle) -> None:
    with pytest.raises(ImpossibleGeometry, match="between 0 and 90 degrees"):
        numbering(angle)


# --- Where the tracks clear -------------------------------------------------------------------


@patient
@given(NUMBERS, MORE, GAUGES, SPREADS)
def test_clearance_when_the_frog_number_grows_then_lies_farther(
    number, more, gauge, spread
) -> None:
    near = frog_to_clearance(number, gauge, gauge * spread)
    far = frog_to_clearance(number * more, gauge, gauge * spread)

    assert near[0] < far[0]
    assert near[1] < far[1]


@patient
@given(NUMBERS, MORE, GAUGES, SPREADS)
def test_clearance_when_the_centres_grow_then_lies_farther(number, more, gauge, spread) -> None:
    near = frog_to_clearance(number, gauge, gauge * spread)
    far = frog_to_clearance(number, gauge, gauge * spread * more)

    assert near[0] < far[0]
    assert near[1] < far[1]


@patient
@given(NUMBERS, GAUGES, SPREADS)
def test_clearance_when_legs_are_straight_then_lies_where_coordinates_say(
    number, gauge, spread
) -> None:
    centres = gauge * spread
    angle = frog_angle(number)
    main, diverging = frog_to_clearance(number, gauge, centres)

    # From the crossing of the centre lines, the frog is one gauge times its number along each.
    assert main + gauge * number == pytest.approx(centres / math.tan(angle), rel=1e-9)
    assert diverging + gauge * number == pytest.approx(centres / math.sin(angle), rel=1e-9)
    assert (main + diverging) / 2 == pytest.approx(number * (centres - gauge), rel=1e-9)
    assert main < diverging


@patient
@given(NUMBERS, GAUGES)
def test_curved_turnout_when_its_radius_is_two_gauges_times_n_squared_then_is_a_number_n(
    number, gauge
) -> None:
    """The rails of such a curve cross at the angle of a No. N frog, 2 G N from the tangent."""
    radius = 2 * gauge * number**2

    assert curved_clearance(radius, gauge, 1.5 * gauge)[2] == pytest.approx(
        2 * gauge * number, rel=1e-12
    )
    turned = math.acos((radius - gauge / 2) / (radius + gauge / 2))
    assert frog_number(turned) == pytest.approx(number, rel=1e-9)


@patient
@given(st.floats(300, 3000), MORE, st.floats(6, 32), SPREADS)
def test_curved_clearance_when_radius_or_centres_grow_then_lies_farther(
    radius, more, gauge, spread
) -> None:
    centres = gauge * spread
    near = curved_clearance(radius, gauge, centres)

    assert all(map(float.__lt__, near, curved_clearance(radius * more, gauge, centres)))
    assert near[0] < near[1]
    assert near[2] < near[0]


@pytest.mark.parametrize(
    ("gauge", "centres", "words"),
    [
        (0, 50, "above zero"),
        (-16.5, 50, "above zero"),
        (math.nan, 50, "above zero"),
        (16.5, 0, "above zero"),
        (16.5, math.nan, "above zero"),
        (16.5, 16.5, "centres of 16.5 are within one gauge of 16.5"),
        (16.5, 12, "centres of 12 are within one gauge"),
    ],
)
def test_clearance_when_gauge_or_centres_cannot_be_then_says_so(gauge, centres, words) -> None:
    with pytest.raises(ImpossibleGeometry, match=words):
        frog_to_clearance(6, gauge, centres)
    with pytest.raises(ImpossibleGeometry, match=words):
        curved_clearance(600, gauge, centres)


@pytest.mark.parametrize("radius", [50, 49, 0, -600, math.nan, math.inf])
def test_curved_clearance_when_the_curve_turns_back_too_soon_then_says_so(radius) -> None:
    with pytest.raises(ImpossibleGeometry, match=f"radius {radius:g} is never 50 away"):
        curved_clearance(radius, 16.5, 50)


# --- Centres needed ---------------------------------------------------------------------------


def test_centres_when_needed_then_are_half_widths_gap_and_end_throw() -> None:
    wide, narrow = 18.5, 17.25

    assert required_centres(half_width_main=wide, half_width_diverging=narrow, gap=3) == 38.75
    assert (
        required_centres(half_width_main=wide, half_width_diverging=narrow, gap=0, end_throw=2.25)
        == 38.0
    )


def test_centres_when_the_overhang_stays_inside_then_gain_nothing_by_it() -> None:
    assert (
        required_centres(half_width_main=18, half_width_diverging=18, gap=3, end_throw=-1.5) == 39
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"half_width_main": 0}, "half width of 0 for the main is no width; measure"),
        ({"half_width_diverging": -18}, "half width of -18 for the diverging leg"),
        ({"half_width_main": math.nan}, "half width of nan"),
        ({"half_width_diverging": math.inf}, "half width of inf"),
        ({"gap": -0.5}, "gap of -0.5 .* type 0 or more"),
        ({"gap": math.nan}, "gap of nan"),
        ({"end_throw": math.nan}, "end throw of nan .* type 0 where"),
        ({"end_throw": math.inf}, "end throw of inf"),
    ],
)
def test_centres_when_a_dimension_cannot_be_then_says_so(changes, words) -> None:
    asked = {"half_width_main": 18, "half_width_diverging": 18, "gap": 3, **changes}
    with pytest.raises(ImpossibleGeometry, match=words):
        required_centres(**asked)


def test_tracks_when_they_run_on_too_close_then_never_clear() -> None:
    words = never_clears(47.5, 48.125)

    assert words is not None
    assert "47.5 mm apart and 48.12 mm is needed" in words
    assert "too close ever to clear" in words
    assert "Spread them" in words


@pytest.mark.parametrize("final", [48, 48.001, 60])
def test_tracks_when_they_run_on_as_far_apart_as_needed_then_clear(final) -> None:
    assert never_clears(final, 48) is None


@pytest.mark.parametrize("centres", [(0, 48), (48, 0), (-1, 48), (math.nan, 48), (48, math.inf)])
def test_tracks_when_their_centres_cannot_be_then_says_so(centres) -> None:
    with pytest.raises(ImpossibleGeometry, match="mm cannot be; measure from the middle"):
        never_clears(*centres)


def crossing(one, other):
    """Where two lines cross, each a point and a direction."""
    (x1, y1), (dx1, dy1) = one
    (x2, y2), (dx2, dy2) = other
    along = ((x2 - x1) * dy2 - (y2 - y1) * dx2) / (dx1 * dy2 - dy1 * dx2)
    return x1 + along * dx1, y1 + along * dy1


def bisected(low: float, high: float, is_beyond) -> float:
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if is_beyond(middle) else (middle, high)
    return (low + high) / 2


@patient
@given(NUMBERS, GAUGES, SPREADS)
def test_wye_when_laid_out_with_coordinates_then_clears_there(number, gauge, spread) -> None:
    """The inner rails of two legs, half the angle to either side of the axis, cross at the frog;
    the clearance point is found by stepping out along both."""
    centres, half = gauge * spread, frog_angle(number) / 2
    legs = [(math.cos(turn), math.sin(turn)) for turn in (half, -half)]
    # An inner rail is half a gauge from its leg's centre line, on the side of the axis.
    rails = [
        ((side * dy * gauge / 2, -side * dx * gauge / 2), (dx, dy))
        for side, (dx, dy) in zip((1, -1), legs, strict=True)
    ]
    frog_x, frog_y = crossing(*rails)
    abreast = frog_x * legs[0][0] + frog_y * legs[0][1]

    def are_apart(out: float) -> bool:
        one, other = ((out * dx, out * dy) for dx, dy in legs)
        return math.dist(one, other) > centres

    reached = bisected(0, 1e5, are_apart)
    assert frog_y == pytest.approx(0, abs=1e-9)
    assert wye_to_clearance(number, gauge, centres) == pytest.approx(reached - abreast, rel=1e-7)


@patient
@given(NUMBERS, GAUGES, SPREADS)
def test_wye_when_beside_a_plain_turnout_then_lies_between_its_legs(number, gauge, spread) -> None:
    main, diverging = frog_to_clearance(number, gauge, gauge * spread)
    assert main < wye_to_clearance(number, gauge, gauge * spread) < diverging


@patient
@given(st.floats(300, 2000), st.floats(6, 33), SPREADS)
def test_curved_wye_when_laid_out_with_coordinates_then_clears_there(
    radius, gauge, spread
) -> None:
    centres = gauge * spread
    # How far from the axis a point has come, turned so far around a centre beside the axis.
    far = bisected(0, math.pi / 2, lambda turn: radius * (1 - math.cos(turn)) > centres / 2)
    frog = bisected(
        0, math.pi / 2, lambda turn: radius - (radius + gauge / 2) * math.cos(turn) > 0
    )
    found = curved_wye_to_clearance(radius, gauge, centres)
    assert found == pytest.approx(radius * (far - frog), rel=1e-6, abs=1e-6)
    # There the two rails cross at twice that angle.
    assert number_of_curve(radius, gauge, is_wye=True) == pytest.approx(
        frog_number(2 * frog), rel=1e-6
    )


@patient
@given(st.floats(300, 2000), st.floats(6, 33))
def test_curve_when_its_rails_are_drawn_then_cross_at_its_number(radius, gauge) -> None:
    turned = bisected(
        0,
        math.pi / 2,
        lambda turn: radius - (radius + gauge / 2) * math.cos(turn) > gauge / 2,
    )
    assert number_of_curve(radius, gauge) == pytest.approx(frog_number(turned), rel=1e-6)


@pytest.mark.parametrize("size", [(8, 16.5), (math.inf, 16.5), (600, 0), (math.nan, 16.5)])
def test_curve_when_it_has_no_frog_then_says_so(size) -> None:
    with pytest.raises(ImpossibleGeometry, match="has no frog"):
        number_of_curve(*size)


@pytest.mark.parametrize(
    ("radius", "agrees"), [(1188, True), (985, True), (970, False), (600, False)]
)
def test_number_and_radius_when_a_tenth_apart_then_agree(radius, agrees) -> None:
    # sqrt(R / 33): 6 for 1188, 5.46 for 985, 5.42 for 970, 4.26 for 600; a tenth more is 6.01
    # and 5.96 for the two in the middle.
    assert do_agree(6, radius, 16.5) is agrees


# --- A frog as people write it ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("6", "6"),
        ("4 1/2", "4.5"),
        ("4½", "4.5"),
        ("No. 8", "8"),
        ("nr 8", "8"),
        ("#10", "10"),
        ("1:9", "9"),
        ("1/8", "8"),
        ("1 IN 9,25", "9.25"),
    ],
)
def test_frog_when_written_as_a_number_then_is_exact(typed, number) -> None:
    assert str(read_frog(typed).number) == number


@pytest.mark.parametrize(
    ("typed", "number"),
    # Angles of whole numbers by the centre-line method: 4 is 14.250033 degrees, 6 is 9.527283, 8
    # is 7.152669 or 7 degrees 9 minutes 10 seconds, computed independently.
    [("14.250033°", 4), ("9.527283 deg", 6), ("7.152669º", 8), ("7° 9′ 10″", 8), ("7 9' 10\"", 8)],
)
def test_frog_when_written_as_an_angle_then_has_its_number(typed, number) -> None:
    found = read_frog(typed)
    assert found.is_angle
    assert float(found.number) == pytest.approx(number, rel=2e-5)


@pytest.mark.parametrize(
    "typed",
    [
        *("", "six", "6 mm", "-6", "0", "0.1", "101", "1e3", "NaN", "1/0", "4 1/0", "1:0", "6 6"),
        *("90°", "0°", "95'", "9° 60'", "9.5° 30'", "9" * 40, "٣"),
    ],
)
def test_frog_when_it_is_none_then_says_what_to_type(typed) -> None:
    with pytest.raises(Unreadable, match="Type "):
        read_frog(typed)


# --- What one end takes off -------------------------------------------------------------------


@pytest.mark.parametrize("reference", ["clearance mark", "joint", "table edge", "buffer stop"])
def test_deduction_when_nothing_is_in_the_way_then_is_none_and_asks_for_nothing(
    reference,
) -> None:
    found = from_the(
        reference, frog_number=None, centres_mm=None, points_to_frog_mm=None, leg="diverging"
    )

    assert (found.name, found.amount_mm) == (reference, 0)
    assert reference in found.why


def test_deduction_when_room_is_kept_before_the_buffer_stop_then_is_that_room() -> None:
    found = from_the("buffer stop", buffer_room_mm=25)

    assert found.amount_mm == 25
    assert found.why == "25 mm is kept free before the buffer stop."


@pytest.mark.parametrize(("leg", "expected"), [("main", 198.91667), ("diverging", 203.08333)])
def test_deduction_when_measured_from_frog_or_points_then_differs_by_the_lead(
    leg, expected
) -> None:
    frog, points = from_the("frog", leg=leg), from_the("points", leg=leg)

    assert round(frog.amount_mm, 5) == expected
    assert points.amount_mm == 150 + frog.amount_mm
    assert (frog.name, points.name) == ("frog to clearance point", "points to clearance point")
    assert f"{expected:.2f} mm beyond it along the {leg} leg" in frog.why
    assert "No. 6 frog" in frog.why
    assert points.why == f"150 mm from the points to the frog. {frog.why}"


def test_deduction_when_the_turnout_is_one_curve_then_asks_for_no_frog_number() -> None:
    curve = {"curve_radius_mm": 600, "leg": "diverging"}
    found = from_the("frog", frog_number=None, **curve)

    assert round(found.amount_mm, 5) == 106.60991
    assert "a turnout curved to 600 mm radius" in found.why
    assert from_the("points", frog_number=None, **curve).amount_mm == 150 + found.amount_mm


@patient
@given(NUMBERS, GAUGES, SPREADS, st.sampled_from(["main", "diverging"]))
def test_deduction_when_the_curve_has_the_same_frog_then_is_less_than_on_straight_legs(
    number, gauge, spread, leg
) -> None:
    """A curve with the same frog goes on turning away beyond it, so it clears sooner."""
    asked = {"gauge_mm": gauge, "centres_mm": gauge * spread, "leg": leg}
    straight = end_deduction(reference="frog", frog_number=number, **asked)
    curved = end_deduction(
        reference="frog", frog_number=None, curve_radius_mm=2 * gauge * number**2, **asked
    )

    assert 0 < curved.amount_mm < straight.amount_mm


@pytest.mark.parametrize(
    ("reference", "changes", "words"),
    [
        ("frog", {"frog_number": None}, "frog number is not known: read it .* or measure"),
        ("points", {"frog_number": None}, "frog number is not known"),
        ("frog", {"centres_mm": None}, "measure the width of the widest vehicle, or put a"),
        ("points", {"centres_mm": None}, "measure the width of the widest vehicle"),
        ("points", {"points_to_frog_mm": None}, "measure from the tips of the points"),
        ("points", {"points_to_frog_mm": 0}, "0 mm from the points to the frog cannot be"),
        ("points", {"points_to_frog_mm": math.nan}, "nan mm from the points"),
        ("frog", {"frog_number": 0}, "frog number of 0"),
        ("frog", {"frog_number": 1e6, "centres_mm": math.inf}, "inf mm cannot be taken off"),
        ("frog", {"gauge_mm": 0}, "above zero"),
        ("frog", {"centres_mm": 16}, "within one gauge"),
        ("frog", {"centres_mm": 16.6, "frog_number": 4}, "16.6 mm would do so before the frog"),
        ("frog", {"curve_radius_mm": 40}, "radius 40 is never 50 away"),
        ("frog", {"curve_radius_mm": 0}, "radius 0 is never 50 away"),
        ("buffer stop", {"buffer_room_mm": -1}, "Room of -1 mm .* type 0 or more"),
        ("buffer stop", {"buffer_room_mm": math.nan}, "Room of nan mm"),
    ],
)
def test_deduction_when_something_is_missing_or_cannot_be_then_names_what_to_measure(
    reference, changes, words
) -> None:
    with pytest.raises(ImpossibleGeometry, match=words):
        from_the(reference, **changes)


def test_deduction_when_the_reference_or_leg_is_none_then_says_which_there_are() -> None:
    with pytest.raises(ValueError, match="“signal” is nothing to measure from; use one of") as one:
        from_the("signal")
    assert all(each in str(one.value) for each in REFERENCES)
    with pytest.raises(ValueError, match="“left” is no leg of a turnout; use main or diverging"):
        from_the("frog", leg="left")
    assert LEGS == ("main", "diverging")


@pytest.mark.parametrize("amount", [-0.001, math.nan, math.inf])
def test_deduction_when_its_amount_cannot_be_then_says_so(amount) -> None:
    with pytest.raises(
        ImpossibleGeometry, match=f"{amount:g} mm cannot be taken off for “a bump”"
    ):
        Deduction("a bump", amount, "")


# --- Clear length -----------------------------------------------------------------------------


def test_clear_length_when_a_siding_is_measured_between_frogs_then_loses_both_ends() -> None:
    ends = (from_the("frog"), from_the("frog", leg="diverging"))

    found = clear_length(1200, ends)

    assert found == ClearLength(1200, ends)
    assert found.clear_mm == pytest.approx(1200 - 198.91667 - 203.08333, abs=1e-4)


def test_clear_length_when_nothing_comes_off_then_is_what_was_measured() -> None:
    assert clear_length(612.5, []).clear_mm == 612.5


@patient
@given(
    st.floats(1, 10_000),
    st.lists(st.floats(0, 1000), max_size=4),
    st.floats(0, 1000),
)
def test_clear_length_when_more_comes_off_then_falls_by_as_much(measured, amounts, more) -> None:
    ends = [Deduction("end", amount, "") for amount in amounts]
    before = ClearLength(measured, tuple(ends)).clear_mm
    after = ClearLength(measured, (*ends, Deduction("more", more, ""))).clear_mm

    assert before - after == pytest.approx(more, abs=1e-8)


@patient
@given(st.floats(1, 10_000), st.lists(st.floats(0, 1000), max_size=4))
def test_clear_length_when_made_then_is_never_below_zero(measured, amounts) -> None:
    ends = [Deduction("end", amount, "") for amount in amounts]
    try:
        found = clear_length(measured, ends)
    except ImpossibleGeometry:
        assert math.fsum(amounts) > measured
    else:
        assert 0 <= found.clear_mm <= measured + 1e-9


def test_clear_length_when_just_all_of_it_comes_off_then_is_zero() -> None:
    # In binary 0.3 is less than 0.1 and 0.2 together.
    found = clear_length(0.3, [Deduction("one", 0.1, ""), Deduction("other", 0.2, "")])

    assert found.clear_mm == 0
    assert math.copysign(1, found.clear_mm) == 1


def test_clear_length_when_more_comes_off_than_was_measured_then_names_the_largest() -> None:
    ends = [from_the("buffer stop", buffer_room_mm=20), from_the("points")]

    with pytest.raises(ImpossibleGeometry) as refused:
        clear_length(300, ends)

    words = str(refused.value)
    assert "Of 300 mm measured, 368.92 mm would come off" in words
    assert "“points to clearance point” with 348.92 mm" in words
    assert "buffer stop" not in words
    assert "see whether" in words


@pytest.mark.parametrize("measured", [0, -300, math.nan, math.inf])
def test_clear_length_when_the_track_was_not_measured_then_says_so(measured) -> None:
    with pytest.raises(ImpossibleGeometry, match=f"track of {measured:g} mm was not measured"):
        clear_length(measured, [])
