"""The smallest radius of a vehicle: which rules speak, what they ask for, and what they refuse."""

import math
from dataclasses import fields, replace

import pytest

from standards.couplings import Buffers, CarEnd, on_curve
from standards.curves import Body, ImpossibleGeometry
from standards.radii import Measures, RadiusRule, smallest_radius, words_for
from standards.sheets import all_sheets, scale

H0 = scale("nem", "H0")
HO = scale("nmra", "HO")

# Dimensions chosen: a coach, a wagon on two axles and an engine on three, for H0.
COACH = Measures(
    on_bogies=True,
    axles_in_frame=2,
    is_hauled=True,
    has_buffers=True,
    pivot_distance=218,
    bogie_wheelbase=28.7,
    play=0.6,
    wheel_diameter=10.6,
    flange_depth=1.0,
    body_length=299,
    length_over_buffers=303,
    length_over_couplers=306,
    buffer_spacing=20,
    buffer_head_width=6.5,
    buffer_head_radius=17,
    coupler_pivot=148,
    coupler_length=5,
    coupler_swing_deg=15,
)
WAGON = Measures(
    on_bogies=False,
    axles_in_frame=2,
    is_hauled=True,
    has_buffers=True,
    rigid_wheelbase=57,
    play=0.5,
    wheel_diameter=11.5,
    flange_depth=1.2,
    body_length=100,
    length_over_buffers=112,
    length_over_couplers=118,
)
ENGINE = replace(WAGON, axles_in_frame=3, is_hauled=False)

RULES = ["pivots", "rigid wheelbase", "angle of attack", "NEM 111", "RP-11", "buffers"]
RULES += ["coupler swing"]


def by_rule(vehicle: Measures, at=H0) -> dict[str, RadiusRule]:
    return {each.rule: each for each in smallest_radius(vehicle, at)}


def test_rules_when_asked_then_each_answers_once_and_those_of_thumb_come_last() -> None:
    found = smallest_radius(COACH, H0)

    assert [each.rule for each in found[:7]] == RULES
    assert [each.is_rule_of_thumb for each in found] == [False] * 7 + [True] * 8
    assert all("Rule of thumb" in each.basis for each in found[7:])
    assert len({each.rule for each in found}) == len(found)
    held = {each.id for each in all_sheets()}
    assert {each.sheet for each in found} - {""} <= held


@pytest.mark.parametrize("vehicle", [COACH, WAGON, ENGINE, Measures()])
@pytest.mark.parametrize("at", [H0, HO])
def test_rules_when_they_answer_then_give_a_radius_or_a_need_or_a_reason(vehicle, at) -> None:
    for each in smallest_radius(vehicle, at):
        assert each.basis
        assert each.radius_mm is None or (each.radius_mm > 0 and not each.needs)
        for need in each.needs:
            assert getattr(vehicle, need) is None
        assert len(each.needs_words) == len(each.needs)


def test_measures_when_named_then_each_has_words() -> None:
    for each in fields(Measures):
        words = words_for(each.name)
        assert words
        assert "_" not in words


@pytest.mark.parametrize(
    ("rule", "missing"),
    [
        ("pivots", ["pivot_distance"]),
        ("pivots", ["bogie_wheelbase", "pivot_distance"]),
        ("rigid wheelbase", ["bogie_wheelbase", "play", "wheel_diameter", "flange_depth"]),
        ("rigid wheelbase", ["axles_in_frame", "play"]),
        ("angle of attack", ["play"]),
        ("NEM 111", ["has_buffers", "length_over_buffers", "body_length", "pivot_distance"]),
        ("NEM 111", ["length_over_buffers"]),
        ("RP-11", ["is_hauled"]),
        ("RP-11", ["body_length"]),
        ("buffers", ["has_buffers", "buffer_head_radius", "coupler_pivot"]),
        ("buffers", ["buffer_spacing", "buffer_head_width", "coupler_length"]),
        ("buffers", ["length_over_buffers"]),
        ("coupler swing", ["coupler_swing_deg", "coupler_length"]),
        ("LDSIG radius rule, 3x", ["length_over_couplers"]),
    ],
)
def test_rule_when_something_was_not_measured_then_names_it_and_assumes_nothing(
    rule, missing
) -> None:
    found = by_rule(replace(COACH, **dict.fromkeys(missing)), HO)[rule]

    assert found.radius_mm is None
    assert set(found.needs) == set(missing)


@pytest.mark.parametrize("missing", ["on_bogies"])
def test_rules_when_the_running_gear_is_unknown_then_all_that_stand_on_it_ask(missing) -> None:
    found = by_rule(replace(COACH, **{missing: None}), HO)

    for rule in RULES:
        if rule != "RP-11":
            assert missing in found[rule].needs


# --- Geometry ---------------------------------------------------------------------------------


def test_pivots_when_known_then_bound_the_radius() -> None:
    assert by_rule(COACH)["pivots"].radius_mm == pytest.approx(math.hypot(218, 28.7) / 2)
    assert by_rule(WAGON)["pivots"].radius_mm == 28.5


def test_wheelbase_when_the_frame_has_two_or_three_axles_then_goes_by_its_own_formula() -> None:
    lap = 2 * math.sqrt(6.95**2 - 5.75**2)

    assert by_rule(WAGON)["rigid wheelbase"].radius_mm == pytest.approx((57 + lap) ** 2 / 4)
    assert by_rule(ENGINE)["rigid wheelbase"].radius_mm == pytest.approx(57**2 / 4 + 0.25)
    # What the flanges are like decides nothing with three.
    bare = replace(ENGINE, wheel_diameter=None, flange_depth=None)
    assert by_rule(bare)["rigid wheelbase"].radius_mm == pytest.approx(57**2 / 4 + 0.25)


def test_wheelbase_when_there_is_one_axle_then_has_nothing_to_say() -> None:
    found = by_rule(replace(WAGON, axles_in_frame=1))["rigid wheelbase"]

    assert (found.radius_mm, found.needs) == (None, ())
    assert "single axle" in found.basis


@pytest.mark.parametrize("play", [0, -0.3])
def test_play_when_there_is_none_then_no_radius_is_given_and_it_says_why(play) -> None:
    found = by_rule(replace(ENGINE, play=play))

    for rule in ("rigid wheelbase", "angle of attack"):
        assert (found[rule].radius_mm, found[rule].needs) == (None, ())
        assert "play" in found[rule].basis


def test_attack_when_the_frame_is_short_for_its_play_then_says_so() -> None:
    found = by_rule(replace(WAGON, rigid_wheelbase=4, play=1))["angle of attack"]

    assert found.radius_mm is None
    assert "on straight track already" in found.basis


# --- Classes ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("vehicle", "at", "words"),
    [
        (replace(WAGON, has_buffers=False), H0, "has none"),
        (replace(WAGON, rigid_wheelbase=130), H0, "longer than the longest"),
        (replace(WAGON, axles_in_frame=4), H0, "has more axles"),
        (replace(COACH, pivot_distance=225), H0, "longer than the longest"),
        (WAGON, scale("nem", "H0m"), "standard-gauge"),
    ],
)
def test_nem_111_when_it_does_not_speak_of_the_vehicle_then_says_why(vehicle, at, words) -> None:
    found = by_rule(vehicle, at)["NEM 111"]

    assert (found.radius_mm, found.needs) == (None, ())
    assert words in found.basis


def test_nem_111_when_a_wagon_has_three_axles_then_the_class_of_two_axles_is_not_its() -> None:
    three = replace(WAGON, axles_in_frame=3)

    assert "A1, two-axle" in by_rule(WAGON)["NEM 111"].basis
    assert "A2, two- or three-axle" in by_rule(three)["NEM 111"].basis
    assert by_rule(three)["NEM 111"].radius_mm > by_rule(WAGON)["NEM 111"].radius_mm


def test_rp_11_when_it_does_not_speak_of_the_scale_then_says_so() -> None:
    found = by_rule(COACH, H0)["RP-11"]

    assert (found.radius_mm, found.needs) == (None, ())
    assert "does not speak of H0" in found.basis


def test_rp_11_when_the_o_car_is_shorter_or_has_other_bogies_then_does_not_speak_of_it() -> None:
    o = scale("nmra", "O")
    car = Measures(on_bogies=True, axles_in_frame=3, is_hauled=True, body_length=500)

    assert by_rule(car, o)["RP-11"].radius_mm == pytest.approx(58 * 25.4)
    for other in (replace(car, axles_in_frame=2), replace(car, is_hauled=False)):
        found = by_rule(other, o)["RP-11"]
        assert (found.radius_mm, found.needs) == (None, ())
    asked = by_rule(replace(car, axles_in_frame=None), o)["RP-11"]
    assert asked.needs == ("axles_in_frame",)


# --- Beside another like it -------------------------------------------------------------------


def test_buffers_when_beside_their_like_then_just_touch_at_the_radius_found() -> None:
    radius = by_rule(COACH)["buffers"].radius_mm
    end = CarEnd(Body(299, 218, 28.7), 148, 5, Buffers(20, 151.5, 6.5, 17))

    assert on_curve(radius, end, end).buffer_gap == pytest.approx(0, abs=1e-4)


def test_buffers_when_they_touch_already_then_no_curve_is_left_and_it_says_so() -> None:
    found = by_rule(replace(COACH, length_over_buffers=306))["buffers"]

    assert found.radius_mm == math.inf
    assert "on straight track already" in found.basis


def test_buffers_when_there_are_none_then_the_rule_does_not_speak() -> None:
    found = by_rule(replace(COACH, has_buffers=False))["buffers"]

    assert (found.radius_mm, found.needs) == (None, ())


def test_buffers_when_their_measures_cannot_be_then_it_says_so() -> None:
    found = by_rule(replace(COACH, buffer_head_radius=2))["buffers"]

    assert found.radius_mm is None
    assert "half its width at least" in found.basis


def test_coupler_when_beside_its_like_then_has_swung_its_limit_at_the_radius_found() -> None:
    radius = by_rule(COACH)["coupler swing"].radius_mm
    end = CarEnd(Body(299, 218, 28.7), 148, 5)

    assert math.degrees(on_curve(radius, end, end).swing_first) == pytest.approx(15)


# --- Bad dimensions ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measure", "value", "words"),
    [
        ("pivot_distance", 0, "0 is no measure of this: distance between bogie pivots"),
        ("rigid_wheelbase", -5, "-5 is no measure of this: rigid wheelbase"),
        ("body_length", math.nan, "nan is no measure"),
        ("buffer_head_width", math.inf, "inf is no measure"),
        ("buffer_head_radius", 0, "0 is no measure"),
        ("axles_in_frame", 0, "0 is no measure of this: how many axles"),
    ],
)
def test_measures_when_they_cannot_be_then_say_so(measure, value, words) -> None:
    with pytest.raises(ImpossibleGeometry, match=words):
        Measures(**{measure: value})


def test_measures_when_buffers_are_flat_or_there_is_no_play_then_are_taken() -> None:
    assert Measures(buffer_head_radius=math.inf).buffer_head_radius == math.inf
    assert Measures(play=-0.2).play == -0.2
