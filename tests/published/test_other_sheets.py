"""At least one figure of every other family and sheet, typed from the print in its own unit."""

from decimal import Decimal

import pytest

from standards import sheets

MM_PER_UNIT = {"mm": Decimal(1), "in": Decimal("25.4")}

# Sheet, row, quantity, unit of the print, then low, high and nominal; "-" where none is printed.
FIGURES = [
    # NMRA S-3.2, limit-value edition
    ("nmra-s-3.2", "HO", "track_gauge", "in", ".649 .672 -"),
    ("nmra-s-3.2", "HO", "check_gauge", "in", ".605 - -"),
    ("nmra-s-3.2", "HO", "span", "in", "- .564 -"),
    ("nmra-s-3.2", "HO", "flangeway", "in", "- .050 -"),
    ("nmra-s-3.2", "HO", "flangeway_depth", "in", ".028 - -"),
    ("nmra-s-3.2", "HO", "point_spread", "in", "- .595 -"),
    ("nmra-s-3.2", "HO", "point_spread_electrical", "in", "- .590 -"),
    ("nmra-s-3.2", "On30", "check_gauge", "in", ".605 - -"),  # "same as HO"
    ("nmra-s-3.2", "O", "span", "in", "- 1.115 -"),
    ("nmra-s-3.2", "F", "check_gauge", "in", "2.679 2.688 -"),  # Proto:20.3 of S-3.1
    # NMRA S-3.2, February 2010: target plus, minus; the sheet's own worked limits for HO
    ("nmra-s-3.2-2010", "HO", "track_gauge", "in", ".649 .661 .651"),
    ("nmra-s-3.2-2010", "HO", "check_gauge", "in", ".605 .614 .607"),
    ("nmra-s-3.2-2010", "HO", "span", "in", ".555 .559 .557"),
    ("nmra-s-3.2-2010", "HO", "flangeway", "in", ".035 .050 .048"),
    ("nmra-s-3.2-2010", "HO", "point_spread", "in", ".584 .590 .588"),
    ("nmra-s-3.2-2010", "HO", "flangeway_depth", "in", ".025 - -"),
    ("nmra-s-3.2-2010", "Fn3", "span", "in", "1.535 1.555 1.550"),
    ("nmra-s-3.2-2010", "HOn3", "track_gauge", "in", ".413 .423 .415"),
    # NMRA S-3.1
    ("nmra-s-3.1", "Proto:48", "check_gauge", "in", "1.134 1.138 -"),
    ("nmra-s-3.1", "Proto:48", "flangeway", "in", ".036 .039 -"),
    ("nmra-s-3.1", "Proto:48", "flangeway_guard", "in", "- - .043"),
    ("nmra-s-3.1", "Proto:48n3", "point_spread", "in", "- .651 -"),
    ("nmra-s-3.1", "Proto:87.1", "span", "in", "- .604 -"),
    ("nmra-s-3.1", "Fine:HO", "check_gauge", "mm", "15.6 - -"),
    # NMRA S-4.1, mm only in the quotation
    ("nmra-s-4.1", "Fine:HO", "wheel_check", "mm", "- 15.6 -"),
    ("nmra-s-4.1", "Proto:64", "back_to_back", "in", ".825 .834 -"),
    # NMRA RP-3
    ("nmra-rp-3", "HO Fine", "span", "in", "- .580 -"),
    ("nmra-rp-3", "Proto 24n3", "span", "in", "- 1.330 -"),  # its mm column misprints 33.7
    ("nmra-rp-3", "S Fine", "point_spread", "in", "- .829 -"),
    ("nmra-rp-3", "S Fine", "point_spread_electrical", "in", "- .819 -"),
    # NMRA S-2
    ("nmra-s-2", "HO", "coupler_height", "in", "- - .391"),
    # NEM 311.1, supplement 4, 356, 362
    ("nem-311-1", "16.5", "back_to_back", "mm", "14.3 14.5 -"),
    ("nem-311-1", "16.5", "flange_depth", "mm", "- - 0.6"),
    ("nem-310-bbl4-2002", "16.5", "flangeway", "mm", "1.1 1.3 -"),
    ("nem-356", "N", "coupler_height", "mm", "4.0 5.0 4.5"),
    ("nem-362", "H0", "pocket_height", "mm", "8.3 8.7 8.5"),
    ("nem-340", "45", "back_to_back", "mm", "39.8 - -"),
    # 00 in its kinds
    ("00-sf", "00-SF", "back_to_back", "mm", "14.3 14.5 -"),
    ("00-sf", "00-SF", "flange_thickness", "mm", "- 0.8 0.7"),
    ("doga-oo-fine", "OO Fine", "back_to_back", "mm", "- - 14.8"),
    ("doga-oo-intermediate", "OO Intermediate", "flangeway", "mm", "- - 1.25"),
    ("brmsb-00-em", "BRMSB 00", "tyre_width", "mm", "- - 2.5"),
    # EM, P4, S4
    ("emgs-em", "EM", "check_gauge", "mm", "- - 17.2"),
    ("scalefour-p4", "P4 from society forum", "back_to_back", "mm", "17.67 - -"),
    ("scalefour-p4", "P4 track gauge", "track_gauge", "mm", "- - 18.83"),
    ("scalefour-s4", "S4", "track_gauge", "mm", "- - 18.83"),
    # 3 mm, 2 mm and FS160
    ("3mm-society", "TM (1957)", "track_gauge", "mm", "- - 13.5"),
    ("2mmsa-2fs", "2FS wheelset", "back_to_back", "mm", "- - 8.5"),
    ("fs160-fine", "FiNe, derived", "back_to_back", "mm", "- - 8.05"),
    # 7 mm scale
    ("gog-0-coarse", "GOG coarse (as of 2001)", "check_gauge", "mm", "- - 29.8"),
    ("gog-0-fine", "0 Fine", "flangeway", "mm", "- - 1.75"),
    ("gog-0-fine", "O-MF", "track_gauge", "mm", "- - 31.5"),
    ("gog-0-fine", "O-SF", "track_gauge", "mm", "- - 31.2"),
    ("scaleseven-s7", "S7", "back_to_back", "mm", "31.2 31.3 -"),
    ("scaleseven-s7", "S7", "check_gauge", "mm", "31.98 32.08 -"),
    # gauge 1 and 1:32
    ("g1mra-standard", "G1 Standard", "back_to_back", "mm", "40.0 40.5 40.0"),
    ("g1mra-fine", "G1 Fine", "wheel_check", "mm", "- - 43.25"),
    ("scaleone32-g1r", "G1R", "wheel_check", "mm", "- 43.5 43.1"),
    ("fremo32e", "wheelset", "tyre_width", "mm", "3.5 4.4 -"),
    ("fremo32e", "track", "point_spread", "mm", "- 21.4 -"),
    # Proto:48 and Proto:87
    ("proto48", "P48 track", "track_gauge", "in", "1.177 1.203 -"),
    ("proto87", "P:87.1", "back_to_back", "in", ".610 .613 -"),
]


@pytest.mark.parametrize(("sheet_id", "row", "code", "unit", "figures"), FIGURES)
def test_sheet_figure_when_read_then_is_the_printed_one(
    sheet_id, row, code, unit, figures
) -> None:
    """The publication is the sheet named in the first column."""
    expected = tuple(
        None if text == "-" else Decimal(text) * MM_PER_UNIT[unit] for text in figures.split()
    )
    limit = sheets.sheet(sheet_id).row(row).limits[code]

    assert (limit.low, limit.high, limit.nominal) == expected


# Sheet, row, figure, as printed: shown, never judged by.
SHOWN = [
    ("nmra-rp-15.1", "code 100", "height_a", ".100"),
    ("nmra-rp-15.1", "code 83", "natural_flangeway_b_minus_c", ".040"),
    ("nmra-s-8", "O, 25 deg", "class_1a_centers", "4.5625"),  # printed 4-9/16
    ("nmra-s-8", "S, tangent", "sn3_centers", "2.0625"),  # printed 2-1/16
    ("nmra-mrp-1.0", "Z", "mainline_radius_min", "7.5"),  # its mm misprints 195
    ("nmra-mrp-1.0", "N", "grade_max_percent", "0"),  # a figure, not a gap
    ("nmra-rp-11", "class G, HO", "radius_min", "18"),
    ("nmra-rp-12.7", "No. 6", "lead", "3.256"),
    ("nem-102-2017", "H0", "bl1", "48"),
    ("nem-103-2016", "group C", "body_length_max_H0", "313"),
    ("nem-111-2016", "C, bogie wagon", "radius_min_over_gauge", "84"),
    ("nem-112-1975", "H0", "spacing_straight_line", "46"),
    ("nem-120-2010", "section 25", "nmra_code", "100"),
    ("nem-301-2018", "H0", "b1", "40"),
    ("nem-311", "all gauges", "root_fillet_r1_over_flange_depth", "0.5"),
    ("nem-110-310-311-beiblatt-2009", "16.5, 1977", "k_max", "15.2"),
    ("scaleseven-s7", "S7", "wheel_width_coach_wagon_min", "2.90"),  # its inches misprint .118
    ("axle-lengths", "4 mm scale, UK", "axle_length", "26.0"),
    ("club-rolling-stock-us", "CVL HO club", "weight_plus_minus_oz", "0.5"),
    ("curve-radius-armstrong", "broad", "radius_over_car_length", "3"),
    ("ldsig-curve-radius", "5x", "radius_over_car_length", "5"),
    ("weights-australasia", "AMRA H0 freight, 20 ft wagon", "weight", "38.5"),
    ("weights-uk-europe", "7 mm scale wagon, Guild Gazette article", "weight_per_axle", "100"),
]


@pytest.mark.parametrize(("sheet_id", "row", "figure", "printed"), SHOWN)
def test_sheet_figure_when_only_shown_then_is_kept_as_printed(
    sheet_id, row, figure, printed
) -> None:
    """The publication is the sheet named in the first column; unit as on that sheet."""
    found = sheets.sheet(sheet_id).row(row)

    assert found.figures[figure] == Decimal(printed)
    assert figure not in found.limits


def test_nmra_scales_when_offered_then_have_the_ratios_and_least_gauges() -> None:
    """NMRA scales composed from S-3.2, RP-3 and RP-4: a handful, gauge in inches."""
    printed = {
        "O": ("48", "1.250"),
        "On30": ("48", ".649"),
        "S": ("64", ".883"),
        "OO": ("76.2", ".750"),
        "HO": ("87.1", ".649"),
        "HOn3": ("87.1", ".413"),
        "TT": ("120", ".471"),
        "N": ("160", ".353"),
        "Z": ("220", ".256"),
    }
    offered = {scale.code: scale for scale in sheets.family("nmra").scales}

    for code, (ratio, gauge) in printed.items():
        assert offered[code].ratio == Decimal(ratio)
        assert offered[code].gauge_mm == Decimal(gauge) * Decimal("25.4")
    # 3.5 and 4 mm to the foot define HO and OO.
    assert offered["HO"].mm_per_foot == Decimal("3.5")
    assert offered["OO"].mm_per_foot == Decimal(4)


def test_s_3_2_fn3_when_read_then_has_no_flange_clearance() -> None:
    """NMRA S-3.2, Fn3: note 2 governs the clearance and its text is not held."""
    assert "flangeway_depth" not in sheets.sheet("nmra-s-3.2").row("Fn3").limits


@pytest.mark.parametrize(("row", "inches"), [("F", ".090"), ("No.1", ".064")])
def test_s_3_2_clearance_when_only_mm_was_read_then_is_marked_inferred(row, inches) -> None:
    """NMRA S-3.2: 2.29 and 1.63 mm were read; the inches are those of S-4.2 beside them."""
    limit = sheets.sheet("nmra-s-3.2").row(row).limits["flangeway_depth"]

    assert limit.low == Decimal(inches) * Decimal("25.4")
    assert limit.basis == "inferred"


def test_s7_when_read_then_judges_no_tyre_width() -> None:
    """ScaleSeven prints one band for locomotives and one for coaches and wagons."""
    assert "tyre_width" not in sheets.sheet("scaleseven-s7").row("S7").limits


def test_fs160_when_compared_with_2fs_then_differs_by_the_published_rule() -> None:
    """FS160: 0.45 off track gauge and back to back of 2FS, the rest alone."""
    fine = sheets.sheet("fs160-fine").row("FiNe, derived").limits
    parent = {}
    for row in sheets.sheet("2mmsa-2fs").rows:
        if "2FS" in row.scales:
            parent |= row.limits

    for code in ("track_gauge", "back_to_back"):
        assert parent[code].nominal - fine[code].nominal == Decimal("0.45")
    for code in ("tyre_width", "flange_thickness", "flange_depth", "flangeway"):
        assert parent[code].nominal == fine[code].nominal
