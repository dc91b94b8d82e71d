"""A file that somebody has -> rows of cells. Pure.

It is known by its content, never by its name. Where a CSV file does not say how it is written,
encoding and delimiter are found from its text, named, and may be chosen otherwise.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections import Counter
from dataclasses import dataclass
from typing import IO

from inventory.ledger.lists.workbooks import (
    MOST_CHARACTERS,
    MOST_COLUMNS,
    MOST_ROWS,
    ListRefused,
    Row,
    SheetName,
    Workbook,
)

MOST_BYTES = 20 * 1024 * 1024

#: How a CSV file may be encoded: what Python calls it, and in words.
ENCODINGS = {
    "utf-8": "UTF-8",
    "utf-16": "UTF-16",
    "cp1252": "Windows, Western Europe",
    "mac_roman": "Mac, Western Europe",
    "iso8859_15": "ISO 8859-15",
    "cp1250": "Windows, Central Europe",
}
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}

_ANOTHER_KIND = "This is no list but a file of another kind: pick a CSV file or an xlsx workbook."
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
#: What files begin with that are no lists, and what to say of them.
_OTHERS = {
    b"%PDF": "a PDF, whatever it is called. Copy the list into a spreadsheet and save that",
    b"\x89PNG": "a picture. Type the list into a spreadsheet",
    b"\xff\xd8\xff": "a picture. Type the list into a spreadsheet",
    b"GIF8": "a picture. Type the list into a spreadsheet",
    b"\x1f\x8b": "packed by gzip. Unpack it first",
    b"Rar!": "a RAR archive. Unpack it first",
    b"7z\xbc\xaf": "a 7z archive. Unpack it first",
    b"{\\rtf": "a text document. Save the list as CSV or xlsx",
    b"SQLite format 3": "a database. Export its table as CSV",
}
# Letters that words of Western Europe are full of, and that another encoding turns into signs.
_COMMON = set("äöüßÄÖÜéèêëàâçîïôûùñóíáúåæøœÉÈÀÇÑÅÆØ€£°½¼")


@dataclass(frozen=True)
class Choice:
    """How to read a file, as far as somebody chose. sheet counts from 0."""

    sheet: int | None = None
    encoding: str = ""
    delimiter: str = ""


@dataclass(frozen=True)
class Listed:
    """What a file holds: its rows that are not empty, and how it was read.

    sheets: of a workbook, all of them; none for CSV, which has an encoding and a delimiter.
    """

    rows: list[Row]
    sheets: tuple[SheetName, ...] = ()
    sheet: int = 0
    encoding: str = ""
    delimiter: str = ""
    is_1904: bool = False


def read_list(file: IO[bytes], choice: Choice = Choice()) -> Listed:
    """The rows of a CSV file or of a workbook.

    Raises ListRefused for anything else, in words.
    """
    file.seek(0, io.SEEK_END)
    size = file.tell()
    if size > MOST_BYTES:
        raise ListRefused(
            f"The file has {size / 2**20:.1f} MB, and at most {MOST_BYTES >> 20} are read: save "
            "the list alone, without pictures."
        )
    file.seek(0)
    head = file.read(8192)
    file.seek(0)
    if not head:
        raise ListRefused("The file is empty: save the list again, then pick it here.")
    if head.startswith(b"PK\x03\x04"):
        return _from_workbook(file, choice)
    _refuse_other_kinds(head, file)
    return _from_text(file.read(), choice)


def _refuse_other_kinds(head: bytes, file: IO[bytes]) -> None:
    if head.startswith(_OLE):
        is_locked = "EncryptedPackage".encode("utf-16-le") in file.read()
        raise ListRefused(
            "The workbook is locked with a password: save it without one."
            if is_locked
            else "This is a workbook in the old binary form (.xls): open it in a spreadsheet "
            "program and save it as xlsx or CSV."
        )
    for begins, words in _OTHERS.items():
        if head.startswith(begins):
            raise ListRefused(f"This is {words}.")
    if head.lstrip()[:200].lower().startswith((b"<!doctype html", b"<html", b"<?xml", b"<table")):
        raise ListRefused(
            "This is a web page or XML file, whatever it is called: open it in a spreadsheet "
            "program and save it as xlsx or CSV."
        )


# --- Workbooks ----------------------------------------------------------------------------------


def _from_workbook(file: IO[bytes], choice: Choice) -> Listed:
    try:
        with zipfile.ZipFile(file) as packed:
            names = set(packed.namelist())
    except (zipfile.BadZipFile, NotImplementedError, OSError, ValueError) as error:
        raise ListRefused(
            "The workbook is damaged or was cut off: save it again, and upload it anew."
        ) from error
    if "[Content_Types].xml" not in names:
        what = "an OpenDocument file" if "content.xml" in names else "a zip archive, no workbook"
        raise ListRefused(f"This is {what}: save the list as xlsx or CSV.")
    if any(name.startswith("word/") for name in names):
        raise ListRefused("This is a text document: save the list as xlsx or CSV.")
    file.seek(0)
    book = Workbook(file)
    if choice.sheet is not None:
        if not 0 <= choice.sheet < len(book.sheets):
            raise ListRefused(f"The workbook has no sheet {choice.sheet + 1}: pick another.")
        chosen, rows = choice.sheet, book.rows(choice.sheet)
    else:
        visible = [index for index, each in enumerate(book.sheets) if not each.is_hidden]
        chosen, rows = visible[0] if visible else 0, []
        for index in visible or range(len(book.sheets)):
            if rows := book.rows(index):
                chosen = index
                break
    if not rows and len(book.sheets) == 1:
        raise ListRefused("The workbook holds nothing but empty cells.")
    return Listed(rows, book.sheets, chosen, is_1904=book.is_1904)


# --- Text ---------------------------------------------------------------------------------------


def _from_text(raw: bytes, choice: Choice) -> Listed:
    encoding = choice.encoding or _encoding_of(raw)
    text = _decoded(raw, encoding)
    _refuse_noise(text)
    delimiter = choice.delimiter
    told, rest = _told_delimiter(text)
    if told:
        text, delimiter = rest, delimiter or told
    delimiter = delimiter or _delimiter_of(text)
    rows = _split(text, delimiter)
    if not rows:
        raise ListRefused("The file holds nothing but blanks: save the list again.")
    return Listed(rows, encoding=encoding, delimiter=delimiter)


def _encoding_of(raw: bytes) -> str:
    """By its mark at the beginning, by zeros, as UTF-8, else by which letters make words."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    sample = raw[:20000]
    if b"\0" in sample:
        pairs = max(1, len(sample) // 2)
        # Western text in UTF-16 has a zero beside nearly every letter.
        if sample[1::2].count(0) > 0.3 * pairs and sample[::2].count(0) < 0.05 * pairs:
            return "utf-16-le"
        if sample[::2].count(0) > 0.3 * pairs and sample[1::2].count(0) < 0.05 * pairs:
            return "utf-16-be"
        try:
            raw.decode()
        except UnicodeDecodeError as error:
            raise ListRefused(_ANOTHER_KIND) from error
        return "utf-8"
    try:
        raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        if raw.startswith(b"\xef\xbb\xbf"):
            return "utf-8"
        scores = {}
        for encoding in ("cp1252", "mac_roman"):
            try:
                text = raw.decode(encoding)
            except UnicodeDecodeError:
                continue
            foreign = [ch for ch in text if not ch.isascii()]
            scores[encoding] = sum(1 if ch in _COMMON else -1 for ch in foreign)
        return max(scores, key=lambda each: scores[each])
    return "utf-8"


def _decoded(raw: bytes, encoding: str) -> str:
    if encoding == "utf-8":
        raw = raw.removeprefix(b"\xef\xbb\xbf")
    named = ENCODINGS.get(encoding, encoding)
    try:
        return raw.decode(encoding).removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise ListRefused(
            f"Line {line} is not written in {named}: pick another encoding, or save the list "
            "as CSV in UTF-8."
        ) from error
    except LookupError as error:
        raise ListRefused(f"“{encoding}” is no encoding known here: pick one.") from error


def _refuse_noise(text: str) -> None:
    """Anything may be decoded; a list is mostly made of what can be read."""
    sample = text[:20000]
    odd = sum(ch < " " and ch not in "\t\n\r" for ch in sample)
    if odd > max(20, len(sample) // 20):
        raise ListRefused(_ANOTHER_KIND)
    at = text.find("\0")
    if at >= 0:
        line = text.count("\n", 0, at) + 1
        raise ListRefused(
            f"Line {line} holds a NUL, which no text has: the file is damaged. Open it in a "
            "spreadsheet program and save it as CSV in UTF-8."
        )


def _told_delimiter(text: str) -> tuple[str, str]:
    """The delimiter of a first line such as "sep=;", which some programs write, and the rest."""
    line = text[:20].partition("\n")[0]
    line = line.strip().strip('"')
    if line.lower().startswith("sep=") and line[4:5] in DELIMITERS and len(line) <= 5:
        return line[4:5] or "\t", text[text.index("\n") + 1 :]
    return "", text


def _delimiter_of(text: str) -> str:
    """The one that splits the most rows into the same number of cells, more than one."""
    sample = text[:60000]
    best, chosen = (0, 0), ","
    for delimiter in DELIMITERS:
        widths: Counter[int] = Counter()
        try:
            for row in csv.reader(io.StringIO(sample, newline=""), delimiter=delimiter):
                if any(cell.strip() for cell in row):
                    widths[len(row)] += 1
        except csv.Error:
            pass
        for width, rows in widths.items():
            if width > 1 and (rows, width) > best:
                best, chosen = (rows, width), delimiter
    return chosen


def _too_long(began: int) -> ListRefused:
    return ListRefused(
        f"In the row that begins in line {began} a cell has more than {MOST_CHARACTERS:,} "
        'characters: perhaps a quote (") opens there that is never closed.'
    )


def _split(text: str, delimiter: str) -> list[Row]:
    """Rows that are not empty, numbered as a spreadsheet program numbers them."""
    rows = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    began = 1
    try:
        for number, cells in enumerate(reader, start=1):
            if any(len(cell) > MOST_CHARACTERS for cell in cells):
                raise _too_long(began)
            began = reader.line_num + 1
            if len(cells) > MOST_COLUMNS and any(c.strip() for c in cells[MOST_COLUMNS:]):
                raise ListRefused(
                    f"Row {number} has {len(cells)} cells, and at most {MOST_COLUMNS} are read: "
                    "delete what does not belong to the list."
                )
            row = Row(number, tuple(_trimmed(cells)))
            if not row.is_empty:
                rows.append(row)
            if len(rows) > MOST_ROWS:
                raise ListRefused(
                    f"The list has more than {MOST_ROWS:,} rows: import it in parts."
                )
    except csv.Error as error:
        if "field larger than" in str(error):
            raise _too_long(began) from error
        raise ListRefused(
            f'In the row that begins in line {began} a quote (") opens a cell and is not closed '
            'before the next delimiter. Write "" for a quote within quotes, or delete it.'
        ) from error
    return rows


def _trimmed(cells: list[str]) -> list[str]:
    """Without the empty cells after the last that holds anything."""
    last = len(cells)
    while last and not cells[last - 1]:
        last -= 1
    return cells[:last]
