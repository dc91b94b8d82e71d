"""What the document says of itself: its JSON Schema, and the words of the page about it."""

from __future__ import annotations

import json
from dataclasses import dataclass

from inventory.ledger.kinds import Ref, Refs, Text, Word
from inventory.ledger.sections import BY_NAME, FORMAT, HEAD, SECTIONS, Column, Section

SCHEMA_FILE = f"record-{FORMAT}.schema.json"
_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, object]:
    """The JSON Schema (2020-12) of the document."""
    head = {
        "description": "Which version of the shape this is, and when it was written.",
        "type": "object",
        "properties": {
            "format": {"const": FORMAT},
            "written_at": {"type": "string", "format": "date-time"},
            "photos": {"type": "boolean", "description": "Whether the photos are in it."},
        },
        "required": ["format"],
    }
    return {
        "$schema": _DIALECT,
        "$id": f"urn:carknocker:record:{FORMAT}",
        "title": "The whole record of a Carknocker",
        "description": (
            "Tables as lists of rows. A row that has no lasting name is numbered within the "
            "document; others refer to it by that number. Decimals are text, so that nobody "
            "rounds them; moments are in UTC. Lengths are in mm, masses in g, grades in %."
        ),
        "type": "object",
        "properties": {
            HEAD: head,
            **{section.name: _of_section(section) for section in SECTIONS},
        },
        "required": [HEAD, *(each.name for each in SECTIONS if not each.may_be_missing)],
        "additionalProperties": False,
    }


def schema_text() -> str:
    """The same as the file that is kept beside this module."""
    return json.dumps(schema(), ensure_ascii=False, indent=1) + "\n"


def _of_section(section: Section) -> dict[str, object]:
    return {
        "description": section.means,
        "type": "array",
        "items": {
            "type": "object",
            "properties": {column.name: _of_column(section, column) for column in section.columns},
            "required": [
                column.name for column in section.columns if not section.may_be_left_out(column)
            ],
            "additionalProperties": False,
        },
    }


def _of_column(section: Section, column: Column) -> dict[str, object]:
    said = dict(column.kind.schema())
    words = section.words_of(column)
    if words is not None:
        said["enum"] = sorted(words)
    elif isinstance(column.kind, Text):
        longest = section.field_of(column).max_length
        if longest is not None:
            said["maxLength"] = longest
        if not section.may_be_left_out(column):
            said["minLength"] = 1
    if section.is_optional(column):
        said = _or_null(said)
    if isinstance(column.kind, Ref | Refs):
        said["description"] = f"{section.meaning_of(column)} See {column.to}."
    elif section.meaning_of(column):
        said["description"] = section.meaning_of(column)
    return said


def _or_null(said: dict[str, object]) -> dict[str, object]:
    found = {**said, "type": [said["type"], "null"]}
    if "enum" in found:
        found["enum"] = [*said["enum"], None]  # type: ignore[misc]
    return found


# --- In words ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Described:
    """A column as the page describes it."""

    name: str
    kind: str
    means: str
    to: str
    words: tuple[str, ...]
    may_be_empty: bool


def described(section: Section) -> list[Described]:
    """The columns of a section in words."""
    return [
        Described(
            column.name,
            _kind_in_words(column),
            section.meaning_of(column),
            column.to,
            tuple(word for word in section.words_of(column) or () if word),
            section.may_be_left_out(column) or section.is_optional(column),
        )
        for column in section.columns
    ]


def _kind_in_words(column: Column) -> str:
    if not isinstance(column.kind, Ref | Refs):
        return column.kind.means if not isinstance(column.kind, Word) else "a word"
    to = BY_NAME[column.to]
    how = f"the {to.named}" if to.named else "the number"
    return f"{how} of one of" if isinstance(column.kind, Ref) else f"a list: {how} of each of"
