"""What can be measured, and that no plausible range questions a published limit."""

from collections.abc import Iterator
from decimal import Decimal

import pytest

from standards import sheets
from standards.judging import ADVISORY, ESSENTIAL_PER_AXLE
from standards.quantities import (
    BY_RULE,
    QUANTITIES,
    SHEET_ONLY_NAMES,
    Dimension,
    Jaws,
    Place,
    name_of,
)

SCALES = [scale for family in sheets.families().values() for scale in family.scales]


def printed(code: str) -> Iterator[tuple[sheets.Scale, Decimal]]:
    """Every limit and figure that a sheet of some family holds for a quantity, with its scale."""
    for scale in SCALES:
        limit = sheets.limits_for(scale).get(code)
        if limit is not None:
            for number in (limit.low, limit.high, limit.nominal):
                if number is not None:
                    yield scale, number


LIMITED = {
    "back_to_back",
    "wheel_check",
    "over_flanges",
    "flange_thickness",
    "flange_depth",
    "tyre_width",
    "coupler_height",
    "buffer_height",
    "buffer_spacing",
    "track_gauge",
    "check_gauge",
    "span",
    "flangeway",
    "flangeway_guard",
    "flangeway_depth",
    "point_spread",
}


@pytest.mark.parametrize("code", sorted(LIMITED))
def test_range_when_a_published_limit_is_measured_then_holds_it(code) -> None:
    for scale, number in printed(code):
        low, high = QUANTITIES[code].plausible(scale)
        assert low <= number <= high, (scale.family, scale.code, number)


@pytest.mark.parametrize("code", sorted(LIMITED))
def test_range_when_a_limit_is_typed_in_the_wrong_unit_then_does_not_hold_it(code) -> None:
    """Otherwise inches taken for millimetres would be judged without a question."""
    for scale, number in printed(code):
        low, high = QUANTITIES[code].plausible(scale)
        for slip in (number / Decimal("25.4"), number * Decimal("25.4")):
            assert not low <= slip <= high, (scale.family, scale.code, number)


def test_limits_when_gone_through_then_are_not_few() -> None:
    """The two tests above would pass on an empty list, and miss a quantity not listed."""
    seen = {code: list(printed(code)) for code in QUANTITIES}

    assert {code for code, found in seen.items() if found} == LIMITED
    assert sum(len(found) for found in seen.values()) > 500


@pytest.mark.parametrize("code", QUANTITIES)
def test_range_when_asked_at_any_scale_then_runs_upwards(code) -> None:
    quantity = QUANTITIES[code]
    for scale in SCALES:
        low, high = quantity.plausible(scale)

        assert low < high, (scale.family, scale.code)
        assert (low < 0) == quantity.may_be_negative, (scale.family, scale.code)


@pytest.mark.parametrize(
    ("family", "scale", "grams"),
    [
        # NMRA RP-20.1: 4 oz for a 6 in HO car, 0.5 + 3 x 0.15 oz for a 3 in N car
        ("nmra", "HO", "113.3980925"),
        ("nmra", "N", "26.93204696875"),
        ("nmra", "O", "396.89332375"),  # 5 + 9 x 1 oz
        # NEM 302:2015: 0.4, 0.17, 0.12, 1.0 and 2.0 g per mm
        ("nem", "H0", "40"),
        ("nem", "N", "10.2"),
        ("nem", "Z", "6"),
        ("nem", "0", "200"),
        ("nem", "I", "500"),
    ],
)
def test_mass_range_when_a_car_has_its_published_mass_then_holds_it(family, scale, grams) -> None:
    low, high = QUANTITIES["mass"].plausible(sheets.scale(family, scale))

    assert low <= Decimal(grams) <= high


@pytest.mark.parametrize(
    ("code", "low", "high"),
    [
        # 1:160 on 8.9662 mm (.353 in), worked by hand from the factors of the module
        ("back_to_back", "5.828030", "8.876538"),
        ("wheel_diameter", "1.875", "15.625"),
        ("trip_pin_clearance", "-0.9375", "2.1875"),
        ("body_length", "7.5", "300"),
        ("mass", "1.46484375", "366.2109375"),
        ("start_rolling_grade", "0.1", "12"),
    ],
)
def test_range_when_worked_out_in_n_then_grows_with_gauge_ratio_or_bulk(code, low, high) -> None:
    """The factors are common practice, no source."""
    found = QUANTITIES[code].plausible(sheets.scale("nmra", "N"))

    assert found == (Decimal(low), Decimal(high))


def test_quantities_when_listed_then_are_keyed_by_their_code_and_named_once() -> None:
    assert all(code == quantity.code for code, quantity in QUANTITIES.items())
    names = [quantity.name for quantity in QUANTITIES.values()]
    assert len(names) == len(set(names))


def test_quantities_when_measured_then_have_the_unit_they_are_held_in() -> None:
    units = {code: quantity.unit for code, quantity in QUANTITIES.items()}

    assert units.pop("mass") == "g"
    assert units.pop("start_rolling_grade") == "%"
    assert set(units.values()) == {"mm"}
    assert [each.unit for each in Dimension] == ["mm", "g", "%"]


def test_letters_when_printed_on_the_drawings_then_are_those() -> None:
    """NMRA S-4.2 and NEM 310: B, T, D, N and K; S-3.2 and NEM 110: G, C, S, F, H and P."""
    assert {code: each.letter for code, each in QUANTITIES.items() if each.letter} == {
        "back_to_back": "B",
        "flange_thickness": "T",
        "flange_depth": "D",
        "tyre_width": "N",
        "wheel_check": "K",
        "track_gauge": "G",
        "check_gauge": "C",
        "span": "S",
        "flangeway": "F",
        "flangeway_depth": "H",
        "point_spread": "P",
    }


@pytest.mark.parametrize(
    ("code", "jaws"),
    [
        ("back_to_back", Jaws.INSIDE),
        ("flange_depth", Jaws.DEPTH),
        ("coupler_height", Jaws.DEPTH),  # with the depth rod, down to the rail
        ("trip_pin_clearance", Jaws.DEPTH),
        ("buffer_height", Jaws.DEPTH),
        ("height", Jaws.DEPTH),
        ("buffer_spacing", Jaws.NONE),  # from middle to middle, which no jaw reaches
        ("tyre_width", Jaws.OUTSIDE),
        ("body_length", Jaws.OUTSIDE),
        ("mass", Jaws.NONE),
        ("start_rolling_grade", Jaws.NONE),
    ],
)
def test_jaws_when_a_caliper_takes_it_then_are_the_ones_that_reach(code, jaws) -> None:
    """Inside jaws and depth rod are less exact (DIN 862, from memory)."""
    assert QUANTITIES[code].jaws is jaws


def test_lengths_when_longer_than_a_caliper_then_are_taken_with_a_rule() -> None:
    """Usual calipers open 150 mm; common practice, no source. A 40 ft car in O is 254 mm long."""
    assert (
        frozenset(
            {
                "length_over_couplers",
                "length_over_buffers",
                "body_length",
                "pivot_distance",
                "chord",
            }
        )
        == BY_RULE
    )
    in_o = sheets.scale("nmra", "O")
    for code in BY_RULE:
        assert QUANTITIES[code].unit == "mm"
        assert QUANTITIES[code].place in (Place.VEHICLE, Place.TRACK)
        assert QUANTITIES[code].plausible(in_o)[1] > 150


def test_computed_quantities_when_listed_then_are_the_two_sums() -> None:
    assert [code for code, each in QUANTITIES.items() if each.is_computed] == [
        "wheel_check",
        "over_flanges",
    ]


def test_essential_and_advisory_when_listed_then_are_known_and_apart() -> None:
    known = set(QUANTITIES) | set(SHEET_ONLY_NAMES)

    assert known >= ADVISORY
    assert all(QUANTITIES[code].place is Place.AXLE for code in ESSENTIAL_PER_AXLE)
    assert not set(ESSENTIAL_PER_AXLE) & ADVISORY


def test_names_when_a_sheet_holds_a_figure_then_is_in_words() -> None:
    for sheet in sheets.all_sheets():
        for row in sheet.rows:
            for code in row.limits:
                known = code in QUANTITIES or code in SHEET_ONLY_NAMES
                assert known, (sheet.id, code)
                assert "_" not in name_of(code)
    assert name_of("back_to_back") == "Back-to-back"
    assert name_of("flangeway") == "Flangeway at the frog"
    assert name_of("pocket_height") == "Coupler pocket height"
    assert name_of("something_else") == "Something else"
