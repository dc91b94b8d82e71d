"""Reports, bad orders, running and evidence, through the pages as a person uses them."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from importlib import import_module

import pytest
from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from inventory.people.models import Person
from inventory.stock.models import Vehicle
from inventory.stock.recording import finish_inspection
from inventory.stock.verdicts import rejudge_vehicle
from inventory.track.fit import answers, pool_for, stood
from inventory.track.fitting import Code
from inventory.track.models import Place, Railway, Track, Turnout
from inventory.track.standing import candidates, put
from inventory.trackwork.recording import trackwork_of
from inventory.trouble.counting import count
from inventory.trouble.evidence import Blame
from inventory.trouble.models import Hold, Incident, IncidentPhoto, Involved, RunningSession, Turn
from inventory.trouble.recording import (
    Seen,
    TroubleRefused,
    note_running,
    release,
    take_out,
    waits_for,
)
from inventory.trouble.recording import report as keep_report
from inventory.trouble.spots import spots_of
from standards.judging import Service
from tests.factories import make_person, make_vehicle, measure, sound

pytestmark = pytest.mark.django_db


@pytest.fixture
def railway(db) -> Railway:
    """Two places; in the first a turnout with a spur, in the second one track."""
    made = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    tarn = Place.objects.create(railway=made, name="Tarn", position=1)
    moor = Place.objects.create(railway=made, name="Moor", position=2)
    east = Turnout.objects.create(place=tarn, name="East turnout", frog_number=6)
    Track.objects.create(
        place=tarn,
        name="Spur",
        measured=500,
        a_reference="clearance mark",
        a_turnout=None,
        b_reference="buffer stop",
    )
    Track.objects.create(
        place=moor,
        name="Loop",
        measured=900,
        a_reference="clearance mark",
        b_reference="clearance mark",
    )
    assert east.pk
    return made


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def photographed() -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (40, 20), "white").save(file, "JPEG")
    return file.getvalue()


def spot(railway: Railway, name: str):
    return next(each for each in spots_of(railway) if each.name == name)


def fell(railway: Railway, vehicle: Vehicle, by: Person, where="East turnout, Tarn", **facts):
    told = {"happened": "frog-climb", "happened_at": timezone.now(), **facts}
    return keep_report(seen=Seen(spot=spot(railway, where), first=vehicle, **told), by=by)


def filled(railway: Railway, vehicle: Vehicle, **changed) -> dict[str, object]:
    turnout = Turnout.objects.get(place__railway=railway)
    return {
        "first": vehicle.pk,
        "where": f"turnout-{turnout.pk}",
        "happened": "points",
        "is_held": "on",
        **changed,
    }


def address(railway: Railway) -> str:
    return reverse("trouble:report-on", args=[railway.pk])


def tight_car(owner: Person) -> Vehicle:
    """Its back-to-back is 14.20 mm; S-4.2 asks at least 14.376 (0.566 in) in HO."""
    car = make_vehicle(owner, axles=2)
    inspection = measure(
        car,
        owner,
        {("back_to_back", "1"): "14.45", ("back_to_back", "2"): "14.20", **sound(1, 2)},
    )
    finish_inspection(inspection=inspection, service=Service.BAD_ORDER, statement="", by=owner)
    car.refresh_from_db()
    return car


# --- Reports ----------------------------------------------------------------------------------


def test_report_when_sent_then_keeps_what_was_seen_and_holds_the_vehicle(
    signed_in, railway, owner
):
    car = make_vehicle(owner)
    other = make_vehicle(owner, number="89")

    answer = signed_in.post(
        address(railway),
        filled(railway, car, way="facing", effort="pushed", behind=other.pk, position="3"),
    )

    kept = Incident.objects.get()
    assert answer.url == kept.get_absolute_url()
    assert (kept.where, kept.way, kept.effort, kept.position) == (
        "East turnout, Tarn",
        "facing",
        "pushed",
        3,
    )
    assert {(each.vehicle, each.part) for each in kept.involved.all()} == {
        (car, "first"),
        (other, "behind"),
    }
    car.refresh_from_db()
    assert car.service == "bad order"
    assert "picked the points, East turnout, Tarn" in car.held_because
    assert "Print its tag" in signed_in.get(kept.get_absolute_url()).content.decode()


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("first", "", "Pick the vehicle that went first"),
        ("first", "987654", "not of the gauge and scale"),
        ("where", "", "Pick where it happened"),
        ("happened", "", "Pick what happened"),
        ("on", "2999-01-01", "still to come"),
        ("position", "0", "greater than or equal to 1"),
        ("first", "1' or 1=1", "not of the gauge and scale"),
    ],
)
def test_report_when_a_field_is_bad_then_says_which_and_keeps_nothing(
    signed_in, railway, owner, field, value, words
):
    car = make_vehicle(owner)

    answer = signed_in.post(address(railway), filled(railway, car, note="kept", **{field: value}))

    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    assert "kept" in page
    assert not Incident.objects.exists()


def test_report_when_the_spot_is_of_another_railway_then_is_refused_in_words(
    signed_in, railway, owner
):
    other = Railway.objects.create(name="Other line", family="nmra", scale="HO")
    place = Place.objects.create(railway=other, name="Far", position=1)
    stray = Turnout.objects.create(place=place, name="Stray", frog_number=6)

    answer = signed_in.post(
        address(railway),
        filled(railway, make_vehicle(owner), where=f"turnout-{stray.pk}"),
    )

    assert answer.status_code == 422
    assert "That spot is not on Alder Branch" in answer.content.decode()


def test_report_when_a_vehicle_is_named_twice_then_is_refused_in_words(signed_in, railway, owner):
    car = make_vehicle(owner)

    answer = signed_in.post(address(railway), filled(railway, car, ahead=car.pk))

    assert answer.status_code == 422
    assert "is named twice" in answer.content.decode()
    assert not Incident.objects.exists()


def test_report_on_a_vehicle_that_is_held_then_is_kept_and_says_so(signed_in, railway, owner):
    car = make_vehicle(owner)
    take_out(subject=car, reason="wobbles", by=owner)

    page = signed_in.post(address(railway), filled(railway, car), follow=True).content.decode()

    assert "was out of service already (wobbles)" in page
    assert Involved.objects.get().was_held
    assert Hold.objects.count() == 1


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        ("Coupler droops. Waits for a spring.", "Coupler droops. Waits for a spring."),
        ("wobbles", "wobbles."),
        ("Wheels?", "Wheels?"),
    ],
)
def test_reason_that_ends_itself_then_gets_no_second_full_stop(signed_in, owner, reason, said):
    car = make_vehicle(owner)
    take_out(subject=car, reason=reason, by=owner)

    for address in (car.get_absolute_url(), reverse("trouble:vehicle", args=[car.pk])):
        page = re.sub(r"<[^>]*>", "", signed_in.get(address).content.decode())
        told = page.partition("Out of service: ")[2].partition("\n")[0]
        assert told.startswith(said)
        assert ".." not in told


def test_report_in_the_future_then_is_refused_by_the_writer_too(railway, owner):
    with pytest.raises(TroubleRefused, match="still to come"):
        fell(railway, make_vehicle(owner), owner, happened_at=timezone.now() + timedelta(days=2))


def test_report_when_withdrawn_then_stays_and_counts_no_more(signed_in, railway, owner):
    car = make_vehicle(owner)
    kept = fell(railway, car, owner)
    assert count(railway).findings is not None
    to = reverse("trouble:withdraw", args=[kept.pk])

    signed_in.post(to, {"because": " "})
    kept.refresh_from_db()
    assert kept.withdrawn_at is None
    signed_in.post(to, {"because": "entered twice"})

    assert "entered twice" in signed_in.get(kept.get_absolute_url()).content.decode()
    assert count(railway).findings is None


# --- Bad orders -------------------------------------------------------------------------------


def test_inspection_that_states_bad_order_then_opens_a_hold_with_what_was_outside(owner):
    car = tight_car(owner)

    held = car.holds.get()

    assert held.broken == [["back_to_back", "2"]]
    assert held.held_by == owner
    assert "Back-to-back, axle 2" in held.reason
    assert waits_for(held) == ["Back-to-back, axle 2 to be within; it is outside"]


def test_release_when_a_limit_was_broken_then_takes_a_later_inspection_within(owner):
    car = tight_car(owner)
    held = car.holds.get()
    with pytest.raises(TroubleRefused, match="still waits for Back-to-back, axle 2"):
        release(held=held, done="spread the wheels", by=owner)

    again = measure(car, owner, {("back_to_back", "2"): "14.45"})
    assert waits_for(held) == [
        "the inspection that found Back-to-back, axle 2 within to be finished"
    ]
    finish_inspection(inspection=again, service=Service.FIT, statement="", by=owner)
    car.refresh_from_db()
    assert car.service == "bad order"  # until somebody releases it

    release(held=held, done="spread the wheels", by=owner)

    car.refresh_from_db()
    assert (car.service, car.held_because) == ("fit to run", "")
    held.refresh_from_db()
    assert (held.released_by, held.done) == (owner, "spread the wheels")


def test_release_without_what_was_done_then_is_refused_and_nothing_is_lost(signed_in, owner):
    car = make_vehicle(owner)
    held = take_out(subject=car, reason="wobbles", by=owner)

    answer = signed_in.post(held.get_absolute_url(), {"done": "  "})

    assert answer.status_code == 422
    assert "Write what was done" in answer.content.decode()
    held.refresh_from_db()
    assert held.is_open


def test_release_twice_then_the_second_is_told(signed_in, owner):
    car = make_vehicle(owner)
    held = take_out(subject=car, reason="wobbles", by=owner)
    release(held=held, done="screw tightened", by=owner)

    answer = signed_in.post(held.get_absolute_url(), {"done": "again"})

    assert answer.status_code == 422
    assert Hold.objects.get().done == "screw tightened"
    with pytest.raises(TroubleRefused, match="was released by owner already"):
        release(held=held, done="again", by=owner)


def test_release_when_never_inspected_then_awaits_inspection(owner):
    car = make_vehicle(owner)
    held = take_out(subject=car, reason="wobbles", by=owner)

    release(held=held, done="screw tightened", by=owner)

    car.refresh_from_db()
    assert car.service == "awaiting inspection"


def test_held_vehicle_when_judged_again_or_edited_then_stays_held(owner):
    car = make_vehicle(owner, axles=2)
    readings = {("back_to_back", axle): "14.45" for axle in "12"} | sound(1, 2)
    finish_inspection(
        inspection=measure(car, owner, readings), service=Service.FIT, statement="", by=owner
    )
    stale = Vehicle.objects.get(pk=car.pk)
    take_out(subject=car, reason="wobbles", by=owner)

    from inventory.stock.recording import amend_vehicle

    stale.maker = "Nimbrook"
    amend_vehicle(vehicle=stale, seen_revision=stale.revision, by=owner)
    rejudge_vehicle(Vehicle.objects.get(pk=car.pk))

    now = Vehicle.objects.get(pk=car.pk)
    assert (now.held_because, now.service, now.maker) == ("wobbles", "bad order", "Nimbrook")


def test_held_vehicle_then_is_left_out_of_fit_with_its_reason(railway, owner):
    car = make_vehicle(owner, axles=2)
    measure(car, owner, {("length_over_couplers", ""): "150"})
    take_out(subject=car, reason="wobbles", by=owner)
    here = next(each for each in stood(railway) if each.track.name == "Loop")

    (answer,) = answers(here, pool_for(railway))

    assert not answer.fits
    assert any("wobbles" in refusal.words for refusal in answer.refusals)
    assert candidates(Vehicle.objects.all())[0].held_because == "wobbles"


def test_held_turnout_then_bars_the_track_behind_it_until_released(signed_in, railway, owner):
    east = Turnout.objects.get(name="East turnout")
    Track.objects.filter(name="Spur").update(a_reference="frog", a_turnout=east)
    car = make_vehicle(owner, axles=2)
    measure(car, owner, {("length_over_couplers", ""): "150", ("body_width", ""): "33"})
    Vehicle.objects.update(service="fit to run")
    spur = Track.objects.get(name="Spur")
    Track.objects.update(final_centres=55)

    def refused() -> set[Code]:
        here = stood(
            railway,
            [
                Track.objects.select_related("place__railway", "a_turnout", "b_turnout").get(
                    pk=spur.pk
                )
            ],
        )[0]
        return {r.code for answer in answers(here, pool_for(railway)) for r in answer.refusals}

    assert Code.BARRED not in refused()
    held = take_out(subject=trackwork_of(turnout=east), reason="blade loose", by=owner)
    assert Code.BARRED in refused()
    page = signed_in.get(reverse("track:trains", args=[railway.pk])).content.decode()
    assert "East turnout is out of service: blade loose" in page

    release(held=held, done="soldered", by=owner)
    assert Code.BARRED not in refused()


def test_trackwork_when_removed_then_its_turnout_is_held_no_longer(railway, owner):
    east = Turnout.objects.get(name="East turnout")
    piece = trackwork_of(turnout=east)
    take_out(subject=piece, reason="blade loose", by=owner)

    piece.delete()

    east.refresh_from_db()
    assert east.held_because == ""


def test_board_then_lists_the_oldest_first_with_what_each_waits_for(signed_in, owner):
    late = make_vehicle(owner, number="2")
    early = make_vehicle(owner, number="1")
    take_out(subject=late, reason="late one", by=owner)
    take_out(
        subject=early, reason="early one", by=owner, moment=timezone.now() - timedelta(days=9)
    )

    page = signed_in.get(reverse("trouble:board")).content.decode()

    assert page.index("early one") < page.index("late one")
    assert "waits to be released" in page


def test_hold_by_hand_without_a_reason_then_asks_for_one(signed_in, owner):
    car = make_vehicle(owner)
    to = reverse("trouble:hold-vehicle", args=[car.pk])

    answer = signed_in.post(to, {"reason": " "})
    assert answer.status_code == 422
    assert not Hold.objects.exists()

    assert (
        signed_in.post(to, {"reason": "loose screw"}).url == Hold.objects.get().get_absolute_url()
    )
    assert signed_in.post(to, {"reason": "again"}).url == Hold.objects.get().get_absolute_url()


def test_tag_then_says_what_and_why(signed_in, owner):
    car = tight_car(owner)

    page = signed_in.get(reverse("paper:tag", args=[car.holds.get().pk])).content.decode()

    assert "BRV 88" in page
    assert "Back-to-back, axle 2" in page


def test_visitor_then_reads_and_writes_nothing(client, railway, owner):
    car = make_vehicle(owner)
    held = take_out(subject=car, reason="wobbles", by=owner)
    visitor = make_person("visitor", role=Person.Role.VISITOR)
    client.force_login(visitor)

    for name, args in [
        ("board", []),
        ("hold", [held.pk]),
        ("vehicle", [car.pk]),
        ("railway", [railway.pk]),
        ("reports", []),
        ("running", []),
    ]:
        assert client.get(reverse(f"trouble:{name}", args=args)).status_code == 200
    for name, args in [
        ("report-on", [railway.pk]),
        ("run-on", [railway.pk]),
        ("hold", [held.pk]),
        ("hold-vehicle", [car.pk]),
    ]:
        assert client.post(reverse(f"trouble:{name}", args=args), {}).status_code == 403
    held.refresh_from_db()
    assert held.is_open


# --- Running ----------------------------------------------------------------------------------


def laps(railway: Railway, **changed) -> dict[str, object]:
    places = [str(place.pk) for place in railway.places.all()]
    today = timezone.localdate().isoformat()
    return {"laps": "12", "who": "standing", "places": places, "on": today, **changed}


def test_running_when_everything_that_stands_ran_then_counts_what_may_run(
    signed_in, railway, owner
):
    ran, lame = make_vehicle(owner), make_vehicle(owner, number="89")
    put(vehicles=[ran, lame], track=Track.objects.get(name="Loop"))
    take_out(subject=lame, reason="wobbles", by=owner)

    signed_in.post(reverse("trouble:run-on", args=[railway.pk]), laps(railway))

    turn = Turn.objects.get()
    assert turn.passages == 12
    assert list(turn.vehicles.all()) == [ran]
    assert (turn.turnouts.count(), turn.tracks.count()) == (1, 2)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"laps": "0"}, "0 laps tell nothing"),
        ({"laps": "-3"}, "0 laps tell nothing"),
        ({"laps": "many"}, "whole number"),
        ({"laps": "100000000"}, "less than or equal to 10000"),
        ({"who": "picked"}, "Tick who ran"),
        ({"places": []}, "Tick where they ran"),
        ({"places": ["987654"]}, "not on Alder Branch"),
        ({"on": "2999-01-01"}, "still to come"),
        ({}, "tick who ran"),
    ],
)
def test_running_when_it_cannot_be_then_says_why_and_notes_nothing(
    signed_in, railway, owner, changed, words
):
    answer = signed_in.post(reverse("trouble:run-on", args=[railway.pk]), laps(railway, **changed))

    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not RunningSession.objects.exists()


def test_running_when_fewer_than_the_derailments_then_says_that_this_cannot_be(
    signed_in, railway, owner
):
    car = make_vehicle(owner)
    put(vehicles=[car], track=Track.objects.get(name="Loop"))
    for _ in range(3):
        fell(railway, car, owner)

    page = signed_in.post(
        reverse("trouble:run-on", args=[railway.pk]), laps(railway, laps="2"), follow=True
    ).content.decode()

    assert "BRV 88 at East turnout, Tarn: derailed 3 times in 2 noted passages" in page
    counted = count(railway)
    assert counted.findings is not None  # taken as three passages, the least there can have been
    assert counted.vehicle(car.pk).figures.observed == 3


def test_evidence_when_nothing_ran_or_fell_then_every_page_says_so(signed_in, railway, owner):
    car = make_vehicle(owner)
    piece = trackwork_of(turnout=Turnout.objects.get(name="East turnout"))

    for name, pk in [("railway", railway.pk), ("trackwork", piece.pk)]:
        page = signed_in.get(reverse(f"trouble:{name}", args=[pk])).content.decode()
        assert "nothing can be counted" in page
    assert signed_in.get(reverse("trouble:vehicle", args=[car.pk])).status_code == 200


# --- Car or track? ----------------------------------------------------------------------------


def test_count_when_laid_down_as_the_car_or_track_example_then_blames_the_turnout(
    signed_in, railway, owner
):
    """The vector of indirect standardisation: runs [T1, T2, yard], A, B, C = 40, 20, 60;
    D = 10, 50, 20; E = 40, 10, 60; derailments A, B at T2 and C at T1 once, D at T2 four times.
    Figures worked out by hand from the formula of an SMR (Breslow and Day 1987, from memory):
    D expected 2.55882, P(X >= 4), places held, 0.2199245."""
    tarn = Place.objects.get(name="Tarn")
    for name in ("T1", "T2", "Yard"):
        Turnout.objects.create(place=tarn, name=name, frog_number=6)
    runs = {
        "A": (40, 20, 60),
        "B": (40, 20, 60),
        "C": (40, 20, 60),
        "D": (10, 50, 20),
        "E": (40, 10, 60),
    }
    cars = {name: make_vehicle(owner, reporting_mark="Q", number=name) for name in runs}
    for name, passages in runs.items():
        for where, number in zip(("T1", "T2", "Yard"), passages, strict=True):
            note_running(
                railway=railway,
                held_on=timezone.localdate(),
                passages=number,
                vehicles=[cars[name]],
                spots=[spot(railway, f"{where}, Tarn")],
                by=owner,
            )
    for name, where in [("A", "T2"), ("B", "T2"), ("C", "T1"), *[("D", "T2")] * 4]:
        fell(railway, cars[name], owner, f"{where}, Tarn")
    fell(railway, cars["A"], owner, "T2, Tarn", happened="uncoupled")  # no derailment

    counted = count(railway)

    d = counted.vehicle(cars["D"].pk)
    assert d.figures.expected == pytest.approx(2.55882, abs=1e-5)
    assert d.figures.p == pytest.approx(0.2199245, abs=1e-7)
    assert d.blame is not Blame.CULPRIT
    t2 = Turnout.objects.get(name="T2")
    assert counted.spot(f"turnout-{t2.pk}").blame is Blame.CULPRIT
    assert counted.n_other == 1
    said = " ".join(
        signed_in.get(reverse("trouble:railway", args=[railway.pk])).content.decode().split()
    )
    assert "1 report was no derailment and is not counted." in said
    assert RunningSession.objects.count() == 1


def test_vehicle_page_then_puts_what_is_out_of_tolerance_first(signed_in, railway, owner):
    car = tight_car(owner)
    fell(railway, car, owner)

    page = signed_in.get(reverse("trouble:vehicle", args=[car.pk])).content.decode()

    assert "Mend what is out of tolerance first: Back-to-back, axle 2" in page
    assert "Spread the wheels on axle 2" in page
    assert "Measure next" in page


def test_board_when_more_is_held_then_asks_the_record_as_often_as_for_one_of_each_kind(
    signed_in, railway, owner, django_assert_max_num_queries
):
    for number in range(3):
        take_out(subject=make_vehicle(owner, number=str(number)), reason="wobbles", by=owner)

    # What each waits for is worked out one by one: a board of a hundred is a sorry railway.
    with django_assert_max_num_queries(12 + 3 * 4):
        signed_in.get(reverse("trouble:board"))


def test_held_engine_when_asked_for_a_train_then_is_named_with_its_reason(
    signed_in, railway, owner
):
    engine = make_vehicle(owner, number="7", category="locomotive", kind="diesel locomotive")
    measure(engine, owner, {("length_over_couplers", ""): "150"})
    take_out(subject=engine, reason="wobbles", by=owner)
    loop = Track.objects.get(name="Loop")

    page = signed_in.get(
        reverse("track:trains", args=[railway.pk]) + f"?engine={engine.pk}&n_cars=0&way={loop.pk}"
    ).content.decode()

    assert "is bad order: wobbles" in page
    where = signed_in.get(reverse("track:for-vehicle", args=[engine.pk])).content.decode()
    assert "wobbles" in where


@pytest.mark.parametrize("address_of", ["session", "hold", "incident"])
def test_page_of_what_is_not_there_then_is_not_found(signed_in, address_of):
    assert signed_in.get(reverse(f"trouble:{address_of}", args=[987654])).status_code == 404


def test_note_with_markup_then_is_shown_as_typed(signed_in, railway, owner):
    car = make_vehicle(owner)
    told = filled(railway, car, note="<script>alert(1)</script>")

    page = signed_in.post(address(railway), told, follow=True).content.decode()

    assert "<script>alert(1)</script>" not in page
    assert "&lt;script&gt;alert(1)" in page


def test_place_when_removed_then_its_reports_stay_and_count_no_more(signed_in, railway, owner):
    car = make_vehicle(owner)
    kept = fell(railway, car, owner)
    Turnout.objects.all().delete()
    Place.objects.all().delete()

    counted = count(railway)

    assert counted.n_lost == 1
    page = signed_in.get(kept.get_absolute_url()).content.decode()
    assert "East turnout, Tarn" in page
    assert signed_in.get(reverse("trouble:vehicle", args=[car.pk])).status_code == 200


def test_two_lettered_alike_then_are_told_apart_in_the_figures(railway, owner):
    one, two = make_vehicle(owner), make_vehicle(owner)
    for car in (one, two):
        fell(railway, car, owner)

    counted = count(railway)

    assert counted.vehicles[one.pk] != counted.vehicles[two.pk]
    assert counted.vehicle(one.pk).figures.observed == 1


def test_older_record_with_a_bad_order_then_is_held_from_its_inspection_on(owner):
    """What migration 0002 does to a record from before there were holds."""
    car, fit = tight_car(owner), make_vehicle(owner, number="2")
    Hold.objects.all().delete()
    Vehicle.objects.update(held_because="")
    migration = import_module("inventory.trouble.migrations.0002_holds_of_bad_orders")

    migration.hold(apps, None)

    held = Hold.objects.get()
    assert (held.vehicle, held.broken) == (car, [["back_to_back", "2"]])
    assert held.held_at == car.inspections.get().finished_at
    car.refresh_from_db()
    assert car.held_because == held.reason
    fit.refresh_from_db()
    assert fit.held_because == ""


def test_report_then_leads_to_the_evidence_on_its_turnout_once_that_is_measured(
    signed_in, railway, owner
):
    kept = fell(railway, make_vehicle(owner), owner)
    assert (
        "The evidence on East turnout"
        not in signed_in.get(kept.get_absolute_url()).content.decode()
    )

    piece = trackwork_of(turnout=Turnout.objects.get(name="East turnout"))

    page = signed_in.get(kept.get_absolute_url()).content.decode()
    assert reverse("trouble:trackwork", args=[piece.pk]) in page


def test_report_with_a_photo_then_shows_it_to_whoever_is_signed_in(
    signed_in, client, railway, owner
):
    told = filled(railway, make_vehicle(owner), photos=SimpleUploadedFile("a.jpg", photographed()))

    page = signed_in.post(address(railway), told, follow=True).content.decode()

    photo = IncidentPhoto.objects.get()
    assert photo.get_absolute_url() in page
    assert photo.thumbnail_address in page
    to = photo.picture_address
    shown = signed_in.get(to)
    assert shown["Content-Type"] == "image/jpeg"
    assert shown.content.startswith(b"\xff\xd8")
    signed_in.logout()
    assert client.get(to).status_code == 302


def test_report_with_what_is_no_photo_then_says_so_and_keeps_nothing(signed_in, railway, owner):
    told = filled(
        railway, make_vehicle(owner), photos=SimpleUploadedFile("a.jpg", b"<svg/>"), note="stays"
    )

    answer = signed_in.post(address(railway), told)

    assert answer.status_code == 422
    page = answer.content.decode()
    assert "a.jpg is no JPEG, PNG or WebP picture" in page
    assert "stays" in page
    assert not Incident.objects.exists()
