"""The clear length of a track from what was measured, end by end."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from inventory.stock.recording import finish_inspection, open_inspection, record
from inventory.stock.taking import Entry
from inventory.track import clearing as clearing_module
from inventory.track.clearing import Widest, clearing_of
from inventory.track.fit import stood
from inventory.track.models import Place, Railway, Track, Turnout
from standards.judging import Service
from tests.factories import exact_instrument, make_vehicle, measure

pytestmark = pytest.mark.django_db


@pytest.fixture
def railway(db) -> Railway:
    """H0 of NEM 010, whose gauge is 16.5 mm, with 3 mm of air between vehicles."""
    made = Railway.objects.create(name="Alder Branch", family="nem", scale="H0")
    Place.objects.create(railway=made, name="Yard", position=1)
    return made


def widest_vehicle(owner, width: str = "47 mm", **sizes: str):
    """With 47 mm and 3 mm of air between, straight tracks clear at centres of 50 mm."""
    vehicle = make_vehicle(owner, family="nem", scale="H0", reporting_mark="Alb", number="7")
    readings = {("body_width", ""): width, **{(name, ""): text for name, text in sizes.items()}}
    measure(vehicle, owner, readings, exact_instrument())
    return vehicle


def turnout(railway: Railway, **facts) -> Turnout:
    chosen = {"name": "1", "frog_number": Decimal(6), **facts}
    return Turnout.objects.create(place=railway.places.get(), **chosen)


def track(railway: Railway, **facts) -> Track:
    chosen = {"name": "Spur", "measured": Decimal(1000), "a_reference": "clearance mark", **facts}
    return Track.objects.create(place=railway.places.get(), **chosen)


def clearing(railway: Railway, **facts):
    return clearing_of(track(railway, **facts), railway, Widest.of(railway))


def amounts(found) -> list[tuple[str, float]]:
    return [(each.name, round(each.amount_mm, 3)) for each in found.deductions]


# Computed independently from the textbook formulas C(4N^2+1)/(4N) - GN along the diverging leg
# and C(N - 1/4N) - GN along the main, with N = 6, G = 16.5 mm and C = 50 mm: 203.083 and
# 198.917 mm. What comes off is rounded up to a tenth, so that the figures shown add up.
@pytest.mark.parametrize(
    ("leg", "amount", "clear"),
    [("diverging", 203.1, "796.9"), ("main", 199.0, "801.0")],
)
def test_frog_when_straight_then_its_leg_comes_off(railway, owner, leg, amount, clear):
    widest_vehicle(owner)
    found = clearing(railway, a_reference="frog", a_turnout=turnout(railway), a_leg=leg)
    assert amounts(found) == [("frog to clearance point", amount), ("buffer stop", 0.0)]
    assert found.clear_mm == Decimal(clear)
    assert (found.problem, found.warning) == ("", "")


def test_points_when_measured_from_then_the_lead_to_the_frog_comes_off_besides(railway, owner):
    widest_vehicle(owner)
    lead = turnout(railway, points_to_frog=Decimal(130))
    found = clearing(railway, a_reference="points", a_turnout=lead)
    # 130 mm and the 203.083 mm of C(4N^2+1)/(4N) - GN, up to a tenth.
    assert amounts(found)[0] == ("points to clearance point", 333.1)
    assert found.clear_mm == Decimal("666.9")


def test_points_when_the_lead_is_not_measured_then_it_is_asked_for(railway, owner):
    widest_vehicle(owner)
    found = clearing(railway, a_reference="points", a_turnout=turnout(railway))
    assert found.clear_mm is None
    assert "measure from the tips of the points to the frog point" in found.problem


def test_siding_when_between_two_frogs_then_both_ends_come_off(railway, owner):
    widest_vehicle(owner)
    one, two = turnout(railway), turnout(railway, name="2")
    found = clearing(railway, a_reference="frog", a_turnout=one, b_reference="frog", b_turnout=two)
    # 1000 mm less 203.083 mm twice.
    assert found.clear_mm == Decimal("593.8")


@pytest.mark.parametrize("reference", ["clearance mark", "buffer stop", "joint", "table edge"])
def test_end_when_it_is_no_turnout_then_nothing_comes_off_and_no_width_is_asked(
    railway, reference
):
    found = clearing(railway, a_reference=reference, b_reference=reference)
    assert amounts(found) == [(reference, 0.0), (reference, 0.0)]
    assert found.clear_mm == Decimal(1000)


def test_frog_when_no_width_was_measured_then_says_what_to_measure(railway, owner):
    make_vehicle(owner, family="nem", scale="H0")
    found = clearing(railway, a_reference="frog", a_turnout=turnout(railway))
    assert (found.length, found.clear_mm, found.deductions) == (None, None, ())
    assert found.problem == (
        "No width of any vehicle in H0 was measured: measure the widest at the bench, or measure "
        "this track from a clearance mark."
    )


def test_width_when_of_another_scale_then_does_not_count(railway, owner):
    vehicle = make_vehicle(owner, family="nem", scale="N", number="3")
    measure(vehicle, owner, {("body_width", ""): "20 mm"}, exact_instrument())
    assert Widest.of(railway) == Widest(None, "", ())


@pytest.mark.parametrize("looked_at", [1, 20])
def test_widest_when_it_was_measured_again_and_is_narrower_then_the_next_one_counts(
    monkeypatch, railway, owner, looked_at
):
    monkeypatch.setattr(clearing_module, "_LOOKED_AT", looked_at)
    for number, widths in (("1", ("60", "41")), ("2", ("55", "40")), ("3", ("9.5", "46.5"))):
        vehicle = make_vehicle(owner, family="nem", scale="H0", number=number)
        for day, width in enumerate(widths, start=1):
            moment = timezone.now() - timedelta(days=9 - day)
            told = {"vehicle": vehicle, "by": owner, "moment": moment}
            inspection = open_inspection(reason="new", **told)
            entry = Entry(
                "body_width", "", exact_instrument(), typed=f"{width} mm", is_certain=True
            )
            record(inspection=inspection, entries=[entry], by=owner, moment=moment)
            finish_inspection(
                inspection=inspection, service=Service.ADVICE, statement="x", by=owner
            )

    found = Widest.of(railway)

    assert (found.width, found.name) == (46.5, "BRV 3")


def test_widest_when_several_were_measured_then_is_the_widest_of_their_latest(railway, owner):
    widest_vehicle(owner, "47 mm")
    other = make_vehicle(owner, family="nem", scale="H0", reporting_mark="Gw", number="2")
    measure(other, owner, {("body_width", ""): "34 mm"}, exact_instrument())
    found = Widest.of(railway)
    assert (found.width, found.name) == (47.0, "Alb 7")


def test_frog_when_no_turnout_is_named_then_asks_for_it(railway, owner):
    widest_vehicle(owner)
    found = clearing(railway, a_reference="frog")
    assert found.problem == (
        "It was measured from the frog, but no turnout is named: pick the turnout."
    )


def test_curved_turnout_when_nobody_throws_then_its_curve_decides(railway, owner):
    widest_vehicle(owner)
    curved = turnout(railway, frog_number=None, diverging_radius=Decimal(600))
    found = clearing(railway, a_reference="frog", a_turnout=curved)
    # Computed independently: R acos(1 - C/R) - 2R atan sqrt(G/2R), R = 600, C = 50, G = 16.5 mm,
    # which is 106.610 mm.
    assert amounts(found)[0] == ("frog to clearance point", 106.7)
    assert found.clear_mm == Decimal("893.3")


def test_curved_turnout_when_the_straight_leg_is_measured_then_its_tangent_decides(railway, owner):
    widest_vehicle(owner)
    curved = turnout(railway, frog_number=None, diverging_radius=Decimal(600))
    found = clearing(railway, a_reference="frog", a_turnout=curved, a_leg="main")
    # Computed independently: sqrt(2RC - C^2) - sqrt(2RG), R = 600, C = 50, G = 16.5 mm, 99.079 mm.
    assert amounts(found)[0] == ("frog to clearance point", 99.1)


def test_curved_turnout_when_a_coach_throws_then_the_tracks_clear_later(railway, owner):
    widest_vehicle(owner, body_length="280 mm", pivot_distance="190 mm")
    curved = turnout(railway, frog_number=None, diverging_radius=Decimal(600))
    found = clearing(railway, a_reference="frog", a_turnout=curved)
    # Computed independently: the corner sqrt((h + W/2)^2 + L^2/4) - R with h = sqrt(R^2 - p^2/4)
    # reaches 8.142 mm beyond half the width, so that C = 58.142 mm in the formula above,
    # and 126.249 mm come off.
    assert amounts(found)[0] == ("frog to clearance point", 126.3)


def test_curved_turnout_when_a_vehicle_cannot_go_there_then_it_does_not_hide_the_length(
    railway, owner
):
    widest_vehicle(owner, body_length="280 mm", pivot_distance="210 mm")
    curved = turnout(railway, frog_number=None, diverging_radius=Decimal(100))
    found = clearing(railway, a_reference="frog", a_turnout=curved)
    assert found.problem == ""
    assert found.clear_mm is not None


def test_track_when_more_comes_off_than_was_measured_then_names_the_largest(railway, owner):
    widest_vehicle(owner)
    found = clearing(
        railway, measured=Decimal(150), a_reference="frog", a_turnout=turnout(railway)
    )
    assert found.clear_mm is None
    assert found.problem == (
        "Of 150 mm measured, 203.1 mm would come off, most of it “frog to clearance point” with "
        "203.1 mm. Nothing stands clear here; see whether both ends were measured from where you "
        "said."
    )


def test_centres_when_too_close_ever_to_clear_then_warns_in_words(railway, owner):
    widest_vehicle(owner)
    found = clearing(railway, final_centres=Decimal(45))
    assert found.too_close == (
        "The tracks run on 45 mm apart and 50 mm is needed: they are too close ever to clear. "
        "Spread them, or keep wide vehicles off one of them."
    )
    assert found.clear_mm == Decimal(1000)


@pytest.mark.parametrize("centres", ["50", "60"])
def test_centres_when_just_enough_or_more_then_nothing_is_warned_of(railway, owner, centres):
    widest_vehicle(owner)
    assert clearing(railway, final_centres=Decimal(centres)).warning == ""


def test_centres_when_no_width_was_measured_then_nothing_is_claimed(railway):
    assert clearing(railway, final_centres=Decimal(20)).warning == ""


def test_limits_when_the_length_cannot_be_told_then_are_none(railway):
    track(railway, a_reference="frog", a_turnout=turnout(railway))
    here = stood(railway)[0]
    assert (here.limits, here.room_mm, here.taken_mm) == (None, None, Decimal("0.0"))
