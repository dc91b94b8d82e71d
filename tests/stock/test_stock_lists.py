"""What lets the stock list stay quick: what it searches, what it sorts by, and what it reads."""

from __future__ import annotations

from datetime import timedelta
from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.db import connection
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone

from inventory.stock.history import each_of
from inventory.stock.models import Vehicle
from inventory.stock.recording import amend_vehicle, finish_inspection, open_inspection
from inventory.stock.tables import VehicleTable
from standards.judging import Service
from tests.factories import make_vehicle

pytestmark = pytest.mark.django_db


def found(words: str) -> set[str]:
    return set(Vehicle.objects.searched(words).values_list("number", flat=True))


# --- Search -----------------------------------------------------------------------------------


def test_search_when_words_stand_in_several_fields_then_all_of_them_have_to(owner):
    make_vehicle(owner, number="1", maker="Alder & Finch", storage_box="Shelf 3")
    make_vehicle(owner, number="2", maker="Alder & Finch", storage_box="Shelf 4")

    assert found("finch") == {"1", "2"}
    assert found("FINCH shelf") == {"1", "2"}
    assert found("finch brv 2") == {"2"}
    assert found("finch 5") == set()


def test_search_when_letters_are_not_english_then_case_makes_no_difference(owner):
    # Python's own case folding, by the Unicode standard: ß is ss.
    make_vehicle(owner, number="1", maker="Ångström")
    make_vehicle(owner, number="2", maker="Weißmann")

    assert found("ångSTRÖM") == {"1"}
    assert found("WEISS") == {"2"}


@pytest.mark.parametrize("words", ["100%", "a_c", "\\", "it's", "%"])
def test_search_when_signs_of_a_pattern_are_typed_then_they_are_only_signs(owner, words):
    make_vehicle(owner, number="1", name="nothing like it")
    make_vehicle(owner, number="2", name=f"has {words} in it")

    assert found(words) == {"2"}


def test_search_when_it_is_the_aar_designation_then_only_the_whole_of_it_is_found(owner):
    make_vehicle(owner, number="1", kind="wagon", aar_designation="XM")
    make_vehicle(owner, number="2", kind="wagon", aar_designation="XMI")

    assert found("xm") == {"1"}
    assert found("XMI") == {"2"}
    assert found("x") == set()
    assert found("m") == set()


def test_search_when_a_vehicle_is_amended_then_finds_what_it_is_now(owner):
    vehicle = make_vehicle(owner, number="1", maker="Corran")
    vehicle.maker = "Dunmore"
    amend_vehicle(vehicle=vehicle, seen_revision=vehicle.revision, by=owner)

    assert found("corran") == set()
    assert found("dunmore") == {"1"}


# --- When it was inspected --------------------------------------------------------------------


def finished(vehicle: Vehicle, owner, days_ago: int) -> None:
    moment = timezone.now() - timedelta(days=days_ago)
    inspection = open_inspection(vehicle=vehicle, reason="new", by=owner, moment=moment)
    finish_inspection(
        inspection=inspection, service=Service.FIT, statement="seen", by=owner, moment=moment
    )


def test_last_inspected_then_is_the_latest_finish_whatever_was_entered_last(owner):
    vehicle = make_vehicle(owner)
    assert vehicle.last_inspected_at is None
    for days_ago in (30, 3, 300):
        finished(vehicle, owner, days_ago)
        vehicle.refresh_from_db()
        latest = vehicle.inspections.aggregate(last=Max("finished_at"))["last"]
        assert vehicle.last_inspected_at == latest
    vehicle = Vehicle.objects.get()
    vehicle.last_inspected_at = None  # as an old form would have it
    vehicle.name = "Daisy"
    amend_vehicle(vehicle=vehicle, seen_revision=vehicle.revision, by=owner)
    assert Vehicle.objects.get().last_inspected_at == latest


def test_migration_then_fills_what_is_searched_and_sorted_by_as_saving_does(owner):
    first = make_vehicle(owner, number="1", maker="Ångström", aar_designation="HT")
    make_vehicle(owner, number="2")
    finished(first, owner, 3)
    kept = list(Vehicle.objects.order_by("pk").values("search_text", "last_inspected_at"))
    Vehicle.objects.update(search_text="", last_inspected_at=None)

    migration = import_module("inventory.stock.migrations.0008_search_and_order")
    migration.fill(apps, SimpleNamespace(connection=connection))

    assert list(Vehicle.objects.order_by("pk").values("search_text", "last_inspected_at")) == kept
    assert kept[0]["last_inspected_at"] is not None


# --- Words on offer ---------------------------------------------------------------------------


def test_each_of_then_is_what_a_list_of_all_would_be_without_repeats(owner):
    makers = ["Corran", "", "Alder & Finch", "Corran", "100% fit", "Brookside", "Alder & Finch"]
    for number, maker in enumerate(makers):
        make_vehicle(owner, number=str(number), maker=maker)
    make_vehicle(owner, number="9", maker="Visitor's", visitor="Ann")

    every = sorted({maker for maker in makers if maker})
    assert each_of("maker") == every
    assert each_of("maker", 2) == every[:2]


def test_each_of_when_there_is_nothing_then_is_empty(owner):
    assert each_of("maker") == []


# --- How it is read ---------------------------------------------------------------------------


def plan_of(queryset) -> str:
    sql, params = queryset.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {sql}", params)
        return "; ".join(row[3] for row in cursor.fetchall())


@pytest.mark.sqlite
@pytest.mark.parametrize(
    "order",
    [
        tuple(f"{sign}{name}" for name in column.order_by)
        for column in VehicleTable.base_columns.values()
        for sign in ("", "-")
    ],
)
def test_list_when_sorted_then_is_read_in_order_and_never_sorted_as_a_whole(owner, order):
    plan = plan_of(Vehicle.objects.order_by(*order)[:25])

    assert "TEMP B-TREE" not in plan
    assert "INDEX vehicle_" in plan


@pytest.mark.sqlite
@pytest.mark.parametrize(
    "narrowed",
    [{"service": "fit to run"}, {"category": "freight"}, {"scale": "HO"}, {}],
)
def test_list_when_narrowed_then_is_read_in_order(owner, narrowed):
    assert "TEMP B-TREE" not in plan_of(Vehicle.objects.filter(**narrowed).for_list()[:25])


@pytest.mark.sqlite
def test_search_then_goes_through_the_index_of_the_list(owner):
    assert "USING INDEX vehicle_list" in plan_of(Vehicle.objects.searched("boxcar").for_list())


def test_list_then_shows_each_row_in_full(client, owner):
    vehicle = make_vehicle(owner, name="<Daisy>", maker="Alder & Finch")
    finished(vehicle, owner, 0)
    client.force_login(owner)

    page = client.get(reverse("stock:vehicle-list")).content.decode()

    day = timezone.localtime()
    for words in ("&lt;Daisy&gt;", "Alder &amp; Finch", f"{day.day} {day:%b %Y}", "fit to run"):
        assert words in page
    assert "—" in page  # it has no box
