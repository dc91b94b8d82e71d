"""What is due, what the next evening needs, and what moves, on the page and behind it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.stock.models import Vehicle
from inventory.stock.recording import finish_inspection, open_inspection, record
from inventory.stock.taking import Entry
from inventory.track.models import Place, Railway, Turnout
from inventory.trouble.recording import note_running, take_out
from inventory.trouble.routine import due, evening, moving
from inventory.trouble.spots import spots_of
from standards.judging import Service
from tests.factories import caliper, make_vehicle

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def inspected(
    vehicle: Vehicle,
    owner,
    days_ago: int,
    back_to_back: str = "14.47",
    reason: str = "routine",
) -> None:
    moment = timezone.now() - timedelta(days=days_ago)
    inspection = open_inspection(vehicle=vehicle, reason=reason, by=owner, moment=moment)
    entries = [Entry("back_to_back", "1", caliper(), typed=back_to_back)]
    record(inspection=inspection, entries=entries, by=owner, moment=moment)
    finish_inspection(
        inspection=inspection, service=Service.FIT, statement="seen", by=owner, moment=moment
    )


def ran(vehicle: Vehicle, owner, laps: int, days_ago: int) -> None:
    railway, _ = Railway.objects.get_or_create(name="Alder Branch", family="nmra", scale="HO")
    place, _ = Place.objects.get_or_create(railway=railway, name="Tarn", position=1)
    Turnout.objects.get_or_create(place=place, name="East")
    note_running(
        railway=railway,
        held_on=timezone.localdate() - timedelta(days=days_ago),
        passages=laps,
        vehicles=[vehicle],
        spots=[spot for spot in spots_of(railway) if spot.kind == "turnout"],
        by=owner,
    )


def test_due_then_counts_months_and_the_laps_since_the_last_inspection(owner):
    old, worn, fresh = (make_vehicle(owner, number=str(n)) for n in (1, 2, 3))
    held = make_vehicle(owner, number="4")
    inspected(old, owner, 400)
    inspected(held, owner, 400)
    for vehicle in (worn, fresh):
        inspected(vehicle, owner, 30)
    take_out(subject=held, reason="wobbles", by=owner)
    ran(worn, owner, 300, days_ago=20)
    ran(worn, owner, 250, days_ago=10)
    ran(fresh, owner, 9000, days_ago=40)  # before its inspection
    ran(fresh, owner, 499, days_ago=5)

    found = due(months=12, laps=500)

    assert [(each.vehicle, each.laps) for each in found] == [(worn, 550), (old, 0)]
    assert [(each.is_by_time, each.is_by_running) for each in found] == [
        (False, True),
        (True, False),
    ]


def test_evening_then_groups_by_what_is_needed_with_the_amount(signed_in, owner):
    tight, ready = make_vehicle(owner, number="1"), make_vehicle(owner, number="2")
    inspected(tight, owner, 3, back_to_back="14.20")  # S-4.2, HO: at least .566 in, 14.376 mm
    take_out(subject=ready, reason="loose screw", by=owner)

    groups = dict(evening())

    assert [task.vehicle for task in groups["To mend: back-to-back"]] == [tight]
    assert [task.words for task in groups["To release"]] == ["loose screw"]
    page = signed_in.get(reverse("trouble:routine")).content.decode()
    assert "Spread the wheels on axle 1 by 0.18" in page


def test_moving_then_warns_before_the_limit_is_reached_and_not_of_what_stands_still(
    signed_in, owner
):
    creeping, steady = make_vehicle(owner, number="1"), make_vehicle(owner, number="2")
    for days_ago, value in [(900, "14.56"), (600, "14.52"), (300, "14.47"), (2, "14.43")]:
        inspected(creeping, owner, days_ago, value)
        inspected(steady, owner, days_ago, "14.47")

    (found,) = moving()

    assert (found.vehicle, found.quantity, found.at) == (creeping, "back_to_back", "1")
    assert not found.is_past
    assert "reaches its limit about" in signed_in.get(reverse("trouble:routine")).content.decode()


@pytest.mark.parametrize("query", ["months=0", "laps=x", "months=-4", "laps=99999999999"])
def test_routine_when_asked_for_what_cannot_be_then_says_so(signed_in, query):
    answer = signed_in.get(reverse("trouble:routine") + f"?{query}")

    assert answer.status_code == 422
    assert "problem" in answer.content.decode()


def test_moving_when_it_was_mended_then_begins_anew(owner):
    mended = make_vehicle(owner, number="1")
    for days_ago, value in [(900, "14.56"), (600, "14.50"), (400, "14.45")]:
        inspected(mended, owner, days_ago, value)
    inspected(mended, owner, 300, "14.40")
    assert [each.vehicle for each in moving()] == [mended]

    inspected(mended, owner, 200, "14.50", reason="after repair")
    inspected(mended, owner, 2, "14.50")

    assert moving() == []
