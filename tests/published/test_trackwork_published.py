"""Trackwork against the printed limits, typed here from the sheets named beside them.

Inches are exact at 25.4 mm. Every limit is tried a thousandth of a millimetre on the wrong side of
it, on it, and as much on the right side, with an instrument that is never wrong.
"""

from __future__ import annotations

import math
from decimal import Decimal as D

import pytest

from standards import sheets
from standards.conformity import Outcome
from standards.judging import Observation
from standards.metrology import Measured
from standards.trackwork import Stretch, judge_track

INCH = D("25.4")
STEP = D("0.001")

LIMITS = [
    # NMRA S-3.2, limit-value edition, HO, inches
    ("nmra", "HO", "track_gauge", D(".649") * INCH, "least"),
    ("nmra", "HO", "track_gauge", D(".672") * INCH, "greatest"),
    ("nmra", "HO", "check_gauge", D(".605") * INCH, "least"),
    ("nmra", "HO", "span", D(".564") * INCH, "greatest"),
    ("nmra", "HO", "flangeway", D(".050") * INCH, "greatest"),
    ("nmra", "HO", "flangeway_depth", D(".028") * INCH, "least"),
    ("nmra", "HO", "point_spread", D(".595") * INCH, "greatest"),
    # NMRA S-3.2 of February 2010, HO: targets with a plus and a minus
    ("nmra-2010", "HO", "track_gauge", D(".649") * INCH, "least"),
    ("nmra-2010", "HO", "track_gauge", D(".661") * INCH, "greatest"),
    ("nmra-2010", "HO", "check_gauge", D(".605") * INCH, "least"),
    ("nmra-2010", "HO", "check_gauge", D(".614") * INCH, "greatest"),
    ("nmra-2010", "HO", "span", D(".555") * INCH, "least"),
    ("nmra-2010", "HO", "span", D(".559") * INCH, "greatest"),
    ("nmra-2010", "HO", "flangeway", D(".035") * INCH, "least"),
    ("nmra-2010", "HO", "flangeway", D(".050") * INCH, "greatest"),
    ("nmra-2010", "HO", "flangeway_depth", D(".025") * INCH, "least"),
    ("nmra-2010", "HO", "point_spread", D(".584") * INCH, "least"),
    ("nmra-2010", "HO", "point_spread", D(".590") * INCH, "greatest"),
    # NMRA S-3.1, Proto:48
    ("nmra-proto-fine", "Proto:48", "track_gauge", D("1.177") * INCH, "least"),
    ("nmra-proto-fine", "Proto:48", "check_gauge", D("1.134") * INCH, "least"),
    ("nmra-proto-fine", "Proto:48", "check_gauge", D("1.138") * INCH, "greatest"),
    ("nmra-proto-fine", "Proto:48", "span", D("1.099") * INCH, "greatest"),
    ("nmra-proto-fine", "Proto:48", "flangeway", D(".039") * INCH, "greatest"),
    # NMRA RP-3, HO Fine
    ("nmra-rp-4", "HO Fine", "track_gauge", D(".665") * INCH, "greatest"),
    ("nmra-rp-4", "HO Fine", "check_gauge", D(".613") * INCH, "least"),
    ("nmra-rp-4", "HO Fine", "span", D(".580") * INCH, "greatest"),
    ("nmra-rp-4", "HO Fine", "flangeway", D(".040") * INCH, "greatest"),
    ("nmra-rp-4", "HO Fine", "flangeway_depth", D(".026") * INCH, "least"),
    # NEM 110 of 2009, 9 and 12 mm
    ("nem", "N", "check_gauge", D("8.1"), "least"),
    ("nem", "N", "check_gauge", D("8.2"), "greatest"),
    ("nem", "N", "span", D("7.3"), "greatest"),
    ("nem", "N", "flangeway", D("0.8"), "least"),
    ("nem", "N", "flangeway", D("0.9"), "greatest"),
    ("nem", "TT", "check_gauge", D("11.0"), "least"),
    ("nem", "TT", "flangeway_depth", D("1.0"), "least"),
    # NEM 310 of 1977, which held track as well, 16.5 mm
    ("nem-1977", "H0", "track_gauge", D("16.8"), "greatest"),
    ("nem-1977", "H0", "check_gauge", D("15.2"), "least"),
    ("nem-1977", "H0", "span", D("14.1"), "greatest"),
    ("nem-1977", "H0", "flangeway", D("1.3"), "greatest"),
    ("nem-1977", "H0", "flangeway_depth", D("1.2"), "least"),
]


def outcome(family: str, scale: str, quantity: str, mm: D) -> Outcome:
    stretch = Stretch(sheets.scale(family, scale))
    seen = Observation(quantity, "straight leg", measured=Measured(mm, 0.0, math.inf, ()))
    (found,) = judge_track(stretch, [seen])
    return found.outcome


@pytest.mark.parametrize(("family", "scale", "quantity", "limit", "end"), LIMITS)
def test_printed_limit_when_passed_by_a_hair_then_is_outside_and_on_it_within(
    family, scale, quantity, limit, end
) -> None:
    wrong = -STEP if end == "least" else STEP

    assert outcome(family, scale, quantity, limit + wrong) is Outcome.OUTSIDE
    assert outcome(family, scale, quantity, limit) is Outcome.WITHIN
    assert outcome(family, scale, quantity, limit - wrong) is Outcome.WITHIN


@pytest.mark.parametrize(
    ("quantity", "inches", "limits", "targets"),
    [
        # S at most .564 in the one edition and .559 in the other
        ("span", ".561", Outcome.WITHIN, Outcome.OUTSIDE),
        # H at least .028 and .025
        ("flangeway_depth", ".026", Outcome.OUTSIDE, Outcome.WITHIN),
        # G at most .672 and .661
        ("track_gauge", ".668", Outcome.WITHIN, Outcome.OUTSIDE),
    ],
)
def test_editions_of_s_3_2_when_they_differ_then_are_never_mixed(
    quantity, inches, limits, targets
) -> None:
    mm = D(inches) * INCH

    assert outcome("nmra", "HO", quantity, mm) is limits
    assert outcome("nmra-2010", "HO", quantity, mm) is targets


@pytest.mark.parametrize(
    ("radius", "wanted"),
    [
        # NEM 110 of 2009, 9 mm, F 0.8 to 0.9: above 55 gauges the least, above 42 the mean, above
        # 30 the greatest, else case by case.
        (D(496), D("0.8")),
        (D(495), D("0.85")),
        (D(379), D("0.85")),
        (D(378), D("0.9")),
        (D(271), D("0.9")),
        (D(270), None),
    ],
)
def test_flangeway_of_a_curved_leg_when_judged_by_nem_110_then_names_what_its_radius_wants(
    radius, wanted
) -> None:
    stretch = Stretch(sheets.scale("nem", "N"), {"diverging leg": radius})
    measured = Measured(D("0.87"), 0.0, math.inf, ())
    (found,) = judge_track(stretch, [Observation("flangeway", "diverging leg", measured=measured)])

    assert found.nominal == wanted
    assert found.outcome is Outcome.WITHIN
    assert ("case by case" in found.note) == (wanted is None)
    (straight,) = judge_track(
        stretch, [Observation("flangeway", "straight leg", measured=measured)]
    )
    assert straight.nominal is None
