from itertools import pairwise
from xml.etree import ElementTree

from django.utils.safestring import mark_safe
from hypothesis import given
from hypothesis import strategies as st

from inventory.drawing.svg import (
    coordinate,
    dimension,
    element,
    figure,
    hatch,
    join,
    sheet,
    shorten,
    spread,
    text,
    text_width,
)


def test_element_escapes_text_and_attributes():
    markup = element("text", "<b>&", class_='"><script>')
    assert markup == '<text class="&quot;&gt;&lt;script&gt;">&lt;b&gt;&amp;</text>'


def test_element_leaves_out_what_is_none_and_hyphenates_names():
    assert element("path", d=None, stroke_width=2.50, class_="d-line") == (
        '<path stroke-width="2.5" class="d-line"></path>'
    )


def test_join_keeps_markup_and_escapes_words():
    assert join(mark_safe("<g></g>"), "a < b", [mark_safe("<i>"), ["&"]]) == (
        "<g></g>a &lt; b<i>&amp;"
    )


@given(st.text())
def test_any_text_gives_well_formed_markup(words):
    markup = sheet(10, 10, text(0, 0, words), title=words, class_="d-x")
    root = ElementTree.fromstring(markup)
    assert root.tag.endswith("svg")


def test_coordinate_is_short():
    assert coordinate(12.5) == "12.5"
    assert coordinate(-0.001) == "0"
    assert coordinate(100) == "100"


def test_figure_has_a_true_minus_and_no_negative_zero():
    assert figure(-0.08, 2) == "−0.08"
    assert figure(-0.001, 2) == "0.00"
    assert figure(14.4, 0) == "14"


def test_shorten_cuts_only_what_is_too_long():
    assert shorten("14.376", 80) == "14.376"
    short = shorten("a very long name of a wheel", 80)
    assert short.endswith("…")
    assert text_width(short) <= 80


@given(st.lists(st.tuples(st.floats(-50, 300), st.floats(1, 80)), min_size=1, max_size=5))
def test_spread_labels_never_touch_and_stay_in_bounds(labels):
    labels = sorted(labels)
    centres, widths = [c for c, _ in labels], [w for _, w in labels]
    placed = spread(centres, widths, start=0, end=240, gap=6)
    if placed is None:
        assert sum(widths) + 6 * (len(widths) - 1) > 240
        return
    edges = [(c - w / 2, c + w / 2) for c, w in zip(placed, widths, strict=True)]
    assert edges[0][0] >= -1e-6
    assert edges[-1][1] <= 240 + 1e-6
    for (_, right), (left, _) in pairwise(edges):
        assert left - right >= 6 - 1e-6


def test_spread_leaves_labels_with_room_alone():
    assert spread([50, 150], [40, 40], start=0, end=240, gap=6) == [50, 150]


def test_spread_moves_two_close_labels_by_the_same_amount():
    assert spread([100, 110], [40, 40], start=0, end=240, gap=6) == [82, 128]


def heads(markup):
    root = ElementTree.fromstring(markup)
    return [p.get("d") for p in root.iter("path") if "d-head" in p.get("class")]


def test_narrow_dimension_has_its_arrows_outside():
    wide = heads(dimension((0, 0), (100, 0), at=20))
    narrow = heads(dimension((0, 0), (10, 0), at=20))
    assert [d[:5] for d in wide] == ["M0 20", "M100 "]
    assert "L8 " in wide[0]
    assert "L-8 " in narrow[0]


def test_upright_dimension_turns_x_and_y():
    first, second = heads(dimension((0, 90), (40, 10), at=60, upright=True))
    assert first.startswith("M60 10")
    assert second.startswith("M60 90")


def test_hatch_stays_inside_the_outline():
    root = ElementTree.fromstring(hatch([(0, 0), (40, 0), (40, 30), (0, 30)]))
    strokes = [p.get("d")[1:].replace("L", " ").split() for p in root.iter("path")]
    assert strokes
    for x1, y1, x2, y2 in (map(float, stroke) for stroke in strokes):
        assert min(x1, x2) >= 0 and max(x1, x2) <= 40
        assert min(y1, y2) >= 0 and max(y1, y2) <= 30
