"""Lists of trouble that go on for pages, and ask for many at once."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.stock.models import Vehicle
from inventory.stock.recording import finish_inspection, open_inspection, record
from inventory.stock.taking import Entry
from inventory.track.models import Place, Railway, Turnout
from inventory.trackwork.recording import trackwork_of
from inventory.trouble import asking, routine, views
from inventory.trouble.models import Hold, Turn
from inventory.trouble.recording import note_running, take_out, waits_for, waits_of
from inventory.trouble.spots import spots_of
from standards.judging import Service
from tests.factories import caliper, make_vehicle, measure

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


@pytest.fixture
def place(db) -> Place:
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    return Place.objects.create(railway=railway, name="Tarn", position=1)


def inspected(vehicle: Vehicle, owner, days_ago: float, back_to_back: str = "14.47") -> None:
    moment = timezone.now() - timedelta(days=days_ago)
    inspection = open_inspection(vehicle=vehicle, reason="routine", by=owner, moment=moment)
    entries = [Entry("back_to_back", "1", caliper(), typed=back_to_back)]
    record(inspection=inspection, entries=entries, by=owner, moment=moment)
    finish_inspection(
        inspection=inspection, service=Service.FIT, statement="seen", by=owner, moment=moment
    )


def hold_some(owner, place: Place, n: int) -> None:
    for number in range(n):
        narrow = make_vehicle(owner, number=str(number))
        measure(narrow, owner, {("back_to_back", "1"): "14.10"})
        take_out(subject=narrow, reason="derails", by=owner)
        turnout = Turnout.objects.create(place=place, name=f"No {number}")
        take_out(subject=trackwork_of(turnout=turnout), reason="loose", by=owner)


@pytest.mark.parametrize("n", [1, 3])
def test_board_takes_the_same_queries_however_many_are_held(
    signed_in, owner, place, n, django_assert_num_queries
):
    hold_some(owner, place, n)
    # Session, person; count, holds; of vehicles wheelsets, verdicts and what was stated, of
    # trackwork its verdicts; reports, released, railways.
    with django_assert_num_queries(11):
        signed_in.get(reverse("trouble:board"))


def test_waits_of_many_then_are_those_of_each_alone(owner, place):
    hold_some(owner, place, 2)
    plain = make_vehicle(owner, number="9")
    inspected(plain, owner, 3)
    take_out(subject=plain, reason="to be looked at", by=owner)
    holds = list(Hold.objects.all())

    together = waits_of(holds)

    assert together == {each.pk: waits_for(each) for each in holds}
    assert sum(bool(words) for words in together.values()) == 2


def test_board_when_more_are_held_than_a_page_shows_then_goes_on(
    monkeypatch, signed_in, owner, place
):
    monkeypatch.setattr(views, "HELD_A_PAGE", 2)
    for number in "123":
        take_out(subject=make_vehicle(owner, number=number), reason="derails", by=owner)

    first, second = (
        signed_in.get(reverse("trouble:board"), {"page": n}).content.decode() for n in (1, 2)
    )

    assert "BRV 1" in first
    assert "BRV 2" in first
    assert "BRV 3" not in first
    assert "BRV 3" in second
    assert "BRV 1" not in second


@pytest.mark.parametrize("n", [1, 3])
def test_routine_takes_the_same_queries_however_many_there_are(
    signed_in, owner, place, n, django_assert_num_queries
):
    hold_some(owner, place, n)
    for number in range(n):
        creeping = make_vehicle(owner, number=f"4{number}")
        for days_ago, value in [(1300, "14.56"), (900, "14.52"), (500, "14.43")]:
            inspected(creeping, owner, days_ago, value)
    ran(Vehicle.objects.filter(number__startswith="4"), owner, place, 20, 400)
    with django_assert_num_queries(20):
        signed_in.get(reverse("trouble:routine"))


def ran(vehicles, owner, place: Place, laps: int, days_ago: int) -> None:
    note_running(
        railway=place.railway,
        held_on=timezone.localdate() - timedelta(days=days_ago),
        passages=laps,
        vehicles=list(vehicles),
        spots=[spot for spot in spots_of(place.railway) if spot.kind == "turnout"],
        by=owner,
    )


def by_hand(months: int, laps: int) -> list[tuple[str, int]]:
    """What is due, told vehicle by vehicle and turn by turn."""
    before = timezone.now() - timedelta(days=round(months * 365.25 / 12))
    found = []
    for vehicle in Vehicle.objects.order_by("reporting_mark", "number_key", "pk"):
        if vehicle.held_because or vehicle.service == "awaiting inspection":
            continue
        finished = [each.finished_at for each in vehicle.inspections.all() if each.finished_at]
        last = max(finished, default=None)
        since = sum(
            turn.passages
            for turn in Turn.objects.filter(vehicles=vehicle)
            if last is None or turn.session.held_on > timezone.localdate(last)
        )
        if last is None or last < before or since >= laps:
            found.append((vehicle.number, since))
    return sorted(found, key=lambda each: -each[1])


@pytest.mark.parametrize(("months", "laps"), [(12, 500), (1, 10), (600, 30), (600, 1_000_000)])
def test_due_then_is_what_is_told_one_by_one_and_so_is_every_page_of_it(
    owner, place, months, laps
):
    Turnout.objects.create(place=place, name="East")
    cars = [make_vehicle(owner, number=str(number)) for number in range(9)]
    for car, days_ago in zip(cars, (1, 400, 400, 40, 40, 800, 800, 2, 0), strict=True):
        inspected(car, owner, days_ago)
    Vehicle.objects.filter(pk=cars[8].pk).update(last_inspected_at=None)
    cars[8].inspections.update(finished_at=None)
    ran(cars[1:4], owner, place, 12, 40)  # of one of them on the day of its inspection
    ran(cars[2:6], owner, place, 20, 39)
    ran([cars[6], cars[8]], owner, place, 500, 5)
    take_out(subject=cars[5], reason="derails", by=owner)

    found = routine.due(months=months, laps=laps)

    shown = [(each.vehicle.number, each.laps) for each in found]
    assert shown == by_hand(months, laps)
    assert len(found) == len(shown)
    for first in range(len(shown) + 1):
        page = found[first : first + 2]
        assert [(each.vehicle.number, each.laps) for each in page] == shown[first : first + 2]


def test_moving_when_many_were_inspected_often_then_is_looked_through_when_asked(
    monkeypatch, signed_in, owner
):
    creeping = make_vehicle(owner, number="1")
    for days_ago, value in [(900, "14.56"), (600, "14.52"), (300, "14.47"), (2, "14.43")]:
        inspected(creeping, owner, days_ago, value)
    page = signed_in.get(reverse("trouble:routine")).content.decode()
    assert "reaches its limit about" in page
    monkeypatch.setattr(asking, "LOOKED_THROUGH", 0)

    page = signed_in.get(reverse("trouble:routine")).content.decode()
    assert "reaches its limit about" not in page
    assert "Look through the readings of 1 vehicle" in page

    page = signed_in.get(reverse("trouble:routine"), {"moving": "1"}).content.decode()
    assert "reaches its limit about" in page


@pytest.mark.parametrize("few", [0, 500])
def test_evening_then_holds_the_same_however_the_open_verdicts_are_looked_up(
    monkeypatch, owner, few
):
    monkeypatch.setattr(routine, "FEW", few)
    sound, narrow = make_vehicle(owner, number="1"), make_vehicle(owner, number="2")
    measure(sound, owner, {("back_to_back", "1"): "14.47"})
    measure(narrow, owner, {("back_to_back", "1"): "14.10"})

    groups = dict(routine.evening())

    assert [task.vehicle for task in groups["To mend: back-to-back"]] == [narrow]
