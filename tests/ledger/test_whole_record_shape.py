"""That the sections hold the whole record, and that the JSON Schema says what is written.

Outside: the library jsonschema (JSON Schema 2020-12).
"""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import pytest
from django.apps import apps
from django.urls import reverse

from inventory.ledger import sections as declared
from inventory.ledger.kinds import Own, Photo, Word
from inventory.ledger.sections import BY_NAME, LEFT_OUT, SECTIONS
from inventory.ledger.shape import SCHEMA_FILE, described, schema, schema_text
from inventory.ledger.taking_in import is_true
from inventory.ledger.writing import write
from inventory.people.models import Person
from tests.factories import make_person, make_vehicle, measure, sound

HELD = {section.model: section for section in SECTIONS}
HERE = Path(declared.__file__).parent


def test_every_model_then_is_a_section_or_left_out_with_its_reason():
    links = {
        section.field_of(column).remote_field.through
        for section in SECTIONS
        for column in section.linked
    }

    missing = [
        model._meta.label
        for model in apps.get_models(include_auto_created=True)
        if model not in HELD and model not in links and model._meta.label not in LEFT_OUT
    ]

    assert missing == [], "give each a section in inventory/ledger/sections.py, or leave it out"


def test_every_field_then_is_a_column_or_left_out_with_its_reason():
    missing = []
    for model, section in HELD.items():
        for field in [*model._meta.concrete_fields, *model._meta.many_to_many]:
            label = f"{model._meta.label}.{field.name}"
            if not field.primary_key and field.name not in section.by_field:
                missing += [] if label in LEFT_OUT else [label]

    assert missing == [], "give each a column in inventory/ledger/sections.py, or leave it out"


def test_what_is_left_out_then_is_there_to_be_left_out_and_says_why():
    models = {model._meta.label: model for model in apps.get_models(include_auto_created=True)}
    for label, why in LEFT_OUT.items():
        model, _, field = label.rpartition(".") if label.count(".") == 2 else (label, "", "")
        assert model in models, f"{label} is no more: take it out"
        if field:
            assert models[model]._meta.get_field(field).name not in HELD[models[model]].by_field
        else:
            assert models[model] not in HELD
        assert len(why) > 10 and why.endswith(".")


@pytest.mark.parametrize("section", SECTIONS, ids=lambda section: section.name)
def test_section_then_agrees_with_its_model(section):
    for column in section.columns:
        if isinstance(column.kind, Own):
            continue
        field = section.field_of(column)
        assert type(field).__name__ in column.kind.fields, column.name
        assert bool(field.flatchoices) <= isinstance(column.kind, Word), column.name
        if column.to:
            # What it refers to comes before it, so that one pass is enough.
            assert BY_NAME[column.to].model is field.related_model
            assert SECTIONS.index(BY_NAME[column.to]) < SECTIONS.index(section)
        if isinstance(column.kind, Word):
            assert section.words_of(column)
        else:
            # Empty and unknown text would be the same in a table.
            assert not (
                field.null
                and "" in field.empty_values
                and field.empty_strings_allowed
                and type(field).__name__ in ("CharField", "TextField")
            ), column.name
        assert section.meaning_of(column).strip()
    assert set(section.key) <= set(section.by_name)
    assert section.uniques is not None


@pytest.mark.parametrize("section", SECTIONS, ids=lambda section: section.name)
def test_conditions_of_tables_then_can_all_be_told_of_a_row(section):
    """A condition of a new kind has to be learnt by is_true, or nothing checks it."""
    row = {
        column.name: 1 if "axles" in column.name or "passages" in column.name else None
        for column in section.columns
    }
    for _, condition in section.checks:
        assert is_true(condition, row, section) in (True, False)
    for _, columns, condition in section.uniques:
        assert set(columns) <= set(row)
        assert condition is None or is_true(condition, row, section) in (True, False)


# --- The schema -------------------------------------------------------------------------------


def test_schema_file_then_is_what_the_sections_say():
    assert (HERE / SCHEMA_FILE).read_text(encoding="utf-8") == schema_text(), (
        f"run manage.py export --schema inventory/ledger/{SCHEMA_FILE}"
    )


def test_schema_then_is_one_by_its_own_rules():
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.fixture
def document(db) -> dict:
    owner = make_person("bench")
    measure(make_vehicle(owner), owner, sound(1, 2))
    raw = io.BytesIO()
    write(raw, ".json", datetime(2026, 3, 1, tzinfo=UTC))
    return json.loads(raw.getvalue())


def validator() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(
        schema(), format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
    )


def test_document_then_is_valid_by_the_schema(document):
    assert list(validator().iter_errors(document)) == []
    assert document["readings"] and document["verdicts"] and document["couplers"]


@pytest.mark.parametrize(
    ("section", "column", "value"),
    [
        ("vehicles", "axles", "4"),
        ("vehicles", "category", "tram"),
        ("vehicles", "uid", "88"),
        ("vehicles", "price", 12.5),
        ("vehicles", "acquired_on", "yesterday"),
        ("vehicles", "kind", ""),
        ("vehicles", "colour", "red"),
        ("readings", "values", [1.5]),
        ("wheelsets", "id", 0),
        ("people", "role", None),
    ],
)
def test_document_when_spoilt_then_the_schema_says_so(document, section, column, value):
    document[section][0][column] = value

    found = {tuple(error.absolute_path)[:2] for error in validator().iter_errors(document)}
    assert found == {(section, 0)}


# --- The page ---------------------------------------------------------------------------------


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def test_page_of_the_shape_then_names_every_section_and_column(signed_in):
    page = signed_in.get(reverse("ledger:shape")).content.decode()

    for section in SECTIONS:
        assert f'id="{section.name}"' in page
        for column in described(section):
            assert f"<code>{column.name}</code>" in page
    assert any(isinstance(c.kind, Photo) for s in SECTIONS for c in s.columns)


def test_schema_when_asked_for_then_comes_as_one(signed_in):
    answer = signed_in.get(reverse("ledger:shape-schema"))

    assert answer["Content-Type"] == "application/schema+json"
    assert answer.json() == schema()


def test_everything_when_taken_along_then_comes_as_a_file(signed_in):
    for suffix, begins in (("json", b'{"carknocker"'), ("zip", b"PK"), ("xlsx", b"PK")):
        answer = signed_in.get(reverse("ledger:export-everything", args=[suffix]))

        assert f".{suffix}" in answer["Content-Disposition"]
        assert answer.getvalue().startswith(begins)


def test_everything_when_brought_back_then_is_told_what_became_of_it(signed_in, document):
    file = io.BytesIO(json.dumps(document).encode())
    file.name = "mine.json"
    look = signed_in.post(reverse("ledger:import-everything"), {"file": file, "check": "yes"})
    assert look.status_code == 200
    assert "The record holds all of it already" in look.content.decode()

    document["vehicles"][0]["maker"] = "<b>Finch</b>"
    file = io.BytesIO(json.dumps(document).encode())
    file.name = "mine.json"
    differs = signed_in.post(reverse("ledger:import-everything"), {"file": file})

    assert differs.status_code == 422
    assert "maker is “” here and “&lt;b&gt;Finch&lt;/b&gt;” there" in differs.content.decode()


def test_everything_when_no_file_or_no_record_is_sent_then_is_refused_in_words(signed_in):
    address = reverse("ledger:import-everything")
    assert "No file was chosen" in signed_in.post(address).content.decode()
    file = io.BytesIO(b"{}")
    file.name = "mine.json"

    answer = signed_in.post(address, {"file": file})

    assert answer.status_code == 422
    assert "the name of a section was expected" in answer.content.decode()


@pytest.mark.parametrize(("role", "may_export"), [("inspector", True), ("visitor", False)])
def test_everything_then_only_an_owner_takes_in_and_visitors_take_nothing_along(
    client, db, role, may_export
):
    client.force_login(make_person("other", role=role))

    assert client.post(reverse("ledger:import-everything")).status_code == 403
    answer = client.get(reverse("ledger:export-everything", args=["json"]))
    assert answer.status_code == (200 if may_export else 403)
    answer.getvalue()  # sent to its end, which closes a file
    page = client.get(reverse("ledger:everything")).content.decode()
    assert ("carknocker.json" in page) is may_export
    assert "Take it in" not in page


def test_everything_then_an_owner_is_offered_both(signed_in):
    page = signed_in.get(reverse("ledger:everything")).content.decode()

    assert "Take it in" in page
    assert Person.objects.count() == 1
