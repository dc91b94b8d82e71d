"""Visitors' stock: checked, given a slip, and kept out of everything that is ours."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.stock.models import Inspection, Vehicle
from inventory.stock.recording import finish_inspection, record
from inventory.stock.taking import Entry
from inventory.track.clearing import Widest
from inventory.track.fit import pool_for
from inventory.track.models import Railway
from inventory.trouble.models import Hold
from standards.judging import Service
from tests.factories import caliper, make_vehicle, sound

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def brought(signed_in, **changed) -> Vehicle:
    told = {
        "visitor": "Ida",
        "reporting_mark": "Qx",
        "number": "5",
        "kind": "open wagon",
        "category": "freight",
        "standard": "nmra/HO",
        "axles": "2",
        "go": "caliper",
        **changed,
    }
    signed_in.post(reverse("bench:visitors"), told)
    return Vehicle.everyone.exclude(visitor="").latest("pk")


def checked(vehicle: Vehicle, owner, back_to_back: str, service: Service) -> None:
    inspection = vehicle.inspections.get()
    readings = {("back_to_back", axle): back_to_back for axle in "12"} | sound(1, 2)
    entries = [Entry(code, at, caliper(), typed=typed) for (code, at), typed in readings.items()]
    record(
        inspection=inspection,
        entries=[*entries, Entry("body_width", "", caliper(), typed="39")],
        by=owner,
    )
    finish_inspection(inspection=inspection, service=service, statement="as found", by=owner)


def test_visitor_when_brought_then_goes_to_the_bench_and_stays_out_of_the_fleet(signed_in, owner):
    guest = brought(signed_in)
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    checked(guest, owner, "14.47", Service.FIT)
    own = make_vehicle(owner)

    assert guest.inspections.get().reason == Inspection.Reason.VISITING
    assert list(Vehicle.objects.all()) == [own]
    assert [each.key for each in pool_for(railway)] == [own.pk]
    assert Widest.of(railway).width is None  # its 39 mm is nobody's clearance here
    page = signed_in.get(reverse("stock:vehicle-list")).content.decode()
    assert "Qx 5" not in page
    assert signed_in.get(reverse("stock:vehicle", args=[guest.pk])).status_code == 404


@pytest.mark.parametrize(
    ("back_to_back", "service", "words"),
    [
        ("14.47", Service.FIT, "Pass: it may run."),
        # S-4.2, HO: at least .566 in, that is 14.376 mm.
        ("14.20", Service.BAD_ORDER, "Please do not run it yet"),
    ],
)
def test_slip_then_says_pass_or_what_is_out(signed_in, owner, back_to_back, service, words):
    guest = brought(signed_in)
    checked(guest, owner, back_to_back, service)

    page = signed_in.get(guest.get_absolute_url()).content.decode()

    assert words in page
    assert "of Ida" in page
    assert ("Spread the wheels on axle 1" in page) is (service is Service.BAD_ORDER)
    assert not Hold.objects.exists()  # it is not ours to hold


def test_slip_when_too_little_was_measured_then_is_no_pass(signed_in, owner):
    guest = brought(signed_in)
    finish_inspection(
        inspection=guest.inspections.get(), service=Service.AWAITING, statement="", by=owner
    )

    assert "too little was measured" in signed_in.get(guest.get_absolute_url()).content.decode()


def test_slip_of_one_of_ours_then_is_not_found(signed_in, owner):
    assert (
        signed_in.get(reverse("bench:visitor", args=[make_vehicle(owner).pk])).status_code == 404
    )


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"visitor": " "}, "Owner is needed"),
        ({"standard": "none/HO"}, "not on the list"),
        ({"axles": "0"}, "1"),
        ({"axles": "x"}, "whole number"),
        ({"reporting_mark": ""}, "is needed"),
    ],
)
def test_visitor_when_a_field_is_bad_then_says_so_and_keeps_nothing(signed_in, changed, words):
    told = {
        "visitor": "Ida",
        "reporting_mark": "Qx",
        "kind": "open wagon",
        "category": "freight",
        "standard": "nmra/HO",
        "axles": "2",
    }

    answer = signed_in.post(reverse("bench:visitors"), {**told, **changed})

    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Vehicle.everyone.exists()


def test_visitor_when_checked_again_then_the_second_check_opens(signed_in, owner):
    guest = brought(signed_in)
    checked(guest, owner, "14.47", Service.FIT)

    answer = signed_in.post(reverse("bench:begin", args=[guest.pk]), {"reason": "visiting"})

    assert answer.status_code == 302
    assert guest.inspections.count() == 2
