"""The pages of railways, tracks, industries, trains and the report."""

import re
from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse

from inventory.people.models import Person
from inventory.stock.models import Vehicle
from inventory.track.models import (
    Home,
    HomeTrack,
    Industry,
    Place,
    Railway,
    Standing,
    Track,
    Traffic,
    Turnout,
)
from inventory.track.standing import put
from tests.factories import exact_instrument, make_person, make_vehicle, measure

pytestmark = pytest.mark.django_db

ABSENT = 987654


def make_railway(name: str = "Alder Branch", **facts) -> Railway:
    """H0 of NEM 010: 16.5 mm gauge."""
    return Railway.objects.create(name=name, **{"family": "nem", "scale": "H0", **facts})


def make_place(railway: Railway, name: str = "Tarn", position: int = 1) -> Place:
    return Place.objects.create(railway=railway, name=name, position=position)


def make_track(place: Place, name: str = "Siding", measured: str = "500", **facts) -> Track:
    """A track between clearance marks, as long as it was measured."""
    chosen = {"a_reference": "clearance mark", "b_reference": "clearance mark", **facts}
    return Track.objects.create(place=place, name=name, measured=Decimal(measured), **chosen)


def make_car(
    by: Person, number: str, length: str | None = "120", service: str = "fit to run", **facts
) -> Vehicle:
    """An H0 car in service, measured over couplers in millimetres."""
    chosen = {"family": "nem", "scale": "H0", "reporting_mark": "Alb", **facts}
    vehicle = make_vehicle(by, number=number, **chosen)
    if length is not None:
        readings = {("length_over_couplers", ""): f"{length} mm"}
        measure(vehicle, by, readings, exact_instrument())
    Vehicle.objects.filter(pk=vehicle.pk).update(service=service)
    vehicle.refresh_from_db()
    return vehicle


def make_engine(by: Person, number: str = "1", length: str | None = "150", **facts) -> Vehicle:
    chosen = {"reporting_mark": "Lok", "category": "locomotive", "kind": "tank engine", **facts}
    return make_car(by, number, length, **chosen)


def words_of(answer) -> str:
    """What a page says, without its markup."""
    main = answer.content.decode().partition("<main")[2]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())


@pytest.fixture
def place(db) -> Place:
    return make_place(make_railway())


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


@pytest.fixture
def says(signed_in):
    """The words of a page."""

    def get(name: str, *args, **query) -> str:
        answer = signed_in.get(reverse(name, args=args), query)
        assert answer.status_code == 200
        return words_of(answer)

    return get


def section(words: str, start: str, end: str) -> str:
    """What stands between two headings."""
    return words.partition(start)[2].partition(end)[0]


def best_of(words: str) -> list[str]:
    """The vehicles of the best cut, as a page names them."""
    told = section(words, "The cut that fills it best", "one at a time")
    return re.findall(r"(?:Alb|Lok) \d+", re.split("Ask otherwise|Put others here", told)[0])


# --- The line ---------------------------------------------------------------------------------


def test_railways_when_there_is_none_then_says_how_to_begin(says):
    assert "None yet. Add yours" in says("track:railways")


def test_railways_when_there_are_some_then_lists_them_with_their_scale(says):
    make_railway()
    make_railway("Birch Valley", scale="N")
    words = says("track:railways")
    assert "Alder Branch H0, 1:87 on 16.5 mm" in words
    assert "Birch Valley N, 1:160 on 9 mm" in words


def test_railway_when_opened_then_shows_places_in_their_order_with_room_left(says, owner, place):
    make_place(place.railway, "Fen", 2)
    track = make_track(place)
    put(vehicles=[make_car(owner, "7")], track=track)
    words = says("track:railway", place.railway.pk)
    assert words.index("1. Tarn") < words.index("2. Fen")
    assert "storage Alb 7" in words
    assert "clear 500.0 mm" in words
    assert "380.0 mm 14.961 in left" in words
    assert "No track yet." in words


def test_railway_when_a_length_cannot_be_told_then_says_what_to_measure(says, place):
    frog = Turnout.objects.create(place=place, name="1", frog_number=Decimal(6))
    make_track(place, a_reference="frog", a_turnout=frog)
    words = says("track:railway", place.railway.pk)
    assert "No width of any vehicle in H0 was measured" in words


# --- One track --------------------------------------------------------------------------------


def test_track_when_cars_stand_on_it_then_shows_clear_length_and_room(says, owner, place):
    track = make_track(place)
    put(vehicles=[make_car(owner, "7"), make_car(owner, "8", "100.04")], track=track)
    words = says("track:track", track.pk)
    assert "Clear 500.0 mm" in words
    # 500 less 120 and 100.04, which counts as 100.1.
    assert "Room left 279.9 mm" in words
    assert section(words, "Standing here", "off the railway").count("Alb") == 2


def test_track_when_the_siding_is_full_then_the_others_are_refused_by_so_much(says, owner, place):
    track = make_track(place, measured="200")
    put(vehicles=[make_car(owner, "7")], track=track)
    make_car(owner, "8", "90")
    make_car(owner, "9", "230")
    words = says("track:track", track.pk)
    assert "0 would fit now" in words
    refused = section(words, "2 do not fit, and why", "Sharpest curve")
    assert "10.0 mm too long for the room left" in refused
    assert "30.0 mm too long for the track" in refused
    assert "Nothing that may run fits the room left." in words


def test_best_cut_when_by_length_then_fills_the_track_and_by_count_takes_more(says, owner, place):
    track = make_track(place, measured="300")
    for number, length in (("1", "180"), ("2", "120"), ("3", "95"), ("4", "90"), ("5", "85")):
        make_car(owner, number, length)
    # 180 + 120 is all of 300; the three shortest are 270 and no three others go.
    assert sorted(best_of(says("track:track", track.pk))) == ["Alb 1", "Alb 2"]
    by_count = says("track:track", track.pk, by="count")
    # 120 + 95 + 85 is 300 with three; no four do.
    assert sorted(best_of(by_count)) == ["Alb 2", "Alb 3", "Alb 5"]
    assert "3 vehicles, 300.0 mm" in by_count


def test_best_cut_when_one_has_to_be_in_it_then_is_the_best_with_it(says, owner, place):
    track = make_track(place, measured="300")
    cars = {
        number: make_car(owner, number, length)
        for number, length in (("1", "180"), ("2", "120"), ("4", "90"))
    }
    words = says("track:track", track.pk, by="length", must=cars["4"].pk)
    # 180 + 90 is 270; 120 + 90 only 210.
    assert sorted(best_of(words)) == ["Alb 1", "Alb 4"]
    assert "2 vehicles, 270.0 mm" in words


def test_best_cut_when_those_that_have_to_be_in_it_are_too_long_then_says_by_how_much(
    signed_in, owner, place
):
    track = make_track(place, measured="200")
    must = [make_car(owner, number).pk for number in "12"]
    words = words_of(signed_in.get(track.get_absolute_url(), {"must": must}))
    assert "The vehicles that have to be in the cut are 40.0 mm too long together." in words


def test_best_cut_when_one_that_does_not_fit_has_to_be_in_it_then_says_so(says, owner, place):
    track = make_track(place, measured="200")
    make_car(owner, "1")
    long = make_car(owner, "2", "230")
    words = says("track:track", track.pk, must=long.pk)
    assert "not all that has to be in it fits the room left" in words
    assert "Nothing that may run" not in words


def test_track_when_it_has_spots_then_no_cut_has_more(says, owner, place):
    track = make_track(place, most_vehicles=2)
    put(vehicles=[make_car(owner, "1")], track=track)
    for number in "234":
        make_car(owner, number)
    assert len(best_of(says("track:track", track.pk, by="count"))) == 1


@pytest.mark.parametrize("service", ["bad order", "awaiting inspection"])
def test_vehicle_when_it_may_not_run_then_is_refused_with_the_reason(says, owner, place, service):
    track = make_track(place)
    make_car(owner, "1", service=service)
    words = says("track:track", track.pk)
    assert "0 would fit now" in words
    assert service in section(words, "1 do not fit, and why", "Sharpest curve")


def test_vehicle_when_its_length_was_never_measured_then_it_is_not_guessed(says, owner, place):
    track = make_track(place)
    make_car(owner, "1", None)
    words = says("track:track", track.pk)
    assert "Alb 1 boxcar no length over couplers measured: measure it" in words
    assert best_of(words) == []


def test_track_when_an_unmeasured_vehicle_stands_there_then_the_room_is_not_known(
    says, owner, place
):
    track = make_track(place)
    put(vehicles=[make_car(owner, "1", None)], track=track)
    make_car(owner, "2")
    words = says("track:track", track.pk)
    assert "The room left is not known, since these have no measured length: Alb 1" in words
    assert "Room left not known" in words
    assert best_of(words) == []


def test_vehicle_when_of_another_gauge_then_is_refused(says, owner):
    track = make_track(make_place(make_railway(family="00-sf", scale="00")))
    make_car(owner, "1", family="oo-fine", scale="00")
    words = says("track:track", track.pk)
    assert "its gauge is 16.5 mm, the track's 16.2 mm" in words
    assert best_of(words) == []


# --- Moving -----------------------------------------------------------------------------------


def on(track: Track) -> list[str]:
    return [each.vehicle.number for each in track.standing.select_related("vehicle")]


def test_move_when_put_here_then_they_stand_behind_the_others_in_their_order(
    signed_in, owner, place
):
    track = make_track(place)
    one, two, three = (make_car(owner, number) for number in "123")
    put(vehicles=[one], track=track)
    answer = signed_in.post(
        reverse("track:move", args=[track.pk]), {"vehicle": [three.pk, two.pk], "to": "here"}
    )
    assert (answer.status_code, answer["Location"]) == (302, track.get_absolute_url())
    assert on(track) == ["1", "3", "2"]


def test_move_when_off_then_they_stand_nowhere(signed_in, owner, place):
    track = make_track(place)
    one, two = (make_car(owner, number) for number in "12")
    put(vehicles=[one, two], track=track)
    signed_in.post(reverse("track:move", args=[track.pk]), {"vehicle": one.pk, "to": "off"})
    assert on(track) == ["2"]


def test_move_when_to_another_track_then_they_stand_there_only(signed_in, owner, place):
    track, other = make_track(place), make_track(place, "Loop")
    one = make_car(owner, "1")
    put(vehicles=[one], track=track)
    answer = signed_in.post(
        reverse("track:move", args=[track.pk]), {"vehicle": one.pk, "to": other.pk}, follow=True
    )
    assert "Alb 1 moved to Loop." in words_of(answer)
    assert (on(track), on(other)) == ([], ["1"])


def test_move_when_nothing_is_ticked_then_says_so(signed_in, place):
    track = make_track(place)
    answer = signed_in.post(reverse("track:move", args=[track.pk]), follow=True)
    assert "No vehicle was chosen: tick one first." in words_of(answer)


@pytest.mark.parametrize("to", ["nowhere", "-1", str(ABSENT), "9" * 5000, "²", "٣"])
def test_move_when_the_track_is_none_then_is_not_found_and_nothing_moves(
    signed_in, owner, place, to
):
    track = make_track(place)
    one = make_car(owner, "1")
    put(vehicles=[one], track=track)
    answer = signed_in.post(reverse("track:move", args=[track.pk]), {"vehicle": one.pk, "to": to})
    assert answer.status_code == 404
    assert on(track) == ["1"]


def test_move_when_the_track_is_of_another_railway_then_is_not_found(signed_in, owner, place):
    track = make_track(place)
    other = make_track(make_place(make_railway("Birch Valley")))
    one = make_car(owner, "1")
    answer = signed_in.post(
        reverse("track:move", args=[track.pk]), {"vehicle": one.pk, "to": other.pk}
    )
    assert answer.status_code == 404


def test_move_when_the_gauge_is_another_then_nothing_moves_and_it_says_why(
    signed_in, owner, place
):
    track = make_track(place)
    chosen = [make_car(owner, "1"), make_car(owner, "2", "90", scale="H0e")]
    answer = signed_in.post(
        reverse("track:move", args=[track.pk]),
        {"vehicle": [each.pk for each in chosen], "to": "here"},
        follow=True,
    )
    assert (
        "Nothing was moved: the track's gauge is 16.5 mm, and Alb 2 cannot stand on it."
        in words_of(answer)
    )
    assert on(track) == []


def test_move_when_families_write_one_gauge_differently_then_it_may_stand(signed_in, owner):
    track = make_track(make_place(make_railway(family="nmra", scale="N")))
    one = make_car(owner, "1", "60", scale="N")
    signed_in.post(reverse("track:move", args=[track.pk]), {"vehicle": one.pk, "to": "here"})
    assert on(track) == ["1"]


@pytest.mark.parametrize("key", ["", "x", "-3", "9" * 30, "²", str(ABSENT), "1; DROP TABLE"])
def test_move_when_the_vehicle_is_none_then_nothing_is_moved(signed_in, place, key):
    track = make_track(place)
    answer = signed_in.post(reverse("track:move", args=[track.pk]), {"vehicle": key})
    assert answer.status_code == 302
    assert on(track) == []


def test_move_when_500_are_posted_onto_one_track_then_all_stand_and_none_more_fits(
    signed_in, owner, place
):
    track = make_track(place, measured="1000")
    model = make_car(owner, "0", None)
    Vehicle.objects.bulk_create(
        Vehicle(
            reporting_mark="Gw",
            number=str(number),
            kind="boxcar",
            family="nem",
            scale="H0",
            service="fit to run",
            logged_by=owner,
        )
        for number in range(500)
    )
    keys = list(Vehicle.objects.exclude(pk=model.pk).order_by("pk").values_list("pk", flat=True))
    answer = signed_in.post(
        reverse("track:move", args=[track.pk]), {"vehicle": keys, "to": "here"}, follow=True
    )
    words = words_of(answer)
    assert "500 vehicles put onto Siding." in words
    assert "It cannot be told what fits: see above." in words
    assert list(Standing.objects.order_by("position").values_list("vehicle_id", "position")) == [
        (key, position) for position, key in enumerate(keys, start=1)
    ]


def test_move_when_asked_for_without_a_post_then_is_refused(signed_in, place):
    track = make_track(place)
    assert signed_in.get(reverse("track:move", args=[track.pk])).status_code == 405


# --- One vehicle ------------------------------------------------------------------------------


def test_vehicle_when_asked_where_it_fits_then_names_each_track_and_why_not(says, owner, place):
    make_track(place, "Long")
    make_track(place, "Short", "100")
    frog = Turnout.objects.create(place=place, name="1", frog_number=Decimal(6))
    make_track(place, "Spur", a_reference="frog", a_turnout=frog)
    words = says("track:for-vehicle", make_car(owner, "1").pk)
    assert "It fits Long Tarn" in words
    assert "It does not fit Short Tarn 20.0 mm too long for the track" in words
    assert (
        "Not known Spur Tarn Put it there : Spur No width of any vehicle in H0 was measured"
        in words
    )


def test_vehicle_when_it_may_not_run_then_says_where_it_would_fit_once_it_may(says, owner, place):
    make_track(place, "Long")
    make_track(place, "Short", "100")
    one = make_car(owner, "1")
    Vehicle.objects.filter(pk=one.pk).update(service="bad order")
    words = says("track:for-vehicle", one.pk)
    assert "over couplers, bad order" in words
    assert "It would fit, once it may run Long Tarn" in words
    assert "It does not fit Short Tarn 20.0 mm too long for the track" in words


def test_vehicle_when_it_stands_on_a_track_then_that_one_is_not_asked(says, owner, place):
    here = make_track(place, "Long")
    one = make_car(owner, "1")
    put(vehicles=[one], track=here)
    assert "No track in H0 is recorded besides" in says("track:for-vehicle", one.pk)


def test_vehicle_when_its_length_is_missing_then_every_track_says_so(says, owner, place):
    make_track(place, "Long")
    words = says("track:for-vehicle", make_car(owner, "1", None).pk)
    assert "was never measured, and is not guessed" in words
    assert "Not known Long Tarn Put it there : Long no length over couplers measured" in words


def test_vehicle_when_an_unmeasured_one_stands_there_then_says_why_it_is_not_known(
    says, owner, place
):
    put(vehicles=[make_car(owner, "9", None)], track=make_track(place, "Long"))
    words = says("track:for-vehicle", make_car(owner, "1").pk)
    assert "Not known Long Tarn Put it there : Long the room left is not known" in words
    assert "no length measured of Alb 9" in words


def test_home_track_when_saved_then_is_kept_until_none_is_chosen(signed_in, owner, place):
    track, one = make_track(place), make_car(owner, "1")
    address = reverse("track:home-track", args=[one.pk])
    signed_in.post(address, {"track": track.pk})
    assert HomeTrack.objects.get().track == track
    assert signed_in.post(address, {"track": ABSENT}).status_code == 404
    assert HomeTrack.objects.get().track == track
    signed_in.post(address, {"track": ""})
    assert not HomeTrack.objects.exists()


# --- Industries -------------------------------------------------------------------------------


def make_industry(place: Place, *tracks: Track, name: str = "Mill", **traffic) -> Industry:
    made = Industry.objects.create(place=place, name=name)
    made.tracks.set(tracks)
    chosen = {
        "goods": "flour",
        "kinds": "boxcar, van",
        "cars_per_session": Decimal("1.5"),
        "sessions_away": Decimal(2),
        **traffic,
    }
    Traffic.objects.create(industry=made, **chosen)
    return made


def test_industries_when_one_lacks_then_says_what_to_look_for(says, owner, place):
    mill = make_industry(place, make_track(place, radius=Decimal(450)))
    able, ill = make_car(owner, "1"), make_car(owner, "2", service="bad order")
    for vehicle in (able, ill):
        Home.objects.create(industry=mill, vehicle=vehicle)
    words = says("track:industries", place.railway.pk)
    # Little's law: 1.5 a session times 2 sessions is 3; with a tenth in reserve 3.3, so 4.
    assert "needs 3 (4 with a tenth in reserve) , has 1 and 1 that may not run" in words
    assert "lacks 2 : look for boxcar or van, at most 500.0 mm" in words
    assert "going round 450.0 mm" in words


def test_industries_when_there_are_enough_then_says_so(says, owner, place):
    mill = make_industry(place, sessions_away=Decimal(1), cars_per_session=Decimal(1))
    for number in "12":
        Home.objects.create(industry=mill, vehicle=make_car(owner, number))
    assert "1 more than it needs" in says("track:industries", place.railway.pk)


def test_industry_when_homes_are_given_and_taken_then_they_are(signed_in, owner, place):
    mill = make_industry(place)
    one, two = make_car(owner, "1"), make_car(owner, "2")
    make_car(owner, "3", kind="tank car")
    words = words_of(signed_in.get(mill.get_absolute_url()))
    assert "2 more of its kinds" in words
    address = reverse("track:assign-home", args=[mill.pk])
    signed_in.post(address, {"vehicle": [one.pk, two.pk]})
    signed_in.post(address, {"vehicle": [one.pk]})
    assert set(mill.homes.values_list("vehicle", flat=True)) == {one.pk, two.pk}
    signed_in.post(address, {"vehicle": [one.pk], "do": "leave"})
    assert list(mill.homes.values_list("vehicle", flat=True)) == [two.pk]
    assert one.pk in Vehicle.objects.values_list("pk", flat=True)
    answer = signed_in.post(address, follow=True)
    assert "No vehicle was chosen: tick one first." in words_of(answer)


def test_track_when_its_industry_takes_other_kinds_then_refuses(says, owner, place):
    track = make_track(place)
    make_industry(place, track)
    make_car(owner, "1", kind="tank car")
    make_car(owner, "2", kind="Boxcar")
    words = says("track:track", track.pk)
    assert best_of(words) == ["Alb 2"]
    assert "a tank car; taken here: boxcar, van" in words


# --- Trains -----------------------------------------------------------------------------------


def test_train_when_it_fits_then_names_the_limiting_track(says, owner, place):
    long, short = make_track(place, "Long", "900"), make_track(place, "Loop", "650")
    engine = make_engine(owner)
    for number in "12":
        make_car(owner, number)
    words = says(
        "track:trains", place.railway.pk, engine=engine.pk, n_cars=4, way=[long.pk, short.pk]
    )
    # 150 + 4 times 120 is 630 mm.
    assert "It fits 630.0 mm" in words
    assert "The limiting track is Loop : 20.0 mm" in words
    assert "Long fits, 270.0 mm" in words


def test_train_when_too_long_then_says_for_which_track_and_by_how_much(says, owner, place):
    long, short = make_track(place, "Long", "900"), make_track(place, "Loop", "600")
    engine = make_engine(owner)
    make_car(owner, "1")
    words = says(
        "track:trains", place.railway.pk, engine=engine.pk, n_cars=4, way=[long.pk, short.pk]
    )
    assert "It does not fit 630.0 mm" in words
    assert "The limiting track is Loop : the train is 30.0 mm too long for it." in words


def test_train_when_of_named_cars_then_is_as_long_as_they_are(says, owner, place):
    track = make_track(place, "Loop", "400")
    engine = make_engine(owner)
    cars = [make_car(owner, "1", "110.05"), make_car(owner, "2", "90")]
    words = says(
        "track:trains",
        place.railway.pk,
        engine=engine.pk,
        n_cars=9,
        vehicles=[each.pk for each in cars],
        way=track.pk,
    )
    # 150 + 110.05, which counts as 110.1, + 90.
    assert "It fits 350.1 mm" in words
    assert "with 2 cars" in words


def test_train_when_the_lead_is_short_then_is_drawn_in_so_many_pulls(says, owner, place):
    lead = make_track(place, "Lead", "400")
    engine = make_engine(owner)
    make_car(owner, "1")
    words = says("track:trains", place.railway.pk, engine=engine.pk, n_cars=5, lead=lead.pk)
    # 400 less the locomotive's 150 takes two cars of 120 at a time.
    assert "it takes 3 pulls: 2 cars, then 2 cars, then 1 car." in words
    assert "No track was chosen that it must fit" in words


def test_train_when_the_lead_takes_no_car_then_says_by_how_much(says, owner, place):
    lead = make_track(place, "Lead", "260")
    engine = make_engine(owner)
    make_car(owner, "1")
    words = says("track:trains", place.railway.pk, engine=engine.pk, n_cars=5, lead=lead.pk)
    assert "The lead is 10.0 mm too short for the locomotive with car 1." in words


def test_train_when_stored_then_says_how_many_the_storage_holds(says, owner, place):
    storage = [
        make_track(place, name, length).pk
        for name, length in (("One", "400"), ("Two", "390"), ("Three", "389.9"))
    ]
    engine = make_engine(owner)
    make_car(owner, "1")
    words = says("track:trains", place.railway.pk, engine=engine.pk, n_cars=2, storage=storage)
    # 150 + 240 is 390 mm.
    assert "The storage holds 2 such trains, one a track." in words


@pytest.mark.parametrize("n_cars", ["", "0"])
def test_train_when_a_locomotive_runs_alone_then_no_car_has_to_be_measured(
    says, owner, place, n_cars
):
    track = make_track(place)
    engine = make_engine(owner)
    words = says("track:trains", place.railway.pk, engine=engine.pk, n_cars=n_cars, way=track.pk)
    assert "It fits 150.0 mm" in words


def test_train_when_the_locomotive_was_never_measured_then_asks_for_it(says, owner, place):
    track = make_track(place)
    engine = make_engine(owner, length=None)
    make_car(owner, "1")
    words = says("track:trains", place.railway.pk, engine=engine.pk, n_cars=2, way=track.pk)
    assert "No length over couplers was measured of Lok 1; measure it first." in words
    assert "It fits" not in words


def test_train_when_a_named_car_was_never_measured_then_asks_for_it(says, owner, place):
    track = make_track(place)
    engine, car = make_engine(owner), make_car(owner, "4", None)
    words = says("track:trains", place.railway.pk, engine=engine.pk, vehicles=car.pk, way=track.pk)
    assert "No length over couplers was measured of Alb 4; measure it first." in words


def test_train_when_a_car_is_bad_order_then_may_not_run_and_it_says_that_it_would_fit(
    says, owner, place
):
    track = make_track(place)
    engine, car = make_engine(owner), make_car(owner, "4", service="bad order")
    words = says("track:trains", place.railway.pk, engine=engine.pk, vehicles=car.pk, way=track.pk)
    assert "It may not run; it would fit" in words
    assert "It may not run: Alb 4 is bad order." in words
    assert "does not fit" not in words


def test_train_when_it_climbs_then_says_how_many_cars_the_locomotive_takes(says, owner, place):
    track = make_track(place, grade_percent=Decimal(10))
    engine, car = make_engine(owner), make_car(owner, "4")
    measure(engine, owner, {("mass", ""): "200 g"})
    measure(car, owner, {("mass", ""): "100 g"})
    words = says("track:trains", place.railway.pk, engine=engine.pk, n_cars=1, way=track.pk)
    # Computed independently from W (mu - G) / (w (r + G)): 200 x 0.15 / (100 x 0.12) is 2.5.
    assert "On the ruling grade of 10 % the locomotive takes about 2 cars" in words


@pytest.mark.parametrize(
    "query",
    [
        {"engine": ABSENT},
        {"engine": "x"},
        {"n_cars": "2"},
        {"n_cars": "-1"},
        {"n_cars": "many"},
        {"n_cars": "99999999"},
        {"way": ABSENT},
        {"lead": "x"},
        {"storage": "' OR 1=1"},
        {"vehicles": "\x00"},
    ],
)
def test_train_when_what_is_asked_cannot_be_then_no_answer_is_made_up(says, owner, place, query):
    make_track(place)
    make_engine(owner)
    words = says("track:trains", place.railway.pk, **query)
    assert "It fits" not in words
    assert "such train" not in words


# --- The report -------------------------------------------------------------------------------


def test_report_when_measured_then_names_the_weakest_track_and_what_more_buys(says, owner, place):
    make_track(place, "Main", "900", duty="running")
    make_track(place, "Loop", "500", duty="loop")
    make_track(place, "Spur", "130")
    make_engine(owner)
    make_car(owner, "1")
    make_car(owner, "2", "140")
    words = says("track:report", place.railway.pk)
    # A car is 130 on average: 150 + 2 x 130 is 410, with a third 540; 600 would take that third.
    assert "Lok 1 with 2 average cars of 130.0 mm" in words
    assert "The weakest track is Loop, Tarn ; 100 mm more there would buy 1 car." in words
    assert "clear 130.0 mm 5.118 in 1 average car" in words
    assert "1 average car; 1 of the fleet" in words


def test_report_when_another_track_is_as_weak_then_more_on_one_buys_nothing(says, owner, place):
    make_track(place, "Main", "500", duty="running")
    make_track(place, "Loop", "500", duty="loop")
    make_engine(owner)
    make_car(owner, "1")
    assert "would buy 0 cars." in says("track:report", place.railway.pk)


def test_report_when_not_even_the_locomotive_fits_then_says_so(says, owner, place):
    make_track(place, "Loop", "140", duty="loop")
    make_engine(owner)
    make_car(owner, "1")
    assert "not even Lok 1 alone" in says("track:report", place.railway.pk)


def test_report_when_nothing_was_measured_then_says_what_it_takes(says, owner, place):
    make_track(place, "Loop", duty="loop")
    make_car(owner, "1", None)
    assert "and a measured locomotive and car" in says("track:report", place.railway.pk)


# --- Arranging --------------------------------------------------------------------------------


def test_arrange_when_asked_then_puts_each_where_it_fits_and_says_who_is_left(says, owner, place):
    one, two = make_track(place, "One", "130"), make_track(place, "Two", "100")
    cars = [make_car(owner, "1", "120"), make_car(owner, "2", "100"), make_car(owner, "3", "95")]
    words = says(
        "track:arrange",
        place.railway.pk,
        tracks=[one.pk, two.pk],
        vehicles=[each.pk for each in cars],
    )
    assert "No arrangement does better" in words
    assert "Alb 1 boxcar 120.0 mm" in section(words, "One, Tarn", "Two, Tarn")
    assert "Alb 2 boxcar 100.0 mm" in section(words, "Two, Tarn", "Without a place")
    assert "Alb 3" in section(words, "Without a place", "Tracks")


def test_arrange_when_vehicles_stand_on_a_track_of_unknown_room_then_they_are_not_offered(
    says, owner, place
):
    make_track(place, "One")
    unknown = make_track(place, "Two")
    put(vehicles=[make_car(owner, "1", None), make_car(owner, "2")], track=unknown)
    make_car(owner, "3")
    words = says("track:arrange", place.railway.pk)
    assert "Two, Tarn : no length measured of Alb 1" in words
    assert re.findall(r"Alb \d", section(words, "All vehicles", "Arrange them")) == ["Alb 3"]


# --- Forms ------------------------------------------------------------------------------------


TRACK = {
    "name": "Siding",
    "duty": "storage",
    "position": "1",
    "measured": "500",
    "a_reference": "clearance mark",
    "a_leg": "diverging",
    "b_reference": "buffer stop",
    "b_leg": "diverging",
}
TURNOUT = {"name": "1", "hand": "right", "frog_number": "6"}
TRAFFIC = {
    "direction": "receives",
    "goods": "flour",
    "kinds": "boxcar",
    "cars_per_session": "1",
    "sessions_away": "2",
}


def test_railway_when_built_by_its_forms_then_is_kept_as_typed(signed_in):
    post = signed_in.post
    post("/tracks/railways/new/", {"name": "Fen", "standard": "nem/H0", "clearance_gap": "1/8 in"})
    railway = Railway.objects.get()
    assert (railway.family, railway.scale, railway.clearance_gap) == (
        "nem",
        "H0",
        Decimal("3.175"),
    )
    post(reverse("track:new-place", args=[railway.pk]), {"name": "Tarn", "position": "1"})
    place = Place.objects.get()
    post(reverse("track:new-turnout", args=[place.pk]), {**TURNOUT, "points_to_frog": "5 in"})
    turnout = Turnout.objects.get()
    assert (turnout.frog_number, turnout.points_to_frog) == (Decimal(6), Decimal(127))
    post(
        reverse("track:new-track", args=[place.pk]),
        {**TRACK, "a_reference": "frog", "a_turnout": turnout.pk, "measured": "4 ft"},
    )
    track = Track.objects.get()
    assert (track.measured, track.a_turnout) == (Decimal("1219.2"), turnout)
    post(reverse("track:new-industry", args=[place.pk]), {"name": "Mill", "tracks": [track.pk]})
    industry = Industry.objects.get()
    assert list(industry.tracks.all()) == [track]
    post(reverse("track:new-traffic", args=[industry.pk]), {**TRAFFIC, "kinds": " boxcar ,, van "})
    assert Traffic.objects.get().kinds == "boxcar, van"


def test_every_form_when_opened_again_then_shows_what_is_kept(signed_in, place):
    turnout = Turnout.objects.create(place=place, name="1", frog_number=Decimal(6))
    track = make_track(place, measured="512.5", grade_percent=Decimal("2.5"))
    industry = make_industry(place, track)
    for name, pk, shown in (
        ("track:edit-railway", place.railway.pk, 'value="3 mm"'),
        ("track:place", place.pk, 'value="Tarn"'),
        ("track:turnout", turnout.pk, 'value="6"'),
        ("track:edit-track", track.pk, 'value="512.5 mm"'),
        ("track:edit-industry", industry.pk, 'value="Mill"'),
        ("track:traffic", industry.traffic.get().pk, 'value="flour"'),
    ):
        answer = signed_in.get(reverse(name, args=[pk]))
        assert answer.status_code == 200, name
        assert shown in answer.content.decode(), name


def test_edit_track_when_saved_then_changes_it(signed_in, place):
    track = make_track(place)
    answer = signed_in.post(
        reverse("track:edit-track", args=[track.pk]),
        {
            **TRACK,
            "revision": "1",
            "measured": "20 in",
            "grade_percent": "2 %",
            "most_vehicles": "4",
        },
    )
    assert (answer.status_code, answer["Location"]) == (302, track.get_absolute_url())
    track.refresh_from_db()
    assert (track.measured, track.grade_percent, track.most_vehicles) == (
        Decimal(508),
        Decimal(2),
        4,
    )


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("measured", "", "is needed: measure and type it"),
        ("measured", "0", "cannot be; type what you measured"),
        ("measured", "-500", ""),
        ("measured", "long", ""),
        ("measured", "500 g", ""),
        ("measured", "NaN", ""),
        ("measured", "1e999", ""),
        ("radius", "0", "cannot be; type what you measured"),
        ("door_height", "-1", ""),
        ("grade_percent", "steep", ""),
        ("final_centres", "16.5", "is not even one gauge, 16.5 mm"),
        ("final_centres", "10", "is not even one gauge, 16.5 mm"),
        ("most_vehicles", "0", ""),
        ("most_vehicles", "501", ""),
        ("most_vehicles", "some", ""),
        ("name", "", ""),
        ("name", "x" * 41, ""),
        ("duty", "flying", ""),
        ("a_reference", "the wall", ""),
        ("a_reference", "frog", "Pick the turnout whose frog it is"),
        ("b_reference", "points", "Pick the turnout whose points it is"),
        ("a_turnout", str(ABSENT), ""),
    ],
)
def test_track_when_typed_badly_then_is_refused_in_words(signed_in, place, field, typed, words):
    answer = signed_in.post(reverse("track:new-track", args=[place.pk]), {**TRACK, field: typed})
    assert answer.status_code == 422
    assert words in words_of(answer)
    assert 'class="problem"' in answer.content.decode()
    assert not Track.objects.exists()


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"frog_number": "0"}, "A frog number of 0 is no frog: they go from 1 to 100."),
        ({"frog_number": "0.1"}, "A frog number of 0.1 is no frog: they go from 1 to 100."),
        ({"frog_number": "1" * 40}, "is too long for a frog"),
        ({"frog_number": "1000000000"}, "they go from 1 to 100. Type its number such as 6"),
        ({"frog_number": "-6"}, "“-6” is no frog. Type its number such as 6, No. 6 or 1:6"),
        ({"frog_number": "six"}, "“six” is no frog. Type its number such as 6, No. 6 or 1:6"),
        ({"frog_number": "95°"}, "A frog angle lies between 0 and 90 degrees."),
        ({"frog_number": "9 75'"}, "whole degrees and less than 60 minutes"),
        ({"diverging_radius": "10"}, "10 mm is no radius on a gauge of 16.5 mm"),
        ({"frog_number": "NaN"}, ""),
        ({"frog_number": "inf"}, ""),
        ({"frog_number": ""}, "Type the frog number, or the radius of a leg that is one curve."),
        ({"diverging_radius": "0"}, "0 cannot be; type what you measured."),
        ({"points_to_frog": "0"}, "0 cannot be; type what you measured."),
        ({"points_to_frog": "far"}, ""),
    ],
)
def test_turnout_when_typed_badly_then_is_refused_in_words(signed_in, place, facts, words):
    answer = signed_in.post(reverse("track:new-turnout", args=[place.pk]), {**TURNOUT, **facts})
    assert answer.status_code == 422
    assert words in words_of(answer)
    assert not Turnout.objects.exists()


@pytest.mark.parametrize("gap", ["", "-3", "wide"])
def test_railway_when_its_gap_cannot_be_then_is_refused(signed_in, gap):
    answer = signed_in.post(
        reverse("track:new-railway"), {"name": "Fen", "standard": "nem/H0", "clearance_gap": gap}
    )
    assert answer.status_code == 422
    assert not Railway.objects.exists()


@pytest.mark.parametrize("standard", ["", "nem", "nem/HO", "x/y", "nem/H0/"])
def test_railway_when_its_scale_is_none_then_is_refused(signed_in, standard):
    answer = signed_in.post(
        reverse("track:new-railway"), {"name": "Fen", "standard": standard, "clearance_gap": "3"}
    )
    assert answer.status_code == 422
    assert not Railway.objects.exists()


def line_of(railway: Railway) -> list[tuple[int, str]]:
    return list(railway.places.values_list("position", "name"))


def test_place_when_its_name_is_taken_then_says_so_whatever_the_case(signed_in, place):
    address = reverse("track:new-place", args=[place.railway.pk])
    answer = signed_in.post(address, {"name": "tarn", "after": ""})
    assert answer.status_code == 422
    assert "A place called tarn is there already." in words_of(answer)
    assert line_of(place.railway) == [(1, "Tarn")]


def test_place_when_new_then_is_offered_behind_the_last(signed_in, place):
    answer = signed_in.get(reverse("track:new-place", args=[place.railway.pk]))
    chosen = f'<option value="{place.pk}" selected>after Tarn</option>'
    assert chosen in answer.content.decode()


def test_place_when_put_between_two_then_the_others_make_room(signed_in, place):
    fen = make_place(place.railway, "Fen", 2)
    address = reverse("track:new-place", args=[place.railway.pk])
    signed_in.post(address, {"name": "Mere", "after": place.pk})
    assert line_of(place.railway) == [(1, "Tarn"), (2, "Mere"), (3, "Fen")]
    signed_in.post(address, {"name": "Beck", "after": ""})
    signed_in.post(address, {"name": "Wold", "after": fen.pk})
    assert [name for _, name in line_of(place.railway)] == ["Beck", "Tarn", "Mere", "Fen", "Wold"]


def test_place_when_moved_then_all_stand_in_the_new_order_without_gaps(signed_in, place):
    fen, mere = make_place(place.railway, "Fen", 4), make_place(place.railway, "Mere", 9)
    answer = signed_in.post(
        reverse("track:place", args=[mere.pk]), {"name": "Mere", "after": "", "revision": "1"}
    )
    assert answer.status_code == 302
    assert line_of(place.railway) == [(1, "Mere"), (2, "Tarn"), (3, "Fen")]
    # Whoever opened the form of a place before it was renumbered is told.
    stale = {"name": "Fen", "after": place.pk, "revision": "1"}
    assert signed_in.post(reverse("track:place", args=[fen.pk]), stale).status_code == 409


@pytest.mark.parametrize("after", [str(ABSENT), "x", "9" * 40])
def test_place_when_behind_none_of_its_railway_then_is_refused(signed_in, place, after):
    address = reverse("track:new-place", args=[place.railway.pk])
    answer = signed_in.post(address, {"name": "Fen", "after": after})
    assert answer.status_code == 422
    assert "is not on the list; pick one that is" in words_of(answer)


@pytest.mark.parametrize("position", ["0", "9223372036854775807", "-1", "1000"])
def test_track_when_its_order_cannot_be_then_is_refused(signed_in, place, position):
    address = reverse("track:new-track", args=[place.pk])
    answer = signed_in.post(address, {**TRACK, "position": position})
    assert answer.status_code == 422
    assert not Track.objects.exists()


def test_name_when_it_is_there_already_then_is_refused_in_words(signed_in, place):
    make_track(place)
    Turnout.objects.create(place=place, name="1", frog_number=Decimal(6))
    make_industry(place)
    for name, posted, words in (
        ("track:new-track", TRACK, "A track called Siding is there already."),
        ("track:new-turnout", TURNOUT, "A turnout called 1 is there already."),
        ("track:new-industry", {"name": "Mill"}, "An industry called Mill is there already."),
    ):
        answer = signed_in.post(reverse(name, args=[place.pk]), posted)
        assert answer.status_code == 422, name
        assert words in words_of(answer)
    twin = {"name": "Alder Branch", "standard": "nem/H0", "clearance_gap": "3"}
    assert signed_in.post(reverse("track:new-railway"), twin).status_code == 422


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("kinds", " , "),
        ("cars_per_session", "0"),
        ("cars_per_session", "-1"),
        ("cars_per_session", "NaN"),
        ("sessions_away", "soon"),
        ("sessions_away", "1e9"),
        ("goods", ""),
        ("direction", "up"),
    ],
)
def test_traffic_when_typed_badly_then_is_refused(signed_in, place, field, typed):
    industry = Industry.objects.create(place=place, name="Mill")
    answer = signed_in.post(
        reverse("track:new-traffic", args=[industry.pk]), {**TRAFFIC, field: typed}
    )
    assert answer.status_code == 422
    assert not Traffic.objects.exists()


# --- Who may, and what is not there -----------------------------------------------------------


READ_BY_ID = ["railway", "industries", "trains", "report", "arrange"]
EDIT_BY_ID = [
    "edit-railway",
    "new-place",
    "place",
    "new-turnout",
    "new-track",
    "turnout",
    "edit-track",
    "new-industry",
    "edit-industry",
    "new-traffic",
    "traffic",
]
POST_BY_ID = ["move", "assign-home", "home-track"]


@pytest.mark.parametrize("name", [*READ_BY_ID, "track", "industry", "for-vehicle", *EDIT_BY_ID])
@pytest.mark.parametrize("pk", [0, ABSENT, 10**30])
def test_page_when_there_is_none_of_that_number_then_is_not_found(signed_in, name, pk):
    assert signed_in.get(reverse(f"track:{name}", args=[pk])).status_code == 404


@pytest.mark.parametrize("name", POST_BY_ID)
def test_post_when_there_is_none_of_that_number_then_is_not_found(signed_in, name):
    assert signed_in.post(reverse(f"track:{name}", args=[ABSENT])).status_code == 404


@pytest.mark.parametrize("name", [*EDIT_BY_ID, *POST_BY_ID])
def test_visitor_when_writing_then_is_refused_in_words(client, name):
    client.force_login(make_person("guest", role=Person.Role.VISITOR))
    answer = client.post(reverse(f"track:{name}", args=[1]))
    assert answer.status_code == 403
    assert "ask the owner to make you an inspector" in answer.content.decode()


def test_visitor_when_making_a_railway_then_is_refused(client):
    client.force_login(make_person("guest", role=Person.Role.VISITOR))
    assert client.get(reverse("track:new-railway")).status_code == 403


def test_visitor_when_reading_then_sees_the_pages_without_anything_to_change(client, owner, place):
    track = make_track(place)
    industry = make_industry(place, track)
    vehicle, other = make_car(owner, "1"), make_car(owner, "2")
    put(vehicles=[vehicle], track=track)
    Home.objects.create(industry=industry, vehicle=vehicle)
    client.force_login(make_person("guest", role=Person.Role.VISITOR))
    for address in (
        reverse("track:railways"),
        *(reverse(f"track:{name}", args=[place.railway.pk]) for name in READ_BY_ID),
        track.get_absolute_url(),
        industry.get_absolute_url(),
        reverse("track:for-vehicle", args=[other.pk]),
    ):
        answer = client.get(address)
        assert answer.status_code == 200, address
        shown = answer.content.decode().partition("<main")[2]
        for words in ("Edit", "Add a ", "Put ", "Move what", "Give them", "Take their", "Save"):
            assert words not in shown, (address, words)


def test_nobody_when_not_signed_in_then_is_sent_to_sign_in(client, place):
    answer = client.get(reverse("track:railway", args=[place.railway.pk]))
    assert answer.status_code == 302
    assert "next=/tracks/railways/" in answer["Location"]


HOSTILE = "<script>x</script>"


def test_text_when_hostile_then_is_escaped_on_every_page(signed_in, owner):
    railway = make_railway(HOSTILE, notes=HOSTILE)
    place = make_place(railway, HOSTILE)
    track = make_track(place, HOSTILE, duty="running")
    Turnout.objects.create(place=place, name=HOSTILE, frog_number=Decimal(6))
    industry = make_industry(place, track, name=HOSTILE, goods=HOSTILE, kinds=HOSTILE)
    vehicle = make_car(owner, "1", reporting_mark=HOSTILE, kind=HOSTILE)
    make_car(owner, "2", reporting_mark=HOSTILE, kind=HOSTILE)
    engine = make_engine(owner, reporting_mark=HOSTILE)
    put(vehicles=[vehicle], track=track)
    Home.objects.create(industry=industry, vehicle=vehicle)
    run = f"?engine={engine.pk}&n_cars=1&way={track.pk}"
    for address in (
        reverse("track:railways"),
        *(reverse(f"track:{name}", args=[railway.pk]) for name in READ_BY_ID),
        reverse("track:trains", args=[railway.pk]) + run,
        track.get_absolute_url(),
        industry.get_absolute_url(),
        reverse("track:for-vehicle", args=[engine.pk]),
        reverse("track:edit-track", args=[track.pk]),
        reverse("track:edit-railway", args=[railway.pk]),
    ):
        answer = signed_in.get(address)
        assert answer.status_code == 200, address
        shown = answer.content.decode()
        assert "<script>x" not in shown, address
        assert "&lt;script&gt;x" in shown, address


# --- Queries ----------------------------------------------------------------------------------


def fill(owner, n_rows: int) -> tuple[Railway, Track, Industry]:
    """A railway with so many places, each with a turnout, a track, cars and an industry."""
    railway = make_railway()
    width = make_car(owner, "w")
    measure(width, owner, {("body_width", ""): "30 mm"}, exact_instrument())
    make_engine(owner)
    for number in range(1, n_rows + 1):
        place = make_place(railway, f"Place {number}", number)
        frog = Turnout.objects.create(place=place, name="1", frog_number=Decimal(6))
        track = make_track(place, a_reference="frog", a_turnout=frog, duty="running")
        put(vehicles=[make_car(owner, f"1{number}")], track=track)
        industry = make_industry(place, track)
        Home.objects.create(industry=industry, vehicle=make_car(owner, f"2{number}"))
    return railway, track, industry


@pytest.mark.parametrize("n_rows", [1, 3])
def test_railways_list_takes_the_same_queries_however_many_rows(
    signed_in, n_rows, django_assert_num_queries
):
    for number in range(n_rows):
        make_railway(f"Railway {number}")
    # Session, person, railways.
    with django_assert_num_queries(3):
        signed_in.get(reverse("track:railways"))


@pytest.mark.parametrize("n_rows", [1, 3])
@pytest.mark.parametrize(
    ("name", "n_queries"),
    [("railway", 14), ("industries", 18), ("trains", 17), ("report", 16), ("arrange", 14)],
)
def test_page_of_a_railway_takes_the_same_queries_however_many_rows(
    signed_in, owner, n_rows, name, n_queries, django_assert_num_queries
):
    railway, _, _ = fill(owner, n_rows)
    with django_assert_num_queries(n_queries):
        signed_in.get(reverse(f"track:{name}", args=[railway.pk]))


@pytest.mark.parametrize("n_rows", [1, 3])
def test_page_of_a_track_takes_the_same_queries_however_many_rows(
    signed_in, owner, n_rows, django_assert_num_queries
):
    _, track, _ = fill(owner, n_rows)
    for number in range(n_rows):
        put(vehicles=[make_car(owner, f"3{number}", "30")], track=track)
    with django_assert_num_queries(15):
        signed_in.get(track.get_absolute_url())


@pytest.mark.parametrize("n_rows", [1, 3])
def test_page_of_an_industry_takes_the_same_queries_however_many_rows(
    signed_in, owner, n_rows, django_assert_num_queries
):
    _, _, industry = fill(owner, n_rows)
    for number in range(n_rows):
        Home.objects.create(industry=industry, vehicle=make_car(owner, f"3{number}"))
    with django_assert_num_queries(21):
        signed_in.get(industry.get_absolute_url())


@pytest.mark.parametrize("n_rows", [1, 3])
def test_page_of_where_a_vehicle_fits_takes_the_same_queries_however_many_rows(
    signed_in, owner, n_rows, django_assert_num_queries
):
    fill(owner, n_rows)
    address = reverse("track:for-vehicle", args=[make_car(owner, "9").pk])
    with django_assert_num_queries(17):
        signed_in.get(address)


# --- Stock of another family, slack, and where a vehicle comes from -----------------------------


def test_vehicle_when_another_body_names_the_same_scale_then_is_offered(says, owner, place):
    """NEM 010 has H0 at 1:87 on 16.5 mm; NMRA S-1.2 has HO at 1:87.1, on .649 in in S-3.2."""
    track = make_track(place)
    make_car(owner, "1", family="nmra", scale="HO")
    make_car(owner, "2", scale="N")
    words = says("track:track", track.pk)
    assert "1 would fit now" in words
    assert "Alb 2" not in words


def test_best_cut_when_couplings_have_slack_then_takes_as_many_as_fit_with_it(says, owner, place):
    """Four of 120 mm are 480 of 481 mm; with 0.5 mm each they are 482, and only three fit."""
    track = make_track(place, measured="481")
    for number in "1234":
        make_car(owner, number)
    assert len(best_of(says("track:track", track.pk))) == 4
    words = says("track:track", track.pk, slack="0.5")
    assert len(best_of(words)) == 3
    assert "3 vehicles, 361.5 mm 14.232 in ; 119.5 mm 4.705 in left" in words


@pytest.mark.parametrize(
    ("slack", "problem"),
    [
        ("-1", "Slack of each coupling: -1 mm is below zero"),
        ("loose", "Slack of each coupling: “loose” is not a unit known here"),
        ("NaN", "Slack of each coupling: “NaN” is not a unit known here"),
        ("101", "Slack of each coupling: that is more than 100 mm, which no coupling gives"),
        ("0.5 0.6", "Slack of each coupling: Type one number."),
    ],
)
def test_best_cut_when_the_slack_is_none_then_says_so(says, owner, place, slack, problem):
    track = make_track(place)
    make_car(owner, "1")
    assert problem in says("track:track", track.pk, slack=slack)


def test_best_cut_when_a_car_stands_elsewhere_then_says_where(says, owner, place):
    track, other = make_track(place), make_track(place, "Spur", position=2)
    car = make_car(owner, "1")
    put(vehicles=[car], track=other)
    assert says("track:track", track.pk).count("Alb 1 boxcar, from Spur") == 2


# --- Removing ---------------------------------------------------------------------------------


def test_remove_when_asked_then_asks_first_and_keeps_the_vehicles(signed_in, owner, place):
    track, car = make_track(place), make_car(owner, "1")
    put(vehicles=[car], track=track)
    address = reverse("track:remove", args=["track", track.pk])
    assert "The vehicles stay in the record" in words_of(signed_in.get(address))
    assert Track.objects.exists()
    answer = signed_in.post(address)
    assert answer.url == place.railway.get_absolute_url()
    assert not Track.objects.exists()
    assert not Standing.objects.exists()
    assert Vehicle.objects.get() == car


def test_remove_when_a_track_ends_at_the_turnout_then_names_the_track(signed_in, place):
    turnout = Turnout.objects.create(place=place, name="West", frog_number=Decimal(6))
    track = make_track(place, a_reference="points", a_turnout=turnout)
    answer = signed_in.post(reverse("track:remove", args=["turnout", turnout.pk]), follow=True)
    assert "West, Tarn was not removed: Siding ends there." in answer.content.decode()
    assert list(Track.objects.all()) == [track]
    signed_in.post(reverse("track:remove", args=["track", track.pk]))
    signed_in.post(reverse("track:remove", args=["turnout", turnout.pk]))
    assert not Turnout.objects.exists()


@pytest.mark.parametrize("what", ["railway", "place"])
def test_remove_when_a_railway_goes_then_all_that_is_on_it_goes(signed_in, place, what):
    turnout = Turnout.objects.create(place=place, name="West", frog_number=Decimal(6))
    track = make_track(place, a_reference="points", a_turnout=turnout)
    make_industry(place, track)
    pk = {"railway": place.railway.pk, "place": place.pk}[what]
    answer = signed_in.post(reverse("track:remove", args=[what, pk]), follow=True)
    assert answer.status_code == 200
    assert not any(model.objects.exists() for model in (Place, Turnout, Track, Industry, Traffic))


def test_remove_when_an_industry_or_its_traffic_goes_then_the_track_stays(signed_in, place):
    industry = make_industry(place, make_track(place))
    traffic = Traffic.objects.get()
    answer = signed_in.post(reverse("track:remove", args=["traffic", traffic.pk]))
    assert answer.url == industry.get_absolute_url()
    signed_in.post(reverse("track:remove", args=["industry", industry.pk]))
    assert not Industry.objects.exists()
    assert Track.objects.exists()


def test_remove_when_there_is_no_such_thing_then_is_not_found(signed_in, place):
    assert signed_in.get("/tracks/remove/vehicle/1/").status_code == 404
    absent = reverse("track:remove", args=["track", ABSENT])
    assert signed_in.post(absent).status_code == 404


def test_remove_when_a_visitor_asks_then_is_refused(client, place):
    client.force_login(make_person("guest", role=Person.Role.VISITOR))
    answer = client.post(reverse("track:remove", args=["railway", place.railway.pk]))
    assert answer.status_code == 403
    assert Railway.objects.exists()
