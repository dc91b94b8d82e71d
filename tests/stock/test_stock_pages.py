"""The list, the page of one vehicle, and the set-up pages."""

import re
from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse

from inventory.stock.models import HouseLimit, Instrument, Vehicle
from inventory.stock.tables import HouseLimitTable, InstrumentTable, VehicleTable
from tests.factories import make_vehicle, measure

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(client, owner):
    client.force_login(owner)

    def get(name: str, *args, **query) -> str:
        answer = client.get(reverse(name, args=args), query)
        assert answer.status_code == 200
        return answer.content.decode()

    return get


def full_vehicle(owner, number: str) -> Vehicle:
    vehicle = make_vehicle(owner, number=number, maker="Alder & Finch", storage_box="3")
    measure(vehicle, owner, {("back_to_back", "1"): "14.47", ("mass", ""): "100"})
    return vehicle


@pytest.mark.parametrize("n_rows", [1, 3])
def test_stock_list_takes_the_same_queries_however_many_rows(
    client, owner, n_rows, django_assert_num_queries
):
    for number in range(n_rows):
        full_vehicle(owner, str(number))
    client.force_login(owner)
    # Session, person, scales for the filter, count, rows, photos.
    with django_assert_num_queries(6):
        client.get(reverse("stock:vehicle-list"))


@pytest.mark.parametrize("n_rows", [1, 3])
def test_instrument_list_takes_the_same_queries_however_many_rows(
    client, owner, n_rows, django_assert_num_queries
):
    Instrument.objects.exclude(pk__in=Instrument.objects.values("pk")[:n_rows]).delete()
    client.force_login(owner)
    with django_assert_num_queries(4):
        client.get(reverse("stock:instruments"))


@pytest.mark.parametrize("n_rows", [1, 3])
def test_house_limit_list_takes_the_same_queries_however_many_rows(
    client, owner, n_rows, django_assert_num_queries
):
    for quantity in ("mass", "coupler_height", "flange_depth")[:n_rows]:
        HouseLimit.objects.create(
            quantity=quantity, family="nmra", scale="HO", low=Decimal(1), reason="ours"
        )
    client.force_login(owner)
    # Session, person, scales in use, count, rows.
    with django_assert_num_queries(5):
        client.get(reverse("stock:house-limits"))


@pytest.mark.parametrize("n_rows", [1, 3])
def test_bench_start_takes_the_same_queries_however_many_rows(
    client, owner, n_rows, django_assert_num_queries
):
    for number in range(n_rows):
        full_vehicle(owner, f"1{number}")
        make_vehicle(owner, number=f"2{number}")
    client.force_login(owner)
    with django_assert_num_queries(6):
        client.get(reverse("bench:start"))


@pytest.mark.parametrize("n_rows", [1, 3])
def test_vehicle_page_takes_the_same_queries_however_many_verdicts(
    client, owner, n_rows, django_assert_num_queries
):
    vehicle = make_vehicle(owner, axles=3)
    measure(vehicle, owner, {("back_to_back", str(n)): "14.47" for n in range(1, n_rows + 1)})
    client.force_login(owner)
    with django_assert_num_queries(10):
        client.get(vehicle.get_absolute_url())


@pytest.mark.parametrize(
    ("table", "name"),
    [
        (VehicleTable, "stock:vehicle-list"),
        (InstrumentTable, "stock:instruments"),
        (HouseLimitTable, "stock:house-limits"),
    ],
)
def test_every_sortable_column_sorts_both_ways(page, owner, table, name):
    for number in "321":
        full_vehicle(owner, number)
    sortable = [
        alias for alias, column in table.base_columns.items() if column.orderable is not False
    ]
    assert sortable
    for alias in sortable:
        assert 'aria-sort="ascending"' in page(name, sort=alias)
        assert 'aria-sort="descending"' in page(name, sort=f"-{alias}")


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("brv 88", ["BRV 88"]),
        ("QVR", ["QVR 7"]),
        ("boxcar", ["BRV 88"]),
        ("zebra", []),
        ("' OR 1=1 --", []),
        ("%", []),
        ("", ["BRV 88", "QVR 7"]),
    ],
)
def test_search_finds_every_word_anywhere(page, owner, query, found):
    make_vehicle(owner)
    make_vehicle(owner, reporting_mark="QVR", number="7", kind="hopper")
    shown = page("stock:vehicle-list", q=query)
    assert [mark for mark in ("BRV 88", "QVR 7") if mark in shown] == found


def test_filters_narrow_by_service_and_scale(page, owner):
    make_vehicle(owner)
    make_vehicle(owner, reporting_mark="Nb", number="5", family="nem", scale="N")
    Vehicle.objects.filter(number="5").update(service="bad order")
    shown = page("stock:vehicle-list", service="bad order")
    assert "Nb 5" in shown
    assert "BRV 88" not in shown
    assert "BRV 88" not in page("stock:vehicle-list", scale="N")


def test_list_pages_through_more_than_one_page(page, owner):
    for number in range(100, 130):
        make_vehicle(owner, number=str(number))
    assert "BRV 125" not in page("stock:vehicle-list")
    assert "BRV 125" in page("stock:vehicle-list", page=2)


@pytest.mark.parametrize(
    "query",
    [
        {"page": "no"},
        {"page": "99"},
        {"sort": "'"},
        {"service": "x"},
        {"per_page": "-5"},
        {"per_page": "100000"},
    ],
)
def test_list_with_nonsense_in_its_address_still_answers(client, owner, query):
    client.force_login(owner)
    assert client.get(reverse("stock:vehicle-list"), query).status_code in (200, 404)


def test_htmx_gets_the_table_alone(client, owner):
    client.force_login(owner)
    answer = client.get(reverse("stock:vehicle-list"), headers={"HX-Request": "true"})
    assert "<html" not in answer.content.decode()
    assert "HX-Request" in answer["Vary"]


def test_vehicle_page_shows_verdicts_limits_and_sources(page, owner):
    vehicle = make_vehicle(owner)
    measure(vehicle, owner, {("back_to_back", "1"): "14.47", ("back_to_back", "2"): "14.20"})
    shown = page("stock:vehicle", vehicle.pk)
    # S-4.2 HO .566 in = 14.3764 mm; shown to a thousandth.
    assert "14.376 to 14.605 mm" in shown
    assert "S-4.2 HO: least 0.566 in" in shown
    assert "RP-25 code 110" in shown
    assert "derived limit" in shown
    assert "Spread the wheels on axle 2" in shown
    assert "Never lever against the flange" in shown


def test_vehicle_page_in_inches_for_someone_who_reads_inches(page, owner):
    owner.unit = "in"
    owner.save()
    vehicle = make_vehicle(owner)
    measure(vehicle, owner, {("back_to_back", "1"): ".570"})
    shown = page("stock:vehicle", vehicle.pk)
    assert "0.5700 in" in shown
    assert "0.5660 to 0.5750 in" in shown


def test_second_hand_figures_are_marked_on_the_page(page, owner):
    vehicle = make_vehicle(owner, family="nem", scale="N", profile_code=None)
    measure(
        vehicle,
        owner,
        {("length_over_buffers", ""): "60", ("mass", ""): "10.4"},
    )
    # NEM 302: N at least .17 g a mm; the upper limit of 30 % is only quoted second-hand.
    assert "second-hand figure" in page("stock:vehicle", vehicle.pk)


HOSTILE = "<script>alert(1)</script>"


def test_vehicle_page_leads_to_the_comparison_with_every_family(client, owner, page):
    vehicle = make_vehicle(owner)
    measure(
        vehicle,
        owner,
        {
            ("back_to_back", "1"): ".570 in",
            ("flange_thickness", "1"): ".030 in",
            ("flange_depth", "1"): ".025 in",
            ("tyre_width", "1"): ".110 in",
        },
    )
    shown = page("stock:vehicle", vehicle.pk)
    address = re.search(r'href="(/standards/meets/[^"]+)"', shown).group(1)
    compared = client.get(unescape(address)).content.decode()
    # RP-25 code 110 wheels at .570 in lie well inside S-4.2 HO.
    assert "meets" in compared
    assert 'value="14.478 mm"' in compared


def test_hostile_text_is_shown_as_text(page, owner):
    vehicle = make_vehicle(
        owner, reporting_mark=HOSTILE[:40], number="1", kind=HOSTILE, notes=HOSTILE, maker=HOSTILE
    )
    for shown in (page("stock:vehicle", vehicle.pk), page("stock:vehicle-list")):
        assert "<script>alert" not in shown
        assert "&lt;script&gt;alert" in shown


# --- Editing ----------------------------------------------------------------------------------


def edited(vehicle: Vehicle, **changes) -> dict[str, object]:
    return {
        "revision": vehicle.revision,
        "reporting_mark": vehicle.reporting_mark,
        "number": vehicle.number,
        "category": vehicle.category,
        "kind": vehicle.kind,
        "axles": vehicle.axles,
        "standard": f"{vehicle.family}/{vehicle.scale}",
        **changes,
    }


def test_second_of_two_editors_is_told_and_nothing_is_overwritten(client, owner):
    client.force_login(owner)
    vehicle = make_vehicle(owner)
    address = reverse("stock:edit-vehicle", args=[vehicle.pk])
    assert client.post(address, edited(vehicle, maker="Alder & Finch")).status_code == 302
    second = client.post(address, edited(vehicle, maker="Brook Models"))
    assert second.status_code == 409
    told = second.content.decode()
    assert "Somebody else saved this vehicle" in told
    assert "Alder &amp; Finch" in told
    assert "Brook Models" in told
    assert Vehicle.objects.get().maker == "Alder & Finch"
    # The form now carries the revision that it showed, so saving it again is a decision.
    assert 'name="revision" value="2"' in told


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"reporting_mark": ""}, "Railway or reporting marks is needed"),
        ({"reporting_mark": "x" * 41}, "That is 41 characters long; at most 40 are kept"),
        ({"kind": ""}, "Kind is needed: type it"),
        ({"axles": "0"}, "less than the least allowed here, 1"),
        ({"axles": "17"}, "more than the most allowed here, 16"),
        ({"axles": "two"}, "type a whole number, such as 4"),
        ({"standard": "nmra/XYZ"}, "“nmra/XYZ” is not on the list"),
        ({"price": "-1", "currency": "EUR"}, "less than the least allowed here, 0"),
        ({"price": "12.345", "currency": "EUR"}, "An amount has 2 decimal places at most"),
        ({"price": "12"}, "Name the currency"),
        ({"price": "twelve", "currency": "EUR"}, "type an amount, such as 24.50"),
        ({"currency": "EURO"}, "at most 3 are kept"),
        ({"currency": "€"}, "ISO 4217"),
        ({"acquired_on": "2999-01-01"}, "still to come"),
        ({"acquired_on": "soon"}, "type a day, such as 2026-11-25"),
        ({"aar_designation": "1X"}, "one to four capitals"),
        ({"uic_letter": "?"}, "one capital"),
        ({"notes": "x" * 4001}, "at most 4000 are kept"),
    ],
)
def test_bad_field_is_refused_beside_it_and_the_rest_is_kept(client, owner, change, message):
    client.force_login(owner)
    vehicle = make_vehicle(owner)
    answer = client.post(
        reverse("stock:edit-vehicle", args=[vehicle.pk]),
        edited(vehicle, storage_box="Shelf 9", **change),
    )
    assert answer.status_code == 422
    shown = answer.content.decode()
    assert message in shown
    assert 'value="Shelf 9"' in shown
    assert Vehicle.objects.get().storage_box == ""


def test_emoji_and_long_words_in_free_text_are_kept_as_they_are(client, owner):
    client.force_login(owner)
    vehicle = make_vehicle(owner)
    client.post(
        reverse("stock:edit-vehicle", args=[vehicle.pk]), edited(vehicle, name="Élan 🚂 Ωμέγα")
    )
    assert Vehicle.objects.get().name == "Élan 🚂 Ωμέγα"


def test_declared_code_when_changed_moves_the_derived_limit(client, owner, page):
    vehicle = make_vehicle(owner, axles=1, profile_code=None)
    measure(vehicle, owner, {("back_to_back", "1"): "14.47"})
    wheelset, (a, b) = vehicle.wheelsets.get(), vehicle.couplers.all()
    client.post(
        reverse("stock:running-gear", args=[vehicle.pk]),
        {
            "revision": 1,
            "wheelsets-TOTAL_FORMS": 1,
            "wheelsets-INITIAL_FORMS": 1,
            "wheelsets-0-id": wheelset.pk,
            "wheelsets-0-profile_code": "88",
            "couplers-TOTAL_FORMS": 2,
            "couplers-INITIAL_FORMS": 2,
            "couplers-0-id": a.pk,
            "couplers-0-kind": "loop",
            "couplers-0-mounting": "body",
            "couplers-1-id": b.pk,
            "couplers-1-kind": "knuckle",
            "couplers-1-mounting": "body",
        },
    )
    # K max .605 in less the .025 in flange of RP-25 code 88: .580 in = 14.732 mm.
    assert "14.376 to 14.732 mm" in page("stock:vehicle", vehicle.pk)
    assert vehicle.couplers.get(end="A").kind == "loop"


# --- Instruments and house limits -------------------------------------------------------------


def test_instrument_is_added_with_bench_text(client, owner):
    client.force_login(owner)
    client.post(
        reverse("stock:new-instrument"),
        {"name": "Club caliper", "kind": "caliper", "max_error": "1 thou", "resolution": "0,01"},
    )
    added = Instrument.objects.get(name="Club caliper")
    assert (added.max_error, added.resolution) == (Decimal("0.0254"), Decimal("0.01"))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"max_error": "wide"}, "is not a unit known here"),
        ({"max_error": "-0.1"}, "below zero"),
        ({"max_error": ""}, "Type a number"),
        ({"max_error": "0.03 g"}, "g measures a mass"),
        ({"resolution": "0.01 0.01"}, "Type one number"),
        ({"name": "Digital caliper"}, "of that name is there already"),
        ({"kind": "sextant"}, "“sextant” is not on the list"),
    ],
)
def test_bad_instrument_is_refused_in_words(client, owner, change, message):
    client.force_login(owner)
    facts = {"name": "Mine", "kind": "caliper", "max_error": "0.03", "resolution": "0.01"}
    answer = client.post(reverse("stock:new-instrument"), {**facts, **change})
    assert message in answer.content.decode()
    assert not Instrument.objects.filter(name="Mine").exists()


def test_house_limit_is_set_and_withdrawn_from_its_page(client, owner, page):
    vehicle = make_vehicle(owner)
    measure(vehicle, owner, {("coupler_height", "A"): "10.05"})
    client.post(
        reverse("stock:house-limits"),
        {
            "standard": "nmra/HO",
            "quantity": "coupler_height",
            "is_about_sheet": "on",
            "low": ".010 in",
            "high": ".010 in",
            "reason": "club rule",
        },
    )
    assert "House limit: club rule" in page("stock:vehicle", vehicle.pk)
    client.post(reverse("stock:withdraw-limit", args=[HouseLimit.objects.get().pk]))
    assert "House limit: club rule" not in page("stock:vehicle", vehicle.pk)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"low": "", "high": ""}, "at least one of the two"),
        ({"low": "10", "high": "9"}, "below the lower one"),
        ({"low": "4 oz"}, "oz measures a mass"),
        ({"reason": ""}, "Reason is needed"),
        ({"standard": "nem/HO"}, "“nem/HO” is not on the list"),
    ],
)
def test_bad_house_limit_is_refused_in_words(client, owner, change, message):
    client.force_login(owner)
    facts = {
        "standard": "nmra/HO",
        "quantity": "coupler_height",
        "low": "9.7",
        "high": "10.2",
        "reason": "ours",
    }
    answer = client.post(reverse("stock:house-limits"), {**facts, **change})
    assert message in answer.content.decode()
    assert not HouseLimit.objects.exists()


def test_second_house_limit_for_the_same_thing_is_refused(client, owner):
    client.force_login(owner)
    facts = {"standard": "nmra/HO", "quantity": "mass", "low": "90 g", "reason": "ours"}
    client.post(reverse("stock:house-limits"), facts)
    again = client.post(reverse("stock:house-limits"), {**facts, "low": "95 g"})
    assert "withdraw that one first" in again.content.decode()
    assert HouseLimit.objects.count() == 1


@pytest.mark.parametrize("name", ["stock:vehicle", "stock:edit-vehicle", "stock:running-gear"])
def test_vehicle_that_is_not_there_is_not_found(client, owner, name):
    client.force_login(owner)
    answer = client.get(reverse(name, args=[424242]))
    assert answer.status_code == 404
    assert "Nothing here" in answer.content.decode()


def test_set_up_forms_read_bare_numbers_in_the_units_of_the_person(client, owner):
    owner.unit = "in"
    owner.save()
    client.force_login(owner)
    facts = {
        "standard": "nmra/HO",
        "quantity": "coupler_height",
        "low": ".380",
        "high": ".400",
        "reason": "ours",
    }
    client.post(reverse("stock:house-limits"), facts)
    limit = HouseLimit.objects.get()
    assert (limit.low, limit.high) == (Decimal("9.652"), Decimal("10.16"))
    thousandth = {"name": "Dial", "kind": "caliper", "max_error": ".001", "resolution": ".001"}
    client.post(reverse("stock:new-instrument"), thousandth)
    dial = Instrument.objects.get(name="Dial")
    # DIN 862 adds 0.02 mm for the inside jaws of a caliper, unless its owner knows better.
    assert (dial.max_error, dial.inside_extra) == (Decimal("0.0254"), Decimal("0.02"))


def test_house_limit_in_the_wrong_unit_is_questioned(client, owner):
    client.force_login(owner)
    facts = {"standard": "nmra/HO", "quantity": "coupler_height", "low": ".391", "reason": "ours"}
    answer = client.post(reverse("stock:house-limits"), facts)
    assert "far from plausible" in answer.content.decode()
    assert not HouseLimit.objects.exists()


def test_instrument_when_edited_keeps_its_figures(client, owner):
    owner.unit = "in"
    owner.save()
    client.force_login(owner)
    caliper = Instrument.objects.get(name="Digital caliper")
    address = reverse("stock:instrument", args=[caliper.pk])
    page = client.get(address).content.decode()
    assert 'value="0.03 mm"' in page
    client.post(
        address,
        {
            "name": "Digital caliper",
            "kind": "caliper",
            "max_error": "0.03 mm",
            "resolution": "0.01 mm",
            "inside_extra": "0.02 mm",
        },
    )
    caliper.refresh_from_db()
    assert (caliper.max_error, caliper.resolution) == (Decimal("0.03"), Decimal("0.01"))


def test_price_may_have_a_decimal_comma(client, owner):
    client.force_login(owner)
    vehicle = make_vehicle(owner)
    address = reverse("stock:edit-vehicle", args=[vehicle.pk])
    client.post(address, edited(vehicle, price="12,50", currency="eur"))
    vehicle.refresh_from_db()
    assert (vehicle.price, vehicle.currency) == (Decimal("12.50"), "EUR")


def test_inspection_page_shows_every_reading_as_typed_replaced_ones_too(client, owner, page):
    client.force_login(owner)
    vehicle = make_vehicle(owner)
    inspection = measure(vehicle, owner, {("back_to_back", "1"): "14.20"})
    client.post(
        reverse("bench:measure", args=[inspection.pk, "axle-1"]),
        {
            "typed-back_to_back": ".570 in",
            "seen-back_to_back": inspection.readings.get().pk,
        },
    )
    shown = page("stock:inspection", inspection.pk)
    assert "14.20" in shown
    assert "replaced" in shown
    assert ".570 in" in shown
    assert "Digital caliper" in shown


def test_running_gear_of_another_vehicle_cannot_be_changed_by_a_tampered_form(client, owner):
    client.force_login(owner)
    mine, other = make_vehicle(owner, axles=1), make_vehicle(owner, number="99", axles=1)
    stranger = other.wheelsets.get()
    answer = client.post(
        reverse("stock:running-gear", args=[mine.pk]),
        {
            "revision": 1,
            "wheelsets-TOTAL_FORMS": 2,
            "wheelsets-INITIAL_FORMS": 1,
            "wheelsets-0-id": stranger.pk,
            "wheelsets-0-profile_code": "88",
            "wheelsets-1-profile_code": "79",
            "couplers-TOTAL_FORMS": 0,
            "couplers-INITIAL_FORMS": 0,
        },
    )
    assert answer.status_code in (200, 302)
    stranger.refresh_from_db()
    assert stranger.profile_code == 110
    assert mine.wheelsets.count() == other.wheelsets.count() == 1


def test_running_gear_posted_without_its_form_says_so(client, owner):
    client.force_login(owner)
    vehicle = make_vehicle(owner)
    answer = client.post(reverse("stock:running-gear", args=[vehicle.pk]), {"revision": 1})
    assert "problem" in answer.content.decode()


def test_marks_that_nobody_could_see_are_refused(client, owner):
    client.force_login(owner)
    vehicle = make_vehicle(owner)
    answer = client.post(
        reverse("stock:edit-vehicle", args=[vehicle.pk]), edited(vehicle, reporting_mark="\u200b")
    )
    assert answer.status_code == 422
    assert Vehicle.objects.get().reporting_mark == "BRV"
