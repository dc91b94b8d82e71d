"""Every family of standards loads, names its scales, and keeps to one edition of each sheet."""

import math
import re
from collections import Counter
from decimal import Decimal

import pytest

from standards import sheets
from standards.conformity import Outcome, Rule
from standards.judging import Observation, Subject, judge_vehicle
from standards.metrology import Measured
from standards.quantities import QUANTITIES, Place

FAMILIES = sheets.families()
SCALES = [scale for family in FAMILIES.values() for scale in family.scales]


each_family = pytest.mark.parametrize("family", FAMILIES.values(), ids=lambda family: family.code)


def test_families_when_listed_then_are_many_and_the_usual_ones_come_first() -> None:
    assert list(FAMILIES)[:2] == ["nmra", "nmra-proto-fine"]
    assert {"nem", "nem-1977", "p4", "em", "2fs", "s7"} <= set(FAMILIES)
    assert len(SCALES) > 150


@each_family
def test_family_when_loaded_then_names_sheets_that_are_held_and_scales_once(family) -> None:
    assert family.sheets
    for sheet_id in family.sheets:
        assert sheets.sheet(sheet_id).id == sheet_id
    assert len(family.sheets) == len(set(family.sheets))
    assert family.scales
    assert [
        code for code, times in Counter(s.code for s in family.scales).items() if times > 1
    ] == []
    assert all(scale.family == family.code for scale in family.scales)
    for words in (family.name, family.body, family.summary):
        assert words.strip()


@each_family
def test_scales_when_their_limits_are_loaded_then_come_from_their_own_family(family) -> None:
    for scale in family.scales:
        limits = sheets.limits_for(scale)
        # S-4.2 and S-3.2 say "same as" for F.
        borrowed = {"nmra-s-4.1", "nmra-s-3.1"} if scale.code == "F" else set()

        assert {limit.sheet for limit in limits.values()} <= {*family.sheets} | borrowed
        for code, limit in limits.items():
            assert limit.quantity == code
            numbers = [n for n in (limit.low, limit.nominal, limit.high) if n is not None]
            assert numbers == sorted(numbers), (scale.code, code)
            assert numbers or limit.not_held == "both", (scale.code, code)


@each_family
def test_scales_when_loaded_then_have_a_ratio_and_a_gauge_and_are_found_by_their_code(
    family,
) -> None:
    for scale in family.scales:
        assert scale.ratio >= 1
        assert scale.gauge_mm > 0
        assert sheets.scale(scale.family, scale.code) == scale
        # At full size the gauge lies between that of a mine and broad gauge, 10 in to 5 ft 6 in.
        assert 250 < scale.gauge_mm * scale.ratio < 1680, scale.code


@each_family
def test_scales_when_anything_plausible_is_judged_then_something_is_said(family) -> None:
    """Every sheet of every family goes through the one judging function without a hitch."""
    for scale in family.scales:
        observations = []
        for quantity in QUANTITIES.values():
            low, high = quantity.plausible(scale)
            at = {Place.AXLE: "1", Place.END: "A", Place.VEHICLE: "", Place.TRACK: "points"}[
                quantity.place
            ]
            middle = Measured((low + high) / 2, 0.0, math.inf, ())
            observations.append(Observation(quantity.code, at, measured=middle))
        for rule in Rule:
            for left_out in (None, "flange_thickness"):
                kept = [each for each in observations if each.quantity != left_out]
                for codes in ({}, {"1": 110}):
                    found = judge_vehicle(Subject(scale, 1, declared_codes=codes), kept, (), rule)
                    told = {finding.quantity for finding in found}
                    assert told >= {each.quantity for each in kept}
                    for finding in found:
                        if finding.outcome is Outcome.NOT_JUDGED:
                            assert finding.note, (scale.code, finding.quantity)


def test_families_when_built_then_never_hold_two_editions_of_one_sheet() -> None:
    """nem-310-1977 and nem-310-2009 differ in the year only; so do the S-3.2 of NMRA."""
    held_twice = {
        family.code: stem
        for family in FAMILIES.values()
        for stem, times in Counter(re.sub(r"-\d{4}$", "", s) for s in family.sheets).items()
        if times > 1
    }
    stems = {re.sub(r"-\d{4}$", "", sheet.id) for sheet in sheets.all_sheets()}

    assert held_twice == {}
    assert {"nem-310", "nmra-s-3.2"} <= stems
    assert len(stems) < len(sheets.all_sheets())


@pytest.mark.parametrize(
    ("first", "second"),
    [
        # replaced by, or contradicting, one another
        ({"nem-310-1977"}, {"nem-310-2009", "nem-110-2009"}),
        ({"nem-340"}, {"nem-310-1977", "nem-310-2009"}),
        ({"nem-311-1"}, {"nem-310-2009", "nem-110-2009"}),
        ({"nmra-rp-3", "nmra-rp-4"}, {"nmra-s-3.1", "nmra-s-4.1"}),
        ({"nmra-s-3.2"}, {"nmra-s-3.2-2010"}),
        ({"nmra-s-4.1"}, {"nmra-s-4.2"}),
        ({"scalefour-p4"}, {"scalefour-s4"}),
        ({"g1mra-standard"}, {"g1mra-fine"}),
    ],
)
def test_families_when_built_then_keep_contradicting_sheets_apart(first, second) -> None:
    for family in FAMILIES.values():
        held = set(family.sheets)
        assert not (held & first and held & second), family.code


def test_nmra_ho_when_offered_then_has_the_least_gauge_of_the_sheet() -> None:
    """NMRA S-3.2 HO: gauge .649 in at least, 16.4846 mm; 3.5 mm to the foot by definition."""
    scale = sheets.scale("nmra", "HO")

    assert scale.gauge_mm == Decimal("16.4846")
    assert scale.ratio == Decimal("87.1")
    assert scale.mm_per_foot == Decimal("3.5")
    assert scale.label == "HO, 1:87.1 on 16.5 mm"


@pytest.mark.parametrize(
    ("code", "ratio", "gauge", "label"),
    [
        ("H0", "87", "16.5", "H0, 1:87 on 16.5 mm"),
        ("H0m", "87", "12", "H0m, 1:87 on 12 mm"),
        ("H0e", "87", "9", "H0e, 1:87 on 9 mm"),
        ("H0i", "87", "6.5", "H0i, 1:87 on 6.5 mm"),
        ("TTe", "120", "6.5", "TTe, 1:120 on 6.5 mm"),
        ("IIm", "22.5", "45", "IIm, 1:22.5 on 45 mm"),
    ],
)
def test_nem_scale_when_offered_then_has_the_ratio_and_gauge_of_nem_010(
    code, ratio, gauge, label
) -> None:
    """NEM 010:2011."""
    scale = sheets.scale("nem", code)

    assert (scale.ratio, scale.gauge_mm) == (Decimal(ratio), Decimal(gauge))
    assert scale.label == label


@pytest.mark.parametrize(
    ("family", "scale", "full_mm", "model_mm"),
    [
        ("nmra", "HO", "12192", "140.000"),  # 40 ft at 3.5 mm to the foot
        ("nmra", "HO", "1435.1", "16.479"),  # 4 ft 8 1/2 in
        ("nmra", "O", "12192", "254.000"),  # 1:48
        ("nmra", "N", "12192", "76.200"),  # 1:160
        ("nem", "H0", "12180", "140.000"),  # 1:87
        ("p4", "P4", "304.8", "4.000"),  # 4 mm to the foot
        ("2fs", "2FS", "3048", "20.000"),  # 2 mm to the foot
    ],
)
def test_length_when_brought_to_scale_then_goes_by_the_scale_s_own_definition(
    family, scale, full_mm, model_mm
) -> None:
    """Definitions of the scales: NMRA and NEM 010 by ratio, British ones by mm to the foot."""
    assert sheets.scale(family, scale).from_full_size(Decimal(full_mm)) == Decimal(model_mm)


@pytest.mark.parametrize(
    ("family", "scale", "model_mm", "full_mm"),
    [
        ("nmra", "HO", "140", "12192"),
        ("nem", "H0", "140", "12180"),
        ("nmra", "N", "76.2", "12192"),
    ],
)
def test_length_when_taken_to_full_size_then_comes_back(family, scale, model_mm, full_mm) -> None:
    assert sheets.scale(family, scale).to_full_size(Decimal(model_mm)) == Decimal(full_mm)


def test_what_is_not_held_when_asked_for_then_is_refused_by_name() -> None:
    with pytest.raises(sheets.UnknownStandard, match="no-such-family"):
        sheets.family("no-such-family")
    with pytest.raises(sheets.UnknownStandard, match="XX"):
        sheets.scale("nmra", "XX")
    with pytest.raises(sheets.UnknownStandard, match="no-such-sheet"):
        sheets.sheet("no-such-sheet")
