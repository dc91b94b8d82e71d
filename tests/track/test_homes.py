"""Homes at industries and home tracks: one writer, and every move noted."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.stock.models import Change
from inventory.track.homes import give_homes, homeless_by, set_home_track, take_homes
from inventory.track.models import Home, HomeTrack, Industry, Place, Railway, Track, Turnout
from tests.factories import make_person, make_vehicle

pytestmark = pytest.mark.django_db


@pytest.fixture
def place(db) -> Place:
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    return Place.objects.create(railway=railway, name="Tarn", position=1)


def make_track(place: Place, name: str, **facts) -> Track:
    ends = {"a_reference": "clearance mark", "b_reference": "clearance mark", **facts}
    return Track.objects.create(place=place, name=name, measured=500, **ends)


def noted() -> list[tuple[str, ...]]:
    return list(
        Change.objects.order_by("pk").values_list("vehicle__number", "what", "before", "after")
    )


def test_homes_when_given_and_taken_then_each_is_noted_once(owner, place):
    mill = Industry.objects.create(place=place, name="Mill")
    one, two = make_vehicle(owner, number="1"), make_vehicle(owner, number="2")
    assert give_homes(industry=mill, vehicles=[one], by=owner) == [one]
    # One that has a home there is neither given it twice nor noted again.
    assert give_homes(industry=mill, vehicles=[one, two], by=owner) == [two]
    assert take_homes(industry=mill, vehicles=[one], by=owner) == [one]
    assert take_homes(industry=mill, vehicles=[one], by=owner) == []
    assert [home.vehicle for home in Home.objects.all()] == [two]
    assert noted() == [
        ("1", "home", "", "Mill, Tarn"),
        ("2", "home", "", "Mill, Tarn"),
        ("1", "home", "Mill, Tarn", ""),
    ]


def test_home_track_when_moved_then_what_from_what_is_noted(owner, place):
    spur, loop = make_track(place, "Spur"), make_track(place, "Loop")
    car = make_vehicle(owner, number="1")
    for track in (spur, spur, loop, None, None):
        set_home_track(vehicle=car, track=track, by=owner)
    assert not HomeTrack.objects.exists()
    assert noted() == [
        ("1", "home track", "", "Spur, Tarn"),
        ("1", "home track", "Spur, Tarn", "Loop, Tarn"),
        ("1", "home track", "Loop, Tarn", ""),
    ]


def test_homes_when_posted_by_a_page_then_are_noted_with_who(client, owner, place):
    client.force_login(make_person("second"))
    mill, spur = Industry.objects.create(place=place, name="Mill"), make_track(place, "Spur")
    car = make_vehicle(owner, number="1")
    address = reverse("track:assign-home", args=[mill.pk])
    client.post(address, {"vehicle": car.pk})
    client.post(address, {"vehicle": car.pk, "do": "leave"})
    client.post(reverse("track:home-track", args=[car.pk]), {"track": spur.pk})
    assert [row[1:] for row in noted()] == [
        ("home", "", "Mill, Tarn"),
        ("home", "Mill, Tarn", ""),
        ("home track", "", "Spur, Tarn"),
    ]
    assert {change.by.username for change in Change.objects.all()} == {"second"}


@pytest.mark.parametrize("what", ["railway", "place", "industry", "track"])
def test_homes_when_their_part_of_the_railway_is_removed_then_that_is_noted(
    client, owner, place, what
):
    client.force_login(owner)
    mill, spur = Industry.objects.create(place=place, name="Mill"), make_track(place, "Spur")
    car = make_vehicle(owner, number="1")
    give_homes(industry=mill, vehicles=[car], by=owner)
    set_home_track(vehicle=car, track=spur, by=owner)
    part = {"railway": place.railway, "place": place, "industry": mill, "track": spur}[what]

    client.post(reverse("track:remove", args=[what, part.pk]))

    gone = [(row[1], row[2]) for row in noted()[2:]]
    expected = {"track": ["home track"], "industry": ["home"]}.get(what, ["home", "home track"])
    names = {"home": "Mill, Tarn", "home track": "Spur, Tarn"}
    assert gone == [(each, names[each]) for each in expected]
    assert Change.objects.last().note == f"{part} was removed"


def test_homes_when_their_place_cannot_be_removed_then_stay_and_nothing_is_noted(
    client, owner, place
):
    client.force_login(owner)
    mill = Industry.objects.create(place=place, name="Mill")
    points = Turnout.objects.create(place=place, name="East", frog_number=6)
    beyond = Place.objects.create(railway=place.railway, name="Moor", position=2)
    make_track(beyond, "Loop", a_reference="points", a_turnout=points)
    give_homes(industry=mill, vehicles=[make_vehicle(owner, number="1")], by=owner)

    answer = client.post(reverse("track:remove", args=["place", place.pk]), follow=True)

    assert "was not removed" in answer.content.decode()
    assert Home.objects.count() == len(noted()) == 1


def test_homes_when_nothing_is_at_home_there_then_nothing_is_noted(owner, place):
    homeless_by(part=place, by=owner)
    assert noted() == []
