"""Bench text to exact values and back. The only importer of pint.

A field of bench text holds one reading or several repeats of it, as people type them: "14.38",
"14,38", ".566\\"", "566 thou", "9/16\\"", "1 1/2 in", "40 ft 6 in", "3 3/4 oz",
"14.38 14.40 14.39". Our own small grammar reads numbers and units; pint only ever converts a
clean number from one unit to another, since it reads "14,4 mm" as 144 mm and "3 ft 2 in" as a
product. Values are exact decimals in millimetres, grams or percent.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import cache
from itertools import pairwise

import pint

LENGTH_UNITS = ("mm", "cm", "m", "in", "thou", "ft")
MASS_UNITS = ("g", "kg", "oz", "lb")
GRADE_UNITS = ("%",)
UNITS = {"length": LENGTH_UNITS, "mass": MASS_UNITS, "grade": GRADE_UNITS}
BASE = {"length": "mm", "mass": "g", "grade": "%"}

MOST_CHARACTERS = 200
MOST_DIGITS = 12
MOST_READINGS = 25
LARGEST_SPREAD = Decimal("1.25")
METRE = Decimal(1000)

_PINT_NAME = {
    "in": "inch",
    "ft": "foot",
    "oz": "ounce",
    "lb": "pound",
    "g": "gram",
    "kg": "kilogram",
    "m": "meter",
    "mm": "millimeter",
    "cm": "centimeter",
    "thou": "thou",
}

# Every spelling of a unit that the bench accepts, and the unit it means.
_SPELLINGS = {
    "mm": "mm",
    "millimetre": "mm",
    "millimetres": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "cm": "cm",
    "centimetre": "cm",
    "centimetres": "cm",
    "centimeter": "cm",
    "centimeters": "cm",
    "m": "m",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    '"': "in",
    "in": "in",
    "inch": "in",
    "inches": "in",
    "thou": "thou",
    "mil": "thou",
    "mils": "thou",
    "'": "ft",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
    "g": "g",
    "gram": "g",
    "grams": "g",
    "gramme": "g",
    "grammes": "g",
    "kg": "kg",
    "kilogram": "kg",
    "kilograms": "kg",
    "oz": "oz",
    "ounce": "oz",
    "ounces": "oz",
    "lb": "lb",
    "lbs": "lb",
    "pound": "lb",
    "pounds": "lb",
    "%": "%",
    "percent": "%",
}
# A larger unit that may be followed by its smaller one: 40 ft 6 in, 1 lb 2 oz.
_COMPOUND = {"ft": "in", "lb": "oz"}

_LOOK_ALIKE = str.maketrans(
    {
        "″": '"',
        "“": '"',
        "”": '"',
        "„": '"',
        "′": "'",
        "’": "'",
        "‘": "'",
        "⁄": "/",
        "−": "-",
        "–": "-",
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\u200b": None,
        "\u200e": None,
        "\u200f": None,
        "\ufeff": None,
        "\t": " ",
        "\n": " ",
        "\r": " ",
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
    }
)
_FULL_SIZE = re.compile(r"\s*\b(?:prototype|proto|full[ -]?size)\s*$", re.IGNORECASE)
_RISE_OVER_RUN = re.compile(r"1\s*(?::|in)\s*(\d{1,4})", re.IGNORECASE)
_TOKEN = re.compile(
    r"""
    (?P<mixed>\d+(?:\ +|-)\d+\s*/\s*\d+)
  | (?P<fraction>\d+\s*/\s*\d+)
  | (?P<number>(?:\d+(?:[.,]\d+)?|[.,]\d+))
  | (?P<unit>[A-Za-zµ]+\.?|''|["'%])
  | (?P<sign>[-+])
  | (?P<between>\s*[;,]\s+|\s*;\s*|\s+)
    """,
    re.VERBOSE,
)


class Unreadable(ValueError):
    """Bench text that cannot be read. `problem` says why, `remedy` what to type instead."""

    def __init__(self, typed: str, problem: str, remedy: str) -> None:
        self.typed = typed
        self.problem = problem
        self.remedy = remedy
        super().__init__(f"{problem} {remedy}")


@dataclass(frozen=True)
class Typed:
    """One field of bench text, understood.

    `values` are exact, in mm, g or %; `unit` is the unit it was read in; `is_full_size` says that
    it was marked as a prototype dimension and brought to scale; `amounts` are the numbers alone,
    as typed, for spelling them again in another unit.
    """

    text: str
    values: tuple[Decimal, ...]
    unit: str
    dimension: str
    is_full_size: bool
    amounts: tuple[str, ...]

    @property
    def is_compound(self) -> bool:
        """Whether it was typed in two units at once, as in 40 ft 6 in."""
        return " " in self.unit

    @property
    def as_understood(self) -> str:
        """What was understood, in the unit in which values are held: "14.38 mm, 14.40 mm"."""
        return ", ".join(spell(value, BASE[self.dimension]) for value in self.values)


# --- Converting clean numbers -----------------------------------------------------------------


@cache
def _registry() -> pint.UnitRegistry[Decimal]:
    return pint.UnitRegistry(non_int_type=Decimal, cache_folder=None)


@cache
def _factor(unit: str, base: str) -> Decimal:
    """How many of the base unit one of `unit` is, exactly."""
    if unit == base:
        return Decimal(1)
    quantity = _registry().Quantity(Decimal(1), _PINT_NAME[unit])
    return Decimal(quantity.to(_PINT_NAME[base]).magnitude).normalize()


def dimension_of(unit: str) -> str:
    """ "length", "mass" or "grade". Raises KeyError for a unit that is not ours."""
    for dimension, units in UNITS.items():
        if unit in units:
            return dimension
    raise KeyError(unit)


def to_base(amount: Decimal, unit: str) -> Decimal:
    """An amount in `unit` as exact mm, g or %. Raises KeyError for a unit that is not ours."""
    return amount * _factor(unit, BASE[dimension_of(unit)])


def from_base(value: Decimal, unit: str) -> Decimal:
    """A value in mm, g or % in `unit`, to 28 significant digits."""
    return value / _factor(unit, BASE[dimension_of(unit)])


def plain(number: Decimal) -> str:
    """All digits of a decimal without exponent or trailing zeros: 14.4, 0.566, 120."""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def spell(
    value: Decimal, unit: str, decimals: int | None = None, rounding: str = ROUND_HALF_UP
) -> str:
    """A value in mm, g or % as text in `unit`; exact when no number of decimals is given."""
    amount = from_base(value, unit)
    if decimals is None:
        return f"{plain(amount)} {unit}"
    return f"{amount.quantize(Decimal(1).scaleb(-decimals), rounding):f} {unit}"


def straighten(text: str) -> str:
    """Text with curly quotes, primes, dashes, odd blanks and vulgar fractions as a keyboard types
    them, and nothing at its ends."""
    return text.translate(_LOOK_ALIKE).strip()


class Sentence(str):
    """Words with lengths in them. As text they are in millimetres; `in_unit` spells them anew.

    Made of parts: text as it stands, other sentences, and numbers, which are lengths in mm.
    """

    parts: tuple[str | Decimal, ...]

    def __new__(cls, *parts: str | float | Decimal) -> Sentence:
        flat: list[str | Decimal] = []
        for part in parts:
            if isinstance(part, Sentence):
                flat.extend(part.parts)
            elif isinstance(part, str):
                flat.append(part)
            else:
                flat.append(Decimal(part))
        made = super().__new__(cls, _spelled(flat, "mm"))
        made.parts = tuple(flat)
        return made

    def in_unit(self, unit: str) -> str:
        """The words with their lengths in "mm" or "in", to a hundredth or a thousandth."""
        return _spelled(self.parts, unit)


def in_unit(words: str, unit: str) -> str:
    """Words in a person's unit, where they are a Sentence; any others as they are."""
    return words.in_unit(unit) if isinstance(words, Sentence) else words


def _spelled(parts: Sequence[str | Decimal], unit: str) -> str:
    return "".join(part if isinstance(part, str) else brief(part, unit) for part in parts)


def brief(length_mm: Decimal, unit: str = "mm") -> str:
    """A length for a sentence: to 0.01 mm or 0.001 in, without trailing zeros."""
    if not length_mm.is_finite():
        return f"{float(length_mm):g} {unit}"
    amount = f"{from_base(length_mm, unit):.{3 if unit == 'in' else 2}f}"
    return f"{amount.rstrip('0').rstrip('.')} {unit}"


# --- Reading bench text -----------------------------------------------------------------------


@dataclass(frozen=True)
class _Term:
    amount: Fraction
    written: str
    unit: str | None


def read(
    typed: str,
    dimension: str,
    *,
    default_unit: str | None = None,
    may_be_zero: bool = False,
    may_be_negative: bool = False,
    to_scale: Callable[[Decimal], Decimal] | None = None,
) -> Typed:
    """Read one field of bench text.

    dimension: "length", "mass" or "grade"; the values come back in mm, g or %.
    default_unit: the unit of a number typed without one; mm, g or % if not given.
    to_scale: brings a full-size length in mm to the model, for text that ends in "prototype";
        without it such text is refused.

    Raises Unreadable, in words, for anything else.
    """
    text = straighten(typed)
    if not text:
        raise Unreadable(typed, "Nothing was typed.", "Type a reading, or leave it for later.")
    if len(typed) > MOST_CHARACTERS:
        raise Unreadable(
            typed[:MOST_CHARACTERS],
            f"That is {len(typed)} characters long.",
            f"Type readings only, {MOST_CHARACTERS} characters at most.",
        )
    if dimension == "grade" and (ratio := _RISE_OVER_RUN.fullmatch(text)):
        return _as_percent(typed, text, int(ratio.group(1)))
    bare = _FULL_SIZE.sub("", text)
    is_full_size = bare != text
    groups = _group(typed, _scan(typed, bare, dimension))
    unit = _one_unit(typed, groups, dimension) or default_unit or BASE[dimension]
    values = tuple(
        _exact(typed, group, unit, dimension, may_be_zero, may_be_negative) for group in groups
    )
    _refuse_unlike_repeats(typed, values, dimension)
    if is_full_size:
        if dimension != "length" or to_scale is None:
            raise Unreadable(
                typed,
                "Only lengths can be brought from full size to scale.",
                "Type what you measured on the model.",
            )
        values = tuple(to_scale(value) for value in values)
        if 0 in values and not (may_be_zero or may_be_negative):
            raise Unreadable(
                typed,
                "At this scale that is less than a thousandth of a millimetre.",
                "Type what you measured on the model.",
            )
    amounts = tuple(group[0].written for group in groups)
    return Typed(text, values, unit, dimension, is_full_size, amounts)


def _as_percent(typed: str, text: str, run: int) -> Typed:
    """A grade written as rise over run, 1:50 or 1 in 50, in percent to four decimals."""
    if run == 0:
        raise Unreadable(typed, "A rise of 1 in 0 is no grade.", "Type a grade such as 1:50.")
    percent = (Decimal(100) / run).quantize(Decimal("0.0001"))
    return Typed(text, (percent,), "%", "grade", False, (plain(percent),))


def _scan(typed: str, text: str, dimension: str) -> list[tuple[str, str]]:
    """The text as (kind, token) pairs. Raises Unreadable at the first thing that is none."""
    tokens, position = [], 0
    while position < len(text):
        match = _TOKEN.match(text, position)
        if match is None:
            raise Unreadable(
                typed,
                f"“{text[position]}” is not part of a number or a unit.",
                _example(dimension),
            )
        kind = match.lastgroup or ""
        token = match.group()
        if kind in ("number", "fraction", "mixed"):
            _refuse_long_numbers(typed, token)
        tokens.append((kind, token))
        position = match.end()
    for (kind, token), (next_kind, following) in pairwise(tokens):
        numeric = ("number", "fraction", "mixed")
        if kind in numeric and next_kind == "sign":
            raise Unreadable(
                typed,
                f"“{token}{following}” looks like a range.",
                "Type repeats with a blank between them, such as 14.38 14.40.",
            )
        if kind in numeric and next_kind in numeric:
            raise Unreadable(
                typed,
                f"“{token}{following}” has more than one decimal mark, or thousands separators.",
                "Type the digits with one decimal point or comma, such as 1234.5.",
            )
    return tokens


def _refuse_long_numbers(typed: str, token: str) -> None:
    if sum(ch.isdigit() for ch in token) > MOST_DIGITS:
        raise Unreadable(
            typed,
            f"The number {token[:20]}… has more than {MOST_DIGITS} digits.",
            "Type what the instrument shows.",
        )


def _example(dimension: str) -> str:
    return {
        "length": "Type a length such as 14.38, 14,38, 0.566 in or 9/16 in.",
        "mass": "Type a mass such as 113, 113 g, 4 oz or 3 3/4 oz.",
        "grade": "Type a grade in percent or as rise over run, such as 2.5 % or 1:40.",
    }[dimension]


def _amount(typed: str, kind: str, token: str) -> Fraction:
    if kind == "number":
        return Fraction(token.replace(",", "."))
    whole, fraction = "0", token
    if kind == "mixed":
        whole, fraction = re.split(r"[ -]+", token, maxsplit=1)
    top, bottom = (int(part) for part in fraction.split("/"))
    rest = bottom
    for prime in (2, 5):
        while rest and rest % prime == 0:
            rest //= prime
    if rest != 1:
        raise Unreadable(
            typed,
            f"The fraction {fraction} has no exact decimal.",
            "Use halves, quarters, eighths, sixteenths and so on, or decimals.",
        )
    return int(whole) + Fraction(top, bottom)


def _group(typed: str, tokens: Sequence[tuple[str, str]]) -> list[list[_Term]]:
    """Readings, each of one term or of a compound pair (40 ft 6 in)."""
    terms: list[_Term] = []
    sign = 1
    for index, (kind, token) in enumerate(tokens):
        if kind == "sign":
            after = tokens[index + 1][0] if index + 1 < len(tokens) else ""
            if after not in ("number", "fraction", "mixed"):
                raise Unreadable(
                    typed, f"“{token}” stands without a number.", "Type the number after it."
                )
            sign = -1 if token == "-" else 1
        elif kind in ("number", "fraction", "mixed"):
            written = ("-" if sign < 0 else "") + token
            terms.append(_Term(sign * _amount(typed, kind, token), written, None))
            sign = 1
        elif kind == "unit":
            unit = _SPELLINGS.get("in" if token == "''" else token.casefold().rstrip("."))
            _check_unit(typed, token, unit, bool(terms) and terms[-1].unit is None)
            terms[-1] = _Term(terms[-1].amount, terms[-1].written, unit)
    if not terms:
        raise Unreadable(typed, "There is no number in it.", "Type a number such as 14.38.")
    groups: list[list[_Term]] = []
    for term in terms:
        before = groups[-1] if groups else []
        large = before[0].unit if len(before) == 1 and before[0].amount >= 0 else None
        if large in _COMPOUND and term.unit is None:
            raise Unreadable(
                typed,
                f"“{term.written}” after {large} has no unit.",
                f"Type it with its unit, as in {before[0].written} {large} {term.written} "
                f"{_COMPOUND[large]}.",
            )
        if large in _COMPOUND and _COMPOUND[large] == term.unit and term.amount >= 0:
            before.append(term)
        else:
            groups.append([term])
    if len(groups) > MOST_READINGS:
        raise Unreadable(
            typed,
            f"That is {len(groups)} readings.",
            f"Type {MOST_READINGS} repeats at most in one field.",
        )
    return groups


def _check_unit(typed: str, token: str, unit: str | None, has_number: bool) -> None:
    if unit is None:
        raise Unreadable(
            typed,
            f"“{token[:20]}” is not a unit known here.",
            "Use mm, cm, m, in, thou or ft for lengths; g, kg, oz or lb for masses; % for grades.",
        )
    if not has_number:
        raise Unreadable(
            typed,
            f"The unit “{token}” has no number before it.",
            "Type the number, then the unit.",
        )


def _one_unit(typed: str, groups: Sequence[Sequence[_Term]], dimension: str) -> str | None:
    """The one unit of the field, a compound spelled "ft in". Raises Unreadable for two."""
    units = {" ".join(term.unit for term in group if term.unit) for group in groups} - {""}
    for unit in units:
        for part in unit.split():
            if part not in UNITS[dimension]:
                kind = {"length": "length", "mass": "mass", "grade": "grade"}
                raise Unreadable(
                    typed,
                    f"{part} measures a {kind[dimension_of(part)]}, and this is a {dimension}.",
                    _example(dimension),
                )
    if len(units) > 1:
        named = " and ".join(sorted(units))
        raise Unreadable(
            typed,
            f"Two units stand in one field: {named}.",
            "Type all repeats in one unit.",
        )
    return units.pop() if units else None


def _exact(
    typed: str,
    group: Sequence[_Term],
    unit: str,
    dimension: str,
    may_be_zero: bool,
    may_be_negative: bool,
) -> Decimal:
    parts = unit.split()
    if len(group) == 1 and len(parts) == 2:
        raise Unreadable(
            typed,
            f"“{group[0].written}” has no unit, but the others are in {parts[0]} and {parts[1]}.",
            "Type the unit with each.",
        )
    value = Decimal(0)
    for term, part in zip(group, parts, strict=True):
        value += to_base(_as_decimal(term.amount), part)
    if value < 0 and not may_be_negative:
        raise Unreadable(
            typed,
            f"{spell(value, BASE[dimension])} is below zero, and this cannot be.",
            "Type the size without a sign.",
        )
    if value == 0 and not (may_be_zero or may_be_negative):
        raise Unreadable(
            typed,
            f"0 {BASE[dimension]} cannot be the {dimension} of anything.",
            "Leave the field empty if it was not measured.",
        )
    return value


def _refuse_unlike_repeats(typed: str, values: Sequence[Decimal], dimension: str) -> None:
    """Repeats of one measurement agree within a quarter; anything else was a slip of the key."""
    least, most = min(values), max(values)
    if least > 0 and most > least * LARGEST_SPREAD:
        base = BASE[dimension]
        raise Unreadable(
            typed,
            f"{spell(least, base, 2)} and {spell(most, base, 2)} are no repeats of one reading.",
            "Type repeats of one measurement only, with the unit after the last.",
        )


def _as_decimal(amount: Fraction) -> Decimal:
    # Exact: only denominators of twos and fives get this far.
    return Decimal(amount.numerator) / Decimal(amount.denominator)


# --- Slips of the unit ------------------------------------------------------------------------


def likely_slip(
    typed: Typed,
    low: Decimal,
    high: Decimal,
    to_scale: Callable[[Decimal], Decimal] | None = None,
) -> str | None:
    """The same digits in the unit that would make them plausible, or None.

    low, high: the plausible range, in mm, g or %. A value inside it is never questioned. One
    outside it, but inside it in another unit, gives the text to ask about, such as "0.566 in";
    one that is plausible as a full-size length brought to scale gives "40 ft prototype".
    """
    if all(low <= value <= high for value in typed.values):
        return None
    suggestion = _as_typed_otherwise(typed, low, high, to_scale)
    # What is offered has to be readable again.
    return suggestion if suggestion and len(suggestion) <= MOST_CHARACTERS else None


def likely_slips(typed: Typed, low: Decimal, high: Decimal, units: Sequence[str]) -> list[str]:
    """The same digits in each of `units` that would make them plausible, in that order: "500 mm".

    low, high: the plausible range, in mm, g or %. Empty for values inside it, and for text in two
    units at once. Raises KeyError for a unit that is not ours.
    """
    if typed.is_compound or all(low <= value <= high for value in typed.values):
        return []
    numbers = [from_base(value, typed.unit) for value in typed.values]
    return [
        f"{'; '.join(_with_leading_zero(each) for each in typed.amounts)} {unit}"
        for unit in units
        if unit != typed.unit and all(low <= to_base(number, unit) <= high for number in numbers)
    ]


def _as_typed_otherwise(
    typed: Typed,
    low: Decimal,
    high: Decimal,
    to_scale: Callable[[Decimal], Decimal] | None,
) -> str | None:
    full_size = _as_full_size(typed, low, high, to_scale)
    if typed.is_compound or typed.is_full_size:
        return full_size
    if full_size and (typed.unit in ("ft", "m") or min(typed.values) > METRE):
        return full_size  # nobody measures a model in feet or metres
    numbers = [value / _factor(typed.unit, BASE[typed.dimension]) for value in typed.values]
    for unit in ("in", "mm", "thou", "cm", "ft", "oz", "g", "kg", "lb", "m"):
        if unit == typed.unit or unit not in UNITS[typed.dimension]:
            continue
        if all(low <= to_base(number, unit) <= high for number in numbers):
            # "1; 9/8" with a space between would be one and nine eighths.
            between = "; " if any("/" in amount for amount in typed.amounts) else " "
            return f"{between.join(_with_leading_zero(each) for each in typed.amounts)} {unit}"
    return full_size


def _as_full_size(
    typed: Typed,
    low: Decimal,
    high: Decimal,
    to_scale: Callable[[Decimal], Decimal] | None,
) -> str | None:
    if to_scale is None or typed.is_full_size or typed.dimension != "length":
        return None
    if all(low <= to_scale(value) <= high for value in typed.values):
        return f"{typed.text} prototype"
    return None


def _with_leading_zero(amount: str) -> str:
    return f"0{amount}" if amount[0] in ".," else amount
