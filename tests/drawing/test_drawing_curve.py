"""A vehicle on a curve: throws to scale and in words."""

import math
import re

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from inventory.drawing.curve import vehicle_on_curve
from standards.curves import Body

LONG = Body(297.7, 208.3, 28, 34.9)
BOX = Body(140, 105, 19.2, 37)


def drawn(**changes):
    return vehicle_on_curve(**({"radius": 609.6, "gauge": 16.5, "vehicle": LONG} | changes))


def number(drawing, ending):
    """The number of the line of the legend that ends so."""
    found = [re.match(r"(−?[\d.]+) (mm|in)", w) for w in drawing.words if ending in w]
    assert len(found) == 1, drawing.words
    return float(found[0].group(1).replace("−", "-"))


def points(node):
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", node.get("d"))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


# --- Figures ----------------------------------------------------------------------------------


def test_throws_of_a_real_coach(read):
    """Indian broad gauge, Schedule of Dimensions: 27330/R inside at the middle and 29600/R
    outside at the end, in mm with R in m, for a coach of 14.785 m between bogies, 21.340 m long
    (the constants from memory). They are approximate to a tenth of a percent at 175 m."""
    coach = Body(21340, 14785, 0, 0.001)
    drawing = read(drawn(radius=175_000, gauge=1676, vehicle=coach))
    assert number(drawing, "inwards") == pytest.approx(27330 / 175, rel=1e-3)
    assert number(drawing, "outwards") == pytest.approx(29600 / 175, rel=1e-3)


def test_the_corner_counts_from_where_the_side_stands_on_straight_track(read):
    # Plane geometry by hand: h = sqrt(609.6^2 - 104.15^2 - 14^2) = 600.4739; middle R - h;
    # corner sqrt((h + 17.45)^2 + 148.85^2) - R - 17.45.
    h = math.sqrt(609.6**2 - 104.15**2 - 14**2)
    drawing = read(drawn())
    assert number(drawing, "inwards") == pytest.approx(609.6 - h, abs=0.005)
    corner = math.hypot(h + 17.45, 148.85) - 609.6 - 17.45
    assert number(drawing, "outwards") == pytest.approx(corner, abs=0.005)


def test_ends_of_two_alike_meet_and_of_two_unlike_do_not(read):
    assert number(read(drawn(neighbour=LONG)), "between the middles") == 0
    own = math.hypot(math.sqrt(609.6**2 - 104.15**2 - 14**2), 148.85) - 609.6
    other = math.hypot(math.sqrt(609.6**2 - 52.5**2 - 9.6**2), 70) - 609.6
    found = number(read(drawn(neighbour=BOX)), "between the middles")
    assert found == pytest.approx(abs(own - other), abs=0.005)


def test_on_an_s_curve_both_throws_add_up(read):
    drawing = read(drawn(neighbour=BOX, is_s_curve=True, second=LONG, centres=50))
    own = math.hypot(math.sqrt(609.6**2 - 104.15**2 - 14**2), 148.85) - 609.6
    other = math.hypot(math.sqrt(609.6**2 - 52.5**2 - 9.6**2), 70) - 609.6
    assert number(drawing, "between the middles") == pytest.approx(own + other, abs=0.005)
    assert "S-curve" in drawing.title
    assert "d" not in drawing.words


def test_an_s_curve_in_plan_bends_the_other_way(read):
    """The neighbour alike is the vehicle turned by half a turn about where the curves meet."""
    drawing = read(drawn(neighbour=LONG, is_s_curve=True))
    first = points(drawing.having("d-body")[0])
    second = next(
        points(node)
        for node in drawing.having("d-part")
        if node.tag.endswith("path") and len(points(node)) == len(first)
    )
    outer, turned = first[:25], list(reversed(second[:25]))
    middles = [
        ((x1 + x2) / 2, (y1 + y2) / 2) for (x1, y1), (x2, y2) in zip(outer, turned, strict=True)
    ]
    assert {math.dist(middle, middles[0]) < 0.02 for middle in middles} == {True}
    # On one curve they would be mirror images instead.
    alike = read(drawn(neighbour=LONG)).having("d-part")
    beside = next(points(n) for n in alike if n.tag.endswith("path") and len(points(n)) == 50)
    centre = ((outer[0][0] + beside[24][0]) / 2, (outer[0][1] + beside[24][1]) / 2)
    other = ((outer[24][0] + beside[0][0]) / 2, (outer[24][1] + beside[0][1]) / 2)
    assert math.dist(centre, other) > 5


def test_an_s_curve_needs_a_neighbour(read):
    assert drawn(is_s_curve=True) == drawn()


def test_the_gap_to_a_second_track(read):
    """Centres of 54.81 leave 3 mm between two such cars: reckoned by hand from the corner and
    the inner side, 25.999 and 25.81 beyond their centre lines."""
    drawing = read(drawn(second=LONG, centres=54.81))
    h2 = math.sqrt((609.6 + 54.81) ** 2 - 104.15**2 - 14**2)
    h = math.sqrt(609.6**2 - 104.15**2 - 14**2)
    corner = math.hypot(h + 17.45, 148.85)
    assert number(drawing, "between the two") == pytest.approx(h2 - 17.45 - corner, abs=0.005)
    assert number(drawing, "between the two") == pytest.approx(3, abs=0.01)


def test_two_that_strike_are_said_to(read):
    drawing = read(drawn(second=LONG, centres=45))
    assert "strike each other" in drawing.title
    assert "d-no" in drawing.classes()
    assert "d-no" not in read(drawn(second=LONG, centres=60)).classes()


def test_a_short_overhang_stays_inside(read):
    drawing = read(drawn(vehicle=Body(100, 98, 0, 30), radius=300))
    assert number(drawing, "outwards") < 0
    assert "stays inside" in drawing.title


def test_words_and_inches(read):
    drawing = read(drawn(neighbour=BOX, second=LONG, centres=60, unit="in"))
    description = drawing.root.find("{http://www.w3.org/2000/svg}desc").text
    assert "radius 24 in" in " ".join(drawing.words)
    assert "24 in radius" in drawing.title
    assert "11.72 in long and 1.374 in wide" in description
    assert "2.362 in between centres" in description
    assert {"a", "b", "c", "d"} <= set(drawing.words)


def test_hostile_unit_is_not_believed(read):
    assert "<script" not in read(drawn(unit="<script>")).markup


@pytest.mark.parametrize(
    "changes",
    [{"radius": None}, {"radius": 0}, {"radius": float("nan")}, {"gauge": None}, {"radius": 90}],
)
def test_nothing_is_drawn_of_what_cannot_be(changes):
    assert drawn(**changes) == ""


def test_nor_of_a_neighbour_that_does_not_go_round():
    assert drawn(radius=100, vehicle=Body(60, 40), neighbour=LONG) == ""


# --- To scale ---------------------------------------------------------------------------------


def test_the_plan_is_to_scale(read):
    drawing = read(drawn())
    outline = points(drawing.having("d-body")[0])
    first, last = outline[0], outline[24]
    below = outline[-1]
    assert math.dist(first, last) / math.dist(first, below) == pytest.approx(
        297.7 / 34.9, rel=2e-3
    )


def test_drawn_out_straight_the_throws_are_to_the_scale_of_the_width(read):
    drawing = read(drawn(vehicle=LONG))
    dashed = [points(node) for node in drawing.having("d-dash")]
    sides = sorted(pair[0][1] for pair in dashed)
    outline = points(drawing.having("d-body")[1])
    lowest, highest = max(y for _, y in outline), min(y for _, y in outline)
    per_mm = (sides[1] - sides[0]) / 34.9
    h = math.sqrt(609.6**2 - 104.15**2 - 14**2)
    assert (lowest - sides[1]) / per_mm == pytest.approx(609.6 - h, abs=0.02)
    corner = math.hypot(h + 17.45, 148.85) - 609.6 - 17.45
    assert (sides[0] - highest) / per_mm == pytest.approx(corner, abs=0.02)


def test_the_stretch_is_said(read):
    assert "sideways" in " ".join(read(drawn()).words)
    assert re.search(r"sideways [\d.]+ times", " ".join(read(drawn()).words))


lengths = st.floats(20, 400)


@st.composite
def bodies(draw):
    length = draw(lengths)
    return Body(
        length,
        length * draw(st.floats(0.3, 1.0)),
        length * draw(st.sampled_from([0.0, 0.08, 0.2])),
        draw(st.floats(0, 60)),
    )


@settings(deadline=None)
@given(
    vehicle=bodies(),
    neighbour=st.none() | bodies(),
    second=st.none() | bodies(),
    radius=st.floats(50, 5000),
    centres=st.floats(20, 200),
    unit=st.sampled_from(["mm", "in"]),
    is_s_curve=st.booleans(),
)
def test_labels_never_overlap_and_stay_on_the_sheet(
    read, vehicle, neighbour, second, radius, centres, unit, is_s_curve
):
    # Nothing runs on a curve sharper than it is long itself; common practice, no source.
    assume(radius >= max(each.length for each in (vehicle, neighbour, second) if each))
    markup = drawn(
        vehicle=vehicle,
        neighbour=neighbour,
        second=second,
        radius=radius,
        centres=centres,
        unit=unit,
        is_s_curve=is_s_curve,
    )
    if markup == "":
        return
    drawing = read(markup)
    assert "nan" not in drawing.markup and "inf" not in drawing.markup
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []
