"""What may be typed at the bench, what is refused and in which words, and likely slips."""

from decimal import Decimal

import pytest

from standards import sheets
from standards.quantities import QUANTITIES
from standards.units import MOST_READINGS, Unreadable, likely_slip, read, spell

HO = sheets.scale("nmra", "HO")
N = sheets.scale("nmra", "N")


def decimals(*texts: str) -> tuple[Decimal, ...]:
    return tuple(Decimal(text) for text in texts)


# --- Accepted ---------------------------------------------------------------------------------

LENGTHS = [
    # plain numbers
    ("14.38", "14.38", "mm"),
    ("14,38", "14.38", "mm"),
    ("14.380", "14.38", "mm"),
    ("  14.38  ", "14.38", "mm"),
    ("+14.38", "14.38", "mm"),
    (".5", "0.5", "mm"),
    (",5", "0.5", "mm"),
    ("15", "15", "mm"),
    # units, with and without a space, in any case
    ("14.38mm", "14.38", "mm"),
    ("14.38 MM", "14.38", "mm"),
    ("14.38 millimetres", "14.38", "mm"),
    ("14.38 millimeters", "14.38", "mm"),
    ("1.438 cm", "14.38", "cm"),
    ("0.01438 m", "14.38", "m"),
    ('.566"', "14.3764", "in"),
    ("0.566 in", "14.3764", "in"),
    ("0,566 Inches", "14.3764", "in"),
    ("0.566''", "14.3764", "in"),
    ("566 thou", "14.3764", "thou"),
    ("566 mils", "14.3764", "thou"),
    # abbreviations with their full stop
    ("0.566 in.", "14.3764", "in"),
    ("0.566in.", "14.3764", "in"),
    ("14.38 mm.", "14.38", "mm"),
    ("40 ft. 6 in.", "12344.4", "ft in"),
    ("6'", "1828.8", "ft"),
    ("6 feet", "1828.8", "ft"),
    # fractions
    ('9/16"', "14.2875", "in"),
    ("9 / 16 in", "14.2875", "in"),
    ("1 1/2 in", "38.1", "in"),
    ("1-1/2 in", "38.1", "in"),
    ("1/64", "0.015625", "mm"),
    ("3/5 in", "15.24", "in"),
    # two units in one
    ("40 ft 6 in", "12344.4", "ft in"),
    ("40'6\"", "12344.4", "ft in"),
    ("40 ft 6 1/2 in", "12357.1", "ft in"),
    ("0 ft 6 in", "152.4", "ft in"),
]


@pytest.mark.parametrize(("typed", "mm", "unit"), LENGTHS)
def test_length_when_typed_as_people_type_it_then_is_exact(typed, mm, unit) -> None:
    """Conversions by the inch of 25.4 mm exactly."""
    found = read(typed, "length")

    assert found.values == decimals(mm)
    assert found.unit == unit
    assert not found.is_full_size


@pytest.mark.parametrize(
    ("typed", "grams"),
    [
        ("113", "113"),
        ("113 g", "113"),
        ("113 gram", "113"),
        ("0.113 kg", "113"),
        ("4 oz", "113.3980925"),
        ("4 OZ", "113.3980925"),
        ("3 3/4 oz", "106.31071171875"),
        ("4 oz.", "113.3980925"),
        ("1 lb", "453.59237"),
        ("1 lb 2 oz", "510.29141625"),
        ("1 lb. 2 oz.", "510.29141625"),
    ],
)
def test_mass_when_typed_then_is_exact_in_grams(typed, grams) -> None:
    """Avoirdupois: 28.349523125 g an ounce, 453.59237 g a pound."""
    assert read(typed, "mass").values == decimals(grams)


@pytest.mark.parametrize("typed", ["2.5", "2,5", "2.5%", "2.5 %", "2 1/2 percent"])
def test_grade_when_typed_then_is_in_percent(typed) -> None:
    assert read(typed, "grade").values == decimals("2.5")


@pytest.mark.parametrize(
    ("typed", "percent"),
    [
        ("1:50", "2"),
        ("1 : 40", "2.5"),
        ("1 in 40", "2.5"),
        ("1 IN 30", "3.3333"),
        ("1:7", "14.2857"),
    ],
)
def test_grade_when_typed_as_rise_over_run_then_is_in_percent(typed, percent) -> None:
    """A hundredth of the run, to four decimals."""
    found = read(typed, "grade")

    assert found.values == decimals(percent)
    assert found.unit == "%"


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("14.38 14.40 14.39", ("14.38", "14.40", "14.39")),
        ("14,38 14,40 14,39", ("14.38", "14.40", "14.39")),
        ("14.38, 14.40, 14.39", ("14.38", "14.40", "14.39")),
        ("14,38, 14,40", ("14.38", "14.40")),
        ("14.38;14.40; 14.39 ;14.41", ("14.38", "14.40", "14.39", "14.41")),
        ("14.38 mm 14.40 mm", ("14.38", "14.40")),
        ("14.38mm14.40mm", ("14.38", "14.40")),
        ("14.38 14.40 mm", ("14.38", "14.40")),
        ("14.38\n14.40\t14.39", ("14.38", "14.40", "14.39")),
        (".566 in. .567 in.", ("14.3764", "14.4018")),
        (".566 .567 in", ("14.3764", "14.4018")),
        ("9/16; 9/16 in", ("14.2875", "14.2875")),
        ("1 1/2 1 3/4 in", ("38.1", "44.45")),
        ("1 ft 2 in 1 ft 3 in", ("355.6", "381")),
        # The largest spread of repeats is a quarter: on it, still repeats of one reading.
        ("4 5", ("4", "5")),
    ],
)
def test_field_when_it_holds_repeats_then_keeps_each(typed, mm) -> None:
    assert read(typed, "length").values == decimals(*mm)


def test_field_when_it_holds_as_many_repeats_as_allowed_then_keeps_all() -> None:
    assert MOST_READINGS == 25
    assert read("14.4 " * 25, "length").values == decimals(*["14.4"] * 25)


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("0.566\u2033", "14.3764"),  # double prime
        ("0.566\u201d", "14.3764"),  # closing quote
        ("6\u2032", "1828.8"),  # prime
        ("6\u2019", "1828.8"),  # apostrophe
        ("40\u20196\u201d", "12344.4"),
        ("0.566\u2019\u2019", "14.3764"),
        ("\u00bd in", "12.7"),
        ("1\u00bd in", "38.1"),
        ("1 \u00be in", "44.45"),
        ("1\u215b in", "28.575"),
        ("9\u204416 in", "14.2875"),  # fraction slash
        ("14.38\u00a0mm", "14.38"),  # no-break space
        ("14.38\u202fmm", "14.38"),  # narrow no-break space
        ("14.38\u200914.40", None),  # thin space between two repeats
        # marks of no width, which come along from web pages and spreadsheets
        ("\ufeff14.38", "14.38"),
        ("14.\u200b38", "14.38"),
        ("14.38\u200e mm\u200f", "14.38"),
    ],
)
def test_look_alikes_when_a_phone_types_them_then_mean_the_same(typed, mm) -> None:
    expected = decimals("14.38", "14.40") if mm is None else decimals(mm)

    assert read(typed, "length").values == expected


@pytest.mark.parametrize("typed", ["\u0661\u0664.\u0663\u0668", "\uff11\uff14.\uff13\uff18"])
def test_digits_of_other_scripts_when_typed_then_are_digits(typed) -> None:
    """Arabic-Indic and full-width 14.38, with a plain point."""
    assert read(typed, "length").values == decimals("14.38")


@pytest.mark.parametrize(
    ("typed", "default", "mm"),
    [(".566", "in", "14.3764"), ("14.38 mm", "in", "14.38"), ("9/16", "in", "14.2875")],
)
def test_number_alone_when_a_person_works_in_inches_then_is_inches(typed, default, mm) -> None:
    assert read(typed, "length", default_unit=default).values == decimals(mm)


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("40 ft prototype", "140"),
        ("40' proto", "140"),
        ("40 ft full size", "140"),
        ("40 ft full-size", "140"),
        ("40 FT PROTOTYPE", "140"),
        ("480 in prototype", "140"),
        ("12192 mm prototype", "140"),
        ("40 ft 6 in prototype", "141.75"),
    ],
)
def test_prototype_size_when_marked_then_comes_to_scale_by_3_5_mm_to_the_foot(typed, mm) -> None:
    """HO is 3.5 mm to the foot by definition: 40 ft is 140 mm, and not 12192 / 87.1."""
    found = read(typed, "length", to_scale=HO.from_full_size)

    assert found.values == decimals(mm)
    assert found.is_full_size


def test_prototype_size_when_the_scale_is_a_ratio_then_is_divided_by_it() -> None:
    """N is 1:160: 40 ft of 12192 mm is 76.2 mm."""
    assert read("40 ft prototype", "length", to_scale=N.from_full_size).values == decimals("76.2")


def test_clearance_when_it_may_be_negative_then_zero_and_below_are_read() -> None:
    def typed(text: str) -> tuple[Decimal, ...]:
        return read(text, "length", may_be_negative=True).values

    assert typed("-0.4") == decimals("-0.4")
    assert typed("\u22120,4 mm") == decimals("-0.4")  # the minus sign of print
    assert typed("0") == decimals("0")
    assert typed("-0.1 0.1") == decimals("-0.1", "0.1")


def test_zero_when_it_may_be_then_is_read() -> None:
    assert read("0", "length", may_be_zero=True).values == decimals("0")


def test_what_was_understood_when_shown_then_is_in_the_unit_it_is_held_in() -> None:
    assert read(".566 .567 in", "length").as_understood == "14.3764 mm, 14.4018 mm"
    assert read("4 oz", "mass").as_understood == "113.3980925 g"
    assert read("2.50", "grade").as_understood == "2.5 %"


@pytest.mark.parametrize(
    ("value", "unit", "places", "text"),
    [
        ("14.3764", "in", None, "0.566 in"),
        ("14.3764", "mm", 2, "14.38 mm"),
        ("14.40", "mm", None, "14.4 mm"),
        ("120", "mm", None, "120 mm"),
        ("0.385", "mm", 2, "0.39 mm"),
        ("113.3980925", "oz", 1, "4.0 oz"),
    ],
)
def test_value_when_spelled_then_keeps_its_digits_or_rounds_half_up(
    value, unit, places, text
) -> None:
    assert spell(Decimal(value), unit, places) == text


# --- Refused ----------------------------------------------------------------------------------

NOT_A_PART = "is not part of a number or a unit."
MANY_MARKS = "has more than one decimal mark, or thousands separators."
UNLIKE = "are no repeats of one reading."
NO_NUMBER = "has no number before it."
NO_UNIT = "has no unit."

REFUSED_LENGTHS = [
    ("", "Nothing was typed."),
    ("   ", "Nothing was typed."),
    ("\u00a0", "Nothing was typed."),
    ("\u200b\ufeff", "Nothing was typed."),
    # words
    ("fourteen", "\u201cfourteen\u201d is not a unit known here."),
    ("about 14.4", "\u201cabout\u201d is not a unit known here."),
    ("14.4 or so", "\u201cor\u201d is not a unit known here."),
    ("nan", "\u201cnan\u201d is not a unit known here."),
    ("Infinity", "\u201cInfinity\u201d is not a unit known here."),
    ("1e3", "\u201ce\u201d is not a unit known here."),
    ("0x10", "\u201cx\u201d is not a unit known here."),
    ("5 yd", "\u201cyd\u201d is not a unit known here."),
    ("0.566 in..", f"\u201c.\u201d {NOT_A_PART}"),
    ("0.566 .in", f"\u201c.\u201d {NOT_A_PART}"),
    ("prototype", "There is no number in it."),
    (";", "There is no number in it."),
    # another dimension
    ("4 oz", "oz measures a mass, and this is a length."),
    ("4 g", "g measures a mass, and this is a length."),
    ("2 %", "% measures a grade, and this is a length."),
    # two units
    ("14 mm 0.566 in", "Two units stand in one field: in and mm."),
    ("1 ft 1 ft 1 in", "Two units stand in one field: ft and ft in."),
    ("-1 ft 20 in", "Two units stand in one field: ft and in."),
    # below zero, and nothing
    ("-14.38", "-14.38 mm is below zero, and this cannot be."),
    ("-.5 in", "-12.7 mm is below zero, and this cannot be."),
    ("14.38-14.40", "“14.38-” looks like a range."),
    ("0", "0 mm cannot be the length of anything."),
    ("0.000 in", "0 mm cannot be the length of anything."),
    ("0/4", "0 mm cannot be the length of anything."),
    ("14.38 0", "0 mm cannot be the length of anything."),
    ("-", "\u201c-\u201d stands without a number."),
    ("- -5", "\u201c-\u201d stands without a number."),
    # units without a number
    ("mm", f"The unit \u201cmm\u201d {NO_NUMBER}"),
    ("mm 14.38", f"The unit \u201cmm\u201d {NO_NUMBER}"),
    ("14.38 mm mm", f"The unit \u201cmm\u201d {NO_NUMBER}"),
    ('"', f'The unit \u201c"\u201d {NO_NUMBER}'),
    # decimal marks and thousands
    ("1,234.5", f"\u201c1,234.5\u201d {MANY_MARKS}"),
    ("1.234,5", f"\u201c1.234,5\u201d {MANY_MARKS}"),
    ("1,234,567", f"\u201c1,234,567\u201d {MANY_MARKS}"),
    ("14.3.8", f"\u201c14.3.8\u201d {MANY_MARKS}"),
    ("14.38,14.40", f"\u201c14.38,14\u201d {MANY_MARKS}"),
    ("1 234.5", f"1.00 mm and 234.50 mm {UNLIKE}"),
    ("1'234", f"\u201c234\u201d after ft {NO_UNIT}"),
    ("14.38.", f"\u201c.\u201d {NOT_A_PART}"),
    ("..5", f"\u201c.\u201d {NOT_A_PART}"),
    # fractions that do not end
    ("1/3", "The fraction 1/3 has no exact decimal."),
    ("2 1/7 in", "The fraction 1/7 has no exact decimal."),
    ("1/0", "The fraction 1/0 has no exact decimal."),
    ("1/2/3", f"\u201c/\u201d {NOT_A_PART}"),
    # repeats that are none
    ("14.38 1.438", f"1.44 mm and 14.38 mm {UNLIKE}"),
    ("4 5.01", f"4.00 mm and 5.01 mm {UNLIKE}"),
    ("0.566 in 14.38", f"14.38 mm and 365.25 mm {UNLIKE}"),
    ("40' 6", f"\u201c6\u201d after ft {NO_UNIT}"),
    ("6 ft 6.1", f"\u201c6.1\u201d after ft {NO_UNIT}"),
    ("14.4 " * 26, "That is 26 readings."),
    # signs of other trades
    ("14.38 \u00b1 0.02", f"\u201c\u00b1\u201d {NOT_A_PART}"),
    ("14.38 & 14.40", f"\u201c&\u201d {NOT_A_PART}"),
    ("14.4\U0001f600", f"\u201c\U0001f600\u201d {NOT_A_PART}"),
    ("5\u00b2", f"\u201c\u00b2\u201d {NOT_A_PART}"),
    ("1_000", f"\u201c_\u201d {NOT_A_PART}"),
    ("14\x0038", f"\u201c\x00\u201d {NOT_A_PART}"),
    ("<script>alert(1)</script>", f"\u201c<\u201d {NOT_A_PART}"),
    ("14.38); DROP TABLE reading", f"\u201c)\u201d {NOT_A_PART}"),
    ("{{ 7 }}", f"\u201c{{\u201d {NOT_A_PART}"),
    # too much
    ("1234567890123", "The number 1234567890123\u2026 has more than 12 digits."),
    ("0." + "1" * 30, "The number 0.111111111111111111\u2026 has more than 12 digits."),
    ("1/1234567890123", "The number 1/1234567890123\u2026 has more than 12 digits."),
    ("1" * 201, "That is 201 characters long."),
    ("14.4 mm" + "x" * 100_000, "That is 100007 characters long."),
]


@pytest.mark.parametrize(
    ("typed", "problem"), REFUSED_LENGTHS, ids=[typed[:24] for typed, _ in REFUSED_LENGTHS]
)
def test_length_when_it_cannot_be_read_then_says_why_and_what_to_type(typed, problem) -> None:
    with pytest.raises(Unreadable) as caught:
        read(typed, "length", to_scale=HO.from_full_size)

    assert caught.value.problem == problem
    assert caught.value.remedy[:5] in ("Type ", "Use h", "Use m", "Leave")
    assert str(caught.value) == f"{problem} {caught.value.remedy}"
    assert len(caught.value.typed) <= 200


@pytest.mark.parametrize(
    ("typed", "dimension", "problem"),
    [
        ("4 in", "mass", "in measures a length, and this is a mass."),
        ("2 %", "mass", "% measures a grade, and this is a mass."),
        ("2 mm", "grade", "mm measures a length, and this is a grade."),
        ("1:0", "grade", "A rise of 1 in 0 is no grade."),
        ("2:50", "grade", f"\u201c:\u201d {NOT_A_PART}"),
        ("1:50", "length", f"\u201c:\u201d {NOT_A_PART}"),
        ("1 in 50", "mass", "in measures a length, and this is a mass."),
        ("-2", "grade", "-2 % is below zero, and this cannot be."),
        ("0 g", "mass", "0 g cannot be the mass of anything."),
        # A grain is 0.065 g, and somebody's gr a gram.
        ("113 gr", "mass", "\u201cgr\u201d is not a unit known here."),
        ("113 gr.", "mass", "\u201cgr.\u201d is not a unit known here."),
        ("1 lb 2", "mass", f"\u201c2\u201d after lb {NO_UNIT}"),
    ],
)
def test_mass_and_grade_when_they_cannot_be_read_then_say_why(typed, dimension, problem) -> None:
    with pytest.raises(Unreadable) as caught:
        read(typed, dimension)

    assert caught.value.problem == problem


@pytest.mark.parametrize(
    ("typed", "dimension", "remedy"),
    [
        ("40' 6", "length", "Type it with its unit, as in 40 ft 6 in."),
        ("40 feet 6 1/2 prototype", "length", "Type it with its unit, as in 40 ft 6 1/2 in."),
        ("1 lb 2", "mass", "Type it with its unit, as in 1 lb 2 oz."),
    ],
)
def test_number_after_feet_or_pounds_when_bare_then_is_shown_with_its_unit(
    typed, dimension, remedy
) -> None:
    """40 ft 6 is six inches more to one person, and a second reading to nobody."""
    with pytest.raises(Unreadable) as caught:
        read(typed, dimension, to_scale=HO.from_full_size)

    assert caught.value.remedy == remedy


def test_number_before_feet_when_bare_then_is_a_repeat_in_feet() -> None:
    assert read("40 41 ft", "length").values == decimals("12192", "12496.8")


@pytest.mark.parametrize("typed", ["40 t prototype", "40 ft prototype in", "prototype 40 ft"])
def test_prototype_mark_when_it_is_not_at_the_end_then_is_no_word_known(typed) -> None:
    with pytest.raises(Unreadable, match="is not a unit known here"):
        read(typed, "length", to_scale=HO.from_full_size)


def test_prototype_mass_when_typed_then_is_refused() -> None:
    with pytest.raises(Unreadable) as caught:
        read("40000 lb prototype", "mass", to_scale=HO.from_full_size)

    assert caught.value.problem == "Only lengths can be brought from full size to scale."


def test_prototype_length_when_no_scale_is_given_then_is_refused() -> None:
    with pytest.raises(Unreadable, match="from full size to scale"):
        read("40 ft prototype", "length")


def test_prototype_length_when_nothing_is_left_of_it_then_is_refused() -> None:
    """0.04 mm in HO is a two-thousandth of a millimetre, and 0 after rounding."""
    with pytest.raises(Unreadable, match="less than a thousandth of a millimetre"):
        read("0.04 mm prototype", "length", to_scale=HO.from_full_size)
    assert read("0.05 mm prototype", "length", to_scale=HO.from_full_size).values == decimals(
        "0.001"
    )


# --- Slips of the unit ------------------------------------------------------------------------


def asked(quantity: str, typed: str, unit: str | None = None, scale: sheets.Scale = HO):
    """What the bench would ask about a reading, None when it would ask nothing."""
    what = QUANTITIES[quantity]
    found = read(
        typed,
        what.dimension.value,
        default_unit=unit,
        may_be_negative=what.may_be_negative,
        to_scale=scale.from_full_size,
    )
    return likely_slip(found, *what.plausible(scale), scale.from_full_size)


@pytest.mark.parametrize(
    ("quantity", "typed", "unit", "question"),
    [
        # inches typed as millimetres, and the other way round
        ("back_to_back", "0.566", "mm", "0.566 in"),
        ("back_to_back", ".566", "mm", "0.566 in"),
        ("back_to_back", ",566", "mm", "0,566 in"),
        ("back_to_back", "0.566 mm", "mm", "0.566 in"),
        ("back_to_back", "566", "mm", "566 thou"),
        ("back_to_back", "9/16", "mm", "9/16 in"),
        ("back_to_back", "14.4", "in", "14.4 mm"),
        ("back_to_back", "14.4 in", "mm", "14.4 mm"),
        ("back_to_back", "14.38 14.40", "in", "14.38 14.40 mm"),
        ("back_to_back", "1.44", "mm", "1.44 cm"),
        ("tyre_width", "0.108", "mm", "0.108 in"),
        ("tyre_width", "2.8", "in", "2.8 mm"),
        ("flange_depth", ".025", "mm", "0.025 in"),
        ("coupler_height", "0.391", "mm", "0.391 in"),
        ("coupler_height", "25/64", "mm", "25/64 in"),
        # fractions that would run into each other with only a space between them
        ("back_to_back", "9/16; 9/16", "mm", "9/16; 9/16 in"),
        # grams and ounces
        ("mass", "4", "g", "4 oz"),
        ("mass", "3 3/4", "g", "3 3/4 oz"),
        ("mass", "113", "oz", "113 g"),
        # full size
        ("body_length", "40 ft", "mm", "40 ft prototype"),
        ("body_length", "40' 6\"", "mm", "40' 6\" prototype"),
        ("length_over_couplers", "12.2 m", "mm", "12.2 m prototype"),
        # A 33 in wheel is one of the prototype; 33 mm would be a model of nine and a half feet.
        ("wheel_diameter", "33 in", "mm", "33 in prototype"),
        # Over a metre it is no model, though as many thou would be one.
        ("body_length", "12192", "mm", "12192 prototype"),
        ("wheel_diameter", "1001", "mm", "1001 prototype"),
        ("wheel_diameter", "1000", "mm", "1000 thou"),
        ("wheel_diameter", "1001; 1000", "mm", "1001 1000 thou"),
    ],
)
def test_slip_when_another_unit_would_be_plausible_then_is_asked_about(
    quantity, typed, unit, question
) -> None:
    assert asked(quantity, typed, unit) == question


@pytest.mark.parametrize(
    ("quantity", "typed"),
    [
        ("back_to_back", "0.0001"),
        ("back_to_back", "999999"),
        ("back_to_back", "5"),
        ("mass", "0.0001"),
        ("mass", "999999999 kg"),
        ("start_rolling_grade", "45"),
        ("body_length", "0.001"),
    ],
)
def test_slip_when_no_unit_makes_it_plausible_then_nothing_is_suggested(quantity, typed) -> None:
    assert asked(quantity, typed) is None


@pytest.mark.parametrize(
    ("quantity", "typed"),
    [
        ("back_to_back", "14.38"),
        ("back_to_back", "0.566 in"),
        ("back_to_back", "13.0"),  # far outside every limit, and still no slip of the unit
        ("back_to_back", "15.9"),
        ("mass", "113"),
        ("mass", "4 oz"),
        ("trip_pin_clearance", "-0.5"),
        ("trip_pin_clearance", "0"),
        ("body_length", "140"),
        ("body_length", "40 ft prototype"),
        ("start_rolling_grade", "2"),
    ],
)
def test_slip_when_the_value_is_plausible_then_nothing_is_asked(quantity, typed) -> None:
    assert asked(quantity, typed) is None


def test_slip_when_the_range_ends_at_the_value_then_nothing_is_asked() -> None:
    found = read("10", "length")

    assert likely_slip(found, Decimal(10), Decimal(10)) is None
    assert likely_slip(found, Decimal("10.1"), Decimal(11)) is None
    assert likely_slip(found, Decimal("253.9"), Decimal("254.1")) == "10 in"


def test_slip_when_the_scale_is_not_given_then_no_full_size_is_suggested() -> None:
    found = read("40 ft", "length")
    low, high = QUANTITIES["body_length"].plausible(HO)

    assert likely_slip(found, low, high, HO.from_full_size) == "40 ft prototype"
    assert likely_slip(found, low, high) == "40 mm"


def test_slip_when_the_suggestion_would_be_too_long_to_be_read_then_is_not_made() -> None:
    typed = " ".join(["40.000 ft"] * 20)

    assert len(typed) == 199
    assert asked("body_length", typed) is None
    assert asked("body_length", " ".join(["40.000 ft"] * 19)) is not None
