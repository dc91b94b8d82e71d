"""Sheets of labels: that they fit their paper, and that wrong sizes are refused by name."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from inventory.drawing.qr import LEAST_MODULE_MM, QUIET, modules
from inventory.paper.labels import Label, box_words, code_side, label_leaves
from inventory.paper.layouts import LAYOUTS, Layout, LayoutRefused
from inventory.paper.leaf import A4, LETTER

ADDRESS = "http://192.168.1.20:8000/v/0123456789abcdef0123456789abcdef/"


def test_papers_then_are_as_large_as_their_standards_say():
    # ISO 216: A4 is 210 by 297 mm. ANSI/ASME Y14.1: size A is 8.5 by 11 inches of 25.4 mm.
    assert (A4.width, A4.height) == (210, 297)
    assert (LETTER.width, LETTER.height) == pytest.approx((8.5 * 25.4, 11 * 25.4))
    assert (A4.turned.width, A4.turned.height) == (297, 210)


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=list(LAYOUTS))
def test_layout_then_lies_on_its_paper_and_no_label_on_another(layout):
    layout.check()
    corners = list(layout.corners())

    assert len(corners) == layout.count
    for x, y in corners:
        assert x >= 0 and x + layout.width <= layout.paper.width + 0.011
        assert y >= 0 and y + layout.height <= layout.paper.height + 0.011
    for x, y in corners:
        near = [
            (a, b)
            for a, b in corners
            if (a, b) != (x, y)
            and abs(a - x) < layout.width - 0.02
            and abs(b - y) < layout.height - 0.02
        ]
        assert near == []


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=list(LAYOUTS))
def test_layout_when_a_usual_address_is_on_it_then_its_code_can_be_read(layout):
    side = code_side(layout, [ADDRESS])

    assert side / modules(ADDRESS) >= LEAST_MODULE_MM - 1e-9
    assert side <= min(layout.width, layout.height) + 1e-9


GOOD = Layout("own", A4, 3, 8, 60, 30, 10, 10, 62, 32)


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"columns": 4}, "columns", "4 columns reach to 256.00 mm, and A4 is 210 mm: 46.00 mm"),
        ({"rows": 9}, "rows", "9 rows reach to 296.00 mm"),
        ({"across": 59.0}, "across", "overlap"),
        ({"down": 29.9}, "down", "overlap"),
        ({"left": -1.0}, "left", "margin"),
        ({"top": -0.1}, "top", "margin"),
        ({"width": 19.9}, "width", "20 mm or more"),
        ({"height": 9.0}, "height", "10 mm or more"),
        ({"columns": 0}, "columns", "between 1 and 400"),
    ],
)
def test_layout_when_wrong_then_says_which_size_and_by_how_much(changed, field, words):
    if changed == {"rows": 9}:
        replace(GOOD, **changed).check()  # 10 + 8 x 32 + 30 = 296 mm fits 297
        changed = {"rows": 9, "top": 11.5}
        words = "9 rows reach to 297.50 mm, and A4 is 297 mm: 0.50 mm too far"
    with pytest.raises(LayoutRefused, match=words) as refused:
        replace(GOOD, **changed).check()
    assert refused.value.field == field


def test_layout_when_it_ends_just_at_the_edge_then_is_taken():
    replace(GOOD, left=210 - 60 - 2 * 62).check()
    with pytest.raises(LayoutRefused):
        replace(GOOD, left=210 - 60 - 2 * 62 + 0.02).check()


def test_code_when_the_label_is_too_small_for_it_then_says_what_to_change():
    small = replace(GOOD, width=30, height=12)
    with pytest.raises(LayoutRefused, match=r"16.4 mm at 0.4 mm a module.*shorter host"):
        code_side(small, [ADDRESS])
    # 12 mm hold 30 modules of 0.4 mm: 21 of a code and 8 of its quiet zone, so 14 bytes at most.
    assert code_side(small, ["a" * 14]) == pytest.approx(12)
    assert modules("a" * 14) == 21 + 2 * QUIET


@pytest.mark.parametrize(
    ("labels", "start", "sheets"),
    [(1, 1, 1), (24, 1, 1), (25, 1, 2), (24, 2, 2), (1, 24, 1), (2, 24, 2), (0, 1, 1)],
)
def test_labels_when_begun_on_a_half_used_sheet_then_take_so_many_sheets(labels, start, sheets):
    told = [Label(f"BRV {number}") for number in range(labels)]
    leaves = label_leaves(told, GOOD, start=start)

    assert len(leaves) == sheets
    drawn = "".join(leaf.svg for leaf in leaves)
    assert all(f"BRV {number}<" in drawn for number in range(labels))


@pytest.mark.parametrize(
    ("box", "said"), [("T1", "Box T1"), ("Drawer 2", "Drawer 2"), ("Box F3", "Box F3"), ("", "")]
)
def test_box_then_is_called_one_unless_it_says_so_itself(box, said):
    assert box_words(box) == said


def test_label_when_its_trouble_is_too_long_for_it_then_still_says_bad_order():
    (leaf,) = label_leaves([Label("BRV 88", trouble="x" * 200)], replace(GOOD, height=16, down=16))

    assert "BAD ORDER" in leaf.svg


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=list(LAYOUTS))
def test_label_when_marks_and_number_are_as_long_as_they_may_be_then_none_is_cut(layout):
    label = Label("M" * 40 + " " + "8" * 24, kind="boxcar", trouble="x" * 200, address=ADDRESS)
    (leaf,) = label_leaves([label], layout)
    lines = re.findall(r"<text[^>]*>([^<]*)</text>", leaf.svg)

    assert "".join(lines).count("M") == 40
    assert "".join(lines).count("8") == 24
