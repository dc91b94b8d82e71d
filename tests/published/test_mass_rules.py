"""The published mass rules: NMRA RP-20.1 and NEM 302, with the printed worked example."""

from decimal import Decimal

import pytest

from standards import sheets

MM_PER_INCH = Decimal("25.4")
GRAMS_PER_OUNCE = Decimal("28.349523125")  # avoirdupois, exact

# NMRA RP-20.1: initial ounces, additional ounces per inch of body.
RP_20_1 = {
    "O": ("5", "1"),
    "On3": ("1.5", ".75"),
    "S": ("2", ".5"),
    "Sn3": ("1", ".5"),
    "HO": ("1", ".5"),
    "HOn3": (".75", ".375"),
    "TT": (".75", ".375"),
    "N": (".5", ".15"),
}


def test_rp_20_1_when_ho_body_is_six_inches_then_four_ounces() -> None:
    """NMRA, the worked example given with RP-20.1: HO, 6 in, 4 oz."""
    rule = sheets.sheet("nmra-rp-20.1").row("HO").mass_rule

    assert rule.optimum_g(6 * MM_PER_INCH) == 4 * GRAMS_PER_OUNCE


@pytest.mark.parametrize("scale", RP_20_1)
def test_rp_20_1_row_when_asked_then_is_initial_plus_so_much_an_inch(scale) -> None:
    """NMRA RP-20.1, every row, exactly."""
    initial, per_inch = map(Decimal, RP_20_1[scale])
    rule = sheets.sheet("nmra-rp-20.1").row(scale).mass_rule

    for inches in map(Decimal, ("0", "1", "3.5", "6", "10")):
        ounces = initial + per_inch * inches
        assert rule.optimum_g(inches * MM_PER_INCH) == ounces * GRAMS_PER_OUNCE, inches


def test_rp_20_1_when_listed_then_has_the_eight_printed_scales() -> None:
    """NMRA RP-20.1: no figure for Z or G in any copy."""
    assert [row.name for row in sheets.sheet("nmra-rp-20.1").rows] == list(RP_20_1)


def test_rp_20_1_when_asked_for_limits_then_gives_none() -> None:
    """NMRA RP-20.1 prints an optimum and no tolerance; it was read second-hand."""
    rule = sheets.sheet("nmra-rp-20.1").row("HO").mass_rule

    assert rule.limits_g(Decimal("152.4")) == (None, None)
    assert rule.length_quantity == "body_length"
    assert rule.provenance == "second-hand"


# NEM 302:2015: grams per millimetre over buffers, minimum.
NEM_302 = {
    "Z": "0.12",
    "N": "0.17",
    "TT": "0.25",
    "H0": "0.4",
    "S": "0.6",
    "0": "1.0",
    "I": "2.0",
    "II": "4.0",
}


@pytest.mark.parametrize("size", NEM_302)
def test_nem_302_row_when_asked_then_upper_is_thirty_percent_above_the_minimum(size) -> None:
    """NEM 302:2015, every size; the 30 percent is quoted second-hand."""
    rule = sheets.sheet("nem-302").row(size).mass_rule
    least = Decimal(NEM_302[size]) * Decimal("137.5")

    assert rule.limits_g(Decimal("137.5")) == (least, least * Decimal("1.3"))
    assert rule.optimum_g(Decimal("137.5")) is None


def test_nem_302_h0_when_a_wagon_is_120_over_buffers_then_48_to_62_4_grams() -> None:
    """NEM 302:2015, H0: 0.4 g per mm, worked by hand."""
    rule = sheets.sheet("nem-302").row("H0").mass_rule

    assert rule.limits_g(Decimal(120)) == (Decimal(48), Decimal("62.4"))


def test_nem_302_when_read_then_names_its_length_and_where_each_end_comes_from() -> None:
    """NEM 302:2015: the minimum is published, the upper limit is not."""
    rule = sheets.sheet("nem-302").row("H0").mass_rule

    assert rule.length_quantity == "length_over_buffers"
    assert rule.provenance == "published"
    assert rule.upper_provenance == "second-hand"


def test_nem_302_when_listed_then_has_the_eight_sizes() -> None:
    """NEM 302:2015."""
    assert [row.name for row in sheets.sheet("nem-302").rows] == list(NEM_302)
