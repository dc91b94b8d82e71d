"""The whole record, row by row as the document says it, without ever holding it whole."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from itertools import islice

from django.db import connection, transaction

from inventory.ledger.kinds import Ref, Said
from inventory.ledger.sections import BY_NAME, SECTIONS, Column, Section

Row = dict[str, Said]

_CHUNK, _CHUNK_OF_PHOTOS = 500, 8


@contextmanager
def one_moment() -> Iterator[None]:
    """All that is read within it is of one moment, while others go on writing.

    Within a transaction that is open already it does nothing.
    """
    if connection.in_atomic_block:
        yield
        return
    if connection.vendor != "sqlite":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield
        return
    # Transactions of ours take the writer's lock at once; one that only reads must not.
    connection.ensure_connection()
    usual = connection.transaction_mode
    connection.transaction_mode = "DEFERRED"
    try:
        with transaction.atomic():
            connection.transaction_mode = usual
            yield
    finally:
        connection.transaction_mode = usual


class Telling:
    """The rows of every section, in the order in which they were written, with their names.

    A row that has no lasting name is numbered from 1 by its order, so that what went out and in
    comes out again letter for letter.
    """

    def __init__(self, *, with_photos: bool = True) -> None:
        self.with_photos = with_photos
        self._keys: dict[str, array[int]] = {}
        self._names: dict[str, dict[int, str]] = {}

    def told(self) -> Iterator[tuple[Section, Iterator[Row]]]:
        """Every section with its rows."""
        for section in SECTIONS:
            yield section, (row for _, row in self.rows(section))

    def rows(
        self, section: Section, only: Collection[int] | None = None
    ) -> Iterator[tuple[int, Row]]:
        """The rows of a section with their keys in the database; `only` those of some keys."""
        if section.has_photos and not self.with_photos:
            return
        query = section.model._base_manager.order_by("pk")
        if only is not None:
            query = query.filter(pk__in=only)
        chunk = _CHUNK_OF_PHOTOS if section.has_photos else _CHUNK
        names = [section.field_of(column).attname for column in section.kept]
        found = query.values_list("pk", *names).iterator(chunk_size=chunk)
        while batch := list(islice(found, chunk)):
            linked = [self._linked(column, section, batch) for column in section.linked]
            for pk, *values in batch:
                yield pk, self._row(section, pk, values, linked)

    def _row(self, section: Section, pk: int, values: list, linked: list) -> Row:
        said = {
            column.name: None if kept is None else self._say(column, kept)
            for column, kept in zip(section.kept, values, strict=True)
        }
        for column, by_pk in zip(section.linked, linked, strict=True):
            said[column.name] = by_pk.get(pk, [])
        if not section.named:
            said["id"] = self.name(section, pk)
        return {column.name: said[column.name] for column in section.columns}

    def _say(self, column: Column, kept: object) -> Said:
        if isinstance(column.kind, Ref):
            return self.name(BY_NAME[column.to], kept)
        return column.kind.say(kept)

    def _linked(self, column: Column, section: Section, batch: list) -> dict[int, list[Said]]:
        """By key, the rows of another section that are linked to these."""
        field = section.field_of(column)
        here, there = field.m2m_field_name(), field.m2m_reverse_field_name()
        through = field.remote_field.through._base_manager
        pairs = through.filter(**{f"{here}__in": [pk for pk, *_ in batch]}).order_by(f"{there}_id")
        found: dict[int, list[Said]] = {}
        for pk, other in pairs.values_list(f"{here}_id", f"{there}_id"):
            found.setdefault(pk, []).append(self.name(BY_NAME[column.to], other))
        return found

    def name(self, section: Section, pk: int) -> Said:
        """What the document calls a row."""
        if section.named:
            return self._named(section)[pk]
        if section.name not in self._keys:
            keys = section.model._base_manager.order_by("pk").values_list("pk", flat=True)
            self._keys[section.name] = array("q", keys.iterator(chunk_size=10_000))
        return bisect_left(self._keys[section.name], pk) + 1

    def _named(self, section: Section) -> dict[int, str]:
        if section.name not in self._names:
            column = section.by_name[section.named]
            pairs = section.model._base_manager.values_list("pk", column.source)
            self._names[section.name] = {pk: column.kind.say(name) for pk, name in pairs}
        return self._names[section.name]


def is_empty() -> bool:
    """Whether the record holds nothing yet but people and instruments, as a new one does."""
    return not any(
        section.model._base_manager.exists() for section in SECTIONS if not section.stays
    )


def counted() -> list[tuple[Section, int]]:
    """How many rows each section has."""
    return [(section, section.model._base_manager.count()) for section in SECTIONS]
