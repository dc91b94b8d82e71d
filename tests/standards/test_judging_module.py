"""House limits, carried lengths, the order of findings, and what follows for the vehicle."""

import math
from decimal import Decimal

import pytest

from standards import sheets
from standards.conformity import Judgement, Outcome, Rule
from standards.judging import (
    STRICTNESS,
    Finding,
    GaugeResult,
    HouseRule,
    Observation,
    Proposal,
    Service,
    Side,
    Subject,
    is_milder,
    judge_vehicle,
    label,
    propose,
    where,
)
from standards.metrology import Measured
from standards.quantities import QUANTITIES

HO = sheets.scale("nmra", "HO")
H0 = sheets.scale("nem", "H0")
PROTO_48 = sheets.scale("nmra-proto-fine", "Proto:48")
PROTO_64 = sheets.scale("nmra-proto-fine", "Proto:64")
PROTO_87 = sheets.scale("nmra-proto-fine", "Proto:87.1")
FINE_HO = sheets.scale("nmra-proto-fine", "Fine:HO")
OO_FINE = sheets.scale("oo-fine", "00")
P4 = sheets.scale("p4", "P4")
D = Decimal


def seen(quantity: str, value: str, at: str = "", u: float = 0.0) -> Observation:
    """A value in mm, g or %; one that is never wrong unless its uncertainty is given."""
    return Observation(quantity, at, measured=Measured(D(value), u, math.inf, ()))


def subject(scale: sheets.Scale = HO, **facts) -> Subject:
    return Subject(scale, **{"axles": 1, "declared_codes": {"1": 110, "2": 110}, **facts})


def judged(
    *observations: Observation,
    scale: sheets.Scale = HO,
    house: tuple[HouseRule, ...] = (),
    carried: tuple[Observation, ...] = (),
    rule: Rule = Rule.SIMPLE,
    **facts,
) -> dict[tuple[str, str], Finding]:
    found = judge_vehicle(subject(scale, **facts), observations, house, rule, carried=carried)
    assert len({(finding.quantity, finding.at) for finding in found}) == len(found)
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
        "No sheet of this family limits it at this scale.",
    )
    housed = judged(seen("body_length", "251"), house=(rule,))["body_length", ""]
    assert housed.outcome is Outcome.OUTSIDE
    assert housed.direction == 1
    assert (housed.low.number, housed.high.number) == (None, D(250))
    at_limit = judged(seen("body_length", "250"), house=(rule,))["body_length", ""]
    assert at_limit.outcome is Outcome.WITHIN


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        ("7.9", Outcome.OUTSIDE),  # below the sheet's own 8.0
        ("8.0", Outcome.WITHIN),
        ("8.6", Outcome.WITHIN),
        ("8.7", Outcome.OUTSIDE),  # within the sheet's 9.0, and above the house's 8.6
    ],
)
def test_house_limit_when_it_is_on_one_side_then_the_other_stays_the_sheet_s(
    value, outcome
) -> None:
    """NEM 360: 8.5 plus or minus 0.5; the house asks for 8.6 at most."""
    rule = HouseRule("coupler_height", None, D("8.6"), "our ramps")
    finding = judged(seen("coupler_height", value, "A"), scale=H0, house=(rule,))
    finding = finding["coupler_height", "A"]

    assert finding.outcome is outcome
    assert (finding.low.number, finding.high.number) == (D("8.0"), D("8.6"))
    assert finding.low.basis == "NEM 360 H0: least 8.5 mm − 0.5"
    assert finding.high.basis == "House limit: our ramps"
    assert finding.note == "In place of NEM 360 H0: greatest 8.5 mm + 0.5."


def test_house_limit_when_the_sheet_has_none_on_that_side_then_replaces_nothing() -> None:
    """NMRA S-4.2 HO prints N min .108 in, 2.7432 mm, and no greatest tyre width."""
    rule = HouseRule("tyre_width", None, D("2.9"), "narrow frogs")

    def found(value: str) -> Finding:
        return judged(seen("tyre_width", value, "1"), house=(rule,))["tyre_width", "1"]

    assert found("2.7432").outcome is Outcome.WITHIN
    assert found("2.7431").outcome is Outcome.OUTSIDE
    assert found("2.91").outcome is Outcome.OUTSIDE
    assert "In place of" not in found("2.8").note


def test_house_limit_when_only_its_least_is_set_then_no_known_flange_leaves_it_undecided() -> None:
    """NMRA S-4.2 HO: K max 15.367 mm less a flange that nobody knows."""
    rule = HouseRule("back_to_back", D("14.4"), None, "our turnouts")
    finding = judged(seen("back_to_back", "14.5", "1"), house=(rule,), declared_codes={})
    narrow = judged(seen("back_to_back", "14.39", "1"), house=(rule,), declared_codes={})

    assert finding["back_to_back", "1"].outcome is Outcome.UNDECIDED
    assert "measure the flange thickness" in finding["back_to_back", "1"].note
    assert narrow["back_to_back", "1"].outcome is Outcome.OUTSIDE


def test_house_limit_when_no_sheet_speaks_of_the_back_to_back_then_half_of_it_is_no_pass() -> None:
    """NMRA S-4.2 has no HOn3 row."""
    hon3 = sheets.scale("nmra", "HOn3")
    half = (HouseRule("back_to_back", D("8.9"), None, "club"),)
    both = (HouseRule("back_to_back", D("8.9"), D("9.1"), "club"),)

    def found(value: str, house) -> Finding:
        seen_now = seen("back_to_back", value, "1")
        return judged(seen_now, scale=hon3, house=house)["back_to_back", "1"]

    assert found("8.8", half).outcome is Outcome.OUTSIDE
    assert found("9.0", half).outcome is Outcome.NOT_JUDGED
    assert "Only one of its two limits is held." in found("9.0", half).note
    assert found("9.0", both).outcome is Outcome.WITHIN


def test_house_limit_when_it_gives_the_side_that_is_not_held_then_both_are_known() -> None:
    """NEM 310:2009 at 16.5 mm: D min 0.6, D max not held."""
    rule = HouseRule("flange_depth", None, D("1.2"), "our crossings")

    def outcome(value: str, house) -> Outcome:
        found = judged(seen("flange_depth", value, "1"), scale=H0, house=house)
        return found["flange_depth", "1"].outcome

    assert outcome("1.0", ()) is Outcome.NOT_JUDGED
    assert outcome("1.0", (rule,)) is Outcome.WITHIN
    assert outcome("1.21", (rule,)) is Outcome.OUTSIDE
    assert outcome("0.59", (rule,)) is Outcome.OUTSIDE


def test_house_limit_when_it_crosses_the_sheet_s_then_nothing_is_within() -> None:
    """NEM 360: 8.0 to 9.0 mm; a house that asks for 9.2 at least contradicts it."""
    rule = HouseRule("coupler_height", D("9.2"), None, "our old stock")
    for value in ("8.5", "9.1", "9.5"):
        finding = judged(seen("coupler_height", value, "A"), scale=H0, house=(rule,))
        assert finding["coupler_height", "A"].outcome is Outcome.OUTSIDE
        assert "The lower limit is above the upper one." in finding["coupler_height", "A"].note


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


def test_house_limit_when_it_is_for_a_sum_that_no_sheet_limits_then_judges_it() -> None:
    """DOGA OO Fine holds no check gauge of the wheelset."""
    rule = HouseRule("wheel_check", None, D("15.3"), "our guard rails")
    readings = seen("back_to_back", "14.8", "1"), seen("flange_thickness", "0.55", "1")

    assert ("wheel_check", "1") not in judged(*readings, scale=OO_FINE)
    finding = judged(*readings, scale=OO_FINE, house=(rule,))["wheel_check", "1"]
    assert (finding.outcome, finding.value) == (Outcome.OUTSIDE, D("15.35"))
    assert finding.sheets == ()


@pytest.mark.parametrize("scale", [HO, OO_FINE])
def test_house_limit_when_it_is_for_a_sum_then_asks_for_the_flange(scale) -> None:
    """NMRA S-4.2 HO: K max 15.367 mm less the flange of code 110 bounds B, but not at the house's
    own 15.2 mm, so the sum has to be told."""
    rule = HouseRule("wheel_check", None, D("15.2"), "tight guard rails")
    finding = judged(seen("back_to_back", "14.5", "1"), scale=scale, house=(rule,))
    finding = finding["wheel_check", "1"]

    assert finding.outcome is Outcome.NOT_JUDGED
    assert finding.high.number == D("15.2")
    assert "Needs back-to-back and flange thickness in numbers." in finding.note


def test_house_limit_when_a_gauge_was_used_then_the_gauge_decides() -> None:
    rule = HouseRule("back_to_back", D("14.45"), D("14.55"), "club")
    tried = Observation("back_to_back", "1", gauge=GaugeResult.GO)

    assert judged(tried, house=(rule,))["back_to_back", "1"].outcome is Outcome.WITHIN


def test_gauge_when_no_sheet_speaks_then_says_that_it_stands_alone() -> None:
    tried = Observation("trip_pin_clearance", "A", gauge=GaugeResult.GO)
    finding = judged(tried)["trip_pin_clearance", "A"]

    assert finding.outcome is Outcome.WITHIN
    assert finding.note == "By the gauge alone."


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
    assert finding.note == "No sheet of this family holds a mass rule at this scale."
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

    assert list(found) == [
        ("back_to_back", "1"),
        ("flange_thickness", "1"),
        ("wheel_check", "1"),
    ]
    assert found["wheel_check", "1"].outcome is Outcome.OUTSIDE
    assert found["back_to_back", "1"].outcome is Outcome.WITHIN


@pytest.mark.parametrize(
    ("flange", "outcome"), [("0.767", Outcome.WITHIN), ("0.768", Outcome.OUTSIDE)]
)
def test_flange_when_measured_later_then_the_earlier_back_to_back_is_judged_again(
    flange, outcome
) -> None:
    """NMRA S-4.2 HO: K max .605 in, 15.367 mm, less 0.767 mm is 14.6 mm."""
    earlier = seen("back_to_back", "14.6", "1")
    alone = judged(earlier, declared_codes={})["back_to_back", "1"]
    assert alone.outcome is Outcome.UNDECIDED

    found = judged(seen("flange_thickness", flange, "1"), carried=(earlier,), declared_codes={})
    assert found["back_to_back", "1"].outcome is outcome
    assert found["back_to_back", "1"].value == D("14.6")
    assert "measured earlier" not in found["back_to_back", "1"].high.basis


def test_flange_when_of_another_axle_then_the_earlier_back_to_back_is_left_alone() -> None:
    found = judged(
        seen("flange_thickness", "0.8", "2"), carried=(seen("back_to_back", "14.5", "1"),), axles=2
    )

    assert list(found) == [("flange_thickness", "2")]


def test_flange_when_the_back_to_back_was_tried_with_a_gauge_then_leaves_it_alone() -> None:
    tried = Observation("back_to_back", "1", gauge=GaugeResult.GO)
    found = judged(seen("flange_thickness", "0.8", "1"), carried=(tried,))

    assert list(found) == [("flange_thickness", "1")]


@pytest.mark.parametrize(
    ("has_buffers", "least", "name"),
    [(True, "40.0", "length over buffers"), (False, "48.0", "length over couplers")],
)
def test_length_when_both_are_known_then_the_buffers_say_which(has_buffers, least, name) -> None:
    """NEM 302:2015, H0: 0.4 g per mm over buffers; over couplers is for stock without any."""
    found = judged(
        seen("mass", "50"),
        seen("length_over_couplers", "120"),
        seen("length_over_buffers", "100"),
        scale=H0,
        has_buffers=has_buffers,
    )

    assert found["mass", ""].low.number == D(least)
    assert found["mass", ""].low.basis == f"NEM 302: 0.4 g a mm of {name}"


def test_length_over_couplers_when_the_vehicle_has_buffers_then_is_no_substitute() -> None:
    """NEM 302:2015 goes by the length over buffers."""
    lengths = seen("length_over_couplers", "120")
    with_buffers = judged(seen("mass", "50"), lengths, scale=H0, has_buffers=True)["mass", ""]

    assert with_buffers.outcome is Outcome.NOT_JUDGED
    assert with_buffers.note == "NEM 302 goes by the length over buffers: measure it too."
    assert judged(seen("mass", "50"), lengths, scale=H0)["mass", ""].outcome is Outcome.WITHIN


def test_length_over_buffers_when_no_buffers_were_declared_then_still_serves() -> None:
    """NEM 302:2015, H0: somebody measured over buffers, so there are some."""
    found = judged(seen("mass", "41"), seen("length_over_buffers", "100"), scale=H0)

    assert found["mass", ""].low.basis == "NEM 302: 0.4 g a mm of length over buffers"
    assert found["mass", ""].outcome is Outcome.WITHIN


@pytest.mark.parametrize(("has_buffers", "judges"), [(True, False), (False, True)])
def test_mass_when_the_couplers_are_new_then_is_judged_again_where_they_count(
    has_buffers, judges
) -> None:
    """NEM 302:2015, H0: 0.4 g per mm, 40 g for 100 mm."""
    found = judged(
        seen("length_over_couplers", "100"),
        scale=H0,
        has_buffers=has_buffers,
        carried=(seen("mass", "39.9"),),
    )

    assert (("mass", "") in found) is judges
    if judges:
        assert found["mass", ""].outcome is Outcome.OUTSIDE


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


@pytest.mark.parametrize(
    ("back", "flange", "outcome"),
    # K max 15.367 less the flange is H; B min is 14.3764. Every u is 0.02 mm, so that B - L, H - B
    # with 0.0283 mm and L - H with 0.02 mm are sure 0.0329, 0.0465 and 0.0329 mm away.
    [
        ("14.37", "1.00", Outcome.UNDECIDED),  # H 14.367, 0.0094 below: neither broken nor sure
        ("14.37", "1.02", Outcome.UNDECIDED),  # 0.0294 below
        ("14.37", "1.023", Outcome.UNDECIDED),  # 0.0324 below
        ("14.37", "1.024", Outcome.OUTSIDE),  # 0.0334 below: no back-to-back can suit
        ("14.3436", "1.00", Outcome.UNDECIDED),  # 0.0328 under B min
        ("14.3434", "1.00", Outcome.OUTSIDE),  # 0.0330 under B min
        ("14.4135", "1.00", Outcome.UNDECIDED),  # 0.0465 over H
        ("14.4136", "1.00", Outcome.OUTSIDE),  # 0.0466 over H
    ],
)
def test_flange_when_hardly_too_thick_then_is_outside_only_as_surely_as_the_rule_asks(
    back, flange, outcome
) -> None:
    """NMRA S-4.2 HO; 1.6449 u to 95 %, ISO 14253-1:2017. Worked by hand."""
    readings = (
        seen("back_to_back", back, "1", u=0.02),
        seen("flange_thickness", flange, "1", u=0.02),
    )
    finding = judged(*readings, rule=Rule.NINETY_FIVE)["back_to_back", "1"]

    assert finding.outcome is outcome
    assert finding.note == "With so thick a flange no back-to-back meets both limits."
    # By the numbers alone the limits are crossed, and nothing lies between them.
    simple = judged(*readings, rule=Rule.SIMPLE)["back_to_back", "1"]
    assert simple.outcome is Outcome.OUTSIDE


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


# --- Limits held by half ----------------------------------------------------------------------

NOT_HELD = {
    "min": "The least that the sheet prints is not held here.",
    "max": "The greatest that the sheet prints is not held here.",
    "both": "The limits that the sheet prints are not held here.",
}


@pytest.mark.parametrize(
    ("scale", "quantity", "inside", "outside", "lacking"),
    [
        # NMRA S-4.1, Proto:64: T min .017 in, 0.4318 mm; its T max, D and wheel gauge not read
        (PROTO_64, "flange_thickness", "0.4318", "0.4317", "max"),
        (PROTO_64, "flange_depth", "0.6", None, "both"),
        # NMRA S-4.1, Fine:HO as quoted: T max and D max 0.6 mm, N 2.2 mm
        (FINE_HO, "flange_thickness", "0.6", "0.601", "min"),
        (FINE_HO, "flange_depth", "0.6", "0.601", "min"),
        (FINE_HO, "tyre_width", "2.2", None, "both"),
        # Scalefour P4, on the society's forum: B min 17.67 mm
        (P4, "back_to_back", "17.67", "17.669", "max"),
    ],
)
def test_limit_when_held_by_half_then_can_fail_and_never_pass(
    scale, quantity, inside, outside, lacking
) -> None:
    """NMRA S-4.1 and P4 as far as they were read; the figures stand beside each."""
    found = judged(seen(quantity, inside, "1"), scale=scale)[quantity, "1"]

    assert found.outcome is Outcome.NOT_JUDGED
    assert found.not_held == lacking
    held_by_half = "Only one of its two limits is held."
    assert (NOT_HELD[lacking] in found.note) or (
        quantity == "back_to_back" and held_by_half in found.note
    )
    assert found.direction == 0
    if outside is not None:
        beyond = judged(seen(quantity, outside, "1"), scale=scale)[quantity, "1"]
        assert beyond.outcome is Outcome.OUTSIDE
        assert "held" not in beyond.note


@pytest.mark.parametrize(
    ("scale", "back", "flange", "check", "outcome", "lacking"),
    [
        # NMRA S-4.1, Proto:87.1 as quoted: K max .623 in, 15.8242 mm
        (PROTO_87, "15.5", "0.3242", "15.8242", Outcome.NOT_JUDGED, "min"),
        (PROTO_87, "15.5", "0.3243", "15.8243", Outcome.OUTSIDE, "min"),
        # Scalefour P4, on the society's forum: K min 18.05 mm
        (P4, "17.70", "0.35", "18.05", Outcome.NOT_JUDGED, "max"),
        (P4, "17.70", "0.349", "18.049", Outcome.OUTSIDE, "max"),
    ],
)
def test_check_gauge_when_held_by_half_then_its_sum_can_fail_and_never_pass(
    scale, back, flange, check, outcome, lacking
) -> None:
    """NMRA S-4.1, Proto:87.1, and Scalefour P4, both second-hand."""
    readings = seen("back_to_back", back, "1"), seen("flange_thickness", flange, "1")
    finding = judged(*readings, scale=scale)["wheel_check", "1"]

    assert finding.value == D(check)
    assert finding.outcome is outcome
    assert (NOT_HELD[lacking] in finding.note) is (outcome is Outcome.NOT_JUDGED)


def test_over_flanges_when_neither_limit_is_held_then_says_so_once() -> None:
    """NMRA S-4.1, Proto:64: the copy read breaks off before the wheel gauge."""
    readings = seen("back_to_back", "21.0", "1"), seen("flange_thickness", "0.45", "1")
    finding = judged(*readings, scale=PROTO_64)["over_flanges", "1"]

    assert finding.value == D("21.9")
    assert finding.outcome is Outcome.NOT_JUDGED
    assert finding.note == NOT_HELD["both"]


def test_house_limit_when_neither_of_the_sheet_s_is_held_then_half_is_no_pass_and_said_once() -> (
    None
):
    """NMRA S-4.1, Proto:64: the copy read breaks off before the flange depth."""
    house = (HouseRule("flange_depth", None, D("0.7"), "club"),)

    def found(value: str) -> Finding:
        measured = seen("flange_depth", value, "1")
        return judged(measured, scale=PROTO_64, house=house)["flange_depth", "1"]

    assert (found("0.6").outcome, found("0.6").note) == (Outcome.NOT_JUDGED, NOT_HELD["both"])
    assert found("0.71").outcome is Outcome.OUTSIDE


def test_limit_when_not_held_then_its_nominal_does_not_claim_to_have_no_tolerance() -> None:
    """NMRA S-4.1, Fine:HO as quoted: 2.2 mm of wheel width, without saying which limit it is."""
    finding = judged(seen("tyre_width", "2.2", "1"), scale=FINE_HO)["tyre_width", "1"]

    assert finding.note == f"S-4.1: 2.2 mm. {NOT_HELD['both']}"


def test_gauge_when_a_limit_is_not_held_then_decides_all_the_same() -> None:
    """NMRA S-4.1, Fine:HO: no back-to-back was quoted, but a gauge has it in its edges."""
    tried = Observation("back_to_back", "1", gauge=GaugeResult.GO)

    assert judged(tried, scale=FINE_HO)["back_to_back", "1"].outcome is Outcome.WITHIN


# --- Figures that no body printed -------------------------------------------------------------


def test_nominal_when_printed_alone_then_is_told_as_that() -> None:
    """DOGA OO Fine: back-to-back 14.8 mm, second-hand."""
    finding = judged(seen("back_to_back", "14.8", "1"), scale=OO_FINE)["back_to_back", "1"]

    assert finding.outcome is Outcome.NOT_JUDGED
    assert finding.nominal == D("14.8")
    assert finding.note.startswith("OO Fine: 14.8 mm, printed without a tolerance.")
    assert finding.is_second_hand
    assert not finding.is_derived


@pytest.mark.parametrize(
    ("family", "code", "note"),
    [
        ("fs160", "FS160", "FS160: 8.05 mm, computed, not printed."),
        ("s4", "S4", "S4: 17.87 mm, inferred, not printed."),
    ],
)
def test_nominal_when_nobody_printed_it_then_is_told_as_that(family, code, note) -> None:
    """FS160: 8.5 of 2FS less 0.45 by the published rule; S4: inferred from P4."""
    scale = sheets.scale(family, code)
    finding = judged(seen("back_to_back", "8.05", "1"), scale=scale)["back_to_back", "1"]

    assert finding.outcome is Outcome.NOT_JUDGED
    assert finding.note.startswith(note)
    assert finding.note.count("not printed") == 1
    assert finding.is_derived


def test_limit_when_computed_then_is_advisory_and_a_printed_one_is_not() -> None:
    """EM: check gauge 17.2 less B 16.5 leaves 0.7 mm of T; NEM 310:2009 prints T max 0.9 mm."""
    em = sheets.scale("em", "EM")
    computed = judged(seen("flange_thickness", "0.71", "1"), scale=em)["flange_thickness", "1"]
    printed = judged(seen("flange_thickness", "0.91", "1"), scale=H0)["flange_thickness", "1"]

    assert sheets.limits_for(em)["flange_thickness"].basis == "computed"
    assert (computed.outcome, printed.outcome) == (Outcome.OUTSIDE, Outcome.OUTSIDE)
    assert (computed.is_advisory, printed.is_advisory) == (True, False)
    assert (computed.high.is_printed, printed.high.is_printed) == (False, True)


def test_limit_when_only_one_was_printed_then_the_side_that_is_broken_decides() -> None:
    """A house limit binds, though the sheet's other side was only computed."""
    em = sheets.scale("em", "EM")
    house = (HouseRule("flange_thickness", D("0.4"), None, "club"),)

    def found(value: str) -> Finding:
        return judged(seen("flange_thickness", value, "1"), scale=em, house=house)[
            "flange_thickness", "1"
        ]

    assert (found("0.39").outcome, found("0.39").is_advisory) == (Outcome.OUTSIDE, False)
    assert (found("0.71").outcome, found("0.71").is_advisory) == (Outcome.OUTSIDE, True)


def test_gauge_when_the_limit_was_only_computed_then_binds() -> None:
    """A gauge has its own limits; that the sheet's was computed is no matter of it."""
    em = sheets.scale("em", "EM")
    tried = Observation("flange_thickness", "1", gauge=GaugeResult.TOO_LARGE)

    assert not judged(tried, scale=em)["flange_thickness", "1"].is_advisory


# --- Couplers ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "outcome"),
    [("loop", Outcome.WITHIN), ("", Outcome.WITHIN), ("knuckle", Outcome.NOT_JUDGED)],
)
def test_coupler_when_declared_as_another_kind_then_is_not_judged(kind, outcome) -> None:
    """NEM 360 speaks of loop couplings: 8.0 to 9.0 mm."""
    finding = judged(
        seen("coupler_height", "8.5", "A"), scale=H0, couplers={"A": kind, "B": "knuckle"}
    )["coupler_height", "A"]

    assert finding.outcome is outcome
    if outcome is Outcome.NOT_JUDGED:
        assert finding.note == (
            "NEM 360 speaks of loop couplers, and this is declared as knuckle."
        )
        assert (finding.nominal, finding.low, finding.high) == (None, Side(), Side())


def test_coupler_when_of_another_kind_then_a_house_limit_still_judges_it() -> None:
    """NMRA S-2 speaks of knuckle couplers, .391 in; a house may limit what it likes."""
    plain = HouseRule("coupler_height", D("9.0"), D("9.4"), "our hooks")
    about = HouseRule("coupler_height", D("0.2"), D("0.2"), "club", about_sheet=True)
    hook = seen("coupler_height", "9.5", "A")

    def found(*house: HouseRule) -> Finding:
        return judged(hook, house=house, couplers={"A": "hook"})["coupler_height", "A"]

    assert found().outcome is Outcome.NOT_JUDGED
    assert found(plain).outcome is Outcome.OUTSIDE
    # About the sheet's figure nothing can be asked where the sheet does not speak.
    assert found(about).outcome is Outcome.NOT_JUDGED
    assert "there is none" in found(about).note


# --- What follows for the vehicle -------------------------------------------------------------


def proposed(*observations: Observation, **facts) -> Proposal:
    house = facts.pop("house", ())
    what = subject(**facts)
    return propose(what, judge_vehicle(what, observations, house, Rule.SIMPLE))


GOOD = "14.5"
NARROW = "14.3"


def wheelset(at: str = "1", back: str = GOOD) -> list[Observation]:
    """Everything that NMRA S-4.2 limits in HO; but for the back-to-back all of it within."""
    return [
        seen("back_to_back", back, at),
        seen("flange_depth", "0.6", at),
        seen("tyre_width", "2.8", at),
    ]


def h0_wheelset(back: str = GOOD) -> list[Observation]:
    """All that NEM 310:2009 limits at 16.5 mm and that can pass: D max is not held."""
    return [
        seen("back_to_back", back, "1"),
        seen("flange_thickness", "0.75", "1"),
        seen("flange_depth", "0.9", "1"),
        seen("tyre_width", "2.8", "1"),
    ]


def test_vehicle_when_nothing_was_measured_then_awaits_inspection_of_every_axle() -> None:
    found = proposed(axles=2)

    assert found.service is Service.AWAITING
    assert found.missing == (("back_to_back", "1"), ("back_to_back", "2"))
    assert (found.reasons, found.unjudged) == ((), ())


def test_vehicle_when_one_axle_was_left_out_then_awaits_inspection() -> None:
    found = proposed(*wheelset("1"), axles=2)

    assert found.service is Service.AWAITING
    assert found.missing == (("back_to_back", "2"),)
    assert found.unjudged == ()


def test_vehicle_when_an_essential_was_measured_but_not_judged_then_awaits_inspection() -> None:
    """NMRA S-4.2 has no HOn3 row, so a back-to-back in HOn3 has no verdict."""
    hon3 = sheets.scale("nmra", "HOn3")

    found = proposed(seen("back_to_back", "9", "1"), scale=hon3, axles=2)

    assert found.service is Service.AWAITING
    assert found.missing == (("back_to_back", "2"),)
    assert found.unjudged == (("back_to_back", "1"),)
    both = [seen("back_to_back", "9", at) for at in ("1", "2")]
    assert proposed(*both, scale=hon3, axles=2).service is Service.AWAITING


def test_vehicle_when_its_axles_were_not_counted_then_awaits_inspection() -> None:
    """Nothing is essential then, and that nothing is missing says nothing."""
    found = proposed(seen("coupler_height", "8.5", "A"), scale=H0, axles=0)

    assert found.service is Service.AWAITING
    assert (found.missing, found.unjudged, found.unmeasured) == ((), (), ())


def test_vehicle_when_every_axle_is_within_then_is_fit_to_run() -> None:
    assert proposed(*wheelset("1"), *wheelset("2"), axles=2) == Proposal(Service.FIT, (), ())


@pytest.mark.parametrize("left_out", ["flange_depth", "tyre_width"])
def test_vehicle_when_a_limited_dimension_of_a_wheel_is_missing_then_runs_with_advice(
    left_out,
) -> None:
    """NMRA S-4.2 HO limits N and D besides; T it does not limit."""
    kept = [each for each in wheelset("2") if each.quantity != left_out]

    assert proposed(*wheelset("1"), *kept, axles=2) == Proposal(
        Service.ADVICE, (), (), unmeasured=((left_out, "2"),)
    )


def test_vehicle_when_its_sheet_prints_only_a_nominal_then_nothing_is_missed_of_a_wheel() -> None:
    """DOGA OO Fine prints nominals, which limit nothing."""
    house = (HouseRule("back_to_back", D("14.7"), D("14.9"), "club"),)
    found = proposed(seen("back_to_back", "14.8", "1"), scale=OO_FINE, house=house)

    assert found == Proposal(Service.FIT, (), ())


def test_vehicle_when_axles_were_tried_with_a_gauge_then_is_fit_to_run() -> None:
    tried = [
        Observation(quantity, "1", gauge=GaugeResult.GO)
        for quantity in ("back_to_back", "flange_depth", "tyre_width")
    ]

    assert proposed(*tried).service is Service.FIT


def test_vehicle_when_other_things_have_no_verdict_then_is_still_fit_to_run() -> None:
    found = proposed(*wheelset(), seen("body_length", "150"), seen("mass", "20"))

    assert found == Proposal(Service.FIT, (), ())


def test_vehicle_when_only_an_advisory_quantity_is_outside_then_runs_with_advice() -> None:
    house = (HouseRule("mass", D(100), None, "club"),)

    assert proposed(*wheelset(), seen("mass", "99"), house=house) == Proposal(
        Service.ADVICE, ("Mass: outside, too small",), ()
    )


def test_vehicle_when_a_limit_that_nobody_printed_is_broken_then_runs_with_advice() -> None:
    """EM: T max 0.7 mm is computed."""
    em = sheets.scale("em", "EM")
    house = (HouseRule("back_to_back", D("16.4"), D("16.6"), "club"),)
    readings = seen("back_to_back", "16.5", "1"), seen("flange_thickness", "0.71", "1")

    assert proposed(*readings, scale=em, house=house) == Proposal(
        Service.ADVICE, ("Flange thickness, axle 1: outside, too large",), ()
    )


def test_vehicle_when_something_is_undecided_then_runs_with_advice() -> None:
    found = proposed(*wheelset(), declared_codes={})

    assert found == Proposal(Service.ADVICE, ("Back-to-back, axle 1: undecided",), ())


def test_vehicle_when_undecided_and_advisory_come_together_then_both_are_named() -> None:
    house = (HouseRule("mass", D(100), None, "club"),)
    found = proposed(seen("mass", "99"), *wheelset(), house=house, declared_codes={})

    assert found.reasons == ("Mass: outside, too small", "Back-to-back, axle 1: undecided")


def test_vehicle_when_undecided_and_incomplete_then_awaits_inspection() -> None:
    found = proposed(*wheelset(), axles=2, declared_codes={})

    assert found.service is Service.AWAITING
    assert found.reasons == ("Back-to-back, axle 1: undecided",)
    assert found.missing == (("back_to_back", "2"),)


def test_vehicle_when_its_check_gauge_wants_a_flange_then_runs_with_advice() -> None:
    """NEM 310:2009, note 2: B within does not settle K, 15.1 to 15.3 mm."""
    without = [each for each in h0_wheelset() if each.quantity != "flange_thickness"]
    found = proposed(*without, scale=H0)

    assert found.service is Service.ADVICE
    assert found.reasons == ("Check gauge of the wheelset, axle 1: not judged",)
    assert proposed(*h0_wheelset(), scale=H0) == Proposal(Service.FIT, (), ())


def test_vehicle_when_its_check_gauge_has_a_flange_but_half_a_limit_then_is_no_worse() -> None:
    """NMRA S-4.1, Proto:87.1 as quoted: K max .623 in alone; nothing more can be measured."""
    readings = [
        seen("back_to_back", "15.5", "1"),  # .610 to .613 in
        seen("flange_thickness", "0.32", "1"),  # .012 to .014 in
        seen("flange_depth", "0.32", "1"),
        seen("tyre_width", "1.7", "1"),  # .064 to .069 in
    ]
    found = judged(*readings, scale=PROTO_87)
    assert found["wheel_check", "1"].outcome is Outcome.NOT_JUDGED

    assert proposed(*readings, scale=PROTO_87) == Proposal(Service.FIT, (), ())
    assert proposed(readings[0], *readings[2:], scale=PROTO_87).reasons == (
        "Check gauge of the wheelset, axle 1: not judged",
    )


def test_vehicle_when_anything_binding_is_outside_then_is_bad_order() -> None:
    found = proposed(*wheelset("1"), *wheelset("2", NARROW), axles=2)

    assert found == Proposal(Service.BAD_ORDER, ("Back-to-back, axle 2: outside, too small",), ())


def test_vehicle_when_outside_and_incomplete_then_is_bad_order_and_says_what_is_missing() -> None:
    found = proposed(*wheelset("1", NARROW), axles=3)

    assert found.service is Service.BAD_ORDER
    assert found.reasons == ("Back-to-back, axle 1: outside, too small",)
    assert found.missing == (("back_to_back", "2"), ("back_to_back", "3"))


def test_vehicle_when_bad_order_then_advice_is_not_among_the_reasons() -> None:
    """NEM 360: 8.0 to 9.0 mm at either end."""
    house = (HouseRule("mass", D(100), None, "club"),)
    found = proposed(
        seen("coupler_height", "9.1", "B"),
        *h0_wheelset(),
        seen("mass", "99"),
        scale=H0,
        house=house,
    )

    assert found.service is Service.BAD_ORDER
    assert found.reasons == ("Coupler height, end B: outside, too large",)


def test_proposal_when_made_of_stored_verdicts_then_needs_no_measured_values() -> None:
    within = Judgement(Outcome.WITHIN, None)
    kept = [Finding(each.quantity, "1", within) for each in wheelset()]

    assert propose(subject(), kept).service is Service.FIT


def test_outcomes_when_compared_then_the_milder_lets_it_run_more_freely() -> None:
    """Stating a milder outcome than the proposed one is what a person has to give a reason for."""
    assert STRICTNESS == (Service.FIT, Service.ADVICE, Service.AWAITING, Service.BAD_ORDER)
    assert set(STRICTNESS) == set(Service)
    for stricter, proposed_one in enumerate(STRICTNESS):
        milder = [each for each in Service if is_milder(each, proposed_one)]
        assert milder == list(STRICTNESS[:stricter])


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
    assert label(quantity, at) == f"{QUANTITIES[quantity].name}{words}"
