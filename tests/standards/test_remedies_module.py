"""What to do about a finding, and by how much."""

import re
import tomllib
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from standards import remedies as module
from standards import sheets
from standards.conformity import Outcome, Rule
from standards.judging import (
    Finding,
    GaugeResult,
    HouseRule,
    Observation,
    Subject,
    judge_vehicle,
)
from standards.metrology import evaluate
from standards.quantities import QUANTITIES
from standards.remedies import COMMON_PRACTICE, Mend, mends, remedies

D = Decimal
HO = sheets.scale("nmra", "HO")
H0 = sheets.scale("nem", "H0")
HALF_OUNCE = D("14.1747615625")


def seen(quantity: str, value: str, at: str = "", error: str = "0") -> Observation:
    measured = evaluate([D(value)], max_error=D(error), resolution=D(0))
    return Observation(quantity, at, measured=measured)


def found(
    *observations: Observation,
    scale: sheets.Scale = HO,
    house: tuple[HouseRule, ...] = (),
    code: int | None = 110,
    rule: Rule = Rule.SIMPLE,
) -> tuple[Finding, ...]:
    declared = {} if code is None else {"1": code, "2": code}
    return judge_vehicle(
        Subject(scale, axles=2, declared_codes=declared), observations, house, rule
    )


def only(*observations: Observation, **facts) -> Mend:
    (mend,) = mends(found(*observations, **facts))
    return mend


# --- Amounts ----------------------------------------------------------------------------------


def test_narrow_back_to_back_when_mended_then_amounts_reach_to_each_limit_and_the_middle() -> None:
    """NMRA S-4.2 HO with RP-25 code 110: 14.3764 to 14.605 mm, middle 14.4907."""
    mend = only(seen("back_to_back", "14.22", "1"))

    assert (mend.least, mend.most, mend.aim) == (D("0.1564"), D("0.385"), D("0.2707"))
    assert mend.is_needed
    assert (mend.quantity, mend.at) == ("back_to_back", "1")
    assert mend.remedy.too == "small"


@pytest.mark.parametrize(
    ("unit", "places", "text"),
    [
        ("mm", 2, "Spread the wheels on axle 1 by 0.16 to 0.38 mm"),
        ("mm", 4, "Spread the wheels on axle 1 by 0.1564 to 0.3850 mm"),
        ("in", 3, "Spread the wheels on axle 1 by 0.007 to 0.015 in"),
        ("in", 4, "Spread the wheels on axle 1 by 0.0062 to 0.0151 in"),
    ],
)
def test_narrow_back_to_back_when_put_in_words_then_says_how_much_in_the_unit(
    unit, places, text
) -> None:
    """0.1564 mm is .00616 in and 0.385 mm is .01516 in; the least is rounded up, the most down."""
    assert only(seen("back_to_back", "14.22", "1")).headline(unit, places) == text


def test_wide_back_to_back_when_mended_then_is_pressed_together() -> None:
    """NMRA S-4.2 HO with RP-25 code 110: 14.3764 to 14.605 mm."""
    mend = only(seen("back_to_back", "14.70", "2"))

    assert (mend.least, mend.most, mend.aim) == (D("0.095"), D("0.3236"), D("0.2093"))
    assert mend.headline("mm", 3) == "Press the wheels on axle 2 together by 0.095 to 0.323 mm"


def test_wide_back_to_back_when_no_flange_is_known_then_is_still_pressed_together() -> None:
    """NMRA S-4.2 HO: B min 14.3764 mm; 15.5 mm is above K max 15.367 mm itself."""
    mend = only(seen("back_to_back", "15.5", "1"), code=None)

    assert mend.remedy.too == "large"
    assert (mend.least, mend.most) == (D("0.133"), D("1.1236"))


def test_thick_flange_when_no_back_to_back_suits_it_then_the_wheelset_is_changed() -> None:
    """NMRA S-4.2 HO: K max 15.367 less 1.2 mm is 14.167 mm, 0.2094 mm below B min 14.3764."""
    listed = mends(found(seen("back_to_back", "14.4", "1"), seen("flange_thickness", "1.2", "1")))

    assert [mend.headline("mm", 2) for mend in listed] == [
        "Change the wheelset of axle 1: its flange is 0.21 mm too thick",
        "Bring the check gauge of axle 1 down by 0.24 mm",
    ]
    assert [mend.is_needed for mend in listed] == [True, True]
    assert (listed[0].least, listed[1].least) == (D("0.2094"), D("0.233"))


def test_flange_when_hardly_too_thick_then_another_wheelset_is_offered_and_not_needed() -> None:
    """NMRA S-4.2 HO: K max 15.367 less 1.0 mm is 14.367, 0.0094 mm below B min 14.3764."""
    readings = (
        seen("back_to_back", "14.37", "1", error="0.05"),
        seen("flange_thickness", "1.0", "1", error="0.03"),
    )
    listed = mends(found(*readings, rule=Rule.NINETY_FIVE))

    assert [mend.headline("mm", 2) for mend in listed] == [
        "Change the wheelset of axle 1: its flange is 0.01 mm too thick",
        "Bring the check gauge of axle 1 down by 0.01 mm",
    ]
    assert [mend.is_needed for mend in listed] == [False, False]


def test_house_limit_when_it_crosses_the_sheet_s_then_nothing_is_to_be_done_to_the_vehicle() -> (
    None
):
    """NEM 360: 8.0 to 9.0 mm; NMRA S-4.2 HO: B min 14.3764 mm."""
    raised = (HouseRule("coupler_height", D("9.2"), None, "our old stock"),)
    narrow = (HouseRule("back_to_back", None, D("14.3"), "our old track"),)
    coupler = found(seen("coupler_height", "8.5", "A"), scale=H0, house=raised)
    wheels = found(seen("back_to_back", "14.35", "1"), house=narrow)

    assert (coupler[0].outcome, wheels[0].outcome) == (Outcome.OUTSIDE, Outcome.OUTSIDE)
    assert mends(coupler) == mends(wheels) == ()


def test_aim_when_the_sheet_prints_a_figure_then_is_that_figure() -> None:
    """NEM 360: 8.5 plus or minus 0.5; NEM 303, size I: 33.0 plus 0.5 minus 1.5."""
    low = only(seen("coupler_height", "7.5", "A"), scale=H0)
    buffer = only(seen("buffer_height", "34", "B"), scale=sheets.scale("nem", "I"))

    assert (low.least, low.most, low.aim) == (D("0.5"), D("1.5"), D("1.0"))
    assert low.headline("mm", 1) == "Raise the coupler at end A by 0.5 to 1.5 mm"
    assert (buffer.least, buffer.most, buffer.aim) == (D("0.5"), D("2.5"), D("1.0"))
    assert buffer.headline("mm", 1) == "Lower the buffers at end B by 0.5 to 2.5 mm"


def test_aim_when_the_house_leaves_the_printed_figure_out_then_is_its_own_middle() -> None:
    """NEM 360: 8.5 plus or minus 0.5; a house asks for 7.8 to 8.2, or for 8.6 at least, which
    leaves the sheet's 9.0 in force."""
    narrow = (HouseRule("coupler_height", D("7.8"), D("8.2"), "our old stock"),)
    open_ended = (HouseRule("coupler_height", D("8.6"), None, "our old stock"),)
    low = seen("coupler_height", "7.5", "A")

    assert only(low, scale=H0, house=narrow).aim == D("0.5")
    assert only(low, scale=H0, house=open_ended).aim == D("1.3")


def test_amount_when_only_one_limit_is_printed_then_is_one_number() -> None:
    """NMRA S-4.2 HO: N min .108 in."""
    mend = only(seen("tyre_width", "2.7178", "1"))  # .107 in

    assert (mend.least, mend.most, mend.aim) == (D("0.0254"), None, None)
    assert mend.headline("in", 3) == (
        "Change the wheelset of axle 1, or keep it to fine track: its tyre is 0.001 in too narrow"
    )


def test_amount_when_both_limits_are_one_number_then_is_told_once() -> None:
    house = (HouseRule("body_width", D(32), D(32), "the tunnel"),)
    weighed = (HouseRule("mass", D(100), D(100), "club"),)

    assert mends(found(seen("body_width", "33"), house=house)) == ()  # nothing is known to do
    assert only(seen("mass", "90"), house=weighed).headline("g", 1) == "Add weight: 10.0 g"


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        ("100.04", "100.06", "Add weight: 10.1 g"),  # 10.04 to 10.06: about 10.05
        ("100.01", "100.03", "Add weight: 10.0 g"),
        ("100.03", "100.08", "Add weight: 10.1 g"),
        ("100.03", "100.13", "Add weight: 10.1 g"),  # 10.03 up, 10.13 down: one number
        ("100.03", "100.2", "Add weight: 10.1 to 10.2 g"),
    ],
)
def test_amount_when_both_limits_fall_between_two_digits_then_is_about_their_middle(
    low, high, text
) -> None:
    """Rounded inwards the least would come out above the most."""
    house = (HouseRule("mass", D(low), D(high), "club"),)

    assert only(seen("mass", "90"), house=house).headline("g", 1) == text


@pytest.mark.parametrize(
    ("quantity", "value", "text"),
    [
        # NMRA S-4.1, Proto:48: D .022 to .026 in, T .024 to .028 in; .006 in is 0.1524 mm
        ("flange_depth", "0.8128", "its flange is 0.16 mm too deep"),
        ("flange_depth", "0.4064", "its flange is 0.16 mm too shallow"),
        ("flange_thickness", "0.8636", "its flange is 0.16 mm too thick"),
        ("flange_thickness", "0.4572", "its flange is 0.16 mm too thin"),
    ],
)
def test_amount_when_it_says_how_much_is_wrong_then_is_the_least_alone(
    quantity, value, text
) -> None:
    """NMRA S-4.1, Proto:48; each value is .006 in past its limit."""
    mend = only(
        seen(quantity, value, "1"), scale=sheets.scale("nmra-proto-fine", "Proto:48"), code=None
    )

    assert mend.most is not None
    assert mend.headline("mm", 2) == f"Change the wheelset of axle 1: {text}"


@pytest.mark.parametrize(
    ("quantity", "at", "answer", "text"),
    [
        ("back_to_back", "1", "small", "Spread the wheels on axle 1"),
        ("back_to_back", "1", "large", "Press the wheels on axle 1 together"),
        ("flange_depth", "1", "large", "Change the wheelset of axle 1: its flange is too deep"),
        (
            "tyre_width",
            "2",
            "small",
            "Change the wheelset of axle 2, or keep it to fine track: its tyre is too narrow",
        ),
        ("coupler_height", "A", "large", "Lower the coupler at end A"),
        ("trip_pin_clearance", "B", "small", "Bend up or shorten the trip pin at end B"),
        ("buffer_spacing", "A", "small", "The buffers at end A stand too close"),
        ("mass", "", "small", "Add weight"),
        ("start_rolling_grade", "", "large", "Make it roll more easily"),
    ],
)
def test_amount_when_a_gauge_was_used_then_the_words_for_it_are_left_out(
    quantity, at, answer, text
) -> None:
    mend = only(Observation(quantity, at, gauge=GaugeResult(f"too {answer}")))

    assert (mend.least, mend.most, mend.aim) == (None, None, None)
    assert mend.headline("mm", 2) == text


def test_mass_when_too_small_then_says_what_to_add_in_the_units_of_the_scale() -> None:
    """NMRA RP-20.1, HO, 6 in: 4 oz; half an ounce about it is a rule of one club (cvlrr.com)."""
    club = HouseRule("mass", HALF_OUNCE, HALF_OUNCE, "club", about_sheet=True)
    mend = only(seen("body_length", "152.4"), seen("mass", "85.048569375"), house=(club,))

    assert (mend.least, mend.most) == (HALF_OUNCE, 3 * HALF_OUNCE)
    assert mend.aim == 2 * HALF_OUNCE
    assert mend.headline("oz", 1) == "Add weight: 0.5 to 1.5 oz"
    assert mend.headline("g", 1) == "Add weight: 14.2 to 42.5 g"


# --- What is listed ---------------------------------------------------------------------------


def test_findings_when_within_or_not_judged_then_need_no_mending() -> None:
    listed = found(
        seen("back_to_back", "14.5", "1"),
        seen("coupler_height", "5", "A"),  # S-2 prints no tolerance
        seen("body_length", "900"),
    )

    assert {finding.outcome for finding in listed} == {Outcome.WITHIN, Outcome.NOT_JUDGED}
    assert mends(listed) == ()


@pytest.mark.parametrize(
    ("value", "outcome", "count"),
    [
        ("14.35", Outcome.UNDECIDED, 1),  # past the limit, by less than the caliper can tell
        ("14.40", Outcome.UNDECIDED, 0),  # inside it, by less than the caliper can tell
        ("14.62", Outcome.UNDECIDED, 1),
        ("14.28", Outcome.OUTSIDE, 1),
    ],
)
def test_undecided_when_the_value_is_past_the_limit_then_is_offered_and_not_needed(
    value, outcome, count
) -> None:
    """NMRA S-4.2 HO with RP-25 code 110: 14.3764 to 14.605 mm."""
    listed = found(seen("back_to_back", value, "1", error="0.05"), rule=Rule.NINETY_FIVE)
    offered = mends(listed)

    assert listed[0].outcome is outcome
    assert len(offered) == count
    assert [mend.is_needed for mend in offered] == [outcome is Outcome.OUTSIDE] * count


def test_undecided_when_the_flange_is_unknown_then_nothing_is_to_be_done_to_the_wheel() -> None:
    listed = found(seen("back_to_back", "14.5", "1"), code=None)

    assert listed[0].outcome is Outcome.UNDECIDED
    assert mends(listed) == ()


def test_mends_when_sorted_then_needed_work_comes_first() -> None:
    """NEM 302:2015 asks 40 g of 100 mm; NEM 360 8.0 mm; NEM 310:2009 B min 14.4 mm."""
    listed = mends(
        found(
            seen("buffer_spacing", "19.0", "A"),  # advisory
            seen("coupler_height", "7.5", "B"),
            seen("length_over_buffers", "100"),
            seen("mass", "30"),  # advisory
            seen("back_to_back", "14.0", "2"),
            scale=H0,
        )
    )

    assert [(mend.quantity, mend.at, mend.is_needed) for mend in listed] == [
        ("back_to_back", "2", True),
        ("coupler_height", "B", True),
        ("buffer_spacing", "A", False),
        ("mass", "", False),
    ]


# --- The list itself --------------------------------------------------------------------------


def judgeable() -> set[tuple[str, str]]:
    """Every quantity and direction in which a sheet of some family can find it outside."""
    needed = set()
    for family in sheets.families().values():
        for scale in family.scales:
            for code, limit in sheets.limits_for(scale).items():
                if code in QUANTITIES:
                    needed |= {(code, "small")} if limit.low is not None else set()
                    needed |= {(code, "large")} if limit.high is not None else set()
            rule = sheets.mass_rule_for(scale)
            if rule is not None and rule.minimum_g_per_mm is not None:
                needed |= {("mass", "small"), ("mass", "large")}
    return needed


def test_remedies_when_a_sheet_can_find_something_outside_then_hold_one_for_it() -> None:
    needed = judgeable() | {("back_to_back", "large")}  # derived from K max

    assert {
        ("back_to_back", "small"),
        ("flange_depth", "large"),
        ("tyre_width", "small"),
        ("coupler_height", "large"),
        ("mass", "small"),
    } <= needed
    assert needed - set(remedies()) == set()


def test_remedies_when_a_house_limit_is_what_they_are_outside_of_then_hold_one_too() -> None:
    """Wheel diameter, axle length, trip pin and rolling are limited by houses and makers only."""
    assert {
        ("wheel_diameter", "small"),
        ("wheel_diameter", "large"),
        ("axle_length", "small"),
        ("axle_length", "large"),
        ("trip_pin_clearance", "small"),
        ("trip_pin_clearance", "large"),
        ("start_rolling_grade", "large"),
    } <= set(remedies())


def test_remedies_when_read_then_each_is_there_once_and_about_something_measured() -> None:
    with (Path(module.__file__).parent / "remedies.toml").open("rb") as file:
        raw = tomllib.load(file)["remedy"]

    assert len(raw) == len(remedies())
    for quantity, too in remedies():
        assert quantity in QUANTITIES
        assert too in ("small", "large")


@pytest.mark.parametrize("key", remedies(), ids="-".join)
def test_remedy_when_put_in_words_then_names_the_amount_and_leaves_no_gap(key) -> None:
    remedy = remedies()[key]
    place = QUANTITIES[key[0]].place.value
    at = {"vehicle": "", "track": "spot 1"}.get(place, "1")
    mend = Mend(key[0], at, remedy, D("0.5"), D("1.5"), None, is_needed=True)
    unit = QUANTITIES[key[0]].unit
    headline = mend.headline(unit, 1)

    # "Its flange is 0.5 mm too deep" tells how much is wrong; the others how much to change.
    tells_what_is_wrong = re.search(r"\{amount\} too ", remedy.headline)
    assert (f"0.5 {unit} too " if tells_what_is_wrong else f"0.5 to 1.5 {unit}") in headline
    assert "{" not in headline
    named = at if place == "track" else f"{place} 1"
    assert (named in headline) == bool(at)
    by_gauge = replace(mend, least=None, most=None).headline(unit, 1)
    assert re.findall(r"\d+", by_gauge) == (["1"] if at else [])
    assert re.search(r"  |[ :,]$| by$", by_gauge) is None
    assert remedy.how.endswith(".")
    assert remedy.source == COMMON_PRACTICE


# --- Safety -----------------------------------------------------------------------------------

HARMLESS = {
    ("buffer_height", "small"),
    ("buffer_spacing", "small"),
    ("buffer_spacing", "large"),
}
RISKY = re.compile(
    r"\b(cut|fil(e|es|ing)|drill\w*|solvents?|fluid|glue|compound|lathe|vice|press\w*|lead|solder"
    r"|melt|pliers|lever|blade|knife|ease|material off|turning)\b",
    re.IGNORECASE,
)


def test_remedies_when_they_have_no_caution_then_are_those_that_need_none() -> None:
    without = {key for key, remedy in remedies().items() if not remedy.caution}

    assert without == HARMLESS
    for key in without:
        assert RISKY.search(f"{remedies()[key].headline} {remedies()[key].how}") is None, key


def test_remedies_when_they_take_wheels_off_then_warn_of_small_parts() -> None:
    """Wheels and axles are swallowed by small children; common practice, no source."""
    taken_off = {
        key
        for key, remedy in remedies().items()
        if "change the wheelset" in f"{remedy.headline} {remedy.how}".lower()
    }

    assert len(taken_off) >= 10
    for key in taken_off:
        assert "small parts: keep them from children" in remedies()[key].caution, key


@pytest.mark.parametrize(
    ("quantity", "too", "words"),
    [
        ("mass", "small", "Lead is poisonous"),
        ("mass", "small", "keep it from children"),
        ("mass", "large", "Old ballast may be lead"),
        ("trip_pin_clearance", "small", "Wear eye protection: cut pins fly"),
        ("trip_pin_clearance", "large", "eye protection"),
        ("flange_thickness", "large", "with eye protection"),
        ("flange_depth", "large", "with eye protection"),
        ("coupler_height", "large", "eye protection when filing or drilling"),
        ("buffer_height", "large", "eye protection when filing or drilling"),
        ("coupler_height", "small", "Cut shims away from yourself"),
        ("back_to_back", "small", "moving air"),
        ("back_to_back", "large", "Keep fingers out of the jaws"),
        ("back_to_back", "large", "loose wheels are small parts for a child"),
        ("back_to_back", "small", "keep it and loose wheels away from children"),
        ("flange_depth", "small", "away from flames"),
        ("start_rolling_grade", "large", "no flame"),
    ],
)
def test_caution_when_the_work_can_hurt_then_says_how_not_to(quantity, too, words) -> None:
    assert words in remedies()[quantity, too].caution
