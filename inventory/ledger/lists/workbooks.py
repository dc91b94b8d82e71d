"""A workbook (xlsx) -> its sheets and rows. Pure.

openpyxl tells the parts, the sheets and which formats are dates; the cells are read as they come
through defusedxml's parser, so that memory stays small whatever is in the file, a formula without
a value is seen, and text comes back exactly (openpyxl leaves the escapes of ECMA-376, 22.9.2.19,
as they are). What is too much is refused before it is unpacked.
"""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal, InvalidOperation
from typing import IO, Any, NoReturn
from xml.etree.ElementTree import ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser
from openpyxl import DEFUSEDXML
from openpyxl.reader.excel import ExcelReader
from openpyxl.styles.stylesheet import apply_stylesheet
from openpyxl.utils.cell import column_index_from_string, get_column_letter
from openpyxl.utils.datetime import CALENDAR_MAC_1904, from_excel
from openpyxl.xml.constants import SHARED_STRINGS

from inventory.ledger.lists.cells import Day, Fault, Number

if not DEFUSEDXML:  # openpyxl would read the parts of a workbook with entities and all
    raise ImportError("defusedxml is needed to read workbooks.")

_MB = 1 << 20
#: Unpacked, in bytes: all parts that are read, the texts shared by the cells, and any other part.
MOST_UNPACKED = 300 * _MB
MOST_TEXTS = 48 * _MB
MOST_OF_A_PART = 8 * _MB
MOST_ROWS = 50_000
MOST_COLUMNS = 300
MOST_ELEMENTS = 6_000_000
#: More than Excel itself keeps in a cell, 32,767.
MOST_CHARACTERS = 100_000
_PIECE = 1 << 16

_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")
_PADDED = re.compile(r"0{2,24}")
_LETTERS = re.compile(r"[A-Z]{1,3}")


class ListRefused(Exception):
    """A file that cannot be read as a list; says why and what to do, in words."""


@dataclass(frozen=True)
class SheetName:
    """One sheet of a workbook. part: where it stands in the file."""

    name: str
    is_hidden: bool
    part: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One row with its number as the spreadsheet program shows it.

    covered: the columns, from 0, that are merged into another cell and so hold nothing.
    """

    number: int
    cells: tuple[str, ...]
    is_hidden: bool = False
    covered: tuple[int, ...] = ()

    @property
    def is_empty(self) -> bool:
        return not any(cell.strip() for cell in self.cells)


class Workbook:
    """An opened workbook. Raises ListRefused for any that cannot or must not be read."""

    def __init__(self, file: IO[bytes]) -> None:
        with _in_words(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            reader = ExcelReader(file, read_only=True, data_only=True, keep_links=False)
            self._archive: zipfile.ZipFile = reader.archive
            self._refuse_what_is_too_much()
            reader.read_manifest()
            reader.read_workbook()
            apply_stylesheet(reader.archive, reader.wb)
            texts = reader.package.find(SHARED_STRINGS)
            self._texts_part = texts.PartName.lstrip("/") if texts is not None else ""
            self._book = reader.wb
            self.is_1904 = reader.wb.epoch == CALENDAR_MAC_1904
            self.sheets = tuple(
                SheetName(sheet.name, sheet.state != "visible", rel.target)
                for sheet, rel in reader.parser.find_sheets()
                if rel.target in reader.valid_files and "chartsheet" not in rel.Type
            )
        if not self.sheets:
            raise ListRefused("This workbook holds no sheet with cells.")

    def _refuse_what_is_too_much(self) -> None:
        """By what the file says of itself: a zip is never unpacked beyond that."""
        parts = self._archive.infolist()
        total = 0
        for part in parts:
            if part.flag_bits & 1:
                raise ListRefused("The file is locked with a password: save it without one.")
            name = part.filename.lower()
            is_sheet = "worksheets/" in name
            if "sharedstrings" in name:
                _refuse_beyond(part, MOST_TEXTS, "its texts")
            elif is_sheet:
                _refuse_beyond(part, MOST_UNPACKED, "one of its sheets")
            elif name.endswith((".xml", ".rels")) and "/" not in name.removeprefix("xl/"):
                _refuse_beyond(part, MOST_OF_A_PART, name)
            if is_sheet or "sharedstrings" in name:
                total += part.file_size
        if total > MOST_UNPACKED:
            raise ListRefused(
                f"Unpacked it would be {total // _MB:,} MB: save the one sheet alone, as CSV."
            )

    def rows(self, sheet: int) -> list[Row]:
        """The rows of a sheet that hold anything. Raises ListRefused."""
        with _in_words(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            texts = self._texts()
            target = _Cells(texts, self._book)
            rows = list(self._fed(self.sheets[sheet].part, target))
        return _with_merged(rows, target.merged)

    def _texts(self) -> list[str]:
        if not self._texts_part or self._texts_part not in self._archive.namelist():
            return []
        target = _Texts()
        for _ in self._fed(self._texts_part, target):
            pass
        return target.texts

    def _fed(self, part: str, target: _Target) -> Iterator[Row]:
        parser = DefusedXMLParser(target=target, forbid_dtd=True)
        with self._archive.open(part) as opened:
            while piece := opened.read(_PIECE):
                parser.feed(piece)
                yield from target.taken()
        parser.close()
        yield from target.taken()


def _refuse_beyond(part: zipfile.ZipInfo, most: int, what: str) -> None:
    if part.file_size > most:
        raise ListRefused(
            f"Unpacked, {what} would be {part.file_size // _MB:,} MB, and at most {most // _MB} "
            "are read. Delete what is empty below and beside the list, or save the sheet as CSV."
        )


class _in_words:
    """Turns whatever a broken workbook raises into words."""

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: object, problem: BaseException | None, trace: object) -> None:
        if problem is None or isinstance(problem, ListRefused):
            return
        if isinstance(problem, DefusedXmlException):
            raise ListRefused(
                "The workbook declares entities, which no spreadsheet program writes: it was made "
                "to do harm and is not read."
            ) from problem
        if isinstance(problem, zipfile.BadZipFile | NotImplementedError | EOFError | OSError):
            raise ListRefused(
                f"The file is damaged or was cut off: {problem}. Save it again, and upload it "
                "anew."
            ) from problem
        if isinstance(problem, Exception) and not isinstance(problem, MemoryError):
            said = "its XML is broken" if isinstance(problem, ParseError) else f"{problem}"
            raise ListRefused(
                f"The workbook cannot be read: {said[:200]}. Open it in a spreadsheet program and "
                "save it as xlsx or CSV."
            ) from problem


class _Target:
    """What the parser calls: start, data and end of every element, whatever its namespace."""

    def __init__(self) -> None:
        self._elements = 0

    def _count(self) -> None:
        self._elements += 1
        if self._elements > MOST_ELEMENTS:
            raise ListRefused(
                f"The sheet has more than {MOST_ELEMENTS:,} cells. Delete what is empty below and "
                "beside the list, or save the list alone as CSV."
            )

    def taken(self) -> list[Row]:
        """The rows that are complete, each once."""
        return []

    def close(self) -> None:
        pass


class _Texts(_Target):
    """The texts that cells share. Ruby above them (rPh) is no part of a text."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._pieces: list[str] = []
        self._is_in_text = False
        self._ruby = 0

    def start(self, tag: str, _attributes: dict[str, str]) -> None:
        self._count()
        name = tag.rpartition("}")[2]
        if name == "si":
            self._pieces = []
        elif name == "rPh":
            self._ruby += 1
        self._is_in_text = name == "t" and not self._ruby

    def data(self, text: str) -> None:
        if self._is_in_text:
            self._pieces.append(text)

    def end(self, tag: str) -> None:
        name = tag.rpartition("}")[2]
        self._is_in_text = False
        if name == "si":
            self.texts.append(unescaped("".join(self._pieces)))
        elif name == "rPh":
            self._ruby -= 1


class _Cells(_Target):
    """The rows of one sheet."""

    def __init__(self, texts: list[str], book: Any) -> None:
        super().__init__()
        self.merged: list[str] = []
        self._texts, self._book = texts, book
        self._rows: list[Row] = []
        self._n_rows = 0
        self._number = 0
        self._is_hidden = False
        self._cells: dict[int, str] = {}
        self._column = -1
        self._attributes: dict[str, str] = {}
        self._value: list[str] = []
        self._inline: list[str] = []
        self._is_formula = False
        self._into: list[str] | None = None
        self._ruby = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self._count()
        name = tag.rpartition("}")[2]
        if name == "c":
            self._attributes = attributes
            found = _LETTERS.match(attributes.get("r", ""))
            self._column = (
                column_index_from_string(found.group()) - 1 if found else self._column + 1
            )
            self._value, self._inline, self._is_formula = [], [], False
        elif name == "v":
            self._into = self._value
        elif name == "t":
            self._into = None if self._ruby else self._inline
        elif name == "f":
            self._is_formula = True
        elif name == "rPh":
            self._ruby += 1
        elif name == "row":
            number = attributes.get("r", "")
            self._number = int(number) if number.isdigit() else self._number + 1
            self._is_hidden = attributes.get("hidden") in ("1", "true")
            self._cells, self._column = {}, -1
        elif name == "mergeCell" and len(self.merged) < MOST_ROWS:
            self.merged.append(attributes.get("ref", ""))

    def data(self, text: str) -> None:
        if self._into is not None:
            self._into.append(text)

    def end(self, tag: str) -> None:
        name = tag.rpartition("}")[2]
        self._into = None
        if name == "c":
            cell = self._cell()
            if cell:
                if self._column >= MOST_COLUMNS:
                    self._refuse_columns()
                self._cells[self._column] = cell
        elif name == "rPh":
            self._ruby -= 1
        elif name == "row" and self._cells:
            width = max(self._cells) + 1
            cells = tuple(self._cells.get(index, "") for index in range(width))
            self._rows.append(Row(self._number, cells, self._is_hidden))
            self._n_rows += 1
            if self._n_rows > MOST_ROWS:
                raise ListRefused(
                    f"The sheet has more than {MOST_ROWS:,} rows: import it in parts."
                )

    def _refuse_columns(self) -> NoReturn:
        raise ListRefused(
            f"Something stands in column {get_column_letter(self._column + 1)} of row "
            f"{self._number}, beyond the {MOST_COLUMNS} columns that are read: delete what does "
            "not belong to the list."
        )

    def taken(self) -> list[Row]:
        rows, self._rows = self._rows, []
        return rows

    def _cell(self) -> str:
        kind = self._attributes.get("t", "n")
        if kind == "inlineStr":
            return unescaped("".join(self._inline))[:MOST_CHARACTERS]
        value = "".join(self._value)
        if not value:
            if self._is_formula and kind != "str":
                return Fault(
                    "holds a formula without its result: open the file in a spreadsheet program, "
                    "let it calculate, and save it, or type the value"
                )
            return ""
        if kind == "s":
            return self._texts[int(value)][:MOST_CHARACTERS]
        if kind == "e":
            return Fault(
                f"holds the error {value[:20]}: repair the formula, or type the value in its place"
            )
        if kind == "b":
            return "yes" if value.strip() in ("1", "true") else "no"
        if kind == "str":
            return unescaped(value)[:MOST_CHARACTERS]
        if kind == "d":
            return Day(value[:10])
        return self._number_or_day(value)

    def _number_or_day(self, value: str) -> str:
        style = int(self._attributes.get("s", "0"))
        number = as_shown(value)
        if style in self._book._date_formats and style not in self._book._timedelta_formats:
            try:
                day = from_excel(float(value), self._book.epoch)
            except (OverflowError, ValueError):
                return number
            if isinstance(day, datetime):
                day = day.date() if day.time() == time(0) else day
            return Day(day.isoformat()[:10]) if isinstance(day, date) else _spelled(day)
        styles = self._book._cell_styles
        if style < len(styles) and _PADDED.fullmatch(number_format(self._book, styles[style])):
            padded = number_format(self._book, styles[style])
            return Number(number.zfill(len(padded))) if number.isdigit() else number
        return number


def _spelled(moment: time | timedelta) -> str:
    return str(moment)


def number_format(book: Any, style: Any) -> str:
    """The format of a cell as it was typed, where it is one of the workbook's own."""
    own = style.numFmtId - 164  # the first of those that are no built-in ones: ECMA-376, 18.8.30
    return book._number_formats[own] if 0 <= own < len(book._number_formats) else ""


def as_shown(value: str) -> str:
    """The digits of a stored number as a spreadsheet program shows them: fifteen significant ones,
    since what stands beyond comes from binary fractions (0.1 + 0.2 is stored with 17)."""
    try:
        number = Decimal(value.strip())
        if not number.is_finite():
            raise InvalidOperation
    except InvalidOperation:
        return Fault(f"holds “{value[:20]}”, which is no number: type the value anew")
    if len(number.as_tuple().digits) > 15:
        number = Decimal(f"{float(number):.15g}")
    if abs(number.adjusted()) > 40:
        return Fault(f"holds the number {value[:20]}, which is out of all reason: type it anew")
    text = f"{number:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return Number("0" if text in ("-0", "") else text)


def unescaped(text: str) -> str:
    """Text with the escapes for what XML cannot hold undone: _x000D_ is a carriage return."""
    if "_x" not in text:
        return text
    return _ESCAPE.sub(_character, text)


def _character(found: re.Match[str]) -> str:
    number = int(found[1], 16)
    # Half a character is none, and no database keeps it.
    return found[0] if 0xD800 <= number <= 0xDFFF else chr(number)


def _with_merged(rows: list[Row], merged: list[str]) -> list[Row]:
    """The rows, saying which of their cells are merged into another one."""
    if not merged:
        return rows
    by_number = {row.number: index for index, row in enumerate(rows)}
    covered: dict[int, set[int]] = {}
    for ref in merged:
        found = re.fullmatch(r"([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})", ref)
        if found is None:
            continue
        left = column_index_from_string(found[1]) - 1
        right = min(column_index_from_string(found[3]), MOST_COLUMNS)
        top, bottom = int(found[2]), int(found[4])
        numbers = range(top, bottom + 1)
        if len(numbers) > len(by_number):
            numbers = [number for number in by_number if top <= number <= bottom]
        for number in numbers:
            if number in by_number:
                columns = covered.setdefault(number, set())
                columns.update(range(left, right))
                if number == top:
                    columns.discard(left)
    for number, columns in covered.items():
        row = rows[by_number[number]]
        rows[by_number[number]] = Row(row.number, row.cells, row.is_hidden, tuple(sorted(columns)))
    return rows
