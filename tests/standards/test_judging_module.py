"""House limits, carried lengths, the order of findings, and what follows for the vehicle."""

import math
from decimal import Decimal

import pytest

from standards import sheets
from standards.conformity import Judgement, Outcome, Rule
from standards.judging import (
    Finding,
    GaugeResult,
    HouseRule,
    Observation,
    Proposal,
    Service,
    Subject,
    judge_vehicle,
    propose,
    where,
)
from standards.metrology import Measured, exact

HO = sheets.scale("nmra", "HO")
H0 = sheets.scale("nem", "H0")
PROTO_48 = sheets.scale("nmra-proto-fine", "Proto:48")
OO_FINE = sheets.scale("oo-fine", "00")
D = Decimal


def seen(quantity: str, value: str, at: str = "") -> Observation:
    """A value in mm, g or % that is never wrong."""
    return Observation(quantity, at, measured=exact(D(value)))


def subject(scale: sheets.Scale = HO, **facts) -> Subject:
    return Subject(scale, **{"axles": 1, "declared_codes": {"1": 110, "2": 110}, **facts})


def judged(
    *observations: Observation,
    scale: sheets.Scale = HO,
    house: tuple[HouseRule, ...] = (),
    carried: tuple[Observation, ...] = (),
    **facts,
) -> dict[tuple[str, str], Finding]:
    found = judge_vehicle(
        subject(scale, **facts), observations, house, Rule.SIMPLE, carried=carried
    )
    return {(finding.quantity, finding.at): finding for finding in found}


# --- House limits -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        ("14.4499", Outcome.OUTSIDE),
        ("14.45", Outcome.WITHIN),
        ("14.55", Outcome.WITHIN),
        ("14.5501", Outcome.OUTSIDE),
    ],
)
def test_house_limit_when_set_then_judges_in_place_of_the_sheet_and_says_so(
    value, outcome
) -> None:
    """NMRA S-4.2 HO would allow .566 in to .575 in with RP-25 code 110."""
    rule = HouseRule("back_to_back", D("14.45"), D("14.55"), "our old turnouts")
    finding = judged(seen("back_to_back", value, "1"), house=(rule,))["back_to_back", "1"]

    assert finding.outcome is outcome
    assert finding.is_judged_by_house
    assert finding.low.basis == finding.high.basis == "House limit: our old turnouts"
    assert not finding.is_derived
    assert finding.note == (
        "In place of S-4.2 HO: least 0.566 in; S-4.2 K max 0.605 in less the flange of RP-25 "
        "code 110, 0.03 in, not measured."
    )
    assert finding.sheets == ("nmra-s-4.2",)


def test_house_limit_when_the_flange_is_unknown_then_decides_alone() -> None:
    rule = HouseRule("back_to_back", D("14.4"), D("14.6"), "track gauge of the club")
    finding = judged(seen("back_to_back", "14.5", "1"), house=(rule,), declared_codes={})

    assert finding["back_to_back", "1"].outcome is Outcome.WITHIN


def test_house_limit_when_no_sheet_speaks_then_judges_by_itself() -> None:
    """No family limits the length of a body."""
    rule = HouseRule("body_length", None, D(250), "the fiddle yard")

    alone = judged(seen("body_length", "251"))["body_length", ""]
    assert (alone.outcome, alone.note) == (
        Outcome.NOT_JUDGED,
        "No sheet of this family limits it.",
    )
    housed = judged(seen("body_length", "251"), house=(rule,))["body_length", ""]
    assert housed.outcome is Outcome.OUTSIDE
    assert housed.direction == 1
    assert (housed.low.number, housed.high.number) == (None, D(250))
    at_limit = judged(seen("body_length", "250"), house=(rule,))["body_length", ""]
    assert at_limit.outcome is Outcome.WITHIN


def test_house_limit_when_it_is_about_the_sheet_then_each_side_is_counted_from_its_figure() -> (
    None
):
    """NMRA S-2, HO: .391 in, 9.9314 mm. The distances are a house's own."""
    rule = HouseRule("coupler_height", D("0.2"), D("0.1"), "our couplers", about_sheet=True)
    finding = judged(seen("coupler_height", "9.9", "A"), house=(rule,))["coupler_height", "A"]

    assert (finding.low.number, finding.high.number) == (D("9.7314"), D("10.0314"))
    assert finding.outcome is Outcome.WITHIN
    assert finding.nominal == D("9.9314")


def test_house_limit_when_it_is_about_one_side_only_then_the_other_is_open() -> None:
    """NMRA RP-20.1, HO, 6 in: 4 oz, 113.3980925 g."""
    rule = HouseRule("mass", D(10), None, "steep grades", about_sheet=True)
    found = judged(seen("body_length", "152.4"), seen("mass", "500"), house=(rule,))["mass", ""]

    assert (found.low.number, found.high.number) == (D("103.3980925"), None)
    assert found.outcome is Outcome.WITHIN


def test_house_limit_when_the_sheet_has_no_figure_to_be_about_then_the_sheet_judges() -> None:
    """NMRA S-4.2 prints a least back-to-back and no figure to aim at."""
    rule = HouseRule("back_to_back", D("0.1"), D("0.1"), "club", about_sheet=True)
    finding = judged(seen("back_to_back", "14.3", "1"), house=(rule,))["back_to_back", "1"]

    assert finding.outcome is Outcome.OUTSIDE
    assert finding.low.number == D("14.3764")
    assert not finding.is_judged_by_house
    assert finding.note == "The house limit is about the sheet's figure, and there is none."


def test_house_limit_when_it_is_for_a_sum_then_judges_the_computed_one() -> None:
    """NMRA S-4.2 HO: K max .605 in, 15.367 mm; a house asks for 15.2."""
    rule = HouseRule("wheel_check", None, D("15.2"), "tight guard rails")
    readings = seen("back_to_back", "14.5", "1"), seen("flange_thickness", "0.75", "1")

    assert judged(*readings)["wheel_check", "1"].outcome is Outcome.WITHIN
    assert judged(*readings, house=(rule,))["wheel_check", "1"].outcome is Outcome.OUTSIDE


def test_house_limit_when_a_gauge_was_used_then_the_gauge_decides() -> None:
    rule = HouseRule("back_to_back", D("14.45"), D("14.55"), "club")
    tried = Observation("back_to_back", "1", gauge=GaugeResult.GO)

    assert judged(tried, house=(rule,))["back_to_back", "1"].outcome is Outcome.WITHIN


def test_gauge_when_no_sheet_speaks_then_says_that_it_stands_alone() -> None:
    tried = Observation("trip_pin_clearance", "A", gauge=GaugeResult.GO)
    finding = judged(tried)["trip_pin_clearance", "A"]

    assert finding.outcome is Outcome.WITHIN
    assert finding.note == "By the gauge alone: no sheet of this family limits it."


# --- Locomotives and lengths ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("scale", "length", "note"),
    [
        (HO, "body_length", "RP-20.1 speaks of hauled stock, not of locomotives."),
        (H0, "length_over_buffers", "NEM 302 speaks of hauled stock, not of locomotives."),
    ],
)
def test_locomotive_when_weighed_then_its_mass_is_not_judged(scale, length, note) -> None:
    finding = judged(seen(length, "150"), seen("mass", "400"), scale=scale, is_hauled=False)

    assert finding["mass", ""].outcome is Outcome.NOT_JUDGED
    assert finding["mass", ""].note == note
    assert finding["mass", ""].nominal is None


def test_locomotive_when_the_house_limits_the_mass_of_cars_then_is_not_meant() -> None:
    rule = HouseRule("mass", D(100), D(130), "club")
    engine = judged(seen("mass", "400"), house=(rule,), is_hauled=False)["mass", ""]
    car = judged(seen("mass", "400"), house=(rule,))["mass", ""]

    assert (engine.outcome, car.outcome) == (Outcome.NOT_JUDGED, Outcome.OUTSIDE)


def test_mass_when_the_family_has_no_rule_then_is_not_judged() -> None:
    finding = judged(seen("mass", "60"), seen("body_length", "120"), scale=OO_FINE)["mass", ""]

    assert finding.outcome is Outcome.NOT_JUDGED
    assert finding.note == "No sheet of this family holds a mass rule."
    assert finding.sheets == ()


def test_length_when_carried_from_an_earlier_inspection_then_serves_the_mass_and_no_more() -> None:
    """NEM 302:2015, H0: 0.4 g per mm; 100 mm over buffers asks for 40 g."""
    found = judged(seen("mass", "40"), scale=H0, carried=(seen("length_over_buffers", "100"),))

    assert found["mass", ""].low.number == D(40)
    assert found["mass", ""].outcome is Outcome.WITHIN
    assert list(found) == [("mass", "")]


def test_length_when_measured_anew_then_counts_before_the_carried_one() -> None:
    """NEM 302:2015, H0: 0.4 g per mm."""
    found = judged(
        seen("mass", "40"),
        seen("length_over_buffers", "110"),
        scale=H0,
        carried=(seen("length_over_buffers", "100"),),
    )

    assert found["mass", ""].low.number == D(44)
    assert found["mass", ""].outcome is Outcome.OUTSIDE


def test_length_when_carried_twice_then_the_later_one_counts() -> None:
    """NEM 302:2015, H0: 0.4 g per mm."""
    earlier, later = seen("length_over_buffers", "100"), seen("length_over_buffers", "105")
    found = judged(seen("mass", "41"), scale=H0, carried=(earlier, later))

    assert found["mass", ""].low.number == D(42)


def test_mass_when_only_its_length_is_new_then_the_earlier_mass_is_judged_by_it() -> None:
    """NEM 302:2015, H0: 0.4 g per mm; 100 mm over buffers asks for 40 g."""
    found = judged(seen("length_over_buffers", "100"), scale=H0, carried=(seen("mass", "39.9"),))

    assert found["mass", ""].outcome is Outcome.OUTSIDE
    assert found["mass", ""].value == D("39.9")


def test_mass_when_something_else_is_new_then_the_earlier_one_is_left_alone() -> None:
    found = judged(
        seen("coupler_height", "8.5", "A"),
        scale=H0,
        carried=(seen("mass", "39.9"), seen("length_over_buffers", "100")),
    )

    assert list(found) == [("coupler_height", "A")]


def test_flange_when_carried_from_an_earlier_inspection_then_limits_the_back_to_back() -> None:
    """NMRA S-4.2 HO: K max .605 in, 15.367 mm, less 0.8 mm is 14.567 mm."""
    flange = seen("flange_thickness", "0.8", "1")
    found = judged(seen("back_to_back", "14.568", "1"), carried=(flange,), declared_codes={})

    assert list(found) == [("back_to_back", "1"), ("wheel_check", "1")]
    assert found["back_to_back", "1"].high.number == D("14.567")
    assert found["back_to_back", "1"].high.basis == (
        "S-4.2 K max 0.605 in less the measured flange of 0.800 mm, measured earlier"
    )
    assert found["wheel_check", "1"].value == D("15.368")
    assert {finding.outcome for finding in found.values()} == {Outcome.OUTSIDE}


def test_flange_when_measured_after_the_back_to_back_then_the_sum_is_judged() -> None:
    """NEM 310:2009 at 16.5 mm: K 15.1 to 15.3; 14.6 and 0.8 make 15.4."""
    found = judged(
        seen("flange_thickness", "0.8", "1"),
        scale=H0,
        carried=(seen("back_to_back", "14.6", "1"),),
    )

    assert list(found) == [("flange_thickness", "1"), ("wheel_check", "1")]
    assert found["wheel_check", "1"].outcome is Outcome.OUTSIDE


def test_length_over_buffers_when_both_lengths_are_known_then_comes_first() -> None:
    """NEM 302:2015, H0: 0.4 g per mm over buffers."""
    found = judged(
        seen("mass", "41"),
        seen("length_over_couplers", "120"),
        seen("length_over_buffers", "100"),
        scale=H0,
    )

    assert found["mass", ""].low.number == D(40)


# --- Sums -------------------------------------------------------------------------------------


def test_sums_when_both_parts_are_uncertain_then_one_flange_reading_counts_twice_over() -> None:
    """NMRA S-4.1: over the flanges is B + 2T, and both flanges go by one reading.

    Its error is then in the sum twice, 0.08 mm, and not by chance once this way and once that.
    """
    back = Measured(D("28"), 0.03, math.inf, ())
    flange = Measured(D("0.65"), 0.04, math.inf, ())
    found = judged(
        Observation("back_to_back", "1", measured=back),
        Observation("flange_thickness", "1", measured=flange),
        scale=PROTO_48,
    )

    assert found["wheel_check", "1"].value == D("28.65")
    assert found["wheel_check", "1"].measured.u == math.hypot(0.03, 0.04)
    assert found["over_flanges", "1"].value == D("29.3")
    assert found["over_flanges", "1"].measured.u == math.hypot(0.03, 0.08)


def test_sum_when_it_was_measured_itself_then_is_not_computed_besides() -> None:
    found = judge_vehicle(
        subject(),
        [
            seen("back_to_back", "14.5", "1"),
            seen("flange_thickness", "0.75", "1"),
            seen("wheel_check", "15.3", "1"),
        ],
        rule=Rule.SIMPLE,
    )

    assert [finding.value for finding in found if finding.quantity == "wheel_check"] == [D("15.3")]


def test_sum_when_the_flange_of_another_axle_was_measured_then_it_is_not_borrowed() -> None:
    found = judged(
        seen("back_to_back", "14.5", "1"), seen("flange_thickness", "0.75", "2"), axles=2
    )

    assert ("wheel_check", "1") not in found
    assert ("wheel_check", "2") not in found
    assert "not measured" in found["back_to_back", "1"].high.basis


def test_sum_when_only_its_greatest_is_printed_then_a_missing_flange_leaves_no_empty_verdict() -> (
    None
):
    """NMRA S-4.2 HO prints K max alone; the derived greatest back-to-back says the same."""
    assert list(judged(seen("back_to_back", "14.5", "1"))) == [("back_to_back", "1")]


def test_flange_when_too_thick_for_any_back_to_back_then_is_outside_and_says_why() -> None:
    """NMRA S-4.2 HO: K max .605 in less 1.2 mm is 14.167 mm, below B min 14.3764 mm."""
    found = judged(seen("back_to_back", "14.2", "1"), seen("flange_thickness", "1.2", "1"))
    finding = found["back_to_back", "1"]

    assert finding.outcome is Outcome.OUTSIDE
    assert finding.high.number == D("14.167")
    assert finding.note == "With so thick a flange no back-to-back meets both limits."


# --- Order and completeness -------------------------------------------------------------------


def test_findings_when_sorted_then_come_by_axle_then_end_then_vehicle() -> None:
    found = judge_vehicle(
        subject(H0, axles=10, declared_codes={}),
        [
            seen("mass", "50"),
            seen("buffer_height", "12.2", "B"),
            seen("tyre_width", "2.8", "10"),
            seen("coupler_height", "8.5", "B"),
            seen("length_over_buffers", "120"),
            seen("back_to_back", "14.5", "2"),
            seen("coupler_height", "8.5", "A"),
            seen("flange_depth", "0.9", "1"),
            seen("flange_thickness", "0.8", "1"),
            seen("back_to_back", "14.5", "1"),
        ],
        rule=Rule.SIMPLE,
    )

    assert [(finding.quantity, finding.at) for finding in found] == [
        ("back_to_back", "1"),
        ("flange_thickness", "1"),
        ("flange_depth", "1"),
        ("wheel_check", "1"),
        ("back_to_back", "2"),
        ("wheel_check", "2"),
        ("tyre_width", "10"),
        ("coupler_height", "A"),
        ("coupler_height", "B"),
        ("buffer_height", "B"),
        ("length_over_buffers", ""),
        ("mass", ""),
    ]


def test_findings_when_nothing_was_observed_then_are_none() -> None:
    assert judge_vehicle(subject(axles=4), []) == ()


def test_observation_when_it_holds_neither_value_nor_answer_then_is_not_judged() -> None:
    finding = judged(Observation("tyre_width", "1"))["tyre_width", "1"]

    assert finding.outcome is Outcome.NOT_JUDGED
    assert finding.value is None
    assert finding.low.basis == "S-4.2 HO: least 0.108 in"


def test_observation_when_the_quantity_is_unknown_then_is_refused() -> None:
    with pytest.raises(KeyError):
        judge_vehicle(subject(), [seen("colour", "3", "1")])


def test_limits_when_quoted_second_hand_then_the_finding_says_so() -> None:
    """NMRA S-4.1, Proto:87.1: the row was read at the Proto:87 group, B .610 to .613 in."""
    scale = sheets.scale("nmra-proto-fine", "Proto:87.1")
    finding = judged(seen("back_to_back", "15.53", "1"), scale=scale)["back_to_back", "1"]

    assert finding.outcome is Outcome.WITHIN
    assert finding.is_second_hand
    assert not judged(seen("tyre_width", "2.8", "1"))["tyre_width", "1"].is_second_hand


@pytest.mark.parametrize(("value", "direction"), [("8.5", 0), ("7.9", -1), ("9.1", 1)])
def test_direction_when_outside_then_points_to_the_limit_that_was_missed(value, direction) -> None:
    """NEM 360: 8.0 to 9.0 mm."""
    finding = judged(seen("coupler_height", value, "A"), scale=H0)["coupler_height", "A"]

    assert finding.direction == direction


# --- What follows for the vehicle -------------------------------------------------------------


def proposed(*observations: Observation, **facts) -> Proposal:
    house = facts.pop("house", ())
    what = subject(**facts)
    return propose(what, judge_vehicle(what, observations, house, Rule.SIMPLE))


GOOD = "14.5"
NARROW = "14.3"


def test_vehicle_when_nothing_was_measured_then_awaits_inspection_of_every_axle() -> None:
    assert proposed(axles=2) == Proposal(
        Service.AWAITING, (), (("back_to_back", "1"), ("back_to_back", "2"))
    )


def test_vehicle_when_one_axle_was_left_out_then_awaits_inspection() -> None:
    assert proposed(seen("back_to_back", GOOD, "1"), axles=2) == Proposal(
        Service.AWAITING, (), (("back_to_back", "2"),)
    )


def test_vehicle_when_an_essential_was_measured_but_not_judged_then_awaits_inspection() -> None:
    """NMRA S-4.2 has no HOn3 row, so a back-to-back in HOn3 has no verdict."""
    hon3 = sheets.scale("nmra", "HOn3")

    assert proposed(seen("back_to_back", "9", "1"), scale=hon3) == Proposal(
        Service.AWAITING, (), (("back_to_back", "1"),)
    )


def test_vehicle_when_every_axle_is_within_then_is_fit_to_run() -> None:
    both = seen("back_to_back", GOOD, "1"), seen("back_to_back", GOOD, "2")

    assert proposed(*both, axles=2) == Proposal(Service.FIT, (), ())


def test_vehicle_when_axles_were_tried_with_a_gauge_then_is_fit_to_run() -> None:
    tried = Observation("back_to_back", "1", gauge=GaugeResult.GO)

    assert proposed(tried).service is Service.FIT


def test_vehicle_when_other_things_have_no_verdict_then_is_still_fit_to_run() -> None:
    found = proposed(
        seen("back_to_back", GOOD, "1"), seen("body_length", "150"), seen("mass", "20")
    )

    assert found == Proposal(Service.FIT, (), ())


def test_vehicle_when_only_an_advisory_quantity_is_outside_then_runs_with_advice() -> None:
    house = (HouseRule("mass", D(100), None, "club"),)

    assert proposed(seen("back_to_back", GOOD, "1"), seen("mass", "99"), house=house) == Proposal(
        Service.ADVICE, ("Mass: outside, too small",), ()
    )


def test_vehicle_when_something_is_undecided_then_runs_with_advice() -> None:
    found = proposed(seen("back_to_back", GOOD, "1"), declared_codes={})

    assert found == Proposal(Service.ADVICE, ("Back-to-back, axle 1: undecided",), ())


def test_vehicle_when_undecided_and_advisory_come_together_then_both_are_named() -> None:
    house = (HouseRule("mass", D(100), None, "club"),)
    found = proposed(
        seen("mass", "99"), seen("back_to_back", GOOD, "1"), house=house, declared_codes={}
    )

    assert found.reasons == ("Mass: outside, too small", "Back-to-back, axle 1: undecided")


def test_vehicle_when_undecided_and_incomplete_then_awaits_inspection() -> None:
    found = proposed(seen("back_to_back", GOOD, "1"), axles=2, declared_codes={})

    assert found == Proposal(
        Service.AWAITING, ("Back-to-back, axle 1: undecided",), (("back_to_back", "2"),)
    )


def test_vehicle_when_anything_binding_is_outside_then_is_bad_order() -> None:
    found = proposed(seen("back_to_back", GOOD, "1"), seen("back_to_back", NARROW, "2"), axles=2)

    assert found == Proposal(Service.BAD_ORDER, ("Back-to-back, axle 2: outside, too small",), ())


def test_vehicle_when_outside_and_incomplete_then_is_bad_order_and_says_what_is_missing() -> None:
    found = proposed(seen("back_to_back", NARROW, "1"), axles=3)

    assert found == Proposal(
        Service.BAD_ORDER,
        ("Back-to-back, axle 1: outside, too small",),
        (("back_to_back", "2"), ("back_to_back", "3")),
    )


def test_vehicle_when_bad_order_then_advice_is_not_among_the_reasons() -> None:
    """NEM 360: 8.0 to 9.0 mm at either end."""
    house = (HouseRule("mass", D(100), None, "club"),)
    found = proposed(
        seen("coupler_height", "9.1", "B"),
        seen("back_to_back", GOOD, "1"),
        seen("mass", "99"),
        scale=H0,
        house=house,
    )

    assert found.service is Service.BAD_ORDER
    assert found.reasons == ("Coupler height, end B: outside, too large",)


def test_proposal_when_made_of_stored_verdicts_then_needs_no_measured_values() -> None:
    kept = Finding("back_to_back", "1", Judgement(Outcome.WITHIN, None))

    assert propose(subject(), [kept]).service is Service.FIT


@pytest.mark.parametrize(
    ("quantity", "at", "words"),
    [
        ("back_to_back", "2", ", axle 2"),
        ("coupler_height", "B", ", end B"),
        ("mass", "", ""),
    ],
)
def test_place_when_named_then_is_in_words(quantity, at, words) -> None:
    assert where(quantity, at) == words
