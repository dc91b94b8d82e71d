import re
from decimal import Decimal as D
from pathlib import Path

import pytest
from django.template import Context, Engine

import inventory.drawing
from inventory.drawing.bars import Bar, Share, bars, shares
from inventory.drawing.curve import vehicle_on_curve
from inventory.drawing.frog import RELATIONS, wheelset_in_frog
from inventory.drawing.jaws import GUIDES, jaws_picture
from inventory.drawing.marks import verdict_mark
from inventory.drawing.profile import wheel_profile
from inventory.drawing.siding import siding
from inventory.drawing.strip import tolerance_strip
from inventory.drawing.track_jaws import TRACK_GUIDES
from inventory.drawing.trend import trend
from inventory.drawing.wheelset import wheelset_in_gauge
from standards.curves import Body

ENGINE = Engine(libraries={"drawing": "inventory.drawing.templatetags.drawing"})
WHEEL = {"tyre_width": D("2.79"), "flange_depth": D("0.64"), "flange_thickness": D("0.76")}


def rendered(source, **context):
    return ENGINE.from_string("{% load drawing %}" + source).render(Context(context))


def test_mark_tag_and_tone_filter():
    assert rendered("{% verdict_mark word %}", word="within") == verdict_mark("within")
    assert rendered("{{ word|tone }}", word="undecided") == "d-maybe"


def test_strip_tag_takes_a_missing_variable_for_a_missing_number():
    source = (
        "{% tolerance_strip value=v low=l high=none_such expanded=e outcome='within' unit='mm' %}"
    )
    assert rendered(source, v=D("14.4"), l=D("14.3"), e=0.04) == tolerance_strip(
        value=D("14.4"), low=D("14.3"), high=None, expanded=0.04, outcome="within", unit="mm"
    )


def test_strip_tag_takes_decimals_and_nominal():
    source = "{% tolerance_strip value=v nominal=v outcome='within' unit='g' decimals=0 %}"
    assert "142 g" in rendered(source, v=D("142.4"))


def test_jaws_tags():
    assert rendered("{% jaws q %}", q="mass") == jaws_picture("mass")
    assert rendered("{% jaws_caption q %}", q="coupler_height") == (
        "rail top to the coupler&#x27;s centre line"
    )
    assert rendered("{% jaws none_such %}{% jaws_caption none_such %}") == ""


def test_trend_tag():
    points = [("2026-11-25", D("14.4"))]
    assert rendered("{% trend points l h 'mm' %}", points=points, l=D("14.3")) == trend(
        points, D("14.3"), None, "mm"
    )
    assert rendered("{% trend none_such l h 'mm' %}") == ""


def test_wheel_tags():
    source = "{% wheel_profile tyre_width=n flange_depth=d flange_thickness=t unit='mm' %}"
    n, d, t = WHEEL.values()
    assert rendered(source, n=n, d=d, t=t) == wheel_profile(**WHEEL, nominal=None)
    source = (
        "{% wheelset_in_gauge back_to_back=b tyre_width=n flange_depth=d flange_thickness=t"
        " track_gauge=g %}"
    )
    assert rendered(source, n=n, d=d, t=t, b=D("14.4"), g=D("16.5")) == wheelset_in_gauge(
        **WHEEL, back_to_back=D("14.4"), track_gauge=D("16.5"), unit="mm"
    )


FROG = WHEEL | {"back_to_back": D("14.4"), "track_gauge": D("16.5"), "frog_number": 6}
CAR = Body(140, 105, 19.2, 37)
SIDING = {
    "measured_mm": 737,
    "deductions": [("clearance point", 110)],
    "clear_mm": 627,
    "standing": [("T&W 4127", 140)],
    "fits": [],
    "ends": ("turnout", "buffer stop"),
    "name": "Mill",
}


def test_frog_and_curve_tags_take_a_mapping():
    sizes = FROG | {"worst": ("play", D("0.58"))}
    assert rendered("{% wheelset_in_frog sizes %}", sizes=sizes) == wheelset_in_frog(**sizes)
    assert "not measured" in rendered("{% wheelset_in_frog s %}", s={"track_gauge": D("16.5")})
    curve = {"radius": D("457.2"), "gauge": D("16.5"), "vehicle": CAR}
    assert rendered("{% vehicle_on_curve sizes %}", sizes=curve) == vehicle_on_curve(**curve)
    assert rendered("{% wheelset_in_frog none %}{% vehicle_on_curve none %}") == ""


def every_drawing():
    strips = [
        tolerance_strip(
            value=value, low=low, high=high, expanded=0.05, outcome=outcome, unit="mm",
            nominal=D(2),
        )
        for value in (None, D("2.1"), D(90))
        for low, high in ((D(1), D(3)), (D(1), None), (None, D(3)), (None, None))
        for outcome in ("within", "outside", "undecided", "not judged")
    ]  # fmt: skip
    gauge = {"back_to_back": None, "track_gauge": D("16.5"), "unit": "mm"}
    nominal = WHEEL | {"back_to_back": D("14.4")}
    return [
        *strips,
        tolerance_strip(
            value=D(1),
            low=D(1),
            high=D("1.1"),
            expanded=9,
            outcome="undecided",
            unit="mm",
            decimals=8,
        ),
        *(jaws_picture(quantity) for quantity in [*GUIDES, *TRACK_GUIDES]),
        trend([("a", D(1)), ("b", D(2)), ("c", D(9))], D(1), D(2), "mm"),
        trend([("a", D(1))], D(1), None, "mm"),
        wheel_profile(**WHEEL, nominal=WHEEL),
        wheelset_in_gauge(**WHEEL, **gauge, nominal=nominal),
        *(wheelset_in_frog(**FROG, worst=(name, -0.05)) for name in RELATIONS),
        wheelset_in_frog(**FROG),
        vehicle_on_curve(
            radius=457.2, gauge=16.5, vehicle=CAR, neighbour=CAR, second=CAR, centres=50
        ),
        siding(**SIDING),
        bars([Bar("a", D(1), "1", "1 of 1"), Bar("b", None, "not stated")], title="Worth"),
        shares([Share(name, 1) for name in "abcd"], title="Stock"),
        *(verdict_mark(word) for word in ("within", "fit with advice", "awaiting inspection")),
    ]


@pytest.fixture(scope="module")
def rules():
    sheet = Path(inventory.drawing.__file__).parent / "static/drawing/drawing.css"
    return sheet.read_text(encoding="utf-8")


def test_stylesheet_knows_every_class_used(rules):
    used = {
        name
        for markup in every_drawing()
        for names in re.findall(r'class="([^"]*)"', markup)
        for name in names.split()
    }
    known = set(re.findall(r"\.(d-[a-z0-9-]+)", rules))
    # The general rules are theirs, or they are the siding's own.
    plain = {"d-line", "d-caption", "drawn-narrow", "drawn-over"}
    assert used - known - plain == set()
    assert known - used == set()


def test_stylesheet_takes_every_colour_from_the_page(rules):
    assert not re.search(r"#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(", rules)
    assert set(re.findall(r"var\((--[a-z]+)\)", rules)) <= {
        "--ink", "--soft", "--hair", "--accent", "--ok", "--no", "--maybe", "--none", "--zone",
        "--paper", "--sheet",
    }  # fmt: skip


def test_no_drawing_carries_a_colour_of_its_own():
    for markup in every_drawing():
        assert not re.search(r"(fill|stroke)=|#[0-9a-f]{3}", markup)
