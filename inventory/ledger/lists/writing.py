"""Rows of cells -> a CSV file or a workbook. Pure.

A workbook is written part by part into the file, so that memory does not grow with the rows.
Numbers are numbers where a program gives exactly the same digits back, and text where it would
not; days are days. Text is made harmless (see `neutral`) either way.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import Enum
from typing import IO
from xml.sax.saxutils import escape, quoteattr

from inventory.ledger.lists.columns import letter
from inventory.ledger.neutral import neutral


class Cell(Enum):
    """What the cells of a column are."""

    TEXT = "text"
    NUMBER = "number"
    DAY = "day"


@dataclass(frozen=True)
class Heading:
    """A column that is written. width: in characters, for a workbook. is_ours: whether it comes
    back in, and is not only for reading."""

    words: str
    cell: Cell = Cell.TEXT
    width: int = 14
    is_ours: bool = True


_NUMBER = re.compile(r"-?\d+(\.\d+)?")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


# --- CSV ----------------------------------------------------------------------------------------


def as_csv(
    headings: Sequence[Heading],
    rows: Iterable[Sequence[str]],
    *,
    delimiter: str = ",",
    has_mark: bool = True,
) -> Iterator[bytes]:
    """A CSV file in UTF-8, piece by piece (RFC 4180).

    delimiter: with ";" numbers get a decimal comma, as programs expect where that is usual.
    has_mark: whether it begins with the mark by which some programs know UTF-8.
    """
    piece = io.StringIO(newline="")
    writer = csv.writer(piece, delimiter=delimiter)
    if has_mark:
        piece.write("\ufeff")
    writer.writerow([heading.words for heading in headings])
    kinds = [heading.cell for heading in headings]
    for row in rows:
        writer.writerow(
            [_in_csv(text, kind, delimiter) for text, kind in zip(row, kinds, strict=True)]
        )
        if piece.tell() > 1 << 16:
            yield piece.getvalue().encode()
            piece.seek(0)
            piece.truncate()
    yield piece.getvalue().encode()


def _in_csv(text: str, kind: Cell, delimiter: str) -> str:
    if kind is Cell.NUMBER and _NUMBER.fullmatch(text):
        return text.replace(".", ",") if delimiter == ";" else text
    return neutral(text)


# --- Workbooks ----------------------------------------------------------------------------------

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_TYPES = (
    f'{_HEAD}<Types xmlns="{_PACKAGE}/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/>'
    '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-'
    'officedocument.spreadsheetml.sheet.main+xml"/>'
    '<Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-'
    'officedocument.spreadsheetml.worksheet+xml"/>'
    '<Override PartName="/xl/styles.xml" ContentType="application/vnd.openxmlformats-'
    'officedocument.spreadsheetml.styles+xml"/></Types>'
)
_PACKAGE_RELATIONS = (
    f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{_RELATIONS}/officeDocument" Target="xl/workbook.xml"/>'
    "</Relationships>"
)
_BOOK_RELATIONS = (
    f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{_RELATIONS}/worksheet" Target="worksheets/sheet1.xml"/>'
    f'<Relationship Id="rId2" Type="{_RELATIONS}/styles" Target="styles.xml"/>'
    "</Relationships>"
)
# 0 plain, 1 a heading, 2 a heading only for reading, 3 a day, 4 text.
_STYLES = (
    f'{_HEAD}<styleSheet xmlns="{_MAIN}">'
    '<numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\\-mm\\-dd"/></numFmts>'
    '<fonts count="3"><font><sz val="11"/><name val="Calibri"/></font>'
    '<font><b/><sz val="11"/><name val="Calibri"/></font>'
    '<font><i/><sz val="11"/><color rgb="FF55656E"/><name val="Calibri"/></font></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill>'
    '<fill><patternFill patternType="gray125"/></fill></fills>'
    '<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>'
    '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
    '<cellXfs count="5"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
    '<xf numFmtId="0" fontId="1" fillId="0" borderId="0" xfId="0" applyFont="1"/>'
    '<xf numFmtId="0" fontId="2" fillId="0" borderId="0" xfId="0" applyFont="1"/>'
    '<xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
    '<xf numFmtId="49" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
    '</cellXfs><cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/>'
    "</cellStyles></styleSheet>"
)
_UNWRITABLE = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_DAY_ZERO = date(1899, 12, 30)


def write_workbook(
    file: IO[bytes], headings: Sequence[Heading], rows: Iterable[Sequence[str]], *, title: str
) -> None:
    """An xlsx workbook of one sheet into a file that is open for writing, by ECMA-376."""
    book = (
        f'{_HEAD}<workbook xmlns="{_MAIN}" xmlns:r="{_RELATIONS}"><sheets>'
        f'<sheet name={quoteattr(title)} sheetId="1" r:id="rId1"/></sheets></workbook>'
    )
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=5) as packed:
        packed.writestr("[Content_Types].xml", _TYPES)
        packed.writestr("_rels/.rels", _PACKAGE_RELATIONS)
        packed.writestr("xl/workbook.xml", book)
        packed.writestr("xl/_rels/workbook.xml.rels", _BOOK_RELATIONS)
        packed.writestr("xl/styles.xml", _STYLES)
        with packed.open("xl/worksheets/sheet1.xml", "w") as sheet:
            for piece in _sheet(headings, rows):
                sheet.write(piece.encode())


def _sheet(headings: Sequence[Heading], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    yield (
        f'{_HEAD}<worksheet xmlns="{_MAIN}"><sheetViews><sheetView workbookViewId="0">'
        '<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/>'
        "</sheetView></sheetViews><cols>"
    )
    for index, heading in enumerate(headings, start=1):
        yield f'<col min="{index}" max="{index}" width="{heading.width}" customWidth="1"/>'
    yield '</cols><sheetData><row r="1">'
    letters = [letter(index) for index in range(len(headings))]
    for name, heading in zip(letters, headings, strict=True):
        yield _text(f"{name}1", heading.words, 1 if heading.is_ours else 2)
    yield "</row>"
    kinds = [heading.cell for heading in headings]
    for number, row in enumerate(rows, start=2):
        cells = [
            _cell(f"{name}{number}", text, kind)
            for name, text, kind in zip(letters, row, kinds, strict=True)
            if text
        ]
        yield f'<row r="{number}">{"".join(cells)}</row>'
    yield "</sheetData></worksheet>"


def _cell(at: str, text: str, kind: Cell) -> str:
    if kind is Cell.NUMBER and _NUMBER.fullmatch(text) and is_kept_exactly(text):
        return f'<c r="{at}"><v>{text}</v></c>'
    if kind is Cell.DAY and _DAY.fullmatch(text):
        serial = (date.fromisoformat(text) - _DAY_ZERO).days
        if serial > 60:  # before March 1900 programs do not agree on which day it is
            return f'<c r="{at}" s="3"><v>{serial}</v></c>'
    return _text(at, neutral(text), 4)


def _text(at: str, text: str, style: int) -> str:
    safe = escape(_UNWRITABLE.sub(lambda found: f"_x{ord(found.group()):04X}_", text))
    return f'<c r="{at}" s="{style}" t="inlineStr"><is><t xml:space="preserve">{safe}</t></is></c>'


def is_kept_exactly(text: str) -> bool:
    """Whether a program that keeps numbers as binary fractions gives the same number back."""
    number = Decimal(text)
    return len(number.as_tuple().digits) <= 15 and Decimal(f"{float(text):.15g}") == number
