"""Wheelset and track against published rules, limits and worked figures, typed by hand.

The source stands beside each. "From memory" was not looked up in its source again; the figures of
the NEM and NMRA sheets were typed from the sheets and not from the tables of this project.
"""

import math
from decimal import Decimal as D

import pytest

from standards.conformity import Outcome
from standards.guidance import (
    Relation,
    Way,
    Wheels,
    flangeway_for_radius,
    margins,
    sheets_agree,
)
from standards.metrology import Measured
from standards.sheets import sheet

MM_PER_INCH = D("25.4")


def inches(value: str) -> Measured:
    return Measured(D(value) * MM_PER_INCH, 0.0, math.inf, ())


def mm(value: str) -> Measured:
    return Measured(D(value), 0.0, math.inf, ())


def margin_in(relation: Relation, wheels: Wheels, way: Way) -> D:
    """One margin, in inches."""
    return next(e.margin.value for e in margins(wheels, way) if e.relation is relation) / (
        MM_PER_INCH
    )


# --- Full size: the United States ---------------------------------------------------------------

# 49 CFR 213.143(a): class, check gauge min and face gauge max in inches (printed as feet, inches
# and eighths); the mm are computed independently. 49 CFR 213.137(a): flangeway depth min in
# inches.
CLASSES = {
    1: ("54.125", "53.25", "1374.775", "1352.550", "1.375"),
    2: ("54.25", "53.125", "1377.950", "1349.375", "1.5"),
    3: ("54.375", "53.125", "1381.125", "1349.375", "1.5"),
    4: ("54.375", "53.125", "1381.125", "1349.375", "1.5"),
    5: ("54.5", "53", "1384.300", "1346.200", "1.5"),
}


def at_the_limit(track_class: int) -> Way:
    check, face, _, _, depth = CLASSES[track_class]
    return Way(check_gauge=inches(check), span=inches(face), flangeway_depth=inches(depth))


@pytest.mark.parametrize("track_class", CLASSES)
def test_class_limits_when_in_millimetres_then_are_as_computed(track_class) -> None:
    way = at_the_limit(track_class)

    assert way.check_gauge.value == D(CLASSES[track_class][2])
    assert way.span.value == D(CLASSES[track_class][3])


# Back-to-back: 49 CFR 230.112, steam locomotives, 53 to 53 3/8 in. Margins computed independently.
@pytest.mark.parametrize(
    ("back_to_back", "track_class", "expected"),
    [
        ("53", 1, "-0.25"),
        ("53", 2, "-0.125"),
        ("53", 3, "-0.125"),
        ("53", 4, "-0.125"),
        ("53", 5, "0"),
        ("53.375", 1, "0.125"),
        ("53.375", 2, "0.25"),
        ("53.375", 3, "0.25"),
        ("53.375", 4, "0.25"),
        ("53.375", 5, "0.375"),
    ],
)
def test_span_when_steam_wheels_meet_class_limits_then_is_as_computed(
    back_to_back, track_class, expected
) -> None:
    wheels = Wheels(back_to_back=inches(back_to_back))

    assert margin_in(Relation.SPAN, wheels, at_the_limit(track_class)) == D(expected)


@pytest.mark.parametrize(
    ("flange", "track_class", "expected"),
    [
        ("1.375", 1, "-0.4375"),
        ("1.375", 5, "-0.0625"),
        ("1.0", 1, "-0.0625"),
        ("1.0", 2, "0.0625"),
        ("1.0", 5, "0.3125"),
    ],
)
def test_point_when_steam_wheels_meet_class_limits_then_is_as_computed(
    flange, track_class, expected
) -> None:
    """Lawful extremes stacked together fail: a margin is of the measured pair, not of limits."""
    wheels = Wheels(back_to_back=inches("53.1875"), flange_thickness=inches(flange))

    assert margin_in(Relation.POINT, wheels, at_the_limit(track_class)) == D(expected)


@pytest.mark.parametrize(("track_class", "expected"), [(1, "-0.125"), (2, "0"), (5, "0")])
def test_depth_when_the_flange_is_the_highest_then_is_as_computed(track_class, expected) -> None:
    """Flange height up to 1 1/2 in: 49 CFR 230.113."""
    wheels = Wheels(flange_depth=inches("1.5"))

    assert margin_in(Relation.DEPTH, wheels, at_the_limit(track_class)) == D(expected)


def test_margins_when_the_layout_is_nominal_then_are_as_computed() -> None:
    """Gauge 56 1/2 in, both flangeways 1 7/8 in (the flangeways from memory)."""
    way = Way(
        track_gauge=inches("56.5"),
        flangeway=inches("1.875"),
        flangeway_guard=inches("1.875"),
        frog_number=8,
    )
    wheels = Wheels(back_to_back=inches("53.1875"), flange_thickness=inches("1.375"))

    assert margin_in(Relation.POINT, wheels, way) == D("0.0625")  # check gauge 54.625
    assert margin_in(Relation.SPAN, wheels, way) == D("0.4375")  # face gauge 52.75
    assert margin_in(Relation.PLAY, wheels, way) == D("0.5625")


@pytest.mark.parametrize("track_class", CLASSES)
def test_span_when_it_follows_from_the_check_gauge_then_is_that_less_the_flangeway(
    track_class,
) -> None:
    """The difference of the two limits, 49 CFR 213.143(a), as the flangeway at the frog."""
    check, face, *_ = CLASSES[track_class]
    between = {1: "0.875", 2: "1.125", 3: "1.25", 4: "1.25", 5: "1.5"}[track_class]
    way = Way(check_gauge=inches(check), flangeway=inches(between))
    wheels = Wheels(back_to_back=inches("53.1875"))

    assert margin_in(Relation.SPAN, wheels, way) == D("53.1875") - D(face)


# --- Full size: Europe --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("back_to_back", "flange", "point", "span", "play"),
    [("1360", "32.5", "-0.5", "4", "10"), ("1357", "33", "2", "1", "12")],
)
def test_margins_when_interoperable_then_are_as_computed(
    back_to_back, flange, point, span, play
) -> None:
    """Fixed nose protection at least 1392, free passage at the nose at most 1356, gauge 1435: from
    memory of the TSI infrastructure; margins computed independently."""
    way = Way(track_gauge=mm("1435"), check_gauge=mm("1392"), span=mm("1356"))
    wheels = Wheels(back_to_back=mm(back_to_back), flange_thickness=mm(flange))
    found = {each.relation: each.margin for each in margins(wheels, way) if each.margin}

    assert found[Relation.POINT].value == D(point)
    assert found[Relation.SPAN].value == D(span)
    assert found[Relation.PLAY].value == D(play)


# --- Sheets against each other ------------------------------------------------------------------

# Margins typed from the printed figures: K max <= C min, B min >= S max, G min > B + 2T,
# D max <= H min, B + N + T > G max. None where a limit is not held.
RULES = (Relation.POINT, Relation.SPAN, Relation.PLAY, Relation.DEPTH, Relation.DROP_IN)

# Inches: NMRA S-4.2 on S-3.2. The sheet has no flange thickness, so play is never held and the
# reach is B min + N min alone, which is still above G max in every row.
S42_ON_S32 = {
    "1 in": ("0", "0.009", None, "0", "0.028"),  # 4.581/4.581 4.438/4.429 .156/.156 4.938/4.910
    "3/4 in": ("0", "0.007", None, "0", "0.020"),  # 3.349 3.219/3.212 .125 3.625/3.605
    # As Proto:20.3 of S-4.1 on S-3.1, with its 2.681 above 2.679, but for the depth of .090.
    "F": ("-0.002", "0.001", "0.033", "0", "0.083"),
    "Fn3": ("0", "0.004", None, None, "0.009"),  # 1.660 1.567/1.563 1.802/1.793
    "No.1": ("0", "0.004", None, "0", "0.009"),  # .064/.064
    "No.1n3": ("0", "0.003", None, "0", "0.005"),  # 1.058 1.000/.997 .047 1.172/1.167
    "O": ("0", "0.003", None, "0", "0.005"),  # 1.179 1.118/1.115 .047 1.290/1.285
    "On3": ("0", "0.002", None, "0", "0.003"),  # .705 .666/.664 .030 .781/.778
    "On30": ("0", "0.002", None, "0", "0.002"),  # as HO
    "On2": ("0", "0.002", None, "0", "0.002"),  # .455 .416/.414 .028 .524/.522
    "S": ("0", "0.002", None, "0", "0.003"),  # .839 .800/.798 .030 .908/.905
    "Sn3": ("0", "0.002", None, "0", "0.003"),  # .519 .480/.478 .030 .588/.585
    "OO": ("0", "0.002", None, "0", "0.002"),  # .705 .666/.664 .028 .774/.772
    "HO": ("0", "0.002", None, "0", "0.002"),  # .605 .566/.564 .028 .674/.672
    "HOn2": ("0", "0.001", None, "0", "0.001"),  # .246 .220/.219 .022 .291/.290
}

# Inches: NMRA S-4.1 on S-3.1. Play is G min less K max less T max.
S41_ON_S31 = {
    # 2.681/2.679 2.597/2.596 2.781-2.681-.067 .062/.062 2.597+.057+.271/2.842
    "Proto:20.3": ("-0.002", "0.001", "0.033", "0", "0.083"),
    # 1.672/1.670 1.588/1.587 1.772-1.672-.067 .062/.062 1.588+.057+.271/1.833
    "Proto:20.3n3": ("-0.002", "0.001", "0.033", "0", "0.083"),
    # 1.702/1.701 1.649/1.648 1.766-1.702-.042 .039/.039 1.649+.036+.172/1.805
    "Proto:32": ("-0.001", "0.001", "0.022", "0", "0.052"),
    # 1.062/1.060 1.009/1.008 1.125-1.062-.042 .039/.039 1.009+.036+.172/1.164
    "Proto:32n3": ("-0.002", "0.001", "0.021", "0", "0.053"),
    # 1.134/1.134 1.100/1.099 1.177-1.134-.028 .026/.026 1.100+.024+.115/1.203
    "Proto:48": ("0", "0.001", "0.015", "0", "0.036"),
    # .707/.707 .673/.672 .750-.707-.028 .026/.026 .673+.024+.115/.776
    "Proto:48n3": ("0", "0.001", "0.015", "0", "0.036"),
    # Second-hand: .623/.625 .610/.604 .649-.623-.014, H not held, .610+.012+.064/.656
    "Proto:87.1": ("0.002", "0.006", "0.012", None, "0.030"),
}

# Inches: NMRA RP-4 on RP-3, and S-4.2 on the February 2010 edition of S-3.2, which asks for less
# depth of the flangeway (.025) than the older wheel sheet allows the flange (.028).
OTHERS_IN_INCHES = [
    ("nmra-rp-4", "HO Fine", "nmra-rp-3", ("0", "0.001", None, "0", "0.002")),
    ("nmra-s-4.2", "HO", "nmra-s-3.2-2010", ("0", "0.007", None, "-0.003", "0.013")),
]

# Millimetres: NEM 310 of 2009 on NEM 110 of 2009; K min stands in B + T where it is the greater.
NEM_2009 = {
    # 5.9/5.9 5.25/5.2 6.5-5.9-.45 .6/.6 5.7+1.55/6.7
    "6.5": ("0", "0.05", "0.15", "0", "0.55"),
    # 8.1/8.1 7.4/7.3 9-8.1-.6 .9/.9 7.9+2.0/9.2
    "9": ("0", "0.1", "0.3", "0", "0.7"),
    # 11.0/11.0 10.2/10.1 12-11.0-.7 1.0/1.0 10.8+2.3/12.2
    "12": ("0", "0.1", "0.3", "0", "0.9"),
}

# Millimetres: NEM 310 of 1977, wheels on track.
NEM_1977 = {
    "9": ("0", "0.1", "0.3", "0", "0.8"),  # 8.1 7.4/7.3 9-8.1-.6 .9 7.4+.5+2.2/9.3
    "12": ("0", "0.1", "0.3", "0", "0.9"),  # 11.0 10.2/10.1 12-11.0-.7 1.0 10.2+.6+2.4/12.3
    "16.5": ("0", "0.2", "0.4", "0", "1.0"),  # 15.2 14.3/14.1 16.5-15.2-.9 1.2 17.8/16.8
    "22.5": ("0", "0.3", "0.5", "0", "1.4"),  # 20.9 19.8/19.5 22.5-20.9-1.1 1.4 24.2/22.8
    "32": ("0", "0.4", "0.7", "0", "2.0"),  # 29.9 28.4/28.0 32-29.9-1.4 1.6 34.3/32.3
    "45": ("0", "0.5", "1.5", "0", "1.7"),  # 41.8 39.8/39.3 45-41.8-1.7 2.2 47.0/45.3
}

PAIRS = [
    *(("nmra-s-4.2", row, "nmra-s-3.2", m, "in") for row, m in S42_ON_S32.items()),
    *(("nmra-s-4.1", row, "nmra-s-3.1", m, "in") for row, m in S41_ON_S31.items()),
    *((w, row, t, m, "in") for w, row, t, m in OTHERS_IN_INCHES),
    *(("nem-310-2009", row, "nem-110-2009", m, "mm") for row, m in NEM_2009.items()),
    *(("nem-310-1977", row, "nem-310-1977", m, "mm") for row, m in NEM_1977.items()),
    # Second-hand, in rounded mm: K max and C min both 15.6, gauge 16.5, flange .6.
    ("nmra-s-4.1", "Fine:HO", "nmra-s-3.1", ("0", None, "0.3", None, None), "mm"),
    # Editions mixed: K max 15.3 of 2009 fails C min 15.2 of 1977; D max of 2009 is not held.
    ("nem-310-2009", "16.5", "nem-310-1977", ("-0.1", "0.3", "0.3", None, "1.0"), "mm"),
]


@pytest.mark.parametrize(("wheel", "row", "track", "expected", "unit"), PAIRS)
def test_sheets_when_set_against_each_other_then_agree_as_printed(
    wheel, row, track, expected, unit
) -> None:
    per_unit = MM_PER_INCH if unit == "in" else D(1)
    found = sheets_agree(sheet(wheel).row(row).limits, sheet(track).row(row).limits)

    assert [each.relation for each in found] == list(RULES)
    for each, margin in zip(found, expected, strict=True):
        if margin is None:
            assert (each.holds, each.margin) == (None, None), each
            assert each.not_held, each
            continue
        assert each.margin == D(margin) * per_unit, each
        # Two of the rules want more than nothing, and no sheet leaves just nothing there.
        assert each.holds is (D(margin) >= 0), each
        assert each.not_held == ()


def test_sheets_when_compared_then_every_row_held_by_both_is_here() -> None:
    here = {(wheel, row, track) for wheel, row, track, _, _ in PAIRS}
    for wheel, track in (
        ("nmra-s-4.2", "nmra-s-3.2"),
        ("nmra-s-4.1", "nmra-s-3.1"),
        ("nem-310-2009", "nem-110-2009"),
        ("nem-310-1977", "nem-310-1977"),
    ):
        shared = {row.name for row in sheet(wheel).rows} & {row.name for row in sheet(track).rows}
        assert shared
        assert {(wheel, name, track) for name in shared} <= here


def test_sheets_when_a_limit_is_not_held_then_it_is_named() -> None:
    wheel, track = sheet("nmra-s-4.2").row("HO").limits, sheet("nmra-s-3.2").row("HO").limits
    play = next(e for e in sheets_agree(wheel, track) if e.relation is Relation.PLAY)

    assert play.not_held == ("wheel.flange_thickness max",)


def test_wheelset_when_of_2009_on_track_of_1977_then_meets_the_frog_point() -> None:
    """The supplement of 2009 to NEM 110, 310 and 311 warns of K max 15.3 on C min 15.2."""
    wheels = Wheels(back_to_back=mm("14.5"), flange_thickness=mm("0.8"))
    found = {e.relation: e for e in margins(wheels, Way(mm("16.5"), mm("15.2"), mm("14.1")))}

    assert found[Relation.POINT].margin.value == D("-0.1")
    assert found[Relation.POINT].outcome is Outcome.OUTSIDE
    assert "climb" in found[Relation.POINT].note


# --- Tread support ------------------------------------------------------------------------------

# N min and F max as printed. However the wheelset stands the tread has to bridge both flangeways,
# N >= F (1 + 1 / cos th); for No. 4, 1 / cos th = 65/63. The sheets print no formula, only that
# the width of tread needed grows with F and with the crossing angle (supplement of 2009 to NEM
# 110, 310 and 311); but every sheet held gives wheels that wide, most of them by little.
BRIDGES = [
    # NEM 310 of 1977, mm
    ("nem-310-1977", "9", "nem-310-1977", "2.2", "1.0", "mm"),
    ("nem-310-1977", "12", "nem-310-1977", "2.4", "1.1", "mm"),
    ("nem-310-1977", "16.5", "nem-310-1977", "2.8", "1.3", "mm"),
    ("nem-310-1977", "22.5", "nem-310-1977", "3.5", "1.6", "mm"),
    ("nem-310-1977", "32", "nem-310-1977", "4.7", "2.2", "mm"),
    ("nem-310-1977", "45", "nem-310-1977", "5.7", "2.8", "mm"),
    # NEM 310 and 110 of 2009, mm
    ("nem-310-2009", "6.5", "nem-110-2009", "1.55", "0.75", "mm"),
    ("nem-310-2009", "9", "nem-110-2009", "2.0", "0.9", "mm"),
    ("nem-310-2009", "12", "nem-110-2009", "2.3", "1.0", "mm"),
    # NMRA S-4.2 and S-3.2, in
    ("nmra-s-4.2", "1 in", "nmra-s-3.2", "0.500", "0.220", "in"),
    ("nmra-s-4.2", "3/4 in", "nmra-s-3.2", "0.406", "0.181", "in"),
    ("nmra-s-4.2", "No.1", "nmra-s-3.2", "0.235", "0.106", "in"),
    ("nmra-s-4.2", "O", "nmra-s-3.2", "0.172", "0.079", "in"),
    ("nmra-s-4.2", "On3", "nmra-s-3.2", "0.115", "0.053", "in"),
    ("nmra-s-4.2", "S", "nmra-s-3.2", "0.108", "0.050", "in"),
    ("nmra-s-4.2", "HO", "nmra-s-3.2", "0.108", "0.050", "in"),
    ("nmra-s-4.2", "HOn2", "nmra-s-3.2", "0.071", "0.033", "in"),
    # NMRA RP-4 and RP-3, in
    ("nmra-rp-4", "HO Fine", "nmra-rp-3", "0.086", "0.040", "in"),
]


@pytest.mark.parametrize(("wheel", "row", "track", "tyre", "flangeway", "unit"), BRIDGES)
def test_least_tread_when_over_the_widest_flangeway_then_is_carried(
    wheel, row, track, tyre, flangeway, unit
) -> None:
    per_unit = 25.4 if unit == "in" else 1.0
    found = sheets_agree(
        sheet(wheel).row(row).limits, sheet(track).row(row).limits, frog_number=4
    )[-1]

    expected = (float(tyre) - float(flangeway) * (1 + 65 / 63)) * per_unit
    assert found.relation is Relation.SUPPORT
    assert float(found.margin) == pytest.approx(expected, abs=1e-9)
    assert found.holds is True


# NEM 310 (2009) and NEM 110 (2009), mm: B min, T min, N1, F min, F max.
@pytest.mark.parametrize("number", [4, 6, 8, 10])
@pytest.mark.parametrize(
    ("gauge", "back_to_back", "flange", "reduced", "least", "greatest"),
    [("9", "7.4", "0.5", "1.8", "0.8", "0.9"), ("12", "10.2", "0.6", "2.0", "0.9", "1.0")],
)
def test_reduced_tread_when_the_flangeway_is_not_the_least_then_drops_in(
    gauge, back_to_back, flange, reduced, least, greatest, number
) -> None:
    """NEM 310 (2009) note 3: N may fall to N1 only where every turnout has F min at the frog."""
    wheels = Wheels(mm(back_to_back), mm(flange), None, mm(reduced))

    def support(flangeway: str) -> Outcome:
        way = Way(mm(gauge), flangeway=mm(flangeway), frog_number=number)
        return next(e for e in margins(wheels, way) if e.relation is Relation.SUPPORT).outcome

    assert support(least) is Outcome.WITHIN
    assert support(greatest) is Outcome.OUTSIDE


CODE_110 = Wheels(inches("0.570"), inches("0.030"), inches("0.025"), inches("0.110"))
CODE_88 = Wheels(inches("0.570"), inches("0.025"), inches("0.023"), inches("0.088"))


@pytest.mark.parametrize("number", [4, 6, 8, 10])
@pytest.mark.parametrize("gauge", ["0.649", "0.672"])
def test_code_110_when_on_s_3_2_track_then_is_carried_and_code_88_is_not(number, gauge) -> None:
    """RP-25 contours, HO gauge and flangeway .050 of S-3.2. That code 88 drops into such frogs is
    common practice, no source; RP-25 has it that it does not meet S-4.2, but RP-4."""
    way = Way(inches(gauge), flangeway=inches("0.050"), frog_number=number)

    assert margin_in(Relation.SUPPORT, CODE_110, way) > D("0.005")
    assert margin_in(Relation.SUPPORT, CODE_88, way) < D("-0.005")


@pytest.mark.parametrize("number", [4, 6, 8, 10])
def test_code_88_when_on_rp_3_fine_track_then_is_carried(number) -> None:
    """An NMRA index sends users of the code 88 wheel to RP-3 and RP-4, flangeway .040 in."""
    way = Way(inches("0.649"), flangeway=inches("0.040"), frog_number=number)
    wheels = Wheels(inches("0.583"), inches("0.025"), inches("0.023"), inches("0.088"))

    assert margin_in(Relation.SUPPORT, wheels, way) > D("0.005")


# --- Flangeway by radius ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("radius", "expected"),
    [
        ("2000", "0.8"),
        ("495.001", "0.8"),  # 55 x 9 = 495
        ("495", "0.85"),
        ("378.001", "0.85"),  # 42 x 9 = 378
        ("378", "0.9"),
        ("270.001", "0.9"),  # 30 x 9 = 270
        ("270", None),
        ("195", None),
    ],
)
def test_flangeway_when_the_radius_shrinks_then_widens_as_nem_110_says(radius, expected) -> None:
    """NEM 110 (2009), 9 mm gauge, F .8 to .9: "above" 55, 42 and 30 gauges, at its word."""
    found = flangeway_for_radius(D(radius), D(9), D("0.8"), D("0.9"))

    assert found == (None if expected is None else D(expected))
