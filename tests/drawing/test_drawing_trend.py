from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.drawing.trend import trend

LOW, HIGH = D("14.376"), D("14.605")
POINTS = [("2025-01-10", D("14.41")), ("2025-03-01", D("14.43")), ("2026-11-25", D("14.22"))]


def test_trend_says_the_last_reading_the_limit_it_misses_and_the_ones_before(read):
    assert read(trend(POINTS, LOW, HIGH, "mm")).title == (
        "Last reading 14.220 mm on 2026-11-25, below the lower limit 14.376, "
        "before that 14.410 on 2025-01-10; 14.430 on 2025-03-01."
    )


def test_trend_labels_last_value_limits_and_both_ends_of_time(read):
    assert set(read(trend(POINTS, LOW, HIGH, "mm")).words) == {
        "14.220 mm", "14.376", "14.605", "2025-01-10", "2026-11-25",
    }  # fmt: skip


def test_trend_lays_days_out_in_proportion(read):
    drawing = read(trend(POINTS, LOW, HIGH, "mm"))
    first, second, third = (float(n.get("cx")) for n in drawing.having("d-solid"))
    assert (second - first) / (third - first) == pytest.approx(50 / 684, abs=0.01)


def test_trend_spaces_other_labels_evenly(read):
    drawing = read(trend([("new", D(1)), ("routine", D(2)), ("repair", D(3))], None, None, "g"))
    first, second, third = (float(n.get("cx")) for n in drawing.having("d-solid"))
    assert second - first == pytest.approx(third - second, abs=0.02)


def test_trend_of_one_reading(read):
    drawing = read(trend([("2026-11-25", D("14.44"))], LOW, HIGH, "mm"))
    assert drawing.title == "Last reading 14.440 mm on 2026-11-25, limits 14.376 to 14.605."
    assert not drawing.having("d-trace")
    assert len(drawing.having("d-solid")) == 1


def test_trend_of_nothing_is_empty():
    assert trend([], LOW, HIGH, "mm") == ""
    assert trend([("2026-11-25", D("NaN"))], LOW, HIGH, "mm") == ""


def test_trend_with_one_limit_names_which(read):
    assert "min 115" in read(trend([("a", D(118))], D(115), None, "g")).words
    assert "max 115" in read(trend([("a", D(110))], None, D(115), "g")).words


def test_trend_reading_far_out_is_an_arrow(read):
    drawing = read(trend([("a", D("142.1")), ("b", D("14.4"))], LOW, HIGH, "mm"))
    assert len(drawing.having("d-head")) == 1


def test_trend_escapes_hostile_labels(read):
    drawing = read(trend([("<script>&", D(1))], None, None, "<b>"))
    assert "<script>&" in drawing.title
    assert "<script" not in drawing.markup


@given(
    values=st.lists(st.decimals(-999, 999, places=3), min_size=1, max_size=12),
    low=st.none() | st.decimals(-999, 999, places=3),
    span=st.none() | st.decimals(0, 20, places=3),
    dated=st.booleans(),
)
def test_trend_labels_never_overlap(read, values, low, span, dated):
    first = date(2024, 2, 1)
    days = [
        str(first + timedelta(days=30 * n)) if dated else f"inspection number {n}"
        for n in range(len(values))
    ]
    high = low + span if low is not None and span is not None else span
    drawing = read(trend(list(zip(days, values, strict=True)), low, high, "mm"))
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []
