"""More vehicles than a page can hold: who is offered, and what the pages say."""

from __future__ import annotations

import re
from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse

from inventory.stock.models import Vehicle
from inventory.track import asking, offering
from inventory.track.models import Home, HomeTrack, Industry, Place, Railway, Track
from inventory.track.offering import offer
from inventory.track.standing import put
from inventory.trouble.models import Incident
from tests.factories import exact_instrument, make_vehicle, measure

pytestmark = pytest.mark.django_db


@pytest.fixture
def railway(db) -> Railway:
    return Railway.objects.create(name="Alder Branch", family="nem", scale="H0")


@pytest.fixture
def track(railway) -> Track:
    place = Place.objects.create(railway=railway, name="Tarn", position=1)
    return Track.objects.create(
        place=place,
        name="Siding",
        measured=Decimal(500),
        a_reference="clearance mark",
        b_reference="clearance mark",
    )


def make_car(by, number: str, **facts) -> Vehicle:
    vehicle = make_vehicle(
        by, number=number, reporting_mark="Alb", family="nem", scale="H0", **facts
    )
    measure(vehicle, by, {("length_over_couplers", ""): "120 mm"}, exact_instrument())
    Vehicle.objects.filter(pk=vehicle.pk).update(service="fit to run")
    return Vehicle.objects.get(pk=vehicle.pk)


@pytest.fixture
def cars(owner) -> list[Vehicle]:
    return [make_car(owner, str(number)) for number in range(1, 6)]


@pytest.fixture
def page(client, owner):
    client.force_login(owner)

    def get(name: str, *args, **query) -> str:
        answer = client.get(reverse(name, args=args), query)
        assert answer.status_code == 200
        main = answer.content.decode().partition("<main")[2]
        return " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())

    return get


def numbers(found) -> list[str]:
    return [each.number for each in found.vehicles]


def test_offer_when_there_are_no_more_than_a_page_holds_then_leaves_nobody_out(
    monkeypatch, cars, railway, django_assert_num_queries
):
    monkeypatch.setattr(offering, "MOST_OFFERED", 5)
    with django_assert_num_queries(1):
        found = offer(Vehicle.objects.all(), railway=railway)

    assert numbers(found) == ["1", "2", "3", "4", "5"]
    assert not found.has_more
    assert not found.is_shown


def test_offer_when_there_are_more_then_those_of_the_railway_come_first(
    monkeypatch, cars, railway, track
):
    monkeypatch.setattr(offering, "MOST_OFFERED", 4)
    industry = Industry.objects.create(place=track.place, name="Mill")
    Home.objects.create(vehicle=cars[4], industry=industry)
    HomeTrack.objects.create(vehicle=cars[3], track=track)
    put(vehicles=[cars[2]], track=track)

    found = offer(Vehicle.objects.all(), railway=railway)

    assert numbers(found) == ["3", "4", "5", "1"]
    assert found.has_more


def test_offer_when_words_are_typed_then_only_those_are_offered_and_whom_was_picked(
    monkeypatch, cars, railway
):
    monkeypatch.setattr(offering, "MOST_OFFERED", 2)

    found = offer(
        Vehicle.objects.all(),
        words="alb 4",
        railway=railway,
        keep=[str(cars[0].pk), "x", "9" * 30],
    )

    assert numbers(found) == ["1", "4"]
    assert not found.has_more
    assert found.is_shown


def test_page_of_a_track_when_not_all_are_asked_then_says_so_and_asks_those_that_are_named(
    monkeypatch, page, cars, track
):
    assert "there are more" not in page("track:track", track.pk)
    assert "5 would fit now" in page("track:track", track.pk)
    monkeypatch.setattr(offering, "MOST_OFFERED", 2)

    words = page("track:track", track.pk)
    assert (
        "Only 2 vehicles are looked at here, those of this railway first: there are more." in words
    )
    assert "2 would fit now" in words
    assert "Alb 5" not in words

    words = page("track:track", track.pk, among="Alb 5")
    assert "Only vehicles with “Alb 5” are looked at here." in words
    assert "1 would fit now" in words
    assert "1 vehicle, 120.0 mm" in words


@pytest.mark.parametrize(
    "name", ["track:trains", "track:arrange", "track:report", "trackwork:pairs"]
)
def test_page_of_a_railway_when_not_all_are_asked_then_says_so(
    monkeypatch, page, cars, railway, track, name
):
    monkeypatch.setattr(offering, "MOST_OFFERED", 2)

    assert "Only 2 vehicles are looked at here" in page(name, railway.pk)
    narrowed = page(name, railway.pk, among="Alb 5")
    assert "Only vehicles with “Alb 5” are looked at here." in narrowed
    assert "cannot be asked yet" not in narrowed


def test_curve_page_when_the_other_is_not_among_those_offered_then_is_taken_all_the_same(
    monkeypatch, page, cars
):
    monkeypatch.setattr(offering, "MOST_OFFERED", 2)
    query = {"radius": "600", "neighbour": cars[4].pk, "coupler": "9"}

    words = page("trackwork:curve", cars[0].pk, **query)

    assert "Only 3 vehicles are looked at here" not in words
    assert "Only 2 vehicles are looked at here" in words
    assert "Pick the other vehicle" not in words


def test_report_when_the_vehicle_is_beyond_those_offered_then_is_kept(
    monkeypatch, client, owner, cars, railway, track
):
    monkeypatch.setattr(offering, "MOST_OFFERED", 2)
    client.force_login(owner)
    address = reverse("trouble:report-on", args=[railway.pk])
    assert "Only 2 vehicles are looked at here" in client.get(address).content.decode()

    sent = {"first": cars[4].pk, "where": f"track-{track.pk}", "happened": "straight"}
    assert client.post(address, sent).status_code == 302

    assert Incident.objects.get().involved.get().vehicle == cars[4]


def test_where_it_fits_when_there_are_many_railways_then_some_stand_on_each_page(
    monkeypatch, page, cars, railway, track
):
    other = Railway.objects.create(name="Birch Line", family="nem", scale="H0")
    place = Place.objects.create(railway=other, name="Moor", position=1)
    marks = {"a_reference": "clearance mark", "b_reference": "clearance mark"}
    Track.objects.create(place=place, name="Loop", measured=Decimal(300), **marks)
    both = page("track:for-vehicle", cars[0].pk)
    assert "Siding" in both
    assert "Loop" in both
    monkeypatch.setattr(asking, "RAILWAYS_A_PAGE", 1)

    first, second = (page("track:for-vehicle", cars[0].pk, page=n) for n in (1, 2))

    assert "Siding" in first
    assert "Loop" not in first
    assert "Other railways" in first
    assert "Loop" in second
    assert "Railways before" in second
