"""Leaving the stock and coming back: the writers, the pages, what every other room makes of it."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock import history
from inventory.stock.models import HouseLimit, Inspection, Vehicle, Verdict
from inventory.stock.recording import (
    Departure,
    LeftTheStock,
    Overtaken,
    Running,
    TwinExists,
    bring_back,
    finish_inspection,
    log_vehicle,
    note_last_inspected,
    open_inspection,
    retire,
    set_house_limit,
)
from inventory.stock.tables import FormerTable
from inventory.stock.verdicts import settle_service
from inventory.track.clearing import Widest
from inventory.track.fit import pool_for
from inventory.track.homes import give_homes, set_home_track
from inventory.track.models import Industry, Place, Railway, Standing, Track, Turnout
from inventory.track.standing import put
from inventory.trouble.counting import count
from inventory.trouble.models import Hold
from inventory.trouble.recording import Seen, TroubleRefused, note_running, take_out
from inventory.trouble.recording import report as keep_report
from inventory.trouble.routine import due, evening, moving, number_due
from inventory.trouble.spots import spots_of
from standards.judging import Service
from tests.factories import make_person, make_vehicle, measure, sound

pytestmark = pytest.mark.django_db

SOLD = Departure("sold", date(2026, 5, 3), Decimal("32.50"), "to a friend")


def leave(vehicle: Vehicle, by: Person, how: str = "sold", **facts) -> Vehicle:
    now = Vehicle.everyone.get(pk=vehicle.pk)
    departure = Departure(how, date(2026, 5, 3), **facts)
    return retire(vehicle=now, departure=departure, by=by, seen_revision=now.revision)


def return_(vehicle: Vehicle, by: Person, because: str = "bought back") -> Vehicle:
    now = Vehicle.everyone.get(pk=vehicle.pk)
    return bring_back(vehicle=now, because=because, by=by, seen_revision=now.revision)


def fit_car(by: Person, number: str = "88", **facts) -> Vehicle:
    """S-4.2 in HO asks at least 14.376 mm between the backs, so that 14.45 is within."""
    car = make_vehicle(by, number=number, **facts)
    readings = {("back_to_back", "1"): "14.45", ("back_to_back", "2"): "14.45", **sound(1, 2)}
    inspection = measure(car, by, readings)
    finish_inspection(inspection=inspection, service=Service.FIT, statement="fine", by=by)
    car.refresh_from_db()
    return car


@pytest.fixture
def railway(db) -> Railway:
    made = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=made, name="Tarn", position=1)
    Turnout.objects.create(place=place, name="East", frog_number=6)
    ends = {"a_reference": "clearance mark", "b_reference": "clearance mark"}
    Track.objects.create(place=place, name="Siding", measured=900, **ends)
    Industry.objects.create(place=place, name="Mill")
    return made


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def page(client, name: str, *args, **query) -> str:
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


# --- The writers ------------------------------------------------------------------------------


def test_retire_then_it_stays_with_how_when_and_for_what(owner):
    car = make_vehicle(owner, currency="EUR")
    left = retire(vehicle=car, departure=SOLD, by=owner, seen_revision=car.revision)
    assert (left.retired_as, left.retired_on, left.retired_price, left.retired_note) == (
        "sold",
        date(2026, 5, 3),
        Decimal("32.50"),
        "to a friend",
    )
    assert not Vehicle.objects.exists()
    change = left.changes.get()
    assert (change.what, change.after, change.note, change.by) == (
        "retired",
        "sold, 2026-05-03, for 32.50 EUR",
        "to a friend",
        owner,
    )


def test_retire_when_somebody_saved_it_since_then_nothing_is_written(owner):
    car = make_vehicle(owner)
    Vehicle.objects.update(revision=7)
    with pytest.raises(Overtaken):
        retire(vehicle=car, departure=SOLD, by=owner, seen_revision=1)
    assert Vehicle.objects.get().retired_as == ""
    assert not car.changes.exists()


def test_retire_when_it_has_left_already_then_is_refused(owner):
    left = leave(make_vehicle(owner), owner)
    with pytest.raises(Overtaken):
        retire(vehicle=left, departure=SOLD, by=owner, seen_revision=left.revision)
    with pytest.raises(Overtaken):
        car = make_vehicle(owner, number="2")
        bring_back(vehicle=car, because="?", by=owner, seen_revision=car.revision)


def test_retire_then_track_and_trouble_let_go_of_it(owner, railway):
    car = make_vehicle(owner)
    siding, mill = Track.objects.get(), Industry.objects.get()
    put(vehicles=[car], track=siding)
    give_homes(industry=mill, vehicles=[car], by=owner)
    set_home_track(vehicle=car, track=siding, by=owner)
    take_out(subject=car, reason="wobbles", by=owner)
    other = make_person("second")

    left = leave(car, other, "scrapped")

    assert left.held_because == ""
    assert not Standing.objects.exists()
    assert not left.homes.exists()
    assert not hasattr(left, "home_track")
    held = Hold.objects.get()
    assert (held.done, held.released_by) == ("retired: scrapped", other)
    noted = left.changes.filter(note="retired: scrapped").values_list("what", "before", "after")
    assert set(noted) == {
        ("home", "Mill, Tarn", ""),
        ("home track", "Siding, Tarn", ""),
        ("standing", "Siding, Tarn", ""),
    }


def test_bring_back_then_it_awaits_inspection_whatever_was_stated_before(owner):
    car = fit_car(owner)
    assert car.service == Service.FIT.value
    leave(car, owner)
    back = return_(car, owner)
    assert back.service == Service.AWAITING.value
    assert (back.retired_as, back.retired_on, back.retired_price) == ("", None, None)
    # Nor does anything that settles its service later take the old word for it.
    settle_service(back)
    assert back.service == Service.AWAITING.value
    inspection = measure(back, owner, {("back_to_back", "1"): "14.45"})
    finish_inspection(inspection=inspection, service=Service.FIT, statement="", by=owner)
    settle_service(Vehicle.objects.get())
    assert Vehicle.objects.get().service == Service.FIT.value


def test_bring_back_then_it_is_judged_by_the_limits_that_came_meanwhile(owner):
    car = fit_car(owner)
    leave(car, owner)
    set_house_limit(
        limit=HouseLimit(
            quantity="back_to_back", family="nmra", scale="HO", low=Decimal("14.6"), reason="ours"
        ),
        by=owner,
    )
    assert set(outcomes(car)) == {"within"}  # away, it is not judged again
    return_(car, owner)
    assert set(outcomes(car)) == {"outside"}


def outcomes(car: Vehicle) -> list[str]:
    now = Vehicle.everyone.for_page().get(pk=car.pk)
    found = Verdict.objects.standing_for(now)
    return [each.outcome for each in found if each.quantity == "back_to_back"]


def test_nothing_is_measured_of_what_has_left(owner):
    car = make_vehicle(owner)
    inspection = measure(car, owner, {("back_to_back", "1"): "14.45"})
    leave(car, owner, "given")
    for attempt in (
        lambda: open_inspection(vehicle=car, reason="routine", by=owner),
        lambda: finish_inspection(
            inspection=inspection, service=Service.FIT, statement="", by=owner
        ),
    ):
        with pytest.raises(LeftTheStock, match=r"has left the stock \(given away\)"):
            attempt()
    with pytest.raises(TroubleRefused, match="bring it back first"):
        take_out(subject=car, reason="wobbles", by=owner)
    return_(car, owner)
    assert open_inspection(vehicle=car, reason="routine", by=owner) == inspection


def test_a_twin_of_what_has_left_may_be_logged(owner):
    make = {
        "reporting_mark": "BRV",
        "number": "88",
        "kind": "boxcar",
        "family": "nmra",
        "scale": "HO",
    }
    car = make_vehicle(owner)
    with pytest.raises(TwinExists):
        log_vehicle(vehicle=Vehicle(**make), running=Running(), by=owner, is_another=False)
    leave(car, owner)
    log_vehicle(vehicle=Vehicle(**make), running=Running(), by=owner, is_another=False)
    assert Vehicle.objects.count() == 1


# --- What every other room makes of it ----------------------------------------------------------


def test_lists_pools_and_counts_leave_out_what_has_left(signed_in, owner, railway):
    car = fit_car(owner)
    measure(car, owner, {("body_width", ""): "34", ("length_over_couplers", ""): "150"})
    assert Widest.of(railway).width == 34
    assert pool_for(railway)
    leave(car, owner)
    assert Widest.of(railway).width is None
    assert pool_for(railway) == []
    assert dict(history.service_counts())[Service.FIT.value] == 0
    assert history.words_in_use()["reporting_mark"] == []
    assert history.scales_in_use() == []
    assert list(due(months=1, laps=1)) == evening() == moving() == []
    for name in ("stock:vehicle-list", "bench:start", "trouble:board"):
        assert "BRV 88" not in page(signed_in, name), name
    for name in ("track:trains", "track:arrange", "track:report", "trackwork:overview"):
        assert "BRV 88" not in page(signed_in, name, railway.pk), name
    assert "BRV 88" not in page(signed_in, "trouble:report-on", railway.pk)


def test_routine_when_it_is_overdue_then_is_so_until_it_leaves(owner):
    car = fit_car(owner)
    Inspection.objects.update(finished_at=timezone.now() - timedelta(days=800))
    note_last_inspected()
    assert [each.vehicle for each in due(months=12, laps=500)] == [car]
    assert number_due() == 1
    leave(car, owner)
    assert number_due() == 0


def test_rejudge_when_it_has_left_then_is_passed_over(owner, capsys):
    leave(fit_car(owner), owner)
    call_command("rejudge", "--check")
    assert "0 vehicles judged again" in capsys.readouterr().out


def ran_and_fell(railway: Railway, by: Person) -> tuple[Vehicle, Vehicle]:
    """One that derails at the turnout in three of its ten laps, and one that never does."""
    bad, good = make_vehicle(by, number="1"), make_vehicle(by, number="2")
    spots = [each for each in spots_of(railway) if each.kind != "place"]
    note_running(
        railway=railway,
        held_on=timezone.localdate(),
        passages=10,
        vehicles=[bad, good],
        spots=spots,
        by=by,
    )
    for _ in range(3):
        seen = Seen(spots[0], "frog-climb", timezone.now(), bad)
        keep_report(seen=seen, by=by)
    return bad, good


def test_evidence_when_one_has_left_then_what_it_did_still_counts(signed_in, owner, railway):
    bad, good = ran_and_fell(railway, owner)
    before = count(railway)
    leave(bad, owner)
    leave(good, owner, "given")
    after = count(railway)
    assert after.vehicles[bad.pk] == "BRV 1 (sold)"
    assert after.vehicles[good.pk] == "BRV 2 (given away)"
    for pk in (bad.pk, good.pk):
        assert after.vehicle(pk).figures.observed == before.vehicle(pk).figures.observed
        assert after.vehicle(pk).figures.passages == before.vehicle(pk).figures.passages
    turnout = next(key for key in after.spots if key.startswith("turnout"))
    assert after.spot(turnout).figures.passages == before.spot(turnout).figures.passages == 20
    about = page(signed_in, "trouble:vehicle", bad.pk)
    assert "not everything was measured" in about
    assert "Measure next" not in about
    # But no run is asked of what is not there.
    assert after.findings.crossing is None
    assert "BRV 1 (sold)" in page(signed_in, "trouble:railway", railway.pk)
    session = railway.running.get()
    assert "2 vehicles:" in page(signed_in, "trouble:session", session.pk)
    assert "2 vehicles, 10 laps" in page(signed_in, "trouble:running")


def test_evidence_when_one_was_entered_by_mistake_then_it_counts_nowhere(
    signed_in, owner, railway
):
    bad, good = ran_and_fell(railway, owner)
    leave(bad, owner, "mistaken")
    counted = count(railway)
    assert bad.pk not in counted.vehicles
    assert counted.vehicle(good.pk).figures.passages == 20
    assert (counted.n_mistaken, counted.n_lost, counted.n_other) == (3, 0, 0)
    assert counted.findings.sentence.startswith("No derailment in 20 passages")
    words = page(signed_in, "trouble:railway", railway.pk)
    assert "3 name a vehicle that was entered by mistake" in words
    assert "It was entered by mistake and counts nowhere." in page(
        signed_in, "trouble:vehicle", bad.pk
    )


# --- The pages --------------------------------------------------------------------------------


def told(car: Vehicle, **changed) -> dict[str, object]:
    return {
        "how": "sold",
        "on": "2026-05-03",
        "price": "32,50",
        "note": "to a friend",
        "revision": car.revision,
        **changed,
    }


def test_retire_page_says_what_happens_then_does_it(signed_in, owner, railway):
    car = make_vehicle(owner, currency="EUR")
    put(vehicles=[car], track=Track.objects.get())
    give_homes(industry=Industry.objects.get(), vehicles=[car], by=owner)
    take_out(subject=car, reason="wobbles", by=owner)
    address = reverse("stock:retire", args=[car.pk])
    words = page(signed_in, "stock:retire", car.pk)
    for said in (
        "It is taken off Siding, Tarn.",
        "It is no longer at home at Mill, Tarn.",
        "It is out of service (wobbles); that ends, in your name.",
        "Nothing is deleted",
        "Price in EUR",
    ):
        assert said in words

    answer = signed_in.post(address, told(car), follow=True)

    assert Vehicle.everyone.get().retired_price == Decimal("32.50")
    shown = answer.content.decode()
    assert "No longer in the stock." in shown
    assert "Sold on 3 May 2026 for 32.50 EUR: to a friend." in shown
    for gone in (">Inspect<", "Take out of service", "Report trouble", "Where does it fit?"):
        assert gone not in shown.partition("<main")[2], gone
    assert reverse("stock:bring-back", args=[car.pk]) in shown
    assert reverse("ledger:history", args=[car.pk]) in shown


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"how": ""}, "Pick how it leaves the stock."),
        ({"on": "2999-01-01"}, "2999-01-01 is still to come"),
        ({"on": "2020-01-01"}, "before it was acquired, 2024-02-10"),
        ({"how": "given"}, "Only what is sold has a price"),
        ({"price": "-1"}, "less than the least allowed"),
        ({"price": "much"}, "cannot be read"),
        ({"price": "1", "currency": ""}, "Name the currency"),
        ({"price": "1", "currency": "euro"}, "long"),
        ({"price": "1", "currency": "e1"}, "Three capitals"),
    ],
)
def test_retire_page_when_something_is_wrong_then_says_so_and_keeps_it(
    signed_in, owner, changed, words
):
    car = make_vehicle(owner, acquired_on=date(2024, 2, 10))
    answer = signed_in.post(
        reverse("stock:retire", args=[car.pk]),
        told(car, **{"currency": "EUR", **changed}),
    )
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Vehicle.objects.exists()


def test_retire_page_when_it_has_no_currency_then_takes_the_one_named_and_notes_it(
    signed_in, owner
):
    car = make_vehicle(owner)
    signed_in.post(reverse("stock:retire", args=[car.pk]), told(car, currency="gbp"))
    left = Vehicle.everyone.get()
    assert (left.currency, left.retired_price) == ("GBP", Decimal("32.50"))
    assert left.changes.filter(what="currency", before="", after="GBP").exists()


def test_retire_page_when_sold_without_a_price_then_it_is_missing_and_not_zero(signed_in, owner):
    car = make_vehicle(owner)
    signed_in.post(reverse("stock:retire", args=[car.pk]), told(car, price=""))
    assert Vehicle.everyone.get().retired_price is None
    assert "price not stated" in page(signed_in, "stock:former")


def test_retire_page_when_overtaken_then_the_second_is_told_and_may_send_it_again(
    signed_in, owner
):
    car = make_vehicle(owner)
    Vehicle.objects.update(revision=4)
    answer = signed_in.post(reverse("stock:retire", args=[car.pk]), told(car, price=""))
    assert answer.status_code == 409
    words = answer.content.decode()
    assert "was changed by somebody else in the meantime" in words
    assert 'value="to a friend"' in words
    assert Vehicle.objects.exists()
    assert 'name="revision" value="4"' in words
    signed_in.post(reverse("stock:retire", args=[car.pk]), told(car, price="", revision="4"))
    assert not Vehicle.objects.exists()


def test_retire_page_when_it_has_left_already_then_says_so(signed_in, owner):
    left = leave(make_vehicle(owner), owner)
    answer = signed_in.post(reverse("stock:retire", args=[left.pk]), told(left), follow=True)
    assert "has left the stock already" in answer.content.decode()
    assert left.changes.count() == 1


def test_bring_back_page_asks_why_and_notes_it(signed_in, owner):
    left = leave(make_vehicle(owner), owner, "mistaken", note="twice")
    address = reverse("stock:bring-back", args=[left.pk])
    assert "Entered by mistake, withdrawn on 3 May 2026: twice." in page(
        signed_in, "stock:bring-back", left.pk
    )
    answer = signed_in.post(address, {"because": " ", "revision": left.revision})
    assert answer.status_code == 422
    assert "Write why it comes back" in answer.content.decode()
    stale = signed_in.post(address, {"because": "it is ours", "revision": 1})
    assert stale.status_code == 409
    assert Vehicle.everyone.get().is_retired
    signed_in.post(address, {"because": "it is ours", "revision": left.revision})
    back = Vehicle.objects.get().changes.last()
    assert (back.what, back.before, back.note) == (
        "brought back",
        "entered by mistake",
        "it is ours",
    )
    assert "is in the stock." in signed_in.get(address, follow=True).content.decode()


def test_pages_of_leaving_when_a_visitor_asks_then_are_refused(client, owner):
    car, left = make_vehicle(owner), leave(make_vehicle(owner, number="2"), owner)
    client.force_login(make_person("guest", role=Person.Role.VISITOR))
    for name, pk in (("stock:retire", car.pk), ("stock:bring-back", left.pk)):
        address = reverse(name, args=[pk])
        assert client.get(address).status_code == 403
        assert client.post(address, {"because": "x", **told(car)}).status_code == 403
    assert client.get(reverse("stock:former")).status_code == 200
    assert "Bring it back" not in client.get(left.get_absolute_url()).content.decode()


def test_bench_when_one_has_left_then_its_open_inspection_rests(signed_in, owner):
    car = make_vehicle(owner)
    inspection = measure(car, owner, {("back_to_back", "1"): "14.45"})
    assert "BRV 88" in page(signed_in, "bench:start")
    leave(car, owner)
    assert "BRV 88" not in page(signed_in, "bench:start")
    begun = signed_in.post(
        reverse("bench:begin", args=[car.pk]), {"reason": "routine"}, follow=True
    )
    assert "has left the stock (sold)" in begun.content.decode()
    for name, more in (("resume", ()), ("measure", ("axle-1",)), ("finish", ())):
        answer = signed_in.get(reverse(f"bench:{name}", args=[inspection.pk, *more]))
        assert answer.url == car.get_absolute_url(), name
    answer = signed_in.post(
        reverse("bench:reading", args=[inspection.pk, "axle-1", "back_to_back"]),
        {"back_to_back": "14.50"},
    )
    assert "14.5" not in [str(each.value) for each in inspection.readings.all()]
    assert answer.status_code == 200
    assert "unfinished" in page(signed_in, "stock:vehicle", car.pk)
    assert f'href="{reverse("bench:resume", args=[inspection.pk])}"' not in page(
        signed_in, "stock:vehicle", car.pk
    )


def test_running_gear_when_one_has_left_then_is_refused_in_words(signed_in, owner):
    left = leave(make_vehicle(owner), owner)
    answer = signed_in.get(reverse("stock:running-gear", args=[left.pk]), follow=True)
    assert "bring it back before anything is measured or changed" in answer.content.decode()


@pytest.mark.parametrize("n_rows", [1, 3])
def test_former_list_takes_the_same_queries_however_many_rows(
    client, owner, n_rows, django_assert_num_queries
):
    for number in range(n_rows):
        leave(make_vehicle(owner, number=str(number), currency="USD"), owner, price=Decimal(5))
    client.force_login(owner)
    # Session, person, count, rows.
    with django_assert_num_queries(4):
        client.get(reverse("stock:former"))


def test_former_list_is_found_and_narrowed(signed_in, owner):
    leave(make_vehicle(owner, number="1", price=Decimal("24.50"), currency="USD"), owner)
    leave(make_vehicle(owner, number="2", price=Decimal(9), currency="USD"), owner, "mistaken")
    make_vehicle(owner, number="3")
    everything = page(signed_in, "stock:former")
    assert "BRV 1" in everything
    assert "BRV 2" in everything
    assert "BRV 3" not in everything
    assert "cost 24.50 USD" in everything
    assert "9.00" not in everything
    only = page(signed_in, "stock:former", retired_as="mistaken")
    assert "BRV 1" not in only
    assert "BRV 2" in only
    assert "BRV 2" not in page(signed_in, "stock:former", q="BRV 1")


@pytest.mark.parametrize(
    "name", [n for n, c in FormerTable.base_columns.items() if c.orderable is not False]
)
@pytest.mark.parametrize("sign", ["", "-"])
def test_former_list_when_sorted_by_any_column_then_answers(signed_in, owner, name, sign):
    leave(make_vehicle(owner), owner)
    assert "BRV 88" in page(signed_in, "stock:former", sort=f"{sign}{name}")
