"""Every page of the demo railway answers, and no page gives a drawing or a number away."""

import pytest
from django.urls import reverse

from inventory.bench.demo import load_demo
from inventory.stock.models import Inspection, Vehicle
from standards.sheets import all_sheets

pytestmark = pytest.mark.django_db


def test_every_page_of_the_demo_answers_in_both_units(client, owner):
    load_demo(by=owner)
    client.force_login(owner)
    addresses = [
        *(reverse(f"bench:{name}") for name in ("start", "log")),
        *(reverse(f"stock:{name}") for name in ("vehicle-list", "instruments", "house-limits")),
        *(reverse(f"sheets:{name}") for name in ("list", "convert", "meets")),
        *(vehicle.get_absolute_url() for vehicle in Vehicle.everyone.all()),
        *(reverse("ledger:history", args=[v.pk]) for v in Vehicle.everyone.all()),
        *(reverse("trouble:vehicle", args=[v.pk]) for v in Vehicle.everyone.former()),
        *(reverse("stock:bring-back", args=[v.pk]) for v in Vehicle.everyone.former()),
        *(reverse("stock:retire", args=[v.pk]) for v in Vehicle.objects.all()[:5]),
        reverse("stock:former"),
        reverse("ledger:overview"),
        *(reverse("stock:edit-vehicle", args=[v.pk]) for v in Vehicle.objects.all()[:5]),
        *(reverse("stock:running-gear", args=[v.pk]) for v in Vehicle.objects.all()[:5]),
        *(
            reverse("bench:measure", args=[inspection.pk, slug])
            for inspection in Inspection.objects.filter(finished_at=None)
            for slug in ("axle-1", "end-A", "whole")
        ),
        *(
            reverse("bench:finish", args=[inspection.pk])
            for inspection in Inspection.objects.filter(finished_at=None)
        ),
        *(reverse("sheets:sheet", args=[sheet.id]) for sheet in all_sheets()),
    ]
    for unit in ("mm", "in"):
        owner.unit = unit
        owner.save()
        for address in addresses:
            answer = client.get(address)
            assert answer.status_code == 200, address
            page = answer.content.decode()
            assert "Decimal(" not in page, address
            assert "nan" not in page.split("<main")[1].replace("finance", "").split(), address


def test_service_list_puts_numbers_in_their_order(client, owner):
    load_demo(by=owner)
    client.force_login(owner)
    page = client.get(reverse("stock:vehicle-list"), {"q": "HFQ"}).content.decode()
    assert page.index("HFQ 12<") < page.index("HFQ 301<") < page.index("HFQ 1104<")
