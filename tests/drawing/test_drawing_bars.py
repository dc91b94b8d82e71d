from decimal import Decimal as D

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.drawing.bars import BESIDE, EDGE, WIDTH, Bar, Share, bars, shares

ROWS = [
    Bar("boxcar", D("205.00"), "205.00", "8 of 8"),
    Bar("reefer", D("51.25"), "51.25", "2 of 4"),
    Bar("idler", D(0), "0.00", "1 of 1"),
    Bar("crane", None, "not stated"),
]


def lengths(drawing) -> list[float]:
    return [float(node.get("width")) for node in drawing.having("d-bar")]


def test_bars_are_as_long_as_their_amounts_are_to_each_other(read):
    longest, shorter = lengths(read(bars(ROWS, title="Worth in USD")))
    assert longest == WIDTH - 2 * EDGE - BESIDE
    assert shorter / longest == pytest.approx(51.25 / 205, abs=0.0001)


def test_bars_when_an_amount_is_zero_then_it_is_a_line_and_when_not_known_nothing(read):
    drawing = read(bars(ROWS, title="Worth in USD"))
    assert len(drawing.having("d-bar")) == 2
    assert len(drawing.having("d-heavy")) == 1
    assert "not stated" in drawing.words


def test_bars_say_every_amount_to_those_who_do_not_see_them(read):
    assert read(bars(ROWS, title="Worth in USD")).title == (
        "Worth in USD: boxcar 205.00 (8 of 8); reefer 51.25 (2 of 4); idler 0.00 (1 of 1); "
        "crane not stated."
    )


def test_bars_of_nothing_are_nothing():
    assert bars([], title="Worth") == ""
    assert shares([Share("fit", 0)], title="Stock") == ""


def test_bars_when_words_are_hostile_then_they_are_words(read):
    drawing = read(bars([Bar("<b>&", D(1), "1")], title="<script>"))
    assert "<b>&" in drawing.words


def test_shares_take_the_strip_in_proportion_and_tell_parts_apart_without_colour(read):
    parts = [Share("fit", 26, "d-ok"), Share("advice", 10), Share("bad", 7), Share("waits", 6)]
    drawing = read(shares(parts, title="The stock"))
    strip = [
        float(node.get("width")) for node in drawing.root.iter() if node.get("height") == "30"
    ]
    # 336 units across, of 49.
    assert strip == [pytest.approx(336 * n / 49, abs=0.01) for n in (26, 10, 7, 6)]
    assert len(drawing.having("d-full")) == 2  # in the strip and beside its name
    assert drawing.having("d-hatch")
    # 26/49 = 53.06 %, 10/49 = 20.4 %, 7/49 = 14.3 %, 6/49 = 12.2 %.
    assert drawing.title == "The stock: fit 26, 53 %; advice 10, 20 %; bad 7, 14 %; waits 6, 12 %."


@pytest.mark.parametrize(
    ("one", "other", "said"),
    [(1, 999, ("under 1 %", "over 99 %")), (0, 5, ("0 %", "100 %")), (1, 1, ("50 %", "50 %"))],
)
def test_shares_never_round_something_to_nothing_or_to_all(read, one, other, said):
    words = read(shares([Share("a", one), Share("b", other)], title="Stock")).words
    assert tuple(word for word in words if "%" in word) == said


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(
            st.text(max_size=60),
            st.none() | st.decimals(min_value=0, max_value=10**8, places=2),
            st.text(max_size=12),
        ),
        min_size=1,
        max_size=14,
    )
)
def test_bars_of_anything_keep_their_labels_apart_and_on_the_sheet(read, listed):
    rows = [
        Bar(label, value, f"{value:,.2f}" if value is not None else "not stated", beside)
        for label, value, beside in listed
    ]
    drawing = read(bars(rows, title="Worth"))
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []
    assert all(0 < each <= WIDTH - 2 * EDGE for each in lengths(drawing))


@settings(deadline=None)
@given(st.lists(st.integers(min_value=0, max_value=10**6), min_size=1, max_size=6).filter(any))
def test_shares_of_any_numbers_fill_the_strip(read, numbers):
    drawing = read(shares([Share(f"part {n}", n) for n in numbers], title="Whole"))
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []
    strip = [
        float(node.get("width")) for node in drawing.root.iter() if node.get("height") == "30"
    ]
    assert sum(strip) == pytest.approx(WIDTH - 2 * EDGE, abs=0.1)
