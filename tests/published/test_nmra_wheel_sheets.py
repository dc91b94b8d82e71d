"""Every number of S-4.2 and RP-25, typed from the printed tables in inches."""

from decimal import Decimal

import pytest

from standards import sheets

MM_PER_INCH = Decimal("25.4")


def mm(inches: str | None) -> Decimal | None:
    """A printed figure in exact millimetres; None stays None."""
    return None if inches is None else Decimal(inches) * MM_PER_INCH


# NMRA S-4.2, limit-value edition: K maximum, B minimum, N minimum, D maximum.
S_4_2 = {
    "1 in": ("4.581", "4.438", ".500", ".156"),
    "3/4 in": ("3.349", "3.219", ".406", ".125"),
    "Fn3": ("1.660", "1.567", ".235", ".090"),  # K and B by "same as No.1"
    "No.1": ("1.660", "1.567", ".235", ".064"),
    "No.1n3": ("1.058", "1.000", ".172", ".047"),
    "O": ("1.179", "1.118", ".172", ".047"),
    "On3": (".705", ".666", ".115", ".030"),
    "On30": (".605", ".566", ".108", ".028"),  # "same as HO"
    "On2": (".455", ".416", ".108", ".028"),
    "S": (".839", ".800", ".108", ".030"),
    "Sn3": (".519", ".480", ".108", ".030"),
    "OO": (".705", ".666", ".108", ".028"),
    "HO": (".605", ".566", ".108", ".028"),
    "HOn2": (".246", ".220", ".071", ".022"),
    "TT": (".437", ".407", ".077", ".026"),
    "N": (".323", ".297", ".071", ".022"),
    "Nn3": (".228", ".208", ".053", ".020"),
    "Nn2": (".149", ".131", ".059", ".020"),
    "Z": (".236", ".218", ".053", ".020"),
}


@pytest.mark.parametrize("scale", S_4_2)
def test_s_4_2_row_when_read_then_holds_the_four_printed_limits(scale) -> None:
    """NMRA S-4.2: one limit each way and no other; inches are the design figure."""
    k_max, b_min, n_min, d_max = S_4_2[scale]
    row = sheets.sheet("nmra-s-4.2").row(scale)
    limits = row.limits

    assert row.scales == (scale,)
    ends = {code: (limit.low, limit.high) for code, limit in limits.items()}

    assert ends == {
        "wheel_check": (None, mm(k_max)),
        "back_to_back": (mm(b_min), None),
        "tyre_width": (mm(n_min), None),
        "flange_depth": (None, mm(d_max)),
    }


def test_s_4_2_row_f_when_read_then_borrows_proto_20_3_but_for_the_depth() -> None:
    """NMRA S-4.2, row F: as Proto:20.3 of S-4.1, with its own flange depth of .090 in."""
    limits = sheets.sheet("nmra-s-4.2").row("F").limits

    ends = {code: (limit.low, limit.high) for code, limit in limits.items()}

    assert ends == {
        "wheel_check": (mm("2.654"), mm("2.681")),
        "back_to_back": (mm("2.597"), mm("2.627")),
        "tyre_width": (mm(".271"), mm(".282")),
        "flange_thickness": (mm(".057"), mm(".067")),
        "flange_depth": (None, mm(".090")),
        "over_flanges": (mm("2.711"), mm("2.761")),
    }
    assert limits["back_to_back"].sheet == "nmra-s-4.1"
    assert limits["flange_depth"].sheet == "nmra-s-4.2"


def test_s_4_2_when_listed_then_has_the_printed_rows_and_no_hon3() -> None:
    """NMRA S-4.2: twenty rows in the copy read; HOn3 has none."""
    names = [row.name for row in sheets.sheet("nmra-s-4.2").rows]

    assert sorted(names) == sorted([*S_4_2, "F"])
    with pytest.raises(sheets.UnknownStandard):
        sheets.sheet("nmra-s-4.2").row("HOn3")


def test_s_4_2_fn3_when_a_figure_has_no_column_then_it_is_only_shown() -> None:
    """NMRA S-4.2, Fn3: 1.614 stands in the row and could not be placed."""
    row = sheets.sheet("nmra-s-4.2").row("Fn3")

    assert row.figures == {"unplaced_value": Decimal("1.614")}


def test_s_4_2_ho_when_converted_then_is_exact_and_not_the_rounded_print() -> None:
    """NMRA S-4.2, HO: .566 in is 14.3764 mm exactly; the mm column prints 14.4."""
    limit = sheets.sheet("nmra-s-4.2").row("HO").limits["back_to_back"]

    assert limit.low == Decimal("14.3764")
    assert limit.printed == {"min": Decimal(".566")}
    assert (limit.basis, limit.provenance) == ("stated", "published")


# NMRA S-4.1: K, B, N, T, D, wheel gauge, each minimum and maximum.
S_4_1 = {
    "Proto:20.3": "2.654 2.681 2.597 2.627 .271 .282 .057 .067 .050 .062 2.711 2.761",
    "Proto:20.3n3": "1.645 1.672 1.588 1.618 .271 .282 .057 .067 .050 .062 1.702 1.752",
    "Proto:32": "1.685 1.702 1.649 1.668 .172 .180 .036 .042 .032 .039 1.721 1.752",
    "Proto:32n3": "1.045 1.062 1.009 1.027 .172 .180 .036 .042 .032 .039 1.081 1.111",
    "Proto:48": "1.124 1.134 1.100 1.112 .115 .120 .024 .028 .022 .026 1.148 1.168",
    "Proto:48n3": ".697 .707 .673 .685 .115 .120 .024 .028 .022 .026 .721 .741",
}
S_4_1_COLUMNS = (
    "wheel_check",
    "back_to_back",
    "tyre_width",
    "flange_thickness",
    "flange_depth",
    "over_flanges",
)


@pytest.mark.parametrize("scale", S_4_1)
def test_s_4_1_row_when_read_then_holds_the_printed_pairs(scale) -> None:
    """NMRA S-4.1, the six complete rows of the sheet itself."""
    figures = S_4_1[scale].split()
    pairs = zip(figures[::2], figures[1::2], strict=True)
    expected = {
        code: (mm(low), mm(high)) for code, (low, high) in zip(S_4_1_COLUMNS, pairs, strict=True)
    }
    limits = sheets.sheet("nmra-s-4.1").row(scale).limits

    assert {code: (limit.low, limit.high) for code, limit in limits.items()} == expected
    assert {(limit.basis, limit.provenance) for limit in limits.values()} == {
        ("stated", "published")
    }
    assert not any(limit.not_held for limit in limits.values())


def test_s_4_1_proto_87_1_when_read_then_is_marked_second_hand() -> None:
    """NMRA S-4.1, Proto:87.1 as tabulated by the Proto:87 group."""
    limits = sheets.sheet("nmra-s-4.1").row("Proto:87.1").limits

    assert {code: (limit.low, limit.high) for code, limit in limits.items()} == {
        "wheel_check": (None, mm(".623")),
        "back_to_back": (mm(".610"), mm(".613")),
        "tyre_width": (mm(".064"), mm(".069")),
        "flange_thickness": (mm(".012"), mm(".014")),
        "flange_depth": (mm(".012"), mm(".014")),
    }
    assert {limit.provenance for limit in limits.values()} == {"second-hand"}
    assert all("proto87.org" in limit.source for limit in limits.values())


def test_s_4_1_proto_64_when_read_then_holds_what_stands_before_the_break() -> None:
    """NMRA S-4.1, Proto:64: the copy read breaks off after the flange width minimum."""
    limits = sheets.sheet("nmra-s-4.1").row("Proto:64").limits

    assert {code: (limit.low, limit.high) for code, limit in limits.items()} == {
        "wheel_check": (mm(".842"), mm(".850")),
        "back_to_back": (mm(".825"), mm(".834")),
        "tyre_width": (mm(".087"), mm(".092")),
        "flange_thickness": (mm(".017"), None),
        "flange_depth": (None, None),
        "over_flanges": (None, None),
    }


def test_s_4_1_fine_ho_when_read_then_holds_the_quoted_millimetres() -> None:
    """NMRA S-4.1, Fine:HO as tabulated at liverpoolrange.wordpress.com, in mm."""
    limits = sheets.sheet("nmra-s-4.1").row("Fine:HO").limits

    assert {code: (each.low, each.high, each.nominal) for code, each in limits.items()} == {
        "wheel_check": (None, Decimal("15.6"), None),
        "back_to_back": (None, None, None),
        "tyre_width": (None, None, Decimal("2.2")),
        "flange_thickness": (None, Decimal("0.6"), None),
        "flange_depth": (None, Decimal("0.6"), None),
    }
    assert {limit.provenance for limit in limits.values()} == {"second-hand"}


# NMRA RP-4: K maximum, B minimum, N minimum, D maximum.
RP_4 = {
    "Proto 24": ("2.265", "2.188", ".229", ".063"),
    "Proto 24n3": ("1.411", "1.334", ".229", ".063"),
    "Proto 32": ("1.699", "1.641", ".172", ".047"),
    "Proto 32n3": ("1.058", "1.000", ".172", ".047"),
    "Proto 48": ("1.132", "1.093", ".115", ".031"),
    "S Fine": (".839", ".800", ".108", ".030"),
    "HO Fine": (".613", ".581", ".086", ".026"),
    "TT Fine": (".441", ".415", ".071", ".022"),
    "N Fine": (".332", ".314", ".053", ".020"),
}


@pytest.mark.parametrize("scale", RP_4)
def test_rp_4_row_when_read_then_holds_the_four_printed_limits(scale) -> None:
    """NMRA RP-4, the predecessor of S-4.1."""
    k_max, b_min, n_min, d_max = RP_4[scale]
    limits = sheets.sheet("nmra-rp-4").row(scale).limits

    assert {code: (limit.low, limit.high) for code, limit in limits.items()} == {
        "wheel_check": (None, mm(k_max)),
        "back_to_back": (mm(b_min), None),
        "tyre_width": (mm(n_min), None),
        "flange_depth": (None, mm(d_max)),
    }


# NMRA RP-25, eight-code edition: N, T, W, D, P, R1, R2, R3.
RP_25 = {
    175: (".175", ".048", ".127", ".045", ".015", ".025", ".028", ".028"),
    126: (".126", ".036", ".090", ".028", ".012", ".018", ".021", ".021"),
    116: (".116", ".031", ".085", ".026", ".011", ".014", ".018", ".018"),
    110: (".110", ".030", ".080", ".025", ".010", ".014", ".018", ".018"),
    88: (".088", ".025", ".063", ".023", ".008", ".012", ".015", ".015"),
    79: (".079", ".023", ".056", ".020", ".008", ".011", ".014", ".014"),
    72: (".072", ".020", ".052", ".020", ".008", ".010", ".012", ".012"),
    54: (".054", ".014", ".040", ".016", ".007", ".008", ".009", ".009"),
}


@pytest.mark.parametrize("code", RP_25)
def test_rp_25_code_when_read_then_holds_the_printed_contour(code) -> None:
    """NMRA RP-25: nominal design figures, nothing to judge by (its note 2)."""
    n, t, w, d, p, r1, r2, r3 = RP_25[code]
    row = sheets.sheet("nmra-rp-25").row(f"code {code}")

    assert row.code == code
    assert {quantity: limit.nominal for quantity, limit in row.limits.items()} == {
        "tyre_width": mm(n),
        "flange_thickness": mm(t),
        "flange_depth": mm(d),
    }
    assert not any(limit.has_bounds for limit in row.limits.values())
    assert row.figures == {
        "tread_width_w": Decimal(w),
        "gauging_point_p": Decimal(p),
        "fillet_radius_r1": Decimal(r1),
        "inner_radius_r2": Decimal(r2),
        "outer_radius_r3": Decimal(r3),
    }


def test_rp_25_when_listed_then_has_the_eight_printed_codes() -> None:
    """NMRA RP-25: codes 145, 250 and 284 of a later edition are not held."""
    assert sorted(row.code for row in sheets.sheet("nmra-rp-25").rows) == sorted(RP_25)


def test_rp_25_when_checked_against_its_own_rules_then_code_is_width_and_tread_is_the_rest() -> (
    None
):
    """NMRA RP-25: the code is N in thousandths, and W = N - T, in every row."""
    for row in sheets.sheet("nmra-rp-25").rows:
        width, flange = row.limits["tyre_width"].nominal, row.limits["flange_thickness"].nominal
        assert width == row.code * MM_PER_INCH / 1000
        assert row.figures["tread_width_w"] * MM_PER_INCH == width - flange


@pytest.mark.parametrize(
    ("sheet_id", "scale", "code", "fits"),
    [
        ("nmra-s-4.2", "HO", 110, True),
        ("nmra-s-4.2", "HO", 88, False),
        ("nmra-rp-4", "HO Fine", 88, True),
    ],
)
def test_rp_25_width_when_set_against_n_of_ho_then_code_88_belongs_to_ho_fine(
    sheet_id, scale, code, fits
):
    """NMRA S-4.2 (N .108), RP-4 (N .086) and RP-25 (.110, .088) read together."""
    least = sheets.sheet(sheet_id).row(scale).limits["tyre_width"].low
    width = sheets.sheet("nmra-rp-25").row(f"code {code}").limits["tyre_width"].nominal

    assert (width >= least) is fits
