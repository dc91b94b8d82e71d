"""What a column of the whole record holds: how it is written in JSON and in a cell, and read.

A value lives in three shapes: as the record keeps it, as the document says it (JSON), and as a
table's cell says it (text). Every kind goes from one to the next and back without loss.
"""

from __future__ import annotations

import base64
import binascii
import io
import json
import math
import re
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal, InvalidOperation
from uuid import UUID

from inventory.stock.photos import PhotoRefused, cleaned

#: What a document may say, and what a model may keep.
Said = object
Kept = object

_SHOWN = 60


class Unfit(ValueError):
    """A value that the record cannot keep; says why and what would do, in words."""


def quoted(value: Said) -> str:
    """A value in the words of a message, cut where it is long."""
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)
    text = text.encode("utf-8", "replace").decode()
    return f"“{text[:_SHOWN]}…”" if len(text) > _SHOWN else f"“{text}”"


class Kind:
    """One kind of value. `means` says in words what a cell of it looks like."""

    means = ""
    #: The classes of model fields that such a column may stand for.
    fields: tuple[str, ...] = ()

    def say(self, kept: Kept) -> Said:
        """What the document says of what the record keeps."""
        return kept

    def keep(self, said: Said) -> Kept:
        """What the record keeps of what the document says. Raises Unfit."""
        return said

    def back(self, said: Said) -> Kept:
        """The same of what has been checked before."""
        return self.keep(said)

    def write(self, said: Said) -> str:
        """The cell of a table."""
        return str(said)

    def read(self, cell: str) -> Said:
        """What the document would say, of the cell of a table. Raises Unfit."""
        return cell

    def schema(self) -> dict[str, object]:
        """The JSON Schema of what the document says."""
        raise NotImplementedError


def _text(said: Said, what: str) -> str:
    if not isinstance(said, str):
        raise Unfit(f"{quoted(said)} is no {what}; write it in quotation marks.")
    return said


class Text(Kind):
    means = "text"
    fields = ("CharField", "TextField", "EmailField")

    def keep(self, said: Said) -> Kept:
        text = _text(said, "text")
        if "\0" in text or any("\ud800" <= letter <= "\udfff" for letter in text):
            raise Unfit(f"{quoted(text)} holds a character that no text has; take it out.")
        return text

    def schema(self) -> dict[str, object]:
        return {"type": "string"}


class Whole(Kind):
    means = "a whole number"
    fields = ("PositiveSmallIntegerField", "PositiveIntegerField", "IntegerField")

    def keep(self, said: Said) -> Kept:
        if isinstance(said, bool) or not isinstance(said, int):
            raise Unfit(f"{quoted(said)} is no whole number.")
        return said

    def read(self, cell: str) -> Said:
        if not re.fullmatch(r"-?[0-9]{1,18}", cell):
            raise Unfit(f"{quoted(cell)} is no whole number.")
        return int(cell)

    def schema(self) -> dict[str, object]:
        return {"type": "integer"}


class Float(Kind):
    means = "a number, in the digits that give it back exactly"
    fields = ("FloatField",)

    def keep(self, said: Said) -> Kept:
        if isinstance(said, bool) or not isinstance(said, int | float):
            raise Unfit(f"{quoted(said)} is no number.")
        try:
            number = float(said)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise Unfit(f"{quoted(said)} is no number that can be kept.")
        return number

    def write(self, said: Said) -> str:
        return repr(said)

    def read(self, cell: str) -> Said:
        try:
            return float(cell)
        except ValueError:
            raise Unfit(f"{quoted(cell)} is no number.") from None

    def schema(self) -> dict[str, object]:
        return {"type": "number"}


class Exact(Kind):
    """A decimal, as text so that no reader rounds it: 14.40 stays 14.40."""

    means = "an exact decimal as text, such as 14.40"
    fields = ("ExactDecimalField", "DecimalField")
    _SHAPE = re.compile(r"-?[0-9]+(\.[0-9]+)?")
    _LONGEST = 48

    def say(self, kept: Kept) -> Said:
        return f"{kept:f}"

    def keep(self, said: Said) -> Kept:
        if not isinstance(said, str):
            raise Unfit(
                f"{quoted(said)} is a number without quotation marks, which a reader may round; "
                "write decimals as text."
            )
        if len(said) > self._LONGEST or not self._SHAPE.fullmatch(said):
            raise Unfit(f"{quoted(said)} is no decimal such as 14.40, of at most 48 digits.")
        try:
            return Decimal(said)
        except InvalidOperation:
            raise Unfit(f"{quoted(said)} is no decimal such as 14.40.") from None

    def schema(self) -> dict[str, object]:
        return {"type": "string", "pattern": f"^{self._SHAPE.pattern}$", "maxLength": 48}


class YesNo(Kind):
    means = "yes or no (true or false in JSON)"
    fields = ("BooleanField",)

    def keep(self, said: Said) -> Kept:
        if not isinstance(said, bool):
            raise Unfit(f"{quoted(said)} is neither true nor false.")
        return said

    def write(self, said: Said) -> str:
        return "yes" if said else "no"

    def read(self, cell: str) -> Said:
        if cell not in ("yes", "no"):
            raise Unfit(f"{quoted(cell)} is neither yes nor no.")
        return cell == "yes"

    def schema(self) -> dict[str, object]:
        return {"type": "boolean"}


class Day(Kind):
    means = "a day, such as 2026-03-01 (ISO 8601)"
    fields = ("DateField",)

    def say(self, kept: Kept) -> Said:
        return kept.isoformat()

    def keep(self, said: Said) -> Kept:
        text = _text(said, "day")
        try:
            if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
                return date.fromisoformat(text)
        except ValueError:
            pass
        raise Unfit(f"{quoted(text)} is no day such as 2026-03-01.")

    def schema(self) -> dict[str, object]:
        return {"type": "string", "format": "date"}


class Moment(Kind):
    means = "a moment in UTC, such as 2026-03-01T12:00:00Z (ISO 8601)"
    fields = ("DateTimeField",)

    def say(self, kept: Kept) -> Said:
        return kept.astimezone(UTC).isoformat().replace("+00:00", "Z")

    def keep(self, said: Said) -> Kept:
        text = _text(said, "moment")
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo is None or "T" not in text:
            raise Unfit(
                f"{quoted(text)} is no moment with its zone, such as 2026-03-01T12:00:00Z."
            )
        try:
            return moment.astimezone(UTC)
        except OverflowError:
            raise Unfit(f"{quoted(text)} lies outside the calendar.") from None

    def schema(self) -> dict[str, object]:
        return {"type": "string", "format": "date-time"}


class Uid(Kind):
    means = "the lasting name of a vehicle, a UUID (RFC 9562)"
    fields = ("UUIDField",)

    def say(self, kept: Kept) -> Said:
        return str(kept)

    def keep(self, said: Said) -> Kept:
        try:
            found = UUID(_text(said, "UUID"))
        except ValueError:
            found = None
        if found is None or str(found) != said:
            raise Unfit(
                f"{quoted(said)} is no UUID in small letters, such as "
                "0b6c9a3e-58a7-4b0e-9d0f-2f4f5b1f7a10."
            )
        return found

    def schema(self) -> dict[str, object]:
        return {"type": "string", "format": "uuid"}


class Own(Kind):
    """The number by which other rows of the same document name a row."""

    means = "a number by which other rows of this document name it; it means nothing outside"

    def keep(self, said: Said) -> Kept:
        if isinstance(said, bool) or not isinstance(said, int) or not 1 <= said < 10**15:
            raise Unfit(f"{quoted(said)} is no whole number from 1 on.")
        return said

    read = Whole.read

    def schema(self) -> dict[str, object]:
        return {"type": "integer", "minimum": 1}


class Ref(Kind):
    """The row of another section that a row belongs to, by the name that it has there."""

    means = "the row that it names"
    fields = ("ForeignKey", "OneToOneField")

    def __init__(self, named: bool) -> None:
        self.named = named

    def keep(self, said: Said) -> Kept:
        return Text().keep(said) if self.named else Own().keep(said)

    def read(self, cell: str) -> Said:
        return cell if self.named else Own().read(cell)

    def schema(self) -> dict[str, object]:
        return {"type": "string", "minLength": 1} if self.named else Own().schema()


class Json(Kind):
    """A short list, in a cell as its JSON."""

    def write(self, said: Said) -> str:
        return json.dumps(said, ensure_ascii=False, separators=(",", ":"))

    def read(self, cell: str) -> Said:
        try:
            return json.loads(cell)
        except (ValueError, RecursionError):
            raise Unfit(f"{quoted(cell)} is no list in JSON, such as [1, 2].") from None

    def keep(self, said: Said) -> Kept:
        if not isinstance(said, list) or not self.suits(said):
            raise Unfit(f"{quoted(said)} is not {self.means}.")
        return said

    def suits(self, said: Sequence[Said]) -> bool:
        """Whether every part is of its shape."""
        raise NotImplementedError


class Refs(Json):
    """Rows of another section, by the names that they have there."""

    means = "a list of rows"
    fields = ("ManyToManyField",)

    def __init__(self, named: bool) -> None:
        self.one = Ref(named)

    def suits(self, said: Sequence[Said]) -> bool:
        for each in said:
            self.one.keep(each)
        return len(set(said)) == len(said)

    def schema(self) -> dict[str, object]:
        return {"type": "array", "items": self.one.schema(), "uniqueItems": True}


class Repeats(Json):
    means = "a list of exact decimals as text, one for each time it was measured"
    fields = ("JSONField",)

    def suits(self, said: Sequence[Said]) -> bool:
        for each in said:
            Exact().keep(each)
        return True

    def schema(self) -> dict[str, object]:
        return {"type": "array", "items": Exact().schema()}


class Sources(Json):
    means = "a list of sheets, each with its id, its short name and its edition as it was then"
    fields = ("JSONField",)
    _NAMES = ("id", "short", "edition")

    def say(self, kept: Kept) -> Said:
        return [{name: each[name] for name in self._NAMES} for each in kept]

    def suits(self, said: Sequence[Said]) -> bool:
        return all(
            isinstance(each, dict)
            and set(each) == set(self._NAMES)
            and all(Text().keep(part) == part for part in each.values())
            for each in said
        )

    def schema(self) -> dict[str, object]:
        return {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {name: {"type": "string"} for name in self._NAMES},
                "required": list(self._NAMES),
                "additionalProperties": False,
            },
        }


class Pairs(Json):
    means = "a list of pairs, each a quantity and where it was measured"
    fields = ("JSONField",)

    def suits(self, said: Sequence[Said]) -> bool:
        return all(
            isinstance(each, list)
            and len(each) == 2
            and all(Text().keep(part) == part for part in each)
            for each in said
        )

    def schema(self) -> dict[str, object]:
        return {
            "type": "array",
            "items": {
                "type": "array",
                "items": {"type": "string"},
                "minItems": 2,
                "maxItems": 2,
            },
        }


class Photo(Kind):
    """A JPEG. In JSON and xlsx in base64 (RFC 4648); in the zip a file of its own, named here."""

    means = "a JPEG in base64; in the zip, the name of its file"
    fields = ("BinaryField",)

    def say(self, kept: Kept) -> Said:
        return base64.b64encode(bytes(kept)).decode("ascii")

    def keep(self, said: Said) -> Kept:
        try:
            raw = base64.b64decode(_text(said, "picture in base64"), validate=True)
        except (binascii.Error, ValueError):
            raise Unfit("It is no picture in base64.") from None
        try:
            kept = cleaned(io.BytesIO(raw), "The picture").jpeg
        except PhotoRefused as refused:
            raise Unfit(str(refused)) from None
        # What was cleaned before stays as it is, bit for bit: cleaning it again would lose some.
        return raw if is_bare_jpeg(raw) else kept

    def back(self, said: Said) -> Kept:
        return base64.b64decode(str(said))

    def schema(self) -> dict[str, object]:
        return {"type": "string", "contentEncoding": "base64", "contentMediaType": "image/jpeg"}


_LONGEST_SIDE = 1600
_TABLES = {0xDB, 0xC4, 0xDD}  # quantisation, Huffman, restart interval
_FRAMES = {0xC0, 0xC1, 0xC2}


def is_bare_jpeg(raw: bytes) -> bool:
    """Whether a JPEG holds nothing but its pixels and is no larger than a cleaned one: none of the
    segments in which cameras and others leave words, and nothing behind its end.

    Segments by ITU-T T.81, annex B.
    """
    if raw[:2] != b"\xff\xd8" or raw[-2:] != b"\xff\xd9":
        return False
    at, is_framed = 2, False
    while raw[at : at + 1] == b"\xff" and at + 4 <= len(raw):
        marker, length = raw[at + 1], int.from_bytes(raw[at + 2 : at + 4], "big")
        if marker == 0xDA:
            at = _after_scan(raw, at + 2 + length)
            if at == len(raw) - 2:
                return is_framed
            continue
        if marker in _FRAMES:
            height = int.from_bytes(raw[at + 5 : at + 7], "big")
            width = int.from_bytes(raw[at + 7 : at + 9], "big")
            if is_framed or not 0 < max(width, height) <= _LONGEST_SIDE:
                return False
            is_framed = True
        elif marker == 0xE0:  # JFIF, without a thumbnail
            if raw[at + 4 : at + 9] != b"JFIF\0" or length != 16:
                return False
        elif marker not in _TABLES:
            return False
        at += 2 + length
    return False


def _after_scan(raw: bytes, at: int) -> int:
    """Where the next marker stands behind the coded pixels that begin at `at`."""
    while True:
        at = raw.find(b"\xff", at)
        if at < 0 or at + 1 >= len(raw):
            return len(raw)
        if raw[at + 1] == 0 or 0xD0 <= raw[at + 1] <= 0xD7:  # a stuffed byte, a restart
            at += 2
            continue
        return at


class Word(Kind):
    """One of the words of the house."""

    means = "one of its words"
    fields = ("CharField",)

    def __init__(self, words: Callable[[], Sequence[str]] | None = None) -> None:
        self.words = words

    def keep(self, said: Said) -> Kept:
        return Text().keep(said)

    def schema(self) -> dict[str, object]:
        return {"type": "string"}
