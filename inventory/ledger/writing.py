"""The whole record into a file: a document in JSON, a zip of CSV files, or a workbook."""

from __future__ import annotations

import base64
import csv
import io
import json
import zipfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import IO

from openpyxl import Workbook

from inventory.ledger.kinds import Exact, Float, Moment, Own, Photo, Said, Whole
from inventory.ledger.neutral import neutral
from inventory.ledger.sections import FORMAT, HEAD, Column, Section
from inventory.ledger.tables import MOST_IN_A_CELL, for_xml, pieces
from inventory.ledger.telling import Row, Telling, counted, one_moment

SUFFIXES = (".json", ".zip", ".xlsx")
#: The columns of the table that says what the others are.
HEAD_COLUMNS = ("format", "written_at", "photos")
LONG = "long_texts"
LONG_COLUMNS = ("section", "row", "column", "piece", "text")
MOST_ROWS = 1_048_575
"""Rows that a sheet of a workbook takes beside its head (ECMA-376 as Excel keeps it)."""


class ExportRefused(Exception):
    """A record that cannot be written so; says why and what to do, in words."""


def export(file: Path, moment: datetime, *, with_photos: bool = True) -> dict[str, int]:
    """Write the whole record into a file, as its suffix says; how many rows of each section.

    Raises ExportRefused for another suffix and for what does not fit; OSError where the file
    cannot be written. It is written aside and moved, so that no half a file keeps its name.
    """
    if file.suffix not in SUFFIXES:
        raise ExportRefused(
            f"{file.name} ends neither in .json nor .zip nor .xlsx, which say how it is written."
        )
    aside = file.with_name(f"{file.name}.unfinished")
    try:
        with aside.open("wb") as out:
            counts = write(out, file.suffix, moment, with_photos=with_photos)
        aside.replace(file)
    finally:
        aside.unlink(missing_ok=True)
    return counts


def write(
    out: IO[bytes], suffix: str, moment: datetime, *, with_photos: bool = True
) -> dict[str, int]:
    """The same into a file that is open. suffix: one of SUFFIXES."""
    head = {"format": FORMAT, "written_at": Moment().say(moment), "photos": with_photos}
    ways = {".json": _as_json, ".zip": _as_zip, ".xlsx": _as_xlsx}
    with one_moment():
        return ways[suffix](out, head, Telling(with_photos=with_photos))


# --- JSON -------------------------------------------------------------------------------------


def _dumped(said: Said) -> str:
    return json.dumps(said, ensure_ascii=False, allow_nan=False)


def _as_json(out: IO[bytes], head: Row, telling: Telling) -> dict[str, int]:
    """A row a line, so that two documents can be compared line by line."""
    counts = {}
    text = io.TextIOWrapper(out, encoding="utf-8", newline="\n", write_through=False)
    text.write(f'{{"{HEAD}": {_dumped(head)}')
    for section, rows in telling.told():
        text.write(f',\n"{section.name}": [')
        count = 0
        for row in rows:
            text.write(",\n" if count else "\n")
            text.write(_dumped(row))
            count += 1
        text.write("\n]" if count else "]")
        counts[section.name] = count
    text.write("}\n")
    text.flush()
    text.detach()
    return counts


# --- Tables -----------------------------------------------------------------------------------


def cell_of(column: Column, said: Said) -> str:
    """What a table says of a value: empty for null, and nothing that runs as a formula."""
    if said is None:
        return ""
    text = column.kind.write(said)
    # A number cannot be a formula, and stays one for whoever reads the table.
    return text if isinstance(column.kind, Exact | Float | Whole | Own) else neutral(text)


def _head_cells(head: Row) -> list[str]:
    return [str(head["format"]), str(head["written_at"]), "yes" if head["photos"] else "no"]


def _as_zip(out: IO[bytes], head: Row, telling: Telling) -> dict[str, int]:
    counts = {}
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        with _csv(packed, HEAD) as table:
            table.writerow(HEAD_COLUMNS)
            table.writerow(_head_cells(head))
        for section, rows in telling.told():
            counts[section.name] = 0
            with _csv(packed, section.name) as table:
                table.writerow([column.name for column in section.columns])
                for row in rows:
                    table.writerow(_cells_in_zip(section, row))
                    counts[section.name] += 1
            if section.has_photos:
                _put_photos(packed, section, telling)
    return counts


class _csv:
    """A CSV file within a zip, in UTF-8 with the mark by which Excel knows it."""

    def __init__(self, packed: zipfile.ZipFile, name: str) -> None:
        raw = packed.open(f"{name}.csv", "w", force_zip64=True)
        self.file = io.TextIOWrapper(raw, encoding="utf-8-sig", newline="")

    def __enter__(self):
        return csv.writer(self.file)

    def __exit__(self, *problem) -> None:
        self.file.close()


def photo_name(section: Section, row: Row) -> str:
    """The name of a photo's file in the zip."""
    return f"photos/{section.name}-{row[section.own]}.jpg"


def _cells_in_zip(section: Section, row: Row) -> list[str]:
    return [
        photo_name(section, row)
        if isinstance(column.kind, Photo)
        else cell_of(column, row[column.name])
        for column in section.columns
    ]


def _put_photos(packed: zipfile.ZipFile, section: Section, telling: Telling) -> None:
    for _, row in telling.rows(section):
        for column in section.columns:
            if isinstance(column.kind, Photo):
                # They are packed already.
                info = zipfile.ZipInfo(photo_name(section, row))
                packed.writestr(info, base64.b64decode(str(row[column.name])))


def _as_xlsx(out: IO[bytes], head: Row, telling: Telling) -> dict[str, int]:
    """Decimals, days and moments are text, so that nothing is rounded; what is too long for a cell
    is pieced out on a sheet of its own."""
    for section, number in counted():
        if number > MOST_ROWS:
            raise ExportRefused(
                f"{section.name} has more rows than a sheet of a workbook takes "
                f"({MOST_ROWS:,}); write a .json or .zip instead."
            )
    counts: dict[str, int] = {}
    book = Workbook(write_only=True)
    sheet = book.create_sheet(HEAD)
    sheet.append(HEAD_COLUMNS)
    sheet.append(_head_cells(head))
    long = book.create_sheet(LONG)
    long.append(LONG_COLUMNS)
    for section, rows in telling.told():
        sheet = book.create_sheet(section.name)
        sheet.freeze_panes = "B2"
        sheet.append([column.name for column in section.columns])
        count = 0
        for row in rows:
            count += 1
            cells = [cell_of(column, row[column.name]) for column in section.columns]
            for each in _pieced_out(section, count + 1, cells):
                long.append(each)
            sheet.append(
                [
                    _in_sheet(column, cell)
                    for column, cell in zip(section.columns, cells, strict=True)
                ]
            )
        counts[section.name] = count
    book.save(out)
    return counts


def _in_sheet(column: Column, cell: str) -> str | int | None:
    if cell == "":
        return None
    return int(cell) if isinstance(column.kind, Whole | Own) else for_xml(cell)


def _pieced_out(section: Section, number: int, cells: list[str]) -> Iterator[list[str | int]]:
    """Rows of the sheet of long texts, for the cells of one row; they are emptied here."""
    for at, cell in enumerate(cells):
        if len(for_xml(cell)) > MOST_IN_A_CELL:
            cells[at] = ""
            for piece, text in enumerate(pieces(cell), start=1):
                # A piece begins anywhere: it is made harmless for itself.
                name = section.columns[at].name
                yield [section.name, number, name, piece, for_xml(neutral(text))]
