"""Print views: what stands on them, what they refuse, where the codes lead, what they cost."""

from __future__ import annotations

import re
import time
import uuid
from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.bench.demo import load_demo
from inventory.paper.address import HostRefused, host_from, is_loopback
from inventory.paper.bench_sheets import same_limits
from inventory.paper.registers import Entry, money, sums
from inventory.people.models import Person
from inventory.stock.models import HouseLimit, Vehicle
from inventory.stock.recording import Departure, add_photos, finish_inspection, retire
from inventory.track.models import Railway
from inventory.trouble.models import Hold
from inventory.trouble.recording import release, take_out
from standards.judging import Service
from tests.factories import make_person, make_vehicle, measure, photographs

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def words_of(page: str) -> list[str]:
    """What is written on the sheets, line by line."""
    found = re.findall(r"<text[^>]*>([^<]*)</text>", page)
    return [line.replace("&amp;", "&").replace("\u00a0", " ") for line in found]


def sell(vehicle: Vehicle, by: Person) -> None:
    departure = Departure("sold", date(2026, 5, 1))
    retire(vehicle=vehicle, departure=departure, by=by, seen_revision=vehicle.revision)


def sheets_in(page: str) -> int:
    return page.count('class="p-sheet"')


# --- The code on a label ------------------------------------------------------------------------


def test_code_when_read_then_leads_to_the_vehicle(signed_in, owner):
    car = make_vehicle(owner)
    for said in (car.uid.hex, str(car.uid)):
        assert signed_in.get(f"/v/{said}/").url == reverse("stock:vehicle", args=[car.pk])


def test_code_when_the_vehicle_was_retired_then_still_leads_to_its_page(signed_in, owner):
    car = make_vehicle(owner)
    sell(car, owner)
    answer = signed_in.get(f"/v/{car.uid.hex}/", follow=True)

    assert answer.status_code == 200
    assert "BRV 88" in answer.content.decode()


def test_code_when_it_is_of_a_visitor_then_leads_to_the_slip(signed_in, owner):
    car = make_vehicle(owner, visitor="Ida")

    assert signed_in.get(f"/v/{car.uid.hex}/").url == reverse("bench:visitor", args=[car.pk])


def test_code_when_the_record_was_rebuilt_with_other_keys_then_leads_to_the_same(signed_in, owner):
    car = make_vehicle(owner)
    address = f"/v/{car.uid.hex}/"
    again = make_vehicle(owner, number="89")
    Vehicle.objects.filter(pk=car.pk).update(uid=uuid.uuid4())
    Vehicle.objects.filter(pk=again.pk).update(uid=car.uid)

    assert signed_in.get(address).url == reverse("stock:vehicle", args=[again.pk])


def test_code_when_nobody_carries_it_then_says_so(signed_in):
    answer = signed_in.get(f"/v/{uuid.uuid4().hex}/")

    assert answer.status_code == 404
    assert "No vehicle carries this label" in answer.content.decode()


def test_code_when_not_signed_in_then_comes_back_after_it(client, owner):
    car = make_vehicle(owner)

    assert f"next=/v/{car.uid.hex}/" in client.get(f"/v/{car.uid.hex}/").url


# --- The host in it -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    ["localhost", "localhost:8000", "127.0.0.1:8000", "127.9.9.9", "[::1]:8000", "0.0.0.0:8000"],
)
def test_host_when_it_is_the_machine_itself_then_is_known_as_loopback(host):
    # 127.0.0.0/8: RFC 1122, 3.2.1.3; ::1: RFC 4291, 2.5.3; localhost: RFC 6761, 6.3.
    assert is_loopback(host)


@pytest.mark.parametrize("host", ["192.168.1.20:8000", "workshop.local", "128.0.0.1", "[fe80::1]"])
def test_host_when_it_is_another_then_is_no_loopback(host):
    assert not is_loopback(host)


@pytest.mark.parametrize(
    "typed",
    ["a b", "a/b", "x:99999", "x:", "x:0", "256.1.1.1", "1.2.3", "-x", "[::g]", "ü", "x" * 81],
)
def test_host_when_it_is_none_then_is_refused(typed):
    with pytest.raises(HostRefused):
        host_from(typed)


@pytest.mark.parametrize("typed", ["192.168.1.20:8000", "Workshop.Local:8000/", "[fe80::1]:8000"])
def test_host_when_it_is_one_then_is_taken(typed):
    assert host_from(typed) == typed.lower().rstrip("/")


def test_labels_when_the_host_is_loopback_then_warn_and_take_another(signed_in, owner, settings):
    make_vehicle(owner)
    settings.ALLOWED_HOSTS = ["127.0.0.1", "workshop.local"]
    page = signed_in.get(reverse("paper:labels"), headers={"host": "127.0.0.1"}).content.decode()
    assert "a phone in the house cannot reach this" in page
    assert "--network" in page

    told = signed_in.get(
        reverse("paper:labels"), {"host": "workshop.local:8000"}, headers={"host": "127.0.0.1"}
    ).content.decode()
    assert "cannot reach" not in told
    assert "http://workshop.local:8000" in told


def test_labels_when_nobody_answers_to_the_host_then_say_so(signed_in, owner):
    make_vehicle(owner)
    page = signed_in.get(reverse("paper:labels"), {"host": "elsewhere.example"}).content.decode()

    assert "does not answer to elsewhere.example yet" in page


@pytest.mark.parametrize("name", ["labels", "bench", "tags"])
def test_host_when_it_is_none_then_the_page_says_what_to_type(signed_in, owner, name):
    car = make_vehicle(owner)
    take_out(subject=car, reason="wobbles", by=owner)
    asked = {"host": "no host", "vehicle": car.pk}
    answer = signed_in.get(reverse(f"paper:{name}"), asked)

    assert answer.status_code == 422
    assert "is no host name" in answer.content.decode()


# --- Labels -------------------------------------------------------------------------------------


def test_labels_then_say_who_it_is_and_that_it_is_bad_order(signed_in, owner):
    make_vehicle(owner, name="Old Sedgeway", storage_box="T1")
    bad = make_vehicle(owner, number="90")
    take_out(subject=bad, reason="axle 2 is loose", by=owner)
    lines = words_of(signed_in.get(reverse("paper:labels")).content.decode())

    assert {"BRV 88", "Old Sedgeway", "boxcar · HO", "Box T1", "BRV 90"} <= set(lines)
    assert "BAD ORDER: axle 2 is loose" in " ".join(lines)


def test_labels_when_the_list_is_narrowed_then_are_of_these(signed_in, owner):
    make_vehicle(owner)
    make_vehicle(owner, reporting_mark="QVMX")
    make_vehicle(owner, reporting_mark="GST", visitor="Ida")
    shown = words_of(signed_in.get(reverse("paper:labels"), {"q": "qvmx"}).content.decode())
    assert "QVMX 88" in shown
    assert "BRV 88" not in shown

    everybody = words_of(signed_in.get(reverse("paper:labels")).content.decode())
    assert {"QVMX 88", "BRV 88"} <= set(everybody)
    assert "GST 88" not in everybody


def test_labels_when_more_than_a_page_bears_then_the_rest_is_counted(
    signed_in, owner, monkeypatch
):
    for number in range(3):
        make_vehicle(owner, number=str(number))
    monkeypatch.setattr("inventory.paper.views.MOST_LABELS", 2)

    page = signed_in.get(reverse("paper:labels")).content.decode()

    assert "1 more is left out: narrow the choice, 2 labels are the most at once." in page
    assert [word for word in words_of(page) if word.startswith("BRV")] == ["BRV 0", "BRV 1"]
    monkeypatch.setattr("inventory.paper.views.MOST_LABELS", 3)
    assert "left out" not in signed_in.get(reverse("paper:labels")).content.decode()


def test_labels_when_single_ones_are_ticked_then_are_of_these(signed_in, owner):
    cars = [make_vehicle(owner, number=str(n)) for n in (1, 2, 3)]
    asked = {"vehicle": [cars[0].pk, cars[2].pk, "x", "9" * 30]}
    shown = words_of(signed_in.get(reverse("paper:labels"), asked).content.decode())

    assert [line for line in shown if line.startswith("BRV")] == ["BRV 1", "BRV 3"]


OWN = {
    "layout_code": "own",
    "columns": "2",
    "rows": "5",
    "width": "4 in",
    "height": "2 in",
    "left": "5/32 in",
    "top": "0.5 in",
    "across": "4.1875 in",
    "paper": "letter",
}


def test_labels_when_own_sizes_are_typed_in_inches_then_lie_there(signed_in, owner):
    make_vehicle(owner)
    page = signed_in.get(reverse("paper:labels"), {**OWN, "marks": "on"}).content.decode()
    frames = re.findall(
        r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', page
    )

    # 5/32 in is 3.97 mm, 4 3/16 in 106.36 mm, 4 by 2 in 101.6 by 50.8 mm; an inch is 25.4 mm.
    assert frames[0] == ("3.97", "12.7", "101.6", "50.8")
    assert frames[1][:2] == ("110.33", "12.7")
    assert len(frames) == 10


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"columns": "3"}, "3 columns reach to 318.29 mm, and US Letter is 215.9 mm"),
        ({"width": "wide"}, "Label width: "),
        ({"width": "1 in 2 in"}, "Label width: "),
        ({"height": ""}, "Label height: type it"),
        ({"rows": ""}, "Type how many rows"),
        ({"left": "-1"}, "Margin at the left: "),
        ({"across": "50"}, "they would overlap"),
        ({"start": "11"}, "The sheet has 10 labels"),
        ({"start": "0"}, "greater than or equal to 1"),
        ({"start": "one"}, "Begin at label: type a whole number"),
        ({"layout_code": "a4-3x8"}, "Select a valid choice"),
        ({"height": "11", "down": "11"}, "The code takes"),
    ],
)
def test_labels_when_sizes_are_wrong_then_are_told_by_name(signed_in, owner, changed, words):
    make_vehicle(owner)
    answer = signed_in.get(reverse("paper:labels"), {**OWN, **changed})

    assert answer.status_code == 422
    assert words in answer.content.decode().replace("&#x27;", "'").replace("&quot;", '"')
    assert sheets_in(answer.content.decode()) == 0


# --- The paper ----------------------------------------------------------------------------------


def test_paper_then_is_that_of_the_person_or_of_the_address(signed_in, owner):
    make_vehicle(owner)
    page = signed_in.get(reverse("paper:fleet")).content.decode()
    assert 'width="210mm" height="297mm"' in page
    assert "paper/a4.css" in page

    owner.unit = Person.Unit.INCH
    owner.save()
    assert 'width="215.9mm" height="279.4mm"' in (
        signed_in.get(reverse("paper:fleet")).content.decode()
    )
    assert 'width="210mm"' in (
        signed_in.get(reverse("paper:fleet"), {"paper": "a4"}).content.decode()
    )


# --- Bench sheets -------------------------------------------------------------------------------


def test_bench_sheet_then_has_the_order_of_the_bench_and_its_limits(signed_in, owner):
    car = make_vehicle(owner, axles=4)
    page = signed_in.get(reverse("paper:bench"), {"vehicle": car.pk}).content.decode()
    lines = words_of(page)

    order = ["Back-to-back", "Flange thickness", "Flange depth", "Tyre width", "Coupler height"]
    assert [line for line in lines if line in order] == order
    # S-4.2, HO: back-to-back 0.566 in = 14.376 mm at least; flange depth .028 in = 0.711 mm at
    # most; tyre width .108 in = 2.743 mm at least: as the sheet is quoted in tests/published.
    assert "at least 2.743 mm" in lines
    assert "at most 0.711 mm" in lines
    assert any(line.startswith("14.376 to ") for line in lines)
    assert sheets_in(page) == 1


def test_bench_sheet_when_a_house_limit_is_in_force_then_names_its_reason(signed_in, owner):
    HouseLimit.objects.create(
        quantity="tyre_width", family="nmra", scale="HO", low=Decimal("2.8"), reason="club rule"
    )
    car = make_vehicle(owner)
    page = signed_in.get(reverse("paper:bench"), {"vehicle": car.pk}).content.decode()

    assert "at least 2.800 mm" in words_of(page)
    assert any("House limit: club rule" in line for line in words_of(page))


def test_bench_sheet_when_the_length_is_known_then_has_the_mass(signed_in, owner):
    car = make_vehicle(owner)
    measure(car, owner, {("body_length", ""): "152.4"})
    page = signed_in.get(reverse("paper:bench"), {"vehicle": car.pk}).content.decode()

    # RP-20.1, HO: 1 oz and half an ounce for each of 6 inches are 4 oz, 113.4 g.
    assert "113.4 g" in words_of(page)


def test_bench_sheets_when_nothing_is_chosen_then_are_of_those_that_wait(signed_in, owner):
    make_vehicle(owner, number="1")
    done = make_vehicle(owner, number="2")
    inspection = measure(done, owner, {("mass", ""): "90"})
    finish_inspection(
        inspection=inspection, service=Service.BAD_ORDER, statement="wheels", by=owner
    )
    lines = words_of(signed_in.get(reverse("paper:bench")).content.decode())

    assert "BRV 1" in lines
    assert "BRV 2" not in lines


def test_bench_sheet_when_there_are_sixteen_axles_then_has_a_box_for_each(signed_in, owner):
    car = make_vehicle(owner, axles=16)
    lines = words_of(signed_in.get(reverse("paper:bench"), {"vehicle": car.pk}).content.decode())

    assert {"Axle 1 to 6", "Axle 7 to 12", "Axle 13 to 16"} <= set(lines)
    assert all(str(axle) in lines for axle in range(1, 17))


def test_blank_sheet_then_asks_who_it_is_and_has_limits_of_its_scale(signed_in, owner):
    asked = {"standard": "nmra/HO", "axles": "6", "copies": "2"}
    page = signed_in.get(reverse("paper:blank"), asked).content.decode()
    assert sheets_in(page) == 2
    assert {"Marks", "Number", "at most 0.711 mm", "Trip-pin clearance"} <= set(words_of(page))

    unknown = signed_in.get(reverse("paper:blank"), {"standard": ""}).content.decode()
    assert "at most 0.711 mm" not in words_of(unknown)
    assert "Back-to-back" in words_of(unknown)


@pytest.mark.parametrize(
    "asked", [{"axles": "17"}, {"axles": "x"}, {"copies": "0"}, {"standard": "q"}]
)
def test_blank_sheet_when_asked_nonsense_then_is_refused(signed_in, asked):
    assert signed_in.get(reverse("paper:blank"), asked).status_code == 422


def test_same_limits_when_axles_differ_then_names_the_axles():
    same = ("14.376 mm", "S-4.2")
    assert same_limits({"1": same, "2": same}) == same
    other = ("14.6 mm", "S-4.2")
    assert same_limits({"1": same, "2": other, "3": same}) == (
        "1, 3: 14.376 mm; 2: 14.6 mm",
        "S-4.2",
    )


# --- Tags ---------------------------------------------------------------------------------------


def test_tags_then_are_of_everything_out_of_service(signed_in, owner):
    cars = [make_vehicle(owner, number=str(n)) for n in range(5)]
    for car in cars:
        take_out(subject=car, reason=f"reason {car.number}", by=owner)
    page = signed_in.get(reverse("paper:tags")).content.decode()

    assert sheets_in(page) == 2
    lines = words_of(page)
    assert lines.count("BAD ORDER") == 5
    assert lines.count("DO NOT RUN") == 5
    assert {f"reason {n}" for n in range(5)} <= set(lines)


def test_tag_when_it_was_released_then_there_is_none(signed_in, owner):
    car = make_vehicle(owner)
    held = take_out(subject=car, reason="wobbles", by=owner)
    address = reverse("paper:tag", args=[held.pk])
    assert sheets_in(signed_in.get(address).content.decode()) == 1
    release(held=held, done="screwed down", by=owner)
    page = signed_in.get(address).content.decode()

    assert sheets_in(page) == 0
    assert "it needs no tag" in page


def test_tag_when_asked_at_its_old_address_then_is_found(signed_in, owner):
    held = take_out(subject=make_vehicle(owner), reason="wobbles", by=owner)

    assert signed_in.get(f"/trouble/holds/{held.pk}/tag/").url == reverse(
        "paper:tag", args=[held.pk]
    )


# --- Registers ----------------------------------------------------------------------------------


def entry(value: str | None, currency: str = "EUR") -> Entry:
    amount = None if value is None else Decimal(value)
    return Entry("BRV 1", "", "boxcar", "HO", "", "", None, amount, currency)


def test_sums_then_keep_currencies_apart_and_leave_out_what_has_no_value():
    entries = [entry("0.10"), entry("0.20"), entry(None), entry("5", "GBP"), entry("1", "")]

    assert sums(entries) == [
        ("EUR", Decimal("0.30"), 2),
        ("GBP", Decimal(5), 1),
        ("no currency named", Decimal(1), 1),
    ]


def test_money_then_has_its_thousands_apart():
    assert money(Decimal("1234567.5")) == "1\u00a0234\u00a0567.50"


def test_fleet_register_then_adds_up_and_counts_those_without_a_value(signed_in, owner):
    make_vehicle(owner, number="1", value=Decimal("1000.50"), currency="EUR")
    make_vehicle(owner, number="2", value=Decimal("234.50"), currency="EUR")
    make_vehicle(owner, number="3", value=Decimal(0), currency="EUR")
    make_vehicle(owner, number="4")
    gone = make_vehicle(owner, number="5", value=Decimal(999), currency="EUR")
    sell(gone, owner)
    page = signed_in.get(reverse("paper:fleet"), {"name": "A. Owner, policy 7"}).content.decode()
    lines = words_of(page)

    assert "1 235.00" in lines
    assert "3 vehicles" in lines
    assert "1 of them without a value: it is in no sum." in lines
    assert "0.00 EUR" in lines
    assert "not valued" in lines
    assert "Fleet register of A. Owner, policy 7" in lines
    assert "BRV 5" not in lines


def test_fleet_register_when_there_are_photos_then_shows_the_first_of_each(signed_in, owner):
    car = make_vehicle(owner, number="1")
    make_vehicle(owner, number="2")
    first, second = add_photos(vehicle=car, photos=photographs("white", "black"), by=owner)
    address = reverse("paper:fleet")
    page = signed_in.get(address).content.decode()

    assert page.count("<image ") == 1
    assert f'href="{first.thumbnail_address}"' in page
    assert second.thumbnail_address not in page
    assert "Photo" in words_of(page)
    without = signed_in.get(address, {"name": "Ann"}).content.decode()
    assert "<image " not in without
    assert "Photo" not in words_of(without)


def test_fleet_register_when_narrowed_then_says_that_it_is_not_the_whole(signed_in, owner):
    make_vehicle(owner)
    page = signed_in.get(reverse("paper:fleet"), {"q": "brv"}).content.decode()

    assert any("Not the whole fleet" in line for line in words_of(page))


def test_fleet_register_when_it_is_long_then_every_sheet_has_heading_and_number(signed_in, owner):
    for number in range(90):
        make_vehicle(owner, number=str(number))
    lines = words_of(signed_in.get(reverse("paper:fleet")).content.decode())
    of = {line for line in lines if line.startswith("page 1 of")}
    (count,) = {int(line.split()[-1]) for line in of}

    assert count > 2
    assert [line for line in lines if line.startswith("page ")] == [
        f"page {number} of {count}" for number in range(1, count + 1)
    ]
    assert lines.count("Marks and number") == count
    assert [line for line in lines if line.startswith("BRV ")] == [f"BRV {n}" for n in range(90)]


def test_line_for_the_wall_when_there_is_no_place_then_says_so(signed_in):
    railway = Railway.objects.create(name="Bare", family="nmra", scale="HO")
    page = signed_in.get(reverse("paper:wall", args=[railway.pk])).content.decode()

    assert "no place yet" in page


# --- Slips --------------------------------------------------------------------------------------


def test_slips_then_say_pass_or_what_is_out(signed_in, owner):
    car = make_vehicle(owner, visitor="Ida", reporting_mark="QX")
    inspection = measure(car, owner, {("back_to_back", "1"): "14.2"})
    finish_inspection(inspection=inspection, service=Service.BAD_ORDER, statement="", by=owner)
    lines = words_of(signed_in.get(reverse("paper:slips")).content.decode())

    assert {"QX 88", "boxcar, of Ida", "bad order"} <= set(lines)
    assert any(
        line.startswith("Back-to-back, axle 1: 14.20 mm, outside; limits") for line in lines
    )
    assert not Hold.objects.exists()


def test_slips_when_there_is_more_than_fits_then_count_what_is_left_out(signed_in, owner):
    car = make_vehicle(owner, visitor="Ida", axles=16)
    axles = [str(axle) for axle in range(1, 17)]
    measure(car, owner, {("back_to_back", axle): "14.1" for axle in axles})
    measure(car, owner, {("tyre_width", axle): "2.5" for axle in axles})
    lines = words_of(signed_in.get(reverse("paper:slips"), {"vehicle": car.pk}).content.decode())
    shown = [line for line in lines if ": 14.10 mm" in line or ": 2.50 mm" in line]
    (more,) = [line for line in lines if line.startswith("and ")]

    assert 0 < len(shown) < 32
    assert int(more.split()[1]) >= 32 - len(shown)


def test_slips_when_nobody_came_then_say_so(signed_in):
    assert "No visitor" in signed_in.get(reverse("paper:slips")).content.decode()


# --- All of them --------------------------------------------------------------------------------


def addresses() -> list[str]:
    railway = Railway.objects.get()
    return [
        *(
            reverse(f"paper:{name}")
            for name in ("index", "labels", "bench", "blank", "tags", "fleet", "slips")
        ),
        *(reverse(f"paper:{name}", args=[railway.pk]) for name in ("tracks", "wall")),
    ]


def test_papers_of_the_demo_when_looked_at_by_a_visitor_then_are_read_without_style_or_script(
    client, owner
):
    load_demo(by=owner)
    client.force_login(make_person("guest", role=Person.Role.VISITOR, unit="in"))
    pages = {}
    for address in addresses():
        answer = client.get(address)
        assert answer.status_code == 200, address
        pages[address] = answer.content.decode().split("<main")[1]
    for address, main in pages.items():
        assert " style=" not in main, address
        assert "<style" not in main, address
        assert "<script" not in main, address
        assert "Decimal(" not in main, address
        assert "None" not in words_of(main), address

    railway = Railway.objects.get()
    lines = words_of(pages[reverse("paper:tracks", args=[railway.pk])])
    for place in railway.places.all():
        assert f"{place.position}. {place.name}" in lines
        for track in place.tracks.all():
            assert track.name in " ".join(lines)
    # The demo's creamery has two reefers of its own, and a spur of 22 in: fixtures/demo.toml.
    assert "JZCX 72, JZCX 75" in lines
    assert 'width="279.4mm" height="215.9mm"' in pages[reverse("paper:wall", args=[railway.pk])]


@pytest.mark.parametrize("name", ["tag", "tracks", "wall"])
def test_paper_of_what_is_not_there_then_is_not_found(signed_in, name):
    assert signed_in.get(reverse(f"paper:{name}", args=[999])).status_code == 404


@pytest.mark.parametrize("n", [1, 3])
@pytest.mark.parametrize(("name", "queries"), [("labels", 4), ("bench", 9), ("fleet", 5)])
def test_papers_then_take_the_same_number_of_queries(
    signed_in, owner, n, name, queries, django_assert_num_queries
):
    for number in range(n):
        measure(make_vehicle(owner, number=str(number)), owner, {("body_length", ""): "150"})
    with django_assert_num_queries(queries):
        signed_in.get(reverse(f"paper:{name}"))


def test_papers_when_there_are_500_vehicles_then_come_in_time(signed_in, owner):
    Vehicle.objects.bulk_create(
        Vehicle(
            reporting_mark="BRV",
            number=str(number),
            kind="boxcar",
            family="nmra",
            scale="HO",
            axles=4,
            value=Decimal(number),
            currency="EUR",
            number_key=f"{number:08}",
        )
        for number in range(500)
    )
    # 500 labels, 24 on a sheet; one bench sheet for each; the sum of 0 to 499.
    for name, sheets, words in (
        ("labels", 21, "BRV 499"),
        ("bench", 500, "BRV 499"),
        ("fleet", None, "124 750.00"),
    ):
        began = time.perf_counter()
        page = signed_in.get(reverse(f"paper:{name}")).content.decode()
        # Ample, for slow machines: a few seconds here.
        assert time.perf_counter() - began < 60, name
        assert sheets is None or sheets_in(page) == sheets
        assert words in words_of(page)


@pytest.mark.parametrize(
    "marks",
    [
        "M" * 40,
        "Königlich Bayerische Staatseisenbahnen",
        "שלום רכבת",
        "قطار الشرق",
        "鉄道模型",
        "<b>&",
        ".",
    ],
)
def test_papers_when_marks_are_odd_then_answer(signed_in, owner, marks):
    car = make_vehicle(
        owner,
        reporting_mark=marks,
        number="" if len(marks) < 10 else "9" * 24,
        name="N" * 60,
        kind="k" * 60,
        storage_box="b" * 40,
    )
    take_out(subject=car, reason="r" * 200, by=owner)
    for name in ("labels", "bench", "tags", "fleet"):
        answer = signed_in.get(reverse(f"paper:{name}"), {"vehicle": car.pk})
        assert answer.status_code == 200
        assert sheets_in(answer.content.decode()) >= 1
        assert "<b>&<" not in answer.content.decode()
