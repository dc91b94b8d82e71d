"""What the pages of the tracks answer when tracks are full, pages stale, or lengths unknown."""

from __future__ import annotations

import re
from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse

from inventory.stock.models import Vehicle
from inventory.track.models import Place, Railway, Standing, Track
from inventory.track.standing import put
from tests.factories import exact_instrument, make_vehicle, measure


def words_of(answer) -> str:
    """What a page says, without its markup."""
    body = answer.content.decode().partition("<body")[2]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


@pytest.fixture
def place(db) -> Place:
    railway = Railway.objects.create(name="Alder Branch", family="nem", scale="H0")
    return Place.objects.create(railway=railway, name="Tarn", position=1)


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def track(place: Place, name: str, mm: int, **facts) -> Track:
    marks = {"a_reference": "clearance mark", "b_reference": "clearance mark"}
    return Track.objects.create(place=place, name=name, measured=Decimal(mm), **marks, **facts)


def car(by, number: str, length: str | None = "120", service: str = "fit to run", **facts):
    chosen = {"family": "nem", "scale": "H0", "reporting_mark": "Alb", **facts}
    vehicle = make_vehicle(by, number=number, **chosen)
    if length is not None:
        measure(vehicle, by, {("length_over_couplers", ""): f"{length} mm"}, exact_instrument())
    Vehicle.objects.filter(pk=vehicle.pk).update(service=service)
    return vehicle


def order_on(shown: Track) -> list[str]:
    return [each.vehicle.number for each in shown.standing.select_related("vehicle")]


def test_move_when_the_track_gets_too_full_then_is_done_and_said(signed_in, owner, place):
    mill = track(place, "Mill", 300, duty="loading", most_vehicles=2)
    keys = [car(owner, str(n)).pk for n in range(1, 4)]
    answer = signed_in.post(
        reverse("track:move", args=[mill.pk]), {"vehicle": keys, "to": "here"}, follow=True
    )
    assert order_on(mill) == ["1", "2", "3"]
    assert "Mill is crowded: 60.0 mm too long, 1 beyond its spots." in words_of(answer)


def test_move_when_the_page_is_stale_then_nobody_is_taken_from_another_track(
    signed_in, owner, place
):
    loop, board = track(place, "Loop", 500), track(place, "Board", 500)
    one = car(owner, "1")
    put(vehicles=[one], track=board)
    answer = signed_in.post(
        reverse("track:move", args=[loop.pk]), {"vehicle": one.pk, "to": "off"}, follow=True
    )
    assert "no longer stands on Loop" in words_of(answer)
    assert order_on(board) == ["1"]


def test_move_when_no_target_was_picked_then_nothing_happens(signed_in, owner, place):
    loop, one = track(place, "Loop", 500), car(owner, "1")
    put(vehicles=[one], track=loop)
    answer = signed_in.post(
        reverse("track:move", args=[loop.pk]), {"vehicle": one.pk, "to": ""}, follow=True
    )
    assert "Nothing was moved: pick where" in words_of(answer)
    assert order_on(loop) == ["1"]


def test_move_when_more_than_500_are_posted_then_none_is_dropped(signed_in, owner, place):
    board = track(place, "Board", 500)
    chosen = {"family": "nem", "scale": "H0", "reporting_mark": "Blk", "kind": "boxcar"}
    made = Vehicle.objects.bulk_create(Vehicle(number=str(n), **chosen) for n in range(590))
    signed_in.post(
        reverse("track:move", args=[board.pk]),
        {"vehicle": [each.pk for each in made], "to": "here"},
    )
    assert Standing.objects.filter(track=board).count() == 590


def test_order_when_one_is_shifted_or_all_turned_then_stands_so(signed_in, owner, place):
    board = track(place, "Board", 500)
    cars = [car(owner, str(n), "60") for n in range(1, 4)]
    put(vehicles=cars, track=board)
    address = reverse("track:order", args=[board.pk])
    signed_in.post(address, {"farther": cars[2].pk})
    assert order_on(board) == ["1", "3", "2"]
    signed_in.post(address, {"nearer": cars[0].pk})
    assert order_on(board) == ["3", "1", "2"]
    signed_in.post(address, {"do": "turn"})
    assert order_on(board) == ["2", "1", "3"]
    end = signed_in.post(address, {"farther": cars[1].pk}, follow=True)
    assert "has no neighbour there on Board; nothing changed" in words_of(end)
    signed_in.post(
        reverse("track:move", args=[board.pk]),
        {"vehicle": car(owner, "4", "60").pk, "to": "here", "end": "far"},
    )
    assert order_on(board)[0] == "4"


def test_bad_order_car_when_it_stands_there_all_the_same_then_can_be_recorded(
    signed_in, owner, place
):
    board = track(place, "Board", 500)
    broken = car(owner, "1", service="bad order")
    page = signed_in.get(board.get_absolute_url()).content.decode()
    assert f'name="vehicle" value="{broken.pk}"' in page
    signed_in.post(reverse("track:move", args=[board.pk]), {"vehicle": broken.pk, "to": "here"})
    assert order_on(board) == ["1"]
    stock_page = signed_in.get(broken.get_absolute_url())
    assert "It stands on Board, Tarn" in words_of(stock_page)


def test_train_when_cars_stand_in_its_way_then_has_only_the_room_left(signed_in, owner, place):
    loop = track(place, "Loop", 500, duty="loop")
    engine = car(owner, "9", "150", category="locomotive", kind="tank engine")
    put(vehicles=[car(owner, "1", "120"), car(owner, "2", "120")], track=loop)
    asked = {"engine": engine.pk, "n_cars": "2", "way": loop.pk}
    address = reverse("track:trains", args=[place.railway_id])
    words = words_of(signed_in.get(address, asked))
    # 150 and two of 120 are 390; 260 of the 500 are left beside Alb 1 and Alb 2.
    assert "It does not fit" in words
    assert "130.0 mm too long" in words
    assert "Alb 1" in words
    empty = words_of(signed_in.get(address, {**asked, "empty": "on"}))
    assert "It fits" in empty
    assert "110.0 mm" in empty


def test_train_when_a_car_may_not_run_then_is_told_apart_from_its_length(signed_in, owner, place):
    loop = track(place, "Loop", 500, duty="loop")
    engine = car(owner, "9", "150", category="locomotive", kind="tank engine")
    broken = car(owner, "1", service="bad order")
    words = words_of(
        signed_in.get(
            reverse("track:trains", args=[place.railway_id]),
            {"engine": engine.pk, "vehicles": broken.pk, "way": loop.pk},
        )
    )
    assert "It may not run; it would fit" in words
    assert "bad order" in words


def test_report_and_line_when_a_length_is_unknown_then_say_so(signed_in, owner, place):
    yard = track(place, "Track 2", 600, duty="class")
    track(place, "Track 1", 600, duty="class")
    put(vehicles=[car(owner, "1", None)], track=yard)
    report = words_of(signed_in.get(reverse("track:report", args=[place.railway_id])))
    assert "Not counted: Track 2" in report
    line = signed_in.get(place.railway.get_absolute_url()).content.decode()
    assert "not known of 600 mm" in line


def test_arrangement_when_somebody_was_put_elsewhere_since_then_stays_there(
    signed_in, owner, place
):
    loop, board = track(place, "Loop", 500), track(place, "Board", 500)
    one, two = car(owner, "1"), car(owner, "2")
    put(vehicles=[one], track=board)
    answer = signed_in.post(
        reverse("track:put-arranged", args=[place.railway_id]),
        {f"on-{loop.pk}": [one.pk, two.pk]},
        follow=True,
    )
    assert "Alb 1 stands somewhere by now and stayed there." in words_of(answer)
    assert (order_on(board), order_on(loop)) == (["1"], ["2"])


def test_centres_when_too_close_ever_to_clear_then_nothing_is_offered(signed_in, owner, place):
    narrow = track(place, "Tight", 500, final_centres=Decimal(30))
    wide = car(owner, "1")
    measure(wide, owner, {("body_width", ""): "36.5 mm"}, exact_instrument())
    words = words_of(signed_in.get(narrow.get_absolute_url()))
    assert "Nothing stands clear on it" in words
    assert "too close ever to clear" in words
    assert "would fit now" not in words
    trains = words_of(signed_in.get(reverse("track:trains", args=[place.railway_id])))
    assert "Tight" not in trains.partition("Tracks it must fit")[2].partition("Storage")[0]
