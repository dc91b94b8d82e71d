"""The whole record out and in again: every fact as it was, in each of the three forms.

What came back is compared by the database's own columns, read here by plain Django queries that
know nothing of the sections. Outside readers: json, csv and zipfile of Python, openpyxl, pandas.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from datetime import UTC, date, datetime
from decimal import Decimal

import openpyxl
import pandas
import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from inventory.bench.demo import load_demo
from inventory.ledger.neutral import neutral, original
from inventory.ledger.reading import _as_text
from inventory.ledger.sections import SECTIONS
from inventory.ledger.tables import for_xml, from_xml, pieces
from inventory.ledger.taking_in import ImportRefused, take_in
from inventory.ledger.writing import ExportRefused, write
from inventory.people.models import Person
from inventory.stock.models import Instrument, Reading, Vehicle, VehiclePhoto
from inventory.stock.photos import Cleaned, cleaned
from inventory.stock.recording import (
    Departure,
    Running,
    amend_vehicle,
    log_vehicle,
    open_inspection,
    retire,
)
from inventory.track.models import HomeTrack, Place, Railway, Track
from inventory.trackwork.models import Trackwork, TrackworkPhoto
from inventory.trouble.models import Incident, IncidentPhoto
from inventory.trouble.recording import take_out, withdraw_report
from tests.benchmarks.whole_record import generate
from tests.factories import make_person

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
FORMS = (".json", ".zip", ".xlsx")
OURS = ("people", "stock", "track", "trackwork", "trouble")
NASTY = "=1+1\r\n\t'@SUM(A1)\x07 _x0041_ “Ødegård” 🚂\r"


def picture(size=(40, 30), colour="teal") -> Cleaned:
    raw = io.BytesIO()
    Image.new("RGB", size, colour).save(raw, "PNG")
    raw.seek(0)
    return cleaned(raw, "picture")


@pytest.fixture(scope="module")
def loaded(django_db_setup, django_db_blocker):
    """Loaded once: every test works on it within a transaction that is undone."""
    with django_db_blocker.unblock():
        usual = list(Instrument.objects.order_by("pk").values())
        fill()
    yield
    with django_db_blocker.unblock():
        for section in reversed(SECTIONS):
            section.model._base_manager.all().delete()
        Instrument.objects.bulk_create(Instrument(**each) for each in usual)


@pytest.fixture
def demo(loaded, db) -> None:
    """The demo railway, and of everything that it lacks something."""


def fill() -> None:
    owner = make_person("bench", first_name="Åse", email="bench@example.org")
    load_demo(by=owner)
    make_person("guest", role=Person.Role.VISITOR, unit="in", is_active=False)
    first, second, third, *_ = Vehicle.objects.order_by("pk")
    first.notes, first.price = NASTY, None
    amend_vehicle(vehicle=first, seen_revision=first.revision, by=owner)
    gone = Departure(Vehicle.Retired.SOLD, date(2026, 2, 1), Decimal("12.50"), "to a friend")
    retire(vehicle=second, departure=gone, by=owner, seen_revision=second.revision)
    brought = Vehicle(
        reporting_mark="'=VIS", number="0007", kind="railcar", family="nem", scale="H0", axles=2,
        visitor="Mette",
    )  # fmt: skip
    log_vehicle(vehicle=brought, running=Running(), by=owner, is_another=True)
    open_inspection(vehicle=brought, reason="visiting", by=owner, moment=NOON)
    HomeTrack.objects.create(vehicle=third, track=Track.objects.order_by("pk").first())
    incident = Incident.objects.order_by("pk").first()
    kinds = (
        (IncidentPhoto, {"incident": incident}),
        (VehiclePhoto, {"vehicle": third}),
        (TrackworkPhoto, {"trackwork": Trackwork.objects.order_by("pk").last()}),
    )
    for model, of in kinds:
        for position, colour in enumerate(("teal", "gold", "teal"), start=101):
            taken = picture(colour=colour)
            model.objects.create(
                **of, jpeg=taken.jpeg, thumbnail=taken.thumbnail, digest=taken.digest,
                width=taken.width, height=taken.height, caption="@side", taken_on=date(2026, 1, 2),
                position=position, added_by=owner, added_at=NOON,
            )  # fmt: skip
    withdraw_report(incident=incident, because="seen wrongly")
    take_out(subject=Trackwork.objects.order_by("pk").last(), reason="loose point", by=owner)
    Instrument.objects.filter(name="Vernier caliper").update(is_retired=True, note="@old")


def facts() -> dict[str, list[tuple]]:
    """Every column of every table of ours, keys replaced by the order of what they point to."""
    ranks: dict[object, dict[int, int]] = {}

    def rank(model, pk):
        if pk is None:
            return None
        if model not in ranks:
            keys = model._base_manager.order_by("pk").values_list("pk", flat=True)
            ranks[model] = {key: at for at, key in enumerate(keys)}
        return ranks[model][pk]

    found = {}
    for label in OURS:
        for model in apps.get_app_config(label).get_models(include_auto_created=True):
            fields = [
                field
                for field in model._meta.concrete_fields
                if not field.primary_key
                # A thumbnail is made anew from the picture that was kept.
                and field.name not in ("password", "last_login", "thumbnail")
            ]
            rows = model._base_manager.order_by("pk").values_list(*[f.attname for f in fields])
            found[model.__name__] = [
                tuple(
                    rank(field.related_model, value)
                    if field.is_relation
                    # Text tells 14.40 from 14.4, and repr one bit of a float.
                    else repr(bytes(value) if isinstance(value, memoryview) else value)
                    for field, value in zip(fields, row, strict=True)
                )
                for row in rows
            ]
            if model._meta.auto_created:
                found[model.__name__].sort()
    return found


def clear() -> None:
    """An empty record again, as a new one is: with somebody and an instrument."""
    first = Person.objects.order_by("pk").first()
    for section in reversed(SECTIONS):
        section.model._base_manager.all().delete()
    Instrument.objects.create(name="Digital caliper", kind="caliper")
    Person.objects.create_user(first.username, role=Person.Role.OWNER)


def out(suffix: str, **more) -> bytes:
    raw = io.BytesIO()
    write(raw, suffix, NOON, **more)
    return raw.getvalue()


def into(raw: bytes, suffix: str, **more):
    return take_in(io.BytesIO(raw), f"record{suffix}", **more)


# --- Round trips ------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", FORMS)
def test_demo_when_taken_into_an_empty_record_then_every_fact_is_as_it_was(demo, suffix):
    before, document = facts(), out(".json")
    raw = out(suffix)
    assert {name for name, rows in before.items() if not rows} <= {
        "Person_groups",
        "Person_user_permissions",
        "SetAside",
        "SignInLink",
        "Device",
        "SignInTally",
    }, "the record under test lacks something"
    clear()

    done = into(raw, suffix)

    assert done.was_empty
    assert facts() == before
    assert out(".json") == document
    assert not Person.objects.get(username="guest").has_usable_password()
    ours = VehiclePhoto.objects.filter(caption="@side")
    shown = ours.values_list("thumbnail", flat=True).first()
    assert Image.open(io.BytesIO(bytes(shown))).size == (40, 30)


@pytest.mark.parametrize("suffix", FORMS)
def test_record_when_it_holds_all_of_it_then_says_so_and_changes_nothing(demo, suffix):
    before = facts()

    done = into(out(suffix), suffix)

    assert done.in_words == "The record holds all of it already; nothing was written."
    assert {each.in_document - each.same for each in done.counts} == {0}
    assert facts() == before


def test_three_hundred_vehicles_when_sent_round_all_forms_then_are_as_they_were(demo):
    clear()
    generate(300)
    before = facts()
    assert len(before["Reading"]) == 300 * 8

    for suffix in FORMS:
        raw = out(suffix)
        clear()
        into(raw, suffix)
        assert facts() == before


def test_photos_when_left_out_then_only_they_are_missing(demo):
    raw = out(".zip", with_photos=False)
    assert "photos/incident_photos-1.jpg" not in zipfile.ZipFile(io.BytesIO(raw)).namelist()
    before = facts()
    clear()

    into(raw, ".zip")

    after = facts()
    for kind in ("IncidentPhoto", "VehiclePhoto", "TrackworkPhoto"):
        assert after.pop(kind) == []
        assert len(before.pop(kind)) >= 3
    assert after == before


def test_verdicts_when_taken_in_then_are_not_judged_anew(demo):
    said = json.loads(out(".json"))
    said["verdicts"][0]["low_basis"] = "A sheet that nobody has any more"
    said["verdicts"][0]["outcome"] = "outside"
    clear()

    into(json.dumps(said).encode(), ".json")

    again = json.loads(out(".json"))
    assert again["verdicts"] == said["verdicts"]
    assert again["holds"] == said["holds"]


# --- Into a record with other content ---------------------------------------------------------


def test_record_with_other_vehicles_when_given_more_then_both_are_there(demo):
    raw, n_demo = out(".json"), Vehicle.everyone.count()
    clear()
    owner = Person.objects.get(username="bench")
    own = Vehicle(reporting_mark="OWN", number="1", kind="boxcar", family="nmra", scale="HO")
    log_vehicle(vehicle=own, running=Running(), by=owner)
    for name in ("Scale, 1 g", "Standards gauge"):
        Instrument.objects.create(name=name, kind="scale", note="ours")

    looked = into(raw, ".json", is_dry=True)
    assert Vehicle.everyone.count() == 1
    done = into(raw, ".json")

    assert looked.n_added == done.n_added
    assert Vehicle.everyone.count() == n_demo + 1
    assert next(each for each in done.counts if each.section == "vehicles").beyond == 1
    # What stays: the instrument as it is here, and the person.
    assert Instrument.objects.get(name="Scale, 1 g").note == "ours"
    assert any(line.startswith("instruments, Scale, 1 g: ") for line in done.left)
    assert into(raw, ".json").n_added == 0


def test_vehicle_when_it_was_changed_since_then_both_are_named_and_nothing_is_written(demo):
    raw = out(".json")
    vehicle = Vehicle.objects.order_by("-pk").first()
    Vehicle.everyone.filter(pk=vehicle.pk).update(maker="Somebody else")
    before = facts()

    done = into(raw, ".json")

    assert done.is_refused
    assert facts() == before
    assert any(
        line.startswith("vehicles, row ") and "maker is “Somebody else” here and “" in line
        for line in done.differences
    )


def test_reading_when_its_inspection_is_there_without_it_then_is_refused(demo):
    raw = out(".json")
    reading = Reading.objects.order_by("pk").first()
    reading.verdicts.all().delete()
    reading.delete()

    done = into(raw, ".json")

    assert done.is_refused
    assert any("the inspection is there without it" in line for line in done.differences)


def test_place_when_another_stands_there_then_is_refused_in_words(demo):
    clear()
    railway = Railway.objects.create(name="Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=railway, name="Mill", position=1)
    raw = out(".json")
    Place.objects.filter(pk=place.pk).update(name="Creamery")

    with pytest.raises(ImportRefused, match=r"places, row 1, position: the record has another"):
        into(raw, ".json")

    assert [each.name for each in Place.objects.all()] == ["Creamery"]


def test_owner_when_the_document_makes_him_none_then_is_refused(demo):
    said = json.loads(out(".json"))
    said["people"][0]["role"] = "visitor"
    clear()
    owner = Person.objects.get(username="bench")

    with pytest.raises(ImportRefused, match="you would lose your own record"):
        into(json.dumps(said).encode(), ".json", by=owner)

    assert Vehicle.everyone.count() == 0
    assert Instrument.objects.count() == 1


# --- Outside readers --------------------------------------------------------------------------


def test_document_when_read_by_json_then_its_rows_are_those_of_the_record(demo):
    said = json.loads(out(".json"))

    assert said["carknocker"] == {
        "format": 1, "written_at": "2026-03-01T12:00:00Z", "photos": True,
    }  # fmt: skip
    assert len(said["vehicles"]) == Vehicle.everyone.count()
    uids = {str(uid) for uid in Vehicle.everyone.values_list("uid", flat=True)}
    assert {each["uid"] for each in said["vehicles"]} == uids
    assert {each["vehicle"] for each in said["wheelsets"]} <= uids
    assert next(each for each in said["people"] if each["name"] == "guest")["unit"] == "in"
    assert "password" not in json.dumps(said["people"])


def test_tables_when_read_by_csv_and_pandas_then_say_what_the_document_says(demo):
    said, packed = json.loads(out(".json")), zipfile.ZipFile(io.BytesIO(out(".zip")))

    for section in SECTIONS:
        raw = packed.read(f"{section.name}.csv")
        frame = pandas.read_csv(io.BytesIO(raw), dtype=str, keep_default_na=False)
        assert list(frame.columns) == [column.name for column in section.columns]
        assert len(frame) == len(said[section.name])
        rows = list(csv.reader(io.StringIO(raw.decode("utf-8-sig"), newline="")))
        assert len(rows) == len(frame) + 1
    vehicles = pandas.read_csv(io.BytesIO(packed.read("vehicles.csv")), dtype=str)
    assert list(vehicles["uid"]) == [each["uid"] for each in said["vehicles"]]
    readings = pandas.read_csv(io.BytesIO(packed.read("readings.csv")))
    # Numbers are numbers to whoever wants them.
    assert readings["u"].dropna().tolist() == [
        each["u"] for each in said["readings"] if each["u"] is not None
    ]


def test_workbook_when_read_by_openpyxl_and_pandas_then_says_what_the_document_says(demo):
    said, raw = json.loads(out(".json")), out(".xlsx")

    book = openpyxl.load_workbook(io.BytesIO(raw))
    assert set(book.sheetnames) == {"carknocker", "long_texts", *(s.name for s in SECTIONS)}
    for section in SECTIONS:
        sheet = book[section.name]
        head, *rows = sheet.iter_rows(values_only=True)
        assert list(head) == [column.name for column in section.columns]
        assert len(rows) == len(said[section.name])
    assert all(cell.data_type != "f" for s in book for row in s.iter_rows() for cell in row)
    frame = pandas.read_excel(io.BytesIO(raw), sheet_name="vehicles", dtype=str)
    assert list(frame["uid"]) == [each["uid"] for each in said["vehicles"]]


@pytest.mark.parametrize("suffix", [".zip", ".xlsx"])
def test_tables_when_a_text_would_run_as_a_formula_then_none_begins_as_one(demo, suffix):
    raw = out(suffix)
    if suffix == ".zip":
        packed = zipfile.ZipFile(io.BytesIO(raw))
        rows = csv.DictReader(
            io.StringIO(packed.read("vehicles.csv").decode("utf-8-sig"), newline="")
        )
        notes = [row["notes"] for row in rows]
    else:
        sheet = openpyxl.load_workbook(io.BytesIO(raw))["vehicles"]
        head, *body = sheet.iter_rows(values_only=True)
        notes = [row[head.index("notes")] or "" for row in body]

    assert any(note.startswith("'=1+1") for note in notes)
    # OWASP, CSV Injection: = + - @, tab, carriage return; and line feed.
    assert not any(note.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) for note in notes)


# --- Cells, whatever stands in them -----------------------------------------------------------

TEXTS = st.text(
    st.one_of(
        st.sampled_from("=+-@\t\r\n'_x0D A\"',;"),
        st.characters(codec="utf-8", exclude_characters="\0"),
    ),
    max_size=40,
)


@settings(deadline=None)
@given(TEXTS)
def test_cell_when_made_harmless_then_no_formula_and_comes_back_exactly(text):
    cell = neutral(text)

    assert original(cell) == text
    is_number = re.fullmatch(r"-\d+([.,]\d+)?", cell)
    assert is_number or cell[:1] not in tuple("=+-@\t\r\n")


@settings(deadline=None)
@given(st.lists(TEXTS, min_size=1, max_size=4))
def test_cells_when_written_and_read_by_csv_and_openpyxl_then_come_back_exactly(texts):
    file = io.StringIO(newline="")
    csv.writer(file).writerow(["x", *map(neutral, texts)])
    (row,) = csv.reader(io.StringIO(file.getvalue(), newline=""), strict=True)
    assert [original(cell) for cell in row[1:]] == texts

    book = openpyxl.Workbook(write_only=True)
    book.create_sheet("s").append(["x", *(for_xml(neutral(text)) for text in texts)])
    raw = io.BytesIO()
    book.save(raw)
    sheet = openpyxl.load_workbook(raw, read_only=True)["s"]
    (cells,) = sheet.iter_rows(values_only=True)
    padded = [*cells, *[None] * (len(texts) + 1 - len(cells))]
    assert [original(_as_text(cell)) for cell in padded[1:]] == texts


@settings(deadline=None)
@given(st.text(st.sampled_from("a\r_x0D="), min_size=1))
def test_long_text_when_pieced_out_then_every_piece_fits_and_they_make_it_again(part):
    text = part * 9000
    found = [for_xml(neutral(piece)) for piece in pieces(text)]

    # 32,767 characters are what Microsoft says that a cell of Excel holds.
    assert max(map(len, found)) <= 32_767
    assert "".join(original(from_xml(piece)) for piece in found) == text


# --- Commands ---------------------------------------------------------------------------------


def test_commands_then_write_look_and_take_in(demo, tmp_path, capsys):
    file = tmp_path / "mine.xlsx"
    call_command("export", str(file))
    assert f"Written: {file}, {Vehicle.everyone.count()} vehicles" in capsys.readouterr().out
    before = facts()
    clear()

    call_command("import", str(file), "--check")
    assert "would be added" in capsys.readouterr().out
    assert Vehicle.everyone.count() == 0
    call_command("import", str(file))

    assert "rows added." in capsys.readouterr().out
    assert facts() == before
    assert [each.name for each in tmp_path.iterdir()] == ["mine.xlsx"]


def test_command_when_the_record_differs_then_ends_in_an_error(demo, tmp_path):
    file = tmp_path / "mine.json"
    call_command("export", str(file), "--without-photos")
    Vehicle.everyone.filter(visitor="").update(storage_box="elsewhere")

    with pytest.raises(CommandError, match="of the document differ from the record; nothing"):
        call_command("import", str(file))


def test_command_when_the_name_says_no_form_then_is_refused_in_words(db, tmp_path):
    with pytest.raises(CommandError, match=r"neither in \.json nor \.zip nor \.xlsx"):
        call_command("export", str(tmp_path / "mine.ods"))
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("import", str(tmp_path / "none.json"))


def test_workbook_when_a_section_has_too_many_rows_then_another_form_is_named(db, monkeypatch):
    monkeypatch.setattr("inventory.ledger.writing.MOST_ROWS", 3)

    with pytest.raises(ExportRefused, match=r"instruments has more rows.*\.json or \.zip"):
        out(".xlsx")
