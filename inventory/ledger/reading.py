"""A file as it was handed in -> the raw rows of its sections. It believes nothing of it.

The three forms come out alike: sections in the order of the file, rows with the number by which
a person finds them again, values as JSON says them or as the text of a cell.
"""

from __future__ import annotations

import base64
import codecs
import csv
import io
import json
import zipfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import IO

import openpyxl
from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import ParseError, iterparse

from inventory.ledger.kinds import Photo, Said, quoted
from inventory.ledger.neutral import original
from inventory.ledger.sections import BY_NAME, HEAD
from inventory.ledger.tables import from_xml
from inventory.ledger.writing import LONG, LONG_COLUMNS, SUFFIXES
from inventory.stock.photos import MOST_BYTES as MOST_BYTES_OF_A_PHOTO

GIB = 1 << 30
MOST_BYTES = GIB
MOST_UNPACKED = 4 * GIB
MOST_MEMBERS = 200_000
#: How many times smaller a packed file may be than what it holds, beyond the first ten megabytes.
#: Tables of readings pack about twenty times; files made to fill a disk a thousand times.
MOST_RATIO = 200
_SMALL = 10 * (1 << 20)
_LONGEST_ROW = 64 * (1 << 20)
_LONGEST_CELL = 48 * (1 << 20)
_PIECE = 1 << 20


class Unreadable(Exception):
    """A file of which no whole record can be read; says why and what to do, in words."""


@dataclass(frozen=True)
class Raw:
    """One row as the file has it. spot: where a person finds it, such as "row 12".

    is_cells: whether its values are the texts of cells instead of JSON.
    """

    spot: str
    values: dict[str, Said]
    is_cells: bool


#: The name of a section with its rows. The rows have to be taken before the next section is.
Told = tuple[str, Iterator[Raw]]


def told(file: IO[bytes], name: str) -> Iterator[Told]:
    """The head and the sections of a file, in its order. name: what it is called, for its suffix.

    Raises Unreadable, on the way too.
    """
    suffix = Path(name).suffix.lower()
    if suffix not in SUFFIXES:
        raise Unreadable(
            f"{name} ends neither in .json nor .zip nor .xlsx: choose a file that was written by "
            "the export of the whole record."
        )
    size = file.seek(0, io.SEEK_END)
    file.seek(0)
    if size > MOST_BYTES:
        raise Unreadable(f"{name} is larger than 1 GiB, which no record is.")
    if size == 0:
        raise Unreadable(f"{name} is empty.")
    ways = {".json": _of_json, ".zip": _of_zip, ".xlsx": _of_xlsx}
    yield from ways[suffix](file, name)


# --- JSON -------------------------------------------------------------------------------------


class _Scanner:
    """A document in JSON that is read piece by piece; only one row is ever held."""

    def __init__(self, file: IO[bytes], name: str) -> None:
        self._file, self._name = file, name
        self._decode = codecs.getincrementaldecoder("utf-8-sig")()
        self._text, self._at, self._is_over = "", 0, False
        self._decoder = json.JSONDecoder(
            object_pairs_hook=self._once, parse_constant=self._no_number
        )

    def refuse(self, why: str) -> Unreadable:
        return Unreadable(f"{self._name} is no whole record in JSON: {why}")

    def _once(self, pairs: list[tuple[str, Said]]) -> dict[str, Said]:
        found = dict(pairs)
        if len(found) < len(pairs):
            names = [name for name, _ in pairs]
            twice = next(name for name in names if names.count(name) > 1)
            raise self.refuse(f"{quoted(twice)} stands twice in one row.")
        return found

    def _no_number(self, word: str) -> Said:
        raise self.refuse(f"{word} is no number.")

    def _more(self, size: int = _PIECE) -> bool:
        """Read on; whether there was anything."""
        if self._is_over:
            return False
        raw = self._file.read(size)
        try:
            more = self._decode.decode(raw, final=not raw)
        except UnicodeDecodeError as error:
            raise self.refuse(f"it is not written in UTF-8 ({error.reason}).") from None
        self._is_over = not raw
        self._text, self._at = self._text[self._at :] + more, 0
        return True

    def peek(self) -> str:
        """The next letter that is no space; empty at the end."""
        while True:
            while self._at < len(self._text) and self._text[self._at] in " \t\r\n":
                self._at += 1
            if self._at < len(self._text):
                return self._text[self._at]
            if not self._more():
                return ""

    def take(self, letter: str, where: str) -> None:
        found = self.peek()
        if found != letter:
            shown = quoted(found) if found else "its end"
            raise self.refuse(f"“{letter}” was expected {where}, and there is {shown}.")
        self._at += 1

    def value(self, where: str) -> Said:
        """One whole value. Only for what ends with a sign: text, lists, objects."""
        self.peek()
        size = _PIECE
        while True:
            try:
                found, end = self._decoder.raw_decode(self._text, self._at)
            except json.JSONDecodeError as error:
                # Broken in the midst of what is there already, or only not read yet?
                is_cut = error.pos > len(self._text) - 16 or "Unterminated" in error.msg
                if len(self._text) - self._at > _LONGEST_ROW:
                    raise self.refuse(f"{where} is longer than 64 MB.") from None
                if not is_cut or not self._more(size):
                    raise self.refuse(f"{where}: {error.msg}.") from None
                size *= 2
            except RecursionError:
                raise self.refuse(f"{where} is nested too deep.") from None
            except ValueError as error:
                raise self.refuse(f"{where}: {error}.") from None
            else:
                self._at = end
                return found


def _of_json(file: IO[bytes], name: str) -> Iterator[Told]:
    scanner = _Scanner(file, name)
    scanner.take("{", "at its beginning")
    seen: set[str] = set()
    while True:
        if scanner.peek() != '"':
            raise scanner.refuse("the name of a section was expected.")
        section = str(scanner.value("the name of a section"))
        if section in seen:
            raise scanner.refuse(f"the section {quoted(section)} stands twice.")
        seen.add(section)
        scanner.take(":", f"after {quoted(section)}")
        rows = _row_of_head(scanner) if section == HEAD else _rows_of_json(scanner, section)
        yield section, rows
        for _ in rows:  # whatever was not taken
            pass
        if scanner.peek() != ",":
            break
        scanner.take(",", "between sections")
    scanner.take("}", "at its end")
    if scanner.peek():
        raise scanner.refuse("there is something behind its end.")


def _row_of_head(scanner: _Scanner) -> Iterator[Raw]:
    if scanner.peek() != "{":
        raise scanner.refuse(f"“{HEAD}” has to be an object.")
    yield Raw("its head", _as_row(scanner.value("its head")), is_cells=False)


def _as_row(said: Said) -> dict[str, Said]:
    return said if isinstance(said, dict) else {}


def _rows_of_json(scanner: _Scanner, section: str) -> Iterator[Raw]:
    shown = quoted(section)
    scanner.take("[", f"to open {shown}")
    number = 0
    while scanner.peek() != "]":
        if number:
            scanner.take(",", f"in {shown} after row {number}")
        number += 1
        spot = f"row {number}"
        if scanner.peek() != "{":
            raise scanner.refuse(f"{shown}, {spot}, has to be an object.")
        yield Raw(spot, _as_row(scanner.value(f"{shown}, {spot}")), is_cells=False)
    scanner.take("]", f"to close {shown}")


# --- Zip of CSV files -------------------------------------------------------------------------


def _opened(file: IO[bytes], name: str) -> zipfile.ZipFile:
    """A packed file whose sizes are those of a record. Raises Unreadable."""
    try:
        packed = zipfile.ZipFile(file)
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError) as error:
        raise Unreadable(f"{name} is damaged, or is not what its name says: {error}.") from None
    infos = packed.infolist()
    if len(infos) > MOST_MEMBERS or len({each.filename for each in infos}) < len(infos):
        raise Unreadable(f"{name} holds too many files, or two of one name.")
    whole = sum(each.file_size for each in infos)
    if whole > MOST_UNPACKED:
        raise Unreadable(f"{name} would unpack to more than 4 GiB, which no record is.")
    for each in infos:
        if each.flag_bits & 1:
            raise Unreadable(f"{name} is locked with a password; pack it without one.")
        if each.file_size > _SMALL and each.file_size > MOST_RATIO * max(1, each.compress_size):
            raise Unreadable(f"{name}: {each.filename} is packed as no table of a record is.")
    return packed


def _of_zip(file: IO[bytes], name: str) -> Iterator[Told]:
    with closing(_opened(file, name)) as packed:
        for info in packed.infolist():
            path = info.filename
            if path.startswith("photos/") or info.is_dir():
                continue
            if not path.endswith(".csv") or "/" in path:
                raise Unreadable(f"{name} holds {quoted(path)}, which is no table of a record.")
            yield path.removesuffix(".csv"), _rows_of_csv(packed, info, name)


def _rows_of_csv(packed: zipfile.ZipFile, info: zipfile.ZipInfo, name: str) -> Iterator[Raw]:
    section = info.filename.removesuffix(".csv")
    csv.field_size_limit(_LONGEST_CELL)
    try:
        with packed.open(info) as raw:
            text = io.TextIOWrapper(raw, encoding="utf-8-sig", newline="")
            rows = csv.reader(text, strict=True)
            head = next(rows, [])
            _check_head(head, f"{section}.csv")
            for number, cells in enumerate(rows, start=2):
                if not cells:
                    continue
                values = _by_column(head, cells, section, f"row {number}")
                _fetch_photos(packed, section, values)
                yield Raw(f"row {number}", values, is_cells=True)
    except UnicodeDecodeError:
        raise Unreadable(f"{name}: {info.filename} is not written in UTF-8.") from None
    except (csv.Error, zipfile.BadZipFile, EOFError, OSError, NotImplementedError) as error:
        raise Unreadable(f"{name}: {info.filename} is damaged: {error}.") from None
    except _ZLIB_ERROR as error:
        raise Unreadable(f"{name}: {info.filename} is damaged: {error}.") from None


_ZLIB_ERROR = zipfile.zlib.error  # type: ignore[attr-defined]


def _check_head(head: list[str], where: str) -> None:
    names = [name for name in head if name]
    if len(set(names)) < len(names):
        raise Unreadable(f"{where} has two columns of one name.")


def _by_column(head: list[str], cells: list[str], section: str, spot: str) -> dict[str, Said]:
    named = [*head, *[""] * (len(cells) - len(head))]
    if any(cell and not name for name, cell in zip(named, cells, strict=False)):
        raise Unreadable(f"{section}, {spot}, has a cell under no name of a column.")
    padded = [*cells, *[""] * (len(head) - len(cells))]
    return {name: original(cell) for name, cell in zip(head, padded, strict=False) if name}


def _fetch_photos(packed: zipfile.ZipFile, section: str, values: dict[str, Said]) -> None:
    """Put the photos where their files are named; a name without a file stays, and is refused."""
    known = BY_NAME.get(section)
    for column in known.columns if known and known.has_photos else ():
        name = values.get(column.name)
        if isinstance(column.kind, Photo) and name in packed.NameToInfo:
            if packed.NameToInfo[str(name)].file_size > MOST_BYTES_OF_A_PHOTO:
                raise Unreadable(f"{section}: {quoted(name)} is larger than a photo may be.")
            values[column.name] = base64.b64encode(packed.read(str(name))).decode("ascii")


# --- Workbook ---------------------------------------------------------------------------------


def _of_xlsx(file: IO[bytes], name: str) -> Iterator[Told]:
    with closing(_opened(file, name)) as packed:
        _check_xml(packed, name)
    file.seek(0)
    try:
        book = openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
    except Exception as error:  # openpyxl raises whatever it stumbles over
        raise Unreadable(f"{name} is no workbook that can be read: {error}.") from None
    with closing(book):
        sheets = {sheet.title: sheet for sheet in book.worksheets}
        long: dict[tuple[str, str, str], list[str]] = {}
        if LONG in sheets:
            long = _long_texts(sheets.pop(LONG), name)
        for title, sheet in sheets.items():
            yield title, _rows_of_sheet(sheet, title, name, long)
        if long:
            section, row, column = next(iter(long))
            raise Unreadable(f"{LONG}: {section}, row {row}, {column}, is nowhere.")


def _check_xml(packed: zipfile.ZipFile, name: str) -> None:
    """Raises Unreadable for XML that declares entities or anything else beside a workbook's own,
    before anybody reads it. openpyxl reads by the same parser."""
    for info in packed.infolist():
        if not info.filename.endswith((".xml", ".rels", ".vml")):
            continue
        try:
            with packed.open(info) as member:
                for _, element in iterparse(member, events=("end",), forbid_dtd=True):
                    element.clear()
        except DefusedXmlException:
            raise Unreadable(
                f"{name}: {info.filename} declares things that no workbook needs; it was not read."
            ) from None
        except (ParseError, zipfile.BadZipFile, EOFError, OSError, _ZLIB_ERROR) as error:
            raise Unreadable(f"{name}: {info.filename} is damaged: {error}.") from None


def _cells(sheet, title: str, name: str) -> Iterator[list[str]]:
    try:
        # What a workbook says of its own size is not believed.
        sheet.reset_dimensions()
        for row in sheet.iter_rows(values_only=True):
            yield [_as_text(value) for value in row]
    except Unreadable:
        raise
    except Exception as error:  # openpyxl raises whatever it stumbles over
        raise Unreadable(f"{name}: the sheet {title} is damaged: {error}.") from None


def _as_text(value: object) -> str:
    """A cell that somebody retyped comes as whatever the spreadsheet made of it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return from_xml(value)
    if isinstance(value, datetime):
        is_day = value.time() == datetime.min.time()
        return value.date().isoformat() if is_day else value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)


def _rows_of_sheet(sheet, title: str, name: str, long: dict) -> Iterator[Raw]:
    rows = _cells(sheet, title, name)
    head = _without_end(next(rows, []))
    _check_head(head, f"The sheet {title}")
    for number, cells in enumerate(rows, start=2):
        if not any(cells):
            continue
        spot = f"row {number}"
        for at, column in enumerate(head):
            pieces = long.pop((title, str(number), column), None) if long else None
            if pieces is not None and at < len(cells):
                cells[at] = "".join(pieces)
            elif pieces is not None:
                cells += [""] * (at - len(cells)) + ["".join(pieces)]
        yield Raw(spot, _by_column(head, cells, title, spot), is_cells=True)


def _without_end(cells: list[str]) -> list[str]:
    while cells and not cells[-1]:
        cells = cells[:-1]
    return cells


def _long_texts(sheet, name: str) -> dict[tuple[str, str, str], list[str]]:
    """By section, row and column, the pieces of a text in their order."""
    rows = _cells(sheet, LONG, name)
    if _without_end(next(rows, [])) != list(LONG_COLUMNS):
        raise Unreadable(f"{name}: the sheet {LONG} has other columns than it should.")
    found: dict[tuple[str, str, str], list[str]] = {}
    for cells in rows:
        if not any(cells):
            continue
        section, row, column, piece, *text = cells
        parts = found.setdefault((section, row, column), [])
        if piece != str(len(parts) + 1) or len(text) > 1:
            raise Unreadable(f"{LONG}: {section}, row {row}, {column}, lacks a piece.")
        parts.append(original(text[0] if text else ""))
    return found
