"""Telling RP-25 codes apart; nominals typed from the sheet in inches."""

from decimal import Decimal

import pytest

from standards import sheets
from standards.profiles import LIKENESS, tell_code

MM_PER_INCH = Decimal("25.4")
LISTED = sheets.profiles_for(sheets.scale("nmra", "HO"))

# NMRA RP-25, eight-code edition: N tire width, D flange depth, T flange width.
RP_25 = {
    175: (".175", ".045", ".048"),
    126: (".126", ".028", ".036"),
    116: (".116", ".026", ".031"),
    110: (".110", ".025", ".030"),
    88: (".088", ".023", ".025"),
    79: (".079", ".020", ".023"),
    72: (".072", ".020", ".020"),
    54: (".054", ".016", ".014"),
}


def wheel(n: str = "", d: str = "", t: str = "") -> dict[str, Decimal]:
    """What was measured, from inches to mm; an empty figure was not measured."""
    typed = {"tyre_width": n, "flange_depth": d, "flange_thickness": t}
    return {code: Decimal(figure) * MM_PER_INCH for code, figure in typed.items() if figure}


@pytest.mark.parametrize("code", RP_25)
def test_wheel_when_it_has_the_nominals_of_a_code_then_that_code_comes_first(code) -> None:
    """NMRA RP-25, every row."""
    found = tell_code(wheel(*RP_25[code]), LISTED)

    assert found[0].code == code
    assert found[0].misfit == 0
    assert set(found[0].differences.values()) == {0}
    assert found[0].is_like
    assert sorted(match.code for match in found) == sorted(RP_25)


@pytest.mark.parametrize("code", RP_25)
def test_wheel_when_only_its_width_is_known_then_the_code_is_the_width(code) -> None:
    """NMRA RP-25: the code is the tire width in thousandths of an inch."""
    found = tell_code(wheel(n=RP_25[code][0]), LISTED)

    assert (found[0].code, found[0].misfit) == (code, 0)
    assert found[1].misfit > 0


def test_matches_when_sorted_then_the_misfit_never_falls() -> None:
    found = tell_code(wheel(".100", ".025", ".028"), LISTED)

    assert [match.misfit for match in found] == sorted(match.misfit for match in found)


@pytest.mark.parametrize(
    ("width", "first", "second"),
    [(".1129", 110, 116), (".1131", 116, 110), (".0754", 79, 72), (".0990", 110, 88)],
)
def test_wheel_when_it_lies_between_two_codes_then_the_nearer_comes_first(
    width, first, second
) -> None:
    """NMRA RP-25: .110 and .116, .072 and .079, .088 and .110 in, compared as shares."""
    found = tell_code(wheel(n=width), LISTED)

    assert [match.code for match in found[:2]] == [first, second]


def test_wheel_when_it_lies_between_two_codes_then_may_pass_for_both_or_for_neither() -> None:
    """NMRA RP-25. .113 in is 2.7 % and 2.6 % off 110 and 116; .099 in 10 % and 12.5 % off."""
    near = tell_code(wheel(n=".113"), LISTED)
    far = tell_code(wheel(n=".099"), LISTED)

    assert [match.code for match in near if match.is_like] == [116, 110]
    assert [match.code for match in far if match.is_like] == []


def test_likeness_when_the_misfit_is_on_it_then_still_passes() -> None:
    """Eight hundredths, common practice, no source: .1188 in is that much above .110 in."""
    assert Decimal("0.08") == LIKENESS
    misfits = {
        width: next(each for each in tell_code(wheel(n=width), LISTED) if each.code == 110)
        for width in (".1188", ".11881", ".1012", ".10119")
    }

    assert [misfits[width].is_like for width in misfits] == [True, False, True, False]


def test_wheel_when_only_the_flange_was_measured_then_is_told_by_the_flange() -> None:
    """NMRA RP-25: D .025 and T .030 in belong to code 110."""
    found = tell_code(wheel(d=".025", t=".030"), LISTED)

    assert (found[0].code, found[0].misfit) == (110, 0)
    assert set(found[0].differences) == {"flange_depth", "flange_thickness"}


def test_wheel_when_the_flange_fits_two_codes_alike_then_both_come_first() -> None:
    """NMRA RP-25: codes 72 and 79 share D .020 in."""
    found = tell_code(wheel(d=".020"), LISTED)

    assert [(match.code, match.misfit) for match in found[:2]] == [(72, 0), (79, 0)]
    assert found[2].misfit > 0


def test_wheel_when_one_dimension_is_far_off_then_the_misfit_is_that_of_the_worst() -> None:
    """NMRA RP-25 code 110 with a flange of .033 in, .003 in over T .030: a tenth."""
    found = next(
        match for match in tell_code(wheel(".110", ".025", ".033"), LISTED) if match.code == 110
    )

    assert found.misfit == Decimal("0.1")
    assert found.differences == {
        "tyre_width": 0,
        "flange_depth": 0,
        "flange_thickness": Decimal("0.0762"),
    }
    assert not found.is_like


def test_wheel_when_smaller_than_nominal_then_the_difference_is_negative() -> None:
    """NMRA RP-25 code 88: N .088 in."""
    found = tell_code(wheel(n=".087"), LISTED)

    assert found[0].code == 88
    assert found[0].differences == {"tyre_width": Decimal("-0.0254")}


@pytest.mark.parametrize("measured", [{}, {"back_to_back": Decimal("14.4")}])
def test_wheel_when_none_of_the_three_was_measured_then_nothing_is_told(measured) -> None:
    assert tell_code(measured, LISTED) == ()


def test_wheel_when_the_family_lists_no_contours_then_nothing_is_told() -> None:
    none = sheets.profiles_for(sheets.scale("nem", "H0"))

    assert none == ()
    assert tell_code(wheel(*RP_25[110]), none) == ()
