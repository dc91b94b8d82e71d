"""Every number of NEM 310 (both editions), 110, 303, 360 and more, typed from the print in mm."""

from decimal import Decimal

import pytest

from standards import sheets


def number(text: str) -> Decimal | None:
    """A printed figure; "-" is a cell that is not held."""
    return None if text == "-" else Decimal(text)


def ends(sheet_id: str, row: str) -> dict[str, tuple[Decimal | None, Decimal | None]]:
    """Low and high of every limit of a row."""
    limits = sheets.sheet(sheet_id).row(row).limits
    return {code: (limit.low, limit.high) for code, limit in limits.items()}


# NEM 310:2009: K min, K max, B min, B max, N min, N max, N1, T min, T max, D min, D max, P.
NEM_310_2009 = {
    "6.5": "5.7  5.9  5.25 5.5  1.55 1.6 -   0.4 0.45 0.5 0.6 0.1",
    "9": "7.9  8.1  7.4  7.6  2.0  2.2 1.8 0.5 0.6  0.5 0.9 0.15",
    "12": "10.8 11.0 10.2 10.4 2.3  2.5 2.0 0.6 0.7  0.5 1.0 0.2",
    "16.5": "15.1 15.3 14.4 14.6 2.7  2.9 2.4 0.7 0.9  0.6 -   -",
}


@pytest.mark.parametrize("gauge", NEM_310_2009)
def test_nem_310_2009_row_when_read_then_holds_the_printed_limits(gauge) -> None:
    """NEM 310, edition 2009, wheelsets."""
    k0, k1, b0, b1, n0, n1, reduced, t0, t1, d0, d1, p = map(number, NEM_310_2009[gauge].split())
    expected = {
        "wheel_check": (k0, k1),
        "back_to_back": (b0, b1),
        "tyre_width": (n0, n1),
        "flange_thickness": (t0, t1),
        "flange_depth": (d0, d1),
    }
    if reduced is not None:
        expected["tyre_width_reduced"] = (reduced, None)
    row = sheets.sheet("nem-310-2009").row(gauge)

    assert ends("nem-310-2009", gauge) == expected
    assert row.gauge == Decimal(gauge)
    assert row.figures.get("measuring_plane_p") == p


def test_nem_310_2009_when_listed_then_ends_at_16_5() -> None:
    """NEM 310:2009: nothing is held above 16.5 mm, and nothing is made up."""
    assert [row.name for row in sheets.sheet("nem-310-2009").rows] == list(NEM_310_2009)


def test_nem_310_2009_when_both_flange_and_back_to_back_are_greatest_then_k_is_broken() -> None:
    """NEM 310:2009, note 2: at 16.5 mm, B max 14.6 + T max 0.9 = 15.5 against K max 15.3."""
    limits = sheets.sheet("nem-310-2009").row("16.5").limits

    together = limits["back_to_back"].high + limits["flange_thickness"].high

    assert together == Decimal("15.5")
    assert together > limits["wheel_check"].high


# NEM 310:1977. Wheel: K max, B min, N min, T min, T max, D max, P.
NEM_310_1977_WHEEL = {
    "9": "8.1  7.4  2.2 0.5 0.6 0.9 0.15",
    "12": "11.0 10.2 2.4 0.6 0.7 1.0 0.2",
    "16.5": "15.2 14.3 2.8 0.7 0.9 1.2 0.25",
    "22.5": "20.9 19.8 3.5 0.9 1.1 1.4 0.3",
    "32": "29.9 28.4 4.7 1.2 1.4 1.6 0.4",
    "45": "41.8 39.8 5.7 1.5 1.7 2.2 0.5",
}
# NEM 310:1977. Track: G max, C min, S max, F max, H min.
NEM_310_1977_TRACK = {
    "9": "9.3  8.1  7.3  1.0 0.9",
    "12": "12.3 11.0 10.1 1.1 1.0",
    "16.5": "16.8 15.2 14.1 1.3 1.2",
    "22.5": "22.8 20.9 19.5 1.6 1.4",
    "32": "32.3 29.9 28.0 2.2 1.6",
    "45": "45.3 41.8 39.3 2.8 2.2",
}


@pytest.mark.parametrize("gauge", NEM_310_1977_WHEEL)
def test_nem_310_1977_row_when_read_then_holds_wheel_and_track(gauge) -> None:
    """NEM 310, edition 1977, the combined sheet."""
    k1, b0, n0, t0, t1, d1, p = map(number, NEM_310_1977_WHEEL[gauge].split())
    g1, c0, s1, f1, h0 = map(number, NEM_310_1977_TRACK[gauge].split())
    row = sheets.sheet("nem-310-1977").row(gauge)

    assert ends("nem-310-1977", gauge) == {
        "wheel_check": (None, k1),
        "back_to_back": (b0, None),
        "tyre_width": (n0, None),
        "flange_thickness": (t0, t1),
        "flange_depth": (None, d1),
        "track_gauge": (None, g1),
        "check_gauge": (c0, None),
        "span": (None, s1),
        "flangeway": (None, f1),
        "flangeway_depth": (h0, None),
    }
    assert row.gauge == Decimal(gauge)
    assert row.limits["track_gauge"].nominal == Decimal(gauge)
    assert row.figures["measuring_plane_p"] == p


def test_nem_310_1977_when_listed_then_has_the_six_gauges_read() -> None:
    """NEM 310:1977: 6.5 and 64 mm were not in the table as read."""
    assert [row.name for row in sheets.sheet("nem-310-1977").rows] == list(NEM_310_1977_WHEEL)


# NEM 110:2009: G max, C min, C max, E max, S min, S max, F min, F max, H min.
NEM_110_2009 = {
    "6.5": "6.7  5.9  6.0  5.6  5.1  5.2  0.7 0.75 0.6",
    "9": "9.2  8.1  8.2  7.8  7.2  7.3  0.8 0.9  0.9",
    "12": "12.2 11.0 11.1 10.7 10.0 10.1 0.9 1.0  1.0",
}


@pytest.mark.parametrize("gauge", NEM_110_2009)
def test_nem_110_2009_row_when_read_then_holds_the_printed_limits(gauge) -> None:
    """NEM 110, edition 2009, track and turnouts."""
    g1, c0, c1, e1, s0, s1, f0, f1, h0 = map(number, NEM_110_2009[gauge].split())

    assert ends("nem-110-2009", gauge) == {
        "track_gauge": (None, g1),
        "check_gauge": (c0, c1),
        "free_groove_edge": (None, e1),
        "span": (s0, s1),
        "flangeway": (f0, f1),
        "flangeway_depth": (h0, None),
    }
    row = sheets.sheet("nem-110-2009").row(gauge)
    assert row.gauge == Decimal(gauge)
    assert row.limits["track_gauge"].nominal == Decimal(gauge)


def test_nem_340_when_read_then_holds_the_centre_conductor_wheels() -> None:
    """NEM 340:2008, the row printed 16.6."""
    assert ends("nem-340", "16.5") == {
        "wheel_check": (None, Decimal("15.0")),
        "back_to_back": (Decimal("14.0"), None),
        "tyre_width": (Decimal("3.0"), None),
        "flange_thickness": (Decimal("0.9"), Decimal("1.0")),
        "flange_depth": (None, Decimal("1.35")),
        "track_gauge": (None, Decimal("16.7")),
        "check_gauge": (Decimal("15.0"), None),
        "span": (None, Decimal("13.6")),
        "flangeway": (None, Decimal("1.7")),
        "flangeway_depth": (Decimal("1.3"), None),
    }
    limit = sheets.sheet("nem-340").row("16.5").limits["track_gauge"]
    assert limit.nominal == Decimal("16.6")


# NEM 303:2015: spacing, its tolerance, height, plus, minus, least u.
NEM_303 = {
    "Z": "8.0   0.1 5.0   0.3 0.3  3.8",
    "N": "11.0  0.1 6.7   0.3 0.3  5.2",
    "TT": "14.5  0.2 8.9   0.4 0.4  6.9",
    "H0": "20.0  0.2 12.2  0.5 0.5  9.6",
    "S": "27.5  0.3 16.5  0.5 0.6  13.1",
    "0": "39.5  0.7 23.6  0.7 1.0  18.5",
    "I": "54.5  0.5 33.0  0.5 1.5  26.0",
    "II": "77.7  0.5 47.1  0.5 2.5  -",
    "III": "109.4 0.6 66.3  0.5 5.0  -",
    "V": "159.0 1.0 96.5  0.5 7.5  -",
    "VII": "219.0 1.5 132.5 1.0 10.5 -",
    "X": "318.0 2.0 193.0 1.0 15.0 -",
}


@pytest.mark.parametrize("size", NEM_303)
def test_nem_303_row_when_read_then_limits_follow_from_the_tolerances(size) -> None:
    """NEM 303, edition 2015, buffers."""
    spacing, play, height, up, down, least_u = map(number, NEM_303[size].split())
    row = sheets.sheet("nem-303").row(size)

    assert ends("nem-303", size) == {
        "buffer_spacing": (spacing - play, spacing + play),
        "buffer_height": (height - down, height + up),
    }
    assert row.limits["buffer_spacing"].nominal == spacing
    assert row.limits["buffer_height"].nominal == height
    assert row.figures.get("u_min") == least_u
    assert row.scales == (size,)


def test_nem_303_when_listed_then_has_the_twelve_sizes() -> None:
    """NEM 303:2015."""
    assert [row.name for row in sheets.sheet("nem-303").rows] == list(NEM_303)


def test_nem_303_h0_when_read_then_height_is_11_7_to_12_7() -> None:
    """NEM 303:2015, H0: 12.2 plus or minus 0.5, spacing 20.0 plus or minus 0.2."""
    assert ends("nem-303", "H0") == {
        "buffer_spacing": (Decimal("19.8"), Decimal("20.2")),
        "buffer_height": (Decimal("11.7"), Decimal("12.7")),
    }


def test_nem_360_when_read_then_holds_the_printed_figures() -> None:
    """NEM 360:1994, loop coupling for H0."""
    row = sheets.sheet("nem-360").row("H0")
    limit = row.limits["coupler_height"]

    assert list(row.limits) == ["coupler_height"]
    assert (limit.low, limit.nominal, limit.high) == (
        Decimal("8.0"),
        Decimal("8.5"),
        Decimal("9.0"),
    )
    assert row.figures == {
        "hook_height": Decimal("11.5"),
        "hook_height_plus_minus": Decimal("0.5"),
        "uncoupling_height_min": 13,
        "loop_width": Decimal("7.5"),
        "loop_width_plus_minus": Decimal("0.3"),
        "coupling_plate_width_min": Decimal("6.5"),
        "uncoupling_ramp_working_height": Decimal("3.5"),
        "uncoupling_ramp_working_height_plus_minus": Decimal("1.0"),
    }


# NEM 010:2011: ratio, then gauges for the letters none, m, e, i, p.
NEM_010 = {
    "Z": "220  6.5  4.5  -    -    -",
    "N": "160  9    6.5  4.5  -    -",
    "TT": "120  12   9    6.5  4.5  -",
    "H0": "87   16.5 12   9    6.5  4.5",
    "S": "64   22.5 16.5 12   9    6.5",
    "0": "45   32   22.5 16.5 12   9",
    "I": "32   45   32   22.5 16.5 12",
    "II": "22.5 64   45   32   22.5 16.5",
    "III": "16   89   64   45   32   22.5",
    "V": "11   127  89   64   45   32",
    "VII": "8    184  127  89   64   45",
    "X": "5.5  260  184  127  89   64",
}


@pytest.mark.parametrize("size", NEM_010)
def test_nem_010_size_when_offered_as_scales_then_has_the_printed_ratio_and_gauges(size) -> None:
    """NEM 010, edition 2011, through the family that takes its scales from it."""
    ratio, *gauges = map(number, NEM_010[size].split())
    offered = {
        scale.code: (scale.ratio, scale.gauge_mm)
        for scale in sheets.family("nem").scales
        if scale.code.rstrip("meip") == size
    }

    assert offered == {
        size + letter: (ratio, gauge)
        for letter, gauge in zip(("", "m", "e", "i", "p"), gauges, strict=True)
        if gauge is not None
    }
