"""Worked examples of measurement uncertainty, against the figures printed for them.

Where a figure says "from memory" it was not looked up in its source again; where it says
"computed independently" it came from scipy, apart from this project's own arithmetic.
"""

import math
from decimal import Decimal

import pytest

from standards.metrology import (
    USUAL,
    Instrument,
    Measured,
    combine_sum,
    coverage_factor,
    evaluate,
    welch_satterthwaite,
)

NONE = Decimal(0)


def part(u: float, dof: float = math.inf) -> Measured:
    """One line of an uncertainty budget: no value of its own, only an uncertainty."""
    return Measured(value=Decimal(0), u=u, dof=dof, readings=())


# GUM (JCGM 100:2008) 4.4.3: twenty temperatures in degrees Celsius; data from memory.
TEMPERATURES = """
96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07
100.33 100.42 100.68 100.95 101.11 101.20 101.57 101.84 102.36 102.72
"""


def test_repeated_temperatures() -> None:
    readings = [Decimal(text) for text in TEMPERATURES.split()]
    found = evaluate(readings, max_error=NONE, resolution=NONE)
    assert found.value == Decimal("100.145")  # GUM 4.4.3, from memory
    spread = found.u * math.sqrt(20)
    assert round(spread, 3) == 1.489  # GUM 4.4.3, from memory
    assert round(found.u, 3) == 0.333  # GUM 4.4.3, from memory
    assert spread == pytest.approx(1.488844, rel=1e-6)  # computed independently
    assert found.u == pytest.approx(0.332916, rel=1e-5)  # computed independently
    assert found.dof == 19


@pytest.mark.parametrize(
    ("value", "half_width", "expected"),
    [
        # GUM 4.4.5, 100 degrees +- 4 degrees, rectangular; computed independently
        ("100", "4", 2.3094),
        # GUM 4.3.7, expansion coefficient 16.52e-6 +- 0.40e-6 per degree; the half-width
        # and the 0.23e-6 from memory, confirmed by computing independently
        ("16.52e-6", "0.40e-6", 0.23e-6),
    ],
)
def test_rectangular_limits(value: str, half_width: str, expected: float) -> None:
    found = evaluate([Decimal(value)], max_error=Decimal(half_width), resolution=NONE)
    assert found.u == pytest.approx(expected, rel=5e-3)
    assert found.u == pytest.approx(float(half_width) / math.sqrt(3), rel=1e-12)
    assert found.dof == math.inf


@pytest.mark.parametrize(
    ("readings", "factor"),
    # Two-sided 95 % Student factors; computed independently, as in GUM Table G.2
    [(2, 12.7062), (3, 4.3027), (4, 3.1824), (5, 2.7764), (6, 2.5706), (10, 2.2622), (20, 2.0930)],
)
def test_factor_for_few_readings(readings: int, factor: float) -> None:
    assert coverage_factor(readings - 1) == pytest.approx(factor, abs=5.1e-5)


@pytest.mark.parametrize(
    ("readings", "factor"),
    # The same for 95.45 %; computed independently
    [(2, 13.9678), (3, 4.5266), (4, 3.3068), (5, 2.8693), (10, 2.3198), (20, 2.1405)],
)
def test_factor_for_two_sigma(readings: int, factor: float) -> None:
    assert coverage_factor(readings - 1, 0.9545) == pytest.approx(factor, abs=1e-4)


def test_weight_of_ten_kilograms() -> None:
    """EA-4/02 supplement example S2, in grams."""
    # Components as a public file of EA-4/02 calculations gives them.
    total = combine_sum(part(0.0225), part(0.00895), part(0.0144, 2), part(0.00577), part(0.00577))
    assert round(total.u, 4) == 0.0293  # EA-4/02 S2, from that file
    assert total.u == pytest.approx(0.02933084, rel=1e-6)  # computed independently
    assert total.dof == pytest.approx(34.425, abs=5e-4)  # computed independently
    # Printed tables want whole degrees of freedom, hence 34; computed independently.
    whole = coverage_factor(math.floor(total.dof), 0.9545)
    assert whole == pytest.approx(2.076255, abs=2e-5)
    assert whole * total.u == pytest.approx(0.060898, abs=1e-6)  # computed independently
    assert round(whole, 2) == 2.08  # noted in that file
    assert round(whole * total.u, 3) == 0.061  # noted in that file
    assert 2 * total.u == pytest.approx(0.058662, abs=5e-7)  # computed independently


def test_multimeter() -> None:
    """EA-4/02 supplement example S9: one rectangular part outweighs the rest."""
    # Components as a public file of EA-4/02 calculations gives them, in volts.
    total = combine_sum(part(1e-3), part(2.9e-2), part(6.4e-3))
    assert total.u == pytest.approx(0.0297146, rel=2e-6)  # computed independently
    # Only the sum is ours. The example then expands it by 1.65, for a rectangle of half-width a
    # holds 95 % within 0.95 sqrt(3) u; we expand by a Student factor and never by that.
    assert round(1.65 * total.u, 2) == 0.05  # EA-4/02 S9, from that file


def test_vernier_caliper() -> None:
    """EA-4/02 supplement example S10, a reading of 150 mm; micrometres."""
    # Components as a public file of EA-4/02 calculations gives them.
    total = combine_sum(part(0.46), part(1.15 * 1.7), part(15), part(29))
    assert round(total.u) == 33  # EA-4/02 S10, from that file
    assert total.u == pytest.approx(32.711368, rel=1e-7)  # computed independently
    # Only the sum is ours. The example then expands it by 1.83, the factor of a trapezoid.
    assert round(1.83 * total.u) == 60  # EA-4/02 S10, from that file


def test_vernier_caliper_from_its_limits() -> None:
    """The two parts that dominate EA-4/02 S10, from the limits they came from."""
    play = evaluate([Decimal(150)], max_error=Decimal("0.050"), resolution=NONE)
    division = evaluate([Decimal(150)], max_error=NONE, resolution=Decimal("0.05"))
    assert play.u == pytest.approx(0.02887, abs=5e-6)  # computed independently
    assert division.u == pytest.approx(0.01443, abs=5e-6)  # computed independently


def test_three_readings_of_a_back_to_back() -> None:
    """Three caliper readings in mm; every figure computed independently."""
    found = evaluate(
        [Decimal("14.38"), Decimal("14.40"), Decimal("14.39")],
        max_error=Decimal("0.03"),
        resolution=Decimal("0.01"),
    )
    assert found.value == Decimal("14.39")
    repeats = evaluate(found.readings, max_error=NONE, resolution=NONE)
    assert repeats.u * math.sqrt(3) == pytest.approx(0.01, rel=1e-12)
    assert repeats.u == pytest.approx(0.00577350, abs=5e-9)
    limit = evaluate(found.readings[:1], max_error=Decimal("0.03"), resolution=NONE)
    assert limit.u == pytest.approx(0.01732051, abs=5e-9)
    step = evaluate(found.readings[:1], max_error=NONE, resolution=Decimal("0.01"))
    assert step.u == pytest.approx(0.00288675, abs=5e-9)
    assert found.u == pytest.approx(0.01848423, abs=5e-9)
    assert found.dof == pytest.approx(210.125, rel=1e-9)
    assert coverage_factor(found.dof) == pytest.approx(1.971318, abs=5e-7)
    assert found.expanded == pytest.approx(0.0364383, abs=5e-8)


DIGITAL_SHORT = Instrument("digital, to 100 mm", "caliper", Decimal("0.02"), Decimal("0.01"))


@pytest.mark.parametrize(
    ("instrument", "jaws", "expected"),
    # Limits after DIN 862 as reproduced in a one-page extract, the rule after the European
    # length-measure classes; each combination computed independently.
    [
        (DIGITAL_SHORT, "outside", 0.011902),
        (USUAL["digital"], "outside", 0.017559),
        (USUAL["digital"], "inside", 0.029011),
        (USUAL["digital"], "depth", 0.029011),
        (USUAL["vernier"], "outside", 0.032275),
        (USUAL["vernier"], "inside", 0.042915),
        (USUAL["rule"], "none", 0.322749),
    ],
)
def test_single_reading_of_hobby_instruments(
    instrument: Instrument, jaws: str, expected: float
) -> None:
    found = evaluate(
        [Decimal("14.40")],
        max_error=instrument.error_for(jaws),
        resolution=instrument.resolution,
    )
    assert found.u == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("largest_error", "interval", "expected"),
    # A car of 113 g on a scale verified to OIML R 76-1 Table 6, as reproduced in a public copy:
    # 0.5 e up to 500 e of class III and 5000 e of class II, 1.0 e up to 2000 e of class III.
    # Uncertainties computed independently.
    [
        ("0.5", "1", 0.408248),  # class III, 113 e
        ("0.1", "0.1", 0.0645497),  # class III, 1130 e
        ("0.05", "0.1", 0.0408248),  # class II, 1130 e
    ],
)
def test_weighing_a_car(largest_error: str, interval: str, expected: float) -> None:
    found = evaluate(
        [Decimal(113)], max_error=Decimal(largest_error), resolution=Decimal(interval)
    )
    assert found.u == pytest.approx(expected, rel=2e-6)


def test_effective_degrees_of_freedom() -> None:
    # GUM G.4.1: equal parts add their degrees of freedom; follows from the formula.
    assert welch_satterthwaite([(0.2, 4), (0.2, 4)]) == pytest.approx(8, rel=1e-12)
