"""What a list would do to the record, row by row, and doing it: all of it or nothing.

A row is about the vehicle of its uid, or else about the one with the same marks, number and scale.
Nothing that the list does not speak of is touched. What was shown to a person is what is done: a
row that would come out otherwise, because the record was changed meanwhile, stops everything.
"""

from __future__ import annotations

import copy
import hashlib
import json
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from inventory.ledger.lists import cells, columns
from inventory.ledger.lists.cells import CellRefused, Fault, Number, Order, shown
from inventory.ledger.lists.columns import COLUMNS, Column, Kind, letter
from inventory.ledger.lists.facts import (
    FIELDS,
    as_cells,
    couplers_of,
    of_fields,
    of_gear,
    wheels_of,
)
from inventory.ledger.lists.scales import families, scale_code
from inventory.ledger.lists.values import ValueRefused, Values
from inventory.ledger.lists.workbooks import Row
from inventory.ledger.neutral import original
from inventory.people.models import Person
from inventory.stock import rules
from inventory.stock.models import Coupler, Vehicle
from inventory.stock.recording import (
    Amended,
    Newcomer,
    Wheels,
    amend_vehicles,
    log_vehicles,
)
from standards import sheets

#: Vehicles are fetched and written so many at a time.
BATCH = 400
#: What a list may lack altogether, and a person says once for all its new vehicles.
CONSTANTS = ("reporting_mark", "category", "kind", "axles", "coupler", "currency")
#: What says which vehicle a row is about.
_NAMING = ("uid", "reporting_mark", "number", "scale", "family")
_GEAR = ("profile_code", "material", "tread_diameter")
#: A row without them is no new vehicle.
_NEEDED = ("reporting_mark", "category", "kind", "family", "scale")


@dataclass(frozen=True)
class Terms:
    """How a list is to be read, as a person said it.

    heading_row: where the headings stand among the rows, None where there are none.
    columns: by column, the code of what it holds, empty for those left out.
    standard: the family and scale ("nmra/HO") of what the list does not say them of.
    constants: by code, what the list lacks.
    day_order: "day" or "month", which comes first in 3/5/24; empty where the list tells it itself.
    empties: whether an empty cell empties the fact, instead of leaving it as it is.
    are_others: whether rows that are lettered alike are different vehicles.
    """

    heading_row: int | None
    columns: tuple[str, ...]
    standard: str = ""
    constants: Mapping[str, str] = field(default_factory=dict)
    day_order: str = ""
    empties: bool = False
    are_others: bool = False

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_dict(cls, kept: Mapping[str, Any]) -> Terms:
        return cls(**{**kept, "columns": tuple(kept["columns"])})


@dataclass(frozen=True)
class Planned:
    """What would be done with one row.

    deed: "new", "changed", "same", "left out" or "error".
    differences: (what, before, after) in words; of a new vehicle, all that would be kept.
    """

    number: int
    deed: str
    name: str
    pk: int | None = None
    differences: tuple[tuple[str, str, str], ...] = ()
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def digest(self) -> str:
        """Differs where something else would be done."""
        told = [self.number, self.deed, self.pk, self.differences, self.problems]
        return hashlib.sha256(json.dumps(told).encode()).hexdigest()[:20]


@dataclass(frozen=True)
class Outcome:
    """How many rows did what."""

    new: int = 0
    changed: int = 0
    same: int = 0
    left_out: int = 0


class ListOvertaken(Exception):
    """The record was changed since the list was looked at, so that a row would do something else.
    Nothing was written."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(
            f"Since you looked at the list, the record was changed, and row {number} would do "
            "something else now. Nothing was written: look at it again."
        )


class RowsRefused(Exception):
    """Some rows have errors. Nothing was written."""

    def __init__(self, numbers: Sequence[int]) -> None:
        self.numbers = numbers
        some = ", ".join(str(number) for number in numbers[:10])
        more = " and more" if len(numbers) > 10 else ""
        super().__init__(
            f"Nothing was written: there are errors in row{'s' if len(numbers) > 1 else ''} "
            f"{some}{more}. Mend the list, or leave these rows out."
        )


# --- The record as it stands -------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Standing:
    pk: int
    is_visitor: bool
    retired_as: str
    name: str


class _Record:
    """Who is in the record, by uid and by lettering."""

    def __init__(self) -> None:
        self.by_uid: dict[uuid.UUID, _Standing] = {}
        self.by_key: dict[tuple[str, ...], list[_Standing]] = {}
        rows = Vehicle.everyone.values_list(
            "pk", "uid", "reporting_mark", "number", "family", "scale", "visitor", "retired_as"
        )
        for pk, uid, mark, number, family, scale, visitor, retired in rows.iterator():
            standing = _Standing(pk, bool(visitor), retired, f"{mark} {number}".strip())
            self.by_uid[uid] = standing
            if not visitor:
                key = (cells.key(mark), cells.key(number), family, scale)
                self.by_key.setdefault(key, []).append(standing)


# --- Rows ---------------------------------------------------------------------------------------


@dataclass
class _Read:
    """One row, read. values: by code; blanks: mapped columns without anything in them."""

    row: Row
    values: dict[str, Any] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    where: dict[str, int] = field(default_factory=dict)
    blanks: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    pk: int | None = None
    is_retired: bool = False

    @property
    def name(self) -> str:
        said = [self.texts.get(code, "").strip() for code in ("reporting_mark", "number")]
        return " ".join(part for part in said if part)


class Incoming:
    """A list that is to come in.

    rows: all that the file holds; unit: "mm" or "in", for lengths without one; today: for years
    of two digits. Raises ValueError for terms that do not fit the list.
    """

    def __init__(
        self, rows: Sequence[Row], terms: Terms, *, unit: str, today: date, is_1904: bool = False
    ) -> None:
        self._terms = terms
        below = 0 if terms.heading_row is None else terms.heading_row + 1
        self.rows = rows[below:]
        width = max((len(row.cells) for row in rows[below - 1 if below else 0 :]), default=0)
        self.headings = headings_of(rows, terms.heading_row, width)
        self._columns = {
            index: COLUMNS[code] for index, code in enumerate(terms.columns) if code in COLUMNS
        }
        self._n_headings = len(rows[below - 1].cells) if below else width
        order = Order(terms.day_order) if terms.day_order else None
        self._values = Values(unit, today, order, is_1904)
        self._standard = _split_standard(terms.standard)
        self._learn()

    def _learn(self) -> None:
        """What only whole columns tell: the order of days, the decimal mark, units."""
        for index, column in self._columns.items():
            if column.kind is Kind.AMOUNT:
                self._values.marks[index] = cells.mark_of(self._plain(index))
            elif column.kind is Kind.LENGTH:
                self._values.units[index] = columns.unit_of(self.headings[index])
            elif column.kind is Kind.DAY:
                try:
                    told = cells.order_of(self._plain(index))
                except CellRefused:
                    told = None
                self._values.order = told or self._values.order

    def _plain(self, index: int) -> Iterator[str]:
        for row in self.rows:
            if index < len(row.cells) and not isinstance(row.cells[index], Fault):
                yield row.cells[index]

    def question(self) -> str:
        """A day that may be read in two ways while nothing says which; empty if there is none."""
        if self._values.order is not None:
            return ""
        for index, column in self._columns.items():
            if column.kind is Kind.DAY:
                for cell in self._plain(index):
                    if cells.is_ambiguous(cell):
                        return cell.strip()
        return ""

    def missing(self) -> list[str]:
        """What the terms have to say before any row can be looked at, in words."""
        if not self.rows:
            return [
                "No row stands below the headings: fill the list in and upload it again; or, if "
                "its headings are a vehicle, say under how the file is read that there are none."
            ]
        mapped = {column.code for column in self._columns.values()}
        told = []
        twice = [code for code in mapped if self._terms.columns.count(code) > 1]
        for code in twice:
            told.append(f"{COLUMNS[code].label} is chosen for two columns: leave one of them out.")
        if "uid" in mapped:
            return told
        lacking = [
            code
            for code in ("reporting_mark", "category", "kind")
            if code not in mapped and not self._terms.constants.get(code)
        ]
        if not {"family", "scale"} <= mapped and not self._terms.standard:
            told.append("Say below by which standards the list's vehicles are judged.")
        elif "reporting_mark" not in lacking and lacking and self._all_known():
            return told  # what the list does not speak of stays
        return [
            f"{COLUMNS[code].label} is in no column: choose its column, or say below "
            "what it is for all of them."
            for code in lacking
        ] + told

    def _all_known(self) -> bool:
        """Whether every row is about a vehicle in the record, so that none needs what is new."""
        record = _Record()
        for row in self.rows:
            read = self._named_by(row)
            self._find(read, record)
            if read.pk is None:
                return False
        return True

    # Reading ------------------------------------------------------------------------------------

    def _where(self, index: int) -> str:
        heading = self.headings[index].strip()
        return f"column {letter(index)}" + (f" ({shown(heading)})" if heading else "")

    def _named_by(self, row: Row) -> _Read:
        """As much of a row as says which vehicle it is about."""
        read = _Read(row)
        for index, column in self._columns.items():
            cell = row.cells[index] if index < len(row.cells) else ""
            if column.code in _NAMING and cell.strip() and not isinstance(cell, Fault):
                read.where[column.code] = index
                self._take(read, column, index, _typed(cell))
        self._take_scale(read)
        return read

    def _read(self, row: Row) -> _Read:
        read = _Read(row)
        for index in range(self._n_headings, len(row.cells)):
            if row.cells[index].strip():
                read.problems.append(
                    f"{self._where(index)}: “{shown(row.cells[index])}” stands beyond the last "
                    "heading; perhaps a delimiter within a cell is not in quotes."
                )
                break
        for index, column in self._columns.items():
            cell = row.cells[index] if index < len(row.cells) else ""
            read.where[column.code] = index
            if index in row.covered:
                read.problems.append(
                    f"{self._where(index)} is merged into another cell: unmerge it, and fill "
                    "each row."
                )
            elif isinstance(cell, Fault):
                read.problems.append(f"{self._where(index)} {cell}.")
            elif not cell.strip():
                read.blanks.append(column.code)
            else:
                self._take(read, column, index, _typed(cell))
        self._take_scale(read)
        if row.is_hidden:
            read.notes.append("This row is hidden in the sheet.")
        return read

    def _take(self, read: _Read, column: Column, index: int, text: str) -> None:
        read.texts[column.code] = text
        try:
            read.values[column.code] = self._values.read(column, index, text)
        except ValueRefused as refused:
            read.problems.append(f"{self._where(index)}: {refused}")
            return
        if text.isprintable() or column.kind is not Kind.TEXT:
            return
        if unseen := cells.invisible(text):
            read.notes.append(
                f"{self._where(index)} holds what cannot be seen: {', '.join(unseen[:3])}."
            )

    def _take_scale(self, read: _Read) -> None:
        """The scale as its family names it, which another cell or the terms tell."""
        family, scale = self._standard
        text = read.values.get("scale")
        if text is not None:
            if "/" in text and not text.startswith("1"):
                named, _, text = text.partition("/")
                read.values.setdefault("family", families().get(cells.key(named), ""))
            family = read.values.get("family") or family
            if not family:
                read.values.pop("scale")
                return  # told as missing, or the vehicle in the record knows
            try:
                read.values["scale"] = scale_code(family, text)
                read.values["family"] = family
            except sheets.UnknownStandard as error:
                read.problems.append(f"{self._where(read.where['scale'])}: {error}")
                read.values.pop("scale")
        elif "family" in read.values and family == read.values["family"]:
            read.values["scale"] = scale

    def _find(self, read: _Read, record: _Record) -> tuple[object, ...]:
        """Look for the vehicle that a row is about, and give what two rows must not share."""
        uid = read.values.get("uid")
        if uid is not None:
            found = record.by_uid.get(uid)
            if found is None:
                return ("uid", uid)
            if found.is_visitor:
                read.problems.append(
                    f"{self._where(read.where['uid'])}: that uid is of {found.name}, which a "
                    "visitor brought; lists are about your own stock."
                )
            read.pk, read.is_retired = found.pk, bool(found.retired_as)
            return ("pk", found.pk)
        mark = read.values.get("reporting_mark") or self._terms.constants.get("reporting_mark", "")
        family = read.values.get("family") or self._standard[0]
        scale = read.values.get("scale") or self._standard[1]
        number = read.values.get("number", "")
        key = (cells.key(mark), cells.key(number), family, scale)
        if not mark or not scale or ("number" in read.where and self._is_bad(read, "number")):
            return ("row", read.row.number)
        alike = record.by_key.get(key, [])
        here = [each for each in alike if not each.retired_as]
        if len(here) > 1:
            read.problems.append(
                f"{len(here)} vehicles in the record are lettered {here[0].name} at this scale: "
                "say which by its uid, which an export holds."
            )
        elif here:
            read.pk = here[0].pk
            return ("pk", read.pk)
        elif alike and not self._terms.are_others:
            read.problems.append(
                f"{alike[0].name} has left the stock: bring it back on its page, delete the row, "
                "or say that vehicles lettered alike are different ones."
            )
        if not here and self._terms.are_others:
            return ("row", read.row.number)
        return ("key", *key)

    def _is_bad(self, read: _Read, code: str) -> bool:
        return code in read.texts and code not in read.values

    # Planning -----------------------------------------------------------------------------------

    def plan(self) -> Iterator[Planned]:
        """What would be done with each row that is not empty."""
        for planned, _ in self._planned(_Record()):
            yield planned

    def _planned(self, record: _Record) -> Iterator[tuple[Planned, Newcomer | Amended | None]]:
        doubles = self._doubles(record)
        for start in range(0, len(self.rows), BATCH):
            batch = [self._read(row) for row in self.rows[start : start + BATCH]]
            for read in batch:
                self._find(read, record)
            wanted = {read.pk for read in batch if read.pk is not None}
            standing = {
                each.pk: each
                for each in Vehicle.everyone.filter(pk__in=wanted).prefetch_related(
                    "wheelsets", "couplers"
                )
            }
            for read in batch:
                others = doubles.get(read.row.number, ())
                if others:
                    named = ", ".join(str(number) for number in others[:5])
                    read.problems.append(
                        f"This is the same vehicle as in row {named}: keep one of them, tell them "
                        "apart by number or uid, or say that rows lettered alike are different "
                        "vehicles."
                    )
                now = standing.get(read.pk) if read.pk is not None else None
                yield self._amended(read, now) if now is not None else self._new(read)

    def _doubles(self, record: _Record) -> dict[int, list[int]]:
        """By row, the other rows about the same vehicle."""
        about: dict[tuple[object, ...], list[int]] = {}
        for row in self.rows:
            read = self._named_by(row)
            about.setdefault(self._find(read, record), []).append(row.number)
        return {
            number: [each for each in numbers if each != number]
            for numbers in about.values()
            if len(numbers) > 1
            for number in numbers
        }

    def _result(
        self, read: _Read, deed: str, differences: Sequence[tuple[str, str, str]] = ()
    ) -> Planned:
        if read.problems:
            deed = "error"
        return Planned(
            read.row.number,
            deed,
            read.name,
            read.pk,
            tuple(differences),
            tuple(read.problems),
            tuple(read.notes),
        )

    def _new(self, read: _Read) -> tuple[Planned, Newcomer | None]:
        if _has_left(read.values.get("retired", "")):
            read.notes.append("It has left the stock where the list comes from.")
            return self._result(read, "left out"), None
        facts = self._constants() | {
            code: value for code, value in read.values.items() if value is not None
        }
        for code in _NEEDED:
            is_told = any(COLUMNS[code].label in problem for problem in read.problems)
            if code in read.where:  # its cell is merged into another, say, which is told
                about = self._where(read.where[code])
                is_told |= any(problem.startswith(about) for problem in read.problems)
            if not facts.get(code) and not self._is_bad(read, code) and not is_told:
                where = f"{self._where(read.where[code])}: " if code in read.where else ""
                label = COLUMNS[code].label
                read.problems.append(f"{where}{label} is needed for a new vehicle: type it.")
        self._take_amounts(read, facts, {})
        vehicle = Vehicle(
            **{
                code: facts[code]
                for code in ("uid", *FIELDS)
                if code in facts and facts[code] is not None
            }
        )
        wheels = self._wheels_of(read, vehicle.axles, [Wheels()] * vehicle.axles)
        hook = facts.get("coupler", Coupler.Kind.KNUCKLE.value)
        couplers = {
            end: (
                facts.get(f"coupler_{end.lower()}", hook),
                facts.get(f"mounting_{end.lower()}", "body"),
            )
            for end in ("A", "B")
        }
        if read.problems:
            return self._result(read, "error"), None
        kept = _as_differences({}, of_fields(vehicle) | of_gear(wheels, couplers))
        read.texts.setdefault("reporting_mark", vehicle.reporting_mark)
        return self._result(read, "new", kept), Newcomer(vehicle, wheels, couplers)

    @cached_property
    def _constant_values(self) -> dict[str, Any]:
        told: dict[str, Any] = {}
        for code, text in self._terms.constants.items():
            if text and code in CONSTANTS:
                try:
                    told[code] = self._values.read(COLUMNS[code], -1, text)
                except ValueRefused as refused:
                    raise ValueError(f"{COLUMNS[code].label}: {refused}") from refused
        if self._standard[0]:
            told["family"], told["scale"] = self._standard
        return told

    def _constants(self) -> dict[str, Any]:
        return dict(self._constant_values)

    def check_constants(self) -> str:
        """Words for a constant that cannot be, empty if all can."""
        try:
            self._constants()
        except ValueError as error:
            return str(error)
        return ""

    def _take_amounts(self, read: _Read, facts: dict[str, Any], before: Mapping[str, Any]) -> None:
        """Amounts without the currency written beside them, which becomes the vehicle's where it
        has none."""
        for code in ("price", "value"):
            amount = facts.get(code)
            if not isinstance(amount, cells.Amount):
                continue
            facts[code] = amount.number
            if not amount.currency:
                continue
            standing = read.values.get("currency") or before.get("currency")
            if standing and standing != amount.currency:
                read.problems.append(
                    f"{self._where(read.where[code])}: “{shown(read.texts[code])}” is in "
                    f"{amount.currency}, but the vehicle's currency is {standing}; one vehicle "
                    "has one currency."
                )
            elif not standing:
                facts["currency"] = amount.currency
        if {"price", "value", "currency"} & set(read.values):
            for code, words in rules.missing_beside({**before, **facts}).items():
                read.problems.append(self._missing_beside(read, code, words))

    def _missing_beside(self, read: _Read, code: str, words: str) -> str:
        if code in read.where:
            return f"{self._where(read.where[code])}: {words}"
        priced = next((each for each in ("price", "value") if each in read.values), "")
        if code != "currency" or not priced:
            return words
        return (
            f"{self._where(read.where[priced])}: “{shown(read.texts[priced])}” has no currency: "
            "say the currency once for all of the list, or write it beside the amount, such as "
            "24.50 EUR."
        )

    def _wheels_of(self, read: _Read, axles: int, standing: Sequence[Wheels]) -> list[Wheels]:
        """What the row declares of the wheels, over what stands."""
        wheels = list(standing)
        for code in _GEAR:
            if code in read.values:
                told = read.values[code]
            elif code in read.blanks and self._terms.empties:
                told = [None if code == "profile_code" else ""]
            else:
                continue
            if len(told) not in (1, axles):
                read.problems.append(
                    f"{self._where(read.where[code])}: {len(told)} values stand there with bars "
                    f"between them, and the vehicle has {axles} axles; give one for all, or one "
                    "an axle."
                )
                continue
            told = told * axles if len(told) == 1 else told
            wheels = [
                replace(each, **{code: value}) for each, value in zip(wheels, told, strict=True)
            ]
        return wheels

    def _amended(self, read: _Read, now: Vehicle) -> tuple[Planned, Amended | None]:
        before = as_cells(now)
        read.texts.setdefault("reporting_mark", now.reporting_mark)
        read.texts.setdefault("number", now.number)
        self._forgive_what_stands(read, before)
        if "scale" in read.texts and "scale" not in read.values and not read.problems:
            try:
                read.values["scale"] = scale_code(now.family, read.texts["scale"])
            except sheets.UnknownStandard as error:
                read.problems.append(f"{self._where(read.where['scale'])}: {error}")
        facts = {code: read.values[code] for code in FIELDS if code in read.values}
        if self._terms.empties:
            self._empty(read, facts, now)
        held = {code: getattr(now, code) for code in ("price", "value", "currency")}
        if any(_is_other(facts[code], held[code]) for code in held if code in facts):
            self._take_amounts(read, facts, held)
        facts = {
            code: value.number if isinstance(value, cells.Amount) else value
            for code, value in facts.items()
        }
        try:
            sheets.scale(facts.get("family", now.family), facts.get("scale", now.scale))
        except sheets.UnknownStandard as error:
            read.problems.append(str(error))
        after = copy.copy(now)
        for code, value in facts.items():
            setattr(after, code, value)
        standing = wheels_of(now)[: after.axles]
        standing += [Wheels()] * (after.axles - len(standing))
        wheels = self._wheels_of(read, after.axles, standing)
        held_couplers = couplers_of(now)
        couplers = {
            end: (
                read.values.get(f"coupler_{end.lower()}", read.values.get("coupler", kind)),
                read.values.get(f"mounting_{end.lower()}", mounting),
            )
            for end, (kind, mounting) in held_couplers.items()
        }
        if read.problems:
            return self._result(read, "error"), None
        differences = _as_differences(before, of_fields(after) | of_gear(wheels, couplers))
        if not differences:
            return self._result(read, "same"), None
        if read.is_retired:
            read.problems.append(
                "It has left the stock, and the row would change it: bring it back on its page "
                "first, or leave the row out."
            )
            return self._result(read, "error", differences), None
        changed_wheels = {
            axle: each for axle, each in enumerate(wheels, start=1) if each != standing[axle - 1]
        }
        changed_couplers = {
            end: each for end, each in couplers.items() if each != held_couplers[end]
        }
        amended = Amended(after, now.revision, changed_wheels, changed_couplers)
        return self._result(read, "changed", differences), amended

    def _forgive_what_stands(self, read: _Read, before: Mapping[str, str]) -> None:
        """A cell that says what stands in the record is no error, whatever the rules say today."""
        if not read.problems:
            return
        for code, index in read.where.items():
            if self._is_bad(read, code) and read.texts[code] == before.get(code):
                where = f"{self._where(index)}:"
                read.problems = [each for each in read.problems if not each.startswith(where)]

    def _empty(self, read: _Read, facts: dict[str, Any], now: Vehicle) -> None:
        for code in read.blanks:
            if code not in FIELDS:
                continue
            kept = Vehicle._meta.get_field(code)
            if kept.null:
                facts[code] = None
            elif kept.blank:
                facts[code] = ""
            elif getattr(now, code) and COLUMNS[code].kind is Kind.TEXT:
                read.problems.append(
                    f"{self._where(read.where[code])}: {COLUMNS[code].label} cannot be empty; "
                    "type it."
                )

    # Doing --------------------------------------------------------------------------------------

    def carry_out(
        self,
        *,
        by: Person,
        seen: Callable[[int], str] | None = None,
        leaves_errors_out: bool = False,
        moment: datetime | None = None,
        tell: Callable[[int], None] = lambda done: None,
    ) -> Outcome:
        """Write what is new and what is changed: all of it or nothing.

        seen: gives for a row's number the digest of what a person was shown of it.
        leaves_errors_out: rows with errors stop nothing, and are left out.
        tell: is called with the number of rows that are done.

        Raises ListOvertaken or RowsRefused; nothing is written then.
        """
        at = moment or timezone.now()
        done = {"new": 0, "changed": 0, "same": 0, "left out": 0, "error": 0}
        refused: list[int] = []
        with transaction.atomic():
            _wait_for_others()
            newcomers: list[Newcomer] = []
            amended: list[Amended] = []
            for number, (planned, change) in enumerate(self._planned(_Record()), start=1):
                if seen is not None and seen(planned.number) != planned.digest:
                    raise ListOvertaken(planned.number)
                done[planned.deed] += 1
                if planned.deed == "error":
                    refused.append(planned.number)
                elif isinstance(change, Newcomer):
                    newcomers.append(change)
                elif isinstance(change, Amended):
                    amended.append(change)
                if number % BATCH == 0 or number == len(self.rows):
                    if refused and not leaves_errors_out:
                        newcomers, amended = [], []  # only looked through from here on
                    log_vehicles(newcomers=newcomers, by=by)
                    amend_vehicles(amended=amended, by=by, moment=at)
                    newcomers, amended = [], []
                    tell(number)
            if refused and not leaves_errors_out:
                raise RowsRefused(refused)
        return Outcome(
            done["new"], done["changed"], done["same"], done["left out"] + done["error"]
        )


def _wait_for_others() -> None:
    """Let one list come in at a time. SQLite locks by itself when a transaction begins."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [0x6C697374])


def _typed(cell: str) -> str:
    """What somebody typed into a cell, before it was made harmless."""
    return cell if isinstance(cell, Number | cells.Day) else original(cell)


def _is_other(told: object, held: object) -> bool:
    """Whether an amount or currency differs from the one that stands."""
    if isinstance(told, cells.Amount):
        return bool(told.currency) or told.number != held
    return told != held


def _has_left(text: str) -> bool:
    return text.strip() != "" and cells.key(text) not in ("no", "nein", "non")


def _split_standard(text: str) -> tuple[str, str]:
    family, _, scale = text.partition("/")
    return (family, scale) if scale else ("", "")


def headings_of(rows: Sequence[Row], heading_row: int | None, width: int) -> list[str]:
    """The headings, as many as the widest row has columns."""
    headings = [] if heading_row is None else [str(cell) for cell in rows[heading_row].cells]
    return headings + [""] * (width - len(headings))


def _as_differences(
    before: Mapping[str, str], after: Mapping[str, str]
) -> list[tuple[str, str, str]]:
    return [
        (COLUMNS[code].label, before.get(code, ""), becomes)
        for code, becomes in after.items()
        if before.get(code, "") != becomes and code != "uid"
    ]
