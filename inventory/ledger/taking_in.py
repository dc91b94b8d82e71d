"""The whole record in again, from any of its three forms: checked first, then all or nothing.

What happens by what the record holds already:

* Nothing but people and instruments, as a new one: it becomes what the document says. Instruments
  are put in anew, people of the same name take over what the document says of them.
* Anything else: rows are recognised by their lasting names. What the document says alike stays;
  what it says otherwise is listed, and then nothing at all is written; what is missing is added,
  if it contradicts nothing. A part is never added to a whole that is there already, since facts
  never change: no reading to an inspection, no wheelset to a vehicle. People and instruments that
  are there stay as they are.

Verdicts are kept as they were judged. Nothing is judged anew, and no hold is opened.
"""

from __future__ import annotations

import json
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from decimal import Decimal
from hashlib import blake2b
from typing import IO

from django.core.exceptions import ValidationError
from django.db import DatabaseError, models, transaction
from django.db.models import Q

from inventory.ledger.kinds import Kept, Kind, Own, Ref, Refs, Said, Unfit, quoted
from inventory.ledger.reading import Raw, told
from inventory.ledger.sections import BY_NAME, FORMAT, HEAD, SECTIONS, Column, Section
from inventory.ledger.telling import Row, Telling, is_empty, one_moment
from inventory.people.models import Person
from inventory.stock.recording import note_last_inspected

MOST_PROBLEMS = 100
MOST_DIFFERENCES = 50
_BATCH = 500


@dataclass(frozen=True)
class Problem:
    """What is wrong where. spot: as the file numbers its rows. column: empty for the whole row."""

    section: str
    spot: str
    column: str
    words: str

    def __str__(self) -> str:
        where = ", ".join(part for part in (self.section, self.spot, self.column) if part)
        return f"{where}: {self.words}"


class ImportRefused(Exception):
    """A document that cannot be taken in, with every reason; nothing was written."""

    def __init__(self, problems: Iterable[Problem | str], *, more: bool = False) -> None:
        self.problems = [str(each) for each in problems]
        self.has_more = more
        super().__init__("\n".join(self.lines))

    @property
    def lines(self) -> list[str]:
        """Every reason, and that there may be more."""
        return [*self.problems, *(["There are more; mend these first."] if self.has_more else [])]


@dataclass
class Count:
    """What became of the rows of one section. beyond: what the record holds and the document does
    not name."""

    section: str
    in_document: int = 0
    same: int = 0
    added: int = 0
    left: int = 0
    differing: int = 0
    beyond: int = 0

    def in_words(self, *, is_done: bool) -> str:
        """What became of them, such as "47 the same, 2 differ"; empty where there are none."""
        parts = (
            (self.added, "added" if is_done else "to add"),
            (self.same, "the same"),
            (self.left, "left as here"),
            (self.differing, "differ"),
            (self.beyond, "only here"),
        )
        return ", ".join(f"{number:,} {words}" for number, words in parts if number)


@dataclass
class TakenIn:
    """What was done, or with is_dry what would be.

    was_empty: whether the record held nothing yet. differences: in words; where there are any,
    nothing was written. left: people and instruments of which the document says otherwise.
    """

    was_empty: bool
    is_dry: bool
    counts: list[Count] = field(default_factory=list)
    differences: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)

    @property
    def n_differing(self) -> int:
        return sum(each.differing for each in self.counts)

    @property
    def n_added(self) -> int:
        return sum(each.added for each in self.counts)

    @property
    def is_refused(self) -> bool:
        return self.n_differing > 0

    @property
    def lines(self) -> list[tuple[str, str]]:
        """Every section of which there is something to say, and what."""
        is_done = not self.is_dry and not self.is_refused
        found = [(each.section, each.in_words(is_done=is_done)) for each in self.counts]
        return [(section, words) for section, words in found if words]

    @property
    def in_words(self) -> str:
        """What became of it, in a sentence."""
        if self.is_refused:
            rows = "1 row" if self.n_differing == 1 else f"{self.n_differing:,} rows"
            verb = "differs" if self.n_differing == 1 else "differ"
            return f"{rows} of the document {verb} from the record; nothing was written."
        if not self.n_added:
            return "The record holds all of it already; nothing was written."
        rows = "1 row" if self.n_added == 1 else f"{self.n_added:,} rows"
        return f"{rows} would be added." if self.is_dry else f"{rows} added."


# --- A row, checked ---------------------------------------------------------------------------


@dataclass(frozen=True)
class _Reader:
    """How a column is read: what may be left out becomes null or empty."""

    column: Column
    name: str
    kind: Kind
    is_optional: bool
    may_be_left_out: bool
    words: frozenset[str] | None
    longest: int | None
    places: int | None
    validators: tuple[Callable, ...]

    @classmethod
    def of(cls, section: Section, column: Column) -> _Reader:
        words, longest, places, validators = section.words_of(column), None, None, ()
        if not isinstance(column.kind, Own | Ref | Refs):
            kept = section.field_of(column)
            longest = kept.max_length
            places = getattr(kept, "decimal_places", None)
            validators = tuple(kept.validators)
        return cls(
            column,
            column.name,
            column.kind,
            section.is_optional(column),
            section.may_be_left_out(column),
            None if words is None else frozenset(words),
            longest,
            places,
            validators,
        )

    def said(self, raw: Raw) -> Said:
        """The value as the document says it, canonically. Raises Unfit."""
        missing = self.name not in raw.values
        found = raw.values.get(self.name)
        if missing or (raw.is_cells and found == "") or found is None:
            return self._nothing(is_missing=missing)
        if raw.is_cells:
            found = self.kind.read(str(found))
        kept = self.kind.keep(found)
        self._check(kept)
        if self.places is not None:
            kept = kept.quantize(Decimal(1).scaleb(-self.places))
        return self.kind.say(kept)

    def _nothing(self, *, is_missing: bool) -> Said:
        if self.is_optional:
            return None
        if self.may_be_left_out:
            return ""
        raise Unfit(f"it is {'missing' if is_missing else 'empty'}, and has to say something.")

    def _check(self, kept: Kept) -> None:
        if self.words is not None and kept not in self.words:
            some = [word for word in sorted(self.words) if word][:12]
            more = "" if len(some) == len([w for w in self.words if w]) else ", and others"
            raise Unfit(f"{quoted(kept)} is none of its words: {', '.join(some)}{more}.")
        if kept == "" and not self.may_be_left_out:
            raise Unfit("it is empty, and has to say something.")
        if isinstance(kept, str) and self.longest is not None and len(kept) > self.longest:
            raise Unfit(f"{quoted(kept)} is longer than {self.longest} letters.")
        for validator in self.validators if kept != "" else ():
            try:
                validator(kept)
            except ValidationError as error:
                raise Unfit(" ".join(error.messages)) from None


class _Limits:
    """Problems as they are found, up to as many as anybody reads."""

    def __init__(self) -> None:
        self.found: list[Problem] = []

    def add(self, section: str, spot: str, column: str, words: str) -> None:
        self.found.append(Problem(section, spot, column, words))
        if len(self.found) >= MOST_PROBLEMS:
            raise ImportRefused(self.found, more=True)

    def settle(self) -> None:
        """Raises ImportRefused where any was found."""
        if self.found:
            raise ImportRefused(self.found)


class _Spool:
    """The rows of a document as they were read and checked, on disk by section."""

    def __init__(self, files: ExitStack) -> None:
        self._files = files
        self._kept: dict[str, IO[str]] = {}
        self.spots: dict[str, str] = {}

    def keep(self, section: Section, rows: Iterable[tuple[str, Row]]) -> None:
        # Closed with the others, by whoever made this.
        file = self._files.enter_context(
            tempfile.TemporaryFile("w+", encoding="utf-8", newline="\n")  # noqa: SIM115
        )
        self._kept[section.name] = file
        for spot, row in rows:
            values = [spot, *(row[column.name] for column in section.columns)]
            file.write(json.dumps(values, ensure_ascii=False))
            file.write("\n")

    def rows(self, section: Section) -> Iterator[tuple[str, Row]]:
        """The rows of a section with where they stand in the file."""
        file = self._kept.get(section.name)
        if file is None:
            return
        file.seek(0)
        names = [column.name for column in section.columns]
        for line in file:
            spot, *values = json.loads(line)
            yield spot, dict(zip(names, values, strict=True))


def _read_all(file: IO[bytes], name: str, spool: _Spool) -> None:
    """Every row of a file, each checked for itself, into the spool.

    Raises Unreadable for a file that is no record, ImportRefused with every problem.
    """
    problems = _Limits()
    has_head, seen = False, set()
    for section_name, rows in told(file, name):
        if section_name == HEAD:
            _check_head(list(rows), problems)
            has_head = True
            continue
        section = BY_NAME.get(section_name)
        if section is None:
            problems.add("", "", "", f"there is no section {quoted(section_name)}.")
            for _ in rows:
                pass
            continue
        seen.add(section_name)
        spool.keep(section, _checked(section, rows, problems))
    if not has_head:
        raise ImportRefused(
            [f"{name} does not say which version of the shape it is: “{HEAD}” is missing."]
        )
    for section in SECTIONS:
        if section.name not in seen and not section.may_be_missing:
            problems.add(section.name, "", "", "the section is missing; it may be empty.")
    problems.settle()


def _check_head(rows: list[Raw], problems: _Limits) -> None:
    said = rows[0].values.get("format") if len(rows) == 1 else None
    if isinstance(said, str) and said.isdigit() and len(said) < 9:
        said = int(said)
    if isinstance(said, bool) or not isinstance(said, int) or said < 1:
        problems.add(HEAD, "", "format", f"it has to say a version, such as {FORMAT}.")
    elif said > FORMAT:
        # Nothing further could be understood of it.
        raise ImportRefused(
            [
                f"This document is of format {said}, and this Carknocker knows format {FORMAT}: "
                "it was written by a newer one. Update first, then import."
            ]
        )


def _checked(
    section: Section, rows: Iterable[Raw], problems: _Limits
) -> Iterator[tuple[str, Row]]:
    readers = [_Reader.of(section, column) for column in section.columns]
    for raw in rows:
        row: Row = {}
        for name in raw.values:
            if name not in section.by_name:
                problems.add(section.name, raw.spot, "", f"there is no column {quoted(name)}.")
        for reader in readers:
            try:
                row[reader.name] = reader.said(raw)
            except Unfit as unfit:
                problems.add(section.name, raw.spot, reader.name, str(unfit))
        if len(row) < len(readers):
            continue
        try:
            if section.agrees is not None:
                section.agrees(row)
        except Unfit as unfit:
            problems.add(section.name, raw.spot, "scale", f"{unfit}.")
        yield raw.spot, row


# --- The document as a whole ------------------------------------------------------------------


def is_true(condition: Q, row: Mapping[str, Said], section: Section) -> bool:
    """Whether a row meets a condition of its table, as the database would say it."""

    def one(lookup: str, value: object) -> bool:
        name, _, how = lookup.partition("__")
        said = row[section.by_field[name].name]
        if how == "isnull":
            return (said is None) is value
        if how == "in":
            return said in value
        if how == "gte":
            return said >= value
        if how == "":
            return said == value
        raise NotImplementedError(f"{section.name}: {lookup}")

    found = [
        is_true(child, row, section) if isinstance(child, Q) else one(*child)
        for child in condition.children
    ]
    holds = all(found) if condition.connector == Q.AND else any(found)
    return holds is not condition.negated


def _digest(*values: Said) -> bytes:
    text = json.dumps(values, ensure_ascii=False, separators=(",", ":"))
    return blake2b(text.encode("utf-8", "surrogatepass"), digest_size=16).digest()


def _check_whole(spool: _Spool) -> None:
    """References, what may be there once only, and what has to be true of every row."""
    problems = _Limits()
    names: dict[str, set[Said]] = {}
    for section in SECTIONS:
        own: set[Said] = set()
        once: list[set[bytes]] = [set() for _ in section.uniques]
        references = [each for each in section.columns if each.to]
        for spot, row in spool.rows(section):
            if row[section.own] in own:
                what = quoted(row[section.own])
                problems.add(section.name, spot, section.own, f"{what} is there already.")
            own.add(row[section.own])
            for column in references:
                said = row[column.name]
                for each in said if isinstance(said, list) else [said]:
                    if each is not None and each not in names[column.to]:
                        words = f"{column.to} has no {quoted(each)}."
                        problems.add(section.name, spot, column.name, words)
            for (words, columns, condition), seen in zip(section.uniques, once, strict=True):
                if columns == (section.own,):
                    continue
                key = _once(section, row, columns, condition)
                if key is not None and key in seen:
                    where = columns[-1]
                    problems.add(section.name, spot, where, f"a second one, against: {words}.")
                seen.add(key)
            for words, condition in section.checks:
                if not is_true(condition, row, section):
                    problems.add(section.name, spot, "", f"it contradicts itself: {words}.")
        names[section.name] = own
    problems.settle()


def _once(
    section: Section, row: Mapping[str, Said], columns: tuple[str, ...], condition: Q | None
) -> bytes | None:
    """What of a row may be there once only; None where it may be there again."""
    values = [row[name] for name in columns]
    if None in values or (condition is not None and not is_true(condition, row, section)):
        return None
    return _digest(*values)


# --- Against what is there already -------------------------------------------------------------


class _Prints:
    """Who every row is by lasting names, and what it says, each in 16 bytes.

    Two rows of the same print, of whatever record or document, are the same; rows of one name
    that are otherwise alike are told apart by their order.
    """

    def __init__(self) -> None:
        self._who: dict[str, dict[Said, bytes]] = {section.name: {} for section in SECTIONS}
        self._alike: Counter[bytes] = Counter()

    def of(self, section: Section, row: Row) -> tuple[bytes, bytes, Row]:
        """Who it is, what it says, and the row with prints in the place of its references."""
        lasting = {
            column.name: self._lasting(column, row[column.name])
            for column in section.columns
            if not isinstance(column.kind, Own)
        }
        base = _digest(section.name, *(lasting[name] for name in section.key))
        self._alike[base] += 1
        who = base if self._alike[base] == 1 else _digest(base.hex(), self._alike[base])
        self._who[section.name][row[section.own]] = who
        return who, _digest(*lasting.values()), lasting

    def _lasting(self, column: Column, said: Said) -> Said:
        if not column.to or said is None:
            return said
        known = self._who[column.to]
        if isinstance(said, list):
            return sorted(known[each].hex() for each in said)
        return known[said].hex()


@dataclass
class _Held:
    """What the record holds of one section: by who it is, what it says and its key; and what may
    be there once only."""

    rows: dict[bytes, tuple[bytes, int]]
    once: list[set[bytes]]


class _Against:
    """A document held against a record that is not empty."""

    def __init__(self, spool: _Spool, done: TakenIn) -> None:
        self._spool, self._done = spool, done
        self._telling = Telling()
        self._held = self._read_record()
        self.problems = _Limits()
        #: By section, the names in the document of rows to be added.
        self.to_add: dict[str, set[Said]] = {}
        #: By section, the keys of rows that are there, by their names in the document.
        self.keys: dict[str, dict[Said, int]] = {}
        self._compare()

    def _read_record(self) -> dict[str, _Held]:
        prints, held = _Prints(), {}
        for section in SECTIONS:
            kept = _Held({}, [set() for _ in section.uniques])
            for pk, row in self._telling.rows(section):
                who, what, lasting = prints.of(section, row)
                kept.rows[who] = (what, pk)
                for at, (_, columns, condition) in enumerate(section.uniques):
                    key = _once(section, lasting, columns, condition)
                    if key is not None:
                        kept.once[at].add(key)
            held[section.name] = kept
        return held

    def _compare(self) -> None:
        prints = _Prints()
        for section in SECTIONS:
            count = Count(section.name)
            self._done.counts.append(count)
            held = self._held[section.name]
            self.to_add[section.name], self.keys[section.name] = set(), {}
            found = set()
            for spot, row in self._spool.rows(section):
                who, what, lasting = prints.of(section, row)
                own = row[section.own]
                count.in_document += 1
                there = held.rows.get(who)
                if there is not None:
                    found.add(who)
                    self.keys[section.name][own] = there[1]
                    self._matched(section, spot, row, is_same=there[0] == what, pk=there[1])
                elif section.part_of and row[section.part_of] in self.keys[self._whole(section)]:
                    count.differing += 1
                    whole = self._whole(section).replace("_", " ").removesuffix("s")
                    self._differs(section, spot, f"the {whole} is there without it.")
                else:
                    count.added += 1
                    self.to_add[section.name].add(own)
                    self._fits_in(section, spot, lasting, held)
            count.beyond = len(held.rows) - len(found)

    @staticmethod
    def _whole(section: Section) -> str:
        return section.by_name[section.part_of].to

    def _matched(self, section: Section, spot: str, row: Row, *, is_same: bool, pk: int) -> None:
        count = self._done.counts[-1]
        if is_same:
            count.same += 1
            return
        (_, here), *_ = self._telling.rows(section, only=[pk])
        said = [
            f"{column.name} is {quoted(here[column.name])} here and {quoted(row[column.name])} "
            "there"
            for column in section.columns
            if not column.to and column.name != "id" and here[column.name] != row[column.name]
        ]
        words = "; ".join(said) or "it belongs to something else there"
        if section.stays:
            count.left += 1
            if len(self._done.left) < MOST_DIFFERENCES:
                self._done.left.append(f"{section.name}, {row[section.own]}: {words}.")
        else:
            count.differing += 1
            self._differs(section, spot, f"{words}.")

    def _differs(self, section: Section, spot: str, words: str) -> None:
        if len(self._done.differences) < MOST_DIFFERENCES:
            self._done.differences.append(str(Problem(section.name, spot, "", words)))

    def _fits_in(self, section: Section, spot: str, lasting: Row, held: _Held) -> None:
        for at, (words, columns, condition) in enumerate(section.uniques):
            key = _once(section, lasting, columns, condition)
            if key is not None and key in held.once[at]:
                self.problems.add(
                    section.name,
                    spot,
                    columns[-1],
                    f"the record has another one already, against: {words}.",
                )


# --- Writing ----------------------------------------------------------------------------------


class _Writer:
    """Rows of the document -> rows of the database, with what they refer to."""

    def __init__(self, spool: _Spool, keys: dict[str, dict[Said, int]]) -> None:
        self._spool, self._keys = spool, keys

    def write(self, section: Section, wanted: Callable[[Row], bool]) -> None:
        """Add the rows that are wanted."""
        batch: list[Row] = []
        size = 8 if section.has_photos else _BATCH
        for _, row in self._spool.rows(section):
            if wanted(row):
                batch.append(row)
            if len(batch) >= size:
                self._put(section, batch)
                batch = []
        if batch:
            self._put(section, batch)

    def _put(self, section: Section, rows: list[Row]) -> None:
        made = [self._made(section, row) for row in rows]
        manager = section.model._base_manager
        manager.bulk_create(made)
        # What the database fills in of itself is set back to what the document says.
        clocked = [
            each.source
            for each in section.kept
            if getattr(section.field_of(each), "auto_now_add", False)
        ]
        if clocked:
            for one, row in zip(made, rows, strict=True):
                for name in clocked:
                    column = section.by_field[name]
                    setattr(one, name, column.kind.back(row[column.name]))
            manager.bulk_update(made, clocked, batch_size=200)
        keys = self._keys.setdefault(section.name, {})
        for one, row in zip(made, rows, strict=True):
            keys[row[section.own]] = one.pk
        for column in section.linked:
            self._link(section, column, rows)

    def values(self, section: Section, row: Row) -> dict[str, object]:
        """The values of the table's own columns, by the names of its fields."""
        found = {}
        for column in section.kept:
            said = row[column.name]
            if said is not None and column.to:
                said = self._keys[column.to][said]
            elif said is not None:
                said = column.kind.back(said)
            found[section.field_of(column).attname] = said
        return found

    def _made(self, section: Section, row: Row) -> models.Model:
        one = section.model(**self.values(section, row))
        if section.fill is not None:
            section.fill(one)
        if isinstance(one, Person):
            one.set_unusable_password()
        return one

    def _link(self, section: Section, column: Column, rows: list[Row]) -> None:
        linked = section.field_of(column)
        through = linked.remote_field.through
        here, there = linked.m2m_column_name(), linked.m2m_reverse_name()
        through._base_manager.bulk_create(
            [
                through(
                    **{
                        here: self._keys[section.name][row[section.own]],
                        there: self._keys[column.to][other],
                    }
                )
                for row in rows
                for other in row[column.name]
            ],
            batch_size=_BATCH,
        )


def _people_into_new(spool: _Spool, writer: _Writer, keys: dict, by: Person | None) -> set[Said]:
    """Of a new record, let people of the same name become what the document says of them; which
    names they are.

    Raises ImportRefused where nobody could then run the record, or not the person who imports.
    """
    section = BY_NAME["people"]
    here = {each.username: each for each in Person.objects.all()}
    known = set()
    for _, row in spool.rows(section):
        person = here.get(str(row["name"]))
        if person is None:
            continue
        for name, value in writer.values(section, row).items():
            setattr(person, name, value)
        person.save()
        known.add(row["name"])
        keys["people"][row["name"]] = person.pk
        if by is not None and person.pk == by.pk and not _runs_it(person):
            raise ImportRefused(
                [
                    f"In the document {person.username} is no owner, and you would lose your own "
                    "record: sign in under another name, or import by the command."
                ]
            )
    return known


def _runs_it(person: Person) -> bool:
    return person.role == Person.Role.OWNER and person.is_active


def take_in(
    file: IO[bytes], name: str, *, by: Person | None = None, is_dry: bool = False
) -> TakenIn:
    """Take a whole record in, or with is_dry only say what would become of it.

    by: who does it, who must be its owner still after. Raises Unreadable for a file that is no
    whole record, ImportRefused for one whose content cannot be kept; nothing is written then, nor
    where anything differs from what the record holds.
    """
    with ExitStack() as files:
        spool = _Spool(files)
        _read_all(file, name, spool)
        _check_whole(spool)
        if is_dry:
            with one_moment():
                return _settled(spool, by, is_dry=True)
        try:
            with transaction.atomic():
                return _settled(spool, by, is_dry=False)
        except DatabaseError as error:
            if "locked" in str(error):
                raise
            raise ImportRefused([f"The database would not keep it: {error}."]) from error


def _settled(spool: _Spool, by: Person | None, *, is_dry: bool) -> TakenIn:
    done = TakenIn(was_empty=is_empty(), is_dry=is_dry)
    keys: dict[str, dict[Said, int]] = {section.name: {} for section in SECTIONS}
    if done.was_empty:
        done.counts = [_all_of(section, spool) for section in SECTIONS]
        if not is_dry:
            _write_into_new(spool, keys, by)
            note_last_inspected()
        return done
    against = _Against(spool, done)
    if done.is_refused:
        return done
    against.problems.settle()
    if not is_dry:
        writer = _Writer(spool, against.keys)
        for section in SECTIONS:
            added = against.to_add[section.name]
            if added:
                own = section.own
                writer.write(section, lambda row, own=own, added=added: row[own] in added)
        note_last_inspected()
    return done


def _all_of(section: Section, spool: _Spool) -> Count:
    number = sum(1 for _ in spool.rows(section))
    return Count(section.name, in_document=number, added=number)


def _write_into_new(spool: _Spool, keys: dict, by: Person | None) -> None:
    writer = _Writer(spool, keys)
    known = _people_into_new(spool, writer, keys, by)
    # Nothing was read with them yet.
    BY_NAME["instruments"].model._base_manager.all().delete()
    for section in SECTIONS:
        is_people = section.name == "people"
        writer.write(section, lambda row, skip=is_people: not (skip and row["name"] in known))
