"""Files that are no whole record, or none that can be kept: refused in words, nothing written.

Zip bombs and hostile XML are made here by Python's zipfile and by hand: the "billion laughs" and
an outer entity as OWASP's XML External Entity cheat sheet describes them.
"""

from __future__ import annotations

import base64
import csv
import io
import json
import zipfile
from datetime import UTC, datetime

import openpyxl
import pytest
from PIL import Image

from inventory.ledger import reading
from inventory.ledger.kinds import is_bare_jpeg
from inventory.ledger.reading import Unreadable
from inventory.ledger.taking_in import ImportRefused, take_in
from inventory.ledger.writing import write
from inventory.people.models import Person
from inventory.stock.models import Instrument, Vehicle, Verdict
from inventory.stock.photos import Cleaned, cleaned
from inventory.track.models import Railway
from inventory.trouble.models import Incident, IncidentPhoto
from tests.factories import make_person, make_vehicle, measure, sound

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def written(django_db_setup, django_db_blocker):
    """A small record as its document says it; then the record is emptied."""
    with django_db_blocker.unblock():
        usual = list(Instrument.objects.order_by("pk").values())
        owner = make_person("bench")
        vehicle = make_vehicle(owner)
        measure(vehicle, owner, sound(1))
        make_vehicle(owner, number="89")
        railway = Railway.objects.create(name="Branch", family="nmra", scale="HO")
        incident = Incident.objects.create(
            railway=railway, where="mill", happened="points", happened_at=NOON,
            reported_by=owner, reported_at=NOON,
        )  # fmt: skip
        kept = jpeg()
        IncidentPhoto.objects.create(
            incident=incident, jpeg=kept.jpeg, thumbnail=kept.thumbnail, digest=kept.digest,
            width=kept.width, height=kept.height, taken_on=NOON.date(), position=1,
            added_by=owner, added_at=NOON,
        )  # fmt: skip
        said = out(".json")
        empty()
        Instrument.objects.exclude(name="Digital caliper").delete()
    yield said
    with django_db_blocker.unblock():
        owner.delete()
        Instrument.objects.all().delete()
        Instrument.objects.bulk_create(Instrument(**each) for each in usual)


@pytest.fixture
def document(written, db) -> dict:
    return json.loads(written)


def empty() -> None:
    for model in (Incident, Railway, Verdict, Vehicle):
        model._base_manager.all().delete()


def jpeg(size=(40, 30)) -> Cleaned:
    raw = io.BytesIO()
    Image.new("RGB", size, "teal").save(raw, "PNG")
    raw.seek(0)
    return cleaned(raw, "picture")


def out(suffix: str) -> bytes:
    raw = io.BytesIO()
    write(raw, suffix, NOON)
    return raw.getvalue()


def into(raw: bytes | dict, name: str = "mine.json"):
    raw = json.dumps(raw).encode() if isinstance(raw, dict) else raw
    return take_in(io.BytesIO(raw), name)


def is_untouched() -> bool:
    return (
        Vehicle.everyone.count() == 0
        and Instrument.objects.count() == 1
        and Person.objects.count() == 1
    )


def test_document_when_nothing_is_wrong_then_is_taken_in(document):
    assert into(document).n_added > 20
    assert Vehicle.everyone.count() == 2


# --- What one value may say -------------------------------------------------------------------

WRONG = [
    ("vehicles", "axles", "forty", "vehicles, row 1, axles: “forty” is no whole number."),
    ("vehicles", "axles", 0, "axles: Ensure this value is greater than or equal to 1."),
    ("vehicles", "axles", 99, "axles: Ensure this value is less than or equal to 16."),
    ("vehicles", "axles", True, "axles: “true” is no whole number."),
    ("vehicles", "axles", None, "axles: it is empty, and has to say something."),
    ("vehicles", "uid", "88", "uid: “88” is no UUID in small letters"),
    ("vehicles", "category", "tram", "“tram” is none of its words: freight, locomotive"),
    ("vehicles", "kind", "", "kind: it is empty, and has to say something."),
    ("vehicles", "kind", "x" * 61, "is longer than 60 letters."),
    ("vehicles", "notes", "x" * 4001, "is longer than 4000 letters."),
    ("vehicles", "notes", "a\0b", "holds a character that no text has"),
    ("vehicles", "notes", "\ud800", "holds a character that no text has"),
    ("vehicles", "notes", 4, "“4” is no text; write it in quotation marks."),
    ("vehicles", "price", 12.5, "“12.5” is a number without quotation marks"),
    ("vehicles", "price", "12,50", "“12,50” is no decimal such as 14.40"),
    ("vehicles", "price", "12.505", "no more than 2 decimal places"),
    ("vehicles", "price", "NaN", "“NaN” is no decimal"),
    ("vehicles", "minimum_radius", "1e3", "“1e3” is no decimal"),
    ("vehicles", "minimum_radius", "9" * 49, "of at most 48 digits"),
    ("vehicles", "acquired_on", "2026-02-30", "“2026-02-30” is no day"),
    ("vehicles", "logged_at", "2026-02-03T12:00:00", "no moment with its zone"),
    ("vehicles", "logged_at", "2026-02-03", "no moment with its zone"),
    ("vehicles", "logged_at", "0001-01-01T00:00:00+23:00", "outside the calendar"),
    ("vehicles", "has_buffers", "yes", "“yes” is neither true nor false."),
    ("vehicles", "family", "mine", "family: “mine” is none of its words"),
    ("vehicles", "scale", "1:1", "scale: the standards of “nmra” hold no scale “1:1”."),
    ("vehicles", "currency", "eur", "Three capitals as in ISO 4217"),
    ("vehicles", "logged_by", "nobody", "logged_by: people has no “nobody”."),
    ("vehicles", "retired_as", "sold", "it contradicts itself: retired has its day."),
    ("vehicles", "colour", "red", "vehicles, row 1: there is no column “colour”."),
    ("wheelsets", "id", "1", "wheelsets, row 1, id: “1” is no whole number from 1 on."),
    ("wheelsets", "vehicle", 7, "vehicle: “7” is no text"),
    ("readings", "quantity", "girth", "“girth” is none of its words"),
    ("readings", "values", ["1.2", 3], "“3” is a number without quotation marks"),
    ("readings", "values", "1.2", "“1.2” is not a list of exact decimals"),
    ("readings", "u", "0.1", "u: “0.1” is no number."),
    ("readings", "instrument", "Tape", "instruments has no “Tape”."),
    ("readings", "typed", "", "it contradicts itself: reading is measured or gauged."),
    ("readings", "inspection", 99, "inspection: inspections has no “99”."),
    ("verdicts", "outcome", "fine", "“fine” is none of its words: not judged, outside"),
    ("verdicts", "sheets", [{"id": "x"}], "is not a list of sheets"),
    ("verdicts", "reading", -1, "“-1” is no whole number from 1 on."),
    ("people", "name", "two words", "Enter a valid username."),
    ("people", "email", "nowhere", "Enter a valid email address."),
    ("people", "role", "king", "“king” is none of its words: inspector, owner, visitor."),
    ("incident_photos", "jpeg", "????", "It is no picture in base64."),
    ("incident_photos", "jpeg", "aGVsbG8=", "The picture is no JPEG, PNG or WebP picture"),
]


@pytest.mark.parametrize(("section", "column", "value", "words"), WRONG)
def test_value_when_it_cannot_be_kept_then_row_and_column_are_named(
    document, section, column, value, words
):
    document[section][0][column] = value

    with pytest.raises(ImportRefused) as refused:
        into(document)

    assert any(words in line for line in refused.value.lines), refused.value.lines
    assert all(line.startswith(f"{section}, row 1") for line in refused.value.lines)
    assert is_untouched()


def test_values_when_many_are_wrong_then_all_are_named_up_to_what_anybody_reads(document):
    document["vehicles"][0] |= {"axles": "x", "price": "y"}
    document["vehicles"][1]["category"] = "tram"
    with pytest.raises(ImportRefused) as refused:
        into(document)
    assert [line.split(":")[0] for line in refused.value.lines] == [
        "vehicles, row 1, axles", "vehicles, row 1, price", "vehicles, row 2, category",
    ]  # fmt: skip

    document["wheelsets"] = [{"id": "x"}] * 500
    with pytest.raises(ImportRefused, match="There are more; mend these first"):
        into(document)


# --- The document as a whole ------------------------------------------------------------------


def test_rows_when_they_stand_twice_then_are_refused(document):
    document["vehicles"].append(dict(document["vehicles"][0]))
    document["couplers"].append({**document["couplers"][0], "id": 900})

    with pytest.raises(ImportRefused) as refused:
        into(document)

    first, second = refused.value.lines
    assert first.startswith("vehicles, row 3, uid: “") and first.endswith("” is there already.")
    assert second == "couplers, row 5, end: a second one, against: one coupler an end."
    assert is_untouched()


def test_document_of_a_newer_format_then_says_to_update(document):
    document["carknocker"]["format"] = 2
    document["tomorrow"] = []

    with pytest.raises(ImportRefused, match=r"of format 2, and this .* format 1.*Update first"):
        into(document)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda d: d.pop("carknocker"), "“carknocker” is missing"),
        (lambda d: d["carknocker"].pop("format"), "it has to say a version, such as 1"),
        (lambda d: d.pop("verdicts"), "verdicts: the section is missing; it may be empty."),
        (lambda d: d.update(cats=[]), "there is no section “cats”."),
    ],
)
def test_document_when_a_section_is_missing_or_unknown_then_says_which(document, spoil, words):
    spoil(document)

    with pytest.raises(ImportRefused) as refused:
        into(document)

    assert words in str(refused.value)
    assert is_untouched()


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "is empty"),
        (b"vehicles", "“{” was expected at its beginning, and there is “v”"),
        (b"\xff\xfe{", "not written in UTF-8"),
        (b'{"vehicles": [{"axles": 4}', "“,” was expected in “vehicles” after row 1"),
        (b'{"vehicles": [{"axles": 4', "“vehicles”, row 1"),
        (b'{"vehicles": [4]}', "“vehicles”, row 1, has to be an object"),
        (b'{"vehicles": {}}', "“[” was expected to open “vehicles”"),
        (b'{"vehicles": [], "vehicles": []}', "the section “vehicles” stands twice"),
        (b'{"vehicles": [{"axles": 4, "axles": 5}]}', "“axles” stands twice in one row"),
        (b'{"vehicles": [{"axles": NaN}]}', "NaN is no number"),
        (b'{"vehicles": [{"x": ' + b"[" * 100_000, "nested too deep"),
        (b'{"vehicles": [{"x": ' + b"9" * 5_000 + b"}]}", "“vehicles”, row 1"),
        (b'{"vehicles": []} more', "something behind its end"),
        (b'{"vehicles": []', "“}” was expected at its end, and there is its end"),
    ],
)
def test_json_when_it_is_none_or_hostile_then_is_refused_in_words(db, raw, words):
    with pytest.raises((Unreadable, ImportRefused)) as refused:
        into(raw)

    assert words in str(refused.value)


def test_json_when_its_sections_and_names_stand_in_another_order_then_is_taken_all_the_same(
    document,
):
    turned = {
        name: [dict(reversed(row.items())) for row in rows] if name != "carknocker" else rows
        for name, rows in reversed(document.items())
    }

    into(json.dumps(turned, indent=7).encode("utf-8-sig"))

    assert Vehicle.everyone.count() == 2


def test_file_when_its_name_says_no_form_then_is_refused(db):
    with pytest.raises(Unreadable, match=r"neither in \.json nor \.zip nor \.xlsx"):
        into(b"{}", "mine.txt")


def test_zip_when_it_is_no_zip_then_is_not_said_to_be_missing(db):
    with pytest.raises(Unreadable, match="is damaged, or is not what its name says"):
        into(b"PK, and nothing else", "mine.xlsx")


def test_file_when_it_is_larger_than_any_record_then_is_refused_unread(db, monkeypatch):
    monkeypatch.setattr(reading, "MOST_BYTES", 10)

    with pytest.raises(Unreadable, match="larger than 1 GiB"):
        into(b'{"vehicles": []}')


# --- Zips -------------------------------------------------------------------------------------


def zipped(members: dict[str, bytes]) -> bytes:
    raw = io.BytesIO()
    with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in members.items():
            packed.writestr(name, content)
    return raw.getvalue()


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({"bomb.csv": b"\0" * 50_000_000}, "bomb.csv is packed as no table of a record is"),
        ({"../../etc/passwd.csv": b"x"}, "“../../etc/passwd.csv”, which is no table"),
        ({"vehicles.exe": b"x"}, "“vehicles.exe”, which is no table"),
        ({"vehicles.csv": b"axles\n\xff"}, "vehicles.csv is not written in UTF-8"),
        ({"vehicles.csv": b'axles\n"4'}, "vehicles.csv is damaged"),
        ({"vehicles.csv": b"axles,axles\n4,5"}, "vehicles.csv has two columns of one name"),
        ({"vehicles.csv": b"axles\n4,5"}, "vehicles, row 2, has a cell under no name of a column"),
    ],
)
def test_zip_when_it_is_none_of_ours_then_is_refused_in_words(db, members, words):
    with pytest.raises(Unreadable) as refused:
        into(zipped(members), "mine.zip")

    assert words in str(refused.value)


def test_zip_when_it_would_unpack_to_too_much_then_is_refused_before_it_does(db, monkeypatch):
    monkeypatch.setattr(reading, "MOST_UNPACKED", 1000)

    with pytest.raises(Unreadable, match="would unpack to more than 4 GiB"):
        into(zipped({"a.csv": b"x" * 600, "b.csv": b"x" * 600}), "mine.zip")


@pytest.mark.parametrize("name", ["mine.zip", "mine.xlsx"])
def test_zip_when_it_is_damaged_then_is_refused_in_words(document, name):
    into(document)
    whole = out(name[4:])
    for broken in (b"PK", whole[: len(whole) // 2], b"x" * 500):
        with pytest.raises(Unreadable):
            into(broken, name)
    flipped = bytearray(whole)
    for at in range(2000, len(whole) - 3000, 997):
        flipped[at] ^= 0x55
    with pytest.raises((Unreadable, ImportRefused)):
        into(bytes(flipped), name)


def test_table_when_a_cell_was_retyped_wrongly_then_the_row_of_the_spreadsheet_is_named(document):
    into(document)
    packed = zipfile.ZipFile(io.BytesIO(out(".zip")))
    members = {each: packed.read(each) for each in packed.namelist()}
    rows = list(csv.reader(io.StringIO(members["vehicles.csv"].decode("utf-8-sig"), newline="")))
    rows[2][rows[0].index("axles")] = "4 or so"
    rows[1][rows[0].index("has_buffers")] = "maybe"
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    members["vehicles.csv"] = text.getvalue().encode()

    with pytest.raises(ImportRefused) as refused:
        into(zipped(members), "mine.zip")

    assert refused.value.lines == [
        "vehicles, row 2, has_buffers: “maybe” is neither yes nor no.",
        "vehicles, row 3, axles: “4 or so” is no whole number.",
    ]


def test_table_when_a_photo_is_missing_then_its_row_is_named(document):
    into(document)
    packed = zipfile.ZipFile(io.BytesIO(out(".zip")))
    members = {each: packed.read(each) for each in packed.namelist() if each[:6] != "photos"}

    with pytest.raises(ImportRefused, match="incident_photos, row 2, jpeg: It is no picture"):
        into(zipped(members), "mine.zip")


def test_table_when_a_photo_is_larger_than_any_then_is_not_even_unpacked(document, monkeypatch):
    into(document)
    monkeypatch.setattr(reading, "MOST_BYTES_OF_A_PHOTO", 100)

    with pytest.raises(Unreadable, match=r"incident_photos-1\.jpg” is larger than a photo may be"):
        into(out(".zip"), "mine.zip")


# --- Workbooks --------------------------------------------------------------------------------

LAUGHS = b"""<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY lol "lol">
<!ENTITY lol2 "&lol;&lol;&lol;&lol;&lol;&lol;&lol;&lol;&lol;&lol;">]><sst>&lol2;</sst>"""
OUTER = (
    b"""<?xml version="1.0"?><!DOCTYPE r [<!ENTITY x SYSTEM "file:///etc/passwd">]><r>&x;</r>"""
)


@pytest.mark.parametrize("xml", [LAUGHS, OUTER])
@pytest.mark.parametrize("member", ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "x.rels"])
def test_workbook_when_its_xml_is_hostile_then_is_not_read(document, xml, member):
    packed = zipfile.ZipFile(io.BytesIO(out(".xlsx")))
    members = {each: packed.read(each) for each in packed.namelist()}

    with pytest.raises(Unreadable, match="declares things that no workbook needs"):
        into(zipped({**members, member: xml}), "mine.xlsx")


def test_workbook_when_a_spreadsheet_saved_it_anew_then_is_taken_in(document):
    """As openpyxl writes it again: shared texts, numbers as numbers, columns moved."""
    into(document)
    before = out(".json")
    book = openpyxl.load_workbook(io.BytesIO(out(".xlsx")))
    sheet = book["vehicles"]
    sheet.move_range("A1:A3", cols=40)
    axles = next(cell.column for cell in sheet[1] if cell.value == "axles")
    sheet.cell(row=2, column=axles).value = 2.0
    raw = io.BytesIO()
    book.save(raw)
    empty()

    into(raw.getvalue(), "mine.xlsx")

    assert out(".json") == before


def test_workbook_when_a_piece_of_a_photo_is_missing_then_says_so(document):
    into(document)
    book = openpyxl.load_workbook(io.BytesIO(out(".xlsx")))
    book["long_texts"].append(["incident_photos", 2, "jpeg", 2, "AAAA"])
    raw = io.BytesIO()
    book.save(raw)

    with pytest.raises(Unreadable, match="incident_photos, row 2, jpeg, lacks a piece"):
        into(raw.getvalue(), "mine.xlsx")


# --- Photos -----------------------------------------------------------------------------------


def with_words(raw: bytes) -> bytes:
    """A JPEG with a comment in it, as ITU-T T.81, B.2.4.5, writes one."""
    return raw[:2] + b"\xff\xfe\x00\x0fvery secret!!" + raw[2:]


def test_photo_when_it_was_cleaned_before_then_is_kept_bit_for_bit(document):
    before = document["incident_photos"][0]["jpeg"]
    into(document)

    kept = bytes(IncidentPhoto.objects.get().jpeg)

    assert kept == base64.b64decode(before)
    assert is_bare_jpeg(kept)


@pytest.mark.parametrize(
    "spoil",
    [
        with_words,
        lambda raw: raw + b"<script>",
        lambda raw: raw[:-2] + b"\xff\xd9<script>\xff\xd9",
        lambda raw: raw.replace(b"JFIF", b"EXIF", 1),
    ],
)
def test_photo_when_it_holds_more_than_a_picture_then_loses_it(document, spoil):
    raw = spoil(base64.b64decode(document["incident_photos"][0]["jpeg"]))
    document["incident_photos"][0]["jpeg"] = base64.b64encode(raw).decode()

    into(document)

    kept = bytes(IncidentPhoto.objects.get().jpeg)
    assert kept != raw
    assert b"secret" not in kept and b"script" not in kept
    assert is_bare_jpeg(kept)
    Image.open(io.BytesIO(kept)).verify()


def test_photo_when_it_is_no_jpeg_or_too_large_then_becomes_a_small_one(document):
    raw = io.BytesIO()
    Image.new("RGB", (3000, 40), "gold").save(raw, "JPEG")
    assert not is_bare_jpeg(raw.getvalue())
    document["incident_photos"][0]["jpeg"] = base64.b64encode(raw.getvalue()).decode()

    into(document)

    assert Image.open(io.BytesIO(bytes(IncidentPhoto.objects.get().jpeg))).width == 1600
