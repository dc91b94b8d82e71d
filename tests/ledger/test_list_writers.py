"""The bulk writers behind a list keep every rule of the single ones; what stops them halfway."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.urls import reverse

from inventory.ledger.lists.columns import guess
from inventory.ledger.lists.incoming import Incoming, Planned, RowsRefused, Terms
from inventory.ledger.lists.scales import scale_code
from inventory.ledger.lists.workbooks import Row
from inventory.stock.forms import VehicleForm
from inventory.stock.models import Change, Coupler, Vehicle, Verdict, Wheelset
from inventory.stock.recording import (
    Amended,
    Overtaken,
    Wheels,
    amend_vehicles,
    finish_inspection,
)
from standards.judging import Service
from standards.sheets import UnknownStandard
from tests.factories import make_person, make_vehicle, measure

HOME = Path(__file__).resolve().parents[2]


def listed(*rows: str, standard: str = "nmra/HO", unit: str = "mm", **terms) -> Incoming:
    """Rows with semicolons between their cells, the first of them the headings."""
    made = [Row(number, tuple(row.split(";"))) for number, row in enumerate(rows, start=1)]
    codes = tuple(guess(made[0].cells))
    constants = {"category": "freight", "kind": "boxcar", **terms.pop("constants", {})}
    said = Terms(0, codes, standard, constants, **terms)
    return Incoming(made, said, unit=unit, today=date(2026, 11, 25))


def only(incoming: Incoming) -> Planned:
    (planned,) = incoming.plan()
    return planned


def problems(*rows: str, **terms) -> list[str]:
    return [words for each in listed(*rows, **terms).plan() for words in each.problems]


# --- The rules are the form's ------------------------------------------------------------

WRONG = [
    ("reporting_mark", "Marks", "\u200b"),
    ("reporting_mark", "Marks", "x" * 41),
    ("number", "Number", "1" * 25),
    ("number", "Number", "x" * 50_000),
    ("axles", "Axles", "17"),
    ("axles", "Axles", "0"),
    ("aar_designation", "AAR", "X1"),
    ("uic_letter", "UIC", "GG"),
    ("acquired_on", "Acquired", "2199-01-01"),
    ("price", "Price", "-1"),
    ("price", "Price", "1.234567"),
    ("price", "Price", "123456789012"),
    ("currency", "Currency", "E1R"),
    ("currency", "Currency", "EURO"),
    ("minimum_radius", "Radius", "0"),
    ("minimum_radius", "Radius", "1/3 in"),
    ("minimum_radius", "Radius", "a lot"),
    ("name", "Name", "a\0b"),
    ("notes", "Notes", "x" * 4001),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("field", "heading", "text"), WRONG)
def test_cell_when_the_form_would_refuse_it_then_is_refused_in_the_same_words(
    field, heading, text
):
    typed = {
        "reporting_mark": "BRV",
        "number": "1",
        "kind": "boxcar",
        "category": "freight",
        "standard": "nmra/HO",
        "axles": "4",
        "currency": "EUR",
        field: text,
    }
    form = VehicleForm(typed, unit="mm")
    headings = {
        "reporting_mark": "Marks",
        "number": "Number",
        "currency": "Currency",
        field: heading,
    }
    told = problems(";".join(headings.values()), ";".join(typed[name] for name in headings))

    assert not form.is_valid()
    assert len(told) == 1
    assert any(words in told[0] for words in form.errors[field]), (told, form.errors)
    assert told[0].startswith("column ") and f"({heading})" in told[0]
    assert len(told[0]) < 300


@pytest.mark.django_db
def test_cell_when_merged_into_another_then_is_told_once():
    rows = [
        Row(1, ("Marks", "Number")),
        Row(2, ("BRV", "1")),
        Row(3, ("", "2"), covered=(0,)),
    ]
    constants = {"category": "freight", "kind": "boxcar"}
    terms = Terms(0, ("reporting_mark", "number"), "nmra/HO", constants)
    plan = list(Incoming(rows, terms, unit="mm", today=date(2026, 11, 25)).plan())

    assert [each.problems for each in plan] == [
        (),
        ("column A (Marks) is merged into another cell: unmerge it, and fill each row.",),
    ]


@pytest.mark.django_db
def test_currency_when_missing_beside_a_price_then_is_asked_for_as_in_the_form():
    assert problems("Marks;Price", "BRV;24,50") == [
        "column B (Price): “24,50” has no currency: say the currency once for all of the list, or "
        "write it beside the amount, such as 24.50 EUR."
    ]
    assert problems("Marks;Price;Currency", "BRV;24,50;") == [
        "column C (Currency): Name the currency of the price, such as EUR, GBP or USD."
    ]
    assert only(listed("Marks;Price", "BRV;24.50 EUR")).deed == "new"
    assert only(listed("Marks;Price", "BRV;€ 24,50")).deed == "new"
    assert only(listed("Marks;Price", "BRV;24.50", constants={"currency": "GBP"})).deed == "new"
    assert (
        "but the vehicle's currency is EUR"
        in problems("Marks;Price;Currency", "BRV;24 GBP;EUR")[0]
    )


@pytest.mark.django_db
def test_radius_when_its_heading_names_a_unit_then_is_in_that_and_else_in_the_persons(owner):
    for heading, unit, text, mm in (
        ("Radius (in)", "mm", "18", "457.2"),
        ("Radius", "in", "18", "457.2"),
        ("Radius", "mm", "18", "18"),
        ("Radius", "mm", "18 in", "457.2"),
        ("Smallest radius (mm)", "in", "360,5", "360.5"),
    ):
        planned = only(listed(f"Marks;{heading}", f"BRV;{text}", unit=unit))
        assert ("Smallest radius", "", mm) in planned.differences


@pytest.mark.parametrize(
    ("family", "text", "code"),
    [
        ("nmra", "ho", "HO"),
        ("nem", "HO", "H0"),
        ("nem", "1:87", "H0"),
        ("nmra", "1/87", "HO"),
        ("nmra", "1:160", "N"),
        ("nmra", "HOn3", "HOn3"),
        ("0-fine", "O", "0"),
    ],
)
def test_scale_when_written_as_people_do_then_is_found(family, text, code):
    assert scale_code(family, text) == code


def test_scale_when_not_of_the_family_then_names_those_that_are():
    with pytest.raises(UnknownStandard, match="“Z9” is no scale of NMRA standard scales; it has"):
        scale_code("nmra", "Z9")
    # S-4.2 has HO, and whoever mistyped it looks for it in this sentence.
    with pytest.raises(UnknownStandard, match=r"\bHO, HOn3,"):
        scale_code("nmra", "Z9")


@pytest.mark.django_db
def test_list_when_it_only_changes_what_is_known_then_asks_for_nothing_new(owner):
    make_vehicle(owner, number="1", kind="hopper")
    rows = ["Marks;Number;Value;Currency", "BRV;1;12.50;USD"]
    known = listed(*rows, constants={"category": "", "kind": ""})
    assert known.missing() == []
    assert only(known).differences == (
        ("Present value", "", "12.50"),
        ("Currency", "", "USD"),
    )
    # The next row is about nobody in the record: now it has to be said what the new one is.
    new = listed(*rows, "BRV;2;3;USD", constants={"category": "", "kind": ""})
    assert [words.split(" is in no column")[0] for words in new.missing()] == ["Category", "Kind"]


@pytest.mark.django_db
def test_row_when_longer_than_the_headings_then_says_where():
    assert "column C: “x” stands beyond the last heading" in problems("Marks;Number", "BRV;1;x")[0]


@pytest.mark.django_db
def test_rows_when_about_the_same_vehicle_then_each_names_the_other(owner):
    told = problems("Marks;Number", "BRV;1", "BRV;2", "brv ;1\u200b")

    assert [words[:44] for words in told] == [
        "This is the same vehicle as in row 4: keep o",
        "This is the same vehicle as in row 2: keep o",
    ]
    rows = ("Marks;Number", "BRV;1", "BRV;1")
    assert listed(*rows, are_others=True).carry_out(by=owner).new == 2
    assert "2 vehicles in the record are lettered BRV 1" in problems(*rows[:2])[0]


@pytest.mark.django_db
def test_rows_when_one_names_the_uid_of_another_then_each_names_the_other(owner):
    made = make_vehicle(owner, number="1")

    told = problems("uid;Marks;Number", f"{made.uid};BRV;9", ";BRV;1")

    assert len(told) == 2 and all("the same vehicle" in words for words in told)


@pytest.mark.django_db
def test_uid_when_of_a_visitor_or_none_then_is_refused(owner):
    made = make_vehicle(owner, visitor="Friend")

    assert "which a visitor brought" in problems("uid;Marks", f"{made.uid};BRV")[0]
    assert "is no uid as an export writes it" in problems("uid;Marks", "12;BRV")[0]


@pytest.mark.django_db
def test_text_when_it_holds_what_cannot_be_seen_then_is_kept_and_marked(owner):
    incoming = listed("Marks;Name", "BRV;a\u202eb\x07")

    assert only(incoming).notes == (
        "column B (Name) holds what cannot be seen: RIGHT-TO-LEFT OVERRIDE (U+202E), control "
        "character (U+0007).",
    )
    incoming.carry_out(by=owner)
    assert Vehicle.objects.get().name == "a\u202eb\x07"


# --- The writers ------------------------------------------------------------


@pytest.mark.django_db
def test_gear_when_declared_per_axle_then_is_kept_and_noted(owner):
    listed(
        "Marks;Axles;RP-25 code;Wheel material;Coupler A;Couplers",
        "BRV;3;110 | 88 | ;metal;loop;hook",
    ).carry_out(by=owner)
    made = Vehicle.objects.get()

    assert list(made.wheelsets.values_list("axle", "profile_code", "material")) == [
        (1, 110, "metal"),
        (2, 88, "metal"),
        (3, None, "metal"),
    ]
    assert list(made.couplers.values_list("end", "kind")) == [("A", "loop"), ("B", "hook")]

    incoming = listed("Marks;RP-25 code;Coupler B", "BRV;88;bar")
    assert only(incoming).differences == (
        ("RP-25 code of its wheels", "110 | 88 | ", "88"),
        ("Coupler, end B", "hook", "bar"),
    )
    incoming.carry_out(by=owner)
    assert list(made.wheelsets.values_list("profile_code", "material")) == [(88, "metal")] * 3
    notes = [(each.what, each.before, each.after) for each in Change.objects.all()]
    assert (
        "coupler",
        "end B: hook and chain, on the body",
        "end B: bar or permanent, on the body",
    ) in notes
    assert len([each for each in notes if each[0] == "wheelset"]) == 2
    made.refresh_from_db()
    assert made.revision == 2
    assert "2 values stand there" in problems("Marks;RP-25 code", "BRV;88 | 110")[0]


@pytest.mark.django_db
def test_axles_when_changed_then_wheelsets_follow_and_verdicts_are_judged_anew(owner):
    made = make_vehicle(owner, number="1", axles=4)
    inspection = measure(
        made, owner, {("back_to_back", "1"): "14.47", ("back_to_back", "4"): "14.9"}
    )
    finish_inspection(inspection=inspection, service=Service.BAD_ORDER, statement="", by=owner)
    assert {each.at for each in Verdict.objects.standing_for(made)} >= {"1", "4"}

    listed("Marks;Number;Axles", "BRV;1;2").carry_out(by=owner)

    made = Vehicle.objects.get()
    assert [each.axle for each in made.fitted_wheelsets] == [1, 2]
    assert Wheelset.objects.filter(removed_at__isnull=False).count() == 2
    assert "4" not in {each.at for each in Verdict.objects.standing_for(made)}
    change = Change.objects.get(what="axles")
    assert (change.before, change.after, change.by) == ("4", "2", owner)


@pytest.mark.django_db
def test_scale_when_changed_then_verdicts_are_judged_by_the_new_one(owner):
    made = make_vehicle(owner, number="1")
    measure(made, owner, {("back_to_back", "1"): "14.47"})
    before = Verdict.objects.standing_for(made)[0]

    row = f"{made.uid};nem;H0"
    listed("uid;Standards;Scale", row).carry_out(by=owner)

    after = Verdict.objects.standing_for(Vehicle.objects.get())[0]
    assert (before.sheets, after.cause) != (after.sheets, "recorded")
    assert {each["id"] for each in after.sheets} == {"nem-310-2009"}


@pytest.mark.django_db
def test_bulk_writer_when_overtaken_then_writes_nothing(owner):
    one, other = make_vehicle(owner, number="1"), make_vehicle(owner, number="2")
    Vehicle.objects.filter(pk=other.pk).update(revision=5)
    one.kind = other.kind = "hopper"

    with pytest.raises(Overtaken):
        amend_vehicles(amended=[Amended(one, 1, {1: Wheels(88)}), Amended(other, 1)], by=owner)

    assert set(Vehicle.objects.values_list("kind", flat=True)) == {"boxcar"}
    assert Change.objects.count() == 0
    assert set(Wheelset.objects.values_list("profile_code", flat=True)) == {110}


@pytest.mark.django_db
def test_list_when_a_row_is_wrong_in_the_last_batch_then_nothing_at_all_is_written(owner):
    rows = [f"BRV;{number};4" for number in range(900)] + ["BRV;x;99"]
    incoming = listed("Marks;Number;Axles", *rows)

    with pytest.raises(RowsRefused, match="errors in row 902"):
        incoming.carry_out(by=owner)

    assert (Vehicle.objects.count(), Wheelset.objects.count(), Coupler.objects.count()) == (
        0,
        0,
        0,
    )


@pytest.mark.django_db
def test_list_when_long_then_asks_the_database_by_the_batch(owner, django_assert_max_num_queries):
    rows = [f"BRV;{number};hopper" for number in range(800)]
    with django_assert_max_num_queries(90):
        listed("Marks;Number;Kind", *rows).carry_out(by=owner)

    with django_assert_max_num_queries(20):
        assert {each.deed for each in listed("Marks;Number;Kind", *rows).plan()} == {"same"}


@pytest.mark.django_db
def test_price_when_as_it_was_then_is_the_same_however_it_is_written(owner):
    make_vehicle(owner, number="1", price=Decimal("24.5"), value=Decimal("3"), currency="EUR")

    for price in ("24.50", "24,5", "€ 24.50", "24.5 EUR"):
        assert only(listed("Marks;Number;Price", f"BRV;1;{price}")).deed == "same"
    assert only(listed("Marks;Number;Price", "BRV;1;24.51")).differences == (
        ("Price", "24.50", "24.51"),
    )
    assert (
        "but the vehicle's currency is EUR" in problems("Marks;Number;Price", "BRV;1;24.50 GBP")[0]
    )


# --- What stops it halfway ------------------------------------------------------------


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
@pytest.mark.sqlite
def test_list_when_the_disk_is_full_then_says_so_and_writes_nothing(client, tmp_path, settings):
    settings.DATA = tmp_path
    client.force_login(make_person())
    text = "Marks,Number,Kind,Category,Scale,Standards,uid,Notes\n" + "".join(
        f"BRV,{n},boxcar,freight,HO,nmra,,{'n' * 2000}\n" for n in range(500)
    )
    file = SimpleUploadedFile("list.csv", text.encode())
    at = client.post(reverse("ledger:import"), {"file": file, "whole": "yes"}).url
    at = client.post(
        at,
        {
            f"column-{n}": code
            for n, code in enumerate(
                ["reporting_mark", "number", "kind", "category", "scale", "family", "uid", "notes"]
            )
        },
    ).url
    with connection.cursor() as cursor:
        pages = cursor.execute("PRAGMA page_count").fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count = {pages + 40}")

    answer = client.post(f"{at}do/")

    with connection.cursor() as cursor:
        cursor.execute("PRAGMA max_page_count = 1073741823")
    assert answer.status_code == 507
    assert Vehicle.objects.count() == 0
    client.post(f"{at}do/")  # nothing was lost: with room it goes through
    assert Vehicle.objects.count() == 500


def manage(data: Path, *arguments: str) -> subprocess.Popen[str]:
    environment = {k: v for k, v in os.environ.items() if k != "CARKNOCKER_DATABASE"}
    return subprocess.Popen(
        [sys.executable, "manage.py", *arguments],
        cwd=HOME,
        env={**environment, "CARKNOCKER_DATA": str(data), "PYTHONUTF8": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def test_lists_when_two_come_in_at_once_then_one_finds_what_the_other_wrote(tmp_path):
    manage(tmp_path, "migrate", "-v0").communicate(timeout=120)
    made = (
        "from inventory.people.models import Person; "
        "Person.objects.create_user('owner', role='owner')"
    )
    manage(tmp_path, "shell", "-c", made).communicate(timeout=120)
    file = tmp_path / "list.csv"
    rows = "".join(f"BRV,{number},boxcar\n" for number in range(400))
    file.write_text(f"Marks,Number,Kind\n{rows}")
    given = ("import_vehicles", str(file), "--standard", "nmra/HO", "--category", "freight")

    both = [manage(tmp_path, *given) for _ in range(2)]
    said = [each.communicate(timeout=120)[0] for each in both]

    assert [each.returncode for each in both] == [0, 0], said
    last = sorted(each.strip().splitlines()[-1] for each in said)
    assert last == [
        "0 new, 0 changed, 400 as they were, 0 left out.",
        "400 new, 0 changed, 0 as they were, 0 left out.",
    ]
