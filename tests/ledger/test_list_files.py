"""Files that people have, good and hostile, read as rows: whatever they hold, an answer in words.

openpyxl and the standard library write the good ones; the hostile ones are written by hand after
the descriptions named beside them.
"""

from __future__ import annotations

import csv
import io
import random
import tracemalloc
import zipfile
from datetime import date, datetime

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.ledger.lists.cells import Day, Fault, Number
from inventory.ledger.lists.files import MOST_BYTES, Choice, Listed, ListRefused, read_list
from inventory.ledger.lists.workbooks import as_shown

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def read(raw: str | bytes, **choice) -> Listed:
    raw = raw.encode() if isinstance(raw, str) else raw
    return read_list(io.BytesIO(raw), Choice(**choice))


def rows(raw: str | bytes, **choice) -> list[list[str]]:
    return [list(row.cells) for row in read(raw, **choice).rows]


def refusal(raw: str | bytes, **choice) -> str:
    with pytest.raises(ListRefused) as refused:
        read(raw, **choice)
    return str(refused.value)


def workbook(*sheet_rows, **titled) -> openpyxl.Workbook:
    book = openpyxl.Workbook()
    for row in sheet_rows:
        book.active.append(row)
    return book


def saved(book: openpyxl.Workbook) -> bytes:
    raw = io.BytesIO()
    book.save(raw)
    return raw.getvalue()


def remade(raw: bytes, **parts: bytes | str) -> bytes:
    """A workbook with some of its parts exchanged, by the end of their names."""
    made = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(raw)) as old,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            ending = name.rpartition("/")[2].partition(".")[0]
            new.writestr(name, parts.get(ending, old.read(name)))
    return made.getvalue()


def sharing(texts: str, body: str = '<row><c t="s"><v>0</v></c></row>') -> bytes:
    """A workbook whose cells share texts, as other programs than openpyxl write them."""
    made = io.BytesIO()
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    part = f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}"/></Types>'
    raw = remade(saved(workbook(["a"])), sheet1=sheet_of(body))
    with (
        zipfile.ZipFile(io.BytesIO(raw)) as old,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            text = old.read(name)
            if name == "[Content_Types].xml":
                text = text.replace(b"</Types>", part.encode())
            new.writestr(name, text)
        new.writestr("xl/sharedStrings.xml", texts)
    return made.getvalue()


def sheet_of(body: str, dimension: str = "") -> str:
    return f'<worksheet xmlns="{MAIN}">{dimension}<sheetData>{body}</sheetData></worksheet>'


# --- CSV: letters and delimiters ------------------------------------------------------------

LETTERED = "Bahn;Nummer;Gattung\nÖBB;1;Güterwagen für Bücher\nSNCF;2;wagon fermé\n"
CELLS = [
    ["Bahn", "Nummer", "Gattung"],
    ["ÖBB", "1", "Güterwagen für Bücher"],
    ["SNCF", "2", "wagon fermé"],
]


@pytest.mark.parametrize(
    "encoding",
    [
        "utf-8",
        "utf-8-sig",
        "utf-16",
        "utf-16-le",
        "utf-16-be",
        "cp1252",
        "iso8859_15",
        "mac_roman",
    ],
)
def test_letters_when_in_any_usual_encoding_then_are_read(encoding):
    assert rows(LETTERED.encode(encoding)) == CELLS


def test_letters_when_not_as_chosen_then_names_the_line():
    assert "Line 2 is not written in UTF-8" in refusal(LETTERED.encode("cp1252"), encoding="utf-8")
    assert "Line 2 is not written in UTF-8" in refusal(b"\xef\xbb\xbfa,b\n\xff\xfe,c\n")
    assert "is no encoding known here" in refusal("a,b\n", encoding="klingon")


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_delimiter_when_any_usual_one_then_is_found(delimiter):
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter).writerows(CELLS)

    assert rows(text.getvalue()) == CELLS
    assert read(text.getvalue()).delimiter == delimiter


def test_delimiter_when_decimals_have_commas_then_is_still_the_semicolon():
    assert rows("Marks;Price\nA;12,50\nB;13,5\nC;1.234,50\n")[3] == ["C", "1.234,50"]


def test_delimiter_when_named_in_the_first_line_then_is_that_one():
    assert rows("sep=;\na;b,c\n1;2\n") == [["a", "b,c"], ["1", "2"]]


def test_line_ends_when_of_any_system_then_part_rows():
    for end in ("\n", "\r\n", "\r"):
        assert rows(f"a,b{end}c,d{end}") == [["a", "b"], ["c", "d"]]
    assert rows('a,"b\rc"\rd,e\r') == [["a", "b\rc"], ["d", "e"]]


def test_row_numbers_when_lines_are_empty_then_are_those_of_the_spreadsheet():
    found = read("a,b\n\n,\nc,d\n").rows

    assert [row.number for row in found] == [1, 4]


# --- CSV: hostile ------------------------------------------------------------


def test_quote_when_never_closed_then_names_the_line():
    assert "in line 2 a quote" in refusal('a,b\n"c,d\ne,f\n')
    assert "in line 3 a quote" in refusal('a,b\n1,2\n"c"d,e\n')


def test_quote_when_within_a_cell_then_is_text():
    assert rows('a,b\n9" wheels,x\n') == [["a", "b"], ['9" wheels', "x"]]


def test_nul_when_in_a_text_then_names_the_line():
    assert "Line 2 holds a NUL" in refusal(b"a,b\nc,\0d\n")


def test_cell_of_fifty_thousand_letters_when_read_then_is_whole():
    assert rows(f"a,b\n{'x' * 50_000},c\n")[1][0] == "x" * 50_000
    assert "more than 100,000 characters" in refusal(f'a,b\n"{"x" * 140_000}",c\n')


def test_columns_when_too_many_then_are_refused_unless_empty():
    assert "has 400 cells" in refusal(",".join("x" * 400))
    assert rows("a,b" + "," * 20_000) == [["a", "b"]]


def test_rows_when_too_many_then_are_refused():
    assert "more than 50,000 rows" in refusal("a,b\n" * 50_001)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "The file is empty"),
        (b"\xef\xbb\xbf", "nothing but blanks"),
        (b"\n\n , ,\n", "nothing but blanks"),
        (b"%PDF-1.4\n", "a PDF"),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
        (b"\xff\xd8\xff\xe0", "a picture"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"<html><table><tr><td>1</td></tr></table>", "a web page"),
        (b'<?xml version="1.0"?><Workbook/>', "a web page or XML"),
        (b"SQLite format 3\0", "a database"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 500, ".xls"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + "EncryptedPackage".encode("utf-16-le"),
            "locked with a password",
        ),
        (bytes(range(256)) * 20, "a file of another kind"),
    ],
)
def test_file_when_no_list_then_says_what_it_is(raw, said):
    assert said in refusal(raw)


def test_file_when_too_large_then_is_refused_unread():
    class Large(io.BytesIO):
        def tell(self):
            return MOST_BYTES + 1

        def read(self, *_):
            raise AssertionError("it was read")

    with pytest.raises(ListRefused, match=r"has 20\.0 MB, and at most 20"):
        read_list(Large())


@settings(deadline=None)
@given(st.binary(max_size=400))
def test_file_when_of_any_bytes_then_is_read_or_refused_in_words(raw):
    try:
        assert read(raw).rows
    except ListRefused as refused:
        assert str(refused)


# --- Workbooks ------------------------------------------------------------


def test_workbook_when_written_by_openpyxl_then_comes_back_typed():
    raw = saved(
        workbook(
            ["Marks", "No", "Day", "Price", "Is"],
            ["DB", 88, date(2024, 3, 5), 24.5, True],
            [
                "Ö €",
                "007",
                datetime(2024, 3, 5, 14, 30),  # noqa: DTZ001 - a cell has none
                0.1 + 0.2,
                False,
            ],
        )
    )

    found = rows(raw)

    assert found[1:] == [
        ["DB", "88", "2024-03-05", "24.5", "yes"],
        ["Ö €", "007", "2024-03-05", "0.3", "no"],
    ]
    assert [type(cell) for cell in found[1]] == [str, Number, Day, Number, str]


@pytest.mark.parametrize(
    ("stored", "shown"),
    [
        ("88", "88"),
        ("88.0", "88"),
        ("1E2", "100"),
        ("0.30000000000000004", "0.3"),
        ("24.5", "24.5"),
        ("-3.10", "-3.1"),
        ("12345678901234567890", "12345678901234600000"),
        ("-0", "0"),
    ],
)
def test_number_when_stored_then_has_the_digits_that_a_person_sees(stored, shown):
    """A spreadsheet program shows 15 significant digits (Microsoft, "Excel specifications and
    limits": number precision 15 digits)."""
    assert as_shown(stored) == shown


def test_number_when_shown_with_leading_zeros_then_keeps_them():
    book = workbook(["No"], [88])
    book.active["A2"].number_format = "0000"

    assert rows(saved(book))[1] == ["0088"]


def test_days_when_counted_from_1904_then_are_the_same_days():
    book = workbook(["Day"], [date(2024, 3, 5)])
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904

    found = read(saved(book))

    assert found.is_1904
    assert found.rows[1].cells == ("2024-03-05",)


def test_sheets_when_several_then_the_first_seen_with_cells_is_read_and_any_can_be():
    book = openpyxl.Workbook()
    book.active.title = "Hidden"
    book.active.append(["secret"])
    book.active.sheet_state = "hidden"
    book.create_sheet("Empty")
    book.create_sheet("Stock").append(["Marks"])

    found = read(saved(book))

    assert [(each.name, each.is_hidden) for each in found.sheets] == [
        ("Hidden", True),
        ("Empty", False),
        ("Stock", False),
    ]
    assert (found.sheet, found.rows[0].cells) == (2, ("Marks",))
    assert rows(saved(book), sheet=0) == [["secret"]]
    assert "no sheet 10" in refusal(saved(book), sheet=9)


def test_rows_when_hidden_then_are_read_and_say_so():
    book = workbook(["Marks"], ["A"], ["B"])
    book.active.row_dimensions[2].hidden = True

    assert [row.is_hidden for row in read(saved(book)).rows] == [False, True, False]


def test_cells_when_merged_then_those_covered_say_so():
    book = workbook(["Marks", "No"], ["A", 1], ["B", 2], ["C", 3])
    book.active.merge_cells("A2:A3")
    book.active.merge_cells("A4:B4")

    assert [row.covered for row in read(saved(book)).rows] == [(), (), (0,), (1,)]


def test_formula_when_its_result_is_kept_then_is_that_and_else_is_a_fault():
    raw = remade(
        saved(workbook(["a"])),
        sheet1=sheet_of(
            '<row r="1"><c r="A1"><f>1+1</f><v>2</v></c><c r="B1"><f>1+1</f></c>'
            '<c r="C1" t="str"><f>"a"</f><v>a</v></c><c r="D1" t="e"><f>A0</f><v>#REF!</v></c>'
            '<c r="E1" t="str"><f>""</f><v></v></c></row>'
        ),
    )

    two, none, text, error = rows(raw)[0]

    assert (two, text) == ("2", "a")
    assert isinstance(none, Fault) and "a formula without its result" in none
    assert isinstance(error, Fault) and "holds the error #REF!" in error


def test_text_when_escaped_by_the_standard_then_comes_back_exactly():
    """ECMA-376, 22.9.2.19: _xHHHH_ stands for a character; half a character is none."""
    raw = remade(
        saved(workbook(["a"])),
        sheet1=sheet_of(
            '<row><c t="inlineStr"><is><t>a_x000D_b_x005F_x000D_</t></is></c>'
            '<c t="inlineStr"><is><r><t>rich </t></r><r><t>text</t></r><rPh><t>ruby</t></rPh></is>'
            '</c><c t="inlineStr"><is><t>_xD800_</t></is></c></row>'
        ),
    )

    assert rows(raw) == [["a\rb_x000D_", "rich text", "_xD800_"]]


def test_text_when_shared_then_is_read_without_its_ruby():
    raw = sharing(
        f'<sst xmlns="{MAIN}"><si><t>one</t></si><si><r><t>t</t></r><r><t>wo</t></r>'
        "<rPh><t>ruby</t></rPh></si></sst>",
        '<row><c t="s"><v>1</v></c><c t="s"><v>0</v></c></row>',
    )

    assert rows(raw) == [["two", "one"]]
    assert refusal(sharing(f'<sst xmlns="{MAIN}"/>'))  # a cell without its text


# --- Workbooks: hostile ------------------------------------------------------------


def peak_of(raw: bytes) -> tuple[str, float]:
    """The refusal of a file, and the MB that it took."""
    tracemalloc.start()
    said = refusal(raw)
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    return said, peak


def zip_claiming(raw: bytes, size: int, of: str) -> bytes:
    """A workbook whose directory says that one part has `size` bytes unpacked (APPNOTE 4.3.12)."""
    with zipfile.ZipFile(io.BytesIO(raw)) as packed:
        old = next(each for each in packed.infolist() if of in each.filename)
    at = raw.index(b"PK\x01\x02")
    while raw[at + 46 : at + 46 + len(old.filename)] != old.filename.encode():
        at = raw.index(b"PK\x01\x02", at + 1)
    return raw[: at + 24] + size.to_bytes(4, "little") + raw[at + 28 :]


def test_bomb_when_a_sheet_would_be_ten_gigabytes_then_is_never_unpacked():
    raw = zip_claiming(saved(workbook(["a"])), 4_000_000_000, "sheet1")

    said, peak = peak_of(raw)

    assert "one of its sheets would be 3,814 MB" in said
    assert peak < 20


def test_bomb_when_a_sheet_is_packed_a_thousand_to_one_then_is_never_unpacked():
    made = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(saved(workbook(["a"])))) as old,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            if "sheet1" not in name:
                new.writestr(name, old.read(name))
        with new.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet:
            for _ in range(350):
                sheet.write(b" " * 2**20)

    said, peak = peak_of(made.getvalue())

    assert len(made.getvalue()) < 2**20
    assert "would be 350 MB, and at most 300 are read" in said
    assert peak < 20


def test_bomb_when_it_lies_about_its_size_then_no_more_is_unpacked():
    body = "<row>" + "<c><v>1</v></c>" * 2000 + "</row>"
    raw = remade(saved(workbook(["a"])), sheet1=sheet_of(body * 200))

    said, peak = peak_of(zip_claiming(raw, 1000, "sheet1"))

    assert "damaged" in said
    assert peak < 20


def test_bomb_when_its_shared_texts_are_deep_then_is_never_unpacked():
    texts = f'<sst xmlns="{MAIN}"><si><t>{"x" * (50 * 2**20)}</t></si></sst>'
    raw = sharing(texts)
    del texts

    said, peak = peak_of(raw)

    assert "its texts would be 50 MB, and at most 48 are read" in said
    assert peak < 20


def test_sheet_when_it_declares_a_huge_size_then_only_what_is_there_is_read():
    raw = remade(
        saved(workbook(["a"])),
        sheet1=sheet_of(
            '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="A1048576"><v>2</v></c>'
            "</row>",
            '<dimension ref="A1:XFD1048576"/>',
        ),
    )

    tracemalloc.start()
    found = read(raw).rows
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()

    assert [(row.number, row.cells) for row in found] == [(1, ("1",)), (1048576, ("2",))]
    assert peak < 20


def test_sheet_when_it_has_a_million_empty_rows_then_is_read_in_little_memory():
    raw = remade(
        saved(workbook(["a"])),
        sheet1=sheet_of(
            '<row r="1"><c r="A1"><v>1</v></c></row>' + '<row><c s="1"/></row>' * 10**6
        ),
    )

    tracemalloc.start()
    found = read(raw).rows
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()

    assert [row.cells for row in found] == [("1",)]
    assert peak < 30


def test_sheet_when_something_stands_in_the_last_column_then_says_where():
    raw = remade(
        saved(workbook(["a"])), sheet1=sheet_of('<row r="7"><c r="XFD7"><v>1</v></c></row>')
    )

    assert "in column XFD of row 7" in refusal(raw)


def test_sheet_when_of_endless_cells_then_stops_counting():
    raw = remade(saved(workbook(["a"])), sheet1=sheet_of("<row>" + "<c/>" * 6_000_010 + "</row>"))

    assert "more than 6,000,000 cells" in refusal(raw)


LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY lol "lol">'
    + "".join(
        f'<!ENTITY lol{n} "{f"&lol{n - 1 if n > 1 else str()};" * 10}">' for n in range(1, 10)
    )
    + "]>"
)


@pytest.mark.parametrize("part", ["sheet1", "sharedStrings", "workbook", "styles"])
def test_workbook_when_a_billion_laughs_then_is_refused_unlaughed(part):
    """The bomb as defusedxml's documentation describes it."""
    text = f'{LAUGHS}<worksheet xmlns="{MAIN}">&lol9;</worksheet>'
    raw = sharing(text)
    if part != "sharedStrings":
        raw = remade(saved(workbook(["a"])), **{part: text})

    said, peak = peak_of(raw)

    assert "declares entities" in said
    assert peak < 20


def test_workbook_when_it_wants_a_file_of_the_server_then_is_refused():
    text = f'<!DOCTYPE x [<!ENTITY y SYSTEM "file:///etc/passwd">]><sst xmlns="{MAIN}">&y;</sst>'

    assert "declares entities" in refusal(sharing(text))


@pytest.mark.parametrize("cut", [0.2, 0.6, 0.98])
def test_workbook_when_cut_off_then_is_refused(cut):
    raw = saved(workbook(*[[n, str(n)] for n in range(500)]))

    assert "damaged or was cut off" in refusal(raw[: int(len(raw) * cut)])


def test_workbook_when_it_is_another_kind_of_zip_then_says_so():
    def packed(**names):
        raw = io.BytesIO()
        with zipfile.ZipFile(raw, "w") as new:
            for name, text in names.items():
                new.writestr(name.replace("_xml", ".xml"), text)
        return raw.getvalue()

    assert "no workbook" in refusal(packed(a="b"))
    assert "an OpenDocument file" in refusal(packed(content_xml="<x/>"))


def test_workbook_when_empty_then_says_so():
    assert "nothing but empty cells" in refusal(saved(openpyxl.Workbook()))


@pytest.mark.parametrize("part", ["sheet1", "workbook", "styles", "sharedStrings"])
@pytest.mark.parametrize("text", ["", "rubbish", "<a><b></a>", f'<x xmlns="{MAIN}"/>'])
def test_workbook_when_a_part_is_rubbish_then_is_read_or_refused_in_words(part, text):
    raw = sharing(text)
    if part != "sharedStrings":
        raw = remade(saved(workbook(["a", "b"], ["c", "d"])), **{part: text})

    try:
        read(raw)
    except ListRefused as refused:
        assert str(refused)


def test_workbook_when_any_byte_is_flipped_then_is_read_or_refused_in_words():
    raw = bytearray(saved(workbook(*[[n, f"text {n}", n / 7] for n in range(60)])))
    chance = random.Random(1869)
    for _ in range(300):
        at = chance.randrange(len(raw))
        old, raw[at] = raw[at], chance.randrange(256)
        try:
            read(bytes(raw))
        except ListRefused as refused:
            assert str(refused)
        raw[at] = old


def test_zip_when_locked_with_a_password_then_says_so():
    raw = saved(workbook(["a"]))
    # Bit 0 of the flags of every entry: APPNOTE 4.4.4, encrypted file.
    made = bytearray(raw)
    at = made.find(b"PK\x01\x02")
    while at >= 0:
        made[at + 8] |= 1
        at = made.find(b"PK\x01\x02", at + 1)

    assert "locked with a password" in refusal(bytes(made))


def test_file_of_disk_when_read_then_is_the_same_as_of_memory(tmp_path):
    path = tmp_path / "list.csv"
    path.write_bytes(LETTERED.encode())
    with path.open("rb") as file:
        assert [list(row.cells) for row in read_list(file).rows] == CELLS
