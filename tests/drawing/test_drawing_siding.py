import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.template import Context, Engine
from hypothesis import given
from hypothesis import strategies as st

import inventory.drawing
from inventory.drawing.siding import WIDE, set_in, siding

ENGINE = Engine(libraries={"drawing": "inventory.drawing.templatetags.drawing"})
KINDS = ("turnout", "buffer stop", "joint", "table edge", "mark")
USUAL = {
    "measured_mm": 737,
    "deductions": [("clearance point", 110), ("buffer", 15)],
    "clear_mm": 612,
    "standing": [("T&W 4127", 140), ("BRV 88", 141)],
    "fits": [("hopper", 175), ("box", 140)],
    "ends": ("turnout", "buffer stop"),
    "name": "Feed mill siding",
}


def drawn(**changes):
    return siding(**(USUAL | changes))


def boxes(drawing, class_):
    found = [n for n in drawing.having(class_) if n.tag.endswith("rect")]
    return [(float(n.get("x")), float(n.get("width"))) for n in found]


@pytest.mark.parametrize("wide", [False, True])
def test_title_says_every_number(read, wide):
    assert read(drawn(wide=wide)).title == (
        "Feed mill siding, turnout to buffer stop: 737 mm measured, less 110 mm clearance point"
        " and 15 mm buffer; 612 mm clear, 331 mm left. Standing from the buffer stop:"
        " 1. T&W 4127 140 mm, 2. BRV 88 141 mm. Would fit: 3. hopper 175 mm, 4. box 140 mm."
    )


def test_lengths_are_written_below_the_track(read):
    words = read(drawn()).words
    assert {"737 mm measured", "clearance point 110 mm", "buffer 15 mm"} <= set(words)
    assert "612 mm clear · 331 mm left" in words


def test_vehicles_stand_to_scale_from_the_b_end_inwards(read):
    drawing = read(drawn(wide=True))
    (first, length), (second, next_length) = boxes(drawing, "d-body")
    assert second + next_length < first
    assert (length + 3) / (next_length + 3) == pytest.approx(140 / 141, abs=0.005)
    dashed = boxes(drawing, "d-dash")
    assert len(dashed) == 2
    assert all(x + width < second for x, width in dashed)


def test_labels_too_long_for_one_line_are_set_in_two(read):
    assert {"T&W", "4127"} <= set(read(drawn()).words)


def test_set_in_keeps_the_end_or_gives_up():
    assert set_in("T&W 4127", 200, 13) == ["T&W 4127"]
    assert set_in("T&W 4127", 50, 13) == ["T&W", "4127"]
    assert set_in("Tamarack & Western 4127", 60, 13) == ["Tamara…", "4127"]
    assert set_in("Tamarack & Western 4127", 20, 13) == []
    assert set_in("Tamarackwestern", 60, 13) == ["Tamara…"]
    assert set_in("  ", 60, 13) == []


def test_labels_that_would_be_cut_to_the_same_words_become_numbers(read):
    drawing = read(drawn(standing=[("Tamarackwestern", 140), ("Tamarackwagon", 140)], fits=[]))
    assert {"1", "2"} <= set(drawing.words)
    assert "1. Tamarackwestern 140 mm, 2. Tamarackwagon 140 mm" in drawing.title


def test_forty_vehicles_are_counted(read):
    many = {"standing": [(f"T&W {i}", 150) for i in range(40)], "fits": []}
    lengths = {"measured_mm": 6500, "clear_mm": 6375}
    narrow = read(drawn(**many, **lengths))
    assert {"1", "5", "40"} <= set(narrow.words)
    assert {str(n) for n in range(1, 41)} <= set(read(drawn(**many, **lengths, wide=True)).words)
    assert "40. T&W 39 150 mm" in narrow.title
    assert narrow.overlapping_labels() == []


def test_empty_track_says_so(read):
    drawing = read(drawn(standing=[], fits=[]))
    assert "Nothing stands on it." in drawing.title
    assert "612 mm clear · 612 mm left" in drawing.words
    assert "Would fit" not in drawing.title


@pytest.mark.parametrize("ends", [("turnout", "buffer stop"), ("buffer stop", "joint")])
def test_overfull_is_told_in_words_and_drawn_past_the_end(read, ends):
    standing = [("T&W 4127", 240), ("BRV 88", 241), ("X 3", 220)]
    drawing = read(drawn(standing=standing, ends=ends))
    assert "612 mm clear, overfull: what stands on it is 89 mm too long." in drawing.title
    assert "612 mm clear · 89 mm too long" in drawing.words
    assert len(boxes(drawing, "drawn-over")) == 1
    assert "d-no" in drawing.classes()
    assert "Would fit" not in drawing.title


def test_just_full_is_not_overfull(read):
    drawing = read(drawn(standing=[("a", 306.02), ("b", 306.02)], fits=[]))
    assert "612 mm clear · 0 mm left" in drawing.words
    assert "drawn-over" not in drawing.classes()


def test_what_is_left_may_be_told_with_slack(read):
    assert "612 mm clear · 327.5 mm left" in read(drawn(left_mm=327.5)).words


def test_what_would_not_fit_is_not_drawn(read):
    drawing = read(drawn(fits=[("hopper", 175), ("coach", 300), ("box", 140)]))
    assert "Would fit: 3. hopper 175 mm, 4. box 140 mm." in drawing.title


def test_inches_are_converted_and_an_unknown_unit_is_not_believed(read):
    assert "24.09 in clear · 13.03 in left" in read(drawn(unit="in")).words
    assert "612 mm clear · 331 mm left" in read(drawn(unit="<b>")).words


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_of_end_is_drawn_and_named(read, kind):
    pictures = {
        siding(**(USUAL | {"ends": (other, "mark")})).partition("</title>")[2] for other in KINDS
    }
    assert len(pictures) == len(KINDS)
    for ends in ((kind, "mark"), ("mark", kind)):
        drawing = read(drawn(ends=ends))
        assert kind in drawing.words
        assert f"{ends[0]} to {ends[1]}" in drawing.title


def test_lengths_that_are_none_are_nothing(read):
    drawing = read(
        drawn(
            measured_mm=float("nan"),
            clear_mm=-3,
            deductions=[],
            standing=[("X", None), ("Y", float("inf"))],
            left_mm=float("nan"),
        )
    )
    assert "0 mm clear · 0 mm left" in drawing.words
    assert "1. X of unknown length" in drawing.title


def test_hostile_words_are_escaped(read):
    hostile = '"><script>alert(1)</script>&\x00'
    drawing = read(
        drawn(
            name=hostile,
            deductions=[(hostile, 100), (hostile, 90)],
            standing=[(hostile, 140)],
            fits=[(hostile, 200)],
            ends=(hostile, hostile),
            unit=hostile,
        )
    )
    assert "alert(1)" in drawing.title
    assert "<script" not in drawing.markup
    assert drawing.overlapping_labels() == []


def test_tag_draws_both_for_the_page_to_choose():
    source = ENGINE.from_string("{% load drawing %}{% siding_drawing sheet %}")
    sheet = SimpleNamespace(**USUAL)
    assert source.render(Context({"sheet": sheet})) == (
        f'<div class="drawn">{drawn()}{drawn(wide=True)}</div>'
    )
    assert source.render(Context({"sheet": SimpleNamespace(**USUAL, unit="in")})).count(" in ")
    assert source.render(Context()) == ""


def test_stylesheet_knows_every_class_and_no_colour_is_drawn():
    rules = Path(inventory.drawing.__file__).parent / "static/drawing/drawing.css"
    known = set(re.findall(r"\.(d[a-z0-9-]+)", rules.read_text(encoding="utf-8"))) | {"d-line"}
    over = {"standing": [("a", 700)]}
    for ends in [(kind, other) for kind in KINDS for other in KINDS]:
        markup = drawn(ends=ends) + drawn(ends=ends, wide=True, **over)
        used = {n for names in re.findall(r'class="([^"]*)"', markup) for n in names.split()}
        assert used <= known
        assert not re.search(r"(fill|stroke)=|#[0-9a-f]{3}", markup)


words = st.text("ABW &0123456789…", max_size=30)
lengths = st.one_of(st.floats(0, 400), st.floats(0, 1e5), st.just(0.0))
vehicles = st.lists(st.tuples(words, lengths), max_size=40)


@given(
    measured=lengths,
    deductions=st.lists(st.tuples(words, lengths), max_size=2),
    clear=st.none() | lengths,
    standing=vehicles,
    fits=vehicles,
    ends=st.tuples(st.sampled_from(KINDS), st.sampled_from(KINDS)),
    unit=st.sampled_from(["mm", "in", "cm"]),
    wide=st.booleans(),
)
def test_labels_never_overlap_and_stay_on_the_sheet(
    read, measured, deductions, clear, standing, fits, ends, unit, wide
):
    if clear is None:
        clear = max(0, measured - sum(mm for _, mm in deductions))
    drawing = read(
        drawn(
            measured_mm=measured,
            deductions=deductions,
            clear_mm=clear,
            standing=standing,
            fits=fits,
            ends=ends,
            unit=unit,
            wide=wide,
        )
    )
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []
    for x, width in boxes(drawing, "d-body"):
        assert -0.01 <= x <= x + width <= (WIDE if wide else 340) + 0.01


@given(count=st.integers(1, 40), length=st.floats(60, 300), wide=st.booleans())
def test_every_vehicle_of_a_full_track_is_drawn(read, count, length, wide):
    total = count * length
    drawing = read(
        drawn(
            measured_mm=total + 125,
            clear_mm=total,
            standing=[(f"T&W {4000 + i}", length) for i in range(count)],
            fits=[],
            wide=wide,
        )
    )
    assert len(boxes(drawing, "d-body")) == count
    assert "drawn-over" not in drawing.classes()
    assert drawing.overlapping_labels() == []
