"""What the answers look like: each field with its schema, its words and where it comes from.

The views fill the answers from these, and the description is made of the same, so that they
cannot disagree.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

Schema = dict[str, Any]


@dataclass(frozen=True)
class Field:
    """One field of an answer. of: takes it from whatever the shape is made of."""

    name: str
    schema: Schema
    of: Callable[[Any], Any]
    means: str
    example: Any


@dataclass(frozen=True)
class Shape:
    """An object in an answer, by the name that it has in the description."""

    name: str
    means: str
    fields: tuple[Field, ...]

    def say(self, thing: Any) -> dict[str, Any]:
        """The answer of one thing."""
        return {field.name: field.of(thing) for field in self.fields}

    @property
    def schema(self) -> Schema:
        return {
            "type": "object",
            "description": self.means,
            "properties": {
                field.name: {**field.schema, "description": field.means} for field in self.fields
            },
            "required": [field.name for field in self.fields],
            "additionalProperties": False,
        }

    @property
    def reference(self) -> Schema:
        return {"$ref": f"#/components/schemas/{self.name}"}

    @property
    def example(self) -> dict[str, Any]:
        return {field.name: field.example for field in self.fields}


# --- Schemas ----------------------------------------------------------------------------------

TEXT: Schema = {"type": "string"}
WHOLE: Schema = {"type": "integer"}
YES_NO: Schema = {"type": "boolean"}
NUMBER: Schema = {"type": "number"}
UID: Schema = {"type": "string", "format": "uuid"}
DAY: Schema = {"type": "string", "format": "date"}
MOMENT: Schema = {"type": "string", "format": "date-time"}
LINK: Schema = {"type": "string", "format": "uri-reference"}


def word(words: Sequence[str]) -> Schema:
    """One of some words."""
    return {"type": "string", "enum": list(words)}


def list_of(one: Schema | Shape) -> Schema:
    return {"type": "array", "items": one.reference if isinstance(one, Shape) else one}


def or_null(one: Schema | Shape) -> Schema:
    """The same, or null where it is not known."""
    schema = one.reference if isinstance(one, Shape) else one
    return {"anyOf": [schema, {"type": "null"}]}


# --- Values -----------------------------------------------------------------------------------


def moment(value: datetime | None) -> str | None:
    return None if value is None else value.astimezone(UTC).isoformat().replace("+00:00", "Z")


def day(value: date | None) -> str | None:
    return None if value is None else value.isoformat()


def measure(value: Decimal | None, unit: str) -> dict[str, str] | None:
    """An exact decimal with its unit."""
    return None if value is None else {"value": f"{value:f}", "unit": unit}


MEASURE = Shape(
    "Measure",
    "An exact decimal as text, with its unit. Read it as a decimal, not as a binary float.",
    (
        Field(
            "value",
            {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$"},
            lambda said: said["value"],
            "The number.",
            "14.47",
        ),
        Field("unit", TEXT, lambda said: said["unit"], "Its unit.", "mm"),
    ),
)

PROBLEM = Shape(
    "Problem",
    "What is wrong, by RFC 9457.",
    (
        Field("type", LINK, lambda said: said["type"], "Always about:blank.", "about:blank"),
        Field("title", TEXT, lambda said: said["title"], "The status in words.", "Not Found"),
        Field("status", WHOLE, lambda said: said["status"], "The status.", 404),
        Field(
            "detail",
            TEXT,
            lambda said: said["detail"],
            "What is wrong and what to do, in words.",
            "There is no such vehicle.",
        ),
    ),
)


def page_of(one: Shape) -> Shape:
    """A page of a list."""
    return Shape(
        f"PageOf{one.name}",
        f"A page: {one.means[0].lower()}{one.means[1:]}",
        (
            Field(
                "items", list_of(one), lambda said: said["items"], "What is on it.", [one.example]
            ),
            Field(
                "next",
                or_null(LINK),
                lambda said: said["next"],
                "Where the next page is; null on the last. What comes in between moves nothing.",
                "/api/vehicles/?after=50",
            ),
        ),
    )


def given(name: str) -> Callable[[Any], Any]:
    """Takes a field as it is called there."""

    def take(thing: Any) -> Any:
        return thing[name] if isinstance(thing, Mapping) else getattr(thing, name)

    return take
