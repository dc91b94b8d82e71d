import pytest
from django.template import Context, Engine
from hypothesis import given
from hypothesis import strategies as st

from inventory.drawing.line import Place, TrackLine, line_diagram

ENGINE = Engine(libraries={"drawing": "inventory.drawing.templatetags.drawing"})
MILL = TrackLine("Feed mill siding", "industry", 612, 320)
CASSETTE = TrackLine("Cassette", "staging", 900, 0, is_removable=True)
PLACES = [Place("Staging", [CASSETTE]), Place("Mill Junction", [MILL]), Place("Port", [])]


def rects(drawing, class_):
    found = [n for n in drawing.having(class_) if n.tag.endswith("rect")]
    return [(float(n.get("x")), float(n.get("width"))) for n in found]


@pytest.mark.parametrize("upright", [False, True])
def test_title_says_places_in_order_with_their_numbers(read, upright):
    drawing = read(line_diagram(places=PLACES, upright=upright))
    way = "top to bottom" if upright else "left to right"
    assert drawing.title == (
        f"The line from {way}. Staging: Cassette, staging, 0 of 900 mm taken, removable."
        " Mill Junction: Feed mill siding, industry, 320 of 612 mm taken. Port: no tracks."
    )


@pytest.mark.parametrize("upright", [False, True])
def test_every_track_has_its_name_and_what_is_taken(read, upright):
    words = " ".join(read(line_diagram(places=PLACES, upright=upright)).words)
    assert "Feed mill siding 320 of 612 mm · industry" in words
    assert "Cassette 0 of 900 mm · removable" in words
    assert "no tracks" in words


def test_duty_that_does_not_fit_below_stands_whole_beside_the_name(read):
    main = TrackLine("Main track", "running line", 1300, 817.2)
    long = TrackLine("Receiving and departure, inner", "arrival and departure", 1811, 1128)
    places = [Place("Ostley", [main, long]), *(Place(name, []) for name in "ABC")]
    words = read(line_diagram(places=places)).words
    assert words[words.index("Main track · running line") + 1] == "817.2 of 1300 mm"
    # Neither line has room for it: then it is cut off, as every label that is too long.
    assert any(word.startswith("1128 of 1811 mm · ") and word.endswith("…") for word in words)


def test_tracks_are_drawn_to_one_scale_and_filled_by_what_is_taken(read):
    drawing = read(line_diagram(places=PLACES))
    (_, cassette), (_, mill) = rects(drawing, "d-part")
    assert mill / cassette == pytest.approx(612 / 900, abs=0.001)
    [(_, filled)] = rects(drawing, "d-body")
    assert filled / mill == pytest.approx(320 / 612, abs=0.001)


def test_removable_track_is_dashed_and_joined_to_nothing(read):
    alone = read(line_diagram(places=[Place("Staging", [CASSETTE])]))
    fixed = read(line_diagram(places=[Place("Staging", [MILL])]))
    assert len(alone.having("d-dash")) == 1
    assert not alone.having("d-line")
    assert fixed.having("d-line") and not fixed.having("d-dash")


def test_overfull_track_is_drawn_past_its_end_and_said(read):
    drawing = read(line_diagram(places=[Place("Mill", [TrackLine("House", "", 450, 470)])]))
    assert "House, 470 of 450 mm taken, 20 mm too long" in drawing.title
    (start, width), (past, _) = rects(drawing, "d-part")[0], rects(drawing, "drawn-over")[0]
    assert past == pytest.approx(start + width)
    assert any("d-no" in n.get("class") for n in drawing.having("d-no"))


def test_no_places_draw_nothing():
    assert line_diagram(places=[]) == ""
    assert line_diagram(places=[], upright=True) == ""


def test_unit_is_converted(read):
    assert "12.6 of 24.09 in · industry" in read(line_diagram(places=PLACES, unit="in")).words


def test_hostile_words_are_escaped(read):
    hostile = '"><script>alert(1)</script>&\x00'
    places = [Place(hostile, [TrackLine(hostile, hostile, 100, 50)])]
    drawing = read(line_diagram(places=places))
    assert "alert(1)" in drawing.title
    assert "<script" not in drawing.markup


def test_tag_draws_both_or_the_one_asked_for():
    def rendered(source, **context):
        return ENGINE.from_string("{% load drawing %}" + source).render(Context(context))

    both = line_diagram(places=PLACES, upright=True) + line_diagram(places=PLACES)
    assert rendered("{% line_drawing p %}", p=PLACES) == f'<div class="drawn">{both}</div>'
    assert rendered("{% line_drawing p True %}", p=PLACES) == line_diagram(
        places=PLACES, upright=True
    )
    assert rendered("{% line_drawing none_such %}") == ""


names = st.text("ABW &0123456789…", max_size=40)
lengths = st.floats(0, 3000) | st.just(0.0) | st.floats(0, 1e7)
tracks = st.builds(TrackLine, names, names, lengths, lengths, st.booleans())


@given(
    places=st.lists(st.builds(Place, names, st.lists(tracks, max_size=5)), min_size=1, max_size=9),
    upright=st.booleans(),
)
def test_labels_never_overlap_and_bars_stay_on_the_sheet(read, places, upright):
    drawing = read(line_diagram(places=places, upright=upright))
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []
    for class_ in ("d-part", "d-body", "drawn-over"):
        for x, width in rects(drawing, class_):
            assert x >= 0 and x + width <= drawing.size[0] + 0.01
