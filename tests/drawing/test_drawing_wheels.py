"""The contour is held against NMRA RP-25; its numbers here are typed from that sheet."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.drawing.profile import wheel_profile
from inventory.drawing.shapes import Tyre
from inventory.drawing.wheelset import wheelset_in_gauge

CODE_110 = {
    "name": "RP-25 code 110",
    "tyre_width": D("2.794"),
    "flange_thickness": D("0.762"),
    "flange_depth": D("0.635"),
    "gauging_point": D("0.254"),
}
HO = {
    "back_to_back": D("14.40"),
    "flange_thickness": D("0.76"),
    "tyre_width": D("2.79"),
    "flange_depth": D("0.64"),
    "track_gauge": D("16.5"),
    "unit": "mm",
}


def width_at(points, depth):
    """Where the flange's front lies, that far from the tread: first crossing from the tip on."""
    tip = max(range(len(points)), key=lambda n: points[n][1])
    for (x1, y1), (x2, y2) in zip(points[tip:], points[tip + 1 :], strict=False):
        if y1 >= depth >= y2:
            return x1 + (x2 - x1) * (y1 - depth) / (y1 - y2)
    raise AssertionError("the front never comes down to the tread")


@pytest.mark.parametrize(
    ("n", "t", "d", "p", "r1"),
    [
        (0.175, 0.048, 0.045, 0.015, 0.025),
        (0.126, 0.036, 0.028, 0.012, 0.018),
        (0.110, 0.030, 0.025, 0.010, 0.014),
        (0.088, 0.025, 0.023, 0.008, 0.012),
        (0.054, 0.014, 0.016, 0.007, 0.008),
    ],
)
def test_contour_follows_rp_25(n, t, d, p, r1):
    tyre = Tyre(n, t, d, p)
    points = tyre.outline(n)
    assert max(x for x, _ in points) == pytest.approx(n)
    assert max(y for _, y in points) == pytest.approx(d)
    assert width_at(points, p) == pytest.approx(t)
    # The fillet of radius R1 through the gauging point meets the tread this far from the flange.
    assert tyre.tread - t == pytest.approx((r1**2 - (r1 - p) ** 2) ** 0.5, rel=0.35)


@given(
    width=st.floats(0.5, 20),
    thickness=st.floats(0.1, 0.9),
    depth=st.floats(0.05, 10),
    plane=st.none() | st.floats(0.01, 10),
)
def test_contour_of_any_wheel_runs_once_round(width, thickness, depth, plane):
    tyre = Tyre(width, thickness * width, depth, plane)
    points = tyre.outline(width)
    tip = max(range(len(points)), key=lambda n: points[n][1])
    down, up = points[: tip + 1], points[tip:]
    assert [y for _, y in down] == sorted(y for _, y in down)
    assert [x for x, _ in up] == sorted(x for x, _ in up)
    assert all(-1e-9 <= x <= width + 1e-9 for x, _ in points)


def test_profile_says_what_was_measured_and_against_what(read):
    drawing = read(
        wheel_profile(
            tyre_width=D("2.80"),
            flange_depth=D("0.90"),
            flange_thickness=D("0.70"),
            nominal=CODE_110,
        )
    )
    assert drawing.title == (
        "Wheel contour to scale, against RP-25 code 110 dashed: "
        "tyre width 2.80 mm, flange thickness 0.70 mm, flange depth 0.90 mm."
    )
    assert {"N 2.80", "T 0.70", "D 0.90"} <= set(drawing.words)
    assert drawing.having("d-nominal")


def test_profile_brackets_what_was_not_measured(read):
    drawing = read(
        wheel_profile(
            tyre_width=D("2.75"), flange_depth=D("0.66"), flange_thickness=None, nominal=CODE_110
        )
    )
    assert "(T 0.76)" in drawing.words
    assert "in brackets: T nominal, not measured" in drawing.words
    assert "flange thickness 0.76 mm (nominal, not measured)" in drawing.title


def test_profile_without_nominal_has_no_overlay(read):
    drawing = read(
        wheel_profile(
            tyre_width=0.088, flange_depth=0.023, flange_thickness=0.025, nominal=None, unit="in"
        )
    )
    assert "N 0.088" in drawing.words
    assert not drawing.having("d-nominal")


@pytest.mark.parametrize("thickness", [None, D(0), D(-1), D("NaN"), D(3)])
def test_profile_of_what_is_no_wheel_is_empty(thickness):
    drawing = wheel_profile(
        tyre_width=D("2.8"), flange_depth=D("0.6"), flange_thickness=thickness, nominal=None
    )
    assert drawing == ""


def test_profile_escapes_a_hostile_name(read):
    drawing = read(
        wheel_profile(
            tyre_width=None,
            flange_depth=None,
            flange_thickness=None,
            nominal=CODE_110 | {"name": "<script>&" * 9},
        )
    )
    assert "<script" not in drawing.markup
    assert drawing.labels_outside() == []


@given(
    width=st.floats(0.5, 30),
    thickness=st.floats(0.05, 0.95),
    depth=st.floats(0.05, 9),
    measured=st.booleans(),
)
def test_profile_labels_never_overlap(read, width, thickness, depth, measured):
    drawing = read(
        wheel_profile(
            tyre_width=width,
            flange_depth=depth,
            flange_thickness=thickness * width if measured else None,
            nominal=None if measured else CODE_110 | {"flange_thickness": thickness * width},
        )
    )
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []


def test_wheelset_says_its_dimensions_and_its_play(read):
    drawing = read(wheelset_in_gauge(**HO))
    # 16.5 - (14.40 + 2 x 0.76) = 0.58
    assert drawing.title == (
        "Wheelset in the gauge, to scale: back-to-back 14.40 mm, tyre width 2.79 mm, "
        "flange thickness 0.76 mm, flange depth 0.64 mm; track gauge 16.50 mm; "
        "0.58 mm of play in the gauge."
    )
    assert {"B 14.40", "G 16.50", "0.58 mm of play in the gauge"} == set(drawing.words)
    assert not drawing.having("d-dash")


def test_wheelset_wider_than_the_gauge_says_so(read):
    drawing = read(wheelset_in_gauge(**HO | {"back_to_back": D("15.20")}))
    assert "0.22 mm too wide for the gauge" in drawing.words


def test_wheelset_draws_what_was_not_measured_dashed_and_says_so(read):
    drawing = read(
        wheelset_in_gauge(
            **HO | {"back_to_back": None}, nominal=CODE_110 | {"back_to_back": D("14.38")}
        )
    )
    assert "(B 14.38)" in drawing.words
    assert "in brackets: B nominal, not measured" in drawing.words
    assert drawing.having("d-dash")
    assert "back-to-back 14.38 mm (nominal, not measured)" in drawing.title


@pytest.mark.parametrize("missing", ["back_to_back", "tyre_width", "track_gauge"])
def test_wheelset_with_nothing_to_go_by_is_empty(missing):
    assert wheelset_in_gauge(**HO | {missing: None}) == ""


def test_wheelset_is_to_scale(read):
    drawing = read(wheelset_in_gauge(**HO))
    spans = []
    for node in drawing.having("d-dim"):
        (x1, _), (x2, _) = (map(float, p.split()) for p in node.get("d")[1:].split("L"))
        spans.append(x2 - x1)
    back_to_back, gauge = sorted(spans)
    assert back_to_back / gauge == pytest.approx(14.4 / 16.5, rel=0.001)


@given(
    gauge=st.floats(6, 89),
    back=st.floats(0.7, 1.1),
    tyre=st.floats(0.06, 0.3),
    flange=st.floats(0.2, 0.6),
)
def test_wheelset_labels_never_overlap(read, gauge, back, tyre, flange):
    drawing = read(
        wheelset_in_gauge(
            back_to_back=gauge * back,
            tyre_width=gauge * tyre,
            flange_thickness=gauge * tyre * flange,
            flange_depth=gauge * 0.05,
            track_gauge=gauge,
            unit="mm",
        )
    )
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []
