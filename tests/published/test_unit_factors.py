"""Unit factors against scipy.constants, an outside implementation, and against the definitions."""

from decimal import Decimal

import pytest
from scipy import constants

from standards.units import from_base, read, to_base


def exactly(number: float) -> Decimal:
    """A constant of scipy as the decimal it stands for.

    scipy forms some of them by multiplying (a foot is twelve inches), which leaves an error in
    the last place; fifteen digits are what a float keeps without one.
    """
    return Decimal(f"{number:.15g}")


# Metres and kilograms in scipy.constants, by our unit.
OUTSIDE = {
    "mm": (constants.milli, constants.milli),
    "cm": (constants.centi, constants.milli),
    "m": (1.0, constants.milli),
    "in": (constants.inch, constants.milli),
    "thou": (constants.mil, constants.milli),
    "ft": (constants.foot, constants.milli),
    "g": (constants.gram, constants.gram),
    "kg": (1.0, constants.gram),
    "oz": (constants.ounce, constants.gram),
    "lb": (constants.pound, constants.gram),
}


@pytest.mark.parametrize("unit", OUTSIDE)
def test_factor_when_compared_with_scipy_constants_then_is_the_same_decimal(unit) -> None:
    """scipy.constants; every length and mass unit that the bench knows."""
    one, base = OUTSIDE[unit]

    assert to_base(Decimal(1), unit) == exactly(one) / exactly(base)


# The international yard and pound of 1959, from memory: 1 yd = 0.9144 m, 1 lb = 0.45359237 kg.
DEFINED = {
    "in": "25.4",
    "thou": "0.0254",
    "ft": "304.8",
    "lb": "453.59237",
    "oz": "28.349523125",
    "kg": "1000",
    "cm": "10",
    "m": "1000",
}


@pytest.mark.parametrize("unit", DEFINED)
def test_factor_when_compared_with_the_definition_then_is_exact_both_ways(unit) -> None:
    """International yard and pound, 1959, from memory; in mm and g."""
    assert to_base(Decimal(1), unit) == Decimal(DEFINED[unit])
    assert from_base(Decimal(DEFINED[unit]), unit) == 1


def test_parts_when_added_then_make_the_larger_unit() -> None:
    """International yard and pound, 1959, from memory: 3 ft, 12 in and 16 oz make the next."""
    assert 3 * to_base(Decimal(1), "ft") == Decimal("914.4")
    assert 12 * to_base(Decimal(1), "in") == to_base(Decimal(1), "ft")
    assert 1000 * to_base(Decimal(1), "thou") == to_base(Decimal(1), "in")
    assert 16 * to_base(Decimal(1), "oz") == to_base(Decimal(1), "lb")


def test_mil_when_typed_then_is_a_thousandth_of_an_inch() -> None:
    """scipy.constants.mil."""
    assert read("1 mil", "length").values == (exactly(constants.mil) * 1000,)


def test_unknown_unit_when_converted_then_is_refused() -> None:
    with pytest.raises(KeyError):
        to_base(Decimal(1), "yd")
