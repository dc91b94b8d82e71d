from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.drawing.axis import axis
from inventory.drawing.strip import tolerance_strip

LOW, HIGH = D("14.376"), D("14.605")


def strip(**changes):
    usual = {
        "value": D("14.47"),
        "low": LOW,
        "high": HIGH,
        "expanded": 0.04,
        "outcome": "within",
        "unit": "mm",
    }
    return tolerance_strip(**(usual | changes))


def test_strip_says_verdict_value_uncertainty_and_limits(read):
    assert read(strip(nominal=D("14.5"))).title == (
        "Within: 14.470 mm ± 0.040, limits 14.376 to 14.605 mm, nominal 14.500."
    )


def test_strip_labels_value_and_both_limits(read):
    assert set(read(strip()).words) == {"14.470 mm", "14.376", "14.605"}


@pytest.mark.parametrize(
    ("outcome", "mark"),
    [("within", "circle"), ("outside", "d-cross"), ("undecided", "Z"), ("not judged", "d-open")],
)
def test_strip_marks_each_verdict_by_its_own_shape(read, outcome, mark):
    shapes = {
        "circle": lambda d: any(n.tag.endswith("circle") for n in d.having("d-solid")),
        "d-cross": lambda d: len(d.having("d-cross")) == 2,
        "Z": lambda d: any(n.tag.endswith("path") for n in d.having("d-solid")),
        "d-open": lambda d: bool(d.having("d-open")),
    }
    drawing = read(strip(outcome=outcome))
    assert [name for name, is_drawn in shapes.items() if is_drawn(drawing)] == [mark]


def test_strip_without_a_value_says_not_measured(read):
    drawing = read(strip(value=None, expanded=None, outcome="not judged"))
    assert drawing.title == "Not judged: not measured, limits 14.376 to 14.605 mm."
    assert "not measured" in drawing.words
    assert not drawing.having("d-solid")


@pytest.mark.parametrize(
    ("limits", "label", "said"),
    [
        ({"high": None}, "min 14.376", "limit at least 14.376 mm"),
        ({"low": None}, "max 14.605", "limit at most 14.605 mm"),
    ],
)
def test_one_sided_strip_is_open_on_the_other_side(read, limits, label, said):
    drawing = read(strip(**limits))
    assert label in drawing.words
    assert said in drawing.title
    assert drawing.having("d-axis-head")
    assert len(drawing.having("d-tick")) == 1
    shades = drawing.having("d-zone")
    strong = next(n for n in shades if "d-fade-0" in n.get("class"))
    weak = next(n for n in shades if "d-fade-7" in n.get("class"))
    opens_right = float(weak.get("x")) > float(strong.get("x"))
    assert opens_right == ("high" in limits)


def test_strip_without_limits_says_so(read):
    drawing = read(strip(low=None, high=None, outcome="not judged"))
    assert "no limit" in drawing.words
    assert "no limit" in drawing.title
    assert not drawing.having("d-zone")


@pytest.mark.parametrize(("value", "side"), [("12.1", -1), ("142.1", 1)])
def test_value_far_outside_is_cut_off_at_the_edge_but_labelled(read, value, side):
    drawing = read(strip(value=D(value), outcome="outside"))
    assert len(drawing.having("d-break")) == 2
    assert drawing.having("d-head")
    assert f"{D(value):.3f} mm" in drawing.words
    zone = drawing.having("d-zone")[0]
    assert float(zone.get("width")) > 60
    assert drawing.labels_outside() == []
    label = next(label for label in drawing.labels if label.words.endswith("mm"))
    assert (label.left > 120) == (side > 0)


def test_value_near_the_limits_is_to_scale(read):
    drawing = read(strip(value=D("14.22"), outcome="outside"))
    assert not drawing.having("d-break")


def test_value_that_rounds_to_a_limit_it_misses_gets_more_decimals(read):
    drawing = read(strip(value=D("14.3758"), outcome="outside"))
    assert set(drawing.words) == {"14.3758 mm", "14.3760", "14.6050"}


def test_value_on_the_limit_keeps_its_decimals(read):
    assert "14.376 mm" in read(strip(value=LOW)).words


def test_whisker_has_two_caps_and_too_long_a_one_runs_out(read):
    assert len(read(strip()).having("d-whisker")) == 3
    long = read(strip(expanded=5, outcome="undecided"))
    assert len(long.having("d-head")) == 2
    assert float(long.having("d-zone")[0].get("width")) > 40


def test_whisker_shorter_than_its_mark_is_left_out(read):
    assert not read(strip(expanded=0.0001)).having("d-whisker")


def test_uncertainty_below_the_decimals_is_not_printed_as_zero(read):
    assert "± 0.0004" in read(strip(expanded=0.0004)).title


def test_equal_limits_are_labelled_once(read):
    drawing = read(strip(low=LOW, high=LOW))
    assert drawing.words.count("14.376") == 1


@pytest.mark.parametrize("field", ["unit", "outcome"])
def test_hostile_words_are_escaped(read, field):
    hostile = '"><script>alert(1)</script>&\x00'
    drawing = read(strip(**{field: hostile}))
    assert "alert(1)" in drawing.title
    assert "<script" not in drawing.markup


def test_numbers_that_are_none_are_missing(read):
    drawing = read(strip(value=D("NaN"), low=D("Infinity"), expanded=float("nan")))
    assert "not measured" in drawing.words
    assert "max 14.605" in drawing.words


def test_limits_the_wrong_way_round_still_give_a_drawing(read):
    drawing = read(strip(low=HIGH, high=LOW))
    assert drawing.overlapping_labels() == []


numbers = st.decimals(-2000, 2000, allow_nan=False, allow_infinity=False, places=3)
optional = st.none() | numbers


@given(
    value=optional,
    low=optional,
    span=st.none() | st.decimals(0, 500, places=3),
    expanded=st.none() | st.floats(0, 100),
    nominal=optional,
    outcome=st.sampled_from(["within", "outside", "undecided", "not judged"]),
    decimals=st.integers(0, 4),
)
def test_labels_never_overlap(read, value, low, span, expanded, nominal, outcome, decimals):
    high = low + span if low is not None and span is not None else span
    drawing = read(
        strip(
            value=value,
            low=low,
            high=high,
            expanded=expanded,
            nominal=nominal,
            outcome=outcome,
            decimals=decimals,
        )
    )
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []
    if value is not None:
        assert outcome in drawing.title.lower()


@given(low=numbers, span=st.decimals("0.001", 50, places=3), value=numbers)
def test_axis_keeps_the_zone_wide_and_the_order(low, span, value):
    high = low + span
    line = axis(low=low, high=high, marks=(value,), start=0, end=200)
    assert line.at(high) - line.at(low) > 45
    where = [line.at(low), line.at(value), line.at(high)]
    if value < low:
        assert where[1] <= where[0]
    elif value > high:
        assert where[1] >= where[2]
    else:
        assert where == sorted(where)
