"""Whatever is typed: one length has one value however it is spelled, and nothing surprises."""

from decimal import Decimal

from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from standards import sheets
from standards.quantities import QUANTITIES
from standards.units import (
    GRADE_UNITS,
    LENGTH_UNITS,
    MASS_UNITS,
    UNITS,
    Unreadable,
    likely_slip,
    read,
    spell,
    to_base,
)

# The first call builds pint's registry, which is slow and happens once.
patient = settings(deadline=None)

SPELLINGS = {
    "mm": ["mm", "millimetre", "millimetres", "millimeter", "millimeters"],
    "cm": ["cm", "centimetre", "centimetres", "centimeter", "centimeters"],
    "m": ["m", "metre", "metres", "meter", "meters"],
    "in": ["in", "inch", "inches", '"', "''", "\u2033", "\u201d"],
    "thou": ["thou", "mil", "mils"],
    "ft": ["ft", "foot", "feet", "'", "\u2032", "\u2019"],
    "g": ["g", "gram", "grams", "gramme", "grammes"],
    "kg": ["kg", "kilogram", "kilograms"],
    "oz": ["oz", "ounce", "ounces"],
    "lb": ["lb", "lbs", "pound", "pounds"],
    "%": ["%", "percent"],
}


def in_full(amount: Decimal) -> str:
    """An amount without exponent and without trailing zeros."""
    text = f"{amount:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@st.composite
def spelled(draw: st.DrawFn, amount: Decimal, unit: str) -> str:
    """One of the many ways to type an amount of a unit."""
    text = in_full(amount)
    if text.startswith("0.") and draw(st.booleans()):
        text = text[1:]
    elif "." in text and sum(ch.isdigit() for ch in text) < 12 and draw(st.booleans()):
        text += "0"
    if draw(st.booleans()):
        text = text.replace(".", ",")
    word = draw(st.sampled_from(SPELLINGS[unit]))
    word = draw(st.sampled_from([word, word.upper(), word.title()]))
    if word.isalpha() and draw(st.booleans()):
        word += "."
    between = draw(st.sampled_from(["", " ", "  ", "\u00a0", "\t"]))
    around = draw(st.sampled_from(["", " ", "\n"]))
    return f"{around}{text}{between}{word}{around}"


# A thousandth of a foot is 0.012 in, 12 thou and 0.3048 mm: exact in every unit of length.
@patient
@given(st.integers(1, 60_000), st.data())
def test_length_when_spelled_in_any_way_then_has_one_exact_value(
    thousandths: int, data: st.DataObject
) -> None:
    """By 25.4 mm an inch, typed by hand for each unit."""
    mm = thousandths * Decimal("0.3048")
    amounts = {
        "mm": mm,
        "cm": thousandths * Decimal("0.03048"),
        "m": thousandths * Decimal("0.0003048"),
        "in": thousandths * Decimal("0.012"),
        "thou": thousandths * Decimal(12),
        "ft": thousandths * Decimal("0.001"),
    }
    for unit in LENGTH_UNITS:
        typed = data.draw(spelled(amounts[unit], unit))
        assert read(typed, "length").values == (mm,), typed


@patient
@given(st.integers(1, 20), st.data())
def test_mass_when_spelled_in_any_way_then_has_one_exact_value(
    pounds: int, data: st.DataObject
) -> None:
    """By 453.59237 g a pound, typed by hand for each unit."""
    grams = pounds * Decimal("453.59237")
    amounts = {
        "g": grams,
        "kg": pounds * Decimal("0.45359237"),
        "oz": pounds * Decimal(16),
        "lb": Decimal(pounds),
    }
    for unit in MASS_UNITS:
        typed = data.draw(spelled(amounts[unit], unit))
        assert read(typed, "mass").values == (grams,), typed


@patient
@given(st.integers(1, 5000), st.sampled_from([2, 4, 8, 16, 32, 64]), st.data())
def test_fraction_when_spelled_mixed_improper_or_decimal_then_has_one_value(
    top: int, bottom: int, data: st.DataObject
) -> None:
    mm = Decimal(top) / bottom * Decimal("25.4")
    whole, rest = divmod(top, bottom)
    ways = [f"{top}/{bottom} in", f'{top} / {bottom}"', f"{in_full(Decimal(top) / bottom)} in"]
    if rest:
        ways += [f"{whole} {rest}/{bottom} in", f"{whole}-{rest}/{bottom} in"]
    if rest and whole:
        ways += [f"{whole // 12} ft {whole % 12} {rest}/{bottom} in"]

    assert read(data.draw(st.sampled_from(ways)), "length").values == (mm,)


@patient
@given(st.integers(0, 200), st.integers(0, 11), st.data())
def test_feet_and_inches_when_added_by_hand_then_are_the_same_as_typed_together(
    feet: int, inches: int, data: st.DataObject
) -> None:
    assume(feet + inches > 0)
    marks = data.draw(
        st.sampled_from([("ft", "in"), ("'", '"'), (" feet ", " inches"), ("′", "″")])
    )
    gap = data.draw(st.sampled_from(["", " "]))

    found = read(f"{feet}{marks[0]}{gap}{inches}{marks[1]}", "length")

    assert found.values == ((12 * feet + inches) * Decimal("25.4"),)


def readable_amounts() -> st.SearchStrategy[Decimal]:
    """Amounts of twelve digits at most, which is what the bench takes."""
    return st.builds(
        lambda digits, places: Decimal(digits).scaleb(-places),
        st.integers(1, 10**11 - 1),
        st.integers(0, 11),
    )


@patient
@given(readable_amounts(), st.sampled_from([*LENGTH_UNITS, *MASS_UNITS, *GRADE_UNITS]))
def test_value_when_spelled_and_read_again_then_is_unchanged(amount: Decimal, unit: str) -> None:
    dimension = next(name for name, units in UNITS.items() if unit in units)
    value = to_base(amount, unit)
    text = spell(value, unit)

    assert text == f"{in_full(amount)} {unit}"
    assert read(text, dimension).values == (value,)


@patient
@given(st.lists(st.integers(1000, 1200), min_size=1, max_size=25), st.data())
def test_repeats_when_separated_in_any_way_then_are_read_in_order(
    hundredths: list[int], data: st.DataObject
) -> None:
    marks = st.sampled_from([" ", "; ", ";", ", ", " ;"])
    typed, values = "", []
    for number in hundredths:
        amount = Decimal(number).scaleb(-2)
        point = data.draw(st.sampled_from([".", ","]))
        typed += (data.draw(marks) if typed else "") + f"{amount:.2f}".replace(".", point)
        values.append(amount)

    assert read(typed, "length").values == tuple(values)


# --- Whatever may be typed --------------------------------------------------------------------

HO = sheets.scale("nmra", "HO")
PIECES = st.sampled_from(
    [
        *"0123456789",
        *".,;:/'\"-+%()<>&*_= ",
        "\u00bd",
        "\u00a0",
        "\u2033",
        "\u2212",
        "\u0664",
        "\u00b2",
        "\x00",
        "\u200b",
        "in.",
        "\U0001f600",
        "mm",
        "cm",
        "m",
        "in",
        "ft",
        "thou",
        "g",
        "kg",
        "oz",
        "lb",
        "prototype",
        " full size",
        "14.38",
        "1 1/2",
        "9/16",
    ]
)
ANYTHING = st.one_of(st.text(max_size=230), st.lists(PIECES, max_size=30).map("".join))


@settings(deadline=None, max_examples=500)
@given(
    ANYTHING,
    st.sampled_from(["length", "mass", "grade"]),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
@example("1/0", "length", False, False, False)
@example("0.0001 mm prototype", "length", True, False, False)
@example("-1 ft 20 in", "length", False, False, True)
def test_any_text_when_read_then_gives_finite_values_or_is_refused_in_words(
    typed: str, dimension: str, has_scale: bool, may_be_zero: bool, may_be_negative: bool
) -> None:
    try:
        found = read(
            typed,
            dimension,
            may_be_zero=may_be_zero,
            may_be_negative=may_be_negative,
            to_scale=HO.from_full_size if has_scale else None,
        )
    except Unreadable as refused:
        assert refused.problem.endswith((".", "\u2026"))
        assert refused.remedy.endswith(".")
        return
    assert 1 <= len(found.values) <= 25
    assert len(found.amounts) == len(found.values)
    for value in found.values:
        assert value.is_finite()
        assert may_be_negative or value >= 0
        assert may_be_negative or may_be_zero or value > 0
    assert all(part in UNITS[dimension] for part in found.unit.split())


SCALES = [
    sheets.scale("nmra", "HO"),
    sheets.scale("nmra", "N"),
    sheets.scale("nmra", "O"),
    sheets.scale("nem", "H0e"),
    sheets.scale("nem", "I"),
    sheets.scale("nem-340", "H0"),
    sheets.scale("p4", "P4"),
]


@st.composite
def typed_lengths(draw: st.DrawFn) -> str:
    """Lengths, repeats and mixed fractions as somebody might slip into a field."""
    first = draw(
        st.one_of(
            st.decimals(min_value="0.001", max_value="60000", places=3).map(in_full),
            st.sampled_from(["9/16", "1 1/2", "33/64", "9/8", ".5", ",391"]),
        )
    )
    repeats = draw(st.integers(1, 3))
    between = draw(st.sampled_from(["; ", " ", ", "]))
    unit = draw(st.sampled_from(["", "mm", " mm", " in", '"', " thou", " cm", " m", " ft", "'"]))
    mark = draw(st.sampled_from(["", "", "", " prototype"]))
    return between.join([first] * repeats) + unit + mark


@settings(deadline=None, max_examples=500)
@given(
    typed_lengths(),
    st.sampled_from(["mm", "in"]),
    st.sampled_from([code for code, each in QUANTITIES.items() if each.unit == "mm"]),
    st.sampled_from(SCALES),
)
@example("1; 9/8", "mm", "flange_depth", SCALES[0])
@example("480", "in", "body_length", SCALES[0])
def test_question_when_it_is_answered_yes_then_the_value_is_plausible(
    typed: str, unit: str, quantity: str, scale: sheets.Scale
) -> None:
    what = QUANTITIES[quantity]
    low, high = what.plausible(scale)
    try:
        found = read(typed, "length", default_unit=unit, to_scale=scale.from_full_size)
    except Unreadable:
        assume(False)
        return
    question = likely_slip(found, low, high, scale.from_full_size)

    if all(low <= value <= high for value in found.values):
        assert question is None
    if question is not None:
        again = read(question, "length", default_unit=unit, to_scale=scale.from_full_size)
        assert len(again.values) == len(found.values)
        assert all(low <= value <= high for value in again.values), question


@patient
@given(
    st.decimals(min_value="0.001", max_value="99999", places=3),
    st.sampled_from(["g", "kg", "oz", "lb"]),
    st.sampled_from(SCALES),
)
def test_mass_question_when_it_is_answered_yes_then_the_mass_is_plausible(
    amount: Decimal, unit: str, scale: sheets.Scale
) -> None:
    low, high = QUANTITIES["mass"].plausible(scale)
    found = read(f"{in_full(amount)} {unit}", "mass")
    question = likely_slip(found, low, high)

    if question is not None:
        assert not low <= found.values[0] <= high
        assert low <= read(question, "mass").values[0] <= high
