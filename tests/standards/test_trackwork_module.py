"""Judging trackwork: what follows from what, from readings of now and of before."""

from __future__ import annotations

import math
from decimal import Decimal as D

import pytest

from standards import sheets
from standards.conformity import Outcome
from standards.judging import GaugeResult, HouseRule, Observation
from standards.metrology import Measured
from standards.trackwork import Stretch, judge_track

HO = Stretch(sheets.scale("nmra", "HO"))
LEG = "straight leg"


def seen(quantity: str, mm: str, at: str = LEG, u: float = 0.0) -> Observation:
    return Observation(quantity, at, measured=Measured(D(mm), u, math.inf, ()))


def values(found) -> dict[tuple[str, str], D | None]:
    return {(each.quantity, each.at): each.value for each in found}


def test_check_gauge_and_span_when_not_measured_then_follow_from_gauge_and_flangeways() -> None:
    found = judge_track(
        HO,
        [
            seen("track_gauge", "16.60", u=0.03),
            seen("flangeway_guard", "1.15", u=0.04),
            seen("flangeway", "1.20", u=0.12),
        ],
    )
    by_key = {each.quantity: each for each in found}

    assert by_key["check_gauge"].value == D("15.45")  # 16.60 - 1.15
    assert by_key["check_gauge"].measured.u == pytest.approx(0.05)  # 0.03 and 0.04
    assert "Follows from the track gauge less the guard flangeway." in by_key["check_gauge"].note
    assert by_key["span"].value == D("14.25")  # 16.60 - 1.15 - 1.20
    assert by_key["span"].measured.u == pytest.approx(0.13)  # with 0.12
    assert "less both flangeways" in by_key["span"].note


def test_span_when_the_check_gauge_was_measured_then_follows_from_that() -> None:
    found = judge_track(
        HO,
        [
            seen("track_gauge", "16.60"),
            seen("flangeway_guard", "1.00"),
            seen("check_gauge", "15.50"),
            seen("flangeway", "1.20"),
        ],
    )
    by_key = {each.quantity: each for each in found}

    assert by_key["check_gauge"].value == D("15.50")
    assert by_key["span"].value == D("14.30")
    assert "Follows from the check gauge" in by_key["span"].note


def test_what_was_measured_when_it_could_also_follow_then_stands() -> None:
    found = judge_track(
        HO, [seen("check_gauge", "15.50"), seen("flangeway", "1.20"), seen("span", "14.10")]
    )

    assert values(found) == {
        ("check_gauge", LEG): D("15.50"),
        ("span", LEG): D("14.10"),
        ("flangeway", LEG): D("1.20"),
    }


def test_what_follows_when_one_part_is_of_another_leg_then_does_not() -> None:
    found = judge_track(
        HO, [seen("track_gauge", "16.60"), seen("flangeway_guard", "1.15", "diverging leg")]
    )

    assert {each.quantity for each in found} == {"track_gauge", "flangeway_guard"}


def test_earlier_readings_when_a_part_is_taken_anew_then_count_with_it() -> None:
    earlier = [seen("track_gauge", "16.60")]
    found = judge_track(HO, [seen("flangeway_guard", "1.30")], carried=earlier)

    assert values(found)["check_gauge", LEG] == D("15.30")
    assert ("track_gauge", LEG) not in values(found)
    nothing_of_it = judge_track(HO, [seen("flangeway_depth", "0.80")], carried=earlier)
    assert set(values(nothing_of_it)) == {("flangeway_depth", LEG)}


def test_check_gauge_when_tried_by_gauge_then_no_number_takes_its_place() -> None:
    by_gauge = Observation("check_gauge", LEG, gauge=GaugeResult.TOO_SMALL)
    found = judge_track(
        HO, [by_gauge, seen("track_gauge", "16.60"), seen("flangeway_guard", "1.00")]
    )
    by_key = {each.quantity: each for each in found}

    assert by_key["check_gauge"].outcome is Outcome.OUTSIDE
    assert by_key["check_gauge"].gauge is GaugeResult.TOO_SMALL
    assert len([each for each in found if each.quantity == "check_gauge"]) == 1


def test_house_limit_when_set_for_track_then_counts_in_place_of_the_sheets() -> None:
    tight = HouseRule("track_gauge", None, D("16.70"), "Cars of code 88 wheels run here")
    (found,) = judge_track(HO, [seen("track_gauge", "16.80")], [tight])

    assert found.outcome is Outcome.OUTSIDE
    assert found.is_judged_by_house
    assert judge_track(HO, [seen("track_gauge", "16.80")])[0].outcome is Outcome.WITHIN


def test_quantity_when_unknown_then_is_refused() -> None:
    with pytest.raises(KeyError):
        judge_track(HO, [seen("no_such_thing", "1")])
