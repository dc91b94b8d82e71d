"""A clock that goes back: what was said last stays the latest word."""

from datetime import timedelta
from unittest import mock

from django.utils import timezone

from inventory.stock.models import Vehicle, Verdict
from inventory.stock.recording import finish_inspection
from standards.judging import Service
from tests.factories import exact_instrument, make_vehicle, measure

B1 = ("back_to_back", "1")


def test_clock_set_back_then_the_later_inspection_is_still_the_latest_word(owner):
    # S-4.2 HO: B min .566 in = 14.376 mm; 14.20 is below it and 14.47 within.
    vehicle = make_vehicle(owner, axles=1)
    first = measure(vehicle, owner, {B1: "14.20"}, exact_instrument())
    finish_inspection(inspection=first, service=Service.BAD_ORDER, statement="", by=owner)
    earlier = timezone.now() - timedelta(days=400)

    with mock.patch.object(timezone, "now", return_value=earlier):
        second = measure(Vehicle.objects.get(), owner, {B1: "14.47"}, exact_instrument())

    assert second.started_at > first.started_at
    standing = Verdict.objects.standing_for(Vehicle.objects.get())
    assert [(each.at, each.outcome) for each in standing if each.quantity == B1[0]] == [
        ("1", "within")
    ]
