"""The wheelset in the frog: to scale, in words, and honest about what nobody measured."""

import math
import re
from decimal import Decimal as D

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.drawing.frog import RELATIONS, Meeting, wheelset_in_frog
from inventory.drawing.frog_plan import Plan
from inventory.drawing.frog_sizes import Sizes
from inventory.drawing.shapes import clipped
from inventory.drawing.svg import wrapped

INCH = 25.4

# HO: NMRA S-3.2 (G min .649, C min .605, S max .564, H min .028) and S-4.2 (D max .025, N min
# .110); T of RP-25 code 110, .030; B midway between S-4.2's B min .566 and K max .605 less T.
HO = {
    "back_to_back": 0.5705 * INCH,
    "flange_thickness": 0.030 * INCH,
    "flange_depth": 0.025 * INCH,
    "tyre_width": 0.110 * INCH,
    "track_gauge": 0.649 * INCH,
    "check_gauge": 0.605 * INCH,
    "span": 0.564 * INCH,
    "flangeway_depth": 0.028 * INCH,
    "frog_number": 6,
}


def drawn(**changes):
    return wheelset_in_frog(**(HO | changes))


def meeting(name, margin=0.1, **changes):
    given_ = dict.fromkeys(
        (
            "back_to_back", "flange_thickness", "flange_depth", "tyre_width", "track_gauge",
            "check_gauge", "span", "flangeway", "flangeway_guard", "flangeway_depth",
            "rail_height", "fastening_height", "frog_number",
        )
    )  # fmt: skip
    return Meeting(Sizes(given_ | HO | changes), RELATIONS.get(name), name, margin, "mm")


def segments(drawing, class_):
    """The straight lines of a class, as pairs of points."""
    found = []
    for node in drawing.having(class_):
        numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", node.get("d"))]
        if len(numbers) == 4:
            found.append(tuple(numbers))
    return found


# --- What it says -----------------------------------------------------------------------------


def test_the_margin_is_said_with_its_number_and_what_comes_of_it(read):
    drawing = read(drawn(worst=("span", -0.08)))
    assert "span −0.08 mm: the wheels jam on guard and wing rail" in drawing.title
    assert "−0.08 mm" in drawing.words
    assert "d-no" in drawing.classes()
    free = read(drawn(worst=("span", 0.17)))
    assert "span 0.17 mm: the wheel backs pass guard and wing rail" in free.title
    assert "d-no" not in free.classes()


def test_the_text_alternative_has_every_number(read):
    drawing = read(drawn(worst=("play", 0.47), flangeway_guard=1.12))
    description = drawing.root.find("{http://www.w3.org/2000/svg}desc").text
    for words in (
        "back-to-back B 14.49 mm", "flange thickness T 0.76 mm", "flange depth D 0.64 mm",
        "tyre width N 2.79 mm", "track gauge G 16.48 mm", "check gauge C 15.37 mm",
        "span S 14.33 mm", "flangeway at the frog F 1.04 mm", "flangeway depth H 0.71 mm",
        "flangeway at the guard rail 1.12 mm", "frog number 6",
    ):  # fmt: skip
        assert words in description


def test_inches_are_those_of_the_sheets(read):
    drawing = read(drawn(unit="in", worst=("frog-point protection", 0.0045 * INCH)))
    assert {"B 0.5705", "S 0.564", "C 0.605", "G 0.649"} <= set(drawing.words)
    assert "0.0045 in" in drawing.words


def test_just_nothing_left_is_said(read):
    assert "only just" in read(drawn(worst=("flangeway depth", 0.0))).title


@pytest.mark.parametrize("name", RELATIONS)
@pytest.mark.parametrize("margin", [-0.05, 0.0, 0.05, -9.0, 9.0])
def test_every_relation_is_drawn_with_labels_that_can_be_read(read, name, margin):
    sizes = {"rail_height": 1.78, "fastening_height": 0.9}
    for unit in ("mm", "in"):
        drawing = read(drawn(**sizes, worst=(name, margin), unit=unit))
        assert name in drawing.title
        assert drawing.overlapping_labels() == []
        assert drawing.labels_outside() == []


def test_names_of_the_relations_as_others_write_them(read):
    assert read(drawn(worst=("flangeway depth", -0.1))).title == (
        read(drawn(worst=("flangeway depth", -0.1))).title
    )
    assert "no drop-in 0.98 mm" in read(drawn(worst=("no drop-in", 0.98))).title


def test_a_relation_nobody_knows_is_said_and_not_drawn(read):
    hostile = '"><script>alert(1)</script>'
    drawing = read(drawn(worst=(hostile, -0.1), unit=hostile))
    assert "alert(1)" in drawing.title
    assert "<script" not in drawing.markup
    assert "A" not in drawing.words


# --- What was not measured --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("back_to_back", "back-to-back B"),
        ("flange_thickness", "flange thickness T"),
        ("flange_depth", "flange depth D"),
        ("tyre_width", "tyre width N"),
        ("track_gauge", "track gauge G"),
        ("check_gauge", "check gauge C"),
        ("span", "span S"),
        ("flangeway_depth", "flangeway depth H"),
        ("frog_number", "frog number"),
    ],
)
def test_what_was_not_measured_is_dashed_and_named(read, key, name):
    drawing = read(drawn(**{key: None}))
    description = drawing.root.find("{http://www.w3.org/2000/svg}desc").text
    assert "Not measured" in description
    assert name in description.partition("Not measured")[2]
    assert "d-dash" in drawing.classes()
    assert "not measured" in " ".join(drawing.words)
    assert drawing.overlapping_labels() == []


def test_nothing_is_dashed_where_all_was_measured(read):
    drawing = read(drawn(worst=("span", 0.1)))
    assert "d-dash" not in drawing.classes()
    assert "not measured" not in " ".join(drawing.words)


def test_nothing_measured_at_all_is_still_a_drawing_and_says_so(read):
    nothing = dict.fromkeys(HO)
    for value in (None, float("nan"), -1.0, 0.0):
        drawing = read(wheelset_in_frog(**(nothing | dict.fromkeys(nothing, value))))
        assert {"B not measured", "S not measured", "G not measured"} <= set(drawing.words)
        assert "Sizes:" not in drawing.markup


def test_sizes_that_hang_together_stand_in_for_one_another(read):
    """C = G - Fg and S = C - F, the identities that NEM 110 (2009) prints for its own letters."""
    drawing = read(drawn(check_gauge=None, span=None, flangeway_guard=1.2, flangeway=1.1))
    gauge = 0.649 * INCH
    assert f"C {gauge - 1.2:.2f}" in drawing.words
    assert f"S {gauge - 2.3:.2f}" in drawing.words
    assert "not measured" not in " ".join(drawing.words)


# --- To scale ---------------------------------------------------------------------------------


def test_the_section_is_to_scale(read):
    drawing = read(drawn())
    level = [s for s in segments(drawing, "d-dim") if s[1] == s[3]]
    back, span, check, gauge = (abs(s[2] - s[0]) for s in level[:4])
    # The printed figures themselves: .5705, .564, .605 and .649 in.
    assert back / gauge == pytest.approx(0.5705 / 0.649, rel=2e-4)
    assert span / gauge == pytest.approx(0.564 / 0.649, rel=2e-4)
    assert check / gauge == pytest.approx(0.605 / 0.649, rel=2e-4)


def test_the_angle_of_the_frog_is_that_of_its_number(read):
    # US practice, centre-line method: No. 6 is 9 degrees 31 minutes 38 seconds (9.527).
    assert any("No. 6 frog, 9.5°" in words for words in read(drawn()).words)
    plan = Plan(meeting("span").sizes, (1.1, 15.6), 0.0, is_on_point=True, unit="mm")
    assert math.degrees(plan.angle) == pytest.approx(9 + 31 / 60 + 38 / 3600, abs=1e-3)


FORMULAS = {
    # NEM 110/310/311, supplement of 2009, in the letters of NMRA S-3.2 and S-4.2; tread support
    # is geometry: N - T - p - F / cos(angle), p the play or as far as the wing rail allows.
    "play": lambda w: w["G"] - w["B"] - 2 * w["T"],
    "frog-point protection": lambda w: w["C"] - w["B"] - w["T"],
    "span": lambda w: w["B"] - w["S"],
    "flangeway depth": lambda w: w["H"] - w["D"],
    "no drop-in": lambda w: w["B"] + w["N"] + w["T"] - w["G"],
    "tread support": lambda w: (
        w["N"]
        - w["T"]
        - min(w["G"] - w["B"] - 2 * w["T"], w["C"] - w["S"] - w["T"])
        - (w["C"] - w["S"]) / math.cos(2 * math.atan(1 / 12))
    ),
    "fastenings": lambda w: w["R"] - w["c"] - w["D"],
}


@settings(deadline=None)
@given(
    name=st.sampled_from(sorted(RELATIONS)),
    back=st.floats(13.8, 14.9),
    thickness=st.floats(0.4, 0.9),
    depth=st.floats(0.3, 1.2),
    width=st.floats(2.0, 3.0),
    check=st.floats(14.8, 15.8),
    way=st.floats(0.8, 1.5),
)
def test_what_is_drawn_is_the_margin_of_the_formula(
    name, back, thickness, depth, width, check, way
):
    found = meeting(
        name,
        back_to_back=back,
        flange_thickness=thickness,
        flange_depth=depth,
        tyre_width=width,
        check_gauge=check,
        span=check - way,
        rail_height=1.8,
        fastening_height=0.8,
    )
    letters = {
        "B": back, "T": thickness, "D": depth, "N": width, "G": 0.649 * INCH, "C": check,
        "S": check - way, "H": 0.028 * INCH, "R": 1.8, "c": 0.8,
    }  # fmt: skip
    first, second = found.spot.first, found.spot.second
    way_drawn = second[1] - first[1] if RELATIONS[name].is_upright else second[0] - first[0]
    assert way_drawn == pytest.approx(FORMULAS[name](letters), abs=1e-9)


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("play", {"track_gauge": 15.9}),
        ("frog-point protection", {"back_to_back": 14.9}),
        ("span", {"back_to_back": 14.1}),
        ("flangeway depth", {"flange_depth": 0.9}),
        ("fastenings", {"flange_depth": 1.2, "rail_height": 1.8, "fastening_height": 0.9}),
    ],
)
def test_metal_through_metal_is_shaded_only_where_it_would_be(read, name, changes):
    assert read(drawn(**changes, worst=(name, -0.1))).having("drawn-over")
    assert not read(drawn(worst=(name, 0.1))).having("drawn-over")


def test_clipping_keeps_the_part_inside():
    def area(shape):
        pairs = zip(shape, [*shape[1:], shape[0]], strict=True)
        return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2

    square = [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)]
    assert area(clipped(square, 1, 3, 1, 3)) == pytest.approx(1)
    assert area(clipped(square, -1, 3, -1, 3)) == pytest.approx(4)
    assert clipped(square, 3, 4, 0, 2) == []
    diamond = [(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)]
    assert area(clipped(diamond, 0, 9, -9, 9)) == pytest.approx(1)


def test_wrapping_loses_no_word():
    words = "the wheels jam on guard and wing rail"
    rows = wrapped(words, 120, 12)
    assert " ".join(rows) == words
    assert len(rows) > 1
    assert wrapped("", 120, 12) == []
    assert wrapped("unbreakablylongword", 20, 12) == ["unbreakablylongword"]


def test_decimals_are_taken_as_well(read):
    exact = {key: D(str(value)) for key, value in HO.items()}
    assert wheelset_in_frog(**exact, worst=("play", D("0.47"))) == drawn(worst=("play", 0.47))


# --- Whatever is measured ---------------------------------------------------------------------

gauges = st.floats(6, 90)
shares = {
    "back_to_back": st.none() | st.floats(0.3, 1.1),
    "flange_thickness": st.none() | st.floats(0.005, 0.2),
    "flange_depth": st.none() | st.floats(0.005, 0.25),
    "tyre_width": st.none() | st.floats(0.02, 0.5),
    "check_gauge": st.none() | st.floats(0.3, 1.2),
    "span": st.none() | st.floats(0.3, 1.2),
    "flangeway": st.none() | st.floats(0.005, 0.5),
    "flangeway_guard": st.none() | st.floats(0.005, 0.5),
    "flangeway_depth": st.none() | st.floats(0.005, 0.5),
    "rail_height": st.none() | st.floats(0.02, 0.5),
    "fastening_height": st.none() | st.floats(0.02, 0.5),
}


@settings(deadline=None)
@given(
    gauge=gauges,
    parts=st.fixed_dictionaries(shares),
    number=st.none() | st.floats(0.1, 40),
    name=st.none() | st.sampled_from(sorted(RELATIONS)),
    margin=st.floats(-5, 5),
    unit=st.sampled_from(["mm", "in"]),
)
def test_labels_never_overlap_and_stay_on_the_sheet(
    read, gauge, parts, number, name, margin, unit
):
    sizes = {key: share and share * gauge for key, share in parts.items()}
    worst = None if name is None else (name, margin)
    drawing = read(
        wheelset_in_frog(**sizes, track_gauge=gauge, frog_number=number, worst=worst, unit=unit)
    )
    assert "nan" not in drawing.markup and "inf" not in drawing.markup
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []
